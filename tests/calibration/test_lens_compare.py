"""What a changed lens does on the water, against sums that can be done by hand."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from calibration.lens import Lens, moved_lens
from calibration.lens_compare import compare, turned
from calibration.lens_solve import focal_scaled

PLAIN = Lens(1280, 720, 900.0, 900.0, 639.5, 359.5)
NONE = np.zeros((9, 9))
SURE = np.diag([0.5, 0.5, 0.5, 0.5, 1e-3, 0, 0, 0, 0]) ** 2


def test_the_same_lens_moves_nothing() -> None:
    found = compare((PLAIN, SURE), (PLAIN, SURE))
    assert found is not None
    assert found.moved_px == pytest.approx(0, abs=1e-6)
    assert found.left_mm == pytest.approx(0, abs=1e-4)
    assert found.u_left_mm > 0
    assert not found.is_changed


def test_a_longer_focal_length_is_a_scale_that_a_new_pose_takes_up() -> None:
    found = compare((PLAIN, SURE), (focal_scaled(PLAIN, 1.01), SURE), height_mm=1200.0)
    assert found is not None
    radius_px = np.hypot(639.5, 359.5)
    assert found.moved_px == pytest.approx(0.01 * radius_px, rel=1e-6)
    assert found.moved_mm == pytest.approx(1200 / 900 * radius_px * (1 - 1 / 1.01), rel=1e-6)
    assert found.left_mm < 1e-3
    assert not found.is_changed


def test_a_changed_bend_is_left_over_and_called_a_change() -> None:
    found = compare((PLAIN, SURE), (replace(PLAIN, k1=0.02), SURE))
    assert found is not None
    assert 0.3 < found.left_mm < found.moved_mm
    assert found.is_changed
    unsure = compare((PLAIN, 400 * SURE), (replace(PLAIN, k1=0.02), 400 * SURE))
    assert unsure is not None
    assert not unsure.is_changed


def test_millimetres_grow_with_the_height() -> None:
    low = compare((PLAIN, NONE), (replace(PLAIN, k1=0.02), NONE), height_mm=600.0)
    high = compare((PLAIN, NONE), (replace(PLAIN, k1=0.02), NONE), height_mm=1200.0)
    assert low is not None
    assert high is not None
    assert high.left_mm == pytest.approx(2 * low.left_mm, rel=1e-3)


def test_lenses_for_different_sizes_are_not_compared() -> None:
    assert compare((PLAIN, NONE), (Lens(640, 360, 450.0, 450.0, 319.5, 179.5), NONE)) is None


# --- pictures that were turned by half a turn ---

ASIDE = replace(PLAIN, cx_px=648.0, cy_px=352.0, k1=-0.1, p1=4e-4, p2=-3e-4)
KNOWN = np.diag([0.8, 0.8, 1.0, 1.0, 1e-3, 2e-3, 1e-4, 1e-4, 0.0]) ** 2


def test_a_turned_lens_sees_the_turned_picture_of_what_the_lens_sees() -> None:
    """By geometry: half a turn about the axis takes ray (x, y) to (-x, -y) and pixel p to (W - 1, H - 1) - p."""
    rays = np.array([[0.3, 0.1, 1.0], [-0.5, 0.2, 1.0], [0.1, -0.35, 1.0]])
    there = turned(ASIDE).pixels(rays * [-1, -1, 1])
    np.testing.assert_allclose(there, [1279, 719] - ASIDE.pixels(rays), atol=1e-9)


def test_pictures_that_were_turned_are_told_by_centre_and_decentring_and_others_are_not() -> None:
    rng = np.random.default_rng(3)
    lenses = [moved_lens(ASIDE, rng.multivariate_normal(np.zeros(9), KNOWN)) for _ in range(40)]
    straight = [compare((a, KNOWN), (b, KNOWN)) for a, b in pairwise(lenses)]
    upside_down = [compare((a, KNOWN), (turned(b), KNOWN)) for a, b in pairwise(lenses)]
    assert not any(found is None or found.is_turned for found in straight)
    assert sum(found is not None and found.is_turned for found in upside_down) >= 35


def test_where_the_centre_is_in_the_middle_nothing_is_told_of_a_turn() -> None:
    found = compare((PLAIN, KNOWN), (turned(PLAIN), KNOWN))
    assert found is not None
    assert not found.is_turned
    moved = compare((PLAIN, KNOWN), (replace(PLAIN, cx_px=660.0), KNOWN))
    assert moved is not None
    assert not moved.is_turned, "moved, but not to the other side"
