"""Prove: does each device answer, point right and tell the truth?

The steps run in the order of `STEPS`, for every device they concern, and each leaves one piece of evidence: passed, failed with its
cure, or open with what is missing. A device that does not answer leaves its later steps open and the others go on. Evidence is kept
as it comes; a run that was cut off is taken up again where it stopped, and what passed is not asked again while what it rests on
stays the same. What has not passed makes the list of things that keep people from going home.
"""

import asyncio
import math
from collections.abc import Awaitable, Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from gearcase import tables
from gearcase.checksums import sha256_of_data
from gearcase.device.bus import RegisterBus
from gearcase.device.profile import CONSTANTS, LAMPS, Profile, WordOrder, decode, find_word_order, profile
from gearcase.errors import BadReply, BadRequest, NoReply, OutOfRange
from gearcase.install.bus import error_rate_limit
from gearcase.install.housing import BusDevice
from gearcase.install.orientation import GRAVITY, TOWARDS_OUTPUT, Turn, angle_between, consistent_with, rotation, tap_axis
from gearcase.install.points import Point
from gearcase.job.build import Job
from gearcase.judge.zones import rate
from gearcase.stages.result import StageResult
from gearcase.worked import Given, Origin, work

__all__ = ["STEPS", "Said", "evidence_key", "run"]

STEPS = {
    "answers": "answers at its address, which no other device has",
    "constants": "its test registers read 0x1234, 123456789 and 123.456",
    "identity": "its model is the profile's, its serial the as-built one",
    "gravity": "0.95 to 1.05 g, standing still",
    "orientation": "within 5 degrees of the plan, told apart from every other turn by a tap of 3 to 1 with its sign",
    "noise": "standing still, at most a fifth of the A/B boundary",
    "link": "at 95 % confidence at most 0.1 % of polls fail",
    "temperature": "within 1 K of a reference thermometer",
    "inputs": "speed within 0.5 % of a reference, run state right",
    "light": "each colour shows in the read-back; without heartbeat blue or off within 10 s; it comes back by itself",
    "light seen": "a person saw each colour",
    "controller": "the plant controller reads the test registers to the last digit",
}
_LEAST_G, _MOST_G = 0.95, 1.05  # common practice, no source
_TILT = math.radians(5)
_MOST_ERRORS = 1e-3
_FELL_SILENT = 20  # failed polls in a row, after which nobody waits longer
_NOISE_SHARE = 1 / 5
_FALLBACK = 10.0  # s
_CONTROLLER = tuple(CONSTANTS.values())
_CAUTION = (
    "Tap, touch and look only with the drive locked out, proved still and cool enough to touch; a backstop may hold load torque. "
    "Stand clear of what turns when it runs. Mains work is for a licensed electrician; local codes and site rules come first."
)
_HEAD = 8  # registers that hold constants, model and serial

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
class _Device:
    """A device while it is being proved: how its words are read, and what it said first."""

    device: BusDevice
    form: Profile
    order: WordOrder = "high word first"
    shift: int = 0
    head: tuple[int, ...] = ()


def evidence_key(row: Mapping[str, Any]) -> tuple[str, str]:
    """What a piece of evidence is about: step and device."""
    return str(row["step"]), str(row["device"])


async def run(
    job: Job,
    bus: RegisterBus,
    *,
    polls: int,
    said: Said,
    earlier: Mapping[tuple[str, str], Row],
    keep: Callable[[Row], None],
    sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
) -> StageResult:
    """Prove the devices of a job.

    Parameters
    ----------
    job : Job
    bus : RegisterBus
    polls : int
        For the quality of each link.
    said : Said
    earlier : mapping
        `evidence_key` -> latest evidence; what passed there and rests on the same is not asked again.
    keep : callable
        Takes each piece of evidence as it comes, before the next step begins.
    sleep : callable
        Waits so many seconds.

    Returns
    -------
    StageResult
        Document ``prove/1``; `wrong` when a step failed.
    """
    rows: list[Row] = []
    rests_on = {device.name: _rests_on(job, device) for device in job.bus.devices}
    proving = _Proving(job, bus, polls, said, sleep)
    devices = [_Device(device, profile(device.profile)) for device in job.bus.devices if device.profile]
    for one in devices:
        one.head = await proving.greet(one)
    for step in STEPS:
        for one in devices:
            if not proving.concerns(step, one):
                continue
            before = earlier.get((step, one.device.name))
            if before and before["outcome"] == "passed" and before["rests_on"] == rests_on[one.device.name] and one.head:
                rows.append(before)
                continue
            row = {"step": step, "device": one.device.name, "unit": one.device.address, "criterion": STEPS[step]}
            row |= await proving.step(step, one)
            row["rests_on"] = rests_on[one.device.name]
            keep(row)
            rows.append(row)
    rows += list(_without_profile(job))
    home = [
        {"device": row["device"], "step": row["step"], "outcome": row["outcome"], "says": row["says"]}
        for row in rows
        if row["outcome"] != "passed"
    ]
    failed = [row for row in rows if row["outcome"] == "failed"]
    document = {
        "schema": "prove/1",
        "job": job.title,
        "statement": _statement(len(rows), len(failed), len(home)),
        "evidence": rows,
        "may_go_home": not home,
        "before_going_home": home,
        "caution": _CAUTION,
    }
    return StageResult(
        "prove", document, (*job.sources(("points", "housing", "bus")), *tables.sources("registers")), wrong=bool(failed)
    )


@dataclass
class _Proving:
    """The steps, each giving ``outcome``, ``measured`` and ``says``."""

    job: Job
    bus: RegisterBus
    polls: int
    said: Said
    sleep: Callable[[float], Awaitable[None]]
    silence: dict[str, str] = field(default_factory=dict)

    def concerns(self, step: str, one: _Device) -> bool:
        """Whether a step is one for this kind of device."""
        only = {
            "gravity": "three-axis vibration",
            "orientation": "three-axis vibration",
            "noise": "three-axis vibration",
            "temperature": "temperature converter",
            "inputs": "drive inputs",
            "light": "stack light",
            "light seen": "stack light",
        }
        return step not in only or only[step] == one.form.name

    async def greet(self, one: _Device) -> tuple[int, ...]:
        """The device's first registers; empty where it is silent, with the reason kept."""
        try:
            return await self.bus.read(unit=one.device.address, function=4, start=0, count=_HEAD)
        except (NoReply, BadReply, BadRequest) as error:
            self.silence[one.device.name] = error.says
            return ()

    async def step(self, step: str, one: _Device) -> Row:
        """One step of one device."""
        if step != "answers" and not one.head:
            return _open("it does not answer: nothing of it can be proved yet")
        method: Callable[[_Device], Awaitable[Row]] = getattr(self, f"_{step.replace(' ', '_')}")
        try:
            return await method(one)
        except NoReply as error:
            return _failed("no reply", f"it fell silent ({error.asked}): look at its supply and its cable, then prove it again")
        except (BadReply, BadRequest, OutOfRange) as error:
            return _failed("nonsense", f"{error}; look at its profile and its model")

    async def _answers(self, one: _Device) -> Row:
        same = [device.name for device in self.job.bus.devices if device.address == one.device.address and device is not one.device]
        if same:
            says = f"{', '.join(same)} has address {one.device.address} too: both answer at once; give each its own, one at a time"
            return _failed(f"address {one.device.address} twice", says)
        if one.head:
            return _passed(f"unit {one.device.address} answers")
        heard = sorted(device.address for device in self.job.bus.devices if device.name not in self.silence and device.profile)
        others = (
            f"units {', '.join(map(str, heard))} answer, so look" if heard else "no unit answers: look at the gateway first, then"
        )
        says = f"{self.silence[one.device.name].partition(';')[0]}; {others} at its address, its supply and its stub"
        return _failed("no reply", says)

    async def _constants(self, one: _Device) -> Row:
        order, shift = find_word_order(one.form, one.head)
        shown = " ".join(f"{word:04X}" for word in one.head[:5])
        if order is None:
            says = f"no word order and no shift makes them right: it is not a {one.form.name}, or another device has its address"
            return _failed(shown, says)
        one.order, one.shift = order, shift
        if shift:
            says = (
                f"every value stands {abs(shift)} register {'later' if shift > 0 else 'earlier'}: its sheet counts from 1; shift it"
            )
            return _failed(f"shifted by {shift}", f"{says} in the device or in the gateway")
        if order != "high word first":
            return _failed(order, "it sends the low word first: set the device to high word first, then prove it again")
        return _passed(f"{shown}, high word first")

    async def _identity(self, one: _Device) -> Row:
        found = await self._values(one, "model", "serial")
        model, serial = one.form.registers["model"].constant, str(int(found["serial"]))
        if found["model"] != model:
            says = (
                f"model {found['model']:.0f} answers where a {one.form.name} ({model:.0f}) was planned: two devices are exchanged"
            )
            return _failed(f"model {found['model']:.0f}", says)
        built = self.said.serials.get(one.device.name, "")
        if built and built != serial:
            return _failed(f"serial {serial}", f"as built it is {built}: exchanged with another, or the entry is wrong")
        if not built:
            return _open(f"serial {serial}: no as-built entry says that this is the one fitted here", f"serial {serial}")
        return _passed(f"model {model:.0f}, serial {serial}, as built")

    async def _gravity(self, one: _Device) -> Row:
        if moving := await self._moving():
            return _open(f"{moving}: gravity is read standing still")
        size = float(np.linalg.norm(await self._vector(one, "gravity"))) / GRAVITY
        if _LEAST_G <= size <= _MOST_G:
            return _passed(f"{size:.3f} g")
        return _failed(f"{size:.3f} g", "scale or unit of the profile is wrong, or an axis is dead: compare x, y and z one by one")

    async def _orientation(self, one: _Device) -> Row:
        point = self._point(one)
        face = self.job.housing.face(point.face) if point else None
        if point is None or point.clock is None or face is None or not face.outward:
            return _open("the job does not say where its face looks and where its mark points: nothing to compare with")
        if moving := await self._moving():
            return _open(f"{moving}: it is told standing still")
        planned = rotation(face.outward, point.clock)
        gravity = await self._vector(one, "gravity")
        tilt = math.degrees(angle_between(planned @ np.array([0.0, 1.0, 0.0]), gravity))
        left = consistent_with(planned, gravity, within=_TILT, towards=TOWARDS_OUTPUT)
        if not left:
            return _failed(
                f"{tilt:.1f} degrees off", "it agrees with no quarter turn of the plan: is the face tilted, the clock wrong?"
            )
        if left[0].says != _AS_PLANNED:
            return _failed(
                _turns(left), f"turned or its axes are swapped: consistent with {_turns(left)}; turn it or correct the plan"
            )
        if point.name not in self.said.tapped:
            says = f"consistent with: {_turns(left)}; tap the housing at {point.name} towards the output end to tell which"
            return _open(says, f"{tilt:.1f} degrees off")
        tap = await self._vector(one, "tap")
        axis, clear = tap_axis(tap)
        if not clear:
            return _open(f"the tap went along no axis 3 to 1 ({_vector_words(tap)}): tap again, straight", _vector_words(tap))
        told = consistent_with(planned, gravity, within=_TILT, tap=tap, towards=TOWARDS_OUTPUT)
        if [turn.says for turn in told] == [_AS_PLANNED]:
            return _passed(f"{tilt:.1f} degrees off, tap along {axis}")
        which = (
            f"it stands with {_turns(told)}" if told else f"the tap along {axis} fits no turn of the sensor: its axes are swapped"
        )
        return _failed(f"tap along {axis}", f"{which}; turn it or correct the plan, then prove it again")

    async def _noise(self, one: _Device) -> Row:
        if moving := await self._moving():
            return _open(f"{moving}: its noise is heard standing still")
        ratings = self.job.drive.ratings
        rating = rate(0.0, power=ratings.power, speed_hz=self.job.drive.speed_hz, support=ratings.support)
        if rating is None:
            return _open("no zone applies by power, speed and support as they are known: nothing to compare with")
        loudest = float(max(await self._vector(one, "overall velocity")))
        most = _NOISE_SHARE * rating.boundaries[0]
        measured = f"{1000 * loudest:.3f} mm/s of at most {1000 * most:.3f}"
        if loudest <= most:
            return _passed(measured)
        return _failed(
            measured, "loose, or something nearby runs: press it by hand, listen for neighbours, look at cable and screen"
        )

    async def _link(self, one: _Device) -> Row:
        errors = done = in_a_row = 0
        while done < self.polls and in_a_row < _FELL_SILENT:
            try:
                words = await self.bus.read(unit=one.device.address, function=4, start=max(one.shift, 0), count=1)
                wrong = one.shift >= 0 and words != (0x1234,)
            except (NoReply, BadReply):
                wrong = True
            done, errors, in_a_row = done + 1, errors + wrong, in_a_row + 1 if wrong else 0
        if in_a_row == _FELL_SILENT:
            says = "it fell silent: look at supply, cable and gateway, then prove it again"
            return _failed(f"silent after {done - in_a_row} polls", says)
        limit = work(
            f"error rate of {one.device.name}",
            error_rate_limit,
            polls=Given("polls", float(done), "-", Origin.MEASURED),
            errors=Given("errors", float(errors), "-", Origin.MEASURED),
        )
        measured = f"{errors} of {done} polls failed: at most {100 * limit.value:.3f} %"
        row = {"worked": limit.as_dict()}
        if limit.value <= _MOST_ERRORS:
            return _passed(measured) | row
        if errors == 0 or errors / done <= _MOST_ERRORS:
            return _open(f"too few polls to tell: {measured}; 3000 without an error are enough", measured) | row
        return _failed(measured, "look at termination, bias, stubs and screen, and at what switches when it fails") | row

    async def _temperature(self, one: _Device) -> Row:
        found = (await self._values(one, "sump temperature"))["sump temperature"] - 273.15
        if self.said.temperature is None:
            return _open(f"it reads {found:.1f} °C: no reference thermometer was given", f"{found:.1f} °C")
        off = found - (self.said.temperature - 273.15)
        measured = f"{found:.1f} °C, {off:+.1f} K of the reference"
        if abs(off) <= 1.0:
            return _passed(measured)
        return _failed(measured, "look at the probe's kind and wiring, its immersion, and the converter's setting")

    async def _inputs(self, one: _Device) -> Row:
        found = await self._values(one, "running", "speed")
        measured = f"{60 * found['speed']:.1f} rpm, {'running' if found['running'] else 'standing'}"
        if bool(found["running"]) != (found["speed"] > 0):
            return _failed(measured, "run state and speed contradict each other: look at the register's address and scale")
        if self.said.speed_hz is None:
            return _open(f"{measured}: no speed by another instrument was given", measured)
        wanted = self.said.speed_hz
        if abs(found["speed"] - wanted) <= 0.005 * wanted:
            return _passed(f"{measured}, reference {60 * wanted:.1f} rpm")
        return _failed(measured, f"the reference says {60 * wanted:.1f} rpm: look at scale, ratio and which shaft is meant")

    async def _light(self, one: _Device) -> Row:
        wanted, lit = one.form.registers["lamps wanted"], one.form.registers["lamps lit"]
        for beat, (colour, lamp) in enumerate(LAMPS.items(), start=1):
            await self.bus.write(unit=one.device.address, start=wanted.address, words=[lamp, beat])
            shown = (await self._values(one, lit.name))[lit.name]
            if shown != lamp:
                return _failed(
                    f"{colour}: {shown:.0f}", f"{colour} was written and {_lamps(int(shown))} is lit: lamp, wiring or order"
                )
        await self.sleep(_FALLBACK + 1)
        alone = int((await self._values(one, lit.name))[lit.name])
        if alone not in (0, LAMPS["blue"]):
            return _failed(
                _lamps(alone), f"without heartbeat {_lamps(alone)} stays lit: set the light to blue or off when it is left alone"
            )
        await self.bus.write(unit=one.device.address, start=wanted.address, words=[LAMPS["white"], 99])
        back = int((await self._values(one, lit.name))[lit.name])
        if back != LAMPS["white"]:
            return _failed(_lamps(back), "it does not come back by itself when the heartbeat does")
        return _passed(f"{', '.join(LAMPS)} read back; left alone {_lamps(alone)}; came back")

    async def _light_seen(self, one: _Device) -> Row:
        if self.said.light_seen:
            return _passed("seen by the person named")
        return _open("nobody has said that they saw each colour: stand where the crew stands, prove again and look")

    async def _controller(self, one: _Device) -> Row:
        if not self.said.controller:
            return _open("ask the controls engineer what the plant controller shows for the three test registers")
        shown = ", ".join(f"{value:g}" for value in self.said.controller)
        right = len(self.said.controller) == len(_CONTROLLER)
        if right and all(math.isclose(a, b, rel_tol=1e-6) for a, b in zip(self.said.controller, _CONTROLLER, strict=True)):
            return _passed("4660, 123456789, 123.456")
        return _failed(shown, "wanted 4660 (0x1234), 123456789 and 123.456: look at address base, type and word order there")

    async def _values(self, one: _Device, *names: str) -> dict[str, float]:
        registers = [one.form.registers[name] for name in names]
        found = {}
        for register in registers:
            start = register.address + one.shift
            words = await self.bus.read(unit=one.device.address, function=register.function, start=start, count=register.words)
            found[register.name] = decode(register, words, one.order)
        return found

    async def _vector(self, one: _Device, name: str) -> list[float]:
        found = await self._values(one, *(f"{name} {axis}" for axis in "xyz"))
        return [found[f"{name} {axis}"] for axis in "xyz"]

    async def _moving(self) -> str:
        """Why it cannot be taken as standing still; empty when it stands."""
        device = next((device for device in self.job.bus.devices if device.profile == "drive inputs"), None)
        if device is None:
            return "no device tells whether the drive runs"
        try:
            form = profile(device.profile)
            running = await self.bus.read(unit=device.address, function=4, start=form.registers["running"].address, count=1)
        except (NoReply, BadReply, BadRequest):
            return f"{device.name} does not say whether the drive runs"
        return "the drive runs" if running[0] else ""

    def _point(self, one: _Device) -> Point | None:
        return next((point for point in self.job.points if point.name == one.device.point), None)


_AS_PLANNED = "x as x, y as y, z as z"


def _turns(turns: Sequence[Turn]) -> str:
    return " or ".join("as planned" if turn.says == _AS_PLANNED else turn.says for turn in turns)


def _vector_words(vector: Sequence[float]) -> str:
    return ", ".join(f"{axis} {value:.1f}" for axis, value in zip("xyz", vector, strict=True)) + " m/s2"


def _lamps(word: int) -> str:
    return " and ".join(colour for colour, lamp in LAMPS.items() if word & lamp) or "nothing"


def _passed(measured: str) -> Row:
    return {"outcome": "passed", "measured": measured, "says": ""}


def _failed(measured: str, says: str) -> Row:
    return {"outcome": "failed", "measured": measured, "says": says}


def _open(says: str, measured: str = "") -> Row:
    return {"outcome": "open", "measured": measured, "says": says}


def _without_profile(job: Job) -> Iterator[Row]:
    for device in job.bus.devices:
        if not device.profile:
            yield {
                "step": "answers",
                "device": device.name,
                "unit": device.address,
                "criterion": STEPS["answers"],
                **_open(f"{device.where}: it has no profile, so nothing says what its registers mean"),
                "rests_on": "",
            }


def _rests_on(job: Job, device: BusDevice) -> str:
    """Hash of what evidence of one device rests on: its entry, its point's orientation, and its profile."""
    point = next((point for point in job.points if point.name == device.point), None)
    face = job.housing.face(point.face) if point else None
    registers = [dict(row) for row in tables.load("registers") if row["profile"] == device.profile]
    placed = [point.face, point.clock, face.outward if face else ""] if point else []
    return sha256_of_data([device.name, device.address, device.profile, device.point, placed, registers])


def _statement(total: int, failed: int, left: int) -> str:
    if not total:
        return "nothing to prove: the job lists no devices"
    if failed:
        return f"do not go home: {failed} of {total} steps failed, {left - failed} are open"
    if left:
        return f"not yet: {left} of {total} steps are open, none failed"
    return f"you may go home: all {total} steps passed"
