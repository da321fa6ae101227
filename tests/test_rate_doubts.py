"""Lines folded back into a record, and hum off its place, on waves put together here: what is sampled without a filter folds by
itself, since a cosine of F - f and one of f have the same samples at the rate F (the sampling theorem).
"""

from dataclasses import replace

import numpy as np
import pytest
import scipy.stats
from studies.cases import healthy

from gearcase.job.build import build
from gearcase.job.read import parse_text
from gearcase.judge.folded import Folded, folded_lines
from gearcase.signal.recording import Recording
from gearcase.signal.spectrum import FoundLines, certain_lines, floor_bins, line_strength, transform
from gearcase.stages import diagnose
from test_recording_plots import PAIR

JOB = build(parse_text(PAIR), folder="job")
SPEED_ERROR = 1e-5  # relative, of a speed read from many lines (docs/speed.md)


def geared(rng: np.random.Generator, rate: float, seconds: float = 16.0) -> tuple[float, int, np.ndarray, np.ndarray]:
    """Speed, teeth, time and a wave of a mesh with sidebands in noise."""
    speed, teeth = rng.uniform(10, 50), int(rng.integers(15, 40))
    time = np.arange(int(rate * seconds)) / rate
    wave = rng.standard_normal(time.size)
    orders = [n * teeth + m for n in (1, 2) for m in range(-2, 3)]
    return speed, teeth, time, wave + cosines(rng, time, [(m * speed, 0.3) for m in orders if m * speed < 0.45 * rate])


def cosines(rng: np.random.Generator, time: np.ndarray, lines: list[tuple[float, float]]) -> np.ndarray:
    return np.sum([height * np.cos(2 * np.pi * hz * time + rng.uniform(0, 6)) for hz, height in lines] or [0 * time], axis=0)


def ringing(rng: np.random.Generator, speed: float, teeth: int, rate: float) -> list[tuple[float, float]]:
    """Mesh harmonics and their sidebands in a resonance between half the rate and the rate."""
    ring = rng.uniform(0.55, 0.95) * rate
    orders = {n * teeth + m: 0.6 / (1 + abs(m)) for n in range(1, 60) for m in range(-3, 4)}
    lines = [(m * speed, height / (1 + ((m * speed - ring) / (0.05 * rate)) ** 2)) for m, height in orders.items()]
    return [line for line in lines if rate / 2 < line[0] < rate]


def looked(wave: np.ndarray, speed: float, rate: float) -> Folded | None:
    spectrum = transform(wave, sample_rate_hz=rate)
    strength = line_strength(np.abs(spectrum.windowed) ** 2, width=floor_bins(spectrum.bin_hz))
    lines = certain_lines(strength, bin_hz=spectrum.bin_hz, least=np.log(strength.size / 1e-6))
    shafts = [("input", speed, SPEED_ERROR * speed), ("output", speed / 3.2, SPEED_ERROR * speed / 3.2)]
    own = speed * np.arange(1, int(rate / 2 / speed) + 1)
    return folded_lines(lines, shafts, sample_rate_hz=rate, bin_hz=spectrum.bin_hz, explained_hz=own)


def test_a_resonance_beyond_half_the_rate_is_told_by_its_mesh_lines_and_sidebands() -> None:
    told = 0
    for seed in range(20):
        rng = np.random.default_rng(seed)
        rate = float(rng.choice([3200.0, 5000.0, 6400.0]))
        speed, teeth, time, wave = geared(rng, rate)
        found = looked(wave + cosines(rng, time, ringing(rng, speed, teeth, rate)), speed, rate)
        if found is not None:
            told += 1
            assert found.shaft == "input" and np.abs(found.true_hz / speed - np.rint(found.true_hz / speed)).max() < 0.02
            assert found.shown_hz + found.true_hz == pytest.approx(np.full(found.shown_hz.size, rate)) and found.chance <= 0.05
    assert told >= 15


def test_strangers_are_taken_for_folded_lines_no_oftener_than_stated() -> None:
    """Each makes seven harmonics with three pairs of sidebands of the drive's own shaft, the worst they can do; 2000 records."""
    alarms = 0
    for seed in range(2000):
        rng = np.random.default_rng(1000 + seed)
        rate, bin_hz = float(rng.choice([3200.0, 5000.0, 6400.0])), float(rng.choice([0.02, 0.06, 0.2]))
        speed = rng.uniform(10, 50)
        bases = rng.uniform(0.2, 8, rng.integers(1, 4)) * speed
        lines = np.sort([n * base + m * speed for base in bases for n in range(1, 8) for m in range(-3, 4)])
        lines = lines[(lines > 0) & (lines < rate / 2) & (rng.random(lines.size) < 0.7)]
        errors = bin_hz * rng.uniform(0.002, 0.1, lines.size)
        found = FoundLines(np.sort(lines + errors * rng.standard_normal(lines.size)), errors, np.full(lines.size, 50.0))
        shafts = [("input", speed, SPEED_ERROR * speed), ("output", speed / 3.2, SPEED_ERROR * speed / 3.2)]
        own = speed * np.arange(1, int(rate / 2 / speed) + 1)
        alarms += folded_lines(found, shafts, sample_rate_hz=rate, bin_hz=bin_hz, explained_hz=own) is not None
    assert 0 < alarms <= scipy.stats.binom.ppf(0.999, 2000, 0.05), alarms


def folded_in(speed: float, *, rate: float = 4000.0, filtered: bool = False) -> list[dict[str, str]]:
    """What diagnose says of a pair whose mesh rings about 2500 Hz; a filter would take that out before it is sampled."""
    rng = np.random.default_rng(7)
    time = np.arange(int(rate * 20)) / rate
    heard = [(order * speed, 0.4) for order in (1, 2, 18, 19, 20, 37, 38, 39, 57, 76) if order * speed < rate / 2]
    above = [(order * speed, 0.4) for order in (93, 94, 95, 96, 97, 112, 113, 114, 115, 116) if order * speed > rate / 2]
    wave = 0.5 * rng.standard_normal(time.size) + cosines(rng, time, heard + ([] if filtered else above))
    record = Recording(wave, rate, "m/s2", speed_hz=speed, name="record", point="input")
    return list(diagnose.run(JOB, [record]).document["recordings"][0]["quality"])


def test_diagnose_tells_folded_lines_with_its_figure_at_every_speed_and_not_behind_a_filter() -> None:
    for speed in (24.6, 24.9):
        (says,) = [row["says"] for row in folded_in(speed) if row["rule"] == "diagnose.folded"]
        assert f"from {93 * speed:.5g} to {116 * speed:.5g} Hz, above half the sample rate" in says and "chance 0.0" in says
    assert "diagnose.folded" not in {row["rule"] for row in folded_in(24.6, filtered=True)}


def test_simulated_sound_drives_have_no_doubtful_rate() -> None:
    for case in healthy(0, 12):
        rules = {
            row["rule"]
            for row in diagnose.run(replace(JOB, drive=case.drive), [case.recording]).document["recordings"][0]["quality"]
        }
        assert not rules & {"diagnose.folded", "diagnose.rate_by_hum"}


def humming(base: float, *, true_hz: float, stated_hz: float, speed: float = 24.6) -> str:
    """What is said of the sample rate of a pair with hum at 1, 2, 3, 4 and 6 times a frequency."""
    rng = np.random.default_rng(3)
    time = np.arange(int(10 * true_hz)) / true_hz
    own = [(order * speed, 0.4) for order in (1, 2, 18, 19, 20, 37, 38, 39, 57)]
    wave = rng.standard_normal(time.size) + cosines(rng, time, own + [(n * base, 0.2) for n in (1, 2, 3, 4, 6)])
    record = Recording(wave, stated_hz, "m/s2", speed_hz=24.6, name="record")
    rows = diagnose.run(JOB, [record]).document["recordings"][0]["quality"]
    return " ".join(row["says"] for row in rows if row["rule"] == "diagnose.rate_by_hum")


@pytest.mark.parametrize(("true_hz", "stated_hz"), [(25000.0, 25600.0), (25600.0, 25000.0)])
def test_hum_tells_25_from_25_6_khz(true_hz: float, stated_hz: float) -> None:
    said = humming(49.98, true_hz=true_hz, stated_hz=stated_hz)
    assert f"at a sample rate of {true_hz:.7g} Hz, not {stated_hz:.7g}" in said and "the mains at 50 Hz" in said


def test_hum_in_its_place_and_lines_of_the_drive_say_nothing_of_the_rate() -> None:
    assert humming(49.98, true_hz=25600.0, stated_hz=25600.0) == ""
    assert humming(60.01, true_hz=25600.0, stated_hz=25600.0) == ""
    assert humming(51.2, true_hz=25600.0, stated_hz=25600.0, speed=25.6) == "", "the pinion shaft itself, twice a turn"
