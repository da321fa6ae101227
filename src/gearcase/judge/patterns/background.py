"""Background: how much of what the sensors feel is there with this drive standing, and which lines are it?

Theory of operation
-------------------
Where the vibration with the machine shut down is more than a quarter of that in operation, readings in operation are not the
machine's alone (ISO 20816-1, clause on background vibration; from memory). Both are velocities over the same band, 10 Hz to 1
kHz. A neighbour shows as lines that stand at the same frequency in both records, whatever this drive's speed. What stands and
has no such line is the sensor's own noise or drift; lines that are all multiples of one mains are hum, in the cable perhaps.
"""

import math
from collections.abc import Sequence

import numpy as np

from gearcase.drive.train import Drive
from gearcase.judge.faults import NOISE_LIMIT, EvidenceLine
from gearcase.judge.patterns.observed import Observed
from gearcase.judge.patterns.signs import Role, Sign, Weighed, weigh
from gearcase.judge.patterns.stations import AS_HIGH_AGAIN, RUNNING, Measured
from gearcase.judge.patterns.tones import Tone, Tones
from gearcase.signal.spectrum import find_lines, overall_velocity
from gearcase.signal.speed import MAINS_HZ

__all__ = ["examine"]

BACKGROUND_SHARE = 0.25  # of the velocity in operation: ISO 20816-1, from memory
_BAND_HZ = (10.0, 1000.0)
_SAME_PLACE = 5e-4  # how far a neighbour's speed may move between two records; common practice, no source
_SHIFTS = 100
_MOST_LINES = 5  # that a person can follow up
_NAME, _LEVEL, _SAME = "background from elsewhere", "a quarter and more with this drive standing", "same lines running and standing"


def examine(drive: Drive, observed: Sequence[Observed]) -> tuple[Weighed, ...]:
    """Every point and direction that was recorded running and standing; nothing of a job without a standing record."""
    measured = Measured(drive, observed)
    places = {
        (one.observed.recording.point, one.observed.recording.taken.direction): one
        for one in measured.records
        if one.observed.recording.taken.state == "standing"
    }
    pairs = ((standing, measured.at(point, direction, RUNNING)) for (point, direction), standing in places.items())
    return tuple(_background(measured, running[-1], standing) for standing, running in pairs if running)


def _background(measured: Measured, running: Tones, standing: Tones) -> Weighed:
    recording = running.observed.recording
    component = f"{recording.point} {recording.taken.direction}".strip()
    now, then = _velocity(running), _velocity(standing)
    if now is None or then is None:
        says = f"needs records whose band holds {_BAND_HZ[0]:g} to {_BAND_HZ[1]:g} Hz, running and standing"
        return weigh(_NAME, component, [Sign(Role.NEEDED, _LEVEL, None, says)], attribution=1.0)
    shared = _shared(running, standing)
    hum = bool(shared) and all(any(_is_multiple(one.hz, mains, standing.bin_hz) for mains in MAINS_HZ) for one in shared)
    chance = min((one.chance for one in shared), default=1.0)
    words = ", ".join(f"{1000 * one.velocity:.2g} mm/s at {one.hz:.2f} Hz" for one in shared[:_MOST_LINES])
    signs = [
        Sign(
            Role.NEEDED,
            _LEVEL,
            then >= BACKGROUND_SHARE * now,
            f"{1000 * then:.2g} mm/s RMS standing, {1000 * now:.2g} mm/s running",
            chance,
        ),
        Sign(Role.NEEDED, _SAME, bool(shared), words or "no line stands in both", chance),
        Sign(Role.AGAINST, "multiples of the mains only", hum, "hum, in the hall or in the cable" if hum else "other lines too"),
    ]
    evidence = [EvidenceLine("background", one.hz, one.hz, 10 * math.log10(one.strength)) for one in shared]
    shown_in = [running.observed, standing.observed]
    return weigh(_NAME, component, signs, attribution=_by_luck(running, shared), seen_in=shown_in, lines=evidence)


def _velocity(tones: Tones) -> float | None:
    observed = tones.observed
    if observed.recording.sample_rate_hz < 2.56 * _BAND_HZ[1] or observed.spectrum.bin_hz > _BAND_HZ[0] / 2:
        return None
    return float(overall_velocity(observed.spectrum, unit=observed.recording.unit))


def _shared(running: Tones, standing: Tones) -> list[Tone]:
    """Lines of the standing record, the highest first, that stand as high in the running one, at the same frequency."""
    lines = find_lines(standing.strength, bin_hz=standing.bin_hz, chance=NOISE_LIMIT)
    inside = [line.hz for line in lines if _BAND_HZ[0] <= line.hz <= _BAND_HZ[1]]
    found = [tone for hz in inside if (tone := standing.at(hz, standing.bin_hz))]
    return sorted((one for one in found if _stands(running, one, one.hz)), key=lambda one: -one.velocity)


def _stands(running: Tones, line: Tone, hz: float) -> bool:
    here = running.at(hz, max(1.5 * running.bin_hz, _SAME_PLACE * hz))
    return here is not None and here.shows and here.velocity >= AS_HIGH_AGAIN * line.velocity


def _by_luck(running: Tones, shared: Sequence[Tone]) -> float:
    """Share of shifts of the standing record's lines by which as many of them meet lines of the running one. [-]"""
    if not shared:
        return 1.0
    shifts = [sign * 2**octave for octave in np.linspace(-1, 4, _SHIFTS // 2) for sign in (-1, 1)]  # half a hertz to 16 Hz
    met = [sum(_stands(running, one, one.hz + shift) for one in shared) for shift in shifts]
    return (1 + sum(count >= len(shared) for count in met)) / (1 + _SHIFTS)


def _is_multiple(hz: float, mains_hz: float, bin_hz: float) -> bool:
    nearest = max(round(hz / mains_hz), 1)
    return abs(hz - nearest * mains_hz) <= 1.5 * bin_hz + 0.004 * hz
