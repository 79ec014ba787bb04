from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from logger.vision.film import StoredFilm
from logger.vision.fit import Fitter
from logger.vision.hull import Floats, Hull
from logger.vision.sides import pulled
from tests.logger.vision.conftest import Painted

NUMBERS = [45, 75, 105]
"""Under way, on both sides of the foot point and near it."""


def fitted(painted: Painted, hull: Hull) -> Floats:
    numbers = np.array(NUMBERS)
    pictures = dict(StoredFilm(painted.recording).pictures(NUMBERS))
    fits = Fitter(hull, painted.plane, painted.found.water, painted.found.tone).fits(
        [pictures[n] for n in NUMBERS],
        place_mm=painted.on_plane(numbers),
        heading_rad=painted.headings_rad[numbers],
        steps=20,
    )
    return np.array([fit.place_mm for fit in fits])


def expected(painted: Painted) -> tuple[Floats, Floats]:
    numbers = np.array(NUMBERS)
    return pulled(
        painted.learnt.hull,
        painted.learnt.water,
        painted.plane,
        place_mm=painted.on_plane(numbers),
        heading_rad=painted.headings_rad[numbers],
    )


def test_a_wrong_taper_pulls_fits_as_foretold(painted: Painted) -> None:
    hull = painted.learnt.hull
    _, by_taper = expected(painted)
    moved = fitted(painted, replace(hull, taper=hull.taper + 0.004)) - fitted(painted, replace(hull, taper=hull.taper))
    assert np.abs(by_taper).max() * 0.004 > 0.03, "nothing to be seen here"
    assert moved[[0, 2], 0] == pytest.approx(-0.004 * by_taper[[0, 2], 0], rel=0.5)


def test_a_wrong_freeboard_pulls_fits_as_foretold(painted: Painted) -> None:
    hull = painted.learnt.hull
    by_freeboard, _ = expected(painted)
    higher = replace(hull, freeboard_mm=hull.freeboard_mm + 0.8)
    moved = fitted(painted, higher) - fitted(painted, hull)
    assert np.abs(by_freeboard).max() * 0.8 > 0.03, "nothing to be seen here"
    assert moved[[0, 2], 0] == pytest.approx(-0.8 * by_freeboard[[0, 2], 0], rel=0.4)
    # before and behind the foot point it is pulled to opposite sides
    assert by_freeboard[0, 0] * by_freeboard[2, 0] < 0
