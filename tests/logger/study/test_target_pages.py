"""Where things stand: on the paper, apart from each other, on both sizes."""

from __future__ import annotations

import pytest

from calibration.errors import CalibrationError
from calibration.targets import LENS_BOARD, PLANE_BOARD, RIM_NUMBERS, RIM_SIZE_MM
from logger.study import target_pages as pages
from logger.study.paper import PAPERS, Box, Paper

BOTH = pytest.mark.parametrize("paper", PAPERS.values(), ids=PAPERS)


def inside(box_mm: Box, paper: Paper) -> bool:
    left_mm, lower_mm, across_mm, upright_mm = paper.inside_mm
    x_mm, y_mm, w_mm, h_mm = box_mm
    along = left_mm - 1e-9 <= x_mm and x_mm + w_mm <= left_mm + across_mm + 1e-9
    return along and lower_mm - 1e-9 <= y_mm and y_mm + h_mm <= lower_mm + upright_mm + 1e-9


@BOTH
def test_everything_stands_on_the_paper(paper: Paper) -> None:
    _, _, steps_mm = pages.focus_places_mm(paper)
    for box_mm in (pages.grid_box_mm(paper), pages.light_box_mm(paper), steps_mm):
        assert inside(box_mm, paper)
    for board in (LENS_BOARD, PLANE_BOARD):
        assert inside(pages.board_box_mm(board, paper), paper)


@BOTH
def test_the_star_and_the_leaning_square_are_apart(paper: Paper) -> None:
    star_mm, edge_mm, (left_mm, lower_mm, _, height_mm) = pages.focus_places_mm(paper)
    assert edge_mm[0] - star_mm[0] > pages.STAR_MM / 2 + 0.8 * pages.EDGE_MM
    assert star_mm[1] - pages.STAR_MM / 2 > lower_mm + height_mm + 5
    assert left_mm > 0


@BOTH
@pytest.mark.parametrize("size_mm", [30.0, RIM_SIZE_MM, 100.0])
def test_marks_of_the_rim_do_not_touch(paper: Paper, size_mm: float) -> None:
    placed = pages.rim_placed(range(20), size_mm, paper)
    assert [mark.number for mark in placed] == list(range(20))
    for index, mark in enumerate(placed):
        assert inside(mark.black_mm, paper)
        for other in placed[:index]:
            dx = abs(mark.black_mm[0] - other.black_mm[0])
            dy = abs(mark.black_mm[1] - other.black_mm[1])
            assert other.page_index != mark.page_index or max(dx, dy) >= size_mm * 1.25


@BOTH
def test_the_usual_marks_fit_on_one_page(paper: Paper) -> None:
    assert pages.rim_placed(RIM_NUMBERS, RIM_SIZE_MM, paper)[-1].page_index == 0


@pytest.mark.parametrize("size_mm", [5.0, 29.0, 190.0])
def test_a_mark_that_does_not_fit_is_told_with_what_does(size_mm: float) -> None:
    with pytest.raises(CalibrationError, match=r"rim marks of .* mm; wanted 30 to (\d+) mm on A4") as caught:
        pages.rim_placed([0], size_mm, PAPERS["a4"])
    most_mm = float(str(caught.value).split(" to ")[1].split(" mm")[0])
    assert pages.rim_placed([0], most_mm, PAPERS["a4"])


def test_a_number_that_the_family_has_not_is_told() -> None:
    with pytest.raises(CalibrationError, match="print targets: found number 587; wanted 0 to 586"):
        pages.rim_placed([0, 587], 45.0, PAPERS["a4"])
