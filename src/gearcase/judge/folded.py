"""Do lines of a record stand where the drive's own would fold to from above half the sample rate?

Theory of operation
-------------------
What turns with a shaft makes lines at whole multiples m of its speed f. Sampled at F, those between F / 2 and F appear at F - m f:
all at one distance from the shaft's multiples, F modulo f, which no true line of the drive keeps but by chance.
A resonance above half the rate that meshes excite shows so, by the mesh harmonics and sidebands within it, however few there are of
each mesh.

Strangers make rows of lines too, whose sidebands may be the very shaft's (a race, a neighbour): a whole row then stands at one
distance. So lines are not counted against noise but against themselves: the chance given is the share of all distances at which as
many of the record's lines stand, times the shafts tried. How F stands to f has nothing to do with what a stranger
turns at, so that it is right whatever strangers there are.

What has no lines is not told: a folded hump is as good a hump as any other. Nor is what lies above F: few sensors pass it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gearcase.judge.faults import ATTRIBUTION_LIMIT
from gearcase.signal.spectrum import FoundLines

__all__ = ["Folded", "folded_lines"]

_FEWEST = 4  # lines: a mesh line with two pairs of sidebands, one of them lost
_STANDS_WITHIN_BINS = 0.5  # either side of its place that a line may stand beyond noise: speed is never quite steady
_STANDS_WITHIN_ERRORS = 3.0  # standard errors


@dataclass(frozen=True)
class Folded:
    """Lines that stand where multiples of a shaft fold to.

    Attributes
    ----------
    shaft : str
    shown_hz, true_hz : ndarray, shape (lines,)
        Where they stand, and where what makes them stands. [Hz]
    chance : float
        Of as many by others. [-]
    """

    shaft: str
    shown_hz: NDArray[np.float64]
    true_hz: NDArray[np.float64]
    chance: float


def folded_lines(
    found: FoundLines,
    shafts: Sequence[tuple[str, float, float]],
    *,
    sample_rate_hz: float,
    bin_hz: float,
    explained_hz: NDArray[np.float64],
) -> Folded | None:
    """Lines at the drive's own folded places; None where there are none, or where the record is too short to tell.

    Parameters
    ----------
    found : FoundLines
        Lines of the record's spectrum.
    shafts : sequence of (str, float, float)
        Name, speed and its standard error of each shaft. [Hz]
    sample_rate_hz, bin_hz : float
        [Hz]
    explained_hz : ndarray, shape (any,)
        Lines the drive makes within the band. [Hz]

    Examples
    --------
    A mesh of 19 teeth at 24.6 Hz whose third harmonic, 1402.2 Hz, rings: sampled at 2000 Hz it shows at 597.8 Hz.

    >>> true = 24.6 * np.array([19, 55, 56, 57, 58, 59])
    >>> shown = np.where(true > 1000, 2000 - true, true)
    >>> lines = FoundLines(np.sort(shown), np.full(6, 0.01), np.full(6, 50.0))
    >>> found = folded_lines(
    ...     lines, [("input", 24.6, 1e-4)], sample_rate_hz=2000.0, bin_hz=0.05, explained_hz=24.6 * np.arange(1.0, 40.0)
    ... )
    >>> found.true_hz.round(1).tolist(), round(found.chance, 4)
    ([1451.4, 1426.8, 1402.2, 1377.6, 1353.0], 0.0028)
    """
    unexplained = _away_from(
        found.hz, explained_hz, np.maximum(_STANDS_WITHIN_BINS * bin_hz, _STANDS_WITHIN_ERRORS * found.error_hz)
    )
    lines, errors = found.hz[unexplained], found.error_hz[unexplained]
    best: Folded | None = None
    for name, turn_hz, error_hz in shafts:
        true = sample_rate_hz - lines
        reach = (
            np.maximum(_STANDS_WITHIN_BINS * bin_hz, _STANDS_WITHIN_ERRORS * np.hypot(errors, error_hz * true / turn_hz)) / turn_hz
        )
        place = sample_rate_hz / turn_hz % 1.0
        if lines.size < _FEWEST or min(place, 1 - place) < 2 * float(np.median(reach)):
            continue  # among the shaft's own multiples
        at = np.abs((lines / turn_hz - place + 0.5) % 1.0 - 0.5) <= reach
        if (count := int(at.sum())) < _FEWEST:
            continue
        chance = len(shafts) * _share_as_full(lines / turn_hz % 1.0, reach, count)
        if chance <= ATTRIBUTION_LIMIT and (best is None or chance < best.chance):
            best = Folded(name, lines[at], true[at], chance)
    return best


def _share_as_full(places: NDArray[np.float64], reach: NDArray[np.float64], count: int) -> float:
    """Share of the circle within reach of at least so many of these places; all in turns, the shaft's own multiples left out."""
    wide = float(np.median(reach))
    steps = math.ceil(4 / wide)
    grid = (np.arange(steps) + 0.5) / steps
    changes = np.zeros(steps + 1)
    for start, end in zip(places - reach, places + reach, strict=True):
        for low, high in ((start, end), (start + 1, end + 1), (start - 1, end - 1)):
            first, last = np.searchsorted(grid, (low, high))
            changes[first] += 1
            changes[last] -= 1
    clear = (grid > 2 * wide) & (grid < 1 - 2 * wide)
    if not clear.any():
        return 1.0
    return float(np.mean(np.cumsum(changes[:-1])[clear] >= count))


def _away_from(lines_hz: NDArray[np.float64], others_hz: NDArray[np.float64], reach: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which lines stand further than their reach from all others."""
    if not others_hz.size:
        return np.ones(lines_hz.size, np.bool_)
    others = np.sort(others_hz)
    right = np.clip(np.searchsorted(others, lines_hz), 1, others.size - 1) if others.size > 1 else np.zeros(lines_hz.size, np.intp)
    nearest = np.minimum(np.abs(others[right] - lines_hz), np.abs(others[np.maximum(right - 1, 0)] - lines_hz))
    return np.asarray(nearest > reach)
