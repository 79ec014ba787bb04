"""Every mount can be printed: watertight for an independent judge, on a bed of 180 mm, of one piece."""

from __future__ import annotations

import numpy as np
import pytest

pytest.importorskip("manifold3d", reason="manifold3d is not installed: pip install '.[hardware]'")
trimesh = pytest.importorskip("trimesh", reason="trimesh is not installed: pip install '.[test]'")

from hardware.draw.mounts import MOUNTS
from hardware.draw.shapes import mesh_of, size_mm

BED_MM = 180.0
MADE = {name: mount.make() for name, mount in MOUNTS.items()}


@pytest.mark.parametrize("name", MOUNTS)
def test_an_independent_library_finds_it_watertight_and_of_the_same_volume(name: str) -> None:
    corners, triangles = mesh_of(MADE[name])
    theirs = trimesh.Trimesh(corners, triangles, process=False)
    assert theirs.is_watertight
    assert theirs.is_winding_consistent
    assert theirs.volume == pytest.approx(MADE[name].volume(), rel=1e-5)
    assert theirs.euler_number == 2 - 2 * MADE[name].genus()
    assert theirs.body_count == 1


@pytest.mark.parametrize("name", MOUNTS)
def test_it_stands_on_the_bed_and_fits_on_it(name: str) -> None:
    assert max(size_mm(MADE[name])) <= BED_MM
    corners, triangles = mesh_of(MADE[name])
    a, b, c = (corners[triangles[:, i]] for i in range(3))
    area = np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2
    on_bed = (corners[triangles][:, :, 2] < 1e-6).all(1)
    assert corners[:, 2].min() == pytest.approx(0, abs=1e-6)
    assert area[on_bed].sum() > 120, "mm² that stick to the bed"


@pytest.mark.parametrize("name", MOUNTS)
def test_little_of_it_hangs_in_the_air(name: str) -> None:
    """Faces that look down by more than 45 degrees are bridges or small: no supports (common practice, no source)."""
    corners, triangles = mesh_of(MADE[name])
    a, b, c = (corners[triangles[:, i]] for i in range(3))
    cross = np.cross(b - a, c - a)
    area = np.linalg.norm(cross, axis=1) / 2
    down = cross[:, 2] / np.maximum(2 * area, 1e-12) < -0.7072
    hanging = down & (corners[triangles][:, :, 2].min(1) > 0.3)
    assert area[hanging].sum() < 0.12 * area.sum(), f"{area[hanging].sum():.0f} mm² of {area.sum():.0f}"


def test_a_rig_needs_a_clamp_for_every_post_and_the_light() -> None:
    heads = sum(MOUNTS[name].count for name in ("head_led", "head_receiver"))
    assert MOUNTS["rim_clamp"].count == heads + MOUNTS["light_arm"].count
    assert MOUNTS["head_lid"].count == heads
