"""The command line: parse, call one stage, show.

``gearcase VERB JOB``. Exit 0: done and nothing wrong; 1: done, and somebody must act (fault, blocker, unfit recording, zone D);
2: the input or the call was wrong. Heavy imports happen inside the verbs, so that help comes at once.
"""

import argparse
import sys
from collections.abc import Callable, Sequence
from typing import NoReturn

from gearcase import __version__
from gearcase.cli.answers import NOTHING_WRONG, WRONG_INPUT, refuse
from gearcase.cli.verbs import Verbs, add_verbs
from gearcase.errors import BadInput, GearcaseError, OutOfRange, Problem

__all__ = ["main"]


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one verb. Returns the exit code."""
    words = list(sys.argv[1:] if arguments is None else arguments)
    parser = _parser(next((word for word in words if word == "--" or not word.startswith("-")), ""))
    try:
        given = parser.parse_args(words)
    except BadInput as error:
        asked = any(len(word) > 2 and "--json".startswith(word) for word in words)  # argparse takes --js as well
        return refuse(argparse.Namespace(json=asked), error)
    except SystemExit as stop:  # help or version: argparse has already spoken
        return WRONG_INPUT if stop.code else NOTHING_WRONG
    if given.run is None:
        parser.print_help()
        return WRONG_INPUT
    try:
        run: Callable[[argparse.Namespace], int] = given.run
        return run(given)
    except BadInput as error:
        return refuse(given, error)
    except OutOfRange as error:
        return refuse(given, BadInput(Problem(error.name, "", str(error.value), error.rule)))
    except GearcaseError as error:
        return refuse(given, BadInput(Problem("", "", "", str(error))))
    except BrokenPipeError:
        return NOTHING_WRONG
    except KeyboardInterrupt:
        return refuse(given, BadInput(Problem("stopped by hand", "", "", "run it again: nothing kept before is lost")))
    except OSError as error:
        return refuse(given, BadInput(Problem(str(error.filename or ""), "", "", error.strerror or str(error))))
    except Exception as error:  # a defect must not look like an answer: exit 1 says that a fault of the drive was found
        import traceback

        place = traceback.extract_tb(error.__traceback__)[-1]
        says = f"{type(error).__name__}: {error} ({place.filename.rpartition('/')[2]}:{place.lineno})"
        return refuse(given, BadInput(Problem("gearcase itself failed", "", says, "nothing kept before is lost; please report it")))


class _Parser(argparse.ArgumentParser):
    """A parser that refuses a wrong call as any other bad input is refused, so that ``--json`` holds for it too."""

    def error(self, message: str) -> NoReturn:
        usage = " ".join(self.format_usage().removeprefix("usage:").split())
        raise BadInput(Problem(self.prog, "", message, usage))


def _parser(asked: str | None) -> argparse.ArgumentParser:
    """With all that one verb takes; with every verb's where there is none of that name, to be offered."""
    parser = _Parser(
        prog="gearcase",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        epilog="Exit codes: 0 done and nothing wrong; 1 done, and a fault, blocker, unfit recording or\n"
        "zone D was found; 2 the input or the call was wrong. gearcase VERB --help tells more.",
    )
    parser.add_argument("--version", action="version", version=f"gearcase {__version__}")
    parser.set_defaults(run=None, json=False)
    verbs = Verbs(parser, asked)
    add_verbs(verbs)
    if asked and asked not in verbs:
        return _parser(None)
    parser.description = (
        "Fit, prove and watch monitoring on enclosed gear drives. Advice and record, not a\nprotection system.\n\n" + verbs.listed()
    )
    return parser
