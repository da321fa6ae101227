"""How large a bonded pad must be for a shock and for a pull, at the running temperature.

Working stress is at most a tenth of the strength left hot. Bonds peel (a pull on the cable, a kick, paint beneath); they seldom
shear, so the pull is checked beside the shock.

Calculators: `allowed_stress`, `shock_force`, `bond_area`, `pad_diameter`, `shear_capacity`, `peel_stress`. Rules: `shock_ruling`,
`peel_ruling`.
"""

import math

from gearcase.errors import OutOfRange, above_zero
from gearcase.install.adhesives import Adhesive, share_left
from gearcase.install.rulings import Ruling
from gearcase.worked import worked_by

__all__ = [
    "WORKING",
    "allowed_stress",
    "bond_area",
    "pad_diameter",
    "peel_ruling",
    "peel_stress",
    "shear_capacity",
    "shock_force",
    "shock_ruling",
]

WORKING = 10.0  # strength over working stress; common practice, no source
_HALF = 0.5  # of its strength an adhesive has left at its `half_at`
_ZERO_C = 273.15
_PRACTICE = "common practice, no source"


@worked_by(formula="allowed = strength x share left / 10", unit="Pa", source=_PRACTICE)
def allowed_stress(*, strength: float, share: float) -> float:
    """Working stress: a tenth of what is left of the data sheet's strength at the running temperature. [Pa]

    Parameters
    ----------
    strength : float
        Lap shear at 23 degC, ISO 4587 or ASTM D1002, lower end of the sheet. [Pa]
    share : float
        From `share_left`. [-]

    Raises
    ------
    OutOfRange
        Anything not above 0, or share above 1.
    """
    above_zero(strength=strength, share=share)
    if share > 1:
        raise OutOfRange("share", share, "above 0, at most 1")
    return strength * share / WORKING


@worked_by(formula="F = m a", unit="N", source="definition")
def shock_force(*, mass: float, acceleration: float) -> float:
    """Force of a shock on what the bond holds. [N]

    Parameters
    ----------
    mass : float
        Sensor, pad and the first clip's length of cable. [kg]
    acceleration : float
        Peak. [m/s2]

    Raises
    ------
    OutOfRange
        Anything not above 0.

    Examples
    --------
    Row BI1 of ``bonding.csv``, 150 g and 50 g:

    >>> shock_force(mass=0.15, acceleration=50 * 9.80665)
    73.549875
    """
    above_zero(mass=mass, acceleration=acceleration)
    return mass * acceleration


@worked_by(formula="A = F / allowed", unit="m2", source="definition")
def bond_area(*, force: float, stress: float) -> float:
    """Area over which a force makes no more than a stress. [m2]

    Raises
    ------
    OutOfRange
        Anything not above 0.
    """
    above_zero(force=force, stress=stress)
    return force / stress


@worked_by(formula="d = sqrt(4 A / pi)", unit="m", source="geometry")
def pad_diameter(*, area: float) -> float:
    """Diameter of a round pad of an area. [m]

    Raises
    ------
    OutOfRange
        Area not above 0.
    """
    above_zero(area=area)
    return math.sqrt(4 * area / math.pi)


@worked_by(formula="F = pi/4 d^2 x stress", unit="N", source="geometry")
def shear_capacity(*, diameter: float, stress: float) -> float:
    """Force a round pad bears in shear at a stress. [N]

    Raises
    ------
    OutOfRange
        Anything not above 0.

    Examples
    --------
    Row BC1 of ``bonding.csv``, 25 mm at 20 MPa:

    >>> shear_capacity(diameter=25e-3, stress=20e6)
    9817.477
    """
    above_zero(diameter=diameter, stress=stress)
    return math.pi / 4 * diameter**2 * stress


@worked_by(formula="stress = 32 F h / (pi d^3)", unit="Pa", source="textbook: bending of a round section")
def peel_stress(*, force: float, lever: float, diameter: float) -> float:
    """Pull at the edge of a round pad from a sideways force above it: what peels a bond. [Pa]

    A stiff pad is assumed; a thin or bent one peels sooner.

    Parameters
    ----------
    force : float
        Sideways, e.g. a pull on the cable. [N]
    lever, diameter : float
        Height of the force above the bond, and diameter of the pad. [m]

    Raises
    ------
    OutOfRange
        Anything not above 0.

    Examples
    --------
    A pull of 100 N at the top of a sensor of 50 mm on a pad of 25 mm:

    >>> peel_stress(force=100.0, lever=50e-3, diameter=25e-3) / 1e6
    3.259
    """
    above_zero(force=force, lever=lever, diameter=diameter)
    return 32 * force * lever / (math.pi * diameter**3)


def shock_ruling(one: Adhesive, *, diameter: float, mass: float, acceleration: float, temperature: float) -> Ruling:
    """Whether a round pad holds its mass in a shock at the running temperature.

    Parameters
    ----------
    one : Adhesive
    diameter : float
        Of the pad. [m]
    mass : float
        [kg]
    acceleration : float
        Peak. [m/s2]
    temperature : float
        Of the metal, running. [K]
    """
    stress = _allowed(one, temperature)
    area = bond_area(force=shock_force(mass=mass, acceleration=acceleration), stress=stress)
    return Ruling(
        what=f"diameter of the bonded pad, {one.name} at {temperature - _ZERO_C:.0f} °C",
        value=diameter,
        unit="m",
        cure=f"a pad of {1000 * pad_diameter(area=area):.0f} mm or more, or a stud in a measured wall",
        source=_PRACTICE,
        least=pad_diameter(area=area),
    )


def peel_ruling(one: Adhesive, *, diameter: float, force: float, lever: float, temperature: float) -> Ruling:
    """Whether a sideways pull peels a round pad off at the running temperature.

    Parameters
    ----------
    one : Adhesive
    diameter, lever : float
        Of the pad, and height of the pull above the bond. [m]
    force : float
        [N]
    temperature : float
        Of the metal, running. [K]
    """
    return Ruling(
        what=f"pull at the edge of the bonded pad, {one.name} at {temperature - _ZERO_C:.0f} °C",
        value=peel_stress(force=force, lever=lever, diameter=diameter),
        unit="Pa",
        cure="clip the cable within 150 mm so that it cannot pull, turn its exit downwards, or take a wider pad",
        source=_PRACTICE,
        most=_allowed(one, temperature),
    )


def _allowed(one: Adhesive, temperature: float) -> float:
    share = share_left(temperature=temperature, known_share=_HALF, known_temperature=one.half_at)
    return allowed_stress(strength=one.shear_strength, share=share)
