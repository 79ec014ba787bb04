"""All pages of one rig as one application. A new page: a module in `pages/` with `routes(site)`, and its line here."""

from __future__ import annotations

import logging
import socket
import threading
import time
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from datetime import datetime
from importlib.resources import files
from pathlib import Path

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import BaseRoute, Route
from starlette.types import ASGIApp

from logger.checkup.machine import clock_is_led
from logger.errors import LoggerError
from logger.lesson.crew import Crew
from logger.lesson.desk import Desk
from logger.lesson.proceedings import Proceedings
from logger.web.drafts import Drafts
from logger.web.guard import Guard, TooMuchError
from logger.web.jobs import Jobs
from logger.web.language import N_, Tongue, _
from logger.web.lessons import FOLDER, CrewMaker, Lessons
from logger.web.news import News
from logger.web.pages import (
    board,
    cards,
    check,
    clock,
    door,
    evidence,
    experiments,
    gates,
    lens,
    lesson,
    light,
    lines,
    plan,
    plane,
    rig,
    sofar,
    start,
    stick,
    stored,
    study,
    targets,
    teams,
    tongue,
    work,
)
from logger.web.pin import Attempts, Pin
from logger.web.sessions import Sessions
from logger.web.site import Site, templates
from logger.web.sticks import ROOTS

PAGES = (
    start, board, lesson, plan, teams, sofar, stored, stick, clock, rig, door, targets, lens, plane, lines, light,
    cards, gates, check, work, evidence, experiments, study, tongue,
)  # fmt: skip
UPLOADS = ("/lens/", "/plane/", "/lines/")
"""How paths begin to which pictures and films may be sent."""
_STATIC = {
    "style.css": ("logger.web", "text/css"),
    "live.js": ("logger.web", "text/javascript"),
    "choose.js": ("logger.web", "text/javascript"),
    "point_fields.js": ("logger.web", "text/javascript"),
    "lesson.js": ("logger.web", "text/javascript"),
    "again.js": ("logger.web", "text/javascript"),
    "clock.js": ("logger.web", "text/javascript"),
    "point.js": ("logger.study", "text/javascript"),
    "point_table.js": ("logger.study", "text/javascript"),
    **{name: ("logger.study.pack", "text/css" if name.endswith("css") else "text/javascript") for name in
       ("study.css", "draw.js", "chart.js", "band.js", "track.js", "scatter.js", "save.js", "begin.js")},
    **{f"step-{name}.svg": ("logger.web", "image/svg+xml") for name in
       ("targets", "lens", "plane", "lines", "light", "cards", "gates", "check")},
    "lesson.css": ("logger.web", "text/css"),
    "water.svg": ("logger.web", "image/svg+xml"),
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
    crew: CrewMaker | None = None,
    stick_roots: Sequence[Path] = ROOTS,
    ending: threading.Event | None = None,
) -> ASGIApp:
    """The application.

    Args:
        rig_file: rig.toml; it is read anew for each page.
        pin: asked for before anything may be changed; None: whoever reaches the pages may.
        now: wall time.
        clock_ns: a clock that never goes back.
        names: further names by which this computer may be called.
        crew: makes those who work the rig in a lesson; None: the rig's own.
        stick_roots: below these USB sticks are mounted.
        ending: is set as soon as the station is to be shut, so that nobody who watches holds it up.
    """
    sessions = Sessions(clock_ns, asks_pin=pin is not None)
    lessons = _lessons(rig_file, now=now, clock_ns=clock_ns, crew=crew)
    site = Site(
        rig_file, sessions, Attempts(clock_ns), pin, Drafts(rig_file), Jobs(), now, templates(), lessons,
        News(lessons.desk, clock_ns=clock_ns, ending=ending), stick_roots,
    )  # fmt: skip
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

    @asynccontextmanager
    async def life(_: Starlette) -> AsyncIterator[None]:
        await run_in_threadpool(lessons.sweep)
        await run_in_threadpool(lessons.take_up)
        lessons.mask()
        yield
        await run_in_threadpool(lessons.shut)

    app = Starlette(
        routes=routes,
        lifespan=life,
        exception_handlers={LoggerError: wrong, HTTPException: refused, TooMuchError: too_much, Exception: fault},
    )
    host = socket.gethostname()
    return Guard(Tongue(app), sessions=sessions, names=("localhost", host, f"{host}.local", *names), uploads=UPLOADS)


def _lessons(
    rig_file: Path, *, now: Callable[[], datetime], clock_ns: Callable[[], int], crew: CrewMaker | None
) -> Lessons:
    def at() -> str:
        return now().isoformat(timespec="seconds")

    def own_crew(store: Path, desk: Desk) -> Crew:
        from logger.lesson.rig_crew import RigCrew

        return RigCrew(rig_file, told=desk.ear, store=store, now=at)

    desk = Desk(Proceedings(now=at, clock_ns=clock_ns, clock_set_by=lambda: "network" if clock_is_led() else "unknown"))
    return Lessons(rig_file.absolute().parent / FOLDER, desk, crew=crew or own_crew, now=now)


_NO_PAGE = {404: N_("there is no such page"), 405: N_("this page does not take what was sent")}


def _static(request: Request) -> Response:
    name = request.path_params["name"]
    if name not in _STATIC:
        raise HTTPException(404)
    package, kind = _STATIC[name]
    folder = files(package)
    content = (folder if package == "logger.study" else folder / "static").joinpath(name).read_bytes()
    return Response(content, media_type=kind, headers={"Cache-Control": "max-age=300"})
