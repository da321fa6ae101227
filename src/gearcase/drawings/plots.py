"""Spectra and waveforms as plots: a thin ink line, units on the axes, every expected line flagged with the name of its part."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from gearcase.drawings.axes import LEFT, RIGHT, SIZE, WIDTH, Axis, foot_axis, level_axis, ticks, trace
from gearcase.drawings.flags import Flag, draw_flags, flag_room, placed_flags
from gearcase.drawings.svg import ACCENT, MUTED, Sheet, text_width

__all__ = ["spectrum_sheet", "waveform_sheet"]

HIGH, BOTTOM = 280.0, 46.0  # px: the plot alone, and its foot


def spectrum_sheet(
    x: NDArray[np.floating],
    level: NDArray[np.floating],
    flags: Sequence[Flag],
    *,
    x_label: str,
    y_label: str,
    highest: float,
) -> Sheet:
    """A spectrum over frequency or over orders.

    Parameters
    ----------
    x, level : ndarray, shape (bins,)
        Evenly spaced frequencies [Hz] or orders [-], and what to plot over them.
    flags : sequence of Flag
        Those beyond the axis are left out; where there is no room for a name, evidence comes first.
    x_label, y_label : str
        With their units.
    highest : float
        End of the axis. [Hz] or [-]
    """
    inside = x <= highest
    x, level = x[inside], level[inside]
    across = Axis(0.0, highest, LEFT, WIDTH - RIGHT)
    placed = placed_flags(flags, across, right=WIDTH - RIGHT)
    top = flag_room(placed)
    bottom = top + HIGH
    sheet = Sheet(WIDTH, bottom + BOTTOM)
    low = min(0.0, float(np.floor(level.min()))) if level.size else 0.0
    peak = float(level.max()) if level.size else 1.0
    marks = ticks(low, peak)
    up = Axis(low, max(marks[-1], peak), bottom, top)
    level_axis(sheet, up, LEFT, WIDTH - RIGHT, y_label, marks=marks)
    draw_flags(sheet, placed, top, bottom)
    if level.size:
        sheet.path(trace(x, level, across, up, int(across.end - across.start)))
    foot_axis(sheet, across, bottom, x_label, marks=[(n, f"{n:g}") for n in ticks(0.0, highest) if n <= highest * 1.0001])
    return sheet


def waveform_sheet(
    time_s: NDArray[np.floating],
    values: NDArray[np.floating],
    *,
    clipped: NDArray[np.floating],
    turn_s: float | None,
    turn_of: str,
    y_label: str,
) -> Sheet:
    """A stretch of a record over time, with the samples that stand on the limit of the sensor marked.

    Parameters
    ----------
    time_s, values, clipped : ndarray, shape (samples,)
        Times from the beginning of the record [s], samples, and 1 where one stands on a limit, else 0.
    turn_s, turn_of : float or None, str
        One turn of which shaft, drawn as a measure above the plot. [s]
    y_label : str
        With its unit.
    """
    top, bottom = 40.0, 40.0 + HIGH
    sheet = Sheet(WIDTH, bottom + BOTTOM)
    across = Axis(float(time_s[0]), float(time_s[-1]), LEFT, WIDTH - RIGHT)
    reach = float(np.abs(values).max()) or 1.0
    ends = ticks(0.0, reach)
    marks = [*(-mark for mark in reversed(ends[1:])), *ends]
    if len(marks) > 9:  # every second, the middle with them
        marks = [mark for number, mark in enumerate(marks) if (number - len(ends) + 1) % 2 == 0]
    up = Axis(-max(ends[-1], reach), max(ends[-1], reach), bottom, top)
    level_axis(sheet, up, LEFT, WIDTH - RIGHT, y_label, marks=marks)
    sheet.path(trace(time_s, values, across, up, int(across.end - across.start)))
    on = clipped > 0
    said = ""
    if on.any():
        upper = on & (values > 0)
        for side, sign in ((upper, -1.0), (on & ~upper, 1.0)):
            for column in sorted({round(across(float(at))) for at in time_s[side]}):
                y = up(float(values[side][0]))
                sheet.path(f"M{column} {y:.1f}l-3 {6 * sign:.1f}h6z", colour=ACCENT, fill=ACCENT)
        said = f"{int(on.sum())} samples clipped"
        sheet.text(WIDTH - RIGHT, 15, said, size=SIZE, anchor="end", colour=ACCENT, weight=600)
    if turn_s is not None and across.low + turn_s <= across.high:
        _measure(sheet, across(across.low), across(across.low + turn_s), f"one turn of {turn_of}")
    shown = [mark for mark in ticks(across.low, across.high) if across.low <= mark <= across.high]
    foot_axis(sheet, across, bottom, "time, s", marks=[(mark, f"{mark:g}") for mark in shown])
    return sheet


def _measure(sheet: Sheet, start: float, end: float, says: str) -> None:
    """A length between two short strokes, named behind it."""
    y = 28.0
    sheet.line(start, y, end, y, colour=MUTED)
    for x in (start, end):
        sheet.line(x, y - 4, x, y + 4, colour=MUTED)
    if start + text_width(says, SIZE) < WIDTH - RIGHT:
        sheet.text(start, 15, says, size=SIZE, colour=MUTED)
