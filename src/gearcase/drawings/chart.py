"""The outage as a bar chart: who does what when, in which state the machine is, what cures, and what must be done weeks before.

The critical path is drawn wide, in the accent, with a line through it and a diamond at both ends; other tasks are narrow boxes.
Cures are hatched. The state of the machine is a band above the tasks that names it. Times count from the opening of the window.

`schedule` holds ``window_s`` (length); ``states``: ``state``, ``start_s``, ``end_s``; ``tasks``: ``name``, ``crew`` (names),
``start_s``, ``end_s``, ``cure_s`` (after its end), ``critical``; ``before``: ``what``, ``owner``, ``lead_s`` (how long it takes)
and ``due_s`` (when it must be there, negative before the window opens).
"""

from collections.abc import Callable
from typing import Any

from gearcase.drawings.block import first_up
from gearcase.drawings.drafting import BLOCK_HEIGHT, TitleBlock, draw_title_block, edges_of, hatch, place_label
from gearcase.drawings.face import WIDEST
from gearcase.drawings.svg import ACCENT, HAIRLINE, INK, MUTED, NARROW, PAPER, WIDE, Box, Sheet, wrap

__all__ = ["schedule_sheet", "schedule_svg", "verdict"]

_NAMES, _CREW, _LEFT, _RIGHT = 6.0, 178.0, 282.0, WIDEST - 52.0
_ROW, _NEXT, _BAR, _SIZE = 24.0, 11.0, 13.0, 9.5  # px: a row of two lines, each further line, a bar, letters
_MOST_LINES = 9  # of a name
_HOUR, _DAY = 3600.0, 86400.0
_STEPS = (0.25, 0.5, 1, 2, 3, 4, 6, 8, 12, 24, 48, 96, 7 * 24, 14 * 24, 28 * 24, 56 * 24)  # h between ticks
_STATE_HATCHES: dict[str, tuple[tuple[int, float], ...]] = {
    "locked out": ((1, 6.0), (-1, 6.0)),
    "cold": ((0, 4.0),),
    "running": (),
}
_OTHER_HATCH = ((1, 6.0),)

Place = Callable[[float], float]


def schedule_svg(schedule: dict[str, Any], *, title: str, block: TitleBlock | None) -> str:
    """The chart as an SVG document; `block` is None inside a report, whose pages have their own."""
    return schedule_sheet(schedule, title=title, block=block).svg(title)


def verdict(schedule: dict[str, Any]) -> str:
    """Whether the tasks fit the window, in one sentence.

    Examples
    --------
    >>> verdict({"window_s": 36000.0, "tasks": [{"end_s": 27000.0}]})
    'Fits: the last task ends at 7.5 h of 10 h.'
    """
    tasks, window = schedule["tasks"], schedule["window_s"]
    if not tasks:
        return "No task is planned."
    end = max(task["end_s"] for task in tasks)
    if end <= window:
        return f"Fits: the last task ends at {end / _HOUR:.3g} h of {window / _HOUR:.3g} h."
    return f"Does not fit: the last task ends at {end / _HOUR:.3g} h, {(end - window) / _HOUR:.2g} h after the window closes."


def schedule_sheet(schedule: dict[str, Any], *, title: str, block: TitleBlock | None) -> Sheet:
    """The drawing before it becomes text; its label boxes can be checked."""
    before, tasks = schedule["before"], schedule["tasks"]
    named = [(row["what"], row["owner"]) for row in before] + [(task["name"], ", ".join(task["crew"])) for task in tasks]
    row = _ROW + _NEXT * max([0, *(len(lines) - 2 for names in named for lines in _wrapped(*names))])
    first = 62 + row * len(before) + 34 if before else 34
    sheet = Sheet(WIDEST, first + 72 + row * len(tasks) + 44 + (BLOCK_HEIGHT if block else 0))
    sheet.text(_NAMES, 16, f"{first_up(title)}. {verdict(schedule)}", size=11, weight=600)
    if before:
        _before(sheet, before, 34, row)
    _outage(sheet, schedule, first, row)
    if block:
        draw_title_block(
            sheet, _NAMES, sheet.height - BLOCK_HEIGHT - 4, WIDEST - 2 * _NAMES, block, name=title, scale="not to scale"
        )
    return sheet


def _before(sheet: Sheet, before: list[dict[str, Any]], top: float, high: float) -> None:
    """What has a lead time, each from the day it must be asked for to the day it must be there."""
    begin = min(row["due_s"] - row["lead_s"] for row in before)
    x_of = _scale(begin, 0.0)
    bottom = top + 22 + high * len(before)
    sheet.text(_NAMES, top + 12, "before the outage", size=10, weight=600)
    sheet.text(_CREW, top + 12, "owner", size=_SIZE, colour=MUTED)
    for number, row in enumerate(sorted(before, key=lambda row: row["due_s"] - row["lead_s"])):
        middle = top + 22 + high * (number + 0.5)
        _names(sheet, row["what"], row["owner"], middle, high)
        start, end = x_of(row["due_s"] - row["lead_s"]), x_of(row["due_s"])
        sheet.line(start, middle, end, middle, width=WIDE)
        sheet.line(start, middle - 5, start, middle + 5, width=WIDE)
        _diamond(sheet, end, middle, INK)
    _axis(sheet, x_of, begin, 0.0, bottom, top + 18, unit=(_DAY, "days to the outage"))


def _outage(sheet: Sheet, schedule: dict[str, Any], top: float, high: float) -> None:
    tasks, window = schedule["tasks"], schedule["window_s"]
    begin = min([0.0, *(task["start_s"] for task in tasks)])
    end = max([window, *(task["end_s"] + task["cure_s"] for task in tasks), *(band["end_s"] for band in schedule["states"])])
    x_of = _scale(begin, end)
    rows = top + 62
    bottom = rows + high * len(tasks)
    sheet.text(_NAMES, rows - 8, "during the outage", size=10, weight=600)
    sheet.text(_CREW, rows - 8, "crew", size=_SIZE, colour=MUTED)
    _axis(sheet, x_of, begin, end, bottom, rows, unit=(_HOUR, "hours from the opening of the window"))
    _bands(sheet, schedule["states"], x_of, top, bottom)
    for number, task in enumerate(tasks):
        middle = rows + high * (number + 0.5)
        _names(sheet, task["name"], ", ".join(task["crew"]), middle, high)
        _task(sheet, task, x_of, middle)
    _window(sheet, x_of(0.0), x_of(window), rows, bottom)


def _window(sheet: Sheet, opens: float, closes: float, top: float, bottom: float) -> None:
    """Both edges of the window as heavy lines, named outside of it, so that no name stands on the other however short it is."""
    for x, says, anchor in ((opens - 6, "opens", "end"), (closes + 6, "closes", "start")):
        sheet.text(x, top - 11, says, size=_SIZE, anchor=anchor, weight=600)
    for x in (opens, closes):
        sheet.line(x, top - 20, x, bottom + 4, width=2 * WIDE)


def _bands(sheet: Sheet, states: list[dict[str, Any]], x_of: Place, top: float, bottom: float) -> None:
    """States of the machine, named, with a thin line down where each begins."""
    areas = [Box(x_of(band["start_s"]), top, x_of(band["end_s"]), top + 16) for band in states]
    for band, area in zip(states, areas, strict=True):
        sheet.rectangle(area.left, area.top, area.right - area.left, 16, line=NARROW)
        for slope, every in _STATE_HATCHES.get(band["state"], _OTHER_HATCH):
            hatch(sheet, area, slope=slope, every=every, colour=HAIRLINE)
        sheet.line(area.left, area.bottom, area.left, bottom, colour=MUTED, width=0.5, dash="1 4")
    for band, area in zip(states, areas, strict=True):
        place_label(
            sheet,
            (area.left + area.right) / 2,
            (area.top + area.bottom) / 2,
            [band["state"]],
            clear=12,
            within=Box(_LEFT - 80, top - 1, _RIGHT + 50, top + 42),
            taken=[other for other in areas if other is not area] + edges_of(area),
            size=_SIZE,
            area=Box(area.left, area.top + 2, area.right, area.bottom - 1),
        )


def _task(sheet: Sheet, task: dict[str, Any], x_of: Place, middle: float) -> None:
    start, end = x_of(task["start_s"]), x_of(task["end_s"])
    if task["cure_s"]:
        done = x_of(task["end_s"] + task["cure_s"])
        area = Box(end, middle - _BAR / 2 + 2, done, middle + _BAR / 2 - 2)
        sheet.rectangle(
            area.left, area.top, area.right - area.left, area.bottom - area.top, fill="none", colour=MUTED, line=0.5, dash="3 2"
        )
        hatch(sheet, area, slope=1, every=5.0)
        says = f"cures {task['cure_s'] / _HOUR:.3g} h"
        place_label(
            sheet,
            (end + done) / 2,
            middle,
            [says],
            clear=_BAR,
            within=Box(_LEFT, middle - _ROW / 2, _RIGHT + 10, middle + _ROW / 2),
            taken=[],
            size=8.5,
            colour=MUTED,
            area=area,
        )
    colour = ACCENT if task["critical"] else INK
    sheet.rectangle(
        start, middle - _BAR / 2, end - start, _BAR, fill=PAPER, colour=colour, line=2 * WIDE if task["critical"] else NARROW
    )
    if task["critical"]:
        sheet.line(start, middle, end, middle, colour=ACCENT, width=WIDE)
        for x in (start, end):
            _diamond(sheet, x, middle, ACCENT)


def _wrapped(what: str, who: str) -> tuple[list[str], list[str]]:
    """Both names of a row in lines, none cut."""
    what_room, who_room = _CREW - _NAMES - 8, _LEFT - _CREW - 10
    return wrap(what, what_room, _SIZE, most=_MOST_LINES), wrap(who, who_room, _SIZE, most=_MOST_LINES)


def _names(sheet: Sheet, what: str, who: str, middle: float, high: float) -> None:
    for left, lines, colour in zip((_NAMES, _CREW), _wrapped(what, who), (INK, MUTED), strict=True):
        for number, line in enumerate(lines):
            sheet.text(left, middle + 3.5 + _NEXT * (number - (len(lines) - 1) / 2), line, size=_SIZE, colour=colour)
    sheet.line(_NAMES, middle + high / 2, _RIGHT, middle + high / 2, colour=HAIRLINE, width=0.5)


def _diamond(sheet: Sheet, x: float, y: float, colour: str) -> None:
    sheet.path(f"M{x - 5:.1f} {y:.1f}l5 -5l5 5l-5 5z", colour=colour, fill=colour, width=0.3)


def _scale(begin: float, end: float) -> Place:
    return lambda seconds: _LEFT + (_RIGHT - _LEFT) * (seconds - begin) / ((end - begin) or 1.0)


def _axis(sheet: Sheet, x_of: Place, begin: float, end: float, bottom: float, top: float, *, unit: tuple[float, str]) -> None:
    """Hours or days, about eight of them."""
    each, says = unit
    step = next((hours * _HOUR for hours in _STEPS if (end - begin) / (hours * _HOUR) <= 9), _STEPS[-1] * _HOUR)
    step = max(step, each) if each == _DAY else step
    sheet.line(_LEFT, bottom, _RIGHT, bottom, width=NARROW)
    number = -int(-begin // step) if begin < 0 else 0
    while number * step <= end:
        x = x_of(number * step)
        sheet.line(x, top, x, bottom, colour=HAIRLINE, width=0.5)
        sheet.line(x, bottom, x, bottom + 4)
        sheet.text(x, bottom + 15, f"{number * step / each:g}", size=_SIZE, anchor="middle", colour=MUTED)
        number += 1
    sheet.text(_LEFT - 22, bottom + 15, says, size=_SIZE, anchor="end", colour=MUTED)
