"""No printed mark can be taken for another: counted over the codes, and tried with OpenCV's detector."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from calibration import tags
from calibration.board import MARKS, CharucoBoard
from calibration.targets import LENS_BOARD, PLANE_BOARD, RIM_NUMBERS

BOARDS = {"lens": LENS_BOARD, "plane": PLANE_BOARD}


def codes(family: int) -> np.ndarray:
    made = cv2.aruco.getPredefinedDictionary(family)
    bits = cv2.aruco.Dictionary.getBitsFromByteList
    return np.array([bits(one.reshape(1, *one.shape), made.markerSize) for one in made.bytesList])


def unlike(one: np.ndarray, other: np.ndarray) -> int:
    """Cells that differ in the most alike of four positions."""
    return min(int((np.rot90(one, turn) != other).sum()) for turn in range(4))


@pytest.mark.parametrize("board", BOARDS.values(), ids=BOARDS)
def test_marks_on_a_board_are_unlike_every_boats_tag_and_their_own_mirror_image(board: CharucoBoard) -> None:
    marks, boats = codes(MARKS), codes(tags.FAMILY)
    for number in board.numbers:
        assert min(unlike(marks[number], boat) for boat in boats) >= 3
        assert unlike(marks[number][:, ::-1], marks[number]) > 0


def test_the_two_boards_share_no_mark() -> None:
    assert set(LENS_BOARD.numbers).isdisjoint(PLANE_BOARD.numbers)


@pytest.mark.parametrize("name", BOARDS)
def test_a_board_is_found_as_itself_only(name: str) -> None:
    picture = BOARDS[name].drawn(square_px=60)
    for other, board in BOARDS.items():
        assert bool(board.find(picture)) == (other == name)


@pytest.mark.parametrize("board", BOARDS.values(), ids=BOARDS)
@pytest.mark.parametrize("square_px", [20, 31, 60])
def test_no_boats_tag_is_seen_in_a_board(board: CharucoBoard, square_px: int) -> None:
    picture = board.drawn(square_px=square_px)
    for family in (tags.FAMILY, tags.RIM_FAMILY):
        _, numbers, _ = cv2.aruco.ArucoDetector(tags.dictionary(family)).detectMarkers(picture)
        assert numbers is None


def test_a_board_fits_a_mirror_only_as_a_mirror_image() -> None:
    """A mirrored picture must not give a board whose corners are where they cannot be."""
    assert not LENS_BOARD.find(np.ascontiguousarray(LENS_BOARD.drawn(square_px=60)[:, ::-1]))


def test_there_are_marks_for_the_rim() -> None:
    assert len(RIM_NUMBERS) >= 6
    assert tags.numbers_count(tags.RIM_FAMILY) == 587
