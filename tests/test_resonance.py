"""Stack resonance and the grades of lines against published rows and an eigenvalue solver; sources stand beside each check."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.linalg import eigh

from gearcase.errors import OutOfRange
from gearcase.install.mounting import Sight, line_sights, mount_names, mount_sight, stack_sight
from gearcase.install.orientation import amplitude_lost, angle_between, cross_axis_pickup
from gearcase.install.resonance import (
    combined_resonance,
    layer_stiffness,
    loaded_share,
    mass_ruling,
    mounted_resonance,
    response_factor,
    usable_fraction,
    usable_hz,
)
from published import Check, check_id, checks


@pytest.mark.parametrize("check", checks("mounting_checks.csv", "MT"), ids=check_id)
def test_tilt_follows_from_three_static_axes(check: Check) -> None:
    found = angle_between([check.given[f"{axis}_g"] for axis in "xyz"], [0.0, 0.0, 1.0])
    assert math.degrees(found) == pytest.approx(check.value, rel=check.tolerance, abs=1e-9)


@pytest.mark.parametrize("check", checks("mounting_checks.csv", "MX", "MY"), ids=check_id)
def test_an_axis_off_its_direction_loses_and_picks_up_by_projection(check: Check) -> None:
    by = {"amplitude_loss_percent": amplitude_lost, "cross_axis_pickup_percent": cross_axis_pickup}[check.quantity]
    assert 100 * by(angle=math.radians(check.given["angle_deg"])) == pytest.approx(check.value, rel=check.tolerance)


stiffnesses = st.floats(1e6, 1e10)
masses = st.floats(0.01, 1.0)
resonances = st.floats(100.0, 50000.0)


@pytest.mark.parametrize("check", checks("mounting_checks.csv", "MR1"), ids=check_id)
def test_usable_fractions_are_the_handbooks(check: Check) -> None:
    assert usable_fraction(error=check.given["error"]) == pytest.approx(check.value, rel=check.tolerance)


@pytest.mark.parametrize("check", checks("mounting_checks.csv", "MR2"), ids=check_id)
def test_response_factors_agree_with_the_model(check: Check) -> None:
    found = response_factor(frequency_ratio=check.given["f_over_fn"], damping=check.given["zeta"])
    assert found == pytest.approx(check.value, rel=check.tolerance)


@pytest.mark.parametrize("check", checks("mounting_checks.csv", "MR3"), ids=check_id)
def test_upper_limits_follow_from_the_mounted_resonance(check: Check) -> None:
    found = usable_hz(resonance_hz=check.given["fn_hz"], error=check.given["error"])
    assert found == pytest.approx(check.value, rel=check.tolerance)


@pytest.mark.parametrize("check", checks("mounting_checks.csv", "MR4"), ids=check_id)
def test_a_mass_on_a_spring_rings_where_the_rows_say(check: Check) -> None:
    found = mounted_resonance(stiffness=check.given["k_n_per_m"], mass=check.given["mass_kg"])
    assert found == pytest.approx(check.value, rel=check.tolerance)


@given(error=st.floats(0.001, 1.0))
def test_at_the_usable_fraction_the_reading_is_high_by_just_that_error(error: float) -> None:
    assert response_factor(frequency_ratio=usable_fraction(error=error), damping=0.0) == pytest.approx(1 + error)


@given(parts=st.lists(resonances, min_size=2, max_size=6))
def test_a_stack_rings_lower_than_any_of_its_parts(parts: list[float]) -> None:
    """And not lower than the lowest over the root of their number, which equal parts reach."""
    stack = combined_resonance(**{f"part{n}": hz for n, hz in enumerate(parts)})
    assert min(parts) / math.sqrt(len(parts)) <= stack * (1 + 1e-12) and stack < min(parts)


@given(springs=st.lists(stiffnesses, min_size=1, max_size=5), mass=masses)
def test_springs_in_a_row_under_one_mass_are_one_spring(springs: list[float], mass: float) -> None:
    """Textbook: 1/k = sum of 1/k_i; here the formula is exact."""
    one = mounted_resonance(stiffness=1 / sum(1 / k for k in springs), mass=mass)
    row = combined_resonance(**{f"spring{n}": mounted_resonance(stiffness=k, mass=mass) for n, k in enumerate(springs)})
    assert row == pytest.approx(one)


@given(links=st.lists(st.tuples(stiffnesses, masses), min_size=2, max_size=4))
def test_a_stack_never_promises_more_than_the_eigenvalues_do(links: list[tuple[float, float]]) -> None:
    """Chain of masses and springs from the housing up, lowest eigenvalue by scipy: Dunkerley's figure lies at it or below.

    And not below it over the root of the number of parts: the sum is the trace of the inverse problem, at most so many times its
    largest eigenvalue.
    """
    count = len(links)
    stiff, mass = np.zeros((count, count)), np.diag([m for _, m in links])
    for n, (k, _) in enumerate(links):
        stiff[n, n] += k
        if n:
            stiff[n - 1, n - 1] += k
            stiff[n, n - 1] -= k
            stiff[n - 1, n] -= k
    lowest = math.sqrt(eigh(stiff, mass, eigvals_only=True)[0]) / (2 * math.pi)
    above = [sum(m for _, m in links[n:]) for n in range(count)]
    alone = {f"link{n}": mounted_resonance(stiffness=k, mass=above[n]) for n, (k, _) in enumerate(links)}
    found = combined_resonance(**alone)
    assert lowest / math.sqrt(count) * (1 - 1e-6) <= found <= lowest * (1 + 1e-6)


@given(modulus=st.floats(1e6, 2e11), area=st.floats(1e-5, 1e-2), thickness=st.floats(1e-5, 1e-2))
def test_half_the_bond_line_or_twice_the_area_is_twice_as_stiff(modulus: float, area: float, thickness: float) -> None:
    one = layer_stiffness(modulus=modulus, area=area, thickness=thickness)
    assert layer_stiffness(modulus=modulus, area=area, thickness=thickness / 2) == pytest.approx(2 * one)
    assert layer_stiffness(modulus=modulus, area=2 * area, thickness=thickness) == pytest.approx(2 * one)


def test_a_stack_rings_below_its_softest_part_and_a_stiffer_one_raises_it() -> None:
    stud = mounted_resonance(stiffness=1e9, mass=0.1)
    soft, hard = (mounted_resonance(stiffness=k, mass=0.15) for k in (5e7, 5e9))
    slow, fast = (combined_resonance(sensor=25000.0, stud=stud, bond=bond) for bond in (soft, hard))
    assert slow < soft and slow < fast < min(25000.0, stud, hard)


def test_a_resonance_of_nothing_is_refused() -> None:
    with pytest.raises(OutOfRange, match="the resonance of one part at least"):
        combined_resonance()
    with pytest.raises(OutOfRange, match="above 0 at the resonance itself"):
        response_factor(frequency_ratio=1.0, damping=0.0)


def test_sensor_and_pad_may_be_a_tenth_of_the_spot() -> None:
    """ISO 5348 general advice, row MN5 of mounting_checks.csv."""
    assert mass_ruling(sensor_mass=0.07, pad_mass=0.03, dynamic_mass=1.001).holds
    heavy = mass_ruling(sensor_mass=0.07, pad_mass=0.03, dynamic_mass=0.5)
    assert not heavy.holds and heavy.shortfall == pytest.approx(0.1) and "1 kg dynamic mass" in heavy.cure
    assert loaded_share(dynamic_mass=1.0, added_mass=0.1) == pytest.approx(1 / math.sqrt(1.1))
    with pytest.raises(OutOfRange, match="0 kg or more"):
        mass_ruling(sensor_mass=0.1, pad_mass=-0.1, dynamic_mass=1.0)


@given(resonance=st.floats(500, 60000), highest=st.floats(500, 20000))
def test_a_line_below_the_true_limit_reads_high_by_ten_per_cent_at_most(resonance: float, highest: float) -> None:
    band = stack_sight(lowest_hz=2.0, highest_hz=highest, resonance_hz=resonance, weakest="pad")
    assert band.lowest_hz < band.true_hz <= band.detectable_hz <= highest
    assert response_factor(frequency_ratio=band.true_hz / resonance, damping=0.0) <= 1.1 + 1e-9
    assert band.detectable_hz < resonance
    assert (band.limited_by == "sensor") == (highest < usable_hz(resonance_hz=resonance, error=0.1))


def test_a_true_line_needs_no_cure_and_every_other_has_one() -> None:
    lines = {f"line {n}": hz for n, hz in enumerate((1.0, 50.0, 900.0, 1900.0, 3900.0, 20000.0))}
    for mount in mount_names():
        passes = mount_sight(mount)
        band = Sight(5.0, passes.true_hz, passes.detectable_hz, passes.limited_by)
        seen = line_sights(band, lines)
        assert {line.name for line in seen} == set(lines)
        for line in seen:
            assert line.grade == band.grade(line.hz) and (line.grade == "true") == (line.cure == "")
        assert seen[0].grade == "not seen"


def test_the_cure_of_a_line_really_cures_it() -> None:
    (line,) = line_sights(mount_sight("magnet on paint"), {"mesh": 3000.0})
    assert line.grade == "not seen"
    better = line.cure.split(": ")[1].split(", ")
    assert better == ["stud", "rigid adhesive", "adhesive pad"]
    assert all(mount_sight(mount).grade(3000.0) == "true" for mount in better)
    low, high, above = line_sights(Sight(5.0, 4000.0, 4000.0, "sensor"), {"cage": 1.0, "impacts": 6000.0, "ring": 9000.0})
    assert (low.name, high.name, above.name) == ("ring", "impacts", "cage")
    assert "reaches 9000 Hz" in low.cure and "begins at 1 Hz" in above.cure
    (beyond,) = line_sights(mount_sight("stud"), {"ring": 12000.0})
    assert beyond.grade == "detectable" and "envelope" in beyond.cure
