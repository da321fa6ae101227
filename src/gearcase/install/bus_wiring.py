"""The wires of a serial bus: how long stubs may be, what ends and biases the line, how many devices it bears, and its grounds.

Calculators: `longest_stub`, `longest_trunk`, `reflection`, `bus_resistance`, `largest_bias_resistor`, `idle_voltage`,
`unit_loads`, `common_mode_room`. `standard_resistor` names one that can be bought. `check_wiring` looks over a whole bus.
Timing stands in `gearcase.install.bus`.
"""

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from gearcase.errors import OutOfRange, above_zero
from gearcase.findings import Finding, Level
from gearcase.units import percent
from gearcase.worked import Given, Origin, Worked, work, worked_by

__all__ = [
    "ADDRESSES",
    "CLUSTER",
    "COMMON_MODE",
    "IDLE",
    "MOST_UNIT_LOADS",
    "MOST_UNIT_LOADS_BIASED",
    "SLEW_LIMITED",
    "UNKNOWN_DRIVER_STUB",
    "Bias",
    "Device",
    "Screen",
    "Splitter",
    "Termination",
    "Wiring",
    "bus_resistance",
    "check_wiring",
    "common_mode_room",
    "idle_voltage",
    "largest_bias_resistor",
    "longest_stub",
    "longest_trunk",
    "reflection",
    "standard_resistor",
    "unit_loads",
]

ADDRESSES = range(1, 248)  # Modbus over Serial Line V1.02 (from memory); 0 is broadcast, 248 to 255 are reserved
MOST_UNIT_LOADS = 32  # TIA/EIA-485-A
MOST_UNIT_LOADS_BIASED = 28  # Modbus over Serial Line V1.02 section 3.4 (from memory): bias takes the place of four devices
IDLE = 0.2  # V, receiver threshold, TIA/EIA-485-A
COMMON_MODE = (-7.0, 12.0)  # V, TIA/EIA-485-A
UNKNOWN_DRIVER_STUB = 1.0  # m, also the most with a fast driver; common practice, no source
SLEW_LIMITED = 250e-9  # s, rise time from which a driver counts as slew-limited; transceiver data sheets (from memory)
CLUSTER = 40.0  # m, shared out among the branches of one splitter; Modbus over Serial Line V1.02 section 3.4 (from memory)
_LONG_STUB, _LONG_STUB_BAUD = 20.0, 19200.0  # m: the same section; baud: common practice, no source
_UNIT_LOAD = 12000.0  # ohm, a transceiver maker's data sheet: 12 V / 1 mA
_DRIVER_OFFSET = 3.0  # V, most common-mode output of a driver, TIA/EIA-485-A (from memory)
_TRUNK, _RATE_LENGTH = 1000.0, 1e8  # m: Modbus over Serial Line V1.02 section 3.4; bit/s x m: transceiver makers' guides (memory)
_DRIVER_LOAD = 54.0  # ohm, into which a driver gives 1.5 V, TIA/EIA-485-A (from memory)
_MOST_REFLECTION = 0.15  # common practice, no source; 150 ohm on a line of 120 ohm sends back 0.11
_LIGHT = 299792458.0  # m/s, SI
_E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)  # IEC 60063


@worked_by(
    formula="L = t_rise x v x c / 10; at most 1 m with a fast driver or above 19,200 baud, else 20 m",
    unit="m",
    source="transceiver makers' guides (from memory): electrical length below a tenth of the rise time; 1 m: common practice, no"
    " source; 20 m: Modbus over Serial Line V1.02 section 3.4 (from memory)",
)
def longest_stub(*, rise_time: float, velocity_fraction: float, baud: float) -> float:
    """Longest branch off the trunk that the fastest driver's edge does not see. [m]

    Parameters
    ----------
    rise_time : float
        Of the fastest driver on the bus, from its data sheet. [s]
    velocity_fraction : float
        Propagation along the cable over that of light; 0.66 for solid polyethylene. [-]
    baud : float
        [1/s]

    Raises
    ------
    OutOfRange
        Rise time or baud not above 0, or a fraction not in (0, 1].

    Examples
    --------
    Row EX1 of ``electrical_checks.csv``:

    >>> longest_stub(rise_time=30e-9, velocity_fraction=0.66, baud=19200)
    0.59359
    """
    above_zero(rise_time=rise_time, baud=baud)
    if not 0 < velocity_fraction <= 1:
        raise OutOfRange("velocity_fraction", velocity_fraction, "above 0, at most 1")
    slow = rise_time >= SLEW_LIMITED and baud <= _LONG_STUB_BAUD
    return min(rise_time * velocity_fraction * _LIGHT / 10, _LONG_STUB if slow else UNKNOWN_DRIVER_STUB)


@worked_by(
    formula="L = min(1000 m, 1e8 bit/s m / baud)",
    unit="m",
    source="Modbus over Serial Line V1.02 section 3.4; rate x length: transceiver makers' guides (both from memory)",
)
def longest_trunk(*, baud: float) -> float:
    """Longest trunk at a baud, on AWG 26 or thicker. [m]

    Examples
    --------
    Rows EB12 and EB13 of ``electrical_checks.csv``:

    >>> longest_trunk(baud=1e6), longest_trunk(baud=9600)
    (100.0, 1000.0)
    """
    above_zero(baud=baud)
    return min(_TRUNK, _RATE_LENGTH / baud)


@worked_by(formula="r = (R - Z) / (R + Z)", unit="-", source="transmission line textbooks: reflection at a resistive end")
def reflection(*, termination: float, impedance: float) -> float:
    """Share of a wave that the end of the line sends back; 0 when the end matches the cable. [-]

    Examples
    --------
    >>> reflection(termination=120.0, impedance=120.0)
    0.0
    """
    above_zero(termination=termination, impedance=impedance)
    return (termination - impedance) / (termination + impedance)


@worked_by(
    formula="1/R = n / R_end + unit loads / 12 kohm",
    unit="ohm",
    source="parallel resistors; unit load 12 V / 1 mA: TIA/EIA-485-A as a transceiver's data sheet gives it",
)
def bus_resistance(*, termination: float, terminations: float, unit_loads: float) -> float:
    """What lies between A and B at rest. [ohm]

    Parameters
    ----------
    termination : float
        Each end's resistor. [ohm]
    terminations : float
        How many conduct at rest: 2, or 0 where a capacitor stands in series. [-]
    unit_loads : float
        Sum over the devices. [-]

    Raises
    ------
    OutOfRange
        Nothing between A and B, or a negative count.

    Examples
    --------
    Row EB05 of ``electrical_checks.csv``:

    >>> bus_resistance(termination=120.0, terminations=2, unit_loads=0)
    60.0
    """
    above_zero(termination=termination)
    if min(terminations, unit_loads) < 0 or terminations + unit_loads <= 0:
        raise OutOfRange("terminations", terminations, "0 or more, and something between A and B")
    return 1 / (terminations / termination + unit_loads / _UNIT_LOAD)


@worked_by(formula="R = R_bus / 2 x (V / V_idle - 1)", unit="ohm", source="divider: pull-up, bus and pull-down in series")
def largest_bias_resistor(*, supply: float, idle: float, bus_resistance: float) -> float:
    """Largest pull-up and pull-down, each, that still hold the resting bus at `idle`. [ohm]

    Raises
    ------
    OutOfRange
        Not 0 < idle < supply.

    Examples
    --------
    Row EP1 of ``electrical_checks.csv``:

    >>> largest_bias_resistor(supply=5.0, idle=0.2, bus_resistance=60.0)
    720.0
    """
    above_zero(idle=idle, bus_resistance=bus_resistance)
    if idle >= supply:
        raise OutOfRange("idle", idle, f"below the supply of {supply} V")
    return bus_resistance / 2 * (supply / idle - 1)


@worked_by(formula="V_idle = V x R_bus / (2 R + R_bus)", unit="V", source="divider: pull-up, bus and pull-down in series")
def idle_voltage(*, supply: float, bias_each: float, bus_resistance: float) -> float:
    """Voltage from A to B when nobody speaks; 0.2 V and more reads as rest everywhere. [V]

    Examples
    --------
    >>> idle_voltage(supply=5.0, bias_each=720.0, bus_resistance=60.0)
    0.2
    """
    above_zero(supply=supply, bias_each=bias_each, bus_resistance=bus_resistance)
    return supply * bus_resistance / (2 * bias_each + bus_resistance)


def standard_resistor(most: float) -> float:
    """Largest value of the E24 series (IEC 60063) that is not above `most`. [ohm]

    Examples
    --------
    >>> standard_resistor(720.0), standard_resistor(465.0)
    (680.0, 430.0)
    """
    above_zero(most=most)
    decade = 10.0 ** (math.floor(math.log10(most)) - 1)
    below = [step * decade for step in _E24 if step * decade <= most * (1 + 1e-12)]
    return below[-1] if below else _E24[-1] * decade / 10


@worked_by(formula="sum of devices x unit load each", unit="-", source="TIA/EIA-485-A: 32 unit loads a driver")
def unit_loads(*, devices: float, unit_load_each: float) -> float:
    """Load of so many like devices on the bus. [-]

    Examples
    --------
    Row EU1 of ``electrical_checks.csv``:

    >>> unit_loads(devices=40, unit_load_each=0.125)
    5.0
    """
    if devices < 0 or unit_load_each < 0:
        raise OutOfRange("devices", devices, "0 or more, each of 0 unit loads or more")
    return devices * unit_load_each


@worked_by(
    formula="room = min(12 V - 3 V - (ground difference + noise), 7 V - (ground difference + noise))",
    unit="V",
    source="TIA/EIA-485-A: receivers work from -7 to +12 V; a driver's common-mode output lies in 0 to 3 V (from memory)",
)
def common_mode_room(*, ground_difference: float, noise: float) -> float:
    """What is left of the receivers' common-mode range; below 0 a device goes deaf or dies. [V]

    Parameters
    ----------
    ground_difference : float
        Between the two grounds furthest apart, either sign, measured at full load. [V]
    noise : float
        Peak common-mode noise on top, e.g. of a converter. [V]

    Examples
    --------
    The standard's budget, 7 V between grounds, leaves nothing:

    >>> common_mode_room(ground_difference=7.0, noise=0.0)
    0.0
    """
    if noise < 0:
        raise OutOfRange("noise", noise, "0 V or more")
    away = abs(ground_difference) + noise
    return min(COMMON_MODE[1] - _DRIVER_OFFSET - away, -COMMON_MODE[0] - away)


class Screen(StrEnum):
    """The one rule for the cable screen on a bus; sources differ, so it is chosen and recorded."""

    ONE_END = "one end"
    BOTH_ENDS = "both ends"


@dataclass(frozen=True)
class Device:
    """A device on the bus; the controller is one too, with address None.

    `stub` is its cable from the trunk [m], `unit_load` its share of one unit load [-]. `rise_time` of its driver [s] and
    `ground_difference` to the controller's ground [V] are None while unknown. `on_converter` tells that its housing belongs to a
    drive fed by a frequency converter.
    """

    name: str
    address: int | None
    stub: float
    unit_load: float = 1.0
    rise_time: float | None = None
    ground_difference: float | None = None
    isolated: bool = False
    on_converter: bool = False


@dataclass(frozen=True)
class Splitter:
    """A joint on the trunk and the lengths of the branches that leave it, trunk cables not counted. [m]"""

    name: str
    branches: tuple[float, ...]


@dataclass(frozen=True)
class Termination:
    """A resistor across the line [ohm], where it sits, and whether a capacitor stands in series."""

    at: str
    resistance: float
    capacitor: bool = False


@dataclass(frozen=True)
class Bias:
    """Pull-up and pull-down, each [ohm], and what they pull to [V]. `at` names the one place they sit."""

    at: str
    supply: float
    each: float


@dataclass(frozen=True)
class Wiring:
    """A whole bus.

    `along` names what the trunk passes, from one end to the other, the controller included. `length` is the trunk's [m],
    `impedance` the cable's [ohm], `velocity_fraction` as in `longest_stub`, `screen_bonds` the places where the screen is earthed,
    `spare_unit_loads` what is kept free for devices to come [-]. `terminations` is None while nobody has said what ends the line.
    """

    baud: float
    along: tuple[str, ...]
    length: float
    impedance: float
    velocity_fraction: float
    devices: tuple[Device, ...]
    splitters: tuple[Splitter, ...] = ()
    terminations: tuple[Termination, ...] | None = ()
    biases: tuple[Bias, ...] = ()
    screen: Screen | None = None
    screen_bonds: tuple[str, ...] = ()
    spare_unit_loads: float = 0.0


def check_wiring(wiring: Wiring) -> tuple[Finding, ...]:
    """Everything that is wrong with a bus as drawn, each with its number and its cure.

    Rules: ``bus.address``, ``bus.unit_loads``, ``bus.length``, ``bus.stub``, ``bus.star``, ``bus.termination``, ``bus.bias``,
    ``bus.common_mode``, ``bus.screen``.

    Raises
    ------
    OutOfRange
        A number that no bus can have, e.g. a resistor of 0 ohm.
    """
    return tuple(
        finding
        for check in (_addresses, _loads, _trunk, _stubs, _stars, _ends, _bias, _grounds, _screen)
        for finding in check(wiring)
    )


def _addresses(wiring: Wiring) -> Iterator[Finding]:
    shared = Counter(device.address for device in wiring.devices if device.address is not None)
    free = [str(address) for address in ADDRESSES if address not in shared]
    for device in wiring.devices:
        if device.address is not None and device.address not in ADDRESSES:
            says = f"address {device.address} is not one of 1 to 247; free: {', '.join(free[:1]) or 'none'}"
            yield Finding(Level.BLOCKER, "bus.address", device.name, says)
    for address, count in shared.items():
        if count > 1:
            names = ", ".join(device.name for device in wiring.devices if device.address == address)
            says = f"{names} share address {address}; free: {', '.join(free[: count - 1]) or 'none'}"
            yield Finding(Level.BLOCKER, "bus.address", names, says)


def _loads(wiring: Wiring) -> Iterator[Finding]:
    most = MOST_UNIT_LOADS_BIASED if wiring.biases else MOST_UNIT_LOADS
    load = _total_load(wiring) + wiring.spare_unit_loads
    if load > most:
        why = "with bias resistors" if wiring.biases else "a driver"
        says = f"{load:g} unit loads, {most} are the most {why}: a repeater, a second bus, or devices of 1/8 unit load"
        yield Finding(Level.BLOCKER, "bus.unit_loads", "bus", says)


def _trunk(wiring: Wiring) -> Iterator[Finding]:
    most = work("longest trunk", longest_trunk, baud=_given("baud", wiring.baud, "1/s"))
    if wiring.length > most.value:
        says = f"trunk of {wiring.length:g} m, {most.value:.0f} m are the most at {wiring.baud:g} baud: a repeater or a lower baud"
        yield Finding(Level.BLOCKER, "bus.length", "trunk", says, most)


def _stub_limit(wiring: Wiring) -> tuple[float, str, Worked | None]:
    """Longest stub, why, and its working. The fastest driver decides, for its edge runs past every stub on the bus."""
    unknown = [device.name for device in wiring.devices if device.rise_time is None]
    limit, why, worked = UNKNOWN_DRIVER_STUB, f"the rise time of {', '.join(unknown)} is unknown and counts as fast", None
    known = [(device.rise_time, device.name) for device in wiring.devices if device.rise_time is not None]
    if known:
        rise_time, name = min(known)
        fastest = work(
            "longest stub",
            longest_stub,
            rise_time=_given(f"rise time of {name}", rise_time, "s"),
            velocity_fraction=_given("velocity fraction of the cable", wiring.velocity_fraction, "-"),
            baud=_given("baud", wiring.baud, "1/s"),
        )
        if not unknown or fastest.value <= limit:
            limit, why, worked = fastest.value, f"{name} drives edges of {rise_time * 1e9:.0f} ns", fastest
    return limit, why, worked


def _stubs(wiring: Wiring) -> Iterator[Finding]:
    limit, why, worked = _stub_limit(wiring)
    for device in wiring.devices:
        if device.stub > limit:
            says = (
                f"stub of {device.stub:g} m, {limit:.2g} m are the most ({why}): loop the trunk through the device, or slew-limited"
                f" drivers at {_LONG_STUB_BAUD:.0f} baud or less"
            )
            yield Finding(Level.BLOCKER, "bus.stub", device.name, says, worked)


def _stars(wiring: Wiring) -> Iterator[Finding]:
    limit, why, worked = _stub_limit(wiring)
    for splitter in wiring.splitters:
        count, longest = len(splitter.branches), max(splitter.branches, default=0.0)
        share = min(limit, CLUSTER / max(count, 1))
        if longest > share:
            shape = "star" if count > 1 else "branch"
            says = (
                f"{shape} of {count} with {longest:g} m, each may have {share:.2g} m ({why}): run the trunk from device to"
                " device and split at each one with a tee"
            )
            yield Finding(Level.BLOCKER, "bus.star", splitter.name, says, worked)


def _ends(wiring: Wiring) -> Iterator[Finding]:
    ends = (wiring.along[0], wiring.along[-1]) if wiring.along else ()
    if wiring.terminations is None:
        if ends:
            says = f"nobody has said what ends the line: {wiring.impedance:g} ohm from A to B at each end, nowhere else"
            yield Finding(Level.CAUTION, "bus.termination", ", ".join(ends), says)
        return
    found = Counter(termination.at for termination in wiring.terminations)
    for end in ends:
        if not found[end]:
            says = f"no termination at this end of the line: {wiring.impedance:g} ohm from A to B"
            yield Finding(Level.BLOCKER, "bus.termination", end, says)
    for at, count in found.items():
        if at not in ends or count > 1:
            says = f"{count} termination here, the line has one at each of its two ends: take this out or switch it off"
            yield Finding(Level.BLOCKER, "bus.termination", at, says)
    for termination in wiring.terminations:
        back = work(
            "reflection",
            reflection,
            termination=_given("termination", termination.resistance, "ohm"),
            impedance=_given("impedance of the cable", wiring.impedance, "ohm"),
        )
        if abs(back.value) > _MOST_REFLECTION:
            says = (
                f"{termination.resistance:g} ohm on a cable of {wiring.impedance:g} ohm sends back {percent(abs(back.value))}:"
                f" {wiring.impedance:g} ohm"
            )
            yield Finding(Level.CAUTION, "bus.termination", termination.at, says, back)


def _bias(wiring: Wiring) -> Iterator[Finding]:
    if len(wiring.biases) > 1:
        says = "bias resistors in more than one place: keep those at one, by habit the controller"
        yield Finding(Level.BLOCKER, "bus.bias", ", ".join(bias.at for bias in wiring.biases), says)
        return
    if not wiring.biases:
        says = f"no bias: the resting line must stand {1000 * IDLE:.0f} mV or more; fit resistors at one place, or prove the level"
        yield Finding(Level.CAUTION, "bus.bias", "bus", says)
        return
    bias, loads = wiring.biases[0], _total_load(wiring)
    at_rest = [termination.resistance for termination in wiring.terminations or () if not termination.capacitor]
    if not at_rest and not loads:
        return
    first = at_rest[0] if at_rest else wiring.impedance
    resistance = work(
        "bus at rest",
        bus_resistance,
        termination=_given("termination", first, "ohm"),
        terminations=_given("terminations like it that conduct at rest", sum(first / each for each in at_rest), "-"),
        unit_loads=_given("unit loads", loads, "-"),
    )
    supply = _given("supply of the bias", bias.supply, "V")
    each = _given("bias, each", bias.each, "ohm")
    idle = work("idle voltage", idle_voltage, supply=supply, bias_each=each, bus_resistance=resistance)
    if idle.value < IDLE:
        most = largest_bias_resistor(supply=bias.supply, idle=IDLE, bus_resistance=resistance.value)
        says = (
            f"{1000 * idle.value:.0f} mV at rest, {1000 * IDLE:.0f} mV are the least: bias resistors of"
            f" {standard_resistor(most):g} ohm each instead of {bias.each:g}"
        )
        yield Finding(Level.BLOCKER, "bus.bias", bias.at, says, idle)
    load = 1 / (sum(1 / each for each in at_rest) + 1 / (2 * bias.each))
    if load < _DRIVER_LOAD:
        says = f"ends and bias load a driver with {load:.0f} ohm, it is built for {_DRIVER_LOAD:g}: larger bias resistors"
        yield Finding(Level.CAUTION, "bus.bias", bias.at, says)


def _grounds(wiring: Wiring) -> Iterator[Finding]:
    for device in wiring.devices:
        if device.isolated:
            continue
        if device.ground_difference is not None:
            room = work(
                "room to the common-mode limit",
                common_mode_room,
                ground_difference=_given("ground difference", device.ground_difference, "V"),
                noise=_given("common-mode noise", 0.0, "V"),
            )
            if room.value < 0:
                says = (
                    f"{device.ground_difference:g} V between grounds, receivers bear {COMMON_MODE[0]:g} to {COMMON_MODE[1]:+g} V:"
                    " an isolated transceiver, or a bonding conductor"
                )
                yield Finding(Level.BLOCKER, "bus.common_mode", device.name, says, room)
                continue
        if device.on_converter:
            says = "not isolated on a drive fed by a converter: an isolated transceiver; measure between grounds at full load"
            yield Finding(Level.CAUTION, "bus.common_mode", device.name, says)


def _screen(wiring: Wiring) -> Iterator[Finding]:
    bonds = sorted(set(wiring.screen_bonds))
    if wiring.screen is None:
        says = "no screen rule chosen: earth it at one end, or all round at both ends of a bonded plant; record which"
        yield Finding(Level.CAUTION, "bus.screen", "bus", says)
    elif wiring.screen is Screen.ONE_END and len(bonds) != 1:
        says = f"the screen is earthed at {len(bonds)} places ({', '.join(bonds) or 'none'}), the rule chosen is one end"
        yield Finding(Level.CAUTION, "bus.screen", "bus", says)
    elif wiring.screen is Screen.BOTH_ENDS and wiring.along:
        for end in sorted({wiring.along[0], wiring.along[-1]} - set(bonds)):
            yield Finding(Level.CAUTION, "bus.screen", end, "the screen is not earthed at this end, the rule chosen is both ends")


def _total_load(wiring: Wiring) -> float:
    return sum(device.unit_load for device in wiring.devices)


def _given(name: str, value: float, unit: str) -> Given:
    return Given(name, value, unit, Origin.ASSUMED)
