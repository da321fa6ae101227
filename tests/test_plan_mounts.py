"""How a plan places and holds its parts: walls, holes, bonds, bandwidth, orientation, sump sensor, brackets.

Check values: tests/reference (published rows), trade rules by hand (trade.md, section 4: common practice, no source).
"""

import copy
import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from ruamel.yaml import YAML

from gearcase.drawings.plan_blocks import plan_blocks
from gearcase.drawings.text import plan_text
from gearcase.errors import BadInput
from gearcase.install.fittings import Bracket, Enclosure, Light, Probe
from gearcase.install.housing import Face, Hole, KeepOut, Port, Region, Seat, ThreadedHole, Wall
from gearcase.install.orientation import GRAVITY, OUTWARD, TOWARDS_OUTPUT, angle_between, rotation, turns, unseen_by_gravity
from gearcase.job.build import Job, load
from gearcase.stages import plan
from gearcase.stages.planning.card import NOT_YET
from gearcase.units import Range
from gearcase.worked import Origin
from test_stages import EXAMPLES

READINGS = (22.6e-3, 22.4e-3, 22.5e-3)
SIDE = Port("side", "side", "left", (0.06, 0.12), 25.4e-3 / 14, math.radians(60), 21.2e-3, 0.05, 0.08, 0.13, tapered=True)
PROBE = Probe("side", "NPT 1/2", 0.09, 0.006)


@pytest.fixture(scope="module")
def demo() -> Job:
    return load(EXAMPLES / "demo")


def with_stud(job: Job, **changed: Any) -> Job:
    return replace(job, points=(replace(job.points[0], **changed), *job.points[1:]))


def with_kit(job: Job, **changed: Any) -> Job:
    return replace(job, kit=replace(job.kit, **changed))


def with_port(job: Job, port: Port, probe: Probe = PROBE) -> Job:
    return with_kit(replace(job, housing=replace(job.housing, ports=(port,))), probe=probe)


def with_bracket(job: Job, **changed: Any) -> Job:
    return with_kit(job, brackets=(replace(job.kit.brackets[0], **changed), *job.kit.brackets[1:]))


def says(job: Job, rule: str, level: str = "") -> str:
    """All that findings of one rule say, the whole plan having been drawn and written too."""
    document = plan.run(job).document
    assert list(plan_blocks(document)) and plan_text(document)
    return "; ".join(row["says"] for row in document["findings"] if row["rule"] == f"plan.{rule}" and level in ("", row["level"]))


# --- walls -------------------------------------------------------------------------------------------------------------------


def test_a_gauge_set_for_steel_reads_grey_iron_too_thick_and_the_hole_counts_on_what_is_left(demo: Job) -> None:
    """By hand: 22.4 mm x 4500 / 5920 less 0.3 mm is 16.73 mm; the hole needs 21.0 mm (test_plan)."""
    wall = Wall(22.4e-3, 0.3e-3, Origin.MEASURED, READINGS, 5920.0, (20e-3, 20e-3 * 5920 / 4500))
    document = plan.run(with_stud(demo, wall=wall)).document
    assert document["parts"][0]["hole"]["wall"]["least"]["value"] == pytest.approx(22.4e-3 * 4500 / 5920 - 0.3e-3)
    assert "a way to the oil" in says(with_stud(demo, wall=wall), "metal_left", "blocker")
    assert document["parts"][0]["mount"] == "rigid adhesive"


def test_an_iron_whose_velocity_nobody_knows_is_not_drilled_however_thick_it_reads(demo: Job) -> None:
    """Trade: grey iron 3500 to 5000 m/s, 1.43 apart, more than the 1.1 let pass."""
    wall = Wall(60e-3, 0.3e-3, Origin.MEASURED, (60e-3,) * 3, 5920.0)
    job = with_stud(demo, wall=wall)
    assert "1.43, at most 1.1 is wanted" in says(job, "gauging") and "velocity from it" in says(job, "gauging")
    assert plan.run(job).document["parts"][0]["mount"] == "rigid adhesive"


@pytest.mark.parametrize(("material", "slowest"), [("grey iron", 3500), ("", 3500), ("ductile iron", 5200)])
def test_a_measured_thickness_without_readings_counts_in_iron_as_read_by_a_gauge_set_for_steel(
    demo: Job, material: str, slowest: float
) -> None:
    """By hand: 22.5 mm x 3500 / 5920 - 0.3 mm is 13.0 mm; the stack of 12.6 mm (test_plan) leaves 0.4 of it. Trade: grey iron 3500
    to 5000 m/s; ductile from 5200 (handbook range): 19.5 mm, of which 6.9 are left and 0.4 of it, 7.8, must stay.
    """
    bare = with_stud(demo, wall=Wall(22.5e-3, 0.3e-3, Origin.MEASURED))
    bare = replace(bare, housing=replace(bare.housing, material=material))
    hole = plan.run(bare).document["parts"][0]["hole"]
    assert hole["wall"]["least"]["value"] == pytest.approx(22.5e-3 * slowest / 5920 - 0.3e-3)
    left = 22.5 * slowest / 5920 - 0.3 - 1 - 9.97856 - 1.625328
    assert f"{left:.1f} mm of metal would be left of a wall of" in says(bare, "metal_left", "blocker")
    assert "give the readings, velocity_set" in says(bare, "gauging", "caution")
    assert not any("Drill" in step["do"] for step in plan.run(bare).document["work_card"])


@pytest.mark.parametrize("order", [1, -1])
@pytest.mark.parametrize(
    ("at", "size", "least"), [((0.350, 0.330), (0.060, 0.060), 7.8e-3), ((0.330, 0.330), (0.060, 0.060), 22.1e-3)]
)
def test_of_regions_that_overlap_the_thinner_counts_and_of_one_inside_another_the_inner(
    demo: Job, order: int, at: tuple[float, float], size: tuple[float, float], least: float
) -> None:
    """In whichever order they are listed. The boss reaches from 307.5 to 352.5 mm; the second lies round it, the first beside."""
    thin = Wall(8e-3, 0.2e-3, Origin.MEASURED, (8e-3,) * 3, 4500.0, (20e-3, 20e-3))
    face = next(face for face in demo.housing.faces if face.name == "coupling side")
    both = (*face.regions, Region("thin spot", "panel", at, size, thin))[::order]
    faces = tuple(replace(face, regions=both) if one is face else one for one in demo.housing.faces)
    job = replace(demo, housing=replace(demo.housing, faces=faces))
    hole = plan.run(job).document["parts"][0]["hole"]
    assert hole["wall"]["least"]["value"] == pytest.approx(least)
    bracket = Bracket("new one", "coupling side", (), ((0.335, 0.315),), "M8", "", 8e-3, None)
    (said,) = [one for one in plan.run(with_kit(job, brackets=(bracket,))).document["brackets"] if one["name"] == "new one"]
    metal = next(one for one in said["rulings"] if one["what"] == "metal left before the oil")
    assert metal["value"] == pytest.approx(least - 8e-3 - 4 * 1.25e-3 - 3.4e-3 / math.tan(math.radians(59)))


def test_a_gauge_error_that_nobody_gave_is_said_to_count_as_none(demo: Job) -> None:
    wall = replace(demo.points[0].wall, gauge_error=0.0)  # type: ignore[type-var]
    assert "counts as 0" in says(with_stud(demo, wall=wall), "gauge_error", "caution")
    assert says(demo, "gauge_error") == ""


def test_two_readings_are_not_three(demo: Job) -> None:
    wall = replace(demo.points[0].wall, readings=READINGS[:2])  # type: ignore[type-var]
    assert "readings at the spot is 2, at least 3" in says(with_stud(demo, wall=wall), "gauging")


def test_a_readings_wall_of_the_job_is_the_one_the_plan_counts_on(demo: Job) -> None:
    """22.4 mm with the gauge set on a 20 mm edge that it read as 20 mm: nothing to correct."""
    worked = plan.run(demo).document["parts"][0]["hole"]["metal_left"]["inputs"]["wall"]
    assert worked["value"] == pytest.approx(22.1e-3) and worked["inputs"]["velocity"]["value"] == pytest.approx(4500)


# --- holes -------------------------------------------------------------------------------------------------------------------


def test_drills_kind_to_the_tap_are_offered_and_the_usual_one_is_named(demo: Job) -> None:
    """Row TP01 of fastener_checks.csv: #3 leaves 79.75 % in 1/4-28; trade: 60 to 75 % in iron."""
    hole = plan.run(demo).document["parts"][0]["hole"]
    assert "leaves 80 % of thread" in says(demo, "percent_thread") and "7/32 in" in says(demo, "percent_thread")
    assert [one["drill"] for one in hole["drills"] if one["wanted"]] == ["7/32 in", "5.6 mm", "#2"]


def test_a_hole_too_near_another_or_the_edge_says_how_far_to_move(demo: Job) -> None:
    """Trade: edge 1.5 d, holes 3 d of the larger apart: 3 x 12 mm to M12, 10 mm given."""
    face = next(face for face in demo.housing.faces if face.name == "coupling side")
    near = replace(face, threaded_holes=(ThreadedHole("old", (0.34, 0.33), 0.012, "M12", "free"),))
    job = replace(demo, housing=replace(demo.housing, faces=(near,)), points=demo.points[:1])
    assert "10 mm, at least 36 mm is wanted: move them 26.0 mm further apart" in says(job, "hole_place")
    edge = with_stud(replace(demo, points=demo.points[:1]), at=(0.33, 0.426))
    assert "4 mm, at least 9.52 mm is wanted: move it 5.5 mm" in says(edge, "hole_place")


def test_an_impossible_thread_is_a_blocker_with_the_threads_there_are(demo: Job) -> None:
    assert "no tap drill for 9/16-99" in says(with_stud(demo, hole=Hole("9/16-99", 6e-3, 0.0, "plug")), "thread", "blocker")


def test_the_studs_torque_comes_from_its_sheet_alone(demo: Job) -> None:
    """From 2.7 to 6.8 N m the middle is 4.75; the bolt formula would give 13 (trade.md, section 2)."""
    card = plan.run(demo).document["work_card"]
    step = next(step for step in card if step["do"].startswith("Fit the stud"))
    assert (step["value"], step["tolerance"]) == ("4.75 N m", "2.7 to 6.8 N m")
    unsaid = with_stud(demo, sensor=replace(demo.points[0].sensor, torque_least=None))
    assert "never from the bolt formula" in says(unsaid, "stud_torque")
    turned = with_stud(demo, sensor=replace(demo.points[0].sensor, torque_least=9.0))
    assert "sheet_least is 9.0" in says(turned, "stud_torque")


# --- bonds and bandwidth -------------------------------------------------------------------------------------------------------


def test_a_bond_loses_bandwidth_by_the_heat_and_says_what_drilling_turned_into(demo: Job) -> None:
    """Trade: pad 4000 Hz cold, 1750 hot at 80 °C: at 65 °C 6500 x (1750/4000)^(42/57) = 3535 Hz."""
    job = with_stud(demo, wall=None)
    band = plan.run(job).document["parts"][0]["band"]
    assert band["true_hz"] == pytest.approx(6500 * (1750 / 4000) ** (42 / 57))
    assert band["detectable_hz"] == pytest.approx(2 * band["true_hz"])  # trade: detectable to twice that
    assert "3535 Hz instead of 8500 Hz at 65 °C; no baseline for 34 h" in says(job, "bonded")
    cold = replace(job, housing=replace(job.housing, surface_temperature=293.15))
    assert plan.run(cold).document["parts"][0]["band"]["true_hz"] == 6500


def test_a_bond_that_would_break_is_a_blocker_and_one_that_lacks_margin_a_caution(demo: Job) -> None:
    """By hand at 65 °C: half of 17 MPa is left at 85, so 17 x 0.5^(42/62) = 10.63 MPa; 50 N at 40 mm on a pad of 30, 24, 12 mm pull
    32 F h / (pi d^3) = 0.75, 1.47 and 11.8 MPa: under a tenth, over a tenth, over all of it.
    """
    for base, level in ((30e-3, ""), (24e-3, "caution"), (12e-3, "blocker")):
        point = replace(demo.points[1], sensor=replace(demo.points[1].sensor, base=base))
        job = replace(demo, points=(demo.points[0], point, demo.points[2]))
        rows = [row["level"] for row in plan.run(job).document["findings"] if row["rule"] == "plan.peel"]
        assert rows == ([level] if level else [])


def test_an_adhesive_bears_the_hottest_air_where_the_metal_is_said_to_be_cooler(demo: Job) -> None:
    place = replace(demo.conditions, ambient=Range(303.15, 363.15))
    job = replace(demo, conditions=place, housing=replace(demo.housing, surface_temperature=298.15))
    assert says(job, "hot_bond", "blocker") == ""  # 90 °C, the methacrylate bears 100
    job = replace(job, conditions=replace(place, ambient=Range(303.15, 378.15)))
    assert "is 105 °C, at most 100 °C" in says(job, "hot_bond", "blocker")


def test_a_flat_magnet_on_a_painted_housing_stands_on_bare_metal(demo: Job) -> None:
    """tables/mounts.csv: bare metal 2000 Hz, paint 1100 Hz."""
    assert "true to 1100 Hz, not to 2000" in says(demo, "painted", "note")
    scraped = [
        step["do"] for step in plan.run(demo).document["work_card"] if step["do"].startswith("Scrape the spot to bare metal")
    ]
    assert len(scraped) == 1
    plain = replace(demo, conditions=replace(demo.conditions, painted=False))
    assert says(plain, "painted") == ""
    assert not any("Scrape" in step["do"] for step in plan.run(plain).document["work_card"])


@pytest.mark.parametrize(("mount", "why"), [("tape", "lets go in heat and oil"), ("hand probe", "nobody holds it for good")])
def test_a_mount_for_a_trial_is_not_one_that_stays(demo: Job, mount: str, why: str) -> None:
    """Common practice, no source."""
    job = replace(demo, points=(*demo.points[:2], replace(demo.points[2], mount=mount)))
    assert why in says(job, "trial_mount", "caution") and says(demo, "trial_mount") == ""


def test_paint_is_tested_for_lead_before_it_is_drilled_or_scraped_as_well(demo: Job) -> None:
    for point in (demo.points[0], demo.points[2]):  # a stud, a flat magnet: nothing is bonded
        said = plan.run(replace(demo, points=(point,))).document["cautions"]["list"]
        lead = [one for one in said if one["id"] == "lead"]
        assert len(lead) == 1


def test_the_schedule_stretches_with_cold_metal(demo: Job) -> None:
    """Rows of bonding.csv: doubling for each 10 K below 23 °C; no load until four fixture times (common practice)."""
    times = plan.run(with_kit(demo, metal_temperature=286.15)).document["parts"][1]["bond"]["schedule_s"]
    assert times["full"] == pytest.approx(48 * 3600) and times["no_load_until"] == pytest.approx(4 * times["fixture"])
    assert times["fixture"] == pytest.approx(2 * 40 * 60)


def test_a_sheets_own_values_win_over_the_generic_ones(tmp_path: Path) -> None:
    text = (EXAMPLES / "demo" / "job.yaml").read_text(encoding="utf-8")
    sheet = "{kind: two-part methacrylate, hottest: 60 °C, full_cure: 12 h, shear_strength: 3 MPa}"
    (tmp_path / "job.yaml").write_text(text.replace("{kind: two-part methacrylate}", sheet), encoding="utf-8")
    job = load(tmp_path)
    assert "65 °C, at most 60 °C" in says(job, "hot_bond", "blocker")
    assert plan.run(job).document["parts"][1]["bond"]["schedule_s"]["full"] == pytest.approx(12 * 3600 * 2**0.5)
    assert "pull at the edge" in says(job, "peel")  # 3 MPa x 0.625 left hot / 10 is 0.19, 50 N at 40 mm make 0.75 MPa


@pytest.mark.parametrize(
    ("sheet", "key", "accepted"),
    [("half_at: 20 °C", "half_at", "above 23 °C"), ("coldest: 80 °C, hottest: 60 °C", "coldest", "less than the hottest")],
)
def test_an_adhesive_that_cannot_be_is_refused_with_its_line(tmp_path: Path, sheet: str, key: str, accepted: str) -> None:
    text = (EXAMPLES / "demo" / "job.yaml").read_text(encoding="utf-8")
    changed = text.replace("{kind: two-part methacrylate}", f"{{kind: two-part methacrylate, {sheet}}}")
    (tmp_path / "job.yaml").write_text(changed, encoding="utf-8")
    with pytest.raises(BadInput, match=f"kit.adhesive.{key} .*{accepted}"):
        load(tmp_path)


def test_damp_air_thick_lines_and_light_panels_are_named(demo: Job) -> None:
    assert "over the air's dew point" in says(with_kit(demo, air_temperature=295.15, humidity=0.9), "dew_point")
    thick = replace(demo, points=(demo.points[0], replace(demo.points[1], bond_line=1e-3)))
    assert "bond line is 1 mm" in says(thick, "bond_line")
    assert "0.2, at most 0.1" in says(with_stud(demo, dynamic_mass=0.4), "mass")  # 80 g on 400 g


def test_a_known_stack_lowers_the_band_and_names_its_weakest_part(demo: Job) -> None:
    """0.30 of 15 kHz is 4.5 kHz at most (rows MR12 and Dunkerley), below the 8.5 kHz of the table."""
    job = with_stud(demo, sensor=replace(demo.points[0].sensor, resonance_hz=15e3))
    band = plan.run(job).document["parts"][0]["band"]
    assert 4000 < band["true_hz"] < 4523 and band["by"].startswith("sensor, stack resonance")


def worked_back(one: dict[str, Any]) -> list[str]:
    """The names of all that a working rests on."""
    return [one["name"], *(name for part in one.get("inputs", {}).values() for name in worked_back(part))]


def test_the_stack_is_shown_with_its_working_and_counts_pad_and_magnet(demo: Job) -> None:
    """By hand. Pad of steel, 30 mm by 8 mm: 44.4 g; with 80 g 124.4 g on 3.14 / 4 x 30^2 mm2 of 0.2 mm at 1 GPa, 3.53e9 N/m:
    26.8 kHz; with a sensor of 25 kHz 1 / f^2 = 1 / 26.8^2 + 1 / 25^2, 18.3 kHz. Magnet: the table has it true to 2 kHz at 0.3015 of
    its resonance with 115 g, so 6.63 kHz there; 80 g and 50 g lower it by the root of 115 / 130 to 6.24 kHz; with 25 kHz 6.05 kHz.
    """
    given = replace(demo.points[1].sensor, resonance_hz=25e3, mass=0.08)
    bonded, magnet = (replace(one, sensor=given) for one in demo.points[1:])
    job = with_kit(replace(demo, points=(replace(bonded, mount="adhesive pad"), magnet)), modulus=1e9)
    pad, held = (part["stack"] for part in plan.run(job).document["parts"])
    assert pad["value"] == pytest.approx(18.3e3, rel=2e-3) and held["value"] == pytest.approx(6.05e3, rel=2e-3)
    assert "mass of the pad at intermediate left" in worked_back(pad) and "mass of the magnet" in worked_back(held)
    assert any("stacks' resonance" in block.text and len(block.items) >= 2 for block in plan_blocks(plan.run(job).document))
    bare = plan.run(replace(job, points=(bonded,))).document["parts"][0]["stack"]
    assert bare["value"] > pad["value"] and "no pad" in worked_back(bare)
    assert plan.run(demo).document["parts"][0]["stack"] is None  # its sheet's resonance is not given


def test_a_pad_or_magnet_counts_into_the_mass_on_a_light_spot(demo: Job) -> None:
    """60 g of sensor and 50 g of magnet on 1 kg are 0.11."""
    light = replace(demo.points[2], dynamic_mass=1.0)
    assert "0.11, at most 0.1" in says(replace(demo, points=(light,)), "mass")


# --- places --------------------------------------------------------------------------------------------------------------------


def test_two_sensors_on_one_spot_block_with_the_distance(demo: Job) -> None:
    job = replace(demo, points=(demo.points[0], demo.points[1], replace(demo.points[2], at=(0.31, 0.33))))
    assert "overlaps that of intermediate left: 10 mm apart, 30 mm needed: move it 20 mm" in says(job, "overlap", "blocker")


def test_every_rejected_pad_says_why_and_the_trial_sheet_says_what_to_compare(demo: Job) -> None:
    rows = plan.run(demo).document["positions"]
    assert len(rows) == 3 and all(one["reasons"] for row in rows for one in row["rejected"])
    middle = next(row for row in rows if row["point"] == "intermediate left")
    assert middle["try"][0]["pad"] == "over the intermediate cap"
    compared = {line["name"]: line["hz"] for line in middle["compare"]}
    mesh = next(hz for name, hz in compared.items() if name.startswith("high-speed mesh"))
    assert mesh == pytest.approx(17 * 1485 / 60, rel=1e-6)  # teeth x speed


def test_the_advisor_counts_on_the_corrected_wall(demo: Job) -> None:
    face = demo.housing.faces[1]
    region = replace(face.regions[0], wall=replace(demo.points[0].wall, sample=None))  # type: ignore[type-var]
    housing = replace(demo.housing, faces=(demo.housing.faces[0], replace(face, regions=(region,))))
    row = plan.run(replace(demo, housing=housing)).document["positions"][0]
    assert not row["ranked"][0]["stud"] and any("only assumed" in reason for reason in row["ranked"][0]["reasons"])


# --- orientation -----------------------------------------------------------------------------------------------------------------


def test_orientation_gives_gravity_for_each_axis_and_the_turns_it_cannot_show(demo: Job) -> None:
    """On the left face with the mark at 3 o'clock the mark looks to the input end, so x looks down: -1 g."""
    rows = {row["point"]: row for row in plan.run(demo).document["orientation"]}
    assert rows["intermediate left"]["gravity_m_s2"] == pytest.approx([-GRAVITY, 0, 0], abs=1e-3)
    assert rows["intermediate left"]["axes"] == {"x": "down", "y": "towards the input end", "z": "left"}
    assert rows["intermediate left"]["tap_axis"] == "-y" and "edge beside it" in rows["intermediate left"]["tap"]
    assert rows["input coupling end"]["tap"] == "towards the output end, on the bare face beside it"
    for row in rows.values():
        turned = np.array(row["rotation"])
        assert np.linalg.det(turned) == pytest.approx(1) and turned @ turned.T == pytest.approx(np.eye(3), abs=1e-6)
        assert len(row["gravity_alone_cannot_show"]) == 3  # four quarter turns about the vertical, the planned one among them
        assert all("on the side that looks to" in one for one in row["gravity_alone_cannot_show"])
    assert "output left" not in rows and "where its mark points" in says(demo, "orientation")


def test_a_tap_at_the_output_end_is_never_on_its_own_face(demo: Job) -> None:
    """A blow on that face goes towards the input end: z, which stands out of it, would show the other sign."""
    faces = tuple(replace(face, outward="output end") if face.name == demo.points[0].face else face for face in demo.housing.faces)
    document = plan.run(replace(demo, housing=replace(demo.housing, faces=faces))).document
    row = next(row for row in document["orientation"] if row["point"] == demo.points[0].name)
    assert row["tap_axis"] == "+z" and "not" not in row["tap"].split(";")[0] and "the other sign" in row["tap"]
    told = " ".join(item for block in plan_blocks(document) for item in (block.text, *block.items))
    assert row["tap"] in told and "12 o'clock up, 3 o'clock left, seen from the input end" in told


@pytest.mark.parametrize(("outward", "at_rest"), [("up", 1.0), ("down", -1.0)])
def test_on_top_and_below_the_clock_is_said_and_every_hour_of_the_mark_looks_alike(outward: str, at_rest: float, demo: Job) -> None:
    """Twelve o'clock is towards the output end there; z carries all of gravity, whatever the mark does."""
    face = Face("cover", (0.6, 0.5), outward=outward)
    point = replace(demo.points[1], face="cover", at=(0.3, 0.25), clock=3.0)
    job = replace(demo, housing=replace(demo.housing, faces=(*demo.housing.faces, face)), points=(point,))
    document = plan.run(job).document
    (row,) = document["orientation"]
    assert row["gravity_m_s2"] == pytest.approx([0, 0, at_rest * GRAVITY], abs=1e-3)
    assert "3 o'clock seen from outside, 12 being towards the output end" in row["looks"]
    assert [one.split(" (")[0] for one in row["gravity_alone_cannot_show"]] == [f"mark at {n} o'clock" for n in (6, 9, 12)]
    (step,) = [one for one in document["work_card"] if "The mark must stand at" in one["do"]]
    assert "12 being towards the output end" in step["do"] and "at every hour of the mark" in step["do"]


@pytest.mark.parametrize("outward", OUTWARD)
@pytest.mark.parametrize("clock", [12.0, 3.0, 7.5])
def test_what_gravity_hides_shows_the_same_at_rest_and_another_tap(outward: str, clock: float) -> None:
    """A turn about the vertical keeps the vertical and moves every level direction; the named axes are that turn's."""
    planned = rotation(outward, clock)
    hidden = unseen_by_gravity(outward, clock, within=0.09)
    assert len(hidden) == 3
    for one in hidden:
        stands = rotation(one.outward, one.clock)
        assert stands @ [0, 1, 0] == pytest.approx(planned @ [0, 1, 0], abs=1e-9)
        assert angle_between(stands @ np.array(TOWARDS_OUTPUT), planned @ np.array(TOWARDS_OUTPUT)) > 1.5
        by_quarters = [turn for turn in turns() if np.allclose(np.array(turn.matrix) @ planned, stands)]
        assert one.says == (by_quarters[0].says if by_quarters else "")


# --- sump ------------------------------------------------------------------------------------------------------------------------


def test_a_sensor_too_cool_for_the_surface_and_a_magnet_on_aluminium_block(demo: Job) -> None:
    """The demo's housing runs at 65 °C. Aluminium is not magnetic."""
    magnet = demo.points[2]
    for hottest, blocked in ((333.15, True), (343.15, False)):
        job = replace(demo, points=(replace(magnet, sensor=replace(magnet.sensor, hottest=hottest)),))
        assert bool(says(job, "sensor_heat", "blocker")) is blocked
    assert "65 °C, at most 60 °C" in says(
        replace(demo, points=(replace(magnet, sensor=replace(magnet.sensor, hottest=333.15)),)), "sensor_heat"
    )
    assert "no magnet holds on aluminium" in says(
        replace(demo, housing=replace(demo.housing, material="aluminium")), "magnet", "blocker"
    )
    assert not says(demo, "magnet") and not says(demo, "sensor_heat")


def test_one_axis_on_the_face_its_shaft_stands_out_of_shows_no_radial_vibration(demo: Job) -> None:
    for point in demo.points:
        one = replace(point, sensor=replace(point.sensor, axes=1))
        assert "it shows axial vibration, not radial" in says(replace(demo, points=(one,)), "axis", "caution")
        assert not says(replace(demo, points=(replace(one, direction="axial"),)), "axis")
    top = replace(demo.housing.faces[0], name="top", outward="up", seats=())
    off = replace(demo.points[1], face="top", sensor=replace(demo.points[1].sensor, axes=1))
    assert not says(replace(demo, points=(off,), housing=replace(demo.housing, faces=(top,))), "axis")
    assert not says(demo, "axis")


@pytest.mark.parametrize(
    ("changed", "rule", "level", "words"),
    [
        ({"to_wheel": None}, "tip_clearance", "blocker", "nobody knows how far the wheel is"),
        ({"to_wheel": 0.11}, "tip_clearance", "blocker", "20 mm, at least 25 mm is wanted: a probe of 85 mm or less"),
        ({"angle": None, "tapered": None}, "port_thread", "blocker", "form gauge"),
        ({"pitch": 3.3e-3}, "port_thread", "blocker", "no thread of the tables"),
        ({"pitch": None, "angle": None, "major_diameter": None}, "port_thread", "blocker", "is not gauged"),
        ({"major_diameter": -1.0}, "port_thread", "blocker", "above 0"),
        ({"angle": math.radians(55)}, "probe_thread", "blocker", "starts, then leaks; order the probe with R 1/2"),
        ({"below_minimum": None}, "immersion", "caution", "nothing says that it reads oil"),
        ({"above_floor": 0.01}, "floor", "caution", "10 mm, at least 25 mm is wanted"),
        ({"kind": "drain"}, "drain", "caution", "an oil change"),
    ],
)
def test_a_port_that_will_not_do_says_why(changed: dict[str, Any], rule: str, level: str, words: str, demo: Job) -> None:
    job = with_port(demo, replace(SIDE, **changed))
    assert words in says(job, rule, level)
    if level == "blocker":
        assert [step["do"] for step in plan.run(job).document["work_card"] if step["where"] == "sump sensor"] == [NOT_YET]


def test_a_probe_too_short_for_its_tip_says_by_how_much(demo: Job) -> None:
    """Trade: 25 mm and ten tip diameters, 85 mm for 6 mm."""
    short = with_port(demo, SIDE, replace(PROBE, length=0.06))
    assert "60 mm, at least 85 mm is wanted: a probe 25 mm longer" in says(short, "immersion")
    odd = with_port(demo, SIDE, replace(PROBE, thread="NPT 7/9"))
    assert "no pipe thread NPT 7/9" in says(odd, "probe_thread", "blocker")
    assert "which port" in says(with_port(demo, SIDE, Probe()), "port")


def test_metal_at_or_under_the_dew_point_is_never_bonded(demo: Job) -> None:
    """trade.md: 3 K over the dew point; air of 30 °C at 99 % has its dew point at 29.8 °C (Alduchov and Eskridge 1996)."""
    wet = with_kit(demo, metal_temperature=298.15, air_temperature=303.15, humidity=0.99)
    assert "is 25 °C, at least 32.8 °C is wanted" in says(wet, "dew_point", "blocker")
    near = with_kit(demo, metal_temperature=304.15, air_temperature=303.15, humidity=0.99)
    assert "is 31 °C" in says(near, "dew_point", "caution")


def test_an_adhesive_that_the_winter_breaks_is_named(demo: Job) -> None:
    frost = replace(demo.conditions, ambient=Range(218.15, 311.15))
    assert "coldest metal under" in says(replace(demo, conditions=frost), "cold_bond", "blocker")
    assert says(demo, "cold_bond") == ""


def test_a_bond_on_a_hot_spot_is_held_to_the_spots_own_temperature(demo: Job) -> None:
    regions = tuple(replace(region, temperature=423.15) for region in demo.housing.faces[0].regions)
    faces = (replace(demo.housing.faces[0], regions=regions), *demo.housing.faces[1:])
    assert "is 150 °C" in says(replace(demo, housing=replace(demo.housing, faces=faces)), "hot_bond", "blocker")


# --- brackets --------------------------------------------------------------------------------------------------------------------


def test_a_bracket_takes_only_holes_whose_function_is_known_and_free(demo: Job) -> None:
    assert "nobody knows what the hole hole by the glass is for" in says(
        with_bracket(demo, holes=("hole by the glass",)), "bracket_hole", "blocker"
    )
    assert "never disturb it" in says(with_bracket(demo, holes=("eye",)), "bracket_hole", "blocker")
    for function in ("bearing-cap screw", "holds the inspection cover", "oil gallery plug"):
        holes = tuple(
            replace(hole, function=function) if hole.name == "eye" else hole for hole in demo.housing.faces[0].threaded_holes
        )
        faces = (replace(demo.housing.faces[0], threaded_holes=holes), *demo.housing.faces[1:])
        job = with_bracket(replace(demo, housing=replace(demo.housing, faces=faces)), holes=("eye",))
        assert "never disturb it" in says(job, "bracket_hole", "blocker")
    assert "no hole nowhere on face left" in says(with_bracket(demo, holes=("nowhere",)), "bracket_hole", "blocker")
    both = with_bracket(demo, holes=("jig hole 1", "eye"))
    assert "one screw does not fit M12 and M16" in says(both, "bracket_thread", "blocker")


@pytest.mark.parametrize(
    ("at", "wrong"),
    [
        (((0.150, 0.330),), "coupling"),
        (((0.330, 0.335),), "the sensor's base want"),
        (((0.150, 0.392),), "into the seat of input bearing"),
        (((0.400, 0.100), (0.400, 0.100)), "distance between"),
        (((0.003, 0.100),), "edge distance"),
        (((0.311, 0.330),), "its hole stands 3.5 mm from the edge of the boss beside the cap"),  # by hand: 330 - 45/2 = 307.5 mm
    ],
)
def test_a_new_bracket_hole_fouls_nothing(demo: Job, at: tuple[tuple[float, float], ...], wrong: str) -> None:
    job = with_kit(demo, brackets=(Bracket("new one", "coupling side", (), at, "M8", "", 18e-3, None),))
    assert wrong in says(job, "bracket_place", "blocker")
    document = plan.run(job).document
    assert not any(step["where"] == "new one" and "Drill" in step["do"] for step in document["work_card"])


def test_a_studs_hole_and_a_brackets_new_one_know_of_each_other(demo: Job) -> None:
    """3 d of the larger, M8: 24 mm; on one spot neither is drilled."""
    near = Bracket("new one", "coupling side", (), ((0.310, 0.330),), "M8", "", 18e-3, None)
    assert "20 mm, at least 24 mm is wanted" in says(with_kit(demo, brackets=(near,)), "hole_place", "caution")
    on = with_kit(demo, brackets=(replace(near, at=((0.335, 0.330),)),))
    assert "5 mm, at least 24 mm" in says(on, "hole_place", "blocker") and "5 mm, at least" in says(on, "bracket_place", "blocker")


def test_the_brackets_torque_and_engagement_are_the_published_ones(demo: Job) -> None:
    """T = K F d by hand: 0.155 x 0.75 x 450 MPa x 84.3 mm2 x 12 mm; A_s of M12 in threads_metric.csv."""
    row = plan.run(demo).document["brackets"][0]
    assert row["torque"]["value"] == pytest.approx(0.155 * 0.75 * 450e6 * 84.3e-6 * 12e-3, rel=2e-3)
    assert row["preload_n"][0] < row["preload_n"][1] < row["preload_n"][2]
    assert "full thread engaged is 18 mm, at least 22.5 mm" in says(with_bracket(demo, full_thread=0.018), "bracket_engagement")
    assert "not gauged" in says(with_bracket(demo, full_thread=None), "bracket_engagement")
    assert "pull of a knock" in says(with_bracket(demo, mass=900.0), "bracket_load")


@pytest.mark.parametrize(("full", "level"), [(0.018, "blocker"), (0.024, "caution"), (0.0262, "")])
def test_a_thread_that_strips_while_its_screw_is_tightened_is_a_blocker(demo: Job, full: float, level: str) -> None:
    """By hand, M12 of 10.9 oiled: meant 0.75 x 830 MPa x 84.3 mm2 = 52.5 kN, at the least nut factor 0.155 / 0.12 times, 67.8.
    Of the 33.4 mm needed (FED-STD-H28/2) 18, 24 and 26.2 mm bear 47, 63 and 69 kN: their share of 1040 MPa x 84.3 mm2.
    """
    document = plan.run(with_bracket(demo, grade="10.9", full_thread=full)).document
    needed = document["brackets"][0]["engagement"]["value"]
    rows = [one for one in document["findings"] if one["rule"] == "plan.bracket_strips"]
    assert [one["level"] for one in rows] == ([level] if level else [])
    assert all(one["worked"]["value"] == pytest.approx(full / needed * 1040e6 * 84.3e-6, rel=2e-3) for one in rows)
    tightened = any(step["tool"] == "gauge pin, torque wrench" for step in document["work_card"])
    assert tightened == (level != "blocker")


@pytest.mark.parametrize(("grade", "thread", "fits"), [("8.8", "1/2-13", "SAE 2, SAE 5, SAE 8"), ("SAE 5", "M12", "8.8, 10.9")])
def test_a_grade_of_the_other_system_of_threads_is_refused(demo: Job, grade: str, thread: str, fits: str) -> None:
    """ISO 898-1 is of metric screws, SAE J429 of inch ones: no such screw is sold, its torque would be another's."""
    words = says(with_bracket(demo, holes=(), at=((0.1, 0.38),), thread=thread, grade=grade), "bracket_grade", "blocker")
    assert f"one of {fits}" in words


def test_a_new_hole_for_a_bracket_obeys_the_wall_too(demo: Job) -> None:
    new = {"holes": (), "thread": "M8", "full_thread": 0.012}
    assert "no reading, no hole" in says(with_bracket(demo, at=((0.1, 0.38),), **new), "bracket_wall", "blocker")
    assert "a way to the oil" in says(with_bracket(demo, at=((0.3, 0.33),), **new), "metal_left", "blocker")
    assert "no reading" in says(with_bracket(demo, at=((9.0, 9.0),), **new), "bracket_wall", "blocker")
    card = plan.run(with_bracket(demo, at=((0.3, 0.33),), **new)).document["work_card"]
    assert [step["do"] for step in card if step["where"] == "plate on the jig holes"] == [NOT_YET]


def test_a_stud_at_the_edge_of_its_boss_is_blocked_and_not_on_the_card(demo: Job) -> None:
    """By hand: the boss reaches to 330 + 45/2 = 352.5 mm; half of 1/4 in is 3.2 mm, and beyond the boss nothing is gauged."""
    job = with_stud(demo, at=(0.350, 0.330))
    assert "its hole stands 2.5 mm from the edge of the boss beside the cap" in says(job, "region_edge", "blocker")
    assert not any("Drill" in step["do"] for step in plan.run(job).document["work_card"])
    assert "16.5 mm" in says(with_stud(demo, at=(0.340, 0.330)), "flat", "caution")


def test_the_plate_takes_the_enclosure_and_reaches_the_holes_of_the_face(demo: Job) -> None:
    """ISO 273, medium: M6 passes 6.6 mm, M12 13.5 mm. Distances between its holes are those given."""
    (plate,) = plan.run(demo).document["plates"]
    holes = [hole["at_m"] for hole in plate["holes"]]
    assert [hole["diameter_m"] for hole in plate["holes"]] == pytest.approx([6.6e-3] * 4)
    assert max(x for x, _ in holes) - min(x for x, _ in holes) == pytest.approx(0.11)
    assert [slot["width_m"] for slot in plate["slots"]] == pytest.approx([13.5e-3] * 2)
    assert math.dist(*(slot["at_m"] for slot in plate["slots"])) == pytest.approx(0.17)
    for slot in plate["slots"]:
        assert all(0 < place < size for place, size in zip(slot["at_m"], plate["size_m"], strict=True))


def test_enclosure_and_light_in_the_wrong_place_are_named(demo: Job) -> None:
    assert demo.kit.enclosure is not None
    over = with_kit(demo, enclosure=replace(demo.kit.enclosure, at=(0.3, 0.30)))
    assert "covers the split flange (split line)" in says(over, "overlap", "blocker")
    off = with_kit(demo, enclosure=replace(demo.kit.enclosure, at=(0.05, 0.36)))
    assert "it reaches 20 mm beyond face left" in says(off, "enclosure_place", "caution")
    outside = with_kit(demo, enclosure=replace(demo.kit.enclosure, at=(-0.02, 0.36)))
    assert "it reaches 90 mm beyond face left" in says(outside, "enclosure_place", "blocker")
    low = with_kit(demo, light=Light(1.2, 8.0, ""))
    assert "1.8e+03 mm" not in says(low, "light_height") and "height of the light is 1.2 m" in says(low, "light_height")
    assert "8 m, at least 20 m" in says(low, "light_seen") and "which bracket" in says(low, "light")


@pytest.mark.parametrize(
    ("at", "rule", "level", "words"),
    [  # an enclosure of 160 by 120 mm on a bare face of 620 by 430 mm
        ((0.30, 0.30), "overlap", "blocker", "covers the hole eye"),  # it ends at 380 mm, the eye's washer begins at 382.4 - 10
        ((0.30, 0.15), "overlap", "blocker", "covers the seat of output bearing, left by"),
        ((0.20, 0.15), "enclosure_place", "caution", "stands 10 mm from the drive belt's guard (guard); 50 mm is wanted"),
        ((0.20, 0.15), "enclosure_place", "blocker", "stands 20 mm from the pulley (rotating part); 50 mm is wanted"),
        ((0.50, 0.09), "overlap", "blocker", "covers the hole foot by"),
    ],
)
def test_an_enclosure_leaves_room_and_reach_round_it(at: tuple[float, float], rule: str, level: str, words: str, demo: Job) -> None:
    """Distances as of a sensor's base: 50 mm from guards and what turns (trade.md, section 4: common practice, no source)."""
    face = Face(
        "left",
        (0.62, 0.43),
        (
            KeepOut("drive belt's guard", (0.06, 0.15), (0.1, 0.1), "guard"),  # ends at 110 mm, the enclosure begins at 120 mm
            KeepOut("pulley", (0.20, 0.05), (0.04, 0.04), "rotating part"),  # ends at 70 mm, the enclosure begins at 90 mm
        ),
        "left",
        (),
        (Seat("output bearing, left", (0.45, 0.15), 0.17),),
        (ThreadedHole("eye", (0.39, 0.33), 16e-3, "M16", "lifting"), ThreadedHole("foot", (0.5, 0.05), 8e-3, "M8")),
    )
    assert demo.kit.enclosure is not None
    job = replace(demo, housing=replace(demo.housing, faces=(face,), ports=()), points=demo.points[:1])
    job = with_kit(job, enclosure=replace(demo.kit.enclosure, at=at, size=(0.16, 0.12), pattern=None))
    assert words in says(job, rule, level)


def test_a_free_hole_may_be_covered_and_a_clear_place_is_said_nothing_of(demo: Job) -> None:
    assert not says(demo, "enclosure_place") and not says(demo, "overlap")
    assert demo.kit.enclosure is not None
    over = with_kit(demo, enclosure=replace(demo.kit.enclosure, at=(0.14, 0.36)))
    assert "jig hole" not in says(over, "overlap")


# --- what is missing -------------------------------------------------------------------------------------------------------------


def _keys(part: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Every key of a mapping, at any depth, by its path."""
    if isinstance(part, dict):
        return [key for name, value in part.items() for key in ((*path, name), *_keys(value, (*path, name)))]
    if isinstance(part, list):
        return [key for n, value in enumerate(part) for key in _keys(value, (*path, n))]
    return []


def _first_of_its_kind(path: tuple[Any, ...]) -> bool:
    """Whether no other entry of its lists stands for it; the points differ."""
    return all(n == 0 or (n == 1 and path[place - 1] == "points") for place, n in enumerate(path) if isinstance(n, int))


@pytest.mark.parametrize("every", [4, pytest.param(1, marks=pytest.mark.long)])
def test_a_plan_with_any_one_key_missing_is_still_a_plan_or_a_refusal_with_its_line(every: int, tmp_path: Path) -> None:
    """Each key alone in the long suite; every fourth of them, of all parts of the job, in `make check`."""
    yaml = YAML(typ="safe", pure=True)
    whole = yaml.load((EXAMPLES / "demo" / "job.yaml").read_text(encoding="utf-8"))
    planned, refused = 0, []
    for path in [key for key in _keys(whole) if key[0] in ("housing", "kit", "points") and _first_of_its_kind(key)][::every]:
        cut = copy.deepcopy(whole)
        holder = cut
        for name in path[:-1]:
            holder = holder[name]
        del holder[path[-1]]
        (tmp_path / "job.yaml").write_text(json.dumps(cut), encoding="utf-8")  # JSON is YAML
        try:
            job = load(tmp_path)
        except BadInput as error:
            refused.append((path, error.problems))
            continue
        document = plan.run(job).document
        assert list(plan_blocks(document)) and plan_text(document), path
        planned += 1
    assert planned > 60 / every and all(problem.where for _, problems in refused for problem in problems)


def test_a_wall_of_neither_thickness_nor_readings_is_refused_with_its_line(tmp_path: Path) -> None:
    text = (EXAMPLES / "demo" / "job.yaml").read_text(encoding="utf-8")
    bare = text.replace("wall: {readings: [12.2 mm, 12.0 mm, 12.1 mm], ", "wall: {")
    (tmp_path / "job.yaml").write_text(bare, encoding="utf-8")
    with pytest.raises(BadInput, match="its thickness or its readings"):
        load(tmp_path)


def test_a_bare_kit_and_housing_make_a_plan_without_these_parts(demo: Job) -> None:
    bare = with_kit(demo, brackets=(), light=None, enclosure=None, probe=None, adhesive=None, adhesive_cure=None)
    document = plan.run(bare).document
    assert document["sump"] is None and document["brackets"] == [] and document["plates"] == []
    assert "cure time unknown" in says(bare, "cure")
    empty = with_kit(demo, brackets=(Bracket("b", "left"),), light=Light(), enclosure=Enclosure(), probe=Probe("side plug"))
    assert "nobody has said which holes" in says(empty, "bracket_holes")


def test_a_new_bracket_hole_is_drilled_for_the_lead_of_a_plug_tap(demo: Job) -> None:
    """M8, 12 mm of thread, plug tap of 4 threads (ASME B94.9, from memory): 12 + 4 x 1.25 mm, and the point of a 6.8 mm drill
    of 118 degrees, 6.8/2 / tan(59 deg) = 2.04 mm: collar at 19.04 mm, in a wall that leaves enough.
    """
    thick = Wall(40e-3, 0.3e-3, Origin.MEASURED, (40e-3,) * 3, 4500.0, (20e-3, 20e-3))
    face = Face("left", (0.62, 0.43), regions=(Region("boss", "boss", (0.3, 0.2), (0.1, 0.1), thick),))
    bracket = Bracket("plate", "left", at=((0.3, 0.2),), thread="M8", full_thread=0.012)
    job = with_kit(replace(demo, housing=replace(demo.housing, faces=(face,)), points=demo.points[:1]), brackets=(bracket,))
    (step,) = [one for one in plan.run(job).document["work_card"] if one["where"] == "plate" and "Drill" in one["do"]]
    assert step["value"] == "collar at 19.04 mm"
