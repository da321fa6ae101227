"""Lines that turning shafts and meshes explain, and the lines of a spectrum that nothing explains."""

import functools
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gearcase.drive.bearing_lines import PASS_RATES
from gearcase.drive.line import TURNING_KINDS, Line
from gearcase.drive.lines import MESH_HARMONICS, SIDEBAND_PAIRS
from gearcase.judge.combs import ALIGNMENT, SLIP_BAND, STATED_SPEED_BAND
from gearcase.signal.spectrum import SpectrumLine

__all__ = ["CombOrders", "UnexplainedLine", "comb_orders", "envelope_orders", "unexplained_lines"]

# what may show in a long record, beyond what `drive.lines` lists for people; common practice, no source
_SHAFT_HARMONICS = 30  # a loose shaft shows a few dozen
_SIDEBAND_PAIRS = 6  # of a local fault; wear shows two or three
_BEARING_HARMONICS = 12  # up to where slip has widened a harmonic into its neighbours' sidebands
_MESH_HARMONICS = 8  # with sidebands; beyond, a mesh of many teeth is above most sensors
_HALF_ORDERS = 10  # 0.5x to 9.5x: table fault_patterns has looseness at 1x to 10x
_STRONG_HARMONICS = 3  # of a bearing's rates
_HALF_ORDERS_CLEAR = STATED_SPEED_BAND + SLIP_BAND  # of these: at a stated speed 2.5 % off a rate of 3.585 may stand at 3.5
_ENVELOPE_HARMONICS = 10  # of a shaft, in the envelope
_LOW_HARMONICS = 3  # that unbalance, misalignment and looseness make on most shafts
_MOST_LISTED = 10  # that a person can follow up
_OTHERS = ("planet_pass", "member_tooth", "belt", "passing", "supply", "pole_pass", "converter")


@dataclass(frozen=True)
class UnexplainedLine:
    """A line that stands out of the noise at no place the drive explains: `found_hz` [Hz]; `order` counts cycles per turn of the
    reference shaft [-]; `snr_db` as `SpectrumLine` has it [dB].
    """

    found_hz: float
    order: float
    snr_db: float


class CombOrders(NamedTuple):
    """Orders [-] to look for in a spectrum and in its envelope spectrum, by families, those of bearings in the envelope, and the
    half orders that a loose shaft makes in the spectrum.
    """

    spectrum: tuple[tuple[float, ...], ...]
    envelope: tuple[tuple[float, ...], ...]
    slipping: tuple[float, ...]
    loose: tuple[float, ...]


@functools.lru_cache(maxsize=8)  # of the drives in hand: speed and rules ask for them with every record
def comb_orders(lines: tuple[Line, ...]) -> CombOrders:
    """Orders [-] by which speed is measured, the surest first: meshes, low shaft harmonics, high ones, sidebands.

    Orders that are not exactly known are left out: they would pull the speed. So are those of the less sure families where a
    harmonic of a bearing's rate may slip onto them: one such coincidence brings all its multiples with it.
    """
    exact = [line for line in lines if line.spread == 0]
    shafts = {line.component: line.order for line in exact if line.kind == "shaft" and line.harmonic == 1}
    meshes = {line.component: line.order for line in exact if line.kind == "mesh" and line.harmonic == 1}
    sides = {
        (meshes[line.component], shafts[line.sideband_shaft])
        for line in exact
        if line.kind == "sideband" and line.component in meshes and line.sideband_shaft in shafts
    }
    slipping = np.array([line.order for line in lines if line.kind in PASS_RATES and line.harmonic == 1])
    bands = np.outer(np.arange(1, _BEARING_HARMONICS + 1), slipping).ravel()

    def turning(first: int, last: int) -> list[float]:
        return [n * shaft for n in range(first, last + 1) for shaft in shafts.values()]

    def clear(orders: Sequence[float], of: NDArray[np.float64] = bands, by: float = SLIP_BAND) -> tuple[float, ...]:
        rows = np.array(orders)[:, None]
        kept = (rows[:, 0] > 0) & ~np.any(np.abs(rows / of - 1) <= by, axis=1)
        return tuple(order for order, ok in zip(orders, kept, strict=True) if ok)

    teeth = tuple(n * mesh for n in range(1, _MESH_HARMONICS + 1) for mesh in meshes.values())
    low = tuple(turning(1, _LOW_HARMONICS))
    beside = [
        n * mesh + pair * side
        for pair in range(1, SIDEBAND_PAIRS + 1)
        for n in range(1, _MESH_HARMONICS + 1)
        for mesh, shaft in sorted(sides)
        for side in (-shaft, shaft)
    ]
    high = clear(turning(_LOW_HARMONICS + 1, _SHAFT_HARMONICS))
    pulsing = clear(turning(_LOW_HARMONICS + 1, _ENVELOPE_HARMONICS))
    halves = [(n + 0.5) * shaft for n in range(_HALF_ORDERS) for shaft in shafts.values()]
    loose = clear(halves, np.outer(range(1, _STRONG_HARMONICS + 1), slipping).ravel(), _HALF_ORDERS_CLEAR)
    return CombOrders((teeth, low, high, clear(beside)), (low, pulsing), tuple(slipping[slipping > 0]), loose)


def envelope_orders(lines: Sequence[Line], *, speed_hz: float) -> NDArray[np.float64]:
    """Orders at which shafts and meshes modulate: shaft harmonics, meshes with sidebands, and beats between meshes; and at one
    speed of the reference shaft [Hz] whatever else turns, passes or hangs on the supply. [-]
    """
    orders = _turning_orders(lines, mesh_harmonics=MESH_HARMONICS, sideband_pairs=SIDEBAND_PAIRS, of_every_shaft=False)
    orders |= _other_orders(lines, speed_hz)
    meshes = [line.order for line in lines if line.kind == "mesh" and line.harmonic == 1]
    for first, second in product(meshes, meshes):
        if first != second:
            orders |= {abs(a * first + b * second) for a in (1, 2) for b in (-2, -1, 1, 2)}
    return np.array(sorted(order for order in orders if order > 0))


def unexplained_lines(
    found: Sequence[SpectrumLine],
    lines: Sequence[Line],
    *,
    speed_hz: float,
    explained_hz: NDArray[np.float64],
    bin_hz: float,
) -> tuple[UnexplainedLine, ...]:
    """The strongest lines of a spectrum that no part of the drive and no comb found explains, strongest first, ten at
    most.

    Parameters
    ----------
    found : sequence of SpectrumLine
        As `signal.spectrum.find_lines` gives them.
    lines : sequence of Line
        Of the drive.
    speed_hz : float
        Of the reference shaft. [Hz]
    explained_hz : ndarray, shape (any,)
        Lines of combs claimed in the envelope, and their sidebands. [Hz]
    bin_hz : float
        Resolution of the spectrum. [Hz]
    """
    orders = _turning_orders(lines, mesh_harmonics=_MESH_HARMONICS, sideband_pairs=_SIDEBAND_PAIRS, of_every_shaft=True) | {0.0}
    orders |= _other_orders(lines, speed_hz)
    highest = max((line.hz for line in found), default=0.0) / speed_hz
    meshes = [line.order for line in lines if line.kind == "mesh" and line.harmonic == 1]
    orders |= {n * mesh for mesh in meshes for n in range(_MESH_HARMONICS + 1, int(np.rint(highest / mesh)) + 1)}
    exact = np.sort(np.concatenate([np.array(sorted(orders)) * speed_hz, explained_hz]))
    loose = np.array(
        sorted(
            {n * line.order * speed_hz for line in lines if line.kind in PASS_RATES for n in range(1, _BEARING_HARMONICS + 1)}
            | {line.order * speed_hz for line in lines if line.sideband_of in PASS_RATES}
        )
    )
    hz = np.array([line.hz for line in found])
    known = _near(exact, hz, np.maximum(2 * bin_hz, ALIGNMENT * hz)) | _near(loose, hz, SLIP_BAND * hz)
    strangers = [UnexplainedLine(line.hz, line.hz / speed_hz, line.snr_db) for line, ok in zip(found, known, strict=True) if not ok]
    return tuple(sorted(strangers, key=lambda line: -line.snr_db)[:_MOST_LISTED])


def _turning_orders(lines: Sequence[Line], *, mesh_harmonics: int, sideband_pairs: int, of_every_shaft: bool) -> set[float]:
    """Orders of shaft harmonics, of mesh harmonics with sidebands, and of hunting tooth and assembly phase.

    A mesh has sidebands of its own two shafts, or `of_every_shaft`: torque that swings reaches every mesh.
    """
    shafts = {line.component: line.order for line in lines if line.kind in TURNING_KINDS and line.harmonic == 1}
    own = {(line.component, line.sideband_shaft) for line in lines if line.kind == "sideband"}
    orders = {n * order for order in shafts.values() for n in range(1, _SHAFT_HARMONICS + 1)}
    orders |= {line.order for line in lines if line.kind in ("hunting_tooth", "assembly_phase")}
    for mesh in lines:
        if mesh.kind != "mesh" or mesh.harmonic != 1:
            continue
        sides = [order for shaft, order in shafts.items() if of_every_shaft or (mesh.component, shaft) in own]
        shifts = {sign * pair * side for side in sides for pair in range(1, sideband_pairs + 1) for sign in (-1, 1)} | {0.0}
        orders |= {n * mesh.order + shift for n in range(1, mesh_harmonics + 1) for shift in shifts}
    return {order for order in orders if order > 0}


def _other_orders(lines: Sequence[Line], speed_hz: float) -> set[float]:
    """Orders, at this speed, of planets passing, single teeth, belts, passing parts and the motor's lines with their sidebands."""
    return {line.hz(speed_hz) / speed_hz for line in lines if line.kind in _OTHERS or line.sideband_rate in _OTHERS}


def _near(lines_hz: NDArray[np.float64], hz: NDArray[np.float64], within: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether each frequency is within its distance of one of these lines, in rising order."""
    if lines_hz.size == 0:
        return np.zeros(hz.size, np.bool_)
    at = np.searchsorted(lines_hz, hz)
    below, above = lines_hz[np.maximum(at - 1, 0)], lines_hz[np.minimum(at, lines_hz.size - 1)]
    return np.asarray((np.abs(below - hz) <= within) | (np.abs(above - hz) <= within))
