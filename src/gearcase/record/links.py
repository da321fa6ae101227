"""How good each device's link was, over the years: counts of a spell a line, in a file a month."""

import json
import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from gearcase.errors import BadInput, Problem

__all__ = ["Spell", "keep", "spells"]

_FOLDER = Path("results") / "links"


@dataclass(frozen=True)
class Spell:
    """Counts of one device (`device.link_quality.LinkQuality.as_dict`) from one moment to another. Unix time. [s]"""

    device: str
    began: float
    ended: float
    counts: Mapping[str, object]


def keep(folder: Path, kept: Iterable[Spell]) -> None:
    """Add spells to the job's record; one sync for all of them.

    A line torn by a power cut costs that spell and no other: the next begins a line of its own.
    """
    rows = list(kept)
    if not rows:
        return
    path = folder / _FOLDER / f"{datetime.fromtimestamp(rows[0].ended, UTC):%Y-%m}.jsonl"
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("a+b") as stream:
        if stream.tell() and not _ends_whole(path):
            stream.write(b"\n")
        for one in rows:
            row = {"device": one.device, "began": one.began, "ended": one.ended, **one.counts}
            stream.write(json.dumps(row, allow_nan=False).encode() + b"\n")
        stream.flush()
        os.fsync(stream.fileno())


def spells(folder: Path) -> list[Spell]:
    """Every spell kept, in order of time; torn lines are passed over.

    Raises
    ------
    BadInput
        A whole line that is none of ours.
    """
    found = []
    for path in sorted((folder / _FOLDER).glob("*.jsonl")):
        for number, line in enumerate(path.read_bytes().splitlines(), start=1):
            try:
                row = json.loads(line)
            except ValueError:  # torn
                continue
            try:
                device, began, ended = str(row.pop("device")), float(row.pop("began")), float(row.pop("ended"))
            except (KeyError, TypeError, ValueError, AttributeError):
                raise BadInput(Problem(f"{path}:{number}", "", "another line", "a spell as gearcase watch keeps it")) from None
            found.append(Spell(device, began, ended, row))
    return sorted(found, key=lambda one: one.ended)


def _ends_whole(path: Path) -> bool:
    with path.open("rb") as stream:
        stream.seek(-1, 2)
        return stream.read(1) == b"\n"
