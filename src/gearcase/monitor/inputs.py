"""The plant's inputs while the watch runs: what each source said last, which one counts now, and what of that has changed."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from gearcase.device.profile import Register, decode, profile
from gearcase.errors import OutOfRange
from gearcase.job.build import Job
from gearcase.judge.inputs import Conditions, Heard, Known, Source, conditions, words
from gearcase.record.store import Reading
from gearcase.stages.minutes import AMBIENT, STANDSTILL

__all__ = ["QUANTITIES", "InputRegister", "Inputs"]

QUANTITIES = {  # input -> quantity of its readings, at point "", and unit
    "run": ("running", "-"),
    "speed": ("speed", "Hz"),
    "load": ("load", "-"),
    "direction": ("direction", "-"),
    "ambient": (AMBIENT, "K"),
}
_POLLED = 30.0  # s that a polled value may be old where the job does not say; common practice, no source
_DISAGREE_FOR = 60.0  # s that two sources must disagree before it is said: a speed that moves is read at two moments


@dataclass(frozen=True)
class InputRegister:
    """A source that is a register of a device of the bus."""

    source: Source
    device: str
    register: Register


class Inputs:
    """The inputs of a job.

    Parameters
    ----------
    job : Job
        Its ``inputs``, in order; for an input without any, the registers of that name of devices with the profile
        ``drive inputs``.
    """

    def __init__(self, job: Job) -> None:
        self.registers: tuple[InputRegister, ...] = tuple(_of_the_bus(job))
        self.sources: tuple[Source, ...] = tuple(one.source for one in self.registers)
        self._least_speed_hz = STANDSTILL * job.drive.speed_hz[0]
        self._heard: dict[str, Heard] = {}
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

    def hear_register(self, one: InputRegister, words: Sequence[int] | str, time_s: float) -> None:
        """The words of a register, or why there are none. Unix time. [s]"""
        if isinstance(words, str):
            self.hear(one.source.name, None, time_s, words)
            return
        try:
            self.hear(one.source.name, decode(one.register, words), time_s)
        except OutOfRange as error:
            self.hear(one.source.name, None, time_s, f"reads {error.value}, which is not {error.rule}")

    def now(self, clock: float) -> Conditions:
        """The inputs as they stand at a Unix time. [s]"""
        return conditions(self.sources, self._heard, clock, least_speed_hz=self._least_speed_hz, level_running=None)

    def readings(self, clock: float) -> list[Reading]:
        """The inputs as readings of point ``""``, to be kept: what counts as good, what is held or too old as stale, else bad."""
        found = []
        for kind, known in self.now(clock).known.items():
            if not any(one.kind == kind for one in self.sources):
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


def _change(kind: str, known: Known) -> str:
    if known.value is None:
        return f"not known any more: {known.says}"
    return f"now by {known.source} ({known.says}): {words(kind, known.value)}"


def _of_the_bus(job: Job) -> Iterable[InputRegister]:
    """Registers of devices with the profile of the drive's own inputs."""
    for kind, name in (("run", "running"), ("speed", "speed"), ("load", "load")):
        for device in job.bus.devices:
            if device.profile == "drive inputs":
                source = Source(f"{device.name}, {name}", kind, "register", _POLLED)
                yield InputRegister(source, device.name, profile(device.profile).registers[name])
