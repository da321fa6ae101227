"""A recording: samples of one channel with what must be known to use them."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from gearcase.errors import OutOfRange

__all__ = ["DIRECTIONS", "STATES", "UNITS", "Circumstances", "Recording", "as_records", "require_above_zero", "require_finite"]


DIRECTIONS = ("horizontal", "vertical", "axial")
UNITS = ("m/s2", "m/s", "m")
_LARGEST = {4: 2.0**40, 8: 2.0**460}  # by bytes; the power of a line of 16 million such samples can just be held
STATES = ("steady", "unloaded", "uncoupled", "starting", "run-up", "coast-down", "overrunning", "standing")


@dataclass(frozen=True)
class Circumstances:
    """How and in what state of the drive a record was taken.

    Attributes
    ----------
    direction : str
        One of `DIRECTIONS`, what the channel feels, against the shaft's axis; empty when unknown.
    state : str
        One of `STATES`; ``coast-down`` is with the power off, ``standing`` with this drive stopped and the neighbours running.
    load : float or None
        Share of the rated load. [-]
    oil_temperature : float or None
        [K]
    together : str
        Name of what it was sampled in: recordings of one name and start were sampled at the same moments, so that their phases
        may be compared. Empty where nobody says so: then channels of one file count as sampled together.

    Raises
    ------
    OutOfRange
        Another direction or state; a load or temperature that is no number.
    """

    direction: str = ""
    state: str = ""
    load: float | None = None
    oil_temperature: float | None = None
    together: str = ""

    def __post_init__(self) -> None:
        """Refuse what no record can be taken at."""
        for name, given, known in (("direction", self.direction, DIRECTIONS), ("state", self.state, STATES)):
            if given and given not in known:
                raise OutOfRange(name, repr(given), f"one of {', '.join(known)}, or empty where it is not known")
        for name, value in (("load", self.load), ("oil_temperature", self.oil_temperature)):
            if value is not None and not np.isfinite(value):
                raise OutOfRange(name, value, "a number, or None where it is not known")


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
    marks_s : ndarray, shape (turns + 1,)
        When one mark of the reference shaft passed its tachometer, turn after turn, from the first sample; empty where that is
        not known. [s]
    taken : Circumstances
    point : str
        Name of the measuring point; empty when unknown.
    sha256 : str
        Of the file the samples came from.
    name : str
        File name, for people.
    start : str
        When it was taken, ISO 8601; empty when unknown.
    step : float or None
        What one count of the sensor's converter is, where the samples are whole counts. [unit of the samples]

    Raises
    ------
    OutOfRange
        Samples that are not one row, another unit, a sample rate or speed not above 0. Whether the samples are numbers is for who
        computes with them.
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
    taken: Circumstances = field(default_factory=Circumstances)
    found: str = field(default="", compare=False)
    marks_s: NDArray[np.float64] = field(default_factory=lambda: np.empty(0), compare=False)
    step: float | None = None

    def __post_init__(self) -> None:
        """Refuse what is no record."""
        require_above_zero("sample_rate_hz", self.sample_rate_hz)
        if self.speed_hz is not None:
            require_above_zero("speed_hz", self.speed_hz)
        if self.unit not in UNITS:
            raise OutOfRange("unit", repr(self.unit), f"one of {', '.join(UNITS)}")
        if not isinstance(self.samples, np.ndarray) or self.samples.ndim != 1:
            raise OutOfRange("samples", f"shape {np.shape(self.samples)}", "one row, as an array")

    @property
    def duration_s(self) -> float:
        """Length of the record. [s]"""
        return float(self.samples.shape[-1] / self.sample_rate_hz)


def require_finite(samples: NDArray[np.floating], name: str = "samples") -> None:
    """Refuse NaN, infinity, and what is so large that it cannot be squared and summed. [unit of the samples]

    Raises
    ------
    OutOfRange
        With the count and the first index, or the largest.
    """
    most = _LARGEST[samples.dtype.itemsize]
    with np.errstate(over="ignore", invalid="ignore"):
        squares = np.dot(samples.ravel(), samples.ravel())
    if squares <= most**2:  # one fast pass; the slow look only when it fails, as of NaN
        return
    bad = np.flatnonzero(~np.isfinite(samples))
    if bad.size:
        raise OutOfRange(name, f"{bad.size} of {samples.size} not finite", f"numbers only; the first is at {bad[0]}")
    if (largest := float(np.abs(samples).max())) > most:
        raise OutOfRange(name, f"up to {largest:.3g}", f"at most {most:.1g}: look at the unit and the scale they were read with")


def as_records(samples: NDArray[np.floating], *, shortest: int = 1, name: str = "samples") -> NDArray[np.floating]:
    """Samples fit to be computed with: real, finite, long enough. [unit of the samples]

    Parameters
    ----------
    samples : ndarray, shape (..., samples)
        Float32 and float64 stay what they are; whole numbers become float64. [unit of the samples]
    shortest : int
        Fewest samples a record may have. [-]
    name : str
        What they are called where they are refused.

    Raises
    ------
    OutOfRange
        Complex samples or no numbers at all, no record, a record too short, samples not finite (count and first index), or so large
        that their squares could not be held (float32: 1e12, float64: 1e138).

    Examples
    --------
    >>> as_records(np.array([1, 2, 3])).dtype
    dtype('float64')
    """
    values = np.asarray(samples)
    if values.dtype.kind not in "fiu":
        raise OutOfRange(name, f"of type {values.dtype}", "real numbers: of a complex signal take one part")
    if values.ndim == 0 or values.shape[-1] < shortest:
        raise OutOfRange(name, values.shape[-1] if values.ndim else "a single number", f"at least {shortest}")
    if values.size == 0:
        raise OutOfRange(name, f"shape {values.shape}", "at least one record")
    records = values if values.dtype in (np.float32, np.float64) else values.astype(np.float64)
    require_finite(records, name)
    return records


def require_above_zero(name: str, value: float) -> None:
    """Refuse a number in any unit that is not finite and above 0. [unit of the quantity]

    Raises
    ------
    OutOfRange
    """
    if not 0 < value < np.inf:
        raise OutOfRange(name, value, "above 0")
