"""How high a mounted sensor sees: true amplitude, detectable only, not seen.

Above the frequency where the mount still shows true amplitude its resonance lifts the reading: a line there can be
found but its height means nothing. Above the resonance nothing passes. Figures by mount are in ``tables/mounts.csv``,
good to a factor 2.
"""

from dataclasses import dataclass

from gearcase.errors import OutOfRange
from gearcase.install.points import Point
from gearcase.tables import load

__all__ = ["Sight", "mount_names", "mount_sight", "sight"]


@dataclass(frozen=True)
class Sight:
    """Band of one point: from `lowest_hz`, true to `true_hz`, detectable to `detectable_hz`, with what limits it."""

    lowest_hz: float
    true_hz: float
    detectable_hz: float
    limited_by: str

    def grade(self, hz: float) -> str:
        """``true``, ``detectable`` or ``not seen`` for a line at `hz`."""
        if hz < self.lowest_hz or hz > self.detectable_hz:
            return "not seen"
        return "true" if hz <= self.true_hz else "detectable"


def mount_names() -> tuple[str, ...]:
    """The mounts gearcase knows."""
    return tuple(row["mount"] for row in load("mounts"))


def mount_sight(mount: str) -> Sight:
    """Band that a mount passes, whatever sensor stands on it.

    Raises
    ------
    OutOfRange
        The mount is not in the table.

    Examples
    --------
    >>> mount_sight("stud").grade(10000.0)
    'detectable'
    """
    rows = {row["mount"]: row for row in load("mounts")}
    if mount not in rows:
        raise OutOfRange("mount", repr(mount), f"one of: {', '.join(rows)}")
    row = rows[mount]
    return Sight(0.0, float(row["true_hz"]), float(row["detectable_hz"]), row["says"])


def sight(point: Point) -> Sight | None:
    """Band of a point from its sensor and its mount, whichever ends first; None while either is unknown.

    Raises
    ------
    OutOfRange
        The mount is not in the table.

    Examples
    --------
    >>> from gearcase.install.points import Sensor
    >>> sight(Point("A", Sensor(lowest_hz=2.0, highest_hz=10000.0), mount="flat magnet")).true_hz
    2000.0
    """
    if not point.mount or point.sensor.highest_hz is None:
        return None
    passes, highest = mount_sight(point.mount), point.sensor.highest_hz
    return Sight(
        lowest_hz=point.sensor.lowest_hz or 0.0,
        true_hz=min(passes.true_hz, highest),
        detectable_hz=min(passes.detectable_hz, highest),
        limited_by="sensor" if highest < passes.true_hz else passes.limited_by,
    )
