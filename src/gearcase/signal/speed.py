"""Which speed do a recording's own lines give, how surely, and when can they not say?

Theory of operation
-------------------
1. *Peaks.* Every peak of a spectrum is placed between its bins by the Hann window's own shape, with the standard error that noise
   of its strength gives. In noise peaks of strength s have density e^-s a bin; machines nearby add `rho` a bin, counted in
   the spectrum itself.
2. *Likelihood.* At the right speed each line of the whole comb (shaft and mesh harmonics, their sidebands) has a peak at its very
   place with probability p, or has none. The likelihood ratio of a speed against noise and strangers is the product over the
   lines of 1 - p + p N(peak; place, error) / (rho + e^-s / g(s)), g being the density of the strengths of real lines. However
   strong, a stranger adds no more than one line. Each family of lines is averaged over values of p; missing lines cost, lines that
   are there pay, and that tells a comb from its double or half.
3. *Scatter.* Lines of real machines scatter by more than noise explains, since speed is never quite steady. The errors are widened
   by one of several widths, and the answer is averaged over these: scattered lines give a wide answer of themselves.
4. *Answer.* Likelihood over all speeds of the range, each as likely beforehand, is what the lines say of the speed: its mean is the
   speed, its standard deviation the standard error. The mean of the likelihood ratio over the range is its excess over noise;
   noise reaches 1/c with chance c at most (Markov's inequality), places looked at included.
5. *Rivals.* Lines that slip (bearings) may stand anywhere in their band; they help to choose between speeds and never move one.
   Where one speed does not have odds of 20 to 1 over the others the answer is all of them, and no speed; its double, half
   or third, whose combs share lines with its own, must fall a fifth short in the log (tried on simulations).
6. *Standstill.* Multiples of 50 or 60 Hz alone are what a drive at rest shows too: no speed, and no rivals either.
"""

import bisect
import copy
import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import scipy.ndimage
from numpy.typing import NDArray

from gearcase.errors import OutOfRange
from gearcase.signal.spectrum import line_places

__all__ = ["CERTAIN_PEAK", "MAINS_HZ", "WEAKEST_PEAK", "NoSpeed", "Spectrum", "SpeedEstimate", "speed_from_comb"]

ACCEPTED_CHANCE = 1e-3
_SHARES_SHOWING = np.array([0.01, 0.1, 0.6])  # of the lines of a family: from a quiet gear to a loose one; assumed
WEAKEST_PEAK = 6.0  # strength from which a peak is looked at: one bin in 400 in noise
_STRONGEST = 1e5  # real lines have strengths from the weakest peak to this, each decade as likely; assumed
CERTAIN_PEAK = 14.0  # strength from which a peak is no noise: one in a million bins
_RIVAL_ODDS = 20.0
_KIN_RATIOS = (1 / 3, 1 / 2, 2 / 3, 3 / 2, 2.0, 3.0)
_KIN_SHARE = 0.8  # of the log likelihood ratio: combs of kin share lines, and odds between them are not those of chance; by trial
_SEPARATE_BINS = 4  # nearer lines fall into each other's main lobe (Hann: 4 bins wide, Harris 1978)
_WIDTHS_BINS = (0.5, 0.125, 0.03, 0.008)  # scatter of lines beyond noise; what is below leaks in from far lines anyway
_KEPT = 25.0  # log odds within which a coarse speed is looked at more finely
_REACH = 4.0  # standard errors beyond which a peak is none of a line's
_AT_ONCE = 2**13  # speeds: more fill the cache, and gain nothing
_ONE_SPEED = 1e-3  # speeds closer than this, relative, are one: no line is told apart by it within a bearing's slip
MAINS_HZ = (50.0, 60.0)


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


@dataclass(frozen=True)
class SpeedEstimate:
    """Speed of the reference shaft with its standard error [Hz]. `chance` is the most that so good a fit has in noise [-]; `lines`
    counts the lines found in their places.
    """

    speed_hz: float
    standard_error_hz: float
    chance: float
    lines: int


@dataclass(frozen=True)
class NoSpeed:
    """Why the lines give no speed, with what to do; `rivals_hz` are the speeds that fit alike, where that is the reason. [Hz]

    `why` is ``"band"`` where no line lies in the band, ``"noise"`` where no comb stands out of it, ``"mains"`` where only hum fits,
    ``"alike"`` where several speeds do. In the first three nothing shows that a shaft turned.
    """

    says: str
    why: Literal["band", "noise", "mains", "alike"]
    rivals_hz: tuple[float, ...] = ()


def speed_from_comb(spectra: Sequence[Spectrum], *, lowest_hz: float, highest_hz: float) -> SpeedEstimate | NoSpeed:
    """Best speed in a range, or why there is none.

    Parameters
    ----------
    spectra : sequence of Spectrum
        Spectra of one recording with the orders to be expected in each.
    lowest_hz, highest_hz : float
        Range to search. [Hz]

    Returns
    -------
    SpeedEstimate or NoSpeed

    Raises
    ------
    OutOfRange
        Not 0 < lowest < highest.

    Examples
    --------
    >>> strength = np.ones(2000); strength[[240, 480, 720, 960]] = 40.0
    >>> comb = Spectrum(strength, 0.1, [(1, 2, 3, 4)])
    >>> round(speed_from_comb([comb], lowest_hz=23.0, highest_hz=25.0).speed_hz, 2)
    24.0
    >>> speed_from_comb([comb], lowest_hz=30.0, highest_hz=31.0).says.split(":")[0]
    'no comb of shaft and mesh lines stands out of the noise'
    """
    if not 0 < lowest_hz < highest_hz:
        raise OutOfRange("speed range", f"{lowest_hz:g} to {highest_hz:g} Hz", "0 < lowest < highest")
    combs = [comb for comb in (_Comb(spectrum, lowest_hz, highest_hz) for spectrum in spectra) if comb.orders]
    if not combs:
        return NoSpeed("no line of the comb lies in the recording's band: record longer, or at a higher sample rate", "band")
    coarse = np.arange(lowest_hz, highest_hz, _coarse_spacing(combs))
    rounds = list(_likelihood(combs, coarse, lowest_hz, highest_hz))
    speeds, log_excess = (np.concatenate(part) for part in zip(*rounds, strict=True))
    chance = float(np.exp(min(0.0, -float(_log_sum(log_excess)))))
    if chance > ACCEPTED_CHANCE:
        return NoSpeed(
            "no comb of shaft and mesh lines stands out of the noise: the drive stands still, runs outside "
            f"{60 * lowest_hz:.4g} to {60 * highest_hz:.4g} rpm, or changes speed while recording; record again at steady speed "
            "and load, or read a tachometer",
            "noise",
        )
    for mains in MAINS_HZ:
        without = [comb.without_multiples(mains) for comb in combs]
        if without == combs:
            continue
        best = coarse[rounds[0][1] >= rounds[0][1].max() - _KEPT]  # asked first: what they add alone is mostly enough
        if not any(_stands_out(without, some, lowest_hz, highest_hz) for some in (best, coarse)):
            return NoSpeed(
                f"the comb found rests on multiples of {mains:g} Hz, which the mains give at standstill too: record again while "
                "it runs, or read a tachometer",
                "mains",
            )
    for spectrum in spectra:
        log_excess = log_excess + _slipping_gain(spectrum, speeds)
    odds = np.exp(log_excess - log_excess.max())
    groups = _groups(speeds, odds / odds.sum())
    rivals = tuple(mean for mean, _ in groups)
    if len(groups) == 1:
        rivals += _kin(speeds, log_excess, rivals[0])
    if len(rivals) > 1:
        words = " and ".join(f"{60 * hz:.5g} rpm" for hz in rivals)
        return NoSpeed(
            f"the lines fit {words} alike: state the speed to within the difference, or read a tachometer", "alike", rivals
        )
    mean, error = groups[0]
    found = [hz for comb in combs for hz in comb.found(mean, error)]
    return SpeedEstimate(mean, error, chance, len(found))


class _Comb:
    """One spectrum as its peaks, and the orders of its comb that can be told apart in it."""

    def __init__(self, spectrum: Spectrum, lowest_hz: float, highest_hz: float) -> None:
        self.bin_hz = spectrum.bin_hz
        strength = np.asarray(spectrum.strength, np.float64)
        apart = _SEPARATE_BINS * self.bin_hz / lowest_hz
        end = (strength.size - 3) * self.bin_hz
        self.families: list[list[float]] = []
        self.orders: list[float] = []
        rising = [-np.inf, np.inf]
        for family in spectrum.families:
            kept: list[float] = []
            for order in family:
                inside = _SEPARATE_BINS * self.bin_hz < order * lowest_hz and order * highest_hz < end
                above = bisect.bisect(rising, order)
                if inside and order - rising[above - 1] >= apart and rising[above] - order >= apart:
                    kept.append(order)
                    self.orders.append(order)
                    rising.insert(above, order)
            if kept:
                self.families.append(kept)
        if not self.orders:
            return
        sizes = np.array([len(family) for family in self.families])
        self.per_hz, self.family = np.array(self.orders) / self.bin_hz, np.repeat(np.arange(sizes.size), sizes)
        self.missing = np.log1p(-_SHARES_SHOWING)[:, None] * sizes  # of each family, were no line of it there
        first = max(int(min(self.orders) * lowest_hz / self.bin_hz) - 3, 1)
        last = min(int(max(self.orders) * highest_hz / self.bin_hz) + 3, strength.size - 1)
        middle = strength[first:last]
        peak = (middle >= WEAKEST_PEAK) & (middle >= strength[first - 1 : last - 1]) & (middle > strength[first + 1 : last + 1])
        at = first + np.flatnonzero(peak)
        self.certain = strength[at] >= CERTAIN_PEAK
        by_chance = np.exp(-strength[at]) * strength[at] * np.log(_STRONGEST / WEAKEST_PEAK)
        self.density = np.count_nonzero(self.certain) / (last - first) + by_chance
        self.place, self.error = line_places(strength, at)
        self.nearer = _halfway(at)

    def without_multiples(self, mains_hz: float) -> "_Comb":
        """The same comb without the peaks at multiples of the mains; itself where none of them is certain."""
        away = np.abs(self.place * self.bin_hz / mains_hz - np.rint(self.place * self.bin_hz / mains_hz))
        mains = away * mains_hz <= self.bin_hz
        if not np.any(mains & self.certain):
            return self
        rest = copy.copy(self)
        rest.certain, rest.density = self.certain[~mains], self.density[~mains]
        rest.place, rest.error = self.place[~mains], self.error[~mains]
        rest.nearer = _halfway(np.rint(rest.place))
        return rest

    def log_gain(self, speeds_hz: NDArray[np.float64], width: float) -> NDArray[np.float64]:
        """Log likelihood ratio of each of these rising speeds [Hz], lines scattering by `width` [bins] beyond noise."""
        if self.place.size == 0:
            return np.zeros(speeds_hz.size)
        error = np.hypot(self.error, width)
        some = (speeds_hz[first : first + _AT_ONCE] for first in range(0, speeds_hz.size, _AT_ONCE))
        return np.concatenate([self._log_gain(speeds, error) for speeds in some])

    def _log_gain(self, speeds_hz: NDArray[np.float64], error: NDArray[np.float64]) -> NDArray[np.float64]:
        order, peak, speed, away = self._near(speeds_hz, error)
        ratio = np.exp(-0.5 * away**2) / (error * np.sqrt(2 * np.pi) * self.density)[peak]
        cell = self.family[order] * speeds_hz.size + speed  # a family at a speed
        found = np.flatnonzero(np.bincount(cell))
        gained = [np.bincount(cell, np.log1p(ratio * (share / (1 - share))))[found] for share in _SHARES_SHOWING]
        family, speed = np.divmod(found, speeds_hz.size)
        without = _log_sum(self.missing)
        shown = np.bincount(speed, _log_sum(self.missing[:, family] + gained) - without[family], speeds_hz.size)
        return np.asarray(shown + (without - np.log(_SHARES_SHOWING.size)).sum())

    def _near(
        self, speeds_hz: NDArray[np.float64], error: NDArray[np.float64]
    ) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp], NDArray[np.float64]]:
        """Where lines have their nearest peak in reach, which few have: order, peak, speed, and how many errors [bins] apart.

        Of each order and each peak that its places pass, the speeds in reach stand together.
        """
        widest = _REACH * float(error.max())
        passed = (np.searchsorted(self.place, speeds_hz[end] * self.per_hz + by) for end, by in ((0, -widest), (-1, widest)))
        order, peak = _stretches(*passed)
        reach = _REACH * error[peak]
        pair, speed = _stretches(
            *(np.searchsorted(speeds_hz, (self.place[peak] + by) / self.per_hz[order]) for by in (-reach, reach))
        )
        order, peak = order[pair], peak[pair]
        place = speeds_hz[speed] * self.per_hz[order]
        away = (place - self.place[peak]) / error[peak]
        bins = np.rint(place)
        near = (np.abs(away) < _REACH) & (bins > self.nearer[peak]) & (bins <= self.nearer[peak + 1])
        return order[near], peak[near], speed[near], away[near]

    def found(self, speed_hz: float, error_hz: float) -> list[float]:
        """Lines that have a peak in their place. [Hz]"""
        if self.place.size == 0:
            return []
        place = speed_hz * np.array(self.orders) / self.bin_hz
        peak = np.searchsorted(self.nearer[1:-1], np.rint(place))
        error = np.hypot(self.error[peak], np.array(self.orders) * error_hz / self.bin_hz)
        return [float(hz) for hz in place[np.abs(place - self.place[peak]) < _REACH * error] * self.bin_hz]


def _halfway(at: NDArray[np.floating] | NDArray[np.intp]) -> NDArray[np.float64]:
    """Between which bins each of these rising places is the nearest, one after the other, shape (places + 1,)."""
    return np.concatenate([[-np.inf], (at[1:] + at[:-1]) / 2, [np.inf]])


def _log_sum(logs: NDArray[np.float64]) -> NDArray[np.float64]:
    """Log of the sum over the first axis of what is given by its logs."""
    highest = logs.max(axis=0)
    return np.asarray(highest + np.log(np.exp(logs - highest).sum(axis=0)))


def _stretches(begin: NDArray[np.intp], end: NDArray[np.intp]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Stretches of whole numbers one after the other: of which stretch each number is, and the number; a stretch that ends before
    it begins holds none.
    """
    count = np.maximum(end - begin, 0)
    of = np.repeat(np.arange(count.size), count)
    return of, np.arange(of.size) + np.repeat(begin - (np.cumsum(count) - count), count)


def _coarse_spacing(combs: Sequence[_Comb]) -> float:
    """Between speeds, so that no line moves by more than its first width from one to the next. [Hz]"""
    return min(comb.bin_hz / max(comb.orders) for comb in combs) * _WIDTHS_BINS[0]


def _stands_out(combs: Sequence[_Comb], coarse_hz: NDArray[np.float64], lowest_hz: float, highest_hz: float) -> bool:
    """Whether the mean likelihood ratio over the range is no noise's, by what these speeds and finer ones about them add to it."""
    rounds = (_log_sum(excess) for _, excess in _likelihood(combs, coarse_hz, lowest_hz, highest_hz))
    return any(total >= -np.log(ACCEPTED_CHANCE) for total in itertools.accumulate(rounds, np.logaddexp))


def _likelihood(
    combs: Sequence[_Comb], coarse_hz: NDArray[np.float64], lowest_hz: float, highest_hz: float
) -> Iterator[tuple[NDArray[np.float64], NDArray[np.float64]]]:
    """Speeds [Hz] and the log of what each adds to the mean likelihood ratio over the range; from coarse to fine where it pays."""
    speeds, spacing = coarse_hz, _coarse_spacing(combs)
    for width, finer in zip(_WIDTHS_BINS, (*_WIDTHS_BINS[1:], 0.0), strict=True):
        gain = np.zeros(speeds.size)
        for comb in combs:
            gain += comb.log_gain(speeds, width)
        yield speeds, gain + np.log(spacing / (highest_hz - lowest_hz) / len(_WIDTHS_BINS))
        if finer:
            kept = speeds[gain >= gain.max() - _KEPT]
            parts = int(np.ceil(width / finer))
            speeds = (kept[:, None] + spacing * ((np.arange(parts) + 0.5) / parts - 0.5)).ravel()
            spacing /= parts


def _groups(speeds_hz: NDArray[np.float64], odds: NDArray[np.float64]) -> list[tuple[float, float]]:
    """Mean and standard deviation [Hz] of the one speed that outweighs the others; of the heaviest ones, where none does."""
    heavy = np.flatnonzero(odds > odds.max() / odds.size / _RIVAL_ODDS)
    heavy = heavy[np.argsort(speeds_hz[heavy])]
    speeds, odds = speeds_hz[heavy], odds[heavy]
    parts = np.split(np.arange(speeds.size), 1 + np.flatnonzero(np.diff(speeds) > _ONE_SPEED * speeds[:-1]))
    weights = np.array([odds[part].sum() for part in parts])
    parts = [parts[n] for n in np.argsort(-weights)]
    weights = np.sort(weights)[::-1]
    if weights[0] >= _RIVAL_ODDS * weights[1:].sum():
        parts = parts[:1]
    else:
        parts = [part for part, weight in zip(parts, weights, strict=True) if weight >= weights[0] / _RIVAL_ODDS] or parts[:2]
    found = []
    for part in parts:
        mean = float(np.average(speeds[part], weights=odds[part]))
        found.append((mean, float(np.sqrt(np.average((speeds[part] - mean) ** 2, weights=odds[part])))))
    return found


def _kin(speeds_hz: NDArray[np.float64], log_excess: NDArray[np.float64], speed_hz: float) -> tuple[float, ...]:
    """Simple fractions and multiples of a speed that fit too well to be ruled out. [Hz]"""
    found = []
    for ratio in _KIN_RATIOS:
        near = np.flatnonzero(np.abs(speeds_hz / (ratio * speed_hz) - 1) <= _ONE_SPEED)
        if near.size and log_excess[near].max() >= _KIN_SHARE * log_excess.max():
            found.append(ratio * speed_hz)
    return tuple(found)


def _slipping_gain(spectrum: Spectrum, speeds_hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """Log likelihood ratio of lines somewhere in their bands, of each speed.

    The strongest of n bins exceeds s by luck with chance n e^-s at most, so s - ln n takes the place of s.
    """
    gain = np.zeros(speeds_hz.size)
    for order in spectrum.slipping:
        place = speeds_hz * (order / spectrum.bin_hz)
        width = 2 * max(round(spectrum.slip * float(place.mean())), 1) + 1
        at = np.rint(place).astype(np.intp)
        inside = (at > width) & (at < spectrum.strength.size - width)
        if not inside.any():
            continue
        first = int(at[inside].min()) - width
        highest = scipy.ndimage.maximum_filter1d(spectrum.strength[first : int(at[inside].max()) + width + 1], width)
        strength = np.clip(highest - np.log(width), 0, CERTAIN_PEAK)
        gain[inside] += np.log1p(_SHARES_SHOWING[1] * (np.exp(strength / 2) / 2 - 1))[at[inside] - first]
    return gain
