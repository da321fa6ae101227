"""The shape of what is fitted in job.yaml: points and sensors, kit."""

from typing import Literal

from pydantic import Field

from gearcase.install.mounting import mount_names
from gearcase.job.fields import (
    Acceleration,
    AmbientRange,
    At,
    Clock,
    Frequency,
    Length,
    Mass,
    Mount,
    Name,
    ScrewSize,
    Section,
    Temperature,
    Thread,
    Time,
    WireSize,
)
from gearcase.job.housing_schema import WallModel

__all__ = [
    "CableModel",
    "HoleModel",
    "KitModel",
    "PartModel",
    "PointModel",
    "ScrewModel",
    "SensorModel",
]


class SensorModel(Section):
    """A vibration sensor, from its data sheet."""

    kind: Literal["waveform", "overall"] = Field("waveform", description="waveform (samples) or overall (one figure)")
    lowest: Frequency | None = Field(None, description="lowest frequency it shows, e.g. 2 Hz")
    highest: Frequency | None = Field(None, description="highest frequency it shows, e.g. 10 kHz")
    axes: Literal[1, 3] = Field(1, description="1 or 3")
    mass: Mass | None = Field(None, description="mass, e.g. 80 g")
    range: Acceleration | None = Field(None, description="range, e.g. 50 g")
    base: Length | None = Field(None, description="diameter of its base or pad, e.g. 25 mm")
    hottest: Temperature | None = Field(None, description="hottest surface it stands, e.g. 85 °C")


class HoleModel(Section):
    """A tapped blind hole for a stud."""

    thread: Thread = Field(description="thread, e.g. 1/4-28 or M6")
    full_thread: Length = Field(description="length of full thread, e.g. 6.35 mm")
    spot_face: Length | None = Field(None, description="depth of the spot-face, e.g. 1 mm")
    tap: Literal["plug", "bottoming"] = Field("plug", description="plug or bottoming")


class PointModel(Section):
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


class CableModel(Section):
    """A cable of the kit."""

    name: Name = Field(description="name of the cable")
    length: Length = Field(description="its length, e.g. 10 m")
    wire: WireSize | None = Field(None, description="size of its conductors, e.g. 22 AWG or 0.34 mm2")


class ScrewModel(Section):
    """Screws that pass through a part of the kit."""

    name: Name = Field(description="the part they hold, e.g. foot of the stack light")
    size: ScrewSize = Field(description="size of the screw, e.g. M8 or 1/4")
    fit: Literal["close", "normal", "loose"] = Field("normal", description="close, normal or loose")


class PartModel(Section):
    """A part, a tool or the tablet, that must suit the site."""

    name: Name = Field(description="what it is, e.g. edge enclosure, tablet, camera, torch")
    ingress: Name = Field("", description="ingress code by its data sheet, e.g. IP66")
    temperature: AmbientRange | None = Field(
        None, description="the narrower range of data sheet and certificate, e.g. -20 to 70 °C"
    )
    certificates: list[Name] = Field(
        default_factory=list, description="a list of area certificates as printed, e.g. [zone 2 IIC T4]"
    )
    on_housing: bool = Field(False, description="true where it sits on the housing")


class KitModel(Section):
    """What is brought along."""

    cables: list[CableModel] = Field(default_factory=list, description="a list of cables, each with name and length")
    adhesive_cure: Time | None = Field(None, description="full cure of the adhesive at 23 °C by its data sheet, e.g. 24 h")
    metal_temperature: Temperature | None = Field(None, description="of the metal while bonding, e.g. 18 °C")
    screws: list[ScrewModel] = Field(
        default_factory=list, description="a list of screws that pass through, each with name and size"
    )
    parts: list[PartModel] = Field(
        default_factory=list, description="a list of parts, tools and tablet, each with ingress, temperature, certificates"
    )
