"""Which families of lines are there, and what is left without them? Cepstra and liftering.

Lines equally spaced in a spectrum (harmonics, sidebands) are a ripple of its logarithm; transforming the logarithm back gathers a
whole family in one peak, at the quefrency 1 / spacing [s] and its multiples (the rahmonics). What is smooth in the spectrum
(resonances, the transmission path) stands at low quefrencies. Editing the real cepstrum and going back with the record's own phases
takes a family, or the smooth part, out of the waveform: R. B. Randall and N. Sawalhi, "A new method for separating discrete
components from a signal", Sound and Vibration 45 (2011) (from memory).

To read: `power_cepstrum` of an averaged spectrum. To edit: `real_cepstrum`, then `short_pass`, `long_pass` or `without_family`,
then `edited`.
"""

from dataclasses import dataclass, replace

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from gearcase.errors import OutOfRange
from gearcase.signal.averaging import AveragedSpectrum
from gearcase.signal.recording import require_above_zero
from gearcase.signal.spectrum import Transform

__all__ = ["Cepstrum", "edited", "long_pass", "power_cepstrum", "real_cepstrum", "short_pass", "without_family"]


@dataclass(frozen=True)
class Cepstrum:
    """One half of a cepstrum, which is even.

    Attributes
    ----------
    values : ndarray, shape (..., quefrencies)
        In nepers (natural logarithm); the first is the mean of the log spectrum. [-]
    step_s : float
        Distance between quefrencies. [s]
    length : int
        Samples of the whole, both halves. [-]
    """

    values: NDArray[np.floating]
    step_s: float
    length: int

    @property
    def quefrency_s(self) -> NDArray[np.float64]:
        """Of each value. [s]"""
        return np.asarray(np.arange(self.values.shape[-1]) * self.step_s, np.float64)


def real_cepstrum(spectrum: Transform) -> Cepstrum:
    """Inverse transform of log |X|: c = F^-1 {log |X|}.

    An echo of strength a after a time q adds a / 2 at q, -a^2 / 4 at 2 q and so on. Magnitudes below the largest times the
    number's own rounding count as that; the bin at 0, emptied with the mean, counts as its neighbour.

    Parameters
    ----------
    spectrum : Transform
        Of records, shape (..., samples). [unit of the samples]

    Returns
    -------
    Cepstrum
        Quefrencies up to half the record's length. [-]

    Raises
    ------
    OutOfRange
        A record that does not move.

    Examples
    --------
    >>> from gearcase.signal.spectrum import transform
    >>> wave = np.random.default_rng(0).standard_normal(4096)
    >>> echoed = wave + 0.5 * np.roll(wave, 100)
    >>> one, other = (real_cepstrum(transform(x, sample_rate_hz=1000.0)) for x in (wave, echoed))
    >>> round(float(other.quefrency_s[100]), 3), round(float(other.values[100] - one.values[100]), 2)
    (0.1, 0.25)
    """
    return _half(_log_magnitude(spectrum), spectrum.samples, 1 / (spectrum.samples * spectrum.bin_hz))


def power_cepstrum(average: AveragedSpectrum) -> Cepstrum:
    """Inverse transform of the log of an averaged power spectrum: c = F^-1 {log S}, steadier to read than that of one transform.

    Twice the real cepstrum of what it averages: an echo of strength a adds a. Of an average with segments of even length; its
    scaling adds to the first value only. Segments must be longer than the quefrencies to be read.

    Parameters
    ----------
    average : AveragedSpectrum

    Returns
    -------
    Cepstrum
        Quefrencies up to half a segment. [-]

    Raises
    ------
    OutOfRange
        A record that does not move.

    Examples
    --------
    Harmonics of 25 Hz in noise stand at 40 ms:

    >>> from gearcase.signal.averaging import averaged_spectrum
    >>> t = np.arange(65536) / 4096
    >>> wave = sum(np.cos(2 * np.pi * 25 * k * t) for k in range(1, 60)) + np.random.default_rng(0).standard_normal(t.size)
    >>> found = power_cepstrum(averaged_spectrum(wave, sample_rate_hz=4096.0, segment=4096, window="hann"))
    >>> away = found.quefrency_s > 0.02
    >>> round(float(found.quefrency_s[away][np.argmax(found.values[away])]), 3)
    0.04
    """
    density = average.density
    largest = _largest(density)
    logs = np.log(np.maximum(density, largest * np.finfo(density.dtype).eps ** 2))
    logs[..., 0] = logs[..., 1]
    length = 2 * (density.shape[-1] - 1)
    return _half(logs, length, 1 / (length * average.bin_hz))


def short_pass(cepstrum: Cepstrum, *, until_s: float) -> Cepstrum:
    """What is smooth in the spectrum: quefrencies up to `until_s` [s]; the rest is put to 0. [-]

    Raises
    ------
    OutOfRange
        Not above 0.
    """
    require_above_zero("until_s", until_s)
    return replace(cepstrum, values=np.where(cepstrum.quefrency_s <= until_s, cepstrum.values, 0))


def long_pass(cepstrum: Cepstrum, *, from_s: float) -> Cepstrum:
    """What is fine in the spectrum: quefrencies from `from_s` on, and the first, so that the mean log level stays. [s]

    Raises
    ------
    OutOfRange
        Not above 0.
    """
    require_above_zero("from_s", from_s)
    keep = cepstrum.quefrency_s >= from_s
    keep[0] = True
    return replace(cepstrum, values=np.where(keep, cepstrum.values, 0))


def without_family(cepstrum: Cepstrum, *, spacing_hz: float, half_width_s: float) -> Cepstrum:
    """Without the lines spaced equally: every rahmonic of 1 / spacing, to either side as far as the half width, is put to 0.

    Parameters
    ----------
    cepstrum : Cepstrum
    spacing_hz : float
        Of the family's lines. [Hz]
    half_width_s : float
        A step of the cepstrum at least; a speed known to a part e, and n rahmonics that matter, ask for e n / spacing. [s]

    Returns
    -------
    Cepstrum
        [-]

    Raises
    ------
    OutOfRange
        A spacing or half width not above 0, a family too close for the record or too wide for the sample rate, or a half width that
        leaves nothing between rahmonics.
    """
    require_above_zero("spacing_hz", spacing_hz)
    require_above_zero("half_width_s", half_width_s)
    quefrency = cepstrum.quefrency_s
    if not 4 * cepstrum.step_s <= 1 / spacing_hz <= quefrency[-1]:
        least, most = 1 / quefrency[-1], 1 / (4 * cepstrum.step_s)
        raise OutOfRange("spacing_hz", spacing_hz, f"{least:g} to {most:g} Hz in this record")
    if half_width_s >= 0.25 / spacing_hz:
        raise OutOfRange("half_width_s", half_width_s, f"below a quarter of the rahmonics' distance, {0.25 / spacing_hz:g} s")
    nearest = np.rint(quefrency * spacing_hz)
    near = np.abs(quefrency - nearest / spacing_hz) <= max(half_width_s, cepstrum.step_s / 2)
    return replace(cepstrum, values=np.where(near & (nearest > 0), 0, cepstrum.values))


def edited(spectrum: Transform, cepstrum: Cepstrum) -> NDArray[np.floating]:
    """Waveform with the magnitudes of an edited real cepstrum and the phases of the record it came from.

    Parameters
    ----------
    spectrum : Transform
        The one `real_cepstrum` was taken of. [unit of the samples]
    cepstrum : Cepstrum
        As edited.

    Returns
    -------
    ndarray, shape (..., samples)
        Mean 0; as many samples as the transform stands for. [unit of the samples]

    Raises
    ------
    OutOfRange
        A cepstrum of another length, or a record that does not move.

    Examples
    --------
    Nothing edited, nothing changed:

    >>> from gearcase.signal.spectrum import transform
    >>> wave = np.random.default_rng(0).standard_normal(4096)
    >>> spectrum = transform(wave, sample_rate_hz=1000.0)
    >>> bool(np.allclose(edited(spectrum, real_cepstrum(spectrum)), wave - wave.mean()))
    True
    """
    if cepstrum.length != spectrum.samples or cepstrum.values.shape != spectrum.values.shape:
        raise OutOfRange("cepstrum", cepstrum.values.shape, f"{spectrum.values.shape}, the real cepstrum of this transform")
    gain = scipy.fft.dct(cepstrum.values, type=1, axis=-1)  # of one half of an even row: its transform
    gain -= _log_magnitude(spectrum)
    values = spectrum.values * np.exp(gain, out=gain)
    return np.asarray(scipy.fft.irfft(values, spectrum.samples, axis=-1, overwrite_x=True))


def _log_magnitude(spectrum: Transform) -> NDArray[np.floating]:
    magnitude = np.abs(spectrum.values)
    np.maximum(magnitude, _largest(magnitude) * np.finfo(magnitude.dtype).eps, out=magnitude)
    logs = np.log(magnitude, out=magnitude)
    logs[..., 0] = logs[..., 1]
    return np.asarray(logs)


def _largest(values: NDArray[np.floating]) -> NDArray[np.floating]:
    largest = values.max(axis=-1, keepdims=True)
    if not np.all(largest > 0):
        raise OutOfRange("samples", "constant", "records that move")
    return np.asarray(largest)


def _half(logs: NDArray[np.floating], length: int, step_s: float) -> Cepstrum:
    values = scipy.fft.dct(logs, type=1, axis=-1, overwrite_x=True)
    values /= length
    return Cepstrum(values, step_s, length)
