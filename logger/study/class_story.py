"""A class in plain sentences, made from its runs and saying no more than they do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from logger.study import words
from logger.study.class_folder import Class, ClassRun
from logger.study.effects import StraightLine, line
from logger.study.rebuilds import rebuilds, told, usable
from logger.study.tongue import _, several

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
            told_so_far += [_of_line(fit, by) for fit, by in drift_lines(whole) if fit is not None]
        told_so_far.append(f"{words.kinds_of_run(kind)}: {counts_told(whole, kind)}")
    return told_so_far


def drift_runs(whole: Class) -> list[ClassRun]:
    """Drift runs that came to rest and count."""
    return [one for one in whole.of(kind="drift") if usable(one)]


def drift_lines(whole: Class) -> list[tuple[StraightLine | None, str]]:
    """The line of best fit of the drift (mm) against mass (g), and against the speed at the line (m/s)."""
    found: list[tuple[StraightLine | None, str]] = []
    weighed = [one for one in drift_runs(whole) if one.run.card.boat.mass_g is not None]
    found.append((line([one.run.card.boat.mass_g or 0.0 for one in weighed], drifts(weighed)), "mass"))
    timed = [one for one in drift_runs(whole) if SPEED in one.run.trial.results]
    found.append((line([one.run.trial.results[SPEED].quantity.value for one in timed], drifts(timed)), "speed"))
    return found


def drifts(runs: Sequence[ClassRun]) -> list[float]:
    """Their drifts, mm."""
    return [one.run.trial.results["drift_mm"].quantity.value for one in runs]


def _of_line(fit: StraightLine, by: str) -> str:
    what = words.name_of("mass_g" if by == "mass" else SPEED)
    if not fit.is_clear:
        return _("These {n} runs do not show that the drift changes with the {what}.").format(n=fit.count, what=what)
    way = _("Boats with more {what} drifted farther") if fit.slope > 0 else _("Boats with more {what} drifted less far")
    return way.format(what=what) + " " + _(
        "in these {n} runs. Why, and what happens outside them, they do not tell."
    ).format(n=fit.count)  # fmt: skip
