"""Quantities as people write them, turned into plain SI numbers once, at the edge.

``"0.5 in"``, ``"1485 rpm"`` and ``"900-1485 rpm"`` go through `parse` and `parse_range`; thread sizes through
`parse_thread`; wire gauges through `parse_wire`. A number without its unit is refused, because 25 may be millimetres
or inches. Turns per minute become turns per second (Hz), never radians per second. `show` goes the other way for a unit
that is asked for, `read` for the one in which people read a number of that size.
"""

import functools
import math
import re
from dataclasses import dataclass
from typing import Any

from gearcase.errors import OutOfRange

__all__ = [
    "ACCEPTED",
    "INCH",
    "SI_UNIT",
    "Range",
    "Thread",
    "Wire",
    "convert",
    "parse",
    "parse_range",
    "parse_thread",
    "parse_wire",
    "percent",
    "read",
    "show",
    "shown",
]

INCH = 0.0254  # m, exactly: ISO 80000-3

_ZERO_C = 273.15  # K
_COLDEST = 173.15  # K: no drive stands so cold; a smaller number of kelvin is a difference of temperatures
_READ_AS = {  # SI unit: up to which value it is read in another, the factor and that unit
    "m": (1.0, 1000.0, "mm"),
    "m2": (1.0, 1e6, "mm²"),
    "Pa": (math.inf, 1e-6, "MPa"),
    "m/s": (1.0, 1000.0, "mm/s"),
    "s": (1e-3, 1e6, "µs"),
    "rad": (math.inf, 180 / math.pi, "°"),
}

# kind of quantity -> spelling a person uses -> the name the units library knows it by
ACCEPTED: dict[str, dict[str, str]] = {
    "length": {"mm": "mm", "in": "inch", '"': "inch", "m": "m", "cm": "cm", "um": "um", "µm": "um", "ft": "foot"},
    "speed": {"rpm": "hertz / 60", "r/min": "hertz / 60", "1/min": "hertz / 60", "Hz": "hertz", "1/s": "hertz"},
    "frequency": {"Hz": "hertz", "kHz": "kilohertz", "MHz": "megahertz"},
    "power": {"kW": "kilowatt", "W": "watt", "MW": "megawatt", "hp": "horsepower"},
    "angle": {"deg": "degree", "°": "degree", "rad": "radian"},
    "mass": {"kg": "kg", "g": "gram", "lb": "pound", "t": "tonne"},
    "temperature": {
        "°C": "degC",
        "degC": "degC",
        "C": "degC",
        "K": "kelvin",
        "°F": "degF",
        "degF": "degF",
        "F": "degF",
    },
    "acceleration": {
        "m/s2": "m/s**2",
        "m/s²": "m/s**2",
        "m/s^2": "m/s**2",
        "g": "standard_gravity",
        "mm/s2": "mm/s**2",
    },
    "velocity": {"mm/s": "mm/s", "m/s": "m/s", "in/s": "inch/s"},
    "displacement": {"um": "um", "µm": "um", "mm": "mm", "mil": "inch/1000", "m": "m"},
    "time": {"s": "second", "ms": "ms", "us": "us", "µs": "us", "ns": "ns", "min": "minute", "h": "hour", "d": "day"},
    "stress": {"MPa": "MPa", "N/mm2": "MPa", "GPa": "GPa", "psi": "psi", "Pa": "Pa"},
    "torque": {"N m": "N*m", "Nm": "N*m", "lbf in": "lbf*inch", "lbf ft": "lbf*foot"},
    "ratio": {"%": "percent", "ppm": "ppm", "": "dimensionless"},
    "voltage": {"V": "volt", "mV": "millivolt", "kV": "kilovolt"},
    "current": {"A": "ampere", "mA": "milliampere"},
    "resistance": {"ohm": "ohm", "Ω": "ohm", "kohm": "kiloohm", "kΩ": "kiloohm"},
}
SI_UNIT = {
    "length": "m",
    "speed": "Hz",
    "frequency": "Hz",
    "power": "W",
    "angle": "rad",
    "mass": "kg",
    "temperature": "K",
    "acceleration": "m/s2",
    "velocity": "m/s",
    "displacement": "m",
    "time": "s",
    "stress": "Pa",
    "torque": "N m",
    "ratio": "-",
    "voltage": "V",
    "current": "A",
    "resistance": "ohm",
}
_LIBRARY_SI = {
    "speed": "hertz",
    "frequency": "hertz",
    "stress": "Pa",
    "torque": "N*m",
    "acceleration": "m/s**2",
    "ratio": "dimensionless",
}
_NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?"
_QUANTITY = re.compile(rf"\s*({_NUMBER})\s*(.*?)\s*")
_RANGE = re.compile(rf"\s*({_NUMBER})\s*(?:-|–|to)\s*({_NUMBER})\s*(.*?)\s*")
_FRACTION = re.compile(r"\s*([+-]?)(?:(\d{1,6})(?:\s+|-))?(\d{1,6})\s*/\s*(\d{1,6})\s*(.*?)\s*")
_COMMA = re.compile(r"\s*([+-]?\d+),(\d+)\s*(.*?)\s*")
_EXAMPLE = {
    "length": "25 mm",
    "speed": "1485 rpm",
    "frequency": "10 kHz",
    "power": "75 kW",
    "angle": "15 deg",
    "mass": "80 g",
    "temperature": "65 °C",
    "acceleration": "9.81 m/s2",
    "velocity": "4.5 mm/s",
    "displacement": "50 um",
    "time": "30 s",
    "stress": "17 MPa",
    "torque": "5 N m",
    "ratio": "2 %",
    "voltage": "24 V",
    "current": "40 mA",
    "resistance": "120 ohm",
}


@dataclass(frozen=True)
class Range:
    """A closed interval in SI; both ends equal for a single value."""

    low: float
    high: float


@dataclass(frozen=True)
class Thread:
    """A screw thread as named: system, major diameter [m] and pitch [m], or None for the coarse pitch of the series."""

    designation: str
    system: str
    major_diameter: float
    pitch: float | None


@dataclass(frozen=True)
class Wire:
    """A wire size as named, with its conductor diameter [m]."""

    designation: str
    diameter: float


@functools.cache
def _library() -> Any:
    import pint  # slow to import, and `gearcase --help` does not need it

    return pint.UnitRegistry(cache_folder=None)


@functools.cache
def _factor(spelling: str, si: str) -> float:
    """What one of a unit is in another, asked of the library once: every register that is read comes this way."""
    return float(_library().parse_expression(spelling).to(si).magnitude)


def convert(value: float, unit: str, kind: str) -> float:
    """`value` in the person's `unit` as SI.

    Raises
    ------
    OutOfRange
        The unit is not one of `ACCEPTED[kind]`, the value is too large for a number, or it lies below absolute zero.

    Examples
    --------
    >>> convert(1500, "rpm", "speed")
    25.0
    """
    spellings = ACCEPTED[kind]
    if unit not in spellings:
        raise OutOfRange("unit", repr(unit), _wanted(kind))
    if kind == "temperature":  # offset scales cannot be multiplied
        si = float(_library().Quantity(value, spellings[unit]).to("kelvin").magnitude)
        if si < 0:
            raise OutOfRange(kind, f"'{value:g} {unit}'", "not below absolute zero, -273.15 °C")
    else:
        si = value * _factor(spellings[unit], _LIBRARY_SI.get(kind, SI_UNIT[kind]))
    if not math.isfinite(si):
        raise OutOfRange(kind, f"'{value:g} {unit}'", _wanted(kind))
    return si


def parse(text: object, kind: str) -> float:
    """One quantity as SI.

    Raises
    ------
    OutOfRange
        No unit, an unknown unit, a fraction, a decimal comma, or not a quantity at all; the rule says what would be accepted.

    Examples
    --------
    >>> parse("0.5 in", "length")
    0.0127
    >>> parse("25", "length")
    Traceback (most recent call last):
    gearcase.errors.OutOfRange: length='25': a length with its unit, e.g. "25 mm" (units: mm in " m cm um µm ft)
    """
    match = _QUANTITY.fullmatch(text) if isinstance(text, str) else None
    if not match or match[2] not in ACCEPTED[kind]:
        raise OutOfRange(kind, repr(text), _meant(text, kind) + _wanted(kind))
    return convert(float(match[1]), match[2], kind)


def parse_range(text: object, kind: str) -> Range:
    """One quantity or a range of it (``"900-1485 rpm"``) as SI.

    Raises
    ------
    OutOfRange
        As `parse`, or the low end stands above the high end.

    Examples
    --------
    >>> parse_range("900-1500 rpm", "speed")
    Range(low=15.0, high=25.0)
    """
    match = _RANGE.fullmatch(text) if isinstance(text, str) else None
    if not match:
        value = parse(text, kind)
        return Range(value, value)
    if match[3] not in ACCEPTED[kind]:
        raise OutOfRange(kind, repr(text), _wanted(kind))
    low, high = (convert(float(match[n]), match[3], kind) for n in (1, 2))
    if low > high:
        raise OutOfRange(kind, repr(text), "the low end first, then the high end")
    return Range(low, high)


def parse_thread(text: object) -> Thread:
    """A thread size: ``"1/4-28"``, ``"10-32"``, ``"M12"``, ``"M12x1.25"``.

    Unified sizes to 6 in by ASME B1.1 (numbered sizes 0 to 12: 0.060 in + 0.013 in a number), metric by ISO 261. ``"1-8"`` is
    one inch: no numbered size has so coarse a pitch (the coarsest, 4-40 to 6-32, have 4.4 in a diameter). ``"#1-64"`` says it.

    Raises
    ------
    OutOfRange
        Not a thread size.

    Examples
    --------
    >>> parse_thread("1/4-28").major_diameter
    0.00635
    >>> parse_thread("M12").pitch is None
    True
    """
    words = text.strip() if isinstance(text, str) else ""
    if metric := re.fullmatch(r"M(\d{1,3}(?:\.\d{1,3})?)(?:\s*[x×]\s*(\d{1,2}(?:\.\d{1,3})?))?", words):
        diameter, pitch = float(metric[1]) / 1000, float(metric[2]) / 1000 if metric[2] else None
        if diameter > 0 and (pitch is None or 0 < pitch < diameter):
            return Thread(words, "metric", diameter, pitch)
    if numbered := re.fullmatch(r"#?(\d|1[0-2])-(\d{1,3})", words):
        inches, per_inch = 0.060 + 0.013 * int(numbered[1]), int(numbered[2])
        if inches * per_inch > 4:
            return Thread(words, "unified", inches * INCH, INCH / per_inch)
    if unified := re.fullmatch(r"(?:([1-6])-)?(?:(\d{1,2})/(\d{1,2})-)?(\d{1,3})", words):
        whole, above, below, per_inch = (int(part or 0) for part in unified.groups())
        inches = whole + (above / below if below else 0.0)
        if above <= max(below - 1, 0) and inches * per_inch > 1:
            return Thread(words, "unified", inches * INCH, INCH / per_inch)
    raise OutOfRange("thread", repr(text), 'a thread size, e.g. "1/4-28", "10-32", "M12" or "M12x1.25"')


def parse_wire(text: object) -> Wire:
    """A wire size: ``"14 AWG"`` (ASTM B258, 4/0 to 56: 0.127 mm x 92^((36 - n)/39)) or ``"2.5 mm2"`` (solid conductor of
    that area).

    Raises
    ------
    OutOfRange
        Not a wire size.

    Examples
    --------
    >>> parse_wire("14 AWG").diameter
    0.0016277
    """
    words = text.strip() if isinstance(text, str) else ""
    if gauge := re.fullmatch(r"(\d|[1-4]\d|5[0-6]|[1-4]/0)\s*AWG", words):
        number = 1 - int(gauge[1][0]) if "/" in gauge[1] else int(gauge[1])
        return Wire(words, 0.127e-3 * float(92 ** ((36 - number) / 39)))
    area = re.fullmatch(rf"({_NUMBER})\s*mm(?:2|²|\^2)", words)
    if area and 0 < float(area[1]) < math.inf:
        return Wire(words, math.sqrt(4e-6 * float(area[1]) / math.pi))
    raise OutOfRange("wire", repr(text), 'a wire size, e.g. "14 AWG" or "2.5 mm2"')


def show(value: float, kind: str, unit: str, digits: int = 4) -> str:
    """An SI value in the reader's unit.

    Examples
    --------
    >>> show(24.75, "speed", "rpm")
    '1485 rpm'
    """
    return f"{shown(value, kind, unit):.{digits}g} {unit}".strip()


def shown(value: float, kind: str, unit: str) -> float:
    """An SI value as a number of `unit`.

    Examples
    --------
    >>> shown(298.15, "temperature", "°C")
    25.0
    """
    if kind == "temperature":
        return float(_library().Quantity(value, "kelvin").to(ACCEPTED[kind][unit]).magnitude)
    return value / _in_si(unit, kind)


@functools.cache
def _in_si(unit: str, kind: str) -> float:
    return convert(1.0, unit, kind)


def read(value: float, unit: str, *, digits: int = 5, spread: float = 0.0) -> str:
    """An SI value in the unit in which people read it, with its spread; `digits` of a number without one.

    With a spread both have the digits of its first two (JCGM 100:2008, 7.2.6). Digits before the point are never rounded away.

    Examples
    --------
    >>> read(0.00635, "m"), read(1000.0, "m"), read(0.0118, "m", digits=3), read(38.8991, "Hz", spread=0.389)
    ('6.35 mm', '1000 m', '11.8 mm', '38.90 ± 0.39 Hz')
    >>> read(131072.0, "-"), read(28451.23, "N"), read(28451.23, "N", digits=3), read(353.15, "K"), read(3.0, "K")
    ('131072', '28451 N', '28451 N', '80 °C', '3 K')
    """
    if unit == "K" and value >= _COLDEST:
        value, unit = round(value - _ZERO_C, 9), "°C"
    up_to, factor, shown = _READ_AS.get(unit, (0.0, 1.0, unit))
    if abs(value) < up_to:
        value, spread, unit = value * factor, spread * factor, shown
    after = "" if unit == "-" else unit if unit == "°" else f" {unit}"
    if spread and math.isfinite(spread):
        decimals = max(0, 1 - math.floor(math.log10(spread)))
        return f"{value:.{decimals}f} ± {spread:.{decimals}f}{after}"
    whole = math.isfinite(value) and abs(value) < 1e12 and (value == round(value) or abs(value) >= 10 ** (digits - 1))
    return f"{value:.0f}{after}" if whole else f"{value:.{digits}g}{after}"


def percent(share: float, decimals: int = 0) -> str:
    """A share in per cent, with the space that SI asks for between number and sign (SI Brochure, 5.4.7).

    Examples
    --------
    >>> percent(0.354), percent(0.0371, 1)
    ('35 %', '3.7 %')
    """
    return f"{100 * share:.{decimals}f} %"


def _meant(text: object, kind: str) -> str:
    """A fraction or a decimal comma as it would be accepted; empty for anything else. Nothing is guessed: 1,485 may be either."""
    words = text if isinstance(text, str) else ""
    if (part := _FRACTION.fullmatch(words)) and part[5] in ACCEPTED[kind] and int(part[4]):
        value = int(part[2] or 0) + int(part[3]) / int(part[4])
        return f'write "{part[1]}{value:.6g} {part[5]}": '.replace(' ":', '":')
    if (part := _COMMA.fullmatch(words)) and part[3] in ACCEPTED[kind]:
        unit = f" {part[3]}".rstrip()
        either = f'"{part[1]}{part[2]}{unit}" or ' if len(part[2]) == 3 else ""
        return f'write {either}"{part[1]}.{part[2]}{unit}": '
    return ""


def _wanted(kind: str) -> str:
    article = "an" if kind[0] in "aeiou" else "a"
    return f'{article} {kind} with its unit, e.g. "{_EXAMPLE[kind]}" (units: {" ".join(filter(None, ACCEPTED[kind]))})'
