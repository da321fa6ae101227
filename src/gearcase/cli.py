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
    from collections.abc import Iterator
    from pathlib import Path

    from gearcase.job.build import Job
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
    for added in (survey, plan, diagnose, handover):
        added.add_argument("--by", metavar="NAME", default="", help="who does this; kept with the result")
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


def _diagnose(given: argparse.Namespace) -> int:
    from gearcase.drawings.text import diagnose_text
    from gearcase.stages import diagnose

    job = _load(given)
    result = diagnose.run(job, _watched(_recordings(given, job), given))
    path = _keep(given, job, result, {})
    _done(given, result.document, f"{diagnose_text(result.document)}\n\nkept in {path}")
    return SOMETHING_WRONG if result.wrong else NOTHING_WRONG


def _handover(given: argparse.Namespace) -> int:
    from pathlib import Path

    from gearcase.checksums import sha256_of_data
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
