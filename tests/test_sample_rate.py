"""A wrong sample rate, on simulated drives (the simulator shares no code with `signal`): the rate is named, a right one never."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from studies.cases import Case, healthy

from gearcase.drive.lines import expected_lines
from gearcase.drive.simulate import simulate
from gearcase.drive.train import Drive, Motor
from gearcase.errors import OutOfRange
from gearcase.job.build import load
from gearcase.judge.faults import bearing_hypotheses
from gearcase.judge.heard import Speed, find_speed, hear
from gearcase.signal.recording import Recording
from gearcase.signal.sample_rate import USUAL_RATES_HZ, rates_that_fit
from gearcase.stages import diagnose
from gearcase.worked import Given, Origin
from test_signal_fuzz import records

DEMO = load(Path(__file__).parents[1] / "examples" / "demo")
GEARED = [case for case in healthy(0, 14) if case.drive.meshes]


def speed_of(case: Case, **changed: object) -> Speed | str:
    drive, recording = case.drive, replace(case.recording, **changed)  # type: ignore[arg-type]
    return find_speed(drive, expected_lines(drive), bearing_hypotheses(drive), hear(recording))


@pytest.mark.parametrize("stated", [20000.0, 51200.0, 12800.0])
def test_the_true_rate_is_named_for_most_geared_drives_and_no_other_for_any(stated: float) -> None:
    said = [speed_of(case, sample_rate_hz=stated) for case in GEARED]
    named = [words for words in said if isinstance(words, str) and "hardly a line" in words]
    assert all("25600 Hz" in words and "read the rate at the recorder" in words for words in named)
    assert len(named) >= 0.75 * len(GEARED)


def test_a_right_rate_is_never_doubted() -> None:
    assert not [words for case in GEARED if isinstance(words := speed_of(case), str)]


def test_a_tachometer_tells_rates_that_a_plate_does_not() -> None:
    """25.6 kHz stated as 25: lines stand 2.3 % low, within what a plate's speed may be off."""
    case = GEARED[0]
    wrong = {"sample_rate_hz": 25000.0, "speed_hz": case.drive.rated_speed_hz}
    assert isinstance(speed_of(case, **wrong), Speed)
    words = speed_of(case, **wrong, pulses_per_turn=1, tachometer="counted")
    assert isinstance(words, str) and "at 25600 Hz both would agree" in words
    right = speed_of(case, speed_hz=case.drive.rated_speed_hz, pulses_per_turn=1, tachometer="counted")
    assert isinstance(right, Speed)


@pytest.mark.parametrize(
    ("true_hz", "stated_hz", "load"), [(25600.0, 25000.0, 0.2), (25600.0, 25000.0, 0.9), (25000.0, 25600.0, 0.9)]
)
def test_a_motor_on_the_mains_tells_rates_that_a_plate_does_not(true_hz: float, stated_hz: float, load: float) -> None:
    """Four poles on 50 Hz turn at 1485 rpm at full load and at most at 1500: lines 2.4 % off turn it where it cannot."""
    case = GEARED[0]
    motor = Motor(case.drive.reference_shaft, 4, 50.0, rated_speed_hz=24.75)
    given = Given("speed", 24.75, "Hz", Origin.NAMEPLATE)
    drive = replace(case.drive, motor=motor, speed_hz=(24.75, 24.75), rated_speed_hz=24.75, speed_given=given)
    turning = {"speed_hz": 25.0 - 0.25 * load, "sample_rate_hz": true_hz, "samples": 2**17, "seed": 1, "noise": "white"}
    record = Recording(simulate(drive, **turning), stated_hz, "m/s2", speed_hz=24.75)  # type: ignore[arg-type]

    def said(of: Drive, rate_hz: float) -> Speed | str:
        one = replace(record, sample_rate_hz=rate_hz)
        return find_speed(of, expected_lines(of), bearing_hypotheses(of), hear(one))

    words = said(drive, stated_hz)
    assert isinstance(words, str) and f"at {true_hz:g} Hz both would agree" in words and "4 poles on 50 Hz mains" in words
    assert isinstance(said(drive, true_hz), Speed)
    fed = replace(drive, motor=replace(motor, converter=True))
    assert isinstance(said(fed, stated_hz), Speed), "a converter's field turns at any speed"


@given(st.sampled_from(USUAL_RATES_HZ), st.sampled_from(USUAL_RATES_HZ))
def test_every_usual_rate_is_found_from_its_ratio_and_a_right_one_is_no_other(true: float, stated: float) -> None:
    fits = rates_that_fit(stated, ratio=true / stated, within=1e-3)
    assert (true in fits) == (abs(true / stated - 1) > 1e-3)


def test_a_wrong_rate_is_cannot_tell_and_no_verdict() -> None:
    case = GEARED[0]
    job = replace(DEMO, drive=case.drive)
    recording = replace(case.recording, sample_rate_hz=20000.0)
    document = diagnose.run(job, [recording]).document
    assert not document["verdicts"] and not document["clean"]
    assert any("25600 Hz" in reason for reason in document["cannot_tell"])


@settings(max_examples=60, deadline=None)
@given(samples=records(), rate=st.sampled_from([1e-3, 100.0, 12800.0, 1e7]))
def test_any_record_is_diagnosed_without_a_traceback_or_a_number_that_is_none(samples: np.ndarray, rate: float) -> None:
    try:
        recording = Recording(samples, rate, "m/s2", speed_hz=24.6, point="intermediate left", name="any", sha256="0")
        document = diagnose.run(DEMO, [recording]).document
    except OutOfRange:
        return
    json.dumps(document, allow_nan=False)
    assert not document["verdicts"] and not document["clean"]


@pytest.mark.parametrize("name", ["noise", "tone", "clipped", "constant", "ramp"])
def test_a_long_record_without_a_machine_gets_no_verdict(name: str) -> None:
    n = np.arange(2**17)
    noise = np.random.default_rng(0).standard_normal(n.size)
    made = {
        "noise": noise,
        "tone": np.cos(0.3 * n),
        "clipped": np.clip(noise, -1, 1),
        "constant": np.full(n.size, 2.0),
        "ramp": 1.0 * n,
    }
    document = diagnose.run(DEMO, [Recording(made[name], 12800.0, "m/s2", speed_hz=24.6, name=name, sha256="0")]).document
    json.dumps(document, allow_nan=False)
    assert not document["verdicts"] and document["cannot_tell"]
