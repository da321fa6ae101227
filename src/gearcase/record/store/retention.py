"""What may be taken out of a store when it has grown old, and what never.

Readings older than asked are thinned to an interval each of least, greatest, mean and count. An interval is left whole where the
run state or the quality changed within it, where something happened near it (alarm, a diagnosis that found something, whatever a
person said: every event but the watch's routine), and where it holds the last reading of its series. As the interval is the minute
by which baseline and trend take their means, both come to the same before and after. Minutes that are older still become hours by
the same rules: the extremes stay, baseline and trend have no use for them any more. Of recordings one a week at each point and
purpose stays, with all that a result rests on and all near an event; those that were posted count as a purpose of their own. Events
and people's entries are never touched.

A quarter of a day of a series is one transaction, and as much time as it took is left to others before the next: cut off at any
moment, a reading is there whole or in its interval, never in both.
"""

import json
import time
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Protocol

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from gearcase.errors import BadInput, Problem
from gearcase.record import results
from gearcase.record.clock import unix_now
from gearcase.record.store import recordings
from gearcase.record.store.database import Database
from gearcase.record.store.tables import ENTRIES, EVENTS, INTERVALS, READINGS, RECORDINGS, SERIES
from gearcase.record.store.values import KeptRecording

__all__ = [
    "HOUR",
    "INTERVAL",
    "NEAR",
    "ROUTINE",
    "Thinned",
    "rested_on",
    "thin_minutes",
    "thin_posted",
    "thin_readings",
    "thin_recordings",
]


INTERVAL = 60.0  # s, the minute of `stages.minutes`
HOUR = 3600.0  # s, what minutes become
NEAR = 3600.0  # s before and after an event; common practice, no source
ROUTINE = ("watch started", "watch stopped", "run state", "light", "light lost", "judging", "input", "no record", "thinned")
_SPANS = {INTERVAL: 6 * 3600.0, HOUR: 5 * 86400.0}  # s in one transaction: some 2,000 readings at a round every 10 s, 7,200 minutes
_WEEK = 7 * 86400.0
_SIDECAR = ".json"  # beside a posted recording, says what it does not
_ABANDONED = 86400.0  # s since a file without a row was written


@dataclass(frozen=True)
class Thinned:
    """What was taken away: readings, and the minutes that stand for them; minutes, and the hours that stand for those; recordings;
    files that never came to be recordings.
    """

    readings: int = 0
    intervals: int = 0
    minutes: int = 0
    hours: int = 0
    recordings: int = 0
    abandoned: int = 0

    @property
    def words(self) -> str:
        """For a person."""
        coarser = f", {self.minutes} minutes {self.hours} hours" if self.minutes else ""
        files = f"{self.recordings} recordings and {self.abandoned} abandoned files removed"
        return f"{self.readings} readings became {self.intervals} minutes{coarser}; {files}"


def rested_on(job_folder: Path) -> frozenset[str]:
    """Hashes of everything that a result of the job rests on: verdicts, baselines, handovers; not of what was found sound.

    Raises
    ------
    BadInput
        A result is damaged: what it rests on cannot be told.
    """
    home = job_folder / "results"
    stages = sorted(path.name for path in home.iterdir() if path.is_dir()) if home.is_dir() else []
    kept = (results.stored(job_folder, stage, number) for stage in stages for number in results.numbers(job_folder, stage))
    return frozenset(row["sha256"] for one in kept if one.document.get("verdicts") != [] for row in one.header["read"])


def thin_readings(database: Database, *, before_s: float, going: Callable[[], bool]) -> Thinned:
    """Thin the readings before a moment [s], for as long as `going` says so: it is asked before each transaction.

    Raises
    ------
    BadInput
        The store cannot be written any more; what was thinned until then is.
    """
    taken, intervals = _by_spans(database, before_s, INTERVAL, first=_first_not_thinned, thin=_thin, going=going)
    return Thinned(readings=taken, intervals=intervals)


def thin_minutes(database: Database, *, before_s: float, going: Callable[[], bool]) -> Thinned:
    """Make hours of the minutes before a moment [s]; otherwise as `thin_readings`."""
    taken, hours = _by_spans(database, before_s, HOUR, first=_first_minute, thin=_thin_minutes, going=going)
    return Thinned(minutes=taken, hours=hours)


def thin_recordings(database: Database, folder: Path, *, before_s: float, needed: Collection[str]) -> Thinned:
    """Thin the recordings before a moment [s], but for those whose hashes are `needed`; clear away files that never became one.

    Raises
    ------
    BadInput
        The store cannot be written, or a file not removed.
    """
    moments = _eventful(database)
    kept = database.read(lambda connection: recordings.find(connection, point=None, since=None, until=None))
    more = _but_one_a_week(one for one in kept if one.time_s < before_s)
    eventful = _near(np.array([one.time_s for one in more]), moments)
    gone = [one for one, near in zip(more, eventful, strict=True) if not near and one.sha256 not in needed]
    if gone:
        this = RECORDINGS.delete().where(RECORDINGS.c.number == sa.bindparam("one"))
        database.write(lambda connection: connection.execute(this, [{"one": one.number} for one in gone]))
    try:
        for one in gone:  # after their rows: a file without a row is cleared away another day, a row without a file is a loss
            (folder / one.file).unlink(missing_ok=True)
        abandoned = _clear_away(folder, {one.file for one in kept})
    except OSError as error:
        raise _unwritable(folder, error) from None
    return Thinned(recordings=len(gone), abandoned=abandoned)


def thin_posted(database: Database, folder: Path, *, before_s: float, needed: Collection[str]) -> Thinned:
    """Thin the recordings that were posted, files whose names begin with their hash and that say beside which point they are of; by
    the moment they came in, otherwise as `thin_recordings`.
    """
    found = []
    try:
        for path in sorted(folder.glob("*")):
            if path.name.startswith(".") or path.suffix == _SIDECAR or not path.is_file():
                continue
            found.append(KeptRecording(0, path.stat().st_mtime, _point_of(path), "posted", path.name, path.name.split()[0], 0, {}))
        more = _but_one_a_week(one for one in sorted(found, key=lambda one: one.time_s) if one.time_s < before_s)
        near = _near(np.array([one.time_s for one in more]), _eventful(database))
        stays = {sha256[: len(one.sha256)] for one in more for sha256 in needed}
        gone = [one for one, eventful in zip(more, near, strict=True) if not eventful and one.sha256 not in stays]
        for one in gone:
            (folder / one.file).unlink(missing_ok=True)
            (folder / f"{one.file}{_SIDECAR}").unlink(missing_ok=True)
    except OSError as error:
        raise _unwritable(folder, error) from None
    return Thinned(recordings=len(gone))


class _First(Protocol):
    def __call__(self, connection: sa.Connection, series: int) -> float | None: ...


class _Thin(Protocol):
    def __call__(
        self, connection: sa.Connection, series: int, since: float, until: float, moments: NDArray[np.float64]
    ) -> tuple[int, int, float | None]: ...


def _by_spans(
    database: Database, before_s: float, length: float, *, first: _First, thin: _Thin, going: Callable[[], bool]
) -> tuple[int, int]:
    """Thin every series to intervals of a length [s], span by span: how much was taken, and what stands for it."""
    before, span = float(np.floor(before_s / length) * length), _SPANS[length]
    moments = _eventful(database)
    taken = made = 0
    for series in database.read(lambda connection: connection.execute(sa.select(SERIES.c.id)).scalars().all()):
        start = database.read(partial(first, series=series))
        while start is not None and start < before and going():
            until = float(min(np.floor(start / span) * span + span, before))
            began = time.monotonic()
            added, removed, start = database.write(partial(thin, series=series, since=start, until=until, moments=moments))
            taken, made = taken + removed, made + added
            time.sleep(time.monotonic() - began)  # whoever waits to write has its turn
    return taken, made


def _first_not_thinned(connection: sa.Connection, series: int) -> float | None:
    """Where thinning of a series goes on; what comes later with an earlier time stays whole."""
    ends = INTERVALS.c.start_s + INTERVALS.c.seconds
    done = connection.scalar(sa.select(sa.func.max(ends)).where(INTERVALS.c.series == series))
    return _next(connection, series, -np.inf if done is None else float(done))


def _first_minute(connection: sa.Connection, series: int) -> float | None:
    """Where the minutes of a series go on to become hours."""
    one = INTERVALS.c
    done = connection.scalar(sa.select(sa.func.max(one.start_s)).where(one.series == series, one.seconds >= HOUR))
    return _next_minute(connection, series, -HOUR if done is None else float(done) + HOUR)


def _next_minute(connection: sa.Connection, series: int, since: float) -> float | None:
    one = INTERVALS.c
    query = sa.select(sa.func.min(one.start_s)).where(one.series == series, one.start_s >= since, one.seconds < HOUR)
    found = connection.scalar(query)
    return None if found is None else float(found)


def _next(connection: sa.Connection, series: int, since: float) -> float | None:
    query = sa.select(sa.func.min(READINGS.c.time_s)).where(READINGS.c.series == series)
    found = connection.scalar(query if since == -np.inf else query.where(READINGS.c.time_s >= since))
    return None if found is None else float(found)


def _thin(
    connection: sa.Connection, series: int, since: float, until: float, moments: NDArray[np.float64]
) -> tuple[int, int, float | None]:
    """Thin one span of a series: intervals made, readings taken, and where the next one begins."""
    one = READINGS.c
    query = sa.select(one.time_s, one.value, one.quality, one.state).where(one.series == series)
    rows = connection.execute(query.where(one.time_s >= since, one.time_s < until).order_by(one.time_s, one.kept)).all()
    last = connection.scalar(sa.select(SERIES.c.last_time_s).where(SERIES.c.id == series))
    time_s = np.array([row.time_s for row in rows])
    starts, firsts = np.unique(np.floor(time_s / INTERVAL) * INTERVAL, return_index=True)
    eventful = _near(starts + INTERVAL / 2, moments)
    made = []
    for start, first, end, near in zip(starts.tolist(), firsts, [*firsts[1:], len(rows)], eventful, strict=True):
        inside = rows[first:end]
        alike = len({(row.quality, row.state) for row in inside}) == 1
        if near or not alike or len(inside) == 1 or start <= last < start + INTERVAL:
            continue
        made.append({"series": series, "start_s": start, "seconds": INTERVAL, **_summary(inside)})
    if made:
        connection.execute(INTERVALS.insert(), made)
        gone = sa.and_(one.series == series, one.time_s >= sa.bindparam("start"), one.time_s < sa.bindparam("end"))
        spans = [{"start": row["start_s"], "end": row["start_s"] + INTERVAL} for row in made]
        connection.execute(READINGS.delete().where(gone), spans)
    return len(made), sum(row["count"] for row in made), _next(connection, series, until)


def _thin_minutes(
    connection: sa.Connection, series: int, since: float, until: float, moments: NDArray[np.float64]
) -> tuple[int, int, float | None]:
    """Make hours of one span of minutes: hours made, minutes taken, and where the next one begins."""
    one = INTERVALS.c
    minutes = (one.series == series, one.start_s >= since, one.start_s < until, one.seconds < HOUR)
    rows = connection.execute(sa.select(INTERVALS).where(*minutes).order_by(one.start_s)).all()
    hours: dict[float, list[Any]] = {}
    for row in rows:
        hours.setdefault(float(row.start_s // HOUR * HOUR), []).append(row)
    made, taken = [], 0
    for (start, inside), near in zip(hours.items(), _near(np.array([*hours]) + HOUR / 2, moments), strict=True):
        if near or len(inside) == 1 or len({(row.quality, row.state) for row in inside}) > 1:
            continue
        made.append({"series": series, "start_s": start, "seconds": HOUR, **_summary_of_minutes(inside)})
        taken += len(inside)
    if made:
        gone = sa.and_(one.series == series, one.start_s >= sa.bindparam("start"), one.start_s < sa.bindparam("end"))
        spans = [{"start": row["start_s"], "end": row["start_s"] + HOUR} for row in made]
        connection.execute(INTERVALS.delete().where(gone), spans)
        connection.execute(INTERVALS.insert(), made)
    return len(made), taken, _next_minute(connection, series, until)


def _summary_of_minutes(rows: Sequence[Any]) -> dict[str, Any]:
    known = [row for row in rows if row.mean is not None]
    mean = float(np.average([row.mean for row in known], weights=[row.count for row in known])) if known else None
    return {
        "count": sum(row.count for row in rows),
        "least": min((row.least for row in known), default=None),
        "greatest": max((row.greatest for row in known), default=None),
        "mean": mean,
        "quality": rows[0].quality,
        "state": rows[0].state,
    }


def _summary(rows: Sequence[Any]) -> dict[str, Any]:
    values = [row.value for row in rows if row.value is not None]
    found = (min(values), max(values), float(np.mean(values))) if values else (None, None, None)
    told = dict(zip(("least", "greatest", "mean"), found, strict=True))
    return {"count": len(rows), **told, "quality": rows[0].quality, "state": rows[0].state}


def _eventful(database: Database) -> NDArray[np.float64]:
    """When something happened that was no routine, in order. [s]"""

    def times(connection: sa.Connection) -> list[float]:
        said = connection.execute(sa.select(EVENTS.c.time_s, EVENTS.c.kind, EVENTS.c.details).where(EVENTS.c.kind.not_in(ROUTINE)))
        found = [row.time_s for row in said if row.kind != "diagnosis" or json.loads(row.details).get("verdicts") != []]
        return [*found, *connection.execute(sa.select(ENTRIES.c.time_s)).scalars()]

    return np.sort(np.array(database.read(times), dtype=np.float64))


def _near(moments: NDArray[np.float64], events: NDArray[np.float64]) -> NDArray[np.bool_]:
    near: NDArray[np.bool_] = np.searchsorted(events, moments - NEAR) < np.searchsorted(events, moments + NEAR, side="right")
    return near


def _but_one_a_week(kept: Iterable[KeptRecording]) -> list[KeptRecording]:
    """All but the first of each week, point and purpose."""
    stays: set[tuple[float, str, str]] = set()
    others = []
    for one in kept:
        week = (one.time_s // _WEEK, one.point, one.why)
        if week in stays:
            others.append(one)
        stays.add(week)
    return others


def _point_of(path: Path) -> str:
    """The point of a posted recording, as the file beside it has it."""
    try:
        return str(json.loads(path.with_name(path.name + _SIDECAR).read_text(encoding="utf-8")).get("point", ""))
    except (OSError, ValueError, AttributeError):
        return ""


def _unwritable(folder: Path, error: OSError) -> BadInput:
    return BadInput(Problem(str(folder), "", error.strerror or str(error), "a folder that can be written"))


def _clear_away(folder: Path, listed: Collection[str]) -> int:
    """Remove files that a program left before their row was kept, once no program can still be at it."""
    count = 0
    for path in folder.glob("*/*"):
        if str(path.relative_to(folder)) not in listed and unix_now() - path.stat().st_mtime > _ABANDONED:
            path.unlink(missing_ok=True)
            count += 1
    return count
