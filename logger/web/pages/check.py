"""The check of every part, and keeping a view of the rig as it is calibrated."""

from __future__ import annotations

import json
from dataclasses import dataclass

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


@dataclass(frozen=True, slots=True)
class LastCheck:
    """What the last check from the pages has found."""

    at: str
    """Wall time; empty: there was none."""
    findings: tuple[dict[str, str], ...] = ()
    """The bad ones first; each with part, health, found, cure."""

    @property
    def odd(self) -> tuple[dict[str, str], ...]:
        """Those that are not well."""
        return tuple(one for one in self.findings if one["health"] != "well")


def last_check(site: Site) -> LastCheck:
    """What the last check has found, as it is kept with the drafts."""
    last = site.drafts.values("checkfound")
    try:
        findings = json.loads(last.get("findings", "[]"))
        ordered = sorted(findings, key=lambda one: ("wrong", "doubtful", "well").index(one["health"]))
    except (ValueError, KeyError, TypeError):
        return LastCheck("")
    return LastCheck(last.get("at", ""), tuple(ordered))


def _page(site: Site, request: Request, *, wrong: str = "") -> Response:
    rig = site.rig()
    step = next((one for one in site.steps(rig) if one.name == STEP), None)
    last = last_check(site)
    shown = [] if step is None or not visitor_of(request).is_operator else step.pictures
    return site.draw(
        request, "check.html", status=422 if wrong else 200, wrong=wrong, step=step, at=last.at, findings=last.findings,
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
