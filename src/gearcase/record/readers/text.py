"""Columns of numbers as text: with or without a heading, any common delimiter, decimal point or decimal comma."""

import csv
import datetime
import re
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gearcase.errors import BadInput, Problem
from gearcase.record.readers.contents import Budget, Contents, Facts, RawChannel, facts, split_unit, take_time

__all__ = ["read_csv"]

_NUMBER = re.compile(r"\s*[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s*|\s*[+-]?(nan|inf|infinity)\s*", re.IGNORECASE)
_COMMA_NUMBER = re.compile(r"\s*[+-]?\d*,\d+([eE][+-]?\d+)?\s*")
_WHOLE = re.compile(r"\s*[+-]?\d+\s*")
_LOOK_AT = 50  # lines that decide the delimiter


def read_csv(path: Path, budget: Budget) -> Contents:
    """Read delimited text.

    Lines that begin with ``#`` or ``%`` are comments, in which ``sample_rate_hz: 12000`` is understood.
    """
    budget.require(6 * path.stat().st_size)  # the text, its lines and the numbers
    text = _decode(path.read_bytes(), path.name)
    lines = text.splitlines()
    said = facts(dict(_statements(lines)))
    body = [(n, line) for n, line in enumerate(lines, start=1) if line.strip() and line.lstrip()[0] not in "#%"]
    if not body:
        raise BadInput(Problem(path.name, "", "no lines of numbers", "a file with samples"))
    delimiter, comma = _dialect(path.name, [line for _, line in body[:_LOOK_AT]])
    headings, units, body = _headings(path.name, body, delimiter, comma)
    rows = [line for _, line in body]
    first = _cells(rows[0], delimiter)
    columns, left_out = [], []
    for n, cell in enumerate(first):
        name, unit = split_unit(headings[n]) if headings else (f"column {n + 1}", None)
        name = name or f"column {n + 1}"
        columns.append((n, name, unit or units.get(n), _is_number(cell, comma)))
    numeric = [n for n, _, _, is_number in columns if is_number]
    if not numeric:
        raise BadInput(Problem(f"{path.name}:{body[0][0]}", "", repr(rows[0][:60]), "a line of numbers"))
    table = _parse(path.name, body, len(first), numeric, delimiter, comma)
    channels = []
    for place, n in enumerate(numeric):
        own = Facts(unit=columns[n][2])
        channels.append(RawChannel(columns[n][1], table[:, place], own))
    for n, name, _, is_number in columns:
        if is_number:
            continue
        if (stamps := _stamps([_cells(row, delimiter)[n] for row in rows])) is not None:
            channels.insert(0, RawChannel("timestamp", stamps[1]))
            said = said.over(Facts(start=stamps[0]))
        else:
            left_out.append(f"{name}: text")
    channels = take_time(channels, first_may_be_time=True)
    channels = [RawChannel(c.name, c.values, c.facts.over(said)) for c in channels]
    cut = () if text.endswith(("\n", "\r")) else ("the last line has no line end: it may have been cut off",)
    return Contents("CSV", tuple(channels), tuple(left_out), cut)


def _decode(raw: bytes, name: str) -> str:
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return raw.decode("utf-16")
    if b"\0" in raw:
        raise BadInput(Problem(name, "", "bytes that are no text", "a text file; damaged or of another format"))
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("latin-1")


def _statements(lines: list[str]) -> list[tuple[str, str]]:
    """``name: value`` or ``name = value`` in comment lines."""
    found = []
    for line in lines[:200]:
        match = re.fullmatch(r"\s*[#%]+\s*([\w ]+?)\s*[:=]\s*(.+?)\s*", line)
        if match:
            found.append((match[1], match[2]))
    return found


def _cells(line: str, delimiter: str) -> list[str]:
    if delimiter == " ":
        return line.split()
    if '"' in line:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter))]
    return line.split(delimiter)


def _is_number(cell: str, comma: bool) -> bool:
    return bool(_NUMBER.fullmatch(cell)) or (comma and bool(_COMMA_NUMBER.fullmatch(cell)))


def _dialect(name: str, lines: list[str]) -> tuple[str, bool]:
    """Delimiter, and whether the comma is the decimal mark."""
    last = lines[-1]
    for delimiter in ("\t", ";"):
        if delimiter in last:
            return delimiter, any(_COMMA_NUMBER.fullmatch(cell) for line in lines[1:] or lines for cell in line.split(delimiter))
    if "," not in last:
        return (" ", False) if len(last.split()) > 1 else (",", False)
    data = [line for line in lines if not re.search(r"[A-DF-Za-df-z]", line)]
    if len(last.split()) > 1 and all(_COMMA_NUMBER.fullmatch(cell) for line in data for cell in line.split()):
        return " ", True
    halves = [line.split(",") for line in data]
    if data and all(len(half) == 2 and all(_WHOLE.fullmatch(part) for part in half) for half in halves):
        heading = lines[0] if lines[0] not in data else ""
        if heading:
            return (",", False) if "," in heading else (";", True)
        raise BadInput(
            Problem(
                name,
                "",
                repr(lines[0]),
                'clear decimals: "1,5" may be 1.5 or two columns; write decimal points, or separate columns with ";"',
            )
        )
    return ",", False


def _headings(
    name: str, body: list[tuple[int, str]], delimiter: str, comma: bool
) -> tuple[list[str], dict[int, str], list[tuple[int, str]]]:
    """Column names, units from a line of their own, and the lines of numbers."""
    texts: list[list[str]] = []
    while body and len(texts) < 3:
        cells = _cells(body[0][1], delimiter)
        if any(_is_number(cell, comma) for cell in cells):
            break
        texts.append([cell.strip() for cell in cells])
        body = body[1:]
    commas = [cell for cell in texts[-1] if _COMMA_NUMBER.fullmatch(cell)] if texts and not comma else []
    if commas:
        says = 'numbers with decimal points; decimal commas are read where columns are separated by ";" or tabs'
        raise BadInput(Problem(name, "", repr(commas[0]), says))
    if not body:
        raise BadInput(Problem(name, "", "headings and no numbers", "a file with samples"))
    if not texts:
        return [], {}, body
    width = len(_cells(body[0][1], delimiter))
    if len(texts) > 2 or any(len(text) != width for text in texts):
        where = f"{name}:{body[0][0]}"
        raise BadInput(Problem(where, "", f"{width} values", f"as many as the headings above have ({len(texts[0])})"))
    units = {n: cell.strip("[]() ") for n, cell in enumerate(texts[1]) if cell} if len(texts) == 2 else {}
    return texts[0], units, body


def _parse(
    name: str, body: list[tuple[int, str]], width: int, numeric: list[int], delimiter: str, comma: bool
) -> NDArray[np.float64]:
    rows = [line.replace(",", ".") for _, line in body] if comma else [line for _, line in body]
    try:
        if any(line.count(delimiter) != width - 1 for line in rows if delimiter != " " and '"' not in line):
            raise ValueError
        return np.loadtxt(
            rows,
            delimiter=None if delimiter == " " else delimiter,
            usecols=numeric,
            ndmin=2,
            comments=None,
            quotechar='"',
        )
    except ValueError:
        raise BadInput(_bad_lines(name, body, width, numeric, delimiter, comma)) from None


def _bad_lines(
    name: str, body: list[tuple[int, str]], width: int, numeric: list[int], delimiter: str, comma: bool
) -> list[Problem]:
    """The first lines that are not what the others are, and how many there are."""
    bad = []
    for number, line in body:
        cells = _cells(line, delimiter)
        where = f"{name}:{number}"
        if len(cells) != width:
            cut = "; the file may have been cut off here" if number == body[-1][0] else ""
            bad.append(Problem(where, "", f"{len(cells)} values", f"{width} as in the lines before{cut}"))
        else:
            wrong = [cell.strip() for n, cell in enumerate(cells) if n in numeric and not _is_number(cell, comma)]
            if wrong:
                bad.append(Problem(where, "", repr(wrong[0][:40]), "a number"))
    if not bad:
        return [Problem(name, "", "lines that cannot be read as numbers", "columns of numbers")]
    if len(bad) > 5:
        return [*bad[:5], Problem(name, "", f"{len(bad) - 5} more such lines", "the same in every line")]
    return bad


def _stamps(cells: list[str]) -> tuple[str, NDArray[Any]] | None:
    """First moment and seconds since it, from ISO 8601 time stamps."""
    try:
        moments = [datetime.datetime.fromisoformat(cell.strip()) for cell in cells]
        seconds = [(moment - moments[0]).total_seconds() for moment in moments]
    except (ValueError, TypeError):
        return None
    return moments[0].isoformat(), np.array(seconds)
