"""Which measurement would decide between combinations of teeth that a recording cannot tell apart.

Every measurement offered is a question with an answer that each combination predicts: the count of one gear, the speed of an end
shaft, lines that a longer or faster record would part. Answers closer than the measurement can tell count as one. The measurement
wins from which the likeliest answer, once heard, would leave the highest expected odds, less what it costs to get.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from gearcase.drive.measurement import LONGEST_RECORD, TURNS_FOR_TEETH

__all__ = ["Measurement", "check_premises", "deciding_measurement"]

_TACHOMETER = 2e-4  # relative error of a speed counted over some minutes with a reflective mark (common practice, no source)
_HIGHEST_LINE_HZ = 10_000.0  # an accelerometer on a magnet reaches no further; common practice, no source
_LEAST_GAIN = 0.02  # of expected odds, for a longer record to be worth its time (assumed)
_PARTED = 4.0  # bins between lines that are seen as two
_COST = {"output speed": 0.02, "record": 0.04, "count": 0.1}  # odds a dearer question must gain over a cheaper one (assumed)

Teeth = tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class Measurement:
    """What to measure next.

    `kind` is ``"count"``, ``"output speed"``, ``"record"`` or ``"check"``; `words` say it to a person, with the answers that part
    the combinations; `expected` is the odds that the first combination can be expected to have afterwards. [-] For a count `stage`
    (from 1, at the input) and `side` (0 input side, 1 output side) name the gear; for a record `seconds` [s] its length and
    `highest_hz` [Hz] the line it must reach.
    """

    kind: str
    words: str
    expected: float
    stage: int = 0
    side: int = 0
    seconds: float = 0.0
    highest_hz: float = 0.0


def deciding_measurement(
    teeth: Sequence[Teeth],
    odds: Sequence[float],
    shafts_hz: Sequence[Sequence[float]],
    sections: Sequence[tuple[float, float, float]],
) -> Measurement:
    """The question worth most.

    Parameters
    ----------
    teeth, odds, shafts_hz : sequences, one item a combination, the likeliest first
        Teeth by stage from the input, odds [-] and speeds of all shafts from the input on [Hz].
    sections : sequence of (lowest, highest, resolution)
        What the recording held. [Hz]

    Examples
    --------
    Two wheels that only the last shaft tells apart:

    >>> found = deciding_measurement(
    ...     [((20, 80),), ((20, 81),)], [0.5, 0.5], [(25.0, 6.25), (25.0, 6.1728)], [(1.0, 400.0, 1.0)])
    >>> found.kind, found.expected
    ('output speed', 1.0)
    """
    offers = [
        _output_speed(odds, shafts_hz),
        _longer_record(odds, shafts_hz, sections),
        *_faster_record(teeth, odds, shafts_hz, sections),
        *_counts(teeth, odds),
    ]
    best = max((offer for offer in offers if offer), key=lambda offer: offer.expected - _COST[offer.kind])
    if best.kind == "count":  # nobody opens a drive for what a record of the usual length tells
        best = _usual_record(teeth, odds, shafts_hz, sections) or best
    return best


def check_premises(fits: str) -> Measurement:
    """What to check where no combination fits; `fits` names the premise that the lines suit better, empty for none.

    Examples
    --------
    >>> check_premises("2 stages").words.partition(":")[0]
    'the lines fit 2 stages, or a planetary stage, which is not tried, better than what was stated'
    """
    if fits:
        words = (
            f"the lines fit {fits}, or a planetary stage, which is not tried, better than what was stated: read the nameplate "
            "again and count the shafts at the housing"
        )
    else:
        words = (
            "no combination in reach fits (a planetary stage is not tried): confirm stages, ratio and speed, and record again with "
            "this drive running alone"
        )
    return Measurement("check", words, 0.0)


def _after(odds: Sequence[float], answers: Sequence[float], same: Callable[[float, float], bool]) -> float:
    """Expected share of the likeliest combination once the answer is known: each group of like answers keeps its largest."""
    order = sorted(range(len(answers)), key=lambda n: answers[n])
    groups: list[list[int]] = []
    for n in order:
        if groups and same(answers[groups[-1][-1]], answers[n]):
            groups[-1].append(n)
        else:
            groups.append([n])
    return sum(max(odds[n] for n in group) for group in groups) / sum(odds)


def _counts(teeth: Sequence[Teeth], odds: Sequence[float]) -> list[Measurement]:
    offers = []
    for stage in range(len(teeth[0])):
        for side in (0, 1):
            counts = [one[stage][side] for one in teeth]
            gear = "gear on the input side" if side == 0 else "gear on the output side"
            different = list(dict.fromkeys(counts))
            choices = ", ".join(str(count) for count in different[:5]) + (" or another" if len(different) > 5 else "")
            words = (
                f"count the teeth of the {gear} of stage {stage + 1}, through the inspection cover with the drive locked out: "
                f"{choices}"
            )
            offers.append(Measurement("count", words, _after(odds, counts, lambda a, b: a == b), stage=stage + 1, side=side))
    return offers


def _output_speed(odds: Sequence[float], shafts_hz: Sequence[Sequence[float]]) -> Measurement:
    ratios = [shafts[0] / shafts[-1] for shafts in shafts_hz]
    after = _after(odds, ratios, lambda a, b: abs(a / b - 1) <= 3 * _TACHOMETER)
    first, second = _two(ratios, 3 * _TACHOMETER)
    at = shafts_hz[0][0]
    words = (
        f"measure the speeds of input and output shaft at the same time to {100 * _TACHOMETER:.2g} %: at {at:.5g} Hz in, "
        f"{at / first:.5g} Hz or {at / second:.5g} Hz out"
    )
    return Measurement("output speed", words, after)


def _longer_record(
    odds: Sequence[float], shafts_hz: Sequence[Sequence[float]], sections: Sequence[tuple[float, float, float]]
) -> Measurement | None:
    """Lines of an inner shaft, or sidebands of any, that a longer record parts."""
    best: Measurement | None = None
    now = min(bin_hz for _, _, bin_hz in sections)
    for n in range(1, len(shafts_hz[0])):
        speeds = [shafts[n] for shafts in shafts_hz]
        for seconds in (2 / now, 4 / now, 8 / now, 16 / now):
            apart = _PARTED / seconds
            if seconds > LONGEST_RECORD or min(speeds) < apart:
                continue
            after = _after(odds, speeds, lambda a, b, apart=apart: abs(a - b) <= apart)  # type: ignore[misc]
            if best is None or after > best.expected + _LEAST_GAIN:
                first, second = _two(speeds, apart / speeds[0])
                words = (
                    f"record {seconds:.0f} s at steady speed and load: shaft {n + 1} turns at {first:.5g} Hz or {second:.5g} Hz, "
                    "and its lines and sidebands then stand apart"
                )
                best = Measurement("record", words, after, seconds=seconds)
    return best


def _usual_record(
    teeth: Sequence[Teeth],
    odds: Sequence[float],
    shafts_hz: Sequence[Sequence[float]],
    sections: Sequence[tuple[float, float, float]],
) -> Measurement | None:
    """A record as long as those that mostly decide, where this one is shorter and meshes of the combinations would then stand more
    than a bin apart.
    """
    now = 1 / min(bin_hz for _, _, bin_hz in sections)
    fastest = max(shafts_hz[0])
    seconds = min(TURNS_FOR_TEETH / fastest, LONGEST_RECORD)
    if now >= seconds * (1 - 1e-9):
        return None
    after = max(
        _after(
            odds,
            [shafts[stage + 1] for shafts in shafts_hz],
            lambda a, b, wheel=teeth[0][stage][1]: abs(a - b) * wheel <= 1 / seconds,  # type: ignore[misc]
        )
        for stage in range(len(teeth[0]))
    )
    if after < max(odds) / sum(odds) + _LEAST_GAIN:
        return None
    words = (
        f"record {seconds:.0f} s in the same way, at steady speed and load (this one holds {now:.3g} s, {now * fastest:.0f} turns "
        f"of the fast shaft, of the {TURNS_FOR_TEETH} that mostly decide), before anybody opens the drive"
    )
    return Measurement("record", words, after, seconds=seconds)


def _faster_record(
    teeth: Sequence[Teeth],
    odds: Sequence[float],
    shafts_hz: Sequence[Sequence[float]],
    sections: Sequence[tuple[float, float, float]],
) -> list[Measurement]:
    """Meshes above the top of the record."""
    top, offers = sections[-1][1], []
    for stage in range(len(teeth[0])):
        meshes = [one[stage][0] * shafts[stage] for one, shafts in zip(teeth, shafts_hz, strict=True)]
        reach = max(meshes)
        if not top < reach < _HIGHEST_LINE_HZ:
            continue
        after = _after(odds, meshes, lambda a, b: abs(a / b - 1) <= 1e-3)
        first, second = _two(meshes, 1e-3)
        seconds = 1 / min(bin_hz for _, _, bin_hz in sections)
        words = (
            f"record up to {1.3 * reach:.0f} Hz (this one ends at {top:.0f} Hz): the mesh of stage {stage + 1} then shows at "
            f"{first:.5g} Hz or {second:.5g} Hz"
        )
        offers.append(Measurement("record", words, after, seconds=seconds, highest_hz=1.3 * reach))
    return offers


def _two(answers: Sequence[float], apart: float) -> tuple[float, float]:
    """The first answer and the next one that differs, or the first twice."""
    values = np.array(answers)
    other = np.flatnonzero(np.abs(values / values[0] - 1) > apart)
    return answers[0], answers[int(other[0])] if other.size else math.nan
