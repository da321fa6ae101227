"""The outage of a plan in words, for a terminal and for the pages: answer, critical chain, what comes first, what to ask for."""

from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta
from typing import Any

__all__ = ["answer", "chain", "clock", "hours", "outage_words", "states_of_lead"]

_MOST_LINES = 40


def hours(seconds: float) -> str:
    """``3 h 20 min``.

    Examples
    --------
    >>> hours(12000.0), hours(2400.0), hours(7200.0)
    ('3 h 20 min', '40 min', '2 h')
    """
    whole, minutes = divmod(round(seconds / 60), 60)
    parts = (f"{whole} h" if whole else "", f"{minutes} min" if minutes or not whole else "")
    return " ".join(part for part in parts if part)


def clock(start: str, seconds: float) -> str:
    """When something is, by the clock where the job says when the first window opens, else counted from there.

    Examples
    --------
    >>> clock("2026-09-10T06:00", 4800.0), clock("2026-09-10T22:00", 10800.0), clock("", 4800.0)
    ('07:20', '01:00, day 2', '+1:20')
    """
    if "T" not in start and " " not in start:
        whole, minutes = divmod(round(seconds / 60), 60)
        return f"+{whole}:{minutes:02d}"
    opens = datetime.fromisoformat(start)
    when = opens + timedelta(seconds=round(seconds / 60) * 60)
    days = (when.date() - opens.date()).days
    return f"{when:%H:%M}{f', day {days + 1}' if days else ''}"


def answer(outage: Mapping[str, Any]) -> str:
    """Whether the work fits, in one or two sentences; empty where nothing is scheduled."""
    if "end_s" not in outage:
        return ""
    took = f"{hours(outage['end_if_quick_s'])} to {hours(outage['end_s'])}"
    if outage["fits"] is None:
        return f"The work takes {took} from the lock-out; nobody has given a window."
    sure = "" if outage["least"] else f" A better order might end it sooner, though not before {hours(outage['at_least_s'])}."
    spare = outage["spare"]["value"]
    if outage["fits"]:
        return f"Fits its window: the work takes {took}, {hours(spare)} to spare at the longest.{sure}"
    over = f", {hours(-spare)} too long" if spare < 0 else ""
    return f"Does not fit its window: the work takes {took}{over}.{sure}"


def chain(outage: Mapping[str, Any]) -> str:
    """The critical chain in one line."""
    return " → ".join(outage.get("critical", ()))


def states_of_lead(row: Mapping[str, Any]) -> str:
    """How an item of the go/no-go list stands."""
    if row["granted"]:
        return "granted"
    return "too late" if row["late"] else "open"


def outage_words(plan: Mapping[str, Any]) -> Iterator[str]:
    """Routes and outage of a ``plan/1`` document, line by line; nothing for a plan made before it had them."""
    for route in plan.get("routes") or ():
        clips = ", ".join(f"{1000 * clip['along_m']:.0f}" for clip in route["clips"])
        faces = " > ".join(dict.fromkeys(leg["face"] for leg in route["legs"])) or "an estimate"
        on = f"{route['length_m']:.2f} m on the housing ({faces})"
        yield f"cable {route['cable'] or 'missing'} to {route['device']}: {on}, clips at {clips} mm"
    outage = plan.get("outage")
    if not outage or not (outage.get("tasks") or outage.get("lead")):
        return
    yield ""
    yield f"outage{' ' + outage['start'] if outage['start'] else ''}: {answer(outage) or 'nothing is scheduled'}"
    if outage["critical"]:
        yield f"  critical: {chain(outage)}"
        yield f"  begin with: {', '.join(outage['first'])}"
    for cure in outage["cures"]:
        yield f"  to end sooner: {cure['says']}: {hours(cure['end_s'])}{', which fits' if cure['fits'] else ''}"
    tasks = (plan.get("schedule") or {}).get("tasks", ())
    for task in tasks[:_MOST_LINES]:
        who = ", ".join(task["crew"])
        when = f"{clock(outage['start'], task['start_s'])} to {clock(outage['start'], task['end_s'])}"
        yield f"  {when}  {'*' if task['critical'] else ' '} {task['name']} ({who})"
    if len(tasks) > _MOST_LINES:
        yield f"  ... and {len(tasks) - _MOST_LINES} more; --json lists all"
    if outage["lead"]:
        yield "  to be granted five working days before:"
    for row in outage["lead"]:
        by = f"ask by {row['start_by']}, there by {row['needed_by']}" if row["start_by"] else f"takes {row['days']:g} d"
        yield f"    {states_of_lead(row)}: {row['what']} ({row['owner'] or 'no owner'}): {by}"
