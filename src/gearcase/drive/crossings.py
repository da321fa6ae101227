"""At which speeds two lines meet, and where: a line that follows the speed and one that does not, or two that follow differently.

A line stands at the size of its fixed frequency plus its order times the speed, so two of them meet where
``order1 x s + fixed1 = +-(order2 x s + fixed2)``: nowhere, once or twice.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import combinations

from gearcase.drive.bearing_lines import BEARING_RATES
from gearcase.drive.line import Line

__all__ = ["MAIN_KINDS", "MARGIN", "Crossing", "crossing_speeds", "crossings", "main_lines", "shown_speeds"]

MAIN_KINDS = ("shaft", "planet", "planet_pass", "mesh", *BEARING_RATES, "belt", "passing", "supply", "converter")
MARGIN = 0.1  # shown beyond the highest speed in service, and below the lowest, relative to each: room to read
_SAME = 1e-12


@dataclass(frozen=True)
class Crossing:
    """Two lines that meet: their names, the speed of the reference shaft and where they stand there [Hz].

    `in_service` says whether that speed lies in the service range.
    """

    first: str
    second: str
    speed_hz: float
    hz: float
    in_service: bool


def crossings(lines: Iterable[Line], *, service_hz: tuple[float, float]) -> tuple[Crossing, ...]:
    """Where the main lines of different parts meet in the speeds shown, the service range and a little beyond; by speed.

    Lines that coincide at every speed cross nowhere, nor do any that only meet at standstill.

    Parameters
    ----------
    lines : iterable of Line
    service_hz : tuple of float
        Lowest and highest speed of the reference shaft in service. [Hz]
    """
    low, high = shown_speeds(service_hz)
    found = []
    for one, other in combinations(main_lines(lines), 2):
        if one.component == other.component:
            continue
        for speed in crossing_speeds(
            order=one.order, fixed_hz=one.fixed_hz, other_order=other.order, other_fixed_hz=other.fixed_hz
        ):
            if low <= speed <= high and speed > 0:
                inside = service_hz[0] <= speed <= service_hz[1]
                found.append(Crossing(one.name, other.name, speed, one.hz(speed), inside))
    return tuple(sorted(found, key=lambda crossing: (crossing.speed_hz, crossing.hz)))


def crossing_speeds(*, order: float, fixed_hz: float, other_order: float, other_fixed_hz: float) -> tuple[float, ...]:
    """Speeds at which two lines meet, lowest first; below 0 where it would have to turn backwards. [Hz]

    ``order s + fixed = other_order s + other_fixed``, and the same with one side reversed, since a line of -5 Hz is one of 5 Hz.

    Examples
    --------
    Four times a shaft and a line at 100 Hz:

    >>> crossing_speeds(order=4.0, fixed_hz=0.0, other_order=0.0, other_fixed_hz=100.0)
    (-25.0, 25.0)
    """
    speeds = set()
    for sign in (1, -1):
        turning, still = order - sign * other_order, sign * other_fixed_hz - fixed_hz
        if abs(turning) > _SAME * max(abs(order), abs(other_order)):
            speeds.add(still / turning + 0.0)  # + 0.0: no minus zero
    return tuple(sorted(speeds))


def main_lines(lines: Iterable[Line]) -> tuple[Line, ...]:
    """The fundamentals a reader looks for first.

    Single teeth, hunting tooth, assembly phase and sidebands are read from the tables; pole pass follows the load, not the speed.
    """
    return tuple(line for line in lines if line.kind in MAIN_KINDS and line.harmonic == 1 and not _beside_converter(line))


def shown_speeds(service_hz: tuple[float, float]) -> tuple[float, float]:
    """Lowest and highest speed a diagram shows: the service range and a little beyond. [Hz]

    Examples
    --------
    >>> shown_speeds((10.0, 20.0))
    (9.0, 22.0)
    """
    return service_hz[0] * (1 - MARGIN), service_hz[1] * (1 + MARGIN)


def _beside_converter(line: Line) -> bool:
    """A sideband of the converter's carrier, which moves with the speed as the carrier itself does not."""
    return line.kind == "converter" and line.order != 0
