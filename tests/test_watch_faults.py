"""What befalls a watch left alone: clocks that jump, lights that lie, records that break, people at work, reloads, two watches."""

import asyncio
import math
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from gearcase.cli import main
from gearcase.device.rig import SensorFault, devices
from gearcase.device.rig.devices import RECORD_REGISTERS
from gearcase.errors import BadInput, NoReply
from gearcase.install.profile import LAMPS
from gearcase.job.build_notify import Notify
from gearcase.judge.alarm import Thresholds
from gearcase.judge.notices import LEVELS, Recipient, Rules
from gearcase.monitor import notifying
from gearcase.monitor.diary import Steps, open_questions
from gearcase.monitor.in_force import InForce
from gearcase.monitor.records import kinds
from gearcase.monitor.setup import Setup
from gearcase.record.store import Event, Reading, Store, store_path
from gearcase.signal.recording import Recording
from test_watch import FAULT, Site

LOW = Thresholds(1e-6, 2e-6)
BOTH = {("intermediate left", "overall velocity"): LOW, ("input coupling end", "overall velocity"): LOW}


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Site]:
    """A record stays until something changes: what befalls the watch does not hang on its noise."""
    monkeypatch.setattr(devices, "_RECORD_LIFE", 1e6)
    monkeypatch.setattr(devices, "_KEPT_FOR_READING", 1e6)
    made = Site(tmp_path)
    yield made
    made.store.close()


def event(site: Site, kind: str, point: str = "", **details: Any) -> None:
    site.store.add_event(Event(site.watch.clock(), kind, point, "said", "A. Fitter", details))


def red(site: Site) -> None:
    """A danger that nobody has seen."""
    site.new_watch(BOTH)
    site.settled()
    site.turns(15)
    assert site.watch.light.colour == "red"


def test_a_clock_set_back_an_hour_stops_no_round_and_is_asked_about(site: Site) -> None:
    site.settled()
    site.turns(6)
    assert site.watch.light.colour == "green"
    site.clock_is_off = -3600.0
    site.turns(6)
    assert site.watch.light.colour == "green" and site.watch.runs.state == "steady" and site.watch.rounds == 12
    (asked,) = site.said("question")
    assert "the clock went back by 60 min" in asked
    kept = site.store.readings(quantity="speed", since=site.now - 3600 - 200, until=site.now - 3500)
    assert len(kept) >= 6, "readings carry the time that the clock shows"
    site.clock_is_off = 0.0
    site.turns(6)
    assert len(site.said("question")) == 2 and "forward" in site.said("question")[1]


@pytest.mark.parametrize("jump", [0.0, -3600.0, 7200.0])
@pytest.mark.parametrize("after", [1, 4, 7])
def test_an_alarm_that_builds_up_goes_on_counting_when_the_clock_is_set(site: Site, jump: float, after: int) -> None:
    """Overall velocity wants three minutes over its yellow, the ninth round after it began, whatever the clock does meanwhile."""
    site.new_watch({("intermediate left", "overall velocity"): Thresholds(1e-6, 1.0)})
    site.settled()
    site.turns(after)
    site.clock_is_off = jump
    raised: list[int] = []
    for turn in range(after, 14):
        site.turns(1)
        if site.said("alarm") and not raised:
            raised.append(turn)
    assert raised == [8] and site.watch.light.colour == "yellow"
    (one,) = (event for event in site.told if event.kind == "alarm")
    assert one.time_s == pytest.approx(site.now + jump - 100.0, abs=1.0), "the diary has the time of day"


def test_a_clock_that_drifts_a_little_is_not_asked_about(site: Site) -> None:
    site.settled()
    for _ in range(6):
        site.clock_is_off += 0.15
        site.turns(1)
    assert site.said("question") == []


def test_an_answer_closes_a_question_and_stands_under_a_name(site: Site, capsys: pytest.CaptureFixture[str]) -> None:
    (site.folder / "job.yaml").write_text((Path(site.job.folder) / "job.yaml").read_text(encoding="utf-8"), encoding="utf-8")
    site.settled()
    site.turns(2)
    site.clock_is_off = -3600.0
    site.turns(2)
    (asked,) = open_questions(site.store.events())
    assert main(["answer", str(site.folder)]) == 0
    assert f"{asked.number}   the watch: the clock went back" in capsys.readouterr().out
    assert main(["answer", str(site.folder), "999", "why", "--by", "A. Fitter"]) == 2
    assert f"an open question: {asked.number}" in capsys.readouterr().err
    assert main(["answer", str(site.folder), str(asked.number), "set after a flat battery", "--by", "A. Fitter"]) == 0
    assert open_questions(site.store.events()) == []
    answer = site.store.events()[-1]
    assert (answer.kind, answer.who, answer.details["question"]) == ("answer", "A. Fitter", asked.number)
    site.turns(1)


def test_a_level_that_steps_while_the_drive_runs_is_asked_about_and_says_who_else_stepped(site: Site) -> None:
    site.settled()
    site.turns(13)
    assert site.said("question") == []
    site.rig.set_fault(*FAULT, 30.0)
    site.turns(24)
    asked = [event for event in site.told if event.kind == "question"]
    assert {event.point for event in asked} >= {"intermediate left"}
    assert all("while the drive ran at the same speed and load" in event.says for event in asked)
    assert len([one for one in asked if one.point == "intermediate left" and "high-frequency" in one.says]) == 1


def stepping(level: float, *, speed_hz: float = 24.75, load: float = 0.7, others: float = 1.0) -> list[str]:
    """What is asked where a point's level changes at a moment, and others with it."""
    asked: list[str] = []
    steps = Steps(lambda kind, point, says, *_: asked.append(f"{point}: {says}"))
    for number in range(36):
        after = number >= 18
        high = {"a": level if after else 1.0, "b": others if after else 1.0}
        rows = [Reading(10.0 * number, point, "overall velocity", value, "m/s") for point, value in high.items()]
        steps.take(rows, speed_hz=speed_hz if after else 24.75, load=load if after else 0.7, now=10.0 * number)
    return asked


def test_a_step_is_asked_about_at_the_same_speed_and_load_only_and_also_where_it_falls_inside_a_block() -> None:
    (one,) = stepping(2.0)
    assert one.startswith("a: overall velocity stepped to 2.00 times") and "no other point did" in one
    (fell,) = stepping(0.4)
    assert "0.40 times" in fell
    assert stepping(1.3) == [] and stepping(2.0, speed_hz=18.0) == [] and stepping(2.0, load=0.4) == []


def test_points_that_step_together_are_named_together() -> None:
    both = stepping(2.0, others=2.0)
    assert len(both) == 2 and "so did b: another product or load" in both[0]


def test_a_light_that_shows_another_colour_is_said_and_that_it_obeys_again(site: Site) -> None:
    site.settled()
    site.turns(3)
    read = site.watch.bus.read

    async def lies(**asked: int) -> tuple[int, ...]:
        words = await read(**asked)
        return (LAMPS["red"], 0) if asked["unit"] == 31 else words

    site.watch.bus.read = lies  # type: ignore[method-assign]
    site.turns(2)
    assert site.said("light wrong") == [], "twice may be a slip of the line"
    site.turns(2)
    assert site.said("light wrong") == ["asked for green, it shows red"]
    assert site.watch.cannot() == ["light: asked for green, it shows red"]
    site.watch.bus.read = read  # type: ignore[method-assign]
    site.turns(2)
    assert len(site.said("light back")) == 1 and site.watch.cannot() == []


def test_a_light_that_hears_no_heartbeat_is_said(site: Site) -> None:
    site.settled()
    read = site.watch.bus.read

    async def deaf(**asked: int) -> tuple[int, ...]:
        words = await read(**asked)
        return (LAMPS["blue"], 40) if asked["unit"] == 31 else words

    site.watch.bus.read = deaf  # type: ignore[method-assign]
    site.turns(4)
    assert site.said("light wrong") == ["it hears no heartbeat: the last it heard is 40 s old, and it shows blue"]


def test_a_watch_that_hangs_lets_the_light_fall_to_blue_by_itself(site: Site) -> None:
    site.settled()
    site.turns(3)
    assert site.rig.read(31, 10, 1) == [LAMPS["green"]]
    site.now += 11
    assert site.rig.read(31, 10, 1) == [LAMPS["blue"]], "nobody wrote for longer than its own fallback"


def test_a_record_at_which_the_diagnosis_breaks_is_named_and_the_next_is_judged(site: Site) -> None:
    site.new_watch(usual={"intermediate left": 1e-3, "input coupling end": 1e-3})
    judge, broken = site.diagnose, [True]

    def breaks(recording: Recording) -> dict[str, Any]:
        if broken:
            broken.pop()
            raise ZeroDivisionError("a window of nothing")
        return judge(recording)

    site.diagnose = breaks  # type: ignore[method-assign]
    site.settled()
    site.turns(8)
    (failed,) = site.said("diagnosis failed")
    assert "record 1" in failed and "ZeroDivisionError: a window of nothing" in failed
    assert site.kinds().count("diagnosis") >= 1 and site.watch.rounds == 8


@pytest.mark.long
def test_a_record_is_taken_after_a_start_kept_and_told_apart_by_what_it_is_too_short_for(site: Site) -> None:
    site.settled()
    site.turns(4)
    kept = site.store.kept_recordings()
    assert {one.point for one in kept} == {"input coupling end", "intermediate left"} and {one.why for one in kept} == {"levels"}
    short, long = kinds(site.job.drive)
    slowest = site.job.drive.speed_hz[0] * (17 / 71) * (19 / 91)
    assert long.length_s >= 20 / slowest > 5.0, "twenty turns of the slowest shaft: trade practice, no source"
    assert short.length_s < 5.0
    said = site.said("records")
    assert len(said) == 2 and all("long and slow record wants" in one and "slow shafts" in one for one in said)
    site.turns(40)
    assert len(site.store.kept_recordings()) == 2, "not due again for two hours"
    site.rig.set_speed(0.0)
    site.turns(2)
    site.rig.set_speed(24.75)
    site.rig.sump = 321.15
    site.turns(45)
    assert site.watch.runs.state == "steady" and len(site.store.kept_recordings()) == 4


def test_a_record_that_cannot_be_kept_is_judged_all_the_same(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: Any, **__: Any) -> Recording:
        raise BadInput([])

    monkeypatch.setattr(site.store, "keep_recording", full)
    site.settled()
    site.turns(4)
    assert len(site.said("recording lost")) == 2
    assert any(one.quantity == "bearing lines" for one in site.store.latest())


def test_judged_minutes_are_those_of_run_minutes_in_which_something_was_judged(site: Site) -> None:
    site.settled()
    site.turns(30)
    site.rig.sensor_faults[12] = SensorFault(silent=True)
    site.turns(15)
    duty = site.watch.runs.duty(["intermediate left", "input coupling end"])
    assert duty["run_minutes"] == pytest.approx(15, abs=0.7)
    assert duty["judged_minutes"]["input coupling end"] == pytest.approx(15, abs=0.7)
    assert duty["judged_minutes"]["intermediate left"] == pytest.approx(10, abs=0.7)
    site.rig.set_speed(0.0)
    site.turns(15)
    assert site.watch.runs.duty([])["run_minutes"] == pytest.approx(15, abs=0.7)


def test_in_maintenance_the_light_is_white_until_it_is_over_by_itself(site: Site) -> None:
    site.new_watch({("intermediate left", "overall velocity"): Thresholds(1e-6, 1.0)})
    site.settled()
    site.turns(12)
    assert site.watch.light.colour == "yellow"
    event(site, "maintenance", until_s=site.now + 600, reason="belt change")
    site.turns(2)
    assert site.watch.light.colour == "white"
    site.new_watch({("intermediate left", "overall velocity"): Thresholds(1e-6, 1.0)})
    asyncio.run(site.watch.begin(""))
    site.turns(2)
    assert site.watch.light.colour == "white", "a restart keeps it"
    site.turns(30)
    assert site.watch.light.colour == "yellow" and "A. Fitter's" in site.said("maintenance over")[0]


def test_in_maintenance_a_danger_shows_unless_a_second_person_has_approved(site: Site) -> None:
    red(site)
    event(site, "maintenance", until_s=site.now + 3600, reason="belt change")
    site.turns(2)
    assert site.watch.light.colour == "red"
    event(site, "maintenance", until_s=site.now + 3600, reason="belt change", approver="shift engineer")
    site.turns(2)
    assert site.watch.light.colour == "white"
    event(site, "maintenance over")
    site.turns(2)
    assert site.watch.light.colour == "red"


@pytest.mark.parametrize(
    ("given", "says"),
    [
        (["--reason", "r"], "--by"),
        (["--by", "A"], "--reason"),
        (["--by", "A", "--reason", "r", "--approver", " a "], "a second person"),
        (["--by", "A", "--reason", "r", "--for", "200 h"], "7 days at most"),
    ],
)
def test_maintenance_wants_a_name_a_reason_and_an_end(
    given: list[str], says: str, site: Site, capsys: pytest.CaptureFixture[str]
) -> None:
    (site.folder / "job.yaml").write_text((Path(site.job.folder) / "job.yaml").read_text(encoding="utf-8"), encoding="utf-8")
    assert main(["maintenance", str(site.folder), *given]) == 2
    assert says in capsys.readouterr().err


@pytest.mark.long
def test_a_reload_carries_a_danger_over_to_the_new_limits(site: Site) -> None:
    red(site)
    higher = {(*key, "new"): InForce(Thresholds(2.8e-3, 4.5e-3)) for key in BOTH}
    site.watch.take_up(Setup(site.job, higher, {}))
    site.turns(3)
    assert site.watch.light.colour == "red" and {row["condition"] for row in site.watch.conditions()} == {"danger"}
    assert {row["danger"] for row in site.watch.conditions()} == {4.5e-3}
    event(site, "acknowledged")
    site.turns(95)
    assert site.watch.light.colour == "green", "under its new limits, seen, and run for half an hour"


def test_a_reload_without_the_limit_keeps_the_danger_until_somebody_has_seen_it(site: Site) -> None:
    red(site)
    site.watch.take_up(Setup(site.job, {}, {}))
    site.turns(2)
    assert site.watch.light.colour == "red"
    event(site, "acknowledged")
    site.turns(2)
    assert {row["condition"] for row in site.watch.conditions()} == {"danger acknowledged"}


class Reached:
    """Messages that arrived, by name."""

    def __init__(self, site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
        self.site, self.arrived = site, []  # type: ignore[var-annotated]
        people = (Recipient("shift", frozenset(LEVELS)),)
        site.job = replace(site.job, notify=Notify(Rules(people, again=600.0)))
        monkeypatch.setattr(notifying, "sender_to", lambda job, name: self.take)

    async def take(self, message: Any) -> None:
        self.arrived.append(message.subject)

    def turns(self, count: int) -> None:
        async def go() -> None:
            for _ in range(count):
                self.site.now += 20
                await self.site.turn()
                await self.site.watch.notifying.send(self.site.job, self.site.watch.ticks)
                await self.site.watch.keeping.write()

        asyncio.run(go())


def test_people_are_told_of_a_danger_until_it_is_acknowledged_through_a_killed_watch(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    people = Reached(site, monkeypatch)
    site.new_watch(BOTH)
    site.settled()
    people.turns(15)
    assert len(people.arrived) == 1 and "DANGER" in people.arrived[0]
    site.new_watch(BOTH)  # as after kill -9: nothing was left in order
    asyncio.run(site.watch.begin(""))
    people.turns(10)
    assert len(people.arrived) == 1, "neither lost nor told twice"
    people.turns(15)
    assert len(people.arrived) == 2 and "again" in people.arrived[1]
    event(site, "acknowledged")
    people.turns(60)
    assert len(people.arrived) == 2


def test_a_lost_sensor_and_that_it_is_back_are_told_once_each_and_nothing_in_maintenance(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    people = Reached(site, monkeypatch)
    site.new_watch()
    site.settled()
    people.turns(3)
    site.rig.sensor_faults[12] = SensorFault(silent=True)
    people.turns(15)
    assert people.arrived == ["CV-204: cannot tell: intermediate left"]
    site.rig.sensor_faults.clear()
    people.turns(15)
    assert people.arrived[1:] == ["CV-204: over: intermediate left"]
    event(site, "maintenance", until_s=site.now + 3600, reason="cable")
    site.rig.sensor_faults[12] = SensorFault(silent=True)
    people.turns(15)
    assert len(people.arrived) == 2


def test_of_two_watches_on_one_store_the_second_is_refused(site: Site) -> None:
    site.store.hold()
    text = "from pathlib import Path; from gearcase.record.store import Store; import sys\nStore.open(Path(sys.argv[1])).hold()"
    second = subprocess.run([sys.executable, "-c", text, str(store_path(site.folder))], capture_output=True, text=True, check=False)
    assert second.returncode == 1 and "BadInput" in second.stderr


def test_an_entry_that_makes_no_sense_keeps_no_watch_from_starting(site: Site) -> None:
    event(site, "shelved", "sump", quantity="temperature")
    event(site, "maintenance", until_s=site.now + 600, reason="")
    site.settled()
    event(site, "shelved", "", quantity="temperature", until_s=site.now + 600, reason="no point")
    site.turns(2)
    assert len(site.said("entry not understood")) == 3 and site.watch.rounds == 2 and site.watch.light.colour == "green"


def test_a_bus_that_is_gone_is_blue_named_and_taken_up_again(site: Site) -> None:
    site.settled()
    site.turns(3)
    bus = site.watch.bus

    class Gone:
        async def read(self, **asked: int) -> tuple[int, ...]:
            raise NoReply(asked["unit"], "registers", "no reply")

        async def write(self, **asked: Any) -> None:
            raise NoReply(asked["unit"], "registers", "no reply")

    site.watch.bus = Gone()
    site.turns(6)
    assert site.watch.light.colour == "blue" and any(one.startswith("inputs: ") for one in site.watch.cannot())
    site.watch.bus = bus
    site.turns(45)
    assert site.watch.light.colour == "green" and site.watch.cannot() == []


def test_a_record_asked_for_of_a_silent_sensor_does_not_hold_up_the_others(site: Site) -> None:
    read = site.watch.bus.read

    async def refusing(**asked: int) -> tuple[int, ...]:
        if asked["start"] >= RECORD_REGISTERS and asked["unit"] == 11:
            raise NoReply(asked["unit"], "its record", "no reply")
        return await read(**asked)

    site.watch.bus.read = refusing  # type: ignore[method-assign]
    site.settled()
    site.turns(20)
    assert site.kinds().count("no record") == 1, "asked again after ten minutes"
    assert [one.point for one in site.store.kept_recordings()] == ["intermediate left"]


def test_a_store_that_answers_late_holds_up_no_heartbeat(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    site.settled()
    events = site.store.events

    def late(*given: Any, **more: Any) -> tuple[Event, ...]:
        time.sleep(0.3)
        return events(*given, **more)

    monkeypatch.setattr(site.store, "events", late)

    async def go() -> int:
        beats, one = 0, asyncio.create_task(site.watch.round())
        while not one.done():
            await asyncio.sleep(0.02)
            beats += 1
        return beats

    assert asyncio.run(go()) > 5


def test_the_store_is_whole_after_a_watch_that_lost_it(site: Site) -> None:
    with Store.open(store_path(site.folder)) as other:
        other.add_readings([Reading(site.now, "", "speed", math.pi, "Hz")])
    site.settled()
    site.turns(2)
    assert np.all(np.diff(site.store.readings(quantity="speed").time_s) >= 0)
