"""Tables and blocks."""

from __future__ import annotations

import pytest

from hardware.draw.markdown import filled, table


def test_a_block_is_filled_and_the_text_around_it_stays() -> None:
    text = "before\n<!-- made: header -->\nold\n<!-- end -->\nafter\n"
    assert filled(text, {"header": "new\n"}) == "before\n<!-- made: header -->\nnew\n<!-- end -->\nafter\n"
    assert filled(filled(text, {"header": "new\n"}), {"header": "new\n"}) == filled(text, {"header": "new\n"})


def test_a_block_that_nothing_makes_is_told() -> None:
    with pytest.raises(KeyError, match="unheard"):
        filled("<!-- made: unheard -->\n<!-- end -->", {})


def test_a_table_has_a_head_and_its_rows() -> None:
    assert table(["a", "b"], [["1", "2"]]) == "| a | b |\n| --- | --- |\n| 1 | 2 |\n"
