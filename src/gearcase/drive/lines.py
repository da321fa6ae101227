"""Every line a drive can show, with the part that makes it.

A line is an order, turns of the reference shaft, so that one list serves every speed. Shaft harmonics; mesh harmonics,
each with sidebands of both shafts; hunting tooth and assembly phase; the four bearing rates with harmonics.
"""

import functools
from collections.abc import Iterator
from dataclasses import dataclass

from gearcase.drive.bearings import (
    COUNT_RULE_SPREAD,
    Bearing,
    Candidate,
    CountRule,
    Geometry,
    ball_pass_frequency_inner,
    ball_pass_frequency_outer,
    cage_by_count,
    element_defect_frequency,
    fundamental_train_frequency,
    inner_race_by_count,
    outer_race_by_count,
)
from gearcase.drive.train import (
    Drive,
    Mesh,
    ShaftOrder,
    assembly_phase_frequency,
    gear_mesh_frequency,
    hunting_tooth_frequency,
    shaft_orders,
    weaker,
)
from gearcase.worked import Origin, worked_by

__all__ = [
    "BEARING_RATES",
    "COUNT_RATES",
    "MESH_HARMONICS",
    "SIDEBAND_PAIRS",
    "Line",
    "bearing_order",
    "bearing_order_spread",
    "bearing_ring_orders",
    "expected_lines",
    "harmonic_frequency",
    "sideband_frequency",
    "slowest_shaft_order",
]

SHAFT_HARMONICS = 3
MESH_HARMONICS = 3
SIDEBAND_PAIRS = 3
BEARING_HARMONICS = 3

BEARING_RATES = {
    "outer_race": ball_pass_frequency_outer,
    "inner_race": ball_pass_frequency_inner,
    "rolling_element": element_defect_frequency,
    "cage": fundamental_train_frequency,
}
COUNT_RATES = {
    "outer_race": outer_race_by_count,
    "inner_race": inner_race_by_count,
    "cage": cage_by_count,
}  # no rule for the element


@dataclass(frozen=True)
class Line:
    """A line of the vibration or envelope spectrum, tied to the part that makes it.

    Attributes
    ----------
    name : str
        For people, e.g. ``"high-speed mesh 2x"``.
    component : str
        The part, as the job names it.
    kind : str
        shaft, mesh, sideband, hunting_tooth, assembly_phase, outer_race, inner_race, rolling_element or cage.
    harmonic : int
        1 for the fundamental.
    order : float
        Cycles per turn of `reference_shaft`, never negative.
    reference_shaft : str
    spread : float
        Half-width of what is not known about the order, relative to it. Slip is not in it.
    origin : Origin
        The weakest knowledge the order rests on.
    sideband_shaft, sideband_pair : str, int
        For a sideband: the shaft that modulates, and how many of its turns away, negative below the mesh line.
    candidate : str
        For a bearing that may be one of several: which of them; empty where there is no other.
    """

    name: str
    component: str
    kind: str
    harmonic: int
    order: float
    reference_shaft: str
    spread: float
    origin: Origin
    sideband_shaft: str = ""
    sideband_pair: int = 0
    candidate: str = ""

    def hz(self, speed_hz: float) -> float:
        """Where the line stands at one speed of the reference shaft. [Hz]"""
        return self.order * speed_hz


def expected_lines(drive: Drive) -> tuple[Line, ...]:
    """All lines of a drive: shafts, then meshes with their sidebands, then bearings, fundamentals first in each part.

    Parts whose speed, teeth or geometry nobody knows give no line; `stages.survey` lists them as unknown.

    Raises
    ------
    OutOfRange
        As `shaft_orders`.
    """
    orders = shaft_orders(drive)
    lines = [*_shaft_lines(drive, orders)]
    for mesh in drive.meshes:
        lines += _mesh_lines(drive, mesh, orders)
    for bearing in drive.bearings:
        lines += _bearing_lines(drive, bearing, orders)
    return tuple(lines)


@worked_by(formula="f = n x f_1", unit="Hz", source="definition of a harmonic")
def harmonic_frequency(*, fundamental_hz: float, harmonic: float) -> float:
    """A harmonic of a line. [Hz]

    Examples
    --------
    >>> harmonic_frequency(fundamental_hz=24.75, harmonic=2)
    49.5
    """
    return harmonic * fundamental_hz


@worked_by(formula="f = n x f_m + k x f_shaft", unit="Hz", source="definition of a sideband")
def sideband_frequency(*, mesh_hz: float, harmonic: float, shaft_hz: float, pair: float) -> float:
    """A sideband of a mesh harmonic; `pair` is negative below it. [Hz]

    Examples
    --------
    Row G51sb-2 of ``gear_trains.csv``:

    >>> sideband_frequency(mesh_hz=660.0, harmonic=1, shaft_hz=7.5, pair=-2)
    645.0
    """
    return harmonic * mesh_hz + pair * shaft_hz


def slowest_shaft_order(drive: Drive) -> float:
    """Order of the slowest shaft that is known."""
    return min(abs(order.order) for order in shaft_orders(drive).values())


def bearing_ring_orders(bearing: Bearing, orders: dict[str, ShaftOrder]) -> tuple[float, float] | None:
    """Signed orders of inner and outer ring; a held ring is 0; None when a ring's shaft is not reached."""
    rings = []
    for shaft in (bearing.inner_shaft, bearing.outer_shaft):
        if shaft is not None and shaft not in orders:
            return None
        rings.append(orders[shaft].order if shaft is not None else 0.0)
    return rings[0], rings[1]


def bearing_order(kind: str, rings: tuple[float, float], shape: Geometry | CountRule) -> float:
    """Order of one of the `BEARING_RATES`, by count alone of one of the `COUNT_RATES`, of a bearing whose rings turn at these
    signed orders.
    """
    if isinstance(shape, CountRule):
        return float(COUNT_RATES[kind](rings[0], outer_hz=rings[1], elements=shape.elements))
    return float(
        BEARING_RATES[kind](
            rings[0],
            outer_hz=rings[1],
            elements=shape.elements,
            element_diameter=shape.element_diameter,
            pitch_diameter=shape.pitch_diameter,
            contact_angle=shape.contact_angle,
        )
    )


def bearing_order_spread(kind: str, rings: tuple[float, float], shape: Geometry | CountRule) -> float:
    """Half-width of what is not known about an order of `bearing_order`, relative to it: as stated, by the rule of thumb, or by the
    ends between which an estimate lies.
    """
    if isinstance(shape, CountRule):
        return COUNT_RULE_SPREAD
    order = bearing_order(kind, rings, shape)
    if order == 0:
        return shape.spread
    return shape.spread + max((abs(bearing_order(kind, rings, end) / order - 1) for end in shape.between), default=0.0)


def _shaft_lines(drive: Drive, orders: dict[str, ShaftOrder]) -> Iterator[Line]:
    for shaft in drive.shafts:
        if shaft.name not in orders:
            continue
        known = orders[shaft.name]
        for n in range(1, SHAFT_HARMONICS + 1):
            yield Line(
                f"{shaft.name} {n}x",
                shaft.name,
                "shaft",
                n,
                n * abs(known.order),
                drive.reference_shaft,
                known.spread,
                known.origin,
            )


def _mesh_lines(drive: Drive, mesh: Mesh, orders: dict[str, ShaftOrder]) -> Iterator[Line]:
    teeth_known = [
        (teeth, shaft)
        for teeth, shaft in ((mesh.pinion_teeth, mesh.pinion_shaft), (mesh.wheel_teeth, mesh.wheel_shaft))
        if teeth is not None and shaft in orders
    ]
    if not teeth_known:
        return
    teeth, shaft = teeth_known[0]
    known = orders[shaft]
    mesh_order = gear_mesh_frequency(speed_hz=abs(known.order), teeth=teeth)
    origin = weaker(known.origin, mesh.origin)

    def line(name: str, kind: str, harmonic: int, order: float, side: str = "", pair: int = 0) -> Line:
        reference = drive.reference_shaft
        return Line(name, mesh.name, kind, harmonic, order, reference, known.spread, origin, side, pair)

    for n in range(1, MESH_HARMONICS + 1):
        yield line(f"{mesh.name} {n}x", "mesh", n, n * mesh_order)
    if mesh.pinion_teeth and mesh.wheel_teeth:
        counts = {"pinion_teeth": mesh.pinion_teeth, "wheel_teeth": mesh.wheel_teeth}
        hunting = hunting_tooth_frequency(mesh_hz=mesh_order, **counts)
        yield line(f"{mesh.name} hunting tooth", "hunting_tooth", 1, hunting)
        phase = assembly_phase_frequency(mesh_hz=mesh_order, **counts)
        yield line(f"{mesh.name} assembly phase", "assembly_phase", 1, phase)
    for side in (mesh.pinion_shaft, mesh.wheel_shaft):
        if side not in orders:
            continue
        for n in range(1, MESH_HARMONICS + 1):
            for pair in range(1, SIDEBAND_PAIRS + 1):
                for sign, text in ((-1, "-"), (1, "+")):
                    order = n * mesh_order + sign * pair * abs(orders[side].order)
                    if order > 0:
                        yield line(f"{mesh.name} {n}x {text} {pair} x {side}", "sideband", n, order, side, sign * pair)


def _bearing_lines(drive: Drive, bearing: Bearing, orders: dict[str, ShaftOrder]) -> Iterator[Line]:
    rings = bearing_ring_orders(bearing, orders)
    if rings is None:
        return
    turning = [orders[shaft] for shaft in (bearing.inner_shaft, bearing.outer_shaft) if shaft is not None]
    for candidate in bearing.candidates:
        yield from _candidate_lines(drive, bearing, candidate, rings, turning)


def _candidate_lines(
    drive: Drive, bearing: Bearing, candidate: Candidate, rings: tuple[float, float], turning: list[ShaftOrder]
) -> Iterator[Line]:
    shape = candidate.shape
    by_count = isinstance(shape, CountRule)
    known = Origin.ESTIMATED if by_count else shape.origin
    origin = functools.reduce(weaker, (order.origin for order in turning), weaker(known, shape.origin))
    part = f"{bearing.name} ({candidate.name})" if candidate.name else bearing.name
    for kind in COUNT_RATES if by_count else BEARING_RATES:
        order = bearing_order(kind, rings, shape)
        spread = bearing_order_spread(kind, rings, shape) + max(shaft.spread for shaft in turning)
        for n in range(1, BEARING_HARMONICS + 1):
            name = f"{part} {kind.replace('_', ' ')} {n}x"
            reference = drive.reference_shaft
            yield Line(name, bearing.name, kind, n, n * order, reference, spread, origin, candidate=candidate.name)
