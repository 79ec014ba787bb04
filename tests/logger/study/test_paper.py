"""A sheet is true to scale on paper; the judge is Poppler's renderer, not ReportLab."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from logger.study.paper import BAR_MM, PAPERS, Sheet
from tests.logger.study.printed import PX_PER_MM, bar_mm, ink_mm, needs_poppler, pages, told


def drawn(paper: str = "a4") -> bytes:
    sheet = Sheet(PAPERS[paper], title="a sheet")
    sheet.black([(50, 100, 30, 20), (80, 100, 10, 20)])
    sheet.ring(middle_mm=(100, 200), diameter_mm=40, hole_mm=12)
    sheet.cut_line((40, 90, 70, 50))
    sheet.shape([(130, 100), (140, 100), (135, 110)])
    sheet.end_page("first ± × − %")
    sheet.text("a second page", at_mm=(30, 150), size_pt=12)
    sheet.end_page("second")
    return sheet.pdf()


@needs_poppler
@pytest.mark.parametrize(("paper", "width_mm", "height_mm"), [("a4", 210, 297), ("letter", 215.9, 279.4)])
def test_the_bar_of_every_page_is_100_mm_long(paper: str, width_mm: float, height_mm: float, tmp_path: Path) -> None:
    seen = pages(drawn(paper), tmp_path)
    assert len(seen) == 2
    for page in seen:
        assert page.shape[0] / PX_PER_MM == pytest.approx(height_mm, abs=0.11)
        assert page.shape[1] / PX_PER_MM == pytest.approx(width_mm, abs=0.11)
        assert bar_mm(page) == pytest.approx(BAR_MM, abs=0.1)
        left_mm, lower_mm, right_mm, upper_mm = ink_mm(page)
        assert left_mm >= 19.8  # room for filing holes: ISO 838
        assert min(lower_mm, right_mm, upper_mm) >= 9.8


@needs_poppler
def test_lengths_are_true_and_boxes_that_touch_have_no_seam(tmp_path: Path) -> None:
    page = pages(drawn(), tmp_path)[0]
    box = page[(297 - 120) * 10 : (297 - 100) * 10, 50 * 10 : 90 * 10]
    assert box[3:-3, 3:-3].max() == 0
    around = page[(297 - 122) * 10 : (297 - 98) * 10, 48 * 10 : 92 * 10]
    assert (1 - around.astype(float) / 255).sum() / PX_PER_MM**2 == pytest.approx(40 * 20, rel=0.003)


@needs_poppler
def test_a_ring_is_round_and_white_inside(tmp_path: Path) -> None:
    page = pages(drawn(), tmp_path)[0]
    ring = 1 - page[(297 - 225) * 10 : (297 - 175) * 10, 75 * 10 : 125 * 10].astype(float) / 255
    assert ring.sum() / PX_PER_MM**2 == pytest.approx(np.pi / 4 * (40**2 - 12**2), rel=0.003)
    rows, columns = np.nonzero(ring > 0.5)
    from_middle_mm = np.hypot(rows - 249.5, columns - 249.5) / PX_PER_MM
    assert from_middle_mm.max() == pytest.approx(20, abs=0.1)
    assert from_middle_mm.min() == pytest.approx(6, abs=0.1)


@needs_poppler
def test_the_file_needs_no_font_of_the_reader_and_asks_not_to_be_scaled(tmp_path: Path) -> None:
    made = drawn()
    fonts = told("pdffonts", made, tmp_path).splitlines()[2:]
    assert fonts
    assert all("TrueType" not in line or " yes yes " in line for line in fonts)
    assert any("Vera" in line for line in fonts)
    assert b"/PrintScaling /None" in made
    assert "first ± × − %" in told("pdftotext", made, tmp_path)


def test_the_same_sheet_is_the_same_file() -> None:
    assert drawn() == drawn()


def test_long_words_are_broken_at_the_width() -> None:
    sheet = Sheet(PAPERS["a4"], title="words")
    ends = sheet.block("word " * 60, at_mm=(30, 200), width_mm=100, size_pt=10)
    assert 200 - ends == pytest.approx(1.3 * 10 * 25.4 / 72 * round((200 - ends) / (13 * 25.4 / 72)))
    assert 200 - ends > 3 * 13 * 25.4 / 72
