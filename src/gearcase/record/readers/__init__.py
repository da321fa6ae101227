"""Recordings from open file formats, through general-purpose libraries.

`read_recording` gives one channel in SI or refuses with every reason at once; `describe` says what a file holds.
Nothing is guessed: what the file does not say, the caller must (``--rate``, ``--unit``, ``--channel``). A rate or unit that
contradicts the file's own statement is refused: one of them is wrong, and every line or level with it. A speed stated by
the caller wins over the file's, which is often nominal; `Recording.found` then says so.
"""

import hashlib
import math
import os
import warnings
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gearcase.errors import BadInput, OutOfRange, Problem
from gearcase.record.readers.arrays import read_hdf5, read_mat, read_npy, read_npz, read_parquet
from gearcase.record.readers.contents import Budget, Contents, RawChannel
from gearcase.record.readers.instruments import read_tdms, read_universal, read_wav
from gearcase.record.readers.text import read_csv
from gearcase.signal.recording import Recording
from gearcase.signal.tachometer import Tachometer, pulse_times, read_pulses
from gearcase.units import ACCEPTED, SI_UNIT, convert

__all__ = ["ENDINGS", "Channel", "Found", "describe", "read_recording", "sha256_of_file"]

ENDINGS: dict[str, Callable[[Path, Budget], Contents]] = {
    ".csv": read_csv,
    ".txt": read_csv,
    ".tsv": read_csv,
    ".wav": read_wav,
    ".mat": read_mat,
    ".npy": read_npy,
    ".npz": read_npz,
    ".parquet": read_parquet,
    ".h5": read_hdf5,
    ".hdf5": read_hdf5,
    ".tdms": read_tdms,
    ".uff": read_universal,
    ".unv": read_universal,
}
_KINDS = ("acceleration", "velocity", "displacement")
_RATES_AGREE = 1e-6  # relative; two statements of one rate, differently rounded
_RATES_CONTRADICT = 1e-4  # relative; below it a header may be the same rate, rounded
_SHARE_OF_MEMORY = 4  # a quarter of the machine's memory may go into one file; common practice, no source
_IMPOSSIBLE = 1e12  # in SI, far beyond any sensor, and still squared without overflow; common practice, no source
_MEMORY_IF_UNKNOWN = 8 * 2**30


@dataclass(frozen=True)
class Channel:
    """One channel as found: length in samples, rate [Hz] and unit where the file says them."""

    name: str
    length: int
    rate_hz: float | None
    unit: str | None


@dataclass(frozen=True)
class Found:
    """What a file holds. `speed_hz` is the shaft speed it states; `left_out` and `notes` are sentences for people."""

    name: str
    format: str
    channels: tuple[Channel, ...]
    speed_hz: float | None
    start: str
    left_out: tuple[str, ...]
    notes: tuple[str, ...]


def read_recording(
    path: Path | str,
    *,
    rate_hz: float | None = None,
    unit: str | None = None,
    speed_hz: float | None = None,
    channel: str | None = None,
    tachometer: str | None = None,
    point: str = "",
    start: str = "",
    limit_bytes: int | None = None,
) -> Recording:
    """One channel of a file, in SI.

    Parameters
    ----------
    path : path-like
        The ending decides the format, see `ENDINGS`.
    rate_hz : float, optional
        Sample rate, where the file states none or several. [Hz]
    unit : str, optional
        Unit of the values as people spell it (``g``, ``m/s²``, ``mm/s``, ``mil``), where the file states no unit of vibration.
    speed_hz : float, optional
        Speed of the reference shaft; wins over the file's. [Hz]
    channel : str, optional
        Name of the channel; needed when there are several. The number of a column will do where only one table has it.
    tachometer : str, optional
        Name of the channel with the pulses of the reference shaft: their times [s], or the sampled signal. The speed is read from
        them, with the pulses a turn found; `speed_hz` helps to find them.
    point, start : str
        Kept with the recording; `start`, in ISO 8601, wins over the file's.
    limit_bytes : int, optional
        Most memory the file may take; a quarter of the machine's when not given.

    Returns
    -------
    Recording
        Samples float32 where the file holds no more than that, else float64.

    Raises
    ------
    BadInput
        With everything that is missing, ambiguous, contradicting, damaged or impossible.
    """
    path = Path(path)
    contents, notes = _open(path, limit_bytes)
    problems: list[Problem] = []
    chosen = _choose(path.name, contents, channel, "--channel", problems)
    among = (chosen,) if chosen else contents.channels
    rate = _decide_rate(path.name, among, rate_hz, problems, notes)
    spelling = _decide_unit(path.name, contents, among, unit, problems, notes)
    speed = _decide_speed(path.name, among, speed_hz, problems, notes)
    begun = _decide_start(path.name, start, chosen.facts.start if chosen else "", problems, notes)
    samples = np.zeros(0, np.float32)
    if chosen:
        samples = _as_float(chosen.values)
        if spelling:
            samples = _in_si(samples, spelling)
        problems += _bad_samples(path.name, chosen.name, samples)
    pulses = None
    if tachometer is not None and rate is not None:
        pulses = _by_tachometer(path.name, contents, tachometer, rate, speed, problems)
    if pulses is not None:
        notes.append(f"tachometer {tachometer}: {pulses.says}")
        speed = speed if pulses.pulses_per_turn is None else pulses.mean_hz
    if problems or chosen is None or rate is None or spelling is None:
        raise BadInput(problems)
    return Recording(
        samples=np.ascontiguousarray(samples),
        sample_rate_hz=rate,
        unit=SI_UNIT[_kind(spelling)],
        channel=chosen.name,
        speed_hz=speed,
        point=point,
        sha256=sha256_of_file(path),
        name=path.name,
        start=begun,
        pulses_per_turn=pulses.pulses_per_turn if pulses else None,
        tachometer=pulses.says if pulses else "",
        marks_s=pulses.mark_s if pulses else np.empty(0),
        found="; ".join(dict.fromkeys((contents.format, *notes))),
    )


def describe(path: Path | str, *, limit_bytes: int | None = None) -> Found:
    """What a file holds, decided nothing.

    Raises
    ------
    BadInput
        The file cannot be read at all.
    """
    path = Path(path)
    contents, notes = _open(path, limit_bytes)
    channels = []
    for one in contents.channels:
        rates = _distinct(one.facts.rates.values())
        if len(rates) > 1:
            notes.append(f"{one.name}: the file states several rates: {_listed(one.facts.rates)}")
        notes += one.facts.notes
        channels.append(Channel(one.name, one.length, rates[0] if len(rates) == 1 else None, one.facts.unit))
    speeds = _distinct(speed for one in contents.channels for speed in one.facts.speeds.values())
    starts = [one.facts.start for one in contents.channels if one.facts.start]
    return Found(
        path.name,
        contents.format,
        tuple(channels),
        speeds[0] if len(speeds) == 1 else None,
        starts[0] if starts else "",
        contents.left_out,
        tuple(dict.fromkeys(notes)),
    )


class _Guard:
    """Turns whatever a library raises on a damaged file into `BadInput`, and its warnings into notes."""

    def __init__(self, name: str, notes: list[str]) -> None:
        self.name, self.notes = name, notes
        self._catch = warnings.catch_warnings(record=True)

    def __enter__(self) -> None:
        self._warned = self._catch.__enter__()
        warnings.simplefilter("always")

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: object) -> None:
        self._catch.__exit__(kind, error, trace)  # type: ignore[arg-type]
        warned = self._warned or []
        self.notes += [str(one.message) for one in warned if not issubclass(one.category, DeprecationWarning)]
        if isinstance(error, Exception) and not isinstance(error, BadInput):
            words = " ".join(str(error).split())[:120] or type(error).__name__
            accepted = "a whole file of the format its ending names; this one is cut off, damaged or of another format"
            raise BadInput(Problem(self.name, "", f"a file that cannot be read ({words})", accepted)) from error


def sha256_of_file(path: Path) -> str:
    """Hexadecimal digest of a file's content, read piece by piece."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _open(path: Path, limit_bytes: int | None) -> tuple[Contents, list[str]]:
    """Contents and the notes made on the way."""
    problem = _unreadable(path)
    if problem:
        raise BadInput(problem)
    notes: list[str] = []
    budget = Budget(limit_bytes if limit_bytes is not None else _memory() // _SHARE_OF_MEMORY, path.name)
    with _Guard(path.name, notes):
        contents = ENDINGS[path.suffix.lower()](path, budget)
    if not contents.channels:
        given = "; ".join(contents.left_out) or "nothing"
        raise BadInput(Problem(path.name, "", given, "at least one channel of real numbers"))
    return contents, [*contents.notes, *notes]


def _unreadable(path: Path) -> Problem | None:
    supported = ", ".join(ENDINGS)
    try:
        if path.is_dir():
            return Problem(str(path), "", "a folder", "a file; name each recording by itself")
        if not path.exists():
            return Problem(str(path), "", "no such file", "a recording, its path as seen from where the command is typed")
        if path.suffix.lower() not in ENDINGS:
            return Problem(path.name, "", path.suffix or "no ending", f"one of {supported}")
        if path.stat().st_size == 0:
            return Problem(path.name, "", "an empty file", "a recording")
        with path.open("rb"):
            return None
    except OSError as error:
        return Problem(str(path), "", "", f"cannot be opened: {error.strerror}")


def _memory() -> int:
    """Memory of the machine. [bytes]"""
    try:
        return os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES")
    except (AttributeError, ValueError, OSError):
        return _MEMORY_IF_UNKNOWN


def _choose(name: str, contents: Contents, wanted: str | None, key: str, problems: list[Problem]) -> RawChannel | None:
    channels = contents.channels
    listed = ", ".join(f"{one.name} ({one.length} samples)" for one in channels[:20])
    if len(channels) > 20:
        listed += f" and {len(channels) - 20} more"
    if wanted is None:
        if len(channels) == 1 and not contents.undecided:
            return channels[0]
        given = "; ".join((f"a file of {len(channels)} channels", *(contents.left_out if contents.undecided else ())))
        problems.append(Problem(name, key, given, f"the name of one: {listed}"))
        return None
    chosen = [one for one in channels if one.name == wanted]
    if not chosen:  # a column of the one table that a file holds, by its number
        chosen = [one for one in channels if one.name.endswith(f":{wanted}") and wanted.isdigit()]
    if len(chosen) != 1:
        problems.append(Problem(name, key, repr(wanted), f"the name of one channel: {listed}"))
        return None
    return chosen[0]


def _decide_rate(
    name: str, among: Iterable[RawChannel], given: float | None, problems: list[Problem], notes: list[str]
) -> float | None:
    stated = {key: rate for one in among for key, rate in one.facts.rates.items()}
    said = [note for one in among for note in one.facts.notes]
    rates = _distinct(stated.values())
    if given is not None:
        if not (math.isfinite(given) and given > 0):
            problems.append(Problem(name, "--rate", f"{given:g} Hz", "a sample rate above 0"))
            return None
        sound = [rate for rate in rates if math.isfinite(rate) and rate > 0]
        open_by = _RATES_CONTRADICT + max((one.facts.rate_spread for one in among), default=0.0)
        if sound and not any(math.isclose(given, rate, rel_tol=open_by) for rate in sound):
            accepted = "one rate: leave --rate out where the file is right, correct the file where it is wrong"
            problems.append(Problem(name, "--rate", f"{given:g} Hz against a file that states {_listed(stated)}", accepted))
            return None
        if any(not math.isclose(given, rate, rel_tol=_RATES_AGREE) for rate in rates):
            notes.append(f"the file states {_listed(stated)}; --rate {given:g} Hz was used")
        return float(given)
    if not rates:
        why = "; ".join(dict.fromkeys(said))
        accepted = 'the sample rate, which the file does not state, e.g. --rate "12 kHz"'
        problems.append(Problem(name, "--rate", why, accepted))
        return None
    if len(rates) > 1:
        accepted = 'the one that is right, e.g. --rate "12 kHz"'
        problems.append(Problem(name, "--rate", f"a file that states {_listed(stated)}", accepted))
        return None
    if not (math.isfinite(rates[0]) and rates[0] > 0):
        accepted = 'a sample rate above 0; give it with --rate "12 kHz"'
        problems.append(Problem(name, "--rate", f"a file that states {_listed(stated)}", accepted))
        return None
    return rates[0]


def _decide_unit(
    name: str,
    contents: Contents,
    among: Iterable[RawChannel],
    given: str | None,
    problems: list[Problem],
    notes: list[str],
) -> str | None:
    choices = " ".join(unit for kind in _KINDS for unit in ACCEPTED[kind])
    stated = list(dict.fromkeys(one.facts.unit for one in among))
    if given is not None:
        spelling = _spelling(given)
        if spelling is None:
            problems.append(Problem(name, "--unit", repr(given), f"one of {choices}"))
            return None
        vibration = {unit: known for unit in stated if unit and (known := _spelling(unit))}
        if vibration and not any(_same_unit(spelling, known) for known in vibration.values()):
            accepted = "one unit: leave --unit out where the file is right, correct the file where it is wrong"
            problems.append(Problem(name, "--unit", f"{given} against a file that states {', '.join(vibration)}", accepted))
            return None
        if stated != [None] and [_spelling(unit) for unit in stated if unit] != [spelling]:
            notes.append(f"the file states {', '.join(filter(None, stated))}; --unit {given} was used")
        return spelling
    if len(stated) == 1 and stated[0]:
        spelling = _spelling(stated[0])
        if spelling is None:
            accepted = f"a unit of vibration: one of {choices}"
            problems.append(Problem(name, "--unit", f"a file in {stated[0]!r}", accepted))
        return spelling
    if not any(stated):
        why = contents.holds_no_unit or "the unit of the values, which the file does not state"
        problems.append(Problem(name, "--unit", "", f"{why}, e.g. --unit g (one of {choices})"))
    return None  # units that differ by channel: the channel must be named first


def _decide_speed(
    name: str, among: Iterable[RawChannel], given: float | None, problems: list[Problem], notes: list[str]
) -> float | None:
    stated = {key: speed for one in among for key, speed in one.facts.speeds.items()}
    speeds = [speed for speed in _distinct(stated.values()) if math.isfinite(speed) and speed > 0]
    if given is not None:
        if not (math.isfinite(given) and given > 0):
            problems.append(Problem(name, "--speed", f"{given:g} Hz", "a speed above 0"))
            return None
        if any(not math.isclose(given, speed, rel_tol=_RATES_AGREE) for speed in speeds):
            notes.append(f"the file states {_listed(stated)}; --speed {given:g} Hz was used")
        return float(given)
    if len(speeds) > 1:
        notes.append(f"the file states several speeds, {_listed(stated)}: none was used; give --speed")
    return speeds[0] if len(speeds) == 1 else None


def _decide_start(name: str, given: str, stated: str, problems: list[Problem], notes: list[str]) -> str:
    """When it was taken; empty where nobody says it so that a calendar understands."""
    if given and not _is_moment(given):
        problems.append(Problem(name, "start", repr(given), "a date or date and time, e.g. 2026-03-02T10:00"))
    if not given and stated and not _is_moment(stated):
        notes.append(f"the file states its start as {stated[:40]!r}, which is no date and time as ISO 8601 has it: left out")
        return ""
    return given or stated


def _is_moment(text: str) -> bool:
    try:
        datetime.fromisoformat(text)
    except ValueError:
        return False
    return True


def _by_tachometer(
    name: str,
    contents: Contents,
    wanted: str,
    rate_hz: float,
    about_hz: float | None,
    problems: list[Problem],
) -> Tachometer | None:
    """What the pulses of a channel say; None, with the problem, where they cannot be read."""
    chosen = _choose(name, contents, wanted, "tachometer", problems)
    if chosen is None:
        return None
    values = np.asarray(chosen.values, np.float64)
    rising = values.size > 1 and bool(np.all(np.diff(values) > 0))
    try:
        times = values if rising else pulse_times(values, sample_rate_hz=rate_hz)
        return read_pulses(times, about_hz=about_hz, resolution_s=0.0 if rising else 1 / rate_hz)
    except OutOfRange as error:
        problems.append(Problem(name, "tachometer", f"channel {chosen.name}: {error.name} {error.value}", error.rule))
        return None


def _as_float(values: NDArray[Any]) -> NDArray[np.floating]:
    """Float32 where that holds every value exactly, else float64; long doubles are cut to float64."""
    bytes_held = 4 if values.dtype.kind == "f" else 2
    with np.errstate(over="ignore", invalid="ignore"):
        return np.asarray(values, np.float32 if values.dtype.itemsize <= bytes_held else np.float64)


def _in_si(samples: NDArray[np.floating], spelling: str) -> NDArray[np.floating]:
    scale = convert(1.0, spelling, _kind(spelling))
    with np.errstate(over="ignore", invalid="ignore"):  # what overflows or is no number is refused as no sample
        return samples if scale == 1.0 else samples * samples.dtype.type(scale)


def _kind(spelling: str) -> str:
    return next(kind for kind in _KINDS if spelling in ACCEPTED[kind])


def _same_unit(one: str, other: str) -> bool:
    """Whether two accepted spellings mean one unit (``m/s^2`` and ``m/s²``)."""
    kind = _kind(one)
    return kind == _kind(other) and math.isclose(convert(1.0, one, kind), convert(1.0, other, kind))


def _bad_samples(name: str, channel: str, samples: NDArray[np.floating]) -> list[Problem]:
    if samples.size == 0:
        return [Problem(name, channel, "no samples", "a recording")]
    bad = ~(np.abs(samples) < _IMPOSSIBLE)  # true of NaN too
    if not bad.any():
        return []
    edges = np.flatnonzero(np.diff(np.concatenate([[False], bad, [False]]).astype(np.int8)))
    longest = int((edges[1::2] - edges[::2]).max())
    given = (
        f"{int(bad.sum())} of {samples.size} samples not a number or impossibly large, first at {int(bad.argmax())}, "
        f"longest run {longest}"
    )
    return [Problem(name, channel, given, "numbers only: cut the recording to a part without gaps")]


def _spelling(unit: str) -> str | None:
    """The accepted spelling of a unit as people or files write it.

    >>> _spelling("m/s^2"), _spelling("m/s**2"), _spelling("mils"), _spelling("V")
    ('m/s^2', 'm/s2', 'mil', None)
    """
    plain = "".join(unit.split()).replace("**", "").replace("μ", "µ")
    plain = {"mils": "mil", "ips": "in/s", "mm/s²": "mm/s2", "mm/s^2": "mm/s2"}.get(plain, plain)
    return plain if any(plain in ACCEPTED[kind] for kind in _KINDS) else None


def _distinct(values: Iterable[float]) -> list[float]:
    """Values that truly differ."""
    kept: list[float] = []
    for value in values:
        if not any(math.isclose(value, other, rel_tol=_RATES_AGREE) for other in kept):
            kept.append(value)
    return kept


def _listed(stated: Any) -> str:
    return ", ".join(f"{key} = {value:g} Hz" for key, value in stated.items())
