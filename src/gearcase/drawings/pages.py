"""What a page about one stage says: `stage_statement` in one sentence, `stage_blocks` in full.

The stages gearcase has are laid out by hand; any other stage's document is laid out from its own shape: findings first, then
single values, lists as tables, keys as words. So a page is there as soon as a stage leaves a document.
"""

from collections.abc import Callable, Iterator, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gearcase.drawings.asbuilt import fit_blocks
from gearcase.drawings.block import Block, amount, finding_blocks, first_up, workings
from gearcase.drawings.diagnose_blocks import diagnose_blocks
from gearcase.drawings.installed import baseline_blocks, prove_blocks, watch_blocks
from gearcase.drawings.opened_blocks import opened_blocks
from gearcase.drawings.plan_blocks import plan_blocks
from gearcase.drawings.survey_blocks import survey_blocks
from gearcase.drawings.trend_blocks import trend_blocks

__all__ = ["stage_blocks", "stage_statement", "words"]

_SAID_ELSEWHERE = ("schema", "job", "statement", "findings")
_UNITS = {
    "_m_s2": "m/s²",
    "_mm_s": "mm/s",
    "_um": "µm",
    "_hz": "Hz",
    "_rpm": "rpm",
    "_db": "dB",
    "_mm": "mm",
    "_ms": "ms",
    "_ma": "mA",
    "_khz": "kHz",
    "_s": "s",
    "_m": "m",
    "_k": "K",
    "_c": "°C",
    "_v": "V",
    "_a": "A",
    "_g": "g",
    "_percent": "%",
}
_LAID_OUT: dict[str, Callable[[Mapping[str, Any]], Iterator[Block]]] = {
    "fit/1": fit_blocks,
    "prove/1": prove_blocks,
    "baseline/1": baseline_blocks,
    "watch/1": watch_blocks,
    "opened/1": opened_blocks,
}
_NAMES = ("name", "title", "point", "device", "where", "item", "number")  # keys a row may go by
_NOTHING: tuple[Any, ...] = (None, "", [], {})
_FOR_MACHINES = ("sha256", "previous", "head")  # hashes of a chain: in the .json, not on the page
_MOST_IN_A_CELL = 6
_DEEPEST = 4  # what lies deeper is written on one line


def stage_statement(stage: str, document: Mapping[str, Any]) -> str:
    """The stage's result in one sentence.

    Parameters
    ----------
    stage : str
    document : mapping
        As the stage left it, of whatever schema.
    """
    if isinstance(document.get("statement"), str) and document["statement"]:
        return _sentence(document["statement"])
    if document.get("schema") == "survey/1":
        return _survey_statement(document)
    blockers = sum(row.get("level") == "blocker" for row in _findings(document))
    if blockers:
        return f"Do not proceed: {_count(blockers, 'blocker')}."
    return "Nothing blocks this plan." if stage == "plan" else f"{first_up(stage)} is recorded."


def stage_blocks(
    stage: str,
    document: Mapping[str, Any],
    *,
    survey: dict[str, Any] | None = None,
    arrays: Mapping[str, Mapping[str, NDArray[np.floating]]] | None = None,
) -> tuple[Block, ...]:
    """A stage's document as blocks, without its statement, which `stage_statement` gives.

    Parameters
    ----------
    stage : str
    document : mapping
        As the stage left it.
    survey : dict, optional
        A ``survey/1`` document: the lines to name in a diagnosis' spectra; no spectra without it.
    arrays : mapping, optional
        What stands beside a diagnosis or a trend, by file name and column.
    """
    del stage  # the document's schema says how it is laid out
    known = dict(document)
    if known.get("schema") == "survey/1":
        return tuple(survey_blocks(known))
    if known.get("schema") == "plan/1":
        return tuple(plan_blocks(known))
    if known.get("schema") == "diagnose/1":
        return tuple(diagnose_blocks(known, survey=survey, arrays=arrays or {}))
    laid_out = dict(_LAID_OUT, **{"trend/1": lambda document: trend_blocks(document, arrays or {})})
    if known.get("schema") in laid_out:
        said = first_up(str(known.get("statement", "")))  # the page has said it already
        return tuple(block for block in laid_out[str(known["schema"])](known) if not (block.kind == "note" and block.text == said))
    rest = {key: value for key, value in known.items() if key not in _SAID_ELSEWHERE}
    return (*finding_blocks(_findings(known)), *_of_dict(rest, 1))


def words(key: str) -> str:
    """A document's key as a person reads it, its unit behind a comma.

    Examples
    --------
    >>> words("as_built"), words("detectable_hz"), words("overall_velocity_mm_s")
    ('as built', 'detectable, Hz', 'overall velocity, mm/s')
    """
    for end, unit in _UNITS.items():
        if key.endswith(end) and len(key) > len(end):
            return f"{key.removesuffix(end).replace('_', ' ')}, {unit}"
    return key.replace("_", " ")


def _survey_statement(survey: Mapping[str, Any]) -> str:
    grades = [row["grade"] for row in survey["coverage"]]
    stops = sum(bool(row["blocks_ordering"]) for row in survey["unknown"])
    seen = f"{grades.count('seen')} of {_count(len(grades), 'part')} can be seen, {grades.count('seen weakly')} weakly"
    return (
        f"{seen}, {grades.count('blind')} not at all; {_count(len(survey['unknown']), 'question')} still open, "
        f"{stops} of which stop ordering."
    )


def _findings(document: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Rows that speak as findings do; a list of anything else is left to the tables."""
    rows = document.get("findings")
    return [row for row in rows if _is_finding(row)] if isinstance(rows, list) else []


def _is_finding(row: Any) -> bool:
    return isinstance(row, dict) and isinstance(row.get("level"), str) and isinstance(row.get("says"), str)


def _of_dict(part: Mapping[str, Any], level: int, under: str = "") -> Iterator[Block]:
    """Single values in one table, then what has parts of its own under headings, each named with what it belongs to."""
    given = {key: value for key, value in part.items() if value not in _NOTHING and key not in _FOR_MACHINES}
    single = {key: value for key, value in given.items() if _is_single(value)}
    if single:
        if under:
            yield Block("heading", under, level=2)
        yield Block("table", head=("", ""), rows=tuple((words(key), _text(value)) for key, value in single.items()), wide=(1.2, 4))
        yield from _folded([value for value in single.values() if _is_worked(value)])
    for key, value in given.items():
        if key in single:
            continue
        name = f"{under}: {words(key)}" if under else first_up(words(key))
        if level > _DEEPEST:
            yield Block("text", f"{name}: {_text(value)}")
        elif isinstance(value, dict):
            if under:
                yield from _of_dict(value, level + 1, name)
            else:
                yield Block("heading", name)
                yield from _of_dict(value, level + 1)
        else:
            yield Block("heading", name, level=2 if under else 1)
            yield from finding_blocks(value) if all(_is_finding(row) for row in value) else _of_list(value, level + 1)


def _of_list(rows: list[Any], level: int) -> Iterator[Block]:
    """A table of what is flat in rows, a list of what is no row; then each row's own parts under its name."""
    loose = tuple(_text(row) for row in rows if not isinstance(row, dict))
    if loose:
        yield Block("list", items=loose)
    tabled = [{key: value for key, value in row.items() if key not in _FOR_MACHINES} for row in rows if isinstance(row, dict)]
    # `shown` is the same as `value` in a person's words
    tabled = [{key: value for key, value in row.items() if key != "value" or "shown" not in row} for row in tabled]
    said = dict.fromkeys(key for row in tabled for key, value in row.items() if value not in _NOTHING)
    keys = [key for key in said if all(_is_single(row.get(key)) for row in tabled)]
    if keys:
        yield Block(
            "table",
            head=tuple(words(key) for key in keys),
            rows=tuple(tuple(_text(row.get(key)) for key in keys) for row in tabled),
            wide=tuple(1.0 for _ in keys),
            numbers=tuple(n for n, key in enumerate(keys) if all(_is_number(row.get(key)) for row in tabled)),
        )
        yield from _folded([row[key] for row in tabled for key in keys if _is_worked(row.get(key))])
    for number, row in enumerate(tabled, start=1):
        name = next((str(row[key]) for key in _NAMES if row.get(key)), f"{number}")
        yield from _of_dict({key: value for key, value in row.items() if key not in keys}, level, name)


def _folded(worked: list[dict[str, Any]]) -> Iterator[Block]:
    if worked:
        yield Block("list", "Working", items=tuple(workings(worked)), folds=True)


def _is_worked(value: Any) -> bool:
    """A `Worked` as plain data."""
    return isinstance(value, dict) and {"name", "value", "unit", "formula", "source", "inputs"} <= value.keys()


def _is_single(value: Any) -> bool:
    """What fits one cell: a plain value, a worked number, a few plain values in a list or under keys."""
    if isinstance(value, list | dict) and not _is_worked(value):
        inside = value if isinstance(value, list) else [one for one in value.values() if not _is_short(one)]
        return len(value) <= _MOST_IN_A_CELL and not any(isinstance(one, dict | list) or len(str(one)) > 40 for one in inside)
    return True


def _is_short(value: Any) -> bool:
    """A list of few numbers."""
    return isinstance(value, list) and len(value) <= _MOST_IN_A_CELL and all(_is_number(one) for one in value)


def _is_number(value: Any) -> bool:
    return value is None or (isinstance(value, int | float) and not isinstance(value, bool))


def _text(value: Any) -> str:
    """A value for a cell."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.6g}"
    if _is_worked(value):
        return amount(value)
    if isinstance(value, list):
        return ", ".join(_text(one) for one in value)
    if isinstance(value, dict):
        return "; ".join(f"{words(key)} {_text(one)}" for key, one in value.items() if one not in _NOTHING)
    return str(value)


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _sentence(text: str) -> str:
    return first_up(text) if text.endswith((".", "!", "?")) else f"{first_up(text)}."
