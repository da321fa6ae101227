"""How the kit is wired: the serial bus in order, the power with its volts, and the terminals.

Devices are drawn in the order in which the trunk passes them. Signals have the names of the serial line specification (D1, D0,
common); no colour of a wire is assumed: makers differ, so the terminal list leaves a column to write in what was found.

`bus` is that of a ``plan/1`` document, ``devices`` in order along the trunk; drawn where given:

- of the bus: ``master`` (``name``, ``isolated``), ``terminations`` (``at``, ``resistance_ohm``), ``biases`` (``at``, ``supply_v``,
  ``each_ohm``), ``screen_bonds`` (names of devices where the screen is grounded);
- of a device: ``unit_load``, ``stub_m``, ``isolated``, ``trunk_m`` (trunk from the one before).

`power`: ``source``, ``supply_v``, ``protection``, ``mains`` (``says``, ``only_by``) or None, and ``segments`` with ``start``,
``end``, ``length_m``, ``wire``, ``current_a`` (that it carries), ``volts`` (at the end), ``least_volts`` or None.

`terminals`: ``device``, ``terminal``, ``signal``, ``cable``, ``to``.
"""

from collections.abc import Iterator
from typing import Any

from gearcase.drawings.drafting import BLOCK_HEIGHT, Table, TitleBlock, draw_title_block
from gearcase.drawings.face import WIDEST
from gearcase.drawings.svg import ACCENT, INK, MUTED, NARROW, PAPER, WIDE, Sheet, wrap

__all__ = ["bus_sheet", "bus_svg", "power_sheet", "power_svg", "terminals_sheet", "terminals_svg"]

_SCREEN, _D1, _D0, _COMMON = 150.0, 166.0, 182.0, 198.0  # px, the trunk's lines
_BOX, _BOX_WIDE, _BOX_HIGH, _ROW = 300.0, 200.0, 48.0, 94.0
_TOP, _SIDE, _STEP, _NODE = 98.0, 6.0, 26.0, 34.0
_HEAD = 30.0  # px, down to what a diagram of power begins with
_MASTER = {"name": "master", "isolated": None}


def bus_svg(bus: dict[str, Any], cables: list[dict[str, Any]], *, title: str, block: TitleBlock) -> str:
    """The bus as an SVG document; `cables` are those of the same plan."""
    return bus_sheet(bus, cables, title=title, block=block).svg(title)


def power_svg(power: dict[str, Any], *, title: str, block: TitleBlock) -> str:
    """The power as an SVG document."""
    return power_sheet(power, title=title, block=block).svg(title)


def terminals_svg(terminals: list[dict[str, Any]], *, title: str, block: TitleBlock) -> str:
    """The terminals as an SVG document."""
    return terminals_sheet(terminals, title=title, block=block).svg(title)


def bus_sheet(bus: dict[str, Any], cables: list[dict[str, Any]], *, title: str, block: TitleBlock) -> Sheet:
    """The drawing before it becomes text; its label boxes can be checked."""
    nodes = [{**_MASTER, **(bus.get("master") or {})}, *bus["devices"]]
    missing = list(_missing(bus, nodes))
    sheet = Sheet(WIDEST, _TOP + _ROW * len(nodes) + 13 * len(missing) + 8 + BLOCK_HEIGHT)
    served = {row["device"]: row for row in cables}
    heights = {node["name"]: _TOP + _ROW * number + _BOX_HIGH / 2 for number, node in enumerate(nodes)}
    first, last = _TOP - 34, _TOP + _ROW * (len(nodes) - 1) + _BOX_HIGH + 14
    sheet.text(_SIDE, 16, f"{title}: {len(bus['devices'])} devices, {bus['baud']} baud", size=11, weight=600)
    for x, name, dash in ((_SCREEN, "screen", "5 3"), (_D1, "D1", ""), (_D0, "D0", ""), (_COMMON, "common", "")):
        sheet.line(x, first, x, last, width=WIDE if not dash else NARROW, dash=dash)
        sheet.text(x + 3, first - 4, name, size=8.5, colour=MUTED, turned=True)
    for number, node in enumerate(nodes):
        _node(sheet, node, heights[node["name"]], _words(node, served.get(node["name"]), master=number == 0))
        if number:
            _trunk(sheet, node, heights[node["name"]] - _ROW / 2)
    for row in bus.get("terminations", ()):
        if row["at"] in heights:
            _termination(sheet, heights[row["at"]] + 22, f"{row['resistance_ohm']:g} Ω")
    for row in bus.get("biases", ()):
        if row["at"] in heights:
            _bias(sheet, heights[row["at"]] - 44, row)
    bonds = bus.get("screen_bonds", ())
    for name in bonds:
        if name in heights:
            _ground(sheet, heights[name])
    for number, line in enumerate(missing):
        sheet.text(_SIDE, last + 16 + 13 * number, line, size=9.5, colour=ACCENT, weight=600)
    draw_title_block(sheet, _SIDE, sheet.height - BLOCK_HEIGHT - 4, WIDEST - 2 * _SIDE, block, name=title, scale="not to scale")
    return sheet


def power_sheet(power: dict[str, Any], *, title: str, block: TitleBlock) -> Sheet:
    """The drawing before it becomes text; its label boxes can be checked."""
    order = list(_tree(power))
    mains = power.get("mains")
    top = _HEAD + (62 if mains else 0)
    sheet = Sheet(WIDEST, top + (_NODE + _STEP) * (len(order) + 1) + BLOCK_HEIGHT + 8)
    sheet.text(_SIDE, 16, title, size=11, weight=600)
    if mains:
        sheet.rectangle(_SIDE, 30, WIDEST - 2 * _SIDE, 44, fill="none", line=WIDE, dash="8 4")
        sheet.text(_SIDE + 10, 48, mains["says"], size=10)
        sheet.text(_SIDE + 10, 65, f"inside this line: {mains['only_by']} only", size=10, weight=600)
        sheet.line(_SIDE + 22, 74, _SIDE + 22, top, width=WIDE)
    lowest = min((row["volts"] for row, _ in order), default=None)
    places = {power["source"]: (0, top)}
    _power_node(sheet, power["source"], 0, top, [f"{power['supply_v']:g} V", power["protection"]], lowest=False)
    for number, (row, depth) in enumerate(order, start=1):
        y = top + (_NODE + _STEP) * number
        above, from_y = places[row["start"]]
        x = _SIDE + 22 + 44 * above
        sheet.line(x, from_y + _NODE, x, y + _NODE / 2, width=WIDE)
        sheet.line(x, y + _NODE / 2, _SIDE + 44 * depth, y + _NODE / 2, width=WIDE)
        sheet.text(x + 30, y - 6, f"{row['wire']}, {row['length_m']:.1f} m, {row['current_a']:.3g} A", size=9, colour=MUTED)
        least = f", needs {row['least_volts']:g} V or more" if row["least_volts"] is not None else ""
        worst = row["volts"] == lowest
        words = [f"{row['volts']:.1f} V{least}", "◄ lowest volts of all" if worst else ""]
        _power_node(sheet, row["end"], depth, y, words, lowest=worst)
        places[row["end"]] = (depth, y)
    draw_title_block(sheet, _SIDE, sheet.height - BLOCK_HEIGHT - 4, WIDEST - 2 * _SIDE, block, name=title, scale="not to scale")
    return sheet


def terminals_sheet(terminals: list[dict[str, Any]], *, title: str, block: TitleBlock) -> Sheet:
    """The drawing before it becomes text; its label boxes can be checked."""
    rows = [(row["device"], row["terminal"], row["signal"], row["cable"], row["to"], "") for row in terminals]
    head = ("device", "terminal", "signal", "cable", "to", "colour, as found")
    listed = Table(WIDEST - 2 * _SIDE, head, rows, (2.6, 1.1, 1.3, 0.9, 3, 1.7))
    sheet = Sheet(WIDEST, 44 + listed.height + BLOCK_HEIGHT + 8)
    sheet.text(_SIDE, 16, title, size=11, weight=600)
    sheet.text(_SIDE, 31, "Colours of wires are not assumed: find each with a meter and write it in.", size=9.5)
    listed.draw(sheet, _SIDE, 38)
    draw_title_block(sheet, _SIDE, sheet.height - BLOCK_HEIGHT - 4, WIDEST - 2 * _SIDE, block, name=title, scale="not to scale")
    return sheet


def _words(node: dict[str, Any], cable: dict[str, Any] | None, *, master: bool) -> Iterator[str]:
    """What stands beside a device."""
    if not master:
        yield f"address {node['address']}"
    if node.get("unit_load") is not None:
        yield f"{node['unit_load']:g} unit load{'' if node['unit_load'] == 1 else 's'}"
    if node.get("isolated") is not None:
        yield "isolated" if node["isolated"] else "not isolated"
    if cable is not None:
        name = f"cable {cable['cable']}" if cable["cable"] else "no cable left"
        yield f"{name}, run {cable['run_m']:.2f} m"


def _node(sheet: Sheet, node: dict[str, Any], y: float, words: Iterator[str]) -> None:
    """A box with its name, its stub, and what is to be known of it."""
    sheet.rectangle(_BOX, y - _BOX_HIGH / 2, _BOX_WIDE, _BOX_HIGH)
    for name in wrap(node["name"], _BOX_WIDE - 20, 11, most=1, weight=600):
        sheet.text(_BOX + 10, y - 6, name, size=11, weight=600)
    serves = node.get("point") or node.get("profile") or ""
    for line in wrap(serves, _BOX_WIDE - 20, 9.5, most=1):
        sheet.text(_BOX + 10, y + 12, line, size=9.5, colour=MUTED)
    for x, lower in ((_D1, -8.0), (_D0, 0.0), (_COMMON, 8.0)):
        sheet.line(x, y + lower, _BOX, y + lower)
        sheet.circle(x, y + lower, 2.4, fill=INK, width=0.3)
    if node.get("isolated"):
        for aside in (-10, -6):  # a gap with a bar on both sides: no metal passes
            sheet.line(_BOX + aside, y - 13, _BOX + aside, y + 13, width=WIDE)
        sheet.rectangle(_BOX - 9.3, y - 11, 2.6, 22, line=0)
    if node.get("stub_m") is not None:
        sheet.text(_BOX - 14, y + 22, f"stub {node['stub_m']:g} m", size=9, anchor="end", colour=MUTED)
    for number, line in enumerate(words):
        sheet.text(_BOX + _BOX_WIDE + 10, y - 14 + 13 * number, line, size=9.5)


def _trunk(sheet: Sheet, node: dict[str, Any], y: float) -> None:
    if node.get("trunk_m") is not None:
        sheet.text(_SCREEN - 14, y + 3, f"trunk {node['trunk_m']:g} m", size=9.5, anchor="end")
        sheet.line(_SCREEN - 10, y, _SCREEN - 3, y, colour=MUTED)


def _termination(sheet: Sheet, y: float, says: str) -> None:
    """A resistor across the pair (IEC 60617: a rectangle)."""
    sheet.line(_D1, y, _D0, y)
    for x in (_D1, _D0):
        sheet.circle(x, y, 2.4, fill=INK, width=0.3)
    sheet.rectangle(_D1 + 3, y - 3.5, _D0 - _D1 - 6, 7, fill=PAPER, line=NARROW)
    sheet.text(_COMMON + 8, y + 12, f"termination {says}", size=9)


def _bias(sheet: Sheet, y: float, row: dict[str, Any]) -> None:
    """A resistor from each line of the pair, to the supply and to the common."""
    for x, lower, to in ((_D1, 0.0, row["supply_v"]), (_D0, 13.0, 0.0)):
        sheet.circle(x, y + lower, 2.4, fill=INK, width=0.3)
        sheet.line(x, y + lower, _COMMON + 40, y + lower)
        sheet.rectangle(_COMMON + 12, y + lower - 3.5, 18, 7, line=NARROW)
        sheet.text(_COMMON + 45, y + lower + 3, f"bias {row['each_ohm']:g} Ω to {to:g} V", size=9)


def _ground(sheet: Sheet, y: float) -> None:
    """Earth (IEC 60617): three bars, each shorter than the one above."""
    x = _SCREEN - 24
    sheet.line(_SCREEN, y, x, y)
    sheet.line(x, y, x, y + 8)
    for number in range(3):
        half = 8 - 3 * number
        sheet.line(x - half, y + 8 + 4 * number, x + half, y + 8 + 4 * number, width=WIDE)
    sheet.circle(_SCREEN, y, 2.4, fill=INK, width=0.3)
    sheet.text(x - 14, y + 4, "screen grounded", size=9, anchor="end")


def _missing(bus: dict[str, Any], nodes: list[dict[str, Any]]) -> Iterator[str]:
    """What a bus wants and the plan does not give, so that a blank is not read as right."""
    fitted = [row["at"] for row in bus.get("terminations", ())]
    bare = [node["name"] for node in (nodes[0], nodes[-1]) if node["name"] not in fitted]
    if bare:
        yield f"no termination is planned at: {', '.join(dict.fromkeys(bare))}"
    bonds = len(bus.get("screen_bonds", ()))
    if bonds != 1:
        yield f"the screen is grounded at {bonds or 'no'} place{'' if bonds == 1 else 's'}; one end is wanted, the rest insulated"


def _tree(power: dict[str, Any]) -> Iterator[tuple[dict[str, Any], int]]:
    """Segments in the order in which they are drawn, each with its depth below the source."""

    def below(start: str, depth: int, seen: frozenset[str]) -> Iterator[tuple[dict[str, Any], int]]:
        for row in power["segments"]:
            if row["start"] == start and row["end"] not in seen:
                yield row, depth
                yield from below(row["end"], depth + 1, seen | {row["end"]})

    yield from below(power["source"], 1, frozenset((power["source"],)))


def _power_node(sheet: Sheet, name: str, depth: int, y: float, words: list[str], *, lowest: bool) -> None:
    x = _SIDE + 44 * depth
    sheet.rectangle(x, y, 190, _NODE, colour=ACCENT if lowest else INK, line=2 * WIDE if lowest else WIDE)
    for line in wrap(name, 170, 10.5, most=1, weight=600):
        sheet.text(x + 10, y + 21, line, size=10.5, weight=600)
    left = x + 202
    for number, word in enumerate(word for word in words if word):
        for line in wrap(word, WIDEST - left - 6, 9.5, most=1):
            sheet.text(
                left,
                y + 14 + 13 * number,
                line,
                size=9.5,
                colour=ACCENT if lowest and number else INK,
                weight=600 if lowest and number else 400,
            )
