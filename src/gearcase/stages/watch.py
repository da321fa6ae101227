"""Watch: what did the watch see? A summary of what the store holds, made when a watch is left. Readings stay in the store."""

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from typing import Any

from gearcase.job.build import Job
from gearcase.record.store import Event
from gearcase.stages.result import StageResult

__all__ = ["EPOCHS", "run"]

EPOCHS = {
    "sensor replaced": "amplitudes at high frequency are not comparable; prove it again",
    "sensor moved": "amplitudes at high frequency are not comparable; prove it again",
    "sensor bonded again": "amplitudes at high frequency are not comparable; prove it again",
    "oil changed": "temperature and noise floor are not comparable",
    "bearing changed": "that bearing's lines may differ: both makes stay candidates",
    "overhaul": "nothing is comparable: describe the drive anew",
    "realigned": "overall velocity is not comparable",
    "coupling changed": "overall velocity is not comparable",
    "set-point changed": "levels are comparable only at the same speed and load",
}
_SHOWN = 200


def run(
    job: Job,
    conditions: Iterable[Mapping[str, Any]],
    events: Iterable[Event],
    *,
    light: str,
    rounds: int,
    duty: Mapping[str, Any],
    cannot: Iterable[str],
) -> StageResult:
    """Summarise a watch.

    Parameters
    ----------
    job : Job
    conditions : iterable of mapping
        As `monitor.watch.Watch.conditions` gives them.
    events : iterable of Event
        In order of time; the last 200 are shown, all stay in the store.
    light : str
        As it was before the watch was left.
    rounds : int
    duty : mapping
        Run minutes, and of them the judged minutes of each point; empty where there were no rounds.
    cannot : iterable of str
        What of the watch itself does not work.

    Returns
    -------
    StageResult
        Document ``watch/1``; `wrong` when a condition is not clear.
    """
    rows = [dict(row) for row in conditions]
    listed = list(events)
    wrong = [row for row in rows if row["condition"] != "clear"]
    said = "; ".join(f"{row['point']}: {row['condition']}" for row in wrong)
    statement = (
        f"abnormal: {said}" if wrong else "nothing over its limits in what was judged" if rows else "no limits: nothing judged"
    )
    troubles = list(cannot)
    minutes = [one for one in duty.get("judged_minutes", {}).values() if one] if duty else []
    judged = f"; judged {max(minutes, default=0.0):g} of {duty['run_minutes']:g} run minutes" if duty else ""
    failing = f"; of the watch itself: {'; '.join(troubles)}" if troubles else ""
    document = {
        "schema": "watch/1",
        "job": job.title,
        "statement": f"{statement}; light {light or 'not set'} when it was left, {rounds} rounds{judged}{failing}",
        "duty": dict(duty),
        "cannot": troubles,
        "light": light,
        "rounds": rounds,
        "conditions": rows,
        "events": [
            {"time": _date(one.time_s), "kind": one.kind, "point": one.point, "says": one.says, "who": one.who}
            for one in listed[-_SHOWN:]
        ],
        "events_kept": len(listed),
    }
    return StageResult("watch", document, job.sources(("drive", "points", "bus")), wrong=bool(wrong))


def _date(time_s: float) -> str:
    return datetime.fromtimestamp(time_s, UTC).isoformat(timespec="seconds")
