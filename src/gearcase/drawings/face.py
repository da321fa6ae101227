"""A face of the housing at scale: its parts, what must be kept clear, the metal behind it, and dimensions to drill or bond by.

Dimensions run from the lower left corner, in millimetres (ISO 129-1); the scale is one of ISO 5455 and stands on the sheet. What
must be kept clear is hatched by its kind and names it too, so that the hatching never stands alone. Each mark is also a row of the
table below the face: a label that found no room is still told there. A mark is dimensioned to its middle, an area to its edges.

A row of ``faces`` holds ``name``, ``size_m``, ``keep_outs``; drawn too where a plan gives them:

- ``outward``: where the face looks;
- ``regions``: ``name``, ``kind``, ``at_m``, ``size_m``, ``wall`` (``thickness_m``, ``gauge_error_m``, ``origin``) or None;
- ``seats``: ``bearing``, ``at_m``, ``diameter_m``, ``load_clock`` or None;
- ``threaded_holes``: ``name``, ``at_m``, ``diameter_m``, ``thread``, ``function``.

A row of ``routes`` holds ``cable``, ``device``, ``legs`` (``face``, ``start_m``, ``end_m``) and, where known, ``clips`` (``face``,
``at_m``, ``along_m``); what is on other faces is left out. A clip is a dot, its place a row of the table.

A row of ``fittings`` is what stands over a face, the enclosure or its plate: ``name``, ``face``, ``at_m`` (its middle), ``size_m``,
``on`` (its bracket). Its outline is that of an adjacent part (ISO 128, long-dashed double-dotted).

A row of ``parts`` may also hold ``clock``, the hour its mark points to, and ``base_m``, the diameter of its base.
"""

import math
from collections.abc import Callable, Iterator, Sequence
from typing import Any

from gearcase.drawings.drafting import (
    BLOCK_HEIGHT,
    HEADED,
    PX_PER_MM,
    Table,
    TitleBlock,
    draw_title_block,
    edges_of,
    hatch,
    headline,
    mm,
    place_label,
    reduction,
    run_along,
    run_upward,
)
from gearcase.drawings.svg import ACCENT, INK, MUTED, NARROW, PAPER, WIDE, Box, Sheet
from gearcase.install.orientation import OUTWARD, rotation

__all__ = ["WIDEST", "clock_words", "face_sheet", "face_svg", "how_fixed", "side_of"]

WIDEST = 657.0  # px, the room between the margins of an A4 page: printed from a report or alone, the scale holds
_TALLEST = 900.0  # px, the same for its height
_CABLE = 2.2  # px, a cable
_LEFT, _RIGHT, _TOP = 68.0, 40.0, 26.0
_LINE, _FIGURES = 16.0, 62.0  # px below the face: to the dimension line, and to the foot of its figures
_HATCHES: dict[str, tuple[tuple[int, float], ...]] = {  # slope and spacing in px of each set of lines
    "rotating part": ((1, 6.0), (-1, 6.0)),
    "guard": ((1, 12.0), (-1, 12.0)),
    "fan shroud": ((1, 12.0), (-1, 12.0)),
    "split line": ((-1, 8.0),),
    "hot zone": ((0, 5.0),),
    "seal": ((-1, 4.0),),
}
_OTHER_HATCH = ((1, 8.0),)

Place = Callable[[float], float]


def face_svg(
    face: dict[str, Any],
    parts: list[dict[str, Any]],
    *,
    title: str,
    block: TitleBlock | None = None,
    routes: Sequence[dict[str, Any]] = (),
    fittings: Sequence[dict[str, Any]] = (),
) -> str:
    """A face as an SVG document.

    Parameters
    ----------
    face : dict
        One of ``faces`` of a ``plan/1`` document.
    parts : list of dict
        ``parts`` of the same document; those on other faces are left out.
    title : str
        What the sheet is, for its title and for readers that cannot see.
    block : TitleBlock or None
        None inside a report, whose pages have their own.
    routes, fittings : sequence of dict
        Of the same document; what is on other faces is left out.
    """
    return face_sheet(face, parts, title=title, block=block, routes=routes, fittings=fittings).svg(title)


def face_sheet(
    face: dict[str, Any],
    parts: list[dict[str, Any]],
    *,
    title: str,
    block: TitleBlock | None = None,
    routes: Sequence[dict[str, Any]] = (),
    fittings: Sequence[dict[str, Any]] = (),
) -> Sheet:
    """The drawing before it becomes text; its label boxes can be checked."""
    width, height = (1000 * side for side in face["size_m"])
    placed = [part for part in parts if part["face"] == face["name"] and part["at_m"]]
    stands = [row for row in fittings if row["face"] == face["name"]]
    rows = [*_rows(face, placed, stands), *_clip_rows(face, routes)]
    marks_table = Table(WIDEST - 12, ("mark", "x", "y", "how"), rows, (2.8, 1.25, 1.25, 4.7))
    clock = f", {clock_words(face)}" if face.get("outward") else ""
    reads = [f"seen from outside{clock}", "dimensions in mm from the lower left corner"]
    below = _FIGURES + 22 + HEADED * len(reads) + marks_table.height + (BLOCK_HEIGHT + 8 if block else 0)
    room = (WIDEST - _LEFT - _RIGHT, max(_TALLEST - _TOP - below, 200.0))
    scale = reduction(face["size_m"], room)
    each = PX_PER_MM / scale
    sheet = Sheet(WIDEST, _TOP + height * each + below)
    left, bottom = _LEFT, _TOP + height * each

    def x_of(metres: float) -> float:
        return float(left + 1000 * metres * each)

    def y_of(metres: float) -> float:
        return float(bottom - 1000 * metres * each)

    sheet.rectangle(left, _TOP, width * each, height * each)
    marks = [one for kind in (placed, face.get("threaded_holes", ()), face.get("seats", ())) for one in kind]
    stops_x = [(x_of(one["at_m"][0]), y_of(one["at_m"][1]), one["at_m"][0]) for one in marks]
    stops_y = [(y_of(one["at_m"][1]), x_of(one["at_m"][0]), one["at_m"][1]) for one in marks]
    for area in (*stands, *face["keep_outs"]):
        (low_x, high_x), (low_y, high_y) = (_ends(area, axis, face["size_m"]) for axis in (0, 1))
        stops_x += [(x_of(end), y_of(low_y), end) for end in (low_x, high_x) if end > 0]
        stops_y += [(y_of(end), x_of(low_x), end) for end in (low_y, high_y) if end > 0]
    run_along(
        sheet, left, bottom + _LINE, [(x_of(face["size_m"][0]), bottom, face["size_m"][0]), *stops_x], low=left, high=WIDEST - 6
    )
    run_upward(sheet, bottom, left - _LINE, [(_TOP, left, face["size_m"][1]), *stops_y], low=8.0, high=bottom)
    lines = [Box(x - 1, y, x + 1, bottom) for x, y, _ in stops_x] + [Box(left, y - 1, x, y + 1) for y, x, _ in stops_y]
    _Face(sheet, x_of, y_of, each, Box(left, _TOP, x_of(face["size_m"][0]), bottom), lines).draw(face, placed, stands, routes)
    looks = f", outward {face['outward']}" if face.get("outward") else ""
    base = bottom + _FIGURES + 10
    headline(sheet, 6, base, WIDEST - 12, f"{title}{looks} · scale 1:{scale}", *reads)
    marks_table.draw(sheet, 6, base + 6 + HEADED * len(reads))
    if block:
        draw_title_block(sheet, 6, sheet.height - BLOCK_HEIGHT - 4, WIDEST - 12, block, name=title, scale=f"1:{scale}")
    return sheet


def side_of(face: dict[str, Any], hour: int) -> str:
    """Where an hour of a face's clock lies on the machine: 12 is up on the sheet, on top and bottom the output end.

    Examples
    --------
    >>> side_of({"outward": "left"}, 3), side_of({"outward": "up"}, 12), side_of({"outward": "down"}, 3)
    ('towards the input end', 'towards the output end', 'left, seen from the input end')
    """
    mark = rotation(face["outward"], hour)[1]
    name = max(OUTWARD, key=lambda name: float(mark @ OUTWARD[name]))
    return name if name in ("up", "down") else f"towards the {name}" if "end" in name else f"{name}, seen from the input end"


def clock_words(face: dict[str, Any]) -> str:
    """``12 o'clock up, 3 o'clock towards the input end``; of a face of which is known where it looks."""
    return f"12 o'clock {side_of(face, 12)}, 3 o'clock {side_of(face, 3)}"


def how_fixed(part: dict[str, Any]) -> str:
    """What is done at a part's place: drilled and tapped, or how it holds without a hole."""
    hole = part["hole"]
    return f"{hole['thread']}, drill {hole['drill']}" if part["mount"] == "stud" and hole else part["mount"] or "mount not said"


def _wall_said(region: dict[str, Any]) -> str:
    """``wall 22.4 ± 0.3, measured``."""
    wall = region.get("wall")
    if wall is None:
        return "wall unknown"
    error = f" ± {mm(wall['gauge_error_m'])}" if wall.get("gauge_error_m") else ""
    return f"wall {mm(wall['thickness_m'])}{error}, {wall['origin']}"


def _mark_arrow(sheet: Sheet, x: float, y: float, clock: float, *, start: float, length: float) -> None:
    """The arrow of a sensor's mark: twelve o'clock is up on the sheet. [px]"""
    angle = 2 * math.pi * clock / 12
    right, up = math.sin(angle), math.cos(angle)
    tip_x, tip_y = x + (start + length) * right, y - (start + length) * up
    back_x, back_y = tip_x - 7 * right, tip_y + 7 * up
    sheet.line(x + start * right, y - start * up, back_x, back_y, colour=ACCENT, width=WIDE)
    corners = [(tip_x, tip_y), *((back_x + side * up, back_y + side * right) for side in (3.5, -3.5))]
    head = "L".join(f"{across:.2f} {down:.2f}" for across, down in corners)
    sheet.path(f"M{head}z", colour=ACCENT, fill=ACCENT, width=0.3)


def _ends(area: dict[str, Any], axis: int, size_m: Sequence[float]) -> tuple[float, float]:
    """From where to where an area reaches along one axis, no farther than the face it lies on. [m]"""
    at, half = area["at_m"][axis], area["size_m"][axis] / 2
    return max(at - half, 0.0), min(at + half, size_m[axis])


def _rows(face: dict[str, Any], placed: list[dict[str, Any]], stands: list[dict[str, Any]]) -> Iterator[tuple[str, str, str, str]]:
    """Each mark in words, with its place; an area from edge to edge."""

    def extent(area: dict[str, Any]) -> tuple[str, ...]:
        return tuple("–".join(mm(end) for end in _ends(area, axis, face["size_m"])) for axis in (0, 1))

    for part in placed:
        mark = f"; mark to {part['clock']:g} o'clock" if part.get("clock") is not None else ""
        yield part["name"], mm(part["at_m"][0]), mm(part["at_m"][1]), f"{how_fixed(part)}{mark}"
    for hole in face.get("threaded_holes", ()):
        does = hole.get("function") or "leave it alone, purpose unknown"
        says = f"tapped already, {hole.get('thread') or 'thread unknown'}: {does}"
        yield hole["name"], mm(hole["at_m"][0]), mm(hole["at_m"][1]), says
    for seat in face.get("seats", ()):
        load = f", load to {seat['load_clock']:g} o'clock" if seat.get("load_clock") is not None else ""
        says = f"bearing seat, diameter {mm(seat['diameter_m'])}{load}"
        yield seat["bearing"], mm(seat["at_m"][0]), mm(seat["at_m"][1]), says
    for fitting in stands:
        across, up = extent(fitting)
        yield fitting["name"], across, up, f"{_size_said(fitting)}, on {fitting['on']}"
    for keep_out in face["keep_outs"]:
        across, up = extent(keep_out)
        yield keep_out["name"], across, up, f"keep clear: {keep_out['kind']}"
    for region in face.get("regions", ()):
        across, up = extent(region)
        yield region["name"], across, up, f"{region['kind']}, {_wall_said(region)}"


def _size_said(area: dict[str, Any]) -> str:
    return " x ".join(mm(side) for side in area["size_m"])


def _clip_rows(face: dict[str, Any], routes: Sequence[dict[str, Any]]) -> Iterator[tuple[str, str, str, str]]:
    """Each clip on the face, counted along its cable."""
    for route in routes:
        for number, clip in enumerate(route.get("clips", ()), start=1):
            if clip["face"] == face["name"]:
                across, up, along = (f"{1000 * metres:.0f}" for metres in (*clip["at_m"], clip["along_m"]))
                says = f"{along} from the sensor{', metal' if route.get('metal_clips') else ''}"
                yield f"{_cable_name(route)}, clip {number}", across, up, says


def _cable_name(route: dict[str, Any]) -> str:
    return f"cable {route['cable']}" if route["cable"] else f"cable to {route['device']}"


class _Face:
    """A face being drawn: marks first, so that no label stands on one, then the labels, those of parts before others."""

    def __init__(self, sheet: Sheet, x_of: Place, y_of: Place, each: float, outline: Box, lines: list[Box]) -> None:
        self.sheet, self.x_of, self.y_of, self.each, self.lines = sheet, x_of, y_of, each, lines
        self.within = Box(outline.left, 2, WIDEST - 2, outline.bottom)
        self.rim = edges_of(outline)
        self.marks: list[Box] = []
        self.edges: list[Box] = []
        self.areas: list[Box] = []  # of keep-outs, hatched
        self.over: list[Box] = []  # of fittings

    def draw(
        self, face: dict[str, Any], placed: list[dict[str, Any]], stands: list[dict[str, Any]], routes: Sequence[dict[str, Any]]
    ) -> None:
        regions, seats, holes = (face.get(kind, ()) for kind in ("regions", "seats", "threaded_holes"))
        for region in regions:
            self._outline(region, INK, "10 2 2 2")
        for keep_out in face["keep_outs"]:
            area = self._outline(keep_out, MUTED, "4 3")
            for slope, every in _HATCHES.get(keep_out["kind"], _OTHER_HATCH):
                hatch(self.sheet, area, slope=slope, every=every)
        self.areas = [self._area(keep_out) for keep_out in face["keep_outs"]]
        for fitting in stands:
            self.over.append(self._outline(fitting, ACCENT, "12 3 2 3 2 3"))
        for seat in seats:
            self._ring(seat["at_m"], seat["diameter_m"] / 2, dash="12 3 2 3")
            if seat.get("load_clock") is not None:
                self._load(seat)
        for hole in holes:
            self._ring(hole["at_m"], hole["diameter_m"] / 2, least=2.5)
            self._cross(hole["at_m"], INK, 6)
        for route in routes:
            self._route(route, face["name"])
        for part in placed:
            self._part(part)
        for part in placed:
            self._label(part["at_m"], [part["name"], how_fixed(part)], 15, colour=ACCENT, weight=600)
        for region in regions:
            self._label_area(region, f"{region['name']} ({region['kind']})", _wall_said(region), colour=INK)
        for route in routes:
            self._name_route(route, face["name"])
        for hole in holes:
            self._label(hole["at_m"], [hole["name"]], 8)
        for seat in seats:
            self._label(seat["at_m"], [seat["bearing"]], 8)
        for fitting in stands:
            self._label_area(fitting, fitting["name"], colour=ACCENT)
        for keep_out in face["keep_outs"]:
            self._label_area(keep_out, f"{keep_out['name']} ({keep_out['kind']})", colour=MUTED)

    def _area(self, row: dict[str, Any]) -> Box:
        wide, high = (1000 * side * self.each for side in row["size_m"])
        x, y = self.x_of(row["at_m"][0]), self.y_of(row["at_m"][1])
        return Box(x - wide / 2, y - high / 2, x + wide / 2, y + high / 2)

    def _outline(self, row: dict[str, Any], colour: str, dash: str) -> Box:
        area = self._area(row)
        wide, high = area.right - area.left, area.bottom - area.top
        self.sheet.rectangle(area.left, area.top, wide, high, fill="none", colour=colour, line=NARROW, dash=dash)
        self.edges += edges_of(area)
        return area

    def _ring(self, at_m: Sequence[float], radius: float, *, dash: str = "", least: float = 0.0) -> None:
        x, y, r = self.x_of(at_m[0]), self.y_of(at_m[1]), max(1000 * radius * self.each, least)
        self.sheet.circle(x, y, r, width=NARROW, dash=dash)
        rim = [(x + r * math.cos(n * math.pi / 16), y + r * math.sin(n * math.pi / 16)) for n in range(32)]
        self.edges += [Box(across - 2, down - 2, across + 2, down + 2) for across, down in rim]

    def _cross(self, at_m: Sequence[float], colour: str, arm: float) -> None:
        x, y = self.x_of(at_m[0]), self.y_of(at_m[1])
        self.sheet.line(x - arm, y, x + arm, y, colour=colour)
        self.sheet.line(x, y - arm, x, y + arm, colour=colour)
        self.marks.append(Box(x - arm, y - arm, x + arm, y + arm))

    def _load(self, seat: dict[str, Any]) -> None:
        """A stroke out of the seat's rim where its load points."""
        angle = 2 * math.pi * seat["load_clock"] / 12
        x, y, r = self.x_of(seat["at_m"][0]), self.y_of(seat["at_m"][1]), 1000 * seat["diameter_m"] / 2 * self.each
        right, up = math.sin(angle), -math.cos(angle)
        self.sheet.line(x + (r - 5) * right, y + (r - 5) * up, x + (r + 5) * right, y + (r + 5) * up, width=WIDE * 1.5)

    def _part(self, part: dict[str, Any]) -> None:
        """A sensor's place: cross and circle of its base, and where its mark points."""
        x, y = self.x_of(part["at_m"][0]), self.y_of(part["at_m"][1])
        radius = max(500 * part["base_m"] * self.each, 4.0) if part.get("base_m") else 9.0
        self.sheet.circle(x, y, radius, colour=ACCENT)
        self._cross(part["at_m"], ACCENT, radius + 4)
        if part.get("clock") is not None:
            _mark_arrow(self.sheet, x, y, part["clock"], start=radius, length=14)
            angle = 2 * math.pi * part["clock"] / 12
            tip = (x + (radius + 9) * math.sin(angle), y - (radius + 9) * math.cos(angle))
            self.marks.append(Box(tip[0] - 6, tip[1] - 6, tip[0] + 6, tip[1] + 6))

    def _route(self, route: dict[str, Any], name: str) -> None:
        """A cable as one heavy line, a dot for each clip."""
        for leg in (leg for leg in route["legs"] if leg["face"] == name):
            (x, y), (to_x, to_y) = ((self.x_of(leg[end][0]), self.y_of(leg[end][1])) for end in ("start_m", "end_m"))
            self.sheet.line(x, y, to_x, to_y, width=_CABLE)
            steps = max(int(math.hypot(to_x - x, to_y - y) / 6), 1)
            along = [(x + (to_x - x) * n / steps, y + (to_y - y) * n / steps) for n in range(steps + 1)]
            self.marks += [Box(across - 2, down - 2, across + 2, down + 2) for across, down in along]
        for clip in (clip for clip in route.get("clips", ()) if clip["face"] == name):
            x, y = self.x_of(clip["at_m"][0]), self.y_of(clip["at_m"][1])
            self.sheet.circle(x, y, 3.2, fill=PAPER)
            self.marks.append(Box(x - 4, y - 4, x + 4, y + 4))

    def _name_route(self, route: dict[str, Any], name: str) -> None:
        legs = [leg for leg in route["legs"] if leg["face"] == name]
        if legs:
            longest = max(legs, key=lambda leg: math.dist(leg["start_m"], leg["end_m"]))
            middle = [(one + other) / 2 for one, other in zip(longest["start_m"], longest["end_m"], strict=True)]
            self._label(middle, [_cable_name(route)], 8)

    def _label(self, at_m: Sequence[float], lines: list[str], clear: float, *, colour: str = INK, weight: int = 400) -> None:
        self._write(self.x_of(at_m[0]), self.y_of(at_m[1]), lines, clear=clear, size=10, colour=colour, weight=weight)

    def _label_area(self, row: dict[str, Any], *lines: str, colour: str) -> None:
        area = self._area(row)
        middle = (area.left + area.right) / 2, (area.top + area.bottom) / 2
        half = min(area.right - area.left, area.bottom - area.top) / 2
        self._write(*middle, list(lines), clear=half + 2, size=9, colour=colour, area=area)

    def _write(self, x: float, y: float, lines: list[str], **how: Any) -> None:
        """Near by where it covers nothing; else on an extension line; else farther off, on an outline too; last in another's area.

        A label in a hatched area reads as that area's, so every other place comes first.
        """
        others = self.areas if how.get("area") is None else [area for area in (*self.areas, *self.over) if area != how["area"]]
        aside = [mark for mark in self.marks if not (mark.left <= x <= mark.right and mark.top <= y <= mark.bottom)]
        marks = [*self.rim, *self.marks]
        clear = [*marks, *self.edges, *others]
        for taken, rings, past in (
            ([*clear, *self.lines], 4, aside),
            (clear, 5, aside),
            ([*marks, *others], 24, aside),
            (marks, 24, aside),
            (marks, 24, ()),
        ):
            if place_label(self.sheet, x, y, lines, within=self.within, taken=taken, aside=past, rings=rings, **how):
                return
