"""A class in plain sentences, made from its runs and saying no more than they do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from logger.study import words
from logger.study.class_folder import Class, ClassRun
from logger.study.rebuilds import rebuilds, told
from logger.study.tongue import _, several
from logger.study.trend import Measured, Trend, begun, trend, whose

SPEED = "speed_at_line_m_per_s"


@dataclass(frozen=True, slots=True)
class Count:
    """How the runs of one team came out."""

    team: str
    made: int
    """All that were begun: a plain number."""
    counted: int
    """In means: a plain number."""
    void: int
    """A plain number."""
    did_not_finish: int
    """A plain number."""
    freed: int
    """Counted, but with help: a plain number."""
    missing: int = 0
    """Of which the recording is gone or damaged, so that they are in no mean: a plain number."""


def counts(whole: Class, kind: str) -> list[Count]:
    """Every team's runs of a kind, none hidden."""
    found = []
    lost = [one for one in whole.missing if one.trial.kind == kind]
    for team in dict.fromkeys((*whole.teams, *(one.team for one in lost))):
        runs = [one.run.trial.status for one in whole.of(kind=kind, team=team)]
        gone = sum(one.team == team for one in lost)
        if runs or gone:
            kept = sum(one.counts for one in whole.of(kind=kind, team=team))
            found.append(
                Count(
                    team, len(runs) + gone, kept, runs.count("void"), runs.count("did_not_finish"),
                    runs.count("freed"), gone,
                )
            )  # fmt: skip
    return found


def counts_told(whole: Class, kind: str) -> str:
    """How many runs there were and what became of them, as a sentence."""
    every = counts(whole, kind)
    made, kept = sum(c.made for c in every), sum(c.counted for c in every)
    text = several("{made} run was made; {kept} counts.", "{made} runs were made; {kept} count.", made).format(
        made=made, kept=kept
    )
    lost, void, freed = (sum(getattr(c, name) for c in every) for name in ("did_not_finish", "void", "freed"))
    if lost:
        text += " " + several(
            "{n} did not finish: that is a result too.", "{n} did not finish: that is a result too.", lost
        ).format(n=lost)
    if void:
        text += " " + several("{n} is void.", "{n} are void.", void).format(n=void)
    if freed:
        text += " " + several(
            "{n} was freed with help and counts.", "{n} were freed with help and count.", freed
        ).format(n=freed)
    if gone := sum(c.missing for c in every):
        text += " " + several(
            "{n} is missing: its recording cannot be read.", "{n} are missing: their recordings cannot be read.", gone
        ).format(n=gone)
    return text


def story(whole: Class) -> list[str]:
    """A few sentences, the plainest first."""
    told_so_far = []
    for kind in whole.kinds:
        found = rebuilds(whole, kind)
        if found is not None:
            told_so_far.append(told(found))
        if kind == "drift":
            told_so_far += [_of_line(found, by) for found, by in drift_lines(whole) if found.is_told]
        told_so_far.append(f"{words.kinds_of_run(kind)}: {counts_told(whole, kind)}")
    return told_so_far


def drift_runs(whole: Class) -> list[ClassRun]:
    """Drift runs that count, those that a wall cut short among them."""
    return [one for one in whole.of(kind="drift") if one.counts and "drift_mm" in one.run.trial.results]


def drift_lines(whole: Class) -> list[tuple[Trend, str]]:
    """How the drift (mm) goes along with mass (g), and with the speed at the line (m/s).

    A boat is one case, rebuilt or not, as it shares most of what it is with itself.
    """
    weighed = [one for one in drift_runs(whole) if one.run.card.boat.mass_g is not None]
    timed = [one for one in drift_runs(whole) if SPEED in one.run.trial.results]
    masses = [one.run.card.boat.mass_g or 0.0 for one in weighed]
    speeds = [one.run.trial.results[SPEED].quantity.value for one in timed]
    return [(_trend(weighed, masses), "mass"), (_trend(timed, speeds), "speed")]


def _trend(runs: Sequence[ClassRun], along: Sequence[float]) -> Trend:
    return trend(
        [
            Measured(x, drift, f"{one.team}, {one.run.card.boat.name}", one.run.trial.results["drift_mm"].at_least)
            for one, x, drift in zip(runs, along, drifts(runs), strict=True)
        ]
    )


def drifts(runs: Sequence[ClassRun]) -> list[float]:
    """Their drifts, mm."""
    return [one.run.trial.results["drift_mm"].quantity.value for one in runs]


def _of_line(found: Trend, by: str) -> str:
    what = words.name_of("mass_g" if by == "mass" else SPEED)
    if found.sign:
        way = (
            _("With more {what} the drift was longer")
            if found.sign > 0
            else _("With more {what} the drift was shorter")
        )
        told = way.format(what=what) + " " + _(
            "in {those}. Why, and what happens outside them, they do not tell."
        ).format(those=whose(found))  # fmt: skip
    else:
        told = begun(
            _("{those} do not show that the drift changes with the {what}.").format(those=whose(found), what=what)
        )
    if found.floors_count:
        told += " " + several(
            "{n} run was cut short: at least so far.", "{n} runs were cut short: at least so far.", found.floors_count
        ).format(n=found.floors_count)  # fmt: skip
    return told
