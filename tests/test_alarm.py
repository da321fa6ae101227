"""The alarm: what persists raises, what is not judged does not, danger stays until somebody has seen it."""

from collections.abc import Iterable, Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gearcase.errors import OutOfRange
from gearcase.judge.alarm import (
    TRANSITIONS,
    AlarmEvent,
    AlarmState,
    Sample,
    Thresholds,
    acknowledge,
    cannot_tell,
    fresh,
    light,
    step,
)

OVERALL = Thresholds(yellow=2e-3, danger=6e-3, low=0.3e-3)
WARM = Thresholds(yellow=350.0, danger=366.0)


class Watch:
    """Polls an alarm every `every` seconds and remembers what it said."""

    def __init__(self, quantity: str = "overall velocity", thresholds: Thresholds = OVERALL, every: float = 10.0) -> None:
        self.state, self.now, self.every, self.said = fresh(quantity, thresholds), 0.0, every, list[AlarmEvent]()

    def polls(
        self, seconds: float, value: float | None, state: str = "steady", quality: str = "good", witness: bool = False
    ) -> str:
        for _ in range(round(seconds / self.every)):
            self.now += self.every
            self.state, events = step(self.state, Sample(self.now, value, quality, state, witness), self.now)
            self.said += events
        return light(self.state, self.now)

    def seen(self, who: str = "A. Person") -> None:
        self.state, events = acknowledge(self.state, who=who, now=self.now)
        self.said += events

    @property
    def triggers(self) -> list[str]:
        return [event.trigger for event in self.said]


def test_three_of_four_minutes_raise_yellow_and_two_do_not() -> None:
    watch = Watch()
    for value in (3e-3, 1e-3, 1e-3, 3e-3, 3e-3, 1e-3, 1e-3, 1e-3):
        watch.polls(60.0, value)
    assert watch.triggers == [] and light(watch.state, watch.now) == "green"
    for value in (3e-3, 1e-3, 3e-3, 3e-3, 1e-3):
        watch.polls(60.0, value)
    assert watch.triggers == ["yellow persists"] and watch.state.condition == "yellow"


def test_a_spike_within_a_minute_raises_nothing() -> None:
    watch = Watch()
    for _ in range(20):
        watch.polls(50.0, 1e-3)
        watch.polls(10.0, 6.5e-3)  # the mean of a minute is 1.92e-3
    assert watch.triggers == []


def test_danger_needs_half_a_minute_and_a_second_witness() -> None:
    alone, two = Watch(), Watch()
    alone.polls(120.0, 1e-3)
    two.polls(120.0, 1e-3)
    alone.polls(60.0, 8e-3)
    assert two.polls(20.0, 8e-3, witness=True) == "green"
    assert two.polls(20.0, 8e-3, witness=True) == "red" and two.triggers == ["danger persists"]
    assert alone.triggers == ["yellow persists"] and light(alone.state, alone.now) == "yellow"


def test_temperature_wants_five_minutes_and_is_judged_while_it_still_rises() -> None:
    watch = Watch("temperature", WARM)
    assert watch.polls(290.0, 355.0, "settling") == "green"
    assert watch.polls(70.0, 355.0, "settling") == "yellow"
    watch.polls(1900.0, 348.0)
    assert watch.state.condition == "yellow"  # 3 K of hysteresis: 347 clears, 348 does not
    watch.polls(1800.0, 346.9)
    assert watch.triggers == ["yellow persists", "stays under"]


@pytest.mark.parametrize("state", ["stopped", "starting", "unknown"])
def test_overall_is_not_judged_outside_its_run_states(state: str) -> None:
    watch = Watch()
    assert watch.polls(3600.0, 9e-3, state, witness=True) == "blue"
    assert watch.triggers == []


def test_a_start_of_one_run_is_not_added_to_the_next() -> None:
    watch = Watch()
    for _ in range(10):
        watch.polls(130.0, 3e-3)  # two minutes over, then a stop: never three of four in one run
        watch.polls(60.0, 0.0, "stopped")
    assert watch.triggers == []


def test_it_clears_after_thirty_run_minutes_under_the_hysteresis_and_not_while_stopped() -> None:
    watch = Watch()
    watch.polls(240.0, 3e-3)
    watch.polls(7200.0, 1.85e-3)  # under yellow, within 10 % of it
    watch.polls(7200.0, 0.0, "stopped")
    watch.polls(1700.0, 1e-3)
    assert watch.state.condition == "yellow"
    watch.polls(200.0, 1e-3)
    assert watch.triggers == ["yellow persists", "stays under"]


def test_danger_latches_and_acknowledging_keeps_the_condition() -> None:
    watch = Watch()
    watch.polls(60.0, 8e-3, witness=True)
    assert watch.polls(7200.0, 1e-3) == "red"
    watch.seen()
    assert watch.state.condition == "danger acknowledged" and light(watch.state, watch.now) == "red"
    watch.polls(20.0, 1e-3)
    assert watch.state.condition == "clear"
    assert watch.triggers == ["danger persists", "acknowledged", "stays under"] and watch.said[1].who == "A. Person"


def test_it_alarms_again_three_decibels_higher() -> None:
    watch = Watch()
    watch.polls(300.0, 3e-3)
    watch.seen()
    watch.polls(600.0, 4.1e-3)  # 2.7 dB
    assert watch.state.condition == "yellow acknowledged"
    watch.polls(300.0, 4.4e-3)  # 3.3 dB
    assert watch.triggers == ["yellow persists", "acknowledged", "rises again"] and watch.state.condition == "yellow"


def test_three_bad_polls_are_said_and_a_lost_link_is_blue_after_a_minute() -> None:
    watch = Watch()
    watch.polls(300.0, 1e-3)
    assert watch.polls(20.0, None, quality="bad") == "green" and watch.polls(10.0, None, quality="bad") == "blue"
    assert watch.triggers == ["bad"]
    assert watch.polls(10.0, 1e-3) == "green" and watch.triggers == ["bad", "good again"]
    assert light(watch.state, watch.now + 59.0) == "green" and light(watch.state, watch.now + 60.0) == "blue"
    state, events = step(watch.state, None, watch.now + 60.0)
    assert events == () and "no good reading" in cannot_tell(state, watch.now + 60.0)


def test_a_danger_is_not_hidden_by_a_cut_cable_but_yellow_is_blue() -> None:
    danger, yellow = Watch(), Watch()
    danger.polls(60.0, 8e-3, witness=True)
    yellow.polls(300.0, 3e-3)
    assert danger.polls(300.0, None, quality="bad") == "red" and yellow.polls(300.0, None, quality="bad") == "blue"


def test_a_loose_sensor_is_no_good_news() -> None:
    watch = Watch()
    watch.polls(290.0, 1e-3)
    watch.polls(600.0, 0.1e-3)
    assert watch.triggers == []
    assert watch.polls(120.0, 0.1e-3) == "blue" and watch.triggers == ["sensor loose or off"]
    assert watch.polls(180.0, 1e-3) == "green" and watch.triggers == ["sensor loose or off", "sensor back"]


def test_bands_want_two_runs_or_six_hours() -> None:
    """Records of two hours: in one run four of them span six hours; of two runs three are enough; one run of less is not."""
    limits = Thresholds(yellow=20.0, danger=40.0)
    one, two = (Watch("high-frequency acceleration", limits, every=60.0) for _ in range(2))
    one.polls(7.9 * 3600.0, 30.0)
    assert one.triggers == []
    one.polls(0.3 * 3600.0, 30.0)
    assert one.triggers == ["yellow persists"]
    two.polls(3.0 * 3600.0, 30.0)
    two.polls(3600.0, 0.0, "stopped")
    two.polls(1.9 * 3600.0, 30.0)
    assert two.triggers == []
    two.polls(0.3 * 3600.0, 30.0)
    assert two.triggers == ["yellow persists"]
    slow = Watch("high-frequency acceleration", limits, every=3 * 3600.0)
    slow.polls(4 * 3 * 3600.0, 30.0)
    assert slow.triggers == ["yellow persists"]


def test_a_light_is_not_green_before_anything_was_judged() -> None:
    assert light(fresh("temperature", WARM), 0.0) == "blue"


STRETCH = st.tuples(
    st.integers(1, 240),
    st.sampled_from([0.0, 1e-4, 1e-3, 1.9e-3, 3e-3, 4.5e-3, 8e-3, 1.3e-2]),
    st.sampled_from(["stopped", "starting", "settling", "steady", "steady", "steady", "unknown"]),
    st.sampled_from(["good", "good", "good", "good", "bad", "stale"]),
    st.booleans(),
    st.sampled_from(["", "", "", "A. Person"]),
)


def history(stretches: Iterable[tuple[int, float, str, str, bool, str]]) -> Iterator[tuple[AlarmState, AlarmState, Sample, str]]:
    """State before and after every poll, the poll, and who has acknowledged in between."""
    state, now = fresh("overall velocity", OVERALL), 0.0
    for polls, value, run_state, quality, witness, who in stretches:
        for number in range(polls):
            now += 10.0
            seen = who if number == polls // 2 else ""
            before = state
            if seen:
                state, _ = acknowledge(state, who=seen, now=now)
            sample = Sample(now, value if quality == "good" else None, quality, run_state, witness)
            state, _ = step(state, sample, now)
            yield before, state, sample, seen


@given(st.lists(STRETCH, min_size=1, max_size=12), st.floats(0.0, 200.0))
@settings(max_examples=70, deadline=None)
def test_never_green_when_stale_or_the_run_state_is_unknown(
    stretches: list[tuple[int, float, str, str, bool, str]], wait: float
) -> None:
    last_good = -1e9
    for _, state, sample, _ in history(stretches):
        last_good = sample.time_s if sample.quality == "good" else last_good
        now = sample.time_s + wait
        blind = sample.quality == "stale" or sample.run_state == "unknown" or now - last_good >= 60.0
        assert not blind or light(state, now) in ("blue", "red")
        assert light(state, now) != "green" or state.condition == "clear"


@given(st.lists(STRETCH, min_size=4, max_size=20))
@settings(max_examples=70, deadline=None)
def test_danger_never_clears_without_acknowledgement(stretches: list[tuple[int, float, str, str, bool, str]]) -> None:
    for before, state, sample, seen in history([(8, 8e-3, "steady", "good", True, ""), *stretches]):
        if before.condition == "danger" and not seen:
            assert state.condition == "danger" and light(state, sample.time_s) == "red"


@given(st.lists(STRETCH, min_size=1, max_size=12))
@settings(max_examples=50, deadline=None)
def test_what_was_stopped_or_bad_raises_nothing_and_the_same_polls_say_the_same(
    stretches: list[tuple[int, float, str, str, bool, str]],
) -> None:
    once, twice = list(history(stretches)), list(history(stretches))
    assert once == twice
    for before, state, sample, seen in once:
        if not seen and (sample.run_state in ("stopped", "unknown") or sample.quality != "good"):
            assert state.condition == before.condition


def test_every_condition_of_the_table_is_reached_and_left() -> None:
    conditions = {before for before, _ in TRANSITIONS}
    assert conditions == set(TRANSITIONS.values())
    assert ("danger", "stays under") not in TRANSITIONS


@pytest.mark.parametrize(
    ("quantity", "thresholds"),
    [("mood", OVERALL), ("temperature", Thresholds(2.0, 1.0)), ("temperature", Thresholds(float("nan"), 1.0))],
)
def test_an_alarm_that_makes_no_sense_is_refused(quantity: str, thresholds: Thresholds) -> None:
    with pytest.raises(OutOfRange):
        fresh(quantity, thresholds)


def test_an_acknowledgement_has_a_name_and_a_good_reading_a_value() -> None:
    state = fresh("overall velocity", OVERALL)
    with pytest.raises(OutOfRange):
        acknowledge(state, who=" ", now=0.0)
    with pytest.raises(OutOfRange):
        step(state, Sample(0.0, None, "good", "steady"), 0.0)
