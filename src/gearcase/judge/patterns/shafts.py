"""Unbalance, misalignment, bent shaft, looseness: which of them makes the low multiples of a shaft high?

Theory of operation
-------------------
All four show at once and twice a turn; what parts them is direction and phase. Each pattern looks at the bearings of one shaft with
what was sampled together there, and says of every sign whether it is seen, not seen, or cannot be seen. A line of a machine that
runs is no fault: each needs a velocity in zone C or growth by 6 dB besides. A rival that no sign has told apart counts as likely as
the pattern itself, so that a claim without the axial direction, say, stays uncertain and tells what is missing.

Limits of angle and ratio are common practice, no source, as far as the table of patterns does not give them.
"""

import math
from collections.abc import Callable, Iterable, Sequence

import numpy as np
import scipy.special

from gearcase.drive.train import Drive
from gearcase.judge.faults import STRANGER_WEIGHT, EvidenceLine
from gearcase.judge.odds import VERIFIED_FLOOR
from gearcase.judge.patterns.observed import SAME_LOAD, SAME_SPEED, Observed
from gearcase.judge.patterns.resonance import SWOLLEN, by_speed
from gearcase.judge.patterns.runout import LARGE_AXIAL
from gearcase.judge.patterns.signs import Role, Sign, Weighed, weigh
from gearcase.judge.patterns.stations import AS_HIGH_AGAIN, RADIAL, RUNNING, SHOWS_STANDING, Measured, Station, elsewhere
from gearcase.judge.patterns.tones import RelativePhase, Tone, relative_phase
from gearcase.units import percent

__all__ = ["examine"]

ONE_SIDED = 4.0  # one radial direction over the other: a resonance or a loose foot, not a force that goes round
QUARTER, HALF, WITHIN = 90.0, 180.0, 35.0  # degrees
BOTH_MOVE = 1 / 3  # of the larger axial velocity, from which two bearings' phases are compared
_MULTIPLES = tuple(range(2, 11))
_HALVES = (0.5, 1.5, 2.5)
_PLACE_CHANCE = 1e-3  # of noise at one multiple
_MANY = 2 / 3  # of the multiples of looseness must show
_RICH = 0.3  # 3x to 10x together over 1x
_HALF_HIGH = 0.1  # half orders together over 1x
_SPEEDS_APART = 1.1  # from which a rise with speed can be told
_LOADS_APART = 3 * SAME_LOAD
_FOLLOWS = 1.5  # 1x at the higher load over that at the lower
_TEMPERATURES_APART_K = 20.0
_DIFFERS = 1.4  # 3 dB
_FIRST_SIGNS = {
    "unbalance": "1x radial",
    "bent shaft": "1x axial",
    "looseness or soft foot": "1x to 10x",
    "misalignment": "2x (or 1x) with axial at the coupling end",
}
_PHASE_NEEDS = "needs horizontal and vertical sampled together at a bearing of this shaft"


def examine(drive: Drive, observed: Sequence[Observed]) -> tuple[Weighed, ...]:
    """All four patterns of every shaft that turns in the housing; misalignment of those that leave it."""
    measured = Measured(drive, observed)
    ends = {shaft.name for shaft in drive.shafts if shaft.end}
    found = [
        _blind(name, shaft, sign, f"needs tooth counts: the speed of {shaft} is known to ±{percent(spread, 1)} only")
        for shaft, spread in measured.loose.items()
        for name, sign in _FIRST_SIGNS.items()
        if name != "misalignment" or shaft in ends
    ]
    for shaft in measured.orders:
        found += [_unbalance(measured, shaft), _bent(measured, shaft), _looseness(measured, shaft)]
        if shaft in ends:
            found.append(_misalignment(measured, shaft))
    return tuple(found)


def _unbalance(measured: Measured, shaft: str) -> Weighed:
    name, order = "unbalance", measured.orders[shaft]
    stations = measured.stations(shaft, directions=RADIAL)
    if not stations:
        return _blind(name, shaft, "1x radial", _PHASE_NEEDS)
    station = max(stations, key=lambda one: one.radial(order))
    tones = {direction: station.turning(direction, order) for direction in RADIAL}
    horizontal, vertical = tones["horizontal"], tones["vertical"]
    if horizontal is None or vertical is None:
        return _blind(name, shaft, "1x radial", f"a longer record: {shaft} 1x lies too near 0 Hz at this resolution")
    if taken := station.tones["horizontal"].crowded(horizontal.hz, parts=measured.alike(shaft)):
        return _blind(name, shaft, "1x radial", f"needs a finer resolution: {taken} stands at the same place")
    direction = max(RADIAL, key=lambda one: station.velocity(one, order))
    highest = horizontal if direction == "horizontal" else vertical
    phase = relative_phase(station.tones["horizontal"], station.tones["vertical"], highest.hz)
    large, growth = measured.large(station, (order,))
    ratio = max(horizontal.velocity, vertical.velocity) / max(min(horizontal.velocity, vertical.velocity), 1e-12)
    axial = _axial_sign(station, order, highest)
    squared = _with_speed(measured, [station, *(one for one in stations if one is not station)], direction, order)
    quarter = phase is not None and phase.steady and phase.is_about(QUARTER, WITHIN)
    others = _family(station, direction, order, (*_HALVES, *_MULTIPLES))
    signs = [
        Sign(
            Role.NEEDED,
            "1x radial",
            horizontal.shows and vertical.shows,
            f"{shaft} at {highest.hz:.2f} Hz, {1000 * horizontal.velocity:.2g} mm/s horizontal and "
            f"{1000 * vertical.velocity:.2g} mm/s vertical at {station.point}",
            max(horizontal.chance, vertical.chance),
        ),
        _steady_sign(phase),
        large,
        squared,
        Sign(Role.SUPPORTING, "horizontal and vertical 90 degrees apart", quarter if phase else None, _phase_words(phase)),
        axial,
        _load_sign(measured, station, direction, order),
        Sign(Role.AGAINST, "one radial direction much the higher", ratio > ONE_SIDED, f"{ratio:.2g} times the other"),
        Sign(
            Role.AGAINST,
            "multiples as high as 1x",
            others > highest.velocity,
            f"0.5x to 10x without 1x: {1000 * others:.2g} mm/s {direction}",
        ),
        _coupled_sign(measured, shaft, station.radial(order), lambda one: one.radial(order)),
        measured.standing(station, direction, highest),
    ]
    rivals = {"misalignment or bent shaft": axial.seen is False, "resonance": quarter if squared.seen is None else squared.seen}
    return _weighed(measured, name, shaft, signs, station, direction, [(f"{shaft} 1x", order, highest)], rivals, growth)


def _bent(measured: Measured, shaft: str) -> Weighed:
    name, order = "bent shaft", measured.orders[shaft]
    stations = [one for one in measured.stations(shaft, directions=("axial",)) if set(RADIAL) & one.tones.keys()]
    if not stations:
        return _blind(name, shaft, "1x axial", "needs an axial and a radial direction at a bearing of this shaft")
    station = max(stations, key=lambda one: one.velocity("axial", order))
    axial = station.turning("axial", order)
    if axial is None:
        return _blind(name, shaft, "1x axial", f"a longer record: {shaft} 1x lies too near 0 Hz at this resolution")
    if taken := station.tones["axial"].crowded(axial.hz, parts=measured.alike(shaft)):
        return _blind(name, shaft, "1x axial", f"needs a finer resolution: {taken} stands at the same place")
    radial, twice = station.radial(order), station.velocity("axial", 2 * order)
    seen = axial.shows and axial.velocity >= LARGE_AXIAL * radial and axial.velocity >= 2 * twice
    large, growth = measured.large(station, (order,))
    others = [one for one in stations if one.bearing != station.bearing and one.group == station.group]
    across = _across(station, others, order)
    opposed = across is not None and across.steady and across.is_about(HALF, WITHIN)
    uncoupled = _uncoupled(measured, station, order)
    signs = [
        Sign(
            Role.NEEDED,
            "1x axial",
            seen,
            f"{1000 * axial.velocity:.2g} mm/s axial at {station.point}, {1000 * radial:.2g} mm/s radial; 2x axial "
            f"{1000 * twice:.2g} mm/s",
            axial.chance,
        ),
        large,
        Sign(
            Role.SUPPORTING,
            "axial 180 degrees apart at its two bearings",
            opposed if across else None,
            _phase_words(across, "needs axial channels at both bearings sampled together, both moving"),
            across.chance if across else 1.0,
        ),
        Sign(Role.SUPPORTING, "same when uncoupled", uncoupled, _uncoupled_words(uncoupled)),
        Sign(
            Role.AGAINST,
            "in phase at both bearings",
            across is not None and across.steady and across.is_about(0, WITHIN) if across else None,
            _phase_words(across, "needs axial channels at both bearings sampled together, both moving"),
        ),
        _coupled_sign(measured, shaft, axial.velocity, lambda one: one.velocity("axial", order)),
        measured.standing(station, "axial", axial),
    ]
    rivals = {"misalignment": opposed or uncoupled is True}
    return _weighed(measured, name, shaft, signs, station, "axial", [(f"{shaft} 1x", order, axial)], rivals, growth)


def _misalignment(measured: Measured, shaft: str) -> Weighed:
    name, order = "misalignment", measured.orders[shaft]
    sign_name = _FIRST_SIGNS[name]
    stations = [one for one in measured.stations(shaft, directions=("axial",)) if set(RADIAL) & one.tones.keys()]
    if not stations:
        return _blind(name, shaft, sign_name, "needs an axial and a radial direction at the bearing beside the coupling")
    station = max(stations, key=lambda one: max(one.velocity("axial", n * order) for n in (1, 2)))
    multiple = max((1, 2), key=lambda n: station.velocity("axial", n * order))
    axial = station.turning("axial", multiple * order)
    if axial is None:
        return _blind(name, shaft, sign_name, f"a longer record: {shaft} 1x lies too near 0 Hz at this resolution")
    if taken := station.tones["axial"].crowded(axial.hz, parts=measured.alike(shaft)):
        return _blind(name, shaft, sign_name, f"needs a finer resolution: {taken} stands at the same place")
    radial = max(station.radial(n * order) for n in (1, 2))
    large, growth = measured.large(station, (order, 2 * order))
    others = [one for other in _coupled(measured.drive, shaft) for one in measured.stations(other, directions=("axial",))]
    across = _across(station, [one for one in others if one.group == station.group], multiple * order)
    opposed = across is not None and across.steady and across.is_about(HALF, WITHIN)
    uncoupled = _uncoupled(measured, station, multiple * order)
    first = station.radial(order)
    direction = max(set(RADIAL) & station.tones.keys(), key=lambda one: station.velocity(one, order))
    halves, rich = (_family(station, direction, order, multiples) for multiples in (_HALVES, range(4, 11)))
    loose = halves > _HALF_HIGH * max(first, axial.velocity) and rich > _RICH * max(first, axial.velocity)
    needs_across = "needs axial channels on both sides of the coupling sampled together, both moving, the coupled shaft in job.yaml"
    signs = [
        Sign(
            Role.NEEDED,
            sign_name,
            axial.shows and axial.velocity >= LARGE_AXIAL * radial,
            f"{multiple}x axial {1000 * axial.velocity:.2g} mm/s at {station.point}, {1000 * radial:.2g} mm/s radial",
            axial.chance,
        ),
        large,
        Sign(
            Role.SUPPORTING,
            "180 degrees across the coupling",
            opposed if across else None,
            _phase_words(across, needs_across),
            across.chance if across else 1.0,
        ),
        _hot_and_cold(measured, station, multiple * order),
        Sign(Role.AGAINST, "same when uncoupled", uncoupled, _uncoupled_words(uncoupled)),
        Sign(
            Role.AGAINST,
            "in phase across the coupling",
            across.steady and across.is_about(0, WITHIN) if across else None,
            _phase_words(across, needs_across),
        ),
        Sign(
            Role.AGAINST,
            "half orders and many multiples",
            loose,
            f"half orders {1000 * halves:.2g} mm/s, 4x to 10x {1000 * rich:.2g} mm/s {direction}",
        ),
        measured.standing(station, "axial", axial),
    ]
    rivals = {
        "bent shaft or unbalance": opposed or multiple == 2 or uncoupled is False,
        "looseness or soft foot": not loose,
    }
    lines = [(f"{shaft} {multiple}x", multiple * order, axial)]
    return _weighed(measured, name, shaft, signs, station, "axial", lines, rivals, growth)


def _looseness(measured: Measured, shaft: str) -> Weighed:
    name, order = "looseness or soft foot", measured.orders[shaft]
    stations = measured.stations(shaft)
    if not stations:
        return _blind(name, shaft, "1x to 10x", "needs a record at a bearing of this shaft with its direction")
    heights = {
        (one.point, direction): _family(one, direction, order, (*_HALVES, *_MULTIPLES))
        for one in stations
        for direction in one.tones
    }
    point, direction = max(heights, key=lambda one: heights[one])
    station = next(one for one in stations if one.point == point)
    whole, half = (_usable(measured, station, shaft, direction, places) for places in (_MULTIPLES, _HALVES))
    first = station.turning(direction, order)
    if first is None or len(whole) < len(_MULTIPLES) / 2 or len(half) < 2:
        return _blind(
            name, shaft, "1x to 10x", f"needs a finer resolution or a wider band: other parts' lines stand at multiples of {shaft}"
        )
    shown, halves = (sum(tone.log_chance <= math.log(_PLACE_CHANCE) for _, tone in rows) for rows in (whole, half))
    rich, low = _root(tone for n, tone in whole if n >= 3), _root(tone for _, tone in half)
    large, growth = measured.large(station, [n * order for n in (0.5, 1, *_MULTIPLES)])
    signs = [
        Sign(
            Role.NEEDED,
            "1x to 10x",
            shown >= _MANY * len(whole) and rich >= _RICH * first.velocity,
            f"{shown} of {len(whole)} multiples from 2x to 10x show {direction} at {point}; 3x to 10x {1000 * rich:.2g} mm/s, 1x "
            f"{1000 * first.velocity:.2g} mm/s",
            _chance_of(shown, len(whole)),
        ),
        Sign(
            Role.NEEDED,
            "half orders",
            halves >= 2 and low >= _HALF_HIGH * first.velocity,
            f"{halves} of {len(half)} of 0.5x, 1.5x and 2.5x show, {1000 * low:.2g} mm/s",
            _chance_of(halves, len(half)),
        ),
        large,
        Sign(
            Role.SUPPORTING,
            "phase step from foot to base",
            None,
            "needs a channel on each foot and on the base beside it; nothing in job.yaml says which points these are",
        ),
        _coupled_sign(measured, shaft, low, lambda one: max(_family(one, way, order, _HALVES) for way in one.tones)),
        measured.standing(station, direction, max((tone for _, tone in whole), key=lambda tone: tone.velocity)),
    ]
    lines = [(f"{shaft} {n:g}x", n * order, tone) for n, tone in sorted([(1, first), *half, *whole])]
    highest = max(half, key=lambda one: one[1].velocity)[1]
    return _weighed(measured, name, shaft, signs, station, direction, lines, {}, growth, decoy=highest)


def _weighed(
    measured: Measured,
    name: str,
    shaft: str,
    signs: Sequence[Sign],
    station: Station,
    direction: str,
    lines: Sequence[tuple[str, float, Tone]],
    rivals: dict[str, bool],
    growth: float | None,
    decoy: Tone | None = None,
) -> Weighed:
    tones = station.tones[direction]
    asked = decoy or lines[0][2]
    share = tones.decoy_share(asked, reach_hz=tones.reach_hz(asked.hz))
    stands = next(sign for sign in signs if sign.name == SHOWS_STANDING)
    follows = _squared(measured, station, direction, lines[0][1]).seen is not None
    if stands.seen is None and not follows:
        share = max(share, STRANGER_WEIGHT * tones.neighbour_share(asked))
    evidence = [
        EvidenceLine(text, order * tones.observed.speed_hz, tone.hz, float(10 * np.log10(max(tone.strength, 1e-9))))
        for text, order, tone in lines
    ]
    shown = [one.observed for one in station.tones.values()]
    return weigh(name, shaft, signs, attribution=elsewhere(share, rivals), seen_in=shown, growth_db=growth, lines=evidence)


def _blind(name: str, shaft: str, sign: str, says: str) -> Weighed:
    return weigh(name, shaft, [Sign(Role.NEEDED, sign, None, says)], attribution=1.0)


def _steady_sign(phase: RelativePhase | None) -> Sign:
    name = "steady phase"
    if phase is None:
        return Sign(Role.NEEDED, name, None, "a longer record: the line lies too near 0 Hz at this resolution")
    says = f"horizontal less vertical keeps to {phase.degrees:.0f} degrees, steadiness {phase.steadiness:.2f}"
    return Sign(Role.NEEDED, name, phase.steady, says, phase.chance)


def _axial_sign(station: Station, order: float, radial: Tone) -> Sign:
    name = "large axial"
    if "axial" not in station.tones:
        return Sign(Role.AGAINST, name, None, f"needs an axial channel at {station.point}: a bent shaft or misalignment would show")
    axial = station.velocity("axial", order)
    says = f"1x axial {1000 * axial:.2g} mm/s, {axial / max(radial.velocity, 1e-12):.2g} of the radial"
    return Sign(Role.AGAINST, name, axial >= LARGE_AXIAL * radial.velocity, says)


def _load_sign(measured: Measured, station: Station, direction: str, order: float) -> Sign:
    def other_load(one: Observed, latest: Observed) -> bool:
        loads = (one.recording.taken.load, latest.recording.taken.load)
        if loads[0] is None or loads[1] is None or one.recording.taken.state not in RUNNING:
            return False
        return abs(loads[0] - loads[1]) >= _LOADS_APART and abs(one.speed_hz / latest.speed_hz - 1) <= SAME_SPEED

    found = measured.compared(station, direction, order, other_load)
    name = "follows load"
    if found is None:
        return Sign(Role.AGAINST, name, None, "needs a record at this speed and another stated load")
    ratio, one = found
    here = station.tones[direction].observed.recording.taken.load or 0.0
    there = one.recording.taken.load or 0.0
    rise = 1 / ratio if there < here else ratio
    return Sign(
        Role.AGAINST, name, rise >= _FOLLOWS, f"{rise:.2g} times as high at load {max(here, there):g} as at {min(here, there):g}"
    )


def _with_speed(measured: Measured, stations: Sequence[Station], direction: str, order: float) -> Sign:
    """What the first station says that can, or any that says no: a mode of the support shows where it moves."""
    signs = [_squared(measured, one, direction, order) for one in stations]
    return min(signs, key=lambda one: (one.seen is not False, one.seen is None))


def _squared(measured: Measured, station: Station, direction: str, order: float) -> Sign:
    """Displacement over speed squared at every speed measured, and its exponent between the two furthest apart."""
    name = "rises with the square of speed"
    found = by_speed(measured, station, direction, order)
    if not found:
        return Sign(Role.SUPPORTING, name, None, "needs a longer record")
    slow, fast = found[0], found[-1]
    apart = math.log(fast.tone.hz / slow.tone.hz)
    if apart < math.log(_SPEEDS_APART) or not all(one.tone.shows for one in found):
        return Sign(Role.SUPPORTING, name, None, "needs a record at a speed 10 % and more away in which the line shows")
    exponent = 2 + math.log(fast.response / slow.response) / apart
    swing = max(one.response for one in found) / min(one.response for one in found)
    reach = f"from {slow.tone.hz:.4g} to {fast.tone.hz:.4g} Hz at {station.point}"
    says = f"displacement goes with the power {exponent:.1f} of speed {reach}"
    if swing > SWOLLEN:
        says += f", and {swing:.2g} times as much of the square at one speed as at another"
    return Sign(Role.SUPPORTING, name, abs(exponent - 2) <= 1 and swing <= SWOLLEN, says)


def _coupled_sign(measured: Measured, shaft: str, height: float, height_of: Callable[[Station], float]) -> Sign:
    """Whether a shaft coupled to this one, which turns as fast, moves more: then it is that shaft's."""
    name = "higher at the coupled shaft"
    others = [(height_of(one), one.point) for other in _coupled(measured.drive, shaft) for one in measured.stations(other)]
    if not others:
        return Sign(Role.AGAINST, name, None, "nothing was measured on the other side of a coupling")
    highest, point = max(others)
    return Sign(Role.AGAINST, name, highest > height, f"{1000 * highest:.2g} mm/s at {point} against {1000 * height:.2g} mm/s")


def _hot_and_cold(measured: Measured, station: Station, order: float) -> Sign:
    def other_temperature(one: Observed, latest: Observed) -> bool:
        temperatures = (one.recording.taken.oil_temperature, latest.recording.taken.oil_temperature)
        if temperatures[0] is None or temperatures[1] is None or one.recording.taken.state not in RUNNING:
            return False
        near = abs(one.speed_hz / latest.speed_hz - 1) <= SAME_SPEED
        return near and abs(temperatures[0] - temperatures[1]) >= _TEMPERATURES_APART_K

    found = measured.compared(station, "axial", order, other_temperature)
    name = "hot and cold differ"
    if found is None:
        return Sign(Role.SUPPORTING, name, None, "needs records with the oil's temperature, 20 K apart")
    ratio = max(found[0], 1 / max(found[0], 1e-12))
    return Sign(Role.SUPPORTING, name, ratio >= _DIFFERS, f"axial line {ratio:.2g} times as high")


def _uncoupled(measured: Measured, station: Station, order: float) -> bool | None:
    """Whether the axial line is as high with the coupling open; None where nobody has looked or it lies between."""

    def open_coupling(one: Observed, latest: Observed) -> bool:
        return one.recording.taken.state == "uncoupled" and abs(one.speed_hz / latest.speed_hz - 1) <= SAME_SPEED

    found = measured.compared(station, "axial", order, open_coupling)
    if found is None:
        return None
    return True if found[0] >= 1 / _DIFFERS else False if found[0] <= AS_HIGH_AGAIN else None


def _uncoupled_words(same: bool | None) -> str:
    if same is None:
        return "needs a record uncoupled at this speed that settles it"
    return f"the axial line {'stays' if same else 'falls'} when uncoupled"


def _across(station: Station, others: Sequence[Station], order: float) -> RelativePhase | None:
    """Axial phase of a station less that of the most moved of others sampled with it; None where none moves enough."""
    here = station.turning("axial", order)
    other = max(others, key=lambda one: one.velocity("axial", order), default=None)
    if here is None or other is None or other.velocity("axial", order) < BOTH_MOVE * here.velocity:
        return None
    return relative_phase(station.tones["axial"], other.tones["axial"], here.hz)


def _coupled(drive: Drive, shaft: str) -> tuple[str, ...]:
    """Shafts on the other side of a coupling: joined to this one at a ratio of 1."""
    joined = [link for link in drive.ratio_links if link.ratio == 1 and shaft in (link.fast_shaft, link.slow_shaft)]
    return tuple(link.slow_shaft if link.fast_shaft == shaft else link.fast_shaft for link in joined)


def _usable(measured: Measured, station: Station, shaft: str, direction: str, places: Sequence[float]) -> list[tuple[float, Tone]]:
    """Lines at multiples of a shaft where no other part of the drive has one, with their multiple."""
    tones, parts = station.tones[direction], measured.alike(shaft)
    found = [(n, tones.turning(n * measured.orders[shaft])) for n in places]
    return [(n, tone) for n, tone in found if tone and not tones.crowded(tone.hz, parts=parts)]


def _family(station: Station, direction: str, order: float, multiples: Sequence[float]) -> float:
    return _root(tone for n in multiples if (tone := station.turning(direction, n * order)))


def _root(tones: Iterable[Tone]) -> float:
    return float(np.sqrt(sum(tone.velocity**2 for tone in tones if tone.shows)))


def _chance_of(shown: int, places: int) -> float:
    """That noise shows as many of so many places."""
    return max(float(scipy.special.bdtrc(shown - 1, places, _PLACE_CHANCE)), VERIFIED_FLOOR)


def _phase_words(phase: RelativePhase | None, needs: str = _PHASE_NEEDS) -> str:
    return needs if phase is None else f"{phase.degrees:.0f} degrees, steadiness {phase.steadiness:.2f}"
