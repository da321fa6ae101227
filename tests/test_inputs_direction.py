"""A drive run both ways: its gears have limits of each way, its bearings and temperatures have not; a trend compares one way."""

from typing import Any

import numpy as np
import pytest

from gearcase.judge.operating import DIRECTION, Operating
from gearcase.monitor.in_force import in_force
from gearcase.record.store import Reading, Readings
from gearcase.stages import baseline, trend
from test_inputs_overall_only import COLUMNS, DAY, STARTED
from test_stages import EXAMPLES, load

POINT = "input coupling end"
LEVELS = {1.0: 1.0e-3, -1.0: 1.6e-3}  # m/s: the other flanks run rougher


def both_ways(days: int = 8, *, known: bool = True, one_way: bool = False) -> Readings:
    """A run each way a day, three hours each, with its own level."""
    rng = np.random.default_rng(7)
    rows: list[Reading] = []
    for day in range(days):
        for hour, way in ((0, 1.0), (8, 1.0 if one_way else -1.0)):
            for minute in range(0, 3 * 60, 5):
                now, runs = STARTED + day * DAY + 3600 * hour + 60 * minute, minute >= 15
                noise = np.exp(rng.normal(0, 0.05, 2))
                values: dict[tuple[str, str], tuple[float, str]] = {
                    ("", "running"): (float(runs), "-"),
                    ("", "speed"): (24.75 * runs, "Hz"),
                    ("sump", "temperature"): (330.0, "K"),
                    (POINT, "overall velocity"): (LEVELS[way] * noise[0] if runs else 1e-5, "m/s"),
                    (POINT, "temperature"): (322.0, "K"),
                }
                if known:
                    values["", DIRECTION] = (way, "-")
                rows += [Reading(now, point, quantity, value, unit) for (point, quantity), (value, unit) in values.items()]
    columns: list[Any] = [[getattr(row, name) for row in rows] for name in COLUMNS]
    return Readings(*(np.array(column) for column in columns))


def limits(readings: Readings) -> dict[str, Any]:
    result = baseline.run(
        load(EXAMPLES / "demo"), readings, now=STARTED + 8 * DAY, approver="B. Moor", reason="first", who="A. Fell", in_force=None
    )
    return result.document


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    return limits(both_ways())


def test_gears_have_limits_of_each_way_and_a_temperature_has_not(document: dict[str, Any]) -> None:
    found = {}
    for row in document["limits"]:
        if row["point"] == POINT and row["kind"] == "one-week":
            found[row["quantity"], row["operating"]["direction"]] = row["yellow"]["value"]
    assert found.keys() == {("overall velocity", 1.0), ("overall velocity", -1.0)}
    assert found["overall velocity", -1.0] > 1.3 * found["overall velocity", 1.0]
    assert all(row["operating"]["direction"] is None for row in document["limits"] if row["quantity"] == "temperature")


def test_a_reading_is_held_against_the_limits_of_its_own_way(document: dict[str, Any]) -> None:
    held = {limit.operating.direction: limit for (point, quantity, name), limit in in_force(document).items()
            if (point, quantity) == (POINT, "overall velocity") and "one-week" in name and limit.operating}  # fmt: skip
    here: dict[str, float] = {"speed": 24.75}
    assert held[1.0].hold(1e-3, here | {DIRECTION: 1.0}).value == 1e-3
    assert "forward" in held[1.0].hold(1e-3, here | {DIRECTION: -1.0}).not_here
    assert "forward" in held[1.0].hold(1e-3, here).not_here, "a direction that is not known matches neither"


@pytest.mark.long
@pytest.mark.parametrize("given", [{"known": False}, {"one_way": True}], ids=["not known", "one way only"])
def test_where_only_one_way_or_none_is_known_nothing_is_split(given: dict[str, bool]) -> None:
    rows = [row for row in limits(both_ways(**given))["limits"] if row["quantity"] == "overall velocity"]
    assert rows and all(row["operating"]["direction"] is None for row in rows)


def test_a_trend_compares_records_of_one_way() -> None:
    found = trend.run(load(EXAMPLES / "demo"), both_ways(), (), baseline=None, diagnoses=[]).document
    (row,) = [row for row in found["series"] if (row["point"], row["quantity"]) == (POINT, "overall velocity")]
    assert row["matched"] in ("1485 rpm, forward", "1485 rpm, reverse") and row["trend"]["answer"] != "rising"
    assert row["latest"] == pytest.approx(LEVELS[1.0 if "forward" in row["matched"] else -1.0], rel=0.05)


def test_a_state_kept_by_an_earlier_version_has_no_direction() -> None:
    assert Operating.of({"speed_hz": [24.0, 25.0], "load": None, "says": ""}) == Operating((24.0, 25.0), None)
