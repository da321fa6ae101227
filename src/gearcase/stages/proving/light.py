"""Proving the stack light: each colour, what it does when it is left alone, and that it comes back by itself."""

from gearcase.install.profile import LAMPS
from gearcase.stages.proving.session import Device, Proving, Row, failed, left_open, passed

__all__ = ["light", "light_seen"]

_FALLBACK = 10.0  # s


async def light(proving: Proving, one: Device) -> Row:
    """Each colour in the read-back, what it does alone, and that it comes back."""
    wanted, lit = one.form.registers["lamps wanted"], one.form.registers["lamps lit"]
    for beat, (colour, lamp) in enumerate(LAMPS.items(), start=1):
        await proving.bus.write(unit=one.device.address, start=wanted.address, words=[lamp, beat])
        shown = (await proving.values(one, lit.name))[lit.name]
        if shown != lamp:
            return failed(f"{colour}: {shown:.0f}", f"{colour} was written and {_lamps(int(shown))} is lit: lamp, wiring or order")
    await proving.sleep(_FALLBACK + 1)
    alone = int((await proving.values(one, lit.name))[lit.name])
    if alone not in (0, LAMPS["blue"]):
        return failed(
            _lamps(alone), f"without heartbeat {_lamps(alone)} stays lit: set the light to blue or off when it is left alone"
        )
    await proving.bus.write(unit=one.device.address, start=wanted.address, words=[LAMPS["white"], 99])
    back = int((await proving.values(one, lit.name))[lit.name])
    if back != LAMPS["white"]:
        return failed(_lamps(back), "it does not come back by itself when the heartbeat does")
    return passed(f"{', '.join(LAMPS)} read back; left alone {_lamps(alone)}; came back")


async def light_seen(proving: Proving, one: Device) -> Row:
    """That a person saw each colour."""
    if proving.said.light_seen:
        return passed("seen by the person named")
    return left_open("nobody has said that they saw each colour: stand where the crew stands, prove again and look")


def _lamps(word: int) -> str:
    return " and ".join(colour for colour, lamp in LAMPS.items() if word & lamp) or "nothing"
