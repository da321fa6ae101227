"""Results on disk: numbered, whole or absent, never edited, and known to be stale."""

import json
import multiprocessing
import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from gearcase.checksums import sha256_of_data
from gearcase.errors import BadInput
from gearcase.job.build import load
from gearcase.record import results
from gearcase.record.freshness import changes, hashes_now, stale

EXAMPLE = Path(__file__).parents[1] / "examples" / "rig-mfpt"


def keep(folder: Path, note: str = "", read: tuple[dict[str, str], ...] = ()) -> Path:
    return results.write(
        folder,
        "survey",
        document={"schema": "survey/1", "note": note},
        arrays={"spectrum-0": {"hz": np.arange(5, dtype=np.float32), "amplitude": np.ones(5, np.float32)}},
        pictures={"train.svg": b"<svg/>"},
        read=read,
        who="A. Tester",
        when="2026-11-25T10:00:00+00:00",
    )


def test_results_are_numbered_and_the_latest_is_read_back(tmp_path: Path) -> None:
    assert [keep(tmp_path, note).name for note in ("one", "two")] == ["0001", "0002"]
    stored = results.latest(tmp_path, "survey")
    assert stored is not None
    assert (stored.number, stored.document["note"], stored.header["who"]) == (2, "two", "A. Tester")
    np.testing.assert_array_equal(stored.arrays()["spectrum-0"]["hz"], np.arange(5))
    assert (stored.path / "train.svg").read_bytes() == b"<svg/>"
    assert (stored.path.parent / "current").read_text().strip() == "0002"


def test_a_stage_without_results_has_none(tmp_path: Path) -> None:
    assert results.latest(tmp_path, "survey") is None


def test_an_earlier_result_is_never_touched(tmp_path: Path) -> None:
    first = keep(tmp_path, "one")
    before = {path.name: path.read_bytes() for path in first.iterdir()}
    keep(tmp_path, "two")
    assert {path.name: path.read_bytes() for path in first.iterdir()} == before


@pytest.mark.parametrize("content", ["", "{", "[]", "null", '{"schema": "survey/1"}', '{"result": 3, "read": []}'])
def test_a_damaged_result_is_named_and_nothing_is_lost(content: str, tmp_path: Path) -> None:
    path = keep(tmp_path) / "result.json"
    path.write_text(content)
    with pytest.raises(BadInput, match=r"0001.result\.json.*damaged.*run gearcase survey again"):
        results.latest(tmp_path, "survey")
    assert keep(tmp_path, "again").name == "0002"
    assert results.latest(tmp_path, "survey").document["note"] == "again"  # type: ignore[union-attr]


def test_a_damaged_array_is_named(tmp_path: Path) -> None:
    (keep(tmp_path) / "spectrum-0.parquet").write_bytes(b"PAR1")
    stored = results.latest(tmp_path, "survey")
    assert stored is not None
    with pytest.raises(BadInput, match=r"spectrum-0\.parquet"):
        stored.arrays()


def test_what_is_not_finite_never_reaches_the_disk(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="JSON"):
        results.write(
            tmp_path, "survey", document={"schema": "survey/1", "x": float("nan")}, arrays={}, pictures={}, read=(), who="", when=""
        )
    assert list((tmp_path / "results" / "survey").iterdir()) == []


@pytest.mark.parametrize("step", ["_write", "_write_arrays", "sync_folder", "_publish", "_point_to"])
def test_a_kill_in_the_middle_leaves_earlier_results_and_the_next_run_goes_on(step: str, tmp_path: Path) -> None:
    keep(tmp_path, "one")
    script = (
        "import os, signal, sys\nfrom pathlib import Path\nfrom gearcase.record import results\n"
        f"results.{step} = lambda *_: os.kill(os.getpid(), signal.SIGKILL)\n"
        "results.write(Path(sys.argv[1]), 'survey', document={'schema': 'survey/1', 'note': 'two'}, arrays={'a': {}},"
        " pictures={}, read=(), who='', when='')\n"
    )
    done = subprocess.run([sys.executable, "-c", script, str(tmp_path)], check=False)
    assert done.returncode == -signal.SIGKILL
    stored = results.latest(tmp_path, "survey")
    assert stored is not None
    assert stored.document["note"] == ("two" if step == "_point_to" else "one")  # published already, only `current` was not
    assert keep(tmp_path, "three").name == ("0003" if step == "_point_to" else "0002")


def _keep_many(folder: str) -> None:
    for _ in range(10):
        keep(Path(folder), str(os.getpid()))


def test_everything_is_synced_before_it_gets_its_number(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    synced: list[int] = []
    real = os.fsync
    monkeypatch.setattr(results.os, "fsync", lambda handle: (synced.append(os.fstat(handle).st_ino), real(handle))[1])
    path = keep(tmp_path)
    kept = {item.stat().st_ino for item in (path, path / "result.json", path / "train.svg", path.parent)}
    assert kept <= set(synced)


def test_two_writers_at_once_lose_nothing(tmp_path: Path) -> None:
    with multiprocessing.get_context("spawn").Pool(3) as pool:
        pool.map(_keep_many, [str(tmp_path)] * 3)
    numbers = sorted(path.name for path in (tmp_path / "results" / "survey").iterdir() if path.name.isdecimal())
    assert numbers == [f"{n:04d}" for n in range(1, 31)]


def test_a_changed_section_is_named_and_an_unchanged_one_is_not(tmp_path: Path) -> None:
    shutil.copy(EXAMPLE / "job.yaml", tmp_path)
    job = load(tmp_path)
    keep(tmp_path, read=job.sources(("drive", "points")))
    stored = results.latest(tmp_path, "survey")
    assert stored is not None
    assert stale(stored, hashes_now(tmp_path, job, stored)) == []
    text = (tmp_path / "job.yaml").read_text()
    (tmp_path / "job.yaml").write_text("# a comment changes nothing\n" + text.replace("elements: 8", "elements: 9"))
    changed = load(tmp_path)
    assert [str(change) for change in stale(stored, hashes_now(tmp_path, changed, stored))] == ["job.yaml drive has changed since"]


def test_hashes_do_not_depend_on_the_order_of_keys() -> None:
    assert sha256_of_data(json.loads('{"a": 1, "b": [1, 2]}')) == sha256_of_data(json.loads('{"b": [1, 2], "a": 1}'))
    assert sha256_of_data([1, 2]) != sha256_of_data([2, 1])


def test_results_that_name_each_other_in_a_ring_are_told_and_do_not_hang(tmp_path: Path) -> None:
    shutil.copy(EXAMPLE / "job.yaml", tmp_path / "job.yaml")
    job = load(tmp_path)
    for stage, other in (("survey", "plan"), ("plan", "survey")):
        read = [{"what": f"{other} 0001", "sha256": "0" * 64}]
        results.write(tmp_path, stage, document={"schema": "x/1"}, arrays={}, pictures={}, read=read, who="", when="")
    stored = results.latest(tmp_path, "plan")
    assert stored is not None
    assert [str(one) for one in changes(tmp_path, job, stored)] == [
        "survey 0001 has changed since",
        "plan 0001 has changed since",
    ]
