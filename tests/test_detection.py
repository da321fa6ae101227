"""How long a growth goes unnoticed. Outside check: counts of records by hand from the persistence of the trade."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gearcase.errors import OutOfRange
from gearcase.judge.alarm import Thresholds
from gearcase.judge.detection import Detection, detection

HOUR = 3600.0


def found(
    time_s: np.ndarray, values: np.ndarray, growth_db: float, quantity: str = "overall velocity", yellow: float = 1.5
) -> Detection:
    return detection(
        time_s, values, quantity=quantity, thresholds=Thresholds(yellow, 10 * yellow), growth_db=growth_db, state="steady"
    )


def test_three_minutes_for_overall_five_for_temperature_and_eight_hours_for_a_band() -> None:
    """Common practice, no source: 3 of 4 means of a minute; 5 minutes; 3 of 4 records of two hours that span six hours."""
    minutes, halves = 60.0 * np.arange(2000), 0.5 * HOUR * np.arange(400)
    overall = found(minutes, np.ones(2000), 6.0)
    assert (overall.seen, overall.tried) == (12, 12) and overall.median_s == overall.slowest_s == 180.0
    warm = found(minutes, np.ones(2000), 6.0, "temperature")
    assert warm.median_s == warm.slowest_s == 300.0
    band = found(halves, np.ones(400), 6.0, "high-frequency acceleration")
    assert band.seen == 12 and band.median_s is not None and 6 * HOUR < band.median_s <= 8 * HOUR


def test_stops_between_records_count() -> None:
    """An hour of running in a day: three minutes of it are judged the same day, seven hours of a band take three days."""
    time = np.concatenate([day * 24 * HOUR + 60.0 * np.arange(60) for day in range(40)])
    overall, band = (found(time, np.ones(len(time)), 6.0, name) for name in ("overall velocity", "high-frequency acceleration"))
    assert overall.median_s is not None and overall.median_s <= 600.0
    assert band.median_s is not None and 2 * 24 * HOUR <= band.median_s <= 3 * 24 * HOUR


def test_a_growth_under_the_limit_is_not_seen() -> None:
    missed = found(60.0 * np.arange(2000), np.ones(2000), 3.0)
    assert (missed.seen, missed.median_s, missed.says) == (0, None, "+3 dB: not seen")


@settings(deadline=None, max_examples=15)
@given(st.integers(0, 100), st.floats(0.0, 12.0), st.floats(0.0, 6.0))
def test_more_growth_is_seen_no_less_often(seed: int, growth: float, more: float) -> None:
    values = np.random.default_rng(seed).lognormal(0.0, 0.2, 400)
    small, large = (found(60.0 * np.arange(400), values, db) for db in (growth, growth + more))
    assert large.seen >= small.seen and large.tried == small.tried


@pytest.mark.parametrize(("time", "growth"), [([], 3.0), ([0.0, 0.0], 3.0), ([0.0, 60.0], -1.0)])
def test_what_makes_no_sense_is_refused(time: list[float], growth: float) -> None:
    with pytest.raises(OutOfRange):
        found(np.array(time), np.ones(len(time)), growth)
