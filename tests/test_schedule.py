"""The outage schedule against integer programming written out hour by hour, and what it may never do."""

import itertools
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import scipy.optimize
from hypothesis import given, settings
from hypothesis import strategies as st

from gearcase.errors import OutOfRange
from gearcase.install.schedule import (
    NOTICE_DAYS,
    After,
    LeadItem,
    Machine,
    Person,
    Schedule,
    State,
    Task,
    Window,
    cures,
    lead_dates,
    schedule,
    spare_time,
)

HOUR = 3600.0
CREW = [
    Person("A", frozenset({"fitter"})),
    Person("B", frozenset({"fitter", "controls"})),
    Person("C", frozenset({"licensed electrician"})),
]
SKILLS = [("fitter",), ("controls",), ("licensed electrician",), ("fitter", "fitter"), ("fitter", "licensed electrician"), ()]
ONE_DAY = [Window(0.0, 40 * HOUR)]
WARM = Machine(cooling=2 * HOUR, restart=1 * HOUR, lock_out=0.0, release=0.0)
LOCKED = replace(WARM, lock_out=1 * HOUR, release=1 * HOUR)


@st.composite
def outages(draw: st.DrawFn, most: int = 6) -> list[Task]:
    tasks: list[Task] = []
    for n in range(draw(st.integers(1, most))):
        stopped = any(task.state in (State.LOCKED_OUT, State.COLD) for task in tasks)
        running = any(task.state is State.RUNNING for task in tasks)
        states = [State.ANY, State.RUNNING] if running else [State.LOCKED_OUT, State.COLD, State.ANY, State.RUNNING]
        before = draw(st.lists(st.integers(0, n - 1), max_size=2, unique=True)) if n else []
        after = tuple(After(f"t{one}", draw(st.integers(0, 3)) * HOUR, "cure") for one in before)
        hours = draw(st.integers(1, 3))
        state = draw(st.sampled_from(states)) if stopped or n < 2 else State.LOCKED_OUT if not running else State.ANY
        tasks.append(Task(f"t{n}", hours * HOUR / 2, hours * HOUR, draw(st.sampled_from(SKILLS)), state, after))
    return tasks


def delays(tasks: list[Task], machine: Machine) -> dict[tuple[int, int], float]:
    """Every wait in hours, from end to start, the machine's with them."""
    number = {task.name: n for n, task in enumerate(tasks)}
    waits = {(number[one.task], n): one.wait / HOUR for n, task in enumerate(tasks) for one in task.after}
    for (a, one), (b, other) in itertools.permutations(enumerate(tasks), 2):
        if one.state in (State.LOCKED_OUT, State.COLD) and other.state is State.RUNNING:
            waits[a, b] = max(waits.get((a, b), 0.0), (one.at_rest + machine.restart) / HOUR)
    return waits


def spans(task: Task, windows: list[Window], machine: Machine) -> list[tuple[float, float]]:
    """From when to when a task on the stopped machine may last in each window, in hours; `lock out` and `release` are tasks."""
    found = []
    for n, window in enumerate(windows):
        opens = max(
            machine.cooling if task.state is State.COLD else 0.0, machine.lock_out if n > 0 and task.name != "lock out" else 0.0
        )
        closes = task.at_rest + (machine.release if n + 1 < len(windows) and task.name != "release" else 0.0)
        found.append(((window.start + opens) / HOUR, (window.end - closes) / HOUR))
    return found


def by_integer_programming(tasks: list[Task], windows: list[Window], machine: Machine, horizon: int) -> int:
    """Earliest end in whole hours: a yes or no for each task, hour of start and crew (Pritsker, Watters and Wolfe 1969)."""
    choices = []
    for n, task in enumerate(tasks):
        length = round(task.longest / HOUR)
        able = [[p for p, person in enumerate(CREW) if skill in person.skills] for skill in task.crew]
        for persons in {frozenset(each) for each in itertools.product(*able) if len(set(each)) == len(each)}:
            for start in range(horizon - length + 1):
                held = (opens <= start and start + length <= closes for opens, closes in spans(task, windows, machine))
                if task.state in (State.ANY, State.RUNNING) or any(held):
                    choices.append((n, start, start + length, persons))
    size = len(choices) + 1  # the last is the end
    rows, low, high = [], [], []

    def limit(row: dict[int, float], least: float, most: float) -> None:
        line = np.zeros(size)
        for at, value in row.items():
            line[at] = value
        rows.append(line)
        low.append(least)
        high.append(most)

    for n in range(len(tasks)):
        mine = [(at, choice) for at, choice in enumerate(choices) if choice[0] == n]
        limit({at: 1.0 for at, _ in mine}, 1.0, 1.0)
        limit({**{at: float(choice[2]) for at, choice in mine}, size - 1: -1.0}, -np.inf, 0.0)
    for (before, then), wait in delays(tasks, machine).items():
        row = {at: float(choice[2]) for at, choice in enumerate(choices) if choice[0] == before}
        row |= {at: -float(choice[1]) for at, choice in enumerate(choices) if choice[0] == then}
        limit(row, -np.inf, -wait)
    for p, hour in itertools.product(range(len(CREW)), range(horizon)):
        limit({at: 1.0 for at, (_, start, end, persons) in enumerate(choices) if p in persons and start <= hour < end}, 0.0, 1.0)
    cost = np.zeros(size)
    cost[-1] = 1.0
    found = scipy.optimize.milp(
        cost,
        constraints=scipy.optimize.LinearConstraint(np.array(rows), low, high),
        integrality=np.ones(size),
        bounds=scipy.optimize.Bounds(0, [*[1] * len(choices), horizon]),
    )
    assert found.status == 0
    return round(found.fun)


def whole(found: Schedule, tasks: list[Task], windows: list[Window], machine: Machine) -> None:
    """What must hold of any schedule."""
    start = {booking.task.name: booking.start / HOUR for booking in found.bookings}
    end = {booking.task.name: booking.end / HOUR for booking in found.bookings}
    assert sorted(start) == sorted(task.name for task in tasks)
    for one, other in itertools.combinations(found.bookings, 2):
        if set(one.crew) & set(other.crew):
            assert one.end <= other.start + 1e-6 or other.end <= one.start + 1e-6
    for (before, then), wait in delays(tasks, machine).items():
        assert end[tasks[before].name] + wait <= start[tasks[then].name] + 1e-9
    by_name = {person.name: person for person in CREW}
    for booking in found.bookings:
        assert len(set(booking.crew)) == len(booking.task.crew)
        assert all(skill in by_name[name].skills for skill, name in zip(booking.task.crew, booking.crew, strict=True))
        if booking.task.state is State.COLD:
            assert any(booking.start >= w.start + machine.cooling - 1e-6 for w in windows)
    inside = all(
        any(opens - 1e-9 <= b.start / HOUR and b.end / HOUR <= closes + 1e-9 for opens, closes in spans(b.task, windows, machine))
        for b in found.bookings
        if b.task.state in (State.LOCKED_OUT, State.COLD)
    )
    assert found.fits == (inside and found.end <= max(w.end for w in windows) + 1e-6)


@settings(deadline=None, max_examples=100)
@given(tasks=outages(most=6))
def test_a_small_outage_ends_as_early_as_integer_programming_says_it_can(tasks: list[Task]) -> None:
    found = schedule(tasks, CREW, ONE_DAY, WARM)
    assert found.least and found.end / HOUR == pytest.approx(by_integer_programming(tasks, ONE_DAY, WARM, horizon=24))


@settings(deadline=None, max_examples=50)
@given(tasks=outages(most=6), first=st.integers(3, 6))
def test_with_two_windows_too(tasks: list[Task], first: int) -> None:
    windows = [Window(0.0, first * HOUR), Window((first + 2) * HOUR, 40 * HOUR)]
    found = schedule(tasks, CREW, windows, WARM)
    whole(found, tasks, windows, WARM)
    assert found.least and found.end / HOUR == pytest.approx(by_integer_programming(tasks, windows, WARM, horizon=30))


@settings(deadline=None, max_examples=50)
@given(
    tasks=outages(most=4),
    first=st.integers(4, 8),
    later=st.integers(5, 8),
    rests=st.lists(st.integers(0, 2), min_size=4, max_size=4),
)
def test_each_window_has_its_own_lock_out_and_release_and_what_must_rest_rests_inside_it(
    tasks: list[Task], first: int, later: int, rests: list[int]
) -> None:
    """The drive runs from one window to the next: lock-out 1 h, release 1 h, rest inside, by the integer program."""
    stopped = [task for task in tasks if task.state in (State.LOCKED_OUT, State.COLD)]
    resting = [
        replace(task, at_rest=rest * HOUR, after=(*task.after, After("lock out"))) if task in stopped else task
        for task, rest in zip(tasks, rests, strict=False)
    ]
    lock_out = Task("lock out", HOUR, HOUR, ("fitter", "licensed electrician"), State.LOCKED_OUT)
    freed = tuple(After(task.name, task.at_rest) for task in (lock_out, *resting) if task.state in (State.LOCKED_OUT, State.COLD))
    release = Task("release", HOUR, HOUR, ("fitter", "licensed electrician"), State.LOCKED_OUT, freed)
    every = [lock_out, *resting, release]
    windows = [Window(0.0, first * HOUR), Window((first + 2) * HOUR, (first + 2 + later) * HOUR), Window(30 * HOUR, 60 * HOUR)]
    found = schedule(every, CREW, windows, LOCKED)
    whole(found, every, windows, LOCKED)
    if found.least:
        assert found.end / HOUR == pytest.approx(by_integer_programming(every, windows, LOCKED, horizon=50))


def test_a_bond_that_would_cure_while_the_drive_runs_waits_for_the_next_window() -> None:
    """By hand: 2 h to cool, 1 h of bond, 4 h of cure and 1 h of release want 8 h. A window of 7 h is left unused for it."""
    lock_out = Task("lock out", HOUR, HOUR, ("fitter",), State.LOCKED_OUT)
    bond = Task("bond", HOUR, HOUR, ("fitter",), State.COLD, (After("lock out"),), at_rest=4 * HOUR)
    drill = Task("drill", HOUR, HOUR, ("fitter",), State.LOCKED_OUT, (After("lock out"),))
    release = Task("release", HOUR, HOUR, ("fitter",), State.LOCKED_OUT, (After("drill"), After("bond", 4 * HOUR)))
    windows = [Window(0.0, 7 * HOUR), Window(24 * HOUR, 34 * HOUR)]
    start = {
        one.task.name: one.start / HOUR for one in schedule([lock_out, bond, drill, release], CREW[:1], windows, LOCKED).bookings
    }
    assert start == {"lock out": 0, "drill": 1, "bond": 26, "release": 31}
    longer = [Window(0.0, 8 * HOUR), windows[1]]
    assert schedule([lock_out, bond, drill, release], CREW[:1], longer, LOCKED).end == 8 * HOUR


def test_a_faster_joint_lets_the_machine_run_sooner_and_all_that_wait_for_it_begin_sooner() -> None:
    """By hand: bond 2 to 3 h, 6 h of cure, release 9 to 10 h; cured in 1 h it is 4 to 5 h, and so fits 5 h."""
    bond = Task("bond", HOUR, HOUR, ("fitter",), State.COLD, at_rest=6 * HOUR)
    cure = After("bond", 6 * HOUR, "cure", 1 * HOUR)
    fit = Task("fit", 0.0, 0.0, ("controls",), State.LOCKED_OUT, (cure,))
    release = Task("release", HOUR, HOUR, ("fitter",), State.LOCKED_OUT, (After("fit"), cure))
    window = [Window(0.0, 5 * HOUR)]
    assert schedule([bond, fit, release], CREW, window, WARM).end == 10 * HOUR
    (best,) = cures([bond, fit, release], CREW, window, WARM)
    assert (best.says, best.end / HOUR, best.fits) == ("take the faster joint in bond: 1 h instead of 6 h before fit", 5.0, True)


@settings(deadline=None, max_examples=80)
@given(tasks=outages(most=12), hours=st.integers(2, 30))
def test_nobody_is_in_two_places_and_nothing_begins_before_what_it_waits_for(tasks: list[Task], hours: int) -> None:
    window = [Window(0.0, hours * HOUR)]
    found = schedule(tasks, CREW, window, WARM)
    whole(found, tasks, window, WARM)
    assert found.at_least <= found.end + 1e-6 and found.end_if_quick <= found.end + 1e-6


@settings(deadline=None, max_examples=50)
@given(tasks=outages(most=8))
def test_the_critical_chain_reaches_from_the_start_or_the_cold_machine_to_the_end_without_slack(tasks: list[Task]) -> None:
    """Critical path: Kelley and Walker 1959; with the crew's order as further links."""
    found = schedule(tasks, CREW, ONE_DAY, WARM)
    booked = {booking.task.name: booking for booking in found.bookings}
    chain = [booked[name] for name in found.critical]
    assert chain[-1].end == found.end and all(booking.slack == pytest.approx(0.0, abs=1e-3) for booking in chain)
    assert chain[0].start in (0.0, WARM.cooling) and chain[0].waits_for in ("", "the machine to be cold")
    assert all(one.task.name in other.waits_for for one, other in itertools.pairwise(chain))


@settings(deadline=None, max_examples=40)
@given(tasks=outages(most=6), data=st.data())
def test_a_task_longer_by_its_slack_delays_nothing(tasks: list[Task], data: st.DataObject) -> None:
    found = schedule(tasks, CREW, ONE_DAY, WARM)
    booking = data.draw(st.sampled_from(found.bookings))
    longer = [replace(task, longest=task.longest + booking.slack) if task is booking.task else task for task in tasks]
    assert schedule(longer, CREW, ONE_DAY, WARM).end == pytest.approx(found.end)


def bonded(**cure: Any) -> list[Task]:
    """Bond a pad, wire, prove; the cure decides."""
    return [
        Task("bond pads", HOUR, HOUR, ("fitter",), State.COLD, beforehand=True),
        Task("wire", 2 * HOUR, 3 * HOUR, ("licensed electrician",), State.LOCKED_OUT),
        Task("paint brackets", HOUR, 1.5 * HOUR, ("fitter",), State.LOCKED_OUT, optional=True),
        Task("fit sensors", HOUR, HOUR, ("fitter",), State.LOCKED_OUT, (After("bond pads", 6 * HOUR, "cure", **cure),)),
        Task("prove", HOUR, HOUR, ("controls",), State.RUNNING, (After("fit sensors"),)),
    ]


def test_a_cure_that_does_not_fit_is_done_the_day_before_or_joined_faster() -> None:
    """2 h to cool, 1 bond, 6 cure, 1 fit, 1 restart, 1 prove: 12 h, by hand. Advice: common practice, no source."""
    window = [Window(0.0, 8 * HOUR)]
    found = schedule(bonded(faster=1 * HOUR), CREW, window, WARM)
    assert found.end == 12 * HOUR and not found.fits and found.critical == ("bond pads", "fit sensors", "prove")
    assert found.bookings[-1].waits_for == "fit sensors, the restart, 1 h"
    best = cures(bonded(faster=1 * HOUR), CREW, window, WARM)
    assert [(cure.says, cure.end / HOUR, cure.fits) for cure in best] == [
        ("do bond pads before the outage", 5.0, True),
        ("take the faster joint in bond pads: 1 h instead of 6 h before fit sensors", 7.0, True),
    ]
    assert spare_time(window_end=window[0].end, work_end=found.end) == -4 * HOUR


def test_a_person_waits_idle_where_that_ends_earlier() -> None:
    """By hand: begun at once, 5 h of painting put bond and cure off and the end to 13 h; idle while it cools it is 10 h."""
    tasks = [
        Task("paint", 5 * HOUR, 5 * HOUR, ("fitter",), State.LOCKED_OUT),
        Task("bond", HOUR, HOUR, ("fitter",), State.COLD),
        Task("prove", HOUR, HOUR, ("fitter",), State.RUNNING, (After("bond", 6 * HOUR, "cure"),)),
    ]
    found = schedule(tasks, [CREW[0]], ONE_DAY, WARM)
    assert found.end == 10 * HOUR and found.least and found.critical == ("bond", "prove")


def test_what_is_dropped_hands_its_predecessors_on_and_one_more_person_helps_where_persons_are_short() -> None:
    tasks = [
        Task("drill", 2 * HOUR, 2 * HOUR, ("fitter",), State.LOCKED_OUT),
        Task("polish", 2 * HOUR, 2 * HOUR, ("fitter",), State.LOCKED_OUT, (After("drill"),), optional=True),
        Task("mount", HOUR, HOUR, ("fitter",), State.LOCKED_OUT, (After("polish"),)),
        Task("strut", 4 * HOUR, 4 * HOUR, ("fitter",), State.LOCKED_OUT),
    ]
    alone = [CREW[0]]
    found = {cure.says: cure.end / HOUR for cure in cures(tasks, alone, [Window(0.0, 6 * HOUR)], WARM)}
    assert found == {"bring one more fitter": 5.0, "drop polish": 7.0}
    two = {cure.says: cure.end / HOUR for cure in cures(tasks, CREW, [Window(0.0, 6 * HOUR)], WARM)}
    assert two == {"drop polish": 4.0}


def test_what_to_begin_with_is_named_critical_tasks_first() -> None:
    tasks = [replace(task, state=State.LOCKED_OUT) if task.name == "bond pads" else task for task in bonded()]
    assert schedule(tasks, CREW, ONE_DAY, WARM).first == ("bond pads", "wire", "paint brackets")


def test_leads_that_wait_for_each_other_are_asked_for_in_time() -> None:
    """Day 100 less 7, less 28 for the network and 14 for the permission before it, by hand; five working days: trade, practice."""
    items = [
        LeadItem("network approval", "network owner", 28.0, ("site permission",)),
        LeadItem("site permission", "plant manager", 14.0),
        LeadItem("strut and conduit", "technician", 10.0),
    ]
    found = {date.item.name: date for date in lead_dates(items, outage_day=100.0, today=60.0)}
    assert found["strut and conduit"].needed_by == 100.0 - NOTICE_DAYS == 93.0
    assert [found[name].latest_start for name in ("site permission", "network approval", "strut and conduit")] == [51.0, 65.0, 83.0]
    assert [name for name, date in found.items() if date.late] == ["site permission"]
    done = [replace(item, done=True) for item in items]
    assert not any(date.late for date in lead_dates(done, outage_day=100.0, today=99.0))


FIT = Task("fit", HOUR, HOUR, ("fitter",), State.LOCKED_OUT)
RUN = Task("run", HOUR, HOUR, ("controls",), State.RUNNING)


@pytest.mark.parametrize(
    ("tasks", "windows", "says"),
    [
        ([FIT, FIT], ONE_DAY, "tasks=fit, fit: each name once"),
        ([replace(FIT, after=(After("drill"),))], ONE_DAY, "fit after='drill': one of: fit"),
        ([replace(FIT, after=(After("fit"),))], ONE_DAY, "no task that waits for itself"),
        (
            [replace(FIT, after=(After("run"),)), RUN],
            ONE_DAY,
            "work locked out comes before",
        ),
        ([replace(FIT, crew=("licensed electrician",) * 2)], ONE_DAY, "1 licensed electrician: 2 at once: bring one"),
        ([replace(FIT, crew=("fitter", "fitter", "controls"))], ONE_DAY, "a person for each: one cannot be two"),
        ([replace(FIT, shortest=2 * HOUR)], ONE_DAY, "the shortest first"),
        ([FIT, replace(RUN, after=(After("fit", -1.0),))], ONE_DAY, "wait of run after fit=-1.0: 0 s or more"),
        ([replace(FIT, at_rest=-1.0)], ONE_DAY, "rest after fit=-1.0: 0 s or more"),
        ([FIT], [], "at least one"),
        ([FIT], [Window(5.0, 5.0)], "an end after its start"),
    ],
)
def test_what_cannot_be_planned_is_refused_with_what_would_be_right(tasks: list[Task], windows: list[Window], says: str) -> None:
    with pytest.raises(OutOfRange, match=says):
        schedule(tasks, CREW, windows, WARM)


def test_leads_in_a_ring_are_refused() -> None:
    with pytest.raises(OutOfRange, match="waits for itself"):
        lead_dates([LeadItem("a", "x", 1.0, ("b",)), LeadItem("b", "x", 1.0, ("a",))], outage_day=10.0, today=0.0)
