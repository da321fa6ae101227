"""In which band do impacts stand out? The fast kurtogram.

J. Antoni, "Fast computation of the kurtogram for the detection of transient faults", Mech. Syst. Signal Process. 21 (2007) 108-124
(from memory). The band of the record is divided into 1, 2, 3, 4, 6, 8, 12, ... equal parts (levels 0, 1, 1.6, 2, 2.6, 3, 3.6, ...:
each half of a level is halved again, and divided by three), and of each part the kurtosis of the complex envelope c is taken,

    K = mean |c|^4 / (mean |c|^2)^2 - 2,

0 for Gaussian noise, -1 for a steady tone, large where energy comes in bursts. The highest marks the band to demodulate.

The paper's filters are a tree of short ones. Here each part is cut out of one transform, its edges rounded by a cosine over a
quarter of its width on either side, and transformed back: the same tree, and a record is transformed once. What rings at the ends
of the record, where its end does not meet its beginning, is left out.
"""

import functools
from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from gearcase.errors import OutOfRange
from gearcase.signal.recording import require_above_zero
from gearcase.signal.spectrum import Transform

__all__ = ["BandChoice", "Kurtogram", "kurtogram"]

_EDGE = 0.25  # of a band's width, rounded on either side
_ENDS = 8  # envelope samples left out at either end: a band so rounded rings for about four
_FEWEST_BINS = 256  # in a band: fewer leave K a standard error over 0.15


@dataclass(frozen=True)
class BandChoice:
    """Band of the highest kurtosis, of each record: its edges [Hz], its kurtosis and the standard error that noise would give [-];
    each of shape (...).
    """

    lowest_hz: NDArray[np.floating]
    highest_hz: NDArray[np.floating]
    kurtosis: NDArray[np.floating]
    standard_error: NDArray[np.floating]


@dataclass(frozen=True)
class Kurtogram:
    """Kurtosis of every band.

    Attributes
    ----------
    lowest_hz, highest_hz : ndarray, shape (bands,)
        Edges, level by level from wide to narrow, in a level from low to high. [Hz]
    level : ndarray, shape (bands,)
        0, 1, 1.6, 2, 2.6 ...: 2^level or 3 x 2^(level - 1.6) parts. [-]
    kurtosis : ndarray, shape (..., bands)
        0 where a band holds nothing. [-]
    standard_error : ndarray, shape (bands,)
        Of the kurtosis in Gaussian noise, 2 / sqrt(independent samples of the envelope): 4 / n sum rho^4 is its variance, rho being
        the envelope's correlation with itself (the kurtosis is a mean of Laguerre polynomials of degree 2). [-]
    """

    lowest_hz: NDArray[np.float64]
    highest_hz: NDArray[np.float64]
    level: NDArray[np.float64]
    kurtosis: NDArray[np.floating]
    standard_error: NDArray[np.float64]

    @property
    def best(self) -> BandChoice:
        """The band of the highest kurtosis, as published. In noise alone there is a highest one too: look how many standard errors
        it stands above 0, of as many bands as there are. [-]
        """
        at = np.argmax(self.kurtosis, axis=-1)
        highest = np.take_along_axis(self.kurtosis, at[..., None], axis=-1)[..., 0]
        return BandChoice(self.lowest_hz[at], self.highest_hz[at], highest, self.standard_error[at])


def kurtogram(spectrum: Transform, *, narrowest_hz: float) -> Kurtogram:
    """Kurtosis of the complex envelope over the tree of bands.

    Parameters
    ----------
    spectrum : Transform
        Of records, shape (..., samples). [unit of the samples]
    narrowest_hz : float
        Narrowest band of use: three times the rate of the impacts looked for, or they run into each other (common practice, no
        source). Bands of fewer than 256 bins are left out as well. [Hz]

    Raises
    ------
    OutOfRange
        A record that does not move, too short for any band, or a `narrowest_hz` beyond the record's band or not above 0.

    Examples
    --------
    Ten bursts at 3 kHz in noise:

    >>> from gearcase.signal.spectrum import transform
    >>> t = np.arange(16384) / 16384
    >>> wave = np.exp(-((t * 10) % 1) * 60) * np.sin(2 * np.pi * 3000 * t)
    >>> wave += 0.1 * np.random.default_rng(0).standard_normal(t.size)
    >>> best = kurtogram(transform(wave, sample_rate_hz=16384.0), narrowest_hz=100.0).best
    >>> bool(best.lowest_hz < 3000 < best.highest_hz), bool(best.kurtosis > 10 * best.standard_error)
    (True, True)
    """
    require_above_zero("narrowest_hz", narrowest_hz)
    half = spectrum.samples // 2
    fewest = max(_FEWEST_BINS, int(np.ceil(narrowest_hz / spectrum.bin_hz)))
    if half < fewest:
        raise OutOfRange("band", f"{half} bins of {spectrum.bin_hz:g} Hz", f"at least {fewest} for one band of {narrowest_hz:g} Hz")
    values = spectrum.values[..., :half]
    largest = np.abs(values).max(axis=-1, keepdims=True)
    if not np.all(largest > np.finfo(largest.dtype).tiny):
        raise OutOfRange("samples", "constant", "records that move")
    values = values / largest  # fourth powers of SI units run out of float32
    rounding = float(np.finfo(values.real.dtype).eps)  # of a tone, in all bins together: a band with no more holds nothing
    edges, levels, errors, kurtosis = [], [], [], []
    for level, parts in _tree(half // fewest):
        bins = half // parts
        weights = _rounded(bins).astype(values.real.dtype)
        bands = values[..., : parts * bins].reshape(*values.shape[:-1], parts, bins) * weights
        length = scipy.fft.next_fast_len(bins)
        envelope = scipy.fft.ifft(bands, length, axis=-1, overwrite_x=True)[..., _ENDS:-_ENDS]
        squared = envelope.real**2 + envelope.imag**2
        mean = squared.mean(axis=-1)
        holds = mean > bins / half * (rounding / length) ** 2
        squared /= np.where(holds, mean, 1)[..., None]  # before squaring again: small numbers run out of float32
        fourth = np.einsum("...i,...i->...", squared, squared) / squared.shape[-1]
        kurtosis.append(np.where(holds, fourth - 2, 0))
        independent = _independent_share() * squared.shape[-1] * bins / length
        edges.append(np.arange(parts + 1) * (bins * spectrum.bin_hz))
        levels.append(np.full(parts, level))
        errors.append(np.full(parts, 2 / np.sqrt(independent)))
    return Kurtogram(
        np.concatenate([edge[:-1] for edge in edges]),
        np.concatenate([edge[1:] for edge in edges]),
        np.concatenate(levels),
        np.concatenate(kurtosis, axis=-1),
        np.concatenate(errors),
    )


def _tree(most: int) -> list[tuple[float, int]]:
    """Levels and their parts, from 1 to at most so many."""
    halves = [(float(k), 2**k) for k in range(most.bit_length())]
    thirds = [(k + 0.6, 3 * 2 ** (k - 1)) for k in range(1, most.bit_length())]
    return sorted((level, parts) for level, parts in halves + thirds if parts <= most)


def _rounded(bins: int) -> NDArray[np.float64]:
    """1 with cosine edges."""
    edge = round(_EDGE * bins)
    rise = 0.5 - 0.5 * np.cos(np.pi * (np.arange(edge) + 0.5) / edge)
    return np.concatenate([rise, np.ones(bins - 2 * edge), rise[::-1]])


@functools.cache
def _independent_share() -> float:
    """Of the samples of a rounded band's envelope, for its kurtosis: 1 / sum rho^4, the same for bands of any width."""
    correlation = np.abs(scipy.fft.fft(_rounded(_FEWEST_BINS) ** 2))
    return float(1 / np.sum((correlation / correlation[0]) ** 4))
