"""Trend: where is each level going, and how long is left? From the readings that the watch keeps and the diagnoses made so far.

A series is one quantity at one point in matched state: brought to the reference of a three-month limit, else at the speed and load
of its limit, else at those the drive is run at most. A reading is the median of a day's minutes, since minutes resemble each other
too much to count as so many. A fault that was named more than once has a series of its own: how deeply it modulates, recording by
recording.

A date is given only where `judge.forecast` gives one: for wear and spalls that a diagnosis has named, in the band where they show.
All else gets "inspect by", "no trend", or what is missing. Nothing crosses an epoch; a step that nobody declared is asked about.
"""

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gearcase import tables
from gearcase.checksums import sha256_of_data
from gearcase.drive.bearing_lines import BEARING_RATES
from gearcase.errors import BadInput
from gearcase.findings import Finding, Level
from gearcase.job.build import Job
from gearcase.judge.compensation import LOAD, SPEED, LevelModel
from gearcase.judge.families import BEARING_LINES, MESH_LINES
from gearcase.judge.forecast import UNDATED, began_and_is, forecast
from gearcase.judge.limits import DAY
from gearcase.judge.operating import Operating, directions, operating_states
from gearcase.judge.patterns.catalogue import grows
from gearcase.judge.trend import LEAST_POINTS, in_epoch, trend
from gearcase.judge.warming import WarmingModel
from gearcase.record.results import StoredResult
from gearcase.record.store import Event, Readings
from gearcase.stages.minutes import BAND, BY_DIRECTION, TEMPERATURE, UNITS, Minutes, Records, date, points_read, source, wrong_units
from gearcase.stages.one_figure import one_figure_notes
from gearcase.stages.result import StageResult, calls_by_date, finding_document

__all__ = ["Ahead", "Series", "run", "told"]

MONTH = 30 * DAY
ACT_DB = 20.0  # growth of a fault's own lines from which to act; handbooks of vibration diagnosis, from memory
SEED = 1  # of the random draws: the same readings give the same interval
_UNKNOWN = "unknown"
_TOO_FEW = "not enough data"
_COUNTED = {_TOO_FEW: "too early to tell"}  # in a sentence of counts
_OF_BEARINGS = (BAND, BEARING_LINES)
# where what grows so shows, once it is named; the overall may grow by much else
_SHOWS = {"wear": (MESH_LINES,), "crack": (MESH_LINES, BAND), **dict.fromkeys(("spall", "lubrication", _UNKNOWN), _OF_BEARINGS)}
_FAR = 2e11  # beyond it nobody writes a date, and a law that never reaches the limit has none [s]
_DB = "dB"


@dataclass(frozen=True)
class Ahead:
    """What lies ahead of a level: the limit to reach and what is known of the growth.

    Attributes
    ----------
    limit : float
        In the unit of the series.
    says : str
        Which limit that is.
    kind : str
        Of `judge.forecast.DATED` or `UNDATED`.
    maturity : int
        1 to 4.
    """

    limit: float
    says: str
    kind: str
    maturity: int


@dataclass(frozen=True)
class Series:
    """One level over time in matched state.

    Attributes
    ----------
    point, quantity, unit : str
    component : str
        The part at fault where the level is that of its lines, else empty.
    matched : str
        At which speed and load, in words.
    time_s, value : ndarray, shape (n,)
    yellow : float or None
    ahead : Ahead or None
        None where no limit is in force.
    """

    point: str
    quantity: str
    unit: str
    component: str
    matched: str
    time_s: NDArray[np.float64]
    value: NDArray[np.float64]
    yellow: float | None = None
    ahead: Ahead | None = None


def run(
    job: Job,
    readings: Readings,
    events: Iterable[Event],
    *,
    baseline: StoredResult | None,
    diagnoses: Sequence[StoredResult],
) -> StageResult:
    """Trends and forecasts of all series.

    Parameters
    ----------
    job : Job
    readings : Readings
    events : iterable of Event
        Of which the epochs count.
    baseline : StoredResult or None
        Whose limits are in force; None where there is none, or an epoch has voided it.
    diagnoses : sequence of StoredResult
        Every one kept, the earliest first.

    Returns
    -------
    StageResult
        Document ``trend/1``; arrays ``series-N`` with `time_s` and `value`. `wrong` where a limit is reached or has a date.

    Raises
    ------
    BadInput
        No readings, or units that are not SI.
    """
    if problems := list(wrong_units(readings)):
        raise BadInput(problems)
    epochs = [event for event in events if event.kind == "epoch"]
    named = _named(diagnoses)
    limits = baseline.document["limits"] if baseline else []
    found = [
        *_levels(Minutes(readings), points_read(readings), limits, named, lowest_speed_hz=job.drive.speed_hz[0]),
        *_faults(diagnoses),
    ]
    rows, findings = [], []
    for number, series in enumerate(found):
        here = [event for event in epochs if event.point in ("", series.point)]
        row = {"array": f"series-{number}", **told(series, [(event.time_s, event.says) for event in here])}
        rows.append(row)
        for step in row["trend"]["steps"]:
            says = f"{_name(row)} stepped by {step['jump']:+.1f} {row['trend']['jump_unit']}: was something changed? gearcase epoch"
            findings.append(Finding(Level.CAUTION, "trend.step", series.point or "drive", f"{step['time'][:10]}: {says}"))
    findings += one_figure_notes(job.points, points_read(readings), "trend.one_figure")
    document = {
        "schema": "trend/1",
        "job": job.title,
        "statement": _statement(rows),
        "series": rows,
        "findings": [finding_document(finding) for finding in findings],
    }
    read = (*job.sources(("drive", "points")), *tables.sources("fault_patterns"), source(readings), *_earlier(baseline, diagnoses))
    arrays = {row["array"]: {"time_s": one.time_s, "value": one.value} for row, one in zip(rows, found, strict=True)}
    return StageResult("trend", document, read, arrays, wrong=calls_by_date(document))


def told(series: Series, epochs: Sequence[tuple[float, str]]) -> dict[str, Any]:
    """One series as plain data: its trend, and what can be said of the time left.

    Parameters
    ----------
    series : Series
    epochs : sequence of (float, str)
        When something was changed [s], and what.
    """
    warm = series.quantity == TEMPERATURE
    since = [time_s for time_s, _ in epochs]
    scale = 1.0 if warm else 20 / math.log(10)
    level = series.value if warm else np.log(series.value)
    found = trend(series.time_s, level, epochs=since, seed=SEED)
    slopes = {
        name: None if one is None else scale * MONTH * one
        for name, one in (("slope", found.slope), ("low", found.low), ("high", found.high))
    }
    ahead, left = series.ahead, None
    here = in_epoch(series.time_s, series.value, epochs=since)[1]
    if ahead is not None and len(here):
        said = forecast(
            series.time_s, series.value, limit=ahead.limit, kind=ahead.kind, maturity=ahead.maturity, epochs=since, seed=SEED
        )
        left = {
            "answer": said.answer,
            "says": said.says,
            "of": ahead.says,
            "kind": ahead.kind,
            "maturity": ahead.maturity,
            "law": said.law,
            "look": said.look,
            **{
                name: None if time_s is None or time_s > _FAR else date(time_s)
                for name, time_s in (
                    ("inspect_by", said.inspect_by_s),
                    ("earliest", said.earliest_s),
                    ("middle", said.middle_s),
                    ("latest", said.latest_s),
                )
            },
        }
    return {
        "point": series.point,
        "quantity": series.quantity,
        "component": series.component,
        "unit": series.unit,
        "matched": series.matched,
        "readings": len(series.value),
        "in_epoch": len(here),
        "since": date(series.time_s[0]) if len(series.time_s) else None,
        "until": date(series.time_s[-1]) if len(series.time_s) else None,
        "latest": began_and_is(here)[1] if len(here) else None,
        "epochs": [{"time": date(time_s), "says": says} for time_s, says in epochs],
        "yellow": series.yellow,
        "danger": ahead.limit if ahead else None,
        "trend": {
            "answer": found.answer,
            "says": found.says,
            "slope_unit": "K/month" if warm else "dB/month",
            **slopes,
            "since": None if found.since_s is None else date(found.since_s),
            "points": found.points,
            "more": found.more,
            "enough_by": None if found.until_s is None else date(found.until_s),
            "jump_unit": "K" if warm else _DB,
            "steps": [{"time": date(step.time_s), "jump": scale * step.jump} for step in found.steps],
        },
        "forecast": left,
    }


def _levels(
    minutes: Minutes,
    points: Iterable[str],
    limits: Sequence[Mapping[str, Any]],
    named: Mapping[tuple[str, str], tuple[str, int]],
    *,
    lowest_speed_hz: float,
) -> Iterator[Series]:
    """What the watch reads, at each point."""
    for point in points:
        state = minutes.run_state(point, lowest_speed_hz=lowest_speed_hz)
        for part in minutes.gated(point, state):
            part = part.of(part.value > 0)
            own = [row for row in limits if (row["point"], row["quantity"]) == (point, part.quantity)]
            limit, at, words = _matched(part, own, minutes)
            time_s, value = at.daily()
            kind, maturity = named.get((point, part.quantity), (_UNKNOWN, 1))
            kind = "temperature" if part.quantity == TEMPERATURE else kind
            danger = limit["danger"]["value"] if limit and limit["danger"] else None
            ahead = None if danger is None else Ahead(danger, f"danger, {limit['kind'] if limit else ''}", kind, maturity)
            yellow = limit["yellow"]["value"] if limit and limit["yellow"] else None
            yield Series(point, part.quantity, UNITS[part.quantity], "", words, time_s, value, yellow, ahead)


def _matched(part: Records, own: Sequence[Mapping[str, Any]], minutes: Minutes) -> tuple[Mapping[str, Any] | None, Records, str]:
    """The limit that the level goes towards, the records that are alike, and what alike means."""
    way, one_way = directions(part.direction if part.quantity in BY_DIRECTION else None, records=len(part))[0]
    part, own = part.of(one_way), [row for row in own if Operating.of(row["operating"]).direction in (None, way)]
    by_model = next((row for row in own if row["model"]), None)
    if part.quantity == TEMPERATURE:
        if by_model is not None:
            return by_model, minutes.brought(part, WarmingModel.of(by_model["model"])), by_model["note"]
        return (own[0] if own else None), part, "while it runs"
    if by_model is not None:
        return by_model, part.brought(LevelModel.of(by_model["model"])), by_model["note"]
    states = operating_states(part.conditions.get(SPEED), part.conditions.get(LOAD), records=len(part))
    if not states:
        return (own[0] if own else None), part, ""
    operating, belongs = replace(states[0][0], direction=way), states[0][1]
    ranked = sorted(own, key=lambda row: ("one-week", "day-one", "ceiling").index(row["kind"]))
    limit = next((row for row in ranked if Operating.of(row["operating"]).meets(operating)), None)
    return limit, part.of(belongs), operating.says or "any speed and load: neither is read"


def _recordings(diagnoses: Iterable[StoredResult]) -> Iterator[tuple[float, Mapping[str, Any]]]:
    """Every recording judged, once, with its time: its own where it has one, else when it was judged. [s]"""
    seen: set[tuple[str, ...]] = set()
    for stored in diagnoses:
        for row in stored.document["recordings"]:
            key = (row["name"], row["point"], row["channel"], row["start"])
            if key in seen:
                continue
            seen.add(key)
            try:
                when = datetime.fromisoformat(row["start"])
            except ValueError:  # empty, or what a file of an earlier version said of it
                when = datetime.fromisoformat(stored.header["when"])
            yield (when if when.tzinfo else when.replace(tzinfo=UTC)).timestamp(), row


def _named(diagnoses: Sequence[StoredResult]) -> dict[tuple[str, str], tuple[str, int]]:
    """Point and quantity -> how what was named there last grows, and its maturity; of several the most mature, of these first one
    that has no date.
    """
    latest: dict[str, tuple[float, list[Mapping[str, Any]]]] = {}
    for time_s, row in sorted(_recordings(diagnoses), key=lambda one: one[0]):
        when, verdicts = latest.get(row["point"], (time_s, []))
        latest[row["point"]] = time_s, [*(verdicts if when == time_s else ()), *row["verdicts"]]  # all channels of one moment
    found = [(point, verdict) for point, (_, verdicts) in latest.items() for verdict in verdicts]
    if diagnoses:  # what is told by several recordings together stands with none of them
        together = [row for row in diagnoses[-1].document.get("verdicts", ()) if row["fault"] not in BEARING_RATES]
        found += [(verdict["point"], verdict) for verdict in together]
    named: dict[tuple[str, str], tuple[str, int]] = {}
    for point, verdict in found:
        here = grows(verdict["fault"]), verdict["maturity"] or 1
        for quantity in _SHOWS[here[0]]:
            named[point, quantity] = max(named.get((point, quantity), here), here, key=lambda one: (one[1], one[0] in UNDATED))
    return named


def _faults(diagnoses: Sequence[StoredResult]) -> Iterator[Series]:
    """Of each fault named more than once at a point: how deeply it modulates, from recordings at one speed."""
    found: dict[tuple[str, str, str], dict[str, list[tuple[float, float, float, int]]]] = {}
    for time_s, row in _recordings(diagnoses):
        for verdict in row["verdicts"]:
            if row["speed_hz"] and verdict["modulation_depth"] and verdict["modulation_depth"] > 0:
                one = (time_s, row["speed_hz"], verdict["modulation_depth"], verdict["maturity"])
                channels = found.setdefault((row["point"], verdict["component"], verdict["fault"]), {})
                channels.setdefault(row["channel"], []).append(one)
    for (point, component, fault), channels in found.items():
        rows = max(channels.values(), key=len)  # one axis, that shows it most often: another modulates otherwise
        ordered = {row[0]: row for row in sorted(rows)}  # of two at one moment the latter
        table = np.array(list(ordered.values()))
        operating, belongs = operating_states(table[:, 1], None, records=len(table))[0]
        time_s, depth = table[belongs, 0], table[belongs, 2]
        if len(depth) < 2:
            continue
        limit = began_and_is(depth)[0] * 10 ** (ACT_DB / 20)
        kind, words = grows(fault), f"modulation of {fault.replace('_', ' ')} lines"
        ahead = Ahead(limit, f"{ACT_DB:.0f} dB over where it began", kind, int(table[belongs, 3].max()))
        yield Series(point, words, "-", component, operating.says, time_s, depth, None, ahead)


def _earlier(baseline: StoredResult | None, diagnoses: Sequence[StoredResult]) -> Iterator[dict[str, str]]:
    """What of earlier results was read; diagnoses before the latest are never made again, and named so."""
    for before, stage, stored in (
        *(("", "baseline", one) for one in (baseline,) if one),
        *(("" if one is diagnoses[-1] else "earlier ", "diagnose", one) for one in diagnoses),
    ):
        yield {"what": f"{before}{stage} {stored.number:04d}", "sha256": sha256_of_data(stored.document)}


def _name(row: Mapping[str, Any]) -> str:
    of = f" of {row['component']}" if row["component"] else ""
    return f"{row['point']}: {row['quantity']}{of}" if row["point"] else f"{row['quantity']}{of}"


def _statement(rows: Sequence[Mapping[str, Any]]) -> str:
    """The most pressing series, then how many say what."""
    if not rows:
        return "no readings in a state that is judged: let it run until warm"
    order = ("reached", "date", "not before", "inspect by")
    left = [row for row in rows if row["forecast"] and row["forecast"]["answer"] in order[:2]]
    left.sort(key=lambda row: (order.index(row["forecast"]["answer"]), row["forecast"]["earliest"] or ""))
    said = [f"{_name(row)}: {row['trend']['answer']}; {row['forecast']['says']}" for row in left[:1]]
    answers = [row["trend"]["answer"] for row in rows]
    if set(answers) == {_TOO_FEW}:
        return "; ".join([*said, _too_early(rows)])
    counts = [f"{answers.count(answer)} {_COUNTED.get(answer, answer)}" for answer in dict.fromkeys(sorted(answers))]
    return "; ".join([*said, f"of {len(rows)} levels: {', '.join(counts)}"])


def _too_early(rows: Sequence[Mapping[str, Any]]) -> str:
    """That no level has readings enough for a trend, and when the first will have."""
    have = [row["trend"]["points"] for row in rows]
    many = f"{min(have)}" if min(have) == max(have) else f"{min(have)} to {max(have)}"
    soonest = min((row["trend"]["enough_by"] for row in rows if row["trend"]["enough_by"]), default=None)
    when = f"; enough about {soonest[:10]} at the earliest" if soonest else ""
    levels = f"each of the {len(rows)} levels has" if len(rows) > 1 else "the one level has"
    return (
        f"too early for a trend: {levels} {many} of the {LEAST_POINTS} readings in matched state that it needs{when}; "
        "until then the limits watch"
    )
