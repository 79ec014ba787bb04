"""The time of day, told by the browser of whoever leads the lesson, where nobody leads this computer's own clock."""

from __future__ import annotations

from datetime import datetime

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from logger.errors import InputError, LoggerError
from logger.web import forms
from logger.web.language import _
from logger.web.site import Site

FARTHEST_S = 40 * 365 * 86_400.0
"""A browser that is farther away than this has no clock either."""


def routes(site: Site) -> list[Route]:
    """Where a browser tells it."""

    async def tell(request: Request) -> Response:
        form = await forms.read(request)
        try:
            ahead = ahead_s(form.get("now"), site.now())
            if site.desk.standing is not None:
                site.desk.clock_told(ahead)
        except LoggerError as error:
            return Response(str(error), 422, media_type="text/plain")
        return Response(status_code=204)

    return [Route("/clock", tell, methods=["POST"])]


def ahead_s(told: str, now: datetime) -> float:
    """By how much the told time (ISO 8601 with its offset) is ahead of `now`. InputError: it is no such time."""
    try:
        time = datetime.fromisoformat(told)
    except ValueError:
        time = None
    if time is None or time.tzinfo is None:
        raise InputError(_("found %r; wanted a time with its offset") % told[:40])
    ahead = (time - now).total_seconds()
    if abs(ahead) > FARTHEST_S:
        raise InputError(_("found a time that is decades away"))
    return round(ahead, 3)
