"""Adhesive joints: whether one may be made here and now, in which steps, and how long it cures at the metal's temperature.

Which adhesive stands in `adhesives`, how large the pad in `bond_strength`.

Calculators: `cure_time`, `dew_point`. Rules: `bond_conditions`. Data: `preparation`. Together: `cure_schedule`.
"""

import math
from dataclasses import dataclass

from gearcase.errors import OutOfRange, above_zero
from gearcase.install.rulings import Ruling
from gearcase.tables import load
from gearcase.worked import worked_by

__all__ = [
    "COLDEST",
    "HOTTEST",
    "OVER_DEW_POINT",
    "REFERENCE",
    "TAKEN",
    "WARMEST_TO_APPLY",
    "CureSchedule",
    "PreparationStep",
    "adhesive_volume",
    "bond_conditions",
    "cure_schedule",
    "cure_time",
    "dew_point",
    "preparation",
]

REFERENCE = 296.15  # K, 23 degC, at which data sheets give cure times
TAKEN = 3.0  # times the bond itself: what is squeezed out, and the length thrown away; common practice, no source
COLDEST, WARMEST_TO_APPLY = 283.15, 313.15  # K; below 10 degC only if warmed and held warm; common practice, no source
HOTTEST = 373.15  # K; no methacrylate on metal hotter than 100 degC; common practice, no source
OVER_DEW_POINT = 3.0  # K; common practice, no source
_LOAD_AFTER = 4.0  # fixture times before the first load; common practice, no source
_BASELINE_AFTER = 24 * 3600.0  # s at 23 degC before a baseline, where the sheet asks for less; common practice, no source
_MAGNUS, _MAGNUS_C = 17.625, 243.04  # Alduchov and Eskridge 1996, over water, -40 to 50 degC
_ZERO_C = 273.15
_PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class CureSchedule:
    """From mixing, at the metal's temperature: when the joint must be closed, holds, bears load, and may be measured on. [s]"""

    close_within: float
    fixture: float
    no_load_until: float
    full: float
    baseline_after: float


@dataclass(frozen=True)
class PreparationStep:
    """One step of preparing and making a bond, with its caution, empty where there is none."""

    number: int
    do: str
    caution: str
    source: str


@worked_by(formula="t = t_23 x 2^((23 degC - T) / 10 K)", unit="s", source="common practice, no source: doubling per 10 K")
def cure_time(*, time_at_reference: float, metal_temperature: float) -> float:
    """Full cure at the metal's temperature, the air's does not matter. [s]

    Parameters
    ----------
    time_at_reference : float
        From the data sheet at 23 degC. [s]
    metal_temperature : float
        [K]

    Raises
    ------
    OutOfRange
        Time not above 0, or metal colder than 10 degC: warm it and hold it warm.

    Examples
    --------
    Row BT1 of ``bonding.csv``: 24 h at 23 degC take 48 h at 13 degC.

    >>> cure_time(time_at_reference=24 * 3600.0, metal_temperature=286.15) / 3600
    48.0
    """
    if time_at_reference <= 0:
        raise OutOfRange("time_at_reference", time_at_reference, "above 0 s")
    if metal_temperature < COLDEST:
        raise OutOfRange("metal_temperature", f"{metal_temperature - 273.15:.0f} degC", "10 degC or more: warm it and hold it warm")
    return float(time_at_reference * 2 ** ((REFERENCE - metal_temperature) / 10))


@worked_by(
    formula="T_d = 243.04 g / (17.625 - g), g = ln(RH) + 17.625 T / (243.04 + T), in degC",
    unit="K",
    source="Magnus form, Alduchov and Eskridge 1996",
)
def dew_point(*, air_temperature: float, relative_humidity: float) -> float:
    """Temperature at which the air's water settles on metal. [K]

    Parameters
    ----------
    air_temperature : float
        [K]
    relative_humidity : float
        As a share, 0.6 for 60 %. [-]

    Raises
    ------
    OutOfRange
        Air outside -40 to 50 degC, or humidity not in (0, 1].

    Examples
    --------
    Row BW1 of ``bonding.csv``, 25 degC and 60 %:

    >>> dew_point(air_temperature=298.15, relative_humidity=0.6) - 273.15
    16.698
    """
    celsius = air_temperature - _ZERO_C
    if not -40 <= celsius <= 50:
        raise OutOfRange("air_temperature", f"{celsius:.0f} degC", "-40 to 50 degC")
    if not 0 < relative_humidity <= 1:
        raise OutOfRange("relative_humidity", relative_humidity, "above 0, at most 1: 0.6 for 60 %")
    exponent = math.log(relative_humidity) + _MAGNUS * celsius / (_MAGNUS_C + celsius)
    return _MAGNUS_C * exponent / (_MAGNUS - exponent) + _ZERO_C


def bond_conditions(*, metal_temperature: float, air_temperature: float, relative_humidity: float) -> tuple[Ruling, ...]:
    """Whether a bond may be made here and now: the metal neither cold nor hot, and well above the dew point.

    Parameters
    ----------
    metal_temperature, air_temperature : float
        [K]
    relative_humidity : float
        [-]

    Examples
    --------
    A cold housing on a damp day fails twice:

    >>> now = bond_conditions(metal_temperature=281.15, air_temperature=288.15, relative_humidity=0.85)
    >>> [ruling.holds for ruling in now]
    [False, False]
    """
    dew = dew_point(air_temperature=air_temperature, relative_humidity=relative_humidity)
    dry = math.ceil(dew + OVER_DEW_POINT - _ZERO_C)
    return (
        Ruling(
            what="temperature of the metal to be bonded",
            value=metal_temperature,
            unit="K",
            cure="warm it to 15 to 40 °C and hold it warm until cured, or wait until it has cooled",
            source=_PRACTICE,
            least=COLDEST,
            most=WARMEST_TO_APPLY,
        ),
        Ruling(
            what=f"temperature of the metal, {OVER_DEW_POINT:.0f} K over the air's dew point,",
            value=metal_temperature,
            unit="K",
            cure=f"warm the metal to {dry} °C or more, or dry the air: water lies under the bond",
            source="common practice, no source: 3 K; dew point by Alduchov and Eskridge 1996",
            least=dew + OVER_DEW_POINT,
        ),
    )


def cure_schedule(
    *, open_time: float, fixture_time: float, full_time: float, metal_temperature: float, air_temperature: float | None = None
) -> CureSchedule:
    """When a joint must be closed, holds, bears load and may be measured on, at the metal's temperature.

    Parameters
    ----------
    open_time, fixture_time, full_time : float
        From the data sheet at 23 degC. [s]
    metal_temperature : float
        At which the metal stays until cured. [K]
    air_temperature : float or None
        At which the adhesive is mixed; warmer than the metal it shortens the time to close the joint. [K]

    Raises
    ------
    OutOfRange
        A time not above 0, or metal colder than 10 degC.

    Examples
    --------
    A methacrylate of 3 min, 40 min and 24 h on metal of 13 degC: everything takes twice as long, the open time too.

    >>> cure = cure_schedule(open_time=180.0, fixture_time=2400.0, full_time=86400.0, metal_temperature=286.15)
    >>> cure.close_within / 60, cure.no_load_until / 3600, cure.baseline_after / 3600
    (6.0, 5.3333, 48.0)
    """

    def here(time_at_reference: float) -> float:
        return cure_time(time_at_reference=time_at_reference, metal_temperature=metal_temperature)

    mixed = metal_temperature if air_temperature is None else max(metal_temperature, air_temperature)
    return CureSchedule(
        close_within=min(here(open_time), cure_time(time_at_reference=open_time, metal_temperature=mixed)),
        fixture=here(fixture_time),
        no_load_until=_LOAD_AFTER * here(fixture_time),
        full=here(full_time),
        baseline_after=here(max(full_time, _BASELINE_AFTER)),
    )


@worked_by(formula="V = k pi d^2 / 4 t", unit="m3", source="geometry; k: common practice, no source")
def adhesive_volume(*, diameter: float, bond_line: float, taken: float) -> float:
    """Adhesive to bring for a round pad. [m3]

    Parameters
    ----------
    diameter, bond_line : float
        [m]
    taken : float
        How much of it is taken for each part that stays in the bond. [-]

    Raises
    ------
    OutOfRange
        Anything not above 0.

    Examples
    --------
    A pad of 30 mm with a line of 0.3 mm, 0.21 ml in the bond:

    >>> 1e6 * adhesive_volume(diameter=0.030, bond_line=0.3e-3, taken=TAKEN)
    0.6362
    """
    above_zero(diameter=diameter, bond_line=bond_line, taken=taken)
    return taken * math.pi / 4 * diameter**2 * bond_line


def preparation() -> tuple[PreparationStep, ...]:
    """The steps from painted metal to a sealed bond, in order.

    Examples
    --------
    >>> preparation()[0].do
    "Isolate and lock out; let the metal cool below 40 °C or to what the adhesive's sheet allows."
    """
    return tuple(PreparationStep(int(row["step"]), row["do"], row["caution"], row["source"]) for row in load("bond_preparation"))
