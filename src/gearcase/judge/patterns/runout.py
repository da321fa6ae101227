"""Runout: an eccentric gear or a bent shaft swings its mesh smoothly once a turn, one pair of sidebands far above all others.

Teeth that differ, as those of every gear do, and a tooth that is damaged raise pairs further out as well, and the first by luck: of
random teeth a line reaches r times the median of the others with chance 2^(-r^2), and where both lines of the first pair may have
done so it counts against runout.
Runout swings every harmonic of the mesh alike; a way to the sensor that lets little of the mesh line through, or a neighbour's line
beside it, shows at one of them.

Every gear has some. How much matters cannot be told from housing vibration by theory; a pair of sidebands that together reach half
of the mesh line (a swing of 0.5) is looked at. Decoys are pairs as far from the mesh as no shaft turns.
"""

from collections.abc import Iterator, Sequence

import numpy as np

from gearcase.judge.faults import NOISE_LIMIT
from gearcase.judge.odds import reported
from gearcase.judge.patterns.angular import AngularHalves
from gearcase.judge.patterns.catalogue import pattern
from gearcase.judge.patterns.gear_parts import Gear, decoys
from gearcase.judge.patterns.observed import Observed
from gearcase.judge.patterns.raised import TEETH_WITH_ROOM, further_pairs
from gearcase.judge.patterns.signs import Role, Sign, Weighed, weigh
from gearcase.judge.patterns.teeth import AS_STRONG, FEWEST_TURNS
from gearcase.signal.spectrum import PRESENT

__all__ = ["LARGE_AXIAL", "axial_shaft_line", "runout"]

NAME = "eccentric gear or bent shaft"
_SMALLEST_SWING = 0.5  # both sidebands over the mesh line; common practice, no source
LARGE_AXIAL = 0.5  # of the radial line; common practice, no source


def runout(gears: Sequence[Gear], one: Observed, halves: AngularHalves, *, tried: int) -> Iterator[Weighed]:
    """Of every gear among `gears` whose axes stand. `tried` gears and records are looked at. [-]"""
    plain = [gear for gear in gears if not gear.carrier]
    need, (many, both) = pattern(NAME).needs[0], pattern(NAME).against
    for gear in plain:
        part, turns = f"{gear.shaft}, gear in {gear.mesh}", halves.turns * gear.turns
        why = ""
        beside = _line_of_another(gear, plain, within=3 * halves.step)
        if gear.teeth < TEETH_WITH_ROOM:
            why = f"between mesh lines of {gear.teeth} teeth its sidebands have no room"
        elif turns < FEWEST_TURNS:
            why = f"{turns:.2g} turns of {gear.shaft} in the record, {FEWEST_TURNS:.0f} are needed: record longer"
        elif gear.mesh_order + gear.turns > halves.top:
            why = "the mesh lies beyond what the record's sample rate shows"
        elif halves.strength(np.array([gear.mesh_order]))[0] < PRESENT:
            why = "its mesh line does not stand out of the noise"
        elif beside:
            why = f"a line of {beside} stands on its mesh line or a sideband of it"
        if why:
            yield weigh(NAME, part, [Sign(Role.NEEDED, need, None, why)], attribution=1.0)
            continue
        swing = _swing(halves, gear, gear.turns)
        lines = gear.mesh_order + np.array([-1.0, 1.0]) * gear.turns
        log_chance = -2 * float(halves.strength(lines).min()) + float(np.log(tried))
        seen = bool(swing >= _SMALLEST_SWING and log_chance <= np.log(NOISE_LIMIT))
        says = f"one pair, together {swing:.2f} of the line of {gear.mesh}"
        signs = [Sign(Role.NEEDED, need, seen, says, reported(min(log_chance, 0.0)))]
        attribution = 1.0
        if seen:
            further = _further(halves, gear)
            by_teeth = -2 * np.log(2) / max(further, 1e-3) ** 2 + np.log(tried)
            mate = _swing(halves, gear, gear.mesh_order / gear.other_teeth)
            says = f"{gear.other} swings it by {mate:.2f}"
            signs += [
                Sign(Role.AGAINST, many, by_teeth > np.log(NOISE_LIMIT), f"half of pairs 3 to 10 stand {further:.2f} as high"),
                Sign(Role.AGAINST, both, mate >= AS_STRONG * swing, says),
            ]
            attribution = _decoy_share(halves, gear, plain, swing)
        yield weigh(NAME, part, signs, attribution=attribution, seen_in=(one,))


def axial_shaft_line(records: Sequence[Observed], turns: float) -> Sign:
    """Whether an axial record shows the shaft's own line at least half as high as the radial one at the same point.

    `turns` are the shaft's, for one of the reference shaft. [-]
    """
    name = pattern(NAME).supports[0]
    heights: dict[tuple[str, str, str], dict[bool, float]] = {}
    for one in records:
        if one.recording.taken.direction and one.speed_hz:
            place = (one.recording.point, one.recording.unit, one.recording.start)
            heights.setdefault(place, {})[one.recording.taken.direction == "axial"] = _line_height(one, turns)
    pairs = [found for found in heights.values() if len(found) == 2]
    if not pairs:
        return Sign(Role.SUPPORTING, name, None, "no axial and radial direction of one point")
    most = max(found[True] / found[False] for found in pairs if found[False] > 0)
    return Sign(Role.SUPPORTING, name, most >= LARGE_AXIAL, f"axial 1x {most:.2f} of the radial")


def _swing(halves: AngularHalves, gear: Gear, turns: float) -> float:
    """How far the mesh swells at a rate, as pairs of sidebands say: the least of its first two harmonics, where both stand. [-]"""
    swings = []
    for mesh in (gear.mesh_order, 2 * gear.mesh_order):
        if mesh + turns < halves.top and halves.strength(np.array([mesh]))[0] >= PRESENT:
            swings.append((halves.height(mesh - turns) + halves.height(mesh + turns)) / max(halves.height(mesh), 1e-30))
    return min(swings, default=0.0)


def _further(halves: AngularHalves, gear: Gear) -> float:
    """Median height of the sidebands further out over the lesser of the first pair. [-]"""
    pairs = further_pairs(gear.teeth) * gear.turns
    orders = gear.mesh_order + np.concatenate([-pairs, pairs])
    heights = [halves.height(float(order)) for order in orders[(orders > gear.turns) & (orders < halves.top)]]
    first = min(halves.height(gear.mesh_order - gear.turns), halves.height(gear.mesh_order + gear.turns))
    return float(np.median(heights)) / max(first, 1e-30) if heights else 0.0


def _line_of_another(gear: Gear, plain: Sequence[Gear], *, within: float) -> str:
    """Another mesh of which a harmonic stands where this one's line or pair of sidebands is; empty where there is none."""
    looked = gear.mesh_order + np.array([-1.0, 0.0, 1.0]) * gear.turns
    for other in plain:
        harmonics = np.maximum(np.rint(looked / other.mesh_order), 1) * other.mesh_order
        if other.mesh != gear.mesh and np.any(np.abs(harmonics - looked) <= within):
            return other.mesh
    return ""


def _decoy_share(halves: AngularHalves, gear: Gear, plain: Sequence[Gear], swing: float) -> float:
    own = {other.turns for other in plain}
    away = [turns for turns in decoys(gear.turns) if all(abs(turns - shaft) > 3 * halves.step for shaft in own)]
    away = [turns for turns in away if gear.mesh_order + turns < halves.top]
    return (1 + sum(_swing(halves, gear, float(turns)) >= swing for turns in away)) / (1 + len(away))


def _line_height(one: Observed, turns: float) -> float:
    """Of a shaft line, to be compared at one point at one time only; Hann window. [-]"""
    bin_hz = one.spectrum.bin_hz
    middle, reach = round(turns * one.speed_hz / bin_hz), 2 + int(turns * one.speed_hz * one.speed_spread / bin_hz)
    low = max(middle - reach, 2)
    near = one.spectrum.windowed[low : middle + reach + 1]
    return float(np.abs(near).max() / one.spectrum.samples)
