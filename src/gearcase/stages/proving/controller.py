"""Proving the plant's side: run state and speed as they come in, the test registers as its controller shows them."""

import math

from gearcase.install.map_check import reading_of
from gearcase.stages.proving.session import Device, Proving, Row, failed, left_open, passed

__all__ = ["controller", "inputs"]

_CONTROLLER = (float(0x1234), 123456789.0, 123.456)


async def inputs(proving: Proving, one: Device) -> Row:
    """Run state and speed against an instrument."""
    found = await proving.values(one, "running", "speed")
    measured = f"{60 * found['speed']:.1f} rpm, {'running' if found['running'] else 'standing'}"
    if bool(found["running"]) != (found["speed"] > 0):
        return failed(measured, "run state and speed contradict each other: look at the register's address and scale")
    if proving.said.speed_hz is None:
        return left_open(f"{measured}: no speed by another instrument was given", measured)
    wanted = proving.said.speed_hz
    if abs(found["speed"] - wanted) <= 0.005 * wanted:
        return passed(f"{measured}, reference {60 * wanted:.1f} rpm")
    reading = reading_of([one.form.registers["speed"]], [found["speed"]], known=wanted, within=0.005 * wanted / 3)
    fits = f" ({reading.says})" if reading.fits else ""
    return failed(measured, f"the reference says {60 * wanted:.1f} rpm{fits}: look at scale, ratio and which shaft is meant")


async def controller(proving: Proving, one: Device) -> Row:
    """What the plant controller shows for the test registers."""
    if not proving.said.controller:
        return left_open("ask the controls engineer what the plant controller shows for the three test registers")
    shown = ", ".join(f"{value:g}" for value in proving.said.controller)
    right = len(proving.said.controller) == len(_CONTROLLER)
    if right and all(math.isclose(a, b, rel_tol=1e-6) for a, b in zip(proving.said.controller, _CONTROLLER, strict=True)):
        return passed("4660, 123456789, 123.456")
    return failed(shown, "wanted 4660 (0x1234), 123456789 and 123.456: look at address base, type and word order there")
