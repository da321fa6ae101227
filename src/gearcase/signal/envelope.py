"""The squared envelope: how the energy of a band comes and goes, of the whole band whitened or of a band as it is.

Impacts ring the housing at resonances nobody knows beforehand. Whitening brings every band to one level, so no band
needs choosing and choosing adds no chance finds; limiting lines keeps strong gear tones from drowning the rest. The
positive half of the whitened spectrum, transformed back at half the rate, is the analytic signal; its squared
magnitude is the envelope. Squared rather than plain: its spectrum adds up energies (Randall and Antoni 2011, Mech.
Syst. Signal Process. 25, from memory). Where a band is known, by a tap test or from `signal.kurtogram`, its bins alone are
transformed back, as they are.
"""

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from gearcase.errors import OutOfRange
from gearcase.signal.spectrum import SHORTEST_RECORD, Transform, block_floor, floor_bins, hann, line_strength

__all__ = ["LINE_LIMIT", "EnvelopeSpectrum", "band_envelope_spectrum", "envelope_spectrum"]

LINE_LIMIT = 4.0  # lines are limited to this many times the local floor, in amplitude


@dataclass(frozen=True)
class EnvelopeSpectrum:
    """Spectrum of the squared envelope, Hann window; all zero of a record or a band that does not move.

    Attributes
    ----------
    strength : ndarray, shape (..., bins)
        Power over local noise; exponential with mean 1 in noise alone. [-]
    depth : ndarray, shape (..., bins)
        Amplitude of each line relative to the mean of the squared envelope. [-]
    bin_hz : float
        [Hz]
    """

    strength: NDArray[np.floating]
    depth: NDArray[np.floating]
    bin_hz: float


def envelope_spectrum(spectrum: Transform) -> EnvelopeSpectrum:
    """Whiten, limit lines, take the squared envelope and its spectrum.

    Parameters
    ----------
    spectrum : Transform
        Of records, shape (..., samples). [unit of the samples]

    Returns
    -------
    EnvelopeSpectrum
        Up to a quarter of the sample rate; strengths and depths are ratios. [-]

    Notes
    -----
    The envelope is sampled at half the record's rate, so modulation above a quarter of the record's rate folds back;
    it is noise there, since two bands that far apart share no impact's ring.
    """
    half = spectrum.samples // 2
    values = spectrum.values[..., :half]
    magnitude = np.abs(values)
    floor = block_floor(magnitude, width=floor_bins(spectrum.bin_hz))
    gain = 1 / np.maximum(floor, magnitude * (1 / LINE_LIMIT))
    gain[..., 0] = 0
    backwards = scipy.fft.fft(values * gain, axis=-1, overwrite_x=True)  # in time, which no magnitude shows: faster than back
    return _spectrum_of(backwards, bins=half // 2 + 1, bin_hz=spectrum.bin_hz)


def band_envelope_spectrum(spectrum: Transform, *, lowest_hz: float, highest_hz: float) -> EnvelopeSpectrum:
    """Spectrum of the squared envelope of one band, not whitened.

    Only the bins of the band are transformed back, at twice the band's width, so that nothing folds; the band's edges are sharp. A
    band of width B shows modulation up to B, and the fault's rate should fit in it three times (common practice, no source).

    Parameters
    ----------
    spectrum : Transform
        Of records, shape (..., samples). [unit of the samples]
    lowest_hz, highest_hz : float
        The same band of all records; its bins at both edges are included. [Hz]

    Returns
    -------
    EnvelopeSpectrum
        Up to the width of the band. [-]

    Raises
    ------
    OutOfRange
        The band is not inside the record's, or holds fewer than 64 bins.

    Examples
    --------
    A 3 kHz tone that swells by a fifth 50 times a second: (1 + m cos)^2 holds 2 m cos over 1 + m^2 / 2:

    >>> from gearcase.signal.spectrum import transform
    >>> t = np.arange(10000) / 10000
    >>> wave = (1 + 0.2 * np.cos(2 * np.pi * 50 * t)) * np.sin(2 * np.pi * 3000 * t)
    >>> found = band_envelope_spectrum(transform(wave, sample_rate_hz=10000.0), lowest_hz=2500, highest_hz=3500)
    >>> int(np.argmax(found.depth)), float(found.depth[50])
    (50, 0.3922)
    """
    if not 0 < lowest_hz < highest_hz <= spectrum.bin_hz * (spectrum.values.shape[-1] - 1):
        raise OutOfRange("band", f"{lowest_hz:g} to {highest_hz:g} Hz", "from low to high inside the record's own band")
    first, last = round(lowest_hz / spectrum.bin_hz), round(highest_hz / spectrum.bin_hz)
    bins = last - first + 1
    if bins < SHORTEST_RECORD:
        raise OutOfRange("band", f"{bins} bins", f"at least {SHORTEST_RECORD}: a wider band or a longer record")
    analytic = scipy.fft.ifft(spectrum.values[..., first : last + 1], scipy.fft.next_fast_len(2 * bins), axis=-1)
    return _spectrum_of(analytic, bins=bins, bin_hz=spectrum.bin_hz)


def _spectrum_of(analytic: NDArray[np.complexfloating], *, bins: int, bin_hz: float) -> EnvelopeSpectrum:
    """Of the squared magnitude of analytic signals, the first so many bins."""
    squared = analytic.real**2 + analytic.imag**2
    mean = squared.mean(axis=-1, keepdims=True)
    squared /= np.where(mean > 0, mean, 1)  # before anything is squared again: large numbers run out of float32
    squared -= mean > 0
    length = squared.shape[-1]
    lines = np.abs(hann(scipy.fft.rfft(squared, axis=-1, overwrite_x=True))[..., :bins])
    strength = line_strength(lines**2, width=floor_bins(bin_hz))
    return EnvelopeSpectrum(strength, lines * (4 / length), bin_hz)
