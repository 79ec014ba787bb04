"""Experiments are planned here, by whoever leads the lesson; their order can be led as a lesson. They are read on the
pages of a class, by everybody.
"""

from __future__ import annotations

from collections.abc import Mapping
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from logger.errors import LoggerError
from logger.lesson.experiment_order import boats_of, in_order_of
from logger.results.columns import COLUMNS
from logger.study.experiment import Experiment, running_order
from logger.study.experiment_file import keep_plan, plan_path, plans_in, read_plan
from logger.web import experiment_form, forms, lesson_words, plan_form
from logger.web.language import _
from logger.web.pages.plan import cards_of
from logger.web.pages.study import class_folders
from logger.web.site import Site, go


def routes(site: Site) -> list[Route]:
    """The list with a form for a new one, one with its order, and leading a lesson in that order."""

    async def every(request: Request) -> Response:
        return await run_in_threadpool(_list, site, request, experiment_form.EMPTY)

    async def plan(request: Request) -> Response:
        form = await forms.read(request)
        return await run_in_threadpool(_planned, site, request, form)

    async def one(request: Request) -> Response:
        return await run_in_threadpool(_one, site, request)

    async def lead(request: Request) -> Response:
        await forms.read(request)
        return await run_in_threadpool(_led, site, request)

    return [
        Route("/experiments", every, methods=["GET"]),
        Route("/experiments", plan, methods=["POST"]),
        Route("/experiments/{name}", one, methods=["GET"]),
        Route("/experiments/{name}/lesson", lead, methods=["POST"]),
    ]


def _list(
    site: Site, request: Request, values: Mapping[str, str], *, wrong: str = "",
    chosen: Mapping[str, list[str]] | None = None,
) -> Response:  # fmt: skip
    cards = sorted({boat.name for boat in cards_of(site).values()})
    return site.draw(
        request, "experiments.html", status=422 if wrong else 200, wrong=wrong, values=values, chosen=chosen or {},
        kept=plans_in(site.folder), boats=cards, form=experiment_form,
    )  # fmt: skip


def _planned(site: Site, request: Request, form: forms.Form) -> Response:
    try:
        plan = experiment_form.experiment_of_form(form, seed=site.now().toordinal())
        path = keep_plan(site.folder, plan)
    except LoggerError as error:
        chosen = {name: list(form.lists.get(name, ())) for name in ("held", "boat")}
        return _list(site, request, form.values, wrong=str(error), chosen=chosen)
    return go(f"/experiments/{path.stem}")


def _named(site: Site, request: Request) -> tuple[str, Experiment]:
    name = request.path_params["name"]
    try:
        path = plan_path(site.folder, name)
    except LoggerError:
        raise HTTPException(404) from None
    if not path.is_file():
        raise HTTPException(404)
    return name, read_plan(path)


def _one(site: Site, request: Request, *, wrong: str = "") -> Response:
    name, plan = _named(site, request)
    classes = [(called, f"/study/{quote(called)}/experiment/{name}") for called in class_folders(site.folder)]
    return site.draw(
        request, "experiment.html", status=422 if wrong else 200, wrong=wrong, name=name, plan=plan,
        turns=running_order(plan), unit=COLUMNS[plan.changed.name].unit, classes=classes, form=experiment_form,
    )  # fmt: skip


def _led(site: Site, request: Request) -> Response:
    name, plan = _named(site, request)
    try:
        cards = cards_of(site)
        files = {boat.name.casefold(): file for file, boat in cards.items()}
        boats = boats_of(plan, otherwise=_("Boat"))
        values = plan_form.template(plan.kind, f"{_(lesson_words.KINDS[plan.kind][0])}: {plan.question}"[:40])
        values |= {"rows": str(len(boats))}
        values = {key: value for key, value in values.items() if not key.startswith(("number_", "nickname_"))}
        for row, boat in enumerate(boats, start=1):
            values |= {
                f"number_{row}": str(row), f"nickname_{row}": boat[:20],
                f"boat_{row}": files.get(boat.casefold(), plan_form.PLAIN),
            }  # fmt: skip
        rig = site.rig()
        lesson = plan_form.plan_of(values, cards, simulated=site.is_simulated(rig), seed=plan.seed)
        site.lessons.begin(in_order_of(plan, lesson))
        folder = site.desk.folder
        if folder is not None:
            keep_plan(folder.path, plan, name=name)
    except LoggerError as error:
        return _one(site, request, wrong=str(error))
    return go("/lesson")
