"""What is foretold of a remedy comes true when it is done, and nothing is promised where nothing helps."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calibration.floor import DepthReading, floor_from
from calibration.plane import PlacedMark, floor_seen, plane_from, rim_seen
from calibration.plane_remedies import DepthsRead, remedies
from calibration.plane_worth import worth
from tests.calibration import plane_tank
from tests.calibration.plane_tank import AREA_MM, LENS_COVARIANCE

ONE = plane_tank.tank(np.random.default_rng(8))
GRID = np.array([[x, y] for y in (-180, 0, 180) for x in (75, 412, 750, 1088, 1425)], np.float64)
UNDER = np.column_stack([GRID, np.full(len(GRID), -100.0)])
DEPTHS = DepthsRead((DepthReading(100.0),), 2.0)


def through_water(readings: list[DepthReading], *, dry: bool = False, u_mark_mm: float = 1.0, u_mm: float = 2.0):
    return floor_seen(
        GRID, [str(n) for n in range(len(GRID))], floor_from(readings, u_mm=u_mm, about_mm=(750, 0)),
        dry_px=ONE.eye.see(UNDER) if dry else None, filled_px=ONE.through_water(UNDER), u_mark_mm=u_mark_mm,
    )  # fmt: skip


def worst_mm(seen) -> float:
    return worth(plane_from(seen, ONE.lens, LENS_COVARIANCE).view, AREA_MM).worst_mm


def told(seen, **more) -> dict[str, float]:
    fit = plane_from(seen, ONE.lens, LENS_COVARIANCE)
    return {one.words: one.worst_mm for one in remedies(seen, fit, AREA_MM, lens_covariance=LENS_COVARIANCE, **more)}


def test_what_is_foretold_of_the_floor_comes_true() -> None:
    seen = through_water([DepthReading(100.0)])
    foretold = told(seen, depths=DEPTHS)
    assert list(foretold.values()) == sorted(foretold.values())
    corners = [DepthReading(100.0, place) for place in ((75, -180), (1425, -180), (1425, 180), (75, 180))]
    done = {
        "read the depth at the four corners of the grid, too": through_water(corners),
        "take a picture of the dry floor as well (--dry)": through_water([DepthReading(100.0)], dry=True),
        "measure the marks' places anew, twice as well (--u-mark-mm)": through_water(
            [DepthReading(100.0)], u_mark_mm=0.5
        ),
        "measure the marks' places and the depths anew, both twice as well (--u-mark-mm, --u-depth-mm)": through_water(
            [DepthReading(100.0)], u_mark_mm=0.5, u_mm=1.0
        ),
    }
    for words, better in done.items():
        assert foretold[words] == pytest.approx(worst_mm(better), rel=0.03), words
        assert foretold[words] < 0.95 * worst_mm(seen)
    assert not any("through the water as well" in words for words in foretold)


def test_points_that_disagree_more_than_stated_will_go_on_doing_so() -> None:
    seen = through_water([DepthReading(100.0)])
    off = np.random.default_rng(4).normal(0, 1.6, seen.marks[0].pixels.shape)
    rough = replace(seen, marks=(replace(seen.marks[0], pixels=seen.marks[0].pixels + off),))
    widened = plane_from(rough, ONE.lens, LENS_COVARIANCE).misfit
    assert widened > 1.4
    words = "take a picture of the dry floor as well (--dry)"
    assert told(rough, depths=DEPTHS)[words] > 1.15 * told(seen, depths=DEPTHS)[words]


def test_pointing_is_told_to_be_what_spoils_a_floating_board_and_more_marks_what_helps_on_the_rim() -> None:
    seen = plane_tank.board(ONE, np.random.default_rng(1), count=2)
    foretold = told(seen)
    assert next(iter(foretold)) == "use printed rim marks, which are found by themselves"
    assert "show the board in twice as many places" in foretold
    rim = plane_tank.rim(ONE, np.random.default_rng(2))
    (marks,) = rim.marks
    corners = [0, 2, 3, 5]
    four = replace(
        marks, points_mm=marks.points_mm[corners], pixels=marks.pixels[corners], u_px=marks.u_px[corners],
        u_mm=marks.u_mm[corners], shared={name: shift[corners] for name, shift in marks.shared.items()},
    )  # fmt: skip
    fewer = replace(rim, marks=(four,), names=("0", "2", "3", "5"))
    foretold = told(fewer)
    assert foretold["put up two more marks, in the middle of the widest gaps between the others"] == pytest.approx(
        worst_mm(rim), rel=0.05
    )


def test_where_one_thing_helps_nothing_else_is_promised() -> None:
    """The level of the water is known to 20 mm, all else to next to nothing."""
    marks = [PlacedMark(str(n), x, y, 45.0) for n, (x, y) in enumerate(plane_tank.RIM_XY)]
    found = dict(enumerate(ONE.eye.see([[x, y, 45.0] for x, y in plane_tank.RIM_XY])))
    rim = rim_seen(marks, found, u_level_mm=20.0, u_mark_mm=0.1)
    better = worst_mm(rim_seen(marks, found, u_level_mm=10.0, u_mark_mm=0.1))
    assert better == pytest.approx(worst_mm(rim) / 2, rel=0.05)
    assert told(rim) == {
        "measure the heights above the water anew, twice as well (--u-height-mm)": pytest.approx(better, rel=0.01),
        "measure the marks' places and the heights above the water anew, both twice as well (--u-mark-mm, "
        "--u-height-mm)": pytest.approx(better, rel=0.01),
    }


def test_where_no_single_thing_is_enough_those_that_are_together_are_told_and_come_true() -> None:
    """A floor seen through water only, with a tape's millimetre and one depth: no single remedy reaches 2.8 mm."""
    seen = through_water([DepthReading(100.0)])
    foretold = told(seen, depths=DEPTHS, goal_mm=2.8)
    best, *others = foretold.items()
    assert best[0] == (
        "measure the marks' places and the depths anew, both twice as well (--u-mark-mm, --u-depth-mm); and "
        "read the depth at the four corners of the grid, too"
    )
    assert best[1] <= 2.8 < min(mm for _, mm in others)
    corners = [DepthReading(100.0, place) for place in ((75, -180), (1425, -180), (1425, 180), (75, 180))]
    assert best[1] == pytest.approx(worst_mm(through_water(corners, u_mark_mm=0.5, u_mm=1.0)), rel=0.03)
    assert told(seen, depths=DEPTHS, goal_mm=3.5) == dict(others), "where one thing is enough, one is told"
    assert not any("; and " in words for words in told(seen, depths=DEPTHS, goal_mm=0.1)), "what is out of reach is not"
