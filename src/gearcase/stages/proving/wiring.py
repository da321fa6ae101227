"""Proving the bus: is everybody there and nobody else, how often does a poll fail, does unplugging one silence just that one?"""

from gearcase.install.bus import error_rate_limit, transaction_time
from gearcase.install.map_check import find_word_order
from gearcase.stages.proving.session import Device, Proving, Row, failed, left_open, passed
from gearcase.worked import Given, Origin, work

__all__ = ["LEAST_POLLS", "MOST_ERRORS", "constants", "counted", "found", "link", "link_at_load", "unplugged"]

MOST_ERRORS = 1e-3
LEAST_POLLS = 10_000
_FELL_SILENT = 20  # failed polls in a row, after which nobody waits longer
_TOLD_EVERY = 1000  # polls
_LAST_ADDRESS = 247  # MODBUS over Serial Line V1.02
_WITHIN = 3  # polls until an unplugged device must be bad
_EVERY, _PATIENCE = 1.0, 120  # s between two rounds, and rounds a person has to unplug or plug


async def constants(proving: Proving, one: Device) -> Row:
    """Its test registers, by which word order and shift are told."""
    order, shift = find_word_order(one.form, one.head)
    shown = " ".join(f"{word:04X}" for word in one.head[:5])
    if order is None:
        says = f"no word order and no shift makes them right: it is not a {one.form.name}, or another device has its address"
        return failed(shown, says)
    if shift:
        says = f"every value stands {abs(shift)} register {'later' if shift > 0 else 'earlier'}: its sheet counts from 1; shift it"
        return failed(f"shifted by {shift}", f"{says} in the device or in the gateway")
    if order != "high word first":
        return failed(order, "it sends the low word first: set the device to high word first, then prove it again")
    return passed(f"{shown}, high word first")


async def found(proving: Proving, one: Device) -> Row:
    """The latest search of the bus: only those planned answer, and all of them do."""
    document = proving.said.scanned
    if document is None:
        return left_open("take the plant's master off the bus and search it: gearcase scan; then prove it again")
    planned = {(device.name, device.address) for device in proving.job.bus.devices}
    if {(row["device"], row["address"]) for row in document["planned"]} != planned:
        return left_open("the bus was searched before the job said what it says now: gearcase scan again")
    if document["asked"] < _LAST_ADDRESS:
        return left_open(f"{document['asked']} of {_LAST_ADDRESS} addresses were searched: gearcase scan all of them")
    strangers = {row["address"] for row in document["found"]} - {address for _, address in planned}
    if strangers or any(row["says"] for row in document["planned"]):
        return failed(document["statement"], "; ".join(document["findings"]))
    return passed(document["statement"])


async def counted(proving: Proving, one: Device, wanted: int) -> tuple[int, int, int]:
    """Polls done, how many failed, and how many of them in a row at the end; stopped early where it fell silent.

    Where the bus asks more than once, every frame counts: a second try that is answered does not make the first one good.
    """
    errors = done = in_a_row = 0
    before = proving.frames(one)
    takes = wanted * transaction_time(baud=proving.job.bus.baud, registers=1, device_delay=proving.job.bus.device_delay or 0.0)
    proving.tell(
        f"{one.device.name}: {wanted} polls, about {max(takes / 60, 0.1):.1f} min on a wire at {proving.job.bus.baud} baud"
    )
    while done < wanted and in_a_row < _FELL_SILENT:
        right = await proving.answers(one)
        done, errors, in_a_row = done + 1, errors + (not right), 0 if right else in_a_row + 1
        if done % _TOLD_EVERY == 0:
            proving.tell(f"{one.device.name}: {done} of {wanted} polls, {errors} failed")
    asked, lost = (now - then for now, then in zip(proving.frames(one), before, strict=True))
    return max(done, asked), max(errors, lost), in_a_row


async def link(proving: Proving, one: Device) -> Row:
    """Share of polls that fail, with its confidence limit."""
    done, errors, in_a_row = await counted(proving, one, proving.polls)
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
    if limit.value > MOST_ERRORS and errors and errors / done > MOST_ERRORS:
        return failed(measured, "look at termination, bias, stubs and screen, and at what switches when it fails") | row
    if limit.value > MOST_ERRORS or done < LEAST_POLLS:
        return left_open(f"too few polls to tell: {measured}; {LEAST_POLLS} are asked for", measured) | row
    return passed(measured) | row


async def link_at_load(proving: Proving, one: Device) -> Row:
    """As `link`, at full load: what the converter and the currents in the ground do shows here."""
    if says := await proving.below_full_load():
        return left_open(says)
    return await link(proving, one)


async def unplugged(proving: Proving, one: Device) -> Row:
    """A person pulls its plug: it and nobody else goes bad, within three polls, and comes back."""
    name = one.device.name
    if not proving.said.unplug:
        return left_open("somebody pulls its plug while it is polled: --unplug, and two minutes for each device")
    proving.tell(f"unplug {name} now, leave everything else")
    before: dict[str, int] = {each.device.name: 0 for each in proving.devices}  # failed polls in a row

    async def poll() -> list[str]:
        for each in proving.devices:
            before[each.device.name] = 0 if await proving.answers(each) else before[each.device.name] + 1
        return [other for other, count in before.items() if count >= _WITHIN]

    for _ in range(_PATIENCE):
        silent = await poll()
        await proving.sleep(_EVERY)
        if silent:
            silent = await poll()  # one that was asked just before the plug came out is a poll behind
            break
    else:
        return failed("nothing went bad", f"{name} still answers: another device was unplugged, or another answers at its address")
    measured = f"{', '.join(silent)} bad within {_WITHIN} polls"
    if silent != [name]:
        says = "its plug carries more than itself, or it is not the device the plan means: look at its stub and its label"
        return failed(measured, f"{says}; {name} was to go alone")
    proving.tell(f"plug {name} in again")
    for _ in range(_PATIENCE):
        if await proving.answers(one):
            return passed(f"{measured}, and back")
        await proving.sleep(_EVERY)
    return failed(f"{measured}, not back", "it stays silent: look at its plug and whether it starts by itself")
