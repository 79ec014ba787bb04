"""Values out of a table, with every mistake kept."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from calibration.errors import CalibrationError
from calibration.reader import Reader, read_toml


def test_mistakes_gather_in_order() -> None:
    reader = Reader()
    table = {"a": "x", "b": -1, "lenght": 3}
    assert math.isnan(reader.number(table, "t.", "a"))
    assert math.isnan(reader.uncertainty(table, "t.", "b"))
    reader.known(table, "t.", ("a", "b", "length"))
    assert reader.mistakes == [
        "t.a: found 'x'; wanted a finite number",
        "t.b: found -1; wanted a standard uncertainty, 0 or more",
        "t.lenght: not a known name; wanted 'length'?",
    ]


@pytest.mark.parametrize("value", [True, "1", None, math.nan, -math.inf, 10**400, [1]])
def test_only_finite_numbers_are_numbers(value: object) -> None:
    reader = Reader()
    reader.number({"a": value}, "", "a")
    assert len(reader.mistakes) == 1


def test_whole_numbers_are_numbers() -> None:
    reader = Reader()
    assert reader.number({"a": 3}, "", "a", positive=True) == 3
    assert reader.mistakes == []


@pytest.mark.parametrize("rows", [[[1, 2], [3, 4]], [[1.5, 2], [3, 4]]])
def test_an_array_of_the_right_shape_comes_whole(rows: list[list[float]]) -> None:
    np.testing.assert_array_equal(Reader().array({"m": rows}, "", "m", (2, 2)), rows)


@pytest.mark.parametrize(
    "rows", [[[1, 2], [3]], [1, 2], [[1, 2]], [[1, 2], [3, "4"]], "12", None, [[1, 2], [3, math.nan]]]
)
def test_an_array_of_another_shape_is_a_mistake(rows: object) -> None:
    reader = Reader()
    assert reader.array({"m": rows}, "", "m", (2, 2)) is None
    assert "wanted 2 x 2 finite numbers" in reader.mistakes[0]


def test_a_long_find_is_cut_short() -> None:
    reader = Reader()
    reader.say("here", "x" * 1000, "less")
    assert len(reader.mistakes[0]) < 120


def test_a_torn_file_says_where_it_tears(tmp_path: Path) -> None:
    path = tmp_path / "torn.toml"
    path.write_text("a = 1\nb = [1, 2", encoding="utf-8")
    with pytest.raises(CalibrationError, match=r"torn\.toml: is not whole TOML .*(line 2|end of document)"):
        read_toml(path)
