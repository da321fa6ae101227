"""What it costs to infer tooth counts from one record of 2^17 samples: seconds of processor time, and as ratios within one run.

Against the spectrum every recording gets anyway (transform, window, strengths), and from stage to stage. The record is simulated
from a drive whose counts the search is not told. Run it by `make bench`.
"""

import time
from collections.abc import Callable
from statistics import median

import numpy as np

from gearcase.drive.simulate import simulate
from gearcase.drive.train import Drive, Mesh, Shaft
from gearcase.judge.peaks import LineSpectrum
from gearcase.judge.teeth import Plate, infer_teeth
from gearcase.signal.spectrum import floor_bins, hann, line_strength, transform
from gearcase.worked import Given, Origin

RATE_HZ = 6400.0
SAMPLES = 2**17
SPEED_HZ = 24.75
TEETH = ((19, 73), (21, 83), (23, 79), (22, 61))
ROUNDS = 5


def main() -> None:
    """Measure and print."""
    before = 0.0
    for stages in (1, 2, 3, 4):
        samples, plate = recorded(stages)
        spectrum = seconds(lambda samples=samples: strengths(samples), 3 * ROUNDS)
        lines = strengths(samples)
        found = infer_teeth([lines], plate)
        took = seconds(lambda lines=lines, plate=plate: infer_teeth([lines], plate), ROUNDS)
        right = "found" if found.candidates[0].teeth == TEETH[:stages] else "not found"
        goal = "   goal at most 5 s" if stages == 3 else ""
        growth = f", {took / before:.1f} x a stage fewer" if before else ""
        print(f"teeth of {stages} stages, {right}: {took:.2f} s, {took / spectrum:.0f} x its spectrum{growth}{goal}", flush=True)
        before = took


def recorded(stages: int) -> tuple[np.ndarray, Plate]:
    """A record, and the nameplate with a speed 0.5 % wrong."""
    shafts = tuple(Shaft(f"shaft {n + 1}") for n in range(stages + 1))
    meshes = tuple(Mesh(f"mesh {n + 1}", f"shaft {n + 1}", f"shaft {n + 2}", *TEETH[n]) for n in range(stages))
    given = Given("speed", SPEED_HZ, "Hz", Origin.MEASURED)
    drive = Drive("benchmark", shafts, meshes, (), "shaft 1", (SPEED_HZ, SPEED_HZ), SPEED_HZ, given)
    samples = simulate(drive, speed_hz=SPEED_HZ, sample_rate_hz=RATE_HZ, samples=SAMPLES, seed=1, noise="sloping")
    ratio = float(np.prod([wheel / pinion for pinion, wheel in TEETH[:stages]]))
    return samples, Plate(SPEED_HZ * 1.005, 0.01, round(ratio, 1), 0.05, stages)


def strengths(samples: np.ndarray) -> LineSpectrum:
    """The spectrum that every recording gets."""
    whole = transform(samples, sample_rate_hz=RATE_HZ)
    return LineSpectrum(line_strength(np.abs(hann(whole.values)) ** 2, width=floor_bins(whole.bin_hz)), whole.bin_hz)


def seconds(work: Callable[[], object], rounds: int) -> float:
    """Median processor time; one thread, so that an idle machine takes as long."""
    times = []
    for _ in range(rounds):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return median(times)


if __name__ == "__main__":
    main()
