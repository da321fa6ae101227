"""Current fluting: has a shaft current burnt grooves across a race?

Theory of operation
-------------------
Current that passes through a rolling bearing burns its race into a washboard. Each element runs over the grooves as it passes, so
the vibration is a band about the rate at which grooves pass an element, a few hundred times the cage's, and begins again with
every element that passes: a hump, most often from 1 to 4 kHz, whose fine structure is spaced by the rate of the race (handbooks of
vibration diagnosis, from memory).

Both speeds are asked for the lines of the race together (`washboard`), in a band from 1 to 4 kHz at the faster one that goes with
the speed, every frequency over its noise. None of these lines has to be there: those beside the rate of a race that turns may be
all there is.

A spall that rings a mode of the housing makes the same hump with the same spacing. Two speeds part them: the grooves pass faster
as the shaft does, and the mode stays where it is. The hump is measured by what of it comes and goes with the race, band by band:
the depth of the lines that stand out there times the power of the band, so that noise and modes that ring for other reasons do
not count; lines of shafts and meshes are taken out first. Its middle goes with a power of speed, 1 for grooves and 0 for a mode.
A mode within the hump pulls its middle, and where it pulls too far the pattern is not called.

Who feeds the motor is asked of job.yaml: without a frequency converter there is hardly a current that does this.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from gearcase.drive.line import Line
from gearcase.drive.train import Drive
from gearcase.judge.explained import comb_orders, envelope_orders
from gearcase.judge.faults import NOISE_LIMIT, SMALLEST_DEPTH, Hypothesis, bearing_hypotheses
from gearcase.judge.odds import reported
from gearcase.judge.patterns.observed import Observed
from gearcase.judge.patterns.signs import Role, Sign, Weighed, weigh
from gearcase.judge.patterns.stations import RUNNING, Measured, elsewhere
from gearcase.judge.patterns.tones import Tones
from gearcase.judge.patterns.washboard import RaceLines, Washboard, share_at_both
from gearcase.signal.envelope import band_envelope_spectrum
from gearcase.signal.spectrum import Transform, block_floor, floor_bins

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
_PARTS = (3, 2)  # a rate may be taken for so many times itself
_ONE_COMB = 0.005  # relative, of two rates fitted to lines of one comb; common practice, no source
_NAME, _RATE, _HUMP, _MOVES = (
    "current fluting",
    "race lines at two speeds",
    "a hump from 1 to 4 kHz spaced by the race line",
    "the hump moves with the speed",
)


@dataclass(frozen=True)
class _Pair:
    """The latest records of one point and direction at its slowest and its fastest speed: themselves, their spectra without lines
    of shafts and meshes, and the envelopes of these in the hump's band.
    """

    tones: tuple[Tones, Tones]
    bare: tuple[Transform, Transform]
    boards: tuple[Washboard, Washboard]


@dataclass(frozen=True)
class _Race:
    """The race whose lines both records of a pair hold, and the share of decoys that do as well."""

    pair: _Pair
    hypothesis: Hypothesis
    lines: tuple[RaceLines, RaceLines]
    noise: float
    elsewhere: float


@dataclass(frozen=True)
class _Hump:
    """What of a record comes and goes with a race: the middle of the bands that show it [Hz], and how many do."""

    middle_hz: float
    bands: int


def examine(drive: Drive, observed: Sequence[Observed]) -> tuple[Weighed, ...]:
    """Every bearing whose races' rates are known, by the point and direction that shows the most."""
    measured = Measured(drive, observed)
    races = [one for one in bearing_hypotheses(drive) if one.fault in _RACES_FLUTED]
    bearings = dict.fromkeys(one.component for one in races)
    pairs = [_pair(measured, races, two) for two in _two_speeds(measured)]
    if not pairs:
        says = f"needs records at two speeds {100 * (_HUMP_SPEEDS_APART - 1):.0f} % apart at one point and direction"
        return tuple(weigh(_NAME, name, [Sign(Role.NEEDED, _RATE, None, says)], attribution=1.0) for name in bearings)
    found = [race for pair in pairs if (race := _race(pair, races, tried=len(pairs) * len(races)))]
    return tuple(_fluting(measured, name, [one for one in found if one.hypothesis.component == name]) for name in bearings)


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


def _pair(measured: Measured, races: Sequence[Hypothesis], two: tuple[Tones, Tones]) -> _Pair:
    slow, fast = (_without_gears(tones) for tones in two)
    boards = [
        _board(
            measured.lines,
            races,
            tones,
            _whitened(bare),
            *(hz * tones.observed.speed_hz / two[1].observed.speed_hz for hz in HUMP_HZ),
        )
        for tones, bare in zip(two, (slow, fast), strict=True)
    ]
    return _Pair(two, (slow, fast), (boards[0], boards[1]))


def _board(
    lines: Sequence[Line], races: Sequence[Hypothesis], tones: Tones, bare: Transform, lowest_hz: float, highest_hz: float
) -> Washboard:
    observed = tones.observed
    return Washboard(
        band_envelope_spectrum(bare, lowest_hz=lowest_hz, highest_hz=highest_hz),
        explained_hz=observed.speed_hz * envelope_orders(lines, speed_hz=observed.speed_hz),
        highest_hz=max(one.order for one in races) * observed.speed_hz,
        speed_hz=observed.speed_hz,
        speed_spread=observed.speed_spread,
    )


def _race(pair: _Pair, races: Sequence[Hypothesis], *, tried: int) -> _Race | None:
    """The race that both records show most surely; of rates that frequency cannot tell apart, of the bearing under the point.

    Every second line of a race may be surer than all together: where lines between stand too, it is the race of the lower rate.
    """
    found = []
    for one in sorted(races, key=lambda race: race.component != pair.tones[0].observed.component):
        slow, fast = (board.race(one) for board in pair.boards)
        if slow is None or fast is None or min(slow.depth, fast.depth) < SMALLEST_DEPTH:
            continue
        noise = max(slow.log_chance, fast.log_chance) + math.log(tried)
        if noise <= math.log(NOISE_LIMIT):
            found.append(_Race(pair, one, (slow, fast), noise, 1.0))
    if not found:
        return None
    best = min(found, key=lambda race: race.noise)
    best = next((lower for parts in _PARTS for lower in found if _has_between(lower, best, parts)), best)
    return replace(best, elsewhere=share_at_both(*pair.boards, best.hypothesis, best.lines))


def _has_between(lower: _Race, race: _Race, parts: int) -> bool:
    """Whether a race's lines are every second (third) line of another's, and one more of these stands in both records."""
    if any(abs(parts * one.base_hz / other.base_hz - 1) > _ONE_COMB for one, other in zip(lower.lines, race.lines, strict=True)):
        return False
    more = [board.between(one.base_hz, lower.hypothesis, parts) for board, one in zip(race.pair.boards, lower.lines, strict=True)]
    return bool((more[0] & more[1]).any())


def _fluting(measured: Measured, bearing: str, found: Sequence[_Race]) -> Weighed:
    rows = [(race, (_hump(measured.lines, race, 0), _hump(measured.lines, race, 1))) for race in found]
    if not rows:
        says = "no lines of this bearing's races in the envelope at both speeds"
        return weigh(_NAME, bearing, [Sign(Role.NEEDED, _RATE, False, says)], attribution=1.0)
    race, humps = max(rows, key=lambda row: min(one.bands for one in row[1]))
    noise = reported(race.noise)
    shows = min(one.bands for one in humps) >= _FEWEST_BANDS
    inside = any(HUMP_HZ[0] <= one.middle_hz <= HUMP_HZ[1] for one in humps)
    speeds_hz = [tones.observed.speed_hz for tones in race.pair.tones]
    power = math.log(humps[1].middle_hz / humps[0].middle_hz) / math.log(speeds_hz[1] / speeds_hz[0]) if shows else None
    words = [f"{one.middle_hz:.0f} Hz at {60 * hz:.5g} rpm" for one, hz in zip(humps, speeds_hz, strict=True)]
    converter = measured.drive.motor.converter if measured.drive.motor else None
    signs = [
        Sign(
            Role.NEEDED,
            _RATE,
            True,
            f"{race.hypothesis.fault.replace('_', ' ')} at {race.lines[0].base_hz:.2f} Hz and at {race.lines[1].base_hz:.2f} Hz",
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
    return weigh(
        _NAME,
        bearing,
        signs,
        attribution=elsewhere(race.elsewhere, {}),
        seen_in=[tones.observed for tones in race.pair.tones],
        lines=race.lines[1].evidence,
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


def _hump(lines: Sequence[Line], race: _Race, n: int) -> _Hump:
    tones, spectrum, rate_hz = race.pair.tones[n], race.pair.bare[n], race.lines[n].base_hz
    width = _LINES_IN_BAND * rate_hz
    top = tones.observed.recording.sample_rate_hz / _HUMP_BAND_TO
    middles, heights = [], []
    for low in np.arange(_LOOKED_FROM_HZ, top - width, width / 2):
        board = _board(lines, [race.hypothesis], tones, spectrum, float(low), float(low + width))
        depth = board.depth(rate_hz, race.hypothesis)
        if not depth:
            continue
        first, last = round(low / spectrum.bin_hz), round((low + width) / spectrum.bin_hz)
        middles.append(math.log(low + width / 2))
        heights.append(depth * float((np.abs(spectrum.values[first : last + 1]) ** 2).sum()))
    middle = math.exp(np.average(middles, weights=heights)) if heights else 0.0
    return _Hump(middle, len(heights))


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


def _whitened(bare: Transform) -> Transform:
    """Each frequency over its floor."""
    floor = block_floor(np.abs(bare.values), width=floor_bins(bare.bin_hz))
    return replace(bare, values=bare.values / np.maximum(floor, np.finfo(np.float32).tiny))
