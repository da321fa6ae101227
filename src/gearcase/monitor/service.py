"""A watch from start to clean stop: over the bus, or over a folder; by a signal, or after a time.

One service of parts that run beside each other: the rounds, the light's heartbeat, the records, what keeps an eye on the job's
files, and the watchdog. A part that fails is started again and the others go on (`monitor.supervising`).

A reload takes up job.yaml and the baseline as they are now: asked for by SIGHUP or ``gearcase reload``, or noticed. The new job is
checked first; while it is wrong the watch goes on by the old one and says why. It is taken up between two rounds, so that no
round is left out.
"""

import asyncio
import signal
from collections.abc import Awaitable, Callable
from contextlib import AbstractAsyncContextManager, AsyncExitStack, nullcontext, suppress
from pathlib import Path

from gearcase.device.bus import RegisterBus
from gearcase.device.modbus import ModbusBus, connected
from gearcase.errors import BadInput, Problem
from gearcase.job.build import Job
from gearcase.judge.alarm import BLUE_AFTER
from gearcase.monitor.diagnosing import Diagnoser
from gearcase.monitor.folder import Folder
from gearcase.monitor.incoming.ways import Ways
from gearcase.monitor.light import BEAT
from gearcase.monitor.publishing import Opening, publish
from gearcase.monitor.service_manager import ServiceManager
from gearcase.monitor.setup import Setup, stamp
from gearcase.monitor.supervising import Parts, until
from gearcase.monitor.watch import Watch
from gearcase.record import links
from gearcase.record.clock import Pace
from gearcase.record.links import Spell
from gearcase.record.store import Event, Store
from gearcase.stages import watch
from gearcase.stages.publish import RESTS_ON
from gearcase.stages.result import StageResult

__all__ = ["follow_folder", "watch_bus"]

_LONGEST_ROUND = 120.0  # s on the wall; a round that takes longer is broken off
_LOOK_EVERY = 2.0  # s on the wall, at the job's files
_LINKS_EVERY = 3600.0  # s
_LOOK_FOR_OLD = 60.0  # s
_ROUNDS_MISSED = 3  # from which the watchdog is fed no more
_LEAVE_WITHIN = 10.0  # s on the wall for what is under way when it is to stop


async def watch_bus(
    folder: Path,
    store: Store,
    *,
    connection: str,
    pace: Pace,
    every: float,
    lasting: float | None,
    diagnose: Diagnoser,
    tell: Callable[[Event], None],
    manager: ServiceManager,
    opening: Opening,
) -> StageResult:
    """Poll the devices until stopped.

    Parameters
    ----------
    folder : Path
        Of the job.
    store : Store
    connection : str
        As ``bus.connection`` of a job; empty for that of the job.
    pace : Pace
        The clock.
    every, lasting : float
        Between rounds, and until it stops by itself; None goes on until a signal. [s]
    diagnose, tell : callable
        As `Watch` has them.
    manager : ServiceManager
    opening : callable
        Gives the job's publisher.

    Raises
    ------
    BadInput
        The job or its bus is wrong, or the bus cannot be opened.
    """
    service = _Service(folder, store, connection, pace, every, manager, opening)
    async with AsyncExitStack() as stack:
        await service.start(stack, diagnose, tell, lasting)
        return await service.run()


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
        await until(stop, pace.real(every))
    return watch.run(job, [], store.events(), light="", rounds=0, duty={}, cannot=())


class _Service:
    """The parts of one watch over the bus."""

    def __init__(
        self, folder: Path, store: Store, connection: str, pace: Pace, every: float, manager: ServiceManager, opening: Opening
    ) -> None:
        self._folder, self._store, self._connection = folder, store, connection
        self._pace, self._every, self._manager = pace, every, manager
        self._stamp, self._opening = stamp(folder), opening
        self._plant = ""
        self._plant_lately = ""
        self._reload = asyncio.Event()
        self._between = asyncio.Lock()  # held by a round, and by what may only happen between two

    async def start(self, stack: AsyncExitStack, diagnose: Diagnoser, tell: Callable[[Event], None], lasting: float | None) -> None:
        """Read the job, open its bus, take up what was left."""
        setup = Setup.read(self._folder, self._store, at_start=True)
        self._bus = await stack.enter_async_context(AsyncExitStack())
        pace = self._pace
        bus = await self._bus.enter_async_context(self._opened(setup.job))
        self._watch = Watch(setup, bus, self._store, clock=pace.clock, ticks=pace.ticks, diagnose=diagnose, tell=tell)
        self._stop = _stop_of(pace, lasting)
        asyncio.get_running_loop().add_signal_handler(signal.SIGHUP, self._reload.set)
        self._parts = Parts(self._stop, self._part_said)
        self._ways = Ways(
            setup.job,
            self._watch.inputs,
            self._store,
            folder=self._folder,
            pace=pace,
            stop=self._stop,
            diagnose=diagnose,
            tell=tell,
            say=self._watch.say,
        )
        self._watch.came_in = self._ways.accept.fresh
        remark = f"{len(setup.limits)} limits, a round every {self._every:g} s"
        await self._watch.begin(f"{remark}; {pace.remark}" if pace.remark else remark)

    async def run(self) -> StageResult:
        """All parts until it is time to stop, then leave the light blue."""
        parts: dict[str, Callable[[], Awaitable[None]]] = {
            "rounds": self._rounds,
            "light": self._beats,
            "records": self._records,
            "notifying": self._notifies,
            "publishing": self._publishes,
            "posts": self._ways.posts,
            "broker": self._ways.broker,
            "folders": lambda: self._ways.folders(self._every),
            "links": self._links,
            "thinning": self._thins,
            "reload": self._reloads,
            "watchdog": self._watchdog,
        }
        self._manager.ready("watching")
        try:
            async with asyncio.TaskGroup() as group:
                tasks = [group.create_task(self._parts.keep(name, run), name=name) for name, run in parts.items()]
                await self._stop.wait()
                self._manager.stopping()
                self._reload.set()
                _, late = await asyncio.wait(tasks, timeout=_LEAVE_WITHIN)
                for task in late:
                    task.cancel()
        finally:
            shown = await self._watch.end()
        watched = self._watch
        return watch.run(
            watched.setup.job,
            watched.conditions(),
            self._store.events(),
            light=shown,
            rounds=watched.rounds,
            duty=watched.runs.duty(point.name for point in watched.setup.job.points),
            cannot=[*watched.cannot(), *(f"{name}: {how}" for name, how in self._failing().items())],
        )

    def _failing(self) -> dict[str, str]:
        """What of the service does not work, by its name."""
        told = {"plant": self._plant, "notifying": self._watch.notifying.trouble, **self._parts.failing}
        return {name: how for name, how in told.items() if how}

    async def _rounds(self) -> None:
        ticks = self._pace.ticks
        due = ticks()
        while not self._stop.is_set():
            async with self._between, asyncio.timeout(_LONGEST_ROUND):
                await self._watch.round()
            due = max(due + self._every, ticks())
            await until(self._stop, self._pace.real(due - ticks()))

    async def _beats(self) -> None:
        """The light's heartbeat goes on between rounds, which may be further apart than the light waits."""
        while not self._stop.is_set():
            await self._watch.beat()
            await until(self._stop, self._pace.real(BEAT))

    async def _records(self) -> None:
        while not self._stop.is_set():
            if not await self._watch.record():
                await until(self._stop, min(self._pace.real(self._every), _LOOK_EVERY))

    async def _links(self) -> None:
        """Counts of each device's link, kept every hour and at the end."""
        began = self._pace.clock()
        while not self._stop.is_set():
            await until(self._stop, self._pace.real(_LINKS_EVERY))
            bus, ended = self._watch.bus, self._pace.clock()
            if isinstance(bus, ModbusBus):
                names = {device.address: device.name for device in self._watch.setup.job.bus.devices}
                counts = [(names[unit], link.as_dict()) for unit, link in bus.links.items() if unit in names]
                bus.links.clear()
                await asyncio.to_thread(links.keep, self._folder, [Spell(name, began, ended, one) for name, one in counts])
            began = ended

    async def _thins(self) -> None:
        """Old readings and recordings, once a day where the job says so."""
        watched, ticks = self._watch, self._pace.ticks
        while not self._stop.is_set():
            thinning, job = watched.thinning, watched.setup.job
            if thinning.due(job, run_state=watched.runs.state, light=watched.light.colour, ticks=ticks()):
                await thinning.thin(job, ticks(), lambda: not self._stop.is_set())
            await until(self._stop, min(self._pace.real(_LOOK_FOR_OLD), _LOOK_FOR_OLD))

    async def _notifies(self) -> None:
        while not self._stop.is_set():
            if await self._watch.notifying.send(self._watch.setup.job, self._pace.ticks):
                await self._watch.keeping.write()
            await until(self._stop, min(self._pace.real(self._every), 1.0))

    async def _publishes(self) -> None:
        """After each round, over the faces of the job; opened anew when the job names others."""
        while not self._stop.is_set():
            job, told = self._watch.setup.job, -1
            publisher = self._opening(job, self._pace.clock, self._watch.acknowledge)
            async with publisher or nullcontext():
                while not self._stop.is_set() and self._watch.setup.job.sources(RESTS_ON) == job.sources(RESTS_ON):
                    if publisher is not None and told != self._watch.rounds:
                        told = self._watch.rounds
                        await publish(publisher, self._watch.published())
                        self._plant_said(publisher.condition())
                    await until(self._stop, min(self._pace.real(self._every), 1.0))

    def _plant_said(self, condition: str) -> None:
        """What is wrong with the telling, said when it begins, changes and ends; what stands for one round only is a start."""
        stands, self._plant_lately = condition == self._plant_lately, condition
        if stands and condition != self._plant:
            self._plant = condition
            self._watch.say("plant", "", condition or "the plant is told again")

    async def _watchdog(self) -> None:
        """Alive only while rounds go on."""
        within = self._manager.watchdog_s
        while within is not None and not self._stop.is_set():
            if self._watch.round_age <= max(_ROUNDS_MISSED * self._every, BLUE_AFTER):
                self._manager.alive(f"{self._watch.rounds} rounds, light {self._watch.light.colour or 'not set'}")
            await until(self._stop, within / 3)

    async def _reloads(self) -> None:
        while not self._stop.is_set():
            with suppress(TimeoutError):
                await asyncio.wait_for(self._reload.wait(), _LOOK_EVERY)
            now = stamp(self._folder)
            if self._stop.is_set():
                return
            if self._reload.is_set() or self._watch.reload_asked or now != self._stamp:
                self._stamp, self._watch.reload_asked = now, False
                self._reload.clear()
                await self._take_up()

    async def _take_up(self) -> None:
        """Go on by the job as it is now; by the old one where it is wrong."""
        self._manager.reloading()
        watched = self._watch
        try:
            setup = await asyncio.to_thread(Setup.read, self._folder, self._store, at_start=False)
            if setup.job.store != watched.setup.job.store:
                raise BadInput(
                    Problem("job.yaml", "store", setup.job.store, "the store it was started with; another needs a restart")
                )
            bus, closing = None, None
            if self._reached(setup.job) != self._reached(watched.setup.job):
                closing, opening = self._bus, AsyncExitStack()
                bus = await opening.enter_async_context(self._opened(setup.job))
        except BadInput as error:
            wrong = "; ".join(str(problem) for problem in error.problems)
            watched.say("reload refused", "", f"the watch goes on by the job as it was: {wrong}")
        else:
            async with self._between:
                watched.take_up(setup)
                self._ways.take_up(setup.job, watched.inputs)
                if bus is not None and closing is not None:
                    watched.bus, self._bus = bus, opening
                    await closing.aclose()
            watched.say("reloaded", "", f"{len(setup.limits)} limits, {len(setup.job.bus.devices)} devices")
        await watched.keeping.write()
        self._manager.ready("watching")

    def _opened(self, job: Job) -> AbstractAsyncContextManager[RegisterBus]:
        connection, baud = self._reached(job)
        if not connection:
            raise BadInput(Problem("job.yaml", "bus.connection", "", "how the bus is reached, here, as --connection, or --folder"))
        return connected(connection, baud=baud, resting=True)

    def _reached(self, job: Job) -> tuple[str, int]:
        return self._connection or job.bus.connection, job.bus.baud

    def _part_said(self, name: str, how: str) -> None:
        if how:
            self._watch.say("part failed", "", f"{name}: {how}; it is started again, the others go on", None, {"part": name})
        else:
            self._watch.say("part back", "", f"{name} holds again", None, {"part": name})


def _stop_of(pace: Pace, lasting: float | None) -> asyncio.Event:
    """Set by an interrupt, by an order to end, or when its time is over."""
    stop, loop = asyncio.Event(), asyncio.get_running_loop()
    for name in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(name, stop.set)
    if lasting is not None:
        loop.call_later(pace.real(lasting), stop.set)
    return stop
