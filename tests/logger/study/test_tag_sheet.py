"""What comes out of the printer is read by OpenCV's own detector and measured in the rendered page."""

from __future__ import annotations

import re
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration import tags
from calibration.errors import CalibrationError
from logger.study.paper import BAR_MM, PAPERS
from logger.study.tag_sheet import Placed, Wanted, placed, tag_sheets
from tests.logger.study.printed import PX_PER_MM, bar_mm, ink_mm, needs_poppler, pages, told

MIXED = [
    *(Wanted(number, 40.0) for number in (1, 2, 3, 7)),
    *(Wanted(number, 15.0) for number in range(10, 20)),
    *[Wanted(None, 30.0)] * 3,
    Wanted(0, 120.0),
]


def read(page: np.ndarray) -> dict[int, np.ndarray]:
    """Corners of every square that OpenCV's detector reads, px, by number."""
    wanted = cv2.aruco.DetectorParameters()
    wanted.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    wanted.adaptiveThreshWinSizeMax = 93
    wanted.minMarkerPerimeterRate = 0.01
    corners, numbers, _ = cv2.aruco.ArucoDetector(tags.dictionary(), wanted).detectMarkers(page)
    if numbers is None:
        return {}
    return {
        int(number): np.asarray(four, float).reshape(4, 2)
        for number, four in zip(np.ravel(numbers), corners, strict=True)
    }


def on(one: Placed, page: np.ndarray) -> tuple[int, int, int, int]:
    """Left, upper, right and lower edge of the black square or disc in the picture."""
    left_mm, lower_mm, width_mm, height_mm = one.black_mm
    upper = page.shape[0] - (lower_mm + height_mm) * PX_PER_MM
    edges = left_mm * PX_PER_MM, upper, (left_mm + width_mm) * PX_PER_MM, upper + height_mm * PX_PER_MM
    return tuple(round(edge) for edge in edges)  # type: ignore[return-value]


@needs_poppler
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_every_square_is_read_and_has_its_size(paper: str, tmp_path: Path) -> None:
    seen = pages(tag_sheets(MIXED, PAPERS[paper]), tmp_path)
    every = placed(MIXED, PAPERS[paper])
    assert len(seen) == every[-1].page_index + 1
    for index, page in enumerate(seen):
        assert bar_mm(page) == pytest.approx(BAR_MM, abs=0.1)
        left_mm, *others_mm = ink_mm(page)
        assert left_mm >= 19.8
        assert min(others_mm) >= 9.8
        squares = {o.tag.number: o for o in every if o.page_index == index and o.tag.number is not None}
        found = read(page)
        assert sorted(found) == sorted(squares)
        for number, four in found.items():
            sides_mm = np.linalg.norm(four - np.roll(four, 1, axis=0), axis=1) / PX_PER_MM
            assert np.abs(sides_mm - squares[number].tag.size_mm).max() < 0.2
            assert four[0].sum() == min(four.sum(axis=1))  # its upper edge is up: the arrow's way
            assert np.abs(four[0] - on(squares[number], page)[:2]).max() < 2


@needs_poppler
def test_round_every_square_all_is_white_and_an_arrow_points_up(tmp_path: Path) -> None:
    seen = pages(tag_sheets(MIXED, PAPERS["a4"]), tmp_path)
    for one in placed(MIXED, PAPERS["a4"]):
        if one.tag.number is None:
            continue
        page = seen[one.page_index]
        left, upper, right, lower = on(one, page)
        quiet = int(one.tag.size_mm / tags.side_count() * PX_PER_MM)
        around = page[upper - quiet + 3 : lower + quiet - 3, left - quiet + 3 : right + quiet - 3].copy()
        around[quiet - 5 : 5 - quiet, quiet - 5 : 5 - quiet] = 255
        assert around.min() == 255
        middle = (left + right) // 2
        widths = (page[upper - quiet - 50 : upper - quiet, middle - quiet : middle + quiet // 2] < 128).sum(axis=1)
        inked = widths[widths > 0][3:]  # below the tip
        dark = page[upper - quiet - 50 : upper - quiet, middle - 1 : middle + 2] < 128
        assert dark.all(axis=1).sum() > 20  # taller than 2 mm, in line with the square's middle
        assert inked[: len(inked) // 2].mean() < inked[len(inked) // 2 :].mean()


@needs_poppler
def test_discs_are_round_and_of_their_size(tmp_path: Path) -> None:
    wanted = [Wanted(None, size_mm) for size_mm in (12.0, 30.0, 60.0)]
    page = pages(tag_sheets(wanted, PAPERS["letter"]), tmp_path)[0]
    for one in placed(wanted, PAPERS["letter"]):
        left, upper, right, lower = on(one, page)
        room = int(0.2 * one.tag.size_mm * PX_PER_MM)
        dark = 1 - page[upper - room : lower + room, left - room : right + room].astype(float) / 255
        rows, columns = np.nonzero(dark > 0.5)
        middle = np.array([dark.shape[0] - 1, dark.shape[1] - 1]) / 2
        radii_mm = np.hypot(rows - middle[0], columns - middle[1]) / PX_PER_MM
        size_mm = one.tag.size_mm
        assert np.ptp(rows) / PX_PER_MM == pytest.approx(size_mm, abs=0.2)
        assert np.ptp(columns) / PX_PER_MM == pytest.approx(size_mm, abs=0.2)
        assert radii_mm.max() == pytest.approx(size_mm / 2, abs=0.15)
        assert radii_mm.min() == pytest.approx(tags.DISC_DOT_SHARE * size_mm / 2, abs=0.15)
        share = 1 - tags.DISC_DOT_SHARE**2
        assert dark.sum() / PX_PER_MM**2 == pytest.approx(np.pi / 4 * size_mm**2 * share, rel=0.01)


@needs_poppler
def test_the_number_stands_below_its_square_and_no_square_is_a_picture(tmp_path: Path) -> None:
    wanted = [Wanted(number, 40.0) for number in (1, 12, 29)]
    made = tag_sheets(wanted, PAPERS["a4"])
    words = told("pdftotext", made, tmp_path, "-bbox")
    places = re.findall(r'xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">(1|12|29)<', words)
    mm = 25.4 / 72
    for one in placed(wanted, PAPERS["a4"]):
        left_mm, lower_mm, width_mm, _ = one.box_mm
        at = [[float(v) * mm for v in p[:4]] for p in places if p[4] == str(one.tag.number)]
        at = [place for place in at if place[3] < 297 - 25]  # above the foot with its number of the page
        assert len(at) == 1
        assert left_mm < at[0][0] < at[0][2] < left_mm + width_mm
        assert 297 - at[0][3] > lower_mm - 0.5
        assert 297 - at[0][1] < one.black_mm[1] - tags.quiet_mm(40.0) + 0.5
    assert len(told("pdfimages", made, tmp_path, "-list").splitlines()) == 2  # its heading only
    assert "Print at 100 %" in told("pdftotext", made, tmp_path)


def test_nothing_overlaps_and_all_lies_on_the_paper() -> None:
    for paper in PAPERS.values():
        every = placed(MIXED * 3, paper)
        for number, one in enumerate(every):
            left_mm, lower_mm, width_mm, height_mm = one.box_mm
            assert left_mm >= 20
            assert left_mm + width_mm <= paper.width_mm - 10 + 1e-9
            assert lower_mm >= 25
            for other in every[:number]:
                x_mm, y_mm, w_mm, h_mm = other.box_mm
                apart = (
                    x_mm >= left_mm + width_mm or left_mm >= x_mm + w_mm
                    or y_mm >= lower_mm + height_mm or lower_mm >= y_mm + h_mm
                )  # fmt: skip
                assert apart or other.page_index != one.page_index


def test_eight_squares_of_the_usual_size_fit_on_one_page() -> None:
    for paper in PAPERS.values():
        assert placed([Wanted(number, 40.0) for number in range(1, 9)], paper)[-1].page_index == 0


@pytest.mark.parametrize(
    ("wanted", "told_words"),
    [
        ([], "found no tag to print; wanted numbers or discs"),
        ([Wanted(1, 200.0)], r"found a square of 200 mm; wanted 10 to 13\d mm on A4; choose another size"),
        ([Wanted(None, 130.0)], r"found a disc of 130 mm; wanted 10 to 120 mm on A4"),
        ([Wanted(None, 1.0)], "found a disc of 1 mm; wanted 10 to"),
        ([Wanted(1, 0.0)], "found a square of 0 mm; wanted 10 to"),
        ([Wanted(5000, 40.0)], "print tags: found number 5000; wanted 0 to"),
    ],
)
def test_what_cannot_be_printed_is_told(wanted: list[Wanted], told_words: str) -> None:
    with pytest.raises(CalibrationError, match=told_words):
        tag_sheets(wanted, PAPERS["a4"])
