"""The first page of a class: every run of every team, with what came out, in the words of each age."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from logger.study import words
from logger.study.bands import bands
from logger.study.class_folder import Class, ClassRun
from logger.study.pack import page_words, shell
from logger.study.pack.track_page import STILL_SCRIPTS
from logger.study.shown import for_band
from logger.study.tongue import _, several


@dataclass(frozen=True, slots=True)
class Row:
    """One run in the list."""

    id: str
    name: str
    values: Mapping[str, str]
    """Age band -> the main result in its words."""
    status: str
    """Empty for a run like any other."""


def index_page(whole: Class, names: Mapping[str, str], place: shell.Place, *, band: str) -> str:
    """The page as text."""
    kinds = []
    for kind in whole.kinds:
        teams = [
            (team, [_row(one, names) for one in whole.of(kind=kind, team=team)])
            for team in whole.teams if whole.of(kind=kind, team=team)
        ]  # fmt: skip
        kinds.append((words.kinds_of_run(kind), teams))
    data = {"band": band, "bands": page_words.bands_data(), "words": {}}
    return shell.draw(
        "index.html", place, scripts=STILL_SCRIPTS, data=data, whole=whole, title=_("All runs"),
        kinds=kinds, lead=lead_of(whole),
    )  # fmt: skip


def lead_of(whole: Class) -> str:
    """How much there is, in a sentence or two."""
    runs, teams = len(whole.runs), len(whole.teams)
    text = several("{runs} run", "{runs} runs", runs).format(runs=runs)
    text += " " + several("of {teams} team.", "of {teams} teams.", teams).format(teams=teams)
    out = [one for one in whole.runs if not one.counts]
    if out:
        text += " " + several(
            "{count} is shown but not counted.", "{count} are shown but not counted.", len(out)
        ).format(count=len(out))
    if whole.missing:
        text += " " + several(
            "{n} is missing: its recording cannot be read.", "{n} are missing: their recordings cannot be read.",
            len(whole.missing),
        ).format(n=len(whole.missing))  # fmt: skip
    return text


def _row(one: ClassRun, names: Mapping[str, str]) -> Row:
    trial = one.run.trial
    result = trial.results.get(words.main_result(trial.kind))
    values: dict[str, str] = {
        shown.name: for_band(result, shown, with_doubt=False) if result else "" for shown in bands()
    }
    return Row(
        one.id,
        names[one.id].rpartition(", ")[2],
        values,
        "" if trial.status == "valid" else words.status_of(trial.status),
    )
