"""What comes in over a real broker, with TLS and password, and over HTTPS: mosquitto as broker, certificates by openssl. A message
is acknowledged only when it is kept: what a full disk, a stopped watch or a broker's restart has cut off comes again.
"""

import asyncio
import contextlib
import gc
import json
import socket
import ssl
import time
from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import aiomqtt
import httpx
import pytest

from gearcase.errors import BadInput
from gearcase.job.build import Job
from gearcase.job.build_inputs import Posting
from gearcase.monitor.incoming.accept import incoming_folder
from gearcase.monitor.incoming.http import serve
from gearcase.monitor.incoming.ways import Ways
from gearcase.monitor.inputs import Inputs
from gearcase.monitor.supervising import Parts
from gearcase.record.clock import Pace
from gearcase.record.store import Store, store_path
from rigserver import free_port
from test_incoming import POINT, TOKEN, Place, demo, wav
from test_publish_broker import Mosquitto, broker  # noqa: F401

pytestmark = pytest.mark.long


def job_at(port: int, folder: Path) -> Job:
    inputs = "  - {name: told, kind: speed, source: mqtt, topic: plant/speed, path: v, unit: rpm}\n"
    mqtt = (
        f"host: localhost, port: {port}, ca_file: {folder}/ca.pem, user: edge, password_file: {folder}/edge.password, "
        "readings: drive/readings, recordings: drive/recordings"
    )
    return demo(f"{inputs}  - {{name: run, kind: run, source: posted}}\nincoming: {{mqtt: {{{mqtt}}}}}\n")


@dataclass
class Listening:
    """The ways in of a watch, kept running by its supervisor, and a sender at the same broker."""

    place: Mosquitto
    folder: Path
    said: list[str] = field(default_factory=list)
    failed: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.store = Store.open(store_path(self.folder))
        self.job = job_at(self.place.port, self.place.folder)
        self.inputs = Inputs(self.job)
        self.judged: list[Any] = []

    @contextlib.asynccontextmanager
    async def on(self) -> AsyncIterator[Ways]:
        stop = asyncio.Event()
        ways = Ways(
            self.job,
            self.inputs,
            self.store,
            folder=self.folder,
            pace=Pace(1, not_before=0.0),
            stop=stop,
            diagnose=lambda job, recordings: self.judged.extend(recordings) or {"statement": "judged"},
            tell=lambda event: None,
            say=lambda *words: self.said.append(words[2]),
        )
        parts = Parts(stop, lambda name, how: self.failed.append(how))
        tasks = [
            asyncio.create_task(parts.keep("broker", ways.broker)),
            asyncio.create_task(parts.keep("folders", lambda: ways.folders(0.2))),
        ]
        try:
            yield ways
        finally:
            stop.set()
            await asyncio.wait_for(asyncio.gather(*tasks), 15)

    def sender(self) -> aiomqtt.Client:
        context = ssl.create_default_context(cafile=self.place.folder / "ca.pem")
        return aiomqtt.Client(
            "localhost", self.place.port, protocol=aiomqtt.ProtocolVersion.V5, username="host", password="secret of the host",
            tls_context=context,
        )  # fmt: skip

    def kept(self) -> list[float]:
        return [float(value) for value in self.store.readings(POINT, "overall velocity").value]


def batch(value: float, **said: Any) -> bytes:
    row = {"time": time.time() - 1, "point": POINT, "quantity": "overall velocity", "value": value, "unit": "mm/s"} | said
    return json.dumps({"readings": [row]}).encode()


async def until(true: Callable[[], bool], seconds: float = 20) -> None:
    async with asyncio.timeout(seconds):
        while not true():
            await asyncio.sleep(0.05)


def answers(port: int) -> bool:
    with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
        return True
    return False


def in_loop(test: Callable[[], Awaitable[None]]) -> None:
    asyncio.run(asyncio.wait_for(test(), 120))


def test_readings_recordings_and_inputs_arrive_and_what_is_refused_is_said(broker: Mosquitto, tmp_path: Path) -> None:  # noqa: F811
    here = Listening(broker, tmp_path / "job")

    async def run() -> None:
        async with here.on(), here.sender() as sender:
            await asyncio.sleep(1)
            await sender.publish("drive/readings", batch(2.0), qos=1)
            await sender.publish("drive/readings", b"\x00 hostile", qos=1)
            await sender.publish("drive/readings", batch(2.0, point="nowhere"), qos=1)
            await sender.publish("plant/speed", b'{"v": 1485}')
            header = json.dumps({"name": "a.wav", "point": POINT, "unit": "g"}).encode()
            await sender.publish("drive/recordings", header + b"\n" + wav(), qos=1)
            await sender.publish("drive/recordings", b"x" * 1_000_000, qos=1)
            await sender.publish("drive/readings", batch(3.0), qos=1)
            await until(lambda: len(here.kept()) == 2 and bool(here.judged))

    in_loop(run)
    assert here.kept() == [pytest.approx(2e-3), pytest.approx(3e-3)]
    assert here.inputs._heard["told"].value == 24.75
    assert [one.point for one in here.judged] == [POINT] and len(list(incoming_folder(tmp_path / "job").glob("*.wav"))) == 1
    assert len(here.said) == 3 and "JSON" in here.said[0] and "nowhere" in here.said[1] and "one line of JSON" in here.said[2]
    assert here.failed == []


def test_what_cannot_be_kept_is_not_acknowledged_and_comes_again(
    broker: Mosquitto,  # noqa: F811
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    here = Listening(broker, tmp_path / "job")
    full, before = [2], here.store.add_readings

    def sometimes(readings: Any) -> None:
        if full[0]:
            full[0] -= 1
            raise BadInput([])
        before(readings)

    monkeypatch.setattr(here.store, "add_readings", sometimes)

    async def run() -> None:
        async with here.on(), here.sender() as sender:
            await asyncio.sleep(1)
            await sender.publish("drive/readings", batch(2.0), qos=1)
            await until(lambda: len(here.kept()) == 1)

    in_loop(run)
    assert full == [0] and any("NotKept" in how for how in here.failed)


def test_what_was_sent_while_the_watch_was_away_comes_when_it_is_back(broker: Mosquitto, tmp_path: Path) -> None:  # noqa: F811
    here = Listening(broker, tmp_path / "job")

    async def run() -> None:
        async with here.on():
            await asyncio.sleep(1)
        async with here.sender() as sender:
            for value in (2.0, 3.0, 4.0):
                await sender.publish("drive/readings", batch(value, time=time.time() - 10 + value), qos=1)
        assert here.kept() == []
        async with here.on():
            await until(lambda: len(here.kept()) == 3)

    in_loop(run)


def test_a_broker_that_restarts_is_taken_up_again(broker: Mosquitto, tmp_path: Path) -> None:  # noqa: F811
    here = Listening(broker, tmp_path / "job")

    async def run() -> None:
        async with here.on():
            await asyncio.sleep(1)
            async with here.sender() as sender:
                await sender.publish("drive/readings", batch(2.0), qos=1)
            await until(lambda: len(here.kept()) == 1)
            broker.stop()
            await until(lambda: bool(here.failed))
            broker.start()
            await asyncio.sleep(4)
            async with here.sender() as sender:
                await sender.publish("drive/readings", batch(3.0), qos=1)
            await until(lambda: len(here.kept()) == 2)

    in_loop(run)


def test_a_wrong_password_is_said_and_never_shown(broker: Mosquitto, tmp_path: Path) -> None:  # noqa: F811
    (broker.folder / "edge.password").write_text("not the secret\n")
    here = Listening(broker, tmp_path / "job")

    async def run() -> None:
        async with here.on():
            await until(lambda: bool(here.failed))

    in_loop(run)
    assert "not the secret" not in " ".join(here.failed) and "uthor" in here.failed[0]


@pytest.mark.filterwarnings(
    "ignore::pytest.PytestUnraisableExceptionWarning"
)  # the MQTT library leaves a refused handshake's socket
def test_a_broker_that_cannot_prove_who_it_is_is_refused(broker: Mosquitto, tmp_path: Path) -> None:  # noqa: F811
    other = (broker.folder / "server.pem").read_bytes()
    (broker.folder / "ca.pem").write_bytes(other)
    here = Listening(broker, tmp_path / "job")

    async def run() -> None:
        async with here.on():
            await until(lambda: bool(here.failed))

    in_loop(run)
    assert "CERTIFICATE_VERIFY_FAILED" in here.failed[0]
    gc.collect()  # that socket is closed here, and not in another test


def test_over_https_with_the_certificate_of_this_machine(broker: Mosquitto, tmp_path: Path) -> None:  # noqa: F811
    place = Place(tmp_path / "job", now=time.time())
    (tmp_path / "token").write_text(TOKEN)
    (tmp_path / "token").chmod(0o600)
    posting = Posting("127.0.0.1", free_port(), tmp_path / "token", broker.folder / "server.pem", broker.folder / "server.key")

    async def run() -> None:
        serving = asyncio.create_task(serve(posting, place.accept, ticks=time.monotonic))
        await until(lambda: answers(posting.port))
        headers = {"authorization": f"Bearer {TOKEN}", "content-type": "application/json"}
        trusted = ssl.create_default_context(cafile=broker.folder / "ca.pem")
        async with httpx.AsyncClient(verify=trusted) as client:
            answer = await client.post(f"https://127.0.0.1:{posting.port}/readings", content=batch(2.0), headers=headers)
        assert answer.status_code == 200
        with pytest.raises(httpx.HTTPError):
            async with httpx.AsyncClient() as client:
                await client.post(f"http://127.0.0.1:{posting.port}/readings", content=batch(2.0), headers=headers)
        serving.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await serving

    in_loop(run)
    assert len(place.kept()) == 1
