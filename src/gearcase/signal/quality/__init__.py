"""Is a record fit to be judged?

`judge_quality` applies every rule. A blocker means that no verdict may be given on the record; a caution is printed
beside every verdict; a note is good to know. Each rule is a small function of what `facts.Facts` measured once. Thresholds follow
from what a sound record can do by chance, or are marked as common practice.

Rules, by what they look at: `waveform` (clipping, dropouts, few values, spikes, offset), `extent` (length, turns, bandwidth),
`spectral` (ski slope, aliasing, mains, converter), `speed_drift` (speed moving within the record). A wrong sample rate takes the
drive's lines to find: `judge.heard.find_speed`.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from gearcase.errors import OutOfRange
from gearcase.findings import Finding, Level
from gearcase.signal.quality.extent import bandwidth, short, turns
from gearcase.signal.quality.facts import LEAST_FOR_A_FLOOR, Facts, median
from gearcase.signal.quality.spectral import aliasing, carrier, mains, ski_slope
from gearcase.signal.quality.speed_drift import drift
from gearcase.signal.quality.waveform import clipping, dropouts, few_values, offset, spikes
from gearcase.signal.recording import UNITS, as_records, require_above_zero
from gearcase.signal.spectrum import SHORTEST_RECORD, Transform, transform

__all__ = ["judge_quality"]

_RULES: tuple[Callable[[Facts], Finding | None], ...] = (
    short,
    clipping,
    dropouts,
    few_values,
    spikes,
    offset,
    ski_slope,
    aliasing,
    mains,
    carrier,
    drift,
    turns,
    bandwidth,
)


def judge_quality(
    samples: NDArray[np.floating],
    *,
    sample_rate_hz: float,
    unit: str,
    turns: float | None = None,
    highest_wanted_hz: float | None = None,
    full_scale: float | None = None,
    steady: bool = True,
    spectrum: Transform | None = None,
) -> list[Finding]:
    """Everything found wrong with a record, the worst first; empty for a sound one.

    Parameters
    ----------
    samples : ndarray, shape (samples,)
        [unit of the samples]
    sample_rate_hz : float
        [Hz]
    unit : str
        ``"m/s2"``, ``"m/s"`` or ``"m"``, of the samples.
    turns : float, optional
        Turns of the slowest shaft in the record. [-]
    highest_wanted_hz : float, optional
        Highest frequency somebody wants to see in it. [Hz]
    full_scale : float, optional
        Where the sensor clips; else only flat tops tell. [unit of the samples]
    steady : bool
        Whether the speed was meant to be; of a run-up or a coast-down it is not asked how far it moved.
    spectrum : Transform, optional
        Of the record, where it has been transformed already. [unit of the samples]

    Returns
    -------
    list of Finding
        Rules ``quality.short``, ``.stuck``, ``.clipping``, ``.dropout``, ``.few_values``, ``.spikes``, ``.offset``,
        ``.ski_slope``, ``.aliasing``, ``.mains``, ``.carrier``, ``.drift``, ``.turns``, ``.bandwidth``.

    Raises
    ------
    OutOfRange
        Samples that are complex, not finite, or not one record; a sample rate not above 0; an unknown unit.

    Examples
    --------
    >>> wave = np.clip(np.sin(np.arange(8192) / 7.3), -0.8, 0.8)
    >>> [finding.rule for finding in judge_quality(wave, sample_rate_hz=8192.0, unit="m/s2")]
    ['quality.clipping']
    """
    require_above_zero("sample_rate_hz", sample_rate_hz)
    if unit not in UNITS:
        raise OutOfRange("unit", repr(unit), f"one of {', '.join(UNITS)}")
    if samples.ndim != 1:
        raise OutOfRange("samples", f"shape {samples.shape}", "one record at a time")
    if samples.size < SHORTEST_RECORD:
        says = f"a record of {samples.size} is too short for a spectrum; record at least {LEAST_FOR_A_FLOOR} samples."
        return [Finding(Level.BLOCKER, "quality.short", "whole record", says)]
    record = as_records(samples)
    deviation = float(record.std(dtype=np.float64))
    if deviation == 0 or np.ptp(record) == 0:  # of many equal numbers the mean is rounded, and a deviation seems left
        says = f"All {record.size} samples are {record[0]:.4g} {unit}: dead or unplugged; check the sensor and its cable."
        return [Finding(Level.BLOCKER, "quality.stuck", "whole record", says)]
    middle = median(record)
    facts = Facts(
        record,
        transform(record, sample_rate_hz=sample_rate_hz) if spectrum is None else spectrum,
        float(sample_rate_hz),
        unit,
        float(record.mean(dtype=np.float64)),
        deviation,
        1.4826 * median(np.abs(record - middle)),  # of a Gaussian, its standard deviation
        turns,
        highest_wanted_hz,
        full_scale,
        steady,
    )
    findings = [finding for rule in _RULES if (finding := rule(facts))]
    order = list(Level)
    return sorted(findings, key=lambda finding: order.index(finding.level))
