"""The master against devices and links that fail, and against devices that mean harm: a value is the one asked for, or none.

The devices are those of `wires`, written from the specifications without gearcase.
"""

import asyncio
import os
import pty
import random
import struct
import threading
import time
import tty
from collections.abc import Sequence
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gearcase.device.frames import LONGEST_FRAME, Lost, Question, SerialReader, TcpReader, crc, serial_frame, tcp_frame
from gearcase.device.modbus import ModbusBus, connected
from gearcase.errors import BadReply, BadRequest, Garbled, NoReply
from gearcase.install.connection import parse_connection
from published import rows
from wires import Wire, checksum, on_a_line, over_network, registers

HELD = {unit: {address: (997 * unit + 31 * address) % 65536 for address in range(1000)} for unit in (11, 12)}
NETWORK = ["tcp", "rtu-over-tcp"]


def value(unit: int, address: int) -> int:
    return HELD[unit][address]


@pytest.mark.parametrize("row", rows("modbus_frames.csv"), ids=lambda row: row["id"])
def test_frames_carry_the_published_checksum(row: dict[str, str]) -> None:
    assert crc(bytes.fromhex(row["frame_without_crc"])) == bytes.fromhex(row["crc_on_wire"])


@pytest.mark.parametrize(
    ("row", "asked"),
    [
        ("MB02", Question.read(0x11, 3, 0x6B, 3)),
        ("MB07", Question.read(0x11, 4, 8, 1)),
        ("MB52", Question.write(7, 0x12C, [0x41C8, 0])),
    ],
)
def test_questions_are_the_published_frames(row: str, asked: Question) -> None:
    frame = next(one["frame_without_crc"] for one in rows("modbus_frames.csv") if one["id"] == row)
    assert serial_frame(asked.unit, asked.pdu)[:-2] == bytes.fromhex(frame)


def test_the_published_answer_is_read() -> None:
    """Row MB03: unit 17 answers three registers AE41 5652 4340; row MB21: unit 1 refuses with code 2."""
    (frame,) = SerialReader().take(bytes.fromhex("11 03 06 AE 41 56 52 43 40 49 AD"))
    asked = Question.read(0x11, 3, 0x6B, 3)
    assert asked.is_answered_by(frame.pdu) and asked.words(frame.pdu) == (0xAE41, 0x5652, 0x4340)
    (refused,) = SerialReader().take(bytes.fromhex("01 83 02 C0 F1"))
    assert refused.unit == 1 and Question.read(1, 3, 0, 1).refusal(refused.pdu) == 2


@given(before=st.binary(max_size=40), cuts=st.lists(st.integers(1, 30), max_size=8), count=st.integers(1, 125))
def test_an_answer_is_found_behind_garbage_however_its_bytes_are_cut(before: bytes, cuts: list[int], count: int) -> None:
    pdu = struct.pack(f">BB{count}H", 4, 2 * count, *range(count))
    stream, reader, found = before + serial_frame(11, pdu), SerialReader(), []
    for cut in cuts:
        found += reader.take(stream[:cut])
        stream = stream[cut:]
    found += reader.take(stream)
    assert (None, 11, pdu) in found


@given(st.lists(st.binary(max_size=400), max_size=20))
def test_readers_survive_any_bytes_and_hold_few_of_them(pieces: list[bytes]) -> None:
    for reader in (SerialReader(), TcpReader()):
        try:
            for piece in pieces:
                reader.take(piece)
        except Lost:
            pass
        assert len(reader._held) <= 4 * LONGEST_FRAME + 400


def spoilt(rng: random.Random, share: float) -> object:
    """Answers lost, late, doubled, with a bit turned, behind garbage, each in a share of cases."""

    def spoil(frame: bytes) -> Sequence[tuple[float, bytes]]:
        kind = rng.random()
        if kind > 5 * share:
            return [(0.0, frame)]
        turned = bytearray(frame)
        turned[rng.randrange(len(frame))] ^= 1 << rng.randrange(8)
        kinds = ([], [(0.06, frame)], [(0.0, 2 * frame)], [(0.0, bytes(turned))], [(0.0, b"\x0b\x04\xff" + frame)])
        return kinds[int(kind / share)]

    return spoil


@pytest.mark.parametrize("way", NETWORK)
@pytest.mark.parametrize("seed", range(3))
def test_whatever_happens_to_answers_a_value_is_the_one_that_was_asked_for(way: str, seed: int) -> None:
    """Every register holds another value, so an answer to something else would show. A bit turned in a frame over TCP is not seen
    by Modbus, which has no checksum there; TCP's own sees it, so it is left out."""

    async def test() -> None:
        rng = random.Random(seed)
        share = 0.08
        spoil = spoilt(rng, share)
        if way == "tcp":
            spoil = lambda frame, kinds=([], [(0.06, 1)], [(0.0, 1), (0.002, 1)]): (  # noqa: E731
                [(delay, frame) for delay, _ in rng.choice(kinds)] if rng.random() < 3 * share else [(0.0, frame)]
            )
        async with (
            over_network(registers(HELD), serial=way != "tcp", spoil=spoil) as (where, _),  # type: ignore[arg-type]
            connected(where, baud=115200, timeout=0.03, tries=3) as bus,
        ):
            told = 0
            for _ in range(100):
                unit, start = rng.choice((11, 12)), rng.randrange(900)
                count = rng.choice((1, 2, 2, 10))
                try:
                    words = await bus.read(unit=unit, function=4, start=start, count=count)
                except (NoReply, BadReply):
                    continue
                told += 1
                assert words == tuple(value(unit, address) for address in range(start, start + count))
            assert told > 60
            record = await bus.read(unit=11, function=4, start=0, count=1000)
            assert record == tuple(value(11, address) for address in range(1000))

    asyncio.run(test())


def test_a_block_is_right_though_every_answer_comes_twice() -> None:
    """The second time when the next part of the block has been asked for."""

    async def test() -> None:
        async with (
            over_network(registers(HELD), serial=True, spoil=lambda frame: [(0.0, frame), (0.001, frame)]) as (where, _),
            connected(where, baud=115200, timeout=0.1, tries=3) as bus,
        ):
            for _ in range(5):
                assert await bus.read(unit=11, function=4, start=0, count=1000) == tuple(HELD[11].values())

    asyncio.run(test())


def test_a_second_answer_in_the_silence_is_waited_out_and_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each answer comes again 5 ms later, and every question is for two registers of one device. The silence at 600 baud is 3.5
    characters of 11 bits, 64 ms (Modbus over Serial Line V1.02, 2.5.1.1): long enough for a machine that is busy. As at 19,200 baud
    all of it is slept through outside of the event loop, which sees nothing meanwhile; the device has a thread of its own.
    """
    monkeypatch.setattr("gearcase.device.modbus._TICK", 1.0)
    ours, theirs = pty.openpty()
    tty.setraw(theirs)
    answer = registers(HELD)

    def device() -> None:
        with suppress(OSError):
            while question := os.read(ours, 8):
                frame = question[:1] + (answer(question[0], question[1:6]) or b"")
                for wait in (0.0, 0.005):
                    time.sleep(wait)
                    os.write(ours, frame + checksum(frame))

    async def test() -> None:
        async with connected(f"serial {os.ttyname(theirs)}", baud=600, timeout=0.1, tries=1) as bus:
            for start in range(0, 12, 2):
                assert await bus.read(unit=11, function=4, start=start, count=2) == (value(11, start), value(11, start + 1))
            assert bus.links[11].errors == 0 and bus.links[11].strays == 5, "but for the last"

    threading.Thread(target=device, daemon=True).start()
    try:
        asyncio.run(test())
    finally:
        os.close(theirs)
        os.close(ours)


def test_a_line_that_never_falls_silent_holds_no_question_up_for_ever() -> None:
    """Somebody babbles a byte each millisecond: the question is sent after the time of the longest answer, and ends as it must."""

    async def test() -> None:
        async with (
            on_a_line(registers({11: HELD[11]})) as (where, wires),
            connected(where, baud=19200, timeout=0.1, tries=2) as bus,
        ):
            await bus.read(unit=11, function=4, start=0, count=1)
            babbling = asyncio.create_task(babble(wires[0]))
            started = time.monotonic()
            with suppress(NoReply, BadReply):
                await bus.read(unit=11, function=4, start=0, count=1)
            assert time.monotonic() - started < bus.longest_question(1) + 0.1
            babbling.cancel()

    async def babble(wire: Wire) -> None:
        while True:
            wire.send(b"\xff")
            await asyncio.sleep(0.001)

    asyncio.run(test())


def test_with_a_fifth_of_all_frames_lost_every_read_completes_and_the_limit_holds_the_truth() -> None:
    """Questions and answers are lost alike, so 1 - 0.8 x 0.8 = 36 % of tries fail; 8 tries all fail once in 3,500 reads."""
    rng = random.Random(1)
    answer = registers(HELD)

    async def test() -> ModbusBus:
        async with (
            over_network(
                lambda unit, pdu: answer(unit, pdu) if rng.random() >= 0.2 else None,
                serial=True,
                spoil=lambda frame: [(0.0, frame)] if rng.random() >= 0.2 else [],
            ) as (where, _),
            connected(where, baud=115200, timeout=0.02, tries=8) as bus,
        ):
            for start in range(200):
                words = await bus.read(unit=11, function=4, start=start, count=1 + start % 5)
                assert words == tuple(value(11, start + n) for n in range(1 + start % 5))
            return bus

    link = asyncio.run(test()).links[11]
    limit = link.error_limit
    assert limit is not None and 0.36 < limit < 0.5 and link.errors / link.asked == pytest.approx(0.36, abs=0.1)
    assert link.failed["silent"] == link.errors and "at most" in link.words()


def test_a_late_answer_is_never_taken_for_that_of_the_next_question() -> None:
    """On a serial line nothing but time tells two answers of one length apart; over TCP the number does."""

    async def test(serial: bool) -> None:
        delays = iter([0.3] + [0.0] * 50)
        async with (
            over_network(registers(HELD), serial=serial, spoil=lambda frame: [(next(delays), frame)]) as (where, _),
            connected(where, baud=115200, timeout=0.2, tries=1) as bus,
        ):
            with pytest.raises(NoReply):
                await bus.read(unit=11, function=4, start=5, count=1)
            for address in (6, 7, 8):
                assert await bus.read(unit=11, function=4, start=address, count=1) == (value(11, address),)
            assert bus.links[11].strays == 1

    for serial in (False, True):
        asyncio.run(test(serial))


def test_a_late_answer_does_not_make_the_next_device_speak_nonsense() -> None:
    """Unit 11 answers when it is no longer asked; unit 40 does not exist and is silent: the number tells whose answer came."""

    async def test() -> None:
        async with (
            over_network(registers(HELD), serial=False, spoil=lambda frame: [(0.25, frame)]) as (where, _),
            connected(where, baud=115200, timeout=0.2, tries=1) as bus,
        ):
            with pytest.raises(NoReply):
                await bus.read(unit=11, function=4, start=5, count=1)
            with pytest.raises(NoReply):
                await bus.read(unit=40, function=4, start=5, count=1)
            assert bus.links[40].strays == 1 and bus.links[40].failed["silent"] == 1

    asyncio.run(test())


def test_after_a_late_answer_the_same_question_is_not_answered_one_behind_for_ever() -> None:
    asked = [0]

    def count(unit: int, pdu: bytes) -> bytes:
        asked[0] += 1
        return struct.pack(">BBH", 4, 2, asked[0])

    async def test() -> None:
        delays = iter([0.15, 0.08] + [0.005] * 50)  # the answer to the second try comes after the next question
        async with (
            over_network(count, serial=True, spoil=lambda frame: [(next(delays), frame)]) as (where, _),
            connected(where, baud=115200, timeout=0.1, tries=2) as bus,
        ):
            assert await bus.read(unit=11, function=4, start=0, count=1) == (1,), "late, but to this question"
            for wanted in range(3, 10):
                assert await bus.read(unit=11, function=4, start=0, count=1) == (wanted,)

    asyncio.run(test())


def test_a_device_that_answers_for_another_is_not_believed() -> None:
    async def test(serial: bool) -> None:
        right = registers(HELD)

        def other(frame: bytes) -> Sequence[tuple[float, bytes]]:
            if serial:
                body = bytes([12]) + frame[1:-2]
                return [(0.0, body + checksum(body))]
            return [(0.0, frame[:6] + bytes([12]) + frame[7:])]

        async with (
            over_network(right, serial=serial, spoil=other) as (where, _),
            connected(where, baud=115200, timeout=0.1, tries=2) as bus,
        ):
            with pytest.raises(BadReply, match="unit 12 answered in its place"):
                await bus.read(unit=11, function=4, start=0, count=1)
            assert bus.links[11].failed == {"another answered": 2}

    for serial in (False, True):
        asyncio.run(test(serial))


def test_wrong_checksums_are_said_as_what_they_are() -> None:
    async def test() -> None:
        async with (
            on_a_line(registers(HELD), spoil=lambda frame: [(0.0, frame[:-1] + bytes([frame[-1] ^ 1]))]) as (where, _),
            connected(where, baud=115200, timeout=0.5, tries=2) as bus,
        ):
            started = time.monotonic()
            with pytest.raises(Garbled, match="7 bytes came that are no frame"):
                await bus.read(unit=11, function=4, start=0, count=1)
            assert time.monotonic() - started < 0.5, "the rest of the time is not waited for"
            assert bus.links[11].failed == {"garbled": 2}

    asyncio.run(test())


def test_an_answer_of_another_length_or_to_another_write_is_no_answer() -> None:
    async def test() -> None:
        def answer(unit: int, pdu: bytes) -> bytes:
            return struct.pack(">BBHH", 4, 4, 1, 2) if pdu[0] == 4 else pdu[:4] + b"\x09"

        async with (
            over_network(answer, serial=True) as (where, _),
            connected(where, baud=115200, timeout=0.1, tries=1) as bus,
        ):
            with pytest.raises(BadReply, match="not what was asked"):
                await bus.read(unit=11, function=4, start=0, count=1)
            with pytest.raises(BadReply):
                await bus.write(unit=11, start=0, words=[1])

    asyncio.run(test())


@pytest.mark.parametrize(("code", "error"), [(1, BadRequest), (2, BadRequest), (4, BadRequest), (6, BadReply), (11, NoReply)])
def test_exceptions_are_refusals_but_for_busy_and_the_gateways_own(code: int, error: type[Exception]) -> None:
    """Codes of MODBUS Application Protocol V1.1b3 section 7: 6 busy, 11 the device behind the gateway does not answer."""

    async def test() -> None:
        async with (
            over_network(lambda unit, pdu: bytes([pdu[0] | 0x80, code])) as (where, _),
            connected(where, baud=115200, timeout=0.1, tries=1) as bus,
        ):
            with pytest.raises(error):
                await bus.read(unit=11, function=4, start=0, count=1)

    asyncio.run(test())


def test_a_silent_device_is_asked_less_and_less_and_never_forgotten() -> None:
    held = {12: HELD[12]}

    async def test() -> None:
        async with (
            over_network(registers(held), serial=True) as (where, wires),
            connected(where, baud=115200, timeout=0.02, tries=2, resting=True) as bus,
        ):
            until = time.monotonic() + 1.6
            rounds = 0
            while time.monotonic() < until:
                rounds += 1
                with pytest.raises(NoReply):
                    await bus.read(unit=11, function=4, start=0, count=1)
                assert await bus.read(unit=12, function=4, start=0, count=1) == (value(12, 0),)
            asked = sum(unit == 11 for unit, _ in wires[0].asked)
            assert asked == 3 * 2 + 1 and rounds > 50, "three questions of two tries, then one try after a second"
            with pytest.raises(NoReply, match=r"4 questions in a row, asked again in \d s"):
                await bus.read(unit=11, function=4, start=0, count=1)
            held[11] = HELD[11]  # it was restarted
            await asyncio.sleep(2.0)
            assert await bus.read(unit=11, function=4, start=0, count=1) == (value(11, 0),)
            assert await bus.read(unit=11, function=4, start=1, count=1) == (value(11, 1),)

    asyncio.run(test())


def test_a_silent_device_takes_no_longer_than_stated() -> None:
    async def test() -> None:
        async with (
            over_network(registers({})) as (where, _),
            connected(where, baud=9600, timeout=0.1, tries=3) as bus,
        ):
            started = time.monotonic()
            with pytest.raises(NoReply):
                await bus.read(unit=11, function=4, start=0, count=125)
            assert 3 * 0.1 <= time.monotonic() - started <= bus.longest_question(125) + 0.1

    asyncio.run(test())


@pytest.mark.parametrize("way", NETWORK)
def test_a_gateway_that_restarts_is_taken_up_again_at_once(way: str) -> None:
    async def test() -> None:
        serial = way != "tcp"
        async with over_network(registers(HELD), serial=serial) as (where, wires):
            port = int(where.rpartition(":")[2])
            bus = ModbusBus(parse_connection(where), baud=115200, timeout=0.1, tries=1, resting=True)
            assert await bus.read(unit=11, function=4, start=0, count=1) == (value(11, 0),)
            wires[0].send.__self__.transport.abort()  # type: ignore[attr-defined]
        await asyncio.sleep(0.05)
        for _ in range(8):
            with pytest.raises(NoReply, match="look at the gateway"):
                await bus.read(unit=11, function=4, start=0, count=1)
        async with over_network(registers(HELD), serial=serial, port=port):
            assert await bus.read(unit=11, function=4, start=0, count=1) == (value(11, 0),)
            bus.close()

    asyncio.run(test())


HOSTILE = {
    "a length beyond every frame": struct.pack(">HHH", 1, 0, 65535) + bytes(64),
    "a length of nothing": struct.pack(">HHHB", 1, 0, 1, 11),
    "another protocol": struct.pack(">HHHBBH", 1, 7, 6, 11, 4, 2) + bytes(3),
    "a megabyte of noise": bytes(range(256)) * 4096,
    "a megabyte of headers": tcp_frame(9, 11, b"\x04\x02\0\0") * 90000,
    "beginnings of frames": b"\x0b\x04\xfa" * 300_000,
}


@pytest.mark.parametrize("way", NETWORK)
@pytest.mark.parametrize("harm", HOSTILE)
def test_a_device_that_means_harm_costs_one_question_and_nothing_more(way: str, harm: str) -> None:
    harming = [True]

    async def test() -> None:
        async with (
            over_network(
                registers(HELD),
                serial=way != "tcp",
                spoil=lambda frame: [(0.0, HOSTILE[harm])] if harming[0] else [(0.0, frame)],
            ) as (where, _),
            connected(where, baud=115200, timeout=0.2, tries=2) as bus,
        ):
            started, used = time.monotonic(), time.process_time()
            with pytest.raises((NoReply, BadReply)):
                await bus.read(unit=11, function=4, start=3, count=1)
            assert time.monotonic() - started < bus.longest_question(1) + 0.5 and time.process_time() - used < 1.0
            harming[0] = False
            assert await bus.read(unit=11, function=4, start=4, count=1) == (value(11, 4),)

    asyncio.run(test())


def test_a_device_that_never_stops_talking_does_not_hold_the_master() -> None:
    """A byte at a time, for longer than any question may take."""

    async def test() -> None:
        drip = [(0.01, b"\x0b")] * 400
        async with (
            over_network(registers(HELD), serial=True, spoil=lambda _: drip) as (where, _),
            connected(where, baud=115200, timeout=0.2, tries=2) as bus,
        ):
            started = time.monotonic()
            with pytest.raises(BadReply):
                await bus.read(unit=11, function=4, start=3, count=1)
            assert time.monotonic() - started < bus.longest_question(1) + 0.1

    asyncio.run(test())


def test_a_cancelled_question_leaves_nothing_that_the_next_could_take() -> None:
    async def test() -> None:
        delays = iter([0.15] + [0.0] * 9)
        async with (
            over_network(registers(HELD), serial=True, spoil=lambda frame: [(next(delays), frame)]) as (where, _),
            connected(where, baud=115200, timeout=0.2, tries=1) as bus,
        ):
            with pytest.raises(TimeoutError):
                await asyncio.wait_for(bus.read(unit=11, function=4, start=5, count=1), 0.05)
            assert await bus.read(unit=11, function=4, start=6, count=1) == (value(11, 6),)

    asyncio.run(test())


def test_listening_hears_who_else_talks() -> None:
    async def test() -> None:
        async with on_a_line(registers(HELD)) as (where, wires), connected(where, baud=115200) as bus:
            assert await bus.listen(0.05) == b""
            asyncio.get_running_loop().call_later(0.02, wires[0].send, b"\x01\x03")
            assert await bus.listen(0.1) == b"\x01\x03"

    asyncio.run(test())
