"""Recordings that appear in a folder: each is judged once, when it has stopped growing, and what cannot be read is named once.

A file is known by its place, size and time, and hashed only when it is new or has changed. The diary keeps what was judged with all
of it, so that after a restart nothing is hashed or judged again, nor what was renamed or copied. A file of the same name with
other contents is another recording. What vanishes between two looks is no fault. Hidden files are partial ones. Beside a file may
stand what it does not say, as ``FILE.json`` with the keys point, rate, unit, channel, speed and start.
"""

import json
import os
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from types import MappingProxyType
from typing import Any

from gearcase import units
from gearcase.errors import BadInput, OutOfRange, Problem
from gearcase.job.build import Job
from gearcase.monitor.diagnosing import Diagnoser, details_of
from gearcase.record.readers import read_recording, sha256_of_file
from gearcase.record.store import Event, Store
from gearcase.signal.recording import Recording

__all__ = ["SIDECAR", "Folder", "read_described"]

SIDECAR = ".json"  # what ends the name of the file that says what a recording does not
_KEYS = {"point": "", "rate": "frequency", "unit": "", "channel": "", "speed": "speed", "start": ""}  # key -> kind of its unit
_LARGEST_SIDECAR = 10_000  # bytes
_DEEPEST = 8  # folders within folders
_AT_A_LOOK = 50  # files judged, so that one look does not last for hours; the rest comes at the next


@dataclass
class Folder:
    """A folder that is followed.

    Attributes
    ----------
    path : Path
    job, store : Job, Store
        What is judged already is told from the store's events, by the file's hash.
    clock : callable
        Unix time. [s]
    diagnose, tell : callable
        As `Watch` has them.
    """

    path: Path
    job: Job
    store: Store
    clock: Callable[[], float]
    diagnose: Diagnoser
    tell: Callable[[Event], None]
    _seen: dict[str, tuple[int, int]] = field(default_factory=dict)  # size and time at the last look
    _settled: set[str] = field(default_factory=set)
    _done: set[str] = field(default_factory=set)
    _known: dict[str, tuple[int, int]] = field(default_factory=dict)  # as it was when it was judged, in this watch or another
    _lost: bool = False

    def __post_init__(self) -> None:
        for event in self.store.events():
            if "sha256" in event.details:
                self._done.add(str(event.details["sha256"]))
                if "file" in event.details:
                    self._known[event.details["file"]] = (int(event.details["size"]), int(event.details["modified_ns"]))

    def look(self) -> int:
        """Judge what has come and stopped growing since the look before. Returns how many files were judged or refused."""
        judged = 0
        for name in self._still():
            if judged >= _AT_A_LOOK:
                self._settled.discard(name)
                continue
            judged += self._take(Path(name))
        return judged

    def _take(self, path: Path) -> bool:
        """Judge one file, unless its contents were judged before or it is gone."""
        try:
            sha256 = sha256_of_file(path)
        except FileNotFoundError:
            return False
        except OSError as error:
            sha256 = f"unreadable {path} {error.errno}"
            if sha256 in self._done:
                return False
            self._done.add(sha256)
            self._say("recording refused", "", f"cannot be read ({error.strerror}): let this program read it", path, sha256)
            return True
        if sha256 in self._done:
            return False
        try:
            recording = read_described(path, self.job)
            document = self.diagnose(self.job, [recording])
        except FileNotFoundError:
            return False
        except BadInput as error:
            if not path.exists():
                return False
            self._done.add(sha256)
            self._say("recording refused", "", "; ".join(str(problem) for problem in error.problems), path, sha256)
        else:
            self._done.add(sha256)
            details = details_of(document) | {"taken_s": _taken(recording.start)}
            self._say("diagnosis", recording.point, document["statement"], path, sha256, details)
        return True

    def _still(self) -> Iterator[str]:
        """Files that are as they were at the last look, and were not given out as such."""
        now: dict[str, tuple[int, int]] = {}
        try:
            found = sorted(_files(str(self.path), 0))
        except OSError as error:
            if not self._lost:
                self._lost = True
                self._say("folder lost", "", f"cannot be listed ({error.strerror}): is it there, its disk mounted?", self.path, "")
            return
        if self._lost:
            self._lost = False
            self._say("folder back", "", "can be listed again", self.path, "")
        for name, facts in found:
            now[name] = facts
            if self._seen.get(name) != facts:
                self._settled.discard(name)
        before, self._seen = self._seen, now
        self._settled &= now.keys()
        for name, facts in found:
            if before.get(name) == facts and name not in self._settled and self._known.get(name) != facts:
                self._settled.add(name)
                yield name

    def _say(
        self, kind: str, point: str, says: str, path: Path, sha256: str, about: Mapping[str, Any] = MappingProxyType({})
    ) -> None:
        name = path.relative_to(self.path) if path != self.path else path
        details = dict(about)
        if sha256:
            size, modified_ns = self._seen[str(path)]
            details |= {"sha256": sha256, "file": str(path), "size": size, "modified_ns": modified_ns}
        event = Event(self.clock(), kind, point, f"{name}: {says}", "", details)
        self.store.add_event(event)
        self.tell(event)


def read_described(path: Path, job: Job) -> Recording:
    """A recording with what its ``FILE.json`` says of it; its point, where that says none, by the end of the file's name.

    Raises
    ------
    BadInput
    """
    said = _said_beside(path)
    words = {key: str(value) for key, value in said.items() if not _KEYS[key]}
    numbers = {key: float(value) for key, value in said.items() if _KEYS[key]}
    point = words.get("point") or _point_of(path, job)
    names = [one.name for one in job.points]
    if point and point not in names:
        accepted = f"a measuring point of the job, one of: {'; '.join(names)}"
        raise BadInput(Problem(f"{path.name}{SIDECAR}", "point", repr(point), accepted))
    return read_recording(
        path,
        rate_hz=numbers.get("rate"),
        unit=words.get("unit"),
        speed_hz=numbers.get("speed"),
        channel=words.get("channel"),
        point=point,
        start=words.get("start", ""),
    )


def _taken(start: str) -> float | None:
    """When a recording was taken; None where it does not say, or not with its zone. [s]"""
    try:
        moment = datetime.fromisoformat(start)
    except ValueError:
        return None
    return moment.timestamp() if moment.tzinfo is not None else None


def _point_of(path: Path, job: Job) -> str:
    """The point whose name, with dashes for blanks, the file's name ends with."""
    stem = path.stem.lower()
    names = [point.name for point in job.points if stem.endswith(point.name.lower().replace(" ", "-"))]
    return max(names, key=len, default="")


def _said_beside(path: Path) -> dict[str, str | float]:
    """What the file beside a recording says, quantities in SI; nothing where there is none."""
    beside = path.with_name(path.name + SIDECAR)
    try:
        if not beside.is_file():
            return {}
        if beside.stat().st_size > _LARGEST_SIDECAR:
            raise ValueError(f"more than {_LARGEST_SIDECAR} bytes")
        given = json.loads(beside.read_text(encoding="utf-8"))
        if not isinstance(given, dict):
            raise ValueError("no keys and values")
    except (OSError, ValueError, RecursionError) as error:
        raise BadInput(Problem(beside.name, "", str(error)[:80], f"JSON with the keys {', '.join(_KEYS)}")) from None
    found: dict[str, str | float] = {}
    problems = []
    for key, value in given.items():
        if key not in _KEYS:
            problems.append(Problem(beside.name, str(key)[:40], "the key", f"the keys are: {', '.join(_KEYS)}"))
        elif not isinstance(value, str):
            problems.append(Problem(beside.name, key, repr(value)[:60], "text; a quantity with its unit"))
        else:
            try:
                found[key] = units.parse(value, _KEYS[key]) if _KEYS[key] else value
            except OutOfRange as error:
                problems.append(Problem(beside.name, key, repr(value)[:60], error.rule))
    if problems:
        raise BadInput(problems)
    return found


def _files(folder: str, depth: int) -> Iterator[tuple[str, tuple[int, int]]]:
    """Recordings in a folder and those below, with size and time; hidden ones and links to folders are left out."""
    with os.scandir(folder) as listed:
        for entry in listed:
            if entry.name.startswith("."):
                continue
            try:
                if entry.is_dir(follow_symlinks=False):
                    if depth < _DEEPEST:
                        yield from _files(entry.path, depth + 1)
                elif entry.is_file() and not entry.name.endswith(SIDECAR):
                    facts = entry.stat()
                    yield entry.path, (facts.st_size, facts.st_mtime_ns)
            except OSError:
                if depth == 0 and not os.path.isdir(folder):
                    raise
                continue  # it vanished, or a folder below may not be listed
