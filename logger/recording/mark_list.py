"""A list of marks of known places: a plain table that a spreadsheet writes."""

from __future__ import annotations

import math
from pathlib import Path

from calibration.plane import PlacedMark
from logger.errors import InputError
from logger.recording.tables import Columns, Row, rows

MARK_COLUMNS = Columns(
    ("mark", "x_mm", "y_mm"),
    ("height_mm", "u_mm", "column_px", "row_px", "filled_column_px", "filled_row_px"),
    most_lines=500,
)
_FARTHEST_MM = 50_000.0


def read_marks(path: Path) -> tuple[list[PlacedMark], dict[str, tuple[float, float]]]:
    """The marks of the table at `path`; and by name, where some are in the picture of the filled tank.

    Raises:
        InputError: at the first line that is wrong.
    """
    marks: list[PlacedMark] = []
    filled: dict[str, tuple[float, float]] = {}
    for row in rows(path, MARK_COLUMNS, _refuse_torn):
        mark = _mark(row)
        if mark.name in {other.name for other in marks}:
            raise row.refusal("mark", "a name or number of its own for each mark")
        twin = next((o for o in marks if (o.x_mm, o.y_mm, o.height_mm) == (mark.x_mm, mark.y_mm, mark.height_mm)), None)
        if twin is not None:
            raise row.refusal("x_mm", f"another place than that of mark {twin.name}")
        marks.append(mark)
        again = _pixel(row, "filled_column_px", "filled_row_px")
        if again is not None:
            filled[mark.name] = again
    if not marks:
        raise InputError(f"{path}: found no marks; wanted a line for each, such as 1,0,-250,45")
    return marks, filled


def _refuse_torn(sentence: str) -> None:
    raise InputError(f"{sentence}; end the last line with a line break, so that it is sure to be whole")


def _mark(row: Row) -> PlacedMark:
    name = row.cells["mark"].strip()
    if not 1 <= len(name) <= 40 or not name.isprintable():
        raise row.refusal("mark", "a number as printed, or a name of 1 to 40 letters")
    place = [_number(row, column) for column in ("x_mm", "y_mm")]
    height = _number(row, "height_mm") if row.cells.get("height_mm", "").strip() else 0.0
    u = None
    if row.cells.get("u_mm", "").strip():
        u = _number(row, "u_mm")
        if u < 0:
            raise row.refusal("u_mm", "a standard uncertainty in mm, 0 or more")
    return PlacedMark(name, place[0], place[1], height, u, _pixel(row, "column_px", "row_px"))


def _pixel(row: Row, *columns: str) -> tuple[float, float] | None:
    given = [bool(row.cells.get(column, "").strip()) for column in columns]
    if not any(given):
        return None
    if not all(given):
        missing = columns[given.index(False)]
        raise InputError(f"{row.file} line {row.line_number}: {missing} is missing; wanted column and row, or neither")
    across, down = (_number(row, column) for column in columns)
    return across, down


def _number(row: Row, column: str) -> float:
    text = row.cells[column].strip()
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise row.refusal(column, "a number, with a decimal point")
    if abs(value) > _FARTHEST_MM:
        raise row.refusal(column, f"at most {_FARTHEST_MM:.0f}, in mm or pixels")
    return value
