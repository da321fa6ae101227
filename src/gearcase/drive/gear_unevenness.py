"""How uneven the mesh of two sound gears is, for `simulate`: no two teeth are alike, and gears are not quite round.

Every tooth's profile differs a little, so the mesh comes a little stronger or weaker, earlier or later, tooth by tooth, and again
with every turn of that gear: sidebands of both shafts at all distances. Where both counts share a factor, only some teeth ever meet
some others and run in as groups: a pattern that comes again after as many cycles as that factor (assembly phase).

How much: ISO 1328-1 (1995) allows a gear of grade 6, module 3 mm and 75 mm a profile deviation of sqrt(2) (3.2 sqrt(m) + 0.22
sqrt(d) + 0.7) = 11 um, and one of grade 8 twice that; teeth scatter by perhaps a third of what is allowed, 4 to 8 um, against a
transmission error of some 5 to 15 um of industrial gears under load (J. D. Smith, Gear Noise and Vibration); all from memory. Two
pairs in contact even it out: 0.05 to 0.5 of the mesh from tooth to tooth, standard deviation.
"""

from collections.abc import Mapping
from math import gcd

import numpy as np
from numpy.typing import NDArray

__all__ = ["unevenness"]

_OVAL = 0.3  # second harmonic of a gear's runout over the first; invented


def unevenness(
    turns: Mapping[str, NDArray[np.float64]], teeth: Mapping[str, int], *, scatter: float, swing: float, rng: np.random.Generator
) -> NDArray[np.complex128]:
    """Complex factor on one mesh harmonic over a record, 1 of perfect gears. [-]

    Parameters
    ----------
    turns : mapping
        Of each shaft of the mesh, as its carrier sees it, over the record. [-]
    teeth : mapping
        Of the gear on each of them. [-]
    scatter : float
        Standard deviation from tooth to tooth of each gear, amplitude and phase [rad] alike. [-]
    swing : float
        Of the mesh, once a turn of each shaft; what is added here comes twice a turn. [-]
    rng : Generator
    """
    factor = np.ones(next(iter(turns.values())).size, np.complex128)
    for shaft, turned in turns.items():
        factor *= 1 + _tooth_by_tooth(turned * teeth[shaft], teeth[shaft], scatter, rng)
        factor *= 1 + _OVAL * swing * np.cos(2 * np.pi * (2 * turned + rng.uniform()))
    (shaft, turned), shared = next(iter(turns.items())), gcd(*teeth.values())
    if shared > 1:
        factor *= 1 + _tooth_by_tooth(turned * teeth[shaft], shared, scatter, rng)
    return factor


def _tooth_by_tooth(cycles: NDArray[np.float64], teeth: int, scatter: float, rng: np.random.Generator) -> NDArray[np.complex128]:
    """One random number a tooth, each fading into the next over a cycle of the mesh."""
    each = scatter * (rng.standard_normal(teeth) + 1j * rng.standard_normal(teeth))
    at = np.floor(cycles).astype(np.intp)
    onward = 0.5 - 0.5 * np.cos(np.pi * (cycles - at))
    now, then = each[at % teeth], each[(at + 1) % teeth]
    return np.asarray(now + onward * (then - now))
