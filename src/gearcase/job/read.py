"""Reads job.yaml: plain data with the line of every key, and every error at once, in words for the person who wrote
it.
"""

import difflib
import types
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo
from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap, CommentedSeq
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.events import AliasEvent

from gearcase.errors import BadInput, Problem
from gearcase.job.schema import JobModel

__all__ = ["FILE_NAME", "Source", "key_text", "parse_text", "read_source", "validate", "yaml_parser"]

FILE_NAME = "job.yaml"
LARGEST = 1_000_000  # bytes; a job file of a large drive has twenty thousand
_LONGEST_SHOWN = 60

Path_ = tuple[str | int, ...]


@dataclass(frozen=True)
class Source:
    """A job file as read.

    Attributes
    ----------
    text : str
    data : dict
        Plain data; keys left empty are left out.
    lines : mapping
        Path of keys and indices -> line, counted from 1.
    """

    text: str
    data: dict[str, Any]
    lines: Mapping[Path_, int]

    def where(self, path: Path_) -> str:
        """``job.yaml:14`` for a key, or for the nearest key around it."""
        while path and path not in self.lines:
            path = path[:-1]
        return f"{FILE_NAME}:{self.lines.get(path, 1)}"

    def problem(self, path: Path_, accepted: str, *, given: str | None = None) -> Problem:
        """A problem with the value at a path."""
        return Problem(self.where(path), key_text(path), _shown(self.value(path)) if given is None else given, accepted)

    def value(self, path: Path_) -> Any:
        """The value at a path, None where there is none."""
        here: Any = self.data
        for step in path:
            try:
                here = here[step]
            except (KeyError, IndexError, TypeError):
                return None
        return here


def read_source(folder: Path) -> Source:
    """Read the job file of a folder.

    Raises
    ------
    BadInput
        No folder, no file, or not a mapping in YAML.
    """
    path = folder / FILE_NAME
    if not folder.is_dir():
        raise BadInput(Problem(str(folder), "", "no such folder", "a folder that holds job.yaml; make one: gearcase new FOLDER"))
    if not path.is_file():
        raise BadInput(Problem(str(path), "", "no such file", f"a job file; make one: gearcase new {folder}"))
    size = path.stat().st_size
    if size > LARGEST:
        raise BadInput(Problem(str(path), "", f"{size} bytes", f"at most {LARGEST} bytes: recordings are named, not kept in it"))
    content = path.read_bytes()
    try:
        text = content.decode("utf-8")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise BadInput(Problem(f"{FILE_NAME}:{line}", "", f"byte {content[error.start]:#x}", "text in UTF-8")) from None
    return parse_text(text)


def yaml_parser() -> YAML:
    """The YAML parser that keeps comments, quotes and layout."""
    parser = YAML(typ="rt")
    parser.preserve_quotes = True
    parser.width = 120
    parser.indent(mapping=2, sequence=4, offset=2)
    return parser


def parse_text(text: str) -> Source:
    """Plain data and lines of a job file's text.

    Raises
    ------
    BadInput
        Not YAML, a key twice, an alias, or not a mapping.
    """
    try:
        for event in yaml_parser().parse(text):
            if isinstance(event, AliasEvent):
                line = event.start_mark.line + 1
                raise BadInput(
                    Problem(f"{FILE_NAME}:{line}", "", f"*{event.anchor}", "the value itself: aliases are not used here")
                )
        root = yaml_parser().load(text)
    except BadInput:
        raise
    except MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line = mark.line + 1 if mark else 1
        said = " ".join(str(error.problem or error.context or "not YAML").split())
        raise BadInput(
            Problem(f"{FILE_NAME}:{line}", "", said.splitlines()[0], "YAML: keys, colons and even indents, no tabs")
        ) from None
    except RecursionError:
        raise BadInput(Problem(FILE_NAME, "", "keys nested too deep", "the few levels a job has")) from None
    except (YAMLError, ValueError, TypeError, AttributeError, IndexError, KeyError, OverflowError) as error:
        said = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise BadInput(Problem(FILE_NAME, "", said[:_LONGEST_SHOWN], "YAML text")) from None
    if not isinstance(root, CommentedMap):
        given = "nothing" if root is None else _shown(root)
        raise BadInput(Problem(f"{FILE_NAME}:1", "", given, "keys and values, beginning with job: 1"))
    lines: dict[Path_, int] = {}
    try:
        data = _plain(root, (), lines)
    except RecursionError:
        raise BadInput(Problem(FILE_NAME, "", "keys nested too deep", "the few levels a job has")) from None
    return Source(text, data, lines)


def validate(source: Source) -> JobModel:
    """Check the data against the schema.

    Raises
    ------
    BadInput
        With a problem for every key that is wrong.
    """
    try:
        return JobModel.model_validate(source.data)
    except ValidationError as error:
        found = [_problem(source, dict(detail)) for detail in error.errors(include_url=False)]
        raise BadInput(sorted(found, key=lambda problem: int(problem.where.rpartition(":")[2] or 0))) from None


def key_text(path: Path_) -> str:
    """``drive.meshes[0].pinion.teeth``."""
    text = ""
    for step in path:
        text += f"[{step}]" if isinstance(step, int) else f".{step}" if text else step
    return text


def _plain(node: Any, path: Path_, lines: dict[Path_, int]) -> Any:
    if isinstance(node, CommentedMap):
        plain = {}
        for key, value in node.items():
            here = (*path, str(key))
            lines[here] = node.lc.data[key][0] + 1 if node.lc.data and key in node.lc.data else 1
            if value is not None:
                plain[str(key)] = _plain(value, here, lines)
        return plain
    if isinstance(node, CommentedSeq):
        for index in range(len(node)):
            lines[(*path, index)] = node.lc.data[index][0] + 1 if node.lc.data and index in node.lc.data else 1
        return [_plain(value, (*path, index), lines) for index, value in enumerate(node)]
    if isinstance(node, bool):
        return node
    if isinstance(node, int):
        return int(node)
    if isinstance(node, float):
        return float(node)
    if isinstance(node, datetime | date):
        return node.isoformat()
    return str(node)


def _problem(source: Source, detail: dict[str, Any]) -> Problem:
    path: Path_ = tuple(detail["loc"])
    kind = detail["type"]
    if kind == "extra_forbidden":
        keys = _keys_at(path[:-1])
        near = difflib.get_close_matches(str(path[-1]), keys, n=1)
        hint = f"did you mean {near[0]}? " if near else ""
        return source.problem(path, f"{hint}the keys here are: {', '.join(keys)}", given=f"the key {path[-1]}")
    field = _field_at(path)
    said = field.description if field is not None and field.description else "a value"
    if kind == "missing":
        return source.problem(path, f"needed: {said}", given="nothing")
    if kind == "accepted":
        return source.problem(path, detail["ctx"]["rule"])
    if kind in ("model_type", "dict_type", "model_attributes_type"):
        return source.problem(path, f"keys and values: {said if field else ', '.join(_keys_at(path))}")
    return source.problem(path, said)


def _model_at(path: Path_) -> type[BaseModel] | None:
    model: Any = JobModel
    for step in path:
        if isinstance(step, int):
            continue
        field = model.model_fields.get(step) if isinstance(model, type) and issubclass(model, BaseModel) else None
        model = _model_in(field.annotation) if field else None
    return model if isinstance(model, type) and issubclass(model, BaseModel) else None


def _model_in(annotation: Any) -> Any:
    if get_origin(annotation) in (list, Union, types.UnionType):
        return next((found for part in get_args(annotation) if (found := _model_in(part)) is not None), None)
    return annotation if isinstance(annotation, type) and issubclass(annotation, BaseModel) else None


def _field_at(path: Path_) -> FieldInfo | None:
    while path and isinstance(path[-1], int):
        path = path[:-1]
    if not path:
        return None
    model = _model_at(path[:-1])
    return model.model_fields.get(str(path[-1])) if model else None


def _keys_at(path: Path_) -> list[str]:
    model = _model_at(path)
    return list(model.model_fields) if model else []


def _shown(value: Any) -> str:
    text = repr(value) if not isinstance(value, str) else f'"{value}"'
    return text if len(text) <= _LONGEST_SHOWN else text[: _LONGEST_SHOWN - 3] + "..."
