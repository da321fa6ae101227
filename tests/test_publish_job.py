"""What job.yaml may say of the plant, and what is answered when it says something else."""

from pathlib import Path

import pytest

from gearcase.errors import BadInput, Problem
from gearcase.job.build import Job, build
from gearcase.job.build_publish import ModbusFace, Publish, User
from gearcase.job.read import parse_text
from gearcase.job.secret_schema import Variable
from test_job_read import DRIVE

PUBLISH = """\
publish:
  modbus:
    address: 192.0.2.20
    port: 1502
    acknowledge_from: [192.0.2.10]
  opcua:
    users:
      - name: scada
        password_file: keys/scada.password
  mqtt:
    host: broker.example
    group: crushing plant
    node: edge
    device: CV-204
    user: edge
    password_file: keys/mqtt.password
"""


def job(text: str) -> Job:
    return build(parse_text(DRIVE + text), folder="job")


def problem(old: str, new: str) -> Problem:
    assert PUBLISH.count(old) == 1, old
    with pytest.raises(BadInput) as caught:
        job(PUBLISH.replace(old, new))
    (found,) = caught.value.problems
    return found


def test_a_job_that_says_nothing_tells_the_plant_nothing() -> None:
    assert job("").publish == Publish(device=job("").title)


def test_every_face_is_built_with_files_from_the_job_s_folder() -> None:
    found = job(PUBLISH).publish
    assert found.modbus == ModbusFace("192.0.2.20", 1502, ("192.0.2.10",))
    assert found.opcua and found.opcua.users == (User("scada", Path("job/keys/scada.password")),)
    assert (found.opcua.address, found.opcua.port) == ("127.0.0.1", 4840)
    assert found.mqtt and (found.mqtt.port, found.mqtt.tls, found.mqtt.ca_file, found.mqtt.primary_host) == (8883, True, None, "")
    assert found.mqtt.user == User("edge", Path("job/keys/mqtt.password"))


def test_a_server_listens_on_this_machine_alone_until_told_otherwise() -> None:
    found = job("publish: {modbus: {}}\n").publish
    assert found.modbus == ModbusFace("127.0.0.1", 502, ())


def test_a_drive_without_a_name_for_the_broker_has_its_tag() -> None:
    text = PUBLISH.replace("    device: CV-204\n", "")
    found = build(parse_text(DRIVE.replace("job: 1", "job: 1\nsite: {drive_tag: CV/204+}") + text), folder="job").publish
    assert found.mqtt and found.mqtt.device == "CV-204-"


@pytest.mark.parametrize(
    ("old", "new", "key", "says"),
    [
        ("address: 192.0.2.20", "address: edge", "modbus.address", "an address, e.g. 192.0.2.10"),
        ("port: 1502", "port: 70000", "modbus.port", "1 to 65535"),
        ("port: 1502", "port: 4840", "opcua.port", "a port of its own; job.yaml:"),
        ("[192.0.2.10]", "[192.0.2.300]", "modbus.acknowledge_from[0]", "an address"),
        ("[192.0.2.10]", "true", "modbus.acknowledge_from", "a list of addresses that may acknowledge"),
        ("  opcua:\n", "  opcua:\n    pasword: a\n", "opcua.pasword", "the keys here are: address, port, users"),
        ("name: scada", 'name: ""', "opcua.users[0].name", "a name, not empty"),
        ("        password_file: keys/scada.password\n", "", "opcua.users[0].password_file", "needed: file that holds"),
        ("        password_file: keys/scada.password\n", "        password: x\n", "", ""),
        ("    host: broker.example\n", "", "mqtt.host", "needed: name or address"),
        ("group: crushing plant", "group: a/b", "mqtt.group", "without / + and #"),
        ("node: edge", "node: +", "mqtt.node", "without / + and #"),
        ("    device: CV-204\n", "    device: '#'\n", "mqtt.device", "without / + and #"),
        ("    user: edge\n", "", "mqtt.password_file", "missing: user"),
        ("    password_file: keys/mqtt.password\n", "", "mqtt.password_file", "needed: file that holds the password"),
        (
            "keys/mqtt.password",
            "keys/mqtt.password\n    password_variable: MQTT",
            "mqtt.password_variable",
            "left out: password_file",
        ),
        ("password_file: keys/mqtt.password", "password_variable: mqtt", "mqtt.password_variable", "A to Z, digits and _"),
        ("host: broker.example", "host: broker.example\n    tls: false", "mqtt.tls", "only a broker on this machine"),
        ("host: broker.example", "host: 127.0.0.1\n    tls: false\n    ca_file: ca.pem", "mqtt.ca_file", "without TLS"),
        ("host: broker.example", "host: broker.example\n    tls: maybe", "mqtt.tls", "true; false only"),
    ],
)
def test_what_is_wrong_is_said_at_its_line(old: str, new: str, key: str, says: str) -> None:
    if not key:  # a password in the job: the key it should be is missing too
        with pytest.raises(BadInput) as caught:
            job(PUBLISH.replace(old, new))
        assert {one.key for one in caught.value.problems} == {
            "publish.opcua.users[0].password",
            "publish.opcua.users[0].password_file",
        }
        assert "'x'" not in str(caught.value) and '"x"' not in str(caught.value), "what may be a password is not repeated"
        return
    found = problem(old, new)
    assert found.key == f"publish.{key}" and says in found.accepted
    assert int(found.where.removeprefix("job.yaml:")) > DRIVE.count("\n")


def test_a_password_may_be_in_a_variable_of_the_environment() -> None:
    found = job(
        PUBLISH.replace("_file: keys/scada.password", "_variable: EDGE_SCADA").replace(
            "_file: keys/mqtt.password", "_variable: EDGE_MQTT"
        )
    ).publish
    assert found.opcua and found.mqtt and found.opcua.users == (User("scada", Variable("EDGE_SCADA")),)
    assert found.mqtt.user == User("edge", Variable("EDGE_MQTT"))


def test_two_users_of_one_name_are_refused() -> None:
    found = problem("    users:\n", "    users:\n      - {name: scada, password_file: b}\n")
    assert "a name of its own" in found.accepted


def test_points_that_the_plant_could_not_tell_apart_are_refused() -> None:
    for names in (("in/out", "in-out"), ("in-out", "in/out")):
        points = "".join(f"  - name: {name}\n" for name in names)
        with pytest.raises(BadInput, match=f'differs from "{names[0]}"'):
            build(parse_text(DRIVE + points + PUBLISH), folder="job")
        build(parse_text(DRIVE + points), folder="job")
    build(parse_text(DRIVE + "  - name: in/out\n  - name: top-left\n" + PUBLISH), folder="job")


def test_a_broker_on_this_machine_may_do_without_tls() -> None:
    found = job("publish: {mqtt: {host: localhost, tls: false, group: a, node: b, device: c}}\n").publish
    assert found.mqtt and not found.mqtt.tls and found.mqtt.user is None
