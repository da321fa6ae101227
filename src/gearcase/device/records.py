"""A vibration sensor's record, read whole over its bus."""

import numpy as np

from gearcase.device.bus import RegisterBus
from gearcase.device.profile import RECORD_REGISTERS, decode, profile
from gearcase.errors import BadReply
from gearcase.install.housing import BusDevice
from gearcase.signal.recording import Recording

__all__ = ["take_record"]

_TRIES = 3  # of a record that was replaced while it was read


async def take_record(bus: RegisterBus, device: BusDevice, *, speed_hz: float | None, start: str) -> Recording:
    """The waveform of one vibration sensor.

    Raises
    ------
    NoReply, BadReply, BadRequest
        The device does not deliver it.
    """
    form = profile(device.profile)
    names = ("record number", "record rate", "record step", "record samples")
    for _ in range(_TRIES):
        head = await bus.read(unit=device.address, function=4, start=0, count=form.span)
        number, rate, step, samples = (
            decode(one, head[one.address : one.address + one.words]) for one in (form.registers[name] for name in names)
        )
        words = await bus.read(unit=device.address, function=4, start=RECORD_REGISTERS, count=int(samples))
        again = await bus.read(unit=device.address, function=4, start=form.registers[names[0]].address, count=1)
        if again[0] == int(number):
            counts = np.array(words, dtype=np.uint16).view(np.int16)
            return Recording(
                samples=(counts * step).astype(np.float32),
                sample_rate_hz=rate,
                unit="m/s2",
                channel="z",
                speed_hz=speed_hz,
                point=device.point,
                name=f"{device.name}, record {number:.0f}",
                start=start,
                found=f"read from unit {device.address}",
                step=step,
            )
    raise BadReply(device.address, "its record", f"it was replaced {_TRIES} times while it was read")
