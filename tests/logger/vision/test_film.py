from __future__ import annotations

import numpy as np
import pytest

from logger.vision.film import StoredFilm
from tests.logger.vision.conftest import Painted


def test_only_the_wanted_pictures_are_handed_out_in_order_and_grey(painted: Painted) -> None:
    film = StoredFilm(painted.recording)
    assert film.count == 150
    got = list(film.pictures([3, 140, 7]))
    assert [number for number, _ in got] == [3, 7, 140]
    assert got[0][1].shape == (720, 1280)


@pytest.mark.parametrize("channel", [0, 1, 2])
def test_a_colour_of_a_grey_film_is_its_brightness(painted: Painted, channel: int) -> None:
    (_, colour), (_, grey) = (
        next(iter(StoredFilm(painted.recording, channel).pictures([5]))),
        next(iter(StoredFilm(painted.recording).pictures([5]))),
    )
    assert np.abs(colour.astype(int) - grey).max() <= 2
