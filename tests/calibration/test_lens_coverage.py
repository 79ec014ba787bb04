"""What is missing is said in words that a person can follow, left and right as in the picture."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from calibration.lens_coverage import SIDES, coverage
from calibration.waterplane import rotation_matrix
from tests.calibration.board_views import USUAL, placed, seen_at, shown

ABOUT_Y, UPSIDE_DOWN = rotation_matrix([0.0, 0.5, 0.0]), rotation_matrix([0.0, 0.0, np.pi])
MIDDLE = np.array([640.0, 360.0])


def one(turn: tuple[float, float, float], middle: np.ndarray = MIDDLE, away_mm: float = 400.0) -> dict:
    place = placed(USUAL, np.array(turn), middle, away_mm)
    assert place is not None
    seen = seen_at(USUAL, place)
    assert seen is not None
    return {"one": seen}


def test_views_from_all_sides_leave_nothing_to_wish_for() -> None:
    found = coverage(shown(USUAL, np.random.default_rng(1), count=30, away_mm=(150.0, 350.0)), USUAL)
    assert found.advice == ()
    assert found.mistakes == ()
    assert found.bare == ()


@pytest.mark.parametrize(
    ("turn", "away"),
    [
        # turned about x (to the right) y goes to z: the lower side moves away; about y (down) the right side comes near
        ((0.5, 0.0, 0.0), "bottom"),
        ((-0.5, 0.0, 0.0), "top"),
        ((0.0, -0.5, 0.0), "right"),
        ((0.0, 0.5, 0.0), "left"),
        (tuple(cv2.Rodrigues(ABOUT_Y @ UPSIDE_DOWN)[0].ravel()), "left"),
    ],
)
def test_the_side_that_is_away_is_named_as_it_is_seen(turn: tuple[float, float, float], away: str) -> None:
    (view,) = one(turn).values()
    # by eye: the far side is the smaller one in the picture
    left, right = (view.pixels[view.pixels[:, 0] * s < s * 640] for s in (1, -1))
    top, bottom = (view.pixels[view.pixels[:, 1] * s < s * 360] for s in (1, -1))
    size = {
        "left": np.ptp(left[:, 1]),
        "right": np.ptp(right[:, 1]),
        "top": np.ptp(top[:, 0]),
        "bottom": np.ptp(bottom[:, 0]),
    }
    other = {"left": "right", "right": "left", "top": "bottom", "bottom": "top"}[away]
    assert size[away] < size[other]
    for lens in (USUAL, None):
        tilts = coverage({"one": view}, lens).tilt_deg
        assert tilts[away] == pytest.approx(28.6, abs=1 if lens else 6)
        assert all(tilts[side] < 8 for side in SIDES if side != away)


def test_an_empty_part_of_the_picture_is_named() -> None:
    found = coverage(one((0.1, 0.0, 0.0), np.array([250.0, 200.0])), USUAL)
    assert "bottom right" in found.bare
    assert any("show the board in the" in said and "bottom right" in said for said in found.advice)


def test_boards_in_one_spot_are_a_mistake() -> None:
    found = coverage(shown(USUAL, np.random.default_rng(2), within=0.02, away_mm=(800.0, 900.0)), USUAL)
    assert len(found.mistakes) == 1
    assert "boards are in one spot: only" in found.mistakes[0]
    assert any("bring it nearer" in said for said in found.advice)


def test_head_on_boards_ask_for_a_tilt_to_every_side() -> None:
    found = coverage(shown(USUAL, np.random.default_rng(3), most_tilt_rad=0.05), USUAL)
    assert any("with its left, right, top and bottom away" in said for said in found.advice)


def test_a_bare_rim_is_told_by_its_side() -> None:
    views = {}
    for number, (u, v) in enumerate([(250, 150), (250, 560), (640, 360), (900, 150), (900, 560)]):
        views |= {f"{number}": next(iter(one((0.1, 0.1, 0.0), np.array([u, v]), 380.0).values()))}
    found = coverage(views, USUAL)
    assert found.gap_share["right"] == pytest.approx(
        1 - (max(v.pixels[:, 0].max() for v in views.values()) + 0.5) / 1280
    )
    assert found.bare == ()
    assert any("reach the right edge" in said for said in found.advice)


def test_few_views_ask_for_more() -> None:
    views = shown(USUAL, np.random.default_rng(4), count=11)
    assert "show it from one more side" in coverage(views, USUAL).advice
    assert coverage({}).views_count == 0
    assert "show it from 12 more sides" in coverage({}).advice
