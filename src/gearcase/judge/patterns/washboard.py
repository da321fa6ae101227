"""The lines that a washboard across a race makes in an envelope: where they stand, and whether they are there at two speeds.

Theory of operation
-------------------
An element at angle theta, loaded by L(theta), follows the washboard at its place on the race. With the load's harmonics l_m and
those of the power of the washboard round the race c_q, the Z elements together leave only q + m = kZ, so that what comes and goes
does so at

    k f + m r,   as high as c_(kZ - m) l_m,   k = 1, 2, ..., m = 0, 1, -1, ...

f being the rate at which elements pass a place of the race and r the turns of the race as the load sees it. A race that stands
still in the load has m = 0 alone. Nothing makes the line at f itself the highest or even present: c_q is one of many random
harmonics of a washboard of scattered spacing, and with r > 0 the lines beside it are as high, l_1 being nearly l_0 where half of
the bearing is loaded. So all lines of five multiples are asked together, and none of them has to be there.

In noise minus the log of a line's chance is exponential with mean 1, and the sum over n lines gamma distributed with shape n. Each
counts with 8 at most: two of five lines, however strong, make no washboard, and three do. Of all bases in the band for slip the
best counts, and how many there are.

Decoys are the same question at other orders, asked of both speeds: a machine nearby stays at its frequency and is found at one.
"""

from dataclasses import dataclass

import numpy as np
import scipy.special
from numpy.typing import NDArray

from gearcase.judge.combs import ALIGNMENT, SLIP_BAND, CombScorer, scan_bases
from gearcase.judge.faults import EvidenceLine, Hypothesis
from gearcase.signal.envelope import EnvelopeSpectrum
from gearcase.signal.spectrum import PRESENT

__all__ = ["RaceLines", "Washboard", "share_at_both"]

_MULTIPLES = np.arange(1, 6)
_BESIDE = np.arange(-2, 3)  # a load over half of the bearing, cos^1.5 (line of contact): l_2 is 0.4 of l_0, l_3 under 0.1
_MOST_OF_ONE = 8.0  # minus the log of a line's chance: see above
_FEWEST_TESTABLE = 4
_OTHER_ORDERS = 2.0  # decoys stand from half to twice the rate
_SHARED = 0.2  # of a decoy's lines that may stand on the washboard's own
_STANDS = 6.0  # minus the log of a line's chance, from which its depth counts: noise of 25 lines leaves less than one


@dataclass(frozen=True)
class RaceLines:
    """What a race would make in one envelope.

    Attributes
    ----------
    base_hz : float
        Rate of the race that fits best. [Hz]
    log_chance : float
        Natural log of the chance that noise does as well, all bases of the band tried. [-]
    depth : float
        Root sum square of the depths of the lines that stand out. [-]
    evidence : tuple of EvidenceLine
        The multiples of the rate itself.
    """

    base_hz: float
    log_chance: float
    depth: float
    evidence: tuple[EvidenceLine, ...]


class Washboard:
    """One envelope, asked for the lines of races.

    Parameters
    ----------
    envelope : EnvelopeSpectrum
        Of one record.
    explained_hz : ndarray, shape (lines,)
        Lines of shafts and meshes, taken out where they show. [Hz]
    highest_hz : float
        Of any race's rate. [Hz]
    speed_hz, speed_spread : float
        Of the reference shaft [Hz], and what is not known of it, relative [-].
    """

    def __init__(
        self,
        envelope: EnvelopeSpectrum,
        *,
        explained_hz: NDArray[np.float64],
        highest_hz: float,
        speed_hz: float,
        speed_spread: float,
    ) -> None:
        self.envelope, self.speed_hz, self.speed_spread = envelope, speed_hz, speed_spread
        self.scorer = CombScorer(envelope.strength, bin_hz=envelope.bin_hz, highest_base_hz=_OTHER_ORDERS * highest_hz)
        self.scorer.mask(explained_hz[self.scorer.strongest_near(explained_hz) >= PRESENT], within=ALIGNMENT)

    def race(self, hypothesis: Hypothesis) -> RaceLines | None:
        """Lines of a race; None where too few of them can be looked at."""
        rate_hz, width = hypothesis.order * self.speed_hz, SLIP_BAND + hypothesis.spread + self.speed_spread
        bases = scan_bases(rate_hz * (1 - width), rate_hz * (1 + width))
        chances = self.chances(bases, hypothesis)
        scores = _log_chance(chances)
        if not scores.any():
            return None
        alike = scores <= scores.min() + 1.0
        best = int(np.flatnonzero(alike)[np.argmax(np.nansum(chances[alike], axis=-1))])
        base = float(bases[best])
        return RaceLines(
            base,
            min(float(scores.min()) + float(np.log(bases.size)), 0.0),
            self.depth(base, hypothesis),
            self._evidence(base, hypothesis),
        )

    def chances(self, bases_hz: NDArray[np.float64], hypothesis: Hypothesis) -> NDArray[np.float64]:
        """Minus the natural log of the chance of each line of each base [Hz], NaN where it is explained, (bases, lines). [-]"""
        return -self.scorer.line_log_chance(_lines(bases_hz, hypothesis, self.speed_hz))

    def depth(self, base_hz: float, hypothesis: Hypothesis) -> float:
        """Root sum square of the depths of the lines that stand out; 0 where none does. [-]"""
        lines = _lines(np.array([base_hz]), hypothesis, self.speed_hz)
        stand = np.nan_to_num(-self.scorer.line_log_chance(lines)[0]) >= _STANDS
        bins = np.rint(lines[0, stand] / self.envelope.bin_hz).astype(np.intp)
        around = np.clip(bins[:, None] + np.arange(-1, 2), 0, self.envelope.depth.size - 1)
        return float(np.sqrt((self.envelope.depth[around].max(axis=-1, initial=0.0) ** 2).sum()))

    def between(self, base_hz: float, hypothesis: Hypothesis, parts: int) -> NDArray[np.bool_]:
        """Of each multiple whether it, or a line beside it, stands and is none of a base so many times as high. [-]"""
        chances = self.chances(np.array([base_hz]), hypothesis).reshape(_MULTIPLES.size, -1)
        return np.asarray((np.nan_to_num(chances) >= _STANDS).any(axis=-1) & (_MULTIPLES % parts != 0))

    def decoys(self, orders: NDArray[np.float64], hypothesis: Hypothesis) -> NDArray[np.float64]:
        """Log chance of each order as of one base, as if the race's rate were there. [-]"""
        return _log_chance(self.chances(orders * self.speed_hz, hypothesis))

    def _evidence(self, base_hz: float, hypothesis: Hypothesis) -> tuple[EvidenceLine, ...]:
        name = hypothesis.fault.replace("_", " ")
        return tuple(
            EvidenceLine(f"{n}x {name}", n * base_hz, hz, 10 * float(np.log10(max(strength, 1e-3))))
            if strength > 0
            else EvidenceLine(
                f"{n}x {name}", n * base_hz, None, None, "stands on a line of a shaft or a mesh, or beyond the record's band"
            )
            for n, (hz, strength) in enumerate(self.scorer.lines(base_hz), start=1)
        )


def share_at_both(slow: Washboard, fast: Washboard, hypothesis: Hypothesis, found: tuple[RaceLines, RaceLines]) -> float:
    """Share of other orders at which both speeds show as sure a washboard, the race's own counted among them. [-]"""
    orders = scan_bases(hypothesis.order / _OTHER_ORDERS, hypothesis.order * _OTHER_ORDERS)
    own = _lines(np.array([one.base_hz / board.speed_hz for one, board in zip(found, (slow, fast), strict=True)]), hypothesis, 1.0)
    places = np.sort(own.ravel())
    lines = _lines(orders, hypothesis, 1.0)
    at = np.clip(np.searchsorted(places, lines), 1, places.size - 1)
    near = np.minimum(np.abs(lines - places[at - 1]), np.abs(lines - places[at])) <= 2 * ALIGNMENT * lines
    stretch = max(round(2 * SLIP_BAND / ALIGNMENT), 1)
    count = orders.size // stretch
    unrelated = near.mean(axis=-1) <= _SHARED
    best = [
        np.where(unrelated, board.decoys(orders, hypothesis), 0.0)[: count * stretch].reshape(count, stretch).min(axis=-1)
        for board in (slow, fast)
    ]
    as_sure = np.all([scores + np.log(stretch) <= one.log_chance for scores, one in zip(best, found, strict=True)], axis=0)
    return float((1 + as_sure.sum()) / (1 + unrelated.sum() / stretch))


def _lines(bases_hz: NDArray[np.float64], hypothesis: Hypothesis, speed_hz: float) -> NDArray[np.float64]:
    """Lines of each base, shape (bases, lines). [Hz]"""
    turning = hypothesis.modulation_order * speed_hz if hypothesis.through_load else 0.0
    beside = _BESIDE if turning else np.zeros(1)
    return np.asarray((_MULTIPLES[:, None] * bases_hz[:, None, None] + beside * turning).reshape(bases_hz.size, -1))


def _log_chance(chances: NDArray[np.float64]) -> NDArray[np.float64]:
    """Natural log of the chance that noise shows lines as sure as these together, shape (bases,); 0 of too few lines. [-]"""
    count = np.sum(~np.isnan(chances), axis=-1)
    total = np.nansum(np.minimum(chances, _MOST_OF_ONE), axis=-1)
    with np.errstate(divide="ignore"):
        tail = np.log(scipy.special.gammaincc(np.maximum(count, 1), total))
    return np.where(count >= _FEWEST_TESTABLE, np.minimum(tail, 0.0), 0.0)
