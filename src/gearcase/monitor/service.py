"""A watch from start to clean stop: over the bus, or over a folder; by a signal, or after a time."""

import asyncio
import contextlib
import signal
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from gearcase.device.modbus import connected
from gearcase.job.build import Job
from gearcase.monitor.folder import Folder
from gearcase.monitor.in_force import evidence_levels, in_force
from gearcase.monitor.watch import Diagnoser, Watch
from gearcase.record.clock import Pace
from gearcase.record.store import Event, Store
from gearcase.stages import watch
from gearcase.stages.result import StageResult

__all__ = ["follow_folder", "watch_bus"]

_BEAT = 3.0  # s; a light that is left alone falls back after 10


async def watch_bus(
    job: Job,
    store: Store,
    *,
    connection: str,
    baseline: Mapping[str, Any] | None,
    pace: Pace,
    every: float,
    lasting: float | None,
    diagnose: Diagnoser,
    tell: Callable[[Event], None],
) -> StageResult:
    """Poll the devices until stopped.

    Parameters
    ----------
    job, store : Job, Store
    connection : str
        As ``bus.connection`` of a job.
    baseline : mapping or None
        A ``baseline/1`` document; None where there is none that counts.
    pace : Pace
        The clock.
    every, lasting : float
        Between rounds, and until it stops by itself; None goes on until a signal. [s]
    diagnose, tell : callable
        As `Watch` has them.

    Raises
    ------
    BadInput
        The bus cannot be opened, or the store can no longer be written.
    """
    stop = _stop_of(pace, lasting)
    async with connected(connection, baud=job.bus.baud, resting=True) as bus:
        watching = Watch(
            job,
            bus,
            store,
            in_force(baseline) if baseline else {},
            evidence_levels(baseline) if baseline else {},
            pace.clock,
            lambda seconds: _until(stop, pace.real(seconds)),
            diagnose,
            tell,
        )
        beating = asyncio.create_task(_beat(watching, stop, pace))
        try:
            await watching.run(stop, every=every, remark=pace.remark)
        finally:
            beating.cancel()
    return watch.run(job, watching.conditions(), store.events(), light=watching.shown, rounds=watching.rounds)


async def follow_folder(
    job: Job,
    store: Store,
    *,
    folder: Path,
    pace: Pace,
    every: float,
    lasting: float | None,
    diagnose: Diagnoser,
    tell: Callable[[Event], None],
) -> StageResult:
    """Judge recordings as they appear, until stopped; the rest as `watch_bus`."""
    stop = _stop_of(pace, lasting)
    followed = Folder(folder, job, store, pace.clock, diagnose, tell)
    while not stop.is_set():
        await asyncio.to_thread(followed.look)
        await _until(stop, pace.real(every))
    return watch.run(job, [], store.events(), light="", rounds=0)


async def _beat(watching: Watch, stop: asyncio.Event, pace: Pace) -> None:
    """The light's heartbeat goes on between rounds, which may be further apart than the light waits."""
    while not stop.is_set():
        await _until(stop, pace.real(_BEAT))
        await watching.refresh_light()


def _stop_of(pace: Pace, lasting: float | None) -> asyncio.Event:
    """Set by an interrupt, by an order to end, or when its time is over."""
    stop, loop = asyncio.Event(), asyncio.get_running_loop()
    for name in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(name, stop.set)
    if lasting is not None:
        loop.call_later(pace.real(lasting), stop.set)
    return stop


async def _until(stop: asyncio.Event, seconds: float) -> None:
    """Wait so long, or until it is time to stop."""
    with contextlib.suppress(TimeoutError):
        await asyncio.wait_for(stop.wait(), seconds)
