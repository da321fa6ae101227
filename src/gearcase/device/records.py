"""A vibration sensor's records, read whole over its bus, as its profile says that they are fetched.

Nothing is written but the registers that the profile names for it: the form of record, the page, the trigger, the freeze.
"""

import asyncio
import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from gearcase import units
from gearcase.device.bus import RegisterBus
from gearcase.errors import BadReply, OutOfRange
from gearcase.install.housing import BusDevice
from gearcase.install.record_forms import Block, RecordForm
from gearcase.install.register import LAST_REGISTER, Register, decode, encode
from gearcase.signal.recording import Circumstances, Recording
from gearcase.units import SI_UNIT

__all__ = ["take_records"]

_TRIES = 3  # of a record that was replaced while it was read
_LOOKS, _LOOKS_A_SECOND = 120, 2  # how much longer than itself a record asked for may take
_DTYPES = {"u16": ">u2", "i16": ">i2", "u32": ">u4", "i32": ">i4", "f32": ">f4", "u64": ">u8", "i64": ">i8", "f64": ">f8"}


async def take_records(
    bus: RegisterBus, device: BusDevice, form: RecordForm, *, speed_hz: float | None, start: str
) -> tuple[Recording, ...]:
    """The records of one vibration sensor in one of its forms: one of each axis of each block, all of one moment.

    Those of one unit are marked as sampled together, but not over several blocks of a device that neither counts nor holds its
    records.

    Raises
    ------
    NoReply, BadReply, BadRequest
        The device does not deliver them.
    """
    for _ in range(_TRIES):
        await _ask(bus, device, form)
        await _write(bus, device, form.freeze, 1)
        try:
            before = await _said(bus, device, form.number)
            samples, rate = await _said(bus, device, form.samples), await _said(bus, device, form.rate)
            if not 0 < rate < math.inf:
                raise BadReply(device.address, "its record", f"sampled at {rate:g} Hz, which none can be")
            name = f"{device.name}, {f'{form.name}, ' if len(device.form.records) > 1 else ''}record {before:.0f}"
            found = []
            for block in form.blocks:
                raw = await _samples(bus, device, block, samples)
                step = await _said(bus, device, block.step) * _unit_of_count(block.first)
                for axis, counts in zip(block.axes, raw, strict=True):
                    found.append(
                        Recording(
                            samples=counts * np.float32(step),
                            sample_rate_hz=rate,
                            unit=SI_UNIT[block.first.kind],
                            channel=axis,
                            speed_hz=speed_hz,
                            point=device.point,
                            name=name,
                            start=start,
                            found=f"read from unit {device.address}",
                            step=step,
                            taken=Circumstances(together=_together(name, form, block)),
                        )
                    )
            replaced = await _said(bus, device, form.number) != before
        finally:
            await _write(bus, device, form.freeze, 0)
        if not replaced:
            return tuple(found)
    raise BadReply(device.address, "its record", f"it was replaced {_TRIES} times while it was read")


def _together(name: str, form: RecordForm, block: Block) -> str:
    """What the axes of a block were sampled together in: the record, of one unit of vibration so that phases compare; the block
    alone where nothing says that blocks read one after the other are of one moment.
    """
    is_held = form.number is not None or form.freeze is not None or form.trigger is not None
    if not is_held and len(form.blocks) > 1:
        name = f"{name}, {block.first.name}"
    return f"{name}, {SI_UNIT[block.first.kind]}"


async def _ask(bus: RegisterBus, device: BusDevice, form: RecordForm) -> None:
    """Have the device hold a whole record of this form: of one that was asked for here, another than before."""
    wanted = form.select.constant if form.select is not None else None
    turned = wanted is not None and await _said(bus, device, form.select) != wanted
    asked = turned or form.trigger is not None
    before = await _said(bus, device, form.number) if asked else 0.0
    if turned and wanted is not None:
        await _write(bus, device, form.select, wanted)
    await _write(bus, device, form.trigger, 1)
    looks = _LOOKS + math.ceil(_LOOKS_A_SECOND * (form.duration_s or 0.0))
    for _ in range(looks):
        is_ready = form.ready is None or await _said(bus, device, form.ready) == 1
        is_new = not asked or form.number is None or await _said(bus, device, form.number) != before
        if is_ready and is_new:
            return
        await asyncio.sleep(1 / _LOOKS_A_SECOND)
    raise BadReply(device.address, "its record", f"it was not ready within {looks / _LOOKS_A_SECOND:.0f} s")


async def _samples(bus: RegisterBus, device: BusDevice, block: Block, samples: float) -> NDArray[np.float32]:
    """Samples of each axis as the device counts them, shape (axes, samples); page by page where it has them in pages."""
    each = len(block.axes) * block.first.words
    held = samples if block.page_samples is None else await _said(bus, device, block.page_samples)
    if not (0 < held * each <= LAST_REGISTER + 1 - block.first.address and samples >= 1):
        raise BadReply(device.address, "its record", f"{samples:g} samples, which no record of it can have")
    words: list[int] = []
    if block.page is None:
        words += await _block(bus, device, block.first, int(samples) * each)
    else:
        for page in range(math.ceil(samples / held)):
            number = page + (block.page.low or 0)
            await _write(bus, device, block.page, number)
            words += await _block(bus, device, block.first, min(int(held), int(samples) - page * int(held)) * each)
            if (stands := await _said(bus, device, block.page)) != number:
                raise BadReply(
                    device.address, f"page {number:g} of its record", f"page {stands:g} stands there: who else turns them?"
                )
    return _counts(block.first, words).reshape(-1, len(block.axes)).T


async def _block(bus: RegisterBus, device: BusDevice, first: Register, count: int) -> tuple[int, ...]:
    return await bus.read(unit=device.address, function=first.function, start=first.address, count=count)


def _counts(first: Register, words: Sequence[int]) -> NDArray[np.float32]:
    """Samples as they stand one after the other, by the type and order of the first."""
    ordered = np.array(words, dtype=np.uint16).reshape(-1, first.words)
    if first.order.startswith("low"):
        ordered = ordered[:, ::-1]
    if not first.order.endswith("swapped"):
        ordered = ordered.byteswap()
    return np.ascontiguousarray(ordered).view(_DTYPES[first.type])[:, 0].astype(np.float32)


def _unit_of_count(first: Register) -> float:
    """What one count is by its row alone. [SI]"""
    return first.scale * units.convert(1.0, first.unit, first.kind)


async def _said(bus: RegisterBus, device: BusDevice, fact: Register | float | None) -> float:
    """What a register reads now, or the data sheet says; 0 where the device has none of its kind."""
    if not isinstance(fact, Register):
        return fact or 0.0
    try:
        found = await bus.read(unit=device.address, function=fact.function, start=fact.address, count=fact.words)
        return decode(fact, found)
    except OutOfRange as error:
        raise BadReply(device.address, f"its {fact.name}", str(error)) from None


async def _write(bus: RegisterBus, device: BusDevice, register: Register | None, value: float) -> None:
    if register is not None:
        await bus.write(unit=device.address, start=register.address, words=encode(register, value))
