"""Acceleration, velocity and displacement from one another: integration and differentiation of a waveform.

Each bin of the transform is multiplied by i omega or divided by it, as often as there are steps between the units. Integration
blows up what is slow, so what lies below `lowest_hz` is taken out by a third-order Butterworth high-pass (the order of ISO
2954:2012) run forward and backward: nothing moves in time, and what the ends of the record spoil dies out fast.
"""

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from gearcase.errors import OutOfRange
from gearcase.signal.recording import as_records, require_above_zero
from gearcase.signal.spectrum import SHORTEST_RECORD

__all__ = ["UNSURE_PERIODS", "convert_motion"]

UNSURE_PERIODS = 3.0  # at either end of the record, in periods of `lowest_hz`
_HIGH_PASS_ORDER = 3  # ISO 2954:2012, public summary
_STEPS = {"m": 0, "m/s": 1, "m/s2": 2}


def convert_motion(
    samples: NDArray[np.floating], *, sample_rate_hz: float, unit: str, wanted: str, lowest_hz: float
) -> NDArray[np.floating]:
    """The same motion in another unit.

    Y(f) = (i 2 pi f)^k X(f) / (1 + (lowest / f)^6), k = -2 (acceleration to displacement) to 2; 0 at f = 0. The record counts as
    one period of a periodic motion: where its end does not meet its beginning, the jump spoils the result for about
    `UNSURE_PERIODS` / `lowest_hz` at either end, integrated twice the most. Leave those samples out of what is judged, or use
    `spectrum.overall_velocity`, which needs no waveform.

    Parameters
    ----------
    samples : ndarray, shape (..., samples)
        Float32 stays float32. In `unit`. [unit of the samples]
    sample_rate_hz : float
        [Hz]
    unit, wanted : str
        ``"m/s2"``, ``"m/s"`` or ``"m"``, of the samples and of the result.
    lowest_hz : float
        Where the high-pass halves the amplitude; six periods of it must fit in the record. A tone at three times that loses 0.14 %.
        [Hz]

    Returns
    -------
    ndarray, shape (..., samples)
        In `wanted`. [unit of the samples]

    Raises
    ------
    OutOfRange
        Complex or non-finite samples, fewer than 64, an unknown unit, or a `lowest_hz` that the record is too short or too slow
        for.

    Examples
    --------
    Of 10 m/s2 at 159.155 Hz (omega = 1000 rad/s) the velocity is 10 mm/s and the displacement 10 um:

    >>> wave = 10 * np.cos(1000 * np.arange(8192) / 8000)
    >>> moved = convert_motion(wave, sample_rate_hz=8000.0, unit="m/s2", wanted="m", lowest_hz=10.0)
    >>> round(1e6 * float(np.abs(moved[2000:6000]).max()), 1)
    10.0
    """
    require_above_zero("sample_rate_hz", sample_rate_hz)
    for name, given in (("unit", unit), ("wanted", wanted)):
        if given not in _STEPS:
            raise OutOfRange(name, repr(given), f"one of {', '.join(_STEPS)}")
    records = as_records(samples, shortest=SHORTEST_RECORD)
    length = records.shape[-1]
    least = 2 * UNSURE_PERIODS * sample_rate_hz / length
    if not least <= lowest_hz < sample_rate_hz / 2:
        raise OutOfRange("lowest_hz", lowest_hz, f"from {least:g} Hz (six periods in the record) to half the sample rate")
    hz = scipy.fft.rfftfreq(length, 1 / sample_rate_hz)[1:]
    gain = np.zeros(hz.size + 1, np.complex128)
    gain[1:] = (2j * np.pi * hz) ** (_STEPS[wanted] - _STEPS[unit]) / (1 + (lowest_hz / hz) ** (2 * _HIGH_PASS_ORDER))
    mean = records.mean(axis=-1, keepdims=True, dtype=np.float64).astype(records.dtype)
    values = scipy.fft.rfft(records - mean, axis=-1)
    return np.asarray(scipy.fft.irfft(values * gain.astype(values.dtype), length, axis=-1, overwrite_x=True))
