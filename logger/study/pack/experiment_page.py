"""The pages of a class's experiments: what was asked and planned; what the runs say, looked at after it was guessed."""

from __future__ import annotations

from typing import Any

from markupsafe import Markup

from logger.results.columns import COLUMNS
from logger.study import words
from logger.study.axes import axis, decimals
from logger.study.bands import bands, plain, rounded
from logger.study.class_folder import Class
from logger.study.conclusion import in_short
from logger.study.experiment import Cell
from logger.study.experiment_view import ExperimentView, experiment_views, level_drawing
from logger.study.pack import page_words, shell
from logger.study.pack.track_page import STILL_SCRIPTS
from logger.study.tongue import _
from logger.study.trend import whose

SCRIPTS = ("draw.js", "band.js", "scatter.js", "save.js")


def page_name(name: str) -> str:
    """What the page of an experiment is called among the pages of a class."""
    return f"experiment--{name}"


def experiments_page(whole: Class, place: shell.Place, *, band: str) -> str:
    """The list as text: every plan, and how far it is."""
    data = {"band": band, "bands": page_words.bands_data(), "words": {}}
    return shell.draw(
        "experiments.html", place, scripts=STILL_SCRIPTS, data=data, whole=whole, title=_("Experiments"),
        views=experiment_views(whole), troubles=[kept for kept in whole.plans if kept.plan is None],
        page_name=page_name,
    )  # fmt: skip


def experiment_page(view: ExperimentView, whole: Class, place: shell.Place, *, band: str) -> str:
    """One experiment as text."""
    scatters = [scatter_of(view)] if view.plan.changed.levels and view.points else []
    data = {
        "band": band, "bands": page_words.bands_data(), "words": page_words.class_words(), "scatters": scatters,
        "run": None,
    }  # fmt: skip
    return shell.draw(
        "experiment.html", place, scripts=SCRIPTS, data=data, whole=whole, title=view.plan.question, view=view,
        scatters=scatters, residual=_residual(view), short=in_short(view.plan, view.found), cells=cells_of(view),
        whose="" if view.found.trend is None else whose(view.found.trend),
        drawing=Markup(level_drawing(view)),  # noqa: S704 - a drawing of our own, its words escaped
    )  # fmt: skip


def cells_of(view: ExperimentView) -> list[dict[str, Any]]:
    """Every boat at every level: how many runs, their values and mean, in the words of each age."""
    return [
        {
            "where": view.where(cell), "count": cell.made_count,
            "values": {one.name: ", ".join(_values(view, cell, one.name)) for one in bands()},
            "mean": {one.name: _mean(view, cell, one.name) for one in bands()},
        }
        for cell in view.found.cells
    ]  # fmt: skip


def _values(view: ExperimentView, cell: Cell, band: str) -> list[str]:
    floors = [_("at least {value}").format(value=_value(view, v, band)) for v in cell.floors]
    return [*(_value(view, v, band) for v in cell.values), *floors]


def _mean(view: ExperimentView, cell: Cell, band: str) -> str:
    """With a run in it that was cut short it is a floor as well."""
    if not cell.made_count:
        return "–"
    text = _value(view, sum((*cell.values, *cell.floors)) / cell.made_count, band)
    return _("at least {value}").format(value=text) if cell.floors else text


def _residual(view: ExperimentView) -> str:
    """How far runs lie about the line, never finer than the result is written."""
    if view.found.line is None:
        return ""
    least = 10.0 ** -COLUMNS[view.plan.result].decimals
    return f"{max(view.found.line.residual, least):.3g}"


_LESS = {"2-3": 2, "4-5": 1, "6-8": 0}
"""So many decimals less than in the files, for each age."""


def _value(view: ExperimentView, value: float, band: str) -> str:
    column = COLUMNS[view.plan.result]
    return plain(rounded(value, max(column.decimals - 1 - _LESS[band], 0)))


def scatter_of(view: ExperimentView) -> dict[str, Any]:
    """Runs against what was changed: points, axes and the computed line, for the script."""
    plan = view.plan
    unit, by = COLUMNS[plan.result].unit, COLUMNS[plan.changed.name]
    levels, values = plan.changed.levels, [point.value for point in view.points]
    across = axis(min(0.0, *levels), max(levels), start_px=0, end_px=1, about_count=6, from_zero=min(levels) >= 0)
    upright = axis(min(0.0, *values), max(values), start_px=0, end_px=1, about_count=6, from_zero=min(values) >= 0)
    by_unit = words.unit_words(by.unit)
    return {
        "key": "changed", "name": f"{words.name_of(plan.changed.name)}{f' ({by_unit})' if by_unit else ''}",
        "unit": words.unit_sign(by.unit), "step": across.step, "x": [across.low, across.high],
        "y": [upright.low, upright.high], "names": False,
        "up": {
            "name": view.result, "unit": words.unit_sign(unit), "decimals": decimals(upright.step) + 1,
        },
        "points": [
            {"name": point.boat, "x": float(point.level), "y": round(point.value, 5), "floor": point.at_least}
            for point in view.points
        ],
        "spreads": True,
        **page_words.line_data(view.found.trend),
    }  # fmt: skip
