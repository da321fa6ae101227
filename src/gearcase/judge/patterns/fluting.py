"""Current fluting: has a shaft current burnt grooves across a race?

Theory of operation
-------------------
Current that passes through a rolling bearing burns its race into a washboard. Each element runs over the grooves as it passes, so
the vibration is a band about the rate at which grooves pass an element, a few hundred times the cage's, and begins again with
every element that passes: a hump, most often from 1 to 4 kHz, whose fine structure is spaced by the rate of the race (handbooks of
vibration diagnosis, from memory).

A spall that rings a mode of the housing makes the same hump with the same spacing. Two speeds part them: the grooves pass faster
as the shaft does, and the mode stays where it is. The hump is measured by what of it comes and goes at the race's rate, band by
band: the depth of the envelope's line there times the power of the band, so that noise and modes that ring for other reasons do
not count; lines of shafts and meshes are taken out first. Its middle goes with a power of speed, 1 for grooves and 0 for a mode.
A mode within the hump pulls its middle, and where it pulls too far the pattern is not called.

Who feeds the motor is asked of job.yaml: without a frequency converter there is hardly a current that does this.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from gearcase.drive.train import Drive
from gearcase.judge.explained import comb_orders, envelope_orders
from gearcase.judge.faults import NOISE_LIMIT, Comb, bearing_hypotheses, judge_bearings
from gearcase.judge.odds import log_chance_of_maximum
from gearcase.judge.patterns.observed import Observed
from gearcase.judge.patterns.signs import Role, Sign, Weighed, weigh
from gearcase.judge.patterns.stations import RUNNING, Measured, elsewhere
from gearcase.judge.patterns.tones import Tones
from gearcase.signal.envelope import band_envelope_spectrum
from gearcase.signal.spectrum import Transform

__all__ = ["examine"]

HUMP_HZ = (1000.0, 4000.0)  # table fault_patterns
_LOOKED_FROM_HZ = 600.0  # below, lines of shafts and meshes are all there is; common practice, no source
_HUMP_BAND_TO = 2.56  # sample rate over the highest frequency a record is good for, usual in the trade
_NOTCH_BINS = 2  # of a line under a Hann window, either side
_STEADY_SPREAD = 1e-3  # a speed known worse takes out no more than this; common practice, no source
_LINES_IN_BAND = 3.0  # rates of the race in one band, so that it can come and go
_FEWEST_BANDS = 3  # half a band apart: with fewer it is a line and no hump
_WITH_SPEED = 0.5  # power of speed: half-way from a mode's to the grooves'
_RACES_FLUTED = ("outer_race", "inner_race")
_HUMP_SPEEDS_APART = 1.1
_NAME, _RATE, _HUMP, _MOVES = (
    "current fluting",
    "race lines at two speeds",
    "a hump from 1 to 4 kHz spaced by the race line",
    "the hump moves with the speed",
)


@dataclass(frozen=True)
class _Hump:
    """What of a record comes and goes at the rate of a race: the comb, the middle of the bands that show it [Hz], how many do."""

    tones: Tones
    comb: Comb
    middle_hz: float
    bands: int


def examine(drive: Drive, observed: Sequence[Observed]) -> tuple[Weighed, ...]:
    """Every bearing whose races' rates are known, by the point and direction that shows the most."""
    measured = Measured(drive, observed)
    bearings = dict.fromkeys(one.component for one in bearing_hypotheses(drive))
    pairs = _two_speeds(measured)
    if not pairs:
        says = f"needs records at two speeds {100 * (_HUMP_SPEEDS_APART - 1):.0f} % apart at one point and direction"
        return tuple(weigh(_NAME, name, [Sign(Role.NEEDED, _RATE, None, says)], attribution=1.0) for name in bearings)
    combs = [(slow, fast, _combs(measured, slow), _combs(measured, fast)) for slow, fast in pairs]
    return tuple(_fluting(measured, name, combs) for name in bearings)


def _two_speeds(measured: Measured) -> list[tuple[Tones, Tones]]:
    """The latest records of each point and direction at its slowest and its fastest speed, where these are far enough apart."""
    places: dict[tuple[str, str, str], list[Tones]] = {}
    for tones in measured.records:
        recording = tones.observed.recording
        wide = recording.sample_rate_hz / _HUMP_BAND_TO > HUMP_HZ[1]
        if recording.taken.state in RUNNING and wide:
            places.setdefault((recording.point, recording.channel, recording.taken.direction), []).append(tones)
    found = []
    for rows in places.values():
        latest_first = rows[::-1]
        slow, fast = (pick(latest_first, key=lambda one: one.observed.speed_hz) for pick in (min, max))
        if fast.observed.speed_hz >= _HUMP_SPEEDS_APART * slow.observed.speed_hz:
            found.append((slow, fast))
    return found


_Pair = tuple[Tones, Tones, Sequence[Comb], Sequence[Comb]]


def _fluting(measured: Measured, bearing: str, pairs: Sequence[_Pair]) -> Weighed:
    best: tuple[_Hump, _Hump] | None = None
    for slow, fast, slow_combs, fast_combs in pairs:
        for race in _RACES_FLUTED:
            here, there = (_of(combs, bearing, race) for combs in (slow_combs, fast_combs))
            if here is None or there is None:
                continue
            humps = _hump(slow, here), _hump(fast, there)
            if best is None or min(one.bands for one in humps) > min(one.bands for one in best):
                best = humps
    if best is None:
        says = "no comb of this bearing's races in the envelope at both speeds"
        return weigh(_NAME, bearing, [Sign(Role.NEEDED, _RATE, False, says)], attribution=1.0)
    slow_hump, fast_hump = best
    noise = max(one.comb.noise_false_alarm for one in best)
    shows = min(one.bands for one in best) >= _FEWEST_BANDS
    inside = any(HUMP_HZ[0] <= one.middle_hz <= HUMP_HZ[1] for one in best)
    power = _power_of_speed(slow_hump, fast_hump) if shows else None
    fault = "outer race" if slow_hump.comb.hypothesis and slow_hump.comb.hypothesis.fault == "outer_race" else "inner race"
    words = [f"{one.middle_hz:.0f} Hz at {60 * one.tones.observed.speed_hz:.5g} rpm" for one in best]
    converter = measured.drive.motor.converter if measured.drive.motor else None
    signs = [
        Sign(
            Role.NEEDED,
            _RATE,
            True,
            f"{fault} at {slow_hump.comb.base_hz:.2f} Hz and at {fast_hump.comb.base_hz:.2f} Hz",
            noise,
        ),
        Sign(
            Role.NEEDED,
            _HUMP,
            shows and inside,
            f"what comes and goes at that rate is about {words[0]}"
            if shows
            else "no band from 600 Hz up comes and goes at that rate",
            noise,
        ),
        Sign(
            Role.NEEDED,
            _MOVES,
            power is not None and power >= _WITH_SPEED,
            "there is no hump" if power is None else f"from {words[0]} to {words[1]}, the power {power:.2f} of speed",
            noise,
        ),
        _protection_sign(measured.drive),
        Sign(
            Role.AGAINST,
            "no converter",
            None if converter is None else not converter,
            "needs the motor in job.yaml" if converter is None else f"job.yaml: converter: {str(converter).lower()}",
        ),
    ]
    attribution = max(one.comb.attribution_false_alarm for one in best)
    return weigh(
        _NAME,
        bearing,
        signs,
        attribution=elsewhere(attribution, {}),
        seen_in=[one.tones.observed for one in best],
        lines=fast_hump.comb.evidence,
    )


def _protection_sign(drive: Drive) -> Sign:
    name, motor = "converter without a shaft brush", drive.motor
    if motor is None or not motor.current_protection:
        return Sign(Role.SUPPORTING, name, None, "needs motor.current_protection in job.yaml: look for a brush on the shaft")
    if motor.current_protection == "insulated bearing":
        says = "an insulated bearing stops a current that circulates through the motor, not one that leaves by this bearing"
        return Sign(Role.SUPPORTING, name, None, says)
    bare = motor.converter and motor.current_protection == "none"
    return Sign(Role.SUPPORTING, name, bare, f"job.yaml: current_protection: {motor.current_protection}")


def _combs(measured: Measured, tones: Tones) -> tuple[Comb, ...]:
    """Combs in what the hump's band does; of rates that frequency cannot tell apart, of the bearing under the point."""
    observed = tones.observed
    nearest_first = sorted(bearing_hypotheses(measured.drive), key=lambda one: one.component != observed.component)
    found = judge_bearings(
        band_envelope_spectrum(_without_gears(tones), lowest_hz=HUMP_HZ[0], highest_hz=HUMP_HZ[1]),
        tuple(nearest_first),
        speed_hz=observed.speed_hz,
        speed_spread=observed.speed_spread,
        explained_orders=envelope_orders(measured.lines, speed_hz=observed.speed_hz),
    )
    return (*found.claims, *found.uncertain, *found.faint)


def _of(combs: Sequence[Comb], bearing: str, race: str) -> Comb | None:
    fitting = (one for one in combs if one.hypothesis and (one.hypothesis.component, one.hypothesis.fault) == (bearing, race))
    return next(fitting, None)


def _hump(tones: Tones, comb: Comb) -> _Hump:
    spectrum, rate_hz = _without_gears(tones), comb.base_hz
    width = _LINES_IN_BAND * rate_hz
    top = tones.observed.recording.sample_rate_hz / _HUMP_BAND_TO
    middles, heights = [], []
    for low in np.arange(_LOOKED_FROM_HZ, top - width, width / 2):
        band = band_envelope_spectrum(spectrum, lowest_hz=float(low), highest_hz=float(low + width))
        at = round(rate_hz / band.bin_hz)
        around = slice(at - 1, at + 2)
        if log_chance_of_maximum(float(band.strength[around].max()), bins=3) > math.log(NOISE_LIMIT):
            continue
        first, last = round(low / spectrum.bin_hz), round((low + width) / spectrum.bin_hz)
        middles.append(math.log(low + width / 2))
        heights.append(float(band.depth[around].max()) * float((np.abs(spectrum.values[first : last + 1]) ** 2).sum()))
    middle = math.exp(np.average(middles, weights=heights)) if heights else 0.0
    return _Hump(tones, comb, middle, len(heights))


def _without_gears(tones: Tones) -> Transform:
    """The spectrum without the lines of shafts and meshes: beats with them would drown those of one race line with the next."""
    spectrum, observed = tones.observed.spectrum, tones.observed
    orders = np.concatenate([np.array(family) for family in comb_orders(tones.lines).spectrum])
    lines_hz = orders[orders > 0] * observed.speed_hz
    values = np.array(spectrum.windowed)  # else a line leaks far beyond its own bins
    for hz in lines_hz[lines_hz < (values.size - 1) * spectrum.bin_hz]:
        reach = math.ceil(hz * min(observed.speed_spread, _STEADY_SPREAD) / spectrum.bin_hz) + _NOTCH_BINS
        at = round(hz / spectrum.bin_hz)
        values[max(at - reach, 0) : at + reach + 1] = 0
    return replace(spectrum, values=values)


def _power_of_speed(slow: _Hump, fast: _Hump) -> float:
    apart = math.log(fast.tones.observed.speed_hz / slow.tones.observed.speed_hz)
    return math.log(fast.middle_hz / slow.middle_hz) / apart
