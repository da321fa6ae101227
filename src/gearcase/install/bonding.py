"""Adhesive joints: how long they cure at the metal's temperature, and whether they may be used there."""

from gearcase.errors import OutOfRange
from gearcase.worked import worked_by

__all__ = ["COLDEST", "HOTTEST", "WARMEST_TO_APPLY", "cure_time"]

REFERENCE = 296.15  # K, 23 degC, at which data sheets give cure times
COLDEST, WARMEST_TO_APPLY = 283.15, 313.15  # K; below 10 degC only if warmed and held warm; common practice, no source
HOTTEST = 373.15  # K; no methacrylate on metal hotter than 100 degC; common practice, no source


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
