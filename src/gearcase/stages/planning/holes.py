"""The holes of a plan: each tapped one against the measured wall, and the clearance holes of the kit."""

import math
from collections.abc import Iterator
from typing import Any

from gearcase.errors import OutOfRange
from gearcase.findings import Level
from gearcase.install.asbuilt import DEPTH_TOLERANCE
from gearcase.install.drills import IRON_THREAD, tap_drills
from gearcase.install.engagement import stud_ruling
from gearcase.install.fasteners import stud_torque_ruling
from gearcase.install.holes import (
    LEAD_THREADS,
    POINT_ANGLE,
    TapDrill,
    clearance_hole,
    depth_to_shoulder,
    drill_point_length,
    edge_ruling,
    least_metal,
    metal_left,
    percent_thread,
    spacing_ruling,
    tap_drill,
    wall_needed,
)
from gearcase.install.housing import Face, Hole, Place, Wall, to_edge
from gearcase.install.points import Point
from gearcase.install.positions import regions_at
from gearcase.install.rulings import Ruling
from gearcase.job.build import Job
from gearcase.stages.planning.draft import Draft, as_dict, mm, ruling_document, stated, tabled
from gearcase.stages.planning.walls import KnownWall, known_wall, read_too_thick
from gearcase.units import parse_thread
from gearcase.worked import Given, Origin, Worked, work

__all__ = ["clearance_holes", "place_rulings", "tapped_hole"]


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
        major_diameter=tabled("major diameter", drill.major_diameter),
        drill_diameter=tabled(f"drill {drill.drill}", drill.diameter),
        pitch=tabled("pitch", drill.pitch),
    )
    document: dict[str, Any] = {
        "thread": wanted.thread,
        "drill": drill.drill,
        "drill_mm": 1000 * drill.diameter,
        "tap": wanted.tap,
        "percent_thread": thread.as_dict(),
        "depth": as_dict(stack["depth"]),
        "point": as_dict(stack["point"]),
        "wall_needed": needed.as_dict(),
        "metal_left": None,
        "wall": None,
        "drills": [],
        "rulings": [],
    }
    stud = stud_ruling(full_thread=wanted.full_thread)
    document["rulings"].append(ruling_document(stud))
    draft.rule(Level.CAUTION, "engagement", point.name, stud)
    _drills(job, point, drill, thread, document, draft)
    _places(job, point, drill, document, draft)
    _torque(point, document, draft)
    if wall is None or wall.origin is not Origin.MEASURED:
        how = "not known" if wall is None else f"only {wall.origin}"
        says = f"its wall is {how}: no reading, no hole; bonded instead, or measure {mm(needed.value)} or more at the spot"
        draft.find(Level.CAUTION, "wall", point.name, says, needed)
        return document, False
    known = _thinner(job, point, known_wall(wall, job.housing.material, point.where), draft)
    document["wall"] = {"least": as_dict(known.least), "readings_m": list(wall.readings), "drillable": known.drillable}
    document["rulings"] += [ruling_document(one) for one in known.rulings]
    for ruling in known.rulings:
        draft.rule(Level.CAUTION, "gauging", point.name, ruling)
    if not known.drillable:
        return document, False
    if not known.least.value > 0:
        says = f"nothing is left of its wall of {mm(wall.thickness)} after the gauge's error: bond it, or gauge it again"
        draft.find(Level.BLOCKER, "metal_left", point.name, says)
        return document, False
    _unsaid(job, point, wall, known, draft)
    left, least = _metal(point, known, stack)
    document["metal_left"], document["least_metal"] = left.as_dict(), least.as_dict()
    if left.value < least.value:
        says = (
            f"a way to the oil: {1000 * left.value:.1f} mm of metal would be left of a wall of {mm(known.least.value)}, at least "
            f"{1000 * least.value:.1f} mm must stay; this hole needs {mm(needed.value)}: bond it, or find a boss"
        )
        draft.find(Level.BLOCKER, "metal_left", point.name, says, left)
        return document, False
    _drill_steps(point, wanted, drill, stack, document, draft)
    return document, True


def _unsaid(job: Job, point: Point, wall: Wall, known: KnownWall, draft: Draft) -> None:
    """What nobody has said of how a wall was measured."""
    if not wall.readings and (times := read_too_thick(job.housing.material)) > 1:
        says = (
            f"its {mm(wall.thickness)} are said to be measured, without readings and the gauge's velocity: a gauge set for steel "
            f"reads this metal up to {times:.2g} times too thick, the hole counts on {mm(known.least.value)}; give the readings, "
            "velocity_set and the sample of a flange or edge that a caliper measures too"
        )
        draft.find(Level.CAUTION, "gauging", point.name, says, known.least if isinstance(known.least, Worked) else None)
    if not wall.gauge_error:
        says = "the gauge's error is not given and counts as 0: give gauge_error, the metal left counts on it"
        draft.find(Level.CAUTION, "gauge_error", point.name, says)


def _thinner(job: Job, point: Point, known: KnownWall, draft: Draft) -> KnownWall:
    """The point's own wall, or that of the region it stands in where this is measured thinner."""
    face = job.housing.face(point.face)
    gauged = [
        (region, known_wall(region.wall, job.housing.material, point.where))
        for region in (regions_at(face, point.at) if face is not None and point.at is not None else ())
        if region.wall is not None and region.wall.origin is Origin.MEASURED
    ]
    if not known.drillable or not gauged:
        return known
    region, around = min(gauged, key=lambda one: one[1].least.value)
    if around.least.value >= known.least.value:
        return known
    says = (
        f"its own wall is at least {mm(known.least.value)}, that of {region.name}, in which it stands, at least "
        f"{mm(around.least.value)}: the thinner one counts; gauge the spot again"
    )
    draft.find(Level.CAUTION, "wall_twice", point.name, says)
    return around


def _stack(point: Point, wanted: Hole, drill: TapDrill) -> dict[str, Given | Worked]:
    depth = work(
        f"drill depth to the shoulder at {point.name}",
        depth_to_shoulder,
        full_thread=stated("full thread", wanted.full_thread),
        lead_threads=Given(f"lead of a {wanted.tap} tap", LEAD_THREADS[wanted.tap], "-", Origin.ASSUMED),
        pitch=tabled("pitch", drill.pitch),
    )
    tip = work(f"drill point at {point.name}", drill_point_length, drill_diameter=tabled(f"drill {drill.drill}", drill.diameter))
    return {"spot_face": stated("spot-face", wanted.spot_face), "depth": depth, "point": tip}


def _drills(job: Job, point: Point, drill: TapDrill, thread: Worked, document: dict[str, Any], draft: Draft) -> None:
    """The drills of each kind for the height of thread that is kind to the tap in iron."""
    least, most = IRON_THREAD
    choices = tap_drills(major_diameter=drill.major_diameter, pitch=drill.pitch, least_percent=least, most_percent=most)
    document["drills"] = [
        {
            "drill": one.drill.name,
            "kind": one.drill.kind,
            "mm": 1000 * one.drill.diameter,
            "percent": one.percent,
            "wanted": one.wanted,
        }
        for one in choices
    ]
    if "iron" in job.housing.material and not least <= thread.value <= most:
        kinder = " or ".join(one.drill.name for one in choices if one.wanted) or "none that is sold"
        says = f"drill {drill.drill} leaves {thread.value:.0f} % of thread; 60 to 75 % is kinder to the tap in iron: {kinder}"
        draft.find(Level.NOTE, "percent_thread", point.name, says, thread)


def _places(job: Job, point: Point, drill: TapDrill, document: dict[str, Any], draft: Draft) -> None:
    """Where the hole stands among others and on its face."""
    face = job.housing.face(point.face)
    if face is None or point.at is None:
        return
    for ruling, cut in place_rulings(job, face, point.at, diameter=drill.major_diameter, own=(point.name, 0)):
        document["rulings"].append(ruling_document(ruling))
        draft.rule(Level.BLOCKER if cut else Level.CAUTION, "hole_place", point.name, ruling)


def place_rulings(job: Job, face: Face, at: Place, *, diameter: float, own: tuple[str, int]) -> list[tuple[Ruling, bool]]:
    """Distance of a new hole from the face's edge, from the holes that are there and from all others that are planned; with each
    whether the hole would cut into that.

    Parameters
    ----------
    job : Job
    face : Face
    at : Place
    diameter : float
        Major diameter of its thread. [m]
    own : tuple of str and int
        Point or bracket it is for, and which of its holes.
    """
    edge = edge_ruling(to_edge=to_edge(face, at), hole_diameter=diameter)
    rulings = [(edge, edge.value < diameter / 2)]
    others = [(hole.at, hole.diameter) for hole in face.threaded_holes]
    others += [(place, width) for owner, place, width in _planned_holes(job, face) if owner != own]
    for place, width in others:
        spacing = spacing_ruling(apart=math.dist(at, place), hole_diameter=diameter, other_diameter=width)
        rulings.append((spacing, spacing.value < (diameter + width) / 2))
    return rulings


def _planned_holes(job: Job, face: Face) -> Iterator[tuple[tuple[str, int], Place, float]]:
    """The holes to be drilled into a face: for whom, where, and their major diameter. [m]"""
    for point in job.points:
        if point.face == face.name and point.mount == "stud" and point.at and point.hole:
            yield (point.name, 0), point.at, parse_thread(point.hole.thread).major_diameter
    threads = {hole.name: hole.thread for hole in face.threaded_holes}
    for bracket in job.kit.brackets:
        thread = bracket.thread or next((threads[name] for name in bracket.holes if name in threads), "")
        for number, at in enumerate(bracket.at if bracket.face == face.name and thread else ()):
            yield (bracket.name, number), at, parse_thread(thread).major_diameter


def _torque(point: Point, document: dict[str, Any], draft: Draft) -> None:
    """The torque of the stud, by its sheet alone: the middle of what it gives."""
    least, most = point.sensor.torque_least, point.sensor.torque_most
    document["torque_nm"] = None
    if least is None or most is None:
        says = (
            "the torque of its stud is not given (torque_least, torque_most): from the sensor's sheet, never from the bolt formula"
        )
        draft.find(Level.NOTE, "stud_torque", point.name, says)
        return
    try:
        middle = stud_torque_ruling(torque=(least + most) / 2, sheet_least=least, sheet_most=most)
    except OutOfRange as error:
        draft.find(Level.CAUTION, "stud_torque", point.name, f"its sheet's torque {error.name} is {error.value} N m: {error.rule}")
        return
    document["torque_nm"] = {"least": least, "aim": middle.value, "most": most}


def _metal(point: Point, known: KnownWall, stack: dict[str, Given | Worked]) -> tuple[Worked, Worked]:
    """Metal left and the least that must stay, by what a hole may count on of the wall."""
    return (
        work(f"metal left at {point.name}", metal_left, wall=known.least, **stack),
        work(f"least metal at {point.name}", least_metal, wall=known.least),
    )


def _drill_steps(
    point: Point, wanted: Hole, drill: TapDrill, stack: dict[str, Given | Worked], document: dict[str, Any], draft: Draft
) -> None:
    collar = stack["depth"].value + stack["point"].value
    for what in (
        f"drill {drill.drill} ({1000 * drill.diameter:.2f} mm, {math.degrees(POINT_ANGLE):.0f} degree point)",
        f"{wanted.tap} tap {wanted.thread}",
        "stop collar, gauge pin, spot-facing cutter",
        "ultrasonic wall gauge, velocity set for this iron",
        "grease for flutes and tap, vacuum",
    ):
        draft.take(what, point.name)
    draft.step(
        point.name,
        "Gauge the wall at the spot: three readings, keep the least; no reading, no hole.",
        "measure the wall",
        tool="ultrasonic wall gauge, couplant",
        value=f"{mm(document['wall_needed']['value'])} or more",
        tolerance="after the correction for this iron and the gauge's error",
    )
    draft.step(
        point.name,
        f"Spot-face {mm(wanted.spot_face)} deep, square within 1 degree, Ra 1.6 µm or better.",
        "drill and tap",
        tool="spot-facing cutter, engineer's square",
        value=f"{mm(wanted.spot_face)} deep",
        tolerance="1 degree",
    )
    draft.step(
        point.name,
        f"Drill {drill.drill}, stop collar at {mm(collar)} from the spot-face to the tip; gauge pin after each peck.",
        "drill and tap",
        tool=f"drill {drill.drill}, stop collar, gauge pin",
        value=f"collar at {mm(collar)}",
        tolerance=mm(DEPTH_TOLERANCE),
    )
    draft.step(
        point.name,
        f"Tap {wanted.thread}, {wanted.tap} tap, {mm(wanted.full_thread)} of full thread; clean and dry.",
        "drill and tap",
        tool=f"{wanted.tap} tap {wanted.thread}",
        value=f"{mm(wanted.full_thread)} of full thread",
        tolerance="one turn",
    )
    torque = document["torque_nm"]
    draft.step(
        point.name,
        "Fit the stud and sensor to the torque of its data sheet; photograph the mark.",
        "mount",
        tool="torque wrench",
        value=f"{torque['aim']:.3g} N m" if torque else "",
        tolerance=f"{torque['least']:.3g} to {torque['most']:.3g} N m" if torque else "",
    )


def clearance_holes(job: Job, draft: Draft) -> list[dict[str, Any]]:
    """The hole each screw of the kit passes through."""
    rows = []
    for screw in job.kit.screws:
        hole = clearance_hole(screw.size, screw.fit)
        draft.step(
            screw.name,
            f"Open its holes for {screw.size} to {hole.drill}, {screw.fit} fit, in the part, never in the housing; deburr.",
            "prepare",
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
