"""Read-only pages of one job, each also as ``.json``.

``/`` the traveller card, ``/STAGE`` a stage's latest result, ``/STAGE/NNNN`` one of its runs, ``/STAGE/NNNN/NAME`` a sheet or
picture kept with it, ``/diary`` everything by time. A view parses its address and calls one function of `card`; `respond` shows
the answer.
"""

import re
from importlib.resources import files
from pathlib import Path

from fastapi import FastAPI
from fastapi.templating import Jinja2Templates
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from gearcase.drawings.block import first_up
from gearcase.errors import BadInput
from gearcase.web.card import STAGES, Card, Diary, Events, NotKept, StagePage, diary, kept_file, stage_page, traveller_card
from gearcase.web.guard import Guard
from gearcase.web.sections import LEAST_LISTED

__all__ = ["make_app"]

_HOME = files("gearcase.web") / "templates"
_FONTS = files("gearcase.drawings") / "fonts"
_FACES = {
    "inter-400.ttf": "inter-0.4.2/Inter_400Regular.ttf",
    "inter-600.ttf": "inter-0.4.2/Inter_600SemiBold.ttf",
    "inconsolata-400.ttf": "inconsolata-0.4.2/Inconsolata_400Regular.ttf",
}
_ASSETS = {"style.css": "text/css; charset=utf-8", "icon.svg": "image/svg+xml"}
_KINDS = {
    "dxf": "image/vnd.dxf",
    "svg": "image/svg+xml",
    "pdf": "application/pdf",
    "html": "text/html; charset=utf-8",
    "png": "image/png",
    "csv": "text/csv; charset=utf-8",
}
_KEPT_PAGE = "default-src 'none'; style-src 'unsafe-inline'; font-src data:; img-src data:; sandbox; frame-ancestors 'none'"
_FOR_A_YEAR = "private, max-age=31536000, immutable"


def make_app(job_folder: Path, *, events: Events = list) -> FastAPI:
    """The pages of a job.

    Parameters
    ----------
    job_folder : Path
        Read anew at each request.
    events : callable
        What watching has seen, the earliest first: rows with ``time_s``, ``kind``, ``point``, ``says``.
    """
    app = FastAPI(openapi_url=None, docs_url=None, redoc_url=None, middleware=[Middleware(Guard, refuse=_refuse)])
    app.router.redirect_slashes = False

    def card_view(request: Request) -> Response:
        """GET /, also /index.json: the state of every stage."""
        return respond(request, "card.html", traveller_card(job_folder, events))

    def diary_view(request: Request) -> Response:
        """GET /diary, also .json: all results and events, the latest first."""
        return respond(request, "diary.html", diary(job_folder, events))

    def stage_view(request: Request) -> Response:
        """GET /STAGE or /STAGE/NNNN, also .json: one result of a stage."""
        return respond(request, "stage.html", stage_page(job_folder, request.path_params["stage"], _number(request), events))

    def kept_view(request: Request) -> Response:
        """GET /STAGE/NNNN/NAME: a sheet or picture kept with a result."""
        path = kept_file(job_folder, request.path_params["stage"], _number(request) or 0, request.path_params["name"])
        kind = path.suffix.removeprefix(".")
        headers = {"content-security-policy": _KEPT_PAGE} if kind in ("html", "svg") else {}
        return Response(path.read_bytes(), media_type=_KINDS[kind], headers=headers)

    def asset_view(request: Request) -> Response:
        """GET /style.css, /icon.svg."""
        name = request.url.path.removeprefix("/")
        return Response((_HOME / name).read_bytes(), media_type=_ASSETS[name])

    def font_view(request: Request) -> Response:
        """GET /fonts/NAME."""
        name = _FACES.get(request.path_params["name"])
        if name is None:
            raise NotKept(f"no such font; there are {', '.join(_FACES)}")
        return Response((_FONTS / name).read_bytes(), media_type="font/ttf", headers={"cache-control": _FOR_A_YEAR})

    for address in ("/", "/index.json"):
        app.add_route(address, card_view)
    for name in _ASSETS:
        app.add_route(f"/{name}", asset_view)
    app.add_route("/fonts/{name}", font_view)
    for ending in (".json", ""):
        app.add_route(f"/diary{ending}", diary_view)
        app.add_route("/{stage}/{number}" + ending, stage_view)
        app.add_route("/{stage}" + ending, stage_view)
    app.add_route("/{stage}/{number}/{name}", kept_view)
    app.add_exception_handler(NotKept, lambda request, error: _refuse(request, 404, str(error)))
    app.add_exception_handler(HTTPException, _http_refused)
    app.add_exception_handler(BadInput, _bad_input)
    return app


def respond(request: Request, template: str, page: Card | StagePage | Diary) -> Response:
    """A page as HTML, or as JSON where its address ends so."""
    if request.url.path.endswith(".json"):
        return JSONResponse(page.as_dict())
    return _TEMPLATES.TemplateResponse(request, template, {"page": page})


def _number(request: Request) -> int | None:
    """The run in the address: four digits as the folder is named, nothing else."""
    text = request.path_params.get("number")
    if text is None:
        return None
    if not re.fullmatch(r"[0-9]{4,9}", text) or f"{int(text):04d}" != text:
        raise NotKept("no such run; runs are numbered 0001, 0002 and so on")
    return int(text)


def _http_refused(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    says = "there is no such page" if error.status_code == 404 else str(error.detail)
    return _refuse(request, error.status_code, says)


def _bad_input(request: Request, error: Exception) -> Response:
    assert isinstance(error, BadInput)
    return _refused(request, 422, error.as_dicts())


def _refuse(request: Request, status: int, says: str) -> Response:
    return _refused(request, status, [{"where": request.url.path, "key": "", "given": "", "accepted": says}])


def _refused(request: Request, status: int, errors: list[dict[str, str]]) -> Response:
    """The one shape of every error."""
    headers = {"allow": "GET, HEAD"} if status == 405 else {}
    if request.url.path.endswith(".json"):
        return JSONResponse({"ok": False, "errors": errors, "status": status}, status_code=status, headers=headers)
    return _TEMPLATES.TemplateResponse(request, "error.html", {"errors": errors, "status": status}, status, headers)


def _clock(when: str) -> str:
    """A time as read on paper: date and minute, its zone behind."""
    found = re.fullmatch(r"(\d{4}-\d\d-\d\d)T(\d\d:\d\d):\d\d(?:\.\d+)?(.*)", when)
    return f"{found[1]} {found[2]}{' UTC' if found[3] in ('+00:00', 'Z') else ' ' + found[3]}" if found else when


def _whole_dates(words: str) -> Markup:
    """As markup in which no date is broken at its hyphens."""
    return Markup(re.sub(r"\d{4}-\d\d-\d\d(?![\w-])", r'<span class="unbroken">\g<0></span>', str(escape(words))))


def _environment() -> Environment:
    made = Environment(
        loader=PackageLoader("gearcase.web"), autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    made.filters |= {"clock": _clock, "first_up": first_up, "whole_dates": _whole_dates}
    made.globals |= {"stages": STAGES, "least_listed": LEAST_LISTED}
    return made


_TEMPLATES = Jinja2Templates(env=_environment())
