"""What else changed in an experiment, whether anybody foresaw it or not, and what of it may have done the work.

All is taken from what the cards of the runs say. Something that changed, but meets all levels alike, is only told. If
it went along with what was changed on purpose, runs that were alike in it are compared among themselves; where they do
not show the same, nobody can tell which of the two did it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.stats import rankdata

from logger.results.columns import COLUMNS
from logger.study import words
from logger.study.effects import within
from logger.study.experiment import CHANGEABLE, Experiment, Row, running_order, used
from logger.study.tongue import _

Floats = NDArray[np.float64]
Shows: TypeAlias = Callable[[Sequence[str], Sequence[float]], bool]
"""Whether runs show the same if only those that were alike are compared (names of settings), or if what goes evenly
with a number is taken out."""

_BY_NATURE: Mapping[str, tuple[str, ...]] = {
    "mass_g": ("cargo_g",), "cargo_g": ("mass_g",), "version": ("mass_g", "material"), "material": ("boat",),
}  # fmt: skip
"""What goes along with the thing changed because it is the same thing: cargo is part of the mass."""
_OF_THE_BOAT = ("mass_g", "material", "version")
_OF_THE_POWER = ("blowers_count", "fan_setting", "fan_distance_mm")
_SAME = 0.02
"""Sizes that differ by so much of the largest are one size, measured again."""
_SAME_DEG = 5.0
_ALONG = 0.1
"""Something that accounts for less of what was changed on purpose (r squared) goes along with it by chance."""
_ORDER_ALONG = 0.25
"""Rank correlation of 0.5, squared; rounds drawn by lot stay below."""
_NEEDED = 3


@dataclass(frozen=True, slots=True)
class Other:
    """Something else that changed."""

    name: str
    """Of its column."""
    settings: tuple[str, ...]
    """As each run had it; empty where nobody noted it."""

    @property
    def told(self) -> str:
        """A sentence with its values."""
        shown = ", ".join(dict.fromkeys(_plain(one) or _("not noted") for one in self.settings))
        return _("Something else changed too: {what} ({values}).").format(what=words.name_of(self.name), values=shown)


def others(plan: Experiment, rows: Sequence[Row]) -> list[Other]:
    """All that changed beside, among the runs that answer the question; what the plan held equal to the digit."""
    own = used(plan, rows)
    found = []
    for name in ("boat", *(one for one in CHANGEABLE if one != "boat")):
        if name == plan.changed.name or name in _BY_NATURE.get(plan.changed.name, ()):
            continue
        settings = tuple(" ".join(row.get(name, "").split()) for row in own)
        if name in plan.held_equal:
            changed = len({one.casefold() for one in settings}) > 1
        elif name == "boat":
            changed = len(set(settings)) > 1 and len(plan.boats) < 2
        else:
            changed = any(_differ(name, group) for group in _groups(plan, own, name, settings))
        if changed:
            found.append(Other(name, settings))
    return found


def _groups(plan: Experiment, own: Sequence[Row], name: str, settings: Sequence[str]) -> list[list[str]]:
    """Runs that ought to be alike in it: where boats are compared, only those of a boat have its mass in common."""
    keys = [""] * len(own)
    if name in _OF_THE_BOAT and (len(plan.boats) > 1 or plan.changed.name == "boat"):
        keys = [row["boat"] for row in own]
    if name in _OF_THE_POWER and plan.changed.name == "power":
        keys = [row["power"].casefold() for row in own]
    return [[s for s, key in zip(settings, keys, strict=True) if key == one] for one in dict.fromkeys(keys)]


def _differ(name: str, settings: Sequence[str]) -> bool:
    values = _numbers(name, settings)
    if values is None:
        return len({one.casefold() for one in settings}) > 1
    allowed = _SAME_DEG if COLUMNS[name].unit == "deg" else _SAME * max(abs(value) for value in values)
    return max(values) - min(values) > allowed


def _numbers(name: str, settings: Sequence[str]) -> list[float] | None:
    """Sizes; None for words, counts, and where not every run has one."""
    if COLUMNS[name].unit in ("", "1") or not settings or not all(settings):
        return None
    return [float(one) for one in settings]


def _plain(setting: str) -> str:
    """A number without noughts that say nothing."""
    try:
        return f"{float(setting):g}"
    except ValueError:
        return setting


def went_along(plan: Experiment, rows: Sequence[Row], found: Sequence[Other], shows: Shows) -> list[str]:
    """What of it may have done the work, in words."""
    own = used(plan, rows)
    changed = _changed(plan, own)
    told = []
    for other in found:
        values = _numbers(other.name, other.settings)
        if values is not None and len(set(values)) > len(values) / 2:
            share = _share(changed, np.asarray(values)[:, None])
            may_be = share > _ALONG and not shows([], values)
        else:
            alike = [one.casefold() for one in other.settings]
            may_be = _share(changed, _marks(alike)) > _ALONG and not shows(alike, [])
        if may_be:
            told.append(words.name_of(other.name))
    turns = [float(turn) for turn in order_of(own)]
    if _order_goes_along(plan, own) and not shows([], turns):
        told.append(_("the place in the order"))
    return told


def of_order(plan: Experiment, rows: Sequence[Row]) -> list[str]:
    """What is to be said of the order in which runs were made: not as drawn, or along with what was changed."""
    own = used(plan, rows)
    if len(own) < _NEEDED:
        return []
    told = []
    if _order_goes_along(plan, own):
        told.append(
            _(
                "The runs were made in order of what was changed ({what}). What changes by itself looks the same."
            ).format(what=words.name_of(plan.changed.name))
        )
    in_time = [row for _turn, row in sorted(zip(order_of(own), own, strict=True), key=lambda pair: pair[0])]
    made = [(row["boat"] if plan.boats else "", plan.changed.level_of(row) or "") for row in in_time]
    if not _keeps_to(made, [(turn.boat, turn.level) for turn in running_order(plan)]):
        told.append(_("The runs were not made in the order that was drawn."))
    return told


def _keeps_to(made: Sequence[tuple[str, str]], drawn: Sequence[tuple[str, str]]) -> bool:
    """Whether one is the other with some left out: a run that was lost, or one made again, changes no order."""
    short, long = sorted((made, drawn), key=len)
    rest = iter(long)
    return all(any(one == other for other in rest) for one in short)


def order_of(own: Sequence[Row]) -> list[int]:
    """The place of each run in time, from 1: by the clock where every run has one, else as they stand in the table."""
    try:
        moments = [datetime.fromisoformat(row.get("recorded_at", "")).timestamp() for row in own]
    except ValueError:
        moments = []
    if len(set(moments)) != len(own):
        moments = [float(row.get("order_index") or at) for at, row in enumerate(own)]
    return [int(place) for place in rankdata(moments, method="ordinal")]


def _order_goes_along(plan: Experiment, own: Sequence[Row]) -> bool:
    if len(own) < _NEEDED:
        return False
    boats = [row["boat"] for row in own] if len(plan.boats) > 1 and plan.changed.name != "boat" else [""] * len(own)
    changed = _changed(plan, own)
    if plan.changed.levels:
        changed = rankdata(changed, axis=0)
    elif len(own) == len({plan.changed.level_of(row) for row in own}):
        return False
    changed = np.array([within(column, boats) for column in changed.T]).T
    turns = within(np.asarray(order_of(own), np.float64), boats)
    return _share(turns[:, None], changed) > _ORDER_ALONG


def _changed(plan: Experiment, own: Sequence[Row]) -> Floats:
    levels = [plan.changed.level_of(row) or "" for row in own]
    return np.array([[float(one)] for one in levels]) if plan.changed.levels else _marks(levels)


def _marks(settings: Sequence[str]) -> Floats:
    return np.array([[float(one == name) for name in dict.fromkeys(settings)] for one in settings])


def _share(of: Floats, by: Floats) -> float:
    """How much of the variance of some columns goes along with others (r squared), 0 to 1."""
    off, base = of - of.mean(axis=0), by - by.mean(axis=0)
    whole = float(np.sum(off**2))
    if whole <= 0:
        return 0.0
    fitted = base @ np.linalg.lstsq(base, off, rcond=1e-9)[0]
    return float(np.sum(fitted**2)) / whole
