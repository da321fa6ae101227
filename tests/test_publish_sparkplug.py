"""Sparkplug B messages, taken apart by hand: field numbers of the payload schema that the Sparkplug Specification 3.0.0 publishes
(sparkplug_b.proto), and the encoding of Protocol Buffers (varints, little-endian floats, lengths). Another library's decoder and a
real broker are in ``test_publish_broker.py``.
"""

import struct
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gearcase.device.publish.latest import Told
from gearcase.device.publish.registers import assign
from gearcase.device.publish.sparkplug import EdgeNode, asks_for_rebirth, host_online, state_topic, topic
from gearcase.device.publish.values import PlantValue

VALUES = [
    PlantValue("drive/speed", "real", "rpm", "Hz", 0.0, 20000.0, kind="speed"),
    PlantValue("light", "word", meaning="1 green"),
]
TOLD = {"drive/speed": Told(1485.0, "good", 1_700_000_000.25), "light": Told(None, "bad", 0.0)}
NOW = 1_700_000_001.0


def taken_apart(data: bytes) -> dict[int, list[Any]]:
    """Field number -> what stands there: a whole number, four or eight bytes, or bytes of a length."""
    found: dict[int, list[Any]] = {}
    at = 0

    def varint() -> int:
        nonlocal at
        value = shift = 0
        while True:
            byte = data[at]
            at += 1
            value |= (byte & 0x7F) << shift
            shift += 7
            if not byte & 0x80:
                return value

    while at < len(data):
        key = varint()
        kind, value = key & 7, None
        if kind == 0:
            value = varint()
        else:
            size = varint() if kind == 2 else {1: 8, 5: 4}[kind]
            value, at = data[at : at + size], at + size
        found.setdefault(key >> 3, []).append(value)
    return found


@pytest.fixture
def node() -> EdgeNode:
    return EdgeNode(assign(VALUES, []), birth_number=7)


def properties(metric: dict[int, list[Any]]) -> dict[str, dict[int, list[Any]]]:
    (held,) = metric[9]
    parts = taken_apart(held)
    return {key.decode(): taken_apart(value) for key, value in zip(parts[1], parts[2], strict=True)}


def test_the_node_is_born_with_the_number_of_its_death_and_what_may_be_asked(node: EdgeNode) -> None:
    birth = taken_apart(node.births(TOLD, NOW)[0])
    assert birth[1] == [1_700_000_001_000] and birth[3] == [0]
    number, rebirth = (taken_apart(one) for one in birth[2])
    assert (number[1], number[4], number[11]) == ([b"bdSeq"], [4], [7])
    assert (rebirth[1], rebirth[4], rebirth[14]) == ([b"Node Control/Rebirth"], [11], [0]) and 2 not in rebirth
    death = taken_apart(node.death(NOW))
    assert 3 not in death and taken_apart(death[2][0])[11] == [7]


def test_the_device_is_born_with_every_value_its_alias_type_unit_and_range(node: EdgeNode) -> None:
    birth = taken_apart(node.births(TOLD, NOW)[1])
    assert birth[3] == [1]
    speed, light = (taken_apart(one) for one in birth[2])
    assert (speed[1], speed[2], speed[3], speed[4]) == ([b"drive/speed"], [100], [1_700_000_000_250], [9])
    assert speed[12] == [struct.pack("<f", 1485.0)] and 7 not in speed
    said = properties(speed)
    assert said["Quality"] == {1: [3], 3: [192]} and said["engUnit"] == {1: [12], 8: [b"rpm"]}
    assert said["engHigh"] == {1: [10], 6: [struct.pack("<d", 20000.0)]}
    assert (light[1], light[4], light[7]) == ([b"light"], [6], [1]) and 10 not in light, "null, never a zero"
    assert properties(light)["Quality"][3] == [0] and light[3] == [1_700_000_001_000]


def test_after_birth_a_value_goes_by_its_alias_alone(node: EdgeNode) -> None:
    node.births(TOLD, NOW)
    data = taken_apart(node.data({"light": Told(16.0, "stale", NOW)}, NOW))
    (light,) = (taken_apart(one) for one in data[2])
    assert data[3] == [2] and light[2] == [106] and light[10] == [16] and 1 not in light and 4 not in light
    assert properties(light) == {"Quality": {1: [3], 3: [500]}}


def test_messages_are_numbered_from_the_birth_on_and_begin_again_after_255(node: EdgeNode) -> None:
    node.births(TOLD, NOW)
    numbers = [taken_apart(node.data(TOLD, NOW))[3][0] for _ in range(300)]
    assert numbers == [(n + 2) % 256 for n in range(300)]
    node.births(TOLD, NOW)
    assert taken_apart(node.data(TOLD, NOW))[3] == [2], "a birth begins anew"


REBIRTH_ASKED = b"\x12\x18\x0a\x14Node Control/Rebirth\x70\x01"


def test_only_the_request_to_be_born_again_is_taken() -> None:
    assert asks_for_rebirth(REBIRTH_ASKED)
    assert not asks_for_rebirth(REBIRTH_ASKED[:-1] + b"\x00"), "false asks for nothing"
    assert not asks_for_rebirth(REBIRTH_ASKED.replace(b"Rebirth", b"Reboots"))


@settings(max_examples=300, deadline=None)
@given(
    st.one_of(st.binary(max_size=300), st.builds(lambda n, b: REBIRTH_ASKED[:n] + b, st.integers(0, 26), st.binary(max_size=40)))
)
def test_whatever_a_host_sends_is_read_or_passed_over(payload: bytes) -> None:
    assert asks_for_rebirth(payload) in (True, False)
    assert host_online(payload) in (True, False, None)


def test_a_host_says_that_it_is_online_in_json() -> None:
    assert host_online(b'{"online": true, "timestamp": 1668114759262}') is True
    assert host_online(b'{"online": false, "timestamp": 1668114759262}') is False
    for other in (b"ONLINE", b"[true]", b'{"online": "true"}', b"{}", b"[" * 100_000, b"\xff"):
        assert host_online(other) is None


def test_topics_are_those_of_the_specification() -> None:
    assert topic("NDEATH", "G", "E") == "spBv1.0/G/NDEATH/E" and topic("DBIRTH", "G", "E", "D") == "spBv1.0/G/DBIRTH/E/D"
    assert state_topic("H") == "spBv1.0/STATE/H"
