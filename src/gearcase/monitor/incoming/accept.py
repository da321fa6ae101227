"""The one room through which all that comes in must pass: units become SI, names are checked, times too, and it is kept or refused.

A batch of readings is kept whole, by one sync, or refused whole with every reason; a recording is a file in the folder of what came
in, synced and renamed. When either returns, it outlives a killed program and a lost supply. What comes a second time is kept once.
The folder is followed like any other (`monitor.folder`), so that one room judges recordings, whichever way they came.
"""

import hashlib
import json
import math
import os
import re
import uuid
from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from gearcase.errors import BadInput, GearcaseError, OutOfRange, Problem
from gearcase.job.build import Job
from gearcase.judge.inputs import AHEAD
from gearcase.monitor.folder import SIDECAR, read_described
from gearcase.monitor.inputs import QUANTITIES, Inputs
from gearcase.record.readers import ENDINGS
from gearcase.record.store import QUALITIES, Reading, Store
from gearcase.stages.minutes import BAND, OVERALL, SUMP, TEMPERATURE
from gearcase.units import ACCEPTED, SI_UNIT, convert

__all__ = ["LARGEST_BATCH", "LARGEST_RECORDING", "Accept", "NotKept", "incoming_folder"]

LARGEST_BATCH = 2**20  # bytes of readings in one go, some ten thousand of them
LARGEST_RECORDING = 64 * 2**20  # bytes: ten minutes of one channel at 25.6 kHz in 32 bits
_OLDEST = timedelta(days=31)  # that a reading may be sent late: a month without a line; common practice, no source
_AT_POINTS = {OVERALL: "velocity", BAND: "acceleration", TEMPERATURE: "temperature"}  # quantity -> kind of its unit
_OF_THE_DRIVE = {  # quantity -> the input it is, kind of its unit
    QUANTITIES[kind][0]: (kind, unit_kind)
    for kind, unit_kind in (("run", ""), ("speed", "speed"), ("load", "ratio"), ("direction", ""), ("ambient", "temperature"))
}
_UNIT_KIND = _AT_POINTS | {quantity: kind for quantity, (_, kind) in _OF_THE_DRIVE.items()}
_KEYS = ("time", "point", "quantity", "value", "unit", "quality")
_HEADER = ("name", "point", "rate", "unit", "channel", "speed", "start", "sha256")
_BESIDE = tuple(key for key in _HEADER if key not in ("name", "sha256"))  # what stands beside the file that is kept
_MOST_SAID = 20  # problems of one batch
_LARGEST_VALUE = 1e6  # in SI: no drive has more of anything that is read of it; common practice, no source


class NotKept(GearcaseError):
    """It was right, and could not be kept: send it again."""


def incoming_folder(job_folder: Path) -> Path:
    """Where recordings that came in by MQTT and HTTP are kept."""
    return job_folder / "results" / "watch" / "incoming"


class Accept:
    """Accepts for one job.

    Parameters
    ----------
    job : Job
    inputs : Inputs
        Hears what is posted of the drive's own inputs.
    store : Store
    folder : Path
        Of recordings that come in.
    clock : callable
        Unix time. [s]
    """

    def __init__(self, job: Job, inputs: Inputs, store: Store, folder: Path, clock: Callable[[], float]) -> None:
        self._store, self._folder, self._clock = store, folder, clock
        self._last: dict[tuple[str, str], Reading] = {}
        self.take_up(job, inputs)

    def take_up(self, job: Job, inputs: Inputs) -> None:
        """Go on by another job."""
        self._job, self._inputs = job, inputs
        self._points = [point.name for point in job.points]

    def readings(self, content: bytes) -> int:
        """Keep a batch of readings as JSON; blocks until it is synced. Returns how many there are.

        Raises
        ------
        BadInput
            It is no such batch; nothing of it is kept.
        NotKept
            The store cannot be written; nothing of it is kept.
        """
        now = self._clock()
        found: list[Reading] = []
        problems: list[Problem] = []
        for n, row in enumerate(_rows(content)):
            wrong = list(self._wrong(row, now))
            problems += [Problem(f"readings[{n}]", *problem) for problem in wrong]
            if not wrong:
                found.append(self._reading(row))
        if problems:
            more = [Problem("", "", f"{len(problems) - _MOST_SAID} more", "right as those above")] if problems[_MOST_SAID:] else []
            raise BadInput([*problems[:_MOST_SAID], *more])
        try:
            self._store.add_readings(found)
        except BadInput as error:
            raise NotKept(str(error)) from None
        for reading in found:
            self._hear(reading, now)
        return len(found)

    def recording(self, header: Mapping[str, Any], content: bytes) -> str:
        """Keep a recording: a file of any form that is read, and what the file does not say. Blocks until it is synced. Returns its
        SHA-256.

        Raises
        ------
        BadInput
            A header that says what cannot be, or a file that cannot be read with it.
        NotKept
            The disk cannot be written.
        """
        problems = list(self._wrong_header(header))
        sha256 = hashlib.sha256(content).hexdigest()
        if header.get("sha256") not in (None, sha256):
            problems.append(
                Problem("header", "sha256", str(header["sha256"])[:80], f"that of what arrived: {sha256}; send it again")
            )
        if problems:
            raise BadInput(problems)
        name, point = str(header["name"]), str(header["point"])
        ending = Path(name).suffix.lower()
        kept = self._folder / f"{sha256[:24]} {re.sub(r'[^a-z0-9]+', '-', point.lower()).strip('-')}{ending}"
        sidecar = kept.with_name(kept.name + SIDECAR)
        said = json.dumps({key: header[key] for key in _BESIDE if key in header}, ensure_ascii=False)
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            if kept.exists() and sidecar.exists() and sidecar.read_text(encoding="utf-8") == said:
                return sha256
            part = self._folder / f".{uuid.uuid4().hex}{ending}"
            try:
                _write(part, content)
                _write(part.with_name(part.name + SIDECAR), said.encode())
                read_described(part, self._job)
                os.replace(part.with_name(part.name + SIDECAR), sidecar)
                os.replace(part, kept)
            finally:
                part.unlink(missing_ok=True)
                part.with_name(part.name + SIDECAR).unlink(missing_ok=True)
            _sync(self._folder)
        except OSError as error:
            raise NotKept(f"{self._folder}: {error.strerror}") from None
        return sha256

    def fresh(self, now: float) -> list[Reading]:
        """The last readings of points that came in and are not too old, to be judged with those of the bus. Unix time. [s]"""
        within = self._job.incoming.age_limit
        return [one for one in list(self._last.values()) if one.point and -AHEAD <= now - one.time_s <= within]

    def _wrong(self, row: Any, now: float) -> Iterator[tuple[str, str, str]]:
        """What is wrong with one reading: key, what was given, what would be right."""
        if not isinstance(row, dict):
            yield "", _shown(row), f"an object with {', '.join(_KEYS)}"
            return
        for key in row.keys() - set(_KEYS):
            yield str(key)[:40], "the key", f"the keys are: {', '.join(_KEYS)}"
        yield from _wrong_time(row.get("time"), now)
        quality = row.get("quality", "good")
        if quality not in QUALITIES:
            yield "quality", _shown(quality), f"one of: {', '.join(QUALITIES)}"
        point, quantity = row.get("point", ""), row.get("quantity")
        if not isinstance(point, str) or not isinstance(quantity, str):
            yield "quantity", _shown(quantity), f"one of: {', '.join(_UNIT_KIND)}"
            return
        yield from self._wrong_place(point, quantity)
        if quantity in _UNIT_KIND:
            yield from _wrong_value(row.get("value"), row.get("unit", ""), quantity, quality)

    def _wrong_place(self, point: str, quantity: str) -> Iterator[tuple[str, str, str]]:
        if quantity in _OF_THE_DRIVE:
            kind = _OF_THE_DRIVE[quantity][0]
            if point:
                yield "point", _shown(point), f"no point: {quantity} is of the drive"
            elif not any(one.kind == kind and one.source == "posted" for one in self._inputs.inputs):
                yield "quantity", _shown(quantity), f"an input of the job: list one with kind: {kind}, source: posted"
            return
        if quantity not in _AT_POINTS:
            yield "quantity", _shown(quantity), f"one of: {', '.join(_UNIT_KIND)}"
        places = [*self._points, *([SUMP] if quantity == TEMPERATURE else [])]
        if point not in places:
            yield "point", _shown(point), f"a measuring point of the job, one of: {'; '.join(places)}"

    def _reading(self, row: Mapping[str, Any]) -> Reading:
        quantity, value = row["quantity"], row.get("value")
        kind = _UNIT_KIND[quantity]
        si = None if value is None else convert(float(value), row.get("unit", ""), kind) if kind else float(value)
        time_s = _time(row["time"])
        return Reading(time_s, row.get("point", ""), quantity, si, SI_UNIT[kind] if kind else "-", row.get("quality", "good"))

    def _hear(self, reading: Reading, now: float) -> None:
        """Remember the last of each quantity: not one that was sent late, unless the clock was set back since."""
        key = (reading.point, reading.quantity)
        if key in self._last and reading.time_s < self._last[key].time_s <= now + AHEAD:
            return
        self._last[key] = reading
        if reading.point:
            return
        kind = _OF_THE_DRIVE[reading.quantity][0]
        for one in self._inputs.inputs:
            if one.kind == kind and one.source == "posted":
                value = reading.value if reading.quality == "good" else None
                self._inputs.hear(one.name, value, reading.time_s, "" if value is not None else f"sent as {reading.quality}")

    def _wrong_header(self, header: Mapping[str, Any]) -> Iterator[Problem]:
        for key in header.keys() - set(_HEADER):
            yield Problem("header", str(key)[:40], "the key", f"the keys are: {', '.join(_HEADER)}")
        for key in _HEADER:
            value = header.get(key)
            if value is not None and (not isinstance(value, str) or not value.isprintable() or len(value) > 200):
                yield Problem("header", key, _shown(value), "one line of text")
        name = header.get("name")
        if not isinstance(name, str) or Path(name).suffix.lower() not in ENDINGS or "/" in name or "\\" in name:
            yield Problem("header", "name", _shown(name), f"a file's name, its ending one of: {', '.join(ENDINGS)}")
        if header.get("point") not in self._points:
            there = f"a measuring point of the job, one of: {'; '.join(self._points)}"
            yield Problem("header", "point", _shown(header.get("point")), there)


def _rows(content: bytes) -> list[Any]:
    """The readings of a message: an object, a list, or an object with ``readings``."""
    accepted = f'JSON in UTF-8: {{"readings": [{{{", ".join(_KEYS)}}}, ...]}}'
    if len(content) > LARGEST_BATCH:
        raise BadInput(Problem("", "", f"{len(content)} bytes", f"at most {LARGEST_BATCH} bytes in one go"))
    try:
        given = json.loads(content.decode("utf-8"), parse_constant=_no_number)
    except (ValueError, RecursionError) as error:
        raise BadInput(Problem("", "", str(error)[:120], accepted)) from None
    if isinstance(given, dict) and "readings" in given:
        if given.keys() != {"readings"}:
            raise BadInput(Problem("", "", "other keys beside readings", accepted))
        given = given["readings"]
    elif isinstance(given, dict):
        given = [given]
    if not isinstance(given, list) or not given:
        raise BadInput(Problem("", "readings", _shown(given), accepted))
    return given


def _no_number(text: str) -> float:
    raise ValueError(f"{text} is no number of JSON; a value that could not be read is null, with quality bad")


def _time(value: Any) -> float:
    """Unix time of a number of seconds or of ISO 8601 with its zone; NaN where it is neither."""
    if isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e12:
        return float(value)
    if isinstance(value, str):
        try:
            read = datetime.fromisoformat(value)
            return read.timestamp() if read.tzinfo is not None else math.nan
        except (ValueError, OverflowError):
            pass
    return math.nan


def _wrong_time(value: Any, now: float) -> Iterator[tuple[str, str, str]]:
    time_s = _time(value)
    if not math.isfinite(time_s):
        yield "time", _shown(value), "Unix seconds, or a date and time with its zone, e.g. 2026-11-26T10:00:00Z"
    elif time_s > now + AHEAD:
        here = datetime.fromtimestamp(now, UTC).isoformat(timespec="seconds")
        yield "time", _shown(value), f"a time that has been; here it is {here}: set the sender's clock, or this one"
    elif time_s < now - _OLDEST.total_seconds():
        yield "time", _shown(value), f"a time of the last {_OLDEST.days} days"


def _wrong_value(value: Any, unit: Any, quantity: str, quality: Any) -> Iterator[tuple[str, str, str]]:
    kind = _UNIT_KIND[quantity]
    if not isinstance(unit, str) or (kind and unit not in ACCEPTED[kind]) or (not kind and unit not in ("", "-")):
        yield "unit", _shown(unit), f"one of: {', '.join(one for one in ACCEPTED[kind] if one)}" if kind else "none: a plain number"
        return
    if value is None:
        if quality == "good":
            yield "value", "nothing", "a number; what could not be read is null, with quality bad"
        return
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e300:
        yield "value", _shown(value), "a number"
        return
    try:
        si = convert(float(value), unit, kind) if kind else float(value)
    except OutOfRange as error:
        yield "value", _shown(value), error.rule
        return
    if abs(si) > _LARGEST_VALUE or (quantity in (OVERALL, BAND) and si < 0):
        yield "value", _shown(value), "a value that drives have" + (", 0 or more" if quantity in (OVERALL, BAND) else "")
    if quantity == QUANTITIES["run"][0] and si not in (0.0, 1.0):
        yield "value", _shown(value), "1 running or 0 stopped"
    if quantity == QUANTITIES["direction"][0] and si not in (1.0, -1.0):
        yield "value", _shown(value), "1 forward or -1 reverse"


def _shown(value: Any) -> str:
    try:
        text = json.dumps(value, ensure_ascii=False)
    except (ValueError, RecursionError):
        text = str(type(value).__name__)
    return text if len(text) <= 60 else f"{text[:57]}..."


def _write(path: Path, content: bytes) -> None:
    with path.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _sync(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
