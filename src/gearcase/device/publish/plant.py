"""The plant as one publisher: every face the job names, each at work beside the others and taken up again when it fails."""

import asyncio
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from types import TracebackType
from typing import Protocol, Self

from gearcase.device.publish.latest import Latest
from gearcase.device.publish.values import HEARTBEAT, Published

__all__ = ["Face", "Plant"]

AGAIN = 5.0  # s until a face that failed is tried again
_LOOK = 1.0  # s between looks for values that have grown stale


class Face(Protocol):
    """One way in which the plant is told."""

    name: str

    async def run(self, say: Callable[[str], None]) -> None:
        """Tell until cancelled; says what it waits for, nothing (``""``) once it works, and raises what keeps it from it."""

    def wake(self) -> None:
        """There may be something new in `Latest`."""


class Plant:
    """A `Publisher` over several faces.

    Parameters
    ----------
    latest : Latest
        What the faces show.
    faces : sequence of Face
    again : float
        Until a face that failed is tried again. [s]
    """

    def __init__(self, latest: Latest, faces: Sequence[Face], *, again: float = AGAIN) -> None:
        self._latest, self._faces, self._again = latest, faces, again
        self._wrong: dict[str, str] = {}
        self._tasks: list[asyncio.Task[None]] = []
        self._beat = 0

    async def __aenter__(self) -> Self:
        """As `Publisher`: begins, and waits for nobody."""
        self._wrong = {face.name: "not begun yet" for face in self._faces}
        self._tasks = [asyncio.create_task(self._keep(face)) for face in self._faces]
        self._tasks.append(asyncio.create_task(self._look()))
        return self

    async def __aexit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        """Takes leave of the plant."""
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    async def publish(self, values: Mapping[str, Published]) -> None:
        """As `Publisher.publish`."""
        self._beat = self._beat % 65535 + 1
        self._latest.take({**values, HEARTBEAT: Published(self._beat, "-", "good", self._latest.clock())})
        self._wake()

    def condition(self) -> str:
        """As `Publisher.condition`."""
        return "; ".join(f"{name}: {says}" for name, says in self._wrong.items() if says)

    async def _keep(self, face: Face) -> None:
        """A face at work for as long as this is; one that fails says why and is tried again."""
        while True:
            try:
                await face.run(lambda says: self._say(face.name, says))
                self._say(face.name, "it has stopped")
            except Exception as error:  # whatever the plant or a library does, the watch goes on
                self._say(face.name, str(error) or type(error).__name__)
            await asyncio.sleep(self._again)

    def _say(self, name: str, says: str) -> None:
        self._wrong[name] = says

    async def _look(self) -> None:
        while True:
            await asyncio.sleep(_LOOK)
            self._wake()

    def _wake(self) -> None:
        for face in self._faces:
            with suppress(Exception):
                face.wake()
