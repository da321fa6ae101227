"""The gears of a drive as their patterns look for them: what turns how often, and which lines are theirs."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gearcase.drive.lines import meshing
from gearcase.drive.speeds import shaft_orders
from gearcase.drive.train import Drive, mesh_carrier

__all__ = ["Gear", "decoys", "gears"]

_REGULAR_HARMONICS, _REGULAR_PAIRS = 8, 2  # of its mesh, that a sound gear shows: harmonics, pairs of sidebands
_PITCHES = 1.5  # that a tooth is in mesh, usual gears
_DECOYS = 40  # so that none as good means a share of 0.024
_RELATED, _NEAR = 5, 0.005  # small whole ratios, within that much, share lines with what is looked at


@dataclass(frozen=True)
class Gear:
    """One gear in one mesh.

    Attributes
    ----------
    mesh, shaft : str
    teeth, other_teeth : int
        Of it and of what it meshes with. [-]
    mesh_order, turns : float
        Mesh cycles, and turns of the gear as its carrier sees them, in a turn of the reference shaft. [-]
    other : str
        Shaft of what it meshes with.
    carrier : str
        Of a planetary mesh; empty where the axes stand.
    carrier_turns : float
        [-]
    planets : int
        Meshes alike on a sun or ring; 1 elsewhere. [-]
    is_planet, held : bool
    """

    mesh: str
    shaft: str
    teeth: int
    other_teeth: int
    mesh_order: float
    turns: float
    other: str
    carrier: str = ""
    carrier_turns: float = 0.0
    planets: int = 1
    is_planet: bool = False
    held: bool = False

    @property
    def width(self) -> float:
        """A tooth's time in mesh, as part of a turn. [-]"""
        return _PITCHES / self.teeth

    @property
    def regular(self) -> tuple[int, ...]:
        """Orders of its turn that a sound gear shows. [-]"""
        pairs = range(-_REGULAR_PAIRS, _REGULAR_PAIRS + 1)
        return tuple(n * self.teeth + pair for n in range(1, _REGULAR_HARMONICS + 1) for pair in pairs)


def gears(drive: Drive) -> tuple[Gear, ...]:
    """Both gears of every mesh whose teeth and speed are known exactly."""
    return tuple(_gears(drive))


def decoys(turns: float) -> NDArray[np.float64]:
    """Turns of nothing that turns, from half to twice those of a shaft, log-spaced, none in a small whole ratio to it. [-]"""
    spread = turns * np.geomspace(0.5, 2.0, 2 * _DECOYS)
    ratios = np.unique([p / q for p in range(1, _RELATED + 1) for q in range(1, _RELATED + 1)])
    away = np.abs(spread[:, None] / turns / ratios - 1).min(axis=1)
    clear = spread[away > _NEAR]
    return np.asarray(clear[np.linspace(0, clear.size - 1, _DECOYS).round().astype(np.intp)])


def _gears(drive: Drive) -> Iterator[Gear]:
    known, shafts = shaft_orders(drive), {shaft.name: shaft for shaft in drive.shafts}
    for mesh in drive.meshes:
        found = meshing(mesh, known, shafts)
        if found is None or not found[0] or found[1] or not mesh.pinion_teeth or not mesh.wheel_teeth:
            continue
        carrier = mesh_carrier(mesh, shafts)
        planets = max(shafts[side].count for side in (mesh.pinion_shaft, mesh.wheel_shaft)) if carrier else 1
        sides = ((mesh.pinion_shaft, mesh.pinion_teeth), (mesh.wheel_shaft, mesh.wheel_teeth))
        for (shaft, teeth), (other, other_teeth) in (sides, sides[::-1]):
            planet = bool(shafts[shaft].carrier)
            yield Gear(
                mesh.name,
                shaft,
                teeth,
                other_teeth,
                found[0],
                found[0] / teeth,
                other,
                carrier,
                abs(known[carrier].order) if carrier else 0.0,
                1 if planet else planets,
                planet,
                shafts[shaft].held,
            )
