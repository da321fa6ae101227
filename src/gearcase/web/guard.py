"""What every request passes first: only this machine by name, only reading; and what every answer carries."""

import logging
from collections.abc import Callable
from typing import Any

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["LOOPBACK", "Guard"]

LOOPBACK = ("127.0.0.1", "localhost")
READING = ("GET", "HEAD")
HEADERS = {
    "content-security-policy": "default-src 'none'; style-src 'self'; font-src 'self'; img-src 'self'; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'",
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
    "cache-control": "no-store",
}
_log = logging.getLogger("gearcase.web")


class Guard:
    """Refuses foreign Host headers (a page elsewhere could point its own name at this machine) and everything but reading.

    `refuse` makes the answer: request, status, what is wrong. A header that an answer already has is left as it is.
    """

    def __init__(self, app: ASGIApp, refuse: Callable[[Request, int, str], Response]) -> None:
        self.app, self.refuse = app, refuse

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass one request on, or refuse it."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":  # no websockets here
            return
        begun = False

        async def sent(message: Message) -> None:
            nonlocal begun
            if message["type"] == "http.response.start":
                begun = True
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        request = Request(scope)
        wrong = self._wrong(scope)
        if wrong is not None:
            await self.refuse(request, *wrong)(scope, receive, sent)
            return
        try:
            await self.app(scope, receive, sent)
        except Exception as error:
            if begun:
                raise
            _log.exception("a page failed")
            says = f"gearcase itself failed ({type(error).__name__}); nothing kept is lost; please report it"
            await self.refuse(request, 500, says)(scope, receive, sent)

    @staticmethod
    def _wrong(scope: dict[str, Any] | Scope) -> tuple[int, str] | None:
        hosts = Headers(scope=scope).getlist("host")
        name, colon, port = hosts[0].partition(":") if len(hosts) == 1 else ("", "", "")
        if name not in LOOPBACK or (colon and not (port.isascii() and port.isdecimal())):
            return 421, f"this page is for this machine only: open it as http://{LOOPBACK[0]}"
        if scope["method"] not in READING:
            return 405, f"these pages are for reading only: {' and '.join(READING)}"
        return None
