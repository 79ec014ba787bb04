"""A known length shows what no residual shows, and its ratio betrays the mistake."""

from __future__ import annotations

import math

import numpy as np
import pytest

from calibration.floor import DepthReading, floor_from
from calibration.length_check import KnownLength, check_length, is_long_enough, likely_mistakes, scale_words
from calibration.lens import Lens
from calibration.plane import PlacedMark, floor_seen, plane_from, rim_seen
from calibration.plane_fit import PlaneFit
from calibration.waterplane import Pose, View, rotation_matrix

LENS = Lens(1280, 720, 940.0, 943.0, 652.0, 349.0, -0.12, 0.03, 0.0005, -0.0004)
DOWN = rotation_matrix([math.pi, 0, 0])
TRUE = View(LENS, Pose.at(rotation_matrix([0.05, -0.04, 0]) @ DOWN, camera_mm=(600.0, 20.0, 1200.0)))
GRID = np.array([[x, y] for x in (100, 450, 800, 1100) for y in (-200, 0, 200)], np.float64)
DEPTH_MM = 100.0
FLOOR = np.column_stack([GRID, np.full(len(GRID), -DEPTH_MM)])
NAMES = [str(n) for n in range(len(GRID))]


def ruler(view: View = TRUE) -> KnownLength:
    """A metre on the water, as a person points at its ends."""
    a, b = view.to_pixels([[100.0, 10, 0], [1100.0, 10, 0]]).tolist()
    return KnownLength((a[0], a[1]), (b[0], b[1]), 1000.0)


def taken_for_the_surface(pixels: np.ndarray) -> PlaneFit:
    marks = [
        PlacedMark(n, *place, 0.0, pixel=tuple(px))
        for n, place, px in zip(NAMES, GRID.tolist(), pixels.tolist(), strict=True)
    ]
    return plane_from(rim_seen(marks, {}), LENS)


def as_floor(depth_mm: float, **seen: np.ndarray) -> PlaneFit:
    floor = floor_from([DepthReading(depth_mm)], u_mm=2.0, about_mm=(600, 0))
    return plane_from(floor_seen(GRID, NAMES, floor, **seen), LENS)


def test_a_right_plane_agrees_with_the_ruler() -> None:
    fit = as_floor(DEPTH_MM, filled_px=TRUE.to_pixels_through_water(FLOOR))
    check = check_length(fit.view, ruler())
    assert check.agreement.agrees
    assert check.ratio == pytest.approx(1, abs=2e-3)
    assert check.told().endswith("within what both allow")
    assert scale_words([check], "floor", height_mm=1200, depth_mm=DEPTH_MM) == []


@pytest.mark.parametrize(("wet", "percent"), [(True, 6.25), (False, 8.33)])
def test_a_floor_grid_taken_for_the_surface_is_noticed_and_named(wet: bool, percent: float) -> None:
    """d / (n·H) through water, d / H when it is dry: 100 mm below a lens at 1200 mm."""
    pixels = TRUE.to_pixels_through_water(FLOOR) if wet else TRUE.to_pixels(FLOOR)
    fit = taken_for_the_surface(pixels)
    assert fit.rms_px < 0.5  # nothing is to be seen in the residuals
    check = check_length(fit.view, ruler())
    assert 100 * (check.ratio - 1) == pytest.approx(percent, abs=0.4)
    (told,) = scale_words([check], "rim", height_mm=1200, depth_mm=DEPTH_MM)
    assert f"{check.ratio - 1:+.1%}: they do not agree" in told
    assert "the marks lie on the floor and were taken to be at the surface: give them as a grid on the floor" in told


@pytest.mark.parametrize(
    ("fit", "told"),
    [
        (as_floor(DEPTH_MM, dry_px=TRUE.to_pixels_through_water(FLOOR)), "through water was given as one of the dry"),
        (as_floor(DEPTH_MM, filled_px=TRUE.to_pixels(FLOOR)), "of the dry tank was given as one taken through water"),
        (as_floor(60.0, dry_px=TRUE.to_pixels(FLOOR)), "the water is not 60 mm deep, but 100 to 11"),
        (as_floor(60.0, filled_px=TRUE.to_pixels_through_water(FLOOR)), "the water is not 60 mm deep, but 89 to 99"),
    ],
)
def test_other_mistakes_with_the_floor_have_ratios_of_their_own(fit: PlaneFit, told: str) -> None:
    check = check_length(fit.view, ruler())
    assert not check.agreement.agrees
    depth = 60.0 if "60" in told else DEPTH_MM
    assert told in " / ".join(likely_mistakes(check, "floor", height_mm=1200, depth_mm=depth))


def stretched(factor: float) -> View:
    """The plane as a board with squares too small by `factor` would have it."""
    return View(LENS, Pose.at(TRUE.pose.rotation, camera_mm=TRUE.pose.camera_mm * factor))


@pytest.mark.parametrize(
    ("factor", "told"),
    [
        (1 / 0.97, "printed at 97 %"),
        (0.1, "lengths were given in cm"),
        (25.4, "in inches"),
        (10.0, "in mm where centimetres"),
    ],
)
def test_a_print_or_a_unit_that_is_wrong_is_named(factor: float, told: str) -> None:
    check = check_length(stretched(factor), ruler())
    assert check.ratio == pytest.approx(factor, rel=1e-6)
    (words,) = scale_words([check], "board", height_mm=1200 * factor, depth_mm=None)
    assert told in words


def test_marks_whose_height_was_forgotten_are_told_with_it() -> None:
    """Marks 45 mm above the water taken to be at it: the lens seems 1155 mm from the water that is 1200 mm away."""
    check = check_length(stretched(1155 / 1200), ruler())
    (words,) = scale_words([check], "rim", height_mm=1155, depth_mm=None)
    assert "the marks stand about 45 mm higher above the water than was given" in words


def test_a_ratio_that_nothing_explains_says_what_to_measure_again() -> None:
    check = check_length(stretched(1.2), ruler())
    (words,) = scale_words([check], "rim", height_mm=1440, depth_mm=None)
    assert words.endswith("measure that length, the marks and the squares of the board again, in mm")


def test_the_doubt_of_the_check_is_that_of_plane_pointing_and_ruler() -> None:
    """By hand: 1 px at each end, 1.28 mm wide in the middle: 1.8 mm; the ruler 1 mm."""
    check = check_length(TRUE, ruler())
    by_pixel = TRUE.plane_covariance([ruler().a_px, ruler().b_px], np.eye(2))[:, 0, 0]
    assert check.agreement.difference.u == pytest.approx(math.sqrt(float(by_pixel.sum()) + 1), rel=0.02)


def test_the_ends_of_a_known_length_are_two_points() -> None:
    with pytest.raises(ValueError, match="are not two points on the water"):
        check_length(TRUE, KnownLength((100, 100), (100, 100), 1000))


def test_a_short_ruler_says_little() -> None:
    assert is_long_enough(ruler(), area_length_mm=1500)
    assert not is_long_enough(KnownLength((0, 0), (9, 9), 100), area_length_mm=1500)
