"""The kit's cables against every choice there is, and against the rule of thumb."""

from itertools import permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gearcase.errors import OutOfRange
from gearcase.install.assignment import SPARE, assign_cables, cable_needed
from gearcase.install.housing import Cable

lengths = st.lists(st.floats(0.5, 30), max_size=6)
few = st.lists(st.floats(0.5, 30), max_size=4)


def kit_of(cables: list[float]) -> list[Cable]:
    return [Cable(f"W{n}", length) for n, length in enumerate(cables)]


def by_trying_everything(runs: list[float], cables: list[float]) -> tuple[int, float]:
    """Most runs that can be served, and the least excess with which so many are."""
    hands = [*cables, *[None] * len(runs)]  # None: the run goes without
    best = (0, 0.0)
    for hand in permutations(range(len(hands)), len(runs)):
        over = [hands[cable] - run - SPARE for run, cable in zip(runs, hand, strict=True) if hands[cable] is not None]
        if all(each >= 0 for each in over):
            best = max(best, (len(over), -sum(over)))
    return best[0], -best[1]


@given(runs=lengths, cables=lengths)
def test_no_cable_is_too_short_and_none_serves_twice(runs: list[float], cables: list[float]) -> None:
    chosen = assign_cables(runs, kit_of(cables)).cables
    served = [(run, cable) for run, cable in zip(runs, chosen, strict=True) if cable]
    assert all(cable.length >= run + SPARE for run, cable in served)
    assert len({cable.name for _, cable in served}) == len(served)


@settings(deadline=None, max_examples=60)
@given(runs=st.lists(st.floats(0.5, 30), max_size=3), cables=few)
def test_the_assignment_equals_the_best_of_all_choices(runs: list[float], cables: list[float]) -> None:
    found = assign_cables(runs, kit_of(cables))
    served, excess = by_trying_everything(runs, cables)
    assert sum(cable is not None for cable in found.cables) == served
    assert found.excess == pytest.approx(excess, abs=1e-9)


@given(runs=lengths, cables=lengths)
def test_the_longest_to_the_farthest_is_never_better_and_serves_all_whenever_all_can_be_served(
    runs: list[float], cables: list[float]
) -> None:
    """Rule of thumb: common practice, no source. With as many cables as runs it leaves over just as much."""
    found = assign_cables(runs, kit_of(cables))
    assert (found.farthest_first_excess is not None) == (not found.shortages)
    if found.farthest_first_excess is not None:
        assert found.excess <= found.farthest_first_excess + 1e-9
        if len(runs) == len(cables):
            assert found.excess == pytest.approx(found.farthest_first_excess, abs=1e-9)


@given(runs=lengths, cables=lengths)
def test_among_the_cables_chosen_a_farther_run_has_no_shorter_one(runs: list[float], cables: list[float]) -> None:
    chosen = assign_cables(runs, kit_of(cables)).cables
    served = sorted((run, cable.length) for run, cable in zip(runs, chosen, strict=True) if cable)
    assert [length for _, length in sorted(served)] == sorted(length for _, length in served) or len(set(runs)) < len(runs)


@given(runs=lengths.filter(bool), cables=lengths)
def test_the_cable_a_shortage_asks_for_cures_it(runs: list[float], cables: list[float]) -> None:
    found = assign_cables(runs, kit_of(cables))
    brought = [Cable(f"new {short.run}", short.needed) for short in found.shortages]
    assert assign_cables(runs, [*kit_of(cables), *brought]).shortages == ()
    assert all(short.longest_left is None or short.longest_left.length < short.needed for short in found.shortages)


def test_a_run_without_a_cable_says_by_how_much_and_offers_no_joint() -> None:
    found = assign_cables([9.0, 4.0], [Cable("A", 5.0), Cable("B", 6.0)])
    assert [short.run for short in found.shortages] == [0]
    assert "B, the longest left, is 3.30 m too short; bring one of 9.30 m or more" in found.shortages[0].says
    assert "not joined" in found.shortages[0].says
    assert "no cable is left" in assign_cables([1.0], []).shortages[0].says


def test_a_run_below_nothing_is_refused() -> None:
    with pytest.raises(OutOfRange, match="0 m or more"):
        cable_needed(run=-1.0)
