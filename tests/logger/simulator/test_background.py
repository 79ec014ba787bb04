"""The picture without a boat."""

from __future__ import annotations

import numpy as np
import pytest

from logger.simulator import snell
from logger.simulator.background import GAMMA, linear, paint, tone
from logger.simulator.scene import draw
from logger.simulator.wishes import wishes


def test_tone_and_linear_light_undo_each_other() -> None:
    light = linear((10, 128, 250))
    np.testing.assert_allclose(tone(light[None, None].astype(np.float32))[0, 0], (10, 128, 250), atol=0.01)
    assert pytest.approx(2.2) == GAMMA


def test_the_mark_lines_tape_is_seen_where_refraction_puts_it() -> None:
    """The darkest column of each row, against the floor point's apparent place."""
    asked = wishes({"floor_pattern": "plain", "water_depth_mm": 140.0, "tank_length_mm": 1500.0})
    scene = draw(tier="easy", kind="drift", seed=14, asked=asked)
    mark = scene.line("mark")
    assert mark is not None
    dark = 255.0 - paint(scene).grey.mean(axis=2)
    for y in (-100.0, 0.0, 100.0):
        x = (mark.place_mm - y * np.sin(mark.normal_rad)) / np.cos(mark.normal_rad)
        shown = snell.surface_above([[x, y]], eye_mm=scene.eye.place_mm, depth_mm=scene.basin.depth_mm)
        u, v = scene.eye.see([[shown[0, 0], shown[0, 1], 0.0]])[0]
        row = dark[round(v), round(u) - 25 : round(u) + 26]
        row = np.clip(row - np.median(row) - 20, 0, None)
        assert row @ (round(u) + np.arange(-25, 26)) / row.sum() == pytest.approx(u, abs=0.25)


def test_lamp_is_about_one_and_darker_in_the_corners() -> None:
    scene = draw(tier="easy", kind="drift", seed=2, asked=wishes({}))
    lamp = paint(scene).lamp
    assert lamp[360, 640] == pytest.approx(1.0, abs=0.02)
    corners = np.array([lamp[0, 0], lamp[0, -1], lamp[-1, 0], lamp[-1, -1]])
    assert corners.mean() < 0.97
