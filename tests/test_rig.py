"""The rig as real devices: an independent client reads every one, and its spectrum is held against a line table made by hand.

The line table is arithmetic on the demo's nameplate and tooth counts, done here without gearcase.
"""

import asyncio
import json
import re
import socket
import struct
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace

import minimalmodbus
import numpy as np
import pytest
import serial

from gearcase.device.modbus import connected
from gearcase.device.orders import obey
from gearcase.device.rig import Rig, RigBus, SensorFault
from gearcase.device.serving import Served, serving
from gearcase.errors import BadRequest, NoReply, OutOfRange
from gearcase.install.map_check import find_word_order
from gearcase.install.profile import LAMPS, profile, profile_names
from gearcase.install.register import decode, encode
from gearcase.job.build import load
from published import rows
from rigserver import free_port, served_from_a_thread
from test_stages import EXAMPLES

SPEED_HZ = 1485 / 60


def new_rig() -> Rig:
    return Rig(load(EXAMPLES / "demo"), time.monotonic, SPEED_HZ)


@dataclass
class Running:
    rig: Rig
    served: Served


@pytest.fixture(scope="module")
def running() -> Iterator[Running]:
    """The rig served from its own thread, so that blocking clients can be used."""
    rig = new_rig()
    with served_from_a_thread(rig) as served:
        yield Running(rig, served)


def test_an_independent_client_reads_every_device_over_the_serial_line(running: Running) -> None:
    """minimalmodbus is another implementation of the protocol than the one that serves."""
    for unit in running.rig.units:
        other = minimalmodbus.Instrument(running.served.serial.removeprefix("serial "), unit)
        other.serial.baudrate, other.serial.timeout = 115200, 1.0
        assert other.read_register(0, functioncode=4) == 0x1234
        assert other.read_long(1, functioncode=4) == 123456789
        assert other.read_float(3, functioncode=4) == pytest.approx(123.456, rel=1e-6)
        assert other.read_long(6, functioncode=4) == 40000 + unit
        other.serial.close()


def crc(frame: bytes) -> bytes:
    """CRC-16 of a serial frame bit by bit, low byte first: polynomial 0xA001 reflected, start 0xFFFF."""
    value = 0xFFFF
    for byte in frame:
        value ^= byte
        for _ in range(8):
            value = value >> 1 ^ (0xA001 if value & 1 else 0)
    return value.to_bytes(2, "little")


@pytest.mark.parametrize("row", rows("modbus_frames.csv"), ids=lambda row: row["id"])
def test_published_frames_have_the_checksum_used_here(row: dict[str, str]) -> None:
    assert crc(bytes.fromhex(row["frame_without_crc"])) == bytes.fromhex(row["crc_on_wire"])


def test_raw_frames_on_the_serial_line_are_answered_with_their_checksum(running: Running) -> None:
    """Modbus over Serial Line V1.02: unit, function, bytes, words, CRC; a wrong CRC is not answered."""
    with serial.Serial(running.served.serial.removeprefix("serial "), 115200, timeout=0.5) as wire:
        request = bytes.fromhex("15 04 00 00 00 03")
        wire.write(request + crc(request))
        answer = bytes.fromhex("15 04 06 12 34 07 5B CD 15")
        assert wire.read(64) == answer + crc(answer)
        wire.write(request + b"\0\0")
        assert wire.read(64) == b""


def test_raw_frames_written_by_hand_are_answered_over_tcp(running: Running) -> None:
    """MODBUS Messaging on TCP/IP V1.0b: transaction, protocol 0, length, unit, function, start, count."""
    host, _, port = running.served.tcp.removeprefix("tcp ").partition(":")
    with socket.create_connection((host, int(port)), timeout=2) as wire:
        wire.sendall(struct.pack(">HHHBBHH", 7, 0, 6, 21, 4, 0, 3))
        assert wire.recv(64) == struct.pack(">HHHBBBHHH", 7, 0, 9, 21, 4, 6, 0x1234, 0x075B, 0xCD15)
        wire.sendall(struct.pack(">HHHBBHH", 8, 0, 6, 21, 4, 500, 1))
        assert wire.recv(64) == struct.pack(">HHHBBB", 8, 0, 3, 21, 0x84, 2), "illegal data address"


def test_the_serial_line_takes_no_less_time_than_a_wire() -> None:
    """125 registers at 9600 baud: 8 characters out and 255 back of 11 bits take 0.3014 s, and an answer cannot come sooner."""

    async def ask() -> float:
        async with (
            serving(new_rig(), port=free_port(), baud=9600) as served,
            connected(served.serial, baud=9600, timeout=5.0) as bus,
        ):
            started = time.monotonic()
            await bus.read(unit=11, function=4, start=100, count=125)
            return time.monotonic() - started

    assert asyncio.run(ask()) >= (8 + 255) * 11 / 9600


@pytest.mark.parametrize("way", ["tcp", "serial"])
def test_our_own_bus_and_the_rig_in_process_say_the_same(running: Running, way: str) -> None:
    async def both() -> None:
        async with connected(getattr(running.served, way), baud=115200) as bus:
            for each in (bus, RigBus(running.rig)):
                assert (await each.read(unit=11, function=4, start=0, count=5))[0] == 0x1234
                with pytest.raises(BadRequest, match="no such register"):
                    await each.read(unit=21, function=4, start=500, count=2)
                with pytest.raises(NoReply):
                    await each.read(unit=99, function=4, start=0, count=1)
                await each.write(unit=31, start=20, words=[LAMPS["yellow"], 1])
                assert await each.read(unit=31, function=4, start=10, count=1) == (LAMPS["yellow"],)
                with pytest.raises(BadRequest):
                    await each.write(unit=31, start=10, words=[1])

    asyncio.run(both())


def test_a_unit_unplugged_is_silent_and_the_others_answer(running: Running) -> None:
    async def ask() -> None:
        async with connected(running.served.tcp, baud=19200, timeout=0.2, tries=1) as bus:
            running.rig.sensor_faults[12] = SensorFault(silent=True)
            with pytest.raises(NoReply, match=r"unit 12.*address, its supply and its stub"):
                await bus.read(unit=12, function=4, start=0, count=1)
            assert await bus.read(unit=11, function=4, start=0, count=1) == (0x1234,)
            del running.rig.sensor_faults[12]

    asyncio.run(ask())


def test_the_spectrum_shows_the_lines_of_a_table_made_by_hand() -> None:
    """24.75 Hz x 17 teeth = 420.75 Hz; / 71 x 19 = 112.5951 Hz; twice the first 841.5 Hz. No signal code of ours is used."""
    rig = new_rig()
    step = decode(profile("three-axis vibration").registers["record step"], rig.read(11, 44, 2))
    counts = np.array(rig.read(11, 100, 64000), dtype=np.uint16).view(np.int16)
    spectrum = np.abs(np.fft.rfft(counts * step * np.hanning(64000)))
    hz = np.fft.rfftfreq(64000, 1 / 12800)
    for line in (420.75, 112.5951, 841.5, 1262.25, 420.75 - 24.75, 420.75 + 24.75):
        near = np.abs(hz - line) < 8
        assert hz[near][spectrum[near].argmax()] == pytest.approx(line, abs=0.2)


def test_a_fault_put_in_while_it_runs_shows_at_its_rate_in_the_plain_envelope() -> None:
    """Outer race of 16 elements, 17.5 on 95 mm at 13 degrees: 8 x (1 - 0.17949) x 24.75 x 17/71 = 38.90 Hz; 0.4 % less by load."""
    rig = new_rig()
    rig.set_fault("intermediate bearing, left", "outer_race", 20.0)
    rig.read(12, 40, 1)
    samples = np.array(rig.read(12, 100, 64000), dtype=np.uint16).view(np.int16).astype(float)
    spectrum = np.fft.rfft(samples)
    hz = np.fft.rfftfreq(64000, 1 / 12800)
    spectrum[(hz < 2500) | (hz > 3500)] = 0
    envelope = np.fft.irfft(spectrum) ** 2
    lines = np.abs(np.fft.rfft(envelope - envelope.mean()))
    seen = hz[np.argmax(np.where((hz > 20) & (hz < 60), lines, 0))]
    assert seen == pytest.approx(38.90 * 0.996, abs=0.3)


@pytest.mark.parametrize(
    "row", [row for row in rows("modbus_checks.csv") if row["topic"] == "integer registers"], ids=lambda row: row["id"]
)
def test_published_integers_are_decoded(row: dict[str, str]) -> None:
    """Rows MI* of modbus_checks.csv, two's complement, high word first."""
    words = [int(word, 16) for word in json.loads(row["inputs"])["registers"]]
    plain = replace(profile("three-axis vibration").registers["serial"], type="i16" if len(words) == 1 else "i32")
    assert decode(plain, words) == float(row["value"])


def test_a_fault_reaches_the_sensor_on_its_own_bearing_ten_times_as_strong() -> None:
    form = profile("three-axis vibration").registers["high-frequency acceleration z"]
    rig = new_rig()
    sound = {unit: decode(form, rig.read(unit, form.address, 2)) for unit in (11, 12)}
    rig.set_fault("intermediate bearing, left", "outer_race", 60.0)
    risen = {unit: decode(form, rig.read(unit, form.address, 2)) ** 2 - sound[unit] ** 2 for unit in (11, 12)}
    assert risen[12] > 0 and risen[11] / risen[12] == pytest.approx(0.01, abs=0.01)


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_a_value_the_device_marks_as_no_number_is_bad(value: float) -> None:
    register = profile("drive inputs").registers["speed"]
    words = struct.unpack(">HH", struct.pack(">f", value))
    with pytest.raises(OutOfRange, match="the device marks this value as bad"):
        decode(register, words)


def test_still_it_is_quiet_and_running_it_is_not() -> None:
    rig = new_rig()
    form = profile("three-axis vibration").registers["overall velocity z"]
    running = decode(form, rig.read(11, form.address, 2))
    rig.set_speed(0.0)
    still = decode(form, rig.read(11, form.address, 2))
    assert still < running / 5 and rig.read(3, 10, 1) == [0]


def test_the_sump_warms_towards_the_ambient_and_what_the_load_adds() -> None:
    """First-order: after one time constant 1 - 1/e of the rise is done."""
    now = [0.0]
    rig = Rig(load(EXAMPLES / "demo"), lambda: now[0], SPEED_HZ, load=1.0)
    now[0] = 1800.0
    assert rig.read(21, 10, 1)[0] == pytest.approx(10 * (20 + 40 * (1 - np.exp(-1))), abs=1)


def test_the_light_turns_blue_when_nobody_writes_its_heartbeat() -> None:
    now = [0.0]
    rig = Rig(load(EXAMPLES / "demo"), lambda: now[0], SPEED_HZ)
    rig.write(31, 20, [LAMPS["green"], 1])
    assert rig.read(31, 10, 1) == [LAMPS["green"]]
    now[0] = 10.5
    assert rig.read(31, 10, 1) == [LAMPS["blue"]]


@pytest.mark.parametrize("order", ["high word first", "low word first"])
@pytest.mark.parametrize("shift", [-1, 0, 1])
def test_word_order_and_a_shift_by_one_are_told_from_the_constants(order: str, shift: int) -> None:
    rig = new_rig()
    rig.sensor_faults[11] = SensorFault(swapped_words=order == "low word first", shift=shift)
    assert find_word_order(profile("three-axis vibration"), rig.read(11, 0, 8)) == (order, shift)


def test_a_device_of_another_kind_has_no_word_order() -> None:
    assert find_word_order(profile("stack light"), [0x1234, 1, 2, 3, 4, 5, 6]) == (None, 0)


@pytest.mark.parametrize(
    "row", [row for row in rows("modbus_checks.csv") if row["topic"] == "float32 word order"], ids=lambda row: row["id"]
)
def test_published_words_are_decoded_in_both_orders(row: dict[str, str]) -> None:
    """Rows MW* of modbus_checks.csv: ABCD is high word first, CDAB low word first."""
    value = json.loads(row["inputs"])["value"]
    plain = replace(profile("three-axis vibration").registers["constant real"], constant=None)
    abcd, cdab = ([int(word, 16) for word in words.split()] for words in row["value"].split("|")[:2])
    assert decode(plain, abcd) == pytest.approx(value, rel=1e-6)
    assert decode(plain, cdab, "low word first") == pytest.approx(value, rel=1e-6)
    assert list(encode(plain, value)) == abcd and list(encode(plain, value, "low word first")) == cdab


def test_every_profile_is_whole_and_values_go_there_and_back() -> None:
    for name in profile_names():
        for one in profile(name).registers.values():
            value = one.constant if one.constant is not None else 300.0 if one.kind == "temperature" else 0.01 if one.kind else 1.0
            assert decode(one, encode(one, value)) == pytest.approx(value, rel=1e-6, abs=0.05 if one.type != "f32" else 1e-9)


def test_what_no_rig_has_is_refused_by_name() -> None:
    rig = new_rig()
    with pytest.raises(OutOfRange, match="one of: input bearing, coupling end"):
        rig.set_fault("bearing 9", "outer_race", 1.0)
    with pytest.raises(OutOfRange, match="one of: outer race, inner race"):
        rig.set_fault("input bearing, far end", "crack", 1.0)
    with pytest.raises(OutOfRange, match="0 Hz or more"):
        rig.set_speed(-1.0)


@pytest.mark.parametrize(
    ("order", "says"),
    [
        ("speed 1200 rpm", "turns at 1200 rpm"),
        ("stop", "stands still"),
        ("load 80 %", "load 80 %"),
        ("ambient 30 °C", "ambient 30 °C"),
        ("sump 70 °C", "sump 70 °C"),
        ("state overrunning", "state overrunning"),
        ("fault outer_race 2.5 m/s2 at intermediate bearing, left", "outer race at intermediate bearing, left: 2.5 m/s2"),
        ("fault tooth 10 m/s2 at intermediate in low-speed mesh", "tooth at intermediate in low-speed mesh: 10 m/s2"),
        ("fault unbalance 4 mm/s at input", "unbalance at input: 4 mm/s"),
        ("fault electrical 2 mm/s", "electrical: 2 mm/s"),
        ("fault background 3 mm/s at 18.3 Hz for 2 h", "background at 18.3 Hz: 3 mm/s for 2 h"),
        ("fault offset -20 m/s2 at input coupling end x", "offset at input coupling end x: -20 m/s2"),
        ("fault late 300 ms at 12 in 20 % for 10 min", "late at 12: 300 ms in 20 % for 10 min"),
        ("fault lost 20 % at bus", "lost at bus: 20 %"),
        ("fault clock drift 500 ppm at 12", "clock drift at 12: 500 ppm"),
        ("fault brown-out 5 s at 12", "brown-out at 12: 5 s"),
        ("grow unbalance at input to 8 mm/s over 2 h", "unbalance at input grows to 8 mm/s over 2 h"),
        ("tap intermediate left", "towards the output end"),
        ("fault unplugged at 12", "unplugged at 12"),
        ("fault stuck at 12 for 30 s", "stuck at 12 for 30 s"),
        ("fault swapped words at 12", "unit 12: swapped words"),
        ("fault shift 1 at 12", "unit 12: shift 1"),
        ("fault axes y x -z at 12", "unit 12: axes y x -z"),
        ("fault address 40 at 12", "unit 12: address 40"),
        ("mend 12", "unit 12: mended"),
        ("mend all", "nothing is wrong any more"),
        ("faults", "nothing is wrong"),
    ],
)
def test_orders_are_carried_out_and_said(order: str, says: str) -> None:
    assert says in obey(new_rig(), order)


@pytest.mark.parametrize(
    ("order", "rule"),
    [
        ("jump", "one of: speed, stop"),
        ("speed 1200", "a speed with its unit"),
        ("fault", "fault KIND SIZE at PLACE; kinds: outer race"),
        ("fault outer_race", "fault outer race SIZE (peak of one knock's ring, in m/s2) at BEARING"),
        ("fault unplugged 3 at 12", "fault unplugged at UNIT"),
        ("fault crack 3 m/s2 at input", "one of: outer race"),
        ("fault unbalance 4 mm/s at nowhere", "one of: input; intermediate; output"),
        ("fault unbalance 4 at input", "a velocity with its unit"),
        ("fault tooth 4 m/s2 at intermediate", "intermediate in high-speed mesh; intermediate in low-speed mesh"),
        ("fault lost 120 % at 12", "a share of 1 at most"),
        ("fault unbalance -4 mm/s at input", "a size of 0 or more"),
        ("fault electrical 4 mm/s at input", "place='input'"),
        ("grow unbalance to 8 mm/s", "grow KIND at PLACE to SIZE over TIME"),
        ("grow stuck at 12 to 1 over 2 h", "stuck is there or not"),
        ("fault lost 20 % at 12 in 10 %", "fault lost SIZE"),
        ("fault swapped words at 12 for 10 min", "not now and then"),
        ("fault brown-out 5 s at 12 for 1 h", "at UNIT [in SHARE]"),
        ("mend unbalance at input", "one that is there: none"),
        ("state sideways", "one of: steady"),
        ("fault address 300 at 12", "1 to 247"),
        ("tap nowhere", "one of: input coupling end"),
        ("fault unplugged at 99", "one of: 3; 11; 12; 21; 31; bus"),
        ("mend 99", "one of: 3, 11, 12, 21, 31"),
        ("fault axes x x z at 12", "x, y and z in the order"),
        ("fault shift 5 at 12", "1 or -1"),
    ],
)
def test_an_order_that_is_none_changes_nothing_and_says_what_would_be_one(order: str, rule: str) -> None:
    rig = new_rig()
    with pytest.raises(OutOfRange, match=re.escape(rule)):
        obey(rig, order)
    assert rig.speed_hz == SPEED_HZ and not rig.faults and not rig.sensor_faults


def test_the_command_serves_until_its_orders_end() -> None:
    port = free_port()
    command = [sys.executable, "-m", "gearcase.cli", "rig", str(EXAMPLES / "demo"), "--port", str(port), "--speed", "900 rpm"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stdout and process.stdin
        assert process.stdout.readline() == f"tcp 127.0.0.1:{port}\n"

        async def speed() -> float:
            async with connected(f"tcp 127.0.0.1:{port}", baud=19200) as bus:
                return 60 * decode(
                    profile("drive inputs").registers["speed"], await bus.read(unit=3, function=4, start=11, count=2)
                )

        assert asyncio.run(speed()) == pytest.approx(900.0)
        out, err = process.communicate("speed 1200 rpm\nspeed 5\n", timeout=20)
    assert process.returncode == 0 and "turns at 1200 rpm" in out and "a speed with its unit" in err


def test_the_rig_ends_quietly_while_somebody_is_connected() -> None:
    port = free_port()
    command = [sys.executable, "-m", "gearcase.cli", "rig", str(EXAMPLES / "demo"), "--port", str(port)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stdout and process.stdout.readline() == f"tcp 127.0.0.1:{port}\n"
        with socket.create_connection(("127.0.0.1", port), timeout=5) as wire:
            wire.sendall(struct.pack(">HHHBBHH", 7, 0, 6, 21, 4, 0, 1))
            assert wire.recv(64)
            _, err = process.communicate(timeout=30)
    assert (process.returncode, err) == (0, "")


def test_with_json_the_command_gives_one_document_and_nothing_else_there() -> None:
    command = [sys.executable, "-m", "gearcase.cli", "rig", str(EXAMPLES / "demo"), "--port", str(free_port()), "--json"]
    made = subprocess.run(command, input="speed 1200 rpm\n", capture_output=True, text=True, check=True)
    assert json.loads(made.stdout)["units"] == [3, 11, 12, 21, 31] and "turns at 1200 rpm" in made.stderr


def test_a_port_that_is_taken_is_named() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        command = [sys.executable, "-m", "gearcase.cli", "rig", str(EXAMPLES / "demo"), "--port", port]
        done = subprocess.run(command, capture_output=True, text=True, stdin=subprocess.DEVNULL, check=False)
    assert done.returncode == 2 and f"given {port}" in done.stderr and "nothing else uses" in done.stderr
