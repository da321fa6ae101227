"""Address: give one device the address planned for it, on the bench, alone on the line.

Nothing is written unless exactly one device answers on the whole bus, is what the plan says, and has the serial that the person
read off its plate. Afterwards it must answer at the new address with the same serial, and nobody at the old one.
"""

import asyncio
from collections.abc import Awaitable, Callable, Sequence

from gearcase import tables
from gearcase.device.modbus import ModbusBus
from gearcase.errors import BadReply, BadRequest, NoReply
from gearcase.install.housing import BusDevice
from gearcase.install.register import encode
from gearcase.job.build import Job
from gearcase.stages.result import StageResult
from gearcase.stages.scan import Found, answering, identify

__all__ = ["run"]

_WAITS = 20  # a second each, for a device that restarts with its new address


async def run(
    job: Job,
    bus: ModbusBus,
    device: BusDevice,
    *,
    serial: str,
    addresses: Sequence[int],
    sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
) -> StageResult:
    """Set a device's address.

    Parameters
    ----------
    job, bus : Job, ModbusBus
    device : BusDevice
        As planned.
    serial : str
        As it stands on its plate.
    addresses : sequence of int
        Where it may be: all there are, unless a device that must stay silent is known to be off.
    sleep : callable
        Waits so many seconds.

    Returns
    -------
    StageResult
        Document ``address/1``; `wrong` where it was not set, and `written` where it was tried.
    """
    register = next(iter(device.form.with_role("bus address")), None)

    def said(statement: str, *, was: int | None = None, written: bool = False, wrong: bool = True) -> StageResult:
        facts = {"device": device.name, "serial": serial, "was": was, "address": device.address, "written": written}
        document = {"schema": "address/1", "job": job.title, "statement": statement, **facts}
        return StageResult("address", document, (*job.sources(("bus", "profiles")), *tables.sources("registers")), wrong=wrong)

    if register is None:
        return said(
            f"the profile of {device.name} has no register for its address: set it by its switches or as its data sheet says"
        )
    found = [one async for one in answering(bus, addresses, {device.address})]
    if len(found) != 1 or found[0].outcome != "answers":
        heard = ", ".join(f"{one.address} ({one.outcome})" for one in found) or "nobody"
        return said(f"exactly one device must be on the line, and {heard} is heard: nothing was written")
    old = found[0].address
    one = await identify(bus, old, {device.profile: device.form})
    if one.profile != device.profile or one.serial != serial:
        is_it = f"serial {one.serial}" if one.profile else "another kind of device"
        return said(f"unit {old} is {is_it}, not the {device.profile} with serial {serial}: nothing was written", was=old)
    if old == device.address:
        return said(f"{device.name}, serial {serial}, has address {old} already", was=old, wrong=False)
    refused = ""
    try:
        await bus.write(unit=old, start=register.address, words=encode(register, device.address))
    except BadRequest as error:
        refused = error.says
    except (NoReply, BadReply):  # it may have answered from its new address, or restarted
        pass
    new = Found(device.address, "silent")
    for _ in range(0 if refused else _WAITS):
        new = await identify(bus, device.address, {device.profile: device.form})
        if new.serial:
            break
        await sleep(1.0)
    still = [left async for left in answering(bus, [old], {old})]
    if refused or (still and not new.serial):
        why = f"it refuses ({refused})" if refused else "the old address still answers"
        return said(f"not set: {why}; it may want its power off and on, then run this again", was=old, written=True)
    if new.serial != serial:
        says = f"serial {new.serial} answers" if new.serial else "nobody answers"
        return said(f"at address {device.address} {says} now: power it off and on, then scan", was=old, written=True)
    if still:
        return said(
            f"it answers at {device.address}, and somebody still at {old}: two devices are on the line", was=old, written=True
        )
    statement = (
        f"{device.name}, serial {serial}: address {old} is {device.address} now, read back; {old} is silent; label both ends"
    )
    return said(statement, was=old, written=True, wrong=False)
