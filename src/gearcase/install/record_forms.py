"""How a device's records of vibration are fetched: which forms there are, where samples stand, what is written and read before.

A device may give several forms, a short and fast record and a long and slow one: chosen by a register, or each in a block of its
own. A record may stand in blocks of one axis, in one block where axes alternate, or in pages of which one is there at a time.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from gearcase import units
from gearcase.install.register import LAST_REGISTER, Register

__all__ = ["Block", "RecordForm", "by_sheet", "record_forms"]


@dataclass(frozen=True)
class Block:
    """Where samples stand: the register of the first one; the axes whose samples alternate there; what a count is worth; and where
    only a part of the record stands there at a time, the register that is written to turn its pages and the samples of each axis
    in one.
    """

    first: Register
    axes: tuple[str, ...]
    step: Register | float
    page: Register | None = None
    page_samples: Register | float | None = None


@dataclass(frozen=True)
class RecordForm:
    """Records of one rate and length, and how one is fetched: its blocks are read together, numbers are a data sheet's.

    `select` is the register that is written its constant to have this form; None where it need not be chosen. `name` is that of its
    row, or of its first block's.
    """

    name: str
    blocks: tuple[Block, ...]
    samples: Register | float
    rate: Register | float
    number: Register | None = None
    trigger: Register | None = None
    ready: Register | None = None
    freeze: Register | None = None
    select: Register | None = None

    @property
    def rate_hz(self) -> float | None:
        """Samples a second by the data sheet; None where only the device says."""
        return by_sheet(self.rate)

    @property
    def duration_s(self) -> float | None:
        """Length by the data sheet; None where only the device says. [s]"""
        samples, rate_hz = by_sheet(self.samples), self.rate_hz
        return None if samples is None or rate_hz is None else samples / rate_hz


def record_forms(registers: Sequence[tuple[int, Register]]) -> tuple[tuple[RecordForm, ...], list[tuple[int, str, str]]]:
    """The forms of record that rows describe, and what is wrong with them."""
    firsts = [(number, one) for number, one in registers if one.role == "waveform"]
    chosen = [(number, one) for number, one in registers if one.role == "waveform form"]
    forms: dict[RecordForm, list[Block]] = {}
    wrong = list(_wrong_of(registers, [one.name for _, one in (*firsts, *chosen)], chosen))
    selects: list[Register | None] = [one for _, one in chosen] or [None]
    for number, first in firsts:
        for select in selects:
            found = _facts([one for _, one in registers], first, select)
            samples, rate = found.get("waveform samples"), found.get("waveform rate")
            if samples is None or rate is None:
                wrong.append((number, "role", "a record needs rows with the roles waveform samples and waveform rate"))
                break
            step = found.get("waveform step")
            block = Block(
                first,
                tuple(first.axes.split(" ")) if first.axes else ("z",),
                1.0 if step is None else step,
                _only_register(found.get("waveform page")),
                found.get("waveform page samples"),
            )
            wrong += [(number, column, rule) for column, rule in _wrong_block(block, samples)]
            number_, trigger, ready, freeze = (
                _only_register(found.get(f"waveform {part}")) for part in ("number", "trigger", "ready", "freeze")
            )
            form = RecordForm("", (), samples, rate, number_, trigger, ready, freeze, select)
            if select is not None and form.ready is None and form.number is None:
                wrong.append(
                    (
                        number,
                        "role",
                        "a form that is chosen needs waveform ready or waveform number: else nobody knows when it is there",
                    )
                )
            forms.setdefault(form, []).append(block)
    records = tuple(
        replace(form, name=form.select.name if form.select else blocks[0].first.name, blocks=tuple(blocks))
        for form, blocks in forms.items()
    )
    if len(records) > 1 and any(one.duration_s is None for one in records):
        rule = "each of several forms of record needs rate and samples by the data sheet: a constant, with an address or without"
        wrong.append((firsts[0][0], "role", rule))
    return records, sorted(set(wrong))


def by_sheet(fact: Register | float) -> float | None:
    """What the data sheet says; None where only the device says. [SI]"""
    if not isinstance(fact, Register):
        return fact
    return (
        None if fact.constant is None else fact.constant * units.convert(1.0, fact.unit, fact.kind) if fact.kind else fact.constant
    )


def _facts(registers: Sequence[Register], first: Register, select: Register | None) -> dict[str, Register | float]:
    """What the rows of a record say of a block in a form, by role: of that form before of that block before of all."""
    found: dict[str, Register | float] = {}
    for of in ("", first.name, *([select.name] if select else [])):
        for one in registers:
            if one.of == of and one.role.startswith("waveform "):
                found[one.role] = fact if one.address < 0 and (fact := by_sheet(one)) is not None else one
    return found


def _only_register(fact: Register | float | None) -> Register | None:
    return fact if isinstance(fact, Register) else None


def _wrong_of(
    registers: Sequence[tuple[int, Register]], names: Sequence[str], chosen: Sequence[tuple[int, Register]]
) -> Iterator[tuple[int, str, str]]:
    """Rows that speak of a record there is not, and choices that are none."""
    for number, one in registers:
        if one.of and one.of not in names:
            yield number, "of", f"empty, or a row with the role waveform or waveform form: {', '.join(names) or 'there is none'}"
    for n, (number, one) in enumerate(chosen):
        before = chosen[:n]
        if before and (one.address, one.type, one.order) != (before[0][1].address, before[0][1].type, before[0][1].order):
            yield number, "address", f"that of {before[0][1].name}: all forms are chosen by one register"
        if any(one.constant == other.constant for _, other in before):
            yield number, "constant", "another: two forms are not chosen by one number"


def _wrong_block(block: Block, samples: Register | float) -> Iterator[tuple[str, str]]:
    if (block.page is None) != (block.page_samples is None):
        yield "role", "a record in pages needs rows with the roles waveform page and waveform page samples"
    held = by_sheet(samples if block.page_samples is None else block.page_samples)
    words = 0 if held is None else int(held) * len(block.axes) * block.first.words
    if held is not None and (held < 1 or block.first.address + words - 1 > LAST_REGISTER):
        yield "address", f"{words} registers from there are no block that ends at {LAST_REGISTER} or before"
