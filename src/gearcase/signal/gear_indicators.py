"""Is there something on a gear that its regular meshing does not explain? Figures of merit of a synchronous average.

The average turn of a gear's shaft is taken apart by orders: the *regular* signal is the mesh harmonics with their first sidebands;
the *residual* is the average without mesh harmonics and shaft orders 1 and 2; the *difference* is the residual without the first
sidebands (Lebold et al. (2000), MFPT 54, 623-634, from memory; rows GI01 to GI12 of ``gear_indicators.csv``). A healthy difference
is near noise; a single tooth in trouble is a burst in it.

Public: `gear_signals` takes apart, `gear_indicators` gives FM0, FM4, M6A, M8A, energy ratio and sideband figures,
`standardised_moment` is behind three of them, `na4` follows a history of residuals (of `mesh_modulation(...).amplitude` it is NB4).
"""

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from gearcase.errors import OutOfRange
from gearcase.signal.recording import as_records

__all__ = [
    "GearIndicators",
    "GearSignals",
    "MeshModulation",
    "central_moments",
    "gear_indicators",
    "gear_signals",
    "mesh_modulation",
    "na4",
    "na4_of_moments",
    "standardised_moment",
]

_FEWEST_TEETH = 4  # with fewer the first sidebands fall on shaft orders 1 and 2
_SHAFT_ORDERS = 2  # taken out of the residual: unbalance and alignment, not the gear
_NOTHING = 64.0  # roundings of the average, relative to its largest: what is smaller is no signal


@dataclass(frozen=True)
class GearSignals:
    """Parts of an average turn, each of shape (..., per_turn) but the amplitudes.

    Attributes
    ----------
    regular, residual, difference : ndarray, shape (..., per_turn)
        [unit of the samples]
    mesh_amplitudes : ndarray, shape (..., harmonics)
        Peak amplitudes of the mesh harmonics. [unit of the samples]
    sideband_amplitudes : ndarray, shape (..., 2)
        Peak amplitudes of the lower and upper first sideband of the first mesh harmonic. [unit of the samples]
    """

    regular: NDArray[np.floating]
    residual: NDArray[np.floating]
    difference: NDArray[np.floating]
    mesh_amplitudes: NDArray[np.floating]
    sideband_amplitudes: NDArray[np.floating]


@dataclass(frozen=True)
class GearIndicators:
    """Figures of an average turn, each of shape (...).

    Attributes
    ----------
    fm0 : ndarray
        Peak to peak over the sum of the mesh amplitudes (Stewart 1977): grows with a tooth that stands out, or with mesh that
        fades. [-]
    fm4, m6a, m8a : ndarray
        Fourth (Stewart 1977), sixth and eighth (Martin 1989) standardised moment of the difference: 3, 15 and 105 of Gaussian
        noise, more of a burst; the higher, the keener on single peaks and the less steady. [-]
    energy_ratio : ndarray
        RMS of the difference over RMS of the regular signal (Swansson 1980): wear of all teeth. [-]
    sideband_index : ndarray
        Mean amplitude of the first sidebands of the first mesh harmonic. [unit of the samples]
    sideband_level_factor : ndarray
        Sum of these two amplitudes over the standard deviation of the average. [-]
    """

    fm0: NDArray[np.floating]
    fm4: NDArray[np.floating]
    m6a: NDArray[np.floating]
    m8a: NDArray[np.floating]
    energy_ratio: NDArray[np.floating]
    sideband_index: NDArray[np.floating]
    sideband_level_factor: NDArray[np.floating]


@dataclass(frozen=True)
class MeshModulation:
    """How a mesh harmonic comes and goes over a turn.

    Attributes
    ----------
    amplitude : ndarray, shape (..., per_turn)
        Envelope. [unit of the samples]
    phase : ndarray, shape (..., per_turn)
        Against that of the harmonic itself, in radians; a cracked tooth yields and the phase lags where it meshes. [-]
    """

    amplitude: NDArray[np.floating]
    phase: NDArray[np.floating]


def gear_signals(average: NDArray[np.floating], *, teeth: int, harmonics: int) -> GearSignals:
    """Take an average turn apart by orders.

    Parameters
    ----------
    average : ndarray, shape (..., per_turn)
        `values` of a `synchronous.SynchronousAverage`; float32 stays float32. [unit of the samples]
    teeth : int
        Of the gear on the averaged shaft. [-]
    harmonics : int
        Of its mesh that count as regular: as many as stand clear of the noise, and the same from record to record. [-]

    Raises
    ------
    OutOfRange
        Complex or non-finite values, fewer than 4 teeth, no harmonic, or too few steps a turn for the highest harmonic's sideband.

    Examples
    --------
    >>> angle = 2 * np.pi * np.arange(256) / 256
    >>> parts = gear_signals(2 * np.cos(20 * angle) + 0.1 * np.cos(21 * angle) + 0.3 * np.cos(33 * angle), teeth=20, harmonics=3)
    >>> [round(float(part.std() * np.sqrt(2)), 3) for part in (parts.regular, parts.residual, parts.difference)]
    [2.002, 0.316, 0.3]
    """
    values, order = _orders(average, teeth=teeth, highest=harmonics * teeth + 1)
    if harmonics < 1:
        raise OutOfRange("harmonics", harmonics, "at least 1")
    mesh = (order % teeth == 0) & (order > 0) & (order <= harmonics * teeth)
    sidebands = np.zeros_like(mesh)
    sidebands[1:] |= mesh[:-1]
    sidebands[:-1] |= mesh[1:]
    shaft = order <= _SHAFT_ORDERS  # with the mean
    per_turn = average.shape[-1]
    amplitude = np.abs(values) * (2 / per_turn)
    return GearSignals(
        _kept(values, mesh | sidebands, per_turn),
        _kept(values, ~(mesh | shaft), per_turn),
        _kept(values, ~(mesh | shaft | sidebands), per_turn),
        amplitude[..., mesh],
        amplitude[..., [teeth - 1, teeth + 1]],
    )


def gear_indicators(average: NDArray[np.floating], *, teeth: int, harmonics: int) -> GearIndicators:
    """All figures of an average turn in one pass.

    Parameters
    ----------
    average : ndarray, shape (..., per_turn)
        [unit of the samples]
    teeth, harmonics : int
        As of `gear_signals`. [-]

    Raises
    ------
    OutOfRange
        As `gear_signals`, and an average that holds no mesh, or nothing but regular mesh.

    Examples
    --------
    A healthy gear in noise, and one with a tooth that knocks:

    >>> angle = 2 * np.pi * np.arange(1024) / 1024
    >>> healthy = np.cos(20 * angle) + 0.05 * np.random.default_rng(0).standard_normal(1024)
    >>> knocking = healthy + np.exp(-(((angle - 2) / 0.05) ** 2)) * np.cos(90 * angle)
    >>> found = gear_indicators(np.stack([healthy, knocking]), teeth=20, harmonics=3)
    >>> found.fm4.round(1), bool(found.energy_ratio[1] > found.energy_ratio[0])
    (array([ 3.4, 45.8]), True)
    """
    parts = gear_signals(average, teeth=teeth, harmonics=harmonics)
    values = as_records(average, name="average")
    least = _least(values)
    of_mesh = parts.mesh_amplitudes.sum(axis=-1)
    rms = {name: getattr(parts, name).std(axis=-1, dtype=np.float64) for name in ("regular", "difference")}
    if np.any(of_mesh <= least):
        raise OutOfRange("average", f"without a mesh of {teeth} teeth", "an average turn of the shaft the gear sits on")
    if np.any(rms["difference"] <= least):
        raise OutOfRange("average", "nothing but regular mesh", "a measured average: moments of nothing say nothing")
    lower, upper = parts.sideband_amplitudes[..., 0], parts.sideband_amplitudes[..., 1]
    return GearIndicators(
        fm0=np.asarray(np.ptp(values, axis=-1) / of_mesh),
        fm4=standardised_moment(parts.difference, order=4),
        m6a=standardised_moment(parts.difference, order=6),
        m8a=standardised_moment(parts.difference, order=8),
        energy_ratio=np.asarray(rms["difference"] / rms["regular"]),
        sideband_index=np.asarray((lower + upper) / 2),
        sideband_level_factor=np.asarray((lower + upper) / values.std(axis=-1, dtype=np.float64)),
    )


def standardised_moment(values: NDArray[np.floating], *, order: int) -> NDArray[np.float64]:
    """N^(m/2 - 1) sum (x - mean)^m / (sum (x - mean)^2)^(m/2), population moments: FM4, M6A and M8A of a difference signal. [-]

    Parameters
    ----------
    values : ndarray, shape (..., samples)
        [unit of the samples]
    order : int
        m: 4, 6 or 8. [-]

    Raises
    ------
    OutOfRange
        Another order; complex or non-finite values, none, or values that do not move.

    Examples
    --------
    Row GN05b of ``gear_indicators.csv``:

    >>> float(standardised_moment(np.array([1, -1, 1, -1, 1, -1, 1, 5]), order=6))
    18.40009016
    """
    if order not in (4, 6, 8):
        raise OutOfRange("order", order, "4, 6 or 8")
    records = as_records(values, name="values").astype(np.float64)
    moved = records - records.mean(axis=-1, keepdims=True)
    largest = np.abs(moved).max(axis=-1, keepdims=True)
    if np.any(largest <= _least(records)[..., None]):
        raise OutOfRange("values", "constant", "values that move")
    moved /= largest  # eighth powers of SI units run out of range
    squared = moved * moved
    return np.asarray(np.mean(squared ** (order // 2), axis=-1) / squared.mean(axis=-1) ** (order // 2))


def na4(residuals: NDArray[np.floating]) -> NDArray[np.float64]:
    """Kurtosis of each record against the mean variance of all records up to it. [-]

    Zakrajsek, Townsend, Decker (1993), NASA TM 105950: N sum_i (r_i - mean)^4 / (mean over the records so far, this one included,
    of sum_i (r_i - mean)^2)^2. 3 of a healthy residual; unlike a kurtosis it keeps growing when damage spreads to all teeth. NB4 is
    the same of the envelope about the mesh, `mesh_modulation` (Zakrajsek, Handschuh, Decker (1994), NASA TM 106467).

    Parameters
    ----------
    residuals : ndarray, shape (records, ..., per_turn)
        Oldest first, at one state of speed and load: it takes a change of load for damage. [unit of the samples]

    Returns
    -------
    ndarray, shape (records, ...)
        [-]

    Raises
    ------
    OutOfRange
        Complex or non-finite values, a single record without its history's axis, or a first record that does not move.

    Examples
    --------
    Row GN07 of ``gear_indicators.csv``:

    >>> na4(np.array([[1, -1, 1, -1], [1, -1, 1, -1], [2, -2, 2, -2]]))
    array([1., 1., 4.])
    """
    records = as_records(residuals, name="residuals").astype(np.float64)
    if records.ndim < 2:
        raise OutOfRange("residuals", f"shape {records.shape}", "records, oldest first, along the first axis")
    if np.any(np.abs(records[0] - records[0].mean(axis=-1, keepdims=True)).max(axis=-1) <= _least(records[0])):
        raise OutOfRange("residuals", "constant", "records that move, the first one too")
    return na4_of_moments(*central_moments(records / np.abs(records).max(axis=(0, -1), keepdims=True)))  # else squares may vanish


def central_moments(records: NDArray[np.floating]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Second and square root of the fourth central moment, each of shape (...), all that NA4 asks of a residual. Squared
    [unit of the samples]

    Parameters
    ----------
    records : ndarray, shape (..., samples)
        [unit of the samples]
    """
    moved = records.astype(np.float64) - records.mean(axis=-1, keepdims=True, dtype=np.float64)
    squared = moved * moved
    return squared.mean(axis=-1), np.asarray(np.sqrt(np.mean(squared * squared, axis=-1)))


def na4_of_moments(second: NDArray[np.float64], root_of_fourth: NDArray[np.float64]) -> NDArray[np.float64]:
    """`na4` of records whose `central_moments` were kept in place of them: a history of any length in two numbers a record. [-]

    Parameters
    ----------
    second, root_of_fourth : ndarray, shape (records, ...)
        Oldest first; the first `second` above 0. Squared [unit of the samples]
    """
    so_far = np.arange(1, second.shape[0] + 1).reshape(-1, *[1] * (second.ndim - 1))
    usual = np.cumsum(second, axis=0) / so_far
    return np.asarray((root_of_fourth / usual) ** 2)


def mesh_modulation(average: NDArray[np.floating], *, teeth: int, harmonic: int, sidebands: int) -> MeshModulation:
    """Amplitude and phase of a mesh harmonic over the turn, from the orders about it (P. D. McFadden (1986), J. Vib. Acoust. 108).

    Parameters
    ----------
    average : ndarray, shape (..., per_turn)
        [unit of the samples]
    teeth, harmonic : int
        The order looked at is their product: take the strongest. [-]
    sidebands : int
        Orders to either side that are kept, fewer than half the teeth. [-]

    Raises
    ------
    OutOfRange
        As `gear_signals`; a band that reaches the next harmonic, or an average without that harmonic.

    Examples
    --------
    >>> angle = 2 * np.pi * np.arange(256) / 256
    >>> found = mesh_modulation((1 + 0.2 * np.cos(angle)) * np.cos(20 * angle), teeth=20, harmonic=1, sidebands=5)
    >>> round(float(found.amplitude.max()), 3), round(float(found.amplitude.min()), 3), bool(np.abs(found.phase).max() < 1e-9)
    (1.2, 0.8, True)
    """
    if harmonic < 1:
        raise OutOfRange("harmonic", harmonic, "at least 1")
    if not 1 <= sidebands < teeth / 2:
        raise OutOfRange("sidebands", sidebands, f"from 1 to fewer than half of {teeth} teeth")
    middle = harmonic * teeth
    values, _ = _orders(average, teeth=teeth, highest=middle + sidebands)
    per_turn = average.shape[-1]
    if np.any(np.abs(values[..., middle]) <= _NOTHING * np.finfo(values.real.dtype).eps * np.abs(values).max(axis=-1)):
        raise OutOfRange("average", f"without order {middle}", "a harmonic that is there")
    about = np.zeros((*values.shape[:-1], per_turn), values.dtype)
    about[..., : sidebands + 1] = values[..., middle : middle + sidebands + 1]
    about[..., -sidebands:] = values[..., middle - sidebands : middle]
    z = 2 * scipy.fft.ifft(about, axis=-1, overwrite_x=True)
    return MeshModulation(np.abs(z), np.angle(z * np.conj(values[..., middle, None])))


def _orders(average: NDArray[np.floating], *, teeth: int, highest: int) -> tuple[NDArray[np.complexfloating], NDArray[np.intp]]:
    """Transform of average turns, and the order of each bin."""
    if teeth < _FEWEST_TEETH:
        raise OutOfRange("teeth", teeth, f"at least {_FEWEST_TEETH}")
    values = scipy.fft.rfft(as_records(average, shortest=2 * (highest + 1), name="average"), axis=-1)
    return values, np.arange(values.shape[-1])


def _kept(values: NDArray[np.complexfloating], orders: NDArray[np.bool_], per_turn: int) -> NDArray[np.floating]:
    """Average turn of these orders alone."""
    return np.asarray(scipy.fft.irfft(np.where(orders, values, 0), per_turn, axis=-1))


def _least(records: NDArray[np.floating]) -> NDArray[np.floating]:
    """What rounding alone may leave of records."""
    return np.asarray(_NOTHING * np.finfo(records.dtype).eps * np.abs(records).max(axis=-1))
