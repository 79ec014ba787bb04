"""Sheets that pupils fill in: rules, the design of their boat, plan, report, conclusion. All questions are our own."""

from __future__ import annotations

from collections.abc import Sequence

from logger.study import words
from logger.study.class_folder import Class
from logger.study.paper import MM_PER_POINT, Sheet
from logger.study.prints.flow import PUPIL_PT, TEACHER_PT, Flow
from logger.study.tongue import _


def rules(sheet: Sheet, whole: Class, *, own: Sequence[str] = ()) -> None:
    """The rules that the class's runs were made under, as fields that can be changed on a screen before printing."""
    flow = Flow(sheet, whole, _("Rules and limits"))
    flow.say(_("Change any line on a screen, then print; or write on the paper."), size_pt=TEACHER_PT)
    for number, rule in enumerate([*rules_of(whole), *own, "", ""], start=1):
        flow.need(16)
        flow.space(14)
        flow.sheet.text(f"{number}.", at_mm=(flow.left_mm, flow.y_mm + 2.2), size_pt=14, bold=True)
        box = (flow.left_mm + 10, flow.y_mm, flow.width_mm - 10, 8.0)
        flow.sheet.field(f"rule {number}", box, value=rule, size_pt=11)
    flow.end()


def rules_of(whole: Class) -> list[str]:
    """What the cards of the runs say was agreed, each once; where runs differ, all of it."""
    told: dict[str, None] = {}
    for one in whole.runs:
        card = one.run.card
        told[_("Power: {power}.").format(power=words.power_of(card.conditions))] = None
    for one in whole.runs:
        limits = one.run.card.rules
        told[_("A run takes at most {s:g} s. Who is not there then did not finish.").format(s=limits.time_cap_s)] = None
        if one.run.trial.kind == "drift":
            told[
                _("Power ends at the mark line. At rest means: slower than {v:g} mm/s for {s:g} s.").format(
                    v=limits.stop_speed_mm_per_s, s=limits.stop_for_s
                )
            ] = None
    for rule in (
        _("Who touches the boat between start and end makes the run void."),
        _("A boat that is freed with a straw goes on; the run is marked freed."),
        _("The same number of runs for every team."),
    ):
        told[rule] = None
    return list(told)


def design(sheet: Sheet, whole: Class) -> None:
    """The record of one boat, with room: a page for each version."""
    flow = Flow(sheet, whole, _("My boat: design record"), own_name=True)
    _record(flow, sketch_mm=78.0, lines=2)
    flow.end()


def design_saving(sheet: Sheet, whole: Class) -> None:
    """The same record twice on a page, to save paper."""
    flow = Flow(sheet, whole, _("Our boat: first and rebuilt"), own_name=True)
    for version in (_("First boat"), _("Rebuilt boat")):
        flow.heading(version, size_pt=14)
        _record(flow, sketch_mm=28.0, lines=1, size_pt=11.0, gap_mm=7.2)
    flow.end()


def _record(flow: Flow, *, sketch_mm: float, lines: int, size_pt: float = 14.0, gap_mm: float = 8.0) -> None:
    flow.frame(sketch_mm, _("Sketch, from the side and from above. Write the sizes at it."))
    for question in (
        _("Boat and version: ____________  Mass: ______ g"),
        _("What is it made of?"),
        _("What did we change, and why?"),
        _("What do we think will happen?"),
        _("What did happen?"),
    ):
        flow.space(1.5)
        flow.say(question, size_pt=size_pt)
        if "____" not in question:
            flow.write(lines, gap_mm=gap_mm)


def plan(sheet: Sheet, whole: Class) -> None:
    """An experiment before it is made."""
    flow = Flow(sheet, whole, _("Plan of our test"), own_name=True)
    for question, lines in (
        (_("Our question:"), 2),
        (_("We change one thing. It is:"), 1),
        (_("Its values (three or more, if it is a number):"), 1),
        (_("We measure:"), 1),
        (_("We keep the same:"), 2),
        (_("How many runs for each? Why so many?"), 2),
        (_("We think this will happen, because:"), 2),
        (_("Who does what?"), 2),
        (_("What could go wrong, and what do we do then?"), 2),
    ):
        flow.space(2)
        flow.say(question, size_pt=14)
        flow.write(lines, gap_mm=8.5)
    flow.end()


def report(sheet: Sheet, whole: Class) -> None:
    """An experiment after it was made."""
    flow = Flow(sheet, whole, _("Report of our test"), own_name=True)
    flow.say(_("Our question:"), size_pt=14)
    flow.write(1)
    flow.space(3)
    blank = [[""] * 6 for _i in range(7)]
    heads = [_("We changed"), _("run 1"), _("run 2"), _("run 3"), _("mean"), _("largest − least")]
    flow.table(heads, blank, shares=(1.5, 1, 1, 1, 1, 1.2), row_mm=9.5)
    flow.space(2)
    flow.say(_("Runs that do not count, and why:"), size_pt=14)
    flow.write(1)
    flow.space(2)
    height = min(70.0, flow.room_mm - 42)
    flow.frame(height, _("Graph. Name both axes, with units. Every run is a dot."))
    flow.space(2)
    flow.say(_("What the dots say, and what they do not say:"), size_pt=14)
    flow.write(2)
    flow.end()


def conclusion(sheet: Sheet, whole: Class) -> None:
    """Claim, evidence, reasoning, and what is next."""
    flow = Flow(sheet, whole, _("What we found out"), own_name=True)
    for title, hint, lines in (
        (_("Claim"), _("One sentence that answers the question."), 2),
        (_("Evidence"), _("Numbers from our runs, with units. How many runs? How far apart?"), 4),
        (_("Reasoning"), _("Why do these numbers support the claim? What pushes, what holds the boat?"), 4),
        (_("How sure?"), _("Is the difference larger than the runs of one boat differ? Is it too close to call?"), 2),
        (_("Next"), _("What would we change now, and what do we think will happen?"), 2),
    ):
        flow.heading(title, size_pt=PUPIL_PT)
        flow.say(hint, size_pt=TEACHER_PT)
        flow.write(lines, gap_mm=8.5)
    flow.space(PUPIL_PT * MM_PER_POINT)
    flow.end()
