"""Before and around the outage: what must be granted by when, the tasks in time, whether they fit, and what would cure it.

The day comes from the job, what is today from the caller.
"""

import math
from collections.abc import Iterator, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from gearcase.errors import OutOfRange
from gearcase.findings import Level
from gearcase.install.network import Approval
from gearcase.install.outage import SKILLS, Ask, Isolation
from gearcase.install.schedule import (
    NOTICE_DAYS,
    Booking,
    Cure,
    LeadDate,
    LeadItem,
    Machine,
    Person,
    Schedule,
    State,
    Window,
    cures,
    cures_together,
    latest_start,
    lead_dates,
    schedule,
    spare_time,
)
from gearcase.job.build import Job
from gearcase.stages.planning.draft import Draft
from gearcase.stages.planning.tasks import RELEASE, Planned, machine
from gearcase.worked import Given, Origin, Worked, work

__all__ = ["outage"]

_MINUTE, _HOUR, _DAY = 60.0, 3600.0, 86400.0
_UNSAID_DAYS = 28.0  # of an item of which nobody has said how long it takes; common practice, no source
_WORKING_DAY = 8 * _HOUR
_BENCH = "bench stage"
ISOLATION = "isolation agreed in writing: its points, and who holds the lock"
_MOST_CURES = 5
_MOST_TOGETHER = 3
_MOST_TASKS_TOGETHER = 100  # of more work three changes cure no window, and each costs a schedule for every change tried
_TO_ASK = "the owner's consent to drill and bond, network approval (weeks), power, permits, access"


def outage(
    job: Job, parts: list[dict[str, Any]], bench: Sequence[Planned], planned: Sequence[Planned], draft: Draft, *, today: str
) -> tuple[dict[str, Any], dict[str, Any] | None]:
    """The outage of a job, and its schedule as it is drawn, None where nothing is to be done.

    Parameters
    ----------
    job : Job
    parts : list of dict
        Of the plan in the making.
    bench, planned : sequence of Planned
        The tasks on the bench and in the outage.
    draft : Draft
    today : str
        ISO 8601; empty where nobody says: then nothing is called too late.
    """
    leads = _leads(job, bench, planned, draft, today)
    crew = _crew(job, planned, draft)
    _ask(job, draft)
    document: dict[str, Any] = {
        "start": job.outage.start,
        "windows": [{"start_s": window.start, "end_s": window.end} for window in job.outage.windows],
        "crew": [{"name": person.name, "skills": sorted(person.skills)} for person in crew],
        "isolation": _isolation(job),
        "bench": [_task(one) for one in bench],
        "tasks": [_task(one) for one in planned],
        "lead": leads,
        "fits": None,
        "critical": [],
        "first": [],
        "cures": [],
        "cures_together": [],
    }
    if not planned:
        return document, None
    tasks, around = [one.task for one in planned], machine(job)
    windows = job.outage.windows or (Window(0.0, sum(task.longest for task in tasks) + around.cooling + around.restart + _DAY),)
    try:
        found = schedule(tasks, crew, windows, around)
    except OutOfRange as error:
        draft.find(Level.BLOCKER, "outage", "outage", f"no schedule: {error.name} {error.value}: {error.rule}")
        return document, None
    better: tuple[Cure, ...] = ()
    together: tuple[Cure, ...] = ()
    if job.outage.windows and not found.fits:
        better = cures(tasks, crew, windows, around)
        if len(tasks) <= _MOST_TASKS_TOGETHER and not any(cure.fits for cure in better):
            together = cures_together(tasks, crew, windows, around, most=_MOST_TOGETHER)
    _several(_used(found, windows), around, draft)
    spare = _fits(job, found, better, together, draft)
    document |= {
        "fits": found.fits if job.outage.windows else None,
        "end_s": found.end,
        "end_if_quick_s": found.end_if_quick,
        "at_least_s": found.at_least,
        "least": found.least,
        "spare": spare.as_dict() if spare else None,
        "critical": list(found.critical),
        "first": list(found.first),
        "cures": [_cure(cure) for cure in better],
        "cures_together": [_cure(cure) for cure in together],
        "baseline_not_before": _baseline(job, parts, found),
    }
    return document, _drawn(job, found, around, windows, leads)


def _ask(job: Job, draft: Draft) -> None:
    """What nobody has said yet about the outage."""
    said = job.outage
    if not said.start:
        says = "its day is not given: the list of what must be granted counts days back from it, and shows none as too late"
        draft.find(Level.CAUTION, "outage_date", "outage", says)
    if not said.windows:
        draft.find(Level.CAUTION, "outage_window", "outage", "no window is given: nothing says whether the work fits; ask for one")
    if not said.asks:
        draft.find(Level.CAUTION, "lead", "outage", f"nobody has said what must be asked beforehand: as a rule {_TO_ASK}")
    held = said.isolation
    if held is None:
        says = "nobody has said what is isolated and who holds the lock: agree it with the owner before the outage"
        draft.find(Level.CAUTION, "isolation", "outage", says)
        return
    missing = [
        says
        for says, there in (
            ("what is isolated or blocked", held.points),
            ("who holds the lock", held.by),
            ("the owner's agreement", held.agreed),
        )
        if not there
    ]
    if missing:
        draft.find(Level.CAUTION, "isolation", "outage", f"still open about the isolation: {', '.join(missing)}")


def _crew(job: Job, planned: Sequence[Planned], draft: Draft) -> tuple[Person, ...]:
    """The crew as given; for a skill that nobody has, somebody still to be named."""
    wanted = [skill for skill in SKILLS if any(skill in one.task.crew for one in planned)]
    if not job.outage.crew:
        if planned:
            says = f"no crew is given: scheduled for one {', one '.join(wanted)}; name them in outage.crew"
            draft.find(Level.CAUTION, "crew", "outage", says)
        return tuple(Person(f"{skill}, to be named", frozenset({skill})) for skill in wanted)
    people = list(job.outage.crew)
    for skill in wanted:
        if not any(skill in person.skills for person in people):
            needing = [one.task.name for one in planned if skill in one.task.crew]
            says = f"nobody of the crew is a {skill}, whom {len(needing)} tasks need ({needing[0]} first): bring one"
            if skill == "controls":
                says = f"nobody of the crew does controls, which {len(needing)} tasks need ({needing[0]} first): bring somebody"
            draft.find(Level.BLOCKER, "crew", "outage", says)
            people.append(Person(f"{skill}, to be named", frozenset({skill})))
    alone = [person for person in people if {"fitter", "licensed electrician"} & person.skills]
    if planned and len(alone) < 2:
        says = f"{alone[0].name} would lock out alone: a fitter and a licensed electrician do it together, bring a second person"
        draft.find(Level.BLOCKER, "crew", "outage", says)
        people.append(Person("second person, to be named", frozenset({"fitter", "licensed electrician"})))
    return tuple(people)


def _cure(cure: Cure) -> dict[str, Any]:
    return {"says": cure.says, "end_s": cure.end, "fits": cure.fits}


def _fits(job: Job, found: Schedule, better: Sequence[Cure], together: Sequence[Cure], draft: Draft) -> Worked | None:
    """What is left of the window; a blocker with its cures where it is too short."""
    if not job.outage.windows:
        return None
    last = job.outage.windows[-1]
    spare = work(
        "spare time of the outage",
        spare_time,
        window_end=Given("end of the last window", last.end, "s", Origin.ESTIMATED),
        work_end=Given("end of the last task, by the longest durations", found.end, "s", Origin.CALCULATED),
    )
    if found.fits:
        return spare
    if spare.value < 0:
        late = f"{-spare.value / _HOUR:.2g} h after the last closes"
        says = f"the work ends {found.end / _HOUR:.3g} h after the first window opens, {late}"
    else:
        says = f"work on the locked-out drive runs over the end of a window; all of it ends at {found.end / _HOUR:.3g} h"
    good = [cure for cure in better if cure.fits]
    if good:
        ways = "; or ".join(f"{cure.says} (then it ends at {cure.end / _HOUR:.3g} h)" for cure in good[:_MOST_CURES])
        says = f"{says}: {ways}"
    elif together:
        steps, last_of = " and ".join(cure.says for cure in together), together[-1]
        enough = "these together are" if last_of.fits else "nor are these together"
        says = f"{says}; no single change is enough, {enough}: {steps} (then it ends at {last_of.end / _HOUR:.3g} h)"
    else:
        says = f"{says}; no change of order, crew or joint helps"
    draft.find(Level.BLOCKER, "window", "outage", f"{says}; or ask for a longer window", spare)
    return spare


def _leads(job: Job, bench: Sequence[Planned], planned: Sequence[Planned], draft: Draft, today: str) -> list[dict[str, Any]]:
    """The go/no-go list, soonest first."""
    asks = [*job.outage.asks, *_also_asked(job, bool(planned))]
    if bench and all(ask.name != _BENCH for ask in asks):
        days = math.ceil(sum(one.task.longest for one in bench) / _WORKING_DAY)
        asks.append(Ask(_BENCH, "fitter", float(days)))
    items = [LeadItem(ask.name, ask.owner, _UNSAID_DAYS if ask.days is None else ask.days, ask.after, ask.granted) for ask in asks]
    day = job.outage.day
    now = float(datetime.fromisoformat(today).toordinal()) if today and day is not None else -math.inf
    if day is not None and now > day:  # nothing can be too late any more
        open_still = [ask.name for ask in asks if not ask.granted and ask.name != _BENCH]
        if open_still:
            says = f"its day is past, and the job does not say that these were granted: {', '.join(open_still)}"
            draft.find(Level.NOTE, "lead", "outage", says)
        now = -math.inf
    try:
        dates = lead_dates(items, outage_day=day or 0.0, today=now)
    except OutOfRange as error:
        draft.find(Level.BLOCKER, "lead", "outage", f"no go/no-go list: {error.name} {error.value}: {error.rule}")
        return []
    unsaid = {ask.name for ask in asks if ask.days is None}
    for ask in job.outage.asks:
        lacks = [what for what, there in (("its owner", ask.owner), ("how long it takes", ask.name not in unsaid)) if not there]
        if lacks and not ask.granted:
            taken = f"; taken as {_UNSAID_DAYS:.0f} d" if ask.name in unsaid else ""
            draft.find(Level.CAUTION, "lead", ask.name, f"nobody has said {' and '.join(lacks)}{taken}")
    _late(dates, day, now, draft)
    return [_lead(one, day, one.item.name in unsaid) for one in dates]


def _also_asked(job: Job, locked_out: bool) -> Iterator[Ask]:
    """What must be granted whether or not it is listed: the isolation, and each connection of the network sheet."""
    named = {ask.name for ask in job.outage.asks}
    if locked_out and ISOLATION not in named:
        held = job.outage.isolation or Isolation()
        owner = str(job.site.get("owner") or "the drive's owner")
        yield Ask(ISOLATION, owner, 0.0, granted=bool(held.points and held.by and held.agreed))
    connections = job.network.network.connections if job.network else ()
    sheet = {f"network: {one.opened_by} to {one.towards}, {one.service}": one for one in connections}
    for name, one in sheet.items():
        if name not in named:
            days = None if one.lead_time is None else one.lead_time / _DAY
            yield Ask(name, one.owner, days, granted=one.approval is Approval.APPROVED)


def _late(dates: Sequence[LeadDate], day: float | None, now: float, draft: Draft) -> None:
    """What cannot be there in time, each with the day on which it could."""
    for one in dates:
        if day is None or not one.late:
            continue
        moved = day + now - one.latest_start
        if one.item.name == _BENCH:
            says = (
                f"must begin by {_date(one.latest_start)} and is not said to be done: no go on {_date(day)}; begun today, the "
                f"outage can be on {_date(moved)}; once it is done, list it in outage.ask as granted"
            )
        else:
            says = (
                f"must be asked by {_date(one.latest_start)} and is not granted: no go on {_date(day)}; if it is asked today the "
                f"outage can be on {_date(moved)}, or {one.item.owner or 'its owner'} grants it sooner"
            )
        draft.find(Level.BLOCKER if now >= day - NOTICE_DAYS else Level.CAUTION, "lead", one.item.name, says)


def _lead(one: LeadDate, day: float | None, assumed: bool) -> dict[str, Any]:
    begun = work(
        f"latest day to ask for {one.item.name}",
        latest_start,
        needed_by=Given("day it must be there", one.needed_by, "d", Origin.CALCULATED),
        days=Given("days it takes", one.item.days, "d", Origin.ASSUMED if assumed else Origin.ESTIMATED),
    )
    before = (day or 0.0) - one.needed_by
    return {
        "what": one.item.name,
        "owner": one.item.owner,
        "days": one.item.days,
        "days_assumed": assumed,
        "after": list(one.item.after),
        "start_by": None if day is None else _date(one.latest_start),
        "needed_by": None if day is None else _date(one.needed_by),
        "days_before": before,
        "granted": one.item.done,
        "late": one.late,
        "latest_start": begun.as_dict(),
    }


def _date(day: float) -> str:
    """A day of the calendar; one that no calendar holds as the first or last that it does."""
    return date.fromordinal(min(max(math.floor(day), 1), date.max.toordinal())).isoformat()


def _isolation(job: Job) -> dict[str, Any] | None:
    held = job.outage.isolation
    return None if held is None else {"points": list(held.points), "agreed": held.agreed, "by": held.by}


def _task(one: Planned) -> dict[str, Any]:
    task = one.task
    return {
        "name": task.name,
        "kind": one.kind,
        "shortest_s": task.shortest,
        "longest_s": task.longest,
        "crew": list(task.crew),
        "state": str(task.state),
        "after": [{"task": before.task, "wait_s": before.wait, "why": before.why} for before in task.after],
        "beforehand": task.beforehand,
        "optional": task.optional,
        "origin": str(one.origin),
        "source": one.source,
    }


def _baseline(job: Job, parts: Sequence[dict[str, Any]], found: Schedule) -> dict[str, Any] | None:
    """When the last bond has cured, which no baseline may come before."""
    ends = {booking.task.name: booking.end for booking in found.bookings}
    cured = [
        (ends[f"bond {part['name']}"] + part["bond"]["cure"]["value"], part["name"])
        for part in parts
        if part["bond"] and part["bond"]["cure"] and f"bond {part['name']}" in ends
    ]
    if not cured:
        return None
    last, name = max(cured)
    when = datetime.fromisoformat(job.outage.start) + timedelta(seconds=last) if job.outage.windows else None
    return {"after_s": last, "point": name, "time": when.isoformat(timespec="minutes") if when else None}


def _drawn(
    job: Job, found: Schedule, around: Machine, windows: Sequence[Window], leads: Sequence[dict[str, Any]]
) -> dict[str, Any]:
    """The schedule as its chart takes it."""
    waits = {one.task: one.wait for booking in found.bookings for one in booking.task.after}
    return {
        "window_s": windows[-1].end if job.outage.windows else found.end,
        "states": list(_states(found, around, windows)),
        "tasks": [
            {
                "name": booking.task.name,
                "crew": list(booking.crew),
                "start_s": booking.start,
                "end_s": booking.end,
                "cure_s": waits.get(booking.task.name, 0.0),
                "critical": booking.task.name in found.critical,
                "slack_s": booking.slack,
                "waits_for": booking.waits_for,
                "state": str(booking.task.state),
            }
            for booking in found.bookings
        ],
        "before": [
            {
                "what": row["what"],
                "owner": row["owner"],
                "lead_s": _DAY * row["days"],
                "due_s": -_DAY * row["days_before"],
            }
            for row in leads
        ],
    }


def _used(found: Schedule, windows: Sequence[Window]) -> list[tuple[Window, list[Booking]]]:
    """The windows in which something is done on the stopped machine, with what; what overruns the last one counts to it."""
    stopped = [booking for booking in found.bookings if booking.task.state in (State.LOCKED_OUT, State.COLD)]
    begins = [*(window.start for window in windows[1:]), math.inf]
    inside = [
        (window, [one for one in stopped if window.start <= one.start < begin])
        for window, begin in zip(windows, begins, strict=True)
    ]
    return [(window, held) for window, held in inside if held]


def _several(used: Sequence[tuple[Window, list[Booking]]], around: Machine, draft: Draft) -> None:
    """What every window costs where the work takes more than one."""
    if len(used) > 1:
        says = (
            f"the work is spread over {len(used)} windows, the drive runs between them: each later one begins with a lock-out of "
            f"its own ({around.lock_out / _MINUTE:.0f} min), each earlier one ends with a release ({around.release / _MINUTE:.0f} "
            "min), the drive cools again, and a bond cures inside its window"
        )
        draft.find(Level.NOTE, "windows", "outage", says)


def _states(found: Schedule, around: Machine, windows: Sequence[Window]) -> Iterator[dict[str, Any]]:
    """What state the machine is in from the first lock-out on: in each window warm, then cold; running after each restart."""
    bands: list[tuple[str, float, float]] = []
    used = _used(found, windows)
    for number, (window, held) in enumerate(used):
        begun = held[0].start if number == 0 else window.start
        freed = max(booking.end + booking.task.at_rest for booking in held) + around.release
        ends = used[number + 1][0].start if number + 1 < len(used) else found.end
        if number + 1 == len(used):
            freed = next((booking.end for booking in held if booking.task.name == RELEASE), found.end)
        cold = min(begun + around.cooling, freed)
        bands += [(State.LOCKED_OUT, begun, cold), (State.COLD, cold, freed)]
        if number + 1 < len(used) or any(booking.task.state is State.RUNNING for booking in found.bookings):
            bands += [
                ("restart", freed, min(freed + around.restart, max(ends, freed))),
                (State.RUNNING, freed + around.restart, ends),
            ]
    yield from ({"state": str(state), "start_s": start, "end_s": end} for state, start, end in bands if end > start)
