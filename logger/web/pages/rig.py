"""The rig: a plan of it, whether it is fit to run, and every step of its calibration, done, next or old."""

from __future__ import annotations

from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from logger.checkup.steps import Step, next_step
from logger.study.places_seen import rig_map
from logger.web.pages.check import last_check
from logger.web.pages.evidence import address_of
from logger.web.pages.work import SKETCH
from logger.web.site import Site, visitor_of


def routes(site: Site) -> list[Route]:
    """The page, and the plan of the tank on it."""

    async def plan(request: Request) -> Response:
        drawn = await run_in_threadpool(lambda: rig_map(site.rig()))
        return Response(drawn, media_type="image/svg+xml", headers=SKETCH)

    async def page(request: Request) -> Response:
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
            request, "rig.html", steps=shown, done_count=done, wanted_count=len(wanted), board=site.desk.board(),
            check=last_check(site),
        )  # fmt: skip

    return [Route("/rig", page, methods=["GET"]), Route("/rig/plan.svg", plan, methods=["GET"])]


def pictures(step: Step, folder: Path, *, all_of_them: bool) -> list[str]:
    """Addresses of a step's pictures; photographs only for those who may change things."""
    shown = [one for one in step.pictures if all_of_them or one.suffix == ".svg"]
    return [address for one in shown if (address := address_of(one, folder)) is not None]
