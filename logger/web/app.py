"""All pages of one rig as one application. A new page: a module in `pages/` with `routes(site)`, and its line here."""

from __future__ import annotations

import logging
import socket
import time
from collections.abc import Callable
from datetime import datetime
from importlib.resources import files
from pathlib import Path

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import BaseRoute, Route
from starlette.types import ASGIApp

from logger.errors import LoggerError
from logger.web.drafts import Drafts
from logger.web.guard import Guard, TooMuchError
from logger.web.jobs import Jobs
from logger.web.language import N_, Tongue, _
from logger.web.pages import (
    cards,
    check,
    door,
    evidence,
    gates,
    lens,
    light,
    lines,
    plane,
    rig,
    study,
    targets,
    tongue,
    work,
)
from logger.web.pin import Attempts, Pin
from logger.web.sessions import Sessions
from logger.web.site import Site, templates

PAGES = (rig, door, targets, lens, plane, lines, light, cards, gates, check, work, evidence, tongue, study)
UPLOADS = ("/lens/", "/plane/", "/lines/")
"""How paths begin to which pictures and films may be sent."""
_STATIC = {
    "style.css": ("logger.web", "text/css"),
    "live.js": ("logger.web", "text/javascript"),
    "choose.js": ("logger.web", "text/javascript"),
    "point_fields.js": ("logger.web", "text/javascript"),
    "point.js": ("logger.study", "text/javascript"),
    "point_table.js": ("logger.study", "text/javascript"),
    **{name: ("logger.study.pack", "text/css" if name.endswith("css") else "text/javascript") for name in
       ("study.css", "draw.js", "chart.js", "band.js", "track.js", "scatter.js", "save.js", "begin.js")},
    **{f"step-{name}.svg": ("logger.web", "image/svg+xml") for name in
       ("targets", "lens", "plane", "lines", "light", "cards", "gates", "check")},
}  # fmt: skip
"""Files that are sent as they are -> the package that they lie in and their kind."""
log = logging.getLogger(__name__)


def build(
    rig_file: Path,
    *,
    pin: Pin | None,
    now: Callable[[], datetime],
    clock_ns: Callable[[], int] = time.monotonic_ns,
    names: tuple[str, ...] = (),
) -> ASGIApp:
    """The application.

    Args:
        rig_file: rig.toml; it is read anew for each page.
        pin: asked for before anything may be changed; None: whoever reaches the pages may.
        now: wall time.
        clock_ns: a clock that never goes back.
        names: further names by which this computer may be called.
    """
    sessions = Sessions(clock_ns, asks_pin=pin is not None)
    site = Site(rig_file, sessions, Attempts(clock_ns), pin, Drafts(rig_file), Jobs(), now, templates())
    routes: list[BaseRoute] = [route for page in PAGES for route in page.routes(site)]
    routes.append(Route("/static/{name}", _static, methods=["GET"]))

    def wrong(request: Request, error: Exception) -> Response:
        return site.draw(request, "wrong.html", status=422, wrong=str(error))

    def refused(request: Request, error: Exception) -> Response:
        status, detail = (error.status_code, error.detail) if isinstance(error, HTTPException) else (400, str(error))
        return site.draw(request, "wrong.html", status=status, wrong=_(_NO_PAGE.get(status, detail)))

    def fault(request: Request, error: Exception) -> Response:
        log.exception("%s %s", request.method, request.url.path, exc_info=error)
        return PlainTextResponse(f"this is a fault of the program, not yours ({type(error).__name__})\n", 500)

    def too_much(request: Request, error: Exception) -> Response:
        return PlainTextResponse("more was sent than is taken at a time\n", 413)

    app = Starlette(
        routes=routes,
        exception_handlers={LoggerError: wrong, HTTPException: refused, TooMuchError: too_much, Exception: fault},
    )
    host = socket.gethostname()
    return Guard(Tongue(app), sessions=sessions, names=("localhost", host, f"{host}.local", *names), uploads=UPLOADS)


_NO_PAGE = {404: N_("there is no such page"), 405: N_("this page does not take what was sent")}


def _static(request: Request) -> Response:
    name = request.path_params["name"]
    if name not in _STATIC:
        raise HTTPException(404)
    package, kind = _STATIC[name]
    folder = files(package)
    content = (folder if package == "logger.study" else folder / "static").joinpath(name).read_bytes()
    return Response(content, media_type=kind, headers={"Cache-Control": "max-age=300"})
