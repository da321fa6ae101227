"""Verbs by which people speak to a watch: epochs, acknowledging, shelving, maintenance, answers; each stands in its diary by
name.
"""

import argparse
from typing import Any

from gearcase.cli.answers import done, load, quantity
from gearcase.errors import BadInput, Problem

__all__ = ["acknowledge", "answer", "epoch", "maintenance", "reload", "shelve"]


def epoch(given: argparse.Namespace) -> int:
    """Declare what makes readings not comparable."""
    from gearcase.stages.watch import EPOCHS

    if given.kind not in EPOCHS:
        raise BadInput(Problem("KIND", "", repr(given.kind), f"one of: {', '.join(EPOCHS)}"))
    return _declare(given, "epoch", f"{given.kind}: {EPOCHS[given.kind]}" + (f"; {given.says}" if given.says else ""))


def acknowledge(given: argparse.Namespace) -> int:
    """Say that alarms were seen."""
    return _declare(given, "acknowledged", "seen; the condition stays until it clears")


def shelve(given: argparse.Namespace) -> int:
    """Take an alarm out of the light for a while."""
    from dataclasses import asdict

    from gearcase.errors import OutOfRange
    from gearcase.judge.alarm import RULES
    from gearcase.judge.stack_light import LONGEST_SHELF, Shelf
    from gearcase.record.clock import unix_now

    lasting = quantity("--for", given.lasting, "time") or 0.0
    problems = [] if lasting <= LONGEST_SHELF else [Problem("--for", "", repr(given.lasting), "7 days at most, then say so again")]
    if given.quantity and given.quantity not in RULES:
        problems.append(Problem("--quantity", "", repr(given.quantity), f"one of: {', '.join(RULES)}"))
    try:
        shelf = Shelf(given.point, given.quantity, unix_now() + lasting, given.by, given.reason, given.approver)
    except OutOfRange as error:
        option = "--by" if error.name == "who" else f"--{error.name}"
        problems.append(Problem(option, "", repr(error.value), str(error.rule)))
    if problems:
        raise BadInput(problems)
    kept = {name: value for name, value in asdict(shelf).items() if name not in ("point", "who")}
    says = f"{given.quantity or 'all alarms'} for {given.lasting}: {given.reason}"
    allowed = f"; a danger too, allowed by {given.approver}" if given.approver else "; a danger still shows"
    return _declare(given, "shelved", says + allowed, kept)


def maintenance(given: argparse.Namespace) -> int:
    """Take the whole drive out of the light while people work on it; or say that they are done."""
    from dataclasses import asdict

    from gearcase.errors import OutOfRange
    from gearcase.judge.stack_light import LONGEST_SHELF, Maintenance
    from gearcase.record.clock import unix_now

    if given.over:
        return _declare(given, "maintenance over", "alarms count and are told again")
    lasting = quantity("--for", given.lasting, "time") or 0.0
    problems = [] if lasting <= LONGEST_SHELF else [Problem("--for", "", repr(given.lasting), "7 days at most, then say so again")]
    try:
        mode = Maintenance(unix_now() + lasting, given.by, given.reason, given.approver)
    except OutOfRange as error:
        option = "--by" if error.name == "who" else f"--{error.name}"
        problems.append(Problem(option, "", repr(error.value), str(error.rule)))
    if problems:
        raise BadInput(problems)
    kept = {name: value for name, value in asdict(mode).items() if name != "who"}
    allowed = f"no danger shows, allowed by {given.approver}" if given.approver else "a danger still shows"
    says = f"for {given.lasting}: {given.reason}; the light is white, no alarm is told, all is recorded; {allowed}"
    return _declare(given, "maintenance", says, kept)


def answer(given: argparse.Namespace) -> int:
    """Answer a question of the diary; without one, list those that are open."""
    from pathlib import Path

    from gearcase.monitor.diary import open_questions
    from gearcase.record.store import open_store

    job = load(given)
    with open_store(Path(given.job), job.store) as store:
        open_ones = {event.number: event for event in open_questions(store.events())}
    if given.number is None:
        rows = [{"number": number, "point": one.point, "says": one.says} for number, one in open_ones.items()]
        listed = [f"{row['number']}   {row['point'] or 'the watch'}: {row['says']}" for row in rows]
        return done(given, {"schema": "questions/1", "open": rows}, "\n".join(listed) or "no question is open")
    problems = [] if given.says.strip() else [Problem("TEXT", "", "nothing", "what explains it, in your words")]
    if given.number not in open_ones:
        there = ", ".join(str(number) for number in open_ones) or "none is"
        problems.append(Problem("NUMBER", "", str(given.number), f"an open question: {there}"))
    if problems:
        raise BadInput(problems)
    asked = open_ones[given.number]
    return _declare(given, "answer", given.says, {"question": given.number, "asked": asked.says}, point=asked.point)


def reload(given: argparse.Namespace) -> int:
    """Ask a running watch to read the job again; it is checked here first."""
    return _declare(given, "reload", "job.yaml and baseline are to be read again")


def _declare(
    given: argparse.Namespace, kind: str, says: str, details: dict[str, Any] | None = None, *, point: str | None = None
) -> int:
    """Put what a person says into the diary."""
    from pathlib import Path

    from gearcase.record.clock import unix_now
    from gearcase.record.store import Event, open_store
    from gearcase.stages.minutes import SUMP

    job = load(given)
    where = getattr(given, "point", "") if point is None else point
    names = [*(point.name for point in job.points), SUMP]
    problems = [] if given.by.strip() else [Problem("--by", "", "nobody", "who says so: --by NAME")]
    if where and where not in names:
        problems.append(Problem("--point", "", repr(where), f"one of: {'; '.join(names)}"))
    if problems:
        raise BadInput(problems)
    with open_store(Path(given.job), job.store) as store:
        store.add_event(Event(unix_now(), kind, where, says, given.by, details or {}))
    document = {"schema": f"{kind}/1", "point": where, "says": says, "who": given.by, **(details or {})}
    return done(given, document, f"{kind}: {says}")
