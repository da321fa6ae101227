"""Readings in the store: kept in batches, found by point, quantity and time; where they were thinned, the mean stands for them."""

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from gearcase.record.store.diary import advance
from gearcase.record.store.tables import INTERVALS, READINGS, SERIES
from gearcase.record.store.values import Extremes, Reading, Readings

__all__ = ["add", "extremes", "find", "latest"]

Key = tuple[str, str, str]  # point, quantity, unit

# one that is there already, word for word, is not kept again: a batch may be sent twice after a doubt
_SQLITE = (
    "INSERT INTO readings SELECT ?1, ?2, ?3, ?4, ?5, ?6 WHERE NOT EXISTS (SELECT 1 FROM readings AS r WHERE r.series = ?1 AND "
    "r.time_s = ?2 AND r.value IS ?4 AND r.quality = ?5 AND r.state = ?6)"
)
_POSTGRESQL = (
    "INSERT INTO readings SELECT * FROM unnest(%s::int[], %s::float8[], %s::bigint[], %s::float8[], %s::text[], %s::text[]) "
    "AS n (series, time_s, kept, value, quality, state) WHERE NOT EXISTS (SELECT 1 FROM readings AS r WHERE r.series = n.series "
    "AND r.time_s = n.time_s AND r.value IS NOT DISTINCT FROM n.value AND r.quality = n.quality AND r.state = n.state)"
)
_POINT_TO_LAST = sa.text(
    "UPDATE series SET last_time_s = :time_s, "
    "last_kept = (SELECT max(kept) FROM readings WHERE series = :id AND time_s = :time_s) WHERE id = :id"
)


def add(connection: sa.Connection, readings: Iterable[Reading]) -> None:
    """Keep a batch."""
    batch = list(dict.fromkeys(readings))
    first = advance(connection, "readings", len(batch)) - len(batch) + 1
    ids = _series(connection, dict.fromkeys((one.point, one.quantity, one.unit) for one in batch))
    rows = [
        (ids[one.point, one.quantity, one.unit], one.time_s, kept, one.value, one.quality, one.state)
        for kept, one in enumerate(batch, start=first)
    ]
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql(_SQLITE, rows)
    else:
        connection.exec_driver_sql(_POSTGRESQL, tuple(map(list, zip(*rows, strict=True))))
    last = {series: time_s for series, time_s, *_ in rows}
    connection.execute(_POINT_TO_LAST, [{"id": series, "time_s": time_s} for series, time_s in last.items()])


def find(
    connection: sa.Connection, *, point: str | None, quantity: str | None, since: float | None, until: float | None
) -> Readings:
    """Readings in order of time, those of one moment in order of point, quantity and keeping."""
    asked = _asked(connection, point, quantity)
    pieces = [_rows(connection, series.id, since, until) for series in asked]
    rows = [row for piece in pieces for row in piece]
    time_s, kept, value, quality, state = zip(*rows, strict=True) if rows else ((),) * 5
    series = np.repeat(np.arange(len(asked)), [len(piece) for piece in pieces])
    times = np.array(time_s, dtype=np.float64)
    order = np.lexsort((np.array(kept, dtype=np.int64), series, times))
    points, quantities, units = (_words([row[n] for row in asked])[series[order]] for n in (1, 2, 3))
    values = np.array(value, dtype=np.float64)
    return Readings(times[order], points, quantities, values[order], units, _words(quality)[order], _words(state)[order])


def extremes(connection: sa.Connection, *, point: str | None, quantity: str | None) -> Extremes:
    """What is left of thinned readings, in order of time, point and quantity."""
    asked = _asked(connection, point, quantity)
    names = ("start_s", "seconds", "count", "least", "greatest", "mean")
    query = sa.select(*(INTERVALS.c[name] for name in names))
    pieces = [connection.execute(query.where(INTERVALS.c.series == series.id)).all() for series in asked]
    rows = [row for piece in pieces for row in piece]
    columns = zip(*rows, strict=True) if rows else ((),) * len(names)
    start_s, seconds, count, *figures = (np.array(column, dtype=np.float64) for column in columns)
    series = np.repeat(np.arange(len(asked)), [len(piece) for piece in pieces])
    order = np.lexsort((series, start_s))
    points, quantities = (_words([row[n] for row in asked])[series[order]] for n in (1, 2))
    numbers = (figure[order] for figure in figures)
    return Extremes(start_s[order], seconds[order], points, quantities, count[order].astype(np.int64), *numbers)


def latest(connection: sa.Connection) -> tuple[Reading, ...]:
    """The reading of every quantity at every point that was kept last, whatever the clock said."""
    found = {}
    for series in connection.execute(sa.select(SERIES).order_by(SERIES.c.last_kept)).all():
        one = READINGS.c
        here = (one.series == series.id, one.time_s == series.last_time_s, one.kept == series.last_kept)
        row = connection.execute(sa.select(one.value, one.quality, one.state).where(*here)).one()
        words = (series.last_time_s, series.point, series.quantity, row.value, series.unit, row.quality, row.state)
        found[series.point, series.quantity] = Reading(*words)
    return tuple(found[key] for key in sorted(found))


def _series(connection: sa.Connection, wanted: Iterable[Key]) -> dict[Key, int]:
    """Numbers of series, of new ones too. Whoever keeps readings holds their counter, so no other adds one meanwhile."""
    ids = {(row.point, row.quantity, row.unit): row.id for row in connection.execute(sa.select(SERIES))}
    new = [key for key in wanted if key not in ids]
    ids.update(zip(new, range(max(ids.values(), default=0) + 1, len(ids) + len(new) + 1), strict=True))
    if new:
        rows = [
            dict(zip(("point", "quantity", "unit"), key, strict=True), id=ids[key], last_time_s=0.0, last_kept=0) for key in new
        ]
        connection.execute(SERIES.insert(), rows)
    return ids


def _asked(connection: sa.Connection, point: str | None, quantity: str | None) -> Sequence[Any]:
    query = sa.select(SERIES.c.id, SERIES.c.point, SERIES.c.quantity, SERIES.c.unit)
    if point is not None:
        query = query.where(SERIES.c.point == point)
    if quantity is not None:
        query = query.where(SERIES.c.quantity == quantity)
    return connection.execute(query.order_by(SERIES.c.point, SERIES.c.quantity, SERIES.c.id)).all()


def _rows(connection: sa.Connection, series: int, since: float | None, until: float | None) -> list[Any]:
    """Time, number of keeping, value, quality and state of one series; of a thinned interval its middle and its mean."""
    middle, one = INTERVALS.c.start_s + INTERVALS.c.seconds / 2, READINGS.c
    whole = sa.select(one.time_s, one.kept, one.value, one.quality, one.state).where(one.series == series)
    thinned = sa.select(middle, sa.literal(0), INTERVALS.c.mean, INTERVALS.c.quality, INTERVALS.c.state)
    thinned = thinned.where(INTERVALS.c.series == series)
    if since is not None:
        whole, thinned = whole.where(one.time_s >= since), thinned.where(middle >= since)
    if until is not None:
        whole, thinned = whole.where(one.time_s < until), thinned.where(middle < until)
    return [*connection.execute(whole).all(), *connection.execute(thinned).all()]


def _words(column: Sequence[str]) -> NDArray[np.str_]:
    """Words as an array; most columns hold one word over and over."""
    return np.full(len(column), column[0]) if len(set(column)) == 1 else np.array(column, dtype=np.str_)
