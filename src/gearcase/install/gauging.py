"""How thick the wall is at a spot, from ultrasonic readings.

The gauge times an echo and multiplies by the velocity it is set to. Set for steel it reads grey iron 1.2 to 1.7 times too
thick: metal that is not there. Three readings are taken; the least, corrected to the iron's slowest velocity and less the
gauge's error, is what a hole may count on. The iron's own velocity comes from a reading where the thickness can be measured
with a caliper (a flange, a cover's edge).

Calculators: `corrected_thickness`, `velocity_from_sample`, `least_thickness`. Rules: `gauged_wall`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from gearcase.errors import OutOfRange, above_zero
from gearcase.install.rulings import Ruling
from gearcase.tables import load
from gearcase.worked import worked_by

__all__ = [
    "READINGS",
    "STEEL_SETTING",
    "GaugedWall",
    "corrected_thickness",
    "gauged_wall",
    "least_thickness",
    "velocity_from_sample",
    "velocity_range",
]

STEEL_SETTING = 5920.0  # m/s, what a gauge is set to unless told; handbook figure, from memory
READINGS = 3  # at one spot; common practice, no source
_NARROW = 1.1  # fastest over slowest velocity beyond which a thickness is not known well enough to drill; practice, no source


@dataclass(frozen=True)
class GaugedWall:
    """Wall at one spot: the least it may be and the most [m], and what the rules say of how that is known."""

    least: float
    most: float
    rulings: tuple[Ruling, ...]


@worked_by(formula="thickness = reading x v_metal / v_set", unit="m", source="definition: echo time x velocity / 2")
def corrected_thickness(*, reading: float, velocity_set: float, velocity: float) -> float:
    """Thickness from a reading taken with another velocity than the metal's. [m]

    Parameters
    ----------
    reading : float
        [m]
    velocity_set, velocity : float
        What the gauge was set to, and the metal's own. [m/s]

    Raises
    ------
    OutOfRange
        Anything not above 0.

    Examples
    --------
    A gauge set for steel shows 14 mm on grey iron of 4500 m/s:

    >>> corrected_thickness(reading=14e-3, velocity_set=5920.0, velocity=4500.0)
    0.010642
    """
    above_zero(reading=reading, velocity_set=velocity_set, velocity=velocity)
    return reading * velocity / velocity_set


@worked_by(formula="v = v_set x caliper / reading", unit="m/s", source="definition: echo time x velocity / 2")
def velocity_from_sample(*, caliper: float, reading: float, velocity_set: float) -> float:
    """Velocity of this very metal, from a spot that both caliper and gauge can measure. [m/s]

    Raises
    ------
    OutOfRange
        Anything not above 0.

    Examples
    --------
    >>> velocity_from_sample(caliper=20e-3, reading=26.3e-3, velocity_set=5920.0)
    4501.9
    """
    above_zero(caliper=caliper, reading=reading, velocity_set=velocity_set)
    return velocity_set * caliper / reading


@worked_by(formula="least = least reading x v_metal / v_set - gauge error", unit="m", source="common practice, no source")
def least_thickness(*, least_reading: float, velocity_set: float, velocity: float, gauge_error: float) -> float:
    """What a hole may count on: the least reading, corrected, less the gauge's error; 0 when nothing is left. [m]

    Raises
    ------
    OutOfRange
        Reading or velocity not above 0, error below 0.
    """
    if gauge_error < 0:
        raise OutOfRange("gauge_error", gauge_error, "0 m or more")
    return max(0.0, corrected_thickness(reading=least_reading, velocity_set=velocity_set, velocity=velocity) - gauge_error)


def velocity_range(material: str) -> tuple[float, float]:
    """Slowest and fastest velocity of a material. [m/s]

    Raises
    ------
    OutOfRange
        The table does not hold it.

    Examples
    --------
    >>> velocity_range("grey iron")
    (3500.0, 5000.0)
    """
    for row in load("sound_velocities"):
        if row["material"] == material:
            return float(row["slowest_m_s"]), float(row["fastest_m_s"])
    held = ", ".join(row["material"] for row in load("sound_velocities"))
    raise OutOfRange("material", repr(material), f"one of the table's: {held}")


def gauged_wall(
    *, readings: Sequence[float], gauge_error: float, velocity_set: float, slowest: float, fastest: float
) -> GaugedWall:
    """Wall at one spot from its readings and the range in which the metal's velocity lies.

    Parameters
    ----------
    readings : sequence of float
        At the spot. [m]
    gauge_error : float
        [m]
    velocity_set : float
        What the gauge was set to. [m/s]
    slowest, fastest : float
        The metal's velocity: both ends of `velocity_range`, or twice the value from `velocity_from_sample`. [m/s]

    Raises
    ------
    OutOfRange
        No reading, a reading or velocity not above 0, an error below 0, or the slowest above the fastest.

    Examples
    --------
    Three readings on iron of a kind nobody has said, gauge set for steel: the wall is not known to a hole's needs.

    >>> readings = [14e-3, 14.2e-3, 14.1e-3]
    >>> wall = gauged_wall(readings=readings, gauge_error=2e-4, velocity_set=5920.0, slowest=3500.0, fastest=5700.0)
    >>> wall.least, wall.most, [ruling.holds for ruling in wall.rulings]
    (0.0081, 0.0139, [True, False])
    """
    if not readings:
        raise OutOfRange("readings", "none", f"{READINGS} readings at the spot")
    if slowest > fastest:
        raise OutOfRange("slowest", slowest, f"at most the fastest, {fastest} m/s")
    least = least_thickness(least_reading=min(readings), velocity_set=velocity_set, velocity=slowest, gauge_error=gauge_error)
    most = corrected_thickness(reading=max(readings), velocity_set=velocity_set, velocity=fastest) + gauge_error
    return GaugedWall(
        least,
        most,
        (
            Ruling(
                what="readings at the spot",
                value=float(len(readings)),
                unit="-",
                least=float(READINGS),
                cure=f"take {READINGS} readings within the pad and keep the least",
                source="common practice, no source",
            ),
            Ruling(
                what="spread of the metal's sound velocity, fastest over slowest",
                value=fastest / slowest,
                unit="-",
                most=_NARROW,
                cure="gauge a flange or cover edge that a caliper can measure too, and take the velocity from it; else no hole",
                source="common practice, no source",
            ),
        ),
    )
