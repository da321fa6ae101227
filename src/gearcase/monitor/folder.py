"""Recordings that appear in a folder: each is judged once, when it has stopped growing, and what cannot be read is named."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from gearcase.errors import BadInput
from gearcase.job.build import Job
from gearcase.monitor.diagnosing import Diagnoser
from gearcase.record.readers import read_recording, sha256_of_file
from gearcase.record.store import Event, Store

__all__ = ["Folder"]


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
    _sizes: dict[Path, tuple[int, int]] = field(default_factory=dict)
    _done: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        self._done = {str(event.details["sha256"]) for event in self.store.events() if "sha256" in event.details}

    def look(self) -> int:
        """Judge what has come and stopped growing since the look before. Returns how many files were judged or refused."""
        judged = 0
        for path in self._still():
            sha256 = sha256_of_file(path)
            if sha256 in self._done:
                continue
            self._done.add(sha256)
            judged += 1
            try:
                recording = read_recording(path, point=self._point(path))
                document = self.diagnose(self.job, recording)
            except BadInput as error:
                self._say("recording refused", "", "; ".join(str(problem) for problem in error.problems), path, sha256)
            else:
                self._say("diagnosis", recording.point, document["statement"], path, sha256)
        return judged

    def _still(self) -> Iterator[Path]:
        """Files that are as they were at the last look."""
        for path in sorted(self.path.iterdir()):
            if path.name.startswith(".") or not path.is_file():
                continue
            facts = path.stat()
            now = (facts.st_size, facts.st_mtime_ns)
            if self._sizes.get(path) == now:
                yield path
            self._sizes[path] = now

    def _point(self, path: Path) -> str:
        """The point whose name, with dashes for blanks, the file's name ends with."""
        stem = path.stem.lower()
        names = [point.name for point in self.job.points if stem.endswith(point.name.lower().replace(" ", "-"))]
        return max(names, key=len, default="")

    def _say(self, kind: str, point: str, says: str, path: Path, sha256: str) -> None:
        event = Event(self.clock(), kind, point, f"{path.name}: {says}", "", {"sha256": sha256})
        self.store.add_event(event)
        self.tell(event)
