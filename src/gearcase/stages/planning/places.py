"""Where each part stands: on its face, clear of edges and of what must be kept clear."""

import math
from typing import Any

from gearcase.errors import OutOfRange
from gearcase.findings import Level
from gearcase.install.holes import LEAD_THREADS, depth_to_shoulder, drill_point_length, tap_drill, wall_needed
from gearcase.install.housing import Face, Hole
from gearcase.install.points import Point
from gearcase.install.positions import Footprint, Pad, region_at, violations
from gearcase.job.build import Job
from gearcase.stages.planning.draft import Draft, mm
from gearcase.units import parse_thread

__all__ = ["ASSUMED_BASE", "check_place", "face_document", "footprint"]

ASSUMED_BASE = 0.030  # m: a common sensor with its pad, where nobody has said; common practice, no source


def check_place(job: Job, point: Point, draft: Draft) -> None:
    """Whether a point stands on its face, clear of edges, holes and of what must be kept clear, on metal that will do."""
    face = job.housing.face(point.face)
    if face is None or point.at is None:
        draft.find(Level.CAUTION, "place", point.name, "its face and place are not given: nothing checks that it fouls nothing")
        return
    seat = next((seat for seat in face.seats if seat.bearing == point.bearing), None)
    _overlaps(job, point, draft)
    pad = Pad(point.name, face.name, point.at, region_at(face, point.at), seat)
    for violation in violations(face, pad, footprint(point)):
        draft.find(Level.BLOCKER if violation.severe else Level.CAUTION, violation.rule, point.name, violation.says)


def _overlaps(job: Job, point: Point, draft: Draft) -> None:
    """Two sensors on one spot: said once, at the later one."""
    for other in job.points:
        if other.name == point.name:
            return
        if other.face != point.face or other.at is None or point.at is None:
            continue
        apart = math.dist(point.at, other.at)
        needed = ((point.sensor.base or ASSUMED_BASE) + (other.sensor.base or ASSUMED_BASE)) / 2
        if apart < needed:
            says = f"its base overlaps that of {other.name}: {mm(apart)} apart, {mm(needed)} needed: move it {mm(needed - apart)}"
            draft.find(Level.BLOCKER, "overlap", point.name, says)


def footprint(point: Point) -> Footprint:
    """What wants to stand there; a base that nobody has given is taken as `ASSUMED_BASE`."""
    base = point.sensor.base or ASSUMED_BASE
    if point.mount != "stud" or point.hole is None:
        return Footprint(base, point.sensor.hottest)
    return Footprint(base, point.sensor.hottest, parse_thread(point.hole.thread).major_diameter, _needed(point.hole))


def _needed(hole: Hole) -> float | None:
    """Wall that the hole of a stud needs, as the plan's own stack gives it [m]; None where no drill is known for its thread."""
    try:
        drill = tap_drill(parse_thread(hole.thread))
    except OutOfRange:  # `holes` has said so
        return None
    depth = depth_to_shoulder(full_thread=hole.full_thread, lead_threads=LEAD_THREADS[hole.tap], pitch=drill.pitch)
    return wall_needed(spot_face=hole.spot_face, depth=depth, point=drill_point_length(drill_diameter=drill.diameter))


def face_document(face: Face) -> dict[str, Any]:
    """A face as it is drawn: what to keep clear, the regions of its wall, seats and holes."""
    return {
        "name": face.name,
        "size_m": list(face.size),
        "keep_outs": [
            {"name": part.name, "kind": part.kind, "at_m": list(part.at), "size_m": list(part.size)} for part in face.keep_outs
        ],
        "outward": face.outward,
        "regions": [
            {
                "name": region.name,
                "kind": region.kind,
                "at_m": list(region.at),
                "size_m": list(region.size),
                "wall_m": region.wall.thickness if region.wall else None,
                "wall": {
                    "thickness_m": region.wall.thickness,
                    "gauge_error_m": region.wall.gauge_error,
                    "origin": str(region.wall.origin),
                }
                if region.wall
                else None,
                "wall_known": str(region.wall.origin) if region.wall else "",
            }
            for region in face.regions
        ],
        "seats": [
            {"bearing": seat.bearing, "at_m": list(seat.at), "diameter_m": seat.diameter, "load_clock": seat.load_clock}
            for seat in face.seats
        ],
        "threaded_holes": [
            {
                "name": hole.name,
                "at_m": list(hole.at),
                "diameter_m": hole.diameter,
                "thread": hole.thread,
                "function": hole.function,
            }
            for hole in face.threaded_holes
        ],
    }
