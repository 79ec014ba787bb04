from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.config import Gate
from logger.errors import InputError
from logger.recording.masking import MARGIN_MM, shown_part
from logger.study.rig_seen import rig_seen
from tests.logger.study.test_places_seen import RIG, VIEW, coloured

GATED = replace(RIG, gates=(Gate("start-gate", "start", 4.0, 0.5, 2.0),))
BESIDE_PX = [(5, 5), (1275, 5), (640, 20), (640, 700)]
"""Far from the tank, which lies from row 235 to row 484."""


def test_lines_beams_and_zones_lie_on_the_water_that_is_seen() -> None:
    seen = rig_seen(np.full((720, 1280), 140, np.uint8), VIEW, GATED)
    assert coloured(seen, 100.0, 120.0), "the start line"
    assert coloured(seen, 780.0, 100.0), "the ring"
    assert coloured(seen, 1100.0, -150.0), "the port"
    u, v = np.rint(VIEW.to_pixels([[500.0, -50.0, 0.0]])[0]).astype(int)
    assert np.ptp(seen[v, u]) == 0
    assert seen[v, u, 0] > 100, "the water itself"


def test_the_beam_is_drawn_where_it_stands_beside_its_line() -> None:
    """4 mm would not be told from the line in this picture: 60 mm are."""
    moved = replace(GATED, gates=(Gate("start-gate", "start", 60.0, 0.5, 2.0),))
    picture = np.full((720, 1280), 140, np.uint8)
    along = [(160.0, y) for y in np.linspace(-150, -30, 25)]  # beyond that stand names and axes
    with_it, without = (rig_seen(picture, VIEW, rig) for rig in (moved, replace(RIG, gates=())))
    assert sum(coloured(with_it, *place) for place in along) > 6, "dashes"
    assert not any(coloured(without, *place) for place in along)


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 2**32 - 1), st.booleans())
def test_of_what_is_beside_the_water_nothing_can_be_told(seed: int, in_colour: bool) -> None:
    """Two rooms that could not be more unlike give the same picture, to the bit."""
    chance = np.random.default_rng(seed)
    size = (720, 1280, 3) if in_colour else (720, 1280)
    one, other = chance.integers(0, 256, size, np.uint8), chance.integers(0, 256, size, np.uint8)
    water = shown_part(VIEW, RIG.tank)
    other[water] = one[water]
    assert (rig_seen(one, VIEW, GATED) == rig_seen(other, VIEW, GATED)).all()


def test_of_what_is_on_the_water_much_can_be_told() -> None:
    one = np.full((720, 1280), 140, np.uint8)
    other = one.copy()
    cv2.circle(other, (640, 400), 12, 255, -1)
    assert (rig_seen(one, VIEW, GATED) != rig_seen(other, VIEW, GATED)).any()
    assert MARGIN_MM < 50, "a hand at the rim is not shown with its arm"
    for column, row in BESIDE_PX:
        assert rig_seen(one, VIEW, GATED)[row, column].max() < 40


def test_a_picture_of_another_size_is_refused() -> None:
    with pytest.raises(InputError, match="found pictures of 640 x 360 pixels; wanted 1280 x 720"):
        rig_seen(np.zeros((360, 640), np.uint8), VIEW, RIG)
