"""How high each point sees on the running drive: its mount hot, and the stack of sensor, stud or bond line where that is known.

A bond softens as the metal warms, so that a band taken cold promises lines that the running drive never shows.
"""

from dataclasses import dataclass, replace

from gearcase.errors import OutOfRange
from gearcase.install.adhesives import adhesive, true_hz_hot
from gearcase.install.bonding import REFERENCE
from gearcase.install.holes import tap_drill
from gearcase.install.mounting import Sight, mount_sight, sight, stack_sight
from gearcase.install.points import Point
from gearcase.install.positions import region_under
from gearcase.install.resonance import (
    combined_resonance,
    contact_stiffness,
    disc_area,
    disc_mass,
    layer_stiffness,
    mass_above,
    mounted_resonance,
)
from gearcase.job.build import Job
from gearcase.units import parse_thread
from gearcase.worked import Given, Origin, Worked, work

__all__ = [
    "ASSUMED_PAD",
    "MOUNTS_BONDED",
    "USUAL",
    "Running",
    "carrier_mass",
    "running_band",
    "running_bands",
    "running_temperature",
    "sensor_base",
    "stack_of",
]

MOUNTS_BONDED = ("rigid adhesive", "adhesive pad", "hot adhesive pad")
USUAL = "two-part methacrylate"  # where the kit names no adhesive; common practice, no source
ASSUMED_PAD = 0.030  # m, of a common sensor; common practice, no source
STEEL, STEEL_DENSITY = 200e9, 7850.0  # Pa and kg/m3; handbook
PAD_THICK, MAGNET_MASS = 8e-3, 0.05  # m and kg, of a common pad and a common flat magnet; common practice, no source
TABLE_MASS = 0.065  # kg, the middle of the 30 to 100 g that tables/mounts.csv is for
_SOFTEN = ("rigid adhesive", "adhesive pad")  # the table has the hot pad hot
_ZERO_C = 273.15


@dataclass(frozen=True)
class Running:
    """The band of a point on the running drive, None while sensor or mount is not known; `warm` how the heat narrowed it, if so."""

    band: Sight | None
    warm: Worked | None = None


def running_bands(job: Job) -> dict[str, Sight | None]:
    """Band of every point on the mount that the job wants for it."""
    return {point.name: running_band(job, point, point.mount).band for point in job.points}


def running_band(job: Job, point: Point, mount: str) -> Running:
    """Band of a point on a mount, at running temperature."""
    band, highest = sight(replace(point, mount=mount)), point.sensor.highest_hz
    if band is None or highest is None:
        return Running(None)
    hot = running_temperature(job, point)
    if mount not in _SOFTEN or hot is None or hot <= REFERENCE:
        return Running(_by_stack(point, band, stack_of(job, point, mount)))
    cold = mount_sight(mount)
    warm = work(
        f"true amplitude hot at {point.name}",
        true_hz_hot,
        true_hz_cold=Given(f"{mount} at 23 °C", cold.true_hz, "Hz", Origin.TABLE),
        temperature=Given("surface while running", hot, "K", Origin.STATED),
    )
    limited = "sensor" if highest < warm.value else f"{mount} at {hot - _ZERO_C:.0f} °C"
    detectable = min(cold.detectable_hz * warm.value / cold.true_hz, highest)
    return Running(
        _by_stack(point, Sight(band.lowest_hz, min(warm.value, highest), detectable, limited), stack_of(job, point, mount)), warm
    )


def running_temperature(job: Job, point: Point) -> float | None:
    """Of the metal under the point while the drive runs: the housing's, or its region's where this is hotter. [K]"""
    region = region_under(job.housing, point.face, point.at)
    known = [job.housing.surface_temperature, region.temperature if region is not None else None]
    return max((one for one in known if one is not None), default=None)


def stack_of(job: Job, point: Point, mount: str) -> Worked | None:
    """Resonance of sensor, stud, bond line or magnet together; None where the sensor's own or its mass is not known. [Hz]

    A magnet's contact has the stiffness that gives the band of ``tables/mounts.csv`` to a sensor of the mass it is taken for.
    """
    sensor = point.sensor
    if sensor.resonance_hz is None or sensor.mass is None:
        return None
    carrier, own = carrier_mass(point, mount), Given("mass of the sensor", sensor.mass, "kg", Origin.STATED)
    parts: dict[str, Given | Worked] = {"sensor": Given("mounted resonance, data sheet", sensor.resonance_hz, "Hz", Origin.STATED)}
    spring: Worked | None = None
    if mount == "stud" and point.hole is not None:
        try:
            area = tap_drill(parse_thread(point.hole.thread)).stress_area
        except OutOfRange:  # `holes` has said so
            return None
        free = max(point.hole.spot_face, 1e-3)  # m of stud that no thread holds
        spring = work(
            f"stiffness of the stud at {point.name}",
            layer_stiffness,
            modulus=Given("modulus of steel", STEEL, "Pa", Origin.ASSUMED),
            area=Given(f"stress area of {point.hole.thread}", area, "m2", Origin.STATED),
            thickness=Given("free length of the stud", free, "m", Origin.STATED),
        )
    elif mount in MOUNTS_BONDED and job.kit.modulus is not None:
        line = point.bond_line or (job.kit.adhesive or adhesive(USUAL)).most_line
        spring = work(
            f"stiffness of the bond line at {point.name}",
            layer_stiffness,
            modulus=Given("modulus of the adhesive, running hot", job.kit.modulus, "Pa", Origin.STATED),
            area=work(f"area of the bond at {point.name}", disc_area, diameter=sensor_base(point)),
            thickness=Given("bond line", line, "m", Origin.STATED if point.bond_line else Origin.ASSUMED),
        )
    elif "magnet" in mount:
        spring = work(
            f"stiffness of the magnet's contact at {point.name}",
            contact_stiffness,
            true_hz=Given(f"{mount}, true to", mount_sight(mount).true_hz, "Hz", Origin.TABLE),
            mass=Given("sensor and magnet the table is taken for", TABLE_MASS + MAGNET_MASS, "kg", Origin.ASSUMED),
        )
    if spring is None:
        return None
    above = work(f"mass on the spring at {point.name}", mass_above, sensor=own, carrier=carrier)
    name = "stud" if mount == "stud" else "magnet" if "magnet" in mount else "bond_line"
    parts[name] = work(f"{name.replace('_', ' ')} alone at {point.name}", mounted_resonance, stiffness=spring, mass=above)
    return work(f"resonance of the stack at {point.name}", combined_resonance, **parts)


def _by_stack(point: Point, band: Sight, stack: Worked | None) -> Sight:
    """The lower of a band and of what the resonance of the stack allows; stiffness bounds it from above."""
    if stack is None:
        return band
    weakest = min(stack.inputs, key=lambda name: stack.inputs[name].value)
    found = stack_sight(
        lowest_hz=band.lowest_hz,
        highest_hz=point.sensor.highest_hz or band.detectable_hz,
        resonance_hz=stack.value,
        weakest=weakest.replace("_", " "),
    )
    return min(band, found, key=lambda one: one.true_hz)


def carrier_mass(point: Point, mount: str) -> Given | Worked:
    """Mass of the pad or magnet between sensor and housing; 0 where the sensor itself stands on it. [kg]"""
    if "magnet" in mount:
        return Given("mass of the magnet", MAGNET_MASS, "kg", Origin.ASSUMED)
    if "pad" not in mount:
        return Given("no pad", 0.0, "kg", Origin.STATED)
    return work(
        f"mass of the pad at {point.name}",
        disc_mass,
        diameter=sensor_base(point),
        thickness=Given("thickness of the pad", PAD_THICK, "m", Origin.ASSUMED),
        density=Given("density of steel", STEEL_DENSITY, "kg/m3", Origin.ASSUMED),
    )


def sensor_base(point: Point) -> Given:
    if point.sensor.base is None:
        return Given("diameter of a common sensor's base", ASSUMED_PAD, "m", Origin.ASSUMED)
    return Given("diameter of the sensor's base", point.sensor.base, "m", Origin.STATED)
