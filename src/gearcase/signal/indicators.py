"""Single figures of a waveform: RMS, peak, crest factor, kurtosis."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gearcase.signal.recording import as_records

__all__ = ["Indicators", "indicators"]


@dataclass(frozen=True)
class Indicators:
    """Figures of records with their mean taken out, each of shape (...).

    `rms` and `peak` [unit of the samples]; `crest_factor` [-] is peak over RMS; `kurtosis` [-] is the plain fourth
    standardised moment, 3 for a Gaussian. A record that does not move has crest factor and kurtosis 0.
    """

    rms: NDArray[np.floating]
    peak: NDArray[np.floating]
    crest_factor: NDArray[np.floating]
    kurtosis: NDArray[np.floating]


def indicators(samples: NDArray[np.floating]) -> Indicators:
    """All figures in one pass, population moments (1/N).

    Parameters
    ----------
    samples : ndarray, shape (..., samples)
        [unit of the samples]

    Raises
    ------
    OutOfRange
        Complex or non-finite samples, or none.

    Examples
    --------
    Row SM3kurt of ``signal_checks.csv``:

    >>> float(indicators(np.array([0.0, 0.0, 0.0, 10.0])).kurtosis)
    2.333333
    """
    samples = as_records(samples)
    moved = samples - samples.mean(axis=-1, keepdims=True, dtype=np.float64).astype(samples.dtype)
    peak = np.maximum(moved.max(axis=-1), -moved.min(axis=-1))
    moving = peak > 0
    moved /= np.where(moving, peak, 1).astype(moved.dtype)[..., None]  # fourth powers of SI units run out of float32
    squared = moved * moved
    mean_square = np.where(moving, squared.mean(axis=-1), 1)
    mean_fourth = np.einsum("...i,...i->...", squared, squared) / samples.shape[-1]
    root = np.sqrt(mean_square)
    return Indicators(
        rms=np.asarray(peak * root),
        peak=np.asarray(peak),
        crest_factor=np.where(moving, 1 / root, 0.0),
        kurtosis=np.where(moving, mean_fourth / mean_square**2, 0.0),
    )
