"""Light sync: blink, watch, tell, enter."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from logger.errors import LoggerError
from logger.guide import light_blinks
from logger.recording.light_evidence import read_light_evidence
from logger.recording.rig_toml import edit_rig
from logger.study.light_graph import light_picture
from logger.web import forms
from logger.web.jobs import Job
from logger.web.language import _
from logger.web.pages.evidence import address_of
from logger.web.site import Site, go

STEP = "light"
_LENGTH_S = 25.0


def routes(site: Site) -> list[Route]:
    """The page, the work, the result, and entering it."""

    async def page(request: Request) -> Response:
        return _page(site, request)

    async def work(request: Request) -> Response:
        await forms.read(request)
        try:
            light_blinks.choices(site.rig(), site.rig_file)
            return site.begin(_("Light sync"), lambda job: _blinked(site, job), back="/light")
        except LoggerError as error:
            return _page(site, request, wrong=str(error))

    async def result(request: Request) -> Response:
        folder = request.path_params["folder"]
        told = site.drafts.values("lighttold")
        if told.get("folder") != folder:
            raise HTTPException(404)
        drawn = site.drafts.file("lightdrawn", "light")
        picture = None if drawn is None else f"/draft/lightdrawn/{drawn.name}?{folder[-6:]}"
        lines = told.get("lines", "").splitlines()
        return site.draw(request, "light_result.html", folder=folder, picture=picture, lines=lines)

    async def use(request: Request) -> Response:
        form = await forms.read(request)
        folder = site.folder / STEP / form.get("folder")
        if address_of(folder / "light.svg", site.folder) is None or not folder.is_dir():
            raise HTTPException(404)
        sync = await run_in_threadpool(lambda: light_blinks.worked_out(folder, read_light_evidence(folder)))
        edit_rig(site.rig_file, light_blinks.entries_of(sync))
        return go("/rig?said=light")

    return [
        Route("/light", page, methods=["GET"]),
        Route("/light", work, methods=["POST"]),
        Route("/light/result/{folder}", result, methods=["GET"]),
        Route("/light/use", use, methods=["POST"]),
    ]


def _page(site: Site, request: Request, *, wrong: str = "") -> Response:
    rig = site.rig()
    step = next((one for one in site.steps(rig) if one.name == STEP), None)
    return site.draw(
        request, "light.html", status=422 if wrong else 200, wrong=wrong, step=step, length_s=_LENGTH_S,
        has_both=rig.camera is not None and rig.camera.driver is not None and rig.light_driver is not None,
    )  # fmt: skip


def _blinked(site: Site, job: Job) -> str:
    seen = light_blinks.watched(
        site.rig_file, site.folder / STEP, length_s=_LENGTH_S, at=site.now(), told=job.say
    )  # fmt: skip
    job.say("the delay is worked out")
    sync = light_blinks.worked_out(seen.folder, seen.evidence)
    lines = [*light_blinks.told(sync).splitlines(), *(f"  note: camera: {fault}" for fault in seen.faults)]
    site.drafts.put("lightdrawn", "light.svg", light_picture(sync))
    site.drafts.keep("lighttold", {"folder": seen.folder.name, "lines": "\n".join(lines)})
    return f"/light/result/{seen.folder.name}"
