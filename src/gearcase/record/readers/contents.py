"""What a file holds before anything is decided: its channels and what it says of rate, unit and speed.

Every format fills the same `Contents`. Before it loads anything, each reader asks its `Budget` whether that will fit.
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gearcase.errors import BadInput, Problem

__all__ = ["Budget", "Contents", "Facts", "RawChannel", "array_channels", "facts", "split_unit", "take_time"]

_MOST_CHANNELS = 64  # the shorter side of a table counts as channels up to this many; common practice, no source
_RATE_NAMES = {
    *("sr", "fs", "fshz", "ratehz", "samplerate", "sampleratehz", "samplingrate", "samplingratehz", "samplefreq"),
    *("sampfreq", "sampfrequency", "samplefrequency", "samplingfreq", "samplingfrequency", "samplingfrequencyhz"),
}
_STEP_NAMES = {"dt", "wfincrement", "sampleinterval", "samplinginterval", "timestep", "sampleperiod"}
_UNIT_NAMES = {"unit", "units", "unitstring", "yunit", "yunits"}
_SPEED_HZ_NAMES = {"speedhz", "shafthz", "shaftspeedhz", "shaftratehz"}
_START_NAMES = {"start", "starttime", "wfstarttime", "starttimeutc"}
_TIME_NAMES = {"t", "ts", "time", "times", "timestamp", "seconds", "datetime", "tms", "timems"}
_TIME_SCALE = {"s": 1.0, "sec": 1.0, "seconds": 1.0, "ms": 1e-3, "us": 1e-6, "µs": 1e-6, "min": 60.0}
_LOWEST_PLAUSIBLE_RATE = 1000.0  # below it a variable called just "rate" may be a shaft's; common practice, no source
_JITTER = 0.1  # of a step: how far a time may lie off an even grid; common practice, no source


@dataclass(frozen=True)
class Budget:
    """How much may be loaded. [bytes]"""

    limit: int
    file: str

    def require(self, needed: float) -> None:
        """Refuse before loading.

        Raises
        ------
        BadInput
            With the file, what it needs and what may be used.
        """
        if needed > self.limit:
            raise BadInput(
                Problem(
                    self.file,
                    "size",
                    f"about {needed / 2**20:,.1f} MiB once loaded",
                    f"at most {self.limit / 2**20:,.1f} MiB here: cut the recording into shorter files "
                    "or use a machine with more memory",
                )
            )


@dataclass(frozen=True)
class Facts:
    """What a file says beside its samples. `rates` holds every candidate by the name it goes by [Hz]; `rate_spread` is their
    half-width, relative: printed times leave a rate open.
    """

    rates: Mapping[str, float] = field(default_factory=dict)
    speeds: Mapping[str, float] = field(default_factory=dict)
    unit: str | None = None
    start: str = ""
    notes: tuple[str, ...] = ()
    rate_spread: float = 0.0

    def over(self, other: "Facts") -> "Facts":
        """These facts, and the other's where these are silent."""
        return Facts(
            self.rates or other.rates,
            self.speeds or other.speeds,
            self.unit or other.unit,
            self.start or other.start,
            self.notes + other.notes,
            self.rate_spread if self.rates else other.rate_spread,
        )


@dataclass(frozen=True)
class RawChannel:
    """One channel as it stands in the file, its unit spelt as the file spells it."""

    name: str
    values: NDArray[Any]
    facts: Facts = Facts()

    @property
    def length(self) -> int:
        """Samples."""
        return int(self.values.shape[0])


@dataclass(frozen=True)
class Contents:
    """Everything of one file.

    `left_out` names what is there and is no waveform of real numbers, with the reason. `undecided` holds when
    something left out may have been meant, so that a single channel that remains is no answer. `holds_no_unit` is
    said of formats that cannot hold one.
    """

    format: str
    channels: tuple[RawChannel, ...]
    left_out: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    holds_no_unit: str = ""
    undecided: bool = False


def facts(values: Mapping[str, Any]) -> Facts:
    """Sort named scalars of a file into rates, speeds, unit and start.

    A variable called just ``rate`` is in some sets the shaft's. It counts as the sample rate only when nothing else
    does and it is at least 1000 Hz.

    Examples
    --------
    >>> facts({"bearing.sr": 48828, "bearing.rate": 25}).rates
    {'bearing.sr': 48828.0}
    >>> facts({"X105RPM": 1797}).speeds
    {'X105RPM': 29.95}
    """
    rates: dict[str, float] = {}
    speeds: dict[str, float] = {}
    bare: dict[str, float] = {}
    unit, start, notes = None, "", []
    for name, value in values.items():
        key = re.sub(r"[^a-z0-9]", "", re.split(r"[./]", name)[-1].lower())
        if key in _UNIT_NAMES and isinstance(value, str) and value.strip():
            unit = value.strip()
        elif key in _START_NAMES and value is not None:
            start = str(value)
        elif (number := _number(value)) is None:
            continue
        elif key in _RATE_NAMES:
            rates[name] = number
        elif key in _STEP_NAMES:
            rates[name] = 1 / number if number else math.nan
        elif key == "rate":
            bare[name] = number
        elif key.endswith("rpm"):
            speeds[name] = number / 60
        elif key in _SPEED_HZ_NAMES:
            speeds[name] = number
    for name, number in bare.items():
        if not rates and len(bare) == 1 and number >= _LOWEST_PLAUSIBLE_RATE:
            rates[name] = number
        else:
            notes.append(f"{name} = {number:g} may be a sample rate or a shaft's rate: not used")
    return Facts(rates, speeds, unit, start, tuple(notes))


def split_unit(heading: str) -> tuple[str, str | None]:
    """Name and unit of a column heading.

    Examples
    --------
    >>> split_unit("acc [g]"), split_unit("acc (m/s2)"), split_unit("acc")
    (('acc', 'g'), ('acc', 'm/s2'), ('acc', None))
    """
    match = re.fullmatch(r"(.*?)\s*[\[(]([^\[\]()]*)[\])]\s*", heading.strip())
    if match and match[1]:
        return match[1], match[2].strip() or None
    return heading.strip(), None


def array_channels(name: str, array: NDArray[Any], own: Facts) -> list[RawChannel]:
    """Channels of one array: a vector is one; of a table the longer side is time and the shorter its channels.

    Empty when the shape says neither.
    """
    sides = tuple(side for side in array.shape if side != 1)
    if array.size == 0 or len(sides) == 1:
        return [RawChannel(name, array.reshape(-1), own)]
    if len(sides) != 2 or min(sides) > _MOST_CHANNELS or sides[0] == sides[1]:
        return []
    table = array.reshape(sides)
    rows = table if sides[0] < sides[1] else table.T
    return [RawChannel(f"{name}:{n + 1}", row, own) for n, row in enumerate(rows)]


def take_time(channels: list[RawChannel], *, first_may_be_time: bool) -> list[RawChannel]:
    """Read the rate from a time channel and give it to the others of its length.

    A channel is time by its name, or, where nothing names it, by being the first of several and rising evenly. Every
    time must lie within a tenth of a step (and the rounding of its printed digits) of an even grid, else no rate is
    taken and a note says why.
    """
    named = [n for n, channel in enumerate(channels) if _is_time_name(channel.name)]
    if len(channels) < 2 or len(named) > 1:
        return channels
    if named:
        (place,) = named
    elif first_may_be_time:
        place = 0
    else:
        return channels
    time = channels[place]
    values = time.values
    if values.dtype.kind not in "iuf":
        return channels
    scale = _TIME_SCALE.get((time.facts.unit or "").lower(), 1.0)
    if not time.facts.unit and re.fullmatch(r".*ms", re.sub(r"[^a-z]", "", time.name.lower())):
        scale = 1e-3
    rate, spread, why = _even_rate(values.astype(float) * scale)
    if rate is None and not named:
        return channels
    told = Facts(notes=(f"{time.name}: {why}: no rate can be taken from it",))
    if rate is not None:
        told = Facts(rates={time.name: rate}, rate_spread=spread)
    others = channels[:place] + channels[place + 1 :]
    return [replace(channel, facts=channel.facts.over(told)) if channel.length == time.length else channel for channel in others]


def _is_time_name(name: str) -> bool:
    return re.sub(r"[^a-z]", "", re.split(r"[./]", name)[-1].lower()) in _TIME_NAMES


def _number(value: Any) -> float | None:
    """A single number, also when it hides in an array or is written as text."""
    if isinstance(value, np.ndarray) and value.size == 1:
        value = value.reshape(-1)[0]
    if isinstance(value, bytes):
        value = value.decode("utf-8", "replace")
    if isinstance(value, str):
        value = value.strip()
    if isinstance(value, (bool, np.bool_)):
        return None
    try:
        return float(value)
    except (TypeError, ValueError, OverflowError):
        return None


def _even_rate(times: NDArray[np.float64]) -> tuple[float | None, float, str]:
    """Rate of evenly spaced times [Hz] with its half-width, relative, that their printed digits leave open; or the reason why
    there is none.
    """
    if times.size < 3 or not np.isfinite(times).all():
        return None, 0.0, "too few times, or some missing"
    times = times - times[0]
    if times[-1] <= 0 or np.any(np.diff(times) < 0):
        place = int(np.argmax(np.diff(times) < 0))
        return None, 0.0, f"times run backwards after value {place + 1}"
    step = times[-1] / (times.size - 1)
    off = np.abs(times - step * np.arange(times.size))
    digits = (d for d in range(10) if np.allclose(times, np.round(times, d), rtol=0, atol=1e-12))
    last_digit = 10.0 ** -next(digits, 12)
    if off.max() > _JITTER * step + last_digit:
        worst = int(off.argmax())
        grid = f"an even grid, near value {worst + 1}, of their mean rate of {1 / step:.5g} Hz"
        return None, 0.0, f"times lie up to {off[worst] / step:.2g} steps off {grid}"
    return float(1 / step), float((off.max() + last_digit) / times[-1]), ""
