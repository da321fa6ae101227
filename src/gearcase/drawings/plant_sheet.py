"""What the plant is told, as blocks for the controls engineer and as rows of a tag list: both from one ``publish/1`` document."""

from collections.abc import Iterator, Mapping
from typing import Any

from gearcase.drawings.block import ON_EACH_PAGE, Block, Report, first_up
from gearcase.drawings.labels import register_map_blocks

__all__ = ["plant_blocks", "plant_sheet", "plant_tags"]


def plant_sheet(document: Mapping[str, Any], facts: tuple[tuple[str, str], ...]) -> Report:
    """The controls sheet of the plant alone; `facts` are those of the title block."""
    blocks = tuple(plant_blocks(document))[2:]  # its title is the report's
    each_page = tuple(fact for fact in facts if fact[0] in ON_EACH_PAGE)
    return Report(document["job"], "What the plant is told, for the controls engineer", facts, each_page, Block("note"), "", blocks)


def plant_blocks(document: Mapping[str, Any]) -> Iterator[Block]:
    """Each face with what a client needs to reach it, the register map, and what the words mean."""
    yield Block("break")
    yield Block("heading", "What the plant is told")
    yield Block("text", first_up(document["statement"]) + ".")
    offsets, quality = document["slot"], document["quality"]
    codes = ", ".join(f"{code} {name}" for name, code in quality.items())
    yield Block(
        "text",
        f"Every value has its time and quality: {codes}. What is bad has no value, what is stale is the last one there was. "
        "A value that nobody has told yet is bad. Values are told with each round of the watch, every 10 s unless it was started "
        "with another pace; the heartbeat counts the rounds, and stands still when nothing watches.",
    )
    yield from _modbus(document, offsets)
    if opcua := document["opcua"]:
        yield Block("heading", "OPC UA", level=2)
        yield Block(
            "text",
            f"{opcua['endpoint']}, {opcua['security']}; users: {', '.join(opcua['users'])}, by password. The client's certificate "
            "goes into keys/opcua-clients of the job, the server's is keys/opcua-own.der. A value is the node "
            f"{opcua['node']} of namespace {opcua['namespace']}, NAME as below. Stale is UncertainLastUsableValue. Read-only.",
        )
    if mqtt := document["mqtt"]:
        yield Block("heading", "MQTT 5, Sparkplug B", level=2)
        tls = "with TLS" if mqtt["tls"] else "without TLS, on the machine itself"
        waits = f" Nothing is told before the host {mqtt['primary_host']} is online." if mqtt["primary_host"] else ""
        yield Block(
            "text",
            f"To the broker {mqtt['broker']}, {tls}. A value is the metric NAME, by its alias after birth; the alias is the "
            f"register from 0. All that is taken from the plant is {mqtt['rebirth']}.{waits}",
        )
        yield Block("table", head=("message", "topic"), rows=tuple(mqtt["topics"].items()), wide=(1, 5))
    yield from _words(document)


def _modbus(document: Mapping[str, Any], offsets: Mapping[str, int]) -> Iterator[Block]:
    modbus = document["modbus"]
    if modbus:
        yield Block("heading", "Modbus TCP", level=2)
        who = ", ".join(modbus["acknowledge_from"])
        writes = (
            f"Only {who} may write, and only 1 to the acknowledge register (function 6 or 16, at most once in 10 s): it "
            "acknowledges every alarm. The protocol has no password."
            if who
            else "Nothing can be written."
        )
        yield Block(
            "text",
            f"Server at {modbus['address']}, port {modbus['port']}, any unit; functions 3 and 4 read the same registers, 125 at "
            f"most at a time. {offsets['time']} registers after each value stands its Unix time (u32), {offsets['quality']} after "
            "it its quality (u16). Where that is not good, a f32 reads as no number (7FC0 0000) and a u16 as FFFF, also when "
            "it is stale. Addresses never move: a new value comes after the last, one that is gone leaves its place reserved. "
            f"{writes}",
        )
    values = [row for row in document["values"] if row["in_use"]]
    rows = (*document["head"], *(row["registers"][0] for row in values))
    yield from register_map_blocks(rows, word_order=document["word_order"], title="what the plant is told")


def _words(document: Mapping[str, Any]) -> Iterator[Block]:
    yield Block("heading", "Words and stale times", level=2)
    bits = tuple((str(row["bit"]), row["means"], row["priority"]) for row in document["alarm_bits"])
    yield Block("table", head=("bit of an alarm word", "means", "priority"), rows=bits, wide=(1.4, 2, 1))
    values = [row for row in document["values"] if row["in_use"] and not row["name"].endswith(" alarm")]
    worded = tuple((row["name"], row["meaning"]) for row in values if row["meaning"])
    yield Block("table", head=("value", "numbers"), rows=worded, wide=(1, 3))
    usual, *longer = sorted({row["stale_after_s"] for row in values})
    late = [
        f"; after {after:.0f} s: {', '.join(row['name'] for row in values if row['stale_after_s'] == after)}" for after in longer
    ]
    yield Block("text", f"A value is stale {usual:.0f} s after it was last told{''.join(late)}.")


def plant_tags(document: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    """A row for every register the plant may read, and for the one it may write, by the columns of the tag list."""
    modbus, opcua, mqtt = document["modbus"], document["opcua"], document["mqtt"]
    alike = {"device": "gearcase", "unit": "any", "port": modbus["port"] if modbus else ""}
    for register in document["head"]:
        yield {**alike, **_register(register, document)}
    priorities = ", ".join(f"{row['means']} {row['priority']}" for row in document["alarm_bits"] if row["priority"])
    for row in document["values"]:
        if not row["in_use"]:
            continue
        plant = {
            **alike,
            "stale after s": f"{row['stale_after_s']:g}",
            "alarm priority": priorities if row["name"].endswith(" alarm") else "",
            "OPC UA node": opcua["node"].replace("NAME", row["name"]) if opcua else "",
            "MQTT topic": mqtt["topics"]["DDATA"] if mqtt else "",
            "MQTT metric": row["name"] if mqtt else "",
        }
        value, moment, quality = row["registers"]
        on_bad = "not a number" if value["type"] == "f32" else "65535"
        yield {**plant, **_register(value, document), "value on bad": on_bad}
        yield {**alike, **_register(moment, document), "value on bad": "its last time"}
        yield {**alike, **_register(quality, document)}


def _register(row: Mapping[str, Any], document: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "register": row["name"],
        "function": row["function"],
        "address from 0": row["address"],
        "address from 1": row["address"] + 1,
        "type": row["type"],
        "word order": document["word_order"] if row["type"].endswith("32") else "",
        "scale": row["scale"],
        "engineering unit": row["unit"],
        **{key: "" if row[key] is None else row[key] for key in ("low", "high", "constant")},
    }
