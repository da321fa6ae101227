"""What a watch goes by, read from the job's folder at once: the job, the limits of its baseline, and how its sensors stand."""

import functools
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gearcase.errors import BadInput
from gearcase.install.orientation import Along
from gearcase.job.build import Job, load
from gearcase.job.read import FILE_NAME
from gearcase.monitor.in_force import InForce, Key, evidence_levels, in_force, voided
from gearcase.record import results
from gearcase.record.store import Store
from gearcase.stages.sensor_axes import sensor_axes

__all__ = ["Setup", "stamp"]

_STAGES = ("baseline", "fit", "prove")


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
    fit, prove : mapping or None
        Their latest documents, by which the sensors stand; None where there is none.
    damaged : tuple of str
        What of these cannot be read, and is gone without.
    """

    job: Job
    limits: Mapping[Key, InForce]
    usual: Mapping[str, float]
    void: str = ""
    fit: Mapping[str, Any] | None = None
    prove: Mapping[str, Any] | None = None
    damaged: tuple[str, ...] = ()

    @classmethod
    def read(cls, folder: Path, store: Store, *, at_start: bool) -> "Setup":
        """Of a job's folder as it is now, and what its store says of its baseline.

        Parameters
        ----------
        folder : Path
        store : Store
        at_start : bool
            Whether there is nothing to go on by: then a result that is damaged is gone without, and named in `damaged`.

        Raises
        ------
        BadInput
            With every problem of the job; and, but at a start, a damaged result.
        """
        job, found, damaged = load(folder), [], []
        for stage in _STAGES:
            try:
                stored = results.latest(folder, stage)
            except BadInput as error:
                if not at_start:
                    raise
                stored = None
                damaged += [str(problem) for problem in error.problems]
            found.append(stored.document if stored else None)
        baseline, fit, prove = found
        why = voided(baseline, store.events()) if baseline else ""
        if why or baseline is None:
            return cls(job, {}, {}, why, fit, prove, tuple(damaged))
        return cls(job, in_force(baseline), evidence_levels(baseline), "", fit, prove, tuple(damaged))

    @functools.cached_property
    def axes(self) -> dict[str, dict[str, Along]]:
        """Point -> axis of its sensor -> what that feels, as `sensor_axes` gives it."""
        return sensor_axes(self.job, fit=self.fit, prove=self.prove)


def stamp(folder: Path) -> tuple[tuple[str, int, int], ...]:
    """What tells that a job, or a result it is watched by, has changed, without reading them."""
    found = []
    for path in (folder / FILE_NAME, *(folder / "results" / stage / "current" for stage in _STAGES)):
        try:
            facts = path.stat()
        except OSError:
            continue
        found.append((str(path.relative_to(folder)), facts.st_mtime_ns, facts.st_size))
    return tuple(found)
