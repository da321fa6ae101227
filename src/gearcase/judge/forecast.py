"""When is a stated limit reached? A date only where growth of that kind can be dated, else by when to inspect.

Theory of operation
-------------------
Wear and spalls grow; a crack, a lubrication fault or a temperature does not by any law that housing vibration shows. So a date is
given for the kinds in `DATED` alone, from `trend.LEAST_POINTS` readings in matched state, once they rise and stand more than
three sigma over where they began. Else the answer is "inspect by", from maturity and growth (`judge.advice`), or what is missing.
An urgency stands beside every date too: who has a date still has to look. It counts growth over where the epoch began, a step that
nobody declared included, since a broken tooth steps as well; a level at its limit is to be acted on within days. A level at which
nobody has named a fault and that neither rises nor has risen is nothing to inspect: it says when to look again.

Trend, scatter and steps are those of the logarithm, since the scatter of a level grows with it. The readings since the last epoch
or step are held against three laws over a level c that does not move, each from an onset t0:

* linear: c + A (t - t0)
* exponential: c + A (exp((t - t0) / T) - 1)
* running away at t0 + T: c + A (t - t0) / (T - (t - t0))

For each t0 and T the rest is linear least squares (separable least squares [1]_), weighted by the level and by how recent a
reading is, for true growth follows none of them for long: how far back the readings count (`_MEMORY`) was set on simulations.
Each law gets a third of the belief beforehand, shared evenly over its grid; readings that resemble their neighbours count for
less, n (1 - rho) / (1 + rho). Draws from what is then believed give the time to the limit, their quantiles the interval. A limit
further ahead than the readings reach back is not dated: "not before". Coverage on lives that grow by other laws:
`studies/forecast.py`.

References
----------
.. [1] G. H. Golub and V. Pereyra, The differentiation of pseudo-inverses and nonlinear least squares problems whose variables
   separate, SIAM Journal on Numerical Analysis 10, 1973 (from memory).
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gearcase.errors import OutOfRange
from gearcase.judge.advice import at_limit_urgency, inspect_within_days, urgency
from gearcase.judge.bootstrap import OUTSIDE
from gearcase.judge.limits import DAY
from gearcase.judge.trend import Trend, correlation, in_epoch, trend, without_outliers

__all__ = ["ANSWERS", "DATED", "UNDATED", "Forecast", "forecast"]

DATED = frozenset({"wear", "spall"})
UNDATED = frozenset({"crack", "lubrication", "temperature", "unknown"})
_NOT_NAMED = ("unknown", "temperature")  # what grows where no diagnosis has named a fault
ANSWERS = ("date", "not before", "reached", "inspect by", "no trend", "not enough data")
LEAST_GROWTH = 3.0  # over where the readings began [standard deviations]; common practice, no source
FITS = 0.9  # of the belief, for one law to be named; common practice, no source
DRAWS = 2000
_MEMORY = 0.3  # a reading this share of the time watched ago counts 1/e; set on simulations
_ONSETS = np.linspace(0.0, 0.9, 19)  # of either law, of the time watched [-]
_CONSTANTS = np.geomspace(0.05, 2.0, 12)  # of the exponential law, of the time watched [-]
_ENDS = np.geomspace(0.02, 2.0, 12)  # when the last law runs away, from the last reading, of the time watched [-]
LAWS = ("linear", "exponential", "running away")


@dataclass(frozen=True)
class Forecast:
    """What can be said of the time left.

    Attributes
    ----------
    answer : str
        One of `ANSWERS`.
    says : str
        The same for a person.
    inspect_by_s : float
        By when somebody should look, whatever else is said. [s]
    look : str
        What that day is for: ``inspect by``, or ``look again by`` where there is nothing to act on so far.
    earliest_s, middle_s, latest_s : float or None
        When the limit is reached: 90 % interval and median; only with a date, the first also with "not before", infinite where
        the growth seen may never reach it. [s]
    law : str
        One of `LAWS`, or ``undecided`` where none has most of the belief; empty without a date.
    trend : Trend
        Of the logarithm of the level; the time to the limit rests on the readings since its last step.
    """

    answer: str
    says: str
    inspect_by_s: float
    look: str
    earliest_s: float | None
    middle_s: float | None
    latest_s: float | None
    law: str
    trend: Trend


def forecast(
    time_s: ArrayLike,
    values: ArrayLike,
    *,
    limit: float,
    kind: str,
    maturity: int,
    epochs: Iterable[float],
    seed: int,
) -> Forecast:
    """When the level reaches a limit, seen from the last reading.

    Parameters
    ----------
    time_s, values : array_like, shape (n,)
        Readings in matched state, above 0, NaN where there is none. [s], [unit of the quantity]
    limit : float
        In the unit of the readings.
    kind : str
        What grows: of `DATED` or `UNDATED`.
    maturity : int
        Of the pattern, 1 to 4 (`judge.advice`).
    epochs : iterable of float
        When something was changed: never crossed. [s]
    seed : int
        Of the random draws.

    Raises
    ------
    OutOfRange
        No readings, a reading or limit not above 0, a kind or maturity that is not known; and as `trend.in_epoch`.

    Notes
    -----
    It is the level without its scatter whose time is told; a single reading goes over earlier.

    Examples
    --------
    >>> day = np.arange(60.0)
    >>> level = (1 + 0.1 * np.exp(day / 20)) * np.random.default_rng(1).lognormal(0, 0.05, 60)
    >>> ask = dict(limit=4.0, maturity=2, epochs=[], seed=1)
    >>> found = forecast(day * 86400, level, kind="spall", **ask)
    >>> found.answer, found.earliest_s < 20 * math.log(30) * 86400 < found.latest_s
    ('date', True)
    >>> forecast(day * 86400, level, kind="crack", **ask).says.partition(":")[0]
    'inspect by'
    """
    if kind not in DATED | UNDATED:
        raise OutOfRange("kind", kind, f"one of {', '.join(sorted(DATED | UNDATED))}")
    if maturity not in (1, 2, 3, 4):
        raise OutOfRange("maturity", maturity, "1 to 4")
    if not (limit > 0 and math.isfinite(limit)):
        raise OutOfRange("limit", limit, "above 0, in the unit of the readings")
    epochs = tuple(epochs)
    time, level = in_epoch(time_s, values, epochs=epochs)
    if not len(time):
        raise OutOfRange("values", 0, "one reading or more since the last epoch")
    if not np.all(level > 0):
        raise OutOfRange("values", float(level.min()), "each above 0")
    found = trend(time, np.log(level), epochs=(), seed=seed)
    here = time >= (found.steps[-1].time_s if found.steps else time[0])
    began = began_and_is(level)[0]
    time, level = time[here], level[here]
    base, last = began_and_is(level)
    growth_db = 20 * math.log10(last / min(began, base))  # a step that nobody declared may be the fault
    act = urgency(maturity, growth_db)
    if last >= limit:
        act = at_limit_urgency(act)
    within = inspect_within_days(act, growth_db)
    by = float(time[-1]) + within * DAY
    nothing = kind in _NOT_NAMED and found.answer != "rising" and act == urgency(1)
    look, inspect = "inspect by", f"inspect by: within {within} days ({act})"
    if nothing:
        look, inspect = "look again by", f"nothing to act on so far, look again within {within} days"

    def without_date(answer: str, says: str, earliest: float | None = None) -> Forecast:
        return Forecast(answer, says, by, look, earliest, None, None, "", found)

    if last >= limit:
        return without_date("reached", f"the limit is reached; {inspect}")
    if kind in UNDATED and not nothing:
        why = f"no date can be given for {kind}" if kind != "unknown" else "what grows is not known, so no date can be given"
        return without_date("inspect by", f"{inspect}; {why}")
    if found.answer == "not enough data" or found.sigma is None:
        return without_date("not enough data", f"{found.says}; {inspect}")
    if found.answer != "rising":
        return without_date("no trend", f"{found.says}; {inspect}")
    growth = math.log(last / base)
    if growth <= LEAST_GROWTH * found.sigma:
        grown = f"it rises, but by {growth / found.sigma:.1f} sigma only: a date wants over {LEAST_GROWTH:.0f}"
        return without_date("inspect by", f"{inspect}; {grown}")
    usual = float(np.median(level))  # else squares may run out of range
    ahead, belief = _ahead(time, without_outliers(level / usual), limit / usual, np.random.default_rng(seed))
    now, watched = float(time[-1]), float(time[-1] - time[0])
    early, middle, late = (float(part) for part in np.quantile(ahead, [OUTSIDE, 0.5, 1 - OUTSIDE], method="nearest"))
    if late > watched:
        least = f"not before {early / DAY:.0f} days, and" if math.isfinite(early) else "if ever,"
        says = f"{least} further ahead than the readings reach back; {inspect}"
        return without_date("not before", says, now + early)
    law = next((name for name, share in belief.items() if share >= FITS), "undecided")
    ranked = sorted(belief, key=lambda name: -belief[name])
    fits = f"{law} growth fits best" if law in LAWS else f"{ranked[0]} growth fits best but {ranked[1]} is not excluded"
    if early / DAY < within:
        inspect = f"inspect by: within {early / DAY:.1f} days, when it may be reached at the earliest"
    says = (
        f"the limit is reached in {early / DAY:.1f} to {late / DAY:.1f} days (90 %), if it grows on as it does; {fits}; {inspect}"
    )
    return Forecast("date", says, min(by, now + early), look, now + early, now + middle, now + late, law, found)


def began_and_is(level: ArrayLike) -> tuple[float, float]:
    """Where readings began and where they are: medians of the first and the last third, of five at most. [unit of the quantity]

    Of few readings a fixed number would reach into the growth itself. Common practice, no source.

    Parameters
    ----------
    level : array_like, shape (n,)
        One reading or more, in order of time. [unit of the quantity]

    Examples
    --------
    >>> began_and_is([0.1, 0.25, 2.3, 2.0])
    (0.1, 2.0)
    """
    levels = np.asarray(level, dtype=float)
    few = min(5, max(1, len(levels) // 3))
    return float(np.median(levels[:few])), float(np.median(levels[-few:]))


def _ahead(
    time: NDArray[np.float64], level: NDArray[np.float64], limit: float, draws: np.random.Generator
) -> tuple[NDArray[np.float64], dict[str, float]]:
    """Draws of the time from the last reading to the limit, infinite where it is never reached [s]; belief in each law."""
    watched = time[-1] - time[0]
    t = (time - time[0]) / watched
    law, onset, constant = _grid()
    since = np.maximum(0.0, t - onset[:, None])
    shapes = np.select(
        [law[:, None] == 0, law[:, None] == 1],
        [since, np.expm1(since / np.where(law == 1, constant, 1.0)[:, None])],
        since / (constant[:, None] - np.where(law[:, None] == 2, since, 0.0)),
    )
    recent = np.exp((t - 1) / _MEMORY)
    weight = np.sqrt(recent) / _smooth(level)
    design = np.stack([np.broadcast_to(weight, shapes.shape), shapes * weight], axis=-1)
    normal = np.linalg.inv(np.swapaxes(design, 1, 2) @ design)
    target = level * weight
    solved = np.einsum("kij,kj->ki", normal, np.einsum("knj,n->kj", design, target))
    rest = target - np.einsum("kni,ki->kn", design, solved)
    squares = np.sum(rest**2, axis=1)
    alike = correlation(rest[np.argmin(squares)] / np.sqrt(recent))
    effective = max(6.0, float(recent.sum()) * (1 - alike) / (1 + alike))
    belief = np.exp(-(effective - 2) / 2 * np.log(squares / squares.min())) / np.bincount(law)[law]
    belief /= belief.sum()
    chosen = draws.choice(len(law), size=DRAWS, p=belief)
    tails = draws.standard_normal((DRAWS, 2)) * np.sqrt((effective - 2) / draws.chisquare(effective - 2, DRAWS))[:, None]
    roots = np.linalg.cholesky(normal) * np.sqrt(squares / effective)[:, None, None]
    floor, growth = (solved[chosen] + np.einsum("kij,kj->ki", roots[chosen], tails)).T
    need = np.divide(np.maximum(limit - floor, 0.0), growth, out=np.full(DRAWS, np.inf), where=growth > 0)
    end = constant[chosen]
    with np.errstate(invalid="ignore"):  # infinite over infinite, where that law was not drawn or is never reached
        reached = np.select([law[chosen] == 0, law[chosen] == 1], [need, end * np.log1p(need)], end * need / (1 + need))
    ahead = np.where(np.isfinite(need), onset[chosen] + reached - 1, np.inf)
    shares = np.bincount(law, weights=belief)
    return np.maximum(ahead, 1e-3) * watched, dict(zip(LAWS, shares.tolist(), strict=True))


def _grid() -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]]:
    """Law, onset and constant of every growth that is tried; the constant of running away counts from its onset."""
    onset = np.concatenate([_ONSETS, np.repeat(_ONSETS, len(_CONSTANTS)), np.repeat(_ONSETS, len(_ENDS))])
    ends = (1 - _ONSETS[:, None] + _ENDS).ravel()
    constant = np.concatenate([np.ones(len(_ONSETS)), np.tile(_CONSTANTS, len(_ONSETS)), ends])
    law = np.repeat([0, 1, 2], [len(_ONSETS), len(_ONSETS) * len(_CONSTANTS), len(ends)])
    return law.astype(np.int64), onset, constant


def _smooth(level: NDArray[np.float64]) -> NDArray[np.float64]:
    """Running mean over a sixth of the readings."""
    width = max(3, len(level) // 6)
    padded = np.pad(level, (width // 2, width - 1 - width // 2), mode="edge")
    return np.convolve(padded, np.ones(width) / width, mode="valid")
