"""An append-only record: one JSON line an entry, each holding the hash of the one before.

A line is ``{"number", "previous", "who", "when", "entry", "sha256"}`` in canonical JSON, so that a changed, missing or reordered
line is seen and named. `append` locks the file, writes, syncs; what it cannot write whole it takes back. A writer that was killed
leaves a torn last line: `torn` says so, everything before it stands, and the next `append` sets the bytes aside in ``FILE.torn``.

Cutting whole lines off the end leaves a shorter chain that is sound in itself: whoever kept its last hash passes it to
`read` as `holds`.
"""

import contextlib
import fcntl
import json
import os
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from gearcase.checksums import sha256_of_bytes
from gearcase.errors import BadInput, Problem
from gearcase.findings import Finding, Level
from gearcase.record.results import make_folder, sync_folder

__all__ = ["FIRST", "append", "line", "linked", "read", "require_held", "torn", "verified"]

FIRST = "0" * 64  # what stands for the hash before the first entry
_KEYS = {"number", "previous", "who", "when", "entry", "sha256"}
_AS_WRITTEN = "the record as it was written: put back a copy that is whole; entries are added, never edited"


def append(path: Path, entry: dict[str, Any], *, who: str, when: str) -> dict[str, Any]:
    """Add an entry at the end.

    Parameters
    ----------
    path : Path
        Made with its folders where there is none yet.
    entry : dict
        JSON-able data.
    who, when : str
        Person, and time in ISO 8601.

    Returns
    -------
    dict
        The line as kept, with its number, the hash before it and its own.

    Raises
    ------
    BadInput
        The record was tampered with, or the place is full or cannot be written. What was recorded before stays.
    """
    try:
        make_folder(path.parent)
        handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND, 0o644)
        try:
            fcntl.flock(handle, fcntl.LOCK_EX)
            entries, whole, tail = _verified(path, _content(handle))
            if tail:
                _set_aside(path, handle, whole, tail)
            previous = entries[-1]["sha256"] if entries else FIRST
            record = linked(str(path), entry, number=len(entries) + 1, previous=previous, who=who, when=when)
            _write(handle, whole, (b"" if _ends_line(handle, whole) else b"\n") + line(record) + b"\n")
            sync_folder(path.parent)
        finally:
            os.close(handle)
    except OSError as error:
        accepted = "a place with room that can be written; the entry is not recorded, those before it are"
        raise BadInput(Problem(str(path), "", error.strerror or str(error), accepted)) from None
    return record


def read(path: Path, *, holds: str = "") -> tuple[dict[str, Any], ...]:
    """Every whole entry, in order, verified; none where there is no file.

    Parameters
    ----------
    path : Path
    holds : str
        Hash of an entry that must be there, as somebody kept it; empty asks for none.

    Raises
    ------
    BadInput
        An entry was changed, is missing or stands out of order; the problem names its line. Or the file cannot be read.
    """
    entries = _look(path)[0]
    require_held(str(path), entries, holds)
    return entries


def linked(where: str, entry: dict[str, Any], *, number: int, previous: str, who: str, when: str) -> dict[str, Any]:
    """An entry as the next of a chain, wherever that is kept: with its number, the hash before it (`FIRST`, or that of the entry
    before) and its own.

    Raises
    ------
    BadInput
        It is not plain, finite data; the problem names `where`.
    """
    record = {"number": number, "previous": previous, "who": who, "when": when, "entry": entry}
    try:
        whole = {**record, "sha256": _digest(record)}
        return dict(json.loads(line(whole)))  # as it will be read: tuples are lists, keys are text
    except (TypeError, ValueError) as error:
        raise BadInput(Problem(where, "", str(error), "an entry of plain, finite data")) from None


def line(record: dict[str, Any]) -> bytes:
    """A record in the one form in which it is kept and hashed: canonical JSON, ASCII."""
    return json.dumps(record, sort_keys=True, separators=(",", ":"), allow_nan=False).encode()


def verified(where: str, lines: Iterable[bytes]) -> tuple[dict[str, Any], ...]:
    """The records of a whole chain.

    Raises
    ------
    BadInput
        A line was changed, is missing or stands out of order; the problem names it, as ``where:number``.
    """
    entries: list[dict[str, Any]] = []
    for number, one in enumerate(lines, start=1):
        record = _parsed(one)
        if (wrong := _wrong(record, entries)) or record is None:
            raise BadInput(Problem(f"{where}:{number}", "", wrong, _AS_WRITTEN))
        entries.append(record)
    return tuple(entries)


def require_held(where: str, entries: Sequence[dict[str, Any]], holds: str) -> None:
    """Refuse a chain without the entry of a hash that somebody kept; empty asks for none.

    Raises
    ------
    BadInput
    """
    if holds and holds != FIRST and all(record["sha256"] != holds for record in entries):
        given = f"the entry with hash {holds[:12]} is missing: {len(entries)} are left"
        raise BadInput(Problem(f"{where}:{len(entries) + 1}", "", given, _AS_WRITTEN))


def torn(path: Path) -> Finding | None:
    """Whether the last line was cut off by a writer that was killed, as a caution; None where it is whole."""
    entries, _, tail = _look(path)
    if not tail:
        return None
    says = (
        f"line {len(entries) + 1} was cut off after {len(tail)} bytes: its writer was stopped before it was recorded; "
        "enter it again. The entries before it stand, and the cut piece is kept aside"
    )
    return Finding(Level.CAUTION, "record.torn", f"{path.name}:{len(entries) + 1}", says)


def _look(path: Path) -> tuple[tuple[dict[str, Any], ...], int, bytes]:
    try:
        handle = os.open(path, os.O_RDONLY)
    except FileNotFoundError:
        return (), 0, b""
    except OSError as error:
        raise BadInput(Problem(str(path), "", error.strerror or str(error), "a record that can be read")) from None
    try:
        fcntl.flock(handle, fcntl.LOCK_SH)
        return _verified(path, _content(handle))
    except OSError as error:
        raise BadInput(Problem(str(path), "", error.strerror or str(error), "a record that can be read")) from None
    finally:
        os.close(handle)


def _verified(path: Path, content: bytes) -> tuple[tuple[dict[str, Any], ...], int, bytes]:
    """The entries, how many bytes they take, and what of a torn line follows them."""
    *lines, tail = content.split(b"\n")
    entries = verified(str(path), lines)
    whole = len(content) - len(tail)
    last = _parsed(tail)
    if last is not None and not _wrong(last, entries):  # only its newline is missing
        return (*entries, last), len(content), b""
    return entries, whole, tail


def _parsed(content: bytes) -> dict[str, Any] | None:
    """A line as data, None unless it is byte for byte what `append` would have written."""
    try:
        record = json.loads(content)
        if not isinstance(record, dict) or record.keys() != _KEYS or line(record) != content:
            return None
    except (ValueError, RecursionError):
        return None
    return record


def _wrong(record: dict[str, Any] | None, before: Sequence[dict[str, Any]]) -> str:
    """What is wrong with a line after those before it, empty when nothing is."""
    if record is None:
        return "a line that is not an entry"
    if _digest(record) != record["sha256"]:
        return "an entry that was changed"
    if record["number"] != len(before) + 1:
        return f"entry {record['number']}, where entry {len(before) + 1} belongs: one is missing or out of order"
    if record["previous"] != (before[-1]["sha256"] if before else FIRST):
        return "an entry that follows another one than the one before it"
    return ""


def _digest(record: dict[str, Any]) -> str:
    return sha256_of_bytes(line({key: value for key, value in record.items() if key != "sha256"}))


def _content(handle: int) -> bytes:
    pieces = []
    os.lseek(handle, 0, os.SEEK_SET)
    while piece := os.read(handle, 1 << 20):
        pieces.append(piece)
    return b"".join(pieces)


def _ends_line(handle: int, size: int) -> bool:
    return size == 0 or os.pread(handle, 1, size - 1) == b"\n"


def _write(handle: int, whole: int, content: bytes) -> None:
    """Write at the end and sync, or take back what was written of it."""
    try:
        while content:
            content = content[os.write(handle, content) :]
        os.fsync(handle)
    except BaseException:
        with contextlib.suppress(OSError):  # the next append sets a torn line aside
            os.ftruncate(handle, whole)
            os.fsync(handle)
        raise


def _set_aside(path: Path, handle: int, whole: int, tail: bytes) -> None:
    aside = os.open(path.with_name(f"{path.name}.torn"), os.O_RDWR | os.O_CREAT | os.O_APPEND, 0o644)
    try:
        _write(aside, os.fstat(aside).st_size, tail + b"\n")
    finally:
        os.close(aside)
    sync_folder(path.parent)
    os.ftruncate(handle, whole)
    os.fsync(handle)
