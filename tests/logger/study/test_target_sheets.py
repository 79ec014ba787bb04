"""What comes out of the printer is measured in the rendered page and found by what has to find it."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration import tags
from calibration.board import CharucoBoard
from calibration.errors import CalibrationError
from calibration.rim_marks import find_rim_marks
from calibration.targets import GRID_ACROSS_MM, GRID_UPRIGHT_MM, LENS_BOARD, PLANE_BOARD, RIM_NUMBERS
from logger.study import target_pages as places
from logger.study.paper import BAR_MM, PAPERS, Paper
from logger.study.target_sheets import TARGETS, target_sheets
from tests.logger.study.printed import PX_PER_MM, bar_mm, ink_mm, needs_poppler, pages, told

BOTH = pytest.mark.parametrize("paper", PAPERS.values(), ids=PAPERS)


def page(name: str, paper: Paper, folder: Path) -> np.ndarray:
    (only,) = pages(target_sheets([name], paper), folder)
    return only


def at_px(x_mm: float, y_mm: float, seen: np.ndarray) -> tuple[float, float]:
    """Column and row, pixel centres on whole numbers, of a place on the paper, whose top is that of the picture."""
    high_mm = min((paper.height_mm for paper in PAPERS.values()), key=lambda mm: abs(mm * PX_PER_MM - len(seen)))
    return x_mm * PX_PER_MM - 0.5, (high_mm - y_mm) * PX_PER_MM - 0.5


def cut(seen: np.ndarray, box_mm: tuple[float, float, float, float], *, grown_mm: float = 0.0) -> np.ndarray:
    """How black the part is, 0 to 1."""
    x_mm, y_mm, w_mm, h_mm = box_mm
    left, lower = at_px(x_mm - grown_mm, y_mm - grown_mm, seen)
    right, upper = at_px(x_mm + w_mm + grown_mm, y_mm + h_mm + grown_mm, seen)
    return 1 - seen[round(upper + 0.5) : round(lower + 0.5), round(left + 0.5) : round(right + 0.5)] / 255.0


@needs_poppler
@BOTH
def test_every_page_has_its_bar_its_margins_and_its_words(paper: Paper, tmp_path: Path) -> None:
    made = target_sheets(list(TARGETS), paper)
    seen = pages(made, tmp_path)
    assert len(seen) == len(TARGETS)
    for one in seen:
        assert bar_mm(one) == pytest.approx(BAR_MM, abs=0.1)
        left_mm, *others_mm = ink_mm(one)
        assert left_mm >= 15
        assert min(others_mm) >= 9.8
    words = " ".join(told("pdftotext", made, tmp_path).split())
    for target in TARGETS.values():
        assert target.title in words
        assert target.notes[-1][-30:] in words
    assert len(told("pdfimages", made, tmp_path, "-list").splitlines()) == 2  # its heading only: nothing is a picture


@needs_poppler
@BOTH
@pytest.mark.parametrize(("name", "board"), [("lens-board", LENS_BOARD), ("plane-board", PLANE_BOARD)])
def test_a_board_is_found_whole_and_true(name: str, board: CharucoBoard, paper: Paper, tmp_path: Path) -> None:
    seen = page(name, paper, tmp_path)
    found = board.find(seen)
    assert found
    assert len(found.pixels) == (board.columns - 1) * (board.rows - 1)
    left_mm, lower_mm, _, height_mm = places.board_box_mm(board, paper)
    first = np.array(at_px(left_mm + board.square_mm, lower_mm + height_mm - board.square_mm, seen))
    np.testing.assert_allclose(found.pixels - first, found.points_mm[:, :2] * PX_PER_MM, atol=0.6)
    square = cut(seen, (left_mm, lower_mm, board.columns * board.square_mm, height_mm), grown_mm=3.0)
    rows, columns = np.nonzero(square > 0.5)
    assert np.ptp(columns) + 1 == pytest.approx(board.columns * board.square_mm * PX_PER_MM, abs=2)
    if name == "lens-board":  # above the other one stands an arrow
        assert np.ptp(rows) + 1 == pytest.approx(board.rows * board.square_mm * PX_PER_MM, abs=2)


@needs_poppler
@BOTH
def test_marks_of_the_rim_are_read_with_their_middle_and_are_no_boats(paper: Paper, tmp_path: Path) -> None:
    seen = page("rim-marks", paper, tmp_path)
    small = cv2.resize(seen, None, fx=0.3, fy=0.3, interpolation=cv2.INTER_AREA)
    found = find_rim_marks(small)
    assert sorted(found) == sorted(RIM_NUMBERS)
    for mark in places.rim_placed(RIM_NUMBERS, 45.0, paper):
        x_mm, y_mm, size_mm, _ = mark.black_mm
        middle = np.array(at_px(x_mm + size_mm / 2, y_mm + size_mm / 2, seen))
        np.testing.assert_allclose((found[mark.number].middle_px + 0.5) / 0.3 - 0.5, middle, atol=1.0)
        quiet_mm = tags.quiet_mm(size_mm, tags.RIM_FAMILY)
        around = cut(seen, mark.black_mm, grown_mm=quiet_mm - 0.3)
        inner = round((quiet_mm - 0.5) * PX_PER_MM)
        around[inner:-inner, inner:-inner] = 0
        assert around.max() == 0
        black = cut(seen, mark.black_mm)
        assert black[2:40, 2:-2].min() > 0.9  # its upper border
        assert black[2:-2, 2:40].min() > 0.9
    _, numbers, _ = cv2.aruco.ArucoDetector(tags.dictionary()).detectMarkers(small)
    assert numbers is None


@needs_poppler
@BOTH
def test_the_grid_has_its_size_and_its_targets(paper: Paper, tmp_path: Path) -> None:
    seen = page("plane-grid", paper, tmp_path)
    left_mm, lower_mm, width_mm, height_mm = places.grid_box_mm(paper)
    corners = [(left_mm + dx, lower_mm + dy) for dx in (0, width_mm) for dy in (0, height_mm)]
    criteria = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 50, 1e-4)
    start = np.array([at_px(*corner, seen) for corner in corners], np.float32)
    better = cv2.cornerSubPix(seen, (start + 3).reshape(-1, 1, 2).copy(), (20, 20), (-1, -1), criteria).reshape(-1, 2)
    np.testing.assert_allclose(better, start, atol=1.0)
    assert better[2][0] - better[0][0] == pytest.approx(GRID_ACROSS_MM * PX_PER_MM, abs=1)
    assert better[0][1] - better[1][1] == pytest.approx(GRID_UPRIGHT_MM * PX_PER_MM, abs=1)
    row = cut(seen, (left_mm + 6, lower_mm + 30, width_mm - 12, 0.1))[0]
    lines_px = np.flatnonzero(np.diff((row > 0.3).astype(int)) == 1)
    assert np.diff(lines_px) == pytest.approx(200, abs=1)


@needs_poppler
@BOTH
def test_the_light_card_is_black_round_a_white_dot(paper: Paper, tmp_path: Path) -> None:
    card = cut(page("light-card", paper, tmp_path), places.light_box_mm(paper))
    white = np.argwhere(card < 0.5)
    assert len(white) / PX_PER_MM**2 == pytest.approx(np.pi / 4 * places.LIGHT_HOLE_MM**2, rel=0.02)
    assert white.mean(axis=0) == pytest.approx((np.array(card.shape) - 1) / 2, abs=1)
    assert card.shape == (1200, 1200)


@needs_poppler
@BOTH
def test_star_edges_and_steps_are_as_the_card_says(paper: Paper, tmp_path: Path) -> None:
    seen = page("focus-card", paper, tmp_path)
    star_mm, edge_mm, (left_mm, lower_mm, _, height_mm) = places.focus_places_mm(paper)
    for radius_mm in (4.0, 20.0, 39.0):
        turns = np.linspace(0, 2 * np.pi, 7200, endpoint=False)
        u, v = at_px(star_mm[0] + radius_mm * np.cos(turns), star_mm[1] + radius_mm * np.sin(turns), seen)  # type: ignore[arg-type]
        dark = cv2.remap(seen, u.astype(np.float32), v.astype(np.float32), cv2.INTER_LINEAR).ravel() < 128
        assert np.sum(dark != np.roll(dark, 1)) == 2 * places.STAR_PAIRS_COUNT
        assert dark.mean() == pytest.approx(0.5, abs=0.03)
    half_mm = 0.8 * places.EDGE_MM
    square = cut(seen, (edge_mm[0] - half_mm, edge_mm[1] - half_mm, 2 * half_mm, 2 * half_mm))
    (_, (wide, high), turn), area = cv2.minAreaRect(np.argwhere(square > 0.5)[:, ::-1].astype(np.float32)), square.sum()
    assert (wide, high) == pytest.approx((500, 500), abs=3)
    assert min(turn % 90, 90 - turn % 90) == pytest.approx(places.EDGE_LEANS_DEG, abs=0.2)
    assert area / PX_PER_MM**2 == pytest.approx(places.EDGE_MM**2, rel=0.01)
    steps = [
        cut(seen, (left_mm + (i + 0.25) * places.STEP_MM, lower_mm + 6, 12, height_mm - 12)).mean() for i in range(6)
    ]
    assert steps == pytest.approx(places.STEPS_SHARE, abs=0.02)


def test_words_do_not_run_into_the_drawing() -> None:
    """The head of every page ends above what stands below it, on the smaller paper."""
    from logger.study.paper import Sheet
    from logger.study.target_sheets import draw_head

    for paper in PAPERS.values():
        highest_mm = {name: places.board_box_mm(LENS_BOARD, paper) for name in ("lens-board",)}
        highest_mm["plane-board"] = places.board_box_mm(PLANE_BOARD, paper)
        highest_mm["plane-grid"] = places.grid_box_mm(paper)
        highest_mm["light-card"] = places.light_box_mm(paper)
        highest_mm["rim-marks"] = places.rim_placed([0], 45.0, paper)[0].black_mm
        room_mm = {"plane-board": 6.0, "plane-grid": 11.0, "light-card": 9.0, "rim-marks": 8.0, "lens-board": 2.0}
        for name, (_, lower_mm, _, height_mm) in highest_mm.items():
            ends_mm = draw_head(Sheet(paper, title="one"), TARGETS[name])
            assert ends_mm + 3 > lower_mm + height_mm + room_mm[name], (paper.name, name)


@pytest.mark.parametrize("names", [[], ["lens-board", "lense"]])
def test_pages_that_are_not_known_are_told(names: list[str]) -> None:
    with pytest.raises(CalibrationError, match=r"print targets: found .*; wanted pages of lens-board, plane-board"):
        target_sheets(names, PAPERS["a4"])
