"""How likely is a speed by the peaks of a recording's spectra, against noise and strangers?

`Combs` answers for many speeds at once, and says cheaply what no speed of a stretch can exceed, so that a search need not look
where nothing is to be found. The theory stands at the head of `signal.speed`, which searches and decides.
"""

import bisect
import copy
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gearcase.signal.spectrum import line_places, peak_bins

__all__ = [
    "CERTAIN_PEAK",
    "WEAKEST_PEAK",
    "WIDTHS_BINS",
    "Comb",
    "Combs",
    "Spectrum",
    "log_sum",
    "slipping_bounds",
    "slipping_gain",
]

_SHARES_SHOWING = np.array([0.01, 0.1, 0.6])  # of the lines of a family: from a quiet gear to a loose one; assumed
WEAKEST_PEAK = 6.0  # strength from which a peak is looked at: one bin in 400 in noise
_STRONGEST = 1e5  # real lines have strengths from the weakest peak to this, each decade as likely; assumed
CERTAIN_PEAK = 14.0  # strength from which a peak is no noise: one in a million bins
_SEPARATE_BINS = 4  # nearer lines fall into each other's main lobe (Hann: 4 bins wide, Harris 1978)
WIDTHS_BINS = (0.5, 0.125, 0.03, 0.008)  # scatter of lines beyond noise; what is below leaks in from far lines anyway
_REACH = 4.0  # standard errors beyond which a peak is none of a line's
_AT_ONCE = 2**13  # speeds: more fill the cache, and gain nothing


@dataclass(frozen=True)
class Spectrum:
    """Line strengths over local noise [-] under a Hann window, their resolution `bin_hz` [Hz], and the orders of the comb to look
    for in them [-], by families whose lines show alike, the surest first. `slipping` are orders that may stand anywhere within
    `slip`, relative [-].
    """

    strength: NDArray[np.floating]
    bin_hz: float
    families: Sequence[Sequence[float]]
    slipping: Sequence[float] = ()
    slip: float = 0.0


class Comb:
    """One spectrum as its peaks, and the orders of its comb that can be told apart in it."""

    def __init__(self, spectrum: Spectrum, lowest_hz: float, highest_hz: float) -> None:
        strength, self.bin_hz = spectrum.strength, spectrum.bin_hz
        apart, highest = _SEPARATE_BINS * self.bin_hz / lowest_hz, (strength.size - 3) * self.bin_hz / highest_hz
        self.families: list[list[float]] = []
        self.orders: list[float] = []
        rising = [-np.inf, np.inf]
        for family in spectrum.families:
            kept: list[float] = []
            for order in family:
                above = bisect.bisect(rising, order)
                if apart < order < highest and order - rising[above - 1] >= apart and rising[above] - order >= apart:
                    kept.append(order)
                    self.orders.append(order)
                    rising.insert(above, order)
            if kept:
                self.families.append(kept)
        if not self.orders:
            return
        first = max(int(rising[1] * lowest_hz / self.bin_hz) - 3, 1)
        self.end = min(int(rising[-2] * highest_hz / self.bin_hz) + 3, strength.size - 1)
        at = first - 1 + peak_bins(strength[first - 1 : self.end + 1], WEAKEST_PEAK)
        top = strength[at].astype(np.float64)
        self.certain = top >= CERTAIN_PEAK
        by_chance = np.exp(-top) * top * np.log(_STRONGEST / WEAKEST_PEAK)
        self.density = np.count_nonzero(self.certain) / (self.end - first) + by_chance
        self.place, self.error = line_places(strength, at)
        self.own = _own_stretch(at)

    def without_multiples(self, mains_hz: float) -> "Comb":
        """The same comb without the peaks at multiples of the mains [Hz]; itself where none of them is certain."""
        multiple = self.place * self.bin_hz / mains_hz
        mains = np.abs(multiple - np.rint(multiple)) * mains_hz <= self.bin_hz
        if not np.any(mains & self.certain):
            return self
        rest = copy.copy(self)
        rest.certain, rest.density = self.certain[~mains], self.density[~mains]
        rest.place, rest.error = self.place[~mains], self.error[~mains]
        rest.own = _own_stretch(np.rint(rest.place))
        return rest

    def found(self, speed_hz: float, error_hz: float) -> tuple[float, ...]:
        """Orders [-] whose lines have a peak in their place at a speed known to its error. [Hz]"""
        if not self.orders or self.place.size == 0:
            return ()
        orders = np.array(self.orders)
        place = speed_hz * orders / self.bin_hz
        peak = np.searchsorted(self.own[1, :-1], place)
        error = np.hypot(self.error[peak], orders * error_hz / self.bin_hz)
        return tuple(orders[np.abs(place - self.place[peak]) < _REACH * error].tolist())


class Combs:
    """Combs of one recording, to be asked together: the peaks of each spectrum stand behind those of the one before.

    Speeds `spacing_hz` apart move no line by more than the first width from one to the next. [Hz]
    """

    def __init__(self, combs: Sequence[Comb]) -> None:
        self.spacing_hz = WIDTHS_BINS[0] * min(comb.bin_hz / max(comb.orders) for comb in combs)
        combs = [comb for comb in combs if comb.place.size] or combs[:1]  # where no peak is, nothing is said
        sizes = [len(family) for comb in combs for family in comb.families]
        self.family = np.repeat(np.arange(len(sizes)), sizes)
        self.missing = np.log1p(-_SHARES_SHOWING)[:, None] * sizes  # of each family, were no line of it there
        self.without = log_sum(self.missing)
        begin = 2 * max(comb.end for comb in combs) * np.arange(len(combs))  # so far that no line of one reaches the next
        self.begin = np.repeat(begin, [len(comb.orders) for comb in combs])
        self.behind = np.concatenate([comb.place + first for comb, first in zip(combs, begin, strict=True)])
        self.per_hz = np.concatenate([np.array(comb.orders) / comb.bin_hz for comb in combs])
        self.place, self.error = (np.concatenate([getattr(comb, what) for comb in combs]) for what in ("place", "error"))
        self.density = np.concatenate([comb.density for comb in combs])
        self.own = np.concatenate([comb.own for comb in combs], axis=1)

    def log_gain(self, speeds_hz: NDArray[np.float64], width: float) -> NDArray[np.float64]:
        """Log likelihood ratio of each of these rising speeds [Hz], lines scattering by `width` [bins] beyond noise."""
        if self.place.size == 0:
            return np.zeros(speeds_hz.size)
        error = np.hypot(self.error, width)
        reach = _REACH * error
        stretch = np.maximum(self.place - reach, self.own[0]), np.minimum(self.place + reach, self.own[1])
        curve, highest = -0.5 / error**2, 1 / (error * np.sqrt(2 * np.pi) * self.density)
        gain = np.empty(speeds_hz.size)
        for first in range(0, speeds_hz.size, _AT_ONCE):
            some = slice(first, first + _AT_ONCE)
            line, peak, speed, away = self._near(speeds_hz[some], *stretch)
            gain[some] = self._sum(line, speed, speeds_hz[some].size, highest[peak] * np.exp(curve[peak] * away**2))
        return gain

    def most_gain(self, speeds_hz: NDArray[np.float64], aside_hz: float) -> NDArray[np.float64]:
        """Never less than the log likelihood ratio of any speed so near to one of these rising ones [Hz], by any of the widths.

        Each line is brought as near to each peak as it may come, and has the error at which that tells most.
        """
        if self.place.size == 0:
            return np.zeros(speeds_hz.size)
        most, *_, least = (np.hypot(self.error, width) for width in WIDTHS_BINS)
        line, peak, speed, away = self._near(speeds_hz, self.place - _REACH * most, self.place + _REACH * most, aside_hz)
        away = np.maximum(np.abs(away) - aside_hz * self.per_hz[line], 0.0)
        error = np.clip(away, least[peak], most[peak])
        ratio = np.exp(-0.5 * (away / error) ** 2) / (error * np.sqrt(2 * np.pi) * self.density[peak])
        return self._sum(line, speed, speeds_hz.size, ratio)

    def _near(
        self, speeds_hz: NDArray[np.float64], low: NDArray[np.float64], high: NDArray[np.float64], aside_hz: float = 0.0
    ) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp], NDArray[np.float64]]:
        """Where lines stand in the stretch of a peak, `low` to `high` [bins], which few do: line, peak, speed, and how far from the
        peak [bins].

        Of each line and each peak that its places pass, the speeds that bring it there stand together.
        """
        aside = aside_hz * self.per_hz
        reach = _REACH * np.hypot(self.error.max(), WIDTHS_BINS[0]) + aside
        lowest, highest = (self.begin + self.per_hz * speed for speed in speeds_hz[[0, -1]])
        line, peak = _stretches(np.searchsorted(self.behind, lowest - reach), np.searchsorted(self.behind, highest + reach))
        slowest, fastest = (low[peak] - aside[line]) / self.per_hz[line], (high[peak] + aside[line]) / self.per_hz[line]
        pair, speed = _stretches(np.searchsorted(speeds_hz, slowest), np.searchsorted(speeds_hz, fastest))
        line, peak = line[pair], peak[pair]
        return line, peak, speed, speeds_hz[speed] * self.per_hz[line] - self.place[peak]

    def _sum(self, line: NDArray[np.intp], speed: NDArray[np.intp], speeds: int, ratio: NDArray[np.float64]) -> NDArray[np.float64]:
        """Log likelihood ratio of so many speeds, from the density ratios of lines and peaks."""
        cell = self.family[line] * speeds + speed  # a family at a speed
        found = np.flatnonzero(np.bincount(cell))
        family, speed = np.divmod(found, speeds)
        shares = np.log1p(np.outer(_SHARES_SHOWING / (1 - _SHARES_SHOWING), ratio))
        gained = self.missing.take(family, axis=1) + [np.bincount(cell, log)[found] for log in shares]
        shown = np.bincount(speed, log_sum(gained) - self.without[family], speeds)
        return np.asarray(shown + (self.without - np.log(_SHARES_SHOWING.size)).sum())


def slipping_gain(spectra: Sequence[Spectrum], speeds_hz: NDArray[np.float64], *, about_hz: float) -> NDArray[np.float64]:
    """Log likelihood ratio of lines somewhere in their bands, of each speed; bands as wide as at `about_hz`. [Hz]

    The strongest of n bins exceeds s by luck with chance n e^-s at most, so s - ln n takes the place of s.
    """
    gain = np.zeros(speeds_hz.size)
    for spectrum in (one for one in spectra if one.slipping):
        per_hz, width = _bands(spectrum, about_hz)
        low, high = (np.rint(per_hz * hz).astype(np.intp) for hz in (speeds_hz.min(), speeds_hz.max()))
        line, bins = _stretches(low, high + 1)  # all that the middles of the bands may be
        wide = width[line]
        strength = _strongest(spectrum, bins - wide // 2, bins + wide // 2 + 1) - np.log(wide)
        told = np.where((bins > wide) & (bins < spectrum.strength.size - wide), _of_luck(strength), 0.0)
        begin = np.searchsorted(line, np.arange(per_hz.size)) - low
        for bins_per_hz, first in zip(per_hz, begin, strict=True):
            gain += told[first + np.rint(bins_per_hz * speeds_hz).astype(np.intp)]
    return gain


def slipping_bounds(spectra: Sequence[Spectrum], speeds_hz: NDArray[np.float64], *, about_hz: float) -> tuple[float, float]:
    """What `slipping_gain` neither falls below nor exceeds at any of these speeds. [-]"""
    least = most = 0.0
    for spectrum in (one for one in spectra if one.slipping):
        per_hz, width = _bands(spectrum, about_hz)
        slowest, fastest = per_hz * speeds_hz.min() - width, per_hz * speeds_hz.max() + width
        strength = _strongest(spectrum, np.rint(slowest).astype(np.intp), np.rint(fastest).astype(np.intp)) - np.log(width)
        least += per_hz.size * float(_of_luck(np.zeros(1))[0])
        most += float(np.maximum(_of_luck(strength), 0.0).sum())
    return least, most


def _strongest(spectrum: Spectrum, first: NDArray[np.intp], behind: NDArray[np.intp]) -> NDArray[np.floating]:
    """Highest strength of each stretch of bins, from its first to before the one behind it, as far as the spectrum goes. [-]"""
    ends = np.clip(np.stack([first, behind], axis=1), 0, spectrum.strength.size - 1)
    return np.maximum.reduceat(spectrum.strength, ends.ravel())[::2]


def _bands(spectrum: Spectrum, about_hz: float) -> tuple[NDArray[np.float64], NDArray[np.intp]]:
    """Of each line that slips its bins per Hz of speed, and how many bins wide its band is, an odd number."""
    per_hz = np.array(spectrum.slipping) / spectrum.bin_hz
    return per_hz, 2 * np.maximum(np.rint(spectrum.slip * about_hz * per_hz), 1).astype(np.intp) + 1


def _of_luck(strength: NDArray[np.floating]) -> NDArray[np.floating]:
    """Log likelihood ratio of a line that slips, of the strength that stands for its own."""
    return np.asarray(np.log1p(_SHARES_SHOWING[1] * (np.exp(np.clip(strength, 0, CERTAIN_PEAK) / 2) / 2 - 1)))


def log_sum(logs: NDArray[np.float64]) -> NDArray[np.float64]:
    """Log of the sum over the first axis of what is given by its logs. [-]"""
    highest = logs.max(axis=0)
    return np.asarray(highest + np.log(np.exp(logs - highest).sum(axis=0)))


def _own_stretch(at: NDArray[np.floating] | NDArray[np.intp]) -> NDArray[np.float64]:
    """From which place to which the bin of each of these rising peaks is the nearest of them, in bins, shape (2, peaks)."""
    between = np.floor((at[1:] + at[:-1]) / 2) + 0.5
    return np.stack([np.concatenate([[-np.inf], between]), np.concatenate([between, [np.inf]])])


def _stretches(begin: NDArray[np.intp], end: NDArray[np.intp]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Stretches of whole numbers one after the other: of which stretch each number is, and the number; a stretch that ends before
    it begins holds none.
    """
    count = np.maximum(end - begin, 0)
    of = np.repeat(np.arange(count.size), count)
    return of, np.arange(of.size) + np.repeat(begin - (np.cumsum(count) - count), count)
