"""The levels of a ``trend/1`` document drawn over time, each with what its forecast says."""

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gearcase.drawings.block import Block, first_up, unit_words
from gearcase.drawings.installed import SHOWN_AS
from gearcase.drawings.trend_plot import Ahead, Growth, trend_sheet
from gearcase.units import convert

__all__ = ["trend_figures"]

_MONTH = 30 * 86400.0  # in which slopes are told [s]
_FEWEST = 2  # readings that a slope is drawn through
_WORTH_DRAWING = 5  # readings: of fewer nothing is seen that the table does not say; common practice, no source
_ASKS = ("reached", "date")  # answers that are drawn with fewer

Columns = Mapping[str, NDArray[np.floating]]


def trend_figures(document: Mapping[str, Any], arrays: Mapping[str, Columns]) -> Iterator[Block]:
    """A sentence and a figure for each level of which one is worth it; `arrays` are those beside the document."""
    left_out = 0
    for row in document["series"]:
        columns = arrays.get(row["array"])
        pressing = row["forecast"] is not None and row["forecast"]["answer"] in _ASKS
        if columns is not None and columns["value"].size >= (_FEWEST if pressing else _WORTH_DRAWING):
            yield from _figure(row, columns)
        else:
            left_out += 1
    if left_out:
        levels = "1 level is" if left_out == 1 else f"{left_out} levels are"
        yield Block("text", f"{levels} not drawn: of fewer than {_WORTH_DRAWING} readings the table says all there is.")


def _figure(row: Mapping[str, Any], columns: Columns) -> Iterator[Block]:
    time_s, value = columns["time_s"], columns["value"]
    factor, offset, unit = _shown(row["unit"])
    limits = {name: row[name] * factor + offset for name in ("yellow", "danger") if row[name] is not None}
    of = f" of {row['component']}" if row["component"] else ""
    said = row["forecast"]
    sheet = trend_sheet(
        time_s,
        value * factor + offset,
        y_label=f"{row['quantity']}, {unit}",
        limits=limits,
        epochs=[(_moment(one["time"]), one["says"]) for one in row["epochs"]],
        steps=[_moment(one["time"]) for one in row["trend"]["steps"]],
        growth=_growth(row["trend"], time_s, value, factor, offset),
        ahead=None
        if said is None
        else Ahead(
            said["says"],
            limits["danger"],
            _moment(said["inspect_by"]),
            said.get("look", "inspect by"),
            *(None if said[name] is None else _moment(said[name]) for name in ("earliest", "middle", "latest")),
        ),
    )
    name = f"{row['quantity']}{of}{' at ' + row['point'] if row['point'] else ''}"
    yield Block("text", f"{first_up(name)}: {row['trend']['says']}:")
    matched = f", {row['matched']}" if row["matched"] else ""
    yield Block("figure", f"{row['readings']} readings{matched}; muted are those before an epoch or a step.", svg=sheet.svg(name))


def _shown(unit: str) -> tuple[float, float, str]:
    """Factor, offset and name of the unit in which people read an SI unit."""
    kind, shown = SHOWN_AS.get(unit, ("", unit))
    if not kind:
        return 1.0, 0.0, "ratio" if unit == "-" else unit
    zero, one = convert(0.0, shown, kind), convert(1.0, shown, kind)
    return 1 / (one - zero), -zero / (one - zero), unit_words(shown)


def _growth(
    trend: Mapping[str, Any], time_s: NDArray[np.floating], value: NDArray[np.floating], factor: float, offset: float
) -> Growth | None:
    """The trend's slope through the middle of the readings it rests on; of a level told in dB it is straight in the logarithm."""
    if trend["slope"] is None or trend["since"] is None:
        return None
    here = (time_s >= _moment(trend["since"])) & (value > 0 if trend["jump_unit"] == "dB" else True)
    if here.sum() < _FEWEST:
        return None
    scale = 20 / np.log(10) if trend["jump_unit"] == "dB" else 1.0
    middle = float(np.median(time_s[here]))
    level = np.log(value[here]) if trend["jump_unit"] == "dB" else value[here]
    slope, low, high = (trend[name] / scale / _MONTH for name in ("slope", "low", "high"))
    base = float(np.median(level - slope * (time_s[here] - middle)))
    at = np.linspace(float(time_s[here][0]), float(time_s[here][-1]), 40)
    lines = np.array([base + one * (at - middle) for one in (slope, low, high)])
    shown = (np.exp(lines) if trend["jump_unit"] == "dB" else lines) * factor + offset
    return Growth(at, shown[0], shown.min(axis=0), shown.max(axis=0))


def _moment(iso: str) -> float:
    return datetime.fromisoformat(iso).timestamp()
