"""What alarms at a bearing end, and what is evidence only: four to six families, from the lines the drive is expected to show.

Ten indicators with a limit each cry wolf ten times as often, and say less: they move together. So a point alarms on its overall
velocity, its temperature, its high-frequency acceleration, and on the lines of what turns there, each kind taken together: the
turns of its shaft, its meshes, the rates of its bearing in the envelope. A kind of which no line is known, or none lies in the
record's band, is no family there. All else (crest factor, kurtosis, single lines, cepstrum, averages over a turn) is evidence: it
decides what is wrong, not whether. Which families: common practice, no source.
"""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from gearcase.drive.bearing_lines import BEARING_RATES
from gearcase.drive.line import Line
from gearcase.drive.lines import expected_lines
from gearcase.drive.train import Drive
from gearcase.signal.envelope import envelope_spectrum
from gearcase.signal.spectrum import Transform, band_rms, overall_velocity

__all__ = [
    "BEARING_LINES",
    "LINE_FAMILIES",
    "MESH_LINES",
    "_POLLED",
    "_SHAFT_LINES",
    "Family",
    "alarm_families",
    "family_levels",
]

_POLLED = {"overall velocity": "m/s", "temperature": "K", "high-frequency acceleration": "m/s2"}  # what a sensor gives by itself
_SHAFT_LINES, MESH_LINES, BEARING_LINES = "shaft lines", "mesh lines", "bearing lines"
LINE_FAMILIES = {_SHAFT_LINES: "m/s", MESH_LINES: "m/s2", BEARING_LINES: "-"}  # from a record, and their units
_HALF_WIDTH = 0.005  # of a line, for a speed that moves; common practice, no source
_LEAST_BINS = 4  # of a line under a Hann window, to either side


@dataclass(frozen=True)
class Family:
    """A family that alarms: its quantity, unit, and the lines taken together; none of what a sensor gives by itself."""

    quantity: str
    unit: str
    lines: tuple[Line, ...] = ()


def alarm_families(drive: Drive, bearing: str) -> tuple[Family, ...]:
    """The families of a point on a bearing's housing; on a spot elsewhere (empty name) those of the whole drive, without a
    bearing's.

    Raises
    ------
    OutOfRange
        As `expected_lines`.
    """
    lines = [line for line in expected_lines(drive) if line.kind in ("shaft", "mesh", *BEARING_RATES)]
    under = next((one for one in drive.bearings if one.name == bearing), None)
    shafts = {shaft.name for shaft in drive.shafts}
    if under is not None:
        shafts = {shaft for shaft in (under.inner_shaft, under.outer_shaft) if shaft is not None}
    meshes = {mesh.name for mesh in drive.meshes if {mesh.pinion_shaft, mesh.wheel_shaft} & shafts}
    chosen = {
        _SHAFT_LINES: tuple(line for line in lines if line.kind == "shaft" and line.component in shafts),
        MESH_LINES: tuple(line for line in lines if line.kind == "mesh" and line.component in meshes),
        BEARING_LINES: tuple(line for line in lines if line.kind in BEARING_RATES and line.component == bearing),
    }
    polled = tuple(Family(name, unit) for name, unit in _POLLED.items())
    return polled + tuple(Family(name, LINE_FAMILIES[name], found) for name, found in chosen.items() if found)


def family_levels(families: Iterable[Family], spectrum: Transform, *, speed_hz: float) -> dict[str, float]:
    """Level of each family of lines in one record of acceleration, in the family's unit; families whose lines lie outside it left
    out.

    Shaft lines as RMS velocity [m/s], mesh lines as RMS acceleration [m/s2], each the root of the summed squares of what lies
    within 0.5 % and what is not known of a line; bearing lines as the root of the summed squares of their depths in the envelope
    [-].

    Parameters
    ----------
    families : iterable of Family
    spectrum : Transform
        Of one record, shape (samples,). [m/s2]
    speed_hz : float
        Of the reference shaft. [Hz]

    Examples
    --------
    A calibrator's line of 10 m/s2 RMS at 159.155 Hz moves at 10 mm/s:

    >>> import numpy as np
    >>> from gearcase.signal.spectrum import transform
    >>> from gearcase.worked import Origin
    >>> line = Line("input 1x", "input", "shaft", 1, 1.0, "input", 0.0, Origin.MEASURED)
    >>> wave = 10 * np.sqrt(2) * np.sin(1000 * np.arange(65536) / 8000)
    >>> found = family_levels([Family("shaft lines", "m/s", (line,))], transform(wave, sample_rate_hz=8000.0), speed_hz=159.155)
    >>> round(found["shaft lines"], 4)
    0.01
    """
    found, end = {}, (spectrum.values.shape[-1] - 1) * spectrum.bin_hz
    for family in families:
        squares = []
        if family.quantity == BEARING_LINES:
            envelope = envelope_spectrum(spectrum)
            step, depth = envelope.bin_hz, envelope.depth
            spans = _spans(family.lines, speed_hz, step, (depth.shape[-1] - 1) * step)
            squares = [float(depth[math.floor(low / step) : math.ceil(high / step) + 1].max()) ** 2 for low, high in spans]
        elif family.quantity in (_SHAFT_LINES, MESH_LINES):
            for low, high in _spans(family.lines, speed_hz, spectrum.bin_hz, end):
                rms = (
                    overall_velocity(spectrum, unit="m/s2", lowest_hz=low, highest_hz=high)
                    if family.quantity == _SHAFT_LINES
                    else band_rms(spectrum, lowest_hz=low, highest_hz=high)
                )
                squares.append(float(rms) ** 2)
        if squares:
            found[family.quantity] = math.sqrt(sum(squares))
    return found


def _spans(lines: Iterable[Line], speed_hz: float, bin_hz: float, end_hz: float) -> Iterator[tuple[float, float]]:
    """Bands of the lines that lie within a record, those that overlap as one."""
    bands = []
    for line in lines:
        hz = line.hz(speed_hz)
        reach = max(_LEAST_BINS * bin_hz, (_HALF_WIDTH + line.spread) * hz)
        if hz - reach > bin_hz and hz + reach < end_hz - bin_hz:
            bands.append((hz - reach, hz + reach))
    merged: list[tuple[float, float]] = []
    for low, high in sorted(bands):
        if merged and low <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(high, merged[-1][1]))
        else:
            merged.append((low, high))
    yield from merged
