"""Where to begin, and what is told when marks cannot be what they are said to be."""

from __future__ import annotations

import math

import numpy as np
import pytest

from calibration.errors import CalibrationError
from calibration.lens import Lens
from calibration.plane_fit import BoardSeenAfloat, MarksSeen, turned
from calibration.plane_start import start_from_boards, start_from_marks
from calibration.waterplane import Pose, View, rotation_matrix

LENS = Lens(1280, 720, 940.0, 943.0, 652.0, 349.0, -0.12, 0.03, 0.0005, -0.0004)
DOWN = rotation_matrix([math.pi, 0, 0])
TRUE = View(LENS, Pose.at(rotation_matrix([0.05, -0.04, 0]) @ DOWN, camera_mm=(600.0, 20.0, 1200.0)))
CORNERS = np.array([[0.0, -250, 40], [1200, -250, 40], [1200, 250, 40], [0, 250, 40]])
RIM = np.concatenate([CORNERS, [[400.0, 250, 40], [300, -250, 40]]])
FLOOR = np.array([[x, y, -100.0] for x in (100, 450, 1100) for y in (-200, 0, 170)])
BOARD = np.array([[33.0 * x, 33.0 * y, 4.0] for x in range(5) for y in range(4)])
AT = [(150.0, 80.0, 0.3), (900.0, -100.0, 2.0), (500.0, 60.0, -1.0)]


def boards(scale: float = 1.0) -> list[BoardSeenAfloat]:
    return [BoardSeenAfloat(BOARD / [scale, scale, 1], TRUE.to_pixels(turned(BOARD, at))) for at in AT]


def two_marks() -> list[MarksSeen]:
    ends = CORNERS[[0, 1]]
    return [MarksSeen(ends, TRUE.to_pixels(ends))]


@pytest.mark.parametrize("is_wet", [False, True])
def test_a_floor_is_found_dry_and_through_water(is_wet: bool) -> None:
    pixels = TRUE.to_pixels_through_water(FLOOR) if is_wet else TRUE.to_pixels(FLOOR)
    start = start_from_marks(LENS, MarksSeen(FLOOR, pixels, is_wet=is_wet), place="marks")
    np.testing.assert_allclose(start.pose.camera_mm, TRUE.pose.camera_mm, atol=0.5)


def test_boards_and_two_marks_say_where_the_camera_is() -> None:
    start = start_from_boards(LENS, boards(), two_marks(), place="board")
    np.testing.assert_allclose(start.pose.camera_mm, TRUE.pose.camera_mm, atol=3)
    np.testing.assert_allclose(start.boards_at, AT, atol=3)


@pytest.mark.parametrize("places", [RIM * [1, -1, 1], RIM * [-1, 1, 1], RIM[:, [1, 0, 2]]])
def test_an_axis_the_wrong_way_round_is_told(places: np.ndarray) -> None:
    """All three are mirror images, and a mirror image fits no camera above the water."""
    with pytest.raises(CalibrationError, match="the places are mirrored: they would fit with y counted the other way"):
        start_from_marks(LENS, MarksSeen(places, TRUE.to_pixels(RIM)), place="marks")


def test_of_six_marks_two_that_were_exchanged_are_told() -> None:
    skew = RIM + np.array([[0, 0, 0], [0, 0, 0], [0, -60, 0], [30, 0, 0], [0, 0, 0], [0, 0, 0]])
    with pytest.raises(CalibrationError, match="belonged to the places 1, 2, 5, 4, 3, 6"):
        start_from_marks(LENS, MarksSeen(skew, TRUE.to_pixels(skew[[0, 1, 4, 3, 2, 5]])), place="marks")


def test_of_six_marks_a_list_that_begins_elsewhere_is_told() -> None:
    skew = RIM + np.array([[0, 0, 0], [0, 0, 0], [0, -60, 0], [30, 0, 0], [0, 0, 0], [0, 0, 0]])
    with pytest.raises(CalibrationError, match="belonged to the places 3, 4, 5, 6, 1, 2"):
        start_from_marks(LENS, MarksSeen(skew, TRUE.to_pixels(np.roll(skew, -2, axis=0))), place="marks")


def test_corners_typed_in_another_order_are_told_the_right_one() -> None:
    """Of four corners every order is tried: here the second and the third were exchanged."""
    skew = CORNERS + np.array([[0, 0, 0], [0, 0, 0], [0, -60, 0], [30, 0, 0]])
    with pytest.raises(CalibrationError, match="belonged to the places 1, 3, 2, 4"):
        start_from_marks(LENS, MarksSeen(skew, TRUE.to_pixels(skew[[0, 2, 1, 3]])), place="marks")


def test_marks_on_one_line_are_refused() -> None:
    line = np.column_stack([np.linspace(0, 1200, 6), np.zeros(6), np.full(6, 40.0)])
    with pytest.raises(CalibrationError, match="the places of all marks lie on one line; put some to the side"):
        start_from_marks(LENS, MarksSeen(line, TRUE.to_pixels(line)), place="marks")


def test_a_depth_in_the_wrong_unit_drowns_the_camera() -> None:
    deep = FLOOR * [1, 1, 15]
    with pytest.raises(CalibrationError, match=r"the water would be \d+ mm above the camera; check the depth"):
        start_from_marks(LENS, MarksSeen(deep, TRUE.to_pixels(FLOOR)), place="marks")


def test_squares_in_centimetres_are_noticed() -> None:
    with pytest.raises(CalibrationError, match="given as centimetres for millimetres"):
        start_from_boards(LENS, boards(10.0), two_marks(), place="board")


def test_a_board_printed_at_97_percent_is_noticed_by_two_marks() -> None:
    """Its squares are smaller than they are said to be, so it finds everything 3 % too large."""
    with pytest.raises(
        CalibrationError,
        match=r"1200 mm apart by their places and 123\d mm by the board \(\+3\.\d%\); was it printed at 97 %",
    ):
        start_from_boards(LENS, boards(0.97), two_marks(), place="board")


def test_a_board_alone_does_not_say_where_the_tank_is() -> None:
    with pytest.raises(CalibrationError, match="0 marks with a place in the tank; 2 at least"):
        start_from_boards(LENS, boards(), [], place="board")


def test_a_mirrored_board_is_refused() -> None:
    mirrored = [BoardSeenAfloat(one.points_mm * [1, -1, 1], one.pixels) for one in boards()]
    with pytest.raises(CalibrationError, match="seen from below or mirrored"):
        start_from_boards(LENS, mirrored, two_marks(), place="board")
