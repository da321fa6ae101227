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
7. *Economy.* Speeds are tried so close that no line passes a peak unseen by the first width, and closer, width by width, where the
   likelihood is within e^25 of its best. The most that all speeds and widths of a short stretch can come to costs a fraction of
   trying them: each line is brought as near to each peak as the stretch allows. Where the most over all stretches is no more than
   noise reaches, no finer speed is tried; a wider range is searched only where the most outside may outweigh the speed found. Both
   leave every answer as it is.
"""

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from gearcase.errors import OutOfRange
from gearcase.signal.comb_likelihood import WIDTHS_BINS, Comb, Combs, Spectrum, log_sum, slipping_bounds, slipping_gain

__all__ = ["ACCEPTED_CHANCE", "MAINS_HZ", "NoSpeed", "SpeedEstimate", "may_fit_better", "speed_from_comb"]

ACCEPTED_CHANCE = 1e-3
_STANDS_OUT = -np.log(ACCEPTED_CHANCE)  # from this mean likelihood ratio on, as a log: Markov's inequality
_RIVAL_ODDS = 20.0
_KIN_RATIOS = (1 / 3, 1 / 2, 2 / 3, 3 / 2, 2.0, 3.0)
_KIN_SHARE = 0.8  # of the log likelihood ratio: combs of kin share lines, and odds between them are not those of chance; by trial
_KEPT = 25.0  # log odds within which a coarse speed is looked at more finely
_BLOCK_OF = 4  # coarse speeds whose most is asked as one: of more the bound is wide, of fewer it costs as much as the answer
_ONE_SPEED = 1e-3  # speeds closer than this, relative, are one: no line is told apart by it within a bearing's slip
MAINS_HZ = (50.0, 60.0)


@dataclass(frozen=True)
class SpeedEstimate:
    """Speed of the reference shaft with its standard error [Hz]. `chance` is the most that so good a fit has in noise [-]; `found`
    are the orders of the lines found in their places, of each spectrum [-].
    """

    speed_hz: float
    standard_error_hz: float
    chance: float
    found: tuple[tuple[float, ...], ...]

    @property
    def lines(self) -> int:
        """How many lines were found in their places. [-]"""
        return sum(map(len, self.found))


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
    combs = [Comb(spectrum, lowest_hz, highest_hz) for spectrum in spectra]
    within = [comb for comb in combs if comb.orders]
    if not within:
        return NoSpeed("no line of the comb lies in the recording's band: record longer, or at a higher sample rate", "band")
    all_combs = Combs(within)
    coarse = np.arange(lowest_hz, highest_hz, all_combs.spacing_hz)
    rounds = list(_search(all_combs, coarse, lowest_hz, highest_hz))
    speeds, log_excess = (np.concatenate(part) for part in zip(*rounds, strict=True))
    log_mean = float(log_sum(log_excess))
    if log_mean < _STANDS_OUT:
        return NoSpeed(
            "no comb of shaft and mesh lines stands out of the noise: the drive stands still, runs outside "
            f"{60 * lowest_hz:.4g} to {60 * highest_hz:.4g} rpm, or changes speed while recording; record again at steady speed "
            "and load, or read a tachometer",
            "noise",
        )
    for mains in MAINS_HZ:
        without = [comb.without_multiples(mains) for comb in within]
        if without == within:
            continue
        rest, excess = Combs(without), rounds[0][1]
        best = coarse[excess >= excess.max() - _KEPT]  # asked first: what they add alone is mostly enough
        if not any(_stands_out(_search(rest, some, lowest_hz, highest_hz)) for some in (best, coarse)):
            return NoSpeed(
                f"the comb found rests on multiples of {mains:g} Hz, which the mains give at standstill too: record again while "
                "it runs, or read a tachometer",
                "mains",
            )
    log_excess = _with_slipping(spectra, speeds, log_excess)
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
    return SpeedEstimate(mean, error, float(np.exp(-log_mean)), tuple(comb.found(mean, error) for comb in combs))


def may_fit_better(
    spectra: Sequence[Spectrum], speed_hz: float, *, beside_hz: tuple[float, float], lowest_hz: float, highest_hz: float
) -> bool:
    """Whether `speed_from_comb` may find a speed of this range that lies outside a narrower one; False is proof that it does not.

    To be found, what lies outside must outweigh all else 20 to 1; it cannot where the most that all speeds out there come to is
    less than what the lines say of one speed inside. (Bands of lines that slip may be a bin wider there: far less than 20 to 1.)

    Parameters
    ----------
    spectra : sequence of Spectrum
    speed_hz : float
        Inside. [Hz]
    beside_hz : tuple of float
        Lowest and highest speed of the narrower range. [Hz]
    lowest_hz, highest_hz : float
        As for `speed_from_comb`. [Hz]

    Examples
    --------
    >>> strength = np.ones(2000); strength[[240, 480, 720, 960]] = 40.0
    >>> comb = Spectrum(strength, 0.1, [(1, 2, 3, 4)])
    >>> may_fit_better([comb], 24.0, beside_hz=(23.0, 25.0), lowest_hz=21.0, highest_hz=27.0)
    False
    >>> may_fit_better([comb], 22.0, beside_hz=(21.0, 23.0), lowest_hz=21.0, highest_hz=27.0)
    True
    """
    within = [comb for comb in (Comb(spectrum, lowest_hz, highest_hz) for spectrum in spectra) if comb.orders]
    if not within:
        return False  # it will find none at all
    combs = Combs(within)
    middles, most = _most(combs, lowest_hz, highest_hz)
    aside = _BLOCK_OF * combs.spacing_hz / 2
    outside = (middles - aside < beside_hz[0]) | (middles + aside > beside_hz[1])
    coarse = np.arange(lowest_hz, highest_hz, combs.spacing_hz)
    least, slipping = slipping_bounds(spectra, coarse, about_hz=float(coarse.mean()))
    needed = float(log_sum(most[outside])) + slipping - least
    at = coarse[np.abs(coarse - speed_hz) < combs.spacing_hz]
    for _, excess in _likelihood(combs, at, lowest_hz, highest_hz):
        if excess.max() >= needed:
            return False
        if excess.max() < needed - _KEPT:  # it might not be looked at more finely
            break
    return True


def _search(
    combs: Combs, coarse_hz: NDArray[np.float64], lowest_hz: float, highest_hz: float
) -> Iterator[tuple[NDArray[np.float64], NDArray[np.float64]]]:
    """As `_likelihood`, beyond the coarse speeds only where a comb may stand out of the noise anywhere in the range."""
    rounds = _likelihood(combs, coarse_hz, lowest_hz, highest_hz)
    yield (first := next(rounds))
    if log_sum(first[1]) >= _STANDS_OUT or log_sum(_most(combs, lowest_hz, highest_hz)[1]) >= _STANDS_OUT:
        yield from rounds


def _most(combs: Combs, lowest_hz: float, highest_hz: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Middles of blocks of coarse speeds [Hz], and the log of the most that each, all finer speeds in it and all widths counted,
    adds to the mean likelihood ratio over the range.
    """
    block = _BLOCK_OF * combs.spacing_hz
    middles = np.arange(lowest_hz + (block - combs.spacing_hz) / 2, highest_hz + block, block)
    return middles, combs.most_gain(middles, block / 2) + np.log(block / (highest_hz - lowest_hz))


def _stands_out(rounds: Iterator[tuple[NDArray[np.float64], NDArray[np.float64]]]) -> bool:
    """Whether the mean likelihood ratio over a range is no noise's, as far as these speeds add to it."""
    return any(total >= _STANDS_OUT for total in itertools.accumulate((log_sum(excess) for _, excess in rounds), np.logaddexp))


def _likelihood(
    combs: Combs, coarse_hz: NDArray[np.float64], lowest_hz: float, highest_hz: float
) -> Iterator[tuple[NDArray[np.float64], NDArray[np.float64]]]:
    """Speeds [Hz] and the log of what each adds to the mean likelihood ratio over the range; from coarse to fine where it pays."""
    speeds, spacing = coarse_hz, combs.spacing_hz
    for width, finer in zip(WIDTHS_BINS, (*WIDTHS_BINS[1:], 0.0), strict=True):
        gain = combs.log_gain(speeds, width)
        yield speeds, gain + np.log(spacing / (highest_hz - lowest_hz) / len(WIDTHS_BINS))
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
    fitting = speeds_hz[log_excess >= _KIN_SHARE * log_excess.max()]
    kin = (ratio * speed_hz for ratio in _KIN_RATIOS)
    return tuple(hz for hz in kin if np.any(np.abs(fitting / hz - 1) <= _ONE_SPEED))


def _with_slipping(
    spectra: Sequence[Spectrum], speeds_hz: NDArray[np.float64], log_excess: NDArray[np.float64]
) -> NDArray[np.float64]:
    """With the log likelihood ratio of lines that slip; -inf where even all of them could not make a speed count."""
    about_hz = float(speeds_hz.mean())
    least, most = slipping_bounds(spectra, speeds_hz, about_hz=about_hz)
    best = float(log_excess.max()) + least
    enough = min(_KIN_SHARE * best, best - np.log(_RIVAL_ODDS * speeds_hz.size))
    able = np.flatnonzero(log_excess + most >= enough)
    raised = np.full(speeds_hz.size, -np.inf)
    raised[able] = log_excess[able] + slipping_gain(spectra, speeds_hz[able], about_hz=about_hz)
    return raised
