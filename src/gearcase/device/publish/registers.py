"""The plant's register map: where each value stands, in numbers that never move.

Registers count from 0 as they go over the wire (MODBUS Application Protocol V1.1b3), each 16 bits, high word first, and are the
same under function 3 (holding) and 4 (input). The head has the constants by which address, type and word order are proved, and the
server's clock. Each value takes `SLOT` registers: the value (two registers, or one and a spare), Unix time (two), the quality, and
a spare.

The map is kept with the job. A value that is new takes the next free slot; one that is gone leaves its slot reserved for ever, and
has it again when it comes back. A value whose type or unit has changed is a new one.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from gearcase.device.publish.values import QUALITY, PlantValue
from gearcase.errors import OutOfRange
from gearcase.install.profile import CONSTANTS
from gearcase.install.register import Register

__all__ = ["ACKNOWLEDGE", "CLOCK", "NOTHING", "SLOT", "WORD_ORDER", "Slot", "assign", "head", "slot_registers"]

SLOT = 6  # registers a value takes
WORD_ORDER = "high word first"
CLOCK, ACKNOWLEDGE = 6, 10
NOTHING = {"real": float("nan"), "word": 65535.0}  # what stands where the quality is not good
_FIRST = 100
_TYPE = {"real": "f32", "word": "u16"}


@dataclass(frozen=True)
class Slot:
    """Where one value stands; `value` is None where the slot is reserved for one that is gone. `form` and `unit` as it had them."""

    address: int
    name: str
    form: str
    unit: str
    value: PlantValue | None


def assign(values: Iterable[PlantValue], earlier: Sequence[Mapping[str, Any]]) -> tuple[Slot, ...]:
    """Slots of all values, in order of address.

    Parameters
    ----------
    values : iterable of PlantValue
    earlier : sequence of mapping
        Rows of the map that stands: ``address``, ``name``, ``form``, ``unit``; empty for a first one.

    Raises
    ------
    OutOfRange
        There are no more registers.

    Examples
    --------
    >>> kept = [{"address": 100, "name": "gone", "form": "real", "unit": "mm/s"}]
    >>> [(slot.address, slot.name, slot.value is None) for slot in assign([PlantValue("light", "word")], kept)]
    [(100, 'gone', True), (106, 'light', False)]
    """
    wanted: dict[tuple[str, str, str], PlantValue] = {(one.name, one.form, one.unit): one for one in values}
    slots = [
        Slot(int(row["address"]), *key, wanted.pop(key, None))
        for row in earlier
        for key in [(str(row["name"]), str(row["form"]), str(row["unit"]))]
    ]
    free = max((slot.address for slot in slots), default=_FIRST - SLOT) + SLOT
    slots += [Slot(free + SLOT * n, one.name, one.form, one.unit, one) for n, one in enumerate(wanted.values())]
    if slots and slots[-1].address + SLOT > 65536:
        raise OutOfRange(
            "values", len(slots), f"at most {(65536 - _FIRST) // SLOT} values in one map, those that are gone with them"
        )
    return tuple(slots)


def head(*, acknowledge: bool) -> tuple[Register, ...]:
    """The registers before the first slot; that which acknowledges where it is enabled."""
    constants = zip(CONSTANTS.items(), (0, 1, 3), ("u16", "u32", "f32"), strict=True)
    found = [_register(name, at, form, constant=value) for (name, value), at, form in constants]
    found.append(_register("clock", CLOCK, "u32", unit="s"))
    if acknowledge:
        found.append(_register("acknowledge", ACKNOWLEDGE, "u16", function=6))
    return tuple(found)


def slot_registers(slot: Slot) -> tuple[Register, Register, Register]:
    """The registers of a slot: value, time and quality."""
    low, high = (slot.value.low, slot.value.high) if slot.value else (None, None)
    return (
        _register(slot.name, slot.address, _TYPE[slot.form], unit=slot.unit, low=low, high=high),
        _register(f"{slot.name}, time", slot.address + 2, "u32", unit="s"),
        _register(f"{slot.name}, quality", slot.address + 4, "u16", low=0.0, high=float(max(QUALITY.values()))),
    )


def _register(
    name: str,
    address: int,
    form: str,
    *,
    function: int = 4,
    unit: str = "",
    constant: float | None = None,
    low: float | None = None,
    high: float | None = None,
) -> Register:
    """A register as the server fills it: its number is in `unit` already, so it has no kind to be brought to SI by."""
    return Register(name, address, function, form, 1.0, unit, "", constant, low, high)
