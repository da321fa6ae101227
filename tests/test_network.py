"""The network sheet: ports as registered, addresses by the internet standards, owners, approval and lead times."""

import re
from collections.abc import Callable
from dataclasses import replace
from ipaddress import ip_network

import pytest

from gearcase.errors import OutOfRange
from gearcase.findings import Level
from gearcase.install.network import Approval, Connection, Host, Network, check_network, longest_lead, port_of
from published import rows

DAY = 86400.0
B, C, N = Level.BLOCKER, Level.CAUTION, Level.NOTE
PORT_ROWS = [row for row in rows("network_io.csv") if row["topic"] == "port" or row["quantity"] == "default TCP port"]


@pytest.mark.parametrize("row", PORT_ROWS, ids=lambda row: row["id"])
def test_ports_are_the_registered_ones(row: dict[str, str]) -> None:
    """IANA service name and port number registry, as the rows have it."""
    name = "OPC UA" if row["quantity"] == "default TCP port" else row["quantity"]
    assert port_of(name).number == int(row["value"])


def test_time_comes_over_port_123() -> None:
    """RFC 5905 (NTP): UDP port 123."""
    assert (port_of("NTP").number, port_of("NTP").transport) == (123, "udp")


GOOD = Network(
    subnet="192.0.2.0/26",  # RFC 5737, for documentation
    gateway="192.0.2.1",
    hosts=(
        Host("edge computer", "192.0.2.10", "reliability"),
        Host("controller", "192.0.2.20", "controls"),
        Host("time server", "192.0.2.2", "network"),
    ),
    connections=(
        Connection("edge computer", "controller", "OPC UA", "controls", Approval.APPROVED, 14 * DAY),
        Connection("edge computer", "time server", "HTTPS", "network", Approval.APPROVED, 0.0),
    ),
)


def found(network: Network, days: float = 30.0) -> list[tuple[Level, str, str]]:
    return [(one.level, one.rule, one.where) for one in check_network(network, until_fitting=days * DAY)]


def moved(address: str) -> Network:
    return replace(GOOD, hosts=(replace(GOOD.hosts[0], address=address), *GOOD.hosts[1:]))


def joined(**parts: object) -> Network:
    return replace(GOOD, connections=(replace(GOOD.connections[0], **parts), GOOD.connections[1]))


def test_a_sheet_that_is_right_and_approved_has_no_findings() -> None:
    assert check_network(GOOD, until_fitting=0.0) == ()
    assert longest_lead(GOOD) is None


LINK = "edge computer to controller, OPC UA"
WRONG: dict[str, tuple[Network, list[tuple[Level, str, str]], str]] = {
    "clash": (moved("192.0.2.20"), [(B, "network.clash", "edge computer, controller")], "share 192.0.2.20"),
    "gateway's": (moved("192.0.2.1"), [(B, "network.clash", "edge computer, gateway")], "share 192.0.2.1: each its own"),
    "outside": (
        moved("192.0.2.70"),
        [(B, "network.address", "edge computer")],
        "192.0.2.70 lies outside 192.0.2.0/26: an address from 192.0.2.1 to 192.0.2.62",
    ),
    "subnet's own": (moved("192.0.2.0"), [(B, "network.address", "edge computer")], "names the subnet itself"),
    "broadcast": (moved("192.0.2.63"), [(B, "network.address", "edge computer")], "is the broadcast address"),
    "no number": (moved("192.0.2.256"), [(B, "network.address", "edge computer")], "is not an address"),
    "none yet": (moved(""), [(C, "network.address", "edge computer")], "no address yet"),
    "subnet": (replace(GOOD, subnet="192.0.2.7/26"), [(B, "network.subnet", "subnet")], "has host bits set.*written like"),
    "gateway": (replace(GOOD, gateway="198.51.100.1"), [(B, "network.gateway", "gateway")], "so nothing leaves the subnet"),
    "no gateway": (replace(GOOD, gateway="none"), [(B, "network.gateway", "gateway")], "none is not an address"),
    "nobody's host": (
        replace(GOOD, hosts=(replace(GOOD.hosts[0], owner=""), *GOOD.hosts[1:])),
        [(C, "network.owner", "edge computer")],
        "name who may change it",
    ),
    "nobody's link": (joined(owner=""), [(B, "network.owner", LINK)], "name who approves it"),
    "twice": (
        replace(GOOD, hosts=(*GOOD.hosts, Host("controller", "192.0.2.21", "controls"))),
        [(B, "network.host", "controller")],
        "2 hosts of this name",
    ),
    "stranger": (
        joined(towards="historian"),
        [(B, "network.host", "edge computer to historian, OPC UA")],
        "historian is not on the sheet",
    ),
    "service": (
        joined(service="telepathy"),
        [(B, "network.service", "edge computer to controller, telepathy")],
        "no registered port: state the port, or one of .*OPC UA",
    ),
    "port": (joined(port=70000), [(B, "network.service", LINK)], "port 70000: one of 1 to 65535"),
    "plain": (
        joined(service="Modbus TCP"),
        [(N, "network.plain", "edge computer to controller, Modbus TCP")],
        "port 502 carries plain text",
    ),
    "not asked": (
        joined(approval=Approval.NOT_ASKED),
        [(C, "network.approval", LINK)],
        "not asked, takes 14 days, 30 are left: ask now",
    ),
    "asked": (joined(approval=Approval.ASKED), [(C, "network.approval", LINK)], "asked, takes 14 days, 30 are left: ask how far"),
    "refused": (joined(approval=Approval.REFUSED), [(B, "network.approval", LINK)], "agree on another way"),
    "too late": (
        joined(approval=Approval.NOT_ASKED, lead_time=42 * DAY),
        [(B, "network.lead_time", LINK)],
        "not asked, takes 42 days, 30 are left: move the fitting",
    ),
}


@pytest.mark.parametrize("fault", WRONG)
def test_a_wrong_sheet_says_where_and_what_cures_it(fault: str) -> None:
    network, expected, says = WRONG[fault]
    assert found(network) == expected
    (finding,) = check_network(network, until_fitting=30 * DAY)
    assert re.search(says, finding.says)


def test_once_the_day_of_the_fitting_is_past_nothing_is_too_late_any_more_and_no_days_are_left() -> None:
    (finding,) = check_network(joined(approval=Approval.ASKED, lead_time=42 * DAY), until_fitting=-3 * DAY)
    assert finding.level is C and finding.says == "asked, takes 42 days, the day of the fitting is past: ask how far it is"


@pytest.mark.parametrize("prefix", range(24, 33))
def test_an_address_is_let_pass_exactly_when_the_subnet_has_a_host_there(prefix: int) -> None:
    """Every last number, compared with the list of hosts of the standard library (RFC 4632, RFC 3021)."""
    subnet = ip_network(f"198.51.100.0/{prefix}")
    hosts = {str(host) for host in subnet.hosts()}
    for address in (f"198.51.100.{last}" for last in range(256)):
        sheet = Network(str(subnet), "", (Host("edge", address, "controls"),), ())
        assert (not check_network(sheet, until_fitting=0.0)) == (address in hosts), address


def test_a_large_subnet_is_not_listed() -> None:
    sheet = Network("2001:db8::/32", "", (Host("edge", "192.0.2.1", "controls"),), ())
    (finding,) = check_network(sheet, until_fitting=0.0)
    assert "2001:db8:: to 2001:db8:ffff:" in finding.says


def test_what_takes_longest_is_asked_for_first() -> None:
    waiting = tuple(
        replace(one, approval=Approval.ASKED, lead_time=days * DAY) for one, days in zip(GOOD.connections, (5, 40), strict=True)
    )
    longest = longest_lead(replace(GOOD, connections=waiting))
    assert longest is not None and longest.service == "HTTPS"


def test_a_port_of_its_own_needs_no_registered_service() -> None:
    own = joined(service="site gateway", port=50123)
    assert found(own) == [] and own.connections[0].number == 50123


@pytest.mark.parametrize(
    ("call", "says"), [(lambda: port_of("telepathy"), "one of: Modbus TCP"), (lambda: port_of(""), "one of: Modbus TCP")]
)
def test_an_unknown_service_is_refused_with_those_known(call: Callable[[], object], says: str) -> None:
    with pytest.raises(OutOfRange, match=says):
        call()
