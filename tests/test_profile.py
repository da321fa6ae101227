"""Register maps as data: coding in every order against the published words, everything wrong with a map named by its row, and maps
that a job brings itself."""

import asyncio
import json
import math
import struct
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from gearcase.device.rig import Rig, RigBus
from gearcase.drawings.installed import tag_list
from gearcase.errors import BadInput, BadReply, OutOfRange
from gearcase.install.profile import Profile, blocks, profile, profile_names, profiles_of
from gearcase.install.register import ORDERS, Register, WordOrder, decode, encode, words_of_identity
from gearcase.job.build import load
from gearcase.monitor.inputs import Inputs
from gearcase.monitor.polling import poll, take_records
from gearcase.stages import plan
from gearcase.tables import load as load_table
from published import rows
from test_stages import EXAMPLES
from wires import over_network, registers

PLAIN = Register("plain", 0, 4, "f32", 1.0, "", "", None, None, None)
FORMATS = {"u16": ">H", "i16": ">h", "u32": ">I", "i32": ">i", "f32": ">f", "u64": ">Q", "i64": ">q", "f64": ">d"}


def of_type(type_: str, order: WordOrder = ORDERS[0]) -> Register:
    return Register("plain", 0, 4, type_, 1.0, "", "", None, None, None, order=order)


@pytest.mark.parametrize(
    "row", [row for row in rows("modbus_checks.csv") if row["topic"] == "float32 word order"], ids=lambda row: row["id"]
)
def test_published_words_are_read_and_made_in_all_four_orders(row: dict[str, str]) -> None:
    """Rows MW* of modbus_checks.csv: ABCD, CDAB, BADC, DCBA."""
    value = json.loads(row["inputs"])["value"]
    for order, shown in zip(ORDERS, row["value"].split("|"), strict=True):
        words = [int(word, 16) for word in shown.split()]
        assert decode(of_type("f32", order), words) == pytest.approx(value, rel=1e-6)
        assert list(encode(of_type("f32", order), value)) == words


@given(type_=st.sampled_from(sorted(FORMATS)), order=st.sampled_from(ORDERS), data=st.binary(min_size=8, max_size=8))
def test_words_go_there_and_back_in_every_type_and_order(type_: str, order: WordOrder, data: bytes) -> None:
    """By Python's own packing of IEEE 754 and two's complement, the order applied by hand."""
    packed = data[: struct.calcsize(FORMATS[type_])]
    value = struct.unpack(FORMATS[type_], packed)[0]
    if not math.isfinite(value) or (type_ in ("u64", "i64") and abs(value) > 2**53):  # beyond, a float holds no whole numbers
        return
    pairs = [packed[n : n + 2] for n in range(0, len(packed), 2)]
    pairs = [pair[::-1] for pair in pairs] if "swapped" in order else pairs
    words = [int.from_bytes(pair, "big") for pair in (pairs[::-1] if order.startswith("low") else pairs)]
    assert decode(of_type(type_, order), words) == value
    assert list(encode(of_type(type_, order), value)) == words


@given(
    raw=st.integers(-32768, 32767),
    scale=st.sampled_from([1.0, 0.1, 0.01, 10.0, -1.0, 0.5]),
    offset=st.sampled_from([0.0, -40.0, 273.15]),
    unit=st.sampled_from([("degC", "temperature"), ("degF", "temperature"), ("mm/s", "velocity"), ("rpm", "speed"), ("", "")]),
)
def test_scale_offset_and_unit_go_there_and_back(raw: int, scale: float, offset: float, unit: tuple[str, str]) -> None:
    assume(unit[1] != "temperature" or raw * scale + offset > -273)  # colder there is nothing
    one = Register("one", 0, 4, "i16", scale, unit[0], unit[1], None, None, None, offset=offset)
    words = (raw & 0xFFFF,)
    assert encode(one, decode(one, words)) == words


def test_a_fahrenheit_register_with_an_offset_by_hand() -> None:
    """Raw 1180 x 0.1 - 50 = 68 degF = 20 degC = 293.15 K."""
    one = Register("one", 0, 4, "u16", 0.1, "degF", "temperature", None, None, None, offset=-50.0)
    assert decode(one, [1180]) == pytest.approx(293.15)


def test_bits_and_texts() -> None:
    assert [decode(of_type(f"bit{n}"), [0b1000]) for n in (2, 3)] == [0.0, 1.0]
    serial = [0x5653, 0x2D34, 0x3131]
    assert words_of_identity(of_type("text3"), serial) == "VS-411"
    swapped = [(word & 0xFF) << 8 | word >> 8 for word in serial]
    assert words_of_identity(of_type("text3", ORDERS[2]), swapped) == "VS-411"
    assert words_of_identity(of_type("u32"), [1, 2]) == "65538"


def test_every_profile_of_the_house_has_what_proving_it_needs() -> None:
    for name in profile_names():
        form = profile(name)
        assert form.with_role("constant") and form.with_role("model") and form.with_role("serial")
        for one in form.with_role("output"):
            assert one.function == 3 and one.low is not None and one.high is not None and one.fallback is not None


GOOD = {
    "profile": "vs-300",
    "register": "temperature",
    "role": "",
    "address": "10",
    "function": "4",
    "type": "i16",
    "order": "",
    "scale": "0.1",
    "offset": "",
    "unit": "degC",
    "kind": "temperature",
    "constant": "",
    "low": "-40",
    "high": "125",
    "fallback": "",
    "source": "data sheet",
    "basis": "looked-up",
}
OUTPUT = {"role": "output", "function": "3", "type": "u16", "unit": "", "kind": "", "scale": "1", "low": "0", "high": "31"}


@pytest.mark.parametrize(
    ("changed", "column", "rule"),
    [
        ({"type": "u24"}, "type", "a type out of u16"),
        ({"type": "text40"}, "type", "text1 to text32"),
        ({"scale": "0"}, "scale", "not 0"),
        ({"scale": ""}, "scale", "1 where"),
        ({"scale": "a tenth"}, "scale", "a number"),
        ({"offset": "inf"}, "offset", "a number"),
        ({"order": "middle first"}, "order", "low word first"),
        ({"unit": "furlong"}, "unit", "a unit of temperature, not 'furlong'"),
        ({"kind": "warmth"}, "kind", "temperature"),
        ({"address": "65536"}, "address", "0 to 65535"),
        ({"address": "-1"}, "address", "0 to 65535"),
        ({"address": "65535", "type": "u32"}, "address", "2 registers from there end past 65535"),
        ({"function": "6"}, "function", "3 (holding register) or 4"),
        ({"low": "200"}, "high", "upside down"),
        ({"constant": "4000"}, "constant", "a value that i16 can hold"),
        ({"constant": "0.05", "scale": "1"}, "constant", "a value that i16 can hold"),
        ({"role": "model"}, "constant", "what it must read"),
        ({"role": "guess"}, "role", "one of: nothing (a reading), constant"),
        ({"register": " "}, "register", "a name"),
        ({**OUTPUT, "function": "4", "fallback": "8"}, "function", "an input register cannot be written"),
        (OUTPUT, "low", "needs low, high and fallback"),
        ({**OUTPUT, "fallback": "40"}, "fallback", "inside low and high"),
        ({**OUTPUT, "fallback": "1", "type": "bit3"}, "type", "whole registers"),
        ({"type": "text2", "constant": "VS-300", "kind": "", "unit": ""}, "constant", "at most 4 characters"),
        ({"role": "waveform", "kind": "acceleration", "unit": "g"}, "role", "waveform samples and waveform rate"),
    ],
)
def test_what_is_wrong_with_a_row_is_named_with_its_column(changed: Mapping[str, str], column: str, rule: str) -> None:
    found, wrong = profiles_of([{**GOOD, "register": "fine", "address": "100"}, {**GOOD, **changed}])
    assert "fine" in found["vs-300"].registers
    assert [(number, where) for number, where, _ in wrong] == [(1, column)] and rule in wrong[0][2]


def test_contradictions_between_rows_are_named_all_at_once() -> None:
    wrong = profiles_of(
        [
            {**GOOD, "type": "u32"},
            {**GOOD, "register": "other", "address": "11"},
            {**GOOD, "register": "other", "address": "20"},
            {**GOOD, "register": "holding", "address": "10", "function": "3"},
            {**GOOD, "register": "running", "address": "30", "type": "bit1", "kind": "", "unit": "", "scale": "1"},
            {**GOOD, "register": "reverse", "address": "30", "type": "bit2", "kind": "", "unit": "", "scale": "1"},
            {**GOOD, "register": "again", "address": "30", "type": "bit2", "kind": "", "unit": "", "scale": "1"},
            {**GOOD, "scale": "0", "high": "-50"},
        ]
    )[1]
    assert [(number, column) for number, column, _ in wrong] == [
        (1, "address"),
        (2, "register"),
        (6, "address"),
        (7, "high"),
        (7, "scale"),
    ]
    assert "both at register 11" in wrong[0][2]


def test_a_house_table_that_contradicts_itself_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    from gearcase.install import profile as module

    good = [dict(row) for row in load_table("registers")]
    monkeypatch.setattr(module, "load", lambda _: [*good[:-1], {**good[-1], "address": "1"}])
    with pytest.raises(OutOfRange, match="both at register 1"):
        module._house.__wrapped__()


def test_reads_touch_no_register_that_the_profile_does_not_know() -> None:
    registers = {
        name: Register(name, at, function, "u16", 1, "", "", None, None, None)
        for name, at, function in (("a", 0, 4), ("b", 1, 4), ("c", 3, 4), ("d", 4, 3), ("e", 5, 3))
    }
    form = Profile("p", registers)
    assert blocks(form, registers.values()) == ((3, 4, 2), (4, 0, 2), (4, 3, 1))
    assert blocks(Profile("p", registers, longest_read=1), [registers["a"], registers["b"]]) == ((4, 0, 1), (4, 1, 1))


OWN = """profile,register,role,address,function,type,order,scale,offset,unit,kind,constant,low,high,fallback,source,basis
vs-300,kind,model,100,3,text3,,1,,,,VS-300,,,,its data sheet,looked-up
vs-300,serial,serial,103,3,u32,low word first,1,,,,,,,,its data sheet,looked-up
vs-300,temperature,,200,4,i16,,0.1,,degF,temperature,,-40,300,,its data sheet,looked-up
vs-300,overall velocity z,,202,4,f32,low word first,1,,mm/s,velocity,,0,100,,its data sheet,looked-up
vs-300,rate,waveform rate,,,u16,,1,,Hz,frequency,6400,,,,its data sheet,looked-up
vs-300,length,waveform samples,,,u16,,1,,,,500,,,,its data sheet,looked-up
vs-300,take,waveform trigger,300,3,u16,,1,,,,,,,,its data sheet,looked-up
vs-300,whole,waveform ready,301,3,u16,,1,,,,,,,,its data sheet,looked-up
vs-300,hold,waveform freeze,302,3,u16,,1,,,,,,,,its data sheet,looked-up
vs-300,samples,waveform,1000,4,i16,,0.001,,g,acceleration,,,,,its data sheet,looked-up
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The demo with one sensor of a kind that the house does not know."""
    text = (EXAMPLES / "demo" / "job.yaml").read_text(encoding="utf-8")
    changed = text.replace("profile: three-axis vibration, address: 11", "profile: vs-300, address: 11")
    assert changed != text
    (tmp_path / "job.yaml").write_text(changed, encoding="utf-8")
    (tmp_path / "profiles").mkdir()
    (tmp_path / "profiles" / "vs-300.csv").write_text(OWN, encoding="utf-8")
    return tmp_path


def held() -> dict[int, dict[int, int]]:
    """The sensor's registers by its sheet: 86.0 degF, 2.5 mm/s, and a record that counts up."""
    words = {100: 0x5653, 101: 0x2D33, 102: 0x3030, 103: 411, 104: 0, 200: 860, 300: 0, 301: 1, 302: 0}
    high, low = struct.unpack(">HH", struct.pack(">f", 2.5))
    words |= {202: low, 203: high} | {1000 + n: (n - 250) & 0xFFFF for n in range(500)}
    return {11: words}


def test_a_job_brings_the_map_of_a_device_the_house_does_not_know(folder: Path) -> None:
    job = load(folder)
    device = next(one for one in job.bus.devices if one.address == 11)

    async def test() -> None:
        written: list[tuple[int, int, tuple[int, ...]]] = []
        from gearcase.device.modbus import connected

        async with over_network(registers(held(), written)) as (where, wires), connected(where, baud=19200, timeout=0.1) as bus:
            found = {(one.point, one.quantity): one.value for one in await poll(job, bus, Inputs(job), now=0.0)}
            assert found[device.point, "temperature"] == pytest.approx(303.15), "86 degF is 30 degC"
            assert found[device.point, "overall velocity"] == pytest.approx(2.5e-3)
            asked = [struct.unpack(">HH", pdu[1:5]) for unit, pdu in wires[0].asked if unit == 11]
            assert asked == [(200, 1), (202, 2)], "201 is none of its registers"
            (record,) = await take_records(bus, device, device.form.records[0], speed_hz=None, start="")
            assert record.sample_rate_hz == 6400 and record.unit == "m/s2"
            assert record.samples == pytest.approx((np.arange(500) - 250) * 1e-3 * 9.80665, rel=1e-6)
            assert written == [(11, 300, (1,)), (11, 302, (1,)), (11, 302, (0,))], "asked for, kept, let go"

    asyncio.run(test())


def test_a_record_that_never_gets_ready_is_said(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    job = load(folder)
    device = next(one for one in job.bus.devices if one.address == 11)
    monkeypatch.setattr("gearcase.device.records._LOOKS_A_SECOND", 100)
    monkeypatch.setattr("gearcase.device.records._LOOKS", 3)

    async def test() -> None:
        from gearcase.device.modbus import connected

        words = held()
        words[11][301] = 0
        async with over_network(registers(words)) as (where, _), connected(where, baud=19200, timeout=0.1) as bus:
            with pytest.raises(BadReply, match="not ready"):
                await take_records(bus, device, device.form.records[0], speed_hz=None, start="")

    asyncio.run(test())


def test_the_plants_tag_list_has_the_map_that_the_job_brings(folder: Path) -> None:
    document = plan.run(load(folder)).document
    text = tag_list(document["bus"]["devices"], document["bus"]["profiles"]).decode()
    assert "vibration input,11,overall velocity z,4,202,203,f32,low word first,1.0,mm/s" in text


def test_everything_wrong_with_a_jobs_own_map_is_named_by_file_and_line(folder: Path) -> None:
    path = folder / "profiles" / "vs-300.csv"
    path.write_text(
        OWN.replace("200,4,i16,,0.1", "200,4,i16,,0").replace("202,4", "200,4")
        + OWN.splitlines()[1].replace("vs-300", "stack light"),
        encoding="utf-8",
    )
    (folder / "profiles" / "torn.csv").write_text(OWN.replace(",its data sheet,looked-up\nvs-300,serial", ",,\nvs-300,serial"))
    (folder / "profiles" / "other.csv").write_text("a,b\n1,2\n")
    with pytest.raises(BadInput) as refused:
        load(folder)
    said = [str(problem) for problem in refused.value.problems]
    assert [one.partition("   ")[0] for one in said] == [
        "profiles/other.csv:1",
        "profiles/torn.csv:2",
        "profiles/vs-300.csv:4",
        "profiles/vs-300.csv:12",
    ]
    assert "not 0" in said[2] and "there is a stack light already" in said[3]


def test_a_profile_that_nobody_has_is_refused_with_those_there_are(folder: Path) -> None:
    (folder / "profiles" / "vs-300.csv").unlink()
    with pytest.raises(BadInput, match=r'job\.yaml:\d+   bus\.devices\[1\]\.profile   given "vs-300"   one of: .*stack light'):
        load(folder)


def test_a_changed_map_is_what_results_rest_on(folder: Path) -> None:
    before = load(folder).sources(("profiles",))
    path = folder / "profiles" / "vs-300.csv"
    path.write_text(OWN.replace("mm/s", "in/s"), encoding="utf-8")
    assert load(folder).sources(("profiles",)) != before


def test_the_houses_own_records_come_by_their_rows_too() -> None:
    rig = Rig(load(EXAMPLES / "demo"), lambda: 0.0, 24.75)
    device = next(one for one in rig.job.bus.devices if one.address == 11)
    (record,) = asyncio.run(take_records(RigBus(rig), device, device.form.records[0], speed_hz=None, start=""))
    counts = np.array(rig.read(11, 100, 64000), dtype=np.uint16).view(np.int16)
    assert record.samples == pytest.approx(counts * struct.unpack(">f", struct.pack(">HH", *rig.read(11, 44, 2)))[0], rel=1e-6)


def test_a_run_state_in_a_bit_of_a_foreign_device_is_an_input_of_the_drive(folder: Path) -> None:
    row = "vs-300,running,,400,4,bit3,,1,,,,,,,,its data sheet,looked-up\n"
    (folder / "profiles" / "vs-300.csv").write_text(OWN + row, encoding="utf-8")
    (one,) = [one for one in Inputs(load(folder)).registers if one.input.name == "vibration input, running"]
    assert decode(one.register, [0b1000]) == 1.0
