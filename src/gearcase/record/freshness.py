"""Whether a result still stands: what it rests on, hashed then and hashed now."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from gearcase import tables
from gearcase.checksums import sha256_of_data
from gearcase.job.build import SECTIONS, Job
from gearcase.record import fitting, opening, results
from gearcase.record.readers import sha256_of_file
from gearcase.record.results import StoredResult, latest

__all__ = ["Change", "changes", "hashes_now", "recording_names", "stale"]

_RECORDING = "recording "
_PHOTO = "photo "
_PLAN = "plan "
_ENTRIES, _OPENED = "fit entries", "opened entries"
_EARLIER = re.compile(r"([a-z]+) ([0-9]{4})")  # an earlier result, as `read` names it: survey 0001
_NEVER_EDITED = ("readings ", "earlier ")  # readings of the watch, and results that a later one of the stage stands beside


@dataclass(frozen=True)
class Change:
    """Something a result rests on that is not what it was."""

    what: str
    how: str

    def __str__(self) -> str:
        return f"{self.what} {self.how}"


def stale(stored: StoredResult, now: Mapping[str, str]) -> list[Change]:
    """What a result rests on that has changed or is gone.

    Parameters
    ----------
    stored : StoredResult
    now : mapping
        What -> hash as things are now.
    """
    return [
        Change(entry["what"], "has changed since" if entry["what"] in now else "is gone")
        for entry in stored.header["read"]
        if now.get(entry["what"]) != entry["sha256"]
    ]


def recording_names(job: Job) -> dict[str, str]:
    """Listed file -> the name its recording goes by: the file's own, or its path where another file has the same name."""
    own = [entry.file.rpartition("/")[2] for entry in job.recordings]
    return {entry.file: name if own.count(name) == 1 else entry.file for entry, name in zip(job.recordings, own, strict=True)}


def changes(
    folder: Path, job: Job, stored: StoredResult, *, sha256_of: Callable[[Path], str] = sha256_of_file
) -> tuple[Change, ...]:
    """What a result rests on that is not what it was; of earlier results that it gathers also what those rest on.

    Parameters
    ----------
    folder, job, stored
        The job's folder, the job as it is now, the result.
    sha256_of : callable
        Of a recording's file; a server that is asked often passes one that remembers.

    Raises
    ------
    BadInput
        An earlier result that it gathers is damaged.
    """
    found: dict[Change, None] = {}
    waiting, seen = [stored], {stored.path}
    while waiting:
        one = waiting.pop(0)
        now, again = hashes_now(folder, job, one, sha256_of=sha256_of), {}
        for what, stage, number in _gathered(one):
            kept = results.numbers(folder, stage)
            if kept:
                now[what] = sha256_of_data(results.stored(folder, stage, kept[-1]).document)
            if kept and kept[-1] != number:
                again[what] = f"was run again, and {kept[-1]:04d} says something else"
            if number in kept and (earlier := results.stored(folder, stage, number)).path not in seen:
                seen.add(earlier.path)
                waiting.append(earlier)
        found |= {Change(change.what, again.get(change.what, change.how)): None for change in stale(one, now)}
    return tuple(found)


def _gathered(stored: StoredResult) -> list[tuple[str, str, int]]:
    """Earlier results among what a result read: as it names them, stage and number."""
    named = (_EARLIER.fullmatch(row["what"]) for row in stored.header["read"])
    return [(match[0], match[1], int(match[2])) for match in named if match]


def hashes_now(
    folder: Path, job: Job, stored: StoredResult, *, sha256_of: Callable[[Path], str] = sha256_of_file
) -> dict[str, str]:
    """Hashes of the job's sections, of the tables and of the recordings it lists, as they are now.

    A recording judged from outside the job keeps the hash it was judged with: nobody can say that it changed.
    """
    now = {row["what"]: row["sha256"] for row in (*job.sources(SECTIONS), *tables.sources(*tables.names()))}
    now |= _what_records_say(folder, stored)
    listed = {name: folder / file for file, name in recording_names(job).items()}
    for row in stored.header["read"]:
        if row["what"].startswith(_NEVER_EDITED):
            now[row["what"]] = row["sha256"]
        if not row["what"].startswith(_RECORDING):
            continue
        path = listed.get(row["what"].removeprefix(_RECORDING))
        if path is None:
            now[row["what"]] = row["sha256"]
        elif path.is_file():
            now[row["what"]] = sha256_of(path)
    return now


def _what_records_say(folder: Path, stored: StoredResult) -> dict[str, str]:
    """The latest plan, the entries of fit and of openings, and the photos, where a result names any of them."""
    names = [row["what"] for row in stored.header["read"]]
    now: dict[str, str] = {}
    plans = [name for name in names if name.startswith(_PLAN)]
    if plans and (plan := latest(folder, "plan")):
        now |= dict.fromkeys(plans, sha256_of_data(plan.document))
    if _ENTRIES in names:
        recorded = fitting.entries(folder)
        now[_ENTRIES] = recorded[-1]["sha256"] if recorded else ""
        now |= {f"{_PHOTO}{file}": sha256 for file, sha256 in fitting.photos_now(folder, recorded).items() if sha256}
    if _OPENED in names:
        found = opening.entries(folder)
        now[_OPENED] = found[-1]["sha256"] if found else ""
    return now
