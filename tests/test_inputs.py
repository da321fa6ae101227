"""Which source of an input counts now. What is expected follows by hand from the rules of `judge.inputs`, which are the trade's:
age limits and fallbacks, and a difference of speed over 2 % asked about."""

import math
from collections.abc import Mapping
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gearcase.judge.inputs import AHEAD, INPUTS, MEASURED, Conditions, Heard, Source, conditions

NOW = 1_800_000_000.0
CONTACT = Source("contact", "run", "register", 30.0)
SPEED = Source("converter", "speed", "register", 30.0)
TOPIC = Source("controller", "speed", "mqtt", 60.0)
COMB = Source("lines", "speed", "comb", 900.0)
PLATE = Source("nameplate", "speed", "stated", math.inf)
LEVEL = Source("overall", "run", "level", 60.0)


def stand(*sources: Source, now: float = NOW, **heard: Any) -> Conditions:
    """Conditions where each source named has said a value at an age, or a value just now."""
    said = {}
    for name, one in heard.items():
        value, age, *says = one if isinstance(one, tuple) else (one, 0.0)
        said[name] = Heard(value, NOW - age, *says)
    return conditions(sources, said, now, least_speed_hz=1.0)


def test_the_first_fresh_source_counts_and_the_next_takes_over_when_it_is_too_old() -> None:
    both = (CONTACT, SPEED, TOPIC)
    found = stand(*both, contact=1.0, converter=(24.0, 30.0), controller=(25.0, 5.0)).speed
    assert (found.value, found.source, found.age_s, found.quality) == (24.0, "converter", 30.0, "good")
    found = stand(*both, contact=1.0, converter=(24.0, 30.1), controller=(25.0, 5.0)).speed
    assert (found.value, found.source, found.age_s) == (25.0, "controller", 5.0)
    found = stand(*both, contact=1.0, converter=(24.0, 31.0, "no reply"), controller=(25.0, 61.0)).speed
    assert (found.value, found.source, found.age_s, found.quality) == (None, "", math.inf, "stale")
    assert found.says == (
        "converter: last heard 31 s ago, may be 30 s old (no reply); controller: last heard 61 s ago, may be 60 s old"
    )


def test_what_was_read_before_a_read_failed_is_held_and_says_why() -> None:
    found = stand(CONTACT, SPEED, contact=1.0, converter=(24.0, 20.0, "no reply")).speed
    assert (found.value, found.quality, found.says) == (24.0, "held", "read before: no reply")


def test_what_was_never_heard_is_bad_and_names_each_source() -> None:
    found = stand(CONTACT, SPEED, TOPIC, converter=(None, 0.0, "no reply"))
    assert (found.speed.value, found.speed.quality, found.speed.says) == (
        None,
        "bad",
        "converter: no reply; controller: never heard",
    )
    assert stand().speed.says == "no source is listed"


def test_a_clock_set_back_an_hour_makes_what_was_heard_before_count_no_more() -> None:
    back = stand(CONTACT, SPEED, now=NOW - 3600, contact=1.0, converter=24.0)
    assert back.run.value is None and "a clock was set back" in back.run.says
    assert stand(CONTACT, now=NOW - AHEAD, contact=1.0).run.value == 1.0, "clocks of the plant may be a little ahead"


@pytest.mark.parametrize(("speed", "runs"), [(24.0, 1.0), (-24.0, 1.0), (1.0, 1.0), (0.99, 0.0), (0.0, 0.0)])
def test_without_a_contact_a_measured_speed_says_whether_it_runs(speed: float, runs: float) -> None:
    run = stand(SPEED, converter=speed).run
    assert (run.value, run.source, run.says) == (runs, "converter", "by the speed of converter")


def test_the_contact_outranks_the_speed_and_the_two_are_not_mixed() -> None:
    assert stand(CONTACT, SPEED, contact=0.0, converter=24.0).run.source == "contact"


def test_a_stated_speed_never_says_that_the_drive_runs() -> None:
    found = stand(PLATE, nameplate=25.0)
    assert found.run.value is None and found.speed.value is None
    assert "counts only while something else says that the drive runs" in found.speed.says
    assert "whether the drive runs is not known" in found.cannot
    running, standing = stand(CONTACT, PLATE, contact=1.0, nameplate=25.0), stand(CONTACT, PLATE, contact=0.0, nameplate=25.0)
    assert (running.speed.value, running.speed.quality, running.speed.age_s) == (25.0, "stated", 0.0)
    assert (standing.speed.value, standing.speed.says) == (0.0, "stands by contact")


def test_a_speed_by_the_lines_of_a_recording_counts_while_something_else_says_that_the_drive_runs() -> None:
    found = stand(CONTACT, COMB, contact=1.0, lines=(24.7, 600.0)).speed
    assert (found.value, found.quality, found.age_s) == (24.7, "inferred", 600.0)
    assert stand(CONTACT, COMB, contact=1.0, lines=(24.7, 901.0)).speed.value is None
    assert stand(CONTACT, COMB, contact=0.0, lines=(24.7, 600.0)).speed.value == 0.0
    alone = stand(COMB, lines=(24.7, 1.0))
    assert alone.run.value is None and alone.speed.value is None, "it may have stopped since: stopped must never pass for normal"


def test_the_overall_level_is_the_last_resort_and_says_so() -> None:
    found = stand(LEVEL, overall=1.0).run
    assert (found.value, found.quality) == (1.0, "inferred") and "a neighbour can feign" in found.says
    assert stand(LEVEL, SPEED, overall=1.0, converter=0.0).run.value == 0.0, "a measured speed outranks it"
    assert stand(LEVEL).run.value is None


def test_without_a_speed_what_cannot_be_judged_is_said() -> None:
    said = stand(CONTACT, SPEED, contact=1.0).cannot
    assert "only overall values, temperature and indicators that need no speed" in said and "converter: never heard" in said
    assert stand(CONTACT, SPEED, contact=1.0, converter=24.0).cannot == ""
    assert stand(CONTACT, SPEED, contact=0.0).cannot == "", "of a drive that stands nothing is asked"


def test_a_negative_speed_is_a_reverse_one_where_nothing_else_says_the_direction() -> None:
    found = stand(SPEED, converter=-24.0)
    assert (found.speed_hz, found.direction.value, found.direction.says) == (24.0, -1.0, "by the sign of converter")
    assert stand(SPEED, converter=24.0).direction.value is None, "a speed without a sign says nothing of the direction"
    contact = Source("reverse contact", "direction", "register", 30.0)
    assert stand(SPEED, contact, converter=-24.0, **{"reverse contact": 1.0}).direction.value == 1.0


@pytest.mark.parametrize(
    ("other", "apart"), [(25.0, False), (25.5, False), (25.52, True), (24.51, False), (24.49, True), (-25.0, False)]
)
def test_a_difference_of_speed_over_2_percent_is_a_disagreement(other: float, apart: bool) -> None:
    found = stand(SPEED, TOPIC, converter=25.0, controller=other).disagreements
    assert bool(found) is apart
    if apart:
        assert found[0].says.startswith("converter says 1500 rpm, controller says") and "converter counts" in found[0].says


def test_a_stated_speed_disagrees_with_a_measured_one_but_not_with_standstill() -> None:
    assert stand(SPEED, PLATE, converter=20.0, nameplate=25.0).disagreements
    assert not stand(SPEED, PLATE, converter=0.0, nameplate=25.0).disagreements
    assert stand(SPEED, TOPIC, converter=0.0, controller=25.0).disagreements, "two measured ones do disagree at standstill"


@pytest.mark.parametrize(
    ("kind", "one", "other"), [("run", 1.0, 0.0), ("load", 0.8, 0.69), ("direction", 1.0, -1.0), ("ambient", 293.15, 298.2)]
)
def test_other_inputs_disagree_too(kind: str, one: float, other: float) -> None:
    sources = (Source("a", kind, "register", 30.0), Source("b", kind, "mqtt", 30.0))
    assert stand(*sources, a=one, b=other).disagreements[0].kind == kind
    assert not stand(*sources, a=one, b=one).disagreements
    assert not stand(*sources, a=one, b=(other, 31.0)).disagreements, "one too old is not held against anything"


hows = st.sampled_from([*MEASURED, "comb", "level", "stated"])
told = st.one_of(st.none(), st.floats(-100, 100))


@given(
    listed=st.lists(st.tuples(st.sampled_from(INPUTS), hows, st.floats(1, 1000)), max_size=8),
    heard=st.lists(st.tuples(told, st.floats(-2000, 2000)), max_size=8),
)
def test_whatever_was_heard_a_value_has_a_fresh_source_and_no_value_a_reason(
    listed: list[tuple[str, str, float]], heard: list[tuple[float | None, float]]
) -> None:
    sources = [Source(str(n), kind, how, math.inf if how == "stated" else age) for n, (kind, how, age) in enumerate(listed)]
    said: Mapping[str, Heard] = {str(n): Heard(value, NOW - age) for n, (value, age) in enumerate(heard)}
    found = conditions(sources, said, NOW, least_speed_hz=1.0)
    by_name = {one.name: one for one in sources}
    for known in found.known.values():
        if known.value is None:
            assert known.quality in ("bad", "stale") and known.says and known.source == ""
        else:
            source = by_name[known.source]
            assert source.how == "stated" or 0 <= known.age_s <= source.age_limit
    if found.run.value is None:
        assert (found.speed.value is None and found.load.value is None) or found.load.quality == "good"
