"""What planning costs: a campaign of 100 generated drives as a whole process, and how a plan's time grows with parts and faces.

Growth is the slope of log time over log size, by least squares over sizes doubled: 1 is proportional. Run it by `make bench`.
"""

import json
import os
import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from statistics import median

import numpy as np

from gearcase.job.build import Job, load
from gearcase.stages import plan

DEMO = Path(__file__).parents[1] / "examples" / "demo"
DRIVES = 100
PARTS = (4, 8, 16, 32, 64)  # on one drive; more than that nobody fits
FACES = (32, 64, 128, 256, 512)
ROUNDS = 5


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder:
        drives(Path(folder))
        started = time.perf_counter()
        done = subprocess.run(
            [sys.executable, "-m", "gearcase.cli", "campaign", folder, "--json", "--into", folder],
            capture_output=True,
            text=True,
            check=False,
        )
        whole, used = time.perf_counter() - started, os.times().children_user + os.times().children_system
    found = json.loads(done.stdout)
    print(f"campaign of {DRIVES} drives: {whole:.1f} s whole process (goal under 30), {used:.1f} s of processor time")
    print(f"  {found['statement']}")
    for cut in found["cut_lists"]:
        least = "the least" if cut["least"] else f"at most {100 * (cut['bought_m'] / cut['at_least_m'] - 1):.1f} % over the least"
        print(f"  {cut['of']}: {len(cut['bars'])} bars, {cut['bought_m']:.1f} m, {least}")
    demo = load(DEMO)
    for what, grow, sizes in (("parts", parts, PARTS), ("faces", faces, FACES)):
        times = [seconds(grow(demo, size)) for size in sizes]
        slope = float(np.polyfit(np.log(sizes), np.log(times), 1)[0])
        steep = float(np.log2(times[-1] / times[-2]))
        shown = ", ".join(f"{size}: {1000 * taken:.1f} ms" for size, taken in zip(sizes, times, strict=True))
        print(f"plan by {what}: exponent {slope:.2f}, {steep:.2f} over the last doubling ({shown})")


def drives(home: Path) -> None:
    """Jobs like the demo, each with its own teeth, wall, strut and conduit; one in ten has a wall too thin for its hole."""
    text = (DEMO / "job.yaml").read_text(encoding="utf-8")
    text = text[: text.index("# Made by `make demo`")]
    rng = random.Random(1)
    for number in range(DRIVES):
        wall = 14.0 if number % 10 == 0 else rng.uniform(22, 28)
        changes = (
            ("title: Conveyor CV-204", f"title: Conveyor CV-{300 + number}"),
            ("pinion: {shaft: input, teeth: 17}", f"pinion: {{shaft: input, teeth: {rng.choice((16, 17, 18))}}}"),
            ("[22.6 mm, 22.4 mm, 22.5 mm]", f"[{wall + 0.2:.1f} mm, {wall:.1f} mm, {wall + 0.1:.1f} mm]"),
            ("post of the light, length: 1800 mm", f"post of the light, length: {rng.randrange(1200, 2400, 50)} mm"),
            ("drop from the panel, length: 2200 mm", f"drop from the panel, length: {rng.randrange(800, 2800, 100)} mm"),
        )
        job = text
        for given, put in changes:
            if given not in job:
                raise SystemExit(f"the demo no longer says: {given}")
            job = job.replace(given, put)
        folder = home / f"drive-{number:03d}"
        folder.mkdir()
        (folder / "job.yaml").write_text(job, encoding="utf-8")


def parts(demo: Job, count: int) -> Job:
    """The demo with so many points, each with its device and cable."""
    points = tuple(replace(demo.points[n % 3], name=f"point {n}") for n in range(count))
    devices = tuple(replace(demo.bus.devices[1], name=f"device {n}", address=n + 1, point=f"point {n}") for n in range(count))
    cables = tuple(replace(demo.kit.cables[1], name=f"W{n}") for n in range(count))
    return replace(demo, points=points, bus=replace(demo.bus, devices=devices), kit=replace(demo.kit, cables=cables))


def faces(demo: Job, count: int) -> Job:
    """The demo with so many faces."""
    made = tuple(replace(demo.housing.faces[n % 2], name=f"face {n}") for n in range(count))
    return replace(demo, housing=replace(demo.housing, faces=(*demo.housing.faces, *made)))


def seconds(job: Job) -> float:
    """Median time of planning a job in this process."""
    run: Callable[[Job], object] = plan.run
    run(job)
    taken = []
    for _ in range(ROUNDS):
        started = time.perf_counter()
        run(job)
        taken.append(time.perf_counter() - started)
    return median(taken)


if __name__ == "__main__":
    main()
