"""The sheet of questions asks what the job leaves open, and no more. What is asked: trade.md, 1.4 (common practice, no source)."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from gearcase.drive.train import Motor
from gearcase.install.fittings import Probe
from gearcase.install.housing import PORT_KINDS, Port
from gearcase.job.build import Job, load
from gearcase.job.template import template
from gearcase.stages import plan, survey
from gearcase.stages.questions import open_questions
from test_stages import EXAMPLES


@pytest.fixture(scope="module")
def demo() -> Job:
    return load(EXAMPLES / "demo")


def asked(job: Job, *, stopping: bool | None = None) -> list[str]:
    return [row["what"] for row in open_questions(job) if stopping in (None, row["blocks_ordering"])]


def of_the_site(job: Job) -> list[str]:
    """Questions that are not about what turns."""
    drive = {"nameplate", job.drive.name, *(bearing.name for bearing in job.drive.bearings)}
    return [row["what"] for row in open_questions(job) if row["where"] not in drive]


def test_the_demo_is_asked_only_what_its_job_does_not_say(demo: Job) -> None:
    assert asked(demo, stopping=True) == []
    assert of_the_site(demo) == [
        "counterweight that holds load torque",
        "angle of the thread of drain plug, by its gauge",
        "oil grade and level glass",
        "a video of the drive running",
    ]


@pytest.mark.parametrize(
    ("part", "changed", "question"),
    [
        ("conditions", {"area": ""}, "area class, or that there is none"),
        ("conditions", {"drilling_consent": ""}, "may the drive be drilled (warranty, certificate)?"),
        ("conditions", {"drilling_consent": "asked"}, "what the owner answers: may the drive be drilled (warranty, certificate)?"),
        ("housing", {"surface_temperature": None}, "surface temperature while running"),
        ("power", {"branch": None}, "nearest panel and socket: volts, length of the way"),
        ("outage", {"windows": ()}, "outage window: when it opens and how long it is"),
        ("outage", {"isolation": None}, "lock-out points, and who holds the lock"),
        ("outage", {"asks": ()}, "permits, and who grants them"),
    ],
)
def test_what_stops_ordering_is_asked_where_it_is_open(part: str, changed: dict[str, Any], question: str, demo: Job) -> None:
    job = replace(demo, **{part: replace(getattr(demo, part), **changed)})
    assert asked(job, stopping=True) == [question]


@pytest.mark.parametrize(
    ("changed", "question"),
    [
        ({"network": None}, "nearest network point; who approves network access"),
        ({"site": {"name": "quarry"}}, "who owns the drive"),
    ],
)
def test_network_and_owner_are_asked_where_nobody_has_said(changed: dict[str, Any], question: str, demo: Job) -> None:
    assert asked(replace(demo, **changed), stopping=True) == [question]


def test_photos_and_guards_are_asked_until_every_part_has_its_place(demo: Job) -> None:
    unplaced = replace(demo, points=(replace(demo.points[0], at=None), *demo.points[1:]))
    assert asked(unplaced, stopping=True) == ["photos of four sides and the top, with a rule in view"]
    faces = tuple(replace(face, keep_outs=(), seats=()) for face in demo.housing.faces)
    bare = replace(demo, housing=replace(demo.housing, faces=faces))
    assert asked(bare, stopping=True) == ["guards, fan shroud, coupling and rotating parts near the housing"]
    assert any(what.startswith("bearing caps, where they show on the housing: input bearing") for what in asked(bare))


def test_the_thread_of_the_probes_own_port_stops_ordering(demo: Job) -> None:
    port = Port("side", "side", "left", (0.06, 0.12), pitch=1.814e-3)
    housing = replace(demo.housing, ports=(port, Port("sight glass", "glass", "left", (0.54, 0.13))))
    own = replace(demo, housing=housing, kit=replace(demo.kit, probe=Probe("side", "NPT 1/2", 0.09, 0.006)))
    assert asked(own, stopping=True) == ["angle of the thread of side, by its gauge"]
    other = replace(own, kit=replace(own.kit, probe=None))
    assert asked(other, stopping=True) == [] and "angle of the thread of side, by its gauge" in asked(other)


def test_only_ports_that_take_a_probe_are_gauged(demo: Job) -> None:
    for kind in PORT_KINDS:
        job = replace(demo, housing=replace(demo.housing, ports=(Port("p", kind, "left", (0.06, 0.12)),)))
        gauged = kind in ("drain", "side")
        assert ("pitch and angle of the thread of p, by its gauge" in asked(job)) == gauged
        forks = plan.run(job).document["before_leaving"]["forks"]
        assert any(fork["unknown"] == "thread of the port" for fork in forks) == gauged


def test_what_holds_the_load_is_asked_by_name(demo: Job) -> None:
    job = replace(demo, conditions=replace(demo.conditions, backstop=None, counterweight=None, incline=False))
    assert "backstop or counterweight that holds load torque" in asked(job)


def test_magnets_alone_ask_for_no_leave_to_drill(demo: Job) -> None:
    points = tuple(replace(point, mount="flat magnet") for point in demo.points)
    job = replace(demo, points=points, conditions=replace(demo.conditions, drilling_consent=""))
    assert not any("drilled" in what for what in asked(job))


def test_a_known_motor_is_not_asked_for_again(demo: Job) -> None:
    assert "motor plate and frequency converter plate" in asked(demo)
    for converter, carrier, left in ((True, None, ["switching frequency of the converter"]), (True, 4e3, []), (False, None, [])):
        motor = Motor("input", 4, 50.0, converter=converter, carrier_hz=carrier)
        job = replace(demo, drive=replace(demo.drive, motor=motor))
        assert [what for what in asked(job) if "converter" in what] == left
        for protection, wanted in (("", converter), ("none", False), ("shaft brush", False)):
            job = replace(demo, drive=replace(demo.drive, motor=replace(motor, current_protection=protection)))
            assert any("shaft brush or insulated bearing" in what for what in asked(job)) is wanted


def test_a_new_job_is_asked_for_everything(tmp_path: Path) -> None:
    (tmp_path / "job.yaml").write_text(template("parallel-shaft", "new"), encoding="utf-8")
    words = " ".join(asked(load(tmp_path)))
    for what in (
        "owns",
        "drilled",
        "area class",
        "photos",
        "plug",
        "surface temperature",
        "guards",
        "panel",
        "network",
        "outage",
        "lock-out",
    ):
        assert what in words


def test_a_survey_is_stale_when_an_answer_changes() -> None:
    assert {"site", "housing", "kit", "power", "network", "outage"} <= set(survey.SECTIONS_READ)
