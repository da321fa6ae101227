"""Does a quantity grow, and has it stepped? Readings of one point in one matched state, within one epoch.

Theory of operation
-------------------
Only readings of the same run state, speed and load are compared (`judge.operating`), and only those since the last declared epoch:
a trend never crosses one. Few readings give "not enough data" with how many more are wanted and until when; many are gathered into
medians of neighbours.

First the row is cut into straight pieces by the exact dynamic programme that least squares and a penalty a piece allow [1]_. Where
two pieces meet with a jump, something stepped, and nobody said why: a step is asked about, and what was before it is left out, as
before an epoch. Where they meet without one the growth has bent, which is growth still. Then the slope of what is left is the
median of the slopes of all pairs [2]_, [3]_, with an interval from drawing blocks of neighbouring residuals [4]_, since one reading
resembles the next. The penalty and the block's length follow the correlation of the noise; the factors that widen them were set
on simulations (`studies/forecast.py`), not on recordings.

A share grows evenly in its logarithm: give levels of vibration as logarithms or decibels where that is the question.
Falling after a rise is not recovery, and the answer says so.

References
----------
.. [1] B. Jackson et al., An algorithm for optimal partitioning of data on an interval, IEEE Signal Processing Letters 12, 2005
   (from memory).
.. [2] H. Theil, A rank-invariant method of linear and polynomial regression analysis, 1950 (from memory).
.. [3] P. K. Sen, Estimates of the regression coefficient based on Kendall's tau, JASA 63, 1968 (from memory).
.. [4] H. R. Künsch, The jackknife and the bootstrap for general stationary observations, Annals of Statistics 17, 1989 (from
   memory).
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gearcase.errors import OutOfRange
from gearcase.judge.limits import DAY, robust_sigma

__all__ = [
    "ANSWERS",
    "LEAST_POINTS",
    "Step",
    "Trend",
    "correlation",
    "cut",
    "in_epoch",
    "pair_slopes",
    "scatter",
    "trend",
    "without_outliers",
]

ANSWERS = ("rising", "falling", "no trend", "step, not trend", "not enough data")
LEAST_POINTS = 20  # in matched state; common practice, no source
LEAST_PIECE = 6  # points of a straight piece; common practice, no source
MOST_POINTS = 100  # more are gathered into medians of neighbours: a trend needs no finer grain, and pairs grow with the square
LEAST_STEP = 2.0  # a smaller jump is not asked about [standard deviations of the scatter]; common practice, no source
CONFIDENCE = 0.95  # of the slope's interval
MOST_CORRELATED = 0.8  # beyond it noise looks like a trend, and twenty points cannot tell which it is
SLOPE_DRAWS = 400
_LONGEST_WAIT = 365 * DAY  # for readings enough: nobody waits longer; common practice, no source
_PENALTY = 2.5  # times ln n and the long-run variance, a number that a piece needs; set on simulations
_WIDEN, _WIDEN_FEW = 1.2, 16.0  # of the slope's interval, for blocks that are short, and over n; set on simulations
_OUTLIER = 4.0  # from the median of its neighbours [standard deviations]; common practice, no source


@dataclass(frozen=True)
class Step:
    """A jump nobody has explained.

    Attributes
    ----------
    time_s : float
        Of the first reading after it. [s]
    jump : float
        Upwards positive. [unit of the quantity]
    """

    time_s: float
    jump: float


@dataclass(frozen=True)
class Trend:
    """What a row of readings says of growth.

    Attributes
    ----------
    answer : str
        One of `ANSWERS`.
    says : str
        The same for a person.
    slope, low, high : float or None
        And its 95 % interval; None without enough data. [unit of the quantity / s]
    sigma : float or None
        Scatter about the pieces. [unit of the quantity]
    steps : tuple of Step
        In this epoch, the oldest first.
    since_s : float or None
        First reading that the slope rests on. [s]
    points : int
        Readings that it rests on.
    more : int
        Readings still wanted; 0 when there are enough.
    until_s : float or None
        When they should be there, at the pace of those there are; None where nothing tells, or not within a year. [s]
    """

    answer: str
    says: str
    slope: float | None
    low: float | None
    high: float | None
    sigma: float | None
    steps: tuple[Step, ...]
    since_s: float | None
    points: int
    more: int = 0
    until_s: float | None = None


def in_epoch(time_s: ArrayLike, values: ArrayLike, *, epochs: Iterable[float]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The readings since the last epoch that has begun by the last reading; missing ones (NaN) left out.

    Times [s], readings [unit of the quantity].

    Raises
    ------
    OutOfRange
        Lengths that differ, times that do not rise, an infinite reading.

    Examples
    --------
    >>> in_epoch([0.0, 1.0, 2.0, 3.0], [5.0, 5.0, float("nan"), 7.0], epochs=[1.0])
    (array([1., 3.]), array([5., 7.]))
    """
    time, level = np.asarray(time_s, dtype=float), np.asarray(values, dtype=float)
    if time.ndim != 1 or not np.all(np.isfinite(time)) or np.any(np.diff(time) <= 0):
        raise OutOfRange("time_s", time.shape, "one row of times that rise")
    if level.shape != time.shape:
        raise OutOfRange("values", level.shape, f"as many as there are times: {len(time)}")
    if np.any(np.isinf(level)):
        raise OutOfRange(f"values[{int(np.flatnonzero(np.isinf(level))[0])}]", "infinite", "a reading, or NaN where there is none")
    if not len(time):
        return time, level
    begun = [epoch for epoch in epochs if epoch <= time[-1]]
    kept = np.isfinite(level) & (time >= max(begun, default=time[0]))
    return time[kept], level[kept]


def trend(time_s: ArrayLike, values: ArrayLike, *, epochs: Iterable[float], seed: int) -> Trend:
    """Trend of the current epoch.

    Parameters
    ----------
    time_s : array_like, shape (n,)
        Rising. [s]
    values : array_like, shape (n,)
        In matched state; NaN where there is none. [unit of the quantity]
    epochs : iterable of float
        When something was changed. [s]
    seed : int
        Of the random draws.

    Raises
    ------
    OutOfRange
        As `in_epoch`.

    Examples
    --------
    >>> day = 86400.0 * np.arange(40)
    >>> noise = np.random.default_rng(1).normal(0, 0.1, 40)
    >>> found = trend(day, 1.0 + 0.05 * np.arange(40) + noise, epochs=[], seed=1)
    >>> found.answer, round(found.slope * 86400, 2)
    ('rising', 0.05)
    >>> trend(day[:15], noise[:15], epochs=[], seed=1).says
    'not enough data: 15 readings in matched state, 20 wanted; 5 more, in about 5 days at this pace'
    """
    time, level = in_epoch(time_s, values, epochs=epochs)
    if len(time) < LEAST_POINTS:
        return _not_enough(time, ())
    begin, whole_time = 0, time
    size = math.ceil(len(time) / MOST_POINTS)
    time, level = _gathered(time, level, size)
    level = without_outliers(level)
    sigma = scatter(level)
    if sigma == 0 and np.ptp(level) == 0:
        says = "no trend: the same value every time; does the sensor still measure?"
        return Trend("no trend", says, 0.0, 0.0, 0.0, 0.0, (), float(time[0]), len(whole_time))
    pieces = cut(time, level)
    steps = []
    for piece in range(1, len(pieces) - 1):
        jump, allowed = _jump(time, level, pieces[piece - 1 : piece + 2], sigma)
        if abs(jump) > allowed:
            steps.append(Step(float(time[pieces[piece]]), jump))
            begin = pieces[piece]
    rose = _rose_before(time, level, pieces, begin, sigma)
    left = size * (len(time) - begin)
    if steps and left < LEAST_POINTS:
        return _not_enough(whole_time[whole_time >= time[begin]], tuple(steps))
    bend = max(pieces[-2], begin)
    late = bend if len(time) - bend >= LEAST_POINTS else begin  # the last straight piece, where it is long enough to stand alone
    slope, low, high = _slope(time[late:], level[late:], seed)
    answer = "rising" if low > 0 else "falling" if high < 0 else "step, not trend" if steps else "no trend"
    says = _says(answer, slope, tuple(steps), rose)
    count = int(np.sum(whole_time >= time[late])) if late else len(whole_time)
    return Trend(answer, says, slope, low, high, sigma, tuple(steps), float(time[late]), count)


def cut(time_s: NDArray[np.float64], values: NDArray[np.float64]) -> tuple[int, ...]:
    """Where straight pieces begin, and the number of points at the end: exact for least squares and a penalty a piece.

    A piece has `LEAST_PIECE` points or more, and is level (two numbers: where, and how high) or sloping (three). The penalty of a
    number is `_PENALTY` ln n times the variance that correlated noise has in the long run. Both of shape (n,): times [s], readings
    [unit of the quantity].

    Examples
    --------
    >>> cut(np.arange(30.0), np.repeat([0.0, 5.0], 15) + np.random.default_rng(1).normal(0, 0.3, 30))
    (0, 15, 30)
    """
    count = len(time_s)
    if count < 2 * LEAST_PIECE:
        return (0, count)
    t = (time_s - time_s[0]) / (time_s[-1] - time_s[0])
    y = values - np.median(values)
    sums = [np.concatenate([[0.0], np.cumsum(part)]) for part in (np.ones(count), t, t * t, y, t * y, y * y)]
    alike = correlation(values)
    penalty = _PENALTY * math.log(count) * scatter(values) ** 2 * (1 + alike) / (1 - alike)
    best = np.full(count + 1, np.inf)
    best[0] = 0.0
    before = np.zeros(count + 1, dtype=int)
    for end in range(LEAST_PIECE, count + 1):
        starts = np.arange(0, end - LEAST_PIECE + 1)
        n, st, stt, sy, sty, syy = (total[end] - total[starts] for total in sums)
        level = syy - sy * sy / n
        sloping = level - (sty - st * sy / n) ** 2 / (stt - st * st / n)
        total = best[starts] + np.minimum(level + 2 * penalty, sloping + 3 * penalty)
        before[end] = starts[np.argmin(total)]
        best[end] = total.min()
    found = [count]
    while found[-1]:
        found.append(int(before[found[-1]]))
    return tuple(reversed(found))


def correlation(values: NDArray[np.float64]) -> float:
    r"""Correlation of neighbours, from the differences, so that neither trend nor step is taken for it. [-]

    .. math:: \rho = 1 + 2 r_1(\Delta)

    with r1 that of neighbouring differences, as for noise of the first order; held between 0 and `MOST_CORRELATED`.

    >>> round(correlation(np.arange(400.0) + np.random.default_rng(2).normal(0, 1, 400)), 1)
    0.0
    """
    steps = np.diff(values)
    steps = steps - np.median(steps)
    wide = robust_sigma(median_deviation=float(np.median(np.abs(steps)))) or float(np.std(steps))
    if wide == 0:
        return 0.0
    steps = np.where(np.abs(steps) > 3 * wide, 0.0, steps)  # a step is no noise
    if not np.any(steps):
        return 0.0
    steps = steps / np.max(np.abs(steps))  # else squares may run out of range
    return float(np.clip(1 + 2 * (steps[1:] @ steps[:-1]) / (steps @ steps), 0.0, MOST_CORRELATED))


def scatter(values: NDArray[np.float64]) -> float:
    r"""Standard deviation of the noise, from the differences and their correlation. [unit of the quantity]

    .. math:: s = s_\Delta / \sqrt{2 (1 - \rho)}

    >>> round(scatter(np.arange(400.0) + np.random.default_rng(2).normal(0, 1, 400)))
    1
    """
    steps = np.diff(values)
    steps = steps - np.median(steps)
    wide = robust_sigma(median_deviation=float(np.median(np.abs(steps)))) or float(np.std(steps))
    return wide / math.sqrt(2 * (1 - correlation(values)))


def pair_slopes(time_s: NDArray[np.float64], values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Median of the slopes of all pairs (Theil, Sen), of many rows at once: shape (..., n) to (...).

    [unit of the quantity] over [s].


    >>> float(pair_slopes(np.array([0.0, 1.0, 2.0, 3.0]), np.array([0.0, 2.0, 4.0, 99.0])))
    17.5
    """
    first, second = np.triu_indices(len(time_s), 1)
    slopes: NDArray[np.float64] = np.median((values[..., second] - values[..., first]) / (time_s[second] - time_s[first]), axis=-1)
    return slopes


def without_outliers(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """A reading far from the median of itself and three neighbours on either side is replaced by that median.

    [unit of the quantity], shape (n,).
    """
    padded = np.pad(values, 3, mode="reflect")
    middle = np.median(np.lib.stride_tricks.sliding_window_view(padded, 7), axis=-1)
    off = np.abs(values - middle)
    wide = robust_sigma(median_deviation=float(np.median(off)))
    return np.where(off > _OUTLIER * wide, middle, values) if wide else values


def _gathered(time: NDArray[np.float64], level: NDArray[np.float64], size: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Medians of `size` neighbours; the oldest that fill no group are left out."""
    skip = len(time) % size
    both = (np.median(column[skip:].reshape(-1, size), axis=1) for column in (time, level))
    return next(both), next(both)


def _jump(time: NDArray[np.float64], level: NDArray[np.float64], pieces: tuple[int, ...], sigma: float) -> tuple[float, float]:
    """Jump where two pieces meet, and how large one must be to be asked about."""
    begin, here, end = pieces
    alike = correlation(level)
    moment = (time[here - 1] + time[here]) / 2
    ends, variance = [], 0.0
    for part in (slice(begin, here), slice(here, end)):
        t = time[part] - time[part].mean()
        y = level[part]
        reach = moment - time[part].mean()
        ends.append(float(y.mean() + reach * (t @ y) / (t @ t)))
        variance += (1 / len(t) + reach**2 / (t @ t)) * sigma**2 * (1 + alike) / (1 - alike)
    return ends[1] - ends[0], max(LEAST_STEP * sigma, 3 * math.sqrt(variance))


def _rose_before(time: NDArray[np.float64], level: NDArray[np.float64], pieces: tuple[int, ...], begin: int, sigma: float) -> bool:
    """Whether an earlier piece of what is left climbed by more than three sigma over where it began."""
    starts = [piece for piece in pieces[:-2] if piece >= begin]
    if not starts:
        return False
    base = float(np.median(level[starts[0] : starts[0] + LEAST_PIECE]))
    peak = float(np.median(level[pieces[-2] - 3 : pieces[-2] + 3]))
    return peak - base > 3 * sigma


def _slope(time: NDArray[np.float64], level: NDArray[np.float64], seed: int) -> tuple[float, float, float]:
    """Slope and its interval, from residuals drawn in blocks."""
    scale = float(time[-1] - time[0])
    t = (time - time[0]) / scale
    slope = float(pair_slopes(t, level))
    rest = level - slope * t
    rest = (rest - np.median(rest)) * math.sqrt(len(t) / (len(t) - 2))
    alike = correlation(level)
    block = min(max(2, math.ceil((2 * alike / (1 - alike**2)) ** (2 / 3) * len(t) ** (1 / 3)) + 1), len(t) // 3)
    draws = np.random.default_rng(seed)
    blocks = -(-len(t) // block)
    starts = draws.integers(0, len(t) - block + 1, size=(SLOPE_DRAWS, blocks))
    rows = (starts[..., None] + np.arange(block)).reshape(SLOPE_DRAWS, -1)[:, : len(t)]
    off = pair_slopes(t, rest[rows])
    widen = _WIDEN + _WIDEN_FEW / len(t)
    low, high = np.quantile(off - np.median(off), [(1 - CONFIDENCE) / 2, (1 + CONFIDENCE) / 2])
    return slope / scale, (slope - widen * float(high)) / scale, (slope - widen * float(low)) / scale


def _not_enough(time: NDArray[np.float64], steps: tuple[Step, ...]) -> Trend:
    more = LEAST_POINTS - len(time)
    pace = float(np.median(np.diff(time))) if len(time) > 1 else None
    if pace is not None and len(np.unique(time // DAY)) == len(time):
        pace = max(pace, DAY)  # no two of one day: they come once a day at most, at whatever hour of it
    wait = None if pace is None else more * pace
    until = None if wait is None or wait > _LONGEST_WAIT else float(time[-1]) + wait
    since = " since the last step; was something changed?" if steps else ""
    if wait is None:
        when = ""
    elif wait > _LONGEST_WAIT:
        when = f", at this pace in {wait / (365 * DAY):.1f} years: record more often"
    elif wait >= 2 * DAY:
        when = f", in about {wait / DAY:.0f} days at this pace"
    else:
        when = f", in about {wait / 3600:.1f} h at this pace"
    have = f"{len(time)} reading{'' if len(time) == 1 else 's'}"
    says = f"not enough data{since}: {have} in matched state, {LEAST_POINTS} wanted; {more} more{when}"
    return Trend(
        "not enough data", says, None, None, None, None, steps, float(time[0]) if len(time) else None, len(time), more, until
    )


def _says(answer: str, slope: float, steps: tuple[Step, ...], rose: bool) -> str:
    stepped = f"{len(steps)} step{'s' if len(steps) > 1 else ''} in this epoch: was something changed?" if steps else ""
    if answer == "step, not trend":
        return f"step, not trend: {stepped}"
    base = {
        "rising": "rising",
        "falling": "falling: falling after a rise is not recovery" if rose else "falling",
        "no trend": "no trend" + (" now, but it stands over where it began: that is no recovery" if rose else ""),
    }[answer]
    return f"{base}; {stepped}" if stepped else base
