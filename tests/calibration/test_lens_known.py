"""The lens of any calibration file, with all its doubt."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from calibration.errors import CalibrationError
from calibration.files import write_lens, write_view
from calibration.lens import Lens
from calibration.lens_known import known_lens, states_doubt
from calibration.plane_fit import MarksSeen, fit_plane
from calibration.waterplane import Pose, View, rotation_matrix

LENS = Lens(1280, 720, 940.0, 943.0, 652.0, 349.0, -0.12, 0.03, 0.0005, -0.0004)
COVARIANCE = np.diag([2.0, 2, 1, 1, 0.003, 0.004, 1e-4, 1e-4, 0]) ** 2
VIEW = View(LENS, Pose.at(rotation_matrix([math.pi, 0.05, 0]), camera_mm=(600.0, 20.0, 1200.0)))
RIM = np.array([[0.0, 250, 40], [1200, 250, 40], [1200, -250, 45], [0, -250, 40], [600, 250, 42], [600, -250, 40]])


def test_a_lens_without_a_pose_is_read_as_it_was_written(tmp_path: Path) -> None:
    write_lens(tmp_path / "lens.toml", LENS, COVARIANCE)
    lens, covariance = known_lens(tmp_path / "lens.toml")
    assert lens == LENS
    np.testing.assert_allclose(covariance, COVARIANCE)


def test_out_of_a_plane_comes_the_lens_with_the_doubt_that_went_in(tmp_path: Path) -> None:
    fit = fit_plane(LENS, VIEW.pose, marks=[MarksSeen(RIM, VIEW.to_pixels(RIM))], lens_covariance=COVARIANCE)
    write_view(tmp_path / "camera.toml", fit.view)
    lens, covariance = known_lens(tmp_path / "camera.toml")
    assert lens == LENS
    np.testing.assert_allclose(np.sqrt(np.diag(covariance))[:6], np.sqrt(np.diag(COVARIANCE))[:6], rtol=0.05)


def test_a_lens_that_does_not_say_how_well_it_is_known_is_refused() -> None:
    states_doubt(COVARIANCE, place="lens.toml")
    with pytest.raises(CalibrationError, match=r"lens\.toml: its lens does not say how well it is known; calibrate"):
        states_doubt(np.zeros((9, 9)), place="lens.toml")
