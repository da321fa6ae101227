"""The lines of a bearing: its four rates with harmonics and sidebands, of each thing it may be.

A bearing is seen from where its load stands (`bearing_rings`). The load of a shaft's bearing stands in the housing. The load of a
planet's bearing goes round with the carrier, and so do its load zone and the pin: its cage is heard at its turns as the carrier
sees them, and so is whatever its turning ring modulates. The rates at which elements pass are the same from anywhere.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from gearcase.drive.bearings import (
    COUNT_RULE_SPREAD,
    Bearing,
    Candidate,
    CountRule,
    Geometry,
    ball_pass_frequency_inner,
    ball_pass_frequency_outer,
    cage_by_count,
    element_defect_frequency,
    fundamental_train_frequency,
    inner_race_by_count,
    outer_race_by_count,
)
from gearcase.drive.line import Line
from gearcase.drive.speeds import ShaftOrder, difference_spread, seen_from
from gearcase.drive.train import Drive, weaker
from gearcase.worked import Origin

__all__ = [
    "BEARING_HARMONICS",
    "BEARING_RATES",
    "BEARING_SIDEBAND_PAIRS",
    "PASS_RATES",
    "Rings",
    "bearing_lines",
    "bearing_order",
    "bearing_order_spread",
    "bearing_rates",
    "bearing_rings",
]

BEARING_HARMONICS = 3
BEARING_SIDEBAND_PAIRS = 2  # what a spectrum shows of a spot that goes through its load zone; common practice, no source
BEARING_RATES = {
    "outer_race": ball_pass_frequency_outer,
    "inner_race": ball_pass_frequency_inner,
    "rolling_element": element_defect_frequency,
    "cage": fundamental_train_frequency,
}
PASS_RATES = ("outer_race", "inner_race", "rolling_element")  # at which a spot strikes; the cage only modulates
_COUNT_RATES = {
    "outer_race": outer_race_by_count,
    "inner_race": inner_race_by_count,
    "cage": cage_by_count,
}  # no rule for the element
_STANDING = ShaftOrder(0.0, 0.0, Origin.CALCULATED, ())


@dataclass(frozen=True)
class Rings:
    """The rings of a bearing as its load sees them: one that stands there is of order 0.

    `carrier` is the shaft the load goes round with, and `carried` its turns; empty and None where the load stands in the housing.
    """

    inner: ShaftOrder
    outer: ShaftOrder
    carrier: str = ""
    carried: ShaftOrder | None = None

    @property
    def orders(self) -> tuple[float, float]:
        """Signed orders of inner and outer ring. [-]"""
        return self.inner.order, self.outer.order


def bearing_rings(drive: Drive, bearing: Bearing, orders: dict[str, ShaftOrder]) -> Rings | None:
    """The rings of a bearing from where its load stands; None when a ring's shaft is not reached.

    That is the carrier where one ring turns with a carrier and the other with a planet it carries, and else the housing.

    Examples
    --------
    A planet that turns 0.9 backwards round a carrier at 0.2: on its pin it turns 1.1 times backwards.

    >>> from types import SimpleNamespace
    >>> from gearcase.drive.train import Shaft
    >>> drive = SimpleNamespace(shafts=(Shaft("carrier"), Shaft("planet", carrier="carrier", count=3)))
    >>> orders = {name: ShaftOrder(order, 0.0, Origin.MEASURED, ()) for name, order in (("carrier", 0.2), ("planet", -0.9))}
    >>> bearing_rings(drive, Bearing("planet bearing", "carrier", "planet", None), orders).orders
    (0.0, -1.1)
    """
    shafts = (bearing.inner_shaft, bearing.outer_shaft)
    if any(shaft is not None and shaft not in orders for shaft in shafts):
        return None
    inner, outer = (_STANDING if shaft is None else orders[shaft] for shaft in shafts)
    carrier = next((shaft.carrier for shaft in drive.shafts if shaft.name in shafts and shaft.carrier in shafts), "")
    if not carrier:
        return Rings(inner, outer)
    frame = orders[carrier]
    return Rings(seen_from(frame, inner), seen_from(frame, outer), carrier, frame)


def bearing_rates(shape: Geometry | CountRule) -> dict[str, Callable[..., Any]]:
    """Rates that can be told of a bearing: all `BEARING_RATES`, or by its count alone those that there is a rule of thumb for.

    Examples
    --------
    >>> [kind for kind in PASS_RATES if kind in bearing_rates(CountRule(9))]
    ['outer_race', 'inner_race']
    """
    return _COUNT_RATES if isinstance(shape, CountRule) else BEARING_RATES


def bearing_order(kind: str, rings: tuple[float, float], shape: Geometry | CountRule) -> float:
    """Order of one of the `bearing_rates` of a bearing whose rings turn at these signed orders. [-]"""
    if isinstance(shape, CountRule):
        return float(_COUNT_RATES[kind](rings[0], outer_hz=rings[1], elements=shape.elements))
    return float(
        BEARING_RATES[kind](
            rings[0],
            outer_hz=rings[1],
            elements=shape.elements,
            element_diameter=shape.element_diameter,
            pitch_diameter=shape.pitch_diameter,
            contact_angle=shape.contact_angle,
        )
    )


def bearing_order_spread(kind: str, rings: tuple[float, float], shape: Geometry | CountRule) -> float:
    """Half-width of what is not known about an order of `bearing_order`, relative to it: as stated, by the rule of thumb, or by the
    ends between which an estimate lies.
    """
    if isinstance(shape, CountRule):
        return COUNT_RULE_SPREAD
    order = bearing_order(kind, rings, shape)
    if order == 0:
        return shape.spread
    return shape.spread + max((abs(bearing_order(kind, rings, end) / order - 1) for end in shape.between), default=0.0)


def bearing_lines(drive: Drive, bearing: Bearing, orders: dict[str, ShaftOrder]) -> Iterator[Line]:
    """The rates of everything it may be with their harmonics; about each the turns of the ring a spot sits on, where that ring
    turns as the load sees it, about the element's those of the cage, and about all of a planet's bearing those of the carrier.
    """
    rings = bearing_rings(drive, bearing, orders)
    if rings is None:
        return
    for candidate in bearing.candidates:
        rates = {line.kind: line for line in _rate_lines(drive, bearing, candidate, rings)}
        for line in rates.values():
            harmonics = [_harmonic(line, n) for n in range(1, BEARING_HARMONICS + 1)]
            yield from harmonics
            for harmonic in harmonics:
                yield from _sidebands(bearing, harmonic, rings, rates["cage"])


def _rate_lines(drive: Drive, bearing: Bearing, candidate: Candidate, rings: Rings) -> Iterator[Line]:
    shape = candidate.shape
    known = Origin.ESTIMATED if isinstance(shape, CountRule) else shape.origin
    turning = weaker(rings.inner.origin, rings.outer.origin)
    part = f"{bearing.name} ({candidate.name})" if candidate.name else bearing.name
    for kind in bearing_rates(shape):
        order = bearing_order(kind, rings.orders, shape)
        spread = bearing_order_spread(kind, rings.orders, shape) + _speed_spread(kind, rings, shape)
        name, origin = f"{part} {kind.replace('_', ' ')} 1x", weaker(turning, weaker(known, shape.origin))
        yield Line(name, bearing.name, kind, 1, order, drive.reference_shaft, spread, origin, candidate=candidate.name)


def _speed_spread(kind: str, rings: Rings, shape: Geometry | CountRule) -> float:
    """What the speeds of the rings leave unknown of a rate, which is a share of each: their difference, of the cage their sum."""
    of_inner, of_outer = bearing_order(kind, (1.0, 0.0), shape), bearing_order(kind, (0.0, 1.0), shape)
    against = -1 if kind == "cage" else 1
    return difference_spread(
        replace(rings.inner, order=of_inner * rings.inner.order),
        replace(rings.outer, order=against * of_outer * rings.outer.order),
    )


def _harmonic(line: Line, n: int) -> Line:
    return replace(line, name=f"{line.name.removesuffix('1x')}{n}x", harmonic=n, order=n * line.order)


def _sidebands(bearing: Bearing, line: Line, rings: Rings, cage: Line) -> Iterator[Line]:
    for shaft, rate, turns, spread, origin in _modulating(bearing, line, rings, cage):
        for pair in range(1, BEARING_SIDEBAND_PAIRS + 1):
            for sign, text in ((-1, "-"), (1, "+")):
                order = line.order + sign * pair * turns
                if not line.order or not turns or order <= 0:
                    continue
                yield replace(
                    line,
                    name=f"{line.name} {text} {pair} x {shaft or rate}",
                    kind="sideband",
                    order=order,
                    spread=(line.order * line.spread + pair * turns * spread) / order,
                    origin=weaker(line.origin, origin),
                    sideband_shaft=shaft,
                    sideband_pair=sign * pair,
                    sideband_of=line.kind,
                    sideband_rate=rate,
                )


def _modulating(bearing: Bearing, line: Line, rings: Rings, cage: Line) -> Iterator[tuple[str, str, float, float, Origin]]:
    """What modulates a rate: shaft, or rate where none does, with its order, spread and origin."""
    own = {"inner_race": (bearing.inner_shaft, rings.inner), "outer_race": (bearing.outer_shaft, rings.outer)}
    if line.kind == "rolling_element":
        yield "", "cage", cage.order, cage.spread, cage.origin
    elif line.kind in own:
        shaft, ring = own[line.kind]
        yield shaft or "", "", abs(ring.order), ring.spread, ring.origin
    if rings.carried is not None:
        yield rings.carrier, "", abs(rings.carried.order), rings.carried.spread, rings.carried.origin
