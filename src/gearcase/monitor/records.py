"""Which records are taken of a watched drive and when: by its state, not by the clock.

Two kinds, as the drive asks for them (`drive.measurement`): short and fast for gears and bearings, long and slow for what the slow
shafts do. One is due when the drive is steady and the last of its kind is old, when it has become steady after a start, and when
something changed. A sensor that gives several forms of record is asked for the one that serves a kind; of one that gives a single
form that form counts for both. What a sensor cannot give is said once: a record too slow or too short is taken all the same and
judged for what it shows.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

from gearcase.drive.lines import expected_lines
from gearcase.drive.measurement import WINDOWS_IN_SHORT_RECORD, measurement_plan
from gearcase.drive.train import Drive
from gearcase.install.housing import BusDevice
from gearcase.install.orientation import Along
from gearcase.install.record_forms import RecordForm
from gearcase.job.build import Job
from gearcase.judge.alarm import RECORDS_EVERY
from gearcase.judge.families import LINE_FAMILIES, alarm_families, family_levels
from gearcase.monitor.alarms import Say
from gearcase.record.store import Reading
from gearcase.signal.recording import Recording
from gearcase.signal.spectrum import transform

__all__ = ["Kind", "Records", "form_for", "kinds", "line_levels", "sensors", "standing"]

_LONG_EVERY = 24 * 3600.0  # this and below: common practice, no source [s]
_LEAST_BETWEEN = 600.0  # of records of one sensor, however often the drive starts
_SAMPLES_GIVE = 0.999  # of a length asked for: the last sample ends it


@dataclass(frozen=True)
class Kind:
    """A kind of record: how often it is taken of a steady drive [s], the rate [Hz] and length [s] it must have at least, and what
    is lost where it has not.
    """

    name: str
    loses: str
    every: float
    rate_hz: float
    length_s: float

    def served_by(self, recording: Recording) -> bool:
        """Whether a record is fast and long enough."""
        return recording.sample_rate_hz >= self.rate_hz and recording.duration_s >= _SAMPLES_GIVE * self.length_s


def kinds(drive: Drive) -> tuple[Kind, Kind]:
    """The two kinds a drive asks for; of no demanded rate or length where its speeds leave them open."""
    rates = lengths = (0.0, 0.0)
    with suppress(ValueError):  # no shaft whose speed is known: nothing says how long is long
        plan = measurement_plan(drive, expected_lines(drive))
        rates = (plan.short.rate.value, plan.long.rate.value)
        lengths = (WINDOWS_IN_SHORT_RECORD * plan.short.needed.value, plan.long.needed.value)
    return (
        Kind("short and fast", "lines of gears and bearings may be missed", RECORDS_EVERY, rates[0], lengths[0]),
        Kind("long and slow", "what the slow shafts do is not told from it", _LONG_EVERY, rates[1], lengths[1]),
    )


def sensors(job: Job) -> list[BusDevice]:
    """Devices of the bus that deliver records."""
    return [one for one in job.bus.devices if one.form.records]


def form_for(kind: Kind, device: BusDevice) -> RecordForm:
    """The form of a sensor's records that serves a kind: of those fast and long enough the one of fewest samples; where none is,
    the one that comes nearest to rate and length together.
    """

    def fitness(form: RecordForm) -> tuple[float, float]:
        rate_hz, length_s = form.rate_hz or 0.0, form.duration_s or 0.0
        share = min(rate_hz / kind.rate_hz, 1.0) if kind.rate_hz else 1.0
        share *= min(length_s / (_SAMPLES_GIVE * kind.length_s), 1.0) if kind.length_s else 1.0
        return share, -rate_hz * length_s

    return max(device.form.records, key=fitness)


def standing(recording: Recording, axes: Mapping[str, Along]) -> Recording:
    """A record of one axis with what that feels; where it points to the left, down or towards the output end its samples' sign is
    turned, so that every channel with a direction points to the right, up or towards the input end.
    """
    along = axes.get(recording.channel)
    if along is None:
        return recording
    taken = replace(recording.taken, direction=along.direction)
    if along.sign > 0:
        return replace(recording, taken=taken)
    found = f"{recording.found}; sign turned, as {recording.channel} points the other way"
    return replace(recording, samples=-recording.samples, taken=taken, found=found)


def line_levels(job: Job, recordings: Sequence[Recording], *, speed_hz: float) -> dict[str, float]:
    """Levels of the lines expected at the point of records taken together, of several axes the largest. [unit of the quantity]"""
    found: dict[str, float] = {}
    for recording in recordings:
        bearing = next((point.bearing for point in job.points if point.name == recording.point), "")
        spectrum = transform(recording.samples, sample_rate_hz=recording.sample_rate_hz)
        for name, level in family_levels(alarm_families(job.drive, bearing), spectrum, speed_hz=speed_hz).items():
            found[name] = max(level, found.get(name, level))
    return found


class Records:
    """What was taken when, and what is due. Times are those of the clock that only goes on. [s]"""

    def __init__(self, say: Say, drive: Drive) -> None:
        self._say = say
        self._short, self._long = kinds(drive)
        self._taken: dict[tuple[str, str], float] = {}
        self._since_start: set[str] = set()  # points of which a record was taken in this run
        self._falls_short: set[tuple[str, str]] = set()  # of a kind at a point, said once
        self._tried: dict[str, float] = {}

    def take_up(self, drive: Drive) -> None:
        """The drive is another now, or described anew."""
        self._short, self._long = kinds(drive)
        self._falls_short.clear()

    def remember(self, job: Job, latest: Iterable[Reading], now: float, ticks: float) -> None:
        """Records whose levels are kept already; of a form that gives none nothing is known, and one is taken anew."""
        for reading in latest:
            if reading.quantity in LINE_FAMILIES:
                taken = min(reading.time_s, now) - now + ticks
                device = next((one for one in sensors(job) if one.point == reading.point), None)
                for kind in (self._short, self._long):
                    if device is None or self.gives_levels(device, form_for(kind, device)):
                        key = (reading.point, kind.name)
                        self._taken[key] = max(taken, self._taken.get(key, -math.inf))
                self._since_start.add(reading.point)

    def stopped(self) -> None:
        """The drive stands: after the next start a record is due."""
        self._since_start.clear()

    def forms(self, device: BusDevice) -> tuple[RecordForm, ...]:
        """Every form of record that a sensor is asked for: of the long kind, then of the short one where that is another, which as
        the latest is what most patterns look at.
        """
        return tuple(dict.fromkeys(form_for(kind, device) for kind in (self._long, self._short)))

    def gives_levels(self, device: BusDevice, form: RecordForm) -> bool:
        """Whether levels of lines are taken from this form: from the short kind alone, so that they stay comparable."""
        return form == form_for(self._short, device)

    def due(self, job: Job, run_state: str, ticks: float) -> tuple[BusDevice, RecordForm] | None:
        """The sensor and form whose record is most overdue at a steady drive; None where none is."""
        if run_state != "steady":
            return None
        most, wanted = 0.0, None
        for device in sensors(job):
            for kind in (self._short, self._long):
                late = self._late(device, kind, ticks)
                if late > most:
                    most, wanted = late, (device, form_for(kind, device))
        return wanted if most >= 1 else None

    def taken(self, device: BusDevice, form: RecordForm, recording: Recording, ticks: float) -> None:
        """A record was taken; what its form is too slow or too short for is said once."""
        point = device.point
        if self.gives_levels(device, form):
            self._since_start.add(point)
        for kind in (self._short, self._long):
            if form_for(kind, device) != form:
                continue
            self._taken[point, kind.name] = ticks
            if kind.served_by(recording) or (point, kind.name) in self._falls_short:
                continue
            self._falls_short.add((point, kind.name))
            says = (
                f"its sensor gives {recording.duration_s:.3g} s at {recording.sample_rate_hz:.5g} Hz, and the {kind.name} record "
                f"wants {kind.length_s:.3g} s at {kind.rate_hz:.3g} Hz or more: {kind.loses}"
            )
            self._say("records", point, says, None, {}, "")

    def refused(self, point: str, ticks: float) -> None:
        """There was no record to be had: asked again later."""
        self._tried[point] = ticks

    def _late(self, device: BusDevice, kind: Kind, ticks: float) -> float:
        """How overdue a record of a kind is, of its interval; due from 1 on."""
        point = device.point
        if ticks - self._tried.get(point, -math.inf) < _LEAST_BETWEEN:
            return 0.0
        ago = ticks - self._taken.get((point, kind.name), -math.inf)
        if kind == self._short:
            after_start = 1.0 if point not in self._since_start and ago >= _LEAST_BETWEEN else 0.0
            return max(ago / kind.every, after_start)
        in_vain = (point, kind.name) in self._falls_short and len(self.forms(device)) == 1
        return 0.0 if in_vain else ago / kind.every
