"""Unknown tooth counts from what the nameplate says and a recording shows, with odds.

A train of external gears is searched stage by stage from its fast shaft: the speed and the first pinion set a mesh line, a wheel
count sets the next shaft, and so on; the last wheel must close the printed ratio within its rounding. Every line a train predicts
(shafts, meshes with harmonics, sidebands of both shafts) is held against the peaks of the spectrum as a process of points: a line
is there with a chance by its kind, a peak is paid for once however many lines meet it, a missing line costs its chance, and a
stranger costs nothing. The score is a log likelihood ratio plus the practice of makers; odds are its share among all
combinations in reach, tempered by what simulation showed (docs/inference.md).

"None of these" is a hypothesis of its own: the same search is run with wheels of w + 1/2 teeth, which no drive can have. As well as
those fit, chance fits.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gearcase.errors import OutOfRange
from gearcase.judge.deciding import Measurement, deciding_measurement
from gearcase.judge.peaks import SURE, Gain, LineSpectrum, Peaks, peaks_of
from gearcase.judge.practice import (
    PINION_TEETH,
    STAGE_RATIO,
    WHEEL_TEETH,
    falling_practice,
    pinion_practice,
    ratio_range,
    require_reach,
    stage_practice,
)
from gearcase.judge.trains import Train, line_names, mesh_lines, shaft_lines, sideband_lines

__all__ = ["DECIDED", "Candidate", "FoundLine", "Plate", "ToothInference", "infer_teeth"]

DECIDED = 0.9  # odds from which the first combination is said to be the answer
_LISTED = 10
_STARTS = 128  # speeds and first pinions followed
_WHEELS = 30_000  # beams: kept after a wheel
_PINIONS = 1_500  # and after the next pinion
_FINALISTS = 800
_TEMPER = 0.5  # of the score, so that stated odds came true on simulations (docs/inference.md)
_VISIBLE = (0.3, 0.6, 1.0)  # share of the usual lines that a record shows, unknown beforehand
_NONE_BEFORE = 0.05  # share of drives that are not what the nameplate and the stages make them (assumed)
_NONE_SCALE = 4.0  # spread of the lead that chance gives real counts over impossible ones
_LEAD_RANGE = 100.0  # over which the lead of a true train is spread


@dataclass(frozen=True)
class Plate:
    """What is known beforehand, seen from the input shaft.

    Attributes
    ----------
    speed_hz, speed_spread : float
        Stated speed of the input shaft [Hz], and how far it may be out, relative to it [-].
    ratio, ratio_spread : float
        Input over output speed, below 1 for a speed increaser, and half of its last printed digit. [-]
    stages : int
    known : tuple of (int or None, int or None)
        For each stage the teeth of the gear on its input and on its output side; None where unknown; empty when nothing is known.
    output_speed_hz, output_spread : float
        Measured speed of the output shaft [Hz], 0 when nobody measured it, and its relative error [-].
    """

    speed_hz: float
    speed_spread: float
    ratio: float
    ratio_spread: float
    stages: int
    known: tuple[tuple[int | None, int | None], ...] = ()
    output_speed_hz: float = 0.0
    output_spread: float = 0.0


@dataclass(frozen=True)
class FoundLine:
    """A predicted line that a peak stands for: where it should be and where it is [Hz], and its strength [-]."""

    name: str
    expected_hz: float
    found_hz: float
    strength: float


@dataclass(frozen=True)
class Candidate:
    """A combination, stage by stage from the input: teeth on the input and on the output side.

    `odds` is its share of all that is possible, "none of these" included [-]; `speed_hz` that of the input as its lines set it,
    `shafts_hz` those of all shafts [Hz]; `found` of `expected` lines are there.
    """

    teeth: tuple[tuple[int, int], ...]
    odds: float
    speed_hz: float
    shafts_hz: tuple[float, ...]
    found: tuple[FoundLine, ...]
    expected: int


@dataclass(frozen=True)
class ToothInference:
    """Combinations by odds, the likeliest first.

    `none` is the share of "none of these" [-]. `sure` counts the peaks that no noise makes, `explained` those of them that the
    first combination predicts. `measurement` is what would decide where nothing is decided.
    """

    candidates: tuple[Candidate, ...]
    none: float
    sure: int
    explained: int
    measurement: Measurement | None

    @property
    def decided(self) -> bool:
        """Whether the first combination may be called the answer."""
        return bool(self.candidates) and self.candidates[0].odds >= DECIDED


def infer_teeth(spectra: Sequence[LineSpectrum], plate: Plate) -> ToothInference:
    """Rank all combinations in reach.

    Parameters
    ----------
    spectra : sequence of LineSpectrum
        Of records at one steady speed; where they overlap the finest is used. A long slow one sees slow shafts, a short fast one
        the meshes of fast ones.
    plate : Plate

    Returns
    -------
    ToothInference

    Raises
    ------
    OutOfRange
        Ratio out of reach; known counts that cannot give it; stated input and output speed that contradict the ratio; a record
        in which nothing turns; lines that ask for another speed than the stated one.
    """
    _require_sense(plate)
    fast = _FastSide(plate)
    highest = 4.2 * PINION_TEETH[1] * fast.speed_hz * (1 + fast.speed_spread)
    peaks = peaks_of(spectra, lowest_hz=0.3 * fast.speed_hz / fast.ratio, highest_hz=highest)
    sure = peaks.strength >= SURE
    if np.count_nonzero(sure) < 2:
        raise OutOfRange(
            "recording",
            f"{np.count_nonzero(sure)} lines",
            "it shows no turning shaft: record with the drive running at a steady speed, the sensor on a bearing housing",
        )
    gain = peaks.gain()
    trains, scores = _search(gain, peaks, fast, offset=0.0)
    if scores.size == 0:
        raise OutOfRange("known", plate.known, f"counts with which {plate.stages} stages can make {plate.ratio:g}: correct one of the two")
    _, decoys = _search(gain, peaks, fast, offset=0.5)
    none = _none(float(scores[0] - decoys[0]) if decoys.size else _LEAD_RANGE)
    shares = np.exp(_TEMPER * (scores - scores[0]))
    odds = (1 - none) * shares / shares.sum()
    if none > 0.5:
        _require_speed(gain, peaks, fast)
    listed = tuple(
        _candidate(peaks, fast, trains.take(np.array([n])), float(odds[n])) for n in range(min(_LISTED, scores.size))
    )
    explained = {line.found_hz for line in listed[0].found if line.strength >= SURE}
    decided = listed[0].odds >= DECIDED
    measurement = None if decided else deciding_measurement(
        [one.teeth for one in listed], [one.odds for one in listed], [one.shafts_hz for one in listed], peaks.sections, none=none
    )
    return ToothInference(listed, none, int(np.count_nonzero(sure)), len(explained), measurement)


class _FastSide:
    """The plate seen from the fast shaft: an increaser is a reducer driven from behind."""

    def __init__(self, plate: Plate) -> None:
        self.turned = plate.ratio < 1
        known = plate.known or ((None, None),) * plate.stages
        self.stages = plate.stages
        self.known = tuple((b, a) for a, b in reversed(known)) if self.turned else known
        low, high = plate.ratio - plate.ratio_spread, plate.ratio + plate.ratio_spread
        self.ratios = (1 / high, 1 / low) if self.turned else (low, high)
        self.ratio = 1 / plate.ratio if self.turned else plate.ratio
        rounding = plate.ratio_spread / plate.ratio
        self.speed_hz, self.speed_spread = plate.speed_hz, plate.speed_spread
        self.slow_hz, self.slow_spread = plate.output_speed_hz, plate.output_spread
        if self.turned:
            if plate.output_speed_hz:
                self.speed_hz, self.speed_spread = plate.output_speed_hz, plate.output_spread
            else:
                self.speed_hz, self.speed_spread = plate.speed_hz / plate.ratio, plate.speed_spread + rounding
            self.slow_hz, self.slow_spread = plate.speed_hz, plate.speed_spread

    def outward(self, teeth: tuple[tuple[int, int], ...]) -> tuple[tuple[int, int], ...]:
        """A train of the search as seen from the input."""
        return tuple((w, z) for z, w in reversed(teeth)) if self.turned else teeth


def _require_sense(plate: Plate) -> None:
    for name, value in (("speed_hz", plate.speed_hz), ("ratio", plate.ratio), ("ratio - ratio_spread", plate.ratio - plate.ratio_spread)):
        if not value > 0:
            raise OutOfRange(name, value, "above 0")
    if not 0 < plate.speed_spread <= 0.1:
        raise OutOfRange("speed_spread", plate.speed_spread, "above 0, and at most 0.1: measure the speed to 10 % or better")
    fast_ratio = plate.ratio if plate.ratio >= 1 else 1 / plate.ratio
    require_reach(fast_ratio, plate.stages)
    if plate.known and len(plate.known) != plate.stages:
        raise OutOfRange("known", plate.known, f"a pair for each of the {plate.stages} stages, None where a count is unknown")
    if plate.output_speed_hz:
        made = plate.speed_hz / plate.output_speed_hz
        allowed = plate.speed_spread + plate.output_spread + plate.ratio_spread / plate.ratio
        if abs(made / plate.ratio - 1) > allowed:
            raise OutOfRange(
                "speeds",
                f"{plate.speed_hz:g} Hz in, {plate.output_speed_hz:g} Hz out",
                f"they make a ratio of {made:.4g}, but the nameplate says {plate.ratio:g}: one of the three is wrong; "
                "measure both speeds again at the same time",
            )
    if plate.known and all(a and b for a, b in plate.known):
        made = math.prod((b or 1) / (a or 1) for a, b in plate.known)
        if abs(made - plate.ratio) > plate.ratio_spread * 1.001:
            raise OutOfRange(
                "known", plate.known, f"they make a ratio of {made:.5g}, but the nameplate says {plate.ratio:g}: count again"
            )


def _require_speed(gain: Gain, peaks: Peaks, fast: _FastSide) -> None:
    """Name the speed the lines ask for, where it lies well outside the stated range and nothing inside it fits."""
    inside = _starts(gain, peaks, fast, fast.speed_spread, offset=0.0)
    outside = _starts(gain, peaks, fast, 0.15, offset=0.0)
    if outside.scores[0] > inside.scores[0] + 15:
        asked = float(outside.trains.speed[0])
        raise OutOfRange(
            "speed",
            f"{fast.speed_hz:.4g} Hz stated, {asked:.4g} Hz by the lines",
            f"within {100 * fast.speed_spread:.2g} % of each other: one of the two is wrong; measure the speed of the fast shaft while "
            "recording, or state the speed at which it was recorded",
        )


def _none(lead: float) -> float:
    """Share of "none of these", from the lead of the best real train over the best impossible one.

    Where no train of this reach is there, real and impossible counts do equally well but for chance (logistic); where one is,
    the lead may be anything up to a hundred and more (even).
    """
    z = math.exp(-min(abs(lead) / _NONE_SCALE, 700))
    by_chance = z / (_NONE_SCALE * (1 + z) ** 2)
    by_train = 1 / _LEAD_RANGE if lead > 0 else z / _LEAD_RANGE
    return _NONE_BEFORE * by_chance / (_NONE_BEFORE * by_chance + (1 - _NONE_BEFORE) * by_train)


@dataclass(frozen=True)
class _Beam:
    trains: Train
    scores: NDArray[np.float64]


def _search(gain: Gain, peaks: Peaks, fast: _FastSide, *, offset: float) -> tuple[Train, NDArray[np.float64]]:
    """Best trains and their scores, the best first, each combination once at its best speed."""
    beam = _starts(gain, peaks, fast, fast.speed_spread, offset=offset)
    for stage in range(fast.stages):
        beam = _with_wheels(gain, peaks, fast, beam, stage, offset)
        if stage + 1 < fast.stages:
            beam = _with_pinions(gain, peaks, fast, beam, stage + 1)
        if beam.scores.size == 0:
            return beam.trains, beam.scores
    trains = _first_of_each(beam, _FINALISTS)
    scores, speed = _exact(peaks, fast, trains)
    order = np.argsort(-scores, kind="stable")
    return Train(speed, trains.pinions, trains.wheels).take(order), scores[order]


def _starts(gain: Gain, peaks: Peaks, fast: _FastSide, spread: float, *, offset: float) -> _Beam:
    """Speeds of the fast shaft and first pinions, local maxima over the speed."""
    finest = min(bin_hz for _, _, bin_hz in peaks.sections)
    step = 0.5 * finest / (3 * PINION_TEETH[1] * fast.speed_hz)
    away = np.arange(-1.3 * spread, 1.3 * spread + step, step)
    speed = fast.speed_hz * (1 + away)
    pinions = _choices(fast.known[0][0], PINION_TEETH)
    shaft = _score(gain, peaks, shaft_lines(speed)) + _outside(away, spread)
    grid = shaft[:, None] + pinion_practice(pinions) + _score(gain, peaks, mesh_lines(speed[:, None], pinions), spacing=speed[:, None])
    tall = np.pad(grid, ((1, 1), (0, 0)), constant_values=-np.inf)
    peak = (grid >= tall[:-2]) & (grid > tall[2:])
    at, which = np.nonzero(peak)
    order = np.argsort(-grid[at, which], kind="stable")[:_STARTS]
    at, which = at[order], which[order]
    return _Beam(Train(speed[at], pinions[which][:, None], np.zeros((at.size, 0))), grid[at, which])


def _with_wheels(gain: Gain, peaks: Peaks, fast: _FastSide, beam: _Beam, stage: int, offset: float) -> _Beam:
    """Each train with every wheel that still lets the ratio be made."""
    trains = beam.trains
    counts = _choices(fast.known[stage][1], WHEEL_TEETH)
    wheels = counts + offset
    pinion = trains.pinions[:, -1]
    ratio = wheels / pinion[:, None]
    made = trains.ratio()[:, None] * ratio
    least, most = ratio_range(fast.stages - stage - 1)
    open_ = (ratio >= STAGE_RATIO[0]) & (ratio <= STAGE_RATIO[1] + offset)
    open_ &= (made * least <= fast.ratios[1] * (1 + 1e-9)) & (made * most >= fast.ratios[0] * (1 - 1e-9))
    row, column = np.nonzero(open_)
    slower = (trains.last_hz()[:, None] / ratio)[row, column]
    mesh_hz = (trains.last_hz() * pinion)[row]
    scores = beam.scores[row] + stage_practice(pinion[row], wheels[column])
    if stage:
        scores += falling_practice(trains.wheels[row, -1] / trains.pinions[row, -2], ratio[row, column])
    scores += _score(gain, peaks, shaft_lines(slower)) + _score(gain, peaks, sideband_lines(mesh_hz, slower), spacing=slower)
    if fast.slow_hz and stage + 1 == fast.stages:
        scores += _outside(slower / fast.slow_hz - 1, fast.slow_spread)
    kept = _best(scores, _WHEELS)
    row, column = row[kept], column[kept]
    grown = trains.take(row)
    return _Beam(Train(grown.speed, grown.pinions, np.column_stack([grown.wheels, wheels[column]])), scores[kept])


def _with_pinions(gain: Gain, peaks: Peaks, fast: _FastSide, beam: _Beam, stage: int) -> _Beam:
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
    return _Beam(grown.take(kept), paid_once[kept])


def _choices(known: int | None, reach: tuple[int, int]) -> NDArray[np.intp]:
    return np.arange(reach[0], reach[1] + 1) if known is None else np.array([known])


def _best(scores: NDArray[np.float64], count: int) -> NDArray[np.intp]:
    """Places of the best, best first."""
    if scores.size > count:
        places = np.argpartition(-scores, count - 1)[:count]
    else:
        places = np.arange(scores.size)
    return np.asarray(places[np.argsort(-scores[places], kind="stable")])


def _first_of_each(beam: _Beam, count: int) -> Train:
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
    """Sum over lines of log(1 + q g) - q: each line alone, collisions not seen. Sidebands closer than `spacing` hide under their mesh line."""
    total = np.zeros(())
    for hz, chance in lines:
        density, inside = gain(hz)
        if spacing is not None:
            inside = inside & (spacing >= 3 * peaks.bin_hz(hz))
        total = total + np.where(inside, np.log1p(chance * density) - chance, 0)
    return total


def _outside(away: NDArray[np.float64], spread: float) -> NDArray[np.float64]:
    """Log odds of a relative error: none within what was stated, then falling fast."""
    return np.asarray(-0.5 * (np.maximum(np.abs(away) - spread, 0) / (0.1 * spread)) ** 2)


def _exact(peaks: Peaks, fast: _FastSide, trains: Train) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Scores with every peak paid once, at the speed that suits each train's own lines; and that speed. [Hz]"""
    orders, chances, spacing = trains.line_orders()
    speed = trains.speed
    for widened in (0.25, 0.1, 0.0):
        hz = orders * speed[:, None]
        near = _nearest(peaks, hz)
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
    near = _nearest(peaks, hz)
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
    total = pinion_practice(trains.pinions).sum(axis=1)
    ratios = trains.wheels / trains.pinions[:, : trains.wheels.shape[1]]
    for stage in range(ratios.shape[1]):
        total += stage_practice(trains.pinions[:, stage], trains.wheels[:, stage])
        if stage:
            total += falling_practice(ratios[:, stage - 1], ratios[:, stage])
    return total


def _nearest(peaks: Peaks, hz: NDArray[np.float64]) -> NDArray[np.intp]:
    """The peaks on either side of each line, shape (..., 2)."""
    right = np.clip(np.searchsorted(peaks.hz, hz), 1, peaks.hz.size - 1)
    return np.stack([right - 1, right], axis=-1)


def _candidate(peaks: Peaks, fast: _FastSide, train: Train, odds: float) -> Candidate:
    """What one train predicts and what of it is there: a peak within three of its errors and half a bin."""
    teeth = fast.outward(tuple((int(z), int(w)) for z, w in zip(train.pinions[0], train.wheels[0], strict=True)))
    shafts = train.speed[0] * train.shaft_orders()[0]
    orders, _, spacing = train.line_orders()
    hz = orders[0] * train.speed[0]
    bins = peaks.bin_hz(hz)
    seen = (bins > 0) & (spacing[0] * train.speed[0] >= 3 * bins)
    near = _nearest(peaks, hz)
    side = np.argmin(np.abs(peaks.hz[near] - hz[:, None]), axis=1)
    peak = near[np.arange(hz.size), side]
    there = seen & (np.abs(peaks.hz[peak] - hz) < 3 * peaks.sigma_hz[peak] + 0.5 * bins)
    names = line_names(fast.stages, turned=fast.turned)
    found = tuple(
        FoundLine(names[n], float(hz[n]), float(peaks.hz[peak[n]]), float(peaks.strength[peak[n]])) for n in np.flatnonzero(there)
    )
    outward = shafts[::-1] if fast.turned else shafts
    return Candidate(teeth, odds, float(outward[0]), tuple(float(one) for one in outward), found, int(np.count_nonzero(seen)))
