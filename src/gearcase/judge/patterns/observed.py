"""A record as the patterns look at it: what it holds, where and in what state of the drive it was taken, what ails it."""

import functools
from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from gearcase.findings import Finding
from gearcase.signal.envelope import EnvelopeSpectrum
from gearcase.signal.recording import Recording
from gearcase.signal.spectrum import Transform

__all__ = ["SAME_LOAD", "SAME_SPEED", "SAMPLED_ALIKE", "Kept", "Observed", "Recorded", "at_one_time", "matched"]

SAME_LOAD = 0.1  # of the rated load: records that far apart count as taken under one load; common practice, no source
SAME_SPEED = 0.05  # relative: vibration of one state may be compared that far apart; common practice, no source
SAMPLED_ALIKE = 0.05  # relative: records sampled that far apart hear the same band, a slow one less; common practice, no source
_EARLIEST, _LATEST = 3, 3  # kept of each place and state: a baseline and what stands against it


@dataclass(frozen=True)
class Recorded:
    """One record of one channel, fit to be judged or not.

    Where and in what state it was taken stands in `recording`: point, direction, state, load and oil temperature.

    Attributes
    ----------
    recording : Recording
    quality : tuple of Finding
        What `signal.quality` says of it, judged once.
    """

    recording: Recording
    quality: tuple[Finding, ...] = field(kw_only=True)


@dataclass(frozen=True)
class Observed(Recorded):
    """One record of one channel, fit to be judged, its speed known or its state one without a speed.

    Attributes
    ----------
    spectrum : Transform
    envelope : EnvelopeSpectrum
    speed_hz, speed_spread : float
        Of the reference shaft [Hz], and the relative half-width of what is not known of it [-]. In a state of changing speed what
        was stated, and 1; standing, 0 and 0.
    component : str
        Bearing under the measuring point; empty where there is none.
    """

    spectrum: Transform
    envelope: EnvelopeSpectrum
    speed_hz: float
    speed_spread: float
    component: str = ""

    @functools.cached_property
    def power(self) -> NDArray[np.float64]:
        """Squared magnitude of each bin under a Hann window, for sums. [unit of the samples]"""
        return np.asarray(self.spectrum.power, np.float64)

    @functools.cached_property
    def strength(self) -> NDArray[np.float64]:
        """Power of each bin over local noise. [-]"""
        return np.asarray(self.spectrum.strength, np.float64)


Kind = TypeVar("Kind", bound=Recorded)


class Kept:
    """Of records in order of time the earliest and the latest few of each place and state, so that memory stays flat."""

    def __init__(self) -> None:
        self._count = 0
        self._earliest: dict[tuple[object, ...], list[tuple[int, Recorded]]] = {}
        self._latest: dict[tuple[object, ...], deque[tuple[int, Recorded]]] = {}

    def add(self, one: Recorded) -> None:
        """Take the next record."""
        recording, taken = one.recording, one.recording.taken
        load = None if taken.load is None else round(taken.load / SAME_LOAD)
        speed = round(np.log(one.speed_hz) / SAME_SPEED) if isinstance(one, Observed) and one.speed_hz else None
        rate = round(np.log(recording.sample_rate_hz) / SAMPLED_ALIKE)
        key = (recording.point, recording.channel, recording.unit, rate, taken.direction, taken.state, load, speed)
        earliest = self._earliest.setdefault(key, [])
        if len(earliest) < _EARLIEST:
            earliest.append((self._count, one))
        else:
            self._latest.setdefault(key, deque(maxlen=_LATEST)).append((self._count, one))
        self._count += 1

    def all(self) -> tuple[Recorded, ...]:
        """What was kept, in order of time."""
        groups = [*self._earliest.values(), *self._latest.values()]
        return tuple(one for _, one in sorted((row for group in groups for row in group), key=lambda row: row[0]))


def at_one_time(records: Iterable[Kind]) -> tuple[tuple[Kind, ...], ...]:
    """Records that were sampled together, so that their phases may be compared: as their circumstances say, else the channels of
    one file; each group in its order.
    """
    groups: dict[tuple[str, str, float], list[Kind]] = {}
    for one in records:
        recording = one.recording
        source = recording.taken.together or recording.sha256 or recording.name
        key = (source, recording.start, recording.sample_rate_hz)
        groups.setdefault(key, []).append(one)
    return tuple(tuple(group) for group in groups.values())


def matched(one: Observed, other: Observed) -> bool:
    """Whether levels of two records may be compared: same place, direction, unit and state, sampled alike, one speed, one load that
    is known.
    """
    first, second = one.recording, other.recording
    if (first.point, first.channel, first.unit) != (second.point, second.channel, second.unit):
        return False
    if first.taken.load is None or second.taken.load is None:
        return False
    if one.speed_spread >= 1 or other.speed_spread >= 1 or not other.speed_hz:
        return False
    return (
        (first.taken.direction, first.taken.state) == (second.taken.direction, second.taken.state)
        and abs(first.sample_rate_hz / second.sample_rate_hz - 1) <= SAMPLED_ALIKE
        and abs(first.taken.load - second.taken.load) <= SAME_LOAD
        and abs(one.speed_hz / other.speed_hz - 1) <= SAME_SPEED
    )
