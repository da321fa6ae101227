"""A drive on a real broker, with TLS and passwords: mosquitto as broker, certificates by openssl, and what is sent decoded by
pysparkplug, another library with the specification's own generated schema. That library wants an older MQTT client than this
project, so it is installed by itself, without what it depends on, and only decodes.
"""

import asyncio
import contextlib
import itertools
import socket
import ssl
import subprocess
import sys
import time
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import aiomqtt
import pytest

from gearcase.device.publish import mqtt
from gearcase.device.publish.latest import Latest
from gearcase.device.publish.mqtt import Broker
from gearcase.device.publish.plant import Plant
from gearcase.device.publish.registers import assign
from gearcase.device.publish.values import HEARTBEAT, PlantValue, Published
from gearcase.job.build_publish import MqttFace, User

pytestmark = pytest.mark.long
DECODER = "pysparkplug==0.6.1"
SPEED = PlantValue("drive/speed", "real", "rpm", "Hz", 0.0, 20000.0, kind="speed")
LIGHT = PlantValue("light", "word", meaning="1 green")
VALUES = [PlantValue(HEARTBEAT, "word"), SPEED, LIGHT]


@pytest.fixture(scope="module")
def sparkplug(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    folder = tmp_path_factory.mktemp("decoder")
    ask = [sys.executable, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--no-deps", "--target", str(folder)]
    subprocess.run([*ask, DECODER], check=True, timeout=120)
    sys.path.insert(0, str(folder))
    try:
        import pysparkplug  # type: ignore[import-not-found]

        yield pysparkplug
    finally:
        sys.path.remove(str(folder))


@dataclass
class Mosquitto:
    """A broker in a folder of its own, that can be stopped and started again."""

    folder: Path
    port: int
    running: "subprocess.Popen[bytes] | None" = None

    def start(self) -> None:
        command = ["/usr/sbin/mosquitto", "-c", str(self.folder / "mosquitto.conf")]
        self.running = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        end = time.monotonic() + 10
        while time.monotonic() < end:
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", self.port), 1):
                return
            time.sleep(0.05)
        raise AssertionError("the broker does not start")

    def stop(self) -> None:
        if self.running:
            self.running.kill()
            self.running.wait(10)
            self.running = None


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    def openssl(*words: str) -> None:
        subprocess.run(["openssl", *words], check=True, capture_output=True, cwd=tmp_path, timeout=30)

    key = ("-newkey", "rsa:2048", "-nodes", "-days", "2")
    openssl("req", "-x509", *key, "-keyout", "ca.key", "-out", "ca.pem", "-subj", "/CN=plant authority")
    openssl("req", *key[:3], "-keyout", "server.key", "-out", "server.csr", "-subj", "/CN=localhost")
    (tmp_path / "names").write_text("subjectAltName=DNS:localhost,IP:127.0.0.1")
    signed = ("-CA", "ca.pem", "-CAkey", "ca.key", "-CAcreateserial", "-extfile", "names", "-days", "2")
    openssl("x509", "-req", "-in", "server.csr", "-out", "server.pem", *signed)
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    for user, password in (("edge", "secret of the edge"), ("host", "secret of the host")):
        made = ["-c"] if user == "edge" else []
        subprocess.run(["mosquitto_passwd", "-b", *made, str(tmp_path / "passwords"), user, password], check=True, timeout=30)
    (tmp_path / "mosquitto.conf").write_text(
        f"user root\nlistener {port} 127.0.0.1\nallow_anonymous false\npassword_file {tmp_path}/passwords\n"
        f"cafile {tmp_path}/ca.pem\ncertfile {tmp_path}/server.pem\nkeyfile {tmp_path}/server.key\n"
    )
    (tmp_path / "passwords").chmod(0o600)
    (tmp_path / "edge.password").write_text("secret of the edge\n")
    (tmp_path / "edge.password").chmod(0o600)
    found = Mosquitto(tmp_path, port)
    found.start()
    yield found
    found.stop()


def face(broker: Mosquitto, **changed: Any) -> MqttFace:
    user = User("edge", broker.folder / "edge.password")
    return replace(
        MqttFace("localhost", broker.port, True, broker.folder / "ca.pem", "plant", "edge", "CV-204", "", user), **changed
    )


@dataclass
class Host:
    """Everything a host has heard, in order, and what it can ask."""

    client: aiomqtt.Client
    heard: list[tuple[str, bytes]] = field(default_factory=list)

    async def listen(self) -> None:
        await self.client.subscribe("spBv1.0/#", qos=1)
        async for message in self.client.messages:
            self.heard.append((str(message.topic), bytes(message.payload)))  # type: ignore[arg-type]

    def of(self, kind: str) -> list[bytes]:
        return [payload for topic, payload in self.heard if topic.split("/")[2] == kind]

    async def until(self, true: Callable[[], bool], seconds: float = 30) -> None:
        async with asyncio.timeout(seconds):
            while not true():
                await asyncio.sleep(0.02)


@contextlib.asynccontextmanager
async def host_of(broker: Mosquitto) -> AsyncIterator[Host]:
    context = ssl.create_default_context(cafile=broker.folder / "ca.pem")
    asked: dict[str, Any] = {"username": "host", "password": "secret of the host", "tls_context": context}
    async with aiomqtt.Client("localhost", broker.port, protocol=aiomqtt.ProtocolVersion.V5, **asked) as client:
        host = Host(client)
        listening = asyncio.create_task(host.listen())
        await asyncio.sleep(0.2)
        try:
            yield host
        finally:
            listening.cancel()


def plant_of(settings: MqttFace, again: float = 0.2) -> Plant:
    latest = Latest(VALUES, time.time)
    return Plant(latest, [Broker(latest, assign(VALUES, []), settings)], again=again)


def speed(value: float | None) -> dict[str, Published]:
    return {SPEED.name: Published(value, "Hz", "good" if value is not None else "bad", time.time())}


def in_loop(test: Callable[[], Awaitable[None]]) -> None:
    asyncio.run(asyncio.wait_for(test(), 150))


async def until_works(plant: Plant) -> None:
    async with asyncio.timeout(30):
        while plant.condition():
            await asyncio.sleep(0.02)


def sequence(sparkplug: Any, host: Host) -> list[int]:
    """Numbers of all messages that have one, by the other library."""
    kinds = {"NBIRTH": sparkplug.NBirth, "DBIRTH": sparkplug.DBirth}
    births: list[Any] = []
    found = []
    for topic, payload in host.heard:
        kind = topic.split("/")[2]
        if kind in kinds:
            births.append(kinds[kind].decode(payload))
            found.append(births[-1].seq)
        elif kind == "DDATA":
            found.append(sparkplug.DData.decode(payload, birth=births[-1]).seq)
    return found


def test_another_library_reads_births_data_and_death(broker: Mosquitto, sparkplug: Any) -> None:
    async def run() -> None:
        async with host_of(broker) as host:
            async with plant_of(face(broker)) as plant:
                await until_works(plant)
                await plant.publish(speed(24.75))
                await host.until(lambda: len(host.of("DDATA")) >= 1)
                await plant.publish(speed(None))
                await host.until(lambda: len(host.of("DDATA")) >= 2)
            await host.until(lambda: len(host.of("NDEATH")) == 1)
        (node,), (device,) = host.of("NBIRTH"), host.of("DBIRTH")
        assert [topic for topic, _ in host.heard[:2]] == ["spBv1.0/plant/NBIRTH/edge", "spBv1.0/plant/DBIRTH/edge/CV-204"]
        born = sparkplug.NBirth.decode(node)
        assert {one.name: one.value for one in born.metrics} == {"bdSeq": 0, "Node Control/Rebirth": False}
        birth = sparkplug.DBirth.decode(device)
        assert [(one.name, one.alias, one.datatype.name, one.is_null) for one in birth.metrics] == [
            ("heartbeat", 100, "UINT16", True),
            ("drive/speed", 106, "FLOAT", True),
            ("light", 112, "UINT16", True),
        ]
        first, second = (sparkplug.DData.decode(one, birth=birth) for one in host.of("DDATA")[:2])
        assert {one.name: one.value for one in first.metrics} == {"heartbeat": 1, "drive/speed": pytest.approx(1485.0)}
        assert {one.name: one.is_null for one in second.metrics} == {"heartbeat": False, "drive/speed": True}
        raw = sys.modules["pysparkplug._protobuf"].Payload.FromString(device)
        told = {one.name: dict(zip(one.properties.keys, one.properties.values, strict=True)) for one in raw.metrics}
        assert told["drive/speed"]["engUnit"].string_value == "rpm" and told["drive/speed"]["Quality"].int_value == 0
        assert sparkplug.NDeath.decode(host.of("NDEATH")[0]).bd_seq_metric.value == 0
        assert sequence(sparkplug, host) == [0, 1, 2, 3]

    in_loop(run)


def test_a_restart_of_the_broker_is_a_new_birth_with_the_values_as_they_stand(broker: Mosquitto, sparkplug: Any) -> None:
    async def run() -> None:
        async with plant_of(face(broker)) as plant:
            await until_works(plant)
            await plant.publish(speed(20.0))
            for number in (1, 2, 3):
                broker.stop()
                async with asyncio.timeout(30):
                    while not plant.condition():
                        await asyncio.sleep(0.02)
                begun = time.monotonic()
                await plant.publish(speed(20.0 + number))
                assert time.monotonic() - begun < 0.1, "nothing waits for a broker that is away"
                broker.start()
                async with host_of(broker) as host:
                    await until_works(plant)
                    await plant.publish({})
                    await asyncio.sleep(0.3)
                    await host.client.publish("spBv1.0/plant/NCMD/edge", rebirth(sparkplug), qos=1)
                    await host.until(lambda host=host: len(host.of("DBIRTH")) >= 1, 15)  # type: ignore[misc]
                    last = sparkplug.DBirth.decode(host.of("DBIRTH")[-1])
                    assert {one.name: one.value for one in last.metrics}["drive/speed"] == pytest.approx(60 * (20.0 + number))
                    assert {one.name: one.value for one in sparkplug.NBirth.decode(host.of("NBIRTH")[-1]).metrics}[
                        "bdSeq"
                    ] >= number
                    numbers = sequence_from_birth(sparkplug, host)
                    assert numbers == list(range(len(numbers)))

    in_loop(run)


def sequence_from_birth(sparkplug: Any, host: Host) -> list[int]:
    """Numbers from the last NBIRTH on."""
    last = max(at for at, (topic, _) in enumerate(host.heard) if "/NBIRTH/" in topic)
    return sequence(sparkplug, replace(host, heard=host.heard[last:]))


def rebirth(sparkplug: Any, name: str = "Node Control/Rebirth") -> bytes:
    """An NCMD by the other library."""
    kind = sparkplug.DataType.BOOLEAN
    metric = sparkplug.Metric(timestamp=1, name=name, datatype=kind, value=True)
    return bytes(sparkplug.NCmd(timestamp=1, metrics=(metric,)).encode(include_dtypes=True))


def test_a_host_that_asks_gets_a_birth_and_one_that_asks_at_once_again_waits(
    broker: Mosquitto, sparkplug: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(mqtt, "_BORN_AGAIN", 1.0)

    async def run() -> None:
        async with host_of(broker) as host, plant_of(face(broker)) as plant:
            await until_works(plant)
            await asyncio.sleep(1.0)
            for _ in range(200):
                await host.client.publish("spBv1.0/plant/NCMD/edge", rebirth(sparkplug))
            await host.until(lambda: len(host.of("NBIRTH")) >= 3, 30)
            await asyncio.sleep(2.5)
            assert len(host.of("NBIRTH")) == 3, "one at once and one for all that asked meanwhile"
            assert all(sparkplug.NBirth.decode(one).seq == 0 for one in host.of("NBIRTH"))

    in_loop(run)


def test_nothing_else_is_taken_from_the_plant(broker: Mosquitto, sparkplug: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mqtt, "_BORN_AGAIN", 0.2)

    async def run() -> None:
        async with host_of(broker) as host, plant_of(face(broker)) as plant:
            await until_works(plant)
            hostile = [b"", b"\xff" * 60_000, b"\x00" * 1000, rebirth(sparkplug, "Node Control/Reboot"), b"\xff" * 5_000_000]
            for payload in hostile:
                await host.client.publish("spBv1.0/plant/NCMD/edge", payload, qos=1)
                await host.client.publish("spBv1.0/plant/DCMD/edge/CV-204", payload[:1000], qos=1)
            await host.client.publish("spBv1.0/plant/NCMD/edge", rebirth(sparkplug), qos=1, retain=True)
            await plant.publish(speed(24.75))
            await host.until(lambda: len(host.of("DDATA")) >= 1)
            await asyncio.sleep(0.5)
            assert plant.condition() == ""
            assert len(host.of("NBIRTH")) == 2, "the live request counts; what is not one does not"

    in_loop(run)


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")  # the library leaves its sockets to be collected
def test_a_wrong_password_and_an_unknown_authority_are_refused_and_said_without_the_password(broker: Mosquitto) -> None:
    (broker.folder / "edge.password").write_text("not the secret\n")

    async def run() -> None:
        async with host_of(broker) as host, plant_of(face(broker), again=0.02) as plant:
            await host.until(lambda: "ot authori" in plant.condition() or "password" in plant.condition().lower())
            assert "not the secret" not in plant.condition() and host.heard == []
            before = len(list(Path("/proc/self/fd").iterdir()))
            await asyncio.sleep(3)
            assert len(list(Path("/proc/self/fd").iterdir())) <= before + 5, "each refusal leaves no socket open"
        async with plant_of(face(broker, ca_file=None)) as plant:
            await host.until(lambda: "certificate" in plant.condition().lower())
        (broker.folder / "edge.password").chmod(0o644)
        async with plant_of(face(broker)) as plant:
            await host.until(lambda: "chmod 600" in plant.condition())

    in_loop(run)


def test_the_will_is_told_when_the_edge_is_cut_off(broker: Mosquitto, sparkplug: Any) -> None:
    async def run() -> None:
        async with host_of(broker) as host:
            wires: list[asyncio.StreamWriter] = []

            async def carry(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
                wires.append(writer)
                with contextlib.suppress(OSError):
                    while data := await reader.read(4096):
                        writer.write(data)
                writer.transport.abort()

            async def join(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
                there, back = await asyncio.open_connection("127.0.0.1", broker.port)
                await asyncio.gather(carry(reader, back), carry(there, writer))

            cable = await asyncio.start_server(join, "127.0.0.1", 0)
            async with plant_of(face(broker, port=cable.sockets[0].getsockname()[1])) as plant:
                await until_works(plant)
                for wire in wires:
                    wire.transport.abort()
                await host.until(lambda: len(host.of("NDEATH")) >= 1)
                await host.until(lambda: len(host.of("NBIRTH")) >= 2, 30)
                assert sparkplug.NDeath.decode(host.of("NDEATH")[0]).bd_seq_metric.value == 0
                last = sparkplug.NBirth.decode(host.of("NBIRTH")[-1])
                assert {one.name: one.value for one in last.metrics}["bdSeq"] == 1, "the next death has the next number"
            cable.close()
            await asyncio.sleep(0.2)  # until both ends of it are closed

    in_loop(run)


def test_a_host_that_must_be_online_is_waited_for(broker: Mosquitto, sparkplug: Any) -> None:
    async def run() -> None:
        async with host_of(broker) as host, plant_of(face(broker, primary_host="scada")) as plant:
            await host.until(lambda: "scada to be online" in plant.condition())
            await plant.publish(speed(24.75))
            await asyncio.sleep(0.5)
            assert host.of("NBIRTH") == []
            await host.client.publish("spBv1.0/STATE/scada", b'{"online": true, "timestamp": 1}', qos=1, retain=True)
            await host.until(lambda: len(host.of("DBIRTH")) == 1)
            assert plant.condition() == ""
            await host.client.publish("spBv1.0/STATE/scada", b'{"online": false, "timestamp": 2}', qos=1, retain=True)
            await host.until(lambda: len(host.of("NDEATH")) >= 1)
            await host.until(lambda: "scada" in plant.condition())

    in_loop(run)


def test_a_value_that_nobody_tells_any_more_is_told_as_stale(broker: Mosquitto, sparkplug: Any) -> None:
    async def run() -> None:
        latest = Latest([replace(SPEED, stale_after=1.0)], time.time)
        plant = Plant(latest, [Broker(latest, assign(latest.values.values(), []), face(broker))])
        async with host_of(broker) as host, plant:
            await until_works(plant)
            await plant.publish(speed(24.75))
            await host.until(lambda: len(host.of("DDATA")) >= 2)
            payload = sys.modules["pysparkplug._protobuf"].Payload
            qualities = [payload.FromString(one).metrics[0].properties.values[0].int_value for one in host.of("DDATA")]
            assert qualities == [192, 500]

    in_loop(run)


def test_numbers_wrap_over_the_wire(broker: Mosquitto, sparkplug: Any) -> None:
    async def run() -> None:
        async with host_of(broker) as host, plant_of(face(broker)) as plant:
            await until_works(plant)
            for number in range(300):
                before = len(host.of("DDATA"))
                await plant.publish(speed(10.0 + number / 100))
                await host.until(lambda before=before: len(host.of("DDATA")) > before)  # type: ignore[misc]
            numbers = sequence(sparkplug, host)
            assert len(numbers) >= 302 and numbers == [n % 256 for n in range(len(numbers))]
            assert all(b == (a + 1) % 256 for a, b in itertools.pairwise(numbers))

    in_loop(run)
