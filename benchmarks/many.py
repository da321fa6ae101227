"""A thousand recordings through every figure: is the time of each flat, and how much memory does it take?

Processor time of each hundred over that of three transforms taken beside each recording, so that what else the machine does counts
on both sides; and the process's highest memory after the first hundred and at the end. Run it by `make bench`; it needs xarray
(`pip install 'gearcase[notebook]'`), takes some minutes and says so.
"""

import resource
import time
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import scipy.fft

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
    beside: list[float] = []
    memory = [peak_mb()]
    table = indicator_table(recordings(clock, beside, memory), DRIVE)
    spent = np.diff(clock).reshape(-1, TOGETHER).sum(axis=1)
    compared = np.reshape(beside, (-1, TOGETHER)).sum(axis=1)
    ratios = (spent - compared) / compared
    print(f"each {TOGETHER} over three transforms each: {', '.join(f'{one:.0f}' for one in ratios)}")
    print(f"highest memory before, after the first {TOGETHER} and at the end: {memory[0]:.0f}, {memory[1]:.0f}, {peak_mb():.0f} MB")
    print(f"figures kept: {table.nbytes / 1e6:.0f} MB")


def recordings(clock: list[float], beside: list[float], memory: list[float]) -> Iterator[Recording]:
    """One waveform, each time in noise of its own; between two of them the clock is read."""
    samples = simulate(DRIVE, speed_hz=SPEED_HZ, sample_rate_hz=RATE_HZ, samples=SAMPLES, seed=1, noise="resonant")
    one = Recording(samples, RATE_HZ, "m/s2", speed_hz=SPEED_HZ, point="bearing")
    clock.append(time.process_time())
    for n in range(RECORDINGS):
        noise = np.random.default_rng(n).standard_normal(SAMPLES, np.float32)
        start = time.process_time()
        half = scipy.fft.rfft(samples)
        scipy.fft.irfft(half)
        scipy.fft.rfft(samples)
        beside.append(time.process_time() - start)
        yield replace(one, samples=samples + noise, name=f"record {n}")
        clock.append(time.process_time())
        if n + 1 == TOGETHER:
            memory.append(peak_mb())


def peak_mb() -> float:
    """Highest memory of this process so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


if __name__ == "__main__":
    main()
