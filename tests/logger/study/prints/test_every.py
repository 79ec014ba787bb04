from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest

from logger.errors import InputError
from logger.study.class_folder import Class
from logger.study.paper import PAPERS
from logger.study.prints.every import SHEETS, class_sheets, drawings
from logger.study.tongue import catalogue, speaking
from tests.logger.study.printed import bar_mm, ink_mm, needs_poppler, pages, told

ONE_PAGE = {"fallback", "order", "rules", "design", "design-saving", "plan", "report", "conclusion", "safety", "rubric"}
OF_EACH_TEAM = {"teams", "speeds", "certificates"}


def test_every_sheet_has_a_name_a_sentence_and_a_drawing() -> None:
    assert set(SHEETS) == set(drawings(grades="4-5"))


@needs_poppler
@pytest.mark.parametrize("paper", PAPERS)
def test_every_sheet_fits_its_paper_with_room_for_filing_holes(whole: Class, paper: str, tmp_path: Path) -> None:
    """ISO 838 holes are 6 mm wide, their middles 12 mm from the edge: nothing may be nearer than 15 mm on the left."""
    for name in SHEETS:
        (tmp_path / name).mkdir()
        made = pages(class_sheets(whole, [name], PAPERS[paper]), tmp_path / name)
        if name in ONE_PAGE:
            assert len(made) == 1, (name, len(made))
        if name in OF_EACH_TEAM:
            assert len(made) == 8, (name, len(made))
        for page in made:
            left, lower, right, upper = ink_mm(page)
            assert left >= 15.0, name
            assert min(lower, right, upper) >= 8.0, (name, lower, right, upper)
            assert np.mean(page < 128) < 0.12, "little ink"


@needs_poppler
def test_pages_on_which_something_is_measured_carry_a_bar_of_100_mm(whole: Class, tmp_path: Path) -> None:
    for page in pages(class_sheets(whole, ["teams", "graph"], PAPERS["letter"]), tmp_path):
        assert bar_mm(page) == pytest.approx(100.0, abs=0.15)


@needs_poppler
def test_no_name_but_nicknames_and_nothing_written_freely(whole: Class, tmp_path: Path) -> None:
    said = told("pdftotext", class_sheets(whole, list(SHEETS), PAPERS["a4"]), tmp_path, "-layout")
    assert "nobody else may read" not in said
    assert "a free word" not in said
    assert "T10:" not in said
    assert "1 void run not counted" in said
    assert "My name:" in said


def test_all_team_pages_are_made_in_time_for_the_end_of_a_lesson(whole: Class) -> None:
    """Told, not judged: a busy computer has bad moments."""
    begun = time.perf_counter()
    made = class_sheets(whole, ["teams"], PAPERS["a4"])
    print(f"\neight team pages: {time.perf_counter() - begun:.2f} s, {len(made) / 1000:.0f} kB")
    assert made.startswith(b"%PDF")


def test_the_same_class_is_the_same_file(whole: Class) -> None:
    names = [name for name in SHEETS if name != "rules"]
    assert class_sheets(whole, names, PAPERS["a4"]) == class_sheets(whole, names, PAPERS["a4"])


def test_what_is_not_there_is_told(whole: Class) -> None:
    with pytest.raises(InputError, match="found 'result'; wanted sheets of fallback, order"):
        class_sheets(whole, ["result"], PAPERS["a4"])
    with pytest.raises(InputError, match="found none"):
        class_sheets(whole, [], PAPERS["a4"])
    with pytest.raises(InputError, match="there is no team 'Heron'; there are Team Heron"):
        class_sheets(whole, ["teams"], PAPERS["a4"], team="Heron")


@needs_poppler
def test_in_spanish_every_sheet_fits_as_well_and_says_nothing_in_english(whole: Class, tmp_path: Path) -> None:
    with speaking(catalogue("es")):
        made = class_sheets(whole, list(SHEETS), PAPERS["letter"])
    for page in pages(made, tmp_path):
        left, lower, right, upper = ink_mm(page)
        assert left >= 15.0
        assert min(lower, right, upper) >= 8.0, (lower, right, upper)
    said = told("pdftotext", made, tmp_path, "-layout")
    for english in ("This bar", "My name", "Mean", "Running order", "run 1", "straight run", "seconds", "Team page"):
        assert english not in said, english
    assert "Mi nombre:" in said
