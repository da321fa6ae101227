"""A watch as a process, killed with kill -9 and started again: what stood stands, who was told is not told twice, nothing lost.

The rig answers on a socket of this process and the people's web hooks are taken by a server of the standard library, so both
outlive the watch. Time runs thirty times as fast as the clock, twice as fast where a database is waited for, since that is done by
the clock.
"""

import asyncio
import json
import multiprocessing
import random
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import httpx
import pytest

from gearcase.cli import main
from gearcase.device.rig import Rig
from gearcase.device.serving import serving
from gearcase.install.profile import LAMPS
from gearcase.job.build import load
from gearcase.judge.operating import Operating
from gearcase.record import results
from gearcase.record.store import Event, Reading, Store, open_store
from postgresql import Server
from rigserver import free_port
from test_stages import EXAMPLES

pytestmark = pytest.mark.long

TIMES = 30
DANGER, SHELVED, POSTED = "input coupling end", "intermediate left", "output left"
LIMITS = {DANGER: (1e-6, 2e-6), SHELVED: (1e-6, 1.0)}  # yellow, danger: anything that runs is over; the second never in danger
TOKEN = "0123456789abcdefghij"


@dataclass
class Arrived:
    """Messages that somebody's server took, in order: to whom, the message's id, its lines; who does not answer now; what is done
    between an arrival and the answer.
    """

    messages: list[tuple[str, str, list[dict[str, Any]]]] = field(default_factory=list)
    away: set[str] = field(default_factory=set)
    meanwhile: Callable[[], object] = lambda: None

    def ids(self, to: str) -> list[str]:
        return [number for name, number, _ in self.messages if name == to]


@contextmanager
def people() -> Iterator[tuple[int, Arrived]]:
    """A server that takes web hooks at ``/NAME``."""
    arrived = Arrived()

    class Hook(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = json.loads(self.rfile.read(int(self.headers["content-length"])))
            name = self.path.strip("/")
            if name not in arrived.away:
                assert body["id"] == self.headers["webhook-id"]
                arrived.messages.append((name, body["id"], body["lines"]))
                arrived.meanwhile()
            self.send_response(503 if name in arrived.away else 204)
            with suppress(OSError):  # whoever asked may have been killed
                self.end_headers()

        def log_message(self, format: str, *args: Any) -> None: ...

    with ThreadingHTTPServer(("127.0.0.1", 0), Hook) as server:
        serves = threading.Thread(target=server.serve_forever, args=(0.05,))
        serves.start()
        try:
            yield server.server_port, arrived
        finally:
            server.shutdown()
            serves.join()


@contextmanager
def served(rig: Rig, port: int) -> Iterator[None]:
    """The rig on a socket, from a thread of its own."""
    loop, ready, leave = asyncio.new_event_loop(), threading.Event(), asyncio.Event()

    async def go() -> None:
        async with serving(rig, port=port, baud=115200):
            ready.set()
            await leave.wait()

    serves = threading.Thread(target=loop.run_until_complete, args=(go(),))
    serves.start()
    try:
        assert ready.wait(30)
        yield
    finally:
        loop.call_soon_threadsafe(leave.set)
        serves.join()
        loop.close()


@dataclass
class Plant:
    """A drive that has run warm for half an hour, with limits, people and a rig; a watch of it by its command."""

    folder: Path
    rig: Rig
    bus: int
    posts: int
    arrived: Arrived
    database: str
    times: int

    @property
    def command(self) -> list[str]:
        given = ["--connection", f"tcp 127.0.0.1:{self.bus}", "--times", str(self.times), "--every", "3 s", "--json"]
        return ["watch", str(self.folder), *given]

    @property
    def light(self) -> int:
        return self.rig.read(31, 20, 1)[0]

    @contextmanager
    def watched(self) -> Iterator["subprocess.Popen[str]"]:
        """A watch in a process of its own, killed in the end at the latest."""
        command = [sys.executable, "-m", "gearcase.cli", *self.command]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as watching:
            try:
                yield watching
            finally:
                watching.kill()

    def say(self, verb: str, *given: str) -> None:
        """A person's command, which is acknowledged when this returns."""
        assert main([verb, str(self.folder), *given]) == 0

    def post(self, value: float) -> bool:
        """Post a reading; whether that was acknowledged."""
        one = {"time": time.time(), "point": POSTED, "quantity": "high-frequency acceleration", "value": value, "unit": "m/s2"}
        with suppress(httpx.HTTPError):
            headers = {"authorization": f"Bearer {TOKEN}"}
            answer = httpx.post(f"http://127.0.0.1:{self.posts}/readings", json=[one], headers=headers, timeout=5)
            assert answer.status_code in (200, 429, 503), answer.text
            return answer.status_code == 200
        return False

    def opened(self) -> Store:
        return open_store(self.folder, self.database, wait_s=30.0)

    def events(self, *kinds: str) -> list[Event]:
        with self.opened() as store:  # verifies the chain
            return [event for event in store.events() if not kinds or event.kind in kinds]

    def until(self, holds: Callable[[], object], what: str) -> None:
        deadline = time.monotonic() + 90
        while not holds():
            assert time.monotonic() < deadline, (what, [(one.kind, one.says) for one in self.events()])
            time.sleep(0.5)


@pytest.fixture
def plant(tmp_path: Path) -> Iterator[Plant]:
    with running(tmp_path) as made:
        yield made


@contextmanager
def running(tmp_path: Path, *, store: str = "", times: int = TIMES) -> Iterator[Plant]:
    """A plant whose readings are kept in a file, or in a database."""
    folder, bus, posts = tmp_path / "job", free_port(), free_port()
    folder.mkdir()
    with people() as (port, arrived):
        for name, text in (("secret", "both know this"), ("token", TOKEN)):
            (folder / name).write_text(text)
            (folder / name).chmod(0o600)
        hook = 'url: "http://127.0.0.1:{port}/{name}", secret_file: secret'
        hooks = "".join(f"\n    - {{name: {name}, {hook.format(port=port, name=name)}}}" for name in ("shift", "lead"))
        told = "".join(f"\n    - {{name: {name}, webhook: {name}, of: [danger]}}" for name in ("shift", "lead"))
        text = (EXAMPLES / "demo" / "job.yaml").read_text(encoding="utf-8")
        text += f"\nnotify:\n  webhooks:{hooks}\n  people:{told}\n  again: 10 min\n"
        text += f"incoming:\n  http: {{address: 127.0.0.1, port: {posts}, token_file: token}}\n"
        text += f"store: {store}\n" if store else ""
        (folder / "job.yaml").write_text(text, encoding="utf-8")
        job, now = load(folder), time.time()
        rig = Rig(job, lambda: times * time.monotonic(), 24.75, sump=321.15)
        inputs = (("", "running", 1.0, "-"), ("", "speed", 24.75, "Hz"), ("sump", "temperature", 321.15, "K"))
        with open_store(folder, job.store) as kept:
            for ago in range(1860, 0, -60):
                kept.add_readings(Reading(now - ago, *rest, state="steady") for rest in inputs)
        set_limits(folder, now)
        with served(rig, bus):
            yield Plant(folder, rig, bus, posts, arrived, store, times)
    shutil.rmtree(folder)


def set_limits(folder: Path, now: float) -> None:
    """A baseline as its stage leaves it, as far as a watch reads it."""
    rows = [
        {
            "point": point,
            "quantity": "overall velocity",
            "kind": "",
            "operating": Operating(None, None).as_dict(),
            "yellow": {"value": yellow},
            "danger": {"value": danger},
            "low": None,
            "model": None,
            "expires_s": now + 86400.0 * 365,
        }
        for point, (yellow, danger) in LIMITS.items()
    ]
    when = datetime.fromtimestamp(now, UTC).isoformat()
    document = {"schema": "baseline/1", "limits": rows, "points": [], "readings": {"until": when}}
    results.write(folder, "baseline", document=document, arrays={}, pictures={}, read=[], who="", when=when)


def most_mib(process: int) -> float:
    """The most memory that a process has held, by proc(5). [MiB]"""
    lines = Path(f"/proc/{process}/status").read_text().splitlines()
    return next(int(line.split()[1]) / 1024 for line in lines if line.startswith("VmHWM"))


def shelf_of(events: list[Event]) -> list[tuple[str, str, float]]:
    return [(event.point, event.who, event.details["until_s"]) for event in events if event.kind == "shelved"]


def test_what_stood_before_kill_9_stands_after_it(plant: Plant) -> None:
    plant.arrived.away.add("lead")  # whose message is on its way when the watch is killed
    with plant.watched() as watching:
        plant.until(lambda: plant.arrived.ids("shift"), "somebody is told of the danger")
        plant.until(lambda: plant.light == LAMPS["red"], "the light is red")
        plant.until(lambda: any(one.point == SHELVED for one in plant.events("alarm")), "the other is over its yellow")
        shelve = ("shelve", "--point", SHELVED, "--quantity", "overall velocity", "--for", "18 min", "--reason", "probe changed")
        plant.say(*shelve, "--by", "C. Fitter")
        assert plant.post(1.0)
        time.sleep(0.5)
        watching.send_signal(signal.SIGKILL)
        watching.communicate()
    before = plant.events()
    kept, (shelf,) = {event.number: event for event in before}, shelf_of(before)
    told = plant.arrived.ids("shift")
    assert len(told) == 1 and not plant.arrived.ids("lead")

    with plant.watched() as watching:
        plant.until(lambda: len(plant.events("watch started")) == 2, "it is started again")
        plant.until(lambda: plant.events("light")[-1].number > before[-1].number, "the light is set")
        assert plant.light == LAMPS["red"] and plant.events("light")[-1].says == "red", "the danger stands, first of all"
        plant.arrived.away.clear()
        plant.until(lambda: plant.arrived.ids("lead"), "the message that had not arrived arrives")
        plant.until(lambda: len(plant.arrived.ids("shift")) > 1, "nobody has acknowledged: it is told again")
        (first, second, *_) = plant.events("notice")
        assert second.details["again"] and second.time_s - first.time_s > 595.0, "in its time, as if nothing had been"
        assert plant.arrived.ids("shift") == [first.details["id"], second.details["id"]] and told == [first.details["id"]]
        assert plant.arrived.ids("lead")[0] == first.details["id"]
        assert len(set(plant.arrived.ids("lead"))) == len(plant.arrived.ids("lead"))
        assert not plant.events("shelving over"), "it holds"
        plant.until(lambda: plant.events("shelving over"), "and ends in its time")
        (over,) = plant.events("shelving over")
        assert over.point == SHELVED and 0 <= over.time_s - shelf[2] < 60.0
        plant.say("acknowledge", "--by", "B. Shift")
        plant.until(lambda: any(event.who == "B. Shift" for event in plant.events("alarm")), "seen")
        assert plant.events("diagnosis") and most_mib(watching.pid) < 200, "the goal, with diagnoses, web hooks and posts"
        watching.send_signal(signal.SIGTERM)
        document = json.loads(watching.communicate(timeout=60)[0])
    assert [row["condition"] for row in document["conditions"] if row["point"] == DANGER] == ["danger acknowledged"]
    assert document["light"] == "red", "it clears only when it has stayed under its limit"
    with plant.opened() as store:
        assert store.verify().problems == ()
        assert {event.number: event for event in store.events() if event.number in kept} == kept
        assert 1.0 in store.readings(POSTED, "high-frequency acceleration").value


@dataclass
class Lives:
    """A watch that is killed again and again, and what was acknowledged in its lives."""

    plant: Plant
    chance: random.Random = field(default_factory=lambda: random.Random(27))
    posted: list[float] = field(default_factory=list)
    shelves: list[str] = field(default_factory=list)
    noted: set[tuple[str, str]] = field(default_factory=set)  # to whom, which message: arrivals that stand in the diary

    def __post_init__(self) -> None:
        self.processes = multiprocessing.get_context("forkserver")  # so that a life begins without loading the program
        self.processes.set_forkserver_preload(["gearcase.cli", "gearcase.monitor.service", "gearcase.stages.diagnose"])

    def live(self, act: Callable[[], None]) -> None:
        """One life, and what must hold after it."""
        plant, before = self.plant, len(self.plant.arrived.messages)
        self.watching = self.processes.Process(target=main, args=(plant.command,))
        self.watching.start()
        try:
            act()
        finally:
            self.watching.kill()
            self.watching.join()
        events = plant.events()
        raised = [one.number for one in events if one.kind == "alarm" and one.details["after"] == "danger"]
        assert len(raised) == 1, "it stands, so it is raised once"
        assert {event.says for event in events if event.kind == "light" and event.number > raised[0]} == {"red"}
        assert [event.who for event in events if event.kind == "shelved"] == self.shelves
        arrived = Counter((to, number) for to, number, _ in plant.arrived.messages[before:])
        assert max(arrived.values(), default=1) == 1 and not self.noted & arrived.keys(), "nobody is told twice"
        assert {number for _, number in arrived} <= {event.details["id"] for event in events if event.kind == "notice"}
        self.noted = {(event.details["to"], event.details["notice"]) for event in events if event.kind == "notice sent"}

    def arrive(self) -> None:
        """Killed when a message has arrived and the watch has not heard so: the entry of its arrival is missing."""
        self.plant.arrived.meanwhile = self.watching.kill
        self.plant.until(lambda: not self.watching.is_alive(), "somebody is told of the danger")
        self.plant.arrived.meanwhile = lambda: None

    def open(self) -> None:
        """Killed while it starts."""
        time.sleep(self.chance.uniform(0.0, 1.5))

    def work(self) -> None:
        """Killed at work, readings coming in and people speaking to it."""
        number = 1000.0 * (1 + len(self.posted))
        self.plant.until(lambda: self.plant.post(number), "it is at work")
        self.posted.append(number)
        until = time.monotonic() + self.chance.uniform(0.0, 1.2)
        if self.chance.random() < 0.5:
            by = f"Fitter {len(self.shelves)}"
            self.plant.say("shelve", "--point", SHELVED, "--for", "100 h", "--reason", "tried", "--by", by)
            self.shelves.append(by)
        while time.monotonic() < until:
            number += 1
            if self.plant.post(number):
                self.posted.append(number)


def test_kill_9_at_random_moments_of_a_life_loses_nothing_and_tells_nobody_twice(plant: Plant) -> None:
    job = plant.folder / "job.yaml"
    job.write_text(job.read_text(encoding="utf-8").replace("again: 10 min", "again: 30 s"), encoding="utf-8")
    lives = Lives(plant)
    lives.live(lives.arrive)
    assert not plant.events("notice sent")
    (to, number, _), *_ = plant.arrived.messages
    for _ in range(8):
        for act in (lives.open, lives.work, lives.work):
            lives.live(act)
    assert len(lives.posted) > 24 and len(lives.shelves) > 3 and len(lives.noted) > 8
    plant.say("acknowledge", "--by", "B. Shift")
    command = [sys.executable, "-m", "gearcase.cli", *plant.command, "--for", "2 min"]
    document = json.loads(subprocess.run(command, stdout=subprocess.PIPE, text=True, check=False).stdout)
    rows = {row["point"]: row for row in document["conditions"]}
    assert document["light"] == "red" and rows[DANGER]["condition"] == "danger acknowledged"
    assert "by Fitter 0: tried" in rows[SHELVED]["shelved"]
    assert plant.arrived.ids(to).count(number) == 2, "by its id who hears it twice can tell"
    events = plant.events()
    decided = {(to, event.details["id"]) for event in events if event.kind == "notice" for to in event.details["to"]}
    assert decided == {(event.details["to"], event.details["notice"]) for event in events if event.kind == "notice sent"}
    assert decided == {(to, number) for to, number, _ in plant.arrived.messages}
    with plant.opened() as store:
        assert store.verify().problems == ()
        assert set(lives.posted) <= set(store.readings(POSTED, "high-frequency acceleration").value)


def test_a_watch_goes_on_while_its_database_is_killed_and_away_and_takes_it_up_by_itself(server: Server, tmp_path: Path) -> None:
    with running(tmp_path, store=server.database(), times=2) as plant, plant.watched() as watching:
        plant.until(lambda: plant.arrived.ids("shift"), "somebody is told of the danger")
        for away in (0.2, 1.0, 12.0):  # the last for longer than a write waits, and than the light does without a heartbeat
            server.kill()
            until = time.monotonic() + away
            while time.monotonic() < until:
                time.sleep(0.2)
                assert plant.light == LAMPS["red"], "the rounds go on, and the heartbeat"
            server.start()
            plant.until(lambda: plant.post(away), "it is taken up")  # noqa: B023
        plant.until(lambda: plant.events("store back"), "what waited is written")
        watching.send_signal(signal.SIGTERM)
        document = json.loads(watching.communicate(timeout=60)[0])
        assert document["light"] == "red" and document["cannot"] == []
        (began,) = plant.events("watch started")
        with plant.opened() as store:
            times = store.readings("", "speed", since=began.time_s).time_s
            assert len(times) >= document["rounds"], "the readings of each round are there"
            assert store.verify().problems == ()
        assert len(set(plant.arrived.ids("shift"))) == len(plant.arrived.ids("shift"))
