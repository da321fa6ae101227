"""What was built, as blocks for the handover."""

from collections.abc import Iterator, Mapping
from typing import Any

from gearcase.drawings.block import Block, first_up, time_words
from gearcase.drawings.text import built_rows, replaced_rows

__all__ = ["fit_blocks"]

_STATES = {"blocker": "danger", "caution": "abnormal", "note": "none"}


def fit_blocks(document: Mapping[str, Any]) -> Iterator[Block]:
    """A fit as blocks of a report."""
    yield Block("heading", "As built", level=1)
    yield Block(
        "text", f"{first_up(document['statement'])}. Entries are added, never edited; each holds the hash of the one before it."
    )
    for row in document["findings"]:
        if row["level"] != "note":
            yield Block(
                "note", f"{first_up(row['level'])}: {row['where']}", items=(first_up(row["says"]),), state=_STATES[row["level"]]
            )
    rows = [
        (part["name"], name, value, source)
        for part in (*document["points"], *document["devices"])
        for name, value, source in built_rows(part)
    ]
    if rows:
        yield Block("table", head=("where", "what", "as built", "entered"), rows=tuple(rows), wide=(3, 3, 4, 4))
    cured = [f"{row['name']}: fully cured {time_words(row['cured_at'])}" for row in document["points"] if row["cured_at"]]
    if cured:
        yield Block("list", items=tuple(cured))
    deviations = [
        (row["name"], deviation["item"], deviation["planned"], deviation["built"])
        for row in document["points"]
        for deviation in row["deviations"]
    ]
    if deviations:
        yield Block("heading", "Deviations from the plan", level=2)
        yield Block("table", head=("where", "what", "planned", "built"), rows=tuple(deviations), wide=(3, 3, 3, 3))
    replaced = [
        (part["name"], name, value, f"entry {by}")
        for part in (*document["points"], *document["devices"])
        for name, value, by in replaced_rows(part)
    ]
    if replaced:
        yield Block("heading", "Replaced entries", level=2)
        yield Block("table", head=("where", "what", "was", "replaced by"), rows=tuple(replaced), wide=(3, 3, 4, 2))
    if document["open_steps"]:
        yield Block("heading", "Open steps of the work card", level=2)
        yield Block("list", items=tuple(f"{step['number']}. {step['where']}: {step['do']}" for step in document["open_steps"]))
