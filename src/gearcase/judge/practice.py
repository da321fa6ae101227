"""Which trains of external gears a maker would build: reach of the search, and how usual a combination is.

Seen from the fast shaft, stage by stage: a pinion drives a wheel with a tenth more teeth at least. Log odds are rough on purpose:
they break ties, and a single well-found line outweighs them. All of it is common practice without a source, but for the undercut
limit.
"""

import math

import numpy as np
from numpy.typing import NDArray

from gearcase.errors import OutOfRange

__all__ = [
    "MOST_STAGES",
    "PINION_TEETH",
    "STAGE_RATIO",
    "WHEEL_TEETH",
    "falling_practice",
    "pinion_practice",
    "ratio_range",
    "require_reach",
    "stage_practice",
]

PINION_TEETH = (12, 60)
WHEEL_TEETH = (15, 180)
STAGE_RATIO = (1.1, 8.0)  # one to one is no reduction, and such a stage would explain any stranger
MOST_STAGES = 4
_UNDERCUT = 17  # 2 / sin^2 20 degrees: fewer teeth need profile shift or a helix


def pinion_practice(teeth: NDArray[np.integer | np.floating]) -> NDArray[np.float64]:
    """Log odds of a pinion's count: 17 to 30 usual, fewer need correction against undercut, more cost room; shape as given. [-]

    Examples
    --------
    >>> pinion_practice(np.array([12, 20, 40]))
    array([-1. ,  0. , -0.6])
    """
    return np.asarray(0.2 * np.minimum(teeth - _UNDERCUT, 0) + 0.06 * np.minimum(30 - teeth, 0))


def stage_practice(pinion: NDArray[np.integer | np.floating], wheel: NDArray[np.integer | np.floating]) -> NDArray[np.float64]:
    """Log odds of a pair: ratios above 6 and below 1.2 are rare, wheels of over 130 teeth too, and counts without a common
    divisor are a little preferred (every tooth meets every other); shapes broadcast. [-]

    Examples
    --------
    >>> stage_practice(np.array([20]), np.array([60, 61]))
    array([-0.3,  0. ])
    """
    ratio = wheel / pinion
    return np.asarray(
        0.8 * np.minimum(6 - ratio, 0)
        + 5.0 * np.minimum(ratio - 1.2, 0)
        + 0.03 * np.minimum(130 - wheel, 0)
        - 0.3 * (np.gcd(np.asarray(pinion, np.intp), np.asarray(wheel, np.intp)) > 1)
    )


def falling_practice(before: NDArray[np.float64], ratio: NDArray[np.float64]) -> NDArray[np.float64]:
    """Log odds of a stage's ratio after the one before it: ratios fall or stay towards the slow end; shapes broadcast. [-]

    Examples
    --------
    >>> falling_practice(np.array([2.0]), np.array([2.0, 5.0]))
    array([ 0.   , -0.625])
    """
    return np.asarray(0.5 * np.minimum(1.25 - ratio / before, 0))


def ratio_range(stages: int) -> tuple[float, float]:
    """Least and greatest ratio [-] of a number of stages."""
    return STAGE_RATIO[0] ** stages, STAGE_RATIO[1] ** stages


def require_reach(ratio: float, stages: int) -> None:
    """Refuse a ratio [-], seen from the fast shaft, that this number of stages cannot make.

    Raises
    ------
    OutOfRange
        Not 1 to 4 stages, or the ratio out of their reach; the rule says how many stages it takes.

    Examples
    --------
    >>> require_reach(400.0, 1)
    Traceback (most recent call last):
    gearcase.errors.OutOfRange: ratio=400: 1 stage of 1.1 to 8 can make 8 at most: it takes at least 3 stages; correct either
    """
    if not 1 <= stages <= MOST_STAGES:
        raise OutOfRange("stages", stages, f"1 to {MOST_STAGES}: count the shafts that show at the housing, less one")
    least, most = ratio_range(stages)
    makes = f"{stages} stage{'s' * (stages > 1)} of {STAGE_RATIO[0]:g} to {STAGE_RATIO[1]:g}"
    if ratio > most:
        needed = math.ceil(math.log(ratio) / math.log(STAGE_RATIO[1]) - 1e-9)
        rule = f"{makes} can make {most:g} at most: it takes at least {needed} stages; correct either"
        raise OutOfRange("ratio", f"{ratio:g}", rule)
    if ratio < least:
        raise OutOfRange("ratio", f"{ratio:g}", f"{makes} make {least:.3g} at least: correct the ratio or the number of stages")
