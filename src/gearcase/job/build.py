"""From the checked document to the drive model and its points, once, with every value's line kept.

What the schema cannot see is checked here, all at once: names twice, names of nothing, bearings that cannot exist,
trains that do not join or contradict themselves.
"""

import difflib
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gearcase.checksums import sha256_of_data
from gearcase.drive.bearings import Bearing, Geometry
from gearcase.drive.train import Drive, Mesh, Ratings, RatioLink, Shaft, shaft_orders
from gearcase.errors import BadInput, OutOfRange, Problem
from gearcase.findings import Finding, Level
from gearcase.install.points import Point, Sensor
from gearcase.job.read import FILE_NAME, Path_, Source, read_source, validate
from gearcase.job.schema import BearingModel, DriveModel, JobModel, NameplateModel, PointModel
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
    sections : dict
        Top-level sections of the file as plain data.
    """

    folder: str
    title: str
    site: dict[str, Any]
    drive: Drive
    points: tuple[Point, ...]
    inputs: tuple[Input, ...]
    recordings: tuple[RecordingEntry, ...]
    findings: tuple[Finding, ...]
    sections: dict[str, Any]

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
    model = validate(source)
    problems = [*_names_twice(source, model), *_names_of_nothing(source, model), *_bearings(source, model.drive)]
    if problems:
        raise BadInput(problems)
    drive = _drive(source, model.drive)
    try:
        shaft_orders(drive)
    except OutOfRange as error:
        raise BadInput(_train_problem(source, model.drive, error)) from None
    return Job(
        folder=folder,
        title=model.title or model.site.drive_tag or model.drive.name,
        site=model.site.model_dump(),
        drive=drive,
        points=tuple(_point(source, n, point) for n, point in enumerate(model.points)),
        inputs=tuple(Input(**entry.model_dump()) for entry in model.inputs),
        recordings=tuple(RecordingEntry(r.file, r.point, r.channel, r.rate, r.unit, r.speed, r.start) for r in model.recordings),
        findings=tuple(_ratio_findings(source, drive)),
        sections=source.data,
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
    return any(shaft.name == name and shaft.end != "output" for shaft in shafts)


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
    line = source.lines.get(("drive", "nameplate", "ratio"), 1)
    printed = re.search(r"ratio\s*:\s*['\"]?\d*(?:\.(\d+))?", source.text.splitlines()[line - 1])
    return float(10.0 ** -len(printed[1])) if printed and printed[1] else 1.0


def _bearing(source: Source, index: int, model: BearingModel) -> Bearing:
    geometry = None
    if model.elements is not None and model.element_diameter is not None and model.pitch_diameter is not None:
        geometry = Geometry(
            model.elements,
            model.element_diameter,
            model.pitch_diameter,
            model.contact_angle,
            model.origin,
            model.spread,
        )
    inner, outer = model.shaft, model.other_ring_shaft
    if model.turning == "outer":
        inner, outer = outer, inner  # type: ignore[assignment]
    return Bearing(model.name, inner, outer, geometry, model.designation, source.where(("drive", "bearings", index)))


def _point(source: Source, index: int, model: PointModel) -> Point:
    sensor = model.sensor
    return Point(
        name=model.name,
        sensor=Sensor(sensor.kind, sensor.lowest, sensor.highest, sensor.axes, sensor.mass, sensor.range),
        mount=model.mount or "",
        bearing=model.bearing,
        face=model.face,
        direction=model.direction or "",
        where=source.where(("points", index)),
    )


def _names_twice(source: Source, model: JobModel) -> Iterable[Problem]:
    lists: tuple[tuple[Path_, str, list[Any]], ...] = (
        (("drive", "shafts"), "name", list(model.drive.shafts)),
        (("points",), "name", list(model.points)),
        (("inputs",), "name", list(model.inputs)),
    )
    for path, key, items in lists:
        yield from _twice(source, [((*path, n, key), getattr(item, key)) for n, item in enumerate(items)])
    parts: list[tuple[Path_, str]] = [(("drive", "shafts", n, "name"), s.name) for n, s in enumerate(model.drive.shafts)]
    parts += [(("drive", "meshes", n, "name"), mesh.name) for n, mesh in enumerate(model.drive.meshes)]
    parts += [(("drive", "bearings", n, "name"), bearing.name) for n, bearing in enumerate(model.drive.bearings)]
    shafts_only = len(model.drive.shafts)
    seen_shafts = {name for _, name in parts[:shafts_only]}
    yield from _twice(source, [*_first_of_each(parts[:shafts_only], seen_shafts), *parts[shafts_only:]])


def _first_of_each(parts: list[tuple[Path_, str]], names: set[str]) -> list[tuple[Path_, str]]:
    """Shafts once each: doubles among them are reported by their own list."""
    left = set(names)
    return [left.remove(name) or (path, name) for path, name in parts if name in left]  # type: ignore[func-returns-value]


def _twice(source: Source, named: Iterable[tuple[Path_, str]]) -> Iterable[Problem]:
    first: dict[str, Path_] = {}
    for path, name in named:
        if name in first:
            yield source.problem(path, f"a name of its own; {source.where(first[name])} has it already")
        else:
            first[name] = path


def _names_of_nothing(source: Source, model: JobModel) -> Iterable[Problem]:
    drive = model.drive
    shafts = [shaft.name for shaft in drive.shafts] or [shaft.name for shaft in _shafts_of_a_ratio(drive)]
    bearings = [bearing.name for bearing in drive.bearings]
    points = [point.name for point in model.points]
    asked: list[tuple[Path_, str, list[str], str]] = [(("drive", "input", "shaft"), drive.input.shaft, shafts, "shaft")]
    for n, mesh in enumerate(drive.meshes):
        asked += [
            (("drive", "meshes", n, side, "shaft"), gear.shaft, shafts, "shaft")
            for side, gear in (("pinion", mesh.pinion), ("wheel", mesh.wheel))
        ]
    for n, bearing in enumerate(drive.bearings):
        asked.append((("drive", "bearings", n, "shaft"), bearing.shaft, shafts, "shaft"))
        if bearing.other_ring_shaft:
            asked.append((("drive", "bearings", n, "other_ring_shaft"), bearing.other_ring_shaft, shafts, "shaft"))
    asked += [(("points", n, "bearing"), p.bearing, bearings, "bearing") for n, p in enumerate(model.points) if p.bearing]
    asked += [(("recordings", n, "point"), r.point, points, "point") for n, r in enumerate(model.recordings) if r.point]
    for path, name, known, kind in asked:
        if name not in known:
            near = difflib.get_close_matches(name, known, n=1)
            hint = f"did you mean {near[0]}? " if near else ""
            there = f"the {kind}s are: {', '.join(known)}" if known else f"the job lists no {kind}s"
            yield source.problem(path, hint + there, given=f'"{name}"')


def _bearings(source: Source, drive: DriveModel) -> Iterable[Problem]:
    for n, mesh in enumerate(drive.meshes):
        if mesh.pinion.shaft == mesh.wheel.shaft:
            yield source.problem(("drive", "meshes", n, "wheel", "shaft"), "another shaft than the pinion's")
    for n, bearing in enumerate(drive.bearings):
        path: Path_ = ("drive", "bearings", n)
        geometry = {
            "elements": bearing.elements,
            "element_diameter": bearing.element_diameter,
            "pitch_diameter": bearing.pitch_diameter,
        }
        missing = [name for name, value in geometry.items() if value is None]
        if 0 < len(missing) < len(geometry):
            yield source.problem(path, f"geometry whole or not at all: {', '.join(missing)} missing", given=f'"{bearing.name}"')
        if bearing.other_ring_shaft == bearing.shaft:
            yield source.problem((*path, "other_ring_shaft"), "another shaft than the first ring's")
        if not 0 <= bearing.contact_angle < math.radians(89):
            yield source.problem((*path, "contact_angle"), "from 0 deg to below 89 deg")
        if not 0 <= bearing.spread < 0.5:
            yield source.problem((*path, "spread"), "from 0 % to below 50 %")
        if missing or bearing.element_diameter is None or bearing.pitch_diameter is None or bearing.elements is None:
            continue
        if bearing.element_diameter >= bearing.pitch_diameter:
            yield source.problem((*path, "element_diameter"), "less than the pitch diameter")
        elif bearing.elements * math.asin(bearing.element_diameter / bearing.pitch_diameter) > math.pi:
            most = int(math.pi / math.asin(bearing.element_diameter / bearing.pitch_diameter))
            yield source.problem((*path, "elements"), f"at most {most}: more do not fit round this pitch circle in one row")


def _train_problem(source: Source, drive: DriveModel, error: OutOfRange) -> Problem:
    named = str(error.value).strip("'")
    for n, shaft in enumerate(drive.shafts):
        if shaft.name == named:
            return source.problem(("drive", "shafts", n), error.rule, given=f"{error.name} '{named}'")
    return source.problem(("drive",), error.rule, given=f"{error.name} {error.value}")


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
