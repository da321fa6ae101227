"""How often unknown tooth counts are found, and whether the stated odds come true: `make study-teeth`.

Prints, for random trains of `studies.trains`: share ranked first and among the first five by noise and by stages, how often
nothing was decided, what was decided wrongly with upper 95 % bounds, and the odds of the first combination against how often it
was right. Then the same with a speed that wanders, and with premises that are wrong, where a decision is a false one. Simulations.
"""

import argparse
import math
import time
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise

import numpy as np

from gearcase.errors import OutOfRange
from gearcase.judge.peaks import LineSpectrum
from gearcase.judge.teeth import Plate, infer_teeth
from gearcase.signal.spectrum import floor_bins, hann, line_strength, transform
from studies.diagnosis import upper_bound
from studies.trains import RATE_HZ, Case, case

STATED = 0.01  # relative error of the speed that the method is told; the generator keeps within it
ODDS = (0.0, 0.5, 0.8, 0.9, 0.99, 1.0 + 1e-9)
WANDER = 1e-4  # standard deviation of the speed within a record, relative


@dataclass(frozen=True)
class Outcome:
    """What was said of a case: rank of the truth (0 first, -1 not listed), odds of the first, whether decided, the refusal."""

    stages: int
    rank: int
    odds: float
    decided: bool
    refused: str = ""


def spectrum(samples: np.ndarray) -> LineSpectrum:
    """Line strengths of a record, as the stages take them."""
    whole = transform(samples, sample_rate_hz=RATE_HZ)
    return LineSpectrum(line_strength(np.abs(hann(whole.values)) ** 2, width=floor_bins(whole.bin_hz)), whole.bin_hz)


def judged(number: int, noise: str, wander: float = 0.0, mistaken: Callable[[Case, int], Case] | None = None) -> Outcome:
    """What the method says of a case; `mistaken` changes what it is told or shown."""
    told = case(number, noise, wander=wander)
    if mistaken:
        told = mistaken(told, number)
    plate = Plate(told.stated_hz, STATED, told.ratio, told.rounding, told.stages)
    try:
        found = infer_teeth([spectrum(told.samples)], plate)
    except OutOfRange as refusal:
        return Outcome(len(told.teeth), -1, 0.0, False, str(refusal))
    teeth = [one.teeth for one in found.candidates]
    rank = teeth.index(told.teeth) if told.teeth in teeth else -1
    return Outcome(len(told.teeth), rank, found.candidates[0].odds, found.decided)


def other_drive(told: Case, number: int) -> Case:
    """The record of another drive of the same noise."""
    return replace(told, samples=case(number + 500_000, "moderate").samples)


def wrong_ratio(told: Case, number: int) -> Case:
    """A ratio 10 % out, as from the nameplate of a sister."""
    return replace(told, ratio=told.ratio * (1.1 if number % 2 else 0.9))


def wrong_stages(told: Case, number: int) -> Case:
    """A stage more or less than there are."""
    return replace(told, stages=told.stages + (1 if number % 2 or told.stages == 1 else -1))


def share(outcomes: Iterable[Outcome], within: int) -> str:
    """How many have the truth among the first, of how many."""
    counted = list(outcomes)
    return f"{sum(0 <= one.rank < within for one in counted):3d} of {len(counted):3d}"


def main() -> None:
    """Print the study."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=200, help="cases a row")
    parser.add_argument("--first", type=int, default=10_000, help="number of the first case")
    given = parser.parse_args()
    numbers = range(given.first, given.first + given.cases)
    few = range(given.first, given.first + math.ceil(given.cases / 4))
    start, everything = time.perf_counter(), []
    with ProcessPoolExecutor() as pool:
        for noise in ("moderate", "high", "low"):
            everything += told(noise, list(pool.map(partial(judged, noise=noise), numbers, chunksize=5)))
        calibration(everything)
        told(f"moderate, wander {WANDER:g}", list(pool.map(partial(judged, noise="moderate", wander=WANDER), few)))
        for mistaken in (other_drive, wrong_ratio, wrong_stages):
            found = list(pool.map(partial(judged, noise="moderate", mistaken=mistaken), few))
            false = sum(one.decided and one.rank != 0 for one in found)
            print(
                f"{mistaken.__name__:25} decided falsely {false} of {len(found)} (below {upper_bound(false, len(found)):.3f}), "
                f"refused {sum(bool(one.refused) for one in found)}",
                flush=True,
            )
    print(f"{time.perf_counter() - start:.0f} s")


def told(name: str, outcomes: list[Outcome]) -> list[Outcome]:
    """One condition, all stages and each."""
    wrong, decided = sum(one.decided and one.rank != 0 for one in outcomes), sum(one.decided for one in outcomes)
    print(
        f"{name:25} first {share(outcomes, 1)}, in five {share(outcomes, 5)}, cannot decide {len(outcomes) - decided}, "
        f"decided wrongly {wrong} of {decided} (below {upper_bound(wrong, max(decided, 1)):.3f})"
    )
    for stages in (1, 2, 3):
        these = [one for one in outcomes if one.stages == stages]
        print(f"    stages {stages}: first {share(these, 1)}, in five {share(these, 5)}", flush=True)
    return outcomes


def calibration(outcomes: list[Outcome]) -> None:
    """Stated odds of the first combination against how often it is right."""
    for low, high in pairwise(ODDS):
        these = [one for one in outcomes if low <= one.odds < high and not one.refused]
        if these:
            stated, right = np.mean([one.odds for one in these]), np.mean([one.rank == 0 for one in these])
            print(
                f"odds {low:.2f} to {min(high, 1.0):.2f}: {len(these):3d} cases, stated {stated:.3f}, right {right:.3f}", flush=True
            )


if __name__ == "__main__":
    main()
