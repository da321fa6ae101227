"""How high a mounted sensor sees: true amplitude, detectable only, not seen.

Above the frequency where the mount still shows true amplitude its resonance lifts the reading: a line there can be
found but its height means nothing. Above the resonance nothing passes. Figures by mount are in ``tables/mounts.csv``,
good to a factor 2; where the resonance of the whole stack is known (`resonance.combined_resonance`, or a tap test) it is better.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from gearcase.errors import OutOfRange, above_zero
from gearcase.install.points import Point
from gearcase.install.resonance import TRUE_WITHIN, usable_hz
from gearcase.tables import load

__all__ = ["LineSight", "Sight", "line_sights", "mount_names", "mount_sight", "sight", "stack_sight"]

_DETECTABLE = 2.0  # times the frequency to which amplitudes are true, as in tables/mounts.csv


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


@dataclass(frozen=True)
class LineSight:
    """A wanted line on one mount: its frequency [Hz], ``true``, ``detectable`` or ``not seen``, and what would better it."""

    name: str
    hz: float
    grade: str
    cure: str


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


def stack_sight(*, lowest_hz: float, highest_hz: float, resonance_hz: float, weakest: str) -> Sight:
    """Band of a sensor on a stack whose resonance is known: true to 0.30 of it (10 %), detectable to twice that.

    Parameters
    ----------
    lowest_hz, highest_hz : float
        Of the sensor, from its data sheet. [Hz]
    resonance_hz : float
        Of the whole stack, at running temperature. [Hz]
    weakest : str
        The part that lowers it most, the one of the lowest resonance alone, or ``tap test``.

    Raises
    ------
    OutOfRange
        Resonance or highest not above 0.

    Examples
    --------
    >>> band = stack_sight(lowest_hz=2.0, highest_hz=10000.0, resonance_hz=7000.0, weakest="bond")
    >>> band.true_hz, band.grade(3000.0), band.grade(5000.0)
    (2110.58, 'detectable', 'not seen')
    """
    above_zero(highest_hz=highest_hz, resonance_hz=resonance_hz)
    true_hz = usable_hz(resonance_hz=resonance_hz, error=TRUE_WITHIN)
    return Sight(
        lowest_hz=lowest_hz,
        true_hz=min(true_hz, highest_hz),
        detectable_hz=min(_DETECTABLE * true_hz, highest_hz),
        limited_by="sensor" if highest_hz < true_hz else f"{weakest}, stack resonance {resonance_hz:.0f} Hz",
    )


def line_sights(band: Sight, lines_hz: Mapping[str, float]) -> tuple[LineSight, ...]:
    """Every wanted line in the three grades, the worst first, with what would better it.

    Parameters
    ----------
    band : Sight
    lines_hz : mapping
        Highest frequency of each line by its name. [Hz]

    Examples
    --------
    >>> for line in line_sights(mount_sight("flat magnet"), {"mesh": 900.0, "3 x mesh": 2700.0, "impacts": 8000.0}):
    ...     print(f"{line.grade}: {line.name} ({line.cure})")
    not seen: impacts (a mount true to 8000 Hz: stud)
    detectable: 3 x mesh (a mount true to 2700 Hz: stud, rigid adhesive, adhesive pad)
    true: mesh ()
    """
    worst_first = ("not seen", "detectable", "true")
    seen = [LineSight(name, hz, band.grade(hz), _cure(band, hz)) for name, hz in lines_hz.items()]
    return tuple(sorted(seen, key=lambda line: (worst_first.index(line.grade), -line.hz)))


def _cure(band: Sight, hz: float) -> str:
    if band.grade(hz) == "true":
        return ""
    if hz < band.lowest_hz:
        return f"a sensor that begins at {hz:.3g} Hz or lower"
    if band.limited_by == "sensor":
        return f"a sensor that reaches {hz:.0f} Hz or more"
    better = [name for name in mount_names() if mount_sight(name).true_hz >= hz]
    if not better:
        return f"no mount shows a true amplitude at {hz:.0f} Hz: trend it on this mount only, or look at the envelope"
    return f"a mount true to {hz:.0f} Hz: {', '.join(better)}"
