"""Limits of three months. Outside checks: Huber's regression on the stack loss data against a reference library, and against
scipy's minimiser at the same scale; laws of bringing a level to the reference."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares

from gearcase.errors import OutOfRange
from gearcase.judge.compensation import CONDITIONS, LevelModel, fit_level, huber_regression
from gearcase.judge.limits import three_month

# K. A. Brownlee, Statistical Theory and Methodology in Science and Engineering, 1965: air flow, water temperature, acid, stack loss
STACK = np.array(
    [
        *((80, 27, 89, 42), (80, 27, 88, 37), (75, 25, 90, 37), (62, 24, 87, 28), (62, 22, 87, 18), (62, 23, 87, 18)),
        *((62, 24, 93, 19), (62, 24, 93, 20), (58, 23, 87, 15), (58, 18, 80, 14), (58, 18, 89, 14), (58, 17, 88, 13)),
        *((58, 18, 82, 11), (58, 19, 93, 12), (50, 18, 89, 8), (50, 18, 86, 7), (50, 19, 72, 8), (50, 19, 79, 8)),
        *((50, 20, 80, 9), (56, 20, 82, 15), (70, 20, 91, 15)),
    ],
    dtype=float,
)
# statsmodels 0.15.0: RLM(stack loss, add_constant(rest), M=HuberT()).fit(tol=1e-14, conv="coefs")
BY_STATSMODELS = (-41.02649835240028, 0.8293843346001099, 0.9260659661966484, -0.12784672494578536)
SCALE_BY_STATSMODELS = 2.4405360917210692


def test_it_agrees_with_a_reference_library_on_the_stack_loss_data() -> None:
    design = np.column_stack([np.ones(len(STACK)), STACK[:, :3]])
    found, sigma = huber_regression(design, STACK[:, 3])
    # the library divides by the normal quantile 0.674490, here it is times 1.4826: 1.5 in a million apart
    assert found == pytest.approx(BY_STATSMODELS, rel=2e-6)
    assert sigma == pytest.approx(SCALE_BY_STATSMODELS, rel=2e-6)


@pytest.mark.parametrize("seed", range(4))
def test_at_its_own_scale_it_is_what_scipy_minimises(seed: int) -> None:
    rng = np.random.default_rng(seed)
    design = np.column_stack([np.ones(300), rng.normal(size=(300, 3))])
    target = design @ [1.0, -2.0, 0.5, 3.0] + 0.3 * rng.standard_t(2, 300)
    found, sigma = huber_regression(design, target)
    least = least_squares(lambda b: design @ b - target, np.zeros(4), loss="huber", f_scale=1.345 * sigma, xtol=1e-14, gtol=1e-12)
    assert found == pytest.approx(least.x, abs=1e-5)
    assert sigma == pytest.approx(1.4826 * np.median(np.abs(target - design @ found)))


def months(seed: int = 1, records: int = 4000, scatter: float = 0.05) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Level as speed squared, 30 % more at full load, falling 0.4 % a kelvin as the oil warms."""
    rng = np.random.default_rng(seed)
    conditions = {
        "speed": rng.uniform(15.0, 25.0, records),
        "load": rng.uniform(0.3, 1.0, records),
        "oil temperature": rng.uniform(310.0, 345.0, records),
    }
    log = 2 * np.log(conditions["speed"] / 20) + 0.3 * conditions["load"] - 0.004 * (conditions["oil temperature"] - 330)
    return 1e-3 * np.exp(log + scatter * rng.normal(size=records)), conditions


def test_what_speed_load_and_oil_do_is_found_and_a_fault_at_the_end_does_not_move_it() -> None:
    level, conditions = months()
    level[-400:] *= 10 ** (12 / 20)  # of three months the last ten days are not healthy
    model = fit_level(level, conditions)
    assert model.slope["speed"] == pytest.approx(2.0, abs=0.03)
    assert model.slope["load"] == pytest.approx(0.3, abs=0.03) and model.slope["oil temperature"] == pytest.approx(-0.004, abs=4e-4)
    assert model.sigma == pytest.approx(0.05, rel=0.2)
    at = {"speed": 24.0, "load": 0.9, "oil temperature": 312.0}
    truth = 1e-3 * math.exp(2 * math.log(24 / 20) + 0.3 * 0.9 - 0.004 * (312 - 330))
    assert model.level * model.factor(at) == pytest.approx(truth, rel=0.02)
    assert model.factor(model.reference) == pytest.approx(1.0)
    assert LevelModel.of(model.as_dict()) == model


def test_what_cannot_be_told_is_left_out_and_said() -> None:
    level, conditions = months()
    rng = np.random.default_rng(5)
    still = fit_level(level, {**conditions, "speed": np.full(len(level), 24.75)})
    assert still.left_out == {"speed": "it hardly varied"} and "speed" not in still.slope
    together = {"speed": conditions["speed"], "load": conditions["speed"] / 25 + 0.001 * rng.normal(size=len(level))}
    assert fit_level(level, together).left_out == {"load": "it moves with speed"}


def test_outside_what_was_trained_nothing_is_known_or_the_line_is_followed_no_further() -> None:
    level, conditions = months()
    model = fit_level(level, conditions)
    at = {"speed": 20.0, "load": 0.5, "oil temperature": 330.0}
    assert model.not_trained(at) == ""
    assert model.not_trained({**at, "speed": 30.0}).startswith("speed 30 Hz, trained from 15")
    assert model.not_trained({**at, "load": 0.1}).startswith("load 0.1, trained from 0.3")
    assert model.not_trained({"speed": 20.0, "load": 0.5}) == "oil temperature not known"
    cold, colder = ({**at, "oil temperature": kelvin} for kelvin in (285.0, 250.0))
    assert model.outside_oil(at) == 0 and model.outside_oil(cold) == pytest.approx(25.0, abs=0.5)
    assert model.factor(cold) == model.factor(colder) > model.factor(at)


@settings(deadline=None, max_examples=40)
@given(st.floats(0.2, 5.0), st.integers(0, 1000), st.permutations(range(200)))
def test_a_gain_moves_the_level_and_nothing_else_and_order_does_not_matter(gain: float, seed: int, order: list[int]) -> None:
    level, conditions = months(seed, 200)
    one = fit_level(level, conditions)
    two = fit_level(gain * level[order], {name: row[order] for name, row in conditions.items()})
    assert two.level == pytest.approx(gain * one.level, rel=1e-6) and two.sigma == pytest.approx(one.sigma, rel=1e-5)
    assert all(two.slope[name] == pytest.approx(one.slope[name], abs=1e-6) for name in CONDITIONS)


@pytest.mark.parametrize(
    ("quantity", "sigma", "yellow_db", "danger_db"),
    [
        ("overall velocity", 0.01, 3.0, 10.0),
        ("overall velocity", 0.15, 20 * 4.5 * 0.15 / math.log(10), 10.0),
        ("high-frequency acceleration", 0.01, 6.0, 10.0),
        ("high-frequency acceleration", 0.25, 20 * 4.5 * 0.25 / math.log(10), 20 * 4.5 * 0.25 / math.log(10) + 3),
    ],
)
def test_limits_stand_so_many_decibels_over_the_usual_level(
    quantity: str, sigma: float, yellow_db: float, danger_db: float
) -> None:
    """Common practice, no source: 4 to 5 robust sigma, at least 3 dB overall and 6 dB for bands; danger 10 dB."""
    model = LevelModel(2.0, sigma, {"speed": 20.0}, {"speed": 2.0}, {"speed": (10.0, 25.0)}, {}, 500)
    limit = three_month(model, point="p", quantity=quantity, unit="m/s2", role="r", now=0.0)
    assert limit.yellow is not None and limit.danger is not None and limit.low is not None
    assert 20 * math.log10(limit.yellow.value / 2.0) == pytest.approx(yellow_db)
    assert 20 * math.log10(limit.danger.value / 2.0) == pytest.approx(danger_db, abs=1e-6)
    assert limit.low.value == pytest.approx(2.0 / 3) and limit.note == "brought to 1200 rpm"
    assert limit.yellow.recalculate() == limit.yellow.value and limit.expires == 90 * 86400


@pytest.mark.parametrize(
    ("values", "conditions", "says"),
    [
        (np.ones(10), {}, "50 records or more"),
        (np.zeros(60), {}, "above 0"),
        (np.full(60, np.nan), {}, "above 0"),
        (np.ones(60), {"mood": np.ones(60)}, "of speed, load, oil temperature"),
        (np.ones(60), {"speed": np.zeros(60)}, "a speed above 0"),
        (np.ones(60), {"load": np.full(60, np.nan)}, "none missing"),
        (np.ones(60), {"load": np.ones(59)}, "as many as there are records, 60"),
    ],
)
def test_what_cannot_be_fitted_is_refused(values: np.ndarray, conditions: dict[str, np.ndarray], says: str) -> None:
    with pytest.raises(OutOfRange, match=says):
        fit_level(values, conditions)


def test_the_same_level_every_time_has_no_scatter() -> None:
    model = fit_level(np.full(60, 3.0), {"load": np.linspace(0.2, 0.8, 60)})
    assert model.sigma == pytest.approx(0.0, abs=1e-9) and model.level == pytest.approx(3.0)
