"""Simulated jobs with known gear faults, fixed before the method was run on them: drives, strengths, noise classes, seeds.

Every case is a function of its number alone. A job is one record for patterns that one record shows, six at one load for wear, two
directions at two speeds for a tilted mesh. A strength is the peak of a knock over the noise RMS; a tooth of strength s fades and
lags its mesh by s / 10, at most 0.8.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import lcm

import numpy as np

from gearcase.drive.bearings import Bearing, Geometry
from gearcase.drive.gear_faults import Eccentricity, GearFault, HuntingTooth, Knock, MeshMisalignment, ToothDamage, Wear
from gearcase.drive.simulate import BearingFault, Levels, Noise, Stranger, simulate
from gearcase.drive.train import Drive, Mesh, Shaft
from gearcase.signal.recording import Circumstances, Recording
from gearcase.worked import Given, Origin
from studies import cases

__all__ = ["KNOCK", "PATTERNS", "RIVALS", "STRENGTHS", "Job", "foreign", "healthy", "rival", "shown", "sound"]

RATE_HZ = 12800.0
SECONDS = 10.24
NOISES: tuple[Noise, ...] = ("white", "sloping", "resonant", "impulsive")
TEETH = "tooth crack or chip"
KNOCK = "knock once a turn"
RUNOUT = "eccentric gear or bent shaft"
PLANETARY = ("sun tooth", "planet tooth", "ring tooth")
PATTERNS = (TEETH, KNOCK, RUNOUT, "gear wear", "mesh misalignment", "hunting tooth", *PLANETARY)
# knock over noise RMS; for runout the swing, for wear its growth, for a tilted mesh its second harmonic over the first
STRENGTHS = {
    TEETH: (1.0, 2.0, 4.0, 8.0, 32.0),
    KNOCK: (2.0, 4.0, 8.0, 32.0),
    RUNOUT: (0.4, 0.6, 1.0),
    "gear wear": (1.4, 2.0, 3.0),
    "mesh misalignment": (0.8, 1.5, 3.0),
    "hunting tooth": (2.0, 4.0, 8.0, 32.0),
    **dict.fromkeys(PLANETARY, (1.0, 2.0, 4.0, 8.0)),
}
RIVALS = {
    TEETH: "inner race on the same shaft",
    KNOCK: "inner race on the same shaft",
    RUNOUT: "tooth crack or chip",
    "gear wear": "a rise of load, and a sensor that reads higher",
    "mesh misalignment": "a resonance at twice the mesh, at one speed",
    "hunting tooth": "tooth of one gear",
    **dict.fromkeys(PLANETARY, "bearing of the planet"),
}
_FEWEST_TURNS = 24.0


@dataclass(frozen=True)
class Job:
    """A drive, its recordings in order of time, and the pattern and the shaft or mesh at fault; empty where none is."""

    drive: Drive
    recordings: tuple[Recording, ...]
    pattern: str = ""
    part: str = ""


def sound(pattern: str, first: int, count: int) -> Iterator[Job]:
    """Nothing is wrong; recorded as this pattern asks."""
    for number in range(first, first + count):
        drive, rng = _drive(pattern, number)
        yield Job(drive, _recorded(pattern, drive, number, rng))


def healthy(first: int, count: int) -> Iterator[Job]:
    """The sound drives of the bearings' study with gears on them, short of turns as they are; from a number of theirs."""
    for case in cases.healthy(first, count):
        if case.drive.meshes:
            yield Job(case.drive, (case.recording,))


def foreign(pattern: str, first: int, count: int, strength: float) -> Iterator[Job]:
    """Beside a machine that pulses at a rate of its own, from 1 to 400 Hz; of recordings over time in the later half."""
    for number in range(first, first + count):
        drive, rng = _drive(pattern, number)
        stranger = Stranger(float(np.exp(rng.uniform(0, np.log(400)))), strength)
        yield Job(drive, _recorded(pattern, drive, number, rng, strangers=(stranger,)))


def shown(pattern: str, first: int, count: int, strength: float) -> Iterator[Job]:
    """With the pattern's own fault."""
    for number in range(first, first + count):
        drive, rng = _drive(pattern, number)
        fault, part = _fault(pattern, drive, number, strength, rng)
        yield Job(drive, _recorded(pattern, drive, number, rng, faults=(fault,)), pattern, part)


def rival(pattern: str, first: int, count: int, strength: float) -> Iterator[Job]:
    """With what the pattern is most easily taken for."""
    for number in range(first, first + count):
        drive, rng = _drive(pattern, number)
        if pattern in (TEETH, KNOCK) or pattern in PLANETARY:
            bearing = drive.bearings[int(rng.integers(len(drive.bearings)))]
            race = BearingFault(bearing.name, "inner_race", strength, jitter=float(rng.uniform(0.002, 0.015)))
            yield Job(drive, _recorded(pattern, drive, number, rng, bearing_faults=(race,)))
        elif pattern in (RUNOUT, "hunting tooth"):
            fault, part = _fault(TEETH, drive, number, strength, rng)
            yield Job(drive, _recorded(pattern, drive, number, rng, faults=(fault,)), TEETH, part)
        elif pattern == "gear wear":
            yield Job(drive, _recorded(pattern, drive, number, rng, later=3.0, later_load=(0.9, 0.5)[number % 2]))
        else:
            fault = MeshMisalignment(drive.meshes[0].name, 2.0)
            recordings = _recorded(pattern, drive, number, rng, faults=(fault,))
            calm = _recorded(pattern, drive, number + 1, rng)
            yield Job(drive, (*recordings[:2], *calm[2:]))


def _drive(pattern: str, number: int) -> tuple[Drive, np.random.Generator]:
    rng = np.random.default_rng([2027, number])
    return (_set(number, rng) if pattern in PLANETARY else _train(number, rng, hunting=pattern == "hunting tooth")), rng


def _train(number: int, rng: np.random.Generator, *, hunting: bool) -> Drive:
    """One or two stages, a bearing at either end of each shaft; the slowest shaft makes 24 turns in a record and more."""
    stages = 1 if hunting else int(rng.integers(1, 3))
    teeth = [(int(rng.integers(15, 26)), int(rng.integers(28, 61))) for _ in range(stages)]
    while hunting and not max(teeth[0]) < lcm(*teeth[0]) <= 150:  # 20 periods in half a minute
        teeth = [(int(rng.integers(15, 26)), int(rng.integers(28, 61)))]
    ratio = float(np.prod([wheel / pinion for pinion, wheel in teeth]))
    speed = max(float(rng.uniform(12, 50)), 1.02 * _FEWEST_TURNS * ratio / SECONDS)
    shafts = tuple(Shaft(f"shaft {n + 1}") for n in range(stages + 1))
    meshes = tuple(Mesh(f"mesh {n + 1}", f"shaft {n + 1}", f"shaft {n + 2}", *counts) for n, counts in enumerate(teeth))
    bearings = tuple(
        Bearing(f"bearing {n + 1}{end}", f"shaft {n + 1}", None, _geometry(rng)) for n in range(stages + 1) for end in "ab"
    )
    return _of(number, shafts, meshes, bearings, "shaft 1", speed)


def _set(number: int, rng: np.random.Generator) -> Drive:
    """Sun driving, ring held, three or four planets on needle bearings; the carrier makes 24 turns in a record and more."""
    while True:
        sun, planet, planets = int(rng.integers(18, 31)), int(rng.integers(20, 41)), int(rng.integers(3, 5))
        ring = sun + 2 * planet
        if (sun + ring) % planets == 0:
            break
    speed = max(float(rng.uniform(15, 40)), 1.02 * _FEWEST_TURNS * (1 + ring / sun) / SECONDS)
    shafts = (Shaft("sun"), Shaft("ring", held=True), Shaft("carrier"), Shaft("planet", carrier="carrier", count=planets))
    meshes = (Mesh("inner", "sun", "planet", sun, planet), Mesh("outer", "planet", "ring", planet, ring, kind="internal"))
    needle = Bearing("planet bearing", "carrier", "planet", _geometry(rng))
    return _of(number, shafts, meshes, (needle,), "sun", speed)


def _of(
    number: int, shafts: tuple[Shaft, ...], meshes: tuple[Mesh, ...], bearings: tuple[Bearing, ...], reference: str, speed: float
) -> Drive:
    given = Given("speed", speed, "Hz", Origin.NAMEPLATE)
    return Drive(f"drive {number}", shafts, meshes, bearings, reference, (0.8 * speed, speed), speed, given)


def _geometry(rng: np.random.Generator) -> Geometry:
    elements = int(rng.integers(7, 22))
    largest = 0.9 * np.sin(np.pi / elements)  # elements must fit round the pitch circle
    return Geometry(elements, 0.1 * float(largest * rng.uniform(0.75, 1.0)), 0.1, 0.0)


def _fault(pattern: str, drive: Drive, number: int, strength: float, rng: np.random.Generator) -> tuple[GearFault, str]:
    mesh = drive.meshes[int(rng.integers(len(drive.meshes)))]
    knock = Knock(strength, resonance_hz=float(rng.uniform(1500, 5000)), ring_time=float(rng.uniform(0.3e-3, 1.5e-3)))
    yields = min(strength / 10, 0.8)
    if pattern in PLANETARY:
        name = pattern.removesuffix(" tooth")
        return ToothDamage("outer" if name == "ring" else "inner", name, knock, dip=yields, lag=yields), name
    side = (mesh.pinion_shaft, mesh.wheel_shaft)[number % 2]
    if pattern == KNOCK:
        return ToothDamage(mesh.name, side, knock), side
    if pattern == TEETH:
        return ToothDamage(mesh.name, side, knock, dip=yields, lag=yields), side
    if pattern == RUNOUT:
        return Eccentricity(mesh.name, side, strength, lag=0.2), side
    if pattern == "gear wear":
        return Wear(mesh.name, strength), mesh.name
    if pattern == "mesh misalignment":
        return MeshMisalignment(mesh.name, strength), mesh.name
    return HuntingTooth(mesh.name, knock), mesh.name


def _recorded(
    pattern: str,
    drive: Drive,
    number: int,
    rng: np.random.Generator,
    *,
    faults: tuple[GearFault, ...] = (),
    strangers: tuple[Stranger, ...] = (),
    bearing_faults: tuple[BearingFault, ...] = (),
    later: float = 1.0,
    later_load: float = 0.5,
) -> tuple[Recording, ...]:
    """Records as the pattern asks for: one, six over time with the faults in the last three, or two directions at two speeds.

    `later` times as high is everything a sensor reads (at 0.5 of the load) or a loaded mesh (at more) in the last three.
    """
    levels = Levels(
        shaft=float(rng.uniform(0.05, 0.5)),
        mesh=float(rng.uniform(0.5, 2)),
        modulation=float(rng.uniform(0.02, 0.3)),
        scatter=float(rng.uniform(0.05, 0.5)),
        gears=number,
    )
    wander = float(rng.choice([0.0, 0.0005]))

    def record(
        at: int, speed: float, what: tuple[GearFault, ...], taken: Circumstances, *, level: Levels, gain: float
    ) -> Recording:
        samples = gain * simulate(
            drive,
            speed_hz=speed,
            sample_rate_hz=RATE_HZ,
            samples=int(SECONDS * RATE_HZ * (3 if pattern == "hunting tooth" else 1)),
            seed=10 * number + at,
            noise=NOISES[number % len(NOISES)],
            faults=bearing_faults,
            strangers=strangers if at >= 3 or pattern != "gear wear" else (),
            gear_faults=what,
            levels=level,
            wander=wander,
        )
        stated = speed * float(np.random.default_rng([number, at]).uniform(0.99, 1.01))
        return Recording(samples, RATE_HZ, "m/s2", speed_hz=stated, point="point", name=f"record {at}", start=f"{at}", taken=taken)

    speed = drive.rated_speed_hz
    if pattern == "gear wear":
        scatter = 10 ** (rng.normal(0, 0.3, 6) / 20)  # 0.3 dB from one record to the next
        worn = [at >= 3 for at in range(6)]
        loaded = later_load != 0.5
        return tuple(
            record(
                at,
                speed,
                faults if late else (),
                Circumstances(state="steady", load=later_load if late else 0.5),
                level=replace(levels, mesh=levels.mesh * float(scatter[at]) * (later if late and loaded else 1.0)),
                gain=later if late and not loaded else 1.0,
            )
            for at, late in enumerate(worn)
        )
    if pattern == "mesh misalignment":
        return tuple(
            record(at, ratio * speed, faults, Circumstances(direction=direction, state="steady"), level=levels, gain=1.0)
            for at, (ratio, direction) in enumerate((r, d) for r in (1.0, 0.85) for d in ("horizontal", "axial"))
        )
    return (record(0, speed, faults, Circumstances(state="steady"), level=levels, gain=1.0),)
