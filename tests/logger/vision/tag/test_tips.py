from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from logger.vision import outline
from logger.vision.hull import Hull
from logger.vision.tag.tips import tipped
from tests.logger.vision.test_hull import hull

BOAT = np.array([[120.0, 0.0], [40.0, 45.0], [-80.0, 45.0], [-80.0, -45.0], [40.0, -45.0]])


def laid(polygon) -> Hull:
    """A hull whose rays stand on that outline."""
    edge, is_corner = outline.laid_out(polygon, 44, blunt_mm=4.0)
    return replace(
        hull(), edge_mm=edge, normal=outline.normals(edge, is_corner), is_corner=is_corner,
        deck=np.zeros((len(edge), 4)), wall=np.zeros(len(edge)), noise=np.ones((len(edge), 4)),
        offsets_mm=np.arange(4.0), blur_mm=1.3,
    )  # fmt: skip


def test_an_outline_whose_rays_all_stand_on_its_sides_is_left_as_it_is() -> None:
    assert tipped(laid(BOAT)) is None


def test_a_round_boat_has_no_tips() -> None:
    turn = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    assert tipped(laid(60 * np.column_stack([np.cos(turn), np.sin(turn)]))) is None


@pytest.mark.parametrize("cut", [((112.0, 4.5), (108.0, -6.75)), ((114.0, 3.375), (104.0, -9.0))])
def test_a_bow_that_was_cut_off_askew_is_drawn_on(cut) -> None:
    (ax, ay), (bx, by) = cut
    blunt = laid(np.array([(ax, ay), *BOAT[1:], (bx, by)]))
    # the learning moved one ray of the blunt end to where the boat's edge is
    beside = int(np.argmax(blunt.edge_mm[:, 0] - 10 * blunt.is_corner))
    normal = blunt.normal.copy()
    normal[beside] = outline.turned(normal[beside][None], 0.5)[0]
    found = tipped(replace(blunt, normal=normal))
    assert found is not None
    assert found[:, 0].max() == pytest.approx(120.0, abs=1.0)
    assert outline.extents(found) == pytest.approx((200.0, 90.0), abs=1.0)
