"""Arrays by name: NPY, NPZ, MAT, HDF5 and Parquet."""

import math
import subprocess
import sys
import zipfile
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gearcase.record.readers.contents import Budget, Contents, Facts, RawChannel, array_channels, facts, take_time

__all__ = ["read_hdf5", "read_mat", "read_npy", "read_npz", "read_parquet", "walk_hdf5"]

_TRIAL_S = 300.0  # longest trial reading of an HDF5 file
_SAMPLES: dict[str, np.dtype[Any]] = {"int16": np.dtype("<i2"), "float32": np.dtype("<f4"), "float64": np.dtype("<f8")}
_NOT_REAL = {"c": "complex numbers", "O": "objects", "b": "yes or no", "U": "text", "S": "text", "V": "records"}


def read_npy(path: Path, budget: Budget) -> Contents:
    """One array."""
    array = np.load(path, mmap_mode="r", allow_pickle=False)
    budget.require(array.size * 8)
    return _sorted("NPY", {"samples": np.array(array)}, {})


def read_npz(path: Path, budget: Budget) -> Contents:
    """Several arrays; scalars beside them say rate, unit and speed by their names."""
    with zipfile.ZipFile(path) as archive:
        budget.require(2 * sum(member.file_size for member in archive.infolist()))
    with np.load(path, allow_pickle=False) as archive:
        return _sorted("NPZ", {name: archive[name] for name in archive.files}, {})


def read_mat(path: Path, budget: Budget) -> Contents:
    """MATLAB files: version 5 with variables or structs, version 7.3 as the HDF5 it is."""
    import h5py
    import scipy.io

    if h5py.is_hdf5(path):
        return replace(read_hdf5(path, budget), format="MAT 7.3")
    sizes = [8 * math.prod(shape) for _, shape, kind in scipy.io.whosmat(path) if kind not in ("struct", "cell")]
    budget.require(2 * sum(sizes) + path.stat().st_size)
    variables = scipy.io.loadmat(path, appendmat=False)
    return _sorted("MAT 5", dict(_flat({k: v for k, v in variables.items() if not k.startswith("__")})), {})


def read_hdf5(path: Path, budget: Budget) -> Contents:
    """Datasets; attributes of a dataset, its groups and the file say rate, unit, speed and start.

    The HDF5 library can take the whole process down on a damaged file, so another process reads it first.
    """
    budget.require(path.stat().st_size)
    code = f"import sys; from {__name__} import walk_hdf5; walk_hdf5(sys.argv[1], {budget.limit})"
    trial = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, timeout=_TRIAL_S, check=False)
    if trial.returncode not in (0, 1):  # 1 is an exception, which comes again below with its words
        raise OSError("the HDF5 library breaks down on it")
    arrays, attributes = walk_hdf5(path, budget.limit)
    return _sorted("HDF5", arrays, attributes)


def walk_hdf5(path: Path | str, limit: int) -> tuple[dict[str, Any], dict[str, list[Mapping[str, Any]]]]:
    """Values of every dataset by its name, and attributes from the dataset up to the file."""
    import h5py

    with h5py.File(path, "r") as file:
        datasets: list[Any] = []
        file.visititems(lambda _, item: datasets.append(item) if isinstance(item, h5py.Dataset) else None)
        Budget(limit, Path(path).name).require(8 * sum(math.prod(item.shape or ()) for item in datasets))
        arrays: dict[str, Any] = {}
        attributes: dict[str, list[Mapping[str, Any]]] = {}
        for item in datasets:
            name = item.name.lstrip("/")
            arrays[name] = _matlab_text(item) if item.attrs.get("MATLAB_class") == b"char" else _plain(item[()])
            levels, parent = [item.attrs], item.parent
            while True:
                levels.append(parent.attrs)
                if parent.name == "/":
                    break
                parent = parent.parent
            attributes[name] = [{key: _plain(value) for key, value in level.items()} for level in levels]
    return arrays, attributes


def read_parquet(path: Path, budget: Budget) -> Contents:
    """Columns; metadata of the file and of each column say rate, unit, speed and start."""
    import pyarrow
    import pyarrow.parquet

    with pyarrow.parquet.ParquetFile(path, page_checksum_verification=True) as file:
        schema, rows = file.schema_arrow, file.metadata.num_rows
        budget.require(sum(8 * rows * max(_width(column.type) // 2, 1) for column in schema))
        whole = facts(_decoded(schema.metadata))
        channels, left_out = [], []
        for column in schema:
            if pyarrow.types.is_integer(column.type) or pyarrow.types.is_floating(column.type):
                values = file.read(columns=[column.name]).column(0).to_numpy()
                own = facts(_decoded(column.metadata)).over(whole)
                channels.append(RawChannel(column.name, values, own))
            elif (form := _form(column)) is not None:
                packed = b"".join(file.read(columns=[column.name]).column(0).to_pylist())
                own = facts(_decoded(column.metadata)).over(whole)
                channels.append(RawChannel(column.name, form(packed), own))
            else:
                left_out.append(f"{column.name}: {column.type}")
    return Contents("Parquet", tuple(take_time(channels, first_may_be_time=True)), tuple(left_out))


def _width(kind: Any) -> int:
    """Bytes of a value of fixed-size binary, 0 of any other."""
    import pyarrow

    return int(kind.byte_width) if pyarrow.types.is_fixed_size_binary(kind) else 0


def _form(column: Any) -> Callable[[bytes], NDArray[Any]] | None:
    """How samples kept as fixed-size binary are read, from the column's metadata: little-endian ``samples`` of that type, times
    ``scale`` where they are counts, which ``gives`` another type. None where the column says no such thing.
    """
    said = _decoded(column.metadata)
    kind, gives = _SAMPLES.get(said.get("samples", "")), _SAMPLES.get(said.get("gives", "float64"))
    if kind is None or gives is None or not _width(column.type) or _width(column.type) % kind.itemsize:
        return None
    if "scale" not in said:
        return lambda packed: np.frombuffer(packed, kind)
    scale = float(said["scale"])
    return lambda packed: (np.frombuffer(packed, kind).astype(np.float64) * scale).astype(gives)


def _sorted(kind: str, arrays: Mapping[str, Any], attributes: Mapping[str, list[Mapping[str, Any]]]) -> Contents:
    """Split named arrays into channels, facts and what is neither."""
    arrays = {name: _plain(value) for name, value in arrays.items()}
    whole = facts({name: value for name, value in arrays.items() if isinstance(value, str) or np.size(value) == 1})
    channels: list[RawChannel] = []
    left_out: list[str] = []
    undecided = False
    for name, value in arrays.items():
        if isinstance(value, str) or np.size(value) == 1:
            continue
        array = np.asarray(value)
        if array.dtype.kind in _NOT_REAL:
            left_out.append(f"{name}: {_NOT_REAL[array.dtype.kind]}")
            continue
        own = Facts()
        for level in attributes.get(name, []):
            own = own.over(facts(level))
        found = array_channels(name, array, own.over(whole))
        if not found:
            undecided = True
            left_out.append(f"{name}: a table of {' x '.join(map(str, array.shape))}, of which no side is plainly time")
        channels += found
    channels = take_time(channels, first_may_be_time=False)
    return Contents(kind, tuple(channels), tuple(left_out), whole.notes, undecided=undecided)


def _flat(variables: Mapping[str, Any], above: str = "") -> list[tuple[str, Any]]:
    """Variables with the fields of structs by their full names."""
    found: list[tuple[str, Any]] = []
    for name, value in variables.items():
        full = f"{above}{name}"
        if isinstance(value, np.ndarray) and value.dtype.names is not None:
            for n, element in enumerate(value.reshape(-1)):
                inside = f"{full}." if value.size == 1 else f"{full}({n + 1})."
                found += _flat({field: element[field] for field in value.dtype.names}, inside)
        else:
            found.append((full, _plain(value)))
    return found


def _plain(value: Any) -> Any:
    """Text as text, everything else as it is."""
    if isinstance(value, bytes):
        return value.decode("utf-8", "replace")
    if isinstance(value, np.ndarray) and value.dtype.kind in "US" and value.size == 1:
        return _plain(value.reshape(-1)[0].item())
    return value


def _matlab_text(item: Any) -> str:
    """Characters that MATLAB 7.3 keeps as numbers."""
    codes: NDArray[Any] = np.asarray(item[()])
    return "".join(map(chr, codes.T.reshape(-1).tolist()))


def _decoded(metadata: Mapping[bytes, bytes] | None) -> dict[str, str]:
    return {key.decode("utf-8", "replace"): value.decode("utf-8", "replace") for key, value in (metadata or {}).items()}
