"""Tables say what the circuits hold, and get into the texts where their marks are."""

from __future__ import annotations

import pytest

from hardware.draw import circuits
from hardware.draw.tables import filled, parts, table, wiring_blocks


def test_a_block_is_filled_and_the_text_around_it_stays() -> None:
    text = "before\n<!-- made: header -->\nold\n<!-- end -->\nafter\n"
    assert filled(text, {"header": "new\n"}) == "before\n<!-- made: header -->\nnew\n<!-- end -->\nafter\n"
    assert filled(filled(text, {"header": "new\n"}), {"header": "new\n"}) == filled(text, {"header": "new\n"})


def test_a_block_that_nothing_makes_is_told() -> None:
    with pytest.raises(KeyError, match="unheard"):
        filled("<!-- made: unheard -->\n<!-- end -->", {})


def test_equal_parts_stand_together_and_none_is_left_out() -> None:
    circuit = circuits.gates_at_pi()
    listed = parts(circuit)
    assert "| 4 × | resistor 1 kΩ |  | R12, R13, R22, R23 |" in listed
    for part in circuit.parts:
        assert (part.ref in listed) == (part.drawn and part.kind != "pin"), part.ref


def test_every_row_has_as_many_fields_as_the_head() -> None:
    assert table(["a", "b"], [["1", "2"]]) == "| a | b |\n| --- | --- |\n| 1 | 2 |\n"
    for name, block in wiring_blocks().items():
        lines = block.splitlines()
        fields = {len(line.strip("|").split("|")) for line in lines}
        assert len(fields) == 1, name
        assert len(lines) > 2, name
