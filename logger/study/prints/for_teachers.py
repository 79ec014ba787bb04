"""Sheets for whoever leads the lesson: when the rig fails, who is next, what came out, what is safe, how to grade."""

from __future__ import annotations

import statistics

from logger.results.columns import COLUMNS
from logger.results.repeats import relative_sd_of_sd
from logger.study import words
from logger.study.class_folder import Class
from logger.study.class_story import counts_told, story
from logger.study.paper import Sheet
from logger.study.prints.flow import TEACHER_PT, Flow
from logger.study.rebuilds import usable
from logger.study.tongue import _

FALLBACK = ("order_index", "team", "boat", "version", "kind", "mass_g", "time_s", "drift_mm", "status", "note")
"""Columns of runs.csv that can be kept by hand."""


def fallback(sheet: Sheet, whole: Class) -> None:
    """The same columns as the file's, to go on by hand with a stopwatch and a tape."""
    flow = Flow(sheet, whole, _("If the rig fails: go on by hand"))
    flow.say(
        _(
            "Stopwatch: about 0.1 to 0.2 s off each time, so take two and write both. Tape: from the mark line to the "
            "bow at rest. Status: valid, void, did_not_finish or freed. Empty means not measured; never write 0 for it."
        ),
        size_pt=TEACHER_PT,
    )
    flow.space(3)
    rows = max(8, int((flow.room_mm - 16) / 9.5))
    heads = [f"{_(COLUMNS[name].words)} ({name})" if name != "order_index" else "order" for name in FALLBACK]
    heads[0] = _("no.")
    flow.table(
        heads, [[str(i)] + [""] * (len(FALLBACK) - 1) for i in range(1, rows)],
        shares=(0.6, 1.5, 1.4, 1.1, 1, 1, 1, 1.2, 1.2, 1.6), row_mm=9.0, size_pt=7.5,
    )  # fmt: skip
    flow.end()


def running_order(sheet: Sheet, whole: Class) -> None:
    """Rounds of all teams, to be ticked off; the order in which each kind of run was begun."""
    flow = Flow(sheet, whole, _("Running order"))
    for kind in whole.kinds:
        flow.heading(words.kinds_of_run(kind), size_pt=TEACHER_PT + 2)
        teams = [team for team in whole.teams if whole.of(kind=kind, team=team)]
        rounds = max(len(whole.of(kind=kind, team=team)) for team in teams)
        flow.table(
            [_("Team"), *(_("round {n}").format(n=n) for n in range(1, rounds + 1))],
            [[f"{i}.  {team}", *([""] * rounds)] for i, team in enumerate(teams, 1)],
            shares=(2.2, *([1.0] * rounds)), row_mm=10.0,
        )  # fmt: skip
    flow.end()


def results(sheet: Sheet, whole: Class) -> None:
    """Every run of every boat, its mean and its spread; what did not count is told, not hidden."""
    flow = Flow(sheet, whole, _("Results of the class"))
    for kind in whole.kinds:
        name = words.main_result(kind)  # type: ignore[arg-type]
        column = COLUMNS[name]
        unit = words.unit_words(column.unit)
        flow.heading(f"{words.kinds_of_run(kind)}: {words.name_of(name)} ({unit})", size_pt=TEACHER_PT + 2)
        places = 0 if column.unit == "mm" else 2
        boats = dict.fromkeys(one.boat for one in whole.of(kind=kind))
        rows = []
        for boat in boats:
            runs = [one for one in whole.of(kind=kind) if one.boat == boat]
            kept = [one.run.trial.results[name].quantity.value for one in runs if usable(one)]
            other = [words.status_of(one.run.trial.status) for one in runs if not one.counts]
            other += [
                _("at least {value}").format(value=f"{one.run.trial.results[name].quantity.value:.{places}f}")
                for one in runs
                if one.counts and not usable(one) and name in one.run.trial.results
            ]
            shown = [f"{v:.{places}f}" for v in kept]
            mean = f"{statistics.fmean(kept):.{places}f}" if kept else "–"
            spread = f"{statistics.stdev(kept):.{places}f}" if len(kept) > 1 else "–"
            rows.append([boat, "; ".join(shown), mean, spread, ", ".join(other)])
        titles = [_("Boat"), _("Runs"), _("Mean"), _("Spread"), _("Not in the mean")]
        flow.table(titles, rows, shares=(1.6, 3, 1, 1, 1.6))
        flow.space(1.5)
        flow.say(counts_told(whole, kind), size_pt=TEACHER_PT)
    flow.say(
        _(
            "Few runs tell little of a spread: of 2 runs it is good to about {two} %, of 3 to {three} %, of 5 to "
            "{five} %."
        ).format(**{name: f"{100 * relative_sd_of_sd(n):.0f}" for name, n in (("two", 2), ("three", 3), ("five", 5))}),
        size_pt=TEACHER_PT,
    )
    if whole.missing:
        flow.heading(_("Runs that are missing"), size_pt=TEACHER_PT + 2)
        for one in whole.missing:
            flow.say(f"{one.id}, {one.team}: {one.why}", size_pt=TEACHER_PT)
    flow.need(34)
    flow.heading(_("The class in sentences"), size_pt=TEACHER_PT + 2)
    for sentence in story(whole):
        flow.say(sentence, size_pt=TEACHER_PT)
        flow.space(1.5)
    flow.end()


def safety(sheet: Sheet, whole: Class) -> None:
    """What holds while there is water in the tank."""
    flow = Flow(sheet, whole, _("Safety at the tank"))
    for rule in (
        _("An adult watches the water all the time and does nothing else."),
        _("Water and mains never meet. Only 5 V at the tank. Sockets behind an RCD (30 mA or less) or a GFCI."),
        _("Nothing plugged in can be reached from the water. Leads taped down, with a drip loop."),
        _("A fan stands behind a line, with its guard on."),
        _("Wipe up water at once. No running."),
        _("Each child has its own straw. Ten seconds of blowing, then a rest."),
        _("Balloons: not for children under eight; mind latex allergy; collect every piece."),
        _("Light beams are plain infrared lamps. No lasers."),
        _("Hands out when the light says so. Long hair tied back."),
        _("The camera sees the water only. No names, no faces, no sound."),
        _("At the end: plugs first, then empty the tank and turn it over."),
    ):
        flow.need(15)
        flow.space(2.5)
        flow.sheet.box((flow.left_mm, flow.y_mm - 5.5, 5, 5))
        flow.say(rule, size_pt=14, indent_mm=9)
    flow.space(3)
    flow.say(_("Local codes and the school's risk assessment come first."), size_pt=TEACHER_PT)
    flow.end()


def rubric(sheet: Sheet, whole: Class) -> None:
    """Graded is how pupils worked, not how fast a boat was."""
    flow = Flow(sheet, whole, _("Grading how we worked"))
    flow.say(_("A slow boat can earn full marks. Tick one box in each row."), size_pt=TEACHER_PT)
    flow.space(3)
    rows = (
        (_("Fair test"), _("Several things changed at once"), _("One thing was changed; not all else was held equal"),
         _("One thing was changed, all else was held equal, and it was written down")),
        (_("Data"), _("Runs are missing"), _("Every run is in the table"),
         _("Every run is in the table, void ones and boats that did not finish too, with the reason")),
        (_("Graph"), _("Axes without names"), _("Axes have names and units"),
         _("Axes have names and units, fit the data, and every repeat is a dot")),
        (_("Spread"), _("One run is taken for the truth"), _("Repeats are compared"),
         _("Says which differences are real and which are too close to call")),
        (_("Conclusion"), _("A claim alone"), _("A claim with a number from the data"),
         _("A claim, numbers, and why they support it; says what the data do not tell")),
        (_("Redesign"), _("Changed without a reason"), _("Changed for a reason from the data"),
         _("Changed for a reason, said before what should happen, and tested again")),
    )  # fmt: skip
    flow.table(
        ["", _("Beginning (1)"), _("On the way (2)"), _("There (3)")], rows, shares=(1.1, 1.5, 1.8, 2.4), row_mm=24.0
    )
    flow.space(4)
    flow.say(_("Sum: ____ of 18. What went best, and what next:"), size_pt=TEACHER_PT)
    flow.write(3)
    flow.end()
