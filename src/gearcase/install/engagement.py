"""How far a screw must reach into its thread so that the screw breaks before a thread strips.

A bracket's screw that breaks is seen and replaced; a stripped thread in a housing is not. Shear areas by FED-STD-H28/2: the
screw's thread shears at the hole's minor diameter, the hole's at the screw's major diameter, both at the thinnest screw in the
widest hole. A material is taken to shear at half its tensile strength; grey iron shears higher, so this errs on the safe side.
A sensor's stud is another matter: it holds itself, not a structure, and follows its maker's sheet.

Calculators: `external_shear_area`, `internal_shear_area`, `engagement_equal`, `engagement_needed`,
`stripping_force`. Table: `tapped_strength`. Rules: `engagement_ruling`, `stripping_ruling`, `stud_ruling`.
"""

import math

from gearcase.errors import OutOfRange, above_zero
from gearcase.install.rulings import Ruling
from gearcase.tables import load
from gearcase.worked import worked_by

__all__ = [
    "RULE_OF_THUMB",
    "STUD_THREAD",
    "engagement_equal",
    "engagement_needed",
    "engagement_ruling",
    "external_shear_area",
    "internal_shear_area",
    "stripping_force",
    "stripping_ruling",
    "stud_ruling",
    "tapped_strength",
]

RULE_OF_THUMB = {"steel": 1.0, "cast iron": 1.5, "aluminium": 2.0}  # diameters of full thread, steel screw; common practice
STUD_THREAD = (5e-3, 8e-3)  # m of full thread a sensor's stud wants; common practice, no source
_SLOPE = 1 / math.sqrt(3)  # 0.57735, tangent of half the thread angle
_SHEAR = 0.5  # of tensile strength, FED-STD-H28/2
_SOURCE = "FED-STD-H28/2, Machinery's Handbook"


@worked_by(formula="AS_s = pi L/P K (P/2 + 0.57735 (E_s - K))", unit="m2", source=_SOURCE)
def external_shear_area(*, engagement: float, pitch: float, screw_least_pitch: float, hole_most_minor: float) -> float:
    """Area in which the screw's thread shears, at the hole's minor diameter. [m2]

    Parameters
    ----------
    engagement, pitch : float
        Length of full thread engaged, and pitch. [m]
    screw_least_pitch, hole_most_minor : float
        E_s and K. [m]

    Raises
    ------
    OutOfRange
        A length not above 0, or the threads do not reach each other.
    """
    above_zero(engagement=engagement, pitch=pitch, hole_most_minor=hole_most_minor)
    return _shear_area(engagement, pitch, hole_most_minor, screw_least_pitch - hole_most_minor)


@worked_by(formula="AS_n = pi L/P D_s (P/2 + 0.57735 (D_s - E_n))", unit="m2", source=_SOURCE)
def internal_shear_area(*, engagement: float, pitch: float, screw_least_major: float, hole_most_pitch: float) -> float:
    """Area in which the hole's thread shears, at the screw's major diameter. [m2]

    Parameters
    ----------
    engagement, pitch : float
        Length of full thread engaged, and pitch. [m]
    screw_least_major, hole_most_pitch : float
        D_s and E_n. [m]

    Raises
    ------
    OutOfRange
        A length not above 0, or the threads do not reach each other.
    """
    above_zero(engagement=engagement, pitch=pitch, screw_least_major=screw_least_major)
    return _shear_area(engagement, pitch, screw_least_major, screw_least_major - hole_most_pitch)


@worked_by(formula="L_e = 2 As / (pi K (1/2 + 0.57735 (E_s - K)/P))", unit="m", source=_SOURCE)
def engagement_equal(*, stress_area: float, pitch: float, screw_least_pitch: float, hole_most_minor: float) -> float:
    """Full thread with which the screw breaks before its own thread strips; enough where both are equally strong. [m]

    Parameters
    ----------
    stress_area : float
        Of the screw. [m2]
    pitch, screw_least_pitch, hole_most_minor : float
        [m]

    Raises
    ------
    OutOfRange
        A length or area not above 0, or the threads do not reach each other.

    Examples
    --------
    Row TE5 of ``fastener_checks.csv``, M6:

    >>> engagement_equal(stress_area=20.1e-6, pitch=1e-3, screw_least_pitch=5.212e-3, hole_most_minor=5.153e-3)
    0.00464968
    """
    above_zero(stress_area=stress_area)
    per_length = external_shear_area(
        engagement=1.0, pitch=pitch, screw_least_pitch=screw_least_pitch, hole_most_minor=hole_most_minor
    )
    return stress_area / (_SHEAR * per_length)


@worked_by(formula="L = L_e max(1, J), J = AS_s S_screw / (AS_n S_hole)", unit="m", source=_SOURCE)
def engagement_needed(
    *,
    stress_area: float,
    pitch: float,
    screw_least_major: float,
    screw_least_pitch: float,
    hole_most_minor: float,
    hole_most_pitch: float,
    screw_strength: float,
    hole_strength: float,
) -> float:
    """Full thread with which the screw breaks before either thread strips. [m]

    Parameters
    ----------
    stress_area : float
        Of the screw. [m2]
    pitch, screw_least_major, screw_least_pitch, hole_most_minor, hole_most_pitch : float
        The limits as `threads.limits_metric` and `threads.limits_unified` give them. [m]
    screw_strength, hole_strength : float
        Tensile strengths of the screw and of the tapped material. [Pa]

    Raises
    ------
    OutOfRange
        Anything not above 0, or the threads do not reach each other.

    Examples
    --------
    An M8 screw of class 8.8 in grey iron of 200 MPa, more than the 1.5 d of the rule of thumb:

    >>> from gearcase.install.threads import limits_metric
    >>> limits = limits_metric(major_diameter=8e-3, pitch=1.25e-3)
    >>> 1000 * engagement_needed(stress_area=36.6e-6, pitch=1.25e-3, screw_strength=800e6, hole_strength=200e6, **vars(limits))
    17.325
    """
    above_zero(screw_strength=screw_strength, hole_strength=hole_strength)
    equal = engagement_equal(
        stress_area=stress_area, pitch=pitch, screw_least_pitch=screw_least_pitch, hole_most_minor=hole_most_minor
    )
    external = external_shear_area(
        engagement=equal, pitch=pitch, screw_least_pitch=screw_least_pitch, hole_most_minor=hole_most_minor
    )
    internal = internal_shear_area(
        engagement=equal, pitch=pitch, screw_least_major=screw_least_major, hole_most_pitch=hole_most_pitch
    )
    return equal * max(1.0, external * screw_strength / (internal * hole_strength))


def tapped_strength(material: str) -> float:
    """Least tensile strength of a material that is tapped, for where nobody knows the grade. [Pa]

    Raises
    ------
    OutOfRange
        The table does not hold it.

    Examples
    --------
    >>> tapped_strength("grey iron") / 1e6
    200.0
    """
    for row in load("tapped_strengths"):
        if row["material"] == material:
            return float(row["tensile_mpa"]) * 1e6
    raise OutOfRange("material", repr(material), f"one of: {', '.join(row['material'] for row in load('tapped_strengths'))}")


def engagement_ruling(*, full_thread: float, needed: float) -> Ruling:
    """Whether a structure's screw reaches far enough: `needed` from `engagement_needed`, or diameters by `RULE_OF_THUMB`. [m]"""
    cure = f"tap {1000 * max(0.0, needed - full_thread):.1f} mm deeper where the wall allows, take a larger screw, or a weaker one"
    return Ruling("full thread engaged", full_thread, "m", cure, _SOURCE, least=needed)


@worked_by(formula="F = full thread / needed x S_screw As", unit="N", source=_SOURCE)
def stripping_force(*, full_thread: float, needed: float, screw_strength: float, stress_area: float) -> float:
    """Force at which the thread of a screw or its hole strips: that of the screw's own break, less as less of it is engaged. [N]

    Parameters
    ----------
    full_thread, needed : float
        Engaged, and `engagement_needed`. [m]
    screw_strength, stress_area : float
        Tensile strength [Pa] and stress area [m2] of the screw.

    Raises
    ------
    OutOfRange
        Anything not above 0.

    Examples
    --------
    Half of what an M6 screw of class 8.8 needs bears half of its 800 MPa on 20.1 mm2:

    >>> stripping_force(full_thread=4e-3, needed=8e-3, screw_strength=800e6, stress_area=20.1e-6)
    8040.0
    """
    above_zero(full_thread=full_thread, needed=needed, screw_strength=screw_strength, stress_area=stress_area)
    return full_thread / needed * screw_strength * stress_area


def stripping_ruling(*, most_preload: float, bears: float, full_thread: float) -> Ruling:
    """Whether a thread bears the highest preload that its torque may make, or strips while it is tightened. [-]

    Examples
    --------
    >>> stripping_ruling(most_preload=10e3, bears=8e3, full_thread=8e-3).cure
    'tap 2.0 mm deeper where the wall allows, or a weaker grade'
    """
    over = most_preload / bears
    return Ruling(
        what="highest preload over what the thread bears before it strips",
        value=over,
        unit="-",
        most=1.0,
        cure=f"tap {1000 * full_thread * max(0.0, over - 1):.1f} mm deeper where the wall allows, or a weaker grade",
        source=_SOURCE,
    )


def stud_ruling(*, full_thread: float) -> Ruling:
    """Whether a sensor's stud has the full thread its makers ask for, and not more than it can use. [m]

    Examples
    --------
    >>> stud_ruling(full_thread=6.35e-3).holds, stud_ruling(full_thread=10e-3).holds
    (True, False)
    """
    return Ruling(
        what="full thread for a sensor's stud",
        value=full_thread,
        unit="m",
        cure="tap 5 to 8 mm of full thread, as the sensor's data sheet says; its torque comes from the sheet too",
        source="common practice, no source",
        least=STUD_THREAD[0],
        most=STUD_THREAD[1],
    )


def _shear_area(engagement: float, pitch: float, diameter: float, into: float) -> float:
    """Threads sheared at a diameter, which lies `into` the thread from its pitch line. [m2]"""
    thick = pitch / 2 + _SLOPE * into
    _reaching(thick)
    return math.pi * engagement / pitch * diameter * thick


def _reaching(thick: float) -> None:
    if not thick > 0:
        raise OutOfRange("thread", f"{thick} m thick where it shears", "above 0: these two threads do not reach each other")
