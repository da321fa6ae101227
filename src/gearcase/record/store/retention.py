"""What may be taken out of a store when it has grown old, and what never.

Readings older than asked are thinned to an interval each of least, greatest, mean and count. An interval is left whole where the
run state or the quality changed within it, where something happened near it (alarm, diagnosis, whatever a person said: every event
but the watch's routine), and where it holds the last reading of its series. As the interval is the minute by which baseline and
trend take their means, both come to the same before and after. Of recordings one a week at each point and purpose stays, with all
that a result rests on and all near an event. Events and people's entries are never touched.

Each day of a series is one transaction: cut off at any moment, a reading is there whole or in its interval, never in both.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from gearcase.errors import BadInput, Problem
from gearcase.record import results
from gearcase.record.clock import unix_now
from gearcase.record.store import recordings
from gearcase.record.store.database import Database
from gearcase.record.store.diary import find as find_events
from gearcase.record.store.tables import INTERVALS, READINGS, RECORDINGS, SERIES
from gearcase.record.store.values import KeptRecording

__all__ = ["INTERVAL", "NEAR", "ROUTINE", "Thinned", "rested_on", "thin_readings", "thin_recordings"]

INTERVAL = 60.0  # s, the minute of `stages.minutes`
NEAR = 3600.0  # s before and after an event; common practice, no source
ROUTINE = ("watch started", "watch stopped", "run state", "light", "light lost", "judging", "input", "no record")
_DAY, _WEEK = 86400.0, 7 * 86400.0
_ABANDONED = 86400.0  # s since a file without a row was written


@dataclass(frozen=True)
class Thinned:
    """What was taken away: readings, and the intervals that stand for them; recordings; files that never came to be recordings."""

    readings: int = 0
    intervals: int = 0
    recordings: int = 0
    abandoned: int = 0


def rested_on(job_folder: Path) -> frozenset[str]:
    """Hashes of everything that a result of the job rests on: verdicts, baselines, handovers.

    Raises
    ------
    BadInput
        A result is damaged: what it rests on cannot be told.
    """
    home = job_folder / "results"
    stages = sorted(path.name for path in home.iterdir() if path.is_dir()) if home.is_dir() else []
    kept = (results.stored(job_folder, stage, number) for stage in stages for number in results.numbers(job_folder, stage))
    return frozenset(row["sha256"] for one in kept for row in one.header["read"])


def thin_readings(database: Database, *, before_s: float) -> Thinned:
    """Thin the readings before a moment. [s]

    Raises
    ------
    BadInput
        The store cannot be written any more; what was thinned until then is.
    """
    before = np.floor(before_s / INTERVAL) * INTERVAL
    moments = _eventful(database)
    taken = intervals = 0
    for series in database.read(lambda connection: connection.execute(sa.select(SERIES.c.id)).scalars().all()):
        start = database.read(partial(_first_not_thinned, series=series))
        while start is not None and start < before:
            until = float(min(np.floor(start / _DAY) * _DAY + _DAY, before))
            added, removed, start = database.write(partial(_thin, series=series, since=start, until=until, moments=moments))
            taken, intervals = taken + removed, intervals + added
    return Thinned(taken, intervals)


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
        raise BadInput(Problem(str(folder), "", error.strerror or str(error), "a folder that can be written")) from None
    return Thinned(recordings=len(gone), abandoned=abandoned)


def _first_not_thinned(connection: sa.Connection, series: int) -> float | None:
    """Where thinning of a series goes on; what comes later with an earlier time stays whole."""
    done = connection.scalar(sa.select(sa.func.max(INTERVALS.c.start_s)).where(INTERVALS.c.series == series))
    return _next(connection, series, -np.inf if done is None else float(done) + INTERVAL)


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


def _summary(rows: Sequence[Any]) -> dict[str, Any]:
    values = [row.value for row in rows if row.value is not None]
    found = (min(values), max(values), float(np.mean(values))) if values else (None, None, None)
    told = dict(zip(("least", "greatest", "mean"), found, strict=True))
    return {"count": len(rows), **told, "quality": rows[0].quality, "state": rows[0].state}


def _eventful(database: Database) -> NDArray[np.float64]:
    """When something happened that was no routine, in order. [s]"""
    events = database.read(lambda connection: find_events(connection, since=None, after=0))
    return np.sort([event.time_s for event in events if event.who or event.kind not in ROUTINE])


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


def _clear_away(folder: Path, listed: Collection[str]) -> int:
    """Remove files that a program left before their row was kept, once no program can still be at it."""
    count = 0
    for path in folder.glob("*/*"):
        if str(path.relative_to(folder)) not in listed and unix_now() - path.stat().st_mtime > _ABANDONED:
            path.unlink(missing_ok=True)
            count += 1
    return count
