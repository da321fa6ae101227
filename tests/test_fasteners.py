"""Threads, engagement and torque against published rows, standards' tables and mechanics; sources stand beside each check."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gearcase.errors import OutOfRange
from gearcase.install.engagement import (
    RULE_OF_THUMB,
    engagement_equal,
    engagement_needed,
    engagement_ruling,
    external_shear_area,
    internal_shear_area,
    stud_ruling,
    tapped_strength,
)
from gearcase.install.fasteners import (
    nut_factor,
    preload,
    preload_from_torque,
    screw_strength,
    share_of_proof,
    stud_torque_ruling,
    tightening,
    tightening_torque,
)
from gearcase.install.holes import tap_drill
from gearcase.install.threads import (
    ThreadLimits,
    limits_metric,
    limits_unified,
    minor_diameter,
    pitch_diameter,
    stress_area_metric,
    stress_area_unified,
)
from gearcase.tables import load
from gearcase.units import parse_thread
from gearcase.worked import Given, Origin, work
from published import Check, check_id, checks, rows

INCH = 0.0254
POUND, PSI = 4.4482216152605, 6894.757293168  # N, Pa; exact definitions


@pytest.mark.parametrize("row", rows("threads_metric.csv"), ids=lambda row: row["thread"])
def test_metric_threads_measure_what_their_standards_print(row: dict[str, str]) -> None:
    """ISO 724 to the micrometre, ISO 898-1 to three figures."""
    size = {"major_diameter": float(row["major_mm"]) / 1000, "pitch": float(row["pitch_mm"]) / 1000}
    assert 1000 * pitch_diameter(**size) == pytest.approx(float(row["pitch_dia_mm"]), abs=6e-4)
    assert 1000 * minor_diameter(**size) == pytest.approx(float(row["minor_dia_internal_mm"]), abs=6e-4)
    assert 1e6 * stress_area_metric(**size) == pytest.approx(float(row["stress_area_mm2"]), rel=3e-3)


@pytest.mark.parametrize("row", rows("threads_unified.csv"), ids=lambda row: row["thread"])
def test_unified_threads_measure_what_their_standard_prints(row: dict[str, str]) -> None:
    """ASME B1.1, diameters to the last printed digit, stress areas to their three figures (half a unit in a hundred)."""
    size = {"major_diameter": float(row["major_in"]) * INCH, "pitch": INCH / float(row["tpi"])}
    assert pitch_diameter(**size) / INCH == pytest.approx(float(row["pitch_dia_basic_in"]), abs=6e-5)
    assert minor_diameter(**size) / INCH == pytest.approx(float(row["minor_dia_internal_basic_in"]), abs=6e-5)
    assert stress_area_unified(**size) / INCH**2 == pytest.approx(float(row["stress_area_in2"]), rel=5e-3)


ISO_965 = {  # pitch mm: deviation g, minor 6H, major 6g, in um; ISO 965-1 tables 1, 3 and 4, read in a public program
    0.5: (20, 140, 106),
    0.7: (22, 180, 140),
    0.8: (24, 200, 150),
    1.0: (26, 236, 180),
    1.25: (28, 265, 212),
    1.5: (32, 300, 236),
    1.75: (34, 335, 265),
    2.0: (38, 375, 280),
    2.5: (42, 450, 335),
}


PITCH_TOLERANCES = {  # um, pitch diameter of 6g and of 6H; ISO 965-1 tables 5 and 6, from memory
    "M3": (75, 100),
    "M4": (90, 118),
    "M5": (95, 125),
    "M6": (112, 150),
    "M8": (118, 160),
    "M10": (132, 180),
    "M12": (150, 200),
    "M16": (160, 212),
    "M20": (170, 224),
}


@pytest.mark.parametrize("row", rows("threads_metric.csv"), ids=lambda row: row["thread"])
def test_metric_tolerances_agree_with_the_tables_of_the_standard(row: dict[str, str]) -> None:
    """The standard rounds to preferred numbers of the series R40, 6 % apart, and adjusts some by a step for a smooth row."""
    diameter, pitch = float(row["major_mm"]) / 1000, float(row["pitch_mm"]) / 1000
    deviation, minor, major = (1e-6 * value for value in ISO_965[float(row["pitch_mm"])])
    limits = limits_metric(major_diameter=diameter, pitch=pitch)
    assert limits.hole_most_minor - minor_diameter(major_diameter=diameter, pitch=pitch) == pytest.approx(minor, rel=0.06)
    assert diameter - limits.screw_least_major == pytest.approx(deviation + major, rel=0.06)
    screw, hole = (1e-6 * value for value in PITCH_TOLERANCES[row["thread"]])
    basic = pitch_diameter(major_diameter=diameter, pitch=pitch)
    assert basic - limits.screw_least_pitch == pytest.approx(deviation + screw, rel=0.06)
    assert limits.hole_most_pitch - basic == pytest.approx(hole, rel=0.06)


ENGAGEMENTS = checks("fastener_checks.csv", "TE1", "TE2", "TE4", "TE5")


@pytest.mark.parametrize("check", ENGAGEMENTS, ids=check_id)
def test_limits_of_the_tolerance_classes_are_those_the_worked_rows_were_given(check: Check) -> None:
    """Pitch in inches: basic, allowance, tolerance each rounded to 0.0001; minor to 0.001; metric by 6 % of the tolerance (R40)."""
    if "tpi" in check.given:
        thread = parse_thread(check.given["thread"].split()[0])
        limits = limits_unified(major_diameter=thread.major_diameter, pitch=INCH / check.given["tpi"])
        assert limits.screw_least_pitch / INCH == pytest.approx(check.given["Es_min_in"], abs=1.5e-4)
        assert limits.hole_most_minor / INCH == pytest.approx(check.given["Kn_max_in"], abs=6e-4)
    else:
        limits = limits_metric(major_diameter=6e-3, pitch=1e-3)
        assert 1000 * limits.screw_least_pitch == pytest.approx(check.given["Es_min_mm"], abs=0.06 * 0.112)
        assert 1000 * limits.hole_most_minor == pytest.approx(check.given["Kn_max_mm"], abs=0.06 * 0.236)


def test_a_small_unified_thread_has_the_wider_minor_diameter_of_its_own_formula() -> None:
    """10-32 UNF-2B, greatest minor diameter 0.164 in (ASME B1.1, from memory)."""
    assert limits_unified(major_diameter=0.19 * INCH, pitch=INCH / 32).hole_most_minor / INCH == pytest.approx(0.164, abs=6e-4)


@pytest.mark.parametrize("check", ENGAGEMENTS, ids=check_id)
def test_engagement_in_an_equally_strong_thread_agrees_with_the_worked_rows(check: Check) -> None:
    if "tpi" in check.given:
        found = engagement_equal(
            stress_area=check.given["As_in2"] * INCH**2,
            pitch=INCH / check.given["tpi"],
            screw_least_pitch=check.given["Es_min_in"] * INCH,
            hole_most_minor=check.given["Kn_max_in"] * INCH,
        )
        assert found / INCH == pytest.approx(check.value, rel=check.tolerance)
    else:
        found = engagement_equal(
            stress_area=check.given["As_mm2"] * 1e-6,
            pitch=check.given["pitch_mm"] / 1000,
            screw_least_pitch=check.given["Es_min_mm"] / 1000,
            hole_most_minor=check.given["Kn_max_mm"] / 1000,
        )
        assert 1000 * found == pytest.approx(check.value, rel=check.tolerance)


def test_stripping_areas_are_those_of_the_federal_standard() -> None:
    """1/2-13 UNC-2A in 2B: 0.779 and 1.12 in2 for each inch engaged (FED-STD-H28/2, from memory) at the limits as printed.

    Screw 0.4876 major and 0.4435 pitch, hole 0.434 minor and 0.4565 pitch diameter in inches (ASME B1.1; row TE1, and from memory).
    """
    one = {"engagement": INCH, "pitch": INCH / 13}
    external = external_shear_area(**one, screw_least_pitch=0.4435 * INCH, hole_most_minor=0.434 * INCH)
    internal = internal_shear_area(**one, screw_least_major=0.4876 * INCH, hole_most_pitch=0.4565 * INCH)
    assert external / INCH**2 == pytest.approx(0.779, abs=5e-4)
    assert internal / INCH**2 == pytest.approx(1.12, abs=5e-3)
    limits = limits_unified(major_diameter=0.5 * INCH, pitch=INCH / 13)
    assert limits.screw_least_major / INCH == pytest.approx(0.4876, abs=1.5e-4)
    assert limits.hole_most_pitch / INCH == pytest.approx(0.4565, abs=1.5e-4)


sizes = st.sampled_from([(row["thread"], row["series"]) for row in load("threads")])
strengths = st.floats(100e6, 1300e6)


def joint(thread: str, series: str) -> tuple[float, float, ThreadLimits]:
    """Stress area, pitch and limits of a tabled thread."""
    drill = tap_drill(parse_thread(thread))
    limits = limits_metric if "metric" in series else limits_unified
    return drill.stress_area, drill.pitch, limits(major_diameter=drill.major_diameter, pitch=drill.pitch)


@given(size=sizes, screw=strengths, hole=strengths)
def test_with_the_engagement_needed_the_screw_just_breaks_before_a_thread_strips(
    size: tuple[str, str], screw: float, hole: float
) -> None:
    """Forces by definition: the screw's As x S, the threads' half tensile strength x shear area; a little less and one strips."""
    area, pitch, limits = joint(*size)
    needed = engagement_needed(stress_area=area, pitch=pitch, screw_strength=screw, hole_strength=hole, **vars(limits))

    def holds(length: float) -> bool:
        external = external_shear_area(
            engagement=length, pitch=pitch, screw_least_pitch=limits.screw_least_pitch, hole_most_minor=limits.hole_most_minor
        )
        internal = internal_shear_area(
            engagement=length, pitch=pitch, screw_least_major=limits.screw_least_major, hole_most_pitch=limits.hole_most_pitch
        )
        return min(0.5 * screw * external, 0.5 * hole * internal) >= area * screw

    assert holds(1.0001 * needed) and not holds(0.9999 * needed)


@given(size=sizes, screw=strengths)
def test_in_a_weak_hole_half_the_strength_doubles_the_engagement(size: tuple[str, str], screw: float) -> None:
    """Machinery's Handbook, Q = J Le with J as the strengths' ratio; row TE7 has Q / Le = J."""
    area, pitch, limits = joint(*size)
    weak, weaker = (
        engagement_needed(stress_area=area, pitch=pitch, screw_strength=screw, hole_strength=screw / part, **vars(limits))
        for part in (4.0, 8.0)
    )
    assert weaker == pytest.approx(2 * weak)


def test_a_weaker_tapped_material_lengthens_engagement_by_the_handbooks_ratio() -> None:
    """Row TE7 of fastener_checks.csv: J = 1.5 and Le = 0.3636 in give Q = 0.5454 in."""
    (row,) = checks("fastener_checks.csv", "TE7")
    area, pitch, limits = joint("1/2-13", "UNC")
    equal = engagement_equal(
        stress_area=area, pitch=pitch, screw_least_pitch=limits.screw_least_pitch, hole_most_minor=limits.hole_most_minor
    )
    one = {"engagement": equal, "pitch": pitch}
    external = external_shear_area(**one, screw_least_pitch=limits.screw_least_pitch, hole_most_minor=limits.hole_most_minor)
    internal = internal_shear_area(**one, screw_least_major=limits.screw_least_major, hole_most_pitch=limits.hole_most_pitch)
    hole = 800e6 * external / internal / row.given["J"]
    needed = engagement_needed(stress_area=area, pitch=pitch, screw_strength=800e6, hole_strength=hole, **vars(limits))
    assert needed / equal * row.given["Le"] == pytest.approx(row.value)


def test_the_rule_of_thumb_covers_common_screws_in_steel_and_soft_iron_asks_for_more() -> None:
    """Rows TR1 to TR3: 1 d in steel, 1.5 d in iron, 2 d in aluminium. An 8.8 screw in grey iron of 200 MPa wants more than that."""
    thumbs = {row["inputs"]: row["value"] for row in rows("fastener_checks.csv") if row["topic"] == "engagement rule of thumb"}
    for material, diameters in RULE_OF_THUMB.items():
        (said,) = (value for given_as, value in thumbs.items() if given_as.endswith(f'in {material}"}}'))
        assert said == f"{diameters} d"
    area, pitch, limits = joint("M8", "metric coarse")
    needed = {
        hole: engagement_needed(stress_area=area, pitch=pitch, screw_strength=800e6, hole_strength=hole, **vars(limits))
        for hole in (400e6, 250e6, 200e6)
    }
    assert engagement_ruling(full_thread=1.5 * 8e-3, needed=needed[400e6]).holds
    soft = engagement_ruling(full_thread=1.5 * 8e-3, needed=needed[200e6])
    assert not soft.holds and f"{1000 * soft.shortfall:.1f} mm deeper" in soft.cure
    assert needed[400e6] < needed[250e6] < needed[200e6]


def test_a_metal_has_a_strength_for_its_thread_where_it_has_a_velocity_for_its_wall() -> None:
    """And iron of an unknown kind is taken as the weakest of both irons."""
    strengths = {row["material"]: tapped_strength(row["material"]) for row in load("sound_velocities")}
    assert strengths["unknown iron"] < min(strengths["grey iron"], strengths["nodular iron"])
    grades = {row["material"]: row["says"] for row in load("tapped_strengths")}
    for iron in ("grey iron", "nodular iron", "unknown iron"):  # EN 1561 and EN 1563: the grade's number is its strength in MPa
        assert re.search(r"EN-GJ[LS]-(\d+)", grades[iron])[1] == f"{strengths[iron] / 1e6:.0f}"  # type: ignore[index]


@pytest.mark.parametrize(("mm", "holds"), [(4.9, False), (5.0, True), (6.35, True), (8.0, True), (8.1, False)])
def test_a_sensors_stud_wants_five_to_eight_millimetres(mm: float, holds: bool) -> None:
    """Common practice, no source."""
    assert stud_ruling(full_thread=mm / 1000).holds is holds


@pytest.mark.parametrize("check", checks("fastener_checks.csv", "TQ", "TM"), ids=check_id)
def test_preload_and_torque_agree_with_the_worked_rows(check: Check) -> None:
    inch = "d_in" in check.given
    force = preload(
        proof_strength=check.given["proof_psi"] * PSI if inch else check.given["proof_mpa"] * 1e6,
        stress_area=check.given["As_in2"] * INCH**2 if inch else check.given["As_mm2"] * 1e-6,
        share=check.given["fraction"],
    )
    diameter = check.given["d_in"] * INCH if inch else check.given["d_mm"] / 1000
    torque = tightening_torque(nut_factor=check.given["K"], preload=force, diameter=diameter)
    found = {
        "preload_lbf": force / POUND,
        "preload_n": force,
        "torque_lbf_in": torque / (POUND * INCH),
        "torque_n_m": torque,
    }[check.quantity]
    assert found == pytest.approx(check.value, rel=check.tolerance)


@pytest.mark.parametrize("check", checks("fastener_checks.csv", "TC"), ids=check_id)
def test_dry_torque_lies_near_the_charts(check: Check) -> None:
    """Public chart, friction not stated; its rows ask for agreement within 20 %."""
    pitches = {"M3": 0.5, "M4": 0.7, "M5": 0.8, "M6": 1, "M8": 1.25, "M10": 1.5, "M12": 1.75, "M16": 2, "M18": 2.5, "M20": 2.5}
    diameter = float(check.given["thread"][1:]) / 1000
    made = tightening(
        strength=screw_strength(check.given["property_class"], diameter=diameter),
        friction=nut_factor("dry"),
        diameter=diameter,
        stress_area=stress_area_metric(major_diameter=diameter, pitch=pitches[check.given["thread"]] / 1000),
    )
    assert made.torque == pytest.approx(check.value, rel=check.tolerance)


@given(size=sizes, grade=st.sampled_from(["8.8", "10.9"]), surface=st.sampled_from(["dry", "oiled"]))
def test_the_scatter_holds_the_preload_that_was_meant_and_oil_narrows_it(size: tuple[str, str], grade: str, surface: str) -> None:
    drill = tap_drill(parse_thread(size[0]))
    strength = screw_strength(grade, diameter=drill.major_diameter)
    made = {
        friction: tightening(
            strength=strength, friction=nut_factor(friction), diameter=drill.major_diameter, stress_area=drill.stress_area
        )
        for friction in ("dry", "oiled")
    }
    one = made[surface]
    assert one.least_preload < one.preload < one.most_preload
    assert made["oiled"].torque < made["dry"].torque
    assert made["oiled"].most_preload < made["dry"].most_preload
    assert made["oiled"].rulings[0].holds and not made["dry"].rulings[0].holds


def test_the_torque_named_as_cure_keeps_the_driest_luckiest_screw_below_its_proof_load() -> None:
    strength = screw_strength("8.8", diameter=8e-3)
    dry = nut_factor("dry")
    (ruling,) = tightening(strength=strength, friction=dry, diameter=8e-3, stress_area=36.6e-6).rulings
    named = float(ruling.cure.split("tighten to ")[1].split(" N m")[0])
    force = preload_from_torque(torque=named, nut_factor=dry.least, diameter=8e-3)
    assert share_of_proof(preload=force, proof_strength=strength.proof, stress_area=36.6e-6) == pytest.approx(1.0, rel=5e-3)


def test_a_torque_shows_its_working_and_the_spread_of_its_friction() -> None:
    torque = work(
        "torque of the bracket's bolts",
        tightening_torque,
        nut_factor=Given("nut factor, dry", 0.20, "-", Origin.ASSUMED, spread=0.06),
        preload=Given("preload", 8743.5, "N", Origin.CALCULATED),
        diameter=Given("M6", 6e-3, "m", Origin.NAMEPLATE),
    )
    assert (torque.value, torque.spread, torque.recalculate()) == pytest.approx((10.4922, 0.3 * 10.4922, 10.4922))


def test_a_stud_at_a_bolts_torque_is_told_its_sheet() -> None:
    """Trade rule (from memory): 1/4-28 studs take 2.7 to 6.8 N m; the bolt formula gives 13 N m."""
    bolt = tightening_torque(nut_factor=0.2, preload=0.75 * 586e6 * 23.48e-6, diameter=6.35e-3)
    assert bolt == pytest.approx(13.0, abs=0.5)
    ruling = stud_torque_ruling(torque=bolt, sheet_least=2.7, sheet_most=6.8)
    assert not ruling.holds and "2.7 to 6.8 N m" in ruling.cure
    assert stud_torque_ruling(torque=5.0, sheet_least=2.7, sheet_most=6.8).holds


def test_proof_strengths_of_inch_grades_are_their_round_figures_in_ksi() -> None:
    """SAE J429 (from memory): proof 55, 85, 120 and tensile 74, 120, 150 ksi."""
    for grade, proof, tensile in (("SAE 2", 55, 74), ("SAE 5", 85, 120), ("SAE 8", 120, 150)):
        strength = screw_strength(grade, diameter=12.7e-3)
        assert (strength.proof / PSI / 1000, strength.tensile / PSI / 1000) == pytest.approx((proof, tensile), abs=0.1)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: screw_strength("12.8", diameter=8e-3), "8.8, 10.9"),
        (lambda: screw_strength("SAE 5", diameter=30e-3), "at most 0.0254 m"),
        (lambda: nut_factor("rusty"), "dry, oiled"),
        (lambda: tapped_strength("cheese"), "grey iron, nodular iron, unknown iron"),
        (lambda: preload(proof_strength=580e6, stress_area=2e-5, share=1.2), "above 0, at most 1"),
        (lambda: stud_torque_ruling(torque=3.0, sheet_least=6.8, sheet_most=2.7), "at most 2.7 N m"),
        (lambda: pitch_diameter(major_diameter=6e-3, pitch=5e-3), "below two thirds of the diameter"),
        (lambda: limits_metric(major_diameter=0.2, pitch=3e-3), "at most 0.18 m"),
        (
            lambda: external_shear_area(engagement=0.01, pitch=1e-3, screw_least_pitch=4e-3, hole_most_minor=5.2e-3),
            "these two threads do not reach each other",
        ),
    ],
)
def test_what_cannot_be_is_refused_with_what_can(call: object, says: str) -> None:
    assert callable(call)
    with pytest.raises(OutOfRange, match=says):
        call()


@given(engaged=st.floats(1e-3, 0.05))
def test_shear_areas_grow_with_the_length_engaged(engaged: float) -> None:
    limits = limits_metric(major_diameter=8e-3, pitch=1.25e-3)

    def area(length: float) -> float:
        return internal_shear_area(
            engagement=length, pitch=1.25e-3, screw_least_major=limits.screw_least_major, hole_most_pitch=limits.hole_most_pitch
        )

    assert math.isclose(area(2 * engaged), 2 * area(engaged))
