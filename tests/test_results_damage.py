"""Results on disk when things go wrong: power cuts, full disks, damage, races."""

import errno
import os
from pathlib import Path

import numpy as np
import pytest

from gearcase.errors import BadInput
from gearcase.record import results
from test_results import keep


def test_arrays_are_synced_before_the_result_gets_its_number(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    synced: set[int] = set()
    real = os.fsync

    def note(handle: int) -> None:
        synced.add(os.fstat(handle).st_ino)
        real(handle)

    monkeypatch.setattr(os, "fsync", note)
    path = keep(tmp_path)
    assert {(path / "spectrum-0.parquet").stat().st_ino, (path.parent / "current").stat().st_ino} <= synced
    assert {folder.stat().st_ino for folder in (path.parent.parent, tmp_path)} <= synced  # or the first result goes with its folder


@pytest.mark.parametrize("step", ["_write", "_write_arrays", "sync_folder", "_publish"])
def test_a_full_disk_is_said_and_leaves_what_was_kept(step: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    keep(tmp_path, "one")

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        patch.setattr(results, step, full)
        with pytest.raises(BadInput, match=rf"survey.*{os.strerror(errno.ENOSPC)}.*a place with room"):
            keep(tmp_path, "two")
    assert sorted(path.name for path in (tmp_path / "results" / "survey").iterdir()) == ["0001", "current"]
    stored = results.latest(tmp_path, "survey")
    assert stored is not None
    assert stored.document["note"] == "one"


def test_a_slower_writer_of_an_earlier_number_does_not_have_the_last_word(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = Path.replace
    calls = []

    def overtaken(path: Path, target: Path) -> Path:
        if not calls:  # another writer publishes and points while this one is about to point to its own
            calls.append(path)
            keep(tmp_path, "faster")
        return real(path, target)

    monkeypatch.setattr(Path, "replace", overtaken)
    assert keep(tmp_path, "slower").name == "0001"
    assert (tmp_path / "results" / "survey" / "current").read_text() == "0002\n"


@pytest.mark.parametrize(
    "content",
    [
        '{"result": {}, "read": []}',
        '{"schema": "survey/1", "who": "", "when": "", "gearcase": "0", "read": [3], "result": {}}',
        '{"schema": "survey/1", "who": "", "when": "", "gearcase": "0", "read": [{"what": "x"}], "result": {}}',
        '{"schema": "survey/1", "who": "", "when": "", "gearcase": "0", "read": 0, "result": {}}',
        '{"schema": "survey/1", "who": 1, "when": "", "gearcase": "0", "read": [], "result": {}}',
        "[" * 200_000,
        "\udcff",
    ],
    ids=["no header", "read of numbers", "read without hash", "read no list", "who is a number", "too deep", "not text"],
)
def test_a_damaged_header_is_named(content: str, tmp_path: Path) -> None:
    path = keep(tmp_path) / "result.json"
    path.write_bytes(content.encode(errors="surrogateescape"))
    with pytest.raises(BadInput, match=r"0001.result\.json.*damaged"):
        results.latest(tmp_path, "survey")


@pytest.mark.parametrize("name", ["1", "00007", "0002.bak", "notes"])
def test_folders_that_are_no_results_are_let_be(name: str, tmp_path: Path) -> None:
    keep(tmp_path, "one")
    (tmp_path / "results" / "survey" / name).mkdir()
    stored = results.latest(tmp_path, "survey")
    assert stored is not None
    assert stored.number == 1
    assert keep(tmp_path, "two").name == "0002"


def test_a_number_that_is_taken_by_anything_is_passed_over(tmp_path: Path) -> None:
    keep(tmp_path, "one")
    (tmp_path / "results" / "survey" / "0002").write_text("somebody's file")
    assert keep(tmp_path, "two").name == "0003"
    assert (tmp_path / "results" / "survey" / "0002").read_text() == "somebody's file"


def test_a_picture_never_replaces_what_is_there(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="File exists"):
        results.write(
            tmp_path,
            "survey",
            document={"schema": "survey/1"},
            arrays={"a": {"hz": np.ones(2)}},
            pictures={"result.json": b""},
            read=(),
            who="",
            when="",
        )
    assert results.latest(tmp_path, "survey") is None
