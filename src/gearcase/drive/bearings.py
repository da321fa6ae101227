r"""Rates inside a rolling bearing, either ring or both turning.

No-slip kinematics: with :math:`\gamma = (d/D)\cos\alpha`, the cage turns at the mean of the two ring surfaces,
elements pass a point of one ring at Z times the cage speed seen from that ring. Real lines sit a per cent or two off
(slip, contact angle under load), so searches use a band.

Where only the number of elements is known, rules of thumb stand in for the kinematics.

Model: `Bearing`, what it may be: `Candidate`, by `Geometry` or `CountRule`. Calculators: `ball_pass_frequency_outer`,
`ball_pass_frequency_inner`, `fundamental_train_frequency`, `element_spin_frequency`, `element_defect_frequency`; by count alone:
`outer_race_by_count`, `inner_race_by_count`, `cage_by_count`.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gearcase.errors import OutOfRange
from gearcase.worked import Origin, worked_by

__all__ = [
    "COUNT_RULE_SPREAD",
    "Bearing",
    "Candidate",
    "CountRule",
    "Geometry",
    "ball_pass_frequency_inner",
    "ball_pass_frequency_outer",
    "cage_by_count",
    "element_defect_frequency",
    "element_spin_frequency",
    "fundamental_train_frequency",
    "inner_race_by_count",
    "outer_race_by_count",
]

_SOURCE = "no-slip kinematics: T. A. Harris, Rolling Bearing Analysis (from memory)"
_COUNT_SOURCE = "rule of thumb by the number of elements; common practice, no source"

COUNT_RULE_SPREAD = 0.1  # how far the rules of thumb may be off; common practice, no source
_FEW, _MANY = 10, 14  # elements up to which, and from which, each rule of thumb for the races holds; between them their mean


@dataclass(frozen=True)
class Geometry:
    """What decides a bearing's rates: elements in ONE row, diameters [m], contact angle [rad].

    Attributes
    ----------
    spread : float
        Half-width of every pass order relative to its value, as the person who gave the geometry states it; 0 for the maker's. [-]
    between : tuple of Geometry
        Of an estimate, the ends between which it lies; they bound each order by itself. Empty for a geometry that somebody gave.
    """

    elements: int
    element_diameter: float
    pitch_diameter: float
    contact_angle: float = 0.0
    origin: Origin = Origin.ASSUMED
    spread: float = 0.0
    between: tuple["Geometry", ...] = ()


@dataclass(frozen=True)
class CountRule:
    """Of a bearing whose elements somebody counted and whose diameters nobody knows: elements in ONE row."""

    elements: int
    origin: Origin = Origin.ASSUMED


@dataclass(frozen=True)
class Candidate:
    """One thing a bearing may be: a make with its geometry. `name` is empty where there is no other."""

    name: str
    shape: Geometry | CountRule
    designation: str = ""


@dataclass(frozen=True)
class Bearing:
    """A rolling bearing.

    Attributes
    ----------
    name : str
    inner_shaft, outer_shaft : str or None
        The shaft each ring turns with; None for a ring held by the housing.
    geometry : Geometry or None
        None while unknown, or while several makes are candidates.
    designation : str
        As stamped on the ring; empty when unknown.
    makes : tuple of Candidate
        What it may be where `geometry` is None.
    """

    name: str
    inner_shaft: str | None
    outer_shaft: str | None
    geometry: Geometry | None
    designation: str = ""
    where: str = ""
    makes: tuple[Candidate, ...] = ()

    @property
    def candidates(self) -> tuple[Candidate, ...]:
        """Everything this bearing may be: its geometry alone, or each of its makes; empty while nothing is known."""
        return self.makes if self.geometry is None else (Candidate("", self.geometry, self.designation),)


@worked_by(formula="BPFO = (Z/2) (1 - (d/D) cos a) |f_i - f_o|", unit="Hz", source=_SOURCE)
def ball_pass_frequency_outer(
    inner_hz: ArrayLike,
    *,
    outer_hz: ArrayLike = 0.0,
    elements: float,
    element_diameter: float,
    pitch_diameter: float,
    contact_angle: float,
) -> NDArray[np.float64]:
    r"""Rate at which rolling elements pass one point of the outer race, rolling without slip.

    .. math:: f = \tfrac{Z}{2} \left(1 - \tfrac{d}{D}\cos\alpha\right) |f_i - f_o|

    Parameters
    ----------
    inner_hz, outer_hz : array_like, shape (...)
        Signed speed of each ring; a held ring is 0. [Hz]
    elements : int
        Rolling elements in ONE row, Z. A double-row bearing counts one row. [-]
    element_diameter, pitch_diameter : float
        d and D; 0 < d < D. [m]
    contact_angle : float
        alpha; 0 for a deep groove bearing under radial load. [rad]

    Returns
    -------
    ndarray, shape (...)
        BPFO. [Hz]

    Raises
    ------
    OutOfRange
        Fewer than three elements, not 0 < d < D, or alpha not in [0, pi/2).

    Notes
    -----
    No-slip kinematics [1]_. Slip moves the real line a per cent or two [2]_: search a band.

    References
    ----------
    .. [1] T. A. Harris, Rolling Bearing Analysis (from memory).
    .. [2] Randall and Antoni (2011), Mech. Syst. Signal Process. 25 (from memory).

    Examples
    --------
    Row B01 of ``tests/reference/bearings.csv``, published order 3.5848:

    >>> bearing = dict(elements=9, element_diameter=7.940e-3, pitch_diameter=39.04e-3, contact_angle=0.0)
    >>> float(ball_pass_frequency_outer(1.0, **bearing))
    3.5848
    """
    gamma = _gamma(elements, element_diameter, pitch_diameter, contact_angle)
    return elements / 2 * (1 - gamma) * _slip_speed(inner_hz, outer_hz)


@worked_by(formula="BPFI = (Z/2) (1 + (d/D) cos a) |f_i - f_o|", unit="Hz", source=_SOURCE)
def ball_pass_frequency_inner(
    inner_hz: ArrayLike,
    *,
    outer_hz: ArrayLike = 0.0,
    elements: float,
    element_diameter: float,
    pitch_diameter: float,
    contact_angle: float,
) -> NDArray[np.float64]:
    r"""Rate at which rolling elements pass one point of the inner race, rolling without slip.

    .. math:: f = \tfrac{Z}{2} \left(1 + \tfrac{d}{D}\cos\alpha\right) |f_i - f_o|

    Parameters, errors, limits and source as `ball_pass_frequency_outer`.

    Returns
    -------
    ndarray, shape (...)
        BPFI. [Hz]

    Examples
    --------
    >>> bearing = dict(elements=9, element_diameter=7.940e-3, pitch_diameter=39.04e-3, contact_angle=0.0)
    >>> float(ball_pass_frequency_inner(1.0, **bearing))
    5.4152
    """
    gamma = _gamma(elements, element_diameter, pitch_diameter, contact_angle)
    return elements / 2 * (1 + gamma) * _slip_speed(inner_hz, outer_hz)


@worked_by(formula="FTF = |f_i (1 - (d/D) cos a) + f_o (1 + (d/D) cos a)| / 2", unit="Hz", source=_SOURCE)
def fundamental_train_frequency(
    inner_hz: ArrayLike,
    *,
    outer_hz: ArrayLike = 0.0,
    elements: float,
    element_diameter: float,
    pitch_diameter: float,
    contact_angle: float,
) -> NDArray[np.float64]:
    r"""Speed of the cage, seen from the housing.

    .. math:: f = \tfrac12 \left| f_i (1 - \gamma) + f_o (1 + \gamma) \right|, \quad \gamma = \tfrac{d}{D}\cos\alpha

    Parameters, errors, limits and source as `ball_pass_frequency_outer`.

    Returns
    -------
    ndarray, shape (...)
        FTF. [Hz]

    Examples
    --------
    >>> bearing = dict(elements=9, element_diameter=7.940e-3, pitch_diameter=39.04e-3, contact_angle=0.0)
    >>> float(fundamental_train_frequency(1.0, **bearing))
    0.39831
    """
    gamma = _gamma(elements, element_diameter, pitch_diameter, contact_angle)
    inner, outer = np.asarray(inner_hz, np.float64), np.asarray(outer_hz, np.float64)
    return np.abs(inner * (1 - gamma) + outer * (1 + gamma)) / 2


@worked_by(formula="BSF = (D / 2d) (1 - ((d/D) cos a)^2) |f_i - f_o|", unit="Hz", source=_SOURCE)
def element_spin_frequency(
    inner_hz: ArrayLike,
    *,
    outer_hz: ArrayLike = 0.0,
    elements: float,
    element_diameter: float,
    pitch_diameter: float,
    contact_angle: float,
) -> NDArray[np.float64]:
    r"""Speed of a rolling element about its own axis, seen from the cage.

    .. math:: f = \tfrac{D}{2d} \left(1 - \gamma^2\right) |f_i - f_o|, \quad \gamma = \tfrac{d}{D}\cos\alpha

    Parameters, errors, limits and source as `ball_pass_frequency_outer`.

    Returns
    -------
    ndarray, shape (...)
        BSF, the spin, not the defect rate. [Hz]

    Examples
    --------
    >>> bearing = dict(elements=9, element_diameter=7.940e-3, pitch_diameter=39.04e-3, contact_angle=0.0)
    >>> float(element_spin_frequency(1.0, **bearing))
    2.3567
    """
    gamma = _gamma(elements, element_diameter, pitch_diameter, contact_angle)
    return pitch_diameter / (2 * element_diameter) * (1 - gamma**2) * _slip_speed(inner_hz, outer_hz)


@worked_by(formula="2 x BSF = (D / d) (1 - ((d/D) cos a)^2) |f_i - f_o|", unit="Hz", source=_SOURCE)
def element_defect_frequency(
    inner_hz: ArrayLike,
    *,
    outer_hz: ArrayLike = 0.0,
    elements: float,
    element_diameter: float,
    pitch_diameter: float,
    contact_angle: float,
) -> NDArray[np.float64]:
    """Rate at which one spot of a rolling element strikes a race: twice the spin, once on each race.

    Parameters, errors, limits and source as `element_spin_frequency`.

    Returns
    -------
    ndarray, shape (...)
        2 x BSF. [Hz]

    Examples
    --------
    >>> bearing = dict(elements=9, element_diameter=7.940e-3, pitch_diameter=39.04e-3, contact_angle=0.0)
    >>> float(element_defect_frequency(1.0, **bearing))
    4.7134
    """
    return 2 * element_spin_frequency(
        inner_hz,
        outer_hz=outer_hz,
        elements=elements,
        element_diameter=element_diameter,
        pitch_diameter=pitch_diameter,
        contact_angle=contact_angle,
    )


@worked_by(
    formula="BPFO = 0.4 Z |f_i - f_o| to 10 elements, (Z/2 - 1.2) |f_i - f_o| from 14, the mean of both between",
    unit="Hz",
    source=_COUNT_SOURCE,
)
def outer_race_by_count(inner_hz: ArrayLike, *, outer_hz: ArrayLike = 0.0, elements: float) -> NDArray[np.float64]:
    """BPFO of a bearing of which only the elements in ONE row are known [-], from the signed speed of each ring [Hz].

    Good to `COUNT_RULE_SPREAD`: a last resort, where neither geometry nor designation is known.

    Raises
    ------
    OutOfRange
        Fewer than three elements.

    Examples
    --------
    Row BE1 of ``tests/reference/bearing_checks.csv``:

    >>> float(outer_race_by_count(1.0, elements=9))
    3.6
    """
    return (elements / 2 - _race_offset(elements)) * _slip_speed(inner_hz, outer_hz)


@worked_by(
    formula="BPFI = 0.6 Z |f_i - f_o| to 10 elements, (Z/2 + 1.2) |f_i - f_o| from 14, the mean of both between",
    unit="Hz",
    source=_COUNT_SOURCE,
)
def inner_race_by_count(inner_hz: ArrayLike, *, outer_hz: ArrayLike = 0.0, elements: float) -> NDArray[np.float64]:
    """BPFI of a bearing of which only the elements in ONE row are known [-], as `outer_race_by_count`.

    Examples
    --------
    >>> float(inner_race_by_count(1.0, elements=9))
    5.4
    """
    return (elements / 2 + _race_offset(elements)) * _slip_speed(inner_hz, outer_hz)


@worked_by(formula="FTF = |f_i (0.5 - 1.2/Z) + f_o (0.5 + 1.2/Z)|", unit="Hz", source=_COUNT_SOURCE)
def cage_by_count(inner_hz: ArrayLike, *, outer_hz: ArrayLike = 0.0, elements: float) -> NDArray[np.float64]:
    """Cage speed of a bearing of which only the elements in ONE row are known [-], as `outer_race_by_count`.

    Examples
    --------
    >>> float(cage_by_count(1.0, elements=12))
    0.4
    """
    _least_elements(elements)
    inner, outer = np.asarray(inner_hz, np.float64), np.asarray(outer_hz, np.float64)
    return np.abs(inner * (0.5 - 1.2 / elements) + outer * (0.5 + 1.2 / elements))


def _race_offset(elements: float) -> float:
    """How far the orders of the races lie from Z/2 by the rules of thumb."""
    _least_elements(elements)
    by_share, flat = 0.1 * elements, 1.2
    if elements <= _FEW:
        return by_share
    return flat if elements >= _MANY else (by_share + flat) / 2


def _least_elements(elements: float) -> None:
    if elements < 3 or elements != int(elements):
        raise OutOfRange("elements", elements, "a whole number, 3 or more")


def _gamma(elements: float, element_diameter: float, pitch_diameter: float, contact_angle: float) -> float:
    _least_elements(elements)
    if not 0 < element_diameter < pitch_diameter:
        raise OutOfRange("element_diameter", element_diameter, f"above 0 and below the pitch diameter {pitch_diameter}")
    if not 0 <= contact_angle < math.pi / 2:
        raise OutOfRange("contact_angle", contact_angle, "from 0 to below pi/2 rad")
    return element_diameter / pitch_diameter * math.cos(contact_angle)


def _slip_speed(inner_hz: ArrayLike, outer_hz: ArrayLike) -> NDArray[np.float64]:
    return np.abs(np.asarray(inner_hz, np.float64) - np.asarray(outer_hz, np.float64))
