"""What every verb needs: exit codes, reading the job and the options, keeping a result, showing it or what was wrong."""

import argparse
import sys
from typing import TYPE_CHECKING, Any

from gearcase.cli.folding import to_terminal
from gearcase.errors import BadInput, OutOfRange, Problem

if TYPE_CHECKING:
    from pathlib import Path

    from gearcase.job.build import Job
    from gearcase.stages.result import StageResult

__all__ = ["NOTHING_WRONG", "SOMETHING_WRONG", "WRONG_INPUT", "done", "keep", "load", "quantity", "refuse", "times"]

NOTHING_WRONG, SOMETHING_WRONG, WRONG_INPUT = 0, 1, 2


def load(given: argparse.Namespace) -> "Job":
    from pathlib import Path

    from gearcase.job.build import load

    return load(Path(given.job))


def quantity(option: str, text: str | None, kind: str) -> float | None:
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


def times(given: argparse.Namespace) -> float:
    if not 1 <= given.times <= 1000:
        raise BadInput(Problem("--times", "", f"{given.times:g}", "1 to 1000"))
    return float(given.times)


def keep(given: argparse.Namespace, job: "Job", result: "StageResult", pictures: dict[str, bytes]) -> "Path":
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


def done(given: argparse.Namespace, document: dict[str, Any], words: str) -> int:
    """Show a result: one JSON document, or words."""
    if given.json:
        import json

        print(json.dumps(document, allow_nan=False))
    else:
        print(to_terminal(words, sys.stdout))
    return NOTHING_WRONG


def refuse(given: argparse.Namespace, error: BadInput) -> int:
    """Show everything wrong with the input, as one document or line by line."""
    if given.json:
        import json

        print(json.dumps({"schema": "error/1", "ok": False, "errors": error.as_dicts()}))
    else:
        for problem in error.problems:
            print(to_terminal(str(problem), sys.stderr), file=sys.stderr)
    return WRONG_INPUT
