"""Telling people: what stands is held against what was told, and messages go out, are tried again, and are never lost or told
twice.

The diary is the queue. A message that is decided on is an entry, ``notice``; that it has arrived at somebody is another, ``notice
sent``. Nothing is sent before its entry is kept, and a watch that is started again takes up what was decided on and has not
arrived. Only where it is killed between an arrival and its entry is a message sent a second time, with the same id.

A message that does not arrive is tried again after 5 s, 10 s and so on up to ten minutes, for three days; each address waits for
itself alone.
"""

import asyncio
import uuid
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

from gearcase import units
from gearcase.device.messages import Message, NotSent, Sender, by_mail, by_webhook
from gearcase.job.build import Job
from gearcase.judge import alarm, notices
from gearcase.judge.advice import breaking_urgency, urgency
from gearcase.judge.notices import LEVELS, OVER, Notice, Standing, Told
from gearcase.monitor.alarms import Say
from gearcase.record.store import Event
from gearcase.stages.minutes import UNITS

__all__ = ["MOST_WAITING", "Notifying", "message_of", "sender_to", "standing_of"]

MOST_WAITING = 200  # messages; beyond it the oldest that are not of a danger are given up
_FIRST_WAIT, _LONGEST_WAIT = 5.0, 600.0  # s; this and below: common practice, no source
_GIVE_UP = 3 * 86400.0
_ONE_TRY = 60.0  # s on the wall
_KINDS = {"m/s": ("velocity", "mm/s"), "K": ("temperature", "°C"), "m/s2": ("acceleration", "m/s2")}
_HEADS = {"danger": "DANGER", "abnormal": "abnormal", "cannot tell": "cannot tell", OVER: "over"}
_GROWTH_WORTH_A_LOOK = 7.0  # dB: an alarm without a named fault asks for a look


@dataclass
class _Waiting:
    """A message on its way to one person."""

    message: Message
    to: str
    danger: bool
    since: float


@dataclass
class _Late:
    """A person who could not be reached: how long to wait before the next try, and when that is."""

    wait: float
    next_s: float


class Notifying:
    """Who was told what, and what is on its way. Times are those of the clock that only goes on. [s]"""

    def __init__(self, say: Say) -> None:
        self._say = say
        self._told: dict[str, Told] = {}
        self._waiting: dict[tuple[str, str], _Waiting] = {}
        self._late: dict[str, _Late] = {}

    @property
    def trouble(self) -> str:
        """Who could not be reached, empty where everybody was."""
        return f"could not reach {', '.join(sorted(self._late))}; it is tried again" if self._late else ""

    def remember(self, event: Event, now: float, ticks: float) -> None:
        """Take up what was told, and what has not arrived."""
        given = event.details
        if event.kind == "notice":
            at = min(event.time_s, now) - now + ticks
            for line in given["lines"]:
                self._recall(line, frozenset(given["to"]), bool(given["again"]), at)
        self.hear(event, ticks)

    def hear(self, event: Event, ticks: float) -> None:
        """An entry that is kept: a message that may go out, or one that needs to no more."""
        given = event.details
        if event.kind == "notice":
            message = Message(given["id"], event.time_s, given["subject"], given["text"], {"lines": given["lines"]})
            danger = any(line["level"] == "danger" for line in given["lines"])
            for name in given["to"]:
                self._waiting[given["id"], name] = _Waiting(message, name, danger, ticks)
        elif event.kind in ("notice sent", "notice given up"):
            self._waiting.pop((given["notice"], given["to"]), None)

    def look(
        self,
        job: Job,
        standing: Iterable[Standing],
        *,
        shelved: Iterable[str],
        maintenance: bool,
        cannot_see: Iterable[str],
        ticks: float,
    ) -> None:
        """Decide on what is to be told now."""
        rules = job.notify.rules
        self._told, decided = notices.step(self._told, standing, ticks, rules=rules, shelved=shelved, maintenance=maintenance)
        for notice in decided:
            subject, text = message_of(job, notice, cannot_see)
            lines = [{**asdict(line)} for line in notice.lines]
            details = {"id": uuid.uuid4().hex, "to": list(notice.to), "again": notice.again, "lines": lines, "subject": subject}
            self._say("notice", "", f"{', '.join(notice.to)}: {subject}", None, {**details, "text": text}, "")

    async def send(self, job: Job, ticks: Callable[[], float]) -> bool:
        """Send what waits and is due, each address beside the others. Returns whether anything was due."""
        self._bound()
        due: dict[str, list[_Waiting]] = {}
        for one in self._waiting.values():
            if one.to not in self._late or self._late[one.to].next_s <= ticks():
                due.setdefault(one.to, []).append(one)
        await asyncio.gather(*(self._to(job, name, rows, ticks) for name, rows in due.items()))
        return bool(due)

    async def _to(self, job: Job, name: str, rows: list[_Waiting], ticks: Callable[[], float]) -> None:
        send = sender_to(job, name)
        for one in rows:
            if send is None:
                self._give_up(one, "is not listed at notify.people any more")
                continue
            try:
                async with asyncio.timeout(_ONE_TRY):
                    await send(one.message)
            except (NotSent, TimeoutError) as error:
                self._failed(one, str(error) or f"no answer within {_ONE_TRY:.0f} s", ticks())
                return  # the same way is not tried for the next
            self._late.pop(name, None)
            self._done(one, "notice sent", f"{one.to}: {one.message.subject}")

    def _failed(self, one: _Waiting, why: str, ticks: float) -> None:
        late = self._late.get(one.to)
        if late is None:
            self._say("notice late", "", f"{one.to}: {why}; it is tried again", None, {"notice": one.message.id, "to": one.to}, "")
        wait = min(2 * late.wait, _LONGEST_WAIT) if late else _FIRST_WAIT
        self._late[one.to] = _Late(wait, ticks + wait)
        if ticks - one.since >= _GIVE_UP:
            self._give_up(one, why)

    def _give_up(self, one: _Waiting, why: str) -> None:
        self._done(one, "notice given up", f"{one.to}: {one.message.subject}: {why}")

    def _done(self, one: _Waiting, kind: str, says: str) -> None:
        self._waiting.pop((one.message.id, one.to), None)
        if not any(other.to == one.to for other in self._waiting.values()):
            self._late.pop(one.to, None)
        self._say(kind, "", says, None, {"notice": one.message.id, "to": one.to}, "")

    def _bound(self) -> None:
        """However long a server is away, what waits for it has an end."""
        while len(self._waiting) > MOST_WAITING:
            rows = list(self._waiting.values())
            self._give_up(next((one for one in rows if not one.danger), rows[0]), f"more than {MOST_WAITING} wait")

    def _recall(self, line: Mapping[str, Any], to: frozenset[str], again: bool, at: float) -> None:
        level, before = str(line["level"]), self._told.get(line["subject"], Told())
        if level == OVER:
            self._told.pop(line["subject"], None)
        elif level == before.level:
            self._told[line["subject"]] = replace(before, to=before.to | to, last_s=at if again else before.last_s)
        else:
            self._told[line["subject"]] = Told(level, to, at, at, level, at)


def sender_to(job: Job, name: str) -> Sender | None:
    """How a person of the job is reached; None where the job has no such person."""
    notify = job.notify
    if name in notify.addresses and notify.mail is not None:
        return by_mail(notify.mail, notify.addresses[name])
    hook = next((one for one in notify.webhooks if one.name == notify.hooks.get(name)), None)
    return by_webhook(hook) if hook else None


def standing_of(rows: Iterable[Mapping[str, Any]], named: Mapping[str, Mapping[str, Any]], cannot: Iterable[str]) -> list[Standing]:
    """What stands, from the alarms as `Watch.conditions` gives them, faults named by point, and what of the watch does not work."""
    found: dict[str, Standing] = {}
    for row in rows:
        one = _fault(row, named.get(row["point"], {})) if row["quantity"] == "diagnosis" else _alarm(row)
        before = found.get(one.subject) if one else None
        if one and (before is None or _pressing(one) < _pressing(before)):
            found[one.subject] = one
    for says in cannot:
        part, _, how = says.partition(": ")
        found[part] = Standing(part, "cannot tell", f"{part}: {how}", "", "put it right: what it says or shows cannot be relied on")
    return list(found.values())


def message_of(job: Job, notice: Notice, cannot_see: Iterable[str]) -> tuple[str, str]:
    """Subject and text of a message, in a technician's words: what, how sure, act by when, what cannot be seen."""
    first = notice.lines[0]
    tag = job.site.get("drive_tag") or job.title
    more = f" and {len(notice.lines) - 1} more" if len(notice.lines) > 1 else ""
    again = "again: " if notice.again else ""
    subject = f"{tag}: {again}{_HEADS[first.level]}: {first.subject}{more}"
    parts = []
    for line in notice.lines:
        words = [f"{_HEADS[line.level]}: {line.subject if line.level == OVER else line.says}"]
        words += [f"  how sure: {line.sure}"] if line.sure else []
        words += [f"  act: {line.act}"] if line.act else []
        parts.append("\n".join(words))
    parts += list(notice.remarks)
    unseen = list(cannot_see)
    if unseen and first.level != OVER:
        parts.append("what cannot be seen:\n" + "\n".join(f"  {one}" for one in unseen))
    if any(line.level == "danger" and not line.acknowledged for line in notice.lines):
        every = f"{job.notify.rules.again / 60:.0f} min"
        parts.append(f"Told again every {every} until somebody acknowledges: gearcase acknowledge JOB --by NAME")
    parts.append("Nothing here trips the machine. Isolate and lock out before anybody reaches in; local rules come first.")
    return subject, f"{job.title}\n\n" + "\n\n".join(parts) + "\n"


def _pressing(one: Standing) -> tuple[int, bool]:
    """The most pressing first; of two alike the one that nobody has seen."""
    return LEVELS.index(one.level), one.acknowledged


def _alarm(row: Mapping[str, Any]) -> Standing | None:
    condition, subject = str(row["condition"]), f"{row['point']}, {row['quantity']}"
    seen = condition.endswith("acknowledged")
    if condition.startswith("danger"):
        witness = "and a second witness agrees" if alarm.RULES[row["quantity"]].witness else "and it persists"
        says = f"{subject} over danger{_value(row, 'danger')}"
        return Standing(subject, "danger", says, f"the level stood over its limit, {witness}", breaking_urgency(2), seen)
    if condition.startswith("yellow"):
        says = f"{subject} over yellow{_value(row, 'yellow')}"
        sure = "the level persists; what makes it is not named: a level tells that, not what"
        return Standing(subject, "abnormal", says, sure, urgency(1, _GROWTH_WORTH_A_LOOK), seen)
    if row["lost"]:
        return Standing(
            row["point"], "cannot tell", f"{row['point']}: {row['lost']}", "", "look at the device, its cable and supply"
        )
    return None


def _fault(row: Mapping[str, Any], about: Mapping[str, Any]) -> Standing:
    subject = f"{row['point']}, {row['condition']}"
    sure = ["two records name it"]
    if about.get("noise_false_alarm") is not None:
        sure.append(f"odds that noise made it {about['noise_false_alarm']:.2g}")
    if about.get("attribution_false_alarm") is not None:
        sure.append(f"that another source did {about['attribution_false_alarm']:.2g}")
    return Standing(
        subject, "abnormal", f"{row['point']}: {row['condition']}", "; ".join(sure), str(about.get("urgency") or urgency(1))
    )


def _value(row: Mapping[str, Any], level: str) -> str:
    value, limit, unit = row["value"], row[level], UNITS.get(row["quantity"], "-")
    if value is None or limit is None or unit not in _KINDS:
        return ""
    kind, shown = _KINDS[unit]
    return f": {units.show(value, kind, shown)}, limit {units.show(limit, kind, shown)}"
