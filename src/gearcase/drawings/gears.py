"""The symbols a train is drawn with: gears of each kind, belts, motor, passing parts, bearings, the ground that holds a part.

Kinematic symbols after ISO 3952 where remembered (from memory): ground as a hatched line, a belt as a band between two pulleys, a
coupling as two plates. What nobody knows is dashed and marked with a question mark.
"""

from typing import Any

from gearcase.drawings.layout import share
from gearcase.drawings.svg import ACCENT, HAIRLINE, INK, MUTED, NARROW, PAPER, WIDE, Sheet, wrap

__all__ = [
    "BLOCK",
    "DASH",
    "RIM",
    "arrow",
    "bearing_box",
    "bearing_lines",
    "belt_band",
    "gear_pair",
    "ground",
    "half_heights",
    "motor",
    "muted_unless",
    "passing",
]

BLOCK, RIM = 36.0, 16.0  # px: width of a gear, thickness of a ring's rim
DASH = "5 3"
_BOX = (18.0, 30.0)
_WORM, _WORM_HALF = 64.0, 15.0
_CONE = 7.0  # px: how far a bevel gear's edge slants either way
_LEAST, _MOST_INNER = 12.0, 46.0  # px: half heights that can still be read


def half_heights(mesh: dict[str, Any], apart: float) -> tuple[float, float]:
    """Half the heights of pinion and wheel, which touch when their axes stand `apart`. [px]"""
    pinion, wheel = mesh["pinion_teeth"], mesh["wheel_teeth"]
    kind = mesh.get("kind", "external")
    if kind == "worm":
        return _WORM_HALF, max(apart - _WORM_HALF, _LEAST)
    if kind == "internal":
        inner = apart * pinion / (wheel - pinion) if pinion and wheel and wheel > pinion else _MOST_INNER / 2
        inner = min(max(inner, _LEAST), _MOST_INNER)
        return inner, apart + inner
    part = share(pinion, wheel)
    return max(apart * part, _LEAST), max(apart * (1 - part), _LEAST)


def gear_pair(sheet: Sheet, mesh: dict[str, Any], x: float, pinion_y: float, wheel_y: float, room: float, marked: bool) -> None:
    """Two gears in mesh, their teeth, and the name of the mesh beside the place where they touch."""
    kind = mesh.get("kind", "external")
    down = 1.0 if wheel_y > pinion_y else -1.0
    pinion, wheel = half_heights(mesh, abs(wheel_y - pinion_y))
    draw = {"internal": _internal, "bevel": _bevel, "worm": _worm}.get(kind, _external)
    draw(sheet, mesh, x, (pinion_y, pinion), (wheel_y, wheel), down)
    touch = pinion_y - down * pinion if kind == "internal" else pinion_y + down * pinion
    half = {"worm": _WORM / 2, "internal": BLOCK / 2 + 18}.get(kind, BLOCK / 2)
    name = mesh["name"] + (f" ({kind})" if kind != "external" and kind not in mesh["name"] else "") + (": fault" if marked else "")
    colour, weight = (ACCENT, 600) if marked else (INK, 400)
    lines = wrap(name, room - half - 8, 11, weight=weight)
    first = touch + 3 if down > 0 else touch + 3 - 13 * (len(lines) - 1)  # away from the pinion's shaft
    for number, line in enumerate(lines):
        sheet.text(x + half + 8, first + 13 * number, line, size=11, colour=colour, weight=weight)


def _teeth(sheet: Sheet, x: float, y: float, teeth: int | None) -> None:
    sheet.text(x, y + 4, f"{teeth or '?'}", size=12, anchor="middle", weight=600)


def _external(
    sheet: Sheet, mesh: dict[str, Any], x: float, pinion: tuple[float, float], wheel: tuple[float, float], _: float
) -> None:
    for (y, half), teeth in ((pinion, mesh["pinion_teeth"]), (wheel, mesh["wheel_teeth"])):
        sheet.rectangle(x - BLOCK / 2, y - half, BLOCK, 2 * half, dash="" if teeth else DASH)
        for slant in (-9.0, 0.0, 9.0) if half > 20 else ():  # three short strokes, as drawings mark helical teeth
            sheet.line(x + slant - 4, y + half - 4, x + slant + 4, y + half - 12, colour=HAIRLINE)
        _teeth(sheet, x, y, teeth)


def _internal(
    sheet: Sheet, mesh: dict[str, Any], x: float, pinion: tuple[float, float], wheel: tuple[float, float], down: float
) -> None:
    """The ring in half section: its rim over the pinion, its web down to its shaft."""
    (pinion_y, half), (wheel_y, outer) = pinion, wheel
    known = mesh["wheel_teeth"]
    rim = wheel_y - down * outer  # where the teeth touch
    web = x + BLOCK / 2 + 14
    dash = "" if known else DASH
    top = rim - RIM if down > 0 else rim
    sheet.rectangle(web - 4, min(top, wheel_y), 8, abs(wheel_y - top), dash=dash)
    left = x - BLOCK / 2
    sheet.rectangle(left, top, web + 4 - left, RIM, dash=dash)
    sheet.text((web + left) / 2, top + 12, f"{known or '?'}", size=12, anchor="middle", weight=600)
    sheet.rectangle(x - BLOCK / 2, pinion_y - half, BLOCK, 2 * half, dash="" if mesh["pinion_teeth"] else DASH)
    _teeth(sheet, x, pinion_y, mesh["pinion_teeth"])


def _bevel(sheet: Sheet, mesh: dict[str, Any], x: float, pinion: tuple[float, float], wheel: tuple[float, float], _: float) -> None:
    """Two cones that touch along a slant; their axes cross, here swung into one plane."""
    for (y, half), teeth, slant in ((pinion, mesh["pinion_teeth"], _CONE), (wheel, mesh["wheel_teeth"], -_CONE)):
        left, right = x - BLOCK / 2, x + BLOCK / 2
        data = (
            f"M{left:.1f} {y - half - slant:.1f}L{right:.1f} {y - half + slant:.1f}"
            f"L{right:.1f} {y + half - slant:.1f}L{left:.1f} {y + half + slant:.1f}z"
        )
        sheet.path(data, width=WIDE, fill=PAPER, dash="" if teeth else DASH)
        _teeth(sheet, x, y, teeth)


def _worm(
    sheet: Sheet, mesh: dict[str, Any], x: float, pinion: tuple[float, float], wheel: tuple[float, float], down: float
) -> None:
    """A worm with its threads, and a wheel hollowed to it; their axes cross, here swung into one plane."""
    (worm_y, half), (wheel_y, outer) = pinion, wheel
    sheet.rectangle(x - _WORM / 2, worm_y - half, _WORM, 2 * half, dash="" if mesh["pinion_teeth"] else DASH)
    for n in (-2, -1, 1, 2):
        sheet.line(x + 12 * n - 5, worm_y + half, x + 12 * n + 5, worm_y - half, colour=HAIRLINE)
    _teeth(sheet, x, worm_y, mesh["pinion_teeth"])
    near, far = wheel_y - down * outer, wheel_y + down * outer
    left, right = x - BLOCK / 2, x + BLOCK / 2
    data = (
        f"M{left:.1f} {near - down * 5:.1f}Q{x:.1f} {near + down * 7:.1f} {right:.1f} {near - down * 5:.1f}V{far:.1f}H{left:.1f}z"
    )
    sheet.path(data, width=WIDE, fill=PAPER, dash="" if mesh["wheel_teeth"] else DASH)
    _teeth(sheet, x, wheel_y, mesh["wheel_teeth"])


def belt_band(sheet: Sheet, belt: dict[str, Any], x: float, driver_y: float, driven_y: float, room: float) -> None:
    """Two pulleys and the band between them; a chain is drawn as a chain line, a toothed belt dotted."""
    sizes = (belt["driver_size"], belt["driven_size"])
    toothed = belt["kind"] in ("toothed belt", "chain")
    halves = [10 + 18 * size / max(sizes) if max(sizes) else 16.0 for size in sizes]
    down = 1.0 if driven_y > driver_y else -1.0
    dash = {"chain": "8 3", "toothed belt": "3 2"}.get(belt["kind"], "")
    wide = 44.0
    for side in (-1, 1):
        edge = x + side * (wide / 2 - 6)
        sheet.line(edge, driver_y - down * halves[0], edge, driven_y + down * halves[1], width=WIDE, dash=dash, colour=INK)
    for y, half, size in ((driver_y, halves[0], sizes[0]), (driven_y, halves[1], sizes[1])):
        sheet.rectangle(x - wide / 2, y - half, wide, 2 * half)
        sheet.text(x, y + 4, f"{size:g}" if toothed else f"{1000 * size:.4g}", size=12, anchor="middle", weight=600)
    kind = belt["kind"] if belt["kind"].lower() not in belt["name"].lower() else ""
    said = f"{belt['name']}{f' ({kind})' if kind else ''}, {'teeth' if toothed else 'mm'}"
    middle = (driver_y + down * halves[0] + driven_y - down * halves[1]) / 2
    lines = wrap(said, room - wide / 2 - 4, 10.5, most=4)
    for number, line in enumerate(lines):
        sheet.text(x + wide / 2, middle - 6.5 * len(lines) + 10 + 13 * number, line, size=10.5)


def motor(sheet: Sheet, x: float, y: float, poles: int) -> None:
    """A motor as a box with its letter, its poles below."""
    sheet.rectangle(x - 30, y - 24, 60, 48)
    sheet.text(x, y + 4, "motor", size=12, anchor="middle", weight=600)
    sheet.text(x, y + 38, f"{poles} poles", size=10.5, anchor="middle")


def passing(sheet: Sheet, part: dict[str, Any], x: float, y: float, room: float) -> None:
    """A fan as two blades, a coupling as two plates, anything else as a disc; how many pass a turn stands in its name."""
    if part["kind"] in ("fan blades", "vanes"):
        for up in (-1, 1):
            tip, belly = y + up * 26, y + up * 10
            outward = f"C{x - 16:.1f} {belly:.1f} {x - 9:.1f} {tip:.1f} {x:.1f} {tip:.1f}"
            back = f"C{x + 9:.1f} {tip:.1f} {x + 6:.1f} {belly:.1f} {x:.1f} {y:.1f}"
            sheet.path(f"M{x:.1f} {y:.1f}{outward}{back}z", width=WIDE, fill=PAPER)
    elif part["kind"] == "coupling":
        for side in (-1, 1):
            sheet.rectangle(x + side * 6 - 4, y - 22, 8, 44)
    else:
        sheet.rectangle(x - 6, y - 22, 12, 44)
    for number, line in enumerate(wrap(f"{part['name']}, {part['count']:g}", room, 10.5)):
        sheet.text(x, y + 40 + 13 * number, line, size=10.5, anchor="middle")


def ground(sheet: Sheet, x: float, y: float, wide: float, *, up: bool) -> None:
    """The housing that holds a part: a line with hatching on the far side."""
    sheet.line(x, y, x + wide, y, width=2 * WIDE)
    far = -9.0 if up else 9.0
    for n in range(int(wide // 8)):
        sheet.line(x + 8 * n + (0 if up else 8), y, x + 8 * n + (8 if up else 0), y + far)


def arrow(sheet: Sheet, x: float, y: float) -> None:
    """Which way the power goes."""
    sheet.line(x, y, x + 16, y, width=WIDE)
    sheet.path(f"M{x + 24:.1f} {y:.1f}l-9 -4v8z", fill=INK)


def bearing_box(sheet: Sheet, x: float, y: float, *, known: bool, marked: bool, half_shaft: float = 5.0) -> None:
    """A crossed box either side of a shaft; the place of a fault in the accent and wider."""
    wide, high = _BOX
    colour, width = (ACCENT, 2.6) if marked else (INK, WIDE)
    sheet.rectangle(x - wide / 2, y - high / 2, wide, high, fill=PAPER, dash="" if known else DASH, colour=colour, line=width)
    for top in (y - high / 2, y + half_shaft):
        sheet.line(x - wide / 2, top, x + wide / 2, top + high / 2 - half_shaft, width=NARROW, colour=colour)
        sheet.line(x - wide / 2, top + high / 2 - half_shaft, x + wide / 2, top, width=NARROW, colour=colour)
    for edge in (-half_shaft, half_shaft):
        sheet.line(x - wide / 2, y + edge, x + wide / 2, y + edge, colour=colour)


def bearing_lines(bearing: dict[str, Any], room: float, size: float, *, marked: bool, most: int) -> list[str]:
    """Its name, whether its geometry is known and whether it is at fault, in lines; where room is short the name is cut first."""
    remarks = [*([] if bearing["geometry_known"] else ["(geometry?)"]), *(["fault"] if marked else [])]
    weight = 600 if marked else 400
    whole = f"{bearing['name']} (geometry?)" if not bearing["geometry_known"] else str(bearing["name"])
    lines = wrap(f"{whole}: fault" if marked else whole, room, size, most=most, weight=weight)
    if remarks and lines and lines[-1].endswith("…"):
        return [*wrap(bearing["name"], room, size, most=max(most - len(remarks), 1), weight=weight), *remarks]
    return lines


def muted_unless(known: Any) -> str:
    """The colour of a speed: accent where known."""
    return ACCENT if known else MUTED
