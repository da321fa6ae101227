"""What the plant is told: names, units and words of the values.

Units by definition (ISO 80000: 1 m/s is 1000 mm/s, 273.15 K is 0 °C); quality codes as the Sparkplug 3.0.0 specification has them
under "Quality" (0 bad, 192 good, 500 stale), from memory.
"""

from dataclasses import replace
from pathlib import Path

import pytest

from gearcase.device.publish.values import QUALITY, PlantValue, Published, alarm_name, alarm_word, plant_values, value_name
from gearcase.install.profile import CONSTANTS, Profile, profile, profile_names
from gearcase.job.build import Job, load
from gearcase.job.build_inputs import Incoming, Posting
from gearcase.judge import alarm
from test_stages import EXAMPLES


@pytest.fixture(scope="module")
def job() -> Job:
    return load(EXAMPLES / "demo")


def test_every_quantity_of_every_point_is_told_and_has_an_alarm_word(job: Job) -> None:
    names = [one.name for one in plant_values(job)]
    assert len(set(names)) == len(names)
    for point in job.points:
        if any(device.point == point.name and device.profile for device in job.bus.devices):
            for quantity in ("overall velocity", "temperature", "high-frequency acceleration"):
                assert value_name(point.name, quantity) in names and alarm_name(point.name, quantity) in names
            assert alarm_name(point.name, "diagnosis") in names
    assert {"heartbeat", "light", "drive/run state", "drive/speed", "drive/load", "drive/running", "sump/temperature"} <= set(names)


def test_what_may_be_posted_of_a_point_without_a_device_is_told_as_old_as_it_may_be(job: Job) -> None:
    assert value_name("output left", "overall velocity") not in {one.name for one in plant_values(job)}
    posting = Incoming(http=Posting("127.0.0.1", 8070, Path("token"), None, None), age_limit=900.0)
    before, found = plant_values(job), {one.name: one for one in plant_values(replace(job, incoming=posting))}
    assert [one.name for one in before] == list(found)[: len(before)], "what was there keeps its place"
    assert all(found[one.name] == one for one in before), "what the bus reads is told by the bus"
    told = found[value_name("output left", "overall velocity")]
    assert (told.unit, told.stale_after) == ("mm/s", 900.0) and alarm_name("output left", "overall velocity") in found


def test_ranges_are_those_of_the_registers_in_the_plant_s_unit(job: Job) -> None:
    """Rows of ``tables/registers.csv``, and 1 g as 9.80665 m/s2 by definition."""
    found = {one.name: (one.unit, one.low, one.high) for one in plant_values(job)}
    assert found["drive/speed"] == ("rpm", 0.0, 20000.0) and found["drive/load"] == ("%", -200.0, 200.0)
    assert found["sump/temperature"] == ("°C", -40.0, 150.0)
    device = next(one for one in job.bus.devices if one.profile == "three-axis vibration")
    names = {"overall velocity": ("", "", 0.0, 9.0), "high-frequency acceleration": ("g", "acceleration", 0.0, 10.0)}
    registers = {
        name: replace(device.form.registers["overall velocity x"], name=name, unit=unit, kind=kind, low=low, high=high)
        for name, (unit, kind, low, high) in names.items()
    }
    other = replace(device, form=Profile("a job's own", registers))
    found = {one.name: (one.unit, one.low, one.high) for one in plant_values(replace(job, bus=replace(job.bus, devices=(other,))))}
    assert found[value_name(device.point, "overall velocity")] == ("", 0.0, 9.0), "of no kind: as the device says it"
    assert found[value_name(device.point, "high-frequency acceleration")] == ("m/s2", 0.0, pytest.approx(98.0665))
    assert value_name(device.point, "shaft lines") not in found and alarm_name(device.point, "diagnosis") not in found


@pytest.mark.parametrize(
    ("kind", "si", "unit", "given", "wanted"),
    [
        ("velocity", "m/s", "mm/s", 2.8e-3, 2.8),
        ("temperature", "K", "°C", 273.15, 0.0),
        ("speed", "Hz", "rpm", 24.75, 1485.0),
        ("ratio", "-", "%", 0.8, 80.0),
    ],
)
def test_the_plant_reads_the_units_people_use(kind: str, si: str, unit: str, given: float, wanted: float) -> None:
    value, quality = PlantValue("a", "real", unit, si, kind=kind).shown(Published(given, si, "good", 0.0))
    assert value == pytest.approx(wanted, abs=1e-9) and quality == "good"


@pytest.mark.parametrize(
    "given",
    [
        Published(None, "m/s", "good", 0.0),
        Published(1.0, "mm/s", "good", 0.0),
        Published(float("nan"), "m/s", "good", 0.0),
        Published(1.0, "m/s", "bad", 0.0),
        Published(1.0, "m/s", "odd", 0.0),  # type: ignore[arg-type]
    ],
)
def test_what_cannot_be_told_is_bad_and_has_no_value(given: Published) -> None:
    assert PlantValue("a", "real", "mm/s", "m/s", kind="velocity").shown(given) == (None, "bad")


@pytest.mark.parametrize("value", [-1.0, 65536.0, 0.5])
def test_a_word_is_a_whole_number_of_16_bits(value: float) -> None:
    assert PlantValue("a", "word").shown(Published(value, "-", "good", 0.0)) == (None, "bad")
    assert PlantValue("a", "word").shown(Published(65535.0, "-", "stale", 0.0)) == (65535.0, "stale")


def test_every_condition_an_alarm_can_have_has_a_word_of_its_own() -> None:
    conditions = {"clear"} | set(alarm.TRANSITIONS.values())
    assert len({alarm_word(one) for one in conditions}) == len(conditions) == 5
    assert alarm_word("danger", shelved=True) == alarm_word("danger") + 16


def test_the_constants_of_every_profile_are_the_ones_that_are_asked_for() -> None:
    """0x1234, 123456789 and 123.456 as every controls sheet asks for them."""
    assert list(CONSTANTS.values()) == [4660, 123456789, 123.456]
    for name in profile_names():
        assert {one: profile(name).registers[one].constant for one in CONSTANTS} == dict(CONSTANTS), name


def test_a_register_of_nothing_is_of_bad_quality() -> None:
    assert QUALITY == {"bad": 0, "good": 192, "stale": 500}
