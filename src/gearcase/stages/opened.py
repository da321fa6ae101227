"""Found on opening: what stood behind each verdict, and how often each pattern was right here.

When a drive has been opened, a person says of each verdict what was found; a fault that no verdict had named is entered too, or the
tally would flatter. Entries are added and never edited: one that was wrong is corrected by another that names it, and both stay.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from datetime import date
from typing import Any

from gearcase import tables
from gearcase.checksums import sha256_of_data
from gearcase.errors import BadInput, OutOfRange, Problem
from gearcase.findings import Finding
from gearcase.job.build import Job
from gearcase.judge.opened import FOUND, Opened, tally
from gearcase.record.results import StoredResult
from gearcase.stages.result import StageResult, finding_document

__all__ = ["OPENED_ENTRIES", "entry", "open_verdicts", "run", "told"]

OPENED_ENTRIES = "opened entries"  # as `read` names them
_KEYS = ("component", "fault", "point")


def entry(
    job: Job,
    diagnoses: Sequence[StoredResult],
    records: Sequence[Mapping[str, Any]],
    *,
    component: str,
    fault: str,
    found: str,
    seen: str,
    says: str,
    on: str,
    today: str,
    photos: Sequence[Mapping[str, str]],
    corrects: int | None,
) -> dict[str, Any]:
    """One entry, checked.

    Parameters
    ----------
    job : Job
    diagnoses : sequence of StoredResult
        Every one kept, the earliest first.
    records : sequence of mapping
        Entries recorded so far.
    component, fault : str
        The part; and the pattern of the verdict, empty for a fault that none had named.
    found, seen : str
        One of `judge.opened.FOUND`; the pattern found instead, empty where it is none of them.
    says : str
        Anything more.
    on, today : str
        Day of the opening, and today, in ISO 8601.
    photos : sequence of mapping
        ``{"file", "sha256"}``; an empty hash where there is no such file.
    corrects : int or None
        Number of the entry that this one replaces.

    Raises
    ------
    BadInput
        Everything wrong with it.
    """
    problems = []
    verdict = _verdict(diagnoses, component, fault) if fault else None
    if fault and verdict is None:
        known = "; ".join(f"{row['component']}, {row['fault']}" for row in _named(diagnoses)) or "none: nothing was diagnosed"
        problems.append(Problem("--component, --fault", "", f"{component}, {fault}", f"a verdict that was given: {known}"))
    parts = _parts(job)
    if not fault and component not in parts:
        problems.append(Problem("--component", "", repr(component), f"a part of the drive: {'; '.join(parts)}"))
    if not fault and not seen:
        problems.append(Problem("--seen", "", "none", "the pattern that no verdict had named, or --fault of a verdict"))
    patterns = [row["pattern"] for row in tables.load("fault_patterns")]
    if seen and seen not in patterns:
        problems.append(Problem("--seen", "", repr(seen), f"one of: {'; '.join(patterns)}"))
    try:
        Opened(fault, found, seen)
    except OutOfRange as error:
        problems.append(Problem(f"--{error.name}", "", repr(error.value), error.rule))
    problems += _wrong_day(on, today)
    problems += [
        Problem("--photo", "", row["file"], "a photo in the job's folder or below it") for row in photos if not row["sha256"]
    ]
    standing = [record["number"] for record in _standing(records)]
    if corrects is not None and corrects not in standing:
        listed = ", ".join(map(str, standing)) or "none yet"
        problems.append(Problem("--corrects", "", str(corrects), f"the number of an entry that stands: {listed}"))
    if corrects is None and verdict is not None and verdict not in open_verdicts(diagnoses, records):
        same = next(record["number"] for record in reversed(_standing(records)) if _same(record["entry"], verdict))
        problems.append(
            Problem("--component, --fault", "", f"{component}, {fault}", f"entered already: correct it with --corrects {same}")
        )
    if problems:
        raise BadInput(problems)
    return {
        "schema": "found/1",
        "component": component,
        "fault": fault,
        "point": verdict["point"] if verdict else "",
        "found": found,
        "seen": seen,
        "says": says,
        "on": on,
        "photos": [dict(row) for row in photos],
        "corrects": corrects,
        "verdict": {name: verdict[name] for name in ("diagnose", "sha256", "recording")} if verdict else None,
    }


def open_verdicts(diagnoses: Sequence[StoredResult], records: Iterable[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Verdicts of the latest diagnosis of each part that nobody has yet said anything of."""
    done = [record["entry"] for record in _standing(records)]
    return [row for row in _named(diagnoses) if not any(_same(one, row) for one in done)]


def run(
    job: Job,
    diagnoses: Sequence[StoredResult],
    records: Sequence[Mapping[str, Any]],
    *,
    record_findings: Sequence[Finding] = (),
) -> StageResult:
    """The tally of every pattern, and what is still to be entered.

    Parameters
    ----------
    job : Job
    diagnoses : sequence of StoredResult
        Every one kept, the earliest first.
    records : sequence of mapping
        Entries as recorded.
    record_findings : sequence of Finding
        What is wrong with the record itself.
    """
    standing = _standing(records)
    counted = tally(told(records))
    waiting = open_verdicts(diagnoses, records)
    corrected = {record["entry"]["corrects"]: record["number"] for record in records if record["entry"]["corrects"] is not None}
    document = {
        "schema": "opened/1",
        "job": job.title,
        "statement": _statement([record["entry"] for record in standing], waiting),
        "tally": [asdict(row) for row in counted],
        "open": waiting,
        "entries": [
            {
                "number": record["number"],
                "who": record["who"],
                "when": record["when"],
                **record["entry"],
                "corrected_by": corrected.get(record["number"]),
            }
            for record in records
        ],
        "record": {"entries": len(records), "head": records[-1]["sha256"] if records else ""},
        "findings": [finding_document(finding) for finding in record_findings],
    }
    latest = diagnoses[-1:]
    read = (
        *job.sources(("drive",)),
        {"what": OPENED_ENTRIES, "sha256": records[-1]["sha256"] if records else ""},
        *({"what": f"diagnose {one.number:04d}", "sha256": sha256_of_data(one.document)} for one in latest),
    )
    return StageResult("opened", document, read)


def told(records: Iterable[Mapping[str, Any]]) -> tuple[Opened, ...]:
    """What the entries that stand say, for the tally: of one job, or of many."""
    entries = (record["entry"] for record in _standing(records))
    return tuple(Opened(row["fault"], row["found"], row["seen"]) for row in entries)


def _named(diagnoses: Sequence[StoredResult]) -> list[dict[str, Any]]:
    """Every verdict, by the latest diagnosis that gave it."""
    found: dict[tuple[str, ...], dict[str, Any]] = {}
    for stored in diagnoses:
        sha256 = sha256_of_data(stored.document)
        for row in stored.document["verdicts"]:
            key = tuple(row[name] for name in _KEYS)
            found[key] = {
                **{name: row[name] for name in _KEYS},
                "recording": row["recording"],
                "diagnose": stored.number,
                "when": stored.header["when"],
                "sha256": sha256,
            }
    return list(found.values())


def _verdict(diagnoses: Sequence[StoredResult], component: str, fault: str) -> dict[str, Any] | None:
    """The latest of a part and pattern, at whatever point."""
    same = [row for row in _named(diagnoses) if (row["component"], row["fault"]) == (component, fault)]
    return max(same, key=lambda row: row["diagnose"], default=None)


def _same(one: Mapping[str, Any], verdict: Mapping[str, Any]) -> bool:
    """Whether an entry speaks of a verdict: one part and pattern, opened on the day of the diagnosis or later, or named in the
    recording that the entry's own verdict was named in, however often that is judged again.
    """
    if (one["component"], one["fault"]) != (verdict["component"], verdict["fault"]):
        return False
    spoken_of = one["verdict"]
    return bool(one["on"] >= verdict["when"][:10] or (spoken_of and spoken_of["recording"] == verdict["recording"]))


def _standing(records: Iterable[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Entries that no later one has corrected."""
    listed = list(records)
    corrected = {record["entry"]["corrects"] for record in listed}
    return [record for record in listed if record["number"] not in corrected]


def _parts(job: Job) -> list[str]:
    drive = job.drive
    names = ([shaft.name for shaft in drive.shafts], [mesh.name for mesh in drive.meshes], [one.name for one in drive.bearings])
    return [name for part in names for name in part]


def _wrong_day(on: str, today: str) -> Iterable[Problem]:
    try:
        day = date.fromisoformat(on)
    except ValueError:
        yield Problem("--on", "", repr(on), "the day of the opening, e.g. 2026-09-10")
        return
    if day > date.fromisoformat(today[:10]):
        yield Problem("--on", "", on, "a day that has come")


def _statement(rows: Sequence[Mapping[str, Any]], waiting: Sequence[Mapping[str, Any]]) -> str:
    counts = [
        f"{sum(row['found'] == found for row in rows)} {found}" for found in FOUND if any(row["found"] == found for row in rows)
    ]
    said = f"found on opening: {', '.join(counts)}" if counts else "nothing entered yet"
    if waiting:
        said += f"; {len(waiting)} verdict{'s' if len(waiting) > 1 else ''} nobody has opened or entered"
    return said
