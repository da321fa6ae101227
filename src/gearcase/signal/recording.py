"""A recording: samples of one channel with what must be known to use them."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from gearcase.errors import OutOfRange

__all__ = ["Recording", "require_finite"]


@dataclass(frozen=True)
class Recording:
    """One channel of vibration.

    Attributes
    ----------
    samples : ndarray, shape (samples,)
        Float32 or float64, in SI: m/s2 for acceleration, m/s for velocity, m for displacement.
    sample_rate_hz : float
        [Hz]
    unit : str
        ``"m/s2"``, ``"m/s"`` or ``"m"``, the unit of `samples`.
    channel : str
        Name of the channel in its file.
    speed_hz : float or None
        Speed of the drive's reference shaft while recording, where it is known. [Hz]
    pulses_per_turn : int or None
        Of the tachometer that gave `speed_hz`; None where the speed was stated. [-]
    tachometer : str
        What its tachometer said, in words; empty where it had none.
    point : str
        Name of the measuring point; empty when unknown.
    sha256 : str
        Of the file the samples came from.
    name : str
        File name, for people.
    start : str
        When it was taken, ISO 8601; empty when unknown.
    """

    samples: NDArray[np.floating]
    sample_rate_hz: float
    unit: str
    channel: str = ""
    speed_hz: float | None = None
    point: str = ""
    sha256: str = ""
    name: str = ""
    start: str = ""
    pulses_per_turn: int | None = None
    tachometer: str = ""
    found: str = field(default="", compare=False)

    @property
    def duration_s(self) -> float:
        """Length of the record. [s]"""
        return float(self.samples.shape[-1] / self.sample_rate_hz)


def require_finite(samples: NDArray[np.floating], name: str = "samples") -> None:
    """Refuse NaN and infinity, of samples in any unit. [unit of the samples]

    Raises
    ------
    OutOfRange
        With the count and the first index.
    """
    if not np.isfinite(np.dot(samples.ravel(), samples.ravel())):  # one fast pass; the slow look only when it fails
        bad = np.flatnonzero(~np.isfinite(samples))
        if bad.size:
            raise OutOfRange(name, f"{bad.size} of {samples.size} not finite", f"numbers only; the first is at {bad[0]}")
