"""How high each point sees on the running drive: its mount hot, and the stack of sensor, stud or bond line where that is known.

A bond softens as the metal warms, so that a band taken cold promises lines that the running drive never shows.
"""

import math
from dataclasses import dataclass, replace

from gearcase.errors import OutOfRange
from gearcase.install.adhesives import adhesive, true_hz_hot
from gearcase.install.bonding import REFERENCE
from gearcase.install.holes import tap_drill
from gearcase.install.mounting import Sight, mount_sight, sight, stack_sight
from gearcase.install.points import Point
from gearcase.install.positions import region_under
from gearcase.install.resonance import StackPart, layer_stiffness, stack_resonance
from gearcase.job.build import Job
from gearcase.units import parse_thread
from gearcase.worked import Given, Origin, Worked, work

__all__ = ["ASSUMED_PAD", "MOUNTS_BONDED", "USUAL", "Running", "running_band", "running_bands", "running_temperature"]

MOUNTS_BONDED = ("rigid adhesive", "adhesive pad", "hot adhesive pad")
USUAL = "two-part methacrylate"  # where the kit names no adhesive; common practice, no source
ASSUMED_PAD = 0.030  # m, of a common sensor; common practice, no source
STEEL = 200e9  # Pa, modulus of a steel stud; handbook
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
        return Running(_by_stack(job, point, mount, band))
    cold = mount_sight(mount)
    warm = work(
        f"true amplitude hot at {point.name}",
        true_hz_hot,
        true_hz_cold=Given(f"{mount} at 23 °C", cold.true_hz, "Hz", Origin.TABLE),
        temperature=Given("surface while running", hot, "K", Origin.STATED),
    )
    limited = "sensor" if highest < warm.value else f"{mount} at {hot - _ZERO_C:.0f} °C"
    detectable = min(cold.detectable_hz * warm.value / cold.true_hz, highest)
    return Running(_by_stack(job, point, mount, Sight(band.lowest_hz, min(warm.value, highest), detectable, limited)), warm)


def running_temperature(job: Job, point: Point) -> float | None:
    """Of the metal under the point while the drive runs: the housing's, or its region's where this is hotter. [K]"""
    region = region_under(job.housing, point.face, point.at)
    known = [job.housing.surface_temperature, region.temperature if region is not None else None]
    return max((one for one in known if one is not None), default=None)


def _by_stack(job: Job, point: Point, mount: str, band: Sight) -> Sight:
    """The lower of a band and of what the resonance of sensor, stud or bond line allows; stiffness bounds it from above."""
    sensor = point.sensor
    if sensor.resonance_hz is None or sensor.mass is None:
        return band
    parts = []
    if mount == "stud" and point.hole is not None:
        try:
            area = tap_drill(parse_thread(point.hole.thread)).stress_area
        except OutOfRange:  # `holes` has said so
            return band
        free = max(point.hole.spot_face, 1e-3)  # m of stud that no thread holds
        parts.append(StackPart("stud", layer_stiffness(modulus=STEEL, area=area, thickness=free), sensor.mass))
    if mount in MOUNTS_BONDED and job.kit.modulus is not None:
        area = math.pi / 4 * (sensor.base or ASSUMED_PAD) ** 2
        line = point.bond_line or (job.kit.adhesive or adhesive(USUAL)).most_line
        parts.append(StackPart("bond line", layer_stiffness(modulus=job.kit.modulus, area=area, thickness=line), sensor.mass))
    if not parts:
        return band
    stack = stack_resonance(sensor_resonance_hz=sensor.resonance_hz, parts=parts)
    found = stack_sight(
        lowest_hz=band.lowest_hz,
        highest_hz=sensor.highest_hz or band.detectable_hz,
        resonance_hz=stack.hz,
        weakest=stack.weakest,
    )
    return min(band, found, key=lambda one: one.true_hz)
