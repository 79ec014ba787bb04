"""Poles, boards, straws, tags and cameras fit; the board floats as Archimedes says."""

from __future__ import annotations

import pytest

pytest.importorskip("manifold3d", reason="manifold3d is not installed: pip install '.[hardware]'")

from hardware.draw.other_mounts import (
    CAMERA_HOLES_MM,
    OtherSizes,
    board_corner,
    camera_plate,
    face_height_mm,
    pole_cross,
    straw_holder,
    tag_plate,
)
from hardware.draw.shapes import box, hexagon, rod
from tests.hardware.draw.gauges import goes

LONG = (-200.0, 200.0)


@pytest.mark.parametrize("pole_mm", [20.0, 25.0, 28.0])
def test_both_poles_go_through_the_cross_at_once_and_thicker_ones_do_not(pole_mm: float) -> None:
    cross = pole_cross(OtherSizes(pole_mm=pole_mm))
    apart, middle = (pole_mm + 8) / 2, cross.bounding_box()[5] / 2
    upright = rod(pole_mm + 0.2, along="z", at=(0, -apart), span=LONG)
    arm = rod(pole_mm + 0.2, along="x", at=(apart, middle), span=LONG)
    assert goes(cross, upright + arm)
    assert goes(upright, arm)
    for thick in (
        rod(pole_mm + 0.9, along="z", at=(0, -apart), span=LONG),
        rod(pole_mm + 0.9, along="x", at=(apart, middle), span=LONG),
    ):
        assert not goes(cross, thick)


def test_the_cross_closes_by_screws_that_meet_no_pole() -> None:
    cross = pole_cross()
    middle, reach = cross.bounding_box()[5] / 2, cross.bounding_box()[4]
    for side in (-12, 12):
        assert goes(cross, rod(6.0, along="x", at=(-reach + 7, middle + side), span=LONG))
        assert goes(cross, rod(6.0, along="z", at=(side, reach - 7), span=LONG))
        assert goes(cross, hexagon(10.0, along="z", at=(side, reach - 7), span=(2 * middle - 5.2, 2 * middle)))
        assert not goes(cross, hexagon(10.8, along="z", at=(side, reach - 7), span=(2 * middle - 5.2, 2 * middle)))


def test_the_camera_plate_takes_pole_tripod_screw_camera_board_and_tether() -> None:
    plate = camera_plate()
    axis = 5 + 6 + 25.4 / 2
    assert goes(plate, rod(25.2, along="x", at=(0, axis), span=LONG))
    assert not goes(plate, rod(25.9, along="x", at=(0, axis), span=LONG))
    assert goes(plate, rod(6.35, along="z", at=(-33, 0), span=(-5, 8)))  # 1/4 inch, ISO 1222
    across, upright, _ = CAMERA_HOLES_MM
    for dx in (-upright / 2, upright / 2):
        for dy in (-across / 2, across / 2):
            assert goes(plate, rod(2.0, along="z", at=(31 + dx, dy), span=(-5, 8)))
    assert goes(plate, box((-46.5, -8, -5), (-43.5, 8, 8)))  # a strap of 16 × 3 mm


def test_a_corner_slides_over_its_board_and_no_thicker_one() -> None:
    corner = board_corner()
    x0, y0 = corner.bounding_box()[3] - 36 + 2, corner.bounding_box()[4] - 36 + 2
    for thick_mm, fits in ((5.0, True), (5.5, False)):
        board = box((x0, y0, 1.3), (x0 + 297, y0 + 210, 1.3 + thick_mm))
        assert goes(corner, board) == fits


def test_a_straw_of_6_mm_stands_in_its_holder() -> None:
    assert goes(straw_holder(), rod(6.0, along="z", at=(0, 0), span=(1.3, 80)))
    assert not goes(straw_holder(), rod(6.6, along="z", at=(0, 0), span=(1.3, 80)))
    assert straw_holder().volume() / 1000 * 1.27 < 2, "grams on a light boat"


def test_a_tag_of_40_mm_as_printed_lies_in_its_plate() -> None:
    """Its size as cut out comes from the sheet that prints it."""
    from logger.study.tag_sheet import Wanted

    tag, plate = Wanted(5, 40.0), tag_plate()
    low_y = plate.bounding_box()[1] + 1.2
    half = tag.width_mm / 2
    assert goes(plate, box((-half, low_y + 0.1, 0.85), (half, low_y + 0.1 + tag.height_mm, 3)))
    assert not goes(plate, box((-half, low_y + 0.1, 0.85), (half, low_y + 1.1 + tag.height_mm, 3)))
    assert not goes(plate, box((-half, low_y + 0.1, 0.7), (half, low_y + 0.1 + tag.height_mm, 3))), "lies on something"


def test_the_board_s_face_stands_as_high_as_it_floats() -> None:
    """Archimedes: what floats displaces its own mass. 60 g on 297 × 210 mm sink in by 1 mm."""
    assert face_height_mm(mass_g=62.2, area_mm2=297 * 210, thick_mm=5) == pytest.approx(4.0, abs=0.01)
    assert face_height_mm(mass_g=0, area_mm2=1, thick_mm=5) == 5
