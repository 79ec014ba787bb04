"""The workbook read back by others: openpyxl through pandas, and LibreOffice where it is installed."""

from __future__ import annotations

import io
import shutil
import subprocess
from datetime import datetime, time
from pathlib import Path

import openpyxl
import pandas
import pytest

from logger.results.csvw import files
from logger.results.export import tables_of
from logger.results.workbook import workbook
from tests.logger.results.test_export import measured

RUNS = [measured(), measured("r-2", status="void", status_reason="wind")]


def test_every_number_of_the_tables_is_a_number_in_the_workbook() -> None:
    tables = tables_of(RUNS)
    texts, sheets = files(tables), pandas.read_excel(io.BytesIO(workbook(tables)), sheet_name=None)
    assert [f"{name}.csv" for name in sheets][:-1] == [table.name for table in tables]
    for name, sheet in sheets.items():
        if name == "what it means":
            continue
        told = pandas.read_csv(io.StringIO(texts[f"{name}.csv"], newline=""))
        numbers = told.select_dtypes("number").columns
        assert len(numbers) > 0 or not len(told)
        pandas.testing.assert_frame_equal(told[numbers], sheet[numbers], check_dtype=False)


def test_dates_and_yes_and_no_are_what_they_are() -> None:
    book = openpyxl.load_workbook(io.BytesIO(workbook(tables_of(RUNS))))
    head, first, second = book["runs"].iter_rows(values_only=True)
    row = dict(zip(head, first, strict=True))
    assert row["date"] == datetime(2026, 11, 25)
    assert row["clock_time"] == time(10, 32, 5)
    assert row["counted"] is True
    assert row["path_mm"] is None
    assert dict(zip(head, second, strict=True))["counted"] is False


def test_nothing_in_it_is_a_formula_or_a_link() -> None:
    """Names of boats that begin with = are refused earlier; a reason somebody typed may hold one further on."""
    tables = tables_of([measured(status="void", status_reason="see http://example.org or =1+1")])
    book = openpyxl.load_workbook(io.BytesIO(workbook(tables)))
    for sheet in book:
        assert not any(cell.data_type == "f" or cell.hyperlink for row in sheet.iter_rows() for cell in row)


def test_stamps_too_long_for_a_spreadsheet_stay_whole() -> None:
    """A spreadsheet keeps 15 digits (IEEE 754: whole numbers up to 2 to the 53rd)."""
    tables = tables_of([measured(edges=())])
    long = [table for table in tables if table.name == "tracks.csv"]
    book = openpyxl.load_workbook(io.BytesIO(workbook(long)))
    assert book["tracks"]["B2"].value == 0


@pytest.mark.skipif(shutil.which("soffice") is None, reason="LibreOffice is not installed")
def test_libreoffice_reads_the_same_numbers(tmp_path: Path) -> None:
    tables = tables_of(RUNS)
    (tmp_path / "runs.xlsx").write_bytes(workbook(tables))
    subprocess.run(
        ["soffice", f"-env:UserInstallation=file://{tmp_path}/home", "--headless", "--convert-to", "csv", "--outdir",
         str(tmp_path), str(tmp_path / "runs.xlsx")],
        check=True, capture_output=True, timeout=120,
    )  # fmt: skip
    seen = pandas.read_csv(tmp_path / "runs.csv")
    told = pandas.read_csv(io.StringIO(files(tables)["runs.csv"], newline=""))
    for name in ("drift_mm", "time_s", "mass_g", "water_depth_mm"):
        assert seen[name].tolist() == pytest.approx(told[name].tolist(), nan_ok=True)
