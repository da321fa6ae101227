"""Drills, holes and gauged walls against published rows and geometry; sources stand in each row of tests/reference."""

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gearcase.errors import OutOfRange
from gearcase.install.drills import IRON_THREAD, KINDS, drill_named, nearest_drills, spindle_speed, tap_drills
from gearcase.install.gauging import corrected_thickness, gauged_wall, velocity_from_sample, velocity_range
from gearcase.install.holes import (
    LEAD_THREADS,
    clearance_hole,
    edge_ruling,
    metal_ruling,
    percent_thread,
    spacing_ruling,
    tap_drill,
    wall_needed,
)
from gearcase.tables import load
from gearcase.units import parse_thread
from published import Check, check_id, checks, rows

INCH = 0.0254


@pytest.mark.parametrize("row", rows("drills.csv"), ids=lambda row: row["size"])
def test_number_and_letter_drills_are_those_of_the_standard(row: dict[str, str]) -> None:
    """ASME B94.11M, to the last printed digit of both columns."""
    drill = drill_named(row["size"])
    assert drill.kind == row["kind"]
    assert drill.diameter / INCH == pytest.approx(float(row["diameter_in"]), abs=1e-9)
    assert 1000 * drill.diameter == pytest.approx(float(row["diameter_mm"]), abs=6e-4)


def test_the_table_holds_every_number_and_letter_drill_and_no_other() -> None:
    held = {row["drill"] for row in load("drills") if row["kind"] in ("number", "letter")}
    assert held == {row["size"] for row in rows("drills.csv")}


@pytest.mark.parametrize("row", [row for row in load("drills") if row["kind"] == "fraction"], ids=lambda row: row["drill"])
def test_fraction_drills_are_their_own_name_in_inches(row: dict[str, str]) -> None:
    assert drill_named(row["drill"]).diameter == pytest.approx(float(Fraction(row["drill"].removesuffix(" in"))) * INCH, rel=1e-7)


@pytest.mark.parametrize("row", [row for row in load("drills") if row["kind"] == "metric"], ids=lambda row: row["drill"])
def test_metric_drills_are_their_own_name_in_millimetres(row: dict[str, str]) -> None:
    assert 1000 * drill_named(row["drill"]).diameter == pytest.approx(float(row["drill"].removesuffix(" mm")))


@pytest.mark.parametrize("row", load("threads"), ids=lambda row: row["thread"])
def test_every_tap_drill_can_be_bought(row: dict[str, str]) -> None:
    assert 1000 * drill_named(row["tap_drill"]).diameter == pytest.approx(float(row["tap_drill_mm"]), abs=6e-4)


@pytest.mark.parametrize("row", load("clearance_holes"), ids=lambda row: row["size"])
@pytest.mark.parametrize("fit", ["close", "normal", "loose"])
def test_every_clearance_drill_can_be_bought(row: dict[str, str], fit: str) -> None:
    """Table drills are printed to four figures, half a unit of the last is 5 um."""
    hole = clearance_hole(row["size"], fit)
    nearest = nearest_drills(diameter=hole.diameter)[0]
    assert nearest.diameter == pytest.approx(hole.diameter, abs=6e-6)


@pytest.mark.parametrize("row", rows("threads_unified.csv"), ids=lambda row: row["thread"])
def test_unified_tap_drills_and_the_thread_they_leave_are_published(row: dict[str, str]) -> None:
    drill = tap_drill(parse_thread(row["thread"]))
    assert drill.drill.removesuffix(" in") == row["tap_drill"]
    assert drill.diameter / INCH == pytest.approx(float(row["tap_drill_in"]), abs=6e-5)
    left = percent_thread(
        major_diameter=float(row["major_in"]), drill_diameter=float(row["tap_drill_in"]), pitch=1 / float(row["tpi"])
    )
    assert left == pytest.approx(
        float(row["percent_thread"]), abs=0.36
    )  # drill printed to 0.0001 in: 76.98 x 40 x 0.00005, and a digit


@pytest.mark.parametrize("row", rows("threads_metric.csv"), ids=lambda row: row["thread"])
def test_metric_tap_drills_and_the_thread_they_leave_are_published(row: dict[str, str]) -> None:
    """The metric rows print per cent of the basic height 1.0825 P, inch practice takes 1.299 P: 1.2 times as much."""
    drill = tap_drill(parse_thread(row["thread"]))
    assert 1000 * drill.diameter == pytest.approx(float(row["tap_drill_mm"]))
    left = percent_thread(major_diameter=drill.major_diameter, drill_diameter=drill.diameter, pitch=drill.pitch)
    assert 1.2 * left == pytest.approx(float(row["percent_thread"].split()[0]), abs=0.51)


@pytest.mark.parametrize("row", load("threads"), ids=lambda row: row["thread"])
def test_every_thread_of_the_table_keeps_the_formulae_of_its_standard(row: dict[str, str]) -> None:
    """Stress areas by ISO 898-1, pi/4 (d - 0.9382 P)^2, and ASME B1.1, pi/4 (D - 0.9743 P)^2, printed to three figures or more;
    metric tap drills D - P (ISO 2306) to the nearest tenth; drills of unified threads leave 60 to 80 % of thread.
    """
    found = tap_drill(parse_thread(row["thread"]))
    assert (found.drill, found.stress_area) == (row["tap_drill"], float(row["stress_area_mm2"]) / 1e6)
    major, pitch = 1000 * found.major_diameter, 1000 * found.pitch
    metric = row["series"].startswith("metric")
    area = math.pi / 4 * (major - (0.9382 if metric else 0.9743) * pitch) ** 2
    assert float(row["stress_area_mm2"]) == pytest.approx(area, rel=5e-3)
    if metric:
        assert 1000 * found.diameter == pytest.approx(major - pitch, abs=0.0501)
    else:
        assert 60 <= percent_thread(major_diameter=major, drill_diameter=1000 * found.diameter, pitch=pitch) <= 80


@pytest.mark.parametrize(
    ("thread", "drill", "percent"),
    [  # Machinery's Handbook, from memory: letters I and U for about 75 % of thread; ISO 2306: 7 and 10.5 mm
        ("5/16-24", "I", 74.8),
        ("7/16-14", "U", 74.9),
        ("M8x1", "7.0 mm", 77.0),
        ("M12 x 1.5", "10.5 mm", 77.0),
        ("M8x1.25", "6.8 mm", 73.9),
    ],
)
def test_fine_threads_have_their_own_drills(thread: str, drill: str, percent: float) -> None:
    found = tap_drill(parse_thread(thread))
    assert found.drill == drill
    left = percent_thread(major_diameter=found.major_diameter, drill_diameter=found.diameter, pitch=found.pitch)
    assert left == pytest.approx(percent, abs=0.06)


@pytest.mark.parametrize(
    ("thread", "nearest"),
    [("M9", "M8, M8x1, M10, M10x1.25"), ("M8x0.75", "M8, M8x1"), ("5/16-32", "5/16-18, 5/16-24"), ("M100", "M24, M24x2")],
)
def test_a_thread_that_the_table_lacks_is_answered_with_the_nearest(thread: str, nearest: str) -> None:
    with pytest.raises(OutOfRange) as refused:
        tap_drill(parse_thread(thread))
    assert nearest in refused.value.rule and refused.value.rule.count(",") == 3


def test_the_trade_facts_hold() -> None:
    """Rows TF1 and TF2 of fastener_checks.csv."""
    facts = {row["id"]: row["value"] for row in rows("fastener_checks.csv")}
    stud = tap_drill(parse_thread("1/4-28"))
    assert f"{stud.drill} ({stud.diameter / INCH:.4f} in)" == facts["TF1"]
    assert clearance_hole("1/2", "normal").drill == facts["TF2"]


@pytest.mark.parametrize("check", checks("fastener_checks.csv", "TS"), ids=check_id)
def test_drill_speeds_agree_with_the_handbook_formula(check: Check) -> None:
    speed = spindle_speed(surface_speed=check.given["surface_ft_min"] * 0.3048 / 60, drill_diameter=check.given["drill_in"] * INCH)
    assert 60 * speed == pytest.approx(check.value, rel=check.tolerance)


threads = st.sampled_from([row["thread"] for row in load("threads")])


@given(thread=threads)
def test_tap_drills_are_the_nearest_of_their_kind_by_brute_force(thread: str) -> None:
    table = tap_drill(parse_thread(thread))
    low, high = IRON_THREAD
    wanted = (low + high) / 2
    choices = tap_drills(major_diameter=table.major_diameter, pitch=table.pitch, least_percent=low, most_percent=high)
    by_kind = {choice.drill.kind: choice for choice in choices}
    for kind in KINDS:
        off = [
            abs(76.98 * (table.major_diameter - float(row["diameter_mm"]) / 1000) / table.pitch - wanted)
            for row in load("drills")
            if row["kind"] == kind
        ]
        if kind in by_kind:
            assert abs(by_kind[kind].percent - wanted) == pytest.approx(min(off), abs=1e-6)
            assert by_kind[kind].wanted == (low <= by_kind[kind].percent <= high)
        else:
            assert min(off) >= min(wanted, 100 - wanted)  # only kinds with no thread, or too much, are left out
    assert [choice.wanted for choice in choices] == sorted((choice.wanted for choice in choices), reverse=True)


@given(thread=threads, smaller=st.floats(0.5, 0.99), larger=st.floats(0.5, 0.99))
def test_a_larger_drill_leaves_less_thread(thread: str, smaller: float, larger: float) -> None:
    table = tap_drill(parse_thread(thread))
    left = [
        percent_thread(major_diameter=table.major_diameter, drill_diameter=share * table.major_diameter, pitch=table.pitch)
        for share in sorted((smaller, larger))
    ]
    assert left[0] >= left[1] > 0


@pytest.mark.parametrize("name", ["#0", "5/16", "AA", "13.1 mm", "3"])
def test_a_drill_nobody_sells_is_refused_with_how_names_look(name: str) -> None:
    with pytest.raises(OutOfRange, match="#1 to #80, A to Z"):
        drill_named(name)


@pytest.mark.parametrize(("low", "high"), [(0.0, 75.0), (75.0, 60.0), (60.0, 101.0)])
def test_a_wanted_height_of_thread_that_cannot_be_is_refused(low: float, high: float) -> None:
    with pytest.raises(OutOfRange, match="above 0, the lower first, at most 100"):
        tap_drills(major_diameter=6e-3, pitch=1e-3, least_percent=low, most_percent=high)


def test_a_steel_setting_reads_grey_iron_as_much_too_thick_as_the_trade_says() -> None:
    """Trade rule: 1.2 to 1.7 times, for iron of 3500 to 5000 m/s and a setting of 5920 m/s."""
    slowest, fastest = velocity_range("grey iron")
    too_thick = [0.010 / corrected_thickness(reading=0.010, velocity_set=5920.0, velocity=v) for v in (fastest, slowest)]
    assert [round(factor, 1) for factor in too_thick] == [1.2, 1.7]


@given(true=st.floats(3e-3, 0.05), velocity=st.floats(3000, 6500), velocity_set=st.floats(3000, 6500))
def test_a_gauge_that_times_the_echo_is_corrected_back_to_the_true_wall(true: float, velocity: float, velocity_set: float) -> None:
    reading = velocity_set * (2 * true / velocity) / 2  # what a gauge does: half the echo's way at the set velocity
    assert corrected_thickness(reading=reading, velocity_set=velocity_set, velocity=velocity) == pytest.approx(true)
    assert velocity_from_sample(caliper=true, reading=reading, velocity_set=velocity_set) == pytest.approx(velocity)


def test_three_readings_count_by_their_least_less_the_gauges_error() -> None:
    wall = gauged_wall(
        readings=[12.4e-3, 12.0e-3, 12.3e-3], gauge_error=0.2e-3, velocity_set=4500.0, slowest=4500.0, fastest=4500.0
    )
    assert (wall.least, wall.most) == pytest.approx((11.8e-3, 12.6e-3))
    assert all(ruling.holds for ruling in wall.rulings)


def test_iron_of_an_unknown_kind_is_not_known_well_enough_to_drill() -> None:
    slowest, fastest = velocity_range("unknown iron")
    wall = gauged_wall(readings=[14e-3], gauge_error=0.2e-3, velocity_set=5920.0, slowest=slowest, fastest=fastest)
    readings, spread = wall.rulings
    assert not readings.holds and "3 readings" in readings.cure
    assert not spread.holds and "caliper" in spread.cure
    assert wall.least < 14e-3 * 3500 / 5920 < wall.most


def test_a_wall_thinner_than_the_gauges_error_counts_for_nothing() -> None:
    assert gauged_wall(readings=[1e-3], gauge_error=2e-3, velocity_set=5900.0, slowest=5900.0, fastest=5900.0).least == 0


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"readings": []}, "3 readings at the spot"),
        ({"slowest": 6000.0}, "at most the fastest"),
        ({"gauge_error": -1e-4}, "0 m or more"),
        ({"readings": [0.0]}, "reading=0.0: above 0"),
    ],
)
def test_a_wall_that_cannot_be_gauged_is_refused(change: dict[str, object], says: str) -> None:
    usual = {"readings": [12e-3], "gauge_error": 1e-4, "velocity_set": 5920.0, "slowest": 3500.0, "fastest": 5000.0}
    with pytest.raises(OutOfRange, match=says):
        gauged_wall(**{**usual, **change})  # type: ignore[arg-type]


def test_a_material_without_a_velocity_is_refused_with_those_there_are() -> None:
    with pytest.raises(OutOfRange, match="grey iron, nodular iron, unknown iron"):
        velocity_range("cheese")


@given(depth=st.floats(2e-3, 0.03), point=st.floats(1e-3, 5e-3), spot_face=st.floats(0, 2e-3), share=st.floats(-1.0, 1.0))
def test_the_metal_rule_holds_from_the_wall_it_asks_for(depth: float, point: float, spot_face: float, share: float) -> None:
    needed = wall_needed(spot_face=spot_face, depth=depth, point=point)
    ruling = metal_ruling(wall=needed * (1 + share), spot_face=spot_face, depth=depth, point=point)
    if abs(share) > 1e-9:
        assert ruling.holds == (share > 0)
    assert f"{1000 * needed:.1f} mm" in ruling.cure


def test_a_wall_of_which_nothing_counts_is_never_drilled() -> None:
    nothing = metal_ruling(wall=0.0, spot_face=1e-3, depth=8e-3, point=1.6e-3)
    assert not nothing.holds and nothing.value == pytest.approx(-10.6e-3)


def test_a_taper_tap_needs_the_deepest_hole() -> None:
    """ASME B94.9 (from memory): taper 7 to 10, plug 3 to 5, bottoming 1 to 2 threads of lead."""
    for tap, (least, most) in {"taper": (7, 10), "plug": (3, 5), "bottoming": (1, 2)}.items():
        assert least <= LEAD_THREADS[tap] <= most


def test_distances_to_an_edge_and_between_holes_say_how_far_to_move() -> None:
    """Common practice: edge 1.5 d, holes 3 d of the larger."""
    edge = edge_ruling(to_edge=8e-3, hole_diameter=6.35e-3)
    assert not edge.holds and edge.shortfall == pytest.approx(1.5 * 6.35e-3 - 8e-3) and "1.5 mm" in edge.cure
    between = spacing_ruling(apart=25e-3, hole_diameter=6.35e-3, other_diameter=10e-3)
    assert not between.holds and between.shortfall == pytest.approx(5e-3) and "5.0 mm" in between.cure
    assert edge_ruling(to_edge=1.5 * 6e-3, hole_diameter=6e-3).holds
    assert math.isclose(spacing_ruling(apart=0.1, hole_diameter=6e-3, other_diameter=6e-3).shortfall, 0.0)


@pytest.mark.parametrize(("fastest", "narrow"), [(4950.0, True), (4959.0, False)])
def test_a_metal_whose_velocity_is_more_than_a_tenth_unsure_is_not_gauged(fastest: float, narrow: bool) -> None:
    """4500 m/s and a tenth more is 4950 m/s: common practice, no source."""
    wall = gauged_wall(readings=[0.0142, 0.0144, 0.0143], gauge_error=2e-4, velocity_set=5920.0, slowest=4500.0, fastest=fastest)
    assert [ruling.holds for ruling in wall.rulings] == [True, narrow]
