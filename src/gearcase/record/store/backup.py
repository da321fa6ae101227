"""Copies of a store while it is written, and back: one form for both databases.

A backup is a folder: ``readings.sqlite`` with every table as it was at one moment, ``recordings/`` and ``backup.json`` with the
hash of each file. It appears whole under its name or not at all. It goes back into SQLite or PostgreSQL, whichever it came from.
"""

import json
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from gearcase import __version__
from gearcase.errors import BadInput, Problem
from gearcase.record import chain
from gearcase.record.results import make_folder, sync_folder
from gearcase.record.store import diary, migrations, recordings
from gearcase.record.store.database import SESSION, Database
from gearcase.record.store.tables import COUNTERS, ENTRIES, EVENTS, INTERVALS, READINGS, RECORDINGS, SERIES

__all__ = ["Soundness", "backup", "examine", "examine_backup", "restore"]

_DATABASE, _RECORDINGS, _LIST = "readings.sqlite", "recordings", "backup.json"
_COPIED = (SERIES, READINGS, INTERVALS, EVENTS, ENTRIES, RECORDINGS, COUNTERS)
_AT_ONCE = 20_000  # rows


@dataclass(frozen=True)
class Soundness:
    """What was found on looking a store or a backup through: people's entries, hash of the last one (empty where there is none),
    recordings, and everything that is wrong.
    """

    entries: int
    last: str
    recordings: int
    problems: tuple[Problem, ...]


def examine(database: Database, folder: Path, *, holds: str = "") -> Soundness:
    """Look a store through: the database's own check, the chain of entries, every recording against its checksum.

    Parameters
    ----------
    database : Database
    folder : Path
        Of the recordings.
    holds : str
        Hash of an entry that must be there, as somebody kept it; empty asks for none.
    """
    problems = [Problem(database.where, "", said, "a sound database: put the backup back") for said in database.read(_own_check)]
    records: tuple[dict[str, Any], ...] = ()
    try:
        records = database.read(lambda connection: diary.verified(connection, database.where))
        chain.require_held(f"{database.where}, entries", records, holds)
    except BadInput as error:
        problems += error.problems
    kept = database.read(lambda connection: recordings.find(connection, point=None, since=None, until=None))
    problems += filter(None, (recordings.wrong(folder, one) for one in kept))
    return Soundness(len(records), str(records[-1]["sha256"]) if records else "", len(kept), tuple(problems))


def backup(database: Database, folder: Path, into: Path, *, who: str, when: str) -> Soundness:
    """Copy a store, recordings too, into a new folder, and look the copy through.

    Parameters
    ----------
    database : Database
        It may be written meanwhile; the copy is of the moment at which it began.
    folder : Path
        Of its recordings.
    into : Path
        Must not be there yet.
    who, when : str
        Kept with it.

    Returns
    -------
    Soundness
        Of the copy. A recording that is damaged is named and left out; the rest is a backup all the same.

    Raises
    ------
    BadInput
        The folder is there already, or cannot be written.
    """
    from gearcase.record.readers import sha256_of_file  # half a second, and most who open a store make no backup

    if into.exists():
        raise BadInput(Problem(str(into), "", "something is there already", "the name of a folder that is not there yet"))
    try:
        make_folder(into.parent)
        draft = Path(tempfile.mkdtemp(dir=into.parent, prefix=recordings.DRAFT))
    except OSError as error:
        raise BadInput(_unwritable(into, error)) from None
    try:
        _copy_database(database, draft / _DATABASE)
        with _opened(draft / _DATABASE) as copy:
            _copy_recordings(copy, folder, draft / _RECORDINGS)
            found = examine(copy, draft / _RECORDINGS)
        files = {str(path.relative_to(draft)): sha256_of_file(path) for path in sorted(draft.rglob("*")) if path.is_file()}
        about = {"schema": "backup/1", "who": who, "when": when, "gearcase": __version__, "files": files}
        (draft / _LIST).write_text(json.dumps(about, indent=1), encoding="utf-8")
        for path in sorted(draft.rglob("*"), reverse=True):
            _sync(path)
        draft.chmod(0o755)
        sync_folder(draft)
        draft.rename(into)
        sync_folder(into.parent)
    except OSError as error:
        raise BadInput(_unwritable(into, error)) from None
    finally:
        shutil.rmtree(draft, ignore_errors=True)
    return found


def examine_backup(path: Path, *, holds: str = "") -> Soundness:
    """Look a backup through: every file against its hash, and all that `examine` looks at.

    Raises
    ------
    BadInput
        It is no backup.
    """
    problems = _damaged(path)
    if problems:
        return Soundness(0, "", 0, problems)
    with _taken_up(path) as copy:
        return examine(copy, path / _RECORDINGS, holds=holds)


def restore(path: Path, database: Database, folder: Path) -> Soundness:
    """Put a backup into a store that holds nothing yet, and its recordings into a folder.

    Raises
    ------
    BadInput
        The backup is damaged, the store holds something or is being watched, or a place cannot be written. Nothing is overwritten.
    """
    if problems := _damaged(path):
        raise BadInput(problems)
    with _taken_up(path) as copy:
        database.hold()
        _copy_recordings(copy, path / _RECORDINGS, folder)
        copy.read(lambda source: database.write(lambda target: _fill(source, target, database.where)))
    return examine(database, folder)


def _damaged(path: Path) -> tuple[Problem, ...]:
    """Every file of a backup that is not as its list has it."""
    from gearcase.record.readers import sha256_of_file  # half a second, and most who open a store make no backup

    try:
        about = json.loads((path / _LIST).read_text(encoding="utf-8"))
        files = {str(name): str(sha256) for name, sha256 in about["files"].items()}
        if about["schema"] != "backup/1" or _DATABASE not in files:
            raise ValueError(f"schema {about['schema']}")
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise BadInput(Problem(str(path / _LIST), "", str(error), "a folder made by gearcase backup")) from None
    problems = []
    for name, sha256 in files.items():
        try:
            wrong = "" if sha256_of_file(path / name) == sha256 else "a file that was changed or damaged: its checksum differs"
        except OSError as error:
            wrong = error.strerror or str(error)
        if wrong:
            problems.append(Problem(str(path / name), "", wrong, "a backup as it was written: use another one"))
    return tuple(problems)


@contextmanager
def _taken_up(path: Path) -> Iterator[Database]:
    """The database of a backup, brought up to date where an earlier version made it, but not where it lies."""
    with tempfile.TemporaryDirectory() as scratch:
        copy = Path(shutil.copy(path / _DATABASE, scratch))
        with _opened(copy) as database:
            yield database


@contextmanager
def _opened(path: Path) -> Iterator[Database]:
    database = Database(path, wait_s=5.0)
    try:
        migrations.upgrade(database)
        yield database
    finally:
        database.close()


def _copy_database(database: Database, into: Path) -> None:
    """Everything in a database at one moment, as a SQLite file."""
    if isinstance(database.place, Path):
        try:
            with closing(sqlite3.connect(database.place)) as source, closing(sqlite3.connect(into)) as target:
                source.backup(target)
        except sqlite3.Error as error:
            raise BadInput(Problem(str(into), "", str(error), "a place with room, and a database that can be read")) from None
        return
    with _opened(into) as copy:
        database.read(lambda source: copy.write(lambda target: _fill(source, target, copy.where)))


def _fill(source: sa.Connection, target: sa.Connection, where: str) -> None:
    """Every row of one store into another that is empty."""
    if any(target.execute(sa.select(table).limit(1)).first() for table in _COPIED if table is not COUNTERS):
        raise BadInput(Problem(where, "", "a store that holds something", "an empty one: nothing is overwritten"))
    target.execute(COUNTERS.delete())
    for table in _COPIED:
        query = sa.select(table)
        if table is COUNTERS:
            query = query.where(COUNTERS.c.name.not_like(f"{SESSION}%"))
        found = source.execution_options(stream_results=True, yield_per=_AT_ONCE).execute(query)
        for rows in found.partitions():
            _insert(target, table, rows)


def _insert(target: sa.Connection, table: sa.Table, rows: Sequence[Any]) -> None:
    if target.dialect.name == "sqlite":
        places = ", ".join("?" * len(table.columns))
        target.exec_driver_sql(f"INSERT INTO {table.name} VALUES ({places})", [tuple(row) for row in rows])
        return
    names = ", ".join(table.columns.keys())
    driver: Any = target.connection.driver_connection
    with driver.cursor().copy(f"COPY {table.name} ({names}) FROM STDIN") as stream:
        for row in rows:
            stream.write_row(row)


def _copy_recordings(database: Database, source: Path, into: Path) -> None:
    """The files of the recordings that a database lists, those that are sound."""
    try:
        for kept in database.read(lambda connection: recordings.find(connection, point=None, since=None, until=None)):
            if recordings.wrong(source, kept) is None:
                recordings.place(into, kept.file, (source / kept.file).read_bytes())
    except OSError as error:
        raise BadInput(_unwritable(into, error)) from None


def _own_check(connection: sa.Connection) -> list[str]:
    """What the database itself finds wrong."""
    said = []
    if connection.dialect.name == "sqlite":
        said = [row[0] for row in connection.exec_driver_sql("PRAGMA integrity_check") if row[0] != "ok"]
    else:
        for setting in ("fsync", "full_page_writes"):
            if connection.exec_driver_sql(f"SHOW {setting}").scalar() != "on":
                said.append(f"{setting} is off in this server: what it acknowledges is lost with the supply")
    orphans = connection.scalar(sa.select(sa.func.count()).where(READINGS.c.series.not_in(sa.select(SERIES.c.id))))
    return [*said, f"{orphans} readings of no series"] if orphans else said


def _unwritable(path: Path, error: OSError) -> Problem:
    return Problem(str(path), "", error.strerror or str(error), "a place with room that can be written")


def _sync(path: Path) -> None:
    if path.is_dir():
        sync_folder(path)
        return
    with path.open("rb") as stream:
        os.fsync(stream.fileno())
