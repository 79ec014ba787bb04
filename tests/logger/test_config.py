"""The values of rig.toml and recording.toml: their defaults are lawful, their bounds are where nature has them."""

from __future__ import annotations

import typing
from dataclasses import MISSING, fields, is_dataclass

import pytest

from logger import config, settings
from logger.config import Boat, CameraSetup, Conditions, Gate, Line, Rig, Rules, RunCard, Tank
from logger.errors import ConfigError

VALUES = [value for value in vars(config).values() if is_dataclass(value)]
LINES = (Line("a", "start", (0.0, 0.0), (0.0, 9.0)), Line("b", "finish", (9.0, 0.0), (9.0, 9.0)))
RIG = Rig("tub", Tank(((0.0, 0.0), (9.0, 0.0), (9.0, 9.0)), 5.0), LINES, (Gate("red", "b"),))


def test_a_line_is_found_by_its_role_and_a_gate_by_its_line() -> None:
    assert RIG.line("finish") is LINES[1]
    assert RIG.line("mark") is None
    assert RIG.gate_at("b") is RIG.gates[0]
    assert RIG.gate_at("a") is None


@pytest.mark.parametrize("value", VALUES, ids=lambda value: value.__name__)
def test_every_default_may_stand_in_a_file(value: type) -> None:
    given = {f.name: f.default for f in fields(value) if f.default is not MISSING and f.default is not None}
    defaults = {name: list(default) if isinstance(default, tuple) else default for name, default in given.items()}
    mistakes: list[str] = []
    settings.from_table(value, defaults, place="", mistakes=mistakes)
    assert [m for m in mistakes if "missing" not in m] == []


@pytest.mark.parametrize("value", VALUES, ids=lambda value: value.__name__)
def test_no_standard_uncertainty_may_be_negative(value: type) -> None:
    for name in (f.name for f in fields(value) if f.name.startswith("u_")):
        mistakes: list[str] = []
        settings.from_table(value, {name: -1e-9}, place="", mistakes=mistakes)
        assert f"{name}: found -1e-09, wanted a number ≥ 0" in mistakes


@pytest.mark.parametrize(
    ("value", "name", "nearest_wrong", "nearest_right"),
    [
        (Boat, "mass_g", 0, 0.001),
        (Boat, "mass_g", -40, 40),
        (Boat, "length_mm", 0, 1),
        (Boat, "width_mm", -1, 1),
        (Boat, "freeboard_mm", -0.1, 0),
        (Boat, "mast_height_mm", -1, 0),
        (Boat, "version", 0, 1),
        (Conditions, "blowers_count", -1, 0),
        (Conditions, "wind_direction_deg", 361, -360),
        (Conditions, "water_temperature_degc", 61, 60),
        (Conditions, "cargo_g", -1, 0),
        (Rules, "time_cap_s", 0, 0.1),
        (Rules, "stop_speed_mm_per_s", 0, 0.1),
        (Rules, "wall_margin_mm", -1, 0),
        (Tank, "water_depth_mm", 0, 1),
        (CameraSetup, "line_ns", -1, 0),
        (CameraSetup, "exposure_ns", 1_000_000_001, 1_000_000_000),
        (Rig, "gate_distance_mm", 0, 1),
    ],
)
def test_bounds_are_where_they_belong(value: type, name: str, nearest_wrong: float, nearest_right: float) -> None:
    assert refused(value, name, nearest_wrong)
    assert not refused(value, name, nearest_right)


def refused(value: type, name: str, number: float) -> bool:
    mistakes: list[str] = []
    settings.from_table(value, {name: number}, place="", mistakes=mistakes)
    return any(mistake.startswith(f"{name}: found {number}") for mistake in mistakes)


def test_a_run_may_be_named_like_a_file_only() -> None:
    with pytest.raises(ConfigError, match='id: found "a/b", wanted text without any of'):
        settings.read(RunCard, {"id": "a/b", "kind": "straight", "recorded_at": "x", "boat": {"name": "y"}}, file="r")


def test_every_kind_of_run_and_power_is_a_plain_word() -> None:
    for words in (config.KindOfRun, config.Power, config.LineRole):
        assert all(word.isidentifier() for word in typing.get_args(words))
