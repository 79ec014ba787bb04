from __future__ import annotations

import numpy as np

from logger.vision.fit import Fit
from logger.vision.lonely import without_lonely


def test_a_boat_that_shows_up_for_a_moment_only_is_none() -> None:
    """By chance a ring looks like the boat in one picture, or in two."""
    fit = Fit(np.zeros(2), 0.0, np.eye(3), strength=1.0, misfit=1.0, known=1.0, agreeing=1.0)
    assert sorted(without_lonely(dict.fromkeys((20, *range(60, 90), 120, 121), fit))) == list(range(60, 90))
    assert sorted(without_lonely(dict.fromkeys((5, 6, 7), fit))) == [5, 6, 7]
    assert without_lonely({}) == {}
