"""The lines of a bearing: its four rates with harmonics, of each thing it may be."""

import functools
from collections.abc import Iterator

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
from gearcase.drive.speeds import ShaftOrder
from gearcase.drive.train import Drive, weaker
from gearcase.worked import Origin

__all__ = [
    "BEARING_HARMONICS",
    "BEARING_RATES",
    "COUNT_RATES",
    "bearing_lines",
    "bearing_order",
    "bearing_order_spread",
    "bearing_ring_orders",
]

BEARING_HARMONICS = 3


BEARING_RATES = {
    "outer_race": ball_pass_frequency_outer,
    "inner_race": ball_pass_frequency_inner,
    "rolling_element": element_defect_frequency,
    "cage": fundamental_train_frequency,
}


COUNT_RATES = {
    "outer_race": outer_race_by_count,
    "inner_race": inner_race_by_count,
    "cage": cage_by_count,
}  # no rule for the element


def bearing_ring_orders(bearing: Bearing, orders: dict[str, ShaftOrder]) -> tuple[float, float] | None:
    """Signed orders of inner and outer ring; a held ring is 0; None when a ring's shaft is not reached."""
    rings = []
    for shaft in (bearing.inner_shaft, bearing.outer_shaft):
        if shaft is not None and shaft not in orders:
            return None
        rings.append(orders[shaft].order if shaft is not None else 0.0)
    return rings[0], rings[1]


def bearing_order(kind: str, rings: tuple[float, float], shape: Geometry | CountRule) -> float:
    """Order of one of the `BEARING_RATES`, by count alone of one of the `COUNT_RATES`, of a bearing whose rings turn at these
    signed orders.
    """
    if isinstance(shape, CountRule):
        return float(COUNT_RATES[kind](rings[0], outer_hz=rings[1], elements=shape.elements))
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
    rings = bearing_ring_orders(bearing, orders)
    if rings is None:
        return
    turning = [orders[shaft] for shaft in (bearing.inner_shaft, bearing.outer_shaft) if shaft is not None]
    for candidate in bearing.candidates:
        yield from _candidate_lines(drive, bearing, candidate, rings, turning)


def _candidate_lines(
    drive: Drive, bearing: Bearing, candidate: Candidate, rings: tuple[float, float], turning: list[ShaftOrder]
) -> Iterator[Line]:
    shape = candidate.shape
    by_count = isinstance(shape, CountRule)
    known = Origin.ESTIMATED if by_count else shape.origin
    origin = functools.reduce(weaker, (order.origin for order in turning), weaker(known, shape.origin))
    part = f"{bearing.name} ({candidate.name})" if candidate.name else bearing.name
    for kind in COUNT_RATES if by_count else BEARING_RATES:
        order = bearing_order(kind, rings, shape)
        spread = bearing_order_spread(kind, rings, shape) + max(shaft.spread for shaft in turning)
        for n in range(1, BEARING_HARMONICS + 1):
            name = f"{part} {kind.replace('_', ' ')} {n}x"
            reference = drive.reference_shaft
            yield Line(name, bearing.name, kind, n, n * order, reference, spread, origin, candidate=candidate.name)
