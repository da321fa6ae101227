"""Damaged teeth: one that is cracked or chipped, two that meet, and those of a planetary set.

All of them knock or yield at one place of some turn, and `impulse` looks for that place: of the gear's own turn, of the hunting
period in which two teeth meet again, of a sun's or ring's turn from planet to planet, of a planet's turn on its pin. What knocks
once a turn and raises many sidebands of its shaft about the mesh need not be a tooth: it is called a cracked or chipped one only
where the mesh yields at that place (`mesh_yield`), and a knock once a turn, tooth or none, where it does not show that. Decoys
are turns of nothing: the share of them that show as sure a place is the attribution figure.
"""

from collections.abc import Iterator, Sequence
from math import ceil, gcd, lcm

import numpy as np

from gearcase.errors import OutOfRange
from gearcase.judge.faults import NOISE_LIMIT
from gearcase.judge.odds import reported
from gearcase.judge.patterns.angular import AngularHalves
from gearcase.judge.patterns.catalogue import pattern
from gearcase.judge.patterns.gear_parts import Gear, decoys
from gearcase.judge.patterns.impulse import Impulse, as_sure, impulse
from gearcase.judge.patterns.mesh_yield import MeshYield, mesh_yield
from gearcase.judge.patterns.observed import Observed
from gearcase.judge.patterns.raised import TEETH_WITH_ROOM, raised_log_chance, sideband_log_chance
from gearcase.judge.patterns.signs import Role, Sign, Weighed, weigh
from gearcase.signal.gear_indicators import gear_signals, mesh_modulation, standardised_moment

__all__ = ["AS_STRONG", "CRACK", "FEWEST_TURNS", "KNOCK", "damaged_teeth", "hunting_teeth", "planetary_teeth"]

CRACK, KNOCK, HUNTING = "tooth crack or chip", "knock once a turn", "hunting tooth"
FEWEST_TURNS = (
    20.0  # of a shaft, to average; of a carrier and a hunting period as well; handbooks of vibration diagnosis, from memory
)
_SMALLEST_CONTRAST = 4.0  # 6 dB over the mean of the turn: in a long record a harmless place is certain; common practice, no source
AS_STRONG = 0.5  # of what a gear shows: another that does counts against it; common practice, no source
# of a turn's lines, as high as lines of two teeth that meet: a knock of one tooth that scatters by 15 % leaves 0.03 of 20 periods
_MEETING = 0.2
_WINDOWS = 4  # places of a turn of the carrier at which a planet may come past the sensor: 1 + cos is half as wide as the turn
_KURTOSIS_SIGMA = 4.0  # standard errors over Gaussian noise's
_EXCURSION = 4.0  # times the usual excursion of the mesh's phase over the turn; common practice, no source


def damaged_teeth(gears: Sequence[Gear], one: Observed, halves: AngularHalves, *, tried: int) -> Iterator[Weighed]:
    """Of every shaft with gears whose axes stand: a cracked or chipped tooth. `tried` shafts and records are looked at. [-]

    Gears with too few teeth for their sidebands to have room, worms among them, are not testable.
    """
    for gear in gears:
        if not gear.carrier and gear.teeth < TEETH_WITH_ROOM:
            says = f"between mesh lines of {gear.teeth} teeth its sidebands have no room"
            sign = Sign(Role.NEEDED, pattern(CRACK).needs[1], None, says)
            yield weigh(CRACK, f"teeth on {gear.shaft} ({gear.mesh})", [sign], attribution=1.0)
    plain = [gear for gear in gears if not gear.carrier and gear.teeth >= TEETH_WITH_ROOM]
    found = {gear.shaft: _own_impulse(gear, plain, halves) for gear in plain if halves.turns * gear.turns >= FEWEST_TURNS}
    for shaft in dict.fromkeys(gear.shaft for gear in plain):
        on_it = [gear for gear in plain if gear.shaft == shaft]
        beside = {gear: sideband_log_chance(halves, gear.mesh_order, gear.turns, teeth=gear.teeth) for gear in on_it}
        gear = min(on_it, key=lambda gear: beside[gear])
        needed = pattern(CRACK).needs
        if shaft not in found:
            turns = halves.turns * gear.turns
            yield weigh(CRACK, f"teeth on {shaft}", [_too_few(needed[0], turns, shaft)], attribution=1.0)
            continue
        seen = found[shaft]
        if seen is None:
            sign = Sign(Role.NEEDED, needed[0], None, "too few of its turn's orders lie below what the record's sample rate shows")
            yield weigh(CRACK, f"teeth on {shaft}", [sign], attribution=1.0)
            continue
        count = float(np.log(tried))
        many = beside[gear] + count
        signs = [
            Sign(Role.NEEDED, needed[0], _stands_out(seen, count), _place_words(seen, halves), reported(seen.log_chance + count)),
            Sign(Role.NEEDED, needed[1], bool(many <= np.log(NOISE_LIMIT)), _raised_words(gear), reported(many)),
        ]
        if not all(sign.seen for sign in signs):
            for name, part in ((CRACK, f"teeth on {shaft}"), (KNOCK, shaft)):
                yield weigh(name, part, signs, attribution=1.0, turns=gear.turns)
            continue
        rivals = [_in_both(gear, seen, found, count), _several(seen), _only_where_they_meet(gear, plain, halves, seen)]
        attribution, moved = _decoy_share(halves, gear, seen), mesh_yield(halves, gear, seen.place)
        yield weigh(KNOCK, shaft, [*signs, *rivals], attribution=attribution, seen_in=(one,), turns=gear.turns)
        signs += [*_average_signs(halves, gear, seen), *rivals, _does_not_yield(moved)]
        part, attribution = f"teeth on {shaft}, in {gear.mesh}", max(attribution, moved.no_tooth)
        yield weigh(CRACK, part, signs, attribution=attribution, seen_in=(one,), turns=gear.turns)


def hunting_teeth(gears: Sequence[Gear], one: Observed, halves: AngularHalves, *, tried: int) -> Iterator[Weighed]:
    """Of every mesh whose axes stand: one damaged tooth on each gear. `tried` shafts and records are looked at. [-]"""
    plain = [gear for gear in gears if not gear.carrier]
    (need,), on_shafts = pattern(HUNTING).needs, {gear.shaft: gear for gear in plain}
    for gear in plain[::2]:
        base = _hunting_turns(gear)
        if base in (gear.turns, gear.mesh_order / gear.other_teeth):
            continue  # the same teeth meet at every turn of one gear: nothing hunts
        periods = halves.turns * base
        if periods < FEWEST_TURNS:  # of fewer, knocks at random fall on one place of both halves often enough
            needs_s = ceil(one.recording.duration_s * FEWEST_TURNS / periods)  # what is lost at its ends included
            says = f"{periods:.2g} periods of the hunting tooth in the record, {FEWEST_TURNS:.0f} are needed: record {needs_s} s"
            yield weigh(HUNTING, gear.mesh, [Sign(Role.NEEDED, need, None, says)], attribution=1.0)
            continue
        seen = _hunting_impulse(gear, plain, halves)
        if seen is None:
            continue
        count = float(np.log(tried))
        signs = [Sign(Role.NEEDED, need, _stands_out(seen, count), _place_words(seen, halves), reported(seen.log_chance + count))]
        attribution = 1.0
        if signs[0].seen:
            attribution = _decoy_share_of([halves], base, gear.width * base / gear.turns, _meetings(gear), seen, of_two=True)
            signs.append(_at_every_turn(seen, count, *(_own_impulse(own, plain, halves) for own in on_shafts.values())))
        yield weigh(HUNTING, gear.mesh, signs, attribution=attribution, seen_in=(one,))


def planetary_teeth(gears: Sequence[Gear], one: Observed, halves: AngularHalves, *, tried: int) -> Iterator[Weighed]:
    """Of every member of a planetary set: a damaged tooth. `tried` shafts and records are looked at. [-]"""
    members = {gear.shaft: gear for gear in gears if gear.carrier}
    views = {gear.shaft: _views(gear, halves) for gear in members.values()}
    found: dict[str, Impulse | None] = {}
    for gear in members.values():
        base = gear.turns * gear.planets
        faster = [other.turns * other.planets for other in members.values()]
        faster = [other for other in faster if other > base * (1 + 1e-9)]
        shown = [
            impulse(view, base, width=gear.width * gear.planets, teeth=_between_planets(gear), others=(gear.mesh_order, *faster))
            for view in views[gear.shaft]
        ]
        found[gear.shaft] = min(filter(None, shown), key=lambda one: one.log_chance, default=None)
    for gear in members.values():
        name = "planet tooth" if gear.is_planet else "ring tooth" if gear.held else "sun tooth"
        (need,), seen = pattern(name).needs, found[gear.shaft]
        turns = halves.turns * gear.carrier_turns
        if turns < FEWEST_TURNS:
            yield weigh(name, gear.shaft, [_too_few(need, turns, gear.carrier)], attribution=1.0)
            continue
        if seen is None:
            continue
        count = float(np.log(tried * len(views[gear.shaft])))
        signs = [Sign(Role.NEEDED, need, _stands_out(seen, count), _place_words(seen, halves), reported(seen.log_chance + count))]
        attribution = 1.0
        if signs[0].seen:
            base = gear.turns * gear.planets
            attribution = _decoy_share_of(views[gear.shaft], base, gear.width * gear.planets, _between_planets(gear), seen)
            signs += [_passing(gear, halves, base), _in_every_member(gear, seen, found, count)]
        yield weigh(name, gear.shaft, signs, attribution=attribution, seen_in=(one,), turns=gear.turns)


def _own_impulse(gear: Gear, plain: Sequence[Gear], halves: AngularHalves) -> Impulse | None:
    """Of the shaft's turn, without the regular orders of all its gears and lines it shares with faster shafts in a whole ratio."""
    here = [other for other in plain if other.shaft == gear.shaft]
    faster = [other.turns for other in plain if other.turns > gear.turns * (1 + 1e-9)]
    regular = [order for other in here for order in other.regular]
    fewest = min(other.teeth for other in here)
    return impulse(halves, gear.turns, width=max(other.width for other in here), teeth=fewest, others=faster, regular=regular)


def _hunting_turns(gear: Gear) -> float:
    """How often the same two teeth meet again. [-]"""
    return gear.mesh_order / _meetings(gear)


def _meetings(gear: Gear) -> int:
    """Cycles of the mesh until the same two teeth meet again. [-]"""
    return lcm(gear.teeth, gear.other_teeth)


def _views(gear: Gear, halves: AngularHalves) -> list[AngularHalves]:
    """The record as it is, and of a planet also as it comes past the sensor, wherever that stands: its meetings with sun and ring,
    half a turn apart, are then as high only one by one, and other teeth are weaker.
    """
    if not gear.is_planet or halves.turns * gear.carrier_turns < FEWEST_TURNS:
        return [halves]
    return [halves, *(halves.passing(gear.carrier_turns, part / _WINDOWS) for part in range(_WINDOWS))]


def _between_planets(gear: Gear) -> int:
    """Teeth that pass from one planet's coming to the next, or all of a planet. [-]"""
    return max(gear.teeth // gear.planets, 2)


def _hunting_impulse(gear: Gear, plain: Sequence[Gear], halves: AngularHalves) -> Impulse | None:
    """Of the hunting period, without the assembly phase and the lines of any shaft: one beyond the next mesh may share lines."""
    base, phase = _hunting_turns(gear), gear.mesh_order / gcd(gear.teeth, gear.other_teeth)
    shafts = [other.turns for other in plain if other.turns > base * (1 + 1e-9)]
    width = gear.width * base / gear.turns
    return impulse(halves, base, width=width, teeth=_meetings(gear), others=(*shafts, phase), of_two=True)


def _only_where_they_meet(gear: Gear, plain: Sequence[Gear], halves: AngularHalves, seen: Impulse) -> Sign:
    """Two teeth that knock when they meet do so at one place of either gear's turn, in some turns: all lines are as high."""
    name, meetings = pattern(CRACK).against[2], halves.turns * _hunting_turns(gear)
    hunts = _hunting_impulse(gear, plain, halves) if meetings >= FEWEST_TURNS else None
    if hunts is None:
        return Sign(Role.AGAINST, name, None, f"too few meetings of the same two teeth of {gear.mesh} in the record")
    share = hunts.level / seen.level
    return Sign(Role.AGAINST, name, share >= _MEETING, f"lines of the hunting period {share:.2f} as high as those of the turn")


def _at_every_turn(seen: Impulse, count: float, *own: Impulse | None) -> Sign:
    """What scatters from knock to knock of one tooth leaves a little at the hunting period as well, and stands out of its own turn.
    Where nothing does, lines of a turn are high by teeth that differ.
    """
    share = max([one.level / seen.level for one in own if one is not None and _stands_out(one, count)], default=0.0)
    says = f"lines of one gear's turn {share:.2f} times as high as those of the hunting period"
    return Sign(Role.AGAINST, pattern(HUNTING).against[0], share >= 1 / AS_STRONG, says)


def _stands_out(seen: Impulse, count: float) -> bool:
    return bool(seen.log_chance + count <= np.log(NOISE_LIMIT)) and seen.contrast >= _SMALLEST_CONTRAST


def _place_words(seen: Impulse, halves: AngularHalves) -> str:
    if seen.log_chance == 0:
        return "no place of the turn stands out"
    return (
        f"one place of it stands {10 * np.log10(seen.contrast):.0f} dB over the mean of the turn in both halves of the record "
        f"(angle from {halves.told_by})"
    )


def _raised_words(gear: Gear) -> str:
    return f"half of pairs 3 to 10 of {gear.shaft} about {gear.mesh} and more stand over the noise"


def _too_few(name: str, turns: float, shaft: str) -> Sign:
    return Sign(
        Role.NEEDED, name, None, f"{turns:.2g} turns of {shaft} in the record, {FEWEST_TURNS:.0f} are needed: record longer"
    )


def _average_signs(halves: AngularHalves, gear: Gear, seen: Impulse) -> list[Sign]:
    """Of the average turn, not whitened: kurtosis of its residual, and whether the mesh's phase dips at the same place."""
    kurtosis, dip = pattern(CRACK).supports
    average = halves.average_turn(gear.turns)
    try:
        fm4 = float(standardised_moment(gear_signals(average, teeth=gear.teeth, harmonics=3).difference, order=4))
        phase = mesh_modulation(average, teeth=gear.teeth, harmonic=1, sidebands=max((gear.teeth - 1) // 2, 1)).phase
    except OutOfRange as reason:
        return [Sign(Role.SUPPORTING, kurtosis, None, str(reason)), Sign(Role.SUPPORTING, dip, None, str(reason))]
    usual = 3 + _KURTOSIS_SIGMA * np.sqrt(24 / (2 * seen.orders))  # of Gaussian noise, with its standard error
    at = int(np.argmax(np.abs(phase))) / phase.size
    away = abs((at - seen.place + 0.5) % 1.0 - 0.5)
    largest, common = float(np.abs(phase).max()), float(np.median(np.abs(phase)))
    dips = bool(largest >= _EXCURSION * common and away <= 2 * gear.width)
    return [
        Sign(Role.SUPPORTING, kurtosis, bool(fm4 >= usual), f"FM4 {fm4:.2g}, 3 of noise"),
        Sign(
            Role.SUPPORTING,
            dip,
            dips,
            f"the mesh's phase moves most, by {largest:.2f} rad, {360 * away:.0f} degrees from that place",
        ),
    ]


def _in_both(gear: Gear, seen: Impulse, found: dict[str, Impulse | None], count: float) -> Sign:
    other = found.get(gear.other)
    name = pattern(CRACK).against[0]
    if other is None:
        return Sign(Role.AGAINST, name, None, f"too few turns of {gear.other} in the record")
    same = _stands_out(other, count) and other.contrast >= AS_STRONG * seen.contrast
    return Sign(Role.AGAINST, name, same, f"{gear.other} {'shows' if same else 'does not show'} one place of its own turn")


def _does_not_yield(moved: MeshYield) -> Sign:
    says = "no two mesh harmonics change there: a tooth, or a knock that is none (key, coupling, a loose part)"
    if moved.yields is not None:
        does = "fade and lag there as of a tooth" if moved.yields else "do not fade and lag there as of a tooth alone"
        says = f"{moved.harmonics} mesh harmonics {does}: a chance of {moved.no_tooth:.2g} that the knock is none of a tooth"
    return Sign(Role.AGAINST, pattern(CRACK).against[3], moved.yields is not True, says)


def _several(seen: Impulse) -> Sign:
    says = f"at {seen.places} equally spaced places" if seen.places > 1 else "at one place only"
    return Sign(Role.AGAINST, pattern(CRACK).against[1], seen.places > 1, says)


def _passing(gear: Gear, halves: AngularHalves, base: float) -> Sign:
    """Whether its lines have sidebands at the carrier's turns."""
    name = "lines modulated by carrier passage"
    lines = base * np.arange(4, 24)
    log_chance = raised_log_chance(halves, np.concatenate([lines - gear.carrier_turns, lines + gear.carrier_turns]))
    seen = bool(log_chance <= np.log(NOISE_LIMIT))
    return Sign(Role.SUPPORTING, name, seen, f"sidebands one turn of {gear.carrier} away", reported(log_chance))


def _in_every_member(gear: Gear, seen: Impulse, found: dict[str, Impulse | None], count: float) -> Sign:
    others = [one for shaft, one in found.items() if shaft != gear.shaft and one is not None]
    same = any(_stands_out(other, count) and other.contrast >= AS_STRONG * seen.contrast for other in others)
    says = "another member shows one place of its own turn as well" if same else "no other member shows one place of its own turn"
    return Sign(Role.AGAINST, "same in every member", same, says)


def _decoy_share(halves: AngularHalves, gear: Gear, seen: Impulse) -> float:
    return _decoy_share_of([halves], gear.turns, gear.width, gear.teeth, seen)


def _decoy_share_of(
    views: Sequence[AngularHalves], base: float, width: float, teeth: int, seen: Impulse, *, of_two: bool = False
) -> float:
    """Share of turns of nothing that show as sure a place in one of these views, the claim itself counted among them."""
    tried, log_chance = decoys(base), seen.log_chance
    sure = np.any([as_sure(view, tried, log_chance, width=width, teeth=teeth, of_two=of_two) for view in views], axis=0)
    return float((1 + sure.sum()) / (1 + sure.size))
