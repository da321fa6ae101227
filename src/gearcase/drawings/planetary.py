"""A planetary set drawn: in half section above its axis, and seen along the axis with its circles in proportion to its teeth."""

import math
from collections.abc import Collection
from typing import Any

from gearcase.drawings.gears import DASH, RIM, ground
from gearcase.drawings.layout import Gear, Layout, PlanetarySet, layout_of
from gearcase.drawings.svg import ACCENT, INK, MUTED, NARROW, WIDE, Sheet, wrap

__all__ = ["attachment", "draw_set", "end_view_sheet", "end_views", "set_height", "set_width", "set_words", "speed_words"]

_PLANE, _ARM, _LEAST_WIDE = 80.0, 40.0, 216.0  # px: width of a plane of gears, room beside them for carrier and ring's web
_CENTRE, _CHAIN = 64.0, 128.0  # px: planets' axis above the main one, and the ring above it where planets go in pairs
_LEAST_SUN, _LEAST_PLANET = 17.0, 15.0
_HALF = 34.0  # px: half the width of a gear


def set_width(one: PlanetarySet) -> float:
    """Room along the axis. [px]"""
    return max(_LEAST_WIDE, 2 * _ARM + _PLANE * len(one.planes))


def set_height(one: PlanetarySet) -> float:
    """Room above the axis: rings, what holds them, the set's name. [px]"""
    _, stacks = _radii(one)
    return max(inner for stack in stacks for _, inner in stack) + RIM + 12 + 20


def attachment(one: PlanetarySet, shaft: str, left: float, side: str) -> float:
    """Where along the axis a member joins its shaft, which leads off to `side`. [px]"""
    role = one.members[shaft]
    if role == "sun":
        number = next(n for n, plane in enumerate(one.planes) if any(gear.shaft == shaft for gear in plane))
        return _plane_x(one, left, number) + (_HALF if side == "left" else -_HALF)
    inset = 8.0 if role == "ring" else 24.0
    first, last = _plane_x(one, left, 0) - _PLANE / 2, _plane_x(one, left, len(one.planes) - 1) + _PLANE / 2
    return first - _ARM + inset + 4 if side == "left" else last + _ARM - inset - 4


def draw_set(
    sheet: Sheet,
    one: PlanetarySet,
    *,
    left: float,
    axis: float,
    tops: dict[str, float],
    sides: dict[str, str],
    layout: Layout,
    bearings: list[dict[str, Any]],
    faulty: Collection[str],
) -> None:
    """The upper half in section: sun on the axis, planets on the carrier's pins, ring outside.

    `tops` says how far above the axis each member's shaft reaches where it meets it, `sides` which way that leads. [px]
    """
    pins, stacks = _radii(one)
    held = {name for name in one.members if layout.shafts[name].get("held")}
    first, last = _plane_x(one, left, 0) - _HALF, _plane_x(one, left, len(one.planes) - 1) + _HALF
    arm = attachment(one, one.carrier, left, sides[one.carrier])
    for name, pin in pins.items():
        planes = [n for n, plane in enumerate(one.planes) if any(gear.shaft == name for gear in plane)]
        near, far = _plane_x(one, left, planes[0]) - 40, _plane_x(one, left, planes[-1]) + 40
        near, far = min(near, arm), max(far, arm)
        sheet.rectangle(near, axis - pin - 4, far - near, 8)
    foot = axis + 16 if one.carrier in held else axis - tops.get(one.carrier, 0.0)
    top = axis - max(pins.values()) - 9
    sheet.rectangle(arm - 4, top, 8, foot - top)
    if one.carrier in held:
        ground(sheet, arm - 16, axis + 16, 32, up=False)
    for number, (plane, stack) in enumerate(zip(one.planes, stacks, strict=True)):
        x = _plane_x(one, left, number)
        for gear, (inner, outer) in zip(plane, stack, strict=True):
            _block(sheet, one, gear, x, axis - outer if gear.role != "ring" else axis - inner - RIM, inner, outer)
            if gear.role == "ring":
                _ring_joint(sheet, gear, x, axis, inner, tops, held, attachment(one, gear.shaft, left, sides[gear.shaft]))
            if gear.role == "sun" and gear.shaft in held:
                sheet.rectangle(x - 52, axis - 5, 52 - 34, 10)
                for n in range(-2, 2):
                    sheet.line(x - 52, axis + 8 * n + 8, x - 60, axis + 8 * n)
                sheet.line(x - 52, axis - 16, x - 52, axis + 16, width=2 * WIDE)
    for number, bearing in enumerate(bearings):
        planet = bearing["shaft"] if bearing["shaft"] in pins else bearing.get("other_shaft")
        pin = pins.get(planet or "", min(pins.values()))
        marked = bearing["name"] in faulty
        x = (first - 6 if arm > last else last + 6) if number == 0 else (last + 6 if arm > last else first - 6)
        colour = ACCENT if marked else INK
        sheet.rectangle(
            x - 5,
            axis - pin - 9,
            10,
            18,
            colour=colour,
            line=2.6 if marked else WIDE,
            dash="" if bearing["geometry_known"] else DASH,
        )
        sheet.line(x - 5, axis - pin - 9, x + 5, axis - pin + 9, colour=colour)
        sheet.line(x - 5, axis - pin + 9, x + 5, axis - pin - 9, colour=colour)
    title = one.name or ", ".join(one.mesh_names)
    middle = left + set_width(one) / 2
    (words,) = wrap(title, set_width(one) - 8, 11, most=1, weight=600) or [""]
    sheet.text(middle, axis - set_height(one) + 10, words, size=11, anchor="middle", weight=600)


def _block(sheet: Sheet, one: PlanetarySet, gear: Gear, x: float, top: float, inner: float, outer: float) -> None:
    high = RIM if gear.role == "ring" else outer - inner
    sheet.rectangle(x - _HALF, top, 2 * _HALF, high, dash="" if gear.teeth else DASH)
    teeth = f"{gear.teeth or '?'}"
    if gear.role == "planet":
        sheet.text(x, top + high / 2 - 2, f"{one.count} planets" if one.count > 1 else "planet", size=10.5, anchor="middle")
        sheet.text(x, top + high / 2 + 11, teeth, size=12, anchor="middle", weight=600)
    else:
        sheet.text(x, top + high / 2 + 4, f"{gear.role} {teeth}", size=11, anchor="middle", weight=600)


def _ring_joint(
    sheet: Sheet, gear: Gear, x: float, axis: float, inner: float, tops: dict[str, float], held: set[str], web: float
) -> None:
    """A held ring is grounded; one that turns hangs on a web that leads to its shaft."""
    top = axis - inner - RIM
    if gear.shaft in held:
        ground(sheet, x - 32, top - 3, 64, up=True)
        sheet.line(x, top, x, top - 3, width=WIDE)
    elif gear.shaft in tops:
        edge = x - _HALF if web < x else x + _HALF
        sheet.rectangle(min(edge, web), top + 4, abs(web - edge), 8)
        sheet.rectangle(web - 4, top + 4, 8, axis - tops[gear.shaft] - top - 4)


def speed_words(shaft: dict[str, Any], *, arrows: bool = True) -> str:
    """``99.5 rpm ↻``, with the arrow where the sense is known; held; or speed unknown."""
    if shaft.get("held"):
        return "held"
    if shaft["hz"] is None:
        return "speed unknown"
    turning = (" ↻" if shaft["order"] > 0 else " ↺") if arrows and shaft["order"] and shaft.get("sense_known", True) else ""
    return f"{60 * shaft['hz']:.5g} rpm{turning}"


def set_words(one: PlanetarySet, layout: Layout, said: Collection[str]) -> list[str]:
    """A line for each member not `said` elsewhere, and for the planets."""
    lines = []
    for name, role in one.members.items():
        if name not in said:
            lines.append(f"{name if role in name.lower() else f'{role}: {name}'}: {speed_words(layout.shafts[name])}")
    for name in one.planets:
        shaft = layout.shafts[name]
        count = f"{shaft.get('count', 1)} × " if shaft.get("count", 1) > 1 else ""
        lines.append(f"{count}{name}: {speed_words(shaft)}")
    return lines


def _plane_x(one: PlanetarySet, left: float, number: int) -> float:
    return left + set_width(one) / 2 + _PLANE * (number - (len(one.planes) - 1) / 2)


def _radii(one: PlanetarySet) -> tuple[dict[str, float], list[list[tuple[float, float]]]]:
    """Height of each planet's pin, and the lower and upper edge of each gear of each plane above the axis. [px]

    Gears of a plane stand in proportion to their teeth as far as they can still be read.
    """
    pins: dict[str, float] = {}
    stacks = []
    for plane in one.planes:
        planets = [gear for gear in plane if gear.role == "planet"]
        teeth = {gear: float(gear.teeth or {"sun": 20, "planet": 30, "ring": 80}[gear.role]) for gear in plane}
        sun = next((gear for gear in plane if gear.role == "sun"), None)
        ring = next((gear for gear in plane if gear.role == "ring"), None)
        if len(planets) == 1:
            (planet,) = planets
            centre = pins.setdefault(planet.shaft, _CENTRE)
            if sun is not None:
                low = max(centre * teeth[sun] / (teeth[sun] + teeth[planet]), _LEAST_SUN)
                half = max(centre - low, _LEAST_PLANET)
            else:
                half = centre * teeth[planet] / max(teeth[ring] - teeth[planet], 1.0) if ring else _LEAST_PLANET
                half = min(max(half, _LEAST_PLANET), centre - 8)
            low = centre - half
            edges = {planet: (centre - half, centre + half)}
            if ring is not None:
                edges[ring] = (centre + half, centre + half + RIM)
        else:
            total = (teeth[sun] if sun else 20.0) + 2 * sum(teeth[planet] for planet in planets)
            low = max(_CHAIN * (teeth[sun] if sun else 20.0) / total, _LEAST_SUN)
            edges, foot = {}, low
            for planet in planets:
                high = max((_CHAIN - low) * teeth[planet] / sum(teeth[each] for each in planets), 2 * _LEAST_PLANET)
                edges[planet] = (foot, foot + high)
                pins.setdefault(planet.shaft, foot + high / 2)
                foot += high
            if ring is not None:
                edges[ring] = (foot, foot + RIM)
        if sun is not None:
            edges[sun] = (0.0, low)
        stacks.append([edges[gear] for gear in plane])
    return pins, stacks


def end_views(drive: dict[str, Any]) -> list[tuple[PlanetarySet, Sheet]]:
    """Every planetary set with one plane of plain planets and known teeth, seen along its axis."""
    sets = [column.of for column in layout_of(drive).columns if column.kind == "set"]
    shown = [one for one in sets if [gear.role for gear in one.planes[0]] == ["sun", "planet", "ring"] and len(one.planes) == 1]
    return [(one, end_view_sheet(one, drive)) for one in shown if all(gear.teeth for gear in one.planes[0])]


def end_view_sheet(one: PlanetarySet, drive: dict[str, Any]) -> Sheet:
    """Pitch circles of sun, planets and ring in proportion to their teeth, planets at equal angles, the carrier's arms between."""
    sun, planet, ring = (float(gear.teeth or 0) for gear in one.planes[0])
    shafts = {shaft["name"]: shaft for shaft in drive["shafts"]}
    sheet = Sheet(560.0, 320.0)
    x, y, outer = 165.0, 160.0, 132.0
    scale = outer / ring
    centre = (sun + planet) * scale
    radius_sun, radius_planet = sun * scale, planet * scale
    grounded = bool(shafts[one.planes[0][2].shaft].get("held"))
    sheet.circle(x, y, outer + 14, width=WIDE)
    sheet.circle(x, y, outer, width=WIDE)
    for number in range(48 if grounded else 0):
        angle = 2 * math.pi * number / 48
        a, b = outer + 14, outer + 21
        sheet.line(x + a * math.cos(angle), y + a * math.sin(angle), x + b * math.cos(angle + 0.05), y + b * math.sin(angle + 0.05))
    for number in range(one.count):
        angle = 2 * math.pi * number / one.count - math.pi / 2
        px, py = x + centre * math.cos(angle), y + centre * math.sin(angle)
        sheet.line(x, y, px, py, width=3.0, colour=ACCENT)
        sheet.circle(px, py, radius_planet)
        sheet.circle(px, py, 5.0, fill=INK)
    sheet.circle(x, y, radius_sun)
    sheet.line(x - outer - 24, y, x + outer + 24, y, dash="14 3 2 3", colour=MUTED, width=NARROW)
    sheet.line(x, y - outer - 24, x, y + outer + 24, dash="14 3 2 3", colour=MUTED, width=NARROW)
    words = [
        (f"ring: {ring:.0f} teeth", one.planes[0][2].shaft),
        (f"{one.count} planets: {planet:.0f} teeth", one.planets[0]),
        (f"sun: {sun:.0f} teeth", one.planes[0][0].shaft),
        ("carrier (arms)", one.carrier),
    ]
    for row, (says, name) in enumerate(words):
        top = 70 + 52 * row
        sheet.text(350, top, says, size=12, weight=600, colour=ACCENT if "carrier" in says else INK)
        for number, line in enumerate((*wrap(name, 200, 11, most=1), speed_words(shafts[name]))):
            sheet.text(350, top + 15 + 13 * number, line, size=11, colour=MUTED)
    return sheet
