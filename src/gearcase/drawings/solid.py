"""The housing in space: both views that together show every face, with its parts and the cables over its edges.

Isometric axonometry (ISO 5456-3): lengths along the machine's axes H, V and A hold the scale, and level axes rise at 30 degrees.
One view is from the input end, the left and above; the other from exactly opposite, so from below: each face shows in one of them.
What lies on faces turned away is dashed (ISO 128), never left out.

Rows are those of `face`, each with its ``outward``; ``routes`` hold ``cable``, ``device`` and ``legs`` with ``face``, ``start_m``,
``end_m``; ``fittings`` what stands over a face, as there. A housing that is no box is drawn as the box its faces span.
"""

import itertools
import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gearcase.drawings.drafting import BLOCK_HEIGHT, PX_PER_MM, TitleBlock, draw_title_block, place_label, reduction
from gearcase.drawings.face import WIDEST
from gearcase.drawings.svg import ACCENT, INK, MUTED, NARROW, PAPER, WIDE, Box, Sheet
from gearcase.errors import OutOfRange
from gearcase.install.orientation import OUTWARD, TOWARDS_OUTPUT

__all__ = ["VIEWS", "isometric", "solid_sheet", "solid_svg", "spans_a_box"]

VIEWS = {
    "from the input end, left, above": (-1.0, 1.0, 1.0),
    "from the output end, right, below": (1.0, -1.0, -1.0),
}
_UP = (0.0, 1.0, 0.0)
_TALLEST, _AROUND, _HEAD = 420.0, 46.0, 22.0  # px: of one view, round it, for its name
_DASH = "4 3"

Vector = NDArray[np.float64]


def isometric(towards: Sequence[float] | Vector) -> Vector:
    """Rows that give right and up on the paper for a place in machine axes, lengths along the axes kept.

    Parameters
    ----------
    towards : sequence of float or ndarray, shape (3,)
        From the drive to who looks, each component 1 or -1.

    Examples
    --------
    Seen from the input end, the left and above, H rises to the right at 30 degrees, A falls so, V stands:

    >>> isometric((-1, 1, 1)).round(3).tolist()
    [[0.866, 0.0, 0.866], [0.5, 1.0, -0.5]]
    """
    view = np.array(towards) / math.sqrt(3)
    right = np.cross(_UP, view)
    right /= np.linalg.norm(right)
    return math.sqrt(3 / 2) * np.array([right, np.cross(view, right)])


def spans_a_box(faces: list[dict[str, Any]]) -> bool:
    """Whether enough faces say where they look for the housing to be drawn in space: two, square to each other."""
    sides = [_Side(face) for face in faces if face.get("outward") in OUTWARD]
    return bool(sides) and bool((_span(sides) > 0).all())


def solid_svg(
    faces: list[dict[str, Any]],
    parts: list[dict[str, Any]],
    routes: list[dict[str, Any]],
    *,
    title: str,
    block: TitleBlock,
    fittings: Sequence[dict[str, Any]] = (),
) -> str:
    """Both views as one SVG document.

    Parameters
    ----------
    faces, parts, routes : list of dict
        Of a ``plan/1`` document; faces that do not say where they look are left out and named.
    title : str
    block : TitleBlock
    fittings : sequence of dict
        Of the same document.

    Raises
    ------
    OutOfRange
        Faces from which no box can be made.
    """
    return solid_sheet(faces, parts, routes, title=title, block=block, fittings=fittings).svg(title)


def solid_sheet(
    faces: list[dict[str, Any]],
    parts: list[dict[str, Any]],
    routes: list[dict[str, Any]],
    *,
    title: str,
    block: TitleBlock,
    fittings: Sequence[dict[str, Any]] = (),
) -> Sheet:
    """The drawing before it becomes text; its label boxes can be checked."""
    known = {face["name"]: _Side(face) for face in faces if face.get("outward") in OUTWARD}
    box = _box([*known.values()])
    reach = [np.abs(isometric(view)) @ box for view in VIEWS.values()]  # width and height on paper, m
    room = (WIDEST - 2 * _AROUND - 100, _TALLEST)
    widest = [max(one[axis] for one in reach) for axis in (0, 1)]
    scale = reduction(widest, room)
    each = 1000 * PX_PER_MM / scale
    tall = widest[1] * each + 2 * _AROUND + _HEAD
    lost = [face["name"] for face in faces if face["name"] not in known]
    sheet = Sheet(WIDEST, tall * len(VIEWS) + BLOCK_HEIGHT + (24 if lost else 8))
    for number, (name, towards) in enumerate(VIEWS.items()):
        within = Box(6, number * tall + _HEAD, WIDEST - 6, (number + 1) * tall)
        sheet.text(6, number * tall + 16, name, size=11, weight=600)
        _View(sheet, known, box, np.array(towards), each, within).draw(parts, routes, fittings)
    if lost:
        sheet.text(
            6, tall * len(VIEWS) + 14, f"not drawn, nobody has said where they look: {', '.join(lost)}", size=9.5, colour=MUTED
        )
    draw_title_block(sheet, 6, sheet.height - BLOCK_HEIGHT - 4, WIDEST - 12, block, name=title, scale=f"1:{scale}")
    return sheet


class _Side:
    """A face in machine axes: the ways out of it, to its right and to its top."""

    def __init__(self, face: dict[str, Any]) -> None:
        self.face, self.size = face, face["size_m"]
        self.out = np.array(OUTWARD[face["outward"]], dtype=float)
        self.top = np.array(TOWARDS_OUTPUT if face["outward"] in ("up", "down") else _UP)
        self.right = np.cross(self.top, self.out)

    def extent(self) -> Vector:
        """How far it reaches along H, V and A; 0 along its own outward way. [m]"""
        return np.asarray(np.abs(self.right) * self.size[0] + np.abs(self.top) * self.size[1], dtype=float)

    def place(self, at_m: Sequence[float], box: Vector) -> Vector:
        """A place of the face in machine axes from the middle of the box. [m]"""
        across, up = np.abs(self.right) @ box, np.abs(self.top) @ box
        place = self.out * (np.abs(self.out) @ box) / 2 + self.right * (at_m[0] - across / 2) + self.top * (at_m[1] - up / 2)
        return np.asarray(place, dtype=float)


def _span(sides: list[_Side]) -> Vector:
    """How far faces reach along H, V and A, 0 where none does. [m]"""
    return np.asarray(np.max([np.zeros(3), *(side.extent() for side in sides)], axis=0), dtype=float)


def _box(sides: list[_Side]) -> Vector:
    """Length, height and breadth that the faces span along H, V and A. [m]"""
    box = _span(sides)
    if not (box > 0).all():
        missing = ", ".join(axis for axis, size in zip("HVA", box, strict=True) if size == 0)
        raise OutOfRange(
            "faces", f"nothing along {missing}", "faces that look two ways square to each other, with outward and size"
        )
    return box


class _View:
    """One view being drawn: faces turned to the viewer as paper, then what lies behind dashed, then what shows."""

    def __init__(self, sheet: Sheet, sides: dict[str, _Side], box: Vector, towards: Vector, each: float, within: Box) -> None:
        self.sheet, self.sides, self.box, self.towards, self.each, self.within = sheet, sides, box, towards, each, within
        self.onto = isometric(towards)
        self.middle = np.array([(within.left + within.right) / 2, (within.top + within.bottom) / 2])
        self.taken: list[Box] = []

    def draw(self, parts: list[dict[str, Any]], routes: list[dict[str, Any]], fittings: Sequence[dict[str, Any]]) -> None:
        for outward, dash in self._outlines():
            self._polygon([*outward], INK, WIDE if not dash else NARROW, dash=dash)
        for shown in (False, True):
            for side in self.sides.values():
                self._furnish(side, shown=shown)
            for fitting in fittings:
                self._fitting(fitting, shown=shown)
            for route in routes:
                self._route(route, shown=shown)
            for part in parts:
                self._mark(part, shown=shown)
        for part in parts:
            if part["at_m"] and part["face"] in self.sides and self._shows(self.sides[part["face"]]):
                x, y = self._paper(self.sides[part["face"]].place(part["at_m"], self.box))
                self._say(x, y, [part["name"]], ACCENT, 600)
        for fitting in fittings:
            if fitting["face"] in self.sides and self._shows(self.sides[fitting["face"]]):
                corner = [at - side / 2 for at, side in zip(fitting["at_m"], fitting["size_m"], strict=True)]
                x, y = self._paper(self.sides[fitting["face"]].place(corner, self.box))
                self._say(x, y, [fitting["name"]], ACCENT, 400)
        for route in routes:
            self._name_route(route)
        self._name_sides()
        self._axes()

    def _paper(self, place: Vector) -> tuple[float, float]:
        right, up = self.onto @ place * self.each
        return float(self.middle[0] + right), float(self.middle[1] - up)

    def _shows(self, side: _Side) -> bool:
        return bool(side.out @ self.towards > 0)

    def _outlines(self) -> Iterator[tuple[list[Vector], str]]:
        """All twelve edges of the box, those behind first: an edge is hidden where both faces along it are turned away."""
        half = self.box / 2
        edges = []
        for axis in range(3):
            others = [other for other in range(3) if other != axis]
            for one in (-1, 1):
                for two in (-1, 1):
                    corner = np.zeros(3)
                    corner[others[0]], corner[others[1]] = one * half[others[0]], two * half[others[1]]
                    along = np.zeros(3)
                    along[axis] = half[axis]
                    hidden = one * self.towards[others[0]] < 0 and two * self.towards[others[1]] < 0
                    edges.append(([corner - along, corner + along], _DASH if hidden else ""))
        yield from sorted(edges, key=lambda edge: edge[1] == "")

    def _polygon(
        self, places: list[Vector], colour: str, width: float, *, fill: str = "none", dash: str = "", closed: bool = False
    ) -> None:
        points = [self._paper(place) for place in places]
        for (x, y), (to_x, to_y) in itertools.pairwise(points):
            steps = max(int(math.hypot(to_x - x, to_y - y) / 6), 1)
            for n in range(steps + 1):
                here = (x + (to_x - x) * n / steps, y + (to_y - y) * n / steps)
                self.taken.append(Box(here[0] - 2, here[1] - 2, here[0] + 2, here[1] + 2))
        data = "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in points) + ("z" if closed else "")
        self.sheet.path(data, colour=colour, width=width, fill=fill, dash=dash)

    def _rectangle(self, side: _Side, row: dict[str, Any]) -> list[Vector]:
        (x, y), (wide, high) = row["at_m"], row["size_m"]
        corners = ((-1, -1), (1, -1), (1, 1), (-1, 1), (-1, -1))
        return [side.place((x + a * wide / 2, y + b * high / 2), self.box) for a, b in corners]

    def _circle(self, side: _Side, at_m: Sequence[float], radius: float) -> list[Vector]:
        turns = np.linspace(0, 2 * math.pi, 37)
        return [side.place((at_m[0] + radius * math.cos(t), at_m[1] + radius * math.sin(t)), self.box) for t in turns]

    def _furnish(self, side: _Side, *, shown: bool) -> None:
        """Keep-outs and seats of one face."""
        if self._shows(side) is not shown:
            return
        for row in side.face["keep_outs"]:
            self._polygon(self._rectangle(side, row), MUTED, NARROW if shown else 0.4, dash="" if shown else _DASH)
        for seat in side.face.get("seats", ()):
            circle = self._circle(side, seat["at_m"], seat["diameter_m"] / 2)
            self._polygon(circle, INK if shown else MUTED, NARROW if shown else 0.4, dash="12 3 2 3" if shown else _DASH)

    def _fitting(self, fitting: dict[str, Any], *, shown: bool) -> None:
        side = self.sides.get(fitting["face"])
        if side is not None and self._shows(side) is shown:
            self._polygon(self._rectangle(side, fitting), ACCENT, NARROW if shown else 0.4, dash="12 3 2 3 2 3" if shown else _DASH)

    def _mark(self, part: dict[str, Any], *, shown: bool) -> None:
        side = self.sides.get(part["face"])
        if side is None or not part["at_m"] or self._shows(side) is not shown:
            return
        circle = self._circle(side, part["at_m"], (part.get("base_m") or 0.03) / 2)
        self._polygon(circle, ACCENT, WIDE if shown else NARROW, fill=PAPER if shown else "none", dash="" if shown else _DASH)

    def _route(self, route: dict[str, Any], *, shown: bool) -> None:
        for leg in route["legs"]:
            side = self.sides.get(leg["face"])
            if side is not None and self._shows(side) is shown:
                ends = [side.place(leg[end], self.box) for end in ("start_m", "end_m")]
                self._polygon(ends, INK, 2.2 if shown else 1.0, dash="" if shown else _DASH)

    def _name_route(self, route: dict[str, Any]) -> None:
        """Beside the longest of its legs that shows."""
        legs = [leg for leg in route["legs"] if leg["face"] in self.sides and self._shows(self.sides[leg["face"]])]
        if legs:
            leg = max(legs, key=lambda leg: math.dist(leg["start_m"], leg["end_m"]))
            middle = [(a + b) / 2 for a, b in zip(leg["start_m"], leg["end_m"], strict=True)]
            x, y = self._paper(self.sides[leg["face"]].place(middle, self.box))
            self._say(x, y, [f"cable {route['cable']}"], INK, 400)

    def _name_sides(self) -> None:
        """Each side that shows by its face's name, or as one of which the plan has no face."""
        names = {side.face["outward"]: f"face {name}" for name, side in self.sides.items()}
        for outward, way in OUTWARD.items():
            if np.array(way) @ self.towards > 0:
                x, y = self._paper(np.array(way) * self.box / 2)
                self._say(x, y, [names.get(outward, f"{outward}: no face given")], MUTED, 400)

    def _say(self, x: float, y: float, lines: list[str], colour: str, weight: int) -> None:
        for taken in (self.taken, []):
            if place_label(
                self.sheet, x, y, lines, clear=10, within=self.within, taken=taken, size=9.5, colour=colour, weight=weight
            ):
                return

    def _axes(self) -> None:
        """The machine's axes, at the lower left of the view."""
        x, y = self.within.left + 34, self.within.bottom - 40
        for name, axis in zip("HVA", np.eye(3), strict=True):
            right, up = self.onto @ axis
            self.sheet.line(x, y, x + 22 * right, y - 22 * up)
            self.sheet.text(x + 31 * right, y - 31 * up + 3, name, size=9, anchor="middle")
