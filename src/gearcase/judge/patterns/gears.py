"""The family of gears: every record over angle once, then teeth, runout, wear and tilted meshes; of each part the surest record.

A part that no record can show is not testable, and says why. Every gear in every record is counted as tried, so that many records
make no claim likelier.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace

from gearcase.drive.train import Drive
from gearcase.judge.patterns.angular import AngularHalves, angular_halves, mesh_rates
from gearcase.judge.patterns.catalogue import pattern
from gearcase.judge.patterns.gear_parts import Gear, gears
from gearcase.judge.patterns.mesh_levels import tilted_mesh, wear
from gearcase.judge.patterns.observed import Observed
from gearcase.judge.patterns.runout import NAME as RUNOUT
from gearcase.judge.patterns.runout import axial_shaft_line, runout
from gearcase.judge.patterns.signs import Answer, Role, Sign, Weighed, surest, weigh
from gearcase.judge.patterns.teeth import CRACK, KNOCK, damaged_teeth, hunting_teeth, planetary_teeth

__all__ = ["examine"]


def examine(drive: Drive, observed: Sequence[Observed]) -> tuple[Weighed, ...]:
    """What the patterns of gears say of all records together."""
    steady, found = [one for one in observed if one.speed_hz and one.speed_spread < 1], gears(drive)
    if not steady or not found:
        return ()
    tried, rates = len(steady) * len(found), mesh_rates(drive)
    by_part: dict[tuple[str, str], list[Weighed]] = {}
    for one in steady:
        halves = angular_halves(rates, one)
        for weighed in _of_one(found, one, halves, tried):
            by_part.setdefault((weighed.pattern, _key(weighed)), []).append(weighed)
    together = [surest(said) for said in by_part.values()]
    named = {weighed.component.partition(", in ")[0] for weighed in together if weighed.claims(CRACK)}
    together = [one for one in together if not (one.claims(KNOCK) and f"teeth on {one.component}" in named)]
    together = [_with_axial(weighed, found, steady) if weighed.pattern == RUNOUT else weighed for weighed in together]
    return (*together, *wear(found, steady), *tilted_mesh(found, steady))


def _of_one(found: Sequence[Gear], one: Observed, halves: AngularHalves | str, tried: int) -> Iterator[Weighed]:
    if isinstance(halves, str):
        for gear in found:
            name = CRACK if not gear.carrier else "planet tooth" if gear.is_planet else "ring tooth" if gear.held else "sun tooth"
            part = gear.shaft if gear.carrier else f"teeth on {gear.shaft}"
            sign = Sign(Role.NEEDED, pattern(name).needs[0], None, f"no angle can be told: {halves}")
            yield weigh(name, part, [sign], attribution=1.0)
        return
    yield from damaged_teeth(found, one, halves, tried=tried)
    yield from hunting_teeth(found, one, halves, tried=tried)
    yield from planetary_teeth(found, one, halves, tried=tried)
    yield from runout(found, one, halves, tried=tried)


def _key(weighed: Weighed) -> str:
    """Part by which records are put together: of teeth the shaft, whatever mesh shows it in one of them."""
    return weighed.component.partition(", in ")[0]


def _with_axial(weighed: Weighed, found: Sequence[Gear], steady: Sequence[Observed]) -> Weighed:
    if weighed.answer not in (Answer.CLAIMED, Answer.UNCERTAIN):
        return weighed
    turns = next(gear.turns for gear in found if weighed.component == f"{gear.shaft}, gear in {gear.mesh}")
    return replace(weighed, signs=(*weighed.signs, axial_shaft_line(steady, turns)))
