"""Whether an epicyclic set can be put together: do the planets fit between sun and ring, mesh all at once, clear each other?

Calculator: `assembly_flaws`. Model: `AssemblyFlaw`.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from gearcase.drive.train import Drive, Mesh, Shaft

__all__ = ["AssemblyFlaw", "assembly_flaws"]

_PROFILE_SHIFT_TEETH = 2  # profile shift lets the ring differ this much from the plain sum; common practice, no source
_MOST_PLANETS = 8  # more are not seen in enclosed drives; common practice, no source
_TIPS = 2  # two addenda of one module each on every tip diameter (ISO 53 basic rack, from memory)


@dataclass(frozen=True)
class AssemblyFlaw:
    """Why a set cannot be as it is written, or only with gears of shifted profile.

    `set_name` is the set's, or its planet's; `says` gives the condition, its figures and what would satisfy it.
    """

    set_name: str
    impossible: bool
    says: str


def assembly_flaws(drive: Drive) -> tuple[AssemblyFlaw, ...]:
    """Every condition of assembly that the drive's epicyclic sets break.

    With teeth z of sun s, planet p, ring r and N planets: the centre distances agree, z_r = z_s + 2 z_p (profile shift
    moves it by a tooth or two); evenly spaced planets all mesh, (z_s + z_r) / N is whole, or for planets of two steps
    (z_s z_p2 + z_r z_p1) / (N gcd(z_p1, z_p2)); neighbours clear each other, (z_s + z_p) sin(pi / N) > z_p + 2.
    Source: any text on epicyclic gears (from memory).

    Examples
    --------
    Row G11 of ``gear_trains.csv`` can be built; with five planets it could not be:

    >>> from gearcase.worked import Given, Origin
    >>> def planetary(planets):
    ...     shafts = (Shaft("sun"), Shaft("carrier"), Shaft("ring", held=True), Shaft("planet", carrier="carrier", count=planets))
    ...     meshes = (Mesh("a", "sun", "planet", 24, 30), Mesh("b", "planet", "ring", 30, 84, kind="internal"))
    ...     return Drive("set", shafts, meshes, (), "sun", (25.0, 25.0), 25.0, Given("speed", 25.0, "Hz", Origin.NAMEPLATE))
    >>> assembly_flaws(planetary(3)), assembly_flaws(planetary(5))[0].says[:61]
    ((), '5 planets of 30 teeth round a sun of 24 run into each other: ')
    """
    return tuple(flaw for shaft in drive.shafts if shaft.carrier for flaw in _flaws_of(drive, shaft))


def _flaws_of(drive: Drive, planet: Shaft) -> Iterator[AssemblyFlaw]:
    meshes = [mesh for mesh in drive.meshes if planet.name in (mesh.pinion_shaft, mesh.wheel_shaft)]
    carried = {shaft.name for shaft in drive.shafts if shaft.carrier}
    sun = next((mesh for mesh in meshes if mesh.kind == "external" and _other(mesh, planet) not in carried), None)
    ring = next((mesh for mesh in meshes if mesh.kind == "internal" and _other(mesh, planet) not in carried), None)
    name = meshes[0].group or planet.name if meshes else planet.name
    if sun is not None and (teeth := _teeth(sun, planet)):
        sun_teeth, planet_teeth = teeth
        room = (sun_teeth + planet_teeth) * math.sin(math.pi / planet.count)
        if planet.count > 1 and planet.evenly_spaced and room <= planet_teeth + _TIPS:
            most = max(
                (n for n in range(1, planet.count) if _clear(sun_teeth, planet_teeth, n)),
                default=1,
            )
            yield AssemblyFlaw(
                name,
                True,
                f"{planet.count} planets of {planet_teeth} teeth round a sun of {sun_teeth} run into each other: "
                f"(z_s + z_p) sin(pi/N) is {room:.4g} and must be above z_p + 2 = {planet_teeth + _TIPS}; at most {most} fit",
            )
    if sun is None or ring is None:
        return
    at_sun, at_ring = _teeth(sun, planet), _teeth(ring, planet)
    if at_sun and at_ring:
        yield from _between_sun_and_ring(name, planet, at_sun, at_ring)


def _between_sun_and_ring(name: str, planet: Shaft, at_sun: tuple[int, int], at_ring: tuple[int, int]) -> Iterator[AssemblyFlaw]:
    (sun, inner), (ring, outer) = at_sun, at_ring
    if inner == outer and ring != sun + 2 * inner:
        wanted = sun + 2 * inner
        off = abs(ring - wanted)
        says = f"the ring has {ring} teeth where sun + 2 x planet = {sun} + 2 x {inner} gives {wanted}"
        if off > _PROFILE_SHIFT_TEETH:
            yield AssemblyFlaw(name, True, f"{says}: no planet fits between them; count sun, planet and ring again")
            return
        yield AssemblyFlaw(name, False, f"{says}: possible only with shifted profiles; count them again")
    common = math.gcd(inner, outer)
    whole = (sun * outer + ring * inner) // common
    if planet.evenly_spaced and whole % planet.count:
        formula = (
            f"({sun} + {ring}) / {planet.count}"
            if inner == outer
            else f"({sun} x {outer} + {ring} x {inner}) / ({common} x {planet.count})"
        )
        fitting = [n for n in range(2, _MOST_PLANETS + 1) if whole % n == 0 and _clear(sun, inner, n)]
        would_do = f" ({' or '.join(map(str, fitting))} planets would do)" if fitting else ""
        yield AssemblyFlaw(
            name,
            True,
            f"{planet.count} planets at equal angles do not mesh all: {formula} is not whole. Count the planets and teeth again"
            f"{would_do}, or say spacing: unequal if you have seen it",
        )


def _clear(sun_teeth: int, planet_teeth: int, planets: int) -> bool:
    return planets == 1 or (sun_teeth + planet_teeth) * math.sin(math.pi / planets) > planet_teeth + _TIPS


def _other(mesh: Mesh, planet: Shaft) -> str:
    return mesh.wheel_shaft if mesh.pinion_shaft == planet.name else mesh.pinion_shaft


def _teeth(mesh: Mesh, planet: Shaft) -> tuple[int, int] | None:
    """Teeth of the member and of the planet where both are known."""
    member, own = mesh.pinion_teeth, mesh.wheel_teeth
    if mesh.pinion_shaft == planet.name:
        member, own = own, member
    return (member, own) if member and own else None
