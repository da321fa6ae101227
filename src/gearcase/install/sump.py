"""Whether a probe in a port of the sump reads the oil and stays clear of what turns.

Too little of it in the oil and the probe reads the housing through its own stem; too much and a wheel takes it off.

Calculators: `immersion_needed`, `immersion`, `tip_clearance`. Rules: `immersion_ruling`, `clearance_ruling`, `floor_ruling`.
"""

from gearcase.errors import OutOfRange, above_zero
from gearcase.install.rulings import Ruling
from gearcase.worked import worked_by

__all__ = [
    "LEAST_CLEARANCE",
    "LEAST_OVER_FLOOR",
    "clearance_ruling",
    "floor_ruling",
    "immersion",
    "immersion_needed",
    "immersion_ruling",
    "tip_clearance",
]

LEAST_CLEARANCE = 0.025  # m, tip to wheel; common practice, no source
LEAST_OVER_FLOOR = 0.025  # m: below it lies sludge; common practice, no source
_SENSING, _STEM = 0.025, 10.0  # m of sensing tip, and tip diameters of stem beside; common practice, no source
_PRACTICE = "common practice, no source"


@worked_by(formula="needed = 25 mm + 10 d", unit="m", source=_PRACTICE)
def immersion_needed(*, tip_diameter: float) -> float:
    """Length of a probe that must lie below the minimum oil level. [m]

    Raises
    ------
    OutOfRange
        Diameter not above 0.

    Examples
    --------
    >>> immersion_needed(tip_diameter=6e-3)
    0.085
    """
    above_zero(tip_diameter=tip_diameter)
    return _SENSING + _STEM * tip_diameter


@worked_by(formula="immersed = length, level or upwards from a port below the minimum level", unit="m", source="geometry")
def immersion(*, length: float, below_minimum: float) -> float:
    """Length of a probe below the minimum oil level, of one that stands level in a port below it; 0 where the port is not. [m]

    Raises
    ------
    OutOfRange
        Length not above 0.
    """
    above_zero(length=length)
    return length if below_minimum > 0 else 0.0


@worked_by(formula="clear = mouth to wheel - length", unit="m", source="geometry")
def tip_clearance(*, to_wheel: float, length: float) -> float:
    """From a probe's tip to the nearest wheel; 0 or less where they meet. [m]

    Raises
    ------
    OutOfRange
        A length not above 0.

    Examples
    --------
    >>> tip_clearance(to_wheel=0.12, length=0.09)
    0.03
    """
    above_zero(to_wheel=to_wheel, length=length)
    return to_wheel - length


def immersion_ruling(*, immersed: float, tip_diameter: float) -> Ruling:
    """Whether enough of the probe lies in the oil. [m]"""
    needed = immersion_needed(tip_diameter=tip_diameter)
    cure = (
        f"a probe {1000 * max(0.0, needed - immersed):.0f} mm longer where the wheel leaves room, a thinner tip, or a port below it"
    )
    return Ruling("length of the probe below the minimum oil level", immersed, "m", cure, _PRACTICE, least=needed)


def clearance_ruling(*, to_wheel: float | None, length: float) -> Ruling:
    """Whether the tip stays clear of the wheel; a distance that nobody has measured counts as none. [m]

    Examples
    --------
    >>> clearance_ruling(to_wheel=None, length=0.06).holds
    False
    """
    if to_wheel is not None and to_wheel <= 0:
        raise OutOfRange("to_wheel", to_wheel, "above 0 m")
    clear = 0.0 if to_wheel is None else tip_clearance(to_wheel=to_wheel, length=length)
    if to_wheel is None:
        cure = f"measure from the port's mouth to the wheel with a rod through the port, drained or by its drawing; {_room()}"
    else:
        cure = f"a probe of {1000 * max(0.0, to_wheel - LEAST_CLEARANCE):.0f} mm or less, or another port"
    return Ruling("tip to the nearest wheel", clear, "m", cure, _PRACTICE, least=LEAST_CLEARANCE)


def floor_ruling(*, above_floor: float) -> Ruling:
    """Whether the tip stands clear of the sludge on the sump's floor. [m]"""
    cure = "a port higher up but below the minimum level, or clean the sump at the oil change"
    return Ruling("tip over the floor of the sump", above_floor, "m", cure, _PRACTICE, least=LEAST_OVER_FLOOR)


def _room() -> str:
    return f"{1000 * LEAST_CLEARANCE:.0f} mm must stay"
