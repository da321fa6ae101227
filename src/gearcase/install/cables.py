"""Which cable goes to which run: none too short, and as little left over as can be."""

from collections.abc import Sequence

import numpy as np
import scipy.optimize

from gearcase.install.housing import Cable

__all__ = ["SPARE", "assign_cables"]

SPARE = 0.3  # m, drip loop of 75 mm at both ends and something to pull; common practice, no source
_IMPOSSIBLE = 1e6


def assign_cables(runs: Sequence[float], cables: Sequence[Cable]) -> tuple[Cable | None, ...]:
    """A cable for each run [m], in order: as many runs served as possible, then the least excess over all.

    A cable serves a run when it is longer by `SPARE`. Runs that none is left for get None.

    Examples
    --------
    >>> [cable.length for cable in assign_cables([4.0, 9.0], [Cable("a", 10.0), Cable("b", 5.0)])]
    [5.0, 10.0]
    """
    if not runs or not cables:
        return tuple(None for _ in runs)
    excess = np.array([[cable.length - run - SPARE for cable in cables] for run in runs])
    cost = np.where(excess >= 0, excess, _IMPOSSIBLE)
    chosen: list[Cable | None] = [None] * len(runs)
    for run, cable in zip(*scipy.optimize.linear_sum_assignment(cost), strict=True):
        if cost[run, cable] < _IMPOSSIBLE:
            chosen[run] = cables[cable]
    return tuple(chosen)
