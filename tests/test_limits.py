"""Limits and their expected false alarms. Rules: common practice without source, ISO 10816-3 from memory; sums by hand."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import lfilter
from scipy.stats import chi2, norm

from gearcase.errors import OutOfRange
from gearcase.judge.bootstrap import episodes_by_run, false_alarms_per_year
from gearcase.judge.limits import (
    DAY,
    Limit,
    day_one_overall,
    day_one_temperature,
    one_week,
    one_week_overall,
    what_lacks,
)
from gearcase.judge.steady import Duty
from gearcase.judge.zones import Rating, rate

ROLE = "proposed by technician"


def zone_of(power: float = 400e3, support: str = "rigid") -> Rating:
    found = rate(0.0, power=power, speed_hz=(25.0, 25.0), support=support)
    assert found is not None
    return found


def week(median: float, scatter: float = 0.0, *, known_defect: bool = False, zone: Rating | None = None) -> Limit:
    values = median + scatter * np.array([-1.0, -1.0, 0.0, 1.0, 1.0] * 20)
    given = {"point": "p", "zone": zone or zone_of(), "runs": 4, "known_defect": known_defect, "role": ROLE, "now": 0.0}
    return one_week_overall(values, **given)  # type: ignore[arg-type]


def figures(limit: Limit) -> tuple[float, float]:
    assert limit.yellow is not None and limit.danger is not None
    assert limit.yellow.recalculate() == limit.yellow.value and limit.danger.recalculate() == limit.danger.value
    return limit.yellow.value, limit.danger.value


def test_day_one_overall_is_the_zones_and_says_that_it_is_a_stand_in() -> None:
    limit = day_one_overall(point="p", zone=zone_of(), role=ROLE, now=1000.0)
    assert figures(limit) == pytest.approx((4.5e-3, 7.1e-3), rel=1e-12)  # group 1, rigid: B/C and C/D of vibration_zones.csv
    assert limit.note == "stand-in, not gear health" and limit.expires == 1000.0 + 30 * DAY and limit.low is None


@pytest.mark.parametrize(
    ("ambient", "expected"),
    [(None, (353.15, 366.15)), (293.15, (333.15, 349.15)), (313.15, (353.15, 366.15)), (311.15, (351.15, 366.15))],
)
def test_temperature_is_the_lower_of_oil_and_rise(ambient: float | None, expected: tuple[float, float]) -> None:
    limit = day_one_temperature(point="p", ambient_k=ambient, role=ROLE, now=0.0)
    assert figures(limit) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    ("median", "scatter", "expected"),
    [
        (1.0e-3, 0.0, (2.0e-3, 4.0e-3)),  # twice its own; the standard would allow 1 + 1.125 = 2.125
        (1.0e-3, 0.3e-3, (2.125e-3, 4.0e-3)),  # own 1 + 4 x 1.4826 x 0.3 = 2.779, the standard's 2.125 is lower
        (3.0e-3, 0.0, (4.125e-3, 7.1e-3)),  # own 6.0, standard 3 + 1.125; four times is 12, C/D 7.1 is lower
        (4.6e-3, 0.0, (5.625e-3, 7.1e-3)),  # the standard's cap, 1.25 x 4.5
    ],
)
def test_a_week_s_overall_is_the_lower_of_own_and_standard(median: float, scatter: float, expected: tuple[float, float]) -> None:
    limit = week(median, scatter)
    assert figures(limit) == pytest.approx(expected, rel=1e-12)
    assert limit.low is not None and limit.low.value == pytest.approx(median / 3)


def test_a_known_defect_over_the_boundary_does_not_alarm_for_ever_and_expires_sooner() -> None:
    capped, accepted = week(8.0e-3), week(8.0e-3, known_defect=True)
    assert figures(capped)[0] < 8.0e-3  # why such a baseline is refused
    yellow, danger = figures(accepted)
    assert yellow == pytest.approx(9.125e-3) and danger == pytest.approx(yellow * 1.4125, rel=1e-4)
    assert accepted.expires == 30 * DAY and capped.expires == 90 * DAY


def test_bands_go_by_their_own_median_and_scatter() -> None:
    values = 5.0 + np.array([-2.0, -1.0, 0.0, 1.0, 2.0] * 20)
    limit = one_week(values, point="p", quantity="high-frequency acceleration", unit="m/s2", runs=4, role=ROLE, now=0.0)
    assert figures(limit) == pytest.approx((5.0 + 4 * 1.4826, 20.0))
    assert limit.yellow is not None and limit.yellow.spread > 0


@given(
    st.lists(st.floats(0.0, 0.05), min_size=1, max_size=60).filter(lambda values: np.median(values) > 0),
    st.sampled_from([(400e3, "rigid"), (400e3, "flexible"), (75e3, "rigid"), (75e3, "flexible")]),
    st.booleans(),
)
@settings(max_examples=100, deadline=None)
def test_danger_stands_over_yellow_whatever_was_recorded(values: list[float], kind: tuple[float, str], defect: bool) -> None:
    zone = zone_of(*kind)
    week = one_week_overall(values, point="p", zone=zone, runs=3, known_defect=defect, role=ROLE, now=0.0)
    yellow, danger = figures(week)
    assert yellow < danger
    assert defect or (yellow <= 1.25 * zone.boundaries[1] and danger <= zone.boundaries[2])


def test_each_thing_that_lacks_is_named() -> None:
    enough = Duty(run_minutes=600.0, judged_minutes=300.0, settled_hours=5.0, starts=3, judged_share=0.5)
    assert what_lacks(enough, records=50) is None
    poor = what_lacks(Duty(2000.0, 150.0, 2.5, 2, 0.075), records=49)
    assert poor is not None and len(poor.lacks) == 4
    assert poor.lacks[1] == "2.5 h settled, 3 h wanted" and "8 % of the run time" in poor.lacks[3]


@pytest.mark.parametrize("values", [[], [-1.0], [np.nan], [np.inf], [[1.0]], [0.0], [0.0, 0.0, 5.0]])
def test_limits_of_nothing_are_refused(values: object) -> None:
    with pytest.raises(OutOfRange):
        one_week(values, point="p", quantity="q", unit="m/s2", runs=1, role=ROLE, now=0.0)  # type: ignore[arg-type]


YEAR_HOURS, RUN = 8766.0, 168


def hourly(correlation: float, years: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Alarm episodes and samples per run of a week: AR(1) readings, limit at 1 % exceedance, 3 of 4 hourly."""
    rng = np.random.default_rng(seed)
    hours = RUN * round(YEAR_HOURS * years / RUN)
    noise = rng.normal(size=hours) * np.sqrt(1 - correlation**2)
    values = lfilter([1.0], [1.0, -correlation], noise)
    limit = float(norm.ppf(0.99))
    return episodes_by_run(values, np.arange(hours) // RUN, limit=limit, clear_level=limit, need=3, of=4, clear_after=1)


def test_correlated_readings_alarm_some_three_hundred_times_as_often() -> None:
    """The figures of the trade: 3 of 4 hourly at 1 % is 0.035 a year if independent, about 10 at lag-1 correlation 0.9."""
    independent, correlated = hourly(0.0, 1500, 1), hourly(0.9, 300, 2)
    per_year = [count.sum() / samples.sum() * YEAR_HOURS for count, samples in (independent, correlated)]
    assert 8766 * 3e-6 * 0.7 < per_year[0] < 8766 * 4e-6 * 1.3  # 3 p^3 episodes, 4 p^3 hours in alarm
    assert 9.0 < per_year[1] < 13.0


@pytest.mark.parametrize("clear_after", [1, 3])
def test_the_episodes_agree_with_a_plain_walk_through_the_readings(clear_after: int) -> None:
    rng = np.random.default_rng(3)
    values = lfilter([1.0], [1.0, -0.8], rng.normal(size=5000))
    run = np.sort(rng.integers(0, 40, 5000))
    count, samples = episodes_by_run(values, run, limit=1.5, clear_level=1.2, need=3, of=4, clear_after=clear_after)
    for number in range(40):
        here, alarm, found = values[run == number], False, 0
        for at in range(len(here)):
            over = sum(here[max(at - 3, 0) : at + 1] > 1.5) >= 3
            if not alarm and over:
                alarm, found, low = True, found + 1, 0
            elif alarm:
                low = low + 1 if here[at] <= 1.2 else 0
                alarm = low < clear_after or over
        assert count[number] == found and samples[number] == len(here)


def test_the_interval_of_one_year_holds_the_long_run_rate_about_nine_times_in_ten() -> None:
    count, samples = hourly(0.9, 200, 4)
    truth = count.sum() / samples.sum() * YEAR_HOURS
    year = 52
    held = 0
    for start in range(0, 200 * year, year):
        part = slice(start, start + year)
        found = false_alarms_per_year(count[part], samples[part], sample_hours=1.0, judged_hours_per_year=YEAR_HOURS, seed=start)
        held += found.low <= truth <= found.high
    assert 0.82 <= held / 200 <= 0.96  # a percentile bootstrap of some ten episodes is a little narrow


@pytest.mark.parametrize(
    ("seen", "low", "high"), [(0, 0.0, 2.9957), (1, 0.0513, 4.7439), (3, 0.8177, 7.7537), (10, 5.4254, 16.9622)]
)
def test_one_long_run_proves_no_more_than_its_episodes_do(seen: int, low: float, high: float) -> None:
    """A drive that never stops is one run, drawn alike every time. F. Garwood (1936): the 90 % interval of a Poisson count, by its
    table half chi-square at 5 and 95 % with 2 k and 2 k + 2 degrees of freedom.
    """
    found = false_alarms_per_year([seen], [8766], sample_hours=1.0, judged_hours_per_year=YEAR_HOURS, seed=1)
    assert (found.low, found.per_year, found.high) == pytest.approx((low, seen, high), abs=6e-5)
    assert found.high == pytest.approx(chi2.ppf(0.95, 2 * seen + 2) / 2)


def test_the_same_seed_gives_the_same_interval_and_silence_is_not_never() -> None:
    count, samples = hourly(0.9, 2, 5)
    one, two = (
        false_alarms_per_year(count, samples, sample_hours=1.0, judged_hours_per_year=YEAR_HOURS, seed=seed) for seed in (1, 1)
    )
    assert one == two and one.low < one.per_year < one.high
    silent = false_alarms_per_year([0], [24], sample_hours=1.0, judged_hours_per_year=YEAR_HOURS, seed=1)
    assert silent.per_year == 0 and silent.high == pytest.approx(np.log(20) / 24 * YEAR_HOURS)


@pytest.mark.parametrize("wrong", [{"need": 0}, {"need": 5}, {"clear_after": 0}, {"clear_level": 2.0}])
def test_a_rule_that_makes_no_sense_is_refused(wrong: dict[str, float]) -> None:
    rule = {"limit": 1.0, "clear_level": 1.0, "need": 3, "of": 4, "clear_after": 1} | wrong
    with pytest.raises(OutOfRange):
        episodes_by_run([1.0], [0], **rule)  # type: ignore[arg-type]


def test_a_year_without_run_is_refused() -> None:
    with pytest.raises(OutOfRange):
        false_alarms_per_year([0], [0], sample_hours=1.0, judged_hours_per_year=8766.0, seed=1)
