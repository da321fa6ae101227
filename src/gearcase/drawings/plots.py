"""Spectra as plots: a thin ink line, units on the axes, and every expected line flagged with the name of the part that makes it."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gearcase.drawings.svg import ACCENT, HAIRLINE, INK, MUTED, Box, Sheet, text_width

__all__ = ["Flag", "spectrum_sheet", "spectrum_svg"]

WIDTH, HEIGHT, LEFT, RIGHT, BOTTOM = 960.0, 380.0, 64.0, 16.0, 44.0
FLAG_ROWS = 5
_SIZE = 10.0

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
    top = 12 + FLAG_ROWS * (_SIZE + 4)
    wide, high = WIDTH - LEFT - RIGHT, HEIGHT - top - BOTTOM
    low = min(0.0, float(np.floor(level.min()))) if level.size else 0.0
    peak = float(level.max()) if level.size else 1.0
    steps = _ticks(low, peak)
    ceiling = max(steps[-1], peak) if steps else peak
    span = (ceiling - low) or 1.0

    def x_of(value: float) -> float:
        return LEFT + wide * value / highest_hz

    def y_of(value: float) -> float:
        return top + high * (1 - (value - low) / span)

    for step in steps:
        sheet.line(LEFT, y_of(step), WIDTH - RIGHT, y_of(step), colour=HAIRLINE)
        sheet.text(LEFT - 6, y_of(step) + 3.5, f"{step:g}", size=_SIZE, anchor="end", colour=MUTED)
    for tick in _ticks(0.0, highest_hz):
        if tick <= highest_hz * 1.0001:
            sheet.line(x_of(tick), top + high, x_of(tick), top + high + 4)
            sheet.text(x_of(tick), top + high + 16, f"{tick:g}", size=_SIZE, anchor="middle", colour=MUTED)
    sheet.text(LEFT + wide / 2, HEIGHT - 8, "frequency, Hz", size=11, anchor="middle")
    sheet.text(14, top + high / 2, y_label, size=11, anchor="middle", turned=True)
    _flags(sheet, [flag for flag in flags if 0 < flag.hz <= highest_hz], x_of, top, top + high)
    if level.size:
        sheet.path(_trace(hz, level, x_of, y_of, int(wide)), colour=INK, width=0.8)
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


def _flags(sheet: Sheet, flags: list[Flag], x_of: Place, top: float, bottom: float) -> None:
    """Names in rows above the plot, each on the first row where it has room; what finds no row keeps its stroke."""
    for flag in sorted(flags, key=lambda flag: (not flag.found, flag.hz)):
        x, wide = x_of(flag.hz), text_width(flag.name, _SIZE)
        left = min(x + 3, WIDTH - RIGHT - wide)
        taken = [box for box in sheet.labels if box.bottom < top]
        row = next((n for n in range(FLAG_ROWS) if _is_free(n, left, wide, taken, top)), None)
        colour = ACCENT if flag.found else MUTED
        foot = top if row is None else top - 6 - row * (_SIZE + 4) - _SIZE
        sheet.line(x, foot, x, bottom, colour=colour, width=1.0 if flag.found else 0.5, dash="" if flag.found else "2 3")
        if row is not None:
            sheet.text(left, top - 6 - row * (_SIZE + 4), flag.name, size=_SIZE, colour=colour, weight=600 if flag.found else 400)


def _is_free(row: int, left: float, wide: float, taken: list[Box], top: float) -> bool:
    base = top - 6 - row * (_SIZE + 4)
    return all(box.right + 4 < left or box.left > left + wide + 4 or abs(box.bottom - 0.2 * _SIZE - base) > 2 for box in taken)


def _ticks(low: float, high: float) -> list[float]:
    """Four to nine round steps from low to beyond high."""
    span = high - low
    if not span > 0 or not math.isfinite(span):
        return [low]
    size = 10 ** math.floor(math.log10(span / 4))
    step = next(size * factor for factor in (1, 2, 2.5, 5, 10) if span / (size * factor) <= 8)
    first = math.ceil(low / step - 1e-9)
    last = math.ceil(high / step - 1e-9)
    return [float(f"{n * step:.10g}") for n in range(first, last + 1)]
