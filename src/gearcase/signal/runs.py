"""A run-up or coast-down: how fast the shaft turned at every moment, and how high its line stood at every speed.

Theory of operation
-------------------
*Speed.* With marks of a tachometer `synchronous.turning_from_marks` says it. Without, the record is cut into frames half a second
long, and what stays at its frequency is taken out. In each frame every speed of a range is scored by how far the drive's own lines
(shafts, meshes) would stand out there; the path of speeds through all frames that adds up to most, and never jumps, is the run's
(Viterbi's algorithm). One line alone makes no such path: sets of orders moved apart at random must all do worse. Frames at either
end whose lines do hardly better than these, at rest for instance, are left out.

*Line.* The record is read at equal steps of the shaft's angle, so that its line stands at one order whatever the speed does, and
cut into blocks of whole turns, half overlapping. Each block's line has a height, a phase against the angle, and a speed. Power
over that of the orders beside it is exponential with mean 1 in noise.

A block of N turns smears what changes within it: a peak narrower than the speed moves in N turns is read lower and wider.

References
----------
J. P. Den Hartog, Mechanical Vibrations, chapter 2, from memory: the displacement that unbalance makes of one degree of freedom,
over the square of speed, is as 1 / sqrt((1 - r^2)^2 + (2 zeta r)^2); half of its highest power is reached at two places 2 zeta of
the natural frequency apart.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.fft
import scipy.ndimage
from numpy.typing import NDArray

from gearcase.errors import OutOfRange
from gearcase.signal.recording import as_records, require_above_zero
from gearcase.signal.spectrum import SHORTEST_RECORD, floor_bins, line_strength
from gearcase.signal.synchronous import Turning, resample_to_angle

__all__ = ["FEWEST_BLOCKS_OF_A_RUN", "FollowedLine", "Peak", "follow_lines", "half_power_peak", "turning_of_run"]

FEWEST_BLOCKS_OF_A_RUN = 12  # of a run, that a peak may be told in; common practice, no source
_FRAME_S = 0.5  # at 20 Hz ten turns, and a mesh of 20 teeth that loses 3 % a second smears over 6 Hz; common practice, no source
_FEWEST_FRAMES = 12
_SPEED_STEP = 0.002  # from one speed tried to the next, relative
_FASTEST_CHANGE = 0.08  # from one frame to the next, half a frame on, relative; common practice, no source
_MOST_OF_A_LINE = 4.0  # log of a line's strength: one strong line must not speak for all
_LOBE_BINS = 3  # to either side of a line that its own skirt fills, so that it is counted once
_MISSED_BINS = 2  # a line that moves within a frame is read so far off; common practice, no source
_CLEAR_OF_0_BINS = 6.0  # bins of half the frame's own: a line below lies in the skirt of 0 Hz
_FEWEST_LINES_SEEN = 3
_SHOWS, _SMOOTHED = 0.25, 9  # of what lines give over what chance does, and frames of which the median is asked; common practice
_MOVED_APART = 19  # sets of orders moved apart at random, all to do worse
_ONE_LINE = 1.05  # orders nearer than that are one line to a frame; common practice, no source
_APART = 0.2  # natural log by which each order is moved at most
_TURNS = 16  # of a block
_PER_TURN = 16  # steps: an order of 1 is far below the half of it
_FLOOR_FROM, _FLOOR_TO = 3, 8  # bins beside a line that tell its noise: a Hann window's skirt is two wide


@dataclass(frozen=True)
class FollowedLine:
    """A line followed over a run, block by block.

    Attributes
    ----------
    hz, begin_s, end_s : ndarray, shape (blocks,)
        Where it stood, in order of time [Hz], and when each block began and ended [s].
    values : ndarray of complex, shape (blocks, bins)
        Of each order looked at, the line's own at `own`: peak amplitude, phase against the angle. [unit of the samples]
    strength : ndarray, shape (blocks,)
        Power of the line over that of the orders beside it. [-]
    own : int
        Which bin is the line's. [-]
    """

    hz: NDArray[np.float64]
    begin_s: NDArray[np.float64]
    end_s: NDArray[np.float64]
    values: NDArray[np.complex128]
    strength: NDArray[np.float64]
    own: int


@dataclass(frozen=True)
class Peak:
    """Where a response is highest within a run.

    Attributes
    ----------
    at : int
        Which block. [-]
    hz : float
        [Hz]
    over_slower, over_faster : float
        Its height over the least at slower and at faster speeds; 1 where it is the slowest or the fastest. [-]
    damping : float or None
        Half the width at half power over its place; None where the response does not fall so far on both sides. [-]
    """

    at: int
    hz: float
    over_slower: float
    over_faster: float
    damping: float | None


def turning_of_run(
    samples: NDArray[np.floating], *, sample_rate_hz: float, orders: Sequence[float], lowest_hz: float, highest_hz: float
) -> Turning | str:
    """Where the reference shaft stood over a run, told by its drive's lines; or in words why they do not tell it.

    Parameters
    ----------
    samples : ndarray, shape (samples,)
        [unit of the samples]
    sample_rate_hz : float
        [Hz]
    orders : sequence of float
        Of the lines to be expected, the meshes' among them: they tell the speed much finer than a shaft's. [-]
    lowest_hz, highest_hz : float
        Range of the shaft's speed. [Hz]

    Raises
    ------
    OutOfRange
        Complex or non-finite samples, more than one record, too few, or not 0 < lowest < highest.

    Examples
    --------
    A pinion of 20 teeth that coasts from 25 to 15 Hz in 16 s:

    >>> t = np.arange(40960) / 2560
    >>> turns = 25 * t - 0.5 * (10 / 16) * t**2
    >>> wave = sum(np.cos(2 * np.pi * order * turns) for order in (1, 20, 40)) + np.random.default_rng(1).standard_normal(t.size)
    >>> found = turning_of_run(wave, sample_rate_hz=2560.0, orders=(1, 2, 20, 40), lowest_hz=5.0, highest_hz=26.0)
    >>> apart = found.turns - np.interp(found.at_s, t, turns)
    >>> bool(np.ptp(apart) < 0.005 * np.ptp(found.turns))
    True
    """
    require_above_zero("sample_rate_hz", sample_rate_hz)
    record = as_records(samples, shortest=SHORTEST_RECORD)
    if record.ndim != 1:
        raise OutOfRange("samples", f"shape {record.shape}", "one record at a time: each has its own speed")
    if not 0 < lowest_hz < highest_hz:
        raise OutOfRange("speed range", f"{lowest_hz:g} to {highest_hz:g} Hz", "0 < lowest < highest")
    length = scipy.fft.next_fast_len(round(_FRAME_S * sample_rate_hz))
    starts = np.arange(0, record.size - length + 1, length // 2)
    if starts.size < _FEWEST_FRAMES:
        return f"too short to follow: {_FEWEST_FRAMES * _FRAME_S / 2:.0f} s and more"
    frames = np.stack([record[start : start + length] for start in starts])
    power = np.abs(scipy.fft.rfft((frames - frames.mean(axis=-1, keepdims=True)) * np.hanning(length), 2 * length, axis=-1)) ** 2
    bin_hz = sample_rate_hz / (2 * length)
    strength = line_strength(power, width=2 * floor_bins(2 * bin_hz))
    strength = np.log1p(strength / np.maximum(np.median(strength, axis=0), 1.0))  # what stays in its place is none of a run's
    speeds = np.geomspace(lowest_hz, highest_hz, int(np.log(highest_hz / lowest_hz) / _SPEED_STEP) + 2)
    lowest, highest = _CLEAR_OF_0_BINS * bin_hz / highest_hz, (sample_rate_hz / 2 - 4 * bin_hz) / highest_hz
    kept = _apart([order for order in orders if lowest <= order <= highest])
    if kept.size < _FEWEST_LINES_SEEN:
        return "too few of its lines lie where frames of half a second show them: record faster"
    path, score = _path(strength, kept, speeds, bin_hz)
    rng = np.random.default_rng(kept.size)
    others = [
        _path(strength, kept * np.exp(rng.uniform(-_APART, _APART, kept.size)), speeds, bin_hz)[1] for _ in range(_MOVED_APART)
    ]
    if score.sum() <= max(other.sum() for other in others):
        return "no path of speeds along which the drive's lines stand out: record with a tachometer"
    least = np.median(others) + _SHOWS * (np.median(score) - np.median(others))
    inside = _longest(scipy.ndimage.median_filter(score, _SMOOTHED, mode="nearest") > least)
    if inside.stop - inside.start < _FEWEST_FRAMES:
        return "its lines can be followed for too short a time: record with a tachometer"
    middles, path = ((starts + length / 2) / sample_rate_hz)[inside], path[inside]
    from scipy.interpolate import make_smoothing_spline  # 25 MiB, which a watch need not hold until it follows a run

    smooth = make_smoothing_spline(middles, np.log(speeds[path]))
    fine = np.linspace(middles[0], middles[-1], 8 * middles.size)
    speed = np.exp(smooth(fine))
    turns = np.concatenate([[0.0], np.cumsum((speed[1:] + speed[:-1]) / 2 * np.diff(fine))])
    return Turning(fine, turns)


def follow_lines(samples: NDArray[np.floating], turning: Turning, *, sample_rate_hz: float, order: float) -> FollowedLine | None:
    """The line at an order [-] over a run; None where the run has too few of its turns.

    Parameters
    ----------
    samples : ndarray, shape (samples,)
        [unit of the samples]
    turning : Turning
        Of the reference shaft.
    sample_rate_hz : float
        [Hz]
    order : float
        Turns of what is followed for one of the reference shaft. [-]

    Raises
    ------
    OutOfRange
        As `resample_to_angle`.

    Examples
    --------
    A line of amplitude 3 from 10 to 30 Hz:

    >>> t = np.arange(40960) / 2560
    >>> turns = 10 * t + 0.5 * (20 / 16) * t**2
    >>> found = follow_lines(3 * np.cos(2 * np.pi * turns), Turning(t[::64], turns[::64]), sample_rate_hz=2560.0, order=1.0)
    >>> amplitude = np.abs(found.values[:, found.own])
    >>> bool(np.all(np.abs(amplitude / 3 - 1) < 0.01)), bool(found.hz[0] < 12 and found.hz[-1] > 28)
    (True, True)
    """
    shaft = turning.geared(order)
    if shaft.turns[-1] - shaft.turns[0] < (FEWEST_BLOCKS_OF_A_RUN + 1) * _TURNS / 2 + 2:
        return None
    angular = resample_to_angle(samples, shaft, sample_rate_hz=sample_rate_hz, per_turn=_PER_TURN)
    block, step = _TURNS * _PER_TURN, _TURNS * _PER_TURN // 2
    starts = np.arange(0, angular.values.size - block + 1, step)
    if starts.size < FEWEST_BLOCKS_OF_A_RUN:
        return None
    blocks = np.stack([angular.values[start : start + block] for start in starts]).astype(np.float64)
    window = np.hanning(block + 1)[:-1]
    blocks -= blocks.mean(axis=-1, keepdims=True)
    values = scipy.fft.rfft(blocks * window, axis=-1) * (2 / window.sum())
    begins = angular.first_turn + starts / _PER_TURN
    at = np.interp(np.stack([begins, begins + _TURNS]), shaft.turns, shaft.at_s)
    beside = [_TURNS + sign * away for away in range(_FLOOR_FROM, _FLOOR_TO) for sign in (-1, 1)]
    floor = np.median(np.abs(values[:, beside]) ** 2, axis=-1) / np.log(2)
    strength = np.abs(values[:, _TURNS]) ** 2 / np.maximum(floor, np.finfo(np.float64).tiny)
    return FollowedLine(_TURNS / (at[1] - at[0]), at[0], at[1], values, strength, _TURNS)


def half_power_peak(hz: NDArray[np.float64], response: NDArray[np.float64], *, stands: NDArray[np.bool_]) -> Peak:
    """The highest of a response over frequency, and its damping ratio by the width at half power. [-]

    Parameters
    ----------
    hz, response : ndarray, shape (blocks,)
        In any order of frequency [Hz]; amplitude, displacement over the square of speed. [-]
    stands : ndarray, shape (blocks,)
        Which may be the highest: where the line stands out of noise. One at least.

    Examples
    --------
    One degree of freedom at 20 Hz with a damping ratio of 0.05 (Den Hartog):

    >>> r = np.linspace(0.6, 1.4, 400)
    >>> found = half_power_peak(20 * r, 1 / np.sqrt((1 - r**2) ** 2 + (2 * 0.05 * r) ** 2), stands=r > 0)
    >>> round(found.hz, 1), round(found.damping, 3)
    (19.9, 0.05)
    """
    order = np.argsort(hz)
    sorted_hz, sorted_response = hz[order], response[order]
    top = int(np.argmax(np.where(stands[order], sorted_response, 0.0)))
    height = float(sorted_response[top])
    below, above = sorted_response[: top + 1], sorted_response[top:]
    half = height / np.sqrt(2)
    sides = [np.flatnonzero(below < half), np.flatnonzero(above < half)]
    damping = None
    if sides[0].size and sides[1].size:
        low, high = int(sides[0][-1]), top + int(sides[1][0])
        first = np.interp(half, sorted_response[low : low + 2], sorted_hz[low : low + 2])
        last = np.interp(half, sorted_response[high - 1 : high + 1][::-1], sorted_hz[high - 1 : high + 1][::-1])
        damping = float((last - first) / (2 * sorted_hz[top]))
    return Peak(int(order[top]), float(sorted_hz[top]), height / float(below.min()), height / float(above.min()), damping)


def _apart(orders: Sequence[float]) -> NDArray[np.float64]:
    """Those of which none lies within the reach of a decoy of a lower one: shafts that turn alike are one line."""
    kept: list[float] = []
    for order in sorted(orders):
        if not kept or order > kept[-1] * _ONE_LINE:
            kept.append(order)
    return np.array(kept)


def _path(
    strength: NDArray[np.floating], orders: NDArray[np.float64], speeds: NDArray[np.float64], bin_hz: float
) -> tuple[NDArray[np.intp], NDArray[np.float64]]:
    """The best speed of each frame, never jumping, and what its lines add up to, shape (frames,) each."""
    places = np.rint(orders[:, None] * speeds / bin_hz).astype(np.intp)
    inside = np.minimum(places, strength.shape[-1] - 2)
    peaks = np.where(strength >= scipy.ndimage.maximum_filter1d(strength, 2 * _LOBE_BINS + 1), strength, 0)
    near = scipy.ndimage.maximum_filter1d(peaks, 2 * _MISSED_BINS + 1)
    scores = (np.minimum(near[:, inside], _MOST_OF_A_LINE) * (places >= _CLEAR_OF_0_BINS)).sum(axis=1)
    reach = max(int(_FASTEST_CHANGE / _SPEED_STEP), 1)
    total, back = scores[0], []
    for row in scores[1:]:
        around = np.lib.stride_tricks.sliding_window_view(np.pad(total, reach, constant_values=-np.inf), 2 * reach + 1)
        best = np.argmax(around, axis=-1)
        back.append(best - reach + np.arange(speeds.size))
        total = row + around[np.arange(speeds.size), best]
    at = int(np.argmax(total))
    path = [at]
    for rows in reversed(back):
        path.append(int(rows[path[-1]]))
    steps = np.array(path[::-1], np.intp)
    return steps, np.asarray(scores[np.arange(steps.size), steps], np.float64)


def _longest(chosen: NDArray[np.bool_]) -> slice:
    """The longest stretch of these."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], chosen, [False]])))
    if not edges.size:
        return slice(0, 0)
    first, last = edges[::2], edges[1::2]
    at = int(np.argmax(last - first))
    return slice(int(first[at]), int(last[at]))
