"""Flags above a plot: each names what stands at a place on its foot axis, none on or through another."""

from collections.abc import Sequence
from dataclasses import dataclass

from gearcase.drawings.axes import SIZE, Axis
from gearcase.drawings.svg import ACCENT, MUTED, Sheet, text_width

__all__ = ["FLAG_ROW", "Flag", "PlacedFlag", "draw_flags", "flag_room", "placed_flags"]

FLAG_ROWS = 11
FLAG_ROW = 17.0
_AIR = 4.0


@dataclass(frozen=True)
class Flag:
    """What is to be named at a place, in the unit of the foot axis; `found` marks it as evidence, in the accent."""

    at: float
    name: str
    found: bool = False


@dataclass(frozen=True)
class PlacedFlag:
    """A flag with the row its name stands in, 0 being next to the plot; None where it found no room."""

    flag: Flag
    x: float
    left: float
    right: float
    row: int | None

    def collides(self, other: "PlacedFlag") -> bool:
        """Whether the names share room, or the stroke up to one name runs through the other."""
        if self.row is None or other.row is None:
            return False
        apart = self.right + _AIR < other.left or other.right + _AIR < self.left
        return (
            (self.row == other.row and not apart)
            or (self.row > other.row and other.left - 1 < self.x < other.right + 1)
            or (other.row > self.row and self.left - 1 < other.x < self.right + 1)
        )


def placed_flags(flags: Sequence[Flag], axis: Axis, *, right: float) -> list[PlacedFlag]:
    """Each name in the lowest row where it has room before `right` [px]. Flags beyond the axis are left out.

    From the right to the left, each name behind its stroke, so that they step up over the strokes already drawn; then those too
    near the right end, before their strokes. Only where evidence finds no room so is all of it placed before anything else.
    """
    shown = [flag for flag in flags if axis.low < flag.at <= axis.high]
    placed = _in_turn(shown, axis, right)
    if any(one.row is None and one.flag.found for one in placed):
        placed = _in_turn([flag for flag in shown if flag.found], axis, right)
        placed = _in_turn([flag for flag in shown if not flag.found], axis, right, placed)
    return placed


def _in_turn(flags: Sequence[Flag], axis: Axis, right: float, before: Sequence[PlacedFlag] = ()) -> list[PlacedFlag]:
    done = list(before)
    wide = {flag: text_width(flag.name, SIZE, 600 if flag.found else 400) for flag in flags}
    fits = {flag: axis(flag.at) + 4 + wide[flag] <= right for flag in flags}
    for flag in sorted(flags, key=lambda flag: (not fits[flag], -flag.at if fits[flag] else flag.at)):
        x = axis(flag.at)
        left = x + 4 if fits[flag] else x - 4 - wide[flag]
        tries = (PlacedFlag(flag, x, left, left + wide[flag], row) for row in range(FLAG_ROWS))
        free = (one for one in tries if left >= 0 and not any(one.collides(other) for other in done))
        done.append(next(free, PlacedFlag(flag, x, left, left + wide[flag], None)))
    return done


def flag_room(placed: Sequence[PlacedFlag]) -> float:
    """Height that the names take above a plot. [px]"""
    return 16 + FLAG_ROW * (1 + max((one.row for one in placed if one.row is not None), default=0))


def draw_flags(sheet: Sheet, placed: Sequence[PlacedFlag], top: float, bottom: float) -> None:
    """A stroke from `bottom` to each name above `top` [px]; evidence in the accent with a mark where the stroke enters the plot."""
    for one in placed:
        found = one.flag.found
        colour = ACCENT if found else MUTED
        base = top - 8 - FLAG_ROW * (one.row or 0)
        foot = top if one.row is None else base - SIZE * 0.8
        sheet.line(one.x, foot, one.x, bottom, colour=colour, width=1.0 if found else 0.6, dash="" if found else "2 3")
        if found:
            sheet.path(f"M{one.x - 4:.1f} {top:.1f}h8l-4 7z", colour=colour, fill=colour)
        if one.row is not None:
            anchor, x = ("start", one.left) if one.left > one.x else ("end", one.right)
            sheet.text(x, base, one.flag.name, size=SIZE, anchor=anchor, colour=colour, weight=600 if found else 400)
