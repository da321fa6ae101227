"""What words and pages alike say of a limit: where it holds, what it would miss, how a temperature settles."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

__all__ = ["detection_words", "family_words", "limit_holds", "settling_words", "yearly_words"]

_MOST_YEARLY = 100.0  # above, an interval says only that too little was seen


def limit_holds(limit: Mapping[str, Any]) -> str:
    """At which speed and load a limit holds, and to which a reading is brought before it is held against it."""
    model = limit.get("model")
    if model is None:
        return (limit.get("operating") or {}).get("says") or "any"
    parts = [limit["note"]]
    for name, (low, high) in model["trained"].items():
        if name == "speed":
            parts.append(f"{60 * low:.0f} to {60 * high:.0f} rpm")
        elif name == "load":
            parts.append(f"load {100 * low:.0f} to {100 * high:.0f} %")
    return "; ".join(parts)


def detection_words(limit: Mapping[str, Any]) -> Iterator[str]:
    """How long a growth would go unnoticed by a limit, in one sentence; none where nobody has counted."""
    told = "; ".join(row["says"] for row in limit.get("detection", ()))
    if told:
        holds = (limit.get("operating") or {}).get("says")
        yield f"{limit['point']}, {limit['quantity']}{f' at {holds}' if holds else ''} ({limit['kind']}): {told}"


def settling_words(lag: Mapping[str, Any] | None) -> Iterator[str]:
    """How the temperature settles after a start, where runs have shown it."""
    if lag:
        yield (
            f"temperature after a start: towards {lag['end_k'] - 273.15:.0f} °C, time constant "
            f"{lag['time_constant_s'] / 60:.0f} min, settled after "
            f"{lag['settled_after_s'] / 3600:.1f} h (middle of {lag['runs']} runs)"
        )


def yearly_words(found: Mapping[str, Any] | None) -> str:
    """Expected false alarms a year with their interval, where what was watched says anything of a year."""
    if found is None:
        return "not known"
    if found["high"] > _MOST_YEARLY:
        return f"not to be told from {found['hours']:.1f} h"
    return f"{found['per_year']:.2g} ({found['low']:.2g} to {found['high']:.2g})"


def family_words(families: Iterable[Mapping[str, Any]]) -> Iterator[str]:
    """What alarms at a point, in one sentence; none where nothing is said of it."""
    told = [f"{row['quantity']} ({_short(row['lines'])})" if row["lines"] else str(row["quantity"]) for row in families]
    if told:
        yield f"alarms here: {', '.join(told)}; all else is evidence"


def _short(lines: Sequence[str]) -> str:
    """The first two, and how many more."""
    return ", ".join(lines) if len(lines) <= 3 else f"{lines[0]}, {lines[1]} and {len(lines) - 2} more"
