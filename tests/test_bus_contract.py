"""What every `RegisterBus` does, whatever carries it: in process, Modbus TCP, a serial line, serial frames through a gateway."""

import asyncio
import contextlib
import struct
import time
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator
from contextlib import asynccontextmanager

import pytest

from gearcase.device.bus import RegisterBus
from gearcase.device.modbus import connected
from gearcase.device.rig import Rig, RigBus
from gearcase.device.serving import Served
from gearcase.errors import BadRequest, NoReply
from gearcase.install.profile import LAMPS
from rigserver import BAUD, served_from_a_thread
from test_rig import new_rig
from wires import over_network


def of_rig(rig: Rig) -> Callable[[int, bytes], bytes | None]:
    """The rig's answers by the protocol's specification, without the library that serves it."""

    def answer(unit: int, pdu: bytes) -> bytes | None:
        function, (start, count) = pdu[0], struct.unpack(">HH", pdu[1:5])
        try:
            if function == 16:
                rig.write(unit, start, struct.unpack(f">{count}H", pdu[6:]))
                return pdu[:5]
            return struct.pack(f">BB{count}H", function, 2 * count, *rig.read(unit, start, count))
        except NoReply:
            return None
        except BadRequest:
            return bytes([function | 0x80, 2])

    return answer


@pytest.fixture(scope="module")
def rig() -> Rig:
    return new_rig()


@pytest.fixture(scope="module")
def served(rig: Rig) -> Iterator[Served]:
    with served_from_a_thread(rig) as served:
        yield served


WAYS = ["in process", "tcp", "serial", "rtu-over-tcp"]


@pytest.fixture(params=WAYS)
def on(request: pytest.FixtureRequest, rig: Rig, served: Served) -> Callable[[Callable[[RegisterBus], Awaitable[None]]], None]:
    """Runs a test on a bus."""

    @asynccontextmanager
    async def bus() -> AsyncIterator[RegisterBus]:
        async with contextlib.AsyncExitStack() as stack:
            if request.param == "in process":
                yield RigBus(rig)
                return
            if request.param == "rtu-over-tcp":
                where, _ = await stack.enter_async_context(over_network(of_rig(rig), serial=True))
            else:
                where = getattr(served, request.param)
            yield await stack.enter_async_context(connected(where, baud=BAUD, timeout=0.3, tries=2))

    def run(test: Callable[[RegisterBus], Awaitable[None]]) -> None:
        async def whole() -> None:
            async with bus() as one:
                await test(one)

        asyncio.run(whole())

    return run


On = Callable[[Callable[[RegisterBus], Awaitable[None]]], None]


def test_registers_come_as_words_in_their_order(on: On) -> None:
    async def test(bus: RegisterBus) -> None:
        assert await bus.read(unit=11, function=4, start=0, count=3) == (0x1234, 0x075B, 0xCD15)
        assert await bus.read(unit=21, function=4, start=7, count=1) == (40021,)

    on(test)


def test_a_block_longer_than_one_read_comes_whole(on: On, rig: Rig) -> None:
    async def test(bus: RegisterBus) -> None:
        assert await bus.read(unit=11, function=4, start=100, count=300) == tuple(rig.read(11, 100, 300))

    on(test)


def test_what_is_written_is_read_back(on: On) -> None:
    async def test(bus: RegisterBus) -> None:
        for beat, colour in enumerate(("yellow", "red"), start=1):
            await bus.write(unit=31, start=20, words=[LAMPS[colour], beat])
            assert await bus.read(unit=31, function=3, start=20, count=2) == (LAMPS[colour], beat)

    on(test)


def test_a_register_that_is_not_there_is_refused_and_the_next_question_is_answered(on: On) -> None:
    async def test(bus: RegisterBus) -> None:
        with pytest.raises(BadRequest, match="no such register") as refused:
            await bus.read(unit=21, function=4, start=500, count=2)
        assert refused.value.unit == 21 and "500 to 501" in refused.value.asked
        assert await bus.read(unit=21, function=4, start=0, count=1) == (0x1234,)

    on(test)


def test_a_register_that_may_not_be_written_is_refused(on: On) -> None:
    async def test(bus: RegisterBus) -> None:
        with pytest.raises(BadRequest):
            await bus.write(unit=31, start=10, words=[1])

    on(test)


def test_a_silent_unit_is_said_within_a_bounded_time_and_the_others_answer(on: On) -> None:
    async def test(bus: RegisterBus) -> None:
        started = time.monotonic()
        with pytest.raises(NoReply) as silent:
            await bus.read(unit=99, function=4, start=0, count=1)
        assert silent.value.unit == 99 and time.monotonic() - started < 2.0
        assert await bus.read(unit=11, function=4, start=0, count=1) == (0x1234,)

    on(test)


def test_questions_asked_at_once_each_get_their_own_answer(on: On) -> None:
    async def test(bus: RegisterBus) -> None:
        units = (3, 11, 12, 21, 31) * 4
        found = await asyncio.gather(*(bus.read(unit=unit, function=4, start=6, count=2) for unit in units))
        assert [256 * 256 * high + low for high, low in found] == [40000 + unit for unit in units]

    on(test)


@pytest.mark.parametrize("way", WAYS[1:])
def test_no_question_goes_to_everybody(way: str, rig: Rig, served: Served) -> None:
    """Address 0 is heard by all devices and answered by none (Modbus over Serial Line V1.02 section 2.1)."""

    async def test() -> None:
        async with over_network(of_rig(rig), serial=True) as (gateway, wires):
            where = gateway if way == "rtu-over-tcp" else getattr(served, way)
            async with connected(where, baud=BAUD) as bus:
                for unit in (0, 248):
                    with pytest.raises(BadRequest, match="1 to 247"):
                        await bus.write(unit=unit, start=20, words=[0])
            assert not any(wire.asked for wire in wires)

    asyncio.run(test())
