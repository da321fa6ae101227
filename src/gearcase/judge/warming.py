r"""What temperature is usual at this speed, load and ambient, and on the way there?

A drive warms and cools like a body that loses heat in proportion to its excess over what is around it, and its losses go with
running, speed and load:

.. math:: \tau \dot T = T_a + r_0 x + r_n x (n / n_0 - 1) + r_L x (L - L_0) - T

with x 1 while it runs and 0 while it stands, n speed and L load about their medians. So the temperature is a sum of conditions,
each delayed by one time constant, and a regression on the delayed conditions tells the rises; the time constant is the one that
leaves the least. What is around is the ambient where it is read; else, for all but the sump, the sump; else nothing is known of it
and it is taken as constant: then summer and winter are in the scatter. A reading is compared with the limits after it has been
brought to the medians: less what the conditions have made of it (`WarmingModel.brought`). Until the heat has forgotten what was
before the watch began or was last interrupted (four time constants) nothing can be said of it.

Coefficients are Huber's M-estimate (`judge.compensation`), so that a few hot days do not become usual.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gearcase.judge.compensation import LEAST_RECORDS, LOAD, SPEED, beyond_trained, huber_regression, told_apart

__all__ = ["AROUND", "RUNNING_SHARE", "DrivingHistory", "Heat", "WarmingModel", "fit_warming"]

RUNNING_SHARE, AROUND = "running", "around"  # delayed conditions beside speed and load: share of the time [-], temperature [K]
FORGETS = 4.0  # time constants, when 2 % is left of what was before
LONGEST_UNREAD = 600.0  # that a condition is taken to stay as it was [s]; common practice, no source
_SHORTEST_LAG, _LONGEST_LAG = (
    120.0,
    8 * 3600.0,
)  # time constants of probes and of the largest drives [s]; common practice, no source
_LAGS_TRIED = 32
_LEAST_STRETCH = 86400.0  # without an interruption: shorter ones cannot tell a slow drive from a quick one [s]; common practice
_LEAST_SEEN = {RUNNING_SHARE: 0.2, SPEED: 0.02, LOAD: 0.05}  # middle 90 % of the delayed condition; common practice, no source
_FITTED = 4000  # records, evenly taken, that a regression needs no more than
_AT_ENDS = 0.005  # of the records on either side that do not count for the trained range
_HEAT_STEP = 60.0  # of the row on which conditions are delayed [s]


@dataclass(frozen=True)
class DrivingHistory:
    """How a drive was run, each of shape (n,): times that rise [s], running (1, 0 or NaN), speed [Hz], load [-] and temperature of
    what is around [K], NaN where it is not known; None where nobody reads it. `surroundings` says what that is, for people.
    """

    time_s: NDArray[np.float64]
    running: NDArray[np.float64]
    speed_hz: NDArray[np.float64] | None
    load: NDArray[np.float64] | None
    around_k: NDArray[np.float64] | None
    surroundings: str


@dataclass(frozen=True)
class Heat:
    """Delayed conditions at a moment [s], and since when they have been followed [s]."""

    time_s: float
    since_s: float
    delayed: Mapping[str, float]


@dataclass(frozen=True)
class WarmingModel:
    """The usual temperature over the delayed conditions.

    Attributes
    ----------
    level : float
        Settled at the reference. [K]
    sigma : float
        Robust standard deviation of what the model leaves. [K]
    time_constant_s : float
        [s]
    offset_k : float
        Over what is around, with the drive standing for long; where nothing is known of that, the temperature itself. [K]
    rise : mapping
        Delayed condition -> rise by one unit of it: running at the medians [K], a speed twice the median [K], rated load [K].
    reference : mapping
        Condition -> its median while running. [Hz], [-], [K]
    trained : mapping
        Condition -> lowest and highest. [Hz], [-]
    left_out : mapping
        Condition -> why it has no rise.
    surroundings : str
        What is around; empty where nothing is known of it.
    records : int
    """

    level: float
    sigma: float
    time_constant_s: float
    offset_k: float
    rise: Mapping[str, float]
    reference: Mapping[str, float]
    trained: Mapping[str, tuple[float, float]]
    left_out: Mapping[str, str]
    surroundings: str
    records: int

    def usual(self, history: DrivingHistory) -> NDArray[np.float64]:
        """At every moment of a history, NaN where the heat had not forgotten yet what was before, shape (n,). [K]"""
        counts = {name: at for name, at in self.reference.items() if name in self.rise or name == AROUND}
        delayed, known_s = _delayed(history, counts, self.time_constant_s)
        usual = self.offset_k + sum(rise * delayed[name] for name, rise in self.rise.items())
        usual = usual + delayed[AROUND] if self.surroundings else np.asarray(usual)
        return np.where(known_s >= FORGETS * self.time_constant_s, usual, np.nan)

    def brought(self, history: DrivingHistory, temperature_k: NDArray[np.float64]) -> NDArray[np.float64]:
        """Temperatures of a history as they would be at the reference, NaN where nothing is usual, shape (n,). [K]"""
        return temperature_k - self.usual(history) + self.level

    def follow(self, before: Heat | None, conditions: Mapping[str, float], *, running: bool | None, now: float) -> Heat | None:
        """The heat a moment later, of a drive that runs at these conditions: speed [Hz], load [-], its `surroundings` [K], those
        known; None where nothing can be said of it, since too much was not read for too long. [s]
        """
        here = self._here(conditions, running)
        if before is not None and now - before.time_s > LONGEST_UNREAD:
            before = None
        if here is None or (before is not None and now <= before.time_s):
            return before
        if before is None:
            return Heat(now, now, here)
        gone = -math.expm1(-(now - before.time_s) / self.time_constant_s)
        delayed = {name: before.delayed[name] + gone * (value - before.delayed[name]) for name, value in here.items()}
        return Heat(now, before.since_s, delayed)

    def at_reference(self, value: float, heat: Heat) -> float:
        """A reading as it would be at the reference. [K]"""
        usual = self.offset_k + sum(rise * heat.delayed[name] for name, rise in self.rise.items())
        return value - (usual + heat.delayed.get(AROUND, 0.0)) + self.level

    def not_known(self, heat: Heat | None, conditions: Mapping[str, float]) -> str:
        """Why nothing is usual now, at a speed [Hz] and load [-]; empty where something is."""
        if heat is None:
            return "speed, load or what is around it was not read for too long"
        wanted = FORGETS * self.time_constant_s
        if (followed := heat.time_s - heat.since_s) < wanted:
            return f"followed for {followed / 3600:.1f} h of the {wanted / 3600:.1f} h that its heat remembers"
        return beyond_trained(self.trained, conditions)

    def as_dict(self) -> dict[str, Any]:
        """Plain data; `WarmingModel.of` reads it."""
        mappings = {name: dict(getattr(self, name)) for name in ("rise", "reference", "left_out")}
        trained = {name: list(ends) for name, ends in self.trained.items()}
        plain = ("level", "sigma", "time_constant_s", "offset_k", "surroundings", "records")
        return {**{name: getattr(self, name) for name in plain}, **mappings, "trained": trained}

    @classmethod
    def of(cls, kept: Mapping[str, Any]) -> "WarmingModel":
        """From the plain data of `as_dict`."""
        trained = {name: (float(low), float(high)) for name, (low, high) in kept["trained"].items()}
        return cls(**{**kept, "trained": trained})

    def _here(self, conditions: Mapping[str, float], running: bool | None) -> dict[str, float] | None:
        """The conditions of this moment; None where one that counts is not known."""
        if running is None:
            return None
        here = {RUNNING_SHARE: float(running)}
        for name in (SPEED, LOAD):
            if name not in self.rise:
                continue
            if running and name not in conditions:
                return None
            here[name] = _over(name, conditions[name], self.reference[name]) if running else 0.0
        if self.surroundings:
            if self.surroundings not in conditions:
                return None
            here[AROUND] = conditions[self.surroundings]
        return here


def fit_warming(history: DrivingHistory, temperature_k: NDArray[np.float64], *, judged: NDArray[np.bool_]) -> WarmingModel | None:
    """The usual temperature, from months of minutes.

    Parameters
    ----------
    history : DrivingHistory
    temperature_k : ndarray, shape (n,)
        NaN where it was not read. [K]
    judged : ndarray of bool, shape (n,)
        Moments at which the drive ran and its temperature counts.

    Returns
    -------
    WarmingModel or None
        None where no day was followed without an interruption, or fewer than `LEAST_RECORDS` are left of which the heat is known.

    Examples
    --------
    A drive that runs 3 h in 6, 40 K over an ambient of 20 °C when settled, with a time constant of half an hour:

    >>> time = np.arange(0.0, 20 * 86400.0, 300.0)
    >>> running = (time % 21600.0 < 10800.0).astype(float)
    >>> excess = [0.0]
    >>> for x in running[:-1]:
    ...     excess.append(excess[-1] + (1 - np.exp(-300 / 1800)) * (40 * x - excess[-1]))
    >>> history = DrivingHistory(time, running, None, None, np.full(time.size, 293.15), "ambient")
    >>> found = fit_warming(history, 293.15 + np.array(excess), judged=running == 1)
    >>> round(found.level, 1), round(found.time_constant_s / 60), round(found.rise["running"], 1)
    (333.2, 30, 40.0)
    """
    if (stretch := _longest_stretch(history.time_s)) < _LEAST_STRETCH:
        return None
    longest = min(_LONGEST_LAG, stretch / (3 * FORGETS))
    reference, trained = _medians(history, judged)
    trials = np.geomspace(_SHORTEST_LAG, longest, _LAGS_TRIED)
    usable = judged & np.isfinite(temperature_k)
    _, known_s = _delayed(history, reference, longest)
    usable &= known_s >= FORGETS * longest  # the same records for every time constant, or the slowest would look best
    for column in _delayed(history, reference, longest)[0].values():
        usable &= np.isfinite(column)
    rows = np.flatnonzero(usable)
    if rows.size < LEAST_RECORDS:
        return None
    rows = rows[:: max(1, rows.size // _FITTED)]

    def left_by(lag: float) -> float:
        design, target, _, _ = _regression(history, temperature_k, reference, lag, rows)
        solved = np.linalg.lstsq(design, target, rcond=None)[0]
        return float(np.mean((target - design @ solved) ** 2))

    squares = [left_by(lag) for lag in trials]
    at = int(np.argmin(squares))
    lag = float(trials[at])
    for _ in range(2):  # the grid, twice as fine and more each time
        near = np.geomspace(trials[max(at - 1, 0)], trials[min(at + 1, trials.size - 1)], _LAGS_TRIED // 2)
        trials, at = near, int(np.argmin([left_by(one) for one in near]))
        lag = float(trials[at])
    design, target, names, left_out = _regression(history, temperature_k, reference, lag, rows)
    found, sigma = huber_regression(design, target)
    rise = dict(zip(names, found[1:].tolist(), strict=True))
    level = float(found[0]) + rise.get(RUNNING_SHARE, 0.0) + reference.get(AROUND, 0.0)
    surroundings = history.surroundings if AROUND in reference else ""
    return WarmingModel(level, sigma, lag, float(found[0]), rise, reference, trained, left_out, surroundings, int(rows.size))


def _regression(
    history: DrivingHistory,
    temperature_k: NDArray[np.float64],
    reference: Mapping[str, float],
    lag: float,
    rows: NDArray[np.intp],
) -> tuple[NDArray[np.float64], NDArray[np.float64], list[str], dict[str, str]]:
    """Columns, what they have to make, their names, and why others are left out."""
    delayed, _ = _delayed(history, reference, lag)
    columns = {name: delayed[name][rows] for name in (RUNNING_SHARE, SPEED, LOAD) if name in delayed}
    kept, left_out = told_apart(columns, _LEAST_SEEN)
    target = temperature_k[rows] - (delayed[AROUND][rows] if AROUND in delayed else 0.0)
    return np.column_stack([np.ones(rows.size), *kept.values()]), target, list(kept), left_out


def _medians(history: DrivingHistory, judged: NDArray[np.bool_]) -> tuple[dict[str, float], dict[str, tuple[float, float]]]:
    """Of each condition that was read while the drive ran, its median; and the range of speed and load."""
    reference: dict[str, float] = {}
    trained: dict[str, tuple[float, float]] = {}
    for name, column in ((SPEED, history.speed_hz), (LOAD, history.load), (AROUND, history.around_k)):
        read = np.empty(0) if column is None else column[judged & np.isfinite(column)]
        if not read.size:
            continue
        reference[name] = float(np.median(read))
        if name != AROUND:
            low, high = np.quantile(read, [_AT_ENDS, 1 - _AT_ENDS])
            trained[name] = (float(low), float(high))
    return reference, trained


def _delayed(
    history: DrivingHistory, reference: Mapping[str, float], lag: float
) -> tuple[dict[str, NDArray[np.float64]], NDArray[np.float64]]:
    """Conditions delayed by a time constant, and for how long they have been followed, each of shape (n,). [s]"""
    running = history.running
    columns = {RUNNING_SHARE: running}
    for name, read in ((SPEED, history.speed_hz), (LOAD, history.load)):
        if name in reference and read is not None:
            columns[name] = np.where(running == 1, _over(name, read, reference[name]), running * 0.0)
    if AROUND in reference and history.around_k is not None:
        columns[AROUND] = history.around_k
    import scipy.signal  # 25 MiB and a third of a second, which a watch, that only follows the heat, need not hold

    whole = np.logical_and.reduce([np.isfinite(column) for column in columns.values()])
    at = np.flatnonzero(whole)
    known_s = np.full(history.time_s.size, -np.inf)
    delayed = {name: np.full(history.time_s.size, np.nan) for name in columns}
    for stretch in np.split(at, np.flatnonzero(np.diff(history.time_s[at]) > LONGEST_UNREAD) + 1):
        if not stretch.size:
            continue
        since = history.time_s[stretch] - history.time_s[stretch[0]]
        grid = np.arange(0.0, since[-1] + _HEAT_STEP, _HEAT_STEP)
        before = np.searchsorted(since, grid, side="right") - 1  # each value stays until the next is read
        stays = math.exp(-_HEAT_STEP / lag)
        for name, column in columns.items():
            held = column[stretch][before]
            first = held[:1]
            lagged, _ = scipy.signal.lfilter([1 - stays], [1.0, -stays], np.append(first, held[:-1]), zi=stays * first)
            delayed[name][stretch] = np.interp(since, grid, lagged)
        known_s[stretch] = since
    return delayed, known_s


def _over(name: str, value: Any, reference: float) -> Any:
    """A condition about its median: speed as a ratio, load as it is. [-]"""
    return value / reference - 1 if name == SPEED else value - reference


def _longest_stretch(time_s: NDArray[np.float64]) -> float:
    """Longest time without an interruption. [s]"""
    if time_s.size < 2:
        return 0.0
    edges = np.flatnonzero(np.diff(time_s) > LONGEST_UNREAD)
    starts, ends = time_s[np.append(0, edges + 1)], time_s[np.append(edges, time_s.size - 1)]
    return float((ends - starts).max())
