"""The measurement part of a survey: two records, what they collide in, whether sensors, mounts and bus are up to them."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from gearcase.drive.collisions import CURES, collisions
from gearcase.drive.line import Line
from gearcase.drive.measurement import LONGEST_RECORD, MeasurementPlan, Record, measurement_plan, tooth_record
from gearcase.drive.train import Drive
from gearcase.findings import Finding, Level
from gearcase.install.bus import record_interval, waveform_time
from gearcase.install.coverage import ENVELOPE_BAND_HZ
from gearcase.install.mounting import Sight, mount_names, mount_sight
from gearcase.install.points import Point
from gearcase.install.sensing import (
    LEAST_OVER_NOISE,
    NOISE_DENSITY,
    acceleration_of_line,
    expected_peak,
    line_over_noise,
    velocity_noise,
)
from gearcase.job.build import Job
from gearcase.judge.practice import PINION_TEETH
from gearcase.judge.zones import GEAR_UNITS, STAND_IN, Acceptance
from gearcase.signal.spectrum import SLOW_OVERALL_FROM_HZ
from gearcase.stages.row import teeth_wanted
from gearcase.units import show
from gearcase.worked import Given, Origin, Worked, work

__all__ = ["acceptance_document", "measurement"]

BAUDS_SHOWN = (19200, 115200)  # where the job names no bus: a common slow one and a common fast one
BAND_FROM_HZ, BAND_TO_HZ = 10.0, 1000.0  # ISO 10816-3
ASSUMED_VELOCITY = 1e-3  # m/s, of a slow shaft where no zone applies; common practice, no source


@dataclass(frozen=True)
class _Slow:
    """A shaft at or below 600 rpm: its 1x at the lowest speed [Hz], and how far that stands over the sensor's noise [-]."""

    shaft: str
    hz: float
    over_noise: Worked


def measurement(
    job: Job, lines: tuple[Line, ...], acceptance: Acceptance, bands: Mapping[str, Sight | None]
) -> tuple[dict[str, Any], tuple[Finding, ...]]:
    """The `measurement` of a survey's document, and what has to be said of it; `bands` are what the points see while it runs."""
    plan = measurement_plan(job.drive, lines)
    records = [plan.short, plan.long]
    if teeth_wanted(job.drive):
        records.append(tooth_record(lines, speed_hz=job.drive.speed_hz, most_teeth=PINION_TEETH[1]))
    expected = _expected_peak(job.drive, lines, acceptance)
    slow = _slow_shafts(job.drive, lines, acceptance, plan.long)
    bus = _bus(job, plan)
    met = collisions(
        lines,
        speed_hz=job.drive.speed_hz,
        records=[(record.highest.value, record.length.value) for record in records],
    )
    document = {
        "highest_frequency_hz": plan.short.highest.as_dict(),
        "sample_rate_hz": plan.short.rate.as_dict(),
        "record_length_s": plan.long.needed.as_dict(),
        "records": [_record_document(record) for record in records],
        "hunting_teeth": [{"mesh": tooth.mesh, "needed_s": tooth.needed.as_dict(), "held": tooth.held} for tooth in plan.hunting],
        "collisions": [
            {
                "lines": [pair.first, pair.second],
                "kind": pair.kind,
                "speed_hz": pair.speed_hz,
                "gap_hz": pair.gap_hz,
                "record_length_s": pair.record_length,
                "alike": pair.alike,
                "cure": CURES[pair.kind],
            }
            for pair in met
        ],
        "expected_peak": expected.as_dict() if expected else None,
        "ranges": [
            {"point": point.name, "range": point.sensor.range, "enough": _enough(point, expected)}
            for point in job.points
            if point.sensor.kind == "waveform"
        ],
        "reach": _reach(job, lines, plan, bands),
        "slow_shafts": [{"shaft": row.shaft, "hz": row.hz, "over_noise": row.over_noise.as_dict()} for row in slow],
        "bus": bus,
    }
    findings = (
        *_record_findings(plan),
        *_range_findings(job, expected),
        *_slow_findings(slow, plan.long),
        *_bus_findings(bus),
    )
    return document, findings


def acceptance_document(acceptance: Acceptance) -> dict[str, Any]:
    """The `acceptance` of a survey's document."""
    return {
        "judged": acceptance.judged,
        "tables": [
            {
                "standard": table.standard,
                "group": table.group,
                "meaning": table.meaning,
                "support": table.support,
                "boundaries_m_s": list(table.boundaries),
                "source": table.source,
                "basis": table.basis,
            }
            for table in acceptance.tables
        ],
        "why": list(acceptance.why),
        "band_hz": list(acceptance.band_hz),
        "stand_in": STAND_IN,
        "gear_units": GEAR_UNITS,
    }


def _record_document(record: Record) -> dict[str, Any]:
    return {
        "name": record.name,
        "purpose": record.purpose,
        "highest_hz": record.highest.as_dict(),
        "rate_hz": record.rate.as_dict(),
        "needed_s": record.needed.as_dict(),
        "samples": record.samples.as_dict(),
        "length_s": record.length.as_dict(),
        "resolution_hz": record.resolution.as_dict(),
        "spectral_lines": record.spectral_lines.as_dict(),
        "steadiness": record.steadiness.as_dict(),
        "averages": record.averages.as_dict(),
        "error": record.error.as_dict(),
        "turns": record.turns,
    }


def _record_findings(plan: MeasurementPlan) -> list[Finding]:
    findings = []
    if plan.long.needed.value > LONGEST_RECORD:
        says = (
            f"twenty turns of the slowest shaft take {plan.long.needed.value:.0f} s: hold speed and load that long, or record "
            "with a pulse a turn and average by turns"
        )
        findings.append(Finding(Level.CAUTION, "survey.long_record", "drive", says, plan.long.needed))
    for tooth in plan.hunting:
        if not tooth.held:
            says = (
                f"three periods of its hunting tooth take {tooth.needed.value:.0f} s, longer than the {LONGEST_RECORD:.0f} s a "
                "drive can be asked to hold its speed: left out of the records; look for it with a pulse a turn where it matters"
            )
            findings.append(Finding(Level.NOTE, "survey.hunting_tooth", tooth.mesh, says, tooth.needed))
    return findings


def _expected_peak(drive: Drive, lines: tuple[Line, ...], acceptance: Acceptance) -> Worked | None:
    """Peak acceleration when the whole velocity of the C/D boundary is in the highest mesh line; None without mesh or zone."""
    meshes = [line for line in lines if line.kind == "mesh" and line.harmonic == 1]
    if not meshes or not acceptance.tables:
        return None
    top = max(meshes, key=lambda line: line.hz(drive.speed_hz[1]))
    table = max(acceptance.tables, key=lambda table: table.boundaries[2])
    return work(
        "peak acceleration to expect",
        expected_peak,
        rms=work(
            f"RMS acceleration of the {top.name}",
            acceleration_of_line,
            line_hz=Given(f"{top.name} at the highest speed", top.hz(drive.speed_hz[1]), "Hz", Origin.CALCULATED),
            velocity=Given(f"C/D boundary, {_named(table.group, table.support)}", table.boundaries[2], "m/s", Origin.ASSUMED),
        ),
    )


def _named(group: str, support: str) -> str:
    named = group if group.startswith("class") else f"group {group}"
    return f"{named}, {support}" if support else named


def _enough(point: Point, expected: Worked | None) -> bool | None:
    if expected is None or point.sensor.range is None:
        return None
    return point.sensor.range >= expected.value


def _range_findings(job: Job, expected: Worked | None) -> list[Finding]:
    if expected is None:
        return []
    findings = []
    wanted = _acceleration(expected.value)
    for point in job.points:
        held = point.sensor.range
        if point.sensor.kind != "waveform" or (held is not None and held >= expected.value):
            continue
        if held is None:
            says = f"nobody has said the sensor's range: {wanted} or more is wanted"
            findings.append(Finding(Level.NOTE, "survey.sensor_range", point.name, says, expected))
        else:
            says = (
                f"the sensor ends at {_acceleration(held)} and a drive at the C/D boundary may reach {wanted}: it clips, and "
                "a clipped record cannot be judged; take the next larger range"
            )
            findings.append(Finding(Level.CAUTION, "survey.sensor_range", point.name, says, expected))
    return findings


def _acceleration(value: float) -> str:
    return f"{value:.0f} m/s² ({show(value, 'acceleration', 'g', 3)})"


def _slow_shafts(drive: Drive, lines: tuple[Line, ...], acceptance: Acceptance, long: Record) -> list[_Slow]:
    """Shafts at or below 600 rpm at the lowest speed, slowest first: their 1x over the sensor's noise in the long record."""
    if acceptance.tables:
        table = min(acceptance.tables, key=lambda table: table.boundaries[0])
        velocity = Given(f"A/B boundary, {_named(table.group, table.support)}", table.boundaries[0], "m/s", Origin.ASSUMED)
    else:
        velocity = Given("velocity of a slow shaft, no zone applies", ASSUMED_VELOCITY, "m/s", Origin.ASSUMED)
    speeds = [(line.component, line.hz(drive.speed_hz[0])) for line in lines if line.kind == "shaft" and line.harmonic == 1]
    return [
        _Slow(
            shaft,
            hz,
            work(
                f"1x of {shaft} over the sensor's noise",
                line_over_noise,
                rms=work(
                    f"RMS acceleration of {shaft} 1x",
                    acceleration_of_line,
                    line_hz=Given(f"{shaft} 1x at the lowest speed", hz, "Hz", Origin.CALCULATED),
                    velocity=velocity,
                ),
                density=Given("noise density, the data sheet decides", NOISE_DENSITY, "m/s2/√Hz", Origin.ASSUMED),
                length_s=long.length,
            ),
        )
        for shaft, hz in sorted(speeds, key=lambda pair: pair[1])
        if hz <= BAND_FROM_HZ
    ]


def _slow_findings(slow: list[_Slow], long: Record) -> list[Finding]:
    """One finding a rule, for all the shafts it concerns, slowest first."""
    below = [row for row in slow if row.hz < SLOW_OVERALL_FROM_HZ]
    outside = [row for row in slow if row.hz >= SLOW_OVERALL_FROM_HZ]
    noisy = [row for row in slow if row.over_noise.value < LEAST_OVER_NOISE]
    findings = []
    if below:
        shaft, hz, over = below[0].shaft, below[0].hz, below[0].over_noise
        noise = work(
            f"velocity that sensor noise makes from {hz:.2g} Hz",
            velocity_noise,
            density=over.inputs["density"],
            lowest_hz=Given(f"{shaft} 1x at the lowest speed", hz, "Hz", Origin.CALCULATED),
            highest_hz=Given("end of the band", BAND_TO_HZ, "Hz", Origin.ASSUMED),
        )
        says = (
            f"1x at {_hertz(below)} at the lowest speed: below {SLOW_OVERALL_FROM_HZ:.0f} Hz no overall velocity holds it, and "
            f"a band opened down to {hz:.2g} Hz fills with drift and noise ({1000 * noise.value:.2g} mm/s of sensor noise alone); "
            "judge by the lines in the long record, with a sensor that begins below the 1x"
        )
        findings.append(Finding(Level.CAUTION, "survey.low_speed", _names(below), says, noise))
    if outside:
        says = (
            f"1x at {_hertz(outside)} at the lowest speed, outside the overall of 10 to 1000 Hz: a green overall says nothing of "
            "it; take the overall from 2 Hz (ISO 10816-3 at or below 600 rpm, from memory) and note the band"
        )
        findings.append(Finding(Level.NOTE, "survey.overall_band", _names(outside), says))
    if noisy:
        over = noisy[0].over_noise
        lacking = LEAST_OVER_NOISE / over.value
        says = (
            f"1x only {over.value:.2g} times the noise of a common sensor in the long record: {long.length.value * lacking**2:.0f} "
            f"s would show it, or a sensor of {lacking:.2g} times less noise"
        )
        findings.append(Finding(Level.CAUTION, "survey.low_speed_noise", _names(noisy), says, over))
    return findings


def _names(rows: list[_Slow]) -> str:
    return ", ".join(row.shaft for row in rows)


def _hertz(rows: list[_Slow]) -> str:
    return ", ".join(f"{row.hz:.2g}" for row in rows) + " Hz"


def _reach(job: Job, lines: tuple[Line, ...], plan: MeasurementPlan, bands: Mapping[str, Sight | None]) -> dict[str, Any]:
    """How each point, and each mount there is, shows the highest that each record wants."""
    tops = [line.hz(job.drive.speed_hz[1]) for line in lines]  # a converter's carrier may stand above every record
    wanted = [
        ("long and slow, highest line", plan.long.highest.value),
        ("short and fast, highest line", max(hz for hz in tops if hz <= plan.short.highest.value)),
    ]
    if job.drive.bearings:
        wanted.append(("short and fast, envelope band", ENVELOPE_BAND_HZ))
    return {
        "wanted": [{"what": what, "hz": hz} for what, hz in wanted],
        "points": [
            {
                "point": point.name,
                "mount": point.mount,
                "grades": [band.grade(hz) if band else "not stated" for _, hz in wanted],
            }
            for point, band in ((point, bands[point.name]) for point in job.points)
            if point.sensor.kind == "waveform"
        ],
        "mounts": [{"mount": mount, "grades": [mount_sight(mount).grade(hz) for _, hz in wanted]} for mount in mount_names()],
    }


def _bus(job: Job, plan: MeasurementPlan) -> dict[str, Any]:
    """What fetching the records through registers costs: an axis at each baud; each device and the whole where the bus is known."""
    points = {point.name: point for point in job.points if point.sensor.kind == "waveform"}
    devices = [(device, points[device.point]) for device in job.bus.devices if device.point in points]
    delay = Given("device delay", job.bus.device_delay, "s", Origin.ASSUMED)

    def axis(record: Record, baud: int) -> Worked:
        return work(
            f"an axis of {record.name} at {baud} baud",
            waveform_time,
            baud=Given("baud", float(baud), "1/s", Origin.ASSUMED),
            samples=record.samples,
            device_delay=delay,
        )

    bauds = (job.bus.baud,) if devices else BAUDS_SHOWN
    times = {(record.name, baud): axis(record, baud) for record in (plan.short, plan.long) for baud in bauds}
    one = sum(time.value for time in times.values())
    total = sum(point.sensor.axes * one for _, point in devices)
    interval = (
        work("shortest interval", record_interval, records_s=Given("both records of all axes", total, "s", Origin.CALCULATED))
        if devices
        else None
    )
    return {
        "axis": [{"record": name, "baud": baud, "axis_s": time.as_dict()} for (name, baud), time in times.items()],
        "devices": [
            {"device": device.name, "point": point.name, "axes": point.sensor.axes, "records_s": point.sensor.axes * one}
            for device, point in devices
        ],
        "total_s": total if devices else None,
        "interval_s": interval.as_dict() if interval else None,
    }


def _bus_findings(bus: dict[str, Any]) -> list[Finding]:
    if bus["interval_s"] is None:
        return []
    says = (
        f"both records of every axis take {bus['total_s'] / 60:.0f} min to fetch, so one set every "
        f"{bus['interval_s']['value'] / 60:.0f} min at best with half of the bus left to readings; record on change, take fewer "
        "axes or shorter records, or fetch over Ethernet, where that is too slow"
    )
    return [Finding(Level.NOTE, "survey.bus_time", "bus", says)]
