"""The plan of an experiment as the fields of a form. Whatever is wrong is told all at once."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from logger.config import KindOfRun
from logger.errors import ConfigError
from logger.results.columns import COLUMNS
from logger.study.experiment import FORMAT, Experiment, experiment_of
from logger.web.forms import Form
from logger.web.language import N_, _
from logger.web.lesson_words import FIGURES, KINDS, SETTINGS

EMPTY: Mapping[str, str] = {"kind": "drift", "changed": "mass_g", "repeats": "3"}
ANSWERS: Mapping[KindOfRun, tuple[str, ...]] = {
    "drift": ("drift_mm", "speed_at_line_m_per_s", "coast_time_s"),
    "straight": ("time_s", "speed_mean_m_per_s", "path_mm"),
    "course": ("time_s", "ports_count", "obstacle_touches_count"),
    "cargo": ("cargo_count",),
    "rings": ("rings_count",),
    "distance": ("distance_mm",),
}
"""Kind of run -> the numbers that may answer the question, the usual one first."""
MORE_FIGURES: Mapping[str, str] = {"coast_time_s": N_("time without power"), "cargo_count": N_("pieces of cargo")}
HELD = ("power", "fan_setting", "blowers_count", "fan_distance_mm", "cargo_g", "water_depth_mm", "mass_g", "material")
"""What may be held equal."""


def answers() -> dict[str, str]:
    """Every number that may answer a question, by its name in the column dictionary."""
    names = dict.fromkeys(name for every in ANSWERS.values() for name in every)
    return {name: _({**FIGURES, **MORE_FIGURES}[name]) for name in names}


def kinds() -> dict[str, str]:
    """Kinds of run that an experiment may be made of."""
    return {kind: _(KINDS[kind][0]) for kind in ANSWERS}


def changeable() -> dict[str, str]:
    """What may be changed, with its unit."""
    return {name: f"{_(words)} ({unit})" if unit else _(words) for name, (words, unit) in SETTINGS.items()}


def set_to(plan: Experiment, level: str) -> str:
    """What is set for a run, as people say it."""
    words, unit = SETTINGS[plan.changed.name]
    return f"{_(words)} {level}\u00a0{unit}".rstrip()


def experiment_of_form(form: Form, *, seed: int) -> Experiment:
    """The plan that a form says; `seed` draws the order.

    Raises:
        ConfigError: all that is wrong with it.
    """
    name = form.get("changed")
    given = [part.strip() for part in re.split(r"[;\n]|,(?=\s|\D)", form.get("levels")) if part.strip()]
    boats = [*form.lists.get("boat", ()), *(b.strip() for b in form.get("boats").split(",") if b.strip())]
    is_number = name in COLUMNS and bool(COLUMNS[name].unit)
    kind = form.get("kind")
    usual = {str(one): names for one, names in ANSWERS.items()}.get(kind, ())
    result = form.get("result") or next(iter(usual), "")
    if result not in usual:
        wanted = ", ".join(answers()[one] for one in usual) or ", ".join(kinds().values())
        mistake = _("Which number answers it: found %(found)s, which such a run does not have; wanted %(wanted)s")
        raise ConfigError(_("the plan"), [mistake % {"found": answers().get(result, result or kind), "wanted": wanted}])
    repeats = form.get("repeats")
    table: dict[str, Any] = {
        "format": FORMAT, "question": form.get("question"), "prediction": form.get("prediction"), "kind": kind,
        "result": result, "boats": [] if name == "boat" else list(dict.fromkeys(boats)),
        "changed": {"name": name, ("levels" if is_number else "choices"): _levels(given, boats, name, is_number)},
        "held_equal": [one for one in form.lists.get("held", ()) if one != name],
        "repeats": int(repeats) if repeats.isascii() and repeats.isdigit() and len(repeats) < 4 else repeats,
        "seed": seed,
    }  # fmt: skip
    return experiment_of(table, file=_("the plan"))


def _levels(given: list[str], boats: list[str], name: str, is_number: bool) -> list[Any]:
    if name == "boat" and not given:
        return list(dict.fromkeys(boats))
    if not is_number:
        return given
    return [_number(part) for part in given]


def _number(text: str) -> float | str:
    """A number with a point or a comma; itself if it is none, to be told as what was found."""
    found = re.fullmatch(r"(-?\d+(?:[.,]\d+)?)\s*(?:g|mm|°|deg)?", text)
    return float(found[1].replace(",", ".")) if found else text
