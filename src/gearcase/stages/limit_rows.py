"""The limits of one quantity at one point as rows of a baseline: which rule sets them, how often they would cry wolf, what they
miss.

Which rule: `own_limits`. Before a week of runs it is the zones and fixed figures, then the drive's own records a state of speed and
load at a time, after three months a regression on the conditions.
"""

from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from math import ceil
from typing import Any

import numpy as np

from gearcase.errors import OutOfRange
from gearcase.judge.alarm import CLEAR_AFTER, RECORDS_EVERY, RULES, Persistence, Rule, Thresholds
from gearcase.judge.bootstrap import FalseAlarms, episodes_by_run, false_alarms_per_year
from gearcase.judge.compensation import LEAST_RECORDS, LOAD, SPEED, fit_level
from gearcase.judge.detection import GROWTHS_DB, detection
from gearcase.judge.limits import (
    LEAST_SETTLED_HOURS,
    THREE_MONTHS,
    Limit,
    ceiling_overall,
    ceiling_temperature,
    day_one_overall,
    day_one_temperature,
    one_week,
    one_week_overall,
    three_month,
    three_month_temperature,
)
from gearcase.judge.operating import Operating, directions, operating_states
from gearcase.judge.warming import fit_warming
from gearcase.judge.zones import Rating
from gearcase.stages.minutes import BY_DIRECTION, MINUTE, OVERALL, TEMPERATURE, UNITS, Minutes, Records, date

__all__ = ["SEED", "Setting", "TooLittle", "limit_row", "limits_of"]

YEAR_HOURS = 8766.0
SEED = 1  # of the bootstrap: the same readings give the same interval
_KNOWN = 0.9  # of the records, for a condition to be regressed on; common practice, no source
_FEEDS = 4  # of a long record, when the alarm is run over months of them


@dataclass(frozen=True)
class Setting:
    """What limits are set by, beside the records.

    Attributes
    ----------
    zone : Rating or None
    ambient_k : float or None
        [K]
    own : bool
        Whether the drive's own records are enough.
    known_defect : bool
        Accepted by an approver.
    role : str
    now : float
        Unix time. [s]
    spacing, span : float
        Between minutes, and from the first to the last. [s]
    minutes : Minutes
        All of them, as a temperature remembers what was before.
    """

    zone: Rating | None
    ambient_k: float | None
    own: bool
    known_defect: bool
    role: str
    now: float
    spacing: float
    span: float
    minutes: Minutes


@dataclass(frozen=True)
class TooLittle:
    """A state that was seen, but not for long enough to have limits."""

    operating: Operating
    hours: float
    records: int


def limits_of(part: Records, setting: Setting) -> Iterator[tuple[Limit, Records] | TooLittle]:
    """Limits of one quantity at one point, each with the records it was set by, as the alarm would see them."""
    point, quantity, zone = part.point, part.quantity, setting.zone
    stands: dict[str, Any] = {"point": point, "role": setting.role, "now": setting.now}
    if not len(part):
        if quantity == OVERALL and zone is not None:
            yield day_one_overall(zone=zone, **stands), part  # the zones ask for no record
        return
    if quantity == TEMPERATURE:
        yield from _temperature(part, setting)
    elif setting.known_defect and quantity == OVERALL and zone is not None:
        runs = len(np.unique(part.run))
        limit = one_week_overall(part.value, zone=zone, runs=runs, known_defect=True, **stands)
        yield limit if setting.own else replace(limit, kind="day-one"), part
    elif setting.own:
        ways = directions(part.direction if quantity in BY_DIRECTION else None, records=len(part))
        for way, belongs in ways:
            for one in _own(part.of(belongs), setting):
                yield _one_way(one, way)
    elif quantity == OVERALL and zone is not None:
        yield day_one_overall(zone=zone, **stands), part


def _one_way(found: tuple[Limit, Records] | TooLittle, way: float | None) -> tuple[Limit, Records] | TooLittle:
    """What holds one way only says so."""
    if way is None:
        return found
    if isinstance(found, TooLittle):
        return replace(found, operating=replace(found.operating, direction=way))
    limit, part = found
    return replace(limit, operating=replace(limit.operating or Operating(None, None), direction=way)), part


def _temperature(part: Records, setting: Setting) -> Iterator[tuple[Limit, Records]]:
    """Fixed figures; after three months those of its own, the fixed ones as a ceiling beside them."""
    stands: dict[str, Any] = {"point": part.point, "role": setting.role, "now": setting.now}
    if not setting.known_defect and part.time_s[-1] - part.time_s[0] >= THREE_MONTHS:
        minutes = setting.minutes
        judged = np.isin(minutes.time_s, part.time_s)
        model = fit_warming(minutes.history(part.point), minutes.of(TEMPERATURE, part.point), judged=judged)
        if model is not None:
            yield three_month_temperature(model, **stands), minutes.brought(part, model)
            yield ceiling_temperature(ambient_k=setting.ambient_k, **stands), part
            return
    yield day_one_temperature(ambient_k=setting.ambient_k, **stands), part


def _own(part: Records, setting: Setting) -> Iterator[tuple[Limit, Records] | TooLittle]:
    """By the drive's own records, with the ceiling beside what does not hold everywhere."""
    zone = setting.zone if part.quantity == OVERALL and not setting.known_defect else None
    stands: dict[str, Any] = {"point": part.point, "role": setting.role, "now": setting.now}
    found: list[tuple[Limit, Records] | TooLittle] = [*_three_months(part, setting)] or [*_by_state(part, setting)]
    yield from found
    limits = [one[0] for one in found if not isinstance(one, TooLittle)]
    if zone is not None and not limits:
        yield day_one_overall(zone=zone, **stands), part
    elif zone is not None and any(limit.model or limit.operating != Operating(None, None) for limit in limits):
        yield ceiling_overall(zone=zone, **stands), part


def _three_months(part: Records, setting: Setting) -> Iterator[tuple[Limit, Records]]:
    if part.time_s[-1] - part.time_s[0] < THREE_MONTHS:
        return
    columns = {name: column for name, column in part.conditions.items() if np.mean(np.isfinite(column)) >= _KNOWN}
    known = part.of(np.logical_and.reduce([part.value > 0, *(np.isfinite(column) for column in columns.values())]))
    if len(known) < LEAST_RECORDS:
        return
    model = fit_level(known.value, {name: known.conditions[name] for name in columns})
    limit = three_month(
        model, point=part.point, quantity=part.quantity, unit=UNITS[part.quantity], role=setting.role, now=setting.now
    )
    yield limit, known.brought(model)


def _by_state(part: Records, setting: Setting) -> Iterator[tuple[Limit, Records] | TooLittle]:
    for operating, belongs in operating_states(part.conditions.get(SPEED), part.conditions.get(LOAD), records=len(part)):
        here = part.of(belongs)
        hours = _hours(here, setting)
        if hours < LEAST_SETTLED_HOURS or len(here) < LEAST_RECORDS:
            yield TooLittle(operating, hours, len(here))
            continue
        alike: dict[str, Any] = {
            "point": part.point,
            "runs": len(np.unique(here.run)),
            "role": setting.role,
            "now": setting.now,
            "operating": operating,
        }
        if part.quantity == OVERALL and setting.zone is not None:
            yield one_week_overall(here.value, zone=setting.zone, known_defect=False, **alike), here
        else:
            yield one_week(here.value, quantity=part.quantity, unit=UNITS[part.quantity], **alike), here


def limit_row(limit: Limit, part: Records, setting: Setting) -> dict[str, Any]:
    """A limit as plain data, with its expected false alarms and what a growth would take to be noticed."""
    return {
        "point": limit.point,
        "quantity": limit.quantity,
        "state": limit.state,
        "unit": limit.unit,
        "kind": limit.kind,
        "operating": (limit.operating or Operating(None, None)).as_dict(),
        "model": limit.model.as_dict() if limit.model else None,
        **{
            name: worked.as_dict() if worked else None
            for name, worked in (("yellow", limit.yellow), ("danger", limit.danger), ("low", limit.low))
        },
        "role": limit.role,
        "expires_s": limit.expires,
        "expires": date(limit.expires),
        "note": limit.note,
        "false_alarms_per_year": {
            name: asdict(found) if found else None
            for name in ("yellow", "danger")
            for found in [_false_alarms(limit, part, setting, name)]
        },
        "detection": _detection(limit, part, setting),
    }


def _false_alarms(limit: Limit, part: Records, setting: Setting, name: str) -> FalseAlarms | None:
    """Through the alarm's own persistence; that of danger counts minutes, a second witness is not counted on."""
    worked, rule = (limit.yellow if name == "yellow" else limit.danger), RULES[part.quantity]
    if worked is None or not len(part):
        return None
    wanted = _minute_rule(rule, name)
    recorded = _gathered(part, max(wanted.record_s, setting.spacing))
    judged = _hours(part, setting)
    each = judged / len(recorded)
    count, samples = episodes_by_run(
        recorded.value,
        recorded.run,
        limit=worked.value,
        clear_level=worked.value * rule.clear_share - rule.clear_step,
        need=wanted.need,
        of=wanted.of,
        clear_after=ceil(CLEAR_AFTER / (3600 * each)),
    )
    a_year = YEAR_HOURS * min(judged / (setting.span / 3600), 1.0)
    return false_alarms_per_year(count, samples, sample_hours=each, judged_hours_per_year=a_year, seed=SEED)


def _detection(limit: Limit, part: Records, setting: Setting) -> list[dict[str, Any]]:
    """Of levels only: so many dB over a temperature mean nothing."""
    if not len(part) or limit.quantity == TEMPERATURE or limit.yellow is None or limit.danger is None:
        return []
    fed = _gathered(part, max(RULES[part.quantity].yellow.record_s / _FEEDS, setting.spacing))
    levels = Thresholds(limit.yellow.value, max(limit.danger.value, limit.yellow.value))
    try:
        told = [
            detection(fed.time_s, fed.value, quantity=part.quantity, thresholds=levels, growth_db=growth, state=limit.state)
            for growth in GROWTHS_DB
        ]
    except OutOfRange:
        return []
    return [{**asdict(one), "says": one.says} for one in told]


def _hours(part: Records, setting: Setting) -> float:
    """How long the records speak for: a minute's mean to the next, a record's level as long as the next record may be away. [h]"""
    if RULES[part.quantity].polled:
        return len(part) * setting.spacing / 3600
    return len(_gathered(part, RECORDS_EVERY)) * RECORDS_EVERY / 3600


def _gathered(part: Records, seconds: float) -> Records:
    """Means over so long within a run [s], as the alarm gathers its records; as they are where they stand no closer."""
    if seconds <= MINUTE:
        return part
    block = np.stack([part.run, (part.time_s // seconds).astype(np.int64)])
    first, which, count = np.unique(block, axis=1, return_index=True, return_inverse=True, return_counts=True)[1:]
    which = which.ravel()
    order = np.argsort(part.time_s[first], kind="stable")
    value = (np.bincount(which, weights=part.value) / count)[order]
    return replace(part.of(np.isin(np.arange(len(part)), first)), value=value)


def _minute_rule(rule: Rule, name: str) -> Persistence:
    """The persistence on records of a minute; half a minute over danger is one such record at least."""
    wanted = rule.danger if name == "danger" else rule.yellow
    return Persistence(MINUTE, 1, 1) if 0 < wanted.record_s < MINUTE else wanted
