"""From the document to the plant's inputs and the ways in."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from gearcase.job.inputs_checks import UNIT_KIND, stated_value
from gearcase.job.inputs_schema import IncomingModel, InputModel
from gearcase.job.read import Source
from gearcase.units import convert

__all__ = ["Broker", "Incoming", "Input", "Posting", "RawRegister", "build_incoming", "build_inputs"]


@dataclass(frozen=True)
class RawRegister:
    """A register that no profile has: address counted from 0, holding (3) or input (4), type, which word comes first."""

    address: int
    function: int
    type: str
    word_order: Literal["high word first", "low word first"]


@dataclass(frozen=True)
class Input:
    """One source of one input, as `job.inputs_schema.InputModel` says it; `age_limit` in s, None where the job is silent.

    A number read times `slope` plus `offset` is in SI; an analogue one is good only within `reads`, the ends of its span, and a
    little beyond. `stated` and `above` are in SI.
    """

    name: str
    kind: str
    source: str
    age_limit: float | None = None
    device: str = ""
    quantity: str = ""
    raw: RawRegister | None = None
    bit: int | None = None
    slope: float = 1.0
    offset: float = 0.0
    reads: tuple[float, float] | None = None
    topic: str = ""
    path: str = ""
    metric: str = ""
    point: str = ""
    above: float = 0.0
    stated: float | None = None
    where: str = ""


@dataclass(frozen=True)
class Broker:
    """The plant's MQTT broker; file names as written, from the job's folder."""

    host: str
    port: int
    tls: bool
    ca_file: str
    user: str
    password_file: str
    readings: str
    recordings: str


@dataclass(frozen=True)
class Posting:
    """Where readings and recordings may be posted; file names as written, from the job's folder."""

    host: str
    port: int
    token_file: str
    certificate_file: str
    key_file: str


@dataclass(frozen=True)
class Incoming:
    """The ways in, None and empty where there is none; `age_limit` in s."""

    mqtt: Broker | None = None
    http: Posting | None = None
    folder: str = ""
    age_limit: float | None = None


def build_inputs(source: Source, models: Iterable[InputModel]) -> tuple[Input, ...]:
    """The sources, in the order in which they count."""
    return tuple(_input(model, source.where(("inputs", n))) for n, model in enumerate(models))


def build_incoming(model: IncomingModel) -> Incoming:
    """The ways in."""
    mqtt = http = None
    if model.mqtt is not None:
        given = model.mqtt.model_dump()
        mqtt = Broker(**(given | {"port": model.mqtt.port or (8883 if model.mqtt.tls else 1883)}))
    if model.http is not None:
        host, _, port = model.http.listen.rpartition(":")
        http = Posting(host.strip("[]"), int(port), model.http.token_file, model.http.certificate_file, model.http.key_file)
    return Incoming(mqtt, http, model.folder, model.age_limit)


def _input(model: InputModel, where: str) -> Input:
    raw = None
    if model.address is not None and model.type is not None:
        raw = RawRegister(model.address, model.function, model.type, model.word_order)
    slope, offset = _line(model)
    return Input(
        model.name,
        model.kind,
        model.source,
        model.age_limit,
        model.device,
        model.quantity,
        raw,
        model.bit,
        slope,
        offset,
        model.reads,
        model.topic,
        model.path,
        model.metric,
        model.point,
        model.above or 0.0,
        stated_value(model.kind, model.value) if model.value else None,
        where,
    )


def _line(model: InputModel) -> tuple[float, float]:
    """Slope and offset that turn the number read, after its `scale`, into SI."""
    kind = UNIT_KIND.get(model.kind)
    if model.reads is not None and kind:
        low, high = (stated_value(model.kind, text) for text in model.means)
        slope = (high - low) / (model.reads[1] - model.reads[0])
        return slope * model.scale, low - slope * model.reads[0]
    if kind is None or model.quantity or model.source not in ("register", "mqtt"):
        return model.scale, 0.0
    zero = convert(0.0, model.unit, kind)
    return (convert(1.0, model.unit, kind) - zero) * model.scale, zero
