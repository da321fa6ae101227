"""A record over angle in place of time: lines of everything that turns with the drive stand at exact orders, in both halves.

The angle comes from the phase of the drive's own mesh (`signal.synchronous.turning_from_mesh`), so that changes of speed smear
nothing. Each half of the record is transformed by itself, under a Hann window: what the drive does, both halves show alike; a knock
from outside shows in one. A line's phase counts from the middle of its half, where it does not depend on how far between
two bins the line stands, and is then carried to the angle both halves share.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from gearcase.drive.lines import meshing
from gearcase.drive.speeds import shaft_orders
from gearcase.drive.train import Drive, mesh_carrier
from gearcase.errors import OutOfRange
from gearcase.judge.patterns.observed import Observed
from gearcase.signal.spectrum import PRESENT, floor_bins, hann, line_strength
from gearcase.signal.synchronous import (
    AngularRecord,
    MeshTurning,
    Turning,
    clear_half_width,
    transform_to_angle,
    turning_from_mesh,
)

__all__ = ["TOP_OF_RATE", "AngularHalves", "MeshRate", "angular_halves", "mesh_rates", "mesh_turning"]

_HARMONICS = (1, 2, 3)  # of a mesh, that may tell the angle
_PHASES_AT_ONCE = 32  # multiples whose phases are the products of two, so that few exponentials are taken
_TRIED = 4  # mesh lines, the strongest first
_OF_NOISE = 1.5  # mean square of 1 + cos
TOP_OF_RATE = 0.45  # of the sample rate: beyond, sensors and filters fade


@dataclass(frozen=True)
class MeshRate:
    """A mesh that may tell the angle.

    Attributes
    ----------
    mesh : str
    order : float
        Mesh cycles in a turn of the reference shaft. [-]
    beside : tuple of float
        Orders away from its line at which it has sidebands. [-]
    """

    mesh: str
    order: float
    beside: tuple[float, ...]


@dataclass(frozen=True)
class AngularHalves:
    """Order spectra of the two halves of a record, or of one of them alone.

    Attributes
    ----------
    values : ndarray of complex, shape (halves, bins)
        Over local noise: the squared magnitude of noise is exponential with mean 1. Phase counts from the middle of the half. [-]
    amplitude : ndarray, shape (halves, bins)
        Peak amplitude of a sine. [unit of the samples]
    middle : tuple of float
        Angle at the middle of each half, turns of the reference shaft. [-]
    step : float
        Orders from one bin to the next. [-]
    turns : float
        Of the reference shaft, in the whole record. [-]
    top : float
        Highest order that can be looked at. [-]
    turning : Turning
        Of the reference shaft.
    told_by : str
        The mesh line that told the angle.
    """

    values: NDArray[np.complexfloating]
    amplitude: NDArray[np.floating]
    middle: tuple[float, ...]
    step: float
    turns: float
    top: float
    turning: Turning
    told_by: str

    def first(self) -> "AngularHalves":
        """The first half alone."""
        return replace(self, values=self.values[:1], amplitude=self.amplitude[:1], middle=self.middle[:1])

    def multiples(self, bases: NDArray[np.float64], *, first: int, count: int) -> NDArray[np.complexfloating]:
        """Values at so many multiples of orders, `first`, `first` + 1, ... phase at angle 0, shape (bases, halves, count). [-]"""
        bins = np.rint((first + np.arange(count)) * (bases[:, None] / self.step)).astype(np.intp)
        away = -2j * np.pi * np.array(self.middle)[:, None] * bases[:, None, None]
        rough = np.exp(away * (first + np.arange(0, count, _PHASES_AT_ONCE))).astype(self.values.dtype)
        fine = np.exp(away * np.arange(_PHASES_AT_ONCE)).astype(self.values.dtype)
        turned = (rough[..., None] * fine[..., None, :]).reshape(bases.size, len(self.middle), -1)[..., :count]
        turned *= self.values.take(bins, axis=-1).swapaxes(0, 1)
        return np.asarray(turned)

    def passing(self, turns: float, part: float) -> "AngularHalves":
        """The same record under a window that opens once a turn of what makes `turns` for one of the reference shaft [-]: 1 + cos,
        widest `part` of that turn [-] from where the angle is 0. Noise keeps its mean of 1.

        Of several planets the window lets through the meetings of the one that comes past the sensor (windowed average of P. D.
        McFadden, J. Vib. Acoust. 113 (1991), from memory).
        """
        away = round(turns / self.step)
        turned = np.exp(2j * np.pi * (np.array(self.middle)[:, None] * turns - part))
        values = np.array(self.values)
        values[:, away:] += 0.5 * turned * self.values[:, :-away]
        values[:, :-away] += 0.5 / turned * self.values[:, away:]
        return replace(self, values=values / np.sqrt(_OF_NOISE))

    def average_turn(self, base: float) -> NDArray[np.float64]:
        """Average turn of what makes `base` turns for one of the reference shaft [-], angle 0 first, shape (steps,): the
        multiples of its rate up to `top`, transformed back, both halves under their windows. [unit of the samples]
        """
        lines = self.lines(base)
        steps = scipy.fft.next_fast_len(2 * lines.size, real=True)
        return np.asarray(scipy.fft.irfft(lines * (steps / 2), steps))

    def lines(self, base: float) -> NDArray[np.complexfloating]:
        """Lines at the whole multiples of an order [-] up to `top`, 0 first, mean of both halves: peak amplitude, and phase at
        angle 0, shape (multiples,). [unit of the samples]
        """
        count = int(self.top / base)
        values = self.multiples(np.array([base]), first=1, count=count)[0]
        bins = np.rint(np.arange(1, count + 1) * (base / self.step)).astype(np.intp)
        read = values * (self.amplitude[:, bins] / np.maximum(np.abs(values), 1e-30))
        return np.append(0, read.mean(axis=0))

    def power(self, orders: NDArray[np.float64]) -> NDArray[np.floating]:
        """Over local noise near these orders [-], shape (2, orders): exp(-s) of noise reach s. [-]"""
        return np.asarray(np.abs(self.values[:, np.rint(orders / self.step).astype(np.intp)]) ** 2)

    def strength(self, orders: NDArray[np.float64]) -> NDArray[np.float64]:
        """Power over local noise near these orders [-], the less of the two halves: exp(-2 s) of noise reach s. [-]"""
        return np.asarray(self.power(orders).min(axis=0))

    def height(self, order: float) -> float:
        """Peak amplitude of the line at an order [-], mean of both halves. [unit of the samples]"""
        at = round(order / self.step)
        return float(self.amplitude[:, at - 1 : at + 2].max(axis=-1).mean())


def mesh_rates(drive: Drive) -> tuple[MeshRate, ...]:
    """Every mesh whose rate is known exactly."""
    known, shafts = shaft_orders(drive), {shaft.name: shaft for shaft in drive.shafts}
    rates = []
    for mesh in drive.meshes:
        found = meshing(mesh, known, shafts)
        if found is None or not found[0] or found[1]:
            continue
        carrier = mesh_carrier(mesh, shafts)
        beside = [found[0] / count for count in (mesh.pinion_teeth, mesh.wheel_teeth) if count]
        beside += [abs(known[carrier].order)] if carrier else []
        rates.append(MeshRate(mesh.name, found[0], tuple(order for order in beside if order)))
    return tuple(rates)


def mesh_turning(rates: Sequence[MeshRate], one: Observed) -> tuple[Turning, str] | str:
    """Turning of the reference shaft told by one of these meshes, and by which line of it; or in words why none tells it."""
    why = ""
    for found in _told(rates, one):
        if not isinstance(found, str):
            return found.line.turning.geared(1 / found.order), found.name
        why = found
    return why


def angular_halves(rates: Sequence[MeshRate], one: Observed) -> AngularHalves | str:
    """Both halves of a record over angle, told by one of these meshes; or in words why no angle can be told."""
    record, why = one.recording, ""
    for found in _told(rates, one):
        if isinstance(found, str):
            why = found
            continue
        try:
            per_cycle = int(np.ceil(record.sample_rate_hz / (found.line_hz - found.line.deviation_hz))) + 1
            angular = transform_to_angle(one.spectrum, found.line.turning, per_turn=max(per_cycle, 4))
        except OutOfRange as reason:
            why = str(reason)
            continue
        turning = found.line.turning.geared(1 / found.order)
        return _halves(angular, turning, found.order, found.name, record.sample_rate_hz, one.speed_hz)
    return why


@dataclass(frozen=True)
class _Told:
    """A mesh line that told the angle: name, cycles in a turn of the reference shaft [-], place [Hz], and its own cycles."""

    name: str
    order: float
    line_hz: float
    line: MeshTurning


def _told(rates: Sequence[MeshRate], one: Observed) -> Iterator[_Told | str]:
    """Mesh lines that tell the angle, the strongest first; in words why others, or all, do not."""
    if one.speed_spread >= 1 or not one.speed_hz:
        yield "its speed is not steady"
        return
    found = sorted(_candidates(rates, one), key=lambda row: -row[0])
    if not found:
        yield "no mesh line stands clear of its sidebands in so short a record"
    for _, name, order, line_hz, reach in found[:_TRIED]:
        try:
            line = turning_from_mesh(one.spectrum, line_hz=line_hz, cycles_per_turn=1, half_width_hz=reach)
        except OutOfRange as reason:
            yield str(reason)
            continue
        yield _Told(name, order, line_hz, line)


def _candidates(rates: Sequence[MeshRate], one: Observed) -> Iterator[tuple[float, str, float, float, float]]:
    """Mesh lines that stand out: strength, name, order, place [Hz], and half the width of the band that holds it alone [Hz]."""
    bin_hz, strength = one.spectrum.bin_hz, one.strength
    for rate in rates:
        reach = clear_half_width([order * one.speed_hz for order in rate.beside], bin_hz=bin_hz)
        if reach is None:
            continue
        for n in _HARMONICS:
            expected = n * rate.order * one.speed_hz
            off = int(np.ceil(expected * one.speed_spread / bin_hz)) + 2
            middle = round(expected / bin_hz)
            if middle - off < 1 or expected + reach > TOP_OF_RATE * one.recording.sample_rate_hz or reach >= expected / 2:
                continue
            at = middle - off + int(np.argmax(strength[middle - off : middle + off + 1]))
            if strength[at] >= PRESENT:
                yield float(strength[at]), f"{rate.mesh} {n}x", n * rate.order, at * bin_hz, reach


def _halves(
    angular: AngularRecord, turning: Turning, order: float, name: str, sample_rate_hz: float, speed_hz: float
) -> AngularHalves:
    """`order` is that of the line whose cycles the record counts."""
    values, per_cycle = angular.values, angular.per_turn
    length = 2 * scipy.fft.prev_fast_len(values.size // 4)
    halves = np.stack([values[:length], values[-length:]])
    halves -= halves.mean(axis=-1, keepdims=True)
    spectrum = hann(scipy.fft.rfft(halves, axis=-1, overwrite_x=True))
    spectrum[:, 1::2] *= -1  # phase from the middle of the half
    magnitude = np.abs(spectrum)
    step = per_cycle * order / length
    strength = line_strength(magnitude**2, width=floor_bins(step * speed_hz))
    spectrum *= np.sqrt(strength) / np.where(magnitude > 0, magnitude, 1)
    first, last = ((angular.first_turn + start / per_cycle) / order for start in (length / 2, values.size - length / 2))
    return AngularHalves(
        spectrum.astype(np.complex64, copy=False),
        magnitude * (4 / length),
        (first, last),
        step,
        values.size / per_cycle / order,
        min(TOP_OF_RATE * sample_rate_hz / speed_hz, (magnitude.shape[-1] - 2) * step),
        turning,
        name,
    )
