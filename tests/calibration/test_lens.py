"""Pixel <-> ray: against OpenCV's own projection, and there and back."""

from __future__ import annotations

import cv2
import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from calibration.lens import Lens

WIDE = Lens(1280, 720, 940.0, 943.0, 652.0, 349.0, -0.28, 0.10, 0.001, -0.0008, -0.01)
FOLDED = Lens(1280, 720, 940.0, 940.0, 640.0, 360.0, k1=-0.9)
STRAIGHT = Lens(640, 480, 500.0, 500.0, 319.5, 239.5)


def lenses(*, least_k2: float) -> st.SearchStrategy[Lens]:
    """Wide and narrow lenses, barrel and pincushion. With k2 of 0.03 or more none of them folds.

    Along a radius the picture's slope is 1 + 3·k1·r² + 5·k2·r⁴ + ..., which stays above 0 if 9·k1² < 20·k2; tangential
    terms take a little of that.
    """
    return st.builds(
        Lens,
        st.just(1280),
        st.just(720),
        st.floats(800, 1500),
        st.floats(800, 1500),
        st.floats(600, 680),
        st.floats(330, 390),
        st.floats(-0.2, 0.2),
        st.floats(least_k2, 0.1),
        st.floats(-0.002, 0.002),
        st.floats(-0.002, 0.002),
        st.floats(0.0, 0.02),
    )


def points_before(lens: Lens, seed: int = 3) -> np.ndarray:
    """Points (200, 3) mm in the camera frame that fall all over the picture."""
    rng = np.random.default_rng(seed)
    slopes = rng.uniform([-0.6, -0.35], [0.6, 0.35], (200, 2))
    return np.column_stack([slopes, np.ones(200)]) * rng.uniform(300, 2000, (200, 1))


@given(lenses(least_k2=-0.05))
def test_pixels_are_those_of_opencv(lens: Lens) -> None:
    """cv2.projectPoints, an independent implementation of the same model."""
    points = points_before(lens)
    theirs, _ = cv2.projectPoints(points, np.zeros(3), np.zeros(3), lens.matrix, lens.distortion)
    np.testing.assert_allclose(lens.pixels(points), theirs.reshape(-1, 2), atol=1e-9)


@given(lenses(least_k2=0.03))
def test_a_pixel_goes_to_its_ray_and_back(lens: Lens) -> None:
    assert lens.is_one_to_one()
    pixels = np.random.default_rng(1).uniform([0, 0], [1279, 719], (50, 2))
    np.testing.assert_allclose(lens.pixels(lens.rays(pixels)), pixels, atol=1e-6)


def test_without_distortion_the_ray_is_seen_by_eye() -> None:
    np.testing.assert_allclose(STRAIGHT.rays([[319.5, 239.5], [819.5, 239.5]]), [[0, 0, 1], [1, 0, 1]], atol=1e-12)


@given(lenses(least_k2=-0.05))
def test_the_jacobian_is_that_of_opencv(lens: Lens) -> None:
    """cv2.projectPoints gives d(u, v)/d(translation); at depth 1 that is d(u, v)/d(x, y) of the ray."""
    rays = np.array([[0.1, -0.2, 1.0], [0.4, 0.3, 1.0], [-0.5, 0.05, 1.0]])
    theirs = cv2.projectPoints(rays, np.zeros(3), np.zeros(3), lens.matrix, lens.distortion)[1]
    np.testing.assert_allclose(lens.jacobian(rays), theirs[:, 3:5].reshape(3, 2, 2), atol=1e-8 * lens.fx_px)


def test_a_distortion_that_folds_the_picture_is_noticed() -> None:
    assert WIDE.is_one_to_one()
    assert not FOLDED.is_one_to_one()


def test_a_folded_lens_gives_rays_that_lead_to_other_pixels() -> None:
    """Which is why it must be refused: nothing else would tell that a position is wrong."""
    corner = [[0.0, 0.0]]
    assert np.abs(FOLDED.pixels(FOLDED.rays(corner)) - corner).max() > 10


# --- the fisheye ---

FISH = Lens(1280, 720, 620.0, 622.0, 645.0, 352.0, k1=-0.03, k2=0.006, k3=-0.002, model="fisheye")


def fishes() -> st.SearchStrategy[Lens]:
    wide = [st.floats(500, 800), st.floats(500, 800), st.floats(600, 680), st.floats(330, 390)]
    bends = {"k1": st.floats(-0.05, 0.1), "k2": st.floats(-0.01, 0.01), "k3": st.floats(0, 0.005)}
    return st.builds(Lens, st.just(1280), st.just(720), *wide, **bends, model=st.just("fisheye"))


def as_opencv(lens: Lens) -> np.ndarray:
    return np.array([lens.k1, lens.k2, lens.k3, 0.0])


@given(fishes())
def test_pixels_of_a_fisheye_are_those_of_opencv(lens: Lens) -> None:
    """cv2.fisheye.projectPoints, with its fourth term 0, and its derivatives by the translation at depth 1."""
    points = np.column_stack([np.random.default_rng(4).uniform(-3, 3, (100, 2)), np.ones(100)])
    theirs, slopes = cv2.fisheye.projectPoints(
        points.reshape(-1, 1, 3), np.zeros(3), np.zeros(3), lens.matrix, as_opencv(lens)
    )
    np.testing.assert_allclose(lens.pixels(points), theirs.reshape(-1, 2), atol=1e-8)
    np.testing.assert_allclose(lens.jacobian(points), slopes[:, 11:13].reshape(-1, 2, 2), atol=1e-6)


@given(fishes())
def test_a_pixel_goes_to_its_ray_and_back_in_a_fisheye(lens: Lens) -> None:
    pixels = np.random.default_rng(1).uniform([0, 0], [1279, 719], (50, 2))
    seen = np.hypot(*((pixels - (lens.cx_px, lens.cy_px)) / (lens.fx_px, lens.fy_px)).T)
    inner = pixels[seen < 1.2]
    np.testing.assert_allclose(lens.pixels(lens.rays(inner)), inner, atol=1e-6)


def test_the_axis_of_a_fisheye_is_its_middle() -> None:
    axis = np.array([[0.0, 0.0, 1.0]])
    np.testing.assert_allclose(FISH.pixels(axis), [[645.0, 352.0]])
    np.testing.assert_allclose(FISH.rays([[645.0, 352.0]]), axis)
    np.testing.assert_allclose(FISH.jacobian(axis), [[[620.0, 0.0], [0.0, 622.0]]])
    assert FISH.is_one_to_one()


def test_a_fisheye_whose_corners_look_behind_it_is_noticed() -> None:
    assert not Lens(1280, 720, 400.0, 400.0, 640.0, 360.0, model="fisheye").is_one_to_one()
