"""Rules of record quality on made records: each fault is found, sound records of many kinds are left alone."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
import scipy.signal
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st

from gearcase.errors import OutOfRange
from gearcase.findings import Level
from gearcase.signal.quality import judge_quality
from gearcase.signal.recording import Circumstances, Recording

RATE, N = 12000.0, 2**15
TIME = np.arange(N) / RATE
ANTI_ALIAS = scipy.signal.butter(8, RATE / 2.56, fs=RATE, output="sos")  # as every recorder has


def noise(seed: int, samples: int = N) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal(samples)


def converted(x: np.ndarray, bits: int, full_scale: float) -> np.ndarray:
    """What a converter makes of it: rounded to its step, cut at its rails."""
    step = 2 * full_scale / 2**bits
    return np.clip(np.round(x / step) * step, -full_scale, full_scale - step).astype(np.float32)


def impacts(seed: int, amplitude: float, every_hz: float, ring_hz: float, damping: float) -> np.ndarray:
    """Ringing impacts in noise of deviation 1."""
    random = np.random.default_rng(seed)
    x = random.standard_normal(N)
    for instant in np.arange(0.005, TIME[-1] - 0.05, 1 / every_hz):
        since = TIME - instant - 1e-4 * random.standard_normal()
        ring = since >= 0
        x[ring] += amplitude * random.uniform(0.5, 1.5) * np.exp(-damping * since[ring]) * np.sin(2 * np.pi * ring_hz * since[ring])
    return x


def said(x: np.ndarray, **known: float) -> dict[str, Level]:
    return {finding.rule: finding.level for finding in judge_quality(x, sample_rate_hz=RATE, unit="m/s2", **known)}


@pytest.mark.parametrize(
    "make",
    [
        lambda seed: noise(seed),
        lambda seed: noise(seed).astype(np.float32),
        lambda seed: converted(noise(seed), 16, 10),
        lambda seed: converted(noise(seed), 12, 100),
        lambda seed: converted(noise(seed), 8, 8),
        lambda seed: converted(np.sin(2 * np.pi * 29.95 * TIME + seed), 16, 2),
        lambda seed: converted(np.sin(2 * np.pi * 0.7 * TIME + seed), 8, 2),
        lambda seed: converted(np.sin(2 * np.pi * 159.155 * TIME + seed) + 0.01 * noise(seed), 12, 2),
        lambda seed: scipy.signal.sosfilt(ANTI_ALIAS, np.random.default_rng(seed).laplace(size=N)),
        lambda seed: np.sin(2 * np.pi * 50 * TIME),  # 240 samples a period: its top comes back exactly, one sample at a time
        lambda seed: np.sin(2 * np.pi * 50 * TIME).astype(np.float32),
        lambda seed: np.sin(2 * np.pi * 50 * (TIME + 0.5 / RATE)),  # its top lies between two samples, which are alike
        lambda seed: np.sin(2 * np.pi * 50 * TIME) + 0.3 * np.sin(2 * np.pi * 150 * TIME + seed),
    ],
    ids=[
        *("noise", "float32", "16 bit", "12 bit, low", "8 bit", "sine", "slow coarse sine", "calibrator", "heavy tails"),
        *("in step", "in step, float32", "in step, its top between samples", "two tones in step"),
    ],
)
def test_sound_records_are_left_alone(make: Callable[[int], np.ndarray]) -> None:
    """Stated chance 1e-6 a rule: not one of 60 may be flagged."""
    flagged = [seed for seed in range(60) if said(make(seed))]
    assert flagged == []


@pytest.mark.parametrize(
    ("amplitude", "every_hz", "ring_hz", "damping"), [(30, 107, 3000, 800), (100, 20, 4000, 2000), (60, 10, 2000, 500)]
)
def test_bearing_impacts_are_no_spikes(amplitude: float, every_hz: float, ring_hz: float, damping: float) -> None:
    for seed in range(5):
        x = impacts(seed, amplitude, every_hz, ring_hz, damping)
        assert scipy.stats.kurtosis(x, fisher=False) > 10
        assert said(x) == {}


@pytest.mark.parametrize("limit", [1.0, 2.0, 2.5, 3.0])
def test_clipped_noise_is_found_and_blocks(limit: float) -> None:
    for seed in range(10):
        assert said(np.clip(noise(seed), -limit, limit)) == {"quality.clipping": Level.BLOCKER}
        assert said(converted(noise(seed), 16, limit)) == {"quality.clipping": Level.BLOCKER}


def test_a_clipped_tone_in_step_with_the_sample_rate_is_found() -> None:
    """240 samples a period: cut at 0.99 of its peak nine of them lie on the rail, one after another."""
    assert said(np.clip(np.sin(2 * np.pi * 50 * TIME), -0.99, 0.99)) == {"quality.clipping": Level.BLOCKER}


def test_a_clipped_tone_is_found_on_one_side_alone() -> None:
    x = np.minimum(np.sin(2 * np.pi * 29.95 * TIME), 0.9)
    (finding,) = judge_quality(x, sample_rate_hz=RATE, unit="m/s2")
    share = np.mean(x == 0.9)
    assert finding.rule == "quality.clipping" and "lower" not in finding.where
    assert f"{int((x == 0.9).sum())} of {N} samples ({100 * share:.2g} %)" in finding.says


def test_a_stated_full_scale_makes_a_single_touch_a_caution() -> None:
    x = np.clip(noise(1), -3.7, 3.7)
    touched = int((np.abs(x) >= 3.7).sum())
    assert 0 < touched <= 10
    assert said(x) == {}
    assert "quality.clipping" in said(x, full_scale=3.7)


@pytest.mark.parametrize("length", [30, 60, 400])
@pytest.mark.parametrize("held", [True, False])
def test_a_gap_is_found_where_it_is(length: int, held: bool) -> None:
    x = converted(noise(3), 12, 10)
    x[6000 : 6000 + length] = x[6000] if held else 0
    (finding,) = judge_quality(x, sample_rate_hz=RATE, unit="m/s2")
    assert finding.rule == "quality.dropout"
    assert finding.where == "first at 0.5 s"
    assert f"the longest {length} samples" in finding.says


def test_many_gaps_block() -> None:
    x = noise(4)
    for place in range(1000, 31000, 1500):
        x[place : place + 100] = 0
    assert said(x) == {"quality.dropout": Level.BLOCKER}


def test_a_dead_sensor_blocks() -> None:
    assert said(np.full(N, 2.5)) == {"quality.stuck": Level.BLOCKER}
    assert said(np.where(np.arange(N) % 977 == 0, 1.0, 0.0))["quality.few_values"] == Level.BLOCKER


def test_a_signal_of_four_bits_is_too_coarse() -> None:
    assert said(converted(noise(5), 4, 5)) == {"quality.few_values": Level.CAUTION}


@pytest.mark.parametrize("base", [noise(6), impacts(6, 30, 107, 3000, 800)], ids=["in noise", "among impacts"])
def test_single_wild_samples_are_spikes(base: np.ndarray) -> None:
    x = base.copy()
    x[[2400, 9000, 20001]] = [400, -500, 450]
    (finding,) = judge_quality(x, sample_rate_hz=RATE, unit="m/s2")
    assert (finding.rule, finding.level) == ("quality.spikes", Level.CAUTION)
    assert finding.says.startswith("3 single sample(s)") and finding.where == "first at 0.2 s"


def test_gravity_is_called_an_offset_and_no_blocker() -> None:
    assert said(9.81 + 0.5 * noise(7)) == {"quality.offset": Level.CAUTION}


@pytest.mark.parametrize(("turns", "level"), [(4.9, Level.BLOCKER), (5.0, Level.CAUTION), (19.9, Level.CAUTION)])
def test_too_few_turns(turns: float, level: Level) -> None:
    assert said(noise(8), turns=turns) == {"quality.turns": level}


def test_enough_turns_are_enough() -> None:
    assert said(noise(8), turns=20.0) == {}


def test_a_band_too_narrow_says_at_what_rate_to_sample() -> None:
    (finding,) = judge_quality(noise(9), sample_rate_hz=RATE, unit="m/s2", highest_wanted_hz=5000.0)
    assert finding.says == "The record is good to 4688 Hz and 5000 Hz is wanted; sample at 1.28e+04 Hz or more."
    assert said(noise(9), highest_wanted_hz=RATE / 2.56) == {}


@pytest.mark.parametrize(("samples", "level"), [(10, Level.BLOCKER), (1000, Level.BLOCKER), (4000, Level.CAUTION)])
def test_short_records(samples: int, level: Level) -> None:
    assert said(noise(10, samples)) == {"quality.short": level}


@pytest.mark.parametrize(
    ("x", "rate", "says"),
    [
        (np.array([1.0, np.nan] * 64), 100.0, "64 of 128 not finite"),
        (np.array([1.0, 1e300] * 64), 100.0, "up to 1e\\+300"),
        (np.ones((2, 64)), 100.0, "one record at a time"),
        (np.ones(64), 0.0, "above 0"),
        (np.ones(64), np.nan, "above 0"),
    ],
)
def test_what_is_no_record_is_refused(x: np.ndarray, rate: float, says: str) -> None:
    with pytest.raises(OutOfRange, match=says):
        judge_quality(x, sample_rate_hz=rate, unit="m/s2")


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"sample_rate_hz": 0.0}, "sample_rate_hz=0.0: above 0"),
        ({"sample_rate_hz": np.nan}, "sample_rate_hz=nan"),
        ({"speed_hz": 0.0}, "speed_hz=0.0: above 0"),
        ({"speed_hz": -24.6}, "speed_hz=-24.6"),
        ({"speed_hz": np.inf}, "speed_hz=inf"),
        ({"unit": "g"}, "unit='g': one of m/s2, m/s, m"),
        ({"samples": np.ones((2, 64))}, "one row"),
        ({"samples": [1.0, 2.0]}, "as an array"),
    ],
)
def test_what_is_no_recording_is_refused(given: dict[str, Any], says: str) -> None:
    with pytest.raises(OutOfRange, match=says):
        Recording(**{"samples": noise(1), "sample_rate_hz": RATE, "unit": "m/s2", **given})


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"state": "dancing"}, "'dancing': one of steady"),
        ({"direction": "up"}, "one of horizontal"),
        ({"load": np.nan}, "load=nan"),
    ],
)
def test_circumstances_that_no_record_is_taken_in_are_refused(given: dict[str, Any], says: str) -> None:
    with pytest.raises(OutOfRange, match=says):
        Circumstances(**given)


@given(scale=st.sampled_from([2.0**-20, 2.0**-3, 2.0**10]), seed=st.integers(0, 50))
@settings(max_examples=25, deadline=None)
def test_findings_do_not_change_with_the_scale(scale: float, seed: int) -> None:
    """A power of two, so that scaling rounds nothing."""
    x = np.clip(noise(seed), -2.5, 2.5)
    x[500:600] = 0
    assert said(scale * x) == said(x)


@given(st.lists(st.sampled_from([0.0, 1.0, -1.0, 1e30, 1e-30, 5.5]), min_size=64, max_size=300))
@settings(max_examples=60, deadline=None)
def test_odd_records_are_judged_without_a_crash(values: list[float]) -> None:
    assert said(np.array(values)).get("quality.short") == Level.BLOCKER or len(set(values)) == 1
