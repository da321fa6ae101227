"""Which adhesive for this metal and its temperatures, how large the pad, and what bandwidth is left hot.

Strength and stiffness fall with heat; both are taken at the running temperature, by one law: the same share is lost for each kelvin
above 23 degC. Working stress is at most a tenth of the strength left. Bonds peel (a pull on the cable, a kick, paint beneath);
they seldom shear, so the pull is checked beside the shock. The figures in the table are generic: the adhesive's data sheet decides.

`adhesive`, `choose_adhesive`. Calculators: `share_left`, `allowed_stress`, `shock_force`, `bond_area`, `pad_diameter`,
`shear_capacity`, `peel_stress`, `true_hz_hot`. Rules: `bond_line_ruling`, `shock_ruling`, `peel_ruling`.
"""

import functools
import math
from dataclasses import dataclass

from gearcase.errors import OutOfRange
from gearcase.install.bonding import REFERENCE
from gearcase.install.guards import above_zero
from gearcase.install.rulings import Ruling
from gearcase.tables import load
from gearcase.worked import worked_by

__all__ = [
    "Adhesive",
    "AdhesiveChoice",
    "adhesive",
    "allowed_stress",
    "bond_area",
    "bond_line_ruling",
    "choose_adhesive",
    "pad_diameter",
    "peel_ruling",
    "peel_stress",
    "share_left",
    "shear_capacity",
    "shock_force",
    "shock_ruling",
    "true_hz_hot",
]

_WORKING = 10.0  # strength over working stress; common practice, no source
_PAD_HOT = 353.15  # K, 80 degC, at which the hot bonded pad of tables/mounts.csv is taken; common practice, no source
_ZERO_C = 273.15
_PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class Adhesive:
    """A generic adhesive. Temperatures in K, lengths in m, strength in Pa, times at 23 degC in s.

    `coldest` to `hottest` is where it may serve; `least_line` to `most_line` the bond line; at `half_at` half its strength is left.
    """

    name: str
    substrates: tuple[str, ...]
    coldest: float
    hottest: float
    least_line: float
    most_line: float
    shear_strength: float
    half_at: float
    open_time: float
    fixture_time: float
    full_time: float
    says: str
    source: str


@dataclass(frozen=True)
class AdhesiveChoice:
    """An adhesive held against a place: its rulings, all holding or the reason why not; an unfit metal stands in `unfit`."""

    adhesive: Adhesive
    rulings: tuple[Ruling, ...]
    unfit: str

    @property
    def fits(self) -> bool:
        """Whether it may be used here."""
        return not self.unfit and all(ruling.holds for ruling in self.rulings)


def adhesive(name: str) -> Adhesive:
    """A generic adhesive by name.

    Raises
    ------
    OutOfRange
        The table does not hold it.
    """
    for one in _adhesives():
        if one.name == name:
            return one
    raise OutOfRange("adhesive", repr(name), f"one of: {', '.join(one.name for one in _adhesives())}")


def choose_adhesive(*, substrate: str, coldest: float, hottest: float) -> tuple[AdhesiveChoice, ...]:
    """Every adhesive held against a metal and its temperatures; those that fit first, in the table's order.

    Parameters
    ----------
    substrate : str
        What the bond will hold on, e.g. ``bare iron``; ``paint`` fits none: the paint peels.
    coldest, hottest : float
        Of the metal over the year and at full load. [K]

    Raises
    ------
    OutOfRange
        The coldest above the hottest.

    Examples
    --------
    A grey iron housing that runs at 90 degC:

    >>> [choice.adhesive.name for choice in choose_adhesive(substrate="bare iron", coldest=263.15, hottest=363.15) if choice.fits]
    ['two-part methacrylate', 'hot-service epoxy']
    """
    if coldest > hottest:
        raise OutOfRange("coldest", coldest, f"at most the hottest, {hottest} K")
    choices = []
    for one in _adhesives():
        rulings = (
            Ruling(
                what=f"hottest metal under {one.name}",
                value=hottest,
                unit="K",
                cure="an adhesive for hotter metal, a cooler spot, or a stud in a measured wall",
                source=one.source,
                most=one.hottest,
            ),
            Ruling(
                what=f"coldest metal under {one.name}",
                value=coldest,
                unit="K",
                cure="an adhesive for colder metal, or a stud in a measured wall",
                source=one.source,
                least=one.coldest,
            ),
        )
        unfit = ""
        if substrate not in one.substrates:
            unfit = f"not on {substrate}: strip it to bright metal over the pad and 10 mm around ({', '.join(one.substrates)})"
        choices.append(AdhesiveChoice(one, rulings, unfit))
    return tuple(sorted(choices, key=lambda choice: not choice.fits))


@worked_by(formula="share = known share^((T - 23 degC) / (T_known - 23 degC))", unit="-", source=_PRACTICE)
def share_left(*, temperature: float, known_share: float, known_temperature: float) -> float:
    """Share of a property at 23 degC that is left hot; 1 at 23 degC and below. [-]

    Parameters
    ----------
    temperature, known_temperature : float
        [K]
    known_share : float
        Left at the known temperature, 0.5 where it has halved. [-]

    Raises
    ------
    OutOfRange
        Known temperature not above 23 degC, or share not in (0, 1].

    Examples
    --------
    A methacrylate that has lost half at 85 degC, on metal of 100 degC:

    >>> share_left(temperature=373.15, known_share=0.5, known_temperature=358.15)
    0.4228
    """
    if known_temperature <= REFERENCE:
        raise OutOfRange("known_temperature", known_temperature, f"above {REFERENCE} K, 23 degC")
    if not 0 < known_share <= 1:
        raise OutOfRange("known_share", known_share, "above 0, at most 1")
    return float(known_share ** (max(0.0, temperature - REFERENCE) / (known_temperature - REFERENCE)))


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
    return strength * share / _WORKING


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


@worked_by(
    formula="f_hot = f_cold (f_pad,80 / f_pad,23)^((T - 23 degC) / 57 K)",
    unit="Hz",
    source="trade rule (from memory): a bonded pad is true to 3 to 5 kHz cold, 1 to 2.5 kHz hot; tables/mounts.csv",
)
def true_hz_hot(*, true_hz_cold: float, temperature: float) -> float:
    """Frequency to which a bonded mount still shows true amplitude on hot metal. [Hz]

    Parameters
    ----------
    true_hz_cold : float
        At 23 degC. [Hz]
    temperature : float
        Of the metal, running. [K]

    Raises
    ------
    OutOfRange
        Frequency not above 0.

    Examples
    --------
    A bonded pad on metal of 60 degC loses four tenths of its band:

    >>> true_hz_hot(true_hz_cold=4000.0, temperature=333.15)
    2338.9
    """
    above_zero(true_hz_cold=true_hz_cold)
    rows = {row["mount"]: float(row["true_hz"]) for row in load("mounts")}
    share = rows["hot adhesive pad"] / rows["adhesive pad"]
    return true_hz_cold * share_left(temperature=temperature, known_share=share, known_temperature=_PAD_HOT)


def bond_line_ruling(one: Adhesive, *, thickness: float) -> Ruling:
    """Whether a bond line is as thick as its adhesive wants: thinner starves, thicker softens. [m]"""
    cure = f"{1000 * one.least_line:.2f} to {1000 * one.most_line:.2f} mm: glass beads or a wire of that size, pressed with a twist"
    return Ruling("bond line", thickness, "m", cure, one.source, least=one.least_line, most=one.most_line)


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
    share = share_left(temperature=temperature, known_share=0.5, known_temperature=one.half_at)
    return allowed_stress(strength=one.shear_strength, share=share)


@functools.cache
def _adhesives() -> tuple[Adhesive, ...]:
    return tuple(
        Adhesive(
            name=row["adhesive"],
            substrates=tuple(row["substrates"].split(";")),
            coldest=float(row["coldest_c"]) + _ZERO_C,
            hottest=float(row["hottest_c"]) + _ZERO_C,
            least_line=float(row["least_line_mm"]) / 1000,
            most_line=float(row["most_line_mm"]) / 1000,
            shear_strength=float(row["shear_mpa"]) * 1e6,
            half_at=float(row["half_at_c"]) + _ZERO_C,
            open_time=float(row["open_min"]) * 60,
            fixture_time=float(row["fixture_min"]) * 60,
            full_time=float(row["full_h"]) * 3600,
            says=row["says"],
            source=row["source"],
        )
        for row in load("adhesives")
    )
