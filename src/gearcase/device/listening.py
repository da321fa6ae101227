"""How a server that listens is closed."""

import asyncio

__all__ = ["close_to_newcomers"]

_TURNS = 4  # of the loop: take the connection, make it, tell who serves it, and one to spare


async def close_to_newcomers(server: asyncio.Server) -> None:
    """Close a server once whoever has already knocked is let in: a socket that asyncio takes from a closed server stays open."""
    loop = asyncio.get_running_loop()
    for listening in server.sockets:
        loop.remove_reader(listening.fileno())
    for _ in range(_TURNS):
        await asyncio.sleep(0)
    server.close()
