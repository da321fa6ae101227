"""The whitened squared envelope: how the whole band's energy comes and goes.

Impacts ring the housing at resonances nobody knows beforehand. Whitening brings every band to one level, so no band
needs choosing and choosing adds no chance finds; limiting lines keeps strong gear tones from drowning the rest. The
positive half of the whitened spectrum, transformed back at half the rate, is the analytic signal; its squared
magnitude is the envelope. Squared rather than plain: its spectrum adds up energies (Randall and Antoni 2011, Mech.
Syst. Signal Process. 25, from memory).
"""

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from gearcase.signal.spectrum import Transform, block_floor, floor_bins, hann, line_strength

__all__ = ["LINE_LIMIT", "EnvelopeSpectrum", "envelope_spectrum"]

LINE_LIMIT = 4.0  # lines are limited to this many times the local floor, in amplitude


@dataclass(frozen=True)
class EnvelopeSpectrum:
    """Spectrum of the whitened squared envelope, Hann window.

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
    analytic = scipy.fft.ifft(values * gain, axis=-1, overwrite_x=True)
    squared = analytic.real**2 + analytic.imag**2
    mean = squared.mean(axis=-1, keepdims=True)
    squared -= mean
    lines = np.abs(hann(scipy.fft.rfft(squared, axis=-1, overwrite_x=True)))
    strength = line_strength(lines**2, width=floor_bins(spectrum.bin_hz))
    return EnvelopeSpectrum(strength, lines * (4 / half / mean), spectrum.bin_hz)
