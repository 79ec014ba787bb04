"""A picture shows what is there, in the right place and order."""

from __future__ import annotations

import numpy as np
import pytest

pytest.importorskip("manifold3d", reason="manifold3d is not installed: pip install '.[hardware]'")

from hardware.draw.picture import PAPER, Seen, picture
from hardware.draw.shapes import box, rod

RED, BLUE = (255, 0, 0), (0, 0, 255)
SIZE = (120, 90)


def is_red(image: np.ndarray) -> np.ndarray:
    return np.asarray((image[..., 2] > 60) & (image[..., 0] < 30))


def test_a_box_from_above_covers_what_it_should() -> None:
    """40 × 20 mm fill 90 % of the width: 108 × 54 pixels."""
    image = picture([Seen(box((0, 0, 0), (40, 20, 5)), RED)], turn_deg=0, rise_deg=90, size_px=SIZE)
    covered = (image != PAPER).any(2)
    assert covered.sum() == pytest.approx(108 * 54, rel=0.04)
    assert covered[45, 60]
    assert not covered[2, 60]


def test_what_is_nearer_hides_what_is_behind_whatever_the_order() -> None:
    front, back = Seen(box((0, -10, 0), (10, -5, 10)), RED), Seen(box((0, 5, 0), (10, 10, 10)), BLUE)
    for scene in ([front, back], [back, front]):
        image = picture(scene, turn_deg=0, rise_deg=0, size_px=SIZE)
        assert is_red(image)[45, 60]
        assert not ((image[..., 0] > 60) & (image[..., 2] < 30)).any(), "nothing blue is seen"


def test_what_rises_is_higher_in_the_picture_and_x_goes_to_the_right() -> None:
    post = Seen(rod(2, along="z", at=(20, 0), span=(0, 20)), RED)
    image = picture([Seen(box((-20, -20, -1), (22, 20, 0)), BLUE), post], turn_deg=0, rise_deg=30, size_px=SIZE)
    rows, columns = np.nonzero(is_red(image))
    assert columns.mean() > 0.6 * SIZE[0]
    assert rows.min() < 0.2 * SIZE[1]


def test_what_is_clear_hides_nothing() -> None:
    clear = Seen(box((0, -10, 0), (10, -5, 10)), BLUE, opacity=0.3)
    image = picture([clear, Seen(box((0, 5, 0), (10, 10, 10)), RED)], turn_deg=0, rise_deg=0, size_px=SIZE)
    blue, _, red = image[45, 60].tolist()
    assert red > blue > 0
