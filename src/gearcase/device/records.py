"""A vibration sensor's record, read whole over its bus, as its profile says that records are fetched."""

import asyncio
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from gearcase import units
from gearcase.device.bus import RegisterBus
from gearcase.errors import BadReply, OutOfRange
from gearcase.install.housing import BusDevice
from gearcase.install.profile import Register, Waveform, decode, encode
from gearcase.signal.recording import Recording
from gearcase.units import SI_UNIT

__all__ = ["take_record"]

_TRIES = 3  # of a record that was replaced while it was read
_LOOKS, _BETWEEN_LOOKS = 120, 0.5  # s; how long a record asked for may take
_DTYPES = {"u16": ">u2", "i16": ">i2", "u32": ">u4", "i32": ">i4", "f32": ">f4", "u64": ">u8", "i64": ">i8", "f64": ">f8"}


async def take_record(bus: RegisterBus, device: BusDevice, *, speed_hz: float | None, start: str) -> Recording:
    """The waveform of one vibration sensor.

    Raises
    ------
    NoReply, BadReply, BadRequest
        The device does not deliver it.
    """
    waveform = next(iter(device.form.waveforms.values()))
    for _ in range(_TRIES):
        await _write(bus, device, waveform.trigger, 1)
        await _wait_until_ready(bus, device, waveform)
        await _write(bus, device, waveform.freeze, 1)
        try:
            before = await _said(bus, device, waveform.number)
            samples, rate, step = [
                await _said(bus, device, one) if isinstance(one, Register) else one
                for one in (waveform.samples, waveform.rate, waveform.step)
            ]
            first = waveform.first
            count = int(samples) * first.words
            if not 0 < count <= 65536 - first.address:
                raise BadReply(device.address, "its record", f"{samples:g} samples, which no record of it can have")
            words = await bus.read(unit=device.address, function=first.function, start=first.address, count=count)
            replaced = await _said(bus, device, waveform.number) != before
        finally:
            await _write(bus, device, waveform.freeze, 0)
        if not replaced:
            return Recording(
                samples=_samples(first, words) * np.float32(step * first.scale * units.convert(1.0, first.unit, first.kind)),
                sample_rate_hz=rate,
                unit=SI_UNIT[first.kind],
                channel="z",
                speed_hz=speed_hz,
                point=device.point,
                name=f"{device.name}, record {before:.0f}",
                start=start,
                found=f"read from unit {device.address}",
                step=step * first.scale * units.convert(1.0, first.unit, first.kind),
            )
    raise BadReply(device.address, "its record", f"it was replaced {_TRIES} times while it was read")


def _samples(first: Register, words: Sequence[int]) -> NDArray[np.float32]:
    """Samples as the device counts them, by the type and order of the first."""
    ordered = np.array(words, dtype=np.uint16).reshape(-1, first.words)
    if first.order.startswith("low"):
        ordered = ordered[:, ::-1]
    if not first.order.endswith("swapped"):
        ordered = ordered.byteswap()
    return np.ascontiguousarray(ordered).view(_DTYPES[first.type])[:, 0].astype(np.float32)


async def _said(bus: RegisterBus, device: BusDevice, register: Register | None) -> float:
    """What a register reads now; 0 where the device has none of its kind."""
    if register is None:
        return 0.0
    try:
        found = await bus.read(unit=device.address, function=register.function, start=register.address, count=register.words)
        return decode(register, found)
    except OutOfRange as error:
        raise BadReply(device.address, f"its {register.name}", str(error)) from None


async def _write(bus: RegisterBus, device: BusDevice, register: Register | None, value: float) -> None:
    if register is not None:
        await bus.write(unit=device.address, start=register.address, words=encode(register, value))


async def _wait_until_ready(bus: RegisterBus, device: BusDevice, waveform: Waveform) -> None:
    for _ in range(_LOOKS):
        if waveform.ready is None or await _said(bus, device, waveform.ready) == 1:
            return
        await asyncio.sleep(_BETWEEN_LOOKS)
    raise BadReply(device.address, "its record", f"it was not ready within {_LOOKS * _BETWEEN_LOOKS:.0f} s")
