"""What the store costs on both databases: readings acknowledged a second, and the last hour of one point with ten million stored.

A batch of 20,000 readings is one sync; beside it the same rows go by one plain statement into a plain table of the same database,
so that what disk and machine do counts on both sides. The query is that of a page that shows a point: three quantities, a round
each ten seconds as the watch does it by default, so 1,080 readings of ten million; and of ten hours, 10,800. Beside it one plain
statement fetches the same rows. Run it by `make bench`; it starts a PostgreSQL of its own, and takes some minutes.
"""

import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from statistics import median

import sqlalchemy as sa

from gearcase.record.store import Reading, Store

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))
from postgresql import running

BATCH, BATCHES = 20_000, 20
POINTS, QUANTITIES = 10, ("overall velocity", "high-frequency acceleration", "temperature")
SERIES, STORED, HOUR, EVERY, ASKED = POINTS * len(QUANTITIES), 10_000_000, 3600.0, 10.0, 50
PLAIN = "point TEXT, quantity TEXT, time_s DOUBLE PRECISION, value DOUBLE PRECISION, unit TEXT, quality TEXT, state TEXT"
SECONDS = {
    "sqlite": "WITH RECURSIVE clock(t) AS (SELECT 0 UNION ALL SELECT t + 1 FROM clock WHERE t + 1 < {seconds})",
    "postgresql": "WITH clock(t) AS (SELECT generate_series(0, {seconds} - 1))",
}


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        Path(folder).chmod(0o755)
        (Path(folder) / "server").mkdir()
        with running(Path(folder) / "server") as server:
            for name, place in (("SQLite", Path(folder) / "r.sqlite"), ("PostgreSQL", server.database())):
                with Store.open(place) as store:
                    ingest(name, store)
                    query(name, store)


def ingest(name: str, store: Store) -> None:
    """Batches of readings, each acknowledged, and the same rows plainly."""
    store.database.write(lambda connection: connection.exec_driver_sql(f"CREATE TABLE plain ({PLAIN})"))
    insert = f"INSERT INTO plain VALUES ({', '.join(('?' if store.database.sqlite else '%s',) * 7)})"
    spent, plain, used = [], [], []
    for number in range(BATCHES):
        batch = [
            Reading(1e6 + number + n / BATCH, f"point {n % POINTS}", QUANTITIES[n % 3], n / 7, "m/s", "good", "steady")
            for n in range(BATCH)
        ]
        used.append(-time.process_time())
        spent.append(seconds(partial(store.add_readings, batch)))
        used[-1] += time.process_time()
        rows = [(one.point, one.quantity, one.time_s, one.value, one.unit, one.quality, one.state) for one in batch]
        plainly = partial(sa.Connection.exec_driver_sql, statement=insert, parameters=rows)
        plain.append(seconds(partial(store.database.write, plainly)))
    rate = BATCH / median(spent)
    print(
        f"{name}: {rate:,.0f} readings a second acknowledged, {BATCH:,} a sync (goal 20,000 at one sync a second); slowest batch "
        f"{max(spent):.2f} s, {median(used):.2f} s of this program's processor; "
        f"{median(spent) / median(plain):.1f} x the same rows by one statement into a plain table"
    )


def query(name: str, store: Store) -> None:
    """The last hour of one point, and its last ten."""
    rounds = STORED // SERIES

    def fill(connection: sa.Connection) -> None:
        connection.exec_driver_sql("DELETE FROM readings")
        clock = SECONDS["sqlite" if store.database.sqlite else "postgresql"].format(seconds=rounds)
        connection.exec_driver_sql(
            f"{clock} INSERT INTO readings SELECT s.id, 1e9 + {EVERY} * t, t * {SERIES} + s.id, s.id + t / 7.0, 'good', 'steady' "
            "FROM clock CROSS JOIN series AS s ORDER BY t, s.id"
        )

    store.database.write(fill)
    if not store.database.sqlite:
        store.database.write(lambda connection: connection.exec_driver_sql("ANALYZE readings"))
    stored = store.database.read(lambda connection: connection.exec_driver_sql("SELECT count(*) FROM readings").scalar())
    for hours in (1, 10):
        since = 1e9 + EVERY * rounds - hours * HOUR
        plainly = partial(store.database.read, partial(fetch, since))
        found = len(store.readings("point 3", since=since))
        used = time.process_time()
        for _ in range(ASKED):
            store.readings("point 3", since=since)
        used = (time.process_time() - used) / ASKED
        pairs = [(seconds(partial(store.readings, "point 3", since=since)), seconds(plainly)) for _ in range(ASKED)]
        times, plain = zip(*pairs, strict=True)
        print(
            f"{name}: last {hours} h of one point, {found:,} of {stored:,} readings: {1e3 * median(times):.1f} ms, fastest "
            f"{1e3 * min(times):.1f} (goal 20 ms for 1 h); {1e3 * used:.1f} ms of this program's processor; "
            f"{median(times) / median(plain):.1f} x one plain statement"
        )


def fetch(since: float, connection: sa.Connection) -> object:
    """The same rows by one plain statement."""
    query = "SELECT time_s, value, quality, state FROM readings JOIN series ON id = series WHERE point = 'point 3'"
    return connection.exec_driver_sql(f"{query} AND time_s >= {since}").cursor.fetchall()


def seconds(work: Callable[[], object]) -> float:
    """Time it takes."""
    started = time.perf_counter()
    work()
    return time.perf_counter() - started


if __name__ == "__main__":
    main()
