"""The cables: how each lies on the housing, how long its run is, and which cable of the kit serves it.

A device whose point and whose cables' way out both have a place is routed over the faces; of any other the run is taken as stated,
which is said. Bus and supply line are worked out with the same runs.
"""

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from gearcase.errors import OutOfRange
from gearcase.findings import Level
from gearcase.install.assignment import DRIP_LOOP, Assignment, assign_cables, cable_needed
from gearcase.install.housing import BusDevice, CableEntry, Face, KeepOut, clearance_to, within
from gearcase.install.positions import CLEAR_OF, CLEAR_OF_OTHERS
from gearcase.install.routes import (
    APART_AT_LEAST,
    BEND_FIXED,
    BEND_MOVING,
    METAL_CLIPS_ABOVE,
    NoRoute,
    PowerCable,
    Route,
    Spot,
    bend_radius,
    cable_route,
    clips_needed,
    run_length,
)
from gearcase.job.build import Job
from gearcase.stages.planning.draft import Draft, mm
from gearcase.stages.planning.places import ASSUMED_BASE
from gearcase.worked import Given, Origin, Worked, work

__all__ = ["cables"]

_ASSUMED_DIAMETER = 6.5e-3  # m, a sensor cable of four cores with its screen; common practice, no source
_POWER = "power cable"
_NEVER_NEAR = ("rotating part", "guard", "fan shroud", _POWER)  # a cable drawn in, or a bus that hears the motor
_OTHER_THAN_STATED = 0.5  # m, from here on the stated run is said to be another; common practice, no source
_LEAST_EXCESS = 0.05  # m, a difference worth a word


def cables(job: Job, draft: Draft) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """The kit's cable for each device's run, and how those lie that can be routed.

    Returns
    -------
    cables, routes : list of dict
    """
    devices = job.bus.devices
    entry = _entry(job, draft)
    found = _routes(job, entry, draft) if entry else {}
    runs = [_run(device, entry, found.get(device.name), draft) for device in devices]
    assigned = assign_cables([run.value for run in runs], job.kit.cables)
    _compare(assigned, draft)
    short = {one.run: one.says for one in assigned.shortages}
    rows, routes = [], []
    for number, (device, run, cable) in enumerate(zip(devices, runs, assigned.cables, strict=True)):
        needed = work(f"cable for {device.name}", cable_needed, run=run)
        route = found.get(device.name)
        if cable is None:
            draft.find(Level.BLOCKER, "cable", device.name, f"a run of {run.value:.1f} m: {short[number]}", needed)
        else:
            does = f"Run cable {cable.name}: {_how(route)}; label both ends."
            draft.step(device.name, " ".join((does, *(route.notes if route else ()))), "route")
            wire = f", {cable.wire}" if cable.wire else ""
            clips = "metal cable clips" if _metal_clips(job, route) else "cable clips"
            draft.take(clips, device.name, int(clips_needed(length=route.length if route else run.value)))
            draft.take(f"cable {cable.name}, {cable.length:.1f} m{wire}", device.name)
        rows.append(
            {
                "device": device.name,
                "run_m": run.value,
                "run": run.as_dict() if isinstance(run, Worked) else None,
                "routed": route is not None,
                "cable": cable.name if cable else None,
                "needed": needed.as_dict(),
                "left_over_m": cable.length - needed.value if cable else None,
            }
        )
        if route is not None and entry is not None:
            routes.append(_document(job, device, cable.name if cable else None, route, entry))
    return rows, routes


def _entry(job: Job, draft: Draft) -> CableEntry | None:
    """Where the cables leave the housing: as said, else where the enclosure hangs."""
    box = job.kit.enclosure
    entry = job.kit.cable_entry or (CableEntry(box.face, box.at) if box and box.face and box.at else None)
    if entry is None and any(device.point for device in job.bus.devices):
        says = "where the cables leave the housing is not given (kit.cable_entry): runs are taken as stated, nothing is routed"
        draft.find(Level.CAUTION, "cable_entry", "cables", says)
    elif entry is not None:
        _clear(job, entry, draft)
    return entry


def _clear(job: Job, entry: CableEntry, draft: Draft) -> None:
    """Whether the way out itself stands clear: no route mends an end too near to what turns or to power."""
    face = job.housing.face(entry.face)
    for part in face.keep_outs if face else ():
        wanted = APART_AT_LEAST if part.kind == _POWER else CLEAR_OF.get(part.kind, CLEAR_OF_OTHERS)
        nearest = clearance_to(entry.at, [part])
        if nearest is not None and nearest[0] < wanted:
            says = f"cables leave {mm(nearest[0])} from the {part.name} ({part.kind}); {mm(wanted)} is wanted: move the way out"
            level = Level.BLOCKER if part.kind in _NEVER_NEAR else Level.CAUTION
            draft.find(level, "cable_entry", "cables", says)


def _diameter(job: Job) -> Given:
    """Of the thickest cable of the kit, which any run may get."""
    known = [cable.outside_diameter for cable in job.kit.cables if cable.outside_diameter is not None]
    if known:
        return Given("outside diameter of the kit's thickest cable", max(known), "m", Origin.STATED)
    return Given("outside diameter of a cable", _ASSUMED_DIAMETER, "m", Origin.ASSUMED)


def _stands(job: Job, device: BusDevice) -> Spot | None:
    """Where a device's cable begins, at its point; None where that has no place."""
    point = next((point for point in job.points if point.name == device.point), None)
    return Spot(point.face, point.at) if point is not None and point.face and point.at is not None else None


def _routes(job: Job, entry: CableEntry, draft: Draft) -> dict[str, Route]:
    """How the cables of the devices lie that have a place; what stops one becomes a finding."""
    placed = [(device, spot) for device in job.bus.devices if (spot := _stands(job, device))]
    power = [_power(face, part) for face in job.housing.faces for part in face.keep_outs if part.kind == _POWER]
    found: dict[str, Route] = {}
    stopped: dict[str, list[str]] = {}
    stated = [device.name for device in job.bus.devices if not any(device is one for one, _ in placed)]
    if stated:
        says = "where it stands on the housing is not given: its run is taken as stated, nothing is routed"
        draft.find(Level.NOTE, "route", ", ".join(stated), says)
    if placed and all(cable.outside_diameter is None for cable in job.kit.cables):
        says = f"no cable of the kit gives its outside diameter: routed as {1000 * _ASSUMED_DIAMETER:g} mm thick"
        draft.find(Level.NOTE, "cable_diameter", "cables", says)
    for device, spot in placed:
        try:
            route = _way(job, spot, entry, power, over_seats=False)
            if isinstance(route, NoRoute):
                over = _way(job, spot, entry, power, over_seats=True)
                if isinstance(over, Route):
                    says = "no way but over a bearing's cap: leave a loop and clips that come off, for the day the cap must"
                    draft.find(Level.CAUTION, "route", device.name, says)
                    route = over
        except OutOfRange as error:
            stopped.setdefault(f"no route: {error.name} {error.value}: {error.rule}", []).append(device.name)
            continue
        if isinstance(route, NoRoute):
            stopped.setdefault(route.says, []).append(device.name)
        else:
            found[device.name] = route
    for says, names in stopped.items():
        draft.find(Level.BLOCKER, "route", ", ".join(names), f"{says}; until then its run is taken as stated")
    return found


def _way(job: Job, spot: Spot, entry: CableEntry, power: list[PowerCable], *, over_seats: bool) -> Route | NoRoute:
    return cable_route(
        [_seen_by_a_cable(job, face, spot, entry, over_seats=over_seats) for face in job.housing.faces],
        spot,
        Spot(entry.face, entry.at),
        outside_diameter=_diameter(job).value,
        moving=_moves(job),
        power=power,
        cross_split_line=True,
        surface_temperature=job.housing.surface_temperature,
    )


def _moves(job: Job) -> bool:
    """A drive that hangs on the driven shaft rocks on its torque arm, and its cables with it."""
    return job.housing.kind == "shaft-mounted"


def _seen_by_a_cable(job: Job, face: Face, own: Spot, entry: CableEntry, *, over_seats: bool) -> Face:
    """A face as a cable sees it: power cables have their own distances; bearing caps, the other sensors and the enclosure are in
    the way, but not what the cable begins or ends at.
    """
    ends = [spot.at for spot in (own, Spot(entry.face, entry.at)) if spot.face == face.name]
    kept = tuple(part for part in face.keep_outs if part.kind != _POWER)
    seats = tuple(KeepOut(f"cap of {seat.bearing}", seat.at, (seat.diameter,) * 2, "seat") for seat in face.seats)
    seats = tuple(seat for seat in seats if not over_seats and not any(within(at, seat.at, seat.size) for at in ends))
    sensors = tuple(
        KeepOut(point.name, point.at, (point.sensor.base or ASSUMED_BASE,) * 2, "accessory")
        for point in job.points
        if point.face == face.name and point.at is not None and point.at != own.at
    )
    box = job.kit.enclosure
    boxes: tuple[KeepOut, ...] = ()
    if (
        box
        and box.size
        and box.at
        and box.face == face.name
        and not (entry.face == box.face and within(entry.at, box.at, box.size))
    ):
        boxes = (KeepOut("edge enclosure", box.at, box.size, "accessory"),)
    return replace(face, keep_outs=kept + seats + sensors + boxes)


def _power(face: Face, part: KeepOut) -> PowerCable:
    """A power cable from its rectangle: along its longer side. One of which nobody knows the length counts as long."""
    along = 0 if part.size[0] >= part.size[1] else 1
    half = part.size[along] / 2
    start, end = ([*part.at], [*part.at])
    start[along] -= half
    end[along] += half
    long = math.inf if part.length is None else part.length
    return PowerCable(
        part.name, face.name, (start[0], start[1]), (end[0], end[1]), part.size[1 - along], long, from_converter=part.from_converter
    )


def _run(device: BusDevice, entry: CableEntry | None, route: Route | None, draft: Draft) -> Given | Worked:
    """The run's length, from the route or as stated. [m]"""
    stated = Given(f"run of {device.name}, as stated", device.run, "m", Origin.ESTIMATED, 0.0, device.where)
    if route is None or entry is None:
        return stated
    run = work(
        f"run of {device.name}",
        run_length,
        on_housing=Given("along the housing", route.length, "m", Origin.ESTIMATED if route.estimated else Origin.CALCULATED),
        beyond=Given("from the housing to the connector", entry.beyond, "m", Origin.ESTIMATED),
    )
    if abs(run.value - device.run) > _OTHER_THAN_STATED:
        says = f"its route is {run.value:.1f} m, job.yaml states a run of {device.run:.1f} m: the route is taken"
        draft.find(Level.NOTE, "run", device.name, says, run)
    return run


def _metal_clips(job: Job, route: Route | None) -> bool:
    hot = job.housing.surface_temperature
    return route.metal_clips if route else hot is None or hot > METAL_CLIPS_ABOVE


def _compare(assigned: Assignment, draft: Draft) -> None:
    """Whether the rule of thumb would have done worse."""
    thumb = assigned.farthest_first_excess
    if not assigned.shortages and thumb is not None and thumb > assigned.excess + _LEAST_EXCESS:
        says = (
            f"{assigned.excess:.1f} m of cable left over in all; the rule of thumb, the longest cable to the farthest sensor, "
            f"would leave {thumb:.1f} m"
        )
        draft.find(Level.NOTE, "rule_of_thumb", "cables", says)


def _how(route: Route | None) -> str:
    """How the cable is laid, in one sentence."""
    loops = f"a drip loop of {1000 * DRIP_LOOP:.0f} mm at both ends"
    if route is None or route.estimated:
        return (
            f"first clip within 150 mm of the device, then every 300 to 450 mm, {loops}, 100 to 300 mm from power and crossing it "
            "square, no tight coils"
        )
    over = list(dict.fromkeys(leg.face for leg in route.legs))
    faces = f"over {' and '.join(over)}, {route.length:.2f} m" if over else f"{route.length:.2f} m"
    clips = f"{'metal ' if route.metal_clips else ''}clips at {', '.join(f'{1000 * clip.along:.0f}' for clip in route.clips)} mm"
    return f"{faces}; {clips} from the sensor; bends of {1000 * route.radius:.0f} mm or more; {loops}"


def _document(job: Job, device: BusDevice, cable: str | None, route: Route, entry: CableEntry) -> dict[str, Any]:
    """A route as it is drawn and laid."""
    radius = work(
        f"tightest bend of the cable of {device.name}",
        bend_radius,
        outside_diameter=_diameter(job),
        diameters=Given("diameters of a cable that moves", BEND_MOVING, "-", Origin.ASSUMED)
        if _moves(job)
        else Given("diameters of a cable that lies still", BEND_FIXED, "-", Origin.ASSUMED),
    )
    number = work(
        f"clips of the cable of {device.name}",
        clips_needed,
        length=Given("along the housing", route.length, "m", Origin.ESTIMATED if route.estimated else Origin.CALCULATED),
    )
    return {
        "cable": cable,
        "device": device.name,
        "point": device.point,
        "legs": list(_legs(route)),
        "bends": [{"after_leg": bend.after, "angle_rad": bend.angle} for bend in route.bends],
        "clips": [{"face": clip.face, "at_m": list(clip.at), "along_m": clip.along} for clip in route.clips],
        "clips_needed": number.as_dict(),
        "metal_clips": route.metal_clips,
        "length_m": route.length,
        "beyond_m": entry.beyond,
        "radius": radius.as_dict(),
        "edges": route.edges,
        "drip_loop_m": DRIP_LOOP,
        "estimated": route.estimated,
        "notes": list(route.notes),
    }


def _legs(route: Route) -> Iterator[dict[str, Any]]:
    for leg in route.legs:
        yield {
            "face": leg.face,
            "start_m": list(leg.start),
            "end_m": list(leg.end),
            "length_m": leg.length,
            "crosses": leg.crosses,
        }
