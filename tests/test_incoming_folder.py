"""A folder that is followed: partial files, renames, the same name again, folders below, vanishing ones, many, unreadable."""

import json
import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from gearcase.monitor import folder as room
from gearcase.monitor.folder import Folder
from gearcase.record.store import Event, Store, store_path
from gearcase.signal.recording import Recording
from test_incoming import JOB, POINT


@dataclass
class Followed:
    """A folder, a store, and what was judged of it."""

    path: Path
    told: list[Event] = field(default_factory=list)
    judged: list[Recording] = field(default_factory=list)
    hashed: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.path.mkdir(exist_ok=True)
        self.store = Store.open(store_path(self.path.parent))
        self.again()

    def again(self) -> None:
        """As after a restart."""
        self.folder = Folder(self.path, JOB, self.store, lambda: 1_800_000_000.0, self.diagnose, self.told.append)

    def diagnose(self, _: Any, recordings: Sequence[Recording]) -> dict[str, Any]:
        self.judged += recordings
        return {"statement": "judged"}

    def put(self, name: str, seed: int = 1, samples: int = 4096) -> Path:
        path = self.path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        soundfile.write(path, np.random.default_rng(seed).normal(0, 0.1, samples), 12800, format="WAV", subtype="FLOAT")
        path.with_name(path.name + ".json").write_text(json.dumps({"point": POINT, "unit": "g"}))
        return path

    def looks(self, count: int = 3) -> int:
        return sum(self.folder.look() for _ in range(count))

    def said(self) -> list[str]:
        return [f"{event.kind}: {event.says}" for event in self.told]


@pytest.fixture
def followed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Followed]:
    made = Followed(tmp_path / "in")
    before: Callable[[Path], str] = room.sha256_of_file

    def counted(path: Path) -> str:
        made.hashed.append(path.name)
        return before(path)

    monkeypatch.setattr(room, "sha256_of_file", counted)
    yield made
    made.store.close()


def test_a_recording_is_judged_once_with_what_stands_beside_it(followed: Followed) -> None:
    followed.put("a.wav")
    assert [followed.folder.look() for _ in range(4)] == [0, 1, 0, 0]
    (recording,) = followed.judged
    assert (recording.point, recording.unit, recording.sample_rate_hz) == (POINT, "m/s2", 12800.0)
    assert followed.hashed == ["a.wav"]


def test_a_file_that_grows_is_left_until_it_stands_still(followed: Followed) -> None:
    path = followed.put("a.wav")
    content = path.read_bytes()
    for end in range(100, len(content), len(content) // 4):
        path.write_bytes(content[:end])
        assert followed.folder.look() == 0
    path.write_bytes(content)
    assert [followed.folder.look() for _ in range(2)] == [0, 1] and followed.told[0].kind == "diagnosis"


def test_hidden_files_are_partial_ones_and_appear_by_their_renaming(followed: Followed) -> None:
    path = followed.put(".a.wav.part")
    assert followed.looks() == 0
    os.replace(path, followed.path / "a.wav")
    os.replace(path.with_name(path.name + ".json"), followed.path / "a.wav.json")
    assert followed.looks() == 1


def test_a_file_renamed_or_copied_is_the_same_recording(followed: Followed) -> None:
    path = followed.put("a.wav")
    followed.looks()
    os.replace(path, followed.path / "b.wav")
    (followed.path / "c.wav").write_bytes((followed.path / "b.wav").read_bytes())
    assert followed.looks() == 0 and len(followed.judged) == 1


def test_the_same_name_with_other_contents_is_another_recording(followed: Followed) -> None:
    followed.put("a.wav", seed=1)
    followed.looks()
    followed.put("a.wav", seed=2)
    assert followed.looks() == 1 and len(followed.judged) == 2
    os.utime(followed.path / "a.wav", (1.0, 1.0))
    assert followed.looks() == 0, "a new date alone is no new recording"


def test_folders_below_are_followed_and_links_are_not(followed: Followed, tmp_path: Path) -> None:
    followed.put("2027/01/a.wav")
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (followed.path / "loop").symlink_to(followed.path)
    (followed.path / "away").symlink_to(elsewhere)
    assert followed.looks() == 1 and followed.said() == [f"diagnosis: {Path('2027/01/a.wav')}: judged"]


def test_a_file_that_vanishes_is_no_fault(followed: Followed, monkeypatch: pytest.MonkeyPatch) -> None:
    path = followed.put("a.wav")
    followed.folder.look()
    before = room.sha256_of_file

    def gone(one: Path) -> str:
        path.unlink()
        return before(one)

    monkeypatch.setattr(room, "sha256_of_file", gone)
    assert followed.looks() == 0 and followed.told == []

    path = followed.put("b.wav")
    followed.folder.look()
    monkeypatch.setattr(room, "sha256_of_file", before)

    def gone_later(one: Path, job: Any) -> Recording:
        path.unlink()
        return original(one, job)

    original = room.read_described
    monkeypatch.setattr(room, "read_described", gone_later)
    assert followed.looks() == 0 and followed.told == []


def test_what_cannot_be_read_is_named_once_and_again_when_it_has_changed(followed: Followed) -> None:
    (followed.path / "a.wav").write_bytes(b"RIFF")
    (followed.path / "b.xyz").write_bytes(b"1")
    assert followed.looks(5) == 2
    assert [event.kind for event in followed.told] == ["recording refused"] * 2
    followed.again()
    assert followed.looks() == 0, "nor after a restart"
    followed.put("a.wav")
    assert followed.looks() == 1 and followed.told[-1].kind == "diagnosis"


def test_a_file_that_may_not_be_read_is_named_once(followed: Followed, monkeypatch: pytest.MonkeyPatch) -> None:
    followed.put("a.wav")

    def denied(_: Path) -> str:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(room, "sha256_of_file", denied)
    assert followed.looks(5) == 1 and "let this program read it" in followed.said()[0]


@pytest.mark.parametrize(
    ("beside", "says"),
    [
        ('{"point": "nowhere"}', "a measuring point of the job"),
        ('{"rate": "12800"}', "a frequency with its unit"),
        ('{"pont": "a"}', "the keys are: point"),
        ("[", "JSON with the keys"),
        ("[1]", "JSON with the keys"),
        ('{"point": 3}', "text"),
        ("[" * 9000, "JSON with the keys"),
        ("x" * 20000, "JSON with the keys"),
    ],
)
def test_a_bad_file_beside_a_recording_is_named(followed: Followed, beside: str, says: str) -> None:
    path = followed.put("a.wav")
    path.with_name("a.wav.json").write_text(beside)
    assert followed.looks() == 1 and says in followed.said()[0] and followed.told[0].kind == "recording refused"


def test_many_files_are_hashed_once_and_not_after_a_restart(followed: Followed) -> None:
    """Small texts stand for recordings: what counts is how often each is hashed."""
    for n in range(300):
        (followed.path / f"{n:05d}.xyz").write_text(str(n))
    assert followed.folder.look() == 0
    assert followed.folder.look() == 50, "so many at a look, so that one does not last for hours"
    assert sum(followed.folder.look() for _ in range(6)) == 250
    assert len(followed.hashed) == 300
    followed.hashed.clear()
    followed.again()
    assert followed.looks() == 0 and followed.hashed == []


def test_a_folder_that_is_gone_is_said_once_and_when_it_is_back(followed: Followed) -> None:
    path = followed.put("a.wav")
    followed.looks()
    os.replace(followed.path, followed.path.with_name("away"))
    assert followed.looks() == 0
    os.replace(followed.path.with_name("away"), followed.path)
    assert followed.looks() == 0 and path.exists()
    assert [event.kind for event in followed.told] == ["diagnosis", "folder lost", "folder back"]
