"""The plant's Modbus TCP server: the register map of a job, to be read and not written (MODBUS Messaging on TCP/IP V1.0b).

Nothing is written but the acknowledge register, and that only from the addresses that the job names: the protocol has no password,
so whoever can send from such an address can acknowledge. To all others the functions that write do not exist.

A frame that is not Modbus TCP closes its connection, for nothing after it could be told apart; a request that is wrong is refused
with the exception the protocol has for it. Connections are limited in number, in how long they may be silent, and in how long they
may leave an answer untaken.
"""

import asyncio
import math
import struct
import time
from collections.abc import Callable, Sequence

from gearcase.device.publish.latest import Latest
from gearcase.device.publish.registers import ACKNOWLEDGE, CLOCK, NOTHING, SLOT, Slot, head, slot_registers
from gearcase.device.publish.values import QUALITY
from gearcase.device.requests import READS, WRITES, Malformed, Request, exception, reply, request, tcp
from gearcase.install.register import Register, encode

__all__ = ["ModbusServer"]

MOST_CONNECTIONS = 16
_SILENT = 600.0  # s, after which a connection that asks nothing is closed
_SLOW = 5.0  # s for the rest of a request that has begun, and for an answer to be taken
_LONGEST_FRAME = 254  # bytes after the length field: unit and 253 of request
_ACKNOWLEDGED_EVERY = 10.0  # s at least between two; a controller may write at every scan, and each stands in the diary
_NO_FUNCTION, _NO_ADDRESS, _NO_VALUE, _FAILED, _BUSY = 1, 2, 3, 4, 6  # exception codes


class ModbusServer:
    """Serves `latest` until cancelled.

    Parameters
    ----------
    latest : Latest
    slots : sequence of Slot
        As `registers.assign` gives them.
    address, port : str, int
        Where it listens.
    acknowledge_from : sequence of str
        Addresses that may acknowledge; none where nobody may.
    acknowledge : callable
        Takes who acknowledged.
    """

    name = "Modbus TCP"

    def __init__(
        self,
        latest: Latest,
        slots: Sequence[Slot],
        *,
        address: str,
        port: int,
        acknowledge_from: Sequence[str],
        acknowledge: Callable[[str], None],
    ) -> None:
        self._latest, self._slots = latest, slots
        self._address, self._port = address, port
        self._acknowledge_from, self._acknowledge = acknowledge_from, acknowledge
        self._head = head(acknowledge=bool(acknowledge_from))
        self._end = (slots[-1].address if slots else ACKNOWLEDGE) + SLOT
        self._open: set[asyncio.StreamWriter] = set()
        self._acknowledged = -math.inf

    def wake(self) -> None:
        """Nothing to do: who asks is answered with what stands then."""

    async def run(self, say: Callable[[str], None]) -> None:
        """Serve until cancelled; says nothing more once it listens.

        Raises
        ------
        OSError
            It cannot listen there.
        """
        server = await asyncio.start_server(self._serve, self._address, self._port, limit=4096)
        say("")
        try:
            await server.serve_forever()
        finally:
            server.close()
            for writer in list(self._open):
                writer.transport.abort()

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        if len(self._open) >= MOST_CONNECTIONS:
            writer.transport.abort()
            return
        self._open.add(writer)
        peer = str(writer.get_extra_info("peername")[0])
        try:
            while True:
                async with asyncio.timeout(_SILENT):
                    first = await reader.readexactly(1)
                async with asyncio.timeout(_SLOW):
                    transaction, protocol, length, unit = struct.unpack(">HHHB", first + await reader.readexactly(6))
                    if protocol != 0 or not 2 <= length <= _LONGEST_FRAME:
                        break
                    answer = self.answer(await reader.readexactly(length - 1), peer)
                    writer.write(tcp(transaction, unit, answer))
                    await writer.drain()
        except (TimeoutError, OSError, asyncio.IncompleteReadError):
            pass  # it has gone, or it is not worth waiting for
        finally:
            self._open.discard(writer)
            writer.transport.abort()

    def answer(self, pdu: bytes, peer: str) -> bytes:
        """What is answered to one request, function code first, that came from an address."""
        function = pdu[0]
        if function not in READS and not (function in WRITES and peer in self._acknowledge_from):
            return exception(function, _NO_FUNCTION)
        try:
            asked = request(pdu)
        except Malformed as error:
            return exception(error.function, error.code)
        return self._write(asked, peer) if asked.words else self._read(asked)

    def _read(self, asked: Request) -> bytes:
        if asked.start + asked.count > self._end:
            return exception(asked.function, _NO_ADDRESS)
        return reply(asked, self._words(asked.start, asked.start + asked.count))

    def _write(self, asked: Request, peer: str) -> bytes:
        """A 1 to the acknowledge register; anything else is refused."""
        if (asked.start, asked.count) != (ACKNOWLEDGE, 1):
            return exception(asked.function, _NO_ADDRESS)
        if asked.words != (1,):
            return exception(asked.function, _NO_VALUE)
        if time.monotonic() - self._acknowledged < _ACKNOWLEDGED_EVERY:
            return exception(asked.function, _BUSY)
        try:
            self._acknowledge(f"the plant, over Modbus TCP from {peer}")
        except Exception:  # what could not be kept is not acknowledged
            return exception(asked.function, _FAILED)
        self._acknowledged = time.monotonic()
        return reply(asked, ())

    def _words(self, start: int, end: int) -> list[int]:
        """Registers from `start` to before `end`; a spare or reserved one is 0, but what is reserved is of bad quality."""
        found = [0] * (end - start)

        def put(register: Register, value: float) -> None:
            for at, word in enumerate(encode(register, value), register.address - start):
                if 0 <= at < len(found):
                    found[at] = word

        for register in self._head:
            if register.address < end and register.address + register.words > start:
                put(register, self._clock() if register.address == CLOCK else register.constant or 0.0)
        for slot in self._slots:
            if slot.address < end and slot.address + SLOT > start:
                value, moment, quality = slot_registers(slot)
                told = self._latest.of(slot.name) if slot.value else None
                good = told is not None and told.quality == "good" and told.value is not None
                put(value, told.value if told and told.value is not None and good else NOTHING[slot.form])
                put(moment, _seconds(told.time_s) if told else 0)
                put(quality, QUALITY[told.quality] if told else QUALITY["bad"])
        return found

    def _clock(self) -> int:
        return _seconds(self._latest.clock())


def _seconds(time_s: float) -> int:
    """Unix time as 32 bits hold it."""
    return int(min(max(time_s, 0.0), 2**32 - 1)) if math.isfinite(time_s) else 0
