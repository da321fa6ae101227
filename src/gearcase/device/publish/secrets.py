"""Passwords from their files. They go where they are asked for, and nowhere else: not into words, diaries or results."""

import stat
from pathlib import Path

from gearcase.errors import BadInput, Problem

__all__ = ["password"]

_LONGEST = 1024


def password(path: Path) -> str:
    """The password in a file, without the end of its line.

    Raises
    ------
    BadInput
        The file cannot be read, is empty, or others than its owner may read it.
    """
    try:
        if path.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO):
            raise BadInput(Problem(str(path), "", "readable by others", f"readable by its owner alone: chmod 600 {path}"))
        text = path.read_bytes()[: _LONGEST + 2].decode().rstrip("\r\n")
    except OSError as error:
        raise BadInput(Problem(str(path), "", error.strerror or "", "a file that holds the password")) from None
    except UnicodeDecodeError:
        raise BadInput(Problem(str(path), "", "bytes that are no text", "one line of text")) from None
    if not text or len(text) > _LONGEST or "\n" in text:
        raise BadInput(Problem(str(path), "", "", f"one line with the password, at most {_LONGEST} characters"))
    return text
