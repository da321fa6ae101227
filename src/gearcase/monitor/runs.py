"""The run state of a watched drive as the rounds come in, and how much of its run was judged.

Rows lie on the clock that only goes on, so that a clock set back or forward changes no run state. Those of the last half hour are
taken up again from the store after an absence.
"""

import math
from collections import deque
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from gearcase.drive.train import Drive
from gearcase.judge.operating import DIRECTION
from gearcase.judge.steady import run_states
from gearcase.record.store import Store
from gearcase.stages.minutes import SETTLED_SLOPE, SPEED_BAND, STANDSTILL, SUMP

__all__ = ["RUNNING", "Runs", "turns"]

RUNNING = ("starting", "reversing", "settling", "steady")
_LOOK_BACK = 1900.0  # s of run state, a little more than the alarm's own memory
_ROW_EVERY = 5.0  # s between rows of it
_LONGEST_GAP = 120.0  # s; readings further apart belong to no common run


class Runs:
    """Run state, speed, and minutes.

    Attributes
    ----------
    state : str
        As `judge.steady` labels it.
    speed_hz : float or None
        Of the input, as last read. [Hz]
    """

    def __init__(self) -> None:
        self.state = "unknown"
        self.speed_hz: float | None = None
        self._rows: deque[tuple[float, ...]] = deque()  # tick, running, speed, oil, direction
        self._at: float | None = None
        self._run_s = 0.0
        self._judged_s: dict[str, float] = {}

    def recall(self, store: Store, now: float, ticks: float) -> None:
        """The last half hour as the store has it, so that a short absence does not start the settling anew."""
        kept = store.readings(since=now - _LOOK_BACK, until=now)
        inputs = (("", "running"), ("", "speed"), (SUMP, "temperature"), ("", DIRECTION))
        columns = [(kept.point == point) & (kept.quantity == quantity) for point, quantity in inputs]
        moments, at = np.unique(kept.time_s, return_inverse=True)
        told = np.bincount(at[np.logical_or.reduce(columns)], minlength=len(moments))
        for moment in moments[told == told.max(initial=0)]:  # those of a round, not what came in with a time of its own
            tick = float(moment) - now + ticks
            if self._rows and tick - self._rows[-1][0] < _ROW_EVERY:
                continue
            found = (kept.value[(kept.time_s == moment) & column] for column in columns)
            self._rows.append((tick, *_known(*(float(value[0]) if value.size else None for value in found))))

    def take(
        self,
        running: float | None,
        speed_hz: float | None,
        oil: float | None,
        direction: float | None = None,
        *,
        drive: Drive,
        ticks: float,
    ) -> str:
        """The run state with what this round says at `ticks`: run contact, speed [Hz], oil temperature [K], direction. [s]"""
        self.speed_hz = speed_hz
        row = (ticks, *_known(running, speed_hz, oil, direction))
        changed = not self._rows or not all(_same(row[n], self._rows[-1][n]) for n in (1, 4))
        if self._rows and ticks <= self._rows[-1][0]:
            return self.state
        if changed or ticks - self._rows[-1][0] >= _ROW_EVERY:
            self._rows.append(row)
            while ticks - self._rows[0][0] > _LOOK_BACK:
                self._rows.popleft()
            time_s, contact, speeds, temperatures, directions = (np.array(column) for column in zip(*self._rows, strict=True))
            states = run_states(
                time_s,
                running=contact,
                speed_hz=speeds,
                temperature_k=temperatures,
                direction=directions,
                speed_band=SPEED_BAND,
                least_speed_hz=STANDSTILL * drive.speed_hz[0],
                slope_limit=SETTLED_SLOPE,
                longest_gap=_LONGEST_GAP,
            )
            self.state = str(states.labels[-1])
        return self.state

    def count(self, judged: Iterable[str], ticks: float) -> None:
        """Count the time since the round before as run time, and as judged time of the points that were judged."""
        passed = min(ticks - self._at, _LONGEST_GAP) if self._at is not None else 0.0
        self._at = ticks
        if self.state not in RUNNING or passed <= 0:
            return
        self._run_s += passed
        for point in judged:
            self._judged_s[point] = self._judged_s.get(point, 0.0) + passed

    def duty(self, points: Iterable[str]) -> Mapping[str, Any]:
        """Run minutes of this watch, and of them the judged minutes of each point."""
        judged = {point: round(self._judged_s.get(point, 0.0) / 60, 1) for point in points}
        return {"run_minutes": round(self._run_s / 60, 1), "judged_minutes": judged}


def turns(state: str) -> bool | None:
    """Whether the drive turns in a run state; None where nobody knows."""
    return None if state == "unknown" else state in RUNNING


def _known(*values: float | None) -> tuple[float, ...]:
    return tuple(math.nan if value is None else value for value in values)


def _same(one: float, other: float) -> bool:
    return one == other or (math.isnan(one) and math.isnan(other))
