from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from logger.errors import InputError
from logger.study.class_folder import Class
from logger.study.experiment import running_order
from logger.study.paper import PAPERS, Sheet
from logger.study.prints.every import class_sheets
from logger.study.prints.for_experiments import experiments
from logger.study.tongue import catalogue, speaking
from tests.logger.study.invented_class import HEAVIER
from tests.logger.study.printed import needs_poppler, pages, told


def made(whole: Class) -> bytes:
    sheet = Sheet(PAPERS["a4"], title="x")
    experiments(sheet, whole)
    return sheet.pdf()


@needs_poppler
def test_the_plan_and_the_order_are_on_the_sheet_turn_by_turn(whole: Class, tmp_path: Path) -> None:
    said = told("pdftotext", made(whole), tmp_path, "-layout")
    assert "Does a heavier boat drift farther?" in said
    assert "We think so: it is harder to stop." in said
    levels = [line.split("mass ")[1].split()[0] for line in said.splitlines() if "mass " in line and " g" in line]
    assert levels == [turn.level for turn in running_order(HEAVIER)]


@needs_poppler
def test_in_spanish(whole: Class, tmp_path: Path) -> None:
    with speaking(catalogue("es")):
        said = told("pdftotext", made(whole), tmp_path, "-layout")
    assert "masa 30" in said
    assert "Antes del primer recorrido dijimos:" in said
    assert "Run" not in said


@needs_poppler
def test_without_a_plan_there_is_no_page(whole: Class, tmp_path: Path) -> None:
    for plans, count in ((whole.plans, 2), ((), 1)):
        folder = tmp_path / str(count)
        folder.mkdir()
        made = class_sheets(replace(whole, plans=plans), ["safety", "experiment"], PAPERS["a4"])
        assert len(pages(made, folder)) == count


def test_its_name_is_known(whole: Class) -> None:
    assert class_sheets(whole, ["experiment"], PAPERS["letter"]).startswith(b"%PDF")
    with pytest.raises(InputError, match="experiment"):
        class_sheets(whole, ["experiments"], PAPERS["a4"])
