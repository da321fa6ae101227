"""What every step of the proving works with: job and bus, what a person brought, a device as it is read, and the outcomes."""

from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from gearcase.device.bus import RegisterBus
from gearcase.device.link_quality import LinkQuality
from gearcase.errors import BadReply, BadRequest, NoReply
from gearcase.install.housing import BusDevice
from gearcase.install.map_check import find_word_order
from gearcase.install.points import Point
from gearcase.install.profile import Profile
from gearcase.install.register import Register, WordOrder, decode, words_of_identity
from gearcase.job.build import Job

__all__ = ["INSTALLATION", "Device", "Key", "Proving", "Row", "Said", "begins_with_constants", "failed", "left_open", "passed"]

HEAD = 8  # registers that hold constants, model and serial
_FULL_LOAD = 0.9  # of rated; common practice, no source
INSTALLATION = "installation"  # what a step is about that is about no single device

Row = dict[str, Any]
Key = tuple[str, str]  # step and device, or `INSTALLATION`


@dataclass(frozen=True)
class Said:
    """What a person brings to the proving, None or empty where they have not.

    Attributes
    ----------
    built : mapping or None
        The latest ``fit/1`` document: serials, what is not entered, what was found against it.
    tapped : sequence of str
        Points whose housing has just been tapped towards the output end.
    calibrated : sequence of str
        Points whose sensor stands on the running calibrator.
    speed_hz, temperature, load : float or None
        By an instrument of their own. [Hz, K, share of rated]
    soak : float or None
        How long the whole bus is to be polled on the bench. [s]
    scanned : mapping or None
        The latest ``scan/1`` document.
    unplug : bool
        They are there to unplug one device after the other.
    light_seen : bool
        They saw each colour.
    controller : tuple of float
        What the plant controller shows for the three test registers.
    answers : mapping
        Key -> what they say of a step that only a person can tell.
    owners : mapping
        Key -> who owns a step that stays open.
    """

    built: Mapping[str, Any] | None = None
    tapped: Sequence[str] = ()
    calibrated: Sequence[str] = ()
    speed_hz: float | None = None
    temperature: float | None = None
    load: float | None = None
    soak: float | None = None
    scanned: Mapping[str, Any] | None = None
    unplug: bool = False
    light_seen: bool = False
    controller: tuple[float, ...] = ()
    answers: Mapping[Key, str] = field(default_factory=dict)
    owners: Mapping[Key, str] = field(default_factory=dict)


@dataclass
class Device:
    """A device while it is being proved: how its words are read, and what it said first."""

    device: BusDevice
    form: Profile
    order: WordOrder | None = None
    shift: int = 0
    head: tuple[int, ...] = ()

    @property
    def tested(self) -> bool:
        """Whether order and shift of its words are told by test registers."""
        return begins_with_constants(self.form)

    @property
    def first(self) -> tuple[int, int, int]:
        """Function, start and count of what it is asked for to see that it is there."""
        if self.tested:
            return 4, 0, HEAD
        one = min(self.form.rows, key=lambda one: (one.function, one.address))
        return one.function, one.address, one.words


@dataclass
class Proving:
    """The proving of one job.

    `tell` takes how far a long step is, in words; `links` are the frames counted for each address by a bus that asks more than once
    before a device counts as silent, empty for one that asks once; `silence` is why a device did not answer at first.
    """

    job: Job
    bus: RegisterBus
    polls: int
    said: Said
    sleep: Callable[[float], Awaitable[None]]
    tell: Callable[[str], None]
    links: Mapping[int, LinkQuality]
    devices: Sequence[Device] = ()
    silence: dict[str, str] = field(default_factory=dict)

    async def greet(self, one: Device) -> None:
        """Read the device's first registers, and how its words are to be read; none where it is silent, with the reason kept."""
        function, start, count = one.first
        try:
            one.head = await self.bus.read(unit=one.device.address, function=function, start=start, count=count)
        except (NoReply, BadReply, BadRequest) as error:
            self.silence[one.device.name] = error.says
            return
        if one.tested:
            one.order, one.shift = find_word_order(one.form, one.head)

    async def values(self, one: Device, *names: str) -> dict[str, float]:
        """Registers by their names, in SI, read now."""
        registers = [one.form.registers[name] for name in names]
        found = {}
        for register in registers:
            start = register.address + one.shift
            words = await self.bus.read(unit=one.device.address, function=register.function, start=start, count=register.words)
            found[register.name] = decode(register, words, one.order)
        return found

    async def identity(self, one: Device, register: Register) -> str:
        """What an identity register says, as people write it."""
        start = register.address + one.shift
        words = await self.bus.read(unit=one.device.address, function=register.function, start=start, count=register.words)
        return words_of_identity(register, words)

    async def loudest(self, one: Device) -> float:
        """The greatest of what it gives of overall velocity. [m/s]"""
        return max((await self.values(one, *(register.name for register in one.form.of("overall velocity")))).values())

    async def vector(self, one: Device, name: str) -> list[float]:
        """Three registers of one quantity, x, y and z."""
        found = await self.values(one, *(f"{name} {axis}" for axis in "xyz"))
        return [found[f"{name} {axis}"] for axis in "xyz"]

    async def answers(self, one: Device) -> bool:
        """Whether a device gives its first register right."""
        function, start, count = one.first
        if one.tested:
            constant = one.form.with_role("constant")[0]
            start, count = max(constant.address + one.shift, 0), constant.words
        try:
            words = await self.bus.read(unit=one.device.address, function=function, start=start, count=count)
        except (NoReply, BadReply, BadRequest):
            return False
        return not one.tested or words == one.head[start : start + count]

    def frames(self, one: Device) -> tuple[int, int]:
        """Frames sent to a device so far and how many of them had no right answer; none where the bus does not count them."""
        link = self.links.get(one.device.address, LinkQuality())
        return link.asked, link.errors

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

    async def running(self) -> dict[str, float]:
        """What the drive's inputs say: running, speed [Hz] and load [share of rated]; empty where nobody says or it stands."""
        names = ("running", "speed", "load")
        one = next((one for one in self.devices if all(name in one.form.registers for name in names)), None)
        if one is None or await self.moving() != "the drive runs":
            return {}
        return await self.values(one, *names)

    async def below_full_load(self) -> str:
        """Why it cannot be taken as running at full load; empty when it does."""
        running = await self.running()
        load = self.said.load if self.said.load is not None else running.get("load", 0.0)
        if running and load >= _FULL_LOAD:
            return ""
        return "run the drive at 90 % of its load and more, then prove it again: noise comes with the current"

    def point(self, one: Device) -> Point | None:
        """The point a device serves."""
        return next((point for point in self.job.points if point.name == one.device.point), None)


def begins_with_constants(form: Profile) -> bool:
    """Whether a register map begins with test registers."""
    constants = form.with_role("constant")
    return bool(constants) and all(one.function == 4 and one.address + one.words < HEAD for one in constants)


def passed(measured: str) -> Row:
    """It meets the criterion."""
    return {"outcome": "passed", "measured": measured, "says": ""}


def failed(measured: str, says: str) -> Row:
    """It does not; `says` is the cure."""
    return {"outcome": "failed", "measured": measured, "says": says}


def left_open(says: str, measured: str = "") -> Row:
    """It cannot be told yet; `says` what is missing."""
    return {"outcome": "open", "measured": measured, "says": says}
