"""A thousand recordings through every figure: is the time of each flat, and how much memory does it take?

Processor time of each hundred over the median hundred, and the process's highest memory after the first hundred and at the end. Run
it by `make bench`; it needs xarray (`pip install 'gearcase[notebook]'`), takes some minutes and says so.
"""

import resource
import time
from collections.abc import Iterator
from dataclasses import replace
from statistics import median

import numpy as np

from gearcase.drive.simulate import simulate
from gearcase.signal.recording import Recording
from gearcase.stages.indicator_table import indicator_table
from run import DRIVE, RATE_HZ, SAMPLES

RECORDINGS, TOGETHER = 1000, 100
SPEED_HZ = DRIVE.rated_speed_hz


def main() -> None:
    """Measure and print."""
    print(f"{RECORDINGS} recordings of {SAMPLES} samples: some minutes", flush=True)
    clock: list[float] = []
    memory: list[float] = []
    table = indicator_table(recordings(clock, memory), DRIVE)
    clock.append(time.process_time())
    memory.append(peak_mb())
    each = np.diff(clock)
    ratios = ", ".join(f"{one / median(each):.2f}" for one in each)
    print(f"time of each {TOGETHER} over their median: {ratios}")
    print(f"highest memory after the first {TOGETHER}: {memory[1]:.0f} MB; at the end: {memory[-1]:.0f} MB   goal below 1024")
    print(f"figures kept: {table.nbytes / 1e6:.0f} MB; processor time a recording: {1000 * sum(each) / RECORDINGS:.0f} ms")


def recordings(clock: list[float], memory: list[float]) -> Iterator[Recording]:
    """One waveform begun elsewhere each time, in noise of its own."""
    samples = simulate(DRIVE, speed_hz=SPEED_HZ, sample_rate_hz=RATE_HZ, samples=SAMPLES, seed=1, noise="resonant")
    one = Recording(samples, RATE_HZ, "m/s2", speed_hz=SPEED_HZ, point="bearing")
    for n in range(RECORDINGS):
        if n % TOGETHER == 0:
            clock.append(time.process_time())
            memory.append(peak_mb())
        noise = np.random.default_rng(n).standard_normal(SAMPLES, np.float32)
        yield replace(one, samples=np.roll(samples, 100 * n) + noise, name=f"record {n}")


def peak_mb() -> float:
    """Highest memory of this process so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


if __name__ == "__main__":
    main()
