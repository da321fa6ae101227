"""Where levels go and how long is left: in words for a terminal, as blocks for pages and handover."""

from collections.abc import Callable, Iterator, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gearcase.drawings.block import Block, finding_blocks, first_up
from gearcase.drawings.installed import level_words
from gearcase.drawings.trend_figures import trend_figures

__all__ = ["trend_blocks", "trend_text"]

_A_MONTH = "a month"  # a column that stands only where some level has a slope


def trend_text(document: Mapping[str, Any]) -> str:
    """A trend as words: the statement, what was found, each level with its trend and what is left."""
    parts = [document["statement"], *(f"{row['level']}: {row['where']}: {row['says']}" for row in document["findings"])]
    for row in document["series"]:
        many = f"{row['readings']} reading{'' if row['readings'] == 1 else 's'}"
        parts += ["", f"{_level(row)} ({row['matched']}): {many}"]
        parts.append(f"  latest {_latest(row)}, danger {_danger(row)}; {row['trend']['says']}{_slope(row, ', ')}")
        parts += [f"  epoch {one['time'][:10]}: {one['says']}" for one in row["epochs"]]
        parts += [
            f"  step of {one['jump']:+.1f} {row['trend']['jump_unit']} on {one['time'][:10]}" for one in row["trend"]["steps"]
        ]
        parts.append(f"  {_left(row)}")
    return "\n".join(parts)


def trend_blocks(document: Mapping[str, Any], arrays: Mapping[str, Mapping[str, NDArray[np.floating]]]) -> Iterator[Block]:
    """A trend: the statement, steps nobody declared, each level drawn from the arrays beside it, a table of all, epochs."""
    yield Block("heading", "Trend and time left")
    dated = any(row["forecast"] and row["forecast"]["answer"] in ("date", "reached") for row in document["series"])
    yield Block("note", first_up(document["statement"]), state="abnormal" if dated else "none")
    yield from finding_blocks(document["findings"])
    yield from trend_figures(document, arrays)
    shown = [column for column in _COLUMNS if column[0] != _A_MONTH or any(_slope(row) for row in document["series"])]
    if document["series"]:
        head, wide, cells = zip(*shown, strict=True)
        rows = tuple(tuple(cell(row) for cell in cells) for row in document["series"])
        yield Block("table", head=head, rows=rows, wide=wide, numbers=(2,))
        yield Block(
            "text",
            "A reading is the median of a day, of a fault's own lines one recording. Dates are for wear and spalls that a "
            "diagnosis has named, and hold if they grow on as they do; cracks, lubrication and "
            "temperature get none. Falling after a rise is not recovery.",
        )
    epochs = dict.fromkeys(f"{one['time'][:10]}: {one['says']}" for row in document["series"] for one in row["epochs"])
    if epochs:
        yield Block("list", "Epochs, which no trend crosses", items=tuple(epochs))


def _level(row: Mapping[str, Any]) -> str:
    of = f" of {row['component']}" if row["component"] else ""
    return f"{row['point']}: {row['quantity']}{of}" if row["point"] else f"{row['quantity']}{of}"


def _latest(row: Mapping[str, Any]) -> str:
    return level_words(row["latest"], row["unit"])


def _danger(row: Mapping[str, Any]) -> str:
    return level_words(row["danger"], row["unit"])


def _slope(row: Mapping[str, Any], before: str = "") -> str:
    trend = row["trend"]
    if trend["slope"] is None:
        return ""
    unit = trend["slope_unit"].removesuffix("/month")
    return f"{before}{trend['slope']:+.2g} {unit} a month ({trend['low']:+.2g} to {trend['high']:+.2g})"


def _left(row: Mapping[str, Any]) -> str:
    if row["forecast"] is None:
        return (
            "no limit in force to go towards: gearcase baseline sets one, of bands after a week of runs"
            if row["danger"] is None
            else ""
        )
    says = row["forecast"]["says"].removeprefix(f"{row['trend']['says']}; ")  # said once, beside the trend
    return f"{row['forecast']['of']}: {says}"


# heading, width and words of each column
_COLUMNS: tuple[tuple[str, float, Callable[[Mapping[str, Any]], str]], ...] = (
    ("level", 2, _level),
    ("in matched state", 1.3, lambda row: str(row["matched"])),
    ("readings", 0.9, lambda row: str(row["readings"])),
    ("latest", 1.5, _latest),
    ("danger", 1.3, _danger),
    (_A_MONTH, 1.3, _slope),
    ("trend", 2.7, lambda row: str(row["trend"]["says"])),
    ("how long", 3, _left),
)
