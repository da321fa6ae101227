"""Pipe threads against the standards' rows, and what gauging tells apart; sources stand beside each check."""

import itertools
import math

import pytest

from gearcase.errors import OutOfRange
from gearcase.install.pipe_threads import (
    FAMILIES,
    PipeThread,
    effective_length,
    hand_tight_turns,
    identify,
    mating,
    pipe_thread,
    port_ruling,
    small_end_pitch_diameter,
    tell_apart,
)
from gearcase.tables import load
from published import rows

INCH = 0.0254
CALIPER = 0.05e-3  # m


def every_thread() -> list[PipeThread]:
    return [
        pipe_thread(row["size"] if row["family"] in ("M", "UNF") else f"{row['family']} {row['size']}")
        for row in load("pipe_threads")
    ]


NPT = rows("pipe_threads_npt.csv")


@pytest.mark.parametrize("row", NPT, ids=lambda row: row["size"])
def test_the_sixty_degree_taper_is_the_standards(row: dict[str, str]) -> None:
    """ASME B1.20.1, each figure to its last printed digit."""
    thread = pipe_thread(f"NPT {row['size']}")
    outside, pitch = float(row["pipe_od_in"]) * INCH, INCH / float(row["tpi"])
    assert (thread.nominal, thread.most_major, thread.pitch) == pytest.approx((outside, outside, pitch), abs=1e-6)
    assert thread.taper == 1 / 16 and row["taper"].startswith("1:16")
    assert thread.hand_tight is not None
    assert thread.hand_tight / INCH == pytest.approx(float(row["hand_tight_L1_in"]), abs=5e-6)
    assert thread.tap_drill.removesuffix(" in") == row["tap_drill"]
    assert effective_length(pipe_diameter=outside, pitch=pitch) / INCH == pytest.approx(
        float(row["effective_thread_L2_in"]), abs=6e-5
    )
    small = small_end_pitch_diameter(pipe_diameter=outside, pitch=pitch)
    assert small / INCH == pytest.approx(float(row["E0_in"]), abs=6e-6)
    assert (small + thread.hand_tight * thread.taper) / INCH == pytest.approx(float(row["E1_in"]), abs=6e-6)


@pytest.mark.parametrize("size", ["1/8", "1/4", "3/8", "1/2", "3/4", "1", "1 1/4", "1 1/2", "2"])
def test_the_fifty_five_degree_sizes_agree_in_taper_and_parallel(size: str) -> None:
    """ISO 7-1 and ISO 228-1 share major diameter at the gauge plane and pitch; rise 1 in 16."""
    taper, parallel = pipe_thread(f"R {size}"), pipe_thread(f"G {size}")
    assert (taper.nominal, taper.pitch, taper.angle) == (parallel.nominal, parallel.pitch, parallel.angle)
    assert (taper.taper, parallel.taper) == (1 / 16, 0.0)
    assert taper.least_major < taper.nominal < taper.most_major and parallel.most_major == parallel.nominal


MINOR = {"1/8": 8.566, "1/4": 11.445, "3/8": 14.950, "1/2": 18.631, "3/4": 24.117, "1": 30.291, "1 1/4": 38.952, "2": 56.656}


@pytest.mark.parametrize("size", MINOR)
def test_fifty_five_degree_minor_diameters_follow_from_pitch_and_major(size: str) -> None:
    """Form depth 0.640327 P either side (ISO 228-1); minor diameters of that standard, mm, from memory."""
    thread = pipe_thread(f"G {size}")
    assert 1000 * (thread.nominal - 2 * 0.640327 * thread.pitch) == pytest.approx(MINOR[size], abs=1.5e-3)


@pytest.mark.parametrize("thread", every_thread(), ids=lambda thread: thread.name)
def test_a_plug_gauged_in_every_way_is_only_itself(thread: PipeThread) -> None:
    middle = (thread.least_major + thread.most_major) / 2
    found = identify(pitch=thread.pitch, angle=thread.angle, major_diameter=middle, tapered=thread.taper > 0, caliper_error=CALIPER)
    assert found == (thread,)
    assert port_ruling(found).holds and thread.name in port_ruling(found).cure


@pytest.mark.parametrize("thread", every_thread(), ids=lambda thread: thread.name)
def test_gauging_what_is_asked_for_leaves_one(thread: PipeThread) -> None:
    """From the pitch alone, each answer to what `tell_apart` asks narrows the candidates until the true one is left."""
    known: dict[str, float | bool | None] = {"pitch": thread.pitch, "angle": None, "major_diameter": None, "tapered": None}
    for _ in range(4):
        found = identify(**known, caliper_error=CALIPER)  # type: ignore[arg-type]
        assert thread in found
        asks = tell_apart(found)
        if not asks:
            break
        if asks[0].startswith("form gauge"):
            known["angle"] = thread.angle
        elif asks[0].startswith("caliper at both ends"):
            known["tapered"] = thread.taper > 0
        else:
            assert asks[0].startswith("caliper on the largest")
            known["major_diameter"] = (thread.least_major + thread.most_major) / 2
    assert found == (thread,)


def test_tapers_that_start_and_then_leak_are_the_half_and_the_three_quarter() -> None:
    """Trade fact: 1/2 and 3/4 of both angles share 14 threads per inch; the other sizes bind."""
    sizes = [row["size"] for row in load("pipe_threads") if row["family"] == "NPT"]
    both = {
        size: {mating(pipe_thread(f"{a} {size}"), pipe_thread(f"{b} {size}")) for a, b in (("R", "NPT"), ("NPT", "R"))}
        for size in sizes
    }
    assert {size for size, ends in both.items() if ends == {"starts, then leaks"}} == {"1/2", "3/4"}
    assert all(ends == {"starts, then binds"} for size, ends in both.items() if size not in ("1/2", "3/4", "1 1/2", "2"))


def test_a_plug_never_starts_in_the_next_size_of_its_family() -> None:
    for family in FAMILIES:
        sizes = [thread for thread in every_thread() if thread.family == family]
        for one, other in itertools.permutations(sizes, 2):
            assert mating(one, other) == "does not start"
        assert all(mating(one, one) == "fits" for one in sizes)


def test_a_parallel_plug_in_a_taper_port_seals_only_on_its_face() -> None:
    assert mating(pipe_thread("G 1/2"), pipe_thread("R 1/2")) == "fits, seals only on a face"


def test_an_unsure_port_names_what_to_gauge_and_orders_nothing() -> None:
    found = identify(pitch=INCH / 14, angle=None, major_diameter=26.2e-3, tapered=True, caliper_error=CALIPER)
    ruling = port_ruling(found)
    assert [thread.name for thread in found] == ["NPT 3/4", "R 3/4"]
    assert not ruling.holds and "55 degrees" in ruling.cure and "order" not in ruling.cure


def test_a_thread_that_no_table_holds_is_gauged_again() -> None:
    ruling = port_ruling(identify(pitch=3.1e-3, angle=None, major_diameter=0.02, tapered=None, caliper_error=CALIPER))
    assert ruling.value == 0 and not ruling.holds and "gauge the plug again" in ruling.cure


def test_nothing_gauged_identifies_nothing() -> None:
    with pytest.raises(OutOfRange, match="pitch, angle or major diameter"):
        identify(pitch=None, angle=None, major_diameter=None, tapered=True, caliper_error=CALIPER)
    with pytest.raises(OutOfRange, match=r"pitch=0\.0: above 0"):
        identify(pitch=0.0, angle=None, major_diameter=None, tapered=None, caliper_error=CALIPER)
    with pytest.raises(OutOfRange, match="NPT 1/8, NPT 1/4"):
        pipe_thread("NPT 5/8")


def test_a_half_inch_taper_goes_in_four_and_a_half_turns_by_hand() -> None:
    """L1 of 0.320 in at 14 threads per inch, ASME B1.20.1."""
    thread = pipe_thread("NPT 1/2")
    assert thread.hand_tight is not None
    assert hand_tight_turns(hand_tight=thread.hand_tight, pitch=thread.pitch) == pytest.approx(4.48)
    assert math.degrees(thread.angle) == pytest.approx(60)
