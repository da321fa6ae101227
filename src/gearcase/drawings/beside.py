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
from gearcase.drawings.template import template_pdf
from gearcase.drawings.wiring import bus_svg, power_svg, terminals_svg

__all__ = ["plan_drawings", "plan_files"]

_WIRED = ("unit_load", "stub_m", "isolated")
_PAPER = "A4"  # what any office prints


def plan_files(document: dict[str, Any]) -> tuple[str, ...]:
    """Names of the files for a ``plan/1`` document, without drawing them.

    Examples
    --------
    >>> plan_files({"faces": [{"name": "left", "size_m": [0.6, 0.4], "keep_outs": []}], "parts": [], "bus": {"devices": []}})
    ('face-0.svg',)
    """
    nobody = TitleBlock("", "", "", "", "")
    return tuple(name for name, _ in _drawings(document, nobody))


def plan_drawings(document: dict[str, Any], *, block: TitleBlock) -> dict[str, bytes]:
    """The files themselves.

    Raises
    ------
    OutOfRange
        A plate whose openings leave it, as `plate.plate_geometry`.
    """
    made = {}
    for name, draw in _drawings(document, block):
        drawn = draw()
        made[name] = drawn.encode("utf-8") if isinstance(drawn, str) else drawn
    return made


def _drawings(document: dict[str, Any], block: TitleBlock) -> Iterator[tuple[str, Callable[[], str | bytes]]]:
    faces, parts, routes = document["faces"], document["parts"], document.get("routes", [])
    blocked = {finding["where"] for finding in document.get("findings", ()) if finding["level"] == "blocker"}
    drilled = [part for part in parts if part["name"] not in blocked]
    for number, face in enumerate(faces):
        yield f"face-{number}.svg", partial(face_svg, face, parts, title=f"face {face['name']}", block=block, routes=routes)
        if any(part["face"] == face["name"] and part["at_m"] and part["mount"] == "stud" for part in drilled):
            yield f"template-{number}.pdf", partial(template_pdf, face, drilled, paper=_PAPER, block=block)
    if spans_a_box(faces):
        yield "housing.svg", partial(solid_svg, faces, parts, routes, title="housing", block=block)
    if document["bus"]["devices"]:
        yield "bus.svg", partial(bus_svg, _bus_rows(document), document["cables"], title="serial bus", block=block)
    if (document.get("power") or {}).get("line"):
        yield "power.svg", partial(power_svg, _power_rows(document["power"]), title="power", block=block)
    if document.get("terminals"):
        yield "terminals.svg", partial(terminals_svg, document["terminals"], title="terminals", block=block)
    if document.get("network"):
        yield "network.csv", partial(network_csv, document)
    for number, plate in enumerate(document.get("plates", ())):
        yield f"plate-{number}.svg", partial(plate_svg, plate, block=block)
        yield f"plate-{number}.dxf", partial(plate_dxf, plate)
    if document.get("schedule"):
        yield "schedule.svg", partial(schedule_svg, document["schedule"], title="outage", block=block)


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
        "segments": [{**row, "volts": row["volts"]["value"], "least_volts": row["least_v"]} for row in power["line"]],
    }
