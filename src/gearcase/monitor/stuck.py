"""Whether a sensor still measures: figures that stand still to the last digit for longer than theirs ever do.

A sensor whose program hangs may go on answering, heartbeat and all, with what it measured last. What a running drive shakes by
differs from poll to poll, by how much and how often its resolution and averaging say. So the sensor's own past is the measure: by
how often all figures of a point changed from one poll to the next, at levels alike, so many changes are overdue. The same figures
while the drive ran and long after it has stopped are stuck whatever their past. A temperature alone may well stand still: of a
device that gives nothing else this says nothing.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from gearcase.record.store import Event, Reading
from gearcase.stages.minutes import BAND, OVERALL

__all__ = ["MOVES", "STUCK", "Stuck"]

STUCK, MOVES = "sensor stuck", "sensor moves"  # kinds of the diary's entries
_OVERDUE = 30.0  # changes that did not come: e^-30 where they come by chance; this and all below: common practice, no source
_AT_LEAST = 600.0  # s
_KNOWN_BY = 60  # polls from which it is known how often figures change
_FORGETS = 5000  # polls
_STANDING = 30  # polls with figures of a running drive after it has stopped

_Figures = tuple[tuple[str, float], ...]


@dataclass
class _Point:
    """The figures a point showed last: for how many polls of the running drive since the first, of the standing one, and when that
    first was [s]; and by octave of level, in how many polls how many changes came.
    """

    figures: _Figures = ()
    polls: int = 0
    standing: int = 0
    since: float = 0.0
    stuck: bool = False
    past: dict[int, tuple[float, float]] = field(default_factory=dict)


class Stuck:
    """The figures of every point that shakes. Times are those of the clock that only goes on. [s]"""

    def __init__(self) -> None:
        self._points: dict[str, _Point] = {}

    def remember(self, event: Event) -> None:
        """What an earlier watch found: stuck until it moves."""
        if event.kind in (STUCK, MOVES):
            self._points.setdefault(event.point, _Point()).stuck = event.kind == STUCK

    def believe(
        self, readings: Iterable[Reading], *, running: bool | None, ticks: float
    ) -> tuple[list[Reading], list[tuple[str, str, str]]]:
        """The polled readings of a round, those of a stuck sensor as bad; and what has changed: kind, point, what is to be said.
        `running`: whether the drive turns, None where nobody knows.
        """
        rows = list(readings)
        figures: dict[str, dict[str, float]] = {}
        for one in rows:
            if one.point and one.quality == "good" and one.value is not None:
                figures.setdefault(one.point, {})[one.quantity] = one.value
        said = []
        for point, found in figures.items():
            if OVERALL in found or BAND in found:
                state = self._points.setdefault(point, _Point())
                before = state.stuck
                self._look(state, tuple(sorted(found.items())), running, ticks)
                if state.stuck != before:
                    says = (
                        f"the same figures to the last digit for {_span(ticks - state.since)}: it answers and does not measure; "
                        "take its supply away and give it back, and prove it again"
                        if state.stuck
                        else "its figures move again"
                    )
                    said.append((STUCK if state.stuck else MOVES, point, says))
        return [replace(one, quality="bad") if self._is_stuck(one) else one for one in rows], said

    def _is_stuck(self, one: Reading) -> bool:
        return one.quality == "good" and one.point in self._points and self._points[one.point].stuck

    def _look(self, state: _Point, figures: _Figures, running: bool | None, ticks: float) -> None:
        if figures != state.figures:
            if [name for name, _ in figures] == [name for name, _ in state.figures]:  # with one more or less it is no change
                self._moved(state)
                state.stuck = False
            state.figures, state.polls, state.standing, state.since = figures, int(running is True), 0, ticks
            return
        if running:
            state.polls += 1
        elif running is False and state.polls:
            state.standing += 1
        polls, changes = state.past.get(_octave(figures), (0.0, 0.0))
        overdue = polls >= _KNOWN_BY and state.polls * changes / polls >= _OVERDUE
        if (overdue or state.standing >= _STANDING) and ticks - state.since >= _AT_LEAST:
            state.stuck = True

    def _moved(self, state: _Point) -> None:
        """Count a change, and the polls of the running drive that it took; none of what was stuck."""
        if not state.polls or state.stuck:
            return
        octave = _octave(state.figures)
        polls, changes = state.past.get(octave, (0.0, 0.0))
        share = 0.5 if polls > _FORGETS else 1.0
        state.past[octave] = share * polls + state.polls, share * changes + 1


def _octave(figures: _Figures) -> int:
    """Of the level: a drive that runs gently moves the last digit less often."""
    level = next((value for name in (OVERALL, BAND) for quantity, value in figures if quantity == name), 0.0)
    return round(math.log2(level)) if level > 0 else -1000


def _span(seconds: float) -> str:
    return f"{seconds / 60:.0f} min" if seconds < 7200 else f"{seconds / 3600:.1f} h"
