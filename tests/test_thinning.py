"""The watch thins by itself as the job says: when, and that it holds up nobody."""

import asyncio
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from gearcase.errors import BadInput
from gearcase.job.build import Job, load
from gearcase.job.retention_schema import Retention
from gearcase.monitor.thinning import Thinning
from gearcase.record.store import Event, Reading, Store
from gearcase.record.store.retention import ROUTINE
from test_stages import EXAMPLES

DAY = 86400.0
NOW = 1.8e9
QUIET = {"run_state": "steady", "light": "green"}


@pytest.fixture(scope="module")
def job() -> Job:
    return replace(load(EXAMPLES / "demo"), retention=Retention(30 * DAY, 60 * DAY))


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "r.sqlite") as made:
        yield made


def thinning_of(store: Store, tmp_path: Path, said: list[Event]) -> Thinning:
    def say(kind: str, point: str, says: str, now: float | None, details: dict[str, object], who: str) -> None:
        said.append(Event(NOW, kind, point, says, who, details))

    return Thinning(tmp_path, store, lambda: NOW, say, ticks=0.0)


def test_it_is_due_once_a_day_in_a_quiet_hour_and_after_two_days_in_any(job: Job, store: Store, tmp_path: Path) -> None:
    said: list[Event] = []
    one = thinning_of(store, tmp_path, said)
    assert not one.due(job, **QUIET, ticks=3599.0) and one.due(job, **QUIET, ticks=3600.0)
    assert not one.due(replace(job, retention=Retention()), **QUIET, ticks=1e9), "off where the job says nothing"
    for busy in ({"run_state": "settling", "light": "blue"}, {"run_state": "steady", "light": "red"}):
        assert not one.due(job, **busy, ticks=3600.0) and one.due(job, **busy, ticks=3600.0 + DAY)
    asyncio.run(one.thin(job, 3600.0, lambda: True))
    assert not one.due(job, **QUIET, ticks=DAY) and one.due(job, **QUIET, ticks=3600.0 + DAY)
    (told,) = said
    assert told.kind in ROUTINE, "or it would keep its own hour from being thinned"
    again = thinning_of(store, tmp_path, said)
    again.remember(replace(told, time_s=NOW - DAY / 2), NOW, 0.0)
    assert not again.due(job, **QUIET, ticks=DAY / 2 - 1) and again.due(job, **QUIET, ticks=DAY / 2), "a restart does not forget"


def test_it_thins_as_the_job_says_and_says_what_it_did(job: Job, store: Store, tmp_path: Path) -> None:
    for age in (70, 40, 10):
        first = NOW - NOW % DAY - age * DAY
        store.add_readings(Reading(first + 10.0 * n, "p", "a", float(n), "-") for n in range(720))
    said: list[Event] = []
    asyncio.run(thinning_of(store, tmp_path, said).thin(job, 0.0, lambda: True))
    assert said[0].says == "1440 readings became 240 minutes, 120 minutes 2 hours; 0 recordings and 0 abandoned files removed"
    assert sorted(set(store.extremes().seconds)) == [60.0, 3600.0] and len(store.readings()) == 720 + 120 + 2


def test_nothing_is_thinned_while_a_jump_of_the_clock_is_not_explained(job: Job, store: Store, tmp_path: Path) -> None:
    store.add_readings(Reading(NOW - 40 * DAY + 10.0 * n, "p", "a", float(n), "-") for n in range(720))
    store.add_event(Event(NOW, "question", "", "the clock went forward", "", {"clock_jump_s": 9e7}))
    said: list[Event] = []
    one = thinning_of(store, tmp_path, said)
    asyncio.run(one.thin(job, 0.0, lambda: True))
    assert "the clock jumped" in said[0].says and len(store.readings()) == 720
    store.add_event(Event(NOW, "answer", "", "set", "A. Person", {"question": 1}))
    asyncio.run(one.thin(job, 0.0, lambda: True))
    assert len(store.readings()) < 720


def test_it_ends_with_the_watch_and_goes_on_another_day(job: Job, store: Store, tmp_path: Path) -> None:
    for age in (42, 41, 40):
        store.add_readings(Reading(NOW - age * DAY + 10.0 * n, "p", "a", float(n), "-") for n in range(720))
    one, asked = thinning_of(store, tmp_path, []), iter([True])
    asyncio.run(one.thin(job, 0.0, lambda: next(asked, False)))
    assert 720 <= len(store.readings()) - len(store.extremes()) < 3 * 720
    asyncio.run(one.thin(job, 0.0, lambda: True))
    assert store.extremes().count.sum() + len(store.readings()) - len(store.extremes()) == 3 * 720


def test_who_writes_meanwhile_has_its_turn_again_and_again(place: Path | str, tmp_path: Path) -> None:
    """One thread thins, this one writes: neither an own lock nor that of the database is held from first to last."""
    with Store.open(place, recordings=tmp_path / "recordings", wait_s=30.0) as store:
        for day in range(8):
            store.add_readings(Reading(DAY * day + 10.0 * n, "p", "a", float(n), "-") for n in range(4000))
        asked = {"before_s": DAY * 8, "minutes_before_s": DAY * 4, "posted": tmp_path / "none", "needed": ()}
        thins = threading.Thread(target=store.thin, kwargs=asked)
        thins.start()
        writes = 0
        while thins.is_alive():
            store.add_readings([Reading(DAY * 20 + writes, "p", "b", 1.0, "-")])
            writes += 1
            time.sleep(0.001)
        assert writes > 5  # of some seventeen spans


def test_minutes_that_end_before_they_begin_are_refused(tmp_path: Path) -> None:
    text = (EXAMPLES / "demo" / "job.yaml").read_text(encoding="utf-8")
    (tmp_path / "job.yaml").write_text(f"{text}\nretention: {{whole: 90 d, minutes: 730 d}}\n", encoding="utf-8")
    assert load(tmp_path).retention == Retention(90 * DAY, 730 * DAY)
    for wrong in ("{minutes: 730 d}", "{whole: 90 d, minutes: 80 d}"):
        (tmp_path / "job.yaml").write_text(f"{text}\nretention: {wrong}\n", encoding="utf-8")
        with pytest.raises(BadInput, match=r"longer than retention\.whole"):
            load(tmp_path)
