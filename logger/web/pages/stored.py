"""What is stored on this rig now, in sentences; erasing films; forgetting a class, and which copies stay elsewhere."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from logger.errors import InputError, LoggerError
from logger.recording.copies import Copy, copies
from logger.web import forms
from logger.web.language import _
from logger.web.pages.plan import cards_of
from logger.web.site import Site, go


def routes(site: Site) -> list[Route]:
    """The page, closing the lesson, erasing its films, and forgetting it."""

    async def page(request: Request) -> Response:
        return await run_in_threadpool(_page, site, request)

    async def close(request: Request) -> Response:
        await forms.read(request)
        return await _done(request, site.lessons.leave)

    async def erase(request: Request) -> Response:
        form = await forms.read(request)
        return await _done(request, lambda: site.lessons.erase_films(form.get("lesson")))

    async def forget(request: Request) -> Response:
        form = await forms.read(request)
        return await _done(request, lambda: _forgotten(site, form.get("lesson"), form.get("typed")))

    async def _done(request: Request, work: object) -> Response:
        try:
            await run_in_threadpool(work)  # type: ignore[arg-type]
        except LoggerError as error:
            return await run_in_threadpool(_page, site, request, wrong=str(error))
        return go("/stored?said=stored")

    return [
        Route("/stored", page, methods=["GET"]),
        Route("/lesson/close", close, methods=["POST"]),
        Route("/stored/erase", erase, methods=["POST"]),
        Route("/stored/forget", forget, methods=["POST"]),
    ]


def _page(site: Site, request: Request, *, wrong: str = "") -> Response:
    every, made = site.lessons.every(), copies(site.folder)
    names = {one.path.name for one in every}

    def of(name: str) -> list[Copy]:
        return [one for one in made if one.lesson == name]

    kept = [
        {
            "listed": one, "films": site.lessons.films(one.path.name), "copies": of(one.path.name),
            "runs_count": 0 if one.standing is None else sum(a.state != "no_run" for a in one.standing.attempts),
        }
        for one in every
    ]  # fmt: skip
    return site.draw(
        request, "stored.html", status=422 if wrong else 200, wrong=wrong, kept=kept,
        left=[one for one in made if one.lesson not in names], cards_count=len(cards_of(site)),
        is_open=site.desk.folder.name if site.desk.folder else "",
        has_drafts=site.drafts.folder.is_dir() and any(site.drafts.folder.glob("*/*")),
    )  # fmt: skip


def _forgotten(site: Site, name: str, typed: str) -> None:
    if typed.strip().casefold() != name.casefold():
        raise InputError(_("to forget a class, type the name of its lesson as it stands there; nothing was erased"))
    site.lessons.forget(name)
