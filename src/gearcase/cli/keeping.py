"""Verbs of what the watch keeps: copy it, look it through, put it back, thin what is old."""

import argparse
from typing import TYPE_CHECKING, Any

from gearcase.cli.answers import NOTHING_WRONG, SOMETHING_WRONG, done, load, quantity
from gearcase.errors import BadInput, Problem

if TYPE_CHECKING:
    from gearcase.record.store import Soundness, Store

__all__ = ["backup", "restore", "thin", "verify"]

_WHOLE = 90 * 86400.0  # s, where neither command nor job say; common practice, no source


def backup(given: argparse.Namespace) -> int:
    """Copy the store while it is written."""
    from pathlib import Path

    from gearcase.record.clock import now

    with _store(given) as store:
        found = store.backup(Path(given.into), who=given.by, when=now())
    return _told(given, "backup", found, f"kept in {given.into}")


def verify(given: argparse.Namespace) -> int:
    """Look the store, or a backup, through."""
    from pathlib import Path

    from gearcase.record.store import examine_backup

    if given.backup:
        return _told(given, "verify", examine_backup(Path(given.backup), holds=given.holds), given.backup)
    with _store(given) as store:
        return _told(given, "verify", store.verify(holds=given.holds), store.where)


def restore(given: argparse.Namespace) -> int:
    """Put a backup into a store that is empty yet."""
    from pathlib import Path

    from gearcase.record.store import open_store

    with open_store(Path(given.job), load(given).store) as store:
        found = store.restore(Path(given.backup))
        where = store.where
    return _told(given, "restore", found, f"restored into {where}")


def thin(given: argparse.Namespace) -> int:
    """Thin old readings and recordings."""
    from dataclasses import asdict
    from pathlib import Path

    from gearcase.monitor.incoming.accept import incoming_folder
    from gearcase.record.clock import unix_now
    from gearcase.record.store import rested_on

    folder, kept = Path(given.job), load(given).retention
    age = quantity("--older-than", given.older_than, "time") or kept.whole or _WHOLE
    hours = quantity("--minutes-older-than", given.minutes_older_than, "time") or kept.minutes
    if hours is not None and hours <= age:
        raise BadInput(Problem("--minutes-older-than", "", given.minutes_older_than, "longer than readings are kept whole"))
    now = unix_now()
    with _store(given) as store:
        thinned = store.thin(
            before_s=now - age,
            minutes_before_s=None if hours is None else now - hours,
            posted=incoming_folder(folder),
            needed=rested_on(folder),
        )
    says = f"{thinned.words}; people's entries, and everything near an alarm or a fault found, are whole"
    return done(given, {"schema": "thin/1", **asdict(thinned)}, says)


def _store(given: argparse.Namespace) -> "Store":
    """The job's store, which must be there."""
    from pathlib import Path

    from gearcase.record.store import is_made, open_store, store_path

    job, folder = load(given), Path(given.job)
    if not is_made(folder, job.store):
        raise BadInput(Problem(str(store_path(folder)), "", "nothing kept yet", "a job that was watched"))
    return open_store(folder, job.store)


def _told(given: argparse.Namespace, verb: str, found: "Soundness", where: str) -> int:
    """What was found, and whether it is sound."""
    document: dict[str, Any] = {
        "schema": f"{verb}/1",
        "entries": found.entries,
        "last": found.last,
        "recordings": found.recordings,
        "problems": [problem._asdict() for problem in found.problems],
    }
    lines = [str(problem) for problem in found.problems]
    counted = f"{found.entries} entries of people, the last {found.last[:12] or 'none'}; {found.recordings} recordings"
    done(given, document, "\n".join([*lines, f"{where}: {'NOT sound' if lines else 'sound'}; {counted}"]))
    return SOMETHING_WRONG if found.problems else NOTHING_WRONG
