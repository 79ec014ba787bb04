"""Every sheet for a class by its name, and one PDF of those that are wanted."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial

from logger.errors import InputError
from logger.study.class_folder import Class
from logger.study.paper import Paper, Sheet
from logger.study.prints import drawn, for_experiments, for_pupils, for_teachers, from_data
from logger.study.tongue import N_, _

Drawing = Callable[[Sheet, Class], None]

SHEETS: Mapping[str, str] = {
    "fallback": N_("to go on by hand if the rig fails, with the columns of the file"),
    "order": N_("the running order, to tick off"),
    "teams": N_("a page for each team: map at an exact scale, its runs"),
    "results": N_("every run of every boat, means, spreads, the class in sentences"),
    "graph": N_("squared paper with axes that fit the class"),
    "speeds": N_("each team's own distances and times, speeds to work out"),
    "speeds-key": N_("the same worked out, for teachers"),
    "rules": N_("rules and limits, as fields to change on a screen"),
    "design": N_("design record of a boat, with room"),
    "design-saving": N_("two design records on a page"),
    "plan": N_("plan of an experiment"),
    "experiment": N_("each experiment of the class: its plan, the order drawn by lot, a table to fill in"),
    "report": N_("report of an experiment"),
    "questions": N_("questions to talk about, from the class's own runs"),
    "conclusion": N_("claim, evidence, reasoning"),
    "certificates": N_("what each team did best, not only speed"),
    "safety": N_("what holds at the tank"),
    "rubric": N_("grading how pupils worked"),
}
"""Name of a sheet -> what it is for."""


def sheets_told() -> dict[str, str]:
    """The same in the language in use."""
    return {name: _(words) for name, words in SHEETS.items()}


def drawings(*, grades: str, rules: Sequence[str] = (), team: str = "") -> Mapping[str, Drawing]:
    """Name of a sheet -> how it is drawn, for an age, with further rules; `team` limits the teams' pages to one."""
    return {
        "fallback": for_teachers.fallback,
        "order": for_teachers.running_order,
        "teams": partial(drawn.team_pages, only=team),
        "results": for_teachers.results,
        "graph": drawn.graph_paper,
        "speeds": partial(from_data.speeds, grades=grades),
        "speeds-key": partial(from_data.speeds_key, grades=grades),
        "rules": partial(for_pupils.rules, own=tuple(rules)),
        "design": for_pupils.design,
        "design-saving": for_pupils.design_saving,
        "plan": for_pupils.plan,
        "experiment": for_experiments.experiments,
        "report": for_pupils.report,
        "questions": from_data.questions,
        "conclusion": for_pupils.conclusion,
        "certificates": from_data.certificates,
        "safety": for_teachers.safety,
        "rubric": for_teachers.rubric,
    }


def class_sheets(
    whole: Class, names: Sequence[str], paper: Paper, *, grades: str = "4-5", rules: Sequence[str] = (), team: str = ""
) -> bytes:
    """The PDF with these sheets in this order.

    Raises:
        InputError: there is no such sheet or team, or nothing is wanted.
    """
    known = drawings(grades=grades, rules=rules, team=team)
    unknown = [name for name in names if name not in known]
    if unknown or not names:
        found = repr(unknown[0]) if unknown else "none"
        raise InputError(f"print class: found {found}; wanted sheets of {', '.join(known)}; see --only")
    if team and team not in whole.teams:
        raise InputError(f"print class: there is no team {team!r}; there are {', '.join(whole.teams)}; see --team")
    sheet = Sheet(paper, title=whole.name)
    for name in names:
        known[name](sheet, whole)
    return sheet.pdf()
