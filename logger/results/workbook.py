"""Tables as one workbook (Office Open XML): a sheet for each, numbers as numbers, and a sheet that says what all is."""

from __future__ import annotations

import io
from collections.abc import Sequence

import numpy as np
from xlsxwriter import Workbook
from xlsxwriter.format import Format
from xlsxwriter.worksheet import Worksheet

from logger.results.columns import Column
from logger.results.export import Table, kind_of

_MOST_EXACT = 2**53
"""Whole numbers beyond this are written as text: a spreadsheet keeps 15 digits and would round stamps."""
_WIDEST = 40
_MADE_AT = np.datetime64("1980-01-01T00:00:00").item()
"""So that the same tables are the same file."""
_NOUGHT = "1899-12-30"
"""The day from which spreadsheets count (ISO/IEC 29500-1, 18.17.4.1)."""


def workbook(tables: Sequence[Table]) -> bytes:
    """The whole file. Nothing in it is a formula: every text is written as text."""
    held = io.BytesIO()
    with Workbook(held, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}) as book:
        book.set_properties({"created": _MADE_AT})
        head = book.add_format({"bold": True, "bottom": 1})
        formats = {
            "date": book.add_format({"num_format": "yyyy-mm-dd"}),
            "time": book.add_format({"num_format": "hh:mm:ss"}),
        }
        for table in tables:
            _sheet(book.add_worksheet(table.name.removesuffix(".csv")), table, head, formats)
        _dictionary(book.add_worksheet("what it means"), tables, head)
    return held.getvalue()


def _sheet(sheet: Worksheet, table: Table, head: Format, formats: dict[str, Format]) -> None:
    sheet.freeze_panes(1, 1)
    for at, column in enumerate(table.columns):
        sheet.write_string(0, at, column.name, head)
        sheet.set_column(at, at, min(_WIDEST, max(9, len(column.name) + 2)))
    for line, row in enumerate(table.rows, start=1):
        for at, (cell, column) in enumerate(zip(row, table.columns, strict=True)):
            _write(sheet, line, at, cell, column, formats)


def _write(sheet: Worksheet, line: int, at: int, cell: str, column: Column, formats: dict[str, Format]) -> None:
    kind = kind_of(column)
    if not cell:
        return
    if kind == "number" or (kind == "integer" and abs(int(cell)) <= _MOST_EXACT):
        sheet.write_number(line, at, float(cell))
    elif kind == "boolean":
        sheet.write_boolean(line, at, cell == "true")
    elif kind == "date":
        days = (np.datetime64(cell, "D") - np.datetime64(_NOUGHT, "D")).astype(int)
        sheet.write_number(line, at, int(days), formats["date"])
    elif kind == "time":
        hours, minutes, seconds = (float(part) for part in cell.split(":"))
        sheet.write_number(line, at, (hours * 60 + minutes + seconds / 60) / 1440, formats["time"])
    else:
        sheet.write_string(line, at, cell)


def _dictionary(sheet: Worksheet, tables: Sequence[Table], head: Format) -> None:
    for at, (title, width) in enumerate((("table", 10), ("column", 26), ("unit", 8), ("what it is", 110))):
        sheet.write_string(0, at, title, head)
        sheet.set_column(at, at, width)
    rows = [(table.name.removesuffix(".csv"), c.name, c.unit, c.meaning) for table in tables for c in table.columns]
    for line, row in enumerate(rows, start=1):
        for at, cell in enumerate(row):
            sheet.write_string(line, at, cell)
