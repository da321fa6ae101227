"""The ways in of one watch, as parts of its service: the posts, the broker, and the folders that are followed."""

import asyncio
from collections.abc import Callable, Coroutine
from pathlib import Path
from typing import Any

from gearcase.job.build import Job
from gearcase.monitor.alarms import Say
from gearcase.monitor.diagnosing import Diagnoser
from gearcase.monitor.folder import Folder
from gearcase.monitor.incoming import http, mqtt
from gearcase.monitor.incoming.accept import Accept, incoming_folder
from gearcase.monitor.inputs import Inputs
from gearcase.record.clock import Pace
from gearcase.record.store import Event, Store

__all__ = ["Ways"]


class Ways:
    """Every way in that the job names.

    Parameters
    ----------
    job, inputs, store : Job, Inputs, Store
    folder : Path
        Of the job.
    pace : Pace
        The clock.
    stop : asyncio.Event
        Set when all shall end.
    diagnose, tell : callable
        As `Watch` has them.
    say : callable
        Puts an event into the diary.
    """

    def __init__(
        self,
        job: Job,
        inputs: Inputs,
        store: Store,
        *,
        folder: Path,
        pace: Pace,
        stop: asyncio.Event,
        diagnose: Diagnoser,
        tell: Callable[[Event], None],
        say: Say,
    ) -> None:
        self.accept = Accept(job, inputs, store, incoming_folder(folder), pace.clock)
        self._store, self._own, self._pace, self._stop = store, incoming_folder(folder), pace, stop
        self._diagnose, self._tell, self._say = diagnose, tell, say
        self._changed = asyncio.Event()
        self._refused = ""
        self._set(job, inputs)

    def take_up(self, job: Job, inputs: Inputs) -> None:
        """Go on by another job: what listens by the old one is opened anew."""
        if (job.incoming, job.points) == (self._job.incoming, self._job.points) and inputs is self._inputs:
            return
        self.accept.take_up(job, inputs)
        self._set(job, inputs)
        self._changed.set()

    async def posts(self) -> None:
        """Serve posts until all shall end."""
        while not self._stop.is_set():
            settings = self._job.incoming.http
            await self._while_so(None if settings is None else http.serve(settings, self.accept, ticks=self._pace.ticks))

    async def broker(self) -> None:
        """Listen to the broker until all shall end."""
        while not self._stop.is_set():
            settings = self._job.incoming.mqtt
            listening = None
            if settings is not None:
                name = f"gearcase {self._job.title}"
                listening = mqtt.listen(
                    settings, self.accept, self._inputs, name=name, clock=self._pace.clock, say=self._say_refused
                )
            await self._while_so(listening)

    async def folders(self, every: float) -> None:
        """Look into the folders, `every` so many seconds of the clock, until all shall end. [s]"""
        while not self._stop.is_set():
            for folder in self._followed:
                if folder.path.exists() or folder.path != self._own:  # nothing has come in yet
                    await asyncio.to_thread(folder.look)
            try:
                await asyncio.wait_for(self._stop.wait(), self._pace.real(every))
            except TimeoutError:
                continue

    def _set(self, job: Job, inputs: Inputs) -> None:
        self._job, self._inputs = job, inputs
        paths = [self._own, *([job.incoming.folder] if job.incoming.folder else [])]
        self._followed = [Folder(path, job, self._store, self._pace.clock, self._diagnose, self._tell) for path in paths]

    async def _while_so(self, running: Coroutine[Any, Any, None] | None) -> None:
        """Run until the job has changed or all shall end; raises what it dies of."""
        self._changed.clear()
        waiting = [asyncio.create_task(event.wait()) for event in (self._changed, self._stop)]
        tasks = [*waiting, *([asyncio.create_task(running)] if running is not None else [])]
        try:
            done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
            for task in done:
                task.result()
        finally:
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)

    def _say_refused(self, says: str) -> None:
        """What a sender got refused, once for as long as it is the same."""
        if says != self._refused:
            self._refused = says
            self._say("incoming refused", "", says, self._pace.clock(), {}, "")
