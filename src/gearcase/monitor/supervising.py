"""Parts of a service that run beside each other: one that fails is started again, the others go on, and it is said.

A part is started again at once, then after 1 s, 2 s, 4 s and so on up to a minute; one that has held for five minutes begins anew.
That it failed is said once for as long as it keeps failing in the same words.
"""

import asyncio
from collections.abc import Awaitable, Callable

__all__ = ["Parts"]

_FIRST, _LONGEST, _HELD = 1.0, 60.0, 300.0  # s on the wall; common practice, no source


class Parts:
    """Parts that are running.

    Parameters
    ----------
    stop : asyncio.Event
        Set when all shall end.
    said : callable
        Takes a part's name and how it failed; empty words when it holds again.

    Attributes
    ----------
    failing : dict
        Name -> how it failed last, of those that do not hold.
    """

    def __init__(self, stop: asyncio.Event, said: Callable[[str, str], None]) -> None:
        self.failing: dict[str, str] = {}
        self._stop, self._said = stop, said

    async def keep(self, name: str, run: Callable[[], Awaitable[None]]) -> None:
        """Run a part until all shall end, whatever befalls it."""
        loop, wait = asyncio.get_running_loop(), 0.0
        while not self._stop.is_set():
            holds = loop.call_later(_HELD, self._holds, name)
            began = loop.time()
            try:
                await run()
            except Exception as error:  # whatever a part dies of, the others must go on
                words = f"{type(error).__name__}: {error}"
                if self.failing.get(name) != words:
                    self.failing[name] = words
                    self._said(name, words)
            else:
                return
            finally:
                holds.cancel()
            wait = 0.0 if loop.time() - began >= _HELD else wait
            await until(self._stop, wait)
            wait = min(max(2 * wait, _FIRST), _LONGEST)

    def _holds(self, name: str) -> None:
        if self.failing.pop(name, ""):
            self._said(name, "")


async def until(stop: asyncio.Event, seconds: float) -> None:
    """Wait so long, or until it is time to stop. [s]"""
    try:
        await asyncio.wait_for(stop.wait(), seconds)
    except TimeoutError:
        return
