"""The lens: photographs, a film or the live camera; what they cover and what to add; the result beside the last one."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from calibration.errors import CalibrationError
from calibration.lens_coverage import Coverage
from calibration.lens_scale import BAR_MM
from logger.errors import InputError, LoggerError
from logger.guide import lens_found, lens_gather, lens_kept
from logger.guide.lens_board import board_of
from logger.guide.plane_given import positive
from logger.recording.board_film import FILM_ENDINGS
from logger.recording.photos import PHOTO_ENDINGS
from logger.study.lens_picture import coverage_picture
from logger.web import forms
from logger.web.jobs import Job
from logger.web.language import N_, _
from logger.web.pages.evidence import address_of
from logger.web.site import Site, go

STEP = "lens"
_PLACE = "lens"
_LIVE_S = 600.0
_HEIGHT_MM = 1200.0
_MOST_PHOTOS = 80


def routes(site: Site) -> list[Route]:
    """The page, what it is sent, and the result."""

    async def page(request: Request) -> Response:
        return _page(site, request)

    async def add(request: Request) -> Response:
        try:
            form = await forms.read(request, files=True, films=True)
            await run_in_threadpool(_add, site, form)
        except LoggerError as error:
            return _page(site, request, wrong=str(error))
        return go("/lens#pictures")

    async def forget(request: Request) -> Response:
        await forms.read(request)
        for file in site.drafts.files("lensphotos"):
            file.unlink(missing_ok=True)
        return go("/lens")

    async def work(request: Request) -> Response:
        form = await forms.read(request)
        try:
            values = site.drafts.keep(STEP, {name: form.get(name) for name in ("ruler_mm", "flat_mm")})
            is_live = form.get("from") == "camera"
            if is_live:
                site.rig()
            elif not site.drafts.files("lensphotos"):
                raise InputError(N_("there are no photographs yet; send some, or use the rig's camera"))
            given = _given(values)
            title = _("The lens, by the live camera") if is_live else _("The lens")
            return site.begin(
                title, lambda job: _measured(site, job, given, is_live=is_live), back="/lens", has_enough=is_live
            )
        except LoggerError as error:
            return _page(site, request, wrong=str(error))

    async def result(request: Request) -> Response:
        told = site.drafts.values("lenstold")
        folder = request.path_params["folder"]
        picture = address_of(site.folder / "lens" / folder / "coverage.svg", site.folder)
        if picture is None or not (site.folder / "lens" / folder / "lens.toml").is_file():
            raise HTTPException(404)
        lines = told.get("lines", "").splitlines() if told.get("folder") == folder else []
        return site.draw(request, "lens_result.html", folder=folder, picture=picture, lines=lines)

    return [
        Route("/lens", page, methods=["GET"]),
        Route("/lens/pictures", add, methods=["POST"]),
        Route("/lens/forget", forget, methods=["POST"]),
        Route("/lens/work", work, methods=["POST"]),
        Route("/lens/result/{folder}", result, methods=["GET"]),
    ]


def _page(site: Site, request: Request, *, wrong: str = "") -> Response:
    rig = site.rig()
    sent = [file.name for file in site.drafts.files("lensphotos")]
    newest = next((step for step in site.steps(rig) if step.name == STEP), None)
    return site.draw(
        request, "lens.html", status=422 if wrong else 200, wrong=wrong, values=site.drafts.values(STEP), sent=sent,
        has_camera=rig.camera is not None and rig.camera.driver is not None, step=newest, bar_mm=BAR_MM,
        pictures=[] if newest is None else [a for one in newest.pictures if (a := address_of(one, site.folder))],
    )  # fmt: skip


def _add(site: Site, form: forms.Form) -> None:
    if not form.sent:
        raise InputError(N_("no file was chosen; choose photographs of the board, or a film"))
    there = site.drafts.files("lensphotos")
    if any(one.kind == "film" for one in form.sent):
        if len(form.sent) > 1 or any(file.suffix in PHOTO_ENDINGS for file in there):
            raise InputError(N_("found a film beside other pictures; send one film, or photographs"))
        for file in there:
            file.unlink(missing_ok=True)
    elif any(file.suffix in FILM_ENDINGS for file in there):
        raise InputError(N_("there is a film already; forget it first, or send no photographs"))
    if len(there) + len(form.sent) > _MOST_PHOTOS:
        raise InputError(f"found {len(there) + len(form.sent)} photographs; wanted {_MOST_PHOTOS} at most")
    taken = {file.stem for file in there}
    for one in form.sent:
        stem, number = Path(one.name).stem, 2
        while stem in taken:
            stem, number = f"{Path(one.name).stem}-{number}", number + 1
        taken.add(stem)
        site.drafts.put("lensphotos", stem + Path(one.name).suffix, one.content)


def _given(values: dict[str, str]) -> dict[str, float | None]:
    given: dict[str, float | None] = {}
    for name, words in (("ruler_mm", "the bar by a ruler"), ("flat_mm", "the widest gap under a straight edge")):
        text = values.get(name, "").replace(",", ".")
        try:
            given[name] = positive(text) if text else None
        except ValueError as error:
            raise InputError(f"{words}: {error}") from error
    return given


def _measured(site: Site, job: Job, given: dict[str, float | None], *, is_live: bool) -> str:
    """Gather, fit, keep; where the result is to be seen."""
    try:
        board, notes = board_of(square_mm=None, ruler_mm=given["ruler_mm"], place=_PLACE)
        if is_live:
            job.say("the camera is opened; show the board from all sides")
            material = lens_gather.live(
                site.rig_file, board, length_s=_LIVE_S, told=job.say, shown=lambda now: job.draw(_drawn(now)),
                enough=job.enough.is_set,
            )  # fmt: skip
        else:
            material = _sent_material(site, job, board)
        if given["flat_mm"] is not None:
            material = replace(material, flat_mm=given["flat_mm"])
        job.say(f"{len(material.views)} views; the lens is worked out from them")
        found = lens_found.found(material, board, notes, for_size=None, place=_PLACE)
    except CalibrationError as error:
        raise InputError(str(error)) from error
    below = site.folder / "lens"
    lines = [*lens_found.told(found), *lens_found.last(below, found, height_mm=_HEIGHT_MM, but=None)]
    job.say("it is kept")
    folder = lens_kept.kept(below, found, board, material, at=site.now(), ruler_mm=given["ruler_mm"])
    site.drafts.keep("lenstold", {"folder": folder.name, "lines": "\n".join(lines)})
    return f"/lens/result/{folder.name}"


def _sent_material(site: Site, job: Job, board: object) -> lens_gather.Material:
    files = site.drafts.files("lensphotos")
    job.say(f"looking for the board in {len(files)} picture{'s' * (len(files) != 1)}")
    if len(files) == 1 and files[0].suffix in FILM_ENDINGS:
        return lens_gather.film(files[0], board)  # type: ignore[arg-type]
    return lens_gather.photos(files, board, place=_PLACE)  # type: ignore[arg-type]


def _drawn(now: Coverage) -> str:
    return coverage_picture(now)
