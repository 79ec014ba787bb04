from __future__ import annotations

import numpy as np
import pytest

from logger.vision.shelf import COLOUR, GREY, Shelf

SHADES, COLOURS = np.zeros((4, 6), np.uint8), np.ones((4, 6, 3), np.uint8)


def test_pictures_are_at_hand_while_the_shelf_is_open_and_never_afterwards() -> None:
    shelf = Shelf(is_open=False)
    shelf.put(3, SHADES, GREY)
    assert shelf.held([3], GREY) == {}
    with shelf.opened():
        shelf.put(3, SHADES, GREY)
        shelf.put(4, COLOURS, COLOUR)
        assert shelf.held([3, 4, 5], GREY)[3] is SHADES
        assert shelf.held([3, 4, 5], COLOUR)[4] is COLOURS
        assert len(shelf.held([3, 4, 5], GREY)) == len(shelf.held([3, 4, 5], COLOUR)) == 1
    assert shelf.held([3], GREY) == shelf.held([4], COLOUR) == {}


def test_it_is_emptied_also_when_something_breaks_off() -> None:
    shelf = Shelf(is_open=False)

    def broken_off() -> None:
        with shelf.opened():
            shelf.put(3, SHADES, GREY)
            raise ValueError("broken")

    with pytest.raises(ValueError, match="broken"):
        broken_off()
    assert shelf.held([3], GREY) == {}


def test_it_holds_no_more_however_long_the_film_is_and_hands_out_in_order() -> None:
    shelf = Shelf(is_open=False)
    with shelf.opened():
        for number in range(1000, 0, -1):
            shelf.put(number, SHADES, GREY)
            shelf.put(number, COLOURS, COLOUR)
        held, in_colours = list(shelf.held(range(1001), GREY)), shelf.held(range(1001), COLOUR)
    assert 0 < len(in_colours) < len(held) < 65
    assert held == sorted(held)


def test_of_what_is_made_of_pictures_the_last_kind_is_held_only() -> None:
    shelf = Shelf(is_open=False)
    with shelf.opened():
        shelf.put(1, SHADES, GREY)
        shelf.put(1, COLOURS, COLOUR)
        shelf.put(1, SHADES, "hue")
        shelf.put(2, SHADES, "hue")
        assert list(shelf.held([1, 2], "hue")) == [1, 2]
        shelf.put(2, SHADES, "crinkles")
        assert list(shelf.held([1, 2], "crinkles")) == [2]
        assert shelf.held([1, 2], "hue") == {}
        assert list(shelf.held([1], GREY)) == list(shelf.held([1], COLOUR)) == [1]
