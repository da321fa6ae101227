"""What gravity says against the stated direction of a sensor's axes, and whether the sensor has turned since its first record.

Three axes of one point that were sampled together and make up one g pass steady acceleration, and gravity shows in them running or
not. Of a sensor without direct current nothing is said. A turn about the vertical stays unseen (`install.orientation`).
"""

import math
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from gearcase.install.orientation import GRAVITY, angle_between
from gearcase.judge.patterns.observed import Recorded, at_one_time

__all__ = ["gravity_doubts"]

_OF_GRAVITY = 0.1  # sensitivity and offset of an axis may make it this much more or less; common practice, no source
_STANDS_OFF = math.radians(18)  # from which an axis has no direction: that of cosine 0.95 in `install.orientation`
_TURNED_DEGREES = 10  # of two readings, each as far off as the proving lets one be


def gravity_doubts(records: Sequence[Recorded]) -> Iterator[str]:
    """In words, of each point: axes that gravity contradicts in its latest records, and how far it stands from the first ones.

    Parameters
    ----------
    records : sequence of Recorded
        In order of time.
    """
    first: dict[tuple[str, ...], tuple[Recorded, ...]] = {}
    latest: dict[tuple[str, ...], tuple[Recorded, ...]] = {}
    for axes in (axes for group in at_one_time(records) for axes in _upright_sets(group)):
        place = (axes[0].recording.point, *(f"{one.recording.channel} {one.recording.taken.direction}" for one in axes))
        first.setdefault(place, axes)
        latest[place] = axes
    for place, axes in latest.items():
        yield from _contradicted(axes)
        yield from _turned(first[place], axes)


def _upright_sets(group: Sequence[Recorded]) -> Iterator[tuple[Recorded, ...]]:
    """The three axes of each point that make up one g, in the order of their names."""
    for point in dict.fromkeys(one.recording.point for one in group):
        here = [one for one in group if one.recording.point == point and one.recording.unit == "m/s2"]
        axes = tuple(sorted(here, key=lambda one: one.recording.channel))
        if point and len(axes) == 3 and abs(np.linalg.norm(_means(axes)) / GRAVITY - 1) <= _OF_GRAVITY:
            yield axes


def _means(axes: Sequence[Recorded]) -> NDArray[np.float64]:
    return np.array([one.recording.samples.mean(dtype=np.float64) for one in axes])


def _contradicted(axes: Sequence[Recorded]) -> Iterator[str]:
    """The axis that stands farthest off what it is called, vertical or level."""
    means, called = _means(axes), [one.recording.taken.direction for one in axes]
    from_vertical = np.arccos(np.clip(np.abs(means) / np.linalg.norm(means), 0, 1))
    off = np.where(np.array(called) == "vertical", from_vertical, math.pi / 2 - from_vertical)
    off[[not direction for direction in called]] = 0
    worst = int(np.argmax(off))
    if off[worst] <= _STANDS_OFF:
        return
    one, share, degrees = axes[worst].recording, abs(means[worst]), math.degrees(off[worst])
    yield (
        f"{one.name}: of gravity the axis of {one.point} called {called[worst]} ({one.channel}) shows {share:.1f} of "
        f"{np.linalg.norm(means):.1f} m/s2: it stands {degrees:.0f} degrees off that direction, unless the shaft there is not "
        "level, and what is said of directions at this point does not hold; look at the sensor's mark, correct its face and hour "
        "in the job, or the direction stated for the recording, and judge again"
    )


def _turned(first: Sequence[Recorded], now: Sequence[Recorded]) -> Iterator[str]:
    since, one = first[0].recording, now[0].recording
    degrees = math.degrees(angle_between(_means(first), _means(now)))
    if degrees > _TURNED_DEGREES:
        yield (
            f"{one.name}: by gravity in its axes the sensor of {one.point} stands {degrees:.0f} degrees from where it stood in "
            f"{since.name}: look whether its mount has come loose and who has touched it; levels before and after are not of one "
            "place. Fit it anew, prove its orientation and begin its baseline again"
        )
