"""Whether a sensor's range holds what a drive may do, and whether its noise lets a slow shaft be seen.

Levels come from the zones' velocities, so they are as rough as the zones are for gear drives: they choose a range, they judge
nothing.
"""

import math

from gearcase.errors import OutOfRange
from gearcase.worked import worked_by

__all__ = [
    "CREST_FACTOR",
    "LEAST_OVER_NOISE",
    "NOISE_DENSITY",
    "acceleration_of_line",
    "expected_peak",
    "line_over_noise",
    "velocity_noise",
]

CREST_FACTOR = 5.0  # peak over RMS of a drive with impacts; common practice, no source
NOISE_DENSITY = 1e-3  # m/s2 per root Hz, about 100 micro-g; digital sensors lie at 25 to 300: common practice, no source
LEAST_OVER_NOISE = 5.0  # as in proving, noise at most a fifth of what is expected; common practice, no source
_SINUSOID = "sinusoid: a = 2 pi f v"
_HANN_NOISE_BINS = 1.5  # equivalent noise bandwidth, F. J. Harris (1978), Proc. IEEE 66, Table 1


@worked_by(formula="a = 2 pi f v", unit="m/s2", source=_SINUSOID)
def acceleration_of_line(*, line_hz: float, velocity: float) -> float:
    """RMS acceleration of a line from its RMS velocity. [m/s2]

    Raises
    ------
    OutOfRange
        A frequency not above 0.

    Examples
    --------
    Row VC11 of ``vibration_checks.csv``: 15.608 mm/s at 100 Hz is 1 g.

    >>> acceleration_of_line(line_hz=100.0, velocity=15.60776823e-3)
    9.80665
    """
    if line_hz <= 0:
        raise OutOfRange("line_hz", line_hz, "above 0")
    return 2 * math.pi * line_hz * velocity


@worked_by(formula="a_peak = 5 a_rms", unit="m/s2", source="crest factor 5: common practice, no source")
def expected_peak(*, rms: float) -> float:
    """Peak that a sensor's range must hold. [m/s2]

    Examples
    --------
    >>> expected_peak(rms=12.0)
    60.0
    """
    return CREST_FACTOR * rms


@worked_by(
    formula="r = a / (d sqrt(1.5 / T))",
    unit="-",
    source="noise in a Hann bin: F. J. Harris (1978), Proc. IEEE 66, Table 1",
)
def line_over_noise(*, rms: float, density: float, length_s: float) -> float:
    """A line's RMS over the sensor's noise in its bin, in a record of that length. [-]

    Raises
    ------
    OutOfRange
        Density or length not above 0.

    Examples
    --------
    >>> line_over_noise(rms=6e-3, density=1e-3, length_s=24.0)
    24.0
    """
    if min(density, length_s) <= 0:
        raise OutOfRange("density, length_s", f"{density:g}, {length_s:g}", "each above 0")
    return rms / (density * math.sqrt(_HANN_NOISE_BINS / length_s))


@worked_by(
    formula="v = d / (2 pi) sqrt(1 / f_1 - 1 / f_2)",
    unit="m/s",
    source="integral of d^2 / (2 pi f)^2 from f_1 to f_2, a constant noise density integrated once",
)
def velocity_noise(*, density: float, lowest_hz: float, highest_hz: float) -> float:
    """RMS velocity that a sensor's acceleration noise makes in a band. [m/s]

    Raises
    ------
    OutOfRange
        Not 0 < lowest < highest.

    Examples
    --------
    From 0.5 Hz up it is 0.22 mm/s, from 10 Hz up 0.05:

    >>> [velocity_noise(density=1e-3, lowest_hz=lowest, highest_hz=1000.0) for lowest in (0.5, 10.0)]
    [0.000225, 0.0000501]
    """
    if not 0 < lowest_hz < highest_hz:
        raise OutOfRange("band", f"{lowest_hz:g} to {highest_hz:g} Hz", "0 < lowest < highest")
    return density / (2 * math.pi) * math.sqrt(1 / lowest_hz - 1 / highest_hz)
