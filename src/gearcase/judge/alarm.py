"""The alarm of one quantity at one point: what it means, when it is raised, when it goes.

Theory of operation
-------------------
Three things are kept apart. The *condition* is what is believed of the drive: clear, yellow or danger, each of the latter
acknowledged or not. The *sight* is whether anything can be believed now: a reading that is old or bad, a run state nobody
knows, or a sensor that has come loose leaves the condition as it was, but the light is blue, since it cannot tell. The *light*
follows from both: red outranks blue (a danger is not hidden by a cut cable), blue outranks yellow and green, and green wants
a clear condition, a fresh reading and a judgement not older than `JUDGED_WITHIN`. Stopped is never judged and never normal.

One value alone raises nothing. Readings are gathered into *records* (means of a minute for overall velocity), and a level
*persists* when enough of the last records are over it; a stop, a lost link or another run starts the count again, except for
bands, whose records are rare, means of two hours: theirs must come from two runs or span six hours. A danger of overall velocity
needs a second witness beside it; without one the danger level raises yellow. A condition *clears* after thirty run minutes under
its limit less the hysteresis; danger only once somebody has acknowledged it. Acknowledging steadies the light, the condition
stays, and it alarms again when the level persists 3 dB over what it was.

`TRANSITIONS` is the whole table; what is not in it does not happen.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from gearcase.errors import OutOfRange

__all__ = [
    "CONDITIONS",
    "RAISED",
    "RECORDS_EVERY",
    "RULES",
    "TRANSITIONS",
    "AlarmEvent",
    "AlarmState",
    "Persistence",
    "Rule",
    "Sample",
    "Thresholds",
    "acknowledge",
    "cannot_tell",
    "fresh",
    "light",
    "recalled",
    "step",
]

BLUE_AFTER = 60.0  # without a good reading [s]; this and all below: common practice, no source
LONGEST_ROUNDS = BLUE_AFTER / 2  # between polls, so that a lost one leaves another within it [s]
BAD_POLLS = 3
CLEAR_AFTER = 1800.0  # run time under the clear level [s]
JUDGED_WITHIN = 1800.0  # a green light rests on a judgement no older than this [s]
RECORDS_EVERY = 2 * 3600.0  # so often a record is taken of a steady drive, for the levels of its lines [s]
LONGEST_STEP = 120.0  # a reading speaks for no longer than this [s]
_3_DB, _2_DB = 10 ** (3 / 20), 10 ** (2 / 20)

TRANSITIONS: Mapping[tuple[str, str], str] = MappingProxyType(
    {
        ("clear", "yellow persists"): "yellow",
        ("clear", "danger persists"): "danger",
        ("yellow", "danger persists"): "danger",
        ("yellow", "acknowledged"): "yellow acknowledged",
        ("yellow", "stays under"): "clear",
        ("yellow", "rises again"): "yellow",
        ("yellow acknowledged", "danger persists"): "danger",
        ("yellow acknowledged", "rises again"): "yellow",
        ("yellow acknowledged", "stays under"): "clear",
        ("danger", "acknowledged"): "danger acknowledged",
        ("danger", "rises again"): "danger",
        ("danger acknowledged", "rises again"): "danger",
        ("danger acknowledged", "stays under"): "clear",
    }
)

CONDITIONS = ("danger", "danger acknowledged", "yellow", "yellow acknowledged", "clear")  # from the most to the least pressing
RAISED = ("yellow persists", "danger persists", "rises again")  # triggers that bring or renew a condition


@dataclass(frozen=True)
class Persistence:
    """`need` of the last `of` records, each the mean of `record_s`. [s]

    `across_runs`: records are kept over stops, and must come from two runs or span `span_s`. [s]
    """

    record_s: float
    need: int
    of: int
    across_runs: bool = False
    span_s: float = 0.0


@dataclass(frozen=True)
class Rule:
    """How a quantity alarms.

    Attributes
    ----------
    yellow, danger, low : Persistence
    judged_in, danger_in : frozenset of str
        Run states in which yellow and low, and danger, are judged.
    witness : bool
        Danger needs a second witness.
    clear_share, clear_step : float
        The clear level is the limit times the share, less the step. [-], unit of the quantity
    again_share, again_step : float
        It alarms again over what it was times the share, plus the step.
    blue_after : float
        Without a good reading for so long, nothing can be told. [s]
    polled : bool
        Whether each poll reads it; a level from a record comes with the record, and that there is none is no bad poll.
    speaks_for : float
        Run time that one reading under the clear level counts for, at most. [s]
    """

    yellow: Persistence
    danger: Persistence
    low: Persistence
    judged_in: frozenset[str]
    danger_in: frozenset[str]
    witness: bool
    clear_share: float = 1.0
    clear_step: float = 0.0
    again_share: float = _3_DB
    again_step: float = 0.0
    blue_after: float = BLUE_AFTER
    polled: bool = True
    speaks_for: float = LONGEST_STEP


_STEADY, _TURNING, _ANY_RUN = (
    frozenset({"steady"}),
    frozenset({"settling", "steady"}),
    frozenset({"starting", "reversing", "settling", "steady"}),
)
_MINUTES = Persistence(60.0, 3, 4)
_FIVE_MINUTES = Persistence(60.0, 5, 5)
_TEN_MINUTES = Persistence(60.0, 10, 10)
_RARE = Persistence(RECORDS_EVERY, 3, 4, across_runs=True, span_s=6 * 3600.0)
_TEN_RECORDS = Persistence(RECORDS_EVERY, 10, 10)

_OF_RECORDS = Rule(  # three records under the clear level clear it
    _RARE,
    _RARE,
    _TEN_RECORDS,
    _STEADY,
    _STEADY,
    False,
    clear_share=1 / _2_DB,
    blue_after=3 * RECORDS_EVERY,
    polled=False,
    speaks_for=CLEAR_AFTER / 3,
)

RULES: Mapping[str, Rule] = MappingProxyType(
    {
        "overall velocity": Rule(_MINUTES, Persistence(10.0, 3, 3), _TEN_MINUTES, _STEADY, _TURNING, True, clear_share=0.9),
        # a drive that overheats never settles; and 3 dB over a temperature means nothing: 5 K
        "temperature": Rule(
            _FIVE_MINUTES, _FIVE_MINUTES, _TEN_MINUTES, _ANY_RUN, _ANY_RUN, False, clear_step=3.0, again_share=1.0, again_step=5.0
        ),
        "high-frequency acceleration": Rule(
            _RARE, _RARE, _TEN_MINUTES, _STEADY, _STEADY, False, clear_share=1 / _2_DB, blue_after=2 * 3600.0
        ),
        "shaft lines": _OF_RECORDS,
        "mesh lines": _OF_RECORDS,
        "bearing lines": _OF_RECORDS,
    }
)


@dataclass(frozen=True)
class Thresholds:
    """The numbers of a limit, in the quantity's SI unit; None where there is no such limit. [unit of the quantity]"""

    yellow: float | None
    danger: float | None
    low: float | None = None


@dataclass(frozen=True)
class Sample:
    """One poll at `time_s` [s]. `value` is None where nothing was read [unit of the quantity]; `witness`: something else than this
    reading agrees just now.
    """

    time_s: float
    value: float | None
    quality: str
    run_state: str
    witness: bool = False


@dataclass(frozen=True)
class AlarmEvent:
    """What happened at `time_s` [s], with the `value` [unit of the quantity]. `trigger` is from the table, or ``bad``,
    ``good again``, ``sensor loose or off``, ``sensor back``.
    """

    time_s: float
    trigger: str
    before: str
    after: str
    says: str
    value: float | None = None
    who: str = ""


@dataclass(frozen=True)
class _Window:
    """Records of one persistence, and the one being gathered."""

    began: float | None = None
    run: int = 0
    total: float = 0.0
    count: int = 0
    records: tuple[tuple[float, int, float], ...] = ()  # when, run, mean


@dataclass(frozen=True)
class AlarmState:
    """All that is remembered from one step to the next; times on the clock of its steps [s]. Make the first with `fresh`."""

    rule: Rule
    thresholds: Thresholds
    condition: str = "clear"
    alarmed_at: float = 0.0
    last: Sample | None = None
    last_good_s: float | None = None
    judged_s: float | None = None
    bad_polls: int = 0
    loose: bool = False
    run: int = 0
    under_s: float = 0.0
    yellow: _Window = field(default_factory=_Window)
    danger: _Window = field(default_factory=_Window)
    low: _Window = field(default_factory=_Window)


def fresh(quantity: str, thresholds: Thresholds) -> AlarmState:
    """An alarm that has seen nothing yet.

    Raises
    ------
    OutOfRange
        A quantity without a rule, a threshold that is no number, or yellow above danger.
    """
    if quantity not in RULES:
        raise OutOfRange("quantity", quantity, f"one of: {', '.join(RULES)}")
    if any(one is not None and not abs(one) < float("inf") for one in (thresholds.yellow, thresholds.danger, thresholds.low)):
        raise OutOfRange("thresholds", thresholds, "finite numbers: over anything else no reading ever is")
    if thresholds.yellow is not None and thresholds.danger is not None and thresholds.yellow > thresholds.danger:
        raise OutOfRange("thresholds", thresholds, "yellow not above danger")
    return AlarmState(RULES[quantity], thresholds)


def step(state: AlarmState, reading: Sample | None, now: float) -> tuple[AlarmState, tuple[AlarmEvent, ...]]:
    """The next state, and what happened on the way.

    Parameters
    ----------
    state : AlarmState
    reading : Sample or None
        The poll, or None when there was none: time passes all the same.
    now : float
        On the clock of the samples; one that is never set back counts best. [s]

    Raises
    ------
    OutOfRange
        A good reading without a finite value.

    Examples
    --------
    Overall velocity twice its yellow, polled every 10 s: raised by the third mean of a minute.

    >>> state, said = fresh("overall velocity", Thresholds(yellow=2e-3, danger=7e-3)), []
    >>> for second in range(0, 250, 10):
    ...     state, events = step(state, Sample(second, 4e-3, "good", "steady"), now=second)
    ...     said += [(event.time_s, event.trigger) for event in events]
    >>> said, state.condition, light(state, now=240)
    ([(180, 'yellow persists')], 'yellow', 'yellow')
    """
    if reading is None:
        return state, ()
    if reading.quality != "good":
        return _bad(state, reading, now)
    value = reading.value
    if value is None or not abs(value) < float("inf"):
        raise OutOfRange("value", value, "a good reading has a finite value")
    events: list[AlarmEvent] = []
    if state.bad_polls >= BAD_POLLS:
        events.append(_event(state, now, "good again", "readings are good again", value))
    gap = reading.time_s - state.last_good_s if state.last_good_s is not None else 0.0
    before = state.last
    state = replace(state, last=reading, last_good_s=reading.time_s, bad_polls=0)
    rule, seen = state.rule, reading.run_state
    if seen not in rule.judged_in | rule.danger_in:
        return _not_judged(state), tuple(events)
    if gap > rule.blue_after or gap < 0 or before is None or before.run_state not in rule.judged_in | rule.danger_in:
        state = replace(_not_judged(state), run=state.run + 1)
    state = _watch_low(state, reading, events, now)
    if state.loose:
        return replace(state, last=reading), tuple(events)
    if seen in rule.danger_in:
        state = replace(state, danger=_gather(state.danger, rule.danger, reading.time_s, state.run, value))
    if seen in rule.judged_in:
        state = replace(state, yellow=_gather(state.yellow, rule.yellow, reading.time_s, state.run, value), judged_s=reading.time_s)
    state = _under(state, value, min(max(gap, 0.0), rule.speaks_for))
    trigger = _trigger(state, reading.witness)
    if trigger is not None:
        state, event = _move(state, trigger, now, value)
        events.append(event)
    return state, tuple(events)


def acknowledge(state: AlarmState, *, who: str, now: float) -> tuple[AlarmState, tuple[AlarmEvent, ...]]:
    """Somebody has seen it at `now` [s]: the light steadies, the condition stays. Nothing happens where there is nothing to see.

    Raises
    ------
    OutOfRange
        Nobody's name.
    """
    if not who.strip():
        raise OutOfRange("who", who, "the name of the person who has seen the alarm")
    if (state.condition, "acknowledged") not in TRANSITIONS:
        return state, ()
    moved, event = _move(state, "acknowledged", now, None)
    return moved, (replace(event, who=who, says=f"{state.condition} acknowledged by {who}"),)


def recalled(state: AlarmState, *, trigger: str, condition: str, alarmed_at: float | None) -> AlarmState:
    """The state as an event of an earlier watch left it; `alarmed_at` None where the event did not say. [unit of the quantity]

    Raises
    ------
    OutOfRange
        A condition that no alarm has.
    """
    if condition not in CONDITIONS:
        raise OutOfRange("condition", condition, f"one of: {', '.join(CONDITIONS)}")
    loose = trigger == "sensor loose or off" or (state.loose and trigger != "sensor back")
    return replace(state, condition=condition, loose=loose, alarmed_at=state.alarmed_at if alarmed_at is None else alarmed_at)


def light(state: AlarmState, now: float) -> str:
    """``red``, ``blue``, ``yellow`` or ``green`` at `now` [s]. It flashes while the condition is not acknowledged."""
    if state.condition.startswith("danger"):
        return "red"
    if cannot_tell(state, now):
        return "blue"
    return "yellow" if state.condition.startswith("yellow") else "green"


def cannot_tell(state: AlarmState, now: float) -> str:
    """Why nothing can be said at `now` [s]; empty when something can."""
    last = state.last
    if last is None or state.last_good_s is None or now - state.last_good_s >= state.rule.blue_after:
        return f"no good reading for {state.rule.blue_after:.0f} s or more"
    if last.quality == "stale" or state.bad_polls >= BAD_POLLS:
        return "readings are stale or bad"
    if last.run_state == "unknown":
        return "run state unknown"
    if state.loose:
        return "sensor loose or off"
    if state.judged_s is None or now - state.judged_s > max(JUDGED_WITHIN, state.rule.blue_after):
        return "not judged of late"
    return ""


def _bad(state: AlarmState, reading: Sample, now: float) -> tuple[AlarmState, tuple[AlarmEvent, ...]]:
    state = replace(state, last=reading, bad_polls=state.bad_polls + 1)
    if state.bad_polls == BAD_POLLS:
        return state, (_event(state, now, "bad", f"{BAD_POLLS} polls {reading.quality}", None),)
    return state, ()


def _not_judged(state: AlarmState) -> AlarmState:
    """Counting starts again; what goes across runs stays."""
    rule = state.rule
    return replace(
        state,
        yellow=state.yellow if rule.yellow.across_runs else _Window(),
        danger=state.danger if rule.danger.across_runs else _Window(),
        low=_Window(),
    )


def _gather(window: _Window, rule: Persistence, time_s: float, run: int, value: float) -> _Window:
    """Add a reading; a record is closed by the first reading of the next."""
    began = time_s // rule.record_s
    if window.began == began:
        return replace(window, total=window.total + value, count=window.count + 1)
    records = window.records
    if window.count:
        closed = ((window.began or 0.0) * rule.record_s, window.run, window.total / window.count)
        records = (*records, closed)[-rule.of :]
    return _Window(began, run, value, 1, records)


def _persists(window: _Window, rule: Persistence, level: float) -> bool:
    over = [record for record in window.records if record[2] > level]
    if len(over) < rule.need:
        return False
    if not rule.across_runs:
        return True
    return len({record[1] for record in over}) >= 2 or over[-1][0] - over[0][0] >= rule.span_s


def _watch_low(state: AlarmState, reading: Sample, events: list[AlarmEvent], now: float) -> AlarmState:
    """Running, but hardly anything to read for ten minutes: the sensor, not the drive."""
    low, value = state.thresholds.low, reading.value
    if low is None or value is None or reading.run_state not in state.rule.judged_in:
        return state
    window = _gather(state.low, state.rule.low, reading.time_s, state.run, value)
    state = replace(state, low=window)
    if state.loose and window.records and window.records[-1][2] >= low:
        events.append(_event(state, now, "sensor back", "the sensor reads again: prove it before it is trusted", value))
        return replace(state, loose=False)
    if not state.loose and sum(record[2] < low for record in window.records) >= state.rule.low.need:
        events.append(_event(state, now, "sensor loose or off", "running, but under a third of its usual for ten minutes", value))
        return replace(state, loose=True, under_s=0.0)
    return state


def _under(state: AlarmState, value: float, lasted: float) -> AlarmState:
    """Run time spent under the clear level."""
    limit = state.thresholds.yellow if state.thresholds.yellow is not None else state.thresholds.danger
    if limit is None:
        return state
    clear = limit * state.rule.clear_share - state.rule.clear_step
    return replace(state, under_s=state.under_s + lasted if value <= clear else 0.0)


def _trigger(state: AlarmState, witness: bool) -> str | None:
    """The one thing that has come true, the worst first; None when nothing in the table has."""
    rule, limits = state.rule, state.thresholds
    over_danger = limits.danger is not None and _persists(state.danger, rule.danger, limits.danger)
    again = state.alarmed_at * rule.again_share + rule.again_step
    come_true = {
        "danger persists": over_danger and (witness or not rule.witness),
        "yellow persists": over_danger or (limits.yellow is not None and _persists(state.yellow, rule.yellow, limits.yellow)),
        "rises again": _persists(state.yellow, rule.yellow, again),
        "stays under": state.under_s >= CLEAR_AFTER,
    }
    return next((name for name, true in come_true.items() if true and (state.condition, name) in TRANSITIONS), None)


_SAYS = {
    "yellow persists": "over yellow, and it persists",
    "danger persists": "over danger (the standard's TRIP level, not wired), and it persists",
    "rises again": "grown further since it alarmed",
    "stays under": "under its limit for thirty run minutes",
    "acknowledged": "acknowledged",
}


def _move(state: AlarmState, trigger: str, now: float, value: float | None) -> tuple[AlarmState, AlarmEvent]:
    event = AlarmEvent(now, trigger, state.condition, TRANSITIONS[state.condition, trigger], _SAYS[trigger], value)
    raised = trigger in RAISED
    window = state.danger if trigger == "danger persists" else state.yellow
    height = max((record[2] for record in window.records), default=value or 0.0)
    moved = replace(state, condition=event.after, alarmed_at=height if raised else state.alarmed_at)
    if trigger == "stays under":  # what it was raised by is over: records of hours ago must not raise it again at the next poll
        moved = replace(moved, yellow=_Window(), danger=_Window())
    return (replace(moved, under_s=0.0) if raised or trigger == "stays under" else moved), event


def _event(state: AlarmState, now: float, trigger: str, says: str, value: float | None) -> AlarmEvent:
    return AlarmEvent(now, trigger, state.condition, state.condition, says, value)
