"""The search for trains of gears that explain the peaks of a spectrum: stage by stage from the fast shaft, by beams.

`FastSide` is the nameplate as the search sees it, `search` ranks whole trains, `best_starts` the first shaft and pinion alone.
In the beams lines are read from a grid; every peak is then paid once, however many lines of a train meet it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gearcase.judge.peaks import Gain, Peaks
from gearcase.judge.practice import (
    PINION_TEETH,
    STAGE_RATIO,
    WHEEL_TEETH,
    falling_practice,
    pinion_practice,
    ratio_range,
    stage_practice,
)
from gearcase.judge.trains import Train, mesh_lines, shaft_lines, sideband_lines

__all__ = ["Beam", "FastSide", "best_starts", "search", "two_nearest"]

_STARTS = 128  # speeds and first pinions followed
_WHEELS = 10_000  # beams: kept after a wheel
_PINIONS = 1_500  # and after the next pinion
_FINALISTS = 800
_VISIBLE = (0.3, 0.6, 1.0)  # share of the usual lines that a record shows, unknown beforehand


@dataclass(frozen=True)
class FastSide:
    """What is known of a train, seen from its fast shaft.

    Attributes
    ----------
    speed_hz, speed_spread : float
        Of the fast shaft [Hz], and how far it may be out, relative [-].
    slow_hz, slow_spread : float
        Measured speed of the slow shaft [Hz], 0 for none, and its relative error [-].
    ratios : tuple of float
        Least and greatest ratio that would be printed as it is. [-]
    known : tuple of (pinion, wheel)
        Counts by stage, None where unknown.
    """

    speed_hz: float
    speed_spread: float
    slow_hz: float
    slow_spread: float
    ratios: tuple[float, float]
    known: tuple[tuple[int | None, int | None], ...]


@dataclass(frozen=True)
class Beam:
    """Trains and their scores, the best first, shape (trains,). [-]"""

    trains: Train
    scores: NDArray[np.float64]


def search(gain: Gain, peaks: Peaks, fast: FastSide, *, offset: float) -> Beam:
    """Best trains, each combination once at its best speed; `offset` is added to wheels, 1/2 for trains that cannot be. [-]"""
    beam = best_starts(gain, peaks, fast, fast.speed_spread)
    for stage in range(len(fast.known)):
        beam = _with_wheels(gain, peaks, fast, beam, stage, offset)
        if beam.scores.size == 0:
            return beam
        if stage + 1 < len(fast.known):
            beam = _with_pinions(gain, peaks, fast, beam, stage + 1)
    trains = _first_of_each(beam, _FINALISTS)
    scores, speed = _exact(peaks, fast, trains)
    order = np.argsort(-scores, kind="stable")
    return Beam(Train(speed, trains.pinions, trains.wheels).take(order), scores[order])


def best_starts(gain: Gain, peaks: Peaks, fast: FastSide, spread: float) -> Beam:
    """Speeds of the fast shaft within a relative `spread` [-] and first pinions: local maxima over the speed."""
    finest = min(bin_hz for _, _, bin_hz in peaks.sections)
    step = 0.5 * finest / (3 * PINION_TEETH[1] * fast.speed_hz)
    away = np.arange(-1.3 * spread, 1.3 * spread + step, step)
    speed = fast.speed_hz * (1 + away)
    pinions = _choices(fast.known[0][0], PINION_TEETH)
    shaft = _score(gain, peaks, shaft_lines(speed)) + _outside(away, spread)
    grid = (
        shaft[:, None] + pinion_practice(pinions) + _score(gain, peaks, mesh_lines(speed[:, None], pinions), spacing=speed[:, None])
    )
    tall = np.pad(grid, ((1, 1), (0, 0)), constant_values=-np.inf)
    peak = (grid >= tall[:-2]) & (grid > tall[2:])
    at, which = np.nonzero(peak)
    order = np.argsort(-grid[at, which], kind="stable")[:_STARTS]
    at, which = at[order], which[order]
    return Beam(Train(speed[at], pinions[which][:, None].astype(np.float64), np.zeros((at.size, 0))), grid[at, which])


def _with_wheels(gain: Gain, peaks: Peaks, fast: FastSide, beam: Beam, stage: int, offset: float) -> Beam:
    """Each train with every wheel that still lets the ratio be made."""
    trains = beam.trains
    counts = _choices(fast.known[stage][1], WHEEL_TEETH)
    wheels = counts + offset
    pinion = trains.pinions[:, -1]
    ratio = wheels / pinion[:, None]
    made = trains.ratio()[:, None] * ratio
    least, most = ratio_range(len(fast.known) - stage - 1)
    open_ = (ratio >= STAGE_RATIO[0]) & (ratio <= STAGE_RATIO[1] + offset)
    open_ &= (made * least <= fast.ratios[1] * (1 + 1e-9)) & (made * most >= fast.ratios[0] * (1 - 1e-9))
    row, column = np.nonzero(open_)
    slower = (trains.last_hz()[:, None] / ratio)[row, column]
    mesh_hz = (trains.last_hz() * pinion)[row]
    scores = beam.scores[row] + stage_practice(pinion[row], wheels[column])
    if stage:
        scores += falling_practice(trains.wheels[row, -1] / trains.pinions[row, -2], ratio[row, column])
    scores += _score(gain, peaks, shaft_lines(slower)) + _score(gain, peaks, sideband_lines(mesh_hz, slower), spacing=slower)
    if fast.slow_hz and stage + 1 == len(fast.known):
        scores += _outside(slower / fast.slow_hz - 1, fast.slow_spread)
    kept = _best(scores, _WHEELS)
    row, column = row[kept], column[kept]
    grown = trains.take(row)
    return Beam(Train(grown.speed, grown.pinions, np.column_stack([grown.wheels, wheels[column]])), scores[kept])


def _with_pinions(gain: Gain, peaks: Peaks, fast: FastSide, beam: Beam, stage: int) -> Beam:
    """Each train with every pinion on its slowest shaft."""
    trains = beam.trains
    pinions = _choices(fast.known[stage][0], PINION_TEETH)
    shaft = trains.last_hz()[:, None]
    scores = beam.scores[:, None] + pinion_practice(pinions) + _score(gain, peaks, mesh_lines(shaft, pinions), spacing=shaft)
    row, column = np.divmod(_best(scores.ravel(), 4 * _PINIONS), pinions.size)
    grown = trains.take(row)
    grown = Train(grown.speed, np.column_stack([grown.pinions, pinions[column]]), grown.wheels)
    paid_once = _likelihood(peaks, grown, widened=0.25) + _practice(grown)
    kept = _best(paid_once, _PINIONS)
    return Beam(grown.take(kept), paid_once[kept])


def _choices(known: int | None, reach: tuple[int, int]) -> NDArray[np.intp]:
    return np.arange(reach[0], reach[1] + 1) if known is None else np.array([known])


def _best(scores: NDArray[np.float64], count: int) -> NDArray[np.intp]:
    """Places of the best, best first."""
    places = np.argpartition(-scores, count - 1)[:count] if scores.size > count else np.arange(scores.size)
    return np.asarray(places[np.argsort(-scores[places], kind="stable")])


def _first_of_each(beam: Beam, count: int) -> Train:
    """The best trains, each combination of teeth once."""
    teeth = np.column_stack([beam.trains.pinions, beam.trains.wheels])
    _, first = np.unique(teeth, axis=0, return_index=True)
    return beam.trains.take(np.sort(first)[:count])


def _score(
    gain: Gain,
    peaks: Peaks,
    lines: tuple[tuple[NDArray[np.float64], float], ...],
    *,
    spacing: NDArray[np.float64] | None = None,
) -> NDArray[np.float64]:
    """Sum over lines of log(1 + q g) - q: each line alone, collisions not seen. Lines closer than three bins to the one they
    belong to hide under it.
    """
    total = np.zeros(())
    coarsest = max(bin_hz for _, _, bin_hz in peaks.sections)
    for hz, chance in lines:
        paid = gain(hz, chance)
        if spacing is not None and np.min(spacing, initial=np.inf) < 3 * coarsest:
            paid = np.where(spacing >= 3 * peaks.bin_hz(hz), paid, 0)
        total = total + paid
    return total


def _outside(away: NDArray[np.float64], spread: float) -> NDArray[np.float64]:
    """Log odds of a relative error: none within what was stated, then falling fast."""
    return np.asarray(-0.5 * (np.maximum(np.abs(away) - spread, 0) / (0.1 * spread)) ** 2)


def _exact(peaks: Peaks, fast: FastSide, trains: Train) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Scores with every peak paid once, at the speed that suits each train's own lines; and that speed. [Hz]"""
    orders, chances, _ = trains.line_orders()
    speed = trains.speed
    for widened in (0.25, 0.1, 0.0):
        hz = orders * speed[:, None]
        near = two_nearest(peaks, hz)
        away = peaks.hz[near] - hz[..., None]
        density = peaks.density(away, near, widened=widened)
        weight = (chances[:, None] * density) / (1 + chances[:, None] * density)
        precision = weight * (orders[..., None] / peaks.sigma_hz[near]) ** 2
        total = precision.sum(axis=(1, 2))
        moved = (precision * away / orders[..., None]).sum(axis=(1, 2)) / np.maximum(total, 1e-12)
        speed = speed + np.where(total > 0, moved, 0)
    moved_to = Train(speed, trains.pinions, trains.wheels)
    scores = _likelihood(peaks, moved_to, widened=0.0) + _practice(trains) + _outside(speed / fast.speed_hz - 1, fast.speed_spread)
    if fast.slow_hz:
        scores += _outside(speed / trains.ratio() / fast.slow_hz - 1, fast.slow_spread)
    return scores, speed


def _likelihood(peaks: Peaks, trains: Train, *, widened: float) -> NDArray[np.float64]:
    """Log likelihood ratio of points against background, every peak paid once; averaged over how much a record may show."""
    orders, chances, spacing = trains.line_orders()
    hz = orders * trains.speed[:, None]
    near = two_nearest(peaks, hz)
    bins = peaks.bin_hz(hz)
    seen = chances * (bins > 0) * (spacing * trains.speed[:, None] >= 3 * bins)
    density = seen[..., None] * peaks.density(peaks.hz[near] - hz[..., None], near, widened=widened)
    place = near + (np.arange(hz.shape[0]) * peaks.hz.size)[:, None, None]
    paid = np.bincount(place.ravel(), density.ravel(), hz.shape[0] * peaks.hz.size).reshape(hz.shape[0], -1)
    paid = paid[:, paid.any(axis=0)]
    each = np.stack([np.log1p(share * paid).sum(axis=1) - share * seen.sum(axis=1) for share in _VISIBLE])
    top = each.max(axis=0)
    return np.asarray(top + np.log(np.exp(each - top).mean(axis=0)))


def _practice(trains: Train) -> NDArray[np.float64]:
    """Log odds of a maker's choice, over all stages."""
    total: NDArray[np.float64] = pinion_practice(trains.pinions).sum(axis=1)
    ratios = trains.wheels / trains.pinions[:, : trains.wheels.shape[1]]
    for stage in range(ratios.shape[1]):
        total += stage_practice(trains.pinions[:, stage], trains.wheels[:, stage])
        if stage:
            total += falling_practice(ratios[:, stage - 1], ratios[:, stage])
    return total


def two_nearest(peaks: Peaks, hz: NDArray[np.float64]) -> NDArray[np.intp]:
    """The peaks on either side of each line [Hz], shape (..., 2)."""
    right = np.clip(np.searchsorted(peaks.hz, hz), 1, peaks.hz.size - 1)
    return np.stack([right - 1, right], axis=-1)
