"""What one register of a device means: words of 16 bits become an SI value, and back.

Each word is sent high byte first (MODBUS Application Protocol V1.1b3); which word of a longer value comes first is nowhere laid
down.
"""

import math
import struct
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

from gearcase import units
from gearcase.errors import OutOfRange

__all__ = ["FORMATS", "LAST_REGISTER", "ORDERS", "Register", "WordOrder", "decode", "encode", "words_of_identity"]

WordOrder = Literal["high word first", "low word first", "high word first, bytes swapped", "low word first, bytes swapped"]
ORDERS: tuple[WordOrder, ...] = get_args(WordOrder)  # ABCD, CDAB, BADC, DCBA
FORMATS = {
    "u16": ">H",
    "i16": ">h",
    "u32": ">I",
    "i32": ">i",
    "f32": ">f",
    "u64": ">Q",
    "i64": ">q",
    "f64": ">d",
}  # as `struct` packs them
LAST_REGISTER = 65535


@dataclass(frozen=True)
class Register:
    """One value of a device.

    `address` counts from 0; `function` is 3 (holding) or 4 (input); `type` is u16, i16, u32, i32, f32, u64, i64, f64, ``bit0`` to
    ``bit15`` of one register, or ``text1`` to ``text32`` of so many. The raw value times `scale` plus `offset` is in `unit`, a
    spelling of `units.ACCEPTED[kind]`, or plain where `kind` is empty; `constant` is what it must read (`text` where that is a
    text), None where it varies; `low`, `high` and `fallback` are in `unit`. `role` is one of
    `profile.ROLES`. Of a
    record's rows `of` names the form or block it speaks of (empty: all), and `axes` says whose samples stand in a block, ``x y z``
    where they alternate.
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
    role: str = ""
    order: WordOrder = "high word first"
    offset: float = 0.0
    fallback: float | None = None
    text: str = ""
    of: str = ""
    axes: str = ""

    @property
    def words(self) -> int:
        """Registers it takes."""
        if self.type.startswith("text"):
            return int(self.type[4:])
        return 1 if self.type.startswith("bit") else struct.calcsize(FORMATS[self.type]) // 2


def decode(register: Register, words: Sequence[int], order: WordOrder | None = None) -> float:
    """The value of one register in SI.

    Parameters
    ----------
    register : Register
        Not a text.
    words : sequence of int
        As many as the register takes, each 0 to 65535.
    order : str, optional
        Another order than the register's own.

    Raises
    ------
    OutOfRange
        The number of words is wrong, or the value is no number or lies outside the profile's range.

    Examples
    --------
    Row MW5 of ``modbus_checks.csv``, 25.0 as 41C8 0000:

    >>> from gearcase.install.profile import profile
    >>> speed = profile("drive inputs").registers["speed"]
    >>> 60 * decode(speed, [0x41C8, 0x0000])
    25.0
    >>> 60 * decode(speed, [0x0000, 0x41C8], "low word first")
    25.0
    """
    value = _raw(register, words, order) * register.scale + register.offset
    if not math.isfinite(value):
        raise OutOfRange(register.name, value, "a number; the device marks this value as bad")
    if (register.low is not None and value < register.low) or (register.high is not None and value > register.high):
        low, high = register.low, register.high
        rule = f"{low:g} to {high:g}" if low is not None and high is not None else f"{'at most' if low is None else 'at least'} "
        rule += "" if low is not None and high is not None else f"{high if low is None else low:g}"
        raise OutOfRange(register.name, f"{value:g} {register.unit}".strip(), f"{rule} {register.unit}".strip())
    return units.convert(value, register.unit, register.kind) if register.kind else value


def words_of_identity(register: Register, words: Sequence[int]) -> str:
    """What an identity register says, as people write it: its text, or its whole number.

    Raises
    ------
    OutOfRange
        The number of words is wrong.

    Examples
    --------
    >>> words_of_identity(Register("serial", 0, 3, "text3", 1, "", "", None, None, None), [0x5653, 0x2D34, 0x3100])
    'VS-41'
    """
    if not register.type.startswith("text"):
        return f"{_raw(register, words, None) * register.scale + register.offset:.15g}"
    _count(register, words)
    text = struct.pack(f">{len(words)}H", *(_ordered(words, register.order) if "bytes" in register.order else words))
    return text.partition(b"\0")[0].decode("ascii", "replace").strip()


def _raw(register: Register, words: Sequence[int], order: WordOrder | None) -> float:
    _count(register, words)
    if register.type.startswith("bit"):
        return float(_ordered(words, order or register.order)[0] >> int(register.type[3:]) & 1)
    packed = struct.pack(f">{len(words)}H", *_ordered(words, order or register.order))
    return float(struct.unpack(FORMATS[register.type], packed)[0])


def _count(register: Register, words: Sequence[int]) -> None:
    if len(words) != register.words:
        raise OutOfRange(register.name, f"{len(words)} registers", f"{register.words} registers")


def _ordered(words: Sequence[int], order: WordOrder) -> list[int]:
    """Words in the other order, there and back."""
    ordered = list(reversed(words)) if order.startswith("low") else list(words)
    return [(word & 0xFF) << 8 | word >> 8 for word in ordered] if order.endswith("swapped") else ordered


def encode(register: Register, value: float, order: WordOrder | None = None) -> tuple[int, ...]:
    """The words of an SI value: what a device with this profile sends, or is written.

    Raises
    ------
    OutOfRange
        It does not fit the register's type.
    """
    shown = units.shown(value, register.kind, register.unit) if register.kind else value
    raw = (shown - register.offset) / register.scale
    try:
        if register.type.startswith("bit"):
            packed = struct.pack(">H", {0: 0, 1: 1 << int(register.type[3:])}[round(raw)])
        else:
            packed = struct.pack(FORMATS[register.type], raw if register.type.startswith("f") else round(raw))
    except (struct.error, OverflowError, ValueError, KeyError):
        raise OutOfRange(register.name, value, f"a value that fits {register.type}") from None
    words = struct.unpack(f">{len(packed) // 2}H", packed)
    return tuple(_ordered(words, order or register.order))
