"""Which mark, or which measured thing, is to blame where nothing fits together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calibration.errors import CalibrationError
from calibration.floor import DepthReading, floor_from
from calibration.plane import PlacedMark, floor_seen, plane_from, rim_seen
from calibration.plane_blame import contradicted, named
from tests.calibration import plane_tank
from tests.calibration.plane_tank import tank
from tests.calibration.test_plane import GRID, NAMES, UNDER


def test_a_mark_under_water_that_was_said_to_be_above_spoils_the_fit_and_is_named() -> None:
    rng = np.random.default_rng(6)
    one = tank(rng)
    places = np.array([[x, y, 45.0] for x, y in plane_tank.RIM_XY])
    pixels = one.eye.see(places)
    pixels[3] = one.through_water(np.array([[*plane_tank.RIM_XY[3], -60.0]]))[0]
    marks = [PlacedMark(f"r{n}", *places[n].tolist(), pixel=tuple(pixels[n].tolist())) for n in range(6)]
    with pytest.raises(CalibrationError, match="mark r3 spoils it"):
        plane_from(rim_seen(marks, {}, u_mark_mm=0.5, u_level_mm=0.5), one.lens)
    # where less is known of all marks, it is told as a doubt, and the doubt of places is widened
    fit = plane_from(rim_seen(marks, {}, u_mark_mm=1.5, u_level_mm=1.5), one.lens)
    assert any("mark r3 spoils it" in words for words in fit.doubts)


def test_a_depth_in_cm_is_denied_by_the_two_pictures() -> None:
    one = tank(np.random.default_rng(3))
    said = floor_from([DepthReading(10.0)], u_mm=2.0, about_mm=(750, 0))
    seen = floor_seen(GRID, NAMES, said, dry_px=one.eye.see(UNDER), filled_px=one.through_water(UNDER))
    with pytest.raises(CalibrationError, match=r"depth of 10 mm, and .* say about (9|10)\d mm; was it typed in cm"):
        plane_from(seen, one.lens, plane_tank.LENS_COVARIANCE)


def test_a_board_of_another_scale_than_the_marks_is_refused() -> None:
    """1.2 % is too little for the marks alone to call it impossible, and eight times what is said of the print."""
    rng = np.random.default_rng(5)
    one = tank(rng)
    seen = plane_tank.board(one, rng)
    bigger = tuple(replace(board, points_mm=board.points_mm * [1.012, 1.012, 1]) for board in seen.boards)
    sharper = tuple(replace(marks, u_px=0.25) for marks in plane_tank.rim(one, rng).marks)
    with pytest.raises(CalibrationError, match=r"scale of the board.*was the board printed at 100 %"):
        plane_from(replace(seen, boards=bigger, marks=sharper, names=tuple("012345")), one.lens)


def test_marks_are_called_by_their_names_and_what_agrees_is_not_denied() -> None:
    rng = np.random.default_rng(5)
    one = tank(rng)
    seen = plane_tank.rim(one, rng)
    assert named("mark 2 and mark 9 are off", replace(seen, names=tuple("abcdef"))) == "mark b and mark 9 are off"
    assert contradicted(plane_from(seen, one.lens, plane_tank.LENS_COVARIANCE), seen) == ""
