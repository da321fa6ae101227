"""What every step of the proving works with: job and bus, what a person brought, a device as it is read, and the outcomes."""

from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from gearcase.device.bus import RegisterBus
from gearcase.device.profile import Profile, WordOrder, decode
from gearcase.errors import BadReply, BadRequest, NoReply
from gearcase.install.housing import BusDevice
from gearcase.install.points import Point
from gearcase.job.build import Job

__all__ = ["HEAD", "Device", "Proving", "Row", "Said", "failed", "left_open", "passed"]

HEAD = 8  # registers that hold constants, model and serial

Row = dict[str, Any]


@dataclass(frozen=True)
class Said:
    """What a person brings to the proving, None or empty where they have not.

    Attributes
    ----------
    serials : mapping
        Device -> serial as built.
    tapped : sequence of str
        Points whose housing has just been tapped towards the output end.
    speed_hz, temperature : float or None
        By an instrument of their own. [Hz, K]
    light_seen : bool
        They saw each colour.
    controller : tuple of float
        What the plant controller shows for the three test registers.
    """

    serials: Mapping[str, str] = field(default_factory=dict)
    tapped: Sequence[str] = ()
    speed_hz: float | None = None
    temperature: float | None = None
    light_seen: bool = False
    controller: tuple[float, ...] = ()


@dataclass
class Device:
    """A device while it is being proved: how its words are read, and what it said first."""

    device: BusDevice
    form: Profile
    order: WordOrder = "high word first"
    shift: int = 0
    head: tuple[int, ...] = ()


@dataclass
class Proving:
    """The proving of one job."""

    job: Job
    bus: RegisterBus
    polls: int
    said: Said
    sleep: Callable[[float], Awaitable[None]]
    silence: dict[str, str] = field(default_factory=dict)

    async def greet(self, one: Device) -> tuple[int, ...]:
        """The device's first registers; empty where it is silent, with the reason kept."""
        first = one.form.rows[0]
        start, count = (0, HEAD) if first.role == "constant" else (first.address, first.words)
        try:
            return await self.bus.read(unit=one.device.address, function=first.function, start=start, count=count)
        except (NoReply, BadReply, BadRequest) as error:
            self.silence[one.device.name] = error.says
            return ()

    async def values(self, one: Device, *names: str) -> dict[str, float]:
        """Registers by their names, in SI, read now."""
        registers = [one.form.registers[name] for name in names]
        found = {}
        for register in registers:
            start = register.address + one.shift
            words = await self.bus.read(unit=one.device.address, function=register.function, start=start, count=register.words)
            found[register.name] = decode(register, words, one.order)
        return found

    async def vector(self, one: Device, name: str) -> list[float]:
        """Three registers of one quantity, x, y and z."""
        found = await self.values(one, *(f"{name} {axis}" for axis in "xyz"))
        return [found[f"{name} {axis}"] for axis in "xyz"]

    async def moving(self) -> str:
        """Why it cannot be taken as standing still; empty when it stands."""
        device = next((device for device in self.job.bus.devices if "running" in device.form.registers), None)
        if device is None:
            return "no device tells whether the drive runs"
        try:
            register = device.form.registers["running"]
            running = await self.bus.read(unit=device.address, function=register.function, start=register.address, count=1)
        except (NoReply, BadReply, BadRequest):
            return f"{device.name} does not say whether the drive runs"
        return "the drive runs" if running[0] else ""

    def point(self, one: Device) -> Point | None:
        """The point a device serves."""
        return next((point for point in self.job.points if point.name == one.device.point), None)


def passed(measured: str) -> Row:
    """It meets the criterion."""
    return {"outcome": "passed", "measured": measured, "says": ""}


def failed(measured: str, says: str) -> Row:
    """It does not; `says` is the cure."""
    return {"outcome": "failed", "measured": measured, "says": says}


def left_open(says: str, measured: str = "") -> Row:
    """It cannot be told yet; `says` what is missing."""
    return {"outcome": "open", "measured": measured, "says": says}
