"""Scan: who answers on a bus of one's own, what they are, and whether that is as planned.

Reads only, one address at a time, never to all; only after a person has said that the plant's master is off the bus, because a scan
beside it collides with its questions. On a serial line it first listens, and asks nothing where somebody else talks.
"""

import math
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from contextlib import AbstractAsyncContextManager
from dataclasses import dataclass
from typing import Any

from gearcase import tables
from gearcase.device.modbus import ModbusBus
from gearcase.errors import BadReply, BadRequest, Garbled, GearcaseError, NoReply
from gearcase.install.connection import CHARACTERS
from gearcase.install.housing import BusDevice
from gearcase.install.profile import Profile, blocks, profile, profile_names
from gearcase.install.register import decode, words_of_identity
from gearcase.job.build import Job
from gearcase.stages.result import StageResult

__all__ = ["CONFIRMED", "Found", "answering", "identify", "run"]

CONFIRMED = "the plant's master is off this bus: unplugged or stopped, and it stays so"
BAUDS = (19200, 9600, 38400, 57600, 115200, 4800, 2400, 1200)
_LOOKS = 3  # questions to whoever answers: two devices at one address seldom speak exactly alike three times
_AFTERWARDS = 0.03  # s of listening behind an answer, for a second one

Settings = Callable[[int, str], AbstractAsyncContextManager[ModbusBus]]


@dataclass(frozen=True)
class Found:
    """What one address did: ``answers``, ``clash`` (several answer there) or ``garbled``; and what answers, where it is known."""

    address: int
    outcome: str
    says: str = ""
    profile: str = ""
    serial: str = ""

    def as_dict(self) -> dict[str, Any]:
        """As plain data."""
        return {name: getattr(self, name) for name in ("address", "outcome", "says", "profile", "serial")}


async def run(
    job: Job,
    bus: ModbusBus,
    *,
    confirmed_by: str,
    addresses: Sequence[int],
    listen: float,
    at: Settings | None,
    serials: Mapping[str, str],
    tell: Callable[[Found], None],
) -> StageResult:
    """Scan a bus.

    Parameters
    ----------
    job : Job
    bus : ModbusBus
        Opened with one try.
    confirmed_by : str
        Who says `CONFIRMED`.
    addresses : sequence of int
        1 to 247.
    listen : float
        On a serial line, before the first question. [s]
    at : callable or None
        Opens the same line at another baud and character; None where it cannot be.
    serials : mapping
        Device -> serial as built.
    tell : callable
        Hears of each that was found.

    Returns
    -------
    StageResult
        Document ``scan/1``; `wrong` where it is not as planned, or nothing was asked.
    """

    def result(statement: str, wrong: bool, **rows: Any) -> StageResult:
        facts = {"confirmed": CONFIRMED, "confirmed_by": confirmed_by, "asked": len(addresses)}
        document = {"schema": "scan/1", "job": job.title, "statement": statement, **facts, **rows}
        return StageResult("scan", document, (*job.sources(("bus", "profiles")), *tables.sources("registers")), wrong=wrong)

    serial_line = bus.connection.way == "serial"
    heard = await bus.listen(listen) if serial_line else b""
    if heard:
        says = f"somebody else talks on this bus ({len(heard)} bytes in {listen:g} s): nothing was asked; take its master off first"
        return result(says, True, found=[], planned=[], findings=[])
    forms = {name: profile(name) for name in profile_names()} | {one.profile: one.form for one in job.bus.devices if one.profile}
    found = []
    async for one in answering(bus, addresses, {one.address for one in job.bus.devices}):
        if one.outcome == "answers" and not one.says:
            one = await identify(bus, one.address, forms)
        found.append(one)
        tell(one)
    planned = [_against_plan(device, found, serials.get(device.name, "")) for device in job.bus.devices]
    silent = [device.address for device in job.bus.devices if device.address not in {one.address for one in found}]
    garbled = [one.address for one in found if one.outcome == "garbled"]
    findings = [f"{row['device']}: {row['says']}" for row in planned if row["says"]]
    known = {device.address for device in job.bus.devices}
    findings += [
        f"unit {one.address} answers and is not in the plan{f': a {one.profile}, serial {one.serial}' if one.profile else ''}"
        for one in found
        if one.address not in known
    ]
    if at is not None and (silent or garbled):
        findings += await _at_other_settings(bus, at, job.bus.baud, [*silent, *garbled])
    if not serial_line:
        findings.append("behind a gateway nobody can listen first: that the bus is free rests on who confirmed it")
    wrong = any(row["says"] for row in planned) or any(one.address not in known for one in found)
    answers = sum(one.outcome == "answers" for one in found)
    statement = f"{answers} of {len(addresses)} addresses answer; " + (
        "not as planned" if wrong else f"all {len(planned)} planned devices are there, and nobody else"
    )
    return result(statement, wrong, found=[one.as_dict() for one in found], planned=planned, findings=findings)


async def answering(bus: ModbusBus, addresses: Sequence[int], again: set[int]) -> AsyncIterator[Found]:
    """Addresses at which anything is heard; those of `again` are asked twice more where they are silent."""
    for address in addresses:
        one = await _look(bus, address)
        for _ in range(_LOOKS - 1 if one is None and address in again else 0):
            one = one or await _look(bus, address)
        if one is not None:
            yield one


async def _look(bus: ModbusBus, address: int) -> Found | None:
    """One address, asked for one register; whoever answers is asked again, and listened to behind each answer."""
    said: set[tuple[int, ...] | str] = set()
    twice = broken = missing = 0
    for _ in range(_LOOKS):
        strays = bus.links[address].strays
        try:
            said.add(await bus.read(unit=address, function=4, start=0, count=1))
        except BadRequest as error:  # a refusal is an answer
            said.add(error.says)
        except Garbled:
            broken += 1
        except BadReply as error:
            return Found(address, "garbled", error.says)
        except NoReply:
            if not said and not broken:
                return None
            missing += 1
        else:
            twice += bool(await bus.listen(_AFTERWARDS)) or bus.links[address].strays > strays
    if said and ((twice and not missing) or broken or len(said) > 1):
        return Found(address, "clash", "answers are broken or come twice: several devices have this address, or the line is bad")
    if broken:
        says = "answers are no frames: another baud or parity, or several devices at this address"
        return Found(address, "garbled", says)
    if missing:
        return Found(address, "answers", f"{missing} of {_LOOKS} questions had no answer in time: ask again with a longer --wait")
    return Found(address, "answers")


async def identify(bus: ModbusBus, address: int, forms: Mapping[str, Profile]) -> Found:
    """What answers at an address: the profile whose constants and model it has, and its serial."""
    matching = []
    for name, form in forms.items():
        proofs = (*form.with_role("constant"), *form.with_role("model"))
        try:
            words: dict[tuple[int, int], int] = {}
            for function, start, count in blocks(form, proofs):
                read = await bus.read(unit=address, function=function, start=start, count=count)
                words |= {(function, start + n): word for n, word in enumerate(read)}
            held = {one: [words[one.function, one.address + n] for n in range(one.words)] for one in proofs}
            if proofs and all(
                words_of_identity(one, given) == one.text
                if one.text
                else math.isclose(decode(one, given), one.constant or 0.0, rel_tol=1e-6)
                for one, given in held.items()
            ):
                matching.append(name)
        except GearcaseError:  # no such registers, or other ones
            continue
    if len(matching) != 1:
        says = f"may be: {', '.join(matching)}" if matching else "no profile has its constants and model"
        return Found(address, "answers", says)
    serial = next(iter(forms[matching[0]].with_role("serial")), None)
    if serial is None:
        return Found(address, "answers", "", matching[0])
    try:
        given = await bus.read(unit=address, function=serial.function, start=serial.address, count=serial.words)
    except GearcaseError as error:
        return Found(address, "answers", str(error), matching[0])
    return Found(address, "answers", "", matching[0], words_of_identity(serial, given))


def _against_plan(device: BusDevice, found: Sequence[Found], serial: str) -> dict[str, Any]:
    one = next((one for one in found if one.address == device.address), None)
    says = ""
    if one is None:
        says = f"nobody answers at unit {device.address}"
        elsewhere = next((other for other in found if serial and other.serial == serial), None)
        says += f"; its serial {serial} answers at {elsewhere.address}: set its address" if elsewhere else ""
    elif one.outcome != "answers":
        says = f"unit {device.address}: {one.says}"
    elif device.profile and one.profile != device.profile:
        says = (
            f"at unit {device.address} a {one.profile or 'device of no known profile'} answers where a {device.profile} is planned"
        )
    elif serial and one.serial != serial:
        says = f"at unit {device.address} serial {one.serial} answers; as built it is {serial}"
    return {"device": device.name, "address": device.address, "profile": device.profile, "says": says}


async def _at_other_settings(bus: ModbusBus, at: Settings, baud: int, addresses: Sequence[int]) -> list[str]:
    """Which of those that are silent or garbled answer at another baud or character."""
    own, found, left = bus.connection.character, [], list(dict.fromkeys(addresses))
    bus.close()
    for speed in dict.fromkeys((baud, *BAUDS)):
        for character in CHARACTERS:
            if (speed, character) == (baud, own) or not left:
                continue
            async with at(speed, character) as other:
                for address in list(left):
                    try:
                        await other.read(unit=address, function=4, start=0, count=1)
                    except BadRequest:
                        pass
                    except (NoReply, BadReply):
                        continue
                    left.remove(address)
                    found.append(
                        f"unit {address} answers at {speed} {character}: set it to {baud} {own}, or the bus to its setting"
                    )
    return found
