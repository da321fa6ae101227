"""A face of the housing at scale, with its parts, what must be kept clear, and dimensions to drill or bond by.

Dimensions run from the lower left corner, in millimetres, with ISO 129 dimension lines; the scale is one of ISO 5455 and
stands on the sheet.
"""

from collections.abc import Callable
from typing import Any

from gearcase.drawings.svg import ACCENT, HAIRLINE, INK, MUTED, NARROW, WIDE, Sheet, text_width, wrap

__all__ = ["face_sheet", "face_svg"]

_SCALES = (1, 2, 5, 10, 20, 50, 100)  # ISO 5455 reductions
_PX_PER_MM = 96 / 25.4
WIDEST = 657.0  # px, the room between the margins of an A4 page: printed from a report or alone, the scale holds
_LEFT, _RIGHT, _TOP = 60.0, 40.0, 30.0
_ROW = 26.0

Place = Callable[[float], float]


def face_svg(face: dict[str, Any], parts: list[dict[str, Any]], *, title: str) -> str:
    """A face as an SVG document.

    Parameters
    ----------
    face : dict
        One of ``faces`` of a ``plan/1`` document.
    parts : list of dict
        ``parts`` of the same document; those on other faces are left out.
    title : str
        What the sheet is, for its title line and for readers that cannot see.
    """
    return face_sheet(face, parts, title=title).svg(title)


def face_sheet(face: dict[str, Any], parts: list[dict[str, Any]], *, title: str) -> Sheet:
    """The drawing before it becomes text; its label boxes can be checked."""
    width, height = (1000 * side for side in face["size_m"])
    placed = [part for part in parts if part["face"] == face["name"] and part["at_m"]]
    room = WIDEST - _LEFT - _RIGHT - _ROW * len(placed)
    scale = next((s for s in _SCALES if max(width, height) / s * _PX_PER_MM <= room), _SCALES[-1])
    each = _PX_PER_MM / scale
    below = 66 + _ROW * len(placed)
    said = f"{title} · scale 1:{scale} · dimensions in mm from the lower left corner"
    sheet = Sheet(_LEFT + _ROW * len(placed) + max(width * each + _RIGHT, text_width(said, 11)), _TOP + height * each + below)
    left, bottom = _LEFT + _ROW * len(placed), _TOP + height * each

    def x_of(metres: float) -> float:
        return float(left + 1000 * metres * each)

    def y_of(metres: float) -> float:
        return float(bottom - 1000 * metres * each)

    sheet.rectangle(left, _TOP, width * each, height * each)
    for keep_out in face["keep_outs"]:
        _keep_out(sheet, keep_out, x_of, y_of, each)
    for number, part in enumerate(sorted(placed, key=lambda part: part["at_m"][0])):
        _part(sheet, part, x_of(part["at_m"][0]), y_of(part["at_m"][1]), left + width * each + _RIGHT)
        _along(sheet, left, x_of(part["at_m"][0]), y_of(part["at_m"][1]), bottom + 18 + _ROW * number, part["at_m"][0])
    for number, part in enumerate(sorted(placed, key=lambda part: part["at_m"][1])):
        _upward(sheet, bottom, y_of(part["at_m"][1]), x_of(part["at_m"][0]), left - 20 - _ROW * number, part["at_m"][1])
    _upward(sheet, bottom, _TOP, left, _LEFT - 42, face["size_m"][1])
    base = bottom + 18 + _ROW * len(placed)
    _along(sheet, left, left + width * each, bottom, base, face["size_m"][0])
    sheet.text(left, base + 40, said, size=11, weight=600)
    return sheet


def _keep_out(sheet: Sheet, keep_out: dict[str, Any], x_of: Place, y_of: Place, each: float) -> None:
    wide, high = (1000 * side * each for side in keep_out["size_m"])
    x, y = x_of(keep_out["at_m"][0]), y_of(keep_out["at_m"][1])
    sheet.rectangle(x - wide / 2, y - high / 2, wide, high, colour=MUTED, line=NARROW, dash="4 3")
    sheet.line(x - wide / 2, y + high / 2, x + wide / 2, y - high / 2, colour=HAIRLINE)
    sheet.text(x, y + high / 2 + 11, f"{keep_out['name']} ({keep_out['kind']})", size=9, anchor="middle", colour=MUTED)


def _part(sheet: Sheet, part: dict[str, Any], x: float, y: float, end: float) -> None:
    """A sensor's place: cross and circle, with its name and how it goes on, on the side where there is room."""
    sheet.path(f"M{x - 9:.1f} {y:.1f}a9 9 0 1 0 18 0a9 9 0 1 0 -18 0", colour=ACCENT, width=WIDE)
    sheet.line(x - 14, y, x + 14, y, colour=ACCENT)
    sheet.line(x, y - 14, x, y + 14, colour=ACCENT)
    hole = part["hole"]
    how = f"{hole['thread']}, drill {hole['drill']}" if part["mount"] == "stud" and hole else part["mount"]
    label = [*wrap(part["name"], 170, 11, most=1), how]
    beside = max(text_width(line, 11) for line in label) + 18
    aside, anchor = (x + 18, "start") if x + beside <= end else (x - 18, "end")
    for row, line in enumerate(label):
        sheet.text(aside, y - 6 + 13 * row, line, size=11, anchor=anchor, colour=ACCENT, weight=600 if row == 0 else 400)


def _along(sheet: Sheet, start: float, end: float, part_y: float, y: float, metres: float) -> None:
    sheet.line(end, part_y, end, y + 4, colour=HAIRLINE)
    sheet.line(start, y, end, y)
    for x, way in ((start, 1), (end, -1)):
        sheet.path(f"M{x:.1f} {y:.1f}l{7 * way} 2.2v-4.4z", fill=INK)
    sheet.text((start + end) / 2, y - 4, f"{1000 * metres:.4g}", size=10, anchor="middle")


def _upward(sheet: Sheet, start: float, end: float, part_x: float, x: float, metres: float) -> None:
    sheet.line(part_x, end, x - 4, end, colour=HAIRLINE)
    sheet.line(x, start, x, end)
    for y, way in ((start, -1), (end, 1)):
        sheet.path(f"M{x:.1f} {y:.1f}l2.2 {7 * way}h-4.4z", fill=INK)
    sheet.text(x - 4, (start + end) / 2, f"{1000 * metres:.4g}", size=10, anchor="middle", turned=True)
