"""Verbs of the running drive: baseline, watch, and what people say into its diary."""

import argparse
import sys
from typing import TYPE_CHECKING, Any

from gearcase.cli.answers import NOTHING_WRONG, SOMETHING_WRONG, done, keep, load, quantity, times
from gearcase.errors import BadInput, Problem

if TYPE_CHECKING:
    from gearcase.signal.recording import Recording

__all__ = ["acknowledge", "baseline", "epoch", "shelve", "trend", "watch"]


def baseline(given: argparse.Namespace) -> int:
    """Limits from the readings kept."""
    from pathlib import Path

    from gearcase.drawings.text import baseline_text
    from gearcase.monitor.in_force import voided
    from gearcase.record import results
    from gearcase.record.clock import unix_now
    from gearcase.record.store import is_made, open_store, store_path
    from gearcase.stages import baseline

    job, folder = load(given), Path(given.job)
    if not is_made(folder, job.store):
        accepted = "watch the drive first: a baseline rests on its readings"
        raise BadInput(Problem(str(store_path(folder)), "", "no readings kept", accepted))
    with open_store(folder, job.store) as store:
        events = store.events()
        epochs = [event.time_s for event in events if event.kind == "epoch"]
        readings = store.readings(since=max(epochs, default=None))
    last = results.latest(folder, "baseline")
    result = baseline.run(
        job,
        readings,
        now=unix_now(),
        approver=given.approver,
        reason=given.reason,
        who=given.by,
        in_force=last.document if last and not voided(last.document, events) else None,
    )
    kept = keep(given, job, result, {})
    done(given, result.document, f"{baseline_text(result.document)}\n\nkept in {kept}")
    return SOMETHING_WRONG if result.wrong else NOTHING_WRONG


def trend(given: argparse.Namespace) -> int:
    """Where each level goes, and how long is left."""
    from pathlib import Path

    from gearcase.drawings.trend_blocks import trend_text
    from gearcase.monitor.in_force import voided
    from gearcase.record import results
    from gearcase.record.store import is_made, open_store, store_path
    from gearcase.stages import trend

    job, folder = load(given), Path(given.job)
    if not is_made(folder, job.store):
        accepted = "watch the drive first: a trend rests on its readings"
        raise BadInput(Problem(str(store_path(folder)), "", "no readings kept", accepted))
    with open_store(folder, job.store) as store:
        readings, events = store.readings(), store.events()
    baseline = results.latest(folder, "baseline")
    if baseline is not None and voided(baseline.document, events):
        baseline = None
    diagnoses = [results.stored(folder, "diagnose", number) for number in results.numbers(folder, "diagnose")]
    result = trend.run(job, readings, events, baseline=baseline, diagnoses=diagnoses)
    kept = keep(given, job, result, {})
    done(given, result.document, f"{trend_text(result.document)}\n\nkept in {kept}")
    return SOMETHING_WRONG if result.wrong else NOTHING_WRONG


def watch(given: argparse.Namespace) -> int:
    """Poll the devices or follow a folder until stopped."""
    import asyncio
    from pathlib import Path

    from gearcase.monitor.in_force import voided
    from gearcase.monitor.service import follow_folder, watch_bus
    from gearcase.record import results
    from gearcase.record.clock import Pace
    from gearcase.record.store import Event, open_store
    from gearcase.stages import diagnose

    job, folder = load(given), Path(given.job)
    connection = given.connection or job.bus.connection
    if given.folder is None and not connection:
        raise BadInput(Problem("job.yaml", "bus.connection", "", "how the bus is reached, here, as --connection, or --folder"))
    if given.folder is not None and not Path(given.folder).is_dir():
        raise BadInput(Problem("--folder", "", repr(given.folder), "a folder that is there"))
    every, lasting, fast = quantity("--every", given.every, "time"), quantity("--for", given.lasting, "time"), times(given)
    stored = results.latest(folder, "baseline")

    def judge(recording: "Recording") -> dict[str, Any]:
        result = diagnose.run(job, [recording])
        keep(given, job, result, {})
        return result.document

    def tell(event: Event) -> None:
        if not given.json:
            print(f"{event.kind}: {event.point + ': ' if event.point else ''}{event.says}", file=sys.stderr, flush=True)

    with open_store(folder, job.store) as store:
        store.hold()
        why = voided(stored.document, store.events()) if stored else ""
        if why:
            print(f"the limits are void: {why}; take the baseline again", file=sys.stderr)
        baseline = stored.document if stored and not why else None
        pace = Pace(fast, not_before=max((reading.time_s for reading in store.latest()), default=0.0))
        alike: dict[str, Any] = {"pace": pace, "every": every, "lasting": lasting, "diagnose": judge, "tell": tell}
        if given.folder is not None:
            result = asyncio.run(follow_folder(job, store, folder=Path(given.folder), **alike))
        else:
            result = asyncio.run(watch_bus(job, store, connection=connection, baseline=baseline, **alike))
    path = keep(given, job, result, {})
    done(given, result.document, f"{result.document['statement']}\nkept in {path}")
    return SOMETHING_WRONG if result.wrong else NOTHING_WRONG


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


def _declare(given: argparse.Namespace, kind: str, says: str, details: dict[str, Any] | None = None) -> int:
    """Put what a person says into the diary."""
    from pathlib import Path

    from gearcase.record.clock import unix_now
    from gearcase.record.store import Event, open_store
    from gearcase.stages.minutes import SUMP

    job = load(given)
    names = [*(point.name for point in job.points), SUMP]
    problems = [] if given.by.strip() else [Problem("--by", "", "nobody", "who says so: --by NAME")]
    if given.point and given.point not in names:
        problems.append(Problem("--point", "", repr(given.point), f"one of: {'; '.join(names)}"))
    if problems:
        raise BadInput(problems)
    with open_store(Path(given.job), job.store) as store:
        store.add_event(Event(unix_now(), kind, given.point, says, given.by, details or {}))
    document = {"schema": f"{kind}/1", "point": given.point, "says": says, "who": given.by, **(details or {})}
    return done(given, document, f"{kind}: {says}")
