"""The watch of one drive: polls, gates by run state, judges, sets the light, keeps everything, diagnoses on change.

Theory of operation
-------------------
Every round reads all devices and keeps the readings in one batch. The run state (`monitor.runs`) comes from the last half hour of
run contact, speed and sump temperature; stopped is never judged. A temperature that no drive can have is bad, and of a failed
probe every one is; so are the figures of a sensor that is stuck (`monitor.stuck`). Each limit of the baseline has its alarm
(`monitor.alarms`), fed with each reading where it holds. Nothing is shown before it is kept (`monitor.keeping`); while the store
cannot be written the light is blue, and red for a danger all the same.

Beside the rounds records are taken as the drive's state asks for them (`monitor.records`): the levels of the lines expected there
are kept as readings with limits of their own. Change asks for a diagnosis (`monitor.diagnosing`): an alarm that is raised, or
high-frequency acceleration at twice its baseline, which is evidence and no alarm. A fault that two records name stands as a
yellow condition in the light until an epoch takes it back.

The light is that of `judge.stack_light`, kept by `monitor.light`. Blue is also what it shows when no round was finished for a
minute, and when the watch leaves.

The diary holds starts and stops, alarms, diagnoses, what a person declared, and questions (`monitor.diary`).

Intervals are measured on a clock that only goes on; readings and events carry the time of day.
"""

import asyncio
import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from gearcase.device.bus import RegisterBus
from gearcase.device.publish.values import Published, with_records
from gearcase.errors import BadInput, BadReply, BadRequest, NoReply, Problem
from gearcase.install.housing import BusDevice
from gearcase.install.record_forms import RecordForm
from gearcase.judge import alarm
from gearcase.judge.compensation import LOAD, OIL, SPEED
from gearcase.judge.families import LINE_FAMILIES
from gearcase.judge.operating import DIRECTION
from gearcase.monitor.alarms import Alarms
from gearcase.monitor.diagnosing import Diagnoser, Diagnosing
from gearcase.monitor.diary import Clocks, Steps
from gearcase.monitor.inputs import Inputs
from gearcase.monitor.keeping import Keeping
from gearcase.monitor.light import Light
from gearcase.monitor.notifying import Notifying, standing_of
from gearcase.monitor.polling import poll, take_records
from gearcase.monitor.probes import Probes
from gearcase.monitor.publishing import published
from gearcase.monitor.records import Records, line_levels, sensors, standing
from gearcase.monitor.runs import Runs, turns
from gearcase.monitor.setup import Setup
from gearcase.monitor.stuck import Stuck
from gearcase.monitor.thinning import Thinning
from gearcase.record.store import Event, Reading, Store
from gearcase.signal.recording import Recording
from gearcase.stages.minutes import AMBIENT, OVERALL, SUMP

__all__ = ["Watch"]


class Watch:
    """A watch that can be started once.

    Parameters
    ----------
    setup : Setup
    bus : RegisterBus
    store : Store
    clock : callable
        Unix time. [s]
    ticks : callable
        Seconds that only go on, whatever is done to the clock. [s]
    diagnose : callable
        Judges recordings of one point of a job together and keeps the result; returns its ``diagnose/1`` document.
    tell : callable
        Takes each event once it is kept.

    Attributes
    ----------
    rounds : int
    reload_asked : bool
        A person wants the job to be read again.
    """

    def __init__(
        self,
        setup: Setup,
        bus: RegisterBus,
        store: Store,
        *,
        clock: Callable[[], float],
        ticks: Callable[[], float],
        diagnose: Diagnoser,
        tell: Callable[[Event], None],
    ) -> None:
        self.setup, self.bus, self.store = setup, bus, store
        self.clock, self.ticks = clock, ticks
        self._tell = tell
        self.keeping = Keeping(store, clock, self._kept_event)
        say = self.say = self.keeping.say
        self.alarms, self.runs, self.light = Alarms(setup.limits, say), Runs(), Light(say)
        self.records, self.diagnosing = Records(say, setup.job.drive), Diagnosing(diagnose, say, ticks())
        self.thinning = Thinning(Path(setup.job.folder), store, clock, say, ticks())
        self.rounds = 0
        self._steps, self._clocks, self._probes = Steps(say), Clocks(say), Probes()
        self._stuck = Stuck()
        self.inputs, self.notifying = Inputs(setup.job), Notifying(say)
        self.came_in: Callable[[float], list[Reading]] = (
            lambda now: []
        )  # readings by other ways, not too old at a time; kept already
        self._brought: list[Reading] = []  # levels of lines, from records taken since the last round
        self._latest: dict[tuple[str, str], Reading] = {}
        self._known: dict[str, float] = {}
        self._without = ""  # what could not be judged in the last round for want of an input
        self._heard = 0
        self._last_round = ticks()
        self.reload_asked = False

    async def begin(self, remark: str) -> None:
        """Take up what an earlier watch has left: a danger stays until somebody has seen it."""
        now, ticks = self.clock(), self.ticks()
        for event in self.store.events():
            self._heard = event.number
            with self._understood(event):
                self.alarms.remember(event)
                self.diagnosing.remember(event, now, ticks)
                self.notifying.remember(event, now, ticks)
                self.thinning.remember(event, now, ticks)
                self._stuck.remember(event)
        self.alarms.take_up(self.setup.limits)
        self.records.remember(self.setup.job, self.store.latest(), now, ticks)
        self.runs.recall(self.store, now, ticks)
        self.say("watch started", "", remark)
        for says in self.setup.damaged:
            self.say("result damaged", "", says)
        await self.keeping.write()

    async def end(self) -> str:
        """Leave the light blue. Returns what it showed before."""
        before = self.light.colour
        await self.light.show("blue", self.setup.job, self.bus, self.clock())
        self.say("watch stopped", "", f"{self.rounds} rounds")
        await self.keeping.write()
        return before

    def take_up(self, setup: Setup) -> None:
        """Go on by another setup: between two rounds, with every alarm, shelving and run state as it stands."""
        self.alarms.take_up(setup.limits)
        if setup.job.drive != self.setup.job.drive:
            self.records.take_up(setup.job.drive)
            self._steps.declared()
        if (setup.job.inputs, setup.job.bus) != (self.setup.job.inputs, self.setup.job.bus):
            self.inputs = Inputs(setup.job)
        self.setup = setup

    async def round(self) -> None:
        """One round: poll, judge, keep, show."""
        now, ticks = self.clock(), self.ticks()
        self._clocks.look(now, ticks)
        await self._hear()
        polled, moved = self._stuck.believe(
            await poll(self.setup.job, self.bus, self.inputs, now=now), running=turns(self.runs.state), ticks=ticks
        )
        for kind, point, says in moved:
            self.say(kind, point, says, now)
        by_bus = {(one.point, one.quantity) for one in polled}  # what came in of these stands beside, and says nothing here
        came_in = [one for one in self.came_in(now) if (one.point, one.quantity) not in by_bus]
        believed, changed = self._probes.believe([*polled, *came_in])
        readings = believed[: len(polled)]
        for point, says in changed:
            self.say("probe", point, says, now)
        for says in self.inputs.changes(now):
            self.say("input", "", says, now)
        state = self._run_state(readings, now, ticks)
        self.keeping.add(replace(reading, state=state) for reading in readings)
        brought, self._brought = self._brought, []
        judged = [*believed, *brought]
        self._latest |= {(one.point, one.quantity): one for one in judged}
        self._judge(judged, state, now, ticks)
        await self.keeping.write()
        await self.light.show(self._colour(now, ticks), self.setup.job, self.bus, now)
        self._notify(now, ticks)
        await self.keeping.write()  # what the light shows stands in the diary before anybody is told of it
        self.rounds, self._last_round = self.rounds + 1, ticks

    async def beat(self) -> None:
        """Write the light's heartbeat between rounds; blue where no round was finished for a minute."""
        if self.light.colour:
            hangs = self.round_age >= alarm.BLUE_AFTER
            await self.light.beat(self.setup.job, self.bus, self.clock(), hangs=hangs)

    @property
    def round_age(self) -> float:
        """Since the last round that was finished. [s]"""
        return self.ticks() - self._last_round

    async def record(self) -> bool:
        """Take the records that are most due, and judge them: of a diagnosis every form that the sensor is asked for, else one.
        Returns whether any was due.
        """
        ticks = self.ticks()
        device, forms, asked = self._wanted(ticks)
        if device is None:
            return False
        if asked := asked or self.diagnosing.wants(device.point, ticks):
            forms = self.records.forms(device)
        taken: list[Recording] = []
        for form in forms:
            if taken and self.runs.state not in ("settling", "steady"):
                break  # what is taken of it now is another state
            try:
                found = await self._take(device, form)
            except (NoReply, BadReply, BadRequest) as error:
                self.say("no record", device.point, str(error))
                self.records.refused(device.point, ticks)
                break
            taken += await self._heard_record(device, form, found, "diagnosis" if asked else "levels")
        if not taken:
            self.inputs.no_recording(self.clock())
            if asked:
                self.diagnosing.later(device.point, ticks)
        elif asked:
            await self.diagnosing.judge(self.setup.job, taken, ticks)
        return True

    def conditions(self) -> list[dict[str, Any]]:
        """Every alarm as it stands, and every fault named."""
        rows = self.alarms.conditions(now=self.clock(), ticks=self.ticks())
        return rows + [
            {"point": point, "quantity": "diagnosis", "condition": f"{fault.replace('_', ' ')} fault of {part}", "light": "yellow"}
            for point, (part, fault) in self.diagnosing.named.items()
        ]

    def published(self) -> dict[str, Published]:
        """What the plant is told after the last round."""
        return published(
            self._latest.values(),
            self.alarms.conditions(now=self.clock(), ticks=self.ticks()),
            self.diagnosing.named,
            sensors={point: self.diagnosing.untold(point, self.ticks()) for point in with_records(self.setup.job)},
            run_state=self.runs.state,
            light=self.light.colour,
            light_obeys=not self.light.trouble,
            now=self.clock(),
        )

    def acknowledge(self, who: str) -> None:
        """The plant has seen all alarms: an entry like a person's, heard with the next round.

        Raises
        ------
        BadInput
            Nothing can be kept now, so nobody would know who has seen what.
        """
        if self.keeping.trouble:
            raise BadInput(Problem("store", "", self.keeping.trouble, "a store that can be written: acknowledge again when it can"))
        self.say("acknowledged", "", "seen; the condition stays until it clears", None, {}, who)

    def cannot(self) -> list[str]:
        """What of the watch itself does not work now, in words."""
        limits = self.alarms.without(self.clock()) or self._not_judged()
        rows = (("store", self.keeping.trouble), ("light", self.light.trouble), ("inputs", self._without), ("limits", limits))
        return [f"{name}: {how}" for name, how in rows if how]

    def _notify(self, now: float, ticks: float) -> None:
        """Hold what stands against what people were told."""
        job = self.setup.job
        rows = self.conditions()
        shelved = {f"{row['point']}, {row['quantity']}" for row in rows if row.get("shelved")}
        self.notifying.look(
            job,
            standing_of((row for row in rows if not row.get("shelved")), self.diagnosing.about, self.cannot()),
            shelved=shelved,
            maintenance=self.alarms.maintained(now) is not None,
            cannot_see=self._unseen(),
            ticks=ticks,
        )

    def _unseen(self) -> list[str]:
        """What this watch cannot see, whatever it says."""
        blind = [one.name for one in self.setup.job.drive.bearings if one.geometry is None]
        lines = [f"{name}: its geometry is not known, so its lines are not looked for" for name in blind]
        return [*lines, "overall velocity judges how the drive runs, not its gears and bearings"]

    def _kept_event(self, event: Event) -> None:
        self.notifying.hear(event, self.ticks())
        self._tell(event)

    async def _hear(self) -> None:
        """What people declared or acknowledged since the last round; while the store is lost there is nobody to ask."""
        if self.keeping.trouble:
            return
        try:
            events = await asyncio.to_thread(self.store.events, after=self._heard)
        except BadInput:
            return  # what keeps the store from being read keeps it from being written: `keeping` says so
        for event in events:
            self._heard = event.number
            with self._understood(event):
                self.alarms.hear(event)
                self.diagnosing.hear(event, self.ticks())
            if event.kind == "epoch":
                self._steps.declared()
            elif event.kind == "reload":
                self.reload_asked = True

    @contextmanager
    def _understood(self, event: Event) -> Iterator[None]:
        """An entry that makes no sense must not keep a watch from starting: it is passed over, and said."""
        try:
            yield
        except (KeyError, TypeError, ValueError) as error:
            says = f"entry {event.number}, {event.kind}, is passed over: {type(error).__name__}: {error}"
            self.say("entry not understood", event.point, says)

    def _run_state(self, readings: Iterable[Reading], now: float, ticks: float) -> str:
        before, plant = self.runs.state, self.inputs.now(now)
        oil = _good(readings).get((SUMP, "temperature"))
        told = (plant.run.value, plant.speed_hz, oil, plant.direction.value)
        state = self.runs.take(*told, drive=self.setup.job.drive, ticks=ticks)
        if state != before:
            self.say("run state", "", f"{before} to {state}", now)
            if state == "stopped":
                self._steps.stopped()
                self.records.stopped()
        return state

    def _judge(self, readings: Iterable[Reading], state: str, now: float, ticks: float) -> None:
        rows, plant = list(readings), self.inputs.now(now)
        self._without = plant.cannot
        oil = _good(rows).get((SUMP, "temperature"))
        read = {SPEED: plant.speed_hz, LOAD: plant.load.value, OIL: oil, AMBIENT: plant.ambient.value}
        read[DIRECTION] = plant.direction.value
        self._known = {name: value for name, value in read.items() if value is not None}
        for point in self.alarms.judge(rows, state, self._known, now=now, ticks=ticks):
            self.diagnosing.want(point, ticks)
        self.runs.count(self.alarms.judged(ticks), ticks)
        if state == "steady":
            self.diagnosing.look(rows, self.setup.usual, ticks)
            self._steps.take(rows, speed_hz=read[SPEED], load=read[LOAD], now=now)

    def _colour(self, now: float, ticks: float) -> str:
        colour = self.alarms.light(self.runs.state, fault_named=bool(self.diagnosing.named), now=now, ticks=ticks)
        if colour == "green" and self._not_judged():
            return "blue"
        return "blue" if self.keeping.trouble and colour != "red" else colour

    def _not_judged(self) -> str:
        """Sensors on the bus whose overall velocity is held against no limit, in words; empty where there are none."""
        read = [one.point for one in self.setup.job.bus.devices if one.point and one.form.of(OVERALL)]
        without = [point for point in read if (point, OVERALL) not in {key[:2] for key in self.alarms.limits}]
        return f"none of {OVERALL} at {', '.join(without)}: take the baseline again" if without else ""

    async def _heard_record(self, device: BusDevice, form: RecordForm, found: Iterable[Recording], why: str) -> list[Recording]:
        """Keep what was taken in one form, take speed and levels from it."""
        ticks = self.ticks()
        kept = [await self._kept(one, why) for one in found]
        self.records.taken(device, form, kept[0], ticks)
        await asyncio.to_thread(self.inputs.hear_recording, kept[0], self.clock())
        if kept[0].speed_hz and self.runs.state == "steady" and self.records.gives_levels(device, form):
            levels = await asyncio.to_thread(self._levels, kept, self.clock())
            self.keeping.add(levels)
            self._brought += levels
        return kept

    def _wanted(self, ticks: float) -> tuple[BusDevice | None, tuple[RecordForm, ...], bool]:
        """The sensor whose record is wanted now, in which forms, and whether something asks for its diagnosis."""
        by_point = {device.point: device for device in sensors(self.setup.job)}
        point = self.diagnosing.due(ticks)
        if point is not None and point not in by_point:
            self.diagnosing.drop(point)
            says = "no waveform is to be had here: what it comes from, gear or bearing, only a recording tells; take one"
            self.say("no record", point, says)
        elif point is not None and self.runs.state in ("settling", "steady"):
            return by_point[point], self.records.forms(by_point[point]), True
        if by_point and self.inputs.wants_recording(self.clock()):
            device = next(iter(by_point.values()))
            return device, self.records.forms(device)[-1:], False
        if due := self.records.due(self.setup.job, self.runs.state, ticks):
            return due[0], due[1:], False
        return None, (), False

    async def _take(self, device: BusDevice, form: RecordForm) -> list[Recording]:
        start = datetime.fromtimestamp(self.clock(), UTC).isoformat(timespec="seconds")
        turning = abs(self.runs.speed_hz or 0.0) or None  # a reading of 0 beside a record says nothing of its lines
        taken = await take_records(self.bus, device, form, speed_hz=turning, start=start)
        state = "steady" if self.runs.state == "steady" else ""
        load, oil, axes = self._known.get(LOAD), self._known.get(OIL), self.setup.axes.get(device.point, {})
        circumstances = [replace(one.taken, state=state, load=load, oil_temperature=oil) for one in taken]
        return [standing(replace(one, taken=what), axes) for one, what in zip(taken, circumstances, strict=True)]

    async def _kept(self, recording: Recording, why: str) -> Recording:
        """Keep a record; one that cannot be kept is judged all the same."""
        try:
            return await asyncio.to_thread(self.store.keep_recording, recording, time_s=self.clock(), why=why)
        except BadInput as error:
            self.say("recording lost", recording.point, "; ".join(str(problem) for problem in error.problems))
            return recording

    def _levels(self, taken: Sequence[Recording], now: float) -> list[Reading]:
        """Levels of the lines of records taken together, judged and kept with the next round."""
        first = taken[0]
        levels = line_levels(self.setup.job, taken, speed_hz=first.speed_hz or math.nan)
        return [Reading(now, first.point, name, value, LINE_FAMILIES[name], state="steady") for name, value in levels.items()]


def _good(readings: Iterable[Reading]) -> dict[tuple[str, str], float]:
    return {(one.point, one.quantity): one.value for one in readings if one.quality == "good" and one.value is not None}
