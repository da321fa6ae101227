"""The watch of one drive: polls, gates by run state, judges, sets the light, keeps everything, diagnoses on change.

Theory of operation
-------------------
Every round reads all devices and keeps the readings in one batch. The run state comes from the last half hour of run contact, speed
and sump temperature; stopped is never judged. A temperature that no drive can have is bad, and of a failed probe every one is. Each
limit of the baseline has its alarm (`monitor.alarms`), fed with each reading where it holds.

Every two hours of steady running a record is taken from each vibration sensor, and the levels of the lines expected there are kept
as readings with limits of their own (`judge.families`).

Change asks for a diagnosis: an alarm that is raised, or high-frequency acceleration of a point at twice its baseline in three
settled readings of the last four, which is evidence and no alarm. A record is taken from that sensor and judged. A fault is named
only when a second record, a minute of the watch later, names the same part and fault; then it stands as a yellow condition until a
person acknowledges it, which steadies nothing away: it stays in the diary and in the light.

The light is that of `judge.stack_light`. Blue is also what it shows when the watch leaves.

The diary holds starts and stops, alarms, diagnoses, what a person declared, and a question where a level stepped across a stop and
nobody declared why.
"""

import asyncio
import math
from collections import deque
from collections.abc import Awaitable, Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from gearcase.device.bus import RegisterBus
from gearcase.device.profile import LAMPS
from gearcase.errors import BadReply, BadRequest, NoReply
from gearcase.install.housing import BusDevice
from gearcase.job.build import Job
from gearcase.judge import alarm
from gearcase.judge.alarm import RECORDS_EVERY
from gearcase.judge.compensation import LOAD, OIL, SPEED
from gearcase.judge.families import LINE_FAMILIES, alarm_families, family_levels
from gearcase.judge.steady import run_states
from gearcase.monitor.alarms import Alarms
from gearcase.monitor.in_force import EVIDENCE, InForce, Key
from gearcase.monitor.inputs import Inputs
from gearcase.monitor.polling import poll, take_record
from gearcase.monitor.probes import Probes
from gearcase.record.store import Event, Reading, Store
from gearcase.signal.recording import Recording
from gearcase.signal.spectrum import transform
from gearcase.stages.minutes import AMBIENT, SETTLED_SLOPE, SPEED_BAND, STANDSTILL, SUMP

__all__ = ["Diagnoser", "Watch"]

_LOOK_BACK = 1900.0  # s of run state, a little more than the alarm's own memory
_ROW_EVERY = 5.0  # s between rows of it
_LONGEST_GAP = 120.0  # s; readings further apart belong to no common run
_TWICE, _NEED, _OF = 2.0, 3, 4
_SECOND_RECORD = 60.0  # s until the record that must agree
_STEP = 1.5  # ratio of a level across a stop that is asked about; common practice, no source
_SETTLED_READINGS = 12

Diagnoser = Callable[[Recording], dict[str, Any]]


@dataclass
class Watch:
    """A watch that can be started once.

    Attributes
    ----------
    job, bus, store : Job, RegisterBus, Store
    limits : mapping
        As `in_force` gives them; empty where there is no baseline: then the light is blue.
    usual : mapping
        As `evidence_levels` gives them.
    clock : callable
        Unix time. [s]
    sleep : callable
        Waits so many seconds of that clock.
    diagnose : callable
        Judges one recording and keeps the result; returns its ``diagnose/1`` document.
    tell : callable
        Takes each event as it happens.
    """

    job: Job
    bus: RegisterBus
    store: Store
    limits: Mapping[Key, InForce]
    usual: Mapping[str, float]
    clock: Callable[[], float]
    sleep: Callable[[float], Awaitable[None]]
    diagnose: Diagnoser
    tell: Callable[[Event], None]
    rounds: int = 0
    light: str = ""
    shown: str = ""
    named: dict[str, tuple[str, str]] = field(default_factory=dict)
    _rows: deque[tuple[float, float, float, float]] = field(default_factory=deque)
    _state: str = "unknown"
    _probes: Probes = field(default_factory=Probes)
    _evidence: dict[str, deque[bool]] = field(default_factory=dict)
    _suspected: dict[str, tuple[str, str]] = field(default_factory=dict)
    _to_diagnose: dict[str, float] = field(default_factory=dict)
    _settled: dict[str, deque[float]] = field(default_factory=dict)
    _before_stop: dict[str, float] = field(default_factory=dict)
    _heard: int = 0
    _beat: int = 0
    _last_round: float = -math.inf
    _diagnosing: asyncio.Task[None] | None = None
    _recording: asyncio.Task[list[Reading]] | None = None
    _recorded: dict[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._alarms = Alarms(self.limits, self._say)
        self.inputs = Inputs(self.job)

    async def run(self, stop: asyncio.Event, *, every: float, remark: str = "") -> None:
        """Watch until stopped, a round each `every` seconds, and leave the light blue; `remark` goes into the diary.

        Raises
        ------
        BadInput
            The store cannot be written any more.
        """
        self._remember()
        self._recall_run()
        started = f"{len(self.limits)} limits, a round every {every:g} s"
        self._say("watch started", "", f"{started}; {remark}" if remark else started)
        due = self.clock()
        try:
            while not stop.is_set():
                await self.round()
                due = max(due + every, self.clock())
                await self.sleep(max(due - self.clock(), 0.0))
        finally:
            for task in (self._diagnosing, self._recording):
                if task is not None:
                    await task
            self.shown = self.light
            await self._show("blue")
            self._say("watch stopped", "", f"{self.rounds} rounds")

    async def refresh_light(self) -> None:
        """Write the light's heartbeat again between rounds; blue where no round was finished for a minute."""
        await self._write_light("blue" if self.clock() - self._last_round >= alarm.BLUE_AFTER else self.light)

    async def round(self) -> None:
        """One round: poll, judge, keep, show; a diagnosis that is due goes on beside the next rounds."""
        now = self.clock()
        self._hear()
        readings, changed = self._probes.believe(await poll(self.job, self.bus, self.inputs, now=now))
        for point, says in changed:
            self._say("probe", point, says, now)
        for says in self.inputs.changes(now):
            self._say("input", "", says, now)
        state = self._run_state(readings, now)
        self.store.add_readings([replace(reading, state=state) for reading in readings])
        self._judge([*readings, *self._levels(state, now)], state, now)
        self._gather(readings, state, now)
        self._diagnose_due(state, now)
        await self._show(self._alarms.light(state, fault_named=bool(self.named), now=now))
        self.rounds, self._last_round = self.rounds + 1, now

    def conditions(self) -> list[dict[str, Any]]:
        """Every alarm as it stands, and every fault named."""
        now = self.clock()
        rows = self._alarms.conditions(now)
        return rows + [
            {"point": point, "quantity": "diagnosis", "condition": f"{fault.replace('_', ' ')} fault of {part}", "light": "yellow"}
            for point, (part, fault) in self.named.items()
        ]

    def _remember(self) -> None:
        """Take up the conditions as the last watch left them: a danger stays until somebody has seen it."""
        for event in self.store.events():
            self._alarms.remember(event)
            if event.kind == "fault named":
                self.named[event.point] = (str(event.details["component"]), str(event.details["fault"]))
            elif event.kind == "epoch":
                self.named.pop(event.point, None)
            self._heard = event.number
        for reading in self.store.latest():
            if reading.quantity in LINE_FAMILIES:
                self._recorded[reading.point] = max(reading.time_s, self._recorded.get(reading.point, -math.inf))

    def _recall_run(self) -> None:
        """The run state's last half hour as the store has it, so that a short absence does not start the settling anew."""
        kept = self.store.readings(since=self.clock() - _LOOK_BACK)
        inputs = (("", "running"), ("", "speed"), (SUMP, "temperature"))
        for moment in np.unique(kept.time_s):
            if self._rows and moment - self._rows[-1][0] < _ROW_EVERY:
                continue
            here = kept.time_s == moment
            found = (kept.value[here & (kept.point == point) & (kept.quantity == quantity)] for point, quantity in inputs)
            self._rows.append((float(moment), *_known(*(float(value[0]) if value.size else None for value in found))))

    def _hear(self) -> None:
        """What people declared or acknowledged since the last round."""
        for event in self.store.events(after=self._heard):
            self._heard = event.number
            self._alarms.hear(event)
            if event.kind == "epoch":
                self._before_stop.clear()
                self.named.pop(event.point, None)

    def _run_state(self, readings: Iterable[Reading], now: float) -> str:
        """Run state now, and an event when the drive starts or stops."""
        found = {(one.point, one.quantity): one.value for one in readings if one.quality == "good"}
        plant = self.inputs.now(now)
        row = (now, *_known(plant.run.value, plant.speed_hz, found.get((SUMP, "temperature"))))
        before = self._state
        changed = not self._rows or (row[1] != self._rows[-1][1])
        if changed or now - self._rows[-1][0] >= _ROW_EVERY:
            self._rows.append(row)
            while self._rows and now - self._rows[0][0] > _LOOK_BACK:
                self._rows.popleft()
            time_s, contact, speeds, temperatures = (np.array(column) for column in zip(*self._rows, strict=True))
            states = run_states(
                time_s,
                running=contact,
                speed_hz=speeds,
                temperature_k=temperatures,
                speed_band=SPEED_BAND,
                least_speed_hz=STANDSTILL * self.job.drive.speed_hz[0],
                slope_limit=SETTLED_SLOPE,
                longest_gap=_LONGEST_GAP,
            )
            self._state = str(states.labels[-1])
        if self._state != before:
            self._say("run state", "", f"{before} to {self._state}", now)
            if self._state == "stopped":
                self._before_stop = {point: float(np.median(values)) for point, values in self._settled.items() if values}
                self._settled.clear()
        return self._state

    def _judge(self, readings: Iterable[Reading], state: str, now: float) -> None:
        found = {(one.point, one.quantity): one.value for one in readings if one.quality == "good" and one.value is not None}
        plant = self.inputs.now(now)
        read = {SPEED: plant.speed_hz, LOAD: plant.load.value, OIL: found.get((SUMP, "temperature")), AMBIENT: plant.ambient.value}
        known = {name: value for name, value in read.items() if value is not None}
        for point in self._alarms.judge(readings, state, known, now):
            self._to_diagnose.setdefault(point, now)

    def _gather(self, readings: Iterable[Reading], state: str, now: float) -> None:
        """Settled high-frequency levels: evidence of change, and steps across a stop."""
        for one in readings:
            if one.quantity != EVIDENCE or one.value is None or state != "steady":
                continue
            if one.point in self.usual:
                last = self._evidence.setdefault(one.point, deque(maxlen=_OF))
                last.append(one.value > _TWICE * self.usual[one.point])
                if sum(last) >= _NEED and one.point not in self._suspected and one.point not in self.named:
                    self._to_diagnose.setdefault(one.point, now)
                    last.clear()
            settled = self._settled.setdefault(one.point, deque(maxlen=_SETTLED_READINGS))
            settled.append(one.value)
            before = self._before_stop.get(one.point)
            if before and len(settled) == _SETTLED_READINGS:
                ratio = float(np.median(settled)) / before
                if max(ratio, 1 / ratio) > _STEP:
                    says = (
                        f"{one.quantity} stepped to {ratio:.2f} times what it was before the stop and nobody declared why: was the "
                        "sensor moved or replaced, oil changed, a part exchanged? Declare it: gearcase epoch"
                    )
                    self._say("question", one.point, says, now)
                del self._before_stop[one.point]

    def _diagnose_due(self, state: str, now: float) -> None:
        """Start what is due, one diagnosis at a time: rounds and heartbeat do not wait for it."""
        if self._diagnosing is not None:
            if not self._diagnosing.done():
                return
            self._diagnosing.result()  # what went wrong in it is not passed over
            self._diagnosing = None
        due = {point for point, at in self._to_diagnose.items() if at <= now}
        if state not in ("settling", "steady") or not due:
            return
        point = min(due)
        del self._to_diagnose[point]
        device = self._sensor(point)
        if device is not None:
            self._diagnosing = asyncio.create_task(self._diagnose(point, device))

    def _levels(self, state: str, now: float) -> list[Reading]:
        """Levels of the lines that a record has brought; the next record is asked for when one is due, one at a time."""
        if self._recording is not None:
            if not self._recording.done():
                return []
            task, self._recording = self._recording, None
            return [] if task.cancelled() else task.result()
        due = [
            device
            for device in self.job.bus.devices
            if device.profile == "three-axis vibration" and now - self._recorded.get(device.point, -math.inf) >= RECORDS_EVERY
        ]
        speed = self._rows[-1][2] if self._rows else math.nan
        if state == "steady" and due and speed > 0 and self._diagnosing is None:
            self._recorded[due[0].point] = now
            self._recording = asyncio.create_task(self._record(due[0], speed, now))
        return []

    async def _record(self, device: BusDevice, speed_hz: float, now: float) -> list[Reading]:
        """Take a record for its levels, and keep them; without one there are none until the next is due."""
        try:
            recording = await take_record(self.bus, device, speed_hz=speed_hz, start="")
        except (NoReply, BadReply, BadRequest) as error:
            self._say("no record", device.point, str(error))
            return []
        bearing = next((point.bearing for point in self.job.points if point.name == device.point), "")
        families = alarm_families(self.job.drive, bearing)

        def levels() -> dict[str, float]:
            spectrum = transform(recording.samples, sample_rate_hz=recording.sample_rate_hz)
            return family_levels(families, spectrum, speed_hz=speed_hz)

        found = await asyncio.to_thread(levels)
        readings = [
            Reading(now, device.point, quantity, value, LINE_FAMILIES[quantity], state="steady")
            for quantity, value in found.items()
        ]
        self.store.add_readings(readings)
        return readings

    async def _diagnose(self, point: str, device: BusDevice) -> None:
        """Take a record and judge it; where there is none to be had, try again in a minute."""
        speed = self._rows[-1][2] if self._rows and math.isfinite(self._rows[-1][2]) else None
        try:
            recording = await take_record(self.bus, device, speed_hz=speed, start="")
        except (NoReply, BadReply, BadRequest) as error:
            self._say("no record", point, str(error))
            self._to_diagnose[point] = self.clock() + _SECOND_RECORD
            return
        document = await asyncio.to_thread(self.diagnose, recording)
        found = [(verdict["component"], verdict["fault"]) for verdict in document["verdicts"]]
        self._say("diagnosis", point, document["statement"], details={"verdicts": [list(one) for one in found]})
        suspected = self._suspected.pop(point, None)
        if suspected in found and suspected is not None:
            part, fault = self.named[point] = suspected
            says = f"{fault.replace('_', ' ')} fault of {part}, named by two records"
            self._say("fault named", point, says, details={"component": part, "fault": fault})
        elif found:
            self._suspected[point] = found[0]
            self._to_diagnose[point] = self.clock() + _SECOND_RECORD

    def _sensor(self, point: str) -> BusDevice | None:
        devices = self.job.bus.devices
        return next((one for one in devices if one.point == point and one.profile == "three-axis vibration"), None)

    async def _show(self, colour: str) -> None:
        """Set the stack light, and say when it changes or does not obey."""
        changed = colour != self.light
        self.light = colour
        if changed:
            self._say("light", "", colour)
        await self._write_light(colour, said=not changed)

    async def _write_light(self, colour: str, *, said: bool = True) -> None:
        """Write lamps and heartbeat; that it does not obey is said once, when the colour changes."""
        device = next((one for one in self.job.bus.devices if one.profile == "stack light"), None)
        if device is None:
            return
        self._beat = self._beat % 65535 + 1
        start = device.form.registers["lamps wanted"].address
        try:
            await self.bus.write(unit=device.address, start=start, words=[LAMPS[colour], self._beat])
        except (NoReply, BadReply, BadRequest) as error:
            if not said:
                self._say("light lost", "", str(error))

    def _say(
        self, kind: str, point: str, says: str, now: float | None = None, details: dict[str, Any] | None = None, who: str = ""
    ) -> None:
        event = Event(self.clock() if now is None else now, kind, point, says, who, details or {})
        self.store.add_event(event)
        self.tell(event)


def _known(*values: float | None) -> tuple[float, float, float]:
    running, speed, warm = (math.nan if value is None else value for value in values)
    return running, speed, warm
