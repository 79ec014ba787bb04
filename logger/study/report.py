"""The report: one HTML file that needs nothing else, not even a network, and says what was measured and how well."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources import files

from jinja2 import Environment, StrictUndefined

from logger import __version__
from logger.results import columns
from logger.study import words
from logger.study.class_view import ClassView, class_views
from logger.study.leaf import Leaf, Run, leaf_of


@dataclass(frozen=True, slots=True)
class Page:
    """All that the template fills in."""

    title: str
    lead: str
    simulated: bool
    classes: tuple[ClassView, ...]
    leaves: tuple[Leaf, ...]
    meanings: tuple[tuple[str, str], ...]
    """Each result on the page with the sentence that says what it is."""
    css: str
    script: str
    foot: str


def report(runs: Sequence[Run], *, title: str, lead: str) -> str:
    """The whole page as text, UTF-8 when written. `runs` in the order in which they are shown, at least one."""
    found = {name for run in runs for name in (*run.trial.results, *run.trial.not_measured)}
    names = [name for name in columns.RESULTS if name in found]
    page = Page(
        title=title,
        lead=lead,
        simulated=any(run.trial.simulated for run in runs),
        classes=tuple(class_views(runs)),
        leaves=tuple(leaf_of(run, f"run-{i}") for i, run in enumerate(runs, start=1)),
        meanings=tuple((words.name_of(name), words.meaning_of(name)) for name in names),
        css=_text("report.css") + _text("drawing.css"),
        script=_text("report.js"),
        foot=f"Made by boatrun {__version__}. Times are in seconds, places in millimetres from the start line.",
    )
    world = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    return world.from_string(_text("report.html")).render(page=page)


def _text(name: str) -> str:
    return files("logger.study").joinpath(name).read_text(encoding="utf-8")
