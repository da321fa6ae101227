"""Survey: what is this drive, what lines can it show, what must be recorded, what can be seen, what is still unknown."""

from collections.abc import Iterable, Iterator
from typing import Any

from gearcase import tables
from gearcase.drive.bearing_estimate import ESTIMATE_TABLES
from gearcase.drive.bearings import Bearing, Candidate, CountRule
from gearcase.drive.crossings import crossings
from gearcase.drive.line import Line
from gearcase.drive.lines import expected_lines
from gearcase.drive.power import power_flow
from gearcase.drive.speeds import shaft_orders, undetermined
from gearcase.drive.train import Drive
from gearcase.findings import Finding, Level
from gearcase.install.coverage import coverage
from gearcase.job.build import Job
from gearcase.judge.zones import applicable
from gearcase.signal.recording import Recording
from gearcase.stages.bands import running_bands
from gearcase.stages.inferred import infer
from gearcase.stages.measuring import acceptance_document, measurement
from gearcase.stages.questions import contradictions, counts_words, open_questions
from gearcase.stages.result import StageResult, finding_document, has_blocker
from gearcase.stages.workings import line_workings
from gearcase.units import percent
from gearcase.worked import Worked

__all__ = ["SECTIONS_READ", "run"]

SECTIONS_READ = ("site", "drive", "points", "inputs", "housing", "kit", "bus", "power", "network", "outage")


def run(job: Job, recordings: Iterable[Recording] = ()) -> StageResult:
    """Survey a job, with what its recordings tell of what is unknown.

    Returns
    -------
    StageResult
        Document ``survey/1``; `wrong` when a finding is a blocker.
    """
    drive = job.drive
    lines = expected_lines(drive)
    workings = line_workings(drive, lines)
    acceptance = applicable(power=drive.ratings.power, speed_hz=drive.speed_hz, support=drive.ratings.support)
    bands = running_bands(job)
    record, about_records = measurement(job, lines, acceptance, bands)
    told, about_told, heard = infer(job, recordings)
    findings = (*job.findings, *_speed_findings(job), *_wide_bands(drive, lines), *about_records, *about_told)
    seen = coverage(drive, job.points, lines, bands=bands, lowest_speed_hz=drive.speed_hz[0], highest_speed_hz=drive.speed_hz[1])
    document = {
        "schema": "survey/1",
        "job": job.title,
        "drive": _drive_document(drive),
        "lines": [_line_document(line, workings[line.name], drive) for line in lines],
        "measurement": record,
        "acceptance": acceptance_document(acceptance),
        "crossings": [vars(row) for row in crossings(lines, service_hz=drive.speed_hz)],
        "points": [{"name": point.name, **vars(band)} for point in job.points if (band := bands[point.name]) is not None],
        "coverage": [vars(row) for row in seen],
        "inferred": told,
        "unknown": open_questions(job),
        "contradictions": contradictions(job),
        "findings": [finding_document(finding) for finding in findings],
    }
    read = (*job.sources(SECTIONS_READ), *heard, *tables.sources("mounts", "vibration_zones", *ESTIMATE_TABLES))
    return StageResult("survey", document, read, wrong=has_blocker(findings))


def _drive_document(drive: Drive) -> dict[str, Any]:
    orders = shaft_orders(drive)
    ratings = drive.ratings
    flow = _power_through_meshes(drive)
    return {
        "name": drive.name,
        "reference_shaft": drive.reference_shaft,
        "rated_speed_hz": drive.rated_speed_hz,
        "speed_range_hz": list(drive.speed_hz),
        "shafts": [
            {
                "name": shaft.name,
                "end": shaft.end,
                "carrier": shaft.carrier,
                "count": shaft.count,
                "held": shaft.held,
                "sense_known": shaft.name in orders and orders[shaft.name].sense_known,
                "order": orders[shaft.name].order if shaft.name in orders else None,
                "hz": abs(orders[shaft.name].order) * drive.rated_speed_hz if shaft.name in orders else None,
            }
            for shaft in drive.shafts
        ],
        "meshes": [
            {
                "name": mesh.name,
                "pinion_shaft": mesh.pinion_shaft,
                "wheel_shaft": mesh.wheel_shaft,
                "pinion_teeth": mesh.pinion_teeth,
                "wheel_teeth": mesh.wheel_teeth,
                "kind": mesh.kind,
                "group": mesh.group,
                "power_w": flow.get(mesh.name),
            }
            for mesh in drive.meshes
        ],
        "belts": [
            {
                "name": belt.name,
                "kind": belt.kind,
                "driver_shaft": belt.driver_shaft,
                "driven_shaft": belt.driven_shaft,
                "driver_size": belt.driver_size,
                "driven_size": belt.driven_size,
            }
            for belt in drive.belts
        ],
        "motor": None if drive.motor is None else {"shaft": drive.motor.shaft, "poles": drive.motor.poles},
        "passing_parts": [
            {"name": part.name, "shaft": part.shaft, "kind": part.kind, "count": part.count} for part in drive.passing_parts
        ],
        "bearings": [
            {
                "name": bearing.name,
                "shaft": bearing.inner_shaft or bearing.outer_shaft,
                "other_shaft": bearing.outer_shaft if bearing.inner_shaft else None,
                "turning": "inner" if bearing.inner_shaft else "outer",
                "designation": bearing.designation,
                "geometry_known": bool(bearing.candidates),
                "geometry": _geometry_words(bearing),
            }
            for bearing in drive.bearings
        ],
        "ratings": {
            "power_w": ratings.power,
            "ratio": ratings.ratio,
            "ratio_spread": ratings.ratio_spread,
            "input_speed_hz": ratings.input_speed_hz,
            "output_speed_hz": ratings.output_speed_hz,
            "support": ratings.support,
        },
    }


def _power_through_meshes(drive: Drive) -> dict[str, float]:
    """Rated power each mesh carries [W]; empty where the plate or the train does not say."""
    ends = {shaft.end: shaft.name for shaft in drive.shafts if shaft.end}
    reached = shaft_orders(drive)
    if drive.ratings.power is None or not {"input", "output"} <= ends.keys():
        return {}
    if not all(end in reached and reached[end].order for end in ends.values()):
        return {}
    flow = power_flow(drive, power=drive.ratings.power, input_shaft=ends["input"], output_shaft=ends["output"])
    return {name: round(max(map(abs, shares.values())), 3) for name, shares in flow.items()}  # mW: no digits of rounding


def _line_document(line: Line, working: Worked, drive: Drive) -> dict[str, Any]:
    low, high = (line.hz(speed) for speed in drive.speed_hz)
    return {
        "name": line.name,
        "component": line.component,
        "kind": line.kind,
        "harmonic": line.harmonic,
        "order": line.order,
        "reference_shaft": line.reference_shaft,
        "hz": line.hz(drive.rated_speed_hz),
        "fixed_hz": line.fixed_hz,
        "sideband_shaft": line.sideband_shaft,
        "sideband_pair": line.sideband_pair,
        "sideband_of": line.sideband_of,
        "sideband_rate": line.sideband_rate,
        "hz_range": [min(low, high) * (1 - line.spread), max(low, high) * (1 + line.spread)],
        "origin": str(line.origin),
        "working": working.as_dict(),
    }


def _speed_findings(job: Job) -> tuple[Finding, ...]:
    return (*_speed_input(job), *_unreached_shafts(job.drive))


def _unreached_shafts(drive: Drive) -> tuple[Finding, ...]:
    unknown = undetermined(drive)
    if not unknown:
        return ()
    seen = "lines, record length and coverage speak of the other shafts only"
    says = f"the speed of {', '.join(unknown)} is not known: {seen}; {next(iter(unknown.values()))}"
    return (Finding(Level.CAUTION, "survey.unknown_speed", "drive.shafts", says),)


def _wide_bands(drive: Drive, lines: tuple[Line, ...]) -> Iterator[Finding]:
    """Bearings of which so little is known that a race may pass where the other may: found there, neither can be named."""
    for bearing in drive.bearings:
        races = {
            (line.candidate, line.kind): (line.order * (1 - line.spread), line.order * (1 + line.spread), line.spread)
            for line in lines
            if line.component == bearing.name and line.kind in ("outer_race", "inner_race") and line.harmonic == 1
        }
        for make in dict.fromkeys(make for make, _ in races):
            (_, outer_high, spread), (inner_low, _, _) = races[make, "outer_race"], races[make, "inner_race"]
            if outer_high > inner_low > 0:
                part = f"{bearing.name} ({make})" if make else bearing.name
                says = (
                    f"{part}: its race rates are known to {percent(spread)} only, and the bands of its two races meet: too wide "
                    "to name a race; count its elements, or ask for the maker's geometry"
                )
                yield Finding(Level.CAUTION, "survey.wide_band", bearing.where, says)


def _speed_input(job: Job) -> tuple[Finding, ...]:
    told = any(entry.kind == "speed" for entry in job.inputs) or any(one.profile == "drive inputs" for one in job.bus.devices)
    if job.drive.speed_hz[0] != job.drive.speed_hz[1] and not told:
        says = (
            "the drive runs over a range of speeds and the job names no speed input: every recording needs its speed, "
            "or the lines cannot be placed"
        )
        return (Finding(Level.CAUTION, "survey.speed_input", "inputs", says),)
    return ()


def _geometry_words(bearing: Bearing) -> str:
    """How the inside of a bearing is known, for people."""
    return (
        "; ".join(f"{one.name}: {_shape_words(one)}" if one.name else _shape_words(one) for one in bearing.candidates) or "unknown"
    )


def _shape_words(candidate: Candidate) -> str:
    shape = candidate.shape
    if isinstance(shape, CountRule):
        return f"rule of thumb by {shape.elements} elements"
    if not shape.between:
        return f"{shape.elements} elements of {1000 * shape.element_diameter:.4g} mm, {shape.origin}"
    sizes = [1000 * end.element_diameter for end in shape.between]
    return (
        f"{counts_words(shape)} of {min(sizes):.3g} to {max(sizes):.3g} mm on a pitch circle of "
        f"{1000 * shape.pitch_diameter:.4g} mm, from {candidate.designation}"
    )
