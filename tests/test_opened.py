"""Found on opening. Outside check: scipy's exact interval of a binomial test, found by search, not from the beta law."""

import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st

from gearcase.errors import OutOfRange
from gearcase.judge.opened import FOUND, Opened, tally

PATTERNS = ("outer_race", "inner_race", "gear wear")


@st.composite
def records(draw: st.DrawFn) -> Opened:
    called = draw(st.sampled_from(("", *PATTERNS)))
    found = draw(st.sampled_from(FOUND if called else FOUND[1:]))
    seen = draw(st.sampled_from(("", *(name for name in PATTERNS if name != called)))) if found == "other" else ""
    return Opened(called, found, seen)


def test_each_count_is_what_was_found() -> None:
    kept = [
        *[Opened("outer_race", "confirmed")] * 3,
        Opened("outer_race", "other", "inner_race"),
        Opened("outer_race", "nothing"),
        *[Opened("outer_race", "not inspected")] * 4,
        Opened("", "other", "outer_race"),
    ]
    inner, outer = tally(kept)
    assert (outer.confirmed, outer.other, outer.nothing, outer.not_inspected, outer.missed) == (3, 1, 1, 4, 1)
    assert (outer.named_right.hits, outer.named_right.of) == (3, 5)
    assert (outer.fault_there.hits, outer.fault_there.of) == (4, 5)
    assert (outer.caught.hits, outer.caught.of) == (3, 4)
    assert outer.says.endswith("1 nothing, 1 another fault; 4 not inspected; missed 1")
    assert (inner.missed, inner.named_right.of) == (1, 0)
    assert (inner.named_right.low, inner.named_right.high) == (0.0, 1.0)


@pytest.mark.parametrize(("hits", "nothing"), [(0, 5), (5, 0), (7, 3), (1, 19)])
def test_the_interval_is_clopper_and_pearsons(hits: int, nothing: int) -> None:
    (found,) = tally([Opened("cage", "confirmed")] * hits + [Opened("cage", "nothing")] * nothing)
    count = hits + nothing
    ends = scipy.stats.binomtest(hits, count).proportion_ci(0.9, "exact")
    assert found.named_right.of == count
    assert (found.named_right.low, found.named_right.high) == pytest.approx((ends.low, ends.high), rel=1e-6)


@settings(deadline=None, max_examples=50)
@given(st.lists(records(), max_size=30), st.sampled_from(PATTERNS), st.integers(1, 20))
def test_not_inspected_never_counts_against_a_verdict(kept: list[Opened], pattern: str, more: int) -> None:
    before = {one.pattern: one for one in tally(kept)}
    after = {one.pattern: one for one in tally([*kept, *[Opened(pattern, "not inspected")] * more])}
    for name, one in after.items():
        if name in before:
            was = before[name]
            assert (one.named_right, one.fault_there, one.caught) == (was.named_right, was.fault_there, was.caught)
        else:
            assert one.says == f"{name.replace('_', ' ')}: never inspected; {more} not inspected"


@settings(deadline=None, max_examples=50)
@given(st.lists(records(), max_size=30), st.randoms())
def test_the_order_of_the_records_does_not_matter_and_none_is_lost(kept: list[Opened], shuffle) -> None:
    mixed = kept[:]
    shuffle.shuffle(mixed)
    assert tally(mixed) == tally(kept)
    counted = sum(one.confirmed + one.other + one.nothing + one.not_inspected for one in tally(kept))
    assert counted == sum(bool(record.called) for record in kept)


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        (("cage", "maybe"), "one of confirmed, other, nothing, not inspected"),
        (("cage", "nothing", "outer_race"), 'only where "other" was found'),
        (("cage", "other", "cage"), "another pattern than the verdict's"),
        (("", "confirmed"), "the pattern that was confirmed"),
    ],
)
def test_what_cannot_be_is_refused(wrong: tuple[str, ...], says: str) -> None:
    with pytest.raises(OutOfRange, match=says):
        Opened(*wrong)


def test_nothing_opened_is_an_empty_tally() -> None:
    assert tally([]) == ()
