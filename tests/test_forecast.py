"""Time to a limit. Truth comes from simulated lives whose level without noise is known, and from the algebra of the laws."""

import itertools
import math
from collections import Counter

import numpy as np
import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from studies.bearing_lives import temperature, watched
from studies.forecast import ASSUMED, LAWS, life, told

from gearcase.errors import OutOfRange
from gearcase.judge.advice import inspect_within_days, urgency
from gearcase.judge.forecast import ANSWERS, DATED, UNDATED, Forecast, forecast

DAY = 86400.0


def say(level: NDArray[np.float64] | list[float], **more: object) -> Forecast:
    asked = {"limit": 4.0, "kind": "spall", "maturity": 2, "epochs": [], "seed": 1, **more}
    return forecast(np.arange(len(level)) * DAY, level, **asked)


def grown(seed: int = 1, count: int = 60, constant: float = 20.0) -> NDArray[np.float64]:
    """Exponential over a level of 1: reaches 4 on day constant * ln(30)."""
    return (1 + 0.1 * np.exp(np.arange(count) / constant)) * np.random.default_rng(seed).lognormal(0, 0.05, count)


def test_growth_of_an_assumed_law_with_hardly_any_noise_is_told_to_the_day() -> None:
    """Closed form: 1 + 0.1 exp(t/20) = 4 on day 20 ln 30; 1 + 0.02 t = 4 on day 150."""
    quiet = np.random.default_rng(1).lognormal(0, 0.001, 90)
    curved = say((1 + 0.1 * np.exp(np.arange(60) / 20)) * quiet[:60])
    straight = say((1 + 0.02 * np.arange(90)) * quiet)
    for found, day in ((curved, 20 * math.log(30)), (straight, 150.0)):
        assert found.answer == "date"
        assert found.earliest_s / DAY < day < found.latest_s / DAY
        assert found.middle_s / DAY == pytest.approx(day, abs=5.0)
    assert straight.law == "linear"


def test_the_answer_holds_together() -> None:
    found = say(grown())
    assert 59 * DAY < found.earliest_s < found.middle_s < found.latest_s
    assert found.inspect_by_s <= found.earliest_s
    assert "90 %" in found.says
    days = found.inspect_by_s / DAY - 59
    assert days < inspect_within_days(urgency(2)), "the limit may be reached sooner than the urgency allows"
    assert f"inspect by: within {days:.1f} days" in found.says


@pytest.mark.parametrize("kind", sorted(UNDATED))
def test_what_grows_by_no_law_gets_no_date(kind: str) -> None:
    found = say(grown(), kind=kind)
    assert (found.answer, found.earliest_s, found.middle_s, found.latest_s) == ("inspect by", None, None, None)
    assert ("what grows is not known, so no date" if kind == "unknown" else f"no date can be given for {kind}") in found.says


@pytest.mark.parametrize("maturity", [1, 2, 3, 4])
def test_by_when_to_inspect_is_the_urgency_of_maturity_and_growth(maturity: int) -> None:
    level = grown()
    growth_db = 20 * math.log10(np.median(level[-5:]) / np.median(level[:5]))
    found = say(level, kind="crack", maturity=maturity)
    assert found.inspect_by_s / DAY == 59 + inspect_within_days(urgency(maturity, growth_db), growth_db)


@pytest.mark.parametrize("maturity", [1, 2, 3, 4])
def test_a_level_that_has_grown_more_is_never_inspected_later(maturity: int) -> None:
    """+6 dB look, +10 plan, +20 act (common practice): who plans has looked."""
    days = [say(np.repeat([1.0, 10 ** (db / 20)], 5), kind="crack", maturity=maturity, limit=99.0).inspect_by_s for db in range(26)]
    assert all(later >= sooner for later, sooner in itertools.pairwise(days))


def test_nineteen_readings_get_no_date_and_are_told_how_many_more() -> None:
    found = say(np.linspace(1, 3, 19))
    assert found.answer == "not enough data"
    assert "1 more" in found.says


def test_growth_within_three_sigma_gets_no_date() -> None:
    level = np.exp(0.1 * np.random.default_rng(2).normal(size=60) + 0.2 * np.arange(60) / 60)
    found = say(level)
    assert found.answer == "inspect by"
    assert "a date wants over 3" in found.says


def test_a_level_that_does_not_grow_has_no_trend() -> None:
    assert say(np.random.default_rng(3).lognormal(0, 0.05, 60)).answer == "no trend"


@pytest.mark.parametrize("kind", ["unknown", "temperature"])
def test_a_level_without_a_named_fault_that_does_not_rise_is_nothing_to_inspect(kind: str) -> None:
    sound = np.random.default_rng(3).lognormal(0, 0.05, 60)
    for level, answer in ((sound[:9], "not enough data"), (sound, "no trend")):
        found = say(level, kind=kind, maturity=1)
        assert found.answer == answer and found.says.endswith("nothing to act on so far, look again within 14 days")
        assert say(level, kind="crack").answer == "inspect by", "one that somebody has named is looked at"
    doubled = say(np.repeat([1.0, 2.5], 5), kind=kind, maturity=1)
    over = say(np.full(9, 5.0), kind=kind, maturity=1)
    assert over.answer == "reached" and "nothing to act on" not in over.says and over.look == "inspect by", (
        "it stands over its limit"
    )
    assert {say(sound, kind=kind, maturity=1).look, doubled.look} == {"look again by", "inspect by"}
    assert doubled.answer == "inspect by" and "within 14 days" not in doubled.says, "8 dB in ten readings are worth a look"


def test_falling_after_a_rise_gets_no_date_and_keeps_its_urgency() -> None:
    level = np.concatenate([np.linspace(1, 3, 40), np.linspace(3, 1.5, 40)]) * np.random.default_rng(4).lognormal(0, 0.02, 80)
    found = say(level)
    assert found.answer == "no trend"
    assert "falling after a rise is not recovery" in found.says
    assert "inspect by" in found.says


def test_a_limit_that_is_reached_is_not_forecast() -> None:
    assert say(np.linspace(1, 5, 30)).answer == "reached"


@pytest.mark.parametrize("kind", sorted(DATED | UNDATED))
def test_a_limit_that_is_reached_is_never_nothing_to_act_on(kind: str) -> None:
    """A bearing that has stood at 95 °C for a month, danger 93 °C; of the latest stage of any pattern 4 days (common practice)."""
    hot = 368.15 + np.random.default_rng(5).normal(0, 0.3, 40)
    found = say(hot, kind=kind, maturity=1, limit=366.15)
    assert found.answer == "reached" and "nothing to act on" not in found.says
    assert found.inspect_by_s == (39 + 4) * DAY


@pytest.mark.parametrize("kind", sorted(DATED | UNDATED))
def test_a_step_that_nobody_declared_is_worth_a_look(kind: str) -> None:
    """7.6 dB up overnight, and level since: a lost tooth does so. +6 dB are worth a look (common practice)."""
    level = np.repeat([1.0, 2.4], 30) * np.random.default_rng(6).lognormal(0, 0.03, 60)
    found = say(level, kind=kind, maturity=1)
    assert found.trend.steps and found.earliest_s is None
    assert found.inspect_by_s == (59 + 7) * DAY and "nothing to act on" not in found.says


def test_the_unit_of_the_readings_does_not_matter() -> None:
    level = grown()
    for scale in (1e300, 1e-300):
        one, other = say(level), say(level * scale, limit=4.0 * scale)
        assert (one.answer, one.law) == (other.answer, other.law) and other.middle_s == pytest.approx(one.middle_s)


def test_a_limit_far_ahead_is_not_dated() -> None:
    found = say(grown(), limit=1000.0)
    assert (found.answer, found.latest_s) == ("not before", None)
    assert found.earliest_s > 59 * DAY


def test_nothing_before_an_epoch_or_a_step_counts() -> None:
    level = grown(count=80)
    level[:20] *= 0.2
    assert say(level).trend.steps[-1].time_s == 20 * DAY
    declared = say(level, epochs=[20 * DAY])
    alone = forecast(np.arange(20, 80) * DAY, level[20:], limit=4.0, kind="spall", maturity=2, epochs=[], seed=1)
    assert declared == alone
    assert say(level).earliest_s == alone.earliest_s


@settings(deadline=None, max_examples=15)
@given(st.integers(0, 1000), st.floats(0.01, 100.0))
def test_it_matters_not_in_which_unit(seed: int, scale: float) -> None:
    here, there = say(grown(seed)), say(scale * grown(seed), limit=4.0 * scale)
    assert here.answer == there.answer
    if here.middle_s is not None:
        assert there.middle_s == pytest.approx(here.middle_s, rel=1e-6)


@settings(deadline=None, max_examples=15)
@given(st.integers(0, 1000), st.integers(0, 20_000))
def test_it_matters_not_when_it_was(seed: int, days: int) -> None:
    here = say(grown(seed))
    there = forecast((np.arange(60) + days) * DAY, grown(seed), limit=4.0, kind="spall", maturity=2, epochs=[], seed=1)
    assert here.answer == there.answer
    if here.latest_s is not None:
        assert there.latest_s - days * DAY == pytest.approx(here.latest_s, rel=1e-6)


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"kind": "rust"}, "kind=rust: one of crack"),
        ({"maturity": 5}, "maturity=5: 1 to 4"),
        ({"limit": 0.0}, "limit=0.0: above 0"),
        ({"limit": math.nan}, "limit=nan: above 0"),
    ],
)
def test_a_wrong_question_is_named(wrong: dict[str, object], says: str) -> None:
    with pytest.raises(OutOfRange, match=says):
        say(grown(), **wrong)


@pytest.mark.parametrize(
    ("level", "says"),
    [([], "one reading or more"), ([math.nan], "one reading or more"), ([1.0, 0.0], "above 0"), ([math.inf], "infinite")],
)
def test_bad_readings_are_named(level: list[float], says: str) -> None:
    with pytest.raises(OutOfRange, match=says):
        say(level)


@settings(deadline=None, max_examples=40)
@given(
    st.lists(st.one_of(st.just(math.nan), st.floats(1e-6, 1e6), st.just(1.0)), max_size=50),
    st.sampled_from(sorted(DATED | UNDATED)),
)
def test_any_row_of_levels_gets_an_answer(level: list[float], kind: str) -> None:
    if not np.any(np.isfinite(level)):
        level = [*level, 1.0]
    found = say(level, kind=kind)
    assert found.answer in ANSWERS
    assert math.isfinite(found.inspect_by_s)


@pytest.mark.parametrize(("first", "count"), [(700_000, 16), pytest.param(710_000, 200, marks=pytest.mark.long)])
def test_ninety_per_cent_holds_on_lives_that_grow_by_laws_not_assumed(first: int, count: int) -> None:
    """The goal is 85 to 95 %; exceeded either way by luck once in a thousand runs. Case numbers used for nothing else."""
    counted: Counter[str] = Counter()
    for law in (law for law in LAWS if law not in ASSUMED):
        for number in range(first, first + count):
            case, found = told(number, law)
            if found.answer == "date":
                counted["dates"] += 1
                counted["inside"] += found.earliest_s <= case.reached_day * DAY <= found.latest_s
    low, high = scipy.stats.binom.ppf(0.001, counted["dates"], 0.85), scipy.stats.binom.ppf(0.999, counted["dates"], 0.95)
    assert counted["dates"] >= 0.6 * count
    assert low <= counted["inside"] <= high


@pytest.mark.parametrize("law", LAWS)
def test_a_simulated_life_begins_at_one_and_is_cut_before_it_reaches_its_limit(law: str) -> None:
    for number in range(20):
        case = life(number, law)
        assert case.day[-1] < case.reached_day
        assert np.median(case.level[:5]) < case.limit / 1.5


@pytest.mark.recordings
def test_two_bearing_lives_are_warned_of_and_a_failed_probe_is_called_one(recordings) -> None:
    """First sure warning against the data set's README: level above twice its mean for good from snapshot 2213 (minute 368.8) in
    both directions of the first, 688 (minute 114.7, the last of 116) in the second; its probe fails. A settling time constant of
    about 1850 s and an end of 103.1 °C are the README's, for the first 90 minutes from the third reading on.
    """
    folder = recordings / "pronostia_bearing_life"
    for direction in ("h", "v"):
        assert 368 <= watched(folder, "Bearing1_7", direction).warned_day <= 372
        assert watched(folder, "Bearing2_6", direction).warned_day is None  # two readings before the end are too few for 3 of 4
    said, lag = temperature(folder, "Bearing1_7")
    assert not said.failed
    assert said.impossible == (2,)  # the 43 K step between readings 2 and 3 that the README notes
    assert lag.time_constant_s == pytest.approx(1850, rel=0.03)
    assert lag.end_k == pytest.approx(103.1 + 273.15, abs=0.5)
    said, lag = temperature(folder, "Bearing2_6")
    assert (said.failed, lag) == (True, None)
