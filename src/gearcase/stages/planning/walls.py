"""What a hole may count on of a wall: its readings, corrected for the iron's sound velocity, less the gauge's error.

Readings count as taken with the velocity the gauge was set to, that of steel where nobody has said. A thickness said to be measured
without its readings counts, in iron, as such a reading on the slowest iron, and a caution says so: less said is not more believed.
"""

from dataclasses import dataclass, replace

from gearcase.install.gauging import STEEL_SETTING, gauged_wall, least_thickness, velocity_from_sample, velocity_range
from gearcase.install.housing import Face, Wall
from gearcase.install.rulings import Ruling
from gearcase.worked import Given, Origin, Worked, work

__all__ = ["KnownWall", "face_as_known", "known_wall", "read_too_thick", "table_material"]

_AS_STEEL = 1.02  # up to which a metal counts as read like steel, whose own velocities lie 0.7 % apart
_TABLE_NAMES = {"ductile iron": "nodular iron", "": "unknown iron"}


@dataclass(frozen=True)
class KnownWall:
    """The least a wall may be [m], with its working where readings are given, and what the rules say of how it is known."""

    least: Given | Worked
    rulings: tuple[Ruling, ...] = ()
    measured: bool = False

    @property
    def drillable(self) -> bool:
        """Whether it is known well enough to drill; whether it is thick enough is another matter."""
        return self.measured and all(ruling.holds for ruling in self.rulings)


def table_material(material: str) -> str:
    """The housing's material as the tables name it; iron of a kind nobody has said where it is not given."""
    return _TABLE_NAMES.get(material, material)


def known_wall(wall: Wall, material: str, where: str) -> KnownWall:
    """What a hole may count on.

    Parameters
    ----------
    wall : Wall
    material : str
        Of the housing, as the job has it.
    where : str
        File and line, or empty.
    """
    measured = wall.origin is Origin.MEASURED
    slowest, fastest = velocity_range(table_material(material))
    if not wall.readings and measured and read_too_thick(material) > 1:
        return KnownWall(_as_read_for_steel(wall, material, slowest, where), (), measured)
    if not wall.readings:
        name = "measured wall less gauge error" if measured else "wall less gauge error"
        return KnownWall(Given(name, max(0.0, wall.thickness - wall.gauge_error), "m", wall.origin, 0.0, where), (), measured)
    setting = wall.velocity_set if wall.velocity_set is not None else STEEL_SETTING
    known_by = Origin.MEASURED if wall.velocity_set is not None else Origin.ASSUMED
    velocity_set = Given("velocity the gauge was set to", setting, "m/s", known_by, 0.0, where)
    velocity: Given | Worked = Given(f"slowest velocity of {table_material(material)}", slowest, "m/s", Origin.TABLE)
    believed: tuple[Ruling, ...] = ()
    if wall.sample is not None:
        velocity = work(
            "velocity of this metal",
            velocity_from_sample,
            caliper=Given("caliper at the sample", wall.sample[0], "m", Origin.MEASURED, 0.0, where),
            reading=Given("gauge at the sample", wall.sample[1], "m", Origin.MEASURED, 0.0, where),
            velocity_set=velocity_set,
        )
        ruling = Ruling(
            what=f"sound velocity from the sample, in {table_material(material)}",
            value=velocity.value,
            unit="m/s",
            least=slowest,
            most=fastest,
            cure="measure the sample again with caliper and gauge, and look at what the gauge is set to",
            source="range of the table of sound velocities",
        )
        believed = (ruling,)
        slowest = fastest = velocity.value
    gauged = gauged_wall(
        readings=wall.readings, gauge_error=wall.gauge_error, velocity_set=setting, slowest=slowest, fastest=fastest
    )
    least = work(
        "least the wall may be",
        least_thickness,
        least_reading=Given("least reading", min(wall.readings), "m", Origin.MEASURED, 0.0, where),
        velocity_set=velocity_set,
        velocity=velocity,
        gauge_error=Given("gauge error", wall.gauge_error, "m", Origin.STATED if wall.gauge_error else Origin.ASSUMED, 0.0, where),
    )
    return KnownWall(least, (*gauged.rulings, *believed), True)


def read_too_thick(material: str) -> float:
    """How many times too thick a gauge set for steel may read a metal; 1 where it does not. [-]

    Examples
    --------
    >>> read_too_thick("grey iron"), read_too_thick("ductile iron"), read_too_thick("steel"), read_too_thick("aluminium")
    (1.691, 1.138, 1.0, 1.0)
    """
    times = STEEL_SETTING / velocity_range(table_material(material))[0]
    return times if times > _AS_STEEL else 1.0


def _as_read_for_steel(wall: Wall, material: str, slowest: float, where: str) -> Worked:
    return work(
        "least the wall may be",
        least_thickness,
        least_reading=Given("thickness, its readings not given", wall.thickness, "m", Origin.MEASURED, 0.0, where),
        velocity_set=Given("velocity of steel, as a gauge is set unless told", STEEL_SETTING, "m/s", Origin.ASSUMED),
        velocity=Given(f"slowest velocity of {table_material(material)}", slowest, "m/s", Origin.TABLE),
        gauge_error=Given("gauge error", wall.gauge_error, "m", Origin.STATED if wall.gauge_error else Origin.ASSUMED, 0.0, where),
    )


def face_as_known(face: Face, material: str) -> Face:
    """A face whose regions carry the wall that a hole may count on, for the advisor: one not known well enough is assumed."""
    regions = []
    for region in face.regions:
        if region.wall is None:
            regions.append(region)
            continue
        known = known_wall(region.wall, material, "")
        origin = region.wall.origin if not region.wall.readings else Origin.MEASURED if known.drillable else Origin.ASSUMED
        regions.append(replace(region, wall=Wall(known.least.value, 0.0, origin)))
    return replace(face, regions=tuple(regions))
