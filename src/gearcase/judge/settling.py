"""How does a temperature settle, and can its probe be believed?

A drive that has started warms towards an end value like a body that loses heat in proportion to its excess: a first-order lag. Its
time constant says how long after a start a temperature means anything (`judge.steady` only says that it has stopped moving). A
probe that shows what no part of a running drive can be, or jumps faster than metal and oil can warm, has failed: the drive is not
hot for that.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gearcase.errors import OutOfRange

__all__ = ["Probe", "Settling", "probe", "settling"]

COLDEST, HOTTEST = 223.15, 473.15  # -50 to 200 °C: no part of a running drive lies outside [K]; common practice, no source
FASTEST = 0.5  # 30 K a minute: no housing, oil or ring warms so fast [K/s]; common practice, no source
IMPOSSIBLE_READINGS = 3  # so many, and it is the probe; common practice, no source
_SETTLED = 4.0  # time constants after a start, when 2 % is left
_LONGEST = 3.0  # time constant, of the time watched, that a fit can still tell


@dataclass(frozen=True)
class Settling:
    """A first-order lag through a row of temperatures.

    Attributes
    ----------
    start_k, end_k : float
        Where it began, and where it goes. [K]
    time_constant_s : float
        After which 63 % of the way is done. [s]
    rms_k : float
        Of what the lag does not follow. [K]
    settled_after_s : float
        Four time constants from the first reading. [s]
    """

    start_k: float
    end_k: float
    time_constant_s: float
    rms_k: float
    settled_after_s: float


@dataclass(frozen=True)
class Probe:
    """Whether a probe can be believed.

    Attributes
    ----------
    failed : bool
    impossible : tuple of int
        Readings outside what a drive can be, or reached too fast from the one before.
    says : str
        For a person.
    """

    failed: bool
    impossible: tuple[int, ...]
    says: str


def settling(time_s: ArrayLike, temperature_k: ArrayLike) -> Settling | None:
    r"""The lag that fits best by least squares; None where these readings do not show one.

    .. math:: T(t) = T_e + (T_0 - T_e) e^{-t/\tau}

    Parameters
    ----------
    time_s, temperature_k : array_like, shape (n,)
        From the start on, 6 readings or more, times rising. [s], [K]

    Returns
    -------
    Settling or None
        None where the temperature hardly moves against its scatter, or has only begun to.

    Raises
    ------
    OutOfRange
        Too few readings, one that is missing, or times that do not rise.

    Notes
    -----
    For each time constant the two temperatures are linear least squares, so that only one number is searched.

    Examples
    --------
    >>> time = np.arange(0.0, 7200.0, 60.0)
    >>> found = settling(time, 350.0 - 50.0 * np.exp(-time / 1800.0))
    >>> round(found.start_k), round(found.end_k), round(found.time_constant_s)
    (300, 350, 1800)
    """
    time, warm = _rows(time_s, temperature_k)
    import scipy.optimize  # 20 MiB, which a watch, that only asks whether a probe is possible, need not hold

    if len(time) < 6:
        raise OutOfRange("temperature_k", len(time), "6 readings or more")
    since = time - time[0]
    watched, closest = float(since[-1]), float(np.min(np.diff(time)))

    def fitted(log_constant: float) -> tuple[NDArray[np.float64], float]:
        left = np.exp(-since / math.exp(log_constant))
        design = np.column_stack([np.ones_like(left), left])
        solved = np.linalg.lstsq(design, warm, rcond=None)[0]
        return solved, float(np.sum((warm - design @ solved) ** 2))

    trials = np.linspace(math.log(closest), math.log(_LONGEST * watched), 40)
    best = int(np.argmin([fitted(trial)[1] for trial in trials]))
    if best in (0, len(trials) - 1):
        return None
    found = scipy.optimize.minimize_scalar(
        lambda trial: fitted(trial)[1], bounds=(trials[best - 1], trials[best + 1]), method="bounded", options={"xatol": 1e-6}
    )
    (end, over), squares = fitted(float(found.x))
    rms = math.sqrt(squares / len(time))
    if abs(over) < 3 * rms or abs(over) < 1e-6:
        return None
    constant = math.exp(float(found.x))
    return Settling(float(end + over), float(end), constant, rms, _SETTLED * constant)


def probe(time_s: ArrayLike, temperature_k: ArrayLike) -> Probe:
    """Whether the readings of a probe are possible at all.

    Parameters
    ----------
    time_s, temperature_k : array_like, shape (n,)
        Times rising. [s], [K]

    Raises
    ------
    OutOfRange
        No readings, one that is missing, or times that do not rise.

    Examples
    --------
    >>> probe([0, 60, 120, 180, 240], [350.0, 351.0, 900.0, 352.0, 1200.0]).says.partition(";")[0]
    'the probe has failed: 3 of 5 readings are impossible for a drive'
    """
    time, warm = _rows(time_s, temperature_k)
    if not len(time):
        raise OutOfRange("temperature_k", 0, "one reading or more")
    outside = (warm < COLDEST) | (warm > HOTTEST)
    jumped = np.concatenate([[False], np.abs(np.diff(warm)) > FASTEST * np.diff(time)])
    impossible = tuple(int(here) for here in np.flatnonzero(outside | jumped))
    if len(impossible) >= IMPOSSIBLE_READINGS:
        says = (
            f"the probe has failed: {len(impossible)} of {len(time)} readings are impossible for a drive; look at probe and cable"
        )
        return Probe(True, impossible, f"{says}, the drive is not hot for that")
    if impossible:
        says = f"{len(impossible)} reading{'s' if len(impossible) > 1 else ''} changed too fast for a drive"
        return Probe(False, impossible, f"{says}: was the probe moved, or is its cable loose?")
    return Probe(False, (), "every reading is possible")


def _rows(time_s: ArrayLike, temperature_k: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    time, warm = np.asarray(time_s, dtype=float), np.asarray(temperature_k, dtype=float)
    if time.ndim != 1 or not np.all(np.isfinite(time)) or np.any(np.diff(time) <= 0):
        raise OutOfRange("time_s", time.shape, "one row of times that rise")
    if warm.shape != time.shape or not np.all(np.isfinite(warm)):
        raise OutOfRange("temperature_k", warm.shape, f"as many as there are times, {len(time)}, none missing")
    return time, warm
