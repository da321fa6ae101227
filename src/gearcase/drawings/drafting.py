"""The marks that all sheets of a shop drawing share, so that they look alike and no label stands on another.

Dimensions run from one datum as superimposed running dimensions (ISO 129-1: an open circle at the datum, an arrow and a figure at
each extension line), areas are hatched (ISO 128, thin parallel lines), and each sheet ends in a title block (ISO 7200 fields).

Public: `TitleBlock`, `draw_title_block`; `run_along`, `run_upward`, `spread`, `mm`; `reduction`; `hatch`; `place_label`,
`edges_of`; `Table`; `headline`.
"""

import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from gearcase.drawings.svg import HAIRLINE, INK, MUTED, NARROW, PAPER, WIDE, Box, Sheet, text_width, wrap

__all__ = [
    "BLOCK_HEIGHT",
    "HEADED",
    "PX_PER_MM",
    "Table",
    "TitleBlock",
    "draw_title_block",
    "edges_of",
    "hatch",
    "headline",
    "mm",
    "place_label",
    "reduction",
    "run_along",
    "run_upward",
    "spread",
]

PX_PER_MM = 96 / 25.4
BLOCK_HEIGHT = 30.0
_REDUCTIONS = (1, 2, 5, 10, 20, 50, 100)  # ISO 5455
_FIGURE, _GAP = 9.5, 12.0  # px: size of a figure, and the least from one to the next
_ROW, _NEXT, _CELL = 14.0, 11.5, 9.5  # px: a row of a table, each further line in it, its letters
_MOST_LINES = 6  # of a cell
HEADED = 12.0  # px, each line below a headline
_SMALL = 7.5  # px: a cell of the title block that takes two lines
_SHARES = (3.0, 2.6, 0.8, 0.9, 1.3, 1.9, 1.1)
_RING = 13.0  # px, how much farther each time a label is tried round its mark
_INSET, _STEP = 3.0, 12.0  # px: from a label to the edge of the area it stands in, and between the places tried there
_AROUND = ((1, -1), (1, 1), (-1, -1), (-1, 1), (0, -1), (0, 1), (1, 0), (-1, 0))


@dataclass(frozen=True)
class TitleBlock:
    """Whose drawing this is: the job, the stage and run it was made from, its date, and the checksum of that result."""

    job: str
    stage: str
    run: str
    date: str
    checksum: str


def draw_title_block(sheet: Sheet, x: float, y: float, width: float, block: TitleBlock, *, name: str, scale: str) -> None:
    """The title block with its upper left corner at a place, `BLOCK_HEIGHT` high. [px]"""
    sheet.rectangle(x, y, width, BLOCK_HEIGHT)
    cells = (
        ("job", block.job),
        ("sheet", name),
        ("stage", block.stage),
        ("run", block.run),
        ("date", block.date),
        ("checksum", block.checksum),
        ("scale", scale),
    )
    left = x
    for (head, value), share in zip(cells, _SHARES, strict=True):
        room = width * share / sum(_SHARES)
        if left > x:
            sheet.line(left, y, left, y + BLOCK_HEIGHT, colour=HAIRLINE)
        sheet.text(left + 5, y + 10, head, size=7.5, colour=MUTED)
        size = _CELL if text_width(value, _CELL) <= room - 8 else _SMALL
        for number, line in enumerate(wrap(value, room - 8, size, most=2)):
            sheet.text(left + 5, y + (23 if size == _CELL else 18.5 + 8.5 * number), line, size=size)
        left += room


def mm(metres: float) -> str:
    """A length as it stands on a drawing, in millimetres to the tenth; halves go up, so that equal distances read equal.

    Examples
    --------
    >>> mm(1.2345), mm(0.330), mm(0.03175), mm(0.23174999999999998)
    ('1234.5', '330', '31.8', '231.8')
    """
    return f"{math.floor(10000 * metres + 0.5 + 1e-6) / 10:.10g}"


def reduction(sizes: Sequence[float], room: Sequence[float]) -> int:
    """The scale of ISO 5455 at which lengths are drawn largest and still fit, as the second number of 1:5.

    Parameters
    ----------
    sizes : sequence of float
        Lengths of the thing itself. [m]
    room : sequence of float
        For each, the room it has on paper. [px]

    Returns
    -------
    int
        100, the last of the series, where none fits.

    Examples
    --------
    >>> reduction((0.62, 0.43), (549.0, 600.0))
    5
    """
    return next(
        (
            scale
            for scale in _REDUCTIONS
            if all(1000 * size / scale * PX_PER_MM <= free for size, free in zip(sizes, room, strict=True))
        ),
        _REDUCTIONS[-1],
    )


def hatch(sheet: Sheet, area: Box, *, slope: int, every: float, colour: str = MUTED) -> None:
    """Thin parallel lines over an area; slope 1 rises, -1 falls, 0 lies level; `every` is their distance along the base. [px]"""
    wide, high = area.right - area.left, area.bottom - area.top
    if slope == 0:
        for row in range(1, int(high / every) + 1):
            sheet.line(area.left, area.top + row * every, area.right, area.top + row * every, colour=colour, width=0.4)
        return
    for number in range(1, int((wide + high) / every) + 1):
        reach = number * every  # x + y of the line, from the corner where it starts
        start = (max(0.0, reach - high), min(reach, high))
        end = (min(reach, wide), max(0.0, reach - wide))
        ends = [(area.left + x, area.top + y if slope > 0 else area.bottom - y) for x, y in (start, end)]
        sheet.line(*ends[0], *ends[1], colour=colour, width=0.4)


def spread(places: Sequence[float], *, least: float, low: float, high: float) -> list[float]:
    """Sorted places moved apart to a least distance, within low and high as long as there is room.

    Examples
    --------
    >>> spread([5.0, 6.0, 30.0], least=10.0, low=0.0, high=100.0)
    [5.0, 15.0, 30.0]
    """
    moved: list[float] = []
    for place in places:
        moved.append(max(place, low) if not moved else max(place, moved[-1] + least))
    ceiling = high
    for number in range(len(moved) - 1, -1, -1):
        moved[number] = min(moved[number], ceiling)
        ceiling = moved[number] - least
    return moved


def run_along(sheet: Sheet, left: float, y: float, stops: Iterable[tuple[float, float, float]], *, low: float, high: float) -> None:
    """Running dimensions to the right of a datum on one line.

    Parameters
    ----------
    sheet : Sheet
    left, y : float
        Datum and height of the dimension line. [px]
    stops : iterable of (float, float, float)
        For each: place [px], how far up its extension line reaches [px], and the length it says [m]; the most important first, for
        those that find no room are left to a table.
    low, high : float
        Room for the figures. [px]
    """
    ordered = _merged(stops, high - low, lower=False)
    for (x, from_y, metres), figure in zip(
        ordered, spread([x for x, _, _ in ordered], least=_GAP, low=low, high=high), strict=True
    ):
        sheet.line(x, from_y, x, y + 3, colour=HAIRLINE)
        sheet.path(f"M{x:.2f} {y:.2f}l-7 2.2v-4.4z", fill=INK, width=0.3)
        sheet.path(f"M{x:.2f} {y + 3:.2f}L{figure:.2f} {y + 10:.2f}", width=0.4, colour=MUTED)
        wide = text_width(mm(metres), _FIGURE)
        sheet.text(figure + 3.3, y + 13 + wide, mm(metres), size=_FIGURE, turned=True)
    _datum(sheet, left, y, max((x for x, _, _ in ordered), default=left), y)


def run_upward(
    sheet: Sheet, bottom: float, x: float, stops: Iterable[tuple[float, float, float]], *, low: float, high: float
) -> None:
    """Running dimensions upward from a datum, as `run_along`; each stop reaches that far right."""
    ordered = _merged(stops, high - low, lower=True)
    for (y, to_x, metres), figure in zip(ordered, spread([y for y, _, _ in ordered], least=_GAP, low=low, high=high), strict=True):
        sheet.line(to_x, y, x - 3, y, colour=HAIRLINE)
        sheet.path(f"M{x:.2f} {y:.2f}l2.2 7h-4.4z", fill=INK, width=0.3)
        sheet.path(f"M{x - 3:.2f} {y:.2f}L{x - 10:.2f} {figure:.2f}", width=0.4, colour=MUTED)
        sheet.text(x - 13, figure + 3.3, mm(metres), size=_FIGURE, anchor="end")
    _datum(sheet, x, bottom, x, min((y for y, _, _ in ordered), default=bottom))


def edges_of(area: Box) -> list[Box]:
    """The four sides of an area, as what a label must not cover."""
    return [
        Box(area.left - 1, area.top - 1, area.right + 1, area.top + 1),
        Box(area.left - 1, area.bottom - 1, area.right + 1, area.bottom + 1),
        Box(area.left - 1, area.top - 1, area.left + 1, area.bottom + 1),
        Box(area.right - 1, area.top - 1, area.right + 1, area.bottom + 1),
    ]


def place_label(
    sheet: Sheet,
    x: float,
    y: float,
    lines: Sequence[str],
    *,
    clear: float,
    within: Box,
    taken: Sequence[Box],
    size: float = 10.0,
    colour: str = INK,
    weight: int = 400,
    area: Box | None = None,
    aside: Sequence[Box] = (),
    rings: int = 24,
) -> bool:
    """Write a label beside a mark, where no other label or leader nor anything `taken` stands, with a leader once it is far off.

    Parameters
    ----------
    sheet : Sheet
    x, y : float
        Middle of the mark. [px]
    lines : sequence of str
        The first in `weight`, the others regular.
    clear : float
        How far the label stays from the middle. [px]
    within : Box
        Where it must stay.
    taken : sequence of Box
        What it must not cover.
    area : Box or None
        Where the mark is an area: places in it are tried first, its middle before others, and a leader ends in it with a dot
        (ISO 128, leader lines).
    aside : sequence of Box
        What its leader must not run through nor end on: other marks, which it would seem to name.
    rings : int
        How often it is tried, each time farther off.

    Returns
    -------
    bool
        Whether there was room; without it nothing is written.
    """
    row = size * 1.25
    wide = max(text_width(line, size, weight if number == 0 else 400) for number, line in enumerate(lines)) + 2
    high = row * len(lines)
    for box, far in _around(x, y, wide, high, clear, rings, area):
        outside = box.left < within.left or box.right > within.right or box.top < within.top or box.bottom > within.bottom
        if outside or any(box.overlaps(other) for other in (*sheet.labels, *taken)):
            continue
        if any(_meets(leader, box) for leader in sheet.leaders):
            continue
        if far:
            ends = _leader(x, y, box, clear, area)
            if any(_meets(ends, other) for other in (*sheet.labels, *aside)):
                continue
            sheet.leaders.append(ends)
            sheet.line(*ends, colour=colour, width=0.4)
            if area:
                sheet.circle(ends[0], ends[1], 1.5, colour=colour, fill=colour, width=0.3)
        sheet.rectangle(box.left - 1, box.top, wide + 2, high, colour=PAPER, line=0)
        for number, line in enumerate(lines):
            sheet.text(
                box.left + 1,
                box.top + size * 0.95 + row * number,
                line,
                size=size,
                colour=colour,
                weight=weight if number == 0 else 400,
            )
        return True
    return False


def headline(sheet: Sheet, x: float, y: float, width: float, first: str, *more: str) -> None:
    """What a sheet is, and below it how to read it; each cut to one line. [px]"""
    for line in wrap(first, width, 11, most=1, weight=600):
        sheet.text(x, y, line, size=11, weight=600)
    for number, words in enumerate(more, start=1):
        for line in wrap(words, width, _CELL, most=1):
            sheet.text(x, y + 1 + HEADED * number, line, size=_CELL, colour=MUTED)


@dataclass(frozen=True)
class Table:
    """A ruled table; a row is as high as its longest cell, so that no words are cut. [px]"""

    width: float
    head: Sequence[str]
    rows: Sequence[Sequence[str]]
    shares: Sequence[float]

    @property
    def height(self) -> float:
        """Room it takes with its head and the rule below."""
        return sum(self._height(cells) for cells in self._lines) + 8

    def draw(self, sheet: Sheet, x: float, y: float) -> None:
        """With its upper left corner at a place."""
        top = y
        for number, cells in enumerate(self._lines):
            for left, lines in zip(self._edges, cells, strict=False):
                for line, words in enumerate(lines):
                    base = top + _ROW - 4 + _NEXT * line
                    sheet.text(x + left + 4, base, words, size=_CELL, colour=MUTED if number == 0 else INK)
            top += self._height(cells)
            rule = (INK, NARROW) if number == 0 else (HAIRLINE, 0.5)
            sheet.line(x, top, x + self.width, top, colour=rule[0], width=rule[1])

    @property
    def _edges(self) -> list[float]:
        return [self.width * sum(self.shares[:number]) / sum(self.shares) for number in range(len(self.shares) + 1)]

    @cached_property
    def _lines(self) -> list[list[list[str]]]:
        rooms = [right - left - 8 for left, right in itertools.pairwise(self._edges)]
        return [
            [wrap(cell, room, _CELL, most=_MOST_LINES) for cell, room in zip(row, rooms, strict=False)]
            for row in (self.head, *self.rows)
        ]

    def _height(self, cells: list[list[str]]) -> float:
        return _ROW + _NEXT * max(max(len(lines) for lines in cells) - 1, 0)


def _datum(sheet: Sheet, x: float, y: float, end_x: float, end_y: float) -> None:
    sheet.line(x, y, end_x, end_y)
    sheet.circle(x, y, 3, fill=PAPER, width=WIDE / 2)


def _merged(stops: Iterable[tuple[float, float, float]], room: float, *, lower: bool) -> list[tuple[float, float, float]]:
    """One stop for each figure, reaching as far as the farthest, in order of place; as many of the first as have room."""
    best: dict[str, tuple[float, float, float]] = {}
    for stop in stops:
        known = best.get(mm(stop[2]))
        if known is None or (stop[1] > known[1] if lower else stop[1] < known[1]):
            best[mm(stop[2])] = stop
    return sorted(itertools.islice(best.values(), int(room / _GAP) + 1))


def _leader(x: float, y: float, box: Box, clear: float, area: Box | None) -> tuple[float, float, float, float]:
    """Ends of the line from the rim of a mark, or from well inside an area, to the nearest edge of the label."""
    if area:
        aside, down = 0.2 * (area.right - area.left), 0.2 * (area.bottom - area.top)
        x = min(max((box.left + box.right) / 2, area.left + aside), area.right - aside)
        y = min(max((box.top + box.bottom) / 2, area.top + down), area.bottom - down)
    to_x, to_y = min(max(x, box.left), box.right), min(max(y, box.top), box.bottom)
    far = math.hypot(to_x - x, to_y - y)
    share = min(0.9 * clear / far, 1.0) if far and not area else 0.0
    return x + share * (to_x - x), y + share * (to_y - y), to_x, to_y


def _meets(line: tuple[float, float, float, float], box: Box) -> bool:
    """Whether a straight line runs through a box: its part within both width and height (Liang and Barsky 1984)."""
    x, y, to_x, to_y = line
    low, high = 0.0, 1.0
    for start, way, first, last in ((x, to_x - x, box.left, box.right), (y, to_y - y, box.top, box.bottom)):
        if way == 0:
            if not first < start < last:
                return False
            continue
        near, far = sorted(((first - start) / way, (last - start) / way))
        low, high = max(low, near), min(high, far)
    return low < high


def _around(x: float, y: float, wide: float, high: float, clear: float, rings: int, area: Box | None) -> Iterator[tuple[Box, bool]]:
    """Boxes in an area and round a place, near ones first, and whether each is so far off that it wants a leader."""
    if area:
        yield Box(x - wide / 2, y - high / 2, x + wide / 2, y + high / 2), False
        yield from ((box, False) for box in _inside(area, wide, high))
    for ring in range(rings):
        away = clear + ring * _RING
        for right, down in _AROUND:
            aside = away * (0.75 if right and down else 1.0)
            left = x + aside if right > 0 else x - aside - wide if right < 0 else x - wide / 2
            top = y + aside if down > 0 else y - aside - high if down < 0 else y - high / 2
            if right and down:  # beside the mark, a little above or below it
                top = y - high + ring * _RING * down if down < 0 else y + ring * _RING * down
                left = x + clear if right > 0 else x - clear - wide
            yield Box(left, top, left + wide, top + high), ring > 0
        for turn in range(16) if ring else ():  # between those eight, once there is room for more
            across, up = away * math.cos(turn * math.pi / 8), away * math.sin(turn * math.pi / 8)
            left = x + across - wide * (1 - across / away) / 2
            top = y + up - high * (1 - up / away) / 2
            yield Box(left, top, left + wide, top + high), True


def _inside(area: Box, wide: float, high: float) -> Iterator[Box]:
    """Boxes that lie wholly in an area, from its middle outwards."""
    room = (area.right - area.left - wide - 2 * _INSET, area.bottom - area.top - high - 2 * _INSET)
    if min(room) < 0:
        return
    steps = [max(int(free / _STEP), 1) for free in room]
    places = [(n / steps[0] - 0.5, m / steps[1] - 0.5) for n in range(steps[0] + 1) for m in range(steps[1] + 1)]
    for across, down in sorted(places, key=lambda place: math.hypot(place[0] * room[0], place[1] * room[1])):
        left = (area.left + area.right - wide) / 2 + across * room[0]
        top = (area.top + area.bottom - high) / 2 + down * room[1]
        yield Box(left, top, left + wide, top + high)
