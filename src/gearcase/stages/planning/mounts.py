"""Bonded joints, and how high each mount sees."""

from typing import Any

from gearcase.drive.line import Line
from gearcase.drive.train import Drive
from gearcase.findings import Level
from gearcase.install.bonding import COLDEST, HOTTEST, WARMEST_TO_APPLY, cure_time
from gearcase.install.cautions import Step
from gearcase.install.mounting import Sight, sight
from gearcase.install.points import Point
from gearcase.job.build import Job
from gearcase.stages.planning.draft import Draft
from gearcase.worked import Given, Origin, work

__all__ = ["BONDED", "MOUNTS_BONDED", "band_of", "bond", "cost_of_bonding", "graded_lines"]

BONDED = "rigid adhesive"
MOUNTS_BONDED = ("rigid adhesive", "adhesive pad", "hot adhesive pad")
HOT_SURFACE = 333.15  # K; above it a bonded pad is taken at its hot bandwidth; common practice, no source
_ON_SHAFT = ("shaft", "mesh")


def bond(job: Job, point: Point, mount: str, draft: Draft) -> dict[str, Any]:
    """The bonded joint: cure at the metal's temperature, and whether it may be used on this surface."""
    kit, hot = job.kit, job.housing.surface_temperature
    if hot is not None and hot > HOTTEST:
        draft.find(Level.BLOCKER, "hot_bond", point.name, f"the surface runs at {hot - 273.15:.0f} °C; no methacrylate over 100 °C")
    cure = None
    if kit.adhesive_cure is None or kit.metal_temperature is None:
        draft.find(Level.CAUTION, "cure", point.name, "cure time unknown: give kit.adhesive_cure and kit.metal_temperature")
    elif not COLDEST <= kit.metal_temperature <= WARMEST_TO_APPLY:
        metal = kit.metal_temperature - 273.15
        draft.find(
            Level.BLOCKER, "cure", point.name, f"metal at {metal:.0f} °C; bond between 10 and 40 °C: warm it and hold it warm"
        )
    else:
        cure = work(
            f"full cure at {point.name}",
            cure_time,
            time_at_reference=Given("full cure at 23 °C, data sheet", kit.adhesive_cure, "s", Origin.NAMEPLATE),
            metal_temperature=Given("metal while bonding", kit.metal_temperature, "K", Origin.MEASURED),
        )
    for what in ("two-part methacrylate adhesive", "abrasive, solvent, lint-free wipes, surface thermometer"):
        draft.take(what, point.name)
    draft.step(point.name, "Grind to bare metal, Ra 3 to 6 um.", Step.PREPARE)
    wait = f"full cure {cure.value / 3600:.0f} h before the baseline" if cure else "full cure by the data sheet before the baseline"
    draft.step(
        point.name,
        "Degrease, abrade, degrease; metal 15 to 40 °C and 3 K above dew point. "
        f"Bond the {'pad' if 'pad' in mount else 'sensor'}, no load until four fixture times; {wait}.",
        Step.BOND,
    )
    return {"cure": cure.as_dict() if cure else None, "surface_temperature_k": hot}


def band_of(job: Job, point: Point, mount: str, draft: Draft) -> Sight | None:
    """Band of the mount as planned, at running temperature."""
    hot = job.housing.surface_temperature
    if mount == "adhesive pad" and hot is not None and hot > HOT_SURFACE:
        mount = "hot adhesive pad"
        draft.find(Level.NOTE, "hot_pad", point.name, f"at {hot - 273.15:.0f} °C the pad is taken at its hot bandwidth")
    as_planned = Point(point.name, point.sensor, mount, point.bearing, point.face, point.direction)
    return sight(as_planned)


def cost_of_bonding(point: Point, band: Sight, draft: Draft) -> None:
    before = sight(point)
    if before is None:
        return
    says = f"bonded instead of drilled: true amplitude to {band.true_hz:.0f} Hz instead of {before.true_hz:.0f} Hz"
    draft.find(Level.NOTE, "bonded", point.name, says)


def graded_lines(drive: Drive, point: Point, lines: tuple[Line, ...], band: Sight) -> list[dict[str, Any]]:
    """Every line of the bearing under the point and of its shaft's parts, at the highest speed, in the mount's three grades."""
    under = next((bearing for bearing in drive.bearings if bearing.name == point.bearing), None)
    if under is None:
        return []
    shafts = {shaft for shaft in (under.inner_shaft, under.outer_shaft) if shaft}
    meshes = {mesh.name for mesh in drive.meshes if {mesh.pinion_shaft, mesh.wheel_shaft} & shafts}
    near = {under.name} | shafts | meshes
    return [
        {"name": line.name, "hz": line.hz(drive.speed_hz[1]), "grade": band.grade(line.hz(drive.speed_hz[1]))}
        for line in lines
        if line.component in near and (line.kind in _ON_SHAFT or (line.component == under.name and line.kind != "sideband"))
    ]
