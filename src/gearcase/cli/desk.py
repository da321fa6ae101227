"""Verbs done at a desk: the job's file, survey, plan, diagnosis, handover and pages."""

import argparse
import re
import sys
from typing import TYPE_CHECKING, Any

from gearcase.cli.answers import NOTHING_WRONG, SOMETHING_WRONG, done, keep, load, quantity
from gearcase.errors import BadInput, Problem

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from pathlib import Path

    from gearcase.job.build import Job, RecordingEntry
    from gearcase.signal.recording import Recording

__all__ = ["check", "diagnose", "handover", "new", "plan", "plot", "publish", "schema", "serve", "survey"]


def new(given: argparse.Namespace) -> int:
    """Make a job folder."""
    from pathlib import Path

    from gearcase.job.template import new_job

    path = new_job(Path(given.job), given.title, given.kind)
    return done(given, {"schema": "new/1", "job": str(path)}, f"{path}\nFill it in, then: gearcase check {given.job}")


def check(given: argparse.Namespace) -> int:
    """Read job.yaml and say everything wrong with it."""
    from gearcase.stages.result import finding_document, has_blocker

    job = load(given)
    document = {
        "schema": "check/1",
        "job": job.title,
        "ok": not has_blocker(job.findings),
        "findings": [finding_document(finding) for finding in job.findings],
    }
    words = [f"{finding.level}: {finding.where}: {finding.says}" for finding in job.findings] or ["job.yaml: nothing wrong"]
    done(given, document, "\n".join(words))
    return SOMETHING_WRONG if has_blocker(job.findings) else NOTHING_WRONG


def survey(given: argparse.Namespace) -> int:
    """What turns, what can be seen, what is unknown."""
    from dataclasses import replace
    from pathlib import Path

    from gearcase.drawings.pictures import survey_pictures
    from gearcase.drawings.report import ask_for_sheet_html, ask_for_sheet_pdf
    from gearcase.drawings.text import survey_text
    from gearcase.stages import survey

    job = load(given)
    there = tuple(entry for entry in job.recordings if (Path(given.job) / entry.file).is_file())  # taken later, as a rule
    heard = _recordings(given, replace(job, recordings=there)) if given.recording or there else ()
    result = survey.run(job, _watched(heard, given))
    pictures = {
        **{picture.name: picture.svg.encode() for picture in survey_pictures(result.document)},
        "ask-for.pdf": ask_for_sheet_pdf(job.title, job.site, result.document),
        "ask-for.html": ask_for_sheet_html(job.title, job.site, result.document).encode(),
    }
    path = keep(given, job, result, pictures)
    done(
        given,
        result.document,
        f"{survey_text(result.document)}\n\nkept in {path}, with the ask-for sheet to print: ask-for.pdf",
    )
    return SOMETHING_WRONG if result.wrong else NOTHING_WRONG


def plan(given: argparse.Namespace) -> int:
    """How the kit goes on."""
    from pathlib import Path

    from gearcase.checksums import sha256_of_data
    from gearcase.drawings.beside import plan_drawings
    from gearcase.drawings.drafting import TitleBlock
    from gearcase.drawings.list_blocks import leaving_page, work_card
    from gearcase.drawings.report import report_html, report_pdf
    from gearcase.drawings.text import plan_text
    from gearcase.record import results
    from gearcase.record.clock import now
    from gearcase.stages import plan

    job = load(given)
    result = plan.run(job, today=now())
    run = max(results.numbers(Path(given.job), "plan"), default=0) + 1
    block = TitleBlock(job.title, "plan", f"{run:04d}", now()[:10], sha256_of_data(result.document)[:12])
    pictures = plan_drawings(result.document, block=block)
    for name, sheet in (("work-card", work_card), ("before-you-leave-home", leaving_page)):
        report = sheet(result.document, block)
        pictures |= {f"{name}.pdf": report_pdf(report), f"{name}.html": report_html(report).encode()}
    path = keep(given, job, result, pictures)
    words = "kept in {}, with drawings and, to print: work-card.pdf, before-you-leave-home.pdf"
    done(given, result.document, f"{plan_text(result.document)}\n\n{words.format(path)}")
    return SOMETHING_WRONG if result.wrong else NOTHING_WRONG


def diagnose(given: argparse.Namespace) -> int:
    """Judge recordings."""
    from gearcase.drawings.text import diagnose_text
    from gearcase.stages import diagnose
    from gearcase.stages.one_figure import only_figures

    job = load(given)
    without = only_figures(job.points) and not (
        given.recording or job.recordings
    )  # an answer too: what cannot be told, and the cure
    result = diagnose.run(job, () if without else _watched(_recordings(given, job), given))
    path = keep(given, job, result, {})
    done(given, result.document, f"{diagnose_text(result.document)}\n\nkept in {path}")
    return SOMETHING_WRONG if result.wrong else NOTHING_WRONG


def plot(given: argparse.Namespace) -> int:
    """Write one plot of the latest recording, of a point if one is named."""
    from pathlib import Path

    from gearcase.drawings.recording_plots import KINDS, Judged, plot
    from gearcase.drawings.typeset import sheet_png
    from gearcase.stages import diagnose, survey

    path = Path(given.into)
    if path.suffix not in (".svg", ".png"):
        raise BadInput(Problem("--into", "", given.into, "a file whose name ends in .svg or .png"))
    if given.kind not in KINDS:
        raise BadInput(Problem("--kind", "", given.kind, f"one of {', '.join(KINDS)}"))
    job = load(given)
    result = diagnose.run(job, _watched(_recordings(given, job), given))
    judged = result.document["recordings"]
    at_point = [number for number, one in enumerate(judged) if not given.point or one["point"] == given.point]
    if not at_point:
        raise BadInput(Problem("--point", "", given.point, "a point of which the job lists a recording"))
    found = plot(given.kind, Judged(survey.run(job).document, result.document, result.arrays, at_point[-1]))
    name = judged[at_point[-1]]["name"]
    if found is None:
        raise BadInput(Problem(name, "--kind", given.kind, KINDS[given.kind][1]))
    path.write_bytes(found.sheet.svg(found.title).encode() if path.suffix == ".svg" else sheet_png(found.sheet, found.title))
    document = {"schema": "plot/1", "kind": given.kind, "recording": name, "says": found.says, "file": str(path)}
    return done(given, document, f"{found.says}\n{found.caption}\n\nkept in {path}")


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
        raise BadInput(Problem(f"gearcase {given.run.__name__}", "RECORDING", "none", accepted))
    names = recording_names(job)
    for number, entry in sorted(enumerate(job.recordings), key=lambda numbered: numbered[1].start):
        try:
            recording = read_recording(
                Path(given.job) / entry.file,
                rate_hz=entry.rate_hz,
                unit=entry.unit or None,
                speed_hz=entry.speed_hz,
                channel=entry.channel or None,
                tachometer=entry.tachometer or None,
                point=entry.point,
                start=entry.start,
            )
        except BadInput as error:
            raise BadInput(_of_job(problem, number, entry) for problem in error.problems) from error
        yield replace(recording, name=names[entry.file], taken=entry.taken)


def _of_job(problem: Problem, number: int, entry: "RecordingEntry") -> Problem:
    """A problem with a recording that the job lists, where the job says it: a key of job.yaml, no option of the call."""
    key = problem.key.removeprefix("--")
    if key not in entry.lines:
        return problem
    accepted = re.sub(rf'--{key} (".*?")', rf"{key}: \1", problem.accepted).replace(f"--{key}", key)
    return Problem(entry.lines[key], f"recordings[{number}].{key}", f"{problem.given or 'none'} for {problem.where}", accepted)


def _watched(recordings: "Iterable[Recording]", given: argparse.Namespace) -> "Iterator[Recording]":
    """Say which recording is being listened to, while a person looks."""
    watched = sys.stderr.isatty() and not given.json
    for number, recording in enumerate(recordings, start=1):
        if watched:
            print(f"\r\033[K{number}: {recording.name} ({recording.found})", end="", file=sys.stderr, flush=True)
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
        rate_hz=quantity("--rate", given.rate, "frequency"),
        unit=given.unit,
        speed_hz=quantity("--speed", given.speed, "speed"),
        channel=given.channel,
        point=given.point or "",
    )


def handover(given: argparse.Namespace) -> int:
    """Make what the owner gets."""
    from pathlib import Path

    from gearcase.checksums import sha256_of_data
    from gearcase.drawings.installed import tag_list
    from gearcase.drawings.report import handover_html, handover_pdf
    from gearcase.record import results
    from gearcase.record.clock import now
    from gearcase.record.freshness import changes
    from gearcase.stages import handover

    job = load(given)
    folder, when = Path(given.job), now()
    earlier = {}
    for stage in handover.GATHERED:
        stored = results.latest(folder, stage)
        if stored is not None:
            changed = changes(folder, job, stored)
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
    if content.plan or content.publish:
        bus: Mapping[str, Any] = content.plan["bus"] if content.plan else {"devices": ()}
        pictures["tags.csv"] = tag_list(bus["devices"], bus.get("profiles", {}), content.publish)
    path = keep(given, job, result, pictures)
    done(
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


def publish(given: argparse.Namespace) -> int:
    """Where each value stands for the plant, as the controls sheet."""
    from pathlib import Path

    from gearcase.checksums import sha256_of_data
    from gearcase.drawings.installed import tag_list
    from gearcase.drawings.plant_sheet import plant_sheet
    from gearcase.drawings.report import report_html, report_pdf
    from gearcase.record import results
    from gearcase.record.clock import now
    from gearcase.stages import publish

    job, folder = load(given), Path(given.job)
    stored = results.latest(folder, "publish")
    result = publish.run(job, stored.document["values"] if stored else ())
    run, checksum = (stored.number if stored else 0) + 1, sha256_of_data(result.document)[:12]
    facts = (("job", job.title), ("stage", "publish"), ("run", f"{run:04d}"), ("date", now()[:10]), ("checksum", checksum))
    sheet = plant_sheet(result.document, facts)
    pictures = {
        "controls.pdf": report_pdf(sheet),
        "controls.html": report_html(sheet).encode(),
        "tags.csv": tag_list((), told=result.document),
    }
    path = keep(given, job, result, pictures)
    return done(given, result.document, f"{result.document['statement']}\nkept in {path}: controls.pdf, controls.html, tags.csv")


def serve(given: argparse.Namespace) -> int:
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
        done(given, {"schema": "serve/1", "address": address}, f"{address}   Ctrl-C stops it")
        sys.stdout.flush()
        app = make_app(folder, events=lambda: _events(folder))
        server = uvicorn.Server(uvicorn.Config(app, log_level="warning", access_log=False, server_header=False))
        with contextlib.suppress(KeyboardInterrupt):  # the server has stopped in good order before it passes this on
            server.run(sockets=[listener])
    return NOTHING_WRONG


def _events(folder: "Path") -> list[dict[str, Any]]:
    """What the watch has seen, for the diary."""
    from gearcase.job.build import load as load_job
    from gearcase.record.store import is_made, open_store

    try:
        address = load_job(folder).store
    except BadInput:  # its page says so; what the watch has seen in the job's own file is shown all the same
        address = ""
    if not is_made(folder, address):
        return []
    with open_store(folder, address) as store:
        return [vars(event) for event in store.events()]


def schema(given: argparse.Namespace) -> int:
    """Print the JSON Schema of job.yaml."""
    import json

    from gearcase.job.schema import json_schema

    print(json.dumps(json_schema(), indent=2))
    return NOTHING_WRONG
