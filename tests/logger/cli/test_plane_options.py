"""How what is given to `boatrun calibrate plane` may be written."""

from __future__ import annotations

import argparse
import math

import pytest

from logger.cli import Parser
from logger.cli.plane_options import add_options, corners_of, grid_of, known_lengths
from logger.recording.rig_toml import rig_from_table

RIG = rig_from_table(
    {"format": "boatrun-rig/1", "name": "b", "tank": {"length_mm": 9, "width_mm": 5, "water_depth_mm": 1}, "lines": []},
    file="rig.toml",
)


def parsed(*words: str) -> argparse.Namespace:
    parser = Parser(prog="plane", allow_abbrev=False)
    add_options(parser)
    return parser.parse_args(["rig.toml", "--by", "floor", *words])


def test_depths_may_have_places() -> None:
    assert parsed("--depth-mm", "98@0,-150", "104").depth_mm == [(98.0, (0.0, -150.0)), (104.0, None)]


def test_a_grid_has_steps_and_corners() -> None:
    words = ("--grid", "5x3", "--step-mm", "200", "--first-mm=-10,5", "--corner-px", "1,2", "3,4", "5,6", "7.5,8")
    grid = grid_of(parsed(*words))
    assert grid is not None
    assert (grid.columns, grid.rows, grid.step_x_mm, grid.step_y_mm, grid.first_mm) == (5, 3, 200, 200, (-10, 5))
    assert corners_of(parsed(*words))[3] == (7.5, 8)
    assert grid_of(parsed()) is None
    assert corners_of(parsed()) == ()


def test_a_known_length_carries_its_own_doubt() -> None:
    """± a ruler's reading: the truth lies anywhere within (GUM 4.3.7)."""
    (found,) = known_lengths(parsed("--check-length", "1,2", "3,4.5", "1000±3", "--check-height-mm", "7"), RIG)
    assert (found.a_px, found.b_px, found.length_mm, found.z_mm) == ((1, 2), (3, 4.5), 1000, 7)
    assert found.u_length_mm == pytest.approx(3 / math.sqrt(3))
    with pytest.raises(ValueError, match="there is no gate_distance_mm to check with"):
        known_lengths(parsed("--check-length", "1,2", "3,4", "gates"), RIG)


@pytest.mark.parametrize(
    "words",
    [
        ("--depth-mm", "0"), ("--depth-mm", "9@1"), ("--grid", "5"), ("--step-mm", "0,1"), ("--first-mm", "a,b"),
        ("--u-mark-mm", "0"), ("--u-depth-mm", "nan"), ("--count", "0"), ("--square-mm", "-3"), ("--height-mm", "high"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_in_one_line(words: tuple[str, str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="2"):
        parsed(*words)
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert f"argument {words[0]}" in said
    assert "wanted" in said or "expected" in said
