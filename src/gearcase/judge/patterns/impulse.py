"""Does something happen at one place of every turn, and how likely is that by chance?

Theory of operation
-------------------
The lines of a shaft at orders k = 4, 5, ... up to the record's end are taken with their phases (`angular`), each over its local
noise, and lines that stand over their neighbours are limited, so that a few strong ones do not speak for all. Transformed back
they are the average turn, whitened: one value for each resolvable place, K places for K orders. Where the phases of the lines
are random, in noise and in the unevenness every sound gear has, the power at each place is exponential with mean 1, and the power
over w places gamma distributed. A damaged tooth aligns the phases: its place stands out. Looked at are all places, and widths up
to what one tooth is in mesh; every one of them is counted as tried (Bonferroni).

Both halves of a record must show it at the same place: the less of the two counts. A single knock from outside is in one only.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.fft
import scipy.special
from numpy.typing import NDArray

from gearcase.judge.patterns.angular import AngularHalves
from gearcase.signal.spectrum import block_floor

__all__ = ["FEWEST_ORDERS", "Impulse", "impulse"]

FIRST_ORDER = 4  # below: unbalance, alignment, couplings
FEWEST_ORDERS = 32  # that make a place of a turn; common practice, no source
_LIMIT = 4.0  # times the local median of lines, as `signal.envelope` limits its own
_MEDIAN_ORDERS = 32  # orders of which that median is taken
_SAME = 1e-7  # relative: orders of two shafts that are one
_MOST_PLACES = 8  # that a turn may be divided into before it is another shaft's
_AS_MUCH = 0.3  # of the strongest place's power: a place that repeats it


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
    halves: AngularHalves, base: float, *, width: float, others: Sequence[float] = (), regular: Sequence[int] = ()
) -> Impulse | None:
    """The strongest place of a turn; None where too few orders can be looked at.

    Parameters
    ----------
    halves : AngularHalves
    base : float
        Turns per turn of the reference shaft of what is looked at. [-]
    width : float
        Widest place, as part of a turn. [-]
    others : sequence of float
        Orders of the reference shaft whose multiples are somebody else's lines. [-]
    regular : sequence of int
        Orders of the turn that a sound gear shows: its mesh and first sidebands. [-]
    """
    order = np.arange(FIRST_ORDER, int(halves.top / base) + 1, dtype=np.float64)
    if order.size < FEWEST_ORDERS:
        return None
    left_out = np.isin(order, np.asarray(regular, np.float64))
    for other in others:
        multiple = order * base / other
        left_out |= (np.rint(multiple) > 0) & (np.abs(multiple - np.rint(multiple)) <= _SAME * multiple)
    if order.size - left_out.sum() < FEWEST_ORDERS:
        return None
    values = halves.at(order * base)
    values[:, left_out] = 0
    magnitude = np.abs(values)
    usual = block_floor(np.where(left_out, np.median(magnitude, axis=-1, keepdims=True), magnitude), width=_MEDIAN_ORDERS)
    values /= np.maximum(1.0, magnitude / (_LIMIT * usual))
    turn = scipy.fft.ifft(values, axis=-1)
    energy = np.abs(turn) ** 2
    power = energy / energy.mean(axis=-1, keepdims=True)
    kept = int(order.size - left_out.sum())
    best = Impulse(0.0, 0.0, 0.0, 1, kept, 0.0)
    widths = _widths(order.size, width)
    for places in widths:
        both = _moving_sum(power, places).min(axis=0)
        at = int(np.argmax(both))
        log_chance = _power_log_chance(float(both[at]), places) + float(np.log(order.size * len(widths)))
        if log_chance < best.log_chance:
            middle = (at + (places - 1) / 2) / order.size
            level = np.sqrt(_moving_sum(energy, places)[:, at].min() * order.size / kept)
            best = Impulse(log_chance, middle % 1.0, float(both[at] / places), _repeats(both, at, places), kept, float(level))
    return best


def _power_log_chance(power: float, places: int) -> float:
    """Natural log of an upper bound of the gamma distribution's tail, of whole shape w and mean w, at x.

    e^-x x^(w-1) / (w-1)! times x / (x - w + 1), the sum of a geometric series that its own terms fall faster than.
    """
    if power <= places:
        return 0.0
    return float(places * np.log(power) - power - scipy.special.gammaln(places) - np.log(power - places + 1))


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
        near = np.max([both[(there + shift) % both.size] for shift in range(-places, places + 1)], axis=0)
        if np.all(near >= _AS_MUCH * both[at]):
            found = parts
    return found
