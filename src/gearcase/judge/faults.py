"""Which bearing fault explains the combs of an envelope spectrum, with odds.

Theory of operation
-------------------
1. Lines the turning shafts and meshes explain are taken out first. A rate mostly taken out is *not testable*, not
clean.
2. Every base frequency of a wide range is scored, the drive's own rates (with a band for slip and for what is not
known) among them.
   The fundamental and at least two of harmonics 2 to 5 must stand out.
3. Step-down: the strongest comb is explained first. Inside the band of one of the drive's rates it is that part's;
outside all bands it
   is *a source not on this drive*. Either way its lines and sidebands are taken out and the rest is looked at again,
   so that a strong comb cannot lend its lines to a weaker claim.
4. *Noise false alarm*: the chance that noise alone gives so good a comb, times the bases tried in all bands together.
5. *Attribution false alarm*: the chance that a real comb at this place belongs elsewhere. The larger of (a) the odds
against a source
   at an arbitrary frequency, given how far from the expected rate the comb stands, and (b) the share of arbitrary,
   unrelated bases of this very spectrum that score as well (decoys). Never
   less than `MEASURED_CONFUSION`.
6. An effect under `SMALLEST_DEPTH` is not claimed however certain: in a long record a harmless line becomes
significant.

Rates that cannot be told apart (two bearings of one size on one shaft) are claimed together; the rivals are named. A bearing
that may be one of several makes has the rates of each: all are tried, which weakens every claim, and the makes a comb fits are
named; one fault of two makes is no rival of itself. A rate of which little is known has a wide band: more bases are tried, a
stranger may more easily stand in it, and a comb found there is named only if the odds allow it.
"""

import functools
import itertools
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from gearcase.drive.bearing_lines import BEARING_RATES, bearing_rings
from gearcase.drive.line import Line
from gearcase.drive.lines import expected_lines
from gearcase.drive.speeds import shaft_orders
from gearcase.drive.train import Drive
from gearcase.judge.combs import ALIGNMENT, SLIP_BAND, CombScorer, scan_bases
from gearcase.judge.odds import reported
from gearcase.signal.envelope import EnvelopeSpectrum
from gearcase.signal.spectrum import PRESENT

__all__ = [
    "ATTRIBUTION_LIMIT",
    "STRANGER_WEIGHT",
    "Comb",
    "EvidenceLine",
    "Hypothesis",
    "Judgement",
    "bearing_hypotheses",
    "comb_lines",
    "judge_bearings",
]

SLIP_SPREAD = 0.0075  # standard deviation taken for it: the band is two of them
NOISE_LIMIT = 1e-3
ATTRIBUTION_LIMIT = 0.05
MEASURED_CONFUSION = 0.03  # upper bound on naming a wrong part, bearings described wrongly: `make study`, docs/diagnosis.md
STRANGER_WEIGHT = 0.25  # a pulsing source not on this drive, against any fault of its bearings; assumed, shown with the figure
_BARE = 0.15  # at most so many spots that go through the load zone show no sideband: 6 of 78 simulated elements, upper 95 % bound
_SIDEBANDS_SHOW = 10.0  # power of the tallest line over its sidebands where the load swings by 63 %
SMALLEST_DEPTH = 0.1  # a sound bearing's load swings as elements pass; a swing of 5 % gives 0.1; common practice, no source
SAME_RATE = 0.02  # rates closer than this cannot be told apart by frequency
_SIBLING_PRESENT = 11.5  # strength of the other race's line: one chance find in a hundred over the thousand bins of its band
_MOST_COMBS = 8  # explained in one spectrum before giving up: more is not a bearing problem
_SAME_COMB = 0.05  # neighbouring lines of one comb stand within 13 dB of each other: a ring's spectrum is smooth
_SIBLING = 0.1  # a localised race fault shows the other race's rate 10 dB weaker at least
_RACES = ("outer_race", "inner_race")
_SMEAR = 0.005  # explained lines are taken out this far, relative, to either side: slip smears strong ones
_REFINEMENTS = 3  # rounds of finding the lines and the base from them; the second rarely moves anything
_SCAN_MARGIN = 2.0  # the scan reaches this factor beyond the drive's lowest and highest rate


@dataclass(frozen=True)
class Hypothesis:
    """One fault of one part: its rate and what would modulate it, as orders of the reference shaft [-]; `spread` is the half-width
    of what is not known about the rate, relative [-]. Of a bearing that may be one of several makes each is a hypothesis, and
    `candidate` says which. `passing_order` is how often the part passes the sensor, of a planet's bearing: 0 for one that stands.
    `through_load`: the spot itself goes through the load zone, once a turn of what modulates it.
    """

    component: str
    fault: str
    order: float
    spread: float
    modulation_order: float
    candidate: str = ""
    passing_order: float = 0.0
    through_load: bool = False

    @property
    def modulations(self) -> tuple[float, ...]:
        """All that modulates it: the load zone, and its passing. [-]"""
        return tuple(order for order in (self.modulation_order, self.passing_order) if order)

    def same_fault(self, other: "Hypothesis") -> bool:
        """Whether both are the same fault of the same part, be it of another make."""
        return (self.component, self.fault) == (other.component, other.fault)


@dataclass(frozen=True)
class EvidenceLine:
    """One line where the fault would put it [Hz], and where it was found [Hz]. `snr_db` is 10 log10 of power over local noise [dB];
    both it and `found_hz` are None where nothing could be looked for, and `why` says the reason.
    """

    line: str
    expected_hz: float
    found_hz: float | None
    snr_db: float | None
    why: str = ""


@dataclass(frozen=True)
class Comb:
    """A comb found in the spectrum, and what it is taken for.

    Attributes
    ----------
    hypothesis : Hypothesis or None
        None for a comb outside the bands of all the drive's rates.
    rivals : tuple of Hypothesis
        Rates of this drive that frequency alone cannot tell from it.
    base_hz : float
        From where its lines stand. [Hz]
    noise_false_alarm, attribution_false_alarm : float
        Chances, as the theory of operation defines them. [-]
    strength_db : float
        Sum of the strengths of the five lines. [dB]
    depth : float
        Root sum square of the lines' modulation depths. [-]
    evidence : tuple of EvidenceLine
    sidebands : int
        Lines found one modulation away from the evidence lines.
    fits : tuple of str
        Of a part that may be one of several makes, those whose rate this can be, the nearest first.
    """

    hypothesis: Hypothesis | None
    rivals: tuple[Hypothesis, ...]
    base_hz: float
    noise_false_alarm: float
    attribution_false_alarm: float
    strength_db: float
    depth: float
    evidence: tuple[EvidenceLine, ...]
    sidebands: int
    fits: tuple[str, ...] = ()


@dataclass(frozen=True)
class Judgement:
    """What an envelope spectrum says: `claims` pass all limits; `uncertain` are real combs whose part is not sure;
    `strangers` are real combs outside this drive's rates; `faint` are too small to matter; `not_testable` names what
    could not be looked for.
    """

    claims: tuple[Comb, ...] = ()
    uncertain: tuple[Comb, ...] = ()
    strangers: tuple[Comb, ...] = ()
    faint: tuple[Comb, ...] = ()
    not_testable: tuple[tuple[Hypothesis, str], ...] = field(default=())


@functools.lru_cache(maxsize=8)  # of the drives in hand, as `expected_lines`
def bearing_hypotheses(drive: Drive) -> tuple[Hypothesis, ...]:
    """Every fault of every bearing whose geometry and speed are known.

    A spot on a race passes the load zone once a turn of its own ring, which modulates its impacts; an element's passes it once a
    turn of the cage, each as the load sees it: of a planet's bearing from the carrier, whose turns bring the whole bearing past the
    sensor. A spot on a ring that stands there stays where it is in the load zone; what the other ring's turns bring round
    (unbalance) is all that can modulate it, and the same goes for a cage.
    """
    orders = shaft_orders(drive)
    by_part: dict[tuple[str, str, str], Line] = {
        (line.component, line.candidate, line.kind): line for line in expected_lines(drive) if line.harmonic == 1
    }
    found = []
    for bearing in drive.bearings:
        rings = bearing_rings(drive, bearing, orders)
        for make, fault in itertools.product([candidate.name for candidate in bearing.candidates], BEARING_RATES):
            line = by_part.get((bearing.name, make, fault))
            if line is None or rings is None or line.order == 0:  # rings that turn together pass no element
                continue
            inner, outer = map(abs, rings.orders)
            own = {"inner_race": inner, "outer_race": outer, "rolling_element": by_part[bearing.name, make, "cage"].order}
            through = own.get(fault, 0.0)
            modulation = through or inner or outer
            passing = abs(rings.carried.order) if rings.carried else 0.0
            found.append(Hypothesis(bearing.name, fault, line.order, line.spread, modulation, make, passing, through != 0))
    return tuple(found)


def judge_bearings(
    envelope: EnvelopeSpectrum,
    hypotheses: tuple[Hypothesis, ...],
    *,
    speed_hz: float,
    speed_spread: float,
    explained_orders: NDArray[np.float64],
) -> Judgement:
    """Explain the combs of one envelope spectrum.

    Parameters
    ----------
    envelope : EnvelopeSpectrum
        Of one record, arrays of shape (bins,).
    hypotheses : tuple of Hypothesis
    speed_hz : float
        Of the reference shaft. [Hz]
    speed_spread : float
        Half-width of what is not known about the speed, relative. [-]
    explained_orders : ndarray, shape (lines,)
        Orders of shaft and mesh lines that may show in an envelope; those present are taken out first. [-]

    Returns
    -------
    Judgement
    """
    if not hypotheses:
        return Judgement()
    return _Examination(envelope, hypotheses, speed_hz, speed_spread, explained_orders).judge()


def comb_lines(base_hz: float, modulations_hz: tuple[float, ...], *, highest_hz: float) -> NDArray[np.float64]:
    """Harmonics of a base up to `highest_hz`, each with three pairs of sidebands of each modulation, in rising order. [Hz]"""
    harmonics = base_hz * np.arange(1, int(highest_hz / base_hz) + 2)
    shifts = np.array([0.0, *(sign * m * hz for hz in modulations_hz for m in (1, 2, 3) for sign in (-1, 1))])
    lines = (harmonics[:, None] + shifts).ravel()
    return np.asarray(np.sort(lines[lines > 0]))


class _Examination:
    """One spectrum under step-down."""

    def __init__(
        self,
        envelope: EnvelopeSpectrum,
        hypotheses: tuple[Hypothesis, ...],
        speed_hz: float,
        speed_spread: float,
        explained_orders: NDArray[np.float64],
    ) -> None:
        self.envelope, self.speed_hz = envelope, speed_hz
        self.explained_hz = explained_orders * speed_hz
        rates = np.array([hypothesis.order * speed_hz for hypothesis in hypotheses])
        lowest = max(rates.min() / _SCAN_MARGIN, 4 * envelope.bin_hz)
        highest = max(rates.max() * _SCAN_MARGIN, 2 * lowest)
        self.scorer = CombScorer(envelope.strength, bin_hz=envelope.bin_hz, highest_base_hz=highest)
        self.scorer.mask(self._present(self.explained_hz), within=ALIGNMENT)
        self.bases = scan_bases(lowest, highest)
        self.log_range = float(np.log(highest / lowest))
        bands = np.array([SLIP_BAND + hypothesis.spread + speed_spread for hypothesis in hypotheses])
        first = np.searchsorted(self.bases, rates * (1 - bands))
        end = np.searchsorted(self.bases, rates * (1 + bands), side="right")
        inside = [slice(*ends) for ends in zip(first, end, strict=True)]  # bases of each hypothesis
        seen = self._in_any(inside)
        seen[seen] = self.scorer.testable(self.bases[seen])
        testable = np.array([seen[one].any() for one in inside])
        self.not_testable = tuple(
            (hypothesis, self._why_not(rate)) for hypothesis, rate, ok in zip(hypotheses, rates, testable, strict=True) if not ok
        )
        self.hypotheses = tuple(h for h, ok in zip(hypotheses, testable, strict=True) if ok)
        self.rates, self.bands = rates[testable], bands[testable]
        self.inside = [one for one, ok in zip(inside, testable, strict=True) if ok]
        self.ours = self._in_any(self.inside)
        self.weights = _weights(self.hypotheses)
        self.tried = max(int(np.sum((end - first)[testable])), 1)
        self.least = float(np.log(NOISE_LIMIT / min(self.tried, self.bases.size)))  # a comb above it is noise, whosever it is
        self.decoy_scores = self._scores()

    def judge(self) -> Judgement:
        claims: list[Comb] = []
        uncertain: list[Comb] = []
        strangers: list[Comb] = []
        faint: list[Comb] = []
        explained: list[tuple[float, NDArray[np.float64]]] = []
        scores = self.decoy_scores
        for _ in range(_MOST_COMBS):
            comb = self._strongest(scores)
            if comb is None:
                break
            known = any(_belongs_to(comb.base_hz, base, lines) for base, lines in explained)
            if not known and not _is_modulation(comb, claims):
                if comb.depth < SMALLEST_DEPTH:
                    faint.append(comb)
                elif comb.hypothesis is None:
                    strangers.append(comb)
                elif comb.attribution_false_alarm > ATTRIBUTION_LIMIT or self._unsure_which_race(comb):
                    uncertain.append(comb)
                else:
                    claims.append(comb)
            lines = self._lines_of(comb)
            explained.append((comb.base_hz, lines))
            self.scorer.mask(lines, within=_SMEAR)
            scores = self._scores()
        return Judgement(tuple(claims), tuple(uncertain), tuple(strangers), tuple(faint), self.not_testable)

    def _in_any(self, inside: Sequence[slice]) -> NDArray[np.bool_]:
        """Which bases are of any of these, shape (bases,)."""
        found = np.zeros(self.bases.size, np.bool_)
        for one in inside:
            found[one] = True
        return found

    def _scores(self) -> NDArray[np.float64]:
        """Log chances of all bases, 0 of those that noise explains. [-]"""
        return self.scorer.log_chance(self.bases, least=self.least)

    def _strongest(self, scores: NDArray[np.float64]) -> Comb | None:
        """The comb to explain next: the strongest that noise does not explain, a stranger only if no rate of ours is behind it."""
        ours = np.where(self.ours, scores, 0.0)
        best_ours, best_any = int(np.argmin(ours)), int(np.argmin(scores))
        any_pass = scores[best_any] + np.log(self.bases.size) <= np.log(NOISE_LIMIT)
        if ours[best_ours] + np.log(self.tried) <= np.log(NOISE_LIMIT):
            comb = self._comb(best_ours, scores)
            if not any_pass or scores[best_any] >= ours[best_ours] or self._is_behind(float(self.bases[best_any]), comb):
                return comb
        return self._comb(best_any, scores) if any_pass else None

    def _is_behind(self, stronger_hz: float, comb: Comb) -> bool:
        """Whether a stronger base is a harmonic or sideband of this comb; no modulation lifts a sideband over its carrier."""
        harmonics = comb_lines(comb.base_hz, (), highest_hz=5 * float(self.bases[-1]))
        if _stands_on(stronger_hz, harmonics, within=3 * ALIGNMENT):
            return True
        heights = _known(self.scorer.strongest_near(np.array([stronger_hz, comb.base_hz])))
        lifted = heights.size == 2 and heights[0] > heights[1]
        return not lifted and bool(_stands_on(stronger_hz, self._lines_of(comb), within=3 * ALIGNMENT))

    def _owners(self, base_hz: float) -> list[int]:
        """Hypotheses whose band holds this base, nearest first."""
        holding = np.flatnonzero(np.abs(base_hz / self.rates - 1) <= self.bands)
        away = np.abs(base_hz / self.rates[holding] - 1) / self.bands[holding]
        return [int(h) for h in holding[np.argsort(away, kind="stable")]]

    def _divisor(self, base_hz: float) -> int:
        """A comb at a multiple of a base fits that base's harmonics too: how far the lines between divide it."""
        multiples = _known(self.scorer.strongest_near(np.array([1, 2, 3]) * base_hz))
        if multiples.size == 0:
            return 1
        for divisor in (5, 4, 3, 2):
            between = np.array([k for k in range(1, 3 * divisor) if k % divisor]) * base_hz / divisor
            seen = _known(self.scorer.strongest_near(between))
            if seen.size < 2:
                continue
            if np.mean(seen >= PRESENT) > 0.5 and np.median(seen) >= _SAME_COMB * np.median(multiples):
                return divisor
        return 1

    def _comb(self, at: int, scores: NDArray[np.float64]) -> Comb:
        divisor = self._divisor(float(self.bases[at]))
        base = float(self.bases[at]) / divisor
        owners = self._owners(base)
        lines = self.scorer.lines(base)
        for _ in range(_REFINEMENTS):  # a window about a base 0.1 % off may hold only the skirt of a line
            refined = _refined(base, lines)
            if refined == base:
                break
            base, lines = refined, self.scorer.lines(refined)
        bare = self._without_sidebands(lines, owners)
        owners.sort(key=lambda h: h in bare)  # the nearest that shows what it should, then the nearest
        evidence, depths = [], []
        owner = self.hypotheses[owners[0]] if owners else None
        expected = owner.order * self.speed_hz if owner else base
        for n, (found, strength) in enumerate(lines, start=1):
            name = f"{n}x {owner.fault.replace('_', ' ')}" if owner else f"{n}x"
            if strength <= 0:
                evidence.append(EvidenceLine(name, n * expected, None, None, self._why_no_line(n * base)))
                continue
            evidence.append(EvidenceLine(name, n * expected, found, 10 * float(np.log10(max(strength, 1e-3)))))
            depths.append(float(self.envelope.depth[round(found / self.envelope.bin_hz)]))
        log_chance = float(scores[at]) + np.log(self.tried if owners else self.bases.size)
        testable = divisor == 1 or bool(self.scorer.testable(np.array([base]))[0])
        return Comb(
            hypothesis=owner,
            rivals=tuple(self._rivals(owners)),
            base_hz=base,
            noise_false_alarm=reported(log_chance),
            attribution_false_alarm=self._attribution(base, float(scores[at]), owners[0], bare) if owners and testable else 1.0,
            strength_db=10 * float(np.log10(max(sum(strength for _, strength in lines), 1e-3))),
            depth=float(np.sqrt(np.sum(np.square(depths)))),
            evidence=tuple(evidence),
            sidebands=self._all_sidebands(lines, owner) if owner else 0,
            fits=tuple(self._fits(owners)),
        )

    def _without_sidebands(self, lines: list[tuple[float, float]], owners: list[int]) -> set[int]:
        """Those whose spot goes through the load zone, and none of the sidebands that this makes is there though it would show."""
        if max((strength for _, strength in lines), default=0.0) < _SIDEBANDS_SHOW * PRESENT:
            return set()
        through = [h for h in owners if self.hypotheses[h].through_load]
        return {h for h in through if not self._all_sidebands(lines, self.hypotheses[h])}

    def _all_sidebands(self, lines: list[tuple[float, float]], owner: Hypothesis) -> int:
        return sum(self._sidebands(lines, order * self.speed_hz) for order in owner.modulations)

    def _attribution(self, base_hz: float, score: float, owner: int, bare: set[int]) -> float:
        """The larger of the odds against a stranger at this very place and the share of decoys that score as well; `bare` are the
        hypotheses that lack their sidebands.
        """
        hypothesis = self.hypotheses[owner]
        near = np.abs(self.rates / self.rates[owner] - 1) <= SAME_RATE
        group = [h for h, other in enumerate(self.hypotheses) if near[h] or other.same_fault(hypothesis)]
        away = np.log(base_hz / self.rates)
        width = np.hypot(SLIP_SPREAD, (self.bands - SLIP_BAND) / 2)
        likelihood = np.exp(-0.5 * (away / width) ** 2) / (width * np.sqrt(2 * np.pi)) * self.weights
        likelihood[sorted(bare)] *= _BARE
        stranger = STRANGER_WEIGHT / self.log_range
        elsewhere = stranger + likelihood.sum() - likelihood[group].sum()
        odds = float(elsewhere / (elsewhere + likelihood[group].sum()))
        modulations = tuple(order * self.speed_hz for order in hypothesis.modulations)
        lines = comb_lines(base_hz, modulations, highest_hz=5 * float(self.bases[-1]))
        related = _stands_on(self.bases, lines, within=3 * ALIGNMENT)
        related[self.inside[owner]] = True
        return max(odds, self._decoy_share(score, ~related), MEASURED_CONFUSION)

    def _decoy_share(self, score: float, unrelated: NDArray[np.bool_]) -> float:
        """Share of stretches as wide as a slip band whose best base, unrelated to the comb, scores as well."""
        stretch = max(int(2 * SLIP_BAND / ALIGNMENT), 1)
        count = self.bases.size // stretch
        best = np.where(unrelated, self.decoy_scores, 0.0)[: count * stretch].reshape(count, stretch).min(axis=1)
        return float((1 + np.sum(best <= score)) / (1 + unrelated.sum() / stretch))

    def _rivals(self, owners: list[int]) -> list[Hypothesis]:
        if not owners:
            return []
        own, near = self.hypotheses[owners[0]], np.abs(self.rates / self.rates[owners[0]] - 1) <= SAME_RATE
        others = [other for h, other in enumerate(self.hypotheses) if near[h] and not other.same_fault(own)]
        return list({(other.component, other.fault): other for other in others}.values())

    def _fits(self, owners: list[int]) -> list[str]:
        """Makes of the nearest part and fault whose band holds the base."""
        makes = [self.hypotheses[h].candidate for h in owners if self.hypotheses[h].same_fault(self.hypotheses[owners[0]])]
        return [make for make in makes if make]

    def _sidebands(self, lines: list[tuple[float, float]], modulation_hz: float) -> int:
        strength, bin_hz, found = self.envelope.strength, self.envelope.bin_hz, 0
        for hz, line in lines:
            for side in (hz - modulation_hz, hz + modulation_hz):
                at = round(side / bin_hz) if line > 0 else 0
                if 1 < at < strength.size - 1 and strength[at - 1 : at + 2].max() >= PRESENT:
                    found += 1
        return found

    def _present(self, lines_hz: NDArray[np.float64]) -> NDArray[np.float64]:
        at = np.rint(lines_hz / self.envelope.bin_hz).astype(np.intp)
        lines_hz, at = (
            lines_hz[(at > 1) & (at < self.envelope.strength.size - 1)],
            at[(at > 1) & (at < self.envelope.strength.size - 1)],
        )
        highest = np.maximum.reduce([self.envelope.strength[at + shift] for shift in (-1, 0, 1)])
        return np.asarray(lines_hz[highest >= PRESENT])

    def _unsure_which_race(self, comb: Comb) -> bool:
        """Whether the other race of the same bearing shows nearly as strong a line: a rolling element strikes both."""
        own = comb.hypothesis
        if own is None or own.fault not in _RACES:
            return False
        others = [
            (rate, SLIP_BAND + other.spread)
            for other, rate in zip(self.hypotheses, self.rates, strict=True)
            if (other.component, other.candidate) == (own.component, own.candidate)
            and other.fault in _RACES
            and other.fault != own.fault
        ]
        if not others:
            return False
        rate, band = others[0]
        near = rate * np.arange(1 - band, 1 + band, ALIGNMENT)
        height = 10 ** (next(line.snr_db for line in comb.evidence if line.snr_db is not None) / 10)
        strongest = _known(self.scorer.strongest_near(near))
        present = _SIBLING_PRESENT + np.log(band / SLIP_BAND)  # a wider band holds more bins for a chance find
        return bool(strongest.size and strongest.max() >= max(_SIBLING * height, present))

    def _lines_of(self, comb: Comb) -> NDArray[np.float64]:
        """Every line the comb may have in what is looked at; a stranger may be modulated by any of the drive's
        shafts.
        """
        owners = (comb.hypothesis,) if comb.hypothesis else self.hypotheses
        modulations = tuple({order * self.speed_hz for owner in owners for order in owner.modulations})
        return comb_lines(comb.base_hz, modulations, highest_hz=5 * float(self.bases[-1]))

    def _why_no_line(self, line_hz: float) -> str:
        if line_hz * (1 + ALIGNMENT) >= (self.envelope.strength.shape[-1] - 1) * self.envelope.bin_hz:
            return "lies beyond what this record's sample rate shows"
        return "stands on a line of a shaft, a mesh or a comb explained before"

    def _why_not(self, rate_hz: float) -> str:
        if 3 * rate_hz > self.envelope.strength.shape[-1] * self.envelope.bin_hz:
            return "its third harmonic lies beyond what this record's sample rate shows"
        if rate_hz < 4 * self.envelope.bin_hz:
            return "the record is too short to resolve it"
        return "its lines fall on lines of shafts or meshes"


def _weights(hypotheses: tuple[Hypothesis, ...]) -> NDArray[np.float64]:
    """Share of each hypothesis before anything is seen: every fault of every part alike, its makes alike within it."""
    makes = Counter((one.component, one.fault) for one in hypotheses)
    share = np.array([1 / makes[one.component, one.fault] for one in hypotheses])
    return np.asarray(share / share.sum())


def _is_modulation(comb: Comb, claims: list[Comb]) -> bool:
    """Whether a cage comb comes from a fault of the same bearing that is claimed already."""
    if comb.hypothesis is None or comb.hypothesis.fault != "cage":
        return False
    return any(claim.hypothesis is not None and claim.hypothesis.component == comb.hypothesis.component for claim in claims)


def _refined(base_hz: float, lines: list[tuple[float, float]]) -> float:
    """Base frequency from where its lines stand: neighbouring bases of the scan score alike, so the scan's is 0.1 % off.

    Each line found at a bin is as far off as any other in hertz, so harmonic n tells the base n times as well and counts n^2.
    """
    seen = [(n, found) for n, (found, strength) in enumerate(lines, start=1) if strength >= PRESENT]
    return sum(n * found for n, found in seen) / sum(n * n for n, _ in seen) if seen else base_hz


def _known(strengths: NDArray[np.float64]) -> NDArray[np.float64]:
    return strengths[~np.isnan(strengths)]


def _belongs_to(base_hz: float, earlier_hz: float, lines_hz: NDArray[np.float64]) -> bool:
    """Whether a comb is what is left of one explained before: its smeared skirt, or one of its lines."""
    return abs(base_hz / earlier_hz - 1) <= SLIP_BAND or bool(_stands_on(base_hz, lines_hz, within=_SMEAR))


def _stands_on(bases_hz: NDArray[np.float64] | float, lines_hz: NDArray[np.float64], *, within: float) -> NDArray[np.bool_]:
    """Whether the fundamental of each base is one of these lines, within a relative distance."""
    bases = np.asarray(bases_hz, np.float64)
    at = np.clip(np.searchsorted(lines_hz, bases), 1, lines_hz.size - 1)
    nearest = np.minimum(np.abs(bases - lines_hz[at - 1]), np.abs(bases - lines_hz[at]))
    return np.asarray(nearest <= within * bases)
