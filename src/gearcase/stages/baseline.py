"""Baseline: what is usual for this drive, and which limits follow? From stored readings, gated by run state.

Readings become means of a minute, the records the alarm looks at. With a week of runs the drive's own records set the limits,
before that the zones and fixed figures do. A drive that ran for years may be faulty already: a baseline over the B/C boundary
is refused, unless an approver accepts the defect and says why; and every limit expires.
"""

from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from math import ceil
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gearcase import tables
from gearcase.checksums import sha256_of_bytes
from gearcase.errors import BadInput, Problem
from gearcase.findings import Finding, Level
from gearcase.job.build import Job
from gearcase.judge.alarm import CLEAR_AFTER, RULES, Persistence, Rule
from gearcase.judge.bootstrap import FalseAlarms, episodes_by_run, false_alarms_per_year
from gearcase.judge.limits import (
    DAY_ONE_EXPIRES,
    Limit,
    day_one_overall,
    day_one_temperature,
    one_week,
    one_week_overall,
    what_lacks,
)
from gearcase.judge.steady import RunState, run_states
from gearcase.judge.zones import STAND_IN, Rating, applicable, rate
from gearcase.record.store import Readings
from gearcase.stages.result import StageResult, finding_document, has_blocker

__all__ = ["KNOWN_DEFECT", "NORMAL", "REFUSED", "run"]

NORMAL, KNOWN_DEFECT, REFUSED = "normal", "accepted with known defect", "refused"
SUMP = "sump"  # where the oil's temperature is read; no measuring point of the job
MINUTE, YEAR_HOURS = 60.0, 8766.0
SPEED_BAND = 0.05  # steady speed, of its median; common practice, no source
STANDSTILL = 0.1  # of the lowest speed in service: slower is stopped; common practice, no source
SETTLED_SLOPE = 2.0 / 3600.0  # [K/s]; common practice, no source
MOST_FALSE_YELLOW = 1.0  # a drive-year; common practice, no source
SEED = 1  # of the bootstrap: the same readings give the same interval
OVERALL, TEMPERATURE, BAND, AMBIENT = "overall velocity", "temperature", "high-frequency acceleration", "ambient temperature"
_UNITS = {OVERALL: "m/s", TEMPERATURE: "K", BAND: "m/s2", "speed": "Hz", "running": "-", AMBIENT: "K"}
_TURNING = ("starting", "settling", "steady")


@dataclass(frozen=True)
class _Records:
    """Gated records of one quantity at one point."""

    point: str
    quantity: str
    time_s: NDArray[np.float64]
    value: NDArray[np.float64]
    run: NDArray[np.int64]

    @property
    def median(self) -> float:
        return float(np.median(self.value))


class _Minutes:
    """The readings as means of a minute, on one row of minutes for all."""

    def __init__(self, readings: Readings) -> None:
        self._readings, self._good = readings, (readings.quality == "good") & np.isfinite(readings.value)
        minute = np.floor(readings.time_s / MINUTE)
        self.minutes, self._at = np.unique(minute, return_inverse=True)
        self.time_s = self.minutes * MINUTE
        self.spacing = float(np.median(np.diff(self.time_s))) if len(self.time_s) > 1 else MINUTE

    def of(self, quantity: str, point: str | None = None) -> NDArray[np.float64]:
        """Means, NaN where there is none."""
        chosen = self._good & (self._readings.quantity == quantity)
        if point is not None:
            chosen &= self._readings.point == point
        count = np.bincount(self._at[chosen], minlength=len(self.minutes))
        total = np.bincount(self._at[chosen], weights=self._readings.value[chosen], minlength=len(self.minutes))
        means: NDArray[np.float64] = np.divide(total, count, out=np.full(len(count), np.nan), where=count > 0)
        return means

    def running(self) -> NDArray[np.float64]:
        """Run contact: 1 when it was closed for all of the minute; else what the watch noted while it read."""
        contact = self.of("running")
        if np.any(np.isfinite(contact)):
            return np.where(np.isnan(contact), np.nan, (contact >= 1.0).astype(float))
        noted = np.full(len(self.minutes), np.nan)
        noted[self._at[np.isin(self._readings.state, _TURNING)]] = 1.0
        noted[self._at[self._readings.state == "stopped"]] = 0.0
        return noted


def run(
    job: Job, readings: Readings, *, now: float, approver: str = "", reason: str = "", who: str = "", role: str = "technician"
) -> StageResult:
    """Take a baseline.

    Parameters
    ----------
    job : Job
    readings : Readings
        Of the job's points, with the drive's own ``running`` and ``speed``.
    now : float
        Unix time. [s]
    approver, reason : str
        Who accepts the limits; and why, where a defect is known.
    who, role : str
        Who proposes them, and as what.

    Raises
    ------
    BadInput
        No readings, units that are not SI, a reason without approver, or an approver who is the proposer.
    """
    _check(readings, approver, reason, who)
    draft = _Draft(job, _Minutes(readings), now, f"accepted by approver {approver}" if approver else f"proposed by {role}")
    draft.compare_points(_points(readings))
    gated = {point: draft.gate(point) for point in _points(readings)}
    over = draft.over_boundary([part for _, parts in gated.values() for part in parts])
    judged = any(state.duty.judged_minutes for state, _ in gated.values())
    accepted = bool(over and approver and reason)
    if not judged:
        says = "no settled minute in these readings: give running or speed, let it run until warm, then take the baseline again"
        draft.find(Level.BLOCKER, "baseline.nothing_judged", "drive", says)
    for part, zone in over:
        draft.find(
            Level.CAUTION if accepted else Level.BLOCKER, "baseline.over_boundary", part.point, _over_says(part, zone, accepted)
        )
    status = REFUSED if has_blocker(tuple(draft.findings)) else KNOWN_DEFECT if accepted else NORMAL
    points = []
    for point, (state, parts) in gated.items():
        lacks = what_lacks(state.duty, records=max((len(part.value) for part in parts if part.quantity != TEMPERATURE), default=0))
        points.append(_point_document(point, state, parts, lacks.lacks if lacks else ()))
        if status != REFUSED:
            draft.set_limits(state, parts, own=lacks is None, known_defect=accepted)
    document = {
        "schema": "baseline/1",
        "job": job.title,
        "status": status,
        "statement": _statement(job.title, status, draft, approver, reason),
        "readings": {"count": len(readings), "since": _date(readings.time_s[0]), "until": _date(readings.time_s[-1])},
        "role": draft.role,
        "approver": approver,
        "reason": reason,
        "expires": _date(min(limit["expires_s"] for limit in draft.limits)) if draft.limits else None,
        "points": points,
        "limits": draft.limits,
        "findings": [finding_document(finding) for finding in draft.findings],
    }
    read = (*job.sources(("drive", "points")), *tables.sources("vibration_zones"), _source(readings))
    arrays = {
        f"records-{number}": {"time_s": part.time_s, "value": part.value}
        for number, part in enumerate(part for _, parts in gated.values() for part in parts)
    }
    return StageResult("baseline", document, read, arrays, wrong=status == REFUSED)


class _Draft:
    """The baseline while it is being made."""

    def __init__(self, job: Job, minutes: _Minutes, now: float, role: str) -> None:
        self.job, self.minutes, self.now, self.role = job, minutes, now, role
        self.findings: list[Finding] = []
        self.limits: list[dict[str, Any]] = []
        ratings = job.drive.ratings
        self.zone = rate(0.0, power=ratings.power, speed_hz=job.drive.speed_hz, support=ratings.support)
        if self.zone is None:
            held = applicable(power=ratings.power, speed_hz=job.drive.speed_hz, support=ratings.support)
            says = f"overall velocity is not held against the zones: {'; '.join(held.why)}"
            self.find(Level.CAUTION, "baseline.no_zone", "nameplate", says)

    def find(self, level: Level, rule: str, where: str, says: str) -> None:
        self.findings.append(Finding(level, rule, where, says))

    def compare_points(self, read: list[str]) -> None:
        """Points of the job that were not read, and the other way round."""
        listed = [point.name for point in self.job.points]
        for name in sorted(set(listed) - set(read)):
            self.find(Level.CAUTION, "baseline.not_read", name, "no readings of this point: it has no limits and is not watched")
        for name in sorted(set(read) - {*listed, SUMP}):
            self.find(Level.CAUTION, "baseline.not_listed", name, "read, but no point of the job: list it, or correct its name")

    def gate(self, point: str) -> tuple[RunState, list[_Records]]:
        """Run state as seen from a point, and its records in the states that are judged."""
        minutes = self.minutes
        state = run_states(
            minutes.time_s,
            running=minutes.running(),
            speed_hz=minutes.of("speed"),
            temperature_k=minutes.of(TEMPERATURE, point),
            speed_band=SPEED_BAND,
            least_speed_hz=STANDSTILL * self.job.drive.speed_hz[0],
            slope_limit=SETTLED_SLOPE,
            longest_gap=max(2 * MINUTE, 3 * minutes.spacing),
        )
        found = []
        for quantity in RULES:
            values = minutes.of(quantity, point)
            gate = np.isin(state.labels, list(RULES[quantity].judged_in)) & np.isfinite(values)
            if np.any(np.isfinite(values)):
                found.append(_Records(point, quantity, minutes.time_s[gate], values[gate], state.run[gate]))
        if not state.temperature_seen:
            self.find(Level.NOTE, "baseline.no_temperature", point, "no temperature here: taken as settled with its speed")
        return state, found

    def over_boundary(self, parts: Iterable[_Records]) -> list[tuple[_Records, Rating]]:
        """Records whose own median is over the B/C boundary."""
        zone = self.zone
        overall = [part for part in parts if part.quantity == OVERALL and len(part.value)]
        return [(part, zone) for part in overall if zone is not None and part.median > zone.boundaries[1]]

    def set_limits(self, state: RunState, parts: Iterable[_Records], *, own: bool, known_defect: bool) -> None:
        for part in parts:
            limit = self._limit(part, own, known_defect) if len(part.value) else None
            if limit is not None:
                self._keep(limit, part, state, known_defect)

    def _limit(self, part: _Records, own: bool, known_defect: bool) -> Limit | None:
        point, role, now, runs = part.point, self.role, self.now, len(np.unique(part.run))
        if part.quantity == TEMPERATURE:
            ambient = self.minutes.of(AMBIENT)
            known = float(np.nanmedian(ambient)) if np.any(np.isfinite(ambient)) else None
            return day_one_temperature(point=point, ambient_k=known, role=role, now=now)
        if part.quantity == OVERALL and self.zone is not None:
            if own or known_defect:
                limit = one_week_overall(
                    part.value, point=point, zone=self.zone, runs=runs, known_defect=known_defect, role=role, now=now
                )
                return limit if own else replace(limit, kind="day-one")
            return day_one_overall(point=point, zone=self.zone, role=role, now=now)
        if not own:
            self.find(Level.NOTE, "baseline.evidence_only", point, f"{part.quantity}: evidence only until a week of runs is there")
            return None
        unit = _UNITS[part.quantity]
        return one_week(part.value, point=point, quantity=part.quantity, unit=unit, runs=runs, role=role, now=now)

    def _keep(self, limit: Limit, part: _Records, state: RunState, known_defect: bool) -> None:
        false = {name: self._false_alarms(limit, part, state, name) for name in ("yellow", "danger")}
        if false["yellow"] is not None and false["yellow"].per_year > MOST_FALSE_YELLOW:
            says = f"{limit.quantity}: {false['yellow'].per_year:.1f} yellows a year expected with nothing changed, more than 1"
            self.find(Level.CAUTION, "baseline.false_alarms", limit.point, says)
        expires = min(limit.expires, self.now + DAY_ONE_EXPIRES) if known_defect else limit.expires
        self.limits.append(
            {
                "point": limit.point,
                "quantity": limit.quantity,
                "state": limit.state,
                "unit": limit.unit,
                "kind": limit.kind,
                **{
                    name: worked.as_dict() if worked else None
                    for name, worked in (("yellow", limit.yellow), ("danger", limit.danger), ("low", limit.low))
                },
                "role": limit.role,
                "expires_s": expires,
                "expires": _date(expires),
                "note": limit.note,
                "false_alarms_per_year": {name: asdict(found) if found else None for name, found in false.items()},
            }
        )

    def _false_alarms(self, limit: Limit, part: _Records, state: RunState, name: str) -> FalseAlarms | None:
        """Through the alarm's own persistence; that of danger counts minutes, a second witness is not counted on."""
        worked, rule = (limit.yellow if name == "yellow" else limit.danger), RULES[part.quantity]
        if worked is None:
            return None
        spacing = self.minutes.spacing
        count, samples = episodes_by_run(
            part.value,
            part.run,
            limit=worked.value,
            clear_level=_clear_level(rule, worked.value),
            need=_minute_rule(rule, name).need,
            of=_minute_rule(rule, name).of,
            clear_after=ceil(CLEAR_AFTER / spacing),
        )
        span = (self.minutes.time_s[-1] - self.minutes.time_s[0] + spacing) / 3600
        judged = len(part.value) * spacing / 3600
        return false_alarms_per_year(
            count, samples, sample_hours=spacing / 3600, judged_hours_per_year=YEAR_HOURS * min(judged / span, 1.0), seed=SEED
        )


def _clear_level(rule: Rule, limit: float) -> float:
    return limit * rule.clear_share - rule.clear_step


def _minute_rule(rule: Rule, name: str) -> Persistence:
    """The persistence on records of a minute; half a minute over danger is one such record at least."""
    wanted = rule.danger if name == "danger" else rule.yellow
    return Persistence(MINUTE, 1, 1) if 0 < wanted.record_s < MINUTE else wanted


def _check(readings: Readings, approver: str, reason: str, who: str) -> None:
    problems = []
    if not len(readings):
        problems.append(Problem("readings", "", "none", "readings of the job's points, kept by the watch"))
    if reason and not approver:
        problems.append(Problem("--reason", "", repr(reason), "with --approver: who accepts it"))
    if approver and approver.strip().casefold() == who.strip().casefold():
        problems.append(Problem("--approver", "", repr(approver), "a second person: not the one who proposes"))
    for quantity, unit in _UNITS.items():
        wrong = set(readings.unit[readings.quantity == quantity]) - {unit}
        if wrong:
            problems.append(Problem("readings", quantity, ", ".join(sorted(map(str, wrong))), f"in {unit}"))
    if problems:
        raise BadInput(problems)


def _points(readings: Readings) -> list[str]:
    """Points at which something that can alarm was read."""
    return sorted({str(point) for point in readings.point[np.isin(readings.quantity, list(RULES))]})


def _over_says(part: _Records, zone: Rating, accepted: bool) -> str:
    fact = (
        f"its own overall of {1000 * part.median:.2f} mm/s is over the B/C boundary of {1000 * zone.boundaries[1]:.1f} mm/s "
        f"({STAND_IN})"
    )
    if accepted:
        return f"{fact}; accepted as a known defect for 30 days"
    return (
        f"{fact}: look for the fault first (diagnose, sister drive, oil sample); or an approver accepts it, with "
        "--approver NAME --reason TEXT"
    )


def _point_document(point: str, state: RunState, parts: Iterable[_Records], lacks: tuple[str, ...]) -> dict[str, Any]:
    return {
        "point": point,
        "duty": asdict(state.duty),
        "lacks_for_one_week": list(lacks),
        "quantities": [
            {
                "quantity": part.quantity,
                "unit": _UNITS[part.quantity],
                "records": len(part.value),
                "runs": len(np.unique(part.run)),
                "median": part.median if len(part.value) else None,
                "middle_90": [float(edge) for edge in np.quantile(part.value, [0.05, 0.95])] if len(part.value) else None,
            }
            for part in parts
        ],
    }


def _statement(title: str, status: str, draft: _Draft, approver: str, reason: str) -> str:
    if status == REFUSED:
        return f"{title}: baseline refused, no limits are set"
    kinds = sorted({limit["kind"] for limit in draft.limits if limit["quantity"] != TEMPERATURE})
    start = f"{title}: baseline {status}, limits {draft.role}, {' and '.join(kinds) or 'of temperature only'}"
    if status == KNOWN_DEFECT:
        start += f"; the reason of {approver}: {reason}"
    return f"{start}. Limits say nothing of gears and bearings; nothing here trips."


def _source(readings: Readings) -> dict[str, str]:
    columns = (readings.time_s, readings.value, readings.point, readings.quantity, readings.quality, readings.state)
    whole = b"".join(column.tobytes() for column in columns)
    what = f"readings {_date(readings.time_s[0])} to {_date(readings.time_s[-1])}"
    return {"what": what, "sha256": sha256_of_bytes(whole)}


def _date(time_s: float) -> str:
    return datetime.fromtimestamp(float(time_s), UTC).isoformat(timespec="seconds")
