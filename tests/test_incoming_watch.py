"""What came in is judged with what the bus gives, by a watch over the rig; what is not to be had there is said."""

import asyncio
import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from gearcase.device.publish.values import plant_values
from gearcase.device.rig import devices
from gearcase.job.build_inputs import Incoming
from gearcase.judge.alarm import Thresholds
from gearcase.monitor.folder import Folder
from gearcase.monitor.incoming.accept import Accept, incoming_folder
from gearcase.monitor.inputs import Inputs
from gearcase.record.store import Event
from test_incoming import demo
from test_inputs_overall_only import POINT as ONE_FIGURE
from test_inputs_overall_only import overall_only
from test_watch import FAULT, Site

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


class Sent:
    """Recordings of a point, sent into the folder that a watch follows; each shows the verdicts that are given."""

    def __init__(self, site: Site) -> None:
        self.site, self.number, self.shows = site, 0, [FAULT]
        self.path = site.folder / "incoming"
        self.path.mkdir()
        site.job = replace(site.job, incoming=Incoming(folder=self.path))
        site.new_watch()
        site.settled()

    def diagnose(self, *_: object) -> dict[str, Any]:
        urgency = {"urgency": "plan and verify", "noise_false_alarm": 1e-6}
        found = [{"component": part, "fault": fault, **urgency} for part, fault in self.shows]
        return {"statement": "judged", "verdicts": found, "cannot_tell": [] if found else ["clipped"]}

    def one(self, start: str = "") -> None:
        self.number += 1
        name = self.path / f"{self.number} output-left.wav"
        soundfile.write(name, np.full(8000, self.number / 100), 8000)
        said = {"point": POINT, "unit": "m/s2"} | ({"start": start} if start else {})
        name.with_name(f"{name.name}.json").write_text(json.dumps(said), encoding="utf-8")
        followed = Folder(self.path, self.site.job, self.site.store, lambda: self.site.now, self.diagnose, self.site.told.append)
        followed.look()
        followed.look()
        self.site.turns(1)

    def word(self) -> float | None:
        return self.site.watch.published()[f"{POINT}/diagnosis alarm"].value


def test_a_fault_that_two_recordings_show_as_they_come_in_is_named_and_told_like_any(site: Site) -> None:
    sent = Sent(site)
    assert sent.word() == 8, "no diagnosis stands"
    sent.one()
    assert not site.watch.diagnosing.named and sent.word() == 0
    sent.one()
    assert site.watch.diagnosing.named == {POINT: FAULT} and len(site.said("fault named")) == 1
    assert sent.word() == 5 and f"{POINT}/diagnosis alarm" in {one.name for one in plant_values(site.job)}
    assert any(row["quantity"] == "diagnosis" for row in site.watch.conditions())
    assert site.watch.diagnosing.about[POINT]["noise_false_alarm"] == 1e-6
    site.new_watch()
    asyncio.run(site.watch.begin(""))
    assert site.watch.diagnosing.named == {POINT: FAULT} and sent.word() == 5


def test_one_recording_that_came_in_before_a_restart_agrees_with_one_after_it(site: Site) -> None:
    sent = Sent(site)
    sent.one()
    site.new_watch()
    asyncio.run(site.watch.begin(""))
    sent.one()
    assert site.watch.diagnosing.named == {POINT: FAULT}


def test_what_came_in_of_another_time_or_does_not_show_again_names_nothing(site: Site) -> None:
    sent = Sent(site)
    for _ in range(3):
        sent.one("2019-01-01T00:00:00+00:00")
    assert not site.watch.diagnosing.named and sent.word() == 8, "years old: it says nothing of the drive as it is"
    sent.one()
    sent.shows = []
    sent.one()
    assert sent.word() == 8, "it could not tell"
    sent.shows = [FAULT]
    sent.one()
    assert not site.watch.diagnosing.named
    before = datetime.fromtimestamp(site.now, UTC).isoformat()
    site.now += 600
    site.store.add_event(Event(site.now, "epoch", "", "bearing changed", "A. Fitter", {}))
    site.turns(1)
    sent.one(before)
    assert not site.watch.diagnosing.named, "taken before the bearing was changed"


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
