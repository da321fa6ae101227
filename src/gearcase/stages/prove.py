"""Prove: does each device answer, point right and tell the truth, and may I go home?

The steps run in the order of `STEPS`, for every device they concern, and each leaves one piece of evidence: passed, failed with its
cure, or open with what is missing. A device that does not answer leaves its later steps open and the others go on. Evidence is kept
as it comes and never overwritten; a run that was cut off is taken up again where it stopped, and what passed is not asked again
while what it rests on stays the same. Each year a shorter list is gone through again.

What has not passed makes the list of things that keep people from going home. One may go home when nothing failed, and what is
still open has an owner by name.
"""

import asyncio
from collections.abc import Awaitable, Callable, Collection, Iterator, Mapping, Sequence
from types import MappingProxyType
from typing import Any

from gearcase import tables
from gearcase.checksums import sha256_of_data
from gearcase.device.bus import RegisterBus
from gearcase.device.link_quality import LinkQuality
from gearcase.errors import BadReply, BadRequest, NoReply, OutOfRange
from gearcase.install.housing import BusDevice
from gearcase.install.profile import Profile
from gearcase.job.build import Job
from gearcase.stages.proving.basis import rests_on
from gearcase.stages.proving.session import INSTALLATION, Device, Key, Proving, Row, Said, failed, left_open
from gearcase.stages.proving.steps import PARTS, STEPS, Step
from gearcase.stages.result import StageResult

__all__ = ["INSTALLATION", "PARTS", "STEPS", "Said", "evidence_key", "keys", "run"]

_CAUTION = (
    "Tap, touch and look only with the drive locked out, proved still and cool enough to touch; a backstop may hold load torque. "
    "Stand clear of what turns when it runs. Mains work is for a licensed electrician; local codes and site rules come first."
)
_INSTALLATION = Device(BusDevice(INSTALLATION, 0, 0, 0.0), Profile("", {}))
_SILENT, _NONSENSE = "no reply", "nonsense"
_UNTRIED = (_SILENT, _NONSENSE)  # a failure of the link, which left the step itself untried
_NOT_ASKED = "not asked in this run"
Record = Mapping[str, Any]


def evidence_key(row: Mapping[str, Any]) -> Key:
    """What a piece of evidence is about: step and device."""
    return str(row["step"]), str(row["device"])


def keys(job: Job, *, yearly: bool = False) -> tuple[Key, ...]:
    """All that is to be proved of a job, in its order."""
    return tuple((name, one.device.name) for name, one in _list(_devices(job), yearly=yearly))


async def run(
    job: Job,
    bus: RegisterBus,
    *,
    polls: int,
    said: Said,
    kept: Sequence[Record],
    keep: Callable[[Row], Record],
    parts: Collection[int] = range(1, len(PARTS) + 1),
    yearly: bool = False,
    since: str = "",
    again: bool = False,
    links: Mapping[int, LinkQuality] = MappingProxyType({}),
    tell: Callable[[str], None] = lambda _: None,
    sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
) -> StageResult:
    """Prove the devices of a job.

    Parameters
    ----------
    job : Job
    bus : RegisterBus
    polls : int
        For the quality of each link.
    said : Said
    kept : sequence of mapping
        All evidence so far, each with ``who``, ``when`` and its ``entry``; what passed last and rests on the same is not asked
        again.
    keep : callable
        Takes each piece of evidence as it comes, before the next step begins, and gives it back with who and when.
    parts : collection of int
        Which of `PARTS` are asked now, from 1; the others stand as they are.
    yearly : bool
        The shorter list.
    since : str
        What passed before that time (ISO 8601) is asked again.
    again : bool
        So is what passed since.
    links : mapping
        Frames counted for each address, where the bus asks more than once before a device counts as silent.
    tell : callable
        Takes what is being done, and how far it is.
    sleep : callable
        Waits so many seconds.

    Returns
    -------
    StageResult
        Document ``prove/1``; `wrong` when a step failed.
    """
    records = list(kept)
    latest = {evidence_key(record["entry"]): record["entry"] for record in kept if str(record["when"]) >= since}
    devices = _devices(job)
    proving = Proving(job, bus, polls, said, sleep, tell, links, devices)
    for one in devices:
        await proving.greet(one)
    resting = {one.device.name: rests_on(job, one.device) for one in devices} | {INSTALLATION: _rests_on_all(job)}
    todo, rows = list(_list(devices, yearly=yearly)), []
    for number, (name, one) in enumerate(todo, start=1):
        step, key = STEPS[name], (name, one.device.name)
        before = latest.get(key)
        if before and (before["rests_on"], before["criterion"]) != (resting[one.device.name], step.criterion):
            before = None
        if _stands(before, step, key in said.answers, one, again=again) or step.part not in parts:
            rows.append(_row(name, one) | (before or {**left_open(_NOT_ASKED), "rests_on": resting[one.device.name]}))
            continue
        tell(f"{number} of {len(todo)}: {one.device.name}, {name}")
        row = {**_row(name, one), **await _ask(proving, step, one), "rests_on": resting[one.device.name]}
        if before and row["outcome"] == "open" and before["outcome"] == "open":  # no attempt
            rows.append(row)
            continue
        if before and row["outcome"] == "open" and before["outcome"] == "failed" and before["measured"] not in _UNTRIED:
            rows.append(_row(name, one) | before)  # what failed is not forgotten because nobody tried it again
            continue
        records.append(keep(row))
        rows.append(row)
    rows += list(_without_profile(job))
    home = [
        {name: row[name] for name in ("device", "step", "outcome", "says")} | {"owner": said.owners.get(evidence_key(row), "")}
        for row in rows
        if row["outcome"] != "passed"
    ]
    wrong = [row for row in rows if row["outcome"] == "failed"]
    may = not wrong and all(row["owner"] for row in home)
    document = {
        "schema": "prove/1",
        "job": job.title,
        "statement": _statement(len(rows), len(wrong), home, yearly=yearly),
        "yearly": yearly,
        "evidence": rows,
        "may_go_home": may and bool(rows),
        "before_going_home": home,
        "attempts": [_attempt(record) for record in records],
        "caution": _CAUTION,
    }
    return StageResult(
        "prove", document, (*job.sources(("points", "housing", "bus", "profiles")), *tables.sources("registers")), wrong=bool(wrong)
    )


def _devices(job: Job) -> tuple[Device, ...]:
    return tuple(Device(device, device.form) for device in job.bus.devices if device.profile)


def _list(devices: Sequence[Device], *, yearly: bool) -> Iterator[tuple[str, Device]]:
    """Step and device, in order; nothing where there is no device."""
    for name, step in STEPS.items():
        if step.when == ("first" if yearly else "yearly"):
            continue
        if step.concerns is not None:
            yield from ((name, one) for one in devices if step.concerns(one.form))
        elif devices:
            yield name, _INSTALLATION


def _stands(before: Row | None, step: Step, answered: bool, one: Device, *, again: bool) -> bool:
    """Whether evidence stands and is not asked for again; what a person said stands until they say otherwise."""
    if before is None or again:
        return False
    if step.answer:
        return not answered and (before["outcome"] != "open")
    return before["outcome"] == "passed" and (bool(one.head) or one is _INSTALLATION)


async def _ask(proving: Proving, step: Step, one: Device) -> Row:
    """One step of one device."""
    if step is not STEPS["answers"] and not one.head and one is not _INSTALLATION:
        return left_open("it does not answer: nothing of it can be proved yet")
    try:
        return await step.ask(proving, one)
    except NoReply as error:
        return failed(_SILENT, f"it fell silent ({error.asked}): look at its supply and its cable, then prove it again")
    except (BadReply, BadRequest, OutOfRange) as error:
        return failed(_NONSENSE, f"{error}; look at its profile and its model")


def _row(name: str, one: Device) -> Row:
    step = STEPS[name]
    return {
        "part": step.part,
        "step": name,
        "device": one.device.name,
        "unit": one.device.address,
        "criterion": step.criterion,
    }


def _attempt(record: Record) -> Row:
    """One attempt of the record: when, who, what, and what came of it."""
    entry = record["entry"]
    return {"when": record["when"], "who": record["who"]} | {
        name: entry[name] for name in ("step", "device", "outcome", "measured", "says")
    }


def _without_profile(job: Job) -> Iterator[Row]:
    for device in job.bus.devices:
        if not device.profile:
            says = f"{device.where}: it has no profile, so nothing says what its registers mean"
            yield {**_row("answers", Device(device, Profile("", {}))), **left_open(says), "rests_on": ""}


def _rests_on_all(job: Job) -> str:
    """Hash of what evidence of the installation as a whole rests on: which devices hang on its bus."""
    return sha256_of_data([[device.name, device.address, device.profile] for device in job.bus.devices])


def _statement(total: int, failed: int, home: Sequence[Row], *, yearly: bool) -> str:
    done = "verified again for a year" if yearly else "you may go home"
    left = len(home) - failed
    unowned = sum(not row["owner"] for row in home if row["outcome"] == "open")
    if not total:
        return "nothing to prove: the job lists no devices"
    if failed:
        return f"do not go home: {failed} of {total} steps failed, {left} are open"
    if unowned:
        return f"not yet: {left} of {total} steps are open, {unowned} of them without an owner; none failed"
    if left:
        return f"{done}: {total - left} of {total} steps passed, {left} stay open, each with its owner"
    return f"{done}: all {total} steps passed"
