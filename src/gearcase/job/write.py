"""Changes job.yaml for a person without losing a comment, and never leaves it half written."""

import io
import os
import tempfile
from pathlib import Path
from typing import Any

from gearcase.errors import BadInput, Problem
from gearcase.job.build import build
from gearcase.job.read import FILE_NAME, Path_, key_text, parse_text, read_source, yaml_parser

__all__ = ["set_value", "write_text"]


def set_value(folder: Path, path: Path_, value: Any) -> None:
    """Set one value of job.yaml, keeping comments and layout.

    Parameters
    ----------
    folder : Path
    path : tuple of str and int
        Keys and indices, e.g. ``("drive", "meshes", 0, "wheel", "teeth")``; an index one past the end appends.
    value : Any
        Plain data.

    Raises
    ------
    BadInput
        The file cannot be read, the path leads nowhere, or the file would no longer be a job; the file then stays as
        it was.
    """
    source = read_source(folder)
    parser = yaml_parser()
    root = parser.load(source.text)
    here: Any = root
    for depth, step in enumerate(path[:-1]):
        try:
            here = here[step]
        except (KeyError, IndexError, TypeError):
            raise BadInput(source.problem(path[: depth + 1], "a key of the file", given="nothing there")) from None
    last = path[-1]
    if isinstance(last, int) and isinstance(here, list) and last == len(here):
        here.append(value)
    else:
        try:
            here[last] = value
        except (IndexError, TypeError):
            raise BadInput(source.problem(path, f"a place in {key_text(path[:-1])}", given="nothing there")) from None
    stream = io.StringIO()
    parser.dump(root, stream)
    build(parse_text(stream.getvalue()), folder=str(folder))
    write_text(folder / FILE_NAME, stream.getvalue())


def write_text(path: Path, text: str) -> None:
    """Replace a file in one step: written beside it, synced, renamed."""
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as stream:
            stream.write(text)
            stream.flush()
            os.fsync(stream.fileno())
        Path(temporary).chmod(0o644)
        Path(temporary).replace(path)
    except OSError as error:
        Path(temporary).unlink(missing_ok=True)
        raise BadInput(Problem(str(path), "", error.strerror or str(error), "a place that can be written")) from None
