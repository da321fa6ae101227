"""Plan: how does the kit go on? Holes against the measured wall, bonds, bandwidth, places, bus, cables; a work card.

A way towards the oil is a blocker. A wall that nobody has measured is never drilled: the point becomes a bonded one, and
what that costs in bandwidth is shown.
"""

from dataclasses import dataclass, field
from typing import Any

from gearcase import tables
from gearcase.drive.lines import Line, expected_lines
from gearcase.drive.train import Drive
from gearcase.errors import OutOfRange
from gearcase.findings import Finding, Level
from gearcase.install.assignment import SPARE, assign_cables
from gearcase.install.bonding import COLDEST, HOTTEST, WARMEST_TO_APPLY, cure_time
from gearcase.install.bus import transaction_time
from gearcase.install.holes import (
    LEAD_THREADS,
    POINT_ANGLE,
    TapDrill,
    clearance_hole,
    depth_to_shoulder,
    drill_for_thread,
    drill_point_length,
    edge_distance,
    least_metal,
    metal_left,
    percent_thread,
    tap_drill,
    wall_needed,
)
from gearcase.install.housing import Face, Hole, Wall, clearance_to
from gearcase.install.mounting import Sight, sight
from gearcase.install.points import Point
from gearcase.job.build import Job
from gearcase.stages.result import StageResult, finding_document, has_blocker
from gearcase.units import parse_thread
from gearcase.worked import Given, Origin, Worked, work

__all__ = ["judge", "run"]

BONDED = "rigid adhesive"
STUD_THREAD = (5e-3, 8e-3)  # m of full thread a sensor's stud wants; common practice, no source
IRON_THREAD = (60.0, 75.0)  # per cent in iron; common practice, no source
HOT_SURFACE = 333.15  # K; above it a bonded pad is taken at its hot bandwidth; common practice, no source
CLEAR_OF = {"rotating part": 0.050, "guard": 0.050, "split line": 0.015}  # m; common practice, no source
_CLEAR_OF_OTHERS = 0.020
MOST_DEVICES = 32  # unit loads on one serial bus, TIA-485
_MOUNTS_BONDED = ("rigid adhesive", "adhesive pad", "hot adhesive pad")
_ROUTE = (  # common practice, no source
    "first clip within 150 mm of the sensor, then every 300 to 450 mm, a drip loop of 75 mm, 100 to 300 mm from power and crossing "
    "it square, no tight coils"
)
_ON_SHAFT = ("shaft", "mesh")


@dataclass
class _Draft:
    """A plan in the making: findings, what to pick and the steps of the work card, in the order they come up."""

    findings: list[Finding] = field(default_factory=list)
    pick: list[tuple[str, str]] = field(default_factory=list)
    steps: list[tuple[str, str, str]] = field(default_factory=list)

    def find(self, level: Level, rule: str, where: str, says: str, worked: Worked | None = None) -> None:
        self.findings.append(Finding(level, f"plan.{rule}", where, says, worked))

    def take(self, what: str, why: str) -> None:
        if (what, why) not in self.pick:
            self.pick.append((what, why))

    def step(self, where: str, does: str, caution: str = "") -> None:
        self.steps.append((where, does, caution))


def run(job: Job) -> StageResult:
    """Plan a job.

    Returns
    -------
    StageResult
        Document ``plan/1``; `wrong` when a finding is a blocker.
    """
    findings, document = judge(job)
    read = (
        *job.sources(("drive", "points", "housing", "kit", "bus")),
        *tables.sources("mounts", "threads", "clearance_holes"),
    )
    return StageResult("plan", document, read, wrong=has_blocker(findings))


def judge(job: Job) -> tuple[tuple[Finding, ...], dict[str, Any]]:
    """The findings, blockers first, and the document of a plan; also for a job as it was built."""
    draft = _Draft()
    bus = _bus(job, draft)
    draft.step(
        "before",
        "Lock out and prove the drive still; let it cool; bag open ports; agree permits with the owner.",
        "Local codes and site rules come first. A backstop may hold load torque; housings and oil burn.",
    )
    lines = expected_lines(job.drive)
    parts = [_part(job, point, lines, draft) for point in job.points]
    if not job.points:
        draft.find(Level.BLOCKER, "points", "points", "the job has no measuring point: nothing to plan")
    cables = _cables(job, draft)
    clearance_holes = _clearance(job, draft)
    draft.step("after", "Account for every chip and tool; close ports; check oil level; tighten, label and photograph every part.")
    rank = [Level.BLOCKER, Level.CAUTION, Level.NOTE]
    findings = tuple(sorted(draft.findings, key=lambda finding: rank.index(finding.level)))
    document = {
        "schema": "plan/1",
        "job": job.title,
        "parts": parts,
        "faces": [_face_document(face) for face in job.housing.faces],
        "bus": bus,
        "cables": cables,
        "clearance_holes": clearance_holes,
        "findings": [finding_document(finding) for finding in findings],
        "pick": [{"what": what, "for": why} for what, why in draft.pick],
        "work_card": [
            {"number": number, "where": where, "do": does, "caution": caution}
            for number, (where, does, caution) in enumerate(draft.steps, start=1)
        ],
    }
    return findings, document


def _part(job: Job, point: Point, lines: tuple[Line, ...], draft: _Draft) -> dict[str, Any]:
    """One measuring point: its place, its hole or bond, and what it will see."""
    if not point.mount:
        draft.find(Level.BLOCKER, "mount", point.name, "nobody has said how this sensor is mounted")
    _place(job, point, draft)
    mount = point.mount
    hole = None
    if point.mount == "stud":
        hole, drillable = _hole(job, point, draft)
        if not drillable:
            mount = BONDED
    bond = _bond(job, point, mount, draft) if mount in _MOUNTS_BONDED else None
    if "magnet" in mount:
        draft.step(
            point.name,
            "Clean the spot, a film of oil on it; set the magnet down edge first and roll it flat; photograph the mark.",
            "It snaps: fingers clear, and never drop it on, the shock can break the sensor.",
        )
    band = _band(job, point, mount, draft)
    if point.mount != mount and band is not None:
        _cost_of_bonding(point, band, draft)
    return {
        "name": point.name,
        "face": point.face,
        "at_m": list(point.at) if point.at else None,
        "mount_wanted": point.mount,
        "mount": mount,
        "hole": hole,
        "bond": bond,
        "band": None if band is None else {"true_hz": band.true_hz, "detectable_hz": band.detectable_hz, "by": band.limited_by},
        "lines": [] if band is None else _graded(job.drive, point, lines, band),
    }


def _place(job: Job, point: Point, draft: _Draft) -> None:
    face = next((face for face in job.housing.faces if face.name == point.face), None)
    if face is None or point.at is None:
        draft.find(Level.CAUTION, "place", point.name, "its face and place are not given: nothing checks that it fouls nothing")
        return
    if not all(0 < place < size for place, size in zip(point.at, face.size, strict=True)):
        draft.find(
            Level.BLOCKER, "place", point.name, f"it lies outside the face {face.name}, {_mm(face.size[0])} by {_mm(face.size[1])}"
        )
        return
    hole = work(
        f"edge distance at {point.name}",
        edge_distance,
        hole_diameter=_given("hole", parse_thread(point.hole.thread).major_diameter if point.hole else 0.0),
    )
    to_edge = min(min(place, size - place) for place, size in zip(point.at, face.size, strict=True))
    if to_edge < hole.value:
        says = f"its hole stands {_mm(to_edge)} from the edge of the face; at least {_mm(hole.value)} is wanted"
        draft.find(Level.CAUTION, "edge", point.name, says, hole)
    for part in face.keep_outs:
        nearest = clearance_to(point.at, [part])
        needed = CLEAR_OF.get(part.kind, _CLEAR_OF_OTHERS)
        if nearest is not None and nearest[0] < needed:
            level = Level.BLOCKER if part.kind == "rotating part" or nearest[0] == 0 else Level.CAUTION
            says = f"it stands {_mm(nearest[0])} from the {part.name} ({part.kind}); at least {_mm(needed)} is wanted"
            draft.find(level, "clearance", point.name, says)


def _hole(job: Job, point: Point, draft: _Draft) -> tuple[dict[str, Any] | None, bool]:
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
        major_diameter=_given("major diameter", drill.major_diameter),
        drill_diameter=_given(f"drill {drill.drill}", drill.diameter),
        pitch=_given("pitch", drill.pitch),
    )
    document = {
        "thread": wanted.thread,
        "drill": drill.drill,
        "drill_mm": 1000 * drill.diameter,
        "tap": wanted.tap,
        "percent_thread": thread.as_dict(),
        "depth": _as_dict(stack["depth"]),
        "point": _as_dict(stack["point"]),
        "wall_needed": needed.as_dict(),
        "metal_left": None,
    }
    if not STUD_THREAD[0] <= wanted.full_thread <= STUD_THREAD[1]:
        says = f"{_mm(wanted.full_thread)} of full thread; sensor studs want 5 to 8 mm: follow the sensor's data sheet"
        draft.find(Level.CAUTION, "engagement", point.name, says)
    if "iron" in job.housing.material and not IRON_THREAD[0] <= thread.value <= IRON_THREAD[1]:
        kinder = drill_for_thread(major_diameter=drill.major_diameter, pitch=drill.pitch, percent=sum(IRON_THREAD) / 2)
        says = (
            f"drill {drill.drill} leaves {thread.value:.0f} % of thread; 60 to 75 % is kinder to the tap in iron, about a "
            f"{_mm(kinder)} drill"
        )
        draft.find(Level.NOTE, "percent_thread", point.name, says, thread)
    if wall is None or wall.origin is not Origin.MEASURED:
        known = "not known" if wall is None else f"only {wall.origin}"
        says = f"its wall is {known}: no reading, no hole; bonded instead, or measure {_mm(needed.value)} or more at the spot"
        draft.find(Level.CAUTION, "wall", point.name, says, needed)
        return document, False
    left, least = _metal(point, wall, stack)
    document["metal_left"], document["least_metal"] = left.as_dict(), least.as_dict()
    if left.value < least.value:
        says = (
            f"a way to the oil: {_mm(left.value)} of metal would be left of a wall of {_mm(wall.thickness)}, at least "
            f"{_mm(least.value)} must stay; this hole needs {_mm(needed.value)}: bond it, or find a boss"
        )
        draft.find(Level.BLOCKER, "metal_left", point.name, says, left)
        return document, False
    _drill_steps(point, wanted, drill, stack, draft)
    return document, True


def _stack(point: Point, wanted: Hole, drill: TapDrill) -> dict[str, Given | Worked]:
    depth = work(
        f"drill depth to the shoulder at {point.name}",
        depth_to_shoulder,
        full_thread=_given("full thread", wanted.full_thread),
        lead_threads=Given(f"lead of a {wanted.tap} tap", LEAD_THREADS[wanted.tap], "-", Origin.ASSUMED),
        pitch=_given("pitch", drill.pitch),
    )
    tip = work(f"drill point at {point.name}", drill_point_length, drill_diameter=_given(f"drill {drill.drill}", drill.diameter))
    return {"spot_face": _given("spot-face", wanted.spot_face), "depth": depth, "point": tip}


def _metal(point: Point, wall: Wall, stack: dict[str, Given | Worked]) -> tuple[Worked, Worked]:
    """Metal left and the least that must stay, by the least reading less the gauge's error."""
    thinnest = Given("measured wall less gauge error", wall.thickness - wall.gauge_error, "m", wall.origin, 0.0, point.where)
    return (
        work(f"metal left at {point.name}", metal_left, wall=thinnest, **stack),
        work(f"least metal at {point.name}", least_metal, wall=thinnest),
    )


def _drill_steps(point: Point, wanted: Hole, drill: TapDrill, stack: dict[str, Given | Worked], draft: _Draft) -> None:
    collar = stack["depth"].value + stack["point"].value
    for what in (
        f"drill {drill.drill} ({1000 * drill.diameter:.2f} mm, {2 * 57.29578 * POINT_ANGLE / 2:.0f} degree point)",
        f"{wanted.tap} tap {wanted.thread}",
        "stop collar, gauge pin, spot-facing cutter",
        "ultrasonic wall gauge, velocity set for this iron",
        "grease for flutes and tap, vacuum",
    ):
        draft.take(what, point.name)
    draft.step(point.name, "Gauge the wall at the spot: three readings, keep the least.", "No reading, no hole.")
    draft.step(point.name, f"Spot-face {_mm(wanted.spot_face)} deep, square within 1 degree, Ra 1.6 um or better.")
    draft.step(
        point.name,
        f"Drill {drill.drill}, stop collar at {_mm(collar)} from the spot-face to the tip; gauge pin after each peck.",
        "Stop at the first smell of oil. Grease the flutes, vacuum the chips, account for all of them.",
    )
    draft.step(point.name, f"Tap {wanted.thread}, {wanted.tap} tap, {_mm(wanted.full_thread)} of full thread; clean and dry.")
    draft.step(point.name, "Fit the stud and sensor to the torque of its data sheet; photograph the mark.")


def _bond(job: Job, point: Point, mount: str, draft: _Draft) -> dict[str, Any]:
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
    draft.step(
        point.name,
        "Grind to bare metal, Ra 3 to 6 um; degrease, abrade, degrease; metal 15 to 40 °C and 3 K above dew point.",
        "Grinding paint is hot work: test for lead and chromate first. Ventilate; no naked flame.",
    )
    wait = f"full cure {cure.value / 3600:.0f} h before the baseline" if cure else "full cure by the data sheet before the baseline"
    draft.step(point.name, f"Bond the {'pad' if 'pad' in mount else 'sensor'}, no load until four fixture times; {wait}.")
    return {"cure": cure.as_dict() if cure else None, "surface_temperature_k": hot}


def _band(job: Job, point: Point, mount: str, draft: _Draft) -> Sight | None:
    """Band of the mount as planned, at running temperature."""
    hot = job.housing.surface_temperature
    if mount == "adhesive pad" and hot is not None and hot > HOT_SURFACE:
        mount = "hot adhesive pad"
        draft.find(Level.NOTE, "hot_pad", point.name, f"at {hot - 273.15:.0f} °C the pad is taken at its hot bandwidth")
    as_planned = Point(point.name, point.sensor, mount, point.bearing, point.face, point.direction)
    return sight(as_planned)


def _cost_of_bonding(point: Point, band: Sight, draft: _Draft) -> None:
    before = sight(point)
    if before is None:
        return
    says = f"bonded instead of drilled: true amplitude to {band.true_hz:.0f} Hz instead of {before.true_hz:.0f} Hz"
    draft.find(Level.NOTE, "bonded", point.name, says)


def _graded(drive: Drive, point: Point, lines: tuple[Line, ...], band: Sight) -> list[dict[str, Any]]:
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
        if line.component in near and (line.kind in _ON_SHAFT or line.component == under.name)
    ]


def _bus(job: Job, draft: _Draft) -> dict[str, Any]:
    """Addresses, and how long a round of all devices takes."""
    devices = job.bus.devices
    first: dict[int, str] = {}
    for device in devices:
        if device.address in first:
            says = f"address {device.address} is also that of {first[device.address]}: both answer at once and neither is heard"
            draft.find(Level.BLOCKER, "address", device.name, says)
        first.setdefault(device.address, device.name)
    if len(devices) > MOST_DEVICES:
        draft.find(
            Level.BLOCKER, "unit_loads", "bus", f"{len(devices)} devices of one unit load each; one bus drives {MOST_DEVICES}"
        )
    times = [
        work(
            f"reading of {device.name}",
            transaction_time,
            baud=Given("baud", float(job.bus.baud), "1/s", Origin.ASSUMED),
            registers=Given("registers", float(device.registers), "-", Origin.ASSUMED, 0.0, device.where),
            device_delay=Given("device delay", job.bus.device_delay, "s", Origin.ASSUMED),
        )
        for device in devices
    ]
    if devices:
        draft.step("bench", "Set and label every address, baud and parity at both ends; run the whole bus with the actual cables.")
    return {
        "baud": job.bus.baud,
        "devices": [
            {
                "name": device.name,
                "address": device.address,
                "profile": device.profile,
                "point": device.point,
                "registers": device.registers,
                "reading_s": time.as_dict(),
            }
            for device, time in zip(devices, times, strict=True)
        ],
        "round_s": sum(time.value for time in times),
    }


def _cables(job: Job, draft: _Draft) -> list[dict[str, Any]]:
    """The kit's cable for each device's run."""
    devices = job.bus.devices
    rows = []
    for device, cable in zip(devices, assign_cables([device.run for device in devices], job.kit.cables).cables, strict=True):
        if cable is None:
            long_enough = [one.name for one in job.kit.cables if one.length >= device.run + SPARE]
            others = f"{', '.join(long_enough)} would do but serve longer runs" if long_enough else "none of the kit is so long"
            says = f"no cable left for a run of {device.run:.1f} m with {SPARE:.1f} m to spare: {others}"
            draft.find(Level.BLOCKER, "cable", device.name, says)
        else:
            draft.step(
                device.name,
                f"Run cable {cable.name}: {_ROUTE}; label both ends.",
                "Clear of what turns and of hot surfaces; metal clips above 70 °C.",
            )
            wire = f", {cable.wire}" if cable.wire else ""
            draft.take(f"cable {cable.name}, {cable.length:.1f} m{wire}", device.name)
        rows.append({"device": device.name, "run_m": device.run, "cable": cable.name if cable else None})
    return rows


def _clearance(job: Job, draft: _Draft) -> list[dict[str, Any]]:
    """The hole each screw of the kit passes through."""
    rows = []
    for screw in job.kit.screws:
        hole = clearance_hole(screw.size, screw.fit)
        draft.step(
            screw.name, f"Open its holes for {screw.size} to {hole.drill}, {screw.fit} fit; deburr.", "Never on the housing."
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


def _face_document(face: Face) -> dict[str, Any]:
    return {
        "name": face.name,
        "size_m": list(face.size),
        "keep_outs": [
            {"name": part.name, "kind": part.kind, "at_m": list(part.at), "size_m": list(part.size)} for part in face.keep_outs
        ],
    }


def _given(name: str, metres: float) -> Given:
    return Given(name, metres, "m", Origin.NAMEPLATE)


def _as_dict(part: Given | Worked) -> dict[str, Any]:
    return part.as_dict() if isinstance(part, Worked) else {"name": part.name, "value": part.value, "unit": part.unit}


def _mm(metres: float) -> str:
    return f"{1000 * metres:.4g} mm"
