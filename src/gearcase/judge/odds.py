"""Chances, kept as natural logarithms: a strong line's chance is far below the smallest float.

In noise alone a line's strength (power over local mean noise) is exponentially distributed with mean 1. Everything
here follows from that and from counting how many places were looked at.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gearcase.errors import OutOfRange

__all__ = ["VERIFIED_FLOOR", "harmonic_log_chance", "log_chance_of_maximum", "reported"]

VERIFIED_FLOOR = 3e-4  # 3 / 10,000: the smallest chance that ten thousand healthy simulations can vouch for (rule of three)
_LONG_LOG = -36.0  # below this 1 - exp(x) is 1 in float64


def log_chance_of_maximum(strength: ArrayLike, *, bins: ArrayLike) -> NDArray[np.float64]:
    """Natural log [-] of the chance that the largest of `bins` [-] independent noise strengths reaches `strength` [-] (Šidák).

    Bins under a Hann window are correlated, so counting them as independent errs on the safe side.

    Examples
    --------
    >>> float(np.exp(log_chance_of_maximum(np.log(20.0), bins=1)))
    0.05
    """
    value, count = np.asarray(strength, np.float64), np.asarray(bins, np.float64)
    with np.errstate(divide="ignore"):
        below = np.log1p(-np.exp(-np.maximum(value, 1e-300)))  # log of one bin staying below
        exact = np.log(-np.expm1(count * below))
    return np.minimum(np.where(value > -_LONG_LOG, np.log(count) - value, exact), 0.0)


def harmonic_log_chance(log_chances: NDArray[np.float64]) -> NDArray[np.float64]:
    """Log chance of a fundamental *and* at least two of four harmonics being as good as these, in noise.

    The second best of four independent chances u has the distribution function 6u^2 - 8u^3 + 3u^4 (order statistics);
    the larger of that and the fundamental's chance is as good as t by luck with chance t^2.

    Parameters
    ----------
    log_chances : ndarray, shape (5, ...)
        Natural logs, of the fundamental and harmonics 2 to 5. [-]

    Returns
    -------
    ndarray, shape (...)
        Natural log. [-]

    Raises
    ------
    OutOfRange
        Not five rows.

    Examples
    --------
    >>> float(np.exp(harmonic_log_chance(np.log([0.01, 0.5, 0.01, 0.5, 0.02]))))
    0.0001
    """
    if log_chances.shape[0] != 5:
        raise OutOfRange("log_chances", f"{log_chances.shape[0]} rows", "five: the fundamental and harmonics 2 to 5")
    a, b, c, d = log_chances[1:]  # the second least of four, by comparisons: a partition takes far longer
    log_second = np.minimum(np.maximum(np.minimum(a, b), np.minimum(c, d)), np.minimum(np.maximum(a, b), np.maximum(c, d)))
    second = np.exp(log_second)
    with np.errstate(divide="ignore"):
        harmonics = 2 * log_second + np.log(6 - 8 * second + 3 * second**2)
    return np.asarray(2 * np.maximum(log_chances[0], np.minimum(harmonics, 0.0)))


def reported(log_chance: float) -> float:
    """A chance [-], from its natural log [-], as a figure for people: no smaller than simulation has verified, no larger than 1.

    Examples
    --------
    >>> reported(-250.0)
    0.0003
    """
    return float(min(1.0, max(np.exp(log_chance), VERIFIED_FLOOR)))
