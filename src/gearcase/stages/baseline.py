"""Baseline: what is usual for this drive, and which limits follow? From stored readings, gated by run state.

Readings become means of a minute, the records the alarm looks at. Before a week of runs the zones and fixed figures set the
limits, then the drive's own records at each speed and load it is run at, after three months a regression on speed, load and oil
temperature; a ceiling by the zones stands beside what is the drive's own. Each limit says how often it would cry wolf, and how
long a growth goes unnoticed, by running the alarm itself over these records. A drive that ran for years may be faulty already: a
baseline over the B/C boundary is refused, unless an approver accepts the defect and says why; and every limit expires.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, replace
from datetime import datetime
from typing import Any

import numpy as np

from gearcase import tables
from gearcase.errors import BadInput, Problem
from gearcase.findings import Finding, Level
from gearcase.job.build import Job
from gearcase.judge.families import alarm_families
from gearcase.judge.forecast import began_and_is
from gearcase.judge.limits import DAY_ONE_EXPIRES, Limit, what_lacks
from gearcase.judge.operating import Operating
from gearcase.judge.settling import settling
from gearcase.judge.steady import RunState
from gearcase.judge.trend import trend
from gearcase.judge.zones import STAND_IN, Rating, applicable, rate
from gearcase.record.results import StoredResult
from gearcase.record.store import Readings
from gearcase.stages.limit_rows import SEED, Setting, TooLittle, limit_row, limits_of
from gearcase.stages.minutes import (
    AMBIENT,
    OVERALL,
    SUMP,
    TEMPERATURE,
    UNITS,
    Minutes,
    Records,
    date,
    points_read,
    source,
    wrong_units,
)
from gearcase.stages.one_figure import one_figure_notes
from gearcase.stages.result import StageResult, finding_document, has_blocker

__all__ = ["KNOWN_DEFECT", "NORMAL", "REFUSED", "named_faults", "run"]

NORMAL, KNOWN_DEFECT, REFUSED = "normal", "accepted with known defect", "refused"
MOST_FALSE_YELLOW, MOST_FALSE_DANGER = 1.0, 0.1  # a drive-year; common practice, no source
GROWN_DB = 3.0  # over the readings a limit is set by, beyond chance; the least that an alarm is set at, common practice, no source
LOOSER = 1.05  # times the yellow in force; less is the scatter of a median; common practice, no source
_IMPOSSIBLE = 1e6  # of any vibration in SI, far beyond any sensor; common practice, no source
_LEAST_ALIKE = 50  # records, as many as a week's limits want: no vibration stands so still; common practice, no source
_RUNS_FITTED, _MOST_FITTED, _LEAST_FITTED = 20, 600, 6  # runs, and minutes of each, through which a thermal lag is put


def run(
    job: Job,
    readings: Readings,
    *,
    now: float,
    approver: str = "",
    reason: str = "",
    who: str = "",
    role: str = "technician",
    in_force: Mapping[str, Any] | None = None,
    named: Sequence[tuple[str, str]] = (),
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
    in_force : mapping or None
        The ``baseline/1`` document whose limits are in force, none of which is loosened without approver and reason.
    named : sequence of (str, str)
        Point and words of each fault that stands in the drive (`named_faults`).

    Raises
    ------
    BadInput
        No readings, units that are not SI, a reason without approver, or an approver who is the proposer.
    """
    _check(readings, approver, reason, who)
    minutes, points = Minutes(readings), points_read(readings)
    draft = _Draft(job, minutes, now, f"accepted by approver {approver}" if approver else f"proposed by {role}")
    draft.held = [] if in_force is None or (approver and reason) else list(in_force["limits"])
    draft.compare_points(points)
    gated = {point: draft.gate(point) for point in points}
    over = draft.over_boundary([part for _, parts in gated.values() for part in parts])
    judged = any(state.duty.judged_minutes for state, _ in gated.values())
    accepted = bool(over and approver and reason)
    known = bool((over or named) and approver and reason)
    if not judged:
        says = "no settled minute in these readings: give running or speed, let it run until warm, then take the baseline again"
        draft.find(Level.BLOCKER, "baseline.nothing_judged", "drive", says)
    for part, zone in over:
        draft.find(
            Level.CAUTION if accepted else Level.BLOCKER, "baseline.over_boundary", part.point, _over_says(part, zone, accepted)
        )
    for point, says in named:
        draft.find(Level.CAUTION, "baseline.fault_named", point or "drive", _named_says(says, known))
    draft.findings += one_figure_notes(job.points, points, "baseline.one_figure")
    status = REFUSED if has_blocker(tuple(draft.findings)) else KNOWN_DEFECT if known else NORMAL
    rows = []
    for point, (state, parts) in gated.items():
        lacks = what_lacks(state.duty, records=max((len(part) for part in parts if part.quantity != TEMPERATURE), default=0))
        rows.append(
            {
                **_point_document(point, state, parts, lacks.lacks if lacks else ()),
                "settling": draft.settling(point, state),
                "families": draft.families(point),
            }
        )
        if status != REFUSED:
            draft.set_limits(parts, own=lacks is None, known_defect=accepted)
    expected = draft.expected_in_a_year()
    document = {
        "schema": "baseline/1",
        "job": job.title,
        "status": status,
        "statement": _statement(job.title, status, draft, approver, reason, named=bool(named)),
        "readings": {"count": len(readings), "since": date(readings.time_s[0]), "until": date(readings.time_s[-1])},
        "role": draft.role,
        "approver": approver,
        "reason": reason,
        "expires": date(min(limit["expires_s"] for limit in draft.limits)) if draft.limits else None,
        "points": rows,
        "limits": draft.limits,
        "false_alarms_a_drive_year": expected,
        "findings": [finding_document(finding) for finding in draft.findings],
    }
    read = (*job.sources(("drive", "points")), *tables.sources("vibration_zones"), source(readings))
    arrays = {
        f"records-{number}": {"time_s": part.time_s, "value": part.value}
        for number, part in enumerate(part for _, parts in gated.values() for part in parts)
    }
    return StageResult("baseline", document, read, arrays, wrong=status == REFUSED)


class _Draft:
    """The baseline while it is being made."""

    def __init__(self, job: Job, minutes: Minutes, now: float, role: str) -> None:
        self.job, self.minutes, self.now, self.role = job, minutes, now, role
        self.findings: list[Finding] = []
        self.limits: list[dict[str, Any]] = []
        self.held: list[dict[str, Any]] = []  # limits that must not be loosened
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

    def gate(self, point: str) -> tuple[RunState, list[Records]]:
        """Run state as seen from a point, and its records in the states that are judged."""
        state = self.minutes.run_state(point, lowest_speed_hz=self.job.drive.speed_hz[0])
        said = self.minutes.probes.get(point)
        if said is not None and said.impossible:
            self.find(Level.CAUTION, "baseline.probe", point, said.says)
        if not state.temperature_seen:
            self.find(Level.NOTE, "baseline.no_temperature", point, "no temperature here: taken as settled with its speed")
        return state, [self._believed(part) for part in self.minutes.gated(point, state)]

    def _believed(self, part: Records) -> Records:
        """Levels that a sensor on a running drive can read; what is said of the rest."""
        if part.quantity == TEMPERATURE or not len(part):
            return part
        sound = part.of((part.value > 0) & (part.value < _IMPOSSIBLE))
        if wrong := len(part) - len(sound):
            says = (
                f"{part.quantity}: {wrong} of {len(part)} records taken while it ran read 0, less than 0 or more than any sensor "
                "can, and are left out: is the sensor dead or loose, its scale or register wrong? Prove it again"
            )
            self.find(Level.CAUTION, "baseline.reads_nothing", part.point, says)
        if len(sound) >= _LEAST_ALIKE and np.ptp(sound.value) == 0:
            says = f"{part.quantity}: {sound.median:.4g} {UNITS[part.quantity]} in every record: does the sensor still measure?"
            self.find(Level.CAUTION, "baseline.stands_still", part.point, says)
        return sound

    def over_boundary(self, parts: Iterable[Records]) -> list[tuple[Records, Rating]]:
        """Records whose own median is over the B/C boundary."""
        zone = self.zone
        overall = [part for part in parts if part.quantity == OVERALL and len(part)]
        return [(part, zone) for part in overall if zone is not None and part.median > zone.boundaries[1]]

    def settling(self, point: str, state: RunState) -> dict[str, Any] | None:
        """How the temperature of a point settles after a start: the middle of the runs that show it, None where none does."""
        warm, time_s = self.minutes.of(TEMPERATURE, point), self.minutes.time_s
        found = []
        for run_number in np.unique(state.run[state.run > 0])[-_RUNS_FITTED:]:  # the first run had begun before anybody looked
            here = np.flatnonzero((state.run == run_number) & np.isfinite(warm))[:_MOST_FITTED]
            if len(here) >= _LEAST_FITTED and (lag := settling(time_s[here], warm[here])) is not None:
                found.append(lag)
        if not found:
            return None
        names = ("end_k", "time_constant_s", "settled_after_s")
        return {"runs": len(found), **{name: float(np.median([getattr(lag, name) for lag in found])) for name in names}}

    def families(self, point: str) -> list[dict[str, Any]]:
        """What alarms at a point, and the lines it takes together: of a sensor that gives one figure, what was read of it; nothing
        for the sump, which has its temperature alone.
        """
        here = next((one for one in self.job.points if one.name == point), None)
        if here is None:
            return []
        families = alarm_families(self.job.drive, here.bearing)
        if here.sensor.kind == "overall":
            families = tuple(one for one in families if np.any(np.isfinite(self.minutes.of(one.quantity, point))))
        return [{"quantity": family.quantity, "lines": [line.name for line in family.lines]} for family in families]

    def set_limits(self, parts: Iterable[Records], *, own: bool, known_defect: bool) -> None:
        """Limits of every quantity of a point, and what must be said of them."""
        ambient, minutes = self.minutes.of(AMBIENT), self.minutes
        setting = Setting(
            zone=self.zone,
            ambient_k=float(np.nanmedian(ambient)) if np.any(np.isfinite(ambient)) else None,
            own=own,
            known_defect=known_defect,
            role=self.role,
            now=self.now,
            spacing=minutes.spacing,
            span=float(minutes.time_s[-1] - minutes.time_s[0]) + minutes.spacing,
            minutes=minutes,
        )
        evidence = []
        for part in parts:
            found = list(limits_of(part, setting))
            if len(part) and not found:
                evidence.append(part)
            for one in found:
                if isinstance(one, TooLittle):
                    says = f"{part.quantity} at {one.operating.says}: {one.hours:.1f} h settled, too little for limits there"
                    self.find(Level.NOTE, "baseline.state_too_short", part.point, says)
                else:
                    self._keep(*one, setting)
        if evidence:
            says = f"{', '.join(part.quantity for part in evidence)}: evidence only until a week of runs is there"
            self.find(Level.NOTE, "baseline.evidence_only", evidence[0].point, says)

    def _keep(self, limit: Limit, part: Records, setting: Setting) -> None:
        if setting.known_defect:
            limit = replace(limit, expires=min(limit.expires, self.now + DAY_ONE_EXPIRES))
        row = self._not_looser(limit_row(limit, part, setting))
        yellow = row["false_alarms_per_year"]["yellow"]
        if yellow and yellow["per_year"] > MOST_FALSE_YELLOW:
            says = f"{limit.quantity}: {yellow['per_year']:.1f} yellows a year expected with nothing changed, more than 1"
            self.find(Level.CAUTION, "baseline.false_alarms", limit.point, says)
        self._look_for_growth(limit, part)
        self.limits.append(row)

    def _look_for_growth(self, limit: Limit, part: Records) -> None:
        """A level that grew over the readings its own limit is set by has moved it."""
        time_s, level = part.daily()
        if limit.kind not in ("one-week", "three-month") or limit.quantity == TEMPERATURE or not len(level):
            return
        began, now = began_and_is(level)
        grown = 20 * math.log10(now / began)
        if grown >= GROWN_DB and trend(time_s, np.log(level), epochs=(), seed=SEED).answer == "rising":
            says = (
                f"{limit.quantity} rises by {grown:.0f} dB over these readings, so that its own limit stands too high: look why "
                "(diagnose, trend); when it is mended declare the epoch and take the baseline again"
            )
            self.find(Level.CAUTION, "baseline.growing", limit.point, says)

    def _not_looser(self, row: dict[str, Any]) -> dict[str, Any]:
        """The limit, or the one in force where this one is looser: a drive that has grown must not move its own limits."""
        if row["quantity"] == TEMPERATURE or row["yellow"] is None:
            return row  # the fixed figures follow the ambient
        where = Operating.of(row["operating"])
        for held in self.held:
            alike = all(held[name] == row[name] for name in ("point", "quantity", "kind")) and held["yellow"] is not None
            if alike and Operating.of(held["operating"]).meets(where) and row["yellow"]["value"] > LOOSER * held["yellow"]["value"]:
                risen = 100 * (row["yellow"]["value"] / held["yellow"]["value"] - 1)
                says = (
                    f"{row['quantity']}: yellow would be {risen:.0f} % higher than the one in force, which is kept: look why the "
                    "level has grown; or an approver accepts it, with --approver NAME --reason TEXT"
                )
                self.find(Level.CAUTION, "baseline.looser", row["point"], says)
                return held
        return row

    def expected_in_a_year(self) -> dict[str, float]:
        """Of all limits together; said where the drive as a whole would cry wolf too often. [1/year]"""
        expected = [row["false_alarms_per_year"] for row in self.limits]
        total = {name: float(sum(one[name]["per_year"] for one in expected if one[name])) for name in ("yellow", "danger")}
        for name, most in (("yellow", MOST_FALSE_YELLOW), ("danger", MOST_FALSE_DANGER)):
            if total[name] > most:
                says = f"{total[name]:.2g} false {name} alarms a year expected of all limits together, more than {most:g}"
                self.find(Level.CAUTION, "baseline.false_alarms_together", "drive", says)
        return total


def named_faults(diagnosis: StoredResult | None, epochs: Iterable[float]) -> tuple[tuple[str, str], ...]:
    """Point and words of each fault that the latest diagnosis names, if no epoch was declared since."""
    if diagnosis is None or datetime.fromisoformat(diagnosis.header["when"]).timestamp() < max(epochs, default=-math.inf):
        return ()
    return tuple(
        (row["point"], f"diagnose {diagnosis.number:04d} names {row['fault'].replace('_', ' ')} of {row['component']}")
        for row in diagnosis.document["verdicts"]
    )


def _check(readings: Readings, approver: str, reason: str, who: str) -> None:
    problems = list(wrong_units(readings))
    if reason and not approver:
        problems.append(Problem("--reason", "", repr(reason), "with --approver: who accepts it"))
    if approver and approver.strip().casefold() == who.strip().casefold():
        problems.append(Problem("--approver", "", repr(approver), "a second person: not the one who proposes"))
    if problems:
        raise BadInput(problems)


def _over_says(part: Records, zone: Rating, accepted: bool) -> str:
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


def _named_says(says: str, known: bool) -> str:
    if known:
        return f"{says}; accepted as a known defect"
    return (
        f"{says}: these readings may be of a drive at fault, and limits of its own would take that for usual: mend it, declare the "
        "epoch and take the baseline again; or an approver accepts it, with --approver NAME --reason TEXT"
    )


def _point_document(point: str, state: RunState, parts: Iterable[Records], lacks: tuple[str, ...]) -> dict[str, Any]:
    return {
        "point": point,
        "duty": asdict(state.duty),
        "lacks_for_one_week": list(lacks),
        "quantities": [
            {
                "quantity": part.quantity,
                "unit": UNITS[part.quantity],
                "records": len(part),
                "runs": len(np.unique(part.run)),
                "median": part.median if len(part) else None,
                "middle_90": [float(edge) for edge in np.quantile(part.value, [0.05, 0.95])] if len(part) else None,
            }
            for part in parts
        ],
    }


def _statement(title: str, status: str, draft: _Draft, approver: str, reason: str, *, named: bool) -> str:
    if status == REFUSED:
        return f"{title}: baseline refused, no limits are set"
    kinds = sorted({limit["kind"] for limit in draft.limits if limit["quantity"] != TEMPERATURE})
    how = "of a drive in which a fault is named" if named and status == NORMAL else status
    start = f"{title}: baseline {how}, limits {draft.role}, {' and '.join(kinds) or 'of temperature only'}"
    if status == KNOWN_DEFECT:
        start += f"; the reason of {approver}: {reason}"
    return f"{start}. Limits say nothing of gears and bearings; nothing here trips."
