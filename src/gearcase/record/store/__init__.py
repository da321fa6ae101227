"""Readings, events and recordings of the watch, in one SQLite file or one PostgreSQL database, recordings as files beside.

A batch of readings is one transaction and one sync: when `Store.add_readings` returns, the rows survive a killed program and
a lost supply; the same holds of an event and of a recording. What was written is never changed; retention alone takes old readings
and recordings away, never what a person said. A reading that is there word for word is kept once, so a batch may be sent again
after a doubt; another value of the same moment is kept beside it, so nothing is lost where the clock was put back. Readers do not
wait for the writer. docs/store.md says what is kept how.
"""

from collections.abc import Callable, Collection, Iterable
from dataclasses import replace
from pathlib import Path
from types import TracebackType

from gearcase.errors import BadInput, Problem
from gearcase.record.store import diary, migrations, readings, recordings, retention
from gearcase.record.store.backup import Soundness, backup, examine, examine_backup, restore
from gearcase.record.store.database import Database
from gearcase.record.store.retention import Thinned, rested_on
from gearcase.record.store.values import QUALITIES, Event, Extremes, KeptRecording, Reading, Readings
from gearcase.signal.recording import Recording

__all__ = [
    "QUALITIES",
    "Event",
    "Extremes",
    "KeptRecording",
    "Reading",
    "Readings",
    "Soundness",
    "Store",
    "Thinned",
    "examine_backup",
    "is_made",
    "open_store",
    "recordings_path",
    "rested_on",
    "store_path",
]


def store_path(job_folder: Path) -> Path:
    """Where a job's readings are kept unless somebody says otherwise."""
    return job_folder / "results" / "watch" / "readings.sqlite"


def recordings_path(job_folder: Path) -> Path:
    """Where the recordings of a job's watch are kept."""
    return job_folder / "results" / "watch" / "recordings"


def is_made(job_folder: Path, address: str = "") -> bool:
    """Whether a job has a store; of a database that is known only when it is opened."""
    return bool(address) or store_path(job_folder).is_file()


def open_store(job_folder: Path, address: str = "", *, wait_s: float = 5.0) -> "Store":
    """The store of a job: the database its job.yaml names, or else its file; the rest as `Store.open`.

    Raises
    ------
    BadInput
    """
    return Store.open(address or store_path(job_folder), recordings=recordings_path(job_folder), wait_s=wait_s)


class Store:
    """An open store; close it, or use it as a context manager."""

    def __init__(self, database: Database, folder: Path | None) -> None:
        self.database, self._folder = database, folder

    @classmethod
    def open(cls, place: Path | str, *, recordings: Path | None = None, wait_s: float = 5.0) -> "Store":
        """Open a store, made if it is not there, brought up to date if an earlier version made it, people's entries verified.

        Parameters
        ----------
        place : Path or str
            A SQLite file, or the address of a PostgreSQL database, ``postgresql://host/name`` without a password.
        recordings : Path, optional
            Folder of the recordings; beside the file where not given.
        wait_s : float
            How long to wait for another program's write, or for a database that went away, before giving up. [s]

        Raises
        ------
        BadInput
            The place cannot be written, or the store is locked, damaged, of a later version or no store.
        """
        database = Database(place, wait_s=wait_s)
        store = cls(database, recordings or (place.parent / "recordings" if isinstance(place, Path) else None))
        try:
            migrations.upgrade(database)
            database.read(lambda connection: diary.verified(connection, database.where))
        except BaseException:
            store.close()
            raise
        return store

    @property
    def where(self) -> str:
        """The file or database, for people."""
        return self.database.where

    def hold(self) -> None:
        """Be the one watch of this store, until it is closed or the program ends, however it ends.

        Raises
        ------
        BadInput
            Another program is; the problem names it.
        """
        self.database.hold()

    def add_readings(self, batch: Iterable[Reading]) -> None:
        """Keep readings, all or none; they are on disk when this returns.

        Raises
        ------
        BadInput
            The disk is full, or the database is locked, damaged or gone. Nothing of the batch is kept.
        """
        given = list(batch)
        if given:
            self.database.write(lambda connection: readings.add(connection, given))

    def readings(
        self, point: str | None = None, quantity: str | None = None, since: float | None = None, until: float | None = None
    ) -> Readings:
        """Readings in order of time, those of `since` with, those of `until` without; of one moment, in order of keeping.

        Where old readings were thinned the mean of an interval stands in its middle; `extremes` has the rest.

        Raises
        ------
        BadInput
            The store is damaged or gone.
        """
        asked = {"point": point, "quantity": quantity}
        return self.database.read(lambda connection: readings.find(connection, **asked, since=since, until=until))

    def extremes(self, point: str | None = None, quantity: str | None = None) -> Extremes:
        """Least, greatest and mean values of what was thinned.

        Raises
        ------
        BadInput
            The store is damaged or gone.
        """
        return self.database.read(lambda connection: readings.extremes(connection, point=point, quantity=quantity))

    def latest(self) -> tuple[Reading, ...]:
        """The reading of every quantity at every point that was kept last, whatever the clock said then.

        Raises
        ------
        BadInput
            The store is damaged or gone.
        """
        return self.database.read(readings.latest)

    def add_event(self, event: Event) -> None:
        """Keep an event; it is on disk when this returns. One that a person makes (`who`) can never be changed.

        Raises
        ------
        BadInput
            The disk is full, or the database is locked, damaged or gone; or a person's details are no plain, finite data.
        """
        self.database.write(lambda connection: diary.add(connection, event))

    def events(self, since: float | None = None, *, after: int = 0) -> tuple[Event, ...]:
        """Events in the order in which they were kept: from the time `since` on, and of those numbered beyond `after`.

        Raises
        ------
        BadInput
            The store is damaged or gone.
        """
        return self.database.read(lambda connection: diary.find(connection, since=since, after=after))

    def keep_recording(self, recording: Recording, *, time_s: float, why: str) -> Recording:
        """Keep a recording; file and row are on disk when this returns.

        Parameters
        ----------
        recording : Recording
            Its `step` decides whether the samples are kept as counts of 16 bits.
        time_s : float
            When it was taken, Unix time. [s]
        why : str
            What for, e.g. ``levels`` or ``diagnosis``.

        Returns
        -------
        Recording
            The same with the hash of its file, by which results can name it.

        Raises
        ------
        BadInput
            The disk is full, or the database cannot be written. The recording is not kept.
        """
        file = recordings.write(self._recordings(), recording, time_s=time_s)
        self.database.write(lambda connection: recordings.insert(connection, recording, file, time_s=time_s, why=why))
        return replace(recording, sha256=file[1])

    def kept_recordings(
        self, point: str | None = None, since: float | None = None, until: float | None = None
    ) -> tuple[KeptRecording, ...]:
        """Recordings in order of time, those of `since` with, those of `until` without.

        Raises
        ------
        BadInput
            The store is damaged or gone.
        """
        return self.database.read(lambda connection: recordings.find(connection, point=point, since=since, until=until))

    def read_recording(self, kept: KeptRecording) -> Recording:
        """A recording as it was kept, its checksum verified.

        Raises
        ------
        BadInput
            Its file is missing or damaged; the problem names it.
        """
        return recordings.read(self._recordings(), kept)

    def thin(
        self,
        *,
        before_s: float,
        minutes_before_s: float | None,
        posted: Path,
        needed: Collection[str],
        going: Callable[[], bool] = lambda: True,
    ) -> Thinned:
        """Thin what is older than a moment, as `retention` says; a watch may go on meanwhile.

        Parameters
        ----------
        before_s : float
            Readings before it become minutes; recordings before it are thinned too. Unix time. [s]
        minutes_before_s : float or None
            Minutes before it become hours; None leaves them. Unix time. [s]
        posted : Path
            Folder of the recordings that were posted; it need not be there.
        needed : collection of str
            Hashes of the recordings that must stay: `retention.rested_on` gives those that the job's results rest on.
        going : callable
            Asked before each transaction; once it says no, the rest waits for another time.

        Raises
        ------
        BadInput
            The store cannot be written. Nothing is lost by half.
        """
        thinned = retention.thin_readings(self.database, before_s=before_s, going=going)
        coarser = Thinned()
        if minutes_before_s is not None:
            coarser = retention.thin_minutes(self.database, before_s=minutes_before_s, going=going)
        removed = retention.thin_recordings(self.database, self._recordings(), before_s=before_s, needed=needed)
        sent = retention.thin_posted(self.database, posted, before_s=before_s, needed=needed)
        return Thinned(
            thinned.readings,
            thinned.intervals,
            coarser.minutes,
            coarser.hours,
            removed.recordings + sent.recordings,
            removed.abandoned,
        )

    def verify(self, *, holds: str = "") -> Soundness:
        """Look the store through: the database's own check, the chain of entries, each recording against its checksum.

        `holds` is the hash of an entry that must be there, as somebody kept it.
        """
        return examine(self.database, self._recordings(), holds=holds)

    def backup(self, into: Path, *, who: str, when: str) -> Soundness:
        """Copy the store as it is at this moment into a new folder, while a watch may go on. Returns what the copy was found to be.

        Raises
        ------
        BadInput
            The folder is there already, or cannot be written.
        """
        return backup(self.database, self._recordings(), into, who=who, when=when)

    def restore(self, path: Path) -> Soundness:
        """Take up a backup, of either database, into this store, which must be empty.

        Raises
        ------
        BadInput
            The backup is damaged, or this store holds something or is watched.
        """
        return restore(path, self.database, self._recordings())

    def _recordings(self) -> Path:
        if self._folder is None:
            raise BadInput(Problem(self.where, "recordings", "", "a folder for the recordings, named when the store is opened"))
        return self._folder

    def close(self) -> None:
        """Let go of it."""
        self.database.close()

    def __enter__(self) -> "Store":
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.close()
