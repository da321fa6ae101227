"""The shortest way over the faces of a box-like housing, round what stands on them and over the edges between them.

Two faces whose outward directions stand square to one another share an edge. Turning the second face about that edge into the plane
of the first keeps every length, so a taut line over several faces is a straight line once they are unfolded. Round rectangles a
taut line bends at their corners only; the corners, and the straight lines between those that see each other through the unfolded
edges, are a graph that holds the shortest path (visibility graph; Lozano-Perez and Wesley 1979, from memory).

Assumes that one straight piece meets no face twice, which would be a line wound round the whole housing.
"""

import functools
import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse.csgraph
from numpy.typing import NDArray

from gearcase.errors import OutOfRange
from gearcase.install.housing import Face, Place
from gearcase.install.orientation import OUTWARD, TOWARDS_OUTPUT

__all__ = ["Adjoining", "Bend", "Leg", "Obstacle", "Path", "adjoining", "shortest_path"]

_TOUCH = 1e-7  # m, a line along a side touches it and does not enter
_EDGES_AGREE = 0.1  # two faces give the length of their edge within 10 %, as tape and drawings do; common practice, no source
_CROSSINGS = 0.025  # m, how far apart square crossings of a strip are tried
_STRAIGHT = 1e-5  # rad, no bend
_ON_A_CURVE = 33  # places looked at; between them a 90 degree curve strays by 0.03 % of its radius
_TRIES = 60  # pieces struck out before a path counts as not to be found
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Obstacle:
    """A rectangle of a face, by its lower left and upper right corners, that a path must not enter; with `crossed` it may be
    crossed straight and square to its long sides.
    """

    name: str
    face: str
    low: Place
    high: Place
    crossed: bool = False


@dataclass(frozen=True)
class Leg:
    """A straight piece of a path on one face; `crosses` names what it crosses square."""

    face: str
    start: Place
    end: Place
    crosses: str = ""

    @property
    def length(self) -> float:
        """[m]"""
        return float(np.hypot(self.end[0] - self.start[0], self.end[1] - self.start[1]))


@dataclass(frozen=True)
class Bend:
    """A bend: the leg after which it comes, and by what angle the path turns, the faces unfolded. [rad]"""

    after: int
    angle: float


@dataclass(frozen=True)
class Path:
    """Legs in order, the bends between them, and the whole length [m]."""

    legs: tuple[Leg, ...]
    bends: tuple[Bend, ...]
    length: float


@dataclass(frozen=True)
class Adjoining:
    """A face that shares an edge with another: the turn A and shift b [m] that bring its places p into that one's plane, A p + b;
    and where the edge is there: ``place[axis] == at``.
    """

    face: str
    turn: Floats
    shift: Floats
    axis: int
    at: float


@dataclass(frozen=True)
class _Gate:
    """The edge between two faces in the plane of the first face of a chain: ``place[axis] == at`` from low to high, passed in
    the direction `sign`.
    """

    axis: int
    at: float
    low: float
    high: float
    sign: float


@dataclass(frozen=True)
class _Chain:
    """Faces passed one after another, the turn and shift that bring each into the plane of the first, and the edges between."""

    faces: tuple[int, ...]
    turns: tuple[Floats, ...]
    shifts: tuple[Floats, ...]
    gates: tuple[_Gate, ...]


def shortest_path(
    faces: Sequence[Face],
    obstacles: Sequence[Obstacle],
    start: tuple[str, Place],
    end: tuple[str, Place],
    *,
    radius: float,
    straight_ends: bool,
    never: Sequence[Obstacle],
) -> Path | None:
    """The shortest path between two places, each a face's name and a place on it; None where obstacles leave none.

    Parameters
    ----------
    faces : sequence of Face
        One for each outward direction, as those of a box; `outward` of each is a key of ``orientation.OUTWARD``.
    obstacles : sequence of Obstacle
    start, end : tuple of str and Place
        From the lower left corner of the face. [m]
    radius : float
        Of every bend: bends turn by no more than 90 degrees, and the pieces between are long enough for the curves at their ends.
        The shortest taut line is taken that is so; what cannot be bent is struck out, piece by piece. 0 for the taut line. Square
        crossings of a strip are tried every 25 mm. [m]
    straight_ends : bool
        Whether the first and the last bend too have the straight piece that their curve needs before the end of the path.
    never : sequence of Obstacle
        What no curve may cut into either, where a bend comes so near.

    Raises
    ------
    OutOfRange
        A face without an outward direction, two with the same, edges that do not agree, a place off its face.

    Examples
    --------
    The spider and the fly (H. E. Dudeney, 1907, from memory): a room of 30 by 12 by 12, and 40 between them over five of its faces.

    >>> room = [Face(side, (30.0, 12.0), (), side) for side in ("left", "right")]
    >>> room += [Face(side, (12.0, 30.0), (), side) for side in ("up", "down")]
    >>> room += [Face(side, (12.0, 12.0), (), side) for side in ("input end", "output end")]
    >>> taut = dict(radius=0.0, straight_ends=True, never=[])
    >>> shortest_path(room, [], ("input end", (6.0, 11.0)), ("output end", (6.0, 1.0)), **taut).length
    40.0
    """
    names = [face.name for face in faces]
    nodes: list[list[Place]] = [[] for _ in faces]
    fixed: list[tuple[int, int, int, str]] = []  # face, two of its nodes, and the strip crossed between them
    boxes = [np.array([[*one.low, *one.high] for one in obstacles if one.face == name]).reshape(-1, 4) for name in names]
    for name, place in (start, end):
        at = _index(names, name)
        if not all(0 <= x <= size for x, size in zip(place, faces[at].size, strict=True)):
            raise OutOfRange(f"place on {name}", place, f"on the face, which is {faces[at].size[0]:g} m by {faces[at].size[1]:g} m")
        nodes[at].append(place)
    for at, face in enumerate(faces):
        on = [one for one in obstacles if one.face == face.name]
        corners = [(x, y) for one in on for x in (one.low[0], one.high[0]) for y in (one.low[1], one.high[1])]
        corners += [(x, y) for x in (0.0, face.size[0]) for y in (0.0, face.size[1])]
        nodes[at] += [corner for corner in dict.fromkeys(corners) if _open(corner, face, boxes[at])]
        for strip in (one for one in on if one.crossed):
            for pair in _crossings(strip, face, nodes[at], boxes[at]):
                fixed.append((at, len(nodes[at]), len(nodes[at]) + 1, strip.name))
                nodes[at] += pair
    return _search(faces, [np.array(places) for places in nodes], boxes, fixed, (start, end), radius, straight_ends, never)


def adjoining(faces: Sequence[Face]) -> dict[str, tuple[Adjoining, ...]]:
    """For each face those that share an edge with it.

    Raises
    ------
    OutOfRange
        As `shortest_path`.
    """
    return {
        face.name: tuple(
            Adjoining(faces[other].name, turn, shift, gate.axis, gate.at) for other, (turn, shift, gate) in edges.items()
        )
        for face, edges in zip(faces, _edges(tuple(faces)), strict=True)
    }


def _index(names: Sequence[str], face: str) -> int:
    if face not in names:
        raise OutOfRange("face", repr(face), f"one of: {', '.join(names)}")
    return names.index(face)


def _open(place: Place, face: Face, boxes: Floats) -> bool:
    """On the face and inside no rectangle."""
    x, y = place
    if not (-_TOUCH <= x <= face.size[0] + _TOUCH and -_TOUCH <= y <= face.size[1] + _TOUCH):
        return False
    inside = (boxes[:, 0] + _TOUCH < x) & (x < boxes[:, 2] - _TOUCH) & (boxes[:, 1] + _TOUCH < y) & (y < boxes[:, 3] - _TOUCH)
    return not inside.any()


def _crossings(strip: Obstacle, face: Face, nodes: Sequence[Place], boxes: Floats) -> Iterator[tuple[Place, Place]]:
    """Pairs of places on both long sides of a strip, straight over from one another, with nothing else in the way."""
    along = 0 if strip.high[0] - strip.low[0] >= strip.high[1] - strip.low[1] else 1
    low, high = strip.low[along], strip.high[along]
    others = boxes[~np.all(boxes == np.array([*strip.low, *strip.high]), axis=1)]
    steps = np.linspace(low, high, max(2, int((high - low) / _CROSSINGS) + 2)).tolist()
    for at in sorted({*steps, *(node[along] for node in nodes if low <= node[along] <= high)}):
        sides = [(at, strip.low[1]), (at, strip.high[1])] if along == 0 else [(strip.low[0], at), (strip.high[0], at)]
        if all(_open(side, face, others) for side in sides):
            one, other = np.array([sides[0]]), np.array([sides[1]])
            if not _hits(one, other, others).any():
                yield sides[0], sides[1]


def _axes(outward: str) -> tuple[Floats, Floats, Floats]:
    """A face's x, its y and its outward direction, in machine axes."""
    out = np.array(OUTWARD[outward], dtype=float)
    up = np.array(TOWARDS_OUTPUT if outward in ("up", "down") else OUTWARD["up"], dtype=float)
    return np.cross(up, out), up, out


@functools.lru_cache(maxsize=16)  # a plan asks for many routes over the same faces
def _edges(faces: tuple[Face, ...]) -> list[dict[int, tuple[Floats, Floats, _Gate]]]:
    """For each face the faces it adjoins: the turn and shift of the other into its plane, and the edge."""
    for face in faces:
        if face.outward not in OUTWARD:
            raise OutOfRange(f"outward of {face.name}", repr(face.outward), f"one of: {', '.join(OUTWARD)}")
        if sum(one.outward == face.outward for one in faces) > 1:
            raise OutOfRange(f"outward of {face.name}", face.outward, "one face of the box for each direction")
    axes = [_axes(face.outward) for face in faces]
    found: list[dict[int, tuple[Floats, Floats, _Gate]]] = [{} for _ in faces]
    for at, face in enumerate(faces):
        for other, neighbour in enumerate(faces):
            *mine, out = axes[at]
            *theirs, far = axes[other]
            if abs(out @ far) > 0.5:
                continue
            to_it, to_me = np.array([axis @ far for axis in mine]), np.array([axis @ out for axis in theirs])
            k, j = int(np.argmax(np.abs(to_it))), int(np.argmax(np.abs(to_me)))  # the axis across the edge, here and there
            length, length_there = face.size[1 - k], neighbour.size[1 - j]
            if abs(length - length_there) > _EDGES_AGREE * max(length, length_there):
                raise OutOfRange(
                    f"edge of {face.name} and {neighbour.name}",
                    f"{length:g} m and {length_there:g} m",
                    "the same length from both faces within 10 %: measure again",
                )
            edge, edge_there = (face.size[k] if to_it[k] > 0 else 0.0), (neighbour.size[j] if to_me[j] > 0 else 0.0)
            same = float(mine[1 - k] @ theirs[1 - j])
            turn, shift = np.zeros((2, 2)), np.zeros(2)
            turn[k, j], shift[k] = -to_it[k] * to_me[j], edge + to_it[k] * to_me[j] * edge_there
            turn[1 - k, 1 - j], shift[1 - k] = same, length / 2 - same * length_there / 2
            half = min(length, length_there) / 2
            found[at][other] = turn, shift, _Gate(k, edge, length / 2 - half, length / 2 + half, float(to_it[k]))
    return found


@functools.lru_cache(maxsize=16)
def _chains(faces: tuple[Face, ...]) -> tuple[_Chain, ...]:
    """Every row of faces, each adjoining the one before, none twice; of a row and its reverse one."""
    edges = _edges(faces)
    found = []
    waiting = [_Chain((at,), (np.eye(2),), (np.zeros(2),), ()) for at in range(len(faces))]
    while waiting:
        chain = waiting.pop()
        if chain.faces[0] <= chain.faces[-1]:
            found.append(chain)
        turn, shift = chain.turns[-1], chain.shifts[-1]
        for other, (next_turn, next_shift, gate) in edges[chain.faces[-1]].items():
            if other in chain.faces:
                continue
            ends = np.zeros((2, 2))
            ends[:, gate.axis], ends[:, 1 - gate.axis] = gate.at, (gate.low, gate.high)
            ends = ends @ turn.T + shift
            axis = int(np.argmax(np.abs(turn[:, gate.axis])))
            low, high = sorted(ends[:, 1 - axis].tolist())
            here = _Gate(axis, float(ends[0, axis]), low, high, gate.sign * float(turn[axis, gate.axis]))
            waiting.append(
                _Chain(
                    (*chain.faces, other),
                    (*chain.turns, turn @ next_turn),
                    (*chain.shifts, turn @ next_shift + shift),
                    (*chain.gates, here),
                )
            )
    return tuple(found)


def _hits(here: Floats, there: Floats, boxes: Floats) -> NDArray[np.bool_]:
    """Whether the line between each of n and each of m places enters one of the rectangles, shape (n, m)."""
    first, last = np.zeros((len(here), len(there), len(boxes))), np.ones((len(here), len(there), len(boxes)))
    for axis in (0, 1):
        at = here[:, None, None, axis]
        step = there[None, :, None, axis] - at
        low, high = boxes[:, axis] + _TOUCH, boxes[:, axis + 2] - _TOUCH
        still = np.abs(step) < _TOUCH
        divisor = np.where(still, 1.0, step)
        one, other = (low - at) / divisor, (high - at) / divisor
        within = (low < at) & (at < high)
        first = np.maximum(first, np.where(still, np.where(within, 0.0, 2.0), np.minimum(one, other)))
        last = np.minimum(last, np.where(still, np.where(within, 1.0, -1.0), np.maximum(one, other)))
    return np.asarray((last - first > 1e-9).any(axis=2))


def _passes(here: Floats, there: Floats, gate: _Gate) -> NDArray[np.bool_]:
    """Whether the line between each of n and each of m places goes through an edge, shape (n, m)."""
    share, at = _through(here, there, gate)
    before = gate.sign * (gate.at - here[:, None, gate.axis]) >= -_TOUCH
    after = gate.sign * (there[None, :, gate.axis] - gate.at) >= -_TOUCH
    return np.asarray(before & after & (gate.low - _TOUCH <= at) & (at <= gate.high + _TOUCH) & (share >= 0))


def _through(here: Floats, there: Floats, gate: _Gate) -> tuple[Floats, Floats]:
    """How far along each line it meets an edge, 0 to 1, and where along the edge. [-], [m]"""
    step = there[None, :, gate.axis] - here[:, None, gate.axis]
    still = np.abs(step) < _TOUCH
    share = np.clip(np.where(still, 0.0, (gate.at - here[:, None, gate.axis]) / np.where(still, 1.0, step)), 0.0, 1.0)
    other = 1 - gate.axis
    return share, here[:, None, other] + share * (there[None, :, other] - here[:, None, other])


def _search(
    faces: Sequence[Face],
    nodes: Sequence[Floats],
    boxes: Sequence[Floats],
    fixed: Sequence[tuple[int, int, int, str]],
    ends: tuple[tuple[str, Place], tuple[str, Place]],
    radius: float,
    straight_ends: bool,
    never: Sequence[Obstacle],
) -> Path | None:
    """The graph of lines of sight, and the shortest path in it."""
    names = [face.name for face in faces]
    first = np.concatenate([[0], np.cumsum([len(places) for places in nodes])]).astype(int)
    lengths = np.full((first[-1], first[-1]), np.inf)
    by = np.full(lengths.shape, -1)
    chains = _chains(tuple(faces))
    for number, chain in enumerate(chains):
        one, other = chain.faces[0], chain.faces[-1]
        here, there = nodes[one], nodes[other] @ chain.turns[-1].T + chain.shifts[-1]
        seen = np.ones((len(here), len(there)), dtype=bool)
        for gate in chain.gates:
            seen &= _passes(here, there, gate)
        for face, turn, shift in zip(chain.faces, chain.turns, chain.shifts, strict=True):
            if len(boxes[face]) and seen.any():
                corners = np.stack([boxes[face][:, :2] @ turn.T + shift, boxes[face][:, 2:] @ turn.T + shift])
                seen &= ~_hits(here, there, np.hstack([corners.min(axis=0), corners.max(axis=0)]))
        between = np.where(seen, np.linalg.norm(there[None] - here[:, None], axis=2), np.inf)
        block = np.ix_(range(first[one], first[one + 1]), range(first[other], first[other + 1]))
        better = between < lengths[block] - _TOUCH
        lengths[block] = np.where(better, between, lengths[block])
        by[block] = np.where(better, number, by[block])
    crossed = {}
    for face, one, other, name in fixed:
        pair = first[face] + one, first[face] + other
        lengths[pair] = np.linalg.norm(nodes[face][one] - nodes[face][other])
        crossed[pair] = name
    a, b = (first[_index(names, face)] + nodes[_index(names, face)].tolist().index(list(place)) for face, place in ends)

    def legs_between(one: int, other: int) -> list[Leg]:
        low, high = (one, other) if by[one, other] >= 0 or (one, other) in crossed else (other, one)
        if (low, high) in crossed:
            face = int(np.searchsorted(first, low, side="right")) - 1
            piece = [
                Leg(
                    names[face], _place(nodes[face][low - first[face]]), _place(nodes[face][high - first[face]]), crossed[low, high]
                )
            ]
        else:
            chain = chains[by[low, high]]
            near, far = chain.faces[0], chain.faces[-1]
            piece = _legs(names, chain, nodes[near][low - first[near]], nodes[far][high - first[far]])
        if low != one:
            piece = [Leg(leg.face, leg.end, leg.start, leg.crosses) for leg in reversed(piece)]
        return [leg for leg in piece if leg.length > _TOUCH]

    lengths = np.minimum(lengths, lengths.T) + 1e-12  # a graph's link of no length would be none
    turns = {
        (names[at], names[other]): turn for at, found in enumerate(_edges(tuple(faces))) for other, (turn, *_) in found.items()
    }
    for _ in range(_TRIES):
        links = scipy.sparse.csr_array(np.where(np.isfinite(lengths), lengths, 0.0))
        _, before = scipy.sparse.csgraph.dijkstra(links, directed=False, indices=a, return_predecessors=True)
        if a != b and before[b] < 0:
            return None
        order = [int(b)]
        while order[-1] != a:
            order.append(int(before[order[-1]]))
        pieces = [(pair, leg) for pair in itertools.pairwise(reversed(order)) for leg in legs_between(*pair)]
        legs = tuple(leg for _, leg in pieces)
        bends = _bends(legs, turns)
        fault = _unbendable(legs, bends, radius, straight_ends, never)
        if fault is None:
            return Path(legs, bends, sum(leg.length for leg in legs))
        one, other = pieces[fault][0]
        lengths[one, other] = lengths[other, one] = np.inf
    return None


def _bends(legs: Sequence[Leg], turns: dict[tuple[str, str], Floats]) -> tuple[Bend, ...]:
    found = []
    for n, (one, other) in enumerate(itertools.pairwise(legs)):
        before, after = np.subtract(one.end, one.start), np.subtract(other.end, other.start)
        if one.face != other.face:
            after = turns[one.face, other.face] @ after
        angle = math.atan2(abs(float(before[0] * after[1] - before[1] * after[0])), float(before @ after))
        if angle > _STRAIGHT:
            found.append(Bend(n, angle))
    return tuple(found)


def _unbendable(
    legs: Sequence[Leg], bends: Sequence[Bend], radius: float, straight_ends: bool, never: Sequence[Obstacle]
) -> int | None:
    """A leg that cannot stay: too short for the curves at its ends, or after a turn of more than 90 degrees or one that cuts in."""
    if radius == 0:
        return None
    for bend in bends:
        if bend.angle > math.pi / 2 + _STRAIGHT or _cuts_in(legs[bend.after], legs[bend.after + 1], bend.angle, radius, never):
            return bend.after + 1
    stops = [(-1, 0.0), *((bend.after, radius * math.tan(bend.angle / 2)) for bend in bends), (len(legs) - 1, 0.0)]
    for n, ((one, curve), (other, next_curve)) in enumerate(itertools.pairwise(stops)):
        at_an_end = n in (0, len(stops) - 2)
        straight = sum(leg.length for leg in legs[one + 1 : other + 1])
        if straight < curve + next_curve - _TOUCH and (straight_ends or not at_an_end):
            return one + 1
    return None


def _cuts_in(before: Leg, after: Leg, angle: float, radius: float, never: Sequence[Obstacle]) -> bool:
    """Whether the curve between two legs of one face enters something."""
    if before.face != after.face:
        return False
    back = np.subtract(before.start, before.end) / before.length
    on = np.subtract(after.end, after.start) / after.length
    inward = (back + on) / np.linalg.norm(back + on)
    centre = before.end + inward * radius / math.cos(angle / 2)
    turned = np.linspace(-angle / 2, angle / 2, _ON_A_CURVE)[:, None]
    across = np.array([-inward[1], inward[0]])
    at = centre + radius * (-np.cos(turned) * inward + np.sin(turned) * across)
    return any(
        bool(((at > np.add(one.low, _TOUCH)) & (at < np.subtract(one.high, _TOUCH))).all(axis=1).any())
        for one in never
        if one.face == before.face
    )


def _legs(names: Sequence[str], chain: _Chain, start: Floats, end: Floats) -> list[Leg]:
    """A straight line over unfolded faces, folded back."""
    far = chain.turns[-1] @ end + chain.shifts[-1]
    stops = [start]
    for gate in chain.gates:
        share, _ = _through(start[None], far[None], gate)
        stops.append(start + share[0, 0] * (far - start))
    stops.append(far)
    return [
        Leg(names[face], _place((one - shift) @ turn), _place((other - shift) @ turn))
        for face, turn, shift, one, other in zip(chain.faces, chain.turns, chain.shifts, stops, stops[1:], strict=False)
    ]


def _place(at: Floats) -> Place:
    return float(at[0]), float(at[1])
