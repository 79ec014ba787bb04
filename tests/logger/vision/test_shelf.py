from __future__ import annotations

import numpy as np
import pytest

from logger.vision.shelf import Shelf

GREY, COLOUR = np.zeros((4, 6), np.uint8), np.ones((4, 6, 3), np.uint8)


def test_pictures_are_at_hand_while_the_shelf_is_open_and_never_afterwards() -> None:
    shelf = Shelf(is_open=False)
    shelf.put(3, GREY)
    assert shelf.held([3], is_grey=True) == {}
    with shelf.opened():
        shelf.put(3, GREY)
        shelf.put(4, COLOUR)
        assert shelf.held([3, 4, 5], is_grey=True)[3] is GREY
        assert shelf.held([3, 4, 5], is_grey=False)[4] is COLOUR
        assert len(shelf.held([3, 4, 5], is_grey=True)) == len(shelf.held([3, 4, 5], is_grey=False)) == 1
    assert shelf.held([3], is_grey=True) == shelf.held([4], is_grey=False) == {}


def test_it_is_emptied_also_when_something_breaks_off() -> None:
    shelf = Shelf(is_open=False)

    def broken_off() -> None:
        with shelf.opened():
            shelf.put(3, GREY)
            raise ValueError("broken")

    with pytest.raises(ValueError, match="broken"):
        broken_off()
    assert shelf.held([3], is_grey=True) == {}


def test_it_holds_no_more_however_long_the_film_is() -> None:
    shelf = Shelf(is_open=False)
    with shelf.opened():
        for number in range(1000):
            shelf.put(number, GREY)
        assert 0 < len(shelf.held(range(1000), is_grey=True)) < 65
