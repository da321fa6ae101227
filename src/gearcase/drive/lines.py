"""Every line a drive can show, with the part that makes it.

Here the shafts, planets as their carrier sees them, meshes with sidebands of both shafts, of the carrier and of the planets'
passing, hunting tooth and assembly phase, planet pass and single teeth of sun and ring; the rest in `bearing_lines` and
`outside_lines`.
"""

import functools
from collections.abc import Iterator

from gearcase.drive.bearing_lines import bearing_lines
from gearcase.drive.line import Line
from gearcase.drive.outside_lines import belt_lines, motor_lines, passing_lines
from gearcase.drive.rates import (
    assembly_phase_frequency,
    gear_mesh_frequency,
    hunting_tooth_frequency,
    member_fault_frequency,
    planet_pass_frequency,
)
from gearcase.drive.speeds import ShaftOrder, carried_orders, seen_from, shaft_orders
from gearcase.drive.train import Drive, Mesh, Shaft, mesh_carrier, weaker
from gearcase.worked import Origin

__all__ = [
    "MESH_HARMONICS",
    "SHAFT_HARMONICS",
    "SIDEBAND_PAIRS",
    "expected_lines",
    "meshing",
    "slowest_shaft_order",
]

SHAFT_HARMONICS = 3
MESH_HARMONICS = 3
SIDEBAND_PAIRS = 3


@functools.lru_cache(maxsize=8)  # of the drives in hand: every family of patterns asks for them anew
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
        lines += bearing_lines(drive, bearing, orders)
    for belt in drive.belts:
        lines += belt_lines(drive, belt, orders)
    lines += passing_lines(drive, orders)
    if drive.motor is not None and drive.motor.shaft in orders:
        lines += motor_lines(drive, drive.motor, orders[drive.motor.shaft])
    return tuple(lines)


def slowest_shaft_order(drive: Drive) -> float:
    """Order of the slowest shaft that is known and turns."""
    return min(abs(order.order) for order in shaft_orders(drive).values() if order.order)


def _shaft_lines(drive: Drive, orders: dict[str, ShaftOrder]) -> Iterator[Line]:
    """Shaft harmonics; of a planet, its turns as its carrier sees them: once a turn each of its teeth meets the sun."""
    carriers = {shaft.name: shaft.carrier for shaft in drive.shafts}
    for name, turns in carried_orders(drive, orders).items():
        if turns.order == 0:
            continue
        kind = "planet" if carriers[name] else "shaft"
        for n in range(1, SHAFT_HARMONICS + 1):
            yield Line(f"{name} {n}x", name, kind, n, n * abs(turns.order), drive.reference_shaft, turns.spread, turns.origin)


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
    for teeth, shaft in ((mesh.pinion_teeth, mesh.pinion_shaft), (mesh.wheel_teeth, mesh.wheel_shaft)):
        if teeth is None or shaft not in orders:
            continue
        turns = seen_from(orders[carrier], orders[shaft]) if carrier else orders[shaft]
        return gear_mesh_frequency(speed_hz=abs(turns.order), teeth=teeth), turns.spread, weaker(turns.origin, mesh.origin)
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
        turns = seen_from(orders[carrier], orders[side]) if shafts[side].carrier else orders[side]
        if turns.order:
            yield side, abs(turns.order), plain
    if carrier and orders[carrier].order:
        planets = max(shafts[side].count for side in (mesh.pinion_shaft, mesh.wheel_shaft))
        pairs = sorted({*plain, *(planets * pair for pair in plain)})
        yield carrier, abs(orders[carrier].order), tuple(pairs)


def _set_lines(drive: Drive, orders: dict[str, ShaftOrder], shafts: dict[str, Shaft]) -> Iterator[Line]:
    """Planets passing the housing, and one damaged tooth of each sun and ring, which meets every planet."""
    passing = set()
    for mesh in drive.meshes:
        carrier, found = mesh_carrier(mesh, shafts), meshing(mesh, orders, shafts)
        if not carrier or found is None:
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
