"""Recordings in the store: a file each, written whole or not at all, its checksum in the database.

The file is Parquet: one row, one column of the channel's name, the samples in it as they lie in memory (little-endian), whole
numbers of 16 bits where the sensor's converter gives no more. The column's metadata say type, unit and scale, those of the file
sample rate, speed and start, so that `record.readers` reads it as any other recording.
"""

import json
import os
import sys
import tempfile
from dataclasses import asdict, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import sqlalchemy as sa

from gearcase.checksums import sha256_of_bytes
from gearcase.errors import BadInput, OutOfRange, Problem
from gearcase.record.results import make_folder, sync_folder
from gearcase.record.store.diary import advance
from gearcase.record.store.tables import RECORDINGS
from gearcase.record.store.values import KeptRecording
from gearcase.signal.recording import Circumstances, Recording

__all__ = ["DRAFT", "content", "find", "insert", "place", "read", "write", "wrong"]

DRAFT = ".draft-"  # what a file is called until it is whole
_MOST_COUNTS = 2**15 - 1


def content(recording: Recording) -> bytes:
    """The file of a recording, lossless.

    Raises
    ------
    OutOfRange
        No samples, or not finite ones.
    """
    import pyarrow as pa
    import pyarrow.parquet

    samples = np.ascontiguousarray(recording.samples)
    if samples.ndim != 1 or samples.size == 0 or not np.all(np.isfinite(samples)):
        raise OutOfRange("samples", samples.shape, "one row of finite numbers")
    if samples.dtype not in (np.float32, np.float64):
        samples = samples.astype(np.float64)
    gives, scale = str(samples.dtype), _scale(samples, recording.step)
    if scale is not None:
        samples = np.rint(samples.astype(np.float64) / scale).astype(np.int16)
    if sys.byteorder == "big":
        samples = samples.byteswap()
    about = {
        "samples": str(samples.dtype),
        "unit": recording.unit,
        **({} if scale is None else {"scale": repr(scale), "gives": gives}),
    }
    whole = {"sample_rate_hz": repr(float(recording.sample_rate_hz)), "start": recording.start}
    if recording.speed_hz is not None:
        whole["speed_hz"] = repr(float(recording.speed_hz))
    column = pa.field(recording.channel or "samples", pa.binary(samples.nbytes), nullable=False, metadata=about)
    row = pa.Array.from_buffers(column.type, 1, [None, pa.py_buffer(samples)])  # pa.array() would load pandas where it is installed
    table = pa.Table.from_arrays([row], schema=pa.schema([column], metadata=whole))
    buffer = pa.BufferOutputStream()
    pa.parquet.write_table(
        table, buffer, compression="zstd", use_dictionary=False, write_page_checksum=True, write_statistics=False
    )
    return bytes(buffer.getvalue())


def write(folder: Path, recording: Recording, *, time_s: float) -> tuple[str, str, int]:
    """Write the file of a recording below a folder. Returns its name there, what it hashes to and its length; it is on disk then.

    Raises
    ------
    BadInput
        The place cannot be written, or is full. No part of the file is left.
    """
    data = content(recording)
    sha256 = sha256_of_bytes(data)
    moment = datetime.fromtimestamp(time_s, UTC)
    name = f"{moment:%Y-%m}/{moment:%Y%m%dT%H%M%S}-{sha256[:12]}.parquet"
    try:
        place(folder, name, data)
    except OSError as error:
        accepted = "a place with room that can be written; the recording is not kept, those before it are"
        raise BadInput(Problem(str(folder), "", error.strerror or str(error), accepted)) from None
    return name, sha256, len(data)


def place(folder: Path, name: str, data: bytes) -> None:
    """Put a file in its place below a folder: it appears there whole, on disk, or not at all.

    Raises
    ------
    OSError
    """
    path = folder / name
    make_folder(path.parent)
    handle, draft = tempfile.mkstemp(dir=path.parent, prefix=DRAFT)
    try:
        try:
            left = memoryview(data)
            while left:
                left = left[os.write(handle, left) :]
            os.fchmod(handle, 0o644)
            os.fsync(handle)
        finally:
            os.close(handle)
        os.replace(draft, path)
    except BaseException:
        Path(draft).unlink(missing_ok=True)
        raise
    sync_folder(path.parent)


def insert(
    connection: sa.Connection, recording: Recording, file: tuple[str, str, int], *, time_s: float, why: str
) -> KeptRecording:
    """Enter a written file; one that is entered already stays as it is."""
    name, sha256, size = file
    there = connection.execute(sa.select(RECORDINGS).where(RECORDINGS.c.file == name)).first()
    if there is not None:
        return _kept(there)
    details = {key: getattr(recording, key) for key in ("name", "channel", "found", "pulses_per_turn", "tachometer")}
    details |= {"taken": asdict(recording.taken), "marks_s": recording.marks_s.tolist()}
    number = advance(connection, "recordings", 1)
    kept = KeptRecording(number, time_s, recording.point, why, name, sha256, size, details)
    connection.execute(RECORDINGS.insert(), {**vars(kept), "details": json.dumps(details)})
    return kept


def find(connection: sa.Connection, *, point: str | None, since: float | None, until: float | None) -> tuple[KeptRecording, ...]:
    """Recordings in order of time."""
    table = RECORDINGS.c
    query = sa.select(RECORDINGS).order_by(table.time_s, table.number)
    if point is not None:
        query = query.where(table.point == point)
    if since is not None:
        query = query.where(table.time_s >= since)
    if until is not None:
        query = query.where(table.time_s < until)
    return tuple(_kept(row) for row in connection.execute(query))


def read(folder: Path, kept: KeptRecording) -> Recording:
    """A recording as it was kept.

    Raises
    ------
    BadInput
        Its file is missing or damaged: then it is named and not read.
    """
    from gearcase.record.readers import read_recording  # half a second, and most who open a store read no recording

    path = folder / kept.file
    if problem := wrong(folder, kept):
        raise BadInput(problem)
    about = kept.details
    return replace(
        read_recording(path, point=kept.point),
        name=about["name"] or path.name,
        channel=about["channel"],
        found=about["found"],
        pulses_per_turn=about["pulses_per_turn"],
        tachometer=about["tachometer"],
        marks_s=np.array(about.get("marks_s", [])),  # those kept before were without
        taken=Circumstances(**about["taken"]),
    )


def wrong(folder: Path, kept: KeptRecording) -> Problem | None:
    """What is wrong with a kept file; None where it is as it was written."""
    path = folder / kept.file
    accepted = f"the recording of {kept.point or 'no point'} as it was kept: restore it from a backup; it is not judged"
    try:
        if sha256_of_bytes(path.read_bytes()) == kept.sha256:
            return None
    except OSError as error:
        return Problem(str(path), "", error.strerror or str(error), accepted)
    return Problem(str(path), "", "a file that was changed or damaged: its checksum differs", accepted)


def _scale(samples: Any, step: float | None) -> float | None:
    """What one count is, where whole counts of 16 bits give back every sample to the last bit. [unit of the samples]"""
    if not step:
        return None
    counts = np.rint(samples.astype(np.float64) / step)
    if np.max(np.abs(counts)) > _MOST_COUNTS or not np.array_equal((counts * step).astype(samples.dtype), samples):
        return None
    return float(step)


def _kept(row: Any) -> KeptRecording:
    return KeptRecording(**{**row._mapping, "details": json.loads(row.details)})
