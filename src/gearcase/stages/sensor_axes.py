"""Which way the axes of each point's sensor point: by the job, by what was fitted, and by what was proved.

The job's word is taken where nothing says otherwise. A fit that entered another face or hour of the mark comes before it; another
face without its hour leaves only what stands out of that face. What was proved of the job as it stands now comes before both: as
planned where it passed; where it failed, what all the turns that were left then agree on, which may be nothing.

Directions are against the shaft. A lies along every shaft of a parallel-shaft drive. Of another kind, or of none stated, only along
the input shaft: at the other bearings nothing is said, nor of a sensor of one axis whose face contradicts what the job has it for.
"""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gearcase.install.orientation import Along, axes_along, rotation, turns
from gearcase.install.points import Point
from gearcase.job.build import Job
from gearcase.stages.proving.basis import rests_on

__all__ = ["sensor_axes"]

_ANY_HOUR = (12.0, 3.0, 6.0, 9.0)
Matrix = NDArray[np.float64]


def sensor_axes(job: Job, *, fit: Mapping[str, Any] | None, prove: Mapping[str, Any] | None) -> dict[str, dict[str, Along]]:
    """Point -> axis -> what it feels; an axis that lies between the machine's, or of which nobody knows, is left out.

    Parameters
    ----------
    job : Job
    fit, prove : mapping or None
        Documents ``fit/1`` and ``prove/1``; None where there is none.
    """
    fitted = {row["name"]: {value["item"]: value["value"] for value in row["built"]} for row in (fit["points"] if fit else ())}
    devices = {device.name: device for device in job.bus.devices if device.point}
    proofs = {
        devices[row["device"]].point: row
        for row in (prove["evidence"] if prove else ())
        if row["step"] == "orientation" and row["device"] in devices
    }
    found = {}
    for point in job.points:
        proof = proofs.get(point.name)
        if proof is not None and proof.get("rests_on") != rests_on(job, devices[proof["device"]]):
            proof = None  # of a sensor that the job has placed otherwise since
        axes = axes_along(_ways(job, point, fitted.get(point.name, {}), proof)) if _along_shaft(job, point) else {}
        found[point.name] = {} if _contradicts(point, axes) else axes
    return found


def _along_shaft(job: Job, point: Point) -> bool:
    """Whether A lies along the shaft of the bearing under a point."""
    if job.housing.kind == "parallel-shaft":
        return True
    inputs = {shaft.name for shaft in job.drive.shafts if shaft.end == "input"}
    return any(one.name == point.bearing and inputs & {one.inner_shaft, one.outer_shaft} for one in job.drive.bearings)


def _contradicts(point: Point, axes: Mapping[str, Along]) -> bool:
    """Whether the one axis of a sensor would feel what the job says it is not there for, as behind a block that turns it."""
    if point.sensor.axes != 1 or not point.direction or "z" not in axes:
        return False
    return (axes["z"].direction == "axial") != (point.direction == "axial")


def _ways(job: Job, point: Point, fitted: Mapping[str, Any], proof: Mapping[str, Any] | None) -> Sequence[Matrix]:
    """The ways in which its sensor may stand; none where nobody knows."""
    outcome = proof["outcome"] if proof is not None else "open"
    if outcome == "failed" and proof is not None:
        left = proof.get("stands", ())
        planned = _standing(job, point.face, point.clock)
        return [np.array(turn.matrix) @ way for turn in turns() if turn.says in left for way in planned]
    if outcome == "passed":
        return _standing(job, point.face, point.clock)
    face = fitted.get("face") or point.face
    moved = face != point.face
    return _standing(job, face, fitted.get("clock", None if moved else point.clock))


def _standing(job: Job, face_name: str, clock: float | None) -> Sequence[Matrix]:
    """On a face with the mark at an hour; at any where that is not known."""
    face = job.housing.face(face_name)
    if face is None or not face.outward:
        return []
    return [rotation(face.outward, hour) for hour in (_ANY_HOUR if clock is None else (clock,))]
