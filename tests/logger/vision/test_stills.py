from __future__ import annotations

import numpy as np
import pytest

from logger.vision.stills import find_object
from tests.logger.vision.painted import Toy, camera, floor, paint

VIEW = camera()


def pictures(count: int = 9) -> tuple[list[np.ndarray], np.ndarray]:
    """Photographs of a toy here and there in no order, and where it is (pixels)."""
    empty, rng = floor(VIEW), np.random.default_rng(3)
    places = rng.uniform((-50, -250), (1100, 250), (count, 2))
    toy = Toy(freeboard_mm=0.1, flare=1.0)
    taken = [paint(VIEW, toy, empty, x_mm=x, y_mm=y, heading_rad=x / 90, rng=rng) for x, y in places]
    return taken, VIEW.to_pixels(np.column_stack([places, np.zeros(count)]))


@pytest.mark.parametrize("given", [True, False])
def test_the_middle_is_found_in_every_picture_dark_on_light(given: bool) -> None:
    taken, true_px = pictures()
    found = find_object(taken, floor(VIEW).astype(np.uint8) if given else None)
    off = [np.hypot(*(np.array(body.centre_px) - at)) for body, at in zip(found, true_px, strict=True) if body]
    assert len(off) == len(taken)
    # nine pictures are few for a median: faint ghosts of the others are left in it
    assert max(off) < (1.0 if given else 2.0)


def test_light_on_dark_is_found_as_well_and_colour_pictures_are_taken() -> None:
    taken, true_px = pictures()
    inverted = [np.repeat(255 - picture[..., None], 3, axis=2) for picture in taken]
    found = find_object(inverted, size_px=75)
    off = [np.hypot(*(np.array(body.centre_px) - at)) for body, at in zip(found, true_px, strict=True) if body]
    assert len(off) == len(taken)
    assert max(off) < 2.0


def test_an_empty_picture_holds_nothing() -> None:
    empty = floor(VIEW).astype(np.uint8)
    assert find_object([empty], empty) == [None]


def test_wrong_input_is_told() -> None:
    with pytest.raises(ValueError, match="no images were given"):
        find_object([])
    with pytest.raises(ValueError, match="2 different sizes"):
        find_object([np.zeros((10, 10), np.uint8), np.zeros((10, 12), np.uint8)])
