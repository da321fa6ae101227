"""A round of the bus, and a record read whole: what is kept of three axes, and what a device that changes under the reader does."""

import asyncio
from collections.abc import Sequence

import numpy as np
import pytest

from gearcase.device.rig import Rig, RigBus, SensorFault
from gearcase.device.rig.devices import RECORD_REGISTERS
from gearcase.errors import BadReply
from gearcase.install.profile import profile
from gearcase.install.register import decode
from gearcase.job.build import build, load
from gearcase.job.read import parse_text
from gearcase.judge.inputs import Conditions
from gearcase.monitor.inputs import Inputs
from gearcase.monitor.polling import poll, take_records
from gearcase.record.store import Reading
from gearcase.signal.recording import Recording
from test_stages import EXAMPLES


@pytest.fixture
def rig() -> Rig:
    return Rig(load(EXAMPLES / "demo"), lambda: 0.0, 24.75)


def test_of_three_axes_the_largest_is_kept(rig: Rig) -> None:
    """The rig's z axis stands on the bearing and sees most, x least."""
    kept = {(one.point, one.quantity): one.value for one in asyncio.run(poll(rig.job, RigBus(rig), Inputs(rig.job), now=0.0))}
    form = profile("three-axis vibration").registers
    axes = [decode(form[f"overall velocity {axis}"], rig.read(11, form[f"overall velocity {axis}"].address, 2)) for axis in "xyz"]
    assert kept["input coupling end", "overall velocity"] == axes[2] > axes[1] > axes[0]


def test_a_silent_device_gives_bad_readings_of_each_of_its_quantities(rig: Rig) -> None:
    rig.sensor_faults[12] = SensorFault(silent=True)
    bad = [one for one in asyncio.run(poll(rig.job, RigBus(rig), Inputs(rig.job), now=0.0)) if one.quality == "bad"]
    assert {one.point for one in bad} == {"intermediate left"} and len(bad) == 3 and all(one.value is None for one in bad)


def test_a_value_outside_its_range_is_bad(rig: Rig) -> None:
    rig.sump = 500.0
    bad = [one for one in asyncio.run(poll(rig.job, RigBus(rig), Inputs(rig.job), now=0.0)) if one.quality == "bad"]
    assert ("sump", "temperature") in {(one.point, one.quantity) for one in bad}


class Replaced:
    """A sensor whose record is replaced, so many times, while it is being read."""

    def __init__(self, rig: Rig, times: int) -> None:
        self.bus, self.rig, self.times = RigBus(rig), rig, times

    async def read(self, *, unit: int, function: int, start: int, count: int) -> tuple[int, ...]:
        words = await self.bus.read(unit=unit, function=function, start=start, count=count)
        if start == RECORD_REGISTERS and self.times:
            self.times -= 1
            self.rig._records[unit]["record"].number += 1
        return words

    async def write(self, *, unit: int, start: int, words: Sequence[int]) -> None:
        raise AssertionError("a record is only read")


def test_a_record_is_read_whole_in_its_unit(rig: Rig) -> None:
    device = next(one for one in rig.job.bus.devices if one.address == 11)
    (record,) = asyncio.run(take_records(RigBus(rig), device, device.form.records[0], speed_hz=24.75, start=""))
    counts = np.array(rig.read(11, RECORD_REGISTERS, 64000), dtype=np.uint16).view(np.int16)
    step = decode(profile(device.profile).registers["record step"], rig.read(11, 44, 2))
    assert record.samples == pytest.approx(counts * step, rel=1e-6) and record.sample_rate_hz == 12800.0
    assert (record.point, record.unit, record.speed_hz) == ("input coupling end", "m/s2", 24.75)


@pytest.mark.parametrize("times", [1, 2])
def test_a_record_replaced_while_it_is_read_is_read_again(rig: Rig, times: int) -> None:
    device = next(one for one in rig.job.bus.devices if one.address == 11)
    (record,) = asyncio.run(take_records(Replaced(rig, times), device, device.form.records[0], speed_hz=None, start=""))
    assert record.name == f"vibration input, record {1 + times}"


def test_a_record_replaced_each_time_is_said(rig: Rig) -> None:
    device = next(one for one in rig.job.bus.devices if one.address == 11)
    with pytest.raises(BadReply, match="replaced 3 times"):
        asyncio.run(take_records(Replaced(rig, 9), device, device.form.records[0], speed_hz=None, start=""))


def with_inputs(text: str) -> Inputs:
    """The inputs of the demo, those of the text in place of its own."""
    read = (EXAMPLES / "demo" / "job.yaml").read_text(encoding="utf-8")
    before, _, rest = read.partition("\ninputs:\n")
    return Inputs(build(parse_text(f"{before}\ninputs:\n{text}\nkit:{rest.partition(chr(10) + 'kit:')[2]}"), folder=""))


RAW = "source: register, device: converter, type: f32, address"


def heard(inputs: Inputs, rig: Rig, now: float = 0.0) -> Conditions:
    asyncio.run(poll(rig.job, RigBus(rig), inputs, now=now))
    return inputs.now(now)


def test_a_register_by_address_says_the_same_as_by_its_name(rig: Rig) -> None:
    """Speed stands at 11 and 12 of the profile, in rpm; its status word at 8 is 0."""
    by_address = heard(with_inputs(f"  - {{name: a, kind: speed, {RAW}: 11, unit: rpm}}"), rig)
    assert by_address.speed_hz == pytest.approx(24.75) and by_address.run.source == "converter, running"
    wrong_order = with_inputs(f"  - {{name: a, kind: speed, {RAW}: 11, unit: rpm, word_order: low word first}}")
    assert heard(wrong_order, rig).speed_hz != pytest.approx(24.75)


def test_a_bit_of_a_status_word_is_run_or_direction(rig: Rig) -> None:
    """The high word of 1485.0 as a float is 0x44B9 = 0100 0100 1011 1001 (IEEE 754)."""
    word = "source: register, device: converter, type: u16, address: 11, bit"
    found = heard(with_inputs(f"  - {{name: a, kind: run, {word}: 0}}\n  - {{name: b, kind: direction, {word}: 1}}"), rig)
    assert (found.run.value, found.direction.value) == (1.0, 1.0)
    found = heard(with_inputs(f"  - {{name: a, kind: run, {word}: 1}}\n  - {{name: b, kind: direction, {word}: 14}}"), rig)
    assert (found.run.value, found.direction.value) == (0.0, -1.0)


@pytest.mark.parametrize(
    ("rpm", "says"), [(1485.0, None), (21.5, "broken"), (3.5, "broken"), (4.0, 0.0), (20.0, 30.0), (12.0, 15.0), (3.7, -0.5625)]
)
def test_an_analogue_value_is_its_place_in_the_span_and_bad_beyond_it(rig: Rig, rpm: float, says: float | str | None) -> None:
    """4 to 20 mA for 0 to 1800 rpm; NAMUR NE 43 calls below 3.6 and above 21 mA a failure (from memory)."""
    span = "reads: [4, 20], means: [0 rpm, 1800 rpm]"
    inputs = with_inputs(f"  - {{name: loop, kind: speed, source: analogue, device: converter, quantity: speed, {span}}}")
    rig.speed_hz = rpm / 60  # the register's own number, rpm, stands for the current in mA
    known = heard(inputs, rig).speed
    if isinstance(says, float):
        assert known.value == pytest.approx(abs(says), abs=1e-6)
    else:
        assert known.value is None and "the wire is broken or the span wrong" in known.says


def test_a_silent_converter_is_held_then_the_next_source_counts_and_each_change_is_said_once(rig: Rig) -> None:
    text = "source: register, device: converter, quantity: speed, age_limit: 30 s"
    inputs = with_inputs(
        f"  - {{name: a, kind: speed, {text}}}\n"
        "  - {name: plate, kind: speed, source: stated, value: 1500 rpm}\n"
        "  - {name: run, kind: run, source: posted, age_limit: 10 min}"
    )
    inputs.hear("run", 1.0, 0.0)
    heard(inputs, rig)
    assert inputs.changes(0.0) == [], "what is so from the beginning is no change"
    rig.sensor_faults[3] = SensorFault(silent=True)
    assert heard(inputs, rig, 20.0).speed.quality == "held"
    assert {one.quantity: one.quality for one in inputs.readings(20.0)} == {"running": "good", "speed": "stale", "load": "stale"}
    later = heard(inputs, rig, 40.0)
    assert (later.speed.source, later.speed.quality, later.speed_hz) == ("plate", "stated", 25.0)
    assert inputs.changes(40.0) == [
        "speed: now by plate (as stated): 1500 rpm",
        "load: not known any more: converter, load: last heard 40 s ago, may be 30 s old (no reply)",
    ]
    assert inputs.changes(50.0) == []
    rig.sensor_faults.clear()
    heard(inputs, rig, 60.0)
    assert inputs.changes(60.0)[0] == "speed: now by a (read): 1485 rpm"


def test_two_sources_that_disagree_are_named_after_a_minute_and_when_they_agree_again(rig: Rig) -> None:
    inputs = with_inputs(
        f"  - {{name: a, kind: speed, {RAW}: 11, unit: rpm}}\n  - {{name: b, kind: speed, source: posted, age_limit: 10 min}}"
    )
    inputs.hear("b", 24.75, 0.0)
    heard(inputs, rig)
    rig.speed_hz = 20.0
    said = []
    for now in range(10, 100, 10):
        heard(inputs, rig, float(now))
        said += [(now, says) for says in inputs.changes(float(now))]
    assert said == [(70, "speed: a says 1200 rpm, b says 1485 rpm; a counts; find out which is wrong")]
    inputs.hear("b", 20.0, 100.0)
    assert inputs.changes(100.0) == ["a and b agree again"]


def test_an_overall_level_says_whether_it_runs_where_nothing_else_does(rig: Rig) -> None:
    """Between its two thresholds what was said before stands."""
    level = "  - {name: level, kind: run, source: level, point: input coupling end, above: 1 mm/s}\n"
    inputs = with_inputs(level + "  - {name: none, kind: speed, source: posted}")
    said = []
    for now, level in enumerate([0.7e-3, 2e-3, 0.7e-3, 0.4e-3, 0.7e-3]):
        inputs.hear_levels([Reading(float(now), "input coupling end", "overall velocity", level, "m/s")])
        said.append(inputs.now(float(now)).run.value)
    assert said == [None, 1.0, 1.0, 0.0, 0.0]


def test_a_recording_gives_the_speed_where_no_source_before_it_does(rig: Rig) -> None:
    """The rig's record is made by `drive.simulate` at 24.75 Hz, which shares no code with the search for its comb."""
    inputs = with_inputs("  - {name: lines, kind: speed, source: comb}")
    inputs.hear("converter, running", 1.0, 0.0)
    device = next(one for one in rig.job.bus.devices if one.address == 11)
    (record,) = asyncio.run(take_records(RigBus(rig), device, device.form.records[0], speed_hz=None, start=""))
    assert inputs.wants_recording(0.0)
    inputs.hear_recording(record, 0.0)
    inputs.hear("converter, running", 1.0, 460.0)
    found = inputs.now(460.0)
    assert found.speed_hz == pytest.approx(24.75, rel=1e-3) and found.speed.quality == "inferred"
    assert not inputs.wants_recording(449.0) and inputs.wants_recording(460.0), "anew when half as old as it may be"
    inputs.hear("converter, running", 1.0, 901.0)
    assert inputs.now(901.0).speed_hz is None


def test_a_recording_that_was_not_to_be_had_is_asked_for_again_in_a_while_and_not_at_once(rig: Rig) -> None:
    inputs = with_inputs("  - {name: lines, kind: speed, source: comb}")
    inputs.hear("converter, running", 1.0, 0.0)
    inputs.no_recording(1.0)
    assert not inputs.wants_recording(20.0)
    inputs.hear("converter, running", 1.0, 452.0)
    assert inputs.wants_recording(452.0)
    inputs.hear("converter, running", 0.0, 453.0)
    assert not inputs.wants_recording(453.0), "of a drive that stands no speed is asked"


def test_a_recording_of_noise_gives_no_speed_and_says_why(rig: Rig) -> None:
    inputs = with_inputs("  - {name: lines, kind: speed, source: comb}")
    inputs.hear("converter, running", 1.0, 0.0)
    noise = np.random.default_rng(1).normal(size=2**12)
    inputs.hear_recording(Recording(noise, 12800.0, "m/s2"), 0.0)
    assert "no comb of shaft and mesh lines stands out of the noise" in inputs.now(0.0).speed.says
