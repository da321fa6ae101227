"""Where readings and recordings may be posted: an application of its own, apart from the pages, which are for reading only.

``POST /readings`` takes a batch as JSON; ``POST /recordings?name=FILE&point=POINT`` takes a file of any form that is read, with
what it does not say (rate, unit, channel, speed, start, sha256) beside its name. Both need ``Authorization: Bearer TOKEN``, and
answer only after what came is kept: 200 says that it outlives a lost supply, whatever happens next. The same again is kept once.
"""

import asyncio
import hmac
import math
import re
import socket
from collections import OrderedDict
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, nullcontext
from typing import Any

import uvicorn
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from gearcase.device.publish.secrets import password, place_of
from gearcase.errors import BadInput, Problem
from gearcase.job.build_inputs import Posting
from gearcase.monitor.incoming.accept import LARGEST_BATCH, LARGEST_RECORDING, Accept, NotKept

__all__ = ["make_app", "serve"]

_TOKEN = re.compile(r"[A-Za-z0-9._~+/-]{20,}=*")  # as the header can carry it (RFC 6750, 2.1); its length is common practice
_SLOWEST = 30.0  # s for a whole body to arrive
_A_SECOND, _AT_ONCE = 20.0, 60.0  # requests of one sender: that many a second, that many at once; common practice, no source
_WRONG_TOKENS = 10  # of one sender in a minute
_SENDERS = 1000  # that are remembered
_RECORDINGS_AT_ONCE, _BATCHES_AT_ONCE = 2, 8
_READ_AS = ("application/octet-stream", "audio/wav", "audio/x-wav", "text/csv", "text/plain")
_OUT = {
    "cache-control": "no-store",
    "x-content-type-options": "nosniff",
    "content-security-policy": "default-src 'none'; frame-ancestors 'none'",
}


def make_app(accept: Accept, token: str, *, ticks: Callable[[], float]) -> Starlette:
    """The application.

    Parameters
    ----------
    accept : Accept
    token : str
        That a sender must know.
    ticks : callable
        Seconds that only go on.
    """
    batches, recordings = _Places(_BATCHES_AT_ONCE), _Places(_RECORDINGS_AT_ONCE)
    senders = _Senders(ticks)

    async def post_readings(request: Request) -> Response:
        """POST /readings: a batch of readings as JSON."""
        senders.pass_in(request, token)
        _content_type(request, ("application/json",))
        with batches.hold():
            content = await _body(request, LARGEST_BATCH)
            count = await asyncio.to_thread(accept.readings, content)
        return JSONResponse({"ok": True, "kept": count}, headers=_OUT)

    async def post_recording(request: Request) -> Response:
        """POST /recordings: a file, with what it does not say in the address."""
        senders.pass_in(request, token)
        _content_type(request, _READ_AS)
        pairs = request.query_params.multi_items()
        if len({key for key, _ in pairs}) != len(pairs):
            raise BadInput(Problem("header", "", "a key twice", "each key once"))
        with recordings.hold():
            content = await _body(request, LARGEST_RECORDING)
            sha256 = await asyncio.to_thread(accept.recording, dict(pairs), content)
        return JSONResponse({"ok": True, "sha256": sha256}, headers=_OUT)

    return Starlette(
        routes=[
            Route("/readings", post_readings, methods=["POST"]),
            Route("/recordings", post_recording, methods=["POST"]),
        ],
        exception_handlers={HTTPException: _http, BadInput: _bad_input, NotKept: _not_kept, ClientDisconnect: _gone},
    )


async def serve(settings: Posting, accept: Accept, *, ticks: Callable[[], float]) -> None:
    """Serve until cancelled.

    Raises
    ------
    BadInput
        The token or a certificate is not usable, or the port is taken.
    """
    token = password(settings.token)
    if not _TOKEN.fullmatch(token):
        accepted = "20 letters, digits and -._~+/ or more, drawn by chance"
        raise BadInput(Problem(place_of(settings.token), "", "another token", accepted))
    config = uvicorn.Config(
        make_app(accept, token, ticks=ticks),
        log_config=None,
        access_log=False,
        server_header=False,
        proxy_headers=False,
        lifespan="off",
        ws="none",
        limit_concurrency=64,
        timeout_keep_alive=5,
        timeout_graceful_shutdown=5,
        h11_max_incomplete_event_size=16384,
        http="h11",
        ssl_certfile=settings.certificate_file,
        ssl_keyfile=settings.key_file,
    )
    try:
        config.load()
    except OSError as error:  # of a certificate; ssl.SSLError is one too
        given = f"{settings.certificate_file}, {settings.key_file}"
        raise BadInput(Problem("incoming.http", "", given, f"a certificate and its key as PEM ({error.strerror})")) from None
    try:
        listener = socket.create_server(
            (settings.address, settings.port), family=socket.AF_INET6 if ":" in settings.address else socket.AF_INET
        )
    except OSError as error:
        accepted = f"an address of this machine with a free port ({error.strerror})"
        raise BadInput(Problem("incoming.http", "port", f"{settings.address}, port {settings.port}", accepted)) from None
    server = _Server(config)
    with listener:
        serving = asyncio.ensure_future(server.serve(sockets=[listener]))
        try:
            await asyncio.shield(serving)
        finally:
            server.should_exit = True
            await serving


class _Server(uvicorn.Server):
    """A server that leaves the program's signals alone."""

    capture_signals = staticmethod(nullcontext)  # type: ignore[assignment]


class _Senders:
    """How often each sender asks, and with what token; the longest unheard is forgotten first."""

    def __init__(self, ticks: Callable[[], float]) -> None:
        self._ticks = ticks
        self._left: OrderedDict[str, tuple[float, float]] = OrderedDict()  # sender -> requests left, and when
        self._wrong: OrderedDict[str, list[float]] = OrderedDict()

    def pass_in(self, request: Request, token: str) -> None:
        """Let a request pass, or refuse it.

        Raises
        ------
        HTTPException
            401 without the token, 429 too often.
        """
        sender, now = request.client.host if request.client else "", self._ticks()
        left, at = self._left.pop(sender, (_AT_ONCE, now))
        left = min(left + (now - at) * _A_SECOND, _AT_ONCE)
        self._left[sender] = (max(left - 1, 0.0), now)
        _forget(self._left)
        wrong = [one for one in self._wrong.get(sender, []) if now - one < 60.0]
        if left < 1 or len(wrong) >= _WRONG_TOKENS:
            wait = 1 / _A_SECOND if left < 1 else 60.0 - (now - wrong[0])
            says = "too often: send batches" if left < 1 else "too many wrong tokens"
            raise HTTPException(429, says, headers={"retry-after": str(math.ceil(wait))})
        given = request.headers.getlist("authorization")
        words = given[0].split(" ") if len(given) == 1 else []
        told = words[1] if len(words) == 2 and words[0].lower() == "bearer" else ""
        if not hmac.compare_digest(told.encode(), token.encode()):
            self._wrong[sender] = [*wrong, now]
            _forget(self._wrong)
            raise HTTPException(401, "Authorization: Bearer TOKEN, the token of this drive", headers={"www-authenticate": "Bearer"})


def _forget(senders: OrderedDict[str, Any]) -> None:
    while len(senders) > _SENDERS:
        senders.popitem(last=False)


class _Places:
    """So many requests at once: what waits would fill the memory."""

    def __init__(self, free: int) -> None:
        self._free = free

    @contextmanager
    def hold(self) -> Iterator[None]:
        """Hold a place, or say that it is busy."""
        if not self._free:
            raise HTTPException(503, "busy: send it again in a moment", headers={"retry-after": "1"})
        self._free -= 1
        try:
            yield
        finally:
            self._free += 1


def _content_type(request: Request, known: Iterable[str]) -> None:
    given = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if given not in known:
        raise HTTPException(415, f"content-type: {' or '.join(known)}")
    if request.headers.get("content-encoding", "identity").lower() != "identity":
        raise HTTPException(415, "no content-encoding: send it as it is")


async def _body(request: Request, most: int) -> bytes:
    """The body, refused as soon as it is too large, or too slow."""
    length = request.headers.get("content-length", "")
    if length.isascii() and length.isdecimal() and (len(length) > 15 or int(length) > most):
        raise HTTPException(413, f"at most {most} bytes in one go")
    parts, size = [], 0
    try:
        async with asyncio.timeout(_SLOWEST):
            async for part in request.stream():
                size += len(part)
                if size > most:
                    raise HTTPException(413, f"at most {most} bytes in one go")
                parts.append(part)
    except TimeoutError:
        raise HTTPException(408, f"the whole within {_SLOWEST:.0f} s") from None
    return b"".join(parts)


def _refused(status: int, errors: list[dict[str, str]], headers: Any = None) -> Response:
    """The one shape of every error, as the pages have it."""
    return JSONResponse({"ok": False, "errors": errors, "status": status}, status, {**_OUT, **(headers or {})})


def _one(request: Request, status: int, accepted: str, headers: Any = None) -> Response:
    return _refused(status, [{"where": request.url.path, "key": "", "given": "", "accepted": accepted}], headers)


def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    words = {404: "POST /readings or POST /recordings", 405: "POST"}
    headers = {**(error.headers or {}), **({"connection": "close"} if error.status_code in (408, 413) else {})}
    return _one(request, error.status_code, words.get(error.status_code, str(error.detail)), headers)


def _bad_input(_: Request, error: Exception) -> Response:
    assert isinstance(error, BadInput)
    return _refused(422, error.as_dicts())


def _not_kept(request: Request, error: Exception) -> Response:
    return _one(request, 503, f"not kept, send it again: {error}", {"retry-after": "10"})


def _gone(request: Request, _: Exception) -> Response:
    return _one(request, 400, "the whole body")
