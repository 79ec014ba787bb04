"""Heights, pixels and beams of a plan: by hand, by an independent projection, and against what must not be."""

from __future__ import annotations

import itertools
import math

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration import tags
from calibration.placing import (
    TAG_CELLS_COUNT,
    TILT_DEG,
    Camera,
    Site,
    blur_mm,
    cautions,
    exposure_s,
    gates,
    height_mm,
    mm_per_px,
    speed_ratio,
)

POOL = Site(1800, 900)
WIDE = Camera(66, 41)


def matrix_of(camera: Camera) -> np.ndarray:
    """Pinhole with these full angles, its middle in the picture's middle (OpenCV's conventions)."""
    f = [
        n / 2 / math.tan(math.radians(a) / 2)
        for n, a in ((camera.width_px, camera.across_deg), (camera.height_px, camera.upright_deg))
    ]
    return np.array([[f[0], 0, camera.width_px / 2], [0, f[1], camera.height_px / 2], [0, 0, 1]])


def test_the_pinhole_has_the_angles_for_the_library_too() -> None:
    """cv2.calibrationMatrixValues gives the field of view back."""
    across, upright, *_ = cv2.calibrationMatrixValues(matrix_of(WIDE), (1280, 720), 1.0, 1.0)
    assert (across, upright) == pytest.approx((66, 41))


sizes = st.floats(300, 4000)


@given(
    length=sizes,
    share=st.floats(0.1, 1),
    angles=st.tuples(st.floats(40, 110), st.floats(30, 80)),
    tall=st.floats(0, 200),
)
def test_all_water_and_all_that_rises_on_it_is_in_the_picture_however_the_camera_is_tilted(
    length: float, share: float, angles: tuple[float, float], tall: float
) -> None:
    """Projected by cv2.projectPoints, which knows nothing of the plan."""
    site, camera = Site(length, share * length, tall_mm=tall), Camera(*angles)
    above = height_mm(site, camera).value
    x, y = site.length_mm / 2, site.width_mm / 2
    corners = np.array([(a * x, b * y, above - z) for a in (-1, 1) for b in (-1, 1) for z in (0.0, tall)])
    for about_x, about_y in itertools.product((-TILT_DEG, 0, TILT_DEG), repeat=2):
        if about_x and about_y:
            continue  # the tilt that is allowed for is along one side
        turned = np.radians([about_x, about_y, 0.0])
        pixels = cv2.projectPoints(corners, turned, np.zeros(3), matrix_of(camera), None)[0].reshape(-1, 2)
        assert (pixels >= 0).all()
        assert (pixels <= [camera.width_px, camera.height_px]).all()


def test_it_does_not_hang_much_higher_than_it_must() -> None:
    """Without rim, tilt and tall things: L / 2 tan(a / 2), 1386 mm here; the plan adds what it says it adds."""
    least = 900 / math.tan(math.radians(33))
    by_hand = 100 + 930 / math.tan(math.radians(31))
    assert height_mm(POOL, WIDE).value == pytest.approx(by_hand)
    assert least < by_hand < 1.2 * least


def test_the_short_side_counts_where_it_asks_for_more() -> None:
    assert height_mm(Site(1000, 1000), WIDE).value == pytest.approx(100 + 530 / math.tan(math.radians(18.5)))


def test_a_lens_that_is_not_what_its_sheet_says_widens_the_height() -> None:
    sure, unsure = Camera(66, 41, u_angle_ratio=0.0), Camera(66, 41, u_angle_ratio=0.02)
    assert height_mm(POOL, sure).u == 0
    narrow = height_mm(POOL, Camera(66 * 0.98, 41 * 0.98)).value
    assert height_mm(POOL, unsure).u == pytest.approx(narrow - height_mm(POOL, sure).value)
    assert 30 < height_mm(POOL, unsure).u < 60


def test_an_angle_from_corner_to_corner_is_taken_apart_as_a_pinhole_does() -> None:
    """tan²(d/2) = tan²(a/2) + tan²(u/2), and the sides are as 16 to 9."""
    camera = Camera.by_diagonal(78)
    across, upright = (math.tan(math.radians(n) / 2) for n in (camera.across_deg, camera.upright_deg))
    assert math.hypot(across, upright) == pytest.approx(math.tan(math.radians(39)))
    assert across / upright == pytest.approx(16 / 9)


def test_pixels_show_what_the_picture_shows_divided_by_their_number() -> None:
    assert mm_per_px(WIDE, 1200) == pytest.approx(
        max(2400 * math.tan(math.radians(33)) / 1280, 2400 * math.tan(math.radians(20.5)) / 720)
    )
    assert mm_per_px(WIDE, 2400) == pytest.approx(2 * mm_per_px(WIDE, 1200))


def test_exposure_keeps_the_blur_small_enough() -> None:
    """A 4 ms exposure, 1/250 s, at 1.25 m/s is 5 mm: what hardware/README.md says."""
    assert blur_mm(1250, 0.004) == 5.0
    assert exposure_s(1250) == pytest.approx(0.004)
    assert blur_mm(1250, exposure_s(1250, tag_mm=40)) == pytest.approx(40 / 6 / 2)
    assert exposure_s(1250, tag_mm=100) == exposure_s(1250)


def test_a_tag_has_as_many_cells_as_its_family() -> None:
    assert tags.cells(0).shape == (TAG_CELLS_COUNT, TAG_CELLS_COUNT)


def test_beams_leave_room_for_a_boat_and_say_what_a_speed_is_worth() -> None:
    beams = gates(POOL)
    assert (beams.height_mm, beams.start_mm) == (40, 300)
    assert beams.distance is not None
    assert beams.distance.value == 1800 - 300 - 150
    by_hand = 1.96 * math.hypot(math.sqrt(2) / 1350, math.sqrt(2) * 1e-4 * 1250 / 1350)
    assert speed_ratio(beams.distance, 1250) == pytest.approx(by_hand, rel=1e-3)


@pytest.mark.parametrize(
    ("site", "camera", "said"),
    [
        (Site(3050, 110), WIDE, "near or above a usual ceiling"),
        (Site(1800, 900), Camera(110, 70), "bends much"),
        (Site(1800, 900), Camera(66, 41, 640, 360), "print tags of 65 mm"),
        (Site(500, 300), WIDE, "less than a boat's length"),
        (Site(400, 300), WIDE, "0 mm are left from beam to beam"),
        (Site(1800, 900, straw_mm=0), WIDE, "give every boat a flag straw"),
        (Site(1800, 900, straw_mm=30), WIDE, "for what rises 30 mm"),
    ],
)
def test_what_may_not_work_is_said(site: Site, camera: Camera, said: str) -> None:
    assert any(said in caution for caution in cautions(site, camera, tag_mm=40))


def test_a_usual_pool_needs_no_caution() -> None:
    assert list(cautions(POOL, WIDE, tag_mm=40)) == []
