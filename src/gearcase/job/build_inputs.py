"""From the document to the plant's inputs and the ways in."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from gearcase.job.build_publish import User, user_of
from gearcase.job.inputs_checks import UNIT_KIND, stated_value
from gearcase.job.inputs_schema import IncomingModel, InputModel
from gearcase.job.read import Source
from gearcase.job.secret_schema import Secret, secret_of
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
    """The plant's MQTT broker; `ca_file` None for the system's, `user` None where nobody logs in."""

    host: str
    port: int
    tls: bool
    ca_file: Path | None
    user: User | None
    readings: str
    recordings: str


@dataclass(frozen=True)
class Posting:
    """Where readings and recordings may be posted; no certificate behind a proxy."""

    address: str
    port: int
    token: Secret
    certificate_file: Path | None
    key_file: Path | None


@dataclass(frozen=True)
class Incoming:
    """The ways in, None where there is none; `age_limit` of a reading that came in. [s]"""

    mqtt: Broker | None = None
    http: Posting | None = None
    folder: Path | None = None
    age_limit: float = 600.0  # common practice, no source


def build_inputs(source: Source, models: Iterable[InputModel]) -> tuple[Input, ...]:
    """The sources, in the order in which they count."""
    return tuple(_input(model, source.where(("inputs", n))) for n, model in enumerate(models))


def build_incoming(model: IncomingModel, folder: str) -> Incoming:
    """The ways in; files are named from the job's folder."""

    def path(name: str) -> Path | None:
        return Path(folder) / name if name else None

    mqtt = http = None
    if (given := model.mqtt) is not None:
        port = given.port or (8883 if given.tls else 1883)
        user = user_of(Path(folder), given)
        mqtt = Broker(given.host, port, given.tls, path(given.ca_file), user, given.readings, given.recordings)
    if (post := model.http) is not None:
        files_ = path(post.certificate_file), path(post.key_file)
        http = Posting(post.address, post.port, secret_of(Path(folder), post.token_file, post.token_variable), *files_)
    return Incoming(mqtt, http, path(model.folder), model.age_limit or Incoming.age_limit)


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
