"""How often the gear patterns are claimed wrongly, and how strong each must be to be found: `make study-patterns`.

Prints, with upper 95 % bounds (Clopper and Pearson): claims of any gear pattern on sound drives, also those of the study of
bearings, beside a foreign machine, and with what each pattern is most easily taken for; and of each pattern what was found, by
strength. Simulations only.
"""

import argparse
import time
from collections import Counter
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor

from gearcase.drive.lines import expected_lines
from gearcase.drive.train import Drive
from gearcase.judge.faults import bearing_hypotheses
from gearcase.judge.heard import find_speed, hear
from gearcase.judge.patterns import gears
from gearcase.judge.patterns.observed import Observed
from gearcase.judge.patterns.signs import Answer, Weighed
from gearcase.signal.recording import Recording
from studies.diagnosis import upper_bound
from studies.pattern_cases import KNOCK, PATTERNS, RIVALS, STRENGTHS, TEETH, Job, foreign, healthy, rival, shown, sound

CHUNK = 10
_APART = 10_000  # numbers of two patterns' jobs: drives of one number are alike
_FOREIGN = 8.0  # impact over noise RMS


def observe(drive: Drive, recording: Recording) -> Observed | None:
    """A recording as the stage hands it to the patterns; None where its speed cannot be told."""
    heard = hear(recording)
    speed = find_speed(drive, expected_lines(drive), bearing_hypotheses(drive), heard)
    if isinstance(speed, str):
        return None
    return Observed(recording, heard.spectrum, heard.envelope, speed.hz, speed.spread, quality=())


def judged(job: Job) -> tuple[Weighed, ...]:
    """What the family of gears says of a job."""
    observed = [one for recording in job.recordings if (one := observe(job.drive, recording)) is not None]
    return gears.examine(job.drive, observed)


def outcomes(jobs: Iterable[Job], pattern: str) -> Counter[str]:
    """Counts of jobs by what was said: the pattern at the right part, the right place (a knock once a turn of a tooth's shaft is it
    too, and no wrong claim), any wrong claim, doubts, and what could not be tested.
    """
    counted: Counter[str] = Counter()
    for job in jobs:
        weighed = judged(job)
        claims = [one for one in weighed if one.answer is Answer.CLAIMED]
        names = (job.pattern, KNOCK) if job.pattern == TEETH else (job.pattern,)
        right = [one for one in claims if one.pattern in names and job.part in one.component]
        counted["jobs"] += 1
        counted["right"] += any(one.pattern == pattern for one in right)
        counted["place"] += bool(right)
        counted["wrong"] += len(claims) > len(right)
        counted["pattern wrong"] += any(one.pattern == pattern for one in claims if one not in right)
        counted.update({f"as {name}" for name in (one.pattern for one in claims if one not in right)})
        counted["uncertain"] += any(one.answer is Answer.UNCERTAIN for one in weighed)
        ours = [one for one in weighed if one.pattern == pattern and (job.pattern != pattern or job.part in one.component)]
        counted["not testable"] += not ours or all(one.answer is Answer.NOT_TESTABLE for one in ours)
    return counted


def _chunk(task: tuple[str, str, int, int, float]) -> Counter[str]:
    kind, pattern, first, count, strength = task
    makers = {
        "healthy": lambda: healthy(first, count),
        "sound": lambda: sound(pattern, first, count),
        "foreign": lambda: foreign(pattern, first, count, strength),
        "rival": lambda: rival(pattern, first, count, strength),
        "shown": lambda: shown(pattern, first, count, strength),
    }
    return outcomes(makers[kind](), pattern)


def run(pool: ProcessPoolExecutor, kind: str, pattern: str, first: int, count: int, strength: float = 0.0) -> Counter[str]:
    """All jobs of one kind, in chunks over the pool."""
    tasks = [(kind, pattern, first + n, min(CHUNK, count - n), strength) for n in range(0, count, CHUNK)]
    return sum(pool.map(_chunk, tasks), Counter())


def main() -> None:
    """Print the study."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=60, help="jobs a row; a quarter of it by strength")
    parser.add_argument("--first", type=int, default=2_000_000, help="number of the first job")
    parser.add_argument("--healthy", type=int, default=2000, help="sound drives of the bearings' study")
    parser.add_argument(
        "--only", nargs="+", default=[], help="these patterns and no others, and no sound drives of the bearings' study"
    )
    given = parser.parse_args()
    start = time.perf_counter()
    total: dict[str, Counter[str]] = {}
    with ProcessPoolExecutor() as pool:
        for number, pattern in enumerate(PATTERNS):
            if given.only and pattern not in given.only:
                continue
            first = given.first + number * _APART
            for kind, strength, words in (
                ("sound", 0.0, "sound"),
                ("foreign", _FOREIGN, "beside a foreign machine"),
                ("rival", _FOREIGN, RIVALS[pattern]),
            ):
                found = run(pool, kind, pattern, first, given.jobs, strength)
                total[kind] = total.get(kind, Counter()) + found
                print(
                    f"{pattern:28} {words:46} this claimed {found['pattern wrong']:3d}, any wrong {found['wrong']:3d} of "
                    f"{found['jobs']} (below {upper_bound(found['wrong'], found['jobs']):.3f}), uncertain {found['uncertain']}, "
                    f"not testable {found['not testable']}",
                    flush=True,
                )
            for strength in STRENGTHS[pattern]:
                found = run(pool, "shown", pattern, first, given.jobs // 4, strength)
                print(
                    f"{pattern:28} strength {strength:5.1f}  found {found['right']:3d} of {found['jobs']}, "
                    f"place {found['place']:3d}, wrong {found['wrong']}, uncertain {found['uncertain']}, "
                    f"not testable {found['not testable']}",
                    flush=True,
                )
        if not given.only:
            total["healthy"] = run(pool, "healthy", TEETH, given.first, given.healthy)
    for kind, found in total.items():
        bound = upper_bound(found["wrong"], found["jobs"])
        names = "".join(f", {name} {count}" for name, count in found.items() if name.startswith("as "))
        says = f"any wrong {found['wrong']} of {found['jobs']} (below {bound:.4f}){names}, uncertain {found['uncertain']}"
        print(f"all, {kind}: {says}")
    print(f"{time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
