from __future__ import annotations

import numpy as np
import pytest

from calibration.errors import CalibrationError
from logger.config import Tag
from logger.vision.tag.look import Print
from tests.logger.vision.tag.print_painted import DISC, SQUARE, Sheet


@pytest.mark.parametrize("tag", [SQUARE, DISC], ids=["square", "disc"])
def test_ink_is_where_opencv_draws_it(tag: Tag) -> None:
    look = Print(tag).look(blur_mm=0.01)
    along = np.linspace(-tag.size_mm * 0.55, tag.size_mm * 0.55, 61)
    x, y = (grid.astype(np.float32) for grid in np.meshgrid(along, along))
    ink, drawn = look.at(x, y)[..., 0], Sheet(tag).light(x, y) < 0.1
    assert np.mean((ink > 0.5) == drawn) > 0.985  # points on a cell's very edge may fall either way


def test_slopes_are_those_of_the_ink() -> None:
    look = Print(SQUARE).look(blur_mm=1.5)
    x, y = np.full((1, 1), 7.0, np.float32), np.full((1, 1), -19.0, np.float32)
    _, by_x, by_y = look.at(x, y)[0, 0]
    assert by_x == pytest.approx((look.at(x + 0.5, y) - look.at(x - 0.5, y))[0, 0, 0], abs=0.02)
    assert by_y == pytest.approx((look.at(x, y + 0.5) - look.at(x, y - 0.5))[0, 0, 0], abs=0.02)
    assert abs(by_y) > 0.05  # beside the black border the ink does change


def test_smear_spreads_an_edge_along_the_way_only() -> None:
    smeared = Print(SQUARE).look(blur_mm=0.1, smear_mm=np.array([8.0, 0.0]))
    across = smeared.at(np.zeros((1, 41), np.float32), np.linspace(15, 25, 41, dtype=np.float32)[None])[0, :, 0]
    along = smeared.at(np.linspace(15, 25, 41, dtype=np.float32)[None], np.full((1, 41), 18.0, np.float32))[0, :, 0]
    assert ((across > 0.1) & (across < 0.9)).sum() <= 3
    assert 20 < ((along > 0.1) & (along < 0.9)).sum() < 34  # 8 mm of 10, of which a tenth is cut at either end


def test_scale_makes_it_larger() -> None:
    look = Print(SQUARE).look(blur_mm=0.1, scale=1.1)
    at = [look.at(np.full((1, 1), x, np.float32), np.zeros((1, 1), np.float32))[0, 0, 0] for x in (21.5, 22.5)]
    assert at[0] > 0.9
    assert at[1] < 0.1


def test_what_is_compared_ends_before_the_deck() -> None:
    square, disc = Print(SQUARE), Print(DISC)
    assert SQUARE.size_mm / 2 < square.used_mm < square.paper_mm == pytest.approx(20 + 40 / 6)
    look = disc.look(blur_mm=1.0)
    corner = np.full((1, 1), disc.used_mm * 0.8, np.float32)
    assert not look.covers(corner, corner).any()
    assert look.covers(corner, 0 * corner).all()


def test_there_must_be_such_a_number() -> None:
    with pytest.raises(CalibrationError, match="found number 999"):
        Print(Tag("square", number=999))
