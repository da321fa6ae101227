"""The usual temperature of a drive. Outside check: the law of first-order heating, integrated by scipy with its own steps."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from gearcase.judge.limits import three_month_temperature
from gearcase.judge.warming import FORGETS, DrivingHistory, Heat, WarmingModel, fit_warming

DAY, MINUTE = 86400.0, 300.0
LAG, RISE, BY_SPEED, BY_LOAD = 2400.0, 30.0, 20.0, 12.0  # s; K at the reference, for a speed twice as high, for rated load
SPEED_HZ, LOAD = 24.75, 0.6


def driven(days: int, *, seed: int = 1) -> DrivingHistory:
    """Shifts of 3 to 12 h with stops between, each at one of two speeds and a load that changes every hour; days and seasons."""
    rng = np.random.default_rng(seed)
    time = np.arange(0.0, days * DAY, MINUTE)
    running, speed, load = np.zeros(time.size), np.zeros(time.size), np.zeros(time.size)
    at = 0
    while at < time.size:
        on, off = round(rng.uniform(3, 12) * 12), round(rng.uniform(1, 8) * 12)
        shift = slice(at + off, at + off + on)
        running[shift] = 1
        speed[shift] = rng.choice([SPEED_HZ, 0.8 * SPEED_HZ])
        load[shift] = np.repeat(rng.uniform(0.3, 0.9, on // 12 + 1), 12)[: load[shift].size]
        at += on + off
    ambient = 290 + 10 * np.sin(2 * np.pi * time / (365 * DAY)) + 5 * np.sin(2 * np.pi * time / DAY)
    return DrivingHistory(time, running, speed, load, ambient, "ambient temperature")


def heated(history: DrivingHistory, *, hotter_k: float = 0.0, since_s: float = np.inf) -> np.ndarray:
    """Temperature by the law itself; from a moment on it settles hotter for the same work."""
    assert history.speed_hz is not None and history.load is not None and history.around_k is not None
    on, speed, load, ambient = history.running, history.speed_hz, history.load, history.around_k
    goal = ambient + on * (
        RISE + BY_SPEED * (speed / SPEED_HZ - 1) + BY_LOAD * (load - LOAD) + hotter_k * (history.time_s >= since_s)
    )
    warm = [float(ambient[0])]
    for first, last, towards in zip(history.time_s[:-1], history.time_s[1:], goal[:-1], strict=True):
        step = solve_ivp(lambda _, t, g=towards: (g - t) / LAG, (first, last), warm[-1:], method="RK23", first_step=last - first)
        warm.append(float(step.y[0, -1]))
    return np.array(warm)


@pytest.fixture(scope="module")
def history() -> DrivingHistory:
    return driven(40)


@pytest.fixture(scope="module")
def warm(history: DrivingHistory) -> np.ndarray:
    return heated(history) + np.random.default_rng(2).normal(0, 0.3, history.time_s.size)


@pytest.fixture(scope="module")
def model(history: DrivingHistory, warm: np.ndarray) -> WarmingModel:
    found = fit_warming(history, warm, judged=history.running == 1)
    assert found is not None
    return found


def test_time_constant_and_rises_of_the_law_are_found(model: WarmingModel) -> None:
    assert model.time_constant_s == pytest.approx(LAG, rel=0.05)
    at = model.reference
    usual = RISE + BY_SPEED * (at["speed"] / SPEED_HZ - 1) + BY_LOAD * (at["load"] - LOAD) + at["around"]
    assert model.level == pytest.approx(usual, abs=0.3) and model.offset_k == pytest.approx(0.0, abs=0.3)
    assert model.rise["speed"] == pytest.approx(BY_SPEED * at["speed"] / SPEED_HZ, rel=0.05)
    assert model.rise["load"] == pytest.approx(BY_LOAD, rel=0.05)
    assert model.sigma == pytest.approx(0.3, rel=0.15) and model.left_out == {}


def test_what_cold_starts_load_and_weather_do_is_no_alarm_and_a_few_kelvins_of_the_bearing_are(model: WarmingModel) -> None:
    """The same drive for another month, healthy and 8 K hotter for the same work from its fifteenth day on. Fixed figures of 80 °C
    and 40 K over ambient (common practice, no source) do not see it.
    """
    month = driven(30, seed=7)
    limit = three_month_temperature(model, point="p", role="r", now=0.0)
    assert limit.yellow is not None and limit.danger is not None and month.around_k is not None
    assert limit.yellow.value == pytest.approx(model.level + 5.0) and limit.danger.value == pytest.approx(model.level + 15.0)
    assert limit.yellow.recalculate() == limit.yellow.value and limit.note.startswith("brought to settled, 1")
    on = month.running == 1
    healthy = model.brought(month, heated(month))
    known = on & np.isfinite(healthy)
    assert known.sum() > 0.9 * on.sum() and np.all(np.abs(healthy[known] - model.level) < 1.0)
    hot = heated(month, hotter_k=8.0, since_s=15 * DAY)
    late = month.time_s > 15 * DAY
    assert np.median(model.brought(month, hot)[on & late]) > limit.yellow.value
    over = hot - month.around_k
    assert np.mean((hot[on & late] > 353.15) | (over[on & late] > 40.0)) < 0.2, "most of it stays under the fixed figures"


def test_hot_days_at_the_end_do_not_become_usual(history: DrivingHistory, warm: np.ndarray, model: WarmingModel) -> None:
    ill = fit_warming(history, warm + 8.0 * (history.time_s > 36 * DAY), judged=history.running == 1)
    assert ill is not None and ill.level == pytest.approx(model.level, abs=0.5)


def test_followed_reading_by_reading_it_says_what_it_says_of_the_whole(history: DrivingHistory, model: WarmingModel) -> None:
    assert history.speed_hz is not None and history.load is not None and history.around_k is not None
    days = slice(0, 3 * 288)
    whole = model.usual(history)[days]
    finer = np.arange(0.0, DAY, 20.0)
    held = np.searchsorted(history.time_s, finer, side="right") - 1
    heat: Heat | None = None
    for now, at in zip(finer, held, strict=True):
        here = {"speed": history.speed_hz[at], "load": history.load[at], "ambient temperature": history.around_k[at]}
        heat = model.follow(heat, here, running=bool(history.running[at]), now=float(now))
    assert heat is not None and model.at_reference(float(np.interp(finer[-1], history.time_s[days], whole)), heat) == pytest.approx(
        model.level, abs=0.3
    )


def test_after_an_interruption_nothing_is_usual_until_the_heat_has_forgotten(history: DrivingHistory, model: WarmingModel) -> None:
    gap = (history.time_s < 5 * DAY) | (history.time_s >= 5 * DAY + 3600)
    columns = (history.time_s, history.running, history.speed_hz, history.load, history.around_k)
    cut = DrivingHistory(*(column[gap] for column in columns if column is not None), history.surroundings)
    usual = model.usual(cut)
    since = cut.time_s - (5 * DAY + 3600)
    blind = (since >= 0) & (since < FORGETS * model.time_constant_s)
    assert not np.any(np.isfinite(usual[blind])) and np.all(np.isfinite(usual[since > FORGETS * model.time_constant_s]))
    here = {"speed": SPEED_HZ, "load": LOAD, "ambient temperature": 290.0}
    heat = model.follow(None, here, running=True, now=0.0)
    assert model.not_known(heat, here).startswith("followed for 0.0 h of the 2.7 h")
    assert model.not_known(None, here).endswith("not read for too long")
    late = model.follow(heat, here, running=True, now=3600.0)
    assert late is not None and late.since_s == 3600.0, "an hour without a reading, and it begins again"
    assert model.follow(heat, {"load": LOAD}, running=True, now=60.0) is heat, "a reading that fails is waited for"
    assert model.follow(heat, {"load": LOAD}, running=True, now=3600.0) is None


def test_what_does_not_vary_or_is_not_read_is_left_out_and_beyond_what_was_seen_nothing_is_usual(
    history: DrivingHistory, warm: np.ndarray, model: WarmingModel
) -> None:
    still = replace(history, speed_hz=np.full(history.time_s.size, SPEED_HZ), load=None, running=np.ones(history.time_s.size))
    found = fit_warming(still, warm, judged=history.running == 1)
    assert found is not None and found.left_out == {"running": "it hardly varied", "speed": "it hardly varied"}
    blind = fit_warming(replace(history, around_k=None, surroundings=""), warm, judged=history.running == 1)
    assert blind is not None and blind.surroundings == "" and blind.sigma > 3 * model.sigma, "the weather is in its scatter"
    heat = Heat(DAY, 0.0, {})
    assert model.not_known(heat, {"speed": 0.5 * SPEED_HZ}).startswith("speed 12.38 Hz, trained from 19.8")
    assert WarmingModel.of(model.as_dict()) == model


def test_too_little_or_too_broken_a_history_gives_none(history: DrivingHistory, warm: np.ndarray) -> None:
    never = np.zeros(history.time_s.size, dtype=bool)
    assert fit_warming(history, warm, judged=never) is None
    sparse = replace(history, time_s=np.arange(history.time_s.size) * 1200.0)
    assert fit_warming(sparse, warm, judged=history.running == 1) is None
