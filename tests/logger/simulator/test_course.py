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


def test_a_boat_may_rest_for_a_minute_after_its_run() -> None:
    usual, long = (draw(tier="hard", kind="drift", seed=4, asked=wishes(w)) for w in ({}, {"rest_s": 60.0}))
    assert long.length_s - long.ended_s == pytest.approx(usual.length_s - usual.ended_s + 60.0)
    late = np.linspace(long.ended_s + 20.0, long.length_s, 20)
    assert long.voyage.speed(late).max() < 0.5


def test_a_boat_may_wait_between_arming_and_go() -> None:
    usual, waiting = (draw(tier="hard", kind="drift", seed=4, asked=wishes(w)) for w in ({}, {"wait_s": 30.0}))
    assert waiting.armed_s == usual.armed_s
    assert waiting.voyage.go_s == pytest.approx(usual.voyage.go_s + 30.0)


@pytest.mark.parametrize("tier", ["easy", "realistic", "hard"])
@pytest.mark.parametrize("seed", range(6))
def test_a_boat_may_stay_at_the_wall(seed: int, tier: str) -> None:
    scene = draw(tier=tier, kind="drift", seed=seed, asked=wishes({"at_wall": True, "rest_s": 5.0}))  # type: ignore[arg-type]
    front = scene.voyage.bow([scene.length_s], normal_rad=0.0)[0, 0]
    assert front == pytest.approx(scene.basin.front_mm, abs=1e-6)
    assert scene.voyage.speed([scene.length_s])[0] == 0.0
