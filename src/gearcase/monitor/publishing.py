"""Telling the plant: after each round, every value and alarm by its name, with quality and time; and what it acknowledges.

A plant that is away, or a publisher that hangs, holds up nothing: it has its own part of the service, and each call an end.
"""

import asyncio
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from gearcase.device.publish.values import (
    LIGHT,
    RUN_STATE,
    RUN_STATES,
    Published,
    Publisher,
    Quality,
    alarm_name,
    alarm_word,
    value_name,
)
from gearcase.install.profile import LAMPS
from gearcase.job.build import Job
from gearcase.judge.alarm import CONDITIONS
from gearcase.record.store import Reading

__all__ = ["Opening", "publish", "published"]

_LONGEST = 5.0  # s on the wall for one call
_QUALITY: Mapping[str, Quality] = {"good": "good", "bad": "bad", "stale": "stale"}

# from a job, a clock and what takes who acknowledged, to a publisher; None where the job names no face
Opening = Callable[[Job, Callable[[], float], Callable[[str], None]], Publisher | None]


def published(
    readings: Iterable[Reading],
    conditions: Iterable[Mapping[str, Any]],
    named: Mapping[str, Any],
    *,
    sensors: Mapping[str, bool],
    run_state: str,
    light: str,
    light_obeys: bool,
    now: float,
) -> dict[str, Published]:
    """What the plant is told after a round.

    Parameters
    ----------
    readings : iterable of Reading
        The last of every quantity.
    conditions : iterable of mapping
        As `Alarms.conditions` gives them.
    named : mapping
        Points at which a fault is named.
    sensors : mapping
        Points whose records are judged, and whether no diagnosis of them stands.
    run_state, light : str
    light_obeys : bool
    now : float
        Unix time. [s]
    """
    values = {
        value_name(one.point, one.quantity): Published(one.value, one.unit, _QUALITY[one.quality], one.time_s) for one in readings
    }
    words = {alarm_name(*key): word for key, word in _alarm_words(conditions).items()}
    for point, untold in sensors.items():
        words[alarm_name(point, "diagnosis")] = alarm_word("yellow" if point in named else "clear", cannot_tell=untold)
    values |= {name: Published(float(word), "-", "good", now) for name, word in words.items()}
    values[RUN_STATE] = Published(float(RUN_STATES[run_state]), "-", "good", now)
    lit = float(LAMPS[light]) if light and light_obeys else None
    values[LIGHT] = Published(lit, "-", "good" if lit is not None else "bad", now)
    return values


async def publish(publisher: Publisher, values: Mapping[str, Published]) -> None:
    """Tell the plant, or give up in time.

    Raises
    ------
    TimeoutError
        The publisher hangs.
    """
    async with asyncio.timeout(_LONGEST):
        await publisher.publish(values)


def _alarm_words(conditions: Iterable[Mapping[str, Any]]) -> dict[tuple[str, str], int]:
    """One word for all limits of a quantity: the most pressing condition counts, and whether those that hold here can tell."""
    rows: dict[tuple[str, str], list[Mapping[str, Any]]] = {}
    for row in conditions:
        if row["quantity"] != "diagnosis":
            rows.setdefault((row["point"], row["quantity"]), []).append(row)
    return {
        key: alarm_word(
            min((row["condition"] for row in of_it), key=CONDITIONS.index),
            cannot_tell=all(row["cannot_tell"] for row in of_it if row["here"] or not any(other["here"] for other in of_it)),
            shelved=any(row["shelved"] for row in of_it),
        )
        for key, of_it in rows.items()
    }
