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
        asked = [one for one in inputs.registers if one.device == device.name]
        if not wanted and not asked:
            continue
        words, silent = await _block(bus, device, profile(device.profile).span)
        for one in asked:
            register = one.register
            inputs.hear_register(one, silent or words[register.address : register.address + register.words], now)
        for quantity, names in wanted.items():
            registers = [profile(device.profile).registers[name] for name in names]
            unit = SI_UNIT[registers[0].kind] if registers[0].kind else "-"
            try:
                value = max(decode(one, words[one.address : one.address + one.words]) for one in registers)
            except OutOfRange:
                readings.append(Reading(now, device.point or SUMP, quantity, None, unit, "bad"))
            else:
                readings.append(Reading(now, device.point or SUMP, quantity, value, unit))
    return readings + inputs.readings(now)


async def _block(bus: RegisterBus, device: BusDevice, count: int) -> tuple[tuple[int, ...], str]:
    """A device's registers from 0 on, and why there are none."""
    try:
        return await bus.read(unit=device.address, function=4, start=0, count=count), ""
    except (NoReply, BadReply, BadRequest) as error:
        return (), error.says
