"""Baseline from made-up readings: what the data allows, what is refused, and what an approver may accept."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from gearcase.drawings.text import baseline_text
from gearcase.errors import BadInput
from gearcase.job.build import Job, load
from gearcase.record.store import Reading, Readings, Store, store_path
from gearcase.stages import baseline
from gearcase.stages.result import StageResult
from test_cli import call, document, job
from test_stages import EXAMPLES

__all__ = ["job"]  # a fixture

POINT, HOUR, START = "input coupling end", 3600.0, 1.7e9 // 60 * 60
BC, CD = 2.8e-3, 4.5e-3  # the demo: 75 kW on rigid support, group 2; vibration_zones.csv


@pytest.fixture(scope="module")
def demo() -> Job:
    return load(EXAMPLES / "demo")


def shifts(runs: int, hours: float, *, overall: float = 1.5e-3, seed: int = 1, speed: bool = True) -> list[Reading]:
    """Runs of some hours, an hour's stop between; a reading a minute; warm after a quarter of an hour."""
    rng, found, time_s = np.random.default_rng(seed), [], START
    for _ in range(runs):
        for minute in range(round(60 * (hours + 1))):
            on = minute >= 60
            warm = 335.0 - 40.0 * np.exp(-(minute - 60) / 5.0) if on else 295.0
            shake = overall * (1 + 0.03 * rng.normal()) if on else 1e-5
            found += [
                Reading(time_s, POINT, "overall velocity", shake, "m/s"),
                Reading(time_s, POINT, "temperature", warm, "K"),
                Reading(time_s, POINT, "high-frequency acceleration", 5.0 + 0.2 * rng.normal() if on else 0.05, "m/s2"),
            ]
            if speed:
                found += [
                    Reading(time_s, "", "speed", 24.75 if on else 0.0, "Hz"),
                    Reading(time_s, "", "running", float(on), "-"),
                ]
            time_s += 60.0
    return found


def taken(demo: Job, path: Path, readings: list[Reading], **given: Any) -> StageResult:
    with Store.open(path / "r.sqlite") as store:
        store.add_readings(readings)
        kept: Readings = store.readings()
    result = baseline.run(demo, kept, now=START + 30 * HOUR, **given)
    assert json.loads(json.dumps(result.document, allow_nan=False)) == result.document
    assert baseline_text(result.document).startswith(result.document["statement"])
    return result


def limits(result: StageResult) -> dict[str, dict[str, Any]]:
    return {limit["quantity"]: limit for limit in result.document["limits"]}


def test_one_run_gives_day_one_limits_and_says_what_lacks(demo: Job, tmp_path: Path) -> None:
    result = taken(demo, tmp_path, shifts(1, 2.0))
    found = limits(result)
    assert result.document["status"] == "normal" and not result.wrong
    assert set(found) == {"overall velocity", "temperature"}  # bands are evidence only
    overall = found["overall velocity"]
    assert (overall["yellow"]["value"], overall["danger"]["value"]) == pytest.approx((BC, CD))
    assert overall["kind"] == "day-one" and overall["note"] == "stand-in, not gear health"
    assert overall["role"] == "proposed by technician" and overall["expires_s"] == START + 30 * HOUR + 30 * 86400
    (point,) = result.document["points"]
    assert point["lacks_for_one_week"][0] == "1 starts seen, 3 wanted" and point["duty"]["starts"] == 1
    silent = overall["false_alarms_per_year"]["yellow"]
    assert silent["episodes"] == 0 and silent["per_year"] == 0 and silent["high"] > 100  # two hours prove little


def test_four_runs_give_limits_of_its_own(demo: Job, tmp_path: Path) -> None:
    result = taken(demo, tmp_path, shifts(4, 4.0), approver="B. Approver", who="A. Tester")
    found = limits(result)
    overall, band = found["overall velocity"], found["high-frequency acceleration"]
    assert overall["kind"] == band["kind"] == "one-week" and overall["role"] == "accepted by approver B. Approver"
    # own: twice 1.5 mm/s; the standard: 1.5 + 2.8 / 4 = 2.2 mm/s is lower; danger 4 x 1.5 = 6.0, C/D is lower
    assert overall["yellow"]["value"] == pytest.approx(2.2e-3, rel=0.01)
    assert overall["danger"]["value"] == pytest.approx(CD) and overall["low"]["value"] == pytest.approx(0.5e-3, rel=0.01)
    assert band["yellow"]["value"] == pytest.approx(10.0, rel=0.02) and band["danger"]["value"] == pytest.approx(20.0, rel=0.02)
    assert found["temperature"]["kind"] == "day-one" and found["temperature"]["yellow"]["value"] == 353.15
    assert overall["false_alarms_per_year"]["yellow"]["runs"] == 4
    (point,) = result.document["points"]
    quantity = next(row for row in point["quantities"] if row["quantity"] == "overall velocity")
    assert quantity["median"] == pytest.approx(1.5e-3, rel=0.01)  # stopped minutes would halve it
    assert quantity["records"] < 4 * 4 * 60 and point["lacks_for_one_week"] == []


def test_a_drive_over_the_boundary_is_refused_unless_an_approver_says_why(demo: Job, tmp_path: Path) -> None:
    readings = shifts(4, 4.0, overall=5.5e-3)
    refused = taken(demo, tmp_path, readings)
    assert refused.wrong and refused.document["status"] == "refused" and refused.document["limits"] == []
    assert any("--approver NAME --reason TEXT" in finding["says"] for finding in refused.document["findings"])
    assert taken(demo, tmp_path, readings, approver="B. Approver").wrong  # a name alone is no reason
    accepted = taken(demo, tmp_path, readings, approver="B. Approver", reason="worn coupling, on order")
    overall = limits(accepted)["overall velocity"]
    assert accepted.document["status"] == "accepted with known defect" and not accepted.wrong
    assert "worn coupling, on order" in accepted.document["statement"]
    assert overall["yellow"]["value"] == pytest.approx(5.5e-3 + BC / 4, rel=0.01)  # it does not alarm for ever
    assert all(limit["expires_s"] == START + 30 * HOUR + 30 * 86400 for limit in accepted.document["limits"])


def test_without_run_state_nothing_is_judged(demo: Job, tmp_path: Path) -> None:
    result = taken(demo, tmp_path, shifts(1, 2.0, speed=False))
    assert result.wrong and result.document["findings"][-1]["rule"] == "baseline.nothing_judged"


def test_limits_that_would_cry_wolf_are_said(demo: Job, tmp_path: Path) -> None:
    """A product change: one hour in each run at three times the level, over the drive's own yellow."""
    readings = [
        Reading(r.time_s, r.point, r.quantity, (r.value or 0) * 3, r.unit)
        if r.quantity == "overall velocity" and (r.time_s - START) % (5 * HOUR) >= 4 * HOUR
        else r
        for r in shifts(4, 4.0, overall=0.8e-3)
    ]
    result = taken(demo, tmp_path, readings)
    found = limits(result)["overall velocity"]["false_alarms_per_year"]["yellow"]
    assert found["episodes"] == 4 and found["per_year"] > 500
    assert any(finding["rule"] == "baseline.false_alarms" for finding in result.document["findings"])


def test_the_same_readings_give_the_same_baseline_and_every_point_without_readings_is_named(demo: Job, tmp_path: Path) -> None:
    once, twice = (taken(demo, tmp_path / name, shifts(3, 2.0)) for name in ("a", "b"))
    assert once.document == twice.document and once.read == twice.read
    unread = {finding["where"] for finding in once.document["findings"] if finding["rule"] == "baseline.not_read"}
    assert unread == {point.name for point in demo.points} - {POINT}


@pytest.mark.parametrize(
    ("readings", "given", "says"),
    [
        ([], {}, "none"),
        ([Reading(START, POINT, "overall velocity", 1.5, "mm/s")], {}, "in m/s"),
        ([Reading(START, POINT, "temperature", 300.0, "K")], {"reason": "no time"}, "--approver"),
        ([Reading(START, POINT, "temperature", 300.0, "K")], {"approver": "A. Tester", "who": "a. tester"}, "a second person"),
    ],
)
def test_what_cannot_be_a_baseline_is_refused(
    demo: Job, tmp_path: Path, readings: list[Reading], given: dict[str, str], says: str
) -> None:
    with pytest.raises(BadInput, match=says):
        taken(demo, tmp_path, readings, **given)


def test_the_verb_keeps_its_result_and_says_what_to_do(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, _, said = call(capsys, "baseline", job)
    assert code == 2 and "watch the drive first" in said
    with Store.open(store_path(job)) as store:
        store.add_readings(shifts(3, 2.0, overall=6e-3))
    code, found = document(capsys, "baseline", job, "--by", "A. Tester")
    assert code == 1 and found["schema"] == "baseline/1" and found["status"] == "refused"
    code, out, _ = call(capsys, "baseline", job, "--by", "A. Tester", "--approver", "B. Approver", "--reason", "worn coupling")
    assert code == 0 and "accepted with known defect" in out
    assert "5.97 mm/s" in out and "6.67 mm/s" in out  # its own overall, and yellow a quarter of 2.8 mm/s over it
    assert (job / "results" / "baseline" / "0002" / "result.json").is_file()
