"""What instruments write: WAV, TDMS and the open universal file format, type 58."""

import logging
import struct
from collections import Counter
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gearcase.errors import BadInput, Problem
from gearcase.record.readers.contents import Budget, Contents, Facts, RawChannel, facts

__all__ = ["read_tdms", "read_universal", "read_wav"]

_UNKNOWN_SIZE = (0, 0xFFFFFFFF)  # what writers put when they cannot go back to fill in the size
_EXACT_IN_FLOAT32 = {"PCM_S8", "PCM_U8", "PCM_16", "PCM_24", "FLOAT"}
_TIME_RESPONSE = 1  # func_type of the universal file format
_EVEN = 1  # abscissa_spacing
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_COMPLEX = (5, 6)  # ord_data_type


def read_wav(path: Path, budget: Budget) -> Contents:
    """Channels 1, 2, ... on a scale on which full scale is 1."""
    import soundfile

    with path.open("rb") as stream:
        head = stream.read(8)
    if head[:4] == b"RIFF" and len(head) == 8:
        (stated,) = struct.unpack("<I", head[4:])
        present = path.stat().st_size - 8
        if stated not in _UNKNOWN_SIZE and stated > present + 1:  # some writers count a pad byte they leave out
            given = f"{present} of {stated} bytes"
            raise BadInput(Problem(path.name, "", given, "the whole file; this one is cut off"))
    with soundfile.SoundFile(path) as sound:
        frames, count, rate, subtype = sound.frames, sound.channels, sound.samplerate, sound.subtype
        budget.require(8 * frames * count)
        values = sound.read(dtype="float32" if subtype in _EXACT_IN_FLOAT32 else "float64", always_2d=True)
    own = Facts(rates={"header": float(rate)})
    channels = [RawChannel(str(n + 1), values[:, n], own) for n in range(count)]
    return Contents(
        "WAV",
        tuple(channels),
        notes=(f"{subtype}, full scale is 1",),
        holds_no_unit="WAV has no physical unit: full scale (1.0) counts as 1 of the unit you name",
    )


def read_tdms(path: Path, budget: Budget) -> Contents:
    """Channels with their waveform properties."""
    import nptdms
    import nptdms.log

    nptdms.log.log_manager.set_level(logging.CRITICAL)  # what it would print is refused below
    with path.open("rb") as stream, nptdms.TdmsFile.open(stream) as file:  # the library leaves damaged files open
        if file.file_status.incomplete_final_segment:
            raise BadInput(Problem(path.name, "", "a last segment that is cut off", "the whole file"))
        found = [channel for group in file.groups() for channel in group.channels()]
        budget.require(8 * sum(len(channel) for channel in found))
        often = Counter(channel.name for channel in found)
        channels, left_out = [], []
        for channel in found:
            name = channel.name if often[channel.name] == 1 else f"{channel.group_name}/{channel.name}"
            values: NDArray[Any] = np.asarray(channel[:])
            if values.size and values.dtype.kind not in "iuf":
                left_out.append(f"{name}: {'complex numbers' if values.dtype.kind == 'c' else 'text or times'}")
                continue
            above = facts(file[channel.group_name].properties).over(facts(file.properties))
            own = facts(channel.properties).over(above)
            channels.append(RawChannel(name, values, own))
    return Contents("TDMS", tuple(channels), tuple(left_out))


def read_universal(path: Path, budget: Budget) -> Contents:
    """Time responses of data sets of type 58; other functions and types are left out and named."""
    import pyuff

    budget.require(12 * path.stat().st_size)  # text becomes Python numbers on the way
    file = pyuff.UFF(str(path))
    types = [int(kind) for kind in np.atleast_1d(file.get_set_types())] if file.get_n_sets() else []
    if not types:
        raise BadInput(
            Problem(path.name, "", "no complete data set", "a whole universal file; this one is cut off or of another format")
        )
    channels, left_out = [], []
    sets = {n: file.read_sets(n) for n, kind in enumerate(types) if kind == 58}
    often = Counter(_title(one) for one in sets.values())
    for n, one in sets.items():
        title = _title(one)
        name = title if title and often[title] == 1 else f"set {n + 1}"
        why = _not_a_waveform(one)
        if why:
            left_out.append(f"{name}: {why}")
            continue
        if len(one["data"]) < int(one["num_pts"]):
            given = f"{len(one['data'])} of {int(one['num_pts'])} values"
            raise BadInput(Problem(path.name, name, given, "the whole file; this one is cut off"))
        label = str(one.get("ordinate_axis_units_lab", "")).strip()
        step = float(one["abscissa_inc"])
        own = Facts(
            rates={"abscissa_inc": 1 / step if step else np.nan},
            unit=None if label.upper() in ("", "NONE") else label,
            start=_iso(_text(one, "id3")),
        )
        values: NDArray[Any] = np.asarray(one["data"])[: int(one["num_pts"])]
        if one["ord_data_type"] == 2:  # single precision
            values = values.astype(np.float32)
        channels.append(RawChannel(name, values, own))
    left_out += [f"set {n + 1}: type {kind}" for n, kind in enumerate(types) if kind != 58]
    return Contents("universal file 58", tuple(channels), tuple(left_out))


def _text(one: dict[str, Any], key: str) -> str:
    text = str(one.get(key, "")).strip()
    return "" if text.upper() == "NONE" else text


def _iso(text: str) -> str:
    """The third line of a set, "DD-MMM-YY HH:MM:SS" in English, in ISO 8601; as it stands where it is none.

    >>> _iso("01-MAR-26 10:00:05"), _iso("01-Mar-26"), _iso("second run")
    ('2026-03-01T10:00:05', '2026-03-01T00:00:00', 'second run')
    """
    day, _, moment = text.partition(" ")
    parts = day.split("-")
    if len(parts) != 3 or parts[1].title() not in _MONTHS:
        return text
    month = _MONTHS.index(parts[1].title()) + 1
    try:
        return datetime.strptime(f"{parts[0]} {month} {parts[2]} {moment or '00:00:00'}", "%d %m %y %H:%M:%S").isoformat()
    except ValueError:
        return text


def _title(one: dict[str, Any]) -> str:
    return _text(one, "id1")


def _not_a_waveform(one: dict[str, Any]) -> str:
    if one["func_type"] != _TIME_RESPONSE:
        return f"function type {one['func_type']}, not a time response (1)"
    if one["ord_data_type"] in _COMPLEX:
        return "complex numbers"
    if one["abscissa_spacing"] != _EVEN:
        return "unevenly spaced in time"
    return ""
