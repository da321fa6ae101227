"""Readings over time against their limits: what was changed when, how they grow, and what a forecast makes of it.

Limits are lines of their state with its word: yellow dashed, danger solid, low dash-dotted. Readings before the last epoch or step
are muted: they are not compared with those after it. A forecast is drawn where it speaks: at the limit, from the earliest to the
latest time; "not before" is open to the right.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gearcase.drawings.axes import LEFT, SIZE, WIDTH, Axis, day_words, foot_axis, level_axis, span_words, ticks, time_ticks
from gearcase.drawings.drafting import spread
from gearcase.drawings.flags import Flag, draw_flags, flag_room, placed_flags
from gearcase.drawings.svg import ABNORMAL, ACCENT, DANGER, INK, MUTED, WIDE, Sheet, text_width, wrap
from gearcase.errors import OutOfRange

__all__ = ["Ahead", "Growth", "trend_sheet"]

_LIMITS = {"danger": (DANGER, ""), "yellow": (ABNORMAL, "7 4"), "low": (ABNORMAL, "7 3 1 3")}
_FARTHEST = 1.0  # times the time watched: as far as the plot looks ahead, so that the readings keep their room
_BARE = 0.08  # of it, ahead of the last reading, where nothing is forecast
_HIGH, _BOTTOM = 290.0, 46.0
_HALF_DAY = 43200.0
_END = WIDTH - 112.0  # px: of the plot; beyond it stand the limits' words
_NO_ZERO = ("°C", "dB")  # of such scales 0 is a place like any other, so the axis need not begin there


@dataclass(frozen=True)
class Growth:
    """How the level grows: its line and 95 % interval at a few times, each of shape (n,). [s], [unit of the readings]"""

    time_s: NDArray[np.floating]
    level: NDArray[np.floating]
    low: NDArray[np.floating]
    high: NDArray[np.floating]


@dataclass(frozen=True)
class Ahead:
    """What a forecast says (`judge.forecast`).

    Attributes
    ----------
    says : str
        In words, said above the plot.
    limit : float
        Which is asked about. [unit of the readings]
    inspect_by_s : float
        [s]
    look : str
        What that day is for, in words before it.
    earliest_s, middle_s, latest_s : float or None
        When the limit is reached; with "not before" only the first. [s]
    """

    says: str
    limit: float
    inspect_by_s: float
    look: str
    earliest_s: float | None = None
    middle_s: float | None = None
    latest_s: float | None = None


def trend_sheet(
    time_s: ArrayLike,
    values: ArrayLike,
    *,
    y_label: str,
    limits: Mapping[str, float],
    epochs: Sequence[tuple[float, str]] = (),
    steps: Sequence[float] = (),
    growth: Growth | None = None,
    ahead: Ahead | None = None,
) -> Sheet:
    """Readings in matched state with what is known of their growth.

    Parameters
    ----------
    time_s, values : array_like, shape (n,)
        Unix time, UTC [s], and readings, NaN where there is none. [unit of the readings]
    y_label : str
        Quantity and unit, with a comma between.
    limits : mapping
        ``yellow``, ``danger`` and ``low``, those there are. [unit of the readings]
    epochs : sequence of (float, str)
        When [s], and what was changed.
    steps : sequence of float
        When something stepped that nobody has explained. [s]
    growth, ahead : Growth and Ahead, optional

    Raises
    ------
    OutOfRange
        No reading that is a number, or a limit of another name.
    """
    time, level = np.asarray(time_s, dtype=np.float64), np.asarray(values, dtype=np.float64)
    there = np.isfinite(level)
    time, level = time[there], level[there]
    if not time.size:
        raise OutOfRange("values", 0, "one reading or more")
    if strange := [name for name in limits if name not in _LIMITS]:
        raise OutOfRange("limits", strange[0], f"one of {', '.join(_LIMITS)}")
    first, last = float(time.min()), float(time.max())
    shown_s = _end(first, last, ahead)
    across = Axis(first - 0.02 * (shown_s - first), shown_s, LEFT, _END)
    placed = placed_flags([*_flags(epochs, steps), *_inspect(ahead, across)], across, right=_END)
    words = wrap(ahead.says[0].upper() + ahead.says[1:], WIDTH - 16, SIZE, most=3) if ahead else []
    top = 16 * len(words) + flag_room(placed)
    sheet = Sheet(WIDTH, top + _HIGH + _BOTTOM)
    for number, line in enumerate(words):
        sheet.text(8, 16 + 16 * number, line, size=SIZE)
    up, marks = _upright(level, limits, top, top + _HIGH, from_zero=not y_label.endswith(_NO_ZERO))
    level_axis(sheet, up, LEFT, _END, y_label, marks=marks)
    foot_axis(
        sheet,
        across,
        up.start,
        span_words(first, shown_s),
        marks=[(at, says) for at, says in time_ticks(across.low, shown_s) if LEFT + 8 <= across(at) <= _END],
    )
    draw_flags(sheet, placed, top, up.start)
    _draw_limits(sheet, limits, up)
    if growth is not None:
        _draw_growth(sheet, growth, across, up)
    since = max((at for at in (*(at for at, _ in epochs), *steps) if at <= last), default=first)
    for these, colour in ((time < since, MUTED), (time >= since, INK)):
        for x, y in zip(time[these], level[these], strict=True):
            sheet.circle(across(x), up(y), 1.8, colour=colour, width=0.9)
    if ahead is not None and ahead.earliest_s is not None:
        _draw_ahead(sheet, ahead, ahead.earliest_s, across, up, [one.x for one in placed])
    return sheet


def _end(first: float, last: float, ahead: Ahead | None) -> float:
    """Until when the plot looks ahead. [s]"""
    watched = (last - first) or _HALF_DAY
    if ahead is None:
        return last + _BARE * watched
    wanted = max(at for at in (ahead.inspect_by_s, ahead.earliest_s, ahead.latest_s) if at is not None)
    return last + min(max(1.15 * (wanted - last), _BARE * watched), _FARTHEST * watched)


def _upright(
    level: NDArray[np.float64], limits: Mapping[str, float], top: float, bottom: float, *, from_zero: bool
) -> tuple[Axis, list[float]]:
    """A scale that holds the readings and the limits."""
    held = [float(level.min()), float(level.max()), *limits.values(), *([0.0] if from_zero else [])]
    lowest, highest = min(held), max(held)
    if lowest == highest:
        lowest, highest = lowest - 1, highest + 1
    lowest -= 0.04 * (highest - lowest) * (lowest != 0)
    marks = ticks(lowest, highest + 0.08 * (highest - lowest))  # above the highest limit room for words
    if len(marks) > 1 and lowest < marks[0]:
        marks = [2 * marks[0] - marks[1], *marks]
    return Axis(min(marks[0], lowest), max(marks[-1], highest), bottom, top), marks


def _flags(epochs: Sequence[tuple[float, str]], steps: Sequence[float]) -> list[Flag]:
    return [*(Flag(at, says) for at, says in epochs), *(Flag(at, "step: was something changed?") for at in steps)]


def _inspect(ahead: Ahead | None, across: Axis) -> list[Flag]:
    """The day to look; one beyond the plot is named at its edge with an arrow."""
    if ahead is None:
        return []
    says = f"{ahead.look} {day_words(ahead.inspect_by_s)}"
    beyond = ahead.inspect_by_s > across.high
    return [Flag(min(ahead.inspect_by_s, across.high), f"{says} →" if beyond else says, found=True)]


def _draw_limits(sheet: Sheet, limits: Mapping[str, float], up: Axis) -> None:
    """Each limit as a line of its state, with its word where it leaves the plot."""
    rows = sorted(limits.items(), key=lambda limit: -limit[1])
    words = spread([up(at) for _, at in rows], least=SIZE + 2, low=up.end, high=up.start)
    for (name, at), beside in zip(rows, words, strict=True):
        colour, dash = _LIMITS[name]
        sheet.line(LEFT, up(at), _END, up(at), colour=colour, width=2 * WIDE if name == "danger" else WIDE, dash=dash)
        sheet.path(f"M{_END:.1f} {up(at):.1f}L{_END + 8:.1f} {beside:.1f}", colour=MUTED)
        (says,) = wrap(f"{name} {at:.3g}", WIDTH - _END - 14, SIZE, most=1, weight=600)
        sheet.text(_END + 12, beside + SIZE / 3, says, size=SIZE, weight=600)


def _draw_growth(sheet: Sheet, growth: Growth, across: Axis, up: Axis) -> None:
    def points(level: NDArray[np.floating]) -> list[str]:
        held = np.clip(level, up.low, up.high)
        return [f"{across(x):.1f} {up(y):.1f}" for x, y in zip(growth.time_s, held, strict=True)]

    band = "L".join([*points(growth.high), *reversed(points(growth.low))])
    sheet.parts.append(f'<path d="M{band}z" fill="{ACCENT}" fill-opacity="0.14"/>')
    sheet.path("M" + "L".join(points(growth.level)), colour=ACCENT, width=WIDE)


def _draw_ahead(sheet: Sheet, ahead: Ahead, earliest: float, across: Axis, up: Axis, strokes: list[float]) -> None:
    """The interval as a bar on its limit with a diamond at the middle; without a latest time an arrow from the earliest on."""
    y = up(ahead.limit)
    left = min(across(earliest), across.end - 12)
    right = across.end if ahead.latest_s is None else min(across(ahead.latest_s), across.end)
    sheet.line(left, y, right, y, colour=ACCENT, width=5.0)
    sheet.line(left, y - 8, left, y + 8, colour=ACCENT, width=2.0)
    if ahead.latest_s is None:
        sheet.path(f"M{right - 9:.1f} {y - 6:.1f}l9 6l-9 6", colour=ACCENT, width=2.0)
        says = f"not before {day_words(earliest)}"
    else:
        sheet.line(right, y - 8, right, y + 8, colour=ACCENT, width=2.0)
        says = f"reached {day_words(earliest)} to {day_words(ahead.latest_s)} (90 %)"
    if ahead.middle_s is not None and across(ahead.middle_s) <= across.end:
        middle = across(ahead.middle_s)
        sheet.path(f"M{middle - 6:.1f} {y:.1f}l6 -6l6 6l-6 6z", colour=ACCENT, fill=ACCENT)
    wide = text_width(says, SIZE, 600)
    tries = [(x, base) for base in (y - 11, y + SIZE + 9) for x in (left - 8 - wide, left, *(at - 8 - wide for at in strokes))]
    for x, base in tries:
        inside = x >= LEFT and x + wide <= _END and up.end <= base - SIZE and base <= up.start
        if inside and not any(x - 3 < at < x + wide + 3 for at in strokes):
            sheet.text(x, base, says, size=SIZE, colour=ACCENT, weight=600)
            break
