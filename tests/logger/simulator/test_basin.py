"""Tanks, lines and beams that are drawn."""

from __future__ import annotations

import numpy as np

from logger.simulator.basin import draw_basin, draw_beams, draw_lines
from logger.simulator.chance import stream
from logger.simulator.wishes import Wishes


def test_a_tank_is_long_enough_for_its_boat_and_its_lines_lie_inside() -> None:
    for seed in range(60):
        basin = draw_basin(stream(seed, "basin"), 240.0, 90.0, Wishes())
        assert 800 <= basin.front_mm - basin.back_mm <= 3000
        assert 50 <= basin.depth_mm <= 150
        assert basin.back_mm < -240
        for kind in ("drift", "straight"):
            lines = draw_lines(stream(seed, "lines"), basin, kind)
            assert lines[0].place_mm == 0.0
            assert 150 < lines[1].place_mm < basin.front_mm - 90


def test_the_outline_is_anticlockwise_as_rig_files_want_it() -> None:
    corners = np.array(draw_basin(stream(1, "basin"), 240.0, 90.0, Wishes()).outline_mm)
    following = np.roll(corners, -1, axis=0)
    assert (corners[:, 0] * following[:, 1] - following[:, 0] * corners[:, 1]).sum() > 0


def test_every_beam_stands_near_the_line_whose_name_it_carries() -> None:
    basin = draw_basin(stream(1, "basin"), 240.0, 90.0, Wishes())
    lines = draw_lines(stream(1, "lines"), basin, "straight")
    for line, beam in zip(lines, draw_beams(stream(1, "beams"), lines), strict=True):
        assert beam.role == line.name
        assert abs(beam.place_mm - line.place_mm) <= 4
