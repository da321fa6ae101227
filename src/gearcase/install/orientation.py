"""Which way a three-axis sensor points: from its face and the clock direction of its mark to the machine's axes, and back.

Machine axes, right-handed: H to the right and V up, both seen from the input end, A along the shafts towards the viewer there. The
sensor's z axis stands out of its face, its y axis lies along its mark, x makes them right-handed. Twelve o'clock on a face is up;
on a top or bottom face, where nothing is up, it is towards the output end.

Gravity fixes two of three angles: a turn about the vertical stays unseen until a tap in a known level direction shows it. On a side
that is a sensor put on another side; on top and below it is any hour of its mark.
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gearcase.errors import OutOfRange
from gearcase.worked import worked_by

__all__ = [
    "GRAVITY",
    "MACHINE_AXES",
    "OUTWARD",
    "TOWARDS_OUTPUT",
    "Along",
    "Mistake",
    "Turn",
    "amplitude_lost",
    "angle_between",
    "axes_along",
    "consistent_with",
    "cross_axis_pickup",
    "lies_along",
    "rotation",
    "tap_axis",
    "turns",
    "twelve_is",
    "unseen_by_gravity",
]

GRAVITY = 9.80665  # m/s2, ISO 80000-3
OUTWARD = {
    "up": (0, 1, 0),
    "down": (0, -1, 0),
    "right": (1, 0, 0),
    "left": (-1, 0, 0),
    "input end": (0, 0, 1),
    "output end": (0, 0, -1),
}
TOWARDS_OUTPUT = (0.0, 0.0, -1.0)
MACHINE_AXES = "HVA"
_DIRECTIONS = ("horizontal", "vertical", "axial")  # of H, V and A at a shaft that lies along A
_STANDS_OUT = 0.95  # cosine from which an axis is said to lie along a machine axis; common practice, no source
_UP = (0.0, 1.0, 0.0)
_TAP_WITHIN = math.radians(30)  # a tap by hand is no straighter; common practice, no source
_TAP_RATIO = 3.0  # of the largest axis to the next; common practice, no source
Matrix = NDArray[np.float64]


@dataclass(frozen=True)
class Turn:
    """How a sensor may stand other than planned: `matrix` takes planned readings to real ones; `says` names it axis by axis."""

    says: str
    matrix: tuple[tuple[int, ...], ...]


@dataclass(frozen=True)
class Mistake:
    """A sensor on the wrong face, or with its mark at the wrong hour; `says` which of its axes then read as which, empty where they
    turn by less than a quarter.
    """

    outward: str
    clock: float
    says: str


@dataclass(frozen=True)
class Along:
    """What an axis of a sensor feels of a shaft along A: horizontal, vertical or axial; and 1 where it points to the right, up or
    towards the input end, -1 where the other way.
    """

    direction: str
    sign: int


def rotation(outward: str, clock: float) -> Matrix:
    """Rows are the sensor's x, y, z axes in machine axes H, V, A.

    Parameters
    ----------
    outward : str
        Where the face looks: a key of `OUTWARD`.
    clock : float
        Direction of the mark seen from outside, 0 to 12 hours.

    Raises
    ------
    OutOfRange

    Examples
    --------
    On the left face with the mark up, x points towards the input end:

    >>> rotation("left", 12).round().astype(int).tolist()
    [[0, 0, 1], [0, 1, 0], [-1, 0, 0]]
    """
    if outward not in OUTWARD:
        raise OutOfRange("outward", repr(outward), f"one of: {', '.join(OUTWARD)}")
    if not 0 <= clock <= 12:
        raise OutOfRange("clock", clock, "0 to 12 hours")
    out = np.array(OUTWARD[outward], dtype=float)
    twelve = np.array(_UP if twelve_is(outward) == "up" else TOWARDS_OUTPUT)
    three = np.cross(twelve, out)
    angle = 2 * math.pi * clock / 12
    mark = math.cos(angle) * twelve + math.sin(angle) * three
    return np.array([np.cross(mark, out), mark, out])


def lies_along(axis: Sequence[float] | Matrix) -> tuple[int, int] | None:
    """Which of H, V and A an axis lies along, 0, 1 or 2, and 1 where it points as that does, else -1; None where it lies between.

    Examples
    --------
    A mark half an hour off still points up, one an hour off does not:

    >>> [lies_along(rotation("left", clock)[1]) for clock in (12, 0.5, 1)]
    [(1, 1), (1, 1), None]
    """
    for number, cosine in enumerate(axis):
        if abs(cosine) >= _STANDS_OUT:
            return number, 1 if cosine > 0 else -1
    return None


def axes_along(ways: Sequence[Matrix]) -> dict[str, Along]:
    """What each of a sensor's axes feels, x, y and z, as far as all the ways in which it may stand agree on it.

    Parameters
    ----------
    ways : sequence of ndarray, shape (3, 3)
        Each as `rotation` gives it.

    Examples
    --------
    With the mark up on the input end all is known; with its hour unknown, what stands out of the face:

    >>> [(axis, one.direction, one.sign) for axis, one in axes_along([rotation("input end", 12)]).items()]
    [('x', 'horizontal', 1), ('y', 'vertical', 1), ('z', 'axial', 1)]
    >>> list(axes_along([rotation("input end", clock) for clock in (12, 3, 6, 9)]))
    ['z']
    """
    found = {}
    for row, name in enumerate("xyz"):
        along = {lies_along(way[row]) for way in ways}
        only = along.pop() if len(along) == 1 else None
        if only is not None:
            found[name] = Along(_DIRECTIONS[only[0]], only[1])
    return found


def turns() -> tuple[Turn, ...]:
    """The 24 ways in which a sensor's axes may stand by quarter turns, the planned one first."""
    found = []
    for order in itertools.permutations(range(3)):
        for signs in itertools.product((1, -1), repeat=3):
            matrix = np.zeros((3, 3), dtype=int)
            for row, (column, sign) in enumerate(zip(order, signs, strict=True)):
                matrix[row, column] = sign
            if round(float(np.linalg.det(matrix))) == 1:
                found.append(Turn(_says(matrix), tuple(tuple(int(cell) for cell in line) for line in matrix)))
    planned = ((1, 0, 0), (0, 1, 0), (0, 0, 1))
    return tuple(sorted(found, key=lambda turn: turn.matrix != planned))


def consistent_with(
    planned: Matrix, gravity: Sequence[float], *, within: float, tap: Sequence[float] | None = None, towards: Sequence[float]
) -> tuple[Turn, ...]:
    """The turns that agree with gravity, and with a tap where there was one; as planned is among them or is ruled out.

    Parameters
    ----------
    planned : ndarray, shape (3, 3)
        As `rotation` gives it.
    gravity : sequence of float
        Readings of x, y, z at rest; an axis that points up reads + 1 g. [m/s2]
    within : float
        Largest angle that still agrees. [rad]
    tap : sequence of float or None
        Largest readings with their sign while the housing was tapped; None before the tap. [m/s2]
    towards : sequence of float
        Direction of the tap in machine axes.

    Examples
    --------
    At rest four turns about the vertical remain; the tap leaves one:

    >>> planned = rotation("left", 12)
    >>> at_rest = planned @ np.array([0, 9.81, 0])
    >>> len(consistent_with(planned, at_rest, within=0.09, towards=TOWARDS_OUTPUT))
    4
    >>> tapped = planned @ np.array([0, 0, -30.0])
    >>> [turn.says for turn in consistent_with(planned, at_rest, within=0.09, tap=tapped, towards=TOWARDS_OUTPUT)]
    ['x as x, y as y, z as z']
    """
    left = [turn for turn in turns() if angle_between(np.array(turn.matrix) @ planned @ np.array(_UP), gravity) <= within]
    if tap is None:
        return tuple(left)
    expected = planned @ np.array(towards)
    return tuple(turn for turn in left if angle_between(np.array(turn.matrix) @ expected, tap) <= _TAP_WITHIN)


def unseen_by_gravity(outward: str, clock: float, *, within: float) -> tuple[Mistake, ...]:
    """The ways to mount a sensor wrong, by quarters of the clock on every face, that show the planned gravity at rest.

    Parameters
    ----------
    outward, clock : str, float
        As planned, as in `rotation`.
    within : float
        Largest angle that still looks alike. [rad]

    Raises
    ------
    OutOfRange
        As `rotation`.

    Examples
    --------
    >>> [(one.outward, one.clock) for one in unseen_by_gravity("up", 12, within=0.09)]
    [('up', 3.0), ('up', 6.0), ('up', 9.0)]
    """
    planned = rotation(outward, clock)
    alike = []
    for face, quarter in itertools.product(OUTWARD, range(4)):
        hour = (clock + 3 * quarter) % 12 or 12.0
        stands = rotation(face, hour)
        if (face == outward and quarter == 0) or angle_between(stands @ np.array(_UP), planned @ np.array(_UP)) > within:
            continue
        alike.append(Mistake(face, float(hour), _says(stands @ planned.T)))
    return tuple(alike)


def twelve_is(outward: str) -> str:
    """Where twelve o'clock points on a face."""
    return "towards the output end" if outward in ("up", "down") else "up"


def tap_axis(tap: Sequence[float] | Matrix, *, names: str) -> tuple[str, bool]:
    """The axis a tap went along, with its sign, and whether it stands out by 3 to 1.

    Parameters
    ----------
    tap : sequence of float
        Along three axes at right angles. [m/s2]
    names : str
        Of the axes, a letter each: ``xyz`` of a sensor, `MACHINE_AXES` of the machine.

    Examples
    --------
    A tap along the machine's own axis splits over two of a sensor whose mark points to half past one; turned back it is whole:

    >>> tap_axis([2.0, -40.0, 5.0], names="xyz")
    ('-y', True)
    >>> stands = rotation("left", 1.5)
    >>> along = stands @ np.array(TOWARDS_OUTPUT) * 30
    >>> tap_axis(along, names="xyz")[1], tap_axis(stands.T @ along, names=MACHINE_AXES)
    (False, ('-A', True))
    """
    sizes = sorted(((abs(value), n) for n, value in enumerate(tap)), reverse=True)
    (largest, axis), (second, _) = sizes[0], sizes[1]
    return f"{'-' if tap[axis] < 0 else ''}{names[axis]}", bool(largest > 0 and largest >= _TAP_RATIO * second)


def angle_between(one: Sequence[float] | Matrix, other: Sequence[float] | Matrix) -> float:
    """Angle between two directions, half a turn where one of them has no length. [rad]"""
    a, b = np.asarray(one, dtype=float), np.asarray(other, dtype=float)
    size = float(np.linalg.norm(a) * np.linalg.norm(b))
    return math.acos(max(-1.0, min(1.0, float(a @ b) / size))) if size else math.pi


@worked_by(formula="lost = 1 - cos(angle)", unit="-", source="projection")
def amplitude_lost(*, angle: float) -> float:
    """Share of a vibration lost by an axis that stands off its direction. [-]

    Parameters
    ----------
    angle : float
        [rad]

    Examples
    --------
    Row MX2 of ``mounting_checks.csv``: 10 degrees cost 1.5 %.

    >>> amplitude_lost(angle=math.radians(10))
    0.01519224699
    """
    return 1 - math.cos(angle)


@worked_by(formula="pickup = |sin(angle)|", unit="-", source="projection")
def cross_axis_pickup(*, angle: float) -> float:
    """Share of the vibration across it that an axis off its direction picks up. [-]

    Parameters
    ----------
    angle : float
        [rad]

    Examples
    --------
    Row MY2 of ``mounting_checks.csv``: 10 degrees let in 17 %.

    >>> cross_axis_pickup(angle=math.radians(10))
    0.1736481777
    """
    return abs(math.sin(angle))


def _says(matrix: Matrix) -> str:
    """``x as -x, y as y, z as -z``: a turn by quarters, axis by axis; empty for another."""
    if np.abs(matrix).max(axis=1).min() < 1 - 1e-6:
        return ""
    axes = [int(np.argmax(np.abs(line))) for line in matrix]
    signs = ["-" if line[axis] < 0 else "" for line, axis in zip(matrix, axes, strict=True)]
    return ", ".join(f"{own} as {sign}{'xyz'[axis]}" for own, sign, axis in zip("xyz", signs, axes, strict=True))
