"""What was found on opening: in words, as blocks for pages and handover, and as a sheet to fill in beside the open drive."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from gearcase.drawings.block import ON_EACH_PAGE, Block, Report, finding_blocks, first_up

__all__ = ["opened_blocks", "opened_sheet", "opened_text", "tally_blocks"]

_BOX = "☐"
_SHARES = (("named_right", "right"), ("fault_there", "a fault there"), ("caught", "caught"))


def opened_text(document: Mapping[str, Any]) -> str:
    """The statement, the tally of each pattern, entries, and what is still to be entered."""
    parts = [document["statement"], *(f"{row['level']}: {row['where']}: {row['says']}" for row in document["findings"])]
    parts += ["", *(row["says"] for row in document["tally"])] if document["tally"] else []
    parts += ["", *(_entry(row) for row in document["entries"])] if document["entries"] else []
    if document["open"]:
        parts += ["", "still to be entered:", *(f"  {_verdict(row)}" for row in document["open"])]
    return "\n".join(parts)


def opened_blocks(document: Mapping[str, Any]) -> Iterator[Block]:
    """The tally with its intervals, all entries, and what is still to be entered."""
    yield Block("heading", "Found on opening")
    yield Block("note", first_up(document["statement"]))
    yield from finding_blocks(document["findings"])
    yield from tally_blocks(document["tally"])
    if document["entries"]:
        yield Block("list", "Entries", items=tuple(_entry(row) for row in document["entries"]))
    if document["open"]:
        yield Block("list", "Still to be entered", items=tuple(_verdict(row) for row in document["open"]))


def tally_blocks(tally: Iterable[Mapping[str, Any]]) -> Iterator[Block]:
    """How often each pattern was right, with intervals; nothing where nothing was entered."""
    rows = tuple(
        (
            _words(row["pattern"]),
            *(str(row[name]) for name in ("confirmed", "other", "nothing", "not_inspected", "missed")),
            *(_share(row[name]) for name, _ in _SHARES),
        )
        for row in tally
    )
    if rows:
        head = ("pattern", "confirmed", "other", "nothing", "not inspected", "missed", *(words for _, words in _SHARES))
        yield Block("heading", "How often each pattern was right", level=2)
        yield Block("table", head=head, rows=rows, wide=(1.5, 0.9, 0.7, 0.8, 0.9, 0.7, 1.7, 1.7, 1.7), numbers=(1, 2, 3, 4, 5))
        yield Block(
            "text",
            "Shares of those inspected, caught of all times it was found, with 90 % intervals (Clopper and Pearson). Not inspected "
            "never counts against a verdict.",
        )


def opened_sheet(document: Mapping[str, Any], facts: tuple[tuple[str, str], ...]) -> Report:
    """A sheet to fill in by hand: a row for each verdict that nobody has entered, and rows for what none had named.

    Parameters
    ----------
    document : mapping
        An ``opened/1`` document.
    facts : tuple of (str, str)
        Of the title block.
    """
    boxes = f"{_BOX} confirmed  {_BOX} other: ____________  {_BOX} nothing  {_BOX} not inspected"
    rows = tuple((_verdict(row), boxes, "") for row in document["open"])
    rows += (("no verdict: part ____________", "fault found: ____________", ""),) * 2
    blocks = (
        Block(
            "text",
            "Isolate and lock out first. Look before anything is cleaned or thrown away, and photograph each part with a rule in "
            "view. Tick one box a row. “Nothing” means that the part was looked at and is sound; what was not looked at is “not "
            "inspected”.",
        ),
        Block("table", head=("verdict", "found", "photo"), rows=rows, wide=(3, 4.4, 1), tall=True),
        Block("text", "Opened on ____________   by ______________________   drive locked out by ______________________"),
        Block("text", 'Then: gearcase opened JOB --component PART --fault PATTERN --found "confirmed" --on DATE --by NAME'),
    )
    return Report(
        title=document["job"],
        subtitle="Found on opening",
        facts=facts,
        title_block=tuple(fact for fact in facts if fact[0] in ON_EACH_PAGE),
        cover_note=Block("note"),
        cover_svg="",
        blocks=blocks,
    )


def _entry(row: Mapping[str, Any]) -> str:
    called = f"{_words(row['fault'])} of {row['component']}" if row["fault"] else f"{row['component']}, which no verdict had named"
    found = f"{row['found']}: {_words(row['seen'])}" if row["seen"] else row["found"]
    more = "".join(f"; {part}" for part in (row["says"], *(f"photo {one['file']}" for one in row["photos"])) if part)
    mended = f" (corrected by entry {row['corrected_by']})" if row["corrected_by"] else ""
    return f"entry {row['number']}, {row['on']}, {row['who']}: {called}: {found}{more}{mended}"


def _verdict(row: Mapping[str, Any]) -> str:
    at = f" at {row['point']}" if row["point"] else ""
    return f"{_words(row['fault'])} fault of {row['component']}, named in {row['recording']}{at} (diagnose {row['diagnose']:04d})"


def _share(found: Mapping[str, Any]) -> str:
    if not found["of"]:
        return "0 of 0"
    return f"{found['hits']} of {found['of']} ({100 * found['low']:.0f} to {100 * found['high']:.0f} %)"


def _words(pattern: str) -> str:
    return pattern.replace("_", " ")
