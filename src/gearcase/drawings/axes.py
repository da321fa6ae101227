"""What all plots share: the scale of an axis, round ticks, dates, their figures and units, and the trace of a long record.

Letters are set in `SIZE`: across the text width of an A4 page (`PRINTED_MM`) their capitals are then 2 mm high, above the least of
ISO 3098, 1.8 mm (from memory).

Public: `Axis`, `ticks`, `time_ticks`, `span_words`, `day_words`; `level_axis`, `foot_axis`, `scaled`; `trace`.
"""

import math
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from gearcase.drawings.svg import HAIRLINE, MUTED, WIDE, Sheet

__all__ = [
    "LEFT",
    "PRINTED_MM",
    "RIGHT",
    "SIZE",
    "WIDTH",
    "Axis",
    "day_words",
    "foot_axis",
    "level_axis",
    "scaled",
    "span_words",
    "ticks",
    "time_ticks",
    "trace",
]

WIDTH, LEFT, RIGHT = 700.0, 68.0, 16.0  # px: a plot, room for its level axis, room beside the end of its foot axis
PRINTED_MM = 174.0  # across the page of a report
SIZE = 12.0
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_MINUTE, _HOUR, _DAY = 60.0, 3600.0, 86400.0
_EVEN = (
    1.0,
    5.0,
    15.0,
    30.0,
    *(_MINUTE * n for n in (1, 5, 15, 30)),
    *(_HOUR * n for n in (1, 3, 6, 12)),
    _DAY,
    2 * _DAY,
    7 * _DAY,
)
_MONTHS_APART = (1, 2, 3, 6, 12, 24, 60, 120, 240, 600, 1200)
_MOST_DATES = 7
_RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
_MONDAY = 4 * _DAY  # 5 January 1970


@dataclass(frozen=True)
class Axis:
    """A straight scale: the value `low` stands at `start`, `high` at `end` [px]; of an upright axis `start` is the lower end.

    Examples
    --------
    >>> Axis(0.0, 200.0, 68.0, 684.0)(100.0)
    376.0
    """

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        return self.start + (self.end - self.start) * (value - self.low) / ((self.high - self.low) or 1.0)


def ticks(low: float, high: float) -> list[float]:
    """Four to nine round steps from low to beyond high; low alone where there is no span, or one too small to be divided.

    Examples
    --------
    >>> ticks(0.0, 3.0), ticks(0.0, 5e-324)
    ([0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0], [0.0])
    """
    span = high - low
    if not sys.float_info.min <= span < math.inf:
        return [low]
    size = 10 ** math.floor(math.log10(span / 4))
    step = next(size * factor for factor in (1, 2, 2.5, 5, 10) if span / (size * factor) <= 8)
    first = math.ceil(low / step - 1e-9)
    last = math.ceil(high / step - 1e-9)
    return [float(f"{n * step:.10g}") for n in range(first, last + 1)]


def time_ticks(first_s: float, last_s: float) -> list[tuple[float, str]]:
    """Round times between two, and how each is said: the hour within days, the day within a year, else month or year. UTC. [s]

    Examples
    --------
    >>> [says for _, says in time_ticks(1772323200.0, 1790812800.0)]
    ['Mar 2026', 'Apr 2026', 'May 2026', 'Jun 2026', 'Jul 2026', 'Aug 2026', 'Sep 2026', 'Oct 2026']
    """
    span = last_s - first_s
    for step in _EVEN:
        if span / step <= _MOST_DATES:
            origin = _MONDAY if step == 7 * _DAY else 0.0
            numbers = range(math.ceil((first_s - origin) / step), math.floor((last_s - origin) / step) + 1)
            return [(origin + n * step, _time_words(origin + n * step, step)) for n in numbers]
    first, last = _moment(first_s), _moment(last_s)
    months = (last.year - first.year) * 12 + last.month - first.month
    apart = next((n for n in _MONTHS_APART if months / n <= _MOST_DATES), _MONTHS_APART[-1])
    found = []
    for number in range(first.year * 12 // apart * apart, last.year * 12 + last.month, apart):
        begins = datetime(number // 12, number % 12 + 1, 1, tzinfo=UTC)
        if first_s <= begins.timestamp() <= last_s:
            says = f"{begins.year}" if apart % 12 == 0 else f"{_MONTHS[begins.month - 1]} {begins.year}"
            found.append((begins.timestamp(), says))
    return found


def day_words(time_s: float) -> str:
    """A day. Unix time, UTC. [s]

    Examples
    --------
    >>> day_words(1789000000.0)
    '10 Sep 2026'
    """
    moment = _moment(time_s)
    return f"{moment.day} {_MONTHS[moment.month - 1]} {moment.year}"


def span_words(first_s: float, last_s: float) -> str:
    """From when to when, for the foot of a plot. [s]"""
    first, last = day_words(first_s), day_words(last_s)
    return f"{first}, UTC" if first == last else f"{first} to {last}, UTC"


def level_axis(sheet: Sheet, axis: Axis, left: float, right: float, says: str, *, marks: Sequence[float]) -> None:
    """Hairlines across a plot with their figures at its left, and turned beside them what they are, with the unit after a comma."""
    factor, says = scaled(marks, says)
    for mark in marks:
        sheet.line(left, axis(mark), right, axis(mark), colour=HAIRLINE, width=0.5)
        sheet.text(left - 6, axis(mark) + SIZE / 3, f"{mark / factor:g}", size=SIZE, anchor="end", colour=MUTED)
    sheet.text(left - LEFT + 13, (axis.start + axis.end) / 2, says, size=SIZE, anchor="middle", turned=True)


def foot_axis(sheet: Sheet, axis: Axis, bottom: float, says: str, *, marks: Sequence[tuple[float, str]]) -> None:
    """The base line of a plot with its ticks, their figures and what they are; without words where a plot below says it."""
    for mark, figure in marks:
        sheet.line(axis(mark), bottom, axis(mark), bottom + 4)
        if says:
            sheet.text(axis(mark), bottom + 6 + SIZE, figure, size=SIZE, anchor="middle", colour=MUTED)
    if says:
        sheet.text((axis.start + axis.end) / 2, bottom + 38, says, size=SIZE, anchor="middle")
    sheet.line(axis.start, bottom, axis.end, bottom, width=WIDE)


def scaled(marks: Sequence[float], says: str) -> tuple[float, str]:
    """A power of a thousand taken out of figures too small or too large to be read, and the words that say so, their unit after a
    comma.

    Examples
    --------
    >>> scaled([0.0, 2e-6, 4e-6], "amplitude, m/s")
    (1e-06, 'amplitude, 10⁻⁶ m/s')
    """
    largest = max(map(abs, marks), default=0.0)
    if largest == 0 or 1e-2 <= largest < 1e5:
        return 1.0, says
    power = 3 * math.floor(math.log10(largest) / 3)
    name, _, unit = says.rpartition(", ")
    return 10.0**power, f"{name}, 10{str(power).translate(_RAISED)} {unit}"


def trace(x: NDArray[np.floating], y: NDArray[np.floating], x_of: Callable[[float], float], y_of: Axis, columns: int) -> str:
    """A line as a path: lowest and highest of each pixel column, so that no peak is lost."""
    each = max(x.size // (2 * columns), 1)
    count = x.size // each
    blocks = y[: count * each].reshape(count, each)
    places = x[: count * each].reshape(count, each)[:, 0]
    points = []
    for place, low, high in zip(places, blocks.min(axis=1), blocks.max(axis=1), strict=True):
        across = x_of(float(place))
        points.append(f"{across:.1f} {y_of(float(low)):.1f}")
        if each > 1:
            points.append(f"{across:.1f} {y_of(float(high)):.1f}")
    return "M" + "L".join(points)


def _moment(time_s: float) -> datetime:
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=time_s)


def _time_words(time_s: float, step: float) -> str:
    moment = _moment(time_s)
    if step >= _DAY or (step >= _HOUR and moment.hour == 0):
        return f"{moment.day} {_MONTHS[moment.month - 1]}"
    return f"{moment:%H:%M:%S}" if step < _MINUTE else f"{moment:%H:%M}"
