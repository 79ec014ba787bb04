"""The joint fit: exact without noise, in agreement with another fit, and honest about every cause of doubt."""

from __future__ import annotations

import math

import numpy as np
import pytest

from calibration.lens import Lens
from calibration.plane_fit import BoardSeenAfloat, MarksSeen, fit_plane, turned
from calibration.pose_fit import fit_pose
from calibration.waterplane import Pose, View, rotation_matrix
from tests.calibration import plane_tank

LENS = Lens(1280, 720, 940.0, 943.0, 652.0, 349.0, -0.12, 0.03, 0.0005, -0.0004)
DOWN = rotation_matrix([math.pi, 0, 0])
TRUE = View(LENS, Pose.at(rotation_matrix([0.05, -0.04, 0]) @ DOWN, camera_mm=(600.0, 20.0, 1200.0)))
START = TRUE.pose.moved([0.02, -0.01, 0.01], [8, -5, 20])
RIM = np.array([[0.0, 250, 40], [1200, 250, 40], [1200, -250, 45], [0, -250, 40], [600, 250, 42], [600, -250, 40]])
FLOOR = np.array([[x, y, -100.0] for x in (100, 450, 800, 1100) for y in (-200, 0, 200)])
BOARD = np.array([[30.0 * x, 30.0 * y, 4.0] for x in range(7) for y in range(5)])
PLACES = np.array([[100.0, 100], [1200, 100], [640, 360], [300, 600]])
DEEPER = np.tile([0.0, 0.0, -2.0], (len(FLOOR), 1))


def over(fit_view: View) -> np.ndarray:
    return fit_view.to_plane(PLACES) - TRUE.to_plane(PLACES)


@pytest.mark.parametrize(
    "marks",
    [
        MarksSeen(RIM, TRUE.to_pixels(RIM)),
        MarksSeen(FLOOR, TRUE.to_pixels(FLOOR)),
        MarksSeen(FLOOR, TRUE.to_pixels_through_water(FLOOR), is_wet=True),
        MarksSeen(FLOOR, TRUE.to_pixels(FLOOR), again_px=TRUE.to_pixels_through_water(FLOOR)),
    ],
)
def test_marks_without_noise_give_the_camera_back(marks: MarksSeen) -> None:
    fit = fit_plane(LENS, START, marks=[marks])
    np.testing.assert_allclose(over(fit.view), 0, atol=0.01)
    assert fit.rms_px < 0.01
    assert fit.doubts == ()


def test_floating_boards_and_two_marks_give_the_camera_back() -> None:
    at = [(150.0, 80.0, 0.3), (900.0, -100.0, 2.0), (500.0, 60.0, -1.0)]
    boards = [BoardSeenAfloat(BOARD, TRUE.to_pixels(turned(BOARD, place))) for place in at]
    two = RIM[:2]
    near = [(x + 5, y - 5, turn + 0.02) for x, y, turn in at]
    fit = fit_plane(LENS, START, marks=[MarksSeen(two, TRUE.to_pixels(two))], boards=boards, boards_at=near)
    np.testing.assert_allclose(over(fit.view), 0, atol=0.02)
    np.testing.assert_allclose(fit.boards_at, at, atol=0.02)


def test_marks_alone_agree_with_the_fit_of_the_pose() -> None:
    """The same answer and the same covariance as pose_fit.py, which is written and tested for itself."""
    rng = np.random.default_rng(3)
    pixels = TRUE.to_pixels(RIM) + rng.normal(0, 0.3, (len(RIM), 2))
    joint = fit_plane(LENS, START, marks=[MarksSeen(RIM, pixels, 0.3, 0.7)])
    alone = fit_pose(LENS, RIM, pixels, u_px=0.3, u_mark_mm=0.7)
    np.testing.assert_allclose(joint.view.to_plane(PLACES), alone.view.to_plane(PLACES), atol=0.02)
    u = [np.sqrt(sum(s**2 for s in fit.view.shifts_mm(PLACES).values())) for fit in (joint, alone)]
    np.testing.assert_allclose(u[0], u[1], rtol=0.02)


def test_a_dry_floor_knows_the_water_no_better_than_the_ruler_does() -> None:
    fit = fit_plane(LENS, START, marks=[MarksSeen(FLOOR, TRUE.to_pixels(FLOOR), shared={"water depth": DEEPER})])
    assert fit.learnt["water depth"].u_off == pytest.approx(1, abs=1e-3)
    # with water 2 mm deeper than thought it is 2 mm nearer to the lens: all distances on it are smaller by dH/H
    shift = fit.view.shifts_mm(PLACES)["water depth"]
    there = TRUE.to_plane(PLACES)
    np.testing.assert_allclose(shift, (TRUE.pose.camera_mm[:2] - there) * 2 / 1200, rtol=0.02, atol=0.01)


def test_seen_dry_and_then_through_water_the_floor_tells_the_depth() -> None:
    """Snell's law alone: the ruler said 100 mm, there are 94."""
    deep = FLOOR * [1, 1, 0.94]
    said = MarksSeen(
        FLOOR, TRUE.to_pixels(deep), u_px=0.1, u_mm=0.2, again_px=TRUE.to_pixels_through_water(deep),
        shared={"water depth": DEEPER},
    )  # fmt: skip
    learnt = fit_plane(LENS, START, marks=[said]).learnt["water depth"]
    assert learnt.u_off < 0.35
    assert learnt.off == pytest.approx(-3, abs=0.4)  # of 2 mm each
    assert abs(learnt.pull) > 2.5


def test_a_shared_doubt_that_the_pictures_contradict_is_told() -> None:
    deep = FLOOR * [1, 1, 0.85]
    said = MarksSeen(
        FLOOR, TRUE.to_pixels(deep), u_px=0.1, u_mm=0.2, again_px=TRUE.to_pixels_through_water(deep),
        shared={"water depth": DEEPER},
    )  # fmt: skip
    fit = fit_plane(LENS, START, marks=[said])
    assert any(words.startswith("water depth: the pictures say") for words in fit.doubts)


def test_what_the_pictures_deny_is_doubted_as_widely_as_it_is_off() -> None:
    """Water 8 mm deeper than the ruler's 2 mm of doubt allow: its share of the doubt doubles, the others stay."""
    shares = []
    for deeper_mm in (0.0, 8.0):
        true = FLOOR - [0, 0, deeper_mm]
        marks = MarksSeen(
            FLOOR, TRUE.to_pixels(true), 0.1, 0.1, again_px=TRUE.to_pixels_through_water(true),
            shared={"water depth": DEEPER},
        )  # fmt: skip
        fit = fit_plane(LENS, START, marks=[marks])
        shares.append(np.linalg.norm(fit.view.shifts_mm(PLACES)["water depth"]))
    pull = abs(fit.learnt["water depth"].pull)
    assert pull == pytest.approx(4, rel=0.1)
    assert shares[1] / shares[0] == pytest.approx(pull / 2, rel=0.05)
    assert any("its doubt was widened" in words for words in fit.doubts)


def test_points_worse_than_stated_widen_the_doubt() -> None:
    pixels = TRUE.to_pixels(RIM) + np.random.default_rng(2).normal(0, 2.0, (len(RIM), 2))
    fit = fit_plane(LENS, START, marks=[MarksSeen(RIM, pixels, 0.3, 0.2)])
    honest = fit_plane(LENS, START, marks=[MarksSeen(RIM, pixels, 2.0, 0.2)])
    assert "what was seen disagrees" in fit.doubts[0]
    mine, its = (sum(np.sum(s**2) for s in f.view.shifts_mm(PLACES).values()) for f in (fit, honest))
    assert 0.4 < math.sqrt(mine / its) < 2.5


def test_residuals_that_the_lens_explains_are_not_held_against_the_marks() -> None:
    """A lens that is off by what its covariance says is no disagreement of the marks."""
    wrong = Lens(1280, 720, 946.0, 949.0, 655.0, 345.0, -0.12, 0.03, 0.0005, -0.0004)
    covariance = np.diag([5.0, 5, 4, 4, 0, 0, 0, 0, 0]) ** 2
    marks = MarksSeen(RIM, TRUE.to_pixels(RIM), 0.05, 0.05)
    without = fit_plane(wrong, START, marks=[marks])
    with_it = fit_plane(wrong, START, marks=[marks], lens_covariance=covariance)
    assert with_it.misfit < 0.5 * without.misfit
    assert any(name.startswith("lens: ") for name in with_it.view.variations)


def test_the_truth_lies_within_what_is_stated() -> None:
    """Monte Carlo (JCGM 101), every way alike; `python -m tests.bench.plane` does it with hundreds."""
    rng = np.random.default_rng(11)
    held: list[np.ndarray] = []
    for number in range(40):
        one = plane_tank.tank(rng)
        fit = plane_tank.calibrated(plane_tank.WAYS[number % len(plane_tank.WAYS)], one, rng)
        off, u = plane_tank.errors_mm(fit, one)
        held.append(np.abs(off) <= 1.96 * u)
    assert 0.90 < np.mean(held) < 0.99
