"""The page of a class: every repeat as a dot, bars, before and after, drift against mass and speed, and in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from markupsafe import Markup

from logger.study import words
from logger.study.axes import axis
from logger.study.bars import bar_chart
from logger.study.class_folder import Class, ClassRun
from logger.study.class_story import SPEED, Count, counts, counts_told, drift_lines, drift_runs, drifts, story
from logger.study.class_view import ClassView, class_views
from logger.study.leaf import Run
from logger.study.materials import Materials, materials
from logger.study.pack import page_words, shell
from logger.study.rebuilds import drawing, rebuilds, told, usable
from logger.study.standards import ADDRESS, standards
from logger.study.tongue import _, several
from logger.study.trend import Trend

SCRIPTS = ("draw.js", "band.js", "scatter.js", "save.js")


@dataclass(frozen=True, slots=True)
class KindPart:
    """What the page shows of one kind of run."""

    kind: str
    title: str
    counts_told: str
    counts: tuple[Count, ...]
    view: ClassView | None
    dots: Markup
    bars: Markup
    rebuilt: Markup
    rebuilt_told: str
    left_out: str
    """Which runs are in no bar; empty if none are left out."""
    materials: Materials | None
    by_material: Markup


def class_page(whole: Class, place: shell.Place, *, band: str) -> str:
    """The page as text."""
    scatters = scatters_of(whole)
    data = {
        "band": band, "bands": page_words.bands_data(), "words": page_words.class_words(), "scatters": scatters,
    }  # fmt: skip
    return shell.draw(
        "class.html", place, scripts=SCRIPTS, data=data, whole=whole, title=_("The class"), story=story(whole),
        parts=[_part(whole, kind) for kind in whole.kinds], scatters=scatters,
        standards={name: standards(name) for name, _text in shell.BANDS}, address=ADDRESS,
    )  # fmt: skip


def _part(whole: Class, kind: str) -> KindPart:
    latest = latest_runs(whole, kind)
    view = next(iter(class_views(latest)), None)
    found = rebuilds(whole, kind)
    made_of = materials(whole, kind)
    return KindPart(
        kind=kind,
        title=words.kinds_of_run(kind),
        counts_told=counts_told(whole, kind),
        counts=tuple(counts(whole, kind)),
        view=view,
        dots=_markup(view.drawing if view else ""),
        bars=_markup(_bars(whole, kind)),
        rebuilt=_markup(drawing(found, key=f"rebuilt-{kind}") if found else ""),
        rebuilt_told=told(found) if found else "",
        left_out=_left_out(whole, kind),
        materials=made_of,
        by_material=_markup(made_of.drawing if made_of else ""),
    )


def latest_runs(whole: Class, kind: str) -> list[Run]:
    """Runs of every team's latest boat, each under its boat's name."""
    newest: dict[str, int] = {}
    for one in whole.of(kind=kind):
        newest[one.team] = max(newest.get(one.team, 1), one.run.card.boat.version)
    return [_named(one) for one in whole.of(kind=kind) if one.run.card.boat.version == newest[one.team]]


def _named(one: ClassRun) -> Run:
    return replace(one.run, card=replace(one.run.card, boat=replace(one.run.card.boat, name=one.boat)))


def _bars(whole: Class, kind: str) -> str:
    name = words.main_result(kind)  # type: ignore[arg-type]
    values: dict[str, list[float]] = {}
    for one in whole.of(kind=kind):
        if usable(one):
            values.setdefault(one.boat, []).append(one.run.trial.results[name].quantity.value)
    latest = {run.card.boat.name for run in latest_runs(whole, kind)}
    shown = {boat: runs for boat, runs in values.items() if boat in latest}
    if not shown:
        return ""
    unit = next(one.run.trial.results[name].quantity.unit for one in whole.of(kind=kind) if usable(one))
    title = _("Mean of each boat as a bar, every run as a dot")
    return bar_chart(shown, name=f"{words.name_of(name)} ({words.unit_words(unit)})", title=title, key=f"bars-{kind}")


def _left_out(whole: Class, kind: str) -> str:
    """How many runs the bars leave out because they say "at least" or did not finish."""
    name = words.main_result(kind)  # type: ignore[arg-type]
    floors = sum(one.counts and name in one.run.trial.results and not usable(one) for one in whole.of(kind=kind))
    lost = sum(one.run.trial.status == "did_not_finish" for one in whole.of(kind=kind))
    told = []
    if floors:
        told.append(
            several(
                "{n} run was cut short and says only “at least”: it is in no bar.",
                "{n} runs were cut short and say only “at least”: they are in no bar.", floors,
            ).format(n=floors)
        )  # fmt: skip
    if lost:
        told.append(
            several(
                "{n} run did not finish: it is in no bar.", "{n} runs did not finish: they are in no bar.", lost
            ).format(n=lost)
        )
    return " ".join(told)


def scatters_of(whole: Class) -> list[dict[str, Any]]:
    """Drift against mass, and against the speed at the line: points, axes and the computed line, for the script.

    Runs that a wall cut short are among the points, marked; with such runs there is no computed line.
    """
    runs = drift_runs(whole)
    (by_mass, _mass), (by_speed, _speed) = drift_lines(whole)
    weighed = [one for one in runs if one.run.card.boat.mass_g is not None]
    timed = [one for one in runs if SPEED in one.run.trial.results]
    speeds = [one.run.trial.results[SPEED].quantity.value for one in timed]
    masses = [one.run.card.boat.mass_g or 0.0 for one in weighed]
    found = [
        _scatter("mass", _("mass of the boat (grams)"), "g", weighed, masses, by_mass),
        _scatter("speed", _("speed at the line (metres per second)"), "m/s", timed, speeds, by_speed),
    ]
    return [one for one in found if len(one["points"]) >= 2]


def _scatter(
    key: str, name: str, unit: str, runs: Sequence[ClassRun], along: Sequence[float], found: Trend
) -> dict[str, Any]:
    ups = drifts(runs)
    across = axis(0.0, max(along, default=1.0), start_px=0, end_px=1, about_count=6, from_zero=True)
    upright = axis(0.0, max(ups, default=1.0), start_px=0, end_px=1, about_count=6, from_zero=True)
    spread = max(along, default=0.0) - min(along, default=0.0)
    return {
        "key": key, "name": name, "unit": unit, "step": across.step, "x": [across.low, across.high],
        "y": [upright.low, upright.high], "names": True,
        "up": {"name": _("drift (millimetres)"), "unit": "mm", "decimals": 0},
        "points": [
            {"name": one.team, "x": round(x, 4), "y": round(y, 1), "floor": one.run.trial.results["drift_mm"].at_least}
            for one, x, y in zip(runs, along, ups, strict=True)
        ],
        "spreads": bool(along) and spread > 0.1 * max(along),
        **page_words.line_data(found),
    }  # fmt: skip


def _markup(drawn: str) -> Markup:
    return Markup(drawn)  # noqa: S704 - a drawing of our own, its words escaped
