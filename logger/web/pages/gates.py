"""The check boat: which recordings, the work, the result, and entering it."""

from __future__ import annotations

from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from logger.config import Gate
from logger.errors import InputError, LoggerError
from logger.guide import gate_pulls
from logger.guide.gate_words import gates_of, told
from logger.web import forms
from logger.web.jobs import Job
from logger.web.language import N_, _
from logger.web.pages.evidence import address_of
from logger.web.site import Site, go

STEP = "gates"
_MOST_COUNT = 60


def routes(site: Site) -> list[Route]:
    """The page, the work, the result, and entering it."""

    async def page(request: Request) -> Response:
        return await run_in_threadpool(_page, site, request)

    async def work(request: Request) -> Response:
        form = await forms.read(request)
        chosen = form.lists.get("recording", ())
        there = {str(one.relative_to(site.folder)): one for one in _recordings(site)}
        try:
            folders = [there[name] for name in chosen if name in there]
            if not folders:
                raise InputError(N_("choose the recordings of the pulls, three or more; make them with boatrun record"))
            return site.begin(_("Where the beams are"), lambda job: _solved(site, job, folders), back="/gates")
        except LoggerError as error:
            return _page(site, request, wrong=str(error))

    async def result(request: Request) -> Response:
        folder = request.path_params["folder"]
        drawn = address_of(site.folder / STEP / folder / "gates.svg", site.folder)
        before = site.drafts.values("gatestold")
        if drawn is None or before.get("folder") != folder:
            raise HTTPException(404)
        lines = before.get("lines", "").splitlines()
        return site.draw(request, "gates_result.html", folder=folder, picture=drawn, lines=lines)

    async def use(request: Request) -> Response:
        form = await forms.read(request)
        before = site.drafts.values("gatestold")
        if not before or form.get("folder") != before.get("folder"):
            raise HTTPException(404)
        await run_in_threadpool(_entered, site, before)
        return go("/rig?said=gates")

    return [
        Route("/gates", page, methods=["GET"]),
        Route("/gates", work, methods=["POST"]),
        Route("/gates/result/{folder}", result, methods=["GET"]),
        Route("/gates/use", use, methods=["POST"]),
    ]


def _page(site: Site, request: Request, *, wrong: str = "") -> Response:
    rig = site.rig()
    step = next((one for one in site.steps(rig) if one.name == STEP), None)
    return site.draw(
        request, "gates.html", status=422 if wrong else 200, wrong=wrong, step=step,
        recordings=[str(one.relative_to(site.folder)) for one in _recordings(site)],
        pictures=[] if step is None else [a for one in step.pictures if (a := address_of(one, site.folder))],
    )  # fmt: skip


def _recordings(site: Site) -> list[Path]:
    """Recordings beside the rig file or one folder below, the newest first."""
    cards = [*site.folder.glob("*/recording.toml"), *site.folder.glob("*/*/recording.toml")]
    found = [card for card in cards if not card.parent.is_symlink()]
    newest = sorted(found, key=lambda card: card.stat().st_mtime, reverse=True)
    return [card.parent for card in newest[:_MOST_COUNT]]


def _solved(site: Site, job: Job, folders: list[Path]) -> str:
    job.say("the recordings are read")
    recordings = gate_pulls.loaded(folders)
    rig = gate_pulls.rig_of(recordings, site.rig_file)
    seen = gate_pulls.seen(recordings, rig, told=job.say)
    fit = gate_pulls.solved(seen, rig)
    notes = [note for one in seen for note in one.notes]
    folder = gate_pulls.kept(fit, rig, notes, site.folder / STEP, recordings=folders, at=site.now())
    places = {f"gate {g.name}": f"{g.offset_mm!r} {g.u_offset_mm!r}" for g in gates_of(fit, rig)}
    site.drafts.clear("gatestold")
    site.drafts.keep("gatestold", {"folder": folder.name, "lines": told(fit, rig, notes), **places})
    return f"/gates/result/{folder.name}"


def _entered(site: Site, before: dict[str, str]) -> None:
    gates = []
    for gate in site.rig().gates:
        if f"gate {gate.name}" in before:
            offset, u = map(float, before[f"gate {gate.name}"].split())
            gates.append(Gate(gate.name, gate.line, offset, u, gate.u_stamp_s))
    gate_pulls.entered(gates, site.rig_file, site.folder / STEP / before["folder"], at=site.now())
