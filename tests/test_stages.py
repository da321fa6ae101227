"""Survey, diagnose and handover on made-up jobs: what they answer, what they rest on, and what they refuse."""

import gc
import weakref
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gearcase.checksums import sha256_of_data
from gearcase.drive.bearings import Bearing, Geometry
from gearcase.drive.lines import expected_lines
from gearcase.drive.simulate import BearingFault, Levels, simulate
from gearcase.drive.speeds import shaft_orders
from gearcase.errors import BadInput
from gearcase.install.mounting import sight
from gearcase.job.build import Job, build, load
from gearcase.job.read import parse_text
from gearcase.signal.recording import Circumstances, Recording
from gearcase.stages import diagnose, handover, survey
from gearcase.stages.planning.mounts import graded_lines
from gearcase.stages.workings import line_workings
from kinds import KINDS

EXAMPLES = Path(__file__).parents[1] / "examples"
RATE = 12800.0
QUIET_GEARS = Levels(shaft=0.2, mesh=0.3, noise_rms=1.0, modulation=0.08)


@pytest.fixture(scope="module")
def demo() -> Job:
    return load(EXAMPLES / "demo")


def job_of(text: str) -> Job:
    return build(parse_text(text), folder="job")


def recorded(job: Job, *, seed: int = 1, impact: float = 0.0, speed: float = 24.6, seconds: int = 20, **given: Any) -> Recording:
    faults = [BearingFault("intermediate bearing, left", "outer_race", impact, jitter=0.004)] if impact else []
    levels = Levels(shaft=0.2, mesh=0.8, noise_rms=1.0, modulation=0.08)
    samples = simulate(
        job.drive,
        speed_hz=speed,
        sample_rate_hz=RATE,
        samples=int(RATE * seconds),
        seed=seed,
        noise="resonant",
        faults=faults,
        levels=levels,
    )
    facts = {"speed_hz": speed, "point": "intermediate left", "name": f"record {seed}", "sha256": f"{seed}"} | given
    return Recording(samples, RATE, "m/s2", **facts)


def test_every_line_of_the_survey_is_worked_out_again_from_its_inputs(demo: Job) -> None:
    lines = expected_lines(demo.drive)
    workings = line_workings(demo.drive, lines)
    assert len(workings) == len(lines)
    for line in lines:
        assert workings[line.name].value == pytest.approx(line.hz(demo.drive.rated_speed_hz), rel=1e-12), line.name
        assert workings[line.name].recalculate() == workings[line.name].value, line.name


teeth = st.integers(11, 130)


@given(st.lists(st.tuples(teeth, teeth), min_size=1, max_size=3), st.booleans(), st.integers(4, 30))
@settings(max_examples=40, deadline=None)
def test_workings_agree_with_the_model_for_any_train_and_either_ring(
    stages: list[tuple[int, int]], outer: bool, elements: int
) -> None:
    shafts = "".join(f"    - {{name: s{n}}}\n" for n in range(len(stages) + 1))
    meshes = "".join(
        f"    - {{name: m{n}, pinion: {{shaft: s{n}, teeth: {p}}}, wheel: {{shaft: s{n + 1}, teeth: {w}}}}}\n"
        for n, (p, w) in enumerate(stages)
    )
    size = f"element_diameter: {100 * np.sin(np.pi / elements) * 0.9:.4f} mm, pitch_diameter: 100 mm, contact_angle: 10 deg"
    last = len(stages)
    bearing = f"    - {{name: b, shaft: s{last}, turning: {'outer' if outer else 'inner'}, elements: {elements}, {size}}}\n"
    text = f"job: 1\ndrive:\n  input: {{shaft: s0, speed: 1500 rpm}}\n  shafts:\n{shafts}  meshes:\n{meshes}  bearings:\n{bearing}"
    drive = job_of(text).drive
    lines = expected_lines(drive)
    workings = line_workings(drive, lines)
    for line in lines:
        assert workings[line.name].recalculate() == pytest.approx(line.hz(25.0), rel=1e-9), line.name


def test_the_survey_document_has_what_others_rely_on(demo: Job) -> None:
    document = survey.run(demo).document
    assert document["schema"] == "survey/1"
    mesh = next(line for line in document["lines"] if line["kind"] == "mesh" and line["component"] == "high-speed mesh")
    assert {"name", "component", "kind", "order", "hz", "hz_range", "origin"} <= mesh.keys()
    assert mesh["hz"] == pytest.approx(17 * 1485 / 60)
    assert mesh["hz_range"] == pytest.approx([17 * 15.0, 17 * 24.75])
    kinds = {line["kind"] for line in document["lines"]}
    assert kinds == {
        "shaft", "mesh", "sideband", "hunting_tooth", "assembly_phase", "outer_race", "inner_race", "rolling_element", "cage",
    }  # fmt: skip
    assert {row["component"]: row["grade"] for row in document["coverage"]}["output bearing, right"] == "blind"
    assert any("output bearing, right" in row["what"] for row in document["unknown"])


def test_coverage_follows_mount_path_and_sensor(demo: Job) -> None:
    def grade(component: str, **changed: Any) -> tuple[str, str]:
        points = tuple(replace(point, **changed) for point in demo.points)
        rows = survey.run(replace(demo, points=points)).document["coverage"]
        return next((row["grade"], row["why"]) for row in rows if row["component"] == component)

    assert grade("intermediate bearing, left")[0] == "seen"
    assert grade("intermediate bearing, right") == ("seen weakly", "only through the housing from input coupling end")
    assert grade("intermediate bearing, left", mount="hand probe")[0] == "seen weakly"
    assert grade("intermediate bearing, left", mount="") == ("blind", "nobody has said its mount at intermediate left")
    sensor = demo.points[0].sensor
    overall = grade("intermediate bearing, left", sensor=replace(sensor, kind="overall"))
    assert overall[0] == "seen weakly" and "cannot tell this part from another" in overall[1]
    deaf = grade("high-speed mesh", sensor=replace(sensor, highest_hz=50.0))
    assert deaf[0] == "blind" and "above the 50 Hz" in deaf[1]


def test_a_job_that_knows_only_a_ratio_says_what_follows_and_asks_for_the_rest() -> None:
    text = "job: 1\ndrive:\n  nameplate: {ratio: 20.1}\n  input: {shaft: input, speed: 1500 rpm}\n"
    document = survey.run(job_of(text)).document
    output = next(line for line in document["lines"] if line["component"] == "output" and line["harmonic"] == 1)
    assert output["hz"] == pytest.approx(25 / 20.1)
    spread = 0.05 / 20.1
    assert output["hz_range"] == pytest.approx([25 / 20.1 * (1 - spread), 25 / 20.1 * (1 + spread)], rel=1e-6)
    assert any("tooth counts" in row["what"] for row in document["unknown"])


def test_a_drive_of_which_nothing_can_be_judged_is_never_clean() -> None:
    text = "job: 1\ndrive:\n  input: {shaft: input, speed: 1500 rpm}\n  bearings: [{name: b, shaft: input}]\n"
    record = Recording(np.random.default_rng(1).standard_normal(60000), RATE, "m/s2", name="noise")
    document = diagnose.run(job_of(text), [record]).document
    assert not document["clean"]
    assert "no bearing of this job has both its geometry and its speed known" in document["statement"]


def test_a_bearing_of_which_no_record_could_test_a_race_is_not_clean_and_the_other_does_not_hide_it() -> None:
    """The outer race of the fast bearing passes at 25 Hz x 12 / 2 x (1 - 10 / 60) = 125 Hz: three times that is beyond the
    300 Hz which the envelope of a record of 1200 Hz shows. The bearing on the slow shaft, a third of that, is within it.
    """
    size = "elements: 12, element_diameter: 10 mm, pitch_diameter: 60 mm, contact_angle: 0 deg"
    text = (
        "job: 1\ndrive:\n  input: {shaft: a, speed: 1500 rpm}\n  shafts: [{name: a}, {name: b}]\n"
        "  meshes: [{name: m, pinion: {shaft: a, teeth: 20}, wheel: {shaft: b, teeth: 60}}]\n"
        f"  bearings: [{{name: fast, shaft: a, {size}}}, {{name: slow, shaft: b, {size}}}]\n"
    )
    job = job_of(text)

    def record(rate: float) -> Recording:
        given = {"speed_hz": 25.0, "sample_rate_hz": rate, "samples": int(20 * rate), "levels": Levels(mesh=0.0)}
        samples = simulate(job.drive, seed=1, noise="white", **given)
        return Recording(samples, rate, "m/s2", speed_hz=25.0, name=f"at {rate:g} Hz")

    alone = diagnose.run(job, [record(1200.0)]).document
    (reason,) = alone["cannot_tell"]
    assert reason.startswith("fast, ") and "third harmonic lies beyond what this record's sample rate shows" in reason
    assert not alone["clean"] and not alone["verdicts"] and "fast" in alone["statement"]
    assert diagnose.run(job, [record(1200.0), record(12800.0)]).document["clean"]


def test_shafts_of_unknown_speed_are_said_to_be_left_out_of_the_record_length() -> None:
    text = (
        "job: 1\ndrive:\n  input: {shaft: a, speed: 1500 rpm}\n  shafts: [{name: a}, {name: b}]\n"
        "  meshes: [{name: m, pinion: {shaft: a, teeth: 20}, wheel: {shaft: b}}]\n"
    )
    (finding,) = survey.run(job_of(text)).document["findings"]
    assert finding["rule"] == "survey.unknown_speed" and "the speed of b is not known" in finding["says"]


def test_a_job_without_gears_and_with_several_bearings_is_surveyed() -> None:
    document = survey.run(load(EXAMPLES / "rig-cwru")).document
    outer = {
        line["component"]: line["order"] for line in document["lines"] if (line["kind"], line["harmonic"]) == ("outer_race", 1)
    }
    assert outer == {"drive end bearing": pytest.approx(3.5848, rel=2e-4), "fan end bearing": pytest.approx(3.0530, rel=3e-4)}


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("fault", ["outer_race", "inner_race"])
def test_a_claimed_base_is_true_to_three_in_ten_thousand_and_explains_its_own_high_harmonics(
    fault: str, seed: int, demo: Job
) -> None:
    """True rate: order of the line list times the simulated speed and rate offset. The ring at 3 kHz lifts harmonics 20 to 60."""
    order = next(
        line.order for line in expected_lines(demo.drive) if line.name == f"intermediate bearing, left {fault.replace('_', ' ')} 1x"
    )
    true = order * 24.6 * (1 + 0.003 * seed)
    damage = BearingFault("intermediate bearing, left", fault, 12.0, jitter=0.0005, rate_offset=0.003 * seed)
    levels = Levels(shaft=0.2, mesh=0.8, noise_rms=1.0, modulation=0.08)
    given = {"speed_hz": 24.6, "sample_rate_hz": RATE, "samples": int(20 * RATE), "levels": levels}
    samples = simulate(demo.drive, seed=seed, noise="resonant", faults=[damage], **given)
    document = diagnose.run(demo, [replace(recorded(demo), samples=samples)]).document
    (verdict,) = document["verdicts"]
    assert verdict["fault"] == fault and verdict["base_hz"] == pytest.approx(true, rel=3e-4)
    multiples = np.array([row["found_hz"] / true for row in document["unexplained"]])
    assert not np.any(np.abs(multiples - np.rint(multiples)) < 0.01), multiples


def test_a_growing_fault_is_named_at_the_point_it_stands_on_with_its_growth_and_its_twin(demo: Job) -> None:
    records = [recorded(demo, seed=n, impact=impact, start=f"2026-0{n}") for n, impact in enumerate((0.0, 1.0, 5.0), start=1)]
    result = diagnose.run(demo, iter(records))
    (verdict,) = result.document["verdicts"]
    assert (verdict["component"], verdict["fault"]) == ("intermediate bearing, left", "outer_race")
    assert verdict["recording"] == "record 3" and verdict["growth_db"] > 10
    assert any(rival["name"].startswith("intermediate bearing, right") for rival in verdict["rivals"])
    assert result.wrong and not result.document["clean"]
    assert result.document["recordings"][0]["clean"]
    assert {"spectrum-2", "envelope-2"} <= result.arrays.keys()


def test_a_fault_that_later_recordings_of_the_point_do_not_show_is_said_to_be_no_recovery(demo: Job) -> None:
    elsewhere = recorded(demo, seed=5, point="input coupling end")
    unfit = replace(recorded(demo, seed=6), samples=np.zeros(int(RATE * 20), np.float32))
    records = [recorded(demo, seed=1, impact=5.0), elsewhere, recorded(demo, seed=2), unfit, recorded(demo, seed=3)]
    (verdict,) = diagnose.run(demo, records).document["verdicts"]
    assert verdict["recording"] == "record 1"
    assert verdict["advice"][0].startswith(
        "seen last in record 1; not seen in 2 later recordings at intermediate left; falling after"
    )
    (alone,) = diagnose.run(demo, records[:2]).document["verdicts"]
    assert not any("not seen" in step for step in alone["advice"]), "a recording of another point says nothing of it"
    (faint,) = diagnose.run(demo, [records[0], recorded(demo, seed=2, impact=2.2)]).document["verdicts"]
    assert not any("not seen" in step for step in faint["advice"]), "a faint comb is still there"


def test_a_faint_comb_is_said_and_becomes_a_fault_once_it_has_grown(demo: Job) -> None:
    sound, faint = recorded(demo, seed=1), recorded(demo, seed=2, impact=2.2)
    alone = diagnose.run(demo, [faint]).document
    assert not alone["verdicts"] and not alone["clean"]
    assert "a faint comb" in alone["statement"] and "outer race of intermediate bearing, left" in alone["statement"]
    (verdict,) = diagnose.run(demo, [sound, faint]).document["verdicts"]
    assert verdict["growth_db"] >= 6 and verdict["modulation_depth"] < 0.1
    assert not verdict["urgency"].startswith("watch"), "growth is worth a look at least"


@pytest.mark.parametrize(
    ("before", "now", "grows"),
    [
        ({}, {}, True),
        ({"taken": Circumstances(load=0.9)}, {"taken": Circumstances(load=0.95, state="steady")}, True),
        ({"taken": Circumstances(load=0.3)}, {"taken": Circumstances(load=0.9)}, False),
        ({"taken": Circumstances(state="unloaded")}, {}, False),
        ({"taken": Circumstances(direction="axial")}, {"taken": Circumstances(direction="vertical")}, False),
        ({"channel": "x"}, {"channel": "y"}, False),
        ({"speed": 22.0}, {"speed": 24.6}, False),
    ],
)
def test_a_fault_has_grown_only_over_a_recording_of_the_same_state(
    before: dict[str, Any], now: dict[str, Any], grows: bool, demo: Job
) -> None:
    """Two axes of one moment, or half load and full, differ in depth with nothing grown: matched state, as any severity wants."""
    run = demo if "speed" not in before else replace(demo, drive=replace(demo.drive, speed_hz=(20.0, 25.0)))
    records = [recorded(demo, seed=1, impact=1.0, **before), recorded(demo, seed=2, impact=5.0, **now)]
    verdicts = diagnose.run(run, records).document["verdicts"]
    (verdict,) = [row for row in verdicts if row["recording"] == "record 2"]
    assert (verdict["growth_db"] is not None) is grows
    assert not grows or verdict["growth_db"] > 6


def test_the_faulty_bearings_own_point_decides_between_twins(demo: Job) -> None:
    right = replace(demo.points[1], name="intermediate right", bearing="intermediate bearing, right")
    job = replace(demo, points=(*demo.points, right))
    (verdict,) = diagnose.run(job, [recorded(demo, impact=5.0, point="intermediate right")]).document["verdicts"]
    assert verdict["component"] == "intermediate bearing, right"


def test_a_sound_drive_is_worded_with_care(demo: Job) -> None:
    document = diagnose.run(demo, [recorded(demo)]).document
    assert document["clean"] and document["statement"] == "no fault seen in what can be seen"
    untested = {(row["component"], row["fault"]) for row in document["not_testable"]}
    assert ("output bearing, right", "any") in untested
    shafts = ", ".join(shaft.name for shaft in demo.drive.shafts)
    assert (shafts, "unbalance") in untested, "of one direction; it names each shaft it could not be tested of"


def test_without_a_speed_a_drive_of_many_speeds_cannot_be_told_where_its_lines_do_not_show(demo: Job) -> None:
    noise = np.random.default_rng(1).standard_normal(int(RATE * 20)).astype(np.float32)
    document = diagnose.run(demo, [replace(recorded(demo, speed_hz=None), samples=noise)]).document
    assert not document["clean"] and not document["verdicts"]
    assert "no comb of shaft and mesh lines" in document["cannot_tell"][0] and "give --speed" in document["cannot_tell"][0]


def test_without_a_speed_a_drive_of_many_speeds_is_judged_at_the_one_its_lines_show(demo: Job) -> None:
    document = diagnose.run(demo, [recorded(demo, impact=5.0, speed_hz=None)]).document
    found = document["recordings"][0]
    assert found["speed_hz"] == pytest.approx(24.6, abs=5 * found["speed_standard_error_hz"])
    assert [row["fault"] for row in document["verdicts"]] == ["outer_race"]


def test_a_stated_speed_that_the_lines_contradict_is_named_with_what_the_lines_say(demo: Job) -> None:
    """6 % off and inside the job's range: of two speeds that cannot both be true neither is taken."""
    document = diagnose.run(demo, [recorded(demo, impact=5.0, speed=23.0, speed_hz=23.0 * 1.06)]).document
    assert not document["clean"] and not document["verdicts"]
    (says,) = document["cannot_tell"]
    assert "stated as 1462.8 rpm" in says and "fit 1380 rpm" in says and "read the speed again" in says


def test_a_stated_speed_a_little_off_is_put_right_from_the_recordings_lines(demo: Job) -> None:
    document = diagnose.run(demo, [recorded(demo, impact=5.0, speed_hz=24.6 * 1.015)]).document
    found = document["recordings"][0]
    assert found["speed_hz"] == pytest.approx(24.6, abs=5 * found["speed_standard_error_hz"])
    assert document["verdicts"]


@pytest.mark.parametrize(
    ("speed_hz", "said"), [(100.0, "6000 rpm"), (100000 / 60, "100000 rpm"), (14.6, "876 rpm"), (25.37, "1522.2 rpm")]
)
def test_a_stated_speed_at_which_the_job_says_the_drive_does_not_run_is_never_clean(speed_hz: float, said: str, demo: Job) -> None:
    """The job runs from 900 to 1485 rpm; 2.5 % beyond is 877.5 to 1522.1 rpm."""
    document = diagnose.run(demo, [recorded(demo, speed_hz=speed_hz)]).document
    assert not document["clean"] and not document["recordings"][0]["clean"]
    (found,) = [row for row in document["recordings"][0]["quality"] if row["rule"] == "diagnose.stated_speed"]
    assert found["level"] == "caution" and said in found["says"] and "900 to 1485 rpm" in found["says"]
    assert any(found["says"] in reason for reason in document["cannot_tell"])


@pytest.mark.parametrize("speed_hz", [15 * 0.976, 24.75 * 1.024])
def test_a_stated_speed_within_the_rounding_of_the_jobs_range_contradicts_nothing(speed_hz: float, demo: Job) -> None:
    (row,) = diagnose.run(demo, [recorded(demo, speed=speed_hz)]).document["recordings"]
    assert not [finding for finding in row["quality"] if finding["rule"] == "diagnose.stated_speed"]


def test_a_speed_that_no_comb_confirms_may_be_as_far_off_as_it_would_have_been_searched_for() -> None:
    """Nothing of the shaft shows, and the real speed is 2 % above the stated one, within the 2.5 % that a statement may be off."""
    job = load(EXAMPLES / "rig-mfpt")
    faults = [BearingFault("test bearing", "outer_race", 5.0, jitter=0.002)]
    given = {"sample_rate_hz": RATE, "samples": int(20 * RATE), "levels": Levels(0.0, 0.0, 1.0, 0.0), "noise": "white"}
    samples = simulate(job.drive, speed_hz=25.0 * 1.02, seed=1, faults=faults, **given)
    document = diagnose.run(job, [Recording(samples, RATE, "m/s2", speed_hz=25.0, name="quiet shaft")]).document
    assert document["recordings"][0]["speed_from"].startswith(
        "stated; no comb of shaft and mesh lines stands out of the noise: the"
    )
    assert document["recordings"][0]["speed_from"].endswith("record again at steady speed and load, or read a tachometer")
    assert [(row["component"], row["fault"]) for row in document["verdicts"]] == [("test bearing", "outer_race")]


HUM = tuple(50.0 * n for n in range(1, 8))


def hum(*multiples_hz: float, seconds: int = 20, seed: int = 1) -> np.ndarray:
    time = np.arange(int(RATE * seconds)) / RATE
    noise = np.random.default_rng(seed).standard_normal(time.size)
    return np.asarray(noise + sum(0.5 * np.sin(2 * np.pi * hz * time) for hz in multiples_hz), np.float32)


@pytest.mark.parametrize("multiples", [(), (50.0, 100.0, 200.0, 300.0), HUM], ids=["noise", "four of hum", "seven of hum"])
@pytest.mark.parametrize("speed_hz", [24.6, 25.0, 24.0], ids=["stated", "at half the mains", "beside it"])
def test_a_recording_in_which_nothing_turns_is_never_clean(multiples: tuple[float, ...], speed_hz: float, demo: Job) -> None:
    still = replace(recorded(demo), samples=hum(*multiples), speed_hz=speed_hz)
    document = diagnose.run(demo, [still]).document
    assert not document["clean"] and not document["recordings"][0]["clean"] and not document["verdicts"]
    says = next(reason for reason in document["cannot_tell"] if "nothing in it shows that the drive turned" in reason)
    assert "record again" in says and "read a tachometer" in says
    assert says.startswith("record 1: ") and says.count("record 1") == 1


def test_a_recording_at_standstill_is_neither_recovery_nor_what_growth_is_counted_from(demo: Job) -> None:
    still = replace(recorded(demo, seed=7), samples=hum(), name="still")
    (verdict,) = diagnose.run(demo, [recorded(demo, impact=5.0), still]).document["verdicts"]
    assert not any("not seen" in step for step in verdict["advice"])
    (first,) = diagnose.run(demo, [still, recorded(demo, impact=5.0)]).document["verdicts"]
    assert first["growth_db"] is None


def test_the_pulses_of_a_tachometer_show_that_the_drive_turned(demo: Job) -> None:
    record = replace(recorded(demo), samples=hum(), pulses_per_turn=4, tachometer="4 pulses a turn: evenly spaced")
    (row,) = diagnose.run(demo, [record]).document["recordings"]
    assert row["speed_from"].startswith("by its tachometer: 4 pulses a turn") and row["clean"]


def test_pulses_that_the_lines_contradict_are_named_as_pulses(demo: Job) -> None:
    record = recorded(demo, speed=23.0, speed_hz=23.0 * 1.06)
    document = diagnose.run(demo, [replace(record, pulses_per_turn=4, tachometer="4 pulses a turn")]).document
    (says,) = document["cannot_tell"]
    assert "its tachometer gives 1462.8 rpm at 4 pulses a turn, and its lines fit 1380 rpm" in says
    assert "count the marks on its wheel" in says and "stated" not in says


def test_a_record_unfit_to_be_judged_gives_no_verdict(demo: Job) -> None:
    dead = replace(recorded(demo, impact=5.0), samples=np.zeros(int(RATE * 20), np.float32))
    result = diagnose.run(demo, [dead])
    document = result.document
    assert not document["clean"] and not document["verdicts"] and document["cannot_tell"]
    assert result.wrong, "somebody must record again"
    assert diagnose.run(demo, [dead, recorded(demo)]).wrong, "a sound record of another time does not make up for it"


@pytest.mark.parametrize(("amplitude", "rough"), [(0.2, False), (1.5, True)])
def test_rough_running_is_said_with_the_line_that_makes_it_and_no_cause_is_named(amplitude: float, rough: bool, demo: Job) -> None:
    """v = a / (2 pi f): input 1x, 1.5 m/s2 at 24.6 Hz, moves at 6.9 mm/s RMS; intermediate 2x, 0.75 m/s2 at 11.78 Hz, at 7.2.

    Either alone is zone D of group 2 on rigid support (C/D at 4.5 mm/s).
    """
    levels = Levels(shaft=amplitude, mesh=0.8, noise_rms=0.5, modulation=0.05)
    samples = simulate(demo.drive, speed_hz=24.6, sample_rate_hz=RATE, samples=int(20 * RATE), seed=5, noise="white", levels=levels)
    record = replace(recorded(demo), samples=samples)
    result = diagnose.run(demo, [record])
    document = result.document
    assert document["recordings"][0]["indicators"]["zone"] == ("D" if rough else "B")
    assert result.wrong is rough, "zone D is a fact that somebody must act on"
    assert document["clean"] is not rough
    said = " ".join(document["cannot_tell"])
    assert ("at intermediate 2x" in said and "one direction" in said) is rough
    assert not document["verdicts"]


SLOW = """job: 1
title: slow
drive:
  name: slow
  nameplate: {power: 90 kW, support: rigid}
  input: {shaft: input, speed: 300 rpm, origin: nameplate}
  shafts: [{name: input, end: input}, {name: output, end: output}]
  meshes: [{name: mesh, pinion: {shaft: input, teeth: 23}, wheel: {shaft: output, teeth: 71}}]
"""


@pytest.mark.parametrize(("drift", "zone"), [(0.0, "D"), (1.0, None)])
def test_a_slow_drive_is_held_against_the_zones_from_2_hz_on(drift: float, zone: str | None) -> None:
    """At or below 600 rpm the band of ISO 10816-3 begins at 2 Hz (from memory): 6 mm/s RMS at the 5 Hz of the input, zone D of
    group 2 on rigid support (C/D at 4.5 mm/s), lie below 10 Hz. What a drifting sensor makes of it is no velocity of the drive.
    """
    job, (rate_hz, samples) = job_of(SLOW), (2560.0, 2560 * 60)
    t = np.arange(samples) / rate_hz
    levels = Levels(shaft=0.0, mesh=0.3, noise_rms=0.05, modulation=0.05)
    wave = simulate(job.drive, speed_hz=5.0, sample_rate_hz=rate_hz, samples=samples, seed=5, noise="white", levels=levels)
    wave = wave + 0.006 * np.sqrt(2) * 10 * np.pi * np.cos(10 * np.pi * t)
    wave += drift * np.cumsum(np.random.default_rng(1).normal(0, 0.02, samples))
    record = Recording(wave.astype(np.float32), rate_hz, "m/s2", speed_hz=5.0, name="slow")
    document = diagnose.run(job, [record]).document
    assert document["recordings"][0]["indicators"]["zone"] == zone
    (rough,) = [says for says in document["cannot_tell"] if "zone" in says] or [""]
    assert ("overall velocity 6 mm/s, 2 to 1000 Hz, is zone D" in rough and "at input 1x" in rough) is (zone == "D")


def test_recordings_are_taken_one_by_one_so_that_more_than_fit_in_memory_do_no_harm(demo: Job) -> None:
    """Patterns compare the earliest and latest three of each place and state: memory is flat in the number of recordings."""
    seen: list[weakref.ref[np.ndarray]] = []
    alive: list[int] = []

    def many() -> Iterator[Recording]:
        for seed in range(12):
            record = recorded(demo, seed=seed, point="", seconds=5)
            seen.append(weakref.ref(record.samples))
            yield record
            del record
            gc.collect()
            alive.append(sum(earlier() is not None for earlier in seen[:-2]))

    assert len(diagnose.run(demo, many()).document["recordings"]) == 12
    assert max(alive) <= 6 and alive[-1] == alive[-4]


def test_no_recording_is_not_a_clean_drive(demo: Job) -> None:
    document = diagnose.run(demo, []).document
    assert not document["clean"] and document["statement"] == "no recording judged"


def earlier(document: dict[str, Any], *changed: str) -> handover.Earlier:
    return handover.Earlier(1, document, {}, changed)


def hand_over(job: Job, results: dict[str, handover.Earlier], **given: str) -> tuple[Any, handover.Content]:
    return handover.run(job, results, who="A. Tester", date="2026-11-25", number=1, checksum=sha256_of_data, **given)


def test_a_handover_needs_a_survey(demo: Job) -> None:
    with pytest.raises(BadInput, match="run: gearcase survey"):
        hand_over(demo, {})


def test_a_stale_result_is_refused_with_what_changed_unless_somebody_accepts_it(demo: Job) -> None:
    old = {"survey": earlier(survey.run(demo).document, "job.yaml drive has changed since")}
    with pytest.raises(BadInput, match=r"job\.yaml drive has changed since.*--accept-stale NAME"):
        hand_over(demo, old)
    result, content = hand_over(demo, old, accept_stale_by="B. Approver")
    assert result.document["stale_accepted_by"] == "B. Approver"
    assert content.stale == ("survey: job.yaml drive has changed since",)


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_train_is_diagnosed(kind: str, tmp_path: Path) -> None:
    """A spall in a bearing of the driving shaft, and in those of planets of known speed: named with its rivals where the record
    is long enough for the slowest shaft, and never anything else.
    """
    (tmp_path / "job.yaml").write_text(f"job: 1\ntitle: {kind}\ndrive:\n  name: {kind}{KINDS[kind]}", encoding="utf-8")
    job = load(tmp_path)
    shape = Geometry(9, 7.94e-3, 39.04e-3)
    bearings = [Bearing("spalled", job.drive.reference_shaft, None, shape)]
    orders = shaft_orders(job.drive)
    bearings += [
        Bearing("on the pin", one.carrier, one.name, shape) for one in job.drive.shafts if one.carrier and one.name in orders
    ]
    for bearing in bearings:
        drive = replace(job.drive, bearings=(bearing,))
        at = {"speed_hz": drive.rated_speed_hz, "sample_rate_hz": RATE, "samples": 2**17, "seed": 3}
        faults = [BearingFault(bearing.name, "outer_race", 8.0, jitter=0.004)]
        samples = simulate(drive, **at, noise="white", faults=faults, levels=QUIET_GEARS)
        recording = Recording(samples, RATE, "m/s2", speed_hz=drive.rated_speed_hz, name="spalled", sha256="1")
        document = diagnose.run(replace(job, drive=drive), [recording]).document
        named = {(row["component"], row["fault"]) for row in document["verdicts"]}
        assert named <= {(bearing.name, "outer_race")}
        assert all(row["rivals"] for row in document["verdicts"])
        if bearing.inner_shaft == drive.reference_shaft or kind == "a planetary set":
            assert named or any("The slowest shaft turns" in why for why in document["cannot_tell"])


def test_the_grades_of_a_mount_are_those_of_lines_and_not_of_their_sidebands(demo: Job) -> None:
    point = next(point for point in demo.points if point.bearing and sight(point))
    band = sight(point)
    assert band is not None
    graded = graded_lines(demo.drive, point, expected_lines(demo.drive), band)
    assert f"{point.bearing} inner race 1x" in {row["name"] for row in graded}
    assert not [row["name"] for row in graded if " x " in row["name"]]
