"""Plan: how does the kit go on? Holes against the measured wall, bonds, bandwidth, places, bus, cables, power, network, outage,
cautions; a work card.

A way towards the oil is a blocker. A wall that nobody has measured is never drilled: the point becomes a bonded one, and
what that costs in bandwidth is shown.
"""

from dataclasses import replace
from typing import Any

from gearcase import tables
from gearcase.drive.line import Line
from gearcase.drive.lines import expected_lines
from gearcase.findings import Finding, Level
from gearcase.install.cautions import Step
from gearcase.install.points import Point
from gearcase.job.build import Job
from gearcase.stages.bands import MOUNTS_BONDED, stack_of
from gearcase.stages.planning.brackets import brackets, plates
from gearcase.stages.planning.cables import cables
from gearcase.stages.planning.card import in_order, outage_steps
from gearcase.stages.planning.draft import CardStep, Draft
from gearcase.stages.planning.electrics import power, terminals, wiring
from gearcase.stages.planning.faces import faces
from gearcase.stages.planning.holes import clearance_holes, tapped_hole
from gearcase.stages.planning.leaving import before_leaving
from gearcase.stages.planning.lists import TABLES, cutting, pick_list, picked_cables, tools_named, wanted
from gearcase.stages.planning.mounts import (
    BARE_MAGNET,
    BONDED,
    band_document,
    band_of,
    bond,
    cost_of_bonding,
    graded_lines,
    mass_on,
    suits,
)
from gearcase.stages.planning.network import network
from gearcase.stages.planning.orientation import orientation
from gearcase.stages.planning.outage import outage
from gearcase.stages.planning.places import ASSUMED_BASE, check_place, face_document
from gearcase.stages.planning.positions import positions
from gearcase.stages.planning.site import place_cautions, site
from gearcase.stages.planning.sump import sump
from gearcase.stages.planning.tasks import bench_tasks, outage_tasks
from gearcase.stages.planning.wires import bus
from gearcase.stages.questions import open_questions
from gearcase.stages.result import StageResult, finding_document, has_blocker

__all__ = ["judge", "run"]

HELD = "No hole here: what blocks this plan comes first, see its findings."
_TABLES = (
    "mounts",
    "threads",
    "clearance_holes",
    "cautions",
    "burn_thresholds",
    "conductors",
    "branch_circuits",
    "conduits",
    "conductor_grouping",
    "wire_areas",
    "knockouts",
    "separations",
    "network_ports",
    "drills",
    "sound_velocities",
    "adhesives",
    "bond_preparation",
    "tapped_strengths",
    "screw_strengths",
    "nut_factors",
    "pipe_threads",
    "outage_tasks",
)


def run(job: Job, *, today: str = "") -> StageResult:
    """Plan a job.

    Parameters
    ----------
    job : Job
    today : str
        ISO 8601, which decides what is too late to be asked; empty: nothing is called too late.

    Returns
    -------
    StageResult
        Document ``plan/1``; `wrong` when a finding is a blocker.
    """
    findings, document = judge(job, today=today)
    document["before_leaving"] = before_leaving(job, document, open_questions(job))
    read = (
        *job.sources(("site", "drive", "points", "housing", "kit", "bus", "power", "network", "outage")),
        *tables.sources(*_TABLES, *TABLES),
    )
    return StageResult("plan", document, read, wrong=has_blocker(findings))


def judge(job: Job, *, today: str = "") -> tuple[tuple[Finding, ...], dict[str, Any]]:
    """The findings, blockers first, and the document of a plan; also for a job as it was built."""
    draft = Draft()
    draft.step("before", "Agree with the owner what may be done, when, and under which permits.", at=Step.BEFORE)
    net = network(job, draft, today=today)
    wired = bus(job, draft)
    cuts = cutting(job, draft)
    faces(job, draft)
    lines = expected_lines(job.drive)
    advice = positions(job, lines, draft)
    parts = [_part(job, point, lines, draft) for point in job.points]
    if not job.points:
        draft.find(Level.BLOCKER, "points", "points", "the job has no measuring point: nothing to plan")
    run_cables, routes = cables(job, draft)
    opened = clearance_holes(job, draft)
    held, plate = brackets(job, draft), plates(job, draft)
    probe = sump(job, draft)
    laid = _with_runs(job, run_cables)
    wires = wiring(laid, draft)
    feeds = power(laid, draft)
    site(job, draft)
    bench = bench_tasks(job, prepared=sum(step.kind == "prepare" for step in draft.steps))
    planned = outage_tasks(job, parts, run_cables)
    around, booked = outage(job, parts, bench, planned, draft, today=today)
    stands = [part["orientation"] for part in parts if part["orientation"]]
    outage_steps(job, planned, stands, draft)
    scheduled = [row["name"] for row in booked["tasks"]] if booked else []
    draft.steps[:] = in_order(draft, bench, planned, scheduled)
    _hold_drilling(draft)
    warned = place_cautions(job, draft)
    things = list(wanted(job, parts, cuts, draft.pick))
    things += tools_named(draft.steps, [thing.what for thing in things])
    rank = [Level.BLOCKER, Level.CAUTION, Level.NOTE]
    findings = tuple(sorted(draft.findings, key=lambda finding: rank.index(finding.level)))
    document = {
        "schema": "plan/1",
        "job": job.title,
        "parts": parts,
        "positions": advice,
        "orientation": stands,
        "sump": probe,
        "brackets": held,
        "plates": plate,
        "fittings": _fittings(job, plate),
        "faces": [face_document(face) for face in job.housing.faces],
        "bus": wired,
        "cables": run_cables,
        "routes": routes,
        "outage": around,
        "schedule": booked,
        "clearance_holes": opened,
        "wiring": wires,
        "terminals": terminals(laid, run_cables),
        "power": feeds,
        "network": net,
        "cautions": warned,
        "findings": [finding_document(finding) for finding in findings],
        "cut_lists": cuts,
        "pick": pick_list(things, picked_cables(job.kit, run_cables)),
        "work_card": [
            {
                "number": number,
                "task": step.task,
                "where": step.where,
                "do": step.does,
                "caution": "\n".join(step.cautions),
                "only_by": step.only_by,
                "tool": step.tool,
                "value": step.value,
                "tolerance": step.tolerance,
            }
            for number, step in enumerate(draft.steps, start=1)
        ],
    }
    return findings, document


def _with_runs(job: Job, cables: list[dict[str, Any]]) -> Job:
    """The job with the runs that the plan counts on, so that bus and volts are those of the cables as they lie."""
    runs = {row["device"]: row["run_m"] for row in cables}
    return replace(job, bus=replace(job.bus, devices=tuple(replace(one, run=runs[one.name]) for one in job.bus.devices)))


def _fittings(job: Job, plates: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """What stands over a face, by its middle and size: the edge enclosure, and the plate that its bracket's holes carry."""
    box = job.kit.enclosure
    if box is None:
        return []
    rows = []
    if box.face and box.at and box.size:
        rows.append({"name": "edge enclosure", "face": box.face, "at_m": list(box.at), "size_m": list(box.size), "on": box.bracket})
    bracket = next((one for one in job.kit.brackets if one.name == box.bracket), None)
    face = next((face for face in job.housing.faces if bracket and face.name == bracket.face), None)
    if bracket is None or face is None:
        return rows
    for plate in plates:
        holes = [hole.at for hole in face.threaded_holes if hole.name in bracket.holes] or bracket.at
        slot = plate["slots"][0]["at_m"]  # over the first of these holes
        middle = [hole - over + side / 2 for hole, over, side in zip(holes[0], slot, plate["size_m"], strict=True)]
        rows.append({"name": plate["name"], "face": face.name, "at_m": middle, "size_m": plate["size_m"], "on": bracket.name})
    return rows


def _hold_drilling(draft: Draft) -> None:
    """No step of the card drills where a blocker stands, nor anywhere without the owner's consent: a card is read on its own."""
    blocked = [finding for finding in draft.findings if finding.level is Level.BLOCKER]
    everywhere = any(finding.rule in ("plan.consent", "plan.certificate") for finding in blocked)
    held = {finding.where for finding in blocked}
    steps: list[CardStep] = []
    for step in draft.steps:
        if step.at is not Step.DRILL or not (everywhere or step.where in held):
            steps.append(step)
        elif not steps or steps[-1].where != step.where or steps[-1].does != HELD:
            steps.append(CardStep(step.where, HELD, step.kind, task=step.task))
    draft.steps[:] = steps


def _part(job: Job, point: Point, lines: tuple[Line, ...], draft: Draft) -> dict[str, Any]:
    """One measuring point: its place, its hole or bond, and what it will see."""
    if not point.mount:
        draft.find(Level.BLOCKER, "mount", point.name, "nobody has said how this sensor is mounted")
    check_place(job, point, draft)
    mount = point.mount
    hole = None
    if point.mount == "stud":
        hole, drillable = tapped_hole(job, point, draft)
        if not drillable:
            mount = BONDED
    bonded = bond(job, point, mount, draft) if mount in MOUNTS_BONDED else None
    mass_on(job, point, mount, draft)
    suits(job, point, mount, draft)
    if "magnet" in mount:
        bared = mount == BARE_MAGNET and job.conditions.painted is not False
        clean = (
            "Scrape the spot to bare metal by hand, the paint tested first; a film of oil on it"
            if bared
            else "Clean the spot, a film of oil on it"
        )
        draft.step(
            point.name,
            f"{clean}; set the magnet down edge first and roll it flat; photograph the mark.",
            "mount",
            at=Step.PREPARE,
        )
    band, stack = band_of(job, point, mount, draft), stack_of(job, point, mount)
    if point.mount != mount and band is not None:
        cost_of_bonding(job, point, band, bonded, draft)
    stands = orientation(job, point, mount, draft)
    return {
        "name": point.name,
        "face": point.face,
        "at_m": list(point.at) if point.at else None,
        "mount_wanted": point.mount,
        "mount": mount,
        "clock": point.clock,
        "base_m": point.sensor.base or ASSUMED_BASE,
        "hole": hole,
        "bond": bonded,
        "band": None if band is None else band_document(band),
        "stack": stack.as_dict() if stack else None,
        "lines": [] if band is None else graded_lines(job.drive, point, lines, band),
        "orientation": stands,
    }
