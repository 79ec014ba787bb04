"""A new lesson from a template, or an earlier one taken up again."""

from __future__ import annotations

from collections.abc import Mapping
from typing import cast

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from logger.checkup.steps import CARDS
from logger.config import Boat, KindOfRun
from logger.errors import LoggerError
from logger.lesson.folder import Listed
from logger.recording.boat_card import read_boat
from logger.web import forms, lesson_words, plan_form
from logger.web.language import _
from logger.web.site import Site, go, visitor_of


def routes(site: Site) -> list[Route]:
    """The page, making a lesson, and taking one up again."""

    async def page(request: Request) -> Response:
        return await run_in_threadpool(_page, site, request, _asked(site, request))

    async def make(request: Request) -> Response:
        form = await forms.read(request)
        values = {name: form.get(name) for name in form.values}
        return await run_in_threadpool(_made, site, request, values)

    async def take_up(request: Request) -> Response:
        form = await forms.read(request)
        try:
            await run_in_threadpool(site.lessons.open, form.get("lesson"))
        except LoggerError as error:
            return await run_in_threadpool(_page, site, request, None, wrong=str(error))
        return go("/lesson")

    return [
        Route("/lesson/new", page, methods=["GET"]),
        Route("/lesson/new", make, methods=["POST"]),
        Route("/lesson/open", take_up, methods=["POST"]),
    ]


def cards_of(site: Site) -> dict[str, Boat]:
    """Boats by the names of their cards' files; a card that cannot be read is left out."""
    found = {}
    for path in sorted((site.folder / CARDS).glob("*.toml")):
        if "-before-" not in path.name:
            try:
                found[path.name] = read_boat(path)
            except LoggerError:
                continue
    return found


def _asked(site: Site, request: Request) -> dict[str, str] | None:
    """The form that the address asks for; None: nothing was chosen yet."""
    kind, source = request.query_params.get("kind", ""), request.query_params.get("like", "")
    if kind in lesson_words.KINDS:
        title = f"{_(lesson_words.KINDS[kind][0])}, {site.today:%d.%m.}"[:40]
        return plan_form.template(cast(KindOfRun, kind), title)
    found = next((one for one in site.lessons.every() if one.path.name == source), None) if source else None
    if found is None or found.standing is None:
        return None
    return plan_form.values_of(found.standing.plan, found.standing.teams, cards_of(site))


def _made(site: Site, request: Request, values: Mapping[str, str]) -> Response:
    try:
        if values.get("do") == "rows":
            rows = values.get("rows", "")
            count = int(rows) if rows.isascii() and rows.isdigit() and len(rows) < 4 else 8
            return _page(site, request, plan_form.with_rows(values, count))
        rig = site.rig()
        plan = plan_form.plan_of(values, cards_of(site), simulated=site.is_simulated(rig), seed=site.now().toordinal())
        odd = plan_form.odd(plan)
        if odd and not values.get("sure"):
            return _page(site, request, dict(values), odd=odd, status=422)
        site.lessons.begin(plan)
    except LoggerError as error:
        return _page(site, request, dict(values), wrong=str(error))
    return go("/lesson")


def _page(
    site: Site, request: Request, values: dict[str, str] | None, *, wrong: str = "", odd: list[str] | None = None,
    status: int = 200,
) -> Response:  # fmt: skip
    rig, cards = site.rig(), cards_of(site)
    every = site.lessons.every() if visitor_of(request).is_operator else []
    kind = cast(KindOfRun, values.get("kind", "straight")) if values else None
    missing = [role for role in plan_form.NEEDS.get(kind, ()) if rig.line(role) is None] if kind else []  # type: ignore[arg-type]
    return site.draw(
        request, "plan.html", status=422 if wrong else status, wrong=wrong, values=values, odd=odd or [], cards=cards,
        rows=_rows(values), lessons=every[:20], last=_last(every), missing=missing,
        is_open=site.desk.folder.name if site.desk.folder else "",
    )  # fmt: skip


def _rows(values: Mapping[str, str] | None) -> list[int]:
    if values is None:
        return []
    rows = values.get("rows", "8")
    count = int(rows) if rows.isascii() and rows.isdigit() and len(rows) < 4 else 8
    return list(range(1, min(max(count, 1), plan_form.MOST_ROWS) + 1))


def _last(every: list[Listed]) -> Listed | None:
    return next((one for one in every if one.standing is not None), None)
