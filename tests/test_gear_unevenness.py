"""Sidebands that uneven gears make, against sums done by hand here: Fourier coefficients of a sequence of teeth."""

import numpy as np
import pytest

from gearcase.drive.gear_unevenness import unevenness


def spectrum(teeth: dict[str, int], turns_of_first: int, **given: float) -> np.ndarray:
    """Of the factor over whole turns of both gears, bins at the first one's turns."""
    first, second = teeth.values()
    steps = 64
    at = np.arange(turns_of_first * first * steps) / (first * steps)
    turns = {"a": at, "b": at * first / second}
    given = {"scatter": 0.0, "swing": 0.0} | given
    factor = unevenness(turns, teeth, rng=np.random.default_rng(3), **given)
    return np.fft.fft(factor) / factor.size


def test_perfect_gears_mesh_evenly() -> None:
    found = spectrum({"a": 20, "b": 30}, 30)
    assert found[0] == pytest.approx(1.0) and np.abs(found[1:]).max() < 1e-12


def power(teeth: dict[str, int], turns_of_first: int, bins: list[int]) -> float:
    """Mean square of these bins over many pairs of gears, teeth that scatter by 0.05."""
    first, second = teeth.values()
    at = np.arange(turns_of_first * first * 8) / (first * 8)
    turns = {"a": at, "b": at * first / second}
    found = []
    for seed in range(200):
        factor = unevenness(turns, teeth, scatter=0.05, swing=0.0, rng=np.random.default_rng(seed))
        found.append(np.abs(np.fft.fft(factor)[bins] / factor.size) ** 2)
    return float(np.mean(found))


def test_each_gear_has_sidebands_of_its_own_turns_as_strong_as_random_teeth_make_them() -> None:
    """A coefficient of z random complex numbers of variance 2 s^2 has mean square 2 s^2 / z. Fading, a Hann window two teeth long,
    takes 3 % at the third sideband of 19 teeth.
    """
    teeth = {"a": 19, "b": 37}
    assert power(teeth, 37, [37, 74, 111]) == pytest.approx(2 * 0.05**2 / 19, rel=0.2)
    assert power(teeth, 37, [19, 38, 57]) == pytest.approx(2 * 0.05**2 / 37, rel=0.2)
    assert power(teeth, 37, [30, 50, 70]) < 0.05 * 2 * 0.05**2 / 37  # between them


def test_counts_with_a_shared_factor_have_lines_at_the_assembly_phase() -> None:
    """20 and 25 teeth share 5: four times a turn of the first, five times one of the second, and the groups of 5 there as well.
    Fading takes 7 % of the power at the fourth sideband of 20 teeth.
    """
    assert power({"a": 20, "b": 25}, 5, [20]) == pytest.approx(0.93 * 2 * 0.05**2 * (1 / 20 + 1 / 25 + 1 / 5), rel=0.25)


def test_a_gear_that_is_oval_swings_the_mesh_twice_a_turn() -> None:
    found = np.abs(spectrum({"a": 20, "b": 31}, 31, swing=0.2))
    assert found[62] == pytest.approx(0.3 * 0.2 / 2, rel=1e-6)
