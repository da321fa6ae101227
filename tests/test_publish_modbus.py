"""The plant's Modbus TCP server, against frames written by hand and another library's client.

Frames after the MODBUS Application Protocol V1.1b3 and MODBUS Messaging on TCP/IP V1.0b: header of transaction, protocol 0, length
and unit; exceptions 01 illegal function, 02 illegal data address, 03 illegal data value, 04 failure, 06 busy. 25.0 as 41C8 0000 is
row MW5 of ``modbus_checks.csv``. The other library is pymodbus, of which the server has nothing.
"""

import asyncio
import contextlib
import math
import struct
from collections.abc import AsyncIterator, Awaitable, Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pymodbus.client import AsyncModbusTcpClient

from gearcase.device.publish import modbus
from gearcase.device.publish.latest import Latest
from gearcase.device.publish.modbus import ModbusServer
from gearcase.device.publish.plant import Plant
from gearcase.device.publish.registers import Slot, assign
from gearcase.device.publish.values import HEARTBEAT, PlantValue, Published

SPEED = PlantValue("drive/speed", "real", "rpm", "Hz", stale_after=60.0, kind="speed")
SUMP = PlantValue("sump/temperature", "real", "°C", "K", kind="temperature")
LIGHT = PlantValue("light", "word")
VALUES = [PlantValue(HEARTBEAT, "word"), SPEED, SUMP, LIGHT]
NOW = 1_700_000_000.0


class Clock:
    def __init__(self) -> None:
        self.now = NOW

    def __call__(self) -> float:
        return self.now


def server(latest: Latest, slots: tuple[Slot, ...], port: int = 0, allowed: tuple[str, ...] = (), **kept: Any) -> ModbusServer:
    told: list[str] = kept.get("told", [])
    return ModbusServer(
        latest, slots, address="127.0.0.1", port=port, acknowledge_from=allowed, acknowledge=kept.get("acknowledge", told.append)
    )


@pytest.fixture
def latest() -> Latest:
    found = Latest(VALUES, Clock())
    found.take({SPEED.name: Published(25.0 / 60, "Hz", "good", NOW), SUMP.name: Published(None, "K", "bad", NOW - 5)})
    return found


def read(one: ModbusServer, start: int, count: int, function: int = 4) -> tuple[int, ...]:
    answer = one.answer(struct.pack(">BHH", function, start, count), "192.0.2.1")
    assert answer[:2] == bytes([function, 2 * count])
    return struct.unpack(f">{count}H", answer[2:])


def test_addresses_never_move_when_values_come_and_go() -> None:
    first = assign([SPEED, SUMP], [])
    kept = [{"address": one.address, "name": one.name, "form": one.form, "unit": one.unit} for one in first]
    second = assign([LIGHT, SUMP], kept)
    assert [(one.address, one.name, one.value is not None) for one in second] == [
        (100, SPEED.name, False),
        (106, SUMP.name, True),
        (112, LIGHT.name, True),
    ]
    again = assign([SPEED, LIGHT, SUMP], [vars(one) for one in second])
    assert [(one.address, one.name) for one in again if one.value] == [(100, SPEED.name), (106, SUMP.name), (112, LIGHT.name)]
    other_unit = PlantValue(SPEED.name, "real", "Hz", "Hz", kind="frequency")
    moved = assign([other_unit], [vars(one) for one in again])
    assert {one.name: one.address for one in moved if one.value} == {SPEED.name: 118}, "another unit is another value"


@settings(max_examples=60, deadline=None)
@given(st.lists(st.sets(st.sampled_from("abcdefgh")), min_size=2, max_size=6))
def test_an_address_once_given_is_that_value_s_for_ever(rounds: list[set[str]]) -> None:
    kept: tuple[Slot, ...] = ()
    owner: dict[int, str] = {}
    for names in rounds:
        kept = assign([PlantValue(name, "word") for name in sorted(names, reverse=True)], [vars(one) for one in kept])
        for slot in kept:
            assert owner.setdefault(slot.address, slot.name) == slot.name
        assert {slot.name for slot in kept if slot.value} == names


def test_the_head_has_the_constants_and_the_clock(latest: Latest) -> None:
    words = read(server(latest, assign(VALUES, [])), 0, 8)
    assert words[:5] == (0x1234, 0x075B, 0xCD15, 0x42F6, 0xE979)  # 123456789 is 0x075BCD15; 123.456 is 0x42F6E979 (IEEE 754)
    assert (words[6] << 16) + words[7] == NOW


def test_a_value_has_its_time_and_its_quality_beside_it(latest: Latest) -> None:
    one = server(latest, assign(VALUES, []))
    assert read(one, 106, 6) == (0x41C8, 0x0000, int(NOW) >> 16, int(NOW) & 0xFFFF, 192, 0)
    assert read(one, 106, 2, function=3) == (0x41C8, 0x0000)
    assert read(one, 107, 1) == (0x0000,), "part of a value"


def test_what_is_bad_or_stale_is_no_number_and_says_so(latest: Latest) -> None:
    one = server(latest, assign(VALUES, []))
    words = read(one, 112, 12)
    assert math.isnan(struct.unpack(">f", struct.pack(">HH", *words[:2]))[0]) and words[4] == 0
    assert words[6:12] == (0xFFFF, 0, 0, 0, 0, 0), "a word nobody has told yet"
    assert isinstance(latest.clock, Clock)
    latest.clock.now += 60.0
    words = read(one, 106, 6)
    assert math.isnan(struct.unpack(">f", struct.pack(">HH", *words[:2]))[0]) and words[4] == 500
    latest.clock.now = NOW - 3600.0
    assert read(one, 110, 1) == (500,), "a time that is to come is not trusted"


def test_a_reserved_slot_reads_as_bad() -> None:
    kept = [{"address": 100, "name": "gone", "form": "real", "unit": "mm/s"}]
    words = read(server(Latest([LIGHT], Clock()), assign([LIGHT], kept)), 100, 6)
    assert math.isnan(struct.unpack(">f", struct.pack(">HH", *words[:2]))[0]) and words[2:] == (0, 0, 0, 0)


REFUSED = [
    ("01 0000 0001", "81 01"),  # coils
    ("02 0000 0001", "82 01"),
    ("05 000A FF00", "85 01"),
    ("06 000A 0001", "86 01"),  # writing, from whom it is not enabled
    ("10 000A 0001 02 0001", "90 01"),
    ("16 0004 00F2 0025", "96 01"),
    ("17 0003 0006 000E 0003 06 00FF 00FF 00FF", "97 01"),
    ("2B 0E 01 00", "AB 01"),
    ("80", "80 01"),
    ("04 0000 0000", "84 03"),  # quantity 0, and 126
    ("04 0000 007E", "84 03"),
    ("04 0000", "84 03"),
    ("03 0000 0001 00", "83 03"),
    ("04 007C 0001", "84 02"),  # one beyond the last
    ("04 FFFF 0002", "84 02"),
]


@pytest.mark.parametrize(("request_", "wanted"), REFUSED)
def test_what_is_wrong_is_refused_with_the_exception_for_it(latest: Latest, request_: str, wanted: str) -> None:
    one = server(latest, assign(VALUES, []), allowed=("192.0.2.9",))
    assert one.answer(bytes.fromhex(request_), "192.0.2.1") == bytes.fromhex(wanted)


WRITES = [
    ("06 000A 0001", "06 000A 0001"),
    ("10 000A 0001 02 0001", "10 000A 0001"),
    ("06 000A 0002", "86 03"),
    ("06 000B 0001", "86 02"),
    ("06 006A 0001", "86 02"),
    ("10 000A 0002 04 0001 0001", "90 02"),
    ("10 000A 0001 03 0001", "90 03"),
    ("10 000A 0000 00", "90 03"),
    ("10 000A", "90 03"),
]


@pytest.mark.parametrize(("request_", "wanted"), WRITES)
def test_only_a_1_in_the_acknowledge_register_is_taken(latest: Latest, request_: str, wanted: str) -> None:
    told: list[str] = []
    one = server(latest, assign(VALUES, []), allowed=("192.0.2.9",), told=told)
    assert one.answer(bytes.fromhex(request_), "192.0.2.9") == bytes.fromhex(wanted)
    accepted = not bytes.fromhex(wanted)[0] & 0x80
    assert told == (["the plant, over Modbus TCP from 192.0.2.9"] if accepted else [])
    if accepted:
        assert one.answer(bytes.fromhex(request_), "192.0.2.9")[1] == 6, "not at every scan of a controller"
        assert len(told) == 1


def test_what_cannot_be_kept_is_not_acknowledged(latest: Latest) -> None:
    def fail(who: str) -> None:
        raise OSError("disk full")

    one = server(latest, assign(VALUES, []), allowed=("192.0.2.9",), acknowledge=fail)
    assert one.answer(bytes.fromhex("06 000A 0001"), "192.0.2.9") == bytes.fromhex("86 04")


@settings(max_examples=300, deadline=None)
@given(st.binary(min_size=1, max_size=253), st.booleans())
def test_any_request_gets_an_answer_that_fits_a_frame(request_: bytes, allowed: bool) -> None:
    one = server(Latest(VALUES, Clock()), assign(VALUES, []), allowed=("192.0.2.9",))
    answer = one.answer(request_, "192.0.2.9" if allowed else "192.0.2.1")
    assert 2 <= len(answer) <= 253
    assert answer[0] in (request_[0], request_[0] | 0x80)


@contextlib.asynccontextmanager
async def listening(latest: Latest, **kept: Any) -> AsyncIterator[tuple[int, Plant]]:
    """A plant with a Modbus face on a free port."""
    probe = await asyncio.start_server(lambda *_: None, "127.0.0.1", 0)
    port = probe.sockets[0].getsockname()[1]
    probe.close()
    await probe.wait_closed()
    async with Plant(latest, [server(latest, assign(VALUES, []), port, **kept)], again=0.05) as plant:
        await until(lambda: plant.condition() == "")
        yield port, plant


async def until(true: Callable[[], bool]) -> None:
    async with asyncio.timeout(5):
        while not true():
            await asyncio.sleep(0.01)


def in_loop(test: Callable[[], Awaitable[None]]) -> None:
    asyncio.run(asyncio.wait_for(test(), 20))


async def ask(port: int, frame: bytes, count: int) -> bytes:
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    writer.write(frame)
    try:
        return await asyncio.wait_for(reader.readexactly(count), 5)
    finally:
        writer.close()


GOOD = bytes.fromhex("0007 0000 0006 FF 04 006A 0002"), bytes.fromhex("0007 0000 0007 FF 04 04 41C8 0000")


def test_frames_by_hand_and_another_library_s_client_read_the_same(latest: Latest) -> None:
    async def run() -> None:
        async with listening(latest) as (port, plant):
            assert await ask(port, GOOD[0], len(GOOD[1])) == GOOD[1]
            async with AsyncModbusTcpClient("127.0.0.1", port=port) as client:
                reply = await client.read_input_registers(106, count=2, device_id=1)
                assert client.convert_from_registers(reply.registers, client.DATATYPE.FLOAT32) == 25.0
                assert (await client.write_register(10, 1)).exception_code == 1
                await plant.publish({SPEED.name: Published(24.75, "Hz", "good", NOW)})
                reply = await client.read_holding_registers(100, count=12)
                assert reply.registers[0] == 1 and reply.registers[4] == 192, "the heartbeat has counted"
                assert client.convert_from_registers(reply.registers[6:8], client.DATATYPE.FLOAT32) == 1485.0

    in_loop(run)


HOSTILE = [
    b"\x00",
    b"GET / HTTP/1.1\r\nHost: a\r\n\r\n",
    bytes.fromhex("0001 0001 0006 01 04 0000 0001"),  # another protocol
    bytes.fromhex("0001 0000 0000 01"),  # no length, and one too many
    bytes.fromhex("0001 0000 FFFF 01") + b"\xff" * 65535,
    bytes.fromhex("0001 0000 0001 01"),
    b"\xff" * 1_000_000,
]


@pytest.mark.parametrize("sent", HOSTILE, ids=lambda sent: sent[:8].hex())
def test_the_server_answers_after_anything_that_is_sent(latest: Latest, sent: bytes) -> None:
    async def run() -> None:
        async with listening(latest) as (port, plant):
            reader, writer = await asyncio.open_connection("127.0.0.1", port)
            with contextlib.suppress(ConnectionError):
                writer.write(sent)
                await asyncio.wait_for(writer.drain(), 5)
                if len(sent) > 7:
                    assert await asyncio.wait_for(reader.read(100), 5) == b"", "closed without an answer"
            assert await ask(port, GOOD[0], len(GOOD[1])) == GOOD[1]
            writer.close()
            assert plant.condition() == ""

    in_loop(run)


def test_requests_in_one_packet_or_byte_by_byte_are_told_apart(latest: Latest) -> None:
    async def run() -> None:
        async with listening(latest) as (port, _):
            assert await ask(port, GOOD[0] * 3, 3 * len(GOOD[1])) == GOOD[1] * 3
            reader, writer = await asyncio.open_connection("127.0.0.1", port)
            for byte in GOOD[0]:
                writer.write(bytes([byte]))
                await asyncio.sleep(0.002)
            assert await asyncio.wait_for(reader.readexactly(len(GOOD[1])), 5) == GOOD[1]
            writer.close()

    in_loop(run)


def test_there_are_no_more_connections_than_are_allowed_and_one_that_goes_makes_room(
    latest: Latest, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(modbus, "MOST_CONNECTIONS", 3)

    async def run() -> None:
        async with listening(latest) as (port, _):
            held = []
            for _ in range(3):
                reader, writer = await asyncio.open_connection("127.0.0.1", port)
                writer.write(GOOD[0])
                await asyncio.wait_for(reader.readexactly(len(GOOD[1])), 5)
                held.append(writer)
            with pytest.raises((asyncio.IncompleteReadError, ConnectionError)):
                await ask(port, GOOD[0], len(GOOD[1]))
            held[0].close()
            await held[0].wait_closed()
            await asyncio.sleep(0.05)
            assert await ask(port, GOOD[0], len(GOOD[1])) == GOOD[1]
            for writer in held[1:]:
                writer.close()

    in_loop(run)


def test_a_client_that_takes_no_answers_or_never_ends_a_request_is_dropped(latest: Latest, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(modbus, "_SLOW", 0.2)

    async def run() -> None:
        async with listening(latest) as (port, plant):
            half, half_writer = await asyncio.open_connection("127.0.0.1", port)
            half_writer.write(GOOD[0][:5])
            _, slow_writer = await asyncio.open_connection("127.0.0.1", port, limit=1024)
            slow_writer.transport.pause_reading()  # type: ignore[attr-defined]
            with contextlib.suppress(ConnectionError, TimeoutError):
                for _ in range(4000):
                    slow_writer.write(bytes.fromhex("0007 0000 0006 FF 04 0000 007C") * 100)
                    await asyncio.wait_for(slow_writer.drain(), 1.0)
            assert await asyncio.wait_for(half.read(1), 5) == b""
            assert await ask(port, GOOD[0], len(GOOD[1])) == GOOD[1]
            await until(lambda: not plant._faces[0]._open)  # type: ignore[attr-defined]
            slow_writer.transport.abort()
            half_writer.close()

    in_loop(run)


def test_a_port_that_is_taken_is_said_and_tried_again(latest: Latest) -> None:
    async def run() -> None:
        taken = await asyncio.start_server(lambda *_: None, "127.0.0.1", 0)
        port = taken.sockets[0].getsockname()[1]
        async with Plant(latest, [server(latest, assign(VALUES, []), port)], again=0.05) as plant:
            await until(lambda: "in use" in plant.condition())
            await plant.publish({LIGHT.name: Published(1.0, "-", "good", NOW)})
            taken.close()
            await taken.wait_closed()
            await until(lambda: plant.condition() == "")
            assert await ask(port, GOOD[0], len(GOOD[1])) == GOOD[1]

    in_loop(run)
