"""Does the speed move within the record?

The record is cut into eight parts. Lines of turning shafts and meshes all move by one ratio when the speed does; so of every pair
of lines, one of a part and one of the middle part, the ratio is taken, and the ratio that most pairs share is how far the speed
stands from the middle's. Lines that stay (mains, a neighbour) share the ratio 1, and lose where the shaft's lines are more. Beyond
about 6 % the lines of each part are smeared too: nothing is said, and the search for the speed finds no comb.
"""

import math

import numpy as np
import scipy.special
from numpy.typing import NDArray

from gearcase.findings import Finding, Level
from gearcase.signal.quality.facts import CHANCE, Facts
from gearcase.signal.spectrum import FoundLines, certain_lines, transform

__all__ = ["drift", "speed_ratios"]

_PARTS = 8
_LEAST_PART = 2048  # samples
_LARGEST = math.log(1.1)  # between a part and the middle: beyond, a part's own lines are smeared away
_LEAST_STRENGTH = 14.0  # one bin in a million in noise
_MOST_OF_A_PART = 60  # the strongest of a part
_FEWEST_AGREEING = 4  # lines that agree
_LEAST_WIDTH = 0.1  # bins a line may be off beyond noise: the speed moves within the part as well
_SHARPEST = 1e-3  # relative error from which a line agrees with too many others: a tenth of what a caution is given for
_CAUTION = 0.01  # a line at 100 times the shaft then smears over a whole order of it: sidebands run together
_BLOCK = 0.03  # lines are searched in bands of 1.5 % to either side: they cannot hold it


def drift(facts: Facts) -> Finding | None:
    """Range of the speed over the record, where four lines and more say so in at least half of its parts."""
    if not facts.steady or facts.samples.size < _PARTS * _LEAST_PART:
        return None
    found = speed_ratios(facts.samples, sample_rate_hz=facts.rate)
    if found.size < _PARTS // 2:
        return None
    moved = float(np.ptp(found))
    if moved < _CAUTION:
        return None
    level = Level.BLOCKER if moved > _BLOCK else Level.CAUTION
    says = (
        f"The speed moves by {100 * moved:.2g} % within the record: lines are smeared, those of {1 / moved:.0f} times the shaft "
        "and above into their neighbours; record at steady speed and load, or with a tachometer and look at orders."
    )
    return Finding(level, "quality.drift", "whole record", says)


def speed_ratios(samples: NDArray[np.floating], *, sample_rate_hz: float) -> NDArray[np.float64]:
    """Speed of each of the record's parts over that of its middle, of the parts whose lines tell it, shape (up to 8,). [-]

    Parameters
    ----------
    samples : ndarray, shape (samples,)
        [unit of the samples]
    sample_rate_hz : float
        [Hz]

    Examples
    --------
    A speed that rises by 2 %:

    >>> t = np.arange(65536) / 8192
    >>> angle = 25 * (t + 0.02 * t**2 / 16)
    >>> wave = sum(np.cos(2 * np.pi * n * angle) for n in (17, 18, 34, 51, 68, 69))
    >>> wave += np.random.default_rng(0).standard_normal(t.size)
    >>> round(float(np.ptp(speed_ratios(wave, sample_rate_hz=8192.0))), 3)
    0.017
    """
    length = samples.size // _PARTS
    parts = transform(samples[: length * _PARTS].reshape(_PARTS, length), sample_rate_hz=sample_rate_hz)
    lines = [_strongest(certain_lines(row, bin_hz=parts.bin_hz, least=_LEAST_STRENGTH)) for row in parts.strength]
    middle = lines[_PARTS // 2]
    ratios = (_shared_ratio(one, middle, parts.bin_hz) for one in lines)
    return np.array([ratio for ratio in ratios if ratio is not None])


def _strongest(lines: FoundLines) -> FoundLines:
    """Of those above the bins that the mean leaves something in."""
    keep = np.sort(np.argsort(-lines.strength)[:_MOST_OF_A_PART])
    return FoundLines(lines.hz[keep], lines.error_hz[keep], lines.strength[keep])


def _shared_ratio(one: FoundLines, other: FoundLines, bin_hz: float) -> float | None:
    """The ratio that most pairs of lines share, where chance does not explain it; of several, the nearest to 1."""
    if min(one.hz.size, other.hz.size) < _FEWEST_AGREEING:
        return None
    log_ratio = np.log(one.hz[:, None] / other.hz)
    error = np.hypot((one.error_hz / one.hz)[:, None], other.error_hz / other.hz)
    error = np.hypot(error, _LEAST_WIDTH * bin_hz / other.hz)
    near = (np.abs(log_ratio) <= _LARGEST) & (error <= _SHARPEST)
    order = np.argsort(log_ratio[near])
    ratio, error = log_ratio[near][order], error[near][order]
    if ratio.size < _FEWEST_AGREEING:
        return None
    first, last = np.searchsorted(ratio, ratio - 3 * error), np.searchsorted(ratio, ratio + 3 * error, side="right")
    shared = last - first
    best = int(np.lexsort((np.abs(ratio), -shared))[0])
    by_chance = ratio.size * float(3 * error[best] / _LARGEST)
    if shared[best] < _FEWEST_AGREEING or scipy.special.pdtrc(shared[best] - 2, by_chance) * ratio.size > CHANCE:
        return None
    agreeing = slice(first[best], last[best])
    return float(np.exp(np.average(ratio[agreeing], weights=error[agreeing] ** -2)))
