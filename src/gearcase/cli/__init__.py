"""The command line: parse, call one stage, show.

``gearcase VERB JOB``. Exit 0: done and nothing wrong; 1: done, and somebody must act (fault, blocker, unfit recording, zone D);
2: the input or the call was wrong. Heavy imports happen inside the verbs, so that help comes at once.
"""

import argparse
import difflib
import shutil
import sys
import textwrap
from collections.abc import Callable, Sequence
from typing import Any, NoReturn

from gearcase import __version__
from gearcase.cli.answers import NOTHING_WRONG, WRONG_INPUT, refuse
from gearcase.cli.verbs import Verbs, add_verbs
from gearcase.errors import BadInput, GearcaseError, OutOfRange, Problem

__all__ = ["main"]

_WIDEST = 84  # characters of the help, as far as the terminal has them


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one verb. Returns the exit code."""
    words = list(sys.argv[1:] if arguments is None else arguments)
    try:
        parser = _parser(next((word for word in words if word == "--" or not word.startswith("-")), ""))
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
    """A parser that refuses a wrong call as any other bad input is refused, so that ``--json`` holds for it too; of a verb, options
    may stand before, between and behind its words.
    """

    _within = False  # `parse_known_intermixed_args` calls `parse_known_args` again

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        if self._subparsers is not None or self._within:
            return super().parse_known_args(args, namespace)
        self._within = True
        try:
            found, left = self.parse_known_intermixed_args(args, namespace)
        finally:
            self._within = False
        if left:
            self.error(f"unrecognized arguments: {' '.join(left)}")
        return found, left

    def error(self, message: str) -> NoReturn:
        usage = " ".join(self.format_usage().removeprefix("usage:").split())
        raise BadInput(Problem(self.prog, "", message, usage))


def _parser(asked: str) -> argparse.ArgumentParser:
    """With all that one verb takes; a verb that there is not is refused, and what is near it named."""
    width = min(_WIDEST, shutil.get_terminal_size().columns - 2)
    parser = _Parser(
        prog="gearcase",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        epilog=textwrap.fill(
            "Exit codes: 0 done and nothing wrong; 1 done, and a fault, blocker, unfit recording or zone D was found; 2 the input "
            "or the call was wrong. gearcase VERB --help tells more.",
            width,
        ),
    )
    parser.add_argument("--version", action="version", version=f"gearcase {__version__}")
    parser.set_defaults(run=None, json=False)
    verbs = Verbs(parser, asked)
    add_verbs(verbs)
    if asked and asked not in verbs:
        near = "".join(f"did you mean {name}? " for name in difflib.get_close_matches(asked, verbs.names(), n=1))
        accepted = f"gearcase VERB: {near}the verbs are {', '.join(verbs.names())}"
        raise BadInput(Problem("gearcase", "", f"the verb {asked}", accepted))
    says = "Fit, prove and watch monitoring on enclosed gear drives. Advice and record, not a protection system."
    parser.description = f"{textwrap.fill(says, width)}\n\n{verbs.listed(width)}"
    return parser
