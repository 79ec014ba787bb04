"""Work under way: how far it is, live by server-sent events or, without scripts, by loading the page again."""

from __future__ import annotations

import json
from collections.abc import AsyncIterator

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Route

from logger.web import forms
from logger.web.jobs import Job
from logger.web.site import Site, go

_ALIVE_S = 10.0
SKETCH = {"Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; sandbox"}
"""Headers of a drawing that is shown as a picture: its own styles, and nothing else."""


def routes(site: Site) -> list[Route]:
    """One piece of work: its page, its events, its drawing, and how to end it."""

    def job_of(request: Request) -> Job:
        job = site.jobs.get(request.path_params["number"])
        if job is None:
            raise HTTPException(404)
        return job

    async def page(request: Request) -> Response:
        job = job_of(request)
        if job.state == "done":
            return go(job.where)
        return site.draw(request, "work.html", job=job, wrong=job.wrong)

    async def events(request: Request) -> Response:
        return StreamingResponse(_told(job_of(request)), media_type="text/event-stream")

    async def sketch(request: Request) -> Response:
        return Response(job_of(request).sketch, media_type="image/svg+xml", headers=SKETCH)

    async def end(request: Request) -> Response:
        job, form = job_of(request), await forms.read(request)
        if job.state == "running":
            if form.get("how") == "enough" and job.has_enough:
                job.enough.set()
            else:
                job.stop()
        return go(f"/progress/{job.number}")

    path = "/progress/{number:int}"
    return [
        Route(path, page, methods=["GET"]),
        Route(path, end, methods=["POST"]),
        Route(f"{path}/events", events, methods=["GET"]),
        Route(f"{path}/sketch.svg", sketch, methods=["GET"]),
    ]


async def _told(job: Job) -> AsyncIterator[str]:
    """Server-sent events (HTML standard, 9.2): what is new, and at the end where to go."""
    told, drawn = 0, ""
    async for _ in job.changes(_ALIVE_S):
        if job.state != "running":
            yield _event("end", {"where": job.where or f"/progress/{job.number}"})
            return
        if len(job.news) > told or job.sketch != drawn:
            yield _event("news", {"sentences": job.news[told:], "last": job.news[-1:], "drawn": bool(job.sketch)})
            told, drawn = len(job.news), job.sketch
        else:
            yield ": it goes on\n\n"


def _event(name: str, data: object) -> str:
    return f"event: {name}\ndata: {json.dumps(data, ensure_ascii=False)}\n\n"
