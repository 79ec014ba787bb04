"""The boats that are drawn."""

from __future__ import annotations

import numpy as np

from logger.simulator.boats import PAINTS, draw_boat
from logger.simulator.chance import stream
from logger.simulator.tiers import TIERS
from logger.simulator.wishes import Wishes, wishes


def test_boats_are_of_the_sizes_and_masses_that_children_build() -> None:
    seen = set()
    for seed in range(200):
        hull, paint, mass_g = draw_boat(stream(seed, "boat"), TIERS["realistic"], Wishes())
        length, width = np.ptp(hull.outline_mm, axis=0)
        assert 60 <= length <= 350
        assert 59.9 <= width <= 200.1
        assert 8 <= hull.freeboard_mm <= 40
        assert 3 <= mass_g <= 500
        assert 1.0 <= hull.deck_scale <= 1.03
        seen.add(paint)
    assert seen == set(PAINTS)


def test_a_boat_is_as_long_and_as_painted_as_wished() -> None:
    asked = wishes({"shape": "tray", "length_mm": 150.0, "width_mm": 70.0, "paint": "foil", "freeboard_mm": 9.0})
    hull, paint, _ = draw_boat(stream(3, "boat"), TIERS["easy"], asked)
    np.testing.assert_allclose(np.ptp(hull.outline_mm, axis=0), (150.0, 70.0))
    assert (paint, hull.freeboard_mm) == ("foil", 9.0)
