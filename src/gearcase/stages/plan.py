"""Plan: how does the kit go on? Holes against the measured wall, bonds, bandwidth, places, bus, cables; a work card.

A way towards the oil is a blocker. A wall that nobody has measured is never drilled: the point becomes a bonded one, and
what that costs in bandwidth is shown.
"""

from typing import Any

from gearcase import tables
from gearcase.drive.line import Line
from gearcase.drive.lines import expected_lines
from gearcase.findings import Finding, Level
from gearcase.install.points import Point
from gearcase.job.build import Job
from gearcase.stages.planning.draft import Draft
from gearcase.stages.planning.holes import clearance_holes, tapped_hole
from gearcase.stages.planning.leaving import before_leaving
from gearcase.stages.planning.lists import TABLES, cutting, pick_list, picked_cables, wanted
from gearcase.stages.planning.mounts import BONDED, MOUNTS_BONDED, band_of, bond, cost_of_bonding, graded_lines
from gearcase.stages.planning.places import ASSUMED_BASE, check_place, face_document
from gearcase.stages.planning.positions import positions
from gearcase.stages.planning.wires import bus, cables
from gearcase.stages.result import StageResult, finding_document, has_blocker
from gearcase.stages.survey import open_questions

__all__ = ["judge", "run"]


def run(job: Job) -> StageResult:
    """Plan a job.

    Returns
    -------
    StageResult
        Document ``plan/1``; `wrong` when a finding is a blocker.
    """
    findings, document = judge(job)
    document["before_leaving"] = before_leaving(job, document, open_questions(job))
    read = (
        *job.sources(("site", "drive", "points", "housing", "kit", "bus")),
        *tables.sources("mounts", "threads", "clearance_holes", *TABLES),
    )
    return StageResult("plan", document, read, wrong=has_blocker(findings))


def judge(job: Job) -> tuple[tuple[Finding, ...], dict[str, Any]]:
    """The findings, blockers first, and the document of a plan; also for a job as it was built."""
    draft = Draft()
    wired = bus(job, draft)
    cuts = cutting(job, draft)
    draft.step(
        "before",
        "Lock out and prove the drive still; let it cool; bag open ports; agree permits with the owner.",
        "Local codes and site rules come first. A backstop may hold load torque; housings and oil burn.",
    )
    advice = positions(job, draft)
    lines = expected_lines(job.drive)
    parts = [_part(job, point, lines, draft) for point in job.points]
    if not job.points:
        draft.find(Level.BLOCKER, "points", "points", "the job has no measuring point: nothing to plan")
    run_cables = cables(job, draft)
    opened = clearance_holes(job, draft)
    draft.step("after", "Account for every chip and tool; close ports; check oil level; tighten, label and photograph every part.")
    rank = [Level.BLOCKER, Level.CAUTION, Level.NOTE]
    findings = tuple(sorted(draft.findings, key=lambda finding: rank.index(finding.level)))
    document = {
        "schema": "plan/1",
        "job": job.title,
        "parts": parts,
        "positions": advice,
        "faces": [face_document(face) for face in job.housing.faces],
        "bus": wired,
        "cables": run_cables,
        "clearance_holes": opened,
        "findings": [finding_document(finding) for finding in findings],
        "cut_lists": cuts,
        "pick": pick_list(wanted(job, parts, cuts, draft.pick), picked_cables(job.kit, run_cables)),
        "work_card": [
            {"number": number, "where": where, "do": does, "caution": caution}
            for number, (where, does, caution) in enumerate(draft.steps, start=1)
        ],
    }
    return findings, document


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
    if "magnet" in mount:
        draft.step(
            point.name,
            "Clean the spot, a film of oil on it; set the magnet down edge first and roll it flat; photograph the mark.",
            "It snaps: fingers clear, and never drop it on, the shock can break the sensor.",
        )
    band = band_of(job, point, mount, draft)
    if point.mount != mount and band is not None:
        cost_of_bonding(point, band, draft)
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
        "band": None if band is None else {"true_hz": band.true_hz, "detectable_hz": band.detectable_hz, "by": band.limited_by},
        "lines": [] if band is None else graded_lines(job.drive, point, lines, band),
    }
