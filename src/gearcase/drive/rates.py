"""The rates a train makes, each by its published formula: speeds behind a mesh, a belt, an epicyclic set; meshing, planets, motor.

Speeds: `driven_speed`, `belt_driven_speed`, `speed_over_ratio`, `mesh_ratio`, `chained_ratio`, `member_speed`, `carrier_speed`,
`solved_speed`. Meshing: `gear_mesh_frequency`, `carried_mesh_frequency`, `hunting_tooth_frequency`,
`assembly_phase_frequency`. Planets: `planet_pass_frequency`, `member_fault_frequency`, `planet_fault_frequency`. Parts:
`passing_frequency`, `belt_frequency`.
Motor: `twice_supply_frequency`, `twice_converter_frequency`, `pole_pass_frequency`, `pole_pass_under_converter`,
`beside_carrier_frequency`.
"""

import math

from gearcase.errors import OutOfRange, above_zero
from gearcase.worked import worked_by

__all__ = [
    "assembly_phase_frequency",
    "belt_driven_speed",
    "belt_frequency",
    "beside_carrier_frequency",
    "carried_mesh_frequency",
    "carrier_speed",
    "chained_ratio",
    "driven_speed",
    "gear_mesh_frequency",
    "hunting_tooth_frequency",
    "member_fault_frequency",
    "member_speed",
    "mesh_ratio",
    "passing_frequency",
    "planet_fault_frequency",
    "planet_pass_frequency",
    "pole_pass_frequency",
    "pole_pass_under_converter",
    "solved_speed",
    "speed_over_ratio",
    "twice_converter_frequency",
    "twice_supply_frequency",
]

_WILLIS = "Willis: speeds as the carrier sees them (any machine-design text, from memory)"
_INDUCTION = "induction motor theory (from memory)"


@worked_by(formula="f_wheel = f_pinion x z_pinion / z_wheel", unit="Hz", source="definition of gear ratio")
def driven_speed(*, speed_hz: float, driver_teeth: float, driven_teeth: float) -> float:
    """Speed of the gear on the other side of a mesh, without its sign. [Hz]

    Raises
    ------
    OutOfRange
        Teeth not positive.

    Examples
    --------
    PHM Society 2009 gearbox, spur 32/96 at 30 Hz (row G06spuridler_hz of ``gear_trains.csv``):

    >>> driven_speed(speed_hz=30.0, driver_teeth=32, driven_teeth=96)
    10.0
    """
    _positive_teeth(driver_teeth=driver_teeth, driven_teeth=driven_teeth)
    return speed_hz * driver_teeth / driven_teeth


@worked_by(formula="f_driven = f_driver x d_driver / d_driven", unit="Hz", source="pitch lines run at one speed, without slip")
def belt_driven_speed(*, speed_hz: float, driver_size: float, driven_size: float) -> float:
    """Speed behind a belt or chain; sizes are pitch diameters [m] or teeth [-], both of one kind. [Hz]

    Raises
    ------
    OutOfRange
        A size not above 0.

    Examples
    --------
    >>> belt_driven_speed(speed_hz=25.0, driver_size=0.2, driven_size=0.5)
    10.0
    """
    above_zero(driver_size=driver_size, driven_size=driven_size)
    return speed_hz * driver_size / driven_size


@worked_by(formula="f_slow = f_fast / i", unit="Hz", source="definition of gear ratio")
def speed_over_ratio(*, speed_hz: float, ratio: float) -> float:
    """Speed of the slow shaft where only the ratio is known. [Hz]

    Raises
    ------
    OutOfRange
        Ratio not above 0.

    Examples
    --------
    >>> speed_over_ratio(speed_hz=25.0, ratio=20.0)
    1.25
    """
    above_zero(ratio=ratio)
    return speed_hz / ratio


@worked_by(formula="k = -z_from / z_to, external; +z_from / z_to, internal (sense -1 or 1)", unit="-", source=_WILLIS)
def mesh_ratio(*, from_teeth: float, to_teeth: float, sense: float) -> float:
    """Relative speed of one gear over that of the other, both as the carrier sees them. [-]

    Raises
    ------
    OutOfRange
        Teeth not positive, or a sense that is neither -1 nor 1.

    Examples
    --------
    >>> mesh_ratio(from_teeth=39, to_teeth=21, sense=-1)
    -1.857142857
    """
    _positive_teeth(from_teeth=from_teeth, to_teeth=to_teeth)
    if sense not in (-1, 1):
        raise OutOfRange("sense", sense, "-1 for an external mesh, 1 for an internal one")
    return sense * from_teeth / to_teeth


@worked_by(formula="k = k_1 x k_2", unit="-", source=_WILLIS)
def chained_ratio(*, first: float, second: float) -> float:
    """Ratio over two meshes in a row. [-]

    Examples
    --------
    Ring of 99 teeth to planet of 39, planet to sun of 21 (row G05 of ``gear_trains.csv``): -99/21:

    >>> to_planet = mesh_ratio(from_teeth=99, to_teeth=39, sense=1)
    >>> chained_ratio(first=to_planet, second=mesh_ratio(from_teeth=39, to_teeth=21, sense=-1))
    -4.714285714
    """
    return first * second


@worked_by(formula="f = |f_c + k (f_other - f_c)|", unit="Hz", source=_WILLIS)
def member_speed(*, other_hz: float, carrier_hz: float, ratio: float) -> float:
    """Speed of a member of an epicyclic set, without its sign, from another member's and the carrier's signed ones. [Hz]

    Examples
    --------
    Row G05sun_shaft_hz of ``gear_trains.csv``: ring held, carrier at 0.36814 Hz:

    >>> member_speed(other_hz=0.0, carrier_hz=0.3681402439, ratio=-99 / 21)
    2.10366
    """
    return abs(carrier_hz + ratio * (other_hz - carrier_hz))


@worked_by(formula="f_c = |f_1 - k f_2| / |1 - k|", unit="Hz", source=_WILLIS)
def carrier_speed(*, first_hz: float, second_hz: float, ratio: float) -> float:
    """Speed of the carrier, without its sign, from the signed speeds of two members; `ratio` is that from second to first. [Hz]

    Raises
    ------
    OutOfRange
        A ratio of 1: the two members then turn together and leave the carrier free.

    Examples
    --------
    Row G02carrier_rpm of ``gear_trains.csv``: sun 20, ring 80 held, sun at 100 rpm:

    >>> round(60 * carrier_speed(first_hz=100 / 60, second_hz=0.0, ratio=-80 / 20), 9)
    20.0
    """
    if ratio == 1:
        raise OutOfRange("ratio", ratio, "other than 1: at 1 the two members turn together and leave the carrier free")
    return abs(first_hz - ratio * second_hz) / abs(1 - ratio)


@worked_by(formula="f = f_stated x order", unit="Hz", source="the joints named in its path, as linear equations solved together")
def solved_speed(*, speed_hz: float, order: float) -> float:
    """Speed of a shaft of sets that share their members crosswise, from its order. [Hz]

    Examples
    --------
    >>> solved_speed(speed_hz=25.0, order=0.125)
    3.125
    """
    return abs(speed_hz * order)


@worked_by(formula="f_m = z x f_shaft", unit="Hz", source="definition: every tooth meets once a turn")
def gear_mesh_frequency(*, speed_hz: float, teeth: float) -> float:
    """Rate at which teeth meet: teeth of either gear times the speed of its shaft. [Hz]

    Raises
    ------
    OutOfRange
        Teeth not positive.

    Examples
    --------
    >>> gear_mesh_frequency(speed_hz=30.0, teeth=32)
    960.0
    """
    _positive_teeth(teeth=teeth)
    return speed_hz * teeth


@worked_by(formula="f_m = z x |f - f_carrier|", unit="Hz", source=_WILLIS)
def carried_mesh_frequency(*, speed_hz: float, teeth: float, carrier_hz: float) -> float:
    """Rate at which teeth of an epicyclic set meet: teeth of a gear times its speed as the carrier sees it; signed speeds. [Hz]

    Raises
    ------
    OutOfRange
        Teeth not positive.

    Examples
    --------
    Row G11mesh_hz of ``gear_trains.csv``, sun of 24 teeth at 24.6 Hz, ring of 84 held:

    >>> carried_mesh_frequency(speed_hz=24.6, teeth=24, carrier_hz=5.46666667)
    459.2
    """
    _positive_teeth(teeth=teeth)
    return abs(speed_hz - carrier_hz) * teeth


@worked_by(
    formula="f_ht = f_m / lcm(z_pinion, z_wheel)",
    unit="Hz",
    source="Foiles, Gear Frequencies Using the Euclidean Algorithm",
)
def hunting_tooth_frequency(*, mesh_hz: float, pinion_teeth: float, wheel_teeth: float) -> float:
    """Rate at which the same two teeth meet again. [Hz]

    Raises
    ------
    OutOfRange
        Teeth not positive.

    Examples
    --------
    Row G21 of ``gear_trains.csv``: 15 and 21 teeth, pinion at 1800 rpm:

    >>> hunting_tooth_frequency(mesh_hz=450.0, pinion_teeth=15, wheel_teeth=21)
    4.285714
    """
    _positive_teeth(pinion_teeth=pinion_teeth, wheel_teeth=wheel_teeth)
    return mesh_hz / math.lcm(int(pinion_teeth), int(wheel_teeth))


@worked_by(
    formula="f_ap = f_m / gcd(z_pinion, z_wheel)",
    unit="Hz",
    source="Foiles, Gear Frequencies Using the Euclidean Algorithm",
)
def assembly_phase_frequency(*, mesh_hz: float, pinion_teeth: float, wheel_teeth: float) -> float:
    """Rate at which teeth of one assembly phase meet; equals the mesh where the counts share no factor. [Hz]

    Raises
    ------
    OutOfRange
        Teeth not positive.

    Examples
    --------
    >>> assembly_phase_frequency(mesh_hz=450.0, pinion_teeth=15, wheel_teeth=21)
    150.0
    """
    _positive_teeth(pinion_teeth=pinion_teeth, wheel_teeth=wheel_teeth)
    return mesh_hz / math.gcd(int(pinion_teeth), int(wheel_teeth))


@worked_by(
    formula="f_pp = N x |f_carrier - f_frame|", unit="Hz", source="definition: every planet passes once a turn of the carrier"
)
def planet_pass_frequency(*, carrier_hz: float, planets: float, frame_hz: float = 0.0) -> float:
    """Rate at which planets pass a place on a member, the held ring as a rule. [Hz]

    Examples
    --------
    Row G05ring_fault_hz of ``gear_trains.csv``: three planets, carrier at 0.36814 Hz:

    >>> planet_pass_frequency(carrier_hz=0.3681402439, planets=3)
    1.1044207
    """
    return planets * abs(carrier_hz - frame_hz)


@worked_by(
    formula="f = N x f_m / z", unit="Hz", source="a tooth of a sun or ring meets every planet once a turn, seen from the carrier"
)
def member_fault_frequency(*, mesh_hz: float, teeth: float, planets: float) -> float:
    """Rate at which one damaged tooth of a sun or ring strikes the planets. [Hz]

    Examples
    --------
    Row G08sun_fault_order of ``gear_trains.csv``: sun 28, mesh order 21.875, four planets:

    >>> member_fault_frequency(mesh_hz=21.875, teeth=28, planets=4)
    3.125
    """
    _positive_teeth(teeth=teeth)
    return planets * mesh_hz / teeth


@worked_by(
    formula="f = f_m / z_planet", unit="Hz", source="a flank of a planet tooth meets its member once a turn, seen from the carrier"
)
def planet_fault_frequency(*, mesh_hz: float, teeth: float) -> float:
    """Rate at which one damaged flank of a planet tooth strikes; a cracked tooth strikes sun and ring, twice as often. [Hz]

    Examples
    --------
    Row G11planet_spin_rel_carrier_hz of ``gear_trains.csv``:

    >>> planet_fault_frequency(mesh_hz=459.2, teeth=30)
    15.3066667
    """
    _positive_teeth(teeth=teeth)
    return mesh_hz / teeth


@worked_by(formula="f = n x f_shaft", unit="Hz", source="definition: each passes once a turn")
def passing_frequency(*, speed_hz: float, count: float) -> float:
    """Rate at which blades, jaws, sprags, buckets, vanes or links pass. [Hz]

    Examples
    --------
    >>> passing_frequency(speed_hz=24.75, count=7)
    173.25
    """
    return count * speed_hz


@worked_by(
    formula="f = a x f_pulley / L, a the pitch circumference, L the belt's length",
    unit="Hz",
    source="the belt runs with the pitch line",
)
def belt_frequency(*, speed_hz: float, circumference: float, length: float) -> float:
    """Turns of the belt or chain itself: where a bad spot on it shows. [Hz]

    Circumference and length in one unit: pi d and m, or teeth and teeth or links.

    Raises
    ------
    OutOfRange
        A length that is not above 0.

    Examples
    --------
    >>> belt_frequency(speed_hz=25.0, circumference=0.5, length=2.5)
    5.0
    """
    above_zero(length=length)
    return circumference * speed_hz / length


@worked_by(formula="f = 2 f_supply", unit="Hz", source=_INDUCTION)
def twice_supply_frequency(*, supply_hz: float) -> float:
    """The pull of the stator's field on the core: twice a period of the supply. [Hz]

    Examples
    --------
    >>> twice_supply_frequency(supply_hz=50.0)
    100.0
    """
    return 2 * supply_hz


@worked_by(formula="2 f_out = p x (f_shaft + f_slip)", unit="Hz", source=f"{_INDUCTION}: slip in Hz follows torque")
def twice_converter_frequency(*, speed_hz: float, poles: float, slip_hz: float) -> float:
    """Twice the output frequency of a converter, from the speed it makes and how far the rotor lags behind the field. [Hz]

    Examples
    --------
    >>> twice_converter_frequency(speed_hz=24.75, poles=4, slip_hz=0.25)
    100.0
    """
    return poles * (speed_hz + slip_hz)


@worked_by(formula="f_pp = |2 f_supply - p x f_shaft|", unit="Hz", source=_INDUCTION)
def pole_pass_frequency(*, supply_hz: float, poles: float, speed_hz: float) -> float:
    """Poles times slip frequency: the distance of rotor-bar sidebands about the shaft's line. [Hz]

    Examples
    --------
    Four poles at 1485 rpm on 50 Hz: slip 0.25 Hz, times 4:

    >>> pole_pass_frequency(supply_hz=50.0, poles=4, speed_hz=24.75)
    1.0
    """
    return abs(2 * supply_hz - poles * speed_hz)


@worked_by(formula="f_pp = load x |2 f_supply - p x f_rated|", unit="Hz", source=f"{_INDUCTION}: slip follows the load")
def pole_pass_under_converter(*, supply_hz: float, poles: float, rated_hz: float, load: float) -> float:
    """Pole pass under a converter, whose output nobody has read: the plate's at the share of the rated torque. [Hz]

    Examples
    --------
    >>> pole_pass_under_converter(supply_hz=50.0, poles=4, rated_hz=24.75, load=0.5)
    0.5
    """
    return load * pole_pass_frequency(supply_hz=supply_hz, poles=poles, speed_hz=rated_hz)


@worked_by(formula="f = f_carrier + k x 2 f_out", unit="Hz", source="pulse width modulation (from memory)")
def beside_carrier_frequency(*, carrier_hz: float, twice_output_hz: float, pair: float) -> float:
    """Line beside a converter's carrier; `pair` is negative below it. [Hz]

    Examples
    --------
    >>> beside_carrier_frequency(carrier_hz=4000.0, twice_output_hz=100.0, pair=-1)
    3900.0
    """
    return carrier_hz + pair * twice_output_hz


def _positive_teeth(**teeth: float) -> None:
    for name, value in teeth.items():
        if value < 1 or value != int(value):
            raise OutOfRange(name, value, "a whole number of teeth, 1 or more")
