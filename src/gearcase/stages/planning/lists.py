"""What to bring and what to cut: the pick list by groups with its spares, and the cut lists; of one job or of many.

Tools, protective equipment and spares are carried from job to job, so the most that any needs is enough; parts, consumables and
documents stay behind and add up. Which group a thing is of, and what is taken twice, stands in ``pick_rules.csv``; what goes along
whatever the kit is stands in ``pick_always.csv``.
"""

import math
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from gearcase.findings import Level
from gearcase.install.cutting import Bar, bar_remainder, cut_list
from gearcase.install.housing import Cable, Kit
from gearcase.install.lengths import Lengths
from gearcase.install.points import Sensor
from gearcase.job.build import Job
from gearcase.stages.planning.draft import CardStep, Draft, Pick
from gearcase.stages.planning.site import burns
from gearcase.tables import Row, load
from gearcase.worked import Given, Origin, work

__all__ = [
    "CUT_LIST",
    "GROUPS",
    "TABLES",
    "Wanted",
    "bars_wanted",
    "cut_document",
    "cutting",
    "materials",
    "pick_list",
    "picked_cables",
    "tools_named",
    "wanted",
]

GROUPS = ("parts", "tools", "consumables", "spares", "protective equipment", "documents")
TABLES = ("pick_rules", "pick_always", "burn_thresholds")
CUT_LIST = "cut list"  # what bars of stock are for
_CARRIED = ("tools", "protective equipment")  # from job to job
_CABLE_LENGTHS = (1.0, 2.0, 3.0, 5.0, 10.0, 15.0, 20.0, 30.0, 50.0)  # m, as cables are sold; common practice, no source
_SPARE_IN = 10  # one spare for so many; common practice, no source
_OF_THE_DRIVE = "drive inputs"  # profile of the frequency converter: it stands on site already


@dataclass(frozen=True)
class Wanted:
    """A thing to bring, what or whom it is for, how many, its group where it is not left to the rules; of what comes in tubes how
    much in all. [ml]
    """

    what: str
    why: str
    quantity: int = 1
    group: str = ""
    millilitres: float = 0.0


def pick_list(things: Iterable[Wanted], cables: Iterable[Cable] = ()) -> list[dict[str, Any]]:
    """The pick list by groups, each thing once, then the spares that follow from it.

    Parameters
    ----------
    things : iterable of Wanted
    cables : iterable of Cable
        Those planned, whose spare is one length longer than the longest of each wire.

    Examples
    --------
    >>> rows = pick_list(Wanted(what, point) for point in ("left", "right") for what in ("drill No. 3", "sensor"))
    >>> [(row["group"], row["what"], row["quantity"]) for row in rows]
    [('parts', 'sensor', 2), ('tools', 'drill No. 3', 1), ('spares', 'drill No. 3', 1), ('spares', 'sensor', 1)]
    """
    rows: dict[tuple[str, str], dict[str, Any]] = {}
    for thing in things:
        group = thing.group or _rule(thing.what)["group"]
        row = rows.setdefault(
            (group, thing.what), {"group": group, "what": thing.what, "quantity": 0, "for": [], "rule": "", "millilitres": 0.0}
        )
        carried = group in _CARRIED or thing.millilitres + row["millilitres"] > 0  # one tube, until its amount says otherwise
        row["quantity"] = max(row["quantity"], thing.quantity) if carried else row["quantity"] + thing.quantity
        row["millilitres"] += thing.millilitres
        if thing.why not in row["for"]:
            row["for"].append(thing.why)
    found = [*rows.values(), *(spare for row in rows.values() for spare in _spares(row)), *_spare_cables(cables)]
    return sorted(found, key=lambda row: GROUPS.index(row["group"]))  # stable: within a group as they came up


def wanted(
    job: Job, parts: Sequence[Mapping[str, Any]], cuts: Iterable[Mapping[str, Any]], picks: Iterable[Pick]
) -> Iterator[Wanted]:
    """Everything one job needs: its parts, what the sections of its plan picked, and what always goes along.

    Parameters
    ----------
    job : Job
    parts : sequence of mapping
        Rows of the plan, for the mounts as planned.
    cuts : iterable of mapping
        Its cut lists, for the stock to bring.
    picks : iterable of Pick
        As the draft of the plan collected them.
    """
    mounts = {part["name"]: part["mount"] for part in parts}
    for point in job.points:
        yield Wanted(_sensor_words(point.sensor), point.name)
        if mounts[point.name] == "stud" and point.hole:
            yield Wanted(f"stud {point.hole.thread}", point.name)
        elif mounts[point.name] not in ("", "stud", "rigid adhesive"):
            yield Wanted(mounts[point.name].removeprefix("hot "), point.name)
    for device in job.bus.devices:
        if not device.point and device.profile != _OF_THE_DRIVE:
            yield Wanted(device.profile or device.name, f"{device.name}, unit {device.address}", group="parts")
    for screw in job.kit.screws:
        yield Wanted(f"screws {screw.size} with nuts and washers", screw.name)
    yield from bars_wanted(cuts)
    for pick in picks:
        yield Wanted(pick.what, pick.why, pick.quantity, millilitres=pick.millilitres)
    here = set(_conditions(job, list(mounts.values())))
    for row in load("pick_always"):
        if row["when"] in here:
            yield Wanted(row["what"], "all work" if row["when"] == "always" else row["when"], group=row["group"])


def tools_named(steps: Iterable[CardStep], listed: Iterable[str]) -> Iterator[Wanted]:
    """What the steps of a work card ask for, in the column "with", and no name on the list holds already."""
    names = list(listed)
    for step in steps:
        for tool in filter(None, step.tool.split(", ")):
            if not any(re.search(rf"\b{re.escape(tool)}\b", name, re.IGNORECASE) for name in names):
                yield Wanted(tool, step.where, group="consumables" if _rule(tool)["group"] == "consumables" else "tools")


def bars_wanted(cuts: Iterable[Mapping[str, Any]]) -> Iterator[Wanted]:
    """The stock that cut lists take."""
    for row in cuts:
        for stock, count in Counter(bar["stock"] for bar in row["bars"]).items():
            yield Wanted(f"{row['of']}, {stock}", CUT_LIST, count, "parts")


def picked_cables(kit: Kit, rows: Iterable[Mapping[str, Any]]) -> Iterator[Cable]:
    """The cables of a kit that a plan's rows use."""
    used = {row["cable"] for row in rows}
    return (cable for cable in kit.cables if cable.name in used)


def materials(kit: Kit) -> Iterator[tuple[str, Lengths]]:
    """What a kit has to be cut, by its name in the trade."""
    for name, lengths in (("strut channel", kit.strut), ("conduit", kit.conduit)):
        if lengths is not None and lengths.pieces:
            yield name, lengths


def cutting(job: Job, draft: Draft) -> list[dict[str, Any]]:
    """The cut lists of one job, with its findings, its picks and the step at the bench."""
    rows = []
    for material, lengths in materials(job.kit):
        row, wrong = cut_document(material, lengths)
        for rule, where, says in wrong:
            draft.find(Level.BLOCKER, rule, where, says)
        draft.step(material, f"Cut the {material} by the cut list; deburr; mark each piece with its name.", "cut")
        rows.append(row)
    return rows


def cut_document(material: str, lengths: Lengths) -> tuple[dict[str, Any], list[tuple[str, str, str]]]:
    """A cut list for the document, and what is wrong with it: rule, where, and what would cure it."""
    kerf = Given("kerf", lengths.kerf, "m", Origin.ASSUMED)
    row: dict[str, Any] = {"of": material, "kerf_m": lengths.kerf, "bars": [], "bought_m": 0.0, "waste_m": 0.0, "at_least_m": 0.0}
    row |= {"least": False, "too_long": [], "uncut": []}
    if not lengths.stocks:
        row["uncut"] = [_piece(piece) for piece in lengths.pieces]
        key = {"strut channel": "kit.strut.stock"}.get(material, f"kit.{material}.stock")
        return row, [("stock", material, f"nothing says which lengths can be had: give {key}, e.g. [{{length: 3048 mm}}]")]
    found = cut_list(lengths.pieces, lengths.stocks, kerf=lengths.kerf)
    row |= {
        "bars": [_bar(bar, kerf) for bar in found.bars],
        "bought_m": found.bought,
        "waste_m": found.waste,
        "at_least_m": found.at_least,
        "least": found.least,
        "too_long": [_piece(piece) for piece in found.too_long],
        "uncut": [_piece(piece) for piece in found.uncut],
    }
    longest = max(stock.length for stock in lengths.stocks)
    wrong = [
        (
            "too_long",
            piece.job or material,
            f"{piece.name} of {1000 * piece.length:.6g} mm is longer than the longest {material} to be had, "
            f"{1000 * longest:.6g} mm: get a longer one, or join two pieces with a fitting made for it",
        )
        for piece in dict.fromkeys(found.too_long)
    ]
    if found.uncut:
        names = ", ".join(dict.fromkeys(piece.name for piece in found.uncut))
        short = sum(piece.length + lengths.kerf for piece in found.uncut)
        wrong.append(("stock", material, f"the stock ends before {names} are cut: {1000 * short:.6g} mm more are needed"))
    return row, wrong


def _bar(bar: Bar, kerf: Given) -> dict[str, Any]:
    left = work(
        f"left of {bar.stock.name}",
        bar_remainder,
        bar=Given("bar", bar.stock.length, "m", Origin.STATED),
        pieces=Given("pieces", sum(piece.length for piece in bar.pieces), "m", Origin.CALCULATED),
        count=Given("cuts", len(bar.pieces), "-", Origin.CALCULATED),
        kerf=kerf,
    )
    return {
        "stock": bar.stock.name,
        "length_m": bar.stock.length,
        "pieces": [_piece(piece) for piece in bar.pieces],
        "left": left.as_dict(),
    }


def _piece(piece: Any) -> dict[str, Any]:
    return {"name": piece.name, "length_m": piece.length, "job": piece.job}


def _rule(what: str) -> Row:
    """The first rule of which a word stands in the thing's name; a thing of no rule is a part without spare."""
    for row in load("pick_rules"):
        if re.search(rf"\b(?:{row['words']})s?\b", what):
            return row
    return {"group": "parts", "spare": "", "rule": ""}


def _row(group: str, what: str, quantity: int = 0, why: Sequence[str] = (), rule: str = "") -> dict[str, Any]:
    return {"group": group, "what": what, "quantity": quantity, "for": list(why), "rule": rule, "millilitres": 0.0}


def _spares(row: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    rule = _rule(row["what"])
    if rule["spare"] and row["group"] == rule["group"]:
        count = 1 if rule["spare"] == "one" else math.ceil(row["quantity"] / _SPARE_IN)
        yield {
            "group": "spares",
            "what": row["what"],
            "quantity": count,
            "for": list(row["for"]),
            "rule": rule["rule"],
            "millilitres": 0.0,
        }


def _spare_cables(cables: Iterable[Cable]) -> Iterator[dict[str, Any]]:
    """One of each wire, the next length up."""
    longest: dict[str, float] = {}
    for cable in cables:
        longest[cable.wire] = max(longest.get(cable.wire, 0.0), cable.length)
    for wire, length in longest.items():
        up = next((one for one in _CABLE_LENGTHS if one > length), length)
        what = f"cable, {up:.1f} m{', ' + wire if wire else ''}"
        rule = f"one of each wire, a length up from the longest planned, {length:.1f} m: it serves any run"
        yield _row("spares", what, 1, ["any run"], rule)


def _sensor_words(sensor: Sensor) -> str:
    if sensor.highest_hz is None:
        return f"sensor, {sensor.kind}, data sheet not given"
    lowest = "" if sensor.lowest_hz is None else f"{sensor.lowest_hz:.4g} Hz to "
    axes = "3 axes" if sensor.axes == 3 else "1 axis"
    return f"sensor, {sensor.kind}, {axes}, {lowest}{sensor.highest_hz / 1000:.4g} kHz"


def _conditions(job: Job, mounts: list[str]) -> Iterator[str]:
    """What is true of this job, in the words of ``pick_always.csv``."""
    yield "always"
    if "stud" in mounts:
        yield from ("drilling", "a hole that may not be drilled")
    if any("adhesive" in mount for mount in mounts):
        yield "bonding"
    if burns(job):
        yield "hot surface"
    if job.bus.devices:
        yield "bus"
    cut = [name for name, _ in materials(job.kit)]
    if cut:
        yield "cutting"
    yield from (f"cutting {name}" for name in cut)
