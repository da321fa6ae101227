"""Every line a drive can show, with the part that makes it.

A line is an order, turns of the reference shaft, so that one list serves every speed; what hangs on the mains or on a
converter's clock adds a fixed frequency. Shaft harmonics, planets as their carrier sees them; mesh harmonics, each with
sidebands of both shafts, of the carrier and of the planets' passing; hunting tooth and assembly phase; planet pass and single
teeth of sun, ring and planet; the four bearing rates with harmonics; belts; whatever passes so many times a turn; the
the four bearing rates with harmonics; belts; whatever passes so many times a turn; the motor's electrical lines.
"""

import functools
import math
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
from gearcase.drive.rates import (
    assembly_phase_frequency,
    belt_frequency,
    carried_mesh_frequency,
    gear_mesh_frequency,
    hunting_tooth_frequency,
    member_fault_frequency,
    planet_pass_frequency,
    pole_pass_under_converter,
    twice_converter_frequency,
    twice_supply_frequency,
)
from gearcase.drive.speeds import ShaftOrder, shaft_orders
from gearcase.drive.train import Belt, Drive, Mesh, Motor, Shaft, mesh_carrier, weaker
from gearcase.errors import OutOfRange
from gearcase.worked import Origin, worked_by

__all__ = [
    "BEARING_RATES",
    "COUNT_RATES",
    "MESH_HARMONICS",
    "SIDEBAND_PAIRS",
    "TURNING_KINDS",
    "Line",
    "bearing_order",
    "bearing_order_spread",
    "bearing_ring_orders",
    "belt_circumference",
    "expected_lines",
    "harmonic_frequency",
    "meshing",
    "rated_slip",
    "sideband_frequency",
    "slowest_shaft_order",
]

SHAFT_HARMONICS = 3
MESH_HARMONICS = 3
SIDEBAND_PAIRS = 3
BEARING_HARMONICS = 3
_BELT_HARMONICS = 3
_PASSING_HARMONICS = 3
_CONVERTER_PAIRS = 2
_MOST_SLIP = 0.15  # beyond it poles, supply and speed do not belong together; common practice, no source
_UNKNOWN_SLIP = 0.02  # full-load slip of industrial induction motors is below 4 %; common practice, no source

TURNING_KINDS = ("shaft", "planet")  # lines of something that turns: about its own axis, or as its carrier sees it

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
        shaft, planet, mesh, sideband, hunting_tooth, assembly_phase, planet_pass, member_tooth, outer_race, inner_race,
        rolling_element, cage, belt, passing, supply, pole_pass or converter.
    harmonic : int
        1 for the fundamental.
    order : float
        Cycles per turn of `reference_shaft`; negative only where `fixed_hz` is more.
    reference_shaft : str
    spread : float
        Half-width of what is not known about the line, relative to it. Slip of a bearing is not in it.
    origin : Origin
        The weakest knowledge the line rests on.
    sideband_shaft, sideband_pair : str, int
        For a sideband: the shaft that modulates, and how many of its turns away, negative below the mesh line.
    fixed_hz : float
        What does not follow the speed: supply and converter. [Hz]
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
    fixed_hz: float = 0.0
    candidate: str = ""

    def hz(self, speed_hz: float) -> float:
        """Where the line stands at one speed of the reference shaft. [Hz]"""
        return abs(self.fixed_hz + self.order * speed_hz)


def expected_lines(drive: Drive) -> tuple[Line, ...]:
    """All lines of a drive: shafts, meshes with their sidebands, planetary sets, bearings, then belts, passing parts and motor;
    fundamentals first in each part.

    Parts whose speed, teeth or geometry nobody knows give no line; `stages.survey` lists them as unknown. A held part has none.

    Raises
    ------
    OutOfRange
        As `shaft_orders`.
    """
    orders = shaft_orders(drive)
    shafts = {shaft.name: shaft for shaft in drive.shafts}
    lines = [*_shaft_lines(drive, orders)]
    for mesh in _distinct_meshes(drive, orders, shafts):
        lines += _mesh_lines(drive, mesh, orders, shafts)
    lines += _set_lines(drive, orders, shafts)
    for bearing in drive.bearings:
        lines += _bearing_lines(drive, bearing, orders)
    for belt in drive.belts:
        lines += _belt_lines(drive, belt, orders)
    lines += _passing_lines(drive, orders)
    if drive.motor is not None and drive.motor.shaft in orders:
        lines += _motor_lines(drive, drive.motor, orders[drive.motor.shaft])
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
    """Order of the slowest shaft that is known and turns."""
    return min(abs(order.order) for order in shaft_orders(drive).values() if order.order)


def belt_circumference(belt: Belt) -> float:
    """Pitch circumference of the driving pulley in the unit of the belt's length: [m], or teeth [-]."""
    return belt.driver_size if belt.toothed else math.pi * belt.driver_size


def rated_slip(motor: Motor) -> tuple[float, float]:
    """Middle and half-width of how far a motor's rotor lags behind its field between no load and full: half the plate's slip. [Hz]

    Raises
    ------
    OutOfRange
        The plate's speed is not below the field's, or far from it: poles, supply and speed contradict each other.

    Examples
    --------
    >>> rated_slip(Motor("input", poles=4, supply_hz=50.0, rated_speed_hz=24.75))
    (0.125, 0.125)
    """
    field_hz = 2 * motor.supply_hz / motor.poles
    if motor.rated_speed_hz is None:
        return _UNKNOWN_SLIP * field_hz, _UNKNOWN_SLIP * field_hz
    slip = 1 - motor.rated_speed_hz / field_hz
    if not 0 <= slip < _MOST_SLIP:
        rule = (
            f"its plate's speed of {60 * motor.rated_speed_hz:.4g} rpm does not belong to {motor.poles} poles on "
            f"{motor.supply_hz:g} Hz, whose field turns at {60 * field_hz:.4g} rpm: read poles, supply and speed again"
        )
        raise OutOfRange("motor", repr(motor.shaft), rule)
    return slip * field_hz / 2, slip * field_hz / 2


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
    """Shaft harmonics; of a planet, its turns as its carrier sees them: once a turn each of its teeth meets the sun."""
    for shaft in drive.shafts:
        if shaft.name not in orders or (shaft.carrier and shaft.carrier not in orders):
            continue
        known = orders[shaft.name]
        order, spread, origin = abs(known.order), known.spread, known.origin
        if shaft.carrier:
            carrier = orders[shaft.carrier]
            order = abs(known.order - carrier.order)
            spread, origin = max(spread, carrier.spread), weaker(origin, carrier.origin)
        if order == 0:
            continue
        kind = "planet" if shaft.carrier else "shaft"
        for n in range(1, SHAFT_HARMONICS + 1):
            yield Line(f"{shaft.name} {n}x", shaft.name, kind, n, n * order, drive.reference_shaft, spread, origin)


def _distinct_meshes(drive: Drive, orders: dict[str, ShaftOrder], shafts: dict[str, Shaft]) -> Iterator[Mesh]:
    """Every mesh, but of a planetary set's meshes at one rate the first: sun and ring mesh of plain planets are one line."""
    seen = set()
    for mesh in drive.meshes:
        found = meshing(mesh, orders, shafts)
        if found is None or found[0] == 0:
            continue
        rate = (mesh.group, round(found[0], 9))
        if not mesh.group or rate not in seen:
            yield mesh
        seen.add(rate)


def meshing(mesh: Mesh, orders: dict[str, ShaftOrder], shafts: dict[str, Shaft]) -> tuple[float, float, Origin] | None:
    """Order [-], spread [-] and origin of a mesh, from whichever of its gears is known; None where neither is."""
    carrier = mesh_carrier(mesh, shafts)
    if carrier and carrier not in orders:
        return None
    frame = orders[carrier] if carrier else None
    for teeth, shaft in ((mesh.pinion_teeth, mesh.pinion_shaft), (mesh.wheel_teeth, mesh.wheel_shaft)):
        if teeth is None or shaft not in orders:
            continue
        known = orders[shaft]
        order = carried_mesh_frequency(speed_hz=known.order, teeth=teeth, carrier_hz=frame.order if frame else 0.0)
        spread = max(known.spread, frame.spread if frame else 0.0)
        origin = weaker(weaker(known.origin, mesh.origin), frame.origin if frame else mesh.origin)
        return order, spread, origin
    return None


def _mesh_lines(drive: Drive, mesh: Mesh, orders: dict[str, ShaftOrder], shafts: dict[str, Shaft]) -> Iterator[Line]:
    found = meshing(mesh, orders, shafts)
    if found is None:
        return
    mesh_order, spread, origin = found

    def line(name: str, kind: str, harmonic: int, order: float, side: str = "", pair: int = 0) -> Line:
        return Line(name, mesh.name, kind, harmonic, order, drive.reference_shaft, spread, origin, side, pair)

    for n in range(1, MESH_HARMONICS + 1):
        yield line(f"{mesh.name} {n}x", "mesh", n, n * mesh_order)
    if mesh.pinion_teeth and mesh.wheel_teeth:
        counts = {"pinion_teeth": mesh.pinion_teeth, "wheel_teeth": mesh.wheel_teeth}
        hunting = hunting_tooth_frequency(mesh_hz=mesh_order, **counts)
        yield line(f"{mesh.name} hunting tooth", "hunting_tooth", 1, hunting)
        phase = assembly_phase_frequency(mesh_hz=mesh_order, **counts)
        yield line(f"{mesh.name} assembly phase", "assembly_phase", 1, phase)
    for side, turns, pairs in _modulating(mesh, orders, shafts):
        for n in range(1, MESH_HARMONICS + 1):
            for pair in pairs:
                for sign, text in ((-1, "-"), (1, "+")):
                    order = n * mesh_order + sign * pair * turns
                    if order > 0:
                        yield line(f"{mesh.name} {n}x {text} {pair} x {side}", "sideband", n, order, side, sign * pair)


def _modulating(
    mesh: Mesh, orders: dict[str, ShaftOrder], shafts: dict[str, Shaft]
) -> Iterator[tuple[str, float, tuple[int, ...]]]:
    """What modulates a mesh: a shaft, its turns as the carrier sees them where it is carried, and how many of them apart.

    Around a carrier the sensor stands still: planets pass it once for each of them in a turn of the carrier.
    """
    carrier = mesh_carrier(mesh, shafts)
    plain = tuple(range(1, SIDEBAND_PAIRS + 1))
    for side in (mesh.pinion_shaft, mesh.wheel_shaft):
        if side not in orders:
            continue
        carried = shafts[side].carrier
        turns = abs(orders[side].order - (orders[carried].order if carried else 0.0))
        if turns:
            yield side, turns, plain
    if carrier and orders[carrier].order:
        planets = max(shafts[side].count for side in (mesh.pinion_shaft, mesh.wheel_shaft))
        pairs = sorted({*plain, *(planets * pair for pair in plain)})
        yield carrier, abs(orders[carrier].order), tuple(pairs)


def _set_lines(drive: Drive, orders: dict[str, ShaftOrder], shafts: dict[str, Shaft]) -> Iterator[Line]:
    """Planets passing the housing, and one damaged tooth of each sun and ring, which meets every planet."""
    passing = set()
    for mesh in drive.meshes:
        carrier, found = mesh_carrier(mesh, shafts), meshing(mesh, orders, shafts)
        if not carrier or found is None or carrier not in orders:
            continue
        mesh_order, spread, origin = found
        sides = ((mesh.pinion_shaft, mesh.pinion_teeth), (mesh.wheel_shaft, mesh.wheel_teeth))
        planet = next(side for side, _ in sides if shafts[side].carrier)
        planets = shafts[planet].count
        turns = orders[carrier]
        if turns.order and (carrier, planets) not in passing:
            passing.add((carrier, planets))
            order = planet_pass_frequency(carrier_hz=turns.order, planets=planets)
            for n in range(1, SHAFT_HARMONICS + 1):
                name = f"{planet} pass {n}x"
                yield Line(name, carrier, "planet_pass", n, n * order, drive.reference_shaft, turns.spread, turns.origin)
        for side, teeth in sides:
            if shafts[side].carrier == carrier or not teeth or not mesh_order:
                continue
            order = member_fault_frequency(mesh_hz=mesh_order, teeth=teeth, planets=planets)
            for n in range(1, SHAFT_HARMONICS + 1):
                yield Line(
                    f"{mesh.group or mesh.name} {side} tooth {n}x",
                    mesh.name,
                    "member_tooth",
                    n,
                    n * order,
                    drive.reference_shaft,
                    spread,
                    origin,
                )


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


def _belt_lines(drive: Drive, belt: Belt, orders: dict[str, ShaftOrder]) -> Iterator[Line]:
    """Turns of the belt itself, and the meshing of a toothed one or a chain."""
    if belt.driver_shaft not in orders:
        return
    driver = orders[belt.driver_shaft]
    origin, reference = weaker(driver.origin, belt.origin), drive.reference_shaft
    if belt.length is not None:
        turns = belt_frequency(speed_hz=abs(driver.order), circumference=belt_circumference(belt), length=belt.length)
        for n in range(1, _BELT_HARMONICS + 1):
            yield Line(f"{belt.name} turn {n}x", belt.name, "belt", n, n * turns, reference, driver.spread, origin)
    if belt.toothed:
        meshing = gear_mesh_frequency(speed_hz=abs(driver.order), teeth=belt.driver_size)
        for n in range(1, _BELT_HARMONICS + 1):
            yield Line(f"{belt.name} teeth {n}x", belt.name, "passing", n, n * meshing, reference, driver.spread, origin)


def _passing_lines(drive: Drive, orders: dict[str, ShaftOrder]) -> Iterator[Line]:
    for part in drive.passing_parts:
        if part.shaft not in orders or not orders[part.shaft].order:
            continue
        known = orders[part.shaft]
        origin = weaker(known.origin, part.origin)
        for n in range(1, _PASSING_HARMONICS + 1):
            order = n * part.count * abs(known.order)
            yield Line(f"{part.name} {n}x", part.name, "passing", n, order, drive.reference_shaft, known.spread, origin)


def _motor_lines(drive: Drive, motor: Motor, turns: ShaftOrder) -> Iterator[Line]:
    """Twice the supply and pole pass. Under a converter both follow the speed as far as slip is known; its carrier does not."""
    origin, shaft, reference = weaker(turns.origin, motor.origin), abs(turns.order), drive.reference_shaft

    def line(name: str, kind: str, harmonic: int, order: float, spread: float, fixed_hz: float = 0.0) -> Line:
        return Line(f"motor {name}", "motor", kind, harmonic, order, reference, spread, origin, fixed_hz=fixed_hz)

    if not motor.converter:
        for n in (1, 2):
            yield line(f"supply {2 * n}x", "supply", n, 0.0, 0.0, n * twice_supply_frequency(supply_hz=motor.supply_hz))
        yield line("pole pass", "pole_pass", 1, -motor.poles * shaft, turns.spread, 2 * motor.supply_hz)
        return
    slip_hz, off_hz = rated_slip(motor)
    order, lag_hz = motor.poles * shaft, motor.poles * slip_hz
    slowest = twice_converter_frequency(speed_hz=shaft * drive.speed_hz[0], poles=motor.poles, slip_hz=slip_hz)
    spread = turns.spread + motor.poles * off_hz / slowest  # relative to the line where it matters most
    for n in (1, 2):
        yield line(f"supply {2 * n}x", "supply", n, n * order, spread, n * lag_hz)
    if motor.rated_speed_hz is not None:
        rated = {"supply_hz": motor.supply_hz, "poles": motor.poles, "rated_hz": motor.rated_speed_hz}
        yield line("pole pass", "pole_pass", 1, 0.0, 1.0, pole_pass_under_converter(load=0.5, **rated))
    if motor.carrier_hz is not None:
        for n in (1, 2):
            yield line(f"converter carrier {n}x", "converter", n, 0.0, 0.0, n * motor.carrier_hz)
        for pair in range(1, _CONVERTER_PAIRS + 1):
            for sign, text in ((-1, "-"), (1, "+")):
                name, fixed_hz = f"converter carrier 1x {text} {pair} x twice output", motor.carrier_hz + sign * pair * lag_hz
                reach = pair * (order * drive.speed_hz[1] * turns.spread + motor.poles * off_hz) / motor.carrier_hz
                yield line(name, "converter", 1, sign * pair * order, reach, fixed_hz)
