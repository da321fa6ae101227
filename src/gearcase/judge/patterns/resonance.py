"""Resonance: is a shaft's line high at one speed only?

Theory of operation
-------------------
Records at several steady speeds are put side by side. A force that grows with the square of speed moves a stiff housing by a
displacement that grows with the square too, so the displacement over the speed squared says the same at every speed; where a mode
of the housing or its support is passed it rises and falls again (any text on one degree of freedom, from memory). High at one speed
means: three times what it is at a lower speed and at a higher one. A mode moves one direction only, and its phase against the other
direction swings by half a turn as it is passed.

A neighbour that runs at that very frequency does the same. It is told apart by what stands at that frequency while this drive runs
at other speeds. What a run-up or coast-down shows of the same shaft stands in `runs`; of both, what says most is the answer.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gearcase.drive.train import Drive
from gearcase.judge.faults import EvidenceLine
from gearcase.judge.patterns.observed import SAME_LOAD, Observed
from gearcase.judge.patterns.runs import HIGH_ONCE, SWING, SWOLLEN, resonance_in_runs
from gearcase.judge.patterns.signs import Role, Sign, Weighed, surest, weigh
from gearcase.judge.patterns.stations import AS_HIGH_AGAIN, RADIAL, RUNNING, Measured, Station, elsewhere
from gearcase.judge.patterns.tones import Tone, Tones, relative_phase

__all__ = ["SWOLLEN", "AtSpeed", "by_speed", "examine"]

_FEWEST_SPEEDS = 4  # one at the peak, and enough beside it to call it one; common practice, no source
_HALF_TURN, _WITHIN = 180.0, 50.0  # degrees
_SAME_AGAIN = 1.02  # closer is the same speed


@dataclass(frozen=True)
class AtSpeed:
    """A shaft's line at one speed, and its displacement over the speed squared, in any unit. [-]"""

    tones: Tones
    tone: Tone
    response: float


def examine(drive: Drive, observed: Sequence[Observed]) -> tuple[Weighed, ...]:
    """Of every shaft that turns in the housing: of the points and directions that swell, the one that moves most."""
    measured = Measured(drive, observed)
    return tuple(
        surest([one for one in (resonance_in_runs(measured, shaft), _resonance(measured, shaft)) if one])
        for shaft in measured.orders
    )


def _resonance(measured: Measured, shaft: str) -> Weighed:
    order = measured.orders[shaft]
    rows = [
        (station, direction, by_speed(measured, station, direction, order))
        for station in measured.stations(shaft)
        for direction in station.tones
    ]
    enough = [row for row in rows if len(row[2]) >= _FEWEST_SPEEDS]
    if not enough:
        says = f"needs records at {_FEWEST_SPEEDS} steady speeds and more at one load at one point and direction, or a run"
        return weigh("resonance", shaft, [Sign(Role.NEEDED, HIGH_ONCE, None, says)], attribution=1.0)
    station, direction, found = max(enough, key=lambda row: (_swollen(row[2]) >= SWOLLEN, _peak(row[2]).tone.velocity))
    swollen, peak = _swollen(found), _peak(found)
    at_edge = peak in (found[0], found[-1])
    here = Station(station.point, station.bearing, {direction: peak.tones}, station.group)
    large, growth = measured.large(here, (order,))
    stays = max(_stays(one, peak, order) for one in found if one is not peak)
    words = ", ".join(f"{one.response / peak.response:.2g} at {one.tone.hz:.4g} Hz" for one in found if one is not peak)
    signs = [
        Sign(
            Role.NEEDED,
            HIGH_ONCE,
            None if at_edge else swollen >= SWOLLEN and peak.tone.shows,
            f"the peak is at the {'lowest' if peak is found[0] else 'highest'} speed measured: needs one beyond it"
            if at_edge
            else f"{shaft} 1x {direction} at {station.point}, displacement over speed squared: 1 at {peak.tone.hz:.4g} Hz, {words}",
            peak.tone.chance,
        ),
        large,
        _swing_sign(measured, station, direction, found, peak),
        Sign(Role.SUPPORTING, "tap peak at the same frequency", None, "needs a tap at standstill"),
        Sign(
            Role.AGAINST,
            "stands at that frequency at other speeds",
            stays >= AS_HIGH_AGAIN,
            f"{stays:.2g} of the peak at {peak.tone.hz:.4g} Hz while this drive runs at other speeds",
        ),
        measured.standing(here, direction, peak.tone),
    ]
    share = peak.tones.decoy_share(peak.tone, reach_hz=peak.tones.reach_hz(peak.tone.hz))
    evidence = [
        EvidenceLine(f"{shaft} 1x", order * one.tones.observed.speed_hz, one.tone.hz, float(10 * np.log10(one.tone.strength)))
        for one in found
    ]
    return weigh(
        "resonance",
        shaft,
        signs,
        attribution=elsewhere(share, {}),
        seen_in=[peak.tones.observed],
        growth_db=growth,
        lines=evidence,
    )


def by_speed(measured: Measured, station: Station, direction: str, order: float) -> list[AtSpeed]:
    """The line at an order [-] in the latest record of each speed, at the load of the latest of all, slowest first."""
    load = station.tones[direction].observed.recording.taken.load
    found: list[AtSpeed] = []
    for tones in reversed(measured.at(station.point, direction, RUNNING)):
        other = tones.observed.recording.taken.load
        tone = tones.turning(order)
        if tone is None or (load is not None and other is not None and abs(other - load) > SAME_LOAD):
            continue
        if all(abs(np.log(tone.hz / one.tone.hz)) >= np.log(_SAME_AGAIN) for one in found):
            found.append(AtSpeed(tones, tone, max(tone.velocity, tone.floor) / tone.hz**3))
    return sorted(found, key=lambda one: one.tone.hz)


def _peak(found: Sequence[AtSpeed]) -> AtSpeed:
    return max(found, key=lambda one: one.response)


def _swollen(found: Sequence[AtSpeed]) -> float:
    """The peak over the larger of the least responses below and above it; 0 where it has no speed on one side. [-]"""
    peak = max(range(len(found)), key=lambda n: found[n].response)
    sides = (found[:peak], found[peak + 1 :])
    if not all(sides):
        return 0.0
    return found[peak].response / max(min(one.response for one in side) for side in sides)


def _stays(one: AtSpeed, peak: AtSpeed, order: float) -> float:
    """How high the peak's frequency is in a record at another speed, over the peak; 0 where this drive has a line there."""
    there = one.tones.at(peak.tone.hz, peak.tones.reach_hz(peak.tone.hz))
    if there is None or abs(one.tone.hz - peak.tone.hz) <= 2 * one.tones.reach_hz(peak.tone.hz):
        return 0.0
    return there.velocity / max(peak.tone.velocity, 1e-12)


def _swing_sign(measured: Measured, station: Station, direction: str, found: Sequence[AtSpeed], peak: AtSpeed) -> Sign:
    """Phase against the other radial direction, at the slowest speed and at the fastest."""
    name = SWING
    other = next((one for one in RADIAL if one != direction), "")
    ends = []
    for one in (found[0], found[-1]):
        recording = one.tones.observed.recording
        beside = [
            tones
            for tones in measured.at(station.point, other, RUNNING)
            if (tones.observed.recording.sha256, tones.observed.recording.name, tones.observed.recording.start)
            == (recording.sha256, recording.name, recording.start)
        ]
        phase = relative_phase(one.tones, beside[0], one.tone.hz) if beside else None
        if phase is not None and phase.steady:
            ends.append(phase.degrees)
    if len(ends) < 2 or peak in (found[0], found[-1]):
        return Sign(Role.SUPPORTING, name, None, "needs both radial directions sampled together, below and above the peak")
    swing = abs((ends[1] - ends[0] + 180) % 360 - 180)
    return Sign(Role.SUPPORTING, name, abs(swing - _HALF_TURN) <= _WITHIN, f"{swing:.0f} degrees against the {other} direction")
