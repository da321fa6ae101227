"""Thermal settling and failed probes. Outside check: scipy's curve fit of the same lag; the lag's own closed form."""

import math

import numpy as np
import pytest
import scipy.optimize
from hypothesis import given, settings
from hypothesis import strategies as st

from gearcase.errors import OutOfRange
from gearcase.judge.settling import probe, settling

TIME = np.arange(0.0, 9000.0, 60.0)


def lag(time, end, over, constant):
    return end + over * np.exp(-time / constant)


@settings(deadline=None, max_examples=25)
@given(st.floats(300, 380), st.floats(-60, -5), st.floats(300, 6000), st.integers(0, 1000))
def test_the_fit_is_that_of_scipy(end: float, over: float, constant: float, seed: int) -> None:
    warm = lag(TIME, end, over, constant) + np.random.default_rng(seed).normal(0, 0.1, len(TIME))
    found = settling(TIME, warm)
    (end, over, constant), _ = scipy.optimize.curve_fit(lag, TIME, warm, p0=(end, over, constant))
    assert found.time_constant_s == pytest.approx(constant, rel=1e-3)
    assert (found.end_k, found.start_k) == pytest.approx((end, end + over), abs=0.02)


def test_a_drive_that_cools_has_its_constant_too() -> None:
    found = settling(TIME, lag(TIME, 300.0, 40.0, 1200.0))
    assert (found.start_k, found.end_k) == pytest.approx((340.0, 300.0), abs=0.01)
    assert found.settled_after_s == pytest.approx(4800.0, rel=1e-3)


def test_what_only_scatters_or_has_only_begun_is_not_fitted() -> None:
    assert settling(TIME, 350.0 + np.random.default_rng(1).normal(0, 0.2, len(TIME))) is None
    assert settling(TIME, np.full(len(TIME), 350.0)) is None
    assert settling(TIME, 300.0 + 0.001 * TIME) is None  # still rising evenly: no end in sight


@pytest.mark.parametrize(("failing", "failed"), [(0, False), (1, False), (3, True), (20, True)])
def test_a_probe_fails_by_readings_that_no_drive_can_show(failing: int, failed: bool) -> None:
    warm = lag(TIME, 350.0, -50.0, 1800.0)
    warm[100 : 100 + failing] = 700.0
    said = probe(TIME, warm)
    assert said.failed is failed
    assert ("probe has failed" in said.says) is failed
    assert bool(said.impossible) is bool(failing)


def test_a_fast_change_is_asked_about() -> None:
    """30 K within a minute: once may be a probe put into its pocket, three times is none."""
    warm = np.full(10, 300.0)
    warm[5:] += 31.0
    assert (probe(TIME[:10], warm).failed, probe(TIME[:10], warm).impossible) == (False, (5,))
    warm[5:] -= 2.0
    assert probe(TIME[:10], warm).impossible == ()


@pytest.mark.parametrize("judge", [settling, probe])
def test_bad_input_is_named(judge) -> None:
    with pytest.raises(OutOfRange, match="times that rise"):
        judge([0.0, 0.0, 1.0], [300.0] * 3)
    with pytest.raises(OutOfRange, match="none missing"):
        judge(TIME, np.where(TIME > 600, math.nan, 300.0))
    with pytest.raises(OutOfRange, match="or more"):
        judge([], [])


@pytest.mark.parametrize(("readings", "failed"), [(0, False), (1, False), (2, False), (3, True), (9, True)])
def test_three_impossible_readings_and_it_is_the_probe(readings: int, failed: bool) -> None:
    """900 K is no part of a drive that runs; one or two may be a cable that was touched (common practice, no source)."""
    warm = np.full(40, 330.0)
    warm[2 : 2 + 4 * readings : 4] = 900.0
    time = 600.0 * 3600.0 * np.arange(40)  # so slowly that going back is no jump
    assert probe(time, warm).failed is failed
