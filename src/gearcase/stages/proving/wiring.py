"""Proving the bus: does each device answer at its own address, as the device it was planned to be, and how often does it fail?"""

from gearcase.device.profile import find_word_order
from gearcase.errors import BadReply, NoReply
from gearcase.install.bus import error_rate_limit
from gearcase.stages.proving.session import Device, Proving, Row, failed, left_open, passed
from gearcase.worked import Given, Origin, work

__all__ = ["answers", "constants", "identity", "link"]

_MOST_ERRORS = 1e-3
_FELL_SILENT = 20  # failed polls in a row, after which nobody waits longer


async def answers(proving: Proving, one: Device) -> Row:
    """Nobody else has its address, and it answers there."""
    same = [device.name for device in proving.job.bus.devices if device.address == one.device.address and device is not one.device]
    if same:
        says = f"{', '.join(same)} has address {one.device.address} too: both answer at once; give each its own, one at a time"
        return failed(f"address {one.device.address} twice", says)
    if one.head:
        return passed(f"unit {one.device.address} answers")
    heard = sorted(device.address for device in proving.job.bus.devices if device.name not in proving.silence and device.profile)
    others = f"units {', '.join(map(str, heard))} answer, so look" if heard else "no unit answers: look at the gateway first, then"
    says = f"{proving.silence[one.device.name].partition(';')[0]}; {others} at its address, its supply and its stub"
    return failed("no reply", says)


async def constants(proving: Proving, one: Device) -> Row:
    """Its test registers, by which word order and shift are told."""
    order, shift = find_word_order(one.form, one.head)
    shown = " ".join(f"{word:04X}" for word in one.head[:5])
    if order is None:
        says = f"no word order and no shift makes them right: it is not a {one.form.name}, or another device has its address"
        return failed(shown, says)
    one.order, one.shift = order, shift
    if shift:
        says = f"every value stands {abs(shift)} register {'later' if shift > 0 else 'earlier'}: its sheet counts from 1; shift it"
        return failed(f"shifted by {shift}", f"{says} in the device or in the gateway")
    if order != "high word first":
        return failed(order, "it sends the low word first: set the device to high word first, then prove it again")
    return passed(f"{shown}, high word first")


async def identity(proving: Proving, one: Device) -> Row:
    """Its model and its serial."""
    found = await proving.values(one, "model", "serial")
    model, serial = one.form.registers["model"].constant, str(int(found["serial"]))
    if found["model"] != model:
        says = f"model {found['model']:.0f} answers where a {one.form.name} ({model:.0f}) was planned: two devices are exchanged"
        return failed(f"model {found['model']:.0f}", says)
    built = proving.said.serials.get(one.device.name, "")
    if built and built != serial:
        return failed(f"serial {serial}", f"as built it is {built}: exchanged with another, or the entry is wrong")
    if not built:
        return left_open(f"serial {serial}: no as-built entry says that this is the one fitted here", f"serial {serial}")
    return passed(f"model {model:.0f}, serial {serial}, as built")


async def link(proving: Proving, one: Device) -> Row:
    """Share of polls that fail, with its confidence limit."""
    errors = done = in_a_row = 0
    first = one.form.rows[0]
    while done < proving.polls and in_a_row < _FELL_SILENT:
        try:
            start = max(first.address + one.shift, 0)
            words = await proving.bus.read(unit=one.device.address, function=first.function, start=start, count=1)
            wrong = first.type == "u16" and first.constant is not None and one.shift >= 0 and words != (int(first.constant),)
        except (NoReply, BadReply):
            wrong = True
        done, errors, in_a_row = done + 1, errors + wrong, in_a_row + 1 if wrong else 0
    if in_a_row == _FELL_SILENT:
        says = "it fell silent: look at supply, cable and gateway, then prove it again"
        return failed(f"silent after {done - in_a_row} polls", says)
    limit = work(
        f"error rate of {one.device.name}",
        error_rate_limit,
        polls=Given("polls", float(done), "-", Origin.MEASURED),
        errors=Given("errors", float(errors), "-", Origin.MEASURED),
    )
    measured = f"{errors} of {done} polls failed: at most {100 * limit.value:.3f} %"
    row = {"worked": limit.as_dict()}
    if limit.value <= _MOST_ERRORS:
        return passed(measured) | row
    if errors == 0 or errors / done <= _MOST_ERRORS:
        return left_open(f"too few polls to tell: {measured}; 3000 without an error are enough", measured) | row
    return failed(measured, "look at termination, bias, stubs and screen, and at what switches when it fails") | row
