"""Lines of a spectrum as points: where each stands, how well that is known, and how easily a stranger would stand there.

Peaks are read once from line strengths; a train of gears is then held against a few hundred points instead of a hundred thousand
bins. A train predicts lines at sharp frequencies; noise and strangers put points anywhere. `Peaks.gain` is the ratio of the two
densities at a frequency, the coin in which `judge.teeth` pays for every line found.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gearcase.errors import OutOfRange
from gearcase.signal.comb_likelihood import CERTAIN_PEAK, WEAKEST_PEAK

__all__ = ["SURE", "LineSpectrum", "Peaks", "peaks_of"]

SURE = CERTAIN_PEAK  # no record of 2^20 samples shows it by chance (2^19 e^-14 = 0.4)
_FAINTEST = WEAKEST_PEAK  # what noise makes of these is counted as such
_SKIRT = 40  # bins on either side of a strong line in which its window's side lobes can pass for lines
_TAIL_SHARE = 0.1  # of lines pulled off their place by a neighbour (assumed)
_GRID = 4  # points of the search grid a bin


@dataclass(frozen=True)
class LineSpectrum:
    """Line strengths over local noise, as `signal.spectrum.line_strength` gives them [-], and their resolution [Hz]."""

    strength: NDArray[np.floating]
    bin_hz: float


@dataclass(frozen=True)
class Peaks:
    """Points of one recording, in order of frequency.

    Attributes
    ----------
    hz, strength, sigma_hz : ndarray, shape (peaks,)
        Place [Hz], power over local noise [-], standard error of the place [Hz].
    background : ndarray, shape (peaks,)
        Density of noise and strangers at this place and strength, over that of lines. [1/Hz]
    sections : tuple of (float, float, float)
        Lowest and highest frequency and resolution of each spectrum in use. [Hz]
    """

    hz: NDArray[np.float64]
    strength: NDArray[np.float64]
    sigma_hz: NDArray[np.float64]
    background: NDArray[np.float64]
    sections: tuple[tuple[float, float, float], ...]

    @property
    def highest_hz(self) -> float:
        """Top of the band. [Hz]"""
        return self.sections[-1][1]

    def bin_hz(self, hz: NDArray[np.float64]) -> NDArray[np.float64]:
        """Resolution at a frequency, 0 outside the band, any shape. [Hz]"""
        width = np.zeros(hz.shape)
        for low, high, bin_hz in self.sections:
            width[(hz >= low) & (hz < high)] = bin_hz
        return width

    def density(self, away_hz: NDArray[np.float64], peak: NDArray[np.intp], *, widened: float = 0.0) -> NDArray[np.float64]:
        """How likely a line is to show as this peak when it should stand `away_hz` from it, over the background, any shape. [-]

        `widened` adds to the error of the place, in bins: a search on a grid misses by as much.
        """
        bins = self.bin_hz(self.hz)[peak]
        sigma = np.hypot(self.sigma_hz[peak], widened * bins)
        far = sigma + bins
        near = np.exp(-0.5 * (away_hz / sigma) ** 2) / sigma
        pulled = np.exp(-0.5 * (away_hz / far) ** 2) / far
        share: NDArray[np.float64] = ((1 - _TAIL_SHARE) * near + _TAIL_SHARE * pulled) / (
            np.sqrt(2 * np.pi) * self.background[peak]
        )
        return share

    def gain(self) -> "Gain":
        """The densities of all peaks on one grid, for searching."""
        return Gain(self)


class Gain:
    """Density of lines over background at any frequency, read from a grid: fast, and right to a quarter of a bin."""

    def __init__(self, peaks: Peaks) -> None:
        self._starts: list[tuple[float, float, int]] = []
        tables, size = [], 1
        for low, high, bin_hz in peaks.sections:
            step = bin_hz / _GRID
            table = np.zeros(int(np.ceil((high - low) / step)) + 1)
            mine = np.flatnonzero((peaks.hz >= low) & (peaks.hz < high))
            reach = np.arange(-4 * _GRID, 4 * _GRID + 1)
            at = np.rint((peaks.hz[mine] - low) / step).astype(np.intp)[:, None] + reach
            away = low + at * step - peaks.hz[mine][:, None]
            inside = (at >= 0) & (at < table.size)
            values = peaks.density(away, np.broadcast_to(mine[:, None], at.shape), widened=0.25)
            np.add.at(table, at[inside], values[inside])
            self._starts.append((low, 1 / step, size))
            tables.append(table)
            size += table.size
        self._table = np.concatenate([[0.0], *tables]).astype(np.float32)  # place 0: outside the band
        self._ends = [high for _, high, _ in peaks.sections]
        self._paid: dict[float, NDArray[np.float32]] = {}

    def __call__(self, hz: NDArray[np.float64], chance: float) -> NDArray[np.float32]:
        """Log likelihood ratio log(1 + q g) - q [-] of a line that is there with a `chance` q [-], at each frequency [Hz]; 0
        outside the band. Any shape.
        """
        if chance not in self._paid:
            self._paid[chance] = np.log1p(np.float32(chance) * self._table) - np.float32(chance)
            self._paid[chance][0] = 0
        return np.asarray(self._paid[chance][self._place(hz)])

    def _place(self, hz: NDArray[np.float64]) -> NDArray[np.int32]:
        at = np.zeros(hz.shape, dtype=np.int32)
        for (low, scale, first), high in zip(self._starts, self._ends, strict=True):
            here = (hz >= low) & (hz < high)
            np.copyto(at, (hz * scale + (first + 0.5 - low * scale)).astype(np.int32), where=here)
        return at


def peaks_of(spectra: Sequence[LineSpectrum], *, lowest_hz: float, highest_hz: float) -> Peaks:
    """Peaks between two frequencies; where spectra overlap the finest is used.

    Parameters
    ----------
    spectra : sequence of LineSpectrum
        Of one drive at one speed: one record, or a short fast one and a long slow one.
    lowest_hz, highest_hz : float
        Band to look at, cut to what the spectra hold. [Hz]

    Raises
    ------
    OutOfRange
        No spectrum, or none that reaches above `lowest_hz`.

    Examples
    --------
    >>> strength = np.ones(2000); strength[499:502] = 20.0, 80.0, 20.0
    >>> peaks_of([LineSpectrum(strength, 0.1)], lowest_hz=1.0, highest_hz=150.0).hz
    array([50.])
    """
    sections, found = [], []
    low = lowest_hz
    for spectrum in sorted(spectra, key=lambda one: one.bin_hz):
        high = min(highest_hz, (spectrum.strength.shape[-1] - 2) * spectrum.bin_hz)
        start = max(low, 3 * spectrum.bin_hz)
        if high <= start:
            continue
        sections.append((start, high, spectrum.bin_hz))
        found.append(_peaks(spectrum, start, high))
        low = high
    if not sections:
        raise OutOfRange("spectra", len(spectra), f"at least one that reaches above {lowest_hz:g} Hz")
    hz, strength, sigma, bins = (np.concatenate(parts) for parts in zip(*found, strict=True))
    background = _background(hz, strength, bins, sections[0][0], sections[-1][1])
    return Peaks(hz, strength, sigma, background, tuple(sections))


def _peaks(spectrum: LineSpectrum, low: float, high: float) -> tuple[NDArray[np.float64], ...]:
    """Local maxima that stand out of the skirts of stronger ones, each placed by a parabola through the logs of three bins."""
    bin_hz = spectrum.bin_hz
    first, last = int(np.ceil(low / bin_hz)), int(high / bin_hz)
    kept = np.maximum(np.asarray(spectrum.strength[: last + 2], np.float64), 1e-30)
    middle = kept[1:-1]
    at = 1 + np.flatnonzero((middle >= _FAINTEST) & (middle >= kept[:-2]) & (middle > kept[2:]))
    at = at[(at >= first) & (at <= last)]
    strength = kept[at]
    away = np.arange(2, _SKIRT)
    around = np.concatenate([at[:, None] - away, at[:, None] + away], axis=1)
    inside = (around >= 0) & (around < kept.size)
    k = np.concatenate([away, away]) - 0.5
    skirt = np.where(inside, kept[np.where(inside, around, 0)], 0) / (np.pi * k * (k**2 - 1)) ** 2  # side lobes of the Hann window
    alone = strength > 2 * skirt.max(axis=1)
    at, strength = at[alone], strength[alone]
    left, top, right = (np.log(kept[at + shift]) for shift in (-1, 0, 1))
    bend = left - 2 * top + right
    shift = np.clip(np.where(bend < 0, 0.5 * (left - right) / np.minimum(bend, -1e-12), 0.0), -0.5, 0.5)
    # half a bin over the root of the strength in noise, and a twentieth for what the parabola and an unsteady speed leave
    sigma = bin_hz * np.hypot(0.05, 0.55 / np.sqrt(strength))
    return (at + shift) * bin_hz, strength, sigma, np.full(at.size, bin_hz)


def _background(
    hz: NDArray[np.float64], strength: NDArray[np.float64], bins: NDArray[np.float64], low: float, high: float
) -> NDArray[np.float64]:
    """Noise peaks fall as e^-s; strangers are as strong as lines and taken to be as many as all sure peaks, half of them evenly
    over the band, half evenly in its logarithm.
    """
    if hz.size == 0:
        return np.zeros(0)
    span = np.log(max(float(strength.max()), 10 * _FAINTEST) / _FAINTEST)  # lines are taken to be spread evenly over it
    sure = max(int(np.count_nonzero(strength >= SURE)), 10)
    top = max(float(hz[strength >= SURE].max(initial=0.0)), 0.25 * high)
    strangers = 0.5 * sure * (1 / (top - low) + 1 / (hz * np.log(top / low)))
    noise = span * strength * np.exp(-strength) / bins
    total: NDArray[np.float64] = noise + strangers
    return total
