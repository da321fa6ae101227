"""Which parts' lines a record cannot tell apart, the record that could, and what helps where no record does.

Two lines of different parts *coincide* when they stand at one frequency at every speed, *overlap* when what is not known about
them is wider than their distance, *cross* when they meet inside the range of speeds, and are *close* when a longer record
separates them. Of the sidebands only the first pair about a mesh counts: the others are told by their
spacing, not by where one stands.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

from gearcase.drive.crossings import crossing_speeds
from gearcase.drive.line import Line
from gearcase.drive.measurement import record_length_for_separation

__all__ = ["CURES", "Collision", "collisions"]

CURES = {  # common practice, no source
    "coincide": "no record separates them: a second sensor nearer one of them (compare levels), or the phase; else say either",
    "overlap": "no record says which is which: get the maker's geometry or tooth counts, or compare levels at a second sensor",
    "cross": "record at a speed away from the crossing",
    "close": "take the longer record, or the highest speed",
}
_SAME = 1e-9  # relative: nothing a record could show


@dataclass(frozen=True)
class Collision:
    """Two lines of different parts that the records planned cannot tell apart, the first of `alike` such pairs of these parts.

    Attributes
    ----------
    first, second : str
        Names of the lines, the lower first.
    kind : str
        A key of `CURES`.
    speed_hz : float
        Speed of the reference shaft at which they stand closest. [Hz]
    gap_hz : float
        Their distance there. [Hz]
    record_length : float or None
        The record that separates them at that speed; None where none does. [s]
    alike : int
        Pairs of lines of these two parts that cannot be told apart, this one included.
    """

    first: str
    second: str
    kind: str
    speed_hz: float
    gap_hz: float
    record_length: float | None
    alike: int


@dataclass(frozen=True)
class _Pair:
    first: Line
    second: Line
    kind: str
    speed_hz: float
    gap_hz: float
    record_length: float | None

    def rank(self) -> tuple[int, int, float]:
        """Fundamentals before harmonics and sidebands, then the closest."""
        steps = [line.harmonic + abs(line.sideband_pair) for line in (self.first, self.second)]
        return max(steps), sum(steps), self.gap_hz


def collisions(
    lines: Iterable[Line], *, speed_hz: tuple[float, float], records: Sequence[tuple[float, float]]
) -> tuple[Collision, ...]:
    """Pairs of parts whose lines cannot be told apart somewhere in a range of speeds; fundamentals first, then the closest.

    Parameters
    ----------
    lines : iterable of Line
    speed_hz : tuple of float
        Lowest and highest speed of the reference shaft. [Hz]
    records : sequence of (float, float)
        Highest frequency [Hz] and length [s] of each record planned; a pair is held against the longest that holds both lines;
        one that none holds can be close unnamed.

    Examples
    --------
    Two shafts at 24 and 24.5 Hz in a record of 2 s; three bins take 3 / 0.5 Hz = 6 s:

    >>> from gearcase.worked import Origin
    >>> pair = [Line(name, name, "shaft", 1, order, "a", 0.0, Origin.MEASURED) for name, order in (("a", 48.0), ("b", 49.0))]
    >>> (found,) = collisions(pair, speed_hz=(0.5, 0.5), records=[(100.0, 2.0)])
    >>> found.kind, found.gap_hz, found.record_length
    ('close', 0.5, 6.0)
    """
    told = [line for line in lines if _is_told(line)]
    by_parts: dict[frozenset[str], list[_Pair]] = {}
    for one, other in combinations(told, 2):
        if one.component == other.component:
            continue
        pair = _collide(one, other, speed_hz, records)
        if pair is not None:
            by_parts.setdefault(frozenset((one.component, other.component)), []).append(pair)
    worst = [(min(pairs, key=_Pair.rank), len(pairs)) for pairs in by_parts.values()]
    return tuple(
        Collision(pair.first.name, pair.second.name, pair.kind, pair.speed_hz, pair.gap_hz, pair.record_length, alike)
        for pair, alike in sorted(worst, key=lambda found: found[0].rank())
    )


def _is_told(line: Line) -> bool:
    """Whether a part is recognised by where this very line stands."""
    if line.kind == "sideband":
        return not line.sideband_of and line.harmonic == 1 and abs(line.sideband_pair) == 1
    return line.kind != "cage" or line.harmonic == 1


def _collide(one: Line, other: Line, speed_hz: tuple[float, float], records: Sequence[tuple[float, float]]) -> _Pair | None:
    low, high = speed_hz
    first, second = sorted((one, other), key=lambda line: line.hz(low))
    at_low, at_high = (second.hz(speed) - first.hz(speed) for speed in speed_hz)
    if max(abs(at_low), abs(at_high)) < _SAME * second.hz(high):
        return _Pair(first, second, "coincide", low, 0.0, None)
    bands = [first.spread * first.hz(speed) + second.spread * second.hz(speed) for speed in speed_hz]
    if abs(at_low) < bands[0] and abs(at_high) < bands[1]:  # nowhere in the range are they known apart
        return _Pair(first, second, "overlap", low, abs(at_low), None)
    meet = crossing_speeds(order=one.order, fixed_hz=one.fixed_hz, other_order=other.order, other_fixed_hz=other.fixed_hz)
    closest, gap = min(((low, abs(at_low)), (high, abs(at_high))), key=lambda end: end[1])
    inside = [speed for speed in meet if low <= speed <= high] or [closest] * (gap < _SAME * second.hz(high))
    if inside:
        return _Pair(first, second, "cross", inside[0], 0.0, None)
    for speed, band in zip(speed_hz, bands, strict=True):
        if abs(second.hz(speed) - first.hz(speed)) < band:
            return _Pair(first, second, "overlap", speed, abs(second.hz(speed) - first.hz(speed)), None)
    needed = record_length_for_separation(gap_hz=gap)
    top = max(first.hz(high), second.hz(high))
    held = [length for highest, length in records if top <= highest]
    return _Pair(first, second, "close", closest, gap, needed) if held and needed > max(held) else None
