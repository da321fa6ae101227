"""Simulated cases with known truth, fixed before the method was: drives, strengths, noise classes, seeds.

Every case is a function of its number alone. Stated speeds are wrong by up to 1 %, real bearing rates by up to 1 % from
computed ones.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from gearcase.drive.bearings import Bearing, Geometry
from gearcase.drive.simulate import BearingFault, Levels, Noise, Stranger, simulate
from gearcase.drive.train import Drive, Mesh, Shaft
from gearcase.signal.recording import Recording
from gearcase.worked import Given, Origin

RATE_HZ = 25600.0
SAMPLES = 2**17
NOISES: tuple[Noise, ...] = ("white", "sloping", "resonant", "impulsive")
FAULTS = ("outer_race", "inner_race", "rolling_element", "cage")
STRENGTHS = (1.0, 2.0, 4.0, 8.0, 32.0)  # impact over noise RMS


@dataclass(frozen=True)
class Case:
    """A drive as the job describes it, what was recorded on it, and what is true."""

    drive: Drive
    recording: Recording
    component: str
    fault: str


def healthy(first: int, count: int) -> Iterator[Case]:
    """Sound drives."""
    for number in range(first, first + count):
        drive, rng = _drive(number)
        yield Case(drive, _record(drive, number, rng), "", "")


def faulty(first: int, count: int, fault: str, strength: float) -> Iterator[Case]:
    """Drives with one damaged bearing."""
    for number in range(first, first + count):
        drive, rng = _drive(number)
        bearing = drive.bearings[int(rng.integers(len(drive.bearings)))]
        damage = BearingFault(
            bearing.name,
            fault,
            strength,
            rate_offset=float(rng.uniform(-0.01, 0.01)),
            jitter=float(rng.uniform(0.002, 0.015)),
            resonance_hz=float(rng.uniform(1500, 8000)),
            ring_time=float(rng.uniform(0.3e-3, 2e-3)),
        )
        yield Case(drive, _record(drive, number, rng, faults=(damage,)), bearing.name, fault)


def foreign(first: int, count: int, strength: float) -> Iterator[Case]:
    """Sound drives beside a machine that pulses at a rate of its own, from 15 to 400 Hz."""
    for number in range(first, first + count):
        drive, rng = _drive(number)
        stranger = Stranger(float(np.exp(rng.uniform(np.log(15), np.log(400)))), strength)
        yield Case(drive, _record(drive, number, rng, strangers=(stranger,)), "", "")


def wrong_geometry(first: int, count: int, strength: float) -> Iterator[Case]:
    """A damaged race in a bearing the job describes wrongly: every rate more than 3 % off every true line that could pass for
    it.
    """
    for case in faulty(first, count, "outer_race", strength):
        yield replace(case, drive=_mistaken(case.drive, case.component), component="", fault="")


def _drive(number: int) -> tuple[Drive, np.random.Generator]:
    """One to three shafts, two bearings each, counts and sizes drawn at random."""
    rng = np.random.default_rng([2026, number])
    stages = int(rng.integers(0, 3))
    speed = float(rng.uniform(12, 50))
    shafts = tuple(Shaft(f"shaft {n + 1}") for n in range(stages + 1))
    meshes = tuple(
        Mesh(f"mesh {n + 1}", f"shaft {n + 1}", f"shaft {n + 2}", int(rng.integers(13, 31)), int(rng.integers(40, 110)))
        for n in range(stages)
    )
    bearings = tuple(
        Bearing(f"bearing {n + 1}{end}", f"shaft {n + 1}", None, _geometry(rng)) for n in range(stages + 1) for end in "ab"
    )
    given = Given("speed", speed, "Hz", Origin.NAMEPLATE)
    return Drive(f"drive {number}", shafts, meshes, bearings, "shaft 1", (speed, speed), speed, given), rng


def _geometry(rng: np.random.Generator) -> Geometry:
    elements = int(rng.integers(7, 22))
    largest = 0.9 * np.sin(np.pi / elements)  # elements must fit round the pitch circle
    return Geometry(elements, 0.1 * float(largest * rng.uniform(0.75, 1.0)), 0.1, float(rng.choice([0.0, 0.2, 0.5])))


def _record(
    drive: Drive,
    number: int,
    rng: np.random.Generator,
    *,
    faults: tuple[BearingFault, ...] = (),
    strangers: tuple[Stranger, ...] = (),
) -> Recording:
    samples = simulate(
        drive,
        speed_hz=drive.rated_speed_hz,
        sample_rate_hz=RATE_HZ,
        samples=SAMPLES,
        seed=number,
        noise=NOISES[number % len(NOISES)],
        faults=faults,
        strangers=strangers,
        levels=Levels(
            shaft=float(rng.uniform(0.05, 0.5)), mesh=float(rng.uniform(0.2, 2)), modulation=float(rng.uniform(0.02, 0.3))
        ),
        wander=float(rng.choice([0.0, 0.0005])),
    )
    stated = drive.rated_speed_hz * float(rng.uniform(0.99, 1.01))
    return Recording(samples, RATE_HZ, "m/s2", speed_hz=stated, name=f"case {number}")


def _mistaken(drive: Drive, component: str) -> Drive:
    """The drive with every bearing's pitch diameter changed until no rate comes near the damaged one's first two lines."""
    true = next(bearing for bearing in drive.bearings if bearing.name == component)
    lines = _rates(true)[0] * np.array([1, 2])
    bearings = []
    for bearing in drive.bearings:
        shape = bearing.geometry
        assert shape is not None
        for stretch in np.arange(1.05, 3.0, 0.01):
            changed = replace(bearing, geometry=replace(shape, pitch_diameter=shape.pitch_diameter * float(stretch)))
            if np.all(np.abs(_rates(changed)[:, None] / lines - 1) > 0.03):
                break
        bearings.append(changed)
    return replace(drive, bearings=tuple(bearings))


def _rates(bearing: Bearing) -> np.ndarray:
    shape = bearing.geometry
    assert shape is not None
    gamma = shape.element_diameter / shape.pitch_diameter * np.cos(shape.contact_angle)
    spin = shape.pitch_diameter / shape.element_diameter * (1 - gamma**2)
    return np.array([shape.elements / 2 * (1 - gamma), shape.elements / 2 * (1 + gamma), spin])
