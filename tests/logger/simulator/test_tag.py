"""What is stuck on a deck: its design, its place, its size."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from logger.errors import InputError
from logger.simulator.hull import area_and_centroid
from logger.simulator.scene import Scene, draw
from logger.simulator.tag import TAG_FAMILY, Tag, cells
from logger.simulator.wishes import Wishes, wishes


def a_scene(seed: int = 3, tier: str = "realistic", **asked: object) -> Scene:
    return draw(tier=tier, kind="drift", seed=seed, asked=wishes({"tag": "square"} | asked))  # type: ignore[arg-type]


def a_tag(seed: int = 3, **asked: object) -> Tag:
    tag = a_scene(seed, **asked).tag
    assert tag is not None
    return tag


def test_without_a_wish_there_is_no_tag() -> None:
    assert draw(tier="hard", kind="drift", seed=3, asked=Wishes()).tag is None


def test_a_tag_changes_nothing_else_that_is_drawn() -> None:
    bare, tagged = draw(tier="hard", kind="drift", seed=3, asked=Wishes()), a_scene(3, "hard")
    assert (bare.ended_s, bare.paint, bare.sail, bare.bump) == (tagged.ended_s, tagged.paint, tagged.sail, tagged.bump)


@pytest.mark.parametrize("number", [1, 7, 23])
def test_a_square_is_drawn_as_the_reference_library_draws_it(number: int) -> None:
    """Judge: cv2.aruco finds the number in the drawn cells and its own first corner in front on the left."""
    tag = a_tag(tag_number=number, tag_size_mm=48.0)
    canvas = np.full((400, 400), 255, np.uint8)
    # from above, the bow up: forward is up, left is left
    line = np.round(200 - 5 * tag.ink_mm()[:, ::-1]).astype(np.int32)
    cv2.fillPoly(canvas, [line], 0)
    found, numbers, _ = cv2.aruco.ArucoDetector(
        cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, TAG_FAMILY))
    ).detectMarkers(canvas)
    assert numbers.ravel().tolist() == [number]
    np.testing.assert_allclose(found[0][0], [(80, 80), (320, 80), (320, 320), (80, 320)], atol=1.5)
    corners = tag.corners_mm() - (tag.ahead_mm, tag.left_mm, 0)
    assert corners[0, 0] > 20
    assert corners[0, 1] > 20


def test_the_black_of_a_square_has_the_area_of_its_black_cells() -> None:
    tag = a_tag(tag_number=5, tag_size_mm=36.0)
    black = int(cells(TAG_FAMILY, 5).sum())
    assert abs(area_and_centroid(tag.ink_mm())[0]) == pytest.approx(
        black * (36.0 / len(cells(TAG_FAMILY, 5))) ** 2, rel=1e-9
    )


def test_the_black_of_a_disc_is_a_ring_about_its_dot() -> None:
    tag = a_tag(tag="disc", tag_size_mm=20.0)
    assert tag.number is None
    assert abs(area_and_centroid(tag.ink_mm())[0]) == pytest.approx(np.pi * (10**2 - 3**2), rel=1e-9)
    assert abs(area_and_centroid(tag.paper_mm())[0]) == pytest.approx(np.pi * 15**2, rel=1e-9)


@pytest.mark.parametrize("seed", range(25))
@pytest.mark.parametrize("kind", ["square", "disc"])
def test_a_tag_suits_its_hull_and_sits_on_its_deck(seed: int, kind: str) -> None:
    scene = a_scene(seed, tag=kind)
    tag = scene.tag
    assert tag is not None
    deck = scene.hull.deck_mm
    width = np.ptp(deck[:, 1])
    if kind == "square":
        assert 20 <= tag.size_mm <= 60
        assert tag.size_mm <= 0.7 * width + 0.5
    else:
        assert 15 <= tag.size_mm <= 30
    assert 0 <= tag.height_mm - scene.hull.freeboard_mm <= 15
    inside = [
        cv2.pointPolygonTest(deck.astype(np.float32), (float(x), float(y)), False) for x, y, _ in tag.corners_mm()
    ]
    assert min(inside) > 0
    assert tag.bow_ahead_mm == pytest.approx(scene.hull.outline_mm[:, 0].max() - tag.ahead_mm)
    assert abs(tag.left_mm) <= 1.7
    assert abs(np.degrees(tag.turn_rad)) <= 1.5


def test_a_tag_keeps_clear_of_the_mast_where_there_is_room() -> None:
    scenes = [a_scene(seed, "hard", tag_size_mm=20.0, length_mm=300.0) for seed in range(30)]
    rigged = [(scene.tag, scene.sail) for scene in scenes if scene.sail is not None]
    assert len(rigged) > 8
    for tag, sail in rigged:
        assert tag is not None
        assert sail is not None
        assert abs(tag.ahead_mm - sail.mast_x_mm) > 10


def test_a_wish_is_the_tag_that_there_is() -> None:
    tag = a_tag(
        tag_number=9, tag_size_mm=33.0, tag_height_mm=41.0, tag_left_mm=-3.0, tag_turn_deg=4.0,
        tag_family="DICT_APRILTAG_36h11",
    )  # fmt: skip
    assert (tag.number, tag.size_mm, tag.height_mm, tag.left_mm) == (9, 33.0, 41.0, -3.0)
    assert np.degrees(tag.turn_rad) == pytest.approx(4.0)
    assert cells(tag.family, 9).shape == (8, 8)


def test_an_exact_card_needs_a_tag_that_is_not_turned() -> None:
    assert a_tag(rig_errors=False).turn_rad == 0.0


def test_what_cannot_be_printed_is_said() -> None:
    with pytest.raises(InputError, match="found tag 'star'; wanted square or disc"):
        a_tag(tag="star")
    with pytest.raises(InputError, match="found tag_number 50; DICT_4X4_50 has 0 to 49"):
        a_tag(tag_number=50, tag_family="DICT_4X4_50")
    with pytest.raises(InputError, match="found tag_family 'DICT_NONE'"):
        a_tag(tag_family="DICT_NONE")


def test_the_corners_are_where_place_turn_and_height_put_them() -> None:
    tag = a_tag(tag_size_mm=40.0, tag_turn_deg=30.0, tag_left_mm=5.0, tag_height_mm=33.0)
    # by hand: half a diagonal of 28.284 mm, the front left corner at 45 + 30 degrees from the bow
    x, y, z = tag.corners_mm()[0]
    assert x - tag.ahead_mm == pytest.approx(28.2843 * 0.2588190, abs=1e-3)
    assert y == pytest.approx(5.0 + 28.2843 * 0.9659258, abs=1e-3)
    assert z == 33.0
