"""How well a comb of harmonics stands out of a spectrum, for thousands of base frequencies at once.

A `CombScorer` holds line strengths and a mask of bins explained already. For each base frequency the strongest bin
near each of the first five harmonics is found through a table of running maxima, turned into a chance, and the five
are put together by `odds.harmonic_log_chance`. Scanning every base of a wide range costs about as much as testing the
drive's own.
"""

import numpy as np
from numpy.typing import NDArray

from gearcase.judge.odds import harmonic_log_chance, log_chance_of_maximum

__all__ = ["ALIGNMENT", "HARMONICS", "SLIP_BAND", "STATED_SPEED_BAND", "CombScorer", "scan_bases"]

HARMONICS = np.arange(1, 6)
ALIGNMENT = 0.001  # harmonics may stand this far, relative, from exact multiples: slip smears them
STATED_SPEED_BAND = 0.025  # a stated speed may be this far off: plate against slip, rounding; common practice, no source
SLIP_BAND = 0.015  # half-width of the band about a computed rate: 1 to 2 % (Randall and Antoni 2011, from memory)


def scan_bases(lowest_hz: float, highest_hz: float) -> NDArray[np.float64]:
    """Base frequencies from lowest to highest, one alignment width apart, shape (bases,). [Hz]"""
    count = int(np.ceil(np.log(highest_hz / lowest_hz) / ALIGNMENT)) + 1
    return np.geomspace(lowest_hz, highest_hz, count)


class CombScorer:
    """Scores combs in one spectrum, and takes explained lines out of it.

    Parameters
    ----------
    strength : ndarray, shape (bins,)
        Power over local noise. [-]
    bin_hz : float
        [Hz]
    highest_base_hz : float
        Bins above its fifth harmonic are left alone. [Hz]
    """

    def __init__(self, strength: NDArray[np.floating], *, bin_hz: float, highest_base_hz: float) -> None:
        last = int(HARMONICS[-1] * highest_base_hz * (1 + 2 * ALIGNMENT) / bin_hz) + 3
        self.bin_hz = bin_hz
        self._strength = np.array(strength[: min(last, strength.shape[-1])], dtype=np.float32)
        self._masked = np.zeros(self._strength.size, dtype=bool)
        self._masked[:2] = True  # the mean and its window skirt
        self._changed = True

    def mask(self, lines_hz: NDArray[np.float64], *, within: float) -> None:
        """Take lines [Hz] out, each `within` a relative distance [-], at the least with its main lobe."""
        centres = np.rint(lines_hz / self.bin_hz).astype(np.intp)
        halves = np.maximum(2, np.ceil(lines_hz * within / self.bin_hz)).astype(np.intp)
        edges = np.zeros(self._masked.size + 1, dtype=np.int32)
        np.add.at(edges, np.clip(centres - halves, 0, self._masked.size), 1)
        np.add.at(edges, np.clip(centres + halves + 1, 0, self._masked.size), -1)
        self._masked |= np.cumsum(edges[:-1]) > 0
        self._changed = True

    def log_chance(self, bases_hz: NDArray[np.float64]) -> NDArray[np.float64]:
        """Natural log [-] of the chance of each comb in noise, by its base [Hz], one base looked at; 0 where it cannot be tested.
        Shape (bases,).
        """
        first, last, testable = self._windows(bases_hz)
        best = np.where(testable, self._maximum(first, last), 0.0)
        return harmonic_log_chance(np.where(testable, log_chance_of_maximum(best, bins=last - first + 1), 0.0))

    def testable(self, bases_hz: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Whether the fundamental [Hz] and at least two harmonics lie in bins not yet explained. Shape (bases,)."""
        _, _, testable = self._windows(bases_hz)
        return np.asarray(testable[0] & (testable[1:].sum(axis=0) >= 2))

    def strongest_near(self, lines_hz: NDArray[np.float64]) -> NDArray[np.float64]:
        """Strength [-] near single lines [Hz], shape (lines,); NaN where it is explained already or outside."""
        first, last, testable = self._windows(lines_hz)
        return np.where(testable[0], self._maximum(first[:1], last[:1])[0], np.nan)

    def line_log_chance(self, lines_hz: NDArray[np.float64]) -> NDArray[np.float64]:
        """Natural log of the chance of the strongest bin near single lines [Hz] in noise, shape as given; NaN where it is explained
        already or outside. [-]
        """
        first, last, testable = (rows[0].reshape(lines_hz.shape) for rows in self._windows(lines_hz.ravel()))
        chance = log_chance_of_maximum(self._maximum(first, last), bins=last - first + 1)
        return np.where(testable, chance, np.nan)

    def lines(self, base_hz: float) -> list[tuple[float, float]]:
        """Where the strongest bin stands [Hz] and its strength [-], near each of the five harmonics of a base [Hz]; (nan, 0) for
        those not testable.
        """
        first, last, testable = self._windows(np.array([base_hz]))
        found = []
        for low, high, ok in zip(first[:, 0], last[:, 0], testable[:, 0], strict=True):
            if not ok:
                found.append((float("nan"), 0.0))
                continue
            window = np.where(self._masked[low : high + 1], 0, self._strength[low : high + 1])
            at = int(np.argmax(window))
            found.append(((low + at) * self.bin_hz, float(window[at])))
        return found

    def _windows(self, bases_hz: NDArray[np.float64]) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.bool_]]:
        if self._changed:
            self._prepare()
        targets = HARMONICS[:, None] * bases_hz / self.bin_hz
        half = np.maximum(1, np.ceil(targets * ALIGNMENT)).astype(np.intp)
        centre = np.rint(targets).astype(np.intp)
        inside = (centre - half >= 0) & (centre + half < self._strength.size)
        first = np.where(inside, centre - half, 0)
        last = np.where(inside, centre + half, 0)
        masked = self._masked_before[last + 1] - self._masked_before[first]
        return first, last, inside & (2 * masked < last - first + 1)

    def _prepare(self) -> None:
        """Running maxima over 1, 2, 4, ... bins: any window is the larger of two of them."""
        self._masked_before = np.concatenate([[0], np.cumsum(self._masked)])
        level = np.where(self._masked, np.float32(0), self._strength)
        widest = 2 * int(np.ceil(self._strength.size * ALIGNMENT)) + 3
        levels = [level]
        for power in range(int(np.log2(widest))):
            reach = 1 << power
            level = level.copy()
            np.maximum(level[:-reach], level[reach:], out=level[:-reach])
            levels.append(level)
        self._levels = np.stack(levels)
        self._changed = False

    def _maximum(self, first: NDArray[np.intp], last: NDArray[np.intp]) -> NDArray[np.float64]:
        width = last - first + 1
        power = np.frexp(width)[1] - 1  # whole log2
        left = self._levels[power, first]
        right = self._levels[power, last + 1 - (1 << power)]
        return np.asarray(np.maximum(left, right), np.float64)
