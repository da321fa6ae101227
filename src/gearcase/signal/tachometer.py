"""What do tachometer pulses say: how many a turn, how fast, how steady, and what was wrong with them?

The places of pulses on a wheel are never quite even. What is uneven repeats once a turn, so the sequence of intervals, counted in
pulses, has lines at k/N cycles a pulse and nowhere else. Each candidate N is tested by the strengths, over the noise around them,
of the lines that are its own (k and N without a common divisor): three in four of them must stand out, so that a swing of the speed
itself (one line) is no pattern. In noise r of K lines exceed s with chance C(K, r) e^(-r s) at most, whatever the colour of the
noise. The pattern repeats after the least common multiple of those that pass. Evenly placed pulses have no such lines: then only a
stated speed can tell. A wheel of equal halves repeats twice a turn: what the pattern gives divides the count.

Public: `pulse_times` (from a sampled waveform), `read_pulses`.
"""

import math
from dataclasses import dataclass

import numpy as np
import scipy.ndimage
import scipy.special
from numpy.typing import NDArray

from gearcase.errors import OutOfRange
from gearcase.signal.recording import as_records
from gearcase.signal.spectrum import block_floor

__all__ = ["MOST_PULSES_A_TURN", "Tachometer", "pulse_times", "read_pulses"]

MOST_PULSES_A_TURN = 64  # wheels of 60 teeth are common; common practice, no source
PATTERN_CHANCE = 1e-3  # of a pattern by luck, as for every speed here; common practice, no source
FEWEST_PULSES = 32  # four turns of eight marks: fewer show no pattern; common practice, no source
STATED_WITHIN = 0.1  # a stated speed further off contradicts the pulses; common practice, no source
_COUNTED_WITHIN = 0.025  # a stated speed may be this far off, and tells no two counts apart within it; common practice, no source
_HYSTERESIS = 0.25  # of the swing, to either side of its middle: noise below that makes no pulse; common practice, no source
_NEIGHBOURS = (
    9  # pulses over which an interval counts as usual: few turns, and a majority of sound ones; common practice, no source
)
_SHORT, _FIT = (
    0.6,
    0.25,
)  # an interval under 0.6 of the usual one is a pulse too many; a gap is whole intervals within 0.25; assumed
_FLOOR_BINS = 64  # over which noise is taken for even; common practice, no source
_SHARE_OUT = 0.75  # of the lines of a pattern: one line is a swing of the speed; assumed


@dataclass(frozen=True)
class Tachometer:
    """Speed from pulses.

    Attributes
    ----------
    pulses_per_turn : int or None
        None where nothing tells it.
    says : str
        How it was found, or why not and what to do; and what was repaired.
    chance : float
        Of so clear a pattern with evenly spaced pulses; 1 where no pattern was needed or seen. [-]
    at_s, speed_hz : ndarray, shape (turns,)
        Middle of each turn [s] and speed over it [Hz]; empty where `pulses_per_turn` is None.
    mean_hz, drift_hz_per_s : float
        Whole turns over their time; slope of a straight line through the speeds. NaN where unknown. [Hz], [Hz a s]
    missing, doubled : int
        Pulses put in and taken out. [-]
    mark_s : ndarray, shape (turns + 1,)
        When one and the same mark passed, turn after turn; empty where `pulses_per_turn` is None. [s]
    """

    pulses_per_turn: int | None
    says: str
    chance: float
    at_s: NDArray[np.float64]
    speed_hz: NDArray[np.float64]
    mean_hz: float
    drift_hz_per_s: float
    missing: int
    doubled: int
    mark_s: NDArray[np.float64]


def pulse_times(samples: NDArray[np.floating], *, sample_rate_hz: float) -> NDArray[np.float64]:
    """Times at which a sampled tachometer signal rises through its middle. [s]

    Middle and swing come from the 2 % and 98 % levels; the signal must fall a quarter of the swing below the middle, and then rise
    as far above it, before a rise counts. Times are interpolated between samples.

    Parameters
    ----------
    samples : ndarray, shape (samples,)
        In any unit.
    sample_rate_hz : float
        [Hz]

    Raises
    ------
    OutOfRange
        Complex or non-finite samples, more than one record or none, or a signal that does not swing.

    Examples
    --------
    >>> wave = np.sin(2 * np.pi * 5 * np.arange(1000) / 1000 - 1)
    >>> [round(float(t), 4) for t in pulse_times(wave, sample_rate_hz=1000.0)[:2]]
    [0.0318, 0.2318]
    """
    values = as_records(samples).astype(np.float64)
    if values.ndim != 1:
        raise OutOfRange("samples", f"shape {values.shape}", "one tachometer at a time")
    low, high = np.quantile(values, [0.02, 0.98])
    if high <= low:
        low, high = values.min(), values.max()  # pulses shorter than 2 % of their period
    if high <= low:
        raise OutOfRange("tachometer signal", "constant", "one that swings: check its supply, its gap and its channel")
    middle, margin = (low + high) / 2, _HYSTERESIS * (high - low)
    state = np.where(values > middle + margin, 1, np.where(values < middle - margin, -1, 0))
    decided = np.flatnonzero(state)
    rises = np.flatnonzero((state[decided[1:]] == 1) & (state[decided[:-1]] == -1))
    times = []
    for first, last in zip(decided[rises], decided[rises + 1], strict=True):
        at = first + int(np.flatnonzero(values[first : last + 1] <= middle)[-1])
        times.append(at + (middle - values[at]) / (values[at + 1] - values[at]))
    return np.array(times) / sample_rate_hz


def read_pulses(times_s: NDArray[np.float64], *, about_hz: float | None = None, resolution_s: float = 0.0) -> Tachometer:
    """Repair pulses, find how many make a turn, and read the speed of every turn.

    Parameters
    ----------
    times_s : ndarray, shape (pulses,)
        Rising. [s]
    about_hz : float or None
        Speed stated, where one is: then the count follows from it, and the pattern must agree. [Hz]
    resolution_s : float
        How finely the times are told, a sample of the signal they came from; 0 for times from a counter. Rounding to it repeats
        by itself, so that a pattern within it is none. [s]

    Raises
    ------
    OutOfRange
        Times not finite or not rising, fewer than 32 pulses, or a stated speed not above 0.

    Examples
    --------
    Three pulses a turn at 10 Hz, one of them out of place by 2 % of a turn:

    >>> turns = np.repeat(np.arange(100), 3) + np.tile([0, 1 / 3, 2 / 3 + 0.02], 100)
    >>> jitter = 1e-4 * np.random.default_rng(1).standard_normal(300)
    >>> found = read_pulses((turns + jitter) / 10)
    >>> found.pulses_per_turn, round(found.mean_hz, 2)
    (3, 10.0)
    """
    if np.size(times_s) < FEWEST_PULSES:
        raise OutOfRange(
            "pulses", np.size(times_s), f"at least {FEWEST_PULSES}: at standstill there are none; record while it runs"
        )
    times = as_records(times_s, name="times_s").astype(np.float64)
    if times.ndim != 1:
        raise OutOfRange("times_s", f"shape {times.shape}", "the pulses of one tachometer")
    if np.any(np.diff(times) <= 0):
        raise OutOfRange("times_s", f"not rising at {int(np.argmax(np.diff(times) <= 0)) + 1}", "times that rise")
    if about_hz is not None and about_hz <= 0:
        raise OutOfRange("about_hz", about_hz, "above 0")
    times, doubled = _without_doubles(times)
    times, put_in = _without_gaps(times)
    period, chance = _regular_gap(put_in), 0.0
    if period is None:
        period, chance = _pattern(np.diff(times))
        if period is not None and _within(resolution_s, np.diff(times), period):
            period, chance = None, 1.0
    missing = 0 if period is not None and chance == 0.0 else put_in.size
    rate = (times.size - 1) / (times[-1] - times[0])
    count, says = _count(float(rate), period, chance, about_hz)
    repaired = [f"{missing} missing put in"] * (missing > 0) + [f"{doubled} double taken out"] * (doubled > 0)
    says += f"; pulses repaired: {', '.join(repaired)}" if repaired else ""
    if count is None:
        return Tachometer(None, says, chance, np.empty(0), np.empty(0), float("nan"), float("nan"), missing, doubled, np.empty(0))
    marks = times[::count]
    speed, at = 1 / np.diff(marks), (marks[1:] + marks[:-1]) / 2
    mean = (marks.size - 1) / (marks[-1] - marks[0])
    drift = float(np.polyfit(at - at.mean(), speed, 1)[0]) if speed.size > 2 else float("nan")
    return Tachometer(count, says, chance, at, speed, float(mean), drift, missing, doubled, marks)


def _usual(intervals: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(scipy.ndimage.median_filter(intervals, _NEIGHBOURS, mode="nearest"))


def _without_doubles(times: NDArray[np.float64]) -> tuple[NDArray[np.float64], int]:
    """Take out pulses that stand within a usual interval, where taking them out makes that interval whole."""
    intervals = np.diff(times)
    usual = _usual(intervals)
    out = np.zeros(times.size, bool)
    n = 0
    while n < intervals.size - 1:
        whole = abs((intervals[n] + intervals[n + 1]) / usual[n] - 1)
        if min(intervals[n], intervals[n + 1]) < _SHORT * usual[n] and whole < _FIT:
            out[n + 1] = True
            n += 1
        n += 1
    return times[~out], int(out.sum())


def _without_gaps(times: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.intp]]:
    """Put pulses into gaps of whole usual intervals; also the places of those put in."""
    intervals = np.diff(times)
    parts = intervals / _usual(intervals)
    whole = np.rint(parts)
    gap = (whole >= 2) & (np.abs(parts - whole) < _FIT)
    steps = np.where(gap, whole, 1).astype(np.intp)
    place = np.concatenate([[0], np.cumsum(steps)])
    filled = np.interp(np.arange(place[-1] + 1), place, times)
    return filled, np.setdiff1d(np.arange(place[-1] + 1), place)


def _regular_gap(put_in: NDArray[np.intp]) -> int | None:
    """Pulses a turn of a wheel with one tooth left out: the gap comes back after every turn."""
    if put_in.size < 5:
        return None
    turns = np.diff(put_in)
    count = int(np.median(turns))
    return count if count >= 2 and np.all(turns % count == 0) and np.mean(turns == count) > 0.9 else None


def _pattern(intervals: NDArray[np.float64]) -> tuple[int | None, float]:
    """After how many pulses the intervals repeat, and the chance of so clear a pattern by luck, all candidates counted."""
    counts = np.arange(2, min(MOST_PULSES_A_TURN, intervals.size // 8) + 1)
    logs = np.log(intervals)
    window = np.hanning(logs.size + 2)[1:-1]
    values = (logs - np.polyval(np.polyfit(np.arange(logs.size), logs, 2), np.arange(logs.size))) * window
    power = np.abs(np.fft.rfft(values)) ** 2
    floor = block_floor(power, width=_FLOOR_BINS) / np.log(2)
    place = np.arange(logs.size)
    period, chance = 1, 1.0
    for count in counts:
        at = np.array([k / count for k in range(1, count // 2 + 1) if math.gcd(k, count) == 1])
        lines = np.abs(np.exp(-2j * np.pi * at[:, None] * place) @ values) ** 2
        strength = lines / np.interp(at, np.arange(power.size) / logs.size, floor)
        half = at == 0.5  # one real component only: its square is a chi-square of one degree of freedom
        strength[half] = -np.log(np.maximum(scipy.special.erfc(np.sqrt(strength[half] / 2)), 1e-300))
        out = int(np.ceil(_SHARE_OUT * strength.size))
        by_luck = counts.size * scipy.special.comb(strength.size, out) * np.exp(-out * np.sort(strength)[-out])
        if by_luck <= PATTERN_CHANCE and math.lcm(period, int(count)) <= counts[-1]:
            period, chance = math.lcm(period, int(count)), min(chance, float(by_luck))
    return (period, chance) if period > 1 else (None, 1.0)


def _within(resolution_s: float, intervals: NDArray[np.float64], period: int) -> bool:
    """Whether what repeats is no more than the rounding of the times."""
    whole = intervals[: intervals.size // period * period].reshape(-1, period)
    places = (whole - whole.mean(axis=1, keepdims=True)).mean(axis=0)
    return bool(np.max(np.abs(places)) <= resolution_s)


def _count(rate_hz: float, period: int | None, chance: float, about_hz: float | None) -> tuple[int | None, str]:
    """Pulses a turn with how it is known, or None with why not and what to do."""
    seen = f"their spacing repeats every {period} pulses (chance {max(chance, 1e-16):.1g})" if period else "they are evenly spaced"
    if about_hz is None:
        if period is None:
            return None, f"{seen}, so that the count of pulses a turn cannot be told: state the speed, or count the marks"
        return period, f"{period} pulses a turn: {seen}"
    count = max(round(rate_hz / about_hz), 1)
    near = [n for n in (count - 1, count, count + 1) if n > 0 and abs(rate_hz / n / about_hz - 1) <= _COUNTED_WITHIN]
    if period is not None and count % period and not any(n % period == 0 for n in near):
        return None, (
            f"{seen}, and {rate_hz:.5g} pulses a second at the stated {60 * about_hz:.5g} rpm ask for {count} a turn, which is no "
            f"multiple of it: one of the two is wrong; read the speed again, or count the marks"
        )
    if abs(rate_hz / count / about_hz - 1) > STATED_WITHIN:
        return None, (
            f"{rate_hz:.5g} pulses a second fit no whole number a turn at the stated {60 * about_hz:.5g} rpm ({count} would be "
            f"{60 * rate_hz / count:.5g} rpm): correct the speed, or check which shaft the tachometer reads"
        )
    if len(near) > 1:
        near = [n for n in near if period is not None and n % period == 0]
        if len(near) != 1:
            return (
                None,
                f"the stated {60 * about_hz:.5g} rpm fits several counts near {count}: state it more closely, or count the marks",
            )
        count = near[0]
    return count, f"{count} pulses a turn by the stated {60 * about_hz:.5g} rpm; {seen}"
