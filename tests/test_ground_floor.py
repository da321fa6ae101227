"""Quantities, shown working, tables and errors: against pint, exact definitions and published tables."""

import csv
import math
import pickle
from contextlib import suppress

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gearcase import tables, units
from gearcase.errors import BadInput, OutOfRange, Problem
from gearcase.worked import Given, Origin, Worked, work, worked_by
from published import rows

PINT = pint.UnitRegistry()
INCH, POUND, GRAVITY = 0.0254, 0.45359237, 9.80665  # exact: international yard and pound 1959; 3rd CGPM 1901
IN_SI = {  # by definition; SI brochure 9th edition for the prefixes and degrees
    "length": {"mm": 1e-3, "in": INCH, '"': INCH, "m": 1, "cm": 1e-2, "um": 1e-6, "µm": 1e-6, "ft": 12 * INCH},
    "speed": {"rpm": 1 / 60, "r/min": 1 / 60, "1/min": 1 / 60, "Hz": 1, "1/s": 1},  # turns, not radians
    "frequency": {"Hz": 1, "kHz": 1e3, "MHz": 1e6},
    "power": {"kW": 1e3, "W": 1, "MW": 1e6, "hp": 550 * 12 * INCH * POUND * GRAVITY},
    "angle": {"deg": math.pi / 180, "°": math.pi / 180, "rad": 1},
    "mass": {"kg": 1, "g": 1e-3, "lb": POUND, "t": 1e3},
    "acceleration": {"m/s2": 1, "m/s²": 1, "m/s^2": 1, "g": GRAVITY, "mm/s2": 1e-3},
    "velocity": {"mm/s": 1e-3, "m/s": 1, "in/s": INCH},
    "displacement": {"um": 1e-6, "µm": 1e-6, "mm": 1e-3, "mil": INCH / 1000, "m": 1},
    "time": {"s": 1, "ms": 1e-3, "us": 1e-6, "µs": 1e-6, "ns": 1e-9, "min": 60, "h": 3600, "d": 86400},
    "stress": {"MPa": 1e6, "N/mm2": 1e6, "GPa": 1e9, "psi": POUND * GRAVITY / INCH**2, "Pa": 1},
    "torque": {"N m": 1, "Nm": 1, "lbf in": POUND * GRAVITY * INCH, "lbf ft": POUND * GRAVITY * 12 * INCH},
    "ratio": {"%": 0.01, "ppm": 1e-6, "": 1},
    "voltage": {"V": 1, "mV": 1e-3, "kV": 1e3},
    "current": {"A": 1, "mA": 1e-3},
    "resistance": {"ohm": 1, "Ω": 1, "kohm": 1e3, "kΩ": 1e3},
}


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


@pytest.mark.parametrize("kind", [kind for kind in units.ACCEPTED if kind != "temperature"])
def test_every_accepted_unit_is_worth_what_it_is_defined_as(kind: str) -> None:
    assert {unit: units.convert(1.0, unit, kind) for unit in units.ACCEPTED[kind]} == pytest.approx(IN_SI[kind], rel=1e-12)


@pytest.mark.parametrize(("kelvin", "celsius", "fahrenheit"), [(273.15, 0, 32), (373.15, 100, 212), (0, -273.15, -459.67)])
def test_every_temperature_scale_meets_its_fixed_points(kelvin: float, celsius: float, fahrenheit: float) -> None:
    degrees = {"K": kelvin, **dict.fromkeys(("°C", "degC", "C"), celsius), **dict.fromkeys(("°F", "degF", "F"), fahrenheit)}
    assert set(degrees) == set(units.ACCEPTED["temperature"])
    for unit, value in degrees.items():
        assert units.convert(value, unit, "temperature") == pytest.approx(kelvin, abs=1e-9), unit


@pytest.mark.parametrize("text", ["-274 °C", "-1 K", "-460 °F"])
def test_below_absolute_zero_is_refused(text: str) -> None:
    with pytest.raises(OutOfRange, match="absolute zero"):
        units.parse(text, "temperature")


@pytest.mark.parametrize(("text", "kind"), [("1e999 mm", "length"), ("1-1e999 mm", "length"), ("1e308 MW", "power")])
def test_what_is_too_large_for_a_number_is_refused(text: str, kind: str) -> None:
    with pytest.raises(OutOfRange, match="with its unit"):
        units.parse_range(text, kind)


_NEARLY = st.one_of(
    st.text(),
    st.from_regex(r"\A[-+]?[0-9]{1,6}(\.[0-9]*)?(e[0-9]{1,4})?( ?(-|–|to) ?[0-9]+)? ?(mm|in|K|°F|hp|AWG|mm2)?\Z"),
    st.from_regex(r"\A#?M?[0-9]{0,400}[-/x.]?[0-9]{0,400}[-/x]?[0-9]{0,3}\Z"),
    st.just("1/" + "9" * 5000 + "-28"),  # past the length at which Python refuses to read a whole number
)


@given(_NEARLY, st.sampled_from(sorted(units.ACCEPTED)))
def test_any_text_is_read_as_a_finite_value_or_refused(text: str, kind: str) -> None:
    with suppress(OutOfRange):
        assert math.isfinite(units.parse(text, kind))
    with suppress(OutOfRange):
        assert math.isfinite(units.parse_range(text, kind).high)
    with suppress(OutOfRange):
        thread = units.parse_thread(text)
        assert 0 < (thread.pitch or 1e-9) < thread.major_diameter < 1
    with suppress(OutOfRange):
        assert 0 < units.parse_wire(text).diameter < math.inf


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


@pytest.mark.parametrize(
    ("value", "unit", "spread", "stated"),
    [
        (50.000838e-3, "m", 93e-9, "50.000838 ± 0.000093 mm"),  # JCGM 100:2008, H.1.7 (from memory)
        (100.02147, "g", 0.35e-3, "100.02147 ± 0.00035 g"),  # JCGM 100:2008, 7.2.2 (from memory)
    ],
)
def test_a_number_and_its_spread_are_stated_as_the_guide_states_them(value: float, unit: str, spread: float, stated: str) -> None:
    assert units.read(value, unit, spread=spread) == stated


@settings(deadline=None)  # pint reads its definitions at the first call
@given(st.floats(1e-9, 1e9), st.sampled_from(["m", "m2", "Pa", "m/s", "s", "Hz", "N", "-"]), st.sampled_from([3, 5]))
def test_a_number_as_people_read_it_is_still_that_number(value: float, unit: str, digits: int) -> None:
    """Against pint; no digit before the point is rounded away, and no large number wants a power of ten."""
    number, _, shown = units.read(value, unit, digits=digits).partition(" ")
    library = {"mm²": "mm**2", "m2": "m**2", "µs": "us", "": "dimensionless", "-": "dimensionless"}
    each = pint.Quantity(1.0, library.get(shown, shown)).to(library.get(unit, unit)).magnitude
    assert float(number) * each == pytest.approx(value, rel=0.51 * 10 ** (1 - digits))
    assert "e+" not in number and (float(number) < 10 ** (digits - 1) or abs(float(number) - value / each) <= 0.51)


@pytest.mark.parametrize(
    ("kelvin", "says"), [(273.15, "0 °C"), (373.15, "100 °C"), (213.15, "-60 °C"), (40.0, "40 K"), (-3.0, "-3 K")]
)
def test_kelvin_is_read_as_a_temperature_or_as_a_difference(kelvin: float, says: str) -> None:
    assert units.read(kelvin, "K") == says


@pytest.mark.parametrize("row", rows("wire_awg.csv"), ids=lambda row: row["awg"])
def test_wire_gauges_agree_with_the_table(row: dict[str, str]) -> None:
    assert 1000 * units.parse_wire(f"{row['awg']} AWG").diameter == pytest.approx(25.4 * float(row["diameter_in"]), rel=1e-3)


@pytest.mark.parametrize("row", rows("threads_unified.csv"), ids=lambda row: row["thread"])
def test_unified_threads_agree_with_the_table(row: dict[str, str]) -> None:
    thread = units.parse_thread(row["thread"])
    assert thread.major_diameter == pytest.approx(float(row["major_in"]) * 0.0254, rel=1e-6)
    assert thread.pitch == pytest.approx(0.0254 / float(row["tpi"]))


@pytest.mark.parametrize("row", rows("threads_metric.csv"), ids=lambda row: row["thread"])
def test_metric_threads_agree_with_the_table(row: dict[str, str]) -> None:
    assert units.parse_thread(row["thread"]).major_diameter == pytest.approx(float(row["major_mm"]) / 1000)
    named = units.parse_thread(f"{row['thread']}x{row['pitch_mm']}")
    assert (named.major_diameter, named.pitch) == pytest.approx((float(row["major_mm"]) / 1000, float(row["pitch_mm"]) / 1000))


@pytest.mark.parametrize(("text", "inches"), [("1-8", 1.0), ("1-14", 1.0), ("2-12", 2.0), ("1-1/2-6", 1.5), ("#1-64", 0.073)])
def test_whole_inches_are_told_from_numbered_sizes(text: str, inches: float) -> None:  # ASME B1.1 lists all of these (from memory)
    assert units.parse_thread(text).major_diameter == pytest.approx(0.0254 * inches)


def test_metric_threads_read_with_and_without_pitch() -> None:
    assert units.parse_thread("M12") == units.Thread("M12", "metric", 0.012, None)
    assert units.parse_thread("M12x1.25").pitch == pytest.approx(0.00125)


@pytest.mark.parametrize(
    "text", ["12", "1/0-28", "M", "1/4", "0-0", "M0", "M12x0", "M12x25", "99-1", "13-24", "0/4-28", "5/4-12", "#1-8", "0-8", "28"]
)
def test_what_is_not_a_thread_is_refused(text: str) -> None:
    with pytest.raises(OutOfRange, match="a thread size"):
        units.parse_thread(text)


@pytest.mark.parametrize("text", ["57 AWG", "99 AWG", "5/0 AWG", "14", "0 mm2", "1e999 mm2", "-2.5 mm2", 14, None])
def test_what_is_not_a_wire_is_refused(text: object) -> None:
    with pytest.raises(OutOfRange, match="a wire size"):
        units.parse_wire(text)


@given(st.integers(0, 50))
def test_six_gauges_further_halve_the_diameter(number: int) -> None:  # 92^(6/39) = 2.005, by the formula of ASTM B258
    thick, thin = (units.parse_wire(f"{gauge} AWG").diameter for gauge in (number, number + 6))
    assert thick / thin == pytest.approx(2.005, abs=0.001)


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


@worked_by(formula="y = cos x", unit="-", source="definition")
def cosine(*, x: float) -> float:
    return math.cos(x)


def test_an_input_at_the_top_of_a_curve_still_spreads() -> None:
    result = work("y", cosine, x=Given("contact angle", 0.0, "rad", Origin.ESTIMATED, 0.1))
    assert result.spread == pytest.approx(1 - math.cos(0.1))


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


@pytest.mark.parametrize("row", [["1", "x", "memory", "left over"], ["1", "x"]])
def test_a_table_row_of_the_wrong_length_is_refused(row: list[str], tmp_path, monkeypatch) -> None:
    with (tmp_path / "ragged.csv").open("w", newline="") as stream:
        csv.writer(stream).writerows([["value", "source", "basis"], row])
    monkeypatch.setattr(tables, "files", lambda _: tmp_path)
    with pytest.raises(OutOfRange, match=r"ragged\.csv:2.*as many cells"):
        tables.load("ragged")


def test_a_table_that_is_not_there_is_refused() -> None:
    with pytest.raises(OutOfRange, match="table=furlongs"):
        tables.load("furlongs")


def test_errors_cross_to_another_process_whole() -> None:
    problem = Problem("job.yaml:14", "drive.meshes[0].wheel.teeth", "17.5", "a whole number of teeth")
    bad = pickle.loads(pickle.dumps(BadInput([problem, problem])))
    assert (bad.problems, str(bad)) == ((problem, problem), f"{problem}\n{problem}")
    out = pickle.loads(pickle.dumps(OutOfRange("elements", 2, "three or more")))
    assert (out.name, out.value, out.rule, str(out)) == ("elements", 2, "three or more", "elements=2: three or more")


def test_every_problem_of_a_file_is_told_not_only_the_first() -> None:
    error = BadInput([Problem("job.yaml:1", "a", "1", "text"), Problem("job.yaml:2", "b", "", "a number")])
    assert str(error).splitlines() == ["job.yaml:1   a   given 1   text", "job.yaml:2   b   a number"]
    assert error.as_dicts()[1] == {"where": "job.yaml:2", "key": "b", "given": "", "accepted": "a number"}


def test_an_error_says_what_where_given_and_accepted() -> None:
    error = BadInput([Problem("job.yaml:14", "drive.meshes[0].wheel.teeth", "17.5", "a whole number of teeth")])
    assert str(error) == "job.yaml:14   drive.meshes[0].wheel.teeth   given 17.5   a whole number of teeth"


@pytest.mark.parametrize(
    ("text", "kind", "write"),
    [
        ("1/2 in", "length", 'write "0.5 in": '),
        ("1 1/2 in", "length", 'write "1.5 in": '),
        ("1-1/2in", "length", 'write "1.5 in": '),
        ("-3/16 in", "length", 'write "-0.1875 in": '),
        ("12,5 mm", "length", 'write "12.5 mm": '),
        ("1,485 rpm", "speed", 'write "1485 rpm" or "1.485 rpm": '),
        ("0,5", "ratio", 'write "0.5": '),
        ("1/2", "length", ""),
        ("1/0 in", "length", ""),
        ("1/2 rpm", "length", ""),
        ("half an inch", "length", ""),
    ],
)
def test_a_fraction_or_a_decimal_comma_is_refused_with_what_to_write(text: str, kind: str, write: str) -> None:
    with pytest.raises(OutOfRange) as refused:
        units.parse(text, kind)
    assert refused.value.rule.startswith(write) and "with its unit, e.g." in refused.value.rule
    assert write or "write" not in refused.value.rule
    if write.count('"') == 2:
        units.parse(write.split('"')[1], kind)
