"""The runs of a class as tables for spreadsheets, made from what was read; a damaged part leaves its rows empty.

What leaves the rig by a page that nobody gave a PIN for holds no notes and no times of day.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Literal, TypeAlias

from logger.config import Rig
from logger.errors import InputError
from logger.recording.recovery import is_unfinished
from logger.recording.sensor_tables import read_edges
from logger.records import Edge
from logger.results.csvw import files
from logger.results.export import ExportRun, Table, tables_of
from logger.results.exported import track_rows
from logger.results.workbook import workbook
from logger.study.class_folder import Class, ClassRun, MissingRun

Form: TypeAlias = Literal["csv", "csv-comma", "xlsx"]
FORMS: tuple[Form, ...] = ("csv", "csv-comma", "xlsx")
PRIVATE = ("note", "clock_time", "recorded_at")
"""Columns whose cells stay empty."""
_ZIP_DATE = (1980, 1, 1, 0, 0, 0)


def class_tables(whole: Class, *, only: str = "") -> tuple[Table, ...]:
    """All tables of a class, or of one of its runs.

    Raises:
        InputError: a text in them would be taken for a formula.
    """
    runs = [_of_run(one) for one in whole.runs if only in ("", one.id)]
    runs += [_of_missing(one) for one in whole.missing if only in ("", one.id)]
    return tuple(_public(table) for table in tables_of(runs))


def class_files(whole: Class, form: Form, *, only: str = "") -> Mapping[str, bytes]:
    """Names and contents of the files, in one of `FORMS`."""
    tables = class_tables(whole, only=only)
    if form == "xlsx":
        return {"runs.xlsx": workbook(tables)}
    return {name: text.encode() for name, text in files(tables, comma=form == "csv-comma").items()}


def one_table(tables: Sequence[Table], name: str, form: Form) -> bytes:
    """The file of one table, with all others left out. KeyError: there is no such table."""
    found = next((table for table in tables if table.name == f"{name}.csv"), None)
    if found is None:
        raise KeyError(name)
    return workbook((found,)) if form == "xlsx" else files((found,), comma=form == "csv-comma")[found.name].encode()


def zipped_files(made: Mapping[str, bytes], folder: str) -> bytes:
    """Files as one zip that unpacks into `folder`; the same files are the same zip."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in made.items():
            archive.writestr(zipfile.ZipInfo(f"{folder}/{name}", _ZIP_DATE), content, zipfile.ZIP_DEFLATED)
    return held.getvalue()


def run_rows(whole: Class) -> list[dict[str, str]]:
    """The rows of runs.csv, tracks and edges left aside."""
    runs = [replace(_of_run(one, with_parts=False)) for one in whole.runs]
    runs += [_of_missing(one) for one in whole.missing]
    table = tables_of(runs)[0]
    return [dict(zip((column.name for column in table.columns), row, strict=True)) for row in table.rows]


def _of_run(one: ClassRun, *, with_parts: bool = True) -> ExportRun:
    run = one.run
    return ExportRun(
        trial=replace(run.trial, run_id=run.card.season_id), status=run.trial.status,
        boat=run.card.boat.name, team=one.team, status_reason=one.reason,
        card=run.card, rig=run.rig, edges=_edges(one, run.rig) if with_parts else (),
        track=_track(one) if with_parts else (),
    )  # fmt: skip


def _of_missing(one: MissingRun) -> ExportRun:
    return ExportRun(trial=one.trial, status=one.trial.status, boat=one.boat, team=one.team)


def _edges(one: ClassRun, rig: Rig) -> tuple[Edge, ...]:
    if one.folder is None:
        return ()
    try:
        return read_edges(one.folder / "edges.csv", rig, _nothing, cut_short=is_unfinished(one.folder))
    except InputError:
        return ()


def _nothing(_doubt: str) -> None:
    """What is odd about edges was told when the run was measured."""


def _track(one: ClassRun) -> tuple[Mapping[str, str], ...]:
    if one.folder is None or one.trouble:
        return ()
    try:
        return track_rows(one.folder)
    except InputError:
        return ()


def _public(table: Table) -> Table:
    private = {at for at, column in enumerate(table.columns) if column.name in PRIVATE}
    rows = tuple(tuple("" if at in private else cell for at, cell in enumerate(row)) for row in table.rows)
    return replace(table, rows=rows)
