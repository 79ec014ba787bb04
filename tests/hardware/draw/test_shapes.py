"""The few shapes are where and as large as they say."""

from __future__ import annotations

import math

import numpy as np
import pytest

pytest.importorskip("manifold3d", reason="manifold3d is not installed: pip install '.[hardware]'")

from hardware.draw.shapes import M4, M6, box, hexagon, laid_down, mesh_of, profile, rod, size_mm, together


@pytest.mark.parametrize("along", ["x", "y", "z"])
def test_a_rod_lies_along_its_axis_at_its_place(along: str) -> None:
    solid = rod(8.0, along=along, at=(10, 20), span=(-3, 30))  # type: ignore[arg-type]
    x0, y0, z0, x1, y1, z1 = solid.bounding_box()
    low, high = {"x": x0, "y": y0, "z": z0}, {"x": x1, "y": y1, "z": z1}
    assert (low[along], high[along]) == pytest.approx((-3, 30))
    middles = [(low[a] + high[a]) / 2 for a in "xyz" if a != along]
    assert middles == pytest.approx([10, 20])
    assert solid.volume() == pytest.approx(math.pi * 16 * 33, rel=2e-3)  # 64 sides


@pytest.mark.parametrize("along", ["x", "y", "z"])
def test_a_nut_is_as_wide_across_flats_as_said(along: str) -> None:
    solid = hexagon(10.0, along=along, at=(0, 0), span=(0, 5))  # type: ignore[arg-type]
    assert solid.volume() == pytest.approx(5 * 10**2 * math.sqrt(3) / 2, rel=1e-6)
    assert min(size_mm(solid)[i] for i in range(3) if "xyz"[i] != along) == pytest.approx(10.0)


def test_a_profile_keeps_its_size_and_loses_its_corners() -> None:
    square = [(0, 0), (10, 0), (10, 10), (0, 10)]
    rounded = profile(square, tall_mm=2, round_mm=2)
    assert size_mm(rounded) == pytest.approx((10, 10, 2), abs=1e-3)
    assert rounded.volume() == pytest.approx(2 * (100 - 4 * (4 - math.pi)), rel=1e-3)


def test_what_overlaps_is_counted_once_and_lies_on_the_bed() -> None:
    solid = laid_down(together([box((0, 0, 5), (2, 2, 7)), box((1, 0, 5), (3, 2, 7))]))
    assert solid.volume() == pytest.approx(12)
    assert solid.bounding_box() == pytest.approx((-1.5, -1, 0, 1.5, 1, 2))


def test_a_mesh_says_the_volume_by_its_triangles() -> None:
    """Gauss: a sixth of the sum of a · (b × c), positive if all triangles face outwards."""
    solid = box((1, 2, 3), (4, 6, 8))
    corners, triangles = mesh_of(solid)
    a, b, c = (corners[triangles[:, i]] for i in range(3))
    assert float((a * np.cross(b, c)).sum() / 6) == pytest.approx(60)


def test_screws_are_those_of_the_standards() -> None:
    """ISO 273 medium holes: M4 4.5, M6 6.6. ISO 4032 nuts: M4 7 wide, 3.2 tall; M6 10 wide, 5.2 tall."""
    assert (M4.hole_mm, M4.nut_flats_mm, M4.nut_tall_mm) == (4.5, 7.0, 3.2)
    assert (M6.hole_mm, M6.nut_flats_mm, M6.nut_tall_mm) == (6.6, 10.0, 5.2)
