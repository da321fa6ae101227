"""Proving the plant's side: run state, speed and load as they come in, the test registers as its controller shows them."""

from gearcase.install.map_check import reading_of
from gearcase.install.profile import CONSTANTS
from gearcase.stages.proving.session import Device, Proving, Row, failed, left_open, passed

__all__ = ["controller", "inputs"]

_WITHIN = 0.005  # common practice, no source
_CONTROLLER = tuple(CONSTANTS.values())
_LAST_DIGIT = (0.0, 0.0, 5e-4)  # whole numbers are exact; 123.456 stands to half of its last digit


async def inputs(proving: Proving, one: Device) -> Row:
    """Run state, speed and load against an instrument; the load as a share of the rated, in which 0.5 % is 0.5 % of it."""
    found = await proving.values(one, "running", "speed", "load")
    state = "running" if found["running"] else "standing"
    measured = f"{60 * found['speed']:.1f} rpm, {100 * found['load']:.1f} % load, {state}"
    if bool(found["running"]) != (found["speed"] > 0):
        return failed(measured, "run state and speed contradict each other: look at the register's address and scale")
    wanted, load = proving.said.speed_hz, proving.said.load
    if wanted is None:
        return left_open(f"{measured}: no speed by another instrument was given", measured)
    if abs(found["speed"] - wanted) > _WITHIN * wanted:
        reading = reading_of([one.form.registers["speed"]], [found["speed"]], known=wanted, within=_WITHIN * wanted / 3)
        fits = f" ({reading.says})" if reading.fits else ""
        return failed(measured, f"the reference says {60 * wanted:.1f} rpm{fits}: look at scale, ratio and which shaft is meant")
    if load is not None and abs(found["load"] - load) > _WITHIN:
        return failed(measured, f"the reference says {100 * load:.1f} % load: look at scale and at what counts as 100 %")
    if not found["running"]:
        return left_open("it stands, which proves no scale: prove it again while it runs, with --speed and --load", measured)
    if load is None:
        return left_open(f"{measured}: no load by another instrument was given", measured)
    return passed(f"{measured}, reference {60 * wanted:.1f} rpm, {100 * load:.1f} %")


async def controller(proving: Proving, one: Device) -> Row:
    """What the plant controller shows for the test registers."""
    if not proving.said.controller:
        return left_open("ask the controls engineer what the plant controller shows for the three test registers")
    shown = ", ".join(f"{value:.10g}" for value in proving.said.controller)
    right = len(proving.said.controller) == len(_CONTROLLER)
    if right and all(abs(a - b) <= off for a, b, off in zip(proving.said.controller, _CONTROLLER, _LAST_DIGIT, strict=True)):
        return passed("4660, 123456789, 123.456")
    says = "look at address base, type and word order there; 123456792 is a whole number read as real"
    return failed(shown, f"wanted 4660 (0x1234), 123456789 and 123.456: {says}")
