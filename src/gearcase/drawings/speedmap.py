"""At which speed does which line stand where: frequency over speed, with what does not follow the speed and where lines cross.

Lines that follow the speed are rays from standstill; what the mains or a converter's clock fixes is level. Because a mesh turns
hundreds of times while an output shaft turns once, lines of like size share a panel of their own scale.
"""

import math
from dataclasses import dataclass
from typing import Any

from gearcase.drawings.axes import LEFT, Axis, foot_axis, level_axis, ticks
from gearcase.drawings.svg import ACCENT, HAIRLINE, INK, MUTED, Sheet, text_width, wrap
from gearcase.drive.crossings import MAIN_KINDS, shown_speeds

__all__ = ["main_rows", "speed_map_sheet"]

_WIDTH, _NAMES = 806.0, 300.0  # px: sheet, room for names
_PANEL, _PANEL_OF_MANY, _BETWEEN, _TOP, _BOTTOM = 250.0, 180.0, 30.0, 22.0, 48.0
_SIZE, _ROW = 10.5, 14.0
_IN_ONE_PANEL = 9.0  # highest over lowest line of a panel: below it names and rays can be told apart
_MOST_PANELS = 4
_FAR_ABOVE = 1.6


@dataclass(frozen=True)
class _Panel:
    """Lines that share a scale up to `top_hz`, and their crossings."""

    lines: tuple[dict[str, Any], ...]
    top_hz: float
    crossings: tuple[dict[str, Any], ...]


def main_rows(survey: dict[str, Any]) -> list[dict[str, Any]]:
    """The survey's main lines: fundamentals of shafts, meshes, bearings and what passes; of coincident ones the first.

    A line's own part comes first in its name; those it coincides with follow in ``alike``.
    """
    rows: list[dict[str, Any]] = []
    for line in survey["lines"]:
        if line["kind"] not in MAIN_KINDS or line["harmonic"] != 1 or (line["kind"] == "converter" and line["order"]):
            continue
        twin = next((row for row in rows if _together(row, line)), None)
        if twin is None:
            rows.append({**line, "alike": []})
        else:
            twin["alike"].append(line["name"])
    return rows


def speed_map_sheet(survey: dict[str, Any]) -> Sheet:
    """The diagram of a ``survey/1`` document; its label boxes can be checked."""
    drive = survey["drive"]
    service = (drive["speed_range_hz"][0], drive["speed_range_hz"][1])
    shown, above = _within(main_rows(survey), shown_speeds(service)[1])
    panels = _panels(shown, shown_speeds(service)[1], survey.get("crossings", []))
    least = _PANEL if len(panels) < 3 else _PANEL_OF_MANY
    heights = [max(least, _ROW * (len(panel.lines) + 1) + 10) for panel in panels]
    notes = wrap(f"Above what is shown: {'; '.join(above)}.", _WIDTH - 40, _SIZE, most=3) if above else []
    sheet = Sheet(_WIDTH, _TOP + sum(heights) + _BETWEEN * max(len(panels) - 1, 0) + _BOTTOM + _ROW * len(notes))
    top = _TOP
    (name,) = wrap(str(drive["reference_shaft"]), 240, 11, most=1) or [""]
    for number, (panel, high) in enumerate(zip(panels, heights, strict=True)):
        foot = f"speed of {name}, rpm" if number == len(panels) - 1 else ""
        _draw(sheet, panel, service, top, high, first=number == 0, foot=foot)
        top += high + _BETWEEN
    for number, note in enumerate(notes):
        sheet.text(20, sheet.height - 8 - _ROW * (len(notes) - 1 - number), note, size=_SIZE, colour=MUTED)
    return sheet


def _together(one: dict[str, Any], other: dict[str, Any]) -> bool:
    pairs = ((one["order"], other["order"]), (_fixed(one), _fixed(other)))
    return all(math.isclose(mine, theirs, rel_tol=1e-9) for mine, theirs in pairs)


def _fixed(line: dict[str, Any]) -> float:
    """What does not follow the speed; surveys kept from before motors were described say nothing of it. [Hz]"""
    return float(line.get("fixed_hz", 0.0))


def _hz(line: dict[str, Any], speed: float) -> float:
    return float(abs(_fixed(line) + line["order"] * speed))


def _spread(line: dict[str, Any], service: tuple[float, float]) -> float:
    """Half-width of what is not known of a line, relative to it: the survey widens its range by it."""
    highest = max(_hz(line, speed) for speed in service)
    return float(line["hz_range"][1] / highest - 1) if highest else 0.0


def _within(rows: list[dict[str, Any]], fastest: float) -> tuple[list[dict[str, Any]], list[str]]:
    """Lines to draw, and in words the fixed ones so far above every ray that they would only press these together."""
    highest = max((_hz(row, fastest) for row in rows if row["order"]), default=math.inf)
    above = [row for row in rows if not row["order"] and _fixed(row) > _FAR_ABOVE * highest]
    return [row for row in rows if row not in above], [f"{_said(row)} at {row['fixed_hz']:g} Hz" for row in above]


def _panels(rows: list[dict[str, Any]], fastest: float, crossings: list[dict[str, Any]]) -> list[_Panel]:
    """Lines of like size together, the highest first; what is left goes into the last panel.

    A crossing is shown in the panel of the higher line, so that the lower one is drawn there too.
    """
    left = sorted((row for row in rows if _hz(row, fastest) > 0), key=lambda row: -_hz(row, fastest))
    by_name = {name: row for row in left for name in (row["name"], *row["alike"])}
    open_ = [each for each in crossings if each["first"] in by_name and each["second"] in by_name]
    panels: list[_Panel] = []
    while left:
        highest = _hz(left[0], fastest)
        own = [row for row in left if _hz(row, fastest) * _IN_ONE_PANEL >= highest or len(panels) == _MOST_PANELS - 1]
        left = [row for row in left if row not in own]
        if len(left) == 1:  # no panel for one line alone
            own, left = [*own, *left], []
        pairs = [(each, by_name[each["first"]], by_name[each["second"]]) for each in open_]
        here = [(each, one, two) for each, one, two in pairs if one in own or two in own]
        open_ = [each for each in open_ if not any(each is other for other, _, _ in here)]
        guests = [row for row in left if any(row in (one, two) for _, one, two in here)]
        panels.append(_Panel((*own, *guests), 1.06 * highest, tuple(each for each, _, _ in here)))
    return panels


def _draw(
    sheet: Sheet,
    panel: _Panel,
    service: tuple[float, float],
    top: float,
    high: float,
    *,
    first: bool,
    foot: str,
) -> None:
    fastest = shown_speeds(service)[1]
    right = _WIDTH - _NAMES
    bottom = top + high
    x_of, y_of = Axis(0.0, fastest, LEFT, right), Axis(0.0, panel.top_hz, bottom, top)
    shaded = max(x_of(service[1]) - x_of(service[0]), 2.0)
    sheet.shade(x_of(service[0]), top, shaded, high, colour=ACCENT, opacity=0.1)
    levels = [tick for tick in ticks(0.0, panel.top_hz) if tick <= panel.top_hz]
    level_axis(sheet, y_of, LEFT, right, "frequency, Hz", marks=levels)
    speeds = [tick for tick in ticks(0.0, 60 * fastest) if tick <= 60 * fastest]
    foot_axis(sheet, x_of, bottom, foot, marks=[(tick / 60, f"{tick:g}") for tick in speeds])
    if first:
        said = "in service" if service[0] != service[1] else f"{60 * service[0]:.4g} rpm"
        wide = text_width(said, _SIZE)
        middle = min(max(x_of((service[0] + service[1]) / 2), LEFT + wide / 2), right - wide / 2)
        sheet.text(middle, top - 6, said, size=_SIZE, anchor="middle", colour=ACCENT)
    for line in panel.lines:
        _line(sheet, line, service, fastest, x_of, y_of)
    for crossing in panel.crossings:
        sheet.circle(x_of(crossing["speed_hz"]), y_of(crossing["hz"]), 4.5, colour=ACCENT, width=1.4)
    _names(sheet, panel, fastest, right, y_of, top, bottom)
    sheet.line(LEFT, top, LEFT, bottom)


def _line(sheet: Sheet, line: dict[str, Any], service: tuple[float, float], fastest: float, x_of: Any, y_of: Any) -> None:
    """A ray or a level line, with the band of what is not known about it."""
    speeds = (0.0, fastest)
    spread = min(_spread(line, service), 1.0)
    if spread > 1e-6:
        upper = [f"{x_of(speed):.1f} {y_of(_hz(line, speed) * (1 + spread)):.1f}" for speed in speeds]
        lower = [f"{x_of(speed):.1f} {y_of(_hz(line, speed) * (1 - spread)):.1f}" for speed in reversed(speeds)]
        sheet.parts.append(f'<path d="M{"L".join([*upper, *lower])}z" fill="{MUTED}" fill-opacity="0.2"/>')
    points = [f"{x_of(speed):.1f} {y_of(_hz(line, speed)):.1f}" for speed in speeds]
    fixed = line["order"] == 0
    sheet.path("M" + "L".join(points), colour=ACCENT if fixed else INK, width=0.9, dash="7 3" if fixed else "")


def _said(line: dict[str, Any]) -> str:
    """A line's name, short, and how many more stand with it at every speed."""
    name = str(line["name"]).replace(" 1x", "").replace(" rolling element", " element")
    return f"{name} (+{len(line['alike'])})" if line["alike"] else name


def _names(sheet: Sheet, panel: _Panel, fastest: float, right: float, y_of: Any, top: float, bottom: float) -> None:
    """Names at the right edge, pushed apart from the top down and back up from the bottom, each led to its line."""
    rows = sorted(panel.lines, key=lambda line: -_hz(line, fastest))
    wanted = [y_of(_hz(line, fastest)) for line in rows]
    places: list[float] = []
    for y in wanted:
        places.append(max(y, places[-1] + _ROW if places else top + 4))
    floor = bottom - 6  # the whole letter
    for number in reversed(range(len(places))):
        places[number] = min(places[number], floor)
        floor = places[number] - _ROW
    for line, y, place in zip(rows, wanted, places, strict=True):
        fixed = line["order"] == 0
        (words,) = wrap(_said(line), _NAMES - 36, _SIZE, most=1) or [""]
        sheet.path(f"M{right:.1f} {y:.1f}L{right + 20:.1f} {place:.1f}h5", colour=HAIRLINE, width=0.7)
        sheet.text(right + 28, place + 3.5, words, size=_SIZE, colour=ACCENT if fixed else INK)
