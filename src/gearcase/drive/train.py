"""Which shaft turns how fast: shafts joined by meshes, solved for the whole train.

Parallel-axis external gears: the wheel turns the other way at pinion teeth / wheel teeth. Where tooth counts are
unknown but the nameplate gives a ratio, a `RatioLink` carries the speed from one shaft to another instead.

Model: `Shaft`, `Mesh`, `RatioLink`, `Bearing`, `Ratings`, `Drive`. Calculators: `shaft_orders`, `driven_speed`,
`speed_over_ratio`, `gear_mesh_frequency`, `hunting_tooth_frequency`, `assembly_phase_frequency`.
"""

import math
from dataclasses import dataclass, field

from gearcase.drive.bearings import Bearing
from gearcase.errors import OutOfRange
from gearcase.worked import Given, Origin, worked_by

__all__ = [
    "Drive",
    "Mesh",
    "Ratings",
    "RatioLink",
    "Shaft",
    "ShaftOrder",
    "assembly_phase_frequency",
    "driven_speed",
    "gear_mesh_frequency",
    "hunting_tooth_frequency",
    "shaft_orders",
    "speed_over_ratio",
    "weaker",
]

_SAME_RATIO = 1e-9


@dataclass(frozen=True)
class Shaft:
    """A shaft. `end` is ``"input"``, ``"output"`` or empty for one inside the housing."""

    name: str
    end: str = ""


@dataclass(frozen=True)
class Mesh:
    """A pinion driving or driven by a wheel. A tooth count is None while nobody knows it."""

    name: str
    pinion_shaft: str
    wheel_shaft: str
    pinion_teeth: int | None
    wheel_teeth: int | None
    origin: Origin = Origin.ASSUMED
    where: str = ""


@dataclass(frozen=True)
class RatioLink:
    """Speed of `slow_shaft` known only as that of `fast_shaft` over `ratio`, within `spread` (same unit, half-width)."""

    name: str
    fast_shaft: str
    slow_shaft: str
    ratio: float
    spread: float
    origin: Origin = Origin.NAMEPLATE
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


@dataclass(frozen=True)
class ShaftOrder:
    """Turns of one shaft per turn of the reference shaft: negative when it turns the other way.

    `spread` is a half-width relative to the value; `origin` is the weakest knowledge on the way, that of the stated speed
    included; `path` names what was crossed.
    """

    order: float
    spread: float
    origin: Origin
    path: tuple[str, ...]


@worked_by(formula="f_wheel = f_pinion x z_pinion / z_wheel", unit="Hz", source="definition of gear ratio")
def driven_speed(*, speed_hz: float, driver_teeth: float, driven_teeth: float) -> float:
    """Speed of the gear on the other side of a mesh, without its sign. [Hz]

    Raises
    ------
    OutOfRange
        Teeth not positive.

    Examples
    --------
    PHM Society 2009 gearbox, spur 32/96 at 30 Hz (row G06spuridler_hz of ``gear_trains.csv``):

    >>> driven_speed(speed_hz=30.0, driver_teeth=32, driven_teeth=96)
    10.0
    """
    _positive_teeth(driver_teeth=driver_teeth, driven_teeth=driven_teeth)
    return speed_hz * driver_teeth / driven_teeth


@worked_by(formula="f_slow = f_fast / i", unit="Hz", source="definition of gear ratio")
def speed_over_ratio(*, speed_hz: float, ratio: float) -> float:
    """Speed of the slow shaft where only the ratio is known. [Hz]

    Raises
    ------
    OutOfRange
        Ratio not above 0.

    Examples
    --------
    >>> speed_over_ratio(speed_hz=25.0, ratio=20.0)
    1.25
    """
    if ratio <= 0:
        raise OutOfRange("ratio", ratio, "above 0")
    return speed_hz / ratio


@worked_by(formula="f_m = z x f_shaft", unit="Hz", source="definition: every tooth meets once a turn")
def gear_mesh_frequency(*, speed_hz: float, teeth: float) -> float:
    """Rate at which teeth meet: teeth of either gear times the speed of its shaft. [Hz]

    Raises
    ------
    OutOfRange
        Teeth not positive.

    Examples
    --------
    >>> gear_mesh_frequency(speed_hz=30.0, teeth=32)
    960.0
    """
    _positive_teeth(teeth=teeth)
    return speed_hz * teeth


@worked_by(
    formula="f_ht = f_m / lcm(z_pinion, z_wheel)",
    unit="Hz",
    source="Foiles, Gear Frequencies Using the Euclidean Algorithm",
)
def hunting_tooth_frequency(*, mesh_hz: float, pinion_teeth: float, wheel_teeth: float) -> float:
    """Rate at which the same two teeth meet again. [Hz]

    Raises
    ------
    OutOfRange
        Teeth not positive.

    Examples
    --------
    Row G21 of ``gear_trains.csv``: 15 and 21 teeth, pinion at 1800 rpm:

    >>> hunting_tooth_frequency(mesh_hz=450.0, pinion_teeth=15, wheel_teeth=21)
    4.285714
    """
    _positive_teeth(pinion_teeth=pinion_teeth, wheel_teeth=wheel_teeth)
    return mesh_hz / math.lcm(int(pinion_teeth), int(wheel_teeth))


@worked_by(
    formula="f_ap = f_m / gcd(z_pinion, z_wheel)",
    unit="Hz",
    source="Foiles, Gear Frequencies Using the Euclidean Algorithm",
)
def assembly_phase_frequency(*, mesh_hz: float, pinion_teeth: float, wheel_teeth: float) -> float:
    """Rate at which teeth of one assembly phase meet; equals the mesh where the counts share no factor. [Hz]

    Raises
    ------
    OutOfRange
        Teeth not positive.

    Examples
    --------
    >>> assembly_phase_frequency(mesh_hz=450.0, pinion_teeth=15, wheel_teeth=21)
    150.0
    """
    _positive_teeth(pinion_teeth=pinion_teeth, wheel_teeth=wheel_teeth)
    return mesh_hz / math.gcd(int(pinion_teeth), int(wheel_teeth))


def shaft_orders(drive: Drive) -> dict[str, ShaftOrder]:
    """Order of every shaft the model can reach from the reference shaft.

    A shaft whose only meshes have unknown teeth, and that no ratio reaches, is left out.

    Raises
    ------
    OutOfRange
        A mesh or ratio names a shaft that is not there, two paths disagree, or a shaft is joined to nothing.
    """
    known = {shaft.name for shaft in drive.shafts}
    steps: dict[str, list[tuple[str, float, float, Origin, str]]] = {name: [] for name in known}
    touched: set[str] = {drive.reference_shaft}
    for mesh in drive.meshes:
        _require_shafts(mesh.name, known, mesh.pinion_shaft, mesh.wheel_shaft)
        touched |= {mesh.pinion_shaft, mesh.wheel_shaft}
        if mesh.pinion_teeth is None or mesh.wheel_teeth is None:
            continue
        ratio = -driven_speed(speed_hz=1.0, driver_teeth=mesh.pinion_teeth, driven_teeth=mesh.wheel_teeth)
        steps[mesh.pinion_shaft].append((mesh.wheel_shaft, ratio, 0.0, mesh.origin, mesh.name))
        steps[mesh.wheel_shaft].append((mesh.pinion_shaft, 1 / ratio, 0.0, mesh.origin, mesh.name))
    for link in drive.ratio_links:
        _require_shafts(link.name, known, link.fast_shaft, link.slow_shaft)
        touched |= {link.fast_shaft, link.slow_shaft}
        spread = link.spread / link.ratio
        steps[link.fast_shaft].append((link.slow_shaft, 1 / link.ratio, spread, link.origin, link.name))
        steps[link.slow_shaft].append((link.fast_shaft, link.ratio, spread, link.origin, link.name))
    _require_shafts("the stated speed", known, drive.reference_shaft)
    if alone := sorted(known - touched):
        raise OutOfRange("shaft", repr(alone[0]), "is not connected to any mesh or ratio; join it or remove it")
    reached = {drive.reference_shaft: ShaftOrder(1.0, 0.0, drive.speed_given.origin, ())}
    queue = [drive.reference_shaft]
    while queue:
        here = queue.pop(0)
        for there, ratio, spread, origin, crossed in steps[here]:
            before = reached[here]
            order = ShaftOrder(before.order * ratio, before.spread + spread, weaker(before.origin, origin), (*before.path, crossed))
            if there not in reached:
                reached[there] = order
                queue.append(there)
            elif not math.isclose(reached[there].order, order.order, rel_tol=_SAME_RATIO + order.spread + reached[there].spread):
                raise OutOfRange(
                    "train",
                    repr(there),
                    f"two paths disagree: {_by(reached[there])} gives {_turns(reached[there])} turns of "
                    f"'{drive.reference_shaft}' to one of '{there}', {_by(order)} gives {_turns(order)}",
                )
    return reached


def weaker(one: Origin, other: Origin) -> Origin:
    """The weaker of two ways of knowing: what rests on both is known no better."""
    rank = [Origin.CALCULATED, Origin.MEASURED, Origin.NAMEPLATE, Origin.ESTIMATED, Origin.ASSUMED]
    return max(one, other, key=rank.index)


def _turns(order: ShaftOrder) -> str:
    """Turns of the reference shaft to one, saying so where it turns the other way: a ring of three external gears locks."""
    return f"{1 / abs(order.order):.5g}{' backwards' if order.order < 0 else ''}"


def _by(order: ShaftOrder) -> str:
    return "through " + ", ".join(f"'{name}'" for name in order.path) if order.path else "the stated shaft"


def _require_shafts(owner: str, known: set[str], *names: str) -> None:
    for name in names:
        if name not in known:
            raise OutOfRange("shaft", repr(name), f"{owner} names it, but the shafts are {', '.join(sorted(known))}")


def _positive_teeth(**teeth: float) -> None:
    for name, value in teeth.items():
        if value < 1 or value != int(value):
            raise OutOfRange(name, value, "a whole number of teeth, 1 or more")
