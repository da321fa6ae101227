"""Single lines of a record, as the patterns of shafts and motors need them: how high, how sure, in what phase to another channel's.

Theory of operation
-------------------
A line is looked for within what is not known of its frequency. Its strength over the local noise is exponential with mean 1 in
noise alone, so the chance of the strongest of the bins looked at is known (`odds.log_chance_of_maximum`). The frequency of what
is found is read between the bins: of two neighbouring bins under a Hann window in the ratio r the line stands (2r - 1)/(r + 1)
bins from the higher [2]_. A line that stands elsewhere and only reaches in with its skirt is another machine's.

The phase between two channels sampled together needs no mark on the shaft. Sixteen bins around the line, transformed back, are
sixteen independent moments of the record; at each the two channels have a difference of phase. Noise turns it evenly round the
circle, and the length R of the mean of n unit vectors then exceeds r with a chance of about
exp(sqrt(1 + 4n + 4(n^2 - (nr)^2)) - (1 + 2n)) [1]_. Two machines at nearly one frequency beat, and the difference wanders.

A shaft's own line stands where the measured speed puts it, to a tenth of a bin; a machine nearby of the same kind stands anywhere
within a few per cent, as near as that only by luck (`Tones.neighbour_share`).

What a line of this height is worth as evidence is asked of decoys: windows as wide, elsewhere in the neighbourhood, where this
drive has no line. The share of them that hold a line at least half as high is the chance that a stranger stands here.

References
----------
.. [1] J. H. Zar, Biostatistical Analysis, Rayleigh's test of uniformity (from memory).
.. [2] T. Grandke, Interpolation algorithms for discrete Fourier transforms of weighted signals, IEEE Trans. Instrum. Meas. 32, 1983
   (from memory).
"""

import functools
import math
from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from gearcase.drive.line import Line
from gearcase.judge.faults import NOISE_LIMIT
from gearcase.judge.odds import log_chance_of_maximum, reported
from gearcase.judge.patterns.observed import Observed

__all__ = ["STEADY", "RelativePhase", "Tone", "Tones", "relative_phase", "steadiness_log_chance"]

STEADY = 0.9  # length of the mean of unit vectors from which a phase counts as steady: 26 degrees of scatter; common practice
MOMENTS = 16  # of a record at which phases are compared
_WANDER = 5e-4  # of a line: how far the speed moves within a record that counts as steady; common practice, no source
_READING_BINS = 0.1  # error of a frequency read between bins, of a line 20 dB over the noise
_READING_ERRORS, _CENTRED_ERROR = 4.0, 0.65  # standard errors, and one of a line between two bins in bins, by its strength's root
_MEAN_WANDER = 1e-4  # of a line: by how much its mean speed may differ from that of the lines the speed was measured from
_ALIKE_MACHINES = 0.02  # motors of as many poles on one mains turn within that of each other; common practice, no source
_HIGH_KINDS = ("shaft", "planet", "mesh", "planet_pass", "belt", "passing", "supply")  # as high as a shaft's own lines
_SKIRT_BINS = 2  # of a line under a Hann window, either side
_TOP_SHARE = 1.5  # power of a line under a Hann window over that of its top bin, where it stands on one
_HANN_POWER = 0.375  # mean of the squared Hann window
_DECOY_RANGE = 3.0  # decoys stand from a third to three times the frequency
_AS_HIGH = 0.5  # of a line's height: a decoy that reaches it does as well
_FEWEST_DECOYS = 19  # of fewer no share of 0.05 can be told


@dataclass(frozen=True)
class Tone:
    """A line looked for at one place.

    Attributes
    ----------
    hz : float
        Where it stands. [Hz]
    strength : float
        Power over local noise. [-]
    velocity, floor : float
        RMS, noise taken out, and what noise alone would give. [m/s]
    log_chance : float
        Natural log of the chance that noise is as strong at one of the bins looked at. [-]
    """

    hz: float
    strength: float
    velocity: float
    floor: float
    log_chance: float

    @property
    def shows(self) -> bool:
        """Whether noise does not explain it."""
        return self.log_chance <= math.log(NOISE_LIMIT)

    @property
    def chance(self) -> float:
        """That noise alone shows it, as a figure for people. [-]"""
        return reported(self.log_chance)


@dataclass(frozen=True)
class RelativePhase:
    """Phase of one channel's line less that of another's.

    Attributes
    ----------
    degrees : float
        Mean over the record, -180 to 180. [-]
    steadiness : float
        Length of the mean of the unit vectors, 0 to 1. [-]
    chance : float
        That noise is as steady. [-]
    """

    degrees: float
    steadiness: float
    chance: float

    @property
    def steady(self) -> bool:
        """Whether it may be read as a phase."""
        return self.steadiness >= STEADY

    def is_about(self, degrees: float, within: float) -> bool:
        """Whether it is so many degrees, either way round. [-]

        >>> RelativePhase(-172.0, 0.99, 3e-4).is_about(180, 30), RelativePhase(-100.0, 0.99, 3e-4).is_about(90, 30)
        (True, True)
        """
        return abs(abs(self.degrees) - degrees) <= within


class Tones:
    """Lines of one record.

    Parameters
    ----------
    observed : Observed
    lines : sequence of Line
        Of the drive.
    """

    def __init__(self, observed: Observed, lines: tuple[Line, ...]) -> None:
        self.observed, self.lines = observed, lines
        self.bin_hz = observed.spectrum.bin_hz

    @functools.cached_property
    def own_hz(self) -> NDArray[np.float64]:
        """Where this drive may have lines, in rising order. [Hz]"""
        return np.sort(np.array([line.hz(self.observed.speed_hz) for line in self.lines]))

    def reach_hz(self, hz: float, *, follows: bool = True) -> float:
        """How far from its place a line may stand; one that does not follow the speed by the record's own resolution. [Hz]"""
        return 0.5 * self.bin_hz + hz * (self.observed.speed_spread + _WANDER) * follows

    def turning(self, order: float) -> Tone | None:
        """The line at an order [-] of the reference shaft; None outside the record's band. One that stands beside its place is
        another machine's, and no more of this shaft than noise.
        """
        hz = order * self.observed.speed_hz
        tone = self.at(hz, self.reach_hz(hz))
        if tone is not None and abs(tone.hz - hz) > self._place_hz(tone, hz):
            return replace(tone, velocity=0.0, log_chance=0.0)
        return tone

    def neighbour_share(self, tone: Tone) -> float:
        """Chance that a machine within 2 % of this speed, as likely anywhere there, stands as near to a line of a shaft. [-]"""
        return min(self._place_hz(tone, tone.hz) / (_ALIKE_MACHINES * tone.hz), 1.0)

    def at(self, hz: float, reach_hz: float) -> Tone | None:
        """The strongest line within reach of a place; None outside the record's band. [Hz]"""
        first, last = round((hz - reach_hz) / self.bin_hz), round((hz + reach_hz) / self.bin_hz)
        if first < 2 * _SKIRT_BINS or last + _SKIRT_BINS >= self.observed.power.size or last < first:
            return None
        peak = first + int(np.argmax(self.observed.strength[first : last + 1]))
        there = self._between_bins(peak)
        velocity, floor = self._velocities(peak)
        if abs(there - hz) > reach_hz + _READING_BINS * self.bin_hz:  # the skirt of a line outside
            return Tone(peak * self.bin_hz, float(self.observed.strength[peak]), 0.0, floor, 0.0)
        strength = float(self.observed.strength[peak])
        log_chance = float(log_chance_of_maximum(strength, bins=last - first + 1))
        return Tone(there, strength, velocity, floor, log_chance)

    def decoy_share(self, tone: Tone, *, reach_hz: float) -> float:
        """Share of windows as wide [Hz], from a third to three times its frequency, that do as well; 1 where too few. [-]"""
        lowest, highest = tone.hz / _DECOY_RANGE, min(tone.hz * _DECOY_RANGE, (self.observed.power.size - 3) * self.bin_hz)
        middles = np.arange(max(lowest, 4 * self.bin_hz) + reach_hz, highest - reach_hz, 2 * reach_hz)
        skirt = reach_hz + (_SKIRT_BINS + 1) * self.bin_hz
        places = np.append(self.own_hz, tone.hz)
        middles = middles[np.all(np.abs(middles[:, None] - places) > 2 * skirt, axis=1)] if middles.size else middles
        if middles.size < _FEWEST_DECOYS:
            return 1.0
        hits = 0
        for middle in middles:
            found = self.at(float(middle), reach_hz)
            hits += found is not None and found.velocity >= _AS_HIGH * tone.velocity
        return float((1 + hits) / (1 + middles.size))

    def crowded(self, hz: float, *, parts: Collection[str]) -> str:
        """The line of a part other than these where a line stands [Hz]; empty where there is none.

        Only of what may be as high: bearings' lines, pole pass and the like are small where shafts and meshes show.
        """
        near = self.reach_hz(hz) + _SKIRT_BINS * self.bin_hz
        high = (line for line in self.lines if line.kind in _HIGH_KINDS or (line.kind == "sideband" and not line.sideband_of))
        others = (line for line in high if not {line.component, line.sideband_shaft} & set(parts))
        return next((line.name for line in others if abs(line.hz(self.observed.speed_hz) - hz) <= near), "")

    def _place_hz(self, tone: Tone, hz: float) -> float:
        """How far a shaft's line of this strength may be read from its place: by what is not known of the mean speed, by noise, and
        by what leaks in from other lines. [Hz]
        """
        reading = _READING_BINS + _READING_ERRORS * _CENTRED_ERROR / math.sqrt(max(tone.strength, 1.0))
        return hz * (self.observed.speed_spread + _MEAN_WANDER) + reading * self.bin_hz

    def _between_bins(self, peak: int) -> float:
        side = 1 if self.observed.power[peak + 1] >= self.observed.power[peak - 1] else -1
        ratio = math.sqrt(float(self.observed.power[peak + side] / max(float(self.observed.power[peak]), 1e-300)))
        return (peak + side * (2 * ratio - 1) / (ratio + 1)) * self.bin_hz

    def _velocities(self, peak: int) -> tuple[float, float]:
        around = slice(peak - _SKIRT_BINS, peak + _SKIRT_BINS + 1)
        beside = slice(peak - 2 * _SKIRT_BINS, peak + 2 * _SKIRT_BINS + 1)
        noise = float((self.observed.power[around] / np.maximum(self.observed.strength[around], 1e-300)).sum())
        line = float(self.observed.power[around].sum())
        if self.observed.power[beside].max() > self.observed.power[peak]:  # a taller line's skirt lies in this one's
            away = self._between_bins(peak) / self.bin_hz - peak
            line = min(line, _TOP_SHARE * float(self.observed.power[peak]) / (np.sinc(away) / (1 - away**2)) ** 2)
        line = max(line - noise, 0.0)
        power = {"m/s2": -1, "m/s": 0, "m": 1}[self.observed.recording.unit]
        moved = (2 * np.pi * peak * self.bin_hz) ** power / self.observed.spectrum.samples
        velocity, floor = (float(np.sqrt(2 / _HANN_POWER * squared) * moved) for squared in (line, noise))
        return velocity, floor


def relative_phase(one: Tones, other: Tones, hz: float) -> RelativePhase | None:
    """Phase of one channel less that of another sampled together, at a line [Hz]; None where the line is too near 0 Hz."""
    middle, half = round(hz / one.bin_hz), MOMENTS // 2
    if middle <= half or middle + half >= one.observed.power.size:
        return None
    around = slice(middle - half, middle + half)
    first, second = (np.fft.ifft(tones.observed.spectrum.values[around]) for tones in (one, other))
    cross = first * np.conj(second)
    size = np.abs(cross)
    if not size.all():
        return None
    mean = complex(np.mean(cross / size))
    return RelativePhase(float(np.degrees(np.angle(mean))), abs(mean), reported(steadiness_log_chance(abs(mean), count=MOMENTS)))


def steadiness_log_chance(length: float, *, count: int) -> float:
    """Natural log of the chance that so many unit vectors of random direction have a mean this long (Rayleigh's test). [-]

    >>> round(steadiness_log_chance(0.6, count=16), 1)
    -6.2
    """
    return min(math.sqrt(1 + 4 * count + 4 * (count**2 - (count * length) ** 2)) - (1 + 2 * count), 0.0)
