"""Where each sensor would go best: pads ranked for its bearing, those that will not do, and where to try with a magnet first."""

from typing import Any

from gearcase.drive.line import Line
from gearcase.findings import Level
from gearcase.install.cautions import Step
from gearcase.install.housing import Face
from gearcase.install.points import Point
from gearcase.install.positions import Advice, advise, pads, spots_to_try
from gearcase.job.build import Job
from gearcase.stages.bands import MOUNTS_BONDED
from gearcase.stages.planning.draft import Draft, mm
from gearcase.stages.planning.places import ASSUMED_BASE, footprint
from gearcase.stages.planning.walls import face_as_known

__all__ = ["positions"]

_MOST_RANKED = 5
_MOST_TRIED = 3


def positions(job: Job, lines: tuple[Line, ...], draft: Draft) -> list[dict[str, Any]]:
    """Advice for each point whose bearing shows on a face."""
    rows = []
    for point in job.points:
        faces = [face for face in job.housing.faces if any(seat.bearing == point.bearing for seat in face.seats)]
        for face in faces:
            face = face_as_known(face, job.housing.material)
            advice = advise(face, pads(face, point.bearing), footprint(point))
            rows.append(_row(point, face, advice, _compare(job, point, lines)))
            _find(point, face, advice, draft)
    return rows


def _row(point: Point, face: Face, advice: Advice, compare: list[dict[str, Any]]) -> dict[str, Any]:
    tried = spots_to_try(advice, most=_MOST_TRIED)
    return {
        "point": point.name,
        "bearing": point.bearing,
        "face": face.name,
        "base_m": point.sensor.base or ASSUMED_BASE,
        "base_assumed": point.sensor.base is None,
        "ranked": [
            {"pad": one.pad.name, "at_m": list(one.pad.at), "stud": one.stud, "reasons": list(one.reasons)}
            for one in advice.ranked[:_MOST_RANKED]
        ],
        "rejected": [{"pad": one.pad.name, "at_m": list(one.pad.at), "reasons": list(one.reasons)} for one in advice.rejected],
        "try_first": [one.pad.name for one in tried],
        "try": [
            {
                "pad": one.pad.name,
                "at_m": list(one.pad.at),
                "way": "stud" if one.stud else "bond" if point.mount in ("stud", *MOUNTS_BONDED) else point.mount,
            }
            for one in tried
        ],
        "compare": compare,
    }


def _compare(job: Job, point: Point, lines: tuple[Line, ...]) -> list[dict[str, Any]]:
    """What to compare between the spots: the first lines of the bearing and of the meshes of its shaft, at the highest speed."""
    under = next((bearing for bearing in job.drive.bearings if bearing.name == point.bearing), None)
    shafts = {under.inner_shaft, under.outer_shaft} - {None} if under else set()
    meshes = {mesh.name for mesh in job.drive.meshes if {mesh.pinion_shaft, mesh.wheel_shaft} & shafts}
    return [
        {"name": line.name, "hz": line.hz(job.drive.speed_hz[1])}
        for line in lines
        if line.harmonic == 1 and ((line.kind == "mesh" and line.component in meshes) or line.component == point.bearing)
    ]


def _find(point: Point, face: Face, advice: Advice, draft: Draft) -> None:
    if not advice.ranked:
        says = f"no spot round the seat of {point.bearing} on face {face.name} will do: see why each was rejected"
        draft.find(Level.CAUTION, "position", point.name, says)
    elif point.at is None:
        best = advice.ranked[0]
        says = f"its place is not given; the best on face {face.name} is {best.pad.name}, {mm(best.pad.at[0])} from the left and "
        draft.find(Level.NOTE, "position", point.name, f"{says}{mm(best.pad.at[1])} up: {best.reasons[0]}")
    if len(advice.ranked) > 1 and point.mount in ("stud", "rigid adhesive"):
        names = "; ".join(one.pad.name for one in spots_to_try(advice, most=_MOST_TRIED))
        draft.step(
            point.name,
            f"Before anything is drilled or ground: a magnet on each of these spots, {names}, on the running drive; compare the "
            "level in the bands of the bearing and the mesh, the highest first; tap each for a panel that rings.",
            at=Step.RUN,
            tool="magnet, sensor, small plastic hammer",
            value="the highest of the spots",
        )
