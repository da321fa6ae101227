"""The shape of what is fitted in job.yaml: points and sensors, kit."""

from typing import Literal

from pydantic import Field

from gearcase.install.mounting import mount_names
from gearcase.job.fields import (
    Acceleration,
    AmbientRange,
    At,
    Clock,
    Count,
    Frequency,
    Length,
    Mass,
    Mount,
    Name,
    ScrewSize,
    Section,
    Share,
    Size,
    Stress,
    Temperature,
    Thread,
    Time,
    Torque,
    WireSize,
    Words,
)
from gearcase.job.housing_schema import WallModel
from gearcase.tables import load

__all__ = [
    "AdhesiveModel",
    "BracketModel",
    "CableEntryModel",
    "CableModel",
    "EnclosureModel",
    "HoleModel",
    "KitModel",
    "LengthsModel",
    "LightModel",
    "PartModel",
    "PieceModel",
    "PointModel",
    "ProbeModel",
    "ScrewModel",
    "SensorModel",
    "StockModel",
]


ADHESIVES = tuple(row["adhesive"] for row in load("adhesives"))
GRADES = tuple(dict.fromkeys(row["grade"] for row in load("screw_strengths")))


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
    resonance: Frequency | None = Field(None, description="its resonance mounted ideally, from its sheet, e.g. 25 kHz")
    torque_least: Torque | None = Field(None, description="least torque of its stud by its sheet, e.g. 2.7 N m")
    torque_most: Torque | None = Field(None, description="most torque of its stud by its sheet, e.g. 6.8 N m")


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
    wall: WallModel | None = Field(
        None, description="wall at this spot: thickness or readings, gauge_error, velocity_set, sample, origin"
    )
    hole: HoleModel | None = Field(None, description="tapped hole for a stud: thread, full_thread, spot_face, tap")
    dynamic_mass: Mass | None = Field(None, description="local dynamic mass of the spot where known, e.g. 4 kg")
    bond_line: Length | None = Field(None, description="thickness of the bond line, e.g. 0.2 mm")


class CableModel(Section):
    """A cable of the kit."""

    name: Name = Field(description="name of the cable")
    length: Length = Field(description="its length, e.g. 10 m")
    wire: WireSize | None = Field(None, description="size of its conductors, e.g. 22 AWG or 0.34 mm2")
    outside_diameter: Length | None = Field(None, description="over its jacket, e.g. 6 mm: decides how tight it may bend")


class CableEntryModel(Section):
    """Where the cables leave the housing."""

    face: Name = Field(description="face of the housing")
    at: At = Field(description="place on that face from its lower left corner, e.g. [330 mm, 20 mm]")
    beyond: Length | None = Field(None, description="from there to the connectors, e.g. 5 m; left out where the enclosure is there")


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


class AdhesiveModel(Section):
    """The adhesive: a generic kind, and what its own data sheet says otherwise."""

    kind: Literal[ADHESIVES] = Field(description=f"one of: {', '.join(ADHESIVES)}")  # type: ignore[valid-type]
    coldest: Temperature | None = Field(None, description="coldest service by its sheet, e.g. -40 °C")
    hottest: Temperature | None = Field(None, description="hottest service by its sheet, e.g. 100 °C")
    half_at: Temperature | None = Field(None, description="where half its strength is left, e.g. 85 °C")
    shear_strength: Stress | None = Field(None, description="lap shear at 23 °C, lower end of the sheet, e.g. 17 MPa")
    modulus: Stress | None = Field(None, description="its modulus at running temperature, e.g. 200 MPa")
    open_time: Time | None = Field(None, description="time to close the joint at 23 °C, e.g. 3 min")
    fixture_time: Time | None = Field(None, description="fixture time at 23 °C, e.g. 40 min")
    full_cure: Time | None = Field(None, description="full cure at 23 °C, e.g. 24 h")


class BracketModel(Section):
    """A plate or strut on existing tapped holes, on new ones, or on a stand of its own."""

    name: Name = Field(description="name of the bracket, e.g. strut over the cap")
    face: Name = Field("", description="face of the housing; left out for a stand of its own")
    holes: list[Name] = Field(default_factory=list, description="names of existing threaded holes of that face")
    at: list[At] = Field(
        default_factory=list, description="places of new holes on that face, e.g. [[100 mm, 60 mm], [180 mm, 60 mm]]"
    )
    thread: Thread | None = Field(None, description="thread of its screws, e.g. M10; that of the existing holes unless said")
    grade: Literal[GRADES] | None = Field(None, description=f"grade of its screws, one of: {', '.join(GRADES)}")  # type: ignore[valid-type]
    full_thread: Length | None = Field(None, description="length of full thread engaged, gauged in the hole, e.g. 18 mm")
    mass: Mass | None = Field(None, description="mass of all it carries, e.g. 4 kg")
    thickness: Length | None = Field(None, description="thickness of its plate, e.g. 4 mm")


class LightModel(Section):
    """The stack light."""

    height: Length | None = Field(None, description="height of its lowest lens over the floor people stand on, e.g. 2.2 m")
    seen_from: Length | None = Field(None, description="from how far it is seen free of what stands before it, e.g. 25 m")
    bracket: Name = Field("", description="name of the bracket that carries it")


class EnclosureModel(Section):
    """The edge enclosure."""

    size: Size | None = Field(None, description="its width and height, e.g. [200 mm, 300 mm]")
    pattern: Size | None = Field(None, description="distances of its mounting holes, across and up, e.g. [160 mm, 260 mm]")
    screw: ScrewSize | None = Field(None, description="size of its mounting screws, e.g. M6")
    mass: Mass | None = Field(None, description="its mass with what is in it, e.g. 3 kg")
    face: Name = Field("", description="face it hangs before; left out for a stand of its own")
    at: At | None = Field(None, description="its middle on that face, e.g. [300 mm, 200 mm]")
    bracket: Name = Field("", description="name of the bracket that carries it")


class ProbeModel(Section):
    """The temperature probe of the sump."""

    port: Name = Field("", description="name of the port it goes into")
    thread: Words = Field("", description="its thread as ordered, e.g. NPT 1/2 or M22x1.5")
    length: Length | None = Field(None, description="from the port's mouth inside to its tip, e.g. 60 mm")
    tip_diameter: Length | None = Field(None, description="diameter of its tip, e.g. 6 mm")


class PieceModel(Section):
    """Pieces to be cut, all of one length."""

    name: Name = Field(description="what it becomes, e.g. post of the light")
    length: Length = Field(description="its length, e.g. 600 mm")
    count: Count = Field(1, description="how many, e.g. 2")


class StockModel(Section):
    """A length that can be had."""

    length: Length = Field(description="its length, e.g. 3048 mm or 10 ft")
    name: Name = Field("", description="what it is called, e.g. offcut in the shop; its length by default")
    available: Count | None = Field(None, description="how many there are, e.g. 1; left out for as many as wanted")


class LengthsModel(Section):
    """Pieces of one material, the stock they are cut from, and the saw's kerf."""

    pieces: list[PieceModel] = Field(default_factory=list, description="a list of pieces, each with name and length")
    stock: list[StockModel] = Field(default_factory=list, description="a list of lengths that can be had")
    kerf: Length | None = Field(None, description="what the saw takes at each cut, e.g. 3 mm")


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
    adhesive: AdhesiveModel | None = Field(None, description="kind, and what its own data sheet says otherwise")
    air_temperature: Temperature | None = Field(None, description="of the air while bonding, e.g. 15 °C")
    humidity: Share | None = Field(None, description="relative humidity while bonding, e.g. 60 %")
    brackets: list[BracketModel] = Field(default_factory=list, description="a list of brackets, each with name")
    light: LightModel | None = Field(None, description="the stack light: height, seen_from, bracket")
    enclosure: EnclosureModel | None = Field(None, description="the edge enclosure: size, pattern, screw, face, at, bracket")
    probe: ProbeModel | None = Field(None, description="the sump's probe: port, thread, length, tip_diameter")
    cable_entry: CableEntryModel | None = Field(
        None, description="where the cables leave the housing: face, at, beyond; left out: at the enclosure"
    )
    strut: LengthsModel | None = Field(None, description="strut channel to be cut: pieces, stock, kerf")
    conduit: LengthsModel | None = Field(None, description="conduit to be cut: pieces, stock, kerf")
