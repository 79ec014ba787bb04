"""What may come into a picture: hands, sails, light, knocks."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from logger.simulator.background import GAMMA, linear
from logger.simulator.boats import PAINTS
from logger.simulator.hull import area_and_centroid
from logger.simulator.light import LightChange
from logger.simulator.mount import Bump
from logger.simulator.painter import Painter
from logger.simulator.scene import Scene, draw
from logger.simulator.visitors import Hand
from logger.simulator.wishes import wishes

QUIET = {"noise_dn": 1e-6, "tank_length_mm": 1200.0, "length_mm": 120.0}


def a_scene(tier: str = "easy", seed: int = 3, **asked: object) -> Scene:
    return draw(tier=tier, kind="drift", seed=seed, asked=wishes(QUIET | asked))  # type: ignore[arg-type]


@pytest.mark.parametrize("tier", ["realistic", "hard"])
def test_frames_do_not_depend_on_the_order_in_which_they_are_asked(tier: str) -> None:
    scene = draw(tier=tier, kind="drift", seed=7, asked=wishes({}))  # type: ignore[arg-type]
    painter = Painter(scene)
    late, early = painter.frame(90), painter.frame(5)
    again = Painter(scene)
    np.testing.assert_array_equal(again.frame(5), early)
    np.testing.assert_array_equal(again.frame(90), late)


def test_the_hand_is_there_before_go_and_gone_two_seconds_after() -> None:
    scene = a_scene("realistic", shade=0.0)
    hand = next(visitor for visitor in scene.visitors if isinstance(visitor, Hand))
    assert len(hand.patches(scene.voyage.go_s - 0.1)) == 7
    assert hand.patches(scene.voyage.go_s + 2.0) == []
    bare = Painter(replace(scene, visitors=()))
    number = int(0.3 * 30)
    differs = np.abs(Painter(scene).frame(number).astype(int) - bare.frame(number)).max(axis=2) > 12
    assert differs.sum() > 1500


def test_without_waves_the_water_far_from_the_boat_does_not_change() -> None:
    scene = a_scene()
    painter = Painter(scene)
    first, last = painter.frame(0).astype(int), painter.frame(len(scene.shutter.begins_ns) - 1).astype(int)
    moved = np.abs(first - last).max(axis=2) > 2
    assert 0.002 < moved.mean() < 0.1


def test_a_light_step_changes_every_pixel_by_its_size() -> None:
    dim = LightChange((), (0.0, 1.0, 0.0), 0.0, 50.0, 0.0, -0.2, 0.0)
    scene = a_scene()
    number = 100
    before, after = Painter(scene).frame(number), Painter(replace(scene, light_change=dim)).frame(number)
    ratio = (after[300:400, 500:800].astype(float) / before[300:400, 500:800]) ** 2.2
    assert np.median(ratio) == pytest.approx(0.8, abs=0.01)


def test_a_knock_moves_the_whole_picture() -> None:
    scene = a_scene()
    number = 60
    knocked = replace(scene, bump=Bump(-9.0, (0.0, 0.0), 30.0, 0.1, (3.0, -2.0)))
    before, after = Painter(scene).frame(number), Painter(knocked).frame(number)
    np.testing.assert_array_equal(after[100:-100, 100:-100], before[102:-98, 97:-103])


def test_a_bottom_that_the_hull_hides_moves_no_edge() -> None:
    # a hull that narrows downward quickly shows nothing of itself below its waterline; foil would sparkle differently
    scene = a_scene("realistic", 3, paint="red")
    clear = replace(scene, visitors=(), sail=None)
    dry = replace(clear, tier=replace(clear.tier, underwater=False))
    number = 100
    seen, without = Painter(clear).frame(number).astype(int), Painter(dry).frame(number)
    assert np.abs(seen - without).max() <= 1


def test_a_sail_top_is_seen_where_its_height_puts_it() -> None:
    scene = next(
        drawn for seed in range(40) if (drawn := a_scene("realistic", seed, line_ns=0)).sail is not None
    )  # fmt: skip
    still = replace(scene, tier=replace(scene.tier, rock_deg=0.0))
    assert still.sail is not None
    painter = Painter(still)
    top = max(still.sail.cloth(0.0), key=lambda point: point[2])
    seen = painter.sight.project(np.array([top]), 0.0)
    x, y, heading = still.voyage.pose([0.0])[0]
    c, s = np.cos(heading), np.sin(heading)
    place = [x + c * top[0] - s * top[1], y + s * top[0] + c * top[1], top[2]]
    np.testing.assert_allclose(seen, still.eye.see([place]), atol=1e-9)


def a_flat_scene(seed: int, **asked: object) -> Scene:
    """A boat without freeboard on a plain floor, quiet sensor: the silhouette is the waterline."""
    plain = {
        "freeboard_mm": 1e-3, "flare": 0.0, "floor_pattern": "plain", "noise_dn": 1e-6, "paint": "black",
        "floor": "white tray", "shape": "pointed", "tank_length_mm": 1500.0, "length_mm": 180.0, "plain_deck": True,
    }  # fmt: skip
    return draw(tier="easy", kind="straight", seed=seed, asked=wishes(plain | asked))


@pytest.mark.parametrize("seed", range(4))
def test_the_grey_centroid_of_the_drawn_boat_is_the_projected_truth(seed: int) -> None:
    scene = a_flat_scene(seed, exposure_ns=8_000_000, line_ns=20_000, shade=0.0)
    painter = Painter(scene)
    number = len(scene.shutter.begins_ns) // 2
    middle_s = (float(scene.shutter.begins_ns[number]) + scene.shutter.exposure_ns / 2) / 1e9
    water, _ = painter.outlines_px(middle_s)
    # undo the tone curve and the uneven light: what is left is how much of each pixel the boat covers
    light = (painter.frame(number).astype(float) / 255.0) ** GAMMA
    boat = painter.still.lamp[..., None] * linear(PAINTS["black"])
    share = ((painter.still.light - light) / (painter.still.light - boat)).mean(axis=2)
    share[share < 0.04] = 0.0
    v, u = np.mgrid[0 : share.shape[0], 0 : share.shape[1]]
    near = (np.abs(u - water[:, 0].mean()) < 120) & (np.abs(v - water[:, 1].mean()) < 80)
    share, u, v = share[near], u[near], v[near]
    seen = np.array([(share * u).sum(), (share * v).sum()]) / share.sum()
    np.testing.assert_allclose(seen, area_and_centroid(water)[1], atol=0.05)
