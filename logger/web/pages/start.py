"""The first address: it leads to what is wanted now."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from logger.web.site import Site, go, visitor_of


def routes(site: Site) -> list[Route]:
    """To the board or, for whoever may plan a lesson while there is none, to the plan; the teacher to the lesson."""

    async def lead(request: Request) -> Response:
        is_open, is_operator = site.desk.standing is not None, visitor_of(request).is_operator
        path = ("/lesson" if is_open else "/lesson/new") if is_operator else "/board"
        return go(f"{path}?{request.url.query}" if request.url.query else path)

    return [Route("/", lead, methods=["GET"])]
