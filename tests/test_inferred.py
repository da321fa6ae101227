"""What the survey learns from recordings of a drive nobody has opened. Truth: a simulated drive whose counts the job hides."""

from dataclasses import replace

import numpy as np
import pytest

from gearcase.drawings.survey_blocks import inferred_blocks, measurement_blocks
from gearcase.drawings.text import survey_text
from gearcase.drive.simulate import BearingFault, Levels, simulate
from gearcase.errors import OutOfRange
from gearcase.job.build import Job, build
from gearcase.job.read import parse_text
from gearcase.judge.teeth import Plate, ToothInference
from gearcase.signal.recording import Recording
from gearcase.stages import inferred as stage
from gearcase.stages import survey
from gearcase.stages.row import teeth_wanted

KNOWN = """\
job: 1
drive:
  nameplate: {ratio: 18.1, input_speed: 1485 rpm}
  input: {shaft: input, speed: 1485 rpm}
  shafts:
    - {name: input, end: input}
    - {name: middle}
    - {name: output, end: output}
  meshes:
    - {name: fast mesh, pinion: {shaft: input, teeth: 23}, wheel: {shaft: middle, teeth: 91}}
    - {name: slow mesh, pinion: {shaft: middle, teeth: 19}, wheel: {shaft: output, teeth: 87}}
  bearings:
    - name: input bearing
      shaft: input
      candidates:
        - {name: make A, elements: 9, element_diameter: 7.94 mm, pitch_diameter: 39.04 mm, contact_angle: 0 deg}
        - {name: make B, elements: 12, element_diameter: 6.35 mm, pitch_diameter: 40 mm, contact_angle: 0 deg}
points:
  - {name: top, bearing: input bearing}
"""
UNKNOWN = KNOWN.replace("teeth: 23", "teeth: unknown").replace("teeth: 91", "teeth: unknown").replace("teeth: 19", "teeth: unknown")
UNKNOWN = UNKNOWN.replace("teeth: 87", "teeth: unknown")
PLATE_ONLY = """\
job: 1
drive:
  nameplate: {ratio: 18.1, input_speed: 1485 rpm, stages: 2}
  input: {shaft: input, speed: 1485 rpm}
"""
SPEED_HZ, RATE = 24.68, 6400.0


def job(text: str) -> Job:
    return build(parse_text(text), folder="job")


MAKES = KNOWN[KNOWN.index("      candidates:") : KNOWN.index("points:")]
TRUE = KNOWN.replace(
    MAKES, "      elements: 9\n      element_diameter: 7.94 mm\n      pitch_diameter: 39.04 mm\n      contact_angle: 0 deg\n"
)


def recorded(seconds: float = 41.0, faults: tuple[BearingFault, ...] = (), rate: float = RATE) -> Recording:
    """The drive as it truly is, make A fitted, at 1480.8 rpm."""
    samples = simulate(
        job(TRUE).drive,
        speed_hz=SPEED_HZ,
        sample_rate_hz=rate,
        samples=int(seconds * rate),
        seed=4,
        noise="white",
        faults=faults,
        levels=Levels(shaft=0.3, mesh=1.0, noise_rms=1.0, modulation=0.3),
    )
    return Recording(samples, rate, "m/s2", "ch", None, "top", "0" * 64, "run.wav")


@pytest.fixture(scope="module")
def record() -> Recording:
    return recorded()


def inferred(text: str, *recordings: Recording) -> dict:
    return survey.run(job(text), recordings).document["inferred"]


def test_the_speed_of_a_known_drive_comes_from_its_lines_with_a_standard_error(record: Recording) -> None:
    (row,) = inferred(KNOWN, record)["speeds"]
    assert row["standard_error_hz"] < 1e-3
    assert abs(row["hz"] - SPEED_HZ) < 3 * row["standard_error_hz"] + 1e-5


def test_unknown_teeth_are_found_with_odds_and_said_to_a_person(record: Recording) -> None:
    document = survey.run(job(UNKNOWN), [record]).document
    teeth = document["inferred"]["teeth"]
    assert teeth["decided"]
    assert teeth["combinations"][0]["teeth"] == [[23, 91], [19, 87]]
    (found,) = (row for row in document["findings"] if row["rule"] == "survey.teeth")
    assert "23/91, 19/87 teeth with odds above 0.9" in found["says"]
    assert "23/91, 19/87: odds" in survey_text(document)
    assert any("23/91, 19/87" in row[0] for block in inferred_blocks(document) if block.kind == "table" for row in block.rows)
    assert {"what": "recording run.wav", "sha256": "0" * 64} in survey.run(job(UNKNOWN), [record]).read


def test_a_nameplate_alone_with_its_number_of_stages_is_enough_to_try(record: Recording) -> None:
    teeth = inferred(PLATE_ONLY, record)["teeth"]
    assert [[23, 91], [19, 87]] in [one["teeth"] for one in teeth["combinations"]]


def test_a_record_too_short_and_slow_to_decide_says_what_would() -> None:
    teeth = inferred(UNKNOWN, recorded(2.0, rate=800.0))["teeth"]
    assert not teeth["decided"]
    assert teeth["measurement"]["says"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (PLATE_ONLY.replace(", stages: 2", ""), "once the number of stages is known: give nameplate.stages"),
        (UNKNOWN.replace("ratio: 18.1, ", ""), "once the nameplate's ratio is known"),
        (UNKNOWN.replace("ratio: 18.1", "ratio: 400"), "400"),
    ],
)
def test_what_is_missing_or_out_of_reach_is_named(text: str, says: str, record: Recording) -> None:
    assert says in inferred(text, record)["teeth"]["says"]


def test_without_a_recording_the_survey_says_that_one_would_help() -> None:
    assert "from a recording of the running drive" in inferred(UNKNOWN)["teeth"]["says"]


def test_a_drive_whose_teeth_are_known_is_not_searched(record: Recording) -> None:
    assert inferred(KNOWN, record)["teeth"] is None


def test_a_recording_at_standstill_teaches_nothing_and_says_so() -> None:
    noise = np.random.default_rng(2).standard_normal(int(20 * RATE)).astype(np.float32)
    document = survey.run(job(UNKNOWN), [Recording(noise, RATE, "m/s2", "ch", None, "top", "1" * 64, "still.wav")]).document
    assert "it shows no turning shaft: record with the drive running" in document["inferred"]["teeth"]["says"]


def humming(hz: tuple[float, ...], seconds: float = 20.0, speed_hz: float | None = None) -> Recording:
    """Noise and hum alone: what a sensor on a drive at rest hears."""
    time = np.arange(int(seconds * RATE)) / RATE
    wave = np.random.default_rng(2).standard_normal(time.size) + sum(0.5 * np.sin(2 * np.pi * one * time) for one in hz)
    return Recording(np.asarray(wave, np.float32), RATE, "m/s2", "ch", speed_hz, "top", "3" * 64, "hum.wav")


HUM = tuple(50.0 * n for n in range(1, 8))


@pytest.mark.parametrize("text", [KNOWN, UNKNOWN, PLATE_ONLY], ids=["known", "unknown", "plate only"])
@pytest.mark.parametrize("speed_hz", [25.0, 24.0], ids=["half the mains", "elsewhere"])
def test_hum_at_standstill_is_no_speed_and_no_teeth_and_the_cure_is_said(text: str, speed_hz: float) -> None:
    document = survey.run(job(text), [humming(HUM, speed_hz=speed_hz)]).document
    (row,) = document["inferred"]["speeds"]
    assert not row["told"] and "read a tachometer" in row["says"]
    (found,) = (found for found in document["findings"] if found["rule"] == "survey.recording_speed")
    assert found["where"] == "hum.wav" and "record again" in found["says"] and "hum.wav" not in found["says"]
    teeth = document["inferred"]["teeth"]
    assert (teeth is None) is (text == KNOWN)
    if teeth:
        assert "combinations" not in teeth and "record" in teeth["says"]
    assert "hum.wav: hum.wav" not in survey_text(document)


def test_pulses_that_gave_the_speed_are_said_in_the_survey(record: Recording) -> None:
    by_pulses = replace(
        record, speed_hz=24.67, pulses_per_turn=4, tachometer="4 pulses a turn: their spacing repeats every 4 pulses"
    )
    document = survey.run(job(KNOWN), [by_pulses]).document
    (row,) = document["inferred"]["speeds"]
    assert row["pulses_per_turn"] == 4 and "its tachometer: 4 pulses a turn" in row["says"]
    assert "its tachometer: 4 pulses a turn" in survey_text(document)
    tables = [block for block in inferred_blocks(document) if block.kind == "table"]
    assert any("1480.2 (4 a turn)" in row for block in tables for row in block.rows)
    wrong = replace(by_pulses, speed_hz=SPEED_HZ * 0.94)
    (found,) = (one for one in survey.run(job(KNOWN), [wrong]).document["findings"] if one["rule"] == "survey.recording_speed")
    assert "its tachometer gives 1391.95 rpm at 4 pulses a turn, and its lines fit 1480.8 rpm" in found["says"]
    assert "stated" not in found["says"]


def test_the_longest_recording_is_the_one_asked(record: Recording) -> None:
    short = replace(recorded(2.0, rate=800.0), name="short.wav")
    assert inferred(UNKNOWN, short, record)["teeth"]["recording"] == "run.wav"
    assert inferred(UNKNOWN, record, short)["teeth"]["recording"] == "run.wav"


def test_a_recording_of_hum_alone_is_not_asked_however_long(record: Recording) -> None:
    assert inferred(UNKNOWN, humming(HUM, 60.0, 25.0), record)["teeth"]["recording"] == "run.wav"


@pytest.mark.parametrize("change", [{"kind": "worm"}, {"group": "first stage"}], ids=["worm", "planetary"])
def test_teeth_of_worms_and_planetary_sets_are_not_inferred(change: dict[str, str]) -> None:
    drive = job(UNKNOWN).drive
    fast, slow = drive.meshes
    assert teeth_wanted(drive)
    assert not teeth_wanted(replace(drive, meshes=(replace(fast, **change), slow)))
    assert not teeth_wanted(replace(drive, meshes=(fast, replace(slow, **change))))


def test_the_spread_of_a_measured_speed_is_its_own_error(record: Recording, monkeypatch: pytest.MonkeyPatch) -> None:
    """Three standard errors, a thousandth at least: not the 1 % that a stated speed may be out."""
    plates: list[Plate] = []

    def kept(spectra: object, plate: Plate) -> ToothInference:
        plates.append(plate)
        raise OutOfRange("plate", "kept", "no search")

    monkeypatch.setattr(stage, "infer_teeth", kept)
    (row,) = inferred(UNKNOWN, record)["speeds"]
    assert row["standard_error_hz"] is not None
    (plate,) = plates
    assert plate.speed_hz == pytest.approx(row["hz"], rel=1e-12)
    assert plate.speed_spread == pytest.approx(max(3 * row["standard_error_hz"] / row["hz"], 1e-3))


@pytest.mark.parametrize("text", [UNKNOWN, PLATE_ONLY], ids=["unknown", "plate only"])
def test_a_drive_of_unknown_teeth_is_told_the_record_that_can_decide(text: str) -> None:
    """500 turns of 24.75 Hz take 20.2 s; the second harmonic of 60 teeth stands at 2 x 60 x 24.75 = 2970 Hz."""
    document = survey.run(job(text)).document
    record = document["measurement"]["records"][2]
    assert record["name"] == "for tooth counts"
    assert record["highest_hz"]["value"] == pytest.approx(2970.0)
    assert record["needed_s"]["value"] == pytest.approx(500 / 24.75) and record["length_s"]["value"] >= 500 / 24.75
    assert "record for tooth counts" in survey_text(document)
    assert any("a third for tooth counts" in block.text for block in measurement_blocks(document))


def test_a_drive_of_known_teeth_needs_no_third_record() -> None:
    assert len(survey.run(job(KNOWN)).document["measurement"]["records"]) == 2


def test_the_record_planned_for_tooth_counts_decides() -> None:
    planned = survey.run(job(UNKNOWN)).document["measurement"]["records"][2]
    rate, length = planned["rate_hz"]["value"], planned["length_s"]["value"]
    assert inferred(UNKNOWN, recorded(length, rate=rate))["teeth"]["decided"]


def test_slow_drives_are_told_frequencies_above_nothing() -> None:
    text = PLATE_ONLY.replace("input_speed: 1485 rpm", "input_speed: 30 rpm").replace("speed: 1485 rpm", "speed: 30 rpm")
    said = survey_text(survey.run(job(text)).document)
    assert " to 0 Hz" not in said and "sample rate 0 Hz" not in said and "sample rate 1 Hz" not in said


def test_the_power_of_a_mesh_has_no_digits_of_rounding() -> None:
    document = survey.run(job(KNOWN.replace("{ratio: 18.1,", "{ratio: 18.1, power: 75 kW,"))).document
    assert {mesh["power_w"] for mesh in document["drive"]["meshes"]} == {75000.0}


def test_a_stuck_recording_is_unfit_and_said() -> None:
    stuck = Recording(np.ones(int(5 * RATE), np.float32), RATE, "m/s2", "ch", None, "top", "2" * 64, "stuck.wav")
    document = survey.run(job(UNKNOWN), [stuck]).document
    (row,) = document["inferred"]["speeds"]
    assert not row["told"] and "dead or unplugged" in row["says"] and "stuck.wav" not in row["says"]
    assert any(found["rule"] == "survey.recording_speed" for found in document["findings"])


def test_the_make_whose_rates_fit_the_comb_is_named() -> None:
    knocking = recorded(20.0, (BearingFault("input bearing", "outer_race", 8.0),), rate=12800.0)
    (row,) = inferred(KNOWN, knocking)["bearings"]
    assert row["names"] == ["make A"]
    assert row["bearing"] == "input bearing"


def test_a_drive_whose_output_speed_is_stated_is_inferred_as_well(record: Recording) -> None:
    text = UNKNOWN.replace("input: {shaft: input, speed: 1485 rpm}", "input: {shaft: output, speed: 82 rpm}")
    assert inferred(text, record)["teeth"]["combinations"][0]["teeth"] == [[23, 91], [19, 87]]
