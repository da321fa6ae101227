"""The rig: what each device's registers read now, and what can be changed while it runs.

One `Rig` stands for the drive of a job. Its vibration sensors deliver records of what `machine.heard` makes, as their profiles say
that records are fetched; its sump warms towards the ambient plus what the load adds; its stack light falls back to blue when nobody
writes its heartbeat. A device of a kind that the job itself describes reads what its rows have names and roles of the house for,
else 0. What goes wrong with drive, device or link comes and goes and grows as `faults` says; how a device is set or mounted wrong
is a `SensorFault`.
"""

import math
import struct
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from gearcase import units
from gearcase.device.rig.faults import BUS, KINDS, Severity, kind_named
from gearcase.device.rig.machine import DRY_RISE, STATES, heard, places
from gearcase.device.rig.records import (
    RECORD_RATE_HZ,
    RECORD_SAMPLES,
    Record,
    count_of,
    figures,
    held,
    sampled,
    unit_of_count,
    word_of,
    words_of,
)
from gearcase.drive import shaft_faults
from gearcase.errors import BadRequest, NoReply, OutOfRange
from gearcase.install.housing import BusDevice
from gearcase.install.orientation import GRAVITY, TOWARDS_OUTPUT, rotation
from gearcase.install.profile import LAMPS, WRITTEN, Profile, profile
from gearcase.install.record_forms import Block, RecordForm, by_sheet
from gearcase.install.register import ORDERS, Register, encode
from gearcase.job.build import Job

__all__ = ["RECORD_REGISTERS", "Rig", "SensorFault"]

RECORD_REGISTERS = profile("three-axis vibration").records[0].blocks[0].first.address
_MAKING = ThreadPoolExecutor(1)  # of records that take longer to make than an answer may
_RECORD_LIFE = 2.0  # s after which a sensor takes a new record
_LONG_RECORD_LIFE = 600.0  # s after which one of a form that was chosen is replaced
_KEPT_FOR_READING = 60.0  # s for which it keeps one that is being read
_FALLBACK = 10.0  # s without heartbeat until the light shows blue
_WARMING = 1800.0  # s, time constant of the sump
_RISE = 40.0  # K of the sump over the ambient at full load
_CALIBRATOR, _CALIBRATOR_HZ = 10.0, 1000 / (2 * math.pi)  # m/s2 RMS where the angular frequency is 1000 rad/s: 10 mm/s
_AXES = "zxy"  # what 0, 1 and 2 in the register "record axis" ask for
_OF_AN_AXIS: tuple[Literal["ski slope", "offset", "clip"], ...] = ("ski slope", "offset", "clip")
_NEGATIVE = ("offset", "clock drift")  # sizes that may be below nothing


@dataclass(frozen=True)
class SensorFault:
    """How one device is set or mounted wrong, for trying the proving of it.

    `silent` answers nothing; `swapped_words` sends the low word first; `shift` moves every register; `axes` is the order in which
    the readings of x, y and z come out, each with its sign; `address` is the one it has instead of the planned one.
    """

    silent: bool = False
    swapped_words: bool = False
    shift: int = 0
    axes: tuple[tuple[int, int], ...] = ((0, 1), (1, 1), (2, 1))
    address: int | None = None


@dataclass
class Rig:
    """A running simulated drive.

    Attributes
    ----------
    job : Job
        Whose devices it serves; those without a profile are left out.
    clock : callable
        Seconds, ever growing.
    speed_hz, load : float
        Of the input; speed 0 stands still. [Hz, share of rated]
    ambient, sump : float
        [K]
    faults : dict
        (kind, place) -> `faults.Severity`.
    sensor_faults : dict
        Unit address -> `SensorFault`.
    state : str
        How it turns: one of `machine.STATES`.
    calibrated : str
        The point whose sensor stands on a running calibrator and not on the drive; empty for none.
    seed : int
        Of what befalls frames by chance.
    """

    job: Job
    clock: Callable[[], float]
    speed_hz: float
    load: float = 0.7
    ambient: float = 293.15
    sump: float = 293.15
    faults: dict[tuple[str, str], Severity] = field(default_factory=dict)
    sensor_faults: dict[int, SensorFault] = field(default_factory=dict)
    taps: dict[str, tuple[float, float, float]] = field(default_factory=dict)
    lamps: int = 0
    state: str = "steady"
    calibrated: str = ""
    seed: int = 1

    def __post_init__(self) -> None:
        self._devices = {device.address: device for device in self.job.bus.devices if device.profile}
        self._records: dict[int, dict[str, Record]] = {}
        self._taken = dict.fromkeys(self._devices, 0)  # records ever, so that no two are alike
        self._numbers = dict.fromkeys(self._devices, 0)  # records since the device was switched on
        self._axis = dict.fromkeys(self._devices, 0)
        self._coming: dict[int, tuple[Future[Record], int]] = {}  # a record that was chosen, and the number until it is there
        self._written: dict[int, dict[int, int]] = {unit: {} for unit in self._devices}  # by register; of what nothing else keeps
        self._up_since = dict.fromkeys(self._devices, 0.0)  # after a brown-out, until when it is silent
        self._last_said: dict[int, dict[str, float]] = {}
        self._heartbeat_written = 0
        self._heartbeat_at = -math.inf
        self._warmed = self.clock()
        self.chance = np.random.default_rng(self.seed)

    @property
    def units(self) -> tuple[int, ...]:
        """Its devices, by the addresses planned for them."""
        return tuple(self._devices)

    def at_address(self, address: int) -> tuple[int, ...]:
        """The devices that take a frame to an address for theirs: none, one, or several where addresses clash."""
        return tuple(unit for unit in self._devices if (self._wrong(unit).address or unit) == address and not self.is_silent(unit))

    def is_silent(self, unit: int) -> bool:
        """Whether nothing of a device is heard: not there, not wired, unplugged, or restarting."""
        if unit not in self._devices or self._wrong(unit).silent:
            return True
        return self.size("unplugged", unit) is not None or self.clock() < self._up_since[unit]

    def profile_of(self, unit: int) -> Profile:
        """Profile of one unit."""
        return self._devices[unit].form

    def size(self, kind: str, unit: int) -> float | None:
        """Size of a fault of a unit or of the whole bus now, the larger of both; None where there is none."""
        found = [self.faults[kind, place].at(self.clock()) for place in (str(unit), BUS) if (kind, place) in self.faults]
        return max((one for one in found if one is not None), default=None)

    def share(self, kind: str, unit: int) -> float:
        """Share of frames that a fault of a unit or of the whole bus befalls; 0 where there is none."""
        return max((self.faults[kind, place].share for place in (str(unit), BUS) if (kind, place) in self.faults), default=0.0)

    def set_fault(
        self, place: str, kind: str, size: float, *, over: float = 0.0, lasting: float = math.inf, share: float = 1.0
    ) -> None:
        """Put a fault in, let it grow from its present size, or take it away with size 0.

        Parameters
        ----------
        place : str
            As the kind asks for, see `faults.KINDS`.
        kind : str
        size : float
            In SI.
        over : float
            In which it grows from its present size. [s]
        lasting : float
            After which it is gone. [s]
        share : float
            Share of frames it befalls, where it befalls some.

        Raises
        ------
        OutOfRange
            No such kind or place, or no such size.
        """
        kind = kind_named(kind)
        self._check_place(kind, place)
        if not math.isfinite(size) or (size < 0 and kind not in _NEGATIVE) or (size > 1 and KINDS[kind].says.startswith("share")):
            raise OutOfRange(kind, size, "a size of 0 or more, and a share of 1 at most")
        now, before = self.clock(), self.faults.pop((kind, place), None)
        self._hear_anew(kind)
        if kind == "brown-out" and share == 1.0:
            for unit in self._devices if place == BUS else (int(place),):
                self.restart(unit, size)
        elif over or size not in (0.0, KINDS[kind].sound):
            first = before.at(now) if before and over else None
            grown = KINDS[kind].sound if first is None else first
            until = before.until if before and over else now + lasting
            self.faults[kind, place] = Severity(size, grown, now, over, until, before.share if before and over else share)

    def mend(self, kind: str, place: str) -> None:
        """Take a fault away.

        Raises
        ------
        OutOfRange
            There is none.
        """
        if (kind_named(kind), place) not in self.faults:
            there = "; ".join(f"{kind} at {place}".removesuffix(" at ") for kind, place in self.faults) or "none"
            raise OutOfRange("fault", repr(f"{kind} at {place}".removesuffix(" at ")), f"one that is there: {there}")
        del self.faults[kind_named(kind), place]
        self._hear_anew(kind_named(kind))

    def mend_unit(self, place: str) -> None:
        """Take away all that is wrong with a unit's device and its link, or with `BUS` as a whole."""
        for key in [key for key in self.faults if KINDS[key[0]].place == "unit" and key[1] == place]:
            del self.faults[key]
        if place != BUS:
            self.sensor_faults.pop(int(place), None)
            self._up_since[int(place)] = min(self._up_since[int(place)], self.clock())
            self._records.pop(int(place), None)

    def mend_all(self) -> None:
        """Take everything away."""
        self.faults.clear()
        self._drop_records()
        for unit in self.units:
            self.mend_unit(str(unit))

    def restart(self, unit: int, silent: float) -> None:
        """A device loses its supply: silent for so long [s], and back with its defaults, its records counted anew."""
        self._up_since[unit] = self.clock() + silent
        self._records.pop(unit, None)
        self._last_said.pop(unit, None)
        self._axis[unit] = 0
        self._written[unit].clear()
        self._numbers[unit] = 0
        if self._devices[unit].profile == "stack light":
            self.lamps, self._heartbeat_written, self._heartbeat_at = 0, 0, -math.inf

    def set_speed(self, speed_hz: float) -> None:
        """Speed of the input; 0 stops the drive. [Hz]"""
        if speed_hz < 0:
            raise OutOfRange("speed", speed_hz, "0 Hz or more")
        self._warm()
        self.speed_hz = speed_hz
        self._drop_records()

    def set_state(self, state: str) -> None:
        """How the drive turns: one of `machine.STATES`.

        Raises
        ------
        OutOfRange
        """
        if state not in STATES:
            raise OutOfRange("state", repr(state), f"one of: {', '.join(STATES)}")
        self.state = state
        self._drop_records()

    def calibrate(self, point: str) -> None:
        """Put the sensor of a point on a calibrator, 159.2 Hz and 10 m/s2 RMS along its z; back on the drive where empty.

        Raises
        ------
        OutOfRange
            No such point.
        """
        if point:
            self._check_point(point)
        self.calibrated = point
        self._drop_records()

    def tap(self, point: str) -> None:
        """Tap the housing at a point towards the output end; the sensor keeps the peaks until its next tap.

        Raises
        ------
        OutOfRange
            No such point.
        """
        self._check_point(point)
        hit = self._planned(point) @ (30.0 * np.array(TOWARDS_OUTPUT))
        self.taps[point] = (float(hit[0]) + 1.0, float(hit[1]) - 2.0, float(hit[2]) + 1.5)

    def read(self, unit: int, start: int, count: int) -> list[int]:
        """Registers as the unit sends them now.

        Raises
        ------
        NoReply, BadRequest
        """
        asked = f"registers {start} to {start + count - 1}"
        wrong = self._wrong(unit)
        if self.is_silent(unit):
            raise NoReply(unit, asked, "no reply")
        start -= wrong.shift
        standing = self._standing(unit, start)
        words = self._words(unit, start, count) if standing is None else self._samples_at(unit, *standing, start, count)
        if len(words) < count:
            raise BadRequest(unit, asked, "it has no such register")
        return words

    def write(self, unit: int, start: int, words: Sequence[int]) -> None:
        """Write holding registers: the lamps and the heartbeat of the stack light, what a record is read of and how, an address.

        Raises
        ------
        NoReply, BadRequest
        """
        asked = f"writing registers {start} to {start + len(words) - 1}"
        if self.is_silent(unit):
            raise NoReply(unit, asked, "no reply")
        writable = {one.address: one for one in self.profile_of(unit).registers.values() if one.role in WRITTEN}
        for address, word in enumerate(words, start=start):
            if address not in writable:
                raise BadRequest(unit, asked, "it does not let this register be written")
            match writable[address]:
                case Register(name="lamps wanted"):
                    self.lamps = word
                case Register(name="heartbeat written"):
                    self._heartbeat_written, self._heartbeat_at = word, self.clock()
                case Register(role="bus address"):
                    if not 1 <= word <= 247:
                        raise BadRequest(unit, asked, "it refuses the value")
                    self.sensor_faults[unit] = replace(self._wrong(unit), address=word)
                case Register(name="record axis"):
                    self._axis[unit] = word
                case Register(role="waveform form" | "waveform trigger") as one:
                    forms = [form.select for form in self.profile_of(unit).records]
                    if one.role == "waveform form" and word not in [word_of(select) for select in forms if select]:
                        raise BadRequest(unit, asked, "it refuses the value")
                    self._written[unit][address] = word
                    self._begin_record(unit)
                case _:
                    self._written[unit][address] = word

    def _words(self, unit: int, start: int, count: int) -> list[int]:
        """Registers by the unit's profile, 0 where it has none between; fewer where they end."""
        form, wrong = self.profile_of(unit), self._wrong(unit)
        end = min(start + count, form.span)
        wanted = [one for one in form.registers.values() if one.address < end and one.address + one.words > start]
        values = self._values(unit, form) if any(one.constant is None for one in wanted) else {}
        words = [0] * (end - start)
        for register in wanted:
            order = ORDERS[ORDERS.index(register.order) ^ wrong.swapped_words]
            if register.type.startswith("text"):
                text = register.text.encode("ascii", "replace").ljust(2 * register.words, b"\0")
                said: Sequence[int] = struct.unpack(f">{register.words}H", text)
            elif (value := self._value(unit, register, values)) is not None:
                said = encode(register, value, order)
            else:
                continue
            for place, word in enumerate(said, start=register.address - start):
                if 0 <= place < len(words):
                    words[place] |= word  # bits of one register stand in rows of their own; forms of record all say the chosen one
        return words

    def _value(self, unit: int, register: Register, values: Mapping[str, float]) -> float | None:
        """What a register reads: by its name or role, or its constant. [SI]  None of what nobody here knows."""
        if register.role.startswith("waveform"):
            return self._of_record(unit, register)
        value = values.get(register.name, values.get(register.role))
        if value is None and register.constant is not None:
            return units.convert(register.constant, register.unit, register.kind) if register.kind else register.constant
        return self._written[unit].get(register.address) if value is None else value

    def _of_record(self, unit: int, register: Register) -> float | None:
        """What a register of a record reads, of the form that is chosen."""
        if register.role in WRITTEN:
            first = self._forms(unit)[0].select if register.role == "waveform form" else None
            return self._written[unit].get(register.address, word_of(first) if first else int(register.low or 0))
        if register.role == "waveform ready":
            return 1.0
        for form in self._forms(unit):
            if register == form.samples:
                return float(count_of(form))
            if register == form.rate:
                return form.rate_hz or RECORD_RATE_HZ
            if register == form.number:
                coming, before = self._coming.get(unit, (None, 0))
                return self._record(unit, form).number if coming is None or coming.done() else before
            for block in form.blocks:
                if register == block.step:
                    return self._worth(unit, form, block, self._axes_of(unit, block)[0]) / unit_of_count(block)
                if register == block.page_samples:
                    return held(form, block)
        return None

    def _forms(self, unit: int) -> tuple[RecordForm, ...]:
        """The forms of record that can be read now: the chosen one, where one is chosen."""
        forms, written = self.profile_of(unit).records, self._written[unit]
        selects = [one.select for one in forms if one.select is not None]
        if not selects:
            return forms
        chosen = written.get(selects[0].address, word_of(selects[0]))
        return tuple(one for one in forms if one.select is not None and word_of(one.select) == chosen)

    def _standing(self, unit: int, start: int) -> tuple[RecordForm, Block] | None:
        """The record whose block a register belongs to."""
        for form in self._forms(unit):
            for block in form.blocks:
                if 0 <= start - block.first.address < held(form, block) * len(block.axes) * block.first.words:
                    return form, block
        return None

    def _samples_at(self, unit: int, form: RecordForm, block: Block, start: int, count: int) -> list[int]:
        """Registers of a block; fewer where it ends."""
        record = self._record(unit, form)
        record.kept_until = self.clock() + _KEPT_FOR_READING  # it stays as it is while it is being read
        first, whole, axes = block.first, held(form, block), self._axes_of(unit, block)
        page = 0
        if block.page is not None:
            low = int(block.page.low or 0)
            page = self._written[unit].get(block.page.address, low) - low
        each = len(axes) * first.words
        begin, end = (start - first.address) // each, -(-(start - first.address + count) // each)
        ours = slice(page * whole + begin, page * whole + min(end, whole))
        worth = np.array([[self._worth(unit, form, block, axis)] for axis in axes])
        words = words_of((record.samples[first.kind][axes, ours] / worth).T.ravel(), first)
        return words[start - first.address - begin * each :][:count]

    def _worth(self, unit: int, form: RecordForm, block: Block, axis: int) -> float:
        """What one count of a sample is. [SI]"""
        step = by_sheet(block.step)
        return float(self._record(unit, form).steps[axis]) if step is None else step * unit_of_count(block)

    def _axes_of(self, unit: int, block: Block) -> list[int]:
        """Rows of the record that stand in a block; z until another is asked for where that can be."""
        if "record axis" in self.profile_of(unit).registers:
            return ["xyz".index(_AXES[self._axis[unit]]) if self._axis[unit] < len(_AXES) else 2]
        return ["xyz".index(axis) for axis in block.axes]

    def _values(self, unit: int, form: Profile) -> dict[str, float]:
        """Every value of a unit in SI, but for its constants; those of a stuck one stay as they were."""
        now = self.clock()
        alive = {"serial": 40000.0 + unit, "status": 0.0, "heartbeat": float(int(now - self._up_since[unit]) % 65536)}
        alive["bus address"] = float(self._wrong(unit).address or unit)
        if unit in self._last_said and self.size("stuck", unit) is not None:
            return self._last_said[unit] | alive
        values: dict[str, float] = {}
        if "sump temperature" in form.registers:
            values["sump temperature"] = self._warm()
        if form.registers.keys() & {"running", "speed", "load"}:
            values |= {"running": float(self.speed_hz > 0), "speed": self.speed_hz, "load": self.load if self.speed_hz else 0.0}
        if "lamps lit" in form.registers:
            age = now - self._heartbeat_at
            lost = age > _FALLBACK
            values |= {"lamps lit": LAMPS["blue"] if lost else self.lamps, "heartbeat age": min(age, 65535.0)}
            values |= {"lamps wanted": self.lamps, "heartbeat written": self._heartbeat_written}
        if form.records or form.of("overall velocity"):
            values |= self._sensor(unit)
        self._last_said[unit] = values
        return values | alive

    def _sensor(self, unit: int) -> dict[str, float]:
        device, record = self._devices[unit], self._record(unit, self._fastest(unit))
        at_rest = self._planned(device.point) @ np.array([0.0, GRAVITY, 0.0])
        values: dict[str, float] = {}
        for name, vector in (("gravity", at_rest * 1.004), ("tap", self.taps.get(device.point, (0.0, 0.0, 0.0)))):
            for axis, (source, sign) in zip("xyz", self._wrong(unit).axes, strict=True):
                values[f"{name} {axis}"] = float(vector[source]) * sign
        for name, levels in (("overall velocity", record.velocity), ("high-frequency acceleration", record.high)):
            values |= {f"{name} {axis}": float(level) for axis, level in zip("xyz", levels, strict=True)}
        dry = self.faults.get(("lubrication", self._bearing(device)))
        warm = self._warm() - 8.0 + DRY_RISE * ((dry.at(self.clock()) or 0.0) if dry and self.speed_hz else 0.0)
        values |= {"overall velocity": float(max(record.velocity))}  # of a sensor that gives one figure
        return values | {"temperature": warm, "record axis": self._axis[unit]}

    def _begin_record(self, unit: int) -> None:
        """A new record of the form that is chosen; a long one is made beside, and counts when it is there."""
        self._records.pop(unit, None)
        for form in self._forms(unit):
            if form != self._fastest(unit):
                self._coming[unit] = _MAKING.submit(self._record, unit, form), self._numbers[unit]

    def _fastest(self, unit: int) -> RecordForm | None:
        """The form of record that its readings are taken from."""
        return max(self.profile_of(unit).records, key=lambda one: one.rate_hz or RECORD_RATE_HZ, default=None)

    def _wrong(self, unit: int) -> SensorFault:
        return self.sensor_faults.get(unit, SensorFault())

    def _bearing(self, device: BusDevice) -> str:
        return next((one.bearing for one in self.job.points if one.name == device.point), "")

    def _drop_records(self) -> None:
        """What is heard has changed: a new record at the next look, but of a sensor that is stuck."""
        self._records = {unit: held for unit, held in self._records.items() if self.size("stuck", unit) is not None}

    def _hear_anew(self, kind: str) -> None:
        """What is wrong with the drive is heard in the next reading; a fault of a device or its link leaves its record alone."""
        if KINDS[kind].place != "unit":
            self._drop_records()

    def _check_point(self, point: str) -> None:
        if point not in {one.name for one in self.job.points}:
            raise OutOfRange("point", repr(point), f"one of: {'; '.join(one.name for one in self.job.points)}")

    def _check_place(self, kind: str, place: str) -> None:
        """Refuse a place where such a fault cannot be."""
        match KINDS[kind].place:
            case "unit":
                allowed: Iterable[str] = (*map(str, self._devices), BUS)
            case "axis":
                allowed = (name + axis for name in (one.name for one in self.job.points) for axis in ("", " x", " y", " z"))
            case "frequency":
                units.parse(place, "frequency")
                return
            case "":
                allowed = ("",)
            case _:
                allowed = places(self.job.drive, kind)
        names = tuple(allowed)
        if place not in names:
            raise OutOfRange(KINDS[kind].place or "place", repr(place), f"one of: {'; '.join(names)}".rstrip("; "))

    def _planned(self, point: str) -> NDArray[np.float64]:
        """The sensor's axes as planned, mark up on a left face where nobody has said."""
        planned = next((one for one in self.job.points if one.name == point), None)
        face = next((one for one in self.job.housing.faces if planned and one.name == planned.face), None)
        clock = planned.clock if planned and planned.clock is not None else 12.0
        return rotation(face.outward if face and face.outward else "left", clock)

    def _record(self, unit: int, form: RecordForm | None) -> Record:
        """The sensor's latest record of a form; a new one where it has grown old, unless it is stuck."""
        name, fastest = form.name if form else "", form == self._fastest(unit)
        last = self._records.get(unit, {}).get(name)
        if last and (self.clock() < last.kept_until or self.size("stuck", unit) is not None):
            return last
        self._taken[unit] += 1
        rate_hz = (form.rate_hz if form else None) or RECORD_RATE_HZ
        times = max(math.ceil(RECORD_RATE_HZ / rate_hz), 1)  # what is sampled slowly was filtered from what is sampled fast
        heard_hz = times * rate_hz
        samples = times * (count_of(form) if form else RECORD_SAMPLES)
        rows = self._samples(unit, seed=1000 * unit + self._taken[unit], sample_rate_hz=heard_hz, samples=samples)
        velocity, high = figures(rows, heard_hz) if fastest else (np.zeros(3), np.zeros(3))  # nobody reads them
        kinds = {block.first.kind for block in form.blocks} if form else set()
        kept = {kind: sampled(rows, heard_hz, times, integrated=kind == "velocity") for kind in kinds}
        accelerations = kept.get("acceleration", rows)
        steps = np.maximum(np.abs(accelerations).max(axis=1) / 32000, 1e-9)
        self._numbers[unit] = self._numbers[unit] % 65535 + 1
        life = _RECORD_LIFE if fastest else _LONG_RECORD_LIFE
        record = Record(self._numbers[unit], self.clock() + life, kept, steps, velocity, high)
        self._records.setdefault(unit, {})[name] = record
        return record

    def _samples(self, unit: int, *, seed: int, sample_rate_hz: float, samples: int) -> NDArray[np.float64]:
        """What its three axes hear, shape (3, samples), in the order and with the faults in which they come out."""
        device, now = self._devices[unit], self.clock()
        sizes = {
            of: size for of, one in list(self.faults.items()) if KINDS[of[0]].place != "unit" and (size := one.at(now)) is not None
        }
        bearing = self._bearing(device)
        rows = heard(
            self.job.drive,
            {of: size for of, size in sizes.items() if of[0] not in _OF_AN_AXIS},
            bearing=bearing,
            speed_hz=self.speed_hz,
            load=self.load,
            state=self.state,
            axes=self._planned(device.point),
            sample_rate_hz=sample_rate_hz * (1 + (self.size("clock drift", unit) or 0.0)),
            samples=samples,
            seed=seed,
        )
        if device.point and device.point == self.calibrated:
            time = np.arange(samples) / sample_rate_hz
            rows = np.outer((0.0, 0.0, np.sqrt(2) * _CALIBRATOR), np.sin(2 * np.pi * _CALIBRATOR_HZ * time))
        rows = np.array([sign * rows[source] for source, sign in self._wrong(unit).axes])
        channels = [shaft_faults.Channel(device.point, bearing, axis) for axis in "xyz"]
        for kind in _OF_AN_AXIS:
            for point, axis, size in ((*_axis(place), size) for (one, place), size in sizes.items() if one == kind):
                shaft_faults.SensorFault(point, axis, kind, size).spoil(rows, channels, np.random.default_rng(seed))
        return rows

    def _warm(self) -> float:
        """Sump temperature now: it follows ambient plus what the load adds, with its time constant. [K]"""
        now = self.clock()
        target = self.ambient + (_RISE * self.load if self.speed_hz > 0 else 0.0)
        self.sump = target + (self.sump - target) * math.exp(-(now - self._warmed) / _WARMING)
        self._warmed = now
        return self.sump


def _axis(place: str) -> tuple[str, str]:
    """Point and axis of ``POINT x``; z where it names none."""
    return (place[:-2], place[-1]) if place[-2:] in (" x", " y", " z") else (place, "z")
