"""What stands where in the drawing of a train: which shafts share an axis, in which rows, what joins them, in which columns.

Axes are rows, the stated one first and the others as meshes lead away from it; each mesh and each planetary set is a column. Sun,
ring and carrier of a set share an axis; so do two shafts that mesh with the same two others (a load split over two shafts and
brought together again). Shafts driven by a belt or chain only stand outside the housing.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import combinations
from typing import Any

__all__ = ["Column", "Gear", "Layout", "PlanetarySet", "layout_of", "share"]


@dataclass(frozen=True)
class Gear:
    """A gear of a planetary set: `role` is sun, planet or ring; teeth None where unknown."""

    role: str
    shaft: str
    teeth: int | None


@dataclass(frozen=True)
class PlanetarySet:
    """Planets on one carrier with the suns and rings they mesh with.

    `planes` are the gears that stand in one plane each, from the axis outwards; `mesh_names` those of its meshes.
    """

    name: str
    carrier: str
    planets: tuple[str, ...]
    count: int
    planes: tuple[tuple[Gear, ...], ...]
    mesh_names: tuple[str, ...]

    @property
    def members(self) -> dict[str, str]:
        """Shaft -> role of all that turn about the main axis."""
        found = {gear.shaft: gear.role for plane in self.planes for gear in plane if gear.role != "planet"}
        return {**found, self.carrier: "carrier"}


@dataclass(frozen=True)
class Column:
    """Something that takes room along the axes: a `mesh`, a planetary `set`, a `link` of unknown gears or a `bearing`.

    `shafts` are those it stands on.
    """

    kind: str
    of: Any
    shafts: tuple[str, ...]


@dataclass
class Layout:
    """Rows from the top, each the shafts on one axis, and columns from the left; `outside` are the shafts outside the housing."""

    rows: list[tuple[str, ...]]
    columns: list[Column]
    outside: tuple[str, ...]
    shafts: dict[str, dict[str, Any]] = field(default_factory=dict)

    def row_of(self, shaft: str) -> int:
        """Number of the row a shaft stands in."""
        return next(number for number, row in enumerate(self.rows) if shaft in row)

    def columns_of(self, shaft: str) -> list[int]:
        """Numbers of the columns that stand on a shaft."""
        return [number for number, column in enumerate(self.columns) if shaft in column.shafts]


def layout_of(drive: dict[str, Any]) -> Layout:
    """The layout of a drive, from the ``drive`` part of a ``survey/1`` document."""
    shafts = {shaft["name"]: shaft for shaft in drive["shafts"]}
    belts = drive.get("belts", [])
    sets = _sets(drive, shafts)
    in_sets = {name for one in sets for name in one.mesh_names}
    plain = [mesh for mesh in drive["meshes"] if mesh["name"] not in in_sets]
    parts = [
        *(Column("mesh", mesh, (mesh["pinion_shaft"], mesh["wheel_shaft"])) for mesh in plain),
        *(Column("set", one, tuple(one.members)) for one in sets),
    ]
    standing = [name for name, shaft in shafts.items() if not shaft.get("carrier")]
    geared = {name for part in parts for name in part.shafts}
    belted = {belt[side] for belt in belts for side in ("driver_shaft", "driven_shaft")}
    ends = {name for name in standing if shafts[name]["end"]}
    inside = [name for name in standing if name in geared or name not in belted or (not geared and name in ends)]
    inside = inside or standing[:1]
    outside = tuple(name for name in standing if name not in inside)
    if not parts and len(inside) > 1:
        parts = [Column("link", None, tuple(inside))]
    axes = _axes(inside, sets, plain)
    first = next(
        (name for name in (drive["reference_shaft"], *_partners(drive["reference_shaft"], belts)) if name in inside), inside[0]
    )
    rows = _ordered(axes, parts, first)
    for name in outside:
        partners = {row for row in range(len(rows)) for partner in _partners(name, belts) if partner in rows[row]}
        rows.insert(0 if 0 in partners else len(rows), (name,))
    return Layout(rows, _in_walk(parts, first), outside, shafts)


def share(pinion: int | None, wheel: int | None) -> float:
    """Part of the centre distance that the pinion takes; a guess where a tooth count is unknown."""
    return float(pinion / (pinion + wheel)) if pinion and wheel else 0.3


def _partners(name: str, belts: Iterable[dict[str, Any]]) -> list[str]:
    pairs = [(belt["driver_shaft"], belt["driven_shaft"]) for belt in belts]
    return [two if one == name else one for one, two in pairs if name in (one, two)]


def _sets(drive: dict[str, Any], shafts: dict[str, dict[str, Any]]) -> list[PlanetarySet]:
    """Planets that mesh with each other, or bear one group's name, are of one set."""
    carried = [name for name, shaft in shafts.items() if shaft.get("carrier")]
    meshes = [mesh for mesh in drive["meshes"] if {mesh["pinion_shaft"], mesh["wheel_shaft"]} & set(carried)]
    together: list[set[str]] = [{name} for name in carried]
    groups = {mesh.get("group") or mesh["name"]: set[str]() for mesh in meshes}
    for mesh in meshes:
        groups[mesh.get("group") or mesh["name"]] |= {mesh["pinion_shaft"], mesh["wheel_shaft"]} & set(carried)
    for joined in groups.values():
        touched = [one for one in together if one & joined]
        together = [one for one in together if one not in touched] + [set().union(*touched)]
    found = []
    for planets in together:
        own = [mesh for mesh in meshes if {mesh["pinion_shaft"], mesh["wheel_shaft"]} & planets]
        names = tuple(name for name in carried if name in planets)
        if own:
            found.append(
                PlanetarySet(
                    next((mesh["group"] for mesh in own if mesh.get("group")), ""),
                    shafts[names[0]]["carrier"],
                    names,
                    max(shafts[name].get("count", 1) for name in names),
                    _planes(own, planets),
                    tuple(mesh["name"] for mesh in own),
                )
            )
    return sorted(found, key=lambda one: [mesh["name"] for mesh in meshes].index(one.mesh_names[0]))


def _planes(meshes: list[dict[str, Any]], planets: set[str]) -> tuple[tuple[Gear, ...], ...]:
    """Gears from the axis outwards: sun, planet or pair of planets, ring, as far as one planet gear serves both meshes."""
    gears = [
        {mesh["pinion_shaft"]: mesh["pinion_teeth"], mesh["wheel_shaft"]: mesh["wheel_teeth"]} | {"": mesh["kind"]}
        for mesh in meshes
    ]
    left = list(range(len(meshes)))

    def ends(number: int) -> list[str]:
        return [name for name in gears[number] if name]

    def central(number: int) -> str:
        return next((name for name in ends(number) if name not in planets), "")

    def is_ring(number: int) -> bool:
        return bool(central(number)) and gears[number][""] == "internal"

    def take(planet: str, teeth: int | None, wanted: str) -> int | None:
        """A mesh not drawn yet of this very planet gear: with a ring, or with another planet."""
        for number in left:
            if planet in gears[number] and gears[number][planet] == teeth:
                kind = "ring" if is_ring(number) else ("sun" if central(number) else "planet")
                if kind == wanted:
                    left.remove(number)
                    return number
        return None

    planes = []
    order = sorted(left, key=lambda number: (is_ring(number), not central(number)))  # suns, planets among themselves, rings
    for start in order:
        if start not in left:
            continue
        left.remove(start)
        middle = central(start)
        if is_ring(start) or not middle:
            chain = [Gear("planet", name, gears[start][name]) for name in ends(start) if name in planets]
        else:
            planet = next(name for name in ends(start) if name in planets)
            chain = [Gear("sun", middle, gears[start][middle]), Gear("planet", planet, gears[start][planet])]
        if is_ring(start):
            chain.append(Gear("ring", middle, gears[start][middle]))
        elif len(chain) == 2 and middle:
            beside = take(chain[-1].shaft, chain[-1].teeth, "planet") if _no_ring(gears, left, chain[-1], is_ring) else None
            if beside is not None:
                other = next(name for name in ends(beside) if name != chain[-1].shaft)
                chain.append(Gear("planet", other, gears[beside][other]))
        if chain[-1].role == "planet":
            outer = take(chain[-1].shaft, chain[-1].teeth, "ring")
            if outer is not None:
                chain.append(Gear("ring", central(outer), gears[outer][central(outer)]))
        planes.append(tuple(chain))
    return tuple(planes)


def _no_ring(gears: list[dict[str, Any]], left: list[int], planet: Gear, is_ring: Any) -> bool:
    return not any(is_ring(n) and planet.shaft in gears[n] and gears[n][planet.shaft] == planet.teeth for n in left)


def _axes(inside: list[str], sets: list[PlanetarySet], plain: list[dict[str, Any]]) -> list[tuple[str, ...]]:
    axes: list[set[str]] = [{name} for name in inside]
    for one in sets:
        members = set(one.members)
        touched = [axis for axis in axes if axis & members]
        axes = [axis for axis in axes if axis not in touched] + [set().union(*touched)]
    beside: dict[str, set[str]] = {name: set() for name in inside}
    for mesh in plain:
        beside[mesh["pinion_shaft"]].add(mesh["wheel_shaft"])
        beside[mesh["wheel_shaft"]].add(mesh["pinion_shaft"])
    merged: set[str] = set()  # the two between them mesh alike too, but stay apart
    single = [axis for axis in axes if len(axis) == 1]
    for axis, other in combinations(single, 2):
        first, second = min(axis), min(other)
        if (
            len(beside[first]) >= 2
            and beside[first] == beside[second]
            and not beside[first] & merged
            and axis in axes
            and other in axes
        ):
            axes = [each for each in axes if each not in (axis, other)] + [axis | other]
            merged |= {first, second}
    return [tuple(name for name in inside if name in axis) for axis in axes]


def _ordered(axes: list[tuple[str, ...]], parts: list[Column], first: str) -> list[tuple[str, ...]]:
    """Rows as meshes lead away from the first; of two that the first row leads to, one stands above it."""
    at = {name: axis for axis in axes for name in axis}
    rows = [at[first]]
    for axis in (walk := [at[first]]):
        new: list[tuple[str, ...]] = []
        for part in parts:
            if part.kind == "mesh" and any(name in axis for name in part.shafts):
                new += [at[name] for name in part.shafts if at[name] not in walk and at[name] not in new]
        walk += new
        above = new[:1] if len(new) > 1 and rows[0] == axis else []
        below = new[len(above) :]
        place = rows.index(axis) + 1 if len(rows) > 1 and rows[-1] != axis and above else len(rows)
        rows = [*above, *rows[:place], *below, *rows[place:]]
    order = {name: number for number, name in enumerate(at)}
    return rows + sorted((axis for axis in axes if axis not in rows), key=lambda axis: order[axis[0]])


def _in_walk(parts: list[Column], first: str) -> list[Column]:
    """Columns in the order in which the load walks through them."""
    walk, columns = [first], []
    for name in walk:
        for part in parts:
            if name in part.shafts and part not in columns:
                columns.append(part)
                walk += [other for other in part.shafts if other not in walk]
    return columns + [part for part in parts if part not in columns]
