"""Diagnosing a watched drive: on change and once a day, each record judged beside the rounds; a fault is named by two that agree.

What a diagnosis cannot judge, or breaks at, is named, and the next goes on.
"""

import asyncio
import math
from collections import deque
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from gearcase.job.build import Job
from gearcase.monitor.alarms import Say
from gearcase.monitor.in_force import EVIDENCE
from gearcase.record.store import Event, Reading
from gearcase.signal.recording import Recording

__all__ = ["SECOND_RECORD", "Diagnoser", "Diagnosing"]

_TWICE, _NEED, _OF = 2.0, 3, 4  # times its baseline, in so many of the last readings
SECOND_RECORD = 60.0  # s until the record that must agree
_DAILY = 24 * 3600.0  # s; this and the next: common practice, no source
_STANDS_FOR = 2 * _DAILY
_EXCHANGES = ("bearing changed", "overhaul")
_MOST_SAID = 5  # of what a record could not tell

Diagnoser = Callable[[Job, Sequence[Recording]], dict[str, Any]]
"""Judges recordings of one point together and keeps the result: its ``diagnose/1`` document."""


class Diagnosing:
    """Which points want a diagnosis, what was suspected, what was named.

    Attributes
    ----------
    named : dict
        Point -> (component, fault) that two records agree on, until an epoch.
    about : dict
        Point -> urgency and odds of what was named there.
    """

    def __init__(self, diagnose: Diagnoser, say: Say, ticks: float) -> None:
        self.named: dict[str, tuple[str, str]] = {}
        self.about: dict[str, dict[str, Any]] = {}
        self._diagnose, self._say, self._began = diagnose, say, ticks
        self._wanted: dict[str, float] = {}
        self._suspected: dict[str, tuple[str, str]] = {}
        self._evidence: dict[str, deque[bool]] = {}
        self._judged: dict[str, float] = {}
        self._told: dict[str, float] = {}  # when a point's diagnosis last told something, be it that no fault is seen

    def remember(self, event: Event, now: float, ticks: float) -> None:
        """Take up what an earlier watch has found, or what a person declared since."""
        if event.kind == "fault named":
            self.named[event.point] = (str(event.details["component"]), str(event.details["fault"]))
            self.about[event.point] = event.details
        elif event.kind == "epoch":
            self.hear(event)
        elif event.kind == "diagnosis":
            self._judged[event.point] = min(event.time_s, now) - now + ticks
            self._heard(event.point, event.details, self._judged[event.point])

    def hear(self, event: Event) -> None:
        """An epoch takes back what was named at its point; of the whole drive only one that exchanges what was named."""
        if event.kind == "epoch" and event.point:
            self.named.pop(event.point, None)
        elif event.kind == "epoch" and event.says.startswith(_EXCHANGES):
            self.named.clear()

    def look(self, readings: Iterable[Reading], usual: Mapping[str, float], ticks: float) -> None:
        """Evidence of change: high-frequency acceleration at twice its baseline in three settled readings of the last four."""
        for one in readings:
            if one.quantity != EVIDENCE or one.value is None or one.quality != "good" or one.point not in usual:
                continue
            last = self._evidence.setdefault(one.point, deque(maxlen=_OF))
            last.append(one.value > _TWICE * usual[one.point])
            if sum(last) >= _NEED and one.point not in self._suspected and one.point not in self.named:
                self.want(one.point, ticks)
                last.clear()

    def untold(self, point: str, ticks: float) -> bool:
        """Whether no diagnosis stands of a point: none yet, the last could not tell or failed, or it is older than two days."""
        return ticks - self._told.get(point, -math.inf) > _STANDS_FOR

    def want(self, point: str, ticks: float) -> None:
        """Something changed at a point."""
        self._wanted.setdefault(point, ticks)

    def due(self, ticks: float) -> str | None:
        """A point whose record is to be judged now."""
        return min((point for point, at in self._wanted.items() if at <= ticks), default=None)

    def wants(self, point: str, ticks: float) -> bool:
        """Whether a record that was taken of a point is to be judged whole: it is asked for, or the last is a day old."""
        asked = self._wanted.get(point, math.inf) <= ticks
        return asked or ticks - self._judged.get(point, self._began) >= _DAILY

    def later(self, point: str, ticks: float) -> None:
        """There was no record to be had: asked again in a minute."""
        self._wanted[point] = ticks + SECOND_RECORD

    def drop(self, point: str) -> None:
        """No sensor there delivers records."""
        self._wanted.pop(point, None)

    async def judge(self, job: Job, taken: Sequence[Recording], ticks: float) -> None:
        """Judge the records of one point that were taken together, beside the rounds."""
        point = taken[0].point
        self._wanted.pop(point, None)
        self._judged[point] = ticks
        try:
            document = await asyncio.to_thread(self._diagnose, job, taken)
        except Exception as error:  # whatever one record breaks, the next may be judged
            self._suspected.pop(point, None)
            self._told.pop(point, None)
            names = ", ".join(dict.fromkeys(one.name for one in taken))
            says = f"{names} could not be judged, a fault of the record or of the program: {type(error).__name__}: {error}"
            self._say("diagnosis failed", point, says, None, {}, "")
            return
        verdicts = document["verdicts"]
        found = [(verdict["component"], verdict["fault"]) for verdict in verdicts]
        details = {
            "verdicts": [list(one) for one in found],
            "urgency": verdicts[0].get("urgency", "") if verdicts else "",
            "cannot_tell": list(document.get("cannot_tell", ()))[:_MOST_SAID],
        }
        self._say("diagnosis", point, document["statement"], None, details, "")
        self._heard(point, details, ticks)
        self._agree(point, found, verdicts, ticks)

    def _heard(self, point: str, details: Mapping[str, Any], at: float) -> None:
        """What a diagnosis told: something, unless it names nothing and could not tell."""
        if details.get("verdicts") or not details.get("cannot_tell"):
            self._told[point] = at
        else:
            self._told.pop(point, None)

    def _agree(self, point: str, found: list[tuple[str, str]], verdicts: list[dict[str, Any]], ticks: float) -> None:
        suspected = self._suspected.pop(point, None)
        if suspected is not None and suspected in found:
            part, fault = self.named[point] = suspected
            verdict = verdicts[found.index(suspected)]
            kept = ("urgency", "noise_false_alarm", "attribution_false_alarm", "maturity")
            details = {"component": part, "fault": fault, **{name: verdict[name] for name in kept if name in verdict}}
            self.about[point] = details
            self._say("fault named", point, f"{fault.replace('_', ' ')} fault of {part}, named by two records", None, details, "")
        elif found and point not in self.named:
            self._suspected[point] = found[0]
            self._wanted[point] = ticks + SECOND_RECORD
