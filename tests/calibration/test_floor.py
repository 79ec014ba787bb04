"""How deep the floor lies: one reading, several, and what is left open."""

from __future__ import annotations

import numpy as np
import pytest

from calibration.errors import CalibrationError
from calibration.floor import SLOPE_MM_PER_M, DepthReading, floor_from

PLACES = np.array([[0.0, 0.0], [1000.0, 0.0], [0.0, 400.0]])


def test_one_reading_counts_for_the_whole_floor_but_its_slope_stays_open() -> None:
    floor = floor_from([DepthReading(100.0)], u_mm=2.0, about_mm=(0, 0))
    np.testing.assert_allclose(floor.depth_mm(PLACES), 100)
    u = np.sqrt(sum(shift[:, 2] ** 2 for shift in floor.shared(PLACES).values()))
    np.testing.assert_allclose(u, [2, np.hypot(2, SLOPE_MM_PER_M), np.hypot(2, 0.4 * SLOPE_MM_PER_M)])


def test_three_readings_find_the_slope() -> None:
    readings = [
        DepthReading(90.0, (0.0, -200.0)),
        DepthReading(110.0, (1000.0, -200.0)),
        DepthReading(100.0, (500.0, 200.0)),
    ]
    floor = floor_from(readings, u_mm=0.1, about_mm=(0, 0))
    np.testing.assert_allclose(floor.depth_mm([[0, 0], [1000, 0]]), [90, 110], atol=0.5)
    single = floor_from(readings[:1], u_mm=0.1, about_mm=(0, 0))
    far = np.array([[1000.0, 200.0]])
    open_then, open_now = (np.abs(f.shared(far)["floor slope along x"][0, 2]) for f in (single, floor))
    assert open_now < 0.1 * open_then


def test_the_parts_make_up_the_least_squares_covariance() -> None:
    """Compared with a thousand floors, read with that much noise (Monte Carlo)."""
    rng = np.random.default_rng(4)
    at = [(0.0, -200.0), (1000.0, -200.0), (500.0, 200.0), (900.0, 150.0)]
    far = np.array([[1400.0, 0.0]])
    off = []
    for _ in range(1000):
        slope = rng.normal(0, SLOPE_MM_PER_M / 1e3, 2)
        readings = [DepthReading(100 + np.array(p) @ slope + rng.normal(0, 1.5), p) for p in at]
        off.append(float(floor_from(readings, u_mm=1.5, about_mm=(0, 0)).depth_mm(far)[0] - 100 - far[0] @ slope))
    shared = floor_from([DepthReading(100.0, p) for p in at], u_mm=1.5, about_mm=(0, 0)).shared(far)
    stated = np.sqrt(sum(shift[0, 2] ** 2 for shift in shared.values()))
    assert np.std(off) == pytest.approx(stated, rel=0.08)  # 3.5 standard deviations of a standard deviation


def test_what_is_wrong_with_readings_is_told_at_once() -> None:
    with pytest.raises(CalibrationError, match="no depth was given; put a ruler into the water"):
        floor_from([], u_mm=1, about_mm=(0, 0))
    with pytest.raises(CalibrationError, match="found -5 mm; a depth above 0") as caught:
        floor_from([DepthReading(-5), DepthReading(90, (0, 0))], u_mm=0, about_mm=(0, 0))
    assert len(caught.value.mistakes) == 3
