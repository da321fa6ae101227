"""Who is told what of a watched drive, and when: transitions only, each once, until somebody has seen a danger.

Theory of operation
-------------------
What stands now is a list of subjects with a level: *danger*, *abnormal* or *cannot tell*; a subject that is not in it is *over*.
What was told last of each subject is remembered, and only a difference is told. "Cannot tell", and that something is over, must
have stood for a minute: a lost frame is no message. A subject that has changed three times within an hour is gathered: nothing
more is told of it until it has held still for a quarter of an hour, then once, with the count. A danger is never gathered.

A person is told of the levels they are listed for, at once or, further down the list, when nobody has acknowledged for so long.
Who was told of something is told when it is over. A danger is told again, to all who were told, every `Rules.again` until
somebody has acknowledged it by name; what has been acknowledged, and alarms again, is told again at once. In maintenance nothing
is told; what differs afterwards is. A shelved subject is left as it was.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

__all__ = ["AGAIN", "LEVELS", "OVER", "Notice", "Recipient", "Rules", "Standing", "Told", "step"]

LEVELS = ("danger", "abnormal", "cannot tell")  # from the most to the least pressing
OVER = "over"
AGAIN = 1800.0  # s between two of one danger; this and all below: common practice, no source
_STOOD = 60.0  # s that "cannot tell" and "over" must have stood
_HOUR, _MOST_CHANGES, _QUIET = 3600.0, 3, 900.0  # [s], [-], [s]


@dataclass(frozen=True)
class Recipient:
    """Somebody to be told: of which levels, and how long after the first when nobody has acknowledged. [s]"""

    name: str
    of: frozenset[str]
    after: float = 0.0


@dataclass(frozen=True)
class Rules:
    """Who is told, and how often a danger is told again. [s]"""

    people: tuple[Recipient, ...]
    again: float = AGAIN


@dataclass(frozen=True)
class Standing:
    """What stands now of a subject: its level, what it is, how sure that is, by when to act, and whether somebody has seen it."""

    subject: str
    level: str
    says: str
    sure: str = ""
    act: str = ""
    acknowledged: bool = False


@dataclass(frozen=True)
class Told:
    """What is remembered of a subject: the level told last and to whom, when that level was first and last told, what it is now and
    since when, when it changed within the last hour [s], and whether somebody had seen it.
    """

    level: str = OVER
    to: frozenset[str] = frozenset()
    first_s: float = 0.0
    last_s: float = 0.0
    now: str = OVER
    since_s: float = 0.0
    changes: tuple[float, ...] = ()
    acknowledged: bool = False


@dataclass(frozen=True)
class Notice:
    """One message: what stands, to whom, and whether it is told again."""

    lines: tuple[Standing, ...]
    to: tuple[str, ...]
    again: bool = False
    remarks: tuple[str, ...] = field(default=())


@dataclass(frozen=True)
class _Due:
    standing: Standing
    to: frozenset[str]
    again: bool = False
    remark: str = ""


def step(
    told: Mapping[str, Told], standing: Iterable[Standing], now: float, *, rules: Rules, shelved: Iterable[str], maintenance: bool
) -> tuple[dict[str, Told], tuple[Notice, ...]]:
    """What is to be told now, and what is remembered from here on.

    Parameters
    ----------
    told : mapping
        Subject -> what is remembered of it.
    standing : iterable of Standing
        All that is not as it should be.
    now : float
        Seconds that only go on. [s]
    rules : Rules
    shelved : iterable of str
        Subjects of which nothing is told.
    maintenance : bool
        Nothing at all is told.

    Returns
    -------
    told, notices
        Lines for the same people are one notice, the most pressing first.

    Examples
    --------
    >>> rules = Rules((Recipient("shift", frozenset(LEVELS)), Recipient("lead", frozenset(["danger"]), after=600.0)))
    >>> ask = dict(rules=rules, shelved=(), maintenance=False)
    >>> hot = [Standing("sump, temperature", "danger", "over danger")]
    >>> told, notices = step({}, hot, 0.0, **ask)
    >>> [one.to for one in notices], step(told, hot, 10.0, **ask)[1]
    ([('shift',)], ())
    >>> told, notices = step(told, hot, 600.0, **ask)
    >>> [one.to for one in notices]
    [('lead',)]
    """
    listed = {one.subject: one for one in standing}
    out_of_it = set(shelved)
    after, due = dict(told), []
    for subject in dict.fromkeys([*listed, *told]):
        if subject in out_of_it:
            continue
        here = listed.get(subject, Standing(subject, OVER, "is over"))
        state = _seen(told.get(subject, Told(since_s=now)), here.level, now)
        wanted = None if maintenance else _due(state, here, now, rules)
        if wanted is not None:
            due.append(wanted)
            state = _after(state, wanted, now)
        state = replace(state, acknowledged=here.acknowledged or (maintenance and state.acknowledged))
        if state.level == OVER and state.now == OVER and not state.changes:
            after.pop(subject, None)
        else:
            after[subject] = state
    return after, _gathered(due, rules)


def _seen(state: Told, level: str, now: float) -> Told:
    """The subject as it is now."""
    changes = tuple(one for one in state.changes if now - one < _HOUR)
    if level != state.now:
        return replace(state, now=level, since_s=now, changes=(*changes, now))
    return replace(state, changes=changes)


def _due(state: Told, here: Standing, now: float, rules: Rules) -> _Due | None:
    if here.level == state.level:
        return _again(state, here, now, rules)
    stood = now - state.since_s
    if here.level in ("cannot tell", OVER) and stood < _STOOD:
        return None
    remark = ""
    if len(state.changes) > _MOST_CHANGES and here.level != "danger":
        if stood < _QUIET:
            return None
        remark = f"{here.subject}: changed {len(state.changes)} times within the hour"
    if here.level == OVER:
        return _Due(here, state.to, remark=remark)
    known = {one.name for one in rules.people if here.level in one.of}
    to = {one.name for one in rules.people if one.name in known and one.after <= 0}
    return _Due(here, frozenset(to | (state.to & known)), remark=remark)


def _again(state: Told, here: Standing, now: float, rules: Rules) -> _Due | None:
    """A danger that nobody has seen, told again; what alarms again after it was seen; and those whom it has waited long enough
    for.
    """
    if here.level == OVER or here.acknowledged:
        return None
    late = {
        one.name for one in rules.people if here.level in one.of and one.name not in state.to and now - state.first_s >= one.after
    }
    again = state.acknowledged or (here.level == "danger" and now - state.last_s >= rules.again)
    if not late and not again:
        return None
    return _Due(here, frozenset(late | (state.to if again else frozenset())), again=again)


def _after(state: Told, due: _Due, now: float) -> Told:
    level = due.standing.level
    if level == state.level:
        return replace(state, to=state.to | due.to, last_s=now if due.again else state.last_s)
    return replace(state, level=level, to=frozenset() if level == OVER else due.to, first_s=now, last_s=now)


def _gathered(due: Iterable[_Due], rules: Rules) -> tuple[Notice, ...]:
    """One notice for all that goes to the same people; what goes to nobody is left out."""
    order = [one.name for one in rules.people]
    groups: dict[tuple[tuple[str, ...], bool], list[_Due]] = {}
    for one in due:
        to = tuple(sorted(one.to, key=lambda name: order.index(name) if name in order else len(order)))
        if to:
            groups.setdefault((to, one.again), []).append(one)
    return tuple(
        Notice(
            tuple(sorted((one.standing for one in rows), key=lambda row: (*LEVELS, OVER).index(row.level))),
            to,
            again,
            tuple(one.remark for one in rows if one.remark),
        )
        for (to, again), rows in groups.items()
    )
