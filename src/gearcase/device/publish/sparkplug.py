"""Sparkplug B messages of one drive: topics, births, data and death, as bytes. No broker here.

After the Eclipse Sparkplug Specification 3.0.0 and the payload schema it publishes, of which the parts used here are written out
below; a field's number is all that goes over the wire. An edge node is born (NBIRTH) with the number of its death certificate
(bdSeq) and what a host may ask of it; the drive is its device, and DBIRTH has every value with name, alias, type, unit and range.
After that a value goes by its alias, its address in the register map. Each message but the death has the next number of 0 to 255
(seq).
"""

import functools
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from gearcase.device.publish.latest import Told
from gearcase.device.publish.registers import Slot
from gearcase.device.publish.values import QUALITY

__all__ = ["REBIRTH", "EdgeNode", "asks_for_rebirth", "host_online", "metrics_of", "state_topic", "topic"]

REBIRTH = "Node Control/Rebirth"
_NAMESPACE = "spBv1.0"
_INT32, _INT64, _UINT16, _FLOAT, _DOUBLE, _BOOLEAN, _STRING = 3, 4, 6, 9, 10, 11, 12
_TYPES = {"real": (_FLOAT, "float_value"), "word": (_UINT16, "int_value")}
_VALUES = (
    ("int_value", "uint32"),
    ("long_value", "uint64"),
    ("float_value", "float"),
    ("double_value", "double"),
    ("boolean_value", "bool"),
    ("string_value", "string"),
)
_SCHEMA: Mapping[str, tuple[tuple[int, str, str], ...]] = {  # message -> number, name and type of its fields
    "PropertyValue": ((1, "type", "uint32"), (2, "is_null", "bool"), *((3 + n, *one) for n, one in enumerate(_VALUES))),
    "PropertySet": ((1, "keys", "string*"), (2, "values", "PropertyValue*")),
    "Metric": (
        (1, "name", "string"),
        (2, "alias", "uint64"),
        (3, "timestamp", "uint64"),
        (4, "datatype", "uint32"),
        (7, "is_null", "bool"),
        (9, "properties", "PropertySet"),
        *((10 + n, *one) for n, one in enumerate(_VALUES)),
    ),
    "Payload": ((1, "timestamp", "uint64"), (2, "metrics", "Metric*"), (3, "seq", "uint64")),
}


def topic(kind: str, group: str, node: str, device: str = "") -> str:
    """Where a message of a kind goes.

    >>> topic("DDATA", "plant", "edge", "CV-204")
    'spBv1.0/plant/DDATA/edge/CV-204'
    """
    return "/".join((_NAMESPACE, group, kind, node, *([device] if device else [])))


def state_topic(host: str) -> str:
    """Where a host says whether it is online."""
    return f"{_NAMESPACE}/STATE/{host}"


@dataclass
class EdgeNode:
    """What an edge node must remember between its messages.

    Attributes
    ----------
    slots : sequence of Slot
        Of the values that are told.
    birth_number : int
        bdSeq of this connection, 0 to 255.
    seq : int
        Of the next message.
    """

    slots: Sequence[Slot]
    birth_number: int = 0
    seq: int = 0

    def death(self, now: float) -> bytes:
        """NDEATH, the will of a connection: it has no seq."""
        payload = _message("Payload", timestamp=_ms(now))
        payload.metrics.append(self._birth_number(now))
        return bytes(payload.SerializeToString())

    def births(self, told: Mapping[str, Told], now: float) -> tuple[bytes, bytes]:
        """NBIRTH and DBIRTH; seq begins anew."""
        self.seq = 0
        node = [
            self._birth_number(now),
            _message("Metric", name=REBIRTH, timestamp=_ms(now), datatype=_BOOLEAN, boolean_value=False),
        ]
        return self._numbered(node, now), self._numbered([_born(one, told[one.name], now) for one in self.slots], now)

    def data(self, told: Mapping[str, Told], now: float) -> bytes:
        """DDATA of the values named."""
        return self._numbered([_metric(one, told[one.name], now) for one in self.slots if one.name in told], now)

    def _birth_number(self, now: float) -> Any:
        return _message("Metric", name="bdSeq", timestamp=_ms(now), datatype=_INT64, long_value=self.birth_number)

    def _numbered(self, metrics: Iterable[Any], now: float) -> bytes:
        payload = _message("Payload", timestamp=_ms(now), seq=self.seq)
        payload.metrics.extend(metrics)
        self.seq = (self.seq + 1) % 256
        return bytes(payload.SerializeToString())


def asks_for_rebirth(payload: bytes) -> bool:
    """Whether an NCMD asks to be born again; nothing else is taken, and what cannot be read asks for nothing."""
    from google.protobuf.message import DecodeError

    try:
        found = _forms()["Payload"].FromString(payload)
    except DecodeError:
        return False
    return any(one.name == REBIRTH and one.boolean_value for one in found.metrics)


def metrics_of(payload: bytes) -> list[tuple[str, int, int, float | str | None]] | None:
    """Metrics of a message from elsewhere: name, alias and data type (empty and 0 where it does not say them), and the value as it
    is on the wire, None where it is null; None where the message cannot be read.
    """
    from google.protobuf.message import DecodeError

    try:
        found = _forms()["Payload"].FromString(payload)
    except DecodeError:
        return None
    return [(one.name, one.alias, one.datatype, _on_the_wire(one)) for one in found.metrics]


def host_online(payload: bytes) -> bool | None:
    """Whether a host's STATE says that it is online; None where it cannot be read."""
    try:
        found = json.loads(payload)
    except (ValueError, RecursionError):
        return None
    online = found.get("online") if isinstance(found, dict) else None
    return online if isinstance(online, bool) else None


def _born(slot: Slot, told: Told, now: float) -> Any:
    """A value with all that is said of it once."""
    metric = _metric(slot, told, now)
    metric.name, metric.datatype = slot.name, _TYPES[slot.form][0]
    value = slot.value
    said: list[tuple[str, int, str, Any]] = [("engUnit", _STRING, "string_value", slot.unit)] if slot.unit else []
    if value is not None:
        bounds = (("engLow", value.low), ("engHigh", value.high))
        said += [(key, _DOUBLE, "double_value", bound) for key, bound in bounds if bound is not None]
        said += [("documentation", _STRING, "string_value", value.meaning)] if value.meaning else []
    for key, kind, field, what in said:
        metric.properties.keys.append(key)
        metric.properties.values.append(_message("PropertyValue", type=kind, **{field: what}))
    return metric


def _metric(slot: Slot, told: Told, now: float) -> Any:
    """A value by its alias; null where there is none, its quality beside it."""
    metric = _message("Metric", alias=slot.address, timestamp=_ms(told.time_s or now))
    if told.value is None:
        metric.is_null = True
    else:
        field = _TYPES[slot.form][1]
        setattr(metric, field, told.value if slot.form == "real" else int(told.value))
    metric.properties.keys.append("Quality")
    metric.properties.values.append(_message("PropertyValue", type=_INT32, int_value=QUALITY[told.quality]))
    return metric


def _on_the_wire(metric: Any) -> float | str | None:
    given = next((name for name, _ in _VALUES if metric.HasField(name)), None)
    return None if given is None or metric.is_null else getattr(metric, given)


def _ms(time_s: float) -> int:
    return max(round(1000 * time_s), 0)


def _message(form: str, /, **fields: Any) -> Any:
    return _forms()[form](**fields)


@functools.cache
def _forms() -> dict[str, Any]:
    """Every message's class, from the schema."""
    from google.protobuf import descriptor_pb2, descriptor_pool, message_factory

    field = descriptor_pb2.FieldDescriptorProto
    file = descriptor_pb2.FileDescriptorProto(name="sparkplug_b_parts.proto", package="gearcase", syntax="proto2")
    for message, fields in _SCHEMA.items():
        form = file.message_type.add(name=message)
        for number, name, kind in fields:
            bare = kind.removesuffix("*")
            one = form.field.add(name=name, number=number)
            one.label = field.LABEL_REPEATED if kind.endswith("*") else field.LABEL_OPTIONAL
            if bare in _SCHEMA:
                one.type, one.type_name = field.TYPE_MESSAGE, f".gearcase.{bare}"
            else:
                one.type = field.Type.Value(f"TYPE_{bare.upper()}")
    pool = descriptor_pool.DescriptorPool()
    pool.Add(file)
    return {name: message_factory.GetMessageClass(pool.FindMessageTypeByName(f"gearcase.{name}")) for name in _SCHEMA}
