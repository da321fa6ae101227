"""Reads job.yaml: plain data with the line of every key, and every error at once, in words for the person who wrote
it.
"""

import difflib
import json
import types
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo
from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.events import (
    AliasEvent,
    DocumentStartEvent,
    MappingEndEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
)

from gearcase.errors import BadInput, Problem
from gearcase.job.drive_schema import DriveModel
from gearcase.job.schema import JobModel, read_as

__all__ = [
    "FILE_NAME",
    "Source",
    "key_text",
    "nearest",
    "parse_text",
    "read_source",
    "read_text",
    "validate",
    "validate_as",
    "validate_drive",
    "yaml_parser",
]

FILE_NAME = "job.yaml"
LARGEST = 200_000  # bytes; a job file of a large drive has twenty thousand
_DEEPEST = 12  # levels; the parser's time grows with their square
_LONGEST_SHOWN = 60
_LONGEST_NUMBER = 20

Path_ = tuple[str | int, ...]
Form = TypeVar("Form", bound=BaseModel)


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
    empty : frozenset
        Paths of the keys left empty.
    name : str
        What the file is called in a problem.
    """

    text: str
    data: dict[str, Any]
    lines: Mapping[Path_, int]
    empty: frozenset[Path_] = frozenset()
    name: str = FILE_NAME

    def where(self, path: Path_) -> str:
        """``job.yaml:14`` for a key, or for the nearest key around it."""
        while path and path not in self.lines:
            path = path[:-1]
        return f"{self.name}:{self.lines.get(path, 1)}"

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

    def items(self, path: Path_) -> list[tuple[Path_, dict[str, Any]]]:
        """Path and data of every entry of a list that is a mapping."""
        entries = self.value(path)
        if not isinstance(entries, list):
            return []
        return [((*path, n), entry) for n, entry in enumerate(entries) if isinstance(entry, dict)]


def read_source(folder: Path) -> Source:
    """Read the job file of a folder.

    Raises
    ------
    BadInput
        No folder, no file, or not a mapping in YAML.
    """
    path = folder / FILE_NAME
    if folder.is_file():
        raise BadInput(Problem(str(folder), "", "a file", f"the folder that holds job.yaml: {folder.parent}"))
    if not folder.is_dir():
        raise BadInput(Problem(str(folder), "", "no such folder", "a folder that holds job.yaml; make one: gearcase new FOLDER"))
    if not path.is_file():
        raise BadInput(Problem(str(path), "", "no such file", f"a job file; make one: gearcase new {folder}"))
    return parse_text(read_text(path, FILE_NAME))


def read_text(path: Path, name: str) -> str:
    """The text of a file, which problems call `name`.

    Raises
    ------
    BadInput
        Too large, or not UTF-8.
    """
    size = path.stat().st_size
    if size > LARGEST:
        raise BadInput(Problem(str(path), "", f"{size} bytes", f"at most {LARGEST} bytes: recordings are named, not kept in it"))
    content = path.read_bytes()
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise BadInput(Problem(f"{name}:{line}", "", f"byte {content[error.start]:#x}", "text in UTF-8")) from None


def yaml_parser() -> YAML:
    """The YAML parser that keeps comments, quotes and layout."""
    parser = YAML(typ="rt")
    parser.preserve_quotes = True
    parser.width = 4096  # never breaks a long line
    return parser


def parse_text(text: str, *, name: str = FILE_NAME, listed: str = "") -> Source:
    """Plain data and lines of a job file's text, or of another file with its `name`.

    A number written other than in its plain form (``20.10``, ``032``) stays text, so that its digits are not lost. A file that
    is one list, not keys and values, is read as that list under the key `listed`.

    Raises
    ------
    BadInput
        Not YAML, a key twice, an alias, nested too deep, or not a mapping (a list, where one is wanted).
    """
    reader = _Reader(text, name)
    try:
        for event in yaml_parser().parse(text):
            reader.take(event)
    except MarkedYAMLError as error:
        raise BadInput(_not_yaml(text, error, name)) from None
    except (YAMLError, ValueError, TypeError, AttributeError, IndexError, KeyError, OverflowError) as error:
        line = text.count("\n", 0, getattr(error, "position", 0)) + 1
        raise BadInput(Problem(f"{name}:{line}", "", "characters that are not text", "YAML text")) from None
    if reader.problems:
        raise BadInput(reader.problems)
    if not isinstance(reader.root, list if listed else dict):
        given = "nothing" if reader.root is None else _shown(reader.root)
        accepted = "a list: each part begins with a dash" if listed else "keys and values, beginning with job: 1"
        raise BadInput(Problem(f"{name}:1", "", given, accepted))
    if isinstance(reader.root, dict):
        return Source(text, reader.root, reader.lines, frozenset(reader.empty), name)
    lines = {(listed, *path): line for path, line in reader.lines.items()}
    return Source(text, {listed: reader.root}, lines, frozenset((listed, *path) for path in reader.empty), name)


def validate(source: Source) -> tuple[JobModel | None, list[Problem]]:
    """Check the data against the schema: the model, or None and a problem for every key that is wrong."""
    return validate_as(JobModel, source)


def validate_as(form: type[Form], source: Source) -> tuple[Form | None, list[Problem]]:
    """Check the data against a form: the model, or None and a problem for every key that is wrong."""
    problems = [problem for path in sorted(source.empty, key=str) if (problem := _misspelt(form, source, path))]
    try:
        return form.model_validate(source.data), problems
    except ValidationError as error:
        return None, [*problems, *(_problem(form, source, dict(detail)) for detail in error.errors(include_url=False))]


def validate_drive(source: Source) -> DriveModel | None:
    """The drive alone, for checks that can still be made when another section is wrong."""
    return read_as(DriveModel, source.data.get("drive"))


def nearest(name: str, known: Sequence[str]) -> str:
    """``"did you mean pitch_diameter? "``, or nothing where no known name is near."""
    near = difflib.get_close_matches(name, known, n=1)
    return f"did you mean {near[0]}? " if near else ""


def key_text(path: Path_) -> str:
    """``drive.meshes[0].pinion.teeth``."""
    text = ""
    for step in path:
        text += f"[{step}]" if isinstance(step, int) else f".{step}" if text else step
    return text


class _Reader:
    """Builds plain data from the parser's events, noting lines; stops at what no job file has."""

    def __init__(self, text: str, name: str) -> None:
        self.text = text
        self.name = name
        self.root: Any = None
        self.lines: dict[Path_, int] = {}
        self.empty: list[Path_] = []
        self.problems: list[Problem] = []
        self._open: list[tuple[Path_, dict[str, Any] | list[Any]]] = []
        self._keys: list[str | None] = []  # for each open mapping the key that waits for its value
        self._documents = 0

    def take(self, event: Any) -> None:
        line = event.start_mark.line + 1
        if isinstance(event, AliasEvent):
            self._stop(line, f"*{event.anchor}", "the value itself: aliases are not used here")
        elif isinstance(event, DocumentStartEvent):
            self._documents += 1
            if self._documents > 1:
                self._stop(line, "a second document", "one document: no line of --- inside it")
        elif isinstance(event, MappingStartEvent | SequenceStartEvent | ScalarEvent):
            if getattr(event, "tag", None):
                self._stop(line, f"the tag {event.tag}"[:_LONGEST_SHOWN], "the value itself: tags are not used here")
            self._node(event, line)
        elif isinstance(event, MappingEndEvent | SequenceEndEvent):
            self._open.pop()
            self._keys.pop()

    def _node(self, event: Any, line: int) -> None:
        waits_for_key = bool(self._open) and isinstance(self._open[-1][1], dict) and self._keys[-1] is None
        if waits_for_key:
            self._key(event, line)
            return
        path = self._place()
        self.lines.setdefault(path, line)
        if isinstance(event, ScalarEvent):
            value = _scalar(event)
            if value is None:
                self.empty.append(path)
        else:
            value = {} if isinstance(event, MappingStartEvent) else []
        self._put(value)
        if not isinstance(event, ScalarEvent):
            if len(self._open) >= _DEEPEST:
                self._stop(line, "nested too deep", f"at most {_DEEPEST} levels")
            self._open.append((path, value))
            self._keys.append(None)

    def _key(self, event: Any, line: int) -> None:
        if not isinstance(event, ScalarEvent):
            self._stop(line, "a list or mapping as a key", "a word as key, then a colon")
        path = self._open[-1][0]
        here = (*path, event.value)
        if here in self.lines:
            first = f"{self.name}:{self.lines[here]}"
            accepted = f"the key once; {first} has it already"
            self.problems.append(Problem(f"{self.name}:{line}", key_text(here), "the key twice", accepted))
        else:
            self.lines[here] = line
        self._keys[-1] = event.value

    def _place(self) -> Path_:
        if not self._open:
            return ()
        path, parent = self._open[-1]
        return (*path, len(parent)) if isinstance(parent, list) else (*path, str(self._keys[-1]))

    def _put(self, value: Any) -> None:
        if not self._open:
            self.root = value
            return
        parent = self._open[-1][1]
        if isinstance(parent, list):
            parent.append(value)
        else:
            if value is not None:
                parent[str(self._keys[-1])] = value
            self._keys[-1] = None

    def _stop(self, line: int, given: str, accepted: str) -> NoReturn:
        raise BadInput([*self.problems, Problem(f"{self.name}:{line}", "", given, accepted)])


def _scalar(event: ScalarEvent) -> Any:
    """A plain word as the number, truth value or nothing it stands for; anything quoted is text."""
    text = str(event.value)
    if not event.implicit[0] or event.style:
        return text
    if text in ("", "~", "null", "Null", "NULL"):
        return None
    if text in ("true", "false"):
        return text == "true"
    if len(text) <= _LONGEST_NUMBER:
        for number in (int, float):
            try:
                value = number(text)
            except ValueError:
                continue
            if str(value) == text and abs(value) < float("inf"):
                return value
    return text


def _not_yaml(text: str, error: MarkedYAMLError, name: str) -> Problem:
    mark = error.problem_mark or error.context_mark
    number = mark.line if mark else 0
    lines = text.splitlines()
    shown = lines[number] if number < len(lines) else ""
    said = " ".join(str(error.problem or error.context or "").split())
    is_tab = "\t" in shown or "\\t" in said
    accepted = "spaces, not tabs" if is_tab else f"YAML: keys, colons and even indents ({said})"
    return Problem(f"{name}:{number + 1}", "", _shown(shown.strip()) if shown.strip() else "the end", accepted)


def _problem(form: type[BaseModel], source: Source, detail: dict[str, Any]) -> Problem:
    path: Path_ = tuple(detail["loc"])
    kind = detail["type"]
    if kind == "extra_forbidden":
        return _unknown_key(form, source, path)
    field = _field_at(form, path)
    said = field.description if field is not None and field.description else "a value"
    if kind == "missing":
        return source.problem(path, f"needed: {said}", given="nothing")
    if kind == "accepted":
        return source.problem(path, detail["ctx"]["rule"])
    if kind in ("model_type", "dict_type", "model_attributes_type"):
        return source.problem(path, f"keys and values: {said if field else ', '.join(_keys_at(form, path))}")
    return source.problem(path, said)


def _misspelt(form: type[BaseModel], source: Source, path: Path_) -> Problem | None:
    """An unknown key left empty, which the data no longer shows."""
    keys = _keys_at(form, path[:-1])
    return None if not keys or isinstance(path[-1], int) or path[-1] in keys else _unknown_key(form, source, path)


def _unknown_key(form: type[BaseModel], source: Source, path: Path_) -> Problem:
    keys = _keys_at(form, path[:-1])
    near = nearest(str(path[-1]), keys)
    given = f"the key {path[-1]}"[:_LONGEST_SHOWN]
    return source.problem(path, f"{near}the keys here are: {', '.join(keys)}", given=given)


def _model_at(form: type[BaseModel], path: Path_) -> type[BaseModel] | None:
    model: Any = form
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


def _field_at(form: type[BaseModel], path: Path_) -> FieldInfo | None:
    while path and isinstance(path[-1], int):
        path = path[:-1]
    if not path:
        return None
    model = _model_at(form, path[:-1])
    return model.model_fields.get(str(path[-1])) if model else None


def _keys_at(form: type[BaseModel], path: Path_) -> list[str]:
    model = _model_at(form, path)
    return list(model.model_fields) if model else []


def _shown(value: Any) -> str:
    if isinstance(value, dict | list):
        return "keys and values" if isinstance(value, dict) else "a list"
    if value is None:
        return "nothing"
    text = json.dumps(value, ensure_ascii=False)
    return text if len(text) <= _LONGEST_SHOWN else text[: _LONGEST_SHOWN - 3] + "..."
