"""The pattern of a plate for the edge enclosure or the light's bracket: outline, holes and slots, as DXF and as a drawing.

One geometry, in mm from the plate's lower left corner, makes both, so that what is cut is what was looked at.

A plate is a row with ``name``, ``size_m``, ``thickness_m``, ``material``, ``corner_radius_m``;
``holes``: ``at_m``, ``diameter_m``, ``for``;
``slots``: ``at_m`` (middle), ``length_m`` (over all), ``width_m``, ``turned_deg`` (0 lies level, 90 stands), ``for``.

The DXF is of release R2010 with its unit set to mm, the oldest that carries a unit; layers OUTLINE, HOLES, SLOTS, CENTRES.
"""

import io
import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from gearcase.drawings.drafting import (
    BLOCK_HEIGHT,
    PX_PER_MM,
    Table,
    TitleBlock,
    draw_title_block,
    edges_of,
    headline,
    mm,
    place_label,
    reduction,
    run_along,
    run_upward,
)
from gearcase.drawings.face import WIDEST
from gearcase.drawings.svg import INK, MUTED, WIDE, Box, Sheet
from gearcase.errors import OutOfRange

__all__ = ["Arc", "Circle", "Segment", "plate_dxf", "plate_geometry", "plate_sheet", "plate_svg"]

_LEFT, _RIGHT, _TOP, _LINE, _FIGURES = 62.0, 30.0, 20.0, 16.0, 56.0
_CENTRE_BEYOND = 3.0  # mm of centre line beyond a hole's rim

Place = tuple[float, float]


@dataclass(frozen=True)
class Segment:
    """A straight line on a layer. [mm]"""

    layer: str
    start: Place
    end: Place


@dataclass(frozen=True)
class Arc:
    """An arc on a layer, turning to the left from one angle to the other. [mm, degrees]"""

    layer: str
    centre: Place
    radius: float
    start: float
    end: float


@dataclass(frozen=True)
class Circle:
    """A whole circle on a layer. [mm]"""

    layer: str
    centre: Place
    radius: float


Shape = Segment | Arc | Circle


def plate_geometry(plate: dict[str, Any]) -> tuple[Shape, ...]:
    """Every line of the plate. [mm]

    Raises
    ------
    OutOfRange
        A hole or slot that leaves the plate, a slot shorter than wide, corners rounder than half the plate.
    """
    wide, high = (1000 * side for side in plate["size_m"])
    radius = 1000 * plate["corner_radius_m"]
    if not 0 <= radius <= min(wide, high) / 2:
        raise OutOfRange("corner_radius_m", plate["corner_radius_m"], f"0 to {min(wide, high) / 2000:g}, half of the shorter side")
    shapes = [*_outline(wide, high, radius)]
    for hole in plate["holes"]:
        x, y, r = 1000 * hole["at_m"][0], 1000 * hole["at_m"][1], 500 * hole["diameter_m"]
        _check_inside(hole["for"], (x, y), (r, r), (wide, high))
        shapes.append(Circle("HOLES", (x, y), r))
        shapes += _centre_lines((x, y), (r, r))
    for slot in plate["slots"]:
        shapes += _slot(slot, (wide, high))
    return tuple(shapes)


def plate_dxf(plate: dict[str, Any]) -> bytes:
    """The plate as DXF R2010 in mm; raises as `plate_geometry`."""
    import ezdxf  # here, since a plan without a plate need not wait for it

    before = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True  # no times, no new identifiers: the same plate gives the same checksum
    try:
        return _dxf(plate_geometry(plate))
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = before


def plate_svg(plate: dict[str, Any], *, block: TitleBlock) -> str:
    """The plate as a dimensioned drawing; raises as `plate_geometry`."""
    return plate_sheet(plate, block=block).svg(plate["name"])


def plate_sheet(plate: dict[str, Any], *, block: TitleBlock) -> Sheet:
    """The drawing before it becomes text; its label boxes can be checked."""
    shapes = plate_geometry(plate)
    wide, high = (1000 * side for side in plate["size_m"])
    room = WIDEST - _LEFT - _RIGHT
    scale = reduction(plate["size_m"], (room, room))
    each = PX_PER_MM / scale
    rows = list(_rows(plate))
    openings = Table(WIDEST - 12, ("no.", "what", "x", "y", "for"), rows, (0.5, 3.4, 0.9, 0.9, 4))
    sheet = Sheet(WIDEST, _TOP + high * each + _FIGURES + 36 + openings.height + BLOCK_HEIGHT + 8)
    bottom = _TOP + high * each

    def at(place: Place) -> Place:
        return _LEFT + place[0] * each, bottom - place[1] * each

    for shape in shapes:
        _draw(sheet, shape, at, each)
    middles = [(*at((1000 * one["at_m"][0], 1000 * one["at_m"][1])), one) for one in (*plate["holes"], *plate["slots"])]
    run_along(
        sheet,
        _LEFT,
        bottom + _LINE,
        [(at((wide, 0))[0], bottom, plate["size_m"][0]), *((x, y, one["at_m"][0]) for x, y, one in middles)],
        low=_LEFT,
        high=WIDEST - 6,
    )
    run_upward(
        sheet,
        bottom,
        _LEFT - _LINE,
        [(_TOP, _LEFT, plate["size_m"][1]), *((y, x, one["at_m"][1]) for x, y, one in middles)],
        low=8.0,
        high=bottom,
    )
    marks = [Box(x - reach, y - reach, x + reach, y + reach) for x, y, one in middles for reach in (_reach(one) * each,)]
    taken = [*marks, *edges_of(Box(_LEFT, _TOP, at((wide, 0))[0], bottom))]
    for number, (x, y, one) in enumerate(middles, start=1):
        place_label(
            sheet,
            x,
            y,
            [str(number)],
            clear=_reach(one) * each + 2,
            within=Box(_LEFT, 2, WIDEST - 2, bottom),
            taken=taken,
            weight=600,
        )
    said = f"{plate['name']}: {plate['material']}, {mm(plate['thickness_m'])} thick, corners R{mm(plate['corner_radius_m'])}"
    base = bottom + _FIGURES + 12
    headline(sheet, 6, base, WIDEST - 12, f"{said} · scale 1:{scale}", "dimensions in mm from the lower left corner")
    openings.draw(sheet, 6, base + 18)
    draw_title_block(sheet, 6, sheet.height - BLOCK_HEIGHT - 4, WIDEST - 12, block, name=plate["name"], scale=f"1:{scale}")
    return sheet


def _outline(wide: float, high: float, radius: float) -> Iterator[Shape]:
    """Four sides, and four rounded corners where there are any."""
    r = radius
    for start, end in (
        ((r, 0.0), (wide - r, 0.0)),
        ((wide, r), (wide, high - r)),
        ((wide - r, high), (r, high)),
        ((0.0, high - r), (0.0, r)),
    ):
        if start != end:
            yield Segment("OUTLINE", start, end)
    if r:
        for turn, centre in enumerate(((wide - r, high - r), (r, high - r), (r, r), (wide - r, r))):
            yield Arc("OUTLINE", centre, r, 90.0 * turn, 90.0 * turn + 90.0)


def _slot(slot: dict[str, Any], plate: Place) -> Iterator[Shape]:
    """Two sides and two round ends."""
    x, y, r = 1000 * slot["at_m"][0], 1000 * slot["at_m"][1], 500 * slot["width_m"]
    half = 500 * slot["length_m"] - r
    if half <= 0:
        raise OutOfRange("length_m", slot["length_m"], f"more than its width of {slot['width_m']:g} m; a hole is not a slot")
    turned = math.radians(slot["turned_deg"])
    along, across = (math.cos(turned), math.sin(turned)), (-math.sin(turned), math.cos(turned))
    reach = (abs(half * along[0]) + r, abs(half * along[1]) + r)
    _check_inside(slot["for"], (x, y), reach, plate)
    for side in (1, -1):
        ends = [
            (x + way * half * along[0] + side * r * across[0], y + way * half * along[1] + side * r * across[1]) for way in (-1, 1)
        ]
        yield Segment("SLOTS", ends[0], ends[1])
        centre = (x + side * half * along[0], y + side * half * along[1])
        from_angle = slot["turned_deg"] - 90.0 * side
        yield Arc("SLOTS", centre, r, from_angle % 360, (from_angle + 180) % 360)
    yield from _centre_lines((x, y), reach)


def _centre_lines(centre: Place, reach: Place) -> Iterator[Segment]:
    for axis in (0, 1):
        out = reach[axis] + _CENTRE_BEYOND
        ends = [tuple(place + way * out * (axis == n) for n, place in enumerate(centre)) for way in (-1, 1)]
        yield Segment("CENTRES", (ends[0][0], ends[0][1]), (ends[1][0], ends[1][1]))


def _check_inside(what: str, centre: Place, reach: Place, plate: Place) -> None:
    for axis, (place, half, size) in enumerate(zip(centre, reach, plate, strict=True)):
        if place - half <= 0 or place + half >= size:
            says = f"{half:g} to {size - half:g} mm, for the opening of '{what}' to lie inside the plate"
            raise OutOfRange(f"at_m[{axis}]", f"{place:g} mm", says)


def _draw(sheet: Sheet, shape: Shape, at: Any, each: float) -> None:
    """One line of the geometry on the sheet."""
    match shape:
        case Segment():
            centre = shape.layer == "CENTRES"
            sheet.line(
                *at(shape.start),
                *at(shape.end),
                width=0.5 if centre else WIDE,
                colour=MUTED if centre else INK,
                dash="8 2 2 2" if centre else "",
            )
        case Circle():
            x, y = at(shape.centre)
            r = shape.radius * each
            sheet.circle(x, y, r)
        case Arc():
            ends = [
                at(
                    (
                        shape.centre[0] + shape.radius * math.cos(math.radians(angle)),
                        shape.centre[1] + shape.radius * math.sin(math.radians(angle)),
                    )
                )
                for angle in (shape.start, shape.end)
            ]
            r = shape.radius * each
            sheet.path(f"M{ends[0][0]:.2f} {ends[0][1]:.2f}A{r:.2f} {r:.2f} 0 0 0 {ends[1][0]:.2f} {ends[1][1]:.2f}", width=WIDE)


def _reach(one: dict[str, Any]) -> float:
    """Half the size of an opening's square, with its centre lines. [mm]"""
    across: float = one["diameter_m"] if "diameter_m" in one else one["length_m"]
    return 500 * across + _CENTRE_BEYOND


def _rows(plate: dict[str, Any]) -> Iterator[tuple[str, str, str, str, str]]:
    number = 0
    for hole in plate["holes"]:
        number += 1
        yield str(number), f"hole, diameter {mm(hole['diameter_m'])}", mm(hole["at_m"][0]), mm(hole["at_m"][1]), hole["for"]
    for slot in plate["slots"]:
        number += 1
        says = f"slot {mm(slot['width_m'])} x {mm(slot['length_m'])}, turned {slot['turned_deg']:g}°"
        yield str(number), says, mm(slot["at_m"][0]), mm(slot["at_m"][1]), slot["for"]


def _dxf(shapes: tuple[Shape, ...]) -> bytes:
    import ezdxf
    from ezdxf import units

    drawing = ezdxf.new("R2010", units=units.MM)
    for layer, colour in (("OUTLINE", 7), ("HOLES", 7), ("SLOTS", 7), ("CENTRES", 8)):  # 7 black or white, 8 grey
        drawing.layers.add(layer, color=colour)
    space = drawing.modelspace()
    for shape in shapes:
        on = {"layer": shape.layer}
        match shape:
            case Segment():
                space.add_line(shape.start, shape.end, dxfattribs=on)
            case Arc():
                space.add_arc(shape.centre, shape.radius, shape.start, shape.end, dxfattribs=on)
            case Circle():
                space.add_circle(shape.centre, shape.radius, dxfattribs=on)
    stream = io.StringIO()
    drawing.write(stream)
    return stream.getvalue().encode("utf-8")
