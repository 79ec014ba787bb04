"""Boats and teams of the open lesson: who they are, what their boats weigh, and what of that changes."""

from __future__ import annotations

from dataclasses import replace

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from logger.checkup.steps import CARDS
from logger.config import Boat
from logger.errors import InputError, LoggerError
from logger.lesson.plan import MOST_TEAMS, Nickname, Team
from logger.recording.boat_card import Steps, number_of, oddities, with_numbers, write_boat
from logger.settings import Text
from logger.web import forms
from logger.web.language import _
from logger.web.pages.plan import cards_of
from logger.web.site import Site, go

_NICKNAME: Text = Nickname.__metadata__[0]  # type: ignore[attr-defined]


def routes(site: Site) -> list[Route]:
    """The page, a team that comes later, and what changes about one."""

    async def page(request: Request) -> Response:
        return await run_in_threadpool(_page, site, request)

    async def change(request: Request) -> Response:
        form, number = await forms.read(request), request.path_params["number"]
        try:
            await run_in_threadpool(_changed, site, number, form)
        except LoggerError as error:
            return await run_in_threadpool(_page, site, request, wrong=str(error))
        return go(f"/teams?said=team#t{number}")

    async def join(request: Request) -> Response:
        form = await forms.read(request)
        try:
            await run_in_threadpool(_joined, site, form)
        except LoggerError as error:
            return await run_in_threadpool(_page, site, request, wrong=str(error))
        return go("/teams?said=team")

    return [
        Route("/teams", page, methods=["GET"]),
        Route("/teams", join, methods=["POST"]),
        Route("/teams/{number:int}", change, methods=["POST"]),
    ]


def _page(site: Site, request: Request, *, wrong: str = "") -> Response:
    standing = site.desk.standing
    runs: dict[int, int] = {}
    for attempt in () if standing is None else standing.attempts:
        if attempt.status in ("valid", "freed"):
            runs[attempt.team] = runs.get(attempt.team, 0) + 1
    owed = [] if standing is None else [turn.team for turn in standing.owed]
    teams = () if standing is None else standing.teams
    free = next((n for n in range(1, MOST_TEAMS + 1) if all(team.number != n for team in teams)), 0)
    return site.draw(
        request, "teams.html", status=422 if wrong else 200, wrong=wrong, teams=teams, runs=runs, owed=owed, free=free,
        cards=cards_of(site),
    )  # fmt: skip


def _team(site: Site, number: int) -> Team:
    standing = site.desk.standing
    team = None if standing is None else standing.team(number)
    if team is None:
        raise InputError(_("there is no team %d") % number)
    return team


def _changed(site: Site, number: int, form: forms.Form) -> None:
    team, what = _team(site, number), form.get("do")
    if what == "rename":
        nickname = form.get("nickname")
        complaint = _NICKNAME.complaint(nickname)
        if complaint is not None:
            raise InputError(f"found {nickname!r}; wanted {complaint}")
        site.desk.rename(number, nickname)
    elif what == "rebuilt":
        if not form.get("mass"):
            raise InputError(_("a rebuilt boat has another mass; weigh it and type it in"))
        rebuilt = weighed(replace(team.boat, version=team.boat.version + 1), form)
        site.desk.card(number, rebuilt)
        _keep_card(site, rebuilt)
    elif what == "weigh":
        site.desk.card(number, weighed(team.boat, form))
    elif what == "boat":
        chosen = cards_of(site).get(form.get("boat"))
        if chosen is None:
            raise InputError(_("choose a boat that has a card"))
        site.desk.card(number, replace(chosen, team=""))
    else:
        raise InputError(_("this can not be pressed; open the page anew"))


def _keep_card(site: Site, rebuilt: Boat) -> None:
    """The card that the boat came with says the new version, too; as it was it is kept beside it (write_boat)."""
    for file, boat in cards_of(site).items():
        if boat.name == rebuilt.name and boat.version <= rebuilt.version:
            write_boat(site.folder / CARDS / file, replace(rebuilt, team=boat.team), at=site.now())


def weighed(boat: Boat, form: forms.Form) -> Boat:
    """The boat with the readings of a form. InputError: one of them is none, or can hardly be."""
    try:
        for field, name in (("mass_g", "mass"), ("length_mm", "length")):
            if form.get(name):
                boat = with_numbers(boat, number_of(field, form.get(name), Steps()))
    except ValueError as error:
        raise InputError(str(error)) from error
    found = oddities(boat)
    if found and not form.get("sure"):
        raise InputError(" | ".join(found))
    return boat


def _joined(site: Site, form: forms.Form) -> None:
    nickname, number = form.get("nickname"), form.get("number")
    complaint = _NICKNAME.complaint(nickname)
    if complaint is not None:
        raise InputError(f"found {nickname!r}; wanted {complaint}")
    if not (number.isascii() and number.isdigit() and 1 <= int(number[:4]) <= MOST_TEAMS):
        raise InputError(_("found %r; wanted a whole number") % number[:20])
    boat = cards_of(site).get(form.get("boat")) or Boat(nickname)
    site.desk.join(Team(int(number), nickname, weighed(replace(boat, team=""), form)))
