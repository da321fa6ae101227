"""The rig served from a thread of its own, for tests that ask it by blocking clients or have event loops of their own."""

import asyncio
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager

from gearcase.device.rig import Rig
from gearcase.device.serving import Served, serving

__all__ = ["BAUD", "free_port", "served_from_a_thread"]

BAUD = 115200


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


@contextmanager
def served_from_a_thread(rig: Rig) -> Iterator[Served]:
    ready, stop, found, loop = threading.Event(), asyncio.Event(), [], asyncio.new_event_loop()

    async def serve() -> None:
        async with serving(rig, port=free_port(), baud=BAUD) as served:
            found.append(served)
            ready.set()
            await stop.wait()

    thread = threading.Thread(target=lambda: loop.run_until_complete(serve()), daemon=True)
    thread.start()
    assert ready.wait(10)
    try:
        yield found[0]
    finally:
        loop.call_soon_threadsafe(stop.set)
        thread.join(10)
        loop.close()
