"""Imports only go down, and calculators touch no file, clock or socket (design: the house and its storeys)."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

SOURCE = Path(__file__).parents[1] / "src" / "gearcase"
STOREYS = [
    {"errors", "units", "findings", "worked", "checksums"},
    {"tables"},
    {"drive", "signal"},
    {"install", "judge"},
    {"job"},
    {"record", "device"},
    {"stages"},
    {"monitor", "fleet"},
    {"drawings"},
    {"web"},
    {"cli"},
]
SIDEWAYS = {("findings", "worked"), ("units", "errors"), ("worked", "errors")}  # on the ground floor only
LEVEL = {room: level for level, rooms in enumerate(STOREYS) for room in rooms}
FORBIDDEN_BELOW_JOB = {"os", "pathlib", "time", "datetime", "socket", "sqlalchemy", "pymodbus", "logging", "random"}


def imports(tree: ast.Module) -> Iterator[tuple[int, str]]:
    """Line and full name of everything imported, inside functions too; a relative import keeps its dots in front."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            module = "." * node.level + (node.module or "")
            yield from ((node.lineno, f"{module}.{alias.name}") for alias in node.names)
        elif isinstance(node, ast.Name | ast.Attribute):
            called = node.id if isinstance(node, ast.Name) else node.attr
            if called in ("__import__", "import_module"):
                yield node.lineno, called


def broken_rules(text: str, room: str, name: str) -> list[str]:
    """What a module imports that it may not, each as file:line and reason."""
    broken = []
    for line, imported in imports(ast.parse(text)):
        parts = imported.split(".")
        if LEVEL[room] < LEVEL["job"] and parts[0] in FORBIDDEN_BELOW_JOB:
            broken.append(f"{name}:{line} a calculator may not import {parts[0]}")
        if imported.startswith(".") or imported in ("gearcase", "__import__", "import_module"):
            broken.append(f"{name}:{line} imports are written out, from gearcase.ROOM, so that this test sees them")
            continue
        if parts[0] != "gearcase" or parts[1] in ("__version__", room):
            continue
        if parts[1] not in LEVEL:
            broken.append(f"{name}:{line} {parts[1]} has no storey")
        elif LEVEL[parts[1]] > LEVEL[room]:
            broken.append(f"{name}:{line} {room} may not import {parts[1]}, which stands above it")
        elif LEVEL[parts[1]] == LEVEL[room] and (room, parts[1]) not in SIDEWAYS:
            broken.append(f"{name}:{line} {room} may not import {parts[1]} beside it")
    return broken


def room_of(path: Path) -> str:
    first = path.relative_to(SOURCE).parts[0]
    return first.removesuffix(".py")


MODULES = sorted(path for path in SOURCE.rglob("*.py") if room_of(path) != "__init__")


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(SOURCE)))
def test_imports_only_go_down(path: Path) -> None:
    assert room_of(path) in LEVEL, f"{path.name} has no storey"
    assert broken_rules(path.read_text(encoding="utf-8"), room_of(path), str(path.relative_to(SOURCE))) == []


@pytest.mark.parametrize(
    ("text", "room", "says"),
    [
        ("from gearcase.job.build import Job", "drive", "stands above it"),
        ("def f():\n    import gearcase.signal.spectrum", "drive", "m.py:2 drive may not import signal beside it"),
        ("from pathlib import Path", "judge", "may not import pathlib"),
        ("import gearcase.attic", "stages", "attic has no storey"),
        ("from gearcase import web", "stages", "m.py:1 stages may not import web, which stands above it"),
        ("x = 1\nfrom ..job import build", "drive", "m.py:2 imports are written out"),
        ("from . import build", "drive", "imports are written out"),
        ("import gearcase", "drive", "imports are written out"),
        ("import importlib\nimportlib.import_module('gearcase.job')", "drive", "m.py:2 imports are written out"),
    ],
)
def test_a_broken_rule_is_seen_with_file_and_line(text: str, room: str, says: str) -> None:
    (found,) = broken_rules(text, room, "m.py")
    assert says in found


@pytest.mark.parametrize(
    ("text", "room"),
    [
        ("from gearcase.worked import Worked", "findings"),
        ("from gearcase.errors import OutOfRange", "units"),
        ("from gearcase.drive.train import Drive", "drive"),
        ("from gearcase import units, tables", "judge"),
        ("from pathlib import Path", "job"),
        ("from gearcase import __version__", "record"),
    ],
)
def test_what_the_house_allows_is_let_pass(text: str, room: str) -> None:
    assert broken_rules(text, room, "m.py") == []


def test_a_number_by_which_recordings_are_judged_has_one_owner() -> None:
    """Two constants of one name in `signal` and `judge`, with or without an underscore, would drift apart."""
    owners: dict[str, list[str]] = {}
    for room in ("signal", "judge"):
        for path in sorted((SOURCE / room).rglob("*.py")):
            for node in ast.parse(path.read_text(encoding="utf-8")).body:
                if isinstance(node, ast.Assign) and isinstance(node.value, ast.Constant):
                    for target in node.targets:
                        assert isinstance(target, ast.Name)
                        owners.setdefault(target.id.lstrip("_"), []).append(f"{room}/{path.name}")
    assert {name: where for name, where in owners.items() if len(where) > 1} == {}


def test_no_assertion_stands_in_for_a_decision() -> None:
    """`python -O` leaves assertions out; what a stage may or may not have is passed on, not asserted."""
    asserted = [
        f"{path.name}:{node.lineno}"
        for room in ("drive", "signal", "judge", "stages")
        for path in sorted((SOURCE / room).rglob("*.py"))
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Assert)
    ]
    assert asserted == []


UNITS = r"\[(Hz|s|-|deg|dB|m/s|W|K|K/s|min|h|1/year|unit of the samples|unit of the quantity)\]"


def public_parts(tree: ast.Module) -> Iterator[ast.FunctionDef | ast.ClassDef]:
    """Public functions, classes, and methods of public classes."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            yield node
            if isinstance(node, ast.ClassDef):
                yield from (m for m in node.body if isinstance(m, ast.FunctionDef) and not m.name.startswith("_"))


def test_every_number_that_signal_and_judge_take_or_give_has_its_unit_in_the_docstring() -> None:
    silent = []
    for room in ("signal", "judge"):
        for path in sorted((SOURCE / room).rglob("*.py")):
            for part in public_parts(ast.parse(path.read_text(encoding="utf-8"))):
                held = [node for node in part.body if isinstance(node, ast.AnnAssign)]
                taken = [*part.args.args, *part.args.kwonlyargs] if isinstance(part, ast.FunctionDef) else held
                kinds = [ast.unparse(one.annotation) for one in taken if one.annotation]
                if isinstance(part, ast.FunctionDef) and part.returns:
                    kinds.append(ast.unparse(part.returns))
                if any("worked_by" in ast.unparse(one) for one in part.decorator_list):
                    continue  # its unit stands in what marks it
                if any(re.search("float|NDArray|ArrayLike", kind) for kind in kinds) and not re.search(
                    UNITS, ast.get_docstring(part) or ""
                ):
                    silent.append(f"{room}/{path.relative_to(SOURCE / room)}:{part.lineno} {part.name}")
    assert silent == []
