r"""What level is usual at this speed, load and oil temperature? Robust regression of the logarithm of months of steady records.

.. math:: \ln y = \ln y_0 + b_n \ln(n/n_0) + b_L (L - L_0) + b_T (T - T_0) + e

with the medians of the records as reference. A level is compared with the limits after it has been brought to the reference:
divided by what the conditions alone make of it (`LevelModel.factor`). A condition that hardly varied tells nothing of its effect
and is left out, as is one that moves with another: nobody could tell the two apart. Between the trained range and a little beyond
it the line is trusted; with the oil further than `WIDENED_BEYOND` outside, the line is followed no further and limits are widened;
at another speed or load nothing was learned.

Coefficients are Huber's M-estimate [1]_ with the scale from the median deviation, by iterated weights: some months in which a
fault begins, or a product was run once, must not decide what is usual. It does not resist conditions that are wrong themselves.

References
----------
.. [1] P. J. Huber, Robust estimation of a location parameter, Annals of Mathematical Statistics 35, 1964; tuning constant 1.345 for
   95 % efficiency under normal scatter (from memory).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gearcase.errors import OutOfRange

__all__ = [
    "CONDITIONS",
    "LEAST_RECORDS",
    "LOAD",
    "OIL",
    "SPEED",
    "WIDENED_BEYOND",
    "LevelModel",
    "beyond_trained",
    "fit_level",
    "huber_regression",
    "told_apart",
]

SPEED, LOAD, OIL = "speed", "load", "oil temperature"
CONDITIONS: Mapping[str, str] = {SPEED: "Hz", LOAD: "-", OIL: "K"}  # and their units
_HUBER = 1.345
_ROUNDS, _STILL = 200, 1e-10
LEAST_RECORDS = 50  # common practice, no source
_LEAST_RANGE = {SPEED: 0.02, LOAD: 0.05, OIL: 3.0}  # middle 90 % of the records: ratio, share, K; common practice, no source
_BESIDE = {SPEED: 0.05, LOAD: 0.1}  # beyond the trained range, shares; common practice, no source
WIDENED_BEYOND = 20.0  # outside the trained oil temperature [K]; common practice, no source
_ALIKE = 0.95  # correlation from which two conditions cannot be told apart; common practice, no source
_OUTER = 0.005  # of the records on either side that do not count for the trained range


@dataclass(frozen=True)
class LevelModel:
    """The usual level over the conditions.

    Attributes
    ----------
    level : float
        At the reference. [unit of the quantity]
    sigma : float
        Robust standard deviation of the logarithm's residual. [-]
    reference : mapping
        Condition -> its median. `CONDITIONS`
    slope : mapping
        Condition -> change of the logarithm by one unit of it; of speed, by one unit of its logarithm.
    trained : mapping
        Condition -> lowest and highest of the records.
    left_out : mapping
        Condition -> why it has no slope.
    records : int
    """

    level: float
    sigma: float
    reference: Mapping[str, float]
    slope: Mapping[str, float]
    trained: Mapping[str, tuple[float, float]]
    left_out: Mapping[str, str]
    records: int

    def factor(self, conditions: Mapping[str, float]) -> float:
        """By what the conditions raise the level over that at the reference; 1 where a condition is not known. [-]

        >>> model = LevelModel(1e-3, 0.1, {"speed": 20.0}, {"speed": 2.0}, {"speed": (10.0, 30.0)}, {}, 100)
        >>> model.factor({"speed": 30.0})
        2.25
        """
        effect = 0.0
        for name, slope in self.slope.items():
            if name in conditions:
                here = conditions[name]
                if name == OIL:
                    low, high = self.trained[OIL]
                    here = min(max(here, low - WIDENED_BEYOND), high + WIDENED_BEYOND)
                effect += slope * (_scaled(name, here) - _scaled(name, self.reference[name]))
        return math.exp(effect)

    def not_trained(self, conditions: Mapping[str, float]) -> str:
        """Why nothing is known at these conditions ([Hz], [-], [K]); empty where something is.

        >>> model = LevelModel(1e-3, 0.1, {"speed": 20.0}, {"speed": 2.0}, {"speed": (10.0, 30.0)}, {}, 100)
        >>> model.not_trained({"speed": 31.0}), model.not_trained({"speed": 40.0})
        ('', 'speed 40 Hz, trained from 10 to 30 Hz')
        """
        if missing := next((name for name in self.trained if name in self.slope and name not in conditions), ""):
            return f"{missing} not known"
        return beyond_trained({name: ends for name, ends in self.trained.items() if name != OIL}, conditions)

    def outside_oil(self, conditions: Mapping[str, float]) -> float:
        """How far the oil is outside the temperatures that were trained; 0 inside, or where it is not known. [K]"""
        if OIL not in conditions or OIL not in self.trained:
            return 0.0
        low, high = self.trained[OIL]
        return max(low - conditions[OIL], conditions[OIL] - high, 0.0)

    def as_dict(self) -> dict[str, Any]:
        """Plain data; `LevelModel.of` reads it."""
        return {
            "level": self.level,
            "sigma": self.sigma,
            "reference": dict(self.reference),
            "slope": dict(self.slope),
            "trained": {name: list(ends) for name, ends in self.trained.items()},
            "left_out": dict(self.left_out),
            "records": self.records,
        }

    @classmethod
    def of(cls, kept: Mapping[str, Any]) -> "LevelModel":
        """From the plain data of `as_dict`."""
        trained = {name: (float(low), float(high)) for name, (low, high) in kept["trained"].items()}
        reference, slope = dict(kept["reference"]), dict(kept["slope"])
        return cls(kept["level"], kept["sigma"], reference, slope, trained, dict(kept["left_out"]), kept["records"])


def beyond_trained(trained: Mapping[str, tuple[float, float]], conditions: Mapping[str, float]) -> str:
    """The speed or load, of those known ([Hz], [-]), at which nothing was learned; empty where there is none.

    >>> beyond_trained({"load": (0.3, 0.9)}, {"load": 0.1})
    'load 0.1, trained from 0.3 to 0.9'
    """
    for name, (low, high) in trained.items():
        beside = _BESIDE[name] * (high if name == SPEED else 1.0)
        if name in conditions and not low - beside <= conditions[name] <= high + beside:
            unit = "" if CONDITIONS[name] == "-" else f" {CONDITIONS[name]}"
            return f"{name} {conditions[name]:.4g}{unit}, trained from {low:.4g} to {high:.4g}{unit}"
    return ""


def fit_level(values: ArrayLike, conditions: Mapping[str, ArrayLike]) -> LevelModel:
    """The usual level over the conditions, from gated records.

    Parameters
    ----------
    values : array_like, shape (n,)
        Levels, above 0. [unit of the quantity]
    conditions : mapping
        Of `CONDITIONS`, those that were read: each of shape (n,), no value missing. [Hz], [-], [K]

    Raises
    ------
    OutOfRange
        Fewer than `LEAST_RECORDS`, a level or speed not above 0, a condition that is none or has missing values.

    Examples
    --------
    >>> speed = np.tile([20.0, 22.0, 25.0], 40)
    >>> found = fit_level(1e-3 * (speed / 22.0) ** 2, {"speed": speed})
    >>> round(found.slope["speed"], 3), round(1e3 * found.level, 3), found.left_out
    (2.0, 1.0, {})
    """
    level = np.asarray(values, dtype=float)
    if level.ndim != 1 or len(level) < LEAST_RECORDS:
        raise OutOfRange("values", level.shape, f"one row of {LEAST_RECORDS} records or more")
    if not np.all(np.isfinite(level) & (level > 0)):
        raise OutOfRange("values", float(np.min(level)), "each above 0")
    read: dict[str, NDArray[np.float64]] = {}
    for name, column in conditions.items():
        if name not in CONDITIONS:
            raise OutOfRange("conditions", name, f"of {', '.join(CONDITIONS)}")
        row = np.asarray(column, dtype=float)
        if row.shape != level.shape or not np.all(np.isfinite(row)) or (name == SPEED and not np.all(row > 0)):
            raise OutOfRange(name, row.shape, f"as many as there are records, {len(level)}, none missing; a speed above 0")
        read[name] = row
    reference = {name: float(np.median(row)) for name, row in read.items()}
    columns = {name: _scaled_row(name, row) - _scaled(name, reference[name]) for name, row in read.items()}
    kept, left_out = told_apart(columns, _LEAST_RANGE)
    found, sigma = huber_regression(np.column_stack([np.ones(len(level)), *kept.values()]), np.log(level))
    trained = {
        name: (float(low), float(high)) for name, row in read.items() for low, high in [np.quantile(row, [_OUTER, 1 - _OUTER])]
    }
    slope = dict(zip(kept, found[1:].tolist(), strict=True))
    return LevelModel(math.exp(found[0]), sigma, reference, slope, trained, left_out, len(level))


def huber_regression(design: NDArray[np.float64], target: NDArray[np.float64]) -> tuple[NDArray[np.floating], float]:
    r"""Coefficients and robust standard deviation of the residuals.

    .. math:: \min_b \sum_i \rho\left(\frac{y_i - x_i b}{s}\right), \qquad s = 1.4826\,\mathrm{med}|y_i - x_i b|

    with Huber's rho. Design (n, k), target (n,), k coefficients; all in [unit of the quantity] that the target has.

    Examples
    --------
    A wild reading does not move the line:

    >>> x = np.arange(10.0)
    >>> y = 2.0 + 3.0 * x + np.where(x % 2, 0.01, -0.01)
    >>> y[7] = 99.0
    >>> found, sigma = huber_regression(np.column_stack([np.ones(10), x]), y)
    >>> found.round(1).tolist()
    [2.0, 3.0]
    """
    found: NDArray[np.floating] = np.linalg.lstsq(design, target, rcond=None)[0]
    for _ in range(_ROUNDS):
        rest = np.abs(target - design @ found)
        sigma = 1.4826 * float(np.median(rest))
        if sigma == 0:
            break
        weight = np.sqrt(np.minimum(1.0, _HUBER * sigma / np.maximum(rest, 1e-300)))
        before, found = found, np.linalg.lstsq(design * weight[:, None], target * weight, rcond=None)[0]
        if np.all(np.abs(found - before) <= _STILL * (np.abs(found) + sigma)):
            break
    return found, 1.4826 * float(np.median(np.abs(target - design @ found)))


def told_apart(
    columns: Mapping[str, NDArray[np.float64]], least_range: Mapping[str, float]
) -> tuple[dict[str, NDArray[np.float64]], dict[str, str]]:
    """Conditions whose effect can be told, and why not of the others; the first of two that move together stays.

    Each must vary by `least_range` over the middle 90 % of its records [unit of the quantity].
    """
    kept: dict[str, NDArray[np.float64]] = {}
    left_out = {}
    for name, column in columns.items():
        low, high = np.quantile(column, [0.05, 0.95])
        if high - low < least_range[name]:
            left_out[name] = "it hardly varied"
            continue
        alike = next((other for other, row in kept.items() if abs(np.corrcoef(column, row)[0, 1]) > _ALIKE), "")
        if alike:
            left_out[name] = f"it moves with {alike}"
        else:
            kept[name] = column
    return kept, left_out


def _scaled(name: str, value: float) -> float:
    return math.log(value) if name == SPEED else value


def _scaled_row(name: str, row: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.log(row) if name == SPEED else row
