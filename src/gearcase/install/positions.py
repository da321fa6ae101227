"""Where on a face a sensor goes best, and why not elsewhere.

A pad is a spot somebody could prepare: the middle of a boss, rib or panel that was listed, or a place round a bearing seat. A pad
that breaks a rule is rejected with the rule and its figures; the rest are ranked: on the bearing's own housing before elsewhere,
in the direction of its load, near its seat, where a stud may be drilled before where one must bond, on stiff metal before thin.
The rules are common practice, no source, except the path: at most one joint between bearing and sensor (ISO 13373-1, from memory).

Calculators: `pads`, `violations`, `advise`, `spots_to_try`. Model: `Pad`, `Violation`, `Footprint`, `Ranked`, `Rejected`, `Advice`.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from gearcase.errors import OutOfRange
from gearcase.install.holes import edge_distance, least_metal
from gearcase.install.housing import Face, Housing, KeepOut, Place, Region, Seat, Wall, clearance_to, to_edge, within
from gearcase.worked import Origin

__all__ = [
    "CLEAR_OF_OTHERS",
    "Advice",
    "Footprint",
    "Pad",
    "Ranked",
    "Rejected",
    "Violation",
    "advise",
    "clear_of",
    "pads",
    "region_at",
    "region_under",
    "regions_at",
    "spots_to_try",
    "violations",
]

CLEAR_OF = {  # m from the edge of the footprint
    "rotating part": 0.050,
    "guard": 0.050,
    "fan shroud": 0.050,
    "split line": 0.015,
    "hot zone": 0.010,
    "seal": 0.020,
}
CLEAR_OF_OTHERS = 0.010
BEYOND_BASE = 0.003  # m of flat surface beyond the sensor's base, on the whole
NEAR_SEAT = 0.075  # m from the seat; beyond it the sensor is no longer by its bearing
IN_LOAD = math.radians(45)  # either side of the load's direction
THIN_PANEL = 0.010  # m; a free panel below it drums at 300 to 3000 Hz
HOURS = 12
_ROUNDED = 1e-9  # m, of sums of decimal lengths
_FROM_SEAT = 0.5  # of NEAR_SEAT: how far out pads round a seat are tried


@dataclass(frozen=True)
class Footprint:
    """What wants to stand there: diameter of the base [m], hottest surface it stands [K], for a stud its hole's diameter and the
    wall it needs [m] (`holes.wall_needed`); both None where it is to be bonded or held by a magnet.
    """

    base: float
    hottest: float | None = None
    hole_diameter: float | None = None
    wall_needed: float | None = None


@dataclass(frozen=True)
class Pad:
    """A spot on a face: its name, place [m], the region it lies in, and the seat it is judged for."""

    name: str
    face: str
    at: Place
    region: Region | None
    seat: Seat | None


@dataclass(frozen=True)
class Violation:
    """A rule a pad breaks: `rule` names it, `says` gives its figures; a severe one must not be built."""

    rule: str
    says: str
    severe: bool = False


@dataclass(frozen=True)
class Ranked:
    """A pad that will do: `reasons` in words, the most important first; `stud` whether its wall may be drilled; `order` sorts."""

    pad: Pad
    stud: bool
    reasons: tuple[str, ...]
    order: tuple[float, ...]


@dataclass(frozen=True)
class Rejected:
    """A pad that will not do, with every rule it breaks."""

    pad: Pad
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class Advice:
    """Pads that will do, best first, and those that will not."""

    ranked: tuple[Ranked, ...]
    rejected: tuple[Rejected, ...]


def pads(face: Face, bearing: str) -> tuple[Pad, ...]:
    """Every spot worth judging for a bearing on one face: listed regions, and each hour round the bearing's seat.

    A spot round a seat that falls into a listed region takes the region's wall.
    """
    seat = next((seat for seat in face.seats if seat.bearing == bearing), None)
    found = [Pad(region.name, face.name, region.at, region, seat) for region in face.regions]
    if seat is not None:
        reach = seat.diameter / 2 + _FROM_SEAT * NEAR_SEAT
        for hour in range(1, HOURS + 1):
            angle = 2 * math.pi * hour / HOURS
            at = (seat.at[0] + reach * math.sin(angle), seat.at[1] + reach * math.cos(angle))
            found.append(Pad(f"{bearing}, {hour} o'clock", face.name, at, region_at(face, at), seat))
    return tuple(found)


def advise(face: Face, candidates: Sequence[Pad], footprint: Footprint) -> Advice:
    """Rank the pads of a face for one sensor, and say of each rejected one why.

    Parameters
    ----------
    face : Face
    candidates : sequence of Pad
        On that face.
    footprint : Footprint

    Raises
    ------
    OutOfRange
        A pad of another face, or a base that is not above 0.
    """
    if footprint.base <= 0:
        raise OutOfRange("base", footprint.base, "above 0")
    ranked, rejected = [], []
    for pad in candidates:
        if pad.face != face.name:
            raise OutOfRange("pad", repr(pad.name), f"a pad of face '{face.name}'")
        against = tuple(violation.says for violation in violations(face, pad, footprint))
        if against:
            rejected.append(Rejected(pad, against))
        else:
            ranked.append(_rank(pad, footprint))
    return Advice(tuple(sorted(ranked, key=lambda one: one.order)), tuple(rejected))


def spots_to_try(advice: Advice, *, most: int) -> tuple[Ranked, ...]:
    """The pads to try with a magnet on the running drive before anything is drilled: the best, none of them side by side.

    What to compare: the level in the bands of the bearing and of the mesh, the highest first; then a tap at each for a panel's
    resonance below three times the highest wanted line.
    """
    chosen: list[Ranked] = []
    for one in advice.ranked:
        if len(chosen) < most and all(math.dist(one.pad.at, other.pad.at) > NEAR_SEAT / 2 for other in chosen):
            chosen.append(one)
    return tuple(chosen)


def violations(face: Face, pad: Pad, footprint: Footprint) -> Iterator[Violation]:
    """Every rule that a pad breaks, with its figures. Distances are from the edge of the base."""
    half = footprint.base / 2
    room = to_edge(face, pad.at)
    if room < 0:
        says = f"it lies outside the face {face.name}, which is {_mm(face.size[0])} by {_mm(face.size[1])}"
        yield Violation("place", says, severe=True)
        return
    edge = max(half, edge_distance(hole_diameter=footprint.hole_diameter) if footprint.hole_diameter else 0.0)
    if room < edge:
        yield Violation("edge", f"it stands {_mm(room)} from the edge of the face; {_mm(edge)} is wanted")
    for part in face.keep_outs:
        needed = clear_of(part)
        nearest = clearance_to(pad.at, [part])
        if nearest is not None and nearest[0] - half < needed:
            apart = max(nearest[0] - half, 0.0)
            says = f"its base would stand {_mm(apart)} from the {part.name} ({part.kind}); {_mm(needed)} is wanted"
            yield Violation("clearance", says, severe=part.kind == "rotating part" or nearest[0] == 0)
    for hole in face.threaded_holes:
        needed = 2 * hole.diameter + half
        apart = math.dist(pad.at, hole.at)
        if apart < needed:
            says = f"it stands {_mm(apart)} from the hole '{hole.name}'; two of its diameters and half the base is {_mm(needed)}"
            both = (hole.diameter + (footprint.hole_diameter or 0.0)) / 2
            yield Violation("hole", says, severe=footprint.hole_diameter is not None and apart < both)
    if footprint.hole_diameter is not None:
        yield from _against_seats(face, pad, footprint.hole_diameter)
    if pad.region is not None:
        yield from _against_region(pad.region, pad.at, footprint)


def _against_seats(face: Face, pad: Pad, hole_diameter: float) -> Iterator[Violation]:
    """A hole keeps from a bearing's seat what it keeps from any edge; into the seat it is never drilled."""
    wanted = edge_distance(hole_diameter=hole_diameter)
    for seat in face.seats:
        apart = math.dist(pad.at, seat.at) - seat.diameter / 2
        if apart < hole_diameter / 2:
            yield Violation("seat", f"its hole would go into the seat of {seat.bearing}: move it, or bond it", severe=True)
        elif apart < wanted:
            says = f"its hole stands {_mm(apart)} from the seat of {seat.bearing}; {_mm(wanted)} is wanted"
            yield Violation("seat", says)


def _against_region(region: Region, at: Place, footprint: Footprint) -> Iterator[Violation]:
    wanted = footprint.base + BEYOND_BASE
    room = min(side / 2 - abs(place - middle) for side, place, middle in zip(region.size, at, region.at, strict=True))
    if min(region.size) < wanted:
        says = f"the {region.kind} is {_mm(min(region.size))} wide; the base wants {_mm(wanted)} of flat metal"
        yield Violation("flat", says)
    elif room < wanted / 2 - _ROUNDED:
        says = f"it stands {_mm(room)} from the edge of the {region.kind} {region.name}; half the base and its margin is "
        yield Violation("flat", f"{says}{_mm(wanted / 2)}")
    edge = edge_distance(hole_diameter=footprint.hole_diameter) if footprint.hole_diameter is not None else 0.0
    if footprint.hole_diameter is not None and room < edge - _ROUNDED:
        says = f"its hole stands {_mm(room)} from the edge of the {region.kind} {region.name}, beyond which its wall is not known; "
        severe = room < footprint.hole_diameter / 2
        yield Violation("region_edge", f"{says}{_mm(edge)} is wanted: move it inwards, or bond it", severe=severe)
    if region.kind == "panel" and region.wall is not None and region.wall.thickness < THIN_PANEL:
        says = f"a free panel {_mm(region.wall.thickness)} thick drums at 300 to 3000 Hz; a boss, a rib's root or "
        yield Violation("panel", f"{says}{_mm(THIN_PANEL)} is wanted")
    if footprint.hottest is not None and region.temperature is not None and region.temperature > footprint.hottest:
        metal, stands = region.temperature - 273.15, footprint.hottest - 273.15
        yield Violation("hot", f"the metal runs at {metal:.0f} °C; the sensor stands {stands:.0f} °C", severe=True)


def clear_of(part: KeepOut) -> float:
    """How far the edge of a base stays from what must be kept clear. [m]"""
    return CLEAR_OF.get(part.kind, CLEAR_OF_OTHERS)


def region_at(face: Face, at: Place) -> Region | None:
    """The listed region that a place falls into; of several the smallest, as of a boss on a panel."""
    return next(iter(regions_at(face, at)), None)


def regions_at(face: Face, at: Place) -> tuple[Region, ...]:
    """The listed regions whose wall a place may have: the smallest it falls into, then the rest but for any that encloses it."""
    inside = sorted((one for one in face.regions if within(at, one.at, one.size)), key=lambda one: one.size[0] * one.size[1])
    return tuple(one for number, one in enumerate(inside) if not number or not _encloses(one, inside[0]))


def _encloses(outer: Region, inner: Region) -> bool:
    reach = zip(outer.at, outer.size, inner.at, inner.size, strict=True)
    return all(abs(one - other) + small / 2 <= whole / 2 + _ROUNDED for one, whole, other, small in reach)


def region_under(housing: Housing, face: str, at: Place | None) -> Region | None:
    """The listed region of the named face that a place falls into; None where there is none, or face or place is not known."""
    found = housing.face(face)
    return None if found is None or at is None else region_at(found, at)


def _rank(pad: Pad, footprint: Footprint) -> Ranked:
    """Reasons in the order in which they decide."""
    reasons = []
    own, off_load, apart = 1.0, 1.0, 0.0
    if pad.seat is None:
        reasons.append("no bearing seat on this face: what it sees comes through the housing")
        own, apart = 2.0, math.inf
    else:
        apart = max(math.dist(pad.at, pad.seat.at) - pad.seat.diameter / 2, 0.0)
        if apart <= NEAR_SEAT:
            own = 0.0
            reasons.append(f"{_mm(apart)} from the seat of {pad.seat.bearing}: on its own housing, one joint in the path")
        else:
            reasons.append(f"{_mm(apart)} from the seat of {pad.seat.bearing}; within {_mm(NEAR_SEAT)} it would see it better")
        if pad.seat.load_clock is not None and apart > 0:
            turned = _turn_between(pad, pad.seat)
            off_load = 0.0 if turned <= IN_LOAD else 1.0
            where = "in" if off_load == 0 else f"{math.degrees(turned):.0f} degrees off"
            reasons.append(f"{where} the direction of its load, {pad.seat.load_clock:g} o'clock")
    wall = pad.region.wall if pad.region else None
    stud, says = _drillable(wall, footprint)
    reasons.append(says)
    stiff = 0.0 if pad.region is not None and pad.region.kind in ("boss", "rib") else 1.0
    if pad.region is not None:
        reasons.append(f"on the {pad.region.kind} {pad.region.name}")
    order = (own, off_load, 0.0 if stud or footprint.wall_needed is None else 1.0, stiff, round(apart, 6), pad.at[0], pad.at[1])
    return Ranked(pad, stud, tuple(reasons), order)


def _drillable(wall: Wall | None, footprint: Footprint) -> tuple[bool, str]:
    if footprint.wall_needed is None:
        return False, "no hole wanted"
    if wall is None:
        return False, "its wall is unknown: bond, or measure it"
    if wall.origin is not Origin.MEASURED:
        return False, f"its wall of {_mm(wall.thickness)} is only {wall.origin}: bond, or measure it"
    thinnest = wall.thickness - wall.gauge_error
    if thinnest < footprint.wall_needed:
        return False, f"its wall of {_mm(thinnest)} is less than the {_mm(footprint.wall_needed)} the stud's hole needs: bond"
    left = thinnest - (footprint.wall_needed - least_metal(wall=footprint.wall_needed))
    return True, f"its wall of {_mm(thinnest)} takes the stud's hole and keeps {_mm(left)} of metal"


def _turn_between(pad: Pad, seat: Seat) -> float:
    """Angle between the pad, seen from the seat, and the load's direction. [rad]"""
    towards = math.atan2(pad.at[0] - seat.at[0], pad.at[1] - seat.at[1])
    load = 2 * math.pi * (seat.load_clock or 0.0) / HOURS
    return abs((towards - load + math.pi) % (2 * math.pi) - math.pi)


def _mm(metres: float) -> str:
    return f"{1000 * metres:.3g} mm"
