"""Samples that are not what the sensor felt: clipping, dropouts, too few values, spikes, offset.

A digital record has a resolution q, its smallest step. In a sound record with standard deviation s the chance that two
given samples share a value is about q / (2 s sqrt(pi)) (Gaussian: integral of the squared density). Coarse converters
therefore repeat values honestly, and rules of repetition are scaled with q / s.
"""

import math

import numpy as np
from numpy.typing import NDArray

from gearcase.findings import Finding, Level
from gearcase.signal.quality.facts import CHANCE, Facts

__all__ = ["clipping", "dropouts", "few_values", "offset", "spikes"]

_CLIPPED_FEW = 1e-4  # share of samples on a rail: single tops cut, levels still right to a per cent; common practice, no source
_FLAT_TOP = 3  # samples in a row on a rail
_DROPOUT_S = 2e-3  # a gap this long hides the ring of an impact; common practice, no source
_DROPOUT_MANY = 0.01  # share of a record that may be missing before no verdict; common practice, no source
_FEW_VALUES = 16  # distinct values, 4 bits; common practice, no source
_SPIKE = 12.0  # robust standard deviations; Gaussian chance 4e-33 a sample
_SPIKE_ALONE = 8.0  # a spike stands this many times over its neighbours; a band-limited ring does not
_SPIKES_MANY = 1e-3  # share
_OFFSET = 5.0  # mean over standard deviation; common practice, no source


def clipping(facts: Facts) -> Finding | None:
    """Samples piled up on the extremes.

    In a sound record the extreme value is rare: its neighbours one step in are more frequent (a Gaussian density falls
    outward). A rail collects everything beyond it, so it holds more than the steps before it. Clipped is a pile of more
    than ten that is more than four times what the next three values hold together, or a flat top of `_FLAT_TOP` samples
    with more than three times those. A slow waveform rests at its top within one step too; there the steps before it are
    as full or fuller (a sine: 1 to 1), so it is not flagged. In falling density one sample in four at most of those
    four values is on the outermost: eleven of eleven has chance 0.25^11 = 2e-7. A tone in step with the sample rate
    repeats its few values and is left to `quality.few_values`.
    """
    samples = facts.samples
    low, high = float(samples.min()), float(samples.max())
    total, where = 0, []
    for name, rail, sign in (("upper", high, 1.0), ("lower", low, -1.0)):
        on = samples == rail
        if facts.full_scale is not None and sign * rail >= facts.full_scale * (1 - 1e-6):
            on = sign * samples >= facts.full_scale * (1 - 1e-6)
            piled = True
        else:
            piled = _is_piled(samples, on, rail, sign, facts)
        if piled:
            total += int(on.sum())
            where.append(f"{name} limit {rail:.4g} {facts.unit}, first at {int(on.argmax()) / facts.rate:.4g} s")
    if not total:
        return None
    share = total / samples.size
    level = Level.BLOCKER if share > _CLIPPED_FEW else Level.CAUTION
    says = (
        f"{total} of {samples.size} samples ({100 * share:.2g} %) are clipped: levels and spectrum are not valid; "
        "use a sensor or a setting of greater range."
    )
    return Finding(level, "quality.clipping", "; ".join(where), says)


def dropouts(facts: Facts) -> Finding | None:
    """Runs of one value.

    The chance of a run of n at a given place in a record of independent samples is at most p^(n-1), p = q / (2 s sqrt(pi))
    the chance of two equal samples; over all places the expected number must stay below `CHANCE`. Real records are
    smooth, so a run must also last twenty samples and `_DROPOUT_S`, and begin or end with a jump of more than two steps:
    a slow waveform on a coarse converter creeps by one.
    """
    equal = np.diff(facts.samples) == 0
    if not equal.any():
        return None
    chance = min(0.9, max(facts.step / (2 * facts.deviation * math.sqrt(math.pi)), 1e-9))
    by_chance = 1 + math.log(CHANCE / facts.samples.size) / math.log(chance)
    least = max(20, math.ceil(by_chance), math.ceil(_DROPOUT_S * facts.rate))
    starts, lengths = _runs(equal)
    keep = lengths + 1 >= least
    jumps = np.abs(np.diff(facts.samples))
    before, after = jumps[np.maximum(starts - 1, 0)], jumps[np.minimum(starts + lengths, jumps.size - 1)]
    keep &= np.maximum(before, after) > 2.5 * facts.step
    rails = (float(facts.samples.min()), float(facts.samples.max()))
    keep &= ~np.isin(facts.samples[starts], rails) | (facts.samples[starts] == 0)  # those are clipping
    if not keep.any():
        return None
    missing = int((lengths[keep] + 1).sum())
    share = missing / facts.samples.size
    level = Level.BLOCKER if share > _DROPOUT_MANY else Level.CAUTION
    longest = int(lengths[keep].max()) + 1
    first = int(starts[keep][0])
    says = (
        f"{int(keep.sum())} gap(s) in which the value stands still, the longest {longest} samples "
        f"({1000 * longest / facts.rate:.3g} ms), {100 * share:.2g} % of the record; check cable, connector and data link."
    )
    return Finding(level, "quality.dropout", f"first at {first / facts.rate:.4g} s", says)


def few_values(facts: Facts) -> Finding | None:
    """Too coarse: noise of quantisation q / sqrt(12) is then no longer small against the signal."""
    if not _has_few_values(facts.samples):
        return None
    distinct = np.unique(facts.samples).size
    says = (
        f"Only {distinct} different values in {facts.samples.size} samples: the signal uses almost none of the converter's "
        "range; raise the gain or use a sensor of smaller range."
    )
    level = Level.BLOCKER if distinct <= 3 else Level.CAUTION
    return Finding(level, "quality.few_values", "whole record", says)


def spikes(facts: Facts) -> Finding | None:
    """Single samples out of nowhere.

    An impact, however sharp, rings the housing and passes the anti-alias filter, so it spans several samples. A
    transmission error is one sample wide: its neighbours on both sides lie `_SPIKE_ALONE` times lower.
    """
    if facts.robust == 0:
        return None
    away = np.abs(facts.samples - facts.mean)
    peaks = np.flatnonzero(away > _SPIKE * facts.robust)
    peaks = peaks[(peaks >= 2) & (peaks < away.size - 2)]
    if not peaks.size:
        return None
    around = np.maximum.reduce([away[peaks + n] for n in (-2, -1, 1, 2)])
    alone = peaks[(away[peaks] > _SPIKE_ALONE * around)]
    if not alone.size:
        return None
    level = Level.BLOCKER if alone.size > _SPIKES_MANY * facts.samples.size else Level.CAUTION
    says = (
        f"{alone.size} single sample(s) stand alone, the largest {float(away[alone].max()) / facts.robust:.0f} times the "
        "usual level, with no ring before or after: likely errors of the data link, not impacts; check cable and link."
    )
    return Finding(level, "quality.spikes", f"first at {int(alone[0]) / facts.rate:.4g} s", says)


def offset(facts: Facts) -> Finding | None:
    """A mean far above the vibration; of about one g it is gravity, and no fault, on a sensor that measures to 0 Hz."""
    if abs(facts.mean) <= _OFFSET * facts.deviation:
        return None
    says = (
        f"The mean is {facts.mean:.4g} {facts.unit}, {abs(facts.mean) / facts.deviation:.0f} times the vibration about it: "
        "gravity on a sensor that measures down to 0 Hz, a wrong bias or a failing sensor; compare with its mounting."
    )
    return Finding(Level.CAUTION, "quality.offset", "whole record", says)


def _is_piled(samples: NDArray[np.floating], on: NDArray[np.bool_], rail: float, sign: float, facts: Facts) -> bool:
    count = int(on.sum())
    if count < _FLAT_TOP:
        return False
    span = float(np.ptp(samples))
    step = max(facts.step, span * 1e-6)
    inward = sign * (rail - samples)
    near = int(((inward > 0.5 * step) & (inward < 3.5 * step)).sum())
    run = _longest_run(on)
    piled = count > 10 and count > 4 * max(near, 1)
    piled = piled and not _has_few_values(samples) and not _repeats(samples, on, step)
    return piled or (run >= _FLAT_TOP and count > 3 * near + 2)


def _repeats(samples: NDArray[np.floating], on: NDArray[np.bool_], step: float) -> bool:
    """Whether a record is the same again from one of these samples to the next, or to the next but one, and so on to its end."""
    at = np.flatnonzero(on)
    away = (int(at[n] - at[0]) for n in (1, 2))
    return any(bool(np.abs(samples[every:] - samples[:-every]).max() <= step) for every in away)


def _has_few_values(samples: NDArray[np.floating]) -> bool:
    """Asked of a thousand samples first, since sorting them all takes longer than every other rule."""
    some = samples[:: max(1, samples.size // 1024)]
    return np.unique(some).size < _FEW_VALUES and np.unique(samples).size < _FEW_VALUES


def _runs(flags: NDArray[np.bool_]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """First index and length of each run of true."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    return edges[::2], edges[1::2] - edges[::2]


def _longest_run(flags: NDArray[np.bool_]) -> int:
    return int(_runs(flags)[1].max(initial=0))
