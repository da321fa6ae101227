"""Does something happen at one place of every turn, and how likely is that by chance?

Theory of operation
-------------------
The lines of a shaft at orders k = 4, 5, ... up to the record's end are taken with their phases (`angular`), each over its local
noise, and lines that stand over their neighbours are limited, so that a few strong ones do not speak for all. Transformed back
they are the average turn, whitened: one value for each resolvable place, K places for K orders. Where the phases of the lines
are random, in noise and in the unevenness every sound gear has, the power at each place is exponential with mean 1, and the power
over w places gamma distributed. A damaged tooth aligns the phases: its place stands out. Looked at are all places, and widths up
to what one tooth is in mesh; every one of them is counted as tried (Bonferroni).

No two teeth of a sound gear are alike: the mesh comes stronger or weaker tooth by tooth, and a few dozen teeth are few draws. So
the energy in the pitch of the strongest place must stand out of that in the others'. Energies of teeth whose differences are
complex Gaussian in one harmonic alone, the least even case, are exponential, in several harmonics and noise gamma distributed. The
shape is taken from the other pitches (mean square over variance, less by a factor of 1 + 50 / z for its own error in z teeth, 1 at
least); the ratio of one to the mean of the others is then F distributed. Of fewer than 13 teeth the largest share g of the whole
has chance z (1 - g)^(z - 1) at most in the least even case (R. A. Fisher, Tests of significance in harmonic analysis, Proc. R. Soc.
A 125 (1929)). A window of one pitch can lie between two teeth, so there are twice as many. The larger of the two chances counts: a
damaged tooth stands out of random phases and of the other teeth.

Where two gears' teeth meet, what one leaves in the mesh is multiplied by what the other does and by what both share (their
assembly phase): energies of the meetings of two sound gears are products of three exponential ones (of two they are K distributed:
E. Jakeman, P. N. Pusey, IEEE Trans. Antennas Propag. 24 (1976) 806), whose tail is far heavier than their variance tells of a gamma
distribution. All of the others' variance, 7 b^2, may be of such products of mean b (the rest, which does not vary, is noise), and
the larger of both chances counts.

The lines of either gear's turn, left out, make a meeting echo at others (of every second line left out, at the opposite one): what
echoes is none of the others.

Both halves of a record must show it at the same place: the less of the two counts. A single knock from outside is in one only.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.fft
import scipy.ndimage
import scipy.special
from numpy.typing import NDArray

from gearcase.judge.patterns.angular import AngularHalves
from gearcase.signal.spectrum import block_floor

__all__ = ["FEWEST_ORDERS", "Impulse", "as_sure", "impulse"]

FIRST_ORDER = 4  # below: unbalance, alignment, couplings
FEWEST_ORDERS = 32  # that make a place of a turn; common practice, no source
_LIMIT = 4.0  # times the local median of lines, as `signal.envelope` limits its own
_MEDIAN_ORDERS = 32  # orders of which that median is taken
_SAME = 1e-7  # relative: orders of two shafts that are one
_MOST_PLACES = 8  # that a turn may be divided into before it is another shaft's
_TEETH_WITH_A_SHAPE = 13  # of fewer, their energies do not tell their own distribution
_OF_ITS_OWN_ERROR = 50.0  # simulated, z from 13 and shapes from 1 to 16: half of it would keep a stated 0.001
_AT_ONCE = 10  # neighbouring turns of many that are looked at over as many orders
_THIRD = np.geomspace(1e-4, 100, 200)
_AS_MUCH = 0.3  # of the strongest place's power: a place that repeats it
_ECHO = 0.01  # of a place's energy; common practice, no source


@dataclass(frozen=True)
class Impulse:
    """What stands out at one place of a turn.

    Attributes
    ----------
    log_chance : float
        Natural log of the chance that random phases do as well, all places and widths tried. [-]
    place : float
        Part of a turn from where the angle is 0. [-]
    contrast : float
        Its power over the mean of the turn, the less of both halves. [-]
    places : int
        At how many equally spaced places of the turn it stands: 1 for a tooth. [-]
    orders : int
        That could be looked at. [-]
    level : float
        Amplitude of its lines over the noise, where they are all its own, the less of both halves. [-]
    """

    log_chance: float
    place: float
    contrast: float
    places: int
    orders: int
    level: float


def impulse(
    halves: AngularHalves,
    base: float,
    *,
    width: float,
    teeth: int,
    others: Sequence[float] = (),
    regular: Sequence[int] = (),
    of_two: bool = False,
) -> Impulse | None:
    """The strongest place of a turn; None where too few orders can be looked at.

    Parameters
    ----------
    halves : AngularHalves
    base : float
        Turns per turn of the reference shaft of what is looked at. [-]
    width : float
        Widest place, as part of a turn. [-]
    teeth : int
        Cycles of the mesh in the turn. [-]
    others : sequence of float
        Orders of the reference shaft whose multiples are somebody else's lines. [-]
    regular : sequence of int
        Orders of the turn that a sound gear shows: its mesh and first sidebands. [-]
    of_two : bool
        A cycle of the mesh is a meeting of two gears' teeth, whose differences multiply.
    """
    count = _orders(halves, base)
    order = FIRST_ORDER + np.arange(count, dtype=np.float64)
    shared = np.zeros(count, np.bool_)
    for other in others:
        multiple = order * base / other
        shared |= (np.rint(multiple) > 0) & (np.abs(multiple - np.rint(multiple)) <= _SAME * multiple)
    left_out = shared.copy()
    left_out[[one - FIRST_ORDER for one in regular if FIRST_ORDER <= one < FIRST_ORDER + count]] = True
    kept = int(count - left_out.sum())
    if kept < FEWEST_ORDERS:
        return None
    energy = _turns(halves, np.array([base]), left_out)
    power = _over_mean(energy)
    log_chance, at, places = (float(row[0]) for row in _surest(power, width))
    if log_chance < 0:
        echoes = _echoes(shared, teeth) if of_two and shared.any() else np.zeros(teeth, np.bool_)
        log_chance = max(log_chance, float(_tooth_log_chance(power, ~echoes, of_two)[0]))
    if log_chance >= 0:
        return Impulse(0.0, 0.0, 0.0, 1, kept, 0.0)
    first, long = int(at), int(places)
    both = _moving_sum(power[0], long).min(axis=0)
    level = np.sqrt(_moving_sum(energy[0], long)[:, first].min() * count / kept)
    middle = (first + (long - 1) / 2) / count
    return Impulse(log_chance, middle % 1.0, float(both[first] / long), _repeats(both, first, long), kept, float(level))


def as_sure(
    halves: AngularHalves,
    bases: NDArray[np.float64],
    log_chance: float,
    *,
    width: float,
    teeth: int,
    of_two: bool = False,
) -> NDArray[np.bool_]:
    """Whether turns in which nobody's lines are left out show a place as sure as `Impulse.log_chance`; of those with orders enough.

    Ten neighbours are looked at over as many orders as the fastest of them has, at most a third fewer than their own, so that they
    transform together: the chance is one for any number of orders. Only those that show as sure a place in the first half of the
    record are looked at in both.

    Parameters
    ----------
    halves : AngularHalves
    bases : ndarray, shape (bases,)
        Turns per turn of the reference shaft, the slowest first. [-]
    log_chance : float
        Below 0. [-]
    width : float
        Widest place, as part of a turn. [-]
    teeth : int
        Places that could each differ from the others, as the teeth of a gear do. [-]
    of_two : bool
        As of `impulse`.
    """
    found, every, first = [np.empty(0, np.bool_)], np.ones(teeth, np.bool_), halves.first()
    bases = bases[[_orders(halves, base) >= FEWEST_ORDERS for base in bases]]
    for begin in range(0, bases.size, _AT_ONCE):
        some = bases[begin : begin + _AT_ONCE]
        nothing = np.zeros(_orders(halves, some[-1]), np.bool_)
        sure = _surest(_over_mean(_turns(first, some, nothing)), width)[0] <= log_chance
        if sure.any():
            power = _over_mean(_turns(halves, some[sure], nothing))
            sure[sure] = np.maximum(_surest(power, width)[0], _tooth_log_chance(power, every, of_two)) <= log_chance
        found.append(sure)
    return np.concatenate(found)


def _orders(halves: AngularHalves, base: float) -> int:
    """How many orders of a turn are looked at: nearly all that can be, so many that they transform fast."""
    most = int(halves.top / base) + 1 - FIRST_ORDER
    return int(scipy.fft.prev_fast_len(most)) if most > 0 else 0


def _turns(halves: AngularHalves, bases: NDArray[np.float64], left_out: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Energy at the places of whitened average turns, as many as there are orders, shape (turns, halves, orders)."""
    values = halves.multiples(bases, first=FIRST_ORDER, count=left_out.size)
    values[..., left_out] = 0
    magnitude = np.abs(values)
    seen = np.where(left_out, np.median(magnitude, axis=-1, keepdims=True), magnitude) if left_out.any() else magnitude
    usual = block_floor(seen, width=_MEDIAN_ORDERS)
    values *= 1 / np.maximum(1.0, magnitude / (_LIMIT * usual))
    return np.asarray(np.square(np.abs(scipy.fft.ifft(values, axis=-1, overwrite_x=True)), dtype=np.float64))


def _over_mean(energy: NDArray[np.float64]) -> NDArray[np.float64]:
    """Power at each place of turns, whose mean over the turn is 1."""
    return np.asarray(energy / energy.mean(axis=-1, keepdims=True))


def _surest(power: NDArray[np.float64], width: float) -> tuple[NDArray[np.float64], NDArray[np.intp], NDArray[np.intp]]:
    """Least log chance of a place of each turn in all halves, all places and widths tried, where it begins and how many it is wide.

    Shape (turns,) each.
    """
    turns, _, count = power.shape
    widths, sums = np.array(_widths(count, width)), power
    begins, strongest = np.empty((widths.size, turns), np.intp), np.empty((widths.size, turns))
    for n, places in enumerate(widths):
        if n:
            half = places // 2
            sums = sums + np.concatenate([sums[..., half:], sums[..., :half]], axis=-1)
        least = sums.min(axis=1)
        begins[n], strongest[n] = least.argmax(axis=-1), least.max(axis=-1)
    log_chance = _power_log_chance(strongest, widths[:, None]) + np.log(count * widths.size)
    best = log_chance.argmin(axis=0), np.arange(turns)
    return log_chance[best], begins[best], widths[best[0]]


def _tooth_log_chance(power: NDArray[np.float64], counted: NDArray[np.bool_], of_two: bool) -> NDArray[np.float64]:
    """Log chance that the pitch of the strongest place stands out of the others, those of them `counted`; shape (turns,)."""
    count, teeth = power.shape[-1], counted.size
    energy = _moving_sum(power, max(round(count / teeth), 1)).min(axis=1)
    away = np.rint(np.arange(teeth) * (count / teeth)).astype(np.intp)
    of_each = np.take_along_axis(energy, (energy.argmax(axis=-1)[:, None] + away) % count, axis=-1)
    others = counted.copy()
    others[[0, 1, -1]] = False  # a strong one reaches into its neighbours
    return _outlier_log_chance(of_each, others, of_two)


def _echoes(shared: NDArray[np.bool_], teeth: int) -> NDArray[np.bool_]:
    """At which pitches from a place an average turn repeats it where these of its orders are left out, shape (teeth,)."""
    count = shared.size
    echo = np.abs(scipy.fft.ifft(~shared)) ** 2
    near = scipy.ndimage.maximum_filter1d(echo, 2 * max(round(count / teeth), 1) - 1, mode="wrap")
    return np.asarray(near[np.rint(np.arange(teeth) * (count / teeth)).astype(np.intp) % count] >= _ECHO * echo[0])


def _power_log_chance(power: NDArray[np.float64], places: NDArray[np.intp] | int) -> NDArray[np.float64]:
    """Natural log of an upper bound of the gamma distribution's tail, of whole shape w and mean w, at x.

    e^-x x^(w-1) / (w-1)! times x / (x - w + 1), the sum of a geometric series that its own terms fall faster than.
    """
    above = np.maximum(power, places)
    tail = places * np.log(above) - above - scipy.special.gammaln(places) - np.log(above - places + 1)
    return np.where(power > places, tail, 0.0)


def _outlier_log_chance(energy: NDArray[np.float64], others: NDArray[np.bool_], of_two: bool = False) -> NDArray[np.float64]:
    """Natural log of the chance that sound teeth show one as strong as the first of these, shape (turns, teeth), the strongest."""
    teeth = energy.shape[-1]
    if teeth < _TEETH_WITH_A_SHAPE:
        share = energy[:, 0] / energy.sum(axis=-1)
        return np.asarray(np.log(2 * teeth) + (teeth - 1) * np.log(np.maximum(1 - share, np.finfo(np.float64).tiny)))
    rest = energy[:, others]
    mean, number = rest.mean(axis=-1), rest.shape[-1]
    uneven = (1 + _OF_ITS_OWN_ERROR / teeth) * rest.var(axis=-1, ddof=1) / mean**2
    shape = 1 / np.minimum(1.0, uneven)
    chance = scipy.special.betainc(shape * number, shape, number / (number + energy[:, 0] / mean))
    log_chance = np.log(np.maximum(chance, np.finfo(np.float64).tiny))
    if of_two:
        log_chance = np.maximum(log_chance, _product_log_chance(energy[:, 0] / mean, np.sqrt(uneven / 7)))
    return np.asarray(np.log(2 * teeth) + log_chance)


def _product_log_chance(energy: NDArray[np.float64], share: NDArray[np.float64]) -> NDArray[np.float64]:
    """Natural log of the chance of this energy over the mean, of which a share is the product of three exponential ones.

    Of two it is 2 s K1(2 s) beyond s^2; of three its mean over the third, summed over even steps of that one's logarithm.
    """
    share = np.minimum(share, 1.0)
    beyond = np.maximum(energy - (1 - share), np.finfo(np.float64).tiny) / share
    s = 2 * np.sqrt(beyond[:, None] / _THIRD)
    of_two = np.log(s) + np.log(scipy.special.k1e(s)) - s
    step = np.log(_THIRD[1] / _THIRD[0])
    return np.asarray(scipy.special.logsumexp(of_two - _THIRD + np.log(_THIRD * step), axis=-1))


def _widths(places: int, width: float) -> list[int]:
    """1, 2, 4, ... places up to a width."""
    found = [1]
    while 2 * found[-1] <= width * places:
        found.append(2 * found[-1])
    return found


def _moving_sum(power: NDArray[np.float64], places: int) -> NDArray[np.float64]:
    """Over so many places from each one on, round the turn; shape as given."""
    summed = np.zeros((*power.shape[:-1], power.shape[-1] + places))
    np.cumsum(np.concatenate([power, power[..., : places - 1]], axis=-1), axis=-1, out=summed[..., 1:])
    return np.asarray(summed[..., places:] - summed[..., :-places])


def _repeats(both: NDArray[np.float64], at: int, places: int) -> int:
    """The most parts a turn can be divided into so that each shows the same at its own place."""
    found, as_much = 1, scipy.ndimage.maximum_filter1d(both, 2 * places + 1, mode="wrap") >= _AS_MUCH * both[at]
    for parts in range(2, _MOST_PLACES + 1):
        there = np.rint(at + np.arange(1, parts) * both.size / parts).astype(np.intp)
        if as_much[there % both.size].all():
            found = parts
    return found
