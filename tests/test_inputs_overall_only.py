"""A sensor that gives one overall figure and no waveform, through the whole chain: survey, plan, prove, watch, baseline, trend."""

import asyncio
import json
import math
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from gearcase.cli import main
from gearcase.device.rig import Rig, RigBus
from gearcase.drive.simulate import BearingFault, Levels, simulate
from gearcase.errors import BadInput
from gearcase.job.build import Job, build, load
from gearcase.job.read import parse_text
from gearcase.monitor.inputs import Inputs
from gearcase.monitor.polling import poll
from gearcase.record.store import Reading, Readings, open_store
from gearcase.stages import baseline, plan, survey, trend
from test_stages import EXAMPLES

POINT = "input coupling end"
DAY = 86400.0
STARTED = 1_760_000_000.0
COLUMNS = ("time_s", "point", "quantity", "value", "unit", "quality", "state")


def overall_only(kind: str = "kind: overall, ") -> Job:
    """The demo, its sensor at the input one that gives one figure, the other points as they are."""
    text = (EXAMPLES / "demo" / "job.yaml").read_text(encoding="utf-8")
    text = text.replace(
        "profile: three-axis vibration, address: 11, registers: 48", "profile: overall vibration, address: 11, registers: 12"
    )
    head, _, rest = text.partition(f"  - name: {POINT}\n")
    return build(parse_text(f"{head}  - name: {POINT}\n{rest.replace('sensor: {', 'sensor: {' + kind, 1)}"), folder="")


@pytest.fixture(scope="module")
def job() -> Job:
    return overall_only()


def test_a_point_that_says_waveform_at_such_a_device_is_refused() -> None:
    with pytest.raises(BadInput, match="one figure and no waveform"):
        overall_only("")


def test_coverage_says_that_it_cannot_tell_one_part_from_another(job: Job) -> None:
    rows = [row for row in survey.run(job, []).document["coverage"] if row["point"] == POINT]
    assert rows and {row["grade"] for row in rows} <= {"seen weakly", "blind"}
    assert any("one overall figure: it cannot tell this part from another" in row["why"] for row in rows)


def test_it_can_be_planned(job: Job) -> None:
    document = plan.run(job).document
    assert "vibration input" in json.dumps(document)
    assert POINT not in json.dumps(document["orientation"]), "one figure shows no gravity, so nothing can be asked of it"


def test_each_round_reads_its_figure_and_temperature(job: Job) -> None:
    rig = Rig(job, lambda: 0.0, 24.75)
    read = {(one.point, one.quantity): one for one in asyncio.run(poll(job, RigBus(rig), Inputs(job), now=0.0))}
    figure, warm = read[POINT, "overall velocity"], read[POINT, "temperature"]
    assert figure.quality == warm.quality == "good" and figure.value is not None and 0 < figure.value < 0.1
    assert (POINT, "high-frequency acceleration") not in read
    assert figure.value == pytest.approx(rig.read(11, 10, 1)[0] * 1e-5), "hundredths of a millimetre a second"


def readings(days: int = 120, growth_from: int = 60) -> Readings:
    """Hourly starts of steady running: a figure with noise, which grows from a day on; a warm sump."""
    rng = np.random.default_rng(5)
    rows: list[Reading] = []
    for day in range(days):
        for minute in range(0, 3 * 60, 5):
            now = STARTED + day * DAY + 60 * minute
            runs = minute >= 15
            level = 1.0e-3 * (1.02 ** max(day - growth_from, 0)) * np.exp(rng.normal(0, 0.05))
            values: dict[tuple[str, str], tuple[float, str]] = {
                ("", "running"): (float(runs), "-"),
                ("", "speed"): (24.75 * runs, "Hz"),
                ("", "load"): (0.7 * runs, "-"),
                ("sump", "temperature"): (330.0, "K"),
                (POINT, "overall velocity"): (level if runs else 1e-5, "m/s"),
                (POINT, "temperature"): (322.0, "K"),
            }
            rows += [Reading(now, point, quantity, value, unit) for (point, quantity), (value, unit) in values.items()]
    columns: list[Any] = [[getattr(row, name) for row in rows] for name in COLUMNS]
    return Readings(*(np.array(column) for column in columns))


def test_a_baseline_sets_limits_on_its_figure_and_temperature_alone_and_a_trend_shows_its_growth(job: Job) -> None:
    kept = readings()
    early = kept.time_s < STARTED + 9 * DAY
    first = Readings(*(getattr(kept, name)[early] for name in COLUMNS))
    limits = baseline.run(
        job, first, now=STARTED + 9 * DAY, approver="B. Moor", reason="first", who="A. Fell", in_force=None
    ).document
    assert {row["quantity"] for row in limits["limits"] if row["point"] == POINT} == {"overall velocity", "temperature"}
    found = trend.run(job, kept, (), baseline=None, diagnoses=[]).document
    (row,) = [row for row in found["series"] if (row["point"], row["quantity"]) == (POINT, "overall velocity")]
    grew = 30 * 20 * math.log10(1.02)  # dB a month of 30 days
    assert row["trend"]["answer"] == "rising" and row["trend"]["low"] <= grew <= row["trend"]["high"]


@pytest.fixture(scope="module")
def figures(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job's folder none of whose devices gives a waveform, with the readings of 120 days and no recording."""
    folder = tmp_path_factory.mktemp("jobs") / "figures"
    folder.mkdir()
    text = (EXAMPLES / "demo" / "job.yaml").read_text(encoding="utf-8").partition("\n# Made by `make demo`")[0]
    text = text.replace("sensor: {", "sensor: {kind: overall, ")
    text = re.sub(
        r"profile: three-axis vibration, (address: \d+), registers: 48", r"profile: overall vibration, \1, registers: 12", text
    )
    (folder / "job.yaml").write_text(text, encoding="utf-8")
    kept = readings()
    rows = zip(*(getattr(kept, name).tolist() for name in COLUMNS[:5]), strict=True)
    with open_store(folder, "") as store:
        store.add_readings([Reading(*row) for row in rows])
    return folder


def answer(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, dict[str, Any]]:
    code = main([*map(str, words), "--json"])
    said = capsys.readouterr()
    assert said.err == ""
    return code, json.loads(said.out)


def test_diagnose_says_what_figures_cannot_tell_and_what_would(figures: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, document = answer(capsys, "diagnose", figures)
    assert code == 0 and not document["clean"] and document["verdicts"] == []
    (reason,) = document["cannot_tell"]
    assert reason.startswith("every sensor of this job gives one overall figure and no waveform")
    assert document["statement"] == f"cannot tell: {reason}" and "hand-held recorder" in reason and "gearcase diagnose" in reason


def test_a_recording_by_hand_at_such_a_point_is_judged(figures: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job, rate = load(figures), 12800.0
    fault = BearingFault("input bearing, coupling end", "outer_race", 8.0, jitter=0.004)
    samples = simulate(
        job.drive, speed_hz=24.6, sample_rate_hz=rate, samples=int(20 * rate), seed=1, noise="white", faults=[fault],
        levels=Levels(shaft=0.2, mesh=0.8, noise_rms=1.0, modulation=0.08),
    )  # fmt: skip
    np.save(tmp_path / "hand.npy", samples)
    given = ["--rate", "12.8 kHz", "--unit", "m/s2", "--speed", "24.6 Hz", "--point", POINT]
    code, document = answer(capsys, "diagnose", figures, tmp_path / "hand.npy", *given)
    (verdict,) = document["verdicts"]
    assert code == 1 and (verdict["component"], verdict["fault"]) == ("input bearing, coupling end", "outer_race")


def test_baseline_and_trend_of_figures_alone_say_what_alarms_and_what_they_cannot_tell(
    figures: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, limits = answer(capsys, "baseline", figures, "--by", "A. Fell", "--approver", "B. Moor")
    (point,) = [row for row in limits["points"] if row["point"] == POINT]
    assert [row["quantity"] for row in point["families"]] == ["overall velocity", "temperature"], "no lines: there is no waveform"
    _, found = answer(capsys, "trend", figures)
    (row,) = [one for one in found["series"] if (one["point"], one["quantity"]) == (POINT, "overall velocity")]
    assert row["trend"]["answer"] == "rising" and row["forecast"]["answer"] == "inspect by", "what grows is not known: no date"
    for document, rule in ((limits, "baseline.one_figure"), (found, "trend.one_figure")):
        (note,) = [one for one in document["findings"] if one["rule"] == rule]
        assert (note["level"], note["where"]) == ("note", POINT) and "only a recording tells" in note["says"]
