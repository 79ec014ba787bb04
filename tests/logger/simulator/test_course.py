"""How runs go."""

from __future__ import annotations

import numpy as np
import pytest

from logger.simulator.course import AFTERWARDS_S
from logger.simulator.scene import draw
from logger.simulator.wishes import wishes


@pytest.mark.parametrize("seed", range(8))
def test_a_drifting_boat_kept_from_the_wall_comes_to_rest_before_it(seed: int) -> None:
    scene = draw(tier="easy", kind="drift", seed=seed, asked=wishes({"wall_contact": False}))
    bow = scene.voyage.bow([scene.ended_s + 60.0], normal_rad=0.0)[0, 0]
    assert bow < scene.basin.front_mm
    assert scene.voyage.speed([scene.ended_s])[0] < 10.0


@pytest.mark.parametrize("seed", range(8))
def test_power_ends_at_the_mark_line_in_the_easy_tier_and_later_in_the_others(seed: int) -> None:
    for tier in ("easy", "realistic"):
        scene = draw(tier=tier, kind="drift", seed=seed, asked=wishes({"speed_mm_per_s": 200.0}))  # type: ignore[arg-type]
        mark = scene.line("mark")
        assert mark is not None
        crossed = scene.voyage.crossing_s(mark, until_s=scene.length_s)
        coasting = scene.voyage.go_s + scene.voyage.motion.begins_s[1 if tier == "easy" else 2]
        assert crossed is not None
        latest = 0.0 if tier == "easy" else 0.15
        assert -1e-9 <= coasting - crossed <= latest + 1e-9
        times = np.linspace(coasting + 1e-6, scene.ended_s, 50)
        assert (np.diff(scene.voyage.speed(times)) <= 1e-9).all()


def test_a_straight_run_is_over_at_the_finish() -> None:
    scene = draw(tier="easy", kind="straight", seed=5, asked=wishes({}))
    finish = scene.line("finish")
    assert finish is not None
    assert scene.voyage.crossing_s(finish, until_s=scene.length_s) == pytest.approx(scene.ended_s, abs=1e-9)
    assert scene.length_s == pytest.approx(scene.ended_s + AFTERWARDS_S)
