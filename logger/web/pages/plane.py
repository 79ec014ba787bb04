"""The water plane, in one of three ways: pictures, measures, what is pointed at; then the result and its map."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from calibration.files import load_calibration
from logger.errors import InputError, LoggerError
from logger.guide import plane_kept
from logger.guide.plane_words import told
from logger.guide.stills_now import still_now
from logger.recording.plane_evidence import CAMERA_NAME, MAP_NAME
from logger.station.plane_session import PlaneWish, work_out
from logger.web import forms
from logger.web.jobs import Job
from logger.web.language import N_, _
from logger.web.pages.evidence import address_of
from logger.web.pictures import keep_sent, keep_still, shown_picture
from logger.web.plane_form import CORNERS, FIELDS, WAYS, lens_file_of, pictures_of, wish_of
from logger.web.site import Site, go

STEP = "plane"


def routes(site: Site) -> list[Route]:
    """The page, its pictures, the work, the result, and using it."""

    async def page(request: Request) -> Response:
        way = request.query_params.get("way", "")
        if way in WAYS:
            site.drafts.keep(STEP, {"way": way})
        return _page(site, request)

    async def picture(request: Request) -> Response:
        slot = request.path_params["slot"]
        if slot not in {one for way in WAYS for one in pictures_of(way)}:
            raise HTTPException(404)
        try:
            return await _picture(site, slot, await forms.read(request, files=True, films=True))
        except LoggerError as error:
            return _page(site, request, wrong=str(error))

    async def work(request: Request) -> Response:
        try:
            form = await forms.read(request, files=True, films=True)
            values = site.drafts.keep(STEP, {name: form.get(name) for name in FIELDS if name in form.values})
            for slot in pictures_of(values.get("way", "")):
                await run_in_threadpool(_keep, site, form, slot)
            wish = await run_in_threadpool(wish_of, site, values)
            return site.begin(_("The water plane"), lambda job: _worked_out(site, job, wish), back="/plane")
        except LoggerError as error:
            return _page(site, request, wrong=str(error))

    async def result(request: Request) -> Response:
        return await run_in_threadpool(_result, site, request)

    async def use(request: Request) -> Response:
        form = await forms.read(request)
        folder = form.get("folder")
        if address_of(site.folder / STEP / folder / MAP_NAME, site.folder) is None:
            raise HTTPException(404)
        await run_in_threadpool(plane_kept.entered, site.folder / STEP / folder, site.rig_file)
        return go("/rig?said=plane")

    return [
        Route("/plane", page, methods=["GET"]),
        Route("/plane/picture/{slot}", picture, methods=["POST"]),
        Route("/plane/work", work, methods=["POST"]),
        Route("/plane/result/{folder}", result, methods=["GET"]),
        Route("/plane/use", use, methods=["POST"]),
    ]


def _page(site: Site, request: Request, *, wrong: str = "") -> Response:
    rig = site.rig()
    values = site.drafts.values(STEP)
    way = values.get("way", "")
    slots = [_slot(site, name) for name in (pictures_of(way) if way in WAYS else ())]
    step = next((one for one in site.steps(rig) if one.name == STEP), None)
    lens = next((one for one in site.steps(rig) if one.name == "lens"), None)
    begun = {
        "columns": "5", "rows": "3", "u_depth": "1", "u_mark": "1", "u_level": "1", "board_height": "4",
    }  # fmt: skip
    return site.draw(
        request, "plane.html", status=422 if wrong else 200, wrong=wrong, way=way if way in WAYS else "",
        values=begun | values, slots=slots, corners=CORNERS, step=step, lens=lens,
        has_camera=rig.camera is not None and rig.camera.driver is not None,
        gate_distance_mm=rig.gate_distance_mm,
        pictures=[] if step is None else [a for one in step.pictures if (a := address_of(one, site.folder))],
    )  # fmt: skip


async def _picture(site: Site, slot: str, form: forms.Form) -> Response:
    """Take, forget or keep one of the pictures; what was typed beside it stays."""
    site.drafts.keep(STEP, {name: form.get(name) for name in FIELDS if name in form.values})
    if form.get("take"):
        return site.begin(_("A picture by the rig's camera"), lambda job: _taken(site, job, slot), back="/plane")
    if form.get("forget"):
        for file in site.drafts.files("planepictures"):
            if file.stem.partition("-")[0] == slot:
                file.unlink(missing_ok=True)
    elif not any(one.field == slot for one in form.sent):
        raise InputError(N_("no file was chosen; choose a photograph, or let the rig's camera take one"))
    else:
        await run_in_threadpool(_keep, site, form, slot)
    return go("/plane#pictures")


def _keep(site: Site, form: forms.Form, slot: str) -> None:
    """Keep what was sent for one of the pictures, if anything was."""
    sent = [one for one in form.sent if one.field == slot]
    if sent:
        keep_sent(site.drafts, "planepictures", slot, sent, several=slot == "board")


def _slot(site: Site, name: str) -> dict[str, object]:
    files = [file for file in site.drafts.files("planepictures") if file.stem.partition("-")[0] == name]
    shown = [shown_picture(file) for file in files]
    return {
        "name": name,
        "files": files,
        "shown": [one for one in shown if one is not None],
        "several": name == "board",
    }


def _taken(site: Site, job: Job, slot: str) -> str:
    job.say("the camera is opened; a picture of a second or two is taken, nobody's hands in it")
    still = still_now(site.rig(), site.rig_file)
    keep_still(site.drafts, "planepictures", slot, still, several=slot == "board")
    return "/plane#pictures"


def _worked_out(site: Site, job: Job, wish: PlaneWish) -> str:
    job.say("looking at the pictures and working the plane out")
    result = work_out(wish)
    job.say("drawing the map")
    words = told(result, plane_kept.in_use(site.rig(), site.rig_file))
    lens_file = lens_file_of(site)
    folder = plane_kept.kept(
        result, site.folder / STEP, at=site.now(), lens_file="" if lens_file is None else str(lens_file)
    )
    site.drafts.keep("planetold", {"folder": folder.name, "lines": words})
    return f"/plane/result/{folder.name}"


def _result(site: Site, request: Request) -> Response:
    folder = site.folder / STEP / request.path_params["folder"]
    drawn = address_of(folder / MAP_NAME, site.folder)
    if drawn is None or not (folder / CAMERA_NAME).is_file():
        raise HTTPException(404)
    try:
        calibration = load_calibration(folder / CAMERA_NAME)
    except ValueError as error:
        raise InputError(str(error)) from error
    told_before = site.drafts.values("planetold")
    lines = told_before.get("lines", "").splitlines() if told_before.get("folder") == folder.name else []
    rig = site.rig()
    in_use = rig.camera is not None and (site.folder / rig.camera.calibration).parent.name == folder.name
    seen = [a for one in sorted(folder.glob("seen-*.png")) if (a := address_of(one, site.folder))]
    return site.draw(
        request, "plane_result.html", folder=folder.name, picture=drawn, seen=seen, lines=lines, in_use=in_use,
        worst_mm=_number(calibration.evidence.get("worst_mm")), doubts=calibration.evidence.get("doubts", []),
    )  # fmt: skip


def _number(found: object) -> float | None:
    return float(found) if isinstance(found, int | float) else None
