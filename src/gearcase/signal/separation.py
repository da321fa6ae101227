"""Which part of a record is steady from block to block (gears, shafts, mains), and which is random (bearings, noise)?

The frequency-domain form of discrete/random separation: J. Antoni and R. B. Randall, "Unsupervised noise cancellation for vibration
signals: part II, a novel frequency-domain algorithm", Mech. Syst. Signal Process. 18 (2004) 103-117 (from memory). A block and the
one that begins `delay` later hold the same steady tones, but noise that has nothing in common; the gain that predicts one from the
other is near 1 at tones and near 0 elsewhere. Impacts of a slipping bearing lose their phase over the delay and go with the noise.

Three deviations: the gain is normalised by both blocks alike, so that it never exceeds 1 (the coherence's magnitude); it is 0
where noise alone would reach it one time in a hundred; and it is applied without its phase, so that nothing moves in time.
"""

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from gearcase.errors import OutOfRange
from gearcase.signal.averaging import random_error
from gearcase.signal.recording import as_records
from gearcase.signal.windows import window_named

__all__ = ["Separated", "separate"]

_SHORTEST_BLOCK = 64
_FEWEST_BLOCKS = 8  # pairs, half overlapping: with fewer noise alone reaches gains over a third
_LET_THROUGH = 0.01  # that the gain of a bin of noise alone is not put to 0


@dataclass(frozen=True)
class Separated:
    """A record in two parts whose sum it is, less its mean.

    Attributes
    ----------
    discrete, random : ndarray, shape (..., samples)
        [unit of the samples]
    gain : ndarray, shape (..., block // 2 + 1)
        At each frequency of a block, 0 to 1: magnitude of the coherence between blocks. [-]
    """

    discrete: NDArray[np.floating]
    random: NDArray[np.floating]
    gain: NDArray[np.floating]


def separate(samples: NDArray[np.floating], *, block: int, delay: int) -> Separated:
    r"""Split records into what repeats from block to block and what does not.

    .. math:: G(f) = \frac{|\sum_k X_k(f) \bar{X}_{k+d}(f)|}{\sqrt{\sum_k |X_k(f)|^2 \sum_k |X_{k+d}(f)|^2}}

    over half-overlapping Hann blocks; a filter of the block's length, Hann weighted and without phase, applies it.

    Parameters
    ----------
    samples : ndarray, shape (..., samples)
        Float32 stays float32. [unit of the samples]
    block : int
        Samples in a block: a sample rate over `block` at least four times finer than the lines are spaced. [-]
    delay : int
        Samples from a block to the one it is compared with: longer than what is random remembers of itself (several periods of a
        bearing that slips), and short enough that the speed has not moved a line by a sample rate over `block`. [-]

    Returns
    -------
    Separated
        Of noise one bin in a hundred goes to the discrete part, at a gain of about 2 / sqrt(pairs); a tone whose power in a bin is
        no more than that many times the noise's is lost to it. Half a block at either end is less sure: the filter reaches over the
        end. [unit of the samples]

    Raises
    ------
    OutOfRange
        Complex or non-finite samples, a block under 64 samples, a delay under one, or a record too short for 8 pairs of blocks.

    Examples
    --------
    >>> tone = np.sin(2 * np.pi * 0.0613 * np.arange(65536))
    >>> noise = np.random.default_rng(0).standard_normal(tone.size)
    >>> parts = separate(tone + noise, block=1024, delay=2048)
    >>> inside = slice(512, -512)
    >>> bool(np.std((parts.discrete - tone)[inside]) < 0.15), round(float(parts.random.std()), 1)
    (True, 1.0)
    """
    if block < _SHORTEST_BLOCK:
        raise OutOfRange("block", block, f"at least {_SHORTEST_BLOCK} samples")
    if delay < 1:
        raise OutOfRange("delay", delay, "at least one sample")
    step = block // 2
    records = as_records(samples, shortest=delay + block + (_FEWEST_BLOCKS - 1) * step)
    moved = records - records.mean(axis=-1, keepdims=True, dtype=np.float64).astype(records.dtype)
    window = window_named("hann").weights(block).astype(records.dtype)
    gain = _gain(moved, window, step, delay)
    response = scipy.fft.irfft(gain, block, axis=-1) * np.roll(window, block // 2)
    length = scipy.fft.next_fast_len(records.shape[-1] + block, real=True)
    padded = np.zeros((*response.shape[:-1], length), response.dtype)
    padded[..., : block - block // 2] = response[..., : block - block // 2]
    padded[..., -(block // 2) :] = response[..., -(block // 2) :]
    values = scipy.fft.rfft(moved, length, axis=-1) * scipy.fft.rfft(padded, axis=-1)
    discrete = scipy.fft.irfft(values, length, axis=-1, overwrite_x=True)[..., : records.shape[-1]]
    return Separated(discrete, moved - discrete, gain)


def _gain(moved: NDArray[np.floating], window: NDArray[np.floating], step: int, delay: int) -> NDArray[np.floating]:
    block = window.size
    shape = (*moved.shape[:-1], block // 2 + 1)
    one, other = np.zeros(shape), np.zeros(shape)
    both = np.zeros(shape, np.complex128)
    scale = np.abs(moved).max(axis=-1, keepdims=True)
    starts = range(0, moved.shape[-1] - block - delay + 1, step)
    for start in starts:
        pair = (moved[..., at : at + block] / np.where(scale > 0, scale, 1) * window for at in (start, start + delay))
        first, second = (scipy.fft.rfft(part, axis=-1) for part in pair)
        both += first * np.conj(second)
        one += np.abs(first) ** 2
        other += np.abs(second) ** 2
    product = np.sqrt(one * other)
    gain = np.minimum(np.abs(both) / np.where(product > 0, product, 1), 1)
    independent = random_error(window.astype(np.float64), step=step, segments=len(starts)) ** -2
    by_chance = 1 - _LET_THROUGH ** (1 / (independent - 1))  # n blocks of noise exceed g^2 with chance (1 - g^2)^(n - 1)
    return np.asarray(np.where(gain**2 > by_chance, gain, 0), moved.dtype)
