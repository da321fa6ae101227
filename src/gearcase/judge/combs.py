"""How well a comb of harmonics stands out of a spectrum, for thousands of base frequencies at once.

A `CombScorer` holds line strengths and a mask of bins explained already. For each base frequency the strongest bin
near each of the first five harmonics is found through a table of running maxima, turned into a chance, and the five
are put together by `odds.harmonic_log_chance`. Scanning every base of a wide range costs about as much as testing the
drive's own.
"""

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gearcase.judge.odds import harmonic_log_chance, log_chance_of_maximum

__all__ = ["ALIGNMENT", "HARMONICS", "SLIP_BAND", "STATED_SPEED_BAND", "CombScorer", "Windows", "scan_bases"]

HARMONICS = np.arange(1.0, 6.0)
ALIGNMENT = 0.001  # harmonics may stand this far, relative, from exact multiples: slip smears them
STATED_SPEED_BAND = 0.025  # a stated speed may be this far off: plate against slip, rounding; common practice, no source
SLIP_BAND = 0.015  # half-width of the band about a computed rate: 1 to 2 % (Randall and Antoni 2011, from memory)


def scan_bases(lowest_hz: float, highest_hz: float) -> NDArray[np.float64]:
    """Base frequencies from lowest to highest, one alignment width apart, shape (bases,). [Hz]"""
    count = int(np.ceil(np.log(highest_hz / lowest_hz) / ALIGNMENT)) + 1
    return np.geomspace(lowest_hz, highest_hz, count)


@dataclass(frozen=True)
class Windows:
    """Bins that lines may stand in.

    Attributes
    ----------
    first, bins : ndarray of int
        The first of them and how many they are. [-]
    inside : ndarray of bool
        Whether all of them lie in what is looked at; else a window of one bin, the mean.
    """

    first: NDArray[np.intp]
    bins: NDArray[np.intp]
    inside: NDArray[np.bool_]


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

    def combs(self, bases_hz: NDArray[np.float64]) -> Windows:
        """Where the harmonics of these bases [Hz] are looked for, shape (5, bases): the same whatever is explained by then."""
        return self._windows(HARMONICS[:, None] * bases_hz)

    def log_chance(self, combs: Windows) -> NDArray[np.float64]:
        """Natural log of the chance of each comb in noise, one base looked at; 0 where it cannot be tested. Shape (bases,). [-]"""
        best = np.where(self._seen(combs), self._maximum(combs), 0.0)
        return harmonic_log_chance(log_chance_of_maximum(best, bins=combs.bins))

    def testable(self, combs: Windows) -> NDArray[np.bool_]:
        """Whether the fundamental and at least two harmonics lie in bins not yet explained. Shape (bases,). [-]"""
        seen = self._seen(combs)
        return np.asarray(seen[0] & (seen[1:].sum(axis=0) >= 2))

    def strongest_near(self, lines_hz: NDArray[np.float64]) -> NDArray[np.float64]:
        """Strength [-] near single lines [Hz], shape as given; NaN where it is explained already or outside."""
        windows = self._windows(lines_hz)
        return np.where(self._seen(windows), self._maximum(windows), np.nan)

    def line_log_chance(self, lines_hz: NDArray[np.float64]) -> NDArray[np.float64]:
        """Natural log of the chance of the strongest bin near single lines [Hz] in noise, shape as given; NaN where it is explained
        already or outside. [-]
        """
        windows = self._windows(lines_hz)
        return np.where(self._seen(windows), log_chance_of_maximum(self._maximum(windows), bins=windows.bins), np.nan)

    def lines(self, base_hz: float) -> list[tuple[float, float]]:
        """Where the strongest bin stands [Hz] and its strength [-], near each of the five harmonics of a base [Hz]; (nan, 0) for
        those not testable.
        """
        windows, found = self._windows(HARMONICS * base_hz), []
        for low, bins, seen in zip(windows.first, windows.bins, self._seen(windows), strict=True):
            if not seen:
                found.append((float("nan"), 0.0))
                continue
            window = self._levels[0, low : low + bins]
            at = int(window.argmax())
            found.append((int(low + at) * self.bin_hz, float(window[at])))
        return found

    def _windows(self, lines_hz: NDArray[np.float64]) -> Windows:
        """About each line [Hz], shape as given."""
        targets = lines_hz / self.bin_hz
        half = np.maximum(1, np.ceil(targets * ALIGNMENT)).astype(np.intp)
        centre = np.rint(targets).astype(np.intp)
        inside = (centre >= half) & (centre + half < self._strength.size)
        return Windows(np.where(inside, centre - half, 0), np.where(inside, 2 * half + 1, 1), inside)

    def _seen(self, windows: Windows) -> NDArray[np.bool_]:
        """Whether more than half of the bins of each window are not explained."""
        if self._changed:
            self._prepare()
        masked = self._masked_before.take(windows.first + windows.bins) - self._masked_before.take(windows.first)
        return np.asarray(windows.inside & (2 * masked < windows.bins))

    def _maximum(self, windows: Windows) -> NDArray[np.float64]:
        if self._changed:
            self._prepare()
        power = np.frexp(windows.bins)[1] - 1  # whole log2
        left = power * self._strength.size + windows.first
        right = left + windows.bins - (1 << power)
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
