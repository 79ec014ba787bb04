"""The three ways as recipes: what is left out, refused, doubted, and what the water did."""

from __future__ import annotations

import numpy as np
import pytest

from calibration.board import BoardSeen
from calibration.errors import CalibrationError
from calibration.floor import DepthReading, floor_from
from calibration.plane import Afloat, PlacedMark, board_seen, floor_seen, plane_from, rim_seen, water_effect
from tests.calibration import plane_tank
from tests.calibration.plane_tank import tank

GRID = np.array([[x, y] for y in (-180, 0, 180) for x in (75, 412, 750, 1088, 1425)], np.float64)
NAMES = [f"g{n}" for n in range(len(GRID))]
FLOOR = floor_from([DepthReading(100.0)], u_mm=2.0, about_mm=(750, 0))
UNDER = np.column_stack([GRID, np.full(len(GRID), -100.0)])


@pytest.mark.parametrize("way", plane_tank.WAYS)
def test_every_way_is_good_to_a_few_mm_at_8_degrees_and_a_bend_of_0_2(way: str) -> None:
    rng = np.random.default_rng(5)
    one = tank(rng)
    off, u = plane_tank.errors_mm(plane_tank.calibrated(way, one, rng), one)
    assert np.linalg.norm(off, axis=1).max() < 6
    assert (np.abs(off) < 4 * u).all()


def test_a_rim_mark_that_is_not_seen_is_left_out_and_told() -> None:
    one = tank(np.random.default_rng(1))
    marks = [PlacedMark(str(n), x, y, 45.0) for n, (x, y) in enumerate(plane_tank.RIM_XY)]
    found = dict(enumerate(one.eye.see([[x, y, 45.0] for x, y in plane_tank.RIM_XY])))
    del found[2]
    seen = rim_seen(marks, found)
    assert seen.names == ("0", "1", "3", "4", "5")
    assert seen.doubts == ("mark 2 was not found in the picture and is left out",)
    with pytest.raises(CalibrationError, match="none of the marks is to be seen; looked for 0, 1, 2"):
        rim_seen(marks, {})


def test_marks_half_under_water_are_refused_by_name() -> None:
    heights = [40, 40, -5, 40, 40, 3]
    marks = [PlacedMark(str(n), *xy, heights[n]) for n, xy in enumerate(plane_tank.RIM_XY)]
    found = dict.fromkeys(range(6), (1.0, 2.0))
    with pytest.raises(CalibrationError, match="mark 2 would be under water; rim marks stand above it"):
        rim_seen(marks, found)
    with pytest.raises(CalibrationError, match="mark 2, 5 would be under water"):
        rim_seen(marks, found, level_mm=-4.0)


def test_a_mark_needs_a_pixel_or_a_number() -> None:
    with pytest.raises(CalibrationError, match="mark corner: it is no number and has no pixel"):
        rim_seen([PlacedMark("corner", 0, 0, 40)], {})


def test_marks_of_the_floor_may_be_missing_in_either_picture() -> None:
    one = tank(np.random.default_rng(2))
    dry, filled = one.eye.see(UNDER), one.through_water(UNDER)
    dry[0], filled[1], dry[2], filled[2] = np.nan, np.nan, np.nan, np.nan
    seen = floor_seen(GRID, NAMES, FLOOR, dry_px=dry, filled_px=filled)
    assert [len(marks.pixels) for marks in seen.marks] == [12, 1, 1]
    assert [marks.is_wet for marks in seen.marks] == [False, False, True]
    assert seen.names[-2:] == ("g1", "g0")
    assert seen.doubts == ("mark g2 was not found and is left out",)
    fit = plane_from(seen, one.lens, plane_tank.LENS_COVARIANCE)
    off, u = plane_tank.errors_mm(fit, one)
    assert (np.abs(off) < 4 * u).all()


def test_a_mark_that_would_stand_out_of_the_water_is_refused() -> None:
    beach = floor_from([DepthReading(5.0, (0, 0)), DepthReading(120.0, (1500, 0))], u_mm=0.5, about_mm=(0, 0))
    places = [*GRID.tolist(), [-300.0, 0.0]]
    with pytest.raises(CalibrationError, match=r"mark far would be 1\d mm above the water; a mark on the floor"):
        floor_seen(places, [*NAMES, "far"], beach, dry_px=np.zeros((16, 2)))
    with pytest.raises(CalibrationError, match="no picture of the floor"):
        floor_seen(GRID, NAMES, FLOOR)


def test_what_the_water_did_is_told_in_mm_and_as_a_ratio() -> None:
    """100 mm of water under a lens at H: everything looks n·H / (n·H + d) as large (paraxial)."""
    one = tank(np.random.default_rng(3))
    seen = floor_seen(GRID, NAMES, FLOOR, dry_px=one.eye.see(UNDER), filled_px=one.through_water(UNDER))
    fit = plane_from(seen, one.lens, plane_tank.LENS_COVARIANCE)
    effect = water_effect(fit, seen)
    assert effect is not None
    height = one.eye.place_mm[2]
    assert effect.ratio == pytest.approx(1 + 100 / (1.33299 * height), abs=4e-3)
    straight = one.eye.on_plane(one.eye.see(UNDER), z_mm=0.0)
    moved = np.linalg.norm(straight - one.eye.on_plane(one.through_water(UNDER), z_mm=0.0), axis=1)
    assert effect.moved_mm == pytest.approx(moved.max(), abs=0.5)
    beside = np.linalg.norm(one.eye.on_plane(one.through_water(UNDER), z_mm=0.0) - GRID, axis=1)
    assert effect.off_mm == pytest.approx(beside.max(), abs=0.5)
    assert effect.depth_mm == pytest.approx(100, abs=2 * effect.u_depth_mm)
    assert effect.u_depth_mm < 2.0
    assert water_effect(fit, rim_seen([PlacedMark("a", 0, 0, 9, pixel=(1.0, 2.0))], {})) is None


def test_a_board_in_one_place_is_doubted_and_a_sunk_one_refused() -> None:
    marks = rim_seen([PlacedMark("a", 0, 0, 9, pixel=(1.0, 2.0))], {})
    board = BoardSeen(np.array([[0.0, 0, 0], [30, 0, 0], [0, 30, 0]]), np.zeros((3, 2)), 1280, 720)
    seen = board_seen([board], Afloat(), marks)
    assert seen.doubts == ("the board was seen in 1 place; better 5, all over the water",)
    np.testing.assert_array_equal(seen.boards[0].points_mm, [[0, 0, 4], [30, 0, 4], [0, -30, 4]])
    with pytest.raises(CalibrationError, match="found a face 2 mm under water"):
        board_seen([board], Afloat(height_mm=-2.0), marks)


def test_a_camera_in_the_clouds_is_not_believed() -> None:
    one = tank(np.random.default_rng(4))
    pixels = one.eye.see([[x, y, 45.0] for x, y in plane_tank.RIM_XY]).tolist()
    far = [
        PlacedMark(f"m{n}", 100 * x, 100 * y, 4500.0, pixel=tuple(pixels[n]))
        for n, (x, y) in enumerate(plane_tank.RIM_XY)
    ]
    with pytest.raises(CalibrationError, match=r"the camera would be 1\d{5} mm above the water"):
        plane_from(rim_seen(far, {}, u_mark_mm=50), one.lens)


def test_too_few_marks_are_told_by_name() -> None:
    marks = [PlacedMark(str(n), x, y, 45.0) for n, (x, y) in enumerate(plane_tank.RIM_XY)]
    with pytest.raises(CalibrationError, match=r"only 3 of 6 marks are seen \(not 0, 2, 4\); at least 4 are wanted"):
        rim_seen(marks, dict.fromkeys((1, 3, 5), (1.0, 2.0)))
