"""Passwords and other secrets from where they are. They go where they are asked for and nowhere else: into no words or results."""

import os
import stat
from pathlib import Path

from gearcase.errors import BadInput, Problem
from gearcase.job.secret_schema import Secret, Variable

__all__ = ["password", "place_of"]

_LONGEST = 1024


def password(held: Secret) -> str:
    """The password in a file, without the end of its line, or in a variable of the program's environment.

    Raises
    ------
    BadInput
        The file cannot be read, is empty, or others than its owner may read it; the variable is not set or empty.
    """
    where = place_of(held)
    text = os.environ.get(held.name) if isinstance(held, Variable) else _in_file(held)
    if text is None:
        accepted = "set where the program is started: with EnvironmentFile= of its unit, a file readable by its owner alone"
        raise BadInput(Problem(where, "", "not set", accepted))
    if not text or len(text) > _LONGEST or "\n" in text:
        raise BadInput(Problem(where, "", "", f"one line with the password, at most {_LONGEST} characters"))
    return text


def place_of(held: Secret) -> str:
    """Where a secret is, in words."""
    return f"environment variable {held.name}" if isinstance(held, Variable) else str(held)


def _in_file(path: Path) -> str:
    try:
        if path.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO):
            raise BadInput(Problem(str(path), "", "readable by others", f"readable by its owner alone: chmod 600 {path}"))
        return path.read_bytes()[: _LONGEST + 2].decode().rstrip("\r\n")
    except OSError as error:
        raise BadInput(Problem(str(path), "", error.strerror or "", "a file that holds the password")) from None
    except UnicodeDecodeError:
        raise BadInput(Problem(str(path), "", "bytes that are no text", "one line of text")) from None
