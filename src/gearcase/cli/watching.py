"""Verbs of the running drive: baseline, trend, watch, who is told, and the unit that keeps it running."""

import argparse
import sys
from typing import TYPE_CHECKING, Any

from gearcase.cli.answers import NOTHING_WRONG, SOMETHING_WRONG, done, keep, load, quantity, times
from gearcase.errors import BadInput, Problem

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gearcase.signal.recording import Recording

__all__ = ["baseline", "notify", "trend", "unit", "watch"]


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
        named=baseline.named_faults(results.latest(folder, "diagnose"), epochs),
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
    import os
    from functools import partial
    from pathlib import Path

    from gearcase.monitor.memory import give_back

    give_back()
    from gearcase.job.build import Job
    from gearcase.judge.alarm import BLUE_AFTER, LONGEST_ROUNDS
    from gearcase.monitor.plant import open_publisher
    from gearcase.monitor.service import follow_folder, watch_bus
    from gearcase.monitor.service_manager import ServiceManager
    from gearcase.monitor.setup import Setup
    from gearcase.record.clock import Pace
    from gearcase.record.store import Event, open_store
    from gearcase.stages import diagnose

    job, folder = load(given), Path(given.job)
    if given.folder is not None and not Path(given.folder).is_dir():
        raise BadInput(Problem("--folder", "", repr(given.folder), "a folder that is there"))
    every, lasting, fast = quantity("--every", given.every, "time"), quantity("--for", given.lasting, "time"), times(given)

    if given.folder is None and every is not None and every > LONGEST_ROUNDS:
        rule = f"{LONGEST_ROUNDS:.0f} s at most: without a good reading for {BLUE_AFTER:.0f} s nothing can be told"
        raise BadInput(Problem("--every", "", repr(given.every), rule))

    def judge(job: Job, recordings: "Sequence[Recording]") -> dict[str, Any]:
        result = diagnose.run(job, recordings)
        keep(given, job, result, {})
        return result.document

    def tell(event: Event) -> None:
        if not given.json:
            print(f"{event.kind}: {event.point + ': ' if event.point else ''}{event.says}", file=sys.stderr, flush=True)

    with open_store(folder, job.store) as store:
        store.hold()
        if why := Setup.read(folder, store, at_start=True).void:
            print(f"the limits are void: {why}; take the baseline again", file=sys.stderr)
        pace = Pace(fast, not_before=max((reading.time_s for reading in store.latest()), default=0.0))
        alike: dict[str, Any] = {"pace": pace, "every": every, "lasting": lasting, "diagnose": judge, "tell": tell}
        if given.folder is not None:
            result = asyncio.run(follow_folder(job, store, folder=Path(given.folder), **alike))
        else:
            manager = ServiceManager(os.environ)
            alike |= {"connection": given.connection or "", "manager": manager, "opening": partial(open_publisher, folder)}
            result = asyncio.run(watch_bus(folder, store, **alike))
    path = keep(given, job, result, {})
    done(given, result.document, f"{result.document['statement']}\nkept in {path}")
    return SOMETHING_WRONG if result.wrong else NOTHING_WRONG


def notify(given: argparse.Namespace) -> int:
    """Send a test message to those who are told of alarms."""
    import asyncio
    import uuid
    from pathlib import Path

    from gearcase.device.messages import Message, NotSent
    from gearcase.monitor.notifying import sender_to
    from gearcase.record.clock import unix_now
    from gearcase.record.store import Event, open_store

    job = load(given)
    names = [one.name for one in job.notify.rules.people]
    problems = [] if given.by.strip() else [Problem("--by", "", "nobody", "who sends it: --by NAME")]
    if not names:
        problems.append(Problem("job.yaml", "notify.people", "nobody", "a list of people, one at least"))
    elif given.to and given.to not in names:
        problems.append(Problem("--to", "", repr(given.to), f"one of: {'; '.join(names)}"))
    if problems:
        raise BadInput(problems)
    text = f"{job.title}\n\nThis is a test, sent by {given.by}. Nothing is wrong. Say to {given.by} that it has reached you.\n"

    async def reach(name: str) -> str:
        send = sender_to(job, name)
        message = Message(uuid.uuid4().hex, unix_now(), f"{job.title}: test", text, {"test": True, "by": given.by})
        try:
            await asyncio.wait_for(send(message), 60) if send else None
        except (NotSent, TimeoutError) as error:
            return f"not sent: {error or 'no answer within 60 s'}"
        return "sent"

    rows = {name: asyncio.run(reach(name)) for name in names if given.to in ("", name)}
    with open_store(Path(given.job), job.store) as store:
        says = "; ".join(f"{name}: {how}" for name, how in rows.items())
        store.add_event(Event(unix_now(), "notify test", "", says, given.by, {"people": rows}))
    done(given, {"schema": "notify-test/1", "people": rows}, "\n".join(f"{name}   {how}" for name, how in rows.items()))
    return NOTHING_WRONG if set(rows.values()) == {"sent"} else SOMETHING_WRONG


def unit(given: argparse.Namespace) -> int:
    """The unit file by which a service manager keeps the watch running."""
    import pwd
    from pathlib import Path

    from gearcase.monitor.unit_file import unit_file

    job, folder = load(given), Path(given.job).resolve()
    try:
        user = given.user or pwd.getpwuid(folder.stat().st_uid).pw_name
    except KeyError:
        raise BadInput(Problem("--user", "", "a folder that belongs to nobody known", "who it runs as: --user NAME")) from None
    text = unit_file(job, folder, python=sys.executable, user=user)
    return done(given, {"schema": "unit/1", "unit": text}, text.rstrip())
