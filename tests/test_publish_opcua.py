"""The plant's OPC UA server, read by asyncua's client and attacked by hand.

Status codes and unit numbers after OPC 10000-4 and 10000-8: Good 0, Bad 0x80000000, UncertainLastUsableValue 0x40900000; the number
of a unit is its UNECE code as bytes, °C "CEL" 4408652 (from memory). Header of a message after OPC 10000-6: type, F, length. The
client library is the server's, so what goes over the wire is also written by hand where it matters: refusals.
"""

import asyncio
import contextlib
import datetime
import resource
import socket
import stat
import struct
import time
from collections.abc import AsyncIterator, Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest
from asyncua import Client, ua
from asyncua.crypto.security_policies import SecurityPolicyBasic256Sha256
from asyncua.ua.uaerrors import UaStatusCodeError
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import padding
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gearcase.device.publish import certificates, opcua
from gearcase.device.publish.certificates import is_trusted, own_certificate
from gearcase.device.publish.latest import Latest
from gearcase.device.publish.opcua import CLIENTS, OpcUaServer, namespace_uri, node_id
from gearcase.device.publish.plant import Plant
from gearcase.device.publish.registers import assign
from gearcase.device.publish.values import HEARTBEAT, PlantValue, Published
from gearcase.job.build_publish import OpcUaFace, User

SPEED = PlantValue("drive/speed", "real", "rpm", "Hz", 0.0, 20000.0, kind="speed")
SUMP = PlantValue("sump/temperature", "real", "°C", "K", -40.0, 150.0, stale_after=1.5, kind="temperature")
LIGHT = PlantValue("light", "word", meaning="1 green")
VALUES = [PlantValue(HEARTBEAT, "word"), SPEED, SUMP, LIGHT]
URI = "urn:scada:client"


def test_the_own_certificate_is_made_once_and_its_key_is_read_by_its_owner_alone(tmp_path: Path) -> None:
    made = own_certificate(tmp_path / "keys", uri="urn:gearcase:a", names=("edge", "192.0.2.20"))
    certificate, key = made
    assert stat.S_IMODE(key.stat().st_mode) == 0o600 and stat.S_IMODE((tmp_path / "keys").stat().st_mode) == 0o700
    found = x509.load_der_x509_certificate(certificate.read_bytes())
    names = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert names.get_values_for_type(x509.UniformResourceIdentifier) == ["urn:gearcase:a"]
    assert names.get_values_for_type(x509.DNSName) == ["edge"] and [
        str(one) for one in names.get_values_for_type(x509.IPAddress)
    ] == ["192.0.2.20"]
    assert found.not_valid_after_utc > datetime.datetime.now(datetime.UTC) + datetime.timedelta(days=19 * 365)
    found.public_key().verify(  # type: ignore[union-attr, call-arg]
        found.signature,
        found.tbs_certificate_bytes,
        padding.PKCS1v15(),
        found.signature_hash_algorithm,  # type: ignore[arg-type]
    )
    before = [path.read_bytes() for path in made]
    assert [path.read_bytes() for path in own_certificate(tmp_path / "keys", uri="urn:b", names=())] == before


def test_only_the_very_certificate_is_trusted_and_no_longer_than_it_lasts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    one, _ = own_certificate(tmp_path / "one", uri=URI, names=())
    other, _ = own_certificate(tmp_path / "other", uri=URI, names=())
    folder = tmp_path / "trusted"
    assert not is_trusted(one.read_bytes(), folder)
    folder.mkdir()
    (folder / "a damaged one.der").write_bytes(b"\x30\x82")
    (folder / "large.pem").write_bytes(b"-----BEGIN" + b"x" * 100_000)
    (folder / "client.der").write_bytes(one.read_bytes())
    assert is_trusted(one.read_bytes(), folder)
    assert not is_trusted(other.read_bytes(), folder) and not is_trusted(None, folder) and not is_trusted(b"", folder)
    monkeypatch.setattr(certificates, "_YEARS", 0)
    past, _ = own_certificate(tmp_path / "past", uri=URI, names=())
    (folder / "past.der").write_bytes(past.read_bytes())
    assert not is_trusted(past.read_bytes(), folder)


def test_a_node_is_named_as_its_value() -> None:
    assert node_id("sump/temperature") == "ns=2;s=sump/temperature" and namespace_uri("CV/204 +") == "urn:gearcase:CV-204--"


class Served:
    """A plant with an OPC UA face in a folder of its own, and a client that it trusts."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.url = f"opc.tcp://127.0.0.1:{self.port}/"
        secret = folder / "password"
        secret.write_text("right\n")
        secret.chmod(0o600)
        self.client_files = own_certificate(folder / "client", uri=URI, names=(socket.gethostname(),))
        trusted = folder / "keys" / CLIENTS
        trusted.mkdir(parents=True)
        (trusted / "scada.der").write_bytes(self.client_files[0].read_bytes())
        self.latest = Latest(VALUES, time.time)
        face = OpcUaFace("127.0.0.1", self.port, (User("scada", secret),))
        self.face = OpcUaServer(self.latest, assign(VALUES, []), face, keys=folder / "keys", device="CV-204")
        self.plant = Plant(self.latest, [self.face], again=0.2)

    @contextlib.asynccontextmanager
    async def open(self) -> AsyncIterator["Served"]:
        async with self.plant:
            async with asyncio.timeout(120):
                while self.plant.condition():
                    await asyncio.sleep(0.05)
            yield self

    async def client(
        self, user: str = "scada", password: str = "right", mode: Any = ua.MessageSecurityMode.SignAndEncrypt, files: Any = None
    ) -> Client:
        client = Client(self.url, timeout=20)
        client.application_uri = URI
        certificate, key = files or self.client_files
        server = self.folder / "keys" / "opcua-own.der"
        await client.set_security(SecurityPolicyBasic256Sha256, certificate, key, server_certificate=server, mode=mode)
        client.set_user(user)
        client.set_password(password)
        return client


@pytest.fixture
def served(tmp_path: Path) -> Served:
    return Served(tmp_path)


def in_loop(test: Callable[[], Awaitable[None]]) -> None:
    asyncio.run(asyncio.wait_for(test(), 300))


def now(value: float | None, unit: str) -> Published:
    return Published(value, unit, "good" if value is not None else "bad", time.time())


async def until_value(node: Any, true: Callable[[Any], bool]) -> Any:
    async with asyncio.timeout(10):
        while True:
            found = await node.read_data_value(raise_on_bad_status=False)
            if true(found):
                return found
            await asyncio.sleep(0.05)


@pytest.mark.long
def test_a_trusted_client_with_the_password_reads_value_time_quality_unit_and_range(served: Served) -> None:
    async def run() -> None:
        async with served.open(), await served.client() as client:
            node = client.get_node(node_id("sump/temperature"))
            first = await node.read_data_value(raise_on_bad_status=False)
            assert (first.StatusCode.value, first.Value.Value) == (0x80000000, None), "bad before anything was told"
            begun = time.time()
            await served.plant.publish({SUMP.name: now(298.15, "K"), SPEED.name: now(24.75, "Hz"), LIGHT.name: now(16.0, "-")})
            found = await until_value(node, lambda one: one.StatusCode.is_good())
            assert found.Value.Value == 25.0 and found.Value.VariantType == ua.VariantType.Float
            assert abs(found.SourceTimestamp.timestamp() - begun) < 1.0
            light = await client.get_node(node_id("light")).read_data_value()
            assert (light.Value.Value, light.Value.VariantType) == (16, ua.VariantType.UInt16)
            assert (await client.get_node(node_id("light")).read_description()).Text == "1 green"
            unit = await (await node.get_child("0:EngineeringUnits")).read_value()
            assert (unit.UnitId, unit.DisplayName.Text) == (4408652, "°C")
            span = await (await node.get_child("0:EURange")).read_value()
            assert (span.Low, span.High) == (-40.0, 150.0)
            assert await client.get_namespace_index("urn:gearcase:CV-204:values") == 2
            stale = await until_value(node, lambda one: not one.StatusCode.is_good())
            assert (stale.StatusCode.value, stale.Value.Value) == (0x40900000, 25.0), "stale, with the value it had"
            await served.plant.publish({SUMP.name: now(None, "K")})
            await until_value(node, lambda one: one.StatusCode.value == 0x80000000 and one.Value.Value is None)

    in_loop(run)


@pytest.mark.long
def test_a_subscription_is_told_every_change(served: Served) -> None:
    class Heard:
        values: list[float]

        def datachange_notification(self, node: Any, value: float, data: Any) -> None:
            self.values.append(value)

    async def run() -> None:
        heard = Heard()
        heard.values = []
        async with served.open(), await served.client() as client:
            await served.plant.publish({SPEED.name: now(10.0, "Hz")})
            subscription = await client.create_subscription(50, heard)
            await subscription.subscribe_data_change(client.get_node(node_id("drive/speed")))
            for value in (11.0, 12.0, 13.0):
                await asyncio.sleep(0.3)
                await served.plant.publish({SPEED.name: now(value, "Hz")})
            await asyncio.sleep(0.5)
        assert heard.values[-3:] == pytest.approx([660.0, 720.0, 780.0])

    in_loop(run)


async def refused(client: Client) -> int:
    """The status code by which a connection is refused."""
    with pytest.raises((UaStatusCodeError, ConnectionError, asyncio.TimeoutError)) as caught:
        await client.connect()
    with contextlib.suppress(Exception):
        client.disconnect_socket()
    return getattr(caught.value, "code", 0)


@pytest.mark.long
def test_wrong_password_user_certificate_or_security_are_refused_and_the_right_client_still_reads(served: Served) -> None:
    async def run() -> None:
        stranger = own_certificate(served.folder / "stranger", uri=URI, names=(socket.gethostname(),))
        async with served.open():
            denied = ua.StatusCodes.BadUserAccessDenied
            assert await refused(await served.client(password="wrong")) == denied
            assert await refused(await served.client(password="")) == denied
            assert await refused(await served.client(user="somebody")) == denied
            assert await refused(await served.client(files=stranger)) == ua.StatusCodes.BadSecurityChecksFailed
            await refused(await served.client(mode=ua.MessageSecurityMode.Sign))
            plain = Client(served.url, timeout=20)
            plain.set_user("scada")
            plain.set_password("right")
            assert await refused(plain) == ua.StatusCodes.BadSecurityModeInsufficient
            assert await refused(Client(served.url, timeout=20)) == ua.StatusCodes.BadSecurityModeInsufficient, "nobody at all"
            async with await served.client() as client:
                assert await client.get_node(node_id("light")).read_browse_name()
            (served.folder / "password").write_text("another\n")
            assert await refused(await served.client()) == denied, "a changed password counts at once"

    in_loop(run)


@pytest.mark.long
def test_an_unsigned_client_learns_the_endpoints_and_nothing_more(served: Served) -> None:
    async def run() -> None:
        async with served.open():
            endpoints = await Client(served.url, timeout=20).connect_and_get_server_endpoints()
            assert {(one.SecurityPolicyUri.rpartition("#")[2], one.SecurityMode) for one in endpoints} == {
                ("Basic256Sha256", ua.MessageSecurityMode.SignAndEncrypt)
            }
            client = Client(served.url, timeout=20)
            await client.connect_socket()
            await client.send_hello()
            await client.open_secure_channel()
            node = client.get_node(node_id("light"))
            for ask in (node.read_value, lambda: node.write_value(1), client.create_session, client.nodes.objects.get_children):
                with pytest.raises(UaStatusCodeError):
                    await ask()
            client.disconnect_socket()

    in_loop(run)


@pytest.mark.long
def test_a_channel_that_was_refused_cannot_go_on_with_somebody_else_s_session(served: Served) -> None:
    """The library numbers its sessions in order, and takes up one that is named by its number."""

    async def run() -> None:
        stranger = own_certificate(served.folder / "stranger", uri=URI, names=(socket.gethostname(),))
        async with served.open(), await served.client() as right:
            token = right.uaclient.protocol.authentication_token  # type: ignore[union-attr]
            for files, password in ((stranger, "right"), (None, "wrong")):
                other = await served.client(files=files, password=password)
                await other.connect_socket()
                await other.send_hello()
                await other.open_secure_channel()
                other.uaclient.protocol.authentication_token = token  # type: ignore[union-attr]
                asked = ua.ActivateSessionParameters()
                asked.UserIdentityToken = ua.UserNameIdentityToken(UserName="scada", Password=password.encode())
                with pytest.raises(UaStatusCodeError):
                    await other.uaclient.activate_session(asked)
                with pytest.raises(UaStatusCodeError) as caught:
                    await other.get_node(node_id("light")).read_browse_name()
                assert caught.value.code == ua.StatusCodes.BadSessionNotActivated
                other.disconnect_socket()
            assert await right.get_node(node_id("light")).read_browse_name()

    in_loop(run)


@pytest.mark.long
def test_nothing_can_be_written_called_or_added(served: Served) -> None:
    async def run() -> None:
        async with served.open(), await served.client() as client:
            await served.plant.publish({LIGHT.name: now(1.0, "-")})
            node = client.get_node(node_id("light"))
            await until_value(node, lambda one: one.Value.Value == 1)
            for ask in (
                lambda: node.write_value(ua.Variant(16, ua.VariantType.UInt16)),
                lambda: client.nodes.objects.add_folder(2, "mine"),
                lambda: client.delete_nodes([node]),
                lambda: client.nodes.server.call_method("0:GetMonitoredItems", ua.Variant(1, ua.VariantType.UInt32)),
            ):
                with pytest.raises(UaStatusCodeError):
                    await ask()
            with pytest.raises(UaStatusCodeError):
                await client.uaclient.register_server(ua.RegisteredServer())
            assert (await node.read_value()) == 1

    in_loop(run)


def frame(kind: bytes, body: bytes, length: int | None = None) -> bytes:
    return kind + b"F" + struct.pack("<I", 8 + len(body) if length is None else length) + body


HELLO = frame(b"HEL", struct.pack("<5I", 0, 65536, 65536, 0, 0) + struct.pack("<i", 4) + b"opc.")
TINY = frame(b"HEL", struct.pack("<5I", 0, 1, 1, 1, 1) + struct.pack("<i", 4) + b"opc.")
OPEN = frame(
    b"OPN", struct.pack("<I", 0) + struct.pack("<i", 47) + b"http://opcfoundation.org/UA/SecurityPolicy#None" + b"\xff" * 60
)
HOSTILE = {
    "nothing": b"",
    "web": b"GET / HTTP/1.1\r\nHost: a\r\n\r\n",
    "zeros": b"\x00" * 10_000,
    "ones": b"\xff" * 10_000,
    "no length": frame(b"HEL", b"", 0),
    "negative length": frame(b"MSG", b"\x00" * 8, 4),
    "endless": HELLO + frame(b"MSG", b"\x00" * 300_000, 0xFFFFFFFF),
    "tiny buffer": TINY + OPEN,
    "open": HELLO + OPEN,
    "a message before a channel": HELLO + frame(b"MSG", b"\x01" * 500),
    "many": HELLO * 3000,
}


@pytest.mark.long
def test_the_server_answers_after_anything_that_is_sent(served: Served) -> None:
    @settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
    @given(
        st.lists(
            st.one_of(
                st.just(HELLO),
                st.just(OPEN),
                st.binary(max_size=200),
                st.builds(frame, st.sampled_from([b"HEL", b"OPN", b"MSG", b"CLO", b"ERR", b"RHE"]), st.binary(max_size=200)),
            ),
            max_size=6,
        )
    )
    def throw(parts: list[bytes]) -> None:
        with socket.create_connection(("127.0.0.1", served.port), 5) as one, contextlib.suppress(OSError):
            one.sendall(b"".join(parts))

    async def run() -> None:
        async with served.open():
            for sent in HOSTILE.values():
                reader, writer = await asyncio.open_connection("127.0.0.1", served.port)
                with contextlib.suppress(OSError, TimeoutError):
                    writer.write(sent)
                    await asyncio.wait_for(writer.drain(), 5)
                    await asyncio.wait_for(reader.read(100), 0.3)
                writer.transport.abort()
            await asyncio.to_thread(throw)
            async with await served.client() as client:
                assert await client.get_node(node_id("light")).read_browse_name()
            assert served.plant.condition() == ""

    in_loop(run)


@pytest.mark.long
def test_a_message_without_end_is_cut_off_before_it_fills_the_memory(served: Served) -> None:
    async def run() -> None:
        async with served.open():
            _, writer = await asyncio.open_connection("127.0.0.1", served.port)
            before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
            writer.write(HELLO + frame(b"MSG", b"", 0x7FFFFFFF))
            sent = 0
            with contextlib.suppress(ConnectionError):
                while sent < 300_000_000:
                    writer.write(b"\x00" * 100_000)
                    await asyncio.wait_for(writer.drain(), 5)
                    sent += 100_000
            assert sent < 20_000_000, "cut off"
            assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 50_000, "kilobytes"
            writer.transport.abort()

    in_loop(run)


@pytest.mark.long
def test_a_client_that_takes_no_answers_is_cut_off(served: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(opcua, "_MOST_UNTAKEN", 100_000)

    async def run() -> None:
        async with served.open():
            slow = await served.client()
            await slow.connect()
            transport = slow.uaclient.protocol.transport  # type: ignore[union-attr]
            transport.pause_reading()
            wire = transport.get_extra_info("socket")
            wire.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
            params = ua.BrowseParameters()  # answered with half a megabyte
            one = ua.BrowseDescription()
            one.NodeId, one.ResultMask = ua.NodeId(ua.ObjectIds.BaseObjectType), 63
            params.NodesToBrowse = [one] * 50
            asked = [asyncio.create_task(slow.uaclient.browse(params)) for _ in range(20)]
            async with asyncio.timeout(120):
                while wire.getsockopt(socket.IPPROTO_TCP, socket.TCP_INFO, 1)[0] != 7:  # closed by the other side
                    await asyncio.sleep(0.1)
            for task in asked:
                task.cancel()
            await asyncio.gather(*asked, return_exceptions=True)
            transport.abort()
            slow.disconnect_socket()
            async with await served.client() as client:
                assert await client.get_node(node_id("light")).read_browse_name()

    in_loop(run)


@pytest.mark.long
def test_a_client_that_can_take_next_to_nothing_is_cut_off(served: Served) -> None:
    async def run() -> None:
        async with served.open():
            reader, writer = await asyncio.open_connection("127.0.0.1", served.port)
            writer.write(TINY)
            assert (await asyncio.wait_for(reader.read(), 20))[:4] == b"ACKF", "answered, and closed"
            writer.close()

    in_loop(run)


@pytest.mark.long
def test_a_port_that_is_taken_is_said_and_tried_again_and_the_watch_is_not_kept_waiting(served: Served) -> None:
    async def run() -> None:
        taken = socket.create_server(("127.0.0.1", served.port))
        longest, last, begun = 0.0, time.monotonic(), time.monotonic()
        async with served.plant:
            async with asyncio.timeout(120):
                while "in use" not in served.plant.condition():
                    await asyncio.sleep(0.01)
                    longest, last = max(longest, time.monotonic() - last), time.monotonic()
            made_in = time.monotonic() - begun
            taken.close()
            async with asyncio.timeout(120):
                while served.plant.condition():
                    await asyncio.sleep(0.01)
            async with await served.client() as client:
                assert await client.get_node(node_id("light")).read_browse_name()
        assert longest < made_in / 2, "the address space is made beside the watch"

    in_loop(run)
