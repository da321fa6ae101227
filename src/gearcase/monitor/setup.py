"""What a watch goes by, read from the job's folder at once: the job, and the limits of its baseline."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gearcase.job.build import Job, load
from gearcase.job.read import FILE_NAME
from gearcase.monitor.in_force import InForce, Key, evidence_levels, in_force, voided
from gearcase.record import results
from gearcase.record.store import Store

__all__ = ["Setup", "stamp"]


@dataclass(frozen=True)
class Setup:
    """A job with its limits in force and usual high-frequency levels.

    Attributes
    ----------
    job : Job
    limits : mapping
        As `in_force` gives them; empty where there is no baseline: then the light is blue.
    usual : mapping
        As `evidence_levels` gives them.
    void : str
        Why the limits of the last baseline do not count; empty where they do, or there is none.
    """

    job: Job
    limits: Mapping[Key, InForce]
    usual: Mapping[str, float]
    void: str = ""

    @classmethod
    def read(cls, folder: Path, store: Store) -> "Setup":
        """Of a job's folder as it is now, and what its store says of its baseline.

        Raises
        ------
        BadInput
            With every problem of the job.
        """
        job, stored = load(folder), results.latest(folder, "baseline")
        why = voided(stored.document, store.events()) if stored else ""
        return cls(job, {}, {}, why) if why or stored is None else cls.of(job, stored.document)

    @classmethod
    def of(cls, job: Job, baseline: Mapping[str, Any]) -> "Setup":
        """Of a job and its ``baseline/1`` document."""
        return cls(job, in_force(baseline), evidence_levels(baseline))


def stamp(folder: Path) -> tuple[tuple[str, int, int], ...]:
    """What tells that a job or its baseline has changed, without reading them."""
    found = []
    for path in (folder / FILE_NAME, folder / "results" / "baseline" / "current"):
        try:
            facts = path.stat()
        except OSError:
            continue
        found.append((path.name, facts.st_mtime_ns, facts.st_size))
    return tuple(found)
