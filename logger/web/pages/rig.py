"""The rig: its picture and plan, whether it is fit to run, and every step of its calibration, done, next or old."""

from __future__ import annotations

from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Route

from logger.checkup.steps import Step, next_step
from logger.errors import LoggerError
from logger.lesson.board import Board
from logger.study.places_seen import rig_map
from logger.web import forms
from logger.web.language import _, language
from logger.web.pages.check import last_check
from logger.web.pages.evidence import address_of
from logger.web.pages.work import SKETCH
from logger.web.rig_picture import RigPicture
from logger.web.site import HOLDING, Site, visitor_of

PART = "rig_part.html"
_PHOTO = {"Cache-Control": "no-store"}


def routes(site: Site) -> list[Route]:
    """The page, its events, and the picture and plan of the tank on it."""
    camera = RigPicture(site)

    def part(board: Board) -> str:
        return site.news.drawn(board, f"rig {language()}", lambda one: site.part(PART, board=one))

    async def events(request: Request) -> Response:
        return StreamingResponse(site.news.events(part), media_type="text/event-stream")

    async def picture(request: Request) -> Response:
        if not visitor_of(request).is_operator:
            raise HTTPException(403, "viewers see drawings, not photographs")
        made = await run_in_threadpool(camera.jpeg)
        if made is None:
            raise HTTPException(404)
        return Response(made, media_type="image/jpeg", headers=_PHOTO)

    async def take(request: Request) -> Response:
        await forms.read(request)
        try:
            return site.begin(_("A picture by the rig's camera"), camera.take, back="/rig")
        except LoggerError as error:
            return await _drawn(site, request, camera, part=part(site.news.board), wrong=str(error))

    async def plan(request: Request) -> Response:
        made = await run_in_threadpool(lambda: rig_map(site.rig()))
        return Response(made, media_type="image/svg+xml", headers=SKETCH)

    async def page(request: Request) -> Response:
        return await _drawn(site, request, camera, part=part(site.news.board))

    return [
        Route("/rig", page, methods=["GET"]),
        Route("/rig/events", events, methods=["GET"]),
        Route("/rig/plan.svg", plan, methods=["GET"]),
        Route("/rig/picture.jpg", picture, methods=["GET"]),
        Route("/rig/take", take, methods=["POST"]),
    ]


async def _drawn(site: Site, request: Request, camera: RigPicture, *, part: str, wrong: str = "") -> Response:
    rig = await run_in_threadpool(site.rig)
    found = await run_in_threadpool(site.steps, rig)
    following = next_step(found)
    is_operator = visitor_of(request).is_operator
    shown = [
        {
            "step": step, "is_next": step is following, "number": number,
            "pictures": pictures(step, site.folder, all_of_them=is_operator),
        }
        for number, step in enumerate(found, 1)
    ]  # fmt: skip
    wanted = [step for step in found if step.standing != "not needed"]
    done = sum(step.standing == "done" for step in wanted)
    return site.draw(
        request, "rig.html", status=422 if wrong else 200, wrong=wrong, steps=shown, done_count=done,
        wanted_count=len(wanted), part=part, check=last_check(site),
        how=await run_in_threadpool(camera.how, rig), taken_at=camera.taken_at,
        is_held=site.desk.board().state in HOLDING,
    )  # fmt: skip


def pictures(step: Step, folder: Path, *, all_of_them: bool) -> list[str]:
    """Addresses of a step's pictures; photographs only for those who may change things."""
    shown = [one for one in step.pictures if all_of_them or one.suffix == ".svg"]
    return [address for one in shown if (address := address_of(one, folder)) is not None]
