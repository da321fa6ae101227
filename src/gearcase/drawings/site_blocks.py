"""What surrounds the drive as blocks: the bus's wiring, volts, mains, the network sheet, where the cautions stand."""

from collections.abc import Iterator
from typing import Any

from gearcase.drawings.block import Block, workings

__all__ = ["caution_blocks", "site_blocks"]

_DAY = 86400.0


def site_blocks(plan: dict[str, Any]) -> Iterator[Block]:
    """Of a plan, every part that the job says something of."""
    yield from _wiring(plan["wiring"])
    yield from _power(plan["power"])
    yield from _network(plan["network"])


def caution_blocks(plan: dict[str, Any]) -> Iterator[Block]:
    """At which step of the work card each caution stands, what asks for it, and whose rule it is."""
    rows = tuple(
        (str(row["step"]), row["id"].replace("_", " "), ", ".join(row["because"]) or "every plan", row["source"])
        for row in plan["cautions"]["list"]
    )
    if rows:
        yield Block("heading", "Where the cautions stand", level=2, folds=True)
        head = ("step", "caution", "because of", "source")
        yield Block("table", head=head, rows=rows, wide=(0.5, 1.4, 2, 4), numbers=(0,))


def _wiring(bus: dict[str, Any] | None) -> Iterator[Block]:
    if bus is None:
        return
    yield Block("heading", "Wiring of the bus", level=2)
    ends = [f"{end['ohm']:g} Ω at {end['at']}" for end in bus["terminations"] or ()]
    biases = [f"{bias['each_ohm']:g} Ω each to {bias['supply_v']:g} V at {bias['at']}" for bias in bus["biases"]]
    screen = f"{bus['screen']}: {', '.join(bus['screen_bonds'])}" if bus["screen"] else "no rule chosen yet"
    spare = f", {bus['spare_unit_loads']:g} kept free" if bus["spare_unit_loads"] else ""
    rows = (
        ("trunk", f"{bus['length_m']:.1f} m, {bus['longest_trunk']['value']:.0f} m at the most: {' - '.join(bus['along'])}"),
        ("stub at most", f"{bus['longest_stub_m']:.2g} m"),
        ("ends", "; ".join(ends) or "not said yet"),
        ("bias", f"{'; '.join(biases) or 'not said yet'} (at the most {bus['standard_bias_ohm']:g} Ω each)"),
        ("screen", screen),
        ("unit loads", f"{bus['unit_loads']:g}{spare}"),
    )
    yield Block("table", head=("", "the line"), rows=rows, wide=(1, 5))
    devices = tuple(
        (
            device["name"],
            str(device["address"] or ""),
            f"{device['stub_m']:.2f}",
            f"{device['unit_load']:g}",
            "counts as fast" if device["rise_time_s"] is None else f"{1e9 * device['rise_time_s']:.0f} ns",
            "yes" if device["isolated"] else "no",
        )
        for device in bus["devices"]
    )
    head = ("device", "address", "stub, m", "unit load", "edge", "isolated")
    yield Block("table", head=head, rows=devices, wide=(2, 0.8, 0.8, 0.9, 1.2, 0.8), numbers=(1, 2, 3))
    worked = [one for one in (bus["longest_stub"], bus["longest_trunk"], bus["largest_bias"]) if one]
    yield Block("list", "Working of the bus", items=tuple(workings(worked)), folds=True)


def _power(power: dict[str, Any]) -> Iterator[Block]:
    if power["line"]:
        yield Block("heading", "Volts along the supply line", level=2)
        rows = tuple(
            (
                f"{run['start']} to {run['end']}",
                f"{run['length_m']:.1f}",
                run["wire"],
                f"{1000 * run['current_a']:.0f}",
                f"{run['volts']['value']:.2f}",
                "" if run["least_v"] is None else f"{run['least_v']:.1f}",
            )
            for run in power["line"]
        )
        head = ("run", "m", "wire", "mA at its end", "volts", "least")
        yield Block("table", head=head, rows=rows, wide=(3.4, 0.7, 1, 1.2, 0.8, 0.8), numbers=(1, 3, 4, 5))
        lowest = min(power["line"], key=lambda run: run["volts"]["value"])
        yield Block("list", f"Working of the lowest, {lowest['end']}", items=tuple(workings([lowest["volts"]])), folds=True)
    yield from _mains(power)
    entries = tuple(
        (row["for"], f"{row['kind']} {row['size']}", f"{row['hole_mm']:.1f}", row["only_by"].partition(";")[0], row["source"])
        for row in power["entries"]
    )
    if entries:
        yield Block("heading", "Entries of boxes", level=2)
        columns = ("for", "entry", "hole, mm", "only by", "source")
        yield Block("table", head=columns, rows=entries, wide=(2, 1.4, 0.8, 2.2, 3), numbers=(2,))
    nearby = tuple(
        (
            row["name"],
            "" if row["distance_m"] is None else f"{1000 * row['distance_m']:.0f}",
            f"{1000 * row['least_m']:.0f}",
            f"{1000 * row['wanted_m']:.0f}",
            row["source"],
        )
        for row in power["neighbours"]
    )
    if nearby:
        yield Block("heading", "Distance from power cables", level=2)
        columns = ("power cable", "planned, mm", "least, mm", "wanted, mm", "source")
        yield Block("table", head=columns, rows=nearby, wide=(2, 1, 0.9, 1, 3), numbers=(1, 2, 3))


def _mains(power: dict[str, Any]) -> Iterator[Block]:
    supply, branch = power["supply"], power["branch_circuit"]
    if supply:
        left = "" if supply["rated_a"] is None else f"; chosen: {supply['rated_a']:g} A"
        derated = f", {100 * supply['derating']:.0f} % of it left when hot" if supply["derating"] and left else ""
        yield Block("text", f"Supply: {supply['needed']['value']:.2f} A needed with margin{left}{derated}.")
    if branch is None:
        return
    yield Block("heading", "Branch circuit", level=2)
    yield Block("note", branch["only_by"], state="action")
    pipe = branch["conduit"]
    rows = [
        ("load", f"{branch['load_a']:.2g} A, sized for {branch['sized_for_a']:.2g} A"),
        ("conductor", f"{branch['wire']} copper, overcurrent device {branch['overcurrent_a']:g} A"),
        ("drop", f"{branch['drop']['value']:.2f} V of {branch['volts']:g} V, {100 * branch['drop_share']:.1f} %"),
    ]
    if pipe:
        rows += [
            (
                "conduit",
                f"{pipe['kind']} {pipe['trade_size']}, {pipe['wires']} wires fill {100 * pipe['fill']['value']:.0f} % of it",
            ),
            ("pull points", f"{pipe['pull_points']} for bends of {pipe['bends_deg']:.0f} degrees"),
            ("knockout", f"{pipe['hole_mm']:.1f} mm"),
        ]
    yield Block("table", head=("", "advice"), rows=tuple(rows), wide=(1, 5))
    worked = [branch["drop"], *([pipe["fill"]] if pipe else []), *([branch["load"]] if branch["load"] else [])]
    yield Block("list", "Working of the circuit", items=tuple(workings(worked)), folds=True)


def _network(sheet: dict[str, Any] | None) -> Iterator[Block]:
    if sheet is None:
        return
    yield Block("heading", "Network sheet", level=2)
    first = f" Ask first for: {sheet['ask_first']}." if sheet["ask_first"] else " All connections are approved."
    yield Block("text", f"Subnet {sheet['subnet'] or 'not given yet'}, gateway {sheet['gateway'] or 'none'}.{first}")
    hosts = tuple((host["name"], host["address"] or "not yet", host["owner"] or "nobody yet") for host in sheet["hosts"])
    if hosts:
        yield Block("table", head=("host", "address", "owner"), rows=hosts, wide=(2, 2, 2))
    rows = tuple(
        (
            f"{one['opened_by']} to {one['towards']}",
            one["service"],
            str(one["port"] or "not stated"),
            one["owner"] or "nobody yet",
            one["approval"],
            "not known" if one["lead_time_s"] is None else f"{one['lead_time_s'] / _DAY:.0f}",
        )
        for one in sheet["connections"]
    )
    if rows:
        head = ("connection", "service", "port", "owner", "approval", "lead time, days")
        yield Block("table", head=head, rows=rows, wide=(2.4, 1.3, 0.8, 1.5, 1, 1), numbers=(2, 5))
