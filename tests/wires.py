"""Devices on a wire for tests, written from the specifications alone: what they answer can be lost, late, doubled, spoilt.

Frames by Modbus over Serial Line V1.02 and MODBUS Messaging on TCP/IP V1.0b. A device answers in the order it is asked.
"""

import asyncio
import contextlib
import os
import pty
import struct
import tty
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager

from gearcase.device.listening import close_to_newcomers

Answer = Callable[[int, bytes], bytes | None]  # unit and PDU -> PDU, None where nobody answers
Spoil = Callable[[bytes], Sequence[tuple[float, bytes]]]  # an answer's frame -> what goes on the wire, each after so many seconds


def checksum(frame: bytes) -> bytes:
    """CRC-16 bit by bit, low byte first: polynomial 0xA001 reflected, start 0xFFFF."""
    value = 0xFFFF
    for byte in frame:
        value ^= byte
        for _ in range(8):
            value = value >> 1 ^ (0xA001 if value & 1 else 0)
    return value.to_bytes(2, "little")


def registers(held: dict[int, dict[int, int]], written: list[tuple[int, int, tuple[int, ...]]] | None = None) -> Answer:
    """Units with their registers, holding and input alike; what is written is noted."""

    def answer(unit: int, pdu: bytes) -> bytes | None:
        if unit not in held:
            return None
        function, (start, count) = pdu[0], struct.unpack(">HH", pdu[1:5])
        if any(address not in held[unit] for address in range(start, start + count)):
            return bytes([function | 0x80, 2])
        if function in (3, 4):
            return struct.pack(f">BB{count}H", function, 2 * count, *(held[unit][start + n] for n in range(count)))
        words = struct.unpack(f">{count}H", pdu[6:])
        held[unit].update(enumerate(words, start))
        if written is not None:
            written.append((unit, start, words))
        return pdu[:5]

    return answer


class Wire:
    """One stream of bytes to and from the devices."""

    def __init__(self, answer: Answer, send: Callable[[bytes], None], *, serial: bool, spoil: Spoil | None) -> None:
        self.answer, self.send, self.serial, self.spoil = answer, send, serial, spoil
        self.asked: list[tuple[int, bytes]] = []
        self._held = b""
        self._free = 0.0

    def take(self, data: bytes) -> None:
        self._held += data
        while frame := self._cut():
            unit, pdu, wrap = frame
            self.asked.append((unit, pdu))
            answer = self.answer(unit, pdu)
            if answer is not None:
                self._put(wrap(answer))

    def _put(self, frame: bytes) -> None:
        loop = asyncio.get_running_loop()
        for delay, data in self.spoil(frame) if self.spoil else [(0.0, frame)]:
            self._free = max(self._free, loop.time() + delay)  # in order
            loop.call_at(self._free, self.send, data)

    def _cut(self) -> tuple[int, bytes, Callable[[bytes], bytes]] | None:
        held = self._held
        if self.serial:
            if len(held) < 8:
                return None
            unit, size = held[0], 9 + held[6] if held[1] == 16 else 8
            if len(held) < size:
                return None
            assert checksum(held[: size - 2]) == held[size - 2 : size], "the master's checksum"
            self._held = held[size:]
            return unit, held[1 : size - 2], lambda pdu: bytes([unit]) + pdu + checksum(bytes([unit]) + pdu)
        if len(held) < 8:
            return None
        number, protocol, length, unit = struct.unpack(">HHHB", held[:7])
        assert protocol == 0
        if len(held) < 6 + length:
            return None
        self._held = held[6 + length :]
        return unit, held[7 : 6 + length], lambda pdu: struct.pack(">HHHB", number, 0, len(pdu) + 1, unit) + pdu


@asynccontextmanager
async def over_network(
    answer: Answer, *, serial: bool = False, spoil: Spoil | None = None, port: int = 0
) -> AsyncIterator[tuple[str, list[Wire]]]:
    """Devices behind a gateway, as a job's connection; every connection made is a `Wire` of its own."""
    wires: list[Wire] = []
    ends: list[asyncio.Transport] = []

    class Server(asyncio.Protocol):
        def connection_made(self, transport: asyncio.BaseTransport) -> None:
            assert isinstance(transport, asyncio.Transport)
            self.transport = transport
            ends.append(transport)
            wires.append(Wire(answer, self._send, serial=serial, spoil=spoil))

        def _send(self, data: bytes) -> None:
            if not self.transport.is_closing():
                self.transport.write(data)

        def data_received(self, data: bytes) -> None:
            wires[-1].take(data)

    server = await asyncio.get_running_loop().create_server(Server, "127.0.0.1", port)
    try:
        yield f"{'rtu-over-tcp' if serial else 'tcp'} 127.0.0.1:{server.sockets[0].getsockname()[1]}", wires
    finally:
        await close_to_newcomers(server)
        for end in ends:
            end.abort()
        await asyncio.sleep(0)


@asynccontextmanager
async def on_a_line(answer: Answer, *, spoil: Spoil | None = None) -> AsyncIterator[tuple[str, list[Wire]]]:
    """Devices on a pseudo-terminal, unpaced."""
    ours, theirs = pty.openpty()
    tty.setraw(theirs)
    os.set_blocking(ours, False)
    loop = asyncio.get_running_loop()

    def send(data: bytes) -> None:
        with contextlib.suppress(BlockingIOError, OSError):
            os.write(ours, data)

    wire = Wire(answer, send, serial=True, spoil=spoil)

    def ready() -> None:
        with contextlib.suppress(BlockingIOError, OSError):
            wire.take(os.read(ours, 4096))

    loop.add_reader(ours, ready)
    try:
        yield f"serial {os.ttyname(theirs)}", [wire]
    finally:
        loop.remove_reader(ours)
        os.close(ours)
        os.close(theirs)
