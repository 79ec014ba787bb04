from __future__ import annotations

from pathlib import Path

from logger.results.columns import COLUMNS
from logger.results.export import tables_of
from logger.study.class_folder import Class
from logger.study.paper import PAPERS
from logger.study.prints.every import class_sheets
from logger.study.prints.for_teachers import FALLBACK
from tests.logger.study.printed import needs_poppler, told

pytestmark = needs_poppler


def said(whole: Class, name: str, folder: Path) -> str:
    return " ".join(told("pdftotext", class_sheets(whole, [name], PAPERS["a4"]), folder, "-layout").split())


def test_the_sheet_for_a_stopwatch_has_the_columns_of_the_file(whole: Class, tmp_path: Path) -> None:
    assert set(FALLBACK) <= set(COLUMNS)
    runs = next(table for table in tables_of([]) if table.name == "runs.csv")
    assert set(FALLBACK) <= {column.name for column in runs.columns} | {"mass_g"}
    assert "did_not_finish" in said(whole, "fallback", tmp_path)


def test_every_run_of_every_boat_is_in_the_results(whole: Class, tmp_path: Path) -> None:
    """By hand: Heron's first boat 1000/240, 1000/250, 1000/260 s."""
    text = said(whole, "results", tmp_path)
    assert "4.17; 4.00; 3.85 4.00 0.16" in text
    assert "did not finish" in text
    assert "5 of 7 teams got clearly faster" in text


def test_as_many_rounds_as_were_made(whole: Class, tmp_path: Path) -> None:
    text = said(whole, "order", tmp_path)
    assert "round 6" in text
    assert "round 7" not in text
    assert "8. Team Carp" in text


def test_what_must_be_said_of_safety_is_said(whole: Class, tmp_path: Path) -> None:
    text = said(whole, "safety", tmp_path)
    for word in ("RCD", "GFCI", "adult watches", "latex", "No lasers", "straw", "empty the tank", "risk assessment"):
        assert word in text


def test_a_slow_boat_can_earn_full_marks(whole: Class, tmp_path: Path) -> None:
    text = said(whole, "rubric", tmp_path)
    assert "A slow boat can earn full marks" in text
    assert "fastest" not in text
