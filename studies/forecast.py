"""How often the time told is right, and how often a trend or step is seen where there is none: `make study-forecast`.

Simulated lives of daily readings with correlated noise, missing days and gaps. Two growth laws are those the forecaster assumes,
three are not: a power of time, growth by a power of what has grown (as P. C. Paris's law has it for a crack; a finite time to
failure), and a step nobody declared followed by exponential growth. One forecast a life, from a day of its second half. Shares
with 95 % bounds (Clopper and Pearson). Cases 0 to 199,999 were there to set the factors of `judge.trend` and `judge.forecast`; the
judged ones begin at 200,000.
"""

import argparse
import math
import time
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from itertools import chain

import numpy as np
import scipy.signal
import scipy.stats
from numpy.typing import NDArray

from gearcase.judge.forecast import Forecast, forecast
from gearcase.judge.trend import trend

LAWS = ("linear", "exponential", "power", "power of growth", "step, then exponential")
ASSUMED = LAWS[:2]
CHUNK = 25
DAY = 86400.0


@dataclass(frozen=True)
class Life:
    """Readings up to the day of the forecast, the limit, and the day on which the level without noise reaches it."""

    day: NDArray[np.float64]
    level: NDArray[np.float64]
    limit: float
    reached_day: float


def noise(draws: np.random.Generator, count: int, correlation: float) -> NDArray[np.float64]:
    """Noise of variance 1 and first order."""
    shocks = draws.normal(size=count) * math.sqrt(1 - correlation**2)
    shocks[0] /= math.sqrt(1 - correlation**2)
    row: NDArray[np.float64] = scipy.signal.lfilter([1.0], [1.0, -correlation], shocks)
    return row


def life(number: int, law: str) -> Life:
    """One life: base level 1, limit 3 to 6, reached after 60 to 400 days."""
    draws = np.random.default_rng([number, LAWS.index(law)])
    limit, reached, onset = draws.uniform(3, 6), np.exp(draws.uniform(math.log(60), math.log(400))), draws.uniform(0, 0.4)
    shape, small, jump, share = draws.uniform(), draws.uniform(0.02, 0.3), draws.uniform(1.3, 1.8), draws.uniform(0.5, 1.0)
    days = np.arange(0.0, math.ceil(reached))
    part = np.maximum(0.0, days / reached - onset) / (1 - onset)  # of the growth's time, 1 at the limit
    growth: dict[str, Callable[[], NDArray[np.float64]]] = {
        "linear": lambda: part,
        "exponential": lambda: _exponential(part, small / (limit - 1)),
        "power": lambda: part ** (1.5 + 2.5 * shape),
        "power of growth": lambda: _power_of_growth(part, 1.2 + 0.8 * shape, small / (limit - 1)),
        "step, then exponential": lambda: _exponential(part, small / (limit - 1)),
    }
    start = jump if law == LAWS[4] else 1.0
    level = np.where(part > 0, start + (limit - start) * growth[law](), 1.0)
    scatter, alike = draws.uniform(0.03, 0.12), draws.uniform(0, 0.7)
    read = level * np.exp(scatter * noise(draws, len(days), alike))
    kept = draws.uniform(size=len(days)) >= draws.uniform(0, 0.3)
    if draws.uniform() < 0.5:
        gap = draws.uniform(0, reached)
        kept &= (days < gap) | (days > gap + draws.uniform(5, 15))
    kept &= days < share * reached
    return Life(days[kept], read[kept], limit, float(reached))


def _exponential(part: NDArray[np.float64], start: float) -> NDArray[np.float64]:
    """From 0 to 1, with a growth from `start` to 1 + `start`."""
    return start * np.expm1(part * math.log(1 + 1 / start))


def _power_of_growth(part: NDArray[np.float64], power: float, start: float) -> NDArray[np.float64]:
    """Solution of dx/dt = C x^power from `start` to 1 + `start`, less `start`."""
    less = 1 - power
    return (start**less + part * ((1 + start) ** less - start**less)) ** (1 / less) - start


def told(number: int, law: str) -> tuple[Life, Forecast]:
    """A life and what is forecast of it as a spall of maturity 2."""
    case = life(number, law)
    return case, forecast(case.day * DAY, case.level, limit=case.limit, kind="spall", maturity=2, epochs=(), seed=number)


def _lives(task: tuple[str, int, int]) -> list[tuple[str, str, float, float, float]]:
    """Of each life: answer, law named, and the days earliest, latest and true, from the day of the forecast."""
    law, first, count = task
    rows = []
    for number in range(first, first + count):
        case, found = told(number, law)
        ends = (found.earliest_s, found.latest_s)
        early, late = (math.nan if end is None else end / DAY - case.day[-1] for end in ends)
        rows.append((found.answer, found.law, early, late, case.reached_day - case.day[-1]))
    return rows


def _sound(task: tuple[int, float, int, int]) -> Counter[str]:
    """What is said of noise alone."""
    points, alike, first, count = task
    counted: Counter[str] = Counter()
    for number in range(first, first + count):
        row = noise(np.random.default_rng([number, points]), points, alike)
        found = trend(np.arange(points) * DAY, row, epochs=(), seed=number)
        counted["trend"] += found.answer in ("rising", "falling")
        counted["step"] += bool(found.steps)
        level = np.exp(0.08 * row)
        counted["date"] += (
            forecast(np.arange(points) * DAY, level, limit=4, kind="spall", maturity=2, epochs=(), seed=1).answer == "date"
        )
    return counted


def _stepped(task: tuple[float, str, int, int]) -> Counter[str]:
    """What is said of a step, or of a ramp, of so many standard deviations within 60 readings."""
    size, kind, first, count = task
    counted: Counter[str] = Counter()
    days = np.arange(60.0)
    for number in range(first, first + count):
        draws = np.random.default_rng([number, 60])
        here = draws.integers(20, 40)
        moved = size * ((days >= here) if kind == "step" else days / 60)
        found = trend(days * DAY, moved + noise(draws, 60, 0.3), epochs=(), seed=number)
        counted[found.answer] += 1
        counted["steps"] += bool(found.steps)
        counted["near"] += any(abs(step.time_s / DAY - here) <= 2 for step in found.steps)
    return counted


def bounds(hits: int, tried: int) -> str:
    """Share with its 95 % bounds (Clopper and Pearson)."""
    if not tried:
        return "none"
    ends = scipy.stats.binomtest(hits, tried).proportion_ci(0.95, "exact")
    return f"{hits:4d} of {tried:4d} = {hits / tried:.3f} ({ends.low:.3f} to {ends.high:.3f})"


def chunks(first: int, count: int) -> list[tuple[int, int]]:
    """Numbers of cases in shares for the workers."""
    return [(first + n, min(CHUNK, count - n)) for n in range(0, count, CHUNK)]


def main() -> None:
    """Print the study."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=400, help="cases a row")
    parser.add_argument("--first", type=int, default=200_000, help="number of the first case")
    given = parser.parse_args()
    begin, shares = time.perf_counter(), chunks(given.first, given.cases)
    inside, dated = 0, 0
    with ProcessPoolExecutor() as pool:
        for law in LAWS:
            rows = list(chain.from_iterable(pool.map(_lives, [(law, *share) for share in shares])))
            answers = Counter(row[0] for row in rows)
            dates = [row for row in rows if row[0] == "date"]
            hits = sum(early <= true <= late for _, _, early, late, true in dates)
            before, after = sum(row[4] < row[2] for row in dates), sum(row[4] > row[3] for row in dates)
            wide = float(np.median([late / early for _, _, early, late, _ in dates])) if dates else math.nan
            named = Counter(row[1] for row in dates)
            print(f"{law:22} inside {bounds(hits, len(dates))}, sooner {before}, later {after}, latest / earliest {wide:.1f}")
            not_before = [row for row in rows if row[0] == "not before"]
            kept = sum(row[4] >= row[2] for row in not_before)
            print(f"{'':22} {dict(answers)}, law named {dict(named)}, not before kept {bounds(kept, len(not_before))}", flush=True)
            inside, dated = inside + hits * (law not in ASSUMED), dated + len(dates) * (law not in ASSUMED)
        print(f"laws not assumed       inside {bounds(inside, dated)}")
        for points in (20, 40, 100):
            for alike in (0.0, 0.3, 0.6, 0.8):
                counted = sum(pool.map(_sound, [(points, alike, *share) for share in shares]), Counter())
                parts = ", ".join(f"{what} {bounds(counted[what], given.cases)}" for what in ("trend", "step", "date"))
                print(f"noise, {points:3d} readings, correlation {alike}: {parts}", flush=True)
        for kind in ("step", "ramp"):
            for size in (3.0, 5.0, 8.0):
                counted = sum(pool.map(_stepped, [(size, kind, *share) for share in shares]), Counter())
                print(f"{kind} of {size:.0f} sigma in 60 readings: {dict(counted)}", flush=True)
    print(f"{time.perf_counter() - begin:.0f} s")


if __name__ == "__main__":
    main()
