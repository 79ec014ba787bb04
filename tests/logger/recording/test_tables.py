"""Plain tables are read as a stream, strictly, and a torn last line is lived with."""

from __future__ import annotations

import tracemalloc
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.errors import InputError
from logger.recording.tables import Columns, rows

COLUMNS = Columns(("t_ns", "gate"), ("count",), most_lines=1000)


def read(path: Path, data: bytes, columns: Columns = COLUMNS) -> tuple[list[dict[str, str]], list[str]]:
    path.write_bytes(data)
    doubts: list[str] = []
    return [row.cells for row in rows(path, columns, doubts.append)], doubts


@pytest.fixture
def table(tmp_path: Path) -> Path:
    return tmp_path / "edges.csv"


@pytest.mark.parametrize(
    "data",
    [
        b"t_ns,gate\n1,a\n2,b\n",
        b"gate,t_ns\na,1\nb,2\n",
        b"\xef\xbb\xbft_ns,gate\r\n1,a\r\n2,b\r\n",
        b' t_ns , gate\n1,"a"\n2,b\n',
    ],
)
def test_order_of_columns_line_ends_and_byte_order_mark_do_not_matter(table: Path, data: bytes) -> None:
    assert read(table, data) == ([{"t_ns": "1", "gate": "a"}, {"t_ns": "2", "gate": "b"}], [])


@pytest.mark.parametrize("tail", [b"3", b"3,", b"3,c", b'3,"c', b"\xc3", b"\0\0\0\0", b"3,c\0\0", b"\0" * 20_000])
def test_a_torn_last_line_is_left_out_with_a_doubt(table: Path, tail: bytes) -> None:
    found, doubts = read(table, b"t_ns,gate\n1,a\n2,b\n" + tail)
    assert len(found) == 2
    assert doubts == ["edges.csv: the last line (line 4) has no line break at its end and was left out"]


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", r"the file is empty; wanted the header t_ns,gate\[,count\]"),
        (b"t_ns,gate", r"the file is empty; wanted the header"),
        (b"1,a\n", r'line 1: found "1,a"; wanted the header t_ns,gate'),
        (b"t_ns;gate\n1;a\n", r"put commas between the columns, not semicolons or tabs"),
        (b"t_ns\tgate\n", r"put commas between the columns, not semicolons or tabs"),
        (b"t_ns,gat\n", r'did you mean "gate"'),
        (b"t_ns,gate,t_ns\n", r"wanted the header"),
        (b"t_ns,gate,colour\n", r"wanted the header"),
        (b"t_ns,gate\n1\n", r'line 2: found 1 values in "1"; wanted 2 with commas between \(t_ns,gate\)'),
        (b"t_ns,gate\n1,a,b\n", r"line 2: found 3 values"),
        (b"t_ns,gate\n\n", r"line 2: found 0 values"),
        (b't_ns,gate\n1,"a\n', r"line 2: found .*quotes do not match"),
        (b"t_ns,gate\n1,a\xff\n", r"line 2: not UTF-8 text; save the table as CSV in UTF-8"),
        (b"t_ns,gate\n1,a\0\n", r"line 2: found a control character"),
        ("t_ns,gate\n".encode("utf-16"), r"line 1: not UTF-8 text"),
        (b"t_ns,gate\n1," + b"a" * 6000 + b"\n", r"line 2: longer than 5000 letters"),
        (b"t_ns,gate\n" + b"1,a\n" * 1001, r"more than 1000 lines; split the recording"),
    ],
)
def test_what_is_no_such_table_is_refused_in_one_line(table: Path, data: bytes, message: str) -> None:
    with pytest.raises(InputError, match=message) as caught:
        read(table, data)
    assert str(caught.value).startswith(str(table))
    assert str(caught.value).isprintable()


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("-1", "a whole number, 0 or more"),
        ("", "a whole number, 0 or more"),
        ("1.5", "written with digits only"),
        ("1e9", "written with digits only"),
        ('"1,5"', "written with digits only"),
        ("nan", "a whole number, 0 or more"),
        ("²", "a whole number, 0 or more"),
        ("９", "a whole number, 0 or more"),
        ("0x10", "a whole number, 0 or more"),
        ("1_000", "a whole number, 0 or more"),
        ("9223372036854775808", "a whole number, 0 or more"),
        ("9" * 4000, "a whole number, 0 or more"),
    ],
)
def test_a_time_is_a_whole_number_and_nothing_else(table: Path, text: str, wanted: str) -> None:
    table.write_text(f"t_ns,gate\n{text},a\n", encoding="utf-8")
    (row,) = rows(table, COLUMNS, pytest.fail)
    with pytest.raises(InputError, match=f"line 2: t_ns is .*; wanted .*{wanted}"):
        row.whole("t_ns")


@pytest.mark.parametrize(("text", "value"), [("0", 0), (" 7 ", 7), ("9223372036854775807", 2**63 - 1)])
def test_every_time_of_64_bits_is_taken_exactly(table: Path, text: str, value: int) -> None:
    table.write_text(f"t_ns,gate\n{text},a\n")
    (row,) = rows(table, COLUMNS, pytest.fail)
    assert row.whole("t_ns") == value


def test_a_limit_of_one_column_is_named(table: Path) -> None:
    table.write_text("t_ns,gate\n2,a\n")
    (row,) = rows(table, COLUMNS, pytest.fail)
    with pytest.raises(InputError, match=r'line 2: t_ns is "2"; wanted a whole number, 0 or more and at most 1'):
        row.whole("t_ns", most=1)


def test_a_folder_in_place_of_a_table_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="this is no file; put the table of that name there"):
        list(rows(tmp_path, COLUMNS, pytest.fail))


def test_a_long_table_needs_no_more_memory_than_a_short_one(table: Path) -> None:
    table.write_bytes(b"t_ns,gate\n" + b"123456789012,start\n" * 50_000)
    tracemalloc.start()
    count = sum(1 for _ in rows(table, Columns(("t_ns", "gate")), pytest.fail))
    peak_bytes = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert count == 50_000
    assert peak_bytes < 300_000  # the file has 950 000


@given(st.binary(max_size=60))
def test_any_bytes_whatever_are_read_or_refused(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    path = tmp_path_factory.getbasetemp() / "any.csv"
    try:
        found, doubts = read(path, b"t_ns,gate\n" + data)
    except InputError as error:
        found, doubts = [], [str(error)]
    assert found or doubts or not data.strip()
    assert all(doubt.isprintable() for doubt in doubts)
