"""The electrics of a plan: how the bus is wired, volts along its supply, the supply, the branch circuit, entries and distances.

What only a licensed electrician may do is marked so on the work card and in the document.
"""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from gearcase.findings import Level
from gearcase.install.bus_wiring import (
    IDLE,
    UNKNOWN_DRIVER_STUB,
    Device,
    Wiring,
    bus_resistance,
    check_wiring,
    largest_bias_resistor,
    longest_stub,
    longest_trunk,
    standard_resistor,
)
from gearcase.install.power import (
    LICENSED,
    BranchCircuit,
    Load,
    Segment,
    Supply,
    branch_circuit,
    check_supply,
    check_volts,
    conductor,
    conduit_for,
    knockout,
    least_volts,
    mains_current,
    pull_points,
    resistance_at,
    separation,
    supply_current,
    volts_along,
    wire_area,
)
from gearcase.install.site import Branch, Neighbour, Run
from gearcase.job.build import Job
from gearcase.stages.planning.draft import Draft, mm
from gearcase.stages.planning.site import on_converter
from gearcase.worked import Given, Origin, Worked, work

__all__ = ["power", "terminals", "wiring"]

IMPEDANCE = 120.0  # ohm, of cable made for a serial bus, where nobody has said; common practice, no source
VELOCITY = 0.66  # of solid polyethylene, the slowest in use, where nobody has said; common practice, no source
BIAS_SUPPLY = 5.0  # V, where nobody has said
UNIT_LOAD = 1.0  # of a device whose sheet nobody has read: the most that TIA/EIA-485-A lets it have
MARGIN = 0.25  # on the current of a supply; common practice, no source
MOST_EXTRA_LOW = 60.0  # V dc, of extra-low voltage that needs no guard against touch, IEC 60364-4-41 (from memory)
MOST_USUAL = 30.0  # V, what devices of 24 V bear by most sheets; common practice, no source
CLASS_2 = 100.0  # W, of a class 2 supply up to 30 V dc, NEC Chapter 9 Table 11(B) (from memory)
MOST_DENSITY = 6e6  # A/m2 of a thin conductor in a cable with others; common practice, no source
LEAST_WIRES = 2  # of a circuit in its conduit
CONDUCTOR_HOT = 333.15  # K, of conductors where nobody has said; common practice, no source
EFFICIENCY, POWER_FACTOR = 0.85, 0.6  # of a small dc supply without correction, where nobody has said; common practice, no source
SUPPLY = "supply"
_MOTOR_CABLE = "converter motor cable"


def wiring(job: Job, draft: Draft) -> dict[str, Any] | None:
    """How the bus is wired, and everything wrong with it; None without devices."""
    bus = job.bus
    if not bus.devices:
        return None
    unknown = [device.name for device in bus.devices if device.stub is None]
    if unknown:
        says = "branch off the trunk unknown, taken as 0 m: loop the trunk through each device, or give bus.devices.stub"
        draft.find(Level.CAUTION, "stub", ", ".join(unknown), says)
    whole = _whole_bus(job)
    _passed(whole, draft)
    findings = draft.tried("wiring", "bus", lambda: check_wiring(whole))
    draft.found(findings or ())
    draft.step(
        "bus",
        f"Terminate {_ends(whole)} with {whole.impedance:g} ohm and nowhere else; bias at one place; earth the screen "
        f"{f'at {whole.screen}' if whole.screen else 'by the rule chosen'}.",
        "wire",
    )
    draft.step(
        "bus",
        "Power off: every conductor through from end to end, none to another or to earth; screen earthed where it is meant to be; "
        "polarity of the supply; D1 to D0 across both terminations, devices unplugged.",
        "dead tests",
        tool="multimeter",
        value=f"{whole.impedance / 2:g} ohm from D1 to D0",
        tolerance=f"{0.9 * whole.impedance / 2:g} to {1.1 * whole.impedance / 2:g} ohm; earth below 0.1 ohm",
    )
    draft.take(f"termination resistors {whole.impedance:g} ohm, two and one to spare", "bus")
    rise_times = [device.rise_time for device in whole.devices if device.rise_time is not None]
    stub = None
    if len(rise_times) == len(whole.devices):
        stub = work(
            "longest stub",
            longest_stub,
            rise_time=Given("rise time of the fastest driver", min(rise_times), "s", Origin.STATED),
            velocity_fraction=Given("velocity fraction of the cable", whole.velocity_fraction, "-", Origin.ASSUMED),
            baud=Given("baud", whole.baud, "1/s", Origin.ASSUMED),
        )
    trunk = work("longest trunk", longest_trunk, baud=Given("baud", whole.baud, "1/s", Origin.ASSUMED))
    return {
        "along": list(whole.along),
        "length_m": whole.length,
        "longest_trunk": trunk.as_dict(),
        "longest_stub_m": UNKNOWN_DRIVER_STUB if stub is None else stub.value,
        "longest_stub": stub.as_dict() if stub else None,
        "impedance_ohm": whole.impedance,
        "unit_loads": sum(device.unit_load for device in whole.devices),
        "spare_unit_loads": whole.spare_unit_loads,
        "terminations": None
        if whole.terminations is None
        else [{"at": end.at, "ohm": end.resistance, "capacitor": end.capacitor} for end in whole.terminations],
        "biases": [{"at": bias.at, "supply_v": bias.supply, "each_ohm": bias.each} for bias in whole.biases],
        "largest_bias": _largest_bias(whole).as_dict(),
        "standard_bias_ohm": standard_resistor(_largest_bias(whole).value),
        "screen": str(whole.screen) if whole.screen else "",
        "screen_bonds": list(whole.screen_bonds),
        "devices": [
            {
                "name": device.name,
                "address": device.address,
                "stub_m": device.stub,
                "unit_load": device.unit_load,
                "rise_time_s": device.rise_time,
                "isolated": device.isolated,
            }
            for device in whole.devices
        ],
    }


def terminals(job: Job, cables: Sequence[Mapping[str, Any]]) -> list[dict[str, str]]:
    """What is wired where: each device's signals in the order of the trunk, by the names of the serial line specification; a
    device's own terminal numbers and the colours of its wires are written in as found.

    Parameters
    ----------
    job : Job
    cables : sequence of mapping
        Of the plan in the making.
    """
    if not job.bus.devices:
        return []
    whole, carried = _whole_bus(job), {row["device"]: row["cable"] or "" for row in cables}
    names = [device.name for device in job.bus.devices]
    passed = [name for name in dict.fromkeys(whole.along) if name in names]
    before = job.bus.controller.name
    fed = {device.name for device in job.bus.devices if device.current}
    rows = []
    for name in [*passed, *(name for name in names if name not in passed)]:
        screen = "earth" if name in whole.screen_bonds else "through, earthed elsewhere"
        signals = [("D1", f"D1 of {before}"), ("D0", f"D0 of {before}"), ("common", f"common of {before}"), ("screen", screen)]
        signals += [("supply +", "supply line"), ("supply -", "supply line")] if name in fed else []
        rows += [
            {"device": name, "terminal": "", "signal": signal, "cable": carried.get(name, ""), "to": to} for signal, to in signals
        ]
        before = name
    return rows


def _passed(whole: Wiring, draft: Draft) -> None:
    """Whether what the trunk passes are the devices that hang on it."""
    devices, joints = [device.name for device in whole.devices], {joint.name for joint in whole.splitters}
    strange = [name for name in whole.along if name not in devices and name not in joints]
    left_out = [name for name in devices if name not in whole.along]
    if strange:
        says = f"the trunk passes {', '.join(strange)}, no device or joint of the bus: they are {', '.join(devices)}"
        draft.find(Level.CAUTION, "along", "bus", says)
    if left_out and not whole.splitters:  # else it may hang on a joint's branch
        says = f"the trunk does not pass {', '.join(left_out)}: put it into bus.along where it is wired"
        draft.find(Level.BLOCKER, "along", "bus", says)


def _whole_bus(job: Job) -> Wiring:
    """The bus as the job describes it, with what is assumed where it is silent."""
    bus, cable = job.bus, job.bus.cable
    converter = on_converter(job)
    devices = tuple(
        Device(
            device.name,
            device.address,
            device.stub or 0.0,
            UNIT_LOAD if device.unit_load is None else device.unit_load,
            device.rise_time,
            device.ground_difference,
            bool(device.isolated),
            converter and bool(device.point),
        )
        for device in bus.devices
    )
    return Wiring(
        baud=float(bus.baud),
        along=cable.along or (bus.controller.name, *(device.name for device in bus.devices)),
        length=sum(device.run for device in bus.devices) if cable.length is None else cable.length,
        impedance=cable.impedance or IMPEDANCE,
        velocity_fraction=cable.velocity_fraction or VELOCITY,
        devices=(bus.controller, *devices),
        splitters=cable.splitters,
        terminations=cable.terminations,
        biases=cable.biases,
        screen=cable.screen,
        screen_bonds=cable.screen_bonds,
        spare_unit_loads=cable.spare_unit_loads,
    )


def _ends(whole: Wiring) -> str:
    return f"{whole.along[0]} and {whole.along[-1]}"


def _largest_bias(whole: Wiring) -> Worked:
    """Of the bus as it should be: both ends terminated to match the cable."""
    loads = sum(device.unit_load for device in whole.devices)
    at_rest = work(
        "bus at rest",
        bus_resistance,
        termination=Given("termination", whole.impedance, "ohm", Origin.ASSUMED),
        terminations=Given("terminations", 2.0, "-", Origin.ASSUMED),
        unit_loads=Given("unit loads", loads, "-", Origin.STATED),
    )
    supply = whole.biases[0].supply if whole.biases and whole.biases[0].supply > IDLE else BIAS_SUPPLY
    return work(
        "largest bias resistor",
        largest_bias_resistor,
        supply=Given("supply of the bias", supply, "V", Origin.ASSUMED),
        idle=Given("least at rest", IDLE, "V", Origin.ASSUMED),
        bus_resistance=at_rest,
    )


def power(job: Job, draft: Draft) -> dict[str, Any]:
    """Volts along the supply line, the supply, the branch circuit, entries of boxes, distance from power cables."""
    entries, circuit = _entries(job, draft), _branch(job, draft)  # the card's order: boxes and mains first, power last
    return {
        "supply_v": job.power.volts,
        "line": _line(job, draft),
        "supply": _supply(job, draft),
        "branch_circuit": circuit,
        "entries": entries,
        "neighbours": _neighbours(job, draft),
    }


def _line(job: Job, draft: Draft) -> list[dict[str, Any]]:
    """Volts at the end of each run; empty where nothing is known to work them out from."""
    feeds = job.power
    if not job.bus.devices:
        return []
    if feeds.volts is None:
        says = "nobody has said what feeds the devices: give power.volts and power.wire, the volts at the farthest are not known"
        draft.find(Level.CAUTION, "supply", "power", says)
        return []
    silent = [device.name for device in job.bus.devices if device.current is None]
    if silent:
        says = "current unknown and counted as 0 A, so the volts shown are too high: from the data sheet into bus.devices.current"
        draft.find(Level.CAUTION, "current", ", ".join(silent), says)
    runs = feeds.runs or _along_the_bus(job)
    bare = [run.end for run in runs if not run.wire and not feeds.wire]
    if bare:
        says = "conductors of the supply line unknown: give power.wire, e.g. 18 AWG; the volts there are not known"
        draft.find(Level.CAUTION, "wire", ", ".join(bare), says)
        return []
    volts = feeds.volts
    segments = [segment for run in runs if (segment := _segment(job, run, draft))]
    if len(segments) < len(runs):
        return []
    along = draft.tried("line", "power", lambda: volts_along(supply=volts, segments=segments, source=SUPPLY))
    if along is None:
        return []
    draft.found(check_volts(supply=volts, segments=segments, source=SUPPLY))
    for run in runs:
        _thick_enough(job, run, along[run.end], draft)
    fed = {segment.end for segment in segments}
    for device in job.bus.devices:
        if device.current and device.name not in fed:
            says = f"draws {1000 * device.current:g} mA and no run of the supply line ends at it: add one to power.runs"
            draft.find(Level.CAUTION, "line", device.name, says)
    return [
        {
            "start": segment.start,
            "end": segment.end,
            "length_m": segment.length,
            "stub_m": segment.stub,
            "wire": run.wire or feeds.wire,
            "current_a": segment.current,
            "least_v": segment.least_volts,
            "volts": along[segment.end].as_dict(),
        }
        for segment, run in zip(segments, runs, strict=True)
    ]


def _thick_enough(job: Job, run: Run, volts: Worked, draft: Draft) -> None:
    """Whether a run's conductors bear what passes them, however little of the volts it loses."""
    kind = conductor(*((run.wire, run.form) if run.wire else (job.power.wire, job.power.form)))
    drop = volts.inputs[f"to {run.end}"]
    passes = drop.inputs["current"].value if isinstance(drop, Worked) else 0.0
    most = MOST_DENSITY * kind.area
    if passes > most:
        says = f"{passes:.2g} A pass its {kind.wire}, {most:.2g} A are the most that stays cool in a cable: thicker conductors"
        draft.find(Level.CAUTION, "line_current", run.end, says, drop if isinstance(drop, Worked) else None)


def _along_the_bus(job: Job) -> list[Run]:
    """The supply line beside the trunk: from device to device as the trunk passes them."""
    devices = {device.name: device for device in job.bus.devices}
    passed = [name for name in dict.fromkeys(job.bus.cable.along) if name in devices] or list(devices)
    starts = [SUPPLY, *passed]
    lead = [job.power.lead, *(0.0 for _ in passed)]
    return [Run(start, name, devices[name].run + more) for start, name, more in zip(starts, passed, lead, strict=False)]


def _segment(job: Job, run: Run, draft: Draft) -> Segment | None:
    feeds = job.power
    wire, form = (run.wire, run.form) if run.wire else (feeds.wire, feeds.form)
    device = next((device for device in job.bus.devices if device.name == run.end), None)
    current = (device.current or 0.0) if device else 0.0
    least = None
    if device and current:
        nominal = feeds.volts or 0.0
        least = least_volts(nominal=nominal) if device.least_volts is None else device.least_volts

    def build() -> Segment:
        kind = conductor(wire, form)
        hot = CONDUCTOR_HOT if feeds.temperature is None else feeds.temperature
        resistance = resistance_at(resistance=kind.resistance, at=kind.at, coefficient=kind.coefficient, temperature=hot)
        stub = (device.stub or 0.0) if device and not feeds.runs else 0.0  # runs that are stated reach the device
        return Segment(run.start, run.end, run.length, resistance, current, least, stub)

    return draft.tried("wire", run.end, build)


def _needed(job: Job) -> Worked:
    running = sum(device.current or 0.0 for device in job.bus.devices)
    margin = MARGIN if job.power.margin is None else job.power.margin
    return work(
        "rated current needed",
        supply_current,
        running=Given("running current of all devices", running, "A", Origin.STATED),
        margin=Given("margin", margin, "-", Origin.ASSUMED),
    )


def _supply(job: Job, draft: Draft) -> dict[str, Any] | None:
    """The dc supply against everything it feeds."""
    feeds = job.power
    if feeds.volts is None:
        return None
    _high(feeds.volts, draft)
    needed = _needed(job)
    if feeds.rated is None:
        says = f"rated current of the supply unknown; {needed.value:.2g} A or more at the temperature of its cabinet"
        draft.find(Level.CAUTION, "supply", "power", says, needed)
    else:
        derating = 1.0 if feeds.derating is None else feeds.derating
        if feeds.derating is None:
            says = (
                "what is left of its rating in the heat of its cabinet is not given, all of it counted: power.derating, its sheet"
            )
            draft.find(Level.CAUTION, "derating", "power", says)
        if feeds.volts * feeds.rated > CLASS_2:
            says = (
                f"it gives {feeds.volts * feeds.rated:.0f} W, more than the {CLASS_2:.0f} W of a class 2 supply: a short may burn "
                "a thin conductor; a fuse or breaker at the supply that the line's conductors bear"
            )
            draft.find(Level.CAUTION, "line_fuse", "power", says)
        peak = feeds.rated if feeds.peak is None else feeds.peak
        loads = [Load(device.name, device.current, device.inrush or device.current) for device in job.bus.devices if device.current]
        margin = MARGIN if feeds.margin is None else feeds.margin
        draft.found(check_supply(supply=Supply("power", feeds.rated, derating, peak), loads=loads, margin=margin))
    if job.bus.devices:
        draft.step(
            "power",
            f"Power the bus last: polarity and {feeds.volts:g} V at the first device, then at the last one with all devices on.",
            "tap test",
        )
    return {"rated_a": feeds.rated, "derating": feeds.derating, "needed": needed.as_dict()}


def _high(volts: float, draft: Draft) -> None:
    """A supply of more volts than the devices of such a bus bear, or than may be touched."""
    if volts > MOST_EXTRA_LOW:
        says = f"{volts:g} V dc is no extra-low voltage, which ends at {MOST_EXTRA_LOW:g} V: it may kill, and what it feeds: 24 V"
        draft.find(Level.BLOCKER, "supply_volts", "power", says)
    elif volts > MOST_USUAL:
        says = f"{volts:g} V, most devices of 24 V bear {MOST_USUAL:g} V: hold it against the sheet of every one of them"
        draft.find(Level.CAUTION, "supply_volts", "power", says)


def _branch(job: Job, draft: Draft) -> dict[str, Any] | None:
    """Advice on the circuit from the panel, for the licensed electrician."""
    branch = job.power.branch
    if branch is None:
        return None
    load = _load(job, branch)
    if not load.value:
        says = "its load is unknown: give power.branch_circuit.load, or power.volts and the currents of the devices"
        draft.find(Level.CAUTION, "branch_circuit", "power", says)
        return None
    if branch.conduit and branch.wires < LEAST_WIRES:
        says = f"{branch.wires} wire is no circuit: there and back are {LEAST_WIRES}, and the earth unless the pipe itself is it"
        draft.find(Level.BLOCKER, "branch_wires", "power", says)
        return None
    hot = CONDUCTOR_HOT if job.power.temperature is None else job.power.temperature
    advice = draft.tried(
        "branch_circuit",
        "power",
        lambda: branch_circuit(
            load_current=load.value,
            continuous=True,
            length=branch.length,
            volts=branch.volts,
            feeder_drop=branch.feeder_drop,
            system=branch.system,
            form=branch.form,
            temperature=hot,
            current_carrying=max(1, branch.wires - 1) if branch.conduit else 2,  # one of the wires is the earth
        ),
    )
    if advice is None:
        return None
    pipe = _conduit(branch, advice, draft) if branch.conduit else None
    through = f" in {pipe['kind']} {pipe['trade_size']}" if pipe else ""
    draft.step(
        "power",
        f"Circuit of {branch.volts:g} V from the panel, {branch.length:g} m{through}: {advice.wire} copper, overcurrent device "
        f"{advice.overcurrent:g} A, labelled at the panel with the tag of the drive.",
        "mains",
        only_by=LICENSED,
    )
    return {
        "volts": branch.volts,
        "length_m": branch.length,
        "load": load.as_dict() if isinstance(load, Worked) else None,
        "load_a": load.value,
        "wire": advice.wire,
        "overcurrent_a": advice.overcurrent,
        "sized_for_a": advice.sized_for,
        "ampacity_a": advice.ampacity,
        "grouping": advice.grouping,
        "drop": advice.drop.as_dict(),
        "drop_share": advice.drop_share,
        "conduit": pipe,
        "only_by": advice.only_by,
        "source": advice.source,
    }


def _load(job: Job, branch: Branch) -> Given | Worked:
    """What the circuit bears: as stated, else what the dc supply takes from the mains at its needed current."""
    if branch.load is not None or job.power.volts is None:
        return Given("load", branch.load or 0.0, "A", Origin.STATED)
    return work(
        "load of the branch circuit",
        mains_current,
        power=Given("output of the dc supply", job.power.volts * _needed(job).value, "W", Origin.CALCULATED),
        efficiency=Given("efficiency", EFFICIENCY, "-", Origin.ASSUMED),
        mains=Given("mains", branch.volts, "V", Origin.STATED),
        power_factor=Given("power factor", POWER_FACTOR, "-", Origin.ASSUMED),
    )


def _conduit(branch: Branch, advice: BranchCircuit, draft: Draft) -> dict[str, Any] | None:
    def build() -> dict[str, Any]:
        conduit, fill = conduit_for(kind=branch.conduit, areas=[wire_area(advice.wire)] * branch.wires)
        hole = knockout("conduit", conduit.trade_size)
        return {
            "kind": conduit.kind,
            "trade_size": conduit.trade_size,
            "wires": branch.wires,
            "fill": fill.as_dict(),
            "pull_points": int(pull_points(bends=branch.bends)),
            "bends_deg": math.degrees(branch.bends),
            "hole_mm": 1000 * hole.nominal,
            "source": conduit.source,
        }

    pipe = draft.tried("conduit", "power", build)
    if pipe:
        bends = f"{pipe['bends_deg']:.0f} degrees of bends" + (
            f", {pipe['pull_points']} pull points" if pipe["pull_points"] else ""
        )
        draft.step(
            "power",
            f"Run {pipe['kind']} {pipe['trade_size']} from the panel to the enclosure, {branch.length:g} m with {bends}; ream its "
            "ends, bushings on before a wire goes in.",
            "conduit",
            only_by=LICENSED,
            value=f"knockout {pipe['hole_mm']:.1f} mm",
        )
    if pipe and pipe["pull_points"]:
        says = (
            f"bends of {pipe['bends_deg']:.0f} degrees, 360 are the most between two pull points: {pipe['pull_points']} conduit "
            "bodies or boxes on the way"
        )
        draft.find(Level.CAUTION, "conduit", "power", says)
    return pipe


def _entries(job: Job, draft: Draft) -> list[dict[str, Any]]:
    """The hole for each conduit, gland or connector."""
    rows = []
    for entry in job.power.entries:
        hole = draft.tried("entry", entry.name, lambda entry=entry: knockout(entry.kind, entry.size))  # type: ignore[misc]
        if hole is None:
            continue
        only_by = LICENSED if entry.kind == "conduit" else ""
        box = f"Punch {mm(hole.nominal)} for {entry.kind} {entry.size}; deburr."
        draft.step(entry.name, box, "conduit" if only_by else "prepare", only_by=only_by)
        draft.take(f"{entry.kind} fitting {entry.size}" if only_by else f"{entry.kind} {entry.size}", entry.name)
        draft.take(f"punch {mm(hole.nominal)} for {entry.kind} {entry.size}", entry.name)
        rows.append(
            {
                "for": entry.name,
                "kind": entry.kind,
                "size": entry.size,
                "hole_mm": 1000 * hole.nominal,
                "least_mm": None if hole.least is None else 1000 * hole.least,
                "most_mm": None if hole.most is None else 1000 * hole.most,
                "only_by": only_by,
                "source": hole.source,
            }
        )
    return rows


def _neighbours(job: Job, draft: Draft) -> list[dict[str, Any]]:
    """Every power cable nearby; a drive on a converter has one, whether or not anybody has said where."""
    if on_converter(job) and job.bus.devices and not any(one.kind == _MOTOR_CABLE for one in job.power.neighbours):
        keep = separation(neighbour=_MOTOR_CABLE, parallel=math.inf)
        says = (
            f"a converter feeds the drive, and nobody has said where its motor cable runs: keep {mm(keep.wanted)} from it, cross "
            "it square; give it in power.neighbours with how far the signal cables follow it"
        )
        draft.find(Level.CAUTION, "separation", "power", says)
    return [row for one in job.power.neighbours if (row := _neighbour(one, draft))]


def _neighbour(one: Neighbour, draft: Draft) -> dict[str, Any] | None:
    """How far the signal cables keep from a power cable, and whether they do."""
    keep = draft.tried("separation", one.name, lambda: separation(neighbour=one.kind, parallel=one.parallel))
    if keep is None:
        return None
    rule = f"at least {mm(keep.least)}, better {mm(keep.wanted)}, along {one.parallel:g} m; cross it square"
    if one.distance is None:
        draft.find(Level.CAUTION, "separation", one.name, f"distance of the signal cables unknown: {rule}")
    elif one.distance < keep.least:
        draft.find(Level.BLOCKER, "separation", one.name, f"signal cables at {mm(one.distance)}: {rule}; another route")
    elif one.distance < keep.wanted:
        draft.find(Level.NOTE, "separation", one.name, f"signal cables at {mm(one.distance)}: {rule}")
    return {
        "name": one.name,
        "kind": one.kind,
        "parallel_m": one.parallel,
        "distance_m": one.distance,
        "least_m": keep.least,
        "wanted_m": keep.wanted,
        "source": keep.source,
    }
