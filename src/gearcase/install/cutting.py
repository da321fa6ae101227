"""How strut channel and conduit are cut from the lengths they come in, with the least bought and wasted; one job or many.

Every cut costs a kerf. Pieces of total length s, n of them, come out of a bar of length L where s + (n - 1) kerf <= L: the last
cut may turn what little is left to dust. Adding the kerf to every piece and to every bar makes that plain bin packing.
"""

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.optimize

from gearcase.errors import OutOfRange
from gearcase.install.lengths import SAW_KERF, Piece, Stock
from gearcase.worked import worked_by

__all__ = ["SAW_KERF", "Bar", "CutList", "Piece", "Stock", "bar_remainder", "cut_list"]

_GRAIN = 1e-6  # m, lengths are compared as whole thousandths of a millimetre
_MOST_PATTERNS = 2000  # more ways to fill a bar than this are packed by rule
_MOST_NODES = 20000  # of the search; a count, so that every machine gives the same list


@dataclass(frozen=True)
class Bar:
    """A bar of stock, the pieces cut from it, longest first, and what is left of it [m]."""

    stock: Stock
    pieces: tuple[Piece, ...]
    remainder: float


@dataclass(frozen=True)
class CutList:
    """What to cut from what.

    Attributes
    ----------
    bars : tuple of Bar
    bought : float
        Length of all bars. [m]
    waste : float
        What of it is in no piece, kerfs included. [m]
    at_least : float
        No cutting of these pieces needs less than this. [m]
    least : bool
        Whether `bought` is proven to be the least; otherwise it is at most ``bought / at_least`` times that.
    too_long : tuple of Piece
        Pieces longer than any stock; left out of the bars.
    uncut : tuple of Piece
        Pieces the stock does not suffice for.
    """

    bars: tuple[Bar, ...]
    bought: float
    waste: float
    at_least: float
    least: bool
    too_long: tuple[Piece, ...]
    uncut: tuple[Piece, ...]


@worked_by(formula="left = L - sum of pieces - kerf x cuts", unit="m", source="geometry; one cut for each piece")
def bar_remainder(*, bar: float, pieces: float, count: int, kerf: float) -> float:
    """What is left of a bar when `count` pieces of total length `pieces` are cut off it; 0 where the last cut reaches its end. [m]

    Examples
    --------
    >>> bar_remainder(bar=3.048, pieces=2.0, count=2, kerf=0.003)
    1.042
    """
    return max(0.0, bar - pieces - count * kerf)


def cut_list(pieces: Sequence[Piece], stocks: Sequence[Stock], *, kerf: float) -> CutList:
    """The cut list that takes the least stock, by length; of equal ones the one with fewest bars.

    Exact while a bar can be filled in no more than some thousand ways: every way is listed and their numbers chosen by integer
    programming (the cutting stock formulation of Gilmore and Gomory 1961, with all patterns written out). Larger ones are packed
    first-fit decreasing, at most 11/9 of the fewest bars + 6/9 (Dosa 2007, from memory), and say how far off they may be.

    Raises
    ------
    OutOfRange
        A length not above 0, a kerf below 0, no stock.

    Examples
    --------
    Row cut2 of ``strut.csv``: three thirds of a bar do not come out of one, for the kerf.

    >>> thirds = [Piece(f"post {n}", 1.016) for n in range(3)]
    >>> len(cut_list(thirds, [Stock("10 ft", 3.048)], kerf=SAW_KERF).bars)
    2
    """
    if not stocks:
        raise OutOfRange("stocks", "none", "at least one length that can be had")
    if len(set(stocks)) < len(stocks):
        raise OutOfRange("stocks", ", ".join(stock.name for stock in stocks), "each once, with the number available")
    if not kerf >= 0:
        raise OutOfRange("kerf", kerf, "0 m or more")
    parts: list[Piece | Stock] = [*pieces, *stocks]
    for part in parts:
        if not (part.length > 0 and math.isfinite(part.length)):
            raise OutOfRange(part.name, part.length, "a length above 0 m")
    units: dict[Piece | Stock, int] = {part: _grains(part.length) + _grains(kerf) for part in parts}
    longest = max(units[stock] for stock in stocks)
    too_long = tuple(piece for piece in pieces if units[piece] > longest)
    wanted = sorted((piece for piece in pieces if units[piece] <= longest), key=lambda piece: -units[piece])
    at_least = _at_least([units[piece] for piece in wanted], [(units[stock], stock.length) for stock in stocks])
    filled = _exactly(wanted, stocks, units)
    least = filled is not None
    if filled is None:
        filled = _first_fit(wanted, stocks, units)
    bars = tuple(
        Bar(
            stock,
            tuple(held),
            bar_remainder(bar=stock.length, pieces=sum(piece.length for piece in held), count=len(held), kerf=kerf),
        )
        for stock, held in filled
    )
    left = Counter(wanted) - Counter(piece for _, held in filled for piece in held)
    bought = sum(bar.stock.length for bar in bars)
    used = sum(piece.length for bar in bars for piece in bar.pieces)
    if least:
        at_least = bought
    return CutList(bars, bought, bought - used, at_least, bought <= at_least + _GRAIN, too_long, tuple(left.elements()))


Filled = list[tuple[Stock, list[Piece]]]


def _grains(length: float) -> int:
    return round(length / _GRAIN)


def _at_least(pieces: Sequence[int], stocks: Sequence[tuple[int, float]]) -> float:
    """Length that must be bought, since no bar holds more than itself and a kerf. [m]"""
    if len(stocks) == 1:
        return math.ceil(sum(pieces) / stocks[0][0]) * stocks[0][1]
    return sum(pieces) * min(length / held for held, length in stocks)


def _exactly(pieces: Sequence[Piece], stocks: Sequence[Stock], units: dict[Piece | Stock, int]) -> Filled | None:
    """The least, or None where there are too many ways to fill a bar or the search is not done in time."""
    kinds = sorted({units[piece] for piece in pieces}, reverse=True)
    demand = [sum(units[piece] == kind for piece in pieces) for kind in kinds]
    if not pieces:
        return []
    ways: list[tuple[Stock, tuple[int, ...]]] = []
    for stock in stocks:
        for way in _full_patterns(kinds, demand, units[stock]):
            ways.append((stock, way))
            if len(ways) > _MOST_PATTERNS:
                return None
    # One variable for each way, then one for each kind of piece that stays uncut, dearer than any bar that could hold it.
    longest = max(stock.length for stock in stocks)
    few = 1e-5 * longest  # a bar more counts where lengths are equal
    cost = np.array([stock.length + few for stock, _ in ways] + [2 * longest] * len(kinds))
    cut = np.hstack([np.array([way for _, way in ways]).T, np.eye(len(kinds))])
    limits = [scipy.optimize.LinearConstraint(cut, lb=demand)]
    for stock in stocks:
        if stock.available is not None:
            row = [float(one is stock) for one, _ in ways] + [0.0] * len(kinds)
            limits.append(scipy.optimize.LinearConstraint(np.array([row]), ub=stock.available))
    search = {"node_limit": _MOST_NODES, "mip_rel_gap": 0.0}
    found = scipy.optimize.milp(cost, constraints=limits, integrality=np.ones(cost.size), options=search)
    if found.status != 0:
        return None
    waiting = {kind: [piece for piece in pieces if units[piece] == kind] for kind in kinds}
    bars: Filled = []
    for (stock, way), times in zip(ways, found.x, strict=False):
        for _ in range(round(times)):
            held: list[Piece] = []
            for kind, count in zip(kinds, way, strict=True):
                held += waiting[kind][:count]
                waiting[kind] = waiting[kind][count:]
            bars.append((stock, held))
    return [(stock, held) for stock, held in bars if held]


def _full_patterns(kinds: Sequence[int], demand: Sequence[int], room: int) -> Iterator[tuple[int, ...]]:
    """Every way to fill a bar to which no wanted piece can be added; at least one piece in each."""
    if not kinds:
        yield ()
        return
    most = min(demand[0], room // kinds[0])
    for count in range(most, -1, -1):
        left = room - count * kinds[0]
        for rest in _full_patterns(kinds[1:], demand[1:], left):
            used = sum(kind * number for kind, number in zip(kinds[1:], rest, strict=True))
            if count == most or left - used < kinds[0]:
                yield (count, *rest)


def _first_fit(pieces: Sequence[Piece], stocks: Sequence[Stock], units: dict[Piece | Stock, int]) -> Filled:
    """Longest piece first, each into the first bar with room, else into a new one of the longest stock.

    At the end each bar becomes the shortest one that holds what is in it.
    """
    supply = {stock: math.inf if stock.available is None else stock.available for stock in stocks}
    by_length = sorted(stocks, key=lambda stock: -units[stock])
    bars: Filled = []
    room: list[int] = []
    for piece in pieces:
        size = units[piece]
        place = next((n for n, left in enumerate(room) if left >= size), None)
        if place is None:
            new = next((stock for stock in by_length if supply[stock] >= 1 and units[stock] >= size), None)
            if new is None:
                continue
            supply[new] -= 1
            bars.append((new, []))
            room.append(units[new])
            place = len(bars) - 1
        bars[place][1].append(piece)
        room[place] -= size
    for n, (stock, held) in enumerate(bars):
        needed = sum(units[piece] for piece in held)
        shorter = next((one for one in reversed(by_length) if needed <= units[one] < units[stock] and supply[one] >= 1), None)
        if shorter is not None:
            supply[shorter] -= 1
            supply[stock] += 1
            bars[n] = (shorter, held)
    return bars
