"""Are many lines beside a mesh raised, not one or two? A chance by order statistics."""

import numpy as np
import scipy.special
from numpy.typing import NDArray

from gearcase.judge.patterns.angular import AngularHalves

__all__ = ["TEETH_WITH_ROOM", "further_pairs", "raised_log_chance", "sideband_log_chance"]

_FIRST, _LAST = 3, 10  # pairs of sidebands a local fault shows beyond those of runout; common practice, no source
_FEWEST_RAISED = 8  # lines of which half speak for many
TEETH_WITH_ROOM = 13  # of a gear: pairs 3 to 6, eight lines, lie nearer to its mesh line than halfway to the next
_HARMONICS = (1, 2, 3)


def raised_log_chance(halves: AngularHalves, orders: NDArray[np.float64]) -> float:
    """Natural log of the chance that noise raises half of these orders as high as they stand; 0 of fewer than eight. [-]

    The power of both halves together is gamma distributed in noise, with shape 2 and mean 2; that half of n lines reach what the
    weakest of that half has is binomial.
    """
    seen = orders[(orders > 3 * halves.step) & (orders < halves.top)]
    if seen.size < _FEWEST_RAISED:
        return 0.0
    power = halves.power(seen).sum(axis=0)
    half = seen.size // 2
    least = float(np.sort(power)[-half])
    reached = (1 + least) * np.exp(-least)
    return float(np.log(max(scipy.special.betainc(half, seen.size - half + 1, reached), np.finfo(np.float64).tiny)))


def further_pairs(teeth: int) -> NDArray[np.float64]:
    """Pairs of sidebands, 3 to 10 turns away, nearer to their mesh line than halfway to the next. [-]

    Parameters
    ----------
    teeth : int
        Of the gear on that shaft. [-]
    """
    return np.arange(_FIRST, min(_LAST, (teeth - 1) // 2) + 1, dtype=np.float64)


def sideband_log_chance(halves: AngularHalves, mesh_order: float, turns: float, *, teeth: int) -> float:
    """Of the sidebands of one shaft about a mesh, pairs 3 to 10, all of its three harmonics tried. [-]

    Parameters
    ----------
    halves : AngularHalves
    mesh_order, turns : float
        Orders of the mesh and of the shaft. [-]
    teeth : int
        Of the gear on that shaft: sidebands of neighbouring harmonics meet halfway. [-]
    """
    kept = further_pairs(teeth)
    tried = [np.concatenate([n * mesh_order - kept * turns, n * mesh_order + kept * turns]) for n in _HARMONICS]
    return min(min(raised_log_chance(halves, orders) for orders in tried) + float(np.log(len(_HARMONICS))), 0.0)
