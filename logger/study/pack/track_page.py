"""The page on which one run is studied: map and graphs with one moving dot, and what to measure on them oneself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from markupsafe import Markup

from logger.results.trial import Trial
from logger.study import words
from logger.study.bands import Band, bands, divide, plain
from logger.study.class_folder import COUNTED, Class, ClassRun
from logger.study.leaf import Budget, Run, budgets_of, graphs_of, map_of
from logger.study.pack import page_words, shell
from logger.study.series import Series
from logger.study.shown import for_band
from logger.study.tongue import _
from logger.study.track_data import Tracks, data_of, mean_speed

SCRIPTS = ("draw.js", "chart.js", "band.js", "track.js", "save.js")
STILL_SCRIPTS = ("draw.js", "band.js", "begin.js")
"""Of a page on which nothing moves."""
_STILL_POINTS = 500
"""So many moments are enough for the drawing that is seen without scripts."""
_EXPLAINED = ("time_s", "drift_mm", "speed_at_line_m_per_s", "speed_max_m_per_s", "path_mm")


@dataclass(frozen=True, slots=True)
class Told:
    """One result, said for one age."""

    name: str
    value: str


def track_page(one: ClassRun, tracks: Tracks, place: shell.Place, *, band: str) -> str:
    """The page of a run as text, for a place; `band` is the age it speaks to first."""
    run = one.run
    values = _values(one, tracks.whole, tracks.names) | {"title": tracks.names[one.id]}
    if run.series is None:
        return shell.draw("no_track.html", place, scripts=STILL_SCRIPTS, data=_chosen(band, {}), **values)
    data = _chosen(band, page_words.track_words()) | {"run": data_of(one, tracks)}
    run = replace(run, series=thin(run.series))
    values |= {
        "still_map": Markup(map_of(run, "still")),  # noqa: S704 - a drawing of our own, its words escaped
        "still_graphs": [Markup(graph) for graph in graphs_of(run, "still")],  # noqa: S704 - as above
        "ghosts": data["run"]["ghosts"],
        "fit": data["run"]["fit"],
        "budgets": _budgets(run.trial),
    }
    return shell.draw("track.html", place, scripts=SCRIPTS, data=data, **values)


def _chosen(band: str, said: dict[str, Any]) -> dict[str, Any]:
    return {"band": band, "bands": page_words.bands_data(), "words": said}


def _values(one: ClassRun, whole: Class, names: Mapping[str, str]) -> dict[str, Any]:
    run = one.run
    at = one.number - 1
    before, after = (whole.runs[i] if 0 <= i < len(whole.runs) else None for i in (at - 1, at + 1))
    return {
        "whole": whole,
        "one": one,
        "kind": words.kind_of_run(run.trial.kind),
        "status": words.status_of(run.trial.status),
        "counts": run.trial.status in COUNTED,
        "end": words.end_of(run.trial.end_reason, run.card.rules),
        "flags": run.trial.flags,
        "results": {shown.name: results_for(run, shown) for shown in bands()},
        "facts": facts_of(run),
        "before": before,
        "after": after,
        "names": names,
    }


def results_for(run: Run, shown: Band) -> list[Told]:
    """What the tool says of a run to one age; speeds of the younger are those that they can work out themselves."""
    told = [Told(words.name_of(name), for_band(result, shown)) for name, result in _fitting(run.trial, shown)]
    between = run.trial.results.get("speed_mean_m_per_s")
    if shown.says_doubt == "plus minus" and between is not None and "gate" in between.witness:
        told.append(Told(_("mean speed, beam to beam"), words.said(between)))
    mean = mean_told(run, shown)
    return told + ([Told(_("mean speed, line to line"), mean)] if mean else [])


_FOR = {
    "2-3": ("time_s", "drift_mm", "rings_count", "ports_count"),
    "4-5": ("time_s", "drift_mm", "coast_time_s", "speed_at_line_m_per_s", "rings_count", "ports_count"),
}


def _fitting(trial: Trial, shown: Band) -> list[tuple[str, Any]]:
    allowed = _FOR.get(shown.name)
    # the mean speed from beam to beam is another stretch than the one that the page shows
    return [
        (name, result) for name, result in trial.results.items()
        if (name in allowed if allowed else name != "speed_mean_m_per_s")
    ]  # fmt: skip


def mean_told(run: Run, shown: Band) -> str:
    """Distance from line to line, divided by the time, as the band shows them; empty if it was not timed."""
    mean = mean_speed(run)
    division = divide(mean["distance"], mean["time"], shown) if mean else None
    if mean is None or division is None:
        return ""
    if shown.says_doubt == "about":
        return _("about {speed} {unit}").format(speed=plain(division.speed), unit=shown.speed.words)
    if shown.says_doubt == "plus minus":
        doubt = words.doubt_alone(mean["U_speed"] * shown.speed.per, shown.speed.sign)
        return f"{division.told(shown)}, ±\u00a0{doubt}"
    return division.told(shown)


def _budgets(trial: Trial) -> tuple[Budget, ...]:
    names = {words.name_of(name) for name in _EXPLAINED}
    return tuple(budget for budget in budgets_of(trial) if budget.name in names)


def facts_of(run: Run) -> list[tuple[str, str]]:
    """What was agreed and measured on land; nothing that somebody wrote freely, as it may hold a name."""
    boat, card = run.card.boat, run.card
    version = _("version")
    sizes = [
        f"{value:g} mm {what}"
        for value, what in (
            (boat.length_mm, _("long")),
            (boat.width_mm, _("wide")),
            (boat.freeboard_mm, _("freeboard")),
        )
        if value is not None
    ]
    facts = [
        (_("Boat"), ", ".join([f"{boat.name}, {version} {boat.version}", *sizes])),
        (_("Mass"), "" if boat.mass_g is None else f"{boat.mass_g:g} g"),
        (_("Cargo"), "" if card.conditions.cargo_g is None else f"{card.conditions.cargo_g:g} g"),
        (_("Power"), words.power_of(card.conditions)),
        (_("Water"), f"{run.rig.tank.water_depth_mm:g} mm"),
        (_("Run"), card.id),
        (_("Software"), run.trial.software),
    ]
    return [(name, text) for name, text in facts if text]


def thin(series: Series, most: int = _STILL_POINTS) -> Series:
    """The series at no more than so many of its moments."""
    if len(series.t_s) <= most:
        return series
    kept = np.unique(np.linspace(0, len(series.t_s) - 1, most).round().astype(int))
    names = ("t_s", "x_mm", "y_mm", "heading_rad", "along_m", "u_along_m", "speed_m_per_s", "u_speed_m_per_s", "seen")
    across = None if series.u_across_m is None else series.u_across_m[kept]
    return replace(series, u_across_m=across, **{name: getattr(series, name)[kept] for name in names})
