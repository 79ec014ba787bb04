"""The teacher's page: where the lesson stands, one key for each decision, and what has to be looked at."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from logger.config import BY_HAND, KindOfRun
from logger.errors import LoggerError
from logger.lesson.board import Board
from logger.lesson.entries import CountOf
from logger.web import forms, words
from logger.web.language import language
from logger.web.pages.board import shown
from logger.web.presses import Presses
from logger.web.sessions import Visitor
from logger.web.site import Site, go, split, visitor_of

PART = "lesson_part.html"
_COUNTED: Mapping[KindOfRun, tuple[CountOf, ...]] = {
    "cargo": ("cargo",), "rings": ("rings", "touches"), "course": ("touches",), "load": ("weights",),
    "balance": ("weights",),
}  # fmt: skip
"""Kind of run -> what people may count in it; the first is asked for with the decision."""


def routes(site: Site) -> list[Route]:
    """The page, its events, and what is pressed on it."""
    presses = Presses(site.desk)

    def part(board: Board, visitor: Visitor) -> str:
        how = f"{language()} {visitor.token if visitor.is_operator else 'viewer'}"
        return site.news.drawn(board, how, lambda one: site.part(PART, **_shown(site, one, visitor)))

    def drawn(request: Request, *, wrong: str = "") -> Response:
        board, visitor = site.news.board, visitor_of(request)
        return site.draw(request, "lesson.html", status=422 if wrong else 200, wrong=wrong, board=board,
                         part=part(board, visitor))  # fmt: skip

    async def page(request: Request) -> Response:
        return drawn(request)

    async def events(request: Request) -> Response:
        visitor = visitor_of(request)
        return StreamingResponse(site.news.events(lambda board: part(board, visitor)), media_type="text/event-stream")

    async def press(request: Request) -> Response:
        form, wrong = await forms.read(request), ""
        try:
            await run_in_threadpool(presses.do, form)
        except LoggerError as error:
            wrong = str(error)
        if "application/json" in request.headers.get("accept", ""):
            board = site.news.board
            told = [asdict(words.Told.of(one)) for one in split(wrong)]
            content = {
                "wrong": told, "part": part(board, visitor_of(request)),
                "running_s": site.news.age_s(board.running_ns),
            }  # fmt: skip
            return JSONResponse(content, 422 if wrong else 200)
        return drawn(request, wrong=wrong) if wrong else go("/lesson")

    return [
        Route("/lesson", page, methods=["GET"]),
        Route("/lesson/events", events, methods=["GET"]),
        Route("/lesson/press", press, methods=["POST"]),
    ]


def _shown(site: Site, board: Board, visitor: Visitor) -> dict[str, object]:
    standing = site.desk.standing
    attempt = None if standing is None or board.last is None else standing.attempt(board.last.run_id)
    return {
        **shown(site, board), "visitor": visitor, "token": visitor.token, "standing": standing,
        "teams": () if standing is None else standing.teams, "attempt": attempt,
        "is_by_hand": board.kind in BY_HAND,
        "counted": () if standing is None else _COUNTED.get(standing.plan.kind, ()),
        "early_count": 0 if standing is None or standing.next_turn is None
        else standing.early_starts(standing.next_turn),
    }  # fmt: skip
