"""A shaft's line over a run-up or coast-down: against the closed form of one degree of freedom and scipy's solver; the pattern.

Closed form: J. P. Den Hartog, Mechanical Vibrations, chapter 2 (from memory); the solver is `scipy.signal.lsim`, the sweep `chirp`.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
import scipy.signal
from studies.shaft_cases import CHANNELS, DRIVE, RATE_HZ, SAMPLES, SPEED_HZ, observe

from gearcase.drive.lines import expected_lines
from gearcase.drive.shaft_faults import Neighbour, ShaftFault, Situation, Unbalance, shaken
from gearcase.judge.explained import comb_orders
from gearcase.judge.patterns import resonance
from gearcase.judge.patterns.observed import Observed
from gearcase.judge.patterns.signs import Answer, Weighed
from gearcase.signal.runs import follow_lines, half_power_peak, turning_of_run
from gearcase.signal.synchronous import Turning

MM_S = 1e-3
RADIAL, VERTICAL = CHANNELS[3:5], CHANNELS[4:5]
RUNS = ("coast-down", "run-up")
NATURAL_HZ, DAMPING = 21.0, 0.04
RESONANT = Unbalance("input", 2 * MM_S, natural_hz=NATURAL_HZ, damping=DAMPING)
UNBALANCED = Unbalance("input", 2 * MM_S)
ORDERS = [order for family in comb_orders(expected_lines(DRIVE)).spectrum[:2] for order in family]


def run(state: str, seed: int, *faults: ShaftFault, channels: Sequence[object] = RADIAL, **more: object) -> tuple[Observed, ...]:
    return observe(Situation(SPEED_HZ, state), seed=seed, faults=faults, channels=channels, **more)


def judged(records: Sequence[Observed]) -> Weighed:
    return next(one for one in resonance.examine(DRIVE, records) if one.component == "input")


def seen(weighed: Weighed, sign: str) -> bool | None:
    return next(one.seen for one in weighed.signs if one.name == sign)


def coasting() -> tuple[np.ndarray, np.ndarray]:
    """Time [s] and turns of a shaft that coasts from 24.75 Hz to 0.6 of it, as `shaft_faults` has it."""
    time = np.arange(SAMPLES) / RATE_HZ
    return time, SPEED_HZ * (time - 0.2 * time**2 / time[-1])


@pytest.mark.parametrize("state", RUNS)
def test_the_simulated_mode_answers_a_run_as_the_solver_of_its_equation_does(state: str) -> None:
    """x'' + 2 zeta w x' + w^2 x = w^2 r, r the motion of a stiff support: `scipy.signal.lsim`, from rest."""
    stiff, answered = (
        shaken(DRIVE, VERTICAL, Situation(SPEED_HZ, state), [fault], sample_rate_hz=RATE_HZ, samples=SAMPLES, seed=5)[0]
        for fault in (replace(RESONANT, natural_hz=0.0), RESONANT)
    )
    omega = 2 * np.pi * NATURAL_HZ
    _, solved, _ = scipy.signal.lsim(([omega**2], [1, 2 * DAMPING * omega, omega**2]), stiff, np.arange(SAMPLES) / RATE_HZ)
    assert np.abs(answered - solved).max() < 0.01 * np.abs(solved).max()


@pytest.mark.parametrize("damping", [0.03, 0.06])
def test_a_sweep_answered_by_one_degree_of_freedom_is_read_as_the_closed_form(damping: float) -> None:
    """`scipy.signal.chirp` from 10 to 30 Hz in 240 s, slow as the closed form asks, a force as the square of speed, and `lsim`."""
    time = np.arange(240 * 400) / 400
    sweep_hz = 10 + 20 * time / 240
    force = sweep_hz**4 * scipy.signal.chirp(time, 10.0, 240.0, 30.0)  # acceleration of a displacement that goes with the square
    omega = 2 * np.pi * NATURAL_HZ
    _, row, _ = scipy.signal.lsim(([omega**2], [1, 2 * damping * omega, omega**2]), force, time)
    turns = 10 * time + 0.5 * 20 / 240 * time**2
    line = follow_lines(row, Turning(time[::40], turns[::40]), sample_rate_hz=400.0, order=1.0)
    assert line is not None
    response = np.abs(line.values[:, line.own]) / line.hz**4
    ratio = line.hz / NATURAL_HZ
    assert response == pytest.approx(1 / np.sqrt((1 - ratio**2) ** 2 + (2 * damping * ratio) ** 2), rel=0.05)
    found = half_power_peak(line.hz, response, stands=np.ones(ratio.size, bool))
    assert found.hz == pytest.approx(NATURAL_HZ, rel=0.01) and found.damping == pytest.approx(damping, rel=0.05)
    away = np.abs(ratio - 1) > 0.2
    phase = np.degrees(np.unwrap(np.angle(line.values[:, line.own])))[away]
    assert phase[0] - phase[-1] == pytest.approx(180, abs=20)


@pytest.mark.parametrize("state", RUNS)
def test_the_speed_of_a_run_is_told_by_the_drives_own_lines(state: str) -> None:
    record = run(state, 3, channels=VERTICAL)[0].recording
    found = turning_of_run(record.samples, sample_rate_hz=RATE_HZ, orders=ORDERS, lowest_hz=7.0, highest_hz=26.0)
    assert isinstance(found, Turning)
    time, turns = coasting()
    true = turns if state == "coast-down" else turns[-1] - turns[::-1]
    apart = found.turns - np.interp(found.at_s, time, true)
    assert np.ptp(apart) < 0.004 * np.ptp(found.turns) and np.ptp(found.at_s) > 0.75 * time[-1]


def test_no_speed_is_told_of_noise_or_of_lines_that_stay() -> None:
    time = np.arange(SAMPLES) / RATE_HZ
    noise = np.random.default_rng(2).standard_normal(SAMPLES)
    other = sum(np.cos(2 * np.pi * hz * time) for hz in (31.0, 62.0, 200.0, 611.0))
    for row in (noise, noise + 3 * other):
        assert isinstance(turning_of_run(row, sample_rate_hz=RATE_HZ, orders=ORDERS, lowest_hz=7.0, highest_hz=26.0), str)
    assert "too short" in str(turning_of_run(noise[:6000], sample_rate_hz=RATE_HZ, orders=ORDERS, lowest_hz=7.0, highest_hz=26.0))


@pytest.mark.parametrize("state", RUNS)
def test_a_resonance_is_named_by_its_peak_and_the_turn_of_its_phase(state: str) -> None:
    found = judged(run(state, 1, RESONANT))
    assert found.answer is Answer.CLAIMED and seen(found, "phase swings by 180 degrees") is True
    assert found.lines[0].found_hz == pytest.approx(NATURAL_HZ, rel=0.03)
    assert "damping ratio 0.04" in found.why


def test_one_direction_alone_is_doubted_until_a_second_run_shows_it_or_a_tachometer_its_phase() -> None:
    once = run("coast-down", 1, RESONANT, channels=VERTICAL)
    assert judged(once).answer is Answer.UNCERTAIN and judged(once).attribution_false_alarm == 0.5
    assert seen(judged(once), "phase swings by 180 degrees") is None
    assert judged([*once, *run("run-up", 2, RESONANT, channels=VERTICAL)]).answer is Answer.CLAIMED
    time, turns = coasting()
    marks = np.interp(np.arange(1, int(turns[-1])), turns, time)
    marked = [replace(one, recording=replace(one.recording, marks_s=marks)) for one in once]
    found = judged(marked)
    assert found.answer is Answer.CLAIMED and "against the tachometer's mark" in next(
        s.says for s in found.signs if "phase" in s.name
    )


@pytest.mark.parametrize("state", RUNS)
def test_unbalance_that_grows_with_the_square_of_speed_and_a_sound_drive_are_no_resonance(state: str) -> None:
    for faults in ((Unbalance("input", 9 * MM_S),), ()):
        assert judged(run(state, 4, *faults)).answer is Answer.NOT_SEEN


@pytest.mark.parametrize("multiples", [1, 3])
def test_a_neighbour_whose_line_is_crossed_is_no_resonance_though_it_is_in_two_runs(multiples: int) -> None:
    beside = Neighbour(NATURAL_HZ, 8 * MM_S, multiples)
    records = [*run("coast-down", 6, UNBALANCED, beside), *run("run-up", 7, UNBALANCED, beside)]
    found = judged(records)
    assert found.answer is not Answer.CLAIMED and seen(found, "stands at that frequency at other speeds") is True


def test_a_mode_that_is_only_passed_far_from_the_running_speed_is_no_fault() -> None:
    found = judged(run("coast-down", 8, replace(RESONANT, velocity=6 * MM_S, natural_hz=18.0)))
    assert found.answer is Answer.NOT_SEEN and "only passes" in found.why


def test_a_run_that_tells_no_speed_says_what_would() -> None:
    found = judged(run("coast-down", 9, RESONANT, samples=6000))
    assert found.answer is Answer.NOT_TESTABLE and "too short to follow" in found.why
    found = judged(run("coast-down", 9, RESONANT, samples=12000))
    assert found.answer is Answer.NOT_TESTABLE and "too few turns" in found.why


@pytest.mark.parametrize(
    "samples", [np.zeros(40000), np.full(40000, 3.0), 1e-30 * np.ones(40000)], ids=["zero", "constant", "tiny"]
)
def test_a_record_that_does_not_move_or_is_too_slow_tells_no_speed_and_raises_nothing(samples: np.ndarray) -> None:
    for rate_hz in (2560.0, 100.0, 3.0):
        assert isinstance(turning_of_run(samples, sample_rate_hz=rate_hz, orders=ORDERS, lowest_hz=7.0, highest_hz=26.0), str)


def test_a_record_with_this_drive_standing_tells_a_neighbour_from_a_mode() -> None:
    beside = Neighbour(NATURAL_HZ, 8 * MM_S)
    foreign = judged([*run("standing", 10, beside), *run("coast-down", 6, UNBALANCED, beside)])
    assert foreign.answer is not Answer.CLAIMED and seen(foreign, "shows with this drive standing") is True
    ours = judged([*run("standing", 11, RESONANT), *run("coast-down", 1, RESONANT)])
    assert ours.answer is Answer.CLAIMED and seen(ours, "shows with this drive standing") is False
