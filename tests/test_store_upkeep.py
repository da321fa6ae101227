"""The upkeep of a store: thinned without losing what matters, copied while it is written, restored in the other database."""

import json
import multiprocessing
import os
import shutil
import sqlite3
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from gearcase.checksums import sha256_of_bytes
from gearcase.cli import main
from gearcase.errors import BadInput
from gearcase.record import results
from gearcase.record.store import Event, Reading, Readings, Store, Thinned, examine_backup, rested_on
from gearcase.signal.recording import Recording
from gearcase.stages.minutes import Minutes

Place = Path | str
START = 1.79e9 - 1.79e9 % 86400  # a midnight, UTC
WEEK = 7 * 86400.0
ALARM = Event(START + 6 * 3600.0, "alarm", "input end", "yellow", "", {})
SEEN = Event(START + 18 * 3600.0, "acknowledged", "input end", "seen", "A. Person", {})
NONE = Path("nothing was posted")
WHEN = "2026-09-10T08:00:00+00:00"


def day(*, of: int = 0) -> list[Reading]:
    """A day of two series each ten seconds, the drive stopped for its last third; every fiftieth temperature could not be read."""
    random, found = np.random.default_rng(of), []
    for n in range(8640):
        time_s, state = START + 86400.0 * of + 10.0 * n + 0.25, "steady" if n < 5763 else "stopped"
        found.append(Reading(time_s, "input end", "overall velocity", float(random.lognormal(-6, 0.2)), "m/s", "good", state))
        warm = None if n % 50 == 0 else float(330 + random.normal())
        found.append(Reading(time_s, "sump", "temperature", warm, "K", "bad" if warm is None else "good", state))
    return found


def same(one: Readings, other: Readings) -> bool:
    return all(
        np.array_equal(a, b, equal_nan=a.dtype.kind == "f") for a, b in zip(vars(one).values(), vars(other).values(), strict=True)
    )


def test_thinning_keeps_extremes_means_and_whatever_was_near_an_event(place: Place, tmp_path: Path) -> None:
    with Store.open(place, recordings=tmp_path / "recordings") as store:
        store.add_readings(day())
        for event in (ALARM, SEEN, replace(ALARM, kind="light", time_s=START + 3600.0), replace(SEEN, time_s=START + 9 * 86400.0)):
            store.add_event(event)
        whole, events = store.readings(), store.events()
        thinned = store.thin(before_s=START + 86400.0, minutes_before_s=None, posted=NONE, needed=())
        found, extremes = store.readings(), store.extremes("input end")
        assert len(found) == len(whole) - thinned.readings + thinned.intervals and thinned.intervals > 1800
        assert store.events() == events
        for event in (ALARM, SEEN):  # an hour before and after
            near = (START + (event.time_s - START) - 3600.0, event.time_s + 3600.0)
            kept = store.readings(since=near[0], until=near[1])
            assert same(kept, Readings(*(c[(whole.time_s >= near[0]) & (whole.time_s < near[1])] for c in vars(whole).values())))
        # every interval against the readings it stands for, by numpy
        velocity = whole.quantity == "overall velocity"
        for n in range(len(extremes)):
            inside = velocity & (whole.time_s >= extremes.start_s[n]) & (whole.time_s < extremes.start_s[n] + extremes.seconds[n])
            values = whole.value[inside]
            assert (values.size, values.min(), values.max()) == (extremes.count[n], extremes.least[n], extremes.greatest[n])
            assert extremes.mean[n] == pytest.approx(values.mean(), rel=1e-12)
            assert len(set(whole.state[inside])) == 1
        assert extremes.greatest.max() <= whole.value[velocity].max() and len(extremes) > 900
        assert store.latest()[0].time_s == whole.time_s[-1]
        assert (
            store.thin(before_s=START + 86400.0, minutes_before_s=None, posted=NONE, needed=()) == Thinned()
        )  # nothing is thinned twice


def test_means_of_a_minute_are_the_same_before_and_after_thinning(tmp_path: Path) -> None:
    with Store.open(tmp_path / "r.sqlite") as store:
        store.add_readings(day())
        before = Minutes(store.readings())
        store.thin(before_s=START + 86400.0, minutes_before_s=None, posted=NONE, needed=())
        after = Minutes(store.readings())
    assert np.array_equal(before.minutes, after.minutes)
    for quantity, point in (("overall velocity", "input end"), ("temperature", "sump")):
        assert after.of(quantity, point) == pytest.approx(before.of(quantity, point), rel=1e-12, nan_ok=True)
    assert np.array_equal(before.running(), after.running(), equal_nan=True)


def test_thinning_goes_on_day_by_day_and_leaves_the_young_alone(tmp_path: Path) -> None:
    with Store.open(tmp_path / "r.sqlite") as store:
        for n in range(3):
            store.add_readings(day(of=n))
        young = store.readings(since=START + 2 * 86400.0)
        first = store.thin(before_s=START + 86400.0, minutes_before_s=None, posted=NONE, needed=())
        second = store.thin(
            before_s=START + 2 * 86400.0 + 30.0, minutes_before_s=None, posted=NONE, needed=()
        )  # cut to the whole minute
        assert first.readings == second.readings > 0
        assert same(store.readings(since=START + 2 * 86400.0), young)


WAVE = Recording(np.arange(256, dtype=np.float32), 25600.0, "m/s2", point="input end")


def test_old_recordings_are_thinned_but_not_those_that_something_rests_on(tmp_path: Path) -> None:
    job = tmp_path / "job"
    with Store.open(job / "results" / "watch" / "readings.sqlite") as store:
        folder = job / "results" / "watch" / "recordings"
        start = START - START % WEEK
        taken = [store.keep_recording(WAVE, time_s=start + 86400.0 * n, why="levels") for n in range(21)]
        store.add_event(replace(ALARM, time_s=start + 86400.0 * 10))
        results.write(
            job, "diagnose", document={"schema": "diagnose/1"}, arrays={}, pictures={}, who="", when=WHEN,
            read=[{"what": "recording", "sha256": store.keep_recording(replace(WAVE, samples=WAVE.samples + 1), time_s=start + 5.0,
                                                                        why="levels").sha256}],
        )  # fmt: skip
        (folder / "2026-09" / ".draft-x").write_bytes(b"torn")
        needed = rested_on(job)
        assert taken[0].sha256 not in needed and len(needed) == 1
        thinned = store.thin(before_s=start + 86400.0 * 16, minutes_before_s=None, posted=NONE, needed=needed)
        days = [(kept.time_s - start) / 86400.0 for kept in store.kept_recordings()]
        assert days == [0, 5.0 / 86400.0, 7, 10, 14, 16, 17, 18, 19, 20] and thinned.recordings == 12
        assert len(list(folder.rglob("*.parquet"))) == len(days)
        assert store.verify().problems == ()
        assert (folder / "2026-09" / ".draft-x").exists() and thinned.abandoned == 0  # its writer may be at it still
        os.utime(folder / "2026-09" / ".draft-x", (0, 0))
        assert (
            store.thin(before_s=start, minutes_before_s=None, posted=NONE, needed=needed).abandoned == 1
            and not (folder / "2026-09" / ".draft-x").exists()
        )


def test_minutes_become_hours_that_keep_extremes_and_the_mean_of_the_readings(place: Place, tmp_path: Path) -> None:
    """Against numpy over the readings as they were; what is near an event, or an hour in which the run state changed, stays."""
    rows = []
    with Store.open(place, recordings=tmp_path / "recordings") as store:
        turned = (START + 10.5 * 3600.0, START + 11 * 3600.0)
        for one in (*day(), *day(of=1)):
            rows.append(replace(one, state="settling") if turned[0] <= one.time_s < turned[1] else one)
        store.add_readings(rows)
        store.add_event(ALARM)
        whole = store.readings()
        asked = {"before_s": START + 2 * 86400.0, "posted": NONE, "needed": ()}
        store.thin(minutes_before_s=None, **asked)
        minutes = store.extremes("input end")
        thinned = store.thin(minutes_before_s=START + 86400.0 + 1800.0, **asked)
        assert thinned.readings == thinned.intervals == 0 and thinned.hours == 42 and thinned.minutes > 55 * thinned.hours
        left = store.extremes("input end")
        hours = left.seconds == 3600.0
        assert left.count.sum() == minutes.count.sum(), "no reading counts twice, none is lost"
        velocity = (whole.quantity == "overall velocity") & (whole.time_s < START + 86400.0)
        velocity &= whole.time_s // 60.0 != (START + 57630.0) // 60.0  # in which the drive stopped: it stays whole
        for start, count, least, greatest, mean in zip(
            *(column[hours] for column in (left.start_s, left.count, left.least, left.greatest, left.mean)), strict=True
        ):
            values = whole.value[velocity & (whole.time_s >= start) & (whole.time_s < start + 3600.0)]
            assert (count, least, greatest) == (values.size, values.min(), values.max())
            assert mean == pytest.approx(values.mean(), rel=1e-12)
        kept = {float(one) for one in (left.start_s[~hours] - START) // 3600.0}
        assert kept == {10.0, *range(24, 48)}, "near the alarm they were never minutes; what is younger stays as it is"
        assert store.thin(minutes_before_s=START + 86400.0 + 1800.0, **asked) == Thinned()


def test_posted_recordings_are_thinned_like_the_stores_own(tmp_path: Path) -> None:
    job = tmp_path / "job"
    posted = job / "results" / "watch" / "incoming"
    posted.mkdir(parents=True)
    start = START - START % WEEK
    with Store.open(job / "results" / "watch" / "readings.sqlite") as store:
        for n in range(21):
            sha256 = sha256_of_bytes(bytes([n]))
            path = posted / f"{sha256[:24]} input-end.wav"
            path.write_bytes(bytes([n]))
            (posted / f"{path.name}.json").write_text(json.dumps({"point": "input end"}))
            os.utime(path, (start + 86400.0 * n, start + 86400.0 * n))
            found = [{"component": "bearing", "fault": "outer_race"}] if n == 4 else []
            results.write(
                job, "diagnose", document={"schema": "diagnose/1", "verdicts": found}, arrays={}, pictures={}, who="", when=WHEN,
                read=[{"what": "recording", "sha256": sha256}],
            )  # fmt: skip
            store.add_event(Event(start + 86400.0 * n, "diagnosis", "input end", "sound", "", {"verdicts": []}))
        store.add_event(replace(ALARM, time_s=start + 86400.0 * 10))
        needed = rested_on(job)
        assert len(needed) == 1, "what was found sound holds nothing"
        thinned = store.thin(before_s=start + 86400.0 * 16, minutes_before_s=None, posted=posted, needed=needed)
    left = sorted((path.stat().st_mtime - start) / 86400.0 for path in posted.glob("*.wav"))
    assert left == [0, 4, 7, 10, 14, 16, 17, 18, 19, 20] and thinned.recordings == 11
    assert len(list(posted.glob("*.json"))) == len(left)


def filled(place: Place, folder: Path) -> Store:
    store = Store.open(place, recordings=folder)
    store.add_readings(day())
    store.thin(before_s=START + 43200.0, minutes_before_s=None, posted=NONE, needed=())
    for event in (ALARM, SEEN, replace(SEEN, says="again")):
        store.add_event(event)
    for n in range(3):
        store.keep_recording(replace(WAVE, point=f"point {n}"), time_s=START + n, why="diagnosis")
    return store


@pytest.mark.parametrize("target", ["sqlite", pytest.param("postgresql", marks=pytest.mark.long)])
def test_a_backup_of_either_database_is_restored_in_either(
    place: Place, target: str, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    copy = tmp_path / "backups" / "monday"
    with filled(place, tmp_path / "one") as store:
        found = store.backup(copy, who="A. Person", when=WHEN)
        assert found.problems == () and (found.entries, found.recordings) == (2, 3)
        assert examine_backup(copy, holds=found.last) == found == store.verify()
        elsewhere = tmp_path / "new" / "r.sqlite" if target == "sqlite" else request.getfixturevalue("server").database()
        with Store.open(elsewhere, recordings=tmp_path / "two") as other:
            assert other.restore(copy) == found
            assert (
                same(other.readings(), store.readings()) and other.events() == store.events() and other.latest() == store.latest()
            )
            assert other.kept_recordings() == store.kept_recordings()
            assert np.array_equal(other.read_recording(other.kept_recordings()[0]).samples, WAVE.samples)
            for one in (store, other):  # and both go on alike
                one.add_readings([Reading(START + 90000.0, "input end", "overall velocity", 1.0, "m/s")])
                one.add_event(replace(SEEN, says="later"))
            assert same(other.readings(), store.readings()) and other.events() == store.events()
            assert other.events()[-1].number == 4
            with pytest.raises(BadInput, match="holds something"):
                other.restore(copy)


def test_a_backup_never_overwrites(tmp_path: Path) -> None:
    with filled(tmp_path / "r.sqlite", tmp_path / "recordings") as store:
        (tmp_path / "copy").mkdir()
        with pytest.raises(BadInput, match="something is there already"):
            store.backup(tmp_path / "copy", who="", when=WHEN)


def test_every_damage_to_a_backup_is_named_and_it_is_not_restored(tmp_path: Path) -> None:
    with filled(tmp_path / "r.sqlite", tmp_path / "recordings") as store:
        store.backup(tmp_path / "copy", who="", when=WHEN)
    files = [path for path in (tmp_path / "copy").rglob("*") if path.is_file() and path.name != "backup.json"]
    assert len(files) == 4
    for path in files:
        whole = path.read_bytes()
        path.write_bytes(whole[:-1] + bytes([whole[-1] ^ 1]))
        (problem,) = examine_backup(tmp_path / "copy").problems
        assert problem.where == str(path)
        with Store.open(tmp_path / "other.sqlite") as other, pytest.raises(BadInput, match="changed or damaged"):
            other.restore(tmp_path / "copy")
        path.unlink()
        assert "No such file" in str(examine_backup(tmp_path / "copy").problems[0])
        path.write_bytes(whole)
    assert examine_backup(tmp_path / "copy").problems == ()
    (tmp_path / "copy" / "backup.json").write_text("{}")
    with pytest.raises(BadInput, match="a folder made by gearcase backup"):
        examine_backup(tmp_path / "copy")


def test_a_damaged_recording_is_named_by_verify_and_does_not_stop_a_backup(tmp_path: Path) -> None:
    with filled(tmp_path / "r.sqlite", tmp_path / "recordings") as store:
        kept = store.kept_recordings()
        (tmp_path / "recordings" / kept[1].file).write_bytes(b"x")
        (problem,) = store.verify().problems
        assert problem.where == str(tmp_path / "recordings" / kept[1].file)
        found = store.backup(tmp_path / "copy", who="", when=WHEN)
        assert len(found.problems) == 1 and len(list((tmp_path / "copy" / "recordings").rglob("*.parquet"))) == 2


def test_an_entry_that_somebody_kept_the_hash_of_must_be_there(tmp_path: Path) -> None:
    with filled(tmp_path / "r.sqlite", tmp_path / "recordings") as store:
        last = store.verify().last
        assert store.verify(holds=last).problems == ()
        (problem,) = store.verify(holds="f" * 64).problems
        assert "is missing" in problem.given


def test_a_backup_made_by_an_earlier_version_is_taken_over(tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    copy.mkdir()
    old = (Path(__file__).parent / "reference" / "store-version-1.sqlite").read_bytes()
    (copy / "readings.sqlite").write_bytes(old)
    (copy / "backup.json").write_text(json.dumps({"schema": "backup/1", "files": {"readings.sqlite": sha256_of_bytes(old)}}))
    with Store.open(tmp_path / "r.sqlite") as store:
        assert store.restore(copy).entries == 3 and len(store.readings()) == 60
    assert (copy / "readings.sqlite").read_bytes() == old


def write_on(place: Place, ready: "multiprocessing.synchronize.Event", stop: "multiprocessing.synchronize.Event") -> None:
    with Store.open(place) as store:
        n = 0
        while not stop.is_set():
            store.add_readings([Reading(float(n), "p", q, float(n), "-") for q in ("a", "b")])
            store.add_event(replace(SEEN, time_s=float(n)))
            n += 1
            if n == 20:
                ready.set()


def test_a_backup_while_it_is_written_is_of_one_moment(place: Place, tmp_path: Path) -> None:
    context = multiprocessing.get_context("spawn")
    ready, stop = context.Event(), context.Event()
    writer = context.Process(target=write_on, args=(place, ready, stop))
    writer.start()
    try:
        assert ready.wait(30)
        with Store.open(place, recordings=tmp_path / "recordings") as store:
            for n in range(5):
                copy = tmp_path / f"copy-{n}"
                assert store.backup(copy, who="", when=WHEN).problems == ()
                with sqlite3.connect(copy / "readings.sqlite") as made:
                    batches, cut = made.execute("SELECT count(*) / 2, count(*) % 2 FROM readings").fetchone()
                    entries = made.execute("SELECT count(*) FROM entries").fetchone()[0]
                made.close()
                assert cut == 0 and batches - entries in (0, 1)
                time.sleep(0.05)
            before = len(store.readings())
            time.sleep(0.2)
            assert len(store.readings()) > before  # the writer was not stopped by it
    finally:
        stop.set()
        writer.join(30)
        writer.kill()


def test_the_commands_copy_verify_restore_and_thin(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job, other = tmp_path / "job", tmp_path / "other"
    for folder in (job, other):
        folder.mkdir()
        shutil.copy(Path(__file__).parents[1] / "examples" / "demo" / "job.yaml", folder)
    assert main(["verify", str(job)]) == 2 and "nothing kept yet" in capsys.readouterr().err
    filled(job / "results" / "watch" / "readings.sqlite", job / "results" / "watch" / "recordings").close()
    assert main(["backup", str(job), "--into", str(tmp_path / "copy"), "--by", "A. Person"]) == 0
    assert "sound; 2 entries of people" in capsys.readouterr().out
    assert main(["verify", str(job), "--backup", str(tmp_path / "copy"), "--json"]) == 0
    last = json.loads(capsys.readouterr().out)["last"]
    assert main(["restore", str(other), "--backup", str(tmp_path / "copy")]) == 0
    assert main(["verify", str(other), "--holds", last]) == 0
    assert main(["thin", str(other), "--older-than", "1 d", "--json"]) == 0
    told = json.loads(capsys.readouterr().out.splitlines()[-1])
    assert told["schema"] == "thin/1" and told["readings"] > 0
    next((other / "results" / "watch" / "recordings").rglob("*.parquet")).write_bytes(b"")
    assert main(["verify", str(other)]) == 1 and "NOT sound" in capsys.readouterr().out
