"""What damaged gears do to the waveform of a drive, for `simulate`: how a mesh swells, lags and grows, and when a tooth knocks.

A tooth that yields lets the mesh fade and lag while it is in mesh; a broken edge knocks each time it meets. Runout swings a whole
turn smoothly, wear lifts all harmonics of the mesh, a tilted mesh the second. In a planetary set a damaged tooth of the sun or the
ring meets every planet, one of a planet meets sun and ring by turns, and what travels with the carrier swells as it passes the
sensor. The model's shapes are invented; it shares no code with `signal` or `judge`.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gearcase.drive.lines import meshing
from gearcase.drive.rates import hunting_tooth_frequency
from gearcase.drive.speeds import shaft_orders
from gearcase.drive.train import Drive, Mesh, Shaft, mesh_carrier
from gearcase.errors import OutOfRange

__all__ = ["Eccentricity", "GearFault", "HuntingTooth", "Knock", "MeshMisalignment", "ToothDamage", "Wear", "knocks", "shaped"]

_PITCHES = 1.5  # that a damaged tooth is in mesh: a contact ratio of usual gears; invented
_WEAR_HARMONICS = (1.0, 1.25, 1.5)  # how much more of the growth the higher harmonics take; invented
_KNOCK_SCATTER = 0.15  # relative, from one knock to the next; invented
_PASSING = 0.8  # how far a knock at a travelling place swells as it passes the sensor, of its mean; invented


@dataclass(frozen=True)
class Knock:
    """How something knocks: `impact` is the peak of one ring [m/s2], of `resonance_hz` [Hz], falling by 1/e in `ring_time` [s]."""

    impact: float
    resonance_hz: float = 3000.0
    ring_time: float = 0.7e-3


@dataclass(frozen=True)
class ToothDamage:
    """One tooth of the gear on `shaft` in `mesh`: the mesh fades by `dip` [-] and lags by `lag` [rad] at that tooth, and it knocks.

    In a planetary mesh `shaft` is the sun, the ring or a planet.
    """

    mesh: str
    shaft: str
    knock: Knock
    dip: float = 0.0
    lag: float = 0.0


@dataclass(frozen=True)
class Eccentricity:
    """Runout of the gear on `shaft`: once a turn the mesh swells by `depth` [-] and lags by `lag` [rad]."""

    mesh: str
    shaft: str
    depth: float
    lag: float = 0.0


@dataclass(frozen=True)
class Wear:
    """All teeth of a mesh worn: its harmonics are `growth` times as high, the higher ones more. [-]"""

    mesh: str
    growth: float


@dataclass(frozen=True)
class MeshMisalignment:
    """A mesh that carries at one end of the face: its second harmonic is `second` times as high as the first. [-]"""

    mesh: str
    second: float


@dataclass(frozen=True)
class HuntingTooth:
    """One damaged tooth on each gear of a mesh: they knock when they meet."""

    mesh: str
    knock: Knock


GearFault = ToothDamage | Eccentricity | Wear | MeshMisalignment | HuntingTooth


def shaped(
    mesh: str,
    harmonic: int,
    faults: Sequence[GearFault],
    *,
    turns: Mapping[str, NDArray[np.float64]],
    teeth: Mapping[str, int],
) -> tuple[NDArray[np.float64] | float, NDArray[np.float64] | float]:
    """Factor on the amplitude of a mesh harmonic, and what is added to its phase [rad], over a record. [-]

    Parameters
    ----------
    mesh : str
    harmonic : int
    faults : sequence of GearFault
    turns : mapping
        Of each shaft of the mesh, as its carrier sees it, over the record. [-]
    teeth : mapping
        Of the gear on each of them. [-]
    """
    factor: NDArray[np.float64] | float = 1.0
    phase: NDArray[np.float64] | float = 0.0
    for fault in faults:
        if fault.mesh != mesh:
            continue
        match fault:
            case ToothDamage():
                there = _in_mesh(turns[fault.shaft], teeth[fault.shaft])
                factor, phase = factor * (1 - fault.dip * there), phase - fault.lag * there
            case Eccentricity():
                wave = np.cos(2 * np.pi * turns[fault.shaft])
                factor, phase = factor * (1 + fault.depth * wave), phase - fault.lag * np.sin(2 * np.pi * turns[fault.shaft])
            case Wear():
                factor = factor * fault.growth ** _WEAR_HARMONICS[harmonic - 1]
            case MeshMisalignment():
                factor = factor * (harmonic * fault.second if harmonic == 2 else 1.0)
            case HuntingTooth():
                pass
    return factor, harmonic * phase


def knocks(drive: Drive, fault: GearFault, *, last_turn: float, seed: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """When a fault knocks, in turns of the reference shaft [-], and how hard, relative to its mean [-]; shape (knocks,) each.

    Raises
    ------
    OutOfRange
        The fault names a mesh, or a shaft of it, that is not there or whose speed or teeth are not known.
    """
    rng = np.random.default_rng([seed, 11])
    if not isinstance(fault, ToothDamage | HuntingTooth) or not fault.knock.impact:
        return np.empty(0), np.empty(0)
    mesh = next((mesh for mesh in drive.meshes if mesh.name == fault.mesh), None)
    if mesh is None or not mesh.pinion_teeth or not mesh.wheel_teeth:
        raise OutOfRange("mesh", repr(fault.mesh), "a mesh of the drive whose teeth are known")
    known, shafts = shaft_orders(drive), {shaft.name: shaft for shaft in drive.shafts}
    found = meshing(mesh, known, shafts)
    if found is None:
        raise OutOfRange("mesh", repr(fault.mesh), "a mesh whose speed is known")
    carrier = mesh_carrier(mesh, shafts)
    passing = abs(known[carrier].order) if carrier else 0.0
    if isinstance(fault, HuntingTooth):
        rate = hunting_tooth_frequency(mesh_hz=found[0], pinion_teeth=mesh.pinion_teeth, wheel_teeth=mesh.wheel_teeth)
        at = _times(rate, 1, last_turn)
        size = np.ones(at.size)
    else:
        rate, meetings, moving = _meetings(mesh, fault.shaft, found[0], shafts)
        at = _times(rate, meetings, last_turn)
        size = 1 + _PASSING * np.cos(2 * np.pi * (passing * at + _place(meetings, at.size))) if moving else np.ones(at.size)
    return at, size * np.clip(rng.normal(1.0, _KNOCK_SCATTER, at.size), 0.2, None)


def _in_mesh(turns: NDArray[np.float64], teeth: int) -> NDArray[np.float64]:
    """1 at the middle of one tooth's time in mesh, falling to 0 as a raised cosine; once a turn, at angle 0."""
    away = np.abs((turns + 0.5) % 1.0 - 0.5) * teeth / (_PITCHES / 2)
    return np.where(away < 1, 0.5 + 0.5 * np.cos(np.pi * away), 0.0)


def _meetings(mesh: Mesh, shaft: str, mesh_order: float, shafts: Mapping[str, Shaft]) -> tuple[float, int, bool]:
    """Turns of a shaft as its carrier sees it, its damaged tooth's meetings in one of them, and whether their place travels."""
    teeth = {mesh.pinion_shaft: mesh.pinion_teeth, mesh.wheel_shaft: mesh.wheel_teeth}.get(shaft)
    if not teeth:
        raise OutOfRange("shaft", repr(shaft), f"one of the shafts of '{mesh.name}'")
    rate = mesh_order / teeth
    if not mesh_carrier(mesh, dict(shafts)):
        return rate, 1, False
    if shafts[shaft].carrier:
        return rate, 2, True
    planets = max(shafts[side].count for side in (mesh.pinion_shaft, mesh.wheel_shaft))
    return rate, planets, not shafts[shaft].held


def _times(rate: float, meetings: int, last_turn: float) -> NDArray[np.float64]:
    """Equally spaced meetings, turns of the reference shaft; the first where the shaft stands at angle 0."""
    count = int(last_turn * rate * meetings) + 1
    return np.arange(count) / (rate * meetings)


def _place(meetings: int, count: int) -> NDArray[np.float64]:
    """Which planet, or of a planet which of its two meshes, a meeting is at, as part of a turn of the carrier."""
    return (np.arange(count) % meetings) / meetings
