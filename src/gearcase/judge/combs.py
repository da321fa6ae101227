"""How well a comb of harmonics stands out of a spectrum, for thousands of base frequencies at once.

A `CombScorer` holds line strengths and a mask of bins explained already. For each base frequency the strongest bin
near each of the first five harmonics is found through a table of running maxima, turned into a chance, and the five
are put together by `odds.harmonic_log_chance`. Scanning every base of a wide range costs about as much as testing the
drive's own.
"""

import itertools

import numpy as np
from numpy.typing import NDArray

from gearcase.judge.odds import harmonic_log_chance, log_chance_of_maximum

__all__ = ["ALIGNMENT", "HARMONICS", "SLIP_BAND", "STATED_SPEED_BAND", "CombScorer", "scan_bases"]

HARMONICS = np.arange(1.0, 6.0)
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

    def log_chance(self, bases_hz: NDArray[np.float64], *, least: float = 0.0) -> NDArray[np.float64]:
        """Natural log of the chance of each comb in noise, by its base [Hz], one base looked at; 0 where it cannot be tested, and
        where the fundamental shows already that it is above `least`. Shape (bases,). [-]
        """
        fundamental = np.nan_to_num(self.line_log_chance(bases_hz))
        looked = np.flatnonzero(2 * fundamental <= least)  # no comb is less likely than its fundamental allows
        others = np.nan_to_num(self.line_log_chance(HARMONICS[1:, None] * bases_hz[looked]))
        found = np.zeros(bases_hz.size)
        found[looked] = harmonic_log_chance(np.vstack([fundamental[looked], others]))
        return found

    def testable(self, bases_hz: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Whether the fundamental [Hz] and at least two harmonics lie in bins not yet explained. Shape (bases,)."""
        _, _, testable = self._windows(HARMONICS[:, None] * bases_hz)
        return np.asarray(testable[0] & (testable[1:].sum(axis=0) >= 2))

    def strongest_near(self, lines_hz: NDArray[np.float64]) -> NDArray[np.float64]:
        """Strength [-] near single lines [Hz], shape as given; NaN where it is explained already or outside."""
        first, bins, testable = self._windows(lines_hz)
        return np.where(testable, self._maximum(first, bins), np.nan)

    def line_log_chance(self, lines_hz: NDArray[np.float64]) -> NDArray[np.float64]:
        """Natural log of the chance of the strongest bin near single lines [Hz] in noise, shape as given; NaN where it is explained
        already or outside. [-]
        """
        first, bins, testable = self._windows(lines_hz)
        return np.where(testable, log_chance_of_maximum(self._maximum(first, bins), bins=bins), np.nan)

    def lines(self, base_hz: float) -> list[tuple[float, float]]:
        """Where the strongest bin stands [Hz] and its strength [-], near each of the five harmonics of a base [Hz]; (nan, 0) for
        those not testable.
        """
        found = []
        for low, bins, ok in zip(*self._windows(HARMONICS * base_hz), strict=True):
            if not ok:
                found.append((float("nan"), 0.0))
                continue
            window = self._levels[0, low : low + bins]
            at = int(window.argmax())
            found.append((int(low + at) * self.bin_hz, float(window[at])))
        return found

    def _windows(self, lines_hz: NDArray[np.float64]) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.bool_]]:
        """About each line [Hz] the first bin, how many, and whether more than half of them are not explained; shape as given."""
        if self._changed:
            self._prepare()
        targets = lines_hz / self.bin_hz
        half = np.maximum(1, np.ceil(targets * ALIGNMENT)).astype(np.intp)
        centre = np.rint(targets).astype(np.intp)
        inside = (centre >= half) & (centre + half < self._strength.size)
        first, bins = np.where(inside, centre - half, 0), np.where(inside, 2 * half + 1, 1)
        masked = self._masked_before.take(first + bins) - self._masked_before.take(first)
        return first, bins, inside & (2 * masked < bins)

    def _maximum(self, first: NDArray[np.intp], bins: NDArray[np.intp]) -> NDArray[np.float64]:
        power = np.frexp(bins)[1] - 1  # whole log2
        left = power * self._strength.size + first
        right = left + bins - (1 << power)
        return np.asarray(np.maximum(self._levels.take(left), self._levels.take(right)), np.float64)

    def _prepare(self) -> None:
        """Running maxima over 1, 2, 4, ... bins: any window is the larger of two of them."""
        self._masked_before = np.append(0, np.cumsum(self._masked))
        widest = 2 * int(np.ceil(self._strength.size * ALIGNMENT)) + 3
        self._levels = np.empty((int(np.log2(widest)) + 1, self._strength.size), np.float32)
        self._levels[0] = np.where(self._masked, 0, self._strength)
        for power, (level, wider) in enumerate(itertools.pairwise(self._levels)):
            reach = 1 << power
            np.maximum(level[:-reach], level[reach:], out=wider[:-reach])
            wider[-reach:] = level[-reach:]
        self._changed = False
