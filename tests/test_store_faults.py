"""What a store survives: kills, lost supplies, full disks, databases that go away, interrupted migrations. Nothing acknowledged is
lost, nothing is kept by half or twice, the store opens and its chain of entries verifies.
"""

import itertools
import multiprocessing
import os
import random
import select
import shutil
import signal
import socket
import sqlite3
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import alembic.command  # noqa: F401  so that what is forked need not load it
import numpy as np
import pytest
import sqlalchemy as sa

from failing_disk import Disk, watched
from gearcase.errors import BadInput
from gearcase.record.store import Event, Reading, Store, database, migrations
from gearcase.record.store.database import Database
from gearcase.signal.recording import Recording
from postgresql import LoopDisk, Server, running, small_disk

Place = Path | str
SEEN = Event(10.0, "acknowledged", "input end", "", "A. Person", {})
WAVE = Recording((np.random.default_rng(3).integers(-999, 999, 4000) * 0.125).astype(np.float32), 25600.0, "m/s2", step=0.125)
OLD = Path(__file__).parent / "reference" / "store-version-1.sqlite"


def batch(number: int) -> list[Reading]:
    return [Reading(float(number), "p", quantity, float(number), "-") for quantity in ("a", "b", "c")]


def work(store: Store, numbers: range, said: Callable[[str], object]) -> None:
    """Keep something under each number, and say it when it is acknowledged."""
    for number in numbers:
        store.add_readings(batch(number))
        said(f"readings {number}")
        if number % 3 == 0:
            store.add_event(replace(SEEN, time_s=float(number), says=str(number)))
            said(f"entry {number}")
        if number % 4 == 0:
            store.keep_recording(replace(WAVE, samples=WAVE.samples + number), time_s=float(number), why="levels")
            said(f"recording {number}")


def require_whole(store: Store, acknowledged: set[str], since: int) -> None:
    """Everything acknowledged is there once and whole; what was not acknowledged is whole or not there."""
    readings = store.readings(since=float(since))
    numbers, counts = np.unique(readings.time_s, return_counts=True)
    assert np.all(counts == 3)  # no batch is cut, none doubled
    events = [event.says for event in store.events(since=float(since))]
    assert len(set(events)) == len(events)
    recordings = store.kept_recordings(since=float(since))
    for kept in recordings:
        assert np.array_equal(store.read_recording(kept).samples, WAVE.samples + np.float32(kept.time_s))
    found = {f"readings {number:.0f}" for number in numbers} | {f"entry {says}" for says in events}
    found |= {f"recording {kept.time_s:.0f}" for kept in recordings}
    assert acknowledged <= found
    assert len(found - acknowledged) <= 1  # the one that was on its way
    assert len(recordings) == len({kept.time_s for kept in recordings})


def write_on(place: Place, folder: Path, first: int, said: int) -> None:
    with Store.open(place, recordings=folder, wait_s=30.0) as store:
        os.write(said, b"open\n")
        work(store, range(first, first + 100_000), lambda words: os.write(said, f"{words}\n".encode()))


@pytest.mark.long
def test_two_hundred_kills_lose_nothing_acknowledged(place: Place, tmp_path: Path) -> None:
    chance, fork = random.Random(20), multiprocessing.get_context("fork")
    kills, total = 200, 0
    for n in range(kills):
        first = 1_000_000 * n
        ours, theirs = os.pipe()
        writer = fork.Process(target=write_on, args=(place, tmp_path / "recordings", first, theirs))
        writer.start()
        os.close(theirs)
        with os.fdopen(ours) as heard:
            lines = [heard.readline() for _ in range(chance.randrange(12))]  # none: it is killed while it opens
            time.sleep(chance.uniform(0.0, 0.01))
            writer.kill()
            acknowledged = {line.strip() for line in (*lines, *heard) if line.endswith("\n")} - {"open"}
        writer.join()
        with Store.open(place, recordings=tmp_path / "recordings", wait_s=30.0) as store:  # verifies the chain
            require_whole(store, acknowledged, first)
        total += len(acknowledged)
    assert total > 2.5 * kills  # the kills did not all come before there was anything to lose


def played(folder: Path, numbers: range, monkeypatch: pytest.MonkeyPatch, *, synced: bool = True) -> Disk:
    """A store made and written on a disk that notes everything."""
    if not synced:
        monkeypatch.setattr(database, "_settings", lambda connection, _: connection.execute("PRAGMA synchronous = OFF"))
    with watched(folder) as disk:
        store = Store.open(folder / "r.sqlite")
        store.database.read(lambda connection: connection.exec_driver_sql("PRAGMA wal_autocheckpoint = 40"))  # many of them
        work(store, numbers, lambda words: disk.note("acknowledged", words))
        store.close()
    return disk


def lost(disk: Disk, at: int, chance: random.Random, into: Path) -> None:
    """Lose the supply once, and look at what is left."""
    acknowledged = disk.after_loss(at, chance, into)
    try:
        with Store.open(into / "r.sqlite") as store:
            require_whole(store, acknowledged, 0)
    finally:
        shutil.rmtree(into)


@pytest.mark.parametrize("times", [25, pytest.param(500, marks=pytest.mark.long)])
def test_a_lost_supply_loses_nothing_acknowledged(times: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    disk, chance = played(tmp_path / "disk", range(40), monkeypatch), random.Random(21)
    assert {what for what, *_ in disk.done} >= {"write", "sync", "sync folder", "rename", "acknowledged"}
    for _ in range(times):
        (tmp_path / "after").mkdir()
        lost(disk, chance.randrange(len(disk.done) + 1), chance, tmp_path / "after")


def test_a_store_that_does_not_sync_is_seen_to_lose(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The disk of the test above can tell: without syncs acknowledged rows are lost, or the file with them."""
    disk, chance = played(tmp_path / "disk", range(40), monkeypatch, synced=False), random.Random(22)
    monkeypatch.undo()
    losses = 0
    for _ in range(15):
        (tmp_path / "after").mkdir()
        try:
            lost(disk, chance.randrange(len(disk.done) // 2, len(disk.done) + 1), chance, tmp_path / "after")
        except (AssertionError, BadInput):
            losses += 1
    assert losses > 5


def test_a_full_disk_at_any_write_keeps_all_or_nothing_and_room_mends_it(tmp_path: Path) -> None:
    with watched(tmp_path / "disk") as disk, Store.open(tmp_path / "disk" / "r.sqlite") as store:
        work(store, range(5), lambda _: None)
        acknowledged: set[str] = set()
        refused: list[str] = []
        for n in range(1, 60):
            disk.writes_left = n
            try:
                work(store, range(12 * n, 12 * n + 1), acknowledged.add)
            except BadInput as error:
                refused.append(error.problems[0].accepted)
            disk.writes_left = -1
            number = 12 * n
            kept = {f"readings {number}"} if len(store.readings(since=float(number))) else set()
            kept |= {f"entry {event.says}" for event in store.events(since=float(number))}
            kept |= {f"recording {one.time_s:.0f}" for one in store.kept_recordings(since=float(number))}
            assert kept == {words for words in acknowledged if words.endswith(f" {number}")}
            if f"recording {number}" in acknowledged:
                break
        assert 40 > len(refused) > 5 and all("room" in one for one in refused)
        work(store, range(1000, 1005), acknowledged.add)
        assert not list((tmp_path / "disk").rglob(".draft-*"))
        assert store.verify().problems == ()
    with Store.open(tmp_path / "disk" / "r.sqlite") as store:
        require_whole(store, {words for words in acknowledged if int(words.split()[1]) >= 1000}, 1000)


def test_what_could_not_be_synced_is_not_acknowledged(tmp_path: Path) -> None:
    with watched(tmp_path / "disk") as disk, Store.open(tmp_path / "disk" / "r.sqlite") as store:
        store.add_readings(batch(1))
        disk.sync_fails = True
        with pytest.raises(BadInput):
            store.add_readings(batch(2))
        disk.sync_fails = False
        store.add_readings(batch(3))
        assert {1.0, 3.0} <= set(store.readings().time_s)


@contextmanager
def written_without_end(address: str, folder: Path) -> Iterator[list[str]]:
    """A store that another thread writes by the watch's hold, and what was acknowledged so far; looked through in the end."""
    acknowledged: list[str] = []
    failed: list[BaseException] = []
    stop = threading.Event()

    def write() -> None:
        try:
            with Store.open(address, recordings=folder, wait_s=60.0) as store:
                store.hold()
                number = 0
                while not stop.is_set():
                    work(store, range(number, number + 1), acknowledged.append)
                    number += 1
        except BaseException as error:
            failed.append(error)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        yield acknowledged
    finally:
        stop.set()
        writer.join()
    assert not failed
    with Store.open(address, recordings=folder) as store:
        require_whole(store, set(acknowledged), 0)
        assert [f"entry {event.says}" for event in store.events()] == [said for said in acknowledged if said.startswith("entry")]
        assert store.verify().problems == ()  # fsync and full_page_writes are on


def until_more(acknowledged: list[str], count: int) -> None:
    """Wait until so many more were acknowledged."""
    wanted, until = len(acknowledged) + count, time.monotonic() + 60
    while len(acknowledged) < wanted:
        assert time.monotonic() < until
        time.sleep(0.005)


@pytest.mark.long
@pytest.mark.parametrize(("how", "times"), [("immediate", 5), ("kill -9", 6)])
def test_a_database_that_dies_while_it_is_written_loses_and_doubles_nothing(
    how: str, times: int, server: Server, tmp_path: Path
) -> None:
    chance = random.Random(24)
    with written_without_end(server.database(), tmp_path / "recordings") as acknowledged:
        for _ in range(times):
            until_more(acknowledged, 20)
            time.sleep(chance.uniform(0.0, 0.05))
            if how == "kill -9":
                server.kill()
            else:
                server.stop(how)
            time.sleep(0.3)
            server.start()
        until_more(acknowledged, 20)


@pytest.fixture
def quick(tmp_path: Path) -> Iterator[Path]:
    """A folder that the server's user can reach, in memory where there is such a place: its syncs take no time."""
    memory = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=memory if memory.is_dir() else None, ignore_cleanup_errors=True) as made:
        Path(made).chmod(0o755)
        for name in ("server", "small"):
            (Path(made) / name).mkdir()
        yield Path(made)


@pytest.mark.long
@pytest.mark.parametrize("synced", [True, False])
def test_a_database_whose_machine_loses_its_supply_loses_nothing_acknowledged(synced: bool, quick: Path, tmp_path: Path) -> None:
    """With fsync off the same disk is seen to lose: it can tell."""
    chance, folder = random.Random(25), quick / "server"
    disk = LoopDisk(folder, quick / "disk")
    try:
        with running(folder) as server:
            if not synced:
                require_a_loss_is_seen(server, disk, tmp_path / "recordings")
                return
            address = server.database()
            disk.sync()
            with written_without_end(address, tmp_path / "recordings") as acknowledged:
                for _ in range(30):
                    until_more(acknowledged, 20)
                    time.sleep(chance.uniform(0.0, 0.05))
                    disk.lose_supply(server)
                    server.start()
                until_more(acknowledged, 20)
    finally:
        disk.leave()


def require_a_loss_is_seen(server: Server, disk: LoopDisk, folder: Path) -> None:
    address = server.database()
    with Store.open(address, recordings=folder) as store:
        store.database.write(lambda connection: connection.exec_driver_sql("ALTER TABLE readings SET (autovacuum_enabled = off)"))
    server.settings = ("fsync=off",)
    server.stop("fast")
    disk.sync()
    server.start()
    acknowledged: set[str] = set()
    with Store.open(address, recordings=folder, wait_s=30.0) as store:
        work(store, range(60), acknowledged.add)
        disk.lose_supply(server)
        server.start()
    with Store.open(address, recordings=folder) as store:
        problems = store.verify().problems
        found = {f"readings {number:.0f}" for number in store.readings().time_s}
    assert any("fsync is off" in problem.given for problem in problems)
    assert {said for said in acknowledged if said.startswith("readings")} - found


@pytest.mark.long
@pytest.mark.parametrize("full", ["tables", "log"])
def test_a_database_whose_disk_is_full_says_so_keeps_all_or_nothing_and_room_mends_it(
    full: str, quick: Path, tmp_path: Path
) -> None:
    """Where the log finds no room the server dies, and stays down until there is some; else it refuses."""
    small, large = quick / "small", quick / "server"
    ballast = small / "ballast"
    with (
        small_disk(small, 120),
        running(small if full == "tables" else large, log_folder=large if full == "tables" else small) as server,
        Store.open(server.database(), recordings=tmp_path / "recordings", wait_s=2.0) as store,
    ):
        acknowledged: set[float] = set()
        refused: list[str] = []
        numbers = itertools.count()
        for room in (200_000, 1_000_000, 2_000_000):
            with ballast.open("wb") as taken:
                os.posix_fallocate(taken.fileno(), 0, shutil.disk_usage(small).free - room)
            try:
                while True:
                    time_s = float(next(numbers))
                    store.add_readings(Reading(time_s, "p", str(n), time_s, "-") for n in range(300))
                    acknowledged.add(time_s)
            except BadInput as error:
                refused.append(error.problems[0].accepted)
            ballast.unlink()
            if not server.processes:
                server.start()
            store.add_event(replace(SEEN, says=f"{room}"))
        assert len(refused) == 3
        assert all("room on the disk" in one or (full == "log" and "a database that is there" in one) for one in refused)
        times, counts = np.unique(store.readings("p").time_s, return_counts=True)
        assert acknowledged <= set(times) and len(times) - len(acknowledged) <= 3
        assert set(counts) == {300}, "no batch is cut"
        assert len(store.events()) == 3 and store.verify().problems == ()


@contextmanager
def cut_after_commit(port: int, commits: list[int]) -> Iterator[int]:
    """A way to a database that lets no answer to a chosen commit through, and breaks the line instead."""
    seen, threads = 0, []

    def carry(client: socket.socket) -> None:
        nonlocal seen
        with client, socket.create_connection(("127.0.0.1", port)) as server:
            while True:
                for source in select.select([client, server], [], [])[0]:
                    data = source.recv(65536)
                    done = source is server and b"COMMIT\0" in data  # the server says that it is done: CommandComplete
                    seen += done
                    if not data or (done and seen in commits):
                        return
                    (client if source is server else server).sendall(data)

    def serve() -> None:
        while True:
            try:
                client, _ = listener.accept()
            except OSError:
                return
            threads.append(threading.Thread(target=carry, args=(client,)))
            threads[-1].start()

    with socket.create_server(("127.0.0.1", 0)) as listener:
        threads.append(threading.Thread(target=serve))
        threads[0].start()
        yield listener.getsockname()[1]
        listener.shutdown(socket.SHUT_RDWR)
        for thread in threads:
            thread.join()


@pytest.mark.long
@pytest.mark.parametrize("held", [False, True])
def test_a_commit_whose_answer_was_lost_is_not_made_again(server: Server, held: bool) -> None:
    address = server.database()
    Store.open(address).close()
    with cut_after_commit(server.port, [4, 7, 8]) as port, Store.open(address.replace(str(server.port), str(port))) as store:
        if held:
            store.hold()
        for number in range(12):
            store.add_event(replace(SEEN, says=str(number)))
    with Store.open(address) as store:
        assert [event.says for event in store.events()] == [str(number) for number in range(12)]


@pytest.mark.long
def test_a_database_that_stays_away_is_said_and_nothing_of_the_batch_is_kept(server: Server) -> None:
    with Store.open(server.database(), wait_s=1.0) as store:
        store.add_readings(batch(1))
        server.stop("immediate")
        try:
            with pytest.raises(BadInput, match="a database that is there"):
                store.add_readings(batch(2))
        finally:
            server.start()
        store.add_readings(batch(3))
        assert sorted(set(store.readings().time_s)) == [1.0, 3.0]


def version_1(place: Place) -> None:
    """A store as the program of version 1 left it."""
    if isinstance(place, Path):
        place.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(OLD, place)
        return
    into = Database(place, wait_s=5.0)
    migrations.upgrade(into, to="1")
    with sqlite3.connect(OLD) as old:
        readings = old.execute("SELECT point, quantity, time_s, value, unit, quality, state FROM readings").fetchall()
        events = old.execute("SELECT id, time_s, kind, point, says, who, details FROM events").fetchall()
    old.close()

    def fill(connection: sa.Connection) -> None:
        for table, rows in (("readings", readings), ("events", events)):
            for row in rows:
                connection.exec_driver_sql(f"INSERT INTO {table} VALUES (%s, %s, %s, %s, %s, %s, %s)", row)
        connection.exec_driver_sql("DROP TABLE alembic_version")

    into.migrate(fill)
    into.close()


def upgrade_until_killed(place: Place, statements: int) -> None:
    left = [statements]

    def count(*_: object) -> None:
        left[0] -= 1
        if left[0] < 0:
            os.kill(os.getpid(), signal.SIGKILL)

    sa.event.listen(sa.Engine, "before_cursor_execute", count)
    Store.open(place).close()


@pytest.mark.long
def test_a_migration_killed_at_any_statement_leaves_a_store_that_opens(place: Place) -> None:
    fork = multiprocessing.get_context("fork")
    version_1(place)
    for statements in range(200):
        one = fork.Process(target=upgrade_until_killed, args=(place, statements))
        one.start()
        one.join()
        if one.exitcode == 0:
            break
        assert one.exitcode == -signal.SIGKILL
        left = Database(place, wait_s=5.0)
        version = left.read(migrations._version)
        counted = left.read(lambda c: [c.exec_driver_sql(f"SELECT count(*) FROM {t}").scalar() for t in ("readings", "events")])
        left.close()
        if version == "1":
            assert counted == [60, 6]
        else:
            assert counted == [60, 3]  # taken over; it was killed while it looked at the result
    assert 30 < statements < 199
    with Store.open(place) as store:
        assert len(store.readings()) == 60 and [event.number for event in store.events()] == [1, 2, 3, 4, 5, 6]
        assert len(store.verify().problems) == 0 if isinstance(place, Path) else True


@pytest.mark.long
def test_thinning_killed_at_any_moment_leaves_each_reading_whole_or_in_its_interval(tmp_path: Path) -> None:
    fork, path = multiprocessing.get_context("fork"), tmp_path / "r.sqlite"
    with Store.open(path) as store:
        for day in range(40):
            store.add_readings([Reading(86400.0 * day + 10.0 * n, "p", "a", float(n), "-") for n in range(600)])
    chance = random.Random(23)
    for _ in range(40):
        one = fork.Process(target=thin, args=(path,))
        one.start()
        time.sleep(chance.uniform(0.0, 0.1))
        one.kill()
        one.join()
        with Store.open(path) as store:
            readings, extremes = store.readings(), store.extremes()
            assert len(readings) - len(extremes) + extremes.count.sum() == 24_000
            total = readings.value.sum() - extremes.mean.sum() + (extremes.mean * extremes.count).sum()
            assert total == pytest.approx(40 * 599 * 300)  # the sum of 0 to 599, forty times
    with Store.open(path) as store:
        store.thin(before_s=86400.0 * 40, minutes_before_s=86400.0 * 20, posted=path.parent / "none", needed=())
        assert (
            len(store.extremes()) == 20 * 2 + 1999
        )  # two hours of each of the older days; 100 minutes of each other, but the last


def thin(path: Path) -> None:
    with Store.open(path) as store:
        store.thin(before_s=86400.0 * 40, minutes_before_s=86400.0 * 20, posted=path.parent / "none", needed=())
