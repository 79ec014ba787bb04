"""A boat that was lost is found again where it is, and nowhere if it is nowhere."""

from __future__ import annotations

import numpy as np
import pytest

from logger.vision.fit import Fitter
from logger.vision.seeking import Seeker
from tests.logger.vision.conftest import Painted
from tests.logger.vision.painted import camera, floor


@pytest.fixture(scope="module")
def seeker(painted: Painted) -> Seeker:
    fitter = Fitter(painted.learnt.hull.thinned(), painted.plane, painted.found.water, painted.found.tone)
    return Seeker(fitter, painted.found, None)


def test_it_is_found_in_each_picture_that_shows_it(painted: Painted, seeker: Seeker) -> None:
    numbers = painted.found.numbers[[1, len(painted.found.numbers) // 2]]
    shown = [painted.found.pictures[k] for k in (1, len(painted.found.numbers) // 2)]
    empty = np.asarray(np.round(np.nan_to_num(floor(camera()))), np.uint8)
    pictures = [shown[0], empty, shown[1]]
    turned = painted.headings_rad[numbers] + 0.3
    first, none, last = seeker.again(pictures, headings_rad=np.array([turned[0], 0.0, turned[1]]))
    assert none is None
    for found, true, heading in zip(
        (first, last), painted.on_plane(numbers), painted.headings_rad[numbers], strict=True
    ):
        assert found is not None
        assert np.hypot(*(found.place_mm - true)) < 0.5
        assert found.heading_rad == pytest.approx(float(heading), abs=0.02)


def test_without_pictures_nothing_is_found(seeker: Seeker) -> None:
    assert seeker.again([], headings_rad=np.zeros(0)) == []
