"""The shape of the housing in job.yaml: faces, what is on them, walls, ports."""

from typing import Literal

from pydantic import Field

from gearcase.install.housing import HOUSING_KINDS, KEEP_OUT_KINDS, PORT_KINDS, REGION_KINDS
from gearcase.install.orientation import OUTWARD
from gearcase.job.fields import (
    ORIGIN_WORDS,
    Angle,
    At,
    Clock,
    KnownBy,
    Length,
    Name,
    Outward,
    PerTurn,
    Section,
    Size,
    Temperature,
    Thread,
    Velocity,
    Words,
)
from gearcase.worked import Origin

__all__ = [
    "FaceModel",
    "HousingModel",
    "KeepOutModel",
    "PortModel",
    "RegionModel",
    "SampleModel",
    "SeatModel",
    "ThreadedHoleModel",
    "WallModel",
]


class SampleModel(Section):
    """A spot of the same metal that caliper and gauge can both measure, for its sound velocity."""

    caliper: Length = Field(description="by the caliper, e.g. 20 mm")
    reading: Length = Field(description="by the gauge with the same setting, e.g. 26.3 mm")


class WallModel(Section):
    """The wall at a spot. Only a measured wall may be drilled."""

    thickness: Length | None = Field(None, description="what it is known to be, e.g. 14.2 mm; or give the readings instead")
    readings: list[Length] = Field(default_factory=list, description="as the gauge showed them, e.g. [14.2 mm, 14.4 mm, 14.3 mm]")
    velocity_set: Velocity | None = Field(None, description="what the gauge was set to, e.g. 5920 m/s")
    sample: SampleModel | None = Field(None, description="a flange or cover edge that a caliper measures too: caliper, reading")
    gauge_error: Length | None = Field(None, description="error of the gauge, e.g. 0.2 mm")
    origin: KnownBy = Field(Origin.ASSUMED, description=ORIGIN_WORDS)


class KeepOutModel(Section):
    """Something on a face to stay clear of."""

    name: Name = Field(description="what it is, e.g. drain plug")
    kind: Literal[KEEP_OUT_KINDS] = Field(description=f"one of: {', '.join(KEEP_OUT_KINDS)}")  # type: ignore[valid-type]
    at: At = Field(description="its middle from the face's lower left corner, e.g. [40 mm, 30 mm]")
    size: Size = Field(description="its width and height, e.g. [30 mm, 30 mm]")
    from_converter: bool = Field(False, description="of a power cable: true where it feeds a motor from a converter")
    length: Length | None = Field(None, description="of a power cable: its whole length, e.g. 12 m")


class RegionModel(Section):
    """A part of a face whose wall is of one kind."""

    name: Name = Field(description="what people call it, e.g. boss beside the cap")
    kind: Literal[REGION_KINDS] = Field(description=f"one of: {', '.join(REGION_KINDS)}")  # type: ignore[valid-type]
    at: At = Field(description="its middle from the face's lower left corner, e.g. [300 mm, 310 mm]")
    size: Size = Field(description="its width and height, e.g. [40 mm, 40 mm]")
    wall: WallModel | None = Field(None, description="its wall: thickness, gauge_error, origin")
    temperature: Temperature | None = Field(None, description="of the metal there while running, e.g. 80 °C")


class SeatModel(Section):
    """A bearing's seat where its housing shows on the face."""

    bearing: Name = Field(description="name of the bearing")
    at: At = Field(description="its middle from the face's lower left corner, e.g. [300 mm, 200 mm]")
    diameter: Length = Field(description="outside diameter of the bearing, e.g. 130 mm")
    load: Clock | None = Field(None, description="where its load points, as an hour of the clock seen from outside, e.g. 6")


class ThreadedHoleModel(Section):
    """A tapped hole that is there already."""

    name: Name = Field(description="what people call it, e.g. cap bolt 3")
    at: At = Field(description="its middle from the face's lower left corner, e.g. [250 mm, 310 mm]")
    thread: Thread = Field(description="thread, e.g. M12")
    function: Words = Field("", description="what it is for; one that nobody knows is left alone")


class PortModel(Section):
    """An opening into the oil space, with what was gauged of its thread."""

    name: Name = Field(description="name of the port, e.g. side port")
    kind: Literal[PORT_KINDS] = Field(description=f"one of: {', '.join(PORT_KINDS)}")  # type: ignore[valid-type]
    face: Name = Field(description="the face it is on")
    at: At = Field(description="its middle from the face's lower left corner, e.g. [60 mm, 40 mm]")
    pitch: Length | None = Field(None, description="pitch gauged on the plug, e.g. 1.814 mm")
    threads_per_inch: PerTurn | None = Field(None, description="threads per inch gauged on the plug, e.g. 14")
    angle: Angle | None = Field(None, description="angle of the thread by its gauge, 60 deg or 55 deg")
    major_diameter: Length | None = Field(None, description="outside diameter of the plug's thread at its large end, e.g. 21.2 mm")
    tapered: bool | None = Field(None, description="true where the plug's thread grows along its length, false where it does not")
    below_minimum: Length | None = Field(None, description="depth below the minimum oil level, e.g. 60 mm")
    above_floor: Length | None = Field(None, description="height above the floor of the sump, e.g. 40 mm")
    to_wheel: Length | None = Field(None, description="from the port's mouth inside to the nearest wheel, e.g. 90 mm")


class FaceModel(Section):
    """A face of the housing, seen from outside."""

    name: Name = Field(description="name of the face, e.g. left")
    size: Size = Field(description="its width and height, e.g. [600 mm, 420 mm]")
    outward: Outward | None = Field(None, description=f"where it looks, seen from the input end: {', '.join(OUTWARD)}")
    keep_outs: list[KeepOutModel] = Field(default_factory=list, description="a list of what to stay clear of")
    regions: list[RegionModel] = Field(default_factory=list, description="a list of bosses, ribs, flanges and panels")
    seats: list[SeatModel] = Field(default_factory=list, description="a list of bearing seats that show on it")
    threaded_holes: list[ThreadedHoleModel] = Field(default_factory=list, description="a list of tapped holes that are there")


class HousingModel(Section):
    """The housing."""

    kind: Literal[HOUSING_KINDS] | None = Field(None, description=f"one of: {', '.join(HOUSING_KINDS)}")  # type: ignore[valid-type]
    material: Literal["grey iron", "ductile iron", "steel", "aluminium"] | None = Field(
        None, description="grey iron, ductile iron, steel or aluminium"
    )
    surface_temperature: Temperature | None = Field(None, description="of the surface while running, e.g. 65 °C")
    faces: list[FaceModel] = Field(default_factory=list, description="a list of faces, each with name and size")
    ports: list[PortModel] = Field(default_factory=list, description="a list of ports, each with name, kind and face")
