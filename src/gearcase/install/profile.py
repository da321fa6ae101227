"""What a device's registers mean: a profile is rows of a table, and words become SI values by it.

Those of the house stand in ``tables/registers.csv``; a job may bring its own in the same form. Registers are 16 bits, each sent
high byte first (MODBUS Application Protocol V1.1b3); which word of a longer value comes first is nowhere laid down, so a row may
say it, and every profile of the house carries three constants by which it can be told: 0x1234, 123456789 and 123.456.

`profiles_of` reads rows and names everything wrong with them at once. What one register means is `install.register`'s, how a
record is fetched `install.record_forms`'.
"""

import functools
import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from gearcase import units
from gearcase.errors import OutOfRange
from gearcase.install.record_forms import RecordForm, record_forms
from gearcase.install.register import FORMATS, LAST_REGISTER, ORDERS, Register
from gearcase.tables import Row, load

__all__ = [
    "CONSTANTS",
    "LAMPS",
    "NO_PROFILE",
    "ROLES",
    "WRITTEN",
    "Profile",
    "blocks",
    "profile",
    "profile_names",
    "profiles_of",
]

LAMPS = {"green": 1, "yellow": 2, "red": 4, "blue": 8, "white": 16}  # bits of a stack light's registers
# what every device's test registers must read, and the plant's too, whichever word comes first
CONSTANTS: Mapping[str, float] = MappingProxyType({"constant word": 0x1234, "constant whole": 123456789, "constant real": 123.456})
ROLES = {
    "": "a reading",
    "constant": "must read its constant: by it order and shift are told",
    "model": "says the kind of device: must read its constant",
    "serial": "tells this device from its like",
    "firmware": "which program runs in it",
    "output": "may be written, within its range; falls back by itself",
    "bus address": "written to give the device another address",
    "waveform": "where the samples of a record begin",
    "waveform samples": "how many samples the record has",
    "waveform rate": "samples a second",
    "waveform step": "what one count of a sample is worth",
    "waveform number": "counts records: unlike before and after, the record was replaced meanwhile",
    "waveform trigger": "written 1 to take a new record",
    "waveform ready": "reads 1 when the record is whole",
    "waveform freeze": "written 1 to keep the record while it is read, 0 afterwards",
    "waveform form": "written its constant to choose this form of record: one row a form, all of one register",
    "waveform page": "written the number of a part of the record, from low on (0 if empty), which then stands in the block",
    "waveform page samples": "how many samples of each axis a page has",
    "longest read": "registers the device gives in one answer, where fewer than 125",
}
_FACTS = (  # may stand without an address, by the data sheet
    "waveform samples",
    "waveform rate",
    "waveform step",
    "waveform page samples",
    "longest read",
)
WRITTEN = ("output", "bus address", "waveform trigger", "waveform freeze", "waveform form", "waveform page")
_ONCE = (  # of a record: once for all, and once for each form or block that a row says it is of
    *("model", "serial", "firmware", "bus address", "longest read"),
    *(role for role in ROLES if role.startswith("waveform ") and role != "waveform form"),
)
_LONGEST_READ = 125


@dataclass(frozen=True)
class Profile:
    """A kind of device: its registers by name, the forms of record it gives, and its longest answer."""

    name: str
    registers: dict[str, Register]
    records: tuple[RecordForm, ...] = ()
    longest_read: int = _LONGEST_READ

    @property
    def span(self) -> int:
        """Registers from 0 to the last one, but for records."""
        return max(one.address + one.words for one in self.registers.values())

    @property
    def rows(self) -> tuple[Register, ...]:
        """Every register there is, where records begin among them."""
        firsts = dict.fromkeys(block.first for form in self.records for block in form.blocks)
        return (*self.registers.values(), *firsts)

    def of(self, quantity: str) -> tuple[Register, ...]:
        """The registers of a quantity: of its name, or of its name and an axis.

        >>> [one.name for one in profile("three-axis vibration").of("gravity")]
        ['gravity x', 'gravity y', 'gravity z']
        """
        names = (quantity, *(f"{quantity} {axis}" for axis in "xyz"))
        return tuple(self.registers[name] for name in names if name in self.registers)

    def with_role(self, role: str) -> tuple[Register, ...]:
        """The registers with a role."""
        return tuple(one for one in self.registers.values() if one.role == role)


NO_PROFILE = Profile("", {})


def profile_names() -> tuple[str, ...]:
    """The profiles of the house."""
    return tuple(_house())


def profile(name: str) -> Profile:
    """A profile of the house by its name.

    Raises
    ------
    OutOfRange
        No such profile.

    Examples
    --------
    >>> profile("temperature converter").registers["sump temperature"].address
    10
    """
    if name not in _house():
        raise OutOfRange("profile", repr(name), f"one of: {', '.join(profile_names())}")
    return _house()[name]


@functools.cache
def _house() -> Mapping[str, Profile]:
    found, wrong = profiles_of(load("registers"))
    if wrong:
        number, key, rule = wrong[0]
        raise OutOfRange("table", f"registers.csv:{number + 2} {key}", rule)
    return MappingProxyType(found)


def profiles_of(rows: Sequence[Row]) -> tuple[dict[str, Profile], list[tuple[int, str, str]]]:
    """Profiles out of rows, by name; and everything wrong with the rows.

    Parameters
    ----------
    rows : sequence of mapping
        As ``registers.csv`` has them; `role`, `order`, `offset`, `fallback`, `of` and `axes` may be missing.

    Returns
    -------
    profiles, wrong
        Each wrong thing as number of the row from 0, column, and what would be right; rows that are wrong are left out.
    """
    wrong: list[tuple[int, str, str]] = []
    held: dict[str, list[tuple[int, Register]]] = {}
    for number, row in enumerate(rows):
        said = list(_wrong_cells(row))
        wrong += [(number, column, rule) for column, rule in said]
        if not said:
            held.setdefault(row["profile"], []).append((number, _register(row)))
    found = {}
    for name, registers in held.items():
        wrong += _contradictions(registers)
        records, unfit = record_forms(registers)
        wrong += unfit
        longest = next((one for _, one in registers if one.role == "longest read"), None)
        found[name] = Profile(
            name,
            {one.name: one for _, one in registers if one.address >= 0 and one.role != "waveform"},
            records,
            int(longest.constant) if longest is not None and longest.address < 0 and longest.constant else _LONGEST_READ,
        )
    return found, sorted(wrong)


def blocks(form: Profile, wanted: Iterable[Register]) -> tuple[tuple[int, int, int], ...]:
    """Function, start and count of the fewest reads that bring some registers and touch none that the profile does not know.

    Examples
    --------
    >>> sensor = profile("three-axis vibration")
    >>> blocks(sensor, [sensor.registers["overall velocity x"], sensor.registers["temperature"]])
    ((4, 16, 19),)
    """
    known = {(one.function, at) for one in form.registers.values() for at in range(one.address, one.address + one.words)}
    found: list[tuple[int, int, int]] = []
    for one in sorted(wanted, key=lambda one: (one.function, one.address)):
        end = one.address + one.words
        if found and found[-1][0] == one.function:
            function, start, count = found[-1]
            between = range(start + count, one.address)
            if end - start <= form.longest_read and all((function, at) in known for at in between):
                found[-1] = (function, start, max(count, end - start))
                continue
        found.append((one.function, one.address, one.words))
    return tuple(found)


def _wrong_cells(row: Row) -> Iterator[tuple[str, str]]:
    """Columns of one row that cannot be read, or contradict each other."""
    for column in ("profile", "register"):
        if not row[column].strip():
            yield column, "a name"
    role = row.get("role", "")
    if role not in ROLES:
        yield "role", f"one of: {', '.join(one or 'nothing (a reading)' for one in ROLES)}"
    numbers = {column: _number(row.get(column, "")) for column in ("scale", "offset", "constant", "low", "high", "fallback")}
    text = row["type"].startswith("text")
    wrong = [
        column
        for column, value in numbers.items()
        if value is not None and not math.isfinite(value) and not (text and column == "constant")
    ]
    for column in wrong:
        yield column, "a number, or 0x and hexadecimal digits"
    if row["type"] not in FORMATS and not re.fullmatch(r"bit(\d|1[0-5])|text([1-9]|[12]\d|3[0-2])", row["type"]):
        yield "type", f"a type out of {', '.join(FORMATS)}, bit0 to bit15, text1 to text32"
        return
    if numbers["scale"] == 0:
        yield "scale", "not 0: every reading would be the same"
    elif numbers["scale"] is None:
        yield "scale", "a number: 1 where the value is as it is sent"
    if row.get("order", "") not in ("", *ORDERS):
        yield "order", f"one of: {'; '.join(ORDERS)}; empty is {ORDERS[0]}"
    if row["kind"] not in ("", *units.ACCEPTED):
        yield "kind", f"empty or one of: {', '.join(units.ACCEPTED)}"
    elif row["kind"] and row["unit"] not in units.ACCEPTED[row["kind"]]:
        yield "unit", f"a unit of {row['kind']}, not {row['unit']!r}"
    yield from _wrong_place(row, role)
    low, high, fallback = numbers["low"], numbers["high"], numbers["fallback"]
    if low is not None and high is not None and not low < high:
        yield "high", f"above low, {low:g}: the range is upside down"
        return
    if role == "output" and (low is None or high is None or fallback is None):
        yield "low", "an output needs low, high and fallback: what may be written, and where it goes when it is left alone"
    elif fallback is not None and not (low or 0.0) <= fallback <= (high if high is not None else math.inf):
        yield "fallback", "inside low and high"
    if wrong or not numbers["scale"]:
        return
    if text and len(row["constant"]) > 2 * int(row["type"][4:]):
        yield "constant", f"at most {2 * int(row['type'][4:])} characters: two a register"
    if role in ("constant", "model") and not row["constant"]:
        yield "constant", "what it must read"
    if role == "waveform form" and numbers["constant"] is None:
        yield "constant", "what is written to choose this form"
    if row.get("of", "") and not role.startswith("waveform "):
        yield "of", f"empty: only a row of a record speaks of one, and its role is {role or 'none'}"
    axes = row.get("axes", "").split(" ") if row.get("axes", "") else []
    if axes and (role != "waveform" or not set(axes) <= set("xyz") or len(axes) > len(set(axes))):
        yield "axes", "empty, or of the role waveform x, y and z with a blank between, in the order in which they alternate"
    for column in () if text or not row["address"] else ("constant", "fallback"):
        value = numbers[column]
        if value is not None and not _is_held(row, value, numbers["offset"] or 0.0, numbers["scale"] or 1.0):
            yield column, f"a value that {row['type']} can hold"


def _wrong_place(row: Row, role: str) -> Iterator[tuple[str, str]]:
    """Address and function."""
    if not row["address"] and role in _FACTS:
        if not row["constant"]:
            yield "constant", "the value by the data sheet, where there is no address"
        return
    if not row["address"].isascii() or not row["address"].isdecimal() or int(row["address"]) > LAST_REGISTER:
        yield "address", f"a register's address counted from 0, 0 to {LAST_REGISTER}"
        return
    words = Register("", 0, 3, row["type"], 1, "", "", None, None, None).words
    if int(row["address"]) + words - 1 > LAST_REGISTER:
        yield "address", f"{words} registers from there end past {LAST_REGISTER}"
    if row["function"] not in ("3", "4"):
        yield "function", "3 (holding register) or 4 (input register)"
    elif role in WRITTEN and row["function"] == "4":
        yield "function", f"3: an input register cannot be written, and its role is {role}"
    if role in WRITTEN and row["type"].startswith(("bit", "text")):
        yield "type", "whole registers: a bit or text is not written"
    if role.startswith("waveform") and row["type"].startswith(("bit", "text")):
        yield "type", "a number"


def _is_held(row: Row, value: float, offset: float, scale: float) -> bool:
    raw = (value - offset) / scale
    if row["type"].startswith("f"):
        return row["type"] == "f64" or abs(raw) <= 3.4028234663852886e38
    low, high = (0, 1) if row["type"].startswith("bit") else _limits(row["type"])
    return low <= raw <= high and abs(raw - round(raw)) < 1e-6 * max(1.0, abs(raw))


def _limits(type_: str) -> tuple[int, int]:
    bits = int(type_[1:])
    return (0, 2**bits - 1) if type_.startswith("u") else (-(2 ** (bits - 1)), 2 ** (bits - 1) - 1)


def _contradictions(registers: Sequence[tuple[int, Register]]) -> Iterator[tuple[int, str, str]]:
    """Names and roles twice, and registers of which two values claim the same one."""
    names: dict[str, int] = {}
    roles: dict[tuple[str, str], str] = {}
    taken: dict[tuple[int, int], Register] = {}
    for number, one in registers:
        if one.name in names:
            yield number, "register", f"a name of its own: {one.name} is there already"
        names[one.name] = number
        if one.role in _ONCE:
            if (one.role, one.of) in roles:
                yield (
                    number,
                    "role",
                    f"{one.role} once{f' of {one.of}' if one.of else ''}: {roles[one.role, one.of]} has it already",
                )
            roles[one.role, one.of] = one.name
        if one.address < 0:
            continue
        for address in range(one.address, one.address + one.words):
            other = taken.get((one.function, address))
            both_bits = other is not None and one.type != other.type and one.type[:3] == other.type[:3] == "bit"
            if other is not None and not both_bits and not _of_two_forms(one, other):
                yield number, "address", f"another one: {one.name} and {other.name} both at register {address}"
                break
            taken[one.function, address] = one


def _of_two_forms(one: Register, other: Register) -> bool:
    """Whether two rows say what one register is in two forms of record."""
    alike = (one.role, one.address, one.type, one.order) == (other.role, other.address, other.type, other.order)
    return alike and one.role.startswith("waveform ") and (one.role == "waveform form" or one.of != other.of)


def _register(row: Row) -> Register:
    text = row["type"].startswith("text")
    order = row.get("order") or ORDERS[0]
    return Register(
        name=row["register"],
        address=int(row["address"] or -1),
        function=int(row["function"] or 0),
        type=row["type"],
        scale=_number(row["scale"]) or 1.0,
        unit=row["unit"],
        kind=row["kind"],
        constant=None if text else _number(row["constant"]),
        low=_number(row["low"]),
        high=_number(row["high"]),
        role=row.get("role", ""),
        order=next(one for one in ORDERS if one == order),
        offset=_number(row.get("offset", "")) or 0.0,
        fallback=_number(row.get("fallback", "")),
        text=row["constant"] if text else "",
        of=row.get("of", ""),
        axes=row.get("axes", ""),
    )


def _number(text: str) -> float | None:
    """None where there is nothing, not a number where it cannot be read."""
    if not text.strip():
        return None
    try:
        return float(int(text, 16)) if text.startswith("0x") else float(text)
    except ValueError:
        return math.nan
