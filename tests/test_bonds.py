"""Bonds against published rows, another dew-point formula and textbook mechanics; sources stand beside each check."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gearcase.errors import OutOfRange
from gearcase.install.adhesives import Adhesive, adhesive, bond_line_ruling, choose_adhesive, share_left, true_hz_hot
from gearcase.install.bond_strength import (
    allowed_stress,
    bond_area,
    pad_diameter,
    peel_ruling,
    peel_stress,
    shear_capacity,
    shock_force,
    shock_ruling,
)
from gearcase.install.bonding import (
    COLDEST,
    HOTTEST,
    bond_conditions,
    cure_schedule,
    cure_time,
    dew_point,
    preparation,
)
from gearcase.tables import load
from gearcase.units import parse
from published import Check, check_id, checks, rows

ZERO_C = 273.15
EVERY = [adhesive(row["adhesive"]) for row in load("adhesives")]


@pytest.mark.parametrize("check", checks("bonding.csv", "BW"), ids=check_id)
def test_dew_points_agree_with_the_worked_rows(check: Check) -> None:
    found = dew_point(air_temperature=check.given["air_c"] + ZERO_C, relative_humidity=check.given["rh_percent"] / 100)
    assert found - ZERO_C == pytest.approx(check.value, rel=check.tolerance)


@given(air=st.floats(-20, 50), humidity=st.floats(0.2, 1.0))
def test_at_the_dew_point_the_air_is_full(air: float, humidity: float) -> None:
    """Saturation pressure over water by A. L. Buck (1981), another formula (from memory); both are good to 0.4 %, 0.06 K each."""

    def pressure(celsius: float) -> float:
        return 6.1121 * math.exp((18.678 - celsius / 234.5) * celsius / (257.14 + celsius))

    dew = dew_point(air_temperature=air + ZERO_C, relative_humidity=humidity) - ZERO_C
    assert dew <= air + 1e-9
    if dew > -40:
        assert pressure(dew) == pytest.approx(humidity * pressure(air), rel=0.008)


@pytest.mark.parametrize("check", checks("thermal_checks.csv", "TA"), ids=check_id)
def test_ten_kelvin_halve_a_time_as_they_halve_an_oils_life(check: Check) -> None:
    """The rows' rule for oil, half for each 10 K, is the rule for cure; taken on metal warm enough to bond."""
    shorter = [cure_time(time_at_reference=3600.0, metal_temperature=check.given[at] + ZERO_C) for at in ("at_c", "base_c")]
    assert shorter[0] / shorter[1] * check.given["life_h_at_base"] == pytest.approx(check.value, rel=check.tolerance)


def test_the_time_to_close_a_joint_is_that_of_the_warmer_of_metal_and_air() -> None:
    """Row BT1 of bonding.csv, doubling per 10 K: 3 min at 23 °C are 6 on metal of 13 °C, 1.5 mixed in air of 33 °C."""
    times = {"open_time": 180.0, "fixture_time": 2400.0, "full_time": 86400.0, "metal_temperature": 286.15}
    assert cure_schedule(**times).close_within == pytest.approx(360)
    warm = cure_schedule(**times, air_temperature=306.15)
    assert warm.close_within == pytest.approx(90) and warm.full == cure_schedule(**times).full
    assert cure_schedule(**times, air_temperature=283.15).close_within == pytest.approx(360)


@pytest.mark.parametrize("check", checks("thermal_checks.csv", "TF"), ids=check_id)
def test_sheets_in_fahrenheit_are_read_right(check: Check) -> None:
    assert parse(f"{check.given['f']} °F", "temperature") - ZERO_C == pytest.approx(check.value, rel=check.tolerance)


@pytest.mark.parametrize("check", checks("bonding.csv", "BC"), ids=check_id)
def test_what_a_pad_bears_agrees_with_the_worked_rows(check: Check) -> None:
    stress = check.given["shear_mpa"] * 1e6 / check.given["safety_factor"]
    assert shear_capacity(diameter=check.given["dia_mm"] / 1000, stress=stress) == pytest.approx(check.value, rel=check.tolerance)


@pytest.mark.parametrize("check", checks("bonding.csv", "BI"), ids=check_id)
def test_the_force_of_a_shock_agrees_with_the_worked_row(check: Check) -> None:
    force = shock_force(mass=check.given["mass_kg"], acceleration=check.given["peak_g"] * 9.80665)
    assert force == pytest.approx(check.value, rel=check.tolerance)


@pytest.mark.parametrize("row", [row for row in rows("bonding.csv") if row["id"].startswith("BP")], ids=lambda row: row["id"])
def test_every_published_step_of_preparation_is_there_and_in_order(row: dict[str, str]) -> None:
    """By the word that no other step has; our steps run from the first to the last in the rows' order."""
    key = {
        "BP01": "lock out",
        "BP02": "paint and primer",
        "BP03": "one way",
        "BP04": "80 to 120 grit",
        "BP05": "egrease again",
        "BP06": "film",
        "BP07": "dew point",
        "BP08": "mixing nozzle",
        "BP09": "slight twist",
        "BP10": "label",
    }
    assert key[row["id"]] in row["value"]
    ours = [next(step.number for step in preparation() if word in step.do) for word in key.values()]
    assert ours == sorted(ours) and len(set(ours)) == len(ours)
    assert [step.number for step in preparation()] == list(range(1, len(preparation()) + 1))


def test_the_table_keeps_to_the_published_ranges_of_methacrylate() -> None:
    """Rows BD01 to BD06 of bonding.csv, always at the careful end; trade rule: none above 100 degC."""
    said = {row["id"]: row["value"] for row in rows("bonding.csv")}
    one = adhesive("two-part methacrylate")
    assert (said["BD01"], one.shear_strength) == ("17 to 28 MPa", 17e6)
    assert said["BD02"].startswith("4 to 40 min") and one.fixture_time == 40 * 60
    assert "working time 3 to 20 min" in said["BD02"] and one.open_time == 3 * 60
    assert (said["BD04"], one.full_time) == ("16 to 24 h", 24 * 3600)
    assert "half the room-temperature figure at 80 to 90 C" in said["BD06"] and 80 <= one.half_at - ZERO_C <= 90
    assert one.hottest == HOTTEST


def test_bond_lines_are_the_trades() -> None:
    """Trade rule: 0.05 to 0.15 mm for epoxy, 0.1 to 0.3 for methacrylate."""
    assert (adhesive("two-part epoxy").least_line, adhesive("two-part epoxy").most_line) == pytest.approx((0.05e-3, 0.15e-3))
    thick = bond_line_ruling(adhesive("two-part methacrylate"), thickness=0.5e-3)
    assert not thick.holds and thick.cure.startswith("0.10 to 0.30 mm")


@pytest.mark.parametrize(
    ("substrate", "hottest_c", "fit"),
    [
        ("bare iron", 60, ["two-part epoxy", "two-part methacrylate", "hot-service epoxy", "cyanoacrylate"]),
        ("bare iron", 75, ["two-part epoxy", "two-part methacrylate", "hot-service epoxy"]),
        ("bare iron", 100, ["two-part methacrylate", "hot-service epoxy"]),
        ("bare iron", 101, ["hot-service epoxy"]),
        ("bare iron", 160, []),
        ("paint", 60, []),
    ],
)
def test_heat_and_metal_choose_the_adhesive(substrate: str, hottest_c: float, fit: list[str]) -> None:
    choices = choose_adhesive(substrate=substrate, coldest=263.15, hottest=hottest_c + ZERO_C)
    assert [choice.adhesive.name for choice in choices if choice.fits] == fit
    assert len(choices) == len(EVERY) and [c.fits for c in choices] == sorted((c.fits for c in choices), reverse=True)
    for choice in choices:
        if not choice.fits:
            assert "strip it to bright metal" in choice.unfit or any("stud" in r.cure for r in choice.rulings if not r.holds)


some = st.sampled_from(EVERY)


@given(one=some, mass=st.floats(0.02, 1.0), shock=st.floats(10, 5000), hot=st.floats(COLDEST, 423))
def test_the_pad_that_is_asked_for_bears_ten_times_the_shock_hot(one: Adhesive, mass: float, shock: float, hot: float) -> None:
    """Trade rule: working stress hot at most a tenth of the sheet value; so never more than a tenth of the strength cold."""
    ruling = shock_ruling(one, diameter=0.025, mass=mass, acceleration=shock, temperature=hot)
    assert ruling.least is not None
    left = one.shear_strength * share_left(temperature=hot, known_share=0.5, known_temperature=one.half_at)
    assert shear_capacity(diameter=ruling.least, stress=left) == pytest.approx(10 * mass * shock)
    assert mass * shock / (math.pi / 4 * ruling.least**2) <= one.shear_strength / 10 * (1 + 1e-9)
    assert shock_ruling(one, diameter=ruling.least * 1.001, mass=mass, acceleration=shock, temperature=hot).holds


@given(one=some, cooler=st.floats(253, 423), hotter=st.floats(253, 423))
def test_heat_only_takes_away(one: Adhesive, cooler: float, hotter: float) -> None:
    cool, hot = (share_left(temperature=at, known_share=0.5, known_temperature=one.half_at) for at in sorted((cooler, hotter)))
    assert 0 < hot <= cool <= 1
    assert share_left(temperature=one.half_at, known_share=0.5, known_temperature=one.half_at) == pytest.approx(0.5)


@given(force=st.floats(1, 500), lever=st.floats(0.005, 0.2), diameter=st.floats(0.01, 0.06))
def test_peel_is_the_moment_over_the_section_modulus(force: float, lever: float, diameter: float) -> None:
    """Textbook bending: stress = M c / I with I = pi d^4 / 64."""
    inertia = math.pi * diameter**4 / 64
    assert peel_stress(force=force, lever=lever, diameter=diameter) == pytest.approx(force * lever * (diameter / 2) / inertia)


def test_a_pull_on_the_cable_peels_what_no_shock_shears() -> None:
    """Trade rule: bonds peel, they seldom shear."""
    one, hot = adhesive("two-part methacrylate"), 80 + ZERO_C
    assert shock_ruling(one, diameter=0.025, mass=0.1, acceleration=50 * 9.80665, temperature=hot).holds
    pull = peel_ruling(one, diameter=0.025, force=100.0, lever=0.05, temperature=hot)
    assert not pull.holds and "clip the cable" in pull.cure


def test_a_pad_loses_hot_what_the_trade_says() -> None:
    """Trade rule (from memory): true to 3 to 5 kHz cold, 1 to 2.5 kHz hot."""
    assert [true_hz_hot(true_hz_cold=hz, temperature=80 + ZERO_C) for hz in (3000.0, 5000.0)] == pytest.approx([1312.5, 2187.5])
    assert true_hz_hot(true_hz_cold=4000.0, temperature=10 + ZERO_C) == 4000.0


@given(metal=st.floats(COLDEST, 313), opened=st.floats(60, 1800), fixture=st.floats(60, 30000), full=st.floats(3600, 3e5))
def test_a_cure_runs_in_order_and_ten_kelvin_warmer_takes_half(metal: float, opened: float, fixture: float, full: float) -> None:
    cure, warmer = (
        cure_schedule(open_time=opened, fixture_time=fixture, full_time=full, metal_temperature=at) for at in (metal, metal + 10)
    )
    assert cure.no_load_until == pytest.approx(4 * cure.fixture)
    assert cure.baseline_after >= cure.full
    assert cure.baseline_after >= cure_time(time_at_reference=24 * 3600.0, metal_temperature=metal) * (1 - 1e-12)
    for part in ("close_within", "fixture", "no_load_until", "full", "baseline_after"):
        assert getattr(cure, part) == pytest.approx(2 * getattr(warmer, part))


@pytest.mark.parametrize(
    ("metal_c", "air_c", "humidity", "holds"),
    [
        (23, 23, 0.5, (True, True)),
        (8, 5, 0.5, (False, True)),
        (15, 20, 0.9, (True, False)),
        (21.2, 20, 0.9, (True, False)),
        (21.4, 20, 0.9, (True, True)),
        (60, 25, 0.5, (False, True)),
    ],
)
def test_cold_hot_and_wet_metal_is_not_bonded(metal_c: float, air_c: float, humidity: float, holds: tuple[bool, bool]) -> None:
    """Trade rule: 10 to 40 degC, 3 K over dew point; 20 degC at 90 % has its dew point at 18.3 degC."""
    now = bond_conditions(metal_temperature=metal_c + ZERO_C, air_temperature=air_c + ZERO_C, relative_humidity=humidity)
    assert tuple(ruling.holds for ruling in now) == holds


def test_metal_warmed_to_what_the_cure_says_is_dry_enough() -> None:
    _, wet = bond_conditions(metal_temperature=288.15, air_temperature=293.15, relative_humidity=0.9)
    warmed = float(wet.cure.split("to ")[1].split(" °C")[0])  # printed to whole degrees, upwards
    _, dry = bond_conditions(metal_temperature=warmed + ZERO_C, air_temperature=293.15, relative_humidity=0.9)
    assert not wet.holds and dry.holds


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: adhesive("string"), "two-part epoxy, two-part methacrylate"),
        (lambda: choose_adhesive(substrate="bare iron", coldest=300.0, hottest=290.0), "at most the hottest"),
        (lambda: share_left(temperature=300.0, known_share=0.5, known_temperature=290.0), "above 296.15 K"),
        (lambda: share_left(temperature=300.0, known_share=1.5, known_temperature=350.0), "at most 1"),
        (lambda: allowed_stress(strength=17e6, share=1.1), "at most 1"),
        (lambda: bond_area(force=10.0, stress=0.0), r"stress=0\.0: above 0"),
        (lambda: pad_diameter(area=-1.0), r"area=-1\.0: above 0"),
        (lambda: dew_point(air_temperature=350.0, relative_humidity=0.5), "-40 to 50 degC"),
        (lambda: dew_point(air_temperature=293.0, relative_humidity=60.0), "0.6 for 60 %"),
    ],
)
def test_what_cannot_be_is_refused_with_what_can(call: object, says: str) -> None:
    assert callable(call)
    with pytest.raises(OutOfRange, match=says):
        call()
