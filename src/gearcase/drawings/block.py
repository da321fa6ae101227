"""A report is a list of blocks, which PDF and web page both lay out: headings, text, tables, figures and notes in plain words.

Model: `Block`, `Report`. Shared by every stage's blocks: `finding_blocks`, `workings`, `amount`, `first_up`, `time_words`.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass, field
from typing import Any

from gearcase.units import read

__all__ = [
    "ON_EACH_PAGE",
    "Block",
    "Report",
    "amount",
    "finding_blocks",
    "first_up",
    "time_words",
    "unit_words",
    "workings",
]

_STATE_OF_LEVEL = {"blocker": "danger", "caution": "abnormal"}


ON_EACH_PAGE = ("job", "stage", "run", "date", "checksum")


@dataclass(frozen=True)
class Block:
    """One piece of a report.

    Attributes
    ----------
    kind : str
        heading, text, list, table, figure, note or break.
    text : str
        Heading or paragraph; caption of a figure; title of a note; what a screen calls a table while it is folded up.
    level : int
        Of a heading, 1 or 2.
    items : tuple of str
        Of a list; paragraphs of a note.
    head, rows : tuples
        Of a table; `wide` gives the columns' relative widths, `numbers` the columns set to the right;
        `tall` leaves room to write by hand.
    folds : bool
        Of a list or table that a page on a screen shows folded up, and of a heading with all below it; on paper all is open.
    svg, to_scale : str, bool
        Of a figure; one drawn to scale keeps its size.
    state : str
        Of a note: none, abnormal, danger or action, which also decides its rule.
    """

    kind: str
    text: str = ""
    level: int = 1
    items: tuple[str, ...] = ()
    head: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    wide: tuple[float, ...] = ()
    numbers: tuple[int, ...] = ()
    tall: bool = False
    folds: bool = False
    to_scale: bool = False
    svg: str = ""
    state: str = "none"


@dataclass(frozen=True)
class Report:
    """A report: what its cover and the title block of each page say, and its blocks."""

    title: str
    subtitle: str
    facts: tuple[tuple[str, str], ...]
    title_block: tuple[tuple[str, str], ...]
    cover_note: Block
    cover_svg: str
    blocks: tuple[Block, ...] = field(default=())

    def as_dict(self) -> dict[str, Any]:
        """Plain data for a template."""
        return asdict(self)


def finding_blocks(findings: Iterable[dict[str, Any]]) -> Iterator[Block]:
    """Findings as notes, each with its working folded up below."""
    for row in findings:
        says = first_up(f"{row['says']}.") if not row["says"].endswith((".", "!", "?")) else first_up(row["says"])
        title = f"{first_up(row['level'])}: {row['where']}" if row.get("where") else first_up(row["level"])
        yield Block("note", title, items=(says,), state=_STATE_OF_LEVEL.get(row["level"], "none"))
        if row.get("worked"):
            yield Block("list", "Working", items=tuple(workings([row["worked"]])), folds=True)


def workings(worked: Iterable[dict[str, Any]]) -> Iterator[str]:
    """Sums in sentences; those done with the same inputs and source share one."""
    alike: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for one in worked:
        alike.setdefault((_given(one), one["source"]), []).append(one)
    for (given, source), sums in alike.items():
        results = "; ".join(dict.fromkeys(f"{one['formula']} → {amount(one)}" for one in sums))
        yield f"{results}. With {given}. Source: {source}."


def _working(worked: dict[str, Any]) -> str:
    """One sum in a sentence: formula, what was put in and how it is known, what came out, the source."""
    return next(workings([worked]))


def _given(worked: dict[str, Any]) -> str:
    return "; ".join(_input(part) for part in worked["inputs"].values())


def _input(part: dict[str, Any]) -> str:
    where = f", {part['where']}" if part.get("where") else ""
    return f"{part['name']} {amount(part)} ({part['origin']}{where})"


def amount(part: dict[str, Any]) -> str:
    """A number with its spread and unit, as people read it; enough digits to do the sum again by hand."""
    return read(part["value"], part["unit"], spread=part.get("spread") or 0.0)


def unit_words(unit: str) -> str:
    """As engineers write it.

    >>> unit_words("m/s2"), unit_words("degC")
    ('m/s²', '°C')
    """
    return re.sub(r"(?<=s)2\b", "²", unit).replace("degC", "°C")


def time_words(text: str) -> str:
    """Words in which each time of ISO 8601 stands as people write it; its zone, where it has one, stays.

    Examples
    --------
    >>> time_words("entry 2, 2026-09-10T08:40"), time_words("NTP 2")
    ('entry 2, 2026-09-10 08:40', 'NTP 2')
    """
    return re.sub(r"\b(\d{4}-\d\d-\d\d)T(?=\d\d:\d\d)", r"\1 ", text)


def first_up(text: str) -> str:
    return text[:1].upper() + text[1:]
