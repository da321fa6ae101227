"""What a watch costs: processor time for an hour of the drive at ten readings a second, and its memory from quarter to quarter.

The devices answer from words taken once from the rig, so that the simulation is not counted; the store is a real one, one sync a
round. Also `gearcase plan` on the demo as a whole process, against a bare interpreter start. Run it by `make bench`.
"""

import asyncio
import contextlib
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from statistics import median

from gearcase.device.rig import Rig, RigBus
from gearcase.job.build import load
from gearcase.judge.alarm import Thresholds
from gearcase.monitor.in_force import InForce
from gearcase.monitor.setup import Setup
from gearcase.monitor.watch import Watch
from gearcase.record.store import Store

DEMO = Path(__file__).parents[1] / "examples" / "demo"
HOUR = 3600
ROUNDS = 7


class Replayed:
    """A bus whose devices always say what they said first."""

    def __init__(self, bus: RigBus) -> None:
        self._bus = bus
        self._said: dict[tuple[int, int, int], tuple[int, ...]] = {}

    async def read(self, *, unit: int, function: int, start: int, count: int) -> tuple[int, ...]:
        """As `RegisterBus.read`."""
        key = (unit, start, count)
        if key not in self._said:
            self._said[key] = await self._bus.read(unit=unit, function=function, start=start, count=count)
        return self._said[key]

    async def write(self, *, unit: int, start: int, words: Sequence[int]) -> None:
        """As `RegisterBus.write`: heard, and nothing more."""


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
        watch_an_hour(Path(folder))


def watch_an_hour(folder: Path) -> None:
    """An hour at ten readings a second, as fast as it goes."""
    job = load(DEMO)
    now = 1.8e9
    rig = Rig(job, lambda: now, 24.75, sump=321.15)
    limit = InForce(Thresholds(2.8e-3, 4.5e-3))
    limits = {(point, "overall velocity", ""): limit for point in ("input coupling end", "intermediate left")}
    with Store.open(folder / "readings.sqlite") as store:
        watch = Watch(
            Setup(job, limits, {}),
            Replayed(RigBus(rig)),
            store,
            clock=lambda: now,
            ticks=lambda: now,
            diagnose=lambda *_: {"statement": "", "verdicts": []},
            tell=lambda _: None,
        )
        used, sizes = time.process_time(), []

        async def hour() -> None:
            nonlocal now
            for second in range(HOUR):
                now += 1.0
                await watch.round()
                if second % (HOUR // 4) == HOUR // 4 - 1:
                    sizes.append(resident_mib())

        asyncio.run(hour())
        used = time.process_time() - used
        readings = len(store.readings())
    print(
        f"watch at {readings / HOUR:.0f} readings a second: {used:.1f} s of processor an hour ({100 * used / HOUR:.2f} % of a core)"
    )
    print(f"memory by quarter: {', '.join(f'{size:.0f}' for size in sizes)} MiB")


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
