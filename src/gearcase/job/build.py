"""From the checked document to the drive model and its points, once, with every value's line kept.

Everything wrong with the file is said at once: by its form (`schema`), between its parts (`checks`), and here by trains that
contradict themselves.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import Any

from gearcase.checksums import sha256_of_bytes, sha256_of_data
from gearcase.drive.bearing_estimate import estimate_geometry
from gearcase.drive.bearings import Bearing, Candidate, CountRule, Geometry
from gearcase.drive.designations import read_designation
from gearcase.drive.train import Drive, Mesh, Ratings, RatioLink, Shaft, shaft_orders
from gearcase.errors import BadInput, OutOfRange, Problem
from gearcase.findings import Finding, Level
from gearcase.install.housing import Bus, BusDevice, Cable, Face, Hole, Housing, KeepOut, Kit, Screw, Wall
from gearcase.install.points import Point, Sensor
from gearcase.job.checks import cross_check
from gearcase.job.read import FILE_NAME, Path_, Source, read_source, validate, validate_drive
from gearcase.job.schema import (
    BearingModel,
    BearingShape,
    BusModel,
    DriveModel,
    HoleModel,
    HousingModel,
    JobModel,
    KitModel,
    NameplateModel,
    PointModel,
)
from gearcase.worked import Given, Origin

__all__ = ["SECTIONS", "Input", "Job", "RecordingEntry", "build", "load"]

SECTIONS = tuple(JobModel.model_fields)

_RATIO_TOLERANCE = 0.02  # nameplates give the nominal ratio; real tooth counts land this close; common practice, no source


@dataclass(frozen=True)
class Input:
    """Where speed, load, run state or direction come from; `age_limit` in s."""

    name: str
    kind: str
    source: str
    address: str
    age_limit: float | None
    fallback: str
    where: str = ""


@dataclass(frozen=True)
class RecordingEntry:
    """A recording the job lists; `file` is relative to the job's folder."""

    file: str
    point: str
    channel: str
    rate_hz: float | None
    unit: str
    speed_hz: float | None
    start: str
    where: str = ""


@dataclass(frozen=True)
class Job:
    """A job, ready for every stage.

    Attributes
    ----------
    folder : str
        As named by the person.
    title : str
    site : dict
        Name, drive tag, owner, notes.
    drive : Drive
    points : tuple of Point
    inputs : tuple of Input
    recordings : tuple of RecordingEntry
    findings : tuple of Finding
        What is allowed but should be looked at.
    housing, kit, bus : Housing, Kit, Bus
        Empty where the file is silent.
    sections : dict
        Top-level sections of the file as plain data.
    text_sha256 : str
        Of the whole file as it stands.
    """

    folder: str
    title: str
    site: dict[str, Any]
    drive: Drive
    points: tuple[Point, ...]
    inputs: tuple[Input, ...]
    recordings: tuple[RecordingEntry, ...]
    findings: tuple[Finding, ...]
    housing: Housing
    kit: Kit
    bus: Bus
    sections: dict[str, Any]
    text_sha256: str

    def sources(self, names: Iterable[str]) -> tuple[dict[str, str], ...]:
        """``{"what", "sha256"}`` of sections, for the header of a result that rests on them."""
        return tuple({"what": f"{FILE_NAME} {name}", "sha256": sha256_of_data(self.sections.get(name))} for name in names)


def load(folder: Path) -> Job:
    """Read, check and build the job of a folder.

    Raises
    ------
    BadInput
        With every problem found.
    """
    return build(read_source(folder), folder=str(folder))


def build(source: Source, *, folder: str) -> Job:
    """Build a job from a source.

    Raises
    ------
    BadInput
        With every problem found.
    """
    model, problems = validate(source)
    problems += cross_check(source)
    plan = model.drive if model else validate_drive(source)
    drive = None
    if plan and not any(problem.key.startswith("drive") for problem in problems):
        drive = _drive(source, plan)
        try:
            shaft_orders(drive)
        except OutOfRange as error:
            problems.append(_train_problem(source, drive, error))
    if problems or model is None or drive is None:
        raise BadInput(sorted(problems, key=lambda problem: int(problem.where.rpartition(":")[2])))
    return Job(
        folder=folder,
        title=model.title or model.site.drive_tag or model.drive.name,
        site=model.site.model_dump(),
        drive=drive,
        points=tuple(_point(source, n, point) for n, point in enumerate(model.points)),
        inputs=tuple(Input(**entry.model_dump(), where=source.where(("inputs", n))) for n, entry in enumerate(model.inputs)),
        recordings=tuple(
            RecordingEntry(r.file, r.point, r.channel, r.rate, r.unit, r.speed, r.start, source.where(("recordings", n)))
            for n, r in enumerate(model.recordings)
        ),
        findings=(*_ratio_findings(source, drive), *_designation_findings(source, model.drive)),
        housing=_housing(model.housing),
        kit=_kit(model.kit),
        bus=_bus(source, model.bus),
        sections=source.data,
        text_sha256=sha256_of_bytes(source.text.encode()),
    )


def _drive(source: Source, model: DriveModel) -> Drive:
    plate = model.nameplate
    spread = _last_digit(source, plate) / 2
    shafts = tuple(Shaft(shaft.name, shaft.end or "") for shaft in model.shafts) or _shafts_of_a_ratio(model)
    meshes = tuple(
        Mesh(
            mesh.name,
            mesh.pinion.shaft,
            mesh.wheel.shaft,
            mesh.pinion.teeth,
            mesh.wheel.teeth,
            mesh.origin,
            source.where(("drive", "meshes", n)),
        )
        for n, mesh in enumerate(model.meshes)
    )
    is_plate_speed = plate.input_speed is not None and _is_input(shafts, model.input.shaft)
    rated = plate.input_speed if is_plate_speed and plate.input_speed else model.input.speed.high
    where = ("drive", "nameplate", "input_speed") if is_plate_speed else ("drive", "input", "speed")
    return Drive(
        name=model.name,
        shafts=shafts,
        meshes=meshes,
        bearings=tuple(_bearing(source, n, bearing) for n, bearing in enumerate(model.bearings)),
        reference_shaft=model.input.shaft,
        speed_hz=(model.input.speed.low, model.input.speed.high),
        rated_speed_hz=rated,
        speed_given=Given(
            f"rated speed of {model.input.shaft}",
            rated,
            "Hz",
            Origin.NAMEPLATE if is_plate_speed else model.input.origin,
            0.0,
            source.where(where),
        ),
        ratio_links=_ratio_links(source, model, shafts, meshes, spread),
        ratings=Ratings(plate.power, plate.ratio, spread, plate.input_speed, plate.output_speed, plate.support),
    )


def _shafts_of_a_ratio(model: DriveModel) -> tuple[Shaft, ...]:
    """A job that knows only a ratio has two shafts; one that knows not even that has the stated one."""
    if model.nameplate.ratio is None:
        return (Shaft(model.input.shaft, "input"),)
    return (
        Shaft(model.input.shaft, "input"),
        Shaft("output" if model.input.shaft != "output" else "far end", "output"),
    )


def _is_input(shafts: Sequence[Shaft], name: str) -> bool:
    """Whether the nameplate's input speed is that of the named shaft."""
    marked = any(shaft.end == "input" for shaft in shafts)
    return any(shaft.name == name and (shaft.end == "input" or not (marked or shaft.end)) for shaft in shafts)


def _ratio_links(
    source: Source, model: DriveModel, shafts: Sequence[Shaft], meshes: Sequence[Mesh], spread: float
) -> tuple[RatioLink, ...]:
    """The nameplate's ratio joins the ends where tooth counts do not."""
    ratio = model.nameplate.ratio
    ends = {shaft.end: shaft.name for shaft in shafts if shaft.end}
    if ratio is None or not {"input", "output"} <= ends.keys() or _joined(ends["input"], ends["output"], meshes):
        return ()
    fast, slow = (ends["input"], ends["output"]) if ratio >= 1 else (ends["output"], ends["input"])
    value, off = (ratio, spread) if ratio >= 1 else (1 / ratio, spread / ratio**2)
    where = source.where(("drive", "nameplate", "ratio"))
    return (RatioLink("nameplate ratio", fast, slow, value, off, Origin.NAMEPLATE, where),)


def _joined(one: str, other: str, meshes: Sequence[Mesh]) -> bool:
    reached = {one}
    for _ in meshes:
        for mesh in meshes:
            pair = {mesh.pinion_shaft, mesh.wheel_shaft}
            if mesh.pinion_teeth and mesh.wheel_teeth and pair & reached:
                reached |= pair
    return other in reached


def _last_digit(source: Source, plate: NameplateModel) -> float:
    """One unit of the last digit the nameplate prints: 20.1 -> 0.1, 20.10 -> 0.01; 0 without a ratio."""
    if plate.ratio is None:
        return 0.0
    exponent = Decimal(str(source.value(("drive", "nameplate", "ratio")))).as_tuple().exponent
    return float(10.0 ** int(exponent))


def _bearing(source: Source, index: int, model: BearingModel) -> Bearing:
    shape, _ = _shape(model)
    geometry, makes = (shape, ()) if isinstance(shape, Geometry) else (None, _makes(model, shape))
    inner, outer = model.shaft, model.other_ring_shaft
    if model.turning == "outer":
        inner, outer = outer, inner  # type: ignore[assignment]
    return Bearing(model.name, inner, outer, geometry, model.designation, source.where(("drive", "bearings", index)), makes)


def _makes(model: BearingModel, by_count: CountRule | None) -> tuple[Candidate, ...]:
    if by_count is not None:
        return (Candidate("", by_count, model.designation),)
    shapes = ((make, _shape(make)[0]) for make in model.candidates)
    return tuple(Candidate(make.name, shape, make.designation) for make, shape in shapes if shape is not None)


def _shape(model: BearingShape) -> tuple[Geometry | CountRule | None, str]:
    """What is known of the inside: as given, else estimated from the designation, else by the count of elements; and why a
    designation could not be used.
    """
    elements, contact_angle = model.elements, model.contact_angle
    element_diameter, pitch_diameter = model.element_diameter, model.pitch_diameter
    if elements is not None and element_diameter is not None and pitch_diameter is not None and contact_angle is not None:
        return Geometry(elements, element_diameter, pitch_diameter, contact_angle, model.origin, model.spread), ""
    why_not = ""
    if model.designation and not (isinstance(model, BearingModel) and model.candidates):
        try:
            return replace(estimate_geometry(read_designation(model.designation), elements=elements), spread=model.spread), ""
        except OutOfRange as error:
            why_not = f"nothing can be estimated from {error.name} {error.value}; right would be: {error.rule}"
    return CountRule(elements, model.origin) if elements is not None else None, why_not


def _designation_findings(source: Source, model: DriveModel) -> Iterable[Finding]:
    """Designations that say nothing: their bearings have no lines, or those of a rule of thumb."""
    for n, bearing in enumerate(model.bearings):
        path: Path_ = ("drive", "bearings", n)
        parts = [(path, bearing), *(((*path, "candidates", c), make) for c, make in enumerate(bearing.candidates))]
        for here, part in parts:
            if says := _shape(part)[1]:
                where = source.where((*here, "designation"))
                yield Finding(Level.CAUTION, "job.designation", where, f"{bearing.name}: {says}")


def _point(source: Source, index: int, model: PointModel) -> Point:
    sensor = model.sensor
    return Point(
        name=model.name,
        sensor=Sensor(sensor.kind, sensor.lowest, sensor.highest, sensor.axes, sensor.mass, sensor.range),
        mount=model.mount or "",
        bearing=model.bearing,
        face=model.face,
        direction=model.direction or "",
        at=model.at,
        wall=Wall(model.wall.thickness, model.wall.gauge_error or 0.0, model.wall.origin) if model.wall else None,
        hole=_hole(model.hole) if model.hole else None,
        where=source.where(("points", index)),
        clock=model.clock,
    )


def _hole(model: HoleModel) -> Hole:
    return Hole(model.thread, model.full_thread, model.spot_face or 0.0, model.tap)


def _housing(model: HousingModel) -> Housing:
    faces = tuple(
        Face(
            face.name,
            face.size,
            tuple(KeepOut(part.name, part.at, part.size, part.kind) for part in face.keep_outs),
            face.outward or "",
        )
        for face in model.faces
    )
    return Housing(model.material or "", model.surface_temperature, faces)


def _kit(model: KitModel) -> Kit:
    return Kit(
        tuple(Cable(c.name, c.length, c.wire or "") for c in model.cables),
        model.adhesive_cure,
        model.metal_temperature,
        tuple(Screw(screw.name, screw.size, screw.fit) for screw in model.screws),
    )


def _bus(source: Source, model: BusModel) -> Bus:
    devices = tuple(
        BusDevice(d.name, d.address, d.registers, d.run, d.point, source.where(("bus", "devices", n)), d.profile or "")
        for n, d in enumerate(model.devices)
    )
    return Bus(model.baud, model.device_delay or 0.0, devices, model.connection or "")


def _train_problem(source: Source, drive: Drive, error: OutOfRange) -> Problem:
    """Two paths that disagree, shown at the last mesh of the shaft where they meet."""
    shaft = str(error.value).strip("'\"")
    meshes = [n for n, mesh in enumerate(drive.meshes) if shaft in (mesh.pinion_shaft, mesh.wheel_shaft)]
    path: Path_ = ("drive", "meshes", meshes[-1]) if meshes else ("drive",)
    return source.problem(path, error.rule, given=f'shaft "{shaft}"')


def _ratio_findings(source: Source, drive: Drive) -> Iterable[Finding]:
    ratings = drive.ratings
    ends = {shaft.end: shaft.name for shaft in drive.shafts if shaft.end}
    orders = shaft_orders(drive)
    if drive.ratio_links or not {"input", "output"} <= ends.keys() or not {*ends.values()} <= orders.keys():
        return
    ratio = abs(orders[ends["input"]].order / orders[ends["output"]].order)
    if ratings.ratio is not None and abs(ratio - ratings.ratio) > max(ratings.ratio_spread, _RATIO_TOLERANCE * ratings.ratio):
        says = f"the tooth counts give a ratio of {ratio:.4g}, the nameplate {ratings.ratio:.4g}: one of them is wrong"
        yield Finding(Level.CAUTION, "job.ratio", source.where(("drive", "nameplate", "ratio")), says)
    if ratings.input_speed_hz and ratings.output_speed_hz:
        plate = ratings.input_speed_hz / ratings.output_speed_hz
        if abs(ratio / plate - 1) > _RATIO_TOLERANCE:
            says = f"the tooth counts give a ratio of {ratio:.4g}, the nameplate's speeds {plate:.4g}: one of them is wrong"
            yield Finding(Level.CAUTION, "job.speeds", source.where(("drive", "nameplate", "output_speed")), says)
