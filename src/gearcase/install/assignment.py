"""Which cable goes to which run: none too short, as little left over as can be; and what is missing where none is left.

Joining two cables is never offered: a joint in a sensor cable is where water and noise come in (common practice, no source).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.optimize

from gearcase.errors import OutOfRange
from gearcase.install.housing import Cable
from gearcase.worked import worked_by

__all__ = ["DRIP_LOOP", "SPARE", "Assignment", "Shortage", "assign_cables", "cable_needed"]

DRIP_LOOP = 0.075  # m, at both ends; common practice, no source
SPARE = 2 * DRIP_LOOP + 0.15  # m, the loops and something to pull; common practice, no source
_IMPOSSIBLE = 1e6


@dataclass(frozen=True)
class Shortage:
    """A run, by its place in the list, that no cable is left for; what it needs [m]; the longest cable left, if there is one."""

    run: int
    needed: float
    longest_left: Cable | None

    @property
    def says(self) -> str:
        """What is missing and what would cure it."""
        if self.longest_left is None:
            return f"no cable is left; bring one of {self.needed:.2f} m or more"
        short = self.needed - self.longest_left.length
        return (
            f"{self.longest_left.name}, the longest left, is {short:.2f} m too short; bring one of {self.needed:.2f} m or more "
            "or shorten the run: cables are not joined"
        )


@dataclass(frozen=True)
class Assignment:
    """A cable for each run, in order, None where none is left.

    Attributes
    ----------
    cables : tuple of Cable or None
    excess : float
        Left over in all, beyond the spare of each run. [m]
    shortages : tuple of Shortage
    farthest_first_excess : float or None
        The same where the longest cables of the kit go to the farthest runs; None where a run then stays without. [m]
    """

    cables: tuple[Cable | None, ...]
    excess: float
    shortages: tuple[Shortage, ...]
    farthest_first_excess: float | None


@worked_by(formula="cable = run + 2 x drip loop + 0.15 m", unit="m", source="common practice, no source")
def cable_needed(*, run: float) -> float:
    """Shortest cable that serves a run [m], with its drip loops and something to pull.

    Raises
    ------
    OutOfRange
        A run below 0.

    Examples
    --------
    >>> cable_needed(run=4.0)
    4.3
    """
    if not run >= 0:
        raise OutOfRange("run", run, "0 m or more")
    return run + SPARE


def assign_cables(runs: Sequence[float], cables: Sequence[Cable]) -> Assignment:
    """A cable for each run [m]: as many runs served as possible, then the least excess over all.

    Among the cables so chosen the longest goes to the farthest run. That changes nothing in the sum and leaves the tightest run as
    much as can be.

    Raises
    ------
    OutOfRange
        A run below 0.

    Examples
    --------
    The rule of thumb, the longest to the farthest, would take the 20 m cable along for nothing:

    >>> kit = [Cable("a", 10.0), Cable("b", 5.0), Cable("c", 20.0)]
    >>> found = assign_cables([4.0, 9.0], kit)
    >>> [cable.name for cable in found.cables], found.excess, found.farthest_first_excess
    (['b', 'a'], 1.4, 16.4)
    >>> assign_cables([4.0, 19.9], kit).shortages[0].says
    'c, the longest left, is 0.20 m too short; bring one of 20.20 m or more or shorten the run: cables are not joined'
    """
    needed = [cable_needed(run=run) for run in runs]
    chosen: list[Cable | None] = [None] * len(runs)
    left = list(cables)
    if runs and cables:
        excess = np.array([[cable.length - need for cable in cables] for need in needed])
        cost = np.where(excess >= 0, excess, _IMPOSSIBLE)
        found = zip(*scipy.optimize.linear_sum_assignment(cost), strict=True)
        pairs = [(run, cable) for run, cable in found if cost[run, cable] < _IMPOSSIBLE]
        farthest = sorted((int(run) for run, _ in pairs), key=lambda run: needed[run], reverse=True)
        longest = sorted((cables[cable] for _, cable in pairs), key=lambda cable: cable.length, reverse=True)
        for run, cable in zip(farthest, longest, strict=True):
            chosen[run] = cable
            left.remove(cable)
    best_left = max(left, key=lambda cable: cable.length, default=None)
    return Assignment(
        cables=tuple(chosen),
        excess=sum(cable.length - need for cable, need in zip(chosen, needed, strict=True) if cable is not None),
        shortages=tuple(Shortage(run, needed[run], best_left) for run, cable in enumerate(chosen) if cable is None),
        farthest_first_excess=_farthest_first(needed, [cable.length for cable in cables]),
    )


def _farthest_first(needed: Sequence[float], lengths: Sequence[float]) -> float | None:
    """Excess by the rule of thumb; it finds a cable for every run whenever there is a way to, but not the least excess. [m]"""
    if len(lengths) < len(needed):
        return None
    over = [length - need for length, need in zip(sorted(lengths, reverse=True), sorted(needed, reverse=True), strict=False)]
    return sum(over) if all(each >= 0 for each in over) else None
