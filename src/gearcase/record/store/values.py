"""What a store keeps, as the rest of the program sees it: readings, events, recordings."""

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gearcase.errors import OutOfRange

__all__ = ["QUALITIES", "Event", "Extremes", "KeptRecording", "Reading", "Readings"]

QUALITIES = ("good", "bad", "stale")


@dataclass(frozen=True)
class Reading:
    """One value of one quantity at one point.

    Attributes
    ----------
    time_s : float
        Unix time, UTC. [s]
    point, quantity : str
        Measuring point, and what was read there in the trade's words, e.g. ``overall velocity``; the drive's own inputs
        (``running``, ``speed``, ``load``) have point ``""``.
    value : float or None
        In `unit`; None where nothing could be read.
    unit : str
        SI unit, or ``-``.
    quality : str
        ``good``, ``bad`` or ``stale``.
    state : str
        Run state while it was read, empty when nobody has judged it yet.

    Raises
    ------
    OutOfRange
        Another quality, a value that is no finite number, or a good reading without value.
    """

    time_s: float
    point: str
    quantity: str
    value: float | None
    unit: str
    quality: str = "good"
    state: str = ""

    def __post_init__(self) -> None:
        if self.quality not in QUALITIES:
            raise OutOfRange("quality", self.quality, f"one of: {', '.join(QUALITIES)}")
        if not math.isfinite(self.time_s) or (self.value is not None and not math.isfinite(self.value)):
            raise OutOfRange("reading", (self.time_s, self.value), "finite time and value; no value is None, with quality bad")
        if self.value is None and self.quality == "good":
            raise OutOfRange("value", None, "a good reading has a value")


@dataclass(frozen=True)
class Event:
    """Something that happened: alarm, acknowledgement, change of the drive. `details` is plain data; `number` counts those kept,
    0 before it is.
    """

    time_s: float
    kind: str
    point: str
    says: str
    who: str
    details: dict[str, Any]
    number: int = field(default=0, compare=False)


@dataclass(frozen=True)
class Readings:
    """Readings as columns, in order of time; a value that could not be read is NaN."""

    time_s: NDArray[np.float64]
    point: NDArray[np.str_]
    quantity: NDArray[np.str_]
    value: NDArray[np.float64]
    unit: NDArray[np.str_]
    quality: NDArray[np.str_]
    state: NDArray[np.str_]

    def __len__(self) -> int:
        return len(self.time_s)


@dataclass(frozen=True)
class Extremes:
    """What is left of thinned readings, as columns in order of time: least, greatest and mean value of each interval, NaN where
    none could be read, the count of readings in it, and where it begins and how long it is. [s]
    """

    start_s: NDArray[np.float64]
    seconds: NDArray[np.float64]
    point: NDArray[np.str_]
    quantity: NDArray[np.str_]
    count: NDArray[np.int64]
    least: NDArray[np.float64]
    greatest: NDArray[np.float64]
    mean: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.start_s)


@dataclass(frozen=True)
class KeptRecording:
    """A recording in the store.

    Attributes
    ----------
    number : int
        Counts those kept.
    time_s : float
        When it was taken, Unix time. [s]
    point, why : str
        Where, and what for: ``levels``, ``diagnosis``.
    file, sha256, size : str, str, int
        Its file below the folder of recordings, what it must hash to, and its length. [bytes]
    details : dict
        What the file's own header does not hold: how and in what state it was taken.
    """

    number: int
    time_s: float
    point: str
    why: str
    file: str
    sha256: str
    size: int
    details: dict[str, Any]
