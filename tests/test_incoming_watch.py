"""What came in is judged with what the bus gives, by a watch over the rig; what is not to be had there is said."""

import asyncio
import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from gearcase.device.rig import devices
from gearcase.judge.alarm import Thresholds
from gearcase.monitor.incoming.accept import Accept, incoming_folder
from gearcase.monitor.inputs import Inputs
from test_incoming import demo
from test_inputs_overall_only import POINT as ONE_FIGURE
from test_inputs_overall_only import overall_only
from test_watch import Site

POINT = "output left"  # no device of the bus serves it


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Site]:
    monkeypatch.setattr(devices, "_RECORD_LIFE", 1e9)  # one record is enough here
    made = Site(tmp_path)
    yield made
    made.store.close()


def posting(site: Site, value: float, **said: object) -> bytes:
    row = {"time": site.now - 5, "point": POINT, "quantity": "overall velocity", "value": value, "unit": "mm/s"} | said
    return json.dumps(row).encode()


def with_ways_in(site: Site) -> Accept:
    accept = Accept(site.job, site.watch.inputs, site.store, incoming_folder(site.folder), lambda: site.now)
    site.watch.came_in = accept.fresh
    return accept


def test_a_reading_that_came_in_alarms_like_one_of_the_bus_and_its_end_is_blue(site: Site) -> None:
    site.new_watch({(POINT, "overall velocity"): Thresholds(2.8e-3, 4.5e-3)})
    accept = with_ways_in(site)
    site.settled()
    for _ in range(6):
        accept.readings(posting(site, 3.5))
        site.turns(2, every=30.0)
    condition = {row["point"]: row for row in site.watch.conditions()}[POINT]
    assert (condition["condition"], site.watch.light.colour) == ("yellow", "yellow")
    assert any("only a recording tells" in says for says in site.said("no record"))
    site.turns(11, every=60.0)
    condition = {row["point"]: row for row in site.watch.conditions()}[POINT]
    assert condition["cannot_tell"], "eleven minutes without one: too old to count"


def test_what_is_posted_of_a_point_hides_nothing_that_the_bus_reads_there(site: Site) -> None:
    """The rig runs at some tenths of a mm/s; whoever has the token posts another figure for the same point."""
    by_bus, thresholds = "intermediate left", Thresholds(1e-6, 1.0)
    site.new_watch({(by_bus, "overall velocity"): thresholds})
    accept = with_ways_in(site)
    site.settled()
    for _ in range(6):
        accept.readings(posting(site, 0.0, point=by_bus))
        site.turns(2, every=30.0)
    assert {row["point"]: row for row in site.watch.conditions()}[by_bus]["condition"] == "yellow"
    told = site.watch.published()[f"{by_bus}/overall velocity"]
    assert told.value and told.time_s == site.now


def test_a_posted_temperature_that_no_drive_can_have_is_no_danger(site: Site) -> None:
    site.new_watch({(POINT, "temperature"): Thresholds(353.15, 366.15)})
    accept = with_ways_in(site)
    site.settled()
    for _ in range(8):
        accept.readings(posting(site, 927.0, quantity="temperature", unit="°C"))
        site.turns(2, every=30.0)
    assert {row["point"]: row for row in site.watch.conditions()}[POINT]["condition"] == "clear"
    told = site.watch.published()[f"{POINT}/temperature"]
    assert (told.quality, site.watch.light.colour) == ("bad", "blue") and any(
        "the probe has failed" in s for s in site.said("probe")
    )


def test_the_plant_is_told_of_a_posted_value_when_it_was_measured(site: Site) -> None:
    accept = with_ways_in(site)
    site.settled()
    accept.readings(posting(site, 3.5))
    measured = site.now - 5
    site.turns(4, every=60.0)
    assert site.watch.published()[f"{POINT}/overall velocity"].time_s == measured


def test_an_absence_of_the_watch_is_not_confused_by_what_came_in_with_times_of_its_own(site: Site) -> None:
    site.job = demo("  - {name: posted, kind: load, source: posted}")
    site.new_watch()
    accept = with_ways_in(site)
    site.settled()
    site.turns(6)
    assert site.watch.runs.state == "steady"
    for ago in range(1, 100, 7):
        accept.readings(posting(site, 70, time=site.now - ago - 0.5, point="", quantity="load", unit="%"))
    site.now += 30
    site.new_watch()
    asyncio.run(site.watch.begin(""))
    site.turns(1)
    assert site.watch.runs.state == "steady"


def test_a_point_with_one_figure_alarms_and_no_record_is_asked_of_its_device(site: Site) -> None:
    made = site
    made.job = overall_only()
    made.rig.job = made.job
    made.rig._devices = {device.address: device for device in made.job.bus.devices if device.profile}
    made.new_watch({(ONE_FIGURE, "overall velocity"): Thresholds(1e-6, 1.0)})
    made.watch.inputs = Inputs(made.job)
    made.settled()
    made.turns(11, every=30.0)
    condition = {row["point"]: row for row in made.watch.conditions()}[ONE_FIGURE]
    assert condition["condition"] == "yellow"
    assert any("only a recording tells" in says for says in made.said("no record"))
    assert ONE_FIGURE not in {recording.point for recording in made.judged}
