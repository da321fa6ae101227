"""What a watch costs: processor time per simulated second with four sensors over simulated days, and whether its memory stays flat.

The devices answer from words taken twelve times a day from the rig, so that the simulation is hardly counted; the store is a real
one, one sync a round, and records are taken, kept and judged as they fall due. Also `gearcase plan` on the demo as a whole
process, against a bare interpreter start. Run it by `make bench`.
"""

import asyncio
import contextlib
import multiprocessing
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import replace
from multiprocessing.connection import Connection
from pathlib import Path
from statistics import median

from gearcase.job.build import Job, load
from gearcase.judge.alarm import Thresholds
from gearcase.monitor.in_force import InForce
from gearcase.monitor.light import BEAT
from gearcase.monitor.memory import give_back
from gearcase.monitor.polling import take_records
from gearcase.monitor.setup import Setup
from gearcase.monitor.watch import Watch
from gearcase.record.store import Store
from gearcase.stages import diagnose
from gearcase.stages.minutes import SUMP

DEMO = Path(__file__).parents[1] / "examples" / "demo"
DAY, EVERY = 86400, 10
DAYS = int(os.environ.get("DAYS", "2"))
SENSORS = 4
ROUNDS = 7


class Replayed:
    """A bus whose devices always say what they said first. The rig is a process of its own: its memory is not the watch's."""

    def __init__(self) -> None:
        self._said: dict[tuple[int, int, int], tuple[int, ...]] = {}
        self._rig, theirs = multiprocessing.Pipe()
        multiprocessing.get_context("spawn").Process(target=answer, args=(theirs,), daemon=True).start()
        self.now = 0.0

    async def read(self, *, unit: int, function: int, start: int, count: int) -> tuple[int, ...]:
        """As `RegisterBus.read`."""
        key = (unit, start, count)
        if key not in self._said:
            self._rig.send((self.now, {"unit": unit, "function": function, "start": start, "count": count}))
            self._said[key] = self._rig.recv()
        return self._said[key]

    def forget(self) -> None:
        """Ask the devices anew."""
        self._said.clear()

    async def write(self, *, unit: int, start: int, words: Sequence[int]) -> None:
        """As `RegisterBus.write`: heard, and nothing more."""


def answer(asked: Connection) -> None:
    """Be the rig."""
    from gearcase.device.rig import Rig, RigBus

    now = 1.8e9
    bus = RigBus(Rig(four_sensors(), lambda: now, 24.75, sump=321.15))
    while True:
        now, what = asked.recv()
        asked.send(asyncio.run(bus.read(**what)))


def main() -> None:
    """Measure and print."""
    plan, bare = [], []
    with tempfile.TemporaryDirectory() as folder:
        shutil.copy(DEMO / "job.yaml", folder)
        for _ in range(ROUNDS):
            plan.append(seconds("-m", "gearcase.cli", "plan", folder))
            bare.append(seconds("-c", "pass"))
        whole, times = median(plan), median(plan) / median(bare)
        print(f"gearcase plan on the demo: {whole:.2f} s whole process (goal under 2), {times:.0f} x a bare start")
        give_back()
        watch_for_days(Path(folder))


def four_sensors() -> Job:
    """The demo's job with a vibration sensor on four bearings, which one drive has."""
    job = load(DEMO)
    first = next(one for one in job.bus.devices if one.profile == "three-axis vibration")
    others = [one for one in job.bus.devices if one.profile != "three-axis vibration"]
    points = [replace(job.points[0], name=bearing.name, bearing=bearing.name) for bearing in job.drive.bearings[:SENSORS]]
    devices = [replace(first, name=f"S{n}", address=100 + n, point=point.name) for n, point in enumerate(points)]
    return replace(job, points=tuple(points), bus=replace(job.bus, devices=(*others, *devices)))


def watch_for_days(folder: Path) -> None:
    """Four sensors for simulated days, a round every ten seconds: all that a watch does; the diagnosis is timed alone."""
    job = four_sensors()
    now = 1.8e9
    limit = InForce(Thresholds(5.0, 9.0))
    quantities = ("overall velocity", "high-frequency acceleration", "shaft lines", "mesh lines")
    limits = {(point.name, quantity, ""): limit for point in job.points for quantity in quantities}
    limits[SUMP, "temperature", ""] = InForce(Thresholds(353.15, 366.15))
    with Store.open(folder / "days.sqlite") as store:
        bus = Replayed()
        watch = Watch(
            Setup(job, limits, {}),
            bus,
            store,
            clock=lambda: now,
            ticks=lambda: now,
            diagnose=lambda job, recording: diagnose.run(job, [recording]).document,
            tell=lambda _: None,
        )
        sizes: list[float] = []

        async def days() -> float:
            nonlocal now
            await watch.begin("")
            used = 0.0
            for number in range(DAYS * DAY // EVERY):
                started = time.process_time()
                now += EVERY
                bus.now = now
                await watch.round()
                await watch.record()
                used += time.process_time() - started
                if number % (DAY // EVERY // 12) == 0:
                    sizes.append(resident_mib())
                    bus.forget()
            return used

        used = asyncio.run(days())
        beats, seconds_of_beat = 200, time.process_time()

        async def beat() -> None:
            for _ in range(beats):
                await watch.beat()

        asyncio.run(beat())
        seconds_of_beat = (time.process_time() - seconds_of_beat) / beats / BEAT
    bus.forget()
    device = job.bus.devices[-1]
    last = asyncio.run(take_records(bus, device, device.form.records[0], speed_hz=24.75, start=""))[0]
    began = time.process_time()
    diagnose.run(job, [last])
    whole = time.process_time() - began
    share = used / (DAYS * DAY) + seconds_of_beat
    later = sizes[len(sizes) // 2 :]
    slope = (later[-1] - later[0]) / (len(later) - 1) * 12
    print(f"{SENSORS} sensors, {DAYS} days, a round every {EVERY} s: {100 * share:.3f} % of a core (goal under 10)")
    print(f"with a diagnosis of each a day, {whole:.1f} s each; light {watch.light.colour}")
    ends = f"{sizes[0]:.0f} MiB at first, {sizes[-1]:.0f} at last"
    print(f"memory: {ends} (goal under 200), {slope:+.2f} MiB a day over the second half")


def seconds(*arguments: str) -> float:
    """Time of one whole process."""
    started = time.perf_counter()
    with open(os.devnull, "w", encoding="utf-8") as nowhere:
        subprocess.run([sys.executable, *arguments], stdout=nowhere, stderr=nowhere, check=False)
    return time.perf_counter() - started


def resident_mib() -> float:
    """Memory this process holds; 0 where the system does not tell. [MiB]"""
    with contextlib.suppress(OSError):
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
        return pages * os.sysconf("SC_PAGE_SIZE") / 2**20
    return 0.0


if __name__ == "__main__":
    main()
