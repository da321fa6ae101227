"""The plan on jobs with faults a technician would make: each is named, and nothing drills towards the oil."""

import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from itertools import combinations
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gearcase.drawings.beside import plan_files
from gearcase.drawings.face import face_sheet, face_svg
from gearcase.drawings.text import plan_text
from gearcase.install.housing import Cable, KeepOut, ThreadedHole, Wall
from gearcase.job.build import Job, load
from gearcase.stages import plan
from gearcase.worked import Origin
from test_stages import EXAMPLES

DEMO = load(EXAMPLES / "demo")  # read once: hypothesis plans it many times


@pytest.fixture(scope="module")
def demo() -> Job:
    return DEMO


def with_stud(job: Job, **changed: Any) -> Job:
    """The demo with its drilled point changed."""
    return replace(job, points=(replace(job.points[0], **changed), *job.points[1:]))


def found(job: Job, level: str) -> dict[str, str]:
    document = plan.run(job).document
    return {row["rule"]: row["says"] for row in document["findings"] if row["level"] == level}


def test_the_demo_can_be_carried_out_as_planned(demo: Job) -> None:
    result = plan.run(demo)
    assert not result.wrong and found(demo, "blocker") == {}
    assert [part["mount"] for part in result.document["parts"]] == ["stud", "rigid adhesive", "flat magnet"]
    card = " ".join(step["do"] for step in result.document["work_card"])
    assert "stop collar at 11.6 mm" in card and "full cure 34 h" in card
    assert "nothing blocks this plan" in plan_text(result.document)


def test_a_hole_too_deep_for_the_wall_blocks_and_is_never_on_the_work_card(demo: Job) -> None:
    """Trade figure: 1/4-28 with 6.35 mm of thread needs about 18 mm of wall and most are 8 to 14 mm."""
    job = with_stud(demo, wall=Wall(14e-3, 0.3e-3, Origin.MEASURED))
    result = plan.run(job)
    says = found(job, "blocker")["plan.metal_left"]
    assert result.wrong and "a way to the oil" in says and "bond it, or find a boss" in says
    assert not any("Drill" in step["do"] for step in result.document["work_card"])
    assert plan_text(result.document).startswith("Conveyor CV-204: do not proceed, blockers: 1")


def origins(part: Any) -> dict[str, str]:
    """Name -> origin of every number that was put into a working, at any depth."""
    if isinstance(part, list):
        return {name: origin for one in part for name, origin in origins(one).items()}
    if not isinstance(part, dict):
        return {}
    own = {part["name"]: part["origin"]} if {"name", "value", "unit", "origin"} <= part.keys() else {}
    return own | {name: origin for one in part.values() for name, origin in origins(one).items()}


def test_a_working_says_of_each_number_how_it_is_known(demo: Job) -> None:
    """Nothing that a plan works with stands on a drive's nameplate: it is measured, said in the job, or from a table."""
    known = origins(plan.run(demo).document)
    assert "nameplate" not in known.values()
    by_origin = {
        "least reading": "measured",
        "gauge error": "stated",
        "full thread": "stated",
        "mouth to wheel": "stated",
        "mass carried": "stated",
        "pitch": "table",
        "drill #3": "table",
        "stress area of M12": "table",
        "share of proof load": "assumed",
    }
    assert {name: known[name] for name in by_origin} == by_origin


@pytest.mark.parametrize(
    ("changed", "rule", "says"),
    [
        ({"at": (0.150, 0.392)}, "plan.seat", "into the seat of input bearing, coupling end"),
        ({"at": (0.150, 0.330)}, "plan.clearance", "coupling"),
        ({"at": (0.900, 0.330)}, "plan.place", "outside the face"),
    ],
)
def test_no_step_and_no_template_drills_where_a_blocker_stands(changed: dict[str, Any], rule: str, says: str, demo: Job) -> None:
    job = with_stud(demo, **changed)
    document = plan.run(job).document
    assert any(says in row["says"] for row in document["findings"] if (row["rule"], row["level"]) == (rule, "blocker"))
    own = [step["do"] for step in document["work_card"] if step["where"] == job.points[0].name]
    assert plan.HELD in own and not any(step.startswith(("Drill", "Tap", "Spot-face")) for step in own)
    assert not any(name.startswith("template") for name in plan_files(document))


def test_without_the_owners_consent_nothing_is_drilled_anywhere(demo: Job) -> None:
    document = plan.run(replace(demo, conditions=replace(demo.conditions, drilling_consent="refused"))).document
    assert not any("Drill" in step["do"] and "tap" in step["do"].lower() for step in document["work_card"])
    assert any(step["do"] == plan.HELD for step in document["work_card"])
    assert not any(name.startswith("template") for name in plan_files(document))


@pytest.mark.parametrize("at", [(0.330, 0.330), (0.334, 0.330)])
def test_a_hole_on_a_hole_blocks(at: tuple[float, float], demo: Job) -> None:
    faces = tuple(
        replace(face, threaded_holes=(*face.threaded_holes, ThreadedHole("dowel", at, 16e-3, "M16", "dowel")))
        if face.name == demo.points[0].face
        else face
        for face in demo.housing.faces
    )
    says = found(replace(demo, housing=replace(demo.housing, faces=faces)), "blocker")["plan.hole"]
    assert "from the hole 'dowel'" in says


@pytest.mark.parametrize(("caliper", "reading"), [(200e-3, 20e-3), (30e-3, 20e-3), (20e-3, 40e-3)])
def test_a_sample_that_cannot_be_this_iron_lets_nothing_be_drilled(caliper: float, reading: float, demo: Job) -> None:
    wall = Wall(22e-3, 0.3e-3, Origin.MEASURED, (22.4e-3,) * 3, 5920.0, (caliper, reading))
    job = with_stud(demo, wall=wall)
    assert "sound velocity from the sample" in found(job, "caution")["plan.gauging"]
    assert not any("Drill" in step["do"] for step in plan.run(job).document["work_card"])


def test_the_thinner_of_two_stated_walls_counts(demo: Job) -> None:
    thick = with_stud(demo, wall=Wall(40e-3, 0.3e-3, Origin.MEASURED))
    document = plan.run(thick).document
    assert "the thinner one counts" in found(thick, "caution")["plan.wall_twice"]
    assert document["parts"][0]["hole"]["wall"]["least"]["value"] == pytest.approx(22.1e-3)


@pytest.mark.parametrize("wall", [None, Wall(30e-3, 0.0, Origin.ESTIMATED), Wall(30e-3, 0.0, Origin.ASSUMED)])
def test_a_wall_nobody_measured_is_bonded_however_thick_it_is_said_to_be(wall: Wall | None, demo: Job) -> None:
    job = with_stud(demo, wall=wall)
    document = plan.run(job).document
    assert document["parts"][0]["mount"] == "rigid adhesive"
    assert "no reading, no hole" in found(job, "caution")["plan.wall"]
    assert "3535 Hz instead of 8500 Hz at 65 °C" in found(job, "note")["plan.bonded"]
    assert not any("Drill" in step["do"] for step in document["work_card"])


@settings(deadline=None)  # a whole plan each time: what it takes is measured elsewhere
@given(thickness=st.floats(5e-3, 40e-3), error=st.floats(0, 1e-3))
def test_no_plan_ever_drills_into_less_than_the_least_metal(thickness: float, error: float) -> None:
    """By hand: spot-face 1 mm, depth 9.97856 mm (row TH1) and point 1.625328 mm (row TI1) off the wall less the gauge's error."""
    bare = tuple(replace(face, regions=()) for face in DEMO.housing.faces)  # where no other wall is stated
    wall = Wall(thickness, error, Origin.MEASURED)
    job = with_stud(replace(DEMO, housing=replace(DEMO.housing, faces=bare, material="steel")), wall=wall)
    document = plan.run(job).document
    drilled = any("Drill" in step["do"] for step in document["work_card"])
    hole = document["parts"][0]["hole"]
    assert drilled == (hole["metal_left"]["value"] >= hole["least_metal"]["value"])
    assert not drilled or hole["metal_left"]["value"] >= 5e-3
    assert hole["metal_left"]["value"] == pytest.approx(thickness - error - 1e-3 - 9.97856e-3 - 1.625328e-3, abs=1e-6)


def test_one_address_twice_blocks(demo: Job) -> None:
    _, first, second, *_ = demo.bus.devices
    devices = (first, replace(second, address=first.address))
    says = found(replace(demo, bus=replace(demo.bus, devices=devices)), "blocker")["bus.address"]
    assert says == "vibration input, vibration intermediate share address 11; free: 1"


def test_a_cable_too_short_blocks(demo: Job) -> None:
    job = replace(demo, kit=replace(demo.kit, cables=(Cable("W1", 5.0), Cable("W2", 6.6), Cable("W3", 10.0))))
    says = found(job, "blocker")["plan.cable"]
    assert "a run of 6.4 m: no cable is left; bring one of 6.70 m or more" in says
    short = replace(demo, kit=replace(demo.kit, cables=(Cable("W1", 5.0),)))
    blocked = [row for row in plan.run(short).document["findings"] if row["rule"] == "plan.cable"]
    assert "bring one of 7.20 m or more" in next(row["says"] for row in blocked if row["where"] == "vibration input")


def test_the_work_card_goes_from_the_bench_to_the_last_look_and_leaves_no_part_out(demo: Job) -> None:
    """Trade: agreed, tried on the running drive, the bench, lock-out before any hand, points, cables, release, the last look."""
    where = [step["where"] for step in plan.run(demo).document["work_card"]]
    locked, freed = where.index("isolation"), len(where) - where[::-1].index("isolation")
    assert where[:6] == ["before", "network", "intermediate left", "strut channel", "conduit", demo.kit.screws[0].name]
    assert where[freed:] == ["controller", "controller", "stack light", "running", "sump sensor"]
    points, devices = [point.name for point in demo.points], [device.name for device in demo.bus.devices]
    screws, entries = [screw.name for screw in demo.kit.screws], [entry.name for entry in demo.power.entries]
    held = [bracket.name for bracket in demo.kit.brackets]
    parts = {*points, *devices, *screws, *held, "edge enclosure", "sump sensor", "bus", "power", entries[1], "after", "isolation"}
    assert set(where[locked:freed]) == parts


@pytest.mark.parametrize(
    ("changed", "level", "rule", "says"),
    [
        ({"at": (0.9, 0.1)}, "blocker", "plan.place", "outside the face"),
        ({"at": (0.2, 0.33)}, "blocker", "plan.clearance", "coupling and guard (rotating part)"),
        ({"at": (0.004, 0.2)}, "caution", "plan.edge", "from the edge of the face"),
        ({"at": None}, "caution", "plan.place", "nothing checks that it fouls nothing"),
        ({"hole": None}, "blocker", "plan.hole", "needs its hole described"),
        ({"mount": ""}, "blocker", "plan.mount", "nobody has said"),
    ],
)
def test_wrong_places_and_missing_answers_are_named(changed: dict[str, Any], level: str, rule: str, says: str, demo: Job) -> None:
    assert says in found(with_stud(demo, **changed), level)[rule]


def test_hot_and_cold_metal_are_not_bonded(demo: Job) -> None:
    hot = replace(demo, housing=replace(demo.housing, surface_temperature=378.15))
    assert "105 °C, at most 100 °C is wanted: take hot-service epoxy" in found(hot, "blocker")["plan.hot_bond"]
    cold = replace(demo, kit=replace(demo.kit, metal_temperature=278.15))
    assert "warm it and hold it warm" in found(cold, "blocker")["plan.cure"]


def test_screws_of_the_kit_get_their_clearance_holes(demo: Job) -> None:
    """ISO 273, medium: M8 passes 9 mm."""
    document = plan.run(demo).document
    assert [(row["size"], row["diameter_mm"]) for row in document["clearance_holes"]] == [("M8", pytest.approx(9.0))]
    tools = {row["what"]: row["for"] for row in document["pick"] if row["group"] == "tools"}
    assert tools["drill 9 mm, clearance for M8 (normal)"] == ["foot of the stack light on strut channel"]


def test_the_poll_round_is_the_sum_of_published_transactions(demo: Job) -> None:
    """Row MT4a of modbus_checks.csv: 20 registers at 19,200 baud with 5 ms of delay take 0.039375 s."""
    devices = tuple(replace(device, registers=20) for device in demo.bus.devices)
    bus = plan.run(replace(demo, bus=replace(demo.bus, devices=devices))).document["bus"]
    assert [row["reading_s"]["value"] for row in bus["devices"]] == pytest.approx([0.039375] * len(devices), rel=1e-5)
    assert bus["round_s"] == pytest.approx(len(devices) * 0.039375, rel=1e-5)


def test_a_face_is_drawn_at_scale_with_its_dimensions_and_no_label_on_another(demo: Job) -> None:
    document = plan.run(demo).document
    face = document["faces"][0]
    sheet = face_sheet(face, document["parts"], title="face left")
    assert not [pair for pair in combinations(sheet.labels, 2) if pair[0].overlaps(pair[1])]
    words = " ".join("".join(ElementTree.fromstring(face_svg(face, document["parts"], title="face left")).itertext()).split())
    assert all(word in words for word in ("scale 1:5", "300", "430", "620", "330", "intermediate left", "drain plug"))
    width = next(part for part in sheet.parts if part.startswith("<rect"))
    assert f'width="{620 / 5 * 96 / 25.4:.1f}"' in width  # 620 mm at 1:5 on a sheet of 96 px to the inch


def test_keep_outs_are_measured_to_their_edges() -> None:
    from gearcase.install.housing import clearance_to

    part = KeepOut("plug", (0.1, 0.1), (0.02, 0.02), "port")
    assert clearance_to((0.1, 0.1), [part])[0] == 0  # type: ignore[index]
    assert clearance_to((0.113, 0.114), [part])[0] == pytest.approx(0.005)  # type: ignore[index]
    assert clearance_to((0.1, 0.1), []) is None


def test_a_face_keeps_its_scale_in_the_printed_report(demo: Job) -> None:
    """At 1:5 the face of 620 mm must measure 124 mm on the page: the PDF's own matrix shows 72 points to 96 px."""
    import io
    import re

    import pypdf

    from gearcase.checksums import sha256_of_data
    from gearcase.drawings.report import handover_pdf
    from gearcase.stages import handover, survey

    results = {
        "survey": handover.Earlier(1, survey.run(demo).document, {}, ()),
        "plan": handover.Earlier(1, plan.run(demo).document, {}, ()),
    }
    _, content = handover.run(demo, results, who="", date="2026-11-25", number=1, checksum=sha256_of_data)
    pdf = pypdf.PdfReader(io.BytesIO(handover_pdf(content)))
    page = next(page for page in pdf.pages if "scale 1:5" in " ".join(page.extract_text().split()))
    forms = [form.get_object() for form in page["/Resources"].get("/XObject", {}).values()]
    drawn = b" ".join([page.get_contents().get_data(), *(form.get_data() for form in forms)]).decode("latin-1")
    matrices = [float(scale) for scale in re.findall(r"([\d.]+) 0 0 -?[\d.]+ [-\d.]+ [-\d.]+ cm", drawn)]
    assert any(abs(scale - 0.75) < 1e-3 for scale in matrices), matrices  # 72 points to 96 px: nothing is stretched
