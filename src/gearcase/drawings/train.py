"""The drive drawn as shafts, gears and bearings, from the survey's document.

Axes are rows, meshes and planetary sets are columns (`layout`). Gears stand in proportion to their teeth and just touch; a
planetary set is drawn in half section above its axis (`planetary`); what stands outside the housing (belts, motor, fan, coupling)
is drawn beside it; bearings are crossed boxes on the housing's walls. Axes that cross are swung into one plane. What nobody
knows is dashed and marked with a question mark.
"""

import re
from collections.abc import Collection, Iterable, Mapping
from typing import Any

from gearcase.drawings import gears
from gearcase.drawings.layout import Column
from gearcase.drawings.placing import COLUMN, LANE, OUTER, WALL, Placing
from gearcase.drawings.planetary import draw_set, speed_words
from gearcase.drawings.svg import ACCENT, HAIRLINE, INK, MUTED, WIDE, Sheet, text_width, wrap
from gearcase.drive.bearing_lines import BEARING_RATES
from gearcase.judge.patterns.catalogue import pattern

__all__ = ["faulty_parts", "train_sheet", "train_svg"]

_CHAIN = "14 3 2 3"  # ISO 128 chain line: centre lines and axes


def train_svg(drive: dict[str, Any], faulty: Collection[str] = ()) -> str:
    """The drive as an SVG document.

    Parameters
    ----------
    drive : dict
        The ``drive`` part of a ``survey/1`` document.
    faulty : collection of str
        Names of bearings, meshes and shafts to mark as the place of a fault.
    """
    return train_sheet(drive, faulty).svg(f"{drive['name']}: shafts, gears and bearings")


def faulty_parts(drive: Mapping[str, Any], verdicts: Iterable[Mapping[str, Any]]) -> set[str]:
    """Names of the bearings, meshes and shafts that verdicts name as the place of a fault; a backstop or fan is its shaft's. What
    is wrong with the measurement is no part of the drive.
    """
    parts = {part["name"]: part["name"] for kind in ("bearings", "meshes", "shafts") for part in drive[kind]}
    parts |= {part["name"]: part["shaft"] for part in drive.get("passing_parts", [])}
    found = set()
    for verdict in verdicts:
        if verdict["fault"] not in BEARING_RATES and pattern(verdict["fault"]).part == "measurement":
            continue
        rest = verdict["component"]
        for name in sorted(parts, key=len, reverse=True):  # "input bearing" before "input"
            if re.search(rf"(?<!\w){re.escape(name)}(?!\w)", rest):
                found.add(parts[name])
                rest = rest.replace(name, "|")
    return found


def train_sheet(drive: dict[str, Any], faulty: Collection[str] = ()) -> Sheet:
    """The drawing before it becomes text; its label boxes can be checked."""
    return _Drawing(drive, faulty).sheet


class _Drawing:
    """Draws a train from the back to the front."""

    def __init__(self, drive: dict[str, Any], faulty: Collection[str]) -> None:
        self.drive, self.faulty = drive, faulty
        self.place = Placing(drive, faulty)
        self.sheet = Sheet(self.place.width, self.place.height)
        self._draw()

    def _draw(self) -> None:
        sheet = self.sheet
        inside = [self.place.y[name] for name in self.place.at if name not in self.place.layout.outside]
        above = [self.place.y[name] for name in self.place.layout.outside if self.place.y[name] < min(inside)]
        below = [self.place.y[name] for name in self.place.layout.outside if self.place.y[name] > max(inside)]
        top = 24 if not above else max(above) + 44
        bottom = sheet.height - 24 if not below else min(below) - 52
        top = min([top, *(y - half - 12 for y, half in self.place.gear_extents(self.place.y))])
        bottom = max([bottom, *(y + half + 12 for y, half in self.place.gear_extents(self.place.y))])
        sheet.rectangle(self.place.left, top, self.place.right - self.place.left, bottom - top, colour=HAIRLINE, line=WIDE)
        for name in sorted(self.place.at, key=lambda name: -self.place.runs[name].lane):
            self._shaft(name)
        for number, column in enumerate(self.place.layout.columns):
            self._column(number, column)
        for name in self.place.at:
            self._wall_bearings(name)
        self._outer_parts()
        self._notes()

    def _shaft(self, name: str) -> None:
        sheet, shaft, run, y = self.sheet, self.place.layout.shafts[name], self.place.runs[name], self.place.y[name]
        half = 5 + LANE * run.lane
        marked = name in self.faulty
        if not shaft.get("held") or name in self.place.lone:
            sheet.rectangle(run.start, y - half, run.end - run.start, 2 * half, colour=ACCENT if marked else INK)
        if run.lane == 0:
            sheet.line(run.start - 10, y, run.end + 10, y, dash=_CHAIN, colour=MUTED)
        ends = {"left": run.start - 36, "right": run.end + 12}
        side = self.place.out_side[name]
        drawn = self.place.outer_places(name)
        if (
            (shaft["end"], side) in (("input", "left"), ("output", "right"))
            and not drawn
            and (run.left or run.right or name in self.place.layout.outside)
        ):
            gears.arrow(sheet, ends[side], y)
        if not (run.left or run.right or name in self.place.layout.outside):
            return
        leaves_right = side == "right" if (run.left and run.right) or name in self.place.layout.outside else run.right
        outside, anchor = (self.place.right + 16, "start") if leaves_right else (self.place.left - 16, "end")
        label = f"{name} ({shaft['end']})" if shaft["end"] and name != shaft["end"] else name
        label += ": fault" if marked else ""
        words = wrap(label, WALL - 30, 13, most=2, weight=600)
        up = 8 if name in self.place.layout.outside else 0  # clear of its bearings
        for number, line in enumerate(reversed(words)):
            colour = ACCENT if marked else INK
            sheet.text(outside, y - 28 - up - 15 * number, line, size=13, anchor=anchor, weight=600, colour=colour)
        sheet.text(outside, y - 13 - up, speed_words(shaft), size=12, anchor=anchor, colour=gears.muted_unless(shaft["hz"]))

    def _column(self, number: int, column: Column) -> None:
        x = self.place.starts[number]
        if column.kind == "mesh":
            pair = self.place.y[column.of["pinion_shaft"]], self.place.y[column.of["wheel_shaft"]]
            wide = self.place.wide(column)
            gears.gear_pair(self.sheet, column.of, x + 0.36 * wide, *pair, wide - 36, column.of["name"] in self.faulty)
        elif column.kind == "bearing":
            (name,) = column.shafts
            self._bearing(column.of, x + COLUMN / 2, self.place.y[name], x + COLUMN / 2, 32, COLUMN - 16, "middle", name)
        elif column.kind == "link":
            self._link(x + COLUMN / 2)
        else:
            self._set(x, column)

    def _set(self, x: float, column: Column) -> None:
        one, axis = column.of, self.place.y[column.shafts[0]]
        number = self.place.layout.columns.index(column)
        tops = {name: 5 + LANE * self.place.runs[name].lane for name in one.members}
        sides = {name: self.place.leads(name, number) for name in one.members}
        draw_set(
            self.sheet,
            one,
            left=x,
            axis=axis,
            tops=tops,
            sides=sides,
            layout=self.place.layout,
            bearings=self.place.bearings_of(column),
            faulty=self.faulty,
        )
        for row, (line, marked) in enumerate(self.place.words(column)):
            self.sheet.text(
                x + 4,
                axis + self.place.words_top(column) + 13 * row,
                line,
                size=10.5,
                colour=ACCENT if marked else INK,
                weight=600 if marked else 400,
            )

    def _link(self, x: float) -> None:
        levels = [self.place.y[name] for name in self.place.at if name not in self.place.layout.outside]
        top, bottom = min(levels), max(levels)
        self.sheet.rectangle(x - 62, top - 26, 124, bottom - top + 52, dash=gears.DASH)
        ratio = self.drive["ratings"]["ratio"]
        words = f"ratio {ratio:g}" if ratio else "ratio ?"
        self.sheet.text(x, (top + bottom) / 2 - 4, words, size=12, anchor="middle", weight=600)
        self.sheet.text(x, (top + bottom) / 2 + 12, "gears unknown", size=10, anchor="middle", colour=MUTED)

    def _wall_bearings(self, name: str) -> None:
        found, run, y = self.place.bearings[name], self.place.runs[name], self.place.y[name]
        if name in self.place.layout.outside:
            room = (WALL - 26) / max(len(found), 1)
            start = self.place.left - WALL + 4 if self.place.out_side[name] == "left" else self.place.right + 22
            for number, bearing in enumerate(found):
                x = start + room * (number + 0.5)
                self._bearing(bearing, x, y, x, 28, room - 2, "middle", name)
            return
        if run.left and found:
            self._bearing(found[0], self.place.left, y, self.place.left - 16, 17, WALL - 26, "end", name)
        if run.right and len(found) > int(run.left):
            self._bearing(found[-1], self.place.right, y, self.place.right + 16, 17, WALL - 26, "start", name)

    def _bearing(
        self, bearing: dict[str, Any], x: float, y: float, label_x: float, down: float, room: float, anchor: str, name: str
    ) -> None:
        marked = bearing["name"] in self.faulty
        half = 5 + LANE * self.place.runs[name].lane
        gears.bearing_box(self.sheet, x, y, known=bearing["geometry_known"], marked=marked, half_shaft=half)
        colour, weight = (ACCENT, 600) if marked else (INK, 400)
        most = 4 if name in self.place.layout.outside else 3
        for number, line in enumerate(gears.bearing_lines(bearing, room, 11, marked=marked, most=most)):
            self.sheet.text(label_x, y + down + 13 * number, line, size=11, anchor=anchor, colour=colour, weight=weight)

    def _outer_parts(self) -> None:
        places = {name: self.place.outer_places(name) for name in self.place.at}
        for side in self.place.sides.values():
            for belt in side.belts:
                pair = (belt["driver_shaft"], belt["driven_shaft"])
                (x,) = {x for name in pair for part, x in places[name] if part is belt}
                gears.belt_band(self.sheet, belt, x, self.place.y[pair[0]], self.place.y[pair[1]], OUTER / 2 + 20)
        for name, found in places.items():
            for part, x in found:
                if part.get("kind") == "motor":
                    gears.motor(self.sheet, x, self.place.y[name], part["poles"])
                elif "count" in part:
                    gears.passing(self.sheet, part, x, self.place.y[name], OUTER - 8)

    def _notes(self) -> None:
        """What arrows and swung axes mean: an arrow says how a shaft turns against the stated one, not which way that turns."""
        drive = self.drive
        notes = []
        others = [
            shaft for shaft in drive["shafts"] if shaft["name"] != drive["reference_shaft"] and shaft.get("sense_known", True)
        ]
        if any(shaft["order"] for shaft in others):
            (name,) = wrap(str(drive["reference_shaft"]), WALL, 10, most=1) or [""]
            notes.append(f"↻ turns the same way as {name}, ↺ the other way")
        if any(mesh.get("kind") in ("bevel", "worm") for mesh in drive["meshes"]):
            notes.append("axes that cross are drawn parallel")
        if notes:
            for line in wrap("; ".join(notes), self.sheet.width - 2 * 20, 10, most=1):
                x = min(self.place.left, self.sheet.width - text_width(line, 10) - 20)
                self.sheet.text(x, self.sheet.height - 7, line, size=10, colour=MUTED)
