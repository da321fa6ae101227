"""One round of the bus: every device's values as readings, bad ones where a device is silent or answers nonsense."""

from collections.abc import Mapping, Sequence

from gearcase.device.bus import RegisterBus
from gearcase.device.records import take_records
from gearcase.errors import BadReply, BadRequest, NoReply, OutOfRange
from gearcase.install.housing import BusDevice
from gearcase.install.profile import blocks
from gearcase.install.register import Register, decode
from gearcase.job.build import Job
from gearcase.monitor.inputs import Inputs
from gearcase.record.store import Reading
from gearcase.stages.minutes import SUMP
from gearcase.units import SI_UNIT

__all__ = ["poll", "take_records"]

_WANTED = {  # quantity -> what tells it, of which a device has some
    "overall velocity": ("overall velocity",),
    "high-frequency acceleration": ("high-frequency acceleration",),
    "temperature": ("sump temperature", "temperature"),
}


async def poll(job: Job, bus: RegisterBus, inputs: Inputs, *, now: float) -> list[Reading]:
    """Readings of all devices, of three axes the largest; and the plant's inputs that count now, at point ``""``.

    Parameters
    ----------
    job : Job
    bus : RegisterBus
    inputs : Inputs
        Hears what registers are sources.
    now : float
        Unix time. [s]
    """
    readings = []
    for device in job.bus.devices:
        wanted = {quantity: [one for name in names for one in device.form.of(name)] for quantity, names in _WANTED.items()}
        wanted = {quantity: registers for quantity, registers in wanted.items() if registers}
        asked = [one for one in inputs.registers if one.input.device == device.name]
        words, why = await _registers(
            bus, device, [*(one for registers in wanted.values() for one in registers), *(one.register for one in asked)]
        )
        for one in asked:
            inputs.hear_register(one, _of(one.register, words) or why, now)
        for quantity, registers in wanted.items():
            unit = SI_UNIT[registers[0].kind] if registers[0].kind else "-"
            try:
                value = max(decode(one, _of(one, words)) for one in registers)
            except OutOfRange:
                readings.append(Reading(now, device.point or SUMP, quantity, None, unit, "bad"))
            else:
                readings.append(Reading(now, device.point or SUMP, quantity, value, unit))
    inputs.hear_levels(readings)
    return readings + inputs.readings(now)


async def _registers(bus: RegisterBus, device: BusDevice, registers: Sequence[Register]) -> tuple[dict[tuple[int, int], int], str]:
    """Words by function and address, and why some are missing; a device that is silent is asked nothing more."""
    words: dict[tuple[int, int], int] = {}
    why = ""
    for function, start, count in blocks(device.form, registers):
        try:
            found = await bus.read(unit=device.address, function=function, start=start, count=count)
        except (NoReply, BadReply, BadRequest) as error:
            why = error.says
            if isinstance(error, NoReply):
                break
        else:
            words |= {(function, start + n): word for n, word in enumerate(found)}
    return words, why


def _of(register: Register, words: Mapping[tuple[int, int], int]) -> tuple[int, ...]:
    """The words of one register; fewer than it takes where they are missing."""
    places = ((register.function, register.address + n) for n in range(register.words))
    return tuple(words[place] for place in places if place in words)
