"""Zone tables against the published figures, and which of them a drive may be held against.

`reference/vibration_zones.csv`: ISO 10816-3 and ISO 10816-1 limits with the displacement limits that stand beside the velocities.
"""

import math

import pytest

from gearcase.errors import OutOfRange
from gearcase.judge.zones import GEAR_UNITS, STAND_IN, applicable, rate
from gearcase.tables import load
from published import rows

PUBLISHED = {row["id"]: row for row in rows("vibration_zones.csv")}
FACTS = {row["id"]: row["value"] for row in rows("vibration_checks.csv") if row["id"].startswith("VF")}
CORNER_HZ = {"1": 12.5, "2": 10.0}  # where displacement and velocity limits meet, by group: the reference's cross-check
RATED = (24.75, 24.75)


@pytest.mark.parametrize("row", load("vibration_zones"), ids=lambda row: row["id"])
def test_each_row_of_the_table_is_the_published_one(row: dict[str, str]) -> None:
    published = PUBLISHED[row["id"]]
    for column in ("standard", "machine_group", "support", "boundary", "source", "basis"):
        assert row[column] == published[column]
    assert float(row["velocity_rms_mm_s"]) == float(published["velocity_rms_mm_s"])


def test_no_published_row_of_these_tables_is_missing() -> None:
    assert PUBLISHED.keys() == {row["id"] for row in load("vibration_zones")}


@pytest.mark.parametrize(
    "row", [row for row in load("vibration_zones") if row["machine_group"] in CORNER_HZ], ids=lambda r: r["id"]
)
def test_velocity_and_displacement_limits_of_the_standard_meet_at_one_frequency(row: dict[str, str]) -> None:
    """The standard states both; d = v / (2 pi f) at the group's corner ties them, to the displacement's printed digits."""
    displacement_um = 1000 * float(row["velocity_rms_mm_s"]) / (2 * math.pi * CORNER_HZ[row["machine_group"]])
    assert displacement_um == pytest.approx(float(PUBLISHED[row["id"]]["displacement_rms_um"]), rel=0.02)


def test_the_small_class_steps_by_the_standards_ratio() -> None:
    """ISO 10816-1: each boundary 2.5 times, two steps of 1.6, over the last."""
    (table,) = applicable(power=11e3, speed_hz=RATED, support="rigid").tables
    first, second, third = table.boundaries
    assert second / first == pytest.approx(1.6**2, rel=0.03) and third / second == pytest.approx(1.6**2, rel=0.03)


@pytest.mark.parametrize(
    ("power", "support", "group", "boundaries"),
    [  # ISO 10816-3 Annex A, rows Z3-1 and Z3-2
        (15.1e3, "rigid", "2", (1.4, 2.8, 4.5)),
        (300e3, "flexible", "2", (2.3, 4.5, 7.1)),
        (300.1e3, "rigid", "1", (2.3, 4.5, 7.1)),
        (50e6, "flexible", "1", (3.5, 7.1, 11.0)),
    ],
)
def test_power_and_support_choose_the_table(power: float, support: str, group: str, boundaries: tuple[float, ...]) -> None:
    found = applicable(power=power, speed_hz=RATED, support=support)
    (table,) = found.tables
    assert found.judged and (table.group, table.support) == (group, support)
    assert [1000 * limit for limit in table.boundaries] == pytest.approx(boundaries)
    assert any(f"group {group}" in why for why in found.why)


def test_a_small_drive_is_shown_class_one_and_judged_by_nothing() -> None:
    found = applicable(power=15e3, speed_hz=RATED, support="rigid")
    assert not found.judged and [table.group for table in found.tables] == ["class I"]
    assert "15 kW" in found.why[0] and "ISO 10816-1" in found.why[0]
    assert rate(0.01, power=15e3, speed_hz=RATED, support="rigid") is None


def test_an_unknown_support_shows_both_and_judges_by_neither() -> None:
    found = applicable(power=75e3, speed_hz=RATED, support=None)
    assert not found.judged and [table.support for table in found.tables] == ["rigid", "flexible"]
    assert "25 % or more" in found.why[-1]  # how to tell: fact VF09
    assert FACTS["VF09"].endswith("by at least 25 percent")
    assert rate(0.01, power=75e3, speed_hz=RATED, support=None) is None


def test_an_unknown_power_leaves_no_table() -> None:
    found = applicable(power=None, speed_hz=RATED, support="rigid")
    assert not found.judged and found.tables == () and "power is not known" in found.why[0]
    assert rate(0.01, power=None, speed_hz=RATED, support="rigid") is None


@pytest.mark.parametrize(
    ("rpm", "judged"), [((119, 119), False), ((120, 120), True), ((15000, 15000), True), ((15001, 15001), False), ((60, 900), True)]
)
def test_speeds_outside_the_scope_are_not_judged(rpm: tuple[float, float], judged: bool) -> None:
    assert FACTS["VF14"].startswith("power above 15 kW, 120 to 15000 r/min")
    speed_hz = (rpm[0] / 60, rpm[1] / 60)
    found = applicable(power=75e3, speed_hz=speed_hz, support="rigid")
    assert found.judged is judged and any("120 to 15,000 rpm" in why for why in found.why)
    assert (rate(0.001, power=75e3, speed_hz=speed_hz, support="rigid") is not None) is judged


def test_part_of_a_range_outside_the_scope_is_said() -> None:
    assert any("for the part of it" in why for why in applicable(power=75e3, speed_hz=(1.0, 15.0), support="rigid").why)


def test_above_fifty_megawatts_nothing_applies() -> None:
    found = applicable(power=50.1e6, speed_hz=RATED, support="rigid")
    assert not found.judged and found.tables == () and "50 MW" in found.why[0]
    assert rate(0.001, power=50.1e6, speed_hz=RATED, support="rigid") is None


@pytest.mark.parametrize(("rpm", "lowest"), [(600, 2.0), (601, 10.0)])
def test_the_band_begins_at_two_hertz_for_slow_machines(rpm: float, lowest: float) -> None:
    assert FACTS["VF01"] == "10 to 1000 Hz" and FACTS["VF02"] == "2 Hz"  # VF02: at or below 600 r/min
    assert applicable(power=75e3, speed_hz=(rpm / 60, 25.0), support="rigid").band_hz == (lowest, 1000.0)


def test_the_stand_in_names_the_part_for_gear_units_and_its_scope() -> None:
    assert "stand-in" in STAND_IN and "ISO 20816-9" in GEAR_UNITS and "not held here" in GEAR_UNITS
    assert "10 kW to 100 MW" in GEAR_UNITS and "10 kW to 100 MW" in FACTS["VF07"]
    assert "30 to 12,000 rpm" in GEAR_UNITS and "30 to 12000 r/min" in FACTS["VF07"]


@pytest.mark.parametrize("velocity", [-1e-3, float("nan"), float("inf")])
def test_a_velocity_that_is_none_is_refused(velocity: float) -> None:
    with pytest.raises(OutOfRange, match="0 or more"):
        rate(velocity, power=75e3, speed_hz=RATED, support="rigid")
