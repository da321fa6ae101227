"""What the diary asks about: a level that steps across a stop or while the drive runs, and a clock that jumps.

Levels are gathered in blocks of readings at steady state. A block that stands half as high again as the one before, or lower by as
much, at the same speed and load, is a step: growth is slower. Across a stop the block before it is compared with the first after
it. Nobody having declared why, the diary asks, and says whether other points stepped too: one alone is rather its sensor, its
mount or its bearing; all together are rather the load, the oil or the coupled machine. An answer is a person's entry.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from gearcase.monitor.alarms import Say
from gearcase.monitor.in_force import EVIDENCE
from gearcase.record.store import Event, Reading
from gearcase.stages.minutes import OVERALL, SPEED_BAND

__all__ = ["Clocks", "Steps", "open_questions"]

_STEP = 1.5  # ratio of a level that is asked about; this and all below: common practice, no source
_TOO = 1.25  # ratio from which another point counts as having stepped too
_BLOCK = 12  # readings
_LOAD_BAND = 0.1
_TOGETHER = 600.0  # s within which two points step together
_JUMP, _DRIFT = 2.0, 0.01  # s, and share of the time passed, by which two clocks may differ from round to round
_ASKED = (EVIDENCE, OVERALL)

_Key = tuple[str, str]


@dataclass
class _Level:
    """Settled readings of one quantity at one point: the block being filled, the last two full ones, and the one before a stop."""

    filling: list[tuple[float, float, float]] = field(default_factory=list)  # value, speed, load
    blocks: list[tuple[float, float, float]] = field(default_factory=list)  # their medians
    before_stop: tuple[float, float, float] | None = None


class Steps:
    """Steps of level that nobody has declared."""

    def __init__(self, say: Say) -> None:
        self._say = say
        self._levels: dict[_Key, _Level] = {}
        self._ratio: dict[_Key, tuple[float, float]] = {}  # when a block was last compared, and how

    def take(self, readings: Iterable[Reading], *, speed_hz: float | None, load: float | None, now: float) -> None:
        """Readings of a round at steady state; what is not known of speed and load counts as the same."""
        at = (math.nan if speed_hz is None else speed_hz, math.nan if load is None else load)
        full = []
        for one in readings:
            if one.quantity not in _ASKED or one.value is None or one.quality != "good":
                continue
            level = self._levels.setdefault((one.point, one.quantity), _Level())
            level.filling.append((one.value, *at))
            if len(level.filling) == _BLOCK:
                full.append((one.point, one.quantity))
        stepped = [(key, *found) for key in full if (found := self._close(key, now)) is not None]
        for key, ratio, across in stepped:
            self._ask(key, ratio, across, now)

    def stopped(self) -> None:
        """The drive stands: what was before is compared with what comes after."""
        for level in self._levels.values():
            rows = level.filling if len(level.filling) > _BLOCK // 2 or not level.blocks else []
            level.before_stop = _median(rows) if rows else level.blocks[-1] if level.blocks else level.before_stop
            level.filling, level.blocks = [], []

    def declared(self) -> None:
        """Somebody has said what changed: nothing before it is compared."""
        self._levels.clear()

    def _close(self, key: _Key, now: float) -> tuple[float, bool] | None:
        """Compare a full block with the ones before: its ratio and whether across a stop, where it is a step."""
        level = self._levels[key]
        block, level.filling = _median(level.filling), []
        across = level.before_stop is not None
        before = [level.before_stop] if level.before_stop is not None else level.blocks
        ratios = [block[0] / one[0] for one in before if one[0] > 0 and block[0] > 0 and _alike(block, one)]
        ratio = max(ratios, key=lambda one: abs(math.log(one)), default=1.0)
        self._ratio[key] = (now, ratio)
        level.before_stop = None
        step = max(ratio, 1 / ratio) > _STEP
        level.blocks = [block] if step else [*level.blocks, block][-2:]  # a step may fall inside a block: two before are looked at
        return (ratio, across) if step else None

    def _ask(self, key: _Key, ratio: float, across: bool, now: float) -> None:
        point, quantity = key
        others = sorted(
            {
                other[0]
                for other, (when, theirs) in self._ratio.items()
                if other[0] != point and abs(now - when) <= _TOGETHER and max(theirs, 1 / theirs) > _TOO
            }
        )
        when = "across the stop" if across else "while the drive ran at the same speed and load"
        why = (
            f"so did {', '.join(others)}: another product or load, cold oil, the coupled machine?"
            if others
            else "no other point did: was the sensor moved or replaced, is it loose, was a part exchanged or oil changed?"
        )
        says = (
            f"{quantity} stepped to {ratio:.2f} times what it was, {when}, and nobody declared why; {why} Declare it: gearcase "
            "epoch, or answer: gearcase answer"
        )
        self._say("question", point, says, now, {"quantity": quantity, "ratio": round(ratio, 3)}, "")


class Clocks:
    """The clock on the wall against the one that only goes on."""

    def __init__(self, say: Say) -> None:
        self._say = say
        self._last: tuple[float, float] | None = None

    def look(self, now: float, ticks: float) -> float:
        """By how much the clock jumped since the last look, 0 where it did not; a jump is asked about. [s]"""
        last, self._last = self._last, (now, ticks)
        if last is None:
            return 0.0
        passed = ticks - last[1]
        jump = now - last[0] - passed
        if abs(jump) <= _JUMP + _DRIFT * passed:
            return 0.0
        way = "forward" if jump > 0 else "back"
        says = (
            f"the clock went {way} by {_span(abs(jump))}; readings from here on carry the new time, rounds went on as before. Was "
            "it set, did the computer sleep? Answer: gearcase answer"
        )
        self._say("question", "", says, now, {"clock_jump_s": round(jump, 1)}, "")
        return jump


def open_questions(events: Iterable[Event]) -> list[Event]:
    """Questions that nobody has answered and no epoch declared since explains."""
    asked: dict[int, Event] = {}
    for event in events:
        if event.kind == "question":
            asked[event.number] = event
        elif event.kind == "answer":
            asked.pop(int(event.details.get("question", 0)), None)
        elif event.kind == "epoch":
            asked = {
                number: one for number, one in asked.items() if event.point not in ("", one.point) or "ratio" not in one.details
            }
    return list(asked.values())


def _median(rows: list[tuple[float, float, float]]) -> tuple[float, float, float]:
    value, speed, load = (float(np.median(column)) for column in zip(*rows, strict=True))
    return value, speed, load


def _alike(one: tuple[float, float, float], other: tuple[float, float, float]) -> bool:
    """Whether two blocks were taken at the same speed and load, as far as they are known."""
    speeds = abs(one[1] - other[1]) > SPEED_BAND * abs(other[1])  # false where either is not known
    loads = abs(one[2] - other[2]) > _LOAD_BAND
    return not speeds and not loads


def _span(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 120 else f"{seconds / 60:.0f} min" if seconds < 7200 else f"{seconds / 3600:.1f} h"
