"""The drive drawn as shafts, gears and bearings, from the survey's document.

Shafts are rows from the input down; each mesh is a column where its two gears, in proportion to their teeth, just touch;
bearings are crossed boxes on the housing's walls. What nobody knows is dashed and marked with a question mark.
"""

from collections.abc import Collection, Iterator
from typing import Any

from gearcase.drawings.svg import ACCENT, HAIRLINE, INK, MUTED, NARROW, PAPER, WIDE, Sheet, wrap

__all__ = ["train_sheet", "train_svg"]

ROW, COLUMN, WALL, GEAR = 118.0, 158.0, 190.0, 36.0  # px: between shafts, between meshes, beside the housing, width of a gear
_TOP, _ABOVE = 74.0, 36.0  # px: from the sheet's upper edge to the first shaft, and to any gear at least
_CHAIN = "14 3 2 3"  # ISO 128 chain line: centre lines and axes
_DASH = "5 3"
_BOX = (18.0, 30.0)
_END = 46.0  # px: from the sheet's edge to the end of a shaft that leaves the housing, room for its arrow


def train_svg(drive: dict[str, Any], faulty: Collection[str] = ()) -> str:
    """The drive as an SVG document.

    Parameters
    ----------
    drive : dict
        The ``drive`` part of a ``survey/1`` document.
    faulty : collection of str
        Names of bearings to mark as the place of a fault.
    """
    return train_sheet(drive, faulty).svg(f"{drive['name']}: shafts, gears and bearings")


def train_sheet(drive: dict[str, Any], faulty: Collection[str] = ()) -> Sheet:
    """The drawing before it becomes text; its label boxes can be checked."""
    shafts = _top_down(drive)
    level = {shaft["name"]: ROW * number for number, shaft in enumerate(shafts)}
    gears = [gear for mesh in drive["meshes"] for gear in _gears(mesh, level)]
    top = max([_TOP, *(half - y + _ABOVE for y, half, _ in gears)])
    level = {name: top + y for name, y in level.items()}
    on_shaft = {name: [b for b in drive["bearings"] if b["shaft"] == name] for name in level}
    between = [(name, bearing) for name, bearings in on_shaft.items() for bearing in bearings[1:-1]]
    linked = not drive["meshes"] and len(shafts) > 1
    columns = max(len(drive["meshes"]) + len(between) + linked, 1)
    width = 2 * WALL + COLUMN * columns + 60
    sheet = Sheet(width, max([max(level.values()) + 84, *(top + y + half + 44 for y, half, _ in gears)]))
    left, right = WALL, width - WALL
    sheet.rectangle(left, 24, right - left, sheet.height - 48, colour=HAIRLINE, line=WIDE)
    for shaft in shafts:
        _shaft(sheet, shaft, level[shaft["name"]], left, right)
    for number, mesh in enumerate(drive["meshes"]):
        _mesh(sheet, mesh, left + 20 + COLUMN * (number + 0.36), level)
    if linked:
        _link(sheet, drive, left + 20 + COLUMN / 2, level)
    for number, (name, bearing) in enumerate(between, start=len(drive["meshes"]) + linked):
        x, y = left + 20 + COLUMN * (number + 0.5), level[name]
        _bearing(sheet, bearing, x, y, x, y + 32, COLUMN - 16, "middle", faulty)
    for name, bearings in on_shaft.items():
        for bearing, x, anchor in zip(bearings[:1] + bearings[1:][-1:], (left, right), ("end", "start"), strict=False):
            y = level[name]
            aside = x - 16 if anchor == "end" else x + 16
            _bearing(sheet, bearing, x, y, aside, y + 17, WALL - 26, anchor, faulty)
    _sense_note(sheet, drive, left)
    return sheet


def _sense_note(sheet: Sheet, drive: dict[str, Any], left: float) -> None:
    """The arrows say how a shaft turns against the stated one, not which way that one turns; the sheet says so."""
    if any(shaft["order"] is not None and shaft["name"] != drive["reference_shaft"] for shaft in drive["shafts"]):
        (name,) = wrap(str(drive["reference_shaft"]), WALL, 10, most=1)
        sheet.text(left, sheet.height - 7, f"↻ turns the same way as {name}, ↺ the other way", size=10, colour=MUTED)


def _top_down(drive: dict[str, Any]) -> list[dict[str, Any]]:
    """Shafts in the order meshes are walked from the stated one, those not reached last."""
    order = [drive["reference_shaft"]]
    for name in order:
        for mesh in drive["meshes"]:
            pair = (mesh["pinion_shaft"], mesh["wheel_shaft"])
            order += [other for other in pair if name in pair and other not in order]
    by_name = {shaft["name"]: shaft for shaft in drive["shafts"]}
    order += [name for name in by_name if name not in order]
    return [by_name[name] for name in order if name in by_name]


def _shaft(sheet: Sheet, shaft: dict[str, Any], y: float, left: float, right: float) -> None:
    start = _END if shaft["end"] == "input" else left - 12
    end = sheet.width - _END if shaft["end"] == "output" else right + 12
    sheet.rectangle(start, y - 5, end - start, 10)
    sheet.line(start - 10, y, end + 10, y, dash=_CHAIN, colour=MUTED)
    if shaft["end"] == "input":
        _arrow(sheet, start - 36, y)
    if shaft["end"] == "output":
        _arrow(sheet, end + 12, y)
    outside = left - 16 if shaft["end"] != "output" else right + 16
    anchor = "end" if shaft["end"] != "output" else "start"
    speed = f"{60 * shaft['hz']:.5g} rpm" if shaft["hz"] else "speed unknown"
    name = {"input": f"{shaft['name']} (input)", "output": f"{shaft['name']} (output)"}.get(shaft["end"], shaft["name"])
    if shaft["name"] == shaft["end"]:
        name = shaft["name"]
    lines = wrap(name, WALL - 30, 13, most=1, weight=600)
    sheet.text(outside, y - 28, lines[0], size=13, anchor=anchor, weight=600)
    turning = "" if shaft["order"] is None else (" ↻" if shaft["order"] > 0 else " ↺")
    sheet.text(outside, y - 13, speed + turning, size=12, anchor=anchor, colour=ACCENT if shaft["hz"] else MUTED)


def _arrow(sheet: Sheet, x: float, y: float) -> None:
    """Which way the power goes."""
    sheet.line(x, y, x + 16, y, width=WIDE)
    sheet.path(f"M{x + 24:.1f} {y:.1f}l-9 -4v8z", fill=INK)


def _gears(mesh: dict[str, Any], level: dict[str, float]) -> Iterator[tuple[float, float, int | None]]:
    """Height of the axis, half the height and the teeth of pinion and wheel, which touch between their shafts."""
    apart, share = abs(level[mesh["wheel_shaft"]] - level[mesh["pinion_shaft"]]), _pinion_share(mesh)
    yield level[mesh["pinion_shaft"]], max(apart * share, 12), mesh["pinion_teeth"]
    yield level[mesh["wheel_shaft"]], max(apart * (1 - share), 12), mesh["wheel_teeth"]


def _mesh(sheet: Sheet, mesh: dict[str, Any], x: float, level: dict[str, float]) -> None:
    pinion_y, wheel_y = level[mesh["pinion_shaft"]], level[mesh["wheel_shaft"]]
    for y, half, teeth in _gears(mesh, level):
        dash = "" if teeth else _DASH
        sheet.rectangle(x - GEAR / 2, y - half, GEAR, 2 * half, dash=dash)
        for slant in (-9.0, 0.0, 9.0) if half > 20 else ():  # three short strokes, as drawings mark helical teeth
            sheet.line(x + slant - 4, y + half - 4, x + slant + 4, y + half - 12, colour=HAIRLINE)
        sheet.text(x, y + 4, f"{teeth or '?'}", size=12, anchor="middle", weight=600)
    touch = pinion_y + (wheel_y - pinion_y) * _pinion_share(mesh)
    for number, line in enumerate(wrap(mesh["name"], COLUMN - GEAR - 16, 11)):
        sheet.text(x + GEAR / 2 + 8, touch + 3 + 13 * number, line, size=11)


def _link(sheet: Sheet, drive: dict[str, Any], x: float, level: dict[str, float]) -> None:
    top, bottom = min(level.values()), max(level.values())
    sheet.rectangle(x - 62, top - 26, 124, bottom - top + 52, dash=_DASH)
    ratio = drive["ratings"]["ratio"]
    sheet.text(x, (top + bottom) / 2 - 4, f"ratio {ratio:g}" if ratio else "ratio ?", size=12, anchor="middle", weight=600)
    sheet.text(x, (top + bottom) / 2 + 12, "gears unknown", size=10, anchor="middle", colour=MUTED)


def _pinion_share(mesh: dict[str, Any]) -> float:
    pinion, wheel = mesh["pinion_teeth"], mesh["wheel_teeth"]
    return float(pinion / (pinion + wheel)) if pinion and wheel else 0.3


def _bearing(
    sheet: Sheet,
    bearing: dict[str, Any],
    x: float,
    y: float,
    label_x: float,
    label_y: float,
    room: float,
    anchor: str,
    faulty: Collection[str],
) -> None:
    """A crossed box with its name; the place of a fault in the accent, wider and named as such."""
    marked = bearing["name"] in faulty
    colour = ACCENT if marked else INK
    _crossed_box(sheet, x, y, known=bearing["geometry_known"], colour=colour, width=2.6 if marked else WIDE)
    label = bearing["name"] + ("" if bearing["geometry_known"] else " (geometry?)") + (": fault" if marked else "")
    for number, line in enumerate(wrap(label, room, 11, weight=600 if marked else 400)):
        sheet.text(label_x, label_y + 13 * number, line, size=11, anchor=anchor, colour=colour, weight=600 if marked else 400)


def _crossed_box(sheet: Sheet, x: float, y: float, *, known: bool, colour: str, width: float) -> None:
    wide, high = _BOX
    sheet.rectangle(x - wide / 2, y - high / 2, wide, high, fill=PAPER, dash="" if known else _DASH, colour=colour, line=width)
    for top in (y - high / 2, y + 5):
        sheet.line(x - wide / 2, top, x + wide / 2, top + high / 2 - 5, width=NARROW, colour=colour)
        sheet.line(x - wide / 2, top + high / 2 - 5, x + wide / 2, top, width=NARROW, colour=colour)
    sheet.line(x - wide / 2, y - 5, x + wide / 2, y - 5, colour=colour)
    sheet.line(x - wide / 2, y + 5, x + wide / 2, y + 5, colour=colour)
