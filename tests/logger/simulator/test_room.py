"""Shadows of the room: where they fall, how they move."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from logger.simulator.background import GAMMA
from logger.simulator.chance import stream
from logger.simulator.painter import Painter
from logger.simulator.room import Blinds, Passer, draw_room
from logger.simulator.scene import draw
from logger.simulator.tiers import TIERS
from logger.simulator.wishes import Wishes, wishes

PASSER = Passer((100.0, 0.0), 50.0, (4.0, 9.0), (400.0, 80.0), np.pi / 2, 15.0, 0.4)


def test_a_passer_takes_his_share_in_the_middle_and_half_of_it_at_his_edge() -> None:
    left = PASSER.left(np.array([(100.0, 0.0), (180.0, 0.0), (900.0, 0.0)]), 0.0)
    np.testing.assert_allclose(left, [0.6, 0.8, 1.0], atol=1e-6)


def test_a_passer_walks_stands_and_walks_on() -> None:
    x = np.linspace(-200, 1500, 4000)
    middles = [x[PASSER.left(np.column_stack([x, 0 * x]), t).argmin()] for t in (0.0, 2.0, 4.0, 7.0, 9.0, 10.0)]
    walked = np.array(middles) - middles[0]
    np.testing.assert_allclose(walked, [0, 100, 200, 200, 200, 250], atol=12)


def test_blinds_are_stripes_of_their_pitch_that_come_back() -> None:
    blinds = Blinds((0.0, 0.0), 1e4, 0.0, 100.0, 20.0, 2.0, 5.0, 0.3)
    x = np.linspace(-200, 200, 401)
    points = np.column_stack([x, 0 * x])
    now = blinds.left(points, 0.0)
    assert (now.min(), now.max()) == pytest.approx((0.7, 1.0), abs=1e-3)
    np.testing.assert_allclose(now[:300], now[100:400], atol=1e-6)
    np.testing.assert_allclose(blinds.left(points, np.pi), now, atol=1e-6)
    assert np.abs(blinds.left(points, np.pi / 4) - now).max() > 0.2


def test_only_the_hard_tier_has_people_in_the_room() -> None:
    basin = draw(tier="hard", kind="drift", seed=1, asked=Wishes()).basin
    found = {
        name: [len(draw_room(stream(seed, "room"), TIERS[name], basin, length_s=15.0)) for seed in range(40)]
        for name in TIERS
    }  # fmt: skip
    assert sum(found["easy"]) == sum(found["realistic"]) == 0
    # a half and three tenths of forty, each to three standard deviations
    assert 15 < sum(found["hard"]) < 50


def test_the_picture_is_darker_where_the_shadow_is_and_nowhere_else() -> None:
    scene = draw(tier="easy", kind="drift", seed=3, asked=wishes({"noise_dn": 1e-6, "tank_length_mm": 1200.0}))
    shaded = replace(scene, room=(replace(PASSER, place_mm=(600.0, 0.0), speed_mm_per_s=0.0),))
    ratio = (Painter(shaded).frame(3) / np.maximum(Painter(scene).frame(3), 1.0)) ** GAMMA
    inside, outside = np.round(scene.eye.see([(600.0, 60.0, 0.0), (1000.0, 60.0, 0.0)])).astype(int)
    assert ratio[inside[1], inside[0]].mean() == pytest.approx(0.6, abs=0.02)
    assert ratio[outside[1], outside[0]].mean() == pytest.approx(1.0, abs=0.01)
