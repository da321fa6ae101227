"""Survey: what is this drive, what lines can it show, what must be recorded, what can be seen, what is still unknown."""

from collections.abc import Iterable, Iterator
from typing import Any

from gearcase import tables
from gearcase.drive.bearing_estimate import ESTIMATE_TABLES
from gearcase.drive.bearings import Bearing, Candidate, CountRule, Geometry
from gearcase.drive.crossings import crossings
from gearcase.drive.line import Line
from gearcase.drive.lines import expected_lines
from gearcase.drive.power import power_flow
from gearcase.drive.speeds import shaft_orders, undetermined
from gearcase.drive.train import Drive
from gearcase.findings import Finding, Level
from gearcase.install.coverage import coverage
from gearcase.install.mounting import sight
from gearcase.install.points import Point
from gearcase.job.build import Job
from gearcase.judge.zones import applicable
from gearcase.signal.recording import Recording
from gearcase.stages.inferred import infer
from gearcase.stages.measuring import acceptance_document, measurement
from gearcase.stages.result import StageResult, finding_document, has_blocker
from gearcase.stages.workings import line_workings
from gearcase.units import percent
from gearcase.worked import Origin, Worked

__all__ = ["SECTIONS_READ", "open_questions", "run"]

SECTIONS_READ = ("drive", "points", "inputs", "bus")
_CONTRADICTIONS = ("job.ratio", "job.speeds")  # findings that two statements of the job exclude each other


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
    record, about_records = measurement(job, lines, acceptance)
    told, about_told, heard = infer(job, recordings)
    findings = (*job.findings, *_speed_findings(job), *_wide_bands(drive, lines), *about_records, *about_told)
    seen = coverage(drive, job.points, lines, lowest_speed_hz=drive.speed_hz[0], highest_speed_hz=drive.speed_hz[1])
    document = {
        "schema": "survey/1",
        "job": job.title,
        "drive": _drive_document(drive),
        "lines": [_line_document(line, workings[line.name], drive) for line in lines],
        "measurement": record,
        "acceptance": acceptance_document(acceptance),
        "crossings": [vars(row) for row in crossings(lines, service_hz=drive.speed_hz)],
        "points": [{"name": point.name, **vars(band)} for point in job.points if (band := sight(point)) is not None],
        "coverage": [vars(row) for row in seen],
        "inferred": told,
        "unknown": open_questions(job),
        "contradictions": _contradictions(job),
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


def _contradictions(job: Job) -> list[dict[str, str]]:
    """Statements of the job that exclude each other: open until somebody looks, and said first on every page that rests on them."""
    return [{"where": found.where, "says": found.says} for found in job.findings if found.rule in _CONTRADICTIONS]


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
    if job.drive.speed_hz[0] != job.drive.speed_hz[1] and not any(entry.kind == "speed" for entry in job.inputs):
        says = (
            "the drive runs over a range of speeds and the job names no speed input: every recording needs its speed, "
            "or the lines cannot be placed"
        )
        return (Finding(Level.CAUTION, "survey.speed_input", "inputs", says),)
    return ()


def open_questions(job: Job) -> list[dict[str, Any]]:
    """Questions for the site, in the order of the ask-for sheet; those that stop ordering are marked."""
    drive = job.drive
    questions: list[tuple[str, str, str, bool]] = [
        (f"{_how_to_settle(row['says'], drive)}: {row['says']}", row["where"], "with it every line behind it is wrong", False)
        for row in _contradictions(job)
    ]
    reached = shaft_orders(drive)
    for mesh in drive.meshes:
        for teeth, side in ((mesh.pinion_teeth, "pinion"), (mesh.wheel_teeth, "wheel")):
            if teeth is None:
                why = "places the mesh, its sidebands and the speeds behind it"
                questions.append((f"number of teeth of the {mesh.name} {side}", mesh.name, why, False))
    for shaft in drive.shafts:
        if shaft.name not in reached:
            why = "no line of this shaft or its bearings can be placed without its speed"
            questions.append((f"speed or ratio of shaft {shaft.name}", shaft.name, why, False))
    if not drive.meshes and drive.ratio_links:
        why = "without the teeth no mesh line can be placed, and gear faults stay unseen"
        questions.append(("number of stages and tooth counts of every gear", drive.name, why, False))
    for bearing in drive.bearings:
        questions += [(what, bearing.name, why, False) for what, why in _about_bearing(bearing)]
    ratings = drive.ratings
    geared = len(drive.shafts) > 1
    for value, what, why in (
        (ratings.power, "rated power", "decides which vibration zones apply"),
        (ratings.ratio if geared else 1.0, "nameplate ratio", "checks the tooth counts"),
        (ratings.support, "support: rigid or flexible", "decides which vibration zones apply"),
    ):
        if value is None:
            questions.append((what, "nameplate", why, False))
    questions += [(what, point.name, why, True) for point in job.points for what, why in _about_point(point)]
    if not job.points:
        questions.append(("where sensors can stand", "points", "no point, no coverage", True))
    questions += [(what, "site", why, blocks) for what, why, blocks in SITE_QUESTIONS]
    return [{"what": what, "where": where, "why": why, "blocks_ordering": blocks} for what, where, why, blocks in questions]


def _how_to_settle(says: str, drive: Drive) -> str:
    """What to do about a contradiction: whatever its two sides rest on."""
    if "tooth" not in says and "teeth" not in says:
        return "settle which of the two holds"
    pulleys = ", measure the pulleys" if drive.belts else ""
    return f"count the teeth{pulleys} and read the plate again"


def _about_bearing(bearing: Bearing) -> list[tuple[str, str]]:
    named = f"maker's geometry of {bearing.designation}" if bearing.designation else "designation on its ring or cap"
    if not bearing.candidates:
        return [(f"{named}: {bearing.name}", "places its fault lines; without it this bearing stays blind")]
    if len(bearing.candidates) > 1:
        makes = " or ".join(candidate.name for candidate in bearing.candidates)
        why = "settles which of their lines are its own; until then all are searched, and every claim is weaker for it"
        return [(f"which make is fitted: {makes}: {bearing.name}", why)]
    shape = bearing.candidates[0].shape
    if isinstance(shape, CountRule):
        why = "its rates are a rule of thumb by the number of elements, a tenth off: too wide to name a part by most times"
        return [(f"{named}: {bearing.name}", why)]
    if shape.origin in (Origin.ESTIMATED, Origin.ASSUMED):
        why = f"its geometry is {shape.origin}: a wrong one names the wrong part"
        if shape.between:
            count = "a count narrows it most, " if len(_counts(shape)) > 1 else ""
            why = f"its geometry is {_counts_words(shape)}: {count}the maker's figures settle it"
        return [(f"confirm the geometry of {bearing.name}", why)]
    return []


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
        f"{_counts_words(shape)} of {min(sizes):.3g} to {max(sizes):.3g} mm on a pitch circle of "
        f"{1000 * shape.pitch_diameter:.4g} mm, from {candidate.designation}"
    )


def _counts_words(estimate: Geometry) -> str:
    counts = _counts(estimate)
    return f"estimated, {counts[0]} to {counts[-1]} elements" if len(counts) > 1 else f"estimated, {counts[0]} elements counted"


def _counts(estimate: Geometry) -> list[int]:
    """Numbers of elements that an estimate leaves possible."""
    return sorted({end.elements for end in estimate.between})


def _about_point(point: Point) -> list[tuple[str, str]]:
    wanted = []
    if not point.mount:
        wanted.append((f"mount possible at {point.name}", "decides how high the sensor sees"))
    if point.sensor.highest_hz is None:
        wanted.append((f"highest frequency of the sensor at {point.name}", "decides which lines it sees"))
    if not point.bearing:
        wanted.append((f"which bearing housing {point.name} stands on", "decides what it sees directly"))
    return wanted


# What every visit needs and a job file does not hold: common practice, no source
SITE_QUESTIONS: tuple[tuple[str, str, bool], ...] = (
    (
        "who owns the drive, and may it be drilled (warranty, certificate, area class)?",
        "decides the kind of mount",
        True,
    ),
    ("photos of four sides and the top, with a rule in view", "places every part", True),
    (
        "bearing caps, and each plug with its thread gauged (pitch and angle)",
        "taper threads of two systems start and then leak",
        True,
    ),
    ("oil grade, level glass, running surface temperature", "decides adhesive, cable clips and mount bandwidth", True),
    ("guards, fan shroud, coupling and rotating parts near the housing", "clearance of 50 mm and access", True),
    ("motor plate and frequency converter plate", "electrical lines and bearing currents", False),
    ("nearest panel, socket and network point; who approves network access", "usually the longest wait", True),
    ("outage window, permits, lock-out points", "decides what fits the visit", True),
    ("backstop, counterweight or incline that holds load torque", "stored energy", False),
    ("a video of the drive running", "noise, leaks and what shakes", False),
)
