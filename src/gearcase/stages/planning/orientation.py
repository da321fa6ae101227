"""How each three-axis sensor must stand: its axes in the machine's, the gravity each shows at rest, what gravity cannot tell."""

from typing import Any

import numpy as np

from gearcase.findings import Level
from gearcase.install.orientation import GRAVITY, TOWARDS_OUTPUT, Mistake, lies_along, rotation, twelve_is, unseen_by_gravity
from gearcase.install.points import Point
from gearcase.job.build import Job
from gearcase.stages.planning.draft import Draft
from gearcase.stages.planning.mounts import BONDED

__all__ = ["TILT", "orientation"]

TILT = 0.09  # rad, about 5 degrees: what a hand on a mark leaves open; common practice, no source
_MACHINE = (("H", "right", "left"), ("V", "up", "down"), ("A", "towards the input end", "towards the output end"))
_TAP = {
    "input end": "towards the output end, on the bare face beside it",
    "output end": "towards the output end, on an edge of foot or flange that looks to the input end; on this face itself a tap "
    "goes the other way and shows the other sign",
}


def orientation(job: Job, point: Point, mount: str, draft: Draft) -> dict[str, Any] | None:
    """How a point's sensor, on the mount as planned, must stand; None for one axis or one overall figure, which show no gravity, or
    where its face and mark are not known.
    """
    if point.sensor.axes != 3 or point.sensor.kind == "overall":
        return None
    face = job.housing.face(point.face)
    if face is None or not face.outward or point.clock is None:
        says = "where its face looks and where its mark points are not given: nobody can say which axis is which"
        draft.find(Level.NOTE, "orientation", point.name, says)
        return None
    planned = rotation(face.outward, point.clock)
    at_rest = GRAVITY * planned @ np.array([0.0, 1.0, 0.0])
    twelve = f"{point.clock:g} o'clock seen from outside, 12 being {twelve_is(face.outward)}"
    shows = ", ".join(f"{axis} {value / GRAVITY + 0.0:+.2f} g" for axis, value in zip("xyz", at_rest.round(6), strict=True))
    draft.step(
        point.name,
        f"The mark must stand at {twelve}, when it is tight or the bond closes; photograph it; at rest it must show {shows}. "
        f"{_unseen(face.outward)}",
        "bond" if mount == BONDED else "mount",
        tool="camera, small plastic hammer",
        value=f"mark at {point.clock:g} o'clock",
        tolerance="5 degrees",
    )
    return {
        "point": point.name,
        "face": face.name,
        "outward": face.outward,
        "clock": point.clock,
        "rotation": [[round(float(cell), 6) + 0.0 for cell in line] for line in planned],
        "axes": {axis: _along(planned[row]) for row, axis in enumerate("xyz")},
        "gravity_m_s2": [round(float(one), 4) + 0.0 for one in at_rest],
        "looks": f"the mark points to {twelve}; z stands out of the face, y lies along the mark",
        "gravity_alone_cannot_show": [
            _mistake(face.outward, one) for one in unseen_by_gravity(face.outward, point.clock, within=TILT)
        ],
        "tap": _TAP.get(face.outward, "towards the output end, on an edge beside it that looks to the input end"),
        "tap_axis": _tap_axis(planned @ np.array(TOWARDS_OUTPUT)),
    }


def _unseen(outward: str) -> str:
    if outward in ("up", "down"):
        return "On this face gravity is the same at every hour of the mark: only the photo and a tap show a wrong one."
    return "Gravity alone does not show a turn about the vertical, as of a sensor on another side: the photo and a tap do."


def _mistake(planned: str, one: Mistake) -> str:
    where = "" if one.outward == planned else f"on the side that looks to {one.outward}, "
    axes = f" ({one.says})" if one.says else ""
    return f"{where}mark at {one.clock:g} o'clock{axes}"


def _along(axis: Any) -> str:
    """``up``, or the cosines where it lies between."""
    if along := lies_along(axis):
        _, plus, minus = _MACHINE[along[0]]
        return plus if along[1] > 0 else minus
    return ", ".join(f"{name} {float(cosine):+.2f}" for cosine, (name, _, _) in zip(axis, _MACHINE, strict=True))


def _tap_axis(shown: Any) -> str:
    axis = int(np.argmax(np.abs(shown)))
    return f"{'-' if shown[axis] < 0 else '+'}{'xyz'[axis]}"
