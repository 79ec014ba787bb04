"""What a changed lens does on the water, against sums that can be done by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calibration.lens import Lens
from calibration.lens_compare import compare
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
