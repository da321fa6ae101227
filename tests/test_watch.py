"""The watch over the rig, in process, on a clock that only waiting moves: lights, gating, change, stops, restarts, losses."""

import asyncio
import json
import re
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from gearcase.cli import main
from gearcase.device.modbus import connected
from gearcase.device.rig import Rig, RigBus, SensorFault, devices
from gearcase.device.rig.devices import RECORD_REGISTERS
from gearcase.device.serving import serving
from gearcase.drive.simulate import BearingFault, simulate
from gearcase.errors import BadInput, NoReply, Problem
from gearcase.install.profile import LAMPS
from gearcase.job.build import Job, load
from gearcase.judge.alarm import Thresholds
from gearcase.judge.families import LINE_FAMILIES
from gearcase.monitor import keeping
from gearcase.monitor.folder import Folder
from gearcase.monitor.in_force import InForce, evidence_levels, in_force, voided
from gearcase.monitor.service import watch_bus
from gearcase.monitor.service_manager import ServiceManager
from gearcase.monitor.setup import Setup
from gearcase.monitor.watch import Watch
from gearcase.record.clock import Pace
from gearcase.record.store import Event, Reading, Readings, Store, store_path
from gearcase.signal.recording import Recording
from gearcase.stages import baseline, watch
from rigserver import free_port
from test_stages import EXAMPLES

DAY_ONE = {
    ("input coupling end", "overall velocity"): Thresholds(2.8e-3, 4.5e-3),
    ("intermediate left", "overall velocity"): Thresholds(2.8e-3, 4.5e-3),
    ("sump", "temperature"): Thresholds(353.15, 366.15),
}
FAULT = ("intermediate bearing, left", "outer_race")
STARTED = 1_800_000_000.0


@dataclass
class Site:
    """A rig, a store and a watch on one clock."""

    folder: Path
    now: float = STARTED
    told: list[Event] = field(default_factory=list)
    verdicts: list[tuple[str, str]] = field(default_factory=list)
    judged: list[Recording] = field(default_factory=list)
    clock_is_off: float = 0.0

    def __post_init__(self) -> None:
        self.job: Job = load(EXAMPLES / "demo")
        self.rig = Rig(self.job, lambda: self.now, 24.75, sump=321.15)
        self.store = Store.open(store_path(self.folder))
        self.watch = self.new_watch()

    def new_watch(self, limits: dict[tuple[str, str], Thresholds] | None = None, usual: dict[str, float] | None = None) -> Watch:
        in_force = {(*key, ""): InForce(limit) for key, limit in (DAY_ONE if limits is None else limits).items()}
        self.watch = Watch(
            Setup(self.job, in_force, usual or {}),
            RigBus(self.rig),
            self.store,
            clock=lambda: self.now + self.clock_is_off,
            ticks=lambda: self.now,
            diagnose=lambda _, recordings: self.diagnose(*recordings),
            tell=self.told.append,
        )
        return self.watch

    def diagnose(self, recording: Recording) -> dict[str, Any]:
        self.judged.append(recording)
        found = [{"component": part, "fault": fault} for part, fault in self.verdicts]
        return {"statement": "judged", "verdicts": found}

    def minutes(self, count: float, *, every: float = 20.0) -> str:
        """Watch so long and leave; returns the light it showed before."""

        async def go() -> str:
            until = self.now + 60 * count
            await self.watch.begin("")
            while self.now < until:
                await self.turn()
                self.now += every
            return await self.watch.end()

        return asyncio.run(go())

    async def turn(self) -> None:
        """A round, and the record that is due after it."""
        await self.watch.round()
        await self.watch.record()

    def turns(self, count: int, *, every: float = 20.0) -> None:
        """So many rounds more of a watch that goes on."""

        async def go() -> None:
            for _ in range(count):
                self.now += every
                await self.turn()

        asyncio.run(go())

    def settled(self) -> None:
        """Begin at a drive that has run warm for half an hour, as the store has it."""
        inputs = (("", "running", 1.0, "-"), ("", "speed", 24.75, "Hz"), ("sump", "temperature", 321.15, "K"))
        for ago in range(1860, 0, -60):
            self.store.add_readings(Reading(self.now - ago, *rest, state="steady") for rest in inputs)
        asyncio.run(self.watch.begin(""))

    def said(self, kind: str) -> list[str]:
        return [event.says for event in self.told if event.kind == kind]

    def kinds(self) -> list[str]:
        return [event.kind for event in self.told]


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Site]:
    monkeypatch.setattr(devices, "_RECORD_LIFE", 45.0)  # a new record each third round is enough here
    made = Site(tmp_path)
    yield made
    made.store.close()


def lit(site: Site) -> int:
    return site.rig.read(31, 20, 1)[0]


def test_without_limits_the_light_is_blue_and_readings_are_kept(site: Site) -> None:
    site.new_watch(limits={})
    assert site.minutes(2) == "blue"
    kept = site.store.readings()
    assert {str(name) for name in kept.quantity} == {
        "running",
        "speed",
        "load",
        "temperature",
        "overall velocity",
        "high-frequency acceleration",
    }
    assert len(kept) == 6 * 10 and set(kept.quality) == {"good"}


def test_green_comes_only_when_settled_and_goes_blue_when_the_watch_leaves(site: Site) -> None:
    assert site.minutes(3) == "blue", "settling is not judged"
    assert site.minutes(12) == "green"
    assert lit(site) == LAMPS["blue"]
    assert site.kinds()[0] == "watch started" and site.kinds()[-1] == "watch stopped"


def test_a_short_absence_does_not_start_the_settling_anew_and_a_long_one_does(site: Site) -> None:
    assert site.minutes(14) == "green"
    site.now += 60
    site.new_watch()
    assert site.minutes(0.5) == "green"
    site.now += 600
    site.new_watch()
    assert site.minutes(0.5) == "blue"


def test_a_stop_is_white_and_never_green(site: Site) -> None:
    site.minutes(14)
    site.rig.set_speed(0.0)
    assert site.minutes(2) == "white"
    assert any(event.says == "steady to stopped" or event.says == "unknown to stopped" for event in site.told)


def test_a_silent_device_makes_it_blue_within_a_minute_and_the_others_go_on(site: Site) -> None:
    site.minutes(14)
    site.rig.sensor_faults[12] = SensorFault(silent=True)
    assert site.minutes(1.4) == "blue"
    latest = {(one.point, one.quantity): one for one in site.store.latest()}
    assert latest["intermediate left", "overall velocity"].quality == "bad"
    assert latest["input coupling end", "overall velocity"].quality == "good"
    site.rig.sensor_faults.clear()
    assert site.minutes(14) == "green"


def test_a_run_state_nobody_knows_is_blue(site: Site) -> None:
    site.minutes(14)
    site.rig.sensor_faults[3] = SensorFault(silent=True)
    assert site.minutes(2) == "blue"


def test_yellow_needs_persistence_and_asks_for_a_diagnosis(site: Site) -> None:
    site.new_watch({("intermediate left", "overall velocity"): Thresholds(1e-6, 1.0)})
    site.minutes(11)
    assert "alarm" not in site.kinds()
    assert site.minutes(16) == "yellow"
    assert any(event.kind == "alarm" and "over yellow" in event.says for event in site.told)
    assert site.judged and site.judged[0].point == "intermediate left" and site.judged[0].speed_hz == pytest.approx(24.75)


def test_danger_without_a_second_witness_is_yellow_and_with_one_red(site: Site) -> None:
    site.new_watch({("intermediate left", "overall velocity"): Thresholds(1e-6, 2e-6)})
    assert site.minutes(18) == "yellow"
    low = Thresholds(1e-6, 2e-6)
    site.new_watch({("intermediate left", "overall velocity"): low, ("input coupling end", "overall velocity"): low})
    assert site.minutes(18) == "red"


def test_danger_outlives_a_restart_until_somebody_has_seen_it(site: Site) -> None:
    low = Thresholds(1e-6, 2e-6)
    both = {("intermediate left", "overall velocity"): low, ("input coupling end", "overall velocity"): low}
    site.new_watch(both)
    assert site.minutes(18) == "red"
    site.new_watch(both)
    assert site.minutes(0.5) == "red"
    assert {row["condition"] for row in site.watch.conditions()} == {"danger"}
    site.store.add_event(Event(site.now, "acknowledged", "", "seen", "shift engineer", {}))
    site.minutes(0.5)
    assert {row["condition"] for row in site.watch.conditions()} == {"danger acknowledged"}


def test_a_fault_is_named_only_when_a_second_record_agrees(site: Site) -> None:
    site.new_watch(usual={"intermediate left": 1e-3})
    site.verdicts = [FAULT]
    assert site.minutes(16) == "yellow"
    named = [event for event in site.told if event.kind == "fault named"]
    assert len(named) == 1 and len(site.judged) == 2
    assert named[0].says == "outer race fault of intermediate bearing, left, named by two records"
    assert len({record.name for record in site.judged}) == 2


def test_the_plant_is_told_when_no_diagnosis_stands(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    """Bit 8, cannot tell: before the first, where it could not tell or failed, and when it is two days old."""
    statement: dict[str, Any] = {"statement": "no fault seen", "verdicts": [], "cannot_tell": []}

    def word() -> float | None:
        return site.watch.published()["intermediate left/diagnosis alarm"].value

    def judged(**given: Any) -> float | None:
        monkeypatch.setattr(site, "diagnose", lambda recording: statement | given)
        site.watch.diagnosing.want("intermediate left", site.now)
        site.turns(3)
        return word()

    def fails(recording: Recording) -> dict[str, Any]:
        raise ValueError("a record of nothing")

    site.settled()
    assert word() == 8
    assert judged() == 0 and judged(cannot_tell=["clipped"]) == 8 and judged() == 0
    assert judged(cannot_tell=["one bearing"], verdicts=[{"component": "wheel", "fault": "worn"}]) == 0
    site.new_watch()
    asyncio.run(site.watch.begin(""))
    site.watch.runs.state = "steady"
    assert word() == 0, "the diary has it"
    monkeypatch.setattr(site, "diagnose", fails)
    site.watch.diagnosing.want("intermediate left", site.now)
    site.turns(3)
    assert site.said("diagnosis failed") and word() == 8
    assert judged() == 0
    site.now += 2 * 86400 + 60
    assert word() == 8


def test_a_record_that_could_not_be_had_is_asked_for_again(site: Site) -> None:
    site.new_watch(usual={"intermediate left": 1e-3})
    site.verdicts = [FAULT]
    read = site.watch.bus.read
    refusals = [2]

    async def refusing(**asked: int) -> tuple[int, ...]:
        if asked["start"] == RECORD_REGISTERS and refusals[0]:
            refusals[0] -= 1
            raise NoReply(asked["unit"], "its record", "no reply")
        return await read(**asked)

    site.watch.bus.read = refusing  # type: ignore[method-assign]
    site.minutes(20)
    assert site.kinds().count("no record") == 2 and site.kinds().count("fault named") == 1


def test_a_fault_the_second_record_does_not_show_is_not_named(site: Site) -> None:
    site.new_watch(usual={"intermediate left": 1e-3})
    site.verdicts = [FAULT]
    judge = site.diagnose

    def once(recording: Recording) -> dict[str, Any]:
        document = judge(recording)
        site.verdicts = []
        return document

    site.diagnose = once  # type: ignore[method-assign]
    site.minutes(16)
    assert "fault named" not in site.kinds() and "diagnosis" in site.kinds()


def test_two_high_readings_of_four_are_no_change(site: Site) -> None:
    site.minutes(14)
    site.new_watch(usual={"intermediate left": 1.0})
    asyncio.run(site.watch.begin(""))
    for high in (False, True, True, False, False, True):
        site.rig.set_fault(*FAULT, 30.0 if high else 0.0)
        site.turns(1)
    assert site.judged == [] and site.watch.runs.state == "steady"


def test_a_level_that_is_the_same_after_a_stop_is_not_asked_about(site: Site) -> None:
    site.minutes(18)
    site.rig.set_speed(0.0)
    asyncio.run(site.watch.round())
    site.now += 600
    site.rig.set_speed(24.75)
    site.rig.sump = 321.15
    site.turns(60)
    assert site.watch.runs.state == "steady" and "question" not in site.kinds()


def test_a_level_that_steps_across_a_stop_is_asked_about_unless_declared(site: Site) -> None:
    for declared in (False, True):
        site.told.clear()
        site.rig.faults.clear()
        site.rig.set_speed(24.75)
        site.new_watch()
        site.minutes(18)
        site.rig.set_speed(0.0)
        asyncio.run(site.watch.round())
        site.now += 600
        if declared:
            site.store.add_event(Event(site.now, "epoch", "", "oil changed", "fitter", {}))
        site.rig.set_fault(*FAULT, 30.0)
        site.rig.set_speed(24.75)
        site.rig.sump = 321.15  # warm again at once: what is not settled is not compared
        site.turns(60)
        asked = [event for event in site.told if event.kind == "question"]
        assert bool(asked) is not declared
        assert declared or "gearcase epoch" in asked[0].says


def test_the_bus_lost_midway_keeps_what_was_read_and_says_so(site: Site) -> None:
    site.minutes(14)
    before = len(site.store.readings())

    class Gone:
        async def read(self, **asked: int) -> tuple[int, ...]:
            raise NoReply(asked["unit"], "registers", "no reply")

        async def write(self, **asked: Any) -> None:
            raise NoReply(asked["unit"], "registers", "no reply")

    site.new_watch().bus = Gone()
    assert site.minutes(3) == "blue"
    kept = site.store.readings()
    assert len(kept) > before and set(kept.quality[before:]) == {"bad"}
    assert "light lost" in site.kinds()


def test_between_rounds_the_light_is_kept_and_a_watch_that_hangs_turns_it_blue(site: Site) -> None:
    site.minutes(14)
    asyncio.run(site.watch.round())
    assert lit(site) == LAMPS["green"]
    before = site.rig.read(31, 21, 1)
    site.now += 50
    asyncio.run(site.watch.beat())
    assert lit(site) == LAMPS["green"] and site.rig.read(31, 21, 1) != before
    site.now += 20
    asyncio.run(site.watch.beat())
    assert lit(site) == LAMPS["blue"]


def test_a_slow_diagnosis_holds_up_no_round(site: Site) -> None:
    site.minutes(14)
    site.new_watch(usual={"intermediate left": 1e-3})
    going_on = threading.Event()

    def slow(recording: Recording) -> dict[str, Any]:
        going_on.wait(20)
        return {"statement": "judged", "verdicts": []}

    site.diagnose = slow  # type: ignore[method-assign]

    async def go() -> int:
        await site.watch.begin("")
        for _ in range(4):
            site.now += 20
            await site.watch.round()
        diagnosing = asyncio.create_task(site.watch.record())
        for _ in range(4):
            site.now += 20
            await site.watch.round()
            await asyncio.sleep(0)
        rounds = site.watch.rounds
        assert not diagnosing.done()
        going_on.set()
        await diagnosing
        await site.watch.round()
        return rounds

    assert asyncio.run(go()) == 8 and "diagnosis" in site.kinds()


def test_the_heartbeat_goes_on_when_rounds_are_far_apart(tmp_path: Path) -> None:
    """Rounds every 30 s, a light that falls back after 10: its heartbeat is never older than that while the watch runs."""
    job, pace, ages = load(EXAMPLES / "demo"), Pace(20.0, not_before=0.0), []
    rig = Rig(job, pace.clock, 24.75)

    async def look(seconds: float) -> None:
        await asyncio.sleep(pace.real(10.0))
        for _ in range(int(seconds / 5)):
            await asyncio.sleep(pace.real(5.0))
            ages.append(rig.read(31, 11, 1)[0])

    async def go() -> None:
        with Store.open(store_path(tmp_path)) as store:
            async with serving(rig, port=free_port(), baud=115200) as served:
                watching = watch_bus(
                    EXAMPLES / "demo",
                    store,
                    connection=served.tcp,
                    pace=pace,
                    every=30.0,
                    lasting=90.0,
                    diagnose=lambda *_: {},
                    tell=lambda _: None,
                    manager=ServiceManager({}),
                    opening=lambda *_: None,
                )
                await asyncio.gather(watching, look(70.0))

    asyncio.run(go())
    assert len(ages) == 14 and max(ages) <= 10


def test_while_the_disk_is_full_the_watch_holds_all_in_memory_shows_blue_and_writes_it_when_there_is_room(site: Site) -> None:
    assert site.minutes(14) == "green"
    before = len(site.store.readings())
    room = site.store.database.read(lambda one: one.exec_driver_sql("PRAGMA page_count").scalar())
    site.store.database.read(lambda one: one.exec_driver_sql(f"PRAGMA max_page_count = {room}"))
    asyncio.run(site.watch.begin(""))
    while not site.watch.keeping.trouble:
        site.turns(10)
    assert "room on the disk" in site.watch.keeping.trouble
    site.turns(3)
    assert site.watch.light.colour == "blue" and site.kinds().count("store lost") == 1
    held = len(site.store.readings())
    with pytest.raises(BadInput, match="acknowledge again"):
        site.watch.acknowledge("the plant")  # nobody would know who has seen what
    site.store.database.read(lambda one: one.exec_driver_sql("PRAGMA max_page_count = 1000000"))
    site.turns(3)
    kept = site.store.readings()
    assert before < held < len(kept) and len(kept) == 10 * site.watch.rounds + lines(kept)
    assert site.watch.light.colour == "green" and site.kinds()[-1] in ("store back", "light")
    said = [event.kind for event in site.store.events()]
    assert said.count("store lost") == said.count("store back") == 1


def lines(kept: Readings) -> int:
    """Readings of the lines' levels."""
    return int(np.isin(kept.quantity, list(LINE_FAMILIES)).sum())


def test_what_waits_for_the_store_has_bounds_and_what_was_left_out_is_said(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    full = [True]

    def add_readings(rows: list[Reading]) -> None:
        if full[0]:
            raise BadInput(Problem("readings.sqlite", "", "database or disk is full", "room on the disk"))

    monkeypatch.setattr(site.store, "add_readings", add_readings)
    monkeypatch.setattr(keeping, "READINGS_WAITING", 100)
    site.turns(40)
    full[0] = False
    site.turns(2)
    said = [event.says for event in site.told if event.kind == "store back"]
    assert len(said) == 1 and re.search(r"; \d\d+ readings and entries were left out for want of room", said[0])


def test_a_gateway_that_was_restarted_is_taken_up_again() -> None:
    port = free_port()

    async def go() -> None:
        rig = Rig(load(EXAMPLES / "demo"), time.monotonic, 24.75)
        async with serving(rig, port=port, baud=115200) as served, connected(served.tcp, baud=19200, timeout=0.3, tries=1) as bus:
            assert await bus.read(unit=11, function=4, start=0, count=1) == (0x1234,)
            kept = bus
        with pytest.raises(NoReply, match=r"cannot be opened|no reply"):
            await kept.read(unit=11, function=4, start=0, count=1)
        async with serving(rig, port=port, baud=115200):
            assert await kept.read(unit=11, function=4, start=0, count=1) == (0x1234,)
            kept.close()

    asyncio.run(go())


def test_limits_and_usual_levels_come_from_the_baseline(site: Site) -> None:
    site.new_watch(limits={})
    site.minutes(25)
    document = baseline.run(site.job, site.store.readings(), now=site.now).document
    limits = in_force(document)
    assert limits["intermediate left", "overall velocity", "day-one"].thresholds == Thresholds(2.8e-3, 4.5e-3, None)
    assert limits["sump", "temperature", "day-one"].thresholds.yellow == pytest.approx(353.15)
    assert set(evidence_levels(document)) == {"input coupling end", "intermediate left"}
    assert "baseline.not_listed" not in [finding["rule"] for finding in document["findings"]]


def test_an_epoch_voids_the_limits_and_the_readings_before_it(site: Site, capsys: pytest.CaptureFixture[str]) -> None:
    shutil.copy(EXAMPLES / "demo" / "job.yaml", site.folder)
    site.new_watch(limits={})
    site.minutes(25)
    document = baseline.run(site.job, site.store.readings(), now=site.now).document
    assert voided(document, site.store.events()) == ""
    older = {
        **document,
        "limits": [{name: value for name, value in row.items() if name != "operating"} for row in document["limits"]],
    }
    assert "earlier version" in voided(older, site.store.events())
    site.store.add_event(Event(site.now + 1, "epoch", "", "oil changed: not comparable", "fitter", {}))
    assert voided(document, site.store.events()) == "oil changed: not comparable"
    assert main(["baseline", str(site.folder)]) == 2
    assert "readings   given none" in capsys.readouterr().err


def test_the_summary_says_what_is_abnormal(site: Site) -> None:
    rows = [{"point": "a", "quantity": "overall velocity", "condition": "yellow", "light": "yellow"}]
    made = watch.run(site.job, rows, [], light="yellow", rounds=3, duty={}, cannot=())
    assert made.wrong and made.document["statement"] == "abnormal: a: yellow; light yellow when it was left, 3 rounds"
    assert not watch.run(site.job, [], [], light="", rounds=0, duty={}, cannot=()).wrong


def followed(site: Site, path: Path) -> Folder:
    return Folder(path, site.job, site.store, lambda: site.now, lambda _, found: site.diagnose(*found), site.told.append)


def test_a_recording_that_appears_is_judged_once_when_it_has_stopped_growing(site: Site, tmp_path: Path) -> None:
    incoming = tmp_path / "incoming"
    incoming.mkdir()
    folder = followed(site, incoming)
    samples = np.sin(np.arange(5000)).astype(np.float32)
    soundfile.write(incoming / "one-intermediate-left.wav", samples, 1000, subtype="FLOAT")
    (incoming / "broken.wav").write_bytes(b"RIFF")
    assert folder.look() == 0, "it may still grow"
    folder.look()
    folder.look()
    refused = [event for event in site.told if event.kind == "recording refused"]
    assert len(refused) >= 1 and "broken.wav" in " ".join(event.says for event in refused)
    before = len(site.told)
    assert followed(site, incoming).look() == 0
    again = followed(site, incoming)
    again.look()
    again.look()
    assert len(site.told) == before, "what was judged is known after a restart"


def test_the_command_follows_a_folder_and_keeps_its_diagnosis(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shutil.copy(EXAMPLES / "demo" / "job.yaml", tmp_path)
    incoming = tmp_path / "incoming"
    incoming.mkdir()
    job = load(tmp_path)
    samples = simulate(
        job.drive,
        speed_hz=24.75,
        sample_rate_hz=12800.0,
        samples=128000,
        seed=3,
        noise="resonant",
        faults=[BearingFault(FAULT[0], FAULT[1], 8.0, jitter=0.004)],
    )
    import pyarrow
    import pyarrow.parquet

    facts = {"sample_rate_hz": "12800", "unit": "m/s2", "speed_hz": "24.75"}
    table = pyarrow.table({"acceleration": samples}).replace_schema_metadata(facts)
    pyarrow.parquet.write_table(table, incoming / "now-intermediate-left.parquet")
    assert main(["watch", str(tmp_path), "--folder", str(incoming), "--every", "1 s", "--for", "5 s", "--json"]) in (0, 1)
    document = json.loads(capsys.readouterr().out)
    said = [event for event in document["events"] if event["kind"] == "diagnosis"]
    assert len(said) == 1 and said[0]["point"] == "intermediate left"
    assert (tmp_path / "results" / "diagnose" / "0001" / "result.json").is_file()


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT, signal.SIGKILL])
def test_a_watch_ended_by_a_signal_leaves_a_store_that_goes_on(how: signal.Signals, tmp_path: Path) -> None:
    shutil.copy(EXAMPLES / "demo" / "job.yaml", tmp_path)
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        port = one.getsockname()[1]
    gearcase = [sys.executable, "-m", "gearcase.cli"]
    with subprocess.Popen(
        [*gearcase, "rig", str(tmp_path), "--port", str(port)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as rig:
        assert rig.stdout and rig.stdin
        rig.stdout.readline()
        command = [*gearcase, "watch", str(tmp_path), "--connection", f"tcp 127.0.0.1:{port}", "--every", "0.1 s"]
        with subprocess.Popen(command, stderr=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as watching:
            deadline = time.monotonic() + 90
            path = store_path(tmp_path)
            while time.monotonic() < deadline and not (path.exists() and _count(path) > 40):
                time.sleep(0.2)
            watching.send_signal(how)
            out, err = watching.communicate(timeout=30)
        before = _count(path)
        assert before > 40, err
        if how is not signal.SIGKILL:
            assert watching.returncode == 0 and "light blue when it was left" in out and "watch stopped" in err
        done = subprocess.run([*command, "--for", "1 s"], capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
        assert _count(path) > before
        rig.stdin.close()


def _count(path: Path) -> int:
    with Store.open(path) as store:
        return len(store.readings())


@pytest.mark.parametrize(
    ("given", "says"),
    [
        (["epoch", "wish"], "one of: sensor replaced"),
        (["epoch", "oil changed"], "who says so"),
        (["epoch", "oil changed", "--by", "a", "--point", "nowhere"], "one of: input coupling end"),
        (["acknowledge"], "who says so"),
        (["shelve", "--by", "a", "--reason", "r"], "a point, who shelves it, and why"),
        (["shelve", "--point", "intermediate left", "--by", "a"], "--reason"),
        (["shelve", "--point", "nowhere", "--by", "a", "--reason", "r"], "one of: input coupling end"),
        (["shelve", "--point", "intermediate left", "--by", "a", "--reason", "r", "--for", "300 h"], "7 days at most"),
        (
            ["shelve", "--point", "intermediate left", "--by", "a", "--reason", "r", "--quantity", "mood"],
            "one of: overall velocity",
        ),
        (["shelve", "--point", "intermediate left", "--by", "a", "--reason", "r", "--approver", "A"], "a second person"),
        (["watch", "--times", "0.5"], "1 to 1000"),
        (["watch", "--folder", "nowhere"], "a folder that is there"),
        (["watch", "--every", "10"], "a time with its unit"),
        (["watch", "--every", "31 s"], "30 s at most"),
        (["watch", "--connection", "radio"], "how the bus is reached"),
    ],
)
def test_a_wrong_call_is_refused(given: list[str], says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shutil.copy(EXAMPLES / "demo" / "job.yaml", tmp_path)
    assert main([given[0], str(tmp_path), *given[1:]]) == 2
    assert says in capsys.readouterr().err


def test_what_a_person_declares_stands_in_the_diary(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shutil.copy(EXAMPLES / "demo" / "job.yaml", tmp_path)
    assert main(["epoch", str(tmp_path), "sensor moved", "--point", "intermediate left", "--says", "to the boss", "--by", "A"]) == 0
    assert main(["acknowledge", str(tmp_path), "--by", "B"]) == 0
    shelve = ["shelve", str(tmp_path), "--point", "intermediate left", "--quantity", "temperature", "--for", "2 h"]
    assert main([*shelve, "--reason", "probe being changed", "--by", "C"]) == 0
    with Store.open(store_path(tmp_path)) as store:
        first, second, third = store.events()
    assert third.kind == "shelved" and third.details["until_s"] == pytest.approx(third.time_s + 7200, abs=5)
    assert "probe being changed; a danger still shows" in third.says
    assert first.kind == "epoch" and first.who == "A" and "prove it again; to the boss" in first.says
    assert second.kind == "acknowledged" and second.who == "B"
    assert "sensor moved" in capsys.readouterr().out
