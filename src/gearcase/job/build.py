"""From the checked document to the drive model and its points, once, with every value's line kept.

Everything wrong with the file is said at once: by its form (`schema`), between its parts (`checks`), and here by trains that
contradict themselves.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from gearcase.checksums import sha256_of_bytes, sha256_of_data
from gearcase.drive.train import Drive
from gearcase.errors import BadInput, Problem
from gearcase.findings import Finding
from gearcase.install.housing import Bus, Housing, Kit
from gearcase.install.outage import Outage
from gearcase.install.points import Point
from gearcase.install.site import Conditions, NetworkSheet, Power
from gearcase.job.build_drive import build_drive, drive_findings, train_problems
from gearcase.job.build_inputs import Incoming, Input, build_incoming, build_inputs
from gearcase.job.build_kit import build_housing, build_kit, build_point
from gearcase.job.build_notify import Notify, build_notify
from gearcase.job.build_outage import build_outage
from gearcase.job.build_publish import Publish, build_publish
from gearcase.job.build_site import build_bus, build_conditions, build_network, build_power
from gearcase.job.checks import cross_check
from gearcase.job.profiles import read_profiles, unknown_profiles
from gearcase.job.read import FILE_NAME, Source, read_source, validate, validate_drive
from gearcase.job.retention_schema import Retention
from gearcase.job.schema import JobModel, RecordingModel
from gearcase.signal.recording import Circumstances

__all__ = ["SECTIONS", "Job", "RecordingEntry", "build", "load"]

SECTIONS = (*JobModel.model_fields, "profiles")


@dataclass(frozen=True)
class RecordingEntry:
    """A recording the job lists; `file` is relative to the job's folder, `lines` says where each of its keys stands."""

    file: str
    point: str
    channel: str
    rate_hz: float | None
    unit: str
    speed_hz: float | None
    start: str
    tachometer: str = ""
    taken: Circumstances = field(default_factory=Circumstances)
    where: str = ""
    lines: Mapping[str, str] = field(default_factory=dict)


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
    incoming : Incoming
        The ways in for what is not on the bus.
    recordings : tuple of RecordingEntry
    findings : tuple of Finding
        What is allowed but should be looked at.
    housing, kit, bus : Housing, Kit, Bus
        Empty where the file is silent.
    conditions, power, network : Conditions, Power, NetworkSheet or None
        The place, what feeds the kit, and the network sheet, None where there is none.
    outage : Outage
        Its day, windows, crew and what must be asked before; empty where the file is silent.
    store : str
        Address of the database that keeps what its watch reads; empty where that is a file in its folder.
    retention : Retention
        How long what is read is kept whole; for good where the file is silent.
    publish : Publish
        How the plant is told; nothing where the file is silent.
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
    incoming: Incoming
    recordings: tuple[RecordingEntry, ...]
    findings: tuple[Finding, ...]
    housing: Housing
    kit: Kit
    bus: Bus
    conditions: Conditions
    power: Power
    network: NetworkSheet | None
    outage: Outage
    store: str
    retention: Retention
    publish: Publish
    notify: Notify
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
    profiles = read_profiles(Path(folder))
    problems += [*cross_check(source, profiles.by_name), *unknown_profiles(source, profiles), *profiles.problems]
    plan = model.drive if model else validate_drive(source)
    drive = None
    if plan and not any(problem.key.startswith("drive") for problem in problems):
        drive = build_drive(source, plan)
        problems += train_problems(source, drive)
    if problems or model is None or drive is None:
        raise BadInput(sorted(problems, key=_place))
    return Job(
        folder=folder,
        title=model.title or model.site.drive_tag or model.drive.name,
        site=model.site.model_dump(exclude={"conditions"}),
        drive=drive,
        points=tuple(build_point(source, n, point) for n, point in enumerate(model.points)),
        inputs=build_inputs(source, model.inputs),
        incoming=build_incoming(model.incoming, folder),
        recordings=tuple(_recording(source, n, entry) for n, entry in enumerate(model.recordings)),
        findings=tuple(drive_findings(source, model.drive, drive)),
        housing=build_housing(source, model.housing),
        kit=build_kit(source, model.kit),
        bus=build_bus(source, model.bus, profiles.by_name),
        conditions=build_conditions(model.site.conditions),
        power=build_power(model.power),
        network=build_network(model.network),
        outage=build_outage(model.outage),
        notify=build_notify(Path(folder), model.notify),
        store=model.store,
        retention=Retention(model.retention.whole, model.retention.minutes),
        publish=build_publish(Path(folder), model.publish, tag=model.site.drive_tag or model.title or model.drive.name),
        sections={**source.data, "profiles": [dict(row) for row in profiles.own]} if profiles.own else source.data,
        text_sha256=sha256_of_bytes(source.text.encode()),
    )


def _place(problem: Problem) -> tuple[bool, str, int]:
    """The job file first, then its profiles; each by its lines."""
    file, _, line = problem.where.rpartition(":")
    return file != FILE_NAME, file, int(line) if line.isdecimal() else 0


def _recording(source: Source, index: int, model: RecordingModel) -> RecordingEntry:
    where = source.where(("recordings", index))
    said = (model.rate, model.unit, model.speed, model.start, model.tachometer)
    lines = {key: source.where(("recordings", index, key)) for key in RecordingModel.model_fields}
    taken = Circumstances(model.direction or "", model.state or "", model.load, model.oil_temperature)
    return RecordingEntry(model.file, model.point, model.channel, *said, taken, where=where, lines=lines)
