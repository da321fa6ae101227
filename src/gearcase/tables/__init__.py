"""Published tables as data, and the one loader that reads them.

A table is a CSV beside this file. Every row says where it stands (`source`) and how it was come by (`basis`: looked-up,
memory, mixed, computed or practice), so that whoever uses a value can show both.
"""

import csv
import functools
import io
from collections.abc import Mapping
from importlib.resources import files
from types import MappingProxyType

from gearcase.checksums import sha256_of_data
from gearcase.errors import OutOfRange

__all__ = ["Row", "load", "names", "rows_of", "sources"]

Row = Mapping[str, str]

_BASES = {"looked-up", "memory", "mixed", "computed", "practice"}


@functools.cache
def load(name: str) -> tuple[Row, ...]:
    """All rows of one table, in file order, as read-only text by column.

    Parameters
    ----------
    name : str
        File name without its ending, e.g. ``mounts``.

    Raises
    ------
    OutOfRange
        No such table, or a row without source, with an unknown basis, or with more or fewer cells than there are columns.

    Examples
    --------
    >>> load("mounts")[0]["mount"]
    'stud'
    """
    path = files(__name__) / f"{name}.csv"
    if not path.is_file():
        raise OutOfRange("table", name, "the name of a CSV file beside gearcase/tables/__init__.py")
    rows, wrong = rows_of(path.read_text(encoding="utf-8"))
    for number, rule in wrong:
        raise OutOfRange("table", f"{name}.csv:{number + 2}", rule)
    return rows


def rows_of(text: str) -> tuple[tuple[Row, ...], list[tuple[int, str]]]:
    """The rows of a table's text, and what is wrong with any: its number from 0, and what it needs; such rows are left out."""
    rows, wrong = [], []
    for number, row in enumerate(csv.DictReader(io.StringIO(text, newline=""))):
        if None in row or None in row.values():  # how the reader marks cells left over, and cells missing
            wrong.append((number, "needs as many cells as there are columns"))
        elif not row.get("source") or row.get("basis") not in _BASES:
            wrong.append((number, f"needs a source and a basis out of {sorted(_BASES)}"))
        else:
            rows.append(MappingProxyType(row))
    return tuple(rows), wrong


def names() -> tuple[str, ...]:
    """Every table there is."""
    return tuple(sorted(path.name.removesuffix(".csv") for path in files(__name__).iterdir() if path.name.endswith(".csv")))


def sources(*tables: str) -> tuple[dict[str, str], ...]:
    """``{"what", "sha256"}`` of tables, for the header of a result that rests on them."""
    return tuple({"what": f"table {name}", "sha256": _sha256(name)} for name in tables)


@functools.cache
def _sha256(name: str) -> str:
    return sha256_of_data([dict(row) for row in load(name)])
