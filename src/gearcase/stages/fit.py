"""Fit: was it built as planned? Entries against the plan's work card; a deviation runs the plan's own checks again.

What was built goes back into the job - wall, mount, place, metal temperature, addresses - and `plan.run` judges it as it judged
the plan. An entry done against an earlier plan is kept and flagged with what has changed since.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from gearcase.checksums import sha256_of_data
from gearcase.findings import Finding, Level
from gearcase.job.build import Job
from gearcase.job.entries import Card
from gearcase.stages import plan
from gearcase.stages.built import Built, built_devices, built_points, serials_twice
from gearcase.stages.fitchecks import Check, check_point
from gearcase.stages.planchanges import changes
from gearcase.stages.result import StageResult, finding_document, has_blocker

__all__ = ["Planned", "built_serials", "card", "run"]

_STUD = "stud"


@dataclass(frozen=True)
class Planned:
    """The latest plan: its number and document, and what it rests on that has changed since."""

    number: int
    document: Mapping[str, Any]
    stale: tuple[str, ...] = ()


def card(job: Job, document: Mapping[str, Any]) -> Card:
    """What entries may speak about under a plan."""
    homes = {device.name: device.point for device in job.bus.devices}
    return Card(
        points=tuple(part["name"] for part in document["parts"]),
        devices={row["name"]: homes.get(row["name"], "") for row in document["bus"]["devices"]},
        steps={step["number"]: step["where"] for step in document["work_card"]},
    )


def run(
    job: Job,
    planned: Planned,
    records: Sequence[Mapping[str, Any]],
    *,
    earlier_plans: Mapping[int, Mapping[str, Any]],
    photos_now: Mapping[str, str],
    record_findings: Sequence[Finding] = (),
) -> StageResult:
    """Judge what was built.

    Parameters
    ----------
    job : Job
    planned : Planned
        The latest plan.
    records : sequence of mapping
        Lines of the entries' record, in order.
    earlier_plans : mapping
        Number -> document of the plans that entries were done against; one that is gone is left out.
    photos_now : mapping
        Photo file -> its hash now; empty or left out where it is gone.
    record_findings : sequence of Finding
        About the record itself, e.g. a last line that was cut off.

    Returns
    -------
    StageResult
        Document ``fit/1``; `wrong` when a finding is a blocker.
    """
    document = planned.document
    parts = {part["name"]: part for part in document["parts"]}
    job_points = {point.name: point for point in job.points}
    points = built_points(records, parts)
    devices = built_devices(records, [row["name"] for row in document["bus"]["devices"]])
    findings = [*record_findings, *_about_the_plan(planned)]
    rows = []
    for name, built in points.items():
        check = None
        if name in parts and name in job_points:
            check = Check(job, job_points[name], parts[name], built)
            check_point(check, document)
            findings += check.findings
        elif built.entries:
            says = "entries speak of it, but it is no longer planned: plan it again, or take it off the drive"
            findings.append(Finding(Level.CAUTION, "fit.not_planned", name, says))
        findings += built.contradictions.values()
        rows.append(_point_document(built, parts.get(name), check))
    findings += serials_twice(points.values(), "sensor")
    findings += _devices(job, document, devices)
    findings += _photos(records, photos_now)
    entries, flags = _against(planned, records, earlier_plans, points, devices)
    findings += flags
    rank = [Level.BLOCKER, Level.CAUTION, Level.NOTE]
    ranked = tuple(sorted(findings, key=lambda finding: rank.index(finding.level)))
    still_open = _open_steps(document, records)
    fit = {
        "schema": "fit/1",
        "job": job.title,
        "statement": _statement(ranked, rows, still_open),
        "plan": {"number": planned.number, "sha256": sha256_of_data(document)},
        "record": {"entries": len(records), "head": records[-1]["sha256"] if records else ""},
        "points": rows,
        "devices": [_device_document(built, document) for built in devices.values()],
        "entries": entries,
        "open_steps": still_open,
        "findings": [finding_document(finding) for finding in ranked],
    }
    read = (
        {"what": f"plan {planned.number:04d}", "sha256": sha256_of_data(document)},
        {"what": "fit entries", "sha256": records[-1]["sha256"] if records else ""},
        *job.sources(("drive", "points", "housing", "kit", "bus")),
        *({"what": f"photo {file}", "sha256": sha256} for file, sha256 in photos_now.items()),
    )
    return StageResult("fit", fit, read, wrong=has_blocker(ranked))


def _about_the_plan(planned: Planned) -> Iterator[Finding]:
    if planned.stale:
        says = f"plan {planned.number:04d} is older than the job: {'; '.join(planned.stale)}: run gearcase plan, then fit again"
        yield Finding(Level.CAUTION, "fit.plan_stale", "plan", says)
    blockers = [row for row in planned.document["findings"] if row["level"] == "blocker"]
    if blockers:
        named = "; ".join(f"{row['where']}: {row['rule']}" for row in blockers)
        yield Finding(Level.CAUTION, "fit.plan_blocked", "plan", f"plan {planned.number:04d} says not to proceed: {named}")


def _devices(job: Job, document: Mapping[str, Any], devices: Mapping[str, Built]) -> Iterator[Finding]:
    """Addresses as set: against the plan, and the bus judged again."""
    planned = {row["name"]: row["address"] for row in document["bus"]["devices"]}
    for name, built in devices.items():
        yield from built.contradictions.values()
        address = built.get("address")
        if name not in planned:
            says = "entries speak of it, but it is no longer planned: plan it again, or take it off the bus"
            yield Finding(Level.CAUTION, "fit.not_planned", name, says)
        elif address is not None and address != planned[name]:
            says = f"set to address {address}, planned {planned[name]}: set it as planned, or put it into job.yaml and plan again"
            yield Finding(Level.CAUTION, "fit.address", name, says)
    yield from serials_twice(devices.values(), "device")
    as_set = tuple(
        replace(device, address=devices[device.name].get("address") or device.address) if device.name in devices else device
        for device in job.bus.devices
    )
    if as_set != job.bus.devices:
        findings, _ = plan.judge(replace(job, points=(), bus=replace(job.bus, devices=as_set)))
        yield from (finding for finding in findings if finding.rule == "bus.address")


def _photos(records: Sequence[Mapping[str, Any]], now: Mapping[str, str]) -> Iterator[Finding]:
    for record in records:
        for photo in record["entry"]["photos"]:
            sha256 = now.get(photo["file"], "")
            if sha256 != photo["sha256"]:
                how = "is not the one that was entered" if sha256 else "is gone"
                says = f"photo {photo['file']} of entry {record['number']} {how}: put it back, or take it again and enter it"
                yield Finding(Level.CAUTION, "fit.photo", record["entry"]["point"] or f"entry {record['number']}", says)


def _against(
    planned: Planned,
    records: Sequence[Mapping[str, Any]],
    earlier: Mapping[int, Mapping[str, Any]],
    points: Mapping[str, Built],
    devices: Mapping[str, Built],
) -> tuple[list[dict[str, Any]], list[Finding]]:
    """Every entry, with what has changed in the plan since; a flag for each that still counts."""
    latest = sha256_of_data(planned.document)
    counting = {value.entry for built in (*points.values(), *devices.values()) for value in built.values.values()}
    entries, flags = [], []
    for record in records:
        entry = record["entry"]
        against = entry["against"]
        flag, changed = "", []
        if against["sha256"] != latest:
            old = earlier.get(against["plan"])
            if old is None or sha256_of_data(old) != against["sha256"]:
                changed = [f"cannot tell what: plan {against['plan']:04d} is gone or was changed"]
            else:
                changed = changes(entry, old, planned.document)
            said = "; ".join(changed) or "nothing that it speaks of"
            flag = f"done against plan {against['plan']:04d}; plan {planned.number:04d} changed: {said}"
        entries.append({**record, "flag": flag, "plan_changed": changed})
        if flag and (record["number"] in counting or entry["steps"]):
            level = Level.CAUTION if changed else Level.NOTE
            cure = ". Check it against the new plan and enter it again" if changed else ""
            where = entry["point"] or entry["device"] or f"entry {record['number']}"
            flags.append(Finding(level, "fit.plan_changed", where, f"entry {record['number']} was {flag}{cure}"))
    return entries, flags


def _open_steps(document: Mapping[str, Any], records: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Steps of the card that nobody has entered as done; one whose words changed is open again."""
    done = {(step["where"], step["do"]) for record in records for step in record["entry"]["steps"]}
    return [step for step in document["work_card"] if (step["where"], step["do"]) not in done]


def _point_document(built: Built, part: Mapping[str, Any] | None, check: Check | None) -> dict[str, Any]:
    mount = built.get("mount") or (part["mount"] if part else "")
    cure = check.cure if check else None
    return {
        "name": built.name,
        "planned": {"mount": part["mount"], "face": part["face"], "at_m": part["at_m"]} if part else None,
        "mount": mount,
        "built": [value.as_dict() for value in built.values.values()],
        "superseded": [{**value.as_dict(), "by": by} for value, by in built.superseded],
        "photos": built.photos,
        "entries": built.entries,
        "not_entered": _not_entered(built, mount),
        "deviations": check.deviations if check else [],
        "worked": {name: worked.as_dict() for name, worked in check.worked.items()} if check else {},
        "cure": cure,
        "cured_at": _cured_at(built.get("bond.made"), cure),
    }


def _not_entered(built: Built, mount: str) -> list[str]:
    """What a record of this mount wants and nobody has entered."""
    wanted = ["mount", "at", "serial"]
    wanted += ["wall", "depth", "torque"] if mount == _STUD else []
    wanted += ["bond.metal_temperature", "bond.made"] if "adhesive" in mount else []
    return [*(item for item in wanted if item not in built.values), *([] if built.photos else ["photos"])]


def _cured_at(made: str | None, cure: Mapping[str, Any] | None) -> str:
    """When the bond is fully cured, in the words of the entry's own clock; empty where that cannot be said."""
    if not made or not cure:
        return ""
    try:
        return (datetime.fromisoformat(made) + timedelta(seconds=cure["value"])).isoformat(timespec="minutes")
    except OverflowError:
        return ""


def _device_document(built: Built, document: Mapping[str, Any]) -> dict[str, Any]:
    planned = next((row["address"] for row in document["bus"]["devices"] if row["name"] == built.name), None)
    return {
        "name": built.name,
        "planned_address": planned,
        "built": [value.as_dict() for value in built.values.values()],
        "superseded": [{**value.as_dict(), "by": by} for value, by in built.superseded],
        "entries": built.entries,
    }


def _statement(findings: Sequence[Finding], rows: Sequence[Mapping[str, Any]], still_open: Sequence[Mapping[str, Any]]) -> str:
    """The answer in one sentence."""
    blockers = sum(finding.level is Level.BLOCKER for finding in findings)
    cautions = sum(finding.level is Level.CAUTION for finding in findings)
    entered = sum(bool(row["entries"]) for row in rows)
    said = f"{entered} of {len(rows)} points entered, steps still open: {len(still_open)}"
    if blockers:
        return f"do not proceed, blockers: {blockers}; {said}"
    return f"{f'to be looked at: {cautions}' if cautions else 'as planned in all that was entered'}; {said}"


def built_serials(document: Mapping[str, Any]) -> dict[str, str]:
    """Device -> serial as built, from a ``fit/1`` document."""
    return {row["name"]: value["shown"] for row in document["devices"] for value in row["built"] if value["item"] == "serial"}
