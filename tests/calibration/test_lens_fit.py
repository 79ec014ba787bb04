"""A lens from board pictures: the true one where it is known, an independent one where it is not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.board import BoardSeen, Chessboard
from calibration.errors import CalibrationError
from calibration.lens import LENS_PARAMETERS, Lens
from calibration.lens_fit import LensFit, fit_lens
from calibration.waterplane import rotation_matrix
from tests.calibration.board_views import USUAL, WIDE, shown

LENS = Lens(640, 480, 533.0, 534.5, 325.0, 236.0, -0.28, 0.09, 0.001, -0.0005)
CHESS = Chessboard(10, 7, 30.0)
CORNERS = np.array([[30.0 * c, 30.0 * r, 0.0] for r in range(6) for c in range(9)])
POSES = (
    ((0.0, 0.0, 0.02), (-120.0, -75.0, 330.0)),
    ((0.6, 0.0, 0.0), (-170.0, -110.0, 430.0)),
    ((-0.6, 0.1, 0.0), (-80.0, -20.0, 430.0)),
    ((0.1, 0.6, 0.0), (-180.0, -30.0, 420.0)),
    ((0.0, -0.6, 0.1), (-60.0, -110.0, 420.0)),
    ((0.4, 0.4, 0.0), (-200.0, -90.0, 480.0)),
    ((-0.4, 0.3, 0.3), (-50.0, -130.0, 480.0)),
    ((0.3, -0.4, 1.5), (120.0, -140.0, 450.0)),
    ((-0.4, -0.4, 0.0), (-150.0, -60.0, 500.0)),
)


def seen(
    turn: tuple[float, ...], shift: tuple[float, ...], noise_px: np.ndarray | float = 0.0, lens: Lens = LENS
) -> BoardSeen:
    pixels = lens.pixels(CORNERS @ rotation_matrix(turn).T + np.array(shift))
    return BoardSeen(CORNERS, pixels + noise_px, lens.width_px, lens.height_px)


def views(rng: np.random.Generator | None = None, sd_px: float = 0.2) -> dict[str, BoardSeen]:
    noise = [0.0 if rng is None else rng.normal(0, sd_px, (len(CORNERS), 2)) for _ in POSES]
    return {f"view {i}": seen(*pose, n) for i, (pose, n) in enumerate(zip(POSES, noise, strict=True), 1)}


def off_in_u(fit: LensFit) -> np.ndarray:
    """(fitted − true)/u of the eight parameters."""
    names = LENS_PARAMETERS[:8]
    return np.array([(getattr(fit.lens, n) - getattr(LENS, n)) / fit.u[n] for n in names])


def test_corners_without_noise_give_the_lens_back() -> None:
    fit = fit_lens(views())
    for name in LENS_PARAMETERS[:8]:
        assert getattr(fit.lens, name) == pytest.approx(getattr(LENS, name), rel=1e-4, abs=1e-5)
    assert max(fit.rms_px.values()) < 1e-3
    assert fit.covered_share == pytest.approx(0.5, abs=0.1)


def test_photographs_of_a_board_give_the_lens(paint: Callable[..., np.ndarray]) -> None:
    found = {f"photo {i}": CHESS.find(paint(LENS, CHESS, *pose)) for i, pose in enumerate(POSES)}
    assert all(found.values())
    fit = fit_lens(found)
    assert fit.lens.fx_px == pytest.approx(LENS.fx_px, rel=0.001)
    assert fit.lens.fy_px == pytest.approx(LENS.fy_px, rel=0.001)
    assert fit.lens.k1 == pytest.approx(LENS.k1, abs=0.01)
    assert (np.abs(off_in_u(fit)) < 4).all()


def test_over_200_calibrations_95_percent_intervals_hold_the_truth() -> None:
    """Monte Carlo (JCGM 101): with 200 draws a true 95 % shows as 90.4 to 99.6 % (three sigma)."""
    rng = np.random.default_rng(11)
    share = np.mean([np.abs(off_in_u(fit_lens(views(rng)))) < 1.96 for _ in range(200)], axis=0)
    assert share.min() > 0.90
    assert np.mean(share) < 0.99


@pytest.mark.parametrize("lens", [USUAL, WIDE], ids=["usual", "fisheye"])
def test_over_30_sets_of_views_of_the_printed_board_95_percent_intervals_hold_the_truth(lens: Lens) -> None:
    """A small part of tests/bench/lens.py: 210 or 240 intervals, that share a fit by sevens or eights.

    With 30 independent fits a true 95 % shows as 88 % or more (three sigma of their mean, not of the intervals').
    """
    rng = np.random.default_rng(31)
    held = []
    for _ in range(30):
        fit = fit_lens(shown(lens, rng), model=lens.model)
        held += [abs(getattr(fit.lens, n) - getattr(lens, n)) < 1.96 * u for n, u in fit.u.items() if u > 0]
    assert len(held) in {210, 240}
    assert 0.88 < np.mean(held) <= 0.995


def test_errors_common_to_a_picture_widen_the_doubt() -> None:
    """Corners of a picture that err together: the plain covariance would be far too sure."""
    rng = np.random.default_rng(12)
    bent = {}
    for name, view in views(rng, sd_px=0.05).items():
        x, y = (view.points_mm[:, :2] / 120 - 1).T
        bow = np.outer(x * x - y, rng.normal(0, 0.3, 2))
        bent[name] = BoardSeen(view.points_mm, view.pixels + bow, view.width_px, view.height_px)
    fit = fit_lens(bent)
    assert fit.widened > 1.5
    assert (np.abs(off_in_u(fit)) < 4).all()


def test_standard_deviations_are_those_of_opencv() -> None:
    """cv2.calibrateCameraExtended prints one standard deviation per parameter, from the whole normal matrix."""
    found = views(np.random.default_rng(13))
    fit = fit_lens(found)
    points = [v.points_mm.astype(np.float32) for v in found.values()]
    pixels = [v.pixels.astype(np.float32) for v in found.values()]
    result = cv2.calibrateCameraExtended(points, pixels, (640, 480), None, None, flags=cv2.CALIB_FIX_K3)
    theirs = np.asarray(result[5]).ravel()[:8]
    ours = np.array([fit.u[name] for name in LENS_PARAMETERS[:8]]) / fit.widened
    np.testing.assert_allclose(ours, theirs, rtol=0.02)


def test_the_third_radial_term_is_fitted_only_when_asked_for() -> None:
    found = views(np.random.default_rng(14))
    without, with_it = fit_lens(found), fit_lens(found, with_k3=True)
    assert without.lens.k3 == 0 == without.u["k3"]
    assert with_it.u["k3"] > 0
    assert with_it.u["k1"] > without.u["k1"]


def test_real_photographs_agree_with_an_independent_calibration(real_data: Path) -> None:
    """13 photographs, 640 x 480, from the OpenCV sample data (left01 ... left14), of a board with 30 mm squares.

    Their author, J.-Y. Bouguet, published for the same camera, with his own toolbox and 14 views: fc 533.004 533.153,
    cc 341.586 234.259, kc −0.28947 0.10326 0.00103 −0.00029 0 (uncertainties of about three sigma: 1.1 px in fc).
    """
    photos = sorted((real_data / "calibration" / "left").glob("*.jpg"))
    found = {path.name: CHESS.find(cv2.imread(str(path))) for path in photos}
    assert len(found) == 13
    assert all(found.values())
    fit = fit_lens(found)
    assert fit.lens.fx_px == pytest.approx(533.004, rel=0.0035)
    assert fit.lens.fy_px == pytest.approx(533.153, rel=0.0035)
    assert fit.lens.cx_px == pytest.approx(341.586, abs=2)
    assert fit.lens.cy_px == pytest.approx(234.259, abs=2)
    assert fit.lens.k1 == pytest.approx(-0.28947, abs=0.02)
    assert abs(fit.lens.fx_px - 533.004) < 2 * np.hypot(fit.u["fx_px"], 1.08 / 3)
    assert max(fit.rms_px.values()) < 0.4


def test_too_few_pictures_are_refused() -> None:
    few = dict(list(views().items())[:4])
    with pytest.raises(CalibrationError, match="board pictures: 4 different pictures with a board; at least 5"):
        fit_lens(few)


def test_the_same_picture_twice_counts_once() -> None:
    twice = views(np.random.default_rng(15))
    twice["copy"] = twice["view 3"]
    fit = fit_lens(twice)
    assert "copy shows the board where view 3 does; it was left out" in fit.doubts[0]
    assert len(fit.rms_px) == len(POSES)
    five_of_one = {f"copy {i}": twice["view 1"] for i in range(5)}
    with pytest.raises(CalibrationError, match="1 different pictures"):
        fit_lens(five_of_one)


def test_boards_that_all_lean_the_same_way_are_refused() -> None:
    """Head-on pictures fit any focal length: distance and focus cannot be told apart."""
    rng = np.random.default_rng(16)
    flat = {
        f"view {i}": seen((0.01 * i, 0.01, 0.1 * i), (-120.0, -80.0, 380.0 + 40 * i), rng.normal(0, 0.2, (54, 2)))
        for i in range(7)
    }
    with pytest.raises(CalibrationError, match=r"all boards lean the same way .*tilt the board 30 degrees"):
        fit_lens(flat)


def test_pictures_of_two_sizes_are_refused() -> None:
    mixed = views()
    first = mixed["view 1"]
    mixed["view 1"] = BoardSeen(first.points_mm, first.pixels * 2, 1280, 960)
    with pytest.raises(CalibrationError, match=r"different sizes \(640 x 480, 1280 x 960\)"):
        fit_lens(mixed)


def test_a_small_board_in_the_middle_leaves_the_lens_open() -> None:
    rng = np.random.default_rng(17)
    far = {
        f"view {i}": seen(turn, (-120.0, -75.0, 2500.0), rng.normal(0, 0.1, (54, 2)))
        for i, (turn, _) in enumerate(POSES)
    }
    with pytest.raises(CalibrationError, match=r"boards cover only .* of the picture; bring the board nearer"):
        fit_lens(far)


def test_a_lens_that_folds_the_picture_outside_the_boards_is_refused() -> None:
    folded = replace(LENS, k1=-0.6, k2=0.05)
    rng = np.random.default_rng(21)
    inner = {
        f"view {i}": seen(turn, (x, y, 1.4 * z), rng.normal(0, 0.1, (54, 2)), folded)
        for i, (turn, (x, y, z)) in enumerate(POSES)
    }
    with pytest.raises(CalibrationError, match="distortion folds the picture near its corners; show the board there"):
        fit_lens(inner)


def test_a_picture_whose_corners_are_wrong_is_named() -> None:
    found = views(np.random.default_rng(18))
    bad = found["view 4"]
    swapped = bad.pixels.copy()
    swapped[[0, 5, 20]] = swapped[[5, 20, 0]]
    found["view 4"] = BoardSeen(bad.points_mm, swapped, bad.width_px, bad.height_px)
    with pytest.raises(CalibrationError, match=r"view 4: corners are .* px off; leave that picture out"):
        fit_lens(found)


def test_boards_in_one_part_of_the_picture_are_a_doubt_and_boards_all_over_it_are_none() -> None:
    rng = np.random.default_rng(20)
    found = views(rng)
    assert any("outside of it the lens is a guess" in doubt for doubt in fit_lens(found).doubts)
    for i, corner in enumerate([(-230.0, -180.0), (-10, -180.0), (-230.0, 30.0), (-10.0, 30.0)]):
        found[f"corner {i}"] = seen((0.1, 0.1 * i, 0.0), (*corner, 420.0), rng.normal(0, 0.2, (54, 2)))
    assert fit_lens(found).doubts == ()


def test_a_blurred_picture_is_a_doubt() -> None:
    rng = np.random.default_rng(19)
    found = views(rng)
    found["view 2"] = seen(*POSES[1], rng.normal(0, 1.0, (54, 2)))
    assert any(doubt.startswith("view 2: corners are 1.") for doubt in fit_lens(found).doubts)
