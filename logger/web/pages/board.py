"""The wall board: who, where it stands, the running time, what came out, who is next. For everybody, from afar."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from logger.lesson.board import Board
from logger.web.language import language
from logger.web.site import Site

PART = "board_part.html"


def routes(site: Site) -> list[Route]:
    """The page, its events, and the board as JSON."""

    def part(board: Board) -> str:
        return site.news.drawn(board, language(), lambda one: site.part(PART, **shown(site, one)))

    async def page(request: Request) -> Response:
        board = site.news.board
        return site.draw(request, "board.html", board=board, part=part(board), running_s=_running(site, board))

    async def events(request: Request) -> Response:
        return StreamingResponse(site.news.events(part), media_type="text/event-stream")

    async def table(request: Request) -> Response:
        return JSONResponse(site.desk.board().table())

    return [
        Route("/board", page, methods=["GET"]),
        Route("/board/events", events, methods=["GET"]),
        Route("/board.json", table, methods=["GET"]),
    ]


def shown(site: Site, board: Board) -> dict[str, object]:
    """What the part is drawn from."""
    standing = site.desk.standing
    return {
        "board": board, "begin": "hands_off" if standing is None else standing.plan.begin,
        "running_s": _running(site, board),
    }  # fmt: skip


def _running(site: Site, board: Board) -> float | None:
    return site.news.age_s(board.running_ns)
