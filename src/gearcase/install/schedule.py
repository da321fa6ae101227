"""Who does what when in the outage, whether it fits the window, and what must be settled before it.

Theory of operation. The machine is locked out from the start of the outage. Tasks that need it cold wait for it to cool; tasks that
need it running come after every task that needs it locked out or cold, and after the restart. That, and what must cure or soak
between two tasks, are delays between tasks; a task needs its whole crew from start to end, one person for each skill, and is not
broken off. Work on the locked-out machine lies within an outage window. Between two windows the machine runs: a later window begins
with a lock-out of its own and the machine cools again, an earlier one ends with a release, and whatever wants the machine at rest
after a task, as a bond that cures, has it inside its window.

Taken by their longest durations, tasks are begun one after another in the order of time, each as early as its crew and the tasks
before it allow, the one with the longest tail first. All orders and crews are tried that could end earlier (branch and bound; an
order by starting time that attains the least end exists for every such schedule, Sprecher, Kolisch and Drexl 1995, from memory), up
to a number of tries; the answer says whether it is proven to be the least.
"""

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from gearcase.errors import OutOfRange
from gearcase.worked import worked_by

__all__ = [
    "NOTICE_DAYS",
    "After",
    "Booking",
    "Cure",
    "LeadDate",
    "LeadItem",
    "Machine",
    "Person",
    "Schedule",
    "State",
    "Task",
    "Window",
    "cures",
    "cures_together",
    "latest_start",
    "lead_dates",
    "schedule",
    "spare_time",
]

NOTICE_DAYS = 7.0  # five working days before an outage are seven days, whatever day it falls on; trade, common practice, no source
_TRIES = 3000  # steps of the search; a count, so that every machine gives the same schedule
_FEWEST_TRIED, _MOST_TRIED = 4, 24  # tasks whose change is tried as a cure; fewer of a longer list
_TRIED_IN_FULL = 20  # tasks; of more a step costs by the square of their number, and fewer are taken
_SAME = 1e-6  # s


class State(StrEnum):
    """What a task needs of the machine."""

    LOCKED_OUT = "locked out"
    COLD = "cold"
    RUNNING = "running"
    ANY = "any"


@dataclass(frozen=True)
class After:
    """A task that must be done before, how long to wait after its end [s] and why, and the wait with a faster way, if there is
    one [s], and which way that is.
    """

    task: str
    wait: float = 0.0
    why: str = ""
    faster: float | None = None
    faster_way: str = "take the faster joint"


@dataclass(frozen=True)
class Task:
    """A task of the outage.

    Attributes
    ----------
    name : str
    shortest, longest : float
        How long it takes. [s]
    crew : tuple of str
        A skill for each person it takes, e.g. ``("fitter", "fitter")``.
    state : State
    after : tuple of After
    beforehand : bool
        Whether it can be done before the outage.
    optional : bool
        Whether it can be dropped.
    at_rest : float
        How long after its end the machine must not run yet, e.g. while a bond cures. [s]
    """

    name: str
    shortest: float
    longest: float
    crew: tuple[str, ...]
    state: State
    after: tuple[After, ...] = ()
    beforehand: bool = False
    optional: bool = False
    at_rest: float = 0.0


@dataclass(frozen=True)
class Person:
    """One of the crew, and what this person may do: fitter, licensed electrician, controls."""

    name: str
    skills: frozenset[str]


@dataclass(frozen=True)
class Window:
    """When the machine may be locked out. [s]"""

    start: float
    end: float


@dataclass(frozen=True)
class Machine:
    """How long it takes to cool once locked out, and to be running again once released; how long the lock-out takes with which a
    later window begins, and the release with which an earlier one ends. The first lock-out and the last release are tasks. [s]
    """

    cooling: float
    restart: float
    lock_out: float
    release: float


@dataclass(frozen=True)
class Booking:
    """A task in the schedule.

    Attributes
    ----------
    task : Task
    start, end : float
        By its longest duration. [s]
    crew : tuple of str
        Names, in the order of the task's skills.
    slack : float
        How much later it may end without the schedule ending later or its window closing. [s]
    waits_for : str
        What it starts after, in words; empty where it starts with the outage.
    """

    task: Task
    start: float
    end: float
    crew: tuple[str, ...]
    slack: float
    waits_for: str


@dataclass(frozen=True)
class Schedule:
    """The outage.

    Attributes
    ----------
    bookings : tuple of Booking
        In order of start.
    end, end_if_quick : float
        By the longest durations, and with the same order and crews by the shortest. [s]
    at_least : float
        No schedule ends earlier. [s]
    least : bool
        Whether `end` is proven to be the earliest.
    critical : tuple of str
        The chain of tasks that sets the end, first to last.
    fits : bool
        Whether everything ends within the last window, and work on the locked-out machine within its own.
    first : tuple of str
        What to begin with, critical tasks first.
    """

    bookings: tuple[Booking, ...]
    end: float
    end_if_quick: float
    at_least: float
    least: bool
    critical: tuple[str, ...]
    fits: bool
    first: tuple[str, ...]


@dataclass(frozen=True)
class Cure:
    """A change that ends the outage earlier: what, when it then ends [s], and whether that fits."""

    says: str
    end: float
    fits: bool


@dataclass(frozen=True)
class LeadItem:
    """What must be settled before the outage: permission, approval, part. Days it takes, who owns it, what it waits for."""

    name: str
    owner: str
    days: float
    after: tuple[str, ...] = ()
    done: bool = False


@dataclass(frozen=True)
class LeadDate:
    """A line of the go/no-go list: the latest day to ask, the day it must be there, and whether it is too late already."""

    item: LeadItem
    latest_start: float
    needed_by: float
    late: bool


@worked_by(formula="latest start = day needed - days it takes", unit="d", source="definition")
def latest_start(*, needed_by: float, days: float) -> float:
    """Latest day to ask for something. [d]

    Examples
    --------
    Network approval takes six weeks and must be there five working days before an outage on day 100:

    >>> latest_start(needed_by=100 - NOTICE_DAYS, days=42)
    51.0
    """
    return needed_by - days


@worked_by(formula="spare = end of window - end of work", unit="s", source="definition")
def spare_time(*, window_end: float, work_end: float) -> float:
    """What is left of the window; below 0 where it does not suffice. [s]

    Examples
    --------
    >>> spare_time(window_end=28800.0, work_end=27000.0)
    1800.0
    """
    return window_end - work_end


def schedule(tasks: Sequence[Task], crew: Sequence[Person], windows: Sequence[Window], machine: Machine) -> Schedule:
    """A schedule that ends as early as can be and never has a person in two places.

    Raises
    ------
    OutOfRange
        Names given twice, a task after one that is not there or after itself, a crew without a skill, durations or windows that are
        none. Work that the windows do not hold is no error: it overruns the last one.

    Examples
    --------
    >>> hour = 3600.0
    >>> bond = Task("bond pads", hour, hour, ("fitter",), State.LOCKED_OUT)
    >>> wire = Task("wire", 2 * hour, 3 * hour, ("electrician",), State.LOCKED_OUT)
    >>> prove = Task("prove", hour, hour, ("fitter",), State.RUNNING, (After("bond pads", 4 * hour, "cure"),))
    >>> crew = [Person("A", frozenset({"fitter"})), Person("B", frozenset({"electrician"}))]
    >>> found = schedule([bond, wire, prove], crew, [Window(0.0, 8 * hour)], Machine(0.0, hour / 2, 0.0, 0.0))
    >>> found.end / hour, found.critical, found.fits, found.least
    (6.0, ('bond pads', 'prove'), True, True)
    """
    return _scheduled(tasks, crew, windows, machine, share=1.0)


def _scheduled(
    tasks: Sequence[Task], crew: Sequence[Person], windows: Sequence[Window], machine: Machine, *, share: float
) -> Schedule:
    """A schedule by a share of the search: what is one of many tried may take its part of it only."""
    _check(tasks, crew, windows, machine)
    plan = _Plan(tasks, crew, sorted(windows, key=lambda window: window.start), machine)
    placed, least, at_least = _search(plan, share)
    return _described(plan, placed, least, at_least)


def cures(tasks: Sequence[Task], crew: Sequence[Person], windows: Sequence[Window], machine: Machine) -> tuple[Cure, ...]:
    """Each single change that ends the outage earlier, the best first: what to do beforehand, drop, join faster, whom to add."""
    return tuple(cure for cure, _, _ in _cured(tasks, crew, windows, machine))


def cures_together(
    tasks: Sequence[Task], crew: Sequence[Person], windows: Sequence[Window], machine: Machine, *, most: int
) -> tuple[Cure, ...]:
    """Changes one on top of the other, each time the best single one, until the work fits, none helps or so many are made; each
    with the end that it and those before it give.

    Examples
    --------
    >>> hour = 3600.0
    >>> wire = Task("wire", 4 * hour, 4 * hour, ("fitter",), State.LOCKED_OUT, beforehand=True)
    >>> paint = Task("paint", 2 * hour, 2 * hour, ("fitter",), State.LOCKED_OUT, (After("wire"),), optional=True)
    >>> both = cures_together([wire, paint], [Person("A", frozenset({"fitter"}))], [Window(0, hour)], Machine(0, 0, 0, 0), most=3)
    >>> [(cure.says, cure.end / hour, cure.fits) for cure in both]
    [('do wire before the outage', 2.0, False), ('drop paint', 0.0, True)]
    """
    made: list[Cure] = []
    while len(made) < most and not (made and made[-1].fits):
        best = next(iter(_cured(tasks, crew, windows, machine)), None)
        if best is None:
            break
        cure, tasks, crew = best
        made.append(cure)
    return tuple(made)


def _cured(
    tasks: Sequence[Task], crew: Sequence[Person], windows: Sequence[Window], machine: Machine
) -> list[tuple[Cure, Sequence[Task], Sequence[Person]]]:
    """Each single change that helps, the best first, with the tasks and crew after it."""
    now = schedule(tasks, crew, windows, machine)
    tried: list[tuple[str, Sequence[Task], Sequence[Person]]] = []
    joints: dict[str, tuple[After, str]] = {}  # each that could be faster, with the first task that waits for it
    worth = _worth_trying(tasks, now.critical)
    for task in tasks:
        if task.beforehand and task.name in worth:
            tried.append((f"do {task.name} before the outage", _without(tasks, task, done=True), crew))
        if task.optional and task.name in worth:
            tried.append((f"drop {task.name}", _without(tasks, task, done=False), crew))
        for before in task.after:
            if before.faster is not None and before.faster < before.wait and before.task in worth:
                joints.setdefault(before.task, (before, task.name))
    for joint, (before, waiting) in joints.items():
        what = f"{before.faster_way} in {joint}: {(before.faster or 0.0) / 3600:.3g} h instead of {before.wait / 3600:.3g} h"
        tried.append((f"{what} before {waiting}", _faster(tasks, joint), crew))
    for skill in sorted({skill for task in tasks for skill in task.crew}):
        tried.append(
            (f"bring one more {skill}", tasks, [*crew, Person(f"one more {skill}, number {len(crew) + 1}", frozenset({skill}))])
        )
    found = []
    for says, fewer, people in tried:
        then = _scheduled(fewer, people, windows, machine, share=1 / len(tried))
        if then.end < now.end - _SAME or (then.fits and not now.fits):
            found.append((Cure(says, then.end, then.fits), fewer, people))
    return sorted(found, key=lambda one: (not one[0].fits, one[0].end))


def _worth_trying(tasks: Sequence[Task], chain: Sequence[str]) -> set[str]:
    """All of a few tasks; of many the longest that the end waits for: what is not on that chain rarely ends it earlier."""
    if len(tasks) <= _TRIED_IN_FULL:
        return {task.name for task in tasks}
    held = sorted((task for task in tasks if task.name in chain), key=lambda task: -task.longest)
    return {task.name for task in held[: max(_FEWEST_TRIED, _MOST_TRIED * _TRIED_IN_FULL // len(tasks))]}


def lead_dates(items: Sequence[LeadItem], *, outage_day: float, today: float) -> tuple[LeadDate, ...]:
    """The go/no-go list, soonest first: everything is there five working days before the outage, one after another where they wait.

    Parameters
    ----------
    items : sequence of LeadItem
    outage_day, today : float
        Counted from any one day. [d]

    Raises
    ------
    OutOfRange
        An item after one that is not there or after itself, days below 0.

    Examples
    --------
    >>> items = [LeadItem("site permission", "owner", 14), LeadItem("network approval", "IT", 42, ("site permission",))]
    >>> [(date.item.name, date.latest_start, date.late) for date in lead_dates(items, outage_day=100, today=40)]
    [('site permission', 37.0, True), ('network approval', 51.0, False)]
    """
    by_name = {item.name: item for item in items}
    if len(by_name) < len(items):
        raise OutOfRange("items", ", ".join(item.name for item in items), "each name once")
    for item in items:
        if not item.days >= 0:
            raise OutOfRange(f"days of {item.name}", item.days, "0 or more")
    order = _in_order({item.name: item.after for item in items})
    needed = {item.name: outage_day - NOTICE_DAYS for item in items}
    for name in reversed(order):
        begun = latest_start(needed_by=needed[name], days=by_name[name].days)
        for before in by_name[name].after:
            needed[before] = min(needed[before], begun)
    dates = []
    for item in items:
        begun = latest_start(needed_by=needed[item.name], days=item.days)
        dates.append(LeadDate(item, begun, needed[item.name], not item.done and today > begun))
    return tuple(sorted(dates, key=lambda date: (date.latest_start, date.item.name)))


Placed = tuple[int, float, tuple[int, ...]]  # task, start, persons


class _Plan:
    """The tasks with every delay between them, the machine's too."""

    def __init__(self, tasks: Sequence[Task], crew: Sequence[Person], windows: Sequence[Window], machine: Machine) -> None:
        self.tasks, self.crew, self.windows, self.machine = tasks, crew, windows, machine
        number = {task.name: n for n, task in enumerate(tasks)}
        stopped = [n for n, task in enumerate(tasks) if task.state in (State.LOCKED_OUT, State.COLD)]
        self.before: list[dict[int, tuple[float, str]]] = []
        for task in tasks:
            waits: dict[int, tuple[float, str]] = {}
            for one in task.after:
                waits[number[one.task]] = one.wait, one.why
            if task.state is State.RUNNING:
                for n in stopped:
                    if waits.get(n, (-1.0, ""))[0] < tasks[n].at_rest + machine.restart:
                        waits[n] = tasks[n].at_rest + machine.restart, "the restart"
            self.before.append(waits)
        waiting = {task.name: [tasks[n].name for n in before] for task, before in zip(tasks, self.before, strict=True)}
        self.order = [number[name] for name in _in_order(waiting)]
        self.tail = [task.longest for task in tasks]
        for n in reversed(self.order):
            for before, (wait, _) in self.before[n].items():
                self.tail[before] = max(self.tail[before], tasks[before].longest + wait + self.tail[n])
        earlier: dict[int, set[int]] = {}
        for n in self.order:
            earlier[n] = set(self.before[n]).union(*(earlier[before] for before in self.before[n]))
        several = len(stopped) > 1
        self.first = {n for n in stopped if several and all(n in earlier[other] for other in stopped if other != n)}
        self.last = {n for n in stopped if several and earlier[n].issuperset(other for other in stopped if other != n)}
        self.spans = [[self._span(n, at) for at in range(len(windows))] for n in range(len(tasks))]

    def _span(self, n: int, at: int) -> tuple[float, float]:
        """From when to when a task on the stopped machine may last in a window. [s]"""
        task, window = self.tasks[n], self.windows[at]
        locked = self.machine.lock_out if at > 0 and n not in self.first else 0.0
        released = self.machine.release if at < len(self.windows) - 1 and n not in self.last else 0.0
        cold = self.machine.cooling if task.state is State.COLD else 0.0
        return window.start + max(locked, cold), window.end - released - task.at_rest

    def opens(self, n: int, earliest: float) -> float:
        """When a task can begin, from some time on, for the machine's sake; what no window holds overruns the last one. [s]"""
        task = self.tasks[n]
        if task.state in (State.ANY, State.RUNNING):
            return earliest
        start = earliest
        for opening, closing in self.spans[n]:
            start = max(earliest, opening)
            if start + task.longest <= closing + _SAME:
                break
        return start

    def holding(self, n: int, start: float) -> float | None:
        """The latest that a task which begins then may end in its window; None where no window holds it. [s]"""
        end = start + self.tasks[n].longest
        return next((closing for opening, closing in self.spans[n] if opening - _SAME <= start and end <= closing + _SAME), None)

    def crews(self, n: int) -> Iterator[tuple[int, ...]]:
        """Who could do a task: persons for its skills, of persons with the same skills for several alike in one order only."""
        seen = set()
        able = [[p for p, person in enumerate(self.crew) if skill in person.skills] for skill in self.tasks[n].crew]
        for persons in itertools.product(*able):
            if len(set(persons)) == len(persons) and frozenset(persons) not in seen:
                seen.add(frozenset(persons))
                yield persons


def _check(tasks: Sequence[Task], crew: Sequence[Person], windows: Sequence[Window], machine: Machine) -> None:
    for what, names in (("tasks", [task.name for task in tasks]), ("crew", [person.name for person in crew])):
        if len(set(names)) < len(names):
            raise OutOfRange(what, ", ".join(names), "each name once")
    if not windows:
        raise OutOfRange("windows", "none", "at least one")
    for window in windows:
        if not window.end > window.start:
            raise OutOfRange("window", (window.start, window.end), "an end after its start")
    for name, value in vars(machine).items():
        if not value >= 0:
            raise OutOfRange(name, value, "0 s or more")
    _in_order({task.name: [one.task for one in task.after] for task in tasks})
    for task in tasks:
        if not 0 <= task.shortest <= task.longest < math.inf:
            raise OutOfRange(f"duration of {task.name}", (task.shortest, task.longest), "0 s or more, the shortest first")
        if not task.at_rest >= 0:
            raise OutOfRange(f"rest after {task.name}", task.at_rest, "0 s or more")
        for one in task.after:
            if not one.wait >= 0:
                raise OutOfRange(f"wait of {task.name} after {one.task}", one.wait, "0 s or more")
        for skill in dict.fromkeys(task.crew):
            able, needed = sum(skill in person.skills for person in crew), task.crew.count(skill)
            if able < needed:
                raise OutOfRange(f"crew of {task.name}", f"{able} {skill}", f"{needed} at once: bring one, or split the task")
    plan = _Plan(tasks, crew, sorted(windows, key=lambda window: window.start), machine)
    for n, task in enumerate(tasks):
        if next(plan.crews(n), None) is None:
            raise OutOfRange(f"crew of {task.name}", ", ".join(task.crew), "a person for each: one cannot be two of them")


def _in_order(after: Mapping[str, Sequence[str]]) -> list[str]:
    """Names, each after those it waits for."""
    for name, others in after.items():
        for other in others:
            if other not in after:
                raise OutOfRange(f"{name} after", repr(other), f"one of: {', '.join(after)}")
    order: list[str] = []
    while len(order) < len(after):
        ready = [name for name, others in after.items() if name not in order and all(other in order for other in others)]
        if not ready:
            ring = [name for name in after if name not in order]
            raise OutOfRange("order", ", ".join(ring), "no task that waits for itself; work locked out comes before work running")
        order += ready
    return order


def _search(plan: _Plan, share: float) -> tuple[list[Placed], bool, float]:
    """The best schedule found, whether it is proven to be the best, and what no schedule can undercut. [s]"""
    count = len(plan.tasks)
    crews = [list(plan.crews(n)) for n in range(count)]
    only: list[int | None] = []  # who has to be there for a task, whatever the crew
    for ways in crews:
        always = set(ways[0]).intersection(*ways)
        only.append(min(always, default=None))
    begin = plan.windows[0].start
    at_least = max(_bound(plan, {}, begin, [begin] * len(plan.crew), only), begin + _by_load(plan))
    most = int(share * (_TRIES if count <= _TRIED_IN_FULL else _TRIES * (_TRIED_IN_FULL / count) ** 2))
    skills = [tuple(sorted(person.skills)) for person in plan.crew]
    best: list[Placed] = []
    met: set[tuple[object, ...]] = set()  # where the search has been, by another order of the same work
    best_end = math.inf
    tries = 0

    def step(placed: list[Placed], ends: dict[int, float], free: list[float], now: float) -> None:
        nonlocal best, best_end, tries
        tries += 1
        if len(placed) == count:
            end = max(ends.values(), default=begin)
            if end < best_end - _SAME:
                best, best_end = list(placed), end
            return
        awaited = {before for n in range(count) if n not in ends for before in plan.before[n]}
        state = (
            frozenset(ends),
            now,
            tuple(free),
            tuple(sorted((n, ends[n]) for n in awaited & set(ends))),
            max(ends.values(), default=now),
        )
        if state in met:
            return
        met.add(state)
        choices = []
        for n in range(count):
            if n in ends or any(before not in ends for before in plan.before[n]):
                continue
            ready = max([now, *(ends[before] + wait for before, (wait, _) in plan.before[n].items())])
            seen = set()
            for persons in crews[n]:
                alike = tuple(sorted((free[p], skills[p]) for p in persons))
                start = plan.opens(n, max([ready, *(free[p] for p in persons)]))
                if alike not in seen:
                    seen.add(alike)
                    choices.append((start, -plan.tail[n], n, sum(len(skills[p]) for p in persons), persons))
        for start, _, n, _, persons in sorted(choices):
            if best and (tries > most or best_end <= at_least + _SAME):
                return
            end = start + plan.tasks[n].longest
            later = [end if p in persons else time for p, time in enumerate(free)]
            known = {**ends, n: end}
            if _bound(plan, known, start, later, only) < best_end - _SAME:
                step([*placed, (n, start, persons)], known, later, start)

    step([], {}, [begin] * len(plan.crew), begin)
    proven = tries <= most or best_end <= at_least + _SAME
    return best, proven, best_end if proven else at_least


def _bound(plan: _Plan, ends: Mapping[int, float], now: float, free: Sequence[float], only: Sequence[int | None]) -> float:
    """No way on from here ends earlier: for the longest tail, nor for what a person alone can do. [s]"""
    known = dict(ends)
    found = max(ends.values(), default=now)
    load = list(free)
    for n in plan.order:
        if n in ends:
            continue
        ready = max([now, *(known[before] + wait for before, (wait, _) in plan.before[n].items())])
        known[n] = plan.opens(n, ready) + plan.tasks[n].longest
        found = max(found, known[n] - plan.tasks[n].longest + plan.tail[n])
        person = only[n]
        if person is not None:
            load[person] = max(load[person], now) + plan.tasks[n].longest
            found = max(found, load[person])
    return found


def _by_load(plan: _Plan) -> float:
    """No crew does its work in less: what only some can do, shared out; stopped work, the restart, then running work. [s]"""
    skills = sorted({skill for task in plan.tasks for skill in task.crew})
    able = {skill: frozenset(p for p, person in enumerate(plan.crew) if skill in person.skills) for skill in skills}

    def shared(states: Sequence[State]) -> float:
        work = [(able[skill], task.longest) for task in plan.tasks if task.state in states for skill in task.crew]
        groups = {frozenset().union(*some) for number in (1, 2, 3) for some in itertools.combinations(able.values(), number)}
        return max((sum(time for who, time in work if who <= group) / len(group) for group in groups), default=0.0)

    stopped, running = shared((State.LOCKED_OUT, State.COLD)), shared((State.RUNNING,))
    restart = plan.machine.restart if stopped and running else 0.0
    return max(shared(tuple(State)), stopped + restart + running)


def _described(plan: _Plan, placed: Sequence[Placed], least: bool, at_least: float) -> Schedule:
    """Slack, critical chain and the rest, from starts and crews."""
    tasks, windows = plan.tasks, plan.windows
    start = {n: begun for n, begun, _ in placed}
    end = {n: begun + tasks[n].longest for n, begun, _ in placed}
    links: dict[int, dict[int, tuple[float, str]]] = {n: dict(plan.before[n]) for n in start}
    last: dict[int, int] = {}
    for n, _, persons in placed:
        for p in persons:
            if p in last:
                links[n].setdefault(last[p], (0.0, plan.crew[p].name))
            last[p] = n
    finish = max(end.values(), default=windows[0].start)
    latest = dict.fromkeys(start, finish)
    for n, _, _ in reversed(placed):
        if tasks[n].state in (State.LOCKED_OUT, State.COLD):
            closing = plan.holding(n, start[n])
            latest[n] = max(end[n], latest[n] if closing is None else min(latest[n], closing))
        for before, (wait, _) in links[n].items():
            latest[before] = min(latest[before], latest[n] - tasks[n].longest - wait)
    quick: dict[int, float] = {}
    for n, _, _ in placed:
        ready = max([windows[0].start, *(quick[before] + wait for before, (wait, _) in links[n].items())])
        quick[n] = plan.opens(n, ready) + tasks[n].shortest

    def setter(n: int) -> int | None:
        """The task whose end, and wait, made this one start when it does."""
        tight = [before for before, (wait, _) in links[n].items() if end[before] + wait >= start[n] - _SAME]
        return max(tight, key=lambda before: (links[n][before][0], end[before]), default=None)

    def waits_for(n: int) -> str:
        before = setter(n)
        if before is not None:
            wait, why = links[n][before]
            return f"{tasks[before].name}{f', {why}' if why else ''}{f', {wait / 3600:.3g} h' if wait else ''}"
        if start[n] <= windows[0].start + _SAME:
            return ""
        return "the machine to be cold" if tasks[n].state is State.COLD else "the next window"

    chain: list[int] = []
    at = max(end, key=lambda n: end[n], default=None)
    while at is not None:
        chain.append(at)
        at = setter(at)
    inside = all(plan.holding(n, start[n]) is not None for n in start if tasks[n].state in (State.LOCKED_OUT, State.COLD))
    bookings = tuple(
        Booking(tasks[n], begun, end[n], tuple(plan.crew[p].name for p in persons), max(0.0, latest[n] - end[n]), waits_for(n))
        for n, begun, persons in placed
    )
    begin = sorted((n for n in start if not waits_for(n)), key=lambda n: (latest[n] - end[n], -plan.tail[n]))
    return Schedule(
        bookings=bookings,
        end=finish,
        end_if_quick=max(quick.values(), default=windows[0].start),
        at_least=at_least,
        least=least,
        critical=tuple(tasks[n].name for n in reversed(chain)),
        fits=inside and finish <= windows[-1].end + _SAME,
        first=tuple(tasks[n].name for n in begin),
    )


def _faster(tasks: Sequence[Task], joint: str) -> list[Task]:
    """The tasks with one joint made the faster way: all that wait for it wait less, and the machine may run sooner."""
    found = []
    for task in tasks:
        after = tuple(
            replace(one, wait=one.faster) if one.task == joint and one.faster is not None and one.faster < one.wait else one
            for one in task.after
        )
        found.append(replace(task, after=after))
    least = max((one.wait for task in found for one in task.after if one.task == joint), default=0.0)
    return [replace(task, at_rest=min(task.at_rest, least)) if task.name == joint else task for task in found]


def _without(tasks: Sequence[Task], gone: Task, *, done: bool) -> list[Task]:
    """The other tasks. What waited for a dropped one waits for what that one waited for; for one done long before, for nothing."""
    left = []
    for task in tasks:
        if task is not gone:
            after = tuple(one for one in task.after if one.task != gone.name)
            if len(after) < len(task.after) and not done:
                after = (*after, *(one for one in gone.after if one.task not in {other.task for other in after}))
            left.append(replace(task, after=after))
    return left
