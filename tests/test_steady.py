"""Run state: when a drive may be judged. Expected labels follow from made-up histories by hand."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gearcase.errors import OutOfRange
from gearcase.judge.steady import SLOPE_TIME, STATES, RunState, run_states

MINUTE = 60.0
TIME = np.arange(0.0, 3 * 3600.0, 10.0)


def judged(time_s: np.ndarray = TIME, **given: object) -> RunState:
    facts = {"running": None, "speed_hz": None, "temperature_k": None, "speed_band": 0.05, "least_speed_hz": 1.0}
    facts |= {"slope_limit": 1 / 1800, "longest_gap": 120.0}  # 2 K an hour
    return run_states(time_s, **(facts | given))  # type: ignore[arg-type]


def ramp_and_warm() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Stopped 10 min, speed up within 30 s, 25 Hz for the rest; warming towards 340 K with 20 min."""
    since = TIME - 600.0
    speed = np.clip(since / 30.0, 0.0, 1.0) * 25.0
    warm = np.where(since > 0, 340.0 - 45.0 * np.exp(-np.maximum(since, 0.0) / 1200.0), 295.0)
    return (since >= 0).astype(float), speed, warm


def test_a_start_goes_through_its_states_in_order() -> None:
    running, speed, warm = ramp_and_warm()
    found = judged(running=running, speed_hz=speed, temperature_k=warm)
    changes = [str(found.labels[0])] + [str(b) for a, b in zip(found.labels, found.labels[1:], strict=False) if a != b]
    assert changes == ["stopped", "starting", "settling", "steady"]
    settling = TIME[found.labels == "settling"][0]
    assert 600 + 30 + 60 - 10 <= settling <= 600 + 30 + 60 + 60  # the inhibit after steady speed
    # slope 45/1200 exp(-t/1200) K/s falls under 1/1800 at t = 1200 ln(67.5) = 5054 s; a fit over the last 600 s lags by about 300
    steady = TIME[found.labels == "steady"][0] - 600
    assert 5054 + 200 < steady < 5054 + 450
    assert found.duty.starts == 1 and found.temperature_seen


def test_without_run_contact_the_speed_says_whether_it_runs() -> None:
    running, speed, _ = ramp_and_warm()
    by_speed, by_contact = judged(speed_hz=speed), judged(running=running, speed_hz=speed)
    assert set(by_speed.labels) == {"stopped", "starting", "steady"} and not by_speed.temperature_seen
    assert np.mean(by_speed.labels == by_contact.labels) > 0.995  # a crawl below the least speed differs, nothing else


def test_without_run_contact_and_speed_nothing_is_known() -> None:
    found = judged(temperature_k=np.full(len(TIME), 320.0))
    assert set(found.labels) == {"unknown"} and found.duty.run_minutes == 0 and found.duty.judged_share == 0


def test_the_contact_outranks_the_speed_and_a_hole_in_it_is_filled_by_speed() -> None:
    speed = np.full(len(TIME), 25.0)
    assert set(judged(running=np.zeros(len(TIME)), speed_hz=speed).labels) == {"stopped"}
    contact = np.ones(len(TIME))
    contact[500:] = np.nan
    assert set(judged(running=contact, speed_hz=speed).labels[10:]) == {"steady"}
    assert set(judged(running=contact).labels[500:]) == {"unknown"}


def test_a_change_of_speed_starts_the_inhibit_again() -> None:
    speed = np.where(TIME < 3600, 25.0, 15.0)
    labels = judged(running=np.ones(len(TIME)), speed_hz=speed).labels
    at = int(np.searchsorted(TIME, 3600.0))
    assert labels[at - 1] == "steady" and labels[at] == "starting"
    back = TIME[at:][labels[at:] == "steady"][0] - 3600
    assert 60 <= back <= 120


def test_a_jog_is_counted_and_never_judged() -> None:
    """Batch duty: ten jogs of 40 s, shorter than the inhibit."""
    time = np.arange(0.0, 6000.0, 5.0)
    found = judged(time, running=(time % 600.0 >= 560.0).astype(float))
    assert found.duty.starts == 10 and found.duty.judged_minutes == 0
    assert found.duty.run_minutes == pytest.approx(10 * 40 / 60, abs=0.1)


def test_a_hole_in_the_readings_ends_the_run_and_counts_no_time() -> None:
    time = np.concatenate([np.arange(0.0, 1800.0, 10.0), np.arange(90000.0, 91800.0, 10.0)])
    found = judged(time, running=np.ones(len(time)))
    assert found.run[0] == 0 and found.run[-1] == 1 and found.labels[180] == "starting"
    assert found.duty.run_minutes == pytest.approx(60 + 2, abs=0.5)  # the last sample before the hole speaks for 120 s
    assert found.duty.starts == 0  # nobody saw it stop


def test_settled_hours_are_the_judged_minutes() -> None:
    duty = judged(running=np.ones(len(TIME)), temperature_k=np.full(len(TIME), 330.0)).duty
    assert duty.settled_hours == pytest.approx(duty.judged_minutes / 60)
    assert duty.run_minutes - duty.judged_minutes == pytest.approx(0.8 * SLOPE_TIME / MINUTE, abs=0.2)


@given(st.lists(st.sampled_from([0.0, 1.0, np.nan]), min_size=1, max_size=80), st.integers(0, 2**31))
@settings(max_examples=80, deadline=None)
def test_stopped_or_unknown_is_never_judged_and_every_sample_has_a_state(contact: list[float], seed: int) -> None:
    rng = np.random.default_rng(seed)
    time = np.cumsum(rng.uniform(1.0, 200.0, len(contact)))
    found = judged(time, running=contact, temperature_k=rng.normal(330.0, 0.1, len(contact)))
    assert set(found.labels) <= set(STATES)
    for label, on, run in zip(found.labels, contact, found.run, strict=True):
        assert (label == "unknown") == np.isnan(on) and (label == "stopped") == (on == 0) and (run >= 0) == (on == 1)
    assert 0 <= found.duty.judged_share <= 1


@pytest.mark.parametrize(
    "wrong", [{"speed_band": 0.0}, {"slope_limit": -1.0}, {"longest_gap": np.nan}, {"running": [1.0]}, {"least_speed_hz": 0.0}]
)
def test_what_makes_no_sense_is_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(OutOfRange):
        judged(**wrong)


def test_times_that_fall_are_refused_and_no_samples_are_no_error() -> None:
    with pytest.raises(OutOfRange):
        judged(TIME[::-1], running=np.ones(len(TIME)))
    assert len(judged(np.array([]), running=[]).labels) == 0


def test_a_drive_that_turns_the_other_way_is_reversing_until_its_speed_has_settled_anew() -> None:
    """Forward for an hour, 30 s to stop and run up the other way, reverse for an hour."""
    since = TIME - 3600.0
    speed = np.clip(np.abs(since) / 15.0, 0.0, 1.0) * 25.0
    direction = np.where(since < 0, 1.0, -1.0)
    running = np.ones(len(TIME))
    found = judged(running=running, speed_hz=speed, direction=direction)
    changes = [str(found.labels[0])] + [str(b) for a, b in zip(found.labels, found.labels[1:], strict=False) if a != b]
    assert changes == ["starting", "steady", "starting", "reversing", "steady"]
    reversing = TIME[found.labels == "reversing"]
    assert reversing[0] == 3600.0 and 60.0 <= reversing[-1] - reversing[0] <= 60.0 + 60.0 + 15.0
    assert len(np.unique(found.run)) == 2, "the two ways are two runs"
    assert found.duty.starts == 0


def test_a_stop_between_two_directions_ends_in_reversing_too_and_the_same_direction_again_does_not() -> None:
    running = np.where((TIME > 1800) & (TIME < 2400), 0.0, 1.0)
    for before, after, label in ((1.0, -1.0, "reversing"), (1.0, 1.0, "starting"), (np.nan, -1.0, "starting")):
        direction = np.where(running == 0, np.nan, np.where(TIME < 2000, before, after))
        found = judged(running=running, speed_hz=25.0 * running, direction=direction)
        assert str(found.labels[np.searchsorted(TIME, 2410.0)]) == label


def test_a_direction_that_is_not_known_for_a_while_changes_nothing() -> None:
    direction = np.where((TIME > 1800) & (TIME < 2400), np.nan, 1.0)
    found = judged(speed_hz=np.full(len(TIME), 25.0), direction=direction)
    assert "reversing" not in found.labels and len(np.unique(found.run)) == 1
