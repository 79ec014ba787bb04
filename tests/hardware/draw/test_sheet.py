"""What is read from a sheet is what was drawn on it."""

from __future__ import annotations

import pytest

from hardware.draw.circuit import Circuit, joined, two

pytest.importorskip("schemdraw", reason="schemdraw is not installed: pip install '.[hardware]'")

from schemdraw import elements as elm

from hardware.draw.sheet import Sheet


def divider() -> Circuit:
    return joined(
        "d",
        "A divider",
        (two("R1", "resistor", "5V", "M", value="1 kΩ"), two("R2", "resistor", "M", "GND", value="2 kΩ")),
    )


def drawn(*, low: float) -> Sheet:
    sheet = Sheet(divider())
    sheet.two("R1", elm.ResistorIEC(), (0, 4), (0, 2))
    sheet.two("R2", elm.ResistorIEC(), (3, 2), (3, low))
    sheet.rail("5V", (0, 4))
    sheet.rail("GND", (3, 0))
    return sheet


def test_a_line_joins_and_a_gap_does_not() -> None:
    sheet = drawn(low=0)
    apart = {frozenset({("R1", "b")}), frozenset({("R2", "a")})}
    assert apart <= sheet.nets()
    sheet.wire((0, 2), (3, 2))
    assert frozenset({("R1", "b"), ("R2", "a")}) in sheet.nets()
    assert frozenset({("rail", "GND"), ("R2", "b")}) in sheet.nets()


def test_a_terminal_that_misses_its_rail_by_a_hair_is_seen() -> None:
    assert frozenset({("R2", "b")}) in drawn(low=0.02).nets()


def test_lines_that_cross_are_not_joined_and_lines_that_end_on_a_line_are() -> None:
    sheet = drawn(low=0)
    sheet.wire((0, 2), (0, 1), (4, 1))  # crosses R2's place, x = 3, between its ends, where no line runs
    assert frozenset({("R1", "b")}) in sheet.nets()
    sheet.wire((4, 1), (4, 2), (3, 2))
    assert frozenset({("R1", "b"), ("R2", "a")}) in sheet.nets()


def test_the_drawing_says_refs_and_values_as_text() -> None:
    svg = drawn(low=0).svg()
    for text in ("R1", "1 kΩ", "R2", "2 kΩ", "<title>A divider</title>"):
        assert text in svg
    assert svg == drawn(low=0).svg()
