"""The plant's inputs while the watch runs: what each source said last, which one counts now, and what of that has changed."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from gearcase.drive.lines import expected_lines
from gearcase.errors import OutOfRange
from gearcase.install.register import Register, decode
from gearcase.job.build import Job
from gearcase.job.build_inputs import Input
from gearcase.judge.faults import bearing_hypotheses
from gearcase.judge.heard import Speed, find_speed, hear
from gearcase.judge.inputs import Conditions, Heard, Known, Source, conditions, words
from gearcase.record.store import Reading
from gearcase.signal.recording import Recording
from gearcase.stages.minutes import AMBIENT, OVERALL, STANDSTILL

__all__ = ["QUANTITIES", "InputRegister", "Inputs"]

QUANTITIES = {  # input -> quantity of its readings, at point "", and unit
    "run": ("running", "-"),
    "speed": ("speed", "Hz"),
    "load": ("load", "-"),
    "direction": ("direction", "-"),
    "ambient": (AMBIENT, "K"),
}
_AGE_LIMIT = {  # s, where the job does not say; common practice, no source
    "register": 30.0,
    "analogue": 30.0,
    "mqtt": 60.0,
    "posted": 60.0,
    "comb": 900.0,
    "level": 60.0,
    "stated": math.inf,
}
_BROKEN, _OVER = 0.025, 0.0625  # of the span beyond its ends: 3.6 and 21 mA of 4 to 20 mA; NAMUR NE 43, from memory
_STOPPED_BELOW = 0.5  # of the level above which it runs; between, what was said before stands; common practice, no source
_DISAGREE_FOR = 60.0  # s that two sources must disagree before it is said: a speed that moves is read at two moments
_WORDS = {"running": 1.0, "stopped": 0.0, "forward": 1.0, "reverse": -1.0}


@dataclass(frozen=True)
class InputRegister:
    """A source that is a register of a device of the bus."""

    input: Input
    register: Register


class Inputs:
    """The inputs of a job.

    Parameters
    ----------
    job : Job
        Its ``inputs``, in order; for an input without any, the registers ``running``, ``speed`` and ``load`` of
        whatever device has them.
    """

    def __init__(self, job: Job) -> None:
        self._job = job
        listed = {one.kind for one in job.inputs}
        self.inputs: tuple[Input, ...] = (*job.inputs, *(one for one in _of_the_bus(job) if one.kind not in listed))
        self.registers = tuple(_register(job, one) for one in self.inputs if one.source in ("register", "analogue"))
        self.sources = tuple(Source(one.name, one.kind, one.source, one.age_limit or _AGE_LIMIT[one.source]) for one in self.inputs)
        self._heard = {one.name: Heard(one.stated, 0.0) for one in self.inputs if one.stated is not None}
        self._comb_tried = -math.inf
        self._said: dict[str, tuple[str, bool]] = {}
        self._apart_since: dict[tuple[str, str], float] = {}
        self._apart_said: set[tuple[str, str]] = set()

    def hear(self, source: str, value: float | None, time_s: float, says: str = "") -> None:
        """What a source says: value in SI; None where it could not be read and `says` why: what it said last then grows old.
        Unix time. [s]
        """
        last = self._heard.get(source)
        if value is None and last is not None:
            value, time_s = last.value, last.time_s
        self._heard[source] = Heard(value, time_s, says)

    def hear_raw(self, one: Input, number: float | str, time_s: float) -> None:
        """What a source says as it came: a number in the unit that the job names, or a word. Unix time. [s]"""
        try:
            self.hear(one.name, _meaning(one, number), time_s)
        except OutOfRange as error:
            self.hear(one.name, None, time_s, f"reads {error.value}, right would be {error.rule}")

    def hear_register(self, one: InputRegister, words: Sequence[int] | str, time_s: float) -> None:
        """The words of a register, or why there are none. Unix time. [s]"""
        if isinstance(words, str):
            self.hear(one.input.name, None, time_s, words)
            return
        order = one.input.raw.word_order if one.input.raw else None
        try:
            number = decode(one.register, words, order)
        except OutOfRange as error:
            self.hear(one.input.name, None, time_s, f"reads {error.value}, right would be {error.rule}")
        else:
            self.hear_raw(one.input, number, time_s)

    def hear_levels(self, readings: Iterable[Reading]) -> None:
        """Overall velocities, for an input by level."""
        found = {one.point: one for one in readings if one.quantity == OVERALL and one.quality == "good"}
        for one in self.inputs:
            reading = found.get(one.point)
            if one.source != "level" or reading is None or reading.value is None:
                continue
            before = self._heard.get(one.name, Heard(None, 0.0)).value
            runs = 1.0 if reading.value > one.above else 0.0 if reading.value < _STOPPED_BELOW * one.above else before
            if runs is not None:
                self.hear(one.name, runs, reading.time_s)

    def wants_recording(self, clock: float) -> bool:
        """Whether a recording should be taken for its speed: a comb is listed, the drive runs, no source before it counts, and the
        last try is half as old as its answer may be. [s]
        """
        listed = next((one for one in self.sources if one.how == "comb"), None)
        standing = self.now(clock)
        if listed is None or not standing.run.value or standing.speed.source not in ("", listed.name):
            return False
        return not 0 <= clock - self._comb_tried <= listed.age_limit / 2

    def no_recording(self, time_s: float) -> None:
        """A recording was asked for, whatever came of it. Unix time. [s]"""
        self._comb_tried = time_s

    def hear_recording(self, recording: Recording, time_s: float) -> None:
        """The speed that a recording's own lines give, for an input by comb; takes seconds. Unix time. [s]"""
        self.no_recording(time_s)
        for one in self.inputs:
            if one.source == "comb":
                drive = self._job.drive
                alone = replace(recording, speed_hz=None)  # the lines alone, so that it is a source of its own
                found = find_speed(drive, expected_lines(drive), bearing_hypotheses(drive), hear(alone))
                if isinstance(found, Speed) and found.standard_error_hz is not None and not found.at_rest:
                    self.hear(one.name, found.hz, time_s)
                else:
                    self.hear(one.name, None, time_s, found if isinstance(found, str) else found.at_rest or found.source)

    def now(self, clock: float) -> Conditions:
        """The inputs as they stand at a Unix time. [s]"""
        return conditions(self.sources, self._heard, clock, least_speed_hz=self._least_speed_hz)

    def readings(self, clock: float) -> list[Reading]:
        """The inputs as readings of point ``""``, to be kept: what counts as good, what is held or too old as stale, else bad."""
        found = []
        for kind, known in self.now(clock).known.items():
            if known.value is None and not any(one.kind == kind for one in self.sources):
                continue
            quantity, unit = QUANTITIES[kind]
            quality = known.quality if known.quality in ("bad", "stale") else "stale" if known.quality == "held" else "good"
            found.append(Reading(clock, "", quantity, known.value, unit, quality))
        return found

    def changes(self, clock: float) -> list[str]:
        """What has changed since it was asked last, in words, each once: another source counts, none does, two disagree."""
        found, standing = [], self.now(clock)
        for kind, known in standing.known.items():
            now = (known.source, known.value is None)
            before = self._said.setdefault(kind, now)
            if now != before:
                self._said[kind] = now
                found.append(f"{kind}: {_change(kind, known)}")
        apart = {(one.one, one.other): one for one in standing.disagreements}
        self._apart_since = {pair: self._apart_since.get(pair, clock) for pair in apart}
        for pair, one in apart.items():
            if pair not in self._apart_said and clock - self._apart_since[pair] >= _DISAGREE_FOR:
                self._apart_said.add(pair)
                found.append(f"{one.kind}: {one.says}; find out which is wrong")
        for pair in self._apart_said - apart.keys():
            self._apart_said.discard(pair)
            found.append(f"{pair[0]} and {pair[1]} agree again")
        return found

    @property
    def _least_speed_hz(self) -> float:
        return STANDSTILL * self._job.drive.speed_hz[0]


def _change(kind: str, known: Known) -> str:
    if known.value is None:
        return f"not known any more: {known.says}"
    return f"now by {known.source} ({known.says}): {words(kind, known.value)}"


def _of_the_bus(job: Job) -> Iterable[Input]:
    """Registers of devices whose profile has them by the house's names."""
    for kind, name in (("run", "running"), ("speed", "speed"), ("load", "load")):
        for device in job.bus.devices:
            if name in device.form.registers:
                yield Input(f"{device.name}, {name}", kind, "register", device=device.name, quantity=name, where=device.where)


def _register(job: Job, one: Input) -> InputRegister:
    """The register of a source; of an analogue one as its number, before any unit."""
    if one.raw is not None:
        raw = one.raw
        return InputRegister(one, Register(one.name, raw.address, raw.function, raw.type, 1.0, "", "", None, None, None))
    device = next(device for device in job.bus.devices if device.name == one.device)
    register = device.form.registers[one.quantity]
    return InputRegister(one, replace(register, unit="", kind="") if one.source == "analogue" else register)


def _meaning(one: Input, number: float | str) -> float:
    """A number or word as it came, in SI; run 1 or 0, direction 1 or -1.

    Raises
    ------
    OutOfRange
        A word for what is a number, an analogue value beyond its span, or a direction that is neither.
    """
    if isinstance(number, str):
        if one.kind not in ("run", "direction") or number not in _WORDS:
            accepted = "a number" if one.kind not in ("run", "direction") else f"a number or one of: {', '.join(_WORDS)}"
            raise OutOfRange(one.kind, repr(number[:40]), accepted)
        number = _WORDS[number]
    if not math.isfinite(number):
        raise OutOfRange(one.kind, number, "a finite number")
    if one.bit is not None:
        return _bit(one, number)
    if one.reads is not None:
        low, high = one.reads
        if not low - _BROKEN * (high - low) <= number <= high + _OVER * (high - low):
            raise OutOfRange(one.kind, f"{number:g}", f"{low:g} to {high:g}; outside, the wire is broken or the span wrong")
    value = number * one.slope + one.offset
    if one.kind == "run":
        return float(value != 0)
    if one.kind == "direction":
        if value == 0:
            raise OutOfRange(one.kind, "0", "above 0 for forward, below for reverse")
        return math.copysign(1.0, value)
    return value


def _bit(one: Input, number: float) -> float:
    if number != int(number):
        raise OutOfRange(one.kind, f"{number:g}", "a whole number, of which a bit is meant")
    is_set = bool(int(number) >> (one.bit or 0) & 1)
    return (-1.0 if is_set else 1.0) if one.kind == "direction" else float(is_set)
