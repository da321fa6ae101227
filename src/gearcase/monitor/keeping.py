"""On the way to the store: what the watch read and said, in order, and what becomes of it while the store cannot be written.

Nothing is shown or told before it is kept. While the store refuses (disk full, file locked), all of it waits in memory, the newest
within bounds, and is written when there is room again; how long it was, and what was left out, is said.
"""

import asyncio
import itertools
from collections import deque
from collections.abc import Callable, Iterable
from typing import Any

from gearcase.errors import BadInput
from gearcase.record.store import Event, Reading, Store

__all__ = ["EVENTS_WAITING", "READINGS_WAITING", "Keeping"]

READINGS_WAITING = 100_000  # about 40 MiB; four sensors at a round every 10 s give a day's
EVENTS_WAITING = 10_000
_BATCH = 5_000  # readings in one transaction


class Keeping:
    """What is to be kept.

    Parameters
    ----------
    store : Store
    clock : callable
        Unix time. [s]
    tell : callable
        Takes each event once it is kept, or once it is known that it cannot be.
    """

    def __init__(self, store: Store, clock: Callable[[], float], tell: Callable[[Event], None]) -> None:
        self.store, self._clock, self._tell = store, clock, tell
        self._readings: deque[Reading] = deque()
        self._events: deque[Event] = deque()
        self._untold: deque[Event] = deque()
        self._writing = asyncio.Lock()
        self._since, self._left_out = 0.0, 0
        self.trouble = ""

    def say(
        self, kind: str, point: str, says: str, now: float | None = None, details: dict[str, Any] | None = None, who: str = ""
    ) -> None:
        """Put an event into the diary, at the next `write`."""
        event = Event(self._clock() if now is None else now, kind, point, says, who, details or {})
        self._events.append(event)
        self._untold.append(event)

    def add(self, readings: Iterable[Reading]) -> None:
        """Keep readings, at the next `write`."""
        self._readings.extend(readings)

    async def write(self) -> None:
        """Write what waits, and tell the events; what cannot be written goes on waiting. It takes as long as the disk does."""
        async with self._writing:
            refused = await asyncio.to_thread(self._write)
            if refused:
                if not self.trouble:
                    self._since = self._clock()
                    self.say("store lost", "", f"nothing can be kept; the watch goes on and holds it in memory: {refused}")
                self._bound()
            elif self.trouble:
                lost = f"; {self._left_out} readings and entries were left out for want of room" if self._left_out else ""
                minutes = (self._clock() - self._since) / 60
                self._left_out = 0
                self.say("store back", "", f"what waited {minutes:.0f} min is kept{lost}")
                await asyncio.to_thread(self._write)
            self.trouble = refused
            while self._untold:
                self._tell(self._untold.popleft())

    def _write(self) -> str:
        """Write in order. Returns why it is refused, empty where it is not."""
        try:
            for _ in range(len(self._events)):
                self.store.add_event(self._events[0])
                self._events.popleft()
            batch = list(itertools.islice(self._readings, _BATCH))
            while batch:
                self.store.add_readings(batch)
                for _ in batch:
                    self._readings.popleft()
                batch = list(itertools.islice(self._readings, _BATCH))
        except BadInput as error:
            return "; ".join(str(problem) for problem in error.problems)
        return ""

    def _bound(self) -> None:
        """While nothing can be written, the oldest are left out, so that memory has an end."""
        waiting: tuple[tuple[deque[Any], int], ...] = ((self._readings, READINGS_WAITING), (self._events, EVENTS_WAITING))
        for rows, most in waiting:
            while len(rows) > most:
                rows.popleft()
                self._left_out += 1
