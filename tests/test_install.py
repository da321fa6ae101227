"""Holes, bonds and bus timing against published rows; sources stand in each row of tests/reference."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gearcase.errors import OutOfRange
from gearcase.install.bonding import cure_time
from gearcase.install.bus import character_time, silence_after_frame, transaction_time
from gearcase.install.holes import (
    FITS,
    LEAD_THREADS,
    clearance_hole,
    depth_to_shoulder,
    drill_for_thread,
    drill_point_length,
    least_metal,
    metal_left,
    percent_thread,
    tap_drill,
    wall_needed,
)
from gearcase.install.mounting import sight
from gearcase.install.points import Point, Sensor
from gearcase.units import parse_thread
from published import Check, check_id, checks, rows

INCH = 0.0254


@pytest.mark.parametrize("check", checks("fastener_checks.csv", "TP"), ids=check_id)
def test_percent_thread_agrees_with_the_handbook_formula(check: Check) -> None:
    found = percent_thread(
        major_diameter=check.given["major_in"] * INCH,
        drill_diameter=check.given["drill_in"] * INCH,
        pitch=INCH / check.given["tpi"],
    )
    assert found == pytest.approx(check.value, rel=check.tolerance)


@pytest.mark.parametrize("check", checks("fastener_checks.csv", "TD"), ids=check_id)
def test_drill_for_a_percent_thread_agrees_with_the_handbook_formula(check: Check) -> None:
    pitch = INCH / check.given["tpi"]
    found = drill_for_thread(major_diameter=check.given["major_in"] * INCH, pitch=pitch, percent=check.given["percent"])
    assert found / INCH == pytest.approx(check.value, rel=check.tolerance)


@pytest.mark.parametrize("check", checks("fastener_checks.csv", "TI"), ids=check_id)
def test_drill_points_agree_with_geometry(check: Check) -> None:
    found = drill_point_length(drill_diameter=check.given["drill_mm"] / 1000)
    assert 1000 * found == pytest.approx(check.value, rel=check.tolerance)


@pytest.mark.parametrize("check", checks("fastener_checks.csv", "TH"), ids=check_id)
def test_blind_hole_depths_agree_with_worked_ones(check: Check) -> None:
    assert LEAD_THREADS[check.given["tap"]] == check.given["chamfer_threads"]
    found = depth_to_shoulder(
        full_thread=check.given["full_thread_mm"] / 1000,
        lead_threads=check.given["chamfer_threads"],
        pitch=check.given["pitch_mm"] / 1000,
    )
    assert 1000 * found == pytest.approx(check.value, rel=check.tolerance)


@pytest.mark.parametrize(
    ("thread", "drill", "row"),
    [("1/4-28", "#3", "TF1"), ("1/4-20", "#7", "TF6"), ("M6", "5.0 mm", "TF4"), ("M8x1.25", "6.8 mm", "TF5")],
)
def test_tap_drills_are_the_published_ones(thread: str, drill: str, row: str) -> None:
    published = next(check["value"] for check in rows("fastener_checks.csv") if check["id"] == row)
    assert tap_drill(parse_thread(thread)).drill == drill
    assert drill.removesuffix(" mm") in published


def test_a_thread_the_tables_do_not_hold_is_refused_with_the_nearest_they_do() -> None:
    with pytest.raises(OutOfRange, match=r"nearest to it: M12, M12x1.5, M12x1.25"):
        tap_drill(parse_thread("M12x1"))


lengths = st.floats(1e-4, 0.05)


@given(spot_face=st.floats(0, 0.003), depth=lengths, point=lengths)
def test_in_the_wall_needed_the_least_metal_just_stays(spot_face: float, depth: float, point: float) -> None:
    wall = wall_needed(spot_face=spot_face, depth=depth, point=point)
    left = metal_left(wall=wall, spot_face=spot_face, depth=depth, point=point)
    assert left == pytest.approx(least_metal(wall=wall))


def test_the_stack_of_a_common_stud_asks_for_more_than_most_walls_have() -> None:
    """1/4-28 with 6.35 mm of thread: most walls are 8 to 14 mm (common practice), so a pad or boss is the usual answer."""
    drill = tap_drill(parse_thread("1/4-28"))
    point = drill_point_length(drill_diameter=drill.diameter)
    for tap, least in (("plug", 16e-3), ("bottoming", 14e-3)):
        depth = depth_to_shoulder(full_thread=6.35e-3, lead_threads=LEAD_THREADS[tap], pitch=drill.pitch)
        assert wall_needed(spot_face=1e-3, depth=depth, point=point) > least


@pytest.mark.parametrize("check", checks("bonding.csv", "BT"), ids=check_id)
def test_cure_times_double_for_each_ten_kelvin(check: Check) -> None:
    reference, metal = 3600.0 * check.given["hours_at_ref"], check.given["at_c"] + 273.15
    hours = cure_time(time_at_reference=reference, metal_temperature=metal) / 3600
    assert hours == pytest.approx(check.value, rel=check.tolerance)


def test_a_bond_on_cold_metal_is_refused() -> None:
    with pytest.raises(OutOfRange, match="warm it and hold it warm"):
        cure_time(time_at_reference=3600.0, metal_temperature=278.15)


@pytest.mark.parametrize("row", rows("clearance_holes.csv"), ids=lambda row: row["size"])
def test_clearance_holes_are_those_published(row: dict[str, str]) -> None:
    """ISO 273 and ASME B18.2.8, to the last printed digit."""
    inch = 25.4e-3 if row["unit"] == "in" else 1e-3
    for fit in FITS:
        assert clearance_hole(row["size"], fit).diameter == pytest.approx(float(row[f"{fit}_dec"]) * inch, abs=6e-6)


@pytest.mark.parametrize(("size", "fit", "rule"), [("M7", "normal", "M3, M4"), ("M8", "tight", "close, normal, loose")])
def test_a_screw_the_table_does_not_hold_is_refused(size: str, fit: str, rule: str) -> None:
    with pytest.raises(OutOfRange, match=rule):
        clearance_hole(size, fit)


HANDBOOK = {  # the handbook's words for what the table calls it; its figures are good to a factor 2
    "stud": "stud, clean flat spot, thin grease",
    "rigid adhesive": "adhesive, thin rigid bond, no pad",
    "adhesive pad": "adhesive with mounting pad",
    "tape": "thin double-sided tape",
    "flat magnet": "flat magnet on flat clean surface",
    "hand probe": "hand-held probe tip",
}


@pytest.mark.parametrize("mount", HANDBOOK)
def test_the_band_of_a_mount_lies_within_the_factor_two_of_the_handbook(mount: str) -> None:
    """Rows MM* of mounting_checks.csv."""
    published = {
        json.loads(row["inputs"])["method"]: float(row["value"]) for row in rows("mounting_checks.csv") if row["id"][:2] == "MM"
    }
    band = sight(Point("a", Sensor(highest_hz=20000.0), mount=mount))
    assert band is not None and 0.5 <= band.true_hz / published[HANDBOOK[mount]] <= 2.0


TRANSACTIONS = [check for check in checks("modbus_checks.csv", "MT") if check.quantity == "one_transaction_s"]


@pytest.mark.parametrize("check", TRANSACTIONS, ids=check_id)
def test_transactions_take_as_long_as_their_characters(check: Check) -> None:
    found = transaction_time(
        baud=check.given["baud"], registers=check.given["registers"], device_delay=check.given["device_delay_s"]
    )
    assert found == pytest.approx(check.value, rel=check.tolerance)


@pytest.mark.parametrize("row", rows("modbus_timing.csv"), ids=lambda row: row["id"])
def test_character_times_and_silences_are_the_specifications(row: dict[str, str]) -> None:
    assert 1000 * character_time(baud=float(row["baud"])) == pytest.approx(float(row["char_ms"]), abs=1e-5)
    assert 1000 * silence_after_frame(baud=float(row["baud"])) == pytest.approx(float(row["t3_5_ms"]), abs=1e-5)
