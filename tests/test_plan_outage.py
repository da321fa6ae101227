"""Cables and outage of a plan: routes against Pythagoras on the unfolded faces, assignment against all permutations, cure and
calendar by hand; and everything a job may leave out or get wrong. Rules of thumb are common practice, no source.
"""

import itertools
import json
import math
from copy import deepcopy
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gearcase.drawings.block import Block
from gearcase.drawings.face import face_svg
from gearcase.drawings.plan_blocks import plan_blocks
from gearcase.drawings.text import plan_text
from gearcase.errors import BadInput
from gearcase.install.housing import Cable, CableEntry, KeepOut
from gearcase.install.outage import Ask, Outage
from gearcase.install.schedule import Person, Window
from gearcase.job.build import Job, load
from gearcase.job.read import read_source
from gearcase.stages import plan
from test_stages import EXAMPLES

HOUR = 3600.0
CROSSED = ("split flange", "lube pump supply")  # square, as the notes say


@pytest.fixture(scope="module")
def demo() -> Job:
    return load(EXAMPLES / "demo")


@pytest.fixture(scope="module")
def written() -> dict[str, Any]:
    """The demo's job.yaml as plain data."""
    return read_source(EXAMPLES / "demo").data


def job_of(data: dict[str, Any], folder: Path) -> Job:
    (folder / "job.yaml").write_text(json.dumps(data, indent=1), encoding="utf-8")  # JSON is YAML
    return load(folder)


def found(job: Job, rule: str, level: str = "", today: str = "") -> list[str]:
    rows = plan.run(job, today=today).document["findings"]
    return [row["says"] for row in rows if row["rule"] == f"plan.{rule}" and row["level"].startswith(level)]


def with_outage(job: Job, **changed: Any) -> Job:
    return replace(job, outage=replace(job.outage, **changed))


def bookings(document: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {row["name"]: row for row in document["schedule"]["tasks"]}


# cables


def bare(job: Job) -> Job:
    """Nothing to keep clear of, nothing else standing on the faces."""
    faces = tuple(replace(face, keep_outs=(), seats=()) for face in job.housing.faces)
    points = tuple(point for point in job.points if point.name != "output left")
    return replace(job, housing=replace(job.housing, faces=faces), points=points, kit=replace(job.kit, enclosure=None))


def test_a_route_with_nothing_in_the_way_is_the_straight_line_of_the_unfolded_faces(demo: Job) -> None:
    """By Pythagoras: 100 and 310 mm on one face; over the edge 330 mm to it, 620 - 200 mm beyond it, 310 mm down. Then 6 m."""
    document = plan.run(bare(demo)).document
    runs = {row["device"]: row["run_m"] for row in document["cables"]}
    assert runs["vibration intermediate"] == pytest.approx(6 + math.hypot(0.1, 0.31), abs=1e-6)
    assert runs["vibration input"] == pytest.approx(6 + math.hypot(0.33 + 0.42, 0.31), abs=1e-6)
    assert runs["converter"] == 3.0  # as stated: no point, no place


def test_a_route_enters_nothing_that_must_be_kept_clear_and_hangs_together(demo: Job) -> None:
    document = plan.run(demo).document
    faces = {face["name"]: face for face in document["faces"]}
    assert {route["device"] for route in document["routes"]} == {"vibration input", "vibration intermediate"}
    for route in document["routes"]:
        assert sum(leg["length_m"] for leg in route["legs"]) == pytest.approx(route["length_m"])
        for one, other in itertools.pairwise(route["legs"]):
            assert one["face"] != other["face"] or one["end_m"] == pytest.approx(other["start_m"])
        for leg in route["legs"]:
            for share in (n / 50 for n in range(51)):
                at = [a + share * (b - a) for a, b in zip(leg["start_m"], leg["end_m"], strict=True)]
                for part in faces[leg["face"]]["keep_outs"]:
                    inside = all(abs(at[k] - part["at_m"][k]) < part["size_m"][k] / 2 - 1e-9 for k in (0, 1))
                    assert not inside or part["name"] in CROSSED


def test_a_route_goes_round_bearing_caps(demo: Job) -> None:
    """A cap must come off for its bearing: common practice, no source. Seats are held as the squares round them."""
    faces = {face.name: face for face in demo.housing.faces}
    for route in plan.run(demo).document["routes"]:
        for leg in route["legs"]:
            for share in (n / 50 for n in range(51)):
                at = [a + share * (b - a) for a, b in zip(leg["start_m"], leg["end_m"], strict=True)]
                for seat in faces[leg["face"]].seats:
                    assert not all(abs(at[k] - seat.at[k]) < seat.diameter / 2 - 1e-9 for k in (0, 1))


def test_a_route_that_only_a_cap_stops_is_laid_over_it_and_said(demo: Job) -> None:
    left = replace(demo.housing.faces[0], outward="", keep_outs=())
    across = replace(
        left,
        seats=(
            replace(left.seats[0], at=(0.31, 0.15), diameter=0.2),
            replace(left.seats[0], at=(0.1, 0.15), diameter=0.25),
            replace(left.seats[0], at=(0.52, 0.15), diameter=0.25),
        ),
    )
    job = replace(
        demo, points=(demo.points[1],), housing=replace(demo.housing, faces=(across,)), kit=replace(demo.kit, enclosure=None)
    )
    assert "over a bearing's cap" in found(job, "route", "caution")[0] and not found(job, "route", "blocker")
    assert [route["device"] for route in plan.run(job).document["routes"]] == ["vibration intermediate"]


def test_a_drive_that_hangs_on_its_shaft_bends_its_cables_as_moving_ones(demo: Job) -> None:
    """Common practice: 12 diameters moving, 6 fixed; a shaft-mounted drive rocks on its torque arm."""
    job = bare(demo)
    hung = replace(job, housing=replace(job.housing, kind="shaft-mounted"))
    for one, diameters in ((job, 6), (hung, 12)):
        routes = plan.run(one).document["routes"]
        assert routes and all(route["radius"]["value"] == pytest.approx(diameters * 6.2e-3) for route in routes)


def test_bus_and_supply_line_count_with_the_runs_as_routed_and_stated_ones_are_named(demo: Job) -> None:
    document = plan.run(demo).document
    runs = {row["device"]: row["run_m"] for row in document["cables"]}
    stated = {device.name: device.run for device in demo.bus.devices}
    assert runs["vibration input"] != pytest.approx(stated["vibration input"], abs=0.5)
    assert document["wiring"]["length_m"] == pytest.approx(sum(runs.values()))
    line = {run["end"]: run["length_m"] for run in document["power"]["line"]}
    assert line["vibration input"] == pytest.approx(runs["vibration input"])
    rows = [row for row in document["findings"] if row["rule"] == "plan.route"]
    assert [(row["where"], row["level"]) for row in rows] == [("converter, sump temperature, stack light", "note")]
    assert {name for name in runs if runs[name] == stated[name]} == set(rows[0]["where"].split(", "))


def test_bends_clips_and_drip_loops_are_those_of_the_trade(demo: Job) -> None:
    """Common practice: 6 x 6.2 mm; first clip within 150 mm, then every 300 to 450; two loops of 75 mm and 150 mm to pull."""
    document = plan.run(demo).document
    route = next(route for route in document["routes"] if route["device"] == "vibration input")
    assert route["radius"]["value"] == pytest.approx(6 * 6.2e-3)
    along = [clip["along_m"] for clip in route["clips"]]
    assert along[0] <= 0.15 + 1e-9 and all(later - clip <= 0.45 + 1e-9 for clip, later in itertools.pairwise(along))
    row = next(row for row in document["cables"] if row["device"] == "vibration input")
    assert row["needed"]["value"] == pytest.approx(row["run_m"] + 0.3)
    step = next(step for step in document["work_card"] if step["where"] == "vibration input" and "Run cable" in step["do"])
    assert "clips at 150, " in step["do"] and "drip loop of 75 mm" in step["do"] and "an edge guard under it" in step["do"]


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(lengths=st.lists(st.integers(3, 12), min_size=5, max_size=6))
def test_the_cables_are_those_that_trying_every_order_gives(demo: Job, lengths: list[int]) -> None:
    job = replace(demo, kit=replace(demo.kit, cables=tuple(Cable(f"W{n}", float(one)) for n, one in enumerate(lengths))))
    rows = plan.run(job).document["cables"]
    needed = [row["needed"]["value"] for row in rows]
    best = min(
        (
            sum(one < need for one, need in zip(order, needed, strict=True)),
            sum(max(one - need, 0.0) for one, need in zip(order, needed, strict=True) if one >= need),
        )
        for order in itertools.permutations(lengths, len(needed))
    )
    given_out = [row["left_over_m"] for row in rows if row["cable"]]
    assert (len(rows) - len(given_out), sum(given_out)) == (best[0], pytest.approx(best[1]))
    assert all(one >= 0 for one in given_out)


def test_the_rule_of_thumb_is_named_where_it_would_do_worse(demo: Job) -> None:
    """Runs of 3 to 6.9 m need 3.3 to 7.2 m: the longest five of six, 50 m among them, leave 40 m more than those that fit."""
    job = replace(demo, kit=replace(demo.kit, cables=(*demo.kit.cables, Cable("W6", 50.0))))
    assert "the rule of thumb, the longest cable to the farthest sensor, would leave" in found(job, "rule_of_thumb")[0]
    assert not found(demo, "rule_of_thumb")


def test_a_cable_too_short_blocks_with_how_much(demo: Job) -> None:
    """6 m for a run of 6.40 m, which needs 6.70 m."""
    short = tuple(replace(cable, length=6.0) if cable.name == "W2" else cable for cable in demo.kit.cables)
    says = found(replace(demo, kit=replace(demo.kit, cables=short)), "cable", "blocker")
    assert says == [
        "a run of 6.4 m: W2, the longest left, is 0.70 m too short; bring one of 6.70 m or more or shorten the run: cables are not "
        "joined"
    ]


def test_no_route_names_what_blocks_and_what_cures(demo: Job) -> None:
    """A duct from edge to edge of the left face below the point, and no other face to go round by."""
    left = demo.housing.faces[0]
    duct = KeepOut("cable duct", (0.31, 0.15), (0.62, 0.02), "guard")
    job = replace(demo, housing=replace(demo.housing, faces=(replace(left, keep_outs=(duct,), outward=""),)))
    job = replace(job, points=tuple(point for point in job.points if point.name == "intermediate left"))
    says = found(job, "route", "blocker")
    assert len(says) == 1 and "no way past cable duct" in says[0] and "move or leave out cable duct" in says[0]
    assert plan.run(job).document["routes"] == []


def test_a_way_out_beside_what_turns_or_beside_power_blocks(demo: Job) -> None:
    """trade.md: 50 mm from what turns, 100 mm at least from power (common practice, no source)."""

    def entry(face: str, at: tuple[float, float]) -> list[str]:
        return found(replace(demo, kit=replace(demo.kit, cable_entry=CableEntry(face, at))), "cable_entry", "blocker")

    assert "cables leave 2 mm from the coupling" in entry("coupling side", (0.232, 0.330))[0]
    lube = next(part for part in demo.housing.faces[0].keep_outs if part.kind == "power cable")
    edge = lube.at[0] - lube.size[0] / 2
    assert "100 mm is wanted" in entry("left", (edge - 0.099, lube.at[1]))[0]
    assert entry("left", (edge - 0.101, lube.at[1])) == []


@pytest.mark.parametrize(
    ("entry", "says"),
    [
        (CableEntry("left", (0.9, 0.02)), "on the face, which is 0.62 m by 0.43 m"),
        (CableEntry("left", (0.06, 0.04)), "outside drain plug"),
        (CableEntry("nowhere", (0.1, 0.1)), "one of: left, coupling side"),
    ],
)
def test_a_way_out_that_cannot_be_is_said_once_for_all_cables(entry: CableEntry, says: str, demo: Job) -> None:
    blockers = found(replace(demo, kit=replace(demo.kit, cable_entry=entry)), "route", "blocker")
    assert len(blockers) == 1 and says in blockers[0] and "its run is taken as stated" in blockers[0]


def test_a_point_off_its_face_is_named_and_never_a_traceback(demo: Job) -> None:
    job = replace(demo, points=(replace(demo.points[0], at=(9.0, 9.0)), *demo.points[1:]))
    assert "on the face, which is 0.52 m by 0.43 m" in found(job, "route", "blocker")[0]


def test_a_power_cable_is_kept_away_from_and_crossed_square(demo: Job) -> None:
    route = next(route for route in plan.run(demo).document["routes"] if route["device"] == "vibration input")
    legs = [leg for leg in route["legs"] if leg["crosses"] == "lube pump supply"]
    assert legs and all(leg["start_m"][1] == pytest.approx(leg["end_m"][1]) for leg in legs)  # it stands, so square is level


def test_without_a_way_out_runs_are_as_stated_and_the_question_is_asked(demo: Job) -> None:
    job = replace(demo, kit=replace(demo.kit, cable_entry=None, enclosure=None))
    document = plan.run(job).document
    assert "kit.cable_entry" in found(job, "cable_entry", "caution")[0] and document["routes"] == []
    assert [row["run_m"] for row in document["cables"]] == [device.run for device in demo.bus.devices]


# the outage


def test_the_demo_fits_its_window_and_keeps_the_trades_order(demo: Job) -> None:
    document = plan.run(demo).document
    outage, at = document["outage"], bookings(document)
    assert (
        outage["fits"] and outage["end_s"] <= 12 * HOUR and outage["spare"]["value"] == pytest.approx(12 * HOUR - outage["end_s"])
    )
    assert outage["first"] == ["lock out and prove still"] and at["lock out and prove still"]["start_s"] == 0
    stopped = [row for row in at.values() if row["state"] in ("locked out", "cold")]
    assert at["release and hand back"]["end_s"] == max(row["end_s"] for row in stopped)
    running = [row for row in at.values() if row["state"] == "running"]
    looked = "look the running drive over"
    tested = {"test stack light in every state", "read the test registers back at the controller"}
    assert {row["name"] for row in running} == {looked, *tested}
    assert all(row["start_s"] >= at["release and hand back"]["end_s"] + 0.5 * HOUR for row in running)  # 15 to 30 min to restart
    assert at["connect the supply"]["crew"] == ["C. Tarn"]  # the only licensed electrician
    assert at["measure the wall at input coupling end"]["end_s"] <= at["drill and tap input coupling end"]["start_s"]
    assert set(outage["critical"]) <= set(at)


def test_a_bond_is_left_alone_for_four_fixture_times_at_the_metals_temperature(demo: Job) -> None:
    """By hand: 40 min at 23 °C, doubled for every 10 K below, is 56.6 min at 18 °C; four of them are 3.77 h."""
    at = bookings(plan.run(demo).document)
    bonded, wired = at["bond intermediate left"], at["wire and label every device"]
    assert bonded["cure_s"] == pytest.approx(4 * 40 * 60 * 2**0.5)
    assert wired["start_s"] >= bonded["end_s"] + bonded["cure_s"] - 1e-6
    assert bonded["start_s"] >= 2 * HOUR  # cold: up to two hours for a housing of 65 °C


def test_nobody_is_in_two_places_and_every_skill_is_there(demo: Job) -> None:
    skills = {person.name: person.skills for person in demo.outage.crew}
    needs = {task["name"]: task["crew"] for task in plan.run(demo).document["outage"]["tasks"]}
    rows = plan.run(demo).document["schedule"]["tasks"]
    for row in rows:
        assert all(skill in skills[who] for who, skill in zip(row["crew"], needs[row["name"]], strict=True))
    for one, other in itertools.combinations(rows, 2):
        if set(one["crew"]) & set(other["crew"]):
            assert one["end_s"] <= other["start_s"] + 1e-6 or other["end_s"] <= one["start_s"] + 1e-6


def test_a_window_too_short_blocks_with_the_hours_and_a_cure_that_cures(demo: Job) -> None:
    """11 h for 11.1 h. The cure named, metal held at 35 °C, is carried out in the job: then it fits."""
    job = with_outage(demo, windows=(Window(0.0, 11 * HOUR),))
    says = found(job, "window", "blocker")[0]
    assert "11.1 h after the first window opens, 0.1 h after the last closes" in says
    assert "hold the metal at 35 °C in bond intermediate left" in says and "ask for a longer window" in says
    cured = replace(job, kit=replace(job.kit, metal_temperature=308.15))
    assert plan.run(cured).document["outage"]["fits"] and not found(cured, "window")


def test_over_two_windows_each_is_locked_out_and_released_and_the_bond_cures_in_one(demo: Job) -> None:
    """Durations of outage_tasks.csv by the longest: lock-out 40 min, release 30 min; cure by hand as above, 3.77 h."""
    job = with_outage(demo, windows=(Window(0.0, 7 * HOUR), Window(24 * HOUR, 36 * HOUR)))
    document = plan.run(job).document
    stopped = [row for row in document["schedule"]["tasks"] if row["state"] in ("locked out", "cold")]
    early, late = ([row for row in stopped if (row["start_s"] < 24 * HOUR) is side] for side in (True, False))
    assert early and late and document["outage"]["fits"]
    assert max(row["end_s"] for row in early) <= 6.5 * HOUR and min(row["start_s"] for row in late) >= 24 * HOUR + 2400
    bond = bookings(document)["bond intermediate left"]
    assert bond in late  # 2 h to cool, 1 h, 3.77 h of cure and 0.5 h of release are more than 7
    assert bond["end_s"] + 4 * 40 * 60 * 2**0.5 <= 36 * HOUR
    assert "each later one begins with a lock-out of its own (40 min)" in found(job, "windows", "note")[0]
    assert [band["state"] for band in document["schedule"]["states"]].count("restart") == 2
    ends = [(band["start_s"], band["end_s"]) for band in document["schedule"]["states"]]
    assert all(one[1] == pytest.approx(other[0]) for one, other in itertools.pairwise(ends))
    assert not found(demo, "windows")


def test_what_no_single_change_cures_may_be_cured_by_several(demo: Job) -> None:
    """9 h: warm metal and one more fitter, as the plan says, are put into the job; then it fits. 2 h are never enough."""
    job = with_outage(demo, windows=(Window(0.0, 9 * HOUR),))
    says = found(job, "window", "blocker")[0]
    assert "no single change is enough, these together are: hold the metal at 35 °C" in says and "bring one more fitter" in says
    crew = (*job.outage.crew, Person("D. Rigg", frozenset({"fitter"})))
    cured = replace(with_outage(job, crew=crew), kit=replace(job.kit, metal_temperature=308.15))
    assert plan.run(cured).document["outage"]["fits"]
    assert "nor are these together" in found(with_outage(demo, windows=(Window(0.0, 2 * HOUR),)), "window", "blocker")[0]


@pytest.mark.parametrize(
    ("lacks", "says"),
    [
        ("licensed electrician", "nobody of the crew is a licensed electrician"),
        ("controls", "nobody of the crew does controls"),
        ("fitter", "nobody of the crew is a fitter"),
    ],
)
def test_a_skill_nobody_has_blocks_and_the_schedule_is_still_there(lacks: str, says: str, demo: Job) -> None:
    crew = tuple(replace(person, skills=person.skills - {lacks}) for person in demo.outage.crew)
    job = with_outage(demo, crew=crew)
    assert says in " ".join(found(job, "crew", "blocker"))
    assert plan.run(job).document["schedule"]["tasks"]


def test_nobody_locks_out_alone(demo: Job) -> None:
    alone = Person("A. Fell", frozenset({"fitter", "licensed electrician", "controls"}))
    assert "would lock out alone" in found(with_outage(demo, crew=(alone,)), "crew", "blocker")[0]


ASKED = (Ask("consent", "owner", 14.0), Ask("network approval", "office", 42.0, ("consent",)))


@pytest.mark.parametrize(
    ("today", "level", "count"),
    [("2026-07-09", "", 0), ("2026-08-01", "caution", 2), ("2026-09-04", "blocker", 4), ("2026-09-30", "note", 1)],
)
def test_what_cannot_be_granted_in_time_is_no_go(today: str, level: str, count: int, demo: Job) -> None:
    """By the calendar: there by 2026-09-03, seven days before; six weeks back 2026-07-23, two more 2026-07-09. Five working days
    before, the bench stage and the connection of the network sheet that is not approved are late too.
    """
    job = with_outage(demo, asks=ASKED)
    rows = {row["what"]: row for row in plan.run(job, today=today).document["outage"]["lead"]}
    assert (rows["network approval"]["start_by"], rows["network approval"]["needed_by"]) == ("2026-07-23", "2026-09-03")
    assert rows["consent"]["start_by"] == "2026-07-09"
    assert len(found(job, "lead", level or "blocker", today)) == count
    if today == "2026-08-01":  # nine days after 2026-07-23, so nine days after 2026-09-10
        assert any("the outage can be on 2026-09-19" in says for says in found(job, "lead", "caution", today))


def test_today_changes_nothing_but_what_is_too_late(demo: Job) -> None:
    early, late = (plan.run(with_outage(demo, asks=ASKED), today=day).document for day in ("", "2026-09-09"))
    assert early["schedule"] == late["schedule"] and early["routes"] == late["routes"]
    assert not any(row["late"] for row in early["outage"]["lead"]) and any(row["late"] for row in late["outage"]["lead"])


def test_durations_are_assumed_unless_the_job_gives_them(demo: Job) -> None:
    job = with_outage(demo, stated=(("mains", (600.0, 900.0)),))
    tasks = {task["name"]: task for task in plan.run(job).document["outage"]["tasks"]}
    assert (tasks["connect the supply"]["longest_s"], tasks["connect the supply"]["origin"]) == (900.0, "estimated")
    assert tasks["dead tests"]["origin"] == "assumed" and "common practice, no source" in tasks["dead tests"]["source"]


def test_the_bench_stage_comes_before_and_soaks_for_four_hours(demo: Job) -> None:
    """Trade: address, label, the whole bus with the actual cables, a soak of 4 h."""
    bench = plan.run(demo).document["outage"]["bench"]
    assert [task["kind"] for task in bench][-3:] == ["address and label", "whole bus with the actual cables", "soak"]
    assert [task["kind"] for task in bench][:-3] == ["cut", "cut", "prepare"]  # strut, conduit; plate, foot and gland
    assert bench[2]["longest_s"] == 3 * 30 * 60
    assert bench[-1]["longest_s"] == 4 * HOUR
    unsaid = with_outage(demo, asks=ASKED)
    assert "bench stage" in {row["what"] for row in plan.run(unsaid).document["outage"]["lead"]}


# what is left out, what is wrong


def test_an_outage_nobody_described_asks_and_still_says_how_long_it_takes(demo: Job) -> None:
    job = replace(demo, outage=Outage())
    document = plan.run(job, today="2026-09-01").document
    for rule in ("outage_date", "outage_window", "lead", "isolation", "crew"):
        assert found(job, rule, "caution"), rule
    assert document["outage"]["fits"] is None and document["outage"]["end_s"] > 8 * HOUR
    assert "nobody has given a window" in plan_text(document)


PATHS = [
    ("outage",),
    *((("outage", key)) for key in ("windows", "crew", "ask", "isolation")),
    *((("outage", "isolation", key)) for key in ("points", "agreed", "by")),
    *((("outage", "ask", 0, key)) for key in ("owner", "lead_time", "granted")),
    *(
        (("kit", key))
        for key in (
            "cables",
            "cable_entry",
            "enclosure",
            "adhesive",
            "adhesive_cure",
            "metal_temperature",
            "screws",
            "probe",
        )
    ),
    ("kit",),
    ("kit", "cables", 0, "outside_diameter"),
    ("kit", "cable_entry", "beyond"),
    ("housing", "surface_temperature"),
    ("housing", "faces", 0, "outward"),
    ("points", 0, "at"),
    ("points", 0, "mount"),
    ("points", 0, "wall"),
    ("bus", "devices"),
    ("bus",),
]


@pytest.mark.parametrize("path", PATHS, ids=lambda path: ".".join(map(str, path)))
def test_a_job_without_a_key_is_planned_and_shown(path: tuple[Any, ...], written: dict[str, Any], tmp_path: Path) -> None:
    data = deepcopy(written)
    here: Any = data
    for step in path[:-1]:
        here = here[step]
    del here[path[-1]]
    if path in (("bus",), ("bus", "devices")):
        del data["inputs"]  # one reads a device of the bus, and is refused with its line where there is none
    document = plan.run(job_of(data, tmp_path), today="2026-08-01").document
    json.dumps(document)
    assert plan_text(document) and list(plan_blocks(document))


@pytest.mark.parametrize("key", ["routes", "outage", "schedule"])
def test_a_plan_kept_before_it_had_a_key_is_still_shown(key: str, demo: Job) -> None:
    document = plan.run(demo).document
    older = {name: value for name, value in document.items() if name != key}
    older["cables"] = [{name: row[name] for name in ("device", "run_m", "cable")} for row in document["cables"]]
    assert plan_text(older) and list(plan_blocks(older))


@pytest.mark.parametrize(
    ("path", "value", "says"),
    [
        (
            ("outage", "windows"),
            [{"start": "2026-09-10T06:00", "length": "8 h"}, {"start": "2026-09-10T13:00", "length": "8 h"}],
            "after the window before has closed",
        ),
        (("outage", "windows", 0, "start"), "1026-09-10T06:00", "a day of this century"),
        (("outage", "windows", 0, "length"), "0 h", "above 0"),
        (("outage", "crew", 0, "skills"), ["juggler"], "fitter"),
        (("outage", "crew", 1, "name"), "A. Fell", "name of its own"),
        (("outage", "ask", 1, "after"), ["nothing at all"], "the items are"),
        (("outage", "durations"), [{"work": "mains", "shortest": "2 h", "longest": "1 h"}], "no more than the longest"),
        (("outage", "durations"), [{"work": "mains", "shortest": "2 h", "longest": "99 d"}], "30 d or less"),
        (("kit", "cable_entry", "face"), "nowhere", "the faces are"),
    ],
)
def test_what_is_wrong_is_named_with_its_line(
    path: tuple[Any, ...], value: Any, says: str, written: dict[str, Any], tmp_path: Path
) -> None:
    data = deepcopy(written)
    here: Any = data
    for step in path[:-1]:
        here = here[step]
    here[path[-1]] = value
    with pytest.raises(BadInput) as error:
        job_of(data, tmp_path)
    assert any(says in problem.accepted and problem.where.startswith("job.yaml:") for problem in error.value.problems)


def test_items_that_wait_for_each_other_are_a_finding(demo: Job) -> None:
    ring = (Ask("consent", "owner", 1.0, ("permit",)), Ask("permit", "owner", 1.0, ("consent",)))
    assert "no task that waits for itself" in found(with_outage(demo, asks=ring), "lead", "blocker")[0]


# pages


def test_the_pages_show_chart_chain_routes_and_list(demo: Job) -> None:
    document = plan.run(demo).document
    blocks: list[Block] = list(plan_blocks(document))
    tables = {block.head[0]: block.rows for block in blocks if block.kind == "table"}
    assert [row[1] for row in tables["stands"]][:2] == ["consent to drill and bond", "network approval"]
    assert tables["from"][0][:3] == ("06:00", "lock out and prove still (critical)", "A. Fell, C. Tarn")
    assert any(block.kind == "figure" and "Fits: the last task ends at 11.1 h of 12 h." in block.svg for block in blocks)
    words = plan_text(document)
    assert "critical: lock out and prove still → " in words and "cable W2 to vibration input: 0.90 m" in words


def test_a_face_is_drawn_with_its_cables_and_clips(demo: Job) -> None:
    document = plan.run(demo).document
    left = document["faces"][0]
    with_cables = face_svg(left, document["parts"], title="left", routes=document["routes"])
    assert (
        "cable W3" in with_cables
        and "cable W2, clip 3" in with_cables
        and "cable W3" not in face_svg(left, document["parts"], title="left")
    )
