"""Run state of a drive over time: which samples may be judged, and how much of the run was.

A sample is *stopped*, *starting* (running, speed not yet steady or steady for less than the start inhibit), *reversing* (the
same after it was seen to turn the other way), *settling* (speed steady, temperature still moving), *steady*, or *unknown*. A
change of direction begins a new run, whose speed and temperature must settle anew. Stopped is never normal and never judged.
Without a run contact the speed says whether it runs; without both nothing does, and everything is unknown. Without a speed the
drive counts as of one speed from the moment it runs; without a temperature it settles with its speed, and the result says so.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gearcase.errors import OutOfRange

__all__ = ["SLOPE_TIME", "START_INHIBIT", "STATES", "Duty", "RunState", "run_states"]

STATES = ("stopped", "starting", "reversing", "settling", "steady", "unknown")
START_INHIBIT = 60.0  # after steady speed [s]; common practice, no source
SLOPE_TIME = 600.0  # over which the rise of temperature is fitted [s]; common practice, no source


@dataclass(frozen=True)
class Duty:
    """How much of the time was run, and how much of the run can be judged.

    Attributes
    ----------
    run_minutes, judged_minutes : float
        Time running, and of it time steady. [min]
    settled_hours : float
        The judged time again. [h]
    starts : int
        Changes from stopped to running that were seen.
    judged_share : float
        Judged of run time; 0 when it never ran. [-]
    """

    run_minutes: float
    judged_minutes: float
    settled_hours: float
    starts: int
    judged_share: float


@dataclass(frozen=True)
class RunState:
    """Label per sample, number [-] of the run it belongs to (-1 outside), the duty, and whether temperature was looked at."""

    labels: NDArray[np.str_]
    run: NDArray[np.int64]
    duty: Duty
    temperature_seen: bool


def run_states(
    time_s: ArrayLike,
    *,
    running: ArrayLike | None,
    speed_hz: ArrayLike | None,
    temperature_k: ArrayLike | None,
    direction: ArrayLike | None = None,
    speed_band: float,
    least_speed_hz: float,
    slope_limit: float,
    longest_gap: float,
) -> RunState:
    """State of every sample.

    Parameters
    ----------
    time_s : array_like, shape (n,)
        Rising. [s]
    running : array_like of 0, 1 and NaN, shape (n,), or None
        Run contact; NaN where it is not known.
    speed_hz, temperature_k : array_like, shape (n,), or None
        NaN where not known. [Hz], [K]
    direction : array_like of 1, -1 and NaN, shape (n,), or None
        Which way it turns; NaN where it is not known. [-]
    speed_band : float
        Speed is steady while it stays within this share of the running median of the last `START_INHIBIT`, above 0. [-]
    least_speed_hz : float
        The drive runs at and above this speed, where there is no run contact. [Hz]
    slope_limit : float
        Temperature is settled while a straight line through the last `SLOPE_TIME` is no steeper than this. [K/s]
    longest_gap : float
        Samples further apart than this belong to no common run; a sample speaks for no longer than this. [s]

    Raises
    ------
    OutOfRange
        Lengths that differ, times that do not rise, or a band, speed, slope or gap not above 0.

    Notes
    -----
    Bands, inhibit and slopes are common practice, no source.

    Examples
    --------
    >>> time_s = np.arange(0.0, 300.0, 30.0)
    >>> running = [0, 0, 1, 1, 1, 1, 1, 0, 0, 0]
    >>> found = run_states(time_s, running=running, speed_hz=None, temperature_k=None,
    ...                    speed_band=0.05, least_speed_hz=1.0, slope_limit=1 / 1800, longest_gap=60.0)
    >>> [str(label) for label in found.labels[1:8]]
    ['stopped', 'starting', 'starting', 'steady', 'steady', 'steady', 'stopped']
    >>> found.duty.starts, found.duty.run_minutes, found.duty.judged_minutes
    (1, 2.5, 1.5)
    """
    time = np.asarray(time_s, dtype=float)
    if time.ndim != 1 or not np.all(np.isfinite(time)) or np.any(np.diff(time) <= 0):
        raise OutOfRange("time_s", time.shape, "one row of times that rise")
    for name, number in (
        ("speed_band", speed_band),
        ("least_speed_hz", least_speed_hz),
        ("slope_limit", slope_limit),
        ("longest_gap", longest_gap),
    ):
        if not number > 0:
            raise OutOfRange(name, number, "above 0")
    speed, warm = _column("speed_hz", speed_hz, time), _column("temperature_k", temperature_k, time)
    on = _running(_column("running", running, time), speed, least_speed_hz)
    turning = on == 1
    turned = _turned(_column("direction", direction, time), turning)
    new_run = turning & (~_follows(turning, time, longest_gap) | turned)
    run = np.where(turning, np.cumsum(new_run) - 1, -1)
    steady_speed = turning if np.all(np.isnan(speed)) else turning & _speed_steady(time, speed, run, speed_band)
    past_inhibit = _held(time, steady_speed, run) >= START_INHIBIT
    settled = _settled(time, warm, run, slope_limit)
    other_way = np.isin(run, run[turned])
    labels = np.select(
        [np.isnan(on), on == 0, ~past_inhibit & other_way, ~past_inhibit, ~settled],
        ["unknown", "stopped", "reversing", "starting", "settling"],
        default="steady",
    )
    duty = _duty(time, on, labels, longest_gap)
    return RunState(labels.astype(np.str_), run.astype(np.int64), duty, bool(np.any(np.isfinite(warm))))


def _column(name: str, values: ArrayLike | None, time: NDArray[np.float64]) -> NDArray[np.float64]:
    if values is None:
        return np.full(len(time), np.nan)
    column = np.asarray(values, dtype=float)
    if column.shape != time.shape:
        raise OutOfRange(name, column.shape, f"as many as there are times: {len(time)}")
    return column


def _running(contact: NDArray[np.float64], speed: NDArray[np.float64], least: float) -> NDArray[np.float64]:
    """1 running, 0 stopped, NaN not known: the contact where it speaks, else the speed."""
    by_speed = np.where(np.isnan(speed), np.nan, np.where(np.abs(speed) >= least, 1.0, 0.0))
    return np.where(np.isnan(contact), by_speed, np.where(contact != 0, 1.0, 0.0))


def _follows(turning: NDArray[np.bool_], time: NDArray[np.float64], longest_gap: float) -> NDArray[np.bool_]:
    """Whether the sample before was running too, not too long ago."""
    follows = np.zeros(len(time), dtype=bool)
    follows[1:] = turning[:-1] & (np.diff(time) <= longest_gap)
    return follows


def _turned(direction: NDArray[np.float64], turning: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Where it begins to turn the other way than it did when that was known last."""
    known = np.flatnonzero(np.isfinite(direction) & turning)
    turned = np.zeros(len(direction), dtype=bool)
    turned[known[1:][np.diff(direction[known]) != 0]] = True
    return turned


def _speed_steady(time: NDArray[np.float64], speed: NDArray[np.float64], run: NDArray[np.int64], band: float) -> NDArray[np.bool_]:
    """Whether the speed keeps within the band of its median over the last minute of the same run."""
    steady = np.zeros(len(time), dtype=bool)
    first = np.searchsorted(time, time - START_INHIBIT)
    for here in np.flatnonzero((run >= 0) & np.isfinite(speed)):
        recent = speed[first[here] : here + 1][run[first[here] : here + 1] == run[here]]
        ends = recent.min(), recent.max()  # the median lies between; within the band of both is within the band of it, and is quick
        if all(abs(speed[here] - end) <= band * end for end in ends):
            steady[here] = True
            continue
        middle = float(np.nanmedian(recent))
        steady[here] = abs(speed[here] - middle) <= band * abs(middle)
    return steady


def _held(time: NDArray[np.float64], steady: NDArray[np.bool_], run: NDArray[np.int64]) -> NDArray[np.float64]:
    """How long the speed has been steady without a break in this run [s]; -1 where it is not."""
    held = np.full(len(time), -1.0)
    since = 0.0
    for here in np.flatnonzero(steady):
        if here == 0 or not steady[here - 1] or run[here - 1] != run[here]:
            since = time[here]
        held[here] = time[here] - since
    return held


def _settled(time: NDArray[np.float64], warm: NDArray[np.float64], run: NDArray[np.int64], limit: float) -> NDArray[np.bool_]:
    """Whether the temperature's slope over the last `SLOPE_TIME` of this run is small; a run must be as old as that."""
    settled = np.ones(len(time), dtype=bool)
    if not np.any(np.isfinite(warm)):
        return settled
    first = np.searchsorted(time, time - SLOPE_TIME)
    for here in np.flatnonzero(run >= 0):
        window = slice(first[here], here + 1)
        kept = (run[window] == run[here]) & np.isfinite(warm[window])
        moments, values = time[window][kept], warm[window][kept]
        if len(moments) < 3 or moments[-1] - moments[0] < 0.8 * SLOPE_TIME:
            settled[here] = False
            continue
        off = moments - moments.mean()
        settled[here] = abs(float(off @ values) / float(off @ off)) <= limit
    return settled


def _duty(time: NDArray[np.float64], on: NDArray[np.float64], labels: NDArray[np.str_], longest_gap: float) -> Duty:
    """Each sample speaks for the time to the next, but never for longer than the longest gap."""
    spoken = np.minimum(np.diff(time, append=time[-1] if len(time) else np.nan), longest_gap)
    run = float(spoken[on == 1].sum()) / 60
    judged = float(spoken[labels == "steady"].sum()) / 60
    known = on[np.isfinite(on)]
    starts = int(np.sum((known[:-1] == 0) & (known[1:] == 1)))
    return Duty(run, judged, judged / 60, starts, judged / run if run else 0.0)
