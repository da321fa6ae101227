"""How often the diagnosis is wrong, and how much it finds: `make study`.

Prints, with upper 95 % bounds (Clopper and Pearson): false claims on sound drives, on sound drives beside a foreign machine and on
drives described wrongly; detection and naming by fault and strength. Simulations only: no recording is used.
"""

import argparse
import time
from collections import Counter
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor

import scipy.stats

from gearcase.drive.lines import expected_lines
from gearcase.judge.faults import Judgement, bearing_hypotheses
from gearcase.stages.diagnose import Examined
from studies.cases import FAULTS, STRENGTHS, Case, faulty, foreign, healthy, wrong_geometry

CHUNK = 25
FOREIGN_ROW = 3  # times as many cases: its bound is held against the stated 0.05


def upper_bound(wrong: int, tried: int) -> float:
    """Upper 95 % bound of a share (Clopper and Pearson)."""
    return 1.0 if wrong == tried else float(scipy.stats.beta.ppf(0.95, wrong + 1, tried - wrong))


def judged(case: Case) -> Judgement:
    """What the stage's own examination says of a case."""
    return Examined(case.drive, expected_lines(case.drive), bearing_hypotheses(case.drive), case.recording).judgement


def outcomes(cases: Iterable[Case]) -> Counter[str]:
    """Counts of what was said: right, wrong part, uncertain, strangers, nothing."""
    counted: Counter[str] = Counter()
    for case in cases:
        judgement = judged(case)
        named = [(comb.hypothesis, comb.rivals) for comb in judgement.claims if comb.hypothesis]
        right = [h for h, rivals in named if (case.component, case.fault) in {(x.component, x.fault) for x in (h, *rivals)}]
        counted["cases"] += 1
        counted["right"] += bool(right)
        counted["wrong"] += len(named) > len(right)
        counted["uncertain"] += bool(judgement.uncertain) and not named
        counted["stranger"] += bool(judgement.strangers)
        counted["masked"] += any((h.component, h.fault) == (case.component, case.fault) for h, _ in judgement.not_testable)
    return counted


def _chunk(task: tuple[str, int, int, str, float]) -> Counter[str]:
    kind, first, count, fault, strength = task
    makers = {
        "healthy": lambda: healthy(first, count),
        "foreign": lambda: foreign(first, count, strength),
        "wrong geometry": lambda: wrong_geometry(first, count, strength),
        "faulty": lambda: faulty(first, count, fault, strength),
    }
    return outcomes(makers[kind]())


def run(pool: ProcessPoolExecutor, kind: str, first: int, count: int, fault: str = "", strength: float = 0.0) -> Counter[str]:
    """All cases of one kind, in chunks over the pool."""
    tasks = [(kind, first + n, min(CHUNK, count - n), fault, strength) for n in range(0, count, CHUNK)]
    return sum(pool.map(_chunk, tasks), Counter())


def main() -> None:
    """Print the study."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=400, help="cases a row, of foreign machines three times as many")
    parser.add_argument("--first", type=int, default=100_000, help="number of the first case")
    given = parser.parse_args()
    start = time.perf_counter()
    with ProcessPoolExecutor() as pool:
        for kind, strength in (
            ("healthy", 0.0),
            ("foreign", 3.0),
            ("foreign", 8.0),
            ("wrong geometry", 4.0),
            ("wrong geometry", 8.0),
        ):
            count = FOREIGN_ROW * given.cases if kind == "foreign" else given.cases
            found = run(pool, kind, given.first, count, strength=strength)
            bound = upper_bound(found["wrong"], found["cases"])
            print(
                f"{kind:15} {strength:4.1f}  false claims {found['wrong']:4d} of {found['cases']} (below {bound:.4f}), "
                f"uncertain {found['uncertain']}, stranger named {found['stranger']}",
                flush=True,
            )
        for fault in FAULTS:
            for strength in STRENGTHS:
                found = run(pool, "faulty", given.first, given.cases // 4, fault, strength)
                print(
                    f"{fault:15} {strength:4.1f}  found {found['right']:4d} of {found['cases']}, wrong part {found['wrong']}, "
                    f"uncertain {found['uncertain']}, stranger {found['stranger']}, not testable {found['masked']}",
                    flush=True,
                )
    print(f"{time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
