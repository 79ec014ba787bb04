"""The plain tables of a recording: frames.csv, edges.csv, events.csv, read as a stream and strictly.

UTF-8, a comma between columns, a header with the columns' names, a line break at the end of every line, the last one
too. A last line without it was torn by a crash and is left out, with a doubt.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeAlias

from logger import settings
from logger.errors import InputError

MOST_LETTERS = 5_000
"""In one line."""
MOST_NS = 2**63 - 1
Doubt: TypeAlias = Callable[[str], None]
"""Takes one sentence about something that is wrong but can be lived with."""


@dataclass(frozen=True, slots=True)
class Columns:
    """Which columns a table has, and how many lines at most."""

    needed: tuple[str, ...]
    optional: tuple[str, ...] = ()
    most_lines: int = 1_000_000
    """Without the header."""

    def __str__(self) -> str:
        return ",".join(self.needed) + "".join(f"[,{name}]" for name in self.optional)


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a table, with its place for messages."""

    file: str
    line_number: int
    """Counted from 1, the header."""
    cells: dict[str, str]

    def refusal(self, column: str, wanted: str) -> InputError:
        """The error that says what is wrong with the cell of `column`."""
        return InputError(
            f"{self.file} line {self.line_number}: {column} is {settings.shorten(self.cells[column])}; wanted {wanted}"
        )

    def whole(self, column: str, *, most: int = MOST_NS) -> int:
        """The cell as a whole number from 0 to `most`."""
        text = self.cells[column].strip()
        if text.isascii() and text.isdigit() and len(text) < 20 and int(text) <= most:
            return int(text)
        raise self.refusal(column, _wanted_whole(text, most))


def _wanted_whole(text: str, most: int) -> str:
    limit = "" if most == MOST_NS and not text.isdigit() else f" and at most {most}"
    wanted = f"a whole number, 0 or more{limit}"
    if any(letter in text for letter in ".,eE") and any(letter.isdigit() for letter in text):
        return f"{wanted}, written with digits only (times in nanoseconds; no decimals, no separators, no exponent)"
    return wanted


def rows(path: Path, columns: Columns, doubt: Doubt, *, cut_short: bool = False) -> Iterator[Row]:
    """The lines of the table at `path`, one by one, so that a file of any size needs the same memory.

    Args:
        path: The file.
        columns: What the table should have.
        doubt: Takes what is wrong but can be lived with.
        cut_short: The file may end before its header does: then there are no rows. Zeros, where a part of the file
            never reached the disk, are its end.

    Raises:
        InputError: at the first line that is wrong.
    """
    lines = _lines(path, doubt, cut_short=cut_short)
    head = next(lines, None)
    if head is None and cut_short:
        return
    if head is None:
        raise InputError(f"{path}: the file is empty; wanted the header {columns}; write it anew or remove the file")
    file = str(path)
    names = _header(file, head, columns)
    for number, line in enumerate(lines, 2):
        if number > columns.most_lines + 1:
            raise InputError(f"{path}: more than {columns.most_lines} lines; split the recording into single runs")
        cells = _cells(file, number, line)
        if len(cells) != len(names):
            raise InputError(
                f"{path} line {number}: found {len(cells)} values in {settings.shorten(line)}; "
                f"wanted {len(names)} with commas between ({','.join(names)})"
            )
        yield Row(file, number, dict(zip(names, cells, strict=True)))


def _lines(path: Path, doubt: Doubt, *, cut_short: bool) -> Iterator[str]:
    """Whole lines of the file without their ends; a torn last one is left out and doubted."""
    if not path.is_file():
        raise InputError(f"{path}: this is no file; put the table of that name there")
    try:
        with path.open("rb") as file:
            number = 0
            while data := file.readline(MOST_LETTERS):
                number += 1
                if cut_short and b"\0" in data:
                    doubt(f"{path.name}: from line {number} on it never reached the disk and was left out")
                    return
                if not data.endswith(b"\n"):
                    _torn(path, number, data, doubt)
                    return
                yield _text(path, number, data)
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror}); check what it is and its permissions") from error


def _torn(path: Path, number: int, data: bytes, doubt: Doubt) -> None:
    if len(data) == MOST_LETTERS and not data.endswith(b"\0"):
        raise InputError(f"{path} line {number}: longer than {MOST_LETTERS} letters; this is no such table")
    doubt(f"{path.name}: the last line (line {number}) has no line break at its end and was left out")


def _text(path: Path, number: int, data: bytes) -> str:
    try:
        text = data.decode("utf-8-sig" if number == 1 else "utf-8").removesuffix("\n").removesuffix("\r")
    except UnicodeDecodeError as error:
        raise InputError(f"{path} line {number}: not UTF-8 text; save the table as CSV in UTF-8") from error
    if "\0" in text or "\r" in text:
        raise InputError(f"{path} line {number}: found a control character; save the table as plain CSV in UTF-8")
    return text


def _cells(file: str, number: int, line: str) -> list[str]:
    if '"' not in line:
        return line.split(",") if line else []
    try:
        return next(csv.reader(io.StringIO(line), strict=True), [])
    except csv.Error as error:
        raise InputError(
            f"{file} line {number}: found {settings.shorten(line)}; quotes do not match ({error}); mend that line"
        ) from (error)


def _header(file: str, line: str, columns: Columns) -> Sequence[str]:
    names = [name.strip() for name in _cells(file, 1, line)]
    known = (*columns.needed, *columns.optional)
    wrong = [name for name in names if name not in known]
    missing = [name for name in columns.needed if name not in names]
    if not wrong and not missing and len(set(names)) == len(names):
        return names
    cure = ""
    if len(names) == 1 and (";" in line or "\t" in line):
        cure = "; put commas between the columns, not semicolons or tabs"
    elif wrong:
        cure = settings.near(wrong[0], missing or known)
    raise InputError(f"{file} line 1: found {settings.shorten(line)}; wanted the header {columns}{cure}")
