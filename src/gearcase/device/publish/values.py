"""What the plant is told of a drive: which values there are, how each is written, and all that the watch asks of a publisher.

A value has a name that never changes while its point keeps its name: ``input coupling end/overall velocity``, ``drive/speed``,
``sump/temperature alarm``, ``light``. It has a time and one of three qualities: *good*; *bad*, where there is no value; *stale*,
where the last one has grown old. The watch gives SI, the plant reads the units people use.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType, TracebackType
from typing import Literal, Protocol, Self

from gearcase import units
from gearcase.install.housing import BusDevice
from gearcase.install.points import SUMP
from gearcase.install.profile import LAMPS
from gearcase.install.register import Register
from gearcase.job.build import Job
from gearcase.job.build_inputs import Incoming
from gearcase.judge import alarm
from gearcase.judge.families import LINE_FAMILIES, alarm_families

__all__ = [
    "ALARM_BITS",
    "ALARM_PRIORITY",
    "HEARTBEAT",
    "LIGHT",
    "QUALITY",
    "RUN_STATE",
    "RUN_STATES",
    "PlantValue",
    "Published",
    "Publisher",
    "Quality",
    "alarm_name",
    "alarm_word",
    "plant_values",
    "value_name",
    "with_records",
]

Quality = Literal["good", "bad", "stale"]
QUALITY: Mapping[Quality, int] = MappingProxyType({"good": 192, "bad": 0, "stale": 500})  # Sparkplug 3.0.0, properties: Quality
RUN_STATES = MappingProxyType({"unknown": 0, "stopped": 1, "starting": 2, "settling": 3, "steady": 4, "reversing": 5})
ALARM_BITS = MappingProxyType({"yellow": 1, "danger": 2, "not acknowledged": 4, "cannot tell": 8, "shelved": 16})
ALARM_PRIORITY = MappingProxyType({"danger": "high", "yellow": "medium", "cannot tell": "low"})  # common practice, no source
RUN_STATE, LIGHT, HEARTBEAT = "drive/run state", "light", "heartbeat"
_DRIVE = "drive"  # what the drive's own values stand under; in the store their point is empty
_KINDS = {"m/s": ("velocity", "mm/s"), "K": ("temperature", "°C"), "m/s2": ("acceleration", "m/s2")}
_POSTED = {"overall velocity": "m/s", "high-frequency acceleration": "m/s2", "temperature": "K"}  # quantity -> SI unit
_SPELLED = {"°C": "degC"}


@dataclass(frozen=True)
class PlantValue:
    """One value the plant may read.

    Attributes
    ----------
    name : str
    form : str
        ``real``, or ``word``: a whole number from 0 to 65535.
    unit : str
        As the plant reads it; empty where it has none.
    si : str
        Unit in which `Published.value` is given.
    low, high : float or None
        Range, in `unit`.
    stale_after : float
        Without a new value. [s]
    meaning : str
        Of a word: what its numbers or bits stand for.
    kind : str
        Of `units.ACCEPTED`; empty where it has no unit.
    """

    name: str
    form: Literal["real", "word"]
    unit: str = ""
    si: str = "-"
    low: float | None = None
    high: float | None = None
    stale_after: float = alarm.BLUE_AFTER
    meaning: str = ""
    kind: str = ""

    def shown(self, given: "Published") -> tuple[float | None, Quality]:
        """A value in the plant's unit, and its quality: bad where it is not given in `si`, or is no number of the form.

        >>> PlantValue("top/temperature", "real", "°C", "K", kind="temperature").shown(Published(298.15, "K", "good", 0.0))
        (25.0, 'good')
        """
        if given.value is None or given.unit != self.si or given.quality not in ("good", "stale") or not math.isfinite(given.value):
            return None, "bad"
        value = units.shown(given.value, self.kind, self.unit) if self.kind else given.value
        if self.form == "word" and not (0 <= value <= 65535 and value == int(value)):
            return None, "bad"
        return value, given.quality


@dataclass(frozen=True)
class Published:
    """A value as the watch gives it, None where nothing could be read: in SI `unit` (``-`` where it has none), with its quality and
    Unix time [s].
    """

    value: float | None
    unit: str
    quality: Quality
    time_s: float


class Publisher(Protocol):
    """Tells the plant, over whatever the job names; used as an async context.

    A plant that is away is no error: nothing here waits for it or raises because of it, and it is taken up again by itself.
    """

    async def __aenter__(self) -> Self: ...

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None: ...

    async def publish(self, values: Mapping[str, Published]) -> None:
        """Tell values, by the names of `plant_values`; a name that is left out keeps what it had until that is stale. The heartbeat
        counts these calls by itself.
        """

    def condition(self) -> str:
        """What is wrong with the telling, in words; empty while all of it works."""


def value_name(point: str, quantity: str) -> str:
    """Name of a quantity's value; of the drive's own where the point is empty.

    >>> value_name("input coupling end", "overall velocity"), value_name("", "speed")
    ('input coupling end/overall velocity', 'drive/speed')
    """
    return f"{point.replace('/', '-') or _DRIVE}/{quantity}"


def alarm_name(point: str, quantity: str) -> str:
    """Name of a quantity's alarm word; ``diagnosis`` has one too.

    >>> alarm_name("sump", "temperature")
    'sump/temperature alarm'
    """
    return f"{value_name(point, quantity)} alarm"


def alarm_word(condition: str, *, cannot_tell: bool = False, shelved: bool = False) -> int:
    """The bits of `ALARM_BITS` for a condition of `judge.alarm`.

    >>> alarm_word("clear"), alarm_word("danger"), alarm_word("yellow acknowledged", cannot_tell=True)
    (0, 6, 9)
    """
    level, _, acknowledged = condition.partition(" ")
    word = ALARM_BITS[level] | (0 if acknowledged else ALARM_BITS["not acknowledged"]) if level in ALARM_BITS else 0
    return word | (ALARM_BITS["cannot tell"] if cannot_tell else 0) | (ALARM_BITS["shelved"] if shelved else 0)


def plant_values(job: Job) -> tuple[PlantValue, ...]:
    """Every value of a job that the plant can be told, in a fixed order: of the drive, of each device's point, of what is posted of
    points that no device reads, and their alarms.
    """
    found = {one.name: one for one in _of_drive(job)}
    for device in job.bus.devices:
        found |= {one.name: one for one in _of_device(job, device)}
    if job.incoming.mqtt or job.incoming.http:
        for one in _posted(job):
            found.setdefault(one.name, one)
    for point in with_records(job):
        name = alarm_name(point, "diagnosis")
        found.setdefault(name, PlantValue(name, "word", meaning=_bits()))
    return tuple(found.values())


def with_records(job: Job) -> tuple[str, ...]:
    """Points of which records are judged: by a device of the bus that gives them, or as they come in."""
    if job.incoming != Incoming(age_limit=job.incoming.age_limit):
        return tuple(point.name for point in job.points)
    return tuple(device.point for device in job.bus.devices if device.form.records)


def _of_drive(job: Job) -> list[PlantValue]:
    states = ", ".join(f"{number} {name}" for name, number in RUN_STATES.items())
    lamps = ", ".join(f"{bit} {colour}" for colour, bit in LAMPS.items())
    inputs = {one.kind for one in job.inputs}
    return [
        PlantValue(HEARTBEAT, "word", meaning="counts what the watch tells; stands still when nothing watches"),
        PlantValue(RUN_STATE, "word", meaning=states),
        PlantValue(LIGHT, "word", meaning=f"{lamps}; 0 unlit"),
        *_own(job),
        *(value for kind, value in _OTHER_INPUTS.items() if kind in inputs),
    ]


def _of_device(job: Job, device: BusDevice) -> list[PlantValue]:
    place = device.point or SUMP
    bearing = next((one.bearing for one in job.points if one.name == device.point), "")
    registers = {quantity: _register_of(quantity, device.form.registers) for quantity in alarm.RULES}
    found = [_read(place, quantity, one) for quantity, one in registers.items() if one is not None]
    if device.form.records:
        lines = [one for one in alarm_families(job.drive, bearing) if one.quantity in LINE_FAMILIES]
        found += [_of_record(place, one.quantity, one.unit) for one in lines]
    alarms = [*(f"{one.name} alarm" for one in found), *([alarm_name(place, "diagnosis")] if device.form.records else [])]
    return found + [PlantValue(name, "word", meaning=_bits()) for name in alarms]


def _posted(job: Job) -> Iterator[PlantValue]:
    """What may be posted of each point, as old as the job allows it to be."""
    stale_after = max(alarm.BLUE_AFTER, job.incoming.age_limit)
    for point in [one.name for one in job.points] + [SUMP]:
        for quantity, si in _POSTED.items() if point != SUMP else [("temperature", "K")]:
            kind, unit = _KINDS[si]
            name = value_name(point, quantity)
            yield PlantValue(name, "real", unit, si, stale_after=stale_after, kind=kind)
            yield PlantValue(f"{name} alarm", "word", meaning=_bits())


def _register_of(quantity: str, registers: Mapping[str, Register]) -> Register | None:
    """The register of a quantity: of that name, of its first axis, or of the sump."""
    names = (quantity, f"{quantity} x", f"{SUMP} {quantity}")
    return next((registers[name] for name in names if name in registers), None)


def _read(point: str, quantity: str, register: Register) -> PlantValue:
    """A quantity that a device gives at each poll, with the range of its register."""
    name = value_name(point, quantity)
    if not register.kind:
        return PlantValue(name, "real", register.unit, low=register.low, high=register.high)
    si = units.SI_UNIT[register.kind]
    kind, unit = _KINDS.get(si, (register.kind, si))
    return PlantValue(name, "real", unit, si, *_range(register, unit), kind=kind)


def _range(register: Register, unit: str) -> tuple[float | None, float | None]:
    """What bounds a register, in another unit of its kind."""

    def shown(bound: float | None) -> float | None:
        if bound is None or register.unit in (unit, _SPELLED.get(unit)):
            return bound
        return units.shown(units.convert(bound, register.unit, register.kind), register.kind, unit)

    return shown(register.low), shown(register.high)


def _own(job: Job) -> Iterator[PlantValue]:
    """The drive's own values, with the range of the register that gives them where the job has one."""
    for value in _OWN:
        quantity = value.name.rpartition("/")[2]
        held = (device.form.registers.get(quantity) for device in job.bus.devices)
        register = next((one for one in held if one is not None and one.kind == value.kind), None)
        low, high = _range(register, value.unit) if register else (value.low, value.high)
        yield replace(value, low=low, high=high)


def _of_record(point: str, quantity: str, si: str) -> PlantValue:
    kind, unit = _KINDS.get(si, ("", ""))
    return PlantValue(value_name(point, quantity), "real", unit, si, 0.0, None, alarm.RULES[quantity].blue_after, kind=kind)


def _bits() -> str:
    return "bits: " + ", ".join(f"{bit} {name}" for name, bit in ALARM_BITS.items())


_OWN = (
    PlantValue(value_name("", "running"), "word", low=0.0, high=1.0, meaning="0 no, 1 yes"),
    PlantValue(value_name("", "speed"), "real", "rpm", "Hz", kind="speed"),
    PlantValue(value_name("", "load"), "real", "%", "-", kind="ratio"),
)
_OTHER_INPUTS = {  # told where the job has such an input
    "direction": PlantValue(value_name("", "direction"), "real", low=-1.0, high=1.0, meaning="1 forward, -1 reverse"),
    "ambient": PlantValue(value_name("", "ambient temperature"), "real", "°C", "K", kind="temperature"),
}
