"""Whether a result still stands: what it rests on, hashed then and hashed now."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from gearcase import tables
from gearcase.job.build import SECTIONS, Job
from gearcase.record.readers import sha256_of_file
from gearcase.record.results import StoredResult

__all__ = ["Change", "hashes_now", "recording_names", "stale"]

_RECORDING = "recording "
_READINGS = "readings "  # of the watch: never edited once kept


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


def hashes_now(folder: Path, job: Job, stored: StoredResult) -> dict[str, str]:
    """Hashes of the job's sections, of the tables and of the recordings it lists, as they are now.

    A recording judged from outside the job keeps the hash it was judged with: nobody can say that it changed.
    """
    now = {row["what"]: row["sha256"] for row in (*job.sources(SECTIONS), *tables.sources(*tables.names()))}
    listed = {name: folder / file for file, name in recording_names(job).items()}
    for row in stored.header["read"]:
        if row["what"].startswith(_READINGS):
            now[row["what"]] = row["sha256"]
        if not row["what"].startswith(_RECORDING):
            continue
        path = listed.get(row["what"].removeprefix(_RECORDING))
        if path is None:
            now[row["what"]] = row["sha256"]
        elif path.is_file():
            now[row["what"]] = sha256_of_file(path)
    return now
