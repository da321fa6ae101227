"""Has the level of a point changed since its first record in the same state of the drive, higher or lower?"""

from collections.abc import Sequence
from typing import Any

from gearcase.errors import OutOfRange
from gearcase.judge.changed import Level, change, level
from gearcase.judge.odds import VERIFIED_FLOOR
from gearcase.judge.patterns.observed import Observed, matched
from gearcase.signal.recording import Recording

__all__ = ["changed_rows", "level_changes"]


def level_changes(observed: Sequence[Observed]) -> list[dict[str, Any]]:
    """A row for each place and state with two records and more, given in order of time: the latest against the first.

    Records are matched as `matched` has it: a load that nobody has stated matches nothing. One that is too short, or that stands
    still for part of its time, is left out: its quality says so.
    """
    latest: dict[int, Observed] = {}
    for number, one in enumerate(observed):
        since = next((at for at, earlier in enumerate(observed[:number]) if matched(one, earlier)), None)
        if since is not None:
            latest[since] = one
    pairs = [(observed[since].recording, one.recording) for since, one in latest.items()]
    rows = []
    for first, now in pairs:
        early, late = _level(first), _level(now)
        if early is None or late is None:
            continue
        found = change(early, late, compared=len(pairs))
        rows.append(
            {
                "point": now.point,
                "recording": now.name,
                "since": first.name,
                "level_db": found.level_db,
                "noise_false_alarm": max(found.chance, VERIFIED_FLOOR),
                "changed": found.changed,
                "says": found.says,
            }
        )
    return rows


def changed_rows(rows: Sequence[dict[str, Any]]) -> list[str]:
    """What has changed, in words that ask for the cause."""
    return [
        f"{row['recording']}: its level is {row['says']}, since {row['since']} at the same speed and load: ask what was "
        "changed, and record again"
        for row in rows
        if row["changed"]
    ]


def _level(recording: Recording) -> Level | None:
    try:
        return level(recording.samples)
    except OutOfRange:
        return None
