"""Worlds drawn by chance: within their bounds, unchanged by wishes that do not concern them."""

from __future__ import annotations

import numpy as np
import pytest

from logger.errors import InputError
from logger.simulator.scene import draw
from logger.simulator.wishes import Wishes, wishes

TIER_NAMES = ("easy", "realistic", "hard")


@pytest.mark.parametrize("tier", TIER_NAMES)
@pytest.mark.parametrize("seed", range(8))
def test_the_boat_stays_in_the_water_and_in_the_picture(tier: str, seed: int) -> None:
    scene = draw(tier=tier, kind="drift", seed=seed, asked=Wishes())  # type: ignore[arg-type]
    basin, hull = scene.basin, scene.hull
    assert 80 <= np.ptp(hull.outline_mm[:, 0]) <= 350
    assert 8 <= hull.freeboard_mm <= 40
    for x, y, heading in scene.voyage.pose(np.linspace(0, scene.length_s, 60)):
        c, s = np.cos(heading), np.sin(heading)
        corners = hull.outline_mm @ np.array([[c, s], [-s, c]]) + (x, y)
        assert (np.abs(corners[:, 1]) < basin.half_width_mm - 5).all()
        assert corners[:, 0].min() > basin.back_mm
        assert corners[:, 0].max() < basin.front_mm + 1e-6
        pixels = scene.eye.see(np.column_stack([corners, np.zeros(len(corners))]))
        assert (pixels > 0).all()
        assert (pixels < (1279, 719)).all()


@pytest.mark.parametrize("seed", range(8))
def test_the_boat_is_armed_at_rest_behind_the_start_line(seed: int) -> None:
    scene = draw(tier="hard", kind="straight", seed=seed, asked=Wishes())
    start = scene.line("start")
    assert start is not None
    assert scene.armed_s < scene.voyage.go_s
    assert scene.voyage.front([scene.armed_s], start)[0] < -10
    assert scene.voyage.speed([scene.armed_s, scene.voyage.go_s]).max() == 0


@pytest.mark.parametrize("kind", ["drift", "straight"])
@pytest.mark.parametrize("seed", range(8))
def test_the_recording_goes_on_for_a_second_and_a_half_after_the_run(kind: str, seed: int) -> None:
    scene = draw(tier="hard", kind=kind, seed=seed, asked=wishes({"frame_rate_hz": 30.0}))
    all_frames = draw(tier="easy", kind=kind, seed=seed, asked=Wishes())
    assert scene.length_s > scene.ended_s + 1.5
    assert all_frames.shutter.begins_ns[-1] / 1e9 > all_frames.ended_s + 1.5


def test_the_easy_tier_is_easy() -> None:
    for seed in range(10):
        scene = draw(tier="easy", kind="drift", seed=seed, asked=Wishes())
        tilt = np.degrees(np.arccos(-scene.eye.rotation[2, 2]))
        assert tilt <= 2 * np.sqrt(2)
        assert scene.sail is None
        assert scene.bump is None
        assert scene.visitors == ()
        assert scene.waves.still
        assert scene.light_change.steady
        assert (np.diff(scene.shutter.sequence) == 1).all()


def test_a_wish_changes_what_it_names_and_nothing_else() -> None:
    plain = draw(tier="realistic", kind="drift", seed=9, asked=Wishes())
    painted = draw(tier="realistic", kind="drift", seed=9, asked=wishes({"paint": "foil"}))
    assert painted.paint == "foil"
    np.testing.assert_array_equal(plain.hull.outline_mm, painted.hull.outline_mm)
    np.testing.assert_array_equal(plain.eye.rotation, painted.eye.rotation)
    assert plain.ended_s == painted.ended_s


def test_other_kinds_and_tiers_are_refused_by_name() -> None:
    with pytest.raises(InputError, match="found kind 'race'; wanted drift or straight"):
        draw(tier="easy", kind="race", seed=1, asked=Wishes())
    with pytest.raises(InputError, match="found tier 'cruel'; wanted one of easy, realistic, hard"):
        draw(tier="cruel", kind="drift", seed=1, asked=Wishes())  # type: ignore[arg-type]
