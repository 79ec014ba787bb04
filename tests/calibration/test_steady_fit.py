from __future__ import annotations

import numpy as np
import pytest

from calibration.patches import sharp, take
from calibration.steady_fit import by_pose, fit, pose_covariance
from calibration.waterplane import View
from tests.calibration.tank_picture import LENS, POSE, VIEW, WATER_MM, Scene, picture

WATER_PX = VIEW.to_pixels(np.column_stack([WATER_MM, np.zeros(4)]))


def test_a_known_movement_is_found_as_a_whole() -> None:
    """Turn and shift each are hardly known from above; where things are seen is."""
    true = POSE.moved([0.001, -0.0015, 0.002], [0.5, 0.3, -0.8])
    sizes = [(1, take(sharp(picture(POSE, Scene(seed=1)))))]
    found = fit(VIEW, sizes, {1: sharp(picture(true, Scene(seed=2)))}, start=POSE, water_px=WATER_PX)
    points = np.column_stack([WATER_MM, np.zeros(4)])
    off_px = View(LENS, found.pose).to_pixels(points) - View(LENS, true).to_pixels(points)
    assert np.abs(off_px).max() < 0.05
    assert found.share > 0.9


def test_how_pixels_follow_the_pose_agrees_with_moving_it() -> None:
    points = np.array([[100.0, 50.0, 0.0], [800.0, -200.0, 0.0]])
    change = np.array([0.4, -0.3, 0.2, 1.0, -0.5, 0.7])
    told_px = by_pose(VIEW, points) @ change
    moved = View(LENS, POSE.moved(change[:3] / POSE.camera_mm[2], change[3:]))
    assert told_px == pytest.approx(moved.to_pixels(points) - VIEW.to_pixels(points), abs=2e-3)


def test_a_boat_on_the_tiles_is_left_out() -> None:
    sizes = [(1, take(sharp(picture(POSE, Scene(seed=1)))))]
    now = picture(POSE, Scene(seed=2, boat_mm=(500.0, 0.0)))
    found = fit(VIEW, sizes, {1: sharp(now)}, start=POSE)
    centres = sizes[0][1].centres_px[found.pieces]
    boat = np.abs(centres - VIEW.to_pixels([[500.0, 0.0, 20.0]])).max(1) < 15
    assert boat.sum() >= 1
    assert found.weights[boat].max() == 0
    assert np.count_nonzero(found.weights) > 0.8 * len(found.weights)


def test_a_boat_that_drifted_a_little_is_left_out_though_it_is_found_again() -> None:
    """Three millimetres, one pixel: its edges are all there, but they do not go along with the tank's."""
    moored = picture(POSE, Scene(seed=1, boat_mm=(500.0, 0.0)))
    drifted = picture(POSE, Scene(seed=2, boat_mm=(503.0, 3.0)))
    sizes = [(1, take(sharp(moored)))]
    found = fit(VIEW, sizes, {1: sharp(drifted)}, start=POSE)
    centres = sizes[0][1].centres_px[found.pieces]
    left, top = VIEW.to_pixels([[410.0, 45.0, 20.0]])[0]
    boat = (np.abs(centres - [left, top]) < [70, 40]).all(1) & (np.abs(found.rest_px) > 0.6)
    assert boat.sum() >= 3
    assert found.weights[boat].max() == 0
    points = np.column_stack([WATER_MM, np.zeros(4)])
    assert np.abs(View(LENS, found.pose).to_pixels(points) - VIEW.to_pixels(points)).max() < 0.06


def test_ripples_count_for_less_than_the_rim_and_widen_the_doubt() -> None:
    sizes = [(1, take(sharp(picture(POSE, Scene(seed=1)))))]
    rippled = {1: sharp(picture(POSE, Scene(seed=2, ripple_mm=3.0)))}
    apart = fit(VIEW, sizes, rippled, start=POSE, water_px=WATER_PX)
    alike = fit(VIEW, sizes, rippled, start=POSE)
    calm = fit(VIEW, sizes, {1: sharp(picture(POSE, Scene(seed=2)))}, start=POSE, water_px=WATER_PX)
    points = np.column_stack([WATER_MM, np.zeros(4)])

    def u_px(found: object) -> float:
        change = by_pose(VIEW, points)
        return float(np.sqrt(np.einsum("nij,jk,nik->ni", change, pose_covariance(found), change)).max())

    assert u_px(calm) < u_px(apart) < u_px(alike)


def test_without_any_pieces_there_is_nothing_to_fit() -> None:
    with pytest.raises(ValueError, match="found no pieces"):
        fit(VIEW, [], {}, start=POSE)
