"""The shape of job.yaml. Quantities are text with their unit and become SI numbers here, once.

Every field's description is what the JSON Schema shows in an editor and what an error says would be accepted.
"""

from collections.abc import Callable
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema
from pydantic_core import PydanticCustomError

from gearcase import units
from gearcase.errors import OutOfRange
from gearcase.install.mounting import mount_names
from gearcase.worked import Origin

__all__ = ["JobModel", "json_schema"]


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
            raise OutOfRange(kind, repr(value), f"a {kind} above 0")
        return number

    return BeforeValidator(_read(reader))


def _text(*examples: str) -> WithJsonSchema:
    return WithJsonSchema({"type": "string", "examples": list(examples)})


def _speed_range(value: object) -> units.Range:
    span = units.parse_range(value, "speed")
    if span.low <= 0:
        raise OutOfRange("speed", repr(value), "a speed or range of speeds above 0")
    return span


def _mount(value: object) -> str:
    if value not in mount_names():
        raise OutOfRange("mount", repr(value), f"one of: {', '.join(mount_names())}")
    return str(value)


def _teeth(value: object) -> int | None:
    if value is None or value == "unknown":
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or value != int(value) or value < 1:
        raise OutOfRange("teeth", repr(value), "a whole number of teeth, 1 or more, or unknown")
    return int(value)


def _elements(value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int | float) or value != int(value) or value < 3:
        raise OutOfRange("elements", repr(value), "a whole number of rolling elements in one row, 3 or more")
    return int(value)


def _ratio(value: object) -> float:
    try:
        number = float(value) if isinstance(value, int | float | str) and not isinstance(value, bool) else 0.0
    except ValueError:
        number = 0.0
    if not 0 < number < float("inf"):
        raise OutOfRange("ratio", repr(value), "the ratio as the nameplate gives it, e.g. 20.1")
    return number


def _name(value: object) -> str:
    if isinstance(value, bool) or not isinstance(value, str | int | float) or not str(value).strip():
        raise OutOfRange("name", repr(value), "a name, not empty")
    return str(value).strip()


Name = Annotated[str, BeforeValidator(_read(_name))]
Length = Annotated[float, _quantity("length"), _text("25 mm", "0.5 in")]
Power = Annotated[float, _quantity("power"), _text("75 kW")]
Speed = Annotated[float, _quantity("speed"), _text("1485 rpm")]
Frequency = Annotated[float, _quantity("frequency"), _text("10 kHz")]
Mass = Annotated[float, _quantity("mass"), _text("80 g")]
Acceleration = Annotated[float, _quantity("acceleration"), _text("50 g")]
Time = Annotated[float, _quantity("time"), _text("30 s")]
Angle = Annotated[float, _quantity("angle", positive=False), _text("15 deg")]
Share = Annotated[float, _quantity("ratio", positive=False), _text("1 %")]
SpeedRange = Annotated[units.Range, BeforeValidator(_read(_speed_range)), _text("1485 rpm", "900-1485 rpm")]
Teeth = Annotated[
    int | None,
    BeforeValidator(_read(_teeth)),
    WithJsonSchema({"anyOf": [{"type": "integer", "minimum": 1}, {"const": "unknown"}]}),
]
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
    notes: str = Field("", description="anything a visitor must know")


class NameplateModel(_Section):
    """What the nameplate says."""

    power: Power | None = Field(None, description="rated power, e.g. 75 kW")
    ratio: Ratio | None = Field(None, description="ratio as printed, e.g. 20.1; its last digit says how exact it is")
    input_speed: Speed | None = Field(None, description="rated input speed, e.g. 1485 rpm")
    output_speed: Speed | None = Field(None, description="rated output speed, e.g. 74 rpm")
    support: Literal["rigid", "flexible"] | None = Field(None, description="rigid or flexible")
    text: str = Field("", description="everything else on the plate, as it stands")


class InputModel(_Section):
    """The shaft whose speed is known."""

    shaft: Name = Field("input", description="name of the shaft whose speed is stated")
    speed: SpeedRange = Field(description='its speed or range of speeds in service, e.g. "1485 rpm" or "900-1485 rpm"')
    origin: KnownBy = Field(Origin.ASSUMED, description=_ORIGIN)


class ShaftModel(_Section):
    """A shaft."""

    name: Name = Field(description="name of the shaft")
    end: Literal["input", "output"] | None = Field(None, description="input or output, for a shaft that leaves the housing")


class GearModel(_Section):
    """A gear of a mesh."""

    shaft: Name = Field(description="name of its shaft")
    teeth: Teeth = Field(None, description="a whole number of teeth, or unknown")


class MeshModel(_Section):
    """Two gears that mesh, on parallel shafts."""

    name: Name = Field(description="name of the mesh")
    pinion: GearModel = Field(description="the smaller gear: shaft and teeth")
    wheel: GearModel = Field(description="the larger gear: shaft and teeth")
    origin: KnownBy = Field(Origin.ASSUMED, description=_ORIGIN)


class BearingModel(_Section):
    """A rolling bearing. Its geometry is given whole or not at all."""

    name: Name = Field(description="name of the bearing")
    shaft: Name = Field(description="name of the shaft that turns one of its rings")
    turning: Literal["inner", "outer"] = Field("inner", description="which ring turns with the shaft: inner or outer")
    other_ring_shaft: Name | None = Field(None, description="shaft of the other ring, where both turn")
    designation: Name = Field("", description='as stamped on the ring, in quotes, e.g. "6205"')
    elements: Elements | None = Field(None, description="rolling elements in one row")
    element_diameter: Length | None = Field(None, description="diameter of a rolling element, e.g. 7.94 mm")
    pitch_diameter: Length | None = Field(None, description="pitch diameter, e.g. 39.04 mm")
    contact_angle: Angle = Field(0.0, description="contact angle, e.g. 15 deg; 0 deg for deep groove, the default")
    spread: Share = Field(0.0, description="how far its pass rates may be off, e.g. 1 %")
    origin: KnownBy = Field(Origin.ASSUMED, description=_ORIGIN)


class DriveModel(_Section):
    """What turns."""

    name: Name = Field("drive", description="what people call the drive")
    nameplate: NameplateModel = Field(default_factory=lambda: NameplateModel(), description="what the nameplate says")
    input: InputModel = Field(description="the shaft whose speed is known, and its speed")
    shafts: list[ShaftModel] = Field(default_factory=list, description="a list of shafts, each with a name")
    meshes: list[MeshModel] = Field(default_factory=list, description="a list of meshes, each with pinion and wheel")
    bearings: list[BearingModel] = Field(default_factory=list, description="a list of bearings, each with name and shaft")


class SensorModel(_Section):
    """A vibration sensor, from its data sheet."""

    kind: Literal["waveform", "overall"] = Field("waveform", description="waveform (samples) or overall (one figure)")
    lowest: Frequency | None = Field(None, description="lowest frequency it shows, e.g. 2 Hz")
    highest: Frequency | None = Field(None, description="highest frequency it shows, e.g. 10 kHz")
    axes: Literal[1, 3] = Field(1, description="1 or 3")
    mass: Mass | None = Field(None, description="mass, e.g. 80 g")
    range: Acceleration | None = Field(None, description="range, e.g. 50 g")


class PointModel(_Section):
    """A measuring point."""

    name: Name = Field(description="name of the point")
    sensor: SensorModel = Field(default_factory=SensorModel, description="the sensor, from its data sheet")
    mount: Mount | None = Field(None, description=f"one of: {', '.join(mount_names())}")
    bearing: Name = Field("", description="name of the bearing whose housing it stands on")
    face: Name = Field("", description="face of the housing, e.g. top")
    direction: Literal["radial", "axial"] | None = Field(None, description="radial or axial")


class SignalModel(_Section):
    """Where speed, load, run state or direction come from."""

    name: Name = Field(description="name of the input")
    kind: Literal["speed", "load", "run_state", "direction"] = Field(description="speed, load, run_state or direction")
    source: Literal["register", "mqtt", "analogue", "comb", "stated"] = Field(
        description="register, mqtt, analogue, comb (inferred from the lines) or stated"
    )
    address: str = Field("", description="register, topic, terminal or value")
    age_limit: Time | None = Field(None, description="how old it may be, e.g. 30 s")
    fallback: str = Field("", description="what to use when it is lost")


class RecordingModel(_Section):
    """A recording to be judged."""

    file: Name = Field(description="file, from the job's folder")
    point: Name = Field("", description="measuring point of the job where it was taken")
    channel: Name = Field("", description="which channel of the file")
    rate: Frequency | None = Field(None, description="sample rate, where the file does not say, e.g. 25.6 kHz")
    unit: Name = Field("", description="unit of the samples, where the file does not say, e.g. m/s2 or g")
    speed: Speed | None = Field(None, description="speed of the input while recording, e.g. 1478 rpm")
    start: Name = Field("", description="when it was taken, e.g. 2026-03-02T10:00")


class JobModel(_Section):
    """A job: one drive to be fitted, proved and watched."""

    job: Literal[1] = Field(description="1, the version of this form")
    title: Name = Field("", description="what people call the job")
    site: SiteModel = Field(default_factory=SiteModel, description="where the drive stands")
    drive: DriveModel = Field(description="what turns")
    points: list[PointModel] = Field(default_factory=list, description="a list of measuring points")
    inputs: list[SignalModel] = Field(default_factory=list, description="a list: where speed, load and run state come from")
    recordings: list[RecordingModel] = Field(default_factory=list, description="a list of recordings to be judged")
    housing: dict[str, Any] = Field(default_factory=dict, description="kept as it is for the plan to come")
    kit: dict[str, Any] = Field(default_factory=dict, description="kept as it is for the plan to come")
    bus: dict[str, Any] = Field(default_factory=dict, description="kept as it is for the plan to come")
    power: dict[str, Any] = Field(default_factory=dict, description="kept as it is for the plan to come")
    network: dict[str, Any] = Field(default_factory=dict, description="kept as it is for the plan to come")


def json_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of job.yaml, for editors."""
    schema = JobModel.model_json_schema()
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema, "title": "job.yaml"}
