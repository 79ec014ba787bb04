"""The check of every part, and keeping a view of the rig as it is calibrated."""

from __future__ import annotations

import json

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from logger.checkup.check import Wanted, check
from logger.errors import LoggerError
from logger.web import forms
from logger.web.jobs import Job
from logger.web.language import _
from logger.web.pages.evidence import address_of
from logger.web.site import Site, visitor_of

STEP = "check"


def routes(site: Site) -> list[Route]:
    """The page with the last check, and a new one."""

    async def page(request: Request) -> Response:
        return _page(site, request)

    async def work(request: Request) -> Response:
        form = await forms.read(request)
        keep = form.get("keep") == "yes"
        try:
            site.rig()
            return site.begin(_("Check of every part"), lambda job: _checked(site, job, keep=keep), back="/check")
        except LoggerError as error:
            return _page(site, request, wrong=str(error))

    return [Route("/check", page, methods=["GET"]), Route("/check", work, methods=["POST"])]


def _page(site: Site, request: Request, *, wrong: str = "") -> Response:
    rig = site.rig()
    step = next((one for one in site.steps(rig) if one.name == STEP), None)
    last = site.drafts.values("checkfound")
    try:
        findings = json.loads(last.get("findings", "[]"))
    except ValueError:
        findings = []
    shown = [] if step is None or not visitor_of(request).is_operator else step.pictures
    return site.draw(
        request, "check.html", status=422 if wrong else 200, wrong=wrong, step=step, at=last.get("at", ""),
        findings=sorted(findings, key=lambda one: ("wrong", "doubtful", "well").index(one["health"])),
        has_camera=rig.camera is not None,
        pictures=[a for one in shown if (a := address_of(one, site.folder))],
    )  # fmt: skip


def _checked(site: Site, job: Job, *, keep: bool) -> str:
    found = []
    for finding in check(Wanted(site.rig_file, keep_view=keep), say=job.say):
        job.say(f"{finding.part}: {finding.found}")
        found.append({"part": finding.part, "health": finding.health, "found": finding.found, "cure": finding.cure})
    at = site.now().isoformat(sep=" ", timespec="minutes")
    site.drafts.keep("checkfound", {"findings": json.dumps(found, ensure_ascii=False), "at": at[:16]})
    return "/check"
