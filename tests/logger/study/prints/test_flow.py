from __future__ import annotations

from pathlib import Path

import pytest

from logger.study.class_folder import Class
from logger.study.paper import PAPERS, Sheet
from logger.study.prints.flow import Flow
from tests.logger.study.printed import ink_mm, needs_poppler, pages, told


@needs_poppler
def test_a_table_goes_on_on_the_next_page_under_its_heads(whole: Class, tmp_path: Path) -> None:
    sheet = Sheet(PAPERS["a4"], title="t")
    flow = Flow(sheet, whole, "Long")
    flow.table(["first", "second"], [[f"row {i}", "x"] for i in range(60)], shares=(1, 1))
    flow.end()
    made = sheet.pdf()
    said = told("pdftotext", made, tmp_path, "-layout")
    assert said.count("second") == said.count("Long") == 2
    assert all(f"row {i}" in said for i in range(60))
    assert len(pages(made, tmp_path)) == 2


@needs_poppler
def test_words_that_do_not_fit_a_cell_make_it_higher(whole: Class, tmp_path: Path) -> None:
    sheet = Sheet(PAPERS["a4"], title="t")
    flow = Flow(sheet, whole, "Wide")
    before = flow.y_mm
    flow.table(["a"], [["word " * 80]], shares=(1,))
    assert before - flow.y_mm > 30
    flow.end()
    (page,) = pages(sheet.pdf(), tmp_path)
    assert ink_mm(page)[2] >= 9.5, "nothing over the right margin"


def test_what_is_left_is_counted_down_and_a_full_page_is_turned(whole: Class) -> None:
    flow = Flow(Sheet(PAPERS["letter"], title="t"), whole, "Room")
    first = flow.room_mm
    flow.write(3, gap_mm=9.0)
    assert flow.room_mm == pytest.approx(first - 27.0)
    flow.need(first)
    assert flow.room_mm == pytest.approx(first)
