"""Cable routes: against a published puzzle, geometry and brute force on a grid; and what a cable may not do."""

import itertools
import math
from typing import Any

import numpy as np
import pytest
import scipy.sparse
import scipy.sparse.csgraph
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from gearcase.errors import OutOfRange
from gearcase.install.housing import Face, KeepOut, Place
from gearcase.install.routes import (
    BEND_FIXED,
    BEND_MOVING,
    MARGINS,
    NoRoute,
    PowerCable,
    Route,
    Spot,
    bend_radius,
    cable_route,
    clips_needed,
    run_length,
)
from gearcase.install.unfold import Leg, Obstacle, shortest_path

WIDE, HIGH, LONG = 5, 4, 6  # the box of the grid tests: along H, V and A
BOX = {
    "left": (LONG, HIGH),
    "right": (LONG, HIGH),
    "up": (WIDE, LONG),
    "down": (WIDE, LONG),
    "input end": (WIDE, HIGH),
    "output end": (WIDE, HIGH),
}
TAUT: dict[str, Any] = {"radius": 0.0, "straight_ends": True, "never": []}
FINE = 2  # grid steps to a unit


def face_of(name: str, size: Place, *keep_outs: KeepOut) -> Face:
    return Face(name, (float(size[0]), float(size[1])), keep_outs, name)


def in_space(side: str, x: float, y: float) -> tuple[float, float, float]:
    """A place on a face in H, V, A; written out by hand for each face, apart from the program."""
    return {
        "left": (0.0, y, x),
        "right": (float(WIDE), y, LONG - x),
        "input end": (x, y, float(LONG)),
        "output end": (WIDE - x, y, 0.0),
        "up": (x, float(HIGH), LONG - y),
        "down": (WIDE - x, 0.0, LONG - y),
    }[side]


def by_grid(sides: list[str], obstacles: list[Obstacle], start: tuple[str, Place], end: tuple[str, Place]) -> float:
    """Shortest path over a grid with eight neighbours; places of two faces at one place in space are one."""
    number: dict[tuple[float, float, float], int] = {}
    links: dict[tuple[int, int], float] = {}

    def node(side: str, i: int, j: int) -> int:
        return number.setdefault(in_space(side, i / FINE, j / FINE), len(number))

    for side in sides:
        size = BOX[side]
        for i, j in itertools.product(range(size[0] * FINE + 1), range(size[1] * FINE + 1)):
            for di, dj in ((1, 0), (0, 1), (1, 1), (1, -1)):
                to = i + di, j + dj
                if not (0 <= to[0] <= size[0] * FINE and 0 <= to[1] <= size[1] * FINE):
                    continue
                middle = (i + to[0]) / 2 / FINE, (j + to[1]) / 2 / FINE
                inside = (
                    one.low[0] < middle[0] < one.high[0] and one.low[1] < middle[1] < one.high[1]
                    for one in obstacles
                    if one.face == side
                )
                if not any(inside):
                    links[node(side, i, j), node(side, *to)] = math.hypot(di, dj) / FINE
    rows, columns = zip(*links, strict=True)
    graph = scipy.sparse.csr_array((list(links.values()), (rows, columns)), shape=(len(number), len(number)))
    a, b = (number.setdefault(in_space(side, *at), len(number)) for side, at in (start, end))
    if max(a, b) >= graph.shape[0]:
        return math.inf
    return float(scipy.sparse.csgraph.dijkstra(graph, directed=False, indices=a)[b])


@st.composite
def mazes(draw: st.DrawFn) -> tuple[list[str], list[Obstacle], tuple[str, Place], tuple[str, Place]]:
    sides = draw(st.sampled_from([["left", "up", "input end"], ["left", "up"], ["left", "input end", "right", "down"], [*BOX]]))
    obstacles = []
    for n in range(draw(st.integers(0, 6))):
        side = draw(st.sampled_from(sides))
        x = sorted(draw(st.lists(st.integers(0, BOX[side][0]), min_size=2, max_size=2, unique=True)))
        y = sorted(draw(st.lists(st.integers(0, BOX[side][1]), min_size=2, max_size=2, unique=True)))
        obstacles.append(Obstacle(f"o{n}", side, (float(x[0]), float(y[0])), (float(x[1]), float(y[1]))))

    def place() -> tuple[str, Place]:
        side = draw(st.sampled_from(sides))
        at = draw(st.integers(0, BOX[side][0])), draw(st.integers(0, BOX[side][1]))
        assume(not any(one.face == side and inside(at, one.low, one.high) for one in obstacles))
        return side, (float(at[0]), float(at[1]))

    return sides, obstacles, place(), place()


def inside(at: Place, low: Place, high: Place, by: float = 1e-6) -> bool:
    return low[0] + by < at[0] < high[0] - by and low[1] + by < at[1] < high[1] - by


def edges_of(part: KeepOut, margin: float = 0.0) -> tuple[Place, Place]:
    half = part.size[0] / 2 + margin, part.size[1] / 2 + margin
    return (part.at[0] - half[0], part.at[1] - half[1]), (part.at[0] + half[0], part.at[1] + half[1])


def samples(legs: tuple[Leg, ...], number: int = 200) -> list[tuple[str, Place]]:
    return [
        (leg.face, (leg.start[0] + t * (leg.end[0] - leg.start[0]), leg.start[1] + t * (leg.end[1] - leg.start[1])))
        for leg in legs
        for t in np.linspace(0, 1, number).tolist()
    ]


@settings(deadline=None, max_examples=80)
@given(maze=mazes())
def test_a_route_is_no_longer_than_the_grids_enters_nothing_and_is_whole(maze: Any) -> None:
    """A grid of eight neighbours measures up to 1 / cos(22.5 deg) = 1.0824 too long (geometry), and never too short."""
    sides, obstacles, start, end = maze
    found = shortest_path([face_of(side, BOX[side]) for side in sides], obstacles, start, end, **TAUT)
    on_grid = by_grid(sides, obstacles, start, end)
    assert (found is None) == math.isinf(on_grid)
    if found is None:
        return
    assert found.length <= on_grid + 1e-6
    assert not any(inside(at, one.low, one.high) for face, at in samples(found.legs) for one in obstacles if one.face == face)
    for one, other in itertools.pairwise(found.legs):
        assert in_space(one.face, *one.end) == pytest.approx(in_space(other.face, *other.start), abs=1e-6)
    if found.legs:
        assert in_space(found.legs[0].face, *found.legs[0].start) == pytest.approx(in_space(start[0], *start[1]), abs=1e-6)
        assert in_space(found.legs[-1].face, *found.legs[-1].end) == pytest.approx(in_space(end[0], *end[1]), abs=1e-6)
    assert found.length == pytest.approx(sum(leg.length for leg in found.legs))


@settings(deadline=None, max_examples=40)
@given(maze=mazes())
def test_there_and_back_are_equally_long(maze: Any) -> None:
    sides, obstacles, start, end = maze
    faces = [face_of(side, BOX[side]) for side in sides]
    there = shortest_path(faces, obstacles, start, end, **TAUT)
    back = shortest_path(faces, obstacles, end, start, **TAUT)
    assert (there is None) == (back is None)
    if there is not None and back is not None:
        assert there.length == pytest.approx(back.length, abs=1e-6)


@settings(deadline=None, max_examples=30)
@given(at=st.tuples(st.integers(0, LONG), st.integers(0, HIGH)), to=st.tuples(st.integers(0, WIDE), st.integers(0, HIGH)))
def test_over_bare_faces_a_grid_is_no_more_too_long_than_its_eight_directions_make_it(at: Place, to: Place) -> None:
    found = shortest_path([face_of(*pair) for pair in BOX.items()], [], ("left", at), ("input end", to), **TAUT)
    assert found is not None
    on_grid = by_grid([*BOX], [], ("left", at), ("input end", to))
    assert on_grid * math.cos(math.pi / 8) - 1e-6 <= found.length <= on_grid + 1e-6


def test_opposite_corners_of_a_cube_are_the_root_of_five_apart() -> None:
    """Unfold two squares: a textbook exercise."""
    cube = [face_of(side, (1, 1)) for side in BOX]
    found = shortest_path(cube, [], ("left", (0.0, 0.0)), ("right", (0.0, 1.0)), **TAUT)
    assert found is not None and found.length == pytest.approx(math.sqrt(5))


# Cables on a housing, in metres

GIVEN: dict[str, Any] = {
    "outside_diameter": 0.006,
    "moving": False,
    "power": [],
    "cross_split_line": True,
    "surface_temperature": 330.0,
}
LEFT, END, TOP = (0.62, 0.43), (0.52, 0.43), (0.52, 0.62)


def housing(*on_left: KeepOut, on_end: tuple[KeepOut, ...] = ()) -> list[Face]:
    return [face_of("left", LEFT, *on_left), face_of("input end", END, *on_end), face_of("up", TOP)]


def route(faces: list[Face], start: Spot, end: Spot, **given: Any) -> Route:
    found = cable_route(faces, start, end, **{**GIVEN, **given})
    assert isinstance(found, Route), found.says
    return found


def rounded(found: Route) -> list[tuple[str, Place]]:
    """Places along a route with every bend rounded by its radius: straight pieces shortened, arcs put in."""
    places = []
    for leg in found.legs:
        places += samples((leg,), 60)
    for bend in found.bends:
        before, after = found.legs[bend.after], found.legs[bend.after + 1]
        if before.face != after.face:
            continue  # round a corner of the housing's edge, where there is nothing to enter
        a = np.subtract(before.start, before.end) / before.length
        b = np.subtract(after.end, after.start) / after.length
        middle = (a + b) / np.linalg.norm(a + b)
        centre = np.array(before.end) + middle * found.radius / math.cos(bend.angle / 2)
        reach = found.radius * math.tan(bend.angle / 2)
        first, last = np.array(before.end) + a * reach - centre, np.array(before.end) + b * reach - centre
        for t in np.linspace(0, 1, 40):
            chord = first + t * (last - first)
            at = centre + found.radius * chord / np.linalg.norm(chord)
            places.append((before.face, (float(at[0]), float(at[1]))))
    return places


centimetres = st.integers(2, 40).map(lambda n: n / 100)
KINDS = ["port", "bolt", "seal", "rotating part", "hot spot", "guard", "other"]
keep_outs = st.lists(
    st.builds(
        KeepOut,
        st.uuids().map(str),
        st.tuples(centimetres, centimetres),
        st.tuples(st.integers(1, 15).map(lambda n: n / 100), st.integers(1, 15).map(lambda n: n / 100)),
        st.sampled_from(KINDS),
    ),
    max_size=4,
)
spots = st.builds(Spot, st.sampled_from(["left", "input end", "up"]), st.tuples(centimetres, centimetres))


@settings(deadline=None, max_examples=60)
@given(left=keep_outs, ends=keep_outs, start=spots, end=spots)
def test_a_cable_with_its_bends_never_enters_a_keep_out_nor_its_margin(left: Any, ends: Any, start: Spot, end: Spot) -> None:
    faces = housing(*left, on_end=tuple(ends))
    parts = [(face.name, part) for face in faces for part in face.keep_outs]
    assume(not any(name == spot.face and inside(spot.at, *edges_of(part), by=0.0) for name, part in parts for spot in (start, end)))
    found = cable_route(faces, start, end, **GIVEN)
    if isinstance(found, NoRoute):
        assert found.blocked_by
        return
    notes = " ".join(found.notes)
    places = samples(found.legs, 60) if "connector itself" in notes else rounded(found)
    for face in faces:
        for part in face.keep_outs:
            margin = 0.0 if part.name in notes else MARGINS.get(part.kind, 0.0)
            low, high = edges_of(part, margin)
            assert not any(inside(at, low, high) for name, at in places if name == face.name)
    for bend in found.bends:
        assert bend.angle <= math.pi / 2 + 1e-6
    stops = [-1, *(bend.after for bend in found.bends), len(found.legs) - 1]
    curves = [0.0, *(found.radius * math.tan(bend.angle / 2) for bend in found.bends), 0.0]
    for n, (one, other) in enumerate(itertools.pairwise(stops)):
        if "connector itself" not in notes or 0 < n < len(stops) - 2:
            assert sum(leg.length for leg in found.legs[one + 1 : other + 1]) >= curves[n] + curves[n + 1] - 1e-6


@settings(deadline=None, max_examples=40)
@given(start=spots, end=spots)
def test_clips_begin_within_150_mm_and_are_450_mm_apart_at_most(start: Spot, end: Spot) -> None:
    """Common practice, no source."""
    found = route(housing(), start, end)
    along = [clip.along for clip in found.clips]
    if found.length > 1e-6:
        assert len(along) == clips_needed(length=found.length)
        assert along[0] <= 0.150 + 1e-9 and along[-1] == pytest.approx(found.length)
        assert all(0 < later - clip <= 0.450 + 1e-9 for clip, later in itertools.pairwise(along))


def test_a_route_keeps_50_mm_from_what_turns_also_round_an_edge() -> None:
    """50 mm: trade, common practice. The part ends 10 mm from the edge, so 40 mm of the next face are closed too."""
    coupling = KeepOut("coupling", (0.10, 0.20), (0.18, 0.16), "rotating part")
    found = route(housing(on_end=(coupling,)), Spot("left", (0.60, 0.05)), Spot("left", (0.60, 0.40)))
    at_edge = [at for face, at in samples(found.legs) if face == "left" and 0.12 < at[1] < 0.28]
    assert at_edge and all(LEFT[0] - at[0] >= 0.04 - 1e-6 for at in at_edge)


def test_bends_are_six_diameters_fixed_and_twelve_moving() -> None:
    """Common practice, no source; trade."""
    assert bend_radius(outside_diameter=0.008, diameters=BEND_FIXED) == pytest.approx(0.048)
    assert bend_radius(outside_diameter=0.008, diameters=BEND_MOVING) == pytest.approx(0.096)
    plug = KeepOut("plug", (0.31, 0.2), (0.04, 0.04), "port")
    fixed = route(housing(plug), Spot("left", (0.10, 0.2)), Spot("left", (0.55, 0.2)))
    moving = route(housing(plug), Spot("left", (0.10, 0.2)), Spot("left", (0.55, 0.2)), moving=True)
    assert moving.radius == 2 * fixed.radius and moving.length > fixed.length > 0.45


SHAFT_SIDE = Spot("left", (0.10, 0.05))


def test_a_split_line_is_crossed_square_where_that_is_allowed_and_gone_round_or_refused_where_not() -> None:
    flange = KeepOut("split flange", (0.31, 0.25), (0.62, 0.03), "split line")
    over = route(housing(flange), SHAFT_SIDE, Spot("left", (0.50, 0.40)))
    (crossing,) = [leg for leg in over.legs if leg.crosses]
    assert crossing.crosses == "split flange" and crossing.start[0] == pytest.approx(crossing.end[0], abs=1e-9)
    assert "It crosses split flange at 90 degrees." in over.notes
    alone = [face_of("left", LEFT, flange)]
    refused = cable_route(alone, SHAFT_SIDE, Spot("left", (0.50, 0.40)), **{**GIVEN, "cross_split_line": False})
    assert isinstance(refused, NoRoute)
    assert refused.says == "no way past split flange: allow the split line to be crossed square"
    around = route(housing(flange), SHAFT_SIDE, Spot("left", (0.50, 0.40)), cross_split_line=False)
    assert around.length > over.length and not any(leg.crosses for leg in around.legs)


def test_every_cure_offered_opens_a_way() -> None:
    wall = KeepOut("rib", (0.31, 0.215), (0.02, 0.43), "other")
    alone = [face_of("left", LEFT, wall)]
    refused = cable_route(alone, SHAFT_SIDE, Spot("left", (0.50, 0.05)), **GIVEN)
    assert isinstance(refused, NoRoute) and refused.blocked_by == ("rib",) and refused.cures == ("move or leave out rib",)
    assert route([face_of("left", LEFT)], SHAFT_SIDE, Spot("left", (0.50, 0.05))).length == pytest.approx(0.40)
    gap = [KeepOut("low rib", (0.31, 0.10), (0.02, 0.20), "other"), KeepOut("high rib", (0.31, 0.33), (0.02, 0.20), "other")]
    refused = cable_route(
        [face_of("left", LEFT, *gap)], SHAFT_SIDE, Spot("left", (0.50, 0.05)), **{**GIVEN, "outside_diameter": 0.02}
    )
    assert isinstance(refused, NoRoute) and "thinner cable, which may bend tighter than 120 mm" in refused.says
    route([face_of("left", LEFT, *gap)], SHAFT_SIDE, Spot("left", (0.50, 0.05)), outside_diameter=0.004)


def mains(**other: Any) -> PowerCable:
    return PowerCable(**{
        "name": "mains", "face": "up", "start": (0.26, 0.0), "end": (0.26, 0.62), "outside_diameter": 0.012, "length": 2.0, **other
    })  # fmt: skip


def test_power_is_crossed_square_and_otherwise_kept_apart() -> None:
    """100 to 300 mm, crossing at 90 degrees: common practice (ES2 of electrical_checks, no source)."""
    found = route(housing(), Spot("up", (0.02, 0.1)), Spot("up", (0.50, 0.3)), power=[mains()])
    (crossing,) = [leg for leg in found.legs if leg.crosses]
    assert crossing.start[1] == pytest.approx(crossing.end[1]) and crossing.length >= 0.2
    assert not any(
        abs(at[0] - 0.26) < 0.1 for face, at in samples(tuple(leg for leg in found.legs if not leg.crosses)) if face == "up"
    )


def test_where_300_mm_from_power_leave_no_way_100_are_kept_and_said() -> None:
    beside = mains(start=(0.0, 0.62), end=(0.52, 0.62))
    rib = KeepOut("rib", (0.26, 0.20), (0.02, 0.40), "other")
    top = [face_of("up", TOP, rib)]
    found = route(top, Spot("up", (0.10, 0.30)), Spot("up", (0.42, 0.30)), power=[beside])
    assert any("300 mm from power leave no way: it keeps 100 mm" in note for note in found.notes)
    refused = cable_route(top, Spot("up", (0.10, 0.05)), Spot("up", (0.42, 0.05)), **{**GIVEN, "power": [mains(
        start=(0.0, 0.62), end=(0.52, 0.62), from_converter=True, length=8.0)]})  # fmt: skip
    assert isinstance(refused, NoRoute) and refused.cures == ("move or leave out rib", "lead mains another way")
    short = mains(start=(0.0, 0.62), end=(0.52, 0.62), from_converter=True, length=3.0)  # not over 3 m: as any power cable
    assert isinstance(cable_route(top, Spot("up", (0.10, 0.05)), Spot("up", (0.42, 0.05)), **{**GIVEN, "power": [short]}), Route)


def test_a_face_nobody_said_the_direction_of_gives_an_estimate_that_says_so() -> None:
    cover = Face("cover", (0.3, 0.2))
    found = route([*housing(), cover], Spot("left", (0.1, 0.1)), Spot("cover", (0.1, 0.1)))
    assert found.estimated and found.length == pytest.approx(0.52 + 0.33 + 0.2 + 0.1)
    assert "where cover looks is not known" in found.notes[-1]
    assert route([cover], Spot("cover", (0.1, 0.1)), Spot("cover", (0.2, 0.1))).length == pytest.approx(0.1)


def test_metal_clips_above_70_degrees_and_where_nobody_knows() -> None:
    """Common practice, no source."""
    clips = [route(housing(), SHAFT_SIDE, Spot("up", (0.1, 0.1)), surface_temperature=t).metal_clips for t in (340.0, 345.0, None)]
    assert clips == [False, True, True]


def test_a_bend_that_has_no_room_before_it_begins_at_the_connector_and_the_route_says_so() -> None:
    low_rib = KeepOut("low rib", (0.15, 0.20), (0.10, 0.40), "other")
    found = route([face_of("left", LEFT, low_rib)], Spot("left", (0.084, 0.400)), Spot("left", (0.50, 0.05)))
    assert any("begins at the connector itself" in note for note in found.notes)


def test_a_run_ends_at_its_connector() -> None:
    assert run_length(on_housing=1.25, beyond=3.0) == 4.25


@pytest.mark.parametrize(
    ("faces", "start", "given", "says"),
    [
        (housing(), Spot("left", (0.7, 0.1)), {}, r"place on left=\(0.7, 0.1\): on the face, which is 0.62 m by 0.43 m"),
        (housing(), Spot("back", (0.1, 0.1)), {}, "one of: left, input end, up"),
        (housing(KeepOut("plug", (0.1, 0.1), (0.04, 0.04), "port")), Spot("left", (0.1, 0.1)), {}, "outside plug"),
        ([face_of("left", (0.62, 0.60)), face_of("up", TOP), face_of("input end", END)], SHAFT_SIDE, {}, "measure again"),
        (housing(), SHAFT_SIDE, {"outside_diameter": 0.0}, "above 0 m"),
        (housing(), SHAFT_SIDE, {"power": [mains(end=(0.4, 0.62))]}, "askew one as several pieces"),
        (housing(), SHAFT_SIDE, {"power": [mains(face="roof")]}, "face of mains='roof': one of: left"),
    ],
)
def test_what_cannot_be_is_refused_with_what_would_be_right(faces: Any, start: Spot, given: Any, says: str) -> None:
    with pytest.raises(OutOfRange, match=says):
        cable_route(faces, start, Spot("up", (0.1, 0.1)), **{**GIVEN, **given})
