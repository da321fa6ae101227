"""The holes of a plan: each tapped one against the measured wall, and the clearance holes of the kit."""

from typing import Any

from gearcase.errors import OutOfRange
from gearcase.findings import Level
from gearcase.install.cautions import Step
from gearcase.install.holes import (
    LEAD_THREADS,
    POINT_ANGLE,
    TapDrill,
    clearance_hole,
    depth_to_shoulder,
    drill_for_thread,
    drill_point_length,
    least_metal,
    metal_left,
    percent_thread,
    tap_drill,
    wall_needed,
)
from gearcase.install.housing import Hole, Wall
from gearcase.install.points import Point
from gearcase.job.build import Job
from gearcase.stages.planning.draft import Draft, as_dict, given, mm
from gearcase.units import parse_thread
from gearcase.worked import Given, Origin, Worked, work

__all__ = ["clearance_holes", "tapped_hole"]

STUD_THREAD = (5e-3, 8e-3)  # m of full thread a sensor's stud wants; common practice, no source
IRON_THREAD = (60.0, 75.0)  # per cent in iron; common practice, no source


def tapped_hole(job: Job, point: Point, draft: Draft) -> tuple[dict[str, Any] | None, bool]:
    """The tapped hole's stack against the wall, and whether it may be drilled."""
    wanted, wall = point.hole, point.wall
    if wanted is None:
        draft.find(Level.BLOCKER, "hole", point.name, "a stud needs its hole described: thread and length of full thread")
        return None, False
    try:
        drill = tap_drill(parse_thread(wanted.thread))
    except OutOfRange as error:
        draft.find(Level.BLOCKER, "thread", point.name, f"no tap drill for {wanted.thread}: {error.rule}")
        return None, False
    stack = _stack(point, wanted, drill)
    needed = work(
        f"wall needed at {point.name}",
        wall_needed,
        spot_face=stack["spot_face"],
        depth=stack["depth"],
        point=stack["point"],
    )
    thread = work(
        f"thread height at {point.name}",
        percent_thread,
        major_diameter=given("major diameter", drill.major_diameter),
        drill_diameter=given(f"drill {drill.drill}", drill.diameter),
        pitch=given("pitch", drill.pitch),
    )
    document = {
        "thread": wanted.thread,
        "drill": drill.drill,
        "drill_mm": 1000 * drill.diameter,
        "tap": wanted.tap,
        "percent_thread": thread.as_dict(),
        "depth": as_dict(stack["depth"]),
        "point": as_dict(stack["point"]),
        "wall_needed": needed.as_dict(),
        "metal_left": None,
    }
    if not STUD_THREAD[0] <= wanted.full_thread <= STUD_THREAD[1]:
        says = f"{mm(wanted.full_thread)} of full thread; sensor studs want 5 to 8 mm: follow the sensor's data sheet"
        draft.find(Level.CAUTION, "engagement", point.name, says)
    if "iron" in job.housing.material and not IRON_THREAD[0] <= thread.value <= IRON_THREAD[1]:
        kinder = drill_for_thread(major_diameter=drill.major_diameter, pitch=drill.pitch, percent=sum(IRON_THREAD) / 2)
        says = (
            f"drill {drill.drill} leaves {thread.value:.0f} % of thread; 60 to 75 % is kinder to the tap in iron, about a "
            f"{mm(kinder)} drill"
        )
        draft.find(Level.NOTE, "percent_thread", point.name, says, thread)
    if wall is None or wall.origin is not Origin.MEASURED:
        known = "not known" if wall is None else f"only {wall.origin}"
        says = f"its wall is {known}: no reading, no hole; bonded instead, or measure {mm(needed.value)} or more at the spot"
        draft.find(Level.CAUTION, "wall", point.name, says, needed)
        return document, False
    left, least = _metal(point, wall, stack)
    document["metal_left"], document["least_metal"] = left.as_dict(), least.as_dict()
    if left.value < least.value:
        says = (
            f"a way to the oil: {mm(left.value)} of metal would be left of a wall of {mm(wall.thickness)}, at least "
            f"{mm(least.value)} must stay; this hole needs {mm(needed.value)}: bond it, or find a boss"
        )
        draft.find(Level.BLOCKER, "metal_left", point.name, says, left)
        return document, False
    _drill_steps(point, wanted, drill, stack, draft)
    return document, True


def _stack(point: Point, wanted: Hole, drill: TapDrill) -> dict[str, Given | Worked]:
    depth = work(
        f"drill depth to the shoulder at {point.name}",
        depth_to_shoulder,
        full_thread=given("full thread", wanted.full_thread),
        lead_threads=Given(f"lead of a {wanted.tap} tap", LEAD_THREADS[wanted.tap], "-", Origin.ASSUMED),
        pitch=given("pitch", drill.pitch),
    )
    tip = work(f"drill point at {point.name}", drill_point_length, drill_diameter=given(f"drill {drill.drill}", drill.diameter))
    return {"spot_face": given("spot-face", wanted.spot_face), "depth": depth, "point": tip}


def _metal(point: Point, wall: Wall, stack: dict[str, Given | Worked]) -> tuple[Worked, Worked]:
    """Metal left and the least that must stay, by the least reading less the gauge's error."""
    thinnest = Given("measured wall less gauge error", wall.thickness - wall.gauge_error, "m", wall.origin, 0.0, point.where)
    return (
        work(f"metal left at {point.name}", metal_left, wall=thinnest, **stack),
        work(f"least metal at {point.name}", least_metal, wall=thinnest),
    )


def _drill_steps(point: Point, wanted: Hole, drill: TapDrill, stack: dict[str, Given | Worked], draft: Draft) -> None:
    collar = stack["depth"].value + stack["point"].value
    for what in (
        f"drill {drill.drill} ({1000 * drill.diameter:.2f} mm, {2 * 57.29578 * POINT_ANGLE / 2:.0f} degree point)",
        f"{wanted.tap} tap {wanted.thread}",
        "stop collar, gauge pin, spot-facing cutter",
        "ultrasonic wall gauge, velocity set for this iron",
        "grease for flutes and tap, vacuum",
    ):
        draft.take(what, point.name)
    draft.step(point.name, "Gauge the wall at the spot: three readings, keep the least; no reading, no hole.", Step.DRILL)
    draft.step(point.name, f"Spot-face {mm(wanted.spot_face)} deep, square within 1 degree, Ra 1.6 um or better.", Step.DRILL)
    draft.step(
        point.name,
        f"Drill {drill.drill}, stop collar at {mm(collar)} from the spot-face to the tip; gauge pin after each peck.",
        Step.DRILL,
    )
    draft.step(
        point.name, f"Tap {wanted.thread}, {wanted.tap} tap, {mm(wanted.full_thread)} of full thread; clean and dry.", Step.DRILL
    )
    draft.step(point.name, "Fit the stud and sensor to the torque of its data sheet; photograph the mark.")


def clearance_holes(job: Job, draft: Draft) -> list[dict[str, Any]]:
    """The hole each screw of the kit passes through."""
    rows = []
    for screw in job.kit.screws:
        hole = clearance_hole(screw.size, screw.fit)
        draft.step(
            screw.name,
            f"Open its holes for {screw.size} to {hole.drill}, {screw.fit} fit, in the part, never in the housing; deburr.",
        )
        draft.take(f"drill {hole.drill}, clearance for {screw.size} ({screw.fit})", screw.name)
        rows.append(
            {
                "for": screw.name,
                "size": screw.size,
                "fit": screw.fit,
                "drill": hole.drill,
                "diameter_mm": 1000 * hole.diameter,
                "source": hole.source,
            }
        )
    return rows
