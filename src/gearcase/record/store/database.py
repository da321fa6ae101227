"""One database, SQLite in a file or PostgreSQL by URL, and a transaction on it that survives what it can.

`Database.write` ends when the transaction is on disk (SQLite: write-ahead log, full sync; PostgreSQL: synchronous commit), or says
why nothing of it was kept. A PostgreSQL that goes away in the middle is asked again for a while; where it went away during the
commit the number of that write, kept with it, tells whether it came through, so that nothing is kept twice. (PostgreSQL's own
record of transactions cannot: their numbers may be given again after a crash.)

One program may hold the store as its watch: SQLite by a lock on a file beside it, PostgreSQL by an advisory lock of the session
that writes. Either is freed with the program, however it ends. People's entries need no hold.
"""

import fcntl
import os
import secrets
import socket
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, TypeVar

import sqlalchemy as sa
from sqlalchemy.exc import DBAPIError, NoSuchModuleError

from gearcase.errors import BadInput, Problem
from gearcase.job.database import address_refused
from gearcase.record.results import make_folder

__all__ = ["SESSION", "Database"]

Result = TypeVar("Result")

_SWITCHES, _SWITCH_PAUSE = 50, 0.05  # [s]
_PAUSE = 0.2  # s between tries to reach a database that went away
SESSION = "session "  # before its name, what counts the writes of one program, in `counters`
_TRIES = 20  # of the lock, while an own lost session is given up
_LOST_LINE = ("idle=30", "interval=10", "count=3")  # s; the server notices within a minute that a holder's machine is off
_HOLD = 0x67656172  # of the advisory locks: any number that means nothing else in this database
_MIGRATION = _HOLD + 1
_GONE = ("08", "57P01", "57P02", "57P03")  # SQLSTATE: connection exceptions, and a server that stops or starts


class Database:
    """A database that can be read and written by transactions.

    Attributes
    ----------
    where : str
        As people know it; holds no password.
    sqlite : bool
    """

    def __init__(self, place: Path | str, *, wait_s: float) -> None:
        self.place, self.where, self.sqlite = place, str(place), isinstance(place, Path)
        self._wait_s = wait_s
        self._turn = threading.RLock()  # one writer at a time; a held PostgreSQL session is one connection
        self._holder: int | None = None
        self._session: sa.Connection | None = None
        self._count = 0  # of writes
        self._held = False
        self._name = f"{_me()} {secrets.token_hex(4)}"
        self._engine = _sqlite(place, wait_s) if isinstance(place, Path) else _postgresql(place, self._name)

    def read(self, work: Callable[[sa.Connection], Result]) -> Result:
        """What `work` finds; it sees one moment of the database.

        Raises
        ------
        BadInput
            The database cannot be read.
        """

        def once() -> Result:
            with self._engine.connect().execution_options(**self._snapshot()) as connection, connection.begin():
                return work(connection)

        return self._patiently(once)

    def write(self, work: Callable[[sa.Connection], Result]) -> Result:
        """Do `work`, all of it or nothing, and have it on disk. It may be called again where the database went away.

        Raises
        ------
        BadInput
            The disk is full, the database is locked, damaged, gone for too long, or held by another watch. Nothing is kept.
        """
        found: list[Result] = []  # of the try whose commit was asked for but not answered

        def once() -> Result:
            with self._writer() as connection:
                if found and _count_of(connection, self._name) == self._count:
                    return found[0]
                found.clear()
                with connection.begin():
                    result = work(connection)
                    if not self.sqlite:
                        connection.execute(_COUNTED, {"name": f"{SESSION}{self._name}", "count": self._count})
                        found.append(result)
                return result

        with self._turn:
            self._count += 1
            return self._patiently(once)

    def migrate(self, work: Callable[[sa.Connection], None]) -> None:
        """As `write`, one program at a time, of work that may be done twice and needs no tables."""

        def once() -> None:
            with self._writer() as connection, connection.begin():
                if not self.sqlite:
                    connection.execute(sa.text("SELECT pg_advisory_xact_lock(:key)"), {"key": _MIGRATION})
                work(connection)

        with self._turn:
            self._patiently(once)

    def hold(self) -> None:
        """Be the one watch of this store until `close`.

        Raises
        ------
        BadInput
            Another program is; the problem names it.
        """
        with self._turn:
            self._held = True
            try:
                if isinstance(self.place, Path):
                    self._holder = self._holder or _lock_file(self.place)
                else:
                    self._patiently(lambda: self._resume())
                    self.write(lambda connection: connection.execute(_FORGET, {"any": f"{SESSION}%", "length": len(SESSION)}))
            except BaseException:
                self._held = False
                raise

    def close(self) -> None:
        """Let go of the database, and of the hold."""
        with self._turn:
            if self._session is not None:
                self._session.close()
            if self._count and not self.sqlite:
                with suppress(DBAPIError), self._engine.begin() as connection:
                    connection.execute(_FORGET_ME, {"name": f"{SESSION}{self._name}"})
            self._engine.dispose()
            if self._holder is not None:
                os.close(self._holder)
            self._session = self._holder = None
            self._held = False

    @contextmanager
    def _writer(self) -> Iterator[sa.Connection]:
        """A connection to write by: that of the hold, where there is one."""
        if self._held and not self.sqlite:
            yield self._resume()
        else:
            with self._engine.connect().execution_options(writes=True) as connection:
                yield connection

    def _resume(self) -> sa.Connection:
        """The session of the hold, taken again where it was lost."""
        if self._session is None or self._session.closed or self._session.invalidated:
            if self._session is not None:
                self._session.close()
            self._session = None
            session = self._engine.connect()
            try:
                self._lock(session)
            except BaseException:
                session.close()
                raise
            self._session = session
        return self._session

    def _lock(self, session: sa.Connection) -> None:
        """Take the advisory lock, from an own session too that the server has not yet given up."""
        for _ in range(_TRIES):
            if session.scalar(sa.text("SELECT pg_try_advisory_lock(:key)"), {"key": _HOLD}):
                session.commit()
                return
            holder = session.execute(_HOLDER, {"key": _HOLD}).first()
            if holder is not None and holder.application_name != self._name:
                raise BadInput(_second(self.where, holder.application_name.rpartition(" ")[0]))
            if holder is not None:
                session.scalar(sa.text("SELECT pg_terminate_backend(:pid)"), {"pid": holder.pid})
            session.commit()
            time.sleep(_PAUSE)
        raise BadInput(_second(self.where, "another program"))

    def _snapshot(self) -> dict[str, Any]:
        return {} if self.sqlite else {"isolation_level": "REPEATABLE READ"}

    def _patiently(self, once: Callable[[], Result]) -> Result:
        """Do it, again where the database went away and may come back; say what else the engine complains of."""
        until = time.monotonic() + self._wait_s
        while True:
            try:
                return once()
            except DBAPIError as error:
                if self.sqlite or not _gone(error) or time.monotonic() > until:
                    raise BadInput(_complaint(self.where, error)) from None
                time.sleep(_PAUSE)
            except UnicodeError as error:
                raise BadInput(Problem(self.where, "", str(error), "text that can be written down")) from None


_COUNTED = sa.text("INSERT INTO counters VALUES (:name, :count) ON CONFLICT (name) DO UPDATE SET last = excluded.last")
_COUNT = sa.text("INSERT INTO counters VALUES (:name, 0) ON CONFLICT (name) DO UPDATE SET last = counters.last RETURNING last")
_FORGET_ME = sa.text("DELETE FROM counters WHERE name = :name")
_FORGET = sa.text(  # sessions that ended without a word
    "DELETE FROM counters WHERE name LIKE :any AND substr(name, :length + 1) NOT IN (SELECT application_name FROM pg_stat_activity)"
)
_HOLDER = sa.text(
    "SELECT a.pid, a.application_name FROM pg_locks l JOIN pg_stat_activity a USING (pid) "
    "WHERE l.locktype = 'advisory' AND l.objid = :key AND l.granted "
    "AND l.database = (SELECT oid FROM pg_database WHERE datname = current_database())"
)


def _sqlite(path: Path, wait_s: float) -> sa.Engine:
    try:
        make_folder(path.parent)
    except OSError as error:
        raise BadInput(Problem(str(path.parent), "", error.strerror or str(error), "a folder that can be written")) from None
    # the driver's own transactions would end at each change of a table; so it is told when to begin
    settings = {"timeout": wait_s, "isolation_level": None}
    engine = sa.create_engine(sa.URL.create("sqlite", database=str(path)), connect_args=settings)
    sa.event.listen(engine, "connect", _settings)
    sa.event.listen(engine, "begin", _begin)
    return engine


def _begin(connection: sa.Connection) -> None:
    writes = connection.get_execution_options().get("writes")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")  # a writer waits for its turn before it reads


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


def _postgresql(address: str, name: str) -> sa.Engine:
    settings = {
        "application_name": name,
        "options": "-c synchronous_commit=on " + " ".join(f"-c tcp_keepalives_{key}" for key in _LOST_LINE),
        "connect_timeout": 10,
    }
    if right := address_refused(address):
        raise BadInput(Problem("store", "", "", right))
    try:
        return sa.create_engine(sa.make_url(address), connect_args=settings)
    except (ImportError, NoSuchModuleError):
        accepted = "the driver of PostgreSQL: pip install 'gearcase[postgres]'"
        raise BadInput(Problem(address, "", "psycopg is not installed", accepted)) from None


def _count_of(connection: sa.Connection, name: str) -> int:
    """Number of the last write of a session that came through; waits while the server is still at one."""
    with connection.begin():
        return int(connection.execute(_COUNT, {"name": f"{SESSION}{name}"}).scalar_one())


def _gone(error: DBAPIError) -> bool:
    """Whether the server went away, stops or starts: it may come back."""
    state = getattr(error.orig, "sqlstate", None)
    refused = state is None and isinstance(error, sa.exc.OperationalError)  # it was not even reached
    return error.connection_invalidated or refused or str(state).startswith(_GONE)


def _me() -> str:
    return f"pid {os.getpid()} on {socket.gethostname()[:32]}"  # PostgreSQL keeps 63 bytes of a session's name


def _lock_file(path: Path) -> int:
    beside = path.with_name(f"{path.name}.lock")
    try:
        handle = os.open(beside, os.O_RDWR | os.O_CREAT, 0o644)
    except OSError as error:
        raise BadInput(Problem(str(beside), "", error.strerror or str(error), "a file that can be written")) from None
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        os.ftruncate(handle, 0)
        os.pwrite(handle, f"{_me()}\n".encode(), 0)
    except BlockingIOError:
        holder = os.pread(handle, 200, 0).decode("utf-8", "replace").strip()
        os.close(handle)
        raise BadInput(_second(str(path), holder or "another program")) from None
    except OSError as error:
        os.close(handle)
        raise BadInput(Problem(str(beside), "", error.strerror or str(error), "a file that can be locked")) from None
    return handle


def _second(where: str, holder: str) -> Problem:
    return Problem(where, "", f"watched already by {holder}", "one watch of one store: stop the other, or give this job its own")


def _complaint(where: str, error: DBAPIError) -> Problem:
    reason = str(error.orig).strip().partition("\n")[0]
    return Problem(where, "", reason, _what_to_do(str(error.orig), getattr(error.orig, "sqlstate", None)))


def _what_to_do(reason: str, state: str | None) -> str:
    lowered = reason.lower()
    if "full" in lowered or state == "53100":
        return "room on the disk: free some and start again; everything kept before is still there"
    if "database is locked" in lowered or "busy" in lowered or state in ("55P03", "40001", "40P01"):
        return "one writer: another program holds the file; stop it, or wait and try again"
    if "malformed" in lowered or "not a database" in lowered or "no such column" in lowered or "no such table" in lowered:
        return "a store as it was written; move the damaged file aside (keep it) and start again, or restore the backup"
    if state is not None or "connection" in lowered or "server" in lowered:
        return "a database that is there, lets this user in and can be written; a password comes from PGPASSWORD or ~/.pgpass"
    return "a file on a local disk that can be read and written"
