"""Proving the sensors: do they feel 1 g, stand as planned, and hear little at rest?"""

import math
from collections.abc import Sequence

import numpy as np

from gearcase.install.map_check import reading_of
from gearcase.install.orientation import (
    GRAVITY,
    MACHINE_AXES,
    TOWARDS_OUTPUT,
    Turn,
    angle_between,
    consistent_with,
    rotation,
    tap_axis,
)
from gearcase.judge.zones import rate
from gearcase.stages.proving.session import Device, Proving, Row, failed, left_open, passed

__all__ = ["gravity", "noise", "orientation"]

_LEAST_G, _MOST_G = 0.95, 1.05  # common practice, no source
_TILT = math.radians(5)
_NOISE_SHARE = 1 / 5
_AS_PLANNED = "x as x, y as y, z as z"
_WAYS = {  # of `MACHINE_AXES`, in words
    "H": "to the right",
    "-H": "to the left",
    "V": "upwards",
    "-V": "downwards",
    "A": "towards the input end",
    "-A": "towards the output end",
}


async def gravity(proving: Proving, one: Device) -> Row:
    """1 g, standing still."""
    if moving := await proving.moving():
        return left_open(f"{moving}: gravity is read standing still")
    vector = await proving.vector(one, "gravity")
    size = float(np.linalg.norm(vector)) / GRAVITY
    if _LEAST_G <= size <= _MOST_G:
        return passed(f"{size:.3f} g")
    axes = [one.form.registers[f"gravity {axis}"] for axis in "xyz"]
    reading = reading_of(axes, vector, known=GRAVITY, within=(_MOST_G - 1.0) / 3 * GRAVITY)
    return failed(f"{size:.3f} g", f"{reading.says}; or an axis is dead: compare x, y and z one by one")


async def orientation(proving: Proving, one: Device) -> Row:
    """Gravity and a tap towards the output end against the plan."""
    point = proving.point(one)
    face = proving.job.housing.face(point.face) if point else None
    if point is None or point.clock is None or face is None or not face.outward:
        return left_open("the job does not say where its face looks and where its mark points: nothing to compare with")
    if moving := await proving.moving():
        return left_open(f"{moving}: it is told standing still")
    planned = rotation(face.outward, point.clock)
    gravity = await proving.vector(one, "gravity")
    tilt = math.degrees(angle_between(planned @ np.array([0.0, 1.0, 0.0]), gravity))
    left = consistent_with(planned, gravity, within=_TILT, towards=TOWARDS_OUTPUT)
    if not left:
        says = "it agrees with no quarter turn of the plan: is the face tilted, the clock wrong?"
        return _stands(failed(f"{tilt:.1f} degrees off", says), left)
    if left[0].says != _AS_PLANNED:
        says = f"turned or its axes are swapped: consistent with {_turns(left)}; turn it or correct the plan"
        return _stands(failed(_turns(left), says), left)
    if point.name not in proving.said.tapped:
        says = f"consistent with: {_turns(left)}; tap the housing at {point.name} towards the output end to tell which"
        return left_open(says, f"{tilt:.1f} degrees off")
    if not one.form.of("tap"):
        return left_open(f"{one.form.name} tells no tap: compare the photo of its mark with the plan", f"{tilt:.1f} degrees off")
    tap = await proving.vector(one, "tap")
    told = consistent_with(planned, gravity, within=_TILT, tap=tap, towards=TOWARDS_OUTPUT)
    stands = np.array(told[0].matrix) @ planned if told else planned
    axis, clear = tap_axis(stands.T @ np.array(tap), names=MACHINE_AXES)  # whatever hour the mark points to
    felt = f"the tap was felt {_WAYS[axis]}"
    if not clear:
        measured = _vector_words(tap)
        return left_open(f"the tap went along no axis of the machine 3 to 1 ({measured}): tap again, straight", measured)
    if [turn.says for turn in told] == [_AS_PLANNED]:
        return passed(f"{tilt:.1f} degrees off; {felt}")
    which = f"it stands with {_turns(told)}" if told else f"{felt}, which fits no turn of the sensor: its axes are swapped"
    return _stands(failed(felt, f"{which}; turn it or correct the plan, then prove it again"), told)


async def noise(proving: Proving, one: Device) -> Row:
    """Overall velocity standing still."""
    if moving := await proving.moving():
        return left_open(f"{moving}: its noise is heard standing still")
    ratings = proving.job.drive.ratings
    rating = rate(0.0, power=ratings.power, speed_hz=proving.job.drive.speed_hz, support=ratings.support)
    if rating is None:
        return left_open("no zone applies by power, speed and support as they are known: nothing to compare with")
    loudest = await proving.loudest(one)
    most = _NOISE_SHARE * rating.boundaries[0]
    measured = f"{1000 * loudest:.3f} mm/s of at most {1000 * most:.3f}"
    if loudest <= most:
        return passed(measured)
    return failed(measured, "loose, or something nearby runs: press it by hand, listen for neighbours, look at cable and screen")


def _stands(row: Row, left: Sequence[Turn]) -> Row:
    """A failure with the ways in which it may stand, for whoever takes its records until it is turned."""
    return row | {"stands": [turn.says for turn in left]}


def _turns(turns: Sequence[Turn]) -> str:
    return " or ".join("as planned" if turn.says == _AS_PLANNED else turn.says for turn in turns)


def _vector_words(vector: Sequence[float]) -> str:
    return ", ".join(f"{axis} {value:.1f}" for axis, value in zip("xyz", vector, strict=True)) + " m/s2"
