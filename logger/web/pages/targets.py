"""Sheets to print: which, on what paper, as a PDF."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from calibration.errors import CalibrationError
from logger.study.paper import PAPERS
from logger.study.target_sheets import TARGETS, target_sheets
from logger.web.site import Site

_FOR = {"lens-board": "lens", "focus-card": "lens", "plane-board": "plane", "rim-marks": "plane", "plane-grid": "plane",
        "light-card": "light"}  # fmt: skip
"""Name of a sheet -> the step that it is for."""


def routes(site: Site) -> list[Route]:
    """The list, and each sheet."""

    async def page(request: Request) -> Response:
        sheets = [
            {"name": name, "title": one.title, "notes": one.notes, "step": _FOR[name]} for name, one in TARGETS.items()
        ]
        return site.draw(request, "targets.html", sheets=sheets)

    async def pdf(request: Request) -> Response:
        name, paper = request.path_params["name"], request.query_params.get("paper", "a4")
        if (name != "all" and name not in TARGETS) or paper not in PAPERS:
            raise HTTPException(404)
        names = list(TARGETS) if name == "all" else [name]
        try:
            made = await run_in_threadpool(target_sheets, names, PAPERS[paper])
        except CalibrationError as error:
            raise HTTPException(422, str(error)) from error
        headers = {"Content-Disposition": f'attachment; filename="{name}-{paper}.pdf"'}
        return Response(made, media_type="application/pdf", headers=headers)

    return [Route("/targets", page, methods=["GET"]), Route("/targets/{name}.pdf", pdf, methods=["GET"])]
