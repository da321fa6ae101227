"""The network sheet: who has which address, who talks to whom on which port, who owns it and whether it is approved.

Approval takes weeks and is usually the longest way to a fitting day, so each connection carries its state and lead time.
`port_of` reads the registered ports, `check_network` finds what would not work or is not yet allowed.
"""

import ipaddress
import math
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from gearcase.errors import OutOfRange
from gearcase.findings import Finding, Level
from gearcase.tables import load

__all__ = ["Approval", "Connection", "Host", "Network", "Port", "check_network", "longest_lead", "port_of"]

_DAY = 86400.0


class Approval(StrEnum):
    """How far a connection is on its way through the site's network people."""

    NOT_ASKED = "not asked"
    ASKED = "asked"
    APPROVED = "approved"
    REFUSED = "refused"


@dataclass(frozen=True)
class Port:
    """A registered service: port, transport, and whether what it carries is encrypted, in words."""

    service: str
    number: int
    transport: str
    encrypted: str
    source: str


def port_of(service: str) -> Port:
    """Registered port of a service, by its name in the table.

    Raises
    ------
    OutOfRange
        The table does not hold it; the rule names what it holds.

    Examples
    --------
    Row NP01 of ``network_io.csv``:

    >>> port_of("Modbus TCP").number
    502
    """
    rows = load("network_ports")
    for row in rows:
        if row["service"] == service:
            return Port(service, int(row["port"]), row["transport"], row["encrypted"], row["source"])
    raise OutOfRange("service", repr(service), f"one of: {', '.join(row['service'] for row in rows)}")


@dataclass(frozen=True)
class Host:
    """Something with an address of its own; `address` and `owner` are empty while nobody has given them."""

    name: str
    address: str
    owner: str


@dataclass(frozen=True)
class Connection:
    """Who opens a connection to whom, on which service; `port` only where it is not the registered one.

    `lead_time` is how long the owner needs from being asked to it working, None while nobody has said. [s]
    """

    opened_by: str
    towards: str
    service: str
    owner: str
    approval: Approval
    lead_time: float | None
    port: int | None = None

    @property
    def number(self) -> int:
        """The port it truly uses."""
        return port_of(self.service).number if self.port is None else self.port


@dataclass(frozen=True)
class Network:
    """One sheet: subnet as written (``192.0.2.0/24``, empty while nobody has given it), gateway (empty where there is none), hosts
    and connections.
    """

    subnet: str
    gateway: str
    hosts: tuple[Host, ...]
    connections: tuple[Connection, ...]


def longest_lead(network: Network) -> Connection | None:
    """The connection that is not approved yet and takes longest, an unknown time counting as the longest: the one to ask for first;
    None where all are approved.
    """
    waiting = [connection for connection in network.connections if connection.approval is not Approval.APPROVED]
    return max(waiting, key=lambda one: math.inf if one.lead_time is None else one.lead_time, default=None)


def check_network(network: Network, *, until_fitting: float | None) -> tuple[Finding, ...]:
    """Everything on a sheet that would not work or is not yet allowed, with the time left until the fitting, None while nobody has
    said. [s]

    Rules: ``network.subnet``, ``network.address``, ``network.clash``, ``network.gateway``, ``network.owner``, ``network.host``,
    ``network.service``, ``network.approval``, ``network.lead_time``, ``network.plain``.

    Examples
    --------
    >>> sheet = Network("192.0.2.0/24", "", (Host("edge", "198.51.100.7", "controls"),), ())
    >>> check_network(sheet, until_fitting=0.0)[0].says
    '198.51.100.7 lies outside 192.0.2.0/24: an address from 192.0.2.1 to 192.0.2.254'
    """
    if not network.subnet:
        says = "no subnet yet: ask its owner for it, for a fixed address of each host, and for the gateway"
        addresses = [Finding(Level.CAUTION, "network.subnet", "subnet", says)]
        return (*addresses, *_owners(network), *_connections(network, until_fitting))
    try:
        subnet = ipaddress.ip_network(network.subnet)
    except ValueError as error:
        says = f"{network.subnet!r} is not a subnet ({error}): written like 192.0.2.0/24"
        addresses = [Finding(Level.BLOCKER, "network.subnet", "subnet", says)]
    else:
        addresses = [*_addresses(network, subnet), *_gateway(network, subnet)]
    return (*addresses, *_owners(network), *_connections(network, until_fitting))


_Subnet = ipaddress.IPv4Network | ipaddress.IPv6Network
_Address = ipaddress.IPv4Address | ipaddress.IPv6Address


def _addresses(network: Network, subnet: _Subnet) -> Iterator[Finding]:
    held: dict[_Address, list[str]] = defaultdict(list)
    for host in network.hosts:
        if not host.address:
            says = f"no address yet: ask for a fixed one from {_span(subnet)}"
            yield Finding(Level.CAUTION, "network.address", host.name, says)
            continue
        address = _parse(host.address)
        if address is None:
            says = f"{host.address!r} is not an address: one from {_span(subnet)}"
            yield Finding(Level.BLOCKER, "network.address", host.name, says)
            continue
        held[address].append(host.name)
        if reason := _not_in(address, subnet):
            says = f"{host.address} {reason}: an address from {_span(subnet)}"
            yield Finding(Level.BLOCKER, "network.address", host.name, says)
    if gateway := _parse(network.gateway):
        held[gateway].append("gateway")
    for address, names in held.items():
        if len(names) > 1:
            says = f"{', '.join(names)} share {address}: each its own"
            yield Finding(Level.BLOCKER, "network.clash", ", ".join(names), says)
    for name, count in Counter(host.name for host in network.hosts).items():
        if count > 1:
            yield Finding(Level.BLOCKER, "network.host", name, f"{count} hosts of this name: each its own")


def _gateway(network: Network, subnet: _Subnet) -> Iterator[Finding]:
    if not network.gateway:
        return
    gateway = _parse(network.gateway)
    reason = "is not an address" if gateway is None else _not_in(gateway, subnet)
    if reason:
        says = f"{network.gateway} {reason}, so nothing leaves the subnet: an address from {_span(subnet)}"
        yield Finding(Level.BLOCKER, "network.gateway", "gateway", says)


def _owners(network: Network) -> Iterator[Finding]:
    for host in network.hosts:
        if not host.owner:
            yield Finding(Level.CAUTION, "network.owner", host.name, "nobody owns this address: name who may change it")


def _connections(network: Network, until_fitting: float | None) -> Iterator[Finding]:
    names = {host.name for host in network.hosts}
    services = {row["service"] for row in load("network_ports")}
    for connection in network.connections:
        where = f"{connection.opened_by} to {connection.towards}, {connection.service}"
        for end in sorted({connection.opened_by, connection.towards} - names):
            yield Finding(Level.BLOCKER, "network.host", where, f"{end} is not on the sheet: add it with address and owner")
        if not connection.owner:
            yield Finding(Level.BLOCKER, "network.owner", where, "nobody owns this connection: name who approves it")
        yield from _approval(connection, where, until_fitting)
        if connection.service not in services and connection.port is None:
            says = f"no registered port: state the port, or one of {', '.join(sorted(services))}"
            yield Finding(Level.BLOCKER, "network.service", where, says)
        elif connection.port is not None and not 1 <= connection.port <= 65535:
            yield Finding(Level.BLOCKER, "network.service", where, f"port {connection.port}: one of 1 to 65535")
        elif connection.service in services and port_of(connection.service).encrypted == "no":
            says = f"port {connection.number} carries plain text: inside the plant's own network only, or its encrypted form"
            yield Finding(Level.NOTE, "network.plain", where, says)


def _approval(connection: Connection, where: str, until_fitting: float | None) -> Iterator[Finding]:
    if connection.approval is Approval.APPROVED:
        return
    level, rule, cure = Level.CAUTION, "network.approval", "ask how far it is"
    if connection.approval is Approval.REFUSED:
        level, cure = Level.BLOCKER, "agree on another way with its owner"
    elif connection.lead_time is not None and until_fitting is not None and 0 <= until_fitting < connection.lead_time:
        level, rule = Level.BLOCKER, "network.lead_time"
        cure = "move the fitting, or fit without it and keep the readings on the edge computer"
    elif connection.approval is Approval.NOT_ASKED:
        cure = "ask now"
    takes = "takes nobody knows how long" if connection.lead_time is None else f"takes {connection.lead_time / _DAY:.0f} days"
    if until_fitting is None:
        left = "days left unknown"
    else:
        left = f"{until_fitting / _DAY:.0f} are left" if until_fitting >= 0 else "the day of the fitting is past"
    yield Finding(level, rule, where, f"{connection.approval}, {takes}, {left}: {cure}")


def _parse(text: str) -> _Address | None:
    try:
        return ipaddress.ip_address(text)
    except ValueError:
        return None


def _not_in(address: _Address, subnet: _Subnet) -> str:
    """Why a host of this subnet cannot have an address; empty when it can."""
    if address not in subnet:
        return f"lies outside {subnet}"
    if subnet.version == 4 and subnet.prefixlen < 31:  # a /31 has no such addresses, RFC 3021
        if address == subnet.network_address:
            return "names the subnet itself"
        if address == subnet.broadcast_address:
            return "is the broadcast address"
    return ""


def _span(subnet: _Subnet) -> str:
    """First and last address a host may have, never listing them all."""
    first, last = int(subnet.network_address), int(subnet.broadcast_address)
    if subnet.version == 4 and subnet.prefixlen < 31:
        first, last = first + 1, last - 1
    return f"{type(subnet.network_address)(first)} to {type(subnet.network_address)(last)}"
