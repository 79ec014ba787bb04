"""Giving the PIN, and leaving again."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from logger.web import forms
from logger.web.guard import DOOR, cookie_of
from logger.web.language import _
from logger.web.site import Site, go, visitor_of


def routes(site: Site) -> list[Route]:
    """The door."""

    async def page(request: Request) -> Response:
        return site.draw(request, "door.html")

    async def enter(request: Request) -> Response:
        form = await forms.read(request)
        if site.pin is None:
            return go("/")
        address = request.client.host if request.client is not None else ""
        if site.attempts.is_closed:
            words = _("too many wrong PINs were tried; nobody may try until boatrun is started anew at the rig")
            return site.draw(request, "door.html", status=429, wrong=words)
        wait_s = site.attempts.wait_s(address)
        if wait_s:
            return site.draw(request, "door.html", status=429, wrong=_("wait %d s before the next try") % wait_s)
        # counted before it is looked at, so that many tries at once are not one
        site.attempts.wrong(address)
        if not await run_in_threadpool(site.pin.is_right, form.values.get("pin", "")[:200]):
            return site.draw(request, "door.html", status=403, wrong=_("that is not the PIN"))
        site.attempts.right(address)
        answer = go("/?said=in")
        answer.headers["Set-Cookie"] = cookie_of(site.sessions.admit())
        return answer

    async def leave(request: Request) -> Response:
        await forms.read(request)
        site.sessions.leave(visitor_of(request))
        return go("/?said=out")

    return [
        Route(DOOR, page, methods=["GET"]),
        Route(DOOR, enter, methods=["POST"]),
        Route("/leave", leave, methods=["POST"]),
    ]
