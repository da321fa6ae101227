"""Readings as means of a minute, gated by run state: what baseline and trend both rest on."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from gearcase.checksums import sha256_of_bytes
from gearcase.errors import Problem
from gearcase.install.points import SUMP
from gearcase.judge.alarm import RULES
from gearcase.judge.compensation import LOAD, OIL, SPEED, LevelModel
from gearcase.judge.families import LINE_FAMILIES
from gearcase.judge.limits import DAY
from gearcase.judge.operating import DIRECTION
from gearcase.judge.settling import Probe, probe
from gearcase.judge.steady import RunState, run_states
from gearcase.judge.warming import DrivingHistory, WarmingModel
from gearcase.record.store import Readings

__all__ = [
    "AMBIENT",
    "BAND",
    "BY_DIRECTION",
    "MINUTE",
    "OVERALL",
    "SETTLED_SLOPE",
    "SPEED_BAND",
    "STANDSTILL",
    "SUMP",
    "TEMPERATURE",
    "UNITS",
    "Minutes",
    "Records",
    "date",
    "points_read",
    "source",
    "wrong_units",
]

MINUTE = 60.0
LEAST_MINUTES = 10  # of a day, for its median to count; common practice, no source
SPEED_BAND = 0.05  # steady speed, of its median; common practice, no source
STANDSTILL = 0.1  # of the lowest speed in service: slower is stopped; common practice, no source
SETTLED_SLOPE = 2.0 / 3600.0  # [K/s]; common practice, no source
OVERALL, TEMPERATURE, BAND, AMBIENT = "overall velocity", "temperature", "high-frequency acceleration", "ambient temperature"
UNITS: Mapping[str, str] = {
    OVERALL: "m/s",
    TEMPERATURE: "K",
    BAND: "m/s2",
    **LINE_FAMILIES,
    "speed": "Hz",
    "running": "-",
    "load": "-",
    DIRECTION: "-",
    AMBIENT: "K",
}
BY_DIRECTION = (OVERALL, BAND, "mesh lines")  # gears bear on their other flanks in reverse; shafts and bearings do not mind
_SOME = "{} minutes of temperature were impossible for a drive and are left out: is a cable loose, was the probe moved?"
_TURNING = ("starting", "reversing", "settling", "steady")


@dataclass(frozen=True)
class Records:
    """Gated records of one quantity at one point, each of shape (n,): times [s], values, runs, and the conditions they were taken
    at.

    `conditions` has a column for each of `judge.compensation.CONDITIONS` that was read at all; NaN where it was not. `direction` is
    1 or -1, NaN where it was not read or changed within the minute.
    """

    point: str
    quantity: str
    time_s: NDArray[np.float64]
    value: NDArray[np.float64]
    run: NDArray[np.int64]
    conditions: Mapping[str, NDArray[np.float64]]
    direction: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.value)

    @property
    def median(self) -> float:
        """Of the values."""
        return float(np.median(self.value))

    def of(self, chosen: NDArray[np.bool_]) -> "Records":
        """Those chosen, shape (n,)."""
        conditions = {name: column[chosen] for name, column in self.conditions.items()}
        columns = (self.time_s[chosen], self.value[chosen], self.run[chosen])
        return Records(self.point, self.quantity, *columns, conditions, self.direction[chosen])

    def daily(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Median of each day that has enough minutes, or a record, at their middle: times [s] and values, shape (days,)."""
        days = self.time_s // DAY
        least = LEAST_MINUTES if RULES[self.quantity].polled else 1
        kept = [row for row in (np.flatnonzero(days == day) for day in np.unique(days)) if len(row) >= least]
        return (
            np.array([np.median(self.time_s[row]) for row in kept], dtype=float),
            np.array([np.median(self.value[row]) for row in kept], dtype=float),
        )

    def brought(self, model: LevelModel) -> "Records":
        """Those taken where a model was trained, their values at its reference."""
        rows = [
            {name: float(value) for name, value in zip(self.conditions, row, strict=True) if np.isfinite(value)}
            for row in zip(*self.conditions.values(), strict=True)
        ] or [{}] * len(self)
        here = self.of(np.array([not model.not_trained(row) for row in rows], dtype=bool))
        factor = np.array([model.factor(row) for row in rows if not model.not_trained(row)])
        return replace(here, value=here.value / factor)


class Minutes:
    """The readings as means of a minute, on one row of minutes for all. Impossible temperatures are left out, and a failed probe
    whole.

    Attributes
    ----------
    time_s : ndarray, shape (n,)
        Where each minute begins. [s]
    spacing : float
        Between minutes, as a rule. [s]
    probes : mapping
        Point -> what is said of its temperature probe.
    """

    def __init__(self, readings: Readings) -> None:
        self._readings, self._good = readings, (readings.quality == "good") & np.isfinite(readings.value)
        minute = np.floor(readings.time_s / MINUTE)
        self.minutes, self._at = np.unique(minute, return_inverse=True)
        self.time_s = self.minutes * MINUTE
        self.spacing = float(np.median(np.diff(self.time_s))) if len(self.time_s) > 1 else MINUTE
        self._warm: dict[str, NDArray[np.float64]] = {}
        self.probes: dict[str, Probe] = {}
        for point in sorted(set(readings.point[self._good & (readings.quantity == TEMPERATURE)].tolist())):
            self._warm[point], self.probes[point] = self._believed(self._means(TEMPERATURE, point))

    def of(self, quantity: str, point: str | None = None) -> NDArray[np.float64]:
        """Means, NaN where there is none."""
        if quantity == TEMPERATURE and point is not None:
            return self._warm.get(point, np.full(len(self.minutes), np.nan))
        return self._means(quantity, point)

    def _means(self, quantity: str, point: str | None) -> NDArray[np.float64]:
        chosen = self._good & (self._readings.quantity == quantity)
        if point is not None:
            chosen &= self._readings.point == point
        count = np.bincount(self._at[chosen], minlength=len(self.minutes))
        total = np.bincount(self._at[chosen], weights=self._readings.value[chosen], minlength=len(self.minutes))
        means: NDArray[np.float64] = np.divide(total, count, out=np.full(len(count), np.nan), where=count > 0)
        return means

    def _believed(self, warm: NDArray[np.float64]) -> tuple[NDArray[np.float64], Probe]:
        """Temperatures without impossible ones, none at all of a probe that failed on its last day; and what is said of it."""
        here = np.flatnonzero(np.isfinite(warm))
        moments, values = self.time_s[here], warm[here]
        since = int(np.searchsorted(moments, moments[-1] - DAY))
        lately, ever = probe(moments[since:], values[since:]), probe(moments, values).impossible
        believed = np.full(len(warm), np.nan) if lately.failed else warm.copy()
        believed[here[list(ever)]] = np.nan
        return believed, lately if lately.failed or not ever else Probe(False, ever, _SOME.format(len(ever)))

    def running(self) -> NDArray[np.float64]:
        """Run contact: 1 when it was closed for all of the minute; else what the watch noted while it read."""
        contact = self.of("running")
        if np.any(np.isfinite(contact)):
            return np.where(np.isnan(contact), np.nan, (contact >= 1.0).astype(float))
        noted = np.full(len(self.minutes), np.nan)
        noted[self._at[np.isin(self._readings.state, _TURNING)]] = 1.0
        noted[self._at[self._readings.state == "stopped"]] = 0.0
        return noted

    def speed(self) -> NDArray[np.float64]:
        """How fast, whichever way; NaN where 0 is read: what stands is in no state, and what runs has a dead tachometer. [Hz]"""
        fast = np.abs(self.of("speed"))
        return np.where(fast > 0, fast, np.nan)

    def direction(self) -> NDArray[np.float64]:
        """Which way it turned: 1 or -1 where it did so for all of the minute."""
        way = self.of(DIRECTION)
        return np.where(np.abs(way) == 1, way, np.nan)

    def run_state(self, point: str, *, lowest_speed_hz: float) -> RunState:
        """Run state as seen from a point: settled by its own temperature, where it has one. [Hz]"""
        return run_states(
            self.time_s,
            running=self.running(),
            speed_hz=self.of("speed"),
            temperature_k=self.of(TEMPERATURE, point),
            direction=self.direction(),
            speed_band=SPEED_BAND,
            least_speed_hz=STANDSTILL * lowest_speed_hz,
            slope_limit=SETTLED_SLOPE,
            longest_gap=max(2 * MINUTE, 3 * self.spacing),
        )

    def history(self, point: str) -> DrivingHistory:
        """How the drive was run, and what was around a point: the ambient where it was read, else the sump for all but itself."""
        read = {SPEED: np.abs(self.of(SPEED)), LOAD: self.of(LOAD)}  # turning backward heats as well
        speed, load = (column if np.any(np.isfinite(column)) else None for column in read.values())
        around, surroundings = self.of(AMBIENT), AMBIENT
        if not np.any(np.isfinite(around)) and point != SUMP:
            around, surroundings = self.of(TEMPERATURE, SUMP), OIL
        if not np.any(np.isfinite(around)):
            return DrivingHistory(self.time_s, self.running(), speed, load, None, "")
        return DrivingHistory(self.time_s, self.running(), speed, load, around, surroundings)

    def brought(self, part: Records, model: WarmingModel) -> Records:
        """Temperatures at the reference of their model, those of which the heat is known."""
        at = np.searchsorted(self.time_s, part.time_s)
        value = part.value - model.usual(self.history(part.point))[at] + model.level
        return replace(part, value=value).of(np.isfinite(value))

    def gated(self, point: str, state: RunState) -> Iterable[Records]:
        """Records of every quantity that can alarm and was read here, in the run states in which it is judged."""
        columns, way = {SPEED: self.speed(), LOAD: self.of("load"), OIL: self.of(TEMPERATURE, SUMP)}, self.direction()
        read = {name: column for name, column in columns.items() if np.any(np.isfinite(column))}
        for quantity, rule in RULES.items():
            values = self.of(quantity, point)
            if np.any(np.isfinite(values)):
                gate = np.isin(state.labels, list(rule.judged_in)) & np.isfinite(values)
                conditions = {name: column[gate] for name, column in read.items()}
                of_it = (self.time_s[gate], values[gate], state.run[gate])
                yield Records(point, quantity, *of_it, conditions, way[gate])


def points_read(readings: Readings) -> list[str]:
    """Points at which something that can alarm was read."""
    return sorted({str(point) for point in readings.point[np.isin(readings.quantity, list(RULES))]})


def wrong_units(readings: Readings) -> Iterable[Problem]:
    """What is wrong with the readings as a whole: there are none, or not in SI."""
    if not len(readings):
        yield Problem("readings", "", "none", "readings of the job's points, kept by the watch")
    for quantity, unit in UNITS.items():
        wrong = set(readings.unit[readings.quantity == quantity]) - {unit}
        if wrong:
            yield Problem("readings", quantity, ", ".join(sorted(map(str, wrong))), f"in {unit}")


def source(readings: Readings) -> dict[str, str]:
    """What a result that rests on readings says it has read."""
    columns = (readings.time_s, readings.value, readings.point, readings.quantity, readings.quality, readings.state)
    whole = b"".join(column.tobytes() for column in columns)
    what = f"readings {date(readings.time_s[0])} to {date(readings.time_s[-1])}"
    return {"what": what, "sha256": sha256_of_bytes(whole)}


def date(time_s: float) -> str:
    """Unix time [s] as ISO 8601."""
    return datetime.fromtimestamp(float(time_s), UTC).isoformat(timespec="seconds")
