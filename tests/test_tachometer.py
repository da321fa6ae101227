"""Pulses of a tachometer: simulated wheels of known marks, pulses lost and doubled, sampled signals, and an open wind turbine."""

import re
from pathlib import Path

import numpy as np
import pytest
import scipy.io
import scipy.stats

from gearcase.errors import OutOfRange
from gearcase.signal.tachometer import pulse_times, read_pulses

SPEED_HZ = 25.0


def wheel(marks: int, seed: int, *, uneven: float = 0.01, jitter: float = 2e-3, swing: float = 0.01) -> np.ndarray:
    """Times of pulses of a wheel whose marks are out of place by `uneven` of their spacing, with time jitter of `jitter` of it, at
    a speed that swings by `swing` every 37 turns.
    """
    rng = np.random.default_rng(seed)
    turns = max(60, 400 // marks)
    place = np.arange(turns * marks) / marks + np.tile(rng.normal(0, uneven / marks, marks), turns)
    fine = np.linspace(0, turns + 1, 64 * turns)
    time = np.concatenate([[0], np.cumsum(np.diff(fine) / (SPEED_HZ * (1 + swing * np.sin(2 * np.pi * fine[1:] / 37))))])
    return np.sort(np.interp(place, fine, time) + rng.normal(0, jitter / marks / SPEED_HZ, place.size))


@pytest.mark.parametrize("marks", [2, 3, 4, 5, 6, 16, 60])
def test_the_marks_of_an_uneven_wheel_are_counted(marks: int) -> None:
    """A divisor is what an all but symmetric wheel gives; another count would be wrong."""
    found = [read_pulses(wheel(marks, seed)).pulses_per_turn for seed in range(20)]
    assert all(count is None or marks % count == 0 for count in found)
    assert sum(count == marks for count in found) >= 18


def test_an_even_wheel_cannot_be_counted_without_a_speed_and_is_with_one() -> None:
    """Its stated chance of a pattern by luck is 0.001."""
    unknown = [read_pulses(wheel(4, seed, uneven=0.0)) for seed in range(100)]
    assert sum(one.pulses_per_turn is not None for one in unknown) <= scipy.stats.binom.ppf(0.999, 100, 1e-3)
    assert "evenly spaced" in unknown[0].says and "state the speed" in unknown[0].says and np.isnan(unknown[0].mean_hz)
    stated = read_pulses(wheel(4, 0, uneven=0.0), about_hz=24.0)
    assert stated.pulses_per_turn == 4 and "by the stated 1440 rpm" in stated.says
    assert stated.mean_hz == pytest.approx(SPEED_HZ, rel=0.005)  # a swing of 1 % over a part of its period


def test_speed_follows_the_shaft_turn_by_turn() -> None:
    """A run-up from 20 Hz by 0.5 Hz a second: angle 20 t + t^2 / 4."""
    turns = np.arange(0, 600) / 2 + np.tile([0, 0.01], 300)
    times = 2 * (np.sqrt(400 + turns) - 20)
    found = read_pulses(times)
    assert found.pulses_per_turn == 2
    np.testing.assert_allclose(found.speed_hz, 20 + found.at_s / 2, rtol=1e-4)
    assert found.drift_hz_per_s == pytest.approx(0.5, rel=1e-3)
    assert found.mean_hz == pytest.approx(299 / (times[-2] - times[0]))


def test_lost_and_doubled_pulses_are_repaired_counted_and_said() -> None:
    whole = wheel(3, 1)
    lost, twice = [50, 100, 101, 300], [20, 200]
    spoilt = np.sort(np.concatenate([np.delete(whole, lost), whole[twice] + 1e-4]))
    found = read_pulses(spoilt)
    assert (found.pulses_per_turn, found.missing, found.doubled) == (3, 4, 2)
    assert "4 missing put in, 2 double taken out" in found.says
    assert found.mean_hz == pytest.approx(read_pulses(whole).mean_hz, rel=1e-6)


def test_a_tooth_left_out_counts_the_teeth_and_is_not_a_fault() -> None:
    """Fifteen teeth in sixteen places."""
    whole = wheel(16, 2)
    found = read_pulses(np.delete(whole, np.arange(5, whole.size, 16)))
    assert (found.pulses_per_turn, found.missing) == (16, 0)
    assert found.mean_hz == pytest.approx(read_pulses(whole).mean_hz, rel=1e-4)


@pytest.mark.parametrize(
    ("about_hz", "says"),
    [
        (60.0, "fit no whole number a turn at the stated 3600 rpm.*check which shaft"),
        (SPEED_HZ * 3 / 2, "repeats every 3 pulses.*ask for 2 a turn.*read the speed again, or count the marks"),
    ],
)
def test_a_stated_speed_that_the_pulses_contradict_is_named_with_the_cure(about_hz: float, says: str) -> None:
    marks = 1 if about_hz == 60.0 else 3
    found = read_pulses(wheel(marks, 3, swing=0.0), about_hz=about_hz)
    assert found.pulses_per_turn is None
    assert re.search(says, found.says), found.says


def test_a_stated_speed_too_coarse_for_many_teeth_is_decided_by_the_pattern_or_refused() -> None:
    even = read_pulses(wheel(60, 4, uneven=0.0, swing=0.0), about_hz=SPEED_HZ * 1.01)
    assert even.pulses_per_turn is None and "fits several counts" in even.says
    assert read_pulses(wheel(60, 4, swing=0.0), about_hz=SPEED_HZ * 1.01).pulses_per_turn == 60


@pytest.mark.parametrize("width", [0.01, 0.05, 0.2])
def test_pulses_of_a_sampled_signal_are_timed_between_samples(width: float) -> None:
    """Bell-shaped pulses whose period is no whole number of samples, and noise of 0.1 % of them."""
    rate, period = 20000.0, 1 / (2 * 24.7)
    t = np.arange(int(rate * 8)) / rate
    wave = np.exp(-0.5 * (((t / period) % 1 - 0.5) / width) ** 2)
    times = pulse_times(wave + 0.001 * np.random.default_rng(5).standard_normal(t.size), sample_rate_hz=rate)
    assert times.size == pytest.approx(t[-1] / period, abs=1)
    timed = np.sqrt(2) * 0.001 * width * period / 0.55  # standard deviation: noise over the slope of the bell half way up
    np.testing.assert_allclose(np.diff(times), period, rtol=0, atol=4.5 * timed + 0.1 / rate)


def test_noise_about_the_middle_makes_no_pulses() -> None:
    """A slow square wave with noise of a tenth of its swing crosses the middle many times at each edge; 20 pulses are there."""
    rate = 2000.0
    t = np.arange(int(rate * 2)) / rate
    wave = np.tanh(20 * np.sin(2 * np.pi * 10 * t - 0.5)) + 0.1 * np.random.default_rng(6).standard_normal(t.size)
    assert pulse_times(wave, sample_rate_hz=rate).size == 20


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: read_pulses(np.arange(3.0)), "at standstill there are none; record while it runs"),
        (lambda: read_pulses(np.array([*range(40), 12.0])), "times that rise"),
        (lambda: read_pulses(np.arange(40.0), about_hz=0.0), "above 0"),
        (lambda: read_pulses(np.array([np.nan] * 40)), "40 of 40 not finite"),
        (lambda: pulse_times(np.ones(100), sample_rate_hz=100.0), "check its supply, its gap and its channel"),
    ],
)
def test_bad_pulses_are_refused_with_the_cure(call: object, says: str) -> None:
    with pytest.raises(OutOfRange, match=says):
        call()  # type: ignore[operator]


TURBINE = {
    "tach-20130307T015746Z": 30.0442,
    "tach-20130308T023421Z": 30.0343,
    "tach-20130310T030102Z": 30.2586,
    "tach-20130311T030024Z": 31.0902,
    "tach-20130314T065041Z": 29.2152,
}


@pytest.mark.recordings
@pytest.mark.parametrize("name", TURBINE)
def test_speed_of_the_open_wind_turbine(name: str, recordings: Path) -> None:
    """Nominal 1800 rpm; two pulses a turn and the mean speeds as README and checks.csv of the set have them, to 0.0005 Hz."""
    times = scipy.io.loadmat(recordings / "wind_turbine_hss_tach" / f"{name}.mat")["tach"].ravel()
    found = read_pulses(times)
    assert found.pulses_per_turn == 2 == read_pulses(times, about_hz=30.0).pulses_per_turn
    assert found.mean_hz == pytest.approx(TURBINE[name], abs=0.0005 + 1 / times.size**2 * TURBINE[name])
