"""The rig as real devices: Modbus TCP on loopback, and Modbus RTU on a pseudo-terminal whose bytes are paced like a wire's."""

import asyncio
import contextlib
import logging
import os
import pty
import tty
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass

from pymodbus.constants import ExcCodes
from pymodbus.framer import FramerType
from pymodbus.server import ModbusSerialServer, ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from gearcase.device.rig import Rig
from gearcase.errors import BadInput, BadRequest, NoReply, Problem
from gearcase.install.bus import character_time

__all__ = ["Served", "serving"]

_REGISTERS = 65536
logging.getLogger("pymodbus").setLevel(logging.CRITICAL)  # a unit that is not there is no error here


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
    devices = [_device(rig, unit) for unit in rig.units]
    tcp = ModbusTcpServer(devices, address=("127.0.0.1", port), trace_packet=_dropping(rig, 6))
    try:
        await tcp.serve_forever(background=True)
    except RuntimeError:
        raise BadInput(Problem("--port", "", str(port), "a port of this machine that nothing else uses")) from None
    inner, inner_path = _pair()
    outer, outer_path = _pair()
    serial = ModbusSerialServer(
        devices,
        framer=FramerType.RTU,
        port=inner_path,
        baudrate=baud,
        trace_packet=_dropping(rig, 0),
    )
    await serial.serve_forever(background=True)
    pumps = [asyncio.create_task(_pump(*ends, character_time(baud=baud))) for ends in ((inner, outer), (outer, inner))]
    try:
        yield Served(f"tcp 127.0.0.1:{port}", f"serial {outer_path}")
    finally:
        for pump in pumps:
            pump.cancel()
        await tcp.shutdown()  # type: ignore[no-untyped-call]
        await serial.shutdown()  # type: ignore[no-untyped-call]
        for end in (inner, outer):
            os.close(end)


def _device(rig: Rig, unit: int) -> SimDevice:
    async def act(
        function_code: int,
        start_address: int,
        address: int,
        count: int,
        current_registers: list[int],
        set_values: list[int] | list[bool] | None,
    ) -> ExcCodes | None:
        try:
            if set_values is not None:
                rig.write(unit, address, [int(value) for value in set_values])
            else:
                first = address - start_address
                current_registers[first : first + count] = rig.read(unit, address, count)
        except BadRequest:
            return ExcCodes.ILLEGAL_ADDRESS
        except NoReply:
            return ExcCodes.GATEWAY_NO_RESPONSE  # never sent: the packet is dropped
        return None

    block = SimData(0, count=_REGISTERS, values=0, datatype=DataType.REGISTERS)
    return SimDevice(unit, simdata=[block], action=act)


def _dropping(rig: Rig, at: int) -> Callable[[bool, bytes], bytes]:
    """Drop what a silent unit, or one that is not there, would send; its address stands at byte `at` of a frame."""

    def trace(sending: bool, frame: bytes) -> bytes:
        return b"" if sending and len(frame) > at and rig.is_silent(frame[at]) else frame

    return trace


def _pair() -> tuple[int, str]:
    """Our end of a pseudo-terminal, and the path of the other."""
    ours, theirs = pty.openpty()
    tty.setraw(theirs)
    path = os.ttyname(theirs)
    os.set_blocking(ours, False)
    return ours, path


async def _pump(source: int, sink: int, each: float) -> None:
    """Carry bytes from one end to the other, no faster than a wire does."""
    loop = asyncio.get_running_loop()
    ready = asyncio.Event()
    loop.add_reader(source, ready.set)
    free = loop.time()
    try:
        while True:
            await ready.wait()
            ready.clear()
            with contextlib.suppress(BlockingIOError, OSError):
                while data := os.read(source, 256):
                    free = max(free, loop.time()) + len(data) * each
                    await asyncio.sleep(max(free - loop.time(), 0))
                    os.write(sink, data)
    finally:
        loop.remove_reader(source)
