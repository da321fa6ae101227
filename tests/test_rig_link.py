"""What goes wrong between a device and who asks, seen by an independent client and by frames written by hand.

`minimalmodbus` is another implementation of Modbus RTU than the one that serves; TCP frames are packed here (MODBUS Messaging on
TCP/IP V1.0b) and serial ones checked with a checksum computed bit by bit, which the published vectors of ``modbus_frames.csv``
confirm.
"""

import asyncio
import contextlib
import math
import socket
import struct
import time
from collections.abc import Iterator
from dataclasses import dataclass

import minimalmodbus
import numpy as np
import pytest
import serial

from gearcase.device.modbus import connected
from gearcase.device.orders import obey
from gearcase.device.rig import Rig, RigBus, frames
from gearcase.device.rig.devices import RECORD_REGISTERS
from gearcase.device.serving import Served
from gearcase.errors import BadReply, BadRequest, Garbled, NoReply
from gearcase.install.profile import LAMPS, profile
from gearcase.install.register import decode
from gearcase.job.build import load
from published import rows
from rigserver import served_from_a_thread
from test_rig import crc
from test_stages import EXAMPLES

SILENCE = 0.15  # s without a byte, after which nothing more is waited for
READ_TEST_WORDS = bytes.fromhex("04 00 00 00 03")  # registers 0 to 2
SERIAL_NUMBER = bytes.fromhex("04 00 06 00 02")  # registers 6 and 7
TEST_WORDS = bytes.fromhex("04 06 12 34 07 5B CD 15")  # 0x1234, 123456789


@dataclass
class Clock:
    now: float = 0.0

    def __call__(self) -> float:
        return self.now


@dataclass
class Running:
    rig: Rig
    served: Served

    def ask_serial(self, unit: int, pdu: bytes = READ_TEST_WORDS, *, wait: float = 1.0) -> bytes:
        """All that comes back, `wait` for its first byte."""
        with serial.Serial(self.served.serial.removeprefix("serial "), 115200, timeout=wait) as wire:
            wire.reset_input_buffer()
            wire.write(whole(unit, pdu))
            got = bytes(wire.read(1))
            wire.timeout = SILENCE
            return got + bytes(wire.read(256)) if got else b""

    def ask_tcp(self, unit: int, pdu: bytes = READ_TEST_WORDS, *, wait: float = 1.0, send: bytes = b"") -> bytes:
        """As `ask_serial`, or what comes back to other bytes."""
        host, _, port = self.served.tcp.removeprefix("tcp ").partition(":")
        with socket.create_connection((host, int(port)), timeout=wait) as wire:
            wire.sendall(send or over_tcp(unit, pdu))
            got = b""
            with contextlib.suppress(TimeoutError, ConnectionError):
                while data := wire.recv(512):
                    got += data
                    wire.settimeout(max(SILENCE, wait if send else 0.0))
            return got

    def silent(self, unit: int, *, on: tuple[str, ...] = ("serial", "tcp")) -> bool:
        asks = {"serial": self.ask_serial, "tcp": self.ask_tcp}
        return all(asks[way](unit, wait=SILENCE) == b"" for way in on)


def whole(unit: int, pdu: bytes) -> bytes:
    return bytes([unit]) + pdu + crc(bytes([unit]) + pdu)


def over_tcp(unit: int, pdu: bytes) -> bytes:
    return struct.pack(">HHHB", 7, 0, len(pdu) + 1, unit) + pdu


@pytest.fixture(scope="module")
def served() -> Iterator[Running]:
    rig = Rig(load(EXAMPLES / "demo"), time.monotonic, 24.75)
    with served_from_a_thread(rig) as where:
        yield Running(rig, where)


@pytest.fixture
def running(served: Running) -> Iterator[Running]:
    """The rig with nothing wrong, before and after."""
    yield served
    obey(served.rig, "mend all")
    time.sleep(0.05)


@pytest.mark.parametrize("row", rows("modbus_frames.csv"), ids=lambda row: row["id"])
def test_published_frames_get_their_published_checksum(row: dict[str, str]) -> None:
    assert frames.crc(bytes.fromhex(row["frame_without_crc"])) == bytes.fromhex(row["crc_on_wire"])


def test_nothing_wrong_both_ways_answer_to_the_byte(running: Running) -> None:
    assert running.ask_serial(21) == whole(21, TEST_WORDS) and running.ask_tcp(21) == over_tcp(21, TEST_WORDS)


@pytest.mark.parametrize(
    "order", ["fault lost 100 % at 21", "fault unplugged at 21", "fault unplugged at bus", "fault brown-out 5 s at 21"]
)
def test_what_is_lost_or_unplugged_is_not_heard_and_the_others_are(running: Running, order: str) -> None:
    obey(running.rig, order)
    assert running.silent(21)
    assert "bus" in order or running.ask_serial(12) == whole(12, TEST_WORDS)


def test_a_wrong_checksum_reaches_the_serial_line_and_no_client_behind_a_gateway(running: Running) -> None:
    obey(running.rig, "fault wrong crc 100 % at 21")
    answer = running.ask_serial(21)
    assert answer[:-2] == whole(21, TEST_WORDS)[:-2] and answer[-2:] != crc(answer[:-2])
    assert running.silent(21, on=("tcp",))
    other = minimalmodbus.Instrument(running.served.serial.removeprefix("serial "), 21)
    other.serial.baudrate, other.serial.timeout = 115200, 0.3
    with pytest.raises(minimalmodbus.InvalidResponseError, match="hecksum"):
        other.read_register(0, functioncode=4)
    other.serial.close()


def test_a_corrupted_answer_differs_by_one_bit(running: Running) -> None:
    obey(running.rig, "fault corrupted 100 % at 21")
    for got, right in ((running.ask_serial(21), whole(21, TEST_WORDS)), (running.ask_tcp(21), over_tcp(21, TEST_WORDS))):
        assert sum((a ^ b).bit_count() for a, b in zip(got, right, strict=True)) == 1
    got = running.ask_tcp(21)
    assert got[9:] == over_tcp(21, TEST_WORDS)[9:], "over TCP what a client can see: header, function, count"


def test_a_duplicated_answer_comes_twice(running: Running) -> None:
    obey(running.rig, "fault duplicated 100 % at 21")
    assert running.ask_serial(21) == 2 * whole(21, TEST_WORDS) and running.ask_tcp(21) == 2 * over_tcp(21, TEST_WORDS)


def test_a_refused_request_is_answered_by_exception_4(running: Running) -> None:
    obey(running.rig, "fault refused 100 % at 21")
    assert running.ask_serial(21) == whole(21, b"\x84\x04") and running.ask_tcp(21) == over_tcp(21, b"\x84\x04")


def test_a_late_answer_comes_late_and_after_the_answer_to_a_later_request(running: Running) -> None:
    obey(running.rig, "fault late 300 ms at 21")
    assert running.silent(21)
    time.sleep(0.3)
    both = over_tcp(21, READ_TEST_WORDS) + over_tcp(12, READ_TEST_WORDS)
    assert running.ask_tcp(0, send=both) == over_tcp(12, TEST_WORDS) + over_tcp(21, TEST_WORDS)


def test_a_share_befalls_about_that_share(running: Running) -> None:
    """200 requests at 20 %: mean 40, standard deviation 5.7; four of them either way."""
    obey(running.rig, "fault lost 20 % at 21")

    async def ask() -> int:
        bus, failed = RigBus(running.rig), 0
        for _ in range(200):
            try:
                await bus.read(unit=21, function=4, start=0, count=1)
            except NoReply:
                failed += 1
        return failed

    assert abs(asyncio.run(ask()) - 40) <= 4 * math.sqrt(200 * 0.2 * 0.8)


def test_of_what_is_lost_half_was_heard_and_done() -> None:
    """A reply lost on its way back leaves the lamps as written: 100 writes, none answered, 50 done, four deviations of 5."""
    rig = new_rig(Clock())
    obey(rig, "fault lost 100 % at 31")

    async def write(word: int) -> None:
        with pytest.raises(NoReply):
            await RigBus(rig).write(unit=31, start=20, words=[word, 1])

    done = 0
    for _ in range(100):
        rig.lamps = 0
        asyncio.run(write(LAMPS["red"]))
        done += rig.lamps == LAMPS["red"]
    assert abs(done - 50) <= 20


def test_two_devices_at_one_address_are_understood_only_where_they_say_the_same(running: Running) -> None:
    obey(running.rig, "fault address 21 at 3")
    assert running.silent(3), "nobody is left at its old address"
    assert running.ask_serial(21) == whole(21, TEST_WORDS), "the same bits from both: nobody notices"
    got = running.ask_serial(21, SERIAL_NUMBER)
    assert len(got) == 9 and got not in (whole(21, b"\x04\x04" + struct.pack(">I", one)) for one in (40003, 40021))
    assert running.ask_tcp(21, SERIAL_NUMBER, wait=SILENCE) == b""


def test_a_device_moved_to_a_free_address_answers_there(running: Running) -> None:
    obey(running.rig, "fault address 40 at 21")
    assert running.silent(21) and running.ask_serial(40) == whole(40, TEST_WORDS)


def test_a_device_answering_for_another_shows_its_own_serial(running: Running) -> None:
    obey(running.rig, "fault address 21 at 3")
    obey(running.rig, "fault address 3 at 21")
    assert running.ask_serial(21, SERIAL_NUMBER) == whole(21, b"\x04\x04" + struct.pack(">I", 40003))


def test_swapped_words_come_low_word_first(running: Running) -> None:
    obey(running.rig, "fault swapped words at 21")
    assert running.ask_serial(21) == whole(21, bytes.fromhex("04 06 12 34 CD 15 07 5B"))


@pytest.mark.parametrize(
    ("send", "answer"),
    [
        (struct.pack(">HHHB", 7, 1, 6, 21) + READ_TEST_WORDS, b""),  # another protocol
        (struct.pack(">HHHB", 7, 0, 65535, 21) + b"\x04" * 65534, b""),  # longer than a frame may be
        (struct.pack(">HHHB", 7, 0, 1, 21), b""),  # nothing asked
        (over_tcp(21, b"\x2b\x0e\x01\x00"), over_tcp(21, b"\xab\x01")),  # illegal function
        (over_tcp(21, bytes.fromhex("04 00 00 00 7E")), over_tcp(21, b"\x84\x03")),  # 126 registers
        (over_tcp(21, bytes.fromhex("04 00 00 00 00")), over_tcp(21, b"\x84\x03")),
        (over_tcp(21, bytes.fromhex("04 FF FF 00 02")), over_tcp(21, b"\x84\x02")),
        (over_tcp(31, bytes.fromhex("10 00 14 00 02 03 00 01 00")), over_tcp(31, b"\x90\x03")),  # count against bytes
    ],
)
def test_hostile_and_malformed_requests_harm_nothing(running: Running, send: bytes, answer: bytes) -> None:
    assert running.ask_tcp(0, send=send, wait=0.3) == answer
    assert running.ask_tcp(21) == over_tcp(21, TEST_WORDS)


def test_noise_on_the_serial_line_is_thrown_away_and_the_next_request_answered(running: Running) -> None:
    with serial.Serial(running.served.serial.removeprefix("serial "), 115200, timeout=0.1) as wire:
        for noise in (bytes(range(256)) * 4, b"\x15\x04\x00", b"\x15\x10\x00\x14\x00\x7b\xff", b"\xff" * 3):
            wire.write(noise)
            assert wire.read(64) == b""
        wire.write(whole(21, READ_TEST_WORDS))
        assert wire.read(64) == whole(21, TEST_WORDS)


def test_one_register_can_be_written_by_function_6(running: Running) -> None:
    assert running.ask_serial(31, struct.pack(">BHH", 6, 20, LAMPS["red"])) == whole(31, struct.pack(">BHH", 6, 20, LAMPS["red"]))
    assert running.rig.lamps == LAMPS["red"]


@pytest.mark.parametrize("way", ["tcp", "serial"])
@pytest.mark.parametrize("order", ["lost 20 %", "corrupted 20 %", "wrong crc 20 %", "duplicated 20 %", "late 60 ms"])
def test_our_own_client_reads_right_or_says_so(running: Running, way: str, order: str) -> None:
    """Whatever befalls the frames, a value is never wrong: the constants, or an error that names the unit."""
    obey(running.rig, f"fault {order} at 21" + (" in 20 %" if "late" in order else ""))

    async def ask() -> list[tuple[int, ...]]:
        got = []
        async with connected(getattr(running.served, way), baud=115200, timeout=0.05, tries=2) as bus:
            for _ in range(12):
                try:
                    got.append(await bus.read(unit=21, function=4, start=0, count=3))
                except (NoReply, BadReply, BadRequest) as error:
                    said.append(error.unit)
        return got

    said: list[int] = []
    got = asyncio.run(ask())
    assert set(got) == {(0x1234, 0x075B, 0xCD15)} and set(said) <= {21}


def new_rig(clock: Clock) -> Rig:
    return Rig(load(EXAMPLES / "demo"), clock, 24.75)


def value(rig: Rig, unit: int, name: str) -> float:
    form = rig.profile_of(unit).registers[name]
    return decode(form, rig.read(unit, form.address, form.words))


def test_a_stuck_sensor_says_the_same_and_its_heartbeat_goes_on() -> None:
    clock = Clock()
    rig = new_rig(clock)
    names = ("overall velocity z", "temperature", "record number", "heartbeat")
    before = [value(rig, 11, name) for name in names]
    obey(rig, "fault stuck at 11 for 1 h")
    clock.now = 1800.0
    rig.set_speed(0.0)
    stuck = [value(rig, 11, name) for name in names]
    assert stuck[:3] == before[:3] and stuck[3] != before[3]
    clock.now = 3601.0
    assert value(rig, 11, "overall velocity z") < before[0] / 5 and value(rig, 11, "record number") > before[2]


def test_a_brown_out_silences_loses_the_count_and_comes_back_with_defaults() -> None:
    clock = Clock(100.0)
    rig = new_rig(clock)
    rig.write(11, 36, [2])
    for _ in range(3):
        clock.now += 3.0
        value(rig, 11, "record number")
    assert value(rig, 11, "record number") == 3 and value(rig, 11, "heartbeat") == 109
    obey(rig, "fault brown-out 5 s at 11")
    with pytest.raises(NoReply):
        rig.read(11, 0, 1)
    clock.now += 6.0
    assert [value(rig, 11, name) for name in ("record number", "record axis", "heartbeat")] == [1, 0, 1]
    assert obey(rig, "faults") == "nothing is wrong"
    rig.write(31, 20, [LAMPS["green"], 1])
    obey(rig, "fault brown-out 1 s at 31")
    clock.now += 2.0
    assert value(rig, 31, "lamps lit") == LAMPS["blue"] and value(rig, 31, "lamps wanted") == 0


def test_a_brown_out_with_a_share_comes_again_and_again() -> None:
    clock = Clock()
    rig = new_rig(clock)
    obey(rig, "fault brown-out 1 s at 21 in 30 %")

    async def ask() -> int:
        failed = 0
        for _ in range(100):
            clock.now += 2.0
            try:
                await RigBus(rig).read(unit=21, function=4, start=0, count=1)
            except NoReply:
                failed += 1
        return failed

    assert 12 <= asyncio.run(ask()) <= 48  # 30, four standard deviations of 4.6 either way


def test_a_fast_clock_lets_every_line_stand_lower() -> None:
    """500 ppm fast: 420.75 Hz sampled at 12806.4 Hz and said to be at 12800 reads 420.75 / 1.0005 = 420.540 Hz."""
    found = []
    for order in ("faults", "fault clock drift 500 ppm at 11"):
        rig = new_rig(Clock())
        obey(rig, order)
        samples = np.array(rig.read(11, RECORD_REGISTERS, 64000), dtype=np.uint16).view(np.int16)
        spectrum = np.abs(np.fft.rfft(samples * np.hanning(64000), 16 * 64000))
        hz = np.fft.rfftfreq(16 * 64000, 1 / 12800)
        near = np.abs(hz - 420.75) < 2
        found.append(float(hz[near][spectrum[near].argmax()]))
    assert found == pytest.approx([420.75, 420.75 / 1.0005], abs=0.02)


def test_what_befalls_frames_grows_too() -> None:
    clock = Clock()
    rig = new_rig(clock)
    obey(rig, "grow lost at 12 to 40 % over 1 h")
    for hours, share in ((0.0, 0.0), (0.5, 0.2), (1.0, 0.4), (2.0, 0.4)):
        clock.now = 3600 * hours
        assert rig.size("lost", 12) == pytest.approx(share) and rig.size("lost", 11) is None


def test_what_grows_keeps_how_long_it_lasts() -> None:
    clock = Clock()
    rig = new_rig(clock)
    obey(rig, "fault lost 10 % at 12 for 1 h")
    obey(rig, "grow lost at 12 to 30 % over 30 min")
    found = []
    for clock.now in (0.0, 900.0, 1800.0, 3599.0, 3600.0):
        found.append(rig.size("lost", 12))
    assert found == [pytest.approx(0.1), pytest.approx(0.2), pytest.approx(0.3), pytest.approx(0.3), None]


def test_a_fault_of_the_link_leaves_the_record_that_is_being_read() -> None:
    rig = new_rig(Clock())
    number = value(rig, 11, "record number")
    obey(rig, "fault late 20 ms at 11")
    obey(rig, "mend late at 11")
    assert value(rig, 11, "record number") == number
    obey(rig, "fault unbalance 4 mm/s at input")
    assert value(rig, 11, "record number") == number + 1


def test_in_process_what_is_later_than_one_waits_is_silence_and_a_wrong_checksum_garbled() -> None:
    rig = new_rig(Clock())
    obey(rig, "fault late 600 ms at 21")
    with pytest.raises(NoReply):
        asyncio.run(RigBus(rig).read(unit=21, function=4, start=0, count=1))
    obey(new := new_rig(Clock()), "fault wrong crc 100 % at 21")
    with pytest.raises(Garbled):
        asyncio.run(RigBus(new).read(unit=21, function=4, start=0, count=1))
    assert asyncio.run(RigBus(rig, timeout=1.0).read(unit=21, function=4, start=0, count=1)) == (0x1234,)


def test_all_three_axes_are_of_one_record() -> None:
    rig = new_rig(Clock())
    number = value(rig, 11, "record number")
    steps, heard = [], []
    for axis in (0, 1, 2):
        rig.write(11, 36, [axis])
        steps.append(value(rig, 11, "record step"))
        heard.append(np.array(rig.read(11, RECORD_REGISTERS, 64000), dtype=np.uint16).view(np.int16) * steps[-1])
    assert value(rig, 11, "record number") == number and len(set(steps)) == 3
    figures = [value(rig, 11, f"high-frequency acceleration {axis}") for axis in "zxy"]
    assert [float(np.sqrt(np.mean(np.square(one)))) > figure for one, figure in zip(heard, figures, strict=True)] == [True] * 3
    assert profile("three-axis vibration").registers["record axis"].function == 3
