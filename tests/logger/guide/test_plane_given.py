from __future__ import annotations

import math

import pytest

from logger.guide import plane_given as given


def test_what_is_written_is_read() -> None:
    assert given.pair("210,-40.5") == (210.0, -40.5)
    assert given.step("200") == (200.0, 200.0)
    assert given.step("300,200") == (300.0, 200.0)
    assert given.grid("5x3") == (5, 3)
    assert given.depth("98") == (98.0, None)
    assert given.depth("98@0,-150") == (98.0, (0.0, -150.0))
    assert given.count("12") == 12


def test_a_length_that_may_be_anywhere_within_has_its_rectangular_doubt() -> None:
    """JCGM 100:2008, 4.3.7: half the width over the root of three."""
    assert given.length("1000±3") == (1000.0, pytest.approx(3 / math.sqrt(3)))
    assert given.length("1000+-3") == given.length("1000±3")


@pytest.mark.parametrize(
    ("read", "text"),
    [
        (given.number, "nan"), (given.positive, "0"), (given.count, "51"), (given.pair, "1"), (given.step, "0,1"),
        (given.grid, "5"), (given.depth, "9@1"), (given.length, "-3"), (given.length, "near"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_with_what_was_found(read, text: str) -> None:
    with pytest.raises(ValueError, match=r"found '.*'; wanted"):
        read(text)
