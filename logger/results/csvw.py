"""Tables as CSV, and beside them what every column is.

csv-metadata.json is in the W3C's vocabulary for tables ("Metadata Vocabulary for Tabular Data", 2015), each unit as a
UCUM code. CSVW itself has no word for a unit, so it stands under QUDT's property `ucumCode`.

Spreadsheets read CSV as their language writes numbers. Where that is with a comma, columns are parted by semicolons and
the file begins with a mark that says UTF-8: so Excel and LibreOffice there open it by a double click.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence

from logger import __version__
from logger.results.columns import Column
from logger.results.export import Table, kind_of

METADATA = "csv-metadata.json"
"""The name under which readers of CSVW look for it without being told."""

_UCUM = "http://qudt.org/schema/qudt/ucumCode"
_MARK = "\ufeff"


def files(tables: Sequence[Table], *, comma: bool = False) -> dict[str, str]:
    """Name -> text of every file, in UTF-8 when written; line ends are CR LF (RFC 4180).

    Args:
        tables: with everything as text already.
        comma: whether decimals are parted by a comma, and columns by semicolons.
    """
    return {table.name: _csv(table, comma=comma) for table in tables} | {METADATA: _metadata(tables, comma=comma)}


def _csv(table: Table, *, comma: bool) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n", delimiter=";" if comma else ",")
    writer.writerow(column.name for column in table.columns)
    rows = table.rows if not comma else (_with_commas(row, table.columns) for row in table.rows)
    writer.writerows(rows)
    return (_MARK if comma else "") + text.getvalue()


def _with_commas(row: Sequence[str], columns: Sequence[Column]) -> list[str]:
    return [
        cell.replace(".", ",") if kind_of(column) == "number" else cell
        for cell, column in zip(row, columns, strict=True)
    ]


def _metadata(tables: Sequence[Table], *, comma: bool) -> str:
    content = {
        "@context": ["http://www.w3.org/ns/csvw", {"@language": "en"}],
        "dc:title": "Boat runs",
        "dc:creator": f"boatrun {__version__}",
        "dc:description": (
            "Empty means not measured or not known. Columns u_... are standard uncertainties of the rig; the spread "
            "from run to run is not in them. Rows whose status is void are kept: counted says which rows count."
        ),
        "dialect": {
            "encoding": "utf-8",
            "header": True,
            "delimiter": ";" if comma else ",",
            "lineTerminators": ["\r\n", "\n"],
        },
        "tables": [_described(table, comma=comma) for table in tables],
    }
    return json.dumps(content, ensure_ascii=False, indent=1) + "\n"


def _described(table: Table, *, comma: bool) -> dict[str, object]:
    schema: dict[str, object] = {
        "columns": [_described_column(c, c.name in table.required, comma=comma) for c in table.columns]
    }
    if table.key:
        schema["primaryKey"] = list(table.key)
    elif table.name != "runs.csv":
        reference = {"resource": "runs.csv", "columnReference": "run_id"}
        schema["foreignKeys"] = [{"columnReference": "run_id", "reference": reference}]
    return {"url": table.name, "dc:title": table.title, "tableSchema": schema}


def _described_column(column: Column, required: bool, *, comma: bool) -> dict[str, object]:
    described: dict[str, object] = {
        "name": column.name,
        "titles": column.name,
        "dc:title": column.words,
        "dc:description": column.meaning,
        "datatype": _datatype(column, comma=comma),
    }
    if required:
        described["required"] = True
    if column.unit:
        described[_UCUM] = column.unit
    return described


def _datatype(column: Column, *, comma: bool) -> object:
    kind = kind_of(column)
    if kind == "boolean":
        return {"base": kind, "format": "true|false"}
    return {"base": "decimal", "format": {"decimalChar": ","}} if kind == "number" and comma else kind
