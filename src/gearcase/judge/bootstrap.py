"""How often would a limit alarm with nothing wrong? Counted on the drive's own runs, not worked out from a share.

Readings are correlated: one that is over its limit is mostly followed by another. So the alarm's own persistence rule is run
over each run as it happened, and whole runs are drawn again and again with replacement for the interval. Few runs, of a drive
that hardly ever stops, are drawn nearly the same every time; the interval is never narrower than so many episodes by chance [1]_.

References
----------
.. [1] F. Garwood, Fiducial limits for the Poisson distribution, Biometrika 28, 1936 (from memory).
"""

from dataclasses import dataclass

import numpy as np
import scipy.special
from numpy.typing import ArrayLike, NDArray

from gearcase.errors import OutOfRange

__all__ = ["OUTSIDE", "FalseAlarms", "episodes_by_run", "false_alarms_per_year"]

RESAMPLES = 2000
OUTSIDE = 0.05  # on either side of the 90 % interval


@dataclass(frozen=True)
class FalseAlarms:
    """Expected false alarms a year with a 90 % interval [1/year], from `episodes` in `hours` judged over `runs`."""

    per_year: float
    low: float
    high: float
    episodes: int
    runs: int
    hours: float


def episodes_by_run(
    values: ArrayLike, run: ArrayLike, *, limit: float, clear_level: float, need: int, of: int, clear_after: int
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Alarm episodes and samples of each run, through the alarm's persistence rule. Values and limits [unit of the quantity].

    An episode begins when `need` of the last `of` samples of the run exceed `limit`, and ends after `clear_after` samples in
    a row at or under `clear_level`. Nothing is carried from one run into the next.

    Raises
    ------
    OutOfRange
        Not 1 <= need <= of, `clear_after` below 1, or a clear level above the limit.

    Examples
    --------
    >>> episodes_by_run([0, 2, 2, 0, 2, 2, 0, 0, 2, 2, 2], [0] * 8 + [1] * 3, limit=1.0, clear_level=1.0,
    ...                 need=3, of=4, clear_after=2)
    (array([1, 1]), array([8, 3]))
    """
    if not 1 <= need <= of:
        raise OutOfRange("need", need, f"1 to {of}, as many as are looked at")
    if clear_after < 1 or clear_level > limit:
        raise OutOfRange("clear_level", (clear_level, clear_after), "at or under the limit, for 1 sample or more")
    numbers, which = np.unique(np.asarray(run), return_inverse=True)
    column = np.asarray(values, dtype=float)
    over, under = column > limit, column <= clear_level
    counts = np.zeros(len(numbers), dtype=np.int64)
    order = np.argsort(which, kind="stable")
    for here, samples in enumerate(np.split(order, np.cumsum(np.bincount(which, minlength=len(numbers)))[:-1])):
        counts[here] = _episodes(over[samples], under[samples], need, of, clear_after)
    return counts, np.bincount(which, minlength=len(numbers)).astype(np.int64)


def false_alarms_per_year(
    episodes: ArrayLike, samples: ArrayLike, *, sample_hours: float, judged_hours_per_year: float, seed: int
) -> FalseAlarms:
    """Expected episodes a year, by block bootstrap over whole runs.

    Parameters
    ----------
    episodes, samples : array_like of int, shape (runs,)
        From `episodes_by_run`.
    sample_hours : float
        Time a sample speaks for. [h]
    judged_hours_per_year : float
        How much of a year the drive is judged. [h]
    seed : int
        Of the random draws.

    Raises
    ------
    OutOfRange
        No samples, or times not above 0.

    Notes
    -----
    The interval holds that of a Poisson count of the episodes in the time T, whose upper end is ln(1/0.05)/T where there was none:
    a bootstrap of nothing would say never, and of one run, exactly what it saw.

    Examples
    --------
    >>> found = false_alarms_per_year([0, 0, 0], [100, 100, 100], sample_hours=1.0, judged_hours_per_year=8766.0, seed=1)
    >>> found.per_year, found.low, round(found.high, 1)
    (0.0, 0.0, 87.5)
    >>> found = false_alarms_per_year([3], [8766], sample_hours=1.0, judged_hours_per_year=8766.0, seed=1)
    >>> found.per_year, round(found.low, 2), round(found.high, 2)
    (3.0, 0.82, 7.75)
    """
    count, length = np.asarray(episodes, dtype=float), np.asarray(samples, dtype=float)
    if not length.sum() > 0 or not sample_hours > 0 or not judged_hours_per_year > 0:
        raise OutOfRange("samples", float(length.sum()), "some samples, each of some time, in a year with some run")
    hours = float(length.sum()) * sample_hours
    runs = len(count)
    drawn = np.random.default_rng(seed).multinomial(runs, np.full(runs, 1 / runs), size=RESAMPLES)
    rates = (drawn @ count) / (drawn @ length) / sample_hours * judged_hours_per_year
    low, high = np.quantile(rates, [OUTSIDE, 1 - OUTSIDE])
    seen, a_year = float(count.sum()), judged_hours_per_year / hours
    least = scipy.special.gammaincinv(seen, OUTSIDE) if seen else 0.0
    most = scipy.special.gammaincinv(seen + 1, 1 - OUTSIDE)
    return FalseAlarms(
        per_year=seen * a_year,
        low=min(float(low), float(least) * a_year),
        high=max(float(high), float(most) * a_year),
        episodes=int(seen),
        runs=runs,
        hours=hours,
    )


def _episodes(over: NDArray[np.bool_], under: NDArray[np.bool_], need: int, of: int, clear_after: int) -> int:
    summed = np.concatenate([[0], np.cumsum(over)])
    last = np.arange(1, len(over) + 1)
    persists = summed[last] - summed[np.maximum(last - of, 0)] >= need
    begins = np.flatnonzero(persists)
    found, here = 0, 0
    while len(begins := begins[np.searchsorted(begins, here) :]):
        found += 1
        low, here = 0, int(begins[0]) + 1
        while here < len(under) and (low < clear_after or persists[here - 1]):
            low = low + 1 if under[here] else 0
            here += 1
    return found
