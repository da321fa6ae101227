"""Lines of what stands outside the gears: belts and chains, parts that pass so many times a turn, the motor."""

import math
from collections.abc import Iterator

from gearcase.drive.line import Line
from gearcase.drive.rates import (
    belt_frequency,
    gear_mesh_frequency,
    pole_pass_frequency,
    pole_pass_under_converter,
    twice_converter_frequency,
    twice_supply_frequency,
)
from gearcase.drive.speeds import ShaftOrder
from gearcase.drive.train import Belt, Drive, Motor, weaker
from gearcase.errors import OutOfRange
from gearcase.worked import Origin

__all__ = [
    "belt_circumference",
    "belt_lines",
    "motor_lines",
    "passing_lines",
    "rated_slip",
]

_BELT_HARMONICS = 3


_PASSING_HARMONICS = 3


_CONVERTER_PAIRS = 2


_POLE_PASS_PAIRS = 2  # about the shaft's line; common practice, no source


_MOST_SLIP = 0.15  # beyond it poles, supply and speed do not belong together; common practice, no source


_UNKNOWN_SLIP = 0.02  # full-load slip of industrial induction motors is below 4 %; common practice, no source


def belt_circumference(belt: Belt) -> float:
    """Pitch circumference of the driving pulley in the unit of the belt's length: [m], or teeth [-]."""
    return belt.driver_size if belt.toothed else math.pi * belt.driver_size


def rated_slip(motor: Motor) -> tuple[float, float]:
    """Middle and half-width of how far a motor's rotor lags behind its field between no load and full: half the plate's slip. [Hz]

    Raises
    ------
    OutOfRange
        The plate's speed is not below the field's, or far from it: poles, supply and speed contradict each other.

    Examples
    --------
    >>> rated_slip(Motor("input", poles=4, supply_hz=50.0, rated_speed_hz=24.75))
    (0.125, 0.125)
    """
    field_hz = 2 * motor.supply_hz / motor.poles
    if motor.rated_speed_hz is None:
        return _UNKNOWN_SLIP * field_hz, _UNKNOWN_SLIP * field_hz
    slip = 1 - motor.rated_speed_hz / field_hz
    if not 0 <= slip < _MOST_SLIP:
        rule = (
            f"its plate's speed of {60 * motor.rated_speed_hz:.4g} rpm does not belong to {motor.poles} poles on "
            f"{motor.supply_hz:g} Hz, whose field turns at {60 * field_hz:.4g} rpm: read poles, supply and speed again"
        )
        raise OutOfRange("motor", repr(motor.shaft), rule)
    return slip * field_hz / 2, slip * field_hz / 2


def belt_lines(drive: Drive, belt: Belt, orders: dict[str, ShaftOrder]) -> Iterator[Line]:
    """Turns of the belt itself, and the meshing of a toothed one or a chain."""
    if belt.driver_shaft not in orders:
        return
    driver = orders[belt.driver_shaft]
    origin, reference = weaker(driver.origin, belt.origin), drive.reference_shaft
    if belt.length is not None:
        turns = belt_frequency(speed_hz=abs(driver.order), circumference=belt_circumference(belt), length=belt.length)
        for n in range(1, _BELT_HARMONICS + 1):
            yield Line(f"{belt.name} turn {n}x", belt.name, "belt", n, n * turns, reference, driver.spread, origin)
    if belt.toothed:
        teeth = gear_mesh_frequency(speed_hz=abs(driver.order), teeth=belt.driver_size)
        for n in range(1, _BELT_HARMONICS + 1):
            yield Line(f"{belt.name} teeth {n}x", belt.name, "passing", n, n * teeth, reference, driver.spread, origin)


def passing_lines(drive: Drive, orders: dict[str, ShaftOrder]) -> Iterator[Line]:
    for part in drive.passing_parts:
        if part.shaft not in orders or not orders[part.shaft].order:
            continue
        known = orders[part.shaft]
        origin = weaker(known.origin, part.origin)
        for n in range(1, _PASSING_HARMONICS + 1):
            order = n * part.count * abs(known.order)
            yield Line(f"{part.name} {n}x", part.name, "passing", n, order, drive.reference_shaft, known.spread, origin)


def motor_lines(drive: Drive, motor: Motor, turns: ShaftOrder) -> Iterator[Line]:
    """Twice the supply, pole pass, and its sidebands about the shaft's line. Under a converter the supply follows the speed as far
    as slip is known, its carrier and the pole pass do not.
    """
    origin, shaft, reference = weaker(turns.origin, motor.origin), abs(turns.order), drive.reference_shaft

    def line(name: str, kind: str, harmonic: int, order: float, spread: float, fixed_hz: float = 0.0) -> Line:
        return Line(f"motor {name}", "motor", kind, harmonic, order, reference, spread, origin, fixed_hz=fixed_hz)

    if not motor.converter:
        for n in (1, 2):
            yield line(f"supply {2 * n}x", "supply", n, 0.0, 0.0, n * twice_supply_frequency(supply_hz=motor.supply_hz))
        yield line("pole pass", "pole_pass", 1, -motor.poles * shaft, turns.spread, 2 * motor.supply_hz)
        yield from _beside_shaft(drive, motor, turns, origin)
        return
    slip_hz, off_hz = rated_slip(motor)
    order, lag_hz = motor.poles * shaft, motor.poles * slip_hz
    slowest = twice_converter_frequency(speed_hz=shaft * drive.speed_hz[0], poles=motor.poles, slip_hz=slip_hz)
    spread = turns.spread + motor.poles * off_hz / slowest  # relative to the line where it matters most
    for n in (1, 2):
        yield line(f"supply {2 * n}x", "supply", n, n * order, spread, n * lag_hz)
    if motor.rated_speed_hz is not None:
        rated = {"supply_hz": motor.supply_hz, "poles": motor.poles, "rated_hz": motor.rated_speed_hz}
        yield line("pole pass", "pole_pass", 1, 0.0, 1.0, pole_pass_under_converter(load=0.5, **rated))
        yield from _beside_shaft(drive, motor, turns, origin)
    if motor.carrier_hz is not None:
        for n in (1, 2):
            yield line(f"converter carrier {n}x", "converter", n, 0.0, 0.0, n * motor.carrier_hz)
        for pair in range(1, _CONVERTER_PAIRS + 1):
            for sign, text in ((-1, "-"), (1, "+")):
                name, fixed_hz = f"converter carrier 1x {text} {pair} x twice output", motor.carrier_hz + sign * pair * lag_hz
                reach = pair * (order * drive.speed_hz[1] * turns.spread + motor.poles * off_hz) / motor.carrier_hz
                yield line(name, "converter", 1, sign * pair * order, reach, fixed_hz)


def _beside_shaft(drive: Drive, motor: Motor, turns: ShaftOrder, origin: Origin) -> Iterator[Line]:
    """Sidebands of rotor bars: pole pass either side of the shaft's line, where they stand above nothing at rated speed."""
    shaft, rated = abs(turns.order), drive.rated_speed_hz
    if motor.converter:
        plate = {"supply_hz": motor.supply_hz, "poles": motor.poles, "rated_hz": motor.rated_speed_hz or 0.0}
        away = pole_pass_under_converter(load=0.5, **plate)
        follows, fixed_hz, loose_hz = 0.0, away, away  # from no load to full
    else:
        away = pole_pass_frequency(supply_hz=motor.supply_hz, poles=motor.poles, speed_hz=shaft * rated)
        behind = math.copysign(1, 2 * motor.supply_hz - motor.poles * shaft * rated)
        follows, fixed_hz, loose_hz = -behind * motor.poles * shaft, behind * 2 * motor.supply_hz, 0.0
    for pair in range(1, _POLE_PASS_PAIRS + 1):
        for sign, text in ((-1, "-"), (1, "+")):
            hz = shaft * rated + sign * pair * away
            if hz <= 0 or away == 0:
                continue
            order = shaft + sign * pair * follows
            yield Line(
                f"{motor.shaft} 1x {text} {pair} x motor pole pass",
                "motor",
                "sideband",
                1,
                order,
                drive.reference_shaft,
                (abs(order) * rated * turns.spread + pair * loose_hz) / hz,
                origin,
                sideband_pair=sign * pair,
                fixed_hz=sign * pair * fixed_hz,
                sideband_of="shaft",
                sideband_rate="pole_pass",
            )
