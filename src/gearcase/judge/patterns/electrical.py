"""Electrical: is what shakes the motor its supply, and is the supply this motor's?

Theory of operation
-------------------
An uneven air gap or winding pulls twice a period of the supply: at twice the mains, or at twice a converter's output, which the
model of the drive gives within the slip (`drive.outside_lines`). On a motor of two poles that is nearly twice the shaft: where
the record cannot part them the sign cannot be seen. Every motor in the hall on one mains pulls at the very same frequency, so
the line alone is nobody's. It is this motor's if it is gone at once with this motor's power: 20 dB lower in a record of the
coast-down, or with this drive standing and the neighbours running. Sidebands at the motor's own pole pass support it where no
other distance has them.
"""

import math
from collections.abc import Sequence

import numpy as np

from gearcase.drive.line import Line
from gearcase.drive.train import Drive, Motor
from gearcase.judge.faults import ATTRIBUTION_LIMIT, NOISE_LIMIT, EvidenceLine
from gearcase.judge.odds import log_chance_of_maximum, reported
from gearcase.judge.patterns.observed import Observed
from gearcase.judge.patterns.signs import Role, Sign, Weighed, weigh
from gearcase.judge.patterns.stations import AS_HIGH_AGAIN, RUNNING, Measured, Station
from gearcase.judge.patterns.tones import Tone, Tones

__all__ = ["examine"]

_NAME = "electrical"
_TWICE = "twice the output frequency"
_DIES = "dies at once with the power off"
_SIDEBANDS = "pole pass sidebands"
_PERSISTS = "persists on coast-down"
_STANDING = "shows with this drive standing"
_UNPOWERED = ("coast-down", "standing")
_MAINS_WANDER = 0.004  # 0.2 Hz of 50 Hz, what interconnected grids hold; from memory
_DEAD = 0.1  # 20 dB under what it was powered
_DECOYS = 100  # other distances at which sidebands are looked for
_NEAREST_BINS = 4  # a sideband nearer than this stands in the line's own skirt


def examine(drive: Drive, observed: Sequence[Observed]) -> tuple[Weighed, ...]:
    """The motor, by the point where its line is highest of those recorded without power too, if any; nothing without a motor."""
    if drive.motor is None:
        return ()
    measured = Measured(drive, observed)
    line = next((one for one in measured.lines if one.kind == "supply" and one.harmonic == 1), None)
    if line is None or drive.motor.shaft not in measured.orders:
        return (_blind("needs the motor's shaft to turn at a known speed"),)
    return (_electrical(measured, drive.motor, line),)


def _electrical(measured: Measured, motor: Motor, line: Line) -> Weighed:
    latest: dict[tuple[str, str], tuple[Tones, Tone]] = {}
    twin = ""
    for tones in measured.records:
        recording = tones.observed.recording
        if recording.taken.state not in RUNNING:
            continue
        lowest, highest, beside = _window(measured, tones, line)
        if lowest > line.hz(tones.observed.speed_hz) or highest < line.hz(tones.observed.speed_hz):
            twin = f"needs a finer resolution than {tones.bin_hz:.2g} Hz: {beside} stands at the same place"
        elif tone := tones.at((lowest + highest) / 2, (highest - lowest) / 2):
            latest[recording.point, recording.taken.direction] = (tones, tone)
    if not latest:
        return _blind(twin or "needs a record of the running drive whose band holds twice the supply")
    unpowered = {place for place in latest if measured.at(*place, _UNPOWERED)}
    place = max(unpowered or latest, key=lambda one: latest[one][1].velocity)
    tones, tone = latest[place]
    recording = tones.observed.recording
    direction = recording.taken.direction
    station = Station(recording.point, tones.observed.component, {direction: tones}, 0)
    large, growth = measured.large(station, (tone.hz / tones.observed.speed_hz,))
    dead = _left(measured, station, direction, tone, "coast-down")
    stands = _left(measured, station, direction, tone, "standing")
    signs = [
        Sign(
            Role.NEEDED,
            _TWICE,
            tone.shows,
            f"{1000 * tone.velocity:.2g} mm/s at {tone.hz:.2f} Hz at {recording.point}",
            tone.chance,
        ),
        large,
        _dies_sign(dead, stands, tone.chance),
        _sidebands(measured, tones, tone),
        Sign(
            Role.AGAINST,
            _PERSISTS,
            None if dead is None else dead >= AS_HIGH_AGAIN,
            "needs a coast-down with the power off" if dead is None else f"{dead:.2g} of its height on coast-down",
        ),
        Sign(
            Role.AGAINST,
            _STANDING,
            None if stands is None else stands >= AS_HIGH_AGAIN,
            "needs a record with this drive standing" if stands is None else f"{stands:.2g} of its height with this drive standing",
        ),
    ]
    evidence = EvidenceLine(line.name, line.hz(tones.observed.speed_hz), tone.hz, 10 * math.log10(max(tone.strength, 1e-9)))
    return weigh(
        _NAME,
        motor.shaft,
        signs,
        attribution=tones.decoy_share(tone, reach_hz=_reach_hz(tones, line)),
        seen_in=[tones.observed],
        growth_db=growth,
        lines=[evidence],
    )


def _blind(says: str) -> Weighed:
    return weigh(_NAME, "motor", [Sign(Role.NEEDED, _TWICE, None, says)], attribution=1.0)


def _reach_hz(tones: Tones, line: Line) -> float:
    """How far it may stand from its place: what is not known of the line and the speed, or the mains' own wander. [Hz]"""
    hz = line.hz(tones.observed.speed_hz)
    return tones.reach_hz(hz, follows=line.order != 0) + hz * (line.spread if line.order else _MAINS_WANDER)


def _window(measured: Measured, tones: Tones, line: Line) -> tuple[float, float, str]:
    """Where it is looked for, clear of other lines of the drive, and the last that narrowed it. [Hz]"""
    speed_hz = tones.observed.speed_hz
    hz, beside = line.hz(speed_hz), ""
    lowest, highest = hz - _reach_hz(tones, line), hz + _reach_hz(tones, line)
    for other in (one for one in measured.lines if one.kind not in ("supply", "pole_pass", "converter")):
        there = other.hz(speed_hz)
        near = tones.reach_hz(there) + 2 * tones.bin_hz
        if lowest - near < there < highest + near:
            beside = other.name
            lowest, highest = (max(lowest, there + near), highest) if there < hz else (lowest, min(highest, there - near))
    return lowest, highest, beside


def _left(measured: Measured, station: Station, direction: str, tone: Tone, state: str) -> float | None:
    """The line in records of another state over its height now; None where it does not show, or there is no such record. [-]"""
    if not tone.shows:
        return None
    reach = station.tones[direction].reach_hz(tone.hz, follows=False) + _MAINS_WANDER * tone.hz
    rows = [one.at(tone.hz, reach) for one in measured.at(station.point, direction, (state,))]
    heights = [max(one.velocity, one.floor) / max(tone.velocity, 1e-12) for one in rows if one]
    return max(heights, default=None)


def _dies_sign(dead: float | None, stands: float | None, chance: float) -> Sign:
    """Seen on coast-down, or where this drive stands; it has to be gone in both where both were recorded."""
    left = [one for one in (dead, stands) if one is not None]
    if not left:
        says = "needs a coast-down with the power off at this point and direction, or a record with this drive standing"
        return Sign(Role.NEEDED, _DIES, None, says)
    return Sign(Role.NEEDED, _DIES, max(left) <= _DEAD, f"{max(left):.2g} of its height with the power off", chance, witness=True)


def _sidebands(measured: Measured, tones: Tones, tone: Tone) -> Sign:
    """Both sidebands at the pole pass, as strong as at hardly any other distance."""
    pole_pass = next((one for one in measured.lines if one.kind == "pole_pass"), None)
    if pole_pass is None or pole_pass.spread >= 1:
        return Sign(Role.SUPPORTING, _SIDEBANDS, None, "needs poles, supply and plate speed of a motor on the mains")
    away = pole_pass.hz(tones.observed.speed_hz)
    reach = 1.5 * tones.bin_hz + abs(pole_pass.order) * tones.observed.speed_hz * tones.observed.speed_spread
    nearest = _NEAREST_BINS * tones.bin_hz + reach
    if away < nearest:
        return Sign(Role.SUPPORTING, _SIDEBANDS, None, f"needs a record of {2 * _NEAREST_BINS / max(away, 1e-3):.2g} s and more")
    distances = nearest + 2 * reach * np.arange(_DECOYS)
    own = _pair(tones, tone.hz, away, reach)
    others = [_pair(tones, tone.hz, float(one), reach) for one in distances if abs(one - away) > 3 * reach]
    log_chance = 2 * float(log_chance_of_maximum(own, bins=2 * reach / tones.bin_hz + 1))  # both must be there
    share = (1 + sum(one >= own for one in others)) / (1 + len(others))
    says = f"the weaker of both {10 * math.log10(max(own, 1e-9)):.0f} dB over the noise, {away:.2f} Hz away"
    seen = log_chance <= math.log(NOISE_LIMIT) and share <= ATTRIBUTION_LIMIT
    return Sign(Role.SUPPORTING, _SIDEBANDS, seen, says, reported(log_chance))


def _pair(tones: Tones, middle_hz: float, away_hz: float, reach_hz: float) -> float:
    """Strength of the weaker of two lines either side. [-]"""
    found = [tones.at(middle_hz + sign * away_hz, reach_hz) for sign in (-1, 1)]
    return min(one.strength if one else 0.0 for one in found)
