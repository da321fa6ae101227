"""The watch as a service: parts that fail and are started again, reloads without a gap, the service manager, its unit file.

The service manager's side is sd_notify(3) and systemd.service(5): lines ``KEY=VALUE`` in one datagram.
"""

import asyncio
import configparser
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Self

import numpy as np
import pytest

from gearcase.cli import main
from gearcase.device.publish.values import Published, plant_values
from gearcase.device.rig import Rig
from gearcase.device.serving import serving
from gearcase.install.profile import LAMPS
from gearcase.job.build import Job, load
from gearcase.monitor import publishing, supervising
from gearcase.monitor.service import watch_bus
from gearcase.monitor.service_manager import ServiceManager
from gearcase.monitor.supervising import Parts
from gearcase.monitor.unit_file import unit_file
from gearcase.monitor.watch import Watch
from gearcase.record.clock import Pace
from gearcase.record.store import Event, Store, store_path
from gearcase.stages.result import StageResult
from rigserver import free_port
from test_stages import EXAMPLES

EVERY = 0.2


@dataclass
class Served:
    """A watch over a served rig in this process, and all that it told."""

    folder: Path
    told: list[Event] = field(default_factory=list)
    publisher: Any = None

    def kinds(self) -> list[str]:
        return [event.kind for event in self.told]

    async def until(self, kind: str, count: int = 1) -> Event:
        async with asyncio.timeout(30):
            while self.kinds().count(kind) < count:
                await asyncio.sleep(0.02)
        return [event for event in self.told if event.kind == kind][-1]

    def connect(self, port: int) -> None:
        """Name another gateway in the job."""
        job = self.folder / "job.yaml"
        text = re.sub(r"connection: tcp \S+", f"connection: tcp 127.0.0.1:{port}", job.read_text(encoding="utf-8"))
        job.write_text(text, encoding="utf-8")

    def watch(
        self, act: Callable[[Rig], Any], environment: dict[str, str] | None = None, *, every: float = EVERY, by_job: bool = False
    ) -> StageResult:
        """Watch while `act` goes on, then stop by a signal; the bus as the job names it where `by_job`."""

        async def go() -> StageResult:
            rig = Rig(load(self.folder), time.monotonic, 24.75, sump=321.15)
            port = free_port()
            if by_job:
                self.connect(port)
            with Store.open(store_path(self.folder)) as store:
                async with serving(rig, port=port, baud=115200) as served:
                    watching = asyncio.create_task(
                        watch_bus(
                            self.folder,
                            store,
                            connection="" if by_job else served.tcp,
                            pace=Pace(1.0, not_before=0.0),
                            every=every,
                            lasting=None,
                            diagnose=lambda *_: {"statement": "", "verdicts": []},
                            tell=self.told.append,
                            manager=ServiceManager(environment or {}),
                            opening=lambda *given: self.publisher(*given) if self.publisher else None,
                        )
                    )
                    await self.until("watch started")
                    await act(rig)
                    os.kill(os.getpid(), signal.SIGTERM)
                    return await watching

        return asyncio.run(go())


@pytest.fixture
def served(tmp_path: Path) -> Served:
    shutil.copy(EXAMPLES / "demo" / "job.yaml", tmp_path)
    return Served(tmp_path)


@pytest.fixture
def listening(tmp_path: Path) -> Iterator[tuple[dict[str, str], Callable[[], list[str]]]]:
    """A service manager's socket: the environment it gives, and what it has heard."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as one:
        one.bind(str(tmp_path / "notify"))
        one.settimeout(0.05)
        lines: list[str] = []
        going = threading.Event()

        def listen() -> None:
            while not going.is_set():
                with suppress(TimeoutError):
                    lines.extend(one.recv(4096).decode().splitlines())

        listener = threading.Thread(target=listen)
        listener.start()

        def heard() -> list[str]:
            time.sleep(0.2)
            return list(lines)

        yield {"NOTIFY_SOCKET": str(tmp_path / "notify"), "WATCHDOG_USEC": "600000"}, heard
        going.set()
        listener.join()


def test_a_reload_leaves_no_gap_and_a_wrong_job_is_refused_with_its_line(
    served: Served, listening: tuple[dict[str, str], Callable[[], list[str]]]
) -> None:
    environment, heard = listening
    job = served.folder / "job.yaml"
    text = job.read_text(encoding="utf-8")

    async def act(rig: Rig) -> None:
        job.write_text(text.replace("teeth: 71", "teeth: many"), encoding="utf-8")
        os.kill(os.getpid(), signal.SIGHUP)
        refused = await served.until("reload refused")
        assert "job.yaml:" in refused.says and "teeth" in refused.says
        await asyncio.sleep(3 * EVERY)
        job.write_text(f"{text}\nstore: postgresql://plant-server/drive\n", encoding="utf-8")
        os.kill(os.getpid(), signal.SIGHUP)
        assert "another needs a restart" in (await served.until("reload refused", 2)).says
        job.write_text(
            text.replace("name: intermediate left", "name: intermediate left side").replace(
                "point: intermediate left", "point: intermediate left side"
            ),
            encoding="utf-8",
        )
        os.kill(os.getpid(), signal.SIGHUP)
        await served.until("reloaded")
        await asyncio.sleep(4 * EVERY)

    result = served.watch(act, environment)
    with Store.open(store_path(served.folder)) as store:
        kept = store.readings(quantity="speed")
        points = {reading.point for reading in store.latest()}
    assert len(kept) == result.document["rounds"], "no reading lost between"
    assert np.max(np.diff(kept.time_s)) < 10 * EVERY
    assert {"intermediate left", "intermediate left side"} <= points
    said = heard()
    assert said[0] == "READY=1" and said[-1] == "STOPPING=1"
    assert said.count("RELOADING=1") == 3 and said.count("READY=1") == 4 and "WATCHDOG=1" in said
    assert any(line.startswith("MONOTONIC_USEC=") and line.partition("=")[2].isdecimal() for line in said)


def test_a_reload_to_another_gateway_loses_no_reading_and_one_that_cannot_be_opened_is_refused(served: Served) -> None:
    async def act(rig: Rig) -> None:
        served.connect(free_port())
        os.kill(os.getpid(), signal.SIGHUP)
        refused = await served.until("reload refused")
        assert "bus.connection" in refused.says
        port = free_port()
        async with serving(Rig(load(served.folder), time.monotonic, 20.0, sump=321.15), port=port, baud=115200):
            served.connect(port)
            os.kill(os.getpid(), signal.SIGHUP)
            await served.until("reloaded")
            await asyncio.sleep(0.5)
            os.kill(os.getpid(), signal.SIGTERM)
            await asyncio.sleep(1.5)

    served.watch(act, every=0.001, by_job=True)
    with Store.open(store_path(served.folder)) as store:
        kept = store.readings(quantity="speed")
    assert set(kept.quality) == {"good"}
    assert kept.value[0] == pytest.approx(24.75) and kept.value[-1] == pytest.approx(20.0)
    assert np.sum(np.diff(kept.value) != 0) == 1


def test_a_change_of_the_job_is_noticed_and_a_person_may_ask(served: Served) -> None:
    async def act(rig: Rig) -> None:
        job = served.folder / "job.yaml"
        job.write_text(job.read_text(encoding="utf-8") + "\n", encoding="utf-8")
        await served.until("reloaded")
        assert await asyncio.to_thread(main, ["reload", str(served.folder), "--by", "A. Fitter"]) == 0
        await served.until("reloaded", 2)

    served.watch(act)


def test_a_damaged_result_stops_no_watch_from_starting_and_none_that_runs(served: Served) -> None:
    """Without its baseline, fit and proof it starts all the same, names them, and has no limits; a reload to them is refused."""
    for stage in ("baseline", "fit", "prove"):
        kept = served.folder / "results" / stage / "0001"
        kept.mkdir(parents=True)
        (kept / "result.json").write_text("{", encoding="utf-8")

    async def act(rig: Rig) -> None:
        says = (await served.until("result damaged", 3)).says
        assert "prove/0001/result.json" in says and "run gearcase prove again" in says
        os.kill(os.getpid(), signal.SIGHUP)
        assert "baseline/0001/result.json" in (await served.until("reload refused")).says

    result = served.watch(act)
    assert result.document["rounds"] and result.document["light"] == "blue"


def test_rounds_that_stop_starve_the_watchdog(
    served: Served, listening: tuple[dict[str, str], Callable[[], list[str]]], monkeypatch: pytest.MonkeyPatch
) -> None:
    environment, heard = listening
    monkeypatch.setattr(Watch, "round_age", property(lambda _: 1e9))

    async def act(rig: Rig) -> None:
        await asyncio.sleep(1.0)

    served.watch(act, environment)
    assert "WATCHDOG=1" not in heard()


def test_a_part_that_fails_is_started_again_and_the_others_go_on(served: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    async def broken(self: Watch) -> bool:
        raise ValueError("a record of nothing")

    monkeypatch.setattr(Watch, "record", broken)

    async def act(rig: Rig) -> None:
        failed = await served.until("part failed")
        assert failed.says.startswith("records: ValueError: a record of nothing")
        await asyncio.sleep(2.5)

    result = served.watch(act)
    assert served.kinds().count("part failed") == 1 and result.document["rounds"] > 5
    without = "limits: none is in force: take the baseline, and have it accepted"
    assert result.document["cannot"] == [without, "records: ValueError: a record of nothing"]


def test_a_round_that_fails_once_is_made_up_for(served: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    judge, failures = Watch._judge, [True]

    def once(self: Watch, *given: Any) -> None:
        if failures:
            failures.pop()
            raise RuntimeError("one bad round")
        judge(self, *given)

    monkeypatch.setattr(Watch, "_judge", once)

    async def act(rig: Rig) -> None:
        await served.until("part failed")
        await asyncio.sleep(1.0)

    assert served.watch(act).document["rounds"] >= 3


class Plant:
    """A publisher that takes what it is told, or hangs, or cannot reach anybody."""

    def __init__(self, acknowledge: Callable[[str], None], how: str) -> None:
        self.acknowledge, self.how = acknowledge, how
        self.told: list[Mapping[str, Published]] = []

    async def __aenter__(self) -> Self:
        if self.how == "raises":
            raise OSError("no such network")
        return self

    async def __aexit__(self, *_: object) -> None:
        return

    async def publish(self, values: Mapping[str, Published]) -> None:
        if self.how == "hangs":
            await asyncio.sleep(60)
        self.told.append(values)

    def condition(self) -> str:
        starting = "MQTT: is starting" if self.how == "works" and len(self.told) < 2 else ""
        return "MQTT: broker away" if self.how == "away" else starting


@pytest.mark.parametrize(
    ("how", "says"),
    [
        ("hangs", "publishing: TimeoutError"),
        ("raises", "publishing: OSError: no such network"),
        ("away", "plant: MQTT: broker away"),
    ],
)
def test_a_publisher_that_fails_holds_up_nothing_and_is_said(
    how: str, says: str, served: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(publishing, "_LONGEST", 0.3)
    served.publisher = lambda job, clock, acknowledge: Plant(acknowledge, how)

    async def act(rig: Rig) -> None:
        await served.until("plant" if how == "away" else "part failed")
        await asyncio.sleep(5 * EVERY)

    document = served.watch(act).document
    assert any(one.startswith(says) for one in document["cannot"]) and document["rounds"] >= 4


def test_a_publisher_that_only_starts_is_no_event(served: Served) -> None:
    served.publisher = lambda job, clock, acknowledge: Plant(acknowledge, "works")

    async def act(rig: Rig) -> None:
        await asyncio.sleep(6 * EVERY)

    served.watch(act)
    assert "plant" not in served.kinds()


def test_the_plant_is_told_every_value_by_a_name_it_knows_and_may_acknowledge(served: Served) -> None:
    made: list[Plant] = []

    def opening(job: Job, clock: Callable[[], float], acknowledge: Callable[[str], None]) -> Plant:
        made.append(Plant(acknowledge, "works"))
        return made[0]

    served.publisher = opening

    async def act(rig: Rig) -> None:
        while not made or len(made[0].told) < 3:
            await asyncio.sleep(0.02)
        made[0].acknowledge("controller at 192.0.2.10")
        heard = await served.until("acknowledged")
        assert heard.who == "controller at 192.0.2.10"

    served.watch(act)
    told = made[0].told[-1]
    known = {one.name for one in plant_values(load(served.folder))}
    assert {"drive/speed", "sump/temperature", "light", "drive/run state", "intermediate left/overall velocity"} <= told.keys()
    assert known >= told.keys() and told["drive/speed"].value == pytest.approx(24.75) and told["drive/speed"].quality == "good"


def test_a_part_that_holds_again_is_said_to(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(supervising, "_HELD", 0.05)
    said: list[tuple[str, str]] = []
    tries = [0]

    async def go() -> None:
        stop = asyncio.Event()

        async def run() -> None:
            tries[0] += 1
            if tries[0] < 3:
                raise OSError("not yet")
            await asyncio.sleep(0.2)
            stop.set()

        monkeypatch.setattr(supervising, "_FIRST", 0.01)
        await Parts(stop, lambda *what: said.append(what)).keep("telling", run)

    asyncio.run(go())
    assert said == [("telling", "OSError: not yet"), ("telling", "")]


def test_the_light_falls_back_to_blue_by_itself_when_the_watch_hangs(served: Served) -> None:
    """The light's own fallback, 10 s: the event loop is blocked, nothing is written, and the rig's clock goes on."""
    ages: list[int] = []

    async def act(rig: Rig) -> None:
        await served.until("light")
        real = rig.clock
        rig.clock = lambda: real() + 11.0
        ages.append(rig.read(31, 10, 1)[0])
        rig.clock = real

    served.watch(act)
    assert ages == [LAMPS["blue"]]


def test_nothing_is_told_without_a_service_manager_and_a_dead_socket_holds_up_nothing(tmp_path: Path) -> None:
    ServiceManager({}).ready("watching")
    began = time.monotonic()
    ServiceManager({"NOTIFY_SOCKET": str(tmp_path / "gone")}).stopping()
    assert time.monotonic() - began < 1


def test_an_abstract_socket_is_told_too() -> None:
    """sd_notify(3): an address that begins with "@" is in the abstract namespace."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as one:
        name = f"gearcase-test-{os.getpid()}"
        one.bind(f"\0{name}")
        ServiceManager({"NOTIFY_SOCKET": f"@{name}"}).alive("3 rounds,\nlight green")
        assert one.recv(1000).decode() == "WATCHDOG=1\nSTATUS=3 rounds, light green"


@pytest.mark.parametrize(
    ("environment", "seconds"),
    [
        ({"WATCHDOG_USEC": "120000000"}, 120.0),
        ({"WATCHDOG_USEC": "120000000", "WATCHDOG_PID": "1"}, None),
        ({"WATCHDOG_USEC": "soon"}, None),
        ({}, None),
    ],
)
def test_the_watchdog_is_that_of_this_process(environment: dict[str, str], seconds: float | None) -> None:
    assert ServiceManager(environment).watchdog_s == seconds


def test_the_unit_is_printed_for_the_owner_of_the_folder(served: Served, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["unit", str(served.folder)]) == 0
    text = capsys.readouterr().out
    assert f"User={served.folder.owner()}" in text and f"-m gearcase.cli watch {served.folder}" in text
    assert main(["unit", str(served.folder), "--user", "edge"]) == 0
    assert "User=edge" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("connection", "has"), [("tcp 127.0.0.1:15020", "PrivateDevices=yes"), ("serial /dev/ttyUSB0", "DeviceAllow=/dev/ttyUSB0 rw")]
)
def test_the_unit_is_one_that_systemd_takes(connection: str, has: str, tmp_path: Path) -> None:
    folder = tmp_path / "job of ours"
    folder.mkdir()
    text = (EXAMPLES / "demo" / "job.yaml").read_text(encoding="utf-8")
    assert "connection: tcp 127.0.0.1:15020" in text
    (folder / "job.yaml").write_text(text.replace("connection: tcp 127.0.0.1:15020", f"connection: {connection}"), encoding="utf-8")
    made = unit_file(load(folder), folder, python=sys.executable, user="root")
    assert has in made
    parser = configparser.ConfigParser(strict=False, interpolation=None, delimiters=("=",), comment_prefixes=("#",))
    parser.optionxform = str  # type: ignore[assignment, method-assign]
    parser.read_string(made)
    service = parser["Service"]
    assert service["Type"] == "notify" and int(service["WatchdogSec"]) > 60 and service["ProtectSystem"] == "strict"
    assert service["ReadWritePaths"] == f'"{folder}"' and service["Restart"] == "always"
    if shutil.which("systemd-analyze"):
        unit = tmp_path / "gearcase-job.service"
        unit.write_text(made, encoding="utf-8")
        found = subprocess.run(["systemd-analyze", "verify", str(unit)], capture_output=True, text=True, check=False)
        assert found.returncode == 0 and str(unit) not in found.stderr and "gearcase-job" not in found.stderr, found.stderr


def test_a_watch_that_keeps_a_diagnosis_loads_no_library_that_it_can_do_without(tmp_path: Path) -> None:
    """Each would hold 20 to 50 MiB for as long as the watch runs."""
    text = (
        "import sys, numpy as np, gearcase.monitor.service, gearcase.stages.diagnose; from pathlib import Path\n"
        "from gearcase.record import results\n"
        "about = dict(document={'schema': 'diagnose/1'}, pictures={}, read=[], who='', when='2026-09-10T08:00:00+00:00')\n"
        "results.write(Path(sys.argv[1]), 'diagnose', arrays={'a': {'b': np.arange(9.0)}}, **about)\n"
        "print(sorted({'scipy.stats', 'scipy.signal', 'scipy.optimize', 'pandas', 'alembic'} & sys.modules.keys()))"
    )
    done = subprocess.run([sys.executable, "-c", text, str(tmp_path)], capture_output=True, text=True, check=False)
    assert done.stdout == "[]\n", done.stderr
