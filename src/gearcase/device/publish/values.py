"""What the plant is told of a drive: which values there are, how each is written, and all that the watch asks of a publisher.

A value has a name that never changes while its point keeps its name: ``input coupling end/overall velocity``, ``drive/speed``,
``sump/temperature alarm``, ``light``. It has a time and one of three qualities: *good*; *bad*, where there is no value; *stale*,
where the last one has grown old. The watch gives SI, the plant reads the units people use.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType, TracebackType
from typing import Literal, Protocol, Self

from gearcase import units
from gearcase.device.profile import LAMPS, Profile, Register, profile
from gearcase.install.points import SUMP
from gearcase.job.build import Job
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
]

Quality = Literal["good", "bad", "stale"]
QUALITY: Mapping[Quality, int] = MappingProxyType({"good": 192, "bad": 0, "stale": 500})  # Sparkplug 3.0.0, properties: Quality
RUN_STATES = MappingProxyType({"unknown": 0, "stopped": 1, "starting": 2, "settling": 3, "steady": 4, "reversing": 5})
ALARM_BITS = MappingProxyType({"yellow": 1, "danger": 2, "not acknowledged": 4, "cannot tell": 8, "shelved": 16})
ALARM_PRIORITY = MappingProxyType({"danger": "high", "yellow": "medium", "cannot tell": "low"})  # common practice, no source
RUN_STATE, LIGHT, HEARTBEAT = "drive/run state", "light", "heartbeat"
_DRIVE = "drive"  # what the drive's own values stand under; in the store their point is empty
_OWN = {"running": ("", ""), "speed": ("speed", "rpm"), "load": ("ratio", "%")}
_KINDS = {"m/s": ("velocity", "mm/s"), "K": ("temperature", "°C"), "m/s2": ("acceleration", "m/s2")}


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
    """Every value of a job that the plant can be told, in a fixed order: of the drive, of each device's point, and their alarms."""
    found = {one.name: one for one in _of_drive(job)}
    for device in job.bus.devices:
        if device.profile:
            found |= {one.name: one for one in _of_device(job, device.point, device.form)}
    return tuple(found.values())


def _of_drive(job: Job) -> list[PlantValue]:
    states = ", ".join(f"{number} {name}" for name, number in RUN_STATES.items())
    lamps = ", ".join(f"{bit} {colour}" for colour, bit in LAMPS.items())
    registers = profile("drive inputs").registers
    return [
        PlantValue(HEARTBEAT, "word", meaning="counts what the watch tells; stands still when nothing watches"),
        PlantValue(RUN_STATE, "word", meaning=states),
        PlantValue(LIGHT, "word", meaning=f"{lamps}; 0 unlit"),
        *(_real("", quantity, registers[quantity], kind, unit) for quantity, (kind, unit) in _OWN.items()),
        *(_OTHER_INPUTS[kind] for kind in _OTHER_INPUTS if kind in {one.kind for one in job.inputs}),
    ]


def _of_device(job: Job, point: str, form: Profile) -> list[PlantValue]:
    registers = form.registers
    place = point or SUMP
    bearing = next((one.bearing for one in job.points if one.name == point), "")
    lines = [(one.quantity, one.unit) for one in alarm_families(job.drive, bearing) if one.quantity in LINE_FAMILIES]
    quantities = [(quantity, one) for quantity in alarm.RULES if (one := _register_of(quantity, registers)) is not None]
    found = [_real(place, quantity, one, one.kind, _KINDS[units.SI_UNIT[one.kind]][1]) for quantity, one in quantities]
    if form.waveforms:
        found += [_of_record(place, quantity, si) for quantity, si in lines]
    alarms = [*(f"{one.name} alarm" for one in found), *([alarm_name(place, "diagnosis")] if form.waveforms else [])]
    return found + [PlantValue(name, "word", meaning=_bits()) for name in alarms]


def _register_of(quantity: str, registers: Mapping[str, Register]) -> Register | None:
    """The register of a quantity: of that name, of its first axis, or of the sump."""
    names = (quantity, f"{quantity} x", f"{SUMP} {quantity}")
    return next((registers[name] for name in names if name in registers), None)


def _real(point: str, quantity: str, register: Register, kind: str, unit: str) -> PlantValue:
    bounds = (register.low, register.high)
    if kind and register.unit != unit:  # the profile's own unit may be another one than the plant's
        si = [None if bound is None else units.convert(bound, register.unit, kind) for bound in bounds]
        low, high = (None if bound is None else units.shown(bound, kind, unit) for bound in si)
    else:
        low, high = bounds
    rule = alarm.RULES.get(quantity)
    stale_after = rule.blue_after if rule and not rule.polled else alarm.BLUE_AFTER
    if not kind:
        return PlantValue(value_name(point, quantity), "word", low=low, high=high, meaning="0 no, 1 yes")
    return PlantValue(value_name(point, quantity), "real", unit, units.SI_UNIT[kind], low, high, stale_after, kind=kind)


def _of_record(point: str, quantity: str, si: str) -> PlantValue:
    kind, unit = _KINDS.get(si, ("", ""))
    return PlantValue(value_name(point, quantity), "real", unit, si, 0.0, None, alarm.RULES[quantity].blue_after, kind=kind)


def _bits() -> str:
    return "bits: " + ", ".join(f"{bit} {name}" for name, bit in ALARM_BITS.items())


_OTHER_INPUTS = {  # told where the job has such an input
    "direction": PlantValue(value_name("", "direction"), "real", low=-1.0, high=1.0, meaning="1 forward, -1 reverse"),
    "ambient": PlantValue(value_name("", "ambient temperature"), "real", "°C", "K", kind="temperature"),
}
