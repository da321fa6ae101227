"""What a screw thread of 60 degrees measures: basic diameters, stress area, and the limits its tolerance class allows.

Formulas of the standards in place of their tables, so that any diameter and pitch can be asked: basic profile ISO 68-1 and ASME
B1.1; class 2A/2B by ASME B1.1, 6g/6H by ISO 965-1. ISO 965 rounds its tolerances to preferred numbers, up to 6 % of the tolerance
away from the formula.

Calculators: `pitch_diameter`, `minor_diameter`, `stress_area_metric`, `stress_area_unified`. Limits: `limits_metric`,
`limits_unified`.
"""

import bisect
import math
from dataclasses import dataclass

from gearcase.errors import OutOfRange
from gearcase.worked import worked_by

__all__ = [
    "ThreadLimits",
    "limits_metric",
    "limits_unified",
    "minor_diameter",
    "pitch_diameter",
    "stress_area_metric",
    "stress_area_unified",
]

_INCH = 0.0254
_SMALL = 0.25 - 1e-9  # in, below which the minor diameter's tolerance follows another formula
_STEPS = (0.99e-3, 1.4e-3, 2.8e-3, 5.6e-3, 11.2e-3, 22.4e-3, 45e-3, 90e-3, 180e-3)  # m, diameter steps of ISO 965-1


@dataclass(frozen=True)
class ThreadLimits:
    """The limits that decide stripping: the thinnest screw in the widest hole. [m]

    `screw_least_major`, `screw_least_pitch` of the external thread; `hole_most_minor`, `hole_most_pitch` of the tapped one.
    """

    screw_least_major: float
    screw_least_pitch: float
    hole_most_minor: float
    hole_most_pitch: float


@dataclass(frozen=True)
class _Away:
    """How far a class lets a thread stray from the basic profile: the screw's allowance, and the tolerance of each diameter."""

    allowance: float
    screw_major: float
    screw_pitch: float
    hole_minor: float
    hole_pitch: float


@worked_by(formula="d2 = d - 0.649519 P", unit="m", source="basic profile, ISO 68-1 and ASME B1.1")
def pitch_diameter(*, major_diameter: float, pitch: float) -> float:
    """Basic pitch diameter. [m]

    Raises
    ------
    OutOfRange
        Not 0 < pitch < diameter / 1.5.

    Examples
    --------
    Row M6 of ``threads_metric.csv``:

    >>> pitch_diameter(major_diameter=6e-3, pitch=1e-3)
    0.005350
    """
    _check(major_diameter, pitch)
    return major_diameter - 3 * math.sqrt(3) / 8 * pitch


@worked_by(formula="D1 = D - 1.082532 P", unit="m", source="basic profile, ISO 68-1 and ASME B1.1")
def minor_diameter(*, major_diameter: float, pitch: float) -> float:
    """Basic minor diameter of the tapped hole. [m]

    Raises
    ------
    OutOfRange
        Not 0 < pitch < diameter / 1.5.
    """
    _check(major_diameter, pitch)
    return major_diameter - 5 * math.sqrt(3) / 8 * pitch


@worked_by(formula="As = pi/4 (d - 0.938194 P)^2", unit="m2", source="ISO 898-1: mean of pitch and root diameter")
def stress_area_metric(*, major_diameter: float, pitch: float) -> float:
    """Stress area of a metric screw. [m2]

    Raises
    ------
    OutOfRange
        Not 0 < pitch < diameter / 1.5.

    Examples
    --------
    Row M6 of ``threads_metric.csv``, 20.1 mm2:

    >>> 1e6 * stress_area_metric(major_diameter=6e-3, pitch=1e-3)
    20.12
    """
    _check(major_diameter, pitch)
    return math.pi / 4 * (major_diameter - 13 * math.sqrt(3) / 24 * pitch) ** 2


@worked_by(formula="As = pi/4 (D - 0.9743 P)^2", unit="m2", source="ASME B1.1")
def stress_area_unified(*, major_diameter: float, pitch: float) -> float:
    """Stress area of a unified screw. [m2]

    Raises
    ------
    OutOfRange
        Not 0 < pitch < diameter / 1.5.
    """
    _check(major_diameter, pitch)
    return math.pi / 4 * (major_diameter - 0.9743 * pitch) ** 2


def limits_unified(*, major_diameter: float, pitch: float) -> ThreadLimits:
    """Limits of class 2A in 2B, engaged over one diameter (the coarse and fine series).

    Formulas of ASME B1.1, 5.8.1 and 5.8.2, in inches: pitch-diameter tolerance of 2A 0.0015 (D^(1/3) + D^(1/2) + 10 P^(2/3)), of 2B
    1.3 times that; allowance 0.3 times that; major 0.060 P^(2/3); minor of 2B 0.25 P - 0.40 P^2, below 1/4 in
    0.05 P^(2/3) + 0.03 P/D - 0.002 if more, but at most 0.394 P.

    Raises
    ------
    OutOfRange
        Not 0 < pitch < diameter / 1.5.

    Examples
    --------
    Row TE1 of ``fastener_checks.csv``, 1/2-13: pitch 0.4435, minor 0.434 in:

    >>> limits = limits_unified(major_diameter=12.7e-3, pitch=25.4e-3 / 13)
    >>> limits.screw_least_pitch / 0.0254, limits.hole_most_minor / 0.0254
    (0.4435, 0.4336)
    """
    _check(major_diameter, pitch)
    inches, per_thread = major_diameter / _INCH, pitch / _INCH
    tolerance = 0.0015 * (inches ** (1 / 3) + inches**0.5 + 10 * per_thread ** (2 / 3))
    allowance = 0.3 * tolerance
    minor = 0.25 * per_thread - 0.40 * per_thread**2
    if inches < _SMALL:
        minor = max(minor, min(0.05 * per_thread ** (2 / 3) + 0.03 * per_thread / inches - 0.002, 0.394 * per_thread))
    away = _Away(allowance, 0.060 * per_thread ** (2 / 3), tolerance, minor, 1.3 * tolerance)
    return _limits(major_diameter, pitch, away, unit=_INCH)


def limits_metric(*, major_diameter: float, pitch: float) -> ThreadLimits:
    """Limits of 6g in 6H at normal engagement.

    Formulas of ISO 965-1 in mm and um: deviation g 15 + 11 P; pitch diameter 6g 90 P^0.4 d^0.1 with d the geometric
    mean of its step, 6H 1.32 times that; major 180 P^(2/3) - 3.15 P^(-1/2); minor of 6H 433 P - 190 P^1.22 below 1 mm pitch, else
    230 P^0.7.

    Raises
    ------
    OutOfRange
        Diameter not in 0.99 to 180 mm, or pitch too coarse.

    Examples
    --------
    Row TE5 of ``fastener_checks.csv``, M6: pitch 5.212, minor 5.153 mm:

    >>> limits = limits_metric(major_diameter=6e-3, pitch=1e-3)
    >>> round(1000 * limits.screw_least_pitch, 3), round(1000 * limits.hole_most_minor, 3)
    (5.214, 5.147)
    """
    _check(major_diameter, pitch)
    if not _STEPS[0] < major_diameter <= _STEPS[-1]:
        raise OutOfRange("major_diameter", major_diameter, f"above {_STEPS[0]}, at most {_STEPS[-1]} m")
    step = bisect.bisect_left(_STEPS, major_diameter)
    mean = 1000 * math.sqrt(_STEPS[step - 1] * _STEPS[step])
    per_thread = 1000 * pitch
    deviation = 15 + 11 * per_thread
    tolerance = 90 * per_thread**0.4 * mean**0.1
    minor = 230 * per_thread**0.7 if per_thread >= 1 else 433 * per_thread - 190 * per_thread**1.22
    away = _Away(deviation, 180 * per_thread ** (2 / 3) - 3.15 / math.sqrt(per_thread), tolerance, minor, 1.32 * tolerance)
    return _limits(major_diameter, pitch, away, unit=1e-6)


def _limits(major_diameter: float, pitch: float, away: _Away, *, unit: float) -> ThreadLimits:
    """The basic diameters less and plus what the class allows, given in `unit`. [m]"""
    basic, minor = (found(major_diameter=major_diameter, pitch=pitch) for found in (pitch_diameter, minor_diameter))
    return ThreadLimits(
        screw_least_major=major_diameter - (away.allowance + away.screw_major) * unit,
        screw_least_pitch=basic - (away.allowance + away.screw_pitch) * unit,
        hole_most_minor=minor + away.hole_minor * unit,
        hole_most_pitch=basic + away.hole_pitch * unit,
    )


def _check(major_diameter: float, pitch: float) -> None:
    if not 0 < 1.5 * pitch < major_diameter:
        raise OutOfRange("pitch", pitch, f"above 0, below two thirds of the diameter {major_diameter} m")
