"""Files of several directions and states through the whole diagnosis: what is claimed, doubted and asked for, in words."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from studies.shaft_cases import CHANNELS, DRIVE, SAMPLES, SPEED_HZ, observe

from gearcase.drive.shaft_faults import Neighbour, SensorFault, ShaftFault, Situation, Unbalance
from gearcase.job.build import Job, load
from gearcase.signal.recording import Recording
from gearcase.stages import diagnose

MM_S = 1e-3
HERE = CHANNELS[3:6]
UNBALANCE = Unbalance("input", 6 * MM_S)


@pytest.fixture(scope="module")
def job() -> Job:
    demo = load(Path(__file__).parents[1] / "examples" / "demo")
    point = replace(demo.points[0], name=HERE[0].point, bearing=HERE[0].bearing)
    return replace(demo, drive=DRIVE, points=(point,))


def recordings(seed: int, *faults: ShaftFault, state: str = "steady", sensors: tuple[SensorFault, ...] = ()) -> list[Recording]:
    return [one.recording for one in observe(Situation(SPEED_HZ, state), seed=seed, faults=faults, sensors=sensors, channels=HERE)]


def test_unbalance_is_a_verdict_with_its_signs_rivals_and_advice(job: Job) -> None:
    document = diagnose.run(job, recordings(1, UNBALANCE)).document
    (verdict,) = document["verdicts"]
    assert (verdict["component"], verdict["fault"]) == ("input", "unbalance")
    assert verdict["urgency"].startswith("put it right at the next planned stop")
    assert {row["name"] for row in verdict["signs"] if row["seen"]} >= {"1x radial", "steady phase"}
    assert "record with this drive stopped" in next(row["separated_by"] for row in verdict["rivals"] if "neighbour" in row["name"])
    assert any("clean the rotor" in step for step in verdict["advice"])
    assert any(row["indicators"]["zone"] == "D" and not row["clean"] for row in document["recordings"])
    assert not any("zone" in says for says in document["cannot_tell"]), "the unbalance is what makes it rough"


def test_a_claim_that_rests_on_an_older_recording_has_its_plots_too(job: Job) -> None:
    """Unbalance is seen in the file of three directions; later only one direction was recorded at that point."""
    three, later = recordings(1, UNBALANCE), [replace(record, name="later") for record in recordings(2, UNBALANCE)[:1]]
    result = diagnose.run(job, [*three, *later])
    (verdict,) = [row for row in result.document["verdicts"] if row["fault"] == "unbalance"]
    assert verdict["recording"] == "file 1"
    drawn = {int(name.rpartition("-")[2]) for name in result.arrays if name.startswith("spectrum-")}
    assert 3 in drawn and any(result.document["recordings"][n]["name"] == "file 1" for n in drawn)


def test_rough_running_that_nothing_explains_says_what_was_measured_already(job: Job) -> None:
    """6 mm/s of a neighbour at no line of the drive, in three directions and in one."""
    shaken = [replace(record, speed_hz=SPEED_HZ) for record in recordings(1, Neighbour(61.3, 6 * MM_S))]
    (three, *_) = (says for says in diagnose.run(job, shaken).document["cannot_tell"] if "zone D" in says)
    assert "see which signs each still needs" in three and "one direction" not in three
    (one,) = (says for says in diagnose.run(job, shaken[:1]).document["cannot_tell"] if "zone D" in says)
    assert "cannot be told apart from one direction" in one


def test_a_neighbour_is_a_verdict_on_the_measurement_and_makes_the_unbalance_a_doubt(job: Job) -> None:
    shaken = Neighbour(SPEED_HZ, 8 * MM_S)
    document = diagnose.run(job, [*recordings(1, shaken), *recordings(2, shaken, state="standing")]).document
    assert {row["fault"] for row in document["verdicts"]} == {"background from elsewhere"}
    assert any("signs of unbalance, input" in says and "with this drive standing" in says for says in document["cannot_tell"])


def test_a_channel_that_lies_is_named_with_a_swap_as_advice(job: Job) -> None:
    lies = SensorFault(HERE[2].point, "axial", "offset", 40.0)
    (verdict,) = diagnose.run(job, recordings(1, sensors=(lies,))).document["verdicts"]
    assert (verdict["component"], verdict["fault"]) == (f"{HERE[2].point} axial", "sensor fault")
    assert any("swap cable and sensor" in step for step in verdict["advice"])


@pytest.mark.parametrize(("row", "shows"), [(np.zeros(SAMPLES), "dead or unplugged"), (None, "are clipped")])
def test_a_record_unfit_for_all_else_still_tells_that_its_sensor_has_failed(row: np.ndarray | None, shows: str, job: Job) -> None:
    """Nothing can be judged from the axial channel; the two beside it, sampled together, are sound: it is the channel."""
    records = recordings(1)
    samples = np.clip(records[2].samples, -0.2, 0.2) if row is None else row.astype(np.float32)
    document = diagnose.run(job, [*records[:2], replace(records[2], samples=samples)]).document
    (verdict,) = document["verdicts"]
    assert (verdict["component"], verdict["fault"]) == (f"{HERE[2].point} axial", "sensor fault")
    assert shows in verdict["signs"][0]["says"] and verdict["recording"] == records[2].name
    assert any(shows in says for says in document["cannot_tell"]), "what it would have shown of the drive is not known"


def test_records_that_are_dead_in_every_channel_are_no_single_sensor_s_fault(job: Job) -> None:
    dead = [replace(record, samples=np.zeros(SAMPLES, np.float32)) for record in recordings(1)]
    document = diagnose.run(job, dead).document
    assert not document["verdicts"] and len(document["cannot_tell"]) >= 3


def test_a_sound_drive_is_clean_and_says_what_each_pattern_still_needs(job: Job) -> None:
    document = diagnose.run(job, recordings(1)).document
    assert document["clean"] and not document["verdicts"]
    needs = {row["fault"]: row["why"] for row in document["not_testable"]}
    assert "4 steady speeds" in needs["resonance"] and "overrunning" in needs["backstop"]
