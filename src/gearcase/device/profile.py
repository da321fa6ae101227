"""What a device's registers mean: a profile is rows of ``tables/registers.csv``, and words become SI values by it.

Registers are 16 bits, each sent high byte first (MODBUS Application Protocol V1.1b3); which word of a longer value comes first is
nowhere laid down, so every profile carries three constants by which it can be told: 0x1234, 123456789 and 123.456.
"""

import functools
import math
import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from gearcase import units
from gearcase.errors import OutOfRange
from gearcase.tables import Row, load

__all__ = [
    "CONSTANTS",
    "LAMPS",
    "RECORD_REGISTERS",
    "Profile",
    "Register",
    "WordOrder",
    "decode",
    "encode",
    "find_word_order",
    "profile",
    "profile_names",
]

WordOrder = Literal["high word first", "low word first"]
LAMPS = {"green": 1, "yellow": 2, "red": 4, "blue": 8, "white": 16}  # bits of a stack light's registers
RECORD_REGISTERS = 100  # where the samples of a vibration sensor's record begin, 16 bits each
# what every device's test registers must read, and the plant's too, whichever word comes first
CONSTANTS: Mapping[str, float] = MappingProxyType({"constant word": 0x1234, "constant whole": 123456789, "constant real": 123.456})
_FIRST_CONSTANT = next(iter(CONSTANTS))
_ORDERS: tuple[WordOrder, WordOrder] = ("high word first", "low word first")
_FORMATS = {"u16": ">H", "i16": ">h", "u32": ">I", "i32": ">i", "f32": ">f"}


@dataclass(frozen=True)
class Register:
    """One value of a device.

    `address` counts from 0; `function` is 3 (holding) or 4 (input); `type` is u16, i16, u32, i32 or f32; the raw value times
    `scale` is in `unit`, a spelling of `units.ACCEPTED[kind]`, or plain where `kind` is empty; `constant` is what it must read,
    None where it varies; `low` and `high` bound it in `unit`.
    """

    name: str
    address: int
    function: int
    type: str
    scale: float
    unit: str
    kind: str
    constant: float | None
    low: float | None
    high: float | None

    @property
    def words(self) -> int:
        """Registers it takes: 1 or 2."""
        return struct.calcsize(_FORMATS[self.type]) // 2


@dataclass(frozen=True)
class Profile:
    """A kind of device: its registers by name."""

    name: str
    registers: dict[str, Register]

    @property
    def span(self) -> int:
        """Registers from 0 to the last one that is read at a poll."""
        return max(one.address + one.words for one in self.registers.values())


def profile_names() -> tuple[str, ...]:
    """The profiles there are."""
    return tuple(dict.fromkeys(row["profile"] for row in load("registers")))


@functools.cache
def profile(name: str) -> Profile:
    """A profile by its name.

    Raises
    ------
    OutOfRange
        No such profile, or one whose registers overlap or have a type or unit that is not known; the rule says which.

    Examples
    --------
    >>> profile("temperature converter").registers["sump temperature"].address
    10
    """
    rows = [row for row in load("registers") if row["profile"] == name]
    if not rows:
        raise OutOfRange("profile", repr(name), f"one of: {', '.join(profile_names())}")
    found = {row["register"]: _register(row) for row in rows}
    taken: dict[int, str] = {}
    for one in found.values():
        for address in range(one.address, one.address + one.words):
            if address in taken:
                raise OutOfRange("profile", repr(name), f"{one.name} and {taken[address]} both at register {address}")
            taken[address] = one.name
    return Profile(name, found)


def decode(register: Register, words: Sequence[int], order: WordOrder = "high word first") -> float:
    """The value of one register in SI.

    Parameters
    ----------
    register : Register
    words : sequence of int
        As many as the register takes, each 0 to 65535.
    order : str

    Raises
    ------
    OutOfRange
        The number of words is wrong, or the value is no number or lies outside the profile's range.

    Examples
    --------
    Row MW5 of ``modbus_checks.csv``, 25.0 as 41C8 0000:

    >>> speed = profile("drive inputs").registers["speed"]
    >>> 60 * decode(speed, [0x41C8, 0x0000])
    25.0
    >>> 60 * decode(speed, [0x0000, 0x41C8], "low word first")
    25.0
    """
    if len(words) != register.words:
        raise OutOfRange(register.name, f"{len(words)} registers", f"{register.words} registers")
    ordered = words if order == "high word first" else list(reversed(words))
    packed = b"".join(struct.pack(">H", word) for word in ordered)
    value = float(struct.unpack(_FORMATS[register.type], packed)[0]) * register.scale
    if not math.isfinite(value):
        raise OutOfRange(register.name, value, "a number; the device marks this value as bad")
    if (register.low is not None and value < register.low) or (register.high is not None and value > register.high):
        rule = f"{register.low:g} to {register.high:g} {register.unit}".strip()
        raise OutOfRange(register.name, f"{value:g} {register.unit}".strip(), rule)
    return units.convert(value, register.unit, register.kind) if register.kind else value


def encode(register: Register, value: float, order: WordOrder = "high word first") -> tuple[int, ...]:
    """The words of an SI value: what a device with this profile sends.

    Raises
    ------
    OutOfRange
        It does not fit the register's type.
    """
    raw = (units.shown(value, register.kind, register.unit) if register.kind else value) / register.scale
    try:
        packed = struct.pack(_FORMATS[register.type], raw if register.type == "f32" else round(raw))
    except (struct.error, OverflowError, ValueError):
        raise OutOfRange(register.name, value, f"a value that fits {register.type}") from None
    words = struct.unpack(f">{len(packed) // 2}H", packed)
    return words if order == "high word first" else tuple(reversed(words))


def find_word_order(profile: Profile, words: Sequence[int]) -> tuple[WordOrder | None, int]:
    """Which word comes first, and by how many registers the map is shifted, told from the three constants.

    Parameters
    ----------
    profile : Profile
    words : sequence of int
        The device's registers from 0 on, two more than the constants take.

    Returns
    -------
    order, shift
        Order None where no order and no shift of one makes all three constants right. A shift of 1 means that every value stands
        one register later than the profile says: the device's sheet counts registers from 1.
    """
    for shift in (0, 1, -1):
        for order in _ORDERS:
            if all(_holds(profile.registers[name], words, shift, order) for name in CONSTANTS):
                return order, shift
    return None, 0


def _holds(register: Register, words: Sequence[int], shift: int, order: WordOrder) -> bool:
    start = register.address + shift
    if start < 0:  # shifted forward, the first constant fell off the front
        return register.name == _FIRST_CONSTANT
    given = words[start : start + register.words]
    if len(given) != register.words or register.constant is None:
        return False
    return math.isclose(decode(register, given, order), register.constant, rel_tol=1e-6)


def _register(row: Row) -> Register:
    where = f"{row['profile']}, {row['register']}"
    if row["type"] not in _FORMATS:
        raise OutOfRange("profile", where, f"a type out of {', '.join(_FORMATS)}")
    if row["kind"] and row["unit"] not in units.ACCEPTED.get(row["kind"], {}):
        raise OutOfRange("profile", where, f"a unit of {row['kind']}, not {row['unit']!r}")
    return Register(
        name=row["register"],
        address=int(row["address"]),
        function=int(row["function"]),
        type=row["type"],
        scale=float(row["scale"]),
        unit=row["unit"],
        kind=row["kind"],
        constant=_number(row["constant"]),
        low=_number(row["low"]),
        high=_number(row["high"]),
    )


def _number(text: str) -> float | None:
    if not text:
        return None
    return float(int(text, 16)) if text.startswith("0x") else float(text)
