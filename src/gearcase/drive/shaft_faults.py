"""Waveforms of faults that several channels feel together: shafts, motor, backstop, a neighbour, a failing sensor.

`simulate.simulate` makes what a sound drive does at each channel; here what is wrong is added, with the phases between channels
that mechanics gives it. Velocities are RMS at the rated speed; an unbalance's displacement grows with the square of speed, a bent
shaft's does not change. Signs of axial channels all point one way along the shaft. It shares the model with the rest of gearcase
and no code with `signal` or `judge`, so that what they find in it proves something.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from gearcase.drive.bearing_lines import bearing_order, bearing_rings
from gearcase.drive.simulate import BearingFault, Levels, Noise, Stranger, housing_gain, simulate
from gearcase.drive.speeds import shaft_orders
from gearcase.drive.train import Drive
from gearcase.errors import OutOfRange

__all__ = [
    "QUIET",
    "BentShaft",
    "Channel",
    "Clicks",
    "Fluting",
    "Hiss",
    "Hum",
    "Looseness",
    "Misalignment",
    "Neighbour",
    "SensorFault",
    "ShaftFault",
    "Situation",
    "Unbalance",
    "shaken",
    "simulate_channels",
]

QUIET = Levels(shaft=0.05, mesh=0.3, noise_rms=0.2)
_ELSEWHERE = 0.15  # of a shaft's shaking that reaches the bearings of another; invented
_FAR_END = 0.4  # of a coupling's that reaches the far bearing; invented
_STOPPED = ("standing",)
_UNPOWERED = ("standing", "coast-down", "overrunning")
_TURNING_STEADILY = ("", "steady", "unloaded", "uncoupled")
_CHANGING = {"coast-down": (1.0, 0.6), "run-up": (0.6, 1.0), "starting": (0.0, 1.0)}  # of the speed, first and last; invented
_RUNS = ("run-up", "coast-down")
_REST_S = 4.0  # put after a run before a mode answers it: it has rung down before the run's end comes round again; invented
_RING_HZ, _RING_S = 1500.0, 0.7e-3  # how the housing rings after a click; invented
_CAGE_SLIP = 0.01  # of the cage's turns; invented
_PROFILE_POINTS, _PROFILE_LEAST = 1 << 16, 1e-3  # of a race's washboard: places round it, and the least of its waves
_CLICK_SCATTER = 0.02  # of the interval; invented


@dataclass(frozen=True)
class Channel:
    """Where a sensor stands and what it feels: `direction` is horizontal, vertical or axial."""

    point: str
    bearing: str
    direction: str


@dataclass(frozen=True)
class Situation:
    """Speed of the reference shaft [Hz], the state of the drive, its load [-] and the temperature of its oil [K]."""

    speed_hz: float
    state: str = "steady"
    load: float = 1.0
    oil_temperature: float = 330.0


class _Run:
    """One run of the drive while it is recorded: time [s], turns of the reference shaft, its speed [Hz], one source of chance."""

    def __init__(self, drive: Drive, situation: Situation, time: NDArray[np.float64], rng: np.random.Generator) -> None:
        self.drive, self.situation, self.time, self.rng = drive, situation, time, rng
        first, last = _CHANGING.get(situation.state, (1.0, 1.0))
        self.speed_hz = situation.speed_hz * np.linspace(first, last, time.size) * (situation.state not in _STOPPED)
        self.turns = np.cumsum(self.speed_hz) * (time[1] - time[0]) + rng.uniform()
        self.orders = {name: abs(found.order) for name, found in shaft_orders(drive).items()}
        self.shafts = {bearing.name: {bearing.inner_shaft, bearing.outer_shaft} for bearing in drive.bearings}

    def turning(self, shaft: str, multiple: float, velocity: float | NDArray[np.float64], phase: float) -> NDArray[np.float64]:
        """Acceleration of a velocity [m/s RMS] that follows a shaft; `phase` in turns."""
        omega = 2 * np.pi * multiple * self.orders[shaft] * self.speed_hz
        angle = 2 * np.pi * (multiple * self.orders[shaft] * self.turns + phase)
        return np.asarray(np.sqrt(2) * velocity * omega * np.cos(angle))

    def fixed(self, hz: float, velocity: float, phase: float) -> NDArray[np.float64]:
        """Acceleration of a velocity [m/s RMS] at a frequency that follows nothing."""
        return np.asarray(np.sqrt(2) * velocity * 2 * np.pi * hz * np.cos(2 * np.pi * (hz * self.time + phase)))

    def reach(self, shaft: str, channel: Channel) -> float:
        """Share of a shaft's shaking that a channel feels."""
        return 1.0 if shaft in self.shafts.get(channel.bearing, set()) else _ELSEWHERE

    @property
    def relative_speed(self) -> NDArray[np.float64]:
        """Over the rated."""
        return self.speed_hz / self.drive.rated_speed_hz


class ShaftFault(Protocol):
    """What is wrong: acceleration at every channel, shape (channels, samples). [m/s2]"""

    def shake(self, run: _Run, channels: Sequence[Channel]) -> NDArray[np.float64]:
        """Of one run."""


def _one_degree(ratio: NDArray[np.float64], damping: float) -> NDArray[np.complex128]:
    """Motion of one degree of freedom over a stiff one's, at so many times its natural frequency (Den Hartog, from memory)."""
    return np.asarray(1 / (1 - ratio**2 + 2j * damping * ratio))


@dataclass(frozen=True)
class Unbalance:
    """A heavy spot: horizontal and vertical a quarter turn apart, little axial.

    `natural_hz` is a mode of the support in the vertical direction, 0 for none, with its damping ratio.
    """

    shaft: str
    velocity: float
    natural_hz: float = 0.0
    damping: float = 0.04

    def shake(self, run: _Run, channels: Sequence[Channel]) -> NDArray[np.float64]:
        start = run.rng.uniform()
        rows = []
        for channel in channels:
            share, phase = {"horizontal": (1.0, 0.0), "vertical": (0.8, -0.25), "axial": (0.1, 0.1)}[channel.direction]
            velocity = share * run.reach(self.shaft, channel) * self.velocity * run.relative_speed**3
            mode = self.natural_hz and channel.direction == "vertical"
            if mode and run.situation.state not in _RUNS:
                ratio = run.orders[self.shaft] * float(np.mean(run.speed_hz)) / self.natural_hz
                swell = complex(_one_degree(np.array(ratio), self.damping))
                velocity, phase = velocity * abs(swell), phase + float(np.angle(swell)) / (2 * np.pi)
            row = run.turning(self.shaft, 1, velocity, start + phase)
            rows.append(self._answered(row, run) if mode and run.situation.state in _RUNS else row)
        return np.array(rows)

    def _answered(self, row: NDArray[np.float64], run: _Run) -> NDArray[np.float64]:
        """What the mode makes of a motion that it would follow if it were stiff, at whatever speed: through its whole spectrum."""
        step = run.time[1] - run.time[0]
        length = scipy.fft.next_fast_len(row.size + int(_REST_S / step), real=True)
        ratio = scipy.fft.rfftfreq(length, step) / self.natural_hz
        return np.asarray(scipy.fft.irfft(scipy.fft.rfft(row, length) * _one_degree(ratio, self.damping), length)[: row.size])


@dataclass(frozen=True)
class BentShaft:
    """A bow between two bearings, which nod against each other: 1x axial half a turn apart."""

    shaft: str
    bearings: tuple[str, str]
    velocity: float

    def shake(self, run: _Run, channels: Sequence[Channel]) -> NDArray[np.float64]:
        start = run.rng.uniform()
        rows = []
        for channel in channels:
            share, phase = {"horizontal": (0.8, 0.0), "vertical": (0.7, -0.25), "axial": (1.0, 0.1)}[channel.direction]
            if channel.direction == "axial" and channel.bearing == self.bearings[1]:
                phase += 0.5
            velocity = share * run.reach(self.shaft, channel) * self.velocity * run.relative_speed
            rows.append(run.turning(self.shaft, 1, velocity, start + phase))
        return np.array(rows)


@dataclass(frozen=True)
class Misalignment:
    """Shafts out of line at a coupling: 2x and 1x, axial half a turn apart across it; gone when uncoupled."""

    shafts: tuple[str, str]
    bearings: tuple[str, str]
    velocity: float

    def shake(self, run: _Run, channels: Sequence[Channel]) -> NDArray[np.float64]:
        start = run.rng.uniform(size=3)
        rows = []
        for channel in channels:
            side = next((n for n, shaft in enumerate(self.shafts) if shaft in run.shafts.get(channel.bearing, set())), None)
            near = _FAR_END if channel.bearing not in self.bearings else 1.0
            share = _ELSEWHERE if side is None else near
            row = np.zeros(run.time.size)
            for multiple, radial, axial in ((1, 0.4, 0.7), (2, 1.0, 0.6), (3, 0.15, 0.1)):
                phase = start[multiple - 1] + {"horizontal": 0.0, "vertical": 0.5, "axial": 0.1}[channel.direction]
                phase += 0.5 * (side == 1)
                velocity = share * self.velocity * (axial if channel.direction == "axial" else radial)
                row += run.turning(self.shafts[0], multiple, velocity * run.relative_speed, phase)
            rows.append(row * (run.situation.state != "uncoupled"))
        return np.array(rows)


@dataclass(frozen=True)
class Looseness:
    """A foot or bearing that lifts: 0.5x to 10x, most of it vertical, each channel with phases of its own."""

    shaft: str
    velocity: float

    def shake(self, run: _Run, channels: Sequence[Channel]) -> NDArray[np.float64]:
        rows = []
        for channel in channels:
            share = {"horizontal": 0.5, "vertical": 1.0, "axial": 0.3}[channel.direction] * run.reach(self.shaft, channel)
            row = np.zeros(run.time.size)
            for half in range(1, 21):
                size = 0.85 ** (half / 2 - 1) * (0.35 if half % 2 else 1.0)
                row += run.turning(self.shaft, half / 2, share * size * self.velocity * run.relative_speed, run.rng.uniform())
            rows.append(row)
        return np.array(rows)


@dataclass(frozen=True)
class Hum:
    """A motor's uneven air gap: twice the supply [Hz], with pole pass on either side [Hz], gone as soon as the power is."""

    supply_hz: float
    velocity: float
    pole_pass_hz: float = 0.0
    sideband: float = 0.3

    def shake(self, run: _Run, channels: Sequence[Channel]) -> NDArray[np.float64]:
        powered = run.situation.state not in _UNPOWERED
        rows = []
        for channel in channels:
            share = 1.0 if channel.direction != "axial" else 0.3
            row = run.fixed(2 * self.supply_hz, share * self.velocity, run.rng.uniform())
            for sign in (-1, 1) if self.pole_pass_hz else ():
                size = share * self.sideband * self.velocity
                row += run.fixed(2 * self.supply_hz + sign * self.pole_pass_hz, size, run.rng.uniform())
            rows.append(powered * row)
        return np.array(rows)


@dataclass(frozen=True)
class Neighbour:
    """A machine nearby that shakes the floor at a frequency of its own, and its multiples, whatever this drive does."""

    hz: float
    velocity: float
    multiples: int = 1

    def shake(self, run: _Run, channels: Sequence[Channel]) -> NDArray[np.float64]:
        start = run.rng.uniform(size=self.multiples)
        rows = []
        for channel in channels:
            share, phase = {"horizontal": (1.0, 0.0), "vertical": (0.7, 0.2), "axial": (0.2, 0.4)}[channel.direction]
            waves = [run.fixed(n * self.hz, share * self.velocity / n, start[n - 1] + phase) for n in range(1, self.multiples + 1)]
            rows.append(np.sum(waves, axis=0))
        return np.array(rows)


@dataclass(frozen=True)
class Hiss:
    """Broadband noise above a frequency [Hz]: of this drive's starved contacts, or `foreign`, which does not stop with it.

    Felt at one bearing, or at every channel where `bearing` is empty.
    """

    rms: float
    above_hz: float
    bearing: str = ""
    foreign: bool = False

    def shake(self, run: _Run, channels: Sequence[Channel]) -> NDArray[np.float64]:
        if run.situation.state in _STOPPED and not self.foreign:
            return np.zeros((len(channels), run.time.size))
        white = scipy.fft.rfft(run.rng.standard_normal((len(channels), run.time.size)))
        white[:, scipy.fft.rfftfreq(run.time.size, run.time[1] - run.time[0]) < self.above_hz] = 0
        noise = scipy.fft.irfft(white, run.time.size)
        felt = np.array([[self.bearing in ("", channel.bearing)] for channel in channels])
        return np.asarray(felt * self.rms * noise / noise.std(axis=-1, keepdims=True))


@dataclass(frozen=True)
class Fluting:
    """Grooves that a shaft current has burnt across a race: so many round it on average, their spacing scattered by `scatter`.

    Each element follows the washboard, the more the more it is loaded; all add up. Felt at that bearing alone, RMS at the rated
    speed [m/s2].
    """

    bearing: str
    race: Literal["outer_race", "inner_race"]
    rms: float
    grooves: float
    scatter: float = 0.15

    def shake(self, run: _Run, channels: Sequence[Channel]) -> NDArray[np.float64]:
        bearing = next(one for one in run.drive.bearings if one.name == self.bearing)
        rings = bearing_rings(run.drive, bearing, shaft_orders(run.drive))
        if rings is None or bearing.geometry is None:
            raise OutOfRange("bearing", repr(self.bearing), "a bearing whose geometry and rings' speeds are known")
        ring = rings.outer.order if self.race == "outer_race" else rings.inner.order
        slip = 1 - run.rng.uniform(0, _CAGE_SLIP)
        cage = slip * bearing_order("cage", rings.orders, bearing.geometry) * run.turns
        orders = np.arange(1, _PROFILE_POINTS // 2)
        size = np.exp(-0.5 * ((orders - self.grooves) / (self.scatter * self.grooves)) ** 2)
        size[size < _PROFILE_LEAST] = 0
        phase = np.random.default_rng(round(1000 * self.grooves)).uniform(size=orders.size)  # the race is the same in every run
        profile = scipy.fft.irfft(np.append([0.0], size * np.exp(2j * np.pi * phase)), _PROFILE_POINTS)
        row = np.zeros(run.time.size)
        for element in range(bearing.geometry.elements):
            place = cage + element / bearing.geometry.elements
            load = np.maximum(np.cos(2 * np.pi * place), 0.0) ** 1.5  # line of contact, from memory
            row += load * profile[np.asarray(((place - ring * run.turns) % 1) * _PROFILE_POINTS, np.intp)]
        heard = scipy.fft.rfft(row * run.relative_speed**2)
        heard *= housing_gain(scipy.fft.rfftfreq(row.size, run.time[1] - run.time[0]))
        heard = scipy.fft.irfft(heard, row.size)
        felt = np.array([[channel.bearing == self.bearing] for channel in channels])
        turning = run.situation.state in _TURNING_STEADILY
        return np.asarray(turning * felt * self.rms * heard / (heard.std() or 1.0) * run.relative_speed.mean() ** 2)


@dataclass(frozen=True)
class Clicks:
    """Clicks in certain states: so many a turn of a shaft, or where `per_turn` is 0 one knock a record; peak [m/s2]."""

    states: tuple[str, ...]
    shaft: str
    impact: float
    per_turn: float = 0.0

    def shake(self, run: _Run, channels: Sequence[Channel]) -> NDArray[np.float64]:
        if run.situation.state not in self.states:
            return np.zeros((len(channels), run.time.size))
        if self.per_turn:
            passed = self.per_turn * run.orders[self.shaft] * run.turns
            clicks = np.arange(np.ceil(passed[0]), passed[-1])
            at = np.interp(clicks + run.rng.normal(0, _CLICK_SCATTER, clicks.size), passed, run.time)
        else:
            at = run.rng.uniform(0.2, 0.8, 1) * run.time[-1]
        row = np.zeros(run.time.size)
        for moment, size in zip(at, np.clip(run.rng.normal(1.0, 0.3, at.size), 0.2, None), strict=True):
            since = run.time - moment
            ring = slice(int(np.searchsorted(since, 0.0)), int(np.searchsorted(since, 8 * _RING_S)))
            row[ring] += size * self.impact * np.exp(-since[ring] / _RING_S) * np.sin(2 * np.pi * _RING_HZ * since[ring])
        return np.tile(row, (len(channels), 1))


@dataclass(frozen=True)
class SensorFault:
    """One channel that lies: a ski slope (slow drift blown up towards 0 Hz), an offset, or a rail it clips on; size in m/s2."""

    point: str
    direction: str
    kind: Literal["ski slope", "offset", "clip"]
    size: float

    def spoil(self, rows: NDArray[np.float64], channels: Sequence[Channel], rng: np.random.Generator) -> None:
        """Change that channel's row."""
        for row, channel in zip(rows, channels, strict=True):
            if (channel.point, channel.direction) != (self.point, self.direction):
                continue
            if self.kind == "clip":
                np.clip(row, -self.size, self.size, out=row)
            elif self.kind == "offset":
                row += self.size
            else:
                drift = np.cumsum(rng.standard_normal(row.size))
                row += self.size * (drift - drift.mean()) / drift.std()


def simulate_channels(
    drive: Drive,
    channels: Sequence[Channel],
    situation: Situation,
    *,
    sample_rate_hz: float,
    samples: int,
    seed: int,
    noise: Noise = "white",
    faults: Sequence[ShaftFault] = (),
    damage: Sequence[BearingFault] = (),
    strangers: Sequence[Stranger] = (),
    sensors: Sequence[SensorFault] = (),
    levels: Levels = QUIET,
) -> NDArray[np.float32]:
    """Housing acceleration at several channels sampled together.

    Parameters
    ----------
    drive : Drive
    channels : sequence of Channel
    situation : Situation
        While it starts, overruns or stands, the drive's own sound lines are left out.
    sample_rate_hz : float
        [Hz]
    samples, seed : int
        Same seed, same record.
    noise : str
        As `simulate.simulate` has it; each channel has its own.
    faults : sequence of ShaftFault
    damage : sequence of BearingFault
        Felt by the channels at that bearing, each with impacts of its own.
    strangers : sequence of Stranger
        Felt by all, whatever this drive does.
    sensors : sequence of SensorFault
    levels : Levels

    Returns
    -------
    ndarray of float32, shape (channels, samples)
        [m/s2]
    """
    rng = np.random.default_rng([31, seed])
    own = levels
    if situation.state not in (*_TURNING_STEADILY, *_RUNS):
        own = Levels(shaft=0.0, mesh=0.0, noise_rms=levels.noise_rms)
    first, last = _CHANGING.get(situation.state, (1.0, 1.0))
    course = np.linspace(first, last, samples) if situation.state in _RUNS else None
    rows = np.array(
        [
            simulate(
                drive,
                speed_hz=situation.speed_hz,
                sample_rate_hz=sample_rate_hz,
                samples=samples,
                seed=int(rng.integers(1 << 31)),
                noise=noise,
                faults=[one for one in damage if one.bearing == channel.bearing and situation.state in _TURNING_STEADILY],
                strangers=strangers,
                levels=own,
                course=course,
            )
            for channel in channels
        ],
        dtype=np.float64,
    )
    rows += _shaken(_Run(drive, situation, np.arange(samples) / sample_rate_hz, rng), channels, faults)
    for sensor in sensors:
        sensor.spoil(rows, channels, rng)
    return rows.astype(np.float32)


def shaken(
    drive: Drive,
    channels: Sequence[Channel],
    situation: Situation,
    faults: Sequence[ShaftFault],
    *,
    sample_rate_hz: float,
    samples: int,
    seed: int,
) -> NDArray[np.float64]:
    """Only what the faults add at several channels sampled together; the rest as in `simulate_channels`.

    Returns
    -------
    ndarray, shape (channels, samples)
        [m/s2]
    """
    time = np.arange(samples) / sample_rate_hz
    return _shaken(_Run(drive, situation, time, np.random.default_rng([32, seed])), channels, faults)


def _shaken(run: _Run, channels: Sequence[Channel], faults: Sequence[ShaftFault]) -> NDArray[np.float64]:
    rows = np.zeros((len(channels), run.time.size))
    for fault in faults:
        rows += fault.shake(run, channels)
    return rows
