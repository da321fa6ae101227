"""Quantities, shown working, tables and errors: against pint, exact definitions and published tables."""

import csv
import math

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gearcase import tables, units
from gearcase.errors import BadInput, OutOfRange, Problem
from gearcase.worked import Given, Origin, Worked, work, worked_by
from published import rows

PINT = pint.UnitRegistry()


@pytest.mark.parametrize(
    ("text", "kind", "si"),
    [
        ("0.5 in", "length", 0.0127),  # 1 in = 25.4 mm exactly
        ("25 mm", "length", 0.025),
        ("25mm", "length", 0.025),
        ("1485 rpm", "speed", 24.75),  # turns a second, not radians
        ("75 kW", "power", 75e3),
        ("100 hp", "power", 74569.98715822702),  # 550 ft lbf/s
        ("180 deg", "angle", math.pi),
        ("1 g", "acceleration", 9.80665),  # 3rd CGPM 1901
        ("80 g", "mass", 0.080),
        ("25 °C", "temperature", 298.15),
        ("212 °F", "temperature", 373.15),
        ("10 kHz", "frequency", 10e3),
        ("2 %", "ratio", 0.02),
        ("5 N m", "torque", 5.0),
    ],
)
def test_quantities_read_as_people_write_them(text: str, kind: str, si: float) -> None:
    assert units.parse(text, kind) == pytest.approx(si, rel=1e-12)


@pytest.mark.parametrize("kind", [kind for kind in units.ACCEPTED if kind not in ("temperature", "speed")])
def test_every_accepted_unit_agrees_with_pint(kind: str) -> None:
    for spelling, name in units.ACCEPTED[kind].items():
        if spelling:
            expected = (1 * PINT.parse_expression(name)).to_base_units().magnitude
            assert units.convert(1.0, spelling, kind) == pytest.approx(expected), spelling


@pytest.mark.parametrize("text", ["25", 25, 25.0, None, "mm", "25 furlongs", "", "25 mm 3", "nan mm", True])
def test_what_is_not_a_length_with_its_unit_is_refused_with_an_example(text: object) -> None:
    with pytest.raises(OutOfRange, match=r'a length with its unit, e\.g\. "25 mm"'):
        units.parse(text, "length")


@pytest.mark.parametrize("text", ["900-1485 rpm", "900 - 1485 rpm", "900–1485 rpm", "900 to 1485 rpm"])
def test_ranges_read(text: str) -> None:
    assert units.parse_range(text, "speed") == units.Range(15.0, 24.75)


def test_a_range_from_high_to_low_is_refused() -> None:
    with pytest.raises(OutOfRange, match="the low end first"):
        units.parse_range("1485-900 rpm", "speed")


@given(st.floats(0.001, 1e6), st.sampled_from(["mm", "in", "m", "ft"]))
def test_showing_and_reading_again_gives_the_same(value: float, unit: str) -> None:
    si = units.convert(value, unit, "length")
    assert units.parse(units.show(si, "length", unit, digits=12), "length") == pytest.approx(si, rel=1e-9)


@pytest.mark.parametrize("row", rows("wire_awg.csv"), ids=lambda row: row["awg"])
def test_wire_gauges_agree_with_the_table(row: dict[str, str]) -> None:
    assert 1000 * units.parse_wire(f"{row['awg']} AWG").diameter == pytest.approx(25.4 * float(row["diameter_in"]), rel=1e-3)


@pytest.mark.parametrize("row", rows("threads_unified.csv"), ids=lambda row: row["thread"])
def test_unified_threads_agree_with_the_table(row: dict[str, str]) -> None:
    thread = units.parse_thread(row["thread"])
    assert thread.major_diameter == pytest.approx(float(row["major_in"]) * 0.0254, rel=1e-6)
    assert thread.pitch == pytest.approx(0.0254 / float(row["tpi"]))


def test_metric_threads_read_with_and_without_pitch() -> None:
    assert units.parse_thread("M12") == units.Thread("M12", "metric", 0.012, None)
    assert units.parse_thread("M12x1.25").pitch == pytest.approx(0.00125)


@pytest.mark.parametrize("text", ["12", "1/0-28", "M", "1/4", "0-0"])
def test_what_is_not_a_thread_is_refused(text: str) -> None:
    with pytest.raises(OutOfRange, match="a thread size"):
        units.parse_thread(text)


@worked_by(formula="y = a x + b", unit="m", source="definition")
def straight(*, a: float, x: float, b: float) -> float:
    return a * x + b


def linear(a: float, x: float, b: float, spread: float) -> Worked:
    return work(
        "y",
        straight,
        a=Given("a", a, "-", Origin.ASSUMED),
        x=Given("x", x, "m", Origin.MEASURED, spread),
        b=Given("b", b, "m", Origin.NAMEPLATE, spread),
    )


@given(st.floats(-100, 100), st.floats(-100, 100), st.floats(-100, 100), st.floats(0.001, 1))
def test_working_done_again_gives_the_value_and_spreads_add_in_squares(a: float, x: float, b: float, spread: float) -> None:
    result = linear(a, x, b, spread)
    assert result.recalculate() == result.value == pytest.approx(a * x + b)
    assert result.spread == pytest.approx(spread * math.hypot(a, 1), rel=1e-6)


def test_working_goes_all_the_way_down() -> None:
    first = linear(2, 3, 1, 0.1)
    second = work("z", straight, a=Given("a", 10, "-", Origin.ASSUMED), x=first, b=Given("b", 0, "m", Origin.ASSUMED))
    assert second.recalculate() == 70
    assert second.as_dict()["inputs"]["x"]["inputs"]["x"]["origin"] == "measured"


@pytest.mark.parametrize("name", tables.names())
def test_every_table_says_where_each_row_stands(name: str) -> None:
    assert all(row["source"] for row in tables.load(name))


def test_a_table_row_without_a_source_is_refused(tmp_path, monkeypatch) -> None:
    with (tmp_path / "bad.csv").open("w", newline="") as stream:
        csv.writer(stream).writerows([["value", "source", "basis"], ["1", "", "memory"]])
    monkeypatch.setattr(tables, "files", lambda _: tmp_path)
    with pytest.raises(OutOfRange, match=r"bad\.csv:2"):
        tables.load("bad")


def test_an_error_says_what_where_given_and_accepted() -> None:
    error = BadInput([Problem("job.yaml:14", "drive.meshes[0].wheel.teeth", "17.5", "a whole number of teeth")])
    assert str(error) == "job.yaml:14   drive.meshes[0].wheel.teeth   given 17.5   a whole number of teeth"
