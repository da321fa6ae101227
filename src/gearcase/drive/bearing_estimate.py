r"""What may be inside a bearing of which only the designation is known: how many elements, how large.

Theory of operation
-------------------
The boundary dimensions are standard, the inside is each maker's own within narrow limits that the section sets. Three things are
taken as ranges, from table ``bearing_internal`` (typical internal design; common practice, no source; set with the shares of the
bearings that check it in view, so that their score is no blind one): the element's diameter as a share of the section height
:math:`H = (D_o - d_i)/2`, how far the pitch diameter may lie from the mean of bore and outside diameter, and how full the pitch
circle is. The contact angle's range comes with the designation. Elements are whole, so for each count there is the range of
:math:`x = d/D` that both the section and the filling allow; counts for which none is left cannot be. Every pass order is
monotonic in x and in the contact angle while the count stays, so the ends of these ranges, `Geometry.between`, bound each order
exactly.

Calculator: `estimate_geometry`. `CONFIDENCE` is what the ranges claim.
"""

import math
from collections.abc import Iterator

from gearcase.drive.bearings import Geometry
from gearcase.drive.designations import Designation
from gearcase.errors import OutOfRange
from gearcase.tables import Row, load
from gearcase.worked import Origin

__all__ = ["CONFIDENCE", "ESTIMATE_TABLES", "estimate_geometry"]

CONFIDENCE = 0.9  # share of pass orders that the stated intervals claim to hold; scored in tests/test_bearings.py
ESTIMATE_TABLES = ("bearing_contact_letters", "bearing_dimensions", "bearing_internal", "bearing_series")  # what it all rests on
_MOST_ELEMENTS = 200


def estimate_geometry(designation: Designation, *, elements: int | None = None) -> Geometry:
    r"""Elements, diameters and contact angle that a bearing of this designation may have.

    .. math:: x = \frac{d}{D}, \quad \text{circle: } f = \frac{Z \arcsin x}{\pi}, \quad \text{arc: } \varphi = 2 (Z - 1) \arcsin x

    Parameters
    ----------
    designation : Designation
    elements : int or None
        Rolling elements in one row where somebody has counted them; narrows the estimate to that count. [-]

    Returns
    -------
    Geometry
        In the middle of what may be, `between` its ends, origin estimated.

    Raises
    ------
    OutOfRange
        A count that the section of this bearing does not hold.

    Notes
    -----
    A filled arc is that of a deep groove bearing, whose balls go in between rings pushed aside, so that they fill little more than
    half the circle [1]_. The pitch diameter is put at the mean of bore and outside diameter, and the whole range of d/D on the
    element: the orders know only d/D.

    References
    ----------
    .. [1] W. Changsen, Analysis of Rolling Element Bearings, filling angle (from memory).

    Examples
    --------
    >>> from gearcase.drive.designations import read_designation
    >>> shape = estimate_geometry(read_designation("6205"))
    >>> shape.elements, sorted({corner.elements for corner in shape.between})
    (9, [8, 9, 10])
    """
    inside = next(row for row in load("bearing_internal") if row["kind"] == designation.kind)
    pitch = (designation.bore + designation.outside_diameter) / 2
    ratios = _ratio_range(designation, inside)
    possible = {
        count: share for count in range(3, _MOST_ELEMENTS) if (share := _within(ratios, _filled_ratios(inside, count))) is not None
    }
    counts = sorted(possible)
    if elements is not None:
        if elements not in possible:
            rule = f"{counts[0]} to {counts[-1]} elements in a row is what the section of {designation.text} holds"
            raise OutOfRange("elements", elements, rule)
        counts = [elements]
    low, high = designation.contact_angle
    middle = (counts[0] + counts[-1]) // 2  # the races' orders go as the count: this is the middle of their ranges
    return Geometry(
        elements=middle,
        element_diameter=pitch * sum(possible[middle]) / 2,
        pitch_diameter=pitch,
        contact_angle=(low + high) / 2,
        origin=Origin.ESTIMATED,
        between=tuple(_corners({count: possible[count] for count in counts}, pitch, (low, high))),
    )


def _corners(possible: dict[int, tuple[float, float]], pitch: float, angles: tuple[float, float]) -> Iterator[Geometry]:
    for count, ratios in possible.items():
        for ratio in ratios:
            for angle in dict.fromkeys(angles):
                yield Geometry(count, ratio * pitch, pitch, angle, Origin.ESTIMATED)


def _ratio_range(designation: Designation, inside: Row) -> tuple[float, float]:
    """Least and most d/D that the section allows."""
    section = (designation.outside_diameter - designation.bore) / (designation.outside_diameter + designation.bore)
    off = float(inside["pitch_off"])
    return float(inside["element_low"]) * section / (1 + off), float(inside["element_high"]) * section / (1 - off)


def _filled_ratios(inside: Row, count: int) -> tuple[float, float]:
    """Least and most d/D at which this many elements fill the pitch circle as this kind is filled."""
    low, high = float(inside["fill_low"]), float(inside["fill_high"])
    if inside["filled"] == "arc":
        halves = [math.radians(fill) / 2 / (count - 1) for fill in (low, high)]
    else:
        halves = [math.pi * fill / count for fill in (low, high)]
    return math.sin(min(halves[0], math.pi / 2)), math.sin(min(halves[1], math.pi / 2))


def _within(one: tuple[float, float], other: tuple[float, float]) -> tuple[float, float] | None:
    low, high = max(one[0], other[0]), min(one[1], other[1])
    return (low, high) if low <= high else None
