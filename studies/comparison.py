"""Our diagnosis against two plain rules at matched false alarms: `python -m studies.comparison`.

The plain rules are what is done by eye: the largest line of a plain envelope spectrum (2 to 10 kHz, Butterworth, Hann) within 1.5 %
of each rate of the drive, over the median of the lines within 10 % of it, the largest wins; and the kurtosis of the record, which
names no part. Each gets for each class of noise the threshold that one in a hundred sound drives reaches; ours keeps its
own limits, which fewer reach. Detection counts only where the right fault of the right bearing is named.
"""

import argparse
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor

import numpy as np
import scipy.signal
import scipy.stats
from numpy.typing import NDArray

from gearcase.drive.lines import expected_lines
from gearcase.judge.faults import Hypothesis, bearing_hypotheses
from gearcase.signal.recording import Recording
from gearcase.stages.diagnose import Examined
from studies.cases import FAULTS, NOISES, Case, faulty, healthy

FALSE_ALARMS = 0.01
STRENGTHS = (1.0, 2.0, 3.0, 4.0, 8.0)
CHUNK = 20
BAND_HZ = (2000.0, 10000.0)


def plain_envelope(recording: Recording) -> NDArray[np.float64]:
    """Amplitude spectrum of the envelope of a band."""
    band = scipy.signal.butter(4, BAND_HZ, "bandpass", fs=recording.sample_rate_hz, output="sos")
    envelope = np.abs(scipy.signal.hilbert(scipy.signal.sosfiltfilt(band, recording.samples)))
    return np.abs(np.fft.rfft((envelope - envelope.mean()) * scipy.signal.windows.hann(envelope.size, sym=False)))


def ratio(spectrum: NDArray[np.float64], rate_hz: float, bin_hz: float) -> float:
    """Largest line within 1.5 % of a rate over the median of those within 10 %, the core of 2.25 % left out."""
    hz = np.arange(spectrum.size) * bin_hz
    away = np.abs(hz / rate_hz - 1)
    near, around = spectrum[away <= 0.015], spectrum[(away <= 0.1) & (away > 0.0225)]
    return float(near.max() / np.median(around)) if near.size and around.size else 0.0


def told(case: Case) -> tuple[str, float, bool, float, bool]:
    """Class of noise; best ratio and whether it names the truth; kurtosis; whether ours names the truth and nothing else."""
    recording, hypotheses = case.recording, bearing_hypotheses(case.drive)
    spectrum, bin_hz = plain_envelope(recording), recording.sample_rate_hz / recording.samples.size
    speed = case.drive.rated_speed_hz  # the true one: the plain rule is given more than it would have
    ratios = [ratio(spectrum, hypothesis.order * speed, bin_hz) for hypothesis in hypotheses]
    best = int(np.argmax(ratios))
    judgement = Examined(case.drive, expected_lines(case.drive), hypotheses, recording).judgement
    named = [(comb.hypothesis, *comb.rivals) for comb in judgement.claims]
    ours = bool(named) and all(any(_is(one, case) for one in group) for group in named)
    noise = NOISES[int(recording.name.removeprefix("case ")) % len(NOISES)]
    return noise, ratios[best], _is(hypotheses[best], case), float(scipy.stats.kurtosis(recording.samples)), ours


def _is(hypothesis: Hypothesis | None, case: Case) -> bool:
    return hypothesis is not None and (hypothesis.component, hypothesis.fault) == (case.component, case.fault)


def _chunk(task: tuple[str, int, int, float]) -> list[tuple[str, float, bool, float, bool]]:
    fault, first, count, strength = task
    cases: Iterable[Case] = faulty(first, count, fault, strength) if fault else healthy(first, count)
    return [told(case) for case in cases]


def run(
    pool: ProcessPoolExecutor, fault: str, first: int, count: int, strength: float
) -> list[tuple[str, float, bool, float, bool]]:
    """All cases of one kind, in chunks over the pool."""
    tasks = [(fault, first + n, min(CHUNK, count - n), strength) for n in range(0, count, CHUNK)]
    return [row for rows in pool.map(_chunk, tasks) for row in rows]


def main() -> None:
    """Print the comparison."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "--cases", type=int, default=400, help="sound drives for each class of noise; faulty ones: a quarter of it a row"
    )
    parser.add_argument("--first", type=int, default=700_000, help="number of the first case")
    given = parser.parse_args()
    with ProcessPoolExecutor() as pool:
        sound = run(pool, "", given.first, len(NOISES) * given.cases, 0.0)
        limits = {
            noise: [np.quantile([row[at] for row in sound if row[0] == noise], 1 - FALSE_ALARMS) for at in (1, 3)]
            for noise in NOISES
        }
        print(f"sound drives: ours claims {sum(row[4] for row in sound)} of {len(sound)}, the plain rules one in a hundred")
        for fault in FAULTS:
            for strength in STRENGTHS:
                rows = run(pool, fault, given.first + 100_000, given.cases // 4, strength)
                peak = sum(row[1] > limits[row[0]][0] and row[2] for row in rows)
                kurtosis = sum(row[3] > limits[row[0]][1] for row in rows)
                ours = sum(row[4] for row in rows)
                print(
                    f"{fault:15} {strength:4.1f}  of {len(rows)}: ours {ours:4d}, peak over median {peak:4d}, "
                    f"kurtosis (names nothing) {kurtosis:4d}",
                    flush=True,
                )


if __name__ == "__main__":
    main()
