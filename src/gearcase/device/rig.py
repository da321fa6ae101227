"""The simulated drive as devices on a bus: what each one's registers read now, and what can be changed while it runs.

One `Rig` stands for the drive of a job. Its three-axis vibration sensors deliver records made by `drive.simulate`, which shares no
code with `signal` or `judge`; its sump warms towards the ambient plus what the load adds; its stack light falls back to blue when
nobody writes its heartbeat. Link faults are part of it: a silent unit, swapped words, registers off by one, swapped axes, another
address. `RigBus` is the same rig behind `RegisterBus` without any port.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from gearcase.device.profile import CONSTANTS, LAMPS, RECORD_REGISTERS, Profile, Register, WordOrder, encode, profile
from gearcase.drive.simulate import BearingFault, Levels, simulate
from gearcase.errors import BadRequest, NoReply, OutOfRange
from gearcase.install.orientation import GRAVITY, TOWARDS_OUTPUT, rotation
from gearcase.job.build import Job

__all__ = ["Rig", "RigBus", "SensorFault"]

_RECORD_SAMPLES = 64000  # as many as fit below the last register, in whole thousands
_RECORD_RATE_HZ = 12800.0
_RECORD_LIFE = 2.0  # s after which a sensor takes a new record
_KEPT_FOR_READING = 60.0  # s for which it keeps one that is being read
_FALLBACK = 10.0  # s without heartbeat until the light shows blue
_WARMING = 1800.0  # s, time constant of the sump
_RISE = 40.0  # K of the sump over the ambient at full load
_STILL = Levels(shaft=0.0, mesh=0.0, noise_rms=0.003)
_RUNNING = Levels(shaft=0.02, mesh=0.8, noise_rms=0.5)
_AXES = (0.6, 0.8, 1.0)  # how much of the vibration each axis sees; z stands on the bearing


@dataclass(frozen=True)
class SensorFault:
    """What is wrong with one device, for trying the proving of it.

    `silent` answers nothing; `swapped_words` sends the low word first; `shift` moves every register; `axes` is the order in which
    the readings of x, y and z come out, each with its sign.
    """

    silent: bool = False
    swapped_words: bool = False
    shift: int = 0
    axes: tuple[tuple[int, int], ...] = ((0, 1), (1, 1), (2, 1))


@dataclass
class _Record:
    """The latest record of one sensor: counts of z and their step [m/s2], figures of all three axes, and until when it stays."""

    number: int
    kept_until: float
    samples: NDArray[np.int16]
    step: float
    velocity: tuple[float, float, float]
    high: tuple[float, float, float]


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
        (bearing, fault) -> impact. [m/s2]
    sensor_faults : dict
        Unit address -> `SensorFault`.
    """

    job: Job
    clock: Callable[[], float]
    speed_hz: float
    load: float = 0.7
    ambient: float = 293.15
    sump: float = 293.15
    faults: dict[tuple[str, str], float] = field(default_factory=dict)
    sensor_faults: dict[int, SensorFault] = field(default_factory=dict)
    taps: dict[str, tuple[float, float, float]] = field(default_factory=dict)
    lamps: int = 0

    def __post_init__(self) -> None:
        self._devices = {device.address: device for device in self.job.bus.devices if device.profile}
        self._records: dict[int, _Record] = {}
        self._heartbeat_written = 0
        self._heartbeat_at = -math.inf
        self._warmed = self.clock()

    @property
    def units(self) -> tuple[int, ...]:
        """Addresses it answers at."""
        return tuple(self._devices)

    def is_silent(self, unit: int) -> bool:
        """Whether nobody answers at an address."""
        return unit not in self._devices or self.sensor_faults.get(unit, SensorFault()).silent

    def profile_of(self, unit: int) -> Profile:
        """Profile of one unit."""
        return profile(self._devices[unit].profile)

    def set_fault(self, bearing: str, fault: str, impact: float) -> None:
        """Put a fault into a bearing, or let it grow; 0 takes it away. [m/s2]

        Raises
        ------
        OutOfRange
            No such bearing with known geometry.
        """
        known = [one.name for one in self.job.drive.bearings if one.geometry is not None]
        kinds = ("outer_race", "inner_race", "rolling_element", "cage")
        if bearing not in known:
            raise OutOfRange("bearing", repr(bearing), f"one of: {'; '.join(known)}")
        if fault not in kinds:
            raise OutOfRange("fault", repr(fault), f"one of: {', '.join(kinds)}")
        self.faults.pop((bearing, fault), None)
        if impact > 0:
            self.faults[(bearing, fault)] = impact
        self._records.clear()

    def set_speed(self, speed_hz: float) -> None:
        """Speed of the input; 0 stops the drive. [Hz]"""
        if speed_hz < 0:
            raise OutOfRange("speed", speed_hz, "0 Hz or more")
        self._warm()
        self.speed_hz = speed_hz
        self._records.clear()

    def tap(self, point: str) -> None:
        """Tap the housing at a point towards the output end; the sensor keeps the peaks until its next tap.

        Raises
        ------
        OutOfRange
            No such point.
        """
        if point not in {one.name for one in self.job.points}:
            raise OutOfRange("point", repr(point), f"one of: {'; '.join(one.name for one in self.job.points)}")
        hit = self._planned(point) @ (30.0 * np.array(TOWARDS_OUTPUT))
        self.taps[point] = (float(hit[0]) + 1.0, float(hit[1]) - 2.0, float(hit[2]) + 1.5)

    def read(self, unit: int, start: int, count: int) -> list[int]:
        """Registers as the unit sends them now.

        Raises
        ------
        NoReply, BadRequest
        """
        asked = f"registers {start} to {start + count - 1}"
        wrong = self.sensor_faults.get(unit, SensorFault())
        if self.is_silent(unit):
            raise NoReply(unit, asked, "no reply")
        start -= wrong.shift
        if start >= RECORD_REGISTERS and self._devices[unit].profile == "three-axis vibration":
            record = self._record(unit)  # it stays as it is while it is being read
            record.kept_until = self.clock() + _KEPT_FOR_READING
            words = [int(word) for word in record.samples.view(np.uint16)[start - RECORD_REGISTERS :][:count]]
        else:
            words = self._words(unit, start, count)
        if len(words) < count:
            raise BadRequest(unit, asked, "it has no such register")
        return words

    def write(self, unit: int, start: int, words: Sequence[int]) -> None:
        """Write holding registers: the lamps and the heartbeat of the stack light.

        Raises
        ------
        NoReply, BadRequest
        """
        asked = f"writing registers {start} to {start + len(words) - 1}"
        if self.is_silent(unit):
            raise NoReply(unit, asked, "no reply")
        writable = {one.address: one.name for one in self.profile_of(unit).registers.values() if one.function == 3}
        for address, word in enumerate(words, start=start):
            if address not in writable:
                raise BadRequest(unit, asked, "it does not let this register be written")
            if writable[address] == "lamps wanted":
                self.lamps = word
            else:
                self._heartbeat_written, self._heartbeat_at = word, self.clock()

    def _words(self, unit: int, start: int, count: int) -> list[int]:
        """Registers by the unit's profile, 0 where it has none between; fewer where they end."""
        form, wrong = self.profile_of(unit), self.sensor_faults.get(unit, SensorFault())
        order: WordOrder = "low word first" if wrong.swapped_words else "high word first"
        end = min(start + count, form.span)
        wanted = [one for one in form.registers.values() if one.address < end and one.address + one.words > start]
        values = self._values(unit, form) if any(one.constant is None for one in wanted) else {}
        words = [0] * (end - start)
        for register in wanted:
            value = values[register.name] if register.name in values else _constant(register)
            for place, word in enumerate(encode(register, value, order), start=register.address - start):
                if 0 <= place < len(words):
                    words[place] = word
        return words

    def _values(self, unit: int, form: Profile) -> dict[str, float]:
        """Every value of a unit in SI, but for its constants."""
        now = self.clock()
        values: dict[str, float] = {"serial": 40000 + unit, "status": 0, "heartbeat": int(now) % 65536}
        if form.name == "temperature converter":
            values["sump temperature"] = self._warm()
        elif form.name == "drive inputs":
            values |= {"running": float(self.speed_hz > 0), "speed": self.speed_hz, "load": self.load if self.speed_hz else 0.0}
        elif form.name == "stack light":
            age = now - self._heartbeat_at
            lost = age > _FALLBACK
            values |= {"lamps lit": LAMPS["blue"] if lost else self.lamps, "heartbeat age": min(age, 65535.0)}
            values |= {"lamps wanted": self.lamps, "heartbeat written": self._heartbeat_written}
        else:
            values |= self._sensor(unit)
        return values

    def _sensor(self, unit: int) -> dict[str, float]:
        point, record = self._devices[unit].point, self._record(unit)
        at_rest = self._planned(point) @ np.array([0.0, GRAVITY, 0.0])
        vectors = {
            "gravity": at_rest * 1.004,
            "overall velocity": record.velocity,
            "high-frequency acceleration": record.high,
            "tap": self.taps.get(point, (0.0, 0.0, 0.0)),
        }
        order = self.sensor_faults.get(unit, SensorFault()).axes
        values: dict[str, float] = {}
        for name, vector in vectors.items():
            signed = name in ("gravity", "tap")
            for axis, (source, sign) in zip("xyz", order, strict=True):
                values[f"{name} {axis}"] = float(vector[source]) * (sign if signed else 1)
        values |= {"temperature": self._warm() - 8.0, "record number": record.number, "record rate": _RECORD_RATE_HZ}
        return values | {"record step": record.step, "record samples": float(record.samples.size)}

    def _planned(self, point: str) -> NDArray[np.float64]:
        """The sensor's axes as planned, mark up on a left face where nobody has said."""
        planned = next((one for one in self.job.points if one.name == point), None)
        face = next((one for one in self.job.housing.faces if planned and one.name == planned.face), None)
        clock = planned.clock if planned and planned.clock is not None else 12.0
        return rotation(face.outward if face and face.outward else "left", clock)

    def _record(self, unit: int) -> _Record:
        """The sensor's latest record; a new one where it has grown old."""
        now, last = self.clock(), self._records.get(unit)
        if last and now < last.kept_until:
            return last
        number = (last.number if last else 0) + 1
        samples = self._samples(unit, seed=1000 * unit + number)
        overall, high = _velocity(samples), float(np.sqrt(np.mean(_above(samples, 2000.0) ** 2)))
        step = max(float(np.abs(samples).max()) / 32000, 1e-9)
        self._records[unit] = _Record(
            number=number,
            kept_until=now + _RECORD_LIFE,
            samples=np.round(samples / step).astype(np.int16),
            step=step,
            velocity=(overall * _AXES[0], overall * _AXES[1], overall * _AXES[2]),
            high=(high * _AXES[0], high * _AXES[1], high * _AXES[2]),
        )
        return self._records[unit]

    def _samples(self, unit: int, *, seed: int) -> NDArray[np.float64]:
        device = self._devices[unit]
        bearing = next((one.bearing for one in self.job.points if one.name == device.point), "")
        running = self.speed_hz > 0
        faults = [
            BearingFault(name, kind, impact * (1.0 if name == bearing else 0.1), rate_offset=-0.004, jitter=0.004)
            for (name, kind), impact in self.faults.items()
            if running
        ]
        made = simulate(
            self.job.drive,
            speed_hz=self.speed_hz if running else self.job.drive.rated_speed_hz,
            sample_rate_hz=_RECORD_RATE_HZ,
            samples=_RECORD_SAMPLES,
            seed=seed,
            noise="resonant",
            faults=faults,
            levels=replace(_RUNNING, mesh=_RUNNING.mesh * (0.5 + self.load / 2)) if running else _STILL,
        )
        return np.asarray(made, dtype=np.float64)

    def _warm(self) -> float:
        """Sump temperature now: it follows ambient plus what the load adds, with its time constant. [K]"""
        now = self.clock()
        target = self.ambient + (_RISE * self.load if self.speed_hz > 0 else 0.0)
        self.sump = target + (self.sump - target) * math.exp(-(now - self._warmed) / _WARMING)
        self._warmed = now
        return self.sump


class RigBus:
    """The rig behind `RegisterBus`, in process."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig

    async def read(self, *, unit: int, function: int, start: int, count: int) -> tuple[int, ...]:
        """As `RegisterBus.read`; both kinds of registers are one block."""
        return tuple(self._rig.read(unit, start, count))

    async def write(self, *, unit: int, start: int, words: Sequence[int]) -> None:
        """As `RegisterBus.write`."""
        self._rig.write(unit, start, words)


def _constant(register: Register) -> float:
    if register.constant is None:
        raise OutOfRange("register", repr(register.name), f"a value of the rig, or one of {', '.join(CONSTANTS)}")
    return register.constant


def _velocity(samples: NDArray[np.float64]) -> float:
    """RMS velocity from 10 to 1000 Hz: the spectrum of acceleration over its angular frequency (Parseval). [m/s]"""
    hz = np.fft.rfftfreq(samples.size, 1 / _RECORD_RATE_HZ)
    inside = (hz >= 10) & (hz <= 1000)
    amplitude = np.abs(np.fft.rfft(samples)[inside]) / (2 * np.pi * hz[inside])
    return float(np.sqrt(2 * np.sum(amplitude**2)) / samples.size)


def _above(samples: NDArray[np.float64], lowest_hz: float) -> NDArray[np.float64]:
    spectrum = np.fft.rfft(samples)
    spectrum[np.fft.rfftfreq(samples.size, 1 / _RECORD_RATE_HZ) < lowest_hz] = 0
    return np.asarray(np.fft.irfft(spectrum, samples.size))
