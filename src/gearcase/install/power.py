"""Supply, conductors and conduit: volts at the farthest device, which supply, which conductor, which pipe, which hole.

Low-voltage line: `conductor`, `resistance_at`, `voltage_drop`, `volts_left`, `least_volts`, `volts_along`, `check_volts`.
Supply: `supply_current`, `mains_current`, `check_supply`.
Mains, which only a licensed electrician may do: `branch_circuit`.
Pipe and hole: `most_fill`, `conduit_fill`, `wires_that_fit`, `conduit_for`, `pull_points`, `knockout`, `separation`.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from gearcase.errors import OutOfRange, above_zero
from gearcase.findings import Finding, Level
from gearcase.tables import Row, load
from gearcase.units import parse_wire
from gearcase.worked import Given, Origin, Worked, work, worked_by

__all__ = [
    "CONTINUOUS",
    "LICENSED",
    "MOST_BENDS",
    "MOST_DROP",
    "MOST_DROP_WITH_FEEDER",
    "BranchCircuit",
    "Conductor",
    "Conduit",
    "Knockout",
    "Load",
    "Segment",
    "Separation",
    "Supply",
    "branch_circuit",
    "check_supply",
    "check_volts",
    "conductor",
    "conduit_fill",
    "conduit_for",
    "grouping_share",
    "knockout",
    "least_volts",
    "mains_current",
    "most_fill",
    "pull_points",
    "resistance_at",
    "separation",
    "supply_current",
    "voltage_drop",
    "volts_along",
    "volts_left",
    "wire_area",
    "wires_that_fit",
]

LICENSED = "Licensed electrician only; advice to prepare the job, the local code and the electrician decide."
MOST_DROP, MOST_DROP_WITH_FEEDER = 0.03, 0.05  # NEC 210.19(A) and 215.2 informational notes (from memory)
CONTINUOUS = 1.25  # NEC 210.19 and 210.20 (from memory): load of 3 h and more; kept for metric circuits as margin
_LOW_SUPPLY = 0.15  # below 24 V dc, IEC 61131-2 (from memory)
MOST_BENDS = math.radians(360)  # between two pull points, NEC 358.26 and like sections (from memory)
_ROUND_UP = 0.8  # NEC Chapter 9 Table 1 Note 7 (from memory): a count ending in 0.8 and more is rounded up
_FILL = {1: 0.53, 2: 0.31}  # NEC Chapter 9 Table 1; three and more: 0.40
_FILL_MANY = 0.40
_INCH = 0.0254


@dataclass(frozen=True)
class Conductor:
    """A copper conductor: resistance of one way at a temperature, its coefficient there, area. [ohm/m, K, 1/K, m2]"""

    wire: str
    form: str
    resistance: float
    at: float
    coefficient: float
    area: float
    source: str


def conductor(wire: str, form: str) -> Conductor:
    """Conductor by size as named and form: ``solid`` or ``stranded`` (AWG), ``class 2`` or ``class 5`` (mm2, IEC 60228).

    Raises
    ------
    OutOfRange
        Not a wire size, or the table does not hold it; the rule names what it holds.

    Examples
    --------
    >>> 1000 * conductor("1.5 mm2", "class 5").resistance
    13.3
    """
    rows = [row for row in load("conductors") if row["form"] == form]
    if not rows:
        raise OutOfRange("form", repr(form), f"one of: {', '.join(sorted({row['form'] for row in load('conductors')}))}")
    diameter = parse_wire(wire).diameter  # so that "2.50 mm²" finds 2.5 mm2
    for row in rows:
        if math.isclose(parse_wire(row["wire"]).diameter, diameter, rel_tol=1e-9):
            return _conductor(row)
    raise OutOfRange("wire", repr(wire), f"one of the table's, {form}: {', '.join(row['wire'] for row in rows)}")


def _conductor(row: Row) -> Conductor:
    return Conductor(
        row["wire"],
        row["form"],
        float(row["ohm_per_km"]) / 1000,
        float(row["at_c"]) + 273.15,
        float(row["per_kelvin"]),
        float(row["area_mm2"]) / 1e6,
        row["source"],
    )


@worked_by(
    formula="R2 = R1 (1 + a (T2 - T1))",
    unit="ohm/m",
    source="copper: a = 0.00393 1/K at 20 degC (IEC 60028), 0.00323 1/K at 75 degC (NEC Table 8 note); from memory",
)
def resistance_at(*, resistance: float, at: float, coefficient: float, temperature: float) -> float:
    """Resistance of one way at another temperature. [ohm/m]

    Parameters
    ----------
    resistance, at, coefficient : float
        Resistance [ohm/m] at a temperature [K], and the coefficient there [1/K].
    temperature : float
        Of the conductor in service. [K]

    Raises
    ------
    OutOfRange
        Resistance not above 0, or a temperature outside -100 to 200 degC, where copper is no longer linear enough.

    Examples
    --------
    Row ET1 of ``electrical_checks.csv``:

    >>> resistance_at(resistance=1.93, at=348.15, coefficient=0.00323, temperature=313.15)
    1.7118135
    """
    above_zero(resistance=resistance)
    if not 173.15 <= temperature <= 473.15:
        raise OutOfRange("temperature", f"{temperature - 273.15:.0f} degC", "-100 to 200 degC")
    return resistance * (1 + coefficient * (temperature - at))


@worked_by(formula="U = 2 L R I", unit="V", source="Ohm's law, out and back; dc or single-phase, resistance only")
def voltage_drop(*, length: float, resistance: float, current: float) -> float:
    """Lost over a two-way run. [V]

    Parameters
    ----------
    length : float
        One way. [m]
    resistance : float
        Of one way. [ohm/m]
    current : float
        [A]

    Raises
    ------
    OutOfRange
        A negative length or current, or resistance not above 0.

    Examples
    --------
    Row EV1v of ``electrical_checks.csv``:

    >>> voltage_drop(length=60.0, resistance=13.3e-3, current=2.0)
    3.192
    """
    above_zero(resistance=resistance)
    _not_below_zero(length=length, current=current)
    return 2 * length * resistance * current


@worked_by(formula="U = supply - sum of the drops on the way", unit="V", source="Kirchhoff's voltage law")
def volts_left(*, supply: float, **drops: float) -> float:
    """Volts at a device, after the drop of each segment on the way to it. [V]

    Examples
    --------
    >>> volts_left(supply=24.0, trunk=1.5, stub=0.25)
    22.25
    """
    return supply - sum(drops.values())


@worked_by(formula="U = 0.85 x nominal", unit="V", source="IEC 61131-2, range of a 24 V dc supply: -15 % (from memory)")
def least_volts(*, nominal: float) -> float:
    """Least volts of a dc device whose sheet is silent. [V]

    Examples
    --------
    Row EL3 of ``electrical_checks.csv``:

    >>> least_volts(nominal=24.0)
    20.4
    """
    above_zero(nominal=nominal)
    return (1 - _LOW_SUPPLY) * nominal


@dataclass(frozen=True)
class Segment:
    """One run of a supply line: from where (`start`) to where (`end`), its length [m], resistance of one way as it is in service
    [ohm/m], current drawn at its end [A], and the least volts there, None where no device sits; `stub` is how far off the line the
    device sits, on the same conductors, which its own current alone passes [m].

    A device with a switching input draws more as its volts fall: give the current at its least volts.
    """

    start: str
    end: str
    length: float
    resistance: float
    current: float = 0.0
    least_volts: float | None = None
    stub: float = 0.0


def volts_along(*, supply: float, segments: Sequence[Segment], source: str = "supply") -> dict[str, Worked]:
    """Volts at the device, or the place, at the end of each segment of a branching supply line, each with its working.

    Raises
    ------
    OutOfRange
        A place that two segments feed, or one that no chain of segments joins to the source.

    Examples
    --------
    Rows EV1v and EV3v as one line of two segments, 2 A drawn at the middle and 4 A at the end:

    >>> line = [Segment("supply", "middle", 60.0, 13.3e-3, 2.0), Segment("middle", "end", 40.0, 7.98e-3, 4.0)]
    >>> {name: round(volts.value, 4) for name, volts in volts_along(supply=24.0, segments=line).items()}
    {'middle': 14.424, 'end': 11.8704}
    """
    into = _tree(segments, source)
    below = {segment.end: segment.current for segment in segments}
    ways = {segment.end: _way(segment.end, into, source) for segment in segments}
    for end, way in ways.items():
        for passed in way[:-1]:
            below[passed.end] += into[end].current
    drops = {
        segment.end: _drop(f"drop from {segment.start} to {segment.end}", "length", segment.length, segment, below[segment.end])
        for segment in segments
    }
    stubs = {
        segment.end: _drop(f"drop of the stub of {segment.end}", "stub", segment.stub, segment, segment.current)
        for segment in segments
        if segment.stub and segment.current
    }
    given = _given("supply", supply, "V")
    return {
        end: work(
            f"volts at {end}",
            volts_left,
            supply=given,
            **{f"to {passed.end}": drops[passed.end] for passed in way},
            **({"its stub": stubs[end]} if end in stubs else {}),
        )
        for end, way in ways.items()
    }


def _drop(what: str, of: str, length: float, segment: Segment, current: float) -> Worked:
    """Volts lost over a length [m] of a segment's wire, there and back, at a current [A]. [V]"""
    return work(
        what,
        voltage_drop,
        length=_given(f"{of}, one way", length, "m"),
        resistance=_given("resistance of one way", segment.resistance, "ohm/m"),
        current=_given("current", current, "A"),
    )


def _tree(segments: Sequence[Segment], source: str) -> dict[str, Segment]:
    into: dict[str, Segment] = {}
    for segment in segments:
        if segment.end in into or segment.end == source:
            raise OutOfRange("segments", repr(segment.end), "each place is fed by one segment, the source by none")
        into[segment.end] = segment
    return into


def _way(end: str, into: Mapping[str, Segment], source: str) -> list[Segment]:
    """Segments from the source to a place, in order."""
    way: list[Segment] = []
    place = end
    while place != source:
        if place not in into or len(way) > len(into):
            raise OutOfRange("segments", repr(end), f"joined to {source!r} by a chain of segments")
        way.append(into[place])
        place = into[place].start
    return way[::-1]


def check_volts(*, supply: float, segments: Sequence[Segment], source: str = "supply") -> tuple[Finding, ...]:
    """Devices that get fewer volts than they need (rule ``power.volts``), with what share of the resistance would do.

    Raises
    ------
    OutOfRange
        As `volts_along`.
    """
    volts = volts_along(supply=supply, segments=segments, source=source)
    found = []
    for segment in segments:
        if segment.least_volts is None or volts[segment.end].value >= segment.least_volts:
            continue
        here = volts[segment.end].value
        says = f"{max(here, 0.0):.1f} V of {supply:g} V arrive, {segment.least_volts:g} V are the least: "
        if segment.least_volts >= supply:
            says += "a supply of more volts"
        else:
            times = (supply - here) / (supply - segment.least_volts)
            says += f"conductors of {times:.1f} times the area all the way, or a supply nearer to it"
        found.append(Finding(Level.BLOCKER, "power.volts", segment.end, says, volts[segment.end]))
    return tuple(found)


@worked_by(formula="I = running x (1 + margin)", unit="A", source="common practice, no source: 25 % margin")
def supply_current(*, running: float, margin: float) -> float:
    """Rated current a dc supply must have at its own temperature, derated as its sheet says. [A]

    Examples
    --------
    >>> supply_current(running=2.0, margin=0.25)
    2.5
    """
    _not_below_zero(running=running, margin=margin)
    return running * (1 + margin)


@worked_by(formula="I = P / (efficiency x U x power factor)", unit="A", source="power balance; single-phase")
def mains_current(*, power: float, efficiency: float, mains: float, power_factor: float) -> float:
    """What a supply draws from the mains while giving so much. [A]

    Raises
    ------
    OutOfRange
        Efficiency or power factor not in (0, 1], or mains not above 0.

    Examples
    --------
    >>> mains_current(power=120.0, efficiency=0.9, mains=120.0, power_factor=0.95)
    1.1696
    """
    _not_below_zero(power=power)
    above_zero(mains=mains, efficiency=efficiency, power_factor=power_factor)
    for name, value in (("efficiency", efficiency), ("power_factor", power_factor)):
        if value > 1:
            raise OutOfRange(name, value, "above 0, at most 1")
    return power / (efficiency * mains * power_factor)


@dataclass(frozen=True)
class Load:
    """What a device draws while running and, for an instant, when switched on. [A]"""

    name: str
    running: float
    inrush: float


@dataclass(frozen=True)
class Supply:
    """A dc supply: rated current at 40 degC or as its sheet says, what is left of it at the cabinet's temperature (share), and what
    it gives for the time of an inrush. [A, -, A]
    """

    name: str
    rated: float
    derating: float
    peak: float


def check_supply(*, supply: Supply, loads: Sequence[Load], margin: float) -> tuple[Finding, ...]:
    """Whether a supply bears its loads, running and switched on together (rules ``power.supply``, ``power.inrush``).

    Raises
    ------
    OutOfRange
        Derating not in (0, 1].
    """
    if not 0 < supply.derating <= 1:
        raise OutOfRange("derating", supply.derating, "above 0, at most 1")
    found = []
    needed = work(
        "rated current needed",
        supply_current,
        running=_given("running current of all loads", sum(load.running for load in loads), "A"),
        margin=_given("margin", margin, "-"),
    )
    left = supply.rated * supply.derating
    if needed.value > left:
        says = (
            f"{needed.value:.2g} A with margin, it gives {left:.2g} A at its temperature: a supply rated"
            f" {needed.value / supply.derating:.2g} A or more"
        )
        found.append(Finding(Level.BLOCKER, "power.supply", supply.name, says, needed))
    inrush = sum(load.inrush for load in loads)
    if inrush > supply.peak:
        says = f"{inrush:.2g} A when all switch on together, it gives {supply.peak:.2g} A: switch them on in groups"
        found.append(Finding(Level.CAUTION, "power.inrush", supply.name, says))
    return tuple(found)


@dataclass(frozen=True)
class BranchCircuit:
    """Advice on a branch circuit: conductor, overcurrent device [A], current it is sized for [A], its ampacity [A] after the share
    `grouping` that is left of it among others in one conduit, drop, and who may do it.
    """

    wire: str
    overcurrent: float
    sized_for: float
    ampacity: float
    grouping: float
    drop: Worked
    drop_share: float
    only_by: str
    source: str


def branch_circuit(
    *,
    load_current: float,
    continuous: bool,
    length: float,
    volts: float,
    feeder_drop: float,
    system: str,
    form: str,
    temperature: float,
    current_carrying: int,
) -> BranchCircuit:
    """Smallest conductor that bears the load, 125 % of it when continuous, and loses no more than 3 %, 5 % with its feeder.

    The overcurrent device is the largest one the table lets that conductor of least ampacity have; a longer run only thickens the
    conductor, as do more than three current-carrying conductors in one conduit: what is left of its ampacity must still bear that
    device. Ambient, motor loads, short circuit and earth fault are left to the licensed electrician.

    Parameters
    ----------
    load_current, length, volts, temperature : float
        [A], one way [m], [V], of the conductor in service [K].
    feeder_drop : float
        Share of the volts already lost at the panel. [-]
    continuous : bool
        On for 3 h and more; monitoring always is.
    system : str
        ``AWG`` or ``mm2``.
    form : str
        As in `conductor`.
    current_carrying : int
        Conductors in the same conduit that carry current, its own counted; an earth does not.

    Raises
    ------
    OutOfRange
        No conductor of the table will do; an unknown system or form.

    Examples
    --------
    >>> advice = branch_circuit(
    ...     load_current=12.0,
    ...     continuous=True,
    ...     length=10.0,
    ...     volts=120.0,
    ...     feeder_drop=0.0,
    ...     system="AWG",
    ...     form="stranded",
    ...     temperature=348.15,
    ...     current_carrying=2,
    ... )
    >>> advice.wire, advice.overcurrent
    ('14 AWG', 15.0)
    """
    above_zero(load_current=load_current, length=length, volts=volts)
    _not_below_zero(feeder_drop=feeder_drop)
    most_drop = max(min(MOST_DROP, MOST_DROP_WITH_FEEDER - feeder_drop), 0.0)
    rows = [row for row in load("branch_circuits") if row["wire"].endswith(f" {system}")]
    if not rows:
        raise OutOfRange("system", repr(system), "AWG or mm2")
    sized_for = load_current * (CONTINUOUS if continuous else 1.0)
    bears = [row for row in rows if sized_for <= float(row["most_overcurrent_a"]) and sized_for <= float(row["ampacity_a"])]
    share_left = grouping_share(system=system, current_carrying=current_carrying)
    overcurrent = float(bears[0]["most_overcurrent_a"]) if bears else math.inf
    for row in bears:
        left = share_left * float(row["ampacity_a"])
        if left < overcurrent:
            continue
        kind = conductor(row["wire"], form)
        resistance = work(
            f"resistance of {row['wire']} {form}",
            resistance_at,
            resistance=_given("resistance of one way", kind.resistance, "ohm/m"),
            at=_given("at", kind.at, "K"),
            coefficient=_given("temperature coefficient", kind.coefficient, "1/K"),
            temperature=_given("conductor in service", temperature, "K"),
        )
        drop = work(
            "drop of the branch circuit",
            voltage_drop,
            length=_given("length, one way", length, "m"),
            resistance=resistance,
            current=_given("load", load_current, "A"),
        )
        if drop.value <= most_drop * volts:
            share = drop.value / volts
            return BranchCircuit(row["wire"], overcurrent, sized_for, left, share_left, drop, share, LICENSED, row["source"])
    most = max(float(row["most_overcurrent_a"]) for row in rows)
    grouped = f", {current_carrying} current-carrying conductors in one conduit" if share_left < 1 else ""
    rule = f"at most {most:g} A with margin and {most_drop:.2g} of the volts lost{grouped}: a nearer panel or a conduit of its own"
    raise OutOfRange("load_current", f"{load_current:g} A over {length:g} m", rule)


def grouping_share(*, system: str, current_carrying: int) -> float:
    """What is left of a conductor's ampacity among so many in one conduit that carry current. [-]

    Raises
    ------
    OutOfRange
        The table does not hold so many; an unknown system.

    Examples
    --------
    >>> grouping_share(system="AWG", current_carrying=3), grouping_share(system="AWG", current_carrying=4)
    (1.0, 0.8)
    """
    rows = [row for row in load("conductor_grouping") if row["system"] == system]
    for row in rows:
        if int(row["from"]) <= current_carrying <= int(row["to"]):
            return float(row["share"])
    most = max((int(row["to"]) for row in rows), default=0)
    raise OutOfRange("current-carrying conductors", current_carrying, f"1 to {most} in one conduit: spread them over several")


@worked_by(formula="53 % for one, 31 % for two, 40 % for three and more", unit="-", source="NEC Chapter 9 Table 1 (from memory)")
def most_fill(*, count: float) -> float:
    """Share of a conduit's inside that so many wires or cables may take; a cable counts as one. [-]

    Examples
    --------
    >>> most_fill(count=2)
    0.31
    """
    if count < 1:
        raise OutOfRange("count", count, "1 or more")
    return _FILL.get(int(count), _FILL_MANY)


@worked_by(formula="fill = sum of areas / inside area", unit="-", source="NEC Chapter 9 Tables 1, 4, 5")
def conduit_fill(*, areas: float, inside: float) -> float:
    """Share of a conduit's inside taken by wires of so much area over insulation. [-]

    Examples
    --------
    Row EC1 of ``electrical_checks.csv``: a cable of 0.31 in in 1/2 in EMT of 0.304 in2:

    >>> conduit_fill(areas=math.pi / 4 * 0.31**2, inside=0.304)
    0.2482788
    """
    above_zero(inside=inside)
    _not_below_zero(areas=areas)
    return areas / inside


@worked_by(
    formula="largest n with n x area <= fill allowed for n x inside area, rounded up from 0.8",
    unit="-",
    source="NEC Chapter 9 Table 1 and its Note 7 (from memory)",
)
def wires_that_fit(*, area: float, inside: float) -> float:
    """How many equal wires a conduit takes. [-]

    Examples
    --------
    Row EA1 of ``electrical_checks.csv``: 14 AWG THHN in 1/2 in EMT:

    >>> wires_that_fit(area=0.0097, inside=0.304)
    12.0
    """
    above_zero(area=area, inside=inside)
    many = inside * _FILL_MANY / area
    most = math.floor(many) + (many % 1 >= _ROUND_UP)
    if most >= 3:
        return float(most)
    return float(max((count for count in (1, 2) if area * count <= inside * most_fill(count=count)), default=0))


def wire_area(wire: str) -> float:
    """Area of a building wire over its insulation: NEC Chapter 9 Table 5, in mm2 the largest that EN 50525-2-31 allows. [m2]

    Raises
    ------
    OutOfRange
        The table does not hold it; measure its diameter.

    Examples
    --------
    >>> wire_area("14 AWG") / 0.0254**2
    0.0097
    """
    rows = load("wire_areas")
    for row in rows:
        if row["wire"] == wire:
            return float(row["area_in2"]) * _INCH**2 if row["area_in2"] else math.pi / 4 * (float(row["diameter_mm"]) / 1000) ** 2
    raise OutOfRange("wire", repr(wire), f"one of the table's: {', '.join(row['wire'] for row in rows)}; else measure its diameter")


@dataclass(frozen=True)
class Conduit:
    """A conduit: type and trade size, inside area [m2], outside diameter [m] or None where the table has none."""

    kind: str
    trade_size: str
    inside: float
    outside: float | None
    source: str


def conduit_for(*, kind: str, areas: Sequence[float]) -> tuple[Conduit, Worked]:
    """Smallest trade size of a type that takes wires or cables of these areas over insulation [m2], and its fill.

    Raises
    ------
    OutOfRange
        An unknown type, nothing to pull, or too much for the largest in the table.

    Examples
    --------
    >>> conduit, fill = conduit_for(kind="EMT", areas=[wire_area("12 AWG")] * 9)
    >>> conduit.trade_size, fill.value
    ('1/2', 0.39375)
    """
    allowed = most_fill(count=len(areas))
    sizes = _conduits(kind)
    for size in sizes:
        fill = work(
            f"fill of {kind} {size.trade_size}",
            conduit_fill,
            areas=_given("areas over insulation", sum(areas), "m2"),
            inside=_given("inside area", size.inside, "m2"),
        )
        if fill.value <= allowed:
            return size, fill
    rule = f"at most {sizes[-1].inside * allowed * 1e6:.0f} mm2 in {kind} {sizes[-1].trade_size}: two conduits"
    raise OutOfRange("areas", f"{sum(areas) * 1e6:.0f} mm2", rule)


def _conduits(kind: str) -> list[Conduit]:
    rows = [row for row in load("conduits") if row["type"] == kind]
    if not rows:
        raise OutOfRange("kind", repr(kind), f"one of: {', '.join(sorted({row['type'] for row in load('conduits')}))}")
    return [
        Conduit(
            kind,
            row["trade_size"],
            float(row["area_in2"]) * _INCH**2,
            float(row["outside_in"]) * _INCH if row["outside_in"] else None,
            row["source"],
        )
        for row in rows
    ]


@worked_by(formula="n = ceil(bends / 360 deg) - 1", unit="-", source="NEC 358.26 and like sections (from memory)")
def pull_points(*, bends: float) -> float:
    """Conduit bodies or boxes a run needs between its ends, for the sum of its bends. [-]

    Parameters
    ----------
    bends : float
        [rad]

    Examples
    --------
    Five quarter bends are one too many for one pull:

    >>> pull_points(bends=5 * math.pi / 2)
    1.0
    """
    _not_below_zero(bends=bends)
    return float(max(math.ceil(bends / MOST_BENDS - 1e-9) - 1, 0))


@dataclass(frozen=True)
class Knockout:
    """Hole for a conduit, gland or panel connector: to be aimed at, and between what limits (None where not published). [m]"""

    kind: str
    size: str
    nominal: float
    least: float | None
    most: float | None
    source: str


def knockout(kind: str, size: str) -> Knockout:
    """Hole for a ``conduit`` by trade size, a metric ``gland`` or a panel ``connector``.

    Raises
    ------
    OutOfRange
        The table does not hold it; the rule names what it holds.

    Examples
    --------
    A 1/2 in conduit wants a 7/8 in hole, a 20 mm gland one of 20.3 mm:

    >>> knockout("conduit", "1/2").nominal / 0.0254, 1000 * knockout("gland", "M20x1.5").nominal
    (0.875, 20.3)
    """
    rows = [row for row in load("knockouts") if row["kind"] == kind]
    if not rows:
        raise OutOfRange("kind", repr(kind), "conduit, gland or connector")
    for row in rows:
        if row["size"] == size:
            least, most = (float(row[key]) / 1000 if row[key] else None for key in ("least_mm", "most_mm"))
            return Knockout(kind, size, float(row["nominal_mm"]) / 1000, least, most, row["source"])
    raise OutOfRange("size", repr(size), f"one of the table's: {', '.join(row['size'] for row in rows)}")


@dataclass(frozen=True)
class Separation:
    """How far a signal cable keeps from a neighbour: at least, and better [m]. Where they must meet they cross at 90 degrees."""

    neighbour: str
    least: float
    wanted: float
    source: str


def separation(*, neighbour: str, parallel: float) -> Separation:
    """Distance of a signal cable from ``mains power`` or a ``converter motor cable`` that it follows for so far. [m]

    Raises
    ------
    OutOfRange
        An unknown neighbour, or a negative length.

    Examples
    --------
    >>> separation(neighbour="converter motor cable", parallel=4.0).least
    0.5
    """
    _not_below_zero(parallel=parallel)
    rows = [row for row in load("separations") if row["neighbour"] == neighbour]
    if not rows:
        known = dict.fromkeys(row["neighbour"] for row in load("separations"))
        raise OutOfRange("neighbour", repr(neighbour), f"one of: {', '.join(known)}")
    row = [row for row in rows if parallel >= float(row["parallel_over_m"])][-1]
    return Separation(neighbour, float(row["least_m"]), float(row["wanted_m"]), row["source"])


def _given(name: str, value: float, unit: str) -> Given:
    return Given(name, value, unit, Origin.ASSUMED)


def _not_below_zero(**values: float) -> None:
    for name, value in values.items():
        if not value >= 0:
            raise OutOfRange(name, value, "0 or more")
