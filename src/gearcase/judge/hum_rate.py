"""Does hum of the mains in a record say that its sample rate is another usual one?

The mains hold their frequency within 0.4 %, so hum is a reference in every record that has it: at 25 kHz stated as 25.6 kHz, 50 Hz
stands at 51.2 Hz, with its harmonics and nothing between. Hum that stands where it should settles the rate. A shaft at such a
speed makes the same lines: those of the drive are known; a two-pole motor nearby, which lags behind the mains by up to some per
cent, can be taken for hum of a rate stated too low.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gearcase.signal.quality.spectral import mains_base
from gearcase.signal.sample_rate import USUAL_RATES_HZ
from gearcase.signal.speed import MAINS_HZ

__all__ = ["HumRate", "rate_by_hum"]

_NEAREST, _FURTHEST = 0.01, 0.1  # of the stated rate: nearer ones the mains' own band hides, further ones the drive's lines tell
_OWN_BINS = 2.0  # from a harmonic of a shaft of the drive


@dataclass(frozen=True)
class HumRate:
    """A usual sample rate [Hz] at which lines at these multiples of `base_hz` [Hz] would be the mains' of `nominal_hz` [Hz]."""

    rate_hz: float
    base_hz: float
    nominal_hz: float
    harmonics: tuple[int, ...]


def rate_by_hum(
    lines_hz: NDArray[np.float64],
    *,
    sample_rate_hz: float,
    bin_hz: float,
    supply_hz: float | None,
    shafts_hz: NDArray[np.float64],
) -> HumRate | None:
    """Another usual rate that hum asks for; None where there is no hum, or where it stands as it should.

    Parameters
    ----------
    lines_hz : ndarray, shape (lines,)
        Rising, none of them noise's. [Hz]
    sample_rate_hz, bin_hz : float
        As stated. [Hz]
    supply_hz : float or None
        Frequency of the mains, where it is known; else 50 and 60 Hz are tried. [Hz]
    shafts_hz : ndarray, shape (any,)
        Speeds of the drive's shafts by the stated rate. [Hz]

    Examples
    --------
    >>> lines = 51.2 * np.array([1.0, 2.0, 4.0, 6.0])
    >>> found = rate_by_hum(lines, sample_rate_hz=25600.0, bin_hz=0.1, supply_hz=50.0, shafts_hz=np.array([24.6]))
    >>> found.rate_hz, found.harmonics
    (25000.0, (1, 2, 4, 6))
    """
    supplies = MAINS_HZ if supply_hz is None else (supply_hz,)
    if any(mains_base(lines_hz, bin_hz=bin_hz, nominal_hz=supply) for supply in supplies):
        return None
    for supply in supplies:
        for rate in USUAL_RATES_HZ:
            if not _NEAREST <= abs(rate / sample_rate_hz - 1) <= _FURTHEST:
                continue
            found = mains_base(lines_hz, bin_hz=bin_hz, nominal_hz=supply * sample_rate_hz / rate)
            if found is None:
                continue
            base, harmonics = found
            own = np.rint(base / shafts_hz) * shafts_hz
            if not np.any(np.abs(own - base) <= _OWN_BINS * bin_hz):
                return HumRate(rate, base, supply, tuple(harmonics))
    return None
