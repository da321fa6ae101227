"""Where each part stands: on its face, clear of edges and of what must be kept clear."""

from typing import Any

from gearcase.findings import Level
from gearcase.install.holes import edge_distance
from gearcase.install.housing import Face, clearance_to
from gearcase.install.points import Point
from gearcase.job.build import Job
from gearcase.stages.planning.draft import Draft, given, mm
from gearcase.units import parse_thread
from gearcase.worked import work

__all__ = ["check_place", "face_document"]

CLEAR_OF = {"rotating part": 0.050, "guard": 0.050, "split line": 0.015}  # m; common practice, no source
_CLEAR_OF_OTHERS = 0.020


def check_place(job: Job, point: Point, draft: Draft) -> None:
    face = next((face for face in job.housing.faces if face.name == point.face), None)
    if face is None or point.at is None:
        draft.find(Level.CAUTION, "place", point.name, "its face and place are not given: nothing checks that it fouls nothing")
        return
    if not all(0 < place < size for place, size in zip(point.at, face.size, strict=True)):
        draft.find(
            Level.BLOCKER, "place", point.name, f"it lies outside the face {face.name}, {mm(face.size[0])} by {mm(face.size[1])}"
        )
        return
    hole = work(
        f"edge distance at {point.name}",
        edge_distance,
        hole_diameter=given("hole", parse_thread(point.hole.thread).major_diameter if point.hole else 0.0),
    )
    to_edge = min(min(place, size - place) for place, size in zip(point.at, face.size, strict=True))
    if to_edge < hole.value:
        says = f"its hole stands {mm(to_edge)} from the edge of the face; at least {mm(hole.value)} is wanted"
        draft.find(Level.CAUTION, "edge", point.name, says, hole)
    for part in face.keep_outs:
        nearest = clearance_to(point.at, [part])
        needed = CLEAR_OF.get(part.kind, _CLEAR_OF_OTHERS)
        if nearest is not None and nearest[0] < needed:
            level = Level.BLOCKER if part.kind == "rotating part" or nearest[0] == 0 else Level.CAUTION
            says = f"it stands {mm(nearest[0])} from the {part.name} ({part.kind}); at least {mm(needed)} is wanted"
            draft.find(level, "clearance", point.name, says)


def face_document(face: Face) -> dict[str, Any]:
    return {
        "name": face.name,
        "size_m": list(face.size),
        "keep_outs": [
            {"name": part.name, "kind": part.kind, "at_m": list(part.at), "size_m": list(part.size)} for part in face.keep_outs
        ],
    }
