"""Where everything of a train's drawing stands: columns along the axes, how far each shaft runs, how far apart the axes are.

A shaft alone on its axis runs from wall to wall; of several on one axis the outermost reach the walls, and where two run over the
same stretch one is hollow and the other runs in it.
"""

from collections.abc import Collection
from dataclasses import dataclass, field
from typing import Any

from gearcase.drawings import gears
from gearcase.drawings.layout import Column, Layout, layout_of
from gearcase.drawings.planetary import attachment, set_height, set_width, set_words
from gearcase.drawings.svg import text_width, wrap

__all__ = ["COLUMN", "LANE", "OUTER", "WALL", "Outside", "Placing", "Run"]

COLUMN, WALL, OUTER = 158.0, 190.0, 108.0  # px: width of a mesh, room beside the housing, and for what stands beyond that
LANE = 6.0  # px: how much thicker a hollow shaft is than what runs in it
_ROW, _WORM_COLUMN = 118.0, 182.0  # px: between axes at least, width of a worm's mesh
_TOP, _ABOVE = 74.0, 36.0  # px: from the sheet's upper edge to the first axis, and to any gear at least
_END = 46.0  # px: from the sheet's edge to the end of a shaft that leaves the housing, room for its arrow
_ROLES = ("sun", "carrier", "ring")


@dataclass
class Run:
    """Where a shaft runs: from and to [px], whether it reaches the left and the right wall, and how many run inside it."""

    start: float
    end: float
    left: bool
    right: bool
    lane: int = 0


@dataclass
class Outside:
    """What stands on the shafts outside one wall: belts in columns of their own, then for each shaft what is beyond them."""

    belts: list[dict[str, Any]] = field(default_factory=list)
    others: dict[str, list[dict[str, Any]]] = field(default_factory=dict)

    @property
    def wide(self) -> float:
        return OUTER * (len(self.belts) + max((len(each) for each in self.others.values()), default=0))


class Placing:
    """Where everything stands on the sheet: columns along the axes, runs of the shafts, heights of the axes. [px]"""

    def __init__(self, drive: dict[str, Any], faulty: Collection[str]) -> None:
        self.drive, self.faulty = drive, faulty
        self.layout: Layout = layout_of(drive)
        self.at = {name: number for number, row in enumerate(self.layout.rows) for name in row}
        self.lone = {row[0] for row in self.layout.rows if len(row) == 1} - set(self.layout.outside)
        self.planet_bearings, self.bearings = self._sorted_bearings()
        self._add_bearing_columns()
        self.sides = {"left": Outside(), "right": Outside()}
        self._sort_outside()
        self.left = WALL + self.sides["left"].wide
        self.starts, right = self._column_starts()
        self.right = max(right + 40, self.left + COLUMN + 60)
        width = self.right + WALL + self.sides["right"].wide
        self.runs = self._runs()
        self.y = self._heights()
        self.width, self.height = width, self._height()

    # what there is

    def _sorted_bearings(self) -> tuple[list[dict[str, Any]], dict[str, list[dict[str, Any]]]]:
        carried = {name for name, shaft in self.layout.shafts.items() if shaft.get("carrier")}
        planets = [each for each in self.drive["bearings"] if {each["shaft"], each.get("other_shaft")} & carried]
        rest = {
            name: [each for each in self.drive["bearings"] if each["shaft"] == name and each not in planets] for name in self.at
        }
        return planets, rest

    def _walls(self, name: str) -> tuple[bool, bool]:
        """Whether a shaft reaches the left and the right wall: alone in its row it does, else where nothing is in its way."""
        if name in self.lone:
            return True, not self._overhung(name)
        row = [each for each in self.layout.rows[self.at[name]] if not self.layout.shafts[each].get("held")]
        if name not in row:
            return False, False
        first, last = self._leading(row, "left"), self._leading(row, "right")
        return name == first, name == last and (last != first or len(row) == 1)

    def _overhung(self, name: str) -> bool:
        """A pinion inside a ring stands at the end of its shaft: the ring's web is beyond it."""
        columns = self.layout.columns_of(name)
        last = self.layout.columns[columns[-1]] if columns else None
        inside = last is not None and last.kind == "mesh" and last.of.get("kind") == "internal" and last.of["pinion_shaft"] == name
        return inside and self.layout.shafts[name]["end"] != "output"

    def _leading(self, row: list[str], side: str) -> str:
        """The shaft of a row that goes out at a wall: an end of the drive first, else the outermost."""
        wanted = {"left": "input", "right": "output"}[side]

        def rank(name: str) -> tuple[bool, float]:
            columns = self.layout.columns_of(name) or [0]
            outermost = columns[0] + self._bias(name) if side == "left" else -columns[-1] - self._bias(name)
            return self.layout.shafts[name]["end"] != wanted, outermost

        return min(row, key=rank)

    def _bias(self, name: str) -> float:
        """Within one set the sun leads off to the left and the carrier to the right, where nothing else says so."""
        roles = [
            self.layout.columns[n].of.members[name] for n in self.layout.columns_of(name) if self.layout.columns[n].kind == "set"
        ]
        return {"sun": 0.0, "ring": 0.1, "carrier": 0.2}[roles[0]] if roles else 0.0

    def _add_bearing_columns(self) -> None:
        """Bearings that find no room on a wall stand in columns beside what their shaft carries."""
        for name in [name for row in self.layout.rows for name in row if name not in self.layout.outside]:
            left, right = self._walls(name)
            inner = self.bearings[name][int(left) :]
            inner = inner[: len(inner) - int(right)] if right else inner
            columns = self.layout.columns_of(name)
            new = [Column("bearing", bearing, (name,)) for bearing in inner]
            if (left and right) or not columns:
                place = len(self.layout.columns)
            elif right or (len(columns) == 1 and not left):
                place = columns[-1] + 1
            else:
                place = columns[0] if left else columns[0] + 1
            self.layout.columns[place:place] = new

    def _side(self, name: str) -> str:
        """The wall a shaft leaves the housing by."""
        left, right = self._walls(name)
        return "right" if self.layout.shafts[name]["end"] == "output" or (right and not left) else "left"

    def _sort_outside(self) -> None:
        outside = set(self.layout.outside)
        self.out_side: dict[str, str] = {name: self._side(name) for name in self.at if name not in outside}
        for _ in outside:  # along belts, as far as they lead
            for belt in self.drive.get("belts", []):
                pair = (belt["driver_shaft"], belt["driven_shaft"])
                for one, other in (pair, pair[::-1]):
                    if one in self.out_side and other not in self.out_side:
                        self.out_side[other] = self.out_side[one]
        for name in outside:
            self.out_side.setdefault(name, "left")
        for belt in self.drive.get("belts", []):
            self.sides[self.out_side[belt["driver_shaft"]]].belts.append(belt)
        motor = self.drive.get("motor")
        parts = [*self.drive.get("passing_parts", []), *([{**motor, "kind": "motor"}] if motor else [])]
        for part in parts:
            if part["shaft"] in self.out_side:
                self.sides[self.out_side[part["shaft"]]].others.setdefault(part["shaft"], []).append(part)

    # where it stands

    def _column_starts(self) -> tuple[list[float], float]:
        x, starts = self.left + 20, []
        for column in self.layout.columns:
            starts.append(x)
            x += self.wide(column)
        return starts, x

    def wide(self, column: Column) -> float:
        if column.kind == "set":
            return set_width(column.of) + 16
        return _WORM_COLUMN if column.kind == "mesh" and column.of.get("kind") == "worm" else COLUMN

    def _joint(self, name: str, number: int) -> float:
        """Where along its axis a shaft joins what stands in a column."""
        column, start = self.layout.columns[number], self.starts[number]
        if column.kind == "set":
            return attachment(column.of, name, start, self.leads(name, number))
        if column.kind == "mesh":
            return start + 0.36 * self.wide(column) + (gears.BLOCK / 2 if self._overhung(name) else 0.0)
        return start + self.wide(column) / 2

    def leads(self, name: str, number: int) -> str:
        """To which side of a set a member's shaft leads."""
        others = [other for other in self.layout.columns_of(name) if other != number]
        left, right = self._walls(name)
        if others:
            return "left" if sum(others) / len(others) < number else "right"
        if left != right:
            return "left" if left else "right"
        return "left" if self.layout.columns[number].of.members[name] == "sun" else "right"

    def _runs(self) -> dict[str, Run]:
        runs = {}
        for name in self.at:
            if name in self.layout.outside:
                runs[name] = self._outside_run(name)
                continue
            left, right = self._walls(name)
            joints = [self._joint(name, number) for number in self.layout.columns_of(name)]
            start = self.left - 12 if left else min(joints, default=self.left)
            end = self.right + 12 if right else max(joints, default=self.right)
            if not left and not right and len(joints) == 1 and not self.layout.shafts[name].get("held"):
                start, end = start - 30, end + 30
            runs[name] = Run(start, end, left, right)
        for row in self.layout.rows:
            done: list[str] = []
            for name in sorted(row, key=lambda name: _ROLES.index(self._role(name)) if self._role(name) in _ROLES else 0):
                run = runs[name]
                inside = [runs[other].lane for other in done if runs[other].start < run.end - 2 and run.start < runs[other].end - 2]
                run.lane = max(inside, default=-1) + 1
                if not self.layout.shafts[name].get("held"):
                    done.append(name)
        for name, run in runs.items():
            outer = self._outer_end(name)
            if outer is not None:
                run.start, run.end = (outer, run.end) if self.out_side[name] == "left" else (run.start, outer)
        return runs

    def _outside_run(self, name: str) -> Run:
        if self.out_side[name] == "left":
            return Run(self.left - WALL, self.left - 24, False, False)
        return Run(self.right + 24, self.right + WALL, False, False)

    def _outer_end(self, name: str) -> float | None:
        """How far out a shaft reaches: to its belts, motor and parts; an end of the drive at least to its arrow."""
        side = self.out_side[name]
        places = [place for _, place in self.outer_places(name)]
        end = self.layout.shafts[name]["end"]
        edge = self.left - WALL + _END if side == "left" else self.right + WALL - _END
        if name not in self.layout.outside and (end, side) in (("input", "left"), ("output", "right")):
            places.append(edge)
        if not places:
            return None
        return min(places) if side == "left" else max(places)

    def outer_places(self, name: str) -> list[tuple[dict[str, Any], float]]:
        """Parts on a shaft outside the housing, and where along it each stands."""
        side = self.sides[self.out_side[name]]
        belts = [(belt, number) for number, belt in enumerate(side.belts) if name in (belt["driver_shaft"], belt["driven_shaft"])]
        others = [(part, len(side.belts) + number) for number, part in enumerate(side.others.get(name, []))]
        away = [(part, (number + 0.5) * OUTER) for part, number in (*belts, *others)]
        if self.out_side[name] == "left":
            return [(part, self.left - WALL - far) for part, far in away]
        return [(part, self.right + WALL + far - (20 if "driver_size" in part else 0)) for part, far in away]

    def _role(self, name: str) -> str:
        sets = (column.of.members for column in self.layout.columns if column.kind == "set")
        return next((members[name] for members in sets if name in members), "")

    def _heights(self) -> dict[str, float]:
        """Height of each axis, each far enough below the one before for what stands between them."""
        tall = [0.0] * len(self.layout.rows)
        for column in self.layout.columns:
            if column.kind == "set":
                row = self.at[column.shafts[0]]
                tall[row] = max(tall[row], set_height(column.of))
        at, y = [0.0], dict.fromkeys(self.layout.rows[0], 0.0)
        for number, members in enumerate(self.layout.rows[1:], start=1):
            reach = [half - (at[number - 1] - y_gear) + 30 for y_gear, half in self.gear_extents(y) if y_gear <= at[number - 1]]
            at.append(at[-1] + max([_ROW, tall[number] + 20, self._below(number - 1) + 44, *reach]))
            y |= dict.fromkeys(members, at[-1])
        top = max(
            [
                _TOP,
                *(half - each + _ABOVE for each, half in self.gear_extents(y)),
                *(t - a + 34 for t, a in zip(tall, at, strict=True)),
            ]
        )
        return {name: top + each for name, each in y.items()}

    def gear_extents(self, y: dict[str, float]) -> list[tuple[float, float]]:
        """Axis and half height of every gear placed so far."""
        found = []
        for column in self.layout.columns:
            mesh = column.of
            if column.kind == "mesh" and mesh["pinion_shaft"] in y and mesh["wheel_shaft"] in y:
                halves = gears.half_heights(mesh, abs(y[mesh["wheel_shaft"]] - y[mesh["pinion_shaft"]]))
                if mesh.get("kind") == "internal":  # drawn in half section: no lower half
                    found.append((y[mesh["pinion_shaft"]], halves[0] + gears.RIM))
                else:
                    found += [(y[mesh["pinion_shaft"]], halves[0]), (y[mesh["wheel_shaft"]], halves[1])]
        return found

    def _below(self, row: int) -> float:
        """Room under an axis for the words of its sets."""
        return max((self.words_top(column) + 13 * len(self.words(column)) for column in self._sets(row)), default=0.0)

    def _sets(self, row: int) -> list[Column]:
        return [column for column in self.layout.columns if column.kind == "set" and self.at[column.shafts[0]] == row]

    def words_top(self, column: Column) -> float:
        held = any(self.layout.shafts[name].get("held") for name, role in column.of.members.items() if role != "ring")
        return 40.0 if held else 28.0

    def words(self, column: Column) -> list[tuple[str, bool]]:
        """Lines under a set, and whether each names the place of a fault: members not named at a wall, planets, their bearings."""
        said = [name for name, role in column.of.members.items() if any(self._walls(name)) or self._named_before(name, column)]
        words = [(line, False) for line in set_words(column.of, self.layout, said)]
        if not column.of.name:
            words += [(name, False) for name in column.of.mesh_names]
        lines = [(part, marked) for line, marked in words for part in self._broken(line, set_width(column.of))]
        for bearing in self.bearings_of(column):
            marked = bearing["name"] in self.faulty
            lines += [(part, marked) for part in gears.bearing_lines(bearing, set_width(column.of), 10.5, marked=marked, most=2)]
        return lines

    def _broken(self, line: str, room: float) -> list[str]:
        """A line too long for its room is broken before the speed, so that the speed stays in one piece."""
        if text_width(line, 10.5, 600) <= room:
            return [line]
        name, colon, speed = line.rpartition(": ")
        return [*wrap(name + colon, room, 10.5, most=2, weight=600), speed] if colon else wrap(line, room, 10.5, most=2, weight=600)

    def _named_before(self, name: str, column: Column) -> bool:
        first = next(each for each in self.layout.columns if each.kind == "set" and name in each.of.members)
        return first is not column

    def bearings_of(self, column: Column) -> list[dict[str, Any]]:
        planets = set(column.of.planets)
        return [bearing for bearing in self.planet_bearings if {bearing["shaft"], bearing.get("other_shaft")} & planets]

    def _height(self) -> float:
        lowest = max(self.y.values())
        under = max((self.y[row[0]] + self._below(number) + 30 for number, row in enumerate(self.layout.rows)), default=0.0)
        foot = 98 if self.layout.rows[-1][0] in self.layout.outside else 84
        return max([lowest + foot, under, *(y + half + 44 for y, half in self.gear_extents(self.y))])
