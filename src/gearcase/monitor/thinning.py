"""Thinning what the watch kept, by itself: once a day, beside the rounds, as the job's `retention` says; not where it says nothing.

It waits for a quiet hour, in which the drive stands or runs steadily and shows no danger, but for no longer than a day: a start and
an alarm want the store for themselves. While a jump of the clock is not explained nothing is thinned, since what is old cannot be
told. It goes through the store in small transactions and leaves as much time to the rounds as it takes (`store.retention`).
"""

import asyncio
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path

from gearcase.errors import BadInput
from gearcase.job.build import Job
from gearcase.monitor.alarms import Say
from gearcase.monitor.diary import open_questions
from gearcase.monitor.incoming.accept import incoming_folder
from gearcase.record.store import Event, Store, rested_on

__all__ = ["Thinning"]

_EVERY, _FIRST, _PATIENCE = 86400.0, 3600.0, 86400.0  # s; common practice, no source
_QUIET = ("stopped", "steady")


class Thinning:
    """When it is due, and doing it. Times are those of the clock that only goes on. [s]

    Parameters
    ----------
    folder : Path
        Of the job.
    store : Store
    clock : callable
        Unix time. [s]
    say : callable
        Puts an event into the diary.
    ticks : float
    """

    def __init__(self, folder: Path, store: Store, clock: Callable[[], float], say: Say, ticks: float) -> None:
        self._folder, self._store, self._clock, self._say = folder, store, clock, say
        self._due = ticks + _FIRST

    def remember(self, event: Event, now: float, ticks: float) -> None:
        """Take up when an earlier watch thinned."""
        if event.kind == "thinned":
            self._due = max(ticks + _FIRST, min(event.time_s, now) - now + ticks + _EVERY)

    def due(self, job: Job, *, run_state: str, light: str, ticks: float) -> bool:
        """Whether it is time, at a run state and a light."""
        quiet = run_state in _QUIET and light != "red"
        return job.retention.whole is not None and ticks >= self._due + (0.0 if quiet else _PATIENCE)

    async def thin(self, job: Job, ticks: float, going: Callable[[], bool]) -> None:
        """Thin for as long as `going` says so, and say what was done; what cannot be done is tried again in a day."""
        self._due = ticks + _EVERY
        says, details = await asyncio.to_thread(self._thin, job, going)
        self._say("thinned", "", says, None, details, "")

    def _thin(self, job: Job, going: Callable[[], bool]) -> tuple[str, dict[str, int]]:
        whole, minutes, now = job.retention.whole or 0.0, job.retention.minutes, self._clock()
        try:
            if any("clock_jump_s" in one.details for one in open_questions(self._store.events())):
                return "not: the clock jumped, and nobody has said why; answer the question", {}
            thinned = self._store.thin(
                before_s=now - whole,
                minutes_before_s=None if minutes is None else now - minutes,
                posted=incoming_folder(self._folder),
                needed=rested_on(self._folder),
                going=going,
            )
        except BadInput as error:
            return f"not: {'; '.join(str(problem) for problem in error.problems)}", {}
        return thinned.words, asdict(thinned)
