"""What stands on the drive now, as blocks: evidence, limits, what the watch saw, and the sheet for the controls engineer.

`prove_blocks`, `baseline_blocks`, `watch_blocks` lay out those stages' documents for pages and handover alike; `controls_blocks`
and `tag_list` are for whoever connects the plant's controller.
"""

import csv
import io
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from types import MappingProxyType
from typing import Any

from gearcase.drawings.block import Block, first_up, unit_words, workings
from gearcase.drawings.labels import register_map_blocks
from gearcase.drawings.limit_words import detection_words, family_words, limit_holds, settling_words, yearly_words
from gearcase.drawings.plant_sheet import plant_tags
from gearcase.install.profile import LAMPS, profile
from gearcase.install.register import Register
from gearcase.judge.alarm import BLUE_AFTER
from gearcase.units import show

__all__ = ["SHOWN_AS", "baseline_blocks", "controls_blocks", "level_words", "prove_blocks", "repeated", "tag_list", "watch_blocks"]

STALE_AFTER = round(BLUE_AFTER)  # s without a good reading, after which the watch shows blue
SHOWN_AS = {"m/s": ("velocity", "mm/s"), "K": ("temperature", "°C"), "m/s2": ("acceleration", "m/s2"), "Hz": ("speed", "rpm")}
_MOST_EVENTS = 40
_WORD_ORDER = "high word first"
_TAG_HEAD = (
    *("device", "unit", "register", "function", "address from 0", "address from 1", "type", "word order", "scale"),
    *("engineering unit", "low", "high", "constant", "stale after s"),
    *("value on bad", "alarm priority", "port", "OPC UA node", "MQTT topic", "MQTT metric"),
)


def prove_blocks(document: Mapping[str, Any]) -> Iterator[Block]:
    """The proving: whether one may go home, what is in the way and whose it is, all evidence with its criterion, every attempt."""
    yield Block("heading", "Verified again" if document.get("yearly") else "Proved over the wire")
    rows = document["before_going_home"]
    if rows:
        failed = any(row["outcome"] == "failed" for row in rows)
        yield Block("note", first_up(document["statement"]), state="abnormal" if failed else "action")
        table = _devices_together((row["step"], row["outcome"], row["says"], row.get("owner", ""), row["device"]) for row in rows)
        yield Block("heading", "Before going home", level=2)
        yield Block("table", head=("step", "", "what to do", "owner", "devices"), rows=table, wide=(1.1, 0.7, 4, 1, 2))
    else:
        yield Block("note", first_up(document["statement"]))
    yield Block("text", document["caution"])
    yield Block("heading", "Evidence", level=2)
    keys = ("step", "outcome", "measured", "criterion", "device")
    evidence = _devices_together(tuple(str(row[key]) for key in keys) for row in document["evidence"])
    yield Block("table", head=("step", "", "measured", "criterion", "devices"), rows=evidence, wide=(1.1, 0.8, 2.4, 2.6, 2))
    if again := repeated(document):
        yield Block("heading", "Tried more than once", level=2)
        said = ("who", "step", "outcome", "measured", "device")
        attempts = _devices_together((_minute(row["when"]), *(str(row[key]) for key in said)) for row in again)
        yield Block("table", head=("UTC", "who", "step", "", "measured", "devices"), rows=attempts, wide=(1.4, 1, 1.1, 0.8, 2.4, 2))


def _devices_together(rows: Iterable[tuple[str, ...]]) -> tuple[tuple[str, ...], ...]:
    """Rows that say the same of several devices as one; the device is the last of a row."""
    devices: dict[tuple[str, ...], list[str]] = {}
    for *said, device in rows:
        devices.setdefault(tuple(said), []).append(device)
    return tuple((*said, ", ".join(named)) for said, named in devices.items())


def _minute(when: str) -> str:
    """A time in ISO 8601, in UTC, as people read it, to the minute."""
    return when.replace("T", " ")[:16]


def repeated(document: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """Attempts of the steps that were tried more than once, in their order; the record holds every one."""
    attempts = document.get("attempts", ())
    tried = Counter((row["step"], row["device"]) for row in attempts)
    return [row for row in attempts if tried[row["step"], row["device"]] > 1]


def baseline_blocks(document: Mapping[str, Any]) -> Iterator[Block]:
    """Baseline and limits: status, each limit with its expiry and expected false alarms, its working beneath."""
    yield Block("heading", "Baseline and limits")
    yield Block("note", first_up(document["statement"]), state="action" if document["status"] == "refused" else "none")
    for row in document["findings"]:
        if row["level"] != "note":
            yield Block("note", f"{first_up(row['level'])}: {row['where']}", items=(first_up(row["says"]),), state="abnormal")
    rows = tuple(
        (
            row["point"],
            row["quantity"],
            *(_level(row[name], row["unit"]) for name in ("yellow", "danger", "low")),
            yearly_words(row["false_alarms_per_year"]["yellow"]),
            row["kind"],
            limit_holds(row),
            row["expires"][:10],
        )
        for row in document["limits"]
    )
    if rows:
        head = ("point", "quantity", "yellow", "danger", "low", "false yellows a year", "kind", "holds at", "expires")
        yield Block("table", head=head, rows=rows, wide=(1.7, 1.5, 1, 1, 0.9, 1.4, 0.9, 1.8, 1.2))
        yield Block(
            "text",
            "Danger is the standard's TRIP level where it comes from a zone, and it is not wired: nothing here trips. Limits judge "
            "running condition and temperature, not gear health.",
        )
    told = tuple(words for row in document["limits"] for words in detection_words(row))
    if told:
        yield Block("list", "How long a growth would go unnoticed, stops included", items=told)
    alarms = tuple(
        f"{row['point']}: {words}" for row in document.get("points", ()) for words in family_words(row.get("families", ()))
    )
    if alarms:
        yield Block("list", "What alarms", items=alarms)
    settles = tuple(
        f"{row['point']}: {words}" for row in document.get("points", ()) for words in settling_words(row.get("settling"))
    )
    if settles:
        yield Block("list", "Settling", items=settles)
    sums = [row[name] for row in document["limits"] for name in ("yellow", "danger", "low") if row[name]]
    if sums:
        yield Block("list", "Working", items=tuple(workings(sums)))


def watch_blocks(document: Mapping[str, Any]) -> Iterator[Block]:
    """What the watch saw: conditions as they stand, and the last of the diary."""
    yield Block("heading", "Watched")
    abnormal = any(row["condition"] != "clear" for row in document["conditions"])
    yield Block("note", first_up(document["statement"]), state="abnormal" if abnormal else "none")
    keys = ("point", "quantity", "limit", "condition", "light", "cannot_tell", "shelved")
    rows = tuple(tuple(str(row.get(key, "")) for key in keys) for row in document["conditions"])
    if rows:
        named = zip(keys, (1.8, 1.8, 1.3, 2.4, 0.8, 1.6, 1.6), strict=True)
        told = [(at, key.replace("_", " "), wide) for at, (key, wide) in enumerate(named) if any(row[at] for row in rows)]
        kept, head, wide = zip(*told, strict=True)  # no empty column, so that words have room
        yield Block("table", head=head, rows=tuple(tuple(row[at] for at in kept) for row in rows), wide=wide)
    latest = sorted(document["events"], key=lambda row: datetime.fromisoformat(row["time"]))[-_MOST_EVENTS:]
    events = tuple((_minute(row["time"]), row["kind"], row["point"], row["says"]) for row in latest)
    yield Block("heading", "Diary", level=2)
    yield Block("table", head=("UTC", "what", "where", "in words"), rows=events, wide=(1.4, 1.1, 1.5, 4.4))


def controls_blocks(
    devices: Sequence[Mapping[str, Any]], *, baud: int, own: Mapping[str, Sequence[Mapping[str, Any]]] = MappingProxyType({})
) -> Iterator[Block]:
    """The sheet for the controls engineer: the bus, and the register map of every kind of device on it.

    Parameters
    ----------
    devices : sequence of mapping
        ``bus.devices`` of a ``plan/1`` document.
    baud : int
    own : mapping
        Its ``bus.profiles``: registers of the profiles that the job brings.
    """
    mapped = [row for row in devices if row.get("profile")]
    if not mapped:
        return
    yield Block("break")
    yield Block("heading", "For the controls engineer")
    lamps = ", ".join(f"{bit} {colour}" for colour, bit in LAMPS.items())
    yield Block(
        "text",
        f"Modbus, {baud} baud where serial, one master; Modbus TCP is port 502 unless the gateway says otherwise. Read "
        "each device's test registers first: 0x1234 (4660), 123456789 and 123.456, to the last digit; they tell address "
        f"base, type and word order. A value is stale after {STALE_AFTER} s; a device that does not answer has no value, "
        "never a zero. The heartbeat register counts seconds; status other than 0 marks all values of that device as bad. "
        "Devices raise no alarms of their own; conditions come from the watch. Read-only for the plant: only gearcase "
        f"writes the stack light, whose lamps are {lamps}, added up.",
    )
    rows = tuple(
        (row["name"], str(row["address"]), row["profile"], str(row["registers"]), f"{1000 * row['reading_s']['value']:.0f}")
        for row in mapped
    )
    head = ("device", "unit", "kind", "registers a poll", "reading, ms")
    yield Block("table", head=head, rows=rows, wide=(3, 0.8, 3, 1.4, 1.2), numbers=(1, 3, 4))
    for name in dict.fromkeys(row["profile"] for row in mapped):
        yield from register_map_blocks(map(asdict, _registers(name, own)), word_order=_WORD_ORDER, title=name)


def tag_list(
    devices: Iterable[Mapping[str, Any]],
    own: Mapping[str, Sequence[Mapping[str, Any]]] = MappingProxyType({}),
    told: Mapping[str, Any] | None = None,
) -> bytes:
    """All registers of all devices as CSV, a row each, for a controller's tag import; before them those of the plant, of a
    ``publish/1`` document. `own` are the maps that the job brings, by name.
    """
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, _TAG_HEAD, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(plant_tags(told) if told else ())
    for row in devices:
        if row.get("profile"):
            for one in _registers(row["profile"], own):
                writer.writerow(_tag(row, one))
    return text.getvalue().encode()


def _registers(name: str, own: Mapping[str, Sequence[Mapping[str, Any]]]) -> tuple[Register, ...]:
    return tuple(Register(**one) for one in own[name]) if name in own else profile(name).rows


def _tag(device: Mapping[str, Any], one: Register) -> dict[str, Any]:
    order = one.order if one.words > 1 else ""
    facts = [device["name"], device["address"], one.name, one.function, one.address, one.address + 1, one.type, order, one.scale]
    facts += ["" if value is None else value for value in (one.unit, one.low, one.high, one.constant)] + [STALE_AFTER]
    return dict(zip(_TAG_HEAD, facts, strict=False))


def level_words(value: float | None, unit: str) -> str:
    """A level in the unit that people read.

    >>> level_words(2.8e-3, "m/s"), level_words(5.0, "m/s2"), level_words(None, "K"), level_words(0.25, "-")
    ('2.8 mm/s', '5 m/s²', 'none', '0.25')
    """
    if value is None:
        return "none"
    kind, shown = SHOWN_AS.get(unit, ("", unit))
    return unit_words(show(float(value), kind, shown, digits=3) if kind else f"{value:.3g} {unit}".removesuffix(" -"))


def _level(worked: Mapping[str, Any] | None, unit: str) -> str:
    return level_words(worked["value"] if worked else None, unit)
