"""How long would a growth go unnoticed? The alarm itself is run over the drive's own records, raised by so many dB.

Nothing is worked out from a share of readings over a limit: persistence, stops between records and their scatter are all in the
records, and in the alarm that is run. What is told is calendar time from the growth to a yellow that persists, stops included. A
growth that is not caught in the records that are left, or within `LONGEST_AFTER`, is not seen.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from gearcase.errors import OutOfRange
from gearcase.judge.alarm import Sample, Thresholds, fresh, step

__all__ = ["GROWTHS_DB", "Detection", "detection"]

GROWTHS_DB = (3.0, 6.0, 10.0, 20.0)
ONSETS = 12
LONGEST_AFTER = 500  # records after the growth
_MOST_WORTH = 86400.0  # of calendar time left in the records that an onset must have [s]


@dataclass(frozen=True)
class Detection:
    """How a growth of `growth_db` is noticed.

    Attributes
    ----------
    growth_db : float
    seen, tried : int
        Growths caught, of those tried.
    median_s, slowest_s : float or None
        Until yellow persists, of those caught; None where none was. [s]
    """

    growth_db: float
    seen: int
    tried: int
    median_s: float | None
    slowest_s: float | None

    @property
    def says(self) -> str:
        """For a person.

        >>> Detection(6.0, 12, 12, 240.0, 7200.0).says
        '+6 dB: yellow within 4 min to 2.0 h'
        """
        if self.median_s is None or self.slowest_s is None:
            return f"+{self.growth_db:g} dB: not seen"
        often = "" if self.seen == self.tried else f" in {self.seen} of {self.tried}"
        ends = dict.fromkeys((_span(self.median_s), _span(self.slowest_s)))
        return f"+{self.growth_db:g} dB: yellow within {' to '.join(ends)}{often}"


def detection(
    time_s: ArrayLike, values: ArrayLike, *, quantity: str, thresholds: Thresholds, growth_db: float, state: str
) -> Detection:
    """Run the alarm from several onsets, spread evenly over the records.

    Parameters
    ----------
    time_s, values : array_like, shape (n,)
        Gated records of healthy running, times rising. [s], [unit of the quantity]
    quantity : str
        One with an alarm rule.
    thresholds : Thresholds
    growth_db : float
        By which every record after the onset is raised; 0 or more. [dB]
    state : str
        Run state in which the records were taken.

    Raises
    ------
    OutOfRange
        No records, times that do not rise, or a growth below 0.

    Examples
    --------
    Overall velocity a minute apart, doubled from 1 to 2 mm/s with yellow at 1.5:

    >>> found = detection(60.0 * np.arange(600), np.full(600, 1e-3), quantity="overall velocity",
    ...                   thresholds=Thresholds(1.5e-3, 4e-3), growth_db=6.0, state="steady")
    >>> found.seen, found.tried, found.median_s
    (12, 12, 180.0)
    """
    time, level = np.asarray(time_s, dtype=float), np.asarray(values, dtype=float)
    if time.ndim != 1 or not len(time) or level.shape != time.shape or np.any(np.diff(time) <= 0):
        raise OutOfRange("time_s", time.shape, "one row of times that rise, a value each")
    if not growth_db >= 0:
        raise OutOfRange("growth_db", growth_db, "0 or more")
    raised = level * 10 ** (growth_db / 20)
    last = max(len(time) // 2, int(np.searchsorted(time, time[-1] - _MOST_WORTH)))
    onsets = np.unique(np.linspace(0, last, ONSETS, endpoint=False).astype(int))
    delays = []
    for onset in onsets:
        alarm = fresh(quantity, thresholds)
        for here in range(onset, min(onset + LONGEST_AFTER, len(time))):
            alarm, _ = step(alarm, Sample(time[here], raised[here], "good", state), now=time[here])
            if alarm.condition != "clear":
                delays.append(float(time[here] - time[onset]))
                break
    if not delays:
        return Detection(growth_db, 0, len(onsets), None, None)
    return Detection(growth_db, len(delays), len(onsets), float(np.median(delays)), max(delays))


def _span(seconds: float) -> str:
    if seconds < 3600:
        return f"{seconds / 60:.0f} min"
    return f"{seconds / 3600:.1f} h" if seconds < 2 * 86400 else f"{seconds / 86400:.1f} days"
