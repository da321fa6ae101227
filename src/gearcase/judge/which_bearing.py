"""Which bearing of a list is fitted here, by the combs of an envelope spectrum: one, either of several, none, or no telling?

Theory of operation
-------------------
1. Combs that noise does not explain are found by `judge.faults`, with the rates of all candidates as its hypotheses; the bases
   tried for all of them are paid for there.
2. A candidate makes a comb at the rate of one of its races or elements, each as likely, off by slip and by what is not known; or
   the comb is a stranger's, anywhere in the range looked at on a logarithmic scale. Cage combs tell little and are left out:
   cages of all bearings turn at about 0.4 of their shaft; so are combs at a shaft's own low harmonics.
3. Bayes' rule over the candidates and "none of these", which has the weight that `judge.faults` gives a stranger; so a longer list
   is dearer. Candidates within odds of 20 to 1 of the best are reported together, with what would tell them apart; nobody is
   named where "none of these" is the most probable, and its probability is always said.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gearcase.drive.bearing_lines import PASS_RATES, bearing_order, bearing_order_spread, bearing_rates
from gearcase.drive.bearings import Candidate
from gearcase.errors import OutOfRange
from gearcase.judge.combs import SLIP_BAND
from gearcase.judge.faults import NOISE_LIMIT, SLIP_SPREAD, STRANGER_WEIGHT, Comb, Hypothesis, judge_bearings
from gearcase.signal.envelope import EnvelopeSpectrum
from gearcase.units import percent

__all__ = ["NONE_OF_THESE", "Ranked", "WhichBearing", "which_bearing"]

NONE_OF_THESE = "none of these"
_TOLD_APART = 20.0  # odds; as for two speeds that fit alike
_FOREIGN_COMB = 0.1  # chance that one of a damaged bearing's combs is a neighbour's; assumed


@dataclass(frozen=True)
class Ranked:
    """A candidate with its `probability` [-], and what its best comb would be: `fault`, and how far `off` its rate the comb stands,
    relative [-]; empty and NaN for "none of these".
    """

    name: str
    probability: float
    fault: str
    off: float


@dataclass(frozen=True)
class WhichBearing:
    """The answer: `names` of the candidates that cannot be told apart, one where it is decided, none where nothing can be told;
    `says` in words with what to do; `ranked` all candidates with "none of these", the most probable first.
    """

    names: tuple[str, ...]
    says: str
    ranked: tuple[Ranked, ...]


def which_bearing(
    envelope: EnvelopeSpectrum,
    candidates: Sequence[Candidate],
    *,
    rings: tuple[float, float],
    speed_hz: float,
    speed_spread: float,
    explained_orders: NDArray[np.float64],
) -> WhichBearing:
    """Rank candidates by how well each explains the combs of an envelope spectrum.

    Parameters
    ----------
    envelope : EnvelopeSpectrum
        Of one record, arrays of shape (bins,).
    candidates : sequence of Candidate
        Of one position; names all different.
    rings : tuple of float
        Signed orders of the inner and the outer ring; (1, 0) for the usual bearing on the reference shaft. [-]
    speed_hz : float
        Of the reference shaft. [Hz]
    speed_spread : float
        Half-width of what is not known about the speed, relative. [-]
    explained_orders : ndarray, shape (lines,)
        Orders of shaft and mesh lines, as for `judge_bearings`. [-]

    Raises
    ------
    OutOfRange
        No candidate, two of one name, or rings that turn together.
    """
    names = [candidate.name for candidate in candidates]
    if not names or len(set(names)) < len(names):
        raise OutOfRange("candidates", names, "one or more, of different names")
    if rings[0] == rings[1]:
        raise OutOfRange("rings", rings, "rings that turn against each other: no element passes otherwise")
    told = {(one.name, fault): _hypothesis(one, fault, rings) for one in candidates for fault in bearing_rates(one.shape)}
    judged = judge_bearings(
        envelope, tuple(told.values()), speed_hz=speed_hz, speed_spread=speed_spread, explained_orders=explained_orders
    )
    combs = [
        comb
        for comb in (*judged.claims, *judged.uncertain, *judged.strangers, *judged.faint)
        if comb.noise_false_alarm <= NOISE_LIMIT and not _of_shaft_or_cage(comb, [abs(ring) * speed_hz for ring in rings])
    ]
    if not combs:
        return WhichBearing((), "cannot tell: no comb of a bearing stands out; a sound bearing names nobody, read its ring", ())
    passing = [[told.get((name, fault)) for fault in PASS_RATES] for name in names]  # None where a rule of thumb tells nothing
    rates = np.array([[each.order * speed_hz if each else np.nan for each in row] for row in passing])
    spreads = np.array([[each.spread + speed_spread if each else np.nan for each in row] for row in passing])
    width = np.hypot(SLIP_SPREAD, spreads / 2)
    away = np.log(np.array([comb.base_hz for comb in combs])[:, None, None] / rates)  # (combs, candidates, faults)
    density = np.exp(-0.5 * (away / width) ** 2) / (width * np.sqrt(2 * np.pi))
    anywhere = 1 / np.log(4 * np.nanmax(rates) / np.nanmin(rates))  # looked at from half the lowest to double the highest rate
    likelihood = np.prod((1 - _FOREIGN_COMB) * np.nanmean(density, axis=2) + _FOREIGN_COMB * anywhere, axis=0)
    weights = np.append(likelihood / len(candidates), STRANGER_WEIGHT * anywhere ** len(combs))
    probabilities = weights / weights.sum()
    ranked = sorted(
        (_ranked(name, float(p), row) for name, p, row in zip(names, probabilities[:-1], np.swapaxes(away, 0, 1), strict=True)),
        key=lambda one: -one.probability,
    )
    none = Ranked(NONE_OF_THESE, float(probabilities[-1]), "", float("nan"))
    alike = [one for one in ranked if one.probability * _TOLD_APART > ranked[0].probability]
    together = tuple(sorted((*ranked, none), key=lambda one: -one.probability))
    decided = alike if ranked[0].probability > none.probability else []
    return WhichBearing(*_answer(decided, none, combs, dict(zip(names, rates, strict=True)), envelope.bin_hz), together)


def _hypothesis(candidate: Candidate, fault: str, rings: tuple[float, float]) -> Hypothesis:
    """A fault of a candidate; modulation as of the ring that turns."""
    order, spread = bearing_order(fault, rings, candidate.shape), bearing_order_spread(fault, rings, candidate.shape)
    return Hypothesis(candidate.name, fault, order, spread, abs(rings[0]) or abs(rings[1]))


def _of_shaft_or_cage(comb: Comb, rings_hz: Sequence[float]) -> bool:
    """Whether it says nothing of the bearing: a cage's, or at no candidate's rate and a low harmonic of a turning ring."""
    if comb.hypothesis is not None:
        return comb.hypothesis.fault == "cage"
    return any(abs(comb.base_hz / (n * ring) - 1) <= SLIP_BAND for ring in rings_hz if ring for n in (1, 2, 3))


def _ranked(name: str, probability: float, away: NDArray[np.float64]) -> Ranked:
    """With the fault that comes nearest to any comb; `away` has shape (combs, faults)."""
    comb, fault = np.unravel_index(int(np.nanargmin(np.abs(away))), away.shape)
    return Ranked(name, probability, PASS_RATES[int(fault)], float(np.expm1(away[comb, fault])))


def _answer(
    alike: Sequence[Ranked], none: Ranked, combs: Sequence[Comb], rates: dict[str, NDArray[np.float64]], bin_hz: float
) -> tuple[tuple[str, ...], str]:
    names = tuple(one.name for one in alike)
    found = " and ".join(f"{comb.base_hz:.2f} Hz" for comb in combs)
    if not names:
        return (), (
            f"none of these: no candidate explains the comb at {found} better than a stranger; read the ring, or measure it"
        )
    doubt = f"; none of these has probability {none.probability:.2g}"
    if len(alike) == 1:
        one = alike[0]
        off = percent(abs(one.off), 2)
        return names, f"{one.name}: its {one.fault.replace('_', ' ')} rate lies {off} from a comb at {found}{doubt}"
    first, second = rates[names[0]], rates[names[1]]
    apart = np.abs(np.log(first / second))
    widest = int(np.nanargmax(apart))
    words = f"either {' or '.join(names)}: their rates at {found} lie within slip or resolution of each other{doubt}"
    if apart[widest] <= 2 * SLIP_BAND:
        return names, f"{words}; none of their rates differ by more than slip, so no recording tells them apart: read the ring"
    seconds = 4 / (apart[widest] * min(first[widest], second[widest]))
    record = "a recording" if seconds <= 1 / bin_hz else f"a recording of at least {seconds:.2g} s"
    return names, (
        f"{words}; the {PASS_RATES[widest].replace('_', ' ')} rates of the first two differ by {percent(apart[widest], 1)}: "
        f"{record} that shows such a comb tells them apart, or the ring"
    )
