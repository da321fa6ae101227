"""Diagnosing a watched drive: on change and once a day, each record judged beside the rounds; a fault is named by two that agree.

What is judged as it comes in, by post, broker or folder, is heard from the diary and counts alike: of a point two recordings one
after the other that agree name a fault. One that is older than a month, or than the last epoch, says nothing of the drive as it is.

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

__all__ = ["SECOND_RECORD", "Diagnoser", "Diagnosing", "details_of"]

_TWICE, _NEED, _OF = 2.0, 3, 4  # times its baseline, in so many of the last readings
SECOND_RECORD = 60.0  # s until the record that must agree
_DAILY = 24 * 3600.0  # s; this and the next: common practice, no source
_STANDS_FOR = 2 * _DAILY
_EXCHANGES = ("bearing changed", "overhaul")
_MOST_SAID = 5  # of what a record could not tell
_OLDEST = 31 * 86400.0  # s, of a recording that came in; common practice, no source
_KEPT = ("component", "fault", "urgency", "noise_false_alarm", "attribution_false_alarm", "maturity")

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
        self._epoch_s = -math.inf
        self._evidence: dict[str, deque[bool]] = {}
        self._judged: dict[str, float] = {}
        self._told: dict[str, float] = {}  # when a point's diagnosis last told something, be it that no fault is seen

    def remember(self, event: Event, now: float, ticks: float) -> None:
        """Take up what an earlier watch has found, or what a person declared since."""
        if event.kind == "fault named":
            self.named[event.point] = (str(event.details["component"]), str(event.details["fault"]))
            self.about[event.point] = event.details
        elif event.kind == "epoch":
            self.hear(event, ticks)
        elif event.kind == "diagnosis" and "sha256" in event.details:
            self._came_in(event, min(event.time_s, now) - now + ticks, say=False)
        elif event.kind == "diagnosis":
            self._judged[event.point] = min(event.time_s, now) - now + ticks
            self._heard(event.point, event.details, self._judged[event.point])

    def hear(self, event: Event, ticks: float) -> None:
        """An epoch takes back what was named at its point; of the whole drive only one that exchanges what was named. And what a
        recording that came in shows.
        """
        if event.kind == "diagnosis" and "sha256" in event.details:
            self._came_in(event, ticks, say=True)
        if event.kind == "epoch":
            self._epoch_s = max(self._epoch_s, event.time_s)
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
        details = details_of(document)
        self._say("diagnosis", point, document["statement"], None, details, "")
        self._heard(point, details, ticks)
        if self._agree(point, details["found"]):
            self._wanted[point] = ticks + SECOND_RECORD

    def _heard(self, point: str, details: Mapping[str, Any], at: float) -> None:
        """What a diagnosis told: something, unless it names nothing and could not tell."""
        if details.get("verdicts") or not details.get("cannot_tell"):
            self._told[point] = at
        else:
            self._told.pop(point, None)

    def _came_in(self, event: Event, ticks: float, *, say: bool) -> None:
        """A recording that was judged as it came in; what an earlier watch named of it stands in the diary by itself."""
        given = event.details
        since = given.get("taken_s")
        if not event.point or (since is not None and since < max(self._epoch_s, event.time_s - _OLDEST)):
            return
        self._heard(event.point, given, ticks)
        if say:
            self._agree(event.point, given.get("found", ()))
        else:
            found = [(str(one["component"]), str(one["fault"])) for one in given.get("found", ())]
            self._suspected.pop(event.point, None)
            if found and event.point not in self.named:
                self._suspected[event.point] = found[0]

    def _agree(self, point: str, verdicts: Sequence[Mapping[str, Any]]) -> bool:
        """Name what two agree on. Returns whether a second record should say whether what this one shows is so."""
        found = [(str(verdict["component"]), str(verdict["fault"])) for verdict in verdicts]
        suspected = self._suspected.pop(point, None)
        if suspected is not None and suspected in found:
            part, fault = self.named[point] = suspected
            details = self.about[point] = dict(verdicts[found.index(suspected)])
            self._say("fault named", point, f"{fault.replace('_', ' ')} fault of {part}, named by two records", None, details, "")
        elif found and point not in self.named:
            self._suspected[point] = found[0]
            return True
        return False


def details_of(document: Mapping[str, Any]) -> dict[str, Any]:
    """What the diary keeps of a ``diagnose/1`` document."""
    verdicts = document.get("verdicts", ())
    found = [{name: verdict[name] for name in _KEPT if name in verdict} for verdict in verdicts]
    return {
        "verdicts": [[one["component"], one["fault"]] for one in found],
        "found": found,
        "urgency": found[0].get("urgency", "") if found else "",
        "cannot_tell": list(document.get("cannot_tell", ()))[:_MOST_SAID],
    }
