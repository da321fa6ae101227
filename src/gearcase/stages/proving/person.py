"""Proving what only a person can tell: a figure by their own instrument held against its limits, or yes or no.

An answer is ``yes`` or ``no``, after a colon anything more, or a quantity with its unit; of a mount tap three levels in dB. Whoever
says so stands beside it in the record.
"""

import math
import re
from collections.abc import Awaitable, Callable
from dataclasses import dataclass

from gearcase import units
from gearcase.errors import OutOfRange
from gearcase.stages.proving.session import Device, Proving, Row, failed, left_open, passed

__all__ = ["ANSWERS", "LEVELS", "YES_OR_NO", "Asked", "asked", "check_answer", "mount_tap", "side_by_side", "supply"]

YES_OR_NO, LEVELS = "yes or no", "three levels"
ANSWERS = {YES_OR_NO: "yes or no, and after a colon anything more", LEVELS: "three levels, e.g. 31.2, 31.5, 30.9 dB"}
_YES = re.compile(r"(?:yes|no)(?:\s*[:,;]\s*.*)?", re.IGNORECASE)
_LEVELS = re.compile(r"(?:-?\d+(?:\.\d+)?\s*[,;]\s*){2}-?\d+(?:\.\d+)?\s*dB")
_ALIKE_DB = 1.0  # of three taps about their mean; common practice, no source
_SIDE_BY_SIDE = 0.1  # of a portable instrument; common practice, no source
Ask = Callable[[Proving, Device], Awaitable[Row]]


@dataclass(frozen=True)
class Asked:
    """What to `do`, the `cure`, the `kind` of quantity a person gives (empty for yes or no) and its limits in SI."""

    do: str
    cure: str
    kind: str = ""
    low: float = -math.inf
    high: float = math.inf


def check_answer(step: str, answer: str, text: str) -> None:
    """Refuse an answer that is none.

    Raises
    ------
    OutOfRange
    """
    if answer not in ANSWERS:
        units.parse(text, answer)
    elif not (_YES if answer == YES_OR_NO else _LEVELS).fullmatch(text.strip()):
        raise OutOfRange(step, repr(text), ANSWERS[answer])


def asked(step: str, question: Asked) -> Ask:
    """A step that a person answers."""

    async def ask(proving: Proving, one: Device) -> Row:
        return _judged(step, question, proving, one)

    return ask


def _judged(step: str, question: Asked, proving: Proving, one: Device) -> Row:
    given = proving.said.answers.get((step, one.device.name))
    if given is None:
        return left_open(question.do)
    if not question.kind:
        check_answer(step, YES_OR_NO, given)
        return passed(given) if given.strip().lower().startswith("yes") else failed(given, question.cure)
    value = units.parse(given, question.kind)
    return passed(given) if question.low <= value <= question.high else failed(given, question.cure)


async def supply(proving: Proving, one: Device) -> Row:
    """Volts at the farthest device, under load, against the most that any device needs."""
    least = max((device.least_volts for device in proving.job.bus.devices if device.least_volts), default=None)
    if least is None:
        return left_open("no device says in job.yaml which voltage it needs (least_volts): read it from the data sheets")
    question = Asked(
        f"measure at the farthest device with everything on, the light lit: {least:g} V and more",
        f"less than {least:g} V: a thicker or shorter cable, or a supply nearer by; look for a bad joint",
        "voltage",
        least,
    )
    return _judged("supply at the end", question, proving, one)


async def mount_tap(proving: Proving, one: Device) -> Row:
    """Three taps with a force hammer, or three levels of the same band, within 1 dB of their mean."""
    given = proving.said.answers.get(("mount tap", one.device.name))
    if given is None:
        return left_open(
            "tap three times beside the sensor and give the three levels of its highest band, e.g. 31.2, 31.5, 30.9 dB; a mount "
            "resonance above the sensor's band is not measurable"
        )
    check_answer("mount tap", LEVELS, given)
    levels = [float(level) for level in re.findall(r"-?[\d.]+", given)]
    off = max(abs(level - sum(levels) / 3) for level in levels)
    measured = f"{given}: {off:.1f} dB about their mean"
    if off <= _ALIKE_DB:
        return passed(measured)
    return failed(measured, "the mount moves: torque, bond, paint beneath, a rocking base; mount it again, then tap again")


async def side_by_side(proving: Proving, one: Device) -> Row:
    """The sensor's overall velocity against a portable instrument beside it, the drive running."""
    loudest = await proving.loudest(one)
    given = proving.said.answers.get(("side by side", one.device.name))
    shown = units.show(loudest, "velocity", "mm/s", digits=3)
    if given is None:
        return left_open(f"it reads {shown}: hold a portable instrument beside it on the same axis, 10 Hz to 1 kHz, RMS", shown)
    if not await proving.running():
        return left_open("the drive stands: compare while it runs", shown)
    wanted = units.parse(given, "velocity")
    measured = f"{shown} against {given}"
    if abs(loudest - wanted) <= _SIDE_BY_SIDE * wanted:
        return passed(measured)
    return failed(measured, "look at the mount and the axis, then at the sensor's calibration; one of the two instruments is off")
