"""What repeats with every turn of a shaft? Angle instead of time, order tracking and the synchronous average.

A `Turning` says where a shaft stands at every instant. It comes from marks that pass once a turn (`turning_from_marks`, e.g. the
`mark_s` of `tachometer.read_pulses`) or, without a tachometer, from the phase of a mesh harmonic (`turning_from_mesh`: P. D.
McFadden, "Interpolation techniques for time domain averaging of gear vibration", Mech. Syst. Signal Process. 3 (1989), and later
papers on phase demodulation by others, from memory). `Turning.geared` gives any other shaft of the train.

`resample_to_angle` reads a record at equal steps of angle. Its spectrum is an order spectrum: `spectrum.transform(values,
sample_rate_hz=per_turn)`, bins in orders in place of Hz. `synchronous_average` averages its turns: what is locked to the shaft
stays, and the rest falls as 1 / sqrt(turns).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from gearcase.errors import OutOfRange
from gearcase.signal.recording import as_records, require_above_zero
from gearcase.signal.spectrum import SHORTEST_RECORD, Transform

__all__ = [
    "AngularRecord",
    "MeshTurning",
    "SynchronousAverage",
    "Turning",
    "clear_half_width",
    "resample_to_angle",
    "synchronous_average",
    "transform_to_angle",
    "turning_from_marks",
    "turning_from_mesh",
]

_FEWEST_MARKS = 4  # of which a cubic spline is made
# pieces of the B-spline of degree 5, by powers of the place between two samples: what six of them count there (Unser 1999)
_SPLINE = np.array(
    [
        [1, -5, 10, -10, 5, -1],
        [26, -50, 20, 20, -20, 5],
        [66, 0, -60, 0, 30, -10],
        [26, 50, 20, -20, -20, 10],
        [1, 5, 10, 10, 5, -5],
        [0, 0, 0, 0, 0, 1],
    ]
) * (1 / 120)
_FINER = 4  # samples a period: with that spline 0.1 % at the highest frequency and less below
_AT_ONCE = 2**11  # stretches between readings of the turning: more fill the cache, and gain nothing
_JOINED = 8  # steps of angle between readings of the turning's spline, joined by parabolas
_BEYOND = 256  # samples put before and after, turned about the last one and fading, so that nothing jumps where it is read
_LEAST_REACH = 16  # bins to either side of a mesh line
_CLEAR = 0.8  # of the distance to a sideband, that the band about its mesh line may reach
_FLAT = 0.5  # of the half width about a mesh line: there the demodulating filter is 1, beyond it falls to 0 as a cosine
_WEAKEST = 0.2  # of a mesh line's median amplitude: below it, its phase may slip a turn; common practice, no source
_SETTLING = 1.0  # at either end of a record, in periods of the half width: there the demodulating filter rings


@dataclass(frozen=True)
class Turning:
    """Where a shaft stands over a record: whole and part `turns` [-] at the instants `at_s` [s], each of shape (knots,), both
    rising; time counts from the first sample. Read between by a cubic spline.

    Examples
    --------
    >>> shaft = Turning(np.array([0.0, 0.1, 0.2, 0.3]), np.array([0.0, 1.0, 2.0, 3.0]))
    >>> float(shaft.geared(1 / 3).turns[-1]), round(shaft.mean_hz, 3)
    (1.0, 10.0)
    """

    at_s: NDArray[np.float64]
    turns: NDArray[np.float64]

    @property
    def mean_hz(self) -> float:
        """Turns over their time. [Hz]"""
        return float((self.turns[-1] - self.turns[0]) / (self.at_s[-1] - self.at_s[0]))

    def geared(self, ratio: float) -> "Turning":
        """Of a shaft that makes `ratio` turns for each of this one: teeth here over teeth there. [-]

        Raises
        ------
        OutOfRange
            Not above 0.
        """
        require_above_zero("ratio", ratio)
        return Turning(self.at_s, self.turns * ratio)


@dataclass(frozen=True)
class MeshTurning:
    """A shaft's turning told by a mesh line, and how well it could be told.

    Attributes
    ----------
    turning : Turning
        Angle 0 is where the line's phase is 0 and marks no tooth.
    deviation_hz : float
        Furthest the line moved from its stated place. The half width must be twice that at least: it is checked. [Hz]
    weakest : float
        Least amplitude of the line over its median; a fifth at least: it is checked. [-]
    """

    turning: Turning
    deviation_hz: float
    weakest: float


@dataclass(frozen=True)
class AngularRecord:
    """Records at equal steps of angle over whole turns.

    Attributes
    ----------
    values : ndarray, shape (..., turns * per_turn)
        [unit of the samples]
    per_turn, turns : int
        [-]
    first_turn : int
        Where in the turning they begin. [-]
    """

    values: NDArray[np.floating]
    per_turn: int
    turns: int
    first_turn: int


@dataclass(frozen=True)
class SynchronousAverage:
    """Average turn of a shaft.

    Attributes
    ----------
    values : ndarray, shape (..., per_turn)
        [unit of the samples]
    standard_error : ndarray, shape (..., per_turn)
        Standard deviation over the turns at each angle, over sqrt(turns). [unit of the samples]
    turns : int
        That were averaged. [-]
    """

    values: NDArray[np.floating]
    standard_error: NDArray[np.floating]
    turns: int

    @property
    def noise_reduction_db(self) -> float:
        """By how much noise that is not locked to the shaft has fallen: 10 log10(turns). [dB]"""
        return float(10 * np.log10(self.turns))


def turning_from_marks(marks_s: NDArray[np.float64]) -> Turning:
    """Turning of a shaft whose one mark passed at these times, turn after turn.

    Parameters
    ----------
    marks_s : ndarray, shape (turns + 1,)
        Rising, none left out, from the first sample of the record. [s]

    Raises
    ------
    OutOfRange
        Times not finite or not rising, or fewer than four.

    Examples
    --------
    >>> turning_from_marks(np.array([0.05, 0.15, 0.25, 0.36])).turns
    array([0., 1., 2., 3.])
    """
    marks = as_records(marks_s, shortest=_FEWEST_MARKS, name="marks_s").astype(np.float64)
    if marks.ndim != 1 or np.any(np.diff(marks) <= 0):
        raise OutOfRange("marks_s", "not rising", "times of one record that rise")
    return Turning(marks, np.arange(marks.size, dtype=np.float64))


def clear_half_width(distances_hz: Sequence[float], *, bin_hz: float) -> float | None:
    """Half the width of the band about a mesh line that tells the angle: clear of the nearest sideband a record resolves. [Hz]

    Parameters
    ----------
    distances_hz : sequence of float
        From the line to its sidebands: what turns at either side of the mesh. [Hz]
    bin_hz : float
        Of the record's transform. [Hz]

    Returns
    -------
    float or None
        None where the record is too short for any of them. [Hz]

    Examples
    --------
    A record of 1 s cannot part sidebands 8 Hz away, and those 25 Hz away it can:

    >>> clear_half_width([25.0, 8.0], bin_hz=1.0)
    20.0
    """
    least = _LEAST_REACH * bin_hz * 1.01
    return next((_CLEAR * distance for distance in sorted(distances_hz) if _CLEAR * distance >= least), None)


def turning_from_mesh(spectrum: Transform, *, line_hz: float, cycles_per_turn: int, half_width_hz: float) -> MeshTurning:
    """Turning of a shaft from the phase of a mesh harmonic, without a tachometer.

    The bins about the line are transformed back to its complex amplitude z, and turns = (line t + arg z / 2 pi) / cycles a turn.
    The band must hold the line wherever the speed carries it and nothing else that is strong:

    - as wide as twice the furthest the line moves (checked: `deviation_hz`); a speed that moves by a part e moves harmonic k of a
      mesh of z teeth at speed f by e k z f;
    - narrower than the distance to its sidebands, one shaft speed away: else the gear's own modulation passes for a change of
    speed. Where
      both cannot be had, take a lower harmonic, or a tachometer.

    Parameters
    ----------
    spectrum : Transform
        Of one record. [unit of the samples]
    line_hz : float
        Of the mesh harmonic, on average. [Hz]
    cycles_per_turn : int
        Its cycles a turn of the shaft: harmonic times teeth. [-]
    half_width_hz : float
        Of the band, to either side; flat over half of it. [Hz]

    Returns
    -------
    MeshTurning
        Without the first and last 1 / `half_width_hz` seconds, where the filter rings. [s]

    Raises
    ------
    OutOfRange
        More than one record; a band under 16 bins to either side or outside the record's; a line that moves too far for the band,
        or whose phase is lost.

    Examples
    --------
    A 20-tooth pinion at 25 Hz, speed swinging by 0.2 %:

    >>> t = np.arange(40000) / 10000
    >>> turns = 25 * t + 0.002 * 25 * np.sin(2 * np.pi * 0.5 * t) / (2 * np.pi * 0.5)
    >>> wave = np.cos(2 * np.pi * 20 * turns)
    >>> from gearcase.signal.spectrum import transform
    >>> spectrum = transform(wave, sample_rate_hz=10000.0)
    >>> found = turning_from_mesh(spectrum, line_hz=500.0, cycles_per_turn=20, half_width_hz=12.0)
    >>> error = found.turning.turns - np.interp(found.turning.at_s, t, turns)
    >>> bool(np.abs(error).max() < 1e-3), round(found.deviation_hz, 1)
    (True, 1.0)
    """
    if cycles_per_turn < 1:
        raise OutOfRange("cycles_per_turn", cycles_per_turn, "at least 1")
    if spectrum.values.ndim != 1:
        raise OutOfRange("spectrum", f"shape {spectrum.values.shape}", "one record at a time: each has its own speed")
    bin_hz = spectrum.bin_hz
    if not _LEAST_REACH * bin_hz <= half_width_hz < line_hz / 2:
        least = _LEAST_REACH * bin_hz
        raise OutOfRange("half_width_hz", half_width_hz, f"from {least:g} Hz ({_LEAST_REACH} bins) to half of line_hz={line_hz:g}")
    middle, reach = round(line_hz / bin_hz), round(half_width_hz / bin_hz)
    if middle + reach > spectrum.samples // 2:
        raise OutOfRange("line_hz", line_hz, f"with its band below half the sample rate of {bin_hz * spectrum.samples:g} Hz")
    values = spectrum.values[middle - reach : middle + reach + 1]
    away = np.abs(np.arange(-reach, reach + 1)) / reach
    values = values * (0.5 + 0.5 * np.cos(np.pi * np.clip((away - _FLAT) / (1 - _FLAT), 0, 1)))
    length = scipy.fft.next_fast_len(4 * reach)
    slow = np.zeros(length, np.complex128)
    slow[: reach + 1], slow[-reach:] = values[reach:], values[:reach]
    z = scipy.fft.ifft(slow)
    at = np.arange(length) / (bin_hz * length)
    settled = (at >= _SETTLING / half_width_hz) & (at <= at[-1] - _SETTLING / half_width_hz)
    z, at = z[settled], at[settled]
    amplitude = np.abs(z)
    usual = float(np.median(amplitude))
    weakest = float(amplitude.min() / usual) if usual > 0 else 0.0
    phase = np.unwrap(np.angle(z)) / (2 * np.pi)
    moved_hz = np.gradient(phase, at) + (middle * bin_hz - line_hz)
    deviation = float(np.abs(moved_hz).max())
    if weakest < _WEAKEST:
        lost = float(at[np.argmin(amplitude)])
        says = f"a line that never falls below {_WEAKEST:g} of its median: its phase is lost; take another harmonic or another band"
        raise OutOfRange("line", f"{line_hz:g} Hz, {weakest:.2g} of its median amplitude at {lost:.3g} s", says)
    if deviation > _FLAT * half_width_hz:
        says = f"at most half of half_width_hz={half_width_hz:g}: widen the band, or take a lower harmonic"
        raise OutOfRange("line", f"{line_hz:g} Hz, moving by {deviation:.3g} Hz", says)
    return MeshTurning(Turning(at, (middle * bin_hz * at + phase) / cycles_per_turn), deviation, weakest)


def resample_to_angle(samples: NDArray[np.floating], turning: Turning, *, sample_rate_hz: float, per_turn: int) -> AngularRecord:
    """Records at equal steps of angle, over the whole turns that both the record and the turning cover.

    What lies above `per_turn` / 2 orders at the slowest speed is taken out, so that nothing folds. What is left is brought to four
    samples a period of its highest frequency through its transform, and read by a spline of degree 5.

    Parameters
    ----------
    samples : ndarray, shape (..., samples)
        Channels of one record, which share the turning; float32 stays float32. [unit of the samples]
    turning : Turning
    sample_rate_hz : float
        [Hz]
    per_turn : int
        Steps of a turn; half as many orders can be seen. [-]

    Returns
    -------
    AngularRecord
        [unit of the samples]

    Raises
    ------
    OutOfRange
        Complex or non-finite samples, fewer than 64, fewer than two steps a turn, no whole turn, or a turning that runs backward.

    Examples
    --------
    A shaft that speeds up by a tenth, with 5 cycles a turn, shows 5 even cycles a turn:

    >>> t = np.arange(8000) / 4000
    >>> turns = 20 * t + 0.5 * t**2
    >>> shaft = Turning(t[::50], turns[::50])
    >>> found = resample_to_angle(np.cos(2 * np.pi * 5 * turns), shaft, sample_rate_hz=4000.0, per_turn=64)
    >>> expected = np.cos(2 * np.pi * 5 * np.arange(found.values.size) / 64)
    >>> found.turns, bool(np.abs(found.values - expected).max() < 5e-3)
    (41, True)
    """
    require_above_zero("sample_rate_hz", sample_rate_hz)
    records = as_records(samples, shortest=SHORTEST_RECORD)
    steps = _steps(turning, length=records.shape[-1], sample_rate_hz=sample_rate_hz, per_turn=per_turn)
    padded, beyond = _padded(records)
    return _read(scipy.fft.rfft(padded, axis=-1, overwrite_x=True), padded.shape[-1], beyond, steps)


def transform_to_angle(spectrum: Transform, turning: Turning, *, per_turn: int) -> AngularRecord:
    """`resample_to_angle` of records whose transform is there already, for a turning that keeps clear of their ends.

    The two ends are neighbours here: a jump J from the last sample to the first rings on as J / (pi n) n samples away.

    Parameters
    ----------
    spectrum : Transform
        [unit of the samples]
    turning : Turning
    per_turn : int
        Steps of a turn. [-]

    Raises
    ------
    OutOfRange
        As `resample_to_angle`.

    Examples
    --------
    >>> from gearcase.signal.spectrum import transform
    >>> t = np.arange(8000) / 4000
    >>> turns = 20 * t + 0.5 * t**2
    >>> inside = slice(500, 7500, 50)
    >>> shaft, wave = Turning(t[inside], turns[inside]), np.cos(2 * np.pi * 5 * turns)
    >>> found = transform_to_angle(transform(wave, sample_rate_hz=4000.0), shaft, per_turn=64)
    >>> apart = found.values - resample_to_angle(wave, shaft, sample_rate_hz=4000.0, per_turn=64).values
    >>> bool(np.abs(apart - apart.mean()).max() < 5e-3)
    True
    """
    sample_rate_hz = spectrum.bin_hz * spectrum.samples
    steps = _steps(turning, length=spectrum.samples, sample_rate_hz=sample_rate_hz, per_turn=per_turn)
    return _read(spectrum.values, spectrum.samples, 0, steps)


def synchronous_average(
    samples: NDArray[np.floating], turning: Turning, *, sample_rate_hz: float, per_turn: int
) -> SynchronousAverage:
    """Average over the whole turns of a shaft, at equal steps of angle.

    Parameters
    ----------
    samples : ndarray, shape (..., samples)
        Channels of one record. [unit of the samples]
    turning : Turning
        Of the shaft whose gear is looked at.
    sample_rate_hz : float
        [Hz]
    per_turn : int
        Steps of a turn: well over twice the highest mesh harmonic's cycles a turn. [-]

    Returns
    -------
    SynchronousAverage
        [unit of the samples]

    Raises
    ------
    OutOfRange
        As `resample_to_angle`, and fewer than two whole turns.

    Examples
    --------
    >>> t = np.arange(20000) / 5000
    >>> wave = np.cos(2 * np.pi * 7 * 25 * t) + np.random.default_rng(0).standard_normal(t.size)
    >>> shaft = Turning(t[::100], 25 * t[::100])
    >>> found = synchronous_average(wave, shaft, sample_rate_hz=5000.0, per_turn=64)
    >>> found.turns, round(found.noise_reduction_db, 1)
    (99, 20.0)
    >>> round(float(np.abs(np.fft.rfft(found.values))[7] / 32), 1)
    1.0
    """
    angular = resample_to_angle(samples, turning, sample_rate_hz=sample_rate_hz, per_turn=per_turn)
    if angular.turns < 2:
        raise OutOfRange("turns", angular.turns, "at least two whole turns to average")
    turns = angular.values.reshape(*angular.values.shape[:-1], angular.turns, per_turn)
    error = turns.std(axis=-2, ddof=1) / np.sqrt(angular.turns).astype(turns.dtype)
    return SynchronousAverage(turns.mean(axis=-2), error, angular.turns)


@dataclass(frozen=True)
class _Steps:
    """Equal steps of angle over whole turns: `knots` is where every eighth stands in the record, and the one after the last
    [samples].
    """

    knots: NDArray[np.float64]
    per_turn: int
    turns: int
    first_turn: int


def _steps(turning: Turning, *, length: int, sample_rate_hz: float, per_turn: int) -> _Steps:
    if per_turn < 2:
        raise OutOfRange("per_turn", per_turn, "at least 2 steps")
    inside = (turning.at_s >= 0) & (turning.at_s <= (length - 1) / sample_rate_hz)
    if not inside.any():
        raise OutOfRange("turning", "none of it within the record", "one whose time counts from the record's first sample")
    covered = turning.turns[inside]
    first, last = int(np.ceil(covered[0] - 1e-9)), int(np.floor(covered[-1] + 1e-9))
    if last - first < 1:
        raise OutOfRange("turns", f"{covered[-1] - covered[0]:.2g}", "at least one whole turn: record longer")
    from scipy.interpolate import CubicSpline  # 25 MiB, which a watch need not hold until a record is brought to angles

    at = CubicSpline(turning.turns, turning.at_s)
    count = -(-(last - first) * per_turn // _JOINED) + 1
    return _Steps(at(first + np.arange(count) * (_JOINED / per_turn)) * sample_rate_hz, per_turn, last - first, first)


def _padded(records: NDArray[np.floating]) -> tuple[NDArray[np.floating], int]:
    """Records with ends that run on, turned about the last sample and fading to where both meet; and how many samples before."""
    length = records.shape[-1]
    beyond = min(_BEYOND, length - 1)
    padded = np.zeros((*records.shape[:-1], scipy.fft.next_fast_len(length + 2 * beyond, real=True)), records.dtype)
    padded[..., beyond : beyond + length] = records
    rise = (0.5 - 0.5 * np.cos(np.pi * (np.arange(beyond) + 0.5) / beyond)).astype(records.dtype)
    turned = 2 * records[..., [0, -1]]
    padded[..., :beyond] = rise * (turned[..., :1] - records[..., beyond:0:-1])
    padded[..., beyond + length : length + 2 * beyond] = rise[::-1] * (turned[..., 1:] - records[..., -2 : -beyond - 2 : -1])
    return padded, beyond


def _read(values: NDArray[np.complexfloating], samples: int, before: int, steps: _Steps) -> AngularRecord:
    """Records of `samples` by their transform, read where the steps stand; `before` samples stand before the record itself.

    In the transform the coefficients of a spline of degree 5 are the values over (66 + 52 cos w + 2 cos 2 w) / 120 at w a sample
    (M. Unser, Splines, IEEE Signal Process. Mag. 16 (1999), from memory).
    """
    advance = np.diff(steps.knots) / _JOINED
    if np.any(advance <= 0):
        near = steps.first_turn + int(np.argmin(advance)) * _JOINED / steps.per_turn
        raise OutOfRange("turning", f"backward near turn {near:.4g}", "turns that rise with time")
    highest = min(0.5, 0.5 / float(advance.max()))  # of the sample rate; a step of angle takes `advance` samples
    kept = int(highest * samples) + 1
    finer = scipy.fft.next_fast_len(max(_FINER * kept, SHORTEST_RECORD), real=True)
    cosine = np.cos(np.arange(kept, dtype=values.real.dtype) * values.real.dtype.type(2 * np.pi / finer))
    weights = (120 * finer / samples) / (64 + 4 * cosine * (13 + cosine))
    coefficients = scipy.fft.irfft(values[..., :kept] * weights, finer, axis=-1, overwrite_x=True)
    knots = (steps.knots + before) * (finer / samples)
    rise, part = np.diff(knots), np.arange(_JOINED) / _JOINED
    bend = np.gradient(rise) if rise.size > 1 else np.zeros(1)
    pieces, shapes = np.stack([knots[:-1], rise, bend], axis=-1), np.stack([np.ones(_JOINED), part, (part - 1) * part / 2])
    some = (pieces[first : first + _AT_ONCE] @ shapes for first in range(0, rise.size, _AT_ONCE))
    read = np.concatenate([_between(coefficients, places.ravel()) for places in some], axis=-1)
    return AngularRecord(read[..., : steps.turns * steps.per_turn], steps.per_turn, steps.turns, steps.first_turn)


def _between(coefficients: NDArray[np.floating], places: NDArray[np.float64]) -> NDArray[np.floating]:
    """A spline of degree 5 on whole places, the last next to the first, read between them."""
    whole = np.floor(places).astype(np.intp)
    powers = np.empty((6, places.size), coefficients.dtype)
    powers[0], powers[1] = 1, places - whole
    for n in range(2, 6):
        np.multiply(powers[n - 1], powers[1], out=powers[n])
    weights = _SPLINE.astype(coefficients.dtype) @ powers
    return np.asarray((coefficients.take(np.arange(-2, 4)[:, None] + whole, axis=-1, mode="wrap") * weights).sum(axis=-2))
