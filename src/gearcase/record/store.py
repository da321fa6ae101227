"""Readings and events of the watch, in one SQLite file.

A batch of readings is one transaction and one sync: when `Store.add_readings` returns, the rows survive a killed program and
a lost supply (write-ahead log, full sync). What was written is never changed: a reading of the same moment, point and
quantity given twice is kept once, so a batch may be sent again after a doubt. Readers do not wait for the writer.
"""

import math
import sqlite3
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType
from typing import Any

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray
from sqlalchemy.dialects.sqlite import insert
from sqlalchemy.exc import DBAPIError

from gearcase.errors import BadInput, OutOfRange, Problem

__all__ = ["QUALITIES", "Event", "Reading", "Readings", "Store", "store_path"]

_SWITCHES, _SWITCH_PAUSE = 50, 0.05  # [s]
SCHEMA_VERSION = 1
QUALITIES = ("good", "bad", "stale")

_TABLES = sa.MetaData()
_SCHEMA = sa.Table("schema", _TABLES, sa.Column("version", sa.Integer, nullable=False))
_READINGS = sa.Table(
    "readings",
    _TABLES,
    sa.Column("point", sa.Text, primary_key=True),
    sa.Column("quantity", sa.Text, primary_key=True),
    sa.Column("time_s", sa.REAL, primary_key=True),
    sa.Column("value", sa.REAL),
    sa.Column("unit", sa.Text, nullable=False),
    sa.Column("quality", sa.Text, nullable=False),
    sa.Column("state", sa.Text, nullable=False),
    sa.Index("readings_by_time", "time_s"),
    sqlite_with_rowid=False,
)
_EVENTS = sa.Table(
    "events",
    _TABLES,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("time_s", sa.REAL, nullable=False, index=True),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("point", sa.Text, nullable=False),
    sa.Column("says", sa.Text, nullable=False),
    sa.Column("who", sa.Text, nullable=False),
    sa.Column("details", sa.JSON, nullable=False),
)


@dataclass(frozen=True)
class Reading:
    """One value of one quantity at one point.

    Attributes
    ----------
    time_s : float
        Unix time, UTC. [s]
    point, quantity : str
        Measuring point, and what was read there in the trade's words, e.g. ``overall velocity``; the drive's own inputs
        (``running``, ``speed``, ``load``) have point ``""``.
    value : float or None
        In `unit`; None where nothing could be read.
    unit : str
        SI unit, or ``-``.
    quality : str
        ``good``, ``bad`` or ``stale``.
    state : str
        Run state while it was read, empty when nobody has judged it yet.

    Raises
    ------
    OutOfRange
        Another quality, a value that is no finite number, or a good reading without value.
    """

    time_s: float
    point: str
    quantity: str
    value: float | None
    unit: str
    quality: str = "good"
    state: str = ""

    def __post_init__(self) -> None:
        if self.quality not in QUALITIES:
            raise OutOfRange("quality", self.quality, f"one of: {', '.join(QUALITIES)}")
        if not math.isfinite(self.time_s) or (self.value is not None and not math.isfinite(self.value)):
            raise OutOfRange("reading", (self.time_s, self.value), "finite time and value; no value is None, with quality bad")
        if self.value is None and self.quality == "good":
            raise OutOfRange("value", None, "a good reading has a value")


@dataclass(frozen=True)
class Event:
    """Something that happened: alarm, acknowledgement, change of the drive. `details` is plain data; `number` counts those kept,
    0 before it is.
    """

    time_s: float
    kind: str
    point: str
    says: str
    who: str
    details: dict[str, Any]
    number: int = field(default=0, compare=False)


@dataclass(frozen=True)
class Readings:
    """Readings as columns, in order of time; a value that could not be read is NaN."""

    time_s: NDArray[np.float64]
    point: NDArray[np.str_]
    quantity: NDArray[np.str_]
    value: NDArray[np.float64]
    unit: NDArray[np.str_]
    quality: NDArray[np.str_]
    state: NDArray[np.str_]

    def __len__(self) -> int:
        return len(self.time_s)


def store_path(job_folder: Path) -> Path:
    """Where a job's readings are kept unless somebody says otherwise."""
    return job_folder / "results" / "watch" / "readings.sqlite"


class Store:
    """An open file of readings and events; close it, or use it as a context manager."""

    def __init__(self, path: Path, engine: sa.Engine) -> None:
        self.path = path
        self._engine = engine

    @classmethod
    def open(cls, path: Path, *, wait_s: float = 5.0) -> "Store":
        """Open a store, made if it is not there.

        Parameters
        ----------
        path : Path
        wait_s : float
            How long to wait for another program's write before giving up. [s]

        Raises
        ------
        BadInput
            The place cannot be written, or the file is locked, damaged, of a later version or no store.
        """
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise BadInput(Problem(str(path.parent), "", error.strerror or str(error), "a folder that can be written")) from None
        engine = sa.create_engine(sa.URL.create("sqlite", database=str(path)), connect_args={"timeout": wait_s})
        sa.event.listen(engine, "connect", _settings)
        store = cls(path, engine)
        try:
            store._make()
        except BaseException:
            store.close()
            raise
        return store

    def add_readings(self, readings: Iterable[Reading]) -> None:
        """Keep readings, all or none; they are on disk when this returns.

        Raises
        ------
        BadInput
            The disk is full, or the file is locked or damaged. Nothing of the batch is kept.
        """
        rows = [vars(reading) for reading in readings]
        if rows:
            with self._said(), self._engine.begin() as connection:
                connection.execute(insert(_READINGS).on_conflict_do_nothing(), rows)

    def readings(
        self, point: str | None = None, quantity: str | None = None, since: float | None = None, until: float | None = None
    ) -> Readings:
        """Readings in order of time, those of `since` with, those of `until` without.

        Raises
        ------
        BadInput
            The file is locked or damaged.
        """
        table = _READINGS.c
        asked = [
            None if point is None else table.point == point,
            None if quantity is None else table.quantity == quantity,
            None if since is None else table.time_s >= since,
            None if until is None else table.time_s < until,
        ]
        query = _in_order().where(*(clause for clause in asked if clause is not None))
        with self._said(), self._engine.connect() as connection:
            return _columns(connection.execute(query.order_by(table.time_s, table.point, table.quantity)).all())

    def latest(self) -> tuple[Reading, ...]:
        """The last reading of every quantity at every point.

        Raises
        ------
        BadInput
            The file is locked or damaged.
        """
        table = _READINGS.c
        last = sa.select(table.point, table.quantity, sa.func.max(table.time_s).label("time_s")).group_by(
            table.point, table.quantity
        )
        newest = last.subquery()
        same = [newest.c[key] == table[key] for key in ("point", "quantity", "time_s")]
        query = _in_order().join(newest, sa.and_(*same)).order_by(table.point, table.quantity)
        with self._said(), self._engine.connect() as connection:
            return tuple(Reading(*row) for row in connection.execute(query))

    def add_event(self, event: Event) -> None:
        """Keep an event; it is on disk when this returns.

        Raises
        ------
        BadInput
            The disk is full, or the file is locked or damaged.
        """
        with self._said(), self._engine.begin() as connection:
            row = {name: value for name, value in vars(event).items() if name != "number"}
            connection.execute(_EVENTS.insert(), row)

    def events(self, since: float | None = None, *, after: int = 0) -> tuple[Event, ...]:
        """Events in the order in which they were kept: from the time `since` on, and of those numbered beyond `after`.

        Raises
        ------
        BadInput
            The file is locked or damaged.
        """
        query = sa.select(*(column for column in _EVENTS.c if column.name != "id"), _EVENTS.c.id).order_by(_EVENTS.c.id)
        query = query.where(_EVENTS.c.id > after)
        if since is not None:
            query = query.where(_EVENTS.c.time_s >= since)
        with self._said(), self._engine.connect() as connection:
            return tuple(Event(*tuple(row)) for row in connection.execute(query))

    def close(self) -> None:
        """Let go of the file."""
        self._engine.dispose()

    def __enter__(self) -> "Store":
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.close()

    def _make(self) -> None:
        with self._said(), self._engine.begin() as connection:
            connection.exec_driver_sql("BEGIN IMMEDIATE")  # of two that open a new file at once, one makes it and the other waits
            _TABLES.create_all(connection)
            version = connection.execute(sa.select(_SCHEMA.c.version)).scalar()
            if version is None:
                connection.execute(_SCHEMA.insert(), {"version": SCHEMA_VERSION})
        if version not in (None, SCHEMA_VERSION):
            accepted = f"a store of version {SCHEMA_VERSION}; open it with the gearcase that made it, or move the file away"
            raise BadInput(Problem(str(self.path), "", f"version {version}", accepted))

    @contextmanager
    def _said(self) -> Iterator[None]:
        """What the file's engine complains of, as the file and what to do."""
        try:
            yield
        except DBAPIError as error:
            reason = str(error.orig)
            raise BadInput(Problem(str(self.path), "", reason, _what_to_do(reason))) from None


def _settings(connection: Any, _: Any) -> None:
    cursor = connection.cursor()
    if cursor.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
        _write_ahead(cursor)
    cursor.execute("PRAGMA synchronous = FULL")  # each commit is synced: acknowledged rows outlive a lost supply
    cursor.close()


def _write_ahead(cursor: Any) -> None:
    """Switch a new file over. Of two that do so at once one is refused without waiting, so it is asked again."""
    for tries_left in range(_SWITCHES, -1, -1):
        try:
            cursor.execute("PRAGMA journal_mode = WAL")
        except sqlite3.OperationalError as error:
            if not tries_left or "locked" not in str(error):
                raise
            time.sleep(_SWITCH_PAUSE)
        else:
            return


def _what_to_do(reason: str) -> str:
    lowered = reason.lower()
    if "full" in lowered:
        return "room on the disk: free some and start again; everything kept before is still there"
    if "locked" in lowered or "busy" in lowered:
        return "one writer: another program holds the file; stop it, or wait and try again"
    if "malformed" in lowered or "not a database" in lowered or "no such column" in lowered:
        return "a store as it was written; move the damaged file aside (keep it) and start again, or restore the backup"
    return "a file on a local disk that can be read and written"


def _in_order() -> "sa.Select[Any]":
    names = ("time_s", "point", "quantity", "value", "unit", "quality", "state")
    return sa.select(*(_READINGS.c[name] for name in names))


def _columns(rows: Iterable[Any]) -> Readings:
    time_s, point, quantity, value, unit, quality, state = list(zip(*rows, strict=True)) or [()] * 7
    return Readings(
        np.array(time_s, dtype=np.float64),
        np.array(point, dtype=np.str_),
        np.array(quantity, dtype=np.str_),
        np.array([math.nan if number is None else number for number in value], dtype=np.float64),
        np.array(unit, dtype=np.str_),
        np.array(quality, dtype=np.str_),
        np.array(state, dtype=np.str_),
    )
