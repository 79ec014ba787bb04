"""The doubt in a camera.toml becomes named sources that move the water as they should."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from calibration.files import load_lens, load_view
from tests.calibration.camera_file import GRID, SMALLEST, mistakes_of, written


def test_single_uncertainties_become_named_sources(tmp_path: Path) -> None:
    text = SMALLEST.replace("fx_px = 950", "fx_px = 950\nu_fx_px = 2.0") + "u_camera_height_mm = 3\nu_tilt_deg = 0.1\n"
    view = load_view(written(tmp_path, text))
    assert set(view.variations) == {
        "lens: focal length along the rows",
        "camera height",
        "camera tilt about x",
        "camera tilt about y",
    }
    assert view.variations["lens: focal length along the rows"][0].fx_px == 952
    np.testing.assert_allclose(view.variations["camera height"][1].camera_mm, [600, 20, 1203])


def test_camera_height_off_by_three_in_1200_makes_the_map_a_quarter_percent_larger(tmp_path: Path) -> None:
    view = load_view(written(tmp_path, SMALLEST + "u_camera_height_mm = 3\n"))
    foot = view.pose.camera_mm[:2]
    higher = view.varied()["camera height"].to_plane(GRID) - foot
    np.testing.assert_allclose(higher, (view.to_plane(GRID) - foot) * (1 + 3 / 1200), atol=1e-9)


def test_tilt_about_x_moves_the_picture_across_the_run(tmp_path: Path) -> None:
    view = load_view(written(tmp_path, SMALLEST + "u_tilt_deg = 0.1\n"))
    shift = view.varied()["camera tilt about x"].to_plane([[640.5, 360]]) - view.to_plane([[640.5, 360]])
    # right-handed about +x: what the camera sees below it swings towards +y
    np.testing.assert_allclose(shift, [[0, 1200 * math.tan(math.radians(0.1))]], atol=1e-6)


def test_a_doubt_of_ones_own_moves_lens_and_pose_together(tmp_path: Path) -> None:
    text = SMALLEST.replace(
        "[pose]", '[[doubt]]\nname = "cup moved"\nlens = {fx_px = 1.5}\nshift_mm = [0, 0, 2]\n[pose]'
    )
    lens, pose = load_view(written(tmp_path, text)).variations["cup moved"]
    assert lens.fx_px == 951.5
    np.testing.assert_allclose(pose.camera_mm, [600, 20, 1202])


def test_an_uncertainty_of_zero_is_no_source(tmp_path: Path) -> None:
    assert dict(load_view(written(tmp_path, SMALLEST + "u_turn_deg = 0\n")).variations) == {}


def test_sources_of_a_covariance_are_named_after_what_the_map_does(tmp_path: Path) -> None:
    covariance = np.diag([0, 0, 0, 1.0, 0, 9.0])
    view = load_view(written(tmp_path, SMALLEST + f"covariance = {covariance.tolist()}\n"))
    assert set(view.variations) == {"camera pose: place along x", "camera pose: scale"}


def test_single_uncertainties_of_a_lens_are_a_diagonal_covariance(tmp_path: Path) -> None:
    path = written(tmp_path, SMALLEST.replace("fx_px = 950", "fx_px = 950\nu_fx_px = 2\nu_k1 = 0.01"))
    assert np.flatnonzero(load_lens(path)[1]).tolist() == [0, 40]
    np.testing.assert_allclose(np.diag(load_lens(path)[1])[[0, 4]], [4, 1e-4])


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda c: c * np.array([1, 1, 1, 1, 1, -1]), "a negative variance"),
        (lambda c: c + np.eye(6, k=1), "unlike halves"),
        (lambda c: c + 2 * (np.eye(6, k=1) + np.eye(6, k=-1)), "correlations that cannot be"),
    ],
)
def test_a_matrix_that_is_no_covariance_is_refused(tmp_path: Path, change, told: str) -> None:
    matrix = change(np.eye(6)).tolist()
    assert told in mistakes_of(tmp_path, SMALLEST + f"covariance = {matrix}\n")[0]


@pytest.mark.parametrize("doubt", ["u_tilt_deg = 91", f"covariance = {np.eye(6).tolist()}"])
def test_a_doubt_so_large_that_the_water_is_out_of_sight_is_refused(tmp_path: Path, doubt: str) -> None:
    assert "camera might not see the water" in mistakes_of(tmp_path, SMALLEST + doubt + "\n")[0]


def test_doubt_told_twice_is_refused(tmp_path: Path) -> None:
    text = SMALLEST + f"u_turn_deg = 0.1\ncovariance = {(np.eye(6) * 1e-8).tolist()}\n"
    assert "one of the two" in mistakes_of(tmp_path, text)[0]
