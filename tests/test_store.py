"""The store of readings: what is acknowledged stays, and a file that cannot be used is named with what to do."""

import math
import signal
import sqlite3
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from gearcase.errors import BadInput, OutOfRange
from gearcase.record.store import Event, Reading, Store, store_path

READING = Reading(1000.0, "input end", "overall velocity", 2.1e-3, "m/s", "good", "steady")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return store_path(tmp_path / "job")


def test_readings_come_back_by_point_quantity_and_time(path: Path) -> None:
    bad = Reading(1060.0, "input end", "overall velocity", None, "m/s", "bad", "unknown")
    warm = Reading(1000.0, "input end", "temperature", 335.15, "K")
    other = replace(READING, point="output end", time_s=990.0)
    with Store.open(path) as store:
        store.add_readings([READING, bad, warm, other])
        store.add_readings([])
        found = store.readings("input end", "overall velocity")
        assert list(found.time_s) == [1000.0, 1060.0] and list(found.quality) == ["good", "bad"]
        assert found.value[0] == 2.1e-3 and math.isnan(found.value[1])
        assert list(store.readings().time_s) == [990.0, 1000.0, 1000.0, 1060.0]
        assert list(store.readings(since=1000.0, until=1060.0).quantity) == ["overall velocity", "temperature"]
        assert store.latest() == (bad, warm, other)
        assert len(store.readings("nowhere")) == 0 and store.readings("nowhere").value.dtype == np.float64


def test_what_was_kept_stays_when_opened_again_and_the_same_moment_is_kept_once(path: Path) -> None:
    with Store.open(path) as store:
        store.add_readings([READING])
    with Store.open(path) as store:
        store.add_readings([replace(READING, value=9.0), replace(READING, time_s=1001.0)])
        assert list(store.readings().value) == [2.1e-3, 2.1e-3]


def test_events_keep_their_order_and_details(path: Path) -> None:
    first = Event(20.0, "alarm", "input end", "yellow", "", {"value": 1.5, "limits": [1, None]})
    second = Event(10.0, "acknowledged", "input end", "seen", "A. Person", {})
    with Store.open(path) as store:
        store.add_event(first)
        store.add_event(second)
        assert store.events() == (first, second)
        assert store.events(since=15.0) == (first,)


def test_a_batch_is_kept_whole_or_not_at_all(path: Path) -> None:
    with Store.open(path) as store:
        with pytest.raises(BadInput):
            store.add_readings([READING, replace(READING, time_s=1001.0, unit=None)])  # type: ignore[arg-type]
        assert len(store.readings()) == 0


@pytest.mark.parametrize("wrong", [{"quality": "fine"}, {"value": math.nan}, {"value": None}, {"time_s": math.inf}])
def test_a_reading_that_means_nothing_is_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(OutOfRange):
        replace(READING, **wrong)  # type: ignore[arg-type]


WRITER = """
import sys, pathlib
from gearcase.record.store import Reading, Store
store = Store.open(pathlib.Path(sys.argv[1]))
number = 0
while True:
    store.add_readings([Reading(float(number), "p", q, 1.0, "m/s") for q in ("a", "b", "c")])
    print(number, flush=True)
    number += 1
"""


def test_acknowledged_rows_survive_a_kill(path: Path) -> None:
    with subprocess.Popen([sys.executable, "-c", WRITER, str(path)], stdout=subprocess.PIPE, text=True) as writer:
        assert writer.stdout is not None
        lines = [writer.stdout.readline() for _ in range(20)]
        writer.send_signal(signal.SIGKILL)
        lines += writer.stdout.readlines()
    acknowledged = [float(line) for line in lines if line.endswith("\n")]
    with Store.open(path) as store:
        for quantity in ("a", "b", "c"):
            kept = set(store.readings(quantity=quantity).time_s)
            assert set(acknowledged) <= kept and len(kept) <= len(acknowledged) + 1
        assert len(store.readings()) % 3 == 0  # a batch is never cut


def test_each_commit_is_synced(path: Path) -> None:
    with Store.open(path) as store, store._engine.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 2  # FULL: <sqlite.org/pragma.html> (from memory)


def refusal(error: pytest.ExceptionInfo[BadInput], path: Path) -> str:
    (problem,) = error.value.problems
    assert problem.where == str(path)
    return problem.accepted


def test_a_full_disk_is_said_and_what_was_kept_stays(path: Path) -> None:
    with Store.open(path) as store:
        store.add_readings([READING])
        with store._engine.connect() as connection:
            connection.exec_driver_sql("PRAGMA max_page_count = 10")
        with pytest.raises(BadInput) as error:
            store.add_readings([replace(READING, time_s=float(n), unit="m" * 1000) for n in range(100)])
        assert "room on the disk" in refusal(error, path)
        assert list(store.readings().time_s) == [1000.0]


def test_a_locked_file_is_said(path: Path) -> None:
    with Store.open(path, wait_s=0.05) as store:
        holder = sqlite3.connect(path, isolation_level=None)
        holder.execute("BEGIN IMMEDIATE")
        with pytest.raises(BadInput) as error:
            store.add_readings([READING])
        assert "another program holds the file" in refusal(error, path)
        assert len(store.readings()) == 0  # reading goes on meanwhile
        holder.close()
        store.add_readings([READING])


def test_a_damaged_file_is_said_and_left_alone(path: Path) -> None:
    path.parent.mkdir(parents=True)
    path.write_bytes(b"not a store, 32 bytes or longer" * 200)
    before = path.read_bytes()
    with pytest.raises(BadInput) as error:
        Store.open(path)
    assert "move the damaged file aside" in refusal(error, path)
    assert path.read_bytes() == before


def test_a_store_of_a_later_version_is_refused(path: Path) -> None:
    Store.open(path).close()
    with sqlite3.connect(path) as later:
        later.execute("UPDATE schema SET version = 99")
    later.close()
    with pytest.raises(BadInput, match="version 99"):
        Store.open(path)


def test_a_folder_that_cannot_be_made_is_said(tmp_path: Path) -> None:
    (tmp_path / "results").write_text("a file where a folder should be")
    with pytest.raises(BadInput, match="a folder that can be written"):
        Store.open(store_path(tmp_path))


OPEN_AT_ONCE = """
import sys, time
from pathlib import Path
from gearcase.record.store import Store
while time.time() < float(sys.argv[2]):
    pass
with Store.open(Path(sys.argv[1])) as store:
    print(len(store.events()))
"""


def test_a_new_file_opened_by_many_at_once_is_made_once(tmp_path: Path) -> None:
    at = str(time.time() + 3.0)
    command = [sys.executable, "-c", OPEN_AT_ONCE, str(tmp_path / "readings.sqlite"), at]
    many = [subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) for _ in range(8)]
    said = [one.communicate(timeout=60) for one in many]
    assert [out.strip() for out, _ in said] == ["0"] * 8, [error[-500:] for _, error in said]
