"""The lesson so far: every run with what came out, its doubts and what was decided; void ones stay."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from logger.errors import InputError, LoggerError
from logger.lesson.shown import came
from logger.web import forms
from logger.web.language import _
from logger.web.presses import decided
from logger.web.site import Site, go


def routes(site: Site) -> list[Route]:
    """The page, and deciding anew."""

    async def page(request: Request) -> Response:
        return await run_in_threadpool(_page, site, request)

    async def decide(request: Request) -> Response:
        form = await forms.read(request)
        try:
            await run_in_threadpool(_decided, site, form)
        except LoggerError as error:
            return await run_in_threadpool(_page, site, request, wrong=str(error))
        return go(f"/sofar?said=decided#{form.get('run_id')}")

    return [Route("/sofar", page, methods=["GET"]), Route("/sofar", decide, methods=["POST"])]


def _page(site: Site, request: Request, *, wrong: str = "") -> Response:
    standing, desk = site.desk.standing, site.desk
    runs = []
    for attempt in () if standing is None else standing.attempts:
        assert standing is not None  # noqa: S101 - else there were none
        trial = desk.trial(attempt.run_id)
        one = came(standing, attempt, trial, is_final=trial is not None)
        status = attempt.status or {"under_way": "under_way", "no_run": "no_run"}.get(attempt.state, "undecided")
        runs.append({"attempt": attempt, "came": one, "status": status})
    return site.draw(
        request, "sofar.html", status=422 if wrong else 200, wrong=wrong, runs=runs[::-1],
        name=desk.folder.name if desk.folder else "", has_trials=any(run["came"].is_final for run in runs),  # type: ignore[attr-defined]
        stick_count=len(site.sticks()),
    )  # fmt: skip


def _decided(site: Site, form: forms.Form) -> None:
    status = form.get("status")
    if status not in ("valid", "void", "did_not_finish", "freed") or not form.get("run_id"):
        raise InputError(_("this can not be pressed; open the page anew"))
    decided(site.desk, form, status)  # type: ignore[arg-type]
