"""How strong was each order in each stretch of a record, whatever the speed did meanwhile?

A record is cut into stretches of equally many turns. Each is read at equal steps of angle by itself
(`synchronous.resample_to_angle`), so that what keeps to the shaft stands at one order in all of them, through a run-up from a
tenth of the speed too: each stretch keeps the band that its own speed allows. Only where the speed within one stretch changes by
more than a quarter do its top orders fade.
"""

import math
from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from gearcase.errors import OutOfRange
from gearcase.signal.recording import as_records, require_above_zero
from gearcase.signal.spectrum import SHORTEST_RECORD
from gearcase.signal.synchronous import Turning, resample_to_angle

__all__ = ["OrderFrames", "order_frames"]

_GOOD_TO = 2.56  # steps of a turn over the highest order that is looked at, usual in the trade
_KNOTS = 4  # a turn, at which the turning of a stretch is given
_BESIDE = SHORTEST_RECORD  # samples before and after a stretch, that its ends may be read


@dataclass(frozen=True)
class OrderFrames:
    """Stretches of a record, each over equally many turns.

    Attributes
    ----------
    values : ndarray, shape (frames, steps)
        At equal steps of angle. [unit of the samples]
    per_turn : int
        Steps of a turn. [-]
    middle_s : ndarray, shape (frames,)
        Half its turns are over. [s]
    speed_hz : ndarray, shape (frames,)
        Mean of each. [Hz]
    """

    values: NDArray[np.floating]
    per_turn: int
    middle_s: NDArray[np.float64]
    speed_hz: NDArray[np.float64]


def order_frames(
    samples: NDArray[np.floating], turning: Turning, *, sample_rate_hz: float, turns: int, highest_order: float, most: int
) -> OrderFrames:
    """Stretches evenly spaced over the turns of a record, each half over the next one at most.

    Parameters
    ----------
    samples : ndarray, shape (samples,)
        [unit of the samples]
    turning : Turning
        Of the shaft that orders are counted by.
    sample_rate_hz : float
        [Hz]
    turns : int
        Of each stretch; its reciprocal is the step of its orders. [-]
    highest_order : float
        That shall be seen. [-]
    most : int
        Stretches. [-]

    Raises
    ------
    OutOfRange
        Samples that are no record, fewer than two stretches of turns told, or a turning that runs backward.

    Examples
    --------
    Five cycles a turn while the speed doubles:

    >>> t = np.arange(8000) / 2000
    >>> turns = 10 * t + 10 * t**2 / 8
    >>> shaft = Turning(t[::50], turns[::50])
    >>> wave = np.cos(2 * np.pi * 5 * turns)
    >>> found = order_frames(wave, shaft, sample_rate_hz=2000.0, turns=8, highest_order=10.0, most=20)
    >>> (np.abs(np.fft.rfft(found.values)).argmax(axis=1) / 8).tolist()
    [5.0, 5.0, 5.0, 5.0, 5.0, 5.0, 5.0, 5.0, 5.0, 5.0, 5.0, 5.0, 5.0]
    >>> [round(float(hz), 1) for hz in found.speed_hz[[0, -1]]]
    [10.9, 19.3]
    """
    require_above_zero("sample_rate_hz", sample_rate_hz)
    record = as_records(samples, shortest=SHORTEST_RECORD)
    if record.ndim != 1:
        raise OutOfRange("samples", f"shape {record.shape}", "one record at a time: each has its own speed")
    if turns < 1:
        raise OutOfRange("turns", turns, "at least 1")
    inside = turning.turns[(turning.at_s >= 0) & (turning.at_s <= (record.size - 1) / sample_rate_hz)]
    told = float(inside[-1] - inside[0]) if inside.size else 0.0
    if told < 2 * turns:
        raise OutOfRange("turns", f"{told:.3g} told", f"at least {2 * turns}, of two stretches: record longer")
    count = min(most, 2 * int(told / turns) - 1)
    per_turn = scipy.fft.next_fast_len(math.ceil(_GOOD_TO * highest_order), real=True)
    from scipy.interpolate import CubicSpline  # 25 MiB, which a watch need not hold until a record is brought to angles

    at = CubicSpline(turning.turns, turning.at_s)
    knots = np.linspace(0, turns, _KNOTS * turns + 1)
    values, middles, speeds = [], [], []
    for first in np.linspace(inside[0], inside[-1] - turns, count):
        times = at(first + knots)
        begin = max(math.floor(times[0] * sample_rate_hz) - _BESIDE, 0)
        end = math.ceil(times[-1] * sample_rate_hz) + _BESIDE + 1
        part = record[begin:end]
        local = Turning(np.clip(times - begin / sample_rate_hz, 0, (part.size - 1) / sample_rate_hz), knots)
        read = resample_to_angle(part, local, sample_rate_hz=sample_rate_hz, per_turn=per_turn)
        values.append(read.values)
        middles.append(float(at(first + turns / 2)))
        speeds.append(turns / float(times[-1] - times[0]))
    return OrderFrames(np.stack(values), per_turn, np.array(middles), np.array(speeds))
