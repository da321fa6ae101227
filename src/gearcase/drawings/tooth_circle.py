"""The average turn of a gear on a circle: what comes once a turn shows at its tooth.

Clockwise from the top. The outer trace is the average, the inner one its residual, what regular meshing does not explain; each
about its own zero and to its own scale, which a bar beside the circle tells. No mark on the gear is known, so the teeth are
counted from where the averaging began: compare one record with itself, not with the next.
"""

import math

import numpy as np
from numpy.typing import NDArray

from gearcase.drawings.axes import SIZE, WIDTH, ticks
from gearcase.drawings.svg import ACCENT, HAIRLINE, INK, MUTED, NARROW, Sheet, wrap

__all__ = ["strongest_tooth", "tooth_circle_sheet"]

_X, _Y = 262.0, 272.0  # px: the middle
_OUTER, _INNER, _SWING = 178.0, 78.0, 46.0  # px: zero of both traces, and how far they swing
_RIM, _NUMBERS = 230.0, 246.0
_APART = 26.0  # px, from one number to the next along the rim
_WORDS = 538.0


def strongest_tooth(residual: NDArray[np.floating], teeth: int) -> tuple[int, float]:
    """The tooth, from 1, over whose pitch the residual is strongest, and how many times the median tooth's RMS its own is. [-]

    Parameters
    ----------
    residual : ndarray, shape (per_turn,)
        [unit of the samples]

    Examples
    --------
    >>> turn = np.arange(400) / 400
    >>> tooth, times = strongest_tooth(np.where((turn > 0.31) & (turn < 0.34), 1.0, 0.1), 20)
    >>> tooth, times > 5
    (7, True)
    """
    tooth = np.arange(residual.size) * teeth // residual.size
    rms = np.sqrt(np.bincount(tooth, residual.astype(np.float64) ** 2) / np.bincount(tooth))
    middle = float(np.median(rms))
    return int(np.argmax(rms)) + 1, float(rms.max() / middle) if middle > 0 else 1.0


def tooth_circle_sheet(
    value: NDArray[np.floating], residual: NDArray[np.floating], *, teeth: int, gear: str, turns: int, unit: str
) -> Sheet:
    """An average turn and its residual about a numbered gear.

    Parameters
    ----------
    value, residual : ndarray, shape (per_turn,)
        From where the averaging began. [unit]
    teeth : int
        Of the gear.
    gear : str
        Its name.
    turns : int
        That were averaged.
    unit : str
        For the scales.
    """
    sheet = Sheet(WIDTH, 2 * _Y)
    tooth, times = strongest_tooth(residual, teeth)
    sheet.circle(_X, _Y, _RIM, width=NARROW)
    named = _numbered(teeth, tooth)
    for number in range(1, teeth + 1):
        turn = (number - 0.5) / teeth
        sheet.line(*_at(turn, _RIM), *_at(turn, _RIM + (6 if number in named else 3)), width=NARROW)
        if number in named:
            x, y = _at(turn, _NUMBERS)
            sheet.text(x, y + SIZE / 3, f"{number}", size=SIZE, anchor="middle", colour=ACCENT if number == tooth else MUTED)
    _wedge(sheet, (tooth - 1) / teeth, tooth / teeth)
    for radius in (_OUTER, _INNER):
        sheet.circle(_X, _Y, radius, colour=HAIRLINE, width=NARROW)
    outer, inner = (float(np.abs(values).max()) or 1.0 for values in (value, residual))
    _polar(sheet, value / outer, _OUTER, INK)
    _polar(sheet, residual / inner, _INNER, ACCENT)
    y = 60.0
    for line in wrap(gear, WIDTH - _WORDS - 8, SIZE, most=4, weight=600):
        sheet.text(_WORDS, y, line, size=SIZE, weight=600)
        y += 16
    y = _said(sheet, y + 12, f"outer: average of {turns} turns", outer, unit, INK)
    y = _said(sheet, y + 20, "inner: residual, what regular meshing does not explain", inner, unit, ACCENT)
    strongest = f"strongest at tooth {tooth}, {times:.2g} times the median tooth"
    counted = "teeth counted clockwise from where the averaging began"
    for words, colour in ((strongest, ACCENT), (counted, MUTED)):
        y += 20
        for line in wrap(words, WIDTH - _WORDS - 8, SIZE, most=4):
            sheet.text(_WORDS, y, line, size=SIZE, colour=colour)
            y += 16
    return sheet


def _numbered(teeth: int, tooth: int) -> set[int]:
    """The strongest tooth, the first, and every second, fifth or so, as far as their numbers stand apart along the rim."""
    pitch = 2 * math.pi * _NUMBERS / teeth
    every = next(step for step in (1, 2, 5, 10, 20, 50, 100) if pitch * step >= _APART)
    chosen: list[int] = []
    for number in (tooth, 1, *range(every, teeth + 1, every)):
        if all(pitch * min((number - other) % teeth, (other - number) % teeth) >= _APART for other in chosen):
            chosen.append(number)
    return set(chosen)


def _said(sheet: Sheet, y: float, says: str, reach: float, unit: str, colour: str) -> float:
    """What a trace is, and a bar as long as a round amount of it."""
    for line in wrap(says, WIDTH - _WORDS - 8, SIZE, most=4):
        sheet.text(_WORDS, y, line, size=SIZE)
        y += 16
    amount = [mark for mark in ticks(0.0, reach) if mark <= reach][-1]
    long = _SWING * amount / reach
    sheet.line(_WORDS, y, _WORDS, y + long, colour=colour, width=2.0)
    for end in (y, y + long):
        sheet.line(_WORDS - 4, end, _WORDS + 4, end, colour=colour)
    sheet.text(_WORDS + 10, y + long / 2 + SIZE / 3, f"{amount:g} {unit}", size=SIZE)
    return y + long + 6


def _at(turn: float, radius: float) -> tuple[float, float]:
    angle = 2 * math.pi * turn
    return _X + radius * math.sin(angle), _Y - radius * math.cos(angle)


def _polar(sheet: Sheet, share: NDArray[np.floating], radius: float, colour: str) -> None:
    """A trace about a circle; 1 is its full swing outwards."""
    points = (_at(number / share.size, radius + _SWING * float(value)) for number, value in enumerate(share))
    sheet.path("M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points) + "z", colour=colour)


def _wedge(sheet: Sheet, start: float, end: float) -> None:
    """The pitch of one tooth, tinted from the middle to the rim."""
    (x1, y1), (x2, y2) = _at(start, _RIM), _at(end, _RIM)
    data = f"M{_X} {_Y}L{x1:.1f} {y1:.1f}A{_RIM} {_RIM} 0 0 1 {x2:.1f} {y2:.1f}z"
    sheet.parts.append(f'<path d="{data}" fill="{ACCENT}" fill-opacity="0.14"/>')
