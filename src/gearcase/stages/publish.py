"""Publish: what is the plant told, and where does it stand? The map that the watch serves and the controls sheet shows.

The map of the run before is carried on: an address that was given once is never given to another value.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from gearcase.device.publish.opcua import namespace_uri, node_id
from gearcase.device.publish.registers import SLOT, WORD_ORDER, Slot, assign, head, slot_registers
from gearcase.device.publish.sparkplug import REBIRTH, topic
from gearcase.device.publish.values import ALARM_BITS, ALARM_PRIORITY, QUALITY, PlantValue, plant_values
from gearcase.job.build import Job
from gearcase.job.build_publish import MqttFace
from gearcase.stages.result import StageResult

__all__ = ["RESTS_ON", "run"]

RESTS_ON = ("site", "drive", "points", "inputs", "incoming", "bus", "publish")  # sections of the job


def run(job: Job, earlier: Sequence[Mapping[str, Any]]) -> StageResult:
    """The map of a job's values.

    Parameters
    ----------
    job : Job
    earlier : sequence of mapping
        ``values`` of the latest ``publish/1`` document; empty where there is none.

    Returns
    -------
    StageResult
        Document ``publish/1``.

    Raises
    ------
    OutOfRange
        As `registers.assign`.
    """
    slots = assign(plant_values(job), earlier)
    served = {name: face for name, face in _faces(job).items() if face}
    known = {row["address"] for row in earlier}
    new = sum(slot.value is not None and slot.address not in known for slot in slots)
    gone = sum(slot.value is None for slot in slots)
    told = sum(slot.value is not None for slot in slots)
    by = ", ".join(face["says"] for face in served.values()) or "nothing: job.yaml has no publish section"
    document: dict[str, Any] = {
        "schema": "publish/1",
        "job": job.title,
        "statement": f"{told} values by {by}; {new} new, {gone} reserved",
        **{name: served.get(name) for name in ("modbus", "opcua", "mqtt")},
        "word_order": WORD_ORDER,
        "slot": {"value": 0, "time": 2, "quality": 4, "registers": SLOT},
        "quality": dict(QUALITY),
        "alarm_bits": [{"bit": bit, "means": name, "priority": ALARM_PRIORITY.get(name, "")} for name, bit in ALARM_BITS.items()],
        "head": [asdict(one) for one in head(acknowledge=bool(job.publish.modbus and job.publish.modbus.acknowledge_from))],
        "values": [_row(slot) for slot in slots],
    }
    return StageResult("publish", document, job.sources(RESTS_ON))


def _row(slot: Slot) -> dict[str, Any]:
    value = slot.value or PlantValue(slot.name, "word", stale_after=0.0)
    return {
        "name": slot.name,
        "address": slot.address,
        "form": slot.form,
        "unit": slot.unit,
        "in_use": slot.value is not None,
        "low": value.low,
        "high": value.high,
        "stale_after_s": value.stale_after,
        "meaning": value.meaning,
        "registers": [asdict(one) for one in slot_registers(slot)] if slot.value else [],
    }


def _faces(job: Job) -> dict[str, dict[str, Any] | None]:
    modbus, opcua, mqtt = job.publish.modbus, job.publish.opcua, job.publish.mqtt
    found: dict[str, dict[str, Any] | None] = {"modbus": None, "opcua": None, "mqtt": _mqtt(mqtt) if mqtt else None}
    if modbus:
        where = f"{modbus.address}:{modbus.port}"
        found["modbus"] = {"says": f"Modbus TCP at {where}", **asdict(modbus)}
    if opcua:
        endpoint = f"opc.tcp://{opcua.address}:{opcua.port}/"
        found["opcua"] = {
            "says": f"OPC UA at {endpoint}",
            "endpoint": endpoint,
            "security": "Basic256Sha256, signed and encrypted",
            "users": [user.name for user in opcua.users],
            "namespace": f"{namespace_uri(job.publish.device)}:values",
            "node": node_id("NAME"),
        }
    return found


def _mqtt(face: MqttFace) -> dict[str, Any]:
    where = f"{face.host}:{face.port}"
    return {
        "says": f"MQTT to {where}",
        "broker": where,
        "tls": face.tls,
        "user": face.user.name if face.user else "",
        "primary_host": face.primary_host,
        "topics": {
            **{kind: topic(kind, face.group, face.node) for kind in ("NBIRTH", "NDEATH", "NCMD")},
            **{kind: topic(kind, face.group, face.node, face.device) for kind in ("DBIRTH", "DDATA")},
        },
        "rebirth": REBIRTH,
    }
