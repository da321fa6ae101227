"""The rig as real devices: Modbus TCP on loopback, and Modbus RTU on a pseudo-terminal whose bytes take as long as on a wire.

The bytes are made here and in `rig.link`, not by the library our own client uses, so that either side is tried against another
implementation. What is malformed is answered by an exception where the protocol has one, else dropped; nothing is kept of it.
"""

import asyncio
import contextlib
import os
import pty
import struct
import tty
from collections.abc import AsyncIterator, Coroutine
from contextlib import asynccontextmanager
from dataclasses import dataclass
from typing import Any

from gearcase.device.listening import close_to_newcomers
from gearcase.device.rig import frames
from gearcase.device.rig.devices import Rig
from gearcase.device.rig.link import Gateway, Line, Sent, SerialLine
from gearcase.errors import BadInput, Problem
from gearcase.install.bus import character_time, silence_after_frame

__all__ = ["Served", "serving"]

_HEADER = 7  # bytes of a TCP frame before its PDU
_LONGEST_PDU = 253
_LEAST_SILENCE = 0.02  # s: a pseudo-terminal hands on bytes in lumps, so that a shorter gap ends no frame


@dataclass(frozen=True)
class Served:
    """Where the rig answers, each as a job's ``bus.connection``."""

    tcp: str
    serial: str


@asynccontextmanager
async def serving(rig: Rig, *, port: int, baud: int) -> AsyncIterator[Served]:
    """Serve a rig until left.

    Parameters
    ----------
    rig : Rig
    port : int
        Of Modbus TCP on 127.0.0.1.
    baud : int
        Of the serial line; its bytes take as long as on a wire.

    Raises
    ------
    BadInput
        The port is taken.
    """
    line = Line(rig)
    clients: set[asyncio.Task[None]] = set()

    writers: set[asyncio.StreamWriter] = set()

    def client(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writers.add(writer)
        task = asyncio.create_task(_serve_client(line, reader, writer))
        clients.add(task)
        task.add_done_callback(clients.discard)
        task.add_done_callback(lambda _: writers.discard(writer))

    try:
        server = await asyncio.start_server(client, "127.0.0.1", port)
    except OSError:
        raise BadInput(Problem("--port", "", str(port), "a port of this machine that nothing else uses")) from None
    ours, theirs = pty.openpty()
    tty.setraw(theirs)
    os.set_blocking(ours, False)
    wire = asyncio.create_task(_Wire(line, ours, baud).run())
    try:
        yield Served(f"tcp 127.0.0.1:{port}", f"serial {os.ttyname(theirs)}")
    finally:
        await close_to_newcomers(server)
        open_still = list(writers)
        for task in (wire, *clients):
            task.cancel()
        await asyncio.gather(wire, *clients, return_exceptions=True)
        for writer in open_still:  # also of a client that had only just come, and of one that takes no answers
            writer.transport.abort()
        await asyncio.sleep(0)  # the loop closes them at its next turn, and this may be its last
        for end in (ours, theirs):
            os.close(end)


async def _serve_client(line: Line, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """One connection: requests as they come, each answered when its time has come, late ones after later requests too."""
    async with _Sending() as sending:
        try:
            while True:
                transaction, protocol, length, unit = struct.unpack(">HHHB", await reader.readexactly(_HEADER))
                if protocol or not 2 <= length <= _LONGEST_PDU + 1:
                    break
                pdu = await reader.readexactly(length - 1)
                for sent in line.answer(unit, pdu, Gateway(transaction)):
                    sending.start(_send(writer, sent))
        except (asyncio.IncompleteReadError, ConnectionError):
            pass
        finally:
            writer.close()


async def _send(writer: asyncio.StreamWriter, sent: Sent) -> None:
    if sent.after:
        await asyncio.sleep(sent.after)
    if not writer.is_closing():
        writer.write(sent.frame)
        with contextlib.suppress(ConnectionError):
            await writer.drain()


class _Sending:
    """Replies on their way, cancelled together."""

    def __init__(self) -> None:
        self._tasks: set[asyncio.Task[None]] = set()

    async def __aenter__(self) -> "_Sending":
        return self

    async def __aexit__(self, *_: object) -> None:
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    def start(self, sending: Coroutine[Any, Any, None]) -> None:
        task = asyncio.create_task(sending)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)


class _Wire:
    """The serial line: bytes in either direction occupy it one after the other."""

    def __init__(self, line: Line, end: int, baud: int) -> None:
        self._line, self._end = line, end
        self._each = character_time(baud=baud)
        self._silence = max(silence_after_frame(baud=baud), _LEAST_SILENCE)
        self._free = 0.0
        self._heard = b""

    async def run(self) -> None:
        """Serve until cancelled."""
        loop = asyncio.get_running_loop()
        ready = asyncio.Event()
        loop.add_reader(self._end, ready.set)
        try:
            async with _Sending() as sending:
                while True:
                    try:
                        await asyncio.wait_for(ready.wait(), self._silence if self._heard else None)
                    except TimeoutError:
                        self._answer(self._heard, sending)  # silence ends a frame of any kind
                        self._heard = b""
                        continue
                    ready.clear()
                    with contextlib.suppress(BlockingIOError, OSError):
                        while data := os.read(self._end, frames.LONGEST):
                            self._free = max(self._free, loop.time()) + len(data) * self._each
                            self._heard = (self._heard + data)[-2 * frames.LONGEST :]
                            self._take_whole(sending)
        finally:
            loop.remove_reader(self._end)

    def _take_whole(self, sending: _Sending) -> None:
        """Requests whose length is known are answered at once; after a wrong checksum all is thrown away until silence."""
        while (length := frames.serial_length(self._heard)) and len(self._heard) >= length:
            frame, self._heard = self._heard[:length], self._heard[length:]
            if frames.unwrap_serial(frame) is None:
                self._heard = b""
            self._answer(frame, sending)

    def _answer(self, frame: bytes, sending: _Sending) -> None:
        heard = frames.unwrap_serial(frame)
        if heard is not None:
            for sent in self._line.answer(*heard, SerialLine()):
                sending.start(self._send(sent))

    async def _send(self, sent: Sent) -> None:
        loop = asyncio.get_running_loop()
        if sent.after:
            await asyncio.sleep(max(self._free - loop.time(), 0) + sent.after)
        self._free = max(self._free, loop.time()) + len(sent.frame) * self._each
        await asyncio.sleep(max(self._free - loop.time(), 0))
        with contextlib.suppress(BlockingIOError):
            os.write(self._end, sent.frame)
