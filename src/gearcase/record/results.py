"""Results on disk: numbered, never edited, written whole or not at all.

``JOB/results/STAGE/NNNN/`` holds ``result.json`` with the stage's document under a header (who, when, version, what was read
and its hash), arrays as Parquet and pictures beside. A result is written into a hidden folder, synced and renamed to the next
number, so that a crash leaves what was there before, and two writers get two numbers. ``current`` beside them names the latest.
"""

import json
import os
import shutil
import tempfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gearcase import __version__
from gearcase.errors import BadInput, Problem

__all__ = ["StoredResult", "latest", "make_folder", "numbers", "stored", "sync_folder", "write"]

_RESULT = "result.json"
_CURRENT = "current"


@dataclass(frozen=True)
class StoredResult:
    """A result on disk: its number, folder, header and document."""

    number: int
    path: Path
    header: dict[str, Any]
    document: dict[str, Any]

    def arrays(self) -> dict[str, dict[str, NDArray[np.floating]]]:
        """Its arrays, by file name and column.

        Raises
        ------
        BadInput
            A file is damaged.
        """
        import pyarrow.parquet

        found = {}
        for path in sorted(self.path.glob("*.parquet")):
            try:
                table = pyarrow.parquet.read_table(path)
            except (OSError, pyarrow.ArrowException) as error:
                raise BadInput(Problem(str(path), "", str(error).splitlines()[0], "a Parquet file as it was written")) from None
            found[path.stem] = {name: table[name].to_numpy() for name in table.column_names}
        return found


def write(
    job_folder: Path,
    stage: str,
    *,
    document: dict[str, Any],
    arrays: Mapping[str, Mapping[str, NDArray[np.floating]]],
    pictures: Mapping[str, bytes],
    read: Iterable[dict[str, str]],
    who: str,
    when: str,
) -> Path:
    """Keep a result.

    Parameters
    ----------
    job_folder : Path
    stage : str
    document : dict
        With its ``schema``.
    arrays : mapping
        Name -> column -> array, each name one Parquet file.
    pictures : mapping
        File name -> content, kept beside.
    read : iterable of dict
        ``{"what", "sha256"}`` of everything the result rests on.
    who, when : str
        Person, and time in ISO 8601.

    Returns
    -------
    Path
        Folder of the result.

    Raises
    ------
    BadInput
        The place cannot be written, or is full. What was kept before stays.
    """
    home = job_folder / "results" / stage
    try:
        return _keep(home, document, arrays, pictures, {"who": who, "when": when, "gearcase": __version__, "read": list(read)})
    except OSError as error:
        accepted = "a place with room that can be written"
        raise BadInput(Problem(str(home), "", error.strerror or str(error), accepted)) from None


def _keep(
    home: Path,
    document: dict[str, Any],
    arrays: Mapping[str, Mapping[str, NDArray[np.floating]]],
    pictures: Mapping[str, bytes],
    header: dict[str, Any],
) -> Path:
    home.mkdir(parents=True, exist_ok=True)
    sync_folder(home.parent)
    sync_folder(home.parent.parent)
    draft = Path(tempfile.mkdtemp(dir=home, prefix=".draft-"))
    try:
        whole = {"schema": document["schema"], **header, "result": document}
        _write(draft / _RESULT, json.dumps(whole, indent=1, allow_nan=False).encode())
        for name, content in pictures.items():
            _write(draft / name, content)
        _write_arrays(draft, arrays)
        draft.chmod(0o755)
        sync_folder(draft)
        number = _publish(draft, home)
    except BaseException:
        shutil.rmtree(draft, ignore_errors=True)
        raise
    _point_to(home)
    return home / f"{number:04d}"


def latest(job_folder: Path, stage: str) -> StoredResult | None:
    """The latest result of a stage, None where there is none.

    Raises
    ------
    BadInput
        Its result.json is damaged.
    """
    kept = numbers(job_folder, stage)
    return stored(job_folder, stage, kept[-1]) if kept else None


def numbers(job_folder: Path, stage: str) -> list[int]:
    """Run numbers of a stage's results, the first one first."""
    return _numbers(job_folder / "results" / stage)


def stored(job_folder: Path, stage: str, number: int) -> StoredResult:
    """A result of a stage by its number.

    Raises
    ------
    BadInput
        It is not there, or its result.json is damaged.
    """
    path = job_folder / "results" / stage / f"{number:04d}"
    try:
        content = json.loads((path / _RESULT).read_text(encoding="utf-8"))
        document = content.pop("result")
        words = [content[key] for key in ("schema", "who", "when", "gearcase")]
        words += [row[key] for row in content["read"] for key in ("what", "sha256")]
        if not isinstance(document, dict) or not all(isinstance(word, str) for word in words):
            raise TypeError("not a result")
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        accepted = f"a result as it was written; run gearcase {stage} again to make a new one, nothing is overwritten"
        raise BadInput(Problem(str(path / _RESULT), "", f"damaged: {error}", accepted)) from None
    return StoredResult(number, path, content, document)


def _numbers(home: Path) -> list[int]:
    if not home.is_dir():
        return []
    named = (path.name for path in home.iterdir() if path.name.isdecimal() and path.is_dir())
    return sorted(int(name) for name in named if name == f"{int(name):04d}")  # other folders of figures are not ours


def _publish(draft: Path, home: Path) -> int:
    """Rename to the next free number. A folder with content cannot be renamed onto: the loser of a race takes the next one."""
    number = max(_numbers(home), default=0) + 1
    while True:
        try:
            draft.rename(home / f"{number:04d}")
        except OSError:
            if not (home / f"{number:04d}").exists():
                raise
            number += 1
        else:
            sync_folder(home)
            return number


def _point_to(home: Path) -> None:
    """Swap `current`. Looks again afterwards: a slower writer of an earlier number must not have the last word."""
    pointed = 0
    while (number := max(_numbers(home))) != pointed:
        handle, temporary = tempfile.mkstemp(dir=home, prefix=".current-")
        with os.fdopen(handle, "w", encoding="utf-8") as stream:
            stream.write(f"{number:04d}\n")
            stream.flush()
            os.fsync(stream.fileno())
        Path(temporary).chmod(0o644)
        Path(temporary).replace(home / _CURRENT)
        pointed = number


def _write(path: Path, content: bytes) -> None:
    with path.open("xb") as stream:
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())


def _write_arrays(folder: Path, arrays: Mapping[str, Mapping[str, NDArray[np.floating]]]) -> None:
    if not arrays:
        return
    import pyarrow
    import pyarrow.parquet

    for name, columns in arrays.items():
        table = pyarrow.table({column: _column(np.ascontiguousarray(values)) for column, values in columns.items()})
        buffer = pyarrow.BufferOutputStream()
        pyarrow.parquet.write_table(table, buffer, compression="zstd")
        _write(folder / f"{name}.parquet", buffer.getvalue())


def _column(values: NDArray[np.floating]) -> Any:
    """An Arrow column of numbers; `pyarrow.array` would load pandas where it is installed, 50 MiB for as long as a watch runs."""
    import pyarrow

    return pyarrow.Array.from_buffers(pyarrow.from_numpy_dtype(values.dtype), values.size, [None, pyarrow.py_buffer(values)])


def make_folder(folder: Path) -> None:
    """Make a folder and those above it, each name on disk."""
    missing = [part for part in (folder, *folder.parents) if not part.exists()]
    folder.mkdir(parents=True, exist_ok=True)
    for part in missing:
        sync_folder(part.parent)


def sync_folder(path: Path) -> None:
    """Have a folder's entries on disk."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
