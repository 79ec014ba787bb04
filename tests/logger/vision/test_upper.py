from __future__ import annotations

import numpy as np

from logger.vision.upper import every, rows_px
from tests.logger.vision.conftest import Painted
from tests.logger.vision.test_pursuit import T_S, film_of
from tests.logger.vision.test_survey import Film


def test_whole_blocks_of_rows_hold_the_boat_in_every_picture(painted: Painted) -> None:
    rows = rows_px(painted.learnt, painted.plane, T_S[painted.found.numbers], T_S)
    assert len(rows) == 150
    assert all(count % 16 == 0 for count in rows)
    numbers = np.arange(150)
    around = painted.plane.pixels(painted.on_plane(numbers))[:, 1] + 10
    assert (np.array(rows) > around).all()
    assert min(rows) < 720, "else nothing would be saved"


def test_pictures_come_in_order_from_the_first_of_the_sparse_pass_on_and_its_own_are_whole(painted: Painted) -> None:
    pictures = film_of(painted)
    first = int(painted.found.numbers[0])
    got = list(every(Film(pictures), painted.found, [320] * 150))
    assert [number for number, _, _ in got] == list(range(first, 150))
    held = set(painted.found.numbers.tolist())
    assert all(len(picture) == (720 if number in held else 320) for number, picture, _ in got)
    assert all(np.array_equal(whole(), pictures[number]) for number, _, whole in got[:10])
