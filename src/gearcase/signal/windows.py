"""What does a window do to a spectrum: how does it scale amplitudes, how much noise does it let in, how wide is its lobe?

All windows are sums of cosines, w_n = sum_k (-1)^k a_k cos(2 pi k n / N), n = 0 ... N - 1 (periodic); their coefficients are in
``tables/windows.csv``. Everything else follows from the coefficients.
"""

import functools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gearcase.errors import OutOfRange
from gearcase.tables import load

__all__ = ["Window", "window_named"]


@dataclass(frozen=True)
class Window:
    """A sum of cosines with the coefficients a_0, a_1, ... [-]"""

    name: str
    coefficients: tuple[float, ...]

    @property
    def coherent_gain(self) -> float:
        """Mean of the window, by which a sine's amplitude is read too low: a_0. [-]"""
        return self.coefficients[0]

    @property
    def noise_bandwidth_bins(self) -> float:
        """Equivalent noise bandwidth: 1 + sum_k a_k^2 / (2 a_0^2), in bins. [-]"""
        first, *rest = self.coefficients
        return 1 + sum(a * a for a in rest) / (2 * first * first)

    def weights(self, samples: int) -> NDArray[np.float64]:
        """The window itself, shape (samples,). [-]"""
        angle = 2 * np.pi * np.arange(samples) / samples
        terms = [(-1) ** k * a * np.cos(k * angle) for k, a in enumerate(self.coefficients)]
        return np.asarray(np.sum(terms, axis=0))

    def lobe(self, bins: NDArray[np.float64] | float) -> NDArray[np.float64]:
        """Reading of a sine of amplitude 1 that stands this many bins from the bin, long records: a_0 sinc(d) +
        sum_k a_k / 2 (sinc(d - k) + sinc(d + k)), over a_0. [-]
        """
        away = np.asarray(bins, np.float64)
        sides = (a / 2 * (np.sinc(away - k) + np.sinc(away + k)) for k, a in enumerate(self.coefficients))  # k = 0: a_0 sinc
        return np.asarray(sum(sides) / self.coherent_gain)


@functools.cache
def window_named(name: str) -> Window:
    """The window of that name, with its coefficients [-] out of ``tables/windows.csv``.

    Raises
    ------
    OutOfRange
        No such window; names those there are.

    Examples
    --------
    Row SW-hann of ``signal_checks.csv``: noise bandwidth 1.5 bins, scallop loss 1.42 dB:

    >>> hann = window_named("hann")
    >>> hann.noise_bandwidth_bins, round(-20 * float(np.log10(hann.lobe(0.5))), 2)
    (1.5, 1.42)
    """
    rows = {row["window"]: row for row in load("windows")}
    if name not in rows:
        raise OutOfRange("window", repr(name), f"one of {', '.join(rows)}")
    return Window(name, tuple(float(rows[name][f"a{k}"]) for k in range(5)))
