"""The housing as a technician sees it: faces, what must be kept clear on them, and the wall at each spot.

Places on a face are measured from its lower left corner, looking at it from outside. [m]
"""

from collections.abc import Iterable
from dataclasses import dataclass

from gearcase.install.lengths import Lengths
from gearcase.worked import Origin

__all__ = [
    "HOUSING_KINDS",
    "KEEP_OUT_KINDS",
    "PORT_KINDS",
    "REGION_KINDS",
    "Bus",
    "BusDevice",
    "Cable",
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

Place = tuple[float, float]


@dataclass(frozen=True)
class KeepOut:
    """A rectangle to stay clear of, by its middle: a port, a bolt, a seal, something that turns. `kind` names it."""

    name: str
    at: Place
    size: Place
    kind: str


@dataclass(frozen=True)
class Wall:
    """Wall at one spot: thickness, the gauge's error, and how it is known. Only a measured one may be drilled."""

    thickness: float
    gauge_error: float
    origin: Origin


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


@dataclass(frozen=True)
class Hole:
    """A tapped blind hole that is wanted: thread as named, length of full thread, depth of the spot-face, kind of tap."""

    thread: str
    full_thread: float
    spot_face: float
    tap: str


@dataclass(frozen=True)
class Cable:
    """A cable of the kit: its length [m], and its conductors' size as named, empty where nobody has said."""

    name: str
    length: float
    wire: str = ""


@dataclass(frozen=True)
class Screw:
    """Screws that pass through a part of the kit, e.g. the light's foot: their size, and the fit of the holes."""

    name: str
    size: str
    fit: str


@dataclass(frozen=True)
class Kit:
    """What is brought along: cables; the adhesive's full cure at 23 degC [s]; temperature of the metal while bonding [K]; screws
    that want clearance holes; strut channel and conduit to be cut.
    """

    cables: tuple[Cable, ...] = ()
    adhesive_cure: float | None = None
    metal_temperature: float | None = None
    screws: tuple[Screw, ...] = ()
    strut: Lengths | None = None
    conduit: Lengths | None = None


@dataclass(frozen=True)
class BusDevice:
    """A device on the serial bus: address, registers read at each poll, length of its cable run [m], the point it serves and
    the profile that says what its registers mean.
    """

    name: str
    address: int
    registers: int
    run: float
    point: str = ""
    where: str = ""
    profile: str = ""


@dataclass(frozen=True)
class Bus:
    """The serial bus: baud, each device's answering delay [s], the devices, and how it is reached."""

    baud: int
    device_delay: float
    devices: tuple[BusDevice, ...] = ()
    connection: str = ""


def clearance_to(at: Place, keep_outs: Iterable[KeepOut]) -> tuple[float, KeepOut] | None:
    """Distance from a place to the nearest edge of what must be kept clear, 0 inside it; None where there is nothing.

    Examples
    --------
    >>> clearance_to((0.10, 0.05), [KeepOut("drain", (0.04, 0.05), (0.02, 0.02), "port")])[0]
    0.05
    """
    found = []
    for part in keep_outs:
        aside = max(abs(at[0] - part.at[0]) - part.size[0] / 2, 0.0)
        above = max(abs(at[1] - part.at[1]) - part.size[1] / 2, 0.0)
        found.append(((aside**2 + above**2) ** 0.5, part))
    return min(found, key=lambda pair: pair[0], default=None)
