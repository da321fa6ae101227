"""The command line: parse, call one stage, show.

``gearcase VERB JOB``. Exit 0: done and nothing wrong; 1: done, and somebody must act (fault, blocker, unfit recording, zone D);
2: the input or the call was wrong. Heavy imports happen inside the verbs, so that help comes at once.
"""

import argparse
import sys
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, NoReturn

from gearcase import __version__
from gearcase.errors import BadInput, GearcaseError, OutOfRange, Problem

if TYPE_CHECKING:
    import asyncio
    from collections.abc import Iterable, Iterator
    from pathlib import Path

    from gearcase.job.build import Job
    from gearcase.job.entries import Entered
    from gearcase.signal.recording import Recording
    from gearcase.stages.result import StageResult

__all__ = ["main"]

NOTHING_WRONG, SOMETHING_WRONG, WRONG_INPUT = 0, 1, 2


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one verb. Returns the exit code."""
    words = list(sys.argv[1:] if arguments is None else arguments)
    parser = _parser()
    try:
        given = parser.parse_args(words)
    except BadInput as error:
        asked = any(len(word) > 2 and "--json".startswith(word) for word in words)  # argparse takes --js as well
        return _refuse(argparse.Namespace(json=asked), error)
    except SystemExit as stop:  # help or version: argparse has already spoken
        return WRONG_INPUT if stop.code else NOTHING_WRONG
    if given.run is None:
        parser.print_help()
        return WRONG_INPUT
    try:
        run: Callable[[argparse.Namespace], int] = given.run
        return run(given)
    except BadInput as error:
        return _refuse(given, error)
    except OutOfRange as error:
        return _refuse(given, BadInput(Problem(error.name, "", str(error.value), error.rule)))
    except GearcaseError as error:
        return _refuse(given, BadInput(Problem("", "", "", str(error))))
    except BrokenPipeError:
        return NOTHING_WRONG
    except KeyboardInterrupt:
        return _refuse(given, BadInput(Problem("stopped by hand", "", "", "run it again: nothing kept before is lost")))
    except OSError as error:
        return _refuse(given, BadInput(Problem(str(error.filename or ""), "", "", error.strerror or str(error))))
    except Exception as error:  # a defect must not look like an answer: exit 1 says that a fault of the drive was found
        import traceback

        place = traceback.extract_tb(error.__traceback__)[-1]
        says = f"{type(error).__name__}: {error} ({place.filename.rpartition('/')[2]}:{place.lineno})"
        return _refuse(
            given, BadInput(Problem("gearcase itself failed", "", says, "nothing kept before is lost; please report it"))
        )


class _Parser(argparse.ArgumentParser):
    """A parser that refuses a wrong call as any other bad input is refused, so that ``--json`` holds for it too."""

    def error(self, message: str) -> NoReturn:
        usage = " ".join(self.format_usage().removeprefix("usage:").split())
        raise BadInput(Problem(self.prog, "", message, usage))


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="gearcase",
        description="Fit, prove and watch monitoring on enclosed gear drives. Advice and record, not a protection system.",
        epilog="Exit codes: 0 done and nothing wrong; 1 done, and a fault, blocker, unfit recording or zone D was found; "
        "2 the input or the call was wrong.",
    )
    parser.add_argument("--version", action="version", version=f"gearcase {__version__}")
    parser.set_defaults(run=None, json=False)
    verbs = parser.add_subparsers(title="verbs", metavar="VERB")

    def verb(name: str, run: Callable[[argparse.Namespace], int], says: str) -> argparse.ArgumentParser:
        added = verbs.add_parser(name, help=says, description=says[0].upper() + says[1:] + ".")
        added.add_argument("job", metavar="JOB", help="folder of the job, the one that holds job.yaml")
        added.add_argument("--json", action="store_true", help="one JSON document on standard output, nothing else there")
        added.set_defaults(run=run)
        return added

    new = verb("new", _new, "make a job folder with a commented job.yaml to fill in")
    new.add_argument("--title", default="", help="name of the job; the folder's name by default")
    verb("check", _check, "read job.yaml and report everything wrong with it")
    survey = verb("survey", _survey, "what turns, which lines it shows, what can be seen, what is still unknown")
    plan = verb("plan", _plan, "how the kit goes on: holes, bonds, places, bus, cables, what to bring, the work card")
    fit = verb("fit", _fit, "what was built, entered against the plan's work card; deviations are judged again")
    fit.add_argument("--entries", metavar="FILE", help="a YAML list of what was built; questions are asked where none is given")
    prove = verb("prove", _prove, "does each device answer, point right and tell the truth; what keeps you from going home")
    for option, metavar, says in (
        ("--connection", "WHERE", "how the bus is reached, e.g. tcp 127.0.0.1:15020; that of job.yaml by default"),
        ("--speed", "SPEED", "of the input, by an instrument of your own"),
        ("--temperature", "TEMPERATURE", 'of the oil, by an instrument of your own, e.g. "21.5 °C"'),
        ("--controller", "VALUES", "what the plant controller shows for the test registers, with commas"),
    ):
        prove.add_argument(option, metavar=metavar, help=says)
    prove.add_argument("--polls", type=int, default=3000, metavar="N", help="of each device, for its link; 3000 by default")
    prove.add_argument("--tapped", action="append", default=[], metavar="POINT", help="just tapped towards the output end")
    prove.add_argument("--light-seen", action="store_true", help="you saw each colour of the light")
    prove.add_argument("--again", action="store_true", help="prove everything again, what passed before too")
    baseline = verb("baseline", _baseline, "what is usual for this drive, and the limits that follow, from the readings kept")
    baseline.add_argument("--approver", metavar="NAME", default="", help="who accepts the limits, another than who proposes them")
    baseline.add_argument(
        "--reason", metavar="TEXT", default="", help="why a drive over its zone boundary is accepted all the same"
    )
    watch = verb("watch", _watch, "poll the devices or follow a folder, judge, set the light, keep what was seen; Ctrl-C stops it")
    watch.add_argument("--every", metavar="TIME", default="10 s", help='between rounds; "10 s" by default')
    watch.add_argument("--for", dest="lasting", metavar="TIME", help="stop by itself after so long; until Ctrl-C by default")
    watch.add_argument("--connection", metavar="WHERE", help="how the bus is reached; that of job.yaml by default")
    watch.add_argument("--folder", metavar="FOLDER", help="follow recordings that appear there instead of the devices")
    epoch = verb("epoch", _epoch, "declare what makes readings before and after not comparable")
    epoch.add_argument("kind", metavar="KIND", help="e.g. oil changed, sensor moved; a wrong one lists them all")
    epoch.add_argument("--point", metavar="POINT", default="", help="the point concerned; the whole drive by default")
    epoch.add_argument("--says", metavar="TEXT", default="", help="anything more")
    acknowledge = verb("acknowledge", _acknowledge, "say that an alarm was seen: the condition stays, danger may then clear")
    acknowledge.add_argument("--point", metavar="POINT", default="", help="the point concerned; all by default")
    rig = verb("rig", _rig, "serve a simulated drive as the job's devices, over Modbus TCP and a serial line")
    rig.add_argument("--port", type=int, default=15020, metavar="PORT", help="of Modbus TCP on this machine; 15020 by default")
    rig.add_argument("--speed", metavar="SPEED", help='speed of the input, e.g. "1485 rpm"; the rated speed by default')
    for added in (rig, watch):
        added.add_argument("--times", type=float, default=1.0, metavar="N", help="let time run so many times faster, at a desk")
    diagnose = verb("diagnose", _diagnose, "judge recordings against the drive, with odds")
    diagnose.add_argument("recording", nargs="*", metavar="RECORDING", help="files to judge; those of job.yaml by default")
    for option, metavar, says in (
        ("--rate", "RATE", 'sample rate where the file does not say, e.g. "12 kHz" (a bare number counts as Hz)'),
        ("--unit", "UNIT", "unit of the samples where the file does not say, e.g. g, m/s2, mm/s"),
        ("--speed", "SPEED", 'speed of the stated shaft while recording, e.g. "1485 rpm"'),
        ("--channel", "NAME", "which channel, where the file holds several"),
        ("--point", "POINT", "measuring point of the job where it was taken; may be left out"),
    ):
        diagnose.add_argument(option, metavar=metavar, help=says)
    handover = verb("handover", _handover, "make the PDF and the web page the owner gets")
    handover.add_argument("--accept-stale", metavar="NAME", default="", help="who accepts results older than job.yaml")
    for added in (survey, plan, fit, prove, baseline, watch, epoch, acknowledge, diagnose, handover):
        added.add_argument("--by", metavar="NAME", default="", help="who does this; kept with the result")
    serve = verb("serve", _serve, "read-only pages of the job, for a browser on this machine")
    serve.add_argument("--port", metavar="PORT", default="8765", help="port on 127.0.0.1, 8765 by default")
    schema = verbs.add_parser("schema", help="print the JSON Schema of job.yaml, for editors")
    schema.set_defaults(run=_schema, json=True)
    return parser


def _new(given: argparse.Namespace) -> int:
    from pathlib import Path

    from gearcase.job.template import new_job

    path = new_job(Path(given.job), given.title)
    return _done(given, {"schema": "new/1", "job": str(path)}, f"{path}\nFill it in, then: gearcase check {given.job}")


def _check(given: argparse.Namespace) -> int:
    from gearcase.stages.result import finding_document, has_blocker

    job = _load(given)
    document = {
        "schema": "check/1",
        "job": job.title,
        "ok": not has_blocker(job.findings),
        "findings": [finding_document(finding) for finding in job.findings],
    }
    words = [f"{finding.level}: {finding.where}: {finding.says}" for finding in job.findings] or ["job.yaml: nothing wrong"]
    _done(given, document, "\n".join(words))
    return SOMETHING_WRONG if has_blocker(job.findings) else NOTHING_WRONG


def _survey(given: argparse.Namespace) -> int:
    from gearcase.drawings.report import ask_for_sheet_html, ask_for_sheet_pdf
    from gearcase.drawings.text import survey_text
    from gearcase.drawings.train import train_svg
    from gearcase.stages import survey

    job = _load(given)
    result = survey.run(job)
    pictures = {
        "train.svg": train_svg(result.document["drive"]).encode(),
        "ask-for.pdf": ask_for_sheet_pdf(job.title, job.site, result.document),
        "ask-for.html": ask_for_sheet_html(job.title, job.site, result.document).encode(),
    }
    path = _keep(given, job, result, pictures)
    _done(
        given,
        result.document,
        f"{survey_text(result.document)}\n\nkept in {path}, with the ask-for sheet to print: ask-for.pdf",
    )
    return SOMETHING_WRONG if result.wrong else NOTHING_WRONG


def _plan(given: argparse.Namespace) -> int:
    from gearcase.drawings.face import face_svg
    from gearcase.drawings.text import plan_text
    from gearcase.stages import plan

    job = _load(given)
    result = plan.run(job)
    pictures = {
        f"face-{number}.svg": face_svg(face, result.document["parts"], title=f"{job.title}: face {face['name']}").encode()
        for number, face in enumerate(result.document["faces"])
    }
    path = _keep(given, job, result, pictures)
    _done(given, result.document, f"{plan_text(result.document)}\n\nkept in {path}")
    return SOMETHING_WRONG if result.wrong else NOTHING_WRONG


def _rig(given: argparse.Namespace) -> int:
    import asyncio
    import time

    from gearcase.device.orders import ORDERS, obey
    from gearcase.device.rig import Rig
    from gearcase.device.serving import serving

    job = _load(given)
    speed = _quantity("--speed", given.speed, "speed")
    pace = _times(given)
    rig = Rig(job, lambda: pace * time.monotonic(), job.drive.rated_speed_hz if speed is None else speed)
    if not rig.units:
        raise BadInput(Problem("job.yaml", "bus.devices", "", "at least one device with a profile, to be simulated"))

    async def serve() -> None:
        async with serving(rig, port=given.port, baud=job.bus.baud) as served:
            print(f"{served.tcp}\n{served.serial}\nunits {', '.join(map(str, rig.units))}; orders: {', '.join(ORDERS)}", flush=True)
            loop = asyncio.get_running_loop()
            while line := await loop.run_in_executor(None, sys.stdin.readline):
                try:
                    print(obey(rig, line) if line.strip() else "", flush=True)
                except OutOfRange as error:
                    print(error, file=sys.stderr, flush=True)

    asyncio.run(serve())
    return NOTHING_WRONG


def _prove(given: argparse.Namespace) -> int:
    import asyncio
    from pathlib import Path

    from gearcase.device.modbus import connected
    from gearcase.drawings.text import prove_text
    from gearcase.record import chain
    from gearcase.record.clock import now
    from gearcase.stages import prove

    job = _load(given)
    evidence = Path(given.job) / "results" / "prove" / "evidence.jsonl"
    connection = given.connection or job.bus.connection
    if not connection:
        raise BadInput(Problem("job.yaml", "bus.connection", "", "how the bus is reached, here or as --connection"))
    if not 1 <= given.polls <= 1_000_000:
        raise BadInput(Problem("--polls", "", str(given.polls), "1 to 1000000"))
    points = [point.name for point in job.points]
    wrong = [name for name in given.tapped if name not in points]
    if wrong:
        raise BadInput([Problem("--tapped", "", repr(name), f"one of: {'; '.join(points)}") for name in wrong])
    said = prove.Said(
        serials=_as_built_serials(Path(given.job)),
        tapped=given.tapped,
        speed_hz=_quantity("--speed", given.speed, "speed"),
        temperature=_quantity("--temperature", given.temperature, "temperature"),
        light_seen=given.light_seen,
        controller=_numbers("--controller", given.controller),
    )
    kept = [record["entry"] for record in chain.read(evidence)] if evidence.exists() and not given.again else []

    def keep(row: dict[str, Any]) -> None:
        chain.append(evidence, row, who=given.by, when=now())
        if not given.json:
            words = row["measured"] if row["outcome"] == "passed" else row["says"]
            print(f"{row['outcome']:6}  {row['device']}, {row['step']}: {words}", file=sys.stderr, flush=True)

    async def over_the_wire() -> "StageResult":
        async with connected(connection, baud=job.bus.baud) as bus:
            earlier = {prove.evidence_key(row): row for row in kept}
            return await prove.run(job, bus, polls=given.polls, said=said, earlier=earlier, keep=keep)

    result = asyncio.run(over_the_wire())
    path = _keep(given, job, result, {})
    _done(given, result.document, f"{prove_text(result.document)}\n\nkept in {path}")
    return SOMETHING_WRONG if result.wrong else NOTHING_WRONG


def _as_built_serials(folder: "Path") -> dict[str, str]:
    """Device -> serial, from the latest as-built record."""
    from gearcase.record import results
    from gearcase.stages.fit import built_serials

    stored = results.latest(folder, "fit")
    return built_serials(stored.document) if stored else {}


def _numbers(option: str, text: str | None) -> tuple[float, ...]:
    """An option's numbers, decimal or 0x..., with commas between."""
    parts = [part.strip().lower() for part in text.split(",")] if text else []
    try:
        return tuple(float(int(part, 16)) if part.startswith("0x") else float(part) for part in parts)
    except ValueError:
        raise BadInput(Problem(option, "", repr(text), "numbers with commas between, e.g. 0x1234,123456789,123.456")) from None


def _fit(given: argparse.Namespace) -> int:
    from pathlib import Path

    from gearcase.drawings.text import fit_text
    from gearcase.record import fitting, results
    from gearcase.record.clock import now
    from gearcase.record.freshness import hashes_now, stale
    from gearcase.stages import fit

    job, folder = _load(given), Path(given.job)
    plan = results.latest(folder, "plan")
    if plan is None:
        raise BadInput(Problem("plan", "", "no result yet", f"run: gearcase plan {given.job}"))
    before = fitting.entries(folder)
    cut_off = fitting.torn(folder)  # asked before the next entry sets the piece aside
    added = 0
    for entered in _entries(given, job, plan.document, before):
        if not (given.entries and fitting.is_recorded(entered, before)):
            fitting.keep(folder, plan, entered, who=given.by, when=now())
            added += 1
    recorded = fitting.entries(folder)
    planned = fit.Planned(plan.number, plan.document, tuple(str(change) for change in stale(plan, hashes_now(folder, job, plan))))
    result = fit.run(
        job,
        planned,
        recorded,
        earlier_plans=fitting.plans_of(folder, recorded),
        photos_now=fitting.photos_now(folder, recorded),
        record_findings=(cut_off,) if cut_off else (),
    )
    path = _keep(given, job, result, {})
    words = f"{fit_text(result.document)}\n\n{added} entries added, {len(recorded)} recorded; kept in {path}"
    _done(given, {**result.document, "added": added}, words)
    return SOMETHING_WRONG if result.wrong else NOTHING_WRONG


def _entries(
    given: argparse.Namespace, job: "Job", plan: dict[str, Any], recorded: "Sequence[dict[str, Any]]"
) -> "Iterable[Entered]":
    """Entries of the file named, else typed at a terminal, else none: what is recorded is judged again."""
    from pathlib import Path

    from gearcase.job.entries import ask_entries, read_entries
    from gearcase.record.fitting import missing_photos
    from gearcase.stages import fit

    folder, card = Path(given.job), fit.card(job, plan)
    if given.entries:
        entered = read_entries(Path(given.entries), card)
        problems = [problem for entry in entered for problem in missing_photos(folder, entry)]
        if not given.by:
            accepted = "who did it: --by NAME, or by in each entry"
            problems += [Problem(entry.where, "by", "nobody", accepted) for entry in entered if not entry.model.by]
        if problems:
            raise BadInput(problems)
        return entered
    if sys.stdin.isatty():
        if not given.by:
            raise BadInput(Problem("--by", "", "nobody", "who did it: --by NAME"))
        mounts = {part["name"]: part["mount"] for part in plan["parts"]}
        return ask_entries(card, mounts, ask=_ask, tell=_tell, refuses=lambda entry: tuple(missing_photos(folder, entry)))
    if not recorded:
        raise BadInput(Problem("--entries", "", "none", "a file of entries, or a terminal to type them at"))
    return ()


def _ask(question: str) -> str:
    """A question on standard error and its answer: standard output is the result's."""
    print(question, end="", file=sys.stderr, flush=True)
    answer = sys.stdin.readline()
    if not answer:
        raise EOFError
    return answer


def _tell(line: str) -> None:
    print(line, file=sys.stderr, flush=True)


def _diagnose(given: argparse.Namespace) -> int:
    from gearcase.drawings.text import diagnose_text
    from gearcase.stages import diagnose

    job = _load(given)
    result = diagnose.run(job, _watched(_recordings(given, job), given))
    path = _keep(given, job, result, {})
    _done(given, result.document, f"{diagnose_text(result.document)}\n\nkept in {path}")
    return SOMETHING_WRONG if result.wrong else NOTHING_WRONG


def _baseline(given: argparse.Namespace) -> int:
    from pathlib import Path

    from gearcase.drawings.text import baseline_text
    from gearcase.record.clock import unix_now
    from gearcase.record.store import Store, store_path
    from gearcase.stages import baseline

    job, path = _load(given), store_path(Path(given.job))
    if not path.is_file():
        raise BadInput(Problem(str(path), "", "no readings kept", "watch the drive first: a baseline rests on its readings"))
    with Store.open(path) as store:
        epochs = [event.time_s for event in store.events() if event.kind == "epoch"]
        readings = store.readings(since=max(epochs, default=None))
    result = baseline.run(job, readings, now=unix_now(), approver=given.approver, reason=given.reason, who=given.by)
    kept = _keep(given, job, result, {})
    _done(given, result.document, f"{baseline_text(result.document)}\n\nkept in {kept}")
    return SOMETHING_WRONG if result.wrong else NOTHING_WRONG


def _watch(given: argparse.Namespace) -> int:
    import asyncio
    import contextlib
    import signal
    from pathlib import Path

    from gearcase.device.modbus import connected
    from gearcase.monitor.folder import Folder
    from gearcase.monitor.watch import Watch, evidence_levels, thresholds, voided
    from gearcase.record import results
    from gearcase.record.clock import Pace
    from gearcase.record.store import Event, Store, store_path
    from gearcase.stages import diagnose, watch

    job, folder = _load(given), Path(given.job)
    every, lasting = _quantity("--every", given.every, "time"), _quantity("--for", given.lasting, "time")
    connection = given.connection or job.bus.connection
    if given.folder is None and not connection:
        raise BadInput(Problem("job.yaml", "bus.connection", "", "how the bus is reached, here, as --connection, or --folder"))
    if given.folder is not None and not Path(given.folder).is_dir():
        raise BadInput(Problem("--folder", "", repr(given.folder), "a folder that is there"))
    stored = results.latest(folder, "baseline")
    baseline = stored.document if stored else {"limits": [], "points": []}

    def judge(recording: "Recording") -> dict[str, Any]:
        result = diagnose.run(job, [recording])
        _keep(given, job, result, {})
        return result.document

    def tell(event: Event) -> None:
        if not given.json:
            print(f"{event.kind}: {event.point + ': ' if event.point else ''}{event.says}", file=sys.stderr, flush=True)

    with Store.open(store_path(folder)) as store:
        if why := voided(baseline, store.events()):
            baseline = {"limits": [], "points": []}
            print(f"the limits are void: {why}; take the baseline again", file=sys.stderr)
        newest = max((reading.time_s for reading in store.latest()), default=0.0)
        pace = Pace(_times(given), not_before=newest)

        async def follow(stop: asyncio.Event) -> None:
            followed = Folder(Path(given.folder), job, store, pace.clock, judge, tell)
            while not stop.is_set():
                await asyncio.to_thread(followed.look)
                await _until(stop, pace.real(every or 10.0))

        async def guard() -> "StageResult":
            stop = asyncio.Event()
            loop = asyncio.get_running_loop()
            for name in (signal.SIGINT, signal.SIGTERM):
                with contextlib.suppress(NotImplementedError):
                    loop.add_signal_handler(name, stop.set)
            if lasting:
                loop.call_later(pace.real(lasting), stop.set)
            if given.folder is not None:
                await follow(stop)
                return watch.run(job, [], store.events(), light="", rounds=0)
            async with connected(connection, baud=job.bus.baud) as bus:
                watching = Watch(
                    job,
                    bus,
                    store,
                    thresholds(baseline),
                    evidence_levels(baseline),
                    pace.clock,
                    lambda seconds: _until(stop, pace.real(seconds)),
                    judge,
                    tell,
                )
                await watching.run(stop, every=every or 10.0)
            return watch.run(job, watching.conditions(), store.events(), light=watching.shown, rounds=watching.rounds)

        result = asyncio.run(guard())
    path = _keep(given, job, result, {})
    _done(given, result.document, f"{result.document['statement']}\nkept in {path}")
    return SOMETHING_WRONG if result.wrong else NOTHING_WRONG


async def _until(stop: "asyncio.Event", seconds: float) -> None:
    """Wait so long, or until it is time to stop."""
    import asyncio
    import contextlib

    with contextlib.suppress(TimeoutError):
        await asyncio.wait_for(stop.wait(), seconds)


def _epoch(given: argparse.Namespace) -> int:
    from gearcase.stages.watch import EPOCHS

    if given.kind not in EPOCHS:
        raise BadInput(Problem("KIND", "", repr(given.kind), f"one of: {', '.join(EPOCHS)}"))
    return _declare(given, "epoch", f"{given.kind}: {EPOCHS[given.kind]}" + (f"; {given.says}" if given.says else ""))


def _acknowledge(given: argparse.Namespace) -> int:
    return _declare(given, "acknowledged", "seen; the condition stays until it clears")


def _declare(given: argparse.Namespace, kind: str, says: str) -> int:
    """Put what a person says into the diary."""
    from pathlib import Path

    from gearcase.record.clock import unix_now
    from gearcase.record.store import Event, Store, store_path

    job = _load(given)
    names = [point.name for point in job.points]
    problems = [] if given.by.strip() else [Problem("--by", "", "nobody", "who says so: --by NAME")]
    if given.point and given.point not in names:
        problems.append(Problem("--point", "", repr(given.point), f"one of: {'; '.join(names)}"))
    if problems:
        raise BadInput(problems)
    with Store.open(store_path(Path(given.job))) as store:
        store.add_event(Event(unix_now(), kind, given.point, says, given.by, {}))
    return _done(given, {"schema": f"{kind}/1", "point": given.point, "says": says, "who": given.by}, f"{kind}: {says}")


def _times(given: argparse.Namespace) -> float:
    if not 1 <= given.times <= 1000:
        raise BadInput(Problem("--times", "", f"{given.times:g}", "1 to 1000"))
    return float(given.times)


def _handover(given: argparse.Namespace) -> int:
    from pathlib import Path

    from gearcase.checksums import sha256_of_data
    from gearcase.drawings.installed import tag_list
    from gearcase.drawings.report import handover_html, handover_pdf
    from gearcase.record import results
    from gearcase.record.clock import now
    from gearcase.record.freshness import hashes_now, stale
    from gearcase.stages import handover

    job = _load(given)
    folder, when = Path(given.job), now()
    earlier = {}
    for stage in handover.GATHERED:
        stored = results.latest(folder, stage)
        if stored is not None:
            changed = stale(stored, hashes_now(folder, job, stored))
            earlier[stage] = handover.Earlier(
                stored.number, stored.document, stored.arrays(), tuple(str(change) for change in changed)
            )
    previous = results.latest(folder, "handover")
    result, content = handover.run(
        job,
        earlier,
        who=given.by,
        date=when[:10],
        number=previous.number + 1 if previous else 1,
        checksum=sha256_of_data,
        accept_stale_by=given.accept_stale,
    )
    pictures = {"handover.pdf": handover_pdf(content), "handover.html": handover_html(content).encode()}
    if content.plan:
        pictures["tags.csv"] = tag_list(content.plan["bus"]["devices"])
    path = _keep(given, job, result, pictures)
    _done(
        given,
        {**result.document, "pdf": str(path / "handover.pdf"), "html": str(path / "handover.html")},
        "\n".join(
            [
                result.document["statement"],
                *(f"open contradiction: {says}" for says in result.document["contradictions"]),
                f"PDF: {path / 'handover.pdf'}",
                f"web page: {path / 'handover.html'}",
            ]
        ),
    )
    return SOMETHING_WRONG if result.wrong else NOTHING_WRONG


def _serve(given: argparse.Namespace) -> int:
    """Pages until Ctrl-C. A broken job is shown on its pages; only a folder that is none is refused."""
    import contextlib
    import socket
    from pathlib import Path

    import uvicorn

    from gearcase.web.app import make_app

    folder = Path(given.job)
    if not (folder / "job.yaml").is_file():
        raise BadInput(Problem(given.job, "", "", "a job's folder, the one that holds job.yaml"))
    if not given.port.isdecimal() or not 1 <= int(given.port) <= 65535:
        raise BadInput(Problem("--port", "", repr(given.port), "a number from 1 to 65535"))
    with socket.socket() as listener:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind(("127.0.0.1", int(given.port)))
        except OSError as error:
            raise BadInput(Problem("--port", "", given.port, f"a free port, named with --port ({error.strerror})")) from None
        address = f"http://127.0.0.1:{given.port}/"
        _done(given, {"schema": "serve/1", "address": address}, f"{address}   Ctrl-C stops it")
        sys.stdout.flush()
        app = make_app(folder, events=lambda: _events(folder))
        server = uvicorn.Server(uvicorn.Config(app, log_level="warning", access_log=False, server_header=False))
        with contextlib.suppress(KeyboardInterrupt):  # the server has stopped in good order before it passes this on
            server.run(sockets=[listener])
    return NOTHING_WRONG


def _events(folder: "Path") -> list[dict[str, Any]]:
    """What the watch has seen, for the diary."""
    from gearcase.record.store import Store, store_path

    path = store_path(folder)
    if not path.is_file():
        return []
    with Store.open(path) as store:
        return [vars(event) for event in store.events()]


def _schema(given: argparse.Namespace) -> int:
    import json

    from gearcase.job.schema import json_schema

    print(json.dumps(json_schema(), indent=2))
    return NOTHING_WRONG


def _load(given: argparse.Namespace) -> "Job":
    from pathlib import Path

    from gearcase.job.build import load

    return load(Path(given.job))


def _recordings(given: argparse.Namespace, job: "Job") -> "Iterator[Recording]":
    """Files named in the call, else those of the job, read one at a time."""
    from dataclasses import replace
    from pathlib import Path

    from gearcase.record.freshness import recording_names
    from gearcase.record.readers import read_recording

    if given.recording:
        yield from (_read_named(given, job, Path(name)) for name in given.recording)
        return
    if not job.recordings:
        accepted = "a recording: name its file after the job, or list it in job.yaml under recordings"
        raise BadInput(Problem("gearcase diagnose", "RECORDING", "none", accepted))
    names = recording_names(job)
    for entry in sorted(job.recordings, key=lambda entry: entry.start):
        recording = read_recording(
            Path(given.job) / entry.file,
            rate_hz=entry.rate_hz,
            unit=entry.unit or None,
            speed_hz=entry.speed_hz,
            channel=entry.channel or None,
            point=entry.point,
            start=entry.start,
        )
        yield replace(recording, name=names[entry.file])


def _watched(recordings: "Iterator[Recording]", given: argparse.Namespace) -> "Iterator[Recording]":
    """Say which recording is being judged, while a person looks."""
    watched = sys.stderr.isatty() and not given.json
    for number, recording in enumerate(recordings, start=1):
        if watched:
            print(f"\r\033[Kjudging {number}: {recording.name} ({recording.found})", end="", file=sys.stderr, flush=True)
        yield recording
    if watched:
        print("\r\033[K", end="", file=sys.stderr, flush=True)


def _read_named(given: argparse.Namespace, job: "Job", path: "Path") -> "Recording":
    from gearcase.record.readers import read_recording

    if given.point and given.point not in {point.name for point in job.points}:
        names = ", ".join(point.name for point in job.points) or "none: the job lists no points"
        raise BadInput(Problem("--point", "", repr(given.point), f"a point of the job: {names}"))
    return read_recording(
        path,
        rate_hz=_quantity("--rate", given.rate, "frequency"),
        unit=given.unit,
        speed_hz=_quantity("--speed", given.speed, "speed"),
        channel=given.channel,
        point=given.point or "",
    )


def _quantity(option: str, text: str | None, kind: str) -> float | None:
    """An option's quantity as SI. A bare sample rate counts as Hz: nobody means anything else by it."""
    from gearcase import units

    if text is None:
        return None
    if kind == "frequency" and text.replace(".", "", 1).isdigit():
        text = f"{text} Hz"
    try:
        value = units.parse(text, kind)
    except OutOfRange as error:
        raise BadInput(Problem(option, "", str(error.value), error.rule)) from None
    if value <= 0:
        raise BadInput(Problem(option, "", repr(text), "above 0"))
    return value


def _keep(given: argparse.Namespace, job: "Job", result: "StageResult", pictures: dict[str, bytes]) -> "Path":
    """Write a stage's result under the job."""
    from pathlib import Path

    from gearcase.record import results
    from gearcase.record.clock import now

    return results.write(
        Path(given.job),
        result.stage,
        document=result.document,
        arrays=result.arrays,
        pictures=pictures,
        read=result.read,
        who=given.by,
        when=now(),
    )


def _done(given: argparse.Namespace, document: dict[str, Any], words: str) -> int:
    """Show a result: one JSON document, or words."""
    if given.json:
        import json

        print(json.dumps(document, allow_nan=False))
    else:
        print(words)
    return NOTHING_WRONG


def _refuse(given: argparse.Namespace, error: BadInput) -> int:
    """Show everything wrong with the input, as one document or line by line."""
    if given.json:
        import json

        print(json.dumps({"schema": "error/1", "ok": False, "errors": error.as_dicts()}))
    else:
        for problem in error.problems:
            print(problem, file=sys.stderr)
    return WRONG_INPUT


if __name__ == "__main__":
    sys.exit(main())
