"""What is stuck on and left beside the kit: a sheet of QR labels, one for each device and each cable end, and the register map.

A label says in letters what its code says, so that a phone is never needed: job, point, address.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from gearcase.drawings.block import Block, unit_words
from gearcase.drawings.svg import HAIRLINE, MUTED, Sheet, wrap
from gearcase.errors import OutOfRange

__all__ = ["Label", "label_blocks", "labels_of", "labels_svg", "register_map_blocks"]

_PX_PER_MM = 96 / 25.4
_WIDE_MM, _TALL_MM = 57.0, 30.0  # one label; a sheet of them stays inside the margins of the report, so that it keeps its scale
_ACROSS, _DOWN = 3, 7
_CODE_MM, _EDGE_MM = 24.0, 3.0
_QUIET = 4  # modules of light about a code, ISO/IEC 18004
_WIDTHS = (2.2, 0.9, 0.9, 1.1, 0.7, 1.6, 0.8, 0.8, 1.6, 1.6)


@dataclass(frozen=True)
class Label:
    """One label.

    Attributes
    ----------
    name : str
        Of the device, or of the cable and which end.
    lines : tuple of str
        Address, serial and whatever else is read by eye.
    code : str
        What the code says: ``JOB/POINT/ADDRESS``.
    """

    name: str
    lines: tuple[str, ...]
    code: str


def labels_of(job: str, devices: Iterable[Mapping[str, Any]]) -> tuple[Label, ...]:
    """A label for each device and for both ends of its cable.

    Parameters
    ----------
    job : str
        Short name of the job.
    devices : iterable of mapping
        ``name``, ``address``; ``point``, ``serial`` and ``cable`` where they are known.

    Raises
    ------
    OutOfRange
        Two devices have one address: their labels could not be told apart.

    Examples
    --------
    >>> for label in labels_of("CV-204", [{"name": "unit 1", "address": 11, "point": "input", "cable": "C1"}]):
    ...     print(label.name, label.code)
    unit 1 CV-204/input/11
    C1, device end CV-204/input/11
    C1, panel end CV-204/input/11
    """
    made: list[Label] = []
    owner: dict[int, str] = {}
    for device in devices:
        name, address = str(device["name"]), int(device["address"])
        if address in owner:
            raise OutOfRange("address", address, f"one address for one device; {owner[address]} and {name} have the same")
        owner[address] = name
        point, serial, cable = (str(device.get(key) or "") for key in ("point", "serial", "cable"))
        code = "/".join(part.replace("/", "-") for part in (job, point or name, str(address)))
        made.append(Label(name, (f"address {address}", f"serial {serial}" if serial else "serial ____________"), code))
        if cable:
            made += [Label(f"{cable}, {end} end", (f"to {name}", f"address {address}"), code) for end in ("device", "panel")]
    return tuple(made)


def labels_svg(labels: Sequence[Label]) -> str:
    """Up to a sheet of labels, drawn to scale.

    Raises
    ------
    OutOfRange
        More labels than a sheet holds, or a code too long to be read from a label.
    """
    if not 0 < len(labels) <= _ACROSS * _DOWN:
        raise OutOfRange("labels", len(labels), f"1 to {_ACROSS * _DOWN} on a sheet")
    down = -(-len(labels) // _ACROSS)
    sheet = Sheet(_ACROSS * _px(_WIDE_MM), down * _px(_TALL_MM))
    for number, label in enumerate(labels):
        _draw(sheet, label, _px(_WIDE_MM * (number % _ACROSS)), _px(_TALL_MM * (number // _ACROSS)))
    return sheet.svg(f"Labels: {', '.join(label.name for label in labels)}")


def label_blocks(labels: Sequence[Label]) -> Iterator[Block]:
    """The labels as figures, a sheet each."""
    per_sheet = _ACROSS * _DOWN
    for first in range(0, len(labels), per_sheet):
        yield Block("break")
        if first == 0:
            yield Block("heading", "Labels")
            yield Block(
                "text", "Print at 100 %, cut at the lines, cover with clear film. One goes on each device and each cable end."
            )
        some = labels[first : first + per_sheet]
        yield Block("figure", f"Labels {first + 1} to {first + len(some)}, 57 by 30 mm.", svg=labels_svg(some), to_scale=True)


def register_map_blocks(rows: Iterable[Mapping[str, Any]], *, word_order: str, title: str) -> Iterator[Block]:
    """The register map of a kind of device, as it is left in the panel.

    Parameters
    ----------
    rows : iterable of mapping
        ``name``, ``address`` (from 0), ``function``, ``type``, ``scale``, ``unit``; ``constant``, ``low`` and ``high`` where they
        are known.
    word_order : str
        Which word of a longer value comes first.
    title : str
        Name of the profile.
    """
    yield Block("heading", f"Register map, {title}")
    yield Block(
        "text",
        "Addresses stand both ways: counted from 0 as they go over the wire, and from 1 as many manuals and masters count. The "
        "constants tell a wrong address or word order before any value is trusted.",
    )
    head = ("name", "from 0", "from 1", "function", "type", "word order", "scale", "unit", "range", "must read")
    table = tuple(
        (
            str(row["name"]),
            str(int(row["address"])),
            str(int(row["address"]) + 1),
            str(row["function"]),
            str(row["type"]),
            row.get("order", word_order) if str(row["type"]).endswith(("32", "64")) else "one word",
            _plain(row["scale"]),
            unit_words(str(row["unit"] or "-")),
            _range(row.get("low"), row.get("high")),
            _constant(row.get("constant"), str(row["type"])),
        )
        for row in rows
    )
    yield Block("table", head=head, rows=table, wide=_WIDTHS, numbers=(1, 2, 3, 6))


def _draw(sheet: Sheet, label: Label, left: float, top: float) -> None:
    import segno

    sheet.rectangle(left, top, _px(_WIDE_MM), _px(_TALL_MM), fill="none", colour=HAIRLINE, line=0.7, dash="4 3")
    try:
        code = segno.make_qr(label.code, error="m")
    except segno.DataOverflowError:
        raise OutOfRange("code", label.code[:40], "short enough for a code") from None
    modules = [list(row) for row in code.matrix]
    module = _px(_CODE_MM) / (len(modules) + 2 * _QUIET)
    if module < _px(0.4):
        raise OutOfRange("code", label.code[:40], "short enough that a phone can read it from a label of 24 mm")
    x, y = left + _px(_EDGE_MM), top + _px(_EDGE_MM)
    # black on white whatever the scheme: a camera reads no other
    sheet.parts.append(f'<rect x="{x:.2f}" y="{y:.2f}" width="{_px(_CODE_MM):.2f}" height="{_px(_CODE_MM):.2f}" fill="#FFFFFF"/>')
    runs = "".join(_runs(modules, x + _QUIET * module, y + _QUIET * module, module))
    sheet.parts.append(f'<path d="{runs}" fill="#000000"/>')
    words, room = x + _px(_CODE_MM) + _px(1.5), _px(_WIDE_MM - _CODE_MM - 2 * _EDGE_MM - 1.5)
    line = top + _px(_EDGE_MM) + 10
    for text in wrap(label.name, room, 11.5, most=2, weight=600):
        sheet.text(words, line, text, size=11.5, weight=600)
        line += 13.5
    for text in (part for said in label.lines for part in wrap(said, room, 10.5, most=2)):
        sheet.text(words, line, text, size=10.5)
        line += 12.5
    for text in label.code.split("/"):  # in letters what the code says, one part a line
        sheet.text(words, line, wrap(text, room, 8, most=1)[0], size=8, colour=MUTED)
        line += 9.5


def _runs(modules: list[list[int]], left: float, top: float, module: float) -> Iterator[str]:
    """Each run of dark modules in a row as one box; a hair taller, so that no light shows between rows."""
    for number, row in enumerate(modules):
        start = 0
        while start < len(row):
            length = 0
            while start + length < len(row) and row[start + length]:
                length += 1
            if length:
                x, y = left + start * module, top + number * module
                yield f"M{x:.2f} {y:.2f}h{length * module:.2f}v{module + 0.02:.2f}h{-length * module:.2f}z"
            start += max(length, 1)


def _px(mm: float) -> float:
    return mm * _PX_PER_MM


def _range(low: Any, high: Any) -> str:
    if low is None and high is None:
        return ""
    if low is None or high is None:
        return f"up to {_plain(high)}" if low is None else f"from {_plain(low)}"
    return f"{_plain(low)} to {_plain(high)}"


def _constant(value: Any, kind: str) -> str:
    """A constant as the panel's display may show it: a single word in hexadecimal too."""
    if value is None:
        return ""
    return f"0x{int(value):04X} ({int(value)})" if kind == "u16" else _plain(value)


def _plain(value: Any) -> str:
    return f"{float(value):.9g}" if isinstance(value, int | float) else str(value or "")
