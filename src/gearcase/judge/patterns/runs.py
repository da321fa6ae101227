"""Resonance in a run-up or coast-down: does a shaft's line swell at one speed it passes, and does its phase turn over there?

Theory of operation
-------------------
The line is followed block by block (`signal.runs`). Of a force that grows with the square of speed the displacement over that
square says the same at every speed of a stiff housing; one degree of freedom makes of it 1 / sqrt((1 - r^2)^2 + (2 zeta r)^2), with
a phase that turns by half a turn about r = 1 (Den Hartog, Mechanical Vibrations, from memory). Asked is a peak that falls to half
its power on both sides within the run, and to a third of its height on one. The width at half power gives the damping.

A height alone does not make a resonance: a force may be high at one speed, and a machine nearby whose line is crossed makes a
peak too. That machine stays at its frequency while this drive runs elsewhere. The phase is told against the other radial direction
of the same file, which the mode does not move, or against the marks of a tachometer: block by block it has to follow the closed
form of the peak's own place and damping better than it stays where it is, and then one run is enough. Without either it takes two
runs with a peak at one frequency. A mode passed far from any speed the drive runs at is no fault.

Decoys are the orders beside, at which nothing of this drive turns: the share of them that show a peak half as high.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gearcase.drive.line import Line
from gearcase.drive.train import Drive
from gearcase.judge.explained import comb_orders
from gearcase.judge.faults import NOISE_LIMIT, EvidenceLine
from gearcase.judge.odds import log_chance_of_maximum, reported
from gearcase.judge.patterns.observed import Observed, at_one_time
from gearcase.judge.patterns.signs import Role, Sign, Weighed, weigh
from gearcase.judge.patterns.stations import AS_HIGH_AGAIN, LARGE, RADIAL, SHOWS_STANDING, Measured, elsewhere
from gearcase.judge.patterns.tones import STEADY, steadiness_log_chance
from gearcase.signal.recording import Recording
from gearcase.signal.runs import FollowedLine, Peak, follow_lines, half_power_peak, turning_of_run
from gearcase.signal.synchronous import Turning, turning_from_marks

__all__ = ["HIGH_ONCE", "RUNS", "SWING", "SWOLLEN", "resonance_in_runs", "turning_in_run"]

SWOLLEN = 3.0  # over what it is at other speeds; common practice, no source
HIGH_ONCE, SWING = "high at one speed only", "phase swings by 180 degrees"
RUNS = ("run-up", "coast-down")
_SLOWEST = 0.3  # of the lowest speed of the drive, down to which a run is followed; common practice, no source
_OVERSPEED = 1.05  # of the highest; common practice, no source
_MARGIN = 0.2  # a mode further from the speeds a drive runs at is only passed: margins of 15 to 20 % are usual; from memory
_FEWEST_TURNS_MARKED = 16  # turns of the reference shaft, of which a block is made
_SAME_PEAK = 0.05  # relative, of two runs, which pass it up and down; common practice, no source
_AWAY = 0.15  # relative: from there on the shaft's own line is out of the way
_SHORTEST_AWAY_S = 1.0
_ABOUT_PEAK = 0.25  # relative: beyond, the phase hardly turns
_PEAK_MOVED, _NATURAL_TRIED = 0.03, 13  # log of how far a peak that is passed lags behind its place, and places tried
_FEWEST_BLOCKS_BESIDE = 3
_DECOY_CLEAR = 0.15  # orders from a line of this drive: the skirt of a block's line
_DECOY_ORDERS = (0.5, 6.0)  # of the shaft's
_PASSED_SLOWLY = 0.9  # Hz a second, of the squared frequency over the squared Q: the fastest sweep; ISO 7626-2, from memory


@dataclass(frozen=True)
class _Run:
    """One channel of a run with the turning its file gave; `marked` where a tachometer gave it; `file` tells runs apart."""

    observed: Observed
    turning: Turning
    marked: bool
    file: int


@dataclass(frozen=True)
class _Passed:
    """A shaft's line over a run, by block: velocity [m/s RMS], and displacement over the square of speed in any unit."""

    run: _Run
    line: FollowedLine
    velocity: NDArray[np.float64]
    response: NDArray[np.float64]
    peak: Peak

    @property
    def swells(self) -> bool:
        """Whether the peak lies within the run and is one."""
        return self.peak.damping is not None and max(self.peak.over_slower, self.peak.over_faster) >= SWOLLEN


def turning_in_run(drive: Drive, lines: tuple[Line, ...], recording: Recording) -> Turning | str:
    """Where the reference shaft stood in a run-up or coast-down: by its marks, else by the lines; in words why it is not told."""
    if _marked(recording):
        return turning_from_marks(recording.marks_s)
    low, high = drive.speed_hz
    return turning_of_run(
        recording.samples,
        sample_rate_hz=recording.sample_rate_hz,
        orders=[order for family in comb_orders(lines).spectrum[:2] for order in family],
        lowest_hz=_SLOWEST * low,
        highest_hz=_OVERSPEED * high,
    )


def resonance_in_runs(measured: Measured, shaft: str) -> Weighed | None:
    """What run-ups and coast-downs say of a shaft; None where none was recorded at its bearings."""
    bearings = {one.name for one in measured.drive.bearings if shaft in (one.inner_shaft, one.outer_shaft)}
    records = [
        tones.observed
        for tones in measured.records
        if tones.observed.recording.taken.state in RUNS
        and tones.observed.recording.taken.direction
        and tones.observed.component in bearings
    ]
    if not records:
        return None
    runs, why = _runs(measured, records)
    order = measured.orders[shaft]
    passed = [one for run in runs if (one := _passed(run, order))]
    if not passed:
        says = why or "too few turns of it stand out of the noise in a run-up or coast-down"
        return weigh("resonance", shaft, [Sign(Role.NEEDED, HIGH_ONCE, None, says)], attribution=1.0)
    best = max(passed, key=lambda one: (one.swells, float(one.velocity[one.peak.at])))
    return _weighed(measured, shaft, order, best, passed)


def _runs(measured: Measured, records: Sequence[Observed]) -> tuple[list[_Run], str]:
    """Of every file that tells its speed, all channels; and why the last one did not."""
    found: list[_Run] = []
    why = ""
    for number, group in enumerate(at_one_time(records)):
        for one in group:
            turning = turning_in_run(measured.drive, measured.lines, one.recording)
            if isinstance(turning, Turning):
                found += [_Run(channel, turning, _marked(one.recording), number) for channel in group]
                break
            why = f"{one.recording.name}: {turning}"
    return found, why


def _marked(recording: Recording) -> bool:
    return bool(recording.marks_s.size >= _FEWEST_TURNS_MARKED)


def _passed(run: _Run, order: float) -> _Passed | None:
    record = run.observed.recording
    line = follow_lines(record.samples, run.turning, sample_rate_hz=record.sample_rate_hz, order=order)
    if line is None:
        return None
    velocity = _velocity(line, record.unit)
    stands = _stands(line)
    if not stands.any():
        return None
    response = velocity[:, line.own] / line.hz**3
    return _Passed(run, line, velocity[:, line.own], response, half_power_peak(line.hz, response, stands=stands))


def _velocity(line: FollowedLine, unit: str) -> NDArray[np.float64]:
    """RMS of every order looked at in every block, shape (blocks, bins); 0 at order 0. [m/s]"""
    hz = line.hz[:, None] * np.arange(line.values.shape[-1]) / line.own
    hz[:, 0] = np.inf
    return np.asarray(np.abs(line.values) / np.sqrt(2) * (2 * np.pi * hz) ** {"m/s2": -1, "m/s": 0, "m": 1}[unit])


def _weighed(measured: Measured, shaft: str, order: float, best: _Passed, passed: Sequence[_Passed]) -> Weighed:
    record, peak = best.run.observed.recording, best.peak
    velocity = float(best.velocity[peak.at])
    strength, chance = float(best.line.strength[peak.at]), reported(_log_chance(best))
    low, high = (order * hz for hz in measured.drive.speed_hz)
    only_passed = not low * (1 - _MARGIN) <= peak.hz <= high * (1 + _MARGIN)
    where = f"{shaft} 1x {record.taken.direction} at {record.point}, {record.taken.state}: displacement over speed squared"
    says = f"{where} is no more than {max(peak.over_slower, peak.over_faster):.2g} times as high at one speed as at others"
    if best.swells:
        says = f"{where} is highest at {peak.hz:.4g} Hz, {_width_words(best)}"
        says += f", which the drive only passes: it runs at {low:.4g} to {high:.4g} Hz" if only_passed else ""
    elif peak.damping is None:
        slowest, fastest = best.line.hz.min(), best.line.hz.max()
        says = f"{where} has no peak that falls to half power on both sides between {slowest:.4g} and {fastest:.4g} Hz"
    swing = _swing(best, passed)
    again = [one for one in passed if one.run.file != best.run.file and _same_place(one, best) and one.swells]
    repeated = any(abs(one.peak.hz / peak.hz - 1) <= _SAME_PEAK for one in again)
    stays = _stays(best)
    zone = measured.zone_c
    signs = [
        Sign(Role.NEEDED, HIGH_ONCE, best.swells and not only_passed, says, chance),
        Sign(
            Role.NEEDED,
            LARGE,
            None if zone is None else velocity > zone,
            f"{1000 * velocity:.2g} mm/s RMS as it is passed"
            + (
                "; needs the rated power and support" if zone is None else f"; zone C begins at {1000 * zone:.2g} mm/s (a stand-in)"
            ),
            chance,
        ),
        swing,
        Sign(Role.SUPPORTING, "tap peak at the same frequency", None, "needs a tap at standstill"),
        Sign(
            Role.AGAINST,
            "stands at that frequency at other speeds",
            None if stays is None else stays >= AS_HIGH_AGAIN,
            "needs a second of the run at other speeds"
            if stays is None
            else f"{stays:.2g} of the peak at {peak.hz:.4g} Hz while this drive passes other speeds",
        ),
        _standing(measured, best),
    ]
    told_apart = swing.seen is True or (swing.seen is None and repeated)
    evidence = EvidenceLine(f"{shaft} 1x", peak.hz, peak.hz, float(10 * np.log10(strength)))
    return weigh(
        "resonance",
        shaft,
        signs,
        attribution=elsewhere(_decoy_share(measured, order, best), {"a force of one speed": told_apart}),
        seen_in=[best.run.observed],
        lines=[evidence],
    )


def _log_chance(passed: _Passed) -> float:
    return float(log_chance_of_maximum(passed.line.strength[passed.peak.at], bins=passed.line.hz.size))


def _width_words(passed: _Passed) -> str:
    damping, hz = passed.peak.damping or 0.0, passed.peak.hz
    hz_a_second = abs(np.gradient(passed.line.hz, (passed.line.begin_s + passed.line.end_s) / 2)[passed.peak.at])
    if hz_a_second > _PASSED_SLOWLY * (2 * damping * hz) ** 2:
        return "passed too fast for its width to be read"
    return f"damping ratio {damping:.2g} by its width at half power"


def _same_place(one: _Passed, other: _Passed) -> bool:
    first, second = one.run.observed.recording, other.run.observed.recording
    return (first.point, first.taken.direction) == (second.point, second.taken.direction)


def _swing(best: _Passed, passed: Sequence[_Passed]) -> Sign:
    """Phase below and above the peak, against the other radial direction of the same file or the marks of a tachometer."""
    point, direction = best.run.observed.recording.point, best.run.observed.recording.taken.direction
    beside = [
        one
        for one in passed
        if one.run.file == best.run.file
        and one.run.observed.recording.point == point
        and one.run.observed.recording.taken.direction in RADIAL
        and one is not best
        and direction in RADIAL
    ]
    value, stands = best.line.values[:, best.line.own], _stands(best.line)
    if beside:
        other = beside[0].line
        value, stands = value * np.conj(other.values[:, other.own]), stands & _stands(other)
        against = "against the other radial direction"
    elif best.run.marked:
        against = "against the tachometer's mark"
    else:
        return Sign(Role.SUPPORTING, SWING, None, "needs the other radial direction sampled together, or a tachometer")
    used = stands & (np.abs(best.line.hz / best.peak.hz - 1) <= _ABOUT_PEAK)
    natural = best.peak.hz * np.exp(np.linspace(-_PEAK_MOVED, _PEAK_MOVED, _NATURAL_TRIED))
    ratio = best.line.hz[used] / natural[:, None]
    turned = np.arctan2(2 * (best.peak.damping or 0.0) * ratio, 1 - ratio**2)  # how far one degree of freedom lags
    sides = [int((best.line.hz[used] < best.peak.hz).sum()), int((best.line.hz[used] > best.peak.hz).sum())]
    if best.peak.damping is None or min(sides) < _FEWEST_BLOCKS_BESIDE:
        return Sign(
            Role.SUPPORTING, SWING, None, "too few blocks on both sides of the peak stand out of the noise in both channels"
        )
    direction_of = value[used] / np.abs(value[used])
    flat = abs(complex(direction_of.mean()))
    follows = float(np.abs((direction_of * np.exp(1j * turned)).mean(axis=-1)).max())
    chance = steadiness_log_chance(follows, count=int(used.sum()) // 2) + math.log(_NATURAL_TRIED)  # blocks overlap by half
    over = bool(follows >= STEADY and follows > flat and chance <= math.log(NOISE_LIMIT))
    says = f"{against} it follows one degree of freedom with a steadiness of {follows:.2f}, {flat:.2f} if it stayed"
    return Sign(Role.SUPPORTING, SWING, over, says, reported(chance))


def _stands(line: FollowedLine) -> NDArray[np.bool_]:
    return np.asarray(log_chance_of_maximum(line.strength, bins=line.hz.size) <= math.log(NOISE_LIMIT))


def _stays(best: _Passed) -> float | None:
    """How high the peak's frequency is while the shaft turns elsewhere, over the peak; None where that is too short. [-]"""
    record, hz = best.run.observed.recording, best.peak.hz
    away = np.abs(best.line.hz / hz - 1) > _AWAY
    heights = []
    edges = np.flatnonzero(np.diff(np.concatenate([[False], away, [False]])))
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        start, end = (round(at * record.sample_rate_hz) for at in (best.line.begin_s[first], best.line.end_s[last - 1]))
        piece = np.asarray(record.samples[start:end], np.float64)
        if piece.size < _SHORTEST_AWAY_S * record.sample_rate_hz:
            continue
        window = np.hanning(piece.size)
        around = hz + np.linspace(-2, 2, 9) * record.sample_rate_hz / piece.size
        waves = np.exp(-2j * np.pi * around[:, None] * np.arange(piece.size) / record.sample_rate_hz)
        heights.append(float(np.abs(waves @ ((piece - piece.mean()) * window)).max() * 2 / window.sum()))
    if not heights:
        return None
    return max(heights) / float(np.abs(best.line.values[best.peak.at, best.line.own]))


def _standing(measured: Measured, best: _Passed) -> Sign:
    """Whether a line as high stands where the peak is, as far as a run moves it, with this drive standing."""
    record, hz = best.run.observed.recording, best.peak.hz
    still = measured.at(record.point, record.taken.direction, ("standing",))
    found = [tone for one in still if (tone := one.at(hz, _PEAK_MOVED * hz))]
    if not found:
        return Sign(Role.AGAINST, SHOWS_STANDING, None, "needs a record with this drive standing and the neighbours running")
    highest = max(found, key=lambda tone: tone.velocity)
    seen = highest.shows and highest.velocity >= AS_HIGH_AGAIN * best.velocity[best.peak.at]
    says = f"{1000 * highest.velocity:.2g} mm/s at {highest.hz:.2f} Hz with this drive standing"
    return Sign(Role.AGAINST, SHOWS_STANDING, bool(seen), says)


def _decoy_share(measured: Measured, order: float, best: _Passed) -> float:
    """Share of orders beside, at which nothing of this drive turns, that show a peak half as high. [-]"""
    line, velocity = best.line, _velocity(best.line, best.run.observed.recording.unit)
    own = np.array([one.order / order for one in measured.lines if one.kind in ("shaft", "mesh")])
    places = np.arange(velocity.shape[-1]) / line.own
    inside = (places >= _DECOY_ORDERS[0]) & (places <= _DECOY_ORDERS[1])
    clear = inside & np.all(np.abs(places[:, None] - np.append(own, 1.0)) >= _DECOY_CLEAR, axis=1)
    hits, everywhere = 0, np.ones(line.hz.size, np.bool_)
    for n in np.flatnonzero(clear):
        hz = line.hz * places[n]
        peak = half_power_peak(hz, velocity[:, n] / hz**3, stands=everywhere)
        peaks = peak.damping is not None and max(peak.over_slower, peak.over_faster) >= SWOLLEN
        hits += peaks and velocity[peak.at, n] >= AS_HIGH_AGAIN * best.velocity[best.peak.at]
    return float((1 + hits) / (1 + clear.sum()))
