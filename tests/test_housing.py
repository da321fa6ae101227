"""The housing as a job draws it: slips of tape and pen are input errors with their line, or findings with their number.

All housings are invented; what must hold is geometry, worked by hand beside each case.
"""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from gearcase.errors import BadInput
from gearcase.install.housing import Face, Housing, KeepOut
from gearcase.job.build import Job, load
from gearcase.stages import plan
from test_stages import EXAMPLES

HEAD = "job: 1\ndrive: {input: {speed: 25 Hz}, bearings: [{name: cap, shaft: input}]}\n"
LEFT = "housing:\n  faces:\n    - name: left\n      size: [600 mm, 400 mm]\n      outward: left\n"


def read(text: str, folder: Path) -> Job:
    (folder / "job.yaml").write_text(HEAD + text, encoding="utf-8")
    return load(folder)


@pytest.fixture(scope="module")
def demo() -> Job:
    return load(EXAMPLES / "demo")


WRONG = {
    "a face without width": ("housing:\n  faces:\n    - {name: left, size: [0 mm, 400 mm]}\n", 5, "size", "above 0"),
    "a keep-out of negative height": (
        LEFT + "      keep_outs: [{name: plug, kind: port, at: [60 mm, 40 mm], size: [40 mm, -40 mm]}]\n",
        8,
        "size",
        "a width and a height above 0",
    ),
    "a region beyond the right edge": (  # 590 + 20 - 600
        LEFT + "      regions: [{name: boss, kind: boss, at: [590 mm, 200 mm], size: [40 mm, 40 mm]}]\n",
        8,
        "at",
        "it reaches 10 mm beyond its right edge",
    ),
    "a region below the lower edge": (  # 20 - 5
        LEFT + "      regions: [{name: boss, kind: boss, at: [100 mm, 5 mm], size: [40 mm, 40 mm]}]\n",
        8,
        "at",
        "it reaches 15 mm beyond its lower edge",
    ),
    "a seat over the upper edge": (  # 350 + 65 - 400
        LEFT + "      seats: [{bearing: cap, at: [300 mm, 350 mm], diameter: 130 mm}]\n",
        8,
        "at",
        "it reaches 15 mm beyond its upper edge",
    ),
    "a tapped hole off its face": (
        LEFT + "      threaded_holes: [{name: eye, at: [-20 mm, 100 mm], thread: M16}]\n",
        8,
        "at",
        "it reaches 20 mm beyond its left edge",
    ),
    "a port off its face": (
        LEFT + "  ports: [{name: drain, kind: drain, face: left, at: [60 mm, 460 mm]}]\n",
        8,
        "at",
        "a place on face left, which is 600 mm by 400 mm: it reaches 60 mm beyond its upper edge",
    ),
    "a thickness that its readings contradict": (
        LEFT
        + "      regions:\n        - {name: boss, kind: boss, at: [300 mm, 200 mm], size: [40 mm, 40 mm],\n"
        + "           wall: {thickness: 14.2 mm, readings: [12.2 mm, 12.0 mm, 12.1 mm]}}\n",
        10,
        "thickness",
        "the least of its readings, 12 mm, or nothing",
    ),
    "an enclosure without width": ("kit: {enclosure: {size: [0 mm, 100 mm]}}\n", 3, "size", "above 0"),
}


@pytest.mark.parametrize(("text", "line", "key", "accepted"), WRONG.values(), ids=WRONG.keys())
def test_a_slip_in_the_drawing_of_the_housing_is_named_with_its_line(
    text: str, line: int, key: str, accepted: str, tmp_path: Path
) -> None:
    with pytest.raises(BadInput) as refused:
        read(text, tmp_path)
    (problem,) = refused.value.problems
    assert (problem.where, problem.key.rpartition(".")[2]) == (f"job.yaml:{line}", key)
    assert accepted in problem.accepted


@pytest.mark.parametrize(
    "text",
    [
        "      keep_outs: [{name: coupling, kind: rotating part, at: [-60 mm, 200 mm], size: [80 mm, 80 mm]}]\n",
        "      regions: [{name: flange, kind: flange, at: [300 mm, 200 mm], size: [600.5 mm, 30 mm]}]\n",
        "      seats: [{bearing: cap, at: [300 mm, 335 mm], diameter: 130 mm}]\n",
        "      regions:\n        - {name: boss, kind: boss, at: [300 mm, 200 mm], size: [40 mm, 40 mm],\n"
        "           wall: {thickness: 12.0 mm, readings: [12.2 mm, 12.02 mm, 12.1 mm]}}\n",
    ],
    ids=["a coupling beside the face", "within the tape's reading", "up to the very edge", "rounded to what the gauge shows"],
)
def test_what_a_technician_may_well_write_is_read(text: str, tmp_path: Path) -> None:
    assert read(LEFT + text, tmp_path).housing.face("left") is not None


def test_a_hole_counts_on_the_least_reading_whatever_thickness_stands_beside_it(tmp_path: Path) -> None:
    wall = "wall: {thickness: 12.0 mm, readings: [12.2 mm, 12.02 mm, 12.1 mm]}"
    regions = f"      regions: [{{name: boss, kind: boss, at: [300 mm, 200 mm], size: [40 mm, 40 mm], {wall}}}]\n"
    region = read(LEFT + regions, tmp_path).housing.faces[0].regions[0]
    assert region.wall is not None and region.wall.thickness == 12.02e-3


@pytest.mark.parametrize(
    ("gauged", "across"),
    [(", major_diameter: 21.2 mm", 1.6 * 21.2e-3), ("", 50e-3)],  # 1.6 diameters, or 50 mm: common practice, no source
)
def test_a_port_is_kept_clear_though_no_keep_out_repeats_it(gauged: str, across: float, tmp_path: Path) -> None:
    ports = f"  ports: [{{name: side plug, kind: side, face: left, at: [60 mm, 120 mm]{gauged}}}]\n"
    (part,) = read(LEFT + ports, tmp_path).housing.faces[0].keep_outs
    assert (part.name, part.kind, part.at) == ("side plug", "port", (0.06, 0.12))
    assert part.size == pytest.approx((across, across))


def test_a_port_listed_among_the_keep_outs_counts_once(demo: Job) -> None:
    assert [part.name for part in demo.housing.faces[0].keep_outs].count("side plug") == 1


def findings(job: Job, rule: str) -> list[tuple[str, str]]:
    return [(row["where"], row["says"]) for row in plan.run(job).document["findings"] if row["rule"] == rule]


def with_faces(job: Job, *faces: Face) -> Job:
    return replace(job, housing=Housing(job.housing.material, job.housing.surface_temperature, faces), points=job.points[:1])


def test_a_sensor_on_a_port_blocks(demo: Job, tmp_path: Path) -> None:
    text = (EXAMPLES / "demo" / "job.yaml").read_text(encoding="utf-8")
    moved = text.replace("face: left, at: [60 mm, 120 mm], threads", "face: coupling side, at: [340 mm, 330 mm], threads")
    (tmp_path / "job.yaml").write_text(moved, encoding="utf-8")
    blockers = [row["says"] for row in plan.run(load(tmp_path)).document["findings"] if row["level"] == "blocker"]
    assert moved != text and any("from the side plug (port)" in says for says in blockers)


@pytest.mark.parametrize(
    ("sizes", "found"),
    [
        (((0.6, 0.4), (0.5, 0.4)), []),
        (((0.6, 0.4), (0.5, 0.37)), []),  # 7.5 %: tape and draft of a casting
        (((0.6, 0.4), (0.5, 0.34)), ["0.4 m and 0.34 m"]),  # 15 %
    ],
)
def test_two_lengths_of_one_edge_are_named(sizes: Any, found: list[str], demo: Job) -> None:
    job = with_faces(demo, Face("left", sizes[0], outward="left"), Face("coupling side", sizes[1], outward="input end"))
    says = findings(job, "plan.face_edge")
    assert len(says) == len(found)
    assert all(length in one[1] and "measure again" in one[1] for length, one in zip(found, says, strict=True))


def test_two_faces_that_look_one_way_are_named(demo: Job) -> None:
    job = with_faces(demo, Face("lower left", (0.6, 0.2), outward="left"), Face("left", (0.6, 0.4), outward="left"))
    (found,) = findings(job, "plan.outward")
    assert found[0] == "lower left" and "it looks left as left does" in found[1] and "over left alone" in found[1]
    assert not findings(demo, "plan.outward") and not findings(demo, "plan.face_edge") and not findings(demo, "plan.keep_out")


@pytest.mark.parametrize(("across", "named"), [(-60e-3, False), (-95e-3, True), (0.8, True), (0.3, False)])
def test_a_keep_out_too_far_off_its_face_to_keep_anything_clear_is_named(across: float, named: bool, demo: Job) -> None:
    """A part of 80 mm at -95 mm ends 55 mm before the edge; 50 mm is kept clear of what turns."""
    turning = KeepOut("coupling", (across, 0.2), (0.08, 0.08), "rotating part")
    found = findings(with_faces(demo, Face("left", (0.6, 0.4), (turning,), "left")), "plan.keep_out")
    assert bool(found) == named
    assert not named or "55 mm beyond the face" in found[0][1] or "160 mm beyond the face" in found[0][1]
