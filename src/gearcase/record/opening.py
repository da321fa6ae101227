"""What was found on opening, on disk: entries that are added and never edited, each holding the hash of the one before."""

from pathlib import Path
from typing import Any

from gearcase.findings import Finding
from gearcase.record import chain
from gearcase.record.results import latest

__all__ = ["entries", "keep", "torn"]

_HOME = ("results", "opened", "found.jsonl")


def keep(folder: Path, entry: dict[str, Any], *, who: str, when: str) -> dict[str, Any]:
    """Add one entry, as `stages.opened.entry` makes it.

    Raises
    ------
    BadInput
        The record is damaged or cannot be written.
    """
    return chain.append(folder.joinpath(*_HOME), entry, who=who, when=when)


def entries(folder: Path) -> tuple[dict[str, Any], ...]:
    """The job's entries, verified; those that the latest result rests on must all be there.

    Raises
    ------
    BadInput
        An entry was changed, is missing or stands out of order.
    """
    last = latest(folder, "opened")
    return chain.read(folder.joinpath(*_HOME), holds=last.document["record"]["head"] if last else "")


def torn(folder: Path) -> Finding | None:
    """A last entry that was cut off."""
    return chain.torn(folder.joinpath(*_HOME))
