"""Has a level changed since an earlier record of the same point in the same state? Higher or lower: either is a change.

Theory of operation
-------------------
Nothing is asked of rates, so nothing need be known of them: a record whose sample rate, unit or drive nobody knows can still be
compared with another of the same sensor. Both records are cut into blocks, and the level of a block is the logarithm of its mean
square. The two means of these levels differ by chance as in Welch's test, with as many independent blocks as their correlation
leaves. A difference that noise does not explain is still no change of the machine until it is as large as what remounting and an
ordinary day do: 3 dB.

A lower level is not a better one: a broken tooth may carry less, a sensor may have come loose.
"""

from dataclasses import dataclass

import numpy as np
import scipy.special
from numpy.typing import NDArray

from gearcase.errors import OutOfRange
from gearcase.signal.recording import as_records

__all__ = ["LEAST_CHANGE_DB", "Change", "Level", "change", "level"]

LEAST_CHANGE_DB = 3.0  # common practice, no source
_BLOCKS = 16
_LEVEL_BLOCK = 256  # samples; the mean square of fewer says little
_CHANGE_CHANCE = 1e-3


@dataclass(frozen=True)
class Level:
    """The level of a record, mean over its blocks, against 1 unit of its samples [dB]; its standard error [dB], and the degrees of
    freedom of that [-].
    """

    decibel: float
    standard_error: float
    free: float


@dataclass(frozen=True)
class Change:
    """What became of a level. `level_db` is now over before, `standard_error_db` is that of the records' own scatter [dB]; `chance`
    is that of such a difference with nothing changed [-]; `changed` where it is that certain and that large.
    """

    level_db: float
    standard_error_db: float
    chance: float
    changed: bool

    @property
    def says(self) -> str:
        """In words."""
        told = f"{abs(self.level_db):.1f} dB {'higher' if self.level_db >= 0 else 'lower'}"
        if not self.changed:
            return f"{told}, no change"
        lower = "; lower is not better: less may be carried, or the sensor be loose" if self.level_db < 0 else ""
        return f"{told}, more than {LEAST_CHANGE_DB:g} dB and than chance{lower}"


def level(samples: NDArray[np.floating]) -> Level:
    """Level of one record.

    Parameters
    ----------
    samples : ndarray, shape (samples,)
        [unit of the samples]

    Raises
    ------
    OutOfRange
        A record too short, not finite, not of one channel, or one that stands still for part of its time.
    """
    record = as_records(samples, shortest=_BLOCKS * _LEVEL_BLOCK)
    if record.ndim != 1:
        raise OutOfRange("samples", f"shape {record.shape}", "one record")
    moved = record - record.mean(dtype=np.float64)
    blocks = moved[: moved.size // _BLOCKS * _BLOCKS].reshape(_BLOCKS, -1)
    power = np.mean(np.square(blocks, dtype=np.float64), axis=-1)
    if not power.min() > 0:
        raise OutOfRange("samples", "a record that stands still for part of its time", "one that moves throughout")
    levels = 10 * np.log10(power)
    alike = np.ptp(levels) < 1e-9
    after = 0.0 if alike else float(np.corrcoef(levels[:-1], levels[1:])[0, 1])
    independent = max(2.0, _BLOCKS * (1 - max(after, 0.0)) / (1 + max(after, 0.0)))
    return Level(float(levels.mean()), float(levels.std(ddof=1) / np.sqrt(independent)), independent - 1)


def change(before: Level, now: Level, *, compared: int) -> Change:
    """Compare two records of one sensor in one state of the drive, by their levels.

    Parameters
    ----------
    before, now : Level
    compared : int
        How many such comparisons are made, each of which could speak by chance. [-]

    Raises
    ------
    OutOfRange

    Examples
    --------
    >>> noise = np.random.default_rng(1).normal(size=(2, 8192))
    >>> before = level(noise[0])
    >>> change(before, level(0.6 * noise[1]), compared=1).changed, change(before, level(0.9 * noise[1]), compared=1).changed
    (True, False)
    """
    if compared < 1:
        raise OutOfRange("compared", compared, "1 or more")
    apart = now.decibel - before.decibel
    error = float(np.hypot(before.standard_error, now.standard_error))
    if error == 0:  # records without any scatter, of a calculator rather than of a machine
        chance = float(apart == 0)
    else:
        free = error**4 / (before.standard_error**4 / before.free + now.standard_error**4 / now.free)  # Welch and Satterthwaite
        chance = min(1.0, compared * 2 * float(scipy.special.stdtr(free, -abs(apart) / error)))
    return Change(apart, error, chance, chance <= _CHANGE_CHANCE and abs(apart) >= LEAST_CHANGE_DB)
