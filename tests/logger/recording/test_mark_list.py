"""The list of marks is read strictly, for a mistake in it is a mistake of everything measured."""

from __future__ import annotations

from pathlib import Path

import pytest

from calibration.plane import PlacedMark
from logger.errors import InputError
from logger.recording.mark_list import read_marks


def written(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "marks.csv"
    path.write_text(text)
    return path


def test_numbers_names_heights_and_pixels_are_read(tmp_path: Path) -> None:
    text = (
        "mark,x_mm,y_mm,height_mm,u_mm,column_px,row_px,filled_column_px,filled_row_px\n"
        "3,0,-250,45,,,,,\nleft end,0,250.5,,2,100.5,40,104,42\n"
    )
    marks, filled = read_marks(written(tmp_path, text))
    assert marks == [PlacedMark("3", 0, -250, 45), PlacedMark("left end", 0, 250.5, 0, 2, (100.5, 40))]
    assert marks[0].number == 3
    assert marks[1].number is None
    assert filled == {"left end": (104, 42)}


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("mark,x_mm\n1,2\n", r"line 1: found .* wanted the header mark,x_mm,y_mm\[,height_mm\]"),
        ("mark;x_mm;y_mm\n1;2;3\n", "put commas between the columns"),
        ("mark,x_mm,y_mm\n1,0,zero\n", r'line 2: y_mm is "zero"; wanted a number, with a decimal point'),
        ("mark,x_mm,y_mm\n1,0,nan\n", "wanted a number"),
        ("mark,x_mm,y_mm\n1,0,9e9\n", "at most 50000, in mm or pixels"),
        ("mark,x_mm,y_mm\n1,0,0\n1,5,5\n", "a name or number of its own for each mark"),
        ("mark,x_mm,y_mm\n1,0,0\n2,0,0\n", "another place than that of mark 1"),
        ("mark,x_mm,y_mm\n", "found no marks; wanted a line for each"),
        ("mark,x_mm,y_mm\n1,0,0\n2,3,4", "end the last line with a line break"),
        ("mark,x_mm,y_mm,u_mm\n1,0,0,-1\n", "a standard uncertainty in mm, 0 or more"),
        ("mark,x_mm,y_mm,column_px,row_px\na,0,0,5,\n", "row_px is missing; wanted column and row, or neither"),
        ("mark,x_mm,y_mm\n ,0,0\n", "a number as printed, or a name"),
    ],
)
def test_what_is_wrong_is_told_with_its_line(tmp_path: Path, text: str, told: str) -> None:
    with pytest.raises(InputError, match=told):
        read_marks(written(tmp_path, text))
