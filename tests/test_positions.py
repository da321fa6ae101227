"""The position advisor: ten cases in which wall, keep-out or load direction changes the ranking as it should (trade.md, section 4:
common practice, no source), and what every rejected pad says.
"""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gearcase.errors import OutOfRange
from gearcase.install.housing import Face, KeepOut, Region, Seat, ThreadedHole, Wall
from gearcase.install.positions import CLEAR_OF, NEAR_SEAT, Advice, Footprint, Pad, advise, pads, spots_to_try, violations
from gearcase.worked import Origin

MEASURED = Wall(0.024, 0.0003, Origin.MEASURED)
THIN = Wall(0.012, 0.0003, Origin.MEASURED)
SEAT = Seat("bearing", (0.30, 0.20), 0.12)
BOSS = Region("boss by the cap", "boss", (0.30, 0.30), (0.04, 0.04), MEASURED)
SIDE = Region("side boss", "boss", (0.40, 0.20), (0.04, 0.04), MEASURED)
PANEL = Region("panel", "panel", (0.10, 0.35), (0.15, 0.10), Wall(0.008, 0.0003, Origin.MEASURED))
FACE = Face("left", (0.62, 0.43), (), "left", (BOSS, SIDE), (SEAT,))
STUD = Footprint(base=0.025, hole_diameter=0.00635, wall_needed=0.0213)
BONDED = Footprint(base=0.025)


def names(face: Face, footprint: Footprint = STUD, bearing: str = "bearing") -> list[str]:
    """Pads that will do among the listed regions, best first."""
    advice = advise(face, _listed(face, bearing), footprint)
    return [one.pad.name for one in advice.ranked]


def _listed(face: Face, bearing: str = "bearing") -> tuple[Pad, ...]:
    return tuple(pad for pad in pads(face, bearing) if pad.region is not None and pad.name == pad.region.name)


def reasons(face: Face, name: str, footprint: Footprint = STUD) -> str:
    advice = advise(face, _listed(face), footprint)
    return "; ".join(reason for one in (*advice.ranked, *advice.rejected) if one.pad.name == name for reason in one.reasons)


def regions(*changed: Region) -> Face:
    return replace(FACE, regions=changed)


def test_1_of_two_like_bosses_the_one_in_the_direction_of_the_load_is_first() -> None:
    assert names(replace(FACE, seats=(replace(SEAT, load_clock=12),))) == ["boss by the cap", "side boss"]
    assert names(replace(FACE, seats=(replace(SEAT, load_clock=3),))) == ["side boss", "boss by the cap"]


def test_2_a_boss_whose_wall_takes_the_stud_comes_before_one_that_must_be_bonded() -> None:
    assert names(regions(replace(BOSS, wall=THIN), SIDE))[0] == "side boss"
    assert names(regions(BOSS, replace(SIDE, wall=THIN)))[0] == "boss by the cap"


def test_3_a_wall_that_is_only_drawn_counts_as_unknown() -> None:
    drawn = replace(BOSS, wall=replace(MEASURED, origin=Origin.ESTIMATED))
    assert names(regions(drawn, SIDE))[0] == "side boss"
    assert "only estimated: bond, or measure it" in reasons(regions(drawn, SIDE), "boss by the cap")


def test_4_the_gauges_error_can_take_the_stud_away() -> None:
    tight = replace(BOSS, wall=Wall(0.0215, 0.0, Origin.MEASURED))
    doubtful = replace(BOSS, wall=Wall(0.0215, 0.0005, Origin.MEASURED))
    assert names(regions(tight, replace(SIDE, wall=THIN)))[0] == "boss by the cap"
    assert names(regions(doubtful, SIDE))[0] == "side boss"


def test_5_a_rotating_part_near_a_boss_rejects_it() -> None:
    coupling = KeepOut("coupling", (0.30, 0.40), (0.08, 0.08), "rotating part")
    face = replace(FACE, keep_outs=(coupling,))
    assert names(face) == ["side boss"]
    assert "from the coupling (rotating part); 50 mm is wanted" in reasons(face, "boss by the cap")


def test_6_the_split_line_wants_less_room_than_a_rotating_part() -> None:
    at = (0.30, 0.30 + 0.0125 + 0.020)
    for kind, kept in (("split line", True), ("rotating part", False)):
        part = KeepOut("part", (at[0], at[1] + 0.005), (0.4, 0.01), kind)
        assert ("boss by the cap" in names(replace(FACE, keep_outs=(part,)))) is kept


def test_7_an_existing_hole_two_diameters_away_is_far_enough_and_nearer_is_not() -> None:
    for apart, kept in ((2 * 0.012 + 0.0125 + 0.0005, True), (2 * 0.012 + 0.0125 - 0.0005, False)):
        face = replace(FACE, threaded_holes=(ThreadedHole("cap bolt", (0.30 - apart, 0.30), 0.012),))
        assert ("boss by the cap" in names(face)) is kept


def test_8_a_thin_panel_is_rejected_for_its_drumming_and_a_stiff_one_is_not() -> None:
    assert names(regions(PANEL, BOSS)) == ["boss by the cap"]
    assert "drums at 300 to 3000 Hz" in reasons(regions(PANEL, BOSS), "panel")
    assert "panel" in names(regions(replace(PANEL, wall=replace(MEASURED, thickness=0.014)), BOSS))


def test_9_a_spot_on_the_bearings_own_housing_comes_before_any_other() -> None:
    far = replace(BOSS, name="far boss", at=(0.55, 0.38))
    thin = replace(BOSS, wall=THIN)
    assert names(regions(far, thin)) == ["boss by the cap", "far boss"]  # bonded near the seat beats a stud far away
    assert "within 75 mm it would see it better" in reasons(regions(far, thin), "far boss")


def test_10_a_hot_boss_is_rejected_only_for_a_sensor_that_cannot_stand_it() -> None:
    hot = replace(BOSS, temperature=273.15 + 95)
    assert names(regions(hot, SIDE), replace(STUD, hottest=273.15 + 85)) == ["side boss"]
    assert "the metal runs at 95 °C; the sensor stands 85 °C" in reasons(
        regions(hot, SIDE), hot.name, replace(STUD, hottest=358.15)
    )
    assert len(names(regions(hot, SIDE), replace(STUD, hottest=273.15 + 110))) == 2


def test_a_base_wider_than_its_boss_or_over_the_edge_is_rejected_with_the_figures() -> None:
    assert "the boss is 40 mm wide; the base wants 43 mm of flat metal" in reasons(FACE, "side boss", Footprint(base=0.040))
    edge = replace(BOSS, name="edge boss", at=(0.005, 0.2))
    assert "5 mm from the edge of the face; 12.5 mm is wanted" in reasons(regions(edge), "edge boss")
    off = replace(BOSS, name="off", at=(0.7, 0.2))
    assert reasons(regions(off), "off") == "it lies outside the face left, which is 620 mm by 430 mm"


@pytest.mark.parametrize(
    ("in_from_edge", "wanted"),
    [(0.0140, []), (0.0139, [("flat", False)]), (0.0094, [("flat", False), ("region_edge", False)])],
)
def test_a_base_stands_whole_on_its_boss_and_a_hole_keeps_from_its_edge(
    in_from_edge: float, wanted: list[tuple[str, bool]]
) -> None:
    """By hand: half of 25 mm and 1.5 mm beyond is 14 mm; 1.5 x 6.35 mm is 9.5 mm for the hole."""
    spot = Pad("spot", "left", (BOSS.at[0] + 0.02 - in_from_edge, BOSS.at[1]), BOSS, None)
    found = [(one.rule, one.severe) for one in violations(replace(FACE, seats=()), spot, STUD)]
    assert found == wanted
    bonded = [(one.rule, one.severe) for one in violations(replace(FACE, seats=()), spot, BONDED)]
    assert bonded == [one for one in wanted if one[0] == "flat"]


@pytest.mark.parametrize(("in_from_edge", "severe"), [(0.0033, False), (0.0031, True)])
def test_a_hole_that_runs_out_of_its_boss_is_never_drilled(in_from_edge: float, severe: bool) -> None:
    """By hand: half of 6.35 mm is 3.2 mm; what lies beyond the boss nobody has gauged."""
    spot = Pad("spot", "left", (BOSS.at[0], BOSS.at[1] + 0.02 - in_from_edge), BOSS, None)
    (found,) = (one for one in violations(replace(FACE, seats=()), spot, STUD) if one.rule == "region_edge")
    assert found.severe is severe
    assert f"{1000 * in_from_edge:.3g} mm from the edge of the boss boss by the cap" in found.says


def test_without_listed_regions_each_hour_round_the_seat_is_judged() -> None:
    bare = replace(FACE, regions=(), seats=(replace(SEAT, load_clock=6),))
    advice = advise(bare, pads(bare, "bearing"), BONDED)
    assert len(advice.ranked) == 12
    assert {one.pad.name for one in advice.ranked[:3]} == {f"bearing, {hour} o'clock" for hour in (5, 6, 7)}
    for one in advice.ranked:
        assert math.dist(one.pad.at, SEAT.at) - SEAT.diameter / 2 <= NEAR_SEAT


def test_a_spot_round_the_seat_takes_the_wall_of_the_region_it_falls_into() -> None:
    listed = replace(FACE, regions=(replace(BOSS, size=(0.2, 0.1)),))
    at_twelve = next(pad for pad in pads(listed, "bearing") if pad.name == "bearing, 12 o'clock")
    assert at_twelve.region is not None
    assert at_twelve.region.wall == MEASURED


def test_a_face_without_the_bearing_says_that_it_sees_through_the_housing() -> None:
    assert "no bearing seat on this face" in "; ".join(advise(FACE, pads(FACE, "another"), STUD).ranked[0].reasons)


def test_the_spots_to_try_are_the_best_and_not_side_by_side() -> None:
    bare = replace(FACE, regions=())
    advice = advise(bare, pads(bare, "bearing"), BONDED)
    tried = spots_to_try(advice, most=3)
    assert len(tried) == 3
    assert tried[0] == advice.ranked[0]
    assert min(math.dist(a.pad.at, b.pad.at) for a in tried for b in tried if a != b) > NEAR_SEAT / 2


def broken(face: Face, at: tuple[float, float], footprint: Footprint) -> list[tuple[str, bool]]:
    return [(one.rule, one.severe) for one in violations(face, Pad("spot", face.name, at, None, None), footprint)]


@pytest.mark.parametrize(("apart", "wanted"), [(0.0031, [("seat", True)]), (0.0094, [("seat", False)]), (0.0096, [])])
def test_a_hole_keeps_from_a_seat_what_it_keeps_from_an_edge(apart: float, wanted: list[tuple[str, bool]]) -> None:
    """By hand: 1.5 x 6.35 mm is 9.5 mm from the seat's rim; within half the hole, 3.2 mm, it would cut it."""
    at = (SEAT.at[0] + SEAT.diameter / 2 + apart, SEAT.at[1])
    assert broken(replace(FACE, regions=()), at, STUD) == wanted
    assert broken(replace(FACE, regions=()), at, BONDED) == []  # a bond cuts nothing


@pytest.mark.parametrize(("apart", "severe"), [(0.0090, True), (0.0093, False)])
def test_a_hole_may_not_cut_a_hole_and_a_bond_may_stand_over_one(apart: float, severe: bool) -> None:
    """By hand: holes of 6.35 and 12 mm meet at 9.175 mm between their middles."""
    face = replace(FACE, regions=(), seats=(), threaded_holes=(ThreadedHole("old", (0.2, 0.2), 0.012),))
    assert broken(face, (0.2 + apart, 0.2), STUD) == [("hole", severe)]
    assert broken(face, (0.2 + apart, 0.2), BONDED) == [("hole", False)]


def test_what_stands_on_a_part_that_must_stay_clear_is_never_built_and_what_stands_beside_it_should_move() -> None:
    face = replace(FACE, regions=(), seats=(), keep_outs=(KeepOut("plug", (0.3, 0.2), (0.04, 0.04), "port"),))
    assert broken(face, (0.31, 0.21), BONDED) == [("clearance", True)]
    assert broken(face, (0.30 + 0.02 + 0.0125 + 0.009, 0.20), BONDED) == [("clearance", False)]  # 9 of the 10 mm wanted


def test_a_hole_keeps_its_own_distance_from_the_edge_under_a_base_that_is_smaller() -> None:
    """By hand: 1.5 x 6.35 mm is 9.5 mm; half the base is 5 mm."""
    bare = replace(FACE, regions=(), seats=())
    assert broken(bare, (0.009, 0.2), replace(STUD, base=0.010)) == [("edge", False)]
    assert broken(bare, (0.009, 0.2), replace(BONDED, base=0.010)) == []


def test_a_pad_of_another_face_and_no_base_are_refused() -> None:
    with pytest.raises(OutOfRange, match="a pad of face 'left'"):
        advise(FACE, [Pad("a", "right", (0.1, 0.1), None, None)], STUD)
    with pytest.raises(OutOfRange, match="above 0"):
        advise(FACE, [], Footprint(base=0.0))


@given(
    at=st.tuples(st.floats(0, 0.62), st.floats(0, 0.43)),
    middle=st.tuples(st.floats(0, 0.62), st.floats(0, 0.43)),
    size=st.tuples(st.floats(0.01, 0.3), st.floats(0.01, 0.3)),
    kind=st.sampled_from(sorted(CLEAR_OF)),
)
def test_no_pad_that_will_do_stands_nearer_a_keep_out_than_its_rule(
    at: tuple[float, float], middle: tuple[float, float], size: tuple[float, float], kind: str
) -> None:
    face = replace(FACE, keep_outs=(KeepOut("part", middle, size, kind),))
    advice: Advice = advise(face, [Pad("spot", "left", at, None, SEAT)], BONDED)
    aside = [max(abs(a - m) - s / 2, 0.0) for a, m, s in zip(at, middle, size, strict=True)]
    for _ in advice.ranked:
        assert math.hypot(*aside) - BONDED.base / 2 >= CLEAR_OF[kind] - 1e-12


@pytest.mark.parametrize(
    ("kind", "wanted", "severe"),
    [  # trade.md, section 4: 50 mm from what turns and outside guards, 15 mm from the split; the rest common practice, no source
        ("rotating part", 50, True),
        ("guard", 50, False),
        ("fan shroud", 50, False),
        ("seal", 20, False),
        ("split line", 15, False),
        ("hot zone", 10, False),
        ("port", 10, False),
    ],
)
def test_each_kind_of_keep_out_has_its_distance_and_what_turns_blocks(kind: str, wanted: int, severe: bool) -> None:
    """A base of 30 mm at 0.3 m ends at 315 mm; the part begins a millimetre too near, then just far enough."""
    for gap, found in ((wanted - 1, 1), (wanted, 0)):
        part = KeepOut("part", (0.3 + 0.015 + gap / 1000 + 0.02 + 1e-9, 0.2), (0.04, 0.04), kind)
        face = Face("left", (0.62, 0.43), (part,))
        broken = list(violations(face, Pad("p", "left", (0.3, 0.2), None, None), Footprint(0.03)))
        assert len(broken) == found
        assert all(one.severe == severe and f"{wanted} mm is wanted" in one.says for one in broken)


def test_pads_round_a_seat_stand_half_of_the_near_distance_out() -> None:
    """75 mm from the seat counts as near (trade.md, section 4): 37.5 mm leaves room to move the sensor and stay by its bearing."""
    seat = Seat("b", (0.3, 0.2), 0.1)
    round_it = [pad for pad in pads(Face("left", (0.62, 0.43), seats=(seat,)), "b") if "o'clock" in pad.name]
    assert len(round_it) == 12
    assert all(math.dist(pad.at, seat.at) - 0.05 == pytest.approx(NEAR_SEAT / 2) for pad in round_it)
