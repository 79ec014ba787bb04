"""The results of a lesson as files: onto a stick with one tap, or as one packed file for the browser."""

from __future__ import annotations

import io
import zipfile

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from logger.errors import InputError, LoggerError
from logger.lesson.folder import TRIALS
from logger.recording.copies import Copy, note_copy
from logger.results.exported import of_store, written
from logger.web import forms
from logger.web.language import N_, _
from logger.web.site import Site, go
from logger.web.sticks import put

NO_STICK = N_(
    "there is no USB stick at the rig; plug one in, wait a moment, and try again, or take the packed file instead"
)


def routes(site: Site) -> list[Route]:
    """Copying to a stick, and the packed file."""

    async def copy(request: Request) -> Response:
        form = await forms.read(request)
        try:
            await run_in_threadpool(_copied, site, form.get("lesson"))
        except LoggerError as error:
            return site.draw(request, "copied.html", status=422, wrong=str(error), lesson=form.get("lesson"))
        return go("/sofar?said=copied")

    async def packed(request: Request) -> Response:
        form = await forms.read(request)
        try:
            made = await run_in_threadpool(_packed, site, form.get("lesson"))
        except LoggerError as error:
            return site.draw(request, "copied.html", status=422, wrong=str(error), lesson=form.get("lesson"))
        headers = {"Content-Disposition": f'attachment; filename="{form.get("lesson")}.zip"'}
        return Response(made, media_type="application/zip", headers=headers)

    return [Route("/copy/stick", copy, methods=["POST"]), Route("/copy/packed", packed, methods=["POST"])]


def files_of(site: Site, lesson: str) -> dict[str, str | bytes]:
    """Names and contents of a lesson's files: tables for statistics, and a workbook. InputError: there are none."""
    runs = of_store(site.lessons.path(lesson) / TRIALS)
    tables = {f"tables/{name}": content for name, content in written(runs, "csv").items()}
    return {**tables, **written(runs, "xlsx")}


def _copied(site: Site, lesson: str) -> None:
    site.lessons.path(lesson)
    there = site.sticks()
    if not there:
        raise InputError(_(NO_STICK))
    files = files_of(site, lesson)
    folder = put(there[0], f"boatrun-{lesson}", files)
    _note(site, lesson, str(folder))


def _packed(site: Site, lesson: str) -> bytes:
    files = files_of(site, lesson)
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as pack:
        for name, content in files.items():
            pack.writestr(f"boatrun-{lesson}/{name}", content)
    _note(site, lesson, "download")
    return made.getvalue()


def _note(site: Site, lesson: str, to: str) -> None:
    note_copy(site.folder, Copy(site.now().isoformat(timespec="seconds"), lesson, "tables", to))
