"""Speed, as ratios within one run: what an analysis costs against the transforms it cannot avoid.

Each figure is the median over rounds that alternate both sides, so that what else the machine does hits both alike; processor time,
but for whole processes.
Run it by `make bench`. Nothing here is a test: machines differ, ratios less so.
"""

import functools
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from statistics import median

import numpy as np
import scipy.fft
import scipy.ndimage
import scipy.signal
import scipy.stats

from gearcase.drive.bearings import Bearing, Geometry
from gearcase.drive.gear_faults import GearFault, Knock, ToothDamage
from gearcase.drive.lines import expected_lines
from gearcase.drive.simulate import BearingFault, simulate
from gearcase.drive.train import Drive, Mesh, Shaft
from gearcase.job.build import load
from gearcase.judge.explained import envelope_orders
from gearcase.judge.faults import bearing_hypotheses, judge_bearings
from gearcase.judge.heard import find_speed, hear
from gearcase.judge.patterns import families, gears
from gearcase.judge.patterns.observed import Observed
from gearcase.signal.envelope import envelope_spectrum
from gearcase.signal.indicators import indicators
from gearcase.signal.quality import judge_quality
from gearcase.signal.recording import Recording
from gearcase.signal.spectrum import amplitude_spectrum, floor_bins, line_strength, transform
from gearcase.stages import diagnose
from gearcase.worked import Given, Origin

RATE_HZ = 25600.0
SAMPLES = 2**17
ROUNDS = 31
NOT_STATED = "none stated"


def main() -> None:
    """Measure and print every ratio with its goal."""
    samples = recording()
    three = lambda: [scipy.fft.rfft(samples), scipy.fft.irfft(HALF), scipy.fft.rfft(samples)]  # noqa: E731
    show(
        "indicators and envelope / three transforms",
        in_process(lambda: indicators_and_envelope(samples), three),
        "at most 4",
    )
    show("bearing diagnosis with decoys / three transforms", in_process(lambda: diagnosis(samples), three), "at most 8")
    of_quality = in_process(lambda: judge_quality(samples, sample_rate_hz=RATE_HZ, unit="m/s2"), three)
    show("every rule of quality / three transforms", of_quality, NOT_STATED)
    for words, faults in (("nothing found", ()), ("decoys tried", (TOOTH,))):
        of_gears = in_process(functools.partial(gear_patterns, observed(running(faults))), three)
        show(f"gear patterns, {words} / three transforms", of_gears, "at most 8")
    for words, faults in (("nothing found", ()), ("decoys tried", (TOOTH, RACE))):
        record = Recording(running(faults), RATE_HZ, "m/s2", speed_hz=DRIVE.rated_speed_hz)
        show(f"whole diagnosis, {words} / three transforms", in_process(functools.partial(judged, record), three), "at most 8")
        of_its_own = in_process(functools.partial(judged, record), its_transforms)
        show(f"the same, {words} / all transforms that it needs", of_its_own, NOT_STATED)
        whole = in_process(lambda record=record: diagnose.run(JOB, [record]), three)
        show(f"the same as a result with its plots, {words}", whole, NOT_STATED)
    heard = hear(Recording(running(), RATE_HZ, "m/s2", speed_hz=DRIVE.rated_speed_hz))
    of_speed = in_process(lambda: find_speed(DRIVE, LINES, HYPOTHESES, heard), three)
    show("speed from the lines of a running drive / same", of_speed, NOT_STATED)
    plain = in_process(lambda: plainly_with_scipy(samples), lambda: indicators_and_envelope(samples))
    show("the same written plainly with scipy / ours", plain, "at least 4")
    show("gearcase --help / bare interpreter start", ratio(help_text, bare_start, rounds=11), "at most 4")


def recording() -> np.ndarray:
    """Noise, gear tones and a bearing that knocks, float32."""
    t = np.arange(SAMPLES) / RATE_HZ
    rng = np.random.default_rng(1)
    samples = rng.standard_normal(SAMPLES) + np.sin(2 * np.pi * 420.75 * t) + 0.3 * np.sin(2 * np.pi * 24.75 * t)
    knocks = np.zeros(SAMPLES)
    knocks[(np.arange(0, t[-1], 1 / 88.7) * RATE_HZ).astype(int)] = 6.0
    ring = np.exp(-np.arange(200) / 40) * np.sin(np.arange(200) * 1.1)
    return (samples + np.convolve(knocks, ring)[:SAMPLES]).astype(np.float32)


RECORD = recording()
HALF = scipy.fft.rfft(RECORD)
DRIVE = Drive(
    "benchmark",
    (Shaft("input"), Shaft("output")),
    (Mesh("mesh", "input", "output", 17, 71),),
    tuple(Bearing(f"bearing {n}", "input", None, Geometry(9 + n, 8e-3, 39e-3 + n * 4e-3)) for n in range(4)),
    "input",
    (24.75, 24.75),
    24.75,
    Given("speed", 24.75, "Hz", Origin.MEASURED),
)
HYPOTHESES = bearing_hypotheses(DRIVE)
LINES = expected_lines(DRIVE)
JOB = replace(load(Path(__file__).parents[1] / "examples" / "demo"), drive=DRIVE, points=())
TOOTH = ToothDamage("mesh", "input", Knock(8.0), dip=0.8, lag=0.8)
RACE = BearingFault("bearing 2", "inner_race", 6.0)
EXPLAINED = envelope_orders(LINES, speed_hz=DRIVE.rated_speed_hz)


def running(faults: Sequence[GearFault | BearingFault] = ()) -> np.ndarray:
    """The drive above as the simulator hears it, at its rated speed."""
    return simulate(
        DRIVE,
        speed_hz=DRIVE.rated_speed_hz,
        sample_rate_hz=RATE_HZ,
        samples=SAMPLES,
        seed=1,
        noise="resonant",
        faults=[fault for fault in faults if isinstance(fault, BearingFault)],
        gear_faults=[fault for fault in faults if not isinstance(fault, BearingFault)],
    )


def observed(samples: np.ndarray) -> Observed:
    """A record with what every diagnosis has of it: its transforms, its speed, strengths of its lines."""
    heard = hear(Recording(samples, RATE_HZ, "m/s2", speed_hz=DRIVE.rated_speed_hz))
    speed = find_speed(DRIVE, LINES, HYPOTHESES, heard)
    return Observed(heard.recording, heard.spectrum, heard.envelope, speed.hz, speed.spread, quality=())


def gear_patterns(one: Observed) -> None:
    """Every pattern of the gears of the drive above."""
    gears.examine(DRIVE, [replace(one)])


def judged(record: Recording) -> None:
    """Everything that a diagnosis says of one record: quality, speed, bearings, zone, lines left over, and every pattern."""
    one = diagnose.Examined(DRIVE, LINES, HYPOTHESES, record)
    one.document()
    families.examine(DRIVE, [one.recorded("")])


def its_transforms() -> None:
    """What a whole diagnosis cannot do without: spectrum, envelope there and back, eight parts for a speed that moves, the record
    over angle at twice its rate and both halves of that.
    """
    scipy.fft.rfft(RECORD)
    scipy.fft.ifft(HALF[: SAMPLES // 2])
    scipy.fft.rfft(RECORD[: SAMPLES // 2])
    scipy.fft.rfft(RECORD.reshape(8, -1))
    scipy.fft.irfft(HALF, 2 * SAMPLES)
    scipy.fft.rfft(RECORD.reshape(2, -1))


def indicators_and_envelope(samples: np.ndarray) -> None:
    """What every recording gets: figures, amplitude spectrum, envelope spectrum with its floor."""
    indicators(samples)
    whole = transform(samples, sample_rate_hz=RATE_HZ)
    amplitude_spectrum(whole)
    envelope_spectrum(whole)


def diagnosis(samples: np.ndarray) -> None:
    """All of it: figures, both spectra with strengths, and the judge with its decoys."""
    indicators(samples)
    whole = transform(samples, sample_rate_hz=RATE_HZ)
    line_strength(np.abs(whole.windowed) ** 2, width=floor_bins(whole.bin_hz))
    judge_bearings(envelope_spectrum(whole), HYPOTHESES, speed_hz=24.75, speed_spread=0.001, explained_orders=EXPLAINED)


def plainly_with_scipy(samples: np.ndarray) -> None:
    """The same figures as a careful analyst writes them with scipy, same window, whitening, limits and floors."""
    moved = samples - samples.mean()
    np.sqrt(np.mean(moved**2))
    np.abs(moved).max()
    scipy.stats.kurtosis(moved, fisher=False)
    scipy.signal.periodogram(moved, RATE_HZ, window="hann", scaling="spectrum")
    spectrum = scipy.fft.fft(moved)
    width = int(40 / RATE_HZ * samples.size) | 1
    floor = scipy.ndimage.median_filter(np.abs(spectrum), width, mode="wrap")
    white = spectrum / floor * np.minimum(1, 4 * floor / np.abs(spectrum))
    squared = np.abs(scipy.signal.hilbert(scipy.fft.ifft(white).real)) ** 2
    _, power = scipy.signal.periodogram(squared, RATE_HZ, window="hann")
    power / scipy.ndimage.median_filter(power, width) * np.log(2)


def help_text() -> None:
    """Start gearcase for its help."""
    subprocess.run([sys.executable, "-m", "gearcase.cli", "--help"], check=True, capture_output=True)


def bare_start() -> None:
    """Start the interpreter for nothing."""
    subprocess.run([sys.executable, "-c", "pass"], check=True, capture_output=True)


def ratio(
    one: Callable[[], object],
    other: Callable[[], object],
    rounds: int = ROUNDS,
    clock: Callable[[], float] = time.perf_counter,
) -> float:
    """Median time of one over that of the other, taken in turns."""
    times: tuple[list[float], list[float]] = ([], [])
    for work in (one, other):
        work()
    for _ in range(rounds):
        for work, kept in zip((one, other), times, strict=True):
            start = clock()
            work()
            kept.append(clock() - start)
    return median(times[0]) / median(times[1])


def in_process(one: Callable[[], object], other: Callable[[], object]) -> float:
    """Ratio of processor times."""
    return ratio(one, other, clock=time.process_time)


def show(what: str, figure: float, goal: str) -> None:
    """One line."""
    print(f"{what:45} {figure:6.2f}   goal {goal}", flush=True)


if __name__ == "__main__":
    main()
