"""Spectra and their local noise floor, from one transform of the record.

`transform` is computed once; `amplitude_spectrum`, `band_rms` and `overall_velocity` read it; `signal.envelope` whitens it. A floor
is the median of blocks of neighbouring bins, joined by straight lines: lines do not move a median. Windows are applied to the
transform (Hann by its three taps), so that no second transform is needed.
"""

import functools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from gearcase.errors import OutOfRange
from gearcase.signal.recording import as_records, require_above_zero

__all__ = [
    "HANN_COHERENT_GAIN",
    "PRESENT",
    "SLOW_OVERALL_FROM_HZ",
    "TO_VELOCITY",
    "FoundLines",
    "SpectrumLine",
    "Transform",
    "amplitude_spectrum",
    "band_levels",
    "band_rms",
    "block_floor",
    "certain_lines",
    "find_lines",
    "floor_bins",
    "hann",
    "line_places",
    "line_strength",
    "overall_velocity",
    "peak_bins",
    "transform",
]

HANN_COHERENT_GAIN = 0.5  # Harris (1978), Proc. IEEE 66
_HANN_MEAN_SQUARE = 0.375  # mean of the squared window
PRESENT = 8.0  # strength from which a line looked for counts as there; e^-8 is one chance find in 3,000 bins
FLOOR_WIDTH_HZ = 40.0  # wide against a line, narrow against a resonance
_NARROWEST_FLOOR_BINS = 64  # a median of fewer bins is itself noisy: its spread would thicken the tail of the strengths
SLOW_OVERALL_FROM_HZ = 2.0  # lower edge of the overall at or below 600 rpm: ISO 10816-3, from memory
TO_VELOCITY = {"m/s2": -1, "m/s": 0, "m": 1}  # by which power of omega a unit becomes velocity
SHORTEST_RECORD = 64  # samples; fewer hold no spectrum worth a floor


@dataclass(frozen=True)
class Transform:
    """One-sided Fourier transform of records with their mean taken out.

    Attributes
    ----------
    values : ndarray of complex, shape (..., samples // 2 + 1)
        Unnormalised, as `scipy.fft.rfft` gives it, no window. [unit of the samples]
    samples : int
        Length of the record the transform stands for (a multiple of 4 near the given length, with small prime factors).
    bin_hz : float
        Distance between bins. [Hz]
    """

    values: NDArray[np.complexfloating]
    samples: int
    bin_hz: float

    @functools.cached_property
    def windowed(self) -> NDArray[np.complexfloating]:
        """The same under a Hann window, for all that reads it. [unit of the samples]"""
        return hann(self.values)

    @functools.cached_property
    def power(self) -> NDArray[np.floating]:
        """Squared magnitude of `windowed`. [unit of the samples]"""
        return np.asarray(np.abs(self.windowed) ** 2)

    @functools.cached_property
    def strength(self) -> NDArray[np.floating]:
        """`power` over local noise (`line_strength`), lines to be looked for. [-]"""
        return line_strength(self.power, width=floor_bins(self.bin_hz))


@dataclass(frozen=True)
class FoundLines:
    """Lines of one spectrum in order of frequency, read between its bins, each of shape (lines,): `hz` with its standard error
    `error_hz` [Hz], and `strength`, power over the local noise [-].
    """

    hz: NDArray[np.float64]
    error_hz: NDArray[np.float64]
    strength: NDArray[np.float64]


@dataclass(frozen=True)
class SpectrumLine:
    """A line that stands out of the local noise: `hz` [Hz]; `snr_db` is 10 log10 of its power over the mean noise around it
    [dB].
    """

    hz: float
    snr_db: float


def transform(samples: NDArray[np.floating], *, sample_rate_hz: float) -> Transform:
    """Transform records once for everything that follows.

    The record is cut at its end to the nearest length that transforms fast (under 1 % for records worth judging); the
    mean is taken out; no window.

    Parameters
    ----------
    samples : ndarray, shape (..., samples)
        Float32 stays float32. [unit of the samples]
    sample_rate_hz : float
        [Hz]

    Raises
    ------
    OutOfRange
        Complex or non-finite samples, fewer than 64, or a rate not above 0.
    """
    require_above_zero("sample_rate_hz", sample_rate_hz)
    records = as_records(samples, shortest=SHORTEST_RECORD)
    length = 4 * scipy.fft.prev_fast_len(records.shape[-1] // 4)
    kept = records[..., :length]
    return Transform(scipy.fft.rfft(kept - kept.mean(axis=-1, keepdims=True)), length, sample_rate_hz / length)


def hann(values: NDArray[np.complexfloating]) -> NDArray[np.complexfloating]:
    """A transform as if the record had been weighted by a periodic Hann window, in its own unit. [unit of the samples]

    The window's three taps (-1/4, 1/2, -1/4) act on neighbouring bins; at both ends the neighbour is the conjugate of
    the bin inside, as for any real record.
    """
    windowed = values * 0.5
    windowed[..., 1:] -= 0.25 * values[..., :-1]
    windowed[..., :-1] -= 0.25 * values[..., 1:]
    windowed[..., 0] -= 0.25 * np.conj(values[..., 1])
    windowed[..., -1] -= 0.25 * np.conj(values[..., -2])
    return windowed


def amplitude_spectrum(spectrum: Transform) -> NDArray[np.floating]:
    """Peak amplitude of a sine at each bin, Hann window, in the unit of the samples.

    Returns
    -------
    ndarray, shape (..., samples // 2 + 1)
        A sine of amplitude A on a bin reads A; between bins up to 1.42 dB less (Harris 1978). [unit of the samples]

    Examples
    --------
    >>> wave = 3.0 * np.sin(2 * np.pi * 50 * np.arange(1000) / 1000)
    >>> float(amplitude_spectrum(transform(wave, sample_rate_hz=1000.0))[50])
    3.0
    """
    return np.asarray(np.abs(spectrum.windowed) * (2 / (spectrum.samples * HANN_COHERENT_GAIN)))


def block_floor(values: NDArray[np.floating], *, width: int) -> NDArray[np.floating]:
    """Local median: of blocks of `width` bins, joined by straight lines between block centres.

    Parameters
    ----------
    values : ndarray, shape (..., bins)
        In any unit; the floor is in the same. [unit of the samples]
    width : int
        Bins in a block, 8 or more; the last block takes what is left over. [-]

    Returns
    -------
    ndarray, shape (..., bins)
        Above zero wherever `values` is anywhere above zero.

    Raises
    ------
    OutOfRange
        Width under 8.
    """
    if width < 8:
        raise OutOfRange("width", width, "at least 8 bins: a median of fewer follows the lines")
    bins = values.shape[-1]
    blocks = max(bins // width, 1)
    if blocks == 1:
        medians = np.median(values, axis=-1, keepdims=True)
        return np.broadcast_to(_above_zero(medians), values.shape).astype(values.dtype)
    whole = values[..., : blocks * width].reshape(*values.shape[:-1], blocks, width)
    medians = _above_zero(np.sort(whole, axis=-1)[..., width // 2])  # of rows so short a sort is faster than a partition
    slopes = np.diff(medians, axis=-1)[..., None] * (np.arange(width, dtype=values.dtype) / width)
    joined = (medians[..., :-1, None] + slopes).reshape(*values.shape[:-1], -1)
    head = width // 2
    floor = np.empty_like(values)
    floor[..., :head] = medians[..., :1]
    floor[..., head : head + joined.shape[-1]] = joined
    floor[..., head + joined.shape[-1] :] = medians[..., -1:]
    return floor


def floor_bins(bin_hz: float) -> int:
    """Bins [-] in a block of the noise floor, for a resolution `bin_hz` [Hz]: `FLOOR_WIDTH_HZ`, or 64 bins where that is wider."""
    return max(round(FLOOR_WIDTH_HZ / bin_hz), _NARROWEST_FLOOR_BINS)


def find_lines(strength: NDArray[np.floating], *, bin_hz: float, chance: float) -> tuple[SpectrumLine, ...]:
    """Lines of one spectrum that noise explains with at most this chance, all its bins counted, in order of frequency.

    Parameters
    ----------
    strength : ndarray, shape (bins,)
        As `line_strength` gives it. [-]
    bin_hz : float
        [Hz]
    chance : float
        Of one or more chance finds in the whole spectrum. [-]
    """
    at = peak_bins(strength, float(np.log(strength.size / chance)))
    return tuple(SpectrumLine(float(n * bin_hz), float(10 * np.log10(strength[n]))) for n in at)


def certain_lines(strength: NDArray[np.floating], *, bin_hz: float, least: float) -> FoundLines:
    """Peaks of one spectrum under a Hann window from a strength on.

    Parameters
    ----------
    strength : ndarray, shape (bins,)
        As `line_strength` gives it. [-]
    bin_hz : float
        [Hz]
    least : float
        Noise alone reaches it in a bin with chance exp(-least). [-]

    Examples
    --------
    >>> wave = np.sin(2 * np.pi * 50.3 * np.arange(8000) / 1000) + 0.1 * np.random.default_rng(0).standard_normal(8000)
    >>> spectrum = transform(wave, sample_rate_hz=1000.0)
    >>> certain_lines(spectrum.strength, bin_hz=spectrum.bin_hz, least=20.0).hz.round(2)
    array([50.3])
    """
    at = peak_bins(strength, least)
    place, error = line_places(strength, at)
    return FoundLines(place * bin_hz, error * bin_hz, strength[at].astype(np.float64))


def peak_bins(strength: NDArray[np.floating], least: float) -> NDArray[np.intp]:
    """Bins of one spectrum, strength [-] of shape (bins,), of at least this strength that no neighbour exceeds; of two alike the
    later. Neither end is one. [-]
    """
    strong = 1 + np.flatnonzero(strength[1:-1] >= least)  # few: their neighbours alone are looked at
    top = strength[strong]
    return strong[(top >= strength[strong - 1]) & (top > strength[strong + 1])]


def line_places(strength: NDArray[np.floating], at: NDArray[np.intp]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Place of each peak of a spectrum under a Hann window, and its standard error, in bins. [-]

    With magnitudes L, M, R of the peak's bin and its neighbours a Hann line stands d = 2 (R - L) / (L + 2 M + R) from the peak,
    exactly. Noise of correlations -2/3 and 1/6 between neighbouring bins under that window gives, to first order, the
    variance (20 + 35 d^2) (4 - d^2)^2 / (864 s) at strength s.

    Parameters
    ----------
    strength : ndarray, shape (bins,)
        [-]
    at : ndarray of int, shape (lines,)
        Bins of the peaks, none of them at an end.
    """
    left, top, right = (np.sqrt(strength[at + shift].astype(np.float64)) for shift in (-1, 0, 1))
    away = 2 * (right - left) / (left + 2 * top + right)
    return at + away, np.sqrt((20 + 35 * away**2) * (4 - away**2) ** 2 / 864) / top


def line_strength(power: NDArray[np.floating], *, width: int) -> NDArray[np.floating]:
    """Power of each bin over the local mean noise: in noise alone it is exponentially distributed with mean 1.

    The local mean is the local median over ln 2, the median of that distribution.

    Parameters
    ----------
    power : ndarray, shape (..., bins)
        Squared magnitude, in any unit.
    width : int
        Bins in a block of the floor.

    Returns
    -------
    ndarray, shape (..., bins)
        Plain ratio; 10 log10 of it is decibels above the noise. [-]
    """
    strength: NDArray[np.floating] = power / block_floor(power, width=width)
    strength *= np.log(2.0)
    return strength


def overall_velocity(
    spectrum: Transform, *, unit: str, lowest_hz: float = 10.0, highest_hz: float = 1000.0
) -> NDArray[np.floating]:
    """RMS velocity in a band, from acceleration, velocity or displacement. [m/s]

    The band of ISO 20816-1 (formerly 10816-1) is 10 to 1000 Hz; of a machine at or below 600 rpm it begins at
    `SLOW_OVERALL_FROM_HZ` (pass it as `lowest_hz`), for which the record must be long and the sensor good. Sharp band edges, not
    the filter of ISO 2954. The Hann window keeps what leaks from strong lines from being blown up by the integration at low
    frequencies.

    Parameters
    ----------
    spectrum : Transform
    unit : str
        ``"m/s2"``, ``"m/s"`` or ``"m"``, the unit of the samples.
    lowest_hz, highest_hz : float
        [Hz]

    Returns
    -------
    ndarray, shape (...)
        [m/s]

    Raises
    ------
    OutOfRange
        Unknown unit, or the band does not lie inside the record's.

    Examples
    --------
    A vibration calibrator, 159.155 Hz and 10 m/s2 RMS, moves at 10 mm/s RMS (omega = 1000 rad/s):

    >>> wave = 10 * np.sqrt(2) * np.sin(1000 * np.arange(65536) / 8000)
    >>> float(overall_velocity(transform(wave, sample_rate_hz=8000.0), unit="m/s2"))
    0.01000
    """
    if unit not in TO_VELOCITY:
        raise OutOfRange("unit", repr(unit), f"one of {', '.join(TO_VELOCITY)}")
    return _band_rms(spectrum, lowest_hz, highest_hz, TO_VELOCITY[unit])


def band_rms(spectrum: Transform, *, lowest_hz: float, highest_hz: float) -> NDArray[np.floating]:
    """RMS of what lies in a band, both edges' bins included, Hann window. [unit of the samples]

    sqrt(2 / 0.375 * sum |H|^2) / N over the bins of the band, H the transform under the window, 0.375 the window's mean square
    (Parseval). A sine within the band is read right wherever it stands between bins, if it is two bins or more inside.

    Parameters
    ----------
    spectrum : Transform
    lowest_hz, highest_hz : float
        [Hz]

    Returns
    -------
    ndarray, shape (...)
        [unit of the samples]

    Raises
    ------
    OutOfRange
        The band does not lie inside the record's.

    Examples
    --------
    >>> wave = 3.0 * np.sin(2 * np.pi * 50.4 * np.arange(1000) / 1000)
    >>> float(band_rms(transform(wave, sample_rate_hz=1000.0), lowest_hz=40.0, highest_hz=60.0))
    2.121
    """
    return _band_rms(spectrum, lowest_hz, highest_hz, 0)


def band_levels(spectrum: Transform, edges_hz: Sequence[float]) -> NDArray[np.floating]:
    """RMS of neighbouring bands in one pass, each as `band_rms` gives it but for its upper edge's bin, which is the next band's.

    Parameters
    ----------
    spectrum : Transform
    edges_hz : sequence of float
        Rising, one more than there are bands. [Hz]

    Returns
    -------
    ndarray, shape (..., bands)
        [unit of the samples]

    Raises
    ------
    OutOfRange
        Edges that do not rise by a bin and more, or outside the record's band.
    """
    at = [round(edge / spectrum.bin_hz) for edge in edges_hz]
    if len(at) < 2 or np.any(np.diff(at) < 1) or not 0 < at[0] < at[-1] < spectrum.values.shape[-1]:
        raise OutOfRange(
            "edges_hz", ", ".join(f"{edge:g}" for edge in edges_hz), "rising by a bin and more inside the record's band"
        )
    squared = np.abs(spectrum.windowed[..., at[0] : at[-1]]) ** 2
    sums = np.add.reduceat(squared, [edge - at[0] for edge in at[:-1]], axis=-1)
    return np.asarray(np.sqrt(2 / _HANN_MEAN_SQUARE * sums) / spectrum.samples)


def _band_rms(spectrum: Transform, lowest_hz: float, highest_hz: float, power: int) -> NDArray[np.floating]:
    """RMS in a band after each bin was multiplied by omega to this power."""
    if not -np.inf < lowest_hz < highest_hz < np.inf:
        raise OutOfRange("band", f"{lowest_hz:g} to {highest_hz:g} Hz", "from low to high")
    first, last = (round(edge / spectrum.bin_hz) for edge in (lowest_hz, highest_hz))
    if not 0 < first < last < spectrum.values.shape[-1]:
        raise OutOfRange("band", f"{lowest_hz:g} to {highest_hz:g} Hz", "inside the record's own band")
    omega = 2 * np.pi * spectrum.bin_hz * np.arange(first, last + 1)
    moved = np.abs(spectrum.windowed[..., first : last + 1]) ** 2 * omega ** (2 * power)
    return np.asarray(np.sqrt(2 / _HANN_MEAN_SQUARE * moved.sum(axis=-1)) / spectrum.samples)


def _above_zero(medians: NDArray[np.floating]) -> NDArray[np.floating]:
    """Blocks that hold nothing (a dead band) take a sliver of the largest, so that nothing is divided by zero."""
    least = np.max(medians, axis=-1, keepdims=True) * 1e-9
    return np.asarray(np.maximum(medians, np.where(least > 0, least, 1.0).astype(medians.dtype)))
