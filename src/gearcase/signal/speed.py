"""Speed from a recording's own lines: the comb of shaft and mesh lines slid along the spectrum until it fits.

Each candidate speed is scored by the strengths found at all orders of the comb, each capped so that one strong
stranger cannot decide. In noise a sum of K capped strengths lies below a Gamma(K) variable, which gives the chance
that the best of all candidates is noise.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.special
from numpy.typing import NDArray

from gearcase.errors import OutOfRange
from gearcase.signal.spectrum import PRESENT

__all__ = ["Spectrum", "SpeedEstimate", "speed_from_comb"]

LINE_CAP = 12.0  # strength beyond which a line counts no more; e^-12 is one chance find in 160,000 bins
ACCEPTED_CHANCE = 1e-3


@dataclass(frozen=True)
class Spectrum:
    """Line strengths over local noise [-], their resolution `bin_hz` [Hz], and the orders of the comb to look for in them [-]."""

    strength: NDArray[np.floating]
    bin_hz: float
    orders: Sequence[float]


@dataclass(frozen=True)
class SpeedEstimate:
    """Speed of the reference shaft with its standard error [Hz]. `chance` is that of so good a fit in noise [-]; `lines` counts the
    lines measured.
    """

    speed_hz: float
    standard_error_hz: float
    chance: float
    lines: int


def speed_from_comb(spectra: Sequence[Spectrum], *, lowest_hz: float, highest_hz: float) -> SpeedEstimate | None:
    """Best speed in a range, or None where no comb stands out of the noise.

    Parameters
    ----------
    spectra : sequence of Spectrum
        Spectra of one recording with the orders to be expected in each.
    lowest_hz, highest_hz : float
        Range to search. [Hz]

    Returns
    -------
    SpeedEstimate or None

    Raises
    ------
    OutOfRange
        Not 0 < lowest < highest.

    Examples
    --------
    >>> strength = np.ones(2000); strength[[250, 500, 750]] = 40.0
    >>> found = speed_from_comb([Spectrum(strength, 0.1, (1, 2, 3))], lowest_hz=24.0, highest_hz=26.0)
    >>> round(found.speed_hz, 2)
    25.0
    """
    if not 0 < lowest_hz < highest_hz:
        raise OutOfRange("speed range", f"{lowest_hz:g} to {highest_hz:g} Hz", "0 < lowest < highest")
    step = min(spectrum.bin_hz / max(spectrum.orders) for spectrum in spectra) / 4
    candidates = np.arange(lowest_hz, highest_hz + step, step)
    score, used = np.zeros(candidates.size), 0
    for spectrum in spectra:
        for order in spectrum.orders:
            bins = np.rint(candidates * (order / spectrum.bin_hz)).astype(np.intp)
            if bins[-1] >= spectrum.strength.shape[-1] or bins[0] < 2:
                continue
            score += np.minimum(spectrum.strength[bins], LINE_CAP)
            used += 1
    if used == 0:
        return None
    best = int(np.argmax(score))
    chance = min(1.0, float(scipy.special.gammaincc(used, score[best])) * candidates.size / 4)
    if chance > ACCEPTED_CHANCE:
        return None
    return _measure(spectra, float(candidates[best]), chance)


def _measure(spectra: Sequence[Spectrum], speed_hz: float, chance: float) -> SpeedEstimate | None:
    """Weighted mean of the speeds its present lines give, each line placed by a parabola through its peak."""
    speeds, weights = [], []
    for spectrum in spectra:
        for order in spectrum.orders:
            near = round(speed_hz * order / spectrum.bin_hz)
            if near < 2 or near + 2 >= spectrum.strength.shape[-1]:
                continue
            peak = near - 1 + int(np.argmax(spectrum.strength[near - 1 : near + 2]))
            left, top, right = np.log(spectrum.strength[peak - 1 : peak + 2] + 1e-30)
            if top < np.log(PRESENT) or top < max(left, right):
                continue
            shift = 0.5 * (left - right) / (left - 2 * top + right) if left - 2 * top + right < 0 else 0.0
            speeds.append((peak + shift) * spectrum.bin_hz / order)
            # a line's place is known to about half a bin over the root of its strength
            weights.append((order / (0.5 * spectrum.bin_hz)) ** 2 * min(float(np.exp(top)), 100.0))
    if not speeds:
        return None
    values, weight = np.array(speeds), np.array(weights)
    mean = float(np.average(values, weights=weight))
    scatter = float(np.average((values - mean) ** 2, weights=weight)) / max(len(speeds) - 1, 1)
    return SpeedEstimate(mean, float(np.sqrt(max(1 / weight.sum(), scatter))), chance, len(speeds))
