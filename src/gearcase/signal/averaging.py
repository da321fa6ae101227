"""Averaged spectra: how much is at each frequency, when noise is to be smoothed or amplitudes are to be read off?

Welch's method (P. D. Welch (1967), IEEE Trans. Audio Electroacoust. 15, from memory): the record is cut into overlapping segments,
each weighted by a window and transformed, and the squared magnitudes are averaged. One array holds the result as a density; power
and amplitude are that density times constants of the window:

- *density* [unit^2 / Hz]: of noise; its sum times the bin width is the mean square (Parseval);
- *power* [unit^2] = density x noise bandwidth in Hz: mean square of a sine on that bin;
- *amplitude* [unit] = sqrt(2 power): peak of a sine on that bin.

`highest_line` reads a line between bins by the window's own lobe. Public: `averaged_spectrum`, `highest_line`.
"""

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from gearcase.errors import OutOfRange
from gearcase.signal.recording import as_records, require_above_zero
from gearcase.signal.windows import Window, window_named

__all__ = ["AveragedSpectrum", "PeakReading", "averaged_spectrum", "highest_line", "random_error"]

_SHORTEST_SEGMENT = 16  # samples; the widest lobe of a window here is ten bins


@dataclass(frozen=True)
class AveragedSpectrum:
    """One-sided spectrum of records, averaged over segments.

    Attributes
    ----------
    density : ndarray, shape (..., segment // 2 + 1)
        Mean square a hertz, in the squared unit of the samples a Hz. [unit of the quantity]
    bin_hz : float
        Distance between bins. [Hz]
    window : Window
    segments : int
        How many were averaged. [-]
    random_error : float
        Standard deviation over mean of the density of stationary Gaussian noise: 1 / sqrt(n) for n independent segments (Bendat and
        Piersol, Random Data), more where overlapping segments repeat each other (Welch 1967). [-]
    """

    density: NDArray[np.floating]
    bin_hz: float
    window: Window
    segments: int
    random_error: float

    @property
    def power(self) -> NDArray[np.floating]:
        """Mean square of a sine at each bin: density times the window's noise bandwidth. Squared [unit of the samples]"""
        return np.asarray(self.density * (self.window.noise_bandwidth_bins * self.bin_hz))

    @property
    def amplitude(self) -> NDArray[np.floating]:
        """Peak amplitude of a sine at each bin: sqrt(2 power). [unit of the samples]"""
        return np.asarray(np.sqrt(2 * self.power))

    def band_rms(self, *, lowest_hz: float, highest_hz: float) -> NDArray[np.floating]:
        """RMS in a band, both edges' bins included: sqrt(sum of density times bin width). [unit of the samples]

        Parameters
        ----------
        lowest_hz, highest_hz : float
            [Hz]

        Raises
        ------
        OutOfRange
            The band holds no bin, or does not lie inside the spectrum.
        """
        inside = _bins_between(lowest_hz, highest_hz, bin_hz=self.bin_hz, bins=self.density.shape[-1])
        return np.asarray(np.sqrt(self.density[..., inside].sum(axis=-1) * self.bin_hz))


@dataclass(frozen=True)
class PeakReading:
    """Place `hz` [Hz] and peak `amplitude` [unit of the samples] of the highest line in a band, each of shape (...)."""

    hz: NDArray[np.floating]
    amplitude: NDArray[np.floating]


def averaged_spectrum(
    samples: NDArray[np.floating], *, sample_rate_hz: float, segment: int, window: str, overlap: float = 0.5
) -> AveragedSpectrum:
    r"""Average the spectra of overlapping segments.

    .. math:: S(f) = \frac{2}{K f_s \sum w_n^2} \sum_{k=1}^{K} |F\{w x_k\}|^2

    The mean of the whole record is taken out first; the bins at 0 and at half the sample rate, which have no mirror, are not
    doubled. Samples at the end that fill no segment are left out.

    Parameters
    ----------
    samples : ndarray, shape (..., samples)
        Float32 stays float32. [unit of the samples]
    sample_rate_hz : float
        [Hz]
    segment : int
        Samples in a segment; the resolution is `sample_rate_hz` / `segment`. [-]
    window : str
        A name out of ``tables/windows.csv``: ``hann`` for noise, ``flattop`` for amplitudes.
    overlap : float
        Share of a segment that the next one repeats, 0 <= overlap < 1. [-]

    Raises
    ------
    OutOfRange
        Complex or non-finite samples, a record shorter than a segment, a segment under 16 samples, an unknown window, or an overlap
        outside 0 to 1.

    Examples
    --------
    A sine of amplitude 3 has the mean square 4.5:

    >>> wave = 3.0 * np.sin(2 * np.pi * 50 * np.arange(4000) / 1000)
    >>> found = averaged_spectrum(wave, sample_rate_hz=1000.0, segment=1000, window="hann")
    >>> found.segments, float(found.amplitude[50]), float(found.power[50]), float(found.band_rms(lowest_hz=40, highest_hz=60) ** 2)
    (7, 3.0, 4.5, 4.5)
    """
    require_above_zero("sample_rate_hz", sample_rate_hz)
    if segment < _SHORTEST_SEGMENT:
        raise OutOfRange("segment", segment, f"at least {_SHORTEST_SEGMENT} samples")
    if not 0 <= overlap < 1:
        raise OutOfRange("overlap", overlap, "at least 0 and below 1")
    shape = window_named(window)
    records = as_records(samples, shortest=segment)
    step = max(round(segment * (1 - overlap)), 1)
    weights = shape.weights(segment)
    moved = records - records.mean(axis=-1, keepdims=True, dtype=np.float64).astype(records.dtype)
    starts = range(0, records.shape[-1] - segment + 1, step)
    weighing = weights.astype(records.dtype)
    total = np.zeros((*records.shape[:-1], segment // 2 + 1), records.dtype)
    for start in starts:  # one segment of all records at a time: all at once would hold the records several times over
        values = scipy.fft.rfft(moved[..., start : start + segment] * weighing, axis=-1)
        total += values.real**2 + values.imag**2
    total *= 2 / (len(starts) * sample_rate_hz * float(np.sum(weights**2)))
    total[..., 0] *= 0.5
    if segment % 2 == 0:
        total[..., -1] *= 0.5
    return AveragedSpectrum(
        total, sample_rate_hz / segment, shape, len(starts), random_error(weights, step=step, segments=len(starts))
    )


def highest_line(
    amplitude: NDArray[np.floating], *, bin_hz: float, window: str, lowest_hz: float, highest_hz: float
) -> PeakReading:
    """Place and amplitude of the highest line in a band, read between the bins.

    With the window's lobe W, the higher neighbour of the peak reads W(1 - d) / W(d) of it where the line stands d bins from the
    peak; d follows from that ratio, and the amplitude is the peak's over W(d). Exact for a steady line far from others: other lines
    must be further off than the lobe is wide (Hann 2 bins to either side, flat top 5), and noise moves it.

    Parameters
    ----------
    amplitude : ndarray, shape (..., bins)
        Peak amplitude at each bin, from `averaged_spectrum` or `spectrum.amplitude_spectrum` (window ``hann``). [unit of the
        samples]
    bin_hz : float
        [Hz]
    window : str
        The one the amplitudes were taken with.
    lowest_hz, highest_hz : float
        Band whose highest bin is taken; the line may stand up to half a bin outside. [Hz]

    Raises
    ------
    OutOfRange
        Amplitudes not finite, an unknown window, a band without bins or not inside the spectrum, or nothing in it.

    Examples
    --------
    >>> from gearcase.signal.spectrum import amplitude_spectrum, transform
    >>> wave = 3.0 * np.sin(2 * np.pi * 50.4 * np.arange(1000) / 1000)
    >>> spectrum = amplitude_spectrum(transform(wave, sample_rate_hz=1000.0))
    >>> line = highest_line(spectrum, bin_hz=1.0, window="hann", lowest_hz=45, highest_hz=55)
    >>> float(line.hz), float(line.amplitude)
    (50.4, 3.0)
    """
    require_above_zero("bin_hz", bin_hz)
    values = as_records(amplitude, shortest=3, name="amplitude")
    lobe = window_named(window).lobe
    inside = _bins_between(lowest_hz, highest_hz, bin_hz=bin_hz, bins=values.shape[-1])
    at = inside.start + np.argmax(values[..., inside], axis=-1)
    at = np.clip(at, 1, values.shape[-1] - 2)[..., None]
    left, top, right = (np.take_along_axis(values, at + shift, axis=-1)[..., 0].astype(np.float64) for shift in (-1, 0, 1))
    if np.any(top <= 0):
        raise OutOfRange("amplitude", "nothing", f"a line between {lowest_hz:g} and {highest_hz:g} Hz")
    away = np.linspace(0, 0.5, 2001)
    shift = np.interp(np.maximum(left, right) / top, lobe(1 - away) / lobe(away), away)
    return PeakReading((at[..., 0] + np.copysign(shift, right - left)) * bin_hz, np.asarray(top / lobe(shift)))


def random_error(weights: NDArray[np.float64], *, step: int, segments: int) -> float:
    """Standard deviation over mean of a power averaged over segments of Gaussian noise, which may overlap (Welch 1967). [-]

    sqrt of (1 + 2 sum_j (1 - j / K) rho_j^2) / K, rho_j being the overlap of the window with itself j steps on.

    Parameters
    ----------
    weights : ndarray, shape (segment,)
        The window. [-]
    step, segments : int
        Samples from one segment to the next, and how many segments there are, K. [-]
    """
    repeated = 1.0
    for j in range(1, min(segments, -(-weights.size // step))):
        rho = np.dot(weights[j * step :], weights[: weights.size - j * step]) / np.dot(weights, weights)
        repeated += 2 * (1 - j / segments) * float(rho) ** 2
    return float(np.sqrt(repeated / segments))


def _bins_between(lowest_hz: float, highest_hz: float, *, bin_hz: float, bins: int) -> slice:
    if not 0 <= lowest_hz < highest_hz <= (bins - 1) * bin_hz * (1 + 1e-9):
        raise OutOfRange("band", f"{lowest_hz:g} to {highest_hz:g} Hz", f"from low to high inside 0 to {(bins - 1) * bin_hz:g} Hz")
    first, last = int(np.ceil(lowest_hz / bin_hz - 1e-9)), int(np.floor(highest_hz / bin_hz + 1e-9))
    if last < first:
        raise OutOfRange("band", f"{lowest_hz:g} to {highest_hz:g} Hz", f"at least one bin of {bin_hz:g} Hz wide")
    return slice(first, last + 1)
