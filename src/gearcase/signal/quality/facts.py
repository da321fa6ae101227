"""What the rules of quality look at, measured once."""

import functools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gearcase.signal.spectrum import FoundLines, Transform, certain_lines

__all__ = ["CHANCE", "LEAST_FOR_A_FLOOR", "Facts", "median"]

CHANCE = 1e-6  # of a rule speaking on a sound Gaussian record; a year of hourly records of ten points stays below one
LEAST_FOR_A_FLOOR = 4096  # samples: a local noise floor needs many bins; common practice, no source


@dataclass(frozen=True)
class Facts:
    """A record that moves, and what is known of it.

    Attributes
    ----------
    samples : ndarray, shape (samples,)
        [unit of the samples]
    spectrum : Transform
        Of the record, no window, for the rules that look at frequencies. [unit of the samples]
    rate : float
        [Hz]
    unit : str
    mean, deviation, robust : float
        The last is the deviation told by the median, which single samples do not move. [unit of the samples]
    turns : float or None
        Of the slowest shaft. [-]
    highest_wanted : float or None
        [Hz]
    full_scale : float or None
        [unit of the samples]
    steady : bool
        Whether the speed was meant to be.
    """

    samples: NDArray[np.floating]
    spectrum: Transform
    rate: float
    unit: str
    mean: float
    deviation: float
    robust: float
    turns: float | None
    highest_wanted: float | None
    full_scale: float | None
    steady: bool

    @functools.cached_property
    def step(self) -> float:
        """Resolution; 0 where a float's own rounding is all there is. [unit of the samples]"""
        return _resolution(self.samples)

    @functools.cached_property
    def power(self) -> NDArray[np.floating]:
        """Share of the mean square in each bin of `spectrum`, Hann window, shape (bins,). [-]"""
        scale = math.sqrt(16 / 3) / self.spectrum.samples / self.deviation  # 2 / (N^2 x 3/8), Parseval
        values = self.spectrum.windowed * scale  # before squares of SI units run out of float32
        return np.asarray(values.real**2 + values.imag**2)

    @functools.cached_property
    def lines(self) -> FoundLines:
        """Lines that noise explains with at most `CHANCE`, all bins counted."""
        strength = self.spectrum.strength
        return certain_lines(strength, bin_hz=self.spectrum.bin_hz, least=math.log(strength.size / CHANCE))


def median(values: NDArray[np.floating]) -> float:
    """Of one row, by a single partition. [unit of the samples]

    >>> median(np.array([4.0, 1.0, 3.0, 2.0])), median(np.array([5.0, 1.0, 3.0]))
    (2.5, 3.0)
    """
    half = values.size // 2
    parted = np.partition(values, half)
    return float(parted[half] if values.size % 2 else (parted[:half].max() + parted[half]) / 2)


def _resolution(samples: NDArray[np.floating]) -> float:
    """Smallest step between values that occur in the first part; 0 where a float's own rounding is all there is."""
    values = np.unique(samples[: 1 << 16]).astype(np.float64)
    if values.size < 2 or values.size == min(samples.size, 1 << 16):
        return 0.0
    steps = np.diff(values)
    rounding = np.finfo(samples.dtype).eps * float(np.abs(values).max())
    steps = steps[steps > 2 * rounding]
    return float(steps.min()) if steps.size else 0.0
