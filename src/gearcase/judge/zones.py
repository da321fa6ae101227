"""Overall vibration against the zones of ISO 10816-3, a stand-in: gear drives have a part of their own (ISO 20816-9), and
a low overall says nothing of gears and bearings.

Zone A new, B fit for long running, C not fit for long running, D enough to do damage. A value on a boundary belongs to the
better zone.
"""

from dataclasses import dataclass

from gearcase.errors import OutOfRange
from gearcase.tables import load

__all__ = ["STAND_IN", "Rating", "rate"]

STAND_IN = "zones of ISO 10816-3, a stand-in for gear drives: running condition, not gear health"
_GROUP_1_ABOVE, _GROUP_2_ABOVE = 300e3, 15e3  # rated power [W], from the table's own wording


@dataclass(frozen=True)
class Rating:
    """Zone A to D of a velocity, with the boundaries it was held against [m/s]."""

    zone: str
    group: str
    support: str
    boundaries: tuple[float, float, float]


def rate(velocity: float, *, power: float | None, support: str | None) -> Rating | None:
    """Zone of an overall RMS velocity; None where the zones do not apply or nobody has said power and support.

    Parameters
    ----------
    velocity : float
        RMS, 10 to 1000 Hz. [m/s]
    power : float or None
        Rated power. [W]
    support : str or None
        ``rigid`` or ``flexible``.

    Raises
    ------
    OutOfRange
        A negative velocity.

    Examples
    --------
    Row VZ2 of ``vibration_checks.csv``, group 1 on rigid support:

    >>> rate(4.6e-3, power=400e3, support="rigid").zone
    'C'
    """
    if velocity < 0:
        raise OutOfRange("velocity", velocity, "0 or more")
    if power is None or support is None or power <= _GROUP_2_ABOVE:
        return None
    group = "1" if power > _GROUP_1_ABOVE else "2"
    limits = {
        row["boundary"]: float(row["velocity_rms_mm_s"]) / 1000
        for row in load("vibration_zones")
        if (row["machine_group"], row["support"]) == (group, support)
    }
    boundaries = (limits["A/B"], limits["B/C"], limits["C/D"])
    zone = "ABCD"[sum(velocity > boundary for boundary in boundaries)]
    return Rating(zone, group, support, boundaries)
