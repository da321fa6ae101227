"""Backstop: does it click at its own rate when it overruns, and at no other time?

Theory of operation
-------------------
A backstop whose sprags or pawls do not lift knocks so many times a turn as job.yaml counts them (`drive.train.PassingPart`). The
envelope of a record tagged as overrunning is searched for that comb, and so are those of other states. A part that knocks once a
turn, a loose coupling say, gives lines at every multiple of the shaft, the backstop's among them: a comb that has lines in between
belongs to the slower part. Decoys are combs at all rates around.

One click a start is not judged: the backlash of gears and coupling closes with one click too, as short, at the same moment, at
every start, and nothing in a vibration tells them apart (row `backstop clicking once a start`, not offered).
"""

import math
from collections.abc import Sequence

import numpy as np

from gearcase.drive.train import Drive, PassingPart
from gearcase.judge.combs import ALIGNMENT, HARMONICS, SLIP_BAND, CombScorer, scan_bases
from gearcase.judge.faults import NOISE_LIMIT, SMALLEST_DEPTH, EvidenceLine
from gearcase.judge.odds import reported
from gearcase.judge.patterns.observed import Observed
from gearcase.judge.patterns.signs import Role, Sign, Weighed, weigh
from gearcase.judge.patterns.stations import RUNNING, Measured

__all__ = ["examine"]

_BESIDE = 3.0  # decoys stand from a third to three times its rate
_IN_BETWEEN = 0.1  # of the power of its own lines: neighbouring lines of one comb stand within 13 dB (as in judge.faults)
_STANDS_OUT = 5.0  # strength that half of several lines do not reach in noise: e^-5 each
_CLICKS, _SILENT = "clicks at its own rate when overrunning", "silent in other states"


def examine(drive: Drive, observed: Sequence[Observed]) -> tuple[Weighed, ...]:
    """Every backstop that the job counts the sprags of."""
    measured = Measured(drive, observed)
    parts = [part for part in drive.passing_parts if part.kind == "backstop" and part.shaft in measured.orders]
    return tuple(_backstop(measured, part) for part in parts)


class _Comb:
    """The comb of a backstop in one record's envelope."""

    def __init__(self, measured: Measured, part: PassingPart, observed: Observed) -> None:
        self.observed = observed
        rate_hz = part.count * measured.orders[part.shaft] * observed.speed_hz
        self.scorer = CombScorer(observed.envelope.strength, bin_hz=observed.envelope.bin_hz, highest_base_hz=_BESIDE * rate_hz)
        width = observed.speed_spread + ALIGNMENT
        bases = scan_bases(rate_hz * (1 - width), rate_hz * (1 + width))
        self.testable = bool(self.scorer.testable(bases).any())
        scores = self.scorer.log_chance(bases)
        self.base_hz = float(np.median(bases[scores <= scores.min()]))  # neighbouring bases score alike
        self.log_chance = min(float(scores.min()) + math.log(bases.size), 0.0)
        others = scan_bases(rate_hz / _BESIDE, rate_hz * _BESIDE)
        self.decoys = others[[_unrelated(float(one), rate_hz, width) for one in others]]
        self.count = round(part.count)

    @property
    def shows(self) -> bool:
        """Whether noise does not explain it, and it is deep enough to matter."""
        return self.log_chance <= math.log(NOISE_LIMIT) and self.depth >= SMALLEST_DEPTH

    @property
    def depth(self) -> float:
        """Root sum square of its lines' modulation depths. [-]"""
        envelope = self.observed.envelope
        bins = np.rint(HARMONICS * self.base_hz / envelope.bin_hz).astype(np.intp)
        around = bins[bins < envelope.depth.size - 1][:, None] + np.arange(-1, 2)
        return float(np.sqrt((envelope.depth[around].max(axis=1) ** 2).sum()))

    def in_between(self) -> str:
        """The slower rate that has lines where this one's are and in between as well; empty where there is none."""
        own = float(np.median(self.scorer.strongest_near(np.arange(1.0, 4.0) * self.base_hz)))
        for parts in range(2, self.count + 1):
            places = np.array([n for n in range(1, 3 * parts) if n % parts]) * self.base_hz / parts
            between = float(np.nanmedian(self.scorer.strongest_near(places)))
            if between >= max(_IN_BETWEEN * own, _STANDS_OUT):
                return f"lines every {self.base_hz / parts:.2f} Hz"
        return ""

    def share(self) -> float:
        """Share of decoys that do as well. [-]"""
        own, *others = self.scorer.log_chance(np.append(self.base_hz, self.decoys))
        return float((1 + np.sum(others <= own)) / (1 + self.decoys.size))


def _backstop(measured: Measured, part: PassingPart) -> Weighed:
    over = [one.observed for one in measured.records if one.observed.recording.taken.state == "overrunning"]
    combs = [comb for one in over if (comb := _Comb(measured, part, one)).testable]
    if not combs:
        says = "needs a record tagged as overrunning whose envelope holds three multiples of its rate"
        return weigh("backstop", part.name, [Sign(Role.NEEDED, _CLICKS, None, says)], attribution=1.0)
    comb = min(combs, key=lambda one: one.log_chance)
    recording = comb.observed.recording
    beside = [
        _Comb(measured, part, one.observed)
        for one in measured.at(recording.point, recording.taken.direction, RUNNING)
        if one.observed.recording.channel == recording.channel
    ]
    beside = [one for one in beside if one.testable]
    loud = [one for one in beside if one.shows]
    words = f"{len(loud)} of {len(beside)} records of this point show the same comb"
    if not beside:
        words = "needs a record of this point and direction in steady running"
    between = comb.in_between()
    signs = [
        Sign(
            Role.NEEDED,
            _CLICKS,
            comb.shows,
            f"a comb at {comb.base_hz:.2f} Hz, {part.count:g} a turn of {part.shaft}, modulation depth {comb.depth:.2g}",
            reported(comb.log_chance),
        ),
        Sign(Role.NEEDED, _SILENT, not loud if beside else None, words, reported(comb.log_chance)),
        Sign(Role.AGAINST, "lines in between", bool(between), between or "no slower comb holds its lines"),
        Sign(Role.AGAINST, "in all states", bool(loud) if beside else None, words),
    ]
    lines = [
        EvidenceLine(f"{part.name} {n}x", n * comb.base_hz, hz, 10 * math.log10(strength))
        for n, (hz, strength) in enumerate(comb.scorer.lines(comb.base_hz), start=1)
        if strength > 0
    ]
    return weigh("backstop", part.name, signs, attribution=comb.share(), seen_in=[comb.observed], lines=lines)


def _unrelated(base_hz: float, rate_hz: float, width: float) -> bool:
    """Whether two combs share no lines: neither is within the band of a small multiple or part of the other."""
    ratio = max(base_hz, rate_hz) / min(base_hz, rate_hz)
    return abs(ratio / max(round(ratio), 1) - 1) > width + SLIP_BAND
