"""Forms, blocks, axes and pages of a device's records: loaded with what is wrong named, read as devices on a wire hold them, served
by the rig, and taken by the watch by state.

The devices on the wire are written by hand from a data sheet of their own (`wires`), so that reading is held against arithmetic on
counts and not against the rig.
"""

import asyncio
import struct
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from gearcase.device.modbus import connected
from gearcase.device.records import take_records
from gearcase.device.rig import Rig, RigBus, devices
from gearcase.errors import BadReply, BadRequest
from gearcase.install.housing import BusDevice
from gearcase.install.profile import Profile, profile, profiles_of
from gearcase.job.build import Job, load
from gearcase.monitor.records import Records, form_for, kinds, sensors
from gearcase.signal.recording import Recording
from gearcase.stages import diagnose
from gearcase.tables import rows_of
from test_stages import EXAMPLES
from test_watch import Site
from wires import Answer, over_network, registers

DEMO = load(EXAMPLES / "demo")
TWO = profile("two-record vibration")
PLAIN = {"profile": "paged sensor", "function": "4", "type": "u16", "scale": "1", "unit": "", "kind": "", "constant": ""}
PLAIN |= {"low": "", "high": "", "source": "its data sheet", "basis": "looked-up"}


def row(register: str, role: str, address: str = "", **cells: str) -> dict[str, str]:
    return {**PLAIN, "register": register, "role": role, "address": address, **cells}


def sheet(constant: str, of: str = "") -> dict[str, str]:
    return {"constant": constant, "of": of}


def samples_row(register: str, address: str, **cells: str) -> dict[str, str]:
    return row(register, "waveform", address, **{"type": "i16", "unit": "m/s2", "kind": "acceleration", **cells})


def form_of(rows: Sequence[Mapping[str, str]]) -> Profile:
    found, wrong = profiles_of([dict(one) for one in rows])
    assert not wrong, wrong
    return found["paged sensor"]


def device_of(form: Profile) -> BusDevice:
    one = next(one for one in DEMO.bus.devices if one.address == 11)
    return replace(one, profile=form.name, form=form)


ALTERNATING = [
    row("rate", "waveform rate", **sheet("6400")),
    row("length", "waveform samples", **sheet("400")),
    row("what a count is", "waveform step", **sheet("0.01")),
    samples_row("record", "1000", axes="x y z"),
]
IN_PAGES = [
    row("rate", "waveform rate", **sheet("6400")),
    row("length", "waveform samples", **sheet("250")),
    row("page", "waveform page", "50", function="3", low="1", high="9"),
    row("page length", "waveform page samples", **sheet("100")),
    row("number", "waveform number", "51"),
    samples_row("record", "1000", scale="0.01"),
]
BY_BLOCK = [
    row("fast rate", "waveform rate", **sheet("25600", "fast")),
    row("fast length", "waveform samples", **sheet("25600", "fast")),
    row("slow rate", "waveform rate", **sheet("1024", "slow")),
    row("slow length", "waveform samples", **sheet("2000", "slow")),
    samples_row("fast", "1000"),
    samples_row("slow", "60000"),
    row("velocity rate", "waveform rate", **sheet("25600", "velocity")),
    row("velocity length", "waveform samples", **sheet("25600", "velocity")),
    samples_row("velocity", "30000", unit="mm/s", kind="velocity", scale="0.01", axes="x"),
]
BY_REGISTER = [
    row("short", "waveform form", "60", function="3", constant="3"),
    row("long", "waveform form", "60", function="3", constant="4"),
    row("short rate", "waveform rate", "61", **sheet("12800", "short")),
    row("long rate", "waveform rate", "61", **sheet("640", "long")),
    row("short length", "waveform samples", "62", **sheet("300", "short")),
    row("long length", "waveform samples", "62", **sheet("600", "long")),
    row("number", "waveform number", "63"),
    samples_row("record", "1000"),
]


def taken(form: Profile, answer: Answer, which: int = 0) -> tuple[Recording, ...]:
    async def go() -> tuple[Recording, ...]:
        async with over_network(answer) as (where, _), connected(where, baud=19200, timeout=0.1) as bus:
            return await take_records(bus, device_of(form), form.records[which], speed_hz=None, start="")

    return asyncio.run(go())


def counts(words: Sequence[int], start: int = 1000) -> dict[int, int]:
    return {start + n: word & 0xFFFF for n, word in enumerate(words)}


def test_axes_that_alternate_in_one_block_come_apart() -> None:
    """Counts n, n + 1000, -n of x, y, z; a count is 0.01 m/s2 by the sheet."""
    words = [value for n in range(400) for value in (n, n + 1000, -n)]
    found = taken(form_of(ALTERNATING), registers({11: counts(words)}))
    assert [one.channel for one in found] == ["x", "y", "z"] and len({one.name for one in found}) == 1
    for one, expected in zip(found, (np.arange(400), np.arange(400) + 1000, -np.arange(400)), strict=True):
        assert one.samples == pytest.approx(0.01 * expected, rel=1e-6) and one.sample_rate_hz == 6400


class Paged:
    """A device that holds a record of 250 samples in pages of 100, numbered from 1; somebody else may turn them too."""

    def __init__(self, *, disturbed: bool = False) -> None:
        self.written: list[tuple[int, int, tuple[int, ...]]] = []
        self.held = {11: {50: 7, 51: 1, **counts([0] * 100)}}
        self.disturbed = disturbed
        self.plain = registers(self.held, self.written)

    def __call__(self, unit: int, pdu: bytes) -> bytes | None:
        said = self.plain(unit, pdu)
        if pdu[0] == 16:
            page = self.held[11][50]
            self.held[11] |= counts([(page - 1) * 100 + n for n in range(100)])
        elif self.disturbed and struct.unpack(">H", pdu[1:3]) == (1000,) and self.held[11][50] == 2:
            self.held[11][50] = 1
        return said


def test_a_record_in_pages_is_read_page_by_page_and_nothing_else_is_written() -> None:
    paged = Paged()
    (found,) = taken(form_of(IN_PAGES), paged)
    assert found.samples == pytest.approx(0.01 * np.arange(250), rel=1e-6)
    assert paged.written == [(11, 50, (1,)), (11, 50, (2,)), (11, 50, (3,))]


def test_pages_that_somebody_else_turns_are_said() -> None:
    with pytest.raises(BadReply, match="page 2 of its record: page 1 stands there"):
        taken(form_of(IN_PAGES), Paged(disturbed=True))


def test_blocks_of_one_rate_are_read_together_and_those_of_another_are_another_form() -> None:
    """A fast block of acceleration and one of velocity, 0.01 mm/s a count, belong together; the slow one is on its own."""
    form = form_of(BY_BLOCK)
    held = {11: counts(range(25600)) | counts(range(2000), 60000) | counts(range(25600), 30000)}
    assert [one.name for one in form.records] == ["fast", "slow"]
    fast, velocity = taken(form, registers(held))
    assert (fast.unit, fast.channel, velocity.unit, velocity.channel) == ("m/s2", "z", "m/s", "x")
    assert velocity.samples == pytest.approx(1e-5 * np.arange(25600), rel=1e-6)
    (slow,) = taken(form, registers(held), 1)
    assert (slow.samples.size, slow.sample_rate_hz) == (2000, 1024)


class Choosing:
    """A device with two forms of record: it counts the record up a while after another form was chosen."""

    def __init__(self) -> None:
        self.written: list[tuple[int, int, tuple[int, ...]]] = []
        self.held = {11: {60: 3, 61: 12800, 62: 300, 63: 5, **counts(range(600))}}
        self.plain = registers(self.held, self.written)
        self.looks = 0

    def __call__(self, unit: int, pdu: bytes) -> bytes | None:
        said = self.plain(unit, pdu)
        if pdu[0] == 16:
            self.looks = 3
        elif struct.unpack(">H", pdu[1:3]) == (63,) and self.looks:
            self.looks -= 1
            if not self.looks:
                self.held[11] |= {61: 640, 62: 600, 63: 6}
        return said


def test_another_form_is_chosen_and_waited_for_and_the_one_that_stands_is_not(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("gearcase.device.records._LOOKS_A_SECOND", 100)
    form, device = form_of(BY_REGISTER), Choosing()
    (short,) = taken(form, device)
    assert not device.written and (short.samples.size, short.sample_rate_hz) == (300, 12800)
    (long,) = taken(form, device, 1)
    assert device.written == [(11, 60, (4,))] and (long.samples.size, long.sample_rate_hz) == (600, 640)
    assert (short.name, long.name) == ("vibration input, short, record 5", "vibration input, long, record 6")


def but(rows: Sequence[Mapping[str, str]], register: str, **cells: str) -> list[dict[str, str]]:
    return [{**one, **cells} if one["register"] == register else dict(one) for one in rows]


@pytest.mark.parametrize(
    ("rows", "column", "rule"),
    [
        (but(ALTERNATING, "record", axes="x y y"), "axes", "x, y and z with a blank"),
        (but(ALTERNATING, "rate", axes="x"), "axes", "empty, or of the role waveform"),
        (but(ALTERNATING, "record", address="64400"), "address", "1200 registers from there"),
        (but(ALTERNATING, "length", of="other"), "of", "waveform form: record"),
        (but(ALTERNATING, "record", of="record"), "of", "only a row of a record speaks of one"),
        (but(IN_PAGES, "page", function="4"), "function", "cannot be written"),
        (but(IN_PAGES, "page length", role=""), "role", "waveform page and waveform page samples"),
        (but(BY_REGISTER, "long", constant="3"), "constant", "two forms are not chosen by one number"),
        (but(BY_REGISTER, "long", constant=""), "constant", "what is written to choose"),
        (but(BY_REGISTER, "long", address="70"), "address", "that of short"),
        (but(BY_REGISTER, "long", function="4"), "function", "cannot be written"),
        (but(BY_REGISTER, "number", role=""), "role", "needs waveform ready or waveform number"),
        (but(BY_REGISTER, "long rate", constant=""), "role", "rate and samples by the data sheet"),
        (but(BY_REGISTER, "long rate", of="short"), "role", "waveform rate once of short"),
        (but(BY_REGISTER, "long rate", role="waveform step"), "address", "both at register 61"),
        (but(BY_BLOCK, "slow rate", of=""), "role", ""),
    ],
)
def test_what_is_wrong_with_the_rows_of_a_record_is_named(rows: list[dict[str, str]], column: str, rule: str) -> None:
    wrong = profiles_of(rows)[1]
    if rule:
        assert any(where == column and rule in says for _, where, says in wrong), wrong
    else:  # what is said of all holds where nothing is said of one
        assert not wrong


def test_a_kind_is_served_by_the_form_that_is_enough_and_no_more_or_comes_nearest() -> None:
    """The demo asks for 2.7 s at 12,800 Hz and for 76 s at 910 Hz."""
    short, long = kinds(DEMO.drive)
    assert [form_for(kind, device_of(TWO)).name for kind in (short, long)] == ["short and fast", "long and slow"]
    assert [form_for(kind, device_of(form_of(BY_BLOCK))).name for kind in (short, long)] == ["fast", "slow"]


@pytest.fixture
def two() -> Job:
    """The demo, its second sensor one that gives two forms of record."""
    changed = [replace(one, profile=TWO.name, form=TWO) if one.address == 12 else one for one in DEMO.bus.devices]
    return replace(DEMO, bus=replace(DEMO.bus, devices=tuple(changed)))


@pytest.mark.parametrize("word", [0, -5])
def test_a_device_that_states_a_rate_no_record_can_have_is_said(word: int) -> None:
    form = form_of([row("rate", "waveform rate", "60", type="i16"), *ALTERNATING[1:]])
    with pytest.raises(BadReply, match=f"its record: sampled at {word} Hz"):
        taken(form, registers({11: counts([0] * 1200) | counts([word], 60)}))


def test_each_kind_is_due_by_its_own_interval(two: Job) -> None:
    said: list[Any] = []
    records = Records(lambda *given: said.append(given), two.drive)
    single = sensors(two)[0]
    now, due = 0.0, []
    rates = {"record": (12800, 64000), "short and fast": (12800, 64000), "long and slow": (1280, 102400)}
    while now < 26 * 3600:
        while (wanted := records.due(two, "steady", now)) is not None:
            device, form = wanted
            rate_hz, samples = rates[form.name]
            taken = Recording(np.zeros(samples), rate_hz, "m/s2", point=device.point)
            records.taken(device, form, taken, now)
            due.append((now, device.address, form.name))
        now += 600.0
    assert [at / 3600 for at, unit, name in due if name == "long and slow"] == [0, 24]
    assert [at / 3600 for at, unit, name in due if name == "short and fast"] == list(range(0, 26, 2))
    assert [at / 3600 for at, unit, _ in due if unit == single.address] == list(range(0, 26, 2))
    assert [one[1] for one in said] == [single.point], "the single form is too short for the slow shafts; said once"


def test_the_rig_serves_forms_pages_axes_and_blocks_as_their_rows_say(two: Job) -> None:
    """One record in pages, alternating and block by block: the same samples, on a clock that stands."""
    paged = [row("page", "waveform page", "50", function="3"), row("page length", "waveform page samples", **sheet("100"))]
    apart = [samples_row(f"record {axis}", address, axes=axis) for axis, address in (("x", "1000"), ("y", "2000"), ("z", "3000"))]
    forms = [ALTERNATING, [*ALTERNATING, *paged], [*ALTERNATING[:3], *apart]]
    found = []
    for form in map(form_of, forms):
        bus = replace(two.bus, devices=(device_of(form),))
        rig = Rig(replace(two, bus=bus), lambda: 0.0, 24.75)
        found.append(asyncio.run(take_records(RigBus(rig), device_of(form), form.records[0], speed_hz=None, start="")))
    for one, other in zip(found[0], found[1], strict=True):
        assert np.array_equal(one.samples, other.samples) and np.ptp(one.samples) > 0.1
    for one, other in zip(found[0], found[2], strict=True):
        assert np.array_equal(one.samples, other.samples) and one.channel == other.channel


def test_the_rigs_slow_record_is_the_fast_ones_low_end(two: Job) -> None:
    """The mesh at 24.75 Hz x 17 teeth stands in both alike; in the slow one nothing stands above rate / 2.56."""
    rig = Rig(two, lambda: 0.0, 24.75)
    device = next(one for one in two.bus.devices if one.address == 12)
    found = [asyncio.run(take_records(RigBus(rig), device, form, speed_hz=None, start=""))[0] for form in TWO.records]
    levels = []
    for one in found:
        amplitude = 2 * np.abs(np.fft.rfft(one.samples * np.hanning(one.samples.size))) / one.samples.size
        hz = np.fft.rfftfreq(one.samples.size, 1 / one.sample_rate_hz)
        levels.append(float(amplitude[np.abs(hz - 24.75 * 17) < 2].max()))
    assert levels[0] == pytest.approx(levels[1], rel=0.1)
    assert found[1].duration_s == 80.0 and amplitude[hz > 1.05 * 1280 / 2.56].max() < 0.01 * levels[1]


def test_the_map_in_the_docs_is_read_as_they_say() -> None:
    text = (Path(__file__).parents[1] / "docs" / "devices.md").read_text(encoding="utf-8")
    form = form_of(rows_of(text.partition("```csv\n")[2].partition("```")[0])[0])
    assert [(one.name, one.rate_hz, one.duration_s) for one in form.records] == [
        ("short and fast", 12800.0, 5.0),
        ("long and slow", 1280.0, 80.0),
    ]
    assert form.records[0].blocks[0].page == form.registers["page"] and form.records[1].select == form.registers["long and slow"]


def test_a_form_that_there_is_not_cannot_be_chosen(two: Job) -> None:
    rig = Rig(two, lambda: 0.0, 24.75)
    with pytest.raises(BadRequest, match="refuses"):
        rig.write(12, 37, [2])


@pytest.fixture
def site(tmp_path: Path, two: Job, monkeypatch: pytest.MonkeyPatch) -> Iterator[Site]:
    monkeypatch.setattr(devices, "_RECORD_LIFE", 300.0)
    made = Site(tmp_path)
    made.job = two
    made.rig = Rig(two, lambda: made.now, 24.75, sump=321.15)
    yield made
    made.store.close()


def test_the_watch_takes_both_kinds_and_names_a_fault_that_only_the_long_one_shows(site: Site) -> None:
    """An eccentric gear on the output shaft: its sidebands stand 1.24 Hz apart, 6 bins in a record of 5 s and 99 in one of 80 s."""
    site.rig.set_fault("output", "eccentric gear", 0.8)
    together: list[list[Recording]] = []

    def judge(*found: Recording) -> dict[str, Any]:
        together.append(list(found))
        return diagnose.run(site.job, found).document

    site.diagnose = judge  # type: ignore[assignment,method-assign]
    site.new_watch(limits={}, usual={"intermediate left": 1e-3})
    site.settled()
    site.turns(8)
    assert [[one.duration_s for one in found] for found in together] == [[80.0, 5.0]] * 2
    kept = [site.store.read_recording(one).sample_rate_hz for one in site.store.kept_recordings("intermediate left")]
    assert kept.count(1280.0) >= 2 and kept.count(12800.0) >= 2
    (named,) = site.said("fault named")
    assert named.startswith("eccentric gear or bent shaft fault of output")
    alone = diagnose.run(site.job, together[-1][1:]).document
    assert not alone["verdicts"], "the short record alone does not show it"
    levels = {one.quantity for one in site.store.latest() if one.point == "intermediate left"}
    assert "mesh lines" in levels
