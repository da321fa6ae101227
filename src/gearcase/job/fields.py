"""The values of job.yaml as pydantic types. Quantities are text with their unit and become SI numbers here, once."""

import ipaddress
import re
from collections.abc import Callable
from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, WithJsonSchema
from pydantic_core import PydanticCustomError

from gearcase import units
from gearcase.errors import OutOfRange
from gearcase.install.connection import parse_connection
from gearcase.install.mounting import mount_names
from gearcase.install.orientation import OUTWARD
from gearcase.tables import load
from gearcase.worked import Origin

__all__ = [
    "ORIGIN_WORDS",
    "Acceleration",
    "Address",
    "AmbientRange",
    "Angle",
    "At",
    "Bends",
    "Clock",
    "Connection",
    "Count",
    "Current",
    "Elements",
    "Ends",
    "Extra",
    "Frequency",
    "IpAddress",
    "KnownBy",
    "Length",
    "MailAddress",
    "Mass",
    "Mount",
    "Name",
    "Number",
    "Outward",
    "Part",
    "PerTurn",
    "PlainNumber",
    "Poles",
    "Port",
    "Power",
    "Ratio",
    "RegisterAddress",
    "Registers",
    "Resistance",
    "SampleUnit",
    "ScrewSize",
    "Section",
    "Share",
    "Size",
    "Speed",
    "SpeedRange",
    "Start",
    "Stress",
    "Stub",
    "Teeth",
    "Temperature",
    "Thread",
    "Time",
    "TimeFromNow",
    "Topic",
    "TopicPart",
    "Torque",
    "VariableName",
    "Velocity",
    "Voltage",
    "VoltageBetween",
    "WebAddress",
    "WireSize",
    "Words",
]

_LARGEST = 1e9  # in SI; beyond it a quantity is a slip of the pen, and sums with it would overflow
_MOST_TEETH = 9999
_MOST_ELEMENTS = 999
_MOST_POLES = 64
_LONGEST_TOPIC = 1024  # bytes; brokers allow 65535, and nobody needs them
_COLDEST, _HOTTEST = 173.15, 573.15  # K, of any place or part


def _read(reader: Callable[[object], Any]) -> Callable[[object], Any]:
    """A reader of `units` as a validator: its rule becomes what is accepted."""

    def validate(value: object) -> Any:
        try:
            return reader(value)
        except OutOfRange as error:
            raise PydanticCustomError("accepted", "{rule}", {"rule": error.rule}) from None

    return validate


def _quantity(kind: str, *, positive: bool = True, least: float | None = None, most: float | None = None) -> BeforeValidator:
    def reader(value: object) -> float:
        number = units.parse(value, kind)
        if positive and number <= 0:
            raise OutOfRange(kind, repr(value), f"{'an' if kind[0] in 'aeiou' else 'a'} {kind} above 0")
        if least is not None and number < least:
            raise OutOfRange(kind, repr(value), f"{'an' if kind[0] in 'aeiou' else 'a'} {kind} of {least:g} or more")
        if most is not None and number > most:
            raise OutOfRange(kind, repr(value), f"above 0, at most {100 * most:g} %")
        if abs(number) > _LARGEST or 0 < abs(number) < 1 / _LARGEST:
            raise OutOfRange(kind, repr(value), f"a {kind} of a size that machines have")
        return number

    return BeforeValidator(_read(reader))


def _text(*examples: str) -> WithJsonSchema:
    return WithJsonSchema({"type": "string", "examples": list(examples)})


def _speed_range(value: object) -> units.Range:
    span = units.parse_range(value, "speed")
    if span.low <= 0:
        raise OutOfRange("speed", repr(value), "a speed or range of speeds above 0")
    if span.high > _LARGEST or span.low < 1 / _LARGEST:
        raise OutOfRange("speed", repr(value), "a speed that machines have")
    return span


def _ambient(value: object) -> units.Range:
    span = units.parse_range(value, "temperature")
    if not _COLDEST <= span.low <= span.high <= _HOTTEST:
        raise OutOfRange("temperature", repr(value), 'a temperature or range that places and parts have, e.g. "-15 to 40 °C"')
    return span


def _plain(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= _MOST_TEETH:
        raise OutOfRange("number", repr(value), "a number, 0 or more")
    return float(value)


def _mount(value: object) -> str:
    if value not in mount_names():
        raise OutOfRange("mount", repr(value), f"one of: {', '.join(mount_names())}")
    return str(value)


def _teeth(value: object) -> int | None:
    if value == "unknown":
        return None
    return _whole(value, 1, _MOST_TEETH, f"a whole number of teeth, 1 to {_MOST_TEETH}, or unknown")


def _count(value: object) -> int:
    return _whole(value, 1, _MOST_TEETH, "a whole number, 1 or more")


def _poles(value: object) -> int:
    number = _whole(value, 2, _MOST_POLES, f"an even number of poles, 2 to {_MOST_POLES}")
    if number % 2:
        raise OutOfRange("poles", repr(value), f"an even number of poles, 2 to {_MOST_POLES}")
    return number


def _per_turn(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value <= _MOST_TEETH:
        raise OutOfRange("count", repr(value), "how many pass in a turn, a number above 0, e.g. 7")
    return float(value)


def _elements(value: object) -> int:
    return _whole(value, 3, _MOST_ELEMENTS, f"a whole number of rolling elements in one row, 3 to {_MOST_ELEMENTS}")


def _whole(value: object, lowest: int, highest: int, rule: str) -> int:
    if isinstance(value, bool) or not isinstance(value, int | float) or not lowest <= value <= highest:
        raise OutOfRange("number", repr(value), rule)
    if value != int(value):
        raise OutOfRange("number", repr(value), rule)
    return int(value)


def _ratio(value: object) -> float:
    try:
        number = float(value) if isinstance(value, int | float | str) and not isinstance(value, bool) else 0.0
    except (ValueError, OverflowError):
        number = 0.0
    if not 1e-4 <= number <= 1e5:
        raise OutOfRange("ratio", repr(value), "the ratio as the nameplate gives it, e.g. 20.1")
    return number


def _name(value: object) -> str:
    if isinstance(value, bool) or not isinstance(value, str | int | float) or not str(value).strip():
        raise OutOfRange("name", repr(value), "a name, not empty")
    if not str(value).strip().isprintable():
        raise OutOfRange("name", repr(value), "a name on one line")
    return str(value).strip()


def _variable_name(value: object) -> str:
    if not isinstance(value, str) or not re.fullmatch(r"[A-Z][A-Z0-9_]{0,63}", value.strip()):
        raise OutOfRange("variable", repr(value), "an environment variable's name: A to Z, digits and _, e.g. GEARCASE_PASSWORD")
    return value.strip()


def _words(value: object) -> str:
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise OutOfRange("text", repr(value), "text")
    return str(value)


def _start(value: object) -> str:
    try:
        datetime.fromisoformat(str(value))
    except ValueError:
        raise OutOfRange("start", repr(value), "a date or date and time, e.g. 2026-03-02T10:00") from None
    return str(value)


def _at(value: object) -> tuple[float, float]:
    if not isinstance(value, list | tuple) or len(value) != 2:
        raise OutOfRange("place", repr(value), "two lengths, e.g. [120 mm, 80 mm]")
    across, up = units.parse(value[0], "length"), units.parse(value[1], "length")
    if max(abs(across), abs(up)) > _LARGEST:
        raise OutOfRange("place", repr(value), "two lengths of a size that machines have")
    return across, up


def _size(value: object) -> tuple[float, float]:
    sides = _at(value)
    if min(sides) <= 0:
        raise OutOfRange("size", repr(value), "a width and a height above 0, e.g. [120 mm, 80 mm]")
    return sides


def _thread(value: object) -> str:
    return units.parse_thread(str(value)).designation


def _wire(value: object) -> str:
    return units.parse_wire(str(value)).designation


def _address(value: object) -> int:
    return _whole(value, 1, 247, "a unit address, 1 to 247")


def _clock(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= 12:
        raise OutOfRange("clock", repr(value), "hours on a clock face, 0 to 12, e.g. 3")
    return float(value)


def _screw(value: object) -> str:
    held = [row["size"] for row in load("clearance_holes")]
    if str(value) not in held:
        raise OutOfRange("size", repr(value), f"one of: {', '.join(held)}")
    return str(value)


def _outward(value: object) -> str:
    if value not in OUTWARD:
        raise OutOfRange("outward", repr(value), f"one of: {', '.join(OUTWARD)}")
    return str(value)


def _connection(value: object) -> str:
    parse_connection(value)
    return " ".join(str(value).split())


def _port(value: object) -> int:
    return _whole(value, 1, 65535, "a port, 1 to 65535")


def _ip_address(value: object) -> str:
    try:
        return str(ipaddress.ip_address(value if isinstance(value, str) else ""))
    except ValueError:
        raise OutOfRange("address", repr(value), "an address, e.g. 192.0.2.10") from None


def _topic_part(value: object) -> str:
    name = _name(value)
    if re.search(r"[/+#]", name):
        raise OutOfRange("name", repr(value), "a name without / + and #")
    return name


def _mail_address(value: object) -> str:
    if not isinstance(value, str) or not re.fullmatch(r"[^@\s<>,;:\"]{1,64}@[A-Za-z0-9.-]{1,255}", value.strip()):
        raise OutOfRange("mail", repr(value), "a mail address, e.g. shift@plant.example")
    return value.strip()


def _web_address(value: object) -> str:
    if not isinstance(value, str) or not re.fullmatch(r"https?://[^\s/@]+(/\S*)?", value.strip()):
        raise OutOfRange("url", repr(value), "a web address without a password in it, e.g. https://control.example/drives")
    return value.strip()


def _register_address(value: object) -> int:
    return _whole(value, 0, 65535, "an address counted from 0, 0 to 65535; 40001 or 30001 of a sheet is 0")


def _number(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or value == 0 or abs(value) > _LARGEST:
        raise OutOfRange("number", repr(value), "a number, not 0, e.g. 0.1")
    return float(value)


def _ends(value: object) -> tuple[float, float]:
    accepted = "the two numbers at the ends of its span, e.g. [4, 20]"
    if not isinstance(value, list | tuple) or len(value) != 2:
        raise OutOfRange("ends", repr(value), accepted)
    if any(isinstance(end, bool) or not isinstance(end, int | float) or abs(end) > _LARGEST for end in value):
        raise OutOfRange("ends", repr(value), accepted)
    if value[0] >= value[1]:
        raise OutOfRange("ends", repr(value), "the lower end first, e.g. [4, 20]")
    return float(value[0]), float(value[1])


def _topic(value: object) -> str:
    topic = _name(value)
    if "+" in topic or "#" in topic or topic.startswith("$") or len(topic.encode()) > _LONGEST_TOPIC:
        raise OutOfRange("topic", repr(value), "one topic, without wildcards, e.g. plant/drive 7/speed")
    return topic


def _registers(value: object) -> int:
    return _whole(value, 1, 125, "a number of registers, 1 to 125 in one read")


def _sample_unit(value: object) -> str:
    known = [unit for kind in ("acceleration", "velocity", "displacement") for unit in units.ACCEPTED[kind]]
    if value not in known:
        raise OutOfRange("unit", repr(value), f"one of: {', '.join(known)}")
    return str(value)


_PLAIN = WithJsonSchema({"type": ["string", "number"]})  # 6205 needs no quotes
Name = Annotated[str, BeforeValidator(_read(_name)), _PLAIN]
Words = Annotated[str, BeforeValidator(_read(_words)), _PLAIN]
VariableName = Annotated[str, BeforeValidator(_read(_variable_name)), _text("GEARCASE_PASSWORD")]
Start = Annotated[str, BeforeValidator(_read(_start)), _text("2026-03-02T10:00")]
SampleUnit = Annotated[str, BeforeValidator(_read(_sample_unit)), _text("m/s2", "g")]
Length = Annotated[float, _quantity("length"), _text("25 mm", "0.5 in")]
Power = Annotated[float, _quantity("power"), _text("75 kW")]
Speed = Annotated[float, _quantity("speed"), _text("1485 rpm")]
Frequency = Annotated[float, _quantity("frequency"), _text("10 kHz")]
Mass = Annotated[float, _quantity("mass"), _text("80 g")]
Acceleration = Annotated[float, _quantity("acceleration"), _text("50 g")]
Temperature = Annotated[float, _quantity("temperature"), _text("65 °C")]
_PAIR = WithJsonSchema({"type": "array", "items": {"type": "string"}, "minItems": 2, "maxItems": 2})
At = Annotated[tuple[float, float], BeforeValidator(_read(_at)), _PAIR]
Size = Annotated[tuple[float, float], BeforeValidator(_read(_size)), _PAIR]
WireSize = Annotated[str, BeforeValidator(_read(_wire)), _text("22 AWG", "0.34 mm2")]
Address = Annotated[int, BeforeValidator(_read(_address)), WithJsonSchema({"type": "integer", "minimum": 1, "maximum": 247})]
IpAddress = Annotated[str, BeforeValidator(_read(_ip_address)), _text("192.0.2.10")]
TopicPart = Annotated[str, BeforeValidator(_read(_topic_part)), _text("crushing plant")]
MailAddress = Annotated[str, BeforeValidator(_read(_mail_address)), _text("shift@plant.example")]
WebAddress = Annotated[str, BeforeValidator(_read(_web_address)), _text("https://control.example/drives")]
TimeFromNow = Annotated[float, _quantity("time", positive=False, least=0.0), _text("0 s", "30 min")]
Port = Annotated[int, BeforeValidator(_read(_port)), WithJsonSchema({"type": "integer", "minimum": 1, "maximum": 65535})]
Registers = Annotated[int, BeforeValidator(_read(_registers)), WithJsonSchema({"type": "integer", "minimum": 1, "maximum": 125})]
RegisterAddress = Annotated[
    int, BeforeValidator(_read(_register_address)), WithJsonSchema({"type": "integer", "minimum": 0, "maximum": 65535})
]
Number = Annotated[float, BeforeValidator(_read(_number)), WithJsonSchema({"type": "number"})]
Ends = Annotated[
    tuple[float, float],
    BeforeValidator(_read(_ends)),
    WithJsonSchema({"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2}),
]
Topic = Annotated[str, BeforeValidator(_read(_topic)), _text("plant/drive 7/speed")]
Clock = Annotated[float, BeforeValidator(_read(_clock)), WithJsonSchema({"type": "number", "minimum": 0, "maximum": 12})]
ScrewSize = Annotated[str, BeforeValidator(_read(_screw)), _text("M8", "1/4")]
Outward = Annotated[str, BeforeValidator(_read(_outward)), WithJsonSchema({"type": "string", "enum": list(OUTWARD)})]
Connection = Annotated[
    str, BeforeValidator(_read(_connection)), _text("tcp 192.0.2.10:502", "rtu-over-tcp 192.0.2.10:4001", "serial /dev/ttyUSB0 8E1")
]
Thread = Annotated[str, BeforeValidator(_read(_thread)), _text("1/4-28", "M6")]
Time = Annotated[float, _quantity("time"), _text("30 s")]
Velocity = Annotated[float, _quantity("velocity"), _text("5920 m/s")]
Stress = Annotated[float, _quantity("stress"), _text("17 MPa")]
Torque = Annotated[float, _quantity("torque"), _text("4 N m")]
Angle = Annotated[float, _quantity("angle", positive=False), _text("15 deg")]
Share = Annotated[float, _quantity("ratio", positive=False), _text("1 %")]
Voltage = Annotated[float, _quantity("voltage"), _text("24 V")]
Current = Annotated[float, _quantity("current", positive=False, least=0.0), _text("40 mA")]
Stub = Annotated[float, _quantity("length", positive=False, least=0.0), _text("0 m", "0.3 m")]
VoltageBetween = Annotated[float, _quantity("voltage", positive=False), _text("0.5 V", "-2 V")]
Bends = Annotated[float, _quantity("angle", positive=False, least=0.0), _text("270 deg")]
Extra = Annotated[float, _quantity("ratio", positive=False, least=0.0), _text("25 %")]
Part = Annotated[float, _quantity("ratio", most=1.0), _text("90 %")]
Resistance = Annotated[float, _quantity("resistance"), _text("120 ohm")]
PlainNumber = Annotated[float, BeforeValidator(_read(_plain)), WithJsonSchema({"type": "number", "minimum": 0})]
AmbientRange = Annotated[units.Range, BeforeValidator(_read(_ambient)), _text("-15 to 40 °C")]
SpeedRange = Annotated[units.Range, BeforeValidator(_read(_speed_range)), _text("1485 rpm", "900-1485 rpm")]
Teeth = Annotated[
    int | None,
    BeforeValidator(_read(_teeth)),
    WithJsonSchema({"anyOf": [{"type": "integer", "minimum": 1}, {"const": "unknown"}]}),
]
Count = Annotated[int, BeforeValidator(_read(_count)), WithJsonSchema({"type": "integer", "minimum": 1})]
Poles = Annotated[int, BeforeValidator(_read(_poles)), WithJsonSchema({"type": "integer", "minimum": 2, "multipleOf": 2})]
PerTurn = Annotated[float, BeforeValidator(_read(_per_turn)), WithJsonSchema({"type": "number", "exclusiveMinimum": 0})]
Elements = Annotated[int, BeforeValidator(_read(_elements)), WithJsonSchema({"type": "integer", "minimum": 3})]
Ratio = Annotated[
    float,
    BeforeValidator(_read(_ratio)),
    WithJsonSchema({"anyOf": [{"type": "number", "exclusiveMinimum": 0}, {"type": "string", "pattern": r"^\d+(\.\d+)?$"}]}),
]
Mount = Annotated[str, BeforeValidator(_read(_mount)), WithJsonSchema({"type": "string", "enum": list(mount_names())})]
KnownBy = Literal[Origin.MEASURED, Origin.NAMEPLATE, Origin.ESTIMATED, Origin.ASSUMED]
ORIGIN_WORDS = "how it is known: measured, nameplate, estimated or assumed"


class Section(BaseModel):
    model_config = ConfigDict(extra="forbid", use_enum_values=False)
