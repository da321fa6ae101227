"""Trends and forecasts of what the watch keeps.

Outside checks: the moment a made-up law of growth reaches its limit; slopes in dB a month against numpy's fit of the same days;
where a date may stand at all, as the trade has it (common practice, no source).
"""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from gearcase.drawings.pages import stage_blocks
from gearcase.drawings.trend_blocks import trend_text
from gearcase.errors import BadInput
from gearcase.job.build import Job, load
from gearcase.judge.forecast import DATED, UNDATED
from gearcase.judge.patterns.catalogue import grows
from gearcase.record.results import StoredResult
from gearcase.record.store import Event, Reading, Readings, Store, store_path
from gearcase.stages import baseline, trend
from gearcase.stages.result import StageResult
from gearcase.tables import load as load_table
from test_cli import call, document, job
from test_stages import EXAMPLES

__all__ = ["job"]  # a fixture

POINT, DAY, START = "input coupling end", 86400.0, 1.7e9 // 86400 * 86400
OVERALL, BAND = "overall velocity", "high-frequency acceleration"


@pytest.fixture(scope="module")
def demo() -> Job:
    return load(EXAMPLES / "demo")


def columns(rows: list[tuple[float, str, str, float, str]]) -> Readings:
    time_s, point, quantity, value, unit = zip(*rows, strict=True)
    count = len(rows)
    return Readings(
        np.array(time_s),
        np.array(point),
        np.array(quantity),
        np.array(value),
        np.array(unit),
        np.full(count, "good"),
        np.full(count, ""),
    )


def life(days: int, grow: Any, *, speeds: tuple[float, ...] = (24.75,), load_share: float = 0.7, seed: int = 1) -> Readings:
    """A run of a quarter of an hour each day. `grow` gives by day what the band is multiplied with."""
    rng, rows = np.random.default_rng(seed), []
    for day in range(days):
        speed, shift = speeds[day % len(speeds)], rng.lognormal(0.0, 0.04)
        for minute in range(17):
            on, time_s = minute >= 1, START + DAY * day + 60.0 * minute
            usual = (speed / 24.75) ** 2 * shift * rng.lognormal(0.0, 0.02)
            rows += [
                (time_s, POINT, OVERALL, 1e-3 * usual if on else 1e-6, "m/s"),
                (time_s, POINT, BAND, 5.0 * usual * grow(day) if on else 0.01, "m/s2"),
                (time_s, "sump", "temperature", 325.0 + 0.1 * day if on else 320.0, "K"),
                (time_s, "", "speed", speed if on else 0.0, "Hz"),
                (time_s, "", "load", load_share if on else 0.0, "-"),
                (time_s, "", "running", float(on), "-"),
            ]
    return columns(rows)


def kept(document: dict[str, Any], number: int = 1, when: str = "2023-12-01T00:00:00+00:00") -> StoredResult:
    return StoredResult(number, Path("somewhere"), {"when": when}, document)


def limit(quantity: str, danger: float, unit: str, **more: Any) -> dict[str, Any]:
    return {
        "point": "sump" if quantity == "temperature" else POINT,
        "quantity": quantity,
        "kind": "one-week",
        "operating": {"speed_hz": None, "load": None, "says": ""},
        "model": None,
        "unit": unit,
        "yellow": {"value": danger / 2},
        "danger": {"value": danger},
        "note": "",
        **more,
    }


LIMITS = kept(
    {"limits": [limit(BAND, 20.0, "m/s2"), limit(OVERALL, 4e-3, "m/s"), limit("temperature", 366.0, "K", kind="day-one")]}
)


def diagnosed(*rows: tuple[float, str, float], maturity: int = 2) -> list[StoredResult]:
    """One result for each (day, fault, depth)."""
    return [
        kept(
            {
                "recordings": [
                    {
                        "name": f"record {number}",
                        "point": POINT,
                        "channel": "x",
                        "start": "",
                        "speed_hz": 24.75,
                        "verdicts": [
                            {"component": "input bearing", "fault": fault, "maturity": maturity, "modulation_depth": depth}
                        ],
                    }
                ]
            },
            number,
            str(np.datetime64(int(START + DAY * day), "s")) + "+00:00",
        )
        for number, (day, fault, depth) in enumerate(rows, start=1)
    ]


def made(demo: Job, readings: Readings, events: tuple[Event, ...] = (), **given: Any) -> StageResult:
    result = trend.run(demo, readings, events, **{"baseline": LIMITS, "diagnoses": [], **given})
    assert json.loads(json.dumps(result.document, allow_nan=False)) == result.document
    assert trend_text(result.document).startswith(result.document["statement"])
    assert stage_blocks("trend", result.document)
    return result


def series(result: StageResult, quantity: str) -> dict[str, Any]:
    (row,) = [row for row in result.document["series"] if row["quantity"] == quantity]
    return row


def spall(day: float) -> float:
    """Doubles each fortnight from day 20 on: four times, the danger of 20 m/s2 over the usual 5, is reached on day 48."""
    return float(2 ** max(0.0, (day - 20) / 14))


def day_of(iso: str) -> float:
    return (np.datetime64(iso[:19]).astype("datetime64[s]").astype(float) - START) / DAY


def test_a_spall_that_was_named_gets_a_date_that_holds_the_day_on_which_its_law_reaches_the_limit(demo: Job) -> None:
    result = made(demo, life(44, spall), diagnoses=diagnosed((40, "outer_race", 0.1)))
    band = series(result, BAND)
    assert band["trend"]["answer"] == "rising" and band["forecast"]["answer"] == "date" and result.wrong
    assert day_of(band["forecast"]["earliest"]) <= 48 <= day_of(band["forecast"]["latest"])
    assert band["forecast"]["kind"] == "spall" and band["danger"] == 20.0 and band["readings"] == 44
    assert "high-frequency acceleration: rising; the limit is reached in" in result.document["statement"]
    assert series(result, OVERALL)["trend"]["answer"] == "no trend"
    assert np.allclose(result.arrays[band["array"]]["value"][:20], 5.0, rtol=0.2)


@pytest.mark.parametrize("fault", ["", "tooth crack or chip", "lubrication", "cage", "unbalance", "something new"])
def test_what_cannot_be_dated_is_inspected_by(demo: Job, fault: str) -> None:
    result = made(demo, life(44, spall), diagnoses=diagnosed((40, fault, 0.1)) if fault else [])
    band = series(result, BAND)
    assert band["trend"]["answer"] == "rising" and band["forecast"]["answer"] == "inspect by" and not result.wrong
    assert band["forecast"]["earliest"] is None and band["forecast"]["inspect_by"] is not None


@pytest.mark.parametrize(("fault", "answer"), [("gear wear", "date"), ("tooth crack or chip", "inspect by"), ("", "inspect by")])
def test_wear_that_several_recordings_told_together_is_dated_where_it_shows(demo: Job, fault: str, answer: str) -> None:
    """A pattern stands in the diagnosis and in none of its recordings; wear and spalls alone are dated (common practice)."""
    readings, (diagnosis,) = life(44, spall), diagnosed((40, "outer_race", 0.1))
    diagnosis.document["recordings"][0]["verdicts"] = []
    diagnosis.document["verdicts"] = [{"component": "mesh", "fault": fault, "point": POINT, "maturity": 2}] if fault else []
    worn = replace(readings, quantity=np.where(readings.quantity == BAND, "mesh lines", readings.quantity))
    mesh = series(
        made(demo, worn, baseline=kept({"limits": [limit("mesh lines", 20.0, "m/s2")]}), diagnoses=[diagnosis]), "mesh lines"
    )
    assert mesh["forecast"]["answer"] == answer
    assert answer != "date" or day_of(mesh["forecast"]["earliest"]) <= 48 <= day_of(mesh["forecast"]["latest"])


def test_a_fault_that_one_axis_of_a_moment_shows_is_named_whatever_the_others_show(demo: Job) -> None:
    """Three axes of one record have one name, point and start: each is a recording of its own, and all are of one moment."""
    found = diagnosed(*[(day, "outer_race", 0.1 * 1.02**day) for day in range(0, 44, 2)])
    for stored in found:
        (row,) = stored.document["recordings"]
        shown = {**row, "channel": "y"}
        also = {**row, "channel": "z", "verdicts": [{**row["verdicts"][0], "modulation_depth": 0.9}] if stored is found[5] else []}
        stored.document["recordings"] = [{**row, "verdicts": []}, shown, also]
    result = made(demo, life(44, spall), diagnoses=found)
    assert series(result, BAND)["forecast"]["kind"] == "spall"
    lines = series(result, "modulation of outer race lines")
    assert lines["readings"] == len(found) and max(result.arrays[lines["array"]]["value"]) < 0.3, "of one axis alone"


@pytest.mark.parametrize(("fault", "kind"), [("tooth crack or chip", "crack"), ("planet tooth", "crack"), ("outer_race", "spall")])
def test_how_a_fault_grows_stands_in_the_row_of_its_pattern(demo: Job, fault: str, kind: str) -> None:
    result = made(demo, life(44, spall), diagnoses=diagnosed((40, fault, 0.1)))
    assert series(result, BAND)["forecast"]["kind"] == kind


def test_every_pattern_grows_in_a_way_that_the_forecast_knows() -> None:
    assert {grows(row["pattern"]) for row in load_table("fault_patterns")} <= DATED | UNDATED


def test_a_running_condition_has_no_maturity_and_stands_behind_what_has(demo: Job) -> None:
    (diagnosis,) = diagnosed((40, "outer_race", 0.1))
    running = {"component": "input", "fault": "unbalance", "maturity": None, "modulation_depth": None}
    diagnosis.document["recordings"][0]["verdicts"].insert(0, running)
    assert series(made(demo, life(44, spall), diagnoses=[diagnosis]), BAND)["forecast"]["kind"] == "spall"


def test_a_temperature_that_rises_gets_no_date(demo: Job) -> None:
    warm = series(made(demo, life(44, lambda _: 1.0), diagnoses=diagnosed((40, "outer_race", 0.1))), "temperature")
    assert warm["trend"]["answer"] == "rising" and warm["forecast"]["answer"] == "inspect by"
    assert warm["trend"]["slope"] == pytest.approx(3.0, abs=0.2)  # 0.1 K a day, in 30 days


def test_the_slope_is_that_of_the_same_days_by_numpy(demo: Job) -> None:
    result = made(demo, life(40, lambda day: 1.01**day))
    band = series(result, BAND)
    array = result.arrays[band["array"]]
    by_numpy = np.polyfit(array["time_s"] / DAY, 20 * np.log10(array["value"]), 1)[0] * 30
    assert band["trend"]["slope"] == pytest.approx(by_numpy, rel=0.15)
    assert band["trend"]["low"] <= 20 * np.log10(1.01) * 30 <= band["trend"]["high"]


def test_an_epoch_is_never_crossed_and_a_step_nobody_declared_is_asked_about(demo: Job) -> None:
    readings = life(60, lambda day: 1.0 if day < 30 else 2.0)
    asked = made(demo, readings)
    (finding,) = asked.document["findings"]
    assert finding["rule"] == "trend.step" and "stepped by +6." in finding["says"] and "gearcase epoch" in finding["says"]
    assert series(asked, BAND)["trend"]["answer"] == "step, not trend"
    declared = made(demo, readings, (Event(START + 29.5 * DAY, "epoch", POINT, "sensor moved", "A", {}),))
    band = series(declared, BAND)
    assert declared.document["findings"] == [] and band["trend"]["answer"] == "no trend" and band["in_epoch"] == 30
    elsewhere = made(demo, readings, (Event(START + 29.5 * DAY, "epoch", "output end", "sensor moved", "A", {}),))
    assert len(elsewhere.document["findings"]) == 1
    lately = made(demo, readings, (Event(START + 50.5 * DAY, "epoch", "", "overhaul", "A", {}),))
    assert series(lately, BAND)["trend"]["answer"] == "not enough data" and series(lately, BAND)["trend"]["more"] == 11


def test_levels_at_another_speed_are_not_compared(demo: Job) -> None:
    """Two speeds with (24.75/18)^2 = 1.9 between them; of days in turn the commoner speed is kept."""
    row = series(made(demo, life(60, lambda _: 1.0, speeds=(24.75, 24.75, 18.0))), BAND)
    assert row["readings"] == 40 and row["matched"] == "1485 rpm, load 70 %" and row["trend"]["answer"] == "no trend"


def test_with_limits_of_three_months_every_speed_counts_brought_to_one(demo: Job) -> None:
    model = {
        "level": 5.0,
        "sigma": 0.04,
        "reference": {"speed": 24.75},
        "slope": {"speed": 2.0},
        "trained": {"speed": [17.9, 24.8]},
        "left_out": {},
        "records": 1000,
    }
    own = kept({"limits": [limit(BAND, 15.8, "m/s2", kind="three-month", model=model, note="brought to 1485 rpm")]})
    row = series(made(demo, life(60, lambda _: 1.0, speeds=(24.75, 24.75, 18.0)), baseline=own), BAND)
    assert row["readings"] == 60 and row["matched"] == "brought to 1485 rpm" and row["trend"]["answer"] == "no trend"
    assert row["latest"] == pytest.approx(5.0, rel=0.1)


def test_a_fault_named_again_and_again_has_a_trend_of_its_own(demo: Job) -> None:
    few = diagnosed(*[(day, "inner_race", 0.05 * 1.04**day) for day in range(0, 30, 10)])
    row = series(made(demo, life(5, lambda _: 1.0), diagnoses=few), "modulation of inner race lines")
    assert row["trend"]["answer"] == "not enough data" and row["forecast"]["answer"] == "not enough data"
    assert "inspect by" in row["forecast"]["says"], "a fault is named there"
    assert row["component"] == "input bearing" and row["readings"] == 3
    rng = np.random.default_rng(4)
    many = diagnosed(*[(day, "inner_race", 0.05 * 1.04**day * rng.lognormal(0, 0.05)) for day in range(50)])
    grown = series(made(demo, life(5, lambda _: 1.0), diagnoses=many), "modulation of inner race lines")
    assert grown["forecast"]["answer"] == "date"
    # ten times the median of the first five, which is that of day 2, is reached ln(10)/ln(1.04) = 58.7 days later
    assert day_of(grown["forecast"]["earliest"]) <= 60.7 <= day_of(grown["forecast"]["latest"])


def test_a_growth_that_may_never_reach_the_limit_has_no_first_date(demo: Job) -> None:
    """It rose and has come to rest far below: of the growth that is believed, more than one draw in twenty reaches nothing."""
    far = kept({"limits": [limit(BAND, 1e9, "m/s2")]})
    readings = life(60, lambda day: 1.0 + min(day, 40) / 20)
    band = series(made(demo, readings, baseline=far, diagnoses=diagnosed((40, "outer_race", 0.1))), BAND)
    assert band["forecast"]["latest"] is None and "inf" not in band["forecast"]["says"]


def test_a_start_that_is_no_moment_counts_as_when_it_was_judged(demo: Job) -> None:
    named = diagnosed((1, "cage", 0.1), (2, "cage", 0.2))
    named[0].document["recordings"][0]["start"] = "second run"
    assert series(made(demo, life(5, lambda _: 1.0), diagnoses=named), "modulation of cage lines")["since"][:10] == "2023-11-15"


def test_without_limits_there_is_a_trend_and_no_forecast(demo: Job) -> None:
    result = made(demo, life(44, spall), baseline=None)
    assert series(result, BAND)["forecast"] is None and series(result, BAND)["trend"]["answer"] == "rising"
    assert "no limit in force to go towards" in trend_text(result.document) and not result.wrong


def test_what_it_has_read_is_named_and_its_own_baseline_can_be_used(demo: Job) -> None:
    readings = life(30, lambda _: 1.0)
    taken = baseline.run(demo, readings, now=START + 31 * DAY)
    result = made(demo, readings, baseline=kept(taken.document, 4), diagnoses=diagnosed((1, "cage", 0.1), (2, "cage", 0.2)))
    what = [row["what"] for row in result.read]
    assert what[-3:] == ["baseline 0004", "earlier diagnose 0001", "diagnose 0002"] and what[-4].startswith("readings ")
    assert {row["danger"] is None for row in result.document["series"] if row["quantity"] != BAND} == {False}


def test_nothing_read_or_read_in_another_unit_is_refused(demo: Job) -> None:
    with pytest.raises(BadInput, match="readings of the job's points"):
        trend.run(demo, Readings(*[np.array([])] * 7), (), baseline=None, diagnoses=[])
    with pytest.raises(BadInput, match="in m/s"):
        trend.run(demo, columns([(START, POINT, OVERALL, 1.5, "mm/s")]), (), baseline=None, diagnoses=[])
    stopped = trend.run(demo, columns([(START, POINT, OVERALL, 1e-3, "m/s")]), (), baseline=None, diagnoses=[])
    assert series(stopped, OVERALL)["trend"]["answer"] == "not enough data" and series(stopped, OVERALL)["latest"] is None


def test_the_verb_keeps_its_result_and_the_handover_holds_it(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert "watch the drive first" in call(capsys, "trend", job)[2]
    readings = life(25, lambda _: 1.0)
    with Store.open(store_path(job)) as store:
        parts = zip(*(getattr(readings, name) for name in ("time_s", "point", "quantity", "value", "unit")), strict=True)
        store.add_readings(
            [Reading(float(at), str(point), str(name), float(value), str(unit)) for at, point, name, value, unit in parts]
        )
    for verb in ("survey", "baseline"):
        call(capsys, verb, job, "--by", "A. Tester")
    code, found = document(capsys, "trend", job, "--by", "A. Tester")
    assert code == 0 and found["schema"] == "trend/1" and len(found["series"]) == 3
    assert (job / "results" / "trend" / "0001" / "series-0.parquet").is_file()
    code, made_, _ = call(capsys, "handover", job, "--by", "A. Tester")
    assert "older" not in made_ and code in (0, 1)
    page = next((job / "results" / "handover").glob("*/handover.html")).read_text(encoding="utf-8")
    assert "Trend and time left" in page and "no trend" in page
    call(capsys, "baseline", job, "--by", "A. Tester", "--approver", "B. Approver")
    code, _, said = call(capsys, "handover", job, "--by", "A. Tester")
    assert code == 2 and "trend" in said and "was run again" in said
