"""Fields drawn in a few steps of ink: orders over time, and the kurtosis of every band.

What lies below the lowest step is paper. Steps are round (1, 2, 5) and named in a key below, so that a level can be read off. Ink
on paper alone: colours of states stay with states.
"""

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from gearcase.drawings.axes import LEFT, RIGHT, SIZE, WIDTH, Axis, foot_axis, scaled, ticks
from gearcase.drawings.flags import Flag, draw_flags, flag_room, placed_flags
from gearcase.drawings.svg import ACCENT, INK, MUTED, NARROW, WIDE, Sheet, text_width

__all__ = ["NOISE_ERRORS", "kurtogram_sheet", "order_map_sheet"]

NOISE_ERRORS = 5.0  # standard errors over 0: bands of less are what noise gives somewhere; common practice, no source
_INKS = (0.14, 0.28, 0.44, 0.62, 0.8, 1.0)  # opacity of each step, the highest last
_HIGH = 280.0
_FOOT = 76.0  # px: figures, what they are, the key
_TALLEST, _BAND = 28.0, 24.0  # px: of a row
_NAMES = 104.0  # px: room for the names of rows
_OVER_MIDDLE = 2.0  # times the middle of all cells: lower ones are noise, and paper


def order_map_sheet(
    orders: NDArray[np.floating],
    level: NDArray[np.floating],
    *,
    rows: Sequence[tuple[float, str]],
    flags: Sequence[Flag],
    x_label: str,
    y_label: str,
    key: str,
) -> Sheet:
    """How strong each order was in each stretch of a record, or in each record: rows in order of time, the latest on top.

    Parameters
    ----------
    orders : ndarray, shape (columns,)
        Evenly spaced middles of the columns. [-]
    level : ndarray, shape (rows, columns)
        Amplitudes, 0 where there is none. [unit of the key]
    rows : sequence of (float, str)
        What stands beside the rows: how many of them up, and a time or a date. As many are written as have room, the last always.
    flags : sequence of Flag
        At their order.
    x_label, y_label, key : str
        What columns, rows and levels are, with their units after a comma.
    """
    step = float(orders[1] - orders[0])
    each = min(max(int(_HIGH / len(level)), 1), _TALLEST)
    across = Axis(float(orders[0]) - step / 2, float(orders[-1]) + step / 2, LEFT + _NAMES - 48, WIDTH - RIGHT)
    placed = placed_flags(flags, across, right=WIDTH - RIGHT)
    top = flag_room(placed) + 6
    bottom = top + each * len(level)
    sheet = Sheet(WIDTH, bottom + _FOOT)
    held = level[level > 0]
    steps = _steps(held, _OVER_MIDDLE * float(np.median(held)) if held.size else 0.0)
    wide = (across.end - across.start) / orders.size
    for number, opacity in enumerate(_inks(steps)):
        high = steps[number + 1] if number + 1 < len(steps) else np.inf
        runs = ((row, *run) for row, values in enumerate(level) for run in _runs((values >= steps[number]) & (values < high)))
        data = "".join(
            f"M{across.start + first * wide:.1f} {bottom - each * (row + 1):.1f}"
            f"h{(last - first) * wide:.1f}v{each:.1f}h{-(last - first) * wide:.1f}z"
            for row, first, last in runs
        )
        if data:
            sheet.parts.append(f'<path d="{data}" fill="{INK}" fill-opacity="{opacity}"/>')
    _row_names(sheet, rows, across.start, bottom, each)
    sheet.text(13, (top + bottom) / 2, y_label, size=SIZE, anchor="middle", turned=True)
    draw_flags(sheet, placed, top - 6, top - 2)
    sheet.rectangle(across.start, top, across.end - across.start, bottom - top, fill="none", line=NARROW)
    foot_axis(sheet, across, bottom, x_label, marks=[(n, f"{n:g}") for n in ticks(0.0, across.high) if n <= across.high])
    _key(sheet, across.start, bottom + 62, steps, key)
    return sheet


def kurtogram_sheet(
    lowest_hz: NDArray[np.floating],
    highest_hz: NDArray[np.floating],
    level: NDArray[np.floating],
    kurtosis: NDArray[np.floating],
    standard_error: NDArray[np.floating],
) -> Sheet:
    """Kurtosis of the envelope of every band, wide bands on top; the band of the highest is framed and named.

    Parameters
    ----------
    lowest_hz, highest_hz, level, kurtosis, standard_error : ndarray, shape (bands,)
        As `signal.kurtogram` gives them, of one record. Bands below `NOISE_ERRORS` standard errors are paper.
    """
    levels = np.unique(level)
    across = Axis(0.0, float(highest_hz.max()), LEFT + _NAMES - 48, WIDTH - RIGHT)
    best = int(np.argmax(kurtosis))
    errors = float(kurtosis[best] / standard_error[best])
    placed = placed_flags([_best(lowest_hz[best], highest_hz[best], kurtosis[best], errors)], across, right=WIDTH - RIGHT)
    top = flag_room(placed) + 6
    bottom = top + _BAND * levels.size
    sheet = Sheet(WIDTH, bottom + _FOOT)
    shown = np.where(kurtosis >= NOISE_ERRORS * standard_error, kurtosis, 0.0)
    steps = _steps(shown[shown > 0], 0.0)
    inks = _inks(steps)
    y_of = {float(one): top + _BAND * number for number, one in enumerate(levels)}
    for low, high, at, value in zip(lowest_hz, highest_hz, level, shown, strict=True):
        place = int(np.searchsorted(steps, value, side="right"))
        x, wide = across(float(low)), across(float(high)) - across(float(low))
        if place:
            sheet.shade(x, y_of[float(at)], wide, _BAND, colour=INK, opacity=inks[place - 1])
        sheet.rectangle(x, y_of[float(at)], wide, _BAND, fill="none", colour=MUTED, line=0.3)
    widths = [float((highest_hz - lowest_hz)[level == one][0]) for one in levels]
    _row_names(sheet, [(n + 0.5, f"{width:.0f}") for n, width in enumerate(reversed(widths))], across.start, bottom, _BAND)
    sheet.text(13, (top + bottom) / 2, "band width, Hz", size=SIZE, anchor="middle", turned=True)
    draw_flags(sheet, placed, top - 6, y_of[float(level[best])])
    framed, line, dash = (ACCENT, 2 * WIDE, "") if errors >= NOISE_ERRORS else (MUTED, WIDE, "2 3")
    left, right = across(float(lowest_hz[best])), across(float(highest_hz[best]))
    sheet.rectangle(left, y_of[float(level[best])], right - left, _BAND, fill="none", colour=framed, line=line, dash=dash)
    marks = [(n, f"{n:g}") for n in ticks(0.0, across.high) if n <= across.high]
    foot_axis(sheet, across, bottom, "frequency, Hz", marks=marks)
    _key(sheet, across.start, bottom + 62, steps, "kurtosis")
    return sheet


def _best(low: float, high: float, kurtosis: float, errors: float) -> Flag:
    says = f"{low:.0f} to {high:.0f} Hz: kurtosis {kurtosis:.2g}, {errors:.0f} standard errors"
    return Flag(float(low + high) / 2, says if errors >= NOISE_ERRORS else f"{says}: as noise gives", found=errors >= NOISE_ERRORS)


def _steps(held: NDArray[np.floating], least: float) -> list[float]:
    """Round steps from the largest level down to the least, as many as there are inks; [unit of the levels], all above 0."""
    if not held.size:
        return []
    largest = float(held.max())
    power = int(np.floor(np.log10(largest)))
    series = [float(f"{first}e{tens}") for tens in range(power, power - 4, -1) for first in (5, 2, 1)]
    below = [step for step in series if step <= largest]
    return sorted([step for step in below if step >= least][: len(_INKS)] or below[:1])


def _inks(steps: Sequence[float]) -> list[float]:
    """Opacity of each step, over the whole range of inks however few there are."""
    places = np.linspace(len(_INKS) - 1, 0, len(steps)) if len(steps) > 3 else range(len(_INKS) - 1, -1, -2)
    return sorted(_INKS[round(place)] for place in places[: len(steps)])


def _runs(flags: NDArray[np.bool_]) -> Iterator[tuple[int, int]]:
    """First and last + 1 of each run of true."""
    ends = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]])))
    return zip(ends[::2].tolist(), ends[1::2].tolist(), strict=True)


def _row_names(sheet: Sheet, rows: Sequence[tuple[float, str]], left: float, bottom: float, each: float) -> None:
    """Names beside the rows, from above, as many as stand apart."""
    above = -np.inf
    for place, says in reversed(rows):
        base = bottom - each * place + SIZE / 3
        if base - above >= SIZE + 4:
            sheet.text(left - 6, base, says, size=SIZE, anchor="end", colour=MUTED)
            above = base


def _key(sheet: Sheet, left: float, base: float, steps: Sequence[float], says: str) -> None:
    """What the inks mean, in one row."""
    factor, says = scaled(steps, says)
    sheet.text(left, base, f"{says}, from", size=SIZE)
    x = left + text_width(f"{says}, from", SIZE) + 14
    for step, opacity in zip(steps, _inks(steps), strict=True):
        figure = f"{step / factor:g}"
        sheet.shade(x, base - 11, 14, 13, colour=INK, opacity=opacity)
        sheet.text(x + 18, base, figure, size=SIZE, colour=MUTED)
        x += 30 + text_width(figure, SIZE)
