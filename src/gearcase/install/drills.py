"""Which drill: by name, by diameter, and for a thread by the height of thread it leaves.

Four kinds are sold side by side: number, letter, fraction and metric. A thread's usual tap drill stands in the thread table
(`holes.tap_drill`); in iron 60 to 75 % of thread is kinder to the tap than what that drill leaves, so the nearest of every
kind are offered with what each leaves.

`drill_named`, `nearest_drills`, `tap_drills`, `spindle_speed`.
"""

import functools
import math
from dataclasses import dataclass

from gearcase.errors import OutOfRange, above_zero
from gearcase.install.holes import drill_for_thread, percent_thread
from gearcase.tables import load
from gearcase.worked import worked_by

__all__ = ["IRON_THREAD", "KINDS", "Drill", "DrillChoice", "drill_named", "nearest_drills", "spindle_speed", "tap_drills"]

KINDS = ("number", "letter", "fraction", "metric")
IRON_THREAD = (60.0, 75.0)  # per cent of thread in iron; common practice, no source


@dataclass(frozen=True)
class Drill:
    """A drill as its maker names it (``#3``, ``F``, ``7/32 in``, ``5.5 mm``), its kind and diameter [m]."""

    name: str
    kind: str
    diameter: float


@dataclass(frozen=True)
class DrillChoice:
    """A drill for a thread, the height of thread it leaves [%], and whether that is what was wanted."""

    drill: Drill
    percent: float
    wanted: bool


def drill_named(name: str) -> Drill:
    """A drill by the name on its shank.

    Raises
    ------
    OutOfRange
        No such drill; the rule says how names look.

    Examples
    --------
    >>> drill_named("#3")
    Drill(name='#3', kind='number', diameter=0.0054102)
    """
    for drill in _drills():
        if drill.name == name:
            return drill
    raise OutOfRange("drill", repr(name), '#1 to #80, A to Z, "1/32 in" to "1 in" by 64ths, "1.0 mm" to "25.0 mm"')


def nearest_drills(*, diameter: float) -> tuple[Drill, ...]:
    """The drill of each kind nearest to a diameter, nearest first.

    Parameters
    ----------
    diameter : float
        [m]

    Raises
    ------
    OutOfRange
        Diameter not above 0.

    Examples
    --------
    >>> [drill.name for drill in nearest_drills(diameter=5.5e-3)]
    ['5.5 mm', '7/32 in', '#3', 'A']
    """
    above_zero(diameter=diameter)
    return tuple(sorted((_nearest(kind, diameter) for kind in KINDS), key=lambda drill: abs(drill.diameter - diameter)))


def tap_drills(*, major_diameter: float, pitch: float, least_percent: float, most_percent: float) -> tuple[DrillChoice, ...]:
    """For each kind the drill nearest to the middle of the wanted height of thread, wanted ones first.

    A kind whose nearest drill would cut no thread, or more than a full one, is left out.

    Parameters
    ----------
    major_diameter, pitch : float
        [m]
    least_percent, most_percent : float
        Wanted height of thread; `IRON_THREAD` in iron. [%]

    Raises
    ------
    OutOfRange
        Not 0 < least <= most <= 100.

    Examples
    --------
    1/4-28 in iron; the usual #3 leaves 79.75 % (row TP01 of ``fastener_checks.csv``), a little more than is kind to the tap:

    >>> for choice in tap_drills(major_diameter=6.35e-3, pitch=25.4e-3 / 28, least_percent=60.0, most_percent=75.0):
    ...     print(choice.drill.name, round(choice.percent, 1), choice.wanted)
    7/32 in 67.4 True
    5.6 mm 63.6 True
    #2 62.5 True
    A 34.5 False
    """
    if not 0 < least_percent <= most_percent <= 100:
        raise OutOfRange("percent of thread", f"{least_percent} to {most_percent}", "above 0, the lower first, at most 100")
    middle = (least_percent + most_percent) / 2
    ideal = drill_for_thread(major_diameter=major_diameter, pitch=pitch, percent=middle)
    choices = []
    for drill in nearest_drills(diameter=ideal):
        if drill.diameter >= major_diameter:
            continue
        percent = percent_thread(major_diameter=major_diameter, drill_diameter=drill.diameter, pitch=pitch)
        if percent <= 100:
            choices.append(DrillChoice(drill, percent, least_percent <= percent <= most_percent))
    return tuple(sorted(choices, key=lambda choice: (not choice.wanted, abs(choice.percent - middle))))


@worked_by(formula="n = v / (pi d)", unit="Hz", source="definition: surface speed at the drill's edge")
def spindle_speed(*, surface_speed: float, drill_diameter: float) -> float:
    """Turns a second that give a surface speed at the edge of a drill. [Hz]

    Parameters
    ----------
    surface_speed : float
        [m/s]
    drill_diameter : float
        [m]

    Raises
    ------
    OutOfRange
        Diameter not above 0.
    """
    above_zero(drill_diameter=drill_diameter)
    return surface_speed / (math.pi * drill_diameter)


@functools.cache
def _drills() -> tuple[Drill, ...]:
    return tuple(Drill(row["drill"], row["kind"], float(row["diameter_mm"]) / 1000) for row in load("drills"))


def _nearest(kind: str, diameter: float) -> Drill:
    return min((drill for drill in _drills() if drill.kind == kind), key=lambda drill: abs(drill.diameter - diameter))
