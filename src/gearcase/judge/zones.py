"""Overall vibration against the zones of ISO 10816-3, a stand-in: gear drives have a part of their own (ISO 20816-9), and
a low overall says nothing of gears and bearings.

Zone A new, B fit for long running, C not fit for long running, D enough to do damage. A value on a boundary belongs to the
better zone.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from gearcase.errors import OutOfRange
from gearcase.tables import Row, load

__all__ = ["GEAR_UNITS", "STAND_IN", "Acceptance", "Rating", "ZoneTable", "applicable", "rate"]

STAND_IN = "zones of ISO 10816-3, a stand-in for gear drives: running condition, not gear health"
GEAR_UNITS = (  # scope from public catalogues (ISO 20816-9:2020 abstract); its grades were not seen
    "gear units have a part of their own, ISO 20816-9 (10 kW to 100 MW, 30 to 12,000 rpm), an acceptance test by the maker; its "
    "grades are not held here: ask the maker for the grade the drive was accepted with"
)
_GROUP_1_ABOVE, _GROUP_2_ABOVE, _GROUP_1_TO = 300e3, 15e3, 50e6  # rated power [W], from the table's own wording
_SPEEDS_HZ = (120 / 60, 15000 / 60)  # ISO 10816-3 scope, public catalogue abstracts
_SLOW_HZ = 600 / 60  # at or below it the standard's band begins at 2 Hz: ISO 10816-3, from memory
_SMALL_CLASS = "class I"


@dataclass(frozen=True)
class Rating:
    """Zone A to D of a velocity, with the boundaries it was held against [m/s]."""

    zone: str
    group: str
    support: str
    boundaries: tuple[float, float, float]


def rate(velocity: float, *, power: float | None, speed_hz: tuple[float, float], support: str | None) -> Rating | None:
    """Zone of an overall RMS velocity; None where `applicable` says that none is judged by.

    Parameters
    ----------
    velocity : float
        RMS, in the band that `applicable` names. [m/s]
    power : float or None
        Rated power. [W]
    speed_hz : tuple of float
        Lowest and highest speed of the shaft whose speed is rated. [Hz]
    support : str or None
        ``rigid`` or ``flexible``.

    Raises
    ------
    OutOfRange
        A velocity that is negative or no number.

    Examples
    --------
    Row VZ2 of ``vibration_checks.csv``, group 1 on rigid support:

    >>> rate(4.6e-3, power=400e3, speed_hz=(25.0, 25.0), support="rigid").zone
    'C'
    """
    if not 0 <= velocity < math.inf:
        raise OutOfRange("velocity", velocity, "0 or more")
    held = applicable(power=power, speed_hz=speed_hz, support=support)
    if not held.judged:
        return None
    (table,) = held.tables
    zone = "ABCD"[sum(velocity > boundary for boundary in table.boundaries)]
    return Rating(zone, table.group, table.support, table.boundaries)


@dataclass(frozen=True)
class ZoneTable:
    """One column of a published zone table: boundaries A/B, B/C and C/D [m/s], whom it is for, and where it stands.

    `support` is empty where the table does not ask for it.
    """

    standard: str
    group: str
    meaning: str
    support: str
    boundaries: tuple[float, float, float]
    source: str
    basis: str


@dataclass(frozen=True)
class Acceptance:
    """Which zones a drive may be held against.

    Attributes
    ----------
    judged : bool
        Whether `rate` judges by the one table given; else the tables are for reading only.
    tables : tuple of ZoneTable
        One where it is settled, two where nobody has said the support, none where none applies.
    why : tuple of str
        What power, speed and support decided, a sentence each.
    band_hz : tuple of float
        Band of the overall velocity for this speed. [Hz]
    """

    judged: bool
    tables: tuple[ZoneTable, ...]
    why: tuple[str, ...]
    band_hz: tuple[float, float]


def applicable(*, power: float | None, speed_hz: tuple[float, float], support: str | None) -> Acceptance:
    """Which zone table applies by rated power, speed and support, and why, or why none does.

    Parameters
    ----------
    power : float or None
        Rated power. [W]
    speed_hz : tuple of float
        Lowest and highest speed of the shaft whose speed is rated. [Hz]
    support : str or None
        ``rigid`` or ``flexible``; None while nobody has said.

    Examples
    --------
    A 75 kW drive whose support nobody has looked at: group 2, both supports shown, none judged by.

    >>> found = applicable(power=75e3, speed_hz=(15.0, 24.75), support=None)
    >>> [(table.group, table.support) for table in found.tables], found.judged
    ([('2', 'rigid'), ('2', 'flexible')], False)
    """
    low, high = speed_hz
    band = (2.0 if low <= _SLOW_HZ else 10.0, 1000.0)
    if power is None:
        return Acceptance(False, (), ("the rated power is not known: it decides the group of ISO 10816-3",), band)
    if high < _SPEEDS_HZ[0] or low > _SPEEDS_HZ[1]:
        return Acceptance(False, (), (f"{_rpm(low, high)} lies outside the 120 to 15,000 rpm of ISO 10816-3",), band)
    if power > _GROUP_1_TO:
        return Acceptance(False, (), (f"{power / 1e6:g} MW lies above the 50 MW of ISO 10816-3",), band)
    group = _group(power)
    if group is None:
        rows = _tables(row for row in load("vibration_zones") if row["machine_group"] == _SMALL_CLASS)
        small = (
            f"{power / 1e3:g} kW is not above the 15 kW where ISO 10816-3 begins: class I of ISO 10816-1 is the nearest table; "
            "it is general and informative, shown for reading and not judged by"
        )
        return Acceptance(False, rows, (small,), band)
    rows = _tables(row for row in load("vibration_zones") if row["machine_group"] == group and support in (None, row["support"]))
    meant = "above 300 kW up to 50 MW" if group == "1" else "above 15 kW up to 300 kW"
    chosen = f"{power / 1e3:g} kW: group {group} of ISO 10816-3, {meant}"
    why = (chosen, *_speed_words(low, high), _support_words(support))
    return Acceptance(support is not None, rows, why, band)


def _group(power: float | None) -> str | None:
    if power is None or not _GROUP_2_ABOVE < power <= _GROUP_1_TO:
        return None
    return "1" if power > _GROUP_1_ABOVE else "2"


def _tables(rows: Iterable[Row]) -> tuple[ZoneTable, ...]:
    """Rows of one boundary each, put together by table, in file order."""
    found: dict[tuple[str, str], dict[str, Row]] = {}
    for row in rows:
        found.setdefault((row["machine_group"], row["support"]), {})[row["boundary"]] = row
    return tuple(
        ZoneTable(
            standard=by["A/B"]["standard"],
            group=group,
            meaning=by["A/B"]["group_meaning"],
            support=support,
            boundaries=(_metres(by["A/B"]), _metres(by["B/C"]), _metres(by["C/D"])),
            source=by["A/B"]["source"],
            basis=by["A/B"]["basis"],
        )
        for (group, support), by in found.items()
    )


def _metres(row: Row) -> float:
    return float(row["velocity_rms_mm_s"]) / 1000


def _speed_words(low: float, high: float) -> tuple[str, ...]:
    if _SPEEDS_HZ[0] <= low and high <= _SPEEDS_HZ[1]:
        scope = f"{_rpm(low, high)} lies within its 120 to 15,000 rpm"
    else:
        scope = f"{_rpm(low, high)}: the zones hold for the part of it from 120 to 15,000 rpm only"
    if low > _SLOW_HZ:
        return (scope,)
    slow = (
        "at or below 600 rpm its band begins at 2 Hz (from memory), and so does the overall of a recording here; that which a "
        "sensor gives itself mostly begins at 10 Hz and misses 1x"
    )
    return scope, slow


def _support_words(support: str | None) -> str:
    if support is not None:
        return f"support {support}, as the job says"
    return (
        "the support is not known, so both are shown and none is judged by: rigid where the lowest natural frequency of machine "
        "and support in that direction lies 25 % or more above the main exciting frequency (ISO 10816-3, from memory)"
    )


def _rpm(low: float, high: float) -> str:
    return f"{60 * high:.4g} rpm" if low == high else f"{60 * low:.4g} to {60 * high:.4g} rpm"
