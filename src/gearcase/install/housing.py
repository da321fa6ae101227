"""The housing as a technician sees it: faces, what must be kept clear on them, and the wall at each spot.

Places on a face are measured from its lower left corner, looking at it from outside. [m]
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from gearcase.install.adhesives import Adhesive
from gearcase.install.bus_wiring import Bias, Device, Screen, Splitter, Termination
from gearcase.install.cautions import Part
from gearcase.install.fittings import Bracket, Enclosure, Light, Probe
from gearcase.install.lengths import Lengths
from gearcase.install.profile import NO_PROFILE, Profile
from gearcase.worked import Origin

__all__ = [
    "HOUSING_KINDS",
    "KEEP_OUT_KINDS",
    "PORT_KINDS",
    "PROBED",
    "REGION_KINDS",
    "Bus",
    "BusCable",
    "BusDevice",
    "Cable",
    "CableEntry",
    "Face",
    "Hole",
    "Housing",
    "KeepOut",
    "Kit",
    "Place",
    "Port",
    "Region",
    "Screw",
    "Seat",
    "ThreadedHole",
    "Wall",
    "clearance_to",
    "gap",
    "to_edge",
    "within",
]

HOUSING_KINDS = ("parallel-shaft", "right-angle", "shaft-mounted")
KEEP_OUT_KINDS = (
    "port",
    "bolt",
    "split line",
    "flange",
    "seal",
    "rotating part",
    "guard",
    "fan shroud",
    "hot zone",
    "hot spot",
    "accessory",
    "power cable",
    "other",
)
REGION_KINDS = ("boss", "rib", "flange", "panel")
PORT_KINDS = ("drain", "side", "filler", "breather", "glass", "inspection")
PROBED = ("drain", "side")  # ports that reach the oil below its level: whose thread must be gauged before a probe is bought

Place = tuple[float, float]
_CONTROLLER = Device("controller", None, 0.0)  # one of which nobody has said more


@dataclass(frozen=True)
class KeepOut:
    """A rectangle to stay clear of, by its middle: a port, a bolt, a seal, something that turns. `kind` names it.

    Of a power cable also: whether it feeds a motor from a converter, and its whole length [m], None where nobody has said.
    """

    name: str
    at: Place
    size: Place
    kind: str
    from_converter: bool = False
    length: float | None = None


@dataclass(frozen=True)
class Wall:
    """Wall at one spot: thickness (the least reading), the gauge's error, and how it is known. Only a measured one may be drilled.

    `readings` as the gauge showed them, with the velocity it was set to [m/s], and `sample`: caliper and reading of a spot where
    both can measure; empty and None where nobody has said.
    """

    thickness: float
    gauge_error: float
    origin: Origin
    readings: tuple[float, ...] = ()
    velocity_set: float | None = None
    sample: tuple[float, float] | None = None


@dataclass(frozen=True)
class Region:
    """A part of a face whose wall is of one kind: its middle and size [m], its wall, its running temperature [K]; None where nobody
    has said. `kind` is boss, rib, flange or panel.
    """

    name: str
    kind: str
    at: Place
    size: Place
    wall: Wall | None = None
    temperature: float | None = None


@dataclass(frozen=True)
class Seat:
    """A bearing's seat where its housing shows on a face: middle and diameter [m], and where its load points, as an hour of the
    clock seen from outside; None where nobody has said.
    """

    bearing: str
    at: Place
    diameter: float
    load_clock: float | None = None


@dataclass(frozen=True)
class ThreadedHole:
    """A tapped hole that is there already: place and diameter [m], thread as named, and what it is for; empty where nobody knows,
    and then it is left alone.
    """

    name: str
    at: Place
    diameter: float
    thread: str = ""
    function: str = ""


@dataclass(frozen=True)
class Port:
    """An opening into the oil space: where it is, what was gauged of its plug's thread (pitch and major diameter [m], angle
    [rad]), and the room behind it: below the minimum oil level, above the sump's floor, to the nearest wheel [m]; None where nobody
    has said.
    """

    name: str
    kind: str
    face: str
    at: Place
    pitch: float | None = None
    angle: float | None = None
    major_diameter: float | None = None
    below_minimum: float | None = None
    above_floor: float | None = None
    to_wheel: float | None = None
    where: str = ""
    tapered: bool | None = None


@dataclass(frozen=True)
class Face:
    """A face of the housing: its size [m], what must be kept clear on it, where it looks (empty where nobody has said), the regions
    of its wall, the seats of bearings and the tapped holes that show on it.
    """

    name: str
    size: Place
    keep_outs: tuple[KeepOut, ...] = ()
    outward: str = ""
    regions: tuple[Region, ...] = ()
    seats: tuple[Seat, ...] = ()
    threaded_holes: tuple[ThreadedHole, ...] = ()


@dataclass(frozen=True)
class Housing:
    """Material, running surface temperature [K], faces, kind and ports; None and empty where nobody has said."""

    material: str = ""
    surface_temperature: float | None = None
    faces: tuple[Face, ...] = ()
    kind: str = ""
    ports: tuple[Port, ...] = ()

    def face(self, name: str) -> Face | None:
        """The face of that name; None where there is none."""
        return next((face for face in self.faces if face.name == name), None)


@dataclass(frozen=True)
class Hole:
    """A tapped blind hole that is wanted: thread as named, length of full thread, depth of the spot-face, kind of tap."""

    thread: str
    full_thread: float
    spot_face: float
    tap: str


@dataclass(frozen=True)
class Cable:
    """A cable of the kit: its length [m], its conductors' size as named, empty where nobody has said, its outside diameter [m]."""

    name: str
    length: float
    wire: str = ""
    outside_diameter: float | None = None


@dataclass(frozen=True)
class CableEntry:
    """Where the cables leave the housing, a place on a face, and how far it is from there to their connectors [m]."""

    face: str
    at: Place
    beyond: float = 0.0


@dataclass(frozen=True)
class Screw:
    """Screws that pass through a part of the kit, e.g. the light's foot: their size, and the fit of the holes."""

    name: str
    size: str
    fit: str


@dataclass(frozen=True)
class Kit:
    """What is brought along: cables; the adhesive's full cure at 23 degC [s]; temperature of metal and air while bonding [K] and
    the air's humidity [-]; screws that want clearance holes; the adhesive as its sheet has it, with its modulus at running
    temperature [Pa]; brackets, light, enclosure and sump probe; where the cables leave the housing; parts, tools and tablet that
    must suit the site; strut channel and conduit to be cut.
    """

    cables: tuple[Cable, ...] = ()
    adhesive_cure: float | None = None
    metal_temperature: float | None = None
    screws: tuple[Screw, ...] = ()
    parts: tuple[Part, ...] = ()
    adhesive: Adhesive | None = None
    modulus: float | None = None
    air_temperature: float | None = None
    humidity: float | None = None
    brackets: tuple[Bracket, ...] = ()
    light: Light | None = None
    enclosure: Enclosure | None = None
    probe: Probe | None = None
    cable_entry: CableEntry | None = None
    strut: Lengths | None = None
    conduit: Lengths | None = None


@dataclass(frozen=True)
class BusDevice:
    """A device on the serial bus: address, registers read at each poll, length of the cable that brings the trunk to it [m], the
    point it serves and the profile that says what its registers mean, by name and as read (`form`).

    From its data sheet, None while nobody has looked: `unit_load` [-], `rise_time` of its driver's edge [s], whether `isolated`,
    `current` it draws from the bus's supply and `inrush` [A], `least_volts`. `stub` is its branch off the trunk [m],
    `ground_difference` that of its ground to the controller's [V].
    """

    name: str
    address: int
    registers: int
    run: float
    point: str = ""
    where: str = ""
    profile: str = ""
    form: Profile = NO_PROFILE
    stub: float | None = None
    unit_load: float | None = None
    rise_time: float | None = None
    isolated: bool | None = None
    ground_difference: float | None = None
    current: float | None = None
    inrush: float | None = None
    least_volts: float | None = None


@dataclass(frozen=True)
class BusCable:
    """How the bus is wired: what the trunk passes from end to end (`along`), its `length` [m], `impedance` [ohm] and propagation
    over that of light; splitters, what ends and biases it, the screen and where it is earthed, unit loads kept free. None and
    empty while nobody has said.
    """

    along: tuple[str, ...] = ()
    length: float | None = None
    impedance: float | None = None
    velocity_fraction: float | None = None
    splitters: tuple[Splitter, ...] = ()
    terminations: tuple[Termination, ...] | None = None
    biases: tuple[Bias, ...] = ()
    screen: Screen | None = None
    screen_bonds: tuple[str, ...] = ()
    spare_unit_loads: float = 0.0


@dataclass(frozen=True)
class Bus:
    """The serial bus: baud, each device's answering delay [s], the devices, how it is reached, how it is wired, what asks."""

    baud: int
    device_delay: float
    devices: tuple[BusDevice, ...] = ()
    connection: str = ""
    cable: BusCable = BusCable()
    controller: Device = _CONTROLLER


def within(at: Place, middle: Place, size: Place) -> bool:
    """Whether a place lies in a rectangle, its sides with it.

    Examples
    --------
    >>> within((0.045, 0.03), (0.04, 0.02), (0.02, 0.02)), within((0.06, 0.02), (0.04, 0.02), (0.02, 0.02))
    (True, False)
    """
    return all(abs(place - centre) <= side / 2 for place, centre, side in zip(at, middle, size, strict=True))


def to_edge(face: Face, at: Place) -> float:
    """From a place to the nearest edge of its face; below 0 off the face. [m]

    Examples
    --------
    >>> to_edge(Face("left", (0.6, 0.4)), (0.25, 0.375))
    0.025
    """
    return min(min(place, size - place) for place, size in zip(at, face.size, strict=True))


def gap(at: Place, size: Place, other_at: Place, other_size: Place) -> float:
    """From the edge of one rectangle to that of another, each by its middle and size; below 0 how far they overlap. [m]

    Examples
    --------
    >>> gap((0.10, 0.05), (0.02, 0.02), (0.04, 0.05), (0.02, 0.02)), gap((0.10, 0.05), (0.04, 0.04), (0.08, 0.05), (0.02, 0.02))
    (0.04, -0.01)
    """
    apart = [
        abs(one - other) - (side + other_side) / 2
        for one, other, side, other_side in zip(at, other_at, size, other_size, strict=True)
    ]
    return math.hypot(*(max(one, 0.0) for one in apart)) if max(apart) > 0 else max(apart)


def clearance_to(at: Place, keep_outs: Iterable[KeepOut]) -> tuple[float, KeepOut] | None:
    """Distance from a place to the nearest edge of what must be kept clear, 0 inside it; None where there is nothing.

    Examples
    --------
    >>> clearance_to((0.10, 0.05), [KeepOut("drain", (0.04, 0.05), (0.02, 0.02), "port")])[0]
    0.05
    """
    found = [(max(gap(at, (0.0, 0.0), part.at, part.size), 0.0), part) for part in keep_outs]
    return min(found, key=lambda pair: pair[0], default=None)
