"""A bus of one's own: who answers is found by reads alone, once somebody has said that nobody else is on it; one address is set at
a time. The devices are those of `wires`, written from the protocol's specification."""

import asyncio
import json
import re
import struct
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest

from gearcase.cli import main
from gearcase.device.modbus import ModbusBus, connected
from gearcase.device.rig import Rig
from gearcase.device.serving import serving
from gearcase.install.profile import profile
from gearcase.install.register import encode
from gearcase.job.build import load
from gearcase.stages import address, scan
from rigserver import free_port
from test_rig import new_rig
from test_stages import EXAMPLES
from wires import Wire, on_a_line, over_network, registers

JOB = load(EXAMPLES / "demo")
PLANNED = {device.address: device for device in JOB.bus.devices}
NEAR = [*range(1, 40)]


def words(name: str, serial: int) -> dict[int, int]:
    """Registers of a device of the house: constants, model and serial by its profile, 0 elsewhere."""
    form = profile(name)
    held = dict.fromkeys(range(64), 0)
    for one in form.registers.values():
        value = serial if one.name == "serial" else one.constant
        if value is not None:
            held |= dict(enumerate(encode(one, value), one.address))
    return held


def bus_as_planned() -> dict[int, dict[int, int]]:
    return {unit: words(device.profile, 40000 + unit) for unit, device in PLANNED.items()}


@asynccontextmanager
async def opened(where: str) -> AsyncIterator[ModbusBus]:
    async with connected(where, baud=115200, timeout=0.02, tries=1) as bus:
        yield bus


async def scanned(bus: ModbusBus, at: scan.Settings | None = None, serials: dict[str, str] | None = None) -> dict[str, Any]:
    result = await scan.run(
        JOB, bus, confirmed_by="A. Fitter", addresses=NEAR, listen=0.05, at=at, serials=serials or {}, tell=lambda _: None
    )
    return {**result.document, "wrong": result.wrong}


def only_reads(wires: Sequence[Wire]) -> None:
    for wire in wires:
        assert {pdu[0] for _, pdu in wire.asked} <= {3, 4}, "a scan writes nothing"
        assert all(1 <= unit <= 247 for unit, _ in wire.asked), "and asks nobody in general"


def test_a_bus_as_planned_is_found_whole_by_reads_alone() -> None:
    async def test() -> None:
        async with on_a_line(registers(bus_as_planned())) as (where, wires), opened(where) as bus:
            document = await scanned(bus)
            found = {row["address"]: (row["outcome"], row["profile"], row["serial"]) for row in document["found"]}
            assert found == {unit: ("answers", one.profile, str(40000 + unit)) for unit, one in PLANNED.items()}
            assert not document["wrong"] and document["findings"] == [] and document["confirmed_by"] == "A. Fitter"
            only_reads(wires)

    asyncio.run(test())


def test_where_somebody_else_talks_nothing_is_asked() -> None:
    async def test() -> None:
        async with on_a_line(registers(bus_as_planned())) as (where, wires), opened(where) as bus:
            asyncio.get_running_loop().call_later(0.02, wires[0].send, bytes.fromhex("0B 04 00 00 00 01"))
            document = await scanned(bus)
            assert document["wrong"] and "somebody else talks on this bus (6 bytes" in document["statement"]
            assert wires[0].asked == []

    asyncio.run(test())


def test_missing_exchanged_unplanned_and_foreign_devices_are_said() -> None:
    held = bus_as_planned()
    del held[21]
    held[31] = words("temperature converter", 40021)
    held[5] = words("stack light", 40031)
    held[7] = {0: 1, 1: 2}

    async def test() -> None:
        async with over_network(registers(held)) as (where, wires), opened(where) as bus:
            document = await scanned(bus, serials={"sump temperature": "40021", "vibration input": "77"})
            said = "\n".join(document["findings"])
            assert "sump temperature: nobody answers at unit 21; its serial 40021 answers at 31: set its address" in said
            assert "stack light: at unit 31 a temperature converter answers where a stack light is planned" in said
            assert "vibration input: at unit 11 serial 40011 answers; as built it is 77" in said
            assert "unit 5 answers and is not in the plan: a stack light, serial 40031" in said
            assert "unit 7 answers and is not in the plan" in said and "nobody can listen first" in said
            assert document["wrong"]
            only_reads(wires)

    asyncio.run(test())


def test_a_register_refused_is_an_answer() -> None:
    async def test() -> None:
        async with over_network(registers({9: {5: 1}})) as (where, _), opened(where) as bus:
            document = await scanned(bus)
            assert [(row["address"], row["outcome"]) for row in document["found"]] == [(9, "answers")]

    asyncio.run(test())


@pytest.mark.parametrize(
    ("spoil", "outcome"),
    [
        (lambda frame: [(0.0, frame), (0.004, frame)], "clash"),  # both speak, one after the other
        (lambda frame: [(0.0, frame + frame)], "clash"),
        (lambda frame: [(0.0, bytes(byte | 0x40 for byte in frame))], "garbled"),  # both at once, always
    ],
)
def test_two_devices_at_one_address_show_as_a_clash_or_as_garble(spoil: Any, outcome: str) -> None:
    async def test() -> None:
        async with on_a_line(registers({11: words("stack light", 1)}), spoil=spoil) as (where, _), opened(where) as bus:
            document = await scanned(bus)
            assert [(row["address"], row["outcome"]) for row in document["found"]] == [(11, outcome)]
            assert document["wrong"]

    asyncio.run(test())


def test_a_slow_device_is_no_clash() -> None:
    delays = iter([0.0, 0.04, 0.0, *[0.0] * 200])

    async def test() -> None:
        spoil = lambda frame: [(next(delays), frame)]  # noqa: E731
        async with on_a_line(registers({11: words("stack light", 1)}), spoil=spoil) as (where, _), opened(where) as bus:
            document = await scanned(bus)
            (row,) = document["found"]
            assert row["outcome"] == "answers" and "1 of 3 questions had no answer in time" in row["says"]

    asyncio.run(test())


def test_a_device_set_to_another_baud_or_parity_is_found_there() -> None:
    """At its own setting it answers; at any other nothing of it is understood, as on a real line."""
    held = bus_as_planned()
    other = {12: held.pop(12)}
    asked: list[tuple[int, str]] = []

    async def test() -> None:
        async with on_a_line(registers(held)) as (where, _), on_a_line(registers(other)) as (elsewhere, _), opened(where) as bus:

            @asynccontextmanager
            async def at(baud: int, character: str) -> AsyncIterator[ModbusBus]:
                asked.append((baud, character))
                async with opened(elsewhere if (baud, character) == (9600, "8N1") else where) as one:
                    yield one

            document = await scanned(bus, at)
            assert any("unit 12 answers at 9600 8N1: set it to 19200 8E1" in one for one in document["findings"])
            assert (19200, "8E1") not in asked and asked[-1] == (9600, "8N1"), "nobody is left to look for"

    asyncio.run(test())


def movable(held: dict[int, dict[int, int]], *, obeys: bool = True, answers: bool = True) -> Callable[[int, bytes], bytes | None]:
    """Devices that take another address when their register 60 is written."""
    plain = registers(held)

    def answer(unit: int, pdu: bytes) -> bytes | None:
        said = plain(unit, pdu)
        if said is not None and pdu[0] == 16 and struct.unpack(">H", pdu[1:3])[0] == 60:
            if obeys:
                new = held[unit][60]
                held[new] = held.pop(unit)
            return said if answers else None
        return said

    return answer


async def set_address(held: dict[int, dict[int, int]], serial: str, **kind: bool) -> tuple[dict[str, Any], bool, list[Wire]]:
    async def no_wait(_: float) -> None:
        return

    async with over_network(movable(held, **kind), serial=True) as (where, wires), opened(where) as bus:
        result = await address.run(JOB, bus, PLANNED[12], serial=serial, addresses=NEAR, sleep=no_wait)
        return result.document, result.wrong, wires


@pytest.mark.parametrize("answers", [True, False])
def test_an_address_is_set_read_back_and_the_old_one_is_silent(answers: bool) -> None:
    held = {1: words("three-axis vibration", 40012)}
    document, wrong, wires = asyncio.run(set_address(held, "40012", answers=answers))
    assert not wrong and document["was"] == 1 and document["address"] == 12 and document["written"]
    assert "address 1 is 12 now, read back; 1 is silent" in document["statement"] and list(held) == [12]
    assert [(unit, pdu) for unit, pdu in wires[0].asked if pdu[0] == 16] == [(1, struct.pack(">BHHBH", 16, 60, 1, 2, 12))]


@pytest.mark.parametrize(
    ("held", "serial", "says"),
    [
        ({}, "40012", "nobody is heard: nothing was written"),
        ({1: ("three-axis vibration", 40012), 5: ("stack light", 1)}, "40012", r"1 \(answers\), 5 \(answers\) is heard"),
        ({1: ("three-axis vibration", 40011)}, "40012", "serial 40011, not the three-axis vibration with serial 40012"),
        ({1: ("stack light", 40012)}, "40012", "another kind of device"),
    ],
)
def test_nothing_is_written_unless_it_is_the_one_device_in_hand(held: dict[int, tuple[str, int]], serial: str, says: str) -> None:
    document, wrong, wires = asyncio.run(set_address({unit: words(*what) for unit, what in held.items()}, serial))
    assert wrong and not document["written"]
    only_reads(wires)
    assert re.search(says, document["statement"])


def test_a_device_that_keeps_its_old_address_is_said() -> None:
    document, wrong, _ = asyncio.run(set_address({1: words("three-axis vibration", 40012)}, "40012", obeys=False))
    assert wrong and document["written"] and "not set: the old address still answers" in document["statement"]


def test_a_device_that_has_its_address_already_is_left_alone() -> None:
    document, wrong, wires = asyncio.run(set_address({12: words("three-axis vibration", 40012)}, "40012"))
    assert not wrong and "has address 12 already" in document["statement"]
    only_reads(wires)


def test_a_profile_without_such_a_register_is_said() -> None:
    async def test() -> None:
        async with over_network(registers({})) as (where, wires), opened(where) as bus:
            result = await address.run(JOB, bus, PLANNED[3], serial="1", addresses=NEAR)
            assert result.wrong and "no register for its address" in result.document["statement"]
            assert not wires[0].asked

    asyncio.run(test())


def test_the_rig_takes_a_new_address_over_its_wire() -> None:
    rig: Rig = new_rig()

    async def test() -> None:
        async with serving(rig, port=free_port(), baud=115200) as served, connected(served.tcp, baud=115200, timeout=5.0) as bus:
            await bus.write(unit=21, start=60, words=[14])
            assert await bus.read(unit=14, function=4, start=6, count=2) == (0, 40021)

    asyncio.run(test())


def test_the_command_asks_nothing_before_somebody_says_by_name_that_the_master_is_off(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "job.yaml").write_bytes((EXAMPLES / "demo" / "job.yaml").read_bytes())
    assert main(["scan", str(tmp_path), "--connection", "tcp 127.0.0.1:9"]) == 2
    said = capsys.readouterr().err
    assert "--master-off" in said and "--by" in said and "unplugged or stopped" in said
    assert main(["address", str(tmp_path), "--addresses", "0-300", "--master-off", "--by", "A. Fitter"]) == 2
    assert "addresses from 1 to 247" in capsys.readouterr().err


def test_the_command_keeps_who_confirmed_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "job.yaml").write_bytes((EXAMPLES / "demo" / "job.yaml").read_bytes())

    async def test() -> int:
        async with over_network(registers(bus_as_planned())) as (where, _):
            call = [
                "scan",
                str(tmp_path),
                "--connection",
                where,
                "--addresses",
                "1-35",
                "--master-off",
                "--by",
                "A. Fitter",
                "--json",
            ]
            return await asyncio.to_thread(main, call)

    assert asyncio.run(test()) == 0
    document = json.loads(capsys.readouterr().out)
    kept = json.loads((tmp_path / "results" / "scan" / "0001" / "result.json").read_text(encoding="utf-8"))
    assert document["confirmed_by"] == "A. Fitter" and "A. Fitter" in json.dumps(kept)
    assert document["statement"] == "5 of 35 addresses answer; all 5 planned devices are there, and nobody else"
