"""What a drive is made of: shafts, and what joins them.

A shaft may be held by the housing, or carried round by another (a planet by its carrier, `Shaft.carrier`); with that, meshes of
plain gears are enough for epicyclic sets of every kind, whichever member is held, driving or driven: a mesh of a carried
gear is counted as its carrier sees it. Belts and chains join shafts outside the housing. Where tooth counts are unknown but a ratio
is given, a `RatioLink` carries the speed instead. What turns how fast is in `speeds`, the lines it makes in `lines`.

Model: `Shaft`, `Mesh`, `Belt`, `RatioLink`, `Motor`, `PassingPart`, `Ratings`, `Drive`.
"""

from dataclasses import dataclass, field

from gearcase.drive.bearings import Bearing
from gearcase.worked import Given, Origin

__all__ = [
    "BELT_KINDS",
    "CURRENT_PROTECTION",
    "MESH_KINDS",
    "PASSING_KINDS",
    "Belt",
    "Drive",
    "Mesh",
    "Motor",
    "PassingPart",
    "Ratings",
    "RatioLink",
    "Shaft",
    "mesh_carrier",
    "weaker",
]

MESH_KINDS = ("external", "internal", "bevel", "worm")
BELT_KINDS = ("V-belt", "flat belt", "toothed belt", "chain")
CURRENT_PROTECTION = ("none", "shaft brush", "insulated bearing", "both")
PASSING_KINDS = ("fan blades", "coupling", "backstop", "buckets", "vanes", "chain", "other")


@dataclass(frozen=True)
class Shaft:
    """A shaft, or any part that turns as one: a carrier, a ring, a planet.

    Attributes
    ----------
    name : str
    end : str
        ``"input"``, ``"output"`` or empty for one inside the housing.
    carrier : str
        The shaft that carries this one round; empty where its axis stands in the housing.
    count : int
        How many alike there are: planets of one set.
    held : bool
        Whether the housing holds it still.
    evenly_spaced : bool
        Whether planets stand at equal angles.
    """

    name: str
    end: str = ""
    carrier: str = ""
    count: int = 1
    held: bool = False
    evenly_spaced: bool = True


@dataclass(frozen=True)
class Mesh:
    """Two gears that mesh. A tooth count is None while nobody knows it; those of a worm are its starts.

    In an internal mesh the wheel is the ring. `group` names the planetary set it belongs to. `sense` of a bevel mesh or worm
    is ``"same"`` or ``"opposite"``, empty where nobody has said: it matters where two turning parts drive a third, or
    where the gears ride on a carrier that turns.
    """

    name: str
    pinion_shaft: str
    wheel_shaft: str
    pinion_teeth: int | None
    wheel_teeth: int | None
    origin: Origin = Origin.ASSUMED
    where: str = ""
    kind: str = "external"
    group: str = ""
    sense: str = ""


@dataclass(frozen=True)
class Belt:
    """A belt or chain between two shafts.

    Attributes
    ----------
    name, kind : str
        Kind is one of `BELT_KINDS`.
    driver_shaft, driven_shaft : str
    driver_size, driven_size : float
        Pitch diameters [m]; teeth where it is toothed or a chain [-].
    length : float or None
        Of the belt in the same unit as the sizes: m, or its teeth or links.
    slip_spread : float
        How far slip and wear may move the ratio, relative; 0 where teeth hold it.
    """

    name: str
    kind: str
    driver_shaft: str
    driven_shaft: str
    driver_size: float
    driven_size: float
    length: float | None = None
    slip_spread: float = 0.0
    origin: Origin = Origin.ASSUMED
    where: str = ""

    @property
    def toothed(self) -> bool:
        """Whether teeth hold its ratio."""
        return self.kind in ("toothed belt", "chain")


@dataclass(frozen=True)
class RatioLink:
    """Speed of `slow_shaft` known only as that of `fast_shaft` over `ratio`, within `spread` (same unit, half-width).

    `sense` is ``"same"`` or ``"opposite"``; empty where nobody has said.
    """

    name: str
    fast_shaft: str
    slow_shaft: str
    ratio: float
    spread: float
    origin: Origin = Origin.NAMEPLATE
    where: str = ""
    sense: str = ""


@dataclass(frozen=True)
class Motor:
    """An induction motor on one of the shafts.

    Attributes
    ----------
    shaft : str
    poles : int
        An even number.
    supply_hz : float
        Frequency of the mains, or the converter's output the plate speaks of. [Hz]
    rated_speed_hz : float or None
        Full-load speed on the plate. [Hz]
    converter : bool
        Whether a frequency converter feeds it.
    carrier_hz : float or None
        Switching frequency of the converter. [Hz]
    current_protection : str
        What keeps shaft currents out of the bearings: one of `CURRENT_PROTECTION`; empty where nobody has looked.
    """

    shaft: str
    poles: int
    supply_hz: float
    rated_speed_hz: float | None = None
    converter: bool = False
    carrier_hz: float | None = None
    current_protection: str = ""
    origin: Origin = Origin.NAMEPLATE
    where: str = ""


@dataclass(frozen=True)
class PassingPart:
    """Something that passes `count` times a turn of a shaft: blades, jaws, sprags, buckets, vanes, links. [-]

    `kind` is one of `PASSING_KINDS`. The count need not be whole: buckets hang several links apart.
    """

    name: str
    shaft: str
    kind: str
    count: float
    origin: Origin = Origin.ASSUMED
    where: str = ""


@dataclass(frozen=True)
class Ratings:
    """What the nameplate says, SI; None where it is silent."""

    power: float | None = None
    ratio: float | None = None
    ratio_spread: float = 0.0
    input_speed_hz: float | None = None
    output_speed_hz: float | None = None
    support: str | None = None
    stages: int | None = None


@dataclass(frozen=True)
class Drive:
    """An enclosed gear drive, or any machine with shafts and bearings.

    Attributes
    ----------
    name : str
    shafts : tuple of Shaft
    meshes : tuple of Mesh
    bearings : tuple of Bearing
    reference_shaft : str
        The shaft whose speed is stated; every order in the model counts its turns.
    speed_hz : tuple of float
        Lowest and highest speed of the reference shaft in service. [Hz]
    rated_speed_hz : float
        The speed lines are listed at. [Hz]
    speed_given : Given
        Where the rated speed came from.
    ratio_links : tuple of RatioLink
    ratings : Ratings
    belts : tuple of Belt
    motor : Motor or None
    passing_parts : tuple of PassingPart
    """

    name: str
    shafts: tuple[Shaft, ...]
    meshes: tuple[Mesh, ...]
    bearings: tuple[Bearing, ...]
    reference_shaft: str
    speed_hz: tuple[float, float]
    rated_speed_hz: float
    speed_given: Given
    ratio_links: tuple[RatioLink, ...] = ()
    ratings: Ratings = field(default_factory=Ratings)
    belts: tuple[Belt, ...] = ()
    motor: Motor | None = None
    passing_parts: tuple[PassingPart, ...] = ()


def mesh_carrier(mesh: Mesh, shafts: dict[str, Shaft]) -> str:
    """The carrier in whose frame the gears of a mesh turn about standing axes; empty for the housing.

    Examples
    --------
    >>> shafts = {s.name: s for s in (Shaft("sun"), Shaft("carrier"), Shaft("planet", carrier="carrier", count=3))}
    >>> mesh_carrier(Mesh("sun mesh", "sun", "planet", 21, 39), shafts)
    'carrier'
    """
    return shafts[mesh.pinion_shaft].carrier or shafts[mesh.wheel_shaft].carrier


_WEAKER = (
    Origin.CALCULATED,
    Origin.MEASURED,
    Origin.NAMEPLATE,
    Origin.TABLE,
    Origin.STATED,
    Origin.ESTIMATED,
    Origin.ASSUMED,
)


def weaker(one: Origin, other: Origin) -> Origin:
    """The weaker of two ways of knowing: what rests on both is known no better."""
    return max(one, other, key=_WEAKER.index)
