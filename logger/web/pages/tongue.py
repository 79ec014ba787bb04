"""Choosing the language of the pages; whoever looks may."""

from __future__ import annotations

from urllib.parse import urlsplit

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from logger.web import forms
from logger.web.guard import LANGUAGE
from logger.web.language import COOKIE, LANGUAGES
from logger.web.site import Site, go

_A_YEAR_S = 365 * 24 * 3600


def routes(_: Site) -> list[Route]:
    """The small form at the foot of every page."""

    async def choose(request: Request) -> Response:
        form = await forms.read(request)
        answer = go(_within(form.get("back")))
        if form.get("language") in LANGUAGES:
            answer.set_cookie(COOKIE, form.get("language"), max_age=_A_YEAR_S, httponly=True, samesite="strict")
        return answer

    return [Route(LANGUAGE, choose, methods=["POST"])]


def _within(address: str) -> str:
    """A page of ours to go back to, whatever was sent."""
    try:
        asked = urlsplit(address)
    except ValueError:
        return "/"
    is_ours = not asked.scheme and not asked.netloc and address.startswith("/") and not address.startswith("//")
    return address if is_ours and "\\" not in address and address.isascii() else "/"
