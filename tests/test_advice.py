"""Rivals, urgency and advice of a made-up claim: what each needs to be said."""

from dataclasses import replace

import pytest

from gearcase.drive.bearing_lines import BEARING_RATES
from gearcase.drive.bearings import Bearing, Geometry
from gearcase.drive.train import Drive, Mesh, RatioLink, Shaft
from gearcase.judge.advice import rivals, urgency
from gearcase.judge.faults import Comb, bearing_hypotheses
from gearcase.judge.patterns.meaning import pattern_rivals
from gearcase.judge.patterns.signs import Role, Sign, weigh
from gearcase.tables import load
from gearcase.worked import Given, Origin

SPEED_HZ = 25.0
BALL = Bearing("ball", "input", None, Geometry(9, 7.94e-3, 39.04e-3))
GIVEN = Given("speed", SPEED_HZ, "Hz", Origin.MEASURED)
BARE = Drive("rig", (Shaft("input"),), (), (BALL,), "input", (SPEED_HZ,) * 2, SPEED_HZ, GIVEN)
GEARED = replace(BARE, shafts=(Shaft("input"), Shaft("output")), meshes=(Mesh("mesh", "input", "output", 17, 71),))


def claim(fault: str, drive: Drive = BARE, order: float | None = None) -> Comb:
    hypothesis = next(h for h in bearing_hypotheses(drive) if h.fault == fault)
    return Comb(hypothesis, (), (order or hypothesis.order) * SPEED_HZ, 3e-4, 0.03, 30.0, 0.3, (), 0)


def names(comb: Comb, drive: Drive) -> set[str]:
    return {rival.name for rival in rivals(comb, drive, speed_hz=SPEED_HZ)}


@pytest.mark.parametrize(
    ("order", "integer"), [(3.5848, ""), (3.939, ""), (3.941, "4x input"), (4.0, "4x input"), (4.059, "4x input"), (4.061, "")]
)
def test_an_integer_line_is_a_rival_only_within_the_slip_band_of_one(order: float, integer: str) -> None:
    """4 x (1 - 0.015) is 3.94; the outer race of the ball bearing passes 3.5848 times a turn."""
    said = [rival for rival in rivals(claim("outer_race", order=order), BARE, speed_hz=SPEED_HZ) if "integer line" in rival.name]
    assert [rival.why.rpartition(": ")[2] for rival in said] == ([integer] if integer else [])


def test_what_stands_has_no_integer_line_and_a_planet_has_those_its_carrier_sees() -> None:
    """Sun 21, planet 39, ring 99 held: on its pin the planet turns 0.825 x 21 / 39 = 0.44423 of the sun, 6x at 2.6654."""
    shafts = (Shaft("input"), Shaft("ring", held=True), Shaft("carrier"), Shaft("planet", carrier="carrier", count=3))
    meshes = (Mesh("one", "input", "planet", 21, 39), Mesh("two", "planet", "ring", 39, 99, kind="internal"))
    drive = replace(BARE, shafts=shafts, meshes=meshes)
    found = rivals(claim("outer_race", drive, 2.6654), drive, speed_hz=SPEED_HZ)
    assert [rival.why.rpartition(": ")[2] for rival in found if "integer line" in rival.name] == ["6x planet"]
    assert not any("x ring" in rival.why for rival in rivals(claim("outer_race", drive, 1.0), drive, speed_hz=SPEED_HZ))


def test_a_chipped_tooth_is_a_rival_only_where_a_mesh_is_on_the_shaft() -> None:
    assert "chipped tooth on the same shaft" not in names(claim("inner_race"), BARE)
    assert "chipped tooth on the same shaft" in names(claim("inner_race", GEARED), GEARED)
    link = RatioLink("belt", "input", "lay", 2.0, 0.0)
    other = replace(
        GEARED, bearings=(replace(BALL, inner_shaft="lay"),), shafts=(*GEARED.shafts, Shaft("lay")), ratio_links=(link,)
    )
    assert "chipped tooth on the same shaft" not in names(claim("inner_race", other), other)


def test_every_row_of_the_confusions_can_be_said_of_some_claim() -> None:
    """A source not on this drive is said of every claim; the other rows where what they need is there."""
    patterns = [row["pattern"] for row in load("fault_patterns") if row["pattern"] not in BEARING_RATES]
    shown = Sign(Role.NEEDED, "any", True, "")
    said = {rival.separated_by for name in patterns for rival in pattern_rivals(weigh(name, "part", [shown], attribution=0.01))}
    for fault in ("outer_race", "inner_race", "rolling_element", "cage"):
        twin = replace(claim(fault, GEARED, order=4.0), rivals=(claim(fault, GEARED).hypothesis,))
        said |= {rival.separated_by for rival in rivals(twin, GEARED, speed_hz=SPEED_HZ)}
    assert {row["separated_by"] for row in load("confusions")} <= said


# what analysts confuse most, and what parts each pair: common practice, no source
CONFUSED = (
    ("outer_race", "integer line", "change speed"),
    ("outer_race", "another bearing", "second sensor"),
    ("inner_race", "chipped tooth", "synchronous average"),
    *((fault, "process or belt noise", "unloaded") for fault in BEARING_RATES),
    ("unbalance", "misalignment or bent shaft", "axial"),
    ("misalignment", "looseness", "feet"),
    ("resonance", "fault", "coast-down or a tap"),
    ("gear wear", "load", "same stated load"),
    ("mesh misalignment", "coupling", "axial 1x and 2x"),
    ("electrical", "twice the shaft", "0.2 Hz"),
    ("lubrication", "early bearing", "record hot again"),
    ("tooth crack or chip", "eccentric gear", "one short place"),
    ("any", "not on this drive", "drive stopped"),
)


@pytest.mark.parametrize(("first", "second", "parts"), CONFUSED)
def test_what_analysts_confuse_stands_with_what_parts_it(first: str, second: str, parts: str) -> None:
    assert any(row["first"] == first and second in row["second"] and parts in row["separated_by"] for row in load("confusions"))


@pytest.mark.parametrize(
    ("growth_db", "least"),
    [
        (None, "watch"),
        (-15.0, "watch"),
        (5.9, "watch"),
        (6.0, "look"),
        (10.0, "plan and verify: order parts"),
        (20.0, "plan and verify: act within 1 to 4 weeks"),
        (60.0, "plan and verify: act within 1 to 4 weeks"),
    ],
)
def test_growth_makes_a_fault_more_pressing_and_never_less(growth_db: float | None, least: str) -> None:
    """Of a weak comb what growth says; of a clear one the more pressing of the two."""
    assert urgency(1, growth_db).startswith(least)
    assert urgency(3, growth_db) == urgency(3) and urgency(4, growth_db) == urgency(4)
    assert urgency(2, growth_db) == (urgency(3) if (growth_db or 0) >= 20 else urgency(2))


def test_one_witness_never_says_more_than_plan_and_verify() -> None:
    said = {urgency(stage, growth) for stage in (1, 2, 3, 4) for growth in (None, 0.0, 7.0, 12.0, 30.0, 90.0)}
    assert {text.partition(":")[0] for text in said} == {"watch", "look", "plan and verify"}
