"""What the plant's broker sends: inputs by their topics, readings and recordings at topics of this drive.

A message of readings is the batch that HTTP takes too; one of a recording is its header as one line of JSON, a line feed, and the
file. Both are subscribed with quality of service 1 in a session that the broker keeps while we are away, and acknowledged only when
they are kept, so that the broker sends again what a crash, a full disk or a lost line has cut off. What is refused is acknowledged
too, since it would be refused for ever, and said in the diary. A retained message of an input has no age and does not count.
"""

import asyncio
import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gearcase.device.broker import broker_client
from gearcase.device.publish.sparkplug import metrics_of
from gearcase.errors import BadInput, Problem
from gearcase.job.build_inputs import Broker, Input
from gearcase.monitor.incoming.accept import LARGEST_RECORDING, Accept
from gearcase.monitor.inputs import Inputs

if TYPE_CHECKING:
    import aiomqtt

__all__ = ["Topics", "listen", "read_recording_message"]

_KEPT_FOR = 86400  # s that the broker keeps our session while we are away
_LARGEST_HEADER = 4096  # bytes
_LARGEST_VALUE = 65536  # bytes of a message of an input
_WAITING = 20  # messages to us that the broker sends before we acknowledge (MQTT 5.0, 3.1.2.11.3)


async def listen(
    settings: Broker, accept: Accept, inputs: Inputs, *, name: str, clock: Callable[[], float], say: Callable[[str], None]
) -> None:
    """Take what the broker sends until cancelled; raises when the broker is lost, and is to be called again.

    Parameters
    ----------
    settings : Broker
    accept : Accept
    inputs : Inputs
    name : str
        Of this listener at the broker; the same at every start, so that the broker knows what it has not sent.
    clock : callable
        Unix time. [s]
    say : callable
        Takes what was refused, in words.

    Raises
    ------
    Exception
        Whatever keeps the broker from being reached.
    """
    try:
        client = broker_client(
            settings,
            name=name,
            largest=LARGEST_RECORDING + 2 * _LARGEST_HEADER,
            properties={"SessionExpiryInterval": _KEPT_FOR, "ReceiveMaximum": _WAITING},
            clean_start=False,
        )
    except ImportError:
        accepted = 'the parts that listen to a broker: pip install "gearcase[plant]"'
        raise BadInput(Problem("job.yaml", "incoming.mqtt", "a broker", accepted)) from None
    client._client.manual_ack_set(True)  # before it connects: the broker begins at once with what it has not got acknowledged
    async with client:
        own = {topic: 1 for topic in (settings.readings, settings.recordings) if topic}
        topics = Topics(inputs)
        for topic, quality in (dict.fromkeys(topics.names, 0) | own).items():
            await client.subscribe(topic, qos=quality)
        async for message in client.messages:
            await _take(message, settings, accept, topics, clock, say)
            if message.qos:
                client._client.ack(message.mid, message.qos)


async def _take(
    message: "aiomqtt.Message",
    settings: Broker,
    accept: Accept,
    topics: "Topics",
    clock: Callable[[], float],
    say: Callable[[str], None],
) -> None:
    """One message; what cannot be kept now raises, unacknowledged."""
    topic, payload = str(message.topic), message.payload if isinstance(message.payload, bytes) else b""
    topics.hear(topic, payload, retained=message.retain, now=clock())
    try:
        if topic == settings.readings:
            await asyncio.to_thread(accept.readings, payload)
        if topic == settings.recordings:
            header, content = read_recording_message(payload)
            await asyncio.to_thread(accept.recording, header, content)
    except BadInput as error:
        say(f"{topic}: refused: {'; '.join(str(problem) for problem in error.problems[:3])}")


def read_recording_message(payload: bytes) -> tuple[dict[str, Any], bytes]:
    """Header and file of a recording's message.

    Raises
    ------
    BadInput

    Examples
    --------
    >>> read_recording_message(b'{"name": "a.wav", "point": "top"}' + bytes([10]) + b"RIFF")
    ({'name': 'a.wav', 'point': 'top'}, b'RIFF')
    """
    head, line_feed, content = payload.partition(b"\n") if b"\n" in payload[:_LARGEST_HEADER] else (b"", b"", b"")
    try:
        header = json.loads(head.decode("utf-8"))
    except (ValueError, RecursionError):
        header = None
    if not line_feed or not isinstance(header, dict):
        accepted = f"one line of JSON of at most {_LARGEST_HEADER} bytes with name and point, a line feed, and the file"
        raise BadInput(Problem("header", "", repr(payload[:40]), accepted))
    if len(content) > LARGEST_RECORDING:
        raise BadInput(Problem("recording", "", f"{len(content)} bytes", f"at most {LARGEST_RECORDING} bytes"))
    return header, content


class Topics:
    """The topics that inputs come from, and what is said there. Names of Sparkplug metrics are known by the births heard."""

    def __init__(self, inputs: Inputs) -> None:
        self._inputs = inputs
        self._at: dict[str, list[Input]] = {}
        self._births: dict[str, dict[int, tuple[str, int]]] = {}  # topic of data -> alias -> name and data type
        self._belongs: dict[str, str] = {}  # topic of a birth or death -> topic of data
        for one in inputs.inputs:
            if one.source == "mqtt":
                self._at.setdefault(one.topic, []).append(one)
                if one.metric:
                    self._belongs |= dict.fromkeys(_births_and_deaths(one.topic), one.topic)

    @property
    def names(self) -> tuple[str, ...]:
        """What must be subscribed."""
        return (*self._at, *self._belongs)

    def hear(self, topic: str, payload: bytes, *, retained: bool, now: float) -> None:
        """What a message says of the inputs that come from its topic. Unix time. [s]"""
        of = self._belongs.get(topic, topic)
        for one in self._at.get(of, ()):
            if retained:
                found: float | str | _No = _No("only a retained message so far, of unknown age")
            elif len(payload) > _LARGEST_VALUE:
                found = _No(f"{len(payload)} bytes")
            else:
                found = self._metric(one, topic, payload) if one.metric else _value(one, payload)
            if isinstance(found, _No):
                self._inputs.hear(one.name, None, now, f"no value in its message: {found.why}")
            else:
                self._inputs.hear_raw(one, found, now)

    def _metric(self, one: Input, topic: str, payload: bytes) -> "float | str | _No":
        if topic in self._belongs and topic.split("/")[2].endswith("DEATH"):
            return _No("its device is not there any more")
        told = metrics_of(payload)
        if told is None:
            return _No("it is no Sparkplug B")
        births = self._births.setdefault(one.topic, {})
        if topic in self._belongs:
            births |= {alias: (name, kind) for name, alias, kind, _ in told if name}
        for name, alias, kind, value in reversed(told):
            named, born_as = births.get(alias, ("", 0))
            if (name or named) == one.metric:
                return _No("null") if value is None else _signed(value, kind or born_as)
        if any(not name and alias not in births for name, alias, _, _ in told):
            return _No("names by number, and the birth that says them was not heard yet")
        return _No(f"no metric {one.metric!r}")


@dataclass(frozen=True)
class _No:
    """Why a message has no value."""

    why: str


def _births_and_deaths(topic: str) -> tuple[str, ...]:
    """Topics of birth and death that belong to a topic of data."""
    parts = topic.split("/")
    if len(parts) < 4 or parts[2] not in ("NDATA", "DDATA"):
        return ()
    kinds = ("NBIRTH", "NDEATH") if parts[2] == "NDATA" else ("DBIRTH", "DDEATH")
    return tuple("/".join((*parts[:2], kind, *parts[3:])) for kind in kinds)


def _signed(value: float | str, kind: int) -> float | str:
    """A value of the wire by its data type: whole numbers below 0 are sent as two's complement (Sparkplug 3.0.0, 6.4.16)."""
    bits = {1: 8, 2: 16, 3: 32, 4: 64}.get(kind)
    if isinstance(value, str) or bits is None:
        return value if isinstance(value, str) else float(value)
    whole = int(value) & (2**bits - 1)
    return float(whole - 2**bits if whole >= 2 ** (bits - 1) else whole)


def _value(one: Input, payload: bytes) -> float | str | _No:
    """The value of a message as JSON, or as plain text where no path is given."""
    try:
        found = json.loads(payload.decode("utf-8"))
    except (ValueError, RecursionError):
        if one.path:
            return _No("it is no JSON")
        return payload[:40].decode("utf-8", "replace").strip()
    for step in one.path.split(".") if one.path else ():
        if isinstance(found, list) and step.isdecimal() and int(step) < len(found):
            found = found[int(step)]
        elif isinstance(found, dict) and step in found:
            found = found[step]
        else:
            return _No(f"nothing at {one.path}")
    if isinstance(found, int | float) and abs(found) < 1e300:  # true and false are 1 and 0
        return float(found)
    return found[:40] if isinstance(found, str) else _No("no number")
