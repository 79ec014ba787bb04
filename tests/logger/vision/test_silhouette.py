from __future__ import annotations

import cv2
import numpy as np
import pytest

from logger.vision.plane import Plane
from logger.vision.silhouette import on_plane, silhouette
from tests.logger.vision.painted import Toy, camera, floor, paint

VIEW = camera()
PLANE = Plane(VIEW, 20.0)


def seen(*, x_mm: float = 200.0, deck: float = 60.0) -> tuple:
    """Polygon on the plane of a boat at (x, 100), and how strongly it stands out."""
    empty = floor(VIEW)
    picture = paint(VIEW, Toy(deck=deck, wall=deck), empty, x_mm=x_mm, y_mm=100, heading_rad=0.3)
    spot = PLANE.pixels(np.array([[x_mm, 100.0]]))[0]
    found = silhouette(picture, empty, centre_px=tuple(spot), radius_px=90, noise=1.0)
    assert found is not None
    return on_plane(found, PLANE), found


def test_the_middle_on_the_plane_is_the_boats_within_its_wall() -> None:
    shape, found = seen()
    assert np.hypot(*(shape.centre_mm - (200, 100))) < 4
    assert shape.axis_rad == pytest.approx(0.3, abs=0.03)
    assert found.contrast == pytest.approx(110, abs=20)


def test_a_tape_line_of_the_boats_grey_does_not_cut_it() -> None:
    whole, _ = seen(x_mm=200, deck=90)
    cut, _ = seen(x_mm=600, deck=90)
    assert cut.area_mm2 == pytest.approx(whole.area_mm2, rel=0.06)


def test_the_dark_shadow_of_a_bright_boat_is_left_out() -> None:
    empty = np.full((200, 200), 150.0, np.float32)
    picture = empty.astype(np.uint8)
    cv2.rectangle(picture, (110, 80), (150, 120), 120, -1)
    cv2.rectangle(picture, (70, 80), (120, 120), 220, -1)
    found = silhouette(picture, empty, centre_px=(95, 100), radius_px=70, noise=1.0)
    assert found is not None
    assert found.polygon_px[:, 0].max() <= 121


def test_area_and_middle_agree_with_opencv_moments() -> None:
    """cv2.moments of the same border, brought to the plane point by point (OpenCV 5, Green's formula on contours)."""
    shape, _ = seen()
    m = cv2.moments(shape.polygon_mm.astype(np.float32))
    assert shape.area_mm2 == pytest.approx(m["m00"], rel=1e-4)
    assert shape.centre_mm == pytest.approx([m["m10"] / m["m00"], m["m01"] / m["m00"]], abs=0.02)


def test_where_nothing_stands_out_there_is_no_silhouette() -> None:
    empty = floor(VIEW)
    assert silhouette(empty.astype(np.uint8), empty, centre_px=(300, 300), radius_px=60, noise=1.0) is None
    assert silhouette(empty.astype(np.uint8), empty, centre_px=(-500, 300), radius_px=60, noise=1.0) is None


def test_of_a_boat_beside_its_larger_shadow_only_what_is_brighter_is_taken() -> None:
    empty = np.full((200, 200), 150.0, np.float32)
    picture = empty.astype(np.uint8)
    cv2.rectangle(picture, (96, 70), (150, 130), 110, -1)
    cv2.rectangle(picture, (70, 85), (100, 115), 175, -1)
    both, boat = (
        silhouette(picture, empty, centre_px=(100, 100), radius_px=70, noise=1.0, is_bright=is_bright)
        for is_bright in (False, True)
    )
    assert both is not None
    assert boat is not None
    assert both.polygon_px[:, 0].max() > 140
    assert boat.polygon_px[:, 0].max() <= 101
