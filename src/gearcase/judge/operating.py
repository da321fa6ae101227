"""Operating states of a drive: the speeds and loads it is run at, and which way, each with limits of its own.

Records of a steady drive are cut where two neighbours by speed stand further apart than a state may be wide, and then likewise by
load; a range without such a gap, as of a converter that is moved all the time, is cut into equal parts no wider than that. So any
two records of one state are alike, and levels at another speed or load are never held against its limits. A drive that is run both
ways has states of each: its gears bear on their other flanks, though its bearings do not mind.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gearcase.errors import OutOfRange

__all__ = ["DIRECTION", "Operating", "directions", "operating_states"]

DIRECTION = "direction"  # 1 forward, -1 reverse

SPEED_GAP, SPEED_WIDTH = 0.1, 0.2  # of the lower speed: twice the band in which a speed is steady, and twice that; common practice
LOAD_GAP, LOAD_WIDTH = 0.1, 0.2  # of the rated load; common practice, no source
SPEED_BESIDE, LOAD_BESIDE = 0.05, 0.05  # by which a state reaches beyond its records; common practice, no source


@dataclass(frozen=True)
class Operating:
    """A state: lowest and highest speed [Hz] and load [-] of its records; None where nobody reads it. Direction [-] 1 or -1; None
    where it does not matter, or the drive is run one way only.
    """

    speed_hz: tuple[float, float] | None
    load: tuple[float, float] | None
    direction: float | None = None

    def holds(self, *, speed_hz: float | None, load: float | None, direction: float | None = None) -> bool:
        """Whether the drive is in it at a speed [Hz], load [-] and direction [-]. What is not known does not match, where the state
        asks for it.

        >>> half_load = Operating((24.5, 24.9), (0.45, 0.55))
        >>> half_load.holds(speed_hz=24.7, load=0.5), half_load.holds(speed_hz=24.7, load=None)
        (True, False)
        """
        if self.direction is not None and self.direction != direction:
            return False
        for ends, value, share, step in ((self.speed_hz, speed_hz, SPEED_BESIDE, 0.0), (self.load, load, 0.0, LOAD_BESIDE)):
            if ends is None:
                continue
            if value is None or not ends[0] * (1 - share) - step <= value <= ends[1] * (1 + share) + step:
                return False
        return True

    def meets(self, other: "Operating") -> bool:
        """Whether the middle of another state lies in this one.

        >>> Operating((24.0, 25.0), None).meets(Operating((24.6, 24.8), (0.4, 0.5)))
        True
        """
        speed, load = (None if ends is None else sum(ends) / 2 for ends in (other.speed_hz, other.load))
        return self.holds(speed_hz=speed, load=load, direction=other.direction)

    @property
    def says(self) -> str:
        """For a person; empty where none is read.

        >>> Operating((24.75, 24.75), (0.4, 0.6)).says
        '1485 rpm, load 40 to 60 %'
        """
        parts = []
        if self.speed_hz is not None:
            parts.append(f"{_ends(60 * self.speed_hz[0], 60 * self.speed_hz[1])} rpm")
        if self.load is not None:
            parts.append(f"load {_ends(100 * self.load[0], 100 * self.load[1])} %")
        if self.direction is not None:
            parts.append("forward" if self.direction > 0 else "reverse")
        return ", ".join(parts)

    def as_dict(self) -> dict[str, Any]:
        """Plain data; `Operating.of` reads it."""
        ends = {name: None if part is None else list(part) for name, part in (("speed_hz", self.speed_hz), ("load", self.load))}
        return {**ends, "direction": self.direction, "says": self.says}

    @classmethod
    def of(cls, kept: Mapping[str, Any]) -> "Operating":
        """From the plain data of `as_dict`."""
        speed, load = (
            None if kept[name] is None else (float(kept[name][0]), float(kept[name][1])) for name in ("speed_hz", "load")
        )
        return cls(speed, load, kept.get("direction"))  # earlier baselines knew none


def operating_states(
    speed_hz: ArrayLike | None, load: ArrayLike | None, *, records: int
) -> tuple[tuple[Operating, NDArray[np.bool_]], ...]:
    """States of steady records, the commonest first, each with the records that belong to it, shape (n,).

    Parameters
    ----------
    speed_hz, load : array_like, shape (n,), or None
        None where nobody reads it. A record without a value (NaN) belongs to no state. [Hz], [-]
    records : int
        How many there are.

    Raises
    ------
    OutOfRange
        Another number of speeds or loads than of records, or a speed not above 0.

    Examples
    --------
    >>> states = operating_states([20.0, 20.1, 25.0, 24.9, 20.0], None, records=5)
    >>> [(state.says, belongs.tolist()) for state, belongs in states]
    [('1200 to 1206 rpm', [True, True, False, False, True]), ('1494 to 1500 rpm', [False, False, True, True, False])]
    """
    columns = []
    for name, given in (("speed_hz", speed_hz), ("load", load)):
        column = None if given is None else np.asarray(given, dtype=float)
        if column is not None and column.shape != (records,):
            raise OutOfRange(name, column.shape, f"as many as there are records: {records}")
        columns.append(column)
    speeds, loads = columns
    if speeds is not None and not np.all((speeds > 0) | np.isnan(speeds)):
        raise OutOfRange("speed_hz", float(np.nanmin(speeds)), "above 0: a steady drive turns")
    everything = np.arange(records)
    found = [
        rows
        for alike in _parts(everything, None if speeds is None else np.log(speeds), math.log1p(SPEED_GAP), math.log1p(SPEED_WIDTH))
        for rows in _parts(alike, loads, LOAD_GAP, LOAD_WIDTH)
    ]
    states = [(Operating(_range(speeds, rows), _range(loads, rows)), np.isin(everything, rows)) for rows in found]
    return tuple(sorted(states, key=lambda one: -int(one[1].sum())))


def directions(direction: ArrayLike | None, *, records: int) -> tuple[tuple[float | None, NDArray[np.bool_]], ...]:
    """Which way records were taken, shape (n,), the commoner first: both ways, or None and all of them where only one is seen. [-]

    A record of a drive run both ways whose direction is not known (NaN) belongs to neither.

    Examples
    --------
    >>> [(way, belongs.tolist()) for way, belongs in directions([1, 1, -1, np.nan], records=4)]
    [(1.0, [True, True, False, False]), (-1.0, [False, False, True, False])]
    >>> [(way, belongs.tolist()) for way, belongs in directions([1, 1, np.nan], records=3)]
    [(None, [True, True, True])]
    """
    column = np.full(records, np.nan) if direction is None else np.asarray(direction, dtype=float)
    forward, reverse = column == 1, column == -1
    if not (forward.any() and reverse.any()):
        return ((None, np.ones(records, dtype=bool)),)
    found: list[tuple[float | None, NDArray[np.bool_]]] = [(1.0, forward), (-1.0, reverse)]
    return tuple(sorted(found, key=lambda one: -int(one[1].sum())))


def _parts(rows: NDArray[np.intp], column: NDArray[np.float64] | None, gap: float, width: float) -> Iterator[NDArray[np.intp]]:
    """Rows cut at gaps of a column; what is wider than `width` without one, into equal parts."""
    if column is None:
        if len(rows):
            yield rows
        return
    known = rows[np.isfinite(column[rows])]
    ordered = known[np.argsort(column[known], kind="stable")]
    for run in np.split(ordered, np.flatnonzero(np.diff(column[ordered]) > gap) + 1):
        if not len(run):
            continue
        low, high = column[run[0]], column[run[-1]]
        parts = max(1, math.ceil((high - low) / width - 1e-9))
        which = np.minimum(((column[run] - low) / max(high - low, 1e-300) * parts).astype(int), parts - 1)
        yield from (run[which == part] for part in range(parts) if np.any(which == part))


def _range(column: NDArray[np.float64] | None, rows: NDArray[np.intp]) -> tuple[float, float] | None:
    return None if column is None else (float(column[rows].min()), float(column[rows].max()))


def _ends(low: float, high: float) -> str:
    one, other = f"{low:.0f}", f"{high:.0f}"
    return one if one == other else f"{one} to {other}"
