"""The append-only record: nothing recorded is lost, and nothing recorded can be changed unseen."""

import errno
import json
import multiprocessing
import os
from pathlib import Path
from typing import Any

import pytest

from gearcase.errors import BadInput
from gearcase.record import chain

WHEN = "2026-09-10T08:00:00+00:00"


def add(path: Path, *words: str) -> list[dict[str, Any]]:
    return [chain.append(path, {"says": word}, who="A. Fitter", when=WHEN) for word in words]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "results" / "fit" / "entries.jsonl"
    add(path, "one", "two", "three")
    return path


def said(records: tuple[dict[str, Any], ...]) -> list[str]:
    return [record["entry"]["says"] for record in records]


def test_what_is_appended_is_read_back_in_order_each_with_the_hash_before_it(path: Path) -> None:
    records = chain.read(path)
    assert said(records) == ["one", "two", "three"] and [record["number"] for record in records] == [1, 2, 3]
    assert [record["previous"] for record in records] == [chain.FIRST, records[0]["sha256"], records[1]["sha256"]]
    assert records[0]["who"] == "A. Fitter" and records[0]["when"] == WHEN
    assert chain.torn(path) is None


def test_what_append_returns_is_what_read_gives(path: Path) -> None:
    added = chain.append(path, {"pair": (1, 2.5), "text": "µ \ud800 \u2028", "none": None}, who="Zoë", when=WHEN)
    assert chain.read(path)[-1] == added and added["entry"]["pair"] == [1, 2.5]


def test_no_file_is_an_empty_record(tmp_path: Path) -> None:
    assert chain.read(tmp_path / "none.jsonl") == () and chain.torn(tmp_path / "none.jsonl") is None


def test_any_byte_changed_is_seen_on_its_line(path: Path) -> None:
    content = path.read_bytes()
    for place, byte in enumerate(content):
        for other in {ord("0"), ord(" "), ord("\n"), byte ^ 1, 0xFF} - {byte}:
            path.write_bytes(content[:place] + bytes([other]) + content[place + 1 :])
            if place == len(content) - 1:  # the last newline: the line is no longer a whole one
                assert chain.torn(path)
                continue
            with pytest.raises(BadInput) as caught:
                chain.read(path)
            assert caught.value.problems[0].where == f"{path}:{content.count(10, 0, place) + 1}"


@pytest.mark.parametrize(
    ("order", "line", "says"),
    [
        ((0, 2), 2, "entry 3, where entry 2 belongs"),
        ((1, 2), 1, "entry 2, where entry 1 belongs"),
        ((0, 2, 1), 2, "out of order"),
        ((0, 0, 1, 2), 2, "entry 1, where entry 2 belongs"),
    ],
)
def test_a_missing_doubled_or_reordered_line_is_named(path: Path, order: tuple[int, ...], line: int, says: str) -> None:
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join(lines[n] for n in order))
    with pytest.raises(BadInput, match=says) as caught:
        chain.read(path)
    assert caught.value.problems[0].where == f"{path}:{line}"
    with pytest.raises(BadInput, match=says):
        add(path, "four")


def test_an_entry_of_another_record_with_the_right_number_is_seen(path: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.jsonl"
    add(other, "uno", "due")
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(lines[0] + other.read_bytes().splitlines(keepends=True)[1] + lines[2])
    with pytest.raises(BadInput, match=r"entries\.jsonl:2 .*follows another one"):
        chain.read(path)


def test_lines_cut_off_the_end_are_seen_by_whoever_kept_the_last_hash(path: Path) -> None:
    last = chain.read(path)[-1]["sha256"]
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:2]))
    assert len(chain.read(path)) == 2
    with pytest.raises(BadInput, match=r"entries\.jsonl:3 .*is missing: 2 are left"):
        chain.read(path, holds=last)


def test_a_writer_killed_after_any_byte_hides_nothing_and_the_next_entry_follows(path: Path) -> None:
    content = path.read_bytes()
    start = content.rindex(b"\n", 0, -1) + 1
    for cut in range(start, len(content)):
        path.write_bytes(content[:cut])
        aside = path.with_name("entries.jsonl.torn")
        aside.unlink(missing_ok=True)
        if cut == len(content) - 1:  # whole but for its newline: it counts
            assert said(chain.read(path)) == ["one", "two", "three"] and chain.torn(path) is None
            add(path, "four")
            assert said(chain.read(path)) == ["one", "two", "three", "four"] and not aside.exists()
            continue
        assert said(chain.read(path)) == ["one", "two"]
        finding = chain.torn(path)
        assert (finding is None) == (cut == start)
        assert finding is None or ("line 3" in finding.says and finding.level == "caution")
        add(path, "again")
        assert said(chain.read(path)) == ["one", "two", "again"] and chain.torn(path) is None
        assert cut == start or aside.read_bytes() == content[start:cut] + b"\n"


@pytest.mark.parametrize("written", [0, 1, 40])
def test_a_full_disk_is_said_and_takes_back_the_piece_it_wrote(path: Path, written: int, monkeypatch: pytest.MonkeyPatch) -> None:
    before, real, calls = path.read_bytes(), os.write, []

    def write(handle: int, content: bytes) -> int:
        calls.append(len(content))
        if written and len(calls) == 1:
            return real(handle, content[:written])
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "write", write)
    with pytest.raises(BadInput, match=r"No space left on device .*those before it are"):
        add(path, "four")
    monkeypatch.undo()
    assert len(calls) == (2 if written else 1) and path.read_bytes() == before
    add(path, "four")
    assert said(chain.read(path))[-1] == "four"


def test_a_line_written_in_pieces_is_whole(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = os.write
    monkeypatch.setattr(os, "write", lambda handle, content: real(handle, content[:7]))
    add(path, "four")
    assert said(chain.read(path)) == ["one", "two", "three", "four"]


def test_an_entry_that_was_not_synced_is_not_recorded(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = path.read_bytes()

    def fail(handle: int) -> None:
        raise OSError(errno.EIO, "Input/output error")

    monkeypatch.setattr(os, "fsync", fail)
    with pytest.raises(BadInput, match="Input/output error"):
        add(path, "four")
    monkeypatch.undo()
    assert path.read_bytes() == before


def test_file_and_folder_are_synced(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    synced: list[tuple[int, int]] = []
    monkeypatch.setattr(os, "fsync", lambda handle: synced.append((os.fstat(handle).st_dev, os.fstat(handle).st_ino)))
    add(path, "four")
    wanted = [(os.stat(part).st_dev, os.stat(part).st_ino) for part in (path, path.parent)]
    assert all(part in synced for part in wanted)


def test_a_place_that_is_no_folder_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(BadInput, match="can be written"):
        add(tmp_path / "file" / "entries.jsonl", "one")
    (tmp_path / "folder").mkdir()
    with pytest.raises(BadInput):
        chain.read(tmp_path / "folder")


@pytest.mark.parametrize("entry", [{"value": float("nan")}, {"value": object()}])
def test_what_json_cannot_hold_is_refused_and_nothing_is_written(path: Path, entry: dict[str, Any]) -> None:
    before = path.read_bytes()
    with pytest.raises(BadInput, match="plain, finite data"):
        chain.append(path, entry, who="", when=WHEN)
    assert path.read_bytes() == before


def _write_many(path: Path, name: str) -> None:
    for number in range(25):
        add(path, f"{name} {number}")


def test_writers_at_once_all_land_in_one_order(tmp_path: Path) -> None:
    path = tmp_path / "new" / "entries.jsonl"
    context = multiprocessing.get_context("fork")
    writers = [context.Process(target=_write_many, args=(path, name)) for name in "ABC"]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    assert [writer.exitcode for writer in writers] == [0, 0, 0]
    words = said(chain.read(path))
    assert len(words) == 75
    for name in "ABC":
        assert [word for word in words if word[0] == name] == [f"{name} {number}" for number in range(25)]
    assert len({json.loads(line)["number"] for line in path.read_text().splitlines()}) == 75


def test_a_chain_kept_elsewhere_has_the_same_lines_and_is_verified_by_the_same_rules(path: Path) -> None:
    lines = path.read_bytes().splitlines()
    records = chain.verified("entries", lines)
    assert records == chain.read(path) and [chain.line(record) for record in records] == lines
    last = records[-1]
    added = chain.linked("entries", {"says": "four"}, number=4, previous=last["sha256"], who="A. Fitter", when=WHEN)
    assert added == chain.append(path, {"says": "four"}, who="A. Fitter", when=WHEN)
    with pytest.raises(BadInput, match="entries:4   given an entry that follows another one"):
        chain.verified("entries", [*lines, chain.line(chain.linked("x", {}, number=4, previous=chain.FIRST, who="", when=WHEN))])
    chain.require_held("entries", records, last["sha256"])
    with pytest.raises(BadInput, match="entries:3   given the entry with hash"):
        chain.require_held("entries", records[:2], last["sha256"])
