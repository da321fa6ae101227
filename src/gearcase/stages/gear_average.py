"""The average turn of a gear, for its figures and for its picture alike: the phase of its own mesh tells the angle, and what other
gears of the shaft mesh regularly is taken out, since it is no residual of this one.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from gearcase.drive.speeds import shaft_orders
from gearcase.drive.train import Drive, Mesh, mesh_carrier
from gearcase.errors import OutOfRange
from gearcase.judge.heard import Speed
from gearcase.signal.gear_indicators import GearIndicators, gear_indicators, gear_signals
from gearcase.signal.recording import Recording
from gearcase.signal.spectrum import Transform
from gearcase.signal.synchronous import clear_half_width, synchronous_average, turning_from_mesh

__all__ = ["GOOD_TO", "GearAverage", "GearOnShaft", "average_of", "gears_on_shafts"]

GOOD_TO = 2.56  # sample rate over the highest frequency that is looked at, usual in the trade
_HARMONICS = 3  # of a mesh that count as regular, as many as the survey lists
_FEWEST_AVERAGED = 20  # turns of an average whose figures mean something; handbooks, from memory


@dataclass(frozen=True)
class GearOnShaft:
    """A gear of a mesh whose shafts stand in the housing.

    Attributes
    ----------
    number : int
        2 n the pinion, 2 n + 1 the wheel of the drive's n-th mesh.
    mesh, shaft : str
    teeth : int
    order : float
        Turns of the shaft in one of the reference shaft. [-]
    sidebands : tuple of float
        Orders of both shafts of the mesh. [-]
    beside : tuple of int
        Teeth of the other gears on the shaft. [-]
    """

    number: int
    mesh: str
    shaft: str
    teeth: int
    order: float
    sidebands: tuple[float, ...]
    beside: tuple[int, ...]


@dataclass(frozen=True)
class GearAverage:
    """Average turn of a gear's shaft.

    Attributes
    ----------
    values : ndarray, shape (steps,)
        Of all that turns with the shaft. [unit of the samples]
    residual : ndarray, shape (steps,)
        Of this gear alone. [unit of the samples]
    figures : GearIndicators
        Of this gear alone.
    turns : int
        That were averaged. [-]
    """

    values: NDArray[np.floating]
    residual: NDArray[np.floating]
    figures: GearIndicators
    turns: int


def gears_on_shafts(drive: Drive) -> tuple[GearOnShaft, ...]:
    """Gears of known teeth on shafts of known speed; those of planets are left out: they come and go before the sensor."""
    return tuple(_gears_on_shafts(drive))


def average_of(gear: GearOnShaft, recording: Recording, spectrum: Transform, speed: Speed | str) -> GearAverage | str:
    """Average turn of a gear and its figures; in words why there is none. `spectrum` is the recording's own transform."""
    if not isinstance(speed, Speed) or speed.at_rest:
        return "its speed is not known"
    turn_hz, good_to = gear.order * speed.hz, recording.sample_rate_hz / GOOD_TO
    line_hz = gear.teeth * turn_hz
    harmonics = min(_HARMONICS, int(good_to / (line_hz + turn_hz)))
    if harmonics < 1:
        return f"its mesh of {line_hz:.4g} Hz is above the {good_to:.4g} Hz that the record is good to"
    if (turns := recording.duration_s * turn_hz) < _FEWEST_AVERAGED + 2:
        return f"{turns:.3g} turns in the record, {_FEWEST_AVERAGED + 2} are needed"
    half_width = clear_half_width([order * speed.hz for order in gear.sidebands], bin_hz=spectrum.bin_hz)
    if half_width is None or speed.spread * line_hz > half_width / 2:
        return f"its speed is known to {100 * speed.spread:.2g} % only: its mesh line could be a sideband"
    steps = scipy.fft.next_fast_len(4 * (harmonics * max((gear.teeth, *gear.beside)) + 1))
    try:
        turning = turning_from_mesh(spectrum, line_hz=line_hz, cycles_per_turn=gear.teeth, half_width_hz=half_width).turning
        average = synchronous_average(recording.samples, turning, sample_rate_hz=recording.sample_rate_hz, per_turn=steps)
        own = average.values
        for other in gear.beside:
            own = own - gear_signals(own, teeth=other, harmonics=harmonics).regular
        figures = gear_indicators(own, teeth=gear.teeth, harmonics=harmonics)
    except OutOfRange as error:
        return f"{error.name} {error.value}: {error.rule}"
    if average.turns < _FEWEST_AVERAGED:
        return f"{average.turns} turns of sure angle, {_FEWEST_AVERAGED} are needed"
    residual = gear_signals(own, teeth=gear.teeth, harmonics=harmonics).residual
    return GearAverage(average.values, residual, figures, average.turns)


def _gears_on_shafts(drive: Drive) -> Iterator[GearOnShaft]:
    orders = {name: abs(found.order) for name, found in shaft_orders(drive).items() if found.order}
    shafts = {shaft.name: shaft for shaft in drive.shafts}
    for number, mesh in enumerate(drive.meshes):
        if mesh_carrier(mesh, shafts) or any(shaft not in orders for shaft, _ in _sides(mesh)):
            continue
        sidebands = tuple(orders[shaft] for shaft, _ in _sides(mesh))
        for side, (shaft, teeth) in enumerate(_sides(mesh)):
            beside = (count for other in drive.meshes if other is not mesh for on, count in _sides(other) if on == shaft and count)
            if teeth:
                yield GearOnShaft(2 * number + side, mesh.name, shaft, teeth, orders[shaft], sidebands, tuple(beside))


def _sides(mesh: Mesh) -> tuple[tuple[str, int | None], tuple[str, int | None]]:
    return (mesh.pinion_shaft, mesh.pinion_teeth), (mesh.wheel_shaft, mesh.wheel_teeth)
