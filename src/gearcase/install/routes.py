"""How a cable lies on the housing: the shortest way that keeps clear, bends no tighter than the cable bears, and its clips.

Theory of operation. Everything to keep clear of becomes a rectangle, grown by its margin, by half the cable, and by what a rounded
bend cuts off a corner: a 90 degree bend of radius R lies wholly outside a corner moved out by (1 - 1/sqrt 2) R each way, and a
gentler bend does too. Every straight piece is long enough for the bends at its ends. So the taut line of `unfold` can
be rounded with R everywhere. Over an edge of the housing the cable bends with the same R, away from the metal.

A sensor or entry that stands nearer to something than its margin takes the margin down to what there is, and the route says so.
"""

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from gearcase.errors import OutOfRange
from gearcase.install.housing import Face, KeepOut, Place
from gearcase.install.orientation import OUTWARD
from gearcase.install.unfold import Adjoining, Bend, Leg, Obstacle, Path, adjoining, shortest_path
from gearcase.worked import worked_by

__all__ = [
    "BEND_FIXED",
    "BEND_MOVING",
    "MARGINS",
    "METAL_CLIPS_ABOVE",
    "Clip",
    "NoRoute",
    "PowerCable",
    "Route",
    "Spot",
    "bend_radius",
    "box_sides",
    "cable_route",
    "clips_needed",
    "run_length",
]

BEND_FIXED, BEND_MOVING = 6.0, 12.0  # outside diameters; common practice, no source
MARGINS = {  # m, from the nearest edge of each kind of keep-out; common practice, no source; 0 for a kind not listed
    "rotating part": 0.05,
    "guard": 0.01,
    "hot spot": 0.025,
    "port": 0.025,
    "bolt": 0.01,
    "seal": 0.01,
    "split line": 0.015,
    "seat": 0.01,
}
APART, APART_AT_LEAST = 0.3, 0.1  # m from a power cable; common practice, no source
APART_FROM_CONVERTER, CONVERTER_RUN = 0.5, 3.0  # m from a converter's motor cable longer than 3 m; common practice, no source
FIRST_CLIP, CLIPS_APART = 0.15, 0.45  # m; common practice, no source: first within 150 mm, then 300 to 450
METAL_CLIPS_ABOVE = 343.15  # K, 70 degC; common practice, no source
_PAST = 1e-3  # m
_CORNER = 1 - math.sqrt(0.5)  # of the radius, how far out a corner must move for a 90 degree bend to pass it; geometry

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Spot:
    """A place on a face, from its lower left corner. [m]"""

    face: str
    at: Place


@dataclass(frozen=True)
class PowerCable:
    """A straight power cable on a face: from where to where [m], how thick [m]; whether it feeds a motor from a converter, and how
    long it is in all [m].
    """

    name: str
    face: str
    start: Place
    end: Place
    outside_diameter: float
    length: float
    from_converter: bool = False


@dataclass(frozen=True)
class Clip:
    """A clip: where, and how far along the cable from the sensor [m]."""

    face: str
    at: Place
    along: float


@dataclass(frozen=True)
class Route:
    """How a cable lies.

    Attributes
    ----------
    legs : tuple of Leg
        From the sensor on; empty where the route is an estimate.
    length : float
        Along the housing, without drip loops. [m]
    radius : float
        Of every bend, on a face and over an edge. [m]
    bends : tuple of Bend
    edges : int
        Edges of the housing it goes over.
    clips : tuple of Clip
    metal_clips : bool
        Plastic ones soften: also true where the surface temperature is not known.
    estimated : bool
        Whether it is no route but a length to order by, for a face of which nobody has said where it looks.
    notes : tuple of str
        What a person should know, a sentence each.
    """

    legs: tuple[Leg, ...]
    length: float
    radius: float
    bends: tuple[Bend, ...]
    edges: int
    clips: tuple[Clip, ...]
    metal_clips: bool
    estimated: bool
    notes: tuple[str, ...]


@dataclass(frozen=True)
class NoRoute:
    """No way through: what blocks it, and each single change that would open one; none where no single change does."""

    blocked_by: tuple[str, ...]
    cures: tuple[str, ...]

    @property
    def says(self) -> str:
        """What blocks and what cures, in one sentence."""
        blocks = f"no way past {', '.join(self.blocked_by)}" if self.blocked_by else "no way over the faces described"
        return f"{blocks}: {' or '.join(self.cures) or 'no single change opens one; describe another face or move the entry'}"


@worked_by(formula="R = k x outside diameter, k = 6 fixed, 12 moving", unit="m", source="common practice, no source")
def bend_radius(*, outside_diameter: float, diameters: float) -> float:
    """Tightest bend of a cable. [m]

    Examples
    --------
    >>> bend_radius(outside_diameter=0.006, diameters=BEND_FIXED)
    0.036
    """
    if not outside_diameter > 0:
        raise OutOfRange("outside_diameter", outside_diameter, "above 0 m")
    return diameters * outside_diameter


@worked_by(
    formula="clips = 1 + ceil((length - 0.15 m) / 0.45 m); 2 up to 0.15 m",
    unit="-",
    source="common practice, no source: first within 150 mm of the sensor, then every 300 to 450 mm, one at the entry",
)
def clips_needed(*, length: float) -> float:
    """Clips for a run of this length [m].

    Examples
    --------
    >>> clips_needed(length=1.0)
    3
    """
    return 1 + max(1, math.ceil((length - FIRST_CLIP) / CLIPS_APART - 1e-9))


@worked_by(formula="run = along the housing + beyond it", unit="m", source="geometry")
def run_length(*, on_housing: float, beyond: float) -> float:
    """Length of a run from the sensor to its connector, as `assign_cables` takes it; `beyond` is what follows the entry. [m]

    Examples
    --------
    >>> run_length(on_housing=1.2, beyond=2.5)
    3.7
    """
    return on_housing + beyond


def cable_route(
    faces: Sequence[Face],
    start: Spot,
    end: Spot,
    *,
    outside_diameter: float,
    moving: bool,
    power: Sequence[PowerCable],
    cross_split_line: bool,
    surface_temperature: float | None,
) -> Route | NoRoute:
    """The shortest way from a sensor to where its cable leaves the housing.

    Parameters
    ----------
    faces : sequence of Face
        With their keep-outs, each kind with its margin of `MARGINS`. Where two look the same way the larger is the side of the box.
    start, end : Spot
    outside_diameter : float
        Of the cable. [m]
    moving : bool
        Whether the cable moves in service: bends of 12 instead of 6 diameters.
    power : sequence of PowerCable
        Kept 300 mm away, 100 mm where that leaves no way, 500 mm from a converter's motor cable over 3 m; crossed square only.
    cross_split_line : bool
        Whether a split line may be crossed, square; otherwise the route goes round it.
    surface_temperature : float or None
        Running, of the housing; None where it is not known. [K]

    Returns
    -------
    Route or NoRoute

    Raises
    ------
    OutOfRange
        A face that is not there, a place off its face or inside a keep-out, edges of faces that do not agree, a power cable askew.

    Examples
    --------
    >>> side, end = Face("side", (0.6, 0.4), (), "left"), Face("end", (0.5, 0.4), (), "input end")
    >>> given = dict(outside_diameter=0.006, moving=False, power=[], cross_split_line=True, surface_temperature=330.0)
    >>> found = cable_route([side, end], Spot("side", (0.4, 0.2)), Spot("end", (0.1, 0.2)), **given)
    >>> found.length, len(found.clips), found.edges
    (0.3, 2, 1)
    """
    by_name = {face.name: face for face in faces}
    for cable in power:
        if cable.face not in by_name:
            raise OutOfRange(f"face of {cable.name}", repr(cable.face), f"one of: {', '.join(by_name)}")
    radius = bend_radius(outside_diameter=outside_diameter, diameters=BEND_MOVING if moving else BEND_FIXED)
    for spot in (start, end):
        _check(spot, by_name)
    box = box_sides(faces)
    if start.face == end.face and start.face not in {face.name for face in box}:
        box = [replace(by_name[start.face], outward="up")]  # alone on its face a route needs no direction
    known = {face.name for face in box}
    hot = surface_temperature is None or surface_temperature > METAL_CLIPS_ABOVE
    notes = [] if surface_temperature is not None else ["The surface temperature is not known: take metal clips."]
    if not {start.face, end.face} <= known:
        length = _estimate(by_name[start.face], start.at) + _estimate(by_name[end.face], end.at)
        unknown = ", ".join(dict.fromkeys(name for name in (start.face, end.face) if name not in known))
        notes.append(
            "An estimate, from both places to the farthest corner of their faces along the sides: where "
            f"{unknown} looks is not known, or a larger face looks the same way; measure with a cord."
        )
        return Route((), length, radius, (), 0, (), hot, True, tuple(notes))
    ways = _Ways(box, adjoining(box), start, end, radius, outside_diameter / 2, cross_split_line)
    for apart, straight_ends in itertools.product((APART, APART_AT_LEAST) if power else (APART,), (True, False)):
        things = [*ways.keep_outs(), *(_power_obstacle(cable, apart) for cable in power if cable.face in known)]
        path, reduced = ways.find(things, straight_ends=straight_ends)
        if path is not None:
            break
    if path is None:
        return ways.why_not(things)
    notes += [f"At its end it comes nearer than {1000 * margin:.0f} mm to {name}." for name, margin in reduced.items()]
    if power and apart < APART:
        notes.append(f"{1000 * APART:.0f} mm from power leave no way: it keeps {1000 * apart:.0f} mm at the least.")
    if not straight_ends:
        notes.append("Its first or last bend begins at the connector itself: turn that so that the cable comes out along the bend.")
    crossed = dict.fromkeys(leg.crosses for leg in path.legs if leg.crosses)
    notes += [f"It crosses {name} at 90 degrees." for name in crossed]
    edges = sum(one.face != other.face for one, other in itertools.pairwise(path.legs))
    if edges:
        notes.append(f"Over an edge it bends with {1000 * radius:.0f} mm, an edge guard under it.")
    return Route(path.legs, path.length, radius, path.bends, edges, _clips(path), hot, False, tuple(notes))


@dataclass(frozen=True)
class _Thing:
    """A rectangle to keep clear of: its half sizes as they are, the margin, whether it may be crossed square, how to cure it."""

    name: str
    face: str
    at: Place
    half: Place
    margin: float
    crossed: bool
    cure: str


@dataclass(frozen=True)
class _Ways:
    """One route being looked for."""

    box: Sequence[Face]
    adjoining: dict[str, tuple[Adjoining, ...]]
    start: Spot
    end: Spot
    radius: float
    half_cable: float
    cross_split_line: bool

    def keep_outs(self) -> Iterator[_Thing]:
        for face in self.box:
            for part in face.keep_outs:
                split = part.kind == "split line"
                cure = "allow the split line to be crossed square" if split else f"move or leave out {part.name}"
                half = part.size[0] / 2, part.size[1] / 2
                yield _Thing(
                    part.name, face.name, part.at, half, MARGINS.get(part.kind, 0.0), split and self.cross_split_line, cure
                )

    def find(self, things: Sequence[_Thing], *, straight_ends: bool, rounded: bool = True) -> tuple[Path | None, dict[str, float]]:
        """The path, and the margins [m] that an end of it cannot keep."""
        radius = self.radius if rounded else 0.0
        obstacles: list[Obstacle] = []
        never: list[Obstacle] = []
        reduced = {}
        for thing in things:
            grown = self._grown(thing, radius)
            wanted = thing.margin + self.half_cable + _CORNER * radius
            if min(grown[0] - thing.half[0], grown[1] - thing.half[1]) < wanted - 1e-9:
                reduced[thing.name] = thing.margin
            obstacles += self._laid(thing, grown)
            if not thing.crossed:
                never += self._laid(thing, thing.half)
        ends = (self.start.face, self.start.at), (self.end.face, self.end.at)
        return shortest_path(self.box, obstacles, *ends, radius=radius, straight_ends=straight_ends, never=never), reduced

    def why_not(self, things: Sequence[_Thing]) -> NoRoute:
        """Which single change would open a way."""
        cures, blocking = [], []
        for thing in things:
            others = [one for one in things if one is not thing]
            if self.find(others, straight_ends=False)[0] is not None:
                blocking.append(thing.name)
                cures.append(thing.cure)
        if self.find(things, straight_ends=False, rounded=False)[0] is not None:
            cures.append(f"take a thinner cable, which may bend tighter than {1000 * self.radius:.0f} mm")
        return NoRoute(tuple(blocking or dict.fromkeys(thing.name for thing in things)), tuple(dict.fromkeys(cures)))

    def _grown(self, thing: _Thing, radius: float) -> tuple[float, float]:
        """Half sizes to keep out of, no larger than lets both ends stand outside."""
        growth = thing.margin + self.half_cable + _CORNER * radius
        half = [max(size + growth, radius) for size in thing.half]
        for at in self._seen_from(thing.face):
            aside = [abs(at[axis] - thing.at[axis]) for axis in (0, 1)]
            if aside[0] < half[0] and aside[1] < half[1]:
                axis = 0 if aside[0] - thing.half[0] >= aside[1] - thing.half[1] else 1
                half[axis] = aside[axis]
        return half[0], half[1]

    def _seen_from(self, name: str) -> Iterator[Place]:
        """Both ends, where they are on a face or next to it, in that face's plane."""
        for spot in (self.start, self.end):
            if spot.face == name:
                yield spot.at
            for other in self.adjoining[name]:
                if other.face == spot.face:
                    at = other.turn @ np.array(spot.at) + other.shift
                    yield float(at[0]), float(at[1])

    def _laid(self, thing: _Thing, half: tuple[float, float]) -> Iterator[Obstacle]:
        """The rectangle on its face, and what of it reaches over the edges; what is crossed square keeps to its face.

        Where it reaches past the end of a face it stands out a little, so that no cable squeezes by along the very edge; but not
        what is crossed square where a next face begins, for one may go round it there.
        """
        sizes = {face.name: face.size for face in self.box}
        low, high = np.array(thing.at) - half, np.array(thing.at) + half
        past = np.full((2, 2), _PAST)  # at low and high of both axes
        if thing.crossed:
            for other in self.adjoining[thing.face]:
                past[int(other.at > 0), other.axis] = 0.0
        yield from _cut(thing, thing.face, low, high, sizes[thing.face], past)
        if thing.crossed:
            return
        for other in self.adjoining[thing.face]:
            ends = np.stack([(low - other.shift) @ other.turn, (high - other.shift) @ other.turn])
            yield from _cut(thing, other.face, ends.min(axis=0), ends.max(axis=0), sizes[other.face], past)


def _cut(thing: _Thing, face: str, low: Floats, high: Floats, size: Place, past: Floats) -> Iterator[Obstacle]:
    """What of a rectangle lies on a face, and so much past its ends."""
    if (high > 0).all() and (low < size).all():
        low, high = np.maximum(low, -past[0]), np.minimum(high, size + past[1])
        yield Obstacle(thing.name, face, (float(low[0]), float(low[1])), (float(high[0]), float(high[1])), thing.crossed)


def _check(spot: Spot, by_name: dict[str, Face]) -> None:
    if spot.face not in by_name:
        raise OutOfRange("face", repr(spot.face), f"one of: {', '.join(by_name)}")
    face = by_name[spot.face]
    if not all(0 <= x <= size for x, size in zip(spot.at, face.size, strict=True)):
        raise OutOfRange(f"place on {face.name}", spot.at, f"on the face, which is {face.size[0]:g} m by {face.size[1]:g} m")
    for part in face.keep_outs:
        if _inside(spot.at, part):
            raise OutOfRange(f"place on {face.name}", spot.at, f"outside {part.name}, which is to be kept clear")


def _inside(at: Place, part: KeepOut) -> bool:
    return all(abs(at[axis] - part.at[axis]) < part.size[axis] / 2 - 1e-9 for axis in (0, 1))


def box_sides(faces: Sequence[Face]) -> list[Face]:
    """The faces that routes go over, the sides of a box: those that look somewhere, of two that look the same way the larger."""
    sides: dict[str, Face] = {}
    for face in faces:
        if face.outward in OUTWARD:
            rival = sides.get(face.outward)
            if rival is None or face.size[0] * face.size[1] > rival.size[0] * rival.size[1]:
                sides[face.outward] = face
    return list(sides.values())


def _estimate(face: Face, at: Place) -> float:
    """From a place to the farthest corner of its face, along the sides. [m]"""
    return sum(max(x, size - x) for x, size in zip(at, face.size, strict=True))


def _power_obstacle(cable: PowerCable, apart: float) -> _Thing:
    across = [abs(one - other) for one, other in zip(cable.start, cable.end, strict=True)]
    if min(across) > 1e-6 + cable.outside_diameter:
        raise OutOfRange(cable.name, (cable.start, cable.end), "along a side of its face; an askew one as several pieces")
    margin = APART_FROM_CONVERTER if cable.from_converter and cable.length > CONVERTER_RUN else apart
    middle = (cable.start[0] + cable.end[0]) / 2, (cable.start[1] + cable.end[1]) / 2
    half = (across[0] + cable.outside_diameter) / 2, (across[1] + cable.outside_diameter) / 2
    return _Thing(cable.name, cable.face, middle, half, margin, True, f"lead {cable.name} another way")


def _clips(path: Path) -> tuple[Clip, ...]:
    """The first 150 mm from the sensor, the last at the entry, the others evenly between."""
    number = int(clips_needed(length=path.length))
    first = min(FIRST_CLIP, path.length / 2)
    clips, passed = [], 0.0
    wanted = np.linspace(first, path.length, number).tolist()
    for leg in path.legs:
        while wanted and wanted[0] <= passed + leg.length + 1e-9:
            share = (wanted[0] - passed) / leg.length
            at = tuple(one + share * (other - one) for one, other in zip(leg.start, leg.end, strict=True))
            clips.append(Clip(leg.face, (at[0], at[1]), wanted.pop(0)))
        passed += leg.length
    return tuple(clips)
