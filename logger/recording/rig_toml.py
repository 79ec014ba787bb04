"""rig.toml <-> Rig."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from calibration.places import area_mm2, crosses_itself
from logger import settings
from logger.config import Gate, Line, Point, Positive, Rig, Zone
from logger.errors import ConfigError, InputError

RIG_FORMAT = "boatrun-rig/1"
DRIVERS_OF_A_RIG = ("gates_driver", "panel_driver", "light_driver", "scale_driver")
"""Tables of a rig file that choose a driver; the camera's stands in its own table."""
_ANY_TANK_MM = [[-1e9, -1e9], [1e9, -1e9], [1e9, 1e9], [-1e9, 1e9]]
_ANY_LINE_MM = {"a_mm": [0, 0], "b_mm": [1, 0]}
"""Stand for a tank or a line whose own mistakes are already noted, so that nothing follows from them."""


def read_rig(path: Path) -> Rig:
    """The rig of the file at `path`.

    Raises:
        InputError: there is no such file, or it is no TOML.
        ConfigError: it says something wrong; all mistakes at once.
    """
    return rig_from_table(settings.load_table(path), file=str(path))


def calibration_of(rig: Rig, path: Path) -> bytes | None:
    """What stands in the file of the camera's calibration; None without a camera. InputError: it is not there.

    Args:
        rig: The rig.
        path: Its file, beside which the calibration is.
    """
    if rig.camera is None:
        return None
    file = path.parent / rig.camera.calibration
    try:
        return file.read_bytes()
    except OSError as error:
        raise InputError(f"{file}: the camera's calibration cannot be read ({error.strerror}); calibrate it") from error


def rig_from_table(table: Mapping[str, Any], *, file: str) -> Rig:
    """The rig that `table` describes; `file` is named in mistakes."""
    table = without_format(table, RIG_FORMAT, file=file)
    mistakes: list[str] = []
    _expand_tank(table, mistakes)
    _expand_lines(table, mistakes)
    _expand_drivers(table)
    rig = settings.from_table(Rig, table, place="", mistakes=mistakes)
    if rig is not None:
        mistakes.extend(rig_mistakes(rig))
    if rig is None or mistakes:
        raise ConfigError(file, mistakes)
    return rig


def without_format(table: Mapping[str, Any], wanted: str, *, file: str) -> dict[str, Any]:
    """A copy of `table` without its `format`, which must be `wanted`; `file` is named in mistakes.

    Raises:
        ConfigError: another format or none; what else may be wrong then means nothing.
    """
    rest = dict(table)
    found = rest.pop("format", None)
    if found is None:
        raise ConfigError(file, [f'format: missing, wanted format = "{wanted}" on the first line'])
    if found != wanted:
        mistake = f'format: found {settings.shorten(found)}, wanted "{wanted}"; was it made for another version?'
        raise ConfigError(file, [mistake])
    return rest


@dataclass(frozen=True, slots=True)
class _Box:
    """A right-angled tank, as it may be written instead of an outline."""

    length_mm: Positive
    width_mm: Positive
    origin_mm: Point | None = None
    """The corner with the least x and y; left out: x starts at 0 and y = 0 is in the middle."""

    def outline_mm(self) -> list[list[float]]:
        x, y = self.origin_mm or (0.0, -self.width_mm / 2)
        return [[x, y], [x + self.length_mm, y], [x + self.length_mm, y + self.width_mm], [x, y + self.width_mm]]


def _expand_tank(table: dict[str, Any], mistakes: list[str]) -> None:
    tank = table.get("tank")
    if not isinstance(tank, dict) or not {"length_mm", "width_mm", "origin_mm"} & set(tank):
        return
    box = {name: tank[name] for name in ("length_mm", "width_mm", "origin_mm") if name in tank}
    table["tank"] = {name: value for name, value in tank.items() if name not in box}
    if "outline_mm" in tank:
        mistakes.append(
            "tank: found both outline_mm and length_mm or width_mm, wanted one of the two ways; leave one out"
        )
        return
    made = settings.from_table(_Box, box, place="tank", mistakes=mistakes)
    table["tank"]["outline_mm"] = made.outline_mm() if made else _ANY_TANK_MM


@dataclass(frozen=True, slots=True)
class _Across:
    """A line straight across the tank, as it may be written instead of its two ends."""

    x_mm: float


def _expand_lines(table: dict[str, Any], mistakes: list[str]) -> None:
    lines = table.get("lines")
    if isinstance(lines, list):
        ends = _widest(table.get("tank"))
        table["lines"] = [_expand_line(line, f"lines[{n}]", ends, mistakes) for n, line in enumerate(lines, 1)]


def _widest(tank: object) -> tuple[float, float]:
    """The least and the greatest y of the tank's outline; anything if that is wrong, which is reported elsewhere."""
    outline = tank.get("outline_mm") if isinstance(tank, dict) else None
    points = outline if isinstance(outline, list) else []
    ys = [p[1] for p in points if isinstance(p, list) and len(p) == 2 and isinstance(p[1], (int, float))]
    return (min(ys), max(ys)) if ys else (0.0, 1.0)


def _expand_line(line: object, place: str, ends: tuple[float, float], mistakes: list[str]) -> object:
    if not isinstance(line, dict) or "x_mm" not in line:
        return line
    rest = {name: value for name, value in line.items() if name != "x_mm"}
    if "a_mm" in rest or "b_mm" in rest:
        mistakes.append(f"{place}: found both x_mm and a_mm or b_mm, wanted one of the two ways; leave one out")
        return _ANY_LINE_MM | rest
    across = settings.from_table(_Across, {"x_mm": line["x_mm"]}, place=place, mistakes=mistakes)
    x = across.x_mm if across else 0.0
    return rest | {"a_mm": [x, ends[0]], "b_mm": [x, ends[1]]}


def _expand_drivers(table: dict[str, Any]) -> None:
    """Options stand beside `kind` in the file; in the value they are a table of their own."""
    for name in DRIVERS_OF_A_RIG:
        if isinstance(table.get(name), dict):
            table[name] = _driver(table[name])
    camera = table.get("camera")
    if isinstance(camera, dict) and isinstance(camera.get("driver"), dict):
        table["camera"] = camera | {"driver": _driver(camera["driver"])}


def _driver(written: dict[str, Any]) -> dict[str, Any]:
    options = {name: value for name, value in written.items() if name != "kind"}
    return {name: value for name, value in written.items() if name == "kind"} | {"options": options}


def rig_mistakes(rig: Rig) -> list[str]:
    """What does not fit together in `rig`, each with its place."""
    return [
        *_doubled("lines", [line.name for line in rig.lines]),
        *_doubled("gates", [gate.name for gate in rig.gates]),
        *_outline_mistakes(rig),
        *(m for n, line in enumerate(rig.lines, 1) for m in _line_mistakes(line, f"lines[{n}]", rig)),
        *(m for n, gate in enumerate(rig.gates, 1) for m in _gate_mistakes(gate, f"gates[{n}]", rig)),
        *_doubled("zones", [zone.name for zone in rig.zones]),
        *(m for n, zone in enumerate(rig.zones, 1) for m in _zone_mistakes(zone, f"zones[{n}]")),
    ]


def _doubled(place: str, names: list[str]) -> list[str]:
    return [
        f'{place}[{n}].name: found "{name}" again, wanted a name of its own'
        for n, name in enumerate(names, 1)
        if name in names[: n - 1]
    ]


def _outline_mistakes(rig: Rig) -> list[str]:
    points = rig.tank.outline_mm
    if len(points) < 3:
        return [f"tank.outline_mm: found {len(points)} corners, wanted at least 3"]
    area = sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in zip(points, points[1:] + points[:1], strict=True)) / 2
    if area > 0:
        return []
    found = "corners on one straight line" if area == 0 else "corners in clockwise order"
    return [f"tank.outline_mm: found {found}, wanted them anticlockwise (x along the run, y to the left)"]


def _line_mistakes(line: Line, place: str, rig: Rig) -> list[str]:
    if line.a_mm == line.b_mm:
        return [f"{place}: found both ends at the same point, wanted a_mm and b_mm apart"]
    xs, ys = zip(*rig.tank.outline_mm, strict=True)
    margin = max(max(xs) - min(xs), max(ys) - min(ys)) / 2
    far = [
        name
        for name, (x, y) in (("a_mm", line.a_mm), ("b_mm", line.b_mm))
        if not (min(xs) - margin <= x <= max(xs) + margin and min(ys) - margin <= y <= max(ys) + margin)
    ]
    return [
        f"{place}.{name}: found a point far outside the tank, wanted millimetres in the tank's frame" for name in far
    ]


def _gate_mistakes(gate: Gate, place: str, rig: Rig) -> list[str]:
    lines = [line.name for line in rig.lines]
    if gate.line in lines:
        return []
    known = ", ".join(f'"{name}"' for name in lines) or "no lines at all"
    return [f'{place}.line: found "{gate.line}", wanted the name of a line ({known}){settings.near(gate.line, lines)}']


def _zone_mistakes(zone: Zone, place: str) -> list[str]:
    is_round = zone.middle_mm is not None and zone.radius_mm is not None
    is_cornered = bool(zone.outline_mm)
    if is_round == is_cornered or (is_cornered and (zone.middle_mm, zone.radius_mm) != (None, None)):
        return [f"{place}: wanted either outline_mm, or middle_mm and radius_mm"]
    if is_round:
        return []
    if len(zone.outline_mm) < 3:
        return [f"{place}.outline_mm: found {len(zone.outline_mm)} corners, wanted at least 3"]
    if crosses_itself(zone.outline_mm) or area_mm2(zone.outline_mm) <= 0:
        return [f"{place}.outline_mm: found corners that do not go round it anticlockwise; wanted them in that order"]
    return []


def edit_rig(path: Path, changes: Mapping[str, Any]) -> None:
    """Set some entries of the rig file at `path` and keep its comments, as when a calibration is entered.

    Args:
        path: The file.
        changes: Dotted name, as in "camera.delay_s", -> new value.

    Raises:
        ConfigError: it would say something wrong; nothing was changed.
        StoreError: it could not be written; nothing was changed.
    """
    settings.edit(path, changes, check=lambda table: rig_from_table(table, file=str(path)))


def rig_text(rig: Rig) -> str:
    """`rig` as the text of a rig.toml, everything written out."""
    table = {"format": RIG_FORMAT, **settings.to_table(rig)}
    for name in DRIVERS_OF_A_RIG:
        if name in table:
            table[name] = _driver_table(table[name])
    if rig.camera and rig.camera.driver:
        table["camera"]["driver"] = _driver_table(table["camera"]["driver"])
    return settings.dump(table)


def _driver_table(driver: dict[str, Any]) -> dict[str, Any]:
    return {"kind": driver["kind"], **driver.get("options", {})}
