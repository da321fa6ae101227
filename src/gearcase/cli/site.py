"""Verbs done at the drive: what was built, what the devices prove, what was found inside, and the rig to try it on."""

import argparse
import sys
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Any

from gearcase.cli.answers import NOTHING_WRONG, SOMETHING_WRONG, done, keep, load, quantity, times
from gearcase.errors import BadInput, OutOfRange, Problem

if TYPE_CHECKING:
    from gearcase.job.build import Job
    from gearcase.job.entries import Entered
    from gearcase.record.results import StoredResult
    from gearcase.stages.proving.session import Key
    from gearcase.stages.result import StageResult

__all__ = ["fit", "opened", "prove", "rig"]

_YEARLY_WITHIN = 60.0  # days in which one goes through the yearly list


def fit(given: argparse.Namespace) -> int:
    """Record what was built, and judge it."""
    from pathlib import Path

    from gearcase.drawings.text import fit_text
    from gearcase.record import fitting, results
    from gearcase.record.clock import now
    from gearcase.record.freshness import hashes_now, stale
    from gearcase.stages import fit

    job, folder = load(given), Path(given.job)
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
    path = keep(given, job, result, {})
    words = f"{fit_text(result.document)}\n\n{added} entries added, {len(recorded)} recorded; kept in {path}"
    done(given, {**result.document, "added": added}, words)
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


def prove(given: argparse.Namespace) -> int:
    """Prove the devices over the wire."""
    import asyncio
    from pathlib import Path

    from gearcase.device.modbus import connected
    from gearcase.drawings.text import prove_text
    from gearcase.record import chain, results
    from gearcase.record.clock import days_before, now
    from gearcase.stages import prove

    job = load(given)
    evidence = Path(given.job) / "results" / "prove" / "evidence.jsonl"
    connection = given.connection or job.bus.connection
    if not connection:
        raise BadInput(Problem("job.yaml", "bus.connection", "", "how the bus is reached, here or as --connection"))
    if not 1 <= given.polls <= 1_000_000:
        raise BadInput(Problem("--polls", "", str(given.polls), "1 to 1000000"))
    points = [point.name for point in job.points]
    wrong = [(option, name) for option in ("tapped", "calibrated") for name in getattr(given, option) if name not in points]
    if wrong:
        raise BadInput([Problem(f"--{option}", "", repr(name), f"one of: {'; '.join(points)}") for option, name in wrong])
    keys = prove.keys(job, yearly=given.yearly)
    fitted, scanned = (results.latest(Path(given.job), stage) for stage in ("fit", "scan"))
    said = prove.Said(
        built=fitted.document if fitted else None,
        tapped=given.tapped,
        calibrated=given.calibrated,
        speed_hz=quantity("--speed", given.speed, "speed"),
        temperature=quantity("--temperature", given.temperature, "temperature"),
        load=quantity("--load", given.load, "ratio"),
        soak=quantity("--soak", given.soak, "time"),
        scanned=scanned.document if scanned else None,
        unplug=given.unplug,
        light_seen=given.light_seen,
        controller=_numbers("--controller", given.controller),
        answers=_said("--say", given.say, [key for key in keys if prove.STEPS[key[0]].answer], check=True),
        owners=_said("--owner", given.owner, keys, check=False),
    )
    parts = _parts(given.parts, len(prove.PARTS))
    kept = chain.read(evidence)

    def record(row: dict[str, Any]) -> dict[str, Any]:
        added = chain.append(evidence, row, who=given.by, when=now())
        words = row["measured"] if row["outcome"] == "passed" else row["says"]
        tell(f"{row['outcome']:6}  {row['device']}, {row['step']}: {words}")
        return added

    def tell(words: str) -> None:
        if not given.json:
            print(words, file=sys.stderr, flush=True)

    async def over_the_wire() -> "StageResult":
        async with connected(connection, baud=job.bus.baud) as bus:
            return await prove.run(
                job,
                bus,
                polls=given.polls,
                said=said,
                kept=kept,
                keep=record,
                parts=parts,
                yearly=given.yearly,
                since=days_before(_YEARLY_WITHIN) if given.yearly else "",
                again=given.again,
                links=bus.links,
                tell=tell,
            )

    result = asyncio.run(over_the_wire())
    path = keep(given, job, result, {})
    done(given, result.document, f"{prove_text(result.document)}\n\nkept in {path}")
    return SOMETHING_WRONG if result.wrong else NOTHING_WRONG


def _said(option: str, given: Sequence[str], keys: "Sequence[Key]", *, check: bool) -> "dict[Key, str]":
    """``STEP = WORDS`` of the installation or ``STEP at DEVICE = WORDS`` of one device, by their keys."""
    from gearcase.stages.prove import INSTALLATION, STEPS
    from gearcase.stages.proving.person import check_answer

    named = {step if device == INSTALLATION else f"{step} at {device}": (step, device) for step, device in keys}
    found, problems = {}, []
    for one in given:
        name, _, words = (part.strip() for part in one.partition("="))
        if name not in named or not words:
            problems.append(Problem(option, "", repr(one), f"STEP = WORDS; steps: {', '.join(named)}"))
            continue
        try:
            if check:
                check_answer(name, STEPS[named[name][0]].answer, words)
        except OutOfRange as error:
            problems.append(Problem(option, name, str(error.value), str(error.rule)))
        found[named[name]] = words
    if problems:
        raise BadInput(problems)
    return found


def _parts(text: str, last: int) -> frozenset[int]:
    """Parts of the list, e.g. ``1-4,6``; all where nothing was given."""
    found: set[int] = set()
    for piece in filter(None, (piece.strip() for piece in (text or f"1-{last}").split(","))):
        first, _, end = piece.partition("-")
        if not first.isdecimal() or not (end or first).isdecimal() or not 1 <= int(first) <= int(end or first) <= last:
            raise BadInput(Problem("--parts", "", repr(text), f"parts of the list, 1 to {last}, e.g. 1-4,6"))
        found.update(range(int(first), int(end or first) + 1))
    return frozenset(found)


def _numbers(option: str, text: str | None) -> tuple[float, ...]:
    """An option's numbers, decimal or 0x..., with commas between."""
    parts = [part.strip().lower() for part in text.split(",")] if text else []
    try:
        return tuple(float(int(part, 16)) if part.startswith("0x") else float(part) for part in parts)
    except ValueError:
        raise BadInput(Problem(option, "", repr(text), "numbers with commas between, e.g. 0x1234,123456789,123.456")) from None


def opened(given: argparse.Namespace) -> int:
    """Record what was found on opening, and tally it."""
    from pathlib import Path

    from gearcase.checksums import sha256_of_data
    from gearcase.drawings.opened_blocks import opened_sheet, opened_text
    from gearcase.drawings.report import report_html, report_pdf
    from gearcase.record import opening, results
    from gearcase.record.clock import now
    from gearcase.stages import opened

    job, folder = load(given), Path(given.job)
    diagnoses = [results.stored(folder, "diagnose", number) for number in results.numbers(folder, "diagnose")]
    before = opening.entries(folder)
    cut_off = opening.torn(folder)  # asked before the next entry sets the piece aside
    for entry in _found(given, job, diagnoses, before):
        opening.keep(folder, entry, who=given.by, when=now())
    recorded = opening.entries(folder)
    result = opened.run(job, diagnoses, recorded, record_findings=(cut_off,) if cut_off else ())
    run = max(results.numbers(folder, "opened"), default=0) + 1
    checksum = sha256_of_data(result.document)[:12]
    sheet = opened_sheet(
        result.document,
        (("job", job.title), ("stage", "opened"), ("run", f"{run:04d}"), ("date", now()[:10]), ("checksum", checksum)),
    )
    pictures = {"found-on-opening.pdf": report_pdf(sheet), "found-on-opening.html": report_html(sheet).encode()}
    path = keep(given, job, result, pictures)
    added = len(recorded) - len(before)
    words = f"{opened_text(result.document)}\n\n{added} entries added; kept in {path}, to fill in by hand: found-on-opening.pdf"
    done(given, {**result.document, "added": added}, words)
    return NOTHING_WRONG


def _found(
    given: argparse.Namespace, job: "Job", diagnoses: "Sequence[StoredResult]", before: "Sequence[dict[str, Any]]"
) -> "Iterator[dict[str, Any]]":
    """The entry of the call; without one, answers to a question for each open verdict at a terminal; else none."""
    from pathlib import Path

    from gearcase.judge.opened import FOUND
    from gearcase.record.clock import now
    from gearcase.record.fitting import photo_hash
    from gearcase.stages.opened import entry, open_verdicts

    said = given.component or given.fault or given.found or given.seen or given.corrects is not None
    asked = not said and sys.stdin.isatty()
    if not said and not asked:
        return
    if not given.by.strip():
        raise BadInput(Problem("--by", "", "nobody", "who says so: --by NAME"))
    photos = [{"file": name, "sha256": photo_hash(Path(given.job), name)} for name in given.photo]
    alike: dict[str, Any] = {"on": given.on or now()[:10], "today": now(), "photos": photos}
    if said:
        named = {name: getattr(given, name) for name in ("component", "fault", "found", "seen", "says", "corrects")}
        yield entry(job, diagnoses, before, **named, **alike)
        return
    for row in open_verdicts(diagnoses, before):
        question = f"{row['component']}: {row['fault'].replace('_', ' ')} ({', '.join(FOUND)}; empty leaves it open): "
        found = _ask(question).strip()
        if not found:
            continue
        seen = _ask("  which pattern instead, empty for none of them: ").strip() if found == "other" else ""
        says = _ask("  anything more: ").strip()
        named = {"component": row["component"], "fault": row["fault"], "found": found, "seen": seen, "says": says, "corrects": None}
        yield entry(job, diagnoses, before, **named, **alike)


def rig(given: argparse.Namespace) -> int:
    """Serve the simulated drive until its orders end."""
    import asyncio
    import time

    from gearcase.device.orders import ORDERS, obey
    from gearcase.device.rig import Rig
    from gearcase.device.serving import serving

    job = load(given)
    speed = quantity("--speed", given.speed, "speed")
    pace = times(given)
    rig = Rig(job, lambda: pace * time.monotonic(), job.drive.rated_speed_hz if speed is None else speed)
    if not rig.units:
        raise BadInput(Problem("job.yaml", "bus.devices", "", "at least one device with a profile, to be simulated"))

    async def serve() -> None:
        async with serving(rig, port=given.port, baud=job.bus.baud) as served:
            units = ", ".join(map(str, rig.units))
            words = f"{served.tcp}\n{served.serial}\nunits {units}; type orders here, one a line: {', '.join(ORDERS)}"
            done(given, {"schema": "rig/1", "tcp": served.tcp, "serial": served.serial, "units": list(rig.units)}, words)
            sys.stdout.flush()
            loop = asyncio.get_running_loop()
            while line := await loop.run_in_executor(None, sys.stdin.readline):
                try:
                    answer = obey(rig, line) if line.strip() else ""
                    print(answer, file=sys.stderr if given.json else sys.stdout, flush=True)
                except OutOfRange as error:
                    print(error, file=sys.stderr, flush=True)

    asyncio.run(serve())
    return NOTHING_WRONG
