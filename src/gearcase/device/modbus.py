"""Modbus over TCP or a serial line. The only place that knows the protocol's library; it owns time-outs and retries."""

import asyncio
import logging
import re
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager, suppress

from pymodbus import ModbusException
from pymodbus.client import AsyncModbusSerialClient, AsyncModbusTcpClient
from pymodbus.exceptions import ModbusIOException
from pymodbus.pdu import ModbusPDU

from gearcase.device.bus import LONGEST_READ
from gearcase.errors import BadInput, BadReply, BadRequest, NoReply, OutOfRange, Problem

__all__ = ["CONNECTION_FORM", "ModbusBus", "connected", "parse_connection"]

CONNECTION_FORM = '"tcp 192.0.2.10:502" or "serial /dev/ttyUSB0"'
logging.getLogger("pymodbus").setLevel(logging.CRITICAL)  # what it would say is said by our own errors, once
_REFUSALS = {1: "it knows no such function", 2: "it has no such register", 3: "it refuses the value", 4: "it failed inside"}


class ModbusBus:
    """A `RegisterBus` over an open client. One request at a time: on a serial line two would collide."""

    def __init__(self, client: AsyncModbusTcpClient | AsyncModbusSerialClient) -> None:
        self._client = client
        self._lock = asyncio.Lock()

    async def read(self, *, unit: int, function: int, start: int, count: int) -> tuple[int, ...]:
        """As `RegisterBus.read`."""
        found: list[int] = []
        ask = {3: self._client.read_holding_registers, 4: self._client.read_input_registers}[function]
        for first in range(start, start + count, LONGEST_READ):
            wanted = min(LONGEST_READ, start + count - first)
            asked = f"registers {first} to {first + wanted - 1}"
            async with self._lock:
                await self._open_again(unit, asked)
                try:
                    reply = await ask(first, count=wanted, device_id=unit)
                except ModbusException as error:
                    raise _silence(unit, asked, error) from None
            _accept(unit, asked, reply)
            if len(reply.registers) != wanted:
                raise BadReply(unit, asked, f"{len(reply.registers)} registers came back")
            found += reply.registers
        return tuple(found)

    async def write(self, *, unit: int, start: int, words: Sequence[int]) -> None:
        """As `RegisterBus.write`."""
        asked = f"writing registers {start} to {start + len(words) - 1}"
        async with self._lock:
            await self._open_again(unit, asked)
            try:
                reply = await self._client.write_registers(start, list(words), device_id=unit)
            except ModbusException as error:
                raise _silence(unit, asked, error) from None
        _accept(unit, asked, reply)

    async def _open_again(self, unit: int, asked: str) -> None:
        """A gateway that was restarted is taken up again at the next question."""
        if self._client.connected:
            return
        opened = False
        with suppress(OSError, ModbusException):
            opened = await self._client.connect()
        if not opened:
            raise NoReply(unit, asked, "the bus cannot be opened any more; look at the gateway or the adapter")


def parse_connection(text: str) -> tuple[str, str, int]:
    """``("tcp", host, port)`` or ``("serial", path, 0)``.

    Raises
    ------
    OutOfRange
        Neither form.

    Examples
    --------
    >>> parse_connection("tcp 127.0.0.1:5020")
    ('tcp', '127.0.0.1', 5020)
    """
    if match := re.fullmatch(r"tcp\s+(\S+):(\d{1,5})", text.strip()):
        if 0 < int(match[2]) < 65536:
            return "tcp", match[1], int(match[2])
    elif match := re.fullmatch(r"serial\s+(\S+)", text.strip()):
        return "serial", match[1], 0
    raise OutOfRange("connection", repr(text), f"how the bus is reached: {CONNECTION_FORM}")


@asynccontextmanager
async def connected(connection: str, *, baud: int, timeout: float = 0.5, tries: int = 3) -> AsyncIterator[ModbusBus]:
    """An open bus.

    Parameters
    ----------
    connection : str
        ``tcp HOST:PORT`` or ``serial PATH``.
    baud : int
        Of a serial line.
    timeout : float
        For one reply. [s]
    tries : int
        Before a device counts as silent.

    Raises
    ------
    OutOfRange, BadInput
        The connection is not of the form, or nothing can be opened there.
    """
    kind, place, port = parse_connection(connection)
    client: AsyncModbusTcpClient | AsyncModbusSerialClient
    if kind == "tcp":
        client = AsyncModbusTcpClient(place, port=port, timeout=timeout, retries=tries - 1, reconnect_delay=0)
    else:
        client = AsyncModbusSerialClient(place, baudrate=baud, timeout=timeout, retries=tries - 1, reconnect_delay=0)
    opened = False
    with suppress(OSError, ModbusException):
        opened = await client.connect()
    if not opened:
        accepted = "a bus that can be opened: is the gateway on, the adapter plugged in, the path right?"
        raise BadInput(Problem("bus.connection", "", repr(connection), accepted))
    try:
        yield ModbusBus(client)
    finally:
        client.close()


def _silence(unit: int, asked: str, error: ModbusException) -> NoReply:
    says = "no reply" if isinstance(error, ModbusIOException) else str(error)
    return NoReply(unit, asked, f"{says}; look at its address, its supply and its stub")


def _accept(unit: int, asked: str, reply: ModbusPDU) -> None:
    if reply.isError():
        code = getattr(reply, "exception_code", 0)
        if code == 11:  # a gateway's word for a device that does not answer
            raise NoReply(unit, asked, "the gateway got no reply from it")
        raise BadRequest(unit, asked, _REFUSALS.get(code, f"exception {code}"))
