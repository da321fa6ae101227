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

__all__ = ["FEWEST_ORDERS", "Impulse", "impulse", "log_chances"]

FIRST_ORDER = 4  # below: unbalance, alignment, couplings
FEWEST_ORDERS = 32  # that make a place of a turn; common practice, no source
_LIMIT = 4.0  # times the local median of lines, as `signal.envelope` limits its own
_MEDIAN_ORDERS = 32  # orders of which that median is taken
_SAME = 1e-7  # relative: orders of two shafts that are one
_MOST_PLACES = 8  # that a turn may be divided into before it is another shaft's
_TEETH_WITH_A_SHAPE = 13  # of fewer, their energies do not tell their own distribution
_OF_ITS_OWN_ERROR = 50.0  # simulated, z from 13 and shapes from 1 to 16: half of it would keep a stated 0.001
_AT_ONCE = 2**14  # orders: more fill the cache, and gain nothing
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
    count = _orders(halves, np.array([base]))[0]
    order = FIRST_ORDER + np.arange(max(count, 0), dtype=np.float64)
    shared = np.zeros(order.size, np.bool_)
    for other in others:
        multiple = order * base / other
        shared |= (np.rint(multiple) > 0) & (np.abs(multiple - np.rint(multiple)) <= _SAME * multiple)
    left_out = shared | np.isin(order, np.asarray(regular, np.float64))
    kept = int(count - left_out.sum())
    if kept < FEWEST_ORDERS:
        return None
    energy = _turns(halves, np.array([base]), np.array([count]), left_out)
    power = energy / energy.mean(axis=-1, keepdims=True)
    log_chance, at, places = (float(row[0]) for row in _surest(power, np.array([count]), width, teeth, of_two, shared))
    if log_chance == 0:
        return Impulse(0.0, 0.0, 0.0, 1, kept, 0.0)
    first, long = int(at), int(places)
    both = _moving_sum(power[0], long).min(axis=0)
    level = np.sqrt(_moving_sum(energy[0], long)[:, first].min() * count / kept)
    middle = (first + (long - 1) / 2) / count
    return Impulse(log_chance, middle % 1.0, float(both[first] / long), _repeats(both, first, long), kept, float(level))


def log_chances(
    halves: AngularHalves, bases: NDArray[np.float64], *, width: float, teeth: int, of_two: bool = False
) -> NDArray[np.float64]:
    """`Impulse.log_chance` of many turns in which nobody's lines are left out; of those with orders enough. [-]

    Parameters
    ----------
    halves : AngularHalves
    bases : ndarray, shape (bases,)
        Turns per turn of the reference shaft. [-]
    width : float
        Widest place, as part of a turn. [-]
    teeth : int
        Places that could each differ from the others, as the teeth of a gear do. [-]
    of_two : bool
        As of `impulse`.
    """
    counts = _orders(halves, bases)
    bases, counts = bases[counts >= FEWEST_ORDERS], counts[counts >= FEWEST_ORDERS]
    found, begin = [np.empty(0)], 0
    while begin < bases.size:
        many = max(_AT_ONCE // int(counts[begin:].max()), 1)
        some = slice(begin, begin + many)
        nothing = np.zeros(counts[some].max(), np.bool_)
        energy = _turns(halves, bases[some], counts[some], nothing)
        power = energy * (counts[some, None, None] / energy.sum(axis=-1, keepdims=True))
        found.append(_surest(power, counts[some], width, teeth, of_two, nothing)[0])
        begin += many
    return np.concatenate(found)


def _orders(halves: AngularHalves, bases: NDArray[np.float64]) -> NDArray[np.intp]:
    """How many orders of each turn are looked at: nearly all that can be, so many that they transform fast."""
    most = np.floor(halves.top / bases).astype(np.intp) + 1 - FIRST_ORDER
    return np.array([scipy.fft.prev_fast_len(int(count)) if count > 0 else 0 for count in most])


def _turns(
    halves: AngularHalves, bases: NDArray[np.float64], counts: NDArray[np.intp], left_out: NDArray[np.bool_]
) -> NDArray[np.float64]:
    """Energy at the places of whitened average turns of so many orders each, shape (turns, 2, most); 0 beyond a turn's count."""
    most = int(counts.max())
    values = halves.multiples(bases, first=FIRST_ORDER, counts=counts)
    values[..., : left_out.size][..., left_out] = 0
    magnitude = np.abs(values)
    seen = np.where(left_out, np.median(magnitude, axis=-1, keepdims=True), magnitude) if left_out.any() else magnitude
    place, whole = np.arange(most), np.maximum(counts // _MEDIAN_ORDERS, 1)[:, None] * _MEDIAN_ORDERS
    again = np.where(place < whole, place, np.maximum(whole - _MEDIAN_ORDERS, 0) + place % _MEDIAN_ORDERS)  # the last block, on
    usual = block_floor(_each_at(seen, again), width=_MEDIAN_ORDERS)
    values *= 1 / np.maximum(1.0, magnitude / (_LIMIT * usual))
    for turn, count in enumerate(counts):
        values[turn, :, :count] = scipy.fft.ifft(values[turn, :, :count], axis=-1)
    return np.asarray(np.square(np.abs(values), dtype=np.float64))


def _surest(
    power: NDArray[np.float64],
    counts: NDArray[np.intp],
    width: float,
    teeth: int,
    of_two: bool,
    shared: NDArray[np.bool_],
) -> tuple[NDArray[np.float64], NDArray[np.intp], NDArray[np.intp]]:
    """Of turns of so many places: the least log chance, the place it begins at and how many it is wide; shape (turns,) each."""
    widths, pitches = _widths(int(counts.max()), width), np.maximum(np.rint(counts / teeth).astype(np.intp), 1)
    number = np.array([len(_widths(int(count), width)) for count in counts])
    around = np.arange(power.shape[-1] + max(widths[-1], int(pitches.max())) - 1) % counts[:, None]
    summed = np.zeros((*power.shape[:-1], around.shape[-1] + 1))
    np.cumsum(_each_at(power, around), axis=-1, out=summed[..., 1:])
    inside = np.arange(power.shape[-1]) < counts[:, None]
    log_chance, at, wide = np.zeros(counts.size), np.zeros(counts.size, np.intp), np.ones(counts.size, np.intp)
    sums = np.empty_like(power)
    for n, places in enumerate(widths):
        np.subtract(summed[..., places : places + power.shape[-1]], summed[..., : power.shape[-1]], out=sums)
        both = np.minimum(sums[:, 0], sums[:, 1])
        both *= inside
        best = both.argmax(axis=-1)
        chance = _power_log_chance(both[np.arange(counts.size), best], places) + np.log(counts * number)
        better = (chance < log_chance) & (n < number)
        log_chance, at, wide = np.where(better, chance, log_chance), np.where(better, best, at), np.where(better, places, wide)
    place = np.arange(power.shape[-1])
    energy = (_each_at(summed, place + pitches[:, None]) - summed[..., : power.shape[-1]]).min(axis=1) * inside
    away = np.rint(np.arange(teeth) * (counts[:, None] / teeth)).astype(np.intp)
    of_each = np.take_along_axis(energy, (energy.argmax(axis=-1)[:, None] + away) % counts[:, None], axis=-1)
    others = np.ones(teeth, np.bool_)
    others[[0, 1, -1]] = False  # a strong one reaches into its neighbours
    if of_two and shared.any():  # of one turn, then
        echo = np.abs(scipy.fft.ifft(~shared)) ** 2
        others &= ~(scipy.ndimage.maximum_filter1d(echo, int(2 * pitches[0] - 1), mode="wrap") >= _ECHO * echo[0])[
            away[0] % echo.size
        ]
    return np.minimum(np.maximum(log_chance, _outlier_log_chance(of_each, others, of_two)), 0.0), at, wide


def _each_at(values: NDArray[np.floating], places: NDArray[np.intp]) -> NDArray[np.floating]:
    """Values of turns, shape (turns, 2, most), at places of each of its own, shape (turns, places)."""
    rows = np.arange(values.shape[0] * 2).reshape(-1, 2, 1) * values.shape[-1]
    return np.asarray(values.ravel().take(rows + places[:, None, :], mode="clip"))


def _power_log_chance(power: NDArray[np.float64], places: int) -> NDArray[np.float64]:
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
    wrapped = np.concatenate(
        [np.zeros((2, 1)), np.cumsum(np.concatenate([power, power[:, : places - 1]], axis=-1), axis=-1)], axis=-1
    )
    return np.asarray(wrapped[:, places:] - wrapped[:, :-places])


def _repeats(both: NDArray[np.float64], at: int, places: int) -> int:
    """The most parts a turn can be divided into so that each shows the same at its own place."""
    found = 1
    for parts in range(2, _MOST_PLACES + 1):
        there = np.rint(at + np.arange(1, parts) * both.size / parts).astype(np.intp)
        near = both[(there[:, None] + np.arange(-places, places + 1)) % both.size].max(axis=1)
        if np.all(near >= _AS_MUCH * both[at]):
            found = parts
    return found
