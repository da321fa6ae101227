"""The drawings a plan's result keeps beside it: which files, by name, and what is in each.

A drawing is made only from what the plan gives: without a stud there is no drill template, without a schedule no chart. Keys of the
document beyond those of ``plan/1`` today are told in the modules that draw them: ``routes``, ``power``, ``terminals``, ``plates``,
``schedule``.
"""

from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

from gearcase.drawings.chart import schedule_svg
from gearcase.drawings.drafting import TitleBlock
from gearcase.drawings.face import face_svg
from gearcase.drawings.network_sheet import network_csv
from gearcase.drawings.plate import plate_dxf, plate_svg
from gearcase.drawings.solid import solid_svg, spans_a_box
from gearcase.drawings.template import is_drilled, template_pdf
from gearcase.drawings.wiring import bus_svg, power_svg, terminals_svg
from gearcase.stages.plan import HELD

__all__ = ["plan_drawings", "plan_files"]

_WIRED = ("unit_load", "stub_m", "isolated")
_PAPER = "A4"  # what any office prints


def plan_files(document: dict[str, Any]) -> dict[str, str]:
    """The files for a ``plan/1`` document by name, and what each shows, without drawing them.

    Examples
    --------
    >>> plan_files({"faces": [{"name": "left", "size_m": [0.6, 0.4], "keep_outs": []}], "parts": [], "bus": {"devices": []}})
    {'face-0.svg': 'face left'}
    """
    nobody = TitleBlock("", "", "", "", "")
    return {name: shows for name, shows, _ in _drawings(document, nobody)}


def plan_drawings(document: dict[str, Any], *, block: TitleBlock) -> dict[str, bytes]:
    """The files themselves.

    Raises
    ------
    OutOfRange
        A plate whose openings leave it, as `plate.plate_geometry`.
    """
    made = {}
    for name, _, draw in _drawings(document, block):
        drawn = draw()
        made[name] = drawn.encode("utf-8") if isinstance(drawn, str) else drawn
    return made


def _drawings(document: dict[str, Any], block: TitleBlock) -> Iterator[tuple[str, str, Callable[[], str | bytes]]]:
    """For each drawing its file, what it shows, and what draws it."""
    faces, parts = document["faces"], document["parts"]
    routes, fittings = document.get("routes", []), document.get("fittings", [])
    placed = [part for part in [*parts, *_bracket_holes(document)] if part["name"] not in _held(document)]
    for number, face in enumerate(faces):
        shows = f"face {face['name']}"
        drawn = partial(face_svg, face, parts, title=shows, block=block, routes=routes, fittings=fittings)
        yield f"face-{number}.svg", shows, drawn
        if any(part["face"] == face["name"] and is_drilled(part) for part in placed):
            pages = partial(template_pdf, face, placed, paper=_PAPER, block=block)
            yield f"template-{number}.pdf", f"drill template, {shows}", pages
    if spans_a_box(faces):
        drawn = partial(solid_svg, faces, parts, routes, title="housing", block=block, fittings=fittings)
        yield "housing.svg", "housing", drawn
    if document["bus"]["devices"]:
        drawn = partial(bus_svg, _bus_rows(document), document["cables"], title="serial bus", block=block)
        yield "bus.svg", "serial bus", drawn
    if (document.get("power") or {}).get("line"):
        yield "power.svg", "power", partial(power_svg, _power_rows(document["power"]), title="power", block=block)
    if document.get("terminals"):
        yield "terminals.svg", "terminals", partial(terminals_svg, document["terminals"], title="terminals", block=block)
    if document.get("network"):
        yield "network.csv", "network sheet", partial(network_csv, document)
    for number, plate in enumerate(document.get("plates", ())):
        yield f"plate-{number}.svg", plate["name"], partial(plate_svg, plate, block=block)
        yield f"plate-{number}.dxf", plate["name"], partial(plate_dxf, plate)
    if document.get("schedule"):
        yield "schedule.svg", "outage", partial(schedule_svg, document["schedule"], title="outage", block=block)


def _held(document: dict[str, Any]) -> set[str]:
    """Where nothing may be drilled: a blocker stands there, or the work card holds its drilling, as without the owner's consent."""
    blocked = {finding["where"] for finding in document.get("findings", ()) if finding["level"] == "blocker"}
    return blocked | {step["where"] for step in document.get("work_card", ()) if step["do"] == HELD}


def _bracket_holes(document: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """The new holes of brackets as rows of the template, each under its bracket's name."""
    for bracket in document.get("brackets", ()):
        if bracket.get("drill"):  # not in plans kept before holes of brackets were drawn
            hole = {key: bracket[key] for key in ("drill", "drill_mm", "thread")}
            for at_m in bracket["at_m"]:
                yield {"name": bracket["name"], "face": bracket["face"], "at_m": at_m, "mount": "screw", "hole": hole}


def _bus_rows(document: dict[str, Any]) -> dict[str, Any]:
    """The bus with how it is wired, devices in the order in which the trunk passes them."""
    bus, wiring = document["bus"], document.get("wiring")
    if not wiring:
        return dict(bus)
    wired = {row["name"]: row for row in wiring["devices"]}
    along = {name: number for number, name in enumerate(wiring["along"])}
    devices = sorted(bus["devices"], key=lambda row: along.get(row["name"], len(along)))
    master = next((row for row in wiring["devices"] if row["address"] is None), None)
    return {
        **bus,
        "devices": [{**row, **{key: wired[row["name"]][key] for key in _WIRED if row["name"] in wired}} for row in devices],
        "master": {"name": master["name"], "isolated": master["isolated"]} if master else None,
        "terminations": [{"at": row["at"], "resistance_ohm": row["ohm"]} for row in wiring["terminations"] or ()],
        "biases": wiring["biases"],
        "screen_bonds": wiring["screen_bonds"],
    }


def _power_rows(power: dict[str, Any]) -> dict[str, Any]:
    """The line from the supply on, with the volts at each end, and the circuit that feeds it."""
    circuit = power["branch_circuit"]
    mains = circuit and {
        "says": f"{circuit['volts']:g} V, {circuit['wire']}, overcurrent device {circuit['overcurrent_a']:g} A",
        "only_by": "licensed electrician",
    }
    return {
        "source": power["line"][0]["start"],
        "supply_v": power["supply_v"],
        "protection": "",
        "mains": mains,
        "segments": [
            {**row, "current_a": _carried(power["line"], row), "volts": row["volts"]["value"], "least_volts": row["least_v"]}
            for row in power["line"]
        ],
    }


def _carried(line: list[dict[str, Any]], run: dict[str, Any]) -> float:
    """What a run of the line carries: what its own end draws and all that is fed beyond it. [A]"""
    return float(run["current_a"] + sum(_carried(line, beyond) for beyond in line if beyond["start"] == run["end"]))
