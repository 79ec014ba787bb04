"""Lines, beams and zones: clicked in the picture or typed, looked at first, then kept and entered; and the tape."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import cv2
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from calibration.readings import read_length
from logger.config import LineRole, Rig
from logger.errors import InputError, LoggerError
from logger.guide import place_session as session
from logger.guide.stills_now import still_now
from logger.recording.place_list import GivenPlace, place_of_words, read_places
from logger.recording.stills import Still, read_still
from logger.study.point_page import point_part
from logger.web import forms
from logger.web.jobs import Job
from logger.web.language import N_, _
from logger.web.pages.evidence import address_of
from logger.web.pictures import keep_sent, keep_still, shown_picture
from logger.web.site import Site, go

STEP, PICTURES = "lines", "linespicture"
_ROLES: tuple[LineRole, ...] = ("start", "mark", "finish")
FIELDS = ("table", *(f"{role}_x" for role in _ROLES), "words", "taped_1", "taped_2")


def routes(site: Site) -> list[Route]:
    """The page, its picture, looking and entering."""

    async def page(request: Request) -> Response:
        return await run_in_threadpool(_page, site, request)

    async def picture(request: Request) -> Response:
        try:
            form = await forms.read(request, files=True, films=True)
            if form.get("take"):
                return site.begin(_("A picture by the rig's camera"), lambda job: _taken(site, job), back="/lines")
            await run_in_threadpool(keep_sent, site.drafts, PICTURES, "picture", form.sent, several=False)
        except LoggerError as error:
            return _page(site, request, wrong=str(error))
        return go("/lines")

    async def look(request: Request) -> Response:
        form = await forms.read(request, files=True)
        values = site.drafts.keep(STEP, {name: form.get(name) for name in FIELDS})
        try:
            made = await run_in_threadpool(_made, site, values)
            if form.get("do") == "enter":
                await run_in_threadpool(_entered, site, made)
                return go("/rig?said=lines")
            await run_in_threadpool(_drawn, site, made)
        except LoggerError as error:
            return await run_in_threadpool(partial(_page, site, request, wrong=str(error)))
        told = made.told()
        return await run_in_threadpool(partial(_page, site, request, told=told))

    return [
        Route("/lines", page, methods=["GET"]),
        Route("/lines", look, methods=["POST"]),
        Route("/lines/picture", picture, methods=["POST"]),
    ]


def _page(site: Site, request: Request, *, wrong: str = "", told: str = "") -> Response:
    rig = site.rig()
    step = next((one for one in site.steps(rig) if one.name == STEP), None)
    file = _picture_file(site)
    part, why = "", ""
    if file is not None:
        try:
            part = _part(site, rig, file)
        except LoggerError as error:
            why = str(error)
    now = {line.role: line for line in rig.lines}
    return site.draw(
        request, "lines.html", status=422 if wrong else 200, wrong=wrong or why, step=step, part=part,
        values=site.drafts.values(STEP), roles=[{"role": role, "now": now.get(role)} for role in _ROLES],
        told=told.splitlines(), drawn=_drawings(site) if told else [], has_gates=bool(rig.gates),
        has_camera=rig.camera is not None and rig.camera.driver is not None,
        pictures=[] if step is None else [a for one in step.pictures if (a := address_of(one, site.folder))],
    )  # fmt: skip


def _picture_file(site: Site) -> Path | None:
    """What was sent for this, or else the newest picture that the water plane was made from."""
    sent = site.drafts.file(PICTURES, "picture")
    if sent is not None:
        return sent
    folders = sorted((site.folder / "plane").glob("plane-*/camera.toml"))
    pictures = sorted(folders[-1].parent.glob("picture-*.png")) if folders else []
    return pictures[-1] if pictures else None


def _part(site: Site, rig: Rig, file: Path) -> str:
    view = session.view_of(rig, site.rig_file)
    if site.drafts.folder in file.parents:
        shown = shown_picture(file)
        if shown is None:
            raise InputError(f"{file.name}: this picture cannot be read any more; send it again")
        address, size_px = shown.address, (shown.width_px, shown.height_px)
    else:
        found = address_of(file, site.folder)
        height, width = read_still([file]).grey.shape
        address, size_px = found or "", (width, height)
    table = site.drafts.values(STEP).get("table", "")
    return point_part(size_px, rig, view, source=address, table=table, say=_)


def _made(site: Site, values: dict[str, str]) -> session.PlacesMade:
    rig = site.rig()
    view = session.view_of(rig, site.rig_file)
    given = _given(site, rig, values)
    readings = []
    for name in ("taped_1", "taped_2"):
        try:
            readings += [read_length(values[name])] if values.get(name) else []
        except ValueError as error:
            raise InputError(f"from beam to beam by tape: {error}") from error
    if not given and not readings:
        raise InputError(N_("nothing was pointed at or typed yet; click in the picture, or type where a line is"))
    file = _picture_file(site)
    picture: Still | None = None
    if file is not None and view is not None:
        picture = read_still([file])
        session.check_size(picture, view, place="the picture")
    taped = session.taped_of(readings, place="from beam to beam by tape")
    wish = session.PlaceWish(rig, view, given, picture, taped)
    return session.work_out(wish, place="lines, beams, zones")


def _given(site: Site, rig: Rig, values: dict[str, str]) -> list[GivenPlace]:
    given: list[GivenPlace] = []
    named = {line.role: line.name for line in rig.lines}
    if values.get("table"):
        path = site.drafts.put("linestable", "points.csv", values["table"].rstrip("\n") + "\n")
        try:
            given += read_places(path)
        except InputError as error:
            raise InputError(str(error).replace(str(path), "points in the picture")) from error
    try:
        for role in _ROLES:
            if values.get(f"{role}_x"):
                x = values[f"{role}_x"].replace(",", ".")
                given.append(place_of_words(f'{role} "{named.get(role, role)}" x={x}'))
        given += [place_of_words(line) for line in values.get("words", "").splitlines() if line.strip()]
    except ValueError as error:
        raise InputError(f"typed places: {error}") from error
    return given


def _drawn(site: Site, made: session.PlacesMade) -> None:
    site.drafts.clear("linesdrawn")
    site.drafts.put("linesdrawn", "plan.svg", made.plan())
    seen = made.seen()
    if seen is not None:
        site.drafts.put("linesdrawn", "seen.png", cv2.imencode(".png", seen)[1].tobytes())


def _drawings(site: Site) -> list[str]:
    files = sorted(site.drafts.files("linesdrawn"), reverse=True)
    return [f"/draft/linesdrawn/{file.name}?{file.stat().st_mtime_ns % 10**12}" for file in files]


def _entered(site: Site, made: session.PlacesMade) -> None:
    folder = session.kept(made, site.folder / "places", at=site.now())
    session.entered(made, site.rig_file, folder, at=site.now())
    for step in (STEP, "linesdrawn", "linestable"):
        site.drafts.clear(step)


def _taken(site: Site, job: Job) -> str:
    job.say("the camera is opened; a picture of a second or two is taken")
    keep_still(site.drafts, PICTURES, "picture", still_now(site.rig(), site.rig_file), several=False)
    return "/lines"
