"""The plant's broker: a drive as a Sparkplug B device over MQTT 5.

A connection carries its own death as will. It is born when the broker has it, and when the host that it must wait for is online; it
is born again when a host asks, but not at once and again. Every value that has changed goes out at the next look, and one that has
only been read again every `EVERY` seconds. Nothing that the plant sends is taken but that request; what is larger than `_LARGEST`
the broker is told to keep.
"""

import asyncio
import math
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import TYPE_CHECKING

from gearcase.device.broker import broker_client
from gearcase.device.publish.latest import Latest, Told
from gearcase.device.publish.registers import Slot
from gearcase.device.publish.sparkplug import EdgeNode, asks_for_rebirth, host_online, state_topic, topic
from gearcase.job.build_publish import MqttFace

if TYPE_CHECKING:
    import aiomqtt

__all__ = ["EVERY", "Broker"]

EVERY = 30.0  # s between tellings of a value that is the same
_BORN_AGAIN = 5.0  # s at least between births
_LARGEST = 65536  # bytes of a message to us
_WAITING = 100  # messages to us that may wait


class Broker:
    """Tells a broker what `latest` holds, until cancelled.

    Parameters
    ----------
    latest : Latest
    slots : sequence of Slot
        As `registers.assign` gives them.
    settings : MqttFace
    """

    name = "MQTT"

    def __init__(self, latest: Latest, slots: Sequence[Slot], settings: MqttFace) -> None:
        self._latest, self._settings = latest, settings
        self._node = EdgeNode([one for one in slots if one.value is not None], birth_number=255)
        self._news = asyncio.Event()
        self._rebirth = False
        self._online = False
        self._sent: dict[str, tuple[Told, float]] = {}
        self._born = -math.inf

    def wake(self) -> None:
        """There may be something to tell."""
        self._news.set()

    async def run(self, say: Callable[[str], None]) -> None:
        """Tell until cancelled; raises when the broker is lost.

        Raises
        ------
        Exception
            Whatever keeps the broker from being reached.
        """
        import aiomqtt

        settings, node = self._settings, self._node
        self._sent, self._born = {}, -math.inf
        node.birth_number = (node.birth_number + 1) % 256
        death = self._topic("NDEATH")
        async with broker_client(
            settings,
            name=f"{settings.group} {settings.node}",
            largest=_LARGEST,
            will=aiomqtt.Will(death, node.death(self._latest.clock()), qos=1),
            clean_start=True,
            max_queued_incoming_messages=_WAITING,
        ) as client:
            await client.subscribe(self._topic("NCMD"), qos=1)
            if settings.primary_host:
                await client.subscribe(state_topic(settings.primary_host), qos=1)
                say(f"waits for the host {settings.primary_host} to be online")
            self._online, self._rebirth = not settings.primary_host, True
            listening = asyncio.create_task(self._listen(client))
            try:
                while True:
                    await self._tell(client, say)
                    await self._wait(listening)
            finally:
                listening.cancel()
                with suppress(Exception):  # a clean leave sends no will, so the death is told
                    await client.publish(death, node.death(self._latest.clock()), qos=1, timeout=2.0)

    async def _tell(self, client: "aiomqtt.Client", say: Callable[[str], None]) -> None:
        """Births when they are due, else what is new."""
        if not self._online:
            return
        now, ticks = self._latest.clock(), time.monotonic()
        told = {one.name: self._latest.of(one.name) for one in self._node.slots}
        if self._rebirth and ticks - self._born >= _BORN_AGAIN:
            node, device = self._node.births(told, now)
            self._rebirth, self._born = False, ticks
            await client.publish(self._topic("NBIRTH"), node)
            await client.publish(self._topic("DBIRTH", self._settings.device), device)
            self._sent = {name: (one, ticks) for name, one in told.items()}
            say("")
        elif not self._sent:
            return  # not born on this connection yet
        if new := {name: one for name, one in told.items() if self._is_new(name, one, ticks)}:
            await client.publish(self._topic("DDATA", self._settings.device), self._node.data(new, now))
            self._sent |= {name: (one, ticks) for name, one in new.items()}

    def _is_new(self, name: str, one: Told, ticks: float) -> bool:
        before, at = self._sent[name]
        if (one.value, one.quality) != (before.value, before.quality):
            return True
        return one.time_s != before.time_s and ticks - at >= EVERY

    async def _wait(self, listening: "asyncio.Task[None]") -> None:
        """For news, or for the end of the connection."""
        news = asyncio.create_task(self._news.wait())
        try:
            await asyncio.wait((news, listening), return_when=asyncio.FIRST_COMPLETED)
        finally:
            news.cancel()
        self._news.clear()
        if listening.done():
            listening.result()

    async def _listen(self, client: "aiomqtt.Client") -> None:
        host = self._settings.primary_host
        async for message in client.messages:
            payload = message.payload if isinstance(message.payload, bytes) else b""
            if host and str(message.topic) == state_topic(host):
                online = host_online(payload)
                if self._online and online is False:
                    raise ConnectionError(f"the host {host} is offline")
                self._online = bool(online) or self._online
            elif not message.retain and asks_for_rebirth(payload):
                self._rebirth = True
            self.wake()

    def _topic(self, kind: str, device: str = "") -> str:
        return topic(kind, self._settings.group, self._settings.node, device)
