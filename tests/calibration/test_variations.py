"""A covariance split into named sources keeps its whole effect."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.lens import Lens, moved_lens
from calibration.variations import Camera, named_sources
from calibration.waterplane import Pose, View, rotation_matrix

LENS = Lens(1280, 720, 950.0, 951.5, 640.5, 360.0, -0.1, 0.02)
VIEW = View(
    LENS, Pose.at(rotation_matrix([math.pi, 0, 0]) @ rotation_matrix([0.05, -0.04, 0.2]), camera_mm=(600, 20, 1200))
)
GRID = np.array([[20.0, 30.0], [640.0, 360.0], [1250.0, 40.0], [900.0, 700.0]])
SCALE = np.array([2e-4, 3e-4, 1e-4, 0.4, 0.3, 0.8])


def moved(change: np.ndarray) -> Camera:
    return VIEW.lens, VIEW.pose.moved(change[:3], change[3:])


def shifts_of(sources: dict[str, Camera] | object, pixels: np.ndarray = GRID) -> np.ndarray:
    here = VIEW.to_plane(pixels)
    return np.array([(View(*camera).to_plane(pixels) - here).ravel() for camera in sources.values()])  # type: ignore[attr-defined]


@given(st.integers(0, 10_000))
def test_the_whole_covariance_on_the_water_is_kept(seed: int) -> None:
    mixed = np.random.default_rng(seed).normal(size=(6, 6)) * SCALE[:, None]
    covariance = mixed @ mixed.T
    jacobian = np.array(
        [
            (View(*moved(step)).to_plane(GRID) - VIEW.to_plane(GRID)).ravel() / np.abs(step).sum()
            for step in np.eye(6) * SCALE / 10
        ]
    ).T
    expected = jacobian @ covariance @ jacobian.T
    shifts = shifts_of(named_sources(VIEW, covariance, prefix="pose", move=moved))
    np.testing.assert_allclose(shifts.T @ shifts, expected, atol=0.01 * np.abs(expected).max())


def test_sources_move_the_water_in_unlike_ways_the_strongest_first() -> None:
    sources = named_sources(VIEW, np.diag(SCALE**2), prefix="pose", move=moved)
    u, v = np.meshgrid(np.linspace(0, 1279, 9), np.linspace(0, 719, 7))
    shifts = shifts_of(sources, np.column_stack([u.ravel(), v.ravel()]))
    together = shifts @ shifts.T
    strength = np.sqrt(np.diag(together))
    assert (np.diff(strength) <= 0).all()
    np.testing.assert_allclose(together / np.outer(strength, strength), np.eye(len(strength)), atol=0.02)


@pytest.mark.parametrize(
    ("index", "word"),
    [(2, "turn"), (3, "place along x"), (4, "place along y"), (5, "scale")],
)
def test_a_source_is_named_after_what_it_does_to_the_map(index: int, word: str) -> None:
    straight = View(LENS, Pose.at(np.diag([1.0, -1, -1]), camera_mm=(0, 0, 1200)))
    covariance = np.zeros((6, 6))
    covariance[index, index] = SCALE[index] ** 2
    sources = named_sources(
        straight, covariance, prefix="pose", move=lambda d: (LENS, straight.pose.moved(d[:3], d[3:]))
    )
    assert list(sources) == [f"pose: {word}"]


def test_a_doubtful_bend_is_called_a_bend() -> None:
    covariance = np.zeros((9, 9))
    covariance[5, 5] = 0.05**2
    sources = named_sources(VIEW, covariance, prefix="lens", move=lambda d: (moved_lens(LENS, d), VIEW.pose))
    assert list(sources) == ["lens: bend"]


def test_two_sources_of_one_kind_get_different_names() -> None:
    covariance = np.diag([0, 0, 0, 0, 0.01, 0.02, 0, 0, 0.03]) ** 2
    sources = named_sources(VIEW, covariance, prefix="lens", move=lambda d: (moved_lens(LENS, d), VIEW.pose))
    assert list(sources) == ["lens: bend", "lens: bend #2", "lens: bend #3"]


def test_no_doubt_is_no_source() -> None:
    assert named_sources(VIEW, np.zeros((6, 6)), prefix="pose", move=moved) == {}


def test_a_doubt_beyond_sight_is_refused() -> None:
    with pytest.raises(ValueError, match="pose: a doubt so large that the camera might not see the water"):
        named_sources(VIEW, np.eye(6), prefix="pose", move=moved)
