"""Spectra as plots: a thin ink line, units on the axes, and every expected line flagged with the name of the part that makes it."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gearcase.drawings.svg import ACCENT, HAIRLINE, INK, MUTED, Sheet, text_width

__all__ = ["Flag", "spectrum_sheet", "spectrum_svg", "ticks"]

WIDTH, HEIGHT, LEFT, RIGHT, BOTTOM = 760.0, 370.0, 58.0, 14.0, 46.0
FLAG_ROWS = 6
_SIZE, _ROW, _AIR = 10.5, 15.0, 4.0

Place = Callable[[float], float]


@dataclass(frozen=True)
class Flag:
    """A line to be named at `hz`; `found` marks it as evidence, in the accent."""

    hz: float
    name: str
    found: bool = False


def spectrum_svg(
    hz: NDArray[np.floating],
    level: NDArray[np.floating],
    flags: Sequence[Flag],
    *,
    title: str,
    y_label: str,
    highest_hz: float,
) -> str:
    """A spectrum as an SVG document.

    Parameters
    ----------
    hz, level : ndarray, shape (bins,)
        Evenly spaced frequencies [Hz] and what to plot over them.
    flags : sequence of Flag
        Those beyond the axis are left out; where there is no room for a name, evidence comes first.
    title : str
        For readers that cannot see.
    y_label : str
        With its unit.
    highest_hz : float
        End of the axis. [Hz]
    """
    return spectrum_sheet(hz, level, flags, y_label=y_label, highest_hz=highest_hz).svg(title)


def spectrum_sheet(
    hz: NDArray[np.floating], level: NDArray[np.floating], flags: Sequence[Flag], *, y_label: str, highest_hz: float
) -> Sheet:
    """The plot before it becomes text; its label boxes can be checked."""
    sheet = Sheet(WIDTH, HEIGHT)
    inside = hz <= highest_hz
    hz, level = hz[inside], level[inside]
    wide = WIDTH - LEFT - RIGHT

    def x_of(value: float) -> float:
        return LEFT + wide * value / highest_hz

    placed = _placed([flag for flag in flags if 0 < flag.hz <= highest_hz], x_of)
    top = 14 + _ROW * (1 + max((one.row for one in placed if one.row is not None), default=0))
    high = HEIGHT - top - BOTTOM
    low = min(0.0, float(np.floor(level.min()))) if level.size else 0.0
    peak = float(level.max()) if level.size else 1.0
    steps = ticks(low, peak)
    ceiling = max(steps[-1], peak) if steps else peak
    span = (ceiling - low) or 1.0

    def y_of(value: float) -> float:
        return top + high * (1 - (value - low) / span)

    for step in steps:
        sheet.line(LEFT, y_of(step), WIDTH - RIGHT, y_of(step), colour=HAIRLINE, width=0.5)
        sheet.text(LEFT - 6, y_of(step) + 3.5, f"{step:g}", size=_SIZE, anchor="end", colour=MUTED)
    for tick in ticks(0.0, highest_hz):
        if tick <= highest_hz * 1.0001:
            sheet.line(x_of(tick), top + high, x_of(tick), top + high + 4)
            sheet.text(x_of(tick), top + high + 16, f"{tick:g}", size=_SIZE, anchor="middle", colour=MUTED)
    sheet.text(LEFT + wide / 2, HEIGHT - 8, "frequency, Hz", size=11, anchor="middle")
    sheet.text(15, top + high / 2, y_label, size=11, anchor="middle", turned=True)
    for one in placed:
        _draw_flag(sheet, one, top, top + high)
    if level.size:
        sheet.path(_trace(hz, level, x_of, y_of, int(wide)), colour=INK, width=0.7)
    sheet.line(LEFT, top + high, WIDTH - RIGHT, top + high, width=1.4)
    return sheet


def _trace(hz: NDArray[np.floating], level: NDArray[np.floating], x_of: Place, y_of: Place, columns: int) -> str:
    """The line as a path: lowest and highest of each pixel column, so that no peak is lost."""
    each = max(hz.size // (2 * columns), 1)
    count = hz.size // each
    blocks = level[: count * each].reshape(count, each)
    places = hz[: count * each].reshape(count, each)[:, 0]
    points = []
    for place, low, high in zip(places, blocks.min(axis=1), blocks.max(axis=1), strict=True):
        x = x_of(float(place))
        points.append(f"{x:.1f} {y_of(float(low)):.1f}")
        if each > 1:
            points.append(f"{x:.1f} {y_of(float(high)):.1f}")
    return "M" + "L".join(points)


@dataclass(frozen=True)
class _Placed:
    """A flag with the row its name stands in, 0 being next to the plot; None where it found no room."""

    flag: Flag
    x: float
    left: float
    right: float
    row: int | None

    def collides(self, other: "_Placed") -> bool:
        """Whether the names share room, or the stroke up to one name runs through the other."""
        if self.row is None or other.row is None:
            return False
        apart = self.right + _AIR < other.left or other.right + _AIR < self.left
        return (
            (self.row == other.row and not apart)
            or (self.row > other.row and other.left - 1 < self.x < other.right + 1)
            or (other.row > self.row and self.left - 1 < other.x < self.right + 1)
        )


def _placed(flags: list[Flag], x_of: Place) -> list[_Placed]:
    """Each name in the lowest row where it has room, evidence first, from the right so that names step up to the left."""
    done: list[_Placed] = []
    for flag in sorted(flags, key=lambda flag: (not flag.found, -flag.hz)):
        x, wide = x_of(flag.hz), text_width(flag.name, _SIZE, 600 if flag.found else 400)
        left = x + 4 if x + 4 + wide <= WIDTH - RIGHT else x - 4 - wide
        tries = (_Placed(flag, x, left, left + wide, row) for row in range(FLAG_ROWS))
        free = (one for one in tries if left >= 0 and not any(one.collides(other) for other in done))
        done.append(next(free, _Placed(flag, x, left, left + wide, None)))
    return done


def _draw_flag(sheet: Sheet, one: _Placed, top: float, bottom: float) -> None:
    """A stroke from the axis to the name; evidence in the accent with a mark where the stroke enters the plot."""
    found = one.flag.found
    colour = ACCENT if found else MUTED
    base = top - 6 - _ROW * (one.row or 0)
    foot = top if one.row is None else base - _SIZE * 0.8
    sheet.line(one.x, foot, one.x, bottom, colour=colour, width=1.0 if found else 0.6, dash="" if found else "2 3")
    if found:
        sheet.path(f"M{one.x - 4:.1f} {top:.1f}h8l-4 7z", colour=colour, fill=colour)
    if one.row is not None:
        anchor, x = ("start", one.left) if one.left > one.x else ("end", one.right)
        sheet.text(x, base, one.flag.name, size=_SIZE, anchor=anchor, colour=colour, weight=600 if found else 400)


def ticks(low: float, high: float) -> list[float]:
    """Four to nine round steps from low to beyond high."""
    span = high - low
    if not span > 0 or not math.isfinite(span):
        return [low]
    size = 10 ** math.floor(math.log10(span / 4))
    step = next(size * factor for factor in (1, 2, 2.5, 5, 10) if span / (size * factor) <= 8)
    first = math.ceil(low / step - 1e-9)
    last = math.ceil(high / step - 1e-9)
    return [float(f"{n * step:.10g}") for n in range(first, last + 1)]
