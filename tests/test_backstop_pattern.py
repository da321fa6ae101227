"""A backstop that clicks when it overruns; one that does so at all times, a part that knocks once a turn, a neighbour."""

from collections.abc import Sequence
from dataclasses import replace

import pytest
from studies.shaft_cases import CHANNELS, DRIVE, SPEED_HZ, observe

from gearcase.drive.shaft_faults import Clicks, ShaftFault, Situation
from gearcase.judge.patterns import backstop
from gearcase.judge.patterns.catalogue import pattern
from gearcase.judge.patterns.observed import Observed
from gearcase.judge.patterns.signs import Answer, Role, Weighed
from gearcase.stages.pattern_rows import not_testable_rows

COUNT = 14.0  # of studies.shaft_cases.DRIVE
HERE = CHANNELS[4:5]


def file(seed: int, state: str, *faults: ShaftFault, rate_hz: float = 10240.0) -> tuple[Observed, ...]:
    return observe(Situation(SPEED_HZ, state), seed=seed, faults=faults, channels=HERE, sample_rate_hz=rate_hz, samples=81920)


def judged(*files: Sequence[Observed]) -> Weighed:
    (found,) = backstop.examine(DRIVE, [one for records in files for one in records])
    return found


def clicks(*states: str, per_turn: float = COUNT, impact: float = 3.0) -> Clicks:
    return Clicks(states, "input", impact, per_turn)


def test_clicks_only_when_overrunning_are_the_backstops() -> None:
    fault = clicks("overrunning")
    found = judged(file(1, "steady", fault), file(2, "overrunning", fault))
    assert found.answer is Answer.CLAIMED and found.component == "backstop"


def test_clicks_in_all_states_are_not() -> None:
    fault = clicks("overrunning", "steady")
    found = judged(file(1, "steady", fault), file(2, "overrunning", fault))
    assert found.answer is Answer.NOT_SEEN and found.why.startswith("silent in other states")


@pytest.mark.parametrize("per_turn", [1.0, 2.0, 7.0, 3.37, 13.0, 9.1])
def test_a_part_that_knocks_at_another_rate_when_unloaded_is_not(per_turn: float) -> None:
    """Once, twice and seven times a turn have lines at fourteen times it too; the others are strangers."""
    fault = clicks("overrunning", per_turn=per_turn)
    assert judged(file(1, "steady", fault), file(2, "overrunning", fault)).answer is not Answer.CLAIMED


def test_a_sound_backstop_and_one_that_nobody_recorded_overrunning() -> None:
    assert judged(file(1, "steady"), file(2, "overrunning")).answer is Answer.NOT_SEEN
    found = judged(file(1, "steady", clicks("overrunning")))
    assert found.answer is Answer.NOT_TESTABLE and "tagged as overrunning" in found.why
    alone = judged(file(2, "overrunning", clicks("overrunning")))
    assert alone.answer is Answer.NOT_TESTABLE and "steady running" in alone.why
    assert backstop.examine(replace(DRIVE, passing_parts=()), file(1, "steady")) == ()


def test_signs_bear_the_names_of_the_row() -> None:
    row = pattern("backstop")
    names = {Role.NEEDED: row.needs, Role.SUPPORTING: row.supports, Role.AGAINST: row.against}
    assert row.offered
    assert all(sign.name in names[sign.role] for sign in judged(file(1, "steady"), file(2, "overrunning")).signs)


def test_a_single_click_at_a_start_is_not_offered_and_the_report_says_what_would_tell() -> None:
    """The click of a backstop and that of backlash that closes are one record in the simulation: no rule could part them."""
    assert not pattern("backstop clicking once a start").offered
    once = Clicks(("starting",), "input", 3.0)
    found = judged(file(1, "steady", once), file(2, "starting", once))
    assert found.answer is Answer.NOT_TESTABLE and "tagged as overrunning" in found.why
    rows = [row for row in not_testable_rows(DRIVE, [found]) if row["fault"] == "backstop clicking once a start"]
    assert [row["why"][:41] for row in rows] == ["not judged here; needs a look at the back"]
