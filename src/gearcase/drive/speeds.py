"""Which shaft turns how fast: the joints of a train as linear equations in the speeds of its shafts, solved exactly.

A mesh says that two pitch circles roll on each other, seen from the carrier of its axes (Willis): with signed speeds w,
teeth z, s = 1 for an external and -1 for an internal mesh,

    z_1 (w_1 - w_c) + s z_2 (w_2 - w_c) = 0

with w_c = 0 where the axes stand in the housing. Belts and given ratios are equations of two terms. Held shafts stand, the stated
shaft turns once. Joints that lead to one unknown shaft are followed from the stated one outwards, so that every speed has a way
that a person can follow; epicyclic sets are crossed from member to member, the planets left out; what is left (sets
that share their members crosswise) is solved together. Numbers are exact fractions: two ways to a shaft agree or they do not.

Calculator: `shaft_orders`, and `undetermined`, which explains the shafts it cannot reach; `carried_orders`, `seen_from`,
`difference_spread`. Model: `ShaftOrder`.
"""

import functools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import combinations

from gearcase.drive.train import Belt, Drive, Mesh, RatioLink, Shaft, mesh_carrier, weaker
from gearcase.errors import OutOfRange
from gearcase.worked import Origin

__all__ = [
    "Equation",
    "ShaftOrder",
    "carried_orders",
    "difference_spread",
    "joint_equations",
    "joint_shafts",
    "seen_from",
    "shaft_orders",
    "undetermined",
]

_SAME_RATIO = 1e-9
_SENSELESS = ("bevel", "worm")  # axes that cross: turning "the same way" has no meaning across them


@dataclass(frozen=True)
class ShaftOrder:
    """Turns of one shaft per turn of the reference shaft: negative when it turns the other way.

    Attributes
    ----------
    order : float
        0 for a shaft that stands. [-]
    spread : float
        Half-width relative to the value. [-]
    origin : Origin
        The weakest knowledge on the way, that of the stated speed included.
    path : tuple of str
        The joints crossed from the stated shaft on.
    by : tuple of str
        Those of the last step: one joint, the meshes of an epicyclic set from member to member, or all that were solved together.
    sense_known : bool
        Whether the sign means anything: not across bevel gears, worms and given ratios of which nobody has said the sense.
    """

    order: float
    spread: float
    origin: Origin
    path: tuple[str, ...]
    by: tuple[str, ...] = ()
    sense_known: bool = True


@dataclass(frozen=True)
class Equation:
    """Sum of coefficient times speed over `terms` is 0, within a relative `spread`; `names` are the joints it comes from.

    `carrier` is the shaft in whose frame gears roll, empty for the housing: where it turns, a sense that nobody knows decides how
    fast they turn and not only which way.
    """

    names: tuple[str, ...]
    terms: dict[str, Fraction]
    spread: float
    origin: Origin
    sense_known: bool
    carrier: str = ""


@dataclass(frozen=True)
class _Speed:
    """A speed as it was found: exact, with `ShaftOrder`'s other facts. Its sign holds but for the joints in `senseless`:
    speeds with the same ones may be compared and added.
    """

    value: Fraction
    spread: float
    origin: Origin
    path: tuple[str, ...]
    by: tuple[str, ...]
    senseless: frozenset[str] = frozenset()


def shaft_orders(drive: Drive) -> dict[str, ShaftOrder]:
    """Order of every shaft the model can reach from the reference shaft, held ones at 0.

    A shaft that unknown teeth, or a freedom nobody has stated, keep from being known is left out; `undetermined` says why.

    Raises
    ------
    OutOfRange
        A joint names a shaft that is not there, teeth are not whole and positive, two paths disagree, the train is locked,
        or a shaft is joined to nothing.
    """
    return dict(_orders(drive))


@functools.lru_cache(maxsize=8)  # of the drives in hand: every family of patterns asks for them anew
def _orders(drive: Drive) -> tuple[tuple[str, ShaftOrder], ...]:
    _check_names(drive)
    equations = tuple(joint_equations(drive))
    known = _stated(drive)
    _follow(known, (*equations, *_across_sets(drive, equations)), drive)
    _solve_together(known, equations, drive)
    for equation in equations:
        _check(equation, known, drive)
    return tuple(
        (name, ShaftOrder(float(speed.value), speed.spread, speed.origin, speed.path, speed.by, not speed.senseless))
        for name, speed in known.items()
    )


def undetermined(drive: Drive) -> dict[str, str]:
    """Shafts whose speed does not follow from what is stated, each with the reason and the cure in words.

    Raises
    ------
    OutOfRange
        As `shaft_orders`.
    """
    reached = shaft_orders(drive)
    open_shafts = [shaft.name for shaft in drive.shafts if shaft.name not in reached]
    if not open_shafts:
        return {}
    blind = [mesh.name for mesh in drive.meshes if not (mesh.pinion_teeth and mesh.wheel_teeth)]
    crossed = _senseless_joints(drive)
    with_senses = {name for sense in ("same", "opposite") if crossed for name in _reached(_with_senses(drive, crossed, sense))}
    by_sense = [name for name in open_shafts if name in with_senses]
    free = " and ".join(f"'{name}'" for name in open_shafts if name not in by_sense)
    if blind:
        reason = f"the teeth of {_listed(blind)} are not known: count them, or give the ratio"
    else:
        reason = f"what is stated leaves {free} free: say which part the housing holds, or give the ratio of one of them to another"
    sense = f"nobody has said how they turn across {_listed(crossed)}: say sense: same or opposite, since its speed depends on that"
    return {name: sense if name in by_sense else reason for name in open_shafts}


def _senseless_joints(drive: Drive) -> list[str]:
    """Names of the joints across which nobody has said how their shafts turn."""
    crossed = [mesh.name for mesh in drive.meshes if mesh.kind in _SENSELESS and not mesh.sense]
    return [*crossed, *(link.name for link in drive.ratio_links if not link.sense)]


def _with_senses(drive: Drive, crossed: Sequence[str], first: str) -> Drive:
    """The drive with some sense for each of these joints: the first of them as said, every other "same"."""
    said = dict.fromkeys(crossed, "same") | {crossed[0]: first}
    meshes = tuple(replace(mesh, sense=said.get(mesh.name, mesh.sense)) for mesh in drive.meshes)
    links = tuple(replace(link, sense=said.get(link.name, link.sense)) for link in drive.ratio_links)
    return replace(drive, meshes=meshes, ratio_links=links)


def _reached(drive: Drive) -> set[str]:
    """Shafts whose speeds follow; none of a train that these senses would lock."""
    try:
        return set(shaft_orders(drive))
    except OutOfRange:
        return set()


def _listed(names: Sequence[str]) -> str:
    return ", ".join(f"'{name}'" for name in names)


def joint_shafts(joint: Mesh | Belt | RatioLink) -> tuple[str, str]:
    """The two shafts a joint joins, driving first where the joint says so."""
    if isinstance(joint, Mesh):
        return joint.pinion_shaft, joint.wheel_shaft
    if isinstance(joint, Belt):
        return joint.driver_shaft, joint.driven_shaft
    return joint.fast_shaft, joint.slow_shaft


def difference_spread(one: ShaftOrder, other: ShaftOrder) -> float:
    r"""Half-width of what is not known about the difference of two signed speeds, relative to it; 0 where there is no difference.

    .. math:: s = \frac{|w_1| s_1 + |w_2| s_2}{|w_1 - w_2|}

    Both may be off at once and in opposite ways, so their reaches add; of two speeds near each other little is left to be known by.

    Examples
    --------
    Shafts at 2 and at 1.5 turns, each known within 1 %:

    >>> one, other = (ShaftOrder(order, 0.01, Origin.MEASURED, ()) for order in (2.0, 1.5))
    >>> difference_spread(one, other)
    0.07
    """
    apart = abs(one.order - other.order)
    reach = abs(one.order) * one.spread + abs(other.order) * other.spread
    return reach / apart if apart else 0.0


def seen_from(frame: ShaftOrder, shaft: ShaftOrder) -> ShaftOrder:
    """A shaft as one that turns sees it: what carries it round, or carries its load; that one itself stands.

    Examples
    --------
    A planet that turns 0.9 backwards, from its carrier at 0.2:

    >>> carrier, planet = (ShaftOrder(order, 0.0, Origin.MEASURED, ()) for order in (0.2, -0.9))
    >>> seen_from(carrier, planet).order, seen_from(carrier, carrier).order
    (-1.1, 0.0)
    """
    order, spread = shaft.order - frame.order, difference_spread(shaft, frame)
    return replace(shaft, order=order, spread=spread, origin=weaker(shaft.origin, frame.origin))


def carried_orders(drive: Drive, orders: dict[str, ShaftOrder]) -> dict[str, ShaftOrder]:
    """Turns of every shaft of `shaft_orders` about its own axis: a carried one's as its carrier sees them. One whose carrier is not
    known is left out.
    """
    known = [shaft for shaft in drive.shafts if shaft.name in orders and (not shaft.carrier or shaft.carrier in orders)]
    return {
        shaft.name: seen_from(orders[shaft.carrier], orders[shaft.name]) if shaft.carrier else orders[shaft.name] for shaft in known
    }


def _check_names(drive: Drive) -> None:
    known = [shaft.name for shaft in drive.shafts]
    joints: tuple[Mesh | Belt | RatioLink, ...] = (*drive.meshes, *drive.belts, *drive.ratio_links)
    named = [(joint.name, shaft) for joint in joints for shaft in joint_shafts(joint)]
    named += [(f"'{shaft.name}'", shaft.carrier) for shaft in drive.shafts if shaft.carrier]
    for owner, shaft in (*named, ("the stated speed", drive.reference_shaft)):
        if shaft not in known:
            raise OutOfRange("shaft", repr(shaft), f"{owner} names it, but the shafts are {', '.join(sorted(known))}")
    touched = {shaft for _, shaft in named} | {drive.reference_shaft}
    if alone := sorted(shaft.name for shaft in drive.shafts if shaft.name not in touched and not shaft.held):
        raise OutOfRange("shaft", repr(alone[0]), "is not connected to any mesh or ratio; join it or remove it")


def joint_equations(drive: Drive) -> Iterator[Equation]:
    """One for each joint whose sizes are known.

    Raises
    ------
    OutOfRange
        Teeth that are not whole and positive, or a mesh no carrier allows.
    """
    shafts = {shaft.name: shaft for shaft in drive.shafts}
    for mesh in drive.meshes:
        if mesh.pinion_teeth is None or mesh.wheel_teeth is None:
            continue
        for side, teeth in (("pinion", mesh.pinion_teeth), ("wheel", mesh.wheel_teeth)):
            if teeth < 1 or teeth != int(teeth):
                raise OutOfRange(f"{side} of {mesh.name}", teeth, "a whole number of teeth, 1 or more")
        carrier = _frame(mesh, shafts)
        if mesh.kind == "internal" and mesh.wheel_teeth <= mesh.pinion_teeth:
            rule = "a ring has more teeth than what runs in it: count again, or exchange pinion and wheel"
            raise OutOfRange("mesh", repr(mesh.name), f"{mesh.pinion_teeth} teeth inside {mesh.wheel_teeth}: {rule}")
        wheel = -mesh.wheel_teeth if mesh.kind == "internal" or mesh.sense == "same" else mesh.wheel_teeth
        terms = {mesh.pinion_shaft: Fraction(mesh.pinion_teeth), mesh.wheel_shaft: Fraction(wheel)}
        if carrier:
            terms[carrier] = -(terms[mesh.pinion_shaft] + terms[mesh.wheel_shaft])
        yield Equation((mesh.name,), terms, 0.0, mesh.origin, mesh.kind not in _SENSELESS or bool(mesh.sense), carrier)
    for belt in drive.belts:
        terms = {belt.driver_shaft: Fraction(belt.driver_size), belt.driven_shaft: -Fraction(belt.driven_size)}
        yield Equation((belt.name,), terms, belt.slip_spread, belt.origin, sense_known=True)
    for link in drive.ratio_links:
        ratio = Fraction(link.ratio) if link.sense == "opposite" else -Fraction(link.ratio)
        terms = {link.fast_shaft: Fraction(1), link.slow_shaft: ratio}
        yield Equation((link.name,), terms, link.spread / link.ratio, link.origin, bool(link.sense))


def _frame(mesh: Mesh, shafts: dict[str, Shaft]) -> str:
    pinion, wheel = shafts[mesh.pinion_shaft], shafts[mesh.wheel_shaft]
    carrier = mesh_carrier(mesh, shafts)
    if pinion.carrier and wheel.carrier and pinion.carrier != wheel.carrier:
        rule = f"its gears are carried by '{pinion.carrier}' and '{wheel.carrier}': gears that mesh ride on one"
        rule += " carrier, or one of them on none"
        raise OutOfRange("mesh", repr(mesh.name), rule)
    if carrier in (pinion.name, wheel.name):
        raise OutOfRange(
            "mesh", repr(mesh.name), f"a planet meshes with a sun, a ring or another planet, not with its carrier '{carrier}'"
        )
    return carrier


def _across_sets(drive: Drive, equations: Sequence[Equation]) -> Iterator[Equation]:
    """For each two members of an epicyclic set the planets join: their equation with the carrier, the planets left out."""
    shafts = {shaft.name: shaft for shaft in drive.shafts}
    meshes = {mesh.name: mesh for mesh in drive.meshes}
    by_carrier: dict[str, list[Equation]] = {}
    for equation in equations:
        mesh = meshes.get(equation.names[0])
        if mesh is not None and (carrier := mesh_carrier(mesh, shafts)):
            by_carrier.setdefault(carrier, []).append(equation)
    for carrier, rolling in by_carrier.items():
        members = sorted({name for eq in rolling for name in eq.terms if name != carrier and shafts[name].carrier != carrier})
        for first, second in combinations(members, 2):
            chain = _chain(first, second, rolling, carrier)
            if chain:
                ratio, crossed = chain
                terms = {first: Fraction(1), second: -ratio, carrier: ratio - 1}
                terms = {name: factor for name, factor in terms.items() if factor}  # at 1 the carrier is free of them
                names = tuple(name for eq in crossed for name in eq.names)
                yield Equation(names, terms, 0.0, _weakest(crossed), all(eq.sense_known for eq in crossed), carrier)


def _chain(first: str, second: str, rolling: Sequence[Equation], carrier: str) -> tuple[Fraction, tuple[Equation, ...]] | None:
    """Relative speed of `first` over that of `second`, by the fewest meshes."""
    reached: dict[str, tuple[Fraction, tuple[Equation, ...]]] = {second: (Fraction(1), ())}
    queue = [second]
    for here in queue:
        for equation in rolling:
            if here not in equation.terms:
                continue
            (there,) = (name for name in equation.terms if name not in (here, carrier))
            if there not in reached:
                ratio, crossed = reached[here]
                reached[there] = (-ratio * equation.terms[here] / equation.terms[there], (*crossed, equation))
                queue.append(there)
    return reached.get(first)


def _weakest(equations: Sequence[Equation]) -> Origin:
    origin = equations[0].origin
    for equation in equations[1:]:
        origin = weaker(origin, equation.origin)
    return origin


def _stated(drive: Drive) -> dict[str, _Speed]:
    known = {shaft.name: _Speed(Fraction(0), 0.0, Origin.CALCULATED, (), ()) for shaft in drive.shafts if shaft.held}
    if drive.reference_shaft in known:
        raise OutOfRange("train", repr(drive.reference_shaft), "is locked: its speed is stated, and the housing is said to hold it")
    known[drive.reference_shaft] = _Speed(Fraction(1), 0.0, drive.speed_given.origin, (), ())
    return known


def _follow(known: dict[str, _Speed], equations: Sequence[Equation], drive: Drive) -> None:
    """Solve, round by round, every equation with one unknown: each shaft by the shortest way."""
    while True:
        found: dict[str, _Speed] = {}
        for equation in equations:
            unknown = [name for name in equation.terms if name not in known]
            if len(unknown) == 1 and unknown[0] not in found and _comparable(equation, known):
                found[unknown[0]] = _solve(equation, unknown[0], known)
        if not found:
            return
        known |= found


def _solve(equation: Equation, name: str, known: dict[str, _Speed]) -> _Speed:
    """The one unknown of an equation from the others."""
    others = [(factor, known[other]) for other, factor in equation.terms.items() if other != name]
    shares = [-factor * speed.value / equation.terms[name] for factor, speed in others]
    value = sum(shares, Fraction(0))
    reach = float(sum(abs(share) * Fraction(speed.spread) for share, (_, speed) in zip(shares, others, strict=True)))
    origin = equation.origin
    for _, speed in others:
        origin = weaker(origin, speed.origin)
    before = max((speed.path for _, speed in others), key=len)
    senseless = next((speed.senseless for _, speed in others if speed.value), frozenset())
    if not equation.sense_known:
        senseless ^= frozenset(equation.names)
    spread = equation.spread + (reach / abs(float(value)) if value else 0.0)
    return _Speed(value, spread, origin, (*before, *equation.names), equation.names, senseless)


def _comparable(equation: Equation, known: dict[str, _Speed]) -> bool:
    """Whether the known speeds of an equation may be added: all that turn, turn in one sense or the other together, and gears whose
    sense nobody knows roll in a frame that stands.
    """
    if not equation.sense_known and equation.carrier and (equation.carrier not in known or known[equation.carrier].value):
        return False
    senses = {known[name].senseless for name in equation.terms if name in known and known[name].value}
    return len(senses) <= 1


def _solve_together(known: dict[str, _Speed], equations: Sequence[Equation], drive: Drive) -> None:
    """Gauss-Jordan over what is left; a shaft that stays tied to a free one stays unknown."""
    left = [equation for equation in equations if any(name not in known for name in equation.terms)]
    touching = [speed for name, speed in known.items() if any(name in equation.terms for equation in left) and speed.value]
    if any(not equation.sense_known for equation in left) or len({speed.senseless for speed in touching}) > 1:
        return
    unknown = list(dict.fromkeys(name for equation in left for name in equation.terms if name not in known))
    rows = [
        (
            {name: factor for name, factor in equation.terms.items() if name not in known},
            -sum((factor * known[name].value for name, factor in equation.terms.items() if name in known), Fraction(0)),
        )
        for equation in left
    ]
    pivots: dict[str, int] = {}
    for name in unknown:
        at = next((n for n, (terms, _) in enumerate(rows) if n not in pivots.values() and terms.get(name)), None)
        if at is None:
            continue
        pivots[name] = at
        scale = rows[at][0][name]
        rows[at] = ({key: value / scale for key, value in rows[at][0].items()}, rows[at][1] / scale)
        for n, (terms, right) in enumerate(rows):
            if n != at and terms.get(name):
                factor = terms[name]
                merged = {
                    key: terms.get(key, Fraction(0)) - factor * rows[at][0].get(key, Fraction(0)) for key in terms | rows[at][0]
                }
                rows[n] = ({key: value for key, value in merged.items() if value}, right - factor * rows[at][1])
    for n, (terms, right) in enumerate(rows):
        if not terms and n not in pivots.values() and right and _tight(left):
            names = ", ".join(f"'{name}'" for equation in left for name in equation.names)
            raise OutOfRange(
                "train", repr(unknown[0]), f"the train is locked: {names} cannot all hold while '{drive.reference_shaft}' turns"
            )
    joints = tuple(name for equation in left for name in equation.names)
    origin = _weakest(left) if left else Origin.CALCULATED
    for speed in touching:
        origin = weaker(origin, speed.origin)
    spread = sum(speed.spread for speed in touching) + sum(equation.spread for equation in left)
    before = max((speed.path for speed in touching), key=len, default=())
    senseless = touching[0].senseless if touching else frozenset()
    for name, at in pivots.items():
        if list(rows[at][0]) == [name]:
            known[name] = _Speed(rows[at][1], spread, origin, (*before, *joints), joints, senseless)


def _tight(equations: Sequence[Equation]) -> bool:
    return all(equation.spread == 0 for equation in equations)


def _check(equation: Equation, known: dict[str, _Speed], drive: Drive) -> None:
    """A joint between shafts that are all known agrees with them, within what is not known of them."""
    if not all(name in known for name in equation.terms):
        return
    if len(equation.terms) > 2 and not _comparable(equation, known):
        return  # signs that nobody knows contradict nothing
    there = max(equation.terms, key=lambda name: (len(known[name].path), name != drive.reference_shaft))
    before = known[there]
    other = _solve(equation, there, known)
    same = before.senseless == other.senseless
    one, two = (before.value, other.value) if same else (abs(before.value), abs(other.value))
    room = _SAME_RATIO + before.spread + other.spread
    if abs(one - two) <= Fraction(room) * max(abs(one), abs(two)):
        return
    raise OutOfRange("train", repr(there), _disagreement(there, (before, _by(before)), (other, _by(other)), drive.reference_shaft))


def _disagreement(there: str, one: tuple[_Speed, str], two: tuple[_Speed, str], reference: str) -> str:
    """Both ways to a shaft and what each makes of it: a train that would have to stand and turn at once is locked."""
    standing = [by for speed, by in (one, two) if not speed.value]
    turning = [(_turns(speed), by) for speed, by in (one, two) if speed.value]
    if standing and turning:
        turns, by = turning[0]
        return (
            f"the train is locked: {standing[0]} '{there}' stands, {by} it turns once in {turns} turns of '{reference}'; "
            "look again at what the housing holds"
        )
    locked = "the train is locked: " if one[0].value * two[0].value < 0 and one[0].senseless == two[0].senseless else ""
    (first, by_first), (second, by_second) = turning
    says = f"{by_first} gives {first} turns of '{reference}' to one of '{there}', {by_second} gives {second}"
    return f"{locked}two paths disagree: {says}"


def _turns(speed: _Speed) -> str:
    """Turns of the reference shaft to one, saying so where it turns the other way: a ring of three external gears locks."""
    return f"{float(1 / abs(speed.value)):.5g}{' backwards' if speed.value < 0 and not speed.senseless else ''}"


def _by(speed: _Speed) -> str:
    if speed.path:
        return "through " + ", ".join(f"'{name}'" for name in speed.path)
    return "as stated" if speed.value else "held by the housing"
