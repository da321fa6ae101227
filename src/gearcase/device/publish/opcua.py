"""The plant's OPC UA server: a node for each value, signed and encrypted, to be read by users whose client is trusted.

It runs in a thread of its own: making the standard's address space takes seconds, and whatever its clients ask, the watch is not
kept waiting.

The library's server serves whoever reaches it on a channel without security, and lets a channel go on with a session that it was
refused; so what may be asked is decided here before it is (`_guarded`). Without a signed and encrypted channel a client learns
which endpoints there are, and nothing more. A session wants a trusted certificate, and a user with the right password on that same
channel; after that it can read, browse and subscribe. A chunk or message that is too large, a client that leaves answers untaken
or can take next to none, and one connection too many are cut off.
"""

import asyncio
import datetime
import hmac
import logging
import re
import socket
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gearcase.device.publish.certificates import is_trusted, own_certificate
from gearcase.device.publish.latest import Latest, Told
from gearcase.device.publish.registers import Slot
from gearcase.device.publish.secrets import password
from gearcase.job.build_publish import OpcUaFace
from gearcase.job.secret_schema import Secret

if TYPE_CHECKING:
    from asyncua import Server, ua

__all__ = ["CLIENTS", "OpcUaServer", "namespace_uri", "node_id"]

CLIENTS = "opcua-clients"  # folder of the trusted clients' certificates, beside the server's own
MOST_CONNECTIONS = 16
_NAMESPACE = 2  # 0 is the standard's and 1 the server's own
_CHUNK, _MESSAGE = 65536, 1 << 20  # bytes
_SMALLEST_BUFFER = 8192  # bytes a client must be able to take (OPC 10000-6, 7.1.2.3)
_MOST_UNTAKEN = 4 << 20  # bytes of answers that wait for one client
_UNITS = {  # unit -> common code of UNECE Recommendation 20, from memory, and its name
    "mm/s": ("C16", "millimetre per second"),
    "m/s2": ("MSK", "metre per second squared"),
    "°C": ("CEL", "degree Celsius"),
    "rpm": ("M46", "revolution per minute"),
    "%": ("P1", "percent"),
}
logging.getLogger("asyncua").setLevel(logging.CRITICAL)  # what clients do wrong is no error here


def node_id(name: str) -> str:
    """A value's node.

    >>> node_id("drive/speed")
    'ns=2;s=drive/speed'
    """
    return f"ns={_NAMESPACE};s={name}"


def namespace_uri(device: str) -> str:
    """The namespace of a drive's nodes, by its tag.

    >>> namespace_uri("CV 204")
    'urn:gearcase:CV-204'
    """
    return f"urn:gearcase:{re.sub(r'[^A-Za-z0-9._-]', '-', device)}"


class OpcUaServer:
    """Serves `latest` until cancelled.

    Parameters
    ----------
    latest : Latest
    slots : sequence of Slot
        As `registers.assign` gives them.
    settings : OpcUaFace
    keys : Path
        Folder of the own certificate, made at the first start, and of `CLIENTS`.
    device : str
        The drive's tag.
    """

    name = "OPC UA"

    def __init__(self, latest: Latest, slots: Sequence[Slot], settings: OpcUaFace, *, keys: Path, device: str) -> None:
        self._latest, self._settings, self._keys, self._device = latest, settings, keys, device
        self._slots = [one for one in slots if one.value is not None]
        self._loop: asyncio.AbstractEventLoop | None = None
        self._main: asyncio.Task[None] | None = None
        self._news: asyncio.Event | None = None

    def wake(self) -> None:
        """There may be something to tell."""
        if self._loop and self._news:
            self._loop.call_soon_threadsafe(self._news.set)

    async def run(self, say: Callable[[str], None]) -> None:
        """Serve until cancelled.

        Raises
        ------
        Exception
            Whatever keeps it from serving.
        """
        outer = asyncio.get_running_loop()
        serving = asyncio.ensure_future(asyncio.to_thread(asyncio.run, self._serve(lambda: outer.call_soon_threadsafe(say, ""))))
        try:
            await asyncio.shield(serving)
        finally:
            with suppress(RuntimeError):  # its loop has ended already
                if self._loop and self._main:
                    self._loop.call_soon_threadsafe(self._main.cancel)
            with suppress(Exception, asyncio.CancelledError):
                await serving
            self._loop = self._main = self._news = None

    async def _serve(self, works: Callable[[], object]) -> None:
        self._loop, self._main, self._news = asyncio.get_running_loop(), asyncio.current_task(), asyncio.Event()
        server = await self._make()
        try:
            await server.start()
            works()
            sent: dict[str, Told] = {}
            while True:
                for slot in self._slots:
                    told = self._latest.of(slot.name)
                    if sent.get(slot.name) != told:
                        await server.write_attribute_value(_id(slot.name), _data_value(slot, told))
                        sent[slot.name] = told
                await self._news.wait()
                self._news.clear()
        finally:
            await server.stop()

    async def _make(self) -> "Server":
        """The server with its nodes, not listening yet."""
        from asyncua import ua

        host, uri = socket.gethostname(), namespace_uri(self._device)
        address = self._settings.address
        names = dict.fromkeys((host, *(() if address == "0.0.0.0" else (address,))))
        certificate, key = own_certificate(self._keys, uri=uri, names=tuple(names))
        server: Server = _guarded(_Users(self._settings, self._keys / CLIENTS))
        await server.init()
        server.set_endpoint(f"opc.tcp://{address}:{self._settings.port}/")
        await server.set_application_uri(uri)
        server.set_server_name("gearcase")
        server.product_uri, server.manufacturer_name = "urn:gearcase", "gearcase"
        server.set_security_policy([ua.SecurityPolicyType.Basic256Sha256_SignAndEncrypt])
        server.set_identity_tokens([ua.UserNameIdentityToken])
        await server.load_certificate(certificate)
        await server.load_private_key(key)
        if await server.register_namespace(f"{uri}:values") != _NAMESPACE:
            raise RuntimeError("the namespace of the values has another number")
        folders: dict[str, Any] = {"": server.nodes.objects}
        for slot in self._slots:
            place, _, short = slot.name.rpartition("/")
            if place not in folders:
                folders[place] = await server.nodes.objects.add_folder(_id(place), ua.QualifiedName(place, _NAMESPACE))
            await _add(folders[place], slot, short)
        return server


class _Users:
    """Who may read: by name and password, from a client that is trusted."""

    def __init__(self, settings: OpcUaFace, clients: Path) -> None:
        self._settings, self._clients = settings, clients

    def trusts(self, certificate: bytes | None) -> bool:
        return is_trusted(certificate, self._clients)

    def get_user(self, iserver: Any, username: str | None = None, password: str | None = None, certificate: Any = None) -> Any:
        """As the library asks it; None refuses."""
        from asyncua.crypto.permission_rules import User, UserRole

        for user in self._settings.users:
            if user.name == username and hmac.compare_digest(_secret(user.password), (password or "").encode()):
                return User(UserRole.User, username)
        return None


def _secret(held: Secret) -> bytes:
    return password(held).encode()


def _id(name: str) -> "ua.NodeId":
    from asyncua import ua

    return ua.NodeId(name, _NAMESPACE)


async def _add(folder: Any, slot: Slot, short: str) -> None:
    """A value's node, with unit, range and meaning where it has them."""
    from asyncua import ua

    value = slot.value
    kind = ua.VariantType.Float if slot.form == "real" else ua.VariantType.UInt16
    data_type = ua.NodeId(ua.ObjectIds.Float if slot.form == "real" else ua.ObjectIds.UInt16)
    node = await folder.add_variable(_id(slot.name), ua.QualifiedName(short, _NAMESPACE), 0, kind, data_type)
    await node.write_value(_data_value(slot, Told(None, "bad", 0.0)))
    if value is not None and value.meaning:
        await node.write_attribute(ua.AttributeIds.Description, ua.DataValue(ua.LocalizedText(value.meaning)))
    if slot.unit in _UNITS:
        code, name = _UNITS[slot.unit]
        number = int.from_bytes(code.encode(), "big")
        unit = ua.EUInformation(
            "http://www.opcfoundation.org/UA/units/un/cefact", number, ua.LocalizedText(slot.unit), ua.LocalizedText(name)
        )
        await node.add_property(_id(f"{slot.name}/EngineeringUnits"), ua.QualifiedName("EngineeringUnits"), unit)
    if value is not None and value.low is not None and value.high is not None:
        await node.add_property(_id(f"{slot.name}/EURange"), ua.QualifiedName("EURange"), ua.Range(value.low, value.high))


def _data_value(slot: Slot, told: Told) -> "ua.DataValue":
    from asyncua import ua

    codes = {"good": ua.StatusCodes.Good, "bad": ua.StatusCodes.Bad, "stale": ua.StatusCodes.UncertainLastUsableValue}
    if told.value is None:
        variant = ua.Variant()
    elif slot.form == "real":
        variant = ua.Variant(told.value, ua.VariantType.Float)
    else:
        variant = ua.Variant(int(told.value), ua.VariantType.UInt16)
    now = datetime.datetime.now(datetime.UTC)
    source = datetime.datetime.fromtimestamp(told.time_s, datetime.UTC) if told.time_s else now
    return ua.DataValue(variant, ua.StatusCode(codes[told.quality]), source, now)


def _guarded(users: _Users) -> Any:
    """The library's server, that asks here before it does what a client asks."""
    from asyncua import Server, ua
    from asyncua.common.connection import TransportLimits
    from asyncua.common.utils import ServiceError
    from asyncua.server.binary_server_asyncio import BinaryServer, OPCUAProtocol
    from asyncua.server.uaprocessor import UaProcessor

    def requests(*names: str) -> frozenset[Any]:
        return frozenset(ua.NodeId(getattr(ua.ObjectIds, f"{name}Request_Encoding_DefaultBinary")) for name in names)

    for_all = requests("GetEndpoints", "FindServers", "CloseSecureChannel")
    create, activate = requests("CreateSession"), requests("ActivateSession")
    reading = requests("CloseSession", "Read", "Browse", "BrowseNext", "TranslateBrowsePathsToNodeIds")
    reading |= requests("RegisterNodes", "UnregisterNodes", "CreateSubscription", "ModifySubscription", "DeleteSubscriptions")
    reading |= requests("CreateMonitoredItems", "ModifyMonitoredItems", "DeleteMonitoredItems", "SetMonitoringMode")
    reading |= requests("SetPublishingMode", "Publish", "Republish")

    class Processor(UaProcessor):
        _let_in = False  # on this channel, by a user with the right password

        async def process(self, header: Any, body: Any) -> bool:
            goes_on = await super().process(header, body)
            return bool(goes_on) and self._limits.max_send_buffer >= _SMALLEST_BUFFER

        async def _process_message(self, typeid: Any, requesthdr: Any, seqhdr: Any, body: Any) -> Any:
            if typeid not in for_all:
                self._check(typeid)
            found = await super()._process_message(typeid, requesthdr, seqhdr, body)
            self._let_in = self._let_in or typeid in activate
            return found

        def _check(self, typeid: Any) -> None:
            policy = self._connection.security_policy
            if policy.Mode != ua.MessageSecurityMode.SignAndEncrypt:
                raise ServiceError(ua.StatusCodes.BadSecurityModeInsufficient)
            if typeid in create or typeid in activate:
                self._let_in = False
                if not users.trusts(policy.peer_certificate):
                    raise ServiceError(ua.StatusCodes.BadSecurityChecksFailed)
            elif not self._let_in:
                raise ServiceError(ua.StatusCodes.BadSessionNotActivated)
            elif typeid not in reading:
                raise ServiceError(ua.StatusCodes.BadUserAccessDenied)

    class Protocol(OPCUAProtocol):
        processor: Any

        def connection_made(self, transport: Any) -> None:
            super().connection_made(transport)
            transport.set_write_buffer_limits(high=_MOST_UNTAKEN)
            if self.processor is not None:
                self.processor = Processor(self.iserver, transport, self.limits)
                self.processor.set_policies(self.policies)

        def data_received(self, data: bytes) -> None:
            if self.transport is None or self.transport.is_closing():
                return
            super().data_received(data)
            if len(self._buffer) > _CHUNK:  # whole chunks are taken out of it: one that is larger never will be
                self.transport.abort()

        def pause_writing(self) -> None:
            if self.transport is not None:
                self.transport.abort()

        async def _process_one_msg(self, header: Any, buf: Any) -> bool:
            try:
                return bool(await super()._process_one_msg(header, buf))
            except Exception:  # what cannot be understood ends its connection
                if self.transport is not None:
                    self.transport.close()
                return False

    class Listening(BinaryServer):
        def _make_protocol(self) -> OPCUAProtocol:
            return Protocol(self.iserver, self._policies, self.clients, self.closing_tasks, self.limits)

    class Guarded(Server):
        async def start(self) -> None:
            await self._setup_server_nodes()
            await self.iserver.start()
            self.bserver = Listening(self.iserver, *self._get_bind_socket_info(), self.limits)
            self.bserver.set_policies(self._policies)
            await self.bserver.start()

    server = Guarded(user_manager=users)
    server.limits = TransportLimits(_CHUNK, _CHUNK, _MESSAGE // _CHUNK, _MESSAGE)
    server.iserver.max_connections = MOST_CONNECTIONS
    server.iserver.max_subscriptions = 4 * MOST_CONNECTIONS
    server.iserver.allow_remote_admin = False
    return server
