"""The light from all alarms together, and shelving: laws, and the colours of IEC 60073 as the trade uses them."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gearcase.errors import OutOfRange
from gearcase.judge.stack_light import Shelf, Shown, shelved, stack_light

WORSE = {"green": 0, "white": 0, "yellow": 1, "blue": 2, "red": 3}  # which colour outranks which
CONDITIONS = ("clear", "yellow", "yellow acknowledged", "danger", "danger acknowledged")


@st.composite
def alarms(draw: st.DrawFn) -> Shown:
    condition = draw(st.sampled_from(CONDITIONS))
    blind = draw(st.booleans())
    colour = "red" if condition.startswith("danger") else "blue" if blind else "yellow" if condition != "clear" else "green"
    return Shown(colour, condition, here=draw(st.booleans()), expired=draw(st.booleans()))


def colour(shown: list[Shown], run_state: str = "steady", named: bool = False) -> str:
    return stack_light(shown, run_state=run_state, fault_named=named, reachable=True, maintenance=None)


@settings(deadline=None, max_examples=200)
@given(alarms(), st.lists(alarms(), max_size=5), st.sampled_from(["steady", "settling", "stopped"]), st.booleans())
def test_a_shelved_alarm_never_silences_another(one: Shown, others: list[Shown], run_state: str, named: bool) -> None:
    hidden = replace(one, shelved=True)
    shown = colour([hidden, *others], run_state, named)
    if others:
        assert WORSE[shown] == WORSE[colour(others, run_state, named)]
    assert shown != "green", "what is not judged is not green"
    assert WORSE[shown] <= WORSE[colour([one, *others], run_state, named)]


@settings(deadline=None, max_examples=100)
@given(st.lists(alarms(), min_size=1, max_size=6), st.sampled_from(["steady", "settling", "stopped", "unknown"]), st.booleans())
def test_green_is_only_when_everything_here_is_clear_and_in_date(shown: list[Shown], run_state: str, named: bool) -> None:
    if colour(shown, run_state, named) == "green":
        assert run_state not in ("stopped", "unknown") and not named
        assert all(one.condition == "clear" and not one.expired and (one.light == "green" or not one.here) for one in shown)


@pytest.mark.parametrize(
    ("shown", "run_state", "expected"),
    [
        ([], "steady", "blue"),
        ([Shown("green", "clear")], "stopped", "white"),
        ([Shown("blue", "yellow")], "stopped", "yellow"),  # a stop takes nothing back
        ([Shown("red", "danger")], "stopped", "red"),
        ([Shown("blue", "clear", here=False), Shown("green", "clear")], "steady", "green"),
        ([Shown("blue", "yellow", here=False), Shown("green", "clear")], "steady", "yellow"),
        ([Shown("green", "clear", expired=True)], "steady", "blue"),
        ([Shown("green", "clear")], "unknown", "blue"),  # a level of a record, judged hours ago
        ([Shown("red", "danger")], "unknown", "red"),
        ([Shown("yellow", "yellow"), Shown("blue", "clear")], "steady", "blue"),
    ],
)
def test_the_colours(shown: list[Shown], run_state: str, expected: str) -> None:
    assert colour(shown, run_state) == expected


def test_a_shelf_holds_for_its_point_until_its_time_and_not_for_a_danger_without_approver() -> None:
    plain = Shelf("a", "temperature", 100.0, "A. Fitter", "probe being changed")
    allowed = replace(plain, quantity="", approver="B. Approver")
    ask = {"point": "a", "quantity": "temperature", "condition": "yellow", "now": 99.0}
    assert shelved([plain], **ask) is plain  # type: ignore[arg-type]
    for change in ({"now": 100.0}, {"point": "b"}, {"quantity": "overall velocity"}, {"condition": "danger"}):
        assert shelved([plain], **{**ask, **change}) is None  # type: ignore[arg-type]
    assert shelved([plain, allowed], **{**ask, "condition": "danger"}) is allowed  # type: ignore[arg-type]
    assert shelved([allowed], **{**ask, "quantity": "overall velocity"}) is allowed  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("given_", "says"),
    [
        ({"point": " "}, "a point, who shelves it, and why"),
        ({"who": ""}, "a point, who shelves it, and why"),
        ({"reason": ""}, "a point, who shelves it, and why"),
        ({"approver": "a. fitter"}, "a second person"),
    ],
)
def test_a_shelf_without_name_or_reason_is_refused(given_: dict[str, str], says: str) -> None:
    with pytest.raises(OutOfRange, match=says):
        Shelf(**{"point": "a", "quantity": "", "until_s": 1.0, "who": "A. Fitter", "reason": "r", **given_})  # type: ignore[arg-type]
