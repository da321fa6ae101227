"""Whether a tapped blind hole fits a wall: drill, thread, depth, metal left.

From the face inwards a hole is made of the spot-face, the full thread, the tap's lead, the drill's point, and the metal that
must stay before the oil. The wall is the one measured at the spot, least reading less the gauge's error; without a measurement
there is no hole.

Calculators: `percent_thread`, `drill_for_thread`, `drill_point_length`, `depth_to_shoulder`, `metal_left`, `least_metal`,
`wall_needed`, `edge_distance`, `hole_spacing`. Rules: `metal_ruling`, `edge_ruling`, `spacing_ruling`. Tables: `tap_drill`,
`clearance_hole`.
"""

import math
from dataclasses import dataclass

from gearcase.errors import OutOfRange, above_zero
from gearcase.install.rulings import Ruling
from gearcase.tables import Row, load
from gearcase.units import Thread
from gearcase.worked import worked_by

__all__ = [
    "FITS",
    "LEAD_THREADS",
    "ClearanceHole",
    "TapDrill",
    "clearance_hole",
    "depth_to_shoulder",
    "drill_for_thread",
    "drill_point_length",
    "edge_distance",
    "edge_ruling",
    "hole_spacing",
    "least_metal",
    "metal_left",
    "metal_ruling",
    "percent_thread",
    "spacing_ruling",
    "tap_drill",
    "wall_needed",
]

FITS = ("close", "normal", "loose")
LEAD_THREADS = {"taper": 8.5, "plug": 4.0, "bottoming": 1.5}  # ASME B94.9 (from memory): 7 to 10, 3 to 5, 1 to 2 threads
POINT_ANGLE = math.radians(118)  # of a common twist drill
_ROUNDED = 1e-5  # of a size, to which the table prints inches in millimetres
_NEAREST = 4
_LEAST_METAL, _LEAST_SHARE = 5e-3, 0.4  # common practice, no source


@dataclass(frozen=True)
class TapDrill:
    """Drill for a thread: as its maker names it, its diameter and the thread's pitch and stress area. [m, m, m2]"""

    thread: str
    drill: str
    diameter: float
    pitch: float
    major_diameter: float
    stress_area: float


def tap_drill(thread: Thread) -> TapDrill:
    """Tap drill of a thread, from the published tables.

    Raises
    ------
    OutOfRange
        The tables do not hold this thread; the rule names the nearest they hold.

    Examples
    --------
    Row TF1 of ``fastener_checks.csv``:

    >>> from gearcase.units import parse_thread
    >>> tap_drill(parse_thread("1/4-28")).drill
    '#3'
    """
    for row in load("threads"):
        if _names(row, thread):
            return TapDrill(
                thread=thread.designation,
                drill=row["tap_drill"],
                diameter=float(row["tap_drill_mm"]) / 1000,
                pitch=float(row["pitch_mm"]) / 1000,
                major_diameter=float(row["major_mm"]) / 1000,
                stress_area=float(row["stress_area_mm2"]) / 1e6,
            )
    raise OutOfRange("thread", repr(thread.designation), f"a thread of the table; nearest to it: {', '.join(_nearest(thread))}")


@dataclass(frozen=True)
class ClearanceHole:
    """Hole a screw passes through: its drill as its maker names it, diameter [m], and the standard it is from."""

    size: str
    fit: str
    drill: str
    diameter: float
    source: str


def clearance_hole(size: str, fit: str) -> ClearanceHole:
    """Clearance hole of a screw size, from ISO 273 and ASME B18.2.8.

    Raises
    ------
    OutOfRange
        The table does not hold this size or fit; the rule names those it holds.

    Examples
    --------
    A 1/2 in bolt, normal fit, passes 9/16 in:

    >>> clearance_hole("1/2", "normal").drill
    '9/16 in'
    """
    if fit not in FITS:
        raise OutOfRange("fit", repr(fit), f"one of: {', '.join(FITS)}")
    for row in load("clearance_holes"):
        if row["size"] == size:
            return ClearanceHole(size, fit, row[fit], float(row[f"{fit}_mm"]) / 1000, row["source"])
    raise OutOfRange("size", repr(size), f"one of the table's: {', '.join(row['size'] for row in load('clearance_holes'))}")


@worked_by(
    formula="percent = (D - d) / (1.299 P)",
    unit="%",
    source="Machinery's Handbook percent-thread formula, full height of a pair 1.299 P",
)
def percent_thread(*, major_diameter: float, drill_diameter: float, pitch: float) -> float:
    """Height of thread a drill leaves, in per cent of a full one (inch practice). [%]

    Raises
    ------
    OutOfRange
        Not 0 < drill < major diameter, or pitch not above 0.

    Examples
    --------
    Row TP01 of ``fastener_checks.csv``, 1/4-28 with a #3 drill, handbook constant 76.98:

    >>> percent_thread(major_diameter=0.25, drill_diameter=0.213, pitch=1 / 28)
    79.75
    """
    above_zero(pitch=pitch, drill_diameter=drill_diameter)
    if drill_diameter >= major_diameter:
        raise OutOfRange("drill_diameter", drill_diameter, f"below the major diameter {major_diameter}")
    return 76.98 * (major_diameter - drill_diameter) / pitch


@worked_by(
    formula="d = D - percent P / 76.98",
    unit="m",
    source="Machinery's Handbook percent-thread formula, full height of a pair 1.299 P",
)
def drill_for_thread(*, major_diameter: float, pitch: float, percent: float) -> float:
    """Drill diameter that leaves so much thread. [m]

    Raises
    ------
    OutOfRange
        Percent not in (0, 100].
    """
    if not 0 < percent <= 100:
        raise OutOfRange("percent", percent, "above 0, at most 100")
    return major_diameter - percent * pitch / 76.98


@worked_by(formula="point = (d / 2) / tan(59 deg)", unit="m", source="geometry of a 118 degree drill point")
def drill_point_length(*, drill_diameter: float) -> float:
    """Length of the drill's point beyond its shoulder. [m]

    Raises
    ------
    OutOfRange
        Diameter not above 0.
    """
    above_zero(drill_diameter=drill_diameter)
    return drill_diameter / 2 / math.tan(POINT_ANGLE / 2)


@worked_by(
    formula="depth = full thread + lead threads x pitch",
    unit="m",
    source="definition; leads by ASME B94.9 (from memory)",
)
def depth_to_shoulder(*, full_thread: float, lead_threads: float, pitch: float) -> float:
    """Depth of full drill diameter that a blind tapped hole needs below its spot-face. [m]

    Raises
    ------
    OutOfRange
        A length not above 0.
    """
    above_zero(full_thread=full_thread, pitch=pitch)
    return full_thread + lead_threads * pitch


@worked_by(formula="left = wall - spot-face - depth - point", unit="m", source="geometry")
def metal_left(*, wall: float, spot_face: float, depth: float, point: float) -> float:
    """Metal between the tip of the drill and the oil; negative when the drill breaks through. [m]"""
    return wall - spot_face - depth - point


@worked_by(formula="least = max(5 mm, 0.4 x wall)", unit="m", source="common practice, no source")
def least_metal(*, wall: float) -> float:
    """Metal that must stay before the oil. [m]

    Raises
    ------
    OutOfRange
        Wall not above 0.
    """
    above_zero(wall=wall)
    return max(_LEAST_METAL, _LEAST_SHARE * wall)


@worked_by(
    formula="needed = max(stack + 5 mm, stack / 0.6), stack = spot-face + depth + point",
    unit="m",
    source="common practice, no source",
)
def wall_needed(*, spot_face: float, depth: float, point: float) -> float:
    """Thinnest wall in which the least metal stays. [m]

    Examples
    --------
    1/4-28 with 6.35 mm of full thread, plug tap, 1 mm spot-face:

    >>> wall_needed(spot_face=1e-3, depth=9.97856e-3, point=1.625e-3)
    0.02100
    """
    stack = spot_face + depth + point
    return max(stack + _LEAST_METAL, stack / (1 - _LEAST_SHARE))


@worked_by(formula="edge = 1.5 x hole diameter", unit="m", source="common practice, no source")
def edge_distance(*, hole_diameter: float) -> float:
    """Least distance from the middle of a hole to an edge. [m]"""
    return 1.5 * hole_diameter


@worked_by(formula="spacing = 3 x larger hole diameter", unit="m", source="common practice, no source")
def hole_spacing(*, hole_diameter: float) -> float:
    """Least distance between the middles of two holes, by the larger one's diameter. [m]"""
    return 3.0 * hole_diameter


def metal_ruling(*, wall: float, spot_face: float, depth: float, point: float) -> Ruling:
    """Whether enough metal stays before the oil. A hole that leaves too little is a way towards the oil, never to be drilled.

    Parameters
    ----------
    wall : float
        What a hole may count on: the least gauged thickness, corrected and less the gauge's error. [m]
    spot_face, depth, point : float
        [m]

    Examples
    --------
    The usual stud (1/4-28, 6.35 mm of thread, plug tap) in a usual wall of 12 mm breaks through:

    >>> ruling = metal_ruling(wall=12e-3, spot_face=1e-3, depth=9.97856e-3, point=1.625e-3)
    >>> ruling.holds, ruling.value, ruling.cure
    (False, -0.0006, 'bond it, or find a boss of 21.0 mm or more')
    """
    needed = wall_needed(spot_face=spot_face, depth=depth, point=point)
    return Ruling(
        what="metal left before the oil",
        value=metal_left(wall=wall, spot_face=spot_face, depth=depth, point=point),
        unit="m",
        least=least_metal(wall=wall) if wall > 0 else _LEAST_METAL,  # a gauge's error may eat up all of a thin wall
        cure=f"bond it, or find a boss of {1000 * needed:.1f} mm or more",
        source="common practice, no source: max(5 mm, 0.4 x wall)",
    )


def edge_ruling(*, to_edge: float, hole_diameter: float) -> Ruling:
    """Whether a hole stands far enough from an edge; `shortfall` is how far it must move inwards.

    Parameters
    ----------
    to_edge : float
        From the hole's middle. [m]
    hole_diameter : float
        Major diameter of a tapped hole. [m]
    """
    least = edge_distance(hole_diameter=hole_diameter)
    cure = f"move it {1000 * max(0.0, least - to_edge):.1f} mm away from the edge, or bond it"
    return Ruling("edge distance", to_edge, "m", cure, "common practice, no source: 1.5 d", least=least)


def spacing_ruling(*, apart: float, hole_diameter: float, other_diameter: float) -> Ruling:
    """Whether two holes stand far enough apart; `shortfall` is how far one must move.

    Parameters
    ----------
    apart : float
        Between their middles. [m]
    hole_diameter, other_diameter : float
        Major diameters of tapped holes. [m]
    """
    least = hole_spacing(hole_diameter=max(hole_diameter, other_diameter))
    cure = f"move them {1000 * max(0.0, least - apart):.1f} mm further apart"
    return Ruling("distance between holes", apart, "m", cure, "common practice, no source: 3 d of the larger", least=least)


def _names(row: Row, thread: Thread) -> bool:
    """Whether a row is of this thread; a metric one without its pitch is the coarse one."""
    if row["series"].startswith("metric") != (thread.system == "metric"):
        return False
    if not math.isclose(thread.major_diameter, float(row["major_mm"]) / 1000, rel_tol=_ROUNDED):
        return False
    if thread.pitch is None:
        return row["series"] == "metric coarse"
    return math.isclose(thread.pitch, float(row["pitch_mm"]) / 1000, rel_tol=_ROUNDED)


def _nearest(thread: Thread) -> list[str]:
    """The threads of the table nearest in diameter, of the same system."""
    same = [row for row in load("threads") if row["series"].startswith("metric") == (thread.system == "metric")]
    return [
        row["thread"] for row in sorted(same, key=lambda row: abs(float(row["major_mm"]) / 1000 - thread.major_diameter))[:_NEAREST]
    ]
