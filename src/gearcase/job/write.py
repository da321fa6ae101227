"""Changes job.yaml for a person without losing a comment, and never leaves it half written."""

import io
import os
import re
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ruamel.yaml.util import load_yaml_guess_indent

from gearcase.errors import BadInput, Problem
from gearcase.job.build import build
from gearcase.job.read import FILE_NAME, Path_, Source, key_text, parse_text, read_source, yaml_parser

__all__ = ["add_recording", "set_value", "write_text"]


def set_value(folder: Path, key: str, value: Any) -> None:
    """Set one value of job.yaml, keeping comments and layout.

    Parameters
    ----------
    folder : Path
    key : str
        As errors name it, e.g. ``drive.meshes[0].wheel.teeth``; an index one past the end of a list appends. Sections that
        are not there yet are made.
    value : Any
        Plain data; a quantity is text with its unit.

    Raises
    ------
    BadInput
        The file cannot be read or written, the key leads nowhere, or the file would no longer be a job; it then stays as
        it was.
    """
    source = read_source(folder)
    _put(folder, source, _path(key), value)


def add_recording(folder: Path, entry: Mapping[str, Any]) -> None:
    """List one more recording in job.yaml, e.g. ``{"file": "first.wav", "point": "input end", "speed": "1482 rpm"}``.

    Raises
    ------
    BadInput
        As `set_value`.
    """
    source = read_source(folder)
    listed = source.value(("recordings",))
    _put(folder, source, ("recordings", len(listed) if isinstance(listed, list) else 0), dict(entry))


def write_text(path: Path, text: str) -> None:
    """Replace a file in one step: written beside it, synced, renamed.

    Raises
    ------
    BadInput
        The place cannot be written.
    """
    path = path.resolve()  # a link stays a link
    temporary = None
    try:
        mode = path.stat().st_mode & 0o777 if path.exists() else 0o644
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as stream:
            stream.write(text)
            stream.flush()
            os.fsync(stream.fileno())
        Path(temporary).chmod(mode)
        Path(temporary).replace(path)
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)  # the new name itself
        finally:
            os.close(folder)
    except OSError as error:
        if temporary:
            Path(temporary).unlink(missing_ok=True)
        raise BadInput(Problem(str(path), "", error.strerror or str(error), "a place that can be written")) from None


def _put(folder: Path, source: Source, path: Path_, value: Any) -> None:
    text = source.text.replace("\r\n", "\n")
    root, _, offset = load_yaml_guess_indent(text, yaml=yaml_parser())
    here: Any = root
    for depth, step in enumerate(path[:-1]):
        if isinstance(here, dict) and isinstance(step, str) and here.get(step) is None:
            here[step] = [] if isinstance(path[depth + 1], int) else {}
        try:
            here = here[step]
        except (KeyError, IndexError, TypeError):
            raise BadInput(source.problem(path[: depth + 1], "a key of the file", given="nothing there")) from None
    last = path[-1]
    if isinstance(here, list) and isinstance(last, int) and last < len(here):
        here[last] = value
    elif isinstance(here, list) and last == len(here):
        here.append(value)
    elif isinstance(here, dict) and isinstance(last, str):
        here[last] = value
    else:
        raise BadInput(source.problem(path, f"a place in {key_text(path[:-1])}", given="nothing there"))
    parser = yaml_parser()
    offset = 2 if offset is None else offset
    first = re.search(r"^[^\s#][^\n]*:[^\n]*\n(?:\s*(?:#[^\n]*)?\n)*( +)[^\s#-]", text, re.MULTILINE)
    parser.indent(mapping=len(first[1]) if first else 2, sequence=2 + offset, offset=offset)
    stream = io.StringIO()
    parser.dump(root, stream)
    text = stream.getvalue()
    build(parse_text(text), folder=str(folder))
    write_text(folder / FILE_NAME, text.replace("\n", "\r\n") if "\r\n" in source.text else text)


def _path(key: str) -> Path_:
    """``drive.meshes[0].teeth`` as its steps."""
    if not re.fullmatch(r"[^.\[\]]+(\[\d+\]|\.[^.\[\]]+)*", key):
        raise BadInput(Problem(FILE_NAME, key, "", "a key as errors name it, e.g. drive.meshes[0].wheel.teeth"))
    return tuple(int(index) if index else word for index, word in re.findall(r"\[(\d+)\]|([^.\[\]]+)", key))
