"""One round of the bus: every device's values as readings, bad ones where a device is silent or answers nonsense."""

from gearcase.device.bus import RegisterBus
from gearcase.device.profile import decode, profile
from gearcase.device.records import take_record
from gearcase.errors import BadReply, BadRequest, NoReply, OutOfRange
from gearcase.install.housing import BusDevice
from gearcase.job.build import Job
from gearcase.monitor.inputs import Inputs
from gearcase.record.store import Reading
from gearcase.stages.minutes import SUMP
from gearcase.units import SI_UNIT

__all__ = ["poll", "take_record"]

_WANTED: dict[str, dict[str, tuple[str, ...]]] = {
    "temperature converter": {"temperature": ("sump temperature",)},
    "three-axis vibration": {
        "overall velocity": ("overall velocity x", "overall velocity y", "overall velocity z"),
        "high-frequency acceleration": (
            "high-frequency acceleration x",
            "high-frequency acceleration y",
            "high-frequency acceleration z",
        ),
        "temperature": ("temperature",),
    },
}
_NOTHING: tuple[int, ...] = ()


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
        wanted = _WANTED.get(device.profile, {})
        asked = [one for one in inputs.registers if one.input.device == device.name]
        block, silent = _NOTHING, ""
        if wanted or not all(one.alone for one in asked):
            block, silent = await _registers(bus, device, 4, 0, profile(device.profile).span)
        for one in asked:
            register, words, why = one.register, _NOTHING, silent
            if one.alone and not silent:  # a device that was silent just now is asked nothing more
                words, why = await _registers(bus, device, register.function, register.address, register.words)
            elif not silent:
                words = block[register.address : register.address + register.words]
            inputs.hear_register(one, why or words, now)
        for quantity, names in wanted.items():
            registers = [profile(device.profile).registers[name] for name in names]
            unit = SI_UNIT[registers[0].kind] if registers[0].kind else "-"
            try:
                value = max(decode(one, block[one.address : one.address + one.words]) for one in registers)
            except OutOfRange:
                readings.append(Reading(now, device.point or SUMP, quantity, None, unit, "bad"))
            else:
                readings.append(Reading(now, device.point or SUMP, quantity, value, unit))
    inputs.hear_levels(readings)
    return readings + inputs.readings(now)


async def _registers(bus: RegisterBus, device: BusDevice, function: int, start: int, count: int) -> tuple[tuple[int, ...], str]:
    """Registers of a device, and why there are none."""
    try:
        return await bus.read(unit=device.address, function=function, start=start, count=count), ""
    except (NoReply, BadReply, BadRequest) as error:
        return (), error.says
