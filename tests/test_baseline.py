"""Baseline from made-up readings: what the data allows, what is refused, and what an approver may accept."""

import json
import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from gearcase.drawings.installed import baseline_blocks
from gearcase.drawings.text import baseline_text
from gearcase.errors import BadInput
from gearcase.job.build import Job, load
from gearcase.record.results import StoredResult
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
            warm = 335.0 - 40.0 * np.exp(-(minute - 60) / 5.0) if on else 295.0 + (40.0 * np.exp(-minute / 5.0) if found else 0.0)
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
    """By quantity, without the ceiling beside them."""
    return {limit["quantity"]: limit for limit in result.document["limits"] if limit["kind"] != "ceiling"}


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


def test_a_sensor_that_has_not_settled_yet_has_the_zones_limits_and_that_is_said(demo: Job, tmp_path: Path) -> None:
    """The zones ask for no record. Without them its velocity would be held against nothing, and the light green beside it."""
    readings, other = shifts(1, 2.0), "intermediate left"
    cold = [
        replace(one, point=other, value=300.0 + (one.time_s - START) / 600.0 if one.quantity == "temperature" else one.value)
        for one in readings
        if one.point == POINT
    ]  # 6 K an hour
    result = taken(demo, tmp_path, [*readings, *cold])
    found = {(row["point"], row["quantity"]): row for row in result.document["limits"]}
    assert found[other, "overall velocity"]["yellow"]["value"] == pytest.approx(BC)
    assert found[other, "overall velocity"]["false_alarms_per_year"] == {"yellow": None, "danger": None}
    assert list(baseline_blocks(result.document))
    says = {(row["where"], row["rule"]): row["says"] for row in result.document["findings"]}
    assert "take it again" in says[other, "baseline.not_settled"] and (POINT, "baseline.not_settled") not in says


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


def test_a_drive_in_which_a_fault_is_named_is_not_called_normal_unless_an_approver_knows(demo: Job, tmp_path: Path) -> None:
    """Trade: a drive that ran for years may be faulty at baseline; normal, accepted with known defect, or refused."""
    verdict = {"point": "input coupling end", "component": "input bearing", "fault": "outer_race"}
    made = datetime.fromtimestamp(START + HOUR, UTC).isoformat()
    diagnosis = StoredResult(3, tmp_path, {"when": made}, {"verdicts": [verdict]})
    assert baseline.named_faults(None, []) == baseline.named_faults(diagnosis, [START + 2 * HOUR]) == (), "mended, says an epoch"
    named = baseline.named_faults(diagnosis, [START])
    assert named == (("input coupling end", "diagnose 0003 names outer race of input bearing"),)
    found = taken(demo, tmp_path, shifts(1, 2.0), named=named)
    assert "baseline of a drive in which a fault is named" in found.document["statement"] and found.document["limits"]
    (says,) = [row["says"] for row in found.document["findings"] if row["rule"] == "baseline.fault_named"]
    assert "--approver NAME --reason TEXT" in says
    known = taken(demo, tmp_path, shifts(1, 2.0), named=named, approver="B. Approver", reason="bearing on order")
    assert known.document["status"] == "accepted with known defect" and "bearing on order" in known.document["statement"]


def test_what_little_was_watched_tells_of_false_alarms_is_said_alike_on_page_and_terminal(demo: Job, tmp_path: Path) -> None:
    document = taken(demo, tmp_path, shifts(1, 2.0)).document
    on_page = [row[5] for block in baseline_blocks(document) if block.kind == "table" for row in block.rows]
    assert on_page and all(says in baseline_text(document) for says in on_page)
    assert "e+0" not in baseline_text(document)


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


def season(days: int, *, growth_db: float = 0.0, seed: int = 3) -> list[Reading]:
    """An hour's run each day, a reading a minute, at two speeds and any load; evenly up by so much to the last day."""
    rng, found = np.random.default_rng(seed), []
    for day in range(days):
        speed, load = (24.75, 20.0)[day % 2], rng.uniform(0.3, 0.9)
        for minute in range(68):
            on, time_s = minute >= 6, START + 86400 * day + 60 * minute
            oil = 320.0 + 10 * load + 3 * np.sin(day / 15) if on else 315.0
            usual = 1.0e-3 * (speed / 24.75) ** 2 * np.exp(0.4 * (load - 0.6))
            shake = usual * rng.lognormal(0.0, 0.05) * 10 ** (growth_db * day / days / 20) if on else 1e-5
            found += [
                Reading(time_s, POINT, "overall velocity", shake, "m/s"),
                Reading(time_s, POINT, "high-frequency acceleration", 5e3 * shake, "m/s2"),
                Reading(time_s, "sump", "temperature", oil, "K"),
                Reading(time_s, "", "speed", speed if on else 0.0, "Hz"),
                Reading(time_s, "", "load", load if on else 0.0, "-"),
                Reading(time_s, "", "running", float(on), "-"),
            ]
    return found


def test_three_months_give_limits_by_regression_and_a_ceiling_beside_them(demo: Job, tmp_path: Path) -> None:
    result = taken(demo, tmp_path, season(95))
    found = limits(result)
    overall, band = found["overall velocity"], found["high-frequency acceleration"]
    assert overall["kind"] == band["kind"] == "three-month" and "brought to" in overall["note"]
    model = overall["model"]
    assert model["slope"]["speed"] == pytest.approx(2.0, abs=0.05) and model["slope"]["load"] == pytest.approx(0.4, abs=0.05)
    assert model["left_out"] == {} or set(model["left_out"]) == {"oil temperature"}
    # common practice, no source: 4.5 sigma of 0.05 is 1.95 dB, so 3 dB overall and 6 dB of a band; danger 10 dB
    assert overall["yellow"]["value"] / model["level"] == pytest.approx(10 ** (3 / 20), rel=1e-6)
    assert band["yellow"]["value"] / band["model"]["level"] == pytest.approx(10 ** (6 / 20), rel=1e-6)
    assert overall["danger"]["value"] / model["level"] == pytest.approx(10 ** (10 / 20), rel=1e-6)
    (ceiling,) = [row for row in result.document["limits"] if row["kind"] == "ceiling"]
    assert (ceiling["yellow"]["value"], ceiling["danger"]["value"]) == pytest.approx((1.25 * BC, CD))
    by_growth = {row["growth_db"]: row for row in overall["detection"]}
    assert by_growth[6.0]["seen"] == by_growth[6.0]["tried"] and by_growth[6.0]["median_s"] == 180  # 3 of 4 minutes
    assert by_growth[6.0]["slowest_s"] > 80000  # what begins in the last minutes of a run is seen in the next day's
    assert by_growth[3.0]["median_s"] > 180  # at the limit itself, half of the minutes are over it
    assert overall["false_alarms_per_year"]["yellow"]["episodes"] == 0  # 3 dB are seven sigma
    assert result.document["false_alarms_a_drive_year"] == {"yellow": 0.0, "danger": 0.0}


@pytest.mark.parametrize(("growth_db", "said"), [(0.0, False), (12.0, True)])
def test_a_level_that_grows_while_its_baseline_is_taken_is_named(growth_db: float, said: bool, demo: Job, tmp_path: Path) -> None:
    """Five days at either end stand 90/95 of the whole growth apart; the oil's temperature, regressed on, may take some of it."""
    found = taken(demo, tmp_path, season(95, growth_db=growth_db)).document["findings"]
    growing = [row["says"] for row in found if row["rule"] == "baseline.growing"]
    risen = [int(re.search(r"rises by (\d+) dB over these readings", says)[1]) for says in growing]  # type: ignore[index]
    assert len(risen) == 2 * said and all(8 <= one <= 11 for one in risen)


def warming(days: int, *, seed: int = 5) -> list[Reading]:
    """Eight hours on and four off, read every five minutes: the bearing goes to 30 K over the ambient and 15 K more at rated load,
    with a time constant of 40 minutes (the law of first-order heating, in exact steps).
    """
    rng, found, excess, stays = np.random.default_rng(seed), [], 0.0, np.exp(-300 / 2400)
    load = 0.6
    for number in range(days * 288):
        time_s, on = START + 300.0 * number, number % 144 >= 48
        if number % 12 == 0:
            load = rng.uniform(0.3, 0.9)
        ambient = 288.0 + 8 * np.sin(number / 40000) + 4 * np.sin(2 * np.pi * number / 288)
        found += [
            Reading(time_s, POINT, "temperature", ambient + excess + rng.normal(0, 0.2), "K"),
            Reading(time_s, "", "ambient temperature", ambient, "K"),
            Reading(time_s, "", "load", load if on else 0.0, "-"),
            Reading(time_s, "", "running", float(on), "-"),
        ]
        excess = stays * excess + (1 - stays) * (30 + 15 * load) * on
    return found


def test_three_months_give_a_temperature_its_own_limits_and_the_fixed_figures_stay_as_a_ceiling(demo: Job, tmp_path: Path) -> None:
    rows = [row for row in taken(demo, tmp_path, warming(95)).document["limits"] if row["quantity"] == "temperature"]
    own, ceiling = rows
    assert (own["kind"], ceiling["kind"]) == ("three-month", "ceiling")
    assert own["model"]["time_constant_s"] == pytest.approx(2400.0, rel=0.1)
    assert own["model"]["rise"]["load"] == pytest.approx(15.0, rel=0.1)
    assert own["model"]["level"] - own["model"]["reference"]["around"] == pytest.approx(30 + 15 * 0.6, abs=0.5)
    # common practice, no source: 4.5 sigma of 0.2 K is less than 5 K
    assert own["yellow"]["value"] == pytest.approx(own["model"]["level"] + 5.0)
    assert own["danger"]["value"] == pytest.approx(own["model"]["level"] + 15.0)
    assert own["false_alarms_per_year"]["yellow"]["episodes"] == 0, "cold starts, load and weather are in the model"
    assert "ambient at" in own["note"] and "time constant 40 min" in own["note"]
    fixed = 40.0 + own["model"]["reference"]["around"]  # common practice, no source: 40 K over ambient
    assert ceiling["yellow"]["value"] == pytest.approx(min(353.15, fixed), abs=1.0)


def test_before_three_months_each_speed_and_load_has_limits_of_its_own_and_what_was_seen_too_little_is_said(
    demo: Job, tmp_path: Path
) -> None:
    result = taken(demo, tmp_path, season(50))
    rows = [row for row in result.document["limits"] if row["quantity"] == "overall velocity" and row["kind"] == "one-week"]
    assert len(rows) >= 4 and len({row["operating"]["says"] for row in rows}) == len(rows)
    fast = [row["yellow"]["value"] for row in rows if row["operating"]["speed_hz"][0] > 24]
    slow = [row["yellow"]["value"] for row in rows if row["operating"]["speed_hz"][0] < 21]
    assert min(fast) > max(slow)
    short = taken(demo, tmp_path / "short", season(5))
    said = [row["says"] for row in short.document["findings"] if row["rule"] == "baseline.state_too_short"]
    assert said and "too little for limits there" in said[0]


def test_a_limit_in_force_is_not_loosened_without_a_reason_and_a_second_person(demo: Job, tmp_path: Path) -> None:
    """Roles as the trade has them (common practice, no source): tightening is free, loosening needs an approver and why."""
    first = taken(demo, tmp_path / "first", shifts(4, 4.0)).document
    grown = shifts(4, 4.0, overall=1.8e-3)
    kept = taken(demo, tmp_path / "kept", grown, in_force=first)
    assert limits(kept)["overall velocity"]["yellow"] == next(row for row in first["limits"] if row["kind"] == "one-week")["yellow"]
    (said,) = [row["says"] for row in kept.document["findings"] if row["rule"] == "baseline.looser"]
    assert "yellow would be 14 % higher than the one in force" in said  # 1.8 + 2.8 / 4 = 2.5 mm/s, over 2.2
    accepted = taken(demo, tmp_path / "accepted", grown, in_force=first, approver="B. Approver", reason="new coupling")
    assert limits(accepted)["overall velocity"]["yellow"]["value"] == pytest.approx(2.5e-3, rel=0.01)
    calmer = taken(demo, tmp_path / "calmer", shifts(4, 4.0, overall=1.2e-3), in_force=first)
    assert limits(calmer)["overall velocity"]["yellow"]["value"] == pytest.approx(1.9e-3, rel=0.01)


def test_how_the_oil_settles_is_told_and_a_failed_probe_is_called_one(demo: Job, tmp_path: Path) -> None:
    result = taken(demo, tmp_path, shifts(4, 4.0))
    (point,) = result.document["points"]
    assert point["settling"]["time_constant_s"] == pytest.approx(300.0, rel=0.05)  # 5 minutes, as it was made
    assert point["settling"]["end_k"] == pytest.approx(335.0, abs=0.5)
    broken = [
        Reading(r.time_s, r.point, r.quantity, 1200.0, r.unit) if r.quantity == "temperature" and number % 9 == 1 else r
        for number, r in enumerate(shifts(4, 4.0))
    ]
    failed = taken(demo, tmp_path / "broken", broken)
    (said,) = [row for row in failed.document["findings"] if row["rule"] == "baseline.probe"]
    assert said["says"].startswith("the probe has failed") and "temperature" not in limits(failed)
    assert failed.document["points"][0]["settling"] is None


def test_without_run_state_nothing_is_judged(demo: Job, tmp_path: Path) -> None:
    result = taken(demo, tmp_path, shifts(1, 2.0, speed=False))
    assert result.wrong and result.document["findings"][-1]["rule"] == "baseline.nothing_judged"


@pytest.mark.parametrize(
    ("quantity", "read"),
    [
        (quantity, read)
        for quantity in ("overall velocity", "high-frequency acceleration")
        for read in (lambda value: 0.0, lambda value: -value, lambda value: 1e200 * value)
    ],
)
def test_a_sensor_that_reads_nothing_has_no_limits_and_is_named(
    quantity: str, read: Callable[[float], float], demo: Job, tmp_path: Path
) -> None:
    """Dead, wired with its sign turned, or of a wrong register: no vibration of a drive that runs."""
    readings = [replace(one, value=read(one.value)) if one.quantity == quantity else one for one in shifts(4, 4.0)]
    result = taken(demo, tmp_path, readings)
    assert quantity not in limits(result) and "temperature" in limits(result)
    (says,) = [row["says"] for row in result.document["findings"] if row["rule"] == "baseline.reads_nothing"]
    assert f"{quantity}: 828 of 828 records taken while it ran" in says


def test_a_level_that_stands_still_is_asked_about(demo: Job, tmp_path: Path) -> None:
    readings = [replace(one, value=1.2e-3) if one.quantity == "overall velocity" else one for one in shifts(4, 4.0)]
    rules = [row["rule"] for row in taken(demo, tmp_path, readings).document["findings"]]
    assert "baseline.stands_still" in rules
    assert "baseline.stands_still" not in [row["rule"] for row in taken(demo, tmp_path, shifts(4, 4.0)).document["findings"]]


@pytest.mark.parametrize(("turned", "states"), [(-1.0, [[24.75, 24.75]]), (0.0, [None])])
def test_a_speed_with_its_sign_or_of_a_dead_tachometer_is_no_crash(
    turned: float, states: list[Any], demo: Job, tmp_path: Path
) -> None:
    """Turning backward is as fast; a tachometer that reads 0 beside a closed run contact tells no speed."""
    readings = [replace(one, value=turned * one.value) if one.quantity == "speed" else one for one in shifts(4, 4.0)]
    overall = limits(taken(demo, tmp_path, readings))["overall velocity"]
    assert [overall["operating"]["speed_hz"]] == states


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
