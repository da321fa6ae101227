"""What a drive model costs: solving a train and listing its lines, and how that grows with the stages.

Run by `make bench`. The figure with a goal is in process, median over rounds; growth is a ratio within one run.
"""

import time
from collections.abc import Callable
from statistics import median

from gearcase.drive.lines import expected_lines
from gearcase.drive.speeds import shaft_orders
from gearcase.drive.train import Drive, Mesh, Shaft
from gearcase.worked import Given, Origin

ROUNDS = 201
GOAL_MS = 5.0
MOST_STAGES = 8


def main() -> None:
    """Measure and print."""
    mill = planetary_helical()
    show("three-stage planetary-helical drive, solved", milliseconds(lambda: shaft_orders(mill)), "")
    show("the same, solved and its lines listed", milliseconds(lambda: expected_lines(mill)), f"at most {GOAL_MS:g} ms")
    one = milliseconds(lambda: expected_lines(helical(1)))
    for stages in range(2, MOST_STAGES + 1, 2):
        drive = helical(stages)
        times = milliseconds(lambda drive=drive: expected_lines(drive)) / one  # type: ignore[misc]
        print(f"{f'{stages} helical stages / one':45} {times:6.2f}   lines {len(expected_lines(drive))}", flush=True)


def planetary_helical() -> Drive:
    """Helical, helical, planetary with the ring held (counts of row G05 of tests/reference/gear_trains.csv)."""
    shafts = tuple(Shaft(name) for name in ("input", "intermediate", "sun", "carrier"))
    shafts += (Shaft("ring", held=True), Shaft("planet", carrier="carrier", count=3))
    meshes = (
        Mesh("first", "input", "intermediate", 22, 88),
        Mesh("second", "intermediate", "sun", 23, 82),
        Mesh("sun mesh", "sun", "planet", 21, 39, group="set"),
        Mesh("ring mesh", "planet", "ring", 39, 99, kind="internal", group="set"),
    )
    return drive_of(shafts, meshes)


def helical(stages: int) -> Drive:
    """Parallel stages in a row."""
    shafts = tuple(Shaft(f"shaft {n}") for n in range(stages + 1))
    return drive_of(shafts, tuple(Mesh(f"mesh {n}", f"shaft {n}", f"shaft {n + 1}", 21, 67) for n in range(stages)))


def drive_of(shafts: tuple[Shaft, ...], meshes: tuple[Mesh, ...]) -> Drive:
    """Without bearings, at 25 Hz."""
    speed = Given("speed", 25.0, "Hz", Origin.NAMEPLATE)
    return Drive("drive", shafts, meshes, (), shafts[0].name, (25.0, 25.0), 25.0, speed)


def milliseconds(work: Callable[[], object]) -> float:
    """Median of the rounds."""
    taken = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return 1000 * median(taken)


def show(what: str, figure: float, goal: str) -> None:
    """One row."""
    print(f"{what:45} {figure:6.2f} ms{f'   goal {goal}' if goal else ''}", flush=True)


if __name__ == "__main__":
    main()
