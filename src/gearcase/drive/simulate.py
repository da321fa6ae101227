"""Waveforms a drive would make: turning shafts, meshing teeth, knocking bearings, neighbours, noise.

Acceleration on the housing near a bearing. Shafts and meshes give tones whose phase follows the shaft's angle; a bearing fault
gives impacts at its rate with random slip from one to the next, each ringing a housing resonance (point process of Antoni and
Randall 2003, J. Vib. Acoust. 125, from memory); what damaged gears do is in `gear_faults`. Both share the model with the rest of
gearcase and no code with `signal` or `judge`, so that what they find in it proves something.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import scipy.fft
import scipy.signal
from numpy.typing import NDArray

from gearcase.drive.bearing_lines import Rings, bearing_order, bearing_rings
from gearcase.drive.bearings import Geometry
from gearcase.drive.gear_faults import GearFault, HuntingTooth, ToothDamage, knocks, shaped
from gearcase.drive.gear_unevenness import unevenness
from gearcase.drive.lines import meshing
from gearcase.drive.speeds import carried_orders, shaft_orders
from gearcase.drive.train import Drive, mesh_carrier
from gearcase.errors import OutOfRange

__all__ = ["SOUND", "BearingFault", "Levels", "Noise", "Stranger", "housing_gain", "simulate"]

Noise = Literal["white", "sloping", "resonant", "impulsive"]
_HOUSING_RESONANCES_HZ = (900.0, 2300.0, 4100.0)
_RESONANCE_Q = 12.0
_PLANETS_PASSING = 0.5  # how far a mesh, or the bearing of a planet, swells as a planet passes the sensor, of its mean; invented
_LOAD_ZONE = 0.8  # how far an impact swells in the load zone, of its mean; invented
_TAIL = 1e-3  # a ring is cut where it has fallen to this


@dataclass(frozen=True)
class BearingFault:
    """A damaged bearing.

    Attributes
    ----------
    bearing, fault : str
        Name of the bearing; outer_race, inner_race, rolling_element or cage.
    impact : float
        Peak of one impact's ring. [m/s2]
    rate_offset : float
        How far the real rate lies from the computed one, relative (load changes the contact angle).
    jitter : float
        Standard deviation of one interval, relative: slip.
    resonance_hz, ring_time : float
        Frequency of the ring [Hz], and the time in which it falls by 1/e [s].
    """

    bearing: str
    fault: str
    impact: float
    rate_offset: float = 0.0
    jitter: float = 0.01
    resonance_hz: float = 3000.0
    ring_time: float = 0.7e-3


@dataclass(frozen=True)
class Stranger:
    """A machine nearby that pulses at its own rate [Hz]; `impact` as in `BearingFault`."""

    rate_hz: float
    impact: float
    jitter: float = 0.002
    resonance_hz: float = 2600.0
    ring_time: float = 1e-3


@dataclass(frozen=True)
class Levels:
    """What a sound drive makes.

    Attributes
    ----------
    shaft, mesh, noise_rms : float
        Amplitudes of the first harmonics, and of the noise. [m/s2]
    modulation : float
        Swing of every mesh once a turn of each of its shafts. [-]
    scatter : float
        Standard deviation of the mesh from tooth to tooth of each gear (`gear_unevenness`); 0 of perfect gears. [-]
    gears : int
        Number of the set of gears: records of one drive share it. [-]
    """

    shaft: float = 0.3
    mesh: float = 1.0
    noise_rms: float = 1.0
    modulation: float = 0.1
    scatter: float = 0.0
    gears: int = 0


SOUND = Levels()


def simulate(
    drive: Drive,
    *,
    speed_hz: float,
    sample_rate_hz: float,
    samples: int,
    seed: int,
    noise: Noise,
    faults: Sequence[BearingFault] = (),
    strangers: Sequence[Stranger] = (),
    gear_faults: Sequence[GearFault] = (),
    levels: Levels = SOUND,
    wander: float = 0.0,
    course: NDArray[np.float64] | None = None,
) -> NDArray[np.float32]:
    """One record of housing acceleration.

    Parameters
    ----------
    drive : Drive
    speed_hz : float
        Mean speed of the reference shaft. [Hz]
    sample_rate_hz : float
    samples : int
    seed : int
        Same seed, same record.
    noise : str
        ``white``; ``sloping`` (power falls with frequency); ``resonant`` (housing resonances); ``impulsive`` (resonant, with
        knocks at random times).
    faults, strangers, gear_faults : sequences
    levels : Levels
    wander : float
        Slow random change of speed, relative standard deviation.
    course : ndarray, shape (samples,), optional
        Share of `speed_hz` at each sample, of a run-up or coast-down; shafts and meshes then shake with its square (invented). [-]

    Returns
    -------
    ndarray of float32, shape (samples,)
        [m/s2]

    Raises
    ------
    OutOfRange
        A fault names a bearing that is not there or has no geometry, or a mesh or shaft that is not there or not known.
    """
    rng = np.random.default_rng(seed)
    time = np.arange(samples) / sample_rate_hz
    angle = _angle(time, speed_hz, wander, rng) if course is None else speed_hz * np.cumsum(course) / sample_rate_hz
    record = levels.noise_rms * _noise(noise, samples, sample_rate_hz, rng)
    record += _tones(drive, angle, levels, gear_faults, rng) * (1.0 if course is None else course**2)
    for fault in faults:
        at, size = _fault_impacts(drive, fault, angle, time, rng)
        record += _ring(at, fault.impact * size, fault.resonance_hz, fault.ring_time, samples, sample_rate_hz)
    for stranger in strangers:
        steps = rng.normal(1.0, stranger.jitter, int(time[-1] * stranger.rate_hz * 1.1) + 2) / stranger.rate_hz
        at = rng.uniform(0, 1 / stranger.rate_hz) + np.cumsum(steps)
        size = np.full(at.size, stranger.impact)
        record += _ring(at, size, stranger.resonance_hz, stranger.ring_time, samples, sample_rate_hz)
    for number, gear_fault in enumerate(gear_faults):
        turns, size = knocks(drive, gear_fault, last_turn=float(angle[-1]), seed=seed + number)
        if isinstance(gear_fault, ToothDamage | HuntingTooth) and turns.size:
            knock, at = gear_fault.knock, np.interp(turns, angle, time)
            record += _ring(at, knock.impact * size, knock.resonance_hz, knock.ring_time, samples, sample_rate_hz)
    return record.astype(np.float32)


def housing_gain(hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """How much of what shakes a bearing reaches the sensor, at each frequency [Hz]: three modes of the housing, invented. [-]"""
    modes = (1 / np.abs(1 - (hz / f) ** 2 + 1j * hz / f / _RESONANCE_Q) / _RESONANCE_Q for f in _HOUSING_RESONANCES_HZ)
    return np.asarray(0.3 + sum(modes))


def _angle(time: NDArray[np.float64], speed_hz: float, wander: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """Angle of the reference shaft [turns]; wander is a slow random speed, a few knots a second joined smoothly."""
    if wander == 0:
        return speed_hz * time
    knots = rng.normal(0, wander, max(int(4 * time[-1]), 4))
    speed = speed_hz * (1 + np.interp(time, np.linspace(0, time[-1], knots.size), knots))
    return np.asarray(np.cumsum(speed) * (time[1] - time[0]))


def _noise(kind: Noise, samples: int, rate: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """Noise of RMS 1."""
    white = rng.standard_normal(samples)
    if kind == "white":
        return white
    hz = scipy.fft.rfftfreq(samples, 1 / rate)
    shape = 1 / np.sqrt(1 + hz / 200) if kind == "sloping" else housing_gain(hz)
    shaped = scipy.fft.irfft(scipy.fft.rfft(white) * shape, samples)
    if kind == "impulsive":
        count = rng.poisson(6 * samples / rate)
        at = np.sort(rng.uniform(0, samples / rate, count))
        shaped += _ring(at, 8 * shaped.std() * rng.exponential(1.0, count), 2300.0, 1e-3, samples, rate)
    return np.asarray(shaped / shaped.std())


def _tones(
    drive: Drive, angle: NDArray[np.float64], levels: Levels, gear_faults: Sequence[GearFault], rng: np.random.Generator
) -> NDArray[np.float64]:
    """Shaft lines falling as 1/n, and mesh harmonics modulated once a turn by both shafts, which also makes the sidebands; of a
    planetary set also by the planets as they pass the sensor, and of gears that are not perfect tooth by tooth.
    """
    record = np.zeros(angle.size)
    known = shaft_orders(drive)
    shafts = {shaft.name: shaft for shaft in drive.shafts}
    orders = {name: abs(turns.order) for name, turns in carried_orders(drive, known).items() if turns.order}
    for order in (order for name, order in orders.items() if not shafts[name].carrier):
        for n in (1, 2, 3):
            record += levels.shaft / n * np.cos(2 * np.pi * (n * order * angle + rng.uniform()))
    for number, mesh in enumerate(drive.meshes):
        found = meshing(mesh, known, shafts)
        if found is None or found[0] == 0:
            continue
        swing = np.ones(angle.size)
        for side in (mesh.pinion_shaft, mesh.wheel_shaft):
            if side in orders:
                swing += levels.modulation * np.cos(2 * np.pi * (orders[side] * angle + rng.uniform()))
        if (carrier := mesh_carrier(mesh, shafts)) in orders:
            planets = max(shafts[side].count for side in (mesh.pinion_shaft, mesh.wheel_shaft))
            swing += _PLANETS_PASSING * np.cos(2 * np.pi * (planets * orders[carrier] * angle + rng.uniform()))
        teeth = {mesh.pinion_shaft: mesh.pinion_teeth or 0, mesh.wheel_shaft: mesh.wheel_teeth or 0}
        ours = [fault for fault in gear_faults if fault.mesh == mesh.name]
        uneven = bool(levels.scatter) and all(teeth.values())
        turns = {side: found[0] / count * angle for side, count in teeth.items() if count} if ours or uneven else {}
        for n in (1, 2, 3):
            factor, phase = shaped(mesh.name, n, ours, turns=turns, teeth=teeth)
            start = rng.uniform()
            wave = np.cos(2 * np.pi * (n * found[0] * angle + start) + phase)
            if uneven:
                own = np.random.default_rng([levels.gears, number, n])
                errors = unevenness(turns, teeth, scatter=levels.scatter, swing=levels.modulation, rng=own)
                lagging = np.cos(2 * np.pi * (n * found[0] * angle + start + 0.25) + phase)
                wave = errors.real * wave + errors.imag * lagging
            record += levels.mesh / n * factor * swing * wave
    return record


def _fault_impacts(
    drive: Drive,
    fault: BearingFault,
    angle: NDArray[np.float64],
    time: NDArray[np.float64],
    rng: np.random.Generator,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Times of impacts [s] and their relative sizes: a spot on a race passes the load zone once a turn of its own ring, one on an
    element once a turn of the cage, each as the load sees it; and a planet's bearing passes the sensor once a turn of the carrier.
    """
    bearing = next((bearing for bearing in drive.bearings if bearing.name == fault.bearing), None)
    if bearing is None or bearing.geometry is None:
        raise OutOfRange("bearing", repr(fault.bearing), "a bearing of the drive whose geometry is known")
    rings = bearing_rings(drive, bearing, shaft_orders(drive))
    if rings is None:
        raise OutOfRange("bearing", repr(bearing.name), "a bearing whose rings' speeds are known")
    order = bearing_order(fault.fault, rings.orders, bearing.geometry)
    step = 1 / (order * (1 + fault.rate_offset))  # turns of the reference shaft
    count = int((angle[-1] - angle[0]) / step * 1.1) + 2
    turns = angle[0] + rng.uniform(0, step) + np.cumsum(step * rng.normal(1.0, fault.jitter, count))
    turns = turns[turns < angle[-1]]
    size = 1 + _LOAD_ZONE * _swing(_through_load(fault.fault, rings, bearing.geometry), turns)
    if rings.carried is not None:
        size *= 1 + _PLANETS_PASSING * _swing(rings.carried.order, turns)
    size = size * np.clip(rng.normal(1.0, 0.15, turns.size), 0.2, None)
    return np.interp(turns, angle, time), size


def _through_load(fault: str, rings: Rings, shape: Geometry) -> float:
    """How often a spot goes through the load zone; 0 for one that stays in it. [-]"""
    if fault == "rolling_element":
        return bearing_order("cage", rings.orders, shape)
    return {"inner_race": rings.inner.order, "outer_race": rings.outer.order}.get(fault, 0.0)


def _swing(order: float, turns: NDArray[np.float64]) -> NDArray[np.float64]:
    """A wave of 1 that many times a turn; nothing where nothing turns."""
    return np.cos(2 * np.pi * order * turns) if order else np.zeros(turns.size)


def _ring(
    at: NDArray[np.float64],
    size: NDArray[np.float64],
    resonance_hz: float,
    ring_time: float,
    samples: int,
    rate: float,
) -> NDArray[np.float64]:
    """Each impact split between its two neighbouring samples, then one convolution with the ring."""
    train = np.zeros(samples + 1)
    place = at * rate
    inside = (place >= 0) & (place < samples - 1)
    whole = place[inside].astype(np.intp)
    part = place[inside] - whole
    np.add.at(train, whole, size[inside] * (1 - part))
    np.add.at(train, whole + 1, size[inside] * part)
    length = np.arange(int(-np.log(_TAIL) * ring_time * rate) + 1) / rate
    ring = np.exp(-length / ring_time) * np.sin(2 * np.pi * resonance_hz * length)
    return np.asarray(scipy.signal.oaconvolve(train, ring)[:samples])
