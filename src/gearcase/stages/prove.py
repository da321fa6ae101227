"""Prove: does each device answer, point right and tell the truth?

The steps run in the order of `STEPS`, for every device they concern, and each leaves one piece of evidence: passed, failed with its
cure, or open with what is missing. A device that does not answer leaves its later steps open and the others go on. Evidence is kept
as it comes; a run that was cut off is taken up again where it stopped, and what passed is not asked again while what it rests on
stays the same. What has not passed makes the list of things that keep people from going home.
"""

import asyncio
from collections.abc import Awaitable, Callable, Iterator, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from gearcase import tables
from gearcase.checksums import sha256_of_data
from gearcase.device.bus import RegisterBus
from gearcase.errors import BadReply, BadRequest, NoReply, OutOfRange
from gearcase.install.housing import BusDevice
from gearcase.job.build import Job
from gearcase.stages.proving import controller, light, sensors, wiring
from gearcase.stages.proving.session import Device, Proving, Row, Said, failed, left_open
from gearcase.stages.result import StageResult

__all__ = ["STEPS", "Said", "Step", "evidence_key", "run"]


@dataclass(frozen=True)
class Step:
    """One step: its criterion, how it is asked, and the register a device must have for it, empty for all devices."""

    criterion: str
    ask: Callable[[Proving, Device], Awaitable[Row]]
    needs: str = ""


_CONSTANT, _SERIAL, _GRAVITY, _LAMPS = "constant word", "serial", "gravity x", "lamps wanted"
STEPS: Mapping[str, Step] = {
    "answers": Step("answers at its address, which no other device has", wiring.answers),
    "constants": Step("its test registers read 0x1234, 123456789 and 123.456", wiring.constants, _CONSTANT),
    "identity": Step("its model is the profile's, its serial the as-built one", wiring.identity, _SERIAL),
    "gravity": Step("0.95 to 1.05 g, standing still", sensors.gravity, _GRAVITY),
    "orientation": Step(
        "within 5 degrees of the plan, told apart from every other turn by a tap of 3 to 1 with its sign",
        sensors.orientation,
        _GRAVITY,
    ),
    "noise": Step("standing still, at most a fifth of the A/B boundary", sensors.noise, "overall velocity x"),
    "link": Step("at 95 % confidence at most 0.1 % of polls fail", wiring.link),
    "temperature": Step("within 1 K of a reference thermometer", sensors.temperature, "sump temperature"),
    "inputs": Step("speed within 0.5 % of a reference, run state right", controller.inputs, "running"),
    "light": Step(
        "each colour shows in the read-back; without heartbeat blue or off within 10 s; it comes back by itself",
        light.light,
        _LAMPS,
    ),
    "light seen": Step("a person saw each colour", light.light_seen, _LAMPS),
    "controller": Step("the plant controller reads the test registers to the last digit", controller.controller, _CONSTANT),
}
_CAUTION = (
    "Tap, touch and look only with the drive locked out, proved still and cool enough to touch; a backstop may hold load torque. "
    "Stand clear of what turns when it runs. Mains work is for a licensed electrician; local codes and site rules come first."
)


def evidence_key(row: Mapping[str, Any]) -> tuple[str, str]:
    """What a piece of evidence is about: step and device."""
    return str(row["step"]), str(row["device"])


async def run(
    job: Job,
    bus: RegisterBus,
    *,
    polls: int,
    said: Said,
    earlier: Mapping[tuple[str, str], Row],
    keep: Callable[[Row], None],
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
    earlier : mapping
        `evidence_key` -> latest evidence; what passed there and rests on the same is not asked again.
    keep : callable
        Takes each piece of evidence as it comes, before the next step begins.
    sleep : callable
        Waits so many seconds.

    Returns
    -------
    StageResult
        Document ``prove/1``; `wrong` when a step failed.
    """
    rows: list[Row] = []
    rests_on = {device.name: _rests_on(job, device) for device in job.bus.devices}
    proving = Proving(job, bus, polls, said, sleep)
    devices = [Device(device, device.form) for device in job.bus.devices if device.profile]
    for one in devices:
        one.head = await proving.greet(one)
    for step in STEPS:
        for one in devices:
            if STEPS[step].needs not in ("", *one.form.registers):
                continue
            before = earlier.get((step, one.device.name))
            if before and before["outcome"] == "passed" and before["rests_on"] == rests_on[one.device.name] and one.head:
                rows.append(before)
                continue
            row = {"step": step, "device": one.device.name, "unit": one.device.address, "criterion": STEPS[step].criterion}
            row |= await _ask(proving, step, one)
            row["rests_on"] = rests_on[one.device.name]
            keep(row)
            rows.append(row)
    rows += list(_without_profile(job))
    home = [
        {"device": row["device"], "step": row["step"], "outcome": row["outcome"], "says": row["says"]}
        for row in rows
        if row["outcome"] != "passed"
    ]
    wrong = [row for row in rows if row["outcome"] == "failed"]
    document = {
        "schema": "prove/1",
        "job": job.title,
        "statement": _statement(len(rows), len(wrong), len(home)),
        "evidence": rows,
        "may_go_home": not home,
        "before_going_home": home,
        "caution": _CAUTION,
    }
    return StageResult(
        "prove", document, (*job.sources(("points", "housing", "bus", "profiles")), *tables.sources("registers")), wrong=bool(wrong)
    )


async def _ask(proving: Proving, step: str, one: Device) -> Row:
    """One step of one device."""
    if step != "answers" and not one.head:
        return left_open("it does not answer: nothing of it can be proved yet")
    try:
        return await STEPS[step].ask(proving, one)
    except NoReply as error:
        return failed("no reply", f"it fell silent ({error.asked}): look at its supply and its cable, then prove it again")
    except (BadReply, BadRequest, OutOfRange) as error:
        return failed("nonsense", f"{error}; look at its profile and its model")


def _without_profile(job: Job) -> Iterator[Row]:
    for device in job.bus.devices:
        if not device.profile:
            yield {
                "step": "answers",
                "device": device.name,
                "unit": device.address,
                "criterion": STEPS["answers"].criterion,
                **left_open(f"{device.where}: it has no profile, so nothing says what its registers mean"),
                "rests_on": "",
            }


def _rests_on(job: Job, device: BusDevice) -> str:
    """Hash of what evidence of one device rests on: its entry, its point's orientation, and its profile."""
    point = next((point for point in job.points if point.name == device.point), None)
    face = job.housing.face(point.face) if point else None
    registers = [asdict(one) for one in device.form.rows]
    placed = [point.face, point.clock, face.outward if face else ""] if point else []
    return sha256_of_data([device.name, device.address, device.profile, device.point, placed, registers])


def _statement(total: int, failed: int, left: int) -> str:
    if not total:
        return "nothing to prove: the job lists no devices"
    if failed:
        return f"do not go home: {failed} of {total} steps failed, {left - failed} are open"
    if left:
        return f"not yet: {left} of {total} steps are open, none failed"
    return f"you may go home: all {total} steps passed"
