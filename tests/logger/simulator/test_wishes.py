"""Wishes by name."""

from __future__ import annotations

import pytest

from logger.errors import InputError
from logger.simulator.wishes import Wishes, wished, wishes


def test_what_is_asked_is_wished_and_the_rest_left_to_chance() -> None:
    assert wishes({"k1": -0.1, "paint": "foil"}) == Wishes(k1=-0.1, paint="foil")
    assert wished(None, 3.0) == 3.0
    assert wished(0.0, 3.0) == 0.0


def test_a_wish_that_is_not_known_is_named() -> None:
    with pytest.raises(InputError, match="found the option speed; wanted one of"):
        wishes({"speed": 3})
