"""The shape of job.yaml. Quantities are text with their unit and become SI numbers here, once.

Every field's description is what the JSON Schema shows in an editor and what an error says would be accepted.
"""

import re
from collections.abc import Callable
from datetime import datetime
from typing import Annotated, Any, Literal, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, WithJsonSchema
from pydantic_core import PydanticCustomError

from gearcase import units
from gearcase.drive.train import BELT_KINDS, MESH_KINDS, PASSING_KINDS
from gearcase.errors import OutOfRange
from gearcase.install.mounting import mount_names
from gearcase.install.orientation import OUTWARD
from gearcase.tables import load
from gearcase.worked import Origin

__all__ = [
    "BearingModel",
    "BearingShape",
    "DriveModel",
    "JobModel",
    "NameplateModel",
    "PointModel",
    "SensorModel",
    "json_schema",
    "read_as",
]

Model = TypeVar("Model", bound=BaseModel)

_LARGEST = 1e9  # in SI; beyond it a quantity is a slip of the pen, and sums with it would overflow
_MOST_TEETH = 9999
_MOST_ELEMENTS = 999
_MOST_POLES = 64


def _read(reader: Callable[[object], Any]) -> Callable[[object], Any]:
    """A reader of `units` as a validator: its rule becomes what is accepted."""

    def validate(value: object) -> Any:
        try:
            return reader(value)
        except OutOfRange as error:
            raise PydanticCustomError("accepted", "{rule}", {"rule": error.rule}) from None

    return validate


def _quantity(kind: str, *, positive: bool = True) -> BeforeValidator:
    def reader(value: object) -> float:
        number = units.parse(value, kind)
        if positive and number <= 0:
            raise OutOfRange(kind, repr(value), f"{'an' if kind[0] in 'aeiou' else 'a'} {kind} above 0")
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
    return units.parse(value[0], "length"), units.parse(value[1], "length")


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


def _profile(value: object) -> str:
    known = tuple(dict.fromkeys(row["profile"] for row in load("registers")))
    if value not in known:
        raise OutOfRange("profile", repr(value), f"one of: {', '.join(known)}")
    return str(value)


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
    if not isinstance(value, str) or not re.fullmatch(r"\s*(tcp\s+\S+:\d{1,5}|serial\s+\S+)\s*", value):
        raise OutOfRange("connection", repr(value), "how the bus is reached, e.g. tcp 192.0.2.10:502 or serial /dev/ttyUSB0")
    return value.strip()


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
Start = Annotated[str, BeforeValidator(_read(_start)), _text("2026-03-02T10:00")]
SampleUnit = Annotated[str, BeforeValidator(_read(_sample_unit)), _text("m/s2", "g")]
Length = Annotated[float, _quantity("length"), _text("25 mm", "0.5 in")]
Power = Annotated[float, _quantity("power"), _text("75 kW")]
Speed = Annotated[float, _quantity("speed"), _text("1485 rpm")]
Frequency = Annotated[float, _quantity("frequency"), _text("10 kHz")]
Mass = Annotated[float, _quantity("mass"), _text("80 g")]
Acceleration = Annotated[float, _quantity("acceleration"), _text("50 g")]
Temperature = Annotated[float, _quantity("temperature"), _text("65 °C")]
At = Annotated[
    tuple[float, float],
    BeforeValidator(_read(_at)),
    WithJsonSchema({"type": "array", "items": {"type": "string"}, "minItems": 2, "maxItems": 2}),
]
WireSize = Annotated[str, BeforeValidator(_read(_wire)), _text("22 AWG", "0.34 mm2")]
Address = Annotated[int, BeforeValidator(_read(_address)), WithJsonSchema({"type": "integer", "minimum": 1, "maximum": 247})]
Registers = Annotated[int, BeforeValidator(_read(_registers)), WithJsonSchema({"type": "integer", "minimum": 1, "maximum": 125})]
Clock = Annotated[float, BeforeValidator(_read(_clock)), WithJsonSchema({"type": "number", "minimum": 0, "maximum": 12})]
ProfileName = Annotated[str, BeforeValidator(_read(_profile)), _text("three-axis vibration")]
ScrewSize = Annotated[str, BeforeValidator(_read(_screw)), _text("M8", "1/4")]
Outward = Annotated[str, BeforeValidator(_read(_outward)), WithJsonSchema({"type": "string", "enum": list(OUTWARD)})]
Connection = Annotated[str, BeforeValidator(_read(_connection)), _text("tcp 192.0.2.10:502", "serial /dev/ttyUSB0")]
Time = Annotated[float, _quantity("time"), _text("30 s")]
Torque = Annotated[float, _quantity("torque"), _text("4 N m")]
Angle = Annotated[float, _quantity("angle", positive=False), _text("15 deg")]
Share = Annotated[float, _quantity("ratio", positive=False), _text("1 %")]
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
_ORIGIN = "how it is known: measured, nameplate, estimated or assumed"


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", use_enum_values=False)


class SiteModel(_Section):
    """Where the drive stands."""

    name: Name = Field("", description="name of the site")
    drive_tag: Name = Field("", description="tag of the drive on site")
    owner: Name = Field("", description="who owns the drive and may approve work on it")
    notes: Words = Field("", description="anything a visitor must know")


class NameplateModel(_Section):
    """What the nameplate says."""

    power: Power | None = Field(None, description="rated power, e.g. 75 kW")
    ratio: Ratio | None = Field(None, description="ratio as printed, e.g. 20.1; its last digit says how exact it is")
    input_speed: Speed | None = Field(None, description="rated input speed, e.g. 1485 rpm")
    output_speed: Speed | None = Field(None, description="rated output speed, e.g. 74 rpm")
    support: Literal["rigid", "flexible"] | None = Field(None, description="rigid or flexible")
    text: Words = Field("", description="everything else on the plate, as it stands")


class InputModel(_Section):
    """The shaft whose speed is known."""

    shaft: Name = Field("input", description="name of the shaft whose speed is stated")
    speed: SpeedRange = Field(description='its speed or range of speeds in service, e.g. "1485 rpm" or "900-1485 rpm"')
    origin: KnownBy = Field(Origin.ASSUMED, description=_ORIGIN)


class ShaftModel(_Section):
    """A shaft, or any part that turns as one: a carrier, a ring."""

    name: Name = Field(description="name of the shaft")
    end: Literal["input", "output"] | None = Field(None, description="input or output, for a shaft that leaves the housing")
    held: bool = Field(False, description="true for a ring, sun or carrier that the housing holds still")
    carrier: Name | None = Field(None, description="for a planet outside `planetary_sets`: the shaft that carries it round")
    count: Count = Field(1, description="how many alike: planets of one carrier")
    spacing: Literal["equal", "unequal"] = Field("equal", description="whether planets stand at equal angles: equal or unequal")


class GearModel(_Section):
    """A gear of a mesh."""

    shaft: Name = Field(description="name of its shaft")
    teeth: Teeth = Field(None, description="a whole number of teeth, or unknown")


class MeshModel(_Section):
    """Two gears that mesh."""

    name: Name = Field(description="name of the mesh")
    kind: Literal[MESH_KINDS] = Field("external", description="external, internal (the wheel is a ring), bevel or worm")  # type: ignore[valid-type]
    pinion: GearModel = Field(description="the smaller gear, or the worm with its starts as teeth: shaft and teeth")
    wheel: GearModel = Field(description="the larger gear: shaft and teeth")
    origin: KnownBy = Field(Origin.ASSUMED, description=_ORIGIN)


class PlanetModel(_Section):
    """The planets of a set: plain, stepped (another count meets the ring), or in pairs (an outer one meets the ring)."""

    teeth: Teeth = Field(None, description="a whole number of teeth, or unknown; of a stepped planet those that meet the sun")
    ring_side_teeth: Teeth = Field(None, description="of a stepped planet: teeth that meet the ring")
    outer_teeth: Teeth = Field(None, description="of planets in meshing pairs: teeth of the outer one, which meets the ring")


class CarrierModel(_Section):
    """The carrier of a set."""

    shaft: Name = Field(description="name of the shaft it turns with")


class PlanetarySetModel(_Section):
    """Sun, planets, ring and carrier. A member that stands still is a shaft with held: true."""

    name: Name = Field(description="name of the set; its planets are called after it, e.g. `first stage planet`")
    planets: Count = Field(3, description="number of planets, 1 or more")
    spacing: Literal["equal", "unequal"] = Field("equal", description="whether planets stand at equal angles: equal or unequal")
    sun: GearModel = Field(description="shaft and teeth of the sun")
    planet: PlanetModel = Field(default_factory=lambda: PlanetModel(), description="teeth of a planet")
    ring: GearModel = Field(description="shaft and teeth of the ring")
    carrier: CarrierModel = Field(description="shaft of the carrier")
    origin: KnownBy = Field(Origin.ASSUMED, description=_ORIGIN)


class PulleyModel(_Section):
    """A pulley or sprocket."""

    shaft: Name = Field(description="name of its shaft")
    diameter: Length | None = Field(None, description="pitch diameter of a pulley without teeth, e.g. 200 mm")
    teeth: Teeth = Field(None, description="teeth of a toothed pulley or sprocket")


class BeltModel(_Section):
    """A belt or chain between two shafts."""

    name: Name = Field(description="name of the belt or chain")
    kind: Literal[BELT_KINDS] = Field(description=f"one of: {', '.join(BELT_KINDS)}")  # type: ignore[valid-type]
    driver: PulleyModel = Field(description="the driving pulley: shaft, and diameter or teeth")
    driven: PulleyModel = Field(description="the driven pulley: shaft, and diameter or teeth")
    length: Length | None = Field(None, description="pitch length of a belt without teeth, e.g. 2.5 m")
    links: Count | None = Field(None, description="links of the chain, or teeth of the belt")
    origin: KnownBy = Field(Origin.ASSUMED, description=_ORIGIN)


class RatioModel(_Section):
    """Speed of one shaft known from that of another, however it was found."""

    fast: Name = Field(description="name of the faster shaft")
    slow: Name = Field(description="name of the slower shaft")
    ratio: Ratio = Field(description="turns of the fast shaft to one of the slow, e.g. 20.1")
    spread: Share = Field(0.0, description="how far it may be off, e.g. 0.5 %")
    origin: KnownBy = Field(Origin.ASSUMED, description=_ORIGIN)


class MotorModel(_Section):
    """The induction motor that drives, from its plate."""

    shaft: Name = Field("input", description="name of the shaft it is on")
    poles: Poles = Field(description="number of poles, an even number, e.g. 4")
    supply: Frequency = Field(description="frequency on its plate, e.g. 50 Hz")
    rated_speed: Speed | None = Field(None, description="full-load speed on its plate, e.g. 1485 rpm")
    converter: bool = Field(False, description="true where a frequency converter feeds it")
    carrier: Frequency | None = Field(None, description="switching frequency of the converter, e.g. 4 kHz")
    origin: KnownBy = Field(Origin.NAMEPLATE, description=_ORIGIN)


class PassingPartModel(_Section):
    """Something that passes so many times a turn: fan blades, coupling jaws, buckets, vanes."""

    name: Name = Field(description="name of the part")
    shaft: Name = Field(description="name of the shaft it is on")
    kind: Literal[PASSING_KINDS] = Field("other", description=f"one of: {', '.join(PASSING_KINDS)}")  # type: ignore[valid-type]
    count: PerTurn = Field(description="how many pass in a turn of the shaft, e.g. 7, or 2.4 for buckets every so many links")
    origin: KnownBy = Field(Origin.ASSUMED, description=_ORIGIN)


class BearingShape(_Section):
    """What a bearing is inside: geometry, or the designation it is estimated from, or the elements alone."""

    designation: Name = Field("", description='as stamped on the ring, in quotes, e.g. "6205"')
    elements: Elements | None = Field(None, description="rolling elements in one row")
    element_diameter: Length | None = Field(None, description="diameter of a rolling element, e.g. 7.94 mm")
    pitch_diameter: Length | None = Field(None, description="pitch diameter, e.g. 39.04 mm")
    contact_angle: Angle | None = Field(None, description="contact angle, e.g. 15 deg; 0 deg for deep groove")
    spread: Share = Field(0.0, description="how far its pass rates may be off, e.g. 1 %")
    origin: KnownBy = Field(Origin.ASSUMED, description=_ORIGIN)


class CandidateModel(BearingShape):
    """One of several makes that a bearing may be."""

    name: Name = Field(description='what to call it, e.g. "make A"')


class BearingModel(BearingShape):
    """A rolling bearing. Its diameters and contact angle are given whole or not at all."""

    name: Name = Field(description="name of the bearing")
    shaft: Name = Field(description="name of the shaft that turns one of its rings")
    turning: Literal["inner", "outer"] = Field("inner", description="which ring turns with the shaft: inner or outer")
    other_ring_shaft: Name | None = Field(None, description="shaft of the other ring, where both turn")
    candidates: list[CandidateModel] = Field(
        default_factory=list, description="a list of makes it may be, each with a name and a geometry or designation"
    )


class DriveModel(_Section):
    """What turns."""

    name: Name = Field("drive", description="what people call the drive")
    nameplate: NameplateModel = Field(default_factory=lambda: NameplateModel(), description="what the nameplate says")
    input: InputModel = Field(description="the shaft whose speed is known, and its speed")
    shafts: list[ShaftModel] = Field(default_factory=list, description="a list of shafts, each with a name")
    meshes: list[MeshModel] = Field(default_factory=list, description="a list of meshes, each with pinion and wheel")
    planetary_sets: list[PlanetarySetModel] = Field(
        default_factory=list, description="a list of planetary sets, each with sun, planet, ring and carrier"
    )
    belts: list[BeltModel] = Field(default_factory=list, description="a list of belts and chains, each with driver and driven")
    ratios: list[RatioModel] = Field(default_factory=list, description="a list of known ratios, each with fast, slow and ratio")
    bearings: list[BearingModel] = Field(default_factory=list, description="a list of bearings, each with name and shaft")
    motor: MotorModel | None = Field(None, description="the motor: poles, supply, rated_speed, converter")
    passing_parts: list[PassingPartModel] = Field(
        default_factory=list, description="a list of what passes so many times a turn, each with name, shaft and count"
    )


class SensorModel(_Section):
    """A vibration sensor, from its data sheet."""

    kind: Literal["waveform", "overall"] = Field("waveform", description="waveform (samples) or overall (one figure)")
    lowest: Frequency | None = Field(None, description="lowest frequency it shows, e.g. 2 Hz")
    highest: Frequency | None = Field(None, description="highest frequency it shows, e.g. 10 kHz")
    axes: Literal[1, 3] = Field(1, description="1 or 3")
    mass: Mass | None = Field(None, description="mass, e.g. 80 g")
    range: Acceleration | None = Field(None, description="range, e.g. 50 g")


class WallModel(_Section):
    """The wall at a spot. Only a measured wall may be drilled."""

    thickness: Length = Field(description="least of three readings, e.g. 14.2 mm")
    gauge_error: Length | None = Field(None, description="error of the gauge, e.g. 0.2 mm")
    origin: KnownBy = Field(Origin.ASSUMED, description=_ORIGIN)


class HoleModel(_Section):
    """A tapped blind hole for a stud."""

    thread: Annotated[str, BeforeValidator(_read(_thread)), _text("1/4-28", "M6")] = Field(description="thread, e.g. 1/4-28 or M6")
    full_thread: Length = Field(description="length of full thread, e.g. 6.35 mm")
    spot_face: Length | None = Field(None, description="depth of the spot-face, e.g. 1 mm")
    tap: Literal["plug", "bottoming"] = Field("plug", description="plug or bottoming")


class PointModel(_Section):
    """A measuring point."""

    name: Name = Field(description="name of the point")
    sensor: SensorModel = Field(default_factory=SensorModel, description="the sensor, from its data sheet")
    mount: Mount | None = Field(None, description=f"one of: {', '.join(mount_names())}")
    bearing: Name = Field("", description="name of the bearing whose housing it stands on")
    face: Name = Field("", description="face of the housing, e.g. top")
    direction: Literal["radial", "axial"] | None = Field(None, description="radial or axial")
    at: At | None = Field(None, description="place on the face from its lower left corner, e.g. [120 mm, 80 mm]")
    clock: Clock | None = Field(None, description="where the sensor's mark points, seen from outside, in hours, e.g. 12")
    wall: WallModel | None = Field(None, description="wall at this spot: thickness, gauge_error, origin")
    hole: HoleModel | None = Field(None, description="tapped hole for a stud: thread, full_thread, spot_face, tap")


class KeepOutModel(_Section):
    """Something on a face to stay clear of."""

    name: Name = Field(description="what it is, e.g. drain plug")
    kind: Literal["port", "bolt", "split line", "seal", "rotating part", "guard", "hot spot", "other"] = Field(
        description="port, bolt, split line, seal, rotating part, guard, hot spot or other"
    )
    at: At = Field(description="its middle from the face's lower left corner, e.g. [40 mm, 30 mm]")
    size: At = Field(description="its width and height, e.g. [30 mm, 30 mm]")


class FaceModel(_Section):
    """A face of the housing, seen from outside."""

    name: Name = Field(description="name of the face, e.g. left")
    size: At = Field(description="its width and height, e.g. [600 mm, 420 mm]")
    outward: Outward | None = Field(None, description=f"where it looks, seen from the input end: {', '.join(OUTWARD)}")
    keep_outs: list[KeepOutModel] = Field(default_factory=list, description="a list of what to stay clear of")


class HousingModel(_Section):
    """The housing."""

    material: Literal["grey iron", "ductile iron", "steel", "aluminium"] | None = Field(
        None, description="grey iron, ductile iron, steel or aluminium"
    )
    surface_temperature: Temperature | None = Field(None, description="of the surface while running, e.g. 65 °C")
    faces: list[FaceModel] = Field(default_factory=list, description="a list of faces, each with name and size")


class CableModel(_Section):
    """A cable of the kit."""

    name: Name = Field(description="name of the cable")
    length: Length = Field(description="its length, e.g. 10 m")
    wire: WireSize | None = Field(None, description="size of its conductors, e.g. 22 AWG or 0.34 mm2")


class ScrewModel(_Section):
    """Screws that pass through a part of the kit."""

    name: Name = Field(description="the part they hold, e.g. foot of the stack light")
    size: ScrewSize = Field(description="size of the screw, e.g. M8 or 1/4")
    fit: Literal["close", "normal", "loose"] = Field("normal", description="close, normal or loose")


class KitModel(_Section):
    """What is brought along."""

    cables: list[CableModel] = Field(default_factory=list, description="a list of cables, each with name and length")
    adhesive_cure: Time | None = Field(None, description="full cure of the adhesive at 23 °C by its data sheet, e.g. 24 h")
    metal_temperature: Temperature | None = Field(None, description="of the metal while bonding, e.g. 18 °C")
    screws: list[ScrewModel] = Field(
        default_factory=list, description="a list of screws that pass through, each with name and size"
    )


class DeviceModel(_Section):
    """A device on the serial bus."""

    name: Name = Field(description="name of the device")
    address: Address = Field(description="unit address, 1 to 247")
    registers: Registers = Field(description="registers read at each poll, 1 to 125")
    run: Length = Field(description="length of its cable run, e.g. 8 m")
    point: Name = Field("", description="the measuring point it serves")
    profile: ProfileName | None = Field(None, description="what its registers mean, e.g. three-axis vibration")


class BusModel(_Section):
    """The serial bus."""

    baud: Literal[1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200] = Field(19200, description="baud, e.g. 19200")
    device_delay: Time | None = Field(None, description="how long a device takes to answer, e.g. 5 ms")
    connection: Connection | None = Field(None, description="how it is reached, e.g. tcp 192.0.2.10:502 or serial /dev/ttyUSB0")
    devices: list[DeviceModel] = Field(default_factory=list, description="a list of devices, each with address and registers")


class SignalModel(_Section):
    """Where speed, load, run state or direction come from."""

    name: Name = Field(description="name of the input")
    kind: Literal["speed", "load", "run_state", "direction"] = Field(description="speed, load, run_state or direction")
    source: Literal["register", "mqtt", "analogue", "comb", "stated"] = Field(
        description="register, mqtt, analogue, comb (inferred from the lines) or stated"
    )
    address: Words = Field("", description="register, topic, terminal or value")
    age_limit: Time | None = Field(None, description="how old it may be, e.g. 30 s")
    fallback: Words = Field("", description="what to use when it is lost")


class RecordingModel(_Section):
    """A recording to be judged."""

    file: Name = Field(description="file, from the job's folder")
    point: Name = Field("", description="measuring point of the job where it was taken")
    channel: Name = Field("", description="which channel of the file")
    rate: Frequency | None = Field(None, description="sample rate, where the file does not say, e.g. 25.6 kHz")
    unit: SampleUnit = Field("", description="unit of the samples, where the file does not say, e.g. m/s2 or g")
    speed: Speed | None = Field(None, description="speed of the input while recording, e.g. 1478 rpm")
    start: Start = Field("", description="when it was taken, e.g. 2026-03-02T10:00")


class JobModel(_Section):
    """A job: one drive to be fitted, proved and watched."""

    job: Literal[1] = Field(description="1, the version of this form")
    title: Name = Field("", description="what people call the job")
    site: SiteModel = Field(default_factory=SiteModel, description="where the drive stands")
    drive: DriveModel = Field(description="what turns")
    points: list[PointModel] = Field(default_factory=list, description="a list of measuring points")
    inputs: list[SignalModel] = Field(default_factory=list, description="a list: where speed, load and run state come from")
    recordings: list[RecordingModel] = Field(default_factory=list, description="a list of recordings to be judged")
    housing: HousingModel = Field(default_factory=HousingModel, description="material, surface_temperature, faces")
    kit: KitModel = Field(default_factory=KitModel, description="cables, adhesive_cure, metal_temperature")
    bus: BusModel = Field(default_factory=BusModel, description="baud, device_delay, devices")
    power: dict[str, Any] = Field(default_factory=dict, description="kept as it is for the plan to come")
    network: dict[str, Any] = Field(default_factory=dict, description="kept as it is for the plan to come")


def read_as(model: type[Model], data: Any) -> Model | None:
    """One part of a job by its form, None where the form refuses it."""
    try:
        return model.model_validate(data)
    except ValidationError:
        return None


def json_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of job.yaml, for editors."""
    schema = JobModel.model_json_schema()
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema, "title": "job.yaml"}
