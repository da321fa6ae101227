"""Does the mesh yield where a shaft knocks? What parts a damaged tooth from a key, a coupling or a loose part that knocks as often.

A tooth that has lost stiffness lets the mesh fade by d and come late by l while it carries: harmonic n is multiplied by
1 - (d + i n l) there, whatever way it takes to the sensor, so its change against its own carrier points between 180 degrees (it
fades) and 270 (it lags), for every harmonic (P. D. McFadden, Detecting fatigue cracks in gears by amplitude and phase demodulation,
J. Vib. Acoust. 108 (1986)). Another knock adds its own waveform to the mesh's, at a place of the turn that has nothing to do with
the phases of the mesh at the sensor: there the change points anywhere, for each harmonic anew. Of m harmonics all point within
180 p^(1/m) degrees of 225 with chance p.

More cannot be had of one record: tooth and key alike are one waveform at one place of every turn, as wide as a tooth is in mesh,
and the teeth's own knock hides how they yield. Where the mesh does not yield it may be a tooth all the same.
"""

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from gearcase.judge.patterns.angular import AngularHalves
from gearcase.judge.patterns.gear_parts import Gear
from gearcase.signal.spectrum import PRESENT

__all__ = ["BY_LUCK", "MeshYield", "mesh_yield"]

BY_LUCK = 0.03  # chance that a knock that is no tooth shifts all harmonics as a tooth would
_SEEN_OF_TEETH = 0.16  # of simulated damaged teeth that knock 4 to 32 times the noise (numbers 320,000 on)
_OTHER_KNOCKS = 0.25  # as likely as a damaged tooth is a knock once a turn that is none; assumed
_MOST_HARMONICS = 3
_LEAST_HARMONICS = 2
_RUNOUT_PAIRS = 2  # nearest sidebands: runout and ovality, which are everywhere on the turn
_FADES_AND_LAGS = 225.0  # degrees
_STEPS_OF_PITCH = 8
_MOVES = 2.0  # times the usual change over the turn: less says nothing; common practice, no source


@dataclass(frozen=True)
class MeshYield:
    """How harmonics of a mesh change at a place, against their own carriers.

    Attributes
    ----------
    degrees : float
        How far the one furthest off points from a tooth's fading and lagging. [degree]
    harmonics : int
        That change there at all. [-]
    within : float
        How far all of them may point off. [degree]
    """

    degrees: float
    harmonics: int
    within: float

    @property
    def yields(self) -> bool | None:
        """Whether all point as of a tooth; None where too few harmonics show a change there."""
        return None if self.harmonics < _LEAST_HARMONICS else self.degrees <= self.within

    @property
    def no_tooth(self) -> float:
        """Chance that what knocks is no tooth. [-]"""
        tooth, other = (_SEEN_OF_TEETH, BY_LUCK) if self.yields else (1 - _SEEN_OF_TEETH, 1 - BY_LUCK)
        return _OTHER_KNOCKS * other / (_OTHER_KNOCKS * other + tooth)


def mesh_yield(halves: AngularHalves, gear: Gear, place: float) -> MeshYield:
    """Of a gear's own mesh within a pitch before the place of the turn at which it knocks: a ring follows what strikes it. [-]"""
    lines, teeth = halves.lines(gear.turns), gear.teeth
    steps = scipy.fft.next_fast_len(_STEPS_OF_PITCH * teeth)
    changes: list[NDArray[np.complexfloating]] = []
    for harmonic in range(1, _MOST_HARMONICS + 1):
        middle = harmonic * teeth
        stands = middle + teeth / 2 < lines.size and halves.strength(np.array([harmonic * gear.mesh_order]))[0] >= PRESENT
        if stands:
            changes.append(_change(lines, middle, teeth, steps) / lines[middle])
    pitch = steps / teeth
    near = (round(place * steps) - np.arange(int(pitch) + 1)) % steps
    moved = [change for change in changes if np.abs(change[near]).max() >= _MOVES * np.sqrt(np.mean(np.abs(change) ** 2))]
    if not moved:
        return MeshYield(180.0, 0, 0.0)
    at = near[np.argmax(np.abs(moved[0][near]))]
    away = [abs((float(np.degrees(np.angle(change[at]))) - _FADES_AND_LAGS + 180) % 360 - 180) for change in moved]
    return MeshYield(max(away), len(moved), 180 * BY_LUCK ** (1 / len(moved)))


def _change(lines: NDArray[np.complexfloating], middle: int, teeth: int, steps: int) -> NDArray[np.complexfloating]:
    """Of a mesh harmonic over the turn, seen through a window as long as a tooth is in mesh, shape (steps,)."""
    pair = np.arange(_RUNOUT_PAIRS + 1, (teeth - 1) // 2 + 1)
    weight = np.sinc(pair / teeth) ** 2  # of a triangle two pitches wide
    about = np.zeros(steps, np.complex128)
    about[pair], about[-pair] = weight * lines[middle + pair], weight * lines[middle - pair]
    return np.asarray(scipy.fft.ifft(about) * steps)
