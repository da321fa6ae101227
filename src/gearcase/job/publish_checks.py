"""What the form of `publish:` cannot see: two servers on one port, a password without a user, a broker far away without TLS."""

import ipaddress
from collections.abc import Iterator

from gearcase.errors import Problem
from gearcase.job.publish_schema import ModbusFaceModel, MqttFaceModel, OpcUaFaceModel
from gearcase.job.read import Source
from gearcase.job.schema import read_as
from gearcase.job.secret_checks import login_check, secret_check

__all__ = ["publish_check", "this_machine"]


def publish_check(source: Source) -> Iterator[Problem]:
    """Every problem between the parts of `publish:`."""
    if source.value(("publish",)) is None:
        return
    modbus = read_as(ModbusFaceModel, source.value(("publish", "modbus")))
    opcua = read_as(OpcUaFaceModel, source.value(("publish", "opcua")))
    if modbus and opcua and modbus.port == opcua.port:
        yield source.problem(
            ("publish", "opcua", "port"), f"a port of its own; {source.where(('publish', 'modbus'))} has it already"
        )
    for path, _ in source.items(("publish", "opcua", "users")):
        yield from secret_check(source, path, "password")
    mqtt = read_as(MqttFaceModel, source.value(("publish", "mqtt")))
    if mqtt is not None:
        yield from _broker(source, mqtt)
    yield from _names_alike(source)


def _broker(source: Source, mqtt: MqttFaceModel) -> Iterator[Problem]:
    here = ("publish", "mqtt")
    if not mqtt.tls and not this_machine(mqtt.host):
        yield source.problem((*here, "tls"), "true: only a broker on this machine, 127.0.0.1, may do without")
    if mqtt.ca_file and not mqtt.tls:
        yield source.problem((*here, "ca_file"), "left out: without TLS nothing is signed")
    yield from login_check(source, here, mqtt)
    title = source.value(("site", "drive_tag")) or source.value(("title",)) or source.value(("drive", "name"))
    if mqtt.device is None and not title:
        yield source.problem((*here, "device"), "needed: a name for the drive, here or as site.drive_tag", given="nothing")


def _names_alike(source: Source) -> Iterator[Problem]:
    """Points whose names the plant could not tell apart: a stroke stands between a point and its quantity."""
    first: dict[str, str] = {}
    for path, point in source.items(("points",)):
        name = str(point.get("name", "")).strip()
        told = name.replace("/", "-")
        if first.get(told, name) != name:
            yield source.problem((*path, "name"), f'a name that differs from "{first[told]}" by more than / and -')
        first.setdefault(told, name)


def this_machine(host: str) -> bool:
    """Whether an address or name is this machine's own."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"
