"""A boat that is put into the water while the recording runs."""

from __future__ import annotations

import numpy as np
import pytest

from logger.simulator import simulate_run, truth
from logger.simulator.entry import CARRIED_S, REACH_MM, Entry
from logger.simulator.hull import area_and_centroid
from logger.simulator.painter import Painter
from logger.simulator.scene import Scene, draw
from logger.simulator.sight import Sight
from logger.simulator.visitors import Hand
from logger.simulator.wishes import wishes


def a_scene(**asked: object) -> Scene:
    plain = {"enters_s": 4.0, "noise_dn": 1e-6, "paint": "red", "tank_length_mm": 1200.0, "length_mm": 120.0}
    return draw(tier="easy", kind="drift", seed=3, asked=wishes(plain | asked))


def test_it_comes_down_from_aside_and_then_lies_still() -> None:
    entry = Entry(4.0, (0.6, 0.8))
    offset = entry.offset_mm(np.array([4.0 - CARRIED_S, 3.9, 4.0, 9.0]))
    np.testing.assert_allclose(offset[0, :2], REACH_MM * np.array([0.6, 0.8]))
    assert offset[1, 2] > 0
    np.testing.assert_array_equal(offset[2:], 0.0)
    way = entry.offset_mm(np.linspace(2.6, 4.0, 100))
    assert (np.diff(np.hypot(way[:, 0], way[:, 1])) < 0).all()


def test_no_boat_is_in_the_first_pictures_and_it_is_armed_when_it_floats() -> None:
    scene = a_scene()
    assert scene.armed_s > 4.0
    painter = Painter(scene)

    def reds(t_s: float) -> int:
        blue, _, red = painter.frame(int(t_s * 30)).astype(int).transpose(2, 0, 1)
        return int((red - blue > 60).sum())

    assert reds(1.0) == reds(2.4) == 0
    assert reds(4.2) > 1000


def test_it_is_seen_where_it_is_carried() -> None:
    scene = a_scene(line_ns=0)
    entry = scene.entry
    assert entry is not None
    outline = Sight(scene).deck(3.6)
    offset = entry.offset_mm(np.array([3.6]))[0]
    assert np.hypot(*offset[:2]) > 50
    seen = scene.eye.on_plane(outline, z_mm=scene.hull.freeboard_mm + offset[2])
    middle = scene.voyage.pose([0.0])[0, :2] + offset[:2]
    np.testing.assert_allclose(area_and_centroid(seen)[1], middle, atol=1e-6)


def test_a_hand_brings_it_even_where_no_hand_would_come() -> None:
    hand = next(visitor for visitor in a_scene().visitors if isinstance(visitor, Hand))
    assert hand.patches(2.0) == []
    carrying, holding = hand.patches(3.3)[0], hand.patches(4.1)[0]
    assert carrying.z_mm > holding.z_mm


def test_the_truth_has_no_place_for_a_boat_that_is_not_in_the_water() -> None:
    scene = a_scene()
    rows = truth.track(scene)
    np.testing.assert_array_equal(np.isnan(rows[:, 1]), rows[:, 0] < 4.0)
    run = simulate_run(seed=3, enters_s=4.0)
    assert np.isfinite(run.fixes.x_mm).all()
    assert (run.fixes.true_t_ns >= run.truth["enters_ns"]).all()


def test_its_run_is_the_one_without_a_late_entry_only_later() -> None:
    usual, late = (draw(tier="hard", kind="drift", seed=6, asked=wishes(w)) for w in ({}, {"enters_s": 5.0}))
    assert late.ended_s - usual.ended_s == pytest.approx(5.0)
    np.testing.assert_allclose(late.voyage.pose([late.ended_s]), usual.voyage.pose([usual.ended_s]))
