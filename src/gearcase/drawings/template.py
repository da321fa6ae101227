"""The 1:1 drill template of a face, to be printed, checked with a rule, laid on the face and punched through.

Printed are only the sheets with a hole to drill; where sheets begin is chosen so that each hole stands well inside one. A sheet is
laid to the face's datum edges where it shows them; where it does not, it shows a line at a round distance from the edge, which is
scribed on the face and laid line upon line. The key plan at the foot of each shows which part of the face it is. Sheets overlap by
`OVERLAP`; the registration marks of neighbours are the same places on the face, so that cross lies upon cross. Every sheet carries
a bar of 100 mm each way: printers shrink pages, and a template that was not measured is not used.

Rows are those of `face`; `is_drilled` says which of them get a hole, the others on a sheet are marked to be left alone.
"""

import json
import math
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

import typst

from gearcase.drawings.drafting import BLOCK_HEIGHT, PX_PER_MM, TitleBlock, draw_title_block, edges_of, mm, place_label
from gearcase.drawings.face import how_fixed, side_of
from gearcase.drawings.svg import ACCENT, INK, MUTED, NARROW, WIDE, Box, Sheet, text_width, wrap
from gearcase.errors import OutOfRange

__all__ = ["BAR", "OVERLAP", "PAPERS", "is_drilled", "template_pdf", "template_sheets"]

PAPERS = {"A4": (210.0, 297.0), "A3": (420.0, 297.0)}  # mm, ISO 216; A3 lies on its side
BAR = 100.0  # mm
OVERLAP = 10.0  # mm
_MARGIN, _SIDE, _FOOT = 8.0, 16.0, 34.0  # mm: what printers leave white, room for the upright bar, and for the words below
_NEAR = 60.0  # mm from a mark within which keep-outs are outlined
_BEFORE_EDGE = 12.0  # mm shown outside the datum edges at least
_WHOLE = 20.0  # mm that a hole keeps from the border of its sheet: its centre lines stand whole
_KEY = (13.0, 20.0)  # mm, room for the key plan
_REGISTER = 50.0  # px, in which the registers stand at the borders
_ROUND = (50.0, 10.0, 1.0)  # mm, distances of lines to scribe are multiples of the first of these that the sheet shows
_MEASURE = (
    "Measure both bars with a steel rule before use: each must be 100.0 mm long. If not, print again at 100 % (actual size, "
    "no fitting to the page). Lay heavy solid lines on the edges of the face; scribe heavy dashed ones on the face first, at the "
    "distance written. Check it over existing holes before you punch."
)
_HOME = files("gearcase.drawings")
_PAGES = """#let sheets = json("sheets.json")
#set page(width: sheets.paper.at(0) * 1mm, height: sheets.paper.at(1) * 1mm, margin: 0mm)
#for (n, picture) in sheets.pictures.enumerate() {
  if n > 0 { pagebreak() }
  place(top + left, image(bytes(picture), format: "svg", width: sheets.width * 1in / 96))
}
"""


@dataclass(frozen=True)
class _Tile:
    """One sheet's part of the face, from its lower left corner. [mm]"""

    left: float
    lower: float


def template_pdf(face: dict[str, Any], parts: list[dict[str, Any]], *, paper: str, block: TitleBlock) -> bytes:
    """The template of a face as PDF, a page for each sheet.

    Parameters
    ----------
    face : dict
        One of ``faces`` of a ``plan/1`` document.
    parts : list of dict
        ``parts`` of the same document, and holes for brackets alike; those on other faces are left out.
    paper : str
        A key of `PAPERS`.
    block : TitleBlock

    Raises
    ------
    OutOfRange
        A paper that is none of these, or a face without a hole to drill.
    """
    sheets = template_sheets(face, parts, paper=paper, block=block)
    title = f"drill template {face['name']}"
    data = {"paper": PAPERS[paper], "width": round(sheets[0].width), "pictures": [sheet.svg(title) for sheet in sheets]}
    with tempfile.TemporaryDirectory() as folder, as_file(_HOME / "fonts") as fonts:
        (Path(folder) / "sheets.json").write_text(json.dumps(data), encoding="utf-8")
        (Path(folder) / "sheets.typ").write_text(_PAGES, encoding="utf-8")
        made = typst.compile(
            str(Path(folder) / "sheets.typ"),
            root=folder,
            font_paths=[str(path) for path in sorted(fonts.iterdir()) if path.is_dir()],
            ignore_system_fonts=True,
            format="pdf",
        )
    return bytes(made)


def template_sheets(face: dict[str, Any], parts: list[dict[str, Any]], *, paper: str, block: TitleBlock) -> list[Sheet]:
    """The sheets before they become a PDF, row by row from the datum corner; as `template_pdf`."""
    if paper not in PAPERS:
        raise OutOfRange("paper", repr(paper), f"one of: {', '.join(PAPERS)}")
    placed = [part for part in parts if part["face"] == face["name"] and part["at_m"]]
    holes = [part["at_m"] for part in placed if is_drilled(part)]
    if not holes:
        raise OutOfRange("parts", "none", f"a hole to drill on the face {face['name']}: an empty template helps nobody")
    tiles = _tiles(holes, paper)
    return [_Template(face, placed, paper, tiles, tile).draw(block) for tile in tiles]


def is_drilled(part: dict[str, Any]) -> bool:
    """Whether a part gets a hole where it stands: on a stud or with a screw, its place and its drill known."""
    return bool(part["mount"] in ("stud", "screw") and part["hole"] and part["at_m"])


def _room(paper: str) -> tuple[float, float]:
    """Width and height of the part of the face that one sheet shows. [mm]"""
    return PAPERS[paper][0] - 2 * _MARGIN - _SIDE, PAPERS[paper][1] - 2 * _MARGIN - _FOOT


def _tiles(holes: list[list[float]], paper: str) -> list[_Tile]:
    """The sheets that are printed, row by row: those of a grid over the face on which a hole stands. Places in m."""
    room = _room(paper)
    before = [_before([1000 * at[axis] for at in holes], room[axis]) for axis in (0, 1)]
    show = {tuple(_number(1000 * at[axis], before[axis], room[axis]) for axis in (0, 1)) for at in holes}
    return [
        _Tile(*(place * (side - OVERLAP) - start for place, side, start in zip(one, room, before, strict=True)))
        for one in sorted(show, key=lambda one: one[::-1])
    ]


def _before(places: list[float], room: float) -> float:
    """How far outside the datum edge the first sheet begins. [mm]

    First each hole keeps `_WHOLE` from the borders of its sheet, or as far as can be; then the fewest sheets; then the least.
    """

    def worth(before: float) -> tuple[float, int, float]:
        sheets = [_number(place, before, room) for place in places]
        kept = [place + before - sheet * (room - OVERLAP) for place, sheet in zip(places, sheets, strict=True)]
        return min(min(one, room - one, _WHOLE) for one in kept), -len(set(sheets)), -before

    return max((float(one) for one in range(int(_BEFORE_EDGE), int(room - OVERLAP))), key=worth)


def _number(place: float, before: float, room: float) -> int:
    """Of the one or two sheets that show a place, the one on which it stands farther from the border."""
    step = room - OVERLAP
    return max(math.floor((place + before - OVERLAP / 2) / step), 0)


class _Template:
    """One sheet being drawn; lengths of the face in mm from its lower left corner, places on the sheet in px."""

    def __init__(self, face: dict[str, Any], placed: list[dict[str, Any]], paper: str, tiles: list[_Tile], tile: _Tile) -> None:
        self.face, self.placed, self.paper, self.tiles, self.tile = face, placed, paper, tiles, tile
        wide, high = _room(paper)
        self.sheet = Sheet(math.floor(PAPERS[paper][0] * PX_PER_MM), math.floor(PAPERS[paper][1] * PX_PER_MM))
        self.window = Box(_MARGIN * PX_PER_MM, _MARGIN * PX_PER_MM, (_MARGIN + wide) * PX_PER_MM, (_MARGIN + high) * PX_PER_MM)
        self.taken: list[Box] = []

    def draw(self, block: TitleBlock) -> Sheet:
        """All of it, marks before labels."""
        sheet, window = self.sheet, self.window
        sheet.rectangle(
            window.left,
            window.top,
            window.right - window.left,
            window.bottom - window.top,
            fill="none",
            colour=MUTED,
            line=0.4,
            dash="2 4",
        )
        self.taken += edges_of(window)
        self._edges()
        self._register()
        near = [row for row in self.face["keep_outs"] if any(self._apart(row, part) <= _NEAR for part in self.placed)]
        for row in near:
            self._keep_out(row)
        holes = [hole for hole in self.face.get("threaded_holes", ()) if self._shows(hole["at_m"])]
        parts = [part for part in self.placed if self._shows(part["at_m"])]
        for hole in holes:
            self._mark(hole["at_m"], 500 * hole["diameter_m"], INK, NARROW)
        for part in parts:
            self._part(part)
        for part in parts:
            self._say(part["at_m"], [part["name"], *self._told(part)], ACCENT, 600)
        for hole in holes:
            known = f"{hole.get('thread') or 'thread unknown'}, tapped already"
            self._say(hole["at_m"], [hole["name"], known, self._from_datum(hole["at_m"])], INK, 400)
        for row in near:
            if self._shows(row["at_m"]):
                self._say(row["at_m"], [row["name"], row["kind"]], MUTED, 400)
        self._bars()
        self._key_plan()
        foot = (PAPERS[self.paper][1] - _MARGIN) * PX_PER_MM
        wide = (PAPERS[self.paper][0] - 2 * _MARGIN) * PX_PER_MM
        name = f"{self._numbered(self.tile)} of {len(self.tiles)}, drill template, face {self.face['name']}"
        draw_title_block(sheet, window.left, foot - BLOCK_HEIGHT, wide, block, name=name, scale="1:1")
        return sheet

    def _at(self, place: tuple[float, float]) -> tuple[float, float]:
        """Where a place of the face stands on the sheet. [mm to px]"""
        return (
            self.window.left + (place[0] - self.tile.left) * PX_PER_MM,
            self.window.bottom - (place[1] - self.tile.lower) * PX_PER_MM,
        )

    def _shows(self, at_m: list[float]) -> bool:
        x, y = self._at((1000 * at_m[0], 1000 * at_m[1]))
        return self.window.left <= x <= self.window.right and self.window.top <= y <= self.window.bottom

    def _stroke(self, start: tuple[float, float], end: tuple[float, float], *, colour: str, width: float, dash: str = "") -> bool:
        """A level or upright line of the face, as far as this sheet shows it; whether it shows."""
        (x, y), (to_x, to_y) = self._at(start), self._at(end)
        left, right = (min(max(one, self.window.left), self.window.right) for one in (x, to_x))
        lower, upper = (min(max(one, self.window.top), self.window.bottom) for one in (y, to_y))
        if (x == to_x and left != x) or (y == to_y and lower != y) or (left == right and lower == upper):
            return False
        self.sheet.line(left, lower, right, upper, colour=colour, width=width, dash=dash)
        self.taken.append(Box(min(left, right) - 1, min(lower, upper) - 1, max(left, right) + 1, max(lower, upper) + 1))
        return True

    def _edges(self) -> None:
        """The face's outline; its lower and left edges are the datum and drawn heavy, or a line in their stead."""
        wide, high = (1000 * side for side in self.face["size_m"])
        self._stroke((wide, 0), (wide, high), colour=INK, width=NARROW)
        self._stroke((0, high), (wide, high), colour=INK, width=NARROW)
        room = _room(self.paper)
        across = 0.0 if self.tile.left <= 0 else self._scribed(0, self.tile.left, min(self.tile.left + room[0], wide))
        up = 0.0 if self.tile.lower <= 0 else self._scribed(1, self.tile.lower, min(self.tile.lower + room[1], high))
        self._stroke((across, 0), (across, high), colour=INK, width=2 * WIDE, dash="14 4" if across else "")
        self._stroke((0, up), (wide, up), colour=INK, width=2 * WIDE, dash="14 4" if up else "")
        x, y = self._at((across, up))
        left, lower = (f" ({side_of(self.face, hour)})" if self.face.get("outward") else "" for hour in (9, 6))
        says = f"scribe on the face: {across:g} mm from its left edge{left}" if across else f"datum: left edge of the face{left}"
        long = text_width(says, 9)
        top = max(self.window.top + _REGISTER, self._at((0, high))[1] + 12)
        begins = [y - 150, top + long, y - 20] if y - 170 - long > self.window.top else [y + 40 + long]
        holes = [self._at((1000 * part["at_m"][0], 1000 * part["at_m"][1]))[1] for part in self.placed if is_drilled(part)]
        farthest = max(begins, key=lambda low: min((max(low - long - at, at - low, 0.0) for at in holes), default=0.0))
        self.sheet.text(x - 6, farthest, says, size=9, turned=True)  # clear of the holes, whose labels must get past it
        says = f"scribe on the face: {up:g} mm up from its lower edge{lower}" if up else f"datum: lower edge of the face{lower}"
        long = text_width(says, 9)
        self.sheet.text(x + 60 if x + 80 + long < self.window.right else x - 60 - long, y + 14, says, size=9)

    def _scribed(self, axis: int, start: float, end: float) -> float:
        """The round distance between start and end that keeps farthest from every hole and from the borders. [mm]"""
        holes = [1000 * part["at_m"][axis] for part in self.placed if is_drilled(part)]
        there = [[step * number for number in range(math.ceil(start / step), math.floor(end / step) + 1)] for step in _ROUND]
        return max(
            next(filter(None, there)), key=lambda line: min(*(abs(line - hole) for hole in holes), line - start, end - line, _WHOLE)
        )

    def _register(self) -> None:
        """Crosses in rings, at the same places of the face on sheets side by side, each with its place on the face."""
        wide, high = _room(self.paper)
        half = OVERLAP / 2
        for across in (self.tile.left + half, self.tile.left + wide - half):
            for up in (self.tile.lower + half, self.tile.lower + high - half):
                x, y = self._at((across, up))
                self.sheet.circle(x, y, 7, colour=MUTED, width=NARROW)
                self.sheet.line(x - 12, y, x + 12, y, colour=MUTED)
                self.sheet.line(x, y - 12, x, y + 12, colour=MUTED)
                self.taken.append(Box(x - 12, y - 12, x + 12, y + 12))
                right = across > self.tile.left + wide / 2
                self.sheet.text(
                    x - 15 if right else x + 32,
                    y + 11,
                    f"{across:g}, {up:g}",
                    size=8,
                    anchor="end" if right else "start",
                    colour=MUTED,
                )

    def _apart(self, row: dict[str, Any], part: dict[str, Any]) -> float:
        """From a part's middle to the nearest edge of a keep-out. [mm]"""
        gaps = [
            max(abs(place - middle) - size / 2, 0.0)
            for place, middle, size in zip(part["at_m"], row["at_m"], row["size_m"], strict=True)
        ]
        return 1000 * math.hypot(*gaps)

    def _keep_out(self, row: dict[str, Any]) -> None:
        (x, y), (wide, high) = ((1000 * one for one in row[key]) for key in ("at_m", "size_m"))
        left, right, lower, upper = x - wide / 2, x + wide / 2, y - high / 2, y + high / 2
        for start, end in (
            ((left, lower), (right, lower)),
            ((left, upper), (right, upper)),
            ((left, lower), (left, upper)),
            ((right, lower), (right, upper)),
        ):
            self._stroke(start, end, colour=MUTED, width=NARROW, dash="6 4")

    def _mark(self, at_m: list[float], radius: float, colour: str, width: float) -> None:
        """Ring and centre lines. [mm]"""
        x, y = self._at((1000 * at_m[0], 1000 * at_m[1]))
        r = radius * PX_PER_MM
        self.sheet.circle(x, y, r, colour=colour, width=width)
        self.sheet.line(x - r - 11, y, x + r + 11, y, colour=colour, width=0.5)
        self.sheet.line(x, y - r - 11, x, y + r + 11, colour=colour, width=0.5)
        self.taken.append(Box(x - r - 11, y - r - 11, x + r + 11, y + r + 11))

    def _part(self, part: dict[str, Any]) -> None:
        if is_drilled(part):
            self._mark(part["at_m"], part["hole"]["drill_mm"] / 2, ACCENT, WIDE)
        else:
            self._mark(part["at_m"], 3.0, ACCENT, NARROW)
        if part.get("base_m"):
            x, y = self._at((1000 * part["at_m"][0], 1000 * part["at_m"][1]))
            r = 500 * part["base_m"] * PX_PER_MM
            self.sheet.circle(x, y, r, colour=ACCENT, width=NARROW, dash="6 3")
            self.taken.append(Box(x - r, y - r, x + r, y + r))

    def _told(self, part: dict[str, Any]) -> Iterator[str]:
        if is_drilled(part):
            drill, wide = part["hole"]["drill"], f"{part['hole']['drill_mm']:g} mm"
            yield f"drill {drill}{'' if drill == wide else f' ({wide})'}, tap {part['hole']['thread']}"
        else:
            yield f"{how_fixed(part)}: do not drill"
        yield self._from_datum(part["at_m"])

    def _from_datum(self, at_m: list[float]) -> str:
        return f"{mm(at_m[0])} from left, {mm(at_m[1])} up"

    def _say(self, at_m: list[float], lines: list[str], colour: str, weight: int) -> None:
        x, y = self._at((1000 * at_m[0], 1000 * at_m[1]))
        for taken in (self.taken, []):  # no drill size is left out for a line it would cross
            if place_label(
                self.sheet, x, y, lines, clear=24, within=self.window, taken=taken, size=10, colour=colour, weight=weight
            ):
                return

    def _numbered(self, tile: _Tile) -> int:
        return self.tiles.index(tile) + 1

    def _key_plan(self) -> None:
        """The face with all sheets by their numbers, this one heavy, beside the window's lower end."""
        wide, high = _room(self.paper)
        far = (1000 * self.face["size_m"][0], 1000 * self.face["size_m"][1])
        left, lower = min(0.0, *(tile.left for tile in self.tiles)), min(0.0, *(tile.lower for tile in self.tiles))
        right = max(far[0], *(tile.left + wide for tile in self.tiles))
        upper = max(far[1], *(tile.lower + high for tile in self.tiles))
        each = min(_KEY[0] / (right - left), _KEY[1] / (upper - lower)) * PX_PER_MM
        x = self.window.right + 2 * PX_PER_MM - left * each
        y = self.window.bottom + lower * each
        self.sheet.rectangle(x, y - far[1] * each, far[0] * each, far[1] * each, fill="none", colour=MUTED, line=NARROW)
        own = self._numbered(self.tile)
        for tile in sorted(self.tiles, key=lambda tile: tile is self.tile):
            heavy = tile is self.tile
            self.sheet.rectangle(
                x + tile.left * each,
                y - (tile.lower + high) * each,
                wide * each,
                high * each,
                fill="none",
                line=WIDE if heavy else 0.4,
            )
            self.sheet.text(
                x + (tile.left + wide / 2) * each,
                y - (tile.lower + high / 2) * each + 3,
                str(self._numbered(tile)),
                size=8,
                anchor="middle",
                weight=600 if heavy else 400,
            )
        self.sheet.text(self.window.right + 2 * PX_PER_MM, y - upper * each - 6, f"sheet {own} of {len(self.tiles)}", size=8)

    def _bars(self) -> None:
        """A bar of 100 mm each way, outside the part that is laid on the face, and the words to measure them by."""
        sheet, bar = self.sheet, BAR * PX_PER_MM
        x, y = self.window.left, self.window.bottom + 7 * PX_PER_MM
        sheet.line(x, y, x + bar, y, width=WIDE)
        side = self.window.right + 8 * PX_PER_MM
        sheet.line(side, self.window.top, side, self.window.top + bar, width=WIDE)
        for step in range(11):
            along, tick = step * bar / 10, 9.0 if step % 5 == 0 else 5.0
            sheet.line(x + along, y - tick, x + along, y, width=NARROW)
            sheet.line(side - tick, self.window.top + along, side, self.window.top + along, width=NARROW)
        sheet.text(x + bar / 2, y + 13, "100 mm, measure me", size=10, anchor="middle", weight=600)
        sheet.text(side + 14, self.window.top + bar / 2, "100 mm, measure me", size=10, anchor="middle", weight=600, turned=True)
        room = self.window.right - x - bar - 20 + _SIDE * PX_PER_MM
        for number, line in enumerate(wrap(_MEASURE, room, 9.5, most=6)):
            sheet.text(x + bar + 20, y - 8 + 12.5 * number, line, size=9.5)
