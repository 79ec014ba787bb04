"""The plan of a lesson as the fields of a form, and back. Whatever is wrong is told all at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from calibration.readings import Reading, read_length, read_mass
from logger import settings
from logger.config import Boat, KindOfRun
from logger.errors import ConfigError
from logger.lesson.plan import LessonPlan, Team, plan_from_table
from logger.recording.boat_card import Steps, number_of, oddities, with_numbers
from logger.web.language import N_, _

MOST_ROWS = 40
PLAIN = "plain"
"""A boat without a card: it is called like its team."""
NICKNAMES = N_(
    "Otter, Heron, Teal, Newt, Trout, Swift, Beaver, Crane, Minnow, Plover, Frog, Eider, Perch, Snipe, Turtle, Grebe"
)
"""Teams that nobody has named yet; sixteen, divided by commas."""
DEFAULTS: Mapping[str, str] = {
    "repeats": "3", "order": "balanced", "begin": "hands_off", "time_cap_s": "30", "stuck_after_s": "8",
    "false_starts_count": "1", "touch_counts_as": "freed", "count_within_s": "60", "wait_for_calm": "yes",
    "power": "breath", "keep_pictures_days": "0", "units": "metric", "rows": "8",
}  # fmt: skip
OF_A_KIND: Mapping[KindOfRun, Mapping[str, str]] = {
    "straight": {},
    "drift": {"time_cap_s": "60", "power": "hand"},
    "course": {"begin": "on_go", "time_cap_s": "90", "repeats": "2"},
    "cargo": {"begin": "on_go", "repeats": "2"},
    "rings": {"begin": "on_go", "repeats": "2"},
    "distance": {"begin": "on_go", "count_within_s": "5", "power": "fan"},
    "load": {"repeats": "1", "power": "unknown"},
    "balance": {"repeats": "2", "power": "unknown"},
}
"""Kind of run -> what is different from `DEFAULTS` in its template."""
NEEDS: Mapping[KindOfRun, tuple[str, ...]] = {
    "straight": ("start", "finish"), "drift": ("start", "mark"), "course": ("start",), "cargo": ("start",),
    "rings": ("start",), "distance": ("start",), "load": (), "balance": (),
}  # fmt: skip
"""Kind of run -> lines that the rig must have."""
_TEXT: Mapping[str, Callable[[], str]] = {
    "time_cap_s": lambda: _("time limit"), "stuck_after_s": lambda: _("stuck after"),
    "false_starts_count": lambda: _("free early starts"), "count_within_s": lambda: _("time for counting"),
    "blowers_count": lambda: _("blowers"), "repeats": lambda: _("runs of each team"),
    "keep_pictures_days": lambda: _("days"),
}  # fmt: skip


def template(kind: KindOfRun, title: str) -> dict[str, str]:
    """A form filled in as it is most often wanted for that kind of run."""
    values = {**DEFAULTS, **OF_A_KIND[kind], "kind": kind, "title": title}
    return with_rows(values, int(values["rows"]))


def with_rows(values: Mapping[str, str], rows_count: int) -> dict[str, str]:
    """The form with so many rows of teams; new ones are named, but only where no name is left twice."""
    rows_count = min(max(rows_count, 1), MOST_ROWS)
    made, names = dict(values), [name.strip() for name in _(NICKNAMES).split(",")]
    taken = {made.get(f"nickname_{row}", "").casefold() for row in range(1, MOST_ROWS + 1)}
    free = iter([name for name in names if name.casefold() not in taken])
    for row in range(1, rows_count + 1):
        made.setdefault(f"number_{row}", str(row))
        if not made.get(f"nickname_{row}"):
            made[f"nickname_{row}"] = next(free, _("Team %d") % row)
    return made | {"rows": str(rows_count)}


def values_of(plan: LessonPlan, teams: Sequence[Team], cards: Mapping[str, Boat]) -> dict[str, str]:
    """A form filled in like a lesson that there was, with its teams as they are now."""
    files = {boat.name: file for file, boat in cards.items()}
    made = {
        "kind": plan.kind, "title": plan.title, "repeats": str(plan.repeats), "order": plan.order, "begin": plan.begin,
        "time_cap_s": f"{plan.rules.time_cap_s:g}", "stuck_after_s": f"{plan.agreed.stuck_after_s:g}",
        "false_starts_count": str(plan.agreed.false_starts_count), "touch_counts_as": plan.agreed.touch_counts_as,
        "count_within_s": f"{plan.agreed.count_within_s:g}",
        "wait_for_calm": "yes" if plan.agreed.wait_for_calm else "",
        "power": plan.conditions.power, "fan_setting": plan.conditions.fan_setting,
        "blowers_count": _shown(plan.conditions.blowers_count),
        "fan_distance_mm": _shown(plan.conditions.fan_distance_mm), "cargo_g": _shown(plan.conditions.cargo_g),
        "notes": plan.conditions.notes, "keep_pictures_days": str(plan.keep_pictures_days),
        "shows_ranking": "yes" if plan.shows_ranking else "", "units": "metric", "rows": str(len(teams)),
    }  # fmt: skip
    for row, team in enumerate(teams, 1):
        made |= {
            f"number_{row}": str(team.number), f"nickname_{row}": team.nickname,
            f"boat_{row}": files.get(team.boat.name, PLAIN), f"mass_{row}": _shown(team.boat.mass_g),
            f"length_{row}": _shown(team.boat.length_mm),
        }  # fmt: skip
    return made


def plan_of(values: Mapping[str, str], cards: Mapping[str, Boat], *, simulated: bool, seed: int) -> LessonPlan:
    """The plan that the form says.

    Args:
        values: the fields.
        cards: boats by the names of their cards' files.
        simulated: whether the rig is invented.
        seed: draws the running order.

    Raises:
        ConfigError: all that is wrong.
    """
    mistakes: list[str] = []
    units = "inches" if values.get("units") == "inches" else "metric"
    number = _Numbers(values, mistakes, is_inches=units == "inches")
    teams = [team for row in range(1, MOST_ROWS + 1) if (team := _team(row, number, cards)) is not None]
    conditions: dict[str, Any] = {
        "power": values.get("power") or "unknown", "fan_setting": values.get("fan_setting", ""),
        "notes": values.get("notes", ""), "blowers_count": number.whole("blowers_count", None),
        "fan_distance_mm": number.length("fan_distance_mm", _("fan's distance")),
        "cargo_g": number.mass("cargo_g", _("cargo")),
    }  # fmt: skip
    table = {
        "title": values.get("title", ""), "kind": values.get("kind", ""), "teams": teams,
        "repeats": number.whole("repeats", 3), "order": values.get("order", ""), "order_seed": seed,
        "begin": values.get("begin", ""), "rules": {"time_cap_s": number.seconds("time_cap_s", 30.0)},
        "agreed": {
            "stuck_after_s": number.seconds("stuck_after_s", 8.0),
            "false_starts_count": number.whole("false_starts_count", 1),
            "touch_counts_as": values.get("touch_counts_as", ""),
            "count_within_s": number.seconds("count_within_s", 60.0),
            "wait_for_calm": values.get("wait_for_calm") == "yes",
        },
        "conditions": {name: value for name, value in conditions.items() if value is not None},
        "shows_ranking": values.get("shows_ranking") == "yes",
        "keep_pictures_days": number.whole("keep_pictures_days", 0), "units": units, "simulated": simulated,
    }  # fmt: skip
    try:
        plan = plan_from_table(table, file=_("the plan"))
    except ConfigError as error:
        mistakes += error.mistakes
    if mistakes:
        raise ConfigError(_("the plan"), mistakes)
    return plan


def odd(plan: LessonPlan) -> list[str]:
    """What is hardly possible about the boats."""
    return [f"{team.label}: {one}" for team in plan.teams for one in oddities(team.boat)]


class _Numbers:
    """Reads fields; what is wrong goes to the mistakes."""

    def __init__(self, values: Mapping[str, str], mistakes: list[str], *, is_inches: bool) -> None:
        self.values, self.mistakes, self.is_inches = values, mistakes, is_inches

    def whole(self, field: str, otherwise: int | None) -> int | None:
        text = self.values.get(field, "").strip()
        if not text:
            return otherwise
        if text.isascii() and text.isdigit() and len(text) < 6:
            return int(text)
        self.mistakes.append(_("%(what)s: found %(found)r; wanted a whole number") % _named(field, text))
        return otherwise

    def seconds(self, field: str, otherwise: float) -> float:
        text = self.values.get(field, "").strip()
        try:
            found = float(text) if text else otherwise
        except ValueError:
            found = float("nan")
        if 0 < found <= 3600:
            return found
        self.mistakes.append(_("%(what)s: found %(found)r; wanted seconds, such as 30") % _named(field, text))
        return otherwise

    def length(self, field: str, what: str) -> float | None:
        """In mm; a plain number is in inches where the lesson's lengths are."""
        return self._reading(field, what, lambda text: read_length(self.in_units(text)))

    def mass(self, field: str, what: str) -> float | None:
        return self._reading(field, what, read_mass)

    def in_units(self, text: str) -> str:
        """A length with the unit that is meant where none was typed."""
        plain = text.strip()
        has_unit = any(sign.isalpha() or sign in '"±' for sign in plain)
        return f"{plain} in" if self.is_inches and plain and not has_unit else plain

    def _reading(self, field: str, what: str, read: Callable[[str], Reading]) -> float | None:
        text = self.values.get(field, "").strip()
        if not text:
            return None
        try:
            return round(read(text).value, 3)
        except ValueError as error:
            self.mistakes.append(f"{what}: {error}")
            return None


def _team(row: int, number: _Numbers, cards: Mapping[str, Boat]) -> dict[str, Any] | None:
    """The team of one row as a table; None: the row is empty."""
    values = number.values
    nickname = values.get(f"nickname_{row}", "").strip()
    if not nickname:
        return None
    boat = cards.get(values.get(f"boat_{row}", PLAIN)) or Boat(nickname)
    boat = replace(boat, team="")
    for field, name in (("mass_g", f"mass_{row}"), ("length_mm", f"length_{row}")):
        text = values.get(name, "").strip()
        if text and text != _shown(getattr(boat, field)):
            try:
                typed = text if field == "mass_g" else number.in_units(text)
                boat = with_numbers(boat, number_of(field, typed, Steps()))
            except ValueError as error:
                number.mistakes.append(f"{nickname}: {error}")
    return {
        "number": number.whole(f"number_{row}", row), "nickname": nickname, "boat": settings.to_table(boat),
    }  # fmt: skip


def _named(field: str, text: str) -> dict[str, str]:
    name = field.rstrip("0123456789").rstrip("_")
    what = _TEXT[name]() if name in _TEXT else _("number of a team")
    return {"what": what, "found": text[:20]}


def _shown(value: float | None) -> str:
    return "" if value is None else f"{value:g}"
