"""The shape of the drive in job.yaml: nameplate, shafts, what joins them, bearings, motor."""

from typing import Literal

from pydantic import Field

from gearcase.drive.train import BELT_KINDS, CURRENT_PROTECTION, MESH_KINDS, PASSING_KINDS
from gearcase.job.fields import (
    ORIGIN_WORDS,
    Angle,
    Count,
    Elements,
    Frequency,
    KnownBy,
    Length,
    Name,
    PerTurn,
    Poles,
    Power,
    Ratio,
    Section,
    Share,
    Speed,
    SpeedRange,
    Teeth,
    Words,
)
from gearcase.worked import Origin

__all__ = [
    "BearingModel",
    "BearingShape",
    "BeltModel",
    "CandidateModel",
    "CarrierModel",
    "DriveModel",
    "GearModel",
    "InputModel",
    "MeshModel",
    "MotorModel",
    "NameplateModel",
    "PassingPartModel",
    "PlanetModel",
    "PlanetarySetModel",
    "PulleyModel",
    "RatioModel",
    "ShaftModel",
]


class NameplateModel(Section):
    """What the nameplate says."""

    power: Power | None = Field(None, description="rated power, e.g. 75 kW")
    ratio: Ratio | None = Field(None, description="ratio as printed, e.g. 20.1; its last digit says how exact it is")
    input_speed: Speed | None = Field(None, description="rated input speed, e.g. 1485 rpm")
    output_speed: Speed | None = Field(None, description="rated output speed, e.g. 74 rpm")
    stages: Count | None = Field(None, description="number of gear stages, where the plate or the catalogue tells it, e.g. 2")
    support: Literal["rigid", "flexible"] | None = Field(None, description="rigid or flexible")
    text: Words = Field("", description="everything else on the plate, as it stands")


class InputModel(Section):
    """The shaft whose speed is known."""

    shaft: Name = Field("input", description="name of the shaft whose speed is stated")
    speed: SpeedRange = Field(description='its speed or range of speeds in service, e.g. "1485 rpm" or "900-1485 rpm"')
    origin: KnownBy = Field(Origin.ASSUMED, description=ORIGIN_WORDS)


class ShaftModel(Section):
    """A shaft, or any part that turns as one: a carrier, a ring."""

    name: Name = Field(description="name of the shaft")
    end: Literal["input", "output"] | None = Field(None, description="input or output, for a shaft that leaves the housing")
    held: bool = Field(False, description="true for a ring, sun or carrier that the housing holds still")
    carrier: Name | None = Field(None, description="for a planet outside `planetary_sets`: the shaft that carries it round")
    count: Count = Field(1, description="how many alike: planets of one carrier")
    spacing: Literal["equal", "unequal"] = Field("equal", description="whether planets stand at equal angles: equal or unequal")


class GearModel(Section):
    """A gear of a mesh."""

    shaft: Name = Field(description="name of its shaft")
    teeth: Teeth = Field(None, description="a whole number of teeth, or unknown")


class MeshModel(Section):
    """Two gears that mesh."""

    name: Name = Field(description="name of the mesh")
    kind: Literal[MESH_KINDS] = Field("external", description="external, internal (the wheel is a ring), bevel or worm")  # type: ignore[valid-type]
    sense: Literal["same", "opposite"] | None = Field(
        None, description="of a bevel mesh or worm, where it matters: same or opposite"
    )
    pinion: GearModel = Field(description="the smaller gear, or the worm with its starts as teeth: shaft and teeth")
    wheel: GearModel = Field(description="the larger gear: shaft and teeth")
    origin: KnownBy = Field(Origin.ASSUMED, description=ORIGIN_WORDS)


class PlanetModel(Section):
    """The planets of a set: plain, stepped (another count meets the ring), or in pairs (an outer one meets the ring)."""

    teeth: Teeth = Field(None, description="a whole number of teeth, or unknown; of a stepped planet those that meet the sun")
    ring_side_teeth: Teeth = Field(None, description="of a stepped planet: teeth that meet the ring")
    outer_teeth: Teeth = Field(None, description="of planets in meshing pairs: teeth of the outer one, which meets the ring")


class CarrierModel(Section):
    """The carrier of a set."""

    shaft: Name = Field(description="name of the shaft it turns with")


class PlanetarySetModel(Section):
    """Sun, planets, ring and carrier. A member that stands still is a shaft with held: true."""

    name: Name = Field(description="name of the set; its planets are called after it, e.g. `first stage planet`")
    planets: Count = Field(3, description="number of planets, 1 or more")
    spacing: Literal["equal", "unequal"] = Field("equal", description="whether planets stand at equal angles: equal or unequal")
    sun: GearModel = Field(description="shaft and teeth of the sun")
    planet: PlanetModel = Field(default_factory=lambda: PlanetModel(), description="teeth of a planet")
    ring: GearModel = Field(description="shaft and teeth of the ring")
    carrier: CarrierModel = Field(description="shaft of the carrier")
    origin: KnownBy = Field(Origin.ASSUMED, description=ORIGIN_WORDS)


class PulleyModel(Section):
    """A pulley or sprocket."""

    shaft: Name = Field(description="name of its shaft")
    diameter: Length | None = Field(None, description="pitch diameter of a pulley without teeth, e.g. 200 mm")
    teeth: Teeth = Field(None, description="teeth of a toothed pulley or sprocket")


class BeltModel(Section):
    """A belt or chain between two shafts."""

    name: Name = Field(description="name of the belt or chain")
    kind: Literal[BELT_KINDS] = Field(description=f"one of: {', '.join(BELT_KINDS)}")  # type: ignore[valid-type]
    driver: PulleyModel = Field(description="the driving pulley: shaft, and diameter or teeth")
    driven: PulleyModel = Field(description="the driven pulley: shaft, and diameter or teeth")
    length: Length | None = Field(None, description="pitch length of a belt without teeth, e.g. 2.5 m")
    links: Count | None = Field(None, description="links of the chain, or teeth of the belt")
    origin: KnownBy = Field(Origin.ASSUMED, description=ORIGIN_WORDS)


class RatioModel(Section):
    """Speed of one shaft known from that of another, however it was found."""

    fast: Name = Field(description="name of the faster shaft")
    slow: Name = Field(description="name of the slower shaft")
    ratio: Ratio = Field(description="turns of the fast shaft to one of the slow, e.g. 20.1")
    spread: Share = Field(0.0, description="how far it may be off, e.g. 0.5 %")
    sense: Literal["same", "opposite"] | None = Field(None, description="whether both turn the same way: same or opposite")
    origin: KnownBy = Field(Origin.ASSUMED, description=ORIGIN_WORDS)


class MotorModel(Section):
    """The induction motor that drives, from its plate."""

    shaft: Name = Field("input", description="name of the shaft it is on")
    poles: Poles = Field(description="number of poles, an even number, e.g. 4")
    supply: Frequency = Field(description="frequency on its plate, e.g. 50 Hz")
    rated_speed: Speed | None = Field(None, description="full-load speed on its plate, e.g. 1485 rpm")
    converter: bool = Field(False, description="true where a frequency converter feeds it")
    carrier: Frequency | None = Field(None, description="switching frequency of the converter, e.g. 4 kHz")
    current_protection: Literal[("", *CURRENT_PROTECTION)] = Field(  # type: ignore[valid-type]
        "", description=f"what keeps shaft currents out of the bearings, one of: {', '.join(CURRENT_PROTECTION)}"
    )
    origin: KnownBy = Field(Origin.NAMEPLATE, description=ORIGIN_WORDS)


class PassingPartModel(Section):
    """Something that passes so many times a turn: fan blades, coupling jaws, buckets, vanes."""

    name: Name = Field(description="name of the part")
    shaft: Name = Field(description="name of the shaft it is on")
    kind: Literal[PASSING_KINDS] = Field("other", description=f"one of: {', '.join(PASSING_KINDS)}")  # type: ignore[valid-type]
    count: PerTurn = Field(description="how many pass in a turn of the shaft, e.g. 7, or 2.4 for buckets every so many links")
    origin: KnownBy = Field(Origin.ASSUMED, description=ORIGIN_WORDS)


class BearingShape(Section):
    """What a bearing is inside: geometry, or the designation it is estimated from, or the elements alone."""

    designation: Name = Field("", description='as stamped on the ring, in quotes, e.g. "6205"')
    elements: Elements | None = Field(None, description="rolling elements in one row")
    element_diameter: Length | None = Field(None, description="diameter of a rolling element, e.g. 7.94 mm")
    pitch_diameter: Length | None = Field(None, description="pitch diameter, e.g. 39.04 mm")
    contact_angle: Angle | None = Field(None, description="contact angle, e.g. 15 deg; 0 deg for deep groove")
    spread: Share = Field(0.0, description="how far its pass rates may be off, e.g. 1 %")
    origin: KnownBy = Field(Origin.ASSUMED, description=ORIGIN_WORDS)


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


class DriveModel(Section):
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
