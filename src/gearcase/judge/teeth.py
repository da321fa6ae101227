"""Unknown tooth counts from what the nameplate says and a recording shows, with odds.

A train of external gears is searched stage by stage from its fast shaft: the speed and the first pinion set a mesh line, a wheel
count sets the next shaft, and so on; the last wheel must close the printed ratio within its rounding. Every line a train predicts
(shafts, meshes with harmonics, sidebands of both shafts) is held against the peaks of the spectrum as a process of points: a line
is there with a chance by its kind, a peak is paid for once however many lines meet it, a missing line costs its chance, and a
stranger costs nothing. The score is a log likelihood ratio plus the practice of makers; odds are its share among all
combinations in reach, tempered by what simulation showed (docs/inference.md).

"None of these" is a hypothesis of its own. The same search is run with wheels of w + 1/2 teeth, which no drive can have: as well as
those fit, chance fits. It is run with the ratio left free and with a stage more and less: as much better as those fit, a premise is
wrong.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from gearcase.errors import OutOfRange
from gearcase.judge.deciding import Measurement, check_premises, deciding_measurement
from gearcase.judge.peaks import SURE, Gain, LineSpectrum, Peaks, peaks_of
from gearcase.judge.practice import MOST_STAGES, PINION_TEETH, WHEEL_TEETH, ratio_range, require_reach
from gearcase.judge.search import Beam, FastSide, best_starts, search, two_nearest
from gearcase.judge.trains import Train, line_names
from gearcase.signal.speed import MAINS_HZ

__all__ = ["DECIDED", "Candidate", "FoundLine", "Plate", "ToothInference", "infer_teeth"]

DECIDED = 0.9  # odds from which the first combination is said to be the answer
_LISTED = 10  # as many as a person reads; common practice, no source
_TEMPER = 0.8  # of the score, so that stated odds came true on simulations (docs/inference.md)
_NONE_BEFORE = 0.05  # share of records that do not show the drive meant (assumed)
_OTHERWISE = 0.02  # odds that the ratio is wrongly noted, and that a stage was missed or counted too often (assumed)
_STAGE_CHOICES = 8.5  # log of the pinions and wheels of one stage more (assumed: 49 x 166 in reach, the rare ones counted less)
_NONE_SCALE = 4.0  # spread of the lead that chance gives real counts over impossible ones (tried on simulations)
_LEAD_RANGE = 100.0  # over which the lead of a true train is spread (assumed)
_WIDE = 0.15  # relative range in which the lines' own speed is then looked for: a wrong plate or slip; common practice, no source
_SPEED_LEAD = 15.0  # by which lines must ask for another speed to call the stated one wrong: e^15 to one (assumed)

_MAINS = " and ".join(f"{hz:g}" for hz in MAINS_HZ)

Count = TypeVar("Count", int, int | None)


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
    fast = _fast_side(plate)
    peaks = peaks_of(
        spectra,
        lowest_hz=0.3 * fast.speed_hz / fast.ratios[1],
        highest_hz=4.2 * PINION_TEETH[1] * fast.speed_hz * (1 + fast.speed_spread),
    )
    sure = peaks.strength >= SURE
    seen = int(np.count_nonzero(sure & ~_of_mains(peaks)))
    if seen < 2:
        raise OutOfRange(
            "recording",
            f"with {seen} line{'s' * (seen != 1)} above the noise, multiples of {_MAINS} Hz apart",
            "it shows no turning shaft: record with the drive running at a steady speed, the sensor on a bearing housing",
        )
    gain = peaks.gain()
    best = search(gain, peaks, fast, offset=0.0)
    if best.scores.size == 0:
        raise OutOfRange(
            "ratio",
            f"{plate.ratio:g} with known counts {plate.known}" if plate.known else f"{plate.ratio:g}",
            f"what {plate.stages} stages of pinions with {PINION_TEETH[0]} to {PINION_TEETH[1]} and wheels with {WHEEL_TEETH[0]} "
            f"to {WHEEL_TEETH[1]} teeth make within its rounding of {plate.ratio_spread:g}: check ratio, stages and counts",
        )
    chance = _by_chance(float(best.scores[0] - _first(search(gain, peaks, fast, offset=0.5))))
    others = _other_premises(gain, peaks, fast, best)
    weights = np.exp([log_odds for _, log_odds in others])
    none = 1 - (1 - chance) / (1 + float(weights.sum()))
    if none > 0.5:
        _require_speed(gain, peaks, fast)
    shares = np.exp(_TEMPER * (best.scores - best.scores[0]))
    odds = (1 - none) * shares / shares.sum()
    listed = tuple(
        _candidate(peaks, plate, best.trains.take(np.array([n])), float(odds[n])) for n in range(min(_LISTED, best.scores.size))
    )
    explained = {line.found_hz for line in listed[0].found if line.strength >= SURE}
    if listed[0].odds >= DECIDED:
        measurement = None
    elif none > 0.5:
        measurement = check_premises(others[int(np.argmax(weights))][0] if weights.sum() > 1 else "")
    else:
        measurement = deciding_measurement(
            [one.teeth for one in listed], [one.odds for one in listed], [one.shafts_hz for one in listed], peaks.sections
        )
    return ToothInference(listed, none, int(np.count_nonzero(sure)), len(explained), measurement)


def _of_mains(peaks: Peaks) -> NDArray[np.bool_]:
    """Peaks within a bin of a multiple of the mains: hum shows them at standstill too."""
    away = np.min([np.abs(peaks.hz - hz * np.rint(peaks.hz / hz)) for hz in MAINS_HZ], axis=0)
    return np.asarray(away <= peaks.bin_hz(peaks.hz))


def _first(beam: Beam) -> float:
    return float(beam.scores[0]) if beam.scores.size else 0.0


def _other_premises(gain: Gain, peaks: Peaks, fast: FastSide, best: Beam) -> list[tuple[str, float]]:
    """Log odds against the nameplate of another ratio and of a stage more or less, each with what it then would be, in words.

    Each is the sum over its combinations; one that allows more of them must share its prior among more.
    """
    stages = len(fast.known)
    least, most = ratio_range(stages)
    width = math.log(fast.ratios[1] / fast.ratios[0])
    premises = [(replace(fast, ratios=(least, most)), math.log(math.log(most) / width))]
    if fast.known == ((None, None),) * stages:
        premises += [
            (replace(fast, known=((None, None),) * other), max(other - stages, 0) * _STAGE_CHOICES)
            for other in (stages - 1, stages + 1)
            if 1 <= other <= MOST_STAGES and fast.ratios[0] <= ratio_range(other)[1]
        ]
    weighed = []
    for premise, freedom in premises:
        found = search(gain, peaks, premise, offset=0.0)
        if found.scores.size:
            log_odds = _mass(found) - _mass(best) - freedom + math.log(_OTHERWISE)
            ratio = float(found.trains.ratio()[0])
            other = len(premise.known)
            words = (
                f"{other} stage{'s' * (other > 1)}" if other != stages else f"a ratio of {ratio:.4g} between fast and slow shaft"
            )
            weighed.append((words, min(log_odds, 50.0)))
    return weighed


def _mass(beam: Beam) -> float:
    """Log of the sum of tempered likelihoods."""
    top = float(beam.scores[0])
    return _TEMPER * top + math.log(float(np.exp(_TEMPER * (beam.scores - top)).sum()))


def _fast_side(plate: Plate) -> FastSide:
    """An increaser is a reducer driven from behind."""
    known = plate.known or ((None, None),) * plate.stages
    low, high = plate.ratio - plate.ratio_spread, plate.ratio + plate.ratio_spread
    stated, measured = (plate.speed_hz, plate.speed_spread), (plate.output_speed_hz, plate.output_spread)
    if plate.ratio >= 1:
        return FastSide(*stated, *measured, (low, high), known)
    fast = (
        measured if plate.output_speed_hz else (plate.speed_hz / plate.ratio, plate.speed_spread + plate.ratio_spread / plate.ratio)
    )
    return FastSide(*fast, *stated, (1 / high, 1 / low), _turned(known))


def _turned(stages: Sequence[tuple[Count, Count]]) -> tuple[tuple[Count, Count], ...]:
    """A train seen from its other end."""
    return tuple((b, a) for a, b in reversed(stages))


def _require_sense(plate: Plate) -> None:
    for name, value in (
        ("speed_hz", plate.speed_hz),
        ("ratio", plate.ratio),
        ("ratio - ratio_spread", plate.ratio - plate.ratio_spread),
    ):
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


def _require_speed(gain: Gain, peaks: Peaks, fast: FastSide) -> None:
    """Name the speed the lines ask for, where it lies well outside the stated range and nothing inside it fits."""
    inside = best_starts(gain, peaks, fast, fast.speed_spread)
    outside = best_starts(gain, peaks, fast, _WIDE)
    if outside.scores[0] > inside.scores[0] + _SPEED_LEAD:
        asked = float(outside.trains.speed[0])
        raise OutOfRange(
            "speed",
            f"{fast.speed_hz:.4g} Hz stated, {asked:.4g} Hz by the lines",
            f"within {100 * fast.speed_spread:.2g} % of each other: one of the two is wrong; measure the speed of the fast shaft "
            "while recording, or state the speed at which it was recorded",
        )


def _by_chance(lead: float) -> float:
    """Share of "this fits by chance", from the lead of the best real train over the best impossible one.

    Where no train of this reach is there, real and impossible counts do equally well but for chance (logistic); where one is,
    the lead may be anything up to a hundred and more (even).
    """
    z = math.exp(-min(abs(lead) / _NONE_SCALE, 700))
    by_chance = z / (_NONE_SCALE * (1 + z) ** 2)
    by_train = 1 / _LEAD_RANGE if lead > 0 else z / _LEAD_RANGE
    return _NONE_BEFORE * by_chance / (_NONE_BEFORE * by_chance + (1 - _NONE_BEFORE) * by_train)


def _candidate(peaks: Peaks, plate: Plate, train: Train, odds: float) -> Candidate:
    """What one train predicts and what of it is there: a peak within three of its errors and half a bin."""
    turned = plate.ratio < 1
    teeth = tuple((int(z), int(w)) for z, w in zip(train.pinions[0], train.wheels[0], strict=True))
    shafts = tuple(float(one) for one in train.speed[0] * train.shaft_orders()[0])
    orders, _, spacing = train.line_orders()
    hz = orders[0] * train.speed[0]
    bins = peaks.bin_hz(hz)
    seen = (bins > 0) & (spacing[0] * train.speed[0] >= 3 * bins)
    near = two_nearest(peaks, hz)
    peak = near[np.arange(hz.size), np.argmin(np.abs(peaks.hz[near] - hz[:, None]), axis=1)]
    there = seen & (np.abs(peaks.hz[peak] - hz) < 3 * peaks.sigma_hz[peak] + 0.5 * bins)
    names = line_names(plate.stages, turned=turned)
    found = tuple(
        FoundLine(names[n], float(hz[n]), float(peaks.hz[peak[n]]), float(peaks.strength[peak[n]])) for n in np.flatnonzero(there)
    )
    if turned:
        teeth, shafts = _turned(teeth), shafts[::-1]
    return Candidate(teeth, odds, shafts[0], shafts, found, int(np.count_nonzero(seen)))
