"""The fault patterns as data: what each asks, what to do about it, and what it may be taken for.

Rows of ``fault_patterns.csv`` and ``confusions.csv``. Cells of several entries part them by "; ". The names of a pattern's signs
are those of its row.
"""

import functools
from dataclasses import dataclass

from gearcase.tables import load

__all__ = ["Pattern", "grows", "of_part", "pattern"]


@dataclass(frozen=True)
class Pattern:
    """One fault pattern.

    Attributes
    ----------
    name : str
    part : str
        Kind of part it is of: bearing, shaft, mesh, planetary set, motor or measurement.
    needs, supports, against : tuple of str
        Names of its signs.
    least_equipment : str
        That can show it.
    severity : str
        How its urgency follows: ``"growing"`` by maturity and growth; ``"breaking"`` stops the drive once two witnesses agree;
        ``"running"`` is a running condition, put right at the next stop; ``"measurement"`` is no fault of the drive.
    grows : str
        As `judge.forecast` knows it: spall, wear, crack, lubrication or unknown.
    advice : tuple of str
        What to do, in order, in a technician's words.
    offered : bool
        Whether it is tested by a positive case, its nearest rival and a foreign machine; only then is it claimed.
    """

    name: str
    part: str
    needs: tuple[str, ...]
    supports: tuple[str, ...]
    against: tuple[str, ...]
    least_equipment: str
    severity: str
    grows: str
    advice: tuple[str, ...]
    offered: bool


def grows(name: str) -> str:
    """How a fault grows, by the name its verdict has; what no row knows, nobody knows.

    >>> grows("tooth crack or chip"), grows("something new")
    ('crack', 'unknown')
    """
    return _by_name()[name].grows if name in _by_name() else "unknown"


def pattern(name: str) -> Pattern:
    """The pattern of a name.

    Raises
    ------
    KeyError
        No row has it.

    Examples
    --------
    >>> pattern("tooth crack or chip").needs[0]
    'once-a-turn impulse in the synchronous average'
    """
    return _by_name()[name]


def of_part(kind: str) -> tuple[Pattern, ...]:
    """All patterns of a kind of part."""
    return tuple(one for one in _by_name().values() if one.part == kind)


@functools.cache
def _by_name() -> dict[str, Pattern]:
    return {
        row["pattern"]: Pattern(
            row["pattern"],
            row["part"],
            _entries(row["needs"]),
            _entries(row["supports"]),
            _entries(row["against"]),
            row["least_equipment"],
            row["severity"],
            row["grows"],
            _entries(row["advice"]),
            row["offered"] == "yes",
        )
        for row in load("fault_patterns")
    }


def _entries(cell: str) -> tuple[str, ...]:
    return tuple(filter(None, cell.split("; ")))
