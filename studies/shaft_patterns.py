"""How often the patterns of shafts, motor, oil and sensors are called wrongly, and how often they are found: `make study-shafts`.

Prints, with upper 95 % bounds (Clopper and Pearson): false claims on sound drives, beside neighbours at any frequency and beside
one within 2 % of the shaft's own; then of each fault by strength how often it is named, named wrongly or left uncertain. Every
case is a function of its number alone; speeds are stated up to 1 % wrong and measured from the recordings, as the diagnosis does
it. Simulations only: no recording is used.
"""

import argparse
import time
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from gearcase.drive.bearing_lines import bearing_order
from gearcase.drive.lines import expected_lines
from gearcase.drive.shaft_faults import (
    BentShaft,
    Clicks,
    Fluting,
    Hiss,
    Hum,
    Looseness,
    Misalignment,
    Neighbour,
    ShaftFault,
    Situation,
    Unbalance,
)
from gearcase.drive.simulate import BearingFault, Levels, Stranger
from gearcase.drive.train import Drive, Mesh
from gearcase.judge.faults import bearing_hypotheses
from gearcase.judge.heard import find_speed, hear
from gearcase.judge.patterns.families import examine
from gearcase.judge.patterns.observed import Observed
from gearcase.judge.patterns.signs import Answer
from studies.cases import NOISES
from studies.diagnosis import upper_bound
from studies.shaft_cases import BALL, CHANNELS, DRIVE, observe

CHUNK = 5
MM_S = 1e-3
STRENGTHS = (1.5, 3.0, 4.5, 9.0)  # mm/s of a fault's highest line; zone C of this drive begins at 2.8
SHAKING = ("unbalance", "bent shaft", "misalignment", "looseness or soft foot", "resonance", "electrical")
HISSES = (0.25, 0.5, 1.0, 2.0)  # m/s2 of a starved bearing, noise of all frequencies 0.1 to 0.4
CLICKS = (0.5, 1.0, 2.0, 4.0)  # m/s2 of one click
GROOVES = (0.05, 0.1, 0.2, 0.4)  # m/s2 of fluting, noise of all frequencies 0.1 to 0.4
HUMP_HZ = (1200.0, 3300.0)  # the middle of what fluting makes at the rated speed
SPEEDS = (0.76, 0.82, 0.88, 0.94, 1.06)  # of the rated, where several were recorded
UNSTEADY = ("coast-down", "run-up")
PASSED = ("run: sound", "run: unbalance", "run: neighbour", "run: resonance")
HERE, MOTOR = CHANNELS[3:6], CHANNELS[:2]
RADIAL_HERE = CHANNELS[3:5]


@dataclass(frozen=True)
class Case:
    """A drive, what went wrong, and the files that were recorded."""

    drive: Drive
    records: tuple[Observed, ...]
    truth: str


def shaking(kind: str, number: int, strength: float) -> Case:
    """One steady file of nine channels; in turn also standing, coasting down, and at other speeds."""
    rng = np.random.default_rng([57, number])
    drive = _drive(rng)
    fault = _fault(kind, drive, rng, strength)
    files = [(Situation(drive.rated_speed_hz), CHANNELS)]
    if number % 2 or kind == "electrical":
        files = [(Situation(drive.rated_speed_hz, "coast-down"), MOTOR), *files]
    if number % 4 > 1:
        files = [(Situation(drive.rated_speed_hz, "standing"), HERE), *files]
    if number % 3 == 0 or kind == "resonance":
        files = [(Situation(part * drive.rated_speed_hz), RADIAL_HERE) for part in SPEEDS] + files
    return Case(drive, _heard(drive, number, rng, files, faults=fault), "" if kind in ("sound", "neighbour", "near") else kind)


def oil_and_clicks(kind: str, number: int, strength: float) -> Case:
    """Six fast files of two bearings, the last as `kind` says, one of them overrunning, one standing."""
    rng = np.random.default_rng([58, number])
    drive = _drive(rng)
    channels = [CHANNELS[4], CHANNELS[7]]
    kelvin = 330.0 + rng.normal(0, 0.5, 7)
    warm = kelvin[-1] + rng.uniform(8, 15)
    fault: list[ShaftFault] = []
    damage = []
    if kind == "lubrication":
        fault = [Hiss(strength, 4500.0, bearing=channels[0].bearing)]
    elif kind == "hiss":
        fault = [Hiss(strength, 4500.0, foreign=True)]
    elif kind == "bearing":
        damage = [BearingFault(channels[0].bearing, "outer_race", 4 * strength, resonance_hz=6500.0)]
    elif kind == "backstop":
        fault = [Clicks(("overrunning",), "input", strength, drive.passing_parts[0].count)]
    elif kind == "knock":
        fault = [Clicks(("overrunning",), "input", strength, float(rng.choice([1, 2, 3, rng.uniform(1.5, 30)])))]
    situation = Situation(drive.rated_speed_hz)
    sound = [(replace(situation, oil_temperature=float(t)), channels) for t in kelvin[:5]]
    now = [(replace(situation, oil_temperature=float(warm)), channels)]
    over = [(replace(situation, state="overrunning"), channels)]
    standing = [(replace(situation, state="standing"), channels)] if number % 2 else []
    fast = {"sample_rate_hz": 20480.0, "samples": 81920}
    earlier = _heard(drive, number, rng, sound, **fast)
    later = _heard(drive, number + 500_000, rng, [*over, *now, *standing], faults=fault, damage=damage, **fast)
    return Case(drive, (*earlier, *later), kind if kind in ("lubrication", "backstop") else "")


def currents(kind: str, number: int, strength: float) -> Case:
    """Two fast files of two bearings of a drive on a converter, at the rated speed and 12 to 30 % below."""
    rng = np.random.default_rng([60, number])
    plain = _drive(rng)
    motor = replace(plain.motor, converter=True, current_protection="none") if plain.motor else None
    drive = replace(plain, motor=motor)
    channels = [CHANNELS[4], CHANNELS[7]]
    bearing, race = channels[0].bearing, str(rng.choice(["outer_race", "inner_race"]))
    middle_hz = float(np.exp(rng.uniform(*np.log(HUMP_HZ))))
    rolling = bearing_order("cage", (1.0, 0.0) if race == "outer_race" else (0.0, 1.0), BALL)  # grooves' circles an element rolls
    given: dict[str, object] = {}
    if kind == "current fluting":
        given["faults"] = [Fluting(bearing, race, strength, middle_hz / rolling / drive.rated_speed_hz)]
    elif kind == "ringing race":
        ring_time = float(rng.uniform(0.2e-3, 1.5e-3))
        given["damage"] = [BearingFault(bearing, race, strength, resonance_hz=middle_hz, ring_time=ring_time)]
    elif kind == "pulsing neighbour":
        given["strangers"] = [Stranger(float(np.exp(rng.uniform(*np.log((20.0, 300.0))))), strength, resonance_hz=middle_hz)]
    files = [(Situation(speed * drive.rated_speed_hz), channels) for speed in (float(rng.uniform(0.7, 0.88)), 1.0)]
    fast = {"sample_rate_hz": 20480.0, "samples": 163840}
    return Case(drive, _heard(drive, number, rng, files, **given, **fast), kind if kind == "current fluting" else "")


def passing(kind: str, number: int, strength: float) -> Case:
    """A run-up or coast-down, in turn, in both radial directions; `strength` is what is read at the highest [mm/s]."""
    rng = np.random.default_rng([61, number])
    drive = _drive(rng)
    speed, damping = drive.rated_speed_hz, float(rng.uniform(0.02, 0.06))
    ratio = float(rng.uniform(0.82, 0.9))
    fault: list[ShaftFault] = []
    if kind == "run: resonance":
        heavy = strength * MM_S * 2 * damping / (0.8 * ratio**3)  # 0.8 of it vertical, as the cube of speed in velocity
        fault = [Unbalance("input", heavy, natural_hz=ratio * speed, damping=damping)]
    elif kind == "run: unbalance":
        fault = [Unbalance("input", strength * MM_S)]
    elif kind == "run: neighbour":
        light = Unbalance("input", 0.1 * strength * MM_S)
        fault = [light, Neighbour(float(rng.uniform(0.65, 0.95)) * speed, strength * MM_S, int(rng.choice([1, 3, 10])))]
    files = [(Situation(speed, ("coast-down", "run-up")[number % 2]), RADIAL_HERE)]
    return Case(drive, _heard(drive, number, rng, files, faults=fault), "resonance" if kind == "run: resonance" else "")


def _drive(rng: np.random.Generator) -> Drive:
    speed = float(rng.uniform(24.3, 24.95))
    teeth = int(rng.integers(13, 31)), int(rng.integers(40, 110))
    given = replace(DRIVE.speed_given, value=speed)
    return replace(
        DRIVE,
        meshes=(Mesh("mesh", "input", "output", *teeth),),
        speed_hz=(speed, speed),
        rated_speed_hz=speed,
        speed_given=given,
        motor=replace(DRIVE.motor, rated_speed_hz=speed) if DRIVE.motor else None,
        passing_parts=(replace(DRIVE.passing_parts[0], count=float(rng.integers(9, 24))),),
    )


def _levels(number: int) -> Levels:
    rng = np.random.default_rng([59, number])
    return Levels(float(rng.uniform(0.02, 0.2)), float(rng.uniform(0.1, 1.0)), float(rng.uniform(0.1, 0.4)))


def _fault(kind: str, drive: Drive, rng: np.random.Generator, strength: float) -> list[ShaftFault]:
    velocity, speed = strength * MM_S, drive.rated_speed_hz
    shaft = str(rng.choice(["input", "motor"]))
    ends = ("input coupling end", "input mesh end")
    made: dict[str, list[ShaftFault]] = {
        "sound": [],
        "neighbour": [Neighbour(float(np.exp(rng.uniform(np.log(8), np.log(300)))), velocity, int(rng.choice([1, 3, 10])))],
        "near": [Neighbour(speed * float(1 + rng.uniform(-0.02, 0.02)), velocity)],
        "unbalance": [Unbalance(shaft, velocity)],
        "bent shaft": [BentShaft("input", ends, velocity)],
        "misalignment": [Misalignment(("motor", "input"), ("motor drive end", ends[0]), velocity)],
        "looseness or soft foot": [Looseness(shaft, velocity / 2)],  # all its lines together are about twice its first
        "resonance": [Unbalance("input", velocity / 8, natural_hz=0.94 * speed * float(1 + rng.uniform(-0.01, 0.01)))],
        "electrical": [Hum(50.0, velocity, pole_pass_hz=4 * (25.0 - speed))],
    }
    return made[kind]


def _heard(
    drive: Drive, number: int, rng: np.random.Generator, files: Sequence[tuple[Situation, Sequence[object]]], **more: object
) -> tuple[Observed, ...]:
    """Each channel with its speed as the diagnosis measures it, in the order of the files."""
    lines, hypotheses = expected_lines(drive), bearing_hypotheses(drive)
    levels = _levels(number % 500_000)  # the same in all files of a case
    found = []
    for n, (situation, channels) in enumerate(files):
        stated = situation.speed_hz * float(1 + rng.uniform(-0.01, 0.01))
        records = observe(
            situation,
            seed=10 * number + n,
            channels=channels,
            drive=drive,
            noise=NOISES[number % len(NOISES)],
            levels=levels,
            **more,
        )
        for one in records:
            if situation.state == "standing":
                found.append(one)
            elif situation.state in UNSTEADY:
                found.append(replace(one, speed_hz=stated, speed_spread=1.0))
            else:
                own = replace(drive, speed_hz=(situation.speed_hz,) * 2)
                speed = find_speed(own, lines, hypotheses, hear(replace(one.recording, speed_hz=stated)))
                if not isinstance(speed, str):
                    found.append(replace(one, speed_hz=speed.hz, speed_spread=speed.spread))
    return tuple(found)


def outcome(case: Case) -> Counter[str]:
    """What was said of one case: right, wrong (by pattern), uncertain; a neighbour called a neighbour is right."""
    found = examine(case.drive, case.records)
    said = {one.pattern for one in found if one.answer is Answer.CLAIMED} - {"background from elsewhere"}
    counted = Counter(cases=1, right=int(case.truth in said), wrong=int(bool(said - {case.truth})))
    counted["uncertain"] = (
        any(one.pattern == case.truth and one.answer is Answer.UNCERTAIN for one in found) and case.truth not in said
    )
    counted["background"] = any(one.pattern == "background from elsewhere" and one.answer is Answer.CLAIMED for one in found)
    counted.update({f"as {name}": 1 for name in said - {case.truth}})
    return counted


def _chunk(task: tuple[str, int, int, float]) -> Counter[str]:
    kind, first, count, strength = task
    make = shaking
    if kind in ("lubrication", "hiss", "bearing", "backstop", "knock", "quiet oil"):
        make = oil_and_clicks
    elif kind in ("current fluting", "ringing race", "pulsing neighbour", "two speeds"):
        make = currents
    elif kind in PASSED:
        make = passing
    return sum((outcome(make(kind, number, strength)) for number in range(first, first + count)), Counter())


def run(pool: ProcessPoolExecutor, kind: str, first: int, count: int, strength: float) -> Counter[str]:
    """All cases of one kind, in chunks over the pool."""
    tasks = [(kind, first + n, min(CHUNK, count - n), strength) for n in range(0, count, CHUNK)]
    return sum(pool.map(_chunk, tasks), Counter())


def _names(found: Counter[str]) -> str:
    return "".join(f" {name} {count}" for name, count in found.items() if name.startswith("as "))


def main() -> None:
    """Print the study."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=64, help="cases beside others; three times that sound, an eighth a strength")
    parser.add_argument("--first", type=int, default=100_000, help="number of the first case")
    parser.add_argument("--only", nargs="+", default=[], help="these kinds of case and no others")
    given = parser.parse_args()
    start = time.perf_counter()
    half, eighth = given.cases // 2, given.cases // 8
    with ProcessPoolExecutor() as pool:
        for kind, count, strength in (
            ("sound", 3 * given.cases, 0.0),
            ("neighbour", given.cases, 6.0),
            ("near", given.cases, 6.0),
            ("run: sound", half, 0.0),
            ("run: unbalance", half, 9.0),
            ("run: neighbour", half, 9.0),
            ("quiet oil", half, 0.0),
            ("hiss", half, 2.0),
            ("bearing", half, 2.0),
            ("knock", half, 2.0),
            ("two speeds", half, 0.0),
            ("ringing race", half, 4.0),
            ("pulsing neighbour", half, 4.0),
        ):
            if given.only and kind not in given.only:
                continue
            found = run(pool, kind, given.first, count, strength)
            wrong = f"{found['wrong']} of {found['cases']} (below {upper_bound(found['wrong'], found['cases']):.4f})"
            named = f"neighbour named {found['background']}"
            print(f"{kind:22} {strength:5.2f}  false claims {wrong}{_names(found)}, {named}", flush=True)
        by_strength = [(kind, STRENGTHS) for kind in (*SHAKING, "run: resonance")] + [
            ("lubrication", HISSES),
            ("backstop", CLICKS),
            ("current fluting", GROOVES),
        ]
        for kind, strengths in by_strength:
            for strength in strengths if not given.only or kind in given.only else ():
                found = run(pool, kind, given.first, eighth, strength)
                named = f"named {found['right']} of {found['cases']}, wrong {found['wrong']}{_names(found)}"
                print(f"{kind:22} {strength:5.2f}  {named}, uncertain {found['uncertain']}", flush=True)
    print(f"{time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
