"""The experiments of a class on paper: what was planned, the order to tick off, a table to write the runs into."""

from __future__ import annotations

from logger.study import words
from logger.study.class_folder import Class
from logger.study.experiment_view import ExperimentView, experiment_views
from logger.study.paper import Sheet
from logger.study.prints.flow import TEACHER_PT, Flow
from logger.study.tongue import _


def experiments(sheet: Sheet, whole: Class) -> None:
    """A sheet for each experiment; nothing where none was planned."""
    for view in experiment_views(whole).values():
        _experiment(sheet, whole, view)


def _experiment(sheet: Sheet, whole: Class, view: ExperimentView) -> None:
    plan = view.plan
    flow = Flow(sheet, whole, _("Experiment"), own_name=True)
    flow.say(plan.question)
    flow.space(2)
    for name, text in (
        (_("We change one thing"), view.changed),
        (_("We measure"), f"{view.result}, {words.kind_of_run(plan.kind)}"),
        (_("We keep the same"), view.held or "–"),
        (_("Before the first run we said:"), plan.prediction),
    ):
        if text:
            flow.say(f"{name}: {text}" if not name.endswith(":") else f"{name} {text}", size_pt=TEACHER_PT)
            flow.space(1)
    if not plan.prediction:
        flow.say(_("We think this will happen, because:"), size_pt=TEACHER_PT)
        flow.write(2)
    flow.space(3)
    rows = [[str(turn.number), str(turn.round), view.where(turn), "", ""] for turn in view.turns]
    heads = [_("Run"), _("Round"), _("What"), view.result, _("Did it count? If not, why?")]
    flow.table(heads, rows, shares=(0.6, 0.7, 2.2, 1.5, 2.2), row_mm=8.5)
    flow.space(3)
    flow.say(_("What the dots say, and what they do not say:"), size_pt=TEACHER_PT)
    flow.write(3)
    flow.end()
